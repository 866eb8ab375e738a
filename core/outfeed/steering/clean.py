"""Cleaning a temperature trace before it is judged.

A trace from a dryer carries readings no column can have, single spikes, holes, a sensor that
stopped answering, and a setpoint that was moved half-way. Each is found here, counted, and kept
away from the judgement. Spikes follow Hampel's identifier [1]_; the rest is plain book-keeping.

References
----------
.. [1] Hampel, F. R. (1974). The influence curve and its role in robust estimation.
   Journal of the American Statistical Association 69, 383-393; as a moving-window filter in
   Pearson, R. K. (2002), IEEE Transactions on Control Systems Technology 10, 55-63.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import RECALLED, Method

COLUMN_READING = Range("column temperature reading", -40.0, 200.0, "degC", SENSIBLE)
SAMPLES = Range("number of readings", 2, 100_000, "", SENSIBLE)
TRACE_LENGTH = Range("length of the trace", 0.0, 7 * 86_400.0, "s", SENSIBLE)

MAD_TO_SD = 1.4826  # standard deviation of a normal over its median absolute deviation
HAMPEL_HALF_WIDTH = 3  # readings on each side
HAMPEL_THRESHOLD = 5.0  # robust standard deviations
LONGEST_SPIKE = 2  # readings; a longer excursion is the process, not the sensor
GAP_FACTOR = 4.0  # an interval this many times the usual one is a gap
SHORTEST_GAP_S = 120.0
FROZEN_MINIMUM_S = 900.0  # a run of one value is not looked at before this
FROZEN_MINIMUM_READINGS = 8
# A run less likely than this is not chance; coarse readings stay put in clusters, fine ones not.
LOG_CHANCE_FINE = math.log(1e-3)
LOG_CHANCE_COARSE = math.log(1e-5)
RESTLESS = 0.45  # noise over the step of the readings at which each reading flickers
FINE_K = 0.15  # step of the readings at which even a quiet column flickers
RATIO_RESTLESS = 2.0  # frozen run over the longest other run of one value
RATIO_QUIET = 5.0
COARSE_STEPS_K = (1.0, 1.0 / 1.8, 0.5, 0.5 / 1.8)  # whole and half degrees of both scales
ON_GRID = 0.01  # of a step
SETPOINT_STEP_K = 0.05  # a smaller change is rounding

METHODS = (
    Method(
        "steering.hampel",
        "Spikes in a trace",
        "Hampel (1974), J. Am. Stat. Assoc. 69, 383-393; Pearson (2002), IEEE Trans. Control "
        "Syst. Technol. 10, 55-63",
        RECALLED,
        note="Moving median of seven readings, five robust standard deviations, at most two "
        "readings in a row.",
    ),
)


@dataclass(frozen=True, slots=True)
class CleanTrace:
    """A trace fit to be judged.

    Attributes
    ----------
    times : ndarray
        Times of the readings kept, rising [s].
    values : ndarray
        Readings kept [degC].
    setpoint : ndarray
        Setpoint at each of them [degC].
    since_setpoint : int
        Index of the first reading after the last change of the setpoint.
    resolution : float
        Smallest step between readings [K]; zero when none shows.
    impossible, spikes, gaps : int
        Readings no sensor in a column can give, spikes removed, holes in time.
    gap_seconds : float
        Total length of the holes [s].
    frozen_seconds : float
        Time the sensor gave one and the same value though the process moved [s].
    frozen_at_end : bool
        Whether it was still frozen at the last reading.
    """

    times: FloatArray
    values: FloatArray
    setpoint: FloatArray
    since_setpoint: int
    resolution: float
    impossible: int
    spikes: int
    gaps: int
    gap_seconds: float
    frozen_seconds: float
    frozen_at_end: bool

    @property
    def error(self) -> FloatArray:
        """Reading minus setpoint [K]."""
        return self.values - self.setpoint


def clean_trace(times_s: ArrayLike, values: ArrayLike, setpoint: ArrayLike) -> CleanTrace:
    """Sort a trace, drop what cannot be true and count it.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any origin, any order [s].
    values : array_like
        Readings [degC]; NaN means "no reading".
    setpoint : array_like
        Setpoint, one value or one per reading [degC].

    Returns
    -------
    CleanTrace
        What is left, with the counts of what is not.

    Raises
    ------
    Inconsistent
        Lengths that differ.
    OutOfRange
        Fewer than two or more than 100,000 readings, a time or setpoint that is no number,
        or a trace of more than seven days.
    """
    times, readings, target = _checked(times_s, values, setpoint)
    possible = COLUMN_READING.contains(readings)
    impossible = int(np.count_nonzero(~possible & ~np.isnan(readings)))
    times, readings, target = _one_reading_per_time(
        times[possible], readings[possible], target[possible]
    )
    if times.size == 0:
        empty = np.empty(0)
        return CleanTrace(empty, empty, empty, 0, 0.0, impossible, 0, 0, 0.0, 0.0, False)
    resolution = reading_resolution(readings)
    spike = find_spikes(readings, resolution)
    times, readings, target = times[~spike], readings[~spike], target[~spike]
    frozen_from, frozen_to = find_frozen(times, readings, resolution)
    gaps, gap_seconds = find_gaps(times)
    return CleanTrace(
        times,
        readings,
        target,
        _last_setpoint_change(target),
        resolution,
        impossible,
        int(np.count_nonzero(spike)),
        gaps,
        gap_seconds,
        float(times[frozen_to] - times[frozen_from]),
        frozen_to > frozen_from and frozen_to == times.size - 1,
    )


def reading_resolution(values: FloatArray) -> float:
    """Smallest step in which a trace moves, when it moves in steps.

    Parameters
    ----------
    values : ndarray
        Readings [degC].

    Returns
    -------
    float
        The step [K]; zero when the readings take too many values for a step to be seen.
    """
    levels = np.unique(np.round(values, 6))
    if levels.size < 2:
        return _step_of_one_value(float(levels[0]))
    step = float(np.min(np.diff(levels)))
    whole = np.diff(levels) / step
    on_grid = np.mean(np.abs(whole - np.round(whole)) < 0.02)
    return step if on_grid > 0.98 and levels.size < max(values.size / 2, 3) else 0.0


def _step_of_one_value(value: float) -> float:
    """The coarsest usual step on which a lone value lies [K]; zero when on none."""
    for step in COARSE_STEPS_K:
        if abs(value / step - round(value / step)) < ON_GRID:
            return step
    return 0.0


def find_spikes(values: FloatArray, resolution: float = 0.0) -> BoolArray:
    """Readings that stand alone, by Hampel's identifier in a moving window.

    Parameters
    ----------
    values : ndarray
        Readings in order of time [degC].
    resolution : float
        Step of the readings [K].

    Returns
    -------
    ndarray of bool
        True where a reading is a spike. A run longer than two readings is never one.
    """
    width = 2 * HAMPEL_HALF_WIDTH + 1
    spike = np.zeros(values.size, dtype=np.bool_)
    if values.size < width:
        return spike
    padded = np.pad(values, HAMPEL_HALF_WIDTH, mode="reflect")
    windows = np.array([padded[shift : shift + values.size] for shift in range(width)])
    middle = _middle_row(windows)
    deviation = np.abs(values - middle)
    scale = _middle_row(np.abs(windows - middle))
    # One MAD of seven readings is too unsteady to judge by: the trace's own is its floor.
    floor = max(float(np.median(scale)), resolution / 2, 1e-3)
    suspect = deviation > HAMPEL_THRESHOLD * MAD_TO_SD * np.maximum(scale, floor)
    for start, stop in _runs(suspect):
        if stop - start <= LONGEST_SPIKE:
            spike[start:stop] = True
    return spike


def find_frozen(times: FloatArray, values: FloatArray, resolution: float) -> tuple[int, int]:
    """Longest stretch in which the sensor did not answer.

    A run of one value proves nothing by itself: a coarse reading of a quiet column stays put.
    It is taken as frozen when it is long and the rest of the trace moves so much that the same
    reading would not have come back by chance.

    Parameters
    ----------
    times : ndarray
        Times, rising [s].
    values : ndarray
        Readings [degC].
    resolution : float
        Step of the readings [K]; zero when none shows.

    Returns
    -------
    tuple of int
        First and last index of the frozen stretch; equal when there is none.
    """
    same = np.abs(np.diff(values)) < 1e-9
    best = (0, 0)
    for start, stop in _runs(same):
        if times[stop] - times[start] > times[best[1]] - times[best[0]]:
            best = (start, stop)
    start, stop = best
    length = float(times[stop] - times[start])
    if length < FROZEN_MINIMUM_S or stop - start + 1 < FROZEN_MINIMUM_READINGS:
        return 0, 0
    return best if _too_long_to_be_chance(times, values, best, resolution) else (0, 0)


def _too_long_to_be_chance(
    times: FloatArray, values: FloatArray, run: tuple[int, int], resolution: float
) -> bool:
    start, stop = run
    length = float(times[stop] - times[start])
    same = np.abs(np.diff(values)) < 1e-9
    others = [(a, b) for a, b in _runs(same) if (a, b) != (start, stop)]
    pairs = same.size - (stop - start)
    fine = resolution <= FINE_K
    if pairs < FROZEN_MINIMUM_READINGS:
        # Nothing else to compare with: an hour without one flicker, unless read coarsely.
        return fine and length >= 4.0 * FROZEN_MINIMUM_S
    longest = max((float(times[b] - times[a]) for a, b in others), default=0.0)
    repeats = (sum(b - a for a, b in others) + 1.0) / (pairs + 2.0)
    log_chance = math.log(same.size) + (stop - start) * math.log(repeats)
    # A quiet column read coarsely repeats itself in clusters, so chance alone says too little.
    rest = np.delete(values, np.arange(start, stop + 1))
    restless = float(np.std(np.diff(rest))) / math.sqrt(2.0) > RESTLESS * resolution
    ratio = RATIO_RESTLESS if restless else RATIO_QUIET
    rare = log_chance < (LOG_CHANCE_FINE if fine else LOG_CHANCE_COARSE)
    return rare and (restless or fine) and length > ratio * longest


def find_gaps(times: FloatArray) -> tuple[int, float]:
    """Holes in a trace: their number and their total length [s].

    Parameters
    ----------
    times : ndarray
        Times, rising [s].

    Returns
    -------
    tuple
        Number of holes and seconds in them.
    """
    steps = np.diff(times)
    if steps.size == 0:
        return 0, 0.0
    hole = steps > max(GAP_FACTOR * float(np.median(steps)), SHORTEST_GAP_S)
    return int(np.count_nonzero(hole)), float(np.sum(steps[hole]))


def _checked(
    times_s: ArrayLike, values: ArrayLike, setpoint: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    times = np.asarray(times_s, dtype=np.float64)
    readings = np.asarray(values, dtype=np.float64)
    target = np.asarray(setpoint, dtype=np.float64)
    if times.ndim != 1 or times.shape != readings.shape:
        raise Inconsistent(f"{times.size} times but {readings.size} readings", "values", "times_s")
    if target.ndim and target.shape != times.shape:
        raise Inconsistent(f"{target.size} setpoints but {times.size} times", "setpoint", "times_s")
    SAMPLES.check(times.size, "times_s")
    COLUMN_READING.check(target, "setpoint")
    if not np.all(np.isfinite(times)):
        first = int(np.argmin(np.isfinite(times)))
        bounds = (-float("inf"), float("inf"))
        raise OutOfRange(
            "time of a reading", float(times[first]), bounds, unit="s", name="times_s", index=first
        )
    TRACE_LENGTH.check(float(np.ptp(times)), "times_s")
    return times, readings, np.broadcast_to(target, times.shape)


def _one_reading_per_time(
    times: FloatArray, readings: FloatArray, target: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    order = np.argsort(times, kind="stable")
    times, readings, target = times[order], readings[order], target[order]
    if times.size < 2 or np.all(np.diff(times) > 0):
        return times, readings, target
    unique, first, count = np.unique(times, return_index=True, return_counts=True)
    return unique, np.add.reduceat(readings, first) / count, target[first]


def _last_setpoint_change(target: FloatArray) -> int:
    changed = np.flatnonzero(np.abs(np.diff(target)) > SETPOINT_STEP_K)
    return int(changed[-1]) + 1 if changed.size else 0


def _middle_row(rows: FloatArray) -> FloatArray:
    """Median down each column of a few long rows, by sorting neighbours in rounds."""
    order = list(rows)
    for turn in range(len(order)):
        for low in range(turn % 2, len(order) - 1, 2):
            one, other = order[low], order[low + 1]
            order[low], order[low + 1] = np.minimum(one, other), np.maximum(one, other)
    return np.asarray(order[len(order) // 2])


def _runs(flags: BoolArray) -> list[tuple[int, int]]:
    """Start and stop (exclusive) of each run of True."""
    padded = np.concatenate([[False], flags, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    return list(zip(change[::2].tolist(), change[1::2].tolist(), strict=True))
