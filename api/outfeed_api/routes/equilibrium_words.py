"""What an equilibrium-moisture answer says in words: refusals, assumptions, notes."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from outfeed import OutfeedError, OutOfRange
from outfeed.arrays import BoolArray, FloatArray
from outfeed.grains import Grain
from outfeed.limits import MOISTURE_WB, Range
from outfeed.methods import MethodUse, use
from outfeed.sorption import (
    FITTED_HUMIDITY,
    FITTED_TEMPERATURE,
    HUMIDITY,
    Isotherm,
    isotherm_method,
)
from outfeed_api.conversion import out_of_range, outside_words
from outfeed_api.measures import Measure
from outfeed_api.models import Assumed
from outfeed_api.problems import KIND_OF_ERROR, FieldError, ProblemError, field_error
from outfeed_api.routes.equilibrium_models import EquilibriumRequest
from outfeed_api.units import QUANTITIES, UnitSystem, rounded, say

NO_VALUE = "this equation has no value in drier air; choose another set"
# Name in the library: field of the request, its quantity.
FIELDS = {
    "temperature": ("temperature", "temperature"),
    "relative_humidity": ("relative_humidity", "percent"),
    "moisture_db": ("moisture", "moisture"),
}


def problem_at(error: OutfeedError, faults: list[FieldError]) -> ProblemError:
    """A refusal of the library as a problem with these faults."""
    kind = next(kind for cls, kind in KIND_OF_ERROR.items() if isinstance(error, cls))
    return ProblemError(kind, f"{faults[0].pointer}: {faults[0].detail}", faults)


def refusal(error: OutOfRange, units: UnitSystem) -> ProblemError:
    """A value out of range as a problem, in the caller's units."""
    return problem_at(error, [fault_of(error, units)])


def fault_of(error: OutOfRange, units: UnitSystem) -> FieldError:
    """The library's refusal as the fault of the request's field, in the caller's units."""
    field, shown, measure = _refused_value(error, units)
    found = out_of_range(f"/{field}", shown, measure, units, 1.0)
    return field_error(found.pointer, refusal_words(error, units)[1], shown, found.allowed)


def refusal_words(error: OutOfRange, units: UnitSystem) -> tuple[str, str]:
    """Field and sentence of a refusal."""
    field, shown, measure = _refused_value(error, units)
    words = outside_words(shown, measure, units, 1.0)
    too_dry = error.name == "relative_humidity" and error.allowed[0] > HUMIDITY.low
    return field, f"{words}: {NO_VALUE}" if too_dry else words


def _refused_value(error: OutOfRange, units: UnitSystem) -> tuple[str, float, Measure]:
    """Field of the request, its value as given, and its limits there."""
    field, quantity = FIELDS.get(error.name, (error.name, "moisture"))
    value, (low, high), what = error.value, error.allowed, error.quantity
    if error.name == "moisture_db":  # kg/kg dry matter to wet basis
        value, low, high = (number / (1.0 + number) for number in (value, low, high))
        what = MOISTURE_WB.quantity
    shown = rounded(QUANTITIES[quantity].unit(units).from_si(value, 1.0))
    return field, shown, _limited(quantity, what, low, high, error.unit)


@lru_cache(maxsize=256)
def _limited(quantity: str, what: str, low: float, high: float, unit: str) -> Measure:
    return Measure(quantity, Range(what, low, high, unit, ""))


def warm_words(value: float, units: UnitSystem) -> str:
    """A temperature in words."""
    return say(value, "temperature", units)


def percent_words(value: float, units: UnitSystem) -> str:
    """A percentage in words."""
    return say(value, "percent", units)


def describe_many(
    grain: Grain, out: dict[str, FloatArray], good: BoolArray, to_grain: bool, units: UnitSystem
) -> str:
    """Columns of readings in a sentence."""
    text = f"{int(good.sum()):,} of {good.size:,} readings answered"
    if not np.any(good):
        return text + "; see `refused`."
    values = out["moisture" if to_grain else "relative_humidity"][good]
    low, high = (percent_words(float(end(values)), units) for end in (np.min, np.max))
    what = "equilibrium moisture" if to_grain else "relative humidity over the grain"
    return f"{grain.name}: {what} from {low} to {high}; {text}."


def assumed(request: EquilibriumRequest, grain: Grain, isotherm: Isotherm) -> list[Assumed]:
    """The constants that were chosen for the caller."""
    if request.isotherm is not None or request.own_isotherm is not None:
        return []
    return [
        Assumed(
            input="isotherm",
            choice=isotherm.method,
            why=grain.default_isotherm_reason or "the only set published for this grain",
            source=isotherm.source,
        )
    ]


def isotherm_use(
    isotherm: Isotherm, warm: FloatArray | float, humid: FloatArray | float
) -> MethodUse:
    """The isotherm as it was used."""
    return use(isotherm_method(isotherm), temperature=warm, relative_humidity=humid)


def notes_on(
    request: EquilibriumRequest, grain: Grain, outside: bool, warm: float | None
) -> list[str]:
    """Plain sentences beside the numbers; `warm` is the coldest temperature asked for."""
    units = request.units
    notes = []
    if outside:
        low, high = (
            say(end, "temperature", units, decimals=0)
            for end in (FITTED_TEMPERATURE.low, FITTED_TEMPERATURE.high)
        )
        dry, wet = (
            say(end, "percent", units, decimals=0)
            for end in (FITTED_HUMIDITY.low, FITTED_HUMIDITY.high)
        )
        notes.append(
            f"The constants were fitted at about {low} to {high} and {dry} to {wet} relative "
            "humidity; outside that the figure is an extrapolation."
        )
    if warm is not None and warm < 0.0:
        notes.append("Below freezing, relative humidity refers to ice.")
    if len(grain.isotherms) == 1:
        notes.append("Only one set of constants is published for this grain, so there is no band.")
    if not grain.isotherms:
        notes.append("No constants are published for this grain; the figure rests on your own.")
    return notes
