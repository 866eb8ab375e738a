"""Moist air: the state from any two readings, burners, mixing, and whole columns of readings."""

from __future__ import annotations

import math
from dataclasses import fields
from functools import lru_cache
from typing import Any

import numpy as np
from fastapi import APIRouter

from outfeed import Inconsistent, OutfeedError, OutOfRange, moist_air
from outfeed.limits import DRY_BULB, Range
from outfeed.methods import Method, use
from outfeed.moist_air import AirState
from outfeed_api.conversion import out_of_range, outside_words
from outfeed_api.measures import Measure
from outfeed_api.models import Assumed, AssumedQuantity, Part, cautions, methods_used
from outfeed_api.problems import INCONSISTENT, FieldError, ProblemError, field_error
from outfeed_api.refusals import kind_of, words_of
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.moist_air_models import (
    Air,
    AirColumns,
    Columns,
    Cooled,
    Heated,
    Heating,
    Mixed,
    MoistAirAnswer,
    MoistAirRequest,
    Passed,
    TwoReadings,
)
from outfeed_api.rows import refused_row
from outfeed_api.units import QUANTITIES, UnitSystem, say

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["air and grain"])

QUANTITY = {
    "dry_bulb": "temperature",
    "wet_bulb": "temperature",
    "dew_point": "temperature",
    "relative_humidity": "percent",
    "humidity_ratio": "humidity-ratio",
}
DECIMALS = {"temperature": 1, "percent": 1, "humidity-ratio": 4}
WORDS = {name: name.replace("_", " ") for name in QUANTITY}


@router.post(
    "/moist-air",
    summary="Moist air from any two readings",
    operation_id="moist_air",
    response_model_exclude_none=True,
)
@computes()
def moist_air_state(request: MoistAirRequest) -> MoistAirAnswer:
    """The whole state of air from any two of its quantities, and what a dryer does to it.

    In the order fan, mixing, heating, cooling, each when asked for. A direct-fired burner adds
    its combustion water. What cannot stay vapour is reported as fog or condensed water. With
    `columns`, up to 100,000 readings; a row at fault is refused in its place.
    """
    pressure, assumed = _pressure(request)
    if request.columns is not None:
        return _many(request, request.columns, pressure, assumed)
    air = _state(request, pressure, request.units, "")
    now = air
    parts: dict[str, Any] = {}
    outcome: list[str] = []
    for step in (_fan, _mixing, _heating, _cooling):
        done = step(request, now)
        if done is not None:
            now, name, part, sentence, fill = done
            parts[name] = part
            outcome.append(sentence)
            assumed += fill
    return MoistAirAnswer(
        decision=" ".join([_describe(air, request.units), *outcome]),
        units=request.units,
        air=_air(air),
        boiling_point=float(moist_air.saturation_temperature(pressure)),
        assumed=assumed,
        methods=methods_used(*_methods(request, air)),
        notes=_notes(request, air, parts),
        cautions=cautions(*_cautions(request, parts)),
        **parts,
    )


# --- One reading ----------------------------------------------------------------------------

Step = tuple[AirState, str, Part, str, list[Assumed]]


def _fan(request: MoistAirRequest, air: AirState) -> Step | None:
    if request.fan is None:
        return None
    with _At("fan", request.units):
        done = moist_air.warm_by_fan(air, request.fan.pressure_rise, request.fan.efficiency)
    rise = float(done.state.dry_bulb - air.dry_bulb)
    warmer = say(rise, "temperature-difference", request.units)
    part = Passed(air=_air(done.state), temperature_rise=rise)
    return done.state, "fan", part, f"The fan warms it by {warmer}.", []


def _mixing(request: MoistAirRequest, air: AirState) -> Step | None:
    stream = request.mix_with
    if stream is None:
        return None
    other = _state(stream, float(air.pressure), request.units, "/mix_with")
    with _At("mix_with", request.units):
        done = moist_air.mix(air, other, 1.0 - stream.share, stream.share)
    fog = float(done.condensed)
    sentence = f"Mixed, it reads {_short(done.state, request.units)}"
    if fog > 0.0:
        water = say(fog, "humidity-ratio", request.units, decimals=4)
        sentence += f" and carries {water} of fog, since it is past saturation"
    part = Mixed(air=_air(done.state), fog=fog, ice=float(done.ice))
    return done.state, "mixture", part, sentence + ".", []


def _heating(request: MoistAirRequest, air: AirState) -> Step | None:
    heating = request.heating
    if heating is None:
        return None
    if heating.to < air.dry_bulb:
        raise _wrong_way("/heating/to", heating.to, air, request.units, "heat", "below")
    fuel = moist_air.fuel_named(heating.fuel)
    with _At("heating", request.units):
        done = moist_air.burn(
            air, heating.to, fuel, burner=heating.burner, efficiency=heating.efficiency
        )
    heat = say(float(done.fuel_heat), "enthalpy", request.units)
    name = heating.fuel.replace("-", " ")
    sentence = (
        f"Heated by the {heating.burner} burner it reads {_short(done.state, request.units)}, for "
        f"{heat} of {name}"
    )
    if heating.burner == "direct-fired":
        water = say(float(done.combustion_water), "humidity-ratio", request.units, decimals=4)
        sentence += f"; burning adds {water} of water"
    part = Heated(
        air=_air(done.state),
        fuel=float(done.fuel),
        fuel_heat=float(done.fuel_heat),
        combustion_water=float(done.combustion_water),
    )
    return done.state, "heated", part, sentence + ".", _assumed_efficiency(heating)


def _cooling(request: MoistAirRequest, air: AirState) -> Step | None:
    if request.cooling is None:
        return None
    if request.cooling.to > air.dry_bulb:
        raise _wrong_way("/cooling/to", request.cooling.to, air, request.units, "cool", "above")
    with _At("cooling", request.units):
        done = moist_air.cool(air, request.cooling.to)
    water = float(done.condensed)
    sentence = f"Cooled, it reads {_short(done.state, request.units)}"
    if water > 0.0:
        what = "frost" if done.ice > 0.0 else "water"
        out = say(water, "humidity-ratio", request.units, decimals=4)
        sentence += f" and {out} of {what} comes out of it"
    part = Cooled(air=_air(done.state), condensed=water, heat_removed=max(0.0, -float(done.heat)))
    return done.state, "cooled", part, sentence + ".", []


def _pressure(request: MoistAirRequest) -> tuple[float, list[Assumed]]:
    """The pressure to compute with, and what was assumed for it."""
    if request.pressure is not None and request.altitude is not None:
        raise Inconsistent("give pressure or altitude, not both", "altitude")
    if request.pressure is not None:
        return request.pressure, []
    given = request.altitude is not None
    pressure = float(moist_air.standard_pressure(request.altitude or 0.0))
    why = "from the altitude given" if given else "no pressure or altitude given: sea level"
    return pressure, [
        AssumedQuantity(
            input="pressure",
            quantity="air-pressure",
            value=pressure,
            low=0.97 * pressure,
            high=1.03 * pressure,
            why=f"{why}; weather moves it by about 3 %",
            source="standard atmosphere; ASHRAE Handbook, Fundamentals, 2017, chapter 1",
        )
    ]


def _assumed_efficiency(heating: Heating) -> list[Assumed]:
    if heating.efficiency is not None or heating.burner == "direct-fired":
        return []
    return [
        AssumedQuantity(
            input="heating.efficiency",
            quantity="percent",
            value=moist_air.INDIRECT_EFFICIENCY,
            why="no efficiency given for the indirect burner; of the higher heating value",
            source="common practice, no source",
        )
    ]


def _readings(part: TwoReadings) -> dict[str, float]:
    return {name: value for name in QUANTITY if (value := getattr(part, name)) is not None}


def _state(part: TwoReadings, pressure: float, units: UnitSystem, pointer: str) -> AirState:
    readings = _readings(part)
    try:
        return moist_air.air_state(pressure, **readings)
    except OutfeedError as error:
        kind = kind_of(error)
        fault = _fault(error, readings, units, pointer)
        raise ProblemError(kind, fault.detail, [fault]) from error


class _At:
    """Points the library's errors at one part of the request."""

    def __init__(self, place: str, units: UnitSystem) -> None:
        self.place = place
        self.units = units

    def __enter__(self) -> None:
        return None

    def __exit__(self, _type: object, error: BaseException | None, _trace: object) -> None:
        if isinstance(error, OutfeedError):
            kind = kind_of(error)
            detail = words_of(error, self.units, math.nan)
            raise ProblemError(kind, detail, [field_error(f"/{self.place}", detail)]) from error


def _wrong_way(
    pointer: str, to: float, air: AirState, units: UnitSystem, verb: str, side: str
) -> ProblemError:
    target, now = say(to, "temperature", units), say(float(air.dry_bulb), "temperature", units)
    detail = f"cannot {verb} to {target}: it lies {side} the air's {now}"
    return ProblemError(INCONSISTENT, detail, [field_error(pointer, detail)])


WHY_IMPOSSIBLE = {
    "order": "dew point is never above wet bulb, nor wet bulb above dry bulb",
    "too-wet": "the air cannot hold that much vapour, water would condense",
    "too-dry": "that would take air drier than dry",
}


def _fault(
    error: OutfeedError, readings: dict[str, float], units: UnitSystem, pointer: str
) -> FieldError:
    """What is wrong with two readings, in the caller's units."""
    name = str(getattr(error, "name", ""))
    where = f"{pointer}/{name}" if name in readings else pointer
    if isinstance(error, moist_air.ImpossibleAir):
        low, high = (say(end, "temperature", units) for end in (DRY_BULB.low, DRY_BULB.high))
        why = WHY_IMPOSSIBLE.get(error.reason, f"they belong to air outside {low} to {high}")
        pair = " and ".join(
            f"{WORDS[key]} {_say_reading(value, key, units)}" for key, value in readings.items()
        )
        return field_error(where, f"{pair} cannot both be true: {why}")
    limits = _limits_of(error, name)
    if limits is not None and isinstance(error, OutOfRange):
        value = QUANTITIES[QUANTITY[name]].unit(units).from_si(error.value, 1.0)
        return out_of_range(where, value, limits, units, 1.0)
    if isinstance(error, OutOfRange) and error.quantity == moist_air.VAPOUR_PRESSURE.quantity:
        dry = error.value < error.allowed[0]
        detail = "the air is too dry to have a dew point" if dry else "that is steam, not air"
        return field_error(where, detail)
    return field_error(where, str(error))


# --- Many readings --------------------------------------------------------------------------


def _many(
    request: MoistAirRequest, columns: Columns, pressure: float, assumed: list[Assumed]
) -> MoistAirAnswer:
    """Columns in, columns out."""
    _refuse_beside_columns(request)
    given = {name: getattr(columns, name) for name in QUANTITY if getattr(columns, name)}
    if len(given) != 2:
        raise Inconsistent(f"give two columns with readings, not {len(given)}", "columns")
    if len({len(column) for column in given.values()}) != 1:
        raise Inconsistent("the two columns must have one length", "columns")
    arrays = {
        name: np.array([np.nan if value is None else value for value in column], dtype=np.float64)
        for name, column in given.items()
    }
    with _At("columns", request.units):
        rows = moist_air.air_state_rows(pressure, **arrays)
    total = len(next(iter(given.values())))
    bad = [
        refused_row(index, _row_faults(error, index, given, request.units))
        for index, error in rows.errors.items()
    ]
    answered = total - len(bad)
    return MoistAirAnswer(
        decision=_describe_many(rows.state, answered, total, request.units),
        units=request.units,
        boiling_point=float(moist_air.saturation_temperature(pressure)),
        rows_answered=answered,
        columns=AirColumns(
            **{
                name: _spread(np.asarray(getattr(rows.state, name)), rows.index, total)
                for name in AirColumns.model_fields
            }
        ),
        refused=bad or None,
        assumed=assumed,
        methods=methods_used(*_methods_for(rows.state)),
    )


def _refuse_beside_columns(request: MoistAirRequest) -> None:
    beside = [
        name
        for name in (*QUANTITY, "fan", "mix_with", "heating", "cooling")
        if getattr(request, name) is not None
    ]
    if beside:
        raise Inconsistent(f"with `columns`, leave out {', '.join(beside)}", beside[0])


def _row_faults(
    error: OutfeedError, index: int, given: dict[str, list[float | None]], units: UnitSystem
) -> list[tuple[str, str]]:
    missing = [name for name, column in given.items() if column[index] is None]
    if missing:
        return [(f"/columns/{name}/{index}", "there is no reading") for name in missing]
    readings = {name: float(column[index] or 0.0) for name, column in given.items()}
    name = str(getattr(error, "name", ""))
    limits = _limits_of(error, name)
    if limits is not None and isinstance(error, OutOfRange):
        value = QUANTITIES[QUANTITY[name]].unit(units).from_si(error.value, 1.0)
        return [(f"/columns/{name}/{index}", outside_words(value, limits, units, 1.0))]
    fault = _fault(error, readings, units, "")
    place = fault.pointer or f"/{next(iter(given))}"
    return [(f"/columns{place}/{index}", fault.detail)]


def _limits_of(error: OutfeedError, name: str) -> Measure | None:
    """The limits that a reading left, when it is one reading that is at fault."""
    if isinstance(error, OutOfRange) and error.unit in {"degC", ""} and name in QUANTITY:
        return _limited(QUANTITY[name], error.quantity, *error.allowed, error.unit)
    return None


@lru_cache(maxsize=256)
def _limited(quantity: str, what: str, low: float, high: float, unit: str) -> Measure:
    return Measure(quantity, Range(what, low, high, unit, ""))


def _spread(values: np.ndarray, index: np.ndarray, total: int) -> list[float | None]:
    """The answered rows in their places, nothing in the others."""
    out: list[float | None] = [None] * total
    for place, value in zip(index.tolist(), values.tolist(), strict=True):
        out[place] = value
    return out


# --- Words ----------------------------------------------------------------------------------


def _say_reading(value: float, name: str, units: UnitSystem) -> str:
    quantity = QUANTITY[name]
    return say(value, quantity, units, decimals=DECIMALS[quantity])


def _short(air: AirState, units: UnitSystem) -> str:
    warm = say(float(air.dry_bulb), "temperature", units)
    humid = say(float(air.relative_humidity), "percent", units)
    dew = say(float(air.dew_point), "temperature", units)
    frost = "frost point" if air.dew_point < moist_air.FREEZING_POINT else "dew point"
    return f"{warm}, {humid} relative humidity, {frost} {dew}"


def _describe(air: AirState, units: UnitSystem) -> str:
    warm = say(float(air.dry_bulb), "temperature", units)
    humid = say(float(air.relative_humidity), "percent", units)
    wet = say(float(air.wet_bulb), "temperature", units)
    dew = say(float(air.dew_point), "temperature", units)
    water = say(float(air.humidity_ratio), "humidity-ratio", units, decimals=4)
    forms = "Frost forms" if air.dew_point < moist_air.FREEZING_POINT else "Dew forms"
    return (
        f"Air at {warm} and {humid} relative humidity has a wet bulb of {wet} and carries {water} "
        f"of water. {forms} on anything colder than {dew}."
    )


def _describe_many(air: AirState, answered: int, total: int, units: UnitSystem) -> str:
    text = f"{answered:,} of {total:,} readings answered"
    if answered == 0:
        return text + "; see `refused`."
    low, high = (say(float(end(air.dew_point)), "temperature", units) for end in (np.min, np.max))
    return f"{text}; dew points run from {low} to {high}."


def _air(air: AirState) -> Air:
    return Air(**{item.name: float(getattr(air, item.name)) for item in fields(AirState)})


def _notes(request: MoistAirRequest, air: AirState, parts: dict[str, Any]) -> list[str]:
    units = request.units
    notes = []
    if air.dry_bulb < moist_air.FREEZING_POINT:
        notes.append(
            "Below freezing, relative humidity, dew point and wet bulb refer to ice; many weather "
            "stations refer to supercooled water, whose relative humidity reads lower, by a tenth "
            f"at {say(-10.0, 'temperature', units, decimals=0)}."
        )
    if 0.0 <= air.wet_bulb < 1.0 and air.dry_bulb > air.wet_bulb + 1.0:
        notes.append(
            "This close to freezing the wick may be frozen; its reading is then below freezing, "
            "up to about a degree under the wet bulb given here."
        )
    if air.saturation_pressure >= air.pressure:
        most = say(
            float(moist_air.maximum_relative_humidity(air.dry_bulb, air.pressure)), "percent", units
        )
        notes.append(
            f"Above the boiling point relative humidity cannot reach 100 %; the most is {most}."
        )
    if "heated" in parts and parts["heated"].combustion_water > 0.0:
        notes.append(
            "Combustion water is vapour: it lowers the drying power of the air and raises the dew "
            "point of the exhaust. The change of dry gas in burning, about 0.1 %, is left out."
        )
    if "mixture" in parts and parts["mixture"].fog > 0.0:
        notes.append("Fog wets what it meets; warm the mixture or take less of the wetter stream.")
    return notes


def _cautions(request: MoistAirRequest, parts: dict[str, Any]) -> list[str]:
    codes = []
    if request.heating is not None:
        codes.append("gas-fuel")
        if request.heating.burner == "direct-fired":
            codes.append("carbon-monoxide")
        codes.append("follow-manual")
    fog = "mixture" in parts and parts["mixture"].fog > 0.0
    if fog or ("cooled" in parts and parts["cooled"].condensed > 0.0):
        codes.append("condensation")
    return codes


METHOD = {method.id: method for method in moist_air.METHODS}


def _methods(request: MoistAirRequest, air: AirState) -> list[Any]:
    uses = _methods_for(air)
    if request.pressure is None:
        uses.append(use(METHOD["moist-air.standard-atmosphere"]))
    if request.fan or request.mix_with or request.cooling:
        uses.append(use(METHOD["moist-air.balance"]))
    if request.heating is not None:
        uses.append(use(METHOD["combustion.stoichiometric"]))
        if request.heating.burner == "indirect" and request.heating.efficiency is None:
            uses.append(use(METHOD["combustion.indirect-efficiency"]))
    return uses


def _methods_for(air: AirState) -> list[Any]:
    ids = (
        "moist-air.ideal-gas",
        "moist-air.saturation.hyland-wexler",
        "moist-air.wet-bulb.adiabatic-saturation",
    )
    used: list[Method] = [METHOD[name] for name in ids]
    return [use(method, dry_bulb_temperature=air.dry_bulb) for method in used]
