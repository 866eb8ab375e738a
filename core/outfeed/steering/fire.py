"""Is grain heating while it stands still?

A column or exhaust temperature that climbs while the discharge has stopped may be a fire. No
judgement of a setpoint goes before that. The thresholds are chosen low, because a false alarm
costs a look and a missed one a dryer; they have no published source. What to do is in the dryer's
manual and the emergency plan, not here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.methods import COMMON_PRACTICE, Method
from outfeed.steering.clean import COLUMN_READING

STOPPED_SHARE = 0.02
"""A discharge up to this share of its usual rate counts as stopped; chosen, no source."""

MISREAD_S = 600.0
"""An entry of the rate shorter than this may be misread; chosen, no source."""
MISREAD = 2.0
"""How many times both of its neighbours it then is [-]; chosen, no source."""
STROKES = 3
"""So many of them are strokes of a discharge that works by them; chosen, no source."""

RISE = 1.0
"""Rise since the stop that is called climbing [K]; chosen low, no source."""

SINGLE_RISE = 2.0
"""Rise of the last reading alone that is called climbing before another confirms it [K]; chosen."""

STOP_UNKNOWN_S = 1800.0
"""How far back a rise is sought when nobody says when the discharge stopped; chosen."""

LOOK_S = 300.0
"""Until the readings are looked at again in danger, five minutes; common practice, no source."""

FIRE_WATCH = Method(
    "steering.fire.climb-while-stopped",
    "column or exhaust temperature climbing while the discharge has stopped",
    "29 CFR 1910.272(p) asks that grain feed stops on excessive exhaust temperature; the rise "
    "that counts here is chosen low",
    COMMON_PRACTICE,
)
METHODS = (FIRE_WATCH,)


@dataclass(frozen=True, slots=True)
class Climb:
    """A temperature that climbs while no grain leaves.

    Attributes
    ----------
    where : str
        "column" or "exhaust".
    rise : float
        Rise since the discharge stopped [K].
    stopped_at_s : float
        When the discharge stopped [s], on the caller's clock.
    confirmed : bool
        Whether more than the last reading shows it.
    """

    where: str
    rise: float
    stopped_at_s: float
    confirmed: bool = True


RISE_GONE = 20.0
"""Rise of one of the last three readings that counts although a cooler one follows [K]; common
practice, no source."""

RISE_AFTER_FALL = 3.0
"""Rise from the lowest level since the stop that counts although the temperature fell first [K];
more than noise between two readings, common practice, no source."""


def usual_rate(lasted_s: ArrayLike, rates: ArrayLike) -> float:
    """The rate at which most grain left: its median by grain, so that no long trickle makes it.

    A misread minute of fifty times the rate lets as much grain out on paper as the hour about it:
    a short entry that stands far above both of its neighbours counts as the higher of them, unless
    there are several.

    Parameters
    ----------
    lasted_s : array_like
        How long each rate held [s], shape (n,), n at least 1.
    rates : array_like
        Discharge rates [kg/s], zero or above, in order of time, shape (n,).

    Returns
    -------
    float
        The rate [kg/s]; zero where none ever left.
    """
    lasted, flow = np.asarray(lasted_s, dtype=np.float64), np.asarray(rates, dtype=np.float64)
    level = flow.copy()
    beside = np.maximum(flow[:-2], flow[2:])
    misread = 1 + np.flatnonzero((lasted[1:-1] < MISREAD_S) & (flow[1:-1] > MISREAD * beside))
    if misread.size < STROKES:
        level[misread] = beside[misread - 1]
    order = np.argsort(level)
    left = np.cumsum((level * lasted)[order])
    if left[-1] <= 0.0:
        return float(np.max(level))
    return float(level[order][np.searchsorted(left, 0.5 * left[-1])])


def stopped_since(
    rate_times_s: ArrayLike,
    rates: ArrayLike,
    *,
    now_s: float | None = None,
    moving_above: float | None = None,
) -> float | None:
    """When the discharge stopped, if it stands still at the end of its log.

    Parameters
    ----------
    rate_times_s : array_like
        Times of the log [s], ascending, shape (n,).
    rates : array_like
        Discharge rates [kg/s], shape (n,).
    now_s : float, optional
        Time until which the last rate has held [s]; its own time when left out.
    moving_above : float, optional
        What must be exceeded for grain to move, in the unit of `rates`; when left out a fiftieth of
        the rate at which most grain left.

    Returns
    -------
    float or None
        Time of the stop [s]; None while grain leaves.
    """
    times = np.atleast_1d(np.asarray(rate_times_s, dtype=np.float64))
    flow = np.atleast_1d(np.asarray(rates, dtype=np.float64))
    if times.size == 0:
        return None
    if moving_above is None:
        until = times[-1] if now_s is None else max(now_s, float(times[-1]))
        moving_above = STOPPED_SHARE * usual_rate(np.diff(times, append=until), flow)
    still = flow <= moving_above
    if not still[-1]:
        return None
    moving = np.flatnonzero(~still)
    return float(times[0] if moving.size == 0 else times[moving[-1] + 1])


def climbing(
    where: str, times_s: ArrayLike, temperatures: ArrayLike, stopped_at_s: float
) -> Climb | None:
    """Whether a temperature has climbed since the discharge stopped.

    Parameters
    ----------
    where : str
        "column" or "exhaust".
    times_s : array_like
        Times [s], ascending, shape (n,).
    temperatures : array_like
        Temperatures as they were shown [degC], shape (n,); those colder than any sensor can give
        are left out, hotter ones are not.
    stopped_at_s : float
        When the discharge stopped [s].

    Returns
    -------
    Climb or None
        The climb from where it stood at the stop, or from the lowest level since; None when the
        temperature holds, falls, or has not been read since.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    values = np.atleast_1d(np.asarray(temperatures, dtype=np.float64))
    read = values >= COLUMN_READING.low
    times, values = times[read], values[read]
    since = values[times >= stopped_at_s]
    if since.size == 0:
        return None
    first = _first_level(values, times, stopped_at_s)
    # the lower of the last two: seen twice
    now = float(since[-2:].min())
    if since.size > 1 and now - first >= RISE:
        return Climb(where, now - first, stopped_at_s)
    lowest = lowest_kept(since[:-2])
    if now - lowest >= RISE_AFTER_FALL:
        return Climb(where, now - lowest, stopped_at_s)
    # a spike costs a look, a fire that was taken for one a dryer; a sensor that burns off reads low
    alone, gone = float(since[-1]) - first, float(since[-3:].max()) - first
    if alone >= SINGLE_RISE or gone >= RISE_GONE:
        return Climb(where, max(alone, gone), stopped_at_s, confirmed=False)
    return None


def lowest_kept(values: FloatArray) -> float:
    """The lowest level that two entries in a row show, so that one wrong entry makes none.

    Parameters
    ----------
    values : ndarray
        Temperatures or setpoints in order of time [degC], shape (n,).

    Returns
    -------
    float
        The level [degC]; infinite where there are fewer than two.
    """
    return float(np.maximum(values[1:], values[:-1]).min(initial=np.inf))


def _first_level(values: FloatArray, times: FloatArray, stopped_at_s: float) -> float:
    true = values <= COLUMN_READING.high
    if true.any():  # an open wire is no level to climb from
        times, values = times[true], values[true]
    before = values[times <= stopped_at_s]
    return float(np.median(before[-3:])) if before.size else float(values[0])
