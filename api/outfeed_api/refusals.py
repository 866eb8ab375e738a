"""What the library refuses, said to the caller: in his units, pointing at his field.

The library speaks of its arguments in SI; a request calls them by other names and counts them in
other units. Both translations stand here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import Any

from outfeed import Inconsistent, NotConverged, OutfeedError, OutOfRange, UnknownName
from outfeed.limits import Range
from outfeed_api.conversion import out_of_range, outside_words
from outfeed_api.measures import Measure, measure_of
from outfeed_api.models import LONGEST_TEXT, Part, Request
from outfeed_api.problems import (
    INCONSISTENT,
    KIND_OF_ERROR,
    UNKNOWN_NAME,
    Allowed,
    FieldError,
    Kind,
    ProblemError,
    field_error,
    join_pointer,
)
from outfeed_api.units import QUANTITIES, UnitSystem

SPOKEN = {
    "degC": "temperature",
    "K": "temperature-difference",
    "Pa": "static-pressure",
    "kg": "grain",
    "kg/s": "grain-rate",
    "kg/m3": "density",
    "kg/kg": "humidity-ratio",
    "m": "length",
    "m2": "area",
    "m3": "volume",
    "m3/s": "airflow",
    "kg dry air/(s m3)": "airflow-per-volume",
    "J": "energy",
    "J/kg": "specific-energy",
    "W": "heat-rate",
    "money/J": "price-of-heat",
    "money/kg": "price-of-grain",
}
"""The quantity a reader expects for an SI unit where no field says which."""
SHARES = {"dry basis": "moisture-dry-basis", "moisture": "moisture", "humidity": "percent"}
"""The same for shares, by a word in what the library calls them."""
LENGTHS = {2 * 86_400.0: "days", 7_200.0: "hours", 120.0: "minutes"}
"""Units of time, each from a length [s] on."""
SUFFIXES = ("_wb", "_s")  # of arguments; a field has none
FIELDS = {
    "airflow_per_volume": ("airflow_per_grain", "airflow"),
    "ambient": ("ambient_temperature",),
    "area": ("floor_area", "diameter"),
    "column_sensor": ("column_temperatures",),
    "column_times": ("column",),
    "curve": ("temperature_curve",),
    "delivered_moisture": ("initial_moisture", "moisture"),
    "delivered_weight": ("quantity", "weight"),
    "dry_matter_density": ("test_weight",),
    "dry_matter_rate": ("rate", "discharge_rate"),
    "electricity_per_wet": ("electricity_use",),
    "exhaust_temperatures": ("exhaust_temperature",),
    "factor": ("shrink_factor",),
    "fan_pressure": ("fan",),
    "feed_rate": ("rate",),
    "final": ("final_moisture", "target_moisture"),
    "first_moisture": ("moisture", "discharge"),
    "heat": ("fuel_liquid", "fuel_gas"),
    "fuel_price": ("fuel",),
    "further": ("further_multiplier",),
    "heat_per_point": ("propane_per_point", "heat_per_water"),
    "held_rate": ("rate",),
    "holding": ("wet_holding",),
    "hot_moisture": ("discharge_moisture",),
    "humidity_ratio": ("ambient_relative_humidity", "hourly"),
    "initial_moisture": ("moisture",),
    "initial_moisture_db": ("moisture",),
    "inlet": ("moisture",),
    "inlet_moisture": ("moisture", "inlet"),
    "inlet_temperature": ("grain_temperature",),
    "inlet_times": ("inlet",),
    "inlets": ("inlet",),
    "largest_step": ("max_step",),
    "market": ("market_moisture",),
    "market_weight": ("quantity", "weight"),
    "meter_sd": ("meter_uncertainty",),
    "moisture": ("final_moisture", "discharge"),
    "moistures": ("discharge",),
    "moisture_db": ("moisture",),
    "offsets": ("earlier_offsets",),
    "outlet": ("discharge_moisture",),
    "outlet_moisture": ("discharge_moisture",),
    "plenum": ("plenum_temperature",),
    "plenum_temperatures": ("plenum_temperature",),
    "point_rates": ("points", "metering_points"),
    "point_settings": ("points", "metering_points"),
    "points_per_kelvin": ("sensitivity",),
    "rate_times": ("rates", "log"),
    "rate": ("discharge_rate",),
    "rates": ("log",),
    "reading_step": ("moisture_step",),
    "reference_sd": ("reference_uncertainty",),
    "relative_humidity": ("air_humidity", "ambient_relative_humidity"),
    "rounding": ("moisture_rounding",),
    "rows": ("buyers", "buyer"),
    "run_share": ("dryer_hours_per_day",),
    "shares": ("owners",),
    "shrink_kind": ("shrink",),
    "target": ("target_moisture", "final_moisture"),
    "target_moisture": ("target", "final_moisture"),
    "terms": ("buyers",),
    "times": ("log", "column", "traces"),
    "values": ("column", "traces"),
    "weather": ("hourly", "forecast"),
    "wet_weight": ("weight", "quantity"),
}
"""Fields of requests that feed an argument of another name, the likeliest first."""


@dataclass(frozen=True, slots=True)
class _Place:
    """A field of a request: the steps to it, what it measures, what it holds.

    `itself` is whether the field is what was refused, rather than what that was worked out from.
    """

    steps: tuple[str | int, ...]
    measure: Measure | None
    value: Any
    itself: bool = True


def problem_of(error: OutfeedError, request: Request) -> ProblemError:
    """The problem for an error of the library, pointing at the request's field.

    Parameters
    ----------
    error : OutfeedError
        What the library raised.
    request : Request
        The request, in the caller's units.

    Returns
    -------
    ProblemError
        To be answered.
    """
    fault = _fault(error, request)
    return ProblemError(kind_of(error), fault.detail, [fault])


def kind_of(error: OutfeedError) -> Kind:
    """The kind of problem that an error of the library is."""
    return next(kind for cls, kind in KIND_OF_ERROR.items() if isinstance(error, cls))


def words_of(error: OutfeedError, system: UnitSystem, kg: float) -> str:
    """What the library says, in the caller's units.

    Parameters
    ----------
    error : OutfeedError
        What it raised.
    system : {"us", "metric"}
        The caller's.
    kg : float
        Kilograms per bushel, NaN where no grain is named.

    Returns
    -------
    str
        A sentence.
    """
    if isinstance(error, Inconsistent):
        return error.said(lambda value, unit: _say(value, unit, system, kg))
    if isinstance(error, NotConverged):  # its bracket means nothing to a caller
        return f"the computation ({error.what}) did not settle on an answer"
    measure = _measure_for(error, kg) if isinstance(error, OutOfRange) else None
    if measure is None or not isinstance(error, OutOfRange):
        return str(error)
    return outside_words(measure.of.unit(system).from_si(error.value, kg), measure, system, kg)


class pointing_at:  # noqa: N801 - reads as a phrase where it stands
    """Turn what the library says of a part into a problem that points at it."""

    def __init__(self, pointer: str, request: Request) -> None:
        """`request` is in SI, or in the caller's units."""
        self._pointer = pointer
        self._request = request

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, Inconsistent | OutOfRange):
            system, kg = self._request.units, self._request.kg_per_bushel
            detail = words_of(error, system, kg)
            fault = field_error(self._pointer, detail)
            raise ProblemError(INCONSISTENT, detail, [fault]) from error


@contextmanager
def naming(pointer: str) -> Iterator[None]:
    """Point at the field that holds a name the library does not know.

    Parameters
    ----------
    pointer : str
        JSON pointer to it.

    Raises
    ------
    ProblemError
        For an unknown name, with those that exist.
    """
    try:
        yield
    except UnknownName as error:
        fault = _unknown(pointer, error)
        raise ProblemError(UNKNOWN_NAME, fault.detail, [fault]) from error


def _unknown(pointer: str, error: UnknownName) -> FieldError:
    known = Allowed(one_of=list(error.known))
    return field_error(pointer, str(error)[:LONGEST_TEXT], error.value, known)


def _fault(error: OutfeedError, request: Request) -> FieldError:
    place = _place_of(error, request)
    pointer = join_pointer(*place.steps) if place else ""
    if isinstance(error, UnknownName):
        return _unknown(pointer, error)
    kg = request.bushel_weight()
    if not isinstance(error, OutOfRange) or (place is not None and not place.itself):
        return field_error(pointer, words_of(error, request.units, kg))
    own = place.measure if place else None
    fits = own is not None and own.limits is not None and own.limits.unit == error.unit
    measure = _limited(own, error) if own is not None and fits else _measure_for(error, kg)
    if measure is None:
        low, high = error.allowed
        allowed = Allowed(minimum=low, maximum=high, unit=error.unit or "-")
        return field_error(pointer, str(error), error.value, allowed)
    if place is not None and error.index is not None and isinstance(place.value, list | tuple):
        pointer = f"{pointer}/{error.index}" if error.index < len(place.value) else pointer
    value = measure.of.unit(request.units).from_si(error.value, kg)
    return out_of_range(pointer, value, measure, request.units, kg)


# --- Units ----------------------------------------------------------------------------------


def _measure_for(error: OutOfRange, kg: float) -> Measure | None:
    """What a refused number measures, by its SI unit and the library's words for it."""
    quantity = SPOKEN.get(error.unit)
    if error.unit == "":
        words = error.quantity
        quantity = next((found for word, found in SHARES.items() if word in words), "ratio")
    elif error.unit == "s":
        longest = max(abs(error.allowed[1]), abs(error.value))
        quantity = next((unit for start, unit in LENGTHS.items() if longest >= start), "seconds")
    if quantity is None:
        return None
    return _limited(Measure(_weighable(quantity, kg)), error)


def _weighable(quantity: str, kg: float) -> str:
    """The quantity, or plain mass where nobody knows what a bushel weighs."""
    plain = {"grain": "mass", "grain-rate": "mass-rate"}
    return plain.get(quantity, quantity) if kg != kg else quantity


def _limited(measure: Measure, error: OutOfRange) -> Measure:
    means = error.beyond
    limits = Range(error.quantity, *error.allowed, error.unit, error.method or "", means, means)
    return replace(measure, limits=limits)


def _say(value: float, unit: str, system: UnitSystem, kg: float) -> str:
    quantity = SPOKEN.get(unit)
    if quantity is None:
        return f"{value:g} {unit}".strip()
    spoken = QUANTITIES[_weighable(quantity, kg)].unit(system)
    return f"{spoken.from_si(value, kg):.4g} {spoken.label}"


# --- Fields ---------------------------------------------------------------------------------


def _place_of(error: OutfeedError, request: Request) -> _Place | None:
    """The field of the request that an error speaks of; what holds it where there are several."""
    named = getattr(error, "names", ()) or (getattr(error, "name", ""),)
    plain = [_without_suffix(argument) for argument in named]
    for name in (*named, *plain):
        place = _named(request, name)
        if place is not None:
            return place
    for name in (field for argument in plain for field in FIELDS.get(argument, ())):
        place = _named(request, name)
        if place is not None:
            return replace(place, itself=False)
    return None


def _without_suffix(argument: str) -> str:
    argument = argument.replace(" ", "_").rstrip("_0123456789")
    for suffix in SUFFIXES:
        argument = argument.removesuffix(suffix)
    return argument


def _named(request: Request, name: str) -> _Place | None:
    """The field of this name: the request's own, else one of its parts; what several share."""
    own = type(request).model_fields.get(name)
    if own is not None:
        return _Place((name,), measure_of(own), getattr(request, name))
    found = list(_places(request, name, ()))
    if len(found) == 1:
        return found[0]
    side_by_side = zip(*(place.steps for place in found), strict=False)
    shared = tuple(each[0] for each in takewhile(lambda each: len({*each}) == 1, side_by_side))
    return _Place(shared, None, None, itself=False) if shared else None


def _places(part: Part, name: str, steps: tuple[str | int, ...]) -> Iterator[_Place]:
    """Where a field of this name was given inside a part's own parts."""
    for field in part.model_fields_set:
        value = getattr(part, field)
        inner = enumerate(value) if isinstance(value, list) else ((None, value),)
        for index, item in inner:
            if not isinstance(item, Part):
                continue
            here = (*steps, field) if index is None else (*steps, field, index)
            if name in item.model_fields_set:
                measure = measure_of(type(item).model_fields[name])
                yield _Place((*here, name), measure, getattr(item, name))
            yield from _places(item, name, here)
