"""CSV logs: a header of column names, then a row a line, read into arrays, fast and strictly.

Whole blocks of lines are read at once. A block that cannot be is read cell by cell, to say which
row and column is at fault. An empty cell is a reading that was not taken (NaN).
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import jiter
import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import FloatArray
from outfeed_api.moments import Form, Moment, moment_seconds
from outfeed_api.problems import MALFORMED_CSV, ProblemError, field_error

MOST_ROWS = 1_000_000
BLOCK = 1 << 20  # bytes
TIME, ELAPSED = "time", "elapsed"
PLAIN = 19  # characters of YYYY-MM-DDTHH:MM:SS
MINUTE = 60.0  # s
LONGEST_CELL = 40

_TAIL = re.compile(rb"(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)")
_NUMBERS = b"0123456789+-.eE, "

Bytes = NDArray[np.uint8]

_MARKS = np.frombuffer(b"--::", np.uint8)
_BETWEEN = np.frombuffer(b"Tt ", np.uint8)
_ZERO = np.frombuffer(b" " * (LONGEST_CELL - 1) + b"0", np.uint8)  # a cell that reads as zero


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
    body = body.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").rstrip(b"\n ")
    head, _, rest = body.partition(b"\n")
    names = _header(head, known)
    if rest.count(b"\n") + 1 > MOST_ROWS:
        raise _problem(f"more than {MOST_ROWS:,} rows")
    timed = names[0] == TIME
    parts, seconds = [], []
    row = 2
    for block in _blocks(rest):
        clock, values = _read_block(block, len(names), timed=timed, row=row, names=names)
        seconds.append(clock)
        parts.append(values)
        row += values.shape[0]
    table = np.concatenate(parts) if parts else np.zeros((0, len(names)))
    if table.shape[0] < 2:
        raise _problem("a log needs a header and two rows or more")
    return Table(
        form="times" if timed else "elapsed",
        seconds=np.concatenate(seconds) if timed else table[:, 0] * MINUTE,
        columns={name: np.ascontiguousarray(table[:, k]) for k, name in enumerate(names) if k},
        first=_cell(rest[:200], 0) if timed else None,
        last=_cell(rest[rest.rfind(b"\n") + 1 :], 0) if timed else None,
    )


def _header(head: bytes, known: Sequence[str]) -> list[str]:
    try:
        names = [name.strip().strip('"').lower() for name in head.decode("utf-8").split(",")]
    except UnicodeDecodeError:
        raise _problem("the header is not UTF-8") from None
    if names[0] not in {TIME, ELAPSED}:
        raise _problem(f"the first column must be `{TIME}` or `{ELAPSED}`")
    for name in names[1:]:
        if name not in known:
            shown = name if name.isprintable() and len(name) < LONGEST_CELL else "one of them"
            raise _problem(f"column {shown!r} is not known; known: {', '.join(known)}")
    if len(set(names)) != len(names):
        raise _problem("a column name stands twice in the header")
    return names


def _blocks(rest: bytes) -> Iterator[bytes]:
    start = 0
    while start < len(rest):
        end = rest.find(b"\n", start + BLOCK)
        end = len(rest) if end < 0 else end
        yield rest[start:end]
        start = end + 1


def _read_block(
    block: bytes, width: int, *, timed: bool, row: int, names: list[str]
) -> tuple[FloatArray, FloatArray]:
    try:
        return _fast(block, width, timed=timed)
    except ValueError:
        return _careful(block, width, timed=timed, row=row, names=names)


def _fast(block: bytes, width: int, *, timed: bool) -> tuple[FloatArray, FloatArray]:
    """All cells of a block at once; ValueError when it is not that plain."""
    cells = np.frombuffer(block, np.uint8).copy()
    newlines = np.flatnonzero(cells == ord("\n"))
    starts = np.concatenate(([0], newlines + 1))
    clock = _clock(cells, starts) if timed else np.zeros(starts.size)
    commas = np.count_nonzero(cells == ord(","))
    if commas != (width - 1) * starts.size:
        raise ValueError("a row has another number of cells")
    cells[newlines] = ord(",")
    text = cells.tobytes()
    if text.translate(None, _NUMBERS):
        raise ValueError("a cell is not a plain number")
    text = text.replace(b",,", b",null,").replace(b",,", b",null,")
    text = b"null" * text.startswith(b",") + text + b"null" * text.endswith(b",")
    values = np.array(jiter.from_json(b"[" + text + b"]", cache_mode="none"), dtype=np.float64)
    if np.isinf(values).any():
        raise ValueError("a cell is larger than a number can be")
    return clock, values.reshape(starts.size, width)


def _clock(cells: Bytes, starts: NDArray[np.intp]) -> FloatArray:
    """Seconds of the date-times that begin the rows; their places become zeros in `cells`."""
    commas = np.flatnonzero(cells == ord(","))
    if commas.size == 0:
        raise ValueError("no cells")
    ends = commas[np.minimum(np.searchsorted(commas, starts), commas.size - 1)]
    widths = ends - starts
    seconds = np.empty(starts.size)
    for width in np.unique(widths).tolist():
        if not PLAIN < width <= LONGEST_CELL:
            raise ValueError("not a date-time with an offset")
        rows = np.flatnonzero(widths == width)
        windows = np.lib.stride_tricks.sliding_window_view(cells, width, writeable=True)
        text = windows[starts[rows]]
        seconds[rows] = _plain_seconds(text) + _tail_seconds(text)
        windows[starts[rows]] = _ZERO[LONGEST_CELL - width :]
    return seconds


def _plain_seconds(text: Bytes) -> FloatArray:
    """Seconds of YYYY-MM-DDTHH:MM:SS; each different date is worked out once."""
    marks = text[:, [4, 7, 13, 16]] == _MARKS
    if not (marks.all() and np.isin(text[:, 10], _BETWEEN).all()):
        raise ValueError("not a date-time")
    clock = text[:, [11, 12, 14, 15, 17, 18]].astype(np.int32) - ord("0")
    hours, minutes, seconds = (clock[:, k] * 10 + clock[:, k + 1] for k in (0, 2, 4))
    if clock.min() < 0 or clock.max() > 9 or hours.max() > 23 or minutes.max() > 59:
        raise ValueError("not a time of day")
    if seconds.max() > 59:
        raise ValueError("a leap second, to be read with care")
    date = np.ascontiguousarray(text[:, :10])
    new = np.concatenate(([True], np.any(date[1:] != date[:-1], axis=1)))
    days = [np.datetime64(cell.tobytes().decode("ascii"), "D") for cell in date[new]]
    each = np.array(days).astype(np.int64)[np.cumsum(new) - 1]
    return np.asarray(each * 86_400.0 + hours * 3600 + minutes * 60 + seconds)


def _tail_seconds(text: Bytes) -> FloatArray:
    """Fraction less offset, worked out once for each run of equal endings."""
    ending = np.ascontiguousarray(text[:, PLAIN:])
    new = np.concatenate(([True], np.any(ending[1:] != ending[:-1], axis=1)))
    each = np.array([_tail(cell.tobytes()) for cell in ending[new]])
    return np.asarray(each[np.cumsum(new) - 1], dtype=np.float64)


def _tail(tail: bytes) -> float:
    match = _TAIL.fullmatch(tail)
    if match is None:
        raise ValueError("no offset")
    fraction = float(match[1] or 0.0)
    if match[2] in b"Zz":
        return fraction
    hours, minutes = int(match[2][1:3]), int(match[2][4:6])
    if hours > 23 or minutes > 59:
        raise ValueError("no such offset")
    offset = hours * 3600.0 + minutes * 60.0
    return fraction - (offset if match[2][:1] == b"+" else -offset)


def _careful(
    block: bytes, width: int, *, timed: bool, row: int, names: list[str]
) -> tuple[FloatArray, FloatArray]:
    """Cell by cell, with the place of what is wrong."""
    try:
        lines = list(csv.reader(io.StringIO(block.decode("utf-8")), strict=True))
    except (UnicodeDecodeError, csv.Error):
        raise _problem(f"rows from {row} on are not UTF-8 CSV") from None
    clock, values = np.zeros(len(lines)), np.zeros((len(lines), width))
    for index, cells in enumerate(lines):
        if len(cells) != width:
            raise _problem(f"row {row + index} has {len(cells)} cells, the header {width}")
        if timed:
            clock[index] = _moment(cells[0], row + index)
        for k in range(1 if timed else 0, width):
            values[index, k] = _number(cells[k], row + index, names[k])
    return clock, values


def _moment(cell: str, row: int) -> float:
    from pydantic import TypeAdapter, ValidationError

    try:
        return moment_seconds(TypeAdapter(Moment).validate_python(cell.strip()))
    except ValidationError:
        raise _problem(
            f"row {row}, column {TIME}: must be an RFC 3339 date-time with an offset"
        ) from None


def _number(cell: str, row: int, name: str) -> float:
    text = cell.strip()
    if not text:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or "_" in text:
        raise _problem(f"row {row}, column {name}: not a number")
    return value


def _cell(line: bytes, index: int) -> str:
    first = line.partition(b"\n")[0].split(b",")[index]
    return first.decode("utf-8", "replace").strip().strip('"')


def _problem(detail: str) -> ProblemError:
    return ProblemError(MALFORMED_CSV, detail, [field_error("", detail)])
