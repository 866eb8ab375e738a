"""Cooling credit: what hot grain loses after the dryer, and what to aim for at the discharge."""

from __future__ import annotations

import numpy as np
from fastapi import APIRouter

from outfeed import Inconsistent, NotPublished, OutOfRange
from outfeed.arrays import ArrayLike
from outfeed.cooling import (
    ABOVE_AMBIENT,
    IN_DRYER,
    MODES,
    CoolingCredit,
    cooling_credit,
    cooling_mode,
    discharge_moisture_for,
    points_by_rule,
    water_share_saved,
)
from outfeed.cooling_air import (
    FILL_AIR,
    FRONT,
    Reached,
    airflow_for_fill,
    cooling_time,
    heat_ratio,
    reached_temperature,
)
from outfeed.grains import Grain, load_grain
from outfeed.methods import use
from outfeed.moist_air import STANDARD_PRESSURE
from outfeed_api.models import cautions, methods_used
from outfeed_api.moments import Clock, in_order
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.refusals import words_of
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.cooling_models import (
    CoolingAir,
    CoolingAnswer,
    CoolingCase,
    CoolingHours,
    CoolingRequest,
    CoolingResult,
    Mode,
    WayCompared,
)
from outfeed_api.routes.cooling_words import (
    CORN,
    assumed,
    caution_codes,
    decision,
    methods,
    notes,
)
from outfeed_api.units import say

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])

DEFAULT_MODE: Mode = "cool-in-storage"


@router.post(
    "/cooling",
    summary="Moisture lost while hot grain cools",
    operation_id="cooling",
    response_model_exclude_none=True,
)
@computes(heavy=True)
def cooling(request: CoolingRequest) -> CoolingAnswer:
    """Points of moisture that leave with the heat, and what to aim for at the discharge.

    Give `hot_temperature` with `discharge_moisture` (what is left after cooling?) or with
    `final_moisture` (what to aim for?), or many `cases`; and the air, or `final_temperature`.
    `airflow_per_grain` or `fill_rate` alone ask for the fan only.
    """
    grain, mode = load_grain(request.grain), request.mode or DEFAULT_MODE
    if _is_of_the_fan_only(request):
        return _fan_only(request, grain, mode)
    reached, final = _final(request)
    single = _single(request)
    result = None if single is None else _credit(request, grain, mode, single, final)
    cases = _cases(request, grain, mode, request.cases, final) if request.cases else None
    if result is None and cases is None:
        raise Inconsistent("give hot_temperature with a moisture, or cases", "hot_temperature")
    return CoolingAnswer(
        decision=decision(request, mode, result, cases, reached, final),
        units=request.units,
        grain=grain.id,
        mode=mode,
        result=None if result is None else _part(result, final),
        cases=cases,
        water_taken_over=_taken_over(request, result),
        by_mode=None
        if single is None
        else [
            way for name in MODES if (way := _way(request, grain, name, single, final)) is not None
        ],
        air=_air(request, grain, reached),
        by_hour=_by_hour(request, grain, mode, single),
        assumed=assumed(request, mode, final),
        methods=methods_used(*methods(request, grain, mode, final)),
        notes=notes(request, grain, mode, single, reached),
        cautions=cautions(*caution_codes(request, grain, mode, final, _left(result, cases))),
    )


def _left(result: CoolingCredit | None, cases: list[CoolingResult] | None) -> list[float]:
    """Moisture after cooling of every lot."""
    lots = [case.final_moisture for case in cases or []]
    return lots if result is None else [float(result.final_moisture), *lots]


def _final(request: CoolingRequest) -> tuple[Reached | None, float]:
    """How cold the grain gets."""
    air, wanted = request.ambient_temperature, request.final_temperature
    if request.hourly is not None:
        if air is not None or request.relative_humidity is not None:
            raise Inconsistent("give one state of the air or `hourly`, not both", "hourly")
        hours = _reached_by_hour(request)
        limited = bool(np.any(hours.limited))
        lowest, final = (np.asarray(np.mean(x)) for x in (hours.lowest, hours.temperature))
        return Reached(final, lowest, np.asarray(limited)), float(final)
    if air is None:
        if wanted is None:
            raise Inconsistent(
                "give ambient_temperature or final_temperature", "ambient_temperature"
            )
        return None, wanted
    if request.relative_humidity is None:
        return None, air if wanted is None else wanted
    reached = reached_temperature(
        air, request.relative_humidity, wanted, request.pressure or STANDARD_PRESSURE
    )
    return reached, float(reached.temperature)


def _reached_by_hour(request: CoolingRequest) -> Reached:
    given = request.hourly
    if given is None or not given.temperature:
        raise Inconsistent("give at least one hour", "hourly")
    in_order(given, given.temperature, "hourly")
    in_order(given, given.relative_humidity, "hourly")
    return reached_temperature(
        np.asarray(given.temperature), np.asarray(given.relative_humidity),
        request.final_temperature, request.pressure or STANDARD_PRESSURE,
    )  # fmt: skip


def _by_hour(
    request: CoolingRequest, grain: Grain, mode: str, case: CoolingCase | None
) -> CoolingHours | None:
    """The lot of the request in the air of each hour."""
    given = request.hourly
    if given is None:
        return None
    reached, clock = _reached_by_hour(request), Clock.of(given)
    hot = left = None
    if case is not None:
        finals = np.minimum(reached.temperature, case.hot_temperature)
        credit = _credit(request, grain, mode, case, finals)
        hot, left = (
            np.broadcast_to(column, finals.shape).tolist()
            for column in (credit.hot_moisture, credit.final_moisture)
        )
    stamps = [clock.stamp(at) for at in given.seconds]
    return CoolingHours(
        times=[stamp for stamp in stamps if stamp is not None] or None,
        elapsed=given.seconds if clock.form == "elapsed" else None,
        lowest_temperature=reached.lowest.tolist(),
        final_temperature=reached.temperature.tolist(),
        discharge_moisture=hot,
        final_moisture=left,
    )


def _is_of_the_fan_only(request: CoolingRequest) -> bool:
    """Whether nothing but fan time or airflow is asked."""
    fan = request.airflow_per_grain is not None or request.fill_rate is not None
    lot = ("hot_temperature", "discharge_moisture", "final_moisture", "final_temperature",
           "ambient_temperature", "hourly", "cases", "wet_moisture")  # fmt: skip
    return fan and all(getattr(request, name) is None for name in lot)


def _fan_only(request: CoolingRequest, grain: Grain, mode: Mode) -> CoolingAnswer:
    air = _air(request, grain, None) or CoolingAir()
    words = []
    if air.fan_hours is not None:
        hours = say(air.fan_hours, "hours", request.units, decimals=0)
        words.append(f"The fan needs about {hours} for the cooling front to pass.")
    if air.airflow_to_keep_up is not None:
        flow = say(air.airflow_to_keep_up, "airflow", request.units, decimals=0)
        words.append(f"An airflow of {flow} cools the grain as fast as the bin fills.")
    uses = [use(FRONT)] if air.fan_hours is not None else []
    uses += [use(FILL_AIR)] if air.airflow_to_keep_up is not None else []
    return CoolingAnswer(
        decision=" ".join(words),
        units=request.units,
        grain=grain.id,
        mode=mode,
        air=air,
        methods=methods_used(*uses),
        notes=[
            "Fan time follows airflow: measure the grain at the far side before you stop the fan.",
            "Give hot_temperature and a moisture too, to know what moisture cooling takes.",
        ],
        cautions=cautions("condensation", "entrapment"),
    )


def _single(request: CoolingRequest) -> CoolingCase | None:
    given = (request.discharge_moisture, request.final_moisture)
    if request.hot_temperature is None:
        if any(moisture is not None for moisture in given) or not request.cases:
            raise Inconsistent("the temperature of the hot grain is needed", "hot_temperature")
        return None
    return CoolingCase(
        **{
            name: value
            for name in ("hot_temperature", "discharge_moisture", "final_moisture")
            if (value := getattr(request, name)) is not None
        }
    )


def _credit(
    request: CoolingRequest, grain: Grain, mode: str, case: CoolingCase, final: ArrayLike
) -> CoolingCredit:
    if (case.discharge_moisture is None) == (case.final_moisture is None):
        raise Inconsistent("give one of discharge_moisture and final_moisture", "final_moisture")
    if case.final_moisture is not None:
        return discharge_moisture_for(
            grain, mode, case.final_moisture, case.hot_temperature, final,
            efficiency=request.efficiency,
        )  # fmt: skip
    return cooling_credit(
        grain, mode, case.discharge_moisture or 0.0, case.hot_temperature, final,
        efficiency=request.efficiency,
    )  # fmt: skip


def _cases(
    request: CoolingRequest, grain: Grain, mode: str, cases: list[CoolingCase], final: float
) -> list[CoolingResult]:
    """Many lots as columns: those that ask for an aim, and those that ask what is left."""
    for index, case in enumerate(cases):
        if (case.discharge_moisture is None) == (case.final_moisture is None):
            raise _case_fault(index, "final_moisture", "give one of the two moistures")
        if case.hot_temperature < final:
            raise _case_fault(index, "hot_temperature", "this grain is colder than after cooling")
    found: dict[int, CoolingResult] = {}
    for name, compute in (
        ("final_moisture", discharge_moisture_for),
        ("discharge_moisture", cooling_credit),
    ):
        which = [n for n, case in enumerate(cases) if getattr(case, name) is not None]
        if which:
            try:
                credit = compute(
                    grain,
                    mode,
                    np.asarray([getattr(cases[n], name) for n in which]),
                    np.asarray([cases[n].hot_temperature for n in which]),
                    final,
                    efficiency=request.efficiency,
                )
            except OutOfRange as error:
                said = words_of(error, request.units, request.kg_per_bushel)
                raise _case_fault(which[error.index or 0], name, said) from error
            found |= {n: _part(credit, final, row) for row, n in enumerate(which)}
    return [found[n] for n in range(len(cases))]


def _case_fault(index: int, name: str, detail: str) -> ProblemError:
    return ProblemError(INCONSISTENT, detail, [field_error(f"/cases/{index}/{name}", detail)])


def _part(credit: CoolingCredit, final: float, row: int = 0) -> CoolingResult:
    """One lot of a credit; `row` counts where it holds many."""
    hot, left, low, high, floor, lost = (
        float(np.atleast_1d(column)[row])
        for column in (
            credit.hot_moisture, credit.final_moisture, credit.final_low, credit.final_high,
            credit.final_floor, credit.points,
        )
    )  # fmt: skip
    return CoolingResult(
        discharge_moisture=hot,
        final_moisture=left,
        final_low=low,
        final_high=high,
        points_lost=lost,
        points_ceiling=hot - floor,
        final_temperature=final,
    )


def _way(
    request: CoolingRequest, grain: Grain, mode: str, case: CoolingCase, final: float
) -> WayCompared | None:
    """The lot in one way of cooling; None where that would take more water than it holds."""
    chosen = mode == (request.mode or DEFAULT_MODE)
    own = request.efficiency if chosen else None
    plain = request.model_copy(update={"efficiency": own})
    if mode == IN_DRYER and not chosen:
        cool = min(case.hot_temperature, final + ABOVE_AMBIENT)
        case = case.model_copy(update={"hot_temperature": cool})
    way = cooling_mode(mode)
    try:
        credit = _credit(plain, grain, mode, case, final)
    except OutOfRange:
        return None
    rule = points_by_rule(mode, case.hot_temperature, final) if grain.id == CORN else None
    gain, fuel = way.capacity_gain or (None, None), way.fuel_saved or (None, None)
    return WayCompared(
        mode=mode,  # type: ignore[arg-type]
        efficiency=way.efficiency if own is None else own,
        points_lost=float(credit.points),
        discharge_moisture=float(credit.hot_moisture),
        final_moisture=float(credit.final_moisture),
        rule_low=None if rule is None else float(rule[0]),
        rule_high=None if rule is None else float(rule[1]),
        capacity_gain_low=gain[0],
        capacity_gain_high=gain[1],
        fuel_saved_low=fuel[0],
        fuel_saved_high=fuel[1],
        source=way.source,
    )


def _taken_over(request: CoolingRequest, result: CoolingCredit | None) -> float | None:
    if request.wet_moisture is None or result is None:
        return None
    try:
        return float(
            water_share_saved(request.wet_moisture, result.hot_moisture, result.final_moisture)
        )
    except Inconsistent as error:
        raise Inconsistent(str(error), "wet_moisture") from error


def _air(request: CoolingRequest, grain: Grain, reached: Reached | None) -> CoolingAir | None:
    flow, fill = request.airflow_per_grain, request.fill_rate
    time = by_heat = None
    if flow is not None:
        density = grain.legal_bulk_density
        if density is None:
            raise NotPublished("bushel weight", grain.id, name="airflow_per_grain")
        time = float(cooling_time(grain, flow * density))
        ratio = heat_ratio(grain, load_grain(CORN))
        corn = cooling_time(load_grain(CORN), flow * density)
        by_heat = None if ratio is None else float(corn) * ratio
    air = CoolingAir(
        lowest_temperature=None if reached is None else float(reached.lowest),
        fan_hours=time,
        fan_hours_by_heat=by_heat,
        airflow_to_keep_up=_keep_up(grain, fill),
    )
    return air if air.model_dump(exclude_none=True) else None


def _keep_up(grain: Grain, fill: float | None) -> float | None:
    if fill is None:
        return None
    if grain.bushel_weight is None:
        raise NotPublished("bushel weight", grain.id, name="fill_rate")
    return float(airflow_for_fill(fill, grain.bushel_weight.value))
