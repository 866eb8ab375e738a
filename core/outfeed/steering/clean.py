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

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, runs_of
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.limits import BROKEN, BROKEN_OR_FIRE, SENSIBLE, Range
from outfeed.methods import RECALLED, Method
from outfeed.steering.frozen import Run, longest_run
from outfeed.steering.noise import MAD_TO_SD

COLUMN_READING = Range(
    "column temperature reading",
    -40.0,
    600.0,
    "degC",
    "a fire is read as well: 600 degC is the end of class B platinum sensors, IEC 60751 (recalled)",
    BROKEN_OR_FIRE,
    BROKEN,
)
SENT_READING = Range(
    "temperature reading",
    -100_000.0,
    100_000.0,
    "degC",
    "an open wire reads as the end of a scale, 999.9 or 3276.7, or as a full register, 65,535: "
    "all are taken and counted; chosen, no source",
    BROKEN_OR_FIRE,
    BROKEN,
)
COLUMN_SETPOINT = Range("setpoint of a controlled temperature", -40.0, 200.0, "degC", SENSIBLE)
SAMPLES = Range("number of readings", 1, 100_000, "", SENSIBLE)
TRACE_LENGTH = Range("length of the trace", 0.0, 7 * 86_400.0, "s", SENSIBLE)

HAMPEL_HALF_WIDTH = 3  # readings on each side
HAMPEL_THRESHOLD = 5.0  # robust standard deviations
LONGEST_SPIKE = 2  # readings; a longer excursion is the process, not the sensor
LONGEST_AT_END = 1  # readings; of two that agree nobody knows yet that they are a spike
GAP_FACTOR = 4.0  # an interval this many times the usual one is a gap
SHORTEST_GAP_S = 120.0
COARSE_STEPS_K = (1.0, 1.0 / 1.8, 0.5, 0.5 / 1.8, 0.2, 0.2 / 1.8, 0.1, 0.1 / 1.8)  # either scale
ON_GRID = 0.01  # of a step
OFF_GRID = 0.02  # of a step: more lies between two of them
SETPOINT_STEP_K = 0.05  # a smaller change is rounding
# A sensor that stood answers again once it has for so long, the shortest trace that is judged;
# chosen, no source.
ANSWERS_S = 1200.0

METHODS = (
    Method(
        "steering.hampel",
        "Spikes in a trace",
        "Hampel (1974), J. Am. Stat. Assoc. 69, 383-393; Pearson (2002), IEEE Trans. Control "
        "Syst. Technol. 10, 55-63",
        RECALLED,
        note="Moving median of seven readings, five robust standard deviations, at most two "
        "readings in a row, one at the very end.",
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
    last_apart : float
        How far the last reading stands from the one before, where it was removed as a spike [K];
        zero where it was kept.
    gap_seconds : float
        Total length of the holes [s].
    run : Run or None
        The longest run of one value, for a sensor that stopped answering.
    stood_seconds : float
        How long the sensor stood, where only what followed was kept [s].
    left_out : int
        Readings of that time and from before.
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
    run: Run | None
    last_apart: float = 0.0
    stood_seconds: float = 0.0
    left_out: int = 0

    @property
    def error(self) -> FloatArray:
        """Reading minus setpoint [K]."""
        return self.values - self.setpoint

    @property
    def frozen_seconds(self) -> float:
        """Time the sensor gave one and the same value, by the plain rule [s]."""
        return 0.0 if self.run is None or self.run.chance else self.run.seconds


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
        No reading or more than 100,000, a time or setpoint that is no number,
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
        return CleanTrace(empty, empty, empty, 0, 0.0, impossible, 0, 0, 0.0, None)
    resolution = reading_resolution(readings)
    spike = find_spikes(readings, resolution)
    apart = float(readings[-1] - readings[-2]) if spike[-1] else 0.0
    times, readings, target = times[~spike], readings[~spike], target[~spike]
    if np.any(spike):
        resolution = reading_resolution(readings)  # spikes need not lie on the grid
    run = longest_run(times, readings, resolution)
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
        run,
        apart,
    )


def since_it_answers(clean: CleanTrace) -> CleanTrace:
    """What follows a stop of the sensor, once it has answered again for twenty minutes.

    A sensor that was seen to is no fault any more, and what it showed before and what it did not
    show are no part of one movement.

    Parameters
    ----------
    clean : CleanTrace
        The trace.

    Returns
    -------
    CleanTrace
        The same where its sensor did not surely stand, or has not answered again for so long.
    """
    run = clean.run
    while run is not None and run.sure and not run.at_end:
        if clean.times[-1] - clean.times[run.stop + 1] < ANSWERS_S:
            break
        kept = slice(run.stop + 1, None)
        times, values, target = clean.times[kept], clean.values[kept], clean.setpoint[kept]
        clean = replace(
            clean,
            times=times,
            values=values,
            setpoint=target,
            since_setpoint=_last_setpoint_change(target),
            run=longest_run(times, values, clean.resolution),
            stood_seconds=clean.stood_seconds + run.seconds,
            left_out=clean.left_out + run.stop + 1,
        )
        run = clean.run
    return clean


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
    levels, counts = np.unique(np.round(values, 6), return_counts=True)
    if levels.size < 2:
        return _step_of_one_value(float(levels[0]))
    # A spike need not lie on the grid: what came once only does not set it.
    often = levels[counts > 1]
    grid = often if often.size > 1 else levels
    step = float(np.min(np.diff(grid)))
    whole = (levels - grid[0]) / step
    on_grid = float(np.sum(counts[np.abs(whole - np.round(whole)) < OFF_GRID])) / values.size
    return step if on_grid > 0.96 and levels.size < max(values.size / 2, 3) else 0.0


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
        True where a reading is a spike. A run longer than two readings is never one, nor are two
        at the very end: they may be the beginning of what follows.
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
    for start, stop in zip(*runs_of(suspect), strict=True):
        if stop - start <= (LONGEST_AT_END if stop == values.size else LONGEST_SPIKE):
            spike[start:stop] = True
    return spike


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
    hole = in_gaps(times)
    return int(np.count_nonzero(hole)), float(np.sum(np.diff(times)[hole]))


def in_gaps(times: FloatArray) -> BoolArray:
    """Which steps from reading to reading are holes.

    Parameters
    ----------
    times : ndarray
        Times, rising [s], shape (n,).

    Returns
    -------
    ndarray of bool
        One a step, shape (n - 1,).
    """
    steps = np.diff(times)
    usual = float(np.median(steps)) if steps.size else 0.0
    return np.asarray(steps > max(GAP_FACTOR * usual, SHORTEST_GAP_S))


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
    COLUMN_SETPOINT.check(target, "setpoint")
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


def as_shown(
    times_s: ArrayLike, temperatures: ArrayLike
) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Readings in order of time as they were shown, those too cold for any sensor left out.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings [degC], shape (n,); NaN means "no reading".

    Returns
    -------
    tuple of ndarray
        Times [s], readings [degC] and where each stood, shape (k,), k up to n.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    values = np.atleast_1d(np.asarray(temperatures, dtype=np.float64))
    order = np.lexsort((values, times))  # of two readings at one time the hotter is the later
    order = order[values[order] >= COLUMN_READING.low]
    return times[order], values[order], order
