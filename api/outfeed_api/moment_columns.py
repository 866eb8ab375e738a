"""A column of date-times read at once.

A logger writes every date-time of a trace in one shape: "2025-10-14T13:20:00-05:00", the same
number of digits in each. Such a column is read as a table of characters, field by field. Whatever
is not of that shape, or names a day or an hour that does not exist, is left to the reader of
single date-times, which says what is wrong with which entry; so this one only ever says "not I".
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.int64]

FEWEST = 8  # entries from which a table pays
SHORTEST, LONGEST = 20, 32  # characters, from "...00Z" to six digits of a second and an offset
ZERO = ord("0")
SEPARATORS = {4: "-", 7: "-", 10: "T", 13: ":", 16: ":"}
FIELDS = ((0, 4), (5, 7), (8, 10), (11, 13), (14, 16), (17, 19))
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
DAYS_TO_1970 = 719_468  # from 1 March of the year 0
DAY_S, MICRO = 86_400, 1_000_000
MOST_FRACTION = 6  # digits; finer ones are cut off by the reader of single date-times


def column_seconds(texts: Sequence[object]) -> list[float] | None:
    """Seconds since 1970 of a column of date-times of one shape.

    Parameters
    ----------
    texts : sequence
        RFC 3339 date-times with an offset, or anything else.

    Returns
    -------
    list of float or None
        None when they are not all plain date-times of one shape.
    """
    if len(texts) < FEWEST or not all(type(text) is str for text in texts):
        return None
    length = len(str(texts[0]))
    joined = "".join(texts)  # type: ignore[arg-type]
    if not SHORTEST <= length <= LONGEST or not joined.isascii():
        return None
    if len(joined) != length * len(texts) or set(map(len, texts)) != {length}:  # type: ignore[arg-type]
        return None
    table = np.frombuffer(joined.encode(), dtype=np.uint8).reshape(len(texts), length)
    found = _seconds(table)
    return None if found is None else found.tolist()


def _seconds(table: NDArray[np.uint8]) -> NDArray[np.float64] | None:
    if not all(np.all(table[:, at] == ord(mark)) for at, mark in SEPARATORS.items()):
        return None
    found = [_number(table, start, stop) for start, stop in FIELDS]
    offset, end = _offset(table)
    if offset is None or any(field is None for field in found):
        return None
    fraction = _fraction(table[:, 19:end])
    if fraction is None:
        return None
    year, month, day, hour, minute, second = (field for field in found if field is not None)
    if not _exists(year, month, day, hour, minute, second):
        return None
    seconds = _days(year, month, day) * DAY_S + hour * 3600 + minute * 60 + second - offset
    return np.asarray(seconds + fraction / MICRO)


def _number(table: NDArray[np.uint8], start: int, stop: int) -> Numbers | None:
    """The number written in some columns; None unless all are digits."""
    digits = table[:, start:stop].astype(np.int64) - ZERO
    if np.any((digits < 0) | (digits > 9)):
        return None
    return np.asarray(digits @ 10 ** np.arange(stop - start - 1, -1, -1))


def _offset(table: NDArray[np.uint8]) -> tuple[Numbers | None, int]:
    """Offset in seconds, and where it begins; None when there is no plain one."""
    length = table.shape[1]
    if np.all(table[:, -1] == ord("Z")):
        return np.zeros(table.shape[0], dtype=np.int64), length - 1
    start = length - 6
    plus, minus = table[:, start] == ord("+"), table[:, start] == ord("-")
    if start < 19 or not np.all(plus | minus) or not np.all(table[:, start + 3] == ord(":")):
        return None, 0
    hours = _number(table, start + 1, start + 3)
    minutes = _number(table, start + 4, start + 6)
    if hours is None or minutes is None or np.any((hours > 23) | (minutes > 59)):
        return None, 0
    return np.where(plus, 1, -1) * (hours * 3600 + minutes * 60), start


def _fraction(table: NDArray[np.uint8]) -> Numbers | None:
    """Microseconds written after the second, none or one to six digits."""
    digits = table.shape[1] - 1
    if digits == -1:
        return np.zeros(table.shape[0], dtype=np.int64)
    if not 1 <= digits <= MOST_FRACTION or not np.all(table[:, 0] == ord(".")):
        return None
    number = _number(table, 1, digits + 1)
    return None if number is None else number * 10 ** (MOST_FRACTION - digits)


def _exists(
    year: Numbers, month: Numbers, day: Numbers, hour: Numbers, minute: Numbers, second: Numbers
) -> bool:
    """Whether every date is in the calendar; leap seconds are left to the other reader."""
    if np.any((month < 1) | (month > 12)):
        return False
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    longest = MONTH_DAYS[month - 1] + (leap & (month == 2))
    fits = (year >= 1) & (day >= 1) & (day <= longest) & (hour <= 23) & (minute <= 59)
    return bool(np.all(fits & (second <= 59)))


def _days(year: Numbers, month: Numbers, day: Numbers) -> Numbers:
    """Days since 1 January 1970 in the Gregorian calendar, years counted from March."""
    year = year - (month <= 2)
    of_year = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    return np.asarray(year * 365 + year // 4 - year // 100 + year // 400 + of_year - DAYS_TO_1970)
