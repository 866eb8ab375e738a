"""The column response: what leaves after a change or a first fill, when, and how far off."""

from __future__ import annotations

from fastapi import APIRouter

from outfeed import Inconsistent, NotConverged
from outfeed.dryer.column import solve_outlet
from outfeed.dryer.first_fill import hold_for_moisture
from outfeed.dryer.inverse import OutOfReach, rate_for_moisture
from outfeed.dryer.mixing import first_fill_mixed
from outfeed.dryer.reach import reach_of
from outfeed.dryer.transient import (
    Change,
    respond,
    settling,
)
from outfeed_api.models import cautions, methods_used
from outfeed_api.pictures import canvas
from outfeed_api.pictures.column_response import column_response_picture
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.column_input import as_dry_matter, column_methods, dry_matter_rate
from outfeed_api.routes.column_setup import Column, assumed_of, column_of, shared_notes
from outfeed_api.routes.dryer_input import outside, refuse_cold_plenums, zone_by_zone
from outfeed_api.routes.dryer_words import burner_cautions, limit_cautions
from outfeed_api.routes.moisture_cautions import moisture_cautions
from outfeed_api.routes.response_figures import (
    column_moved,
    leaving,
    met_grain,
    moistures_left,
    moved_of,
    off_grain,
    stripes_of,
    swings,
    trace_of,
)
from outfeed_api.routes.response_hours import (
    HOLD_IN_FIRST_AIR,
    at_first_hour,
    at_the_end,
    span,
    weather_decision,
    weather_notes,
    weather_of,
)
from outfeed_api.routes.response_models import (
    DURATION,
    HOLD,
    USUAL_BAND,
    ColumnResponseAnswer,
    ColumnResponseRequest,
    StepGiven,
    Verdict,
)
from outfeed_api.routes.response_words import (
    NO_FIGURES,
    fill_decision,
    fill_notes,
    step_decision,
    step_notes,
)

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["dryer"])

TRANSITS_FOLLOWED = 2.5
LONGEST_HOLD_TRANSITS = 1.5


@router.post(
    "/column-response",
    summary="What leaves after a change or a first fill",
    operation_id="column_response",
    response_model_exclude_none=True,
)
@computes(heavy=True, writes=canvas.writers(column_response_picture))
def column_response(request: ColumnResponseRequest) -> ColumnResponseAnswer:
    """Traces after a step in rate, plenums, inlet grain or weather, or of a first fill.

    Dead time, time to settle, and the grain already in the column that will leave off target: how
    much, how far off, and what to do with it. With `hourly` the weather drives the column, hour
    by hour. Also as a picture, SVG or PNG.
    """
    _check(request)
    column = at_first_hour(request, column_of(request))
    machine, target = column.machine, request.target_moisture
    if request.rate is None and target is not None:
        verdict = reach_of(machine.dryer, machine.conditions, machine.feed, target).verdict
        if verdict != "within-reach":
            dry = verdict == "nothing-to-dry"
            return _without(request, column, "nothing-to-dry" if dry else "out-of-reach")
    try:
        return (
            _first_fill(request, column)
            if request.start == "first-fill"
            else _step(request, column)
        )
    except OutOfReach:
        return _without(request, column, "out-of-reach")
    except NotConverged:
        return _without(request, column, "not-converged")


def _check(request: ColumnResponseRequest) -> None:
    filling = request.start == "first-fill"
    if filling and request.step is not None:
        _refuse("/step", "a first fill has no step; describe the dryer as it will run")
    given = set() if request.step is None else request.step.model_fields_set
    if not filling and not given and request.hourly is None:
        _refuse("/step", "say what changes: a rate, plenums, moisture, temperature or weather")
    if request.hourly is not None and given & {"ambient_temperature", "ambient_relative_humidity"}:
        _refuse("/step", "`hourly` tells the weather already; leave it out of the step")
    if not filling and request.hold is not None:
        _refuse("/hold", "a hold belongs to a first fill")


def _refuse(pointer: str, detail: str) -> None:
    raise ProblemError(INCONSISTENT, detail, [field_error(pointer, detail)])


def _running(request: ColumnResponseRequest, column: Column) -> float:
    """Dry matter rate before the change, or of the fill [kg/s]."""
    machine, model = column.machine, column.formulas.model
    if request.rate is not None or request.target_moisture is None:
        return dry_matter_rate(request, machine, model)
    where = (machine.dryer, machine.conditions, machine.feed)
    return rate_for_moisture(*where, request.target_moisture, model=model).dry_matter_rate


def _step(request: ColumnResponseRequest, column: Column) -> ColumnResponseAnswer:
    machine, model = column.machine, column.formulas.model
    rate = _running(request, column)
    change = _change(request, column)
    after = rate if change.dry_matter_rate is None else change.dry_matter_rate
    hours = machine.hours
    longest = TRANSITS_FOLLOWED * machine.dryer.hold_up_dry_matter / min(rate, after)
    duration = request.duration or min(longest if hours is None else span(hours), DURATION.high)
    changes = [change, *weather_of(hours)]
    run = respond(
        machine.dryer, machine.conditions, machine.feed, rate, changes, duration, model=model
    )
    target = request.target_moisture or float(run.outlet_moisture_wb[0])
    band = request.band or USUAL_BAND
    moved = settling(run, run.outlet_moisture_wb)
    again = _rate_for(column, change if hours is None else at_the_end(change, run, hours), target)
    off = off_grain(run, target, band)
    told = (
        step_decision(request, moved, target, after, again)
        if hours is None
        else weather_decision(request, hours, run, off, target, after, again)
    )
    return ColumnResponseAnswer(
        decision=told,
        units=request.units,
        verdict="followed",
        target=target,
        rate=after / (1.0 - target),
        transit_time=machine.dryer.hold_up_dry_matter / after,
        moisture=moved_of(moved) if hours is None else None,
        column=column_moved(run) if hours is None else None,
        off_target=off,
        in_column=off_grain(leaving(run, machine.dryer.hold_up_dry_matter), target, band),
        rate_for_target=None if again is None else again / (1.0 - target),
        over_hours=None if hours is None else swings(run, hours),
        trace=trace_of(run, target, hours),
        assumed=assumed_of(request, column, use=False),
        methods=methods_used(*column_methods(model, met_grain(run))),
        notes=[
            *(
                step_notes(request, run, moved)
                if hours is None
                else weather_notes(request, hours, run)
            ),
            *shared_notes(column, change.temperature),
        ],
        cautions=cautions(
            "follow-manual",
            *limit_cautions(request, change.plenum_temperatures or ()),
            *limit_cautions(request, machine.dryer.plenum_temperatures),
            *burner_cautions(request),
            *_on_moisture(request, moistures_left(run)),
        ),
    )


def _on_moisture(request: ColumnResponseRequest, left: list[float]) -> list[str]:
    """Codes of the cautions on grain that leaves; none where nothing leaves."""
    band = request.band or USUAL_BAND
    return moisture_cautions(request.grain, left, request.target_moisture, band) if left else []


def _change(request: ColumnResponseRequest, column: Column) -> Change:
    step = request.step or StepGiven()
    machine, model = column.machine, column.formulas.model
    rate = None
    if step.rate is not None:
        rate = as_dry_matter(step.rate, request, machine, model, "/step/rate")
    return Change(
        0.0,
        dry_matter_rate=rate,
        plenum_temperatures=_plenums(request, column, step.plenum_temperatures),
        moisture_wb=step.moisture,
        temperature=_grain_after(request),
        ambient_temperature=step.ambient_temperature,
        ambient_relative_humidity=step.ambient_relative_humidity,
    )


def _grain_after(request: ColumnResponseRequest) -> float | None:
    """Grain coming in after the change: as warm as the new air where nobody told it [degC]."""
    step = request.step or StepGiven()
    if step.grain_temperature is None and request.grain_temperature is None:
        return step.ambient_temperature
    return step.grain_temperature


def _warmest(request: ColumnResponseRequest) -> float:
    """Outside air after the change [degC]."""
    warm = None if request.step is None else request.step.ambient_temperature
    return outside(request) if warm is None else warm


def _plenums(
    request: ColumnResponseRequest, column: Column, given: list[float] | None
) -> tuple[float | None, ...] | None:
    pointer = "/step/plenum_temperatures"
    plenums = zone_by_zone(column.machine.dryer, given, pointer)
    if plenums is not None:
        refuse_cold_plenums(request, plenums, _warmest(request), pointer)
    return plenums


def _rate_for(column: Column, change: Change, target: float) -> float | None:
    """Dry matter rate that meets the target after the change, where one does [kg/s]."""
    machine, model = column.machine, column.formulas.model
    dryer, feed, weather = machine.dryer, machine.feed, machine.conditions
    if change.plenum_temperatures is not None:
        dryer = dryer.with_plenums(change.plenum_temperatures)
    feed = type(feed)(
        feed.moisture_wb if change.moisture_wb is None else change.moisture_wb,
        feed.temperature if change.temperature is None else change.temperature,
        feed.grain,
    )
    damp, warm = change.ambient_relative_humidity, change.ambient_temperature
    weather = type(weather)(
        weather.ambient_temperature if warm is None else warm,
        weather.ambient_relative_humidity if damp is None else damp,
        weather.pressure,
    )
    try:
        if reach_of(dryer, weather, feed, target).verdict != "within-reach":
            return None
        return rate_for_moisture(dryer, weather, feed, target, model=model).dry_matter_rate
    except (OutOfReach, NotConverged, Inconsistent):
        return None


def _first_fill(request: ColumnResponseRequest, column: Column) -> ColumnResponseAnswer:
    machine, model = column.machine, column.formulas.model
    where = (machine.dryer, machine.conditions, machine.feed)
    rate = _running(request, column)
    transit = machine.dryer.hold_up_dry_matter / rate
    target = request.target_moisture or solve_outlet(*where, rate, model=model)
    band = request.band or USUAL_BAND
    hold = request.hold
    if hold is None:
        longest = min(LONGEST_HOLD_TRANSITS * transit, HOLD.high)
        found = hold_for_moisture(*where, rate, target, model=model, longest=longest)
        hold = None if found is None else found.duration
    follow = min(request.duration or (hold or 0.0) + 2.0 * transit, DURATION.high)
    air = weather_of(machine.hours)
    plain = respond(*where, rate, air, min(2.0 * transit, DURATION.high), model=model, fresh=True)
    run = plain
    if hold:
        start = sorted([*air, Change(hold, dry_matter_rate=rate)], key=lambda change: change.time)
        run = respond(*where, 0.0, start, max(follow, hold + 60.0), model=model, fresh=True)
    stripes = stripes_of(run, machine.dryer)
    plain, run = (first_fill_mixed(each, machine.dryer) for each in (plain, run))
    hold_up = machine.dryer.hold_up_dry_matter
    unheld = off_grain(leaving(plain, hold_up), target, band)
    held = off_grain(leaving(run, hold_up), target, band)
    return ColumnResponseAnswer(
        decision=fill_decision(request, target, unheld, held, hold),
        units=request.units,
        verdict="followed",
        target=target,
        rate=rate / (1.0 - target),
        transit_time=transit,
        off_target=off_grain(run, target, band),
        in_column=held,
        without_hold=unheld,
        hold=hold,
        over_hours=None if machine.hours is None else swings(run, machine.hours),
        trace=trace_of(run, target, machine.hours),
        assumed=assumed_of(request, column, use=False),
        methods=methods_used(*column_methods(model, met_grain(run))),
        notes=[
            *fill_notes(request, unheld, held, hold, stripes),
            *([] if machine.hours is None or request.hold is not None else [HOLD_IN_FIRST_AIR]),
            *shared_notes(column),
        ],
        cautions=cautions(
            "follow-manual",
            *limit_cautions(request, machine.dryer.plenum_temperatures),
            *burner_cautions(request),
            *_on_moisture(request, [*moistures_left(plain), *moistures_left(run)]),
            "meter-uncertain",
        ),
    )


def _without(
    request: ColumnResponseRequest, column: Column, verdict: Verdict
) -> ColumnResponseAnswer:
    return ColumnResponseAnswer(
        decision=NO_FIGURES[verdict],
        units=request.units,
        verdict=verdict,
        assumed=assumed_of(request, column, use=False),
        methods=methods_used(*column_methods(column.formulas.model, ())),
        cautions=cautions("follow-manual"),
    )
