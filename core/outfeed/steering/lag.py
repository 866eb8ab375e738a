"""Which column temperature does a discharge moisture belong to?

Grain needs time from the sensors in the column to the place where it is sampled. A discharge
moisture therefore belongs to the column temperature one *transport lag* earlier: the grain held
between sensors and sampling point over the discharge rate, integrated where the rate varies. All
functions here are book-keeping of plug flow; no published constant is involved but the half
transit that stands in for an unknown lag.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import MOMENT, SENSIBLE, Range
from outfeed.limits import TRANSIT as TRANSIT
from outfeed.methods import COMMON_PRACTICE, DERIVED, Method

LAG = Range("transport lag", 0.0, 12 * 3600.0, "s", SENSIBLE)
DISCHARGE_RATE = Range("discharge rate", 0.0, 200.0, "kg/s", SENSIBLE)
HELD_GRAIN = Range("grain held", 1.0, 1.0e6, "kg", SENSIBLE)

LAG_SHARE_OF_TRANSIT = 0.5
"""Lag from the lower heated column to the discharge as a share of transit; common practice says
half a transit to a whole one, and the column model puts the sensors at about half."""

LONGEST_GAP_S = 1800.0
"""A column temperature is not interpolated across a longer hole than this; chosen, no source."""

AVERAGING_SHARE = 1.75
"""Width of the mean column temperature a reading is matched to, as a share of the lag: nearly the
whole transit, because a change of rate acts on all grain in the column; chosen on simulated
dryers, where anything from 1 to 2 does nearly as well."""

PLUG_FLOW = Method(
    "steering.lag.plug-flow",
    "discharge moisture matched to the column temperature one transport lag earlier",
    "plug flow: the integral of discharge since passage equals the grain held below the sensors",
    DERIVED,
)
HALF_TRANSIT = Method(
    "steering.lag.half-transit",
    "transport lag taken as half a transit",
    "outlet moisture belongs to the column temperature of half a transit to a transit earlier",
    COMMON_PRACTICE,
)
METHODS = (PLUG_FLOW, HALF_TRANSIT)


@dataclass(frozen=True, slots=True)
class Passage:
    """When sampled grain passed the column sensors.

    Attributes
    ----------
    times_s : ndarray
        Time of passage [s], on the caller's clock.
    covered : ndarray of bool
        Whether the rate log reaches back that far; where not, its first rate was taken to hold
        before it begins.
    """

    times_s: FloatArray
    covered: BoolArray


@dataclass(frozen=True, slots=True)
class Matched:
    """Column temperatures that belong to discharge samples.

    Attributes
    ----------
    temperatures : ndarray
        Mean column temperature about the time of passage [degC]; where `found` is false the
        nearest recorded one, not to be used.
    spreads : ndarray
        Standard deviation of the column temperature over the same window [K].
    found : ndarray of bool
        Whether the record covers the time of passage without a long hole.
    """

    temperatures: FloatArray
    spreads: FloatArray
    found: BoolArray


def flow_since_start(rate_times_s: ArrayLike, rates: ArrayLike, at_s: ArrayLike) -> FloatArray:
    """Grain discharged since the start of a rate log in which each rate holds until the next.

    Parameters
    ----------
    rate_times_s : array_like
        Times of the entries [s], ascending, shape (n,).
    rates : array_like
        Discharge rate from each entry on [kg/s], shape (n,), 0 to 200.
    at_s : array_like
        Times asked for [s]; before the log its first rate is taken to have held.

    Returns
    -------
    ndarray
        Grain discharged [kg], negative before the log begins, shape of `at_s`.

    Raises
    ------
    OutOfRange
        A rate outside its range, or a time of the log that is no number.
    Inconsistent
        No entries, unequal lengths, or times that do not ascend.
    """
    times, flow = _rate_log(rate_times_s, rates)
    at = np.asarray(at_s, dtype=np.float64)
    index = np.clip(np.searchsorted(times, at, side="right") - 1, 0, times.size - 1)
    before = np.concatenate(([0.0], np.cumsum(flow[:-1] * np.diff(times))))
    result = before[index] + flow[index] * (at - times[index])
    return np.asarray(result[()])


def passage_times(
    sample_times_s: ArrayLike, rate_times_s: ArrayLike, rates: ArrayLike, held: float
) -> Passage:
    """When the grain sampled at the discharge passed a point upstream.

    Parameters
    ----------
    sample_times_s : array_like
        Times of sampling [s], shape (k,).
    rate_times_s, rates : array_like
        Rate log, each rate [kg/s] holding until the next entry, shape (n,).
    held : float
        Grain held between that point and the sampling point [kg], 1 to 1e6.

    Returns
    -------
    Passage
        Times and whether the log reaches back to them, shape (k,).

    Raises
    ------
    OutOfRange
        A rate or the held grain outside its range.
    Inconsistent
        A log that is empty, out of order, or stands still throughout.
    """
    HELD_GRAIN.check(held, "held")
    times, flow = _rate_log(rate_times_s, rates)
    if not np.any(flow > 0):
        raise Inconsistent("the discharge stood still throughout the rate log", "rates")
    wanted = np.atleast_1d(flow_since_start(times, flow, sample_times_s)) - held
    passed = np.concatenate(([0.0], np.cumsum(flow[:-1] * np.diff(times))))
    # the last entry from which the wanted amount is still ahead: skips standstills
    index = np.clip(np.searchsorted(passed, wanted, side="left") - 1, 0, times.size - 1)
    moving = flow[index] > 0
    first_rate = float(flow[flow > 0][0])
    speed = np.where(moving, flow[index], first_rate)
    inside = times[index] + (wanted - passed[index]) / speed
    covered = wanted >= 0
    return Passage(np.where(covered, inside, times[0] + wanted / first_rate), covered)


def match_column(
    passage_s: ArrayLike,
    column_times_s: ArrayLike,
    column_temperatures: ArrayLike,
    *,
    window_s: float,
    longest_gap_s: float = LONGEST_GAP_S,
) -> Matched:
    """Mean column temperature about each time of passage.

    Parameters
    ----------
    passage_s : array_like
        Times at which the sampled grain passed the sensors [s], shape (k,).
    column_times_s : array_like
        Times of the column temperatures [s], ascending, shape (n,), two or more.
    column_temperatures : array_like
        Column temperatures [degC], shape (n,).
    window_s : float
        Width of the mean [s], above 0.
    longest_gap_s : float
        Longest hole in the record that is bridged [s].

    Returns
    -------
    Matched
        Temperatures and whether they could be found, shape (k,).

    Raises
    ------
    Inconsistent
        Fewer than two temperatures, unequal lengths, or times that do not ascend.
    """
    times, values = _trace(column_times_s, column_temperatures)
    passage = np.atleast_1d(np.asarray(passage_s, dtype=np.float64))
    start = np.clip(passage - window_s / 2, times[0], times[-1])
    end = np.clip(passage + window_s / 2, times[0], times[-1])
    steps = np.diff(times)
    middle = float(np.median(values))  # squares of deviations keep their digits
    mean = middle + _mean_between(start, end, times, values - middle)
    square = _mean_between(start, end, times, (values - middle) ** 2)
    spread = np.sqrt(np.maximum(square - (mean - middle) ** 2, 0.0))
    index = np.clip(np.searchsorted(times, passage, side="right") - 1, 0, steps.size - 1)
    inside = (passage >= times[0]) & (passage <= times[-1])
    return Matched(mean, spread, inside & (steps[index] <= longest_gap_s))


def _mean_between(
    start: FloatArray, end: FloatArray, times: FloatArray, values: FloatArray
) -> FloatArray:
    """Mean of the polyline from `start` to `end`; its value where they coincide."""
    area = np.concatenate(([0.0], np.cumsum(np.diff(times) * (values[1:] + values[:-1]) / 2)))
    width = end - start
    safe = np.where(width > 0, width, 1.0)
    mean = (_area_at(end, times, values, area) - _area_at(start, times, values, area)) / safe
    return np.where(width > 0, mean, np.interp(start, times, values))


def _area_at(at: FloatArray, times: FloatArray, values: FloatArray, area: FloatArray) -> FloatArray:
    """Integral of the polyline from its start to `at`."""
    index = np.clip(np.searchsorted(times, at, side="right") - 1, 0, times.size - 2)
    step = at - times[index]
    slope = (values[index + 1] - values[index]) / (times[index + 1] - times[index])
    return np.asarray(area[index] + step * (values[index] + slope * step / 2))


def _rate_log(rate_times_s: ArrayLike, rates: ArrayLike) -> tuple[FloatArray, FloatArray]:
    times = np.atleast_1d(MOMENT.check(rate_times_s, "rate_times_s"))
    flow = np.atleast_1d(DISCHARGE_RATE.check(rates, "rates"))
    if times.size == 0 or times.shape != flow.shape:
        raise Inconsistent("a rate log needs one rate for every time", "rates")
    if np.any(np.diff(times) <= 0):
        raise Inconsistent("the times of the rate log do not ascend", "rate_times_s")
    return times, flow


def _trace(
    column_times_s: ArrayLike, column_temperatures: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    times = np.atleast_1d(np.asarray(column_times_s, dtype=np.float64))
    values = np.atleast_1d(np.asarray(column_temperatures, dtype=np.float64))
    if times.size < 2 or times.shape != values.shape:
        raise Inconsistent(
            "column temperatures need two or more entries, one for every time",
            "column_temperatures",
        )
    if np.any(np.diff(times) <= 0):
        raise Inconsistent("the column times do not ascend", "column_times_s")
    return times, values
