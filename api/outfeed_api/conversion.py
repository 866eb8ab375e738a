"""Between the caller's units and SI, following the `Measure` each field declares.

A route sees SI only: `to_si` turns a validated request into SI and checks its
limits, `to_display` turns an SI answer into the caller's units. The factors
themselves stand in `units`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from typing import Any, TypeVar

from outfeed.limits import BROKEN_OR_FIRE
from outfeed_api.measures import NOTHING, Measure, measure_of
from outfeed_api.models import Assumed, AssumedQuantity, Part, Request
from outfeed_api.problems import (
    NOT_PUBLISHED,
    OUT_OF_RANGE,
    Allowed,
    FieldError,
    ProblemError,
    field_error,
    join_pointer,
)
from outfeed_api.units import QUANTITIES, UnitSystem, rounded

LONG_COLUMN = 200  # numbers; a longer list is converted as a whole
COUNT = "count"  # the quantity whose whole numbers stay whole
UNSPOKEN = {"-": "", "count": ""}  # labels of units that a sentence leaves out

P = TypeVar("P", bound=Part)
R = TypeVar("R", bound=Request)


def to_si(request: R) -> R:
    """The request with every measured number in SI, after its limits were checked.

    Parameters
    ----------
    request : Request
        As validated, in the caller's units.

    Returns
    -------
    Request
        A copy in SI.

    Raises
    ------
    ProblemError
        A value outside its limits, or bushels of a grain whose weight is not known.
    """
    faults: list[FieldError] = []
    kg = request.bushel_weight()
    result = _part_to_si(request, request.units, kg, "", faults)
    if faults:
        raise ProblemError(OUT_OF_RANGE, _sum_up(faults), faults)
    result._kg_per_bushel = kg
    return result


def part_to_si(
    part: P, system: UnitSystem, bushel_weight: float, pointer: str = ""
) -> tuple[P, list[FieldError]]:
    """One part in SI with the faults found, for rows that answer for themselves."""
    faults: list[FieldError] = []
    return _part_to_si(part, system, bushel_weight, pointer, faults), faults


def to_display(part: P, system: UnitSystem, bushel_weight: float) -> P:
    """An SI answer, or a part of one, in the caller's units, rounded to repeatable digits.

    Parameters
    ----------
    part : Part
        In SI.
    system : {"us", "metric"}
        The caller's unit system.
    bushel_weight : float
        Kilograms per bushel, NaN when no bushels are involved.

    Returns
    -------
    Part
        A converted copy.

    Raises
    ------
    ValueError
        A number that is not finite; it must not leave the service.
    """
    if isinstance(part, AssumedQuantity):
        return _assumed_to_display(part, system, bushel_weight)  # type: ignore[return-value]
    if _stays(type(part)):
        return part
    changes: dict[str, Any] = {}
    for name, measure in _plan(type(part)).items():
        value = getattr(part, name)
        if value is None:
            continue
        changes[name] = _display(value, measure, system, bushel_weight)
    return part.model_copy(update=changes)


@cache
def _plan(model: type[Part]) -> dict[str, Measure | None]:
    """The fields of a model that may need conversion: measures, and parts that hold some."""
    plan: dict[str, Measure | None] = {}
    for name, field in model.model_fields.items():
        measure = measure_of(field)
        if measure is not None or _parts_in(field.annotation):
            plan[name] = measure
    return plan


@cache
def _stays(model: type[Part]) -> bool:
    """Whether a part reads the same in every unit system: words, flags, whole counts."""
    if issubclass(model, Assumed):
        return False
    fields = model.model_fields
    return all(
        all(map(_stays, _parts_in(fields[name].annotation)))
        if measure is None
        else measure.quantity == COUNT and fields[name].annotation is int
        for name, measure in _plan(model).items()
    )


def _parts_in(annotation: Any) -> list[type[Part]]:
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return [annotation]
    return [part for arg in getattr(annotation, "__args__", ()) for part in _parts_in(arg)]


def _display(value: Any, measure: Measure | None, system: UnitSystem, kg: float) -> Any:
    if isinstance(value, Part):
        return to_display(value, system, kg)
    if isinstance(value, list | tuple):
        if measure is not None and len(value) > LONG_COLUMN and measure.quantity != COUNT:
            return _column_to_display(value, measure, system, kg)
        if len(value) > LONG_COLUMN and isinstance(value[0], Part):
            return _kinds_to_display(value, system, kg)
        return [_display(item, measure, system, kg) for item in value]
    if measure is None or value is None or not isinstance(value, int | float):
        return value
    if measure.quantity == COUNT and isinstance(value, int):
        return value  # a count stays whole
    number = measure.of.unit(system).from_si(value, kg)
    if not math.isfinite(number):
        raise ValueError(f"a {measure.quantity} of {value} must not leave the service")
    return rounded(number, measure.of.digits)


def _kinds_to_display(rows: Sequence[Any], system: UnitSystem, kg: float) -> list[Any]:
    """Many parts, kind by kind: rows that were answered and rows that were refused."""
    places: dict[type, list[int]] = {}
    for place, row in enumerate(rows):
        places.setdefault(type(row), []).append(place)
    shown: list[Any] = list(rows)
    for found in places.values():
        same = _rows_to_display([rows[place] for place in found], system, kg)
        for place, row in zip(found, same, strict=True):
            shown[place] = row
    return shown


def _lists_to_display(lists: Sequence[Any], system: UnitSystem, kg: float) -> list[Any] | None:
    """Many short lists of parts, as one long one; None when they are something else."""
    parts = [part for listed in lists if isinstance(listed, list) for part in listed]
    if not parts or not all(isinstance(part, Part) for part in parts):
        return None
    shown = iter(_kinds_to_display(parts, system, kg))
    return [
        [next(shown) for _ in listed] if isinstance(listed, list) else listed for listed in lists
    ]


def _rows_to_display(rows: Sequence[Any], system: UnitSystem, kg: float) -> list[Any]:
    """Many parts of one kind in the caller's units, column by column; the same digits."""
    if not isinstance(rows[0], Part) or _stays(type(rows[0])):
        return list(rows)
    columns: dict[str, Sequence[Any]] = {}
    for name, measure in _plan(type(rows[0])).items():
        values = [getattr(row, name) for row in rows]
        if measure is not None and all(type(value) in {float, type(None)} for value in values):
            columns[name] = _column_to_display(values, measure, system, kg)
        elif (shown := _lists_to_display(values, system, kg)) is not None:
            columns[name] = shown
        else:
            columns[name] = [
                None if value is None else _display(value, measure, system, kg) for value in values
            ]
    converted = zip(*columns.values(), strict=True) if columns else ((),) * len(rows)
    return [
        _with(row, dict(zip(columns, values, strict=True)))
        for row, values in zip(rows, converted, strict=True)
    ]


def _with(part: Part, changes: dict[str, Any]) -> Part:
    """A copy with other values; `model_copy` without its deep machinery, for the rows of bulk."""
    return bare(type(part), **(part.__dict__ | changes))


def bare(model: type[P], **values: Any) -> P:
    """A part from all of its values, unchecked; a tenth of the cost, for the rows of bulk.

    Parameters
    ----------
    model : type
        Which part.
    **values : Any
        Every field, of the right type.

    Returns
    -------
    Part
        The part.
    """
    part = model.__new__(model)
    object.__setattr__(part, "__dict__", values)
    object.__setattr__(part, "__pydantic_fields_set__", set(values))
    object.__setattr__(part, "__pydantic_extra__", None)
    object.__setattr__(part, "__pydantic_private__", None)
    return part


def _column_to_display(
    values: Sequence[Any], measure: Measure, system: UnitSystem, kg: float
) -> list[float | None]:
    """A long column in the caller's units; the same digits as one number at a time."""
    unit = measure.of.unit(system)
    scale, offset, digits = unit.scale(kg), unit.offset, f"%.{measure.of.digits}g"
    if not all(value is None or math.isfinite(value) for value in values):
        raise ValueError(f"a {measure.quantity} that is not finite must not leave the service")
    return [
        None if value is None else float(digits % ((value - offset) / scale)) + 0.0  # no minus zero
        for value in values
    ]


def _column_to_si(
    values: Sequence[Any], measure: Measure, system: UnitSystem, kg: float
) -> list[float | None] | None:
    """A long column in SI; None when a value is at fault, to be named one at a time."""
    unit = measure.of.unit(system)
    scale, offset = unit.scale(kg), unit.offset
    numbers = [None if value is None else value * scale + offset for value in values]
    present = [number for number in numbers if number is not None]
    if not present:
        return numbers
    ends = (min(present), max(present))
    if not all(math.isfinite(end) and measure.allows(end) for end in ends):
        return None
    whole = all(number == 0.0 or abs(number) >= NOTHING for number in present)
    if whole and ends == (measure.inside(ends[0]), measure.inside(ends[1])):
        return numbers
    return [None if number is None else measure.inside(number) for number in numbers]


def _assumed_to_display(part: AssumedQuantity, system: UnitSystem, kg: float) -> Assumed:
    unit = QUANTITIES[part.quantity].unit(system)
    numbers = {
        name: rounded(unit.from_si(number, kg), 6)
        for name in ("value", "low", "high")
        if (number := getattr(part, name)) is not None
    }
    plain = part.model_dump(exclude={"quantity", *numbers}, exclude_none=True)
    return Assumed(**plain | numbers | {"unit": unit.label})


def _part_to_si(
    part: P, system: UnitSystem, kg: float, pointer: str, faults: list[FieldError]
) -> P:
    """The part in SI; what was not given stays as declared, since a default is SI already."""
    given = part.model_fields_set
    changes: dict[str, Any] = {
        name: _si(getattr(part, name), measure, system, kg, pointer + join_pointer(name), faults)
        for name, measure in _plan(type(part)).items()
        if name in given
    }
    return part.model_copy(update=changes)


def _si(
    value: Any,
    measure: Measure | None,
    system: UnitSystem,
    kg: float,
    pointer: str,
    faults: list[FieldError],
) -> Any:
    if isinstance(value, Part):
        return _part_to_si(value, system, kg, pointer, faults)
    if isinstance(value, list | tuple):
        if measure is not None and len(value) > LONG_COLUMN and measure.quantity != COUNT:
            column = _column_to_si(value, measure, system, kg)
            if column is not None:
                return column
        return [
            _si(item, measure, system, kg, f"{pointer}/{index}", faults)
            for index, item in enumerate(value)
        ]
    if measure is None or value is None or not isinstance(value, int | float):
        return value
    unit = measure.of.unit(system)
    if unit.bushels and math.isnan(kg):
        raise _no_bushel_weight(pointer)
    number = unit.to_si(float(value), kg)
    if not math.isfinite(number) or not measure.allows(number):
        faults.append(out_of_range(pointer, float(value), measure, system, kg))
        return number
    return value if measure.quantity == COUNT else measure.inside(number)


def out_of_range(
    pointer: str, value: float, measure: Measure, system: UnitSystem, kg: float
) -> FieldError:
    """The field error for a value outside a measure's limits, in the caller's units.

    Parameters
    ----------
    pointer : str
        JSON pointer to the field.
    value : float
        As given.
    measure : Measure
        What the field declares.
    system : {"us", "metric"}
        The caller's unit system.
    kg : float
        Kilograms per bushel.

    Returns
    -------
    FieldError
        With the limits in the caller's units.
    """
    low, high = measure.limits_in(system, kg)
    unit = measure.of.unit(system).label
    detail = outside_words(value, measure, system, kg)
    return field_error(pointer, detail, value, Allowed(minimum=low, maximum=high, unit=unit))


def outside_words(value: float, measure: Measure, system: UnitSystem, kg: float) -> str:
    """The sentence of `out_of_range` alone.

    Parameters
    ----------
    value : float
        As given.
    measure : Measure
        What the field declares.
    system : {"us", "metric"}
        The caller's unit system.
    kg : float
        Kilograms per bushel.

    Returns
    -------
    str
        Value and limits in the caller's units.
    """
    unit = UNSPOKEN.get(label := measure.of.unit(system).label, f" {label}")
    low, high = measure.limits_in(system, kg)
    what = measure.limits.quantity if measure.limits else measure.quantity
    what = what.partition(",")[0] if label.startswith("%") else what  # the unit says the basis
    words = f"{what} {value:zg}{unit} is outside {low:g} to {high:g}{unit}"
    if measure.limits is None:
        return words
    means = measure.limits.below if value < low else measure.limits.above
    return f"{words}; {means}" if means else words


def _no_bushel_weight(pointer: str) -> ProblemError:
    detail = "this grain has no legal bushel weight on record; give `test_weight`"
    return ProblemError(NOT_PUBLISHED, detail, [field_error(pointer, detail)])


def _sum_up(faults: list[FieldError]) -> str:
    """The first fault, or the first that may be one of fire, in a sentence."""
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    told = next((fault for fault in faults if BROKEN_OR_FIRE in fault.detail), faults[0])
    return f"{told.pointer}: {told.detail}{more}"
