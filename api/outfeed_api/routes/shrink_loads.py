"""Loads from rows, columns or CSV to arrays; what is at fault is named and left out."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import ValidationError

from outfeed.arrays import FloatArray
from outfeed.limits import MOISTURE_WB
from outfeed.moisture import WEIGHT
from outfeed_api.conversion import outside_words
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME
from outfeed_api.problems import (
    INCONSISTENT,
    INVALID,
    MALFORMED_CSV,
    ProblemError,
    field_error,
    join_pointer,
)
from outfeed_api.route import refuse_query
from outfeed_api.routes.shrink_models import (
    MOST_LOADS,
    LoadFigures,
    ShrinkAnswer,
    ShrinkColumns,
    ShrinkFigures,
    ShrinkLoad,
    ShrinkRequest,
)
from outfeed_api.rows import RefusedRow, read_row, refused, refused_row
from outfeed_api.tables import csv_words, safe_cell, wrong_separator
from outfeed_api.units import QUANTITIES, UnitSystem
from outfeed_api.validation import invalid

CSV_COLUMNS = ("id", "weight", "moisture")
CSV_NUMBERS = ("test_weight", "final_moisture", "handling_loss", "price")
CSV_QUERY = ("units", "grain", *CSV_NUMBERS)

MOST_DIGITS = 40  # characters of a number in CSV

_WEIGHT = Measure("mass", WEIGHT)
_MOISTURE = Measure("moisture", MOISTURE_WB)
_EDGE = 1e-9  # relative; what conversion of a limit typed in either unit may leave
_WHOLE = 10**15  # a larger whole number goes the slow way, to be refused in words


@dataclass(frozen=True, slots=True, eq=False)
class Loads:
    """Loads as arrays in SI, in the order given.

    Attributes
    ----------
    weight, moisture : ndarray
        Wet weight [kg] and moisture, wet basis [-]; NaN where a load was refused.
    ids : list of str or None
        Tickets.
    refused : dict
        From position to what is wrong.
    """

    weight: FloatArray
    moisture: FloatArray
    ids: Sequence[str | None]
    refused: Mapping[int, RefusedRow]


def loads_of(request: ShrinkRequest) -> Loads:
    """The loads of a request, whichever way they were given.

    Parameters
    ----------
    request : ShrinkRequest
        In SI.

    Returns
    -------
    Loads
        At least one.

    Raises
    ------
    ProblemError
        None or several of the ways at once, or columns of different length.
    """
    _one_way(request)
    if request.loads is not None:
        return _from_rows(request, request.loads)
    if request.columns is not None:
        return _from_columns(request, request.columns)
    weight = request.weight if request.amount is None else request.amount
    weight = request.wanted_weight if weight is None else weight
    if request.moisture is None or weight is None:
        detail = "give `moisture` with `weight`, `amount` or `wanted_weight`"
        raise ProblemError(INVALID, detail, [field_error("/moisture", "this field is required")])
    return Loads(np.array([weight]), np.array([request.moisture]), [None], {})


def _one_way(request: ShrinkRequest) -> None:
    ways = ("weight", "amount", "wanted_weight", "loads", "columns")
    given = [way for way in ways if getattr(request, way) is not None]
    if len(given) != 1:
        names = ", ".join(f"`{way}`" for way in given or ways)
        detail = f"give exactly one of {names}" if given else f"give one of {names}"
        faults = [field_error(join_pointer(way), detail) for way in given or ways[:1]]
        raise ProblemError(INCONSISTENT, detail, faults)
    if given[0] in {"loads", "columns"} and request.moisture is not None:
        detail = f"`moisture` stands with one load; `{given[0]}` brings its own"
        raise ProblemError(INCONSISTENT, detail, [field_error("/moisture", detail)])


def _from_rows(request: ShrinkRequest, rows: Sequence[Any]) -> Loads:
    """Rows that are plainly well are taken together; the others go through the row's model."""
    plain = np.array([_is_plain(row) for row in rows], dtype=np.bool_)
    weight, moisture = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    good: list[int] = np.flatnonzero(plain).tolist()
    for name, measure, column in (("weight", _WEIGHT, weight), ("moisture", _MOISTURE, moisture)):
        unit = QUANTITIES[measure.quantity].unit(request.units)
        values = np.array([rows[index][name] for index in good], dtype=np.float64)
        column[good] = values * unit.scale(request.kg_per_bushel) + unit.offset
    faults = {
        index: refusal
        for index in np.flatnonzero(~(plain & _inside(weight, moisture))).tolist()
        if (refusal := _refusal(request, rows[index], index, weight, moisture))
    }
    ids = [row.get("id") if index not in faults else None for index, row in enumerate(rows)]
    return _without(Loads(weight, moisture, ids, faults))


def _is_plain(row: Any) -> bool:
    if type(row) is not dict or not row.keys() <= set(CSV_COLUMNS):
        return False
    ticket = row.get("id", "-")
    return (
        _is_number(row.get("weight"))
        and _is_number(row.get("moisture"))
        and type(ticket) is str
        and 1 <= len(ticket) <= LONGEST_NAME
    )


def _is_number(value: Any) -> bool:
    return type(value) is float or (type(value) is int and abs(value) < _WHOLE)


def _inside(weight: FloatArray, moisture: FloatArray) -> Any:
    return np.asarray(WEIGHT.contains(weight) & MOISTURE_WB.contains(moisture))


def _refusal(
    request: ShrinkRequest, row: Any, index: int, weight: FloatArray, moisture: FloatArray
) -> RefusedRow | None:
    """What the row's own model says; a row on the edge of a limit is taken after all."""
    pointer = join_pointer("loads", index)
    si, found = read_row(row, ShrinkLoad, request, pointer)
    if si is None:
        return refused(index, found, row)
    weight[index], moisture[index] = si.weight, si.moisture
    kg = request.kg_per_bushel
    edges = [
        (f"{pointer}/{name}", detail)
        for name, measure, column in (
            ("weight", _WEIGHT, weight),
            ("moisture", _MOISTURE, moisture),
        )
        if (detail := _edge(request.units, kg, measure, column, index))
    ]
    return refused_row(index, edges, row) if edges else None


def _edge(
    system: UnitSystem, kg: float, measure: Measure, column: FloatArray, index: int
) -> str | None:
    """Put a value that rounding left just outside on its limit; say what is wrong further out."""
    value, limits = float(column[index]), measure.limits
    if limits is None or math.isnan(value):
        return "there is no reading here"
    nearest = min(max(value, limits.low), limits.high)
    if math.isclose(value, nearest, rel_tol=_EDGE):
        column[index] = nearest
        return None
    return outside_words(measure.of.unit(system).from_si(value, kg), measure, system, kg)


def _from_columns(request: ShrinkRequest, columns: ShrinkColumns) -> Loads:
    if len(columns.weights) != len(columns.moistures):
        detail = f"{len(columns.weights)} weights and {len(columns.moistures)} moistures"
        raise ProblemError(INCONSISTENT, detail, [field_error("/columns/moistures", detail)])
    weight = np.array(columns.weights, dtype=np.float64)
    moisture = np.array(columns.moistures, dtype=np.float64)
    faults: dict[int, RefusedRow] = {}
    system, kg = request.units, request.kg_per_bushel
    for index in np.flatnonzero(~_inside(weight, moisture)).tolist():
        found = [
            (f"/columns/{name}/{index}", why)
            for name, measure, column in (
                ("weights", _WEIGHT, weight),
                ("moistures", _MOISTURE, moisture),
            )
            if (why := _edge(system, kg, measure, column, index))
        ]
        if found:
            faults[index] = refused_row(index, found)
    return _without(Loads(weight, moisture, [None] * weight.size, faults))


def _without(loads: Loads) -> Loads:
    """The same loads with NaN where one was refused."""
    out = np.zeros(loads.weight.size, dtype=np.bool_)
    out[list(loads.refused)] = True
    return Loads(
        np.where(out, np.nan, loads.weight),
        np.where(out, np.nan, loads.moisture),
        loads.ids,
        loads.refused,
    )


def read_csv(body: bytes, query: Mapping[str, str]) -> ShrinkRequest:
    """A request from CSV: a header of `weight`, `moisture` and, if wanted, `id`.

    Parameters
    ----------
    body : bytes
        The loads, one a line, in UTF-8.
    query : mapping
        `units` and `grain`, and if wanted `test_weight`, `final_moisture`, `handling_loss` and
        `price`.

    Returns
    -------
    ShrinkRequest
        In the caller's units.

    Raises
    ------
    ProblemError
        ``malformed-csv`` for what is not CSV, ``invalid-input`` for a table or a query that does
        not fit.
    """
    refuse_query(query, *CSV_QUERY)
    given: dict[str, Any] = {
        name: _number(value) if name in CSV_NUMBERS else value for name, value in query.items()
    }
    try:
        return ShrinkRequest.model_validate(given | {"loads": _csv_rows(body)})
    except ValidationError as error:
        raise invalid(error.errors(include_url=False, include_input=True)) from None


def _csv_rows(body: bytes) -> list[dict[str, Any]]:
    try:
        lines = csv.reader(io.StringIO(body.decode("utf-8-sig"), newline=""), strict=True)
        header = [name.strip().lower() for name in next(lines, [])] or [""]
        if wrong := wrong_separator(header):
            raise ProblemError(MALFORMED_CSV, wrong)
        _check_header(header)
        rows = [_csv_row(header, line, place) for place, line in enumerate(lines, 1) if line]
    except UnicodeDecodeError:
        raise ProblemError(MALFORMED_CSV, "the body is not UTF-8") from None
    except csv.Error as error:
        detail = f"line {lines.line_num}: {csv_words(error)}"
        raise ProblemError(MALFORMED_CSV, detail) from None
    if len(rows) > MOST_LOADS:
        raise _table_fault(f"more than {MOST_LOADS:,} loads")
    return rows


def _table_fault(detail: str) -> ProblemError:
    """A table that does not fit, as a whole."""
    return ProblemError(INVALID, detail, [field_error("", detail)])


def _check_header(header: list[str]) -> None:
    wanted = "the first line must name the columns `weight`, `moisture` and, if wanted, `id`"
    if not {"weight", "moisture"} <= set(header) <= set(CSV_COLUMNS):
        raise _table_fault(wanted)
    if len(set(header)) != len(header):
        raise _table_fault("a column stands twice in the first line")


def _csv_row(header: list[str], line: list[str], place: int) -> dict[str, Any]:
    if len(line) != len(header):
        detail = f"load {place} has {len(line)} values under {len(header)} names"
        raise _table_fault(detail)
    row: dict[str, Any] = {}
    for name, text in zip(header, line, strict=True):
        value = text.strip()
        if value:
            row[name] = value if name == "id" else _number(value)
    return row


def _number(text: str) -> Any:
    """A finite number, or the text itself, which the field will refuse."""
    if len(text) <= MOST_DIGITS and "_" not in text:
        try:
            value = float(text)
        except ValueError:
            return text
        if math.isfinite(value):
            return value
    return text


def write_csv(_request: ShrinkRequest, answer: ShrinkAnswer) -> bytes:
    """The loads of an answer as CSV, one line a load; the totals when there was one load.

    Parameters
    ----------
    _request : ShrinkRequest
        In SI; not needed.
    answer : ShrinkAnswer
        In the caller's units.

    Returns
    -------
    bytes
        UTF-8.
    """
    names = ["row", "id", *ShrinkFigures.model_fields, "error"]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(names)
    if answer.columns is not None:
        _write_columns(writer, names, answer)
    elif answer.loads is not None:
        for entry in answer.loads:
            writer.writerow(_line(names, entry))
    else:
        writer.writerow(["1", "", *(getattr(answer.totals, name) for name in names[2:-1]), ""])
    return buffer.getvalue().encode()


def _line(names: list[str], entry: LoadFigures | RefusedRow) -> list[Any]:
    named = [entry.row, safe_cell(entry.id or "")]
    if isinstance(entry, RefusedRow):
        return [*named, *[""] * (len(names) - 3), _fault_text(entry)]
    return [*named, *(getattr(entry, name) for name in names[2:-1]), ""]


def _fault_text(entry: RefusedRow) -> str:
    return "; ".join(f"{fault.pointer} {fault.detail}" for fault in entry.errors)


def _write_columns(writer: Any, names: list[str], answer: ShrinkAnswer) -> None:
    columns = answer.columns
    if columns is None:
        return
    faults = {entry.row: _fault_text(entry) for entry in columns.refused}
    known = {
        "final_weight": columns.final_weights,
        "water_removed": columns.water_removed,
        "total_shrink": columns.total_shrinks,
    }
    for index in range(len(columns.final_weights)):
        cells = [
            "" if name not in known or known[name][index] is None else known[name][index]
            for name in names[2:-1]
        ]
        writer.writerow([index + 1, "", *cells, faults.get(index + 1, "")])
