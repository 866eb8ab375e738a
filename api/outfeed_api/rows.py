"""Rows that answer for themselves: a bad row is refused in its place, the others are answered.

``Annotated[list[Any], RowsOf(LoadRow)]`` types such a list: the contract shows the row's model,
the machinery lets any JSON through, and `read_row` validates and converts one row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from pydantic import Field, GetJsonSchemaHandler, ValidationError
from pydantic_core import CoreSchema

from outfeed import OutfeedError
from outfeed_api.conversion import bare, part_to_si
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, MOST_FAULTS, Part, Request
from outfeed_api.problems import (
    INCONSISTENT,
    FieldError,
    ProblemError,
    field_error,
    join_pointer,
)
from outfeed_api.validation import invalid

R = TypeVar("R", bound=Part)


@dataclass(frozen=True, slots=True)
class RowsOf:
    """Marks a list of unchecked rows with the model each should follow."""

    model: type[Part]

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """A list of the row's model, or of anything: a bad row is answered, not refused."""
        result = handler(schema)
        result["items"] = {"anyOf": [handler(self.model.__pydantic_core_schema__), {}]}
        return result


class RowFault(Part):
    """What is wrong with one field of a row."""

    pointer: str = Field(
        description="JSON pointer to the field.", max_length=LONGEST_TEXT, examples=["/loads/1/id"]
    )
    detail: str = Field(
        description="What is wrong, in a sentence.",
        max_length=LONGEST_TEXT,
        examples=["this field is required"],
    )


class RefusedRow(Part):
    """A row that could not be answered."""

    row: Annotated[int, Measure("count", example=2)] = Field(
        description="Which row, counted from 1."
    )
    id: str | None = Field(
        None,
        description="Ticket of the load, where the row has one that can be read.",
        max_length=LONGEST_NAME,
        examples=["T-104"],
    )
    errors: list[RowFault] = Field(description="What is wrong.", max_length=MOST_FAULTS)


def read_row(
    row: Any, model: type[R], request: Request, pointer: str
) -> tuple[R | None, list[FieldError]]:
    """One row in SI, or what is wrong with it.

    Parameters
    ----------
    row : Any
        As parsed from the body.
    model : type
        The row's model.
    request : Request
        The request, already in SI.
    pointer : str
        JSON pointer to the row.

    Returns
    -------
    tuple
        The row, None when at fault, and the faults.
    """
    try:
        given = model.model_validate(row)
    except ValidationError as error:
        found = invalid(error.errors(include_url=False, include_input=True)).errors
        return None, [field_error(pointer + fault.pointer, fault.detail) for fault in found]
    si, faults = part_to_si(given, request.units, request.kg_per_bushel, pointer)
    return (None, faults) if faults else (si, [])


def refuse_twice(names: Sequence[str]) -> None:
    """Refuse buyers of one name, which no load and no reader could tell apart.

    Parameters
    ----------
    names : sequence of str
        Of the buyers, in their order.

    Raises
    ------
    ProblemError
        ``inconsistent`` at the second buyer of a name.
    """
    for index, name in enumerate(names):
        if name in names[:index]:
            detail = "another buyer has this name already: give each a name of its own"
            pointer = join_pointer("buyers", index, "name")
            raise ProblemError(INCONSISTENT, detail, [field_error(pointer, detail, name)])


def refused(index: int, faults: list[FieldError], row: Any = None) -> RefusedRow:
    """The answer to a row that is at fault.

    Parameters
    ----------
    index : int
        Position of the row, from 0.
    faults : list of FieldError
        What is wrong with it.
    row : Any
        As parsed from the body, for its ticket.

    Returns
    -------
    RefusedRow
        For the answer.
    """
    listed = [(fault.pointer, fault.detail) for fault in faults[:MOST_FAULTS]]
    return refused_row(index, listed, row)


def refused_row(index: int, faults: Sequence[tuple[str, str]], row: Any = None) -> RefusedRow:
    """The answer to a row that is at fault, for bodies of which every row may be.

    Parameters
    ----------
    index : int
        Position of the row, from 0.
    faults : sequence of tuple of str
        Pointer and detail of each fault, at most `MOST_FAULTS`.
    row : Any
        As parsed from the body, for its ticket.

    Returns
    -------
    RefusedRow
        For the answer; not validated, since all that comes from outside is looked at here.
    """
    listed = [bare(RowFault, pointer=pointer, detail=detail) for pointer, detail in faults]
    return bare(RefusedRow, row=index + 1, id=_ticket(row), errors=listed)


def _ticket(row: Any) -> str | None:
    """By what name the owner of a row finds it again."""
    ticket = row.get("id") if isinstance(row, dict) else None
    if not isinstance(ticket, str) or not ticket.isprintable():
        return None
    return ticket if 1 <= len(ticket) <= LONGEST_NAME else None


def fault_of(error: OutfeedError, pointer: str) -> FieldError:
    """A library error as the fault of a row."""
    name = getattr(error, "name", "")
    return field_error(f"{pointer}/{name}" if name else pointer, str(error))
