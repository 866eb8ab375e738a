"""The base of every request and answer model, and the parts all answers share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Annotated, Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr, model_validator
from pydantic_core import PydanticCustomError

from outfeed.grains import load_grain
from outfeed.methods import MethodUse
from outfeed_api.cautions import CAUTIONS
from outfeed_api.units import BUSHEL_VOLUME, QUANTITIES, UnitSystem

LONGEST_TEXT = 4000  # characters of any sentence in an answer
LONGEST_NAME = 100  # characters of any name
MOST_ENTRIES = 200  # entries of the lists that accompany an answer
MOST_FAULTS = 100  # field errors reported for one request

FIELD_AT_FAULT = "field_at_fault"  # kind of validation error; its context names the field


def named(codes: Iterable[str]) -> str:
    """The codes that a field may hold, for its description; an enumeration would close the list."""
    return "one of " + ", ".join(f"`{code}`" for code in codes)


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

    code: str = Field(
        description=f"Stable code, {named(CAUTIONS)}.",
        max_length=LONGEST_NAME,
        examples=["fire-column"],
    )
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


GrainId = Annotated[
    str,
    Field(
        description="Id of the grain, see `GET /v1/grains`.",
        max_length=LONGEST_NAME,
        examples=["corn-yellow-dent"],
    ),
]
