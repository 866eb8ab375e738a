"""How a field of a request or an answer declares its quantity and its limits.

``Annotated[float, Measure("temperature", DRY_BULB, example=10.0)]`` is all a
field needs: the contract (unit, UCUM code, limits, example in both unit
systems), the range check and the conversion all follow from it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, get_args, get_origin

from pydantic import GetJsonSchemaHandler
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema

from outfeed.limits import Range
from outfeed_api.units import QUANTITIES, Quantity, Unit, UnitSystem, rounded

LIGHTEST_BUSHEL, HEAVIEST_BUSHEL = 9.0, 40.0  # kg; oats at 32 lb to beans at 60, with room
EDGE = 1e-9  # relative; a limit typed in another unit still counts as inside
NOTHING = 1e-30  # SI; less of any quantity is none of it, and nothing can be divided by it


@dataclass(frozen=True, slots=True)
class Measure:
    """Marks a number, or a list of numbers, as one quantity.

    Attributes
    ----------
    quantity : str
        Id in `units.QUANTITIES`.
    limits : Range, optional
        The library's range, SI; a request outside it is refused.
    example : float, optional
        A sensible value, SI; shown in both unit systems.
    """

    quantity: str
    limits: Range | None = None
    example: float | None = None

    @property
    def of(self) -> Quantity:
        """The quantity itself."""
        return QUANTITIES[self.quantity]

    def allows(self, value: float) -> bool:
        """Whether an SI value lies inside the limits, give or take rounding."""
        if self.limits is None:
            return True
        slack = EDGE * max(abs(self.limits.low), abs(self.limits.high), 1e-30)
        return self.limits.low - slack <= value <= self.limits.high + slack

    def limits_in(self, system: UnitSystem, bushel_weight: float) -> tuple[float, float]:
        """The limits in a unit system, rounded inward to six digits: both are accepted values."""
        if self.limits is None:
            return -math.inf, math.inf
        return _ends_in(self.of.unit(system), self.limits.low, self.limits.high, bushel_weight)

    def inside(self, value: float) -> float:
        """An allowed SI value without the rounding that a change of unit left on it."""
        if abs(value) < NOTHING:
            value = 0.0  # without a sign, too
        if self.limits is None:
            return value
        return min(max(value, self.limits.low), self.limits.high)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """The number's schema with its units, limits and examples."""
        result = handler(schema)
        result["x-quantity"] = self.quantity
        result["x-unit"] = {"us": self.of.us.label, "metric": self.of.metric.label}
        result["x-ucum"] = {"us": self.of.us.ucum, "metric": self.of.metric.ucum}
        if self.limits is not None:
            self._show_limits(result)
        if self.example is not None:
            result["examples"] = [
                rounded(unit.from_si(self.example, _typical(unit)), 4)
                for unit in dict.fromkeys((self.of.us, self.of.metric))
            ]
        return result

    def _show_limits(self, schema: dict[str, Any]) -> None:
        spans = {
            system: [self.limits_in(system, kg) for kg in (LIGHTEST_BUSHEL, HEAVIEST_BUSHEL)]
            for system in ("us", "metric")
        }
        schema["x-range"] = {
            system: [min(low for low, _ in ends), max(high for _, high in ends)]
            for system, ends in spans.items()
        }
        schema["minimum"] = min(low for low, _ in schema["x-range"].values())
        schema["maximum"] = max(high for _, high in schema["x-range"].values())


def measure_of(field: FieldInfo) -> Measure | None:
    """The `Measure` a field declares, wherever it stands in its annotation."""
    return next(_find(field.metadata, field.annotation), None)


def _find(metadata: list[Any] | tuple[Any, ...], annotation: Any) -> Iterator[Measure]:
    for item in metadata:
        if isinstance(item, Measure):
            yield item
    extra = getattr(annotation, "__metadata__", ())
    args = get_args(annotation)
    if get_origin(annotation) is not None or args or extra:
        yield from (item for item in extra if isinstance(item, Measure))
        for arg in args:
            yield from _find((), arg)


@lru_cache(maxsize=256)
def _ends_in(unit: Unit, low: float, high: float, bushel_weight: float) -> tuple[float, float]:
    """Ends of a range in a unit; thousands of refused rows ask for the same few."""
    ends = sorted(unit.from_si(end, bushel_weight) for end in (low, high))
    return _inward(ends[0], 1.0), _inward(ends[1], -1.0)


def _inward(end: float, side: float) -> float:
    """A limit to six digits, never outside the true one; `side` is +1 for a low, -1 for a high."""
    near = rounded(end, 6)
    if (near - end) * side >= -EDGE * abs(end):
        return near
    return rounded(near + side * 10.0 ** (math.floor(math.log10(abs(end))) - 5), 6)


def _typical(unit: Unit) -> float:
    return 25.4 if unit.bushels else math.nan  # kg; a 56 lb bushel, for examples only
