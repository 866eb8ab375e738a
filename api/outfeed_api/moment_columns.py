"""A column of date-times read at once.

A logger writes every date-time of a trace in one shape: "2025-10-14T13:20:00-05:00", the same
number of digits in each. NumPy reads such a column as a whole and refuses days and hours that do
not exist. Whatever is not of that shape is left to the reader of single date-times, which says
what is wrong with which entry; so this one only ever says "not I".
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

FEWEST = 8  # entries from which a column pays
MICRO = 1_000_000
FIRST_YEAR, LAST_YEAR = 1900, 2999
"""Years of a date-time: no log is older, and sums of times stay inside the calendar."""

_DIGITS = bytes.maketrans(b"123456789", b"000000000")
_SHAPE = re.compile(rb"0000-00-00T00:00:00(\.0{1,6})?(Z|[+-]00:00)")


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
    joined, first = "".join(texts), str(texts[0])  # type: ignore[arg-type]
    if not joined.isascii():
        return None
    characters, shape = joined.encode(), first.encode().translate(_DIGITS)
    written = _SHAPE.fullmatch(shape)
    if written is None or characters.translate(_DIGITS) != shape * len(texts):
        return None
    table = np.frombuffer(characters, np.uint8).reshape(len(texts), len(shape))
    try:
        clocks = _cut(table[:, : written.start(2)]).astype("datetime64[us]")
        offsets, which = np.unique(_cut(table[:, written.start(2) :]), return_inverse=True)
        ahead = np.array([_microseconds(offset) for offset in offsets.tolist()])
    except ValueError:
        return None
    years = clocks.astype("datetime64[Y]").astype(np.int64) + 1970
    if years.min() < FIRST_YEAR or years.max() > LAST_YEAR:
        return None
    # Seconds apart from their fraction: microseconds of a far year are past what a float holds.
    whole, rest = np.divmod(clocks.astype(np.int64) - ahead[which], MICRO)
    found: list[float] = (whole + rest / MICRO).tolist()
    return found


def _cut(table: NDArray[np.uint8]) -> NDArray[np.bytes_]:
    """The rows of a table of characters, each as one text."""
    return np.ascontiguousarray(table).view(f"S{table.shape[1]}")[:, 0]


def _microseconds(offset: bytes) -> int:
    """How far clocks of an offset are ahead of universal time."""
    clock = datetime.fromisoformat(f"1970-01-01T00:00:00{offset.decode()}")
    return (clock.utcoffset() or timedelta()) // timedelta(microseconds=1)
