"""Is a temperature still read?

A sensor that gives nothing leaves the readings before it to speak for a column that nobody sees:
neither setpoint nor gain is moved on them, and a fire would not show. A log that ends a little
before the other readings is no silent sensor, nor is one that is read by hand every hour.
"""

from __future__ import annotations

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.steering.fire import STOP_UNKNOWN_S

SILENT_S = STOP_UNKNOWN_S
"""A last reading this old tells nothing of now [s]: as far back as a rise is sought when a stop is
not timed; chosen, no source."""

SILENT_SPACINGS = 3.0
"""Usual spacings of the readings that must have passed as well [-]; chosen, no source."""

UNREAD = "column-not-read"  # as a reason for an advice


def silent_since(times_s: ArrayLike, temperatures: ArrayLike, now_s: float) -> float | None:
    """When a temperature was last read, if that is too long ago to tell of now.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings [degC], shape (n,); NaN means "no reading".
    now_s : float
        Time of asking [s].

    Returns
    -------
    float or None
        Time of the last reading [s]; None where it is no older than half an hour or than three
        usual spacings of the readings, or where there is no reading at all.
    """
    known = _read_at(times_s, temperatures)
    return float(known[-1]) if now_s > _until(known) else None


def speaks_until(times_s: ArrayLike, temperatures: ArrayLike) -> float:
    """Until when the readings of a temperature tell of now, if none is added.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings [degC], shape (n,); NaN means "no reading".

    Returns
    -------
    float
        Time after which `silent_since` calls it silent [s]; infinite where there is no reading.
    """
    return _until(_read_at(times_s, temperatures))


def _read_at(times_s: ArrayLike, temperatures: ArrayLike) -> FloatArray:
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    values = np.atleast_1d(np.asarray(temperatures, dtype=np.float64))
    return np.unique(times[np.isfinite(values)])


def _until(known: FloatArray) -> float:
    if known.size == 0:
        return float(np.inf)
    spacing = float(np.median(np.diff(known))) if known.size > 1 else 0.0
    return float(known[-1]) + max(SILENT_S, SILENT_SPACINGS * spacing)
