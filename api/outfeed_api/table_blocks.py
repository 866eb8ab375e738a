"""Whole blocks of plain CSV lines read at once: the characters of a cell as one machine word.

A cell of at most eight characters is loaded, right-aligned, into a 64-bit word; the decimal point
is squeezed out and the digits are summed by three multiplications, for all cells of a column at a
time. The integer and the power of ten are both exact, so their quotient is the nearest double, as
`float` gives it. Longer cells go through a JSON parser. Whatever is not that plain raises
ValueError, and the caller reads the block cell by cell.
"""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache

import jiter
import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import BoolArray, FloatArray

WORD = 8  # characters of a machine word
PLAIN = 19  # characters of YYYY-MM-DDTHH:MM:SS
LONGEST_TAIL = 16  # characters of .123456789+00:00
LONGEST_CELL = 40
DAY = 86_400.0  # s
EPOCH = date(1970, 1, 1).toordinal()

_DATE = re.compile(rb"\d{4}-\d\d-\d\d")
_TAIL = re.compile(rb"(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)")
_NUMBERS = b"0123456789+-.eE,"
_POWERS = 10.0 ** np.arange(WORD)


def _every(byte: int) -> np.uint64:
    """A word of eight equal bytes."""
    return np.uint64(byte * 0x0101010101010101)


_ZEROS = _every(ord("0"))
_POINT = _every(ord("0") ^ ord("."))
_LOW_BITS = _every(0x7F)
_PAST_NINE = _every(0x7F - 9)
_CLOCK_DIGITS = np.uint64(0x0F0F000F0F000000)  # of "01T23:59": hours and minutes
_CLOCK_MARK = np.uint64(0x0000FF0000000000)
_SECOND_DIGITS = np.uint64(0x00000000000F0F00)  # of ":59+00:0"
_SECOND_MARK = np.uint64(0x00000000000000FF)

Bytes = NDArray[np.uint8]
Words = NDArray[np.uint64]
Places = NDArray[np.intp]


def read_block(block: bytes, width: int, *, timed: bool) -> tuple[FloatArray, FloatArray]:
    """All cells of a block of lines.

    Parameters
    ----------
    block : bytes
        Lines without the last line end.
    width : int
        Cells a line.
    timed : bool
        Whether the first cell is a date-time; its column of values is then zero.

    Returns
    -------
    tuple of ndarray
        Seconds since 1970, shape (lines,), zero where not timed, and values, shape
        (width, lines), NaN where a cell is empty.

    Raises
    ------
    ValueError
        The block is not plain: quotes, spaces, other cells than numbers, ragged lines.
    """
    around = b"0" * 2 * WORD
    cells = np.frombuffer(around + block + b"\n" + around, np.uint8)
    starts, ends = _places(cells, width)
    values = np.zeros((width, starts.shape[1]))
    clock = np.zeros(starts.shape[1])
    first = 0
    if timed:
        clock = _clock(cells, starts[0], ends[0])
        first = 1
    for k in range(first, width):
        values[k] = _numbers(cells, starts[k], ends[k])
    return clock, values


def bare(block: bytes) -> bytes:
    """A block without quotes around whole cells and without a space beside a comma.

    Parameters
    ----------
    block : bytes
        Lines without the last line end.

    Returns
    -------
    bytes
        The same cells, to be read at once.

    Raises
    ------
    ValueError
        Quotes that do not enclose whole cells.
    """
    cells = np.frombuffer(b"\n" + block + b"\n", np.uint8)
    quotes = np.flatnonzero(cells == ord('"'))
    opening, closing = quotes[0::2], quotes[1::2]
    ends = (cells == ord(",")) | (cells == ord("\n"))
    if opening.size != closing.size or not (ends[opening - 1] & ends[closing + 1]).all():
        raise ValueError("quotes do not enclose whole cells")
    cell = np.cumsum(ends)
    if (cell[opening] != cell[closing]).any():
        raise ValueError("a quoted cell holds a comma or a line end")
    plain = np.delete(cells, quotes)[1:-1].tobytes() if quotes.size else block
    return plain.replace(b", ", b",").replace(b" ,", b",")


def _places(cells: Bytes, width: int) -> tuple[Places, Places]:
    """Where each cell begins and ends, shape (width, lines)."""
    found = np.flatnonzero((cells == ord(",")) | (cells == ord("\n")))
    if found.size % width:
        raise ValueError("a row has another number of cells")
    ends = np.ascontiguousarray(found.reshape(-1, width).T)
    if (cells[ends[-1]] != ord("\n")).any() or (cells[ends[:-1]] != ord(",")).any():
        raise ValueError("a row has another number of cells")
    starts = np.empty_like(ends)
    starts[1:] = ends[:-1] + 1
    starts[0, 0] = 2 * WORD
    starts[0, 1:] = ends[-1, :-1] + 1
    return starts, ends


def _numbers(cells: Bytes, starts: Places, ends: Places) -> FloatArray:
    """The numbers of one column."""
    minus = cells[starts] == ord("-")
    lengths = ends - starts - minus
    if lengths.max(initial=0) > WORD:
        return _long_numbers(cells, starts, ends)
    if (minus & (lengths == 0)).any():
        raise ValueError("a sign without a number")
    words = _words(cells, ends, lengths)
    digits, decimals, dots = _without_point(words)
    if (dots & (lengths == 1)).any():
        raise ValueError("a point without a number")
    values = _integer(digits) / _POWERS[decimals]
    np.negative(values, out=values, where=minus)
    values[lengths == 0] = np.nan
    return values


def _load(cells: Bytes, at: Places) -> Words:
    """Eight characters from each place on, the first in the lowest byte."""
    every = np.ndarray((cells.size - WORD + 1,), "V8", buffer=cells.data, strides=(1,))
    return every[at].view("<u8")


def _words(cells: Bytes, ends: Places, lengths: Places) -> Words:
    """The last `lengths` characters before each end, digits as 0 to 9, nothing else."""
    words = _load(cells, ends - WORD) ^ _ZEROS
    full = lengths > 0
    clear = ((WORD - lengths) * full * WORD).astype(np.uint64)
    return ((words >> clear) << clear) * full


def _without_point(words: Words) -> tuple[Words, Places, BoolArray]:
    """Words without their decimal point, how many digits stood after it, and whether it stood."""
    other = words ^ _POINT
    marks = ~(((other & _LOW_BITS) + _LOW_BITS) | other | _LOW_BITS) >> np.uint64(7)
    dots = marks > 0
    before = marks - np.uint64(1)
    if (marks & before).any():
        raise ValueError("two points in a number")
    after = ~(before | marks * np.uint64(0xFF))
    digits = ((words & before) << (dots * np.uint64(WORD))) | (words & after)
    if ((digits | (digits + _PAST_NINE)) & ~_LOW_BITS).any():
        raise ValueError("a cell is not a plain number")
    decimals = (marks * np.uint64(0x0706050403020100)) >> np.uint64(56)
    return digits, decimals.astype(np.intp), dots


def _integer(digits: Words) -> FloatArray:
    """The eight digits of each word as one integer."""
    pairs = digits * np.uint64(10) + (digits >> np.uint64(8))
    odd = np.uint64(0x000000FF000000FF)
    high = (pairs & odd) * np.uint64(0x000F424000000064)
    low = ((pairs >> np.uint64(16)) & odd) * np.uint64(0x0000271000000001)
    return ((high + low) >> np.uint64(32)).astype(np.float64)


def _long_numbers(cells: Bytes, starts: Places, ends: Places) -> FloatArray:
    """Numbers of any length, as JSON reads them."""
    text = cells.tobytes()
    parts = [
        text[start:end] or b"null"
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True)
    ]
    joined = b",".join(parts)
    if joined.replace(b"null", b"").translate(None, _NUMBERS):
        raise ValueError("a cell is not a plain number")
    values = np.array(jiter.from_json(b"[" + joined + b"]", cache_mode="none"), dtype=np.float64)
    if np.isinf(values).any():
        raise ValueError("a cell is larger than a number can be")
    return values


def _clock(cells: Bytes, starts: Places, ends: Places) -> FloatArray:
    """Seconds since 1970 of date-times with an offset."""
    tails = ends - starts - PLAIN
    if tails.min() < 1 or tails.max() > LONGEST_TAIL:
        raise ValueError("not a date-time with an offset")
    minute = _load(cells, starts + 8) ^ _ZEROS
    second = _load(cells, starts + 16) ^ _ZEROS
    seconds = _days(cells, starts, minute) * DAY
    seconds += _time_of_day(minute, second)
    return seconds + _tail_seconds(cells, ends, tails)


def _days(cells: Bytes, starts: Places, minute: Words) -> FloatArray:
    """Days since 1970; each date is worked out once where it begins."""
    month = _load(cells, starts)
    day = minute & np.uint64(0xFFFF)
    new = _changes(month, day)
    each = [_day(cells[at : at + 10].tobytes()) for at in starts[new].tolist()]
    return np.asarray(np.array(each)[np.cumsum(new) - 1], dtype=np.float64)


def _changes(*words: Words) -> BoolArray:
    """Where one of these differs from the row before; always in the first row."""
    new = np.ones(words[0].size, dtype=np.bool_)
    new[1:] = np.logical_or.reduce([word[1:] != word[:-1] for word in words])
    return new


def _day(text: bytes) -> float:
    if _DATE.fullmatch(text) is None:
        raise ValueError("not a date")
    return float(date.fromisoformat(text.decode("ascii")).toordinal() - EPOCH)


def _time_of_day(minute: Words, second: Words) -> FloatArray:
    """Seconds since midnight from the words of "01T23:59" and ":59+00:0", zeros taken off."""
    marks = _mark(minute, _CLOCK_MARK, 40, ":") & _mark(second, _SECOND_MARK, 0, ":")
    marks &= np.logical_or.reduce([_mark(minute, np.uint64(0xFF0000), 16, c) for c in "Tt "])
    clock, rest = minute & _CLOCK_DIGITS, second & _SECOND_DIGITS
    whole = np.uint64(0xFFFF00FFFF000000), np.uint64(0xFFFF00)
    if not marks.all() or (clock != minute & whole[0]).any() or (rest != second & whole[1]).any():
        raise ValueError("not a time of day")
    pairs = clock * np.uint64(10) + (clock >> np.uint64(8))
    hours, minutes = (_two(pairs, clock, at) for at in (24, 48))
    seconds = _two(rest * np.uint64(10) + (rest >> np.uint64(8)), rest, 8)
    if hours.max() > 23 or minutes.max() > 59 or seconds.max() > 59:
        raise ValueError("not a time of day, or a leap second")
    return np.asarray(hours * 3600.0 + minutes * 60.0 + seconds)


def _mark(words: Words, mask: np.uint64, shift: int, mark: str) -> BoolArray:
    return np.asarray((words & mask) == np.uint64((ord(mark) ^ ord("0")) << shift))


def _two(pairs: Words, digits: Words, shift: int) -> FloatArray:
    """The number of two digits that begins `shift` bits up; ValueError for a digit past nine."""
    both = (digits >> np.uint64(shift)) & np.uint64(0xFFFF)
    if ((both + np.uint64(0x7676)) & np.uint64(0x8080)).any():
        raise ValueError("not a digit")
    return ((pairs >> np.uint64(shift)) & np.uint64(0xFF)).astype(np.float64)


def _tail_seconds(cells: Bytes, ends: Places, tails: Places) -> FloatArray:
    """Fraction less offset, worked out once for each run of equal endings."""
    last = _words(cells, ends, np.minimum(tails, WORD))
    before = _words(cells, ends - WORD, np.maximum(tails - WORD, 0))
    new = _changes(last, before, tails.astype(np.uint64))
    places = zip((ends - tails)[new].tolist(), ends[new].tolist(), strict=True)
    each = [_tail(cells[start:end].tobytes()) for start, end in places]
    return np.asarray(np.array(each)[np.cumsum(new) - 1], dtype=np.float64)


@lru_cache(maxsize=4096)
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
