"""Readings that no sensor in a dryer can give, and whether they may be those of a fire.

An open wire, a short circuit or a burst of interference makes a transmitter send the end of its
scale, a register full of ones or a row of nines. One such reading between calm neighbours is the
signal's, for no grain heats up and cools down again between two readings. Several in a row, or one
that a climb leads up to, may be a fire that burnt the sensor; so may one at the very end, which
`outfeed.steering.runaway` takes for real.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.limits import BROKEN, BROKEN_OR_FIRE
from outfeed.steering.clean import COLUMN_READING
from outfeed.steering.runaway import CLIMBED, WINDOW_S


@dataclass(frozen=True, slots=True)
class Impossible:
    """Readings outside what a sensor in a dryer can give.

    Attributes
    ----------
    readings : int
        Readings taken in all.
    hot, cold : int
        How many of them are too hot, and too cold.
    alone : bool
        Whether each of the hot ones stands between calm neighbours.
    """

    readings: int
    hot: int
    cold: int
    alone: bool

    @property
    def means(self) -> str:
        """What they may mean, in words."""
        return BROKEN_OR_FIRE if self.hot else BROKEN

    @property
    def may_burn(self) -> bool:
        """Whether they may be those of a fire."""
        return self.hot > 0 and not self.alone


def impossible_readings(times_s: ArrayLike, temperatures: ArrayLike) -> Impossible | None:
    """Count the readings of a trace that no sensor in a dryer can give.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings as they were shown [degC], shape (n,); NaN means "no reading".

    Returns
    -------
    Impossible or None
        None where every reading lies within -40 to 600 degC.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    values = np.atleast_1d(np.asarray(temperatures, dtype=np.float64))
    order = np.argsort(times, kind="stable")
    order = order[~np.isnan(values[order])]
    times, values = times[order], values[order]
    hot, cold = values > COLUMN_READING.high, values < COLUMN_READING.low
    if not (hot.any() or cold.any()):
        return None
    alone = bool(np.all(stands_alone(times, values)[hot]))
    return Impossible(values.size, int(hot.sum()), int(cold.sum()), alone)


def stands_alone(times_s: FloatArray, temperatures: FloatArray) -> BoolArray:
    """Which readings have calm neighbours: possible ones, to which nothing climbed.

    Parameters
    ----------
    times_s : ndarray
        Times of the readings, ascending [s], shape (n,).
    temperatures : ndarray
        Readings [degC], shape (n,), none of them NaN.

    Returns
    -------
    ndarray of bool
        Shape (n,); False of the last reading, for nobody knows what follows it, where a neighbour
        is more than half an hour away, and where one stands 3 K above the level half an hour
        before it.
    """
    possible = COLUMN_READING.contains(temperatures)
    alone = np.zeros(temperatures.shape, dtype=np.bool_)
    if not possible.any():
        return alone
    known = np.flatnonzero(possible)
    before = np.searchsorted(times_s[known], times_s - WINDOW_S, side="right") - 1
    level = temperatures[known][np.maximum(before, 0)]
    calm = possible & (temperatures - level < CLIMBED)
    near = np.diff(times_s) <= WINDOW_S
    alone[0] = True  # it has one neighbour only
    alone[1:] = calm[:-1] & near
    alone[:-1] &= calm[1:] & near
    alone[-1] = False
    return alone
