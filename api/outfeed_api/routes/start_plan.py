"""The start plan: what to set before the first grain moves, and what to expect."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from fastapi import APIRouter

from outfeed import NotConverged
from outfeed.cooling import CREDIT, discharge_moisture_for
from outfeed.dryer.assume import MIDDLE_OF_ZONE, assumed_burner_efficiency, with_sensors
from outfeed.dryer.doubt import meeting
from outfeed.dryer.doubt_bands import Banded
from outfeed.dryer.first_fill import Hold, hold_for_moisture
from outfeed.dryer.heat_check import one_pass
from outfeed.dryer.inverse import OutOfReach
from outfeed.dryer.metering import METERING, Metering
from outfeed.dryer.mixing import first_fill_mixed
from outfeed.dryer.plan import (
    START_PLAN,
    Level,
    Passes,
    PlenumPlan,
    broken_limits,
    passes,
    plan_plenums,
)
from outfeed.dryer.reach import reach_of
from outfeed.dryer.ruling import Authority
from outfeed.dryer.sensitivity import Sensitivity, sensitivities
from outfeed.dryer.transient import respond
from outfeed.fuel import EIA_HEAT, load_fuel
from outfeed.grains import TemperatureLimit, load_grain
from outfeed.methods import COMMON_PRACTICE, MethodUse
from outfeed_api.models import Assumed, AssumedQuantity, cautions, methods_used
from outfeed_api.pictures import canvas
from outfeed_api.pictures.start_plan import start_plan_picture
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.column_figures import (
    burner_assumed,
    ends,
    limit_with_source,
    temperature_band,
    total_fuel,
    zone_columns,
)
from outfeed_api.routes.column_input import Formulas, column_methods, formulas_of
from outfeed_api.routes.column_models import HumidityBand
from outfeed_api.routes.column_setup import (
    USUAL_USE,
    Column,
    followed_machine,
    shared_notes,
)
from outfeed_api.routes.discharge_models import EnergyBand, HoursBand, MeteringFigures, RateBand
from outfeed_api.routes.dryer_input import Machine, outside
from outfeed_api.routes.dryer_words import assumed_quantity, burner_cautions
from outfeed_api.routes.metering_given import dialled, metering_notes, refuse_falling
from outfeed_api.routes.moisture_cautions import moisture_cautions
from outfeed_api.routes.response_figures import leaving, off_grain
from outfeed_api.routes.response_models import USUAL_BAND
from outfeed_api.routes.start_hours import (
    HourlyPlan,
    air_leaves,
    hour_columns,
    hour_notes,
    plan_by_hour,
    planned_column,
    swings,
)
from outfeed_api.routes.start_models import (
    FirstFill,
    PlanFigures,
    PlanFuel,
    PlannedLevel,
    StartPlanAnswer,
    StartPlanRequest,
)
from outfeed_api.routes.start_words import (
    cooled_last_note,
    decision,
    notes_of,
    steps_of,
    valid_until,
)

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["dryer"])

PLACEHOLDER_RISE = 40.0  # K; stands in for a plenum until the plan has set it
DIALS = {"us": (-160.0 / 9.0, 5.0 / 9.0), "metric": (0.0, 1.0)}  # a degree of the reader's own
LONGEST_HOLD_TRANSITS = 1.5
HOTTEST_HELD = 60.0
"""Kernels hotter than this in a held fill, with no limit of the caller's own, are sent round
instead [degC]; chosen with an eye to fire and cracks in grain that stands, no source."""
AIM_ROUNDS = 2
COOLER_BY = 1.0  # K; less cooling than this takes off nothing


@router.post(
    "/start-plan",
    summary="What to set before a start, and what to expect",
    operation_id="start_plan",
    response_model_exclude_none=True,
)
@computes(heavy=True, writes=canvas.writers(start_plan_picture))
def start_plan(request: StartPlanRequest) -> StartPlanAnswer:
    """Plenums level by level, opening rate, first fill, waits, what to expect, and a check list.

    Plenums are hottest where the grain is wettest and inside the published limit for the grain,
    use, dryer and moisture of each level; the plan says which limit ruled and what others say.
    With `hourly` in place of one state of the air the plan is for its mean, and says how far and
    how long it holds. Also as a picture, SVG or PNG.
    """
    refuse_falling(request, request.metering_points)
    return _plan(request, None)


def _plan(
    request: StartPlanRequest,
    stages: Passes | None,
    *,
    cooled_last: bool = False,
    set_aside: tuple[TemperatureLimit, ...] = (),
) -> StartPlanAnswer:
    """The plan for one pass; `stages` are all of them where it takes several.

    `cooled_last` says that the last of them was asked for with a later cooling, `set_aside` which
    limits the last of them, or the column as it is answered, breaks the condition of.
    """
    column, sensors_assumed = _column(request)
    machine, model = column.machine, column.formulas.model
    where = (machine.dryer, machine.conditions, machine.feed)
    if request.target_moisture >= request.moisture:
        return _without(request, column, "nothing-to-dry")
    try:
        plan, aim = _planned(request, column, set_aside)
        needed = passes(plan.levels, request.moisture, aim)
        if stages is None and len(needed.moistures) > 1:
            first = _first_pass(request, needed)
            cooled = request.cooling is not None
            return _plan(first, needed, cooled_last=cooled, set_aside=plan.set_aside)
        if reach_of(plan.dryer, *where[1:], aim).verdict != "within-reach":
            return _without(request, column, "out-of-reach")
        found = meeting(
            plan.dryer, machine.conditions, machine.feed, aim, model,
            assumptions=column.assumed, fit=column.formulas.fit,
        )  # fmt: skip
        broken = broken_limits(plan.levels, one_pass(plan.dryer, found.profile, request.moisture))
        if broken:
            aside = (*plan.set_aside, *broken)
            return _plan(request, stages, cooled_last=cooled_last, set_aside=aside)
        rate = found.dry_matter_rate.value
        felt = sensitivities(plan.dryer, *where[1:], rate, model=model)
        fill = _first_fill(request, column, plan, aim, rate)
        hours = plan_by_hour(request, column, plan, aim, rate)
    except OutOfReach:
        return _without(request, column, "out-of-reach")
    except NotConverged:
        return _without(request, column, "not-converged")
    return _answer(
        request, column, plan, found, felt, fill, aim, hours, stages,
        sensors_assumed=sensors_assumed, cooled_last=cooled_last,
    )  # fmt: skip


def _first_pass(request: StartPlanRequest, stages: Passes) -> StartPlanRequest:
    """The request for the first of several passes; the last one's cooling is not its concern."""
    return request.model_copy(update={"target_moisture": stages.moistures[0], "cooling": None})


def _column(request: StartPlanRequest) -> tuple[Column, bool]:
    """The machine, with stand-ins where the plan will set a plenum or no sensor is known."""
    ambient = outside(request)
    stand_in = max(ambient + PLACEHOLDER_RISE, PLACEHOLDER_RISE)
    plenums = [
        (zone.plenum_temperature or stand_in) if zone.role == "heated" else zone.plenum_temperature
        for zone in request.dryer.zones
    ]
    expected = min(request.target_moisture, request.moisture)
    machine = followed_machine(request, expected, plenums)
    dryer, assumed = with_sensors(machine.dryer)
    machine = replace(machine, dryer=dryer)
    formulas: Formulas = formulas_of(request)
    return Column(machine, formulas, (*machine.assumptions, *formulas.assumptions)), assumed


def _planned(
    request: StartPlanRequest, column: Column, set_aside: tuple[TemperatureLimit, ...]
) -> tuple[PlenumPlan, float]:
    """Plenums, and the moisture to aim for given the later cooling."""
    machine = column.machine
    aim = request.target_moisture
    authority = Authority(request.end_use or USUAL_USE, request.limit_source, request.jurisdiction)
    for _ in range(AIM_ROUNDS if request.cooling else 1):
        plan = plan_plenums(
            machine.dryer, machine.conditions, machine.feed, aim, authority,
            wished=[zone.plenum_temperature for zone in request.dryer.zones],
            kernel_limit=request.kernel_limit,
            dial=DIALS[request.units],
            model=column.formulas.model,
            set_aside=set_aside,
        )  # fmt: skip
        if request.cooling is not None:
            hot = float(plan.setting.profile.outlet_temperature)
            aim = _aim(request, hot)
    return plan, aim


def _aim(request: StartPlanRequest, hot: float) -> float:
    final = request.final_temperature
    cold = outside(request) if final is None else final
    if request.cooling is None or hot < cold + COOLER_BY:
        return request.target_moisture
    credit = discharge_moisture_for(
        load_grain(request.grain), request.cooling, request.target_moisture, hot, cold
    )
    return min(float(credit.hot_moisture), request.moisture - 1e-3)


def _first_fill(
    request: StartPlanRequest, column: Column, plan: PlenumPlan, aim: float, rate: float
) -> FirstFill:
    """Its weight at least; how it leaves only where the column that runs settles."""
    weight = plan.dryer.hold_up_dry_matter / (1.0 - request.moisture)
    known = FirstFill(
        weight=weight,
        fill_time=None if request.fill_rate is None else weight / request.fill_rate,
        advice="divert",
    )
    try:
        return known.model_copy(update=_leaves(request, column, plan, aim, rate))
    except NotConverged:
        return known


def _leaves(
    request: StartPlanRequest, column: Column, plan: PlenumPlan, aim: float, rate: float
) -> dict[str, object]:
    """How the first fill leaves, and what a hold would do to it."""
    machine, model = column.machine, column.formulas.model
    where = (plan.dryer, machine.conditions, machine.feed)
    hold_up = plan.dryer.hold_up_dry_matter
    transit = hold_up / rate
    plain = respond(*where, rate, [], transit, model=model, fresh=True)
    off = off_grain(leaving(first_fill_mixed(plain, plan.dryer), hold_up), aim, USUAL_BAND)
    known: dict[str, object] = {"wet": off.wet, "wet_by": off.wet_by}
    hold: Hold | None = None
    if off.wet > 0.0:
        longest = LONGEST_HOLD_TRANSITS * transit
        hold = hold_for_moisture(*where, rate, aim, model=model, longest=longest, unheld=plain)
        if hold is None:
            return known | {"advice": "divert"}
    if hold is None or hold.duration == 0.0:
        return known | {"hold": 0.0, "advice": "no-hold-needed"}
    return known | {
        "hold": hold.duration,
        "held_kernel": hold.hottest_kernel,
        "advice": _fill_advice(request, hold, transit),
    }


def _fill_advice(
    request: StartPlanRequest, hold: Hold, transit: float
) -> Literal["hold-if-the-manual-allows", "divert"]:
    limit = HOTTEST_HELD if request.kernel_limit is None else request.kernel_limit
    if hold.duration > transit or hold.hottest_kernel > limit:
        return "divert"
    return "hold-if-the-manual-allows"


def _answer(
    request: StartPlanRequest,
    column: Column,
    plan: PlenumPlan,
    found: Banded,
    felt: tuple[Sensitivity, ...],
    fill: FirstFill,
    aim: float,
    hours: HourlyPlan | None,
    stages: Passes | None,
    *,
    sensors_assumed: bool,
    cooled_last: bool,
) -> StartPlanAnswer:
    dial = _dial(request, found, aim)
    figures = _figures(request, plan, found, fill, aim, dial, stages)
    return StartPlanAnswer(
        decision=decision(request, plan, figures, stages),
        units=request.units,
        verdict="planned",
        figures=figures,
        steps=steps_of(request, figures),
        valid_until=valid_until(request, felt, air_leaves(hours)),
        column=planned_column(plan, found),
        over_hours=None if hours is None else swings(hours),
        by_hour=None if hours is None else hour_columns(hours),
        assumed=_assumed(request, column, sensors_assumed=sensors_assumed),
        methods=methods_used(*_methods(request, column, found, dial)),
        notes=[
            *notes_of(request, plan, figures),
            *metering_notes(request.metering_points, dial),
            *([cooled_last_note(stages)] if stages is not None and cooled_last else []),
            *([] if hours is None else hour_notes(request, hours, found)),
            *shared_notes(column),
        ],
        cautions=cautions(
            "follow-manual", *burner_cautions(request), "fire-trash", "entrapment",
            *moisture_cautions(request.grain, [request.target_moisture], request.target_moisture),
            "stress-cracks", "meter-uncertain",
        ),
    )  # fmt: skip


def _figures(
    request: StartPlanRequest,
    plan: PlenumPlan,
    found: Banded,
    fill: FirstFill,
    aim: float,
    dial: Metering | None,
    stages: Passes | None,
) -> PlanFigures:
    zones = zone_columns(found, plan.dryer, request.dryer)
    heat = total_fuel(zones)
    fuel, volume = request.dryer.fuel, heat / load_fuel(request.dryer.fuel).heat_content
    given = float(found.profile.heat)
    burnt = heat / given if given > 0.0 else 1.0  # plenums as warm as the outside air burn nothing
    column = found.column_temperature or found.hottest_kernel
    return PlanFigures(
        levels=[_level(request, level, plan, found) for level in plan.levels],
        discharge_rate=RateBand(**ends(found.dry_matter_rate.scaled(1.0 / (1.0 - aim)))),
        intake_rate=RateBand(**ends(found.dry_matter_rate.scaled(1.0 / (1.0 - request.moisture)))),
        metering=None if dial is None else _dialled(dial),
        aim=aim,
        cooling_credit=None if request.cooling is None else aim - request.target_moisture,
        passes=None if stages is None else list(stages.moistures),
        transit_time=HoursBand(**ends(found.transit_time)),
        settling_wait=HoursBand(**ends(found.transit_time)),
        column_temperature=temperature_band(column),
        discharge_temperature=temperature_band(found.outlet_temperature),
        hottest_kernel=temperature_band(found.hottest_kernel),
        fuel=PlanFuel(
            fuel=fuel,
            heat=heat,
            liquid=volume if fuel in {"propane", "fuel-oil"} else None,
            gas=volume if fuel == "natural-gas" else None,
            heat_per_water=EnergyBand(**ends(found.heat_per_water.scaled(burnt))),
        ),
        first_fill=fill,
    )


def _level(
    request: StartPlanRequest, level: Level, plan: PlenumPlan, found: Banded
) -> PlannedLevel:
    index = [zone.name for zone in plan.dryer.zones].index(level.zone)
    ruling, done = level.ruling, one_pass(plan.dryer, found.profile, request.moisture)
    return PlannedLevel(
        zone=level.zone,
        plenum_temperature=level.plenum_temperature,
        moisture=level.moisture_wb,
        ceiling=level.ceiling,
        ruling=None if ruling is None else limit_with_source(ruling, request.units, done),
        others=[limit_with_source(row, request.units, done) for row in level.others],
        lowered=level.lowered,
        exhaust_temperature=temperature_band(found.exhaust_temperature[index]),
        exhaust_relative_humidity=HumidityBand(**ends(found.exhaust_relative_humidity[index])),
    )


def _dial(request: StartPlanRequest, found: Banded, aim: float) -> Metering | None:
    wet = request.rate_basis == "wet"
    rate = found.dry_matter_rate.scaled(1.0 / (1.0 - (request.moisture if wet else aim)))
    return dialled(request, request.metering_points, rate)


def _dialled(dial: Metering) -> MeteringFigures:
    return MeteringFigures(
        setting=dial.setting.value,
        low=dial.setting.low,
        high=dial.setting.high,
        basis=dial.basis,
        scatter=dial.spread,
    )


def _assumed(request: StartPlanRequest, column: Column, *, sensors_assumed: bool) -> list[Assumed]:
    items = [*column.assumed, *column.machine.also_assumed]
    if burner_assumed(request):
        items.append(assumed_burner_efficiency())
    entries = [assumed_quantity(item, column.machine.bulk_density) for item in items]
    if sensors_assumed:
        entries.append(
            AssumedQuantity(
                input="sensors",
                quantity="ratio",
                value=MIDDLE_OF_ZONE[0],
                why="Where the column sensors sit was not given; the middle of the lowest heated "
                "zone is taken.",
                source=COMMON_PRACTICE,
            )
        )
    if request.end_use is None:
        entries.append(
            Assumed(
                input="end_use",
                choice=USUAL_USE,
                why="What the grain is for was not given; temperature limits depend on it.",
                source=COMMON_PRACTICE,
            )
        )
    return entries


def _methods(
    request: StartPlanRequest, column: Column, found: Banded, dial: Metering | None
) -> list[MethodUse]:
    grain = found.profile.grain_temperature
    met = (float(np.min(grain)), float(np.max(found.profile.hottest)))
    used = [
        MethodUse(START_PLAN),
        *column_methods(column.formulas.model, met),
        MethodUse(EIA_HEAT),
    ]
    if request.cooling is not None:
        used.append(MethodUse(CREDIT))
    if dial is not None:
        used.append(MethodUse(METERING))
    return used


NO_PLAN: dict[str, str] = {
    "nothing-to-dry": "There is nothing to dry: the grain comes in at or below the target. Run it "
    "through without heat, or cool it in the bin.",
    "out-of-reach": "Inside the temperature limits this dryer does not reach the target at any "
    "rate. Name another source of limits, or dry in two passes.",
    "not-converged": "The column model did not settle for this dryer, so there is no plan to "
    "trust. Check airflow and hold-up; the discharge rate from a quick balance may still answer.",
}


def _without(
    request: StartPlanRequest,
    column: Column,
    verdict: Literal["out-of-reach", "nothing-to-dry", "not-converged"],
) -> StartPlanAnswer:
    machine: Machine = column.machine
    return StartPlanAnswer(
        decision=NO_PLAN[verdict],
        units=request.units,
        verdict=verdict,
        assumed=[
            assumed_quantity(item, machine.bulk_density)
            for item in [*column.assumed, *machine.also_assumed]
        ],
        methods=methods_used(*column_methods(column.formulas.model, ())),
        cautions=cautions("follow-manual"),
    )
