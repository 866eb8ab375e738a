"""Season plan: does the dryer keep up, what does wet grain suffer, what does fuel cost."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from fastapi import APIRouter
from numpy.typing import NDArray

from outfeed.ability import DescribedDryer, Machine
from outfeed.arrays import FloatArray
from outfeed.fuel import load_fuel
from outfeed.grains import load_grain
from outfeed.queue import LOT_MOISTURE, Harvest, Lots
from outfeed.season import Plan, Season, fitted_season, plan_season
from outfeed.season_fuel import Refill, by_week, tank_refills
from outfeed.season_help import Alternative, alternatives, most_helpful
from outfeed.weather import (
    DAY,
    HOUR,
    Weather,
)
from outfeed_api.models import MOST_ENTRIES, cautions
from outfeed_api.moments import Clock, in_one_form
from outfeed_api.pictures import canvas
from outfeed_api.problems import OUT_OF_RANGE, Allowed, ProblemError, field_error
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.column_input import refuse_fit_alone
from outfeed_api.routes.dryer_models import DryerGiven
from outfeed_api.routes.season_dryer import (
    LIQUIDS,
    Described,
    at_its_level,
    counted_fuel,
    described_dryer,
    fuel_band,
    known_rate_of,
    refuse_two_kinds,
    refuse_warm_air,
)
from outfeed_api.routes.season_models import (
    DRYDOWN,
    AlternativePlan,
    HarvestGiven,
    LotPlans,
    RefillPlan,
    SeasonPlanAnswer,
    SeasonPlanRequest,
    WeekPlan,
)
from outfeed_api.routes.season_weather import clock_of, contradiction, local_hours, weather_of
from outfeed_api.routes.season_words import (
    assumed,
    caution_codes,
    decision,
    methods,
    notes,
    what_changed,
)
from outfeed_api.units import QUANTITIES, rounded

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])


def _draw(request: SeasonPlanRequest, answer: SeasonPlanAnswer, media_type: str) -> bytes:
    from outfeed_api.pictures.season_plan import season_picture

    if request._plan is None:
        raise ValueError("a picture needs the plan it shows")
    return season_picture(
        request._plan, request._others, answer, clock_of(request), request.kg_per_bushel, media_type
    )


@router.post(
    "/season-plan",
    summary="Whether the dryer keeps up with the harvest, and what would help",
    operation_id="season_plan",
    response_model_exclude_none=True,
)
@computes(heavy=True, writes=canvas.writers(_draw))
def season_plan(request: SeasonPlanRequest) -> SeasonPlanAnswer:
    """Harvest, wet holding, dryer, storage life, fuel and tank through a season, hour by hour.

    The dryer is a rate you have seen, scaled to moisture and weather, or described, or both; a
    described one may have been fitted. What would help is found by changing one thing and running
    the season again. Pictures: `Accept: image/svg+xml` or `image/png`.
    """
    clock = clock_of(request)
    season, described = _season(request)
    plan = plan_season(season)
    others = alternatives(plan) if request.alternatives else ()
    request._plan, request._others = plan, others
    best = most_helpful(plan, others)
    low, high = fuel_band(season.machine, request.known_rate)
    price = heat_price(request)
    refills = _refills(request, plan)
    return SeasonPlanAnswer(
        decision=decision(request, plan, best, clock),
        units=request.units,
        keeps_up=plan.keeps_up,
        finished=_stamp(clock, plan.finished_s),
        finished_elapsed=_minute(clock, plan.finished_s),
        waited=plan.waited_hours * HOUR,
        left_in_field=plan.flow.left_outside / (1.0 - request.final_moisture),
        peak_holding=plan.peak_held,
        peak_holding_share=plan.peak_held / request.wet_holding if request.wet_holding else None,
        worst_life_used=plan.worst_life,
        life_source=None if plan.life is None else plan.life.source,
        discharge_moisture=plan.target_wb,
        dried=float(plan.flow.weight.sum()),
        water=plan.water,
        dryer_hours=float(plan.flow.busy.sum()) * HOUR,
        heat=plan.heat,
        heat_low=plan.heat * low,
        heat_high=plan.heat * high,
        liquid=_liquid(request, plan.heat),
        gas=_gas(request, plan.heat),
        fuel_money=None if price is None else plan.heat * price,
        weeks=_weeks(request, plan, clock),
        refills=None if refills is None else _refill_plans(request, refills, clock),
        refills_needed=None if refills is None else len(refills),
        lots=_lot_plans(plan, clock),
        alternatives=[_alternative(request, other, clock) for other in others],
        helps_most=None if best is None else best.change,
        assumed=assumed(request, plan, described),
        methods=methods(request, plan, described),
        notes=notes(request, plan, described, clock),
        cautions=cautions(*caution_codes(plan, others)),
    )


def heat_price(request: SeasonPlanRequest) -> float | None:
    """Price of fuel as heat.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.

    Returns
    -------
    float or None
        Money per heat, higher heating value [money/J]; None when no price was given.

    Raises
    ------
    ProblemError
        Two prices, or one of a liquid for a fuel that is none.
    """
    if request.price_of_liquid is not None and request.price_of_heat is not None:
        raise contradiction("price_of_heat", "give one price of fuel")
    if request.price_of_liquid is not None:
        fuel = counted_fuel(request)
        if fuel not in LIQUIDS:
            detail = f"{fuel.replace('-', ' ')} is not sold as a liquid here"
            raise contradiction("price_of_liquid", detail)
        return request.price_of_liquid / load_fuel(fuel).heat_content
    return request.price_of_heat


def _season(request: SeasonPlanRequest) -> tuple[Season, Described | None]:
    weather = weather_of(request)
    local = local_hours(request, weather)
    if (request.harvest is None) == (request.lots is None):
        raise contradiction("harvest", "give either `harvest` or `lots`")
    supply: Harvest | Lots
    if request.harvest is not None:
        supply = _harvest(request, request.harvest, weather, local)
    else:
        supply = _lots(request, weather)
    allowed = DAY if request.dryer_hours_per_day is None else request.dryer_hours_per_day
    machine, described = _machine(request, weather, supply)
    season = Season(
        grain=load_grain(request.grain),
        weather=weather,
        supply=supply,
        machine=machine,
        run_share=_open(local, request.dryer_first_hour or 0.0, allowed),
        holding=request.wet_holding,
        final_wb=request.final_moisture,
        cooling=request.cooling,
        holding_temperature=request.holding_temperature,
    )
    if described is None:
        return season, None
    if described.formulas is not None:
        season = fitted_season(season, described.formulas.model)
    if request.known_rate is not None and isinstance(season.machine, DescribedDryer):
        level = at_its_level(
            request,
            season.machine,
            request.known_rate,
            "known_rate",
            grain=season.grain,
            pressure=weather.pressure,
        )
        season = replace(season, machine=level)
    return season, described


def _open(local: FloatArray, first: float, length: float) -> FloatArray:
    """Share of each hour that lies within a daily stretch of hours."""
    since = (local - first) % DAY
    until_next = np.maximum(0.0, since + HOUR - DAY)  # an hour that runs into the next stretch
    within = np.clip(length - since, 0.0, HOUR)
    return np.asarray(np.minimum((within + np.minimum(until_next, length)) / HOUR, 1.0))


def _harvest(
    request: SeasonPlanRequest, given: HarvestGiven, weather: Weather, local: FloatArray
) -> Harvest:
    if given.lowest_moisture is not None and given.lowest_moisture > given.moisture:
        raise contradiction(
            "harvest/lowest_moisture", "the field dries down: its lowest moisture is not above the "
            "moisture at the start",
        )  # fmt: skip
    start = _harvest_start(request, given, weather)
    since = weather.starts_s - start
    lowest = given.lowest_moisture
    if lowest is None:
        lowest = max(request.final_moisture, LOT_MOISTURE.low)
    # before the start the field is wetter by the same drydown; a harvest moved earlier needs it
    moisture = np.maximum(given.moisture - given.drydown * since, min(lowest, given.moisture))
    open_share = _open(local, given.first_hour, given.hours_per_day)
    offered = np.where(since > -HOUR, open_share * given.rate * HOUR, 0.0)
    _refuse_too_wet(request, given, since[(offered > 0.0) & (moisture > LOT_MOISTURE.high)])
    return Harvest(
        offered=offered,
        moisture_wb=moisture,
        crop=given.crop * (1.0 - request.final_moisture),
    )


def _refuse_too_wet(request: SeasonPlanRequest, given: HarvestGiven, too_wet: FloatArray) -> None:
    """Refuse a field that gets wetter than can be planned for; seconds since the start at which."""
    if not too_wet.size:
        return
    unit = QUANTITIES["points-per-day"].unit(request.units)
    room = LOT_MOISTURE.high - given.moisture
    low = -room / max(float(too_wet[-1]), HOUR)
    ends = (low, DRYDOWN.high)
    value, least, most = (rounded(unit.from_si(x, math.nan), 4) for x in (given.drydown, *ends))
    detail = (
        f"a drydown of {value:g} {unit.label} makes the field wetter than "
        f"{LOT_MOISTURE.high * 100:.0f} % while the combine may still go"
    )
    allowed = Allowed(minimum=least, maximum=most, unit=unit.label)
    fault = field_error("/harvest/drydown", detail, value, allowed)
    raise ProblemError(OUT_OF_RANGE, detail, [fault])


def _harvest_start(request: SeasonPlanRequest, given: HarvestGiven, weather: Weather) -> float:
    start = clock_of(request).time_of(given.start, given.start_elapsed, "harvest")
    return weather.start_s if start is None else start


def _lots(request: SeasonPlanRequest, weather: Weather) -> Lots:
    given = request.lots
    if given is None:
        raise contradiction("harvest", "give either `harvest` or `lots`")
    in_one_form(clock_of(request).form, given.form, "lots")
    ready = np.array(given.seconds)
    if not ready.size == len(given.weight) == len(given.moisture):
        raise contradiction("lots", "each lot needs a time, a weight and a moisture")
    end = weather.start_s + HOUR * weather.hours
    if ready.size and (ready.min() < weather.start_s or ready.max() >= end):
        raise contradiction("lots", "a lot lies outside the hours of the weather")
    return Lots(ready, np.array(given.weight), np.array(given.moisture))


def _machine(
    request: SeasonPlanRequest, weather: Weather, supply: Harvest | Lots
) -> tuple[Machine, Described | None]:
    """The known rate, or the dryer as described, before fit and known rate speak for it."""
    refuse_fit_alone(request.dryer, request.fitted)
    refuse_two_kinds(request.dryer, request.known_rate, "known_rate")
    if request.dryer is None:
        if request.known_rate is None:
            raise contradiction("known_rate", "give `known_rate`, or `dryer`, or both")
        plenum = request.known_rate.plenum_temperature
        refuse_warm_air(weather, [("/known_rate/plenum_temperature", plenum)], request.units)
        return known_rate_of(request, request.known_rate, "known_rate"), None
    described = _described(request, request.dryer, weather, supply)
    return described.machine, described


def _described(
    request: SeasonPlanRequest, dryer: DryerGiven, weather: Weather, supply: Harvest | Lots
) -> Described:
    wet = supply.moisture_wb
    if isinstance(supply, Harvest):
        wet = wet[supply.offered > 0.0]
    return described_dryer(
        dryer,
        request.fitted,
        weather,
        units=request.units,
        grain=request.grain,
        moisture=max(float(np.mean(wet)), request.final_moisture + 0.01),
        target_moisture=request.final_moisture,
        altitude=request.altitude,
    )


def _liquid(request: SeasonPlanRequest, heat: float) -> float | None:
    fuel = counted_fuel(request)
    return heat / load_fuel(fuel).heat_content if fuel in LIQUIDS else None


def _gas(request: SeasonPlanRequest, heat: float) -> float | None:
    fuel = counted_fuel(request)
    return heat / load_fuel(fuel).heat_content if fuel == "natural-gas" else None


def _refills(request: SeasonPlanRequest, plan: Plan) -> tuple[Refill, ...] | None:
    if request.tank is None:
        return None
    fuel = counted_fuel(request)
    if fuel not in LIQUIDS:
        raise contradiction("tank", f"{fuel.replace('-', ' ')} needs no tank; leave it out")
    return tank_refills(plan.flow, request.tank * load_fuel(fuel).heat_content)


def _refill_plans(
    request: SeasonPlanRequest, refills: tuple[Refill, ...], clock: Clock
) -> list[RefillPlan]:
    heat_content = load_fuel(counted_fuel(request)).heat_content
    return [
        RefillPlan(
            at=clock.stamp(refill.at_s),
            at_elapsed=clock.minute(refill.at_s),
            liquid=refill.heat / heat_content,
        )
        for refill in refills[:MOST_ENTRIES]
    ]


def _stamp(clock: Clock, time_s: float | None) -> str | None:
    return None if time_s is None else clock.stamp(time_s)


def _minute(clock: Clock, time_s: float | None) -> float | None:
    return None if time_s is None else clock.minute(time_s)


def _weeks(request: SeasonPlanRequest, plan: Plan, clock: Clock) -> list[WeekPlan]:
    flow = plan.flow
    start = flow.start_s
    came = by_week(_came_in(plan))
    dried, water = by_week(flow.weight), by_week(flow.water)
    heat, busy, waited = by_week(flow.heat), by_week(flow.busy), by_week(flow.refused_hours)
    edges: NDArray[np.intp] = np.arange(0, flow.peak.size, 168)
    peak = np.maximum.reduceat(flow.peak, edges)
    price = heat_price(request)
    return [
        WeekPlan(
            start=clock.stamp(start + HOUR * int(edges[k])),
            start_elapsed=clock.minute(start + HOUR * int(edges[k])),
            came_in=float(came[k]),
            dried=float(dried[k]),
            water=float(water[k]),
            dryer_hours=float(busy[k]) * HOUR,
            waited=float(waited[k]) * HOUR,
            peak_holding=float(peak[k]),
            heat=float(heat[k]),
            liquid=_liquid(request, float(heat[k])),
            gas=_gas(request, float(heat[k])),
            fuel_money=None if price is None else float(heat[k]) * price,
        )
        for k in range(edges.size)
    ]


def _came_in(plan: Plan) -> FloatArray:
    """Wet weight brought in, counted in the hour its lot began to come in."""
    flow = plan.flow
    wet = flow.lot_dry_matter / (1.0 - flow.lot_moisture_wb)
    known = ~np.isnan(flow.lot_in_s)
    hour = ((flow.lot_in_s[known] - flow.start_s) / HOUR).astype(np.intp)
    hour = np.minimum(hour, flow.held.size - 1)
    return np.bincount(hour, weights=wet[known], minlength=flow.held.size).astype(np.float64)


def _lot_plans(plan: Plan, clock: Clock) -> LotPlans:
    flow = plan.flow
    came = [None if math.isnan(value) else value for value in flow.lot_in_s.tolist()]
    done = [None if math.isnan(value) else value for value in flow.lot_done_s.tolist()]
    wet = flow.lot_dry_matter / (1.0 - flow.lot_moisture_wb)
    dates = clock.form == "times"
    return LotPlans(
        moisture=flow.lot_moisture_wb.tolist(),
        weight=wet.tolist(),
        comes_in=[_stamp(clock, value) for value in came] if dates else None,
        comes_in_elapsed=None if dates else came,
        dry=[_stamp(clock, value) for value in done] if dates else None,
        dry_elapsed=None if dates else done,
        life_used=None if plan.life is None else plan.life.used.tolist(),
    )


def _alternative(request: SeasonPlanRequest, other: Alternative, clock: Clock) -> AlternativePlan:
    plan = other.plan
    what = what_changed(request, other)
    if plan is None:
        return AlternativePlan(change=other.change, what=what, computed=False)
    return AlternativePlan(
        change=other.change,
        what=what,
        computed=True,
        waited=plan.waited_hours * HOUR,
        finished=_stamp(clock, plan.finished_s),
        finished_elapsed=_minute(clock, plan.finished_s),
        worst_life_used=plan.worst_life,
        heat=plan.heat,
    )
