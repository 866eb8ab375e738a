"""Did the sensor stop answering, or is a quiet column read coarsely?

A run of one value proves nothing by itself. What it is worth depends on how long the other runs
are, how restless the rest of the trace is beside the step of the readings, and whether the column
was on its way somewhere when the run began. `longest_run` gathers that for the judgement;
`Run.chance` is the plain rule for what is said of the trace beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from outfeed.arrays import FloatArray, runs_of

MINIMUM_S = 900.0  # a run of one value is not looked at before this
MINIMUM_READINGS = 8
# A run less likely than this is not chance; coarse readings stay put in clusters, fine ones not.
LOG_CHANCE_FINE = math.log(1e-3)
LOG_CHANCE_COARSE = math.log(1e-5)
RESTLESS = 0.45  # noise over the step of the readings at which each reading flickers
FINE_K = 0.15  # step of the readings at which even a quiet column flickers
RATIO_RESTLESS = 2.0  # frozen run over the longest other run of one value
RATIO_QUIET = 5.0
SAME_K = 1e-9
LEAST_STEP_K = 0.01  # stands in for the step of readings that show none
DEAD_VALUES = (0.0, -160.0 / 9.0)  # nothing, on either scale [degC]: what a dead input reads
DEAD_K = 1e-3
FEWEST_BEFORE = 4  # readings from which the way of the column before the run is taken


@dataclass(frozen=True, slots=True)
class Run:
    """The longest run of one value, and what it is worth as a sign of a stopped sensor.

    Attributes
    ----------
    start, stop : int
        Index of its first and of its last reading.
    seconds : float
        Its length [s].
    share : float
        The same over the length of the trace [-].
    ratio : float
        The same over the longest other run, or over the usual interval if that is longer [-].
    log_chance : float
        Logarithm of the chance of so long a run where readings repeat as often as in the rest
        of the trace [-]; zero or below.
    restless : float
        Scatter from reading to reading in the rest, over the step of the readings [-].
    width : float
        Range of the rest over the step [-].
    rest : int
        Pairs of neighbouring readings outside the run [-].
    on_its_way : float
        How far the column would have come during the run at the pace before it, over the step
        of the readings [-]; at most its own range before.
    at_end : bool
        Whether the run lasts to the last reading.
    step : float
        Step of the readings [K]; zero when none shows.
    """

    start: int
    stop: int
    seconds: float
    share: float
    ratio: float
    log_chance: float
    restless: float
    width: float
    rest: int
    on_its_way: float
    at_end: bool
    step: float

    @property
    def chance(self) -> bool:
        """Whether it may be chance, by plain rules."""
        if self.seconds < MINIMUM_S or self.stop - self.start + 1 < MINIMUM_READINGS:
            return True
        fine = self.step <= FINE_K
        if self.rest < MINIMUM_READINGS:
            # Nothing else to compare with: an hour without one flicker, unless read coarsely.
            return not (fine and self.seconds >= 4.0 * MINIMUM_S)
        restless = self.restless > RESTLESS
        common = self.log_chance >= (LOG_CHANCE_FINE if fine else LOG_CHANCE_COARSE)
        no_longer = self.ratio <= (RATIO_RESTLESS if restless else RATIO_QUIET)
        return common or no_longer or not (restless or fine)

    @property
    def sure(self) -> bool:
        """Whether the plain rule is sure: fine readings that flicker elsewhere in the trace."""
        return self.step <= FINE_K and self.restless > RESTLESS and not self.chance


def only_value(
    times: FloatArray, values: FloatArray, step: float
) -> Literal["dead", "fine", "coarse"] | None:
    """What a trace that shows one value and no other says of its sensor.

    One value shows no resolution. Where it is stated finer than a quiet column holds still, the
    sensor has stopped; where it lies on a coarse step, a stopped sensor and a level column that is
    read coarsely look alike.

    Parameters
    ----------
    times : ndarray
        Times, rising [s].
    values : ndarray
        Readings, spikes removed [degC].
    step : float
        Coarsest usual step on which the value lies [K]; zero when on none.

    Returns
    -------
    str or None
        "dead": zero and nothing else; "fine": stated finely, for a quarter of an hour or more;
        "coarse": cannot be told; None when other values occur, or readings are too few.
    """
    if values.size < FEWEST_BEFORE or float(np.ptp(values)) > SAME_K:
        return None
    if any(abs(float(values[0]) - dead) < DEAD_K for dead in DEAD_VALUES):
        return "dead"
    long = float(times[-1] - times[0]) >= MINIMUM_S and values.size >= MINIMUM_READINGS
    return "fine" if long and step <= FINE_K else "coarse"


def unmoved_time(times: FloatArray, values: FloatArray) -> float:
    """How long a trace has ended with one value and no other.

    Parameters
    ----------
    times : ndarray
        Times, rising [s], shape (n,).
    values : ndarray
        Readings [degC], shape (n,).

    Returns
    -------
    float
        Seconds; zero for less than a quarter of an hour or eight readings, as chance gives.
    """
    other = np.flatnonzero(np.abs(values - values[-1]) >= SAME_K)
    first = int(other[-1]) + 1 if other.size else 0
    seconds = float(times[-1] - times[first])
    long = seconds >= MINIMUM_S and values.size - first >= MINIMUM_READINGS
    return seconds if long else 0.0


def longest_run(times: FloatArray, values: FloatArray, resolution: float) -> Run | None:
    """The longest run of one value.

    Parameters
    ----------
    times : ndarray
        Times, rising [s].
    values : ndarray
        Readings, spikes removed [degC].
    resolution : float
        Step of the readings [K]; zero when none shows.

    Returns
    -------
    Run or None
        None when no value follows itself.
    """
    same = np.abs(np.diff(values)) < SAME_K
    first, last = runs_of(same)  # of pairs: the one past the last pair is the last reading
    if first.size == 0:
        return None
    lengths = times[last] - times[first]
    best = int(np.argmax(lengths))
    start, stop, seconds = int(first[best]), int(last[best]), float(lengths[best])
    others = np.delete(lengths, best)
    pairs = same.size - (stop - start)
    usual = float(np.median(np.diff(times)))
    repeats = (float(np.sum(np.delete(last - first, best))) + 1.0) / (pairs + 2.0)
    step = max(resolution, LEAST_STEP_K)
    rest = np.concatenate([values[:start], values[stop + 1 :]])
    flicker = np.concatenate([np.diff(values[: start + 1]), np.diff(values[stop:])])
    longest = max(float(np.max(others)) if others.size else 0.0, usual)
    return Run(
        start=start,
        stop=stop,
        seconds=seconds,
        share=seconds / max(float(times[-1] - times[0]), 1.0),
        ratio=seconds / longest,
        log_chance=min(math.log(same.size) + (stop - start) * math.log(repeats), 0.0),
        restless=float(np.std(flicker)) / math.sqrt(2.0) / step if flicker.size > 1 else 0.0,
        width=float(np.ptp(rest)) / step if rest.size else 0.0,
        rest=pairs,
        on_its_way=_on_its_way(times[: start + 1], values[: start + 1], seconds) / step,
        at_end=stop == values.size - 1,
        step=resolution,
    )


def _on_its_way(times: FloatArray, values: FloatArray, seconds: float) -> float:
    """Distance the column would have come in a run of some length at the pace before it [K]."""
    before = times >= times[-1] - seconds
    if np.count_nonzero(before) < FEWEST_BEFORE:
        before = np.arange(times.size) >= times.size - FEWEST_BEFORE
    times, values = times[before], values[before]
    if times.size < FEWEST_BEFORE:
        return 0.0
    t = times - np.mean(times)
    pace = abs(float(t @ values)) / float(t @ t)
    return min(pace * seconds, float(np.ptp(values)))
