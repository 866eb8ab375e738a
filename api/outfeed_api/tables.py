"""CSV logs: a header of column names, then a row a line, read into arrays, fast and strictly.

Whole blocks of lines are read at once, their numbers as one JSON list. A block that cannot be is
read cell by cell, to say which row and column is at fault. An empty cell is a reading that was not
taken (NaN).
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import jiter
import numpy as np
from pydantic import TypeAdapter, ValidationError

from outfeed.arrays import FloatArray
from outfeed.interrupt import may_stop
from outfeed_api.moment_columns import column_seconds
from outfeed_api.moments import LONGEST_MOMENT, Form, Moment, moment_seconds
from outfeed_api.problems import MALFORMED_CSV, ProblemError, field_error

MOST_ROWS = 1_000_000
BLOCK = 1 << 20  # bytes
TIME, ELAPSED = "time", "elapsed"
MINUTE = 60.0  # s
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet reads what follows as a formula
OTHER_SEPARATORS = {";": "';'", "\t": "tabs", "|": "'|'"}

_MOMENT: TypeAdapter[str] = TypeAdapter(Moment)
_PLAIN = b'0123456789+-.eE,:TZ "\n'  # all that numbers and date-times need


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Columns of a CSV body in the caller's units.

    Attributes
    ----------
    form : str
        "times" or "elapsed".
    seconds : ndarray
        Times [s]: since 1970, or since the caller's own origin.
    columns : dict
        From name to readings, NaN where the cell is empty.
    first, last : str or None
        First and last date-time as written.
    """

    form: Form
    seconds: FloatArray
    columns: dict[str, FloatArray]
    first: str | None
    last: str | None


def read_table(body: bytes, known: Sequence[str]) -> Table:
    """Read a CSV body whose first column is `time` or `elapsed`.

    Parameters
    ----------
    body : bytes
        UTF-8, comma separated, point as decimal sign.
    known : sequence of str
        Names of the other columns that may appear, in any order.

    Returns
    -------
    Table
        The columns that are there.

    Raises
    ------
    ProblemError
        ``malformed-csv`` saying where.
    """
    body = body.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    body = body.rstrip(b"\n ")
    end = body.find(b"\n") if b"\n" in body else len(body)
    names = _header(body[:end], known)
    timed = names[0] == TIME
    clocks, parts = [], []
    row = 2
    for block in _blocks(body, end + 1):
        may_stop()
        clock, values = _read_block(block, row, names)
        clocks.append(clock)
        parts.append(values)
        row += clock.size
        if row - 2 > MOST_ROWS:
            raise _problem(f"more than {MOST_ROWS:,} rows")
    if row < 4:
        raise _problem("a log needs a header and two rows or more")
    first = np.concatenate(clocks if timed else [part[0] for part in parts])
    return Table(
        form="times" if timed else "elapsed",
        seconds=first if timed else first * MINUTE,
        columns={
            name: np.concatenate([part[k] for part in parts]) for k, name in enumerate(names) if k
        },
        first=_cell(body[end + 1 : end + 200], 0) if timed else None,
        last=_cell(body[body.rfind(b"\n") + 1 :], 0) if timed else None,
    )


def _header(head: bytes, known: Sequence[str]) -> list[str]:
    try:
        names = [name.strip().strip('"').lower() for name in head.decode("utf-8").split(",")]
    except UnicodeDecodeError:
        raise _problem("the header is not UTF-8") from None
    if names[0] not in {TIME, ELAPSED}:
        wrong = wrong_separator(names)
        raise _problem(wrong or f"the first column must be `{TIME}` or `{ELAPSED}`")
    for name in names[1:]:
        if name not in known:
            shown = name if name.isprintable() and len(name) < LONGEST_MOMENT else "one of them"
            raise _problem(f"column {shown!r} is not known; known: {', '.join(known)}")
    if len(set(names)) != len(names):
        raise _problem("a column name stands twice in the header")
    return names


def _blocks(body: bytes, start: int) -> Iterator[bytes]:
    while start < len(body):
        end = body.find(b"\n", start + BLOCK)
        end = len(body) if end < 0 else end
        yield body[start:end]
        start = end + 1


def _read_block(block: bytes, row: int, names: list[str]) -> tuple[FloatArray, FloatArray]:
    """Seconds, shape (lines,), and values, shape (width, lines), of a block of lines."""
    try:
        return _at_once(block, len(names), timed=names[0] == TIME)
    except (ValueError, OverflowError, csv.Error):
        return _careful(block, row, names)


def _at_once(block: bytes, width: int, *, timed: bool) -> tuple[FloatArray, FloatArray]:
    """All cells of a block whose numbers JSON can read; ValueError for any other."""
    if block.translate(None, _PLAIN):
        raise ValueError("cells that are no plain numbers")
    lines = _unquoted(block, width) if b'"' in block else block.decode().split("\n")
    if any(line.count(",") != width - 1 for line in lines):
        raise ValueError("a row has another number of cells, or a cell holds a comma")
    clock = np.zeros(len(lines))
    if timed:
        parts = [line.partition(",") for line in lines]
        clock[:] = _moments([moment.strip() for moment, _, _ in parts])
        lines = [numbers for _, _, numbers in parts]
    values = np.zeros((width, clock.size))
    values[1 if timed else 0 :] = _numbers(",".join(lines)).reshape(clock.size, -1).T
    if np.isnan(values[0]).any():
        raise ValueError("a row without its time")
    return clock, values


def _unquoted(block: bytes, width: int) -> list[str]:
    rows = _rows(block)
    if any(len(cells) != width for cells in rows):
        raise ValueError("a row has another number of cells")
    return [",".join(cells) for cells in rows]


def _moments(texts: list[str]) -> list[float]:
    seconds = column_seconds(texts)
    return seconds or [moment_seconds(_MOMENT.validate_python(text)) for text in texts]


def _numbers(joined: str) -> FloatArray:
    """Numbers between commas, NaN where there is none."""
    if ",," in f",{joined},":  # two passes, since the gaps of empty neighbours overlap
        joined = f",{joined},".replace(",,", ",null,").replace(",,", ",null,")[1:-1]
    numbers = jiter.from_json(f"[{joined}]".encode(), cache_mode="none")
    values = np.array(numbers, dtype=np.float64)
    if np.isinf(values).any():
        raise ValueError("a number larger than a float can be")
    return values


def _rows(block: bytes) -> list[list[str]]:
    text = io.StringIO(block.decode("utf-8"), newline="")
    return list(csv.reader(text, strict=True, skipinitialspace=True))


def _careful(block: bytes, row: int, names: list[str]) -> tuple[FloatArray, FloatArray]:
    """Cell by cell, with the place of what is wrong."""
    try:
        lines = _rows(block)
    except UnicodeDecodeError:
        raise _problem(f"rows from {row} on are not UTF-8") from None
    except csv.Error as error:
        raise _problem(f"rows from {row} on are not CSV: {csv_words(error)}") from None
    timed, width = names[0] == TIME, len(names)
    clock, values = np.zeros(len(lines)), np.zeros((width, len(lines)))
    for index, cells in enumerate(lines):
        if len(cells) != width:
            holds = f"{len(cells)} cell{'s' * (len(cells) != 1)}"
            raise _problem(f"row {row + index} has {holds}, the header {width}")
        if timed:
            clock[index] = _moment(cells[0], row + index)
        for k in range(1 if timed else 0, width):
            values[k, index] = _number(cells[k], row + index, names[k])
        if math.isnan(values[0, index]):
            raise _problem(f"row {row + index}, column {ELAPSED}: the time is missing")
    return clock, values


def _moment(cell: str, row: int) -> float:
    try:
        return moment_seconds(_MOMENT.validate_python(cell.strip()))
    except ValidationError as error:
        raise _problem(f"row {row}, column {TIME}: {error.errors()[0]['msg']}") from None


def _number(cell: str, row: int, name: str) -> float:
    text = cell.strip()
    if not text:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or "_" in text or not text.isascii():
        raise _problem(f"row {row}, column {name}: not a number")
    return value


def _cell(line: bytes, index: int) -> str:
    first = line.partition(b"\n")[0].split(b",")[index]
    return first.decode("utf-8", "replace").strip().strip('"')


def wrong_separator(names: Sequence[str]) -> str | None:
    """What to say of a header in which nothing is separated by commas.

    Parameters
    ----------
    names : sequence of str
        The header, split at its commas.

    Returns
    -------
    str or None
        A sentence; None where no other separator is seen.
    """
    found = next((mark for mark in OTHER_SEPARATORS if mark in names[0]), None)
    if found is None or len(names) > 1:
        return None
    shown = OTHER_SEPARATORS[found]
    return f"the header looks separated by {shown}: separate by ',' and write decimals with '.'"


def csv_words(error: csv.Error) -> str:
    """What keeps text from being CSV, in plain words.

    Parameters
    ----------
    error : csv.Error
        From the standard reader.

    Returns
    -------
    str
        A clause.
    """
    text = str(error)
    if "unexpected end" in text:
        return "a quote is opened and never closed"
    if "expected after" in text:
        return "a quote stands inside a cell"
    return text[:200]


def safe_cell(text: str) -> str:
    """A caller's text as a cell that no spreadsheet takes for a formula.

    Parameters
    ----------
    text : str
        A ticket or a name.

    Returns
    -------
    str
        The same, behind an apostrophe where it begins as a formula does.
    """
    return f"'{text}" if text.startswith(FORMULA_SIGNS) else text


def _problem(detail: str) -> ProblemError:
    return ProblemError(MALFORMED_CSV, detail, [field_error("", detail)])
