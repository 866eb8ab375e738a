"""Fans and beds: pressure, airflow, operating point, power, and what a fuller bin does to them."""

from __future__ import annotations

import math
from dataclasses import replace

from fastapi import APIRouter

from outfeed import Inconsistent, NotPublished
from outfeed.airflow import (
    LOW_FLOW,
    MAIN,
    OPERATING_POINT,
    Bed,
    airflow_at,
    airflow_limit,
    airflow_set,
    packing_factor,
    per_area,
    pressure_drop,
    step_at_the_switch,
)
from outfeed.fan import (
    AIR_DENSITY,
    POWER,
    THIN_AIR,
    WARMTH,
    FanTable,
    OperatingPoint,
    fan_heat,
    fan_power,
    operating_point,
)
from outfeed.fan_air import (
    STANDARD_TEMPERATURE,
    AirState,
    OperatingPoints,
    air_density,
    air_state,
    airflow_at_in,
    operating_points,
    pressure_drop_in,
)
from outfeed.grains import Grain, load_grain
from outfeed.limits import Range
from outfeed.methods import MethodUse, use
from outfeed.moist_air import STANDARD_PRESSURE
from outfeed_api.models import Assumed, AssumedQuantity, cautions, methods_used
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.air_hours import air_hours
from outfeed_api.routes.fan_hours import fan_by_hour, fan_table, share_in_stream, with_hours
from outfeed_api.routes.fan_models import FanAnswer, FanRequest, Point
from outfeed_api.units import say

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])

QUESTIONS = ("airflow", "airflow_per_grain", "static_pressure", "fan")
MUCH_PACKING = 1.0  # the loose end of the band
VERDICTS = {
    "bed-too-tight": "The fan cannot push its least tabled airflow through this bed: lower the "
    "depth, clean the grain, or take a fan for higher pressure.",
    "beyond-table": "The fan moves more air here than its table shows; the last row is given, "
    "nothing is guessed beyond it.",
    "beyond-method": "The fan moves more air per area than the resistance equation covers.",
}


@router.post(
    "/fan",
    summary="Pressure of a bed, operating point and power of its fan",
    operation_id="fan",
    response_model_exclude_none=True,
)
@computes(heavy=True)
def fan(request: FanRequest) -> FanAnswer:
    """How much air a fan pushes through grain, or what pressure an airflow takes.

    Give the bed and one of `airflow`, `airflow_per_grain`, `static_pressure` and `fan`. The other
    fillings and shares of fines are answered for the same question. With `hourly` every hour's
    air is answered: cold air is heavier, so a fan pushes harder and draws more.
    """
    hours = air_hours(request)
    grain = load_grain(request.grain)
    asked = [name for name in QUESTIONS if getattr(request, name) is not None]
    if len(asked) != 1:
        raise Inconsistent(
            "give one of airflow, airflow_per_grain, static_pressure and fan", *(asked or ["fan"])
        )
    area, bed = _area(request), _bed(request, grain)
    point = _point(request, bed, area)
    series = None if hours is None else fan_by_hour(request, hours, bed, area, point)
    return FanAnswer(
        decision=with_hours(request, _decision(request, point), series),
        units=request.units,
        grain=grain.id,
        point=point,
        loose=_loose(request, bed, area),
        other_constants=_other(request, bed, area),
        fuller=[_point(request, replace(bed, depth=d), area) for d in request.depths or []] or None,
        dirtier=[_point(request, replace(bed, fines=f), area) for f in request.dirt or []] or None,
        over_hours=None if series is None else series.swings(),
        by_hour=None if series is None else series.columns(request),
        assumed=_assumed(request, bed),
        methods=methods_used(*_methods(request, bed, point)),
        notes=_notes(request, bed, point),
        cautions=cautions(*_cautions(bed, point)),
    )


def _area(request: FanRequest) -> float:
    """Area of the bed; a square metre where the question does not depend on it."""
    if request.floor_area is not None and request.diameter is not None:
        raise Inconsistent("give one of floor_area and diameter", "floor_area", "diameter")
    if not request.has_area:
        if request.airflow is not None or request.fan is not None:
            raise Inconsistent(
                "a total airflow or a fan needs floor_area or diameter", "floor_area", "diameter"
            )
        return 1.0
    if request.floor_area is not None:
        return request.floor_area
    return math.pi * (request.diameter or 0.0) ** 2 / 4.0


def _bed(request: FanRequest, grain: Grain) -> Bed:
    direction = request.direction or "vertical"
    usual = packing_factor() if direction == "vertical" else 1.0
    return Bed(
        grain=grain,
        depth=request.depth,
        packing=usual if request.packing is None else request.packing,
        direction=direction,
        fines=request.fines or 0.0,
        constants=request.constants or MAIN,
    )


def _point(request: FanRequest, bed: Bed, area: float) -> Point:
    found = _answer(request, bed, area)
    speed, density = found.airflow / area, bed.grain.legal_bulk_density
    power, rise = _power(request, found)
    price = request.price_of_electricity
    return Point(
        depth=bed.depth,
        fines=bed.fines,
        verdict=found.verdict,  # type: ignore[arg-type]
        airflow=found.airflow if request.has_area else None,
        static_pressure=found.pressure,
        airflow_per_area=speed,
        airflow_per_grain=None if density is None else speed / (bed.depth * density),
        pressure_gradient=found.pressure / bed.depth,
        power=power,
        temperature_rise=rise,
        cost_per_hour=None if price is None or power is None else power * price,
    )


def _answer(request: FanRequest, bed: Bed, area: float) -> OperatingPoint:
    """Airflow and pressure by whichever question was asked."""
    air = _air(request)
    if request.fan is not None:
        table = fan_table(request)
        if air is None:
            return operating_point(bed, area, table, request.fans or 1)
        found = operating_points(bed, area, table, request.fans or 1, air)
        return OperatingPoint(
            bool(found.meets),
            _verdict(found, table, request.fans or 1),
            float(found.airflow),
            float(found.pressure),
        )
    if request.static_pressure is not None:
        return _at_pressure(request.static_pressure, bed, area, air)
    speed = _speed(request, bed, area)
    drop = pressure_drop(bed, speed) if air is None else pressure_drop_in(bed, speed, air)
    return OperatingPoint(True, "asked", speed * area, float(drop))


def _air(request: FanRequest) -> AirState | None:
    """The air as far as it is told; None for standard air."""
    hours, warm = air_hours(request), request.ambient_temperature
    if hours is None and warm is None and request.pressure is None:
        return None
    mean = hours.mean_temperature if hours is not None else warm
    return air_state(
        STANDARD_TEMPERATURE if mean is None else mean, request.pressure or STANDARD_PRESSURE
    )


def _verdict(found: OperatingPoints, table: FanTable, fans: int) -> str:
    if bool(found.meets):
        return "meets"
    if bool(found.too_tight):
        return "bed-too-tight"
    return "beyond-table" if float(found.airflow) == fans * table.airflow[0] else "beyond-method"


def _at_pressure(push: float, bed: Bed, area: float, air: AirState | None) -> OperatingPoint:
    """Airflow at a pressure, refused where the resistance is not known that far."""
    limit = airflow_limit(bed)
    most = pressure_drop(bed, limit) if air is None else pressure_drop_in(bed, limit, air)
    Range("static pressure", 0.0, float(most), "Pa", "airflow at its limit").check(
        push, "static_pressure"
    )
    speed = airflow_at(bed, push) if air is None else airflow_at_in(bed, push, air)[0]
    return OperatingPoint(True, "asked", float(speed) * area, push)


def _speed(request: FanRequest, bed: Bed, area: float) -> float:
    """Airflow per area asked for."""
    if request.airflow is not None:
        speed = request.airflow / area
    else:
        density = bed.grain.legal_bulk_density
        if density is None:
            raise NotPublished("bushel weight", bed.grain.id, name="airflow_per_grain")
        speed = float(per_area(request.airflow_per_grain or 0.0, bed.depth, density))
    most = airflow_limit(bed)
    if speed > most:
        is_, known = (say(x, "airflow-per-area", request.units) for x in (speed, most))
        raise Inconsistent(
            f"that is {is_} through the grain, more than the {known} its resistance is known for; "
            "check airflow, area and depth",
            "airflow" if request.airflow is not None else "airflow_per_grain",
        )
    return speed


def _power(request: FanRequest, found: OperatingPoint) -> tuple[float | None, float | None]:
    share = request.fan_efficiency
    if share is None:
        return None, None
    if not request.has_area:
        raise Inconsistent("power needs floor_area or diameter", "floor_area", "diameter")
    in_stream = share_in_stream(request)
    if in_stream > 0.95:
        raise Inconsistent(
            "fan and motor together cannot beat the motor alone",
            "fan_efficiency",
            "motor_efficiency",
        )
    power = float(fan_power(found.airflow, found.pressure, share))
    return power, float(fan_heat(found.pressure, in_stream, _density(request)))


def _density(request: FanRequest) -> float:
    """Density of the air, dry: moisture changes it by less than a percent."""
    hours = air_hours(request)
    warm = request.ambient_temperature if hours is None else hours.mean_temperature
    if warm is None and request.pressure is None:
        return AIR_DENSITY
    temperature = STANDARD_TEMPERATURE if warm is None else warm
    return float(air_density(temperature, request.pressure or STANDARD_PRESSURE))


def _loose(request: FanRequest, bed: Bed, area: float) -> Point | None:
    if request.packing is not None or bed.packing == MUCH_PACKING:
        return None
    return _point(request, replace(bed, packing=MUCH_PACKING), area)


def _other(request: FanRequest, bed: Bed, area: float) -> Point | None:
    """The same by the other constants, where the airflow lies inside their range."""
    name = LOW_FLOW if bed.constants == MAIN else MAIN
    if name not in {one.name for one in bed.grain.airflow}:
        return None
    other = _point(request, replace(bed, constants=name), area)
    ends = airflow_set(bed.grain, name)
    inside = (ends.q_from or 0.0) <= other.airflow_per_area <= (ends.q_to or math.inf)
    return other if inside else None


def _decision(request: FanRequest, point: Point) -> str:
    units, kg = request.units, request.kg_per_bushel
    if point.verdict not in {"asked", "meets"}:
        return VERDICTS[point.verdict]
    air = (
        say(point.airflow_per_area, "airflow-per-area", units, decimals=1 if units == "us" else 3)
        if point.airflow is None
        else say(point.airflow, "airflow", units, decimals=0)
    )
    push = say(point.static_pressure, "static-pressure", units, decimals=2 if units == "us" else 0)
    text = f"The bed takes {push} at {air}"
    if point.verdict == "meets":
        text = f"The fan runs at {push} and moves {air}"
    if point.airflow_per_grain is not None:
        each = say(
            point.airflow_per_grain, "airflow-per-grain", units, bushel_weight=kg,
            decimals=2 if units == "us" else 0,
        )  # fmt: skip
        text += f", {each}"
    if point.power is not None and point.temperature_rise is not None:
        power = say(point.power, "electric-power", units)
        text += f"; it draws {power} and warms the air by "
        text += say(point.temperature_rise, "temperature-difference", units)
    return text + "."


def _assumed(request: FanRequest, bed: Bed) -> list[Assumed]:
    found: list[Assumed] = []
    if request.packing is None:
        found.append(
            AssumedQuantity(
                input="packing",
                quantity="ratio",
                value=bed.packing,
                low=1.0,
                high=packing_factor(),
                why="packing in a bin may add half again"
                if bed.direction == "vertical"
                else "the sideways figure is against a vertical bed of the same fill",
                source="ASAE D272.3"
                if bed.direction == "vertical"
                else "Kay, Bern and Hurburgh (1989)",
            )
        )
    if request.direction is None:
        found.append(
            Assumed(
                input="direction",
                choice="vertical",
                why="air goes up or down through a bin",
                source="common practice, no source",
            )
        )
    told = request.ambient_temperature is not None or request.hourly is not None
    if request.fan_efficiency is not None and not told:
        found.append(
            AssumedQuantity(
                input="density of the air",
                quantity="density",
                value=_density(request),
                why="standard air; give ambient_temperature for yours"
                if request.pressure is None
                else "air of standard temperature; give ambient_temperature for yours",
                source="ASHRAE standard air",
            )
        )
    return found


def _methods(request: FanRequest, bed: Bed, point: Point) -> list[MethodUse]:
    uses = list(bed.use(point.airflow_per_area))
    if request.fan is not None:
        uses.append(use(OPERATING_POINT))
    if request.fan_efficiency is not None:
        uses += [use(POWER), use(WARMTH)]
    if _air(request) is not None:
        uses.append(use(THIN_AIR))
    return uses


def _notes(request: FanRequest, bed: Bed, point: Point) -> list[str]:
    notes = ["Floor, ducts and transition add pressure of their own; measure it where you can."]
    step = step_at_the_switch(bed.grain)
    if step is not None and bed.direction == "vertical":
        notes.append(
            f"The low-flow constants of this grain give {step:.1f} times the pressure of the main "
            "ones where the two meet; the answer never switches between them by itself."
        )
    if bed.fines == 0.0 and request.dirt is None:
        notes.append("Fines raise the pressure or send the air round them; clean or core the bin.")
    if request.price_of_electricity is not None and request.fan_efficiency is None:
        notes.append("Give fan_efficiency too, to know the power and what it costs.")
    if request.fan is not None and point.verdict == "meets":
        notes.append("The fan's table is read straight through its rows by a monotone curve.")
    return notes


def _cautions(bed: Bed, point: Point) -> list[str]:
    outside = any(not one.inside_range for one in bed.use(point.airflow_per_area))
    return [*(["extrapolated"] if outside else []), "fan-entry", "entrapment"]
