"""The base of every request and answer model, and the parts all answers share.

A route sees SI only: `to_si` turns a validated request into SI and checks its
limits, `to_display` turns an SI answer into the caller's units. Both follow the
`Measure` each field declares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from typing import Annotated, Any, ClassVar, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr, model_validator
from pydantic_core import PydanticCustomError

from outfeed.grains import load_grain
from outfeed.methods import MethodUse
from outfeed_api.cautions import CAUTIONS
from outfeed_api.measures import Measure, measure_of
from outfeed_api.problems import (
    NOT_PUBLISHED,
    OUT_OF_RANGE,
    Allowed,
    FieldError,
    ProblemError,
    field_error,
    join_pointer,
)
from outfeed_api.units import BUSHEL_VOLUME, QUANTITIES, UnitSystem, rounded

LONGEST_TEXT = 4000  # characters of any sentence in an answer
LONGEST_NAME = 100  # characters of any name
MOST_ENTRIES = 200  # entries of the lists that accompany an answer
MOST_FAULTS = 100  # field errors reported for one request

LONG_COLUMN = 200  # numbers; a longer list is converted as a whole
COUNT = "count"  # the quantity whose whole numbers stay whole
FIELD_AT_FAULT = "field_at_fault"  # kind of validation error; its context names the field

P = TypeVar("P", bound="Part")
R = TypeVar("R", bound="Request")


class Part(BaseModel):
    """A piece of a request or an answer: strict, closed, frozen; fields left out, never null."""

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, allow_inf_nan=False, validate_default=False
    )


class Given(Part):
    """A part of a request; a field that is not wanted is left out, never null."""

    @model_validator(mode="after")
    def _refuse_null_and_unprintable(self) -> Self:
        for name in self.model_fields_set:
            value = getattr(self, name)
            if value is None:
                words = "null is not a value; leave the field out instead"
            elif isinstance(value, str) and not value.isprintable():
                words = "holds characters that cannot be printed"
            else:
                continue
            raise PydanticCustomError(FIELD_AT_FAULT, "{words}", {"field": name, "words": words})
        return self


class Request(Given):
    """The body of a computation."""

    units: UnitSystem = Field(
        description="Unit system of every number in the request and the answer: "
        "`us` (degF, bu, lb, ft, Btu, gal) or `metric` (degC, t, kg, m, Pa, MJ, L).",
        examples=["us", "metric"],
    )

    _kg_per_bushel: float = PrivateAttr(math.nan)

    @property
    def kg_per_bushel(self) -> float:
        """Kilograms per bushel of this request once it is in SI; for `units.say`."""
        return self._kg_per_bushel

    def bushel_weight(self) -> float:
        """Kilograms per bushel of the grain of this request; NaN when it names none."""
        test_weight = getattr(self, "test_weight", None)
        if test_weight is not None:
            unit = QUANTITIES["test-weight"].unit(self.units)
            return unit.to_si(test_weight, math.nan) * BUSHEL_VOLUME
        grain = getattr(self, "grain", None)
        known = None if grain is None else load_grain(grain).bushel_weight
        return math.nan if known is None else known.value


class Assumed(Part):
    """An input that was not given and that the answer had to fill in."""

    input: str = Field(description="Name of the input.", max_length=LONGEST_NAME)
    value: float | None = Field(None, description="The value used, in `unit`.")
    choice: str | None = Field(
        None, description="The choice made, when it is not a number.", max_length=LONGEST_NAME
    )
    unit: str | None = Field(None, description="Unit of the numbers.", max_length=LONGEST_NAME)
    low: float | None = Field(None, description="Lowest plausible value, in `unit`.")
    high: float | None = Field(None, description="Highest plausible value, in `unit`.")
    why: str = Field(description="Why this value.", max_length=LONGEST_TEXT)
    source: str = Field(description="Where it comes from.", max_length=LONGEST_TEXT)


class AssumedQuantity(Assumed):
    """An `Assumed` whose numbers are still SI; `quantity` says what they measure."""

    quantity: str = Field(exclude=True)


class MethodUsed(Part):
    """A published method the answer rests on."""

    id: str = Field(description="Stable id, see `GET /v1/methods`.", max_length=LONGEST_NAME)
    title: str = Field(description="What it computes.", max_length=LONGEST_TEXT)
    source: str = Field(description="Citation.", max_length=LONGEST_TEXT)
    known: str = Field(description="How its constants are known.", max_length=LONGEST_TEXT)
    inside_range: bool = Field(description="Whether every input lay in its published range.")
    outside: list[str] | None = Field(
        None, description="Quantities outside the published range.", max_length=MOST_ENTRIES
    )
    note: str | None = Field(
        None, description="What to know before relying on it.", max_length=LONGEST_TEXT
    )


class Caution(Part):
    """A safety or quality caution."""

    code: str = Field(description="Stable code.", max_length=LONGEST_NAME, examples=["fire-column"])
    text: str = Field(description="What to watch and what to do.", max_length=LONGEST_TEXT)


class Versions(Part):
    """What computed the answer, so that a stored answer can be audited later."""

    service: str = Field(description="Version of the service and library.", max_length=LONGEST_NAME)
    tables: str = Field(
        description="Fingerprint of the grain catalogue and method tables.", max_length=LONGEST_NAME
    )


class Answer(Part):
    """What every computation answers with, after its own fields."""

    LAST: ClassVar[tuple[str, ...]] = (
        "units", "assumed", "methods", "notes", "cautions", "versions",
    )  # fmt: skip

    decision: str = Field(
        description="The answer in one or two sentences a person can act on.",
        max_length=LONGEST_TEXT,
    )
    units: UnitSystem = Field(description="Unit system of the numbers, as in the request.")
    assumed: list[Assumed] = Field(
        default_factory=list,
        description="Each input that was filled in, its value and why.",
        max_length=MOST_ENTRIES,
    )
    methods: list[MethodUsed] = Field(
        default_factory=list, description="The methods used.", max_length=MOST_ENTRIES
    )
    notes: list[str] = Field(
        default_factory=list, description="Plain sentences to act on.", max_length=MOST_ENTRIES
    )
    cautions: list[Caution] = Field(
        default_factory=list, description="Safety and quality cautions.", max_length=MOST_ENTRIES
    )
    versions: Versions | None = Field(None, description="What computed this answer.")

    def ordered(self) -> dict[str, Any]:
        """The answer as plain values: decision, its own fields, then what it rests on."""
        plain = self.model_dump(mode="json", exclude_none=True)
        tail = {name: plain.pop(name) for name in self.LAST if name in plain}
        return plain | tail


def methods_used(*uses: MethodUse) -> list[MethodUsed]:
    """The methods of an answer as the contract shows them, each once.

    Parameters
    ----------
    *uses : MethodUse
        Uses of methods, in order of importance.

    Returns
    -------
    list of MethodUsed
        With repeated methods merged.
    """
    merged: dict[str, MethodUsed] = {}
    for use in uses:
        before = merged.get(use.method.id)
        outside = sorted(set(use.outside) | set((before.outside if before else None) or ()))
        merged[use.method.id] = MethodUsed(
            id=use.method.id,
            title=use.method.title,
            source=use.method.source,
            known=use.method.known,
            inside_range=not outside,
            outside=outside or None,
            note=use.method.note or None,
        )
    return list(merged.values())


def cautions(*codes: str) -> list[Caution]:
    """Cautions by code, each once, in the order given."""
    return [Caution(code=code, text=CAUTIONS[code]) for code in dict.fromkeys(codes)]


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
        None if value is None else float(digits % ((value - offset) / scale)) for value in values
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
    if ends == (measure.inside(ends[0]), measure.inside(ends[1])):
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
    unit = measure.of.unit(system).label
    low, high = measure.limits_in(system, kg)
    what = measure.limits.quantity if measure.limits else measure.quantity
    return f"{what} {value:g} {unit} is outside {low:g} to {high:g} {unit}"


def _no_bushel_weight(pointer: str) -> ProblemError:
    detail = "this grain has no legal bushel weight on record; give `test_weight`"
    return ProblemError(NOT_PUBLISHED, detail, [field_error(pointer, detail)])


def _sum_up(faults: list[FieldError]) -> str:
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    return f"{faults[0].pointer}: {faults[0].detail}{more}"


GrainId = Annotated[
    str,
    Field(
        description="Id of the grain, see `GET /v1/grains`.",
        max_length=LONGEST_NAME,
        examples=["corn-yellow-dent"],
    ),
]
