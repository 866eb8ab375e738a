"""The column response: what leaves after a change or a first fill, when, and how far off."""

from __future__ import annotations

import math
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from outfeed import Inconsistent, NotConverged
from outfeed.arrays import FloatArray
from outfeed.dryer.column import solve_outlet
from outfeed.dryer.inverse import OutOfReach, rate_for_moisture
from outfeed.dryer.reach import reach_of
from outfeed.dryer.transient import (
    HORIZON,
    Change,
    OffTarget,
    Response,
    Settling,
    hold_for_moisture,
    off_target,
    respond,
    settling,
)
from outfeed.limits import SENSIBLE, Range
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_TEXT, Answer, Given, Part, cautions, methods_used
from outfeed_api.pictures import canvas
from outfeed_api.pictures.column_response import column_response_picture
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.column_input import as_dry_matter, column_methods, dry_matter_rate
from outfeed_api.routes.column_models import MOST_ROWS, Degrees, GrainMoisture
from outfeed_api.routes.column_profile import Column, assumed_of, column_of, shared_notes
from outfeed_api.routes.dryer_models import (
    MOST_ZONES,
    Ambient,
    ColumnRequest,
    GivenRate,
    GrainHeat,
    Humidity,
    Moisture,
    Plenum,
)
from outfeed_api.routes.dryer_words import about_rate, burner_cautions
from outfeed_api.units import say
from outfeed_api.wording import lasting

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["dryer"])

HOLD = Range("first-fill hold", 0.0, 12.0 * 3600.0, "s", SENSIBLE)
BAND = Range("distance from the target that counts as on target", 0.001, 0.05, "", SENSIBLE)
DURATION = Range("time to follow", HORIZON.low, 3.0 * 86_400.0, "s", SENSIBLE)
USUAL_BAND = 0.005
TRANSITS_FOLLOWED = 2.5
LONGEST_HOLD_TRANSITS = 1.5
Verdict = Literal["followed", "out-of-reach", "nothing-to-dry", "not-converged"]
STILL = 0.0005
"""Change of the discharge moisture below which nothing moved [-]: a twentieth of a point."""


class StepGiven(Given):
    """What is changed; give at least one. What is left out stays as it is."""

    rate: GivenRate | None = Field(None, description="Discharge rate from now on, in `rate_basis`.")
    plenum_temperatures: list[Plenum] | None = Field(
        None,
        description="Plenum temperatures of the heated zones from now on, from the top.",
        min_length=1,
        max_length=MOST_ZONES,
    )
    moisture: Moisture | None = Field(None, description="Moisture of the grain going in.")
    grain_temperature: GrainHeat | None = Field(
        None, description="Temperature of the grain going in."
    )
    ambient_temperature: Ambient | None = Field(None, description="Temperature of the outside air.")
    ambient_relative_humidity: Humidity | None = Field(
        None, description="Relative humidity of the outside air."
    )


class ColumnResponseRequest(ColumnRequest):
    """A dryer that runs settled, or that is filled for the first time, and what is done to it."""

    start: Literal["settled", "first-fill"] = Field(
        "settled",
        description="`settled`: the dryer has run as described; `first-fill`: it is full of wet "
        "grain as fed, and the burners are just up.",
    )
    step: StepGiven | None = Field(None, description="What is changed; for a `settled` start.")
    hold: Annotated[float, Measure("minutes", HOLD, example=2700.0)] | None = Field(
        None,
        description="For a first fill: how long the grain is held before the discharge starts; "
        "sought if left out.",
    )
    band: Annotated[float, Measure("points", BAND, example=0.005)] | None = Field(
        None, description="Distance from the target that still counts as on target; half a point."
    )
    duration: Annotated[float, Measure("hours", DURATION, example=18_000.0)] | None = Field(
        None, description="How long to follow; two and a half transits if left out."
    )


class Trace(Part):
    """What leaves, over time."""

    elapsed: list[Annotated[float, Measure("minutes", example=1200.0)]] = Field(
        description="Time since the change, or since the column was full.", max_length=MOST_ROWS
    )
    moisture: list[GrainMoisture] = Field(
        description="Grain at the discharge.", max_length=MOST_ROWS
    )
    temperature: list[Degrees] = Field(description="Grain at the discharge.", max_length=MOST_ROWS)
    column_temperature: list[Degrees] | None = Field(
        None, description="Mean of the column sensors.", max_length=MOST_ROWS
    )
    hottest_kernel: list[Degrees] = Field(
        description="Hottest grain in the column.", max_length=MOST_ROWS
    )
    discharged: list[Annotated[float, Measure("grain", example=8000.0)]] = Field(
        description="Grain that has left, counted at the target.", max_length=MOST_ROWS
    )


class OffTargetGrain(Part):
    """Grain that leaves off target."""

    wet: Annotated[float, Measure("grain", example=9000.0)] = Field(
        description="Grain above the band, counted at the target."
    )
    wet_by: Annotated[float, Measure("points", example=0.02)] = Field(
        description="How far above the target it is on average."
    )
    dry: Annotated[float, Measure("grain", example=0.0)] = Field(
        description="Grain below the band, counted at the target."
    )
    dry_by: Annotated[float, Measure("points", example=0.01)] = Field(
        description="How far below the target it is on average."
    )
    until: Annotated[float, Measure("minutes", example=6600.0)] = Field(
        description="When the last of it has left."
    )
    hottest_kernel: Degrees = Field(description="Hottest grain on the way.")


class MoistureMove(Part):
    """How the discharge moisture moves."""

    before: GrainMoisture = Field(description="Before.")
    after: GrainMoisture = Field(description="At the end of the trace.")
    dead_time: Annotated[float, Measure("minutes", example=300.0)] | None = Field(
        None, description="Until 5 % of the way; left out when nothing moves."
    )
    settling_time: Annotated[float, Measure("minutes", example=6900.0)] = Field(
        description="Until it stays within 5 % of the way of its end."
    )


class TemperatureMove(Part):
    """How the column temperature moves."""

    before: Degrees = Field(description="Before.")
    after: Degrees = Field(description="At the end of the trace.")
    dead_time: Annotated[float, Measure("minutes", example=1200.0)] | None = Field(
        None, description="Until 5 % of the way; left out when nothing moves."
    )
    settling_time: Annotated[float, Measure("minutes", example=6000.0)] = Field(
        description="Until it stays within 5 % of the way of its end."
    )


class ColumnResponseAnswer(Answer):
    """What leaves, when, and how far off."""

    verdict: Verdict = Field(
        description="Whether the figures stand; without `followed` there are none."
    )
    target: GrainMoisture | None = Field(
        None, description="What on target is counted from: yours, else the moisture before."
    )
    rate: Annotated[float, Measure("grain-rate", example=6.0)] | None = Field(
        None, description="Dry grain leaving after the change, counted at the target."
    )
    transit_time: Annotated[float, Measure("hours", example=6900.0)] | None = Field(
        None, description="From top to discharge after the change."
    )
    moisture: MoistureMove | None = Field(None, description="How the discharge moisture moves.")
    column: TemperatureMove | None = Field(
        None, description="How the column temperature moves; left out without sensors."
    )
    off_target: OffTargetGrain | None = Field(
        None, description="Off-target grain of the whole trace."
    )
    in_column: OffTargetGrain | None = Field(
        None, description="Off-target part of the grain that is in the column at the start."
    )
    without_hold: OffTargetGrain | None = Field(
        None, description="First fill: the same grain if it is not held."
    )
    hold: Annotated[float, Measure("minutes", example=2700.0)] | None = Field(
        None, description="First fill: the hold that the trace shows."
    )
    rate_for_target: Annotated[float, Measure("grain-rate", example=5.6)] | None = Field(
        None, description="Dry grain leaving at which it would settle at the target again."
    )
    trace: Trace | None = Field(None, description="What leaves, over time.")


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
    much, how far off, and what to do with it. Also as a picture, SVG or PNG.
    """
    _check(request)
    column = column_of(request)
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
    if not filling and (request.step is None or not request.step.model_fields_set):
        _refuse("/step", "say what changes: a rate, plenums, moisture, temperature or weather")
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
    longest = machine.dryer.hold_up_dry_matter / min(rate, after)
    duration = request.duration or min(TRANSITS_FOLLOWED * longest, DURATION.high)
    run = respond(
        machine.dryer, machine.conditions, machine.feed, rate, [change], duration, model=model
    )
    target = request.target_moisture or float(run.outlet_moisture_wb[0])
    band = request.band or USUAL_BAND
    moved = settling(run, run.outlet_moisture_wb)
    again = _rate_for(column, change, target)
    return ColumnResponseAnswer(
        decision=_step_decision(request, moved, target, after, again),
        units=request.units,
        verdict="followed",
        target=target,
        rate=after / (1.0 - target),
        transit_time=machine.dryer.hold_up_dry_matter / after,
        moisture=_moved(moved),
        column=_column_moved(run),
        off_target=off_grain(run, target, band),
        in_column=off_grain(leaving(run, machine.dryer.hold_up_dry_matter), target, band),
        rate_for_target=None if again is None else again / (1.0 - target),
        trace=_trace(run, target),
        assumed=assumed_of(request, column, use=False),
        methods=methods_used(*column_methods(model, _met(run))),
        notes=[*_step_notes(request, run, moved), *shared_notes(column)],
        cautions=cautions("follow-manual", *burner_cautions(request)),
    )


def _change(request: ColumnResponseRequest, column: Column) -> Change:
    step = request.step or StepGiven()
    machine, model = column.machine, column.formulas.model
    rate = None
    if step.rate is not None:
        rate = (
            step.rate * (1.0 - request.moisture)
            if request.rate_basis == "wet"
            else as_dry_matter(step.rate, request, machine, model)
        )
    return Change(
        0.0,
        dry_matter_rate=rate,
        plenum_temperatures=_plenums(column, step.plenum_temperatures),
        moisture_wb=step.moisture,
        temperature=step.grain_temperature,
        ambient_temperature=step.ambient_temperature,
        ambient_relative_humidity=step.ambient_relative_humidity,
    )


def _plenums(column: Column, given: list[float] | None) -> tuple[float | None, ...] | None:
    if given is None:
        return None
    zones = column.machine.dryer.zones
    heated = sum(zone.heated for zone in zones)
    if len(given) != heated:
        _refuse(
            "/step/plenum_temperatures",
            f"{len(given)} plenum temperatures for {heated} heated zones",
        )
    values = iter(given)
    return tuple(next(values) if zone.heated else None for zone in zones)


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
        hold = hold_for_moisture(*where, rate, target, model=model, longest=longest)
    follow = min(request.duration or (hold or 0.0) + 2.0 * transit, DURATION.high)
    plain = respond(*where, rate, [], min(2.0 * transit, DURATION.high), model=model, fresh=True)
    run = plain
    if hold:
        start = [Change(hold, dry_matter_rate=rate)]
        run = respond(*where, 0.0, start, max(follow, hold + 60.0), model=model, fresh=True)
    hold_up = machine.dryer.hold_up_dry_matter
    unheld = off_grain(leaving(plain, hold_up), target, band)
    held = off_grain(leaving(run, hold_up), target, band)
    return ColumnResponseAnswer(
        decision=_fill_decision(request, target, unheld, held, hold),
        units=request.units,
        verdict="followed",
        target=target,
        rate=rate / (1.0 - target),
        transit_time=transit,
        off_target=off_grain(run, target, band),
        in_column=held,
        without_hold=unheld,
        hold=hold,
        trace=_trace(run, target),
        assumed=assumed_of(request, column, use=False),
        methods=methods_used(*column_methods(model, _met(run))),
        notes=[*_fill_notes(request, unheld, held, hold), *shared_notes(column)],
        cautions=cautions(
            "follow-manual", *burner_cautions(request), "under-drying", "meter-uncertain"
        ),
    )


def leaving(run: Response, mass: float) -> Response:
    """The trace until the first `mass` of dry matter has left."""
    rows = run.discharged <= mass * (1.0 + 1e-9)
    return Response(
        run.time[rows],
        run.outlet_moisture_wb[rows],
        run.outlet_temperature[rows],
        run.sensor_temperature[rows],
        run.discharged[rows],
        run.hottest_kernel[rows],
        run.transit_time,
    )


def off_grain(run: Response, target: float, band: float) -> OffTargetGrain:
    """Grain of a trace that leaves outside a band about the target."""
    found: OffTarget = off_target(run, target, band)
    return OffTargetGrain(
        wet=found.wet / (1.0 - target),
        wet_by=found.wet_excess,
        dry=found.dry / (1.0 - target),
        dry_by=found.dry_excess,
        until=found.until,
        hottest_kernel=float(np.max(run.hottest_kernel)),
    )


def _dead(time: float) -> float | None:
    return time if math.isfinite(time) else None


def _moved(found: Settling) -> MoistureMove:
    return MoistureMove(
        before=found.before,
        after=found.after,
        dead_time=_dead(found.dead_time),
        settling_time=found.settling_time,
    )


def _column_moved(run: Response) -> TemperatureMove | None:
    column = run.column_temperature
    if column is None:
        return None
    found = settling(run, column)
    return TemperatureMove(
        before=found.before,
        after=found.after,
        dead_time=_dead(found.dead_time),
        settling_time=found.settling_time,
    )


def _met(run: Response) -> tuple[float, float]:
    return float(np.min(run.outlet_temperature)), float(np.max(run.hottest_kernel))


def _trace(run: Response, target: float) -> Trace:
    count = run.time.size
    rows = np.unique(np.round(np.linspace(0, count - 1, min(count, MOST_ROWS))).astype(int))
    column = run.column_temperature

    def picked(values: FloatArray) -> list[float]:
        return [float(value) for value in values[rows]]

    return Trace(
        elapsed=picked(run.time),
        moisture=picked(run.outlet_moisture_wb),
        temperature=picked(run.outlet_temperature),
        column_temperature=None if column is None else picked(column),
        hottest_kernel=picked(run.hottest_kernel),
        discharged=picked(run.discharged / (1.0 - target)),
    )


def _grain(request: ColumnResponseRequest, mass: float) -> str:
    kg, digits = request.kg_per_bushel, 0 if request.units == "us" else 1
    return say(mass, "grain", request.units, bushel_weight=kg, decimals=digits)


def _step_decision(
    request: ColumnResponseRequest,
    moved: Settling,
    target: float,
    rate: float,
    again: float | None,
) -> str:
    way = moved.after - moved.before
    if abs(way) < STILL:
        return "This change hardly moves the moisture at the discharge; leave the rate."
    side = "wetter" if way > 0.0 else "drier"
    text = (
        f"The discharge goes from {moved.before * 100:.1f} to {moved.after * 100:.1f} %: the first "
        f"{side} grain leaves after {lasting(moved.dead_time)}, all is settled after "
        f"{lasting(moved.settling_time)}."
    )
    away = moved.after - target
    if abs(away) <= (request.band or USUAL_BAND):
        return f"{text} That is on target: leave the rate, and judge no sooner."
    if again is None:
        return f"{text} No discharge rate brings it back to {target * 100:.1f} %: see the plenums."
    percent = (again / rate - 1.0) * 100.0
    grain = about_rate(request, again / (1.0 - target))
    word = "Slow to" if percent < 0.0 else "Speed up to"
    return f"{text} {word} about {grain} ({percent:+.0f} %) to settle at {target * 100:.1f} %."


def _step_notes(request: ColumnResponseRequest, run: Response, moved: Settling) -> list[str]:
    notes = []
    if request.step is not None and request.step.moisture is not None:
        notes.append(
            "Grain that is wetter or drier at the inlet takes a whole transit to reach the "
            "discharge; a rate changed the moment it enters acts on the grain below it too."
        )
    if request.step is not None and request.step.rate is not None:
        notes.append(
            "After a change of rate the moisture ramps over a whole transit: grain near the "
            "discharge feels little of it, grain at the top all of it."
        )
    if run.column_temperature is not None and abs(moved.after - moved.before) >= STILL:
        shift = float(run.column_temperature[-1] - run.column_temperature[0])
        said = say(abs(shift), "temperature-difference", request.units, decimals=1)
        notes.append(f"The column temperature {'rises' if shift > 0 else 'falls'} by {said}.")
    notes.append(
        "Grain that leaves off target is best kept apart, or blended into the lot while it still "
        "flows; the warnings of the sampler come a transit after the cause."
    )
    return notes


def _fill_decision(
    request: ColumnResponseRequest,
    target: float,
    unheld: OffTargetGrain,
    held: OffTargetGrain,
    hold: float | None,
) -> str:
    wet = _grain(request, unheld.wet)
    first = (
        f"Started without a hold, {wet} of the first fill leave wet, {unheld.wet_by * 100:.1f} "
        f"points above {target * 100:.1f} % on average, until {lasting(unheld.until)} after the "
        "start."
    )
    if hold is None:
        return f"{first} No hold within one and a half transits brings its mean to the target."
    if hold == 0.0:
        return first if request.hold is not None else f"{first} It needs no hold."
    kernel = say(held.hottest_kernel, "temperature", request.units, decimals=0)
    second = (
        f"Held for {lasting(hold)} with the heat on, {_grain(request, held.wet)} leave wet by "
        f"{held.wet_by * 100:.1f} points and {_grain(request, held.dry)} over-dried by "
        f"{held.dry_by * 100:.1f}; kernels reach {kernel}."
    )
    return f"{first} {second}"[:LONGEST_TEXT]


def _fill_notes(
    request: ColumnResponseRequest, unheld: OffTargetGrain, held: OffTargetGrain, hold: float | None
) -> list[str]:
    apart = (
        "Send the wet part of the first fill back to wet holding, or keep it apart and dry it "
        "again; do not bin it with the rest."
    )
    notes = [apart]
    if hold:
        notes.append(
            "No hold makes a first fill even: grain near the discharge gets the hold and little "
            "more, grain near the top a whole transit on top of it. Use one only if the dryer's "
            "manual allows heat on standing grain, and never leave it unwatched."
        )
        rise = held.hottest_kernel - unheld.hottest_kernel
        said = say(rise, "temperature-difference", request.units, decimals=0)
        notes.append(f"Standing grain gets {said} hotter than flowing grain would.")
    return notes


NO_FIGURES: dict[str, str] = {
    "nothing-to-dry": "There is nothing to dry: the grain comes in at or below the target.",
    "not-converged": "The column model did not settle for this dryer, so there are no figures to "
    "trust. Check rate, airflow and hold-up.",
    "out-of-reach": "This dryer does not reach the target at any rate; ask for its column profile "
    "to see what can be had.",
}


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
