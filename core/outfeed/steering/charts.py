"""Does the meter's offset drift from check to check?

Two control charts for small shifts, on offsets standardised by their usual spread: the
exponentially weighted moving average and the cumulative sum. Their average run lengths are
solved here from the integral equations, so that a chart can say how often it cries wolf.

References
----------
.. [1] Lucas, J. M. and Saccucci, M. S. (1990). Exponentially weighted moving average control
   schemes: properties and enhancements. Technometrics 32, 1-12.
.. [2] Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115; run lengths as
   tabulated in Montgomery, Introduction to Statistical Quality Control, and NIST/SEMATECH
   e-Handbook 6.3.2.3.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import Range
from outfeed.methods import RECALLED, REPRODUCED, Method

SMOOTHING = Range("smoothing of the moving average", 0.01, 1.0, "", "definition")

EWMA_SMOOTHING, EWMA_LIMIT = 0.2, 2.962
"""Lucas and Saccucci 1990: in control a false alarm about once in 500 checks; recalled."""

CUSUM_SLACK, CUSUM_LIMIT = 0.5, 5.0
"""Half a standard deviation of slack; at a limit of 5 a false alarm about once in 465 checks, at
4 once in 168; Montgomery, recalled."""

BASE_CHECKS = 5
"""Checks that set the centre of a chart; few, because a season has few; chosen, no source."""

MOVING_RANGE = 1.128
"""Mean range of two normal values in standard deviations (d2 for n = 2)."""

CHECKS = Range("number of checks", BASE_CHECKS + 1, 1000, "", "enough to set a centre")

NODES = 60  # Gauss-Legendre nodes; 40 to 100 agree to 0.01 in the run lengths

EWMA = Method(
    "steering.chart.ewma",
    "exponentially weighted moving average chart",
    "Lucas and Saccucci (1990), Technometrics 32, 1-12",
    REPRODUCED,
)
CUSUM = Method(
    "steering.chart.cusum",
    "cumulative sum chart",
    "Page (1954), Biometrika 41, 100-115; Montgomery, Introduction to Statistical Quality Control",
    RECALLED,
)
METHODS = (EWMA, CUSUM)


@dataclass(frozen=True, slots=True)
class Chart:
    """A control chart over successive values.

    Attributes
    ----------
    values : ndarray
        The chart's statistic after each value [-]; for the cumulative sum the larger of its
        two sides, signed.
    limit : float
        Size at which it signals [-].
    signals : tuple of int
        Positions at which it signalled.
    """

    values: FloatArray
    limit: float
    signals: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Drift:
    """Whether offsets drift from check to check.

    Attributes
    ----------
    centre, sd : float
        Mean of the earlier offsets and their SD from check to check [-].
    ewma, cusum : Chart
        Both charts over all offsets, the newest last.
    drifting : bool
        Whether either signals at the newest offset.
    """

    centre: float
    sd: float
    ewma: Chart
    cusum: Chart
    drifting: bool


def offset_drift(offsets: ArrayLike) -> Drift:
    """Chart a meter's offsets, the newest last, against the first of them.

    Parameters
    ----------
    offsets : array_like
        Offsets of successive checks [-], six or more: the first five set centre and spread.

    Returns
    -------
    Drift
        Both charts and whether one signals now.

    Raises
    ------
    OutOfRange
        Fewer than six offsets.
    Inconsistent
        First offsets that do not differ, so that no spread is known.
    """
    values = np.asarray(offsets, dtype=np.float64)
    CHECKS.check(values.size, "offsets")
    base = values[:BASE_CHECKS]
    # mean moving range over d2 = 1.128: the usual spread even if the level creeps
    spread = float(np.mean(np.abs(np.diff(base)))) / MOVING_RANGE
    if spread <= 0:
        raise Inconsistent("the first offsets are all alike; no spread is known", "earlier")
    centre = float(base.mean())
    standardised = (values - centre) / spread
    average, total = ewma(standardised), cusum(standardised)
    last = values.size - 1
    drifting = last in average.signals or last in total.signals
    return Drift(centre, spread, average, total, drifting)


def ewma(
    standardised: ArrayLike, *, smoothing: float = EWMA_SMOOTHING, limit: float = EWMA_LIMIT
) -> Chart:
    """Exponentially weighted moving average chart with its limits for long use.

    Parameters
    ----------
    standardised : array_like
        Values minus their usual mean over their usual standard deviation [-], in order of time.
    smoothing : float
        Weight of the newest value [-], 0.01 to 1.
    limit : float
        Limit in standard deviations of the average [-].

    Returns
    -------
    Chart
        Averages, limit and signals.

    Raises
    ------
    OutOfRange
        Smoothing outside its range.
    """
    SMOOTHING.check(smoothing, "smoothing")
    average, track = 0.0, []
    for value in np.asarray(standardised, dtype=np.float64):
        average = (1 - smoothing) * average + smoothing * float(value)
        track.append(average)
    values = np.array(track)
    bound = limit * sqrt(smoothing / (2 - smoothing))
    return Chart(values, bound, tuple(int(k) for k in np.flatnonzero(np.abs(values) > bound)))


def cusum(
    standardised: ArrayLike, *, slack: float = CUSUM_SLACK, limit: float = CUSUM_LIMIT
) -> Chart:
    """Two-sided cumulative sum chart.

    Parameters
    ----------
    standardised : array_like
        Values minus their usual mean over their usual standard deviation [-], in order of time.
    slack : float
        Deviation that is let pass [-].
    limit : float
        Sum at which it signals [-].

    Returns
    -------
    Chart
        Sums, limit and signals.
    """
    high = low = 0.0
    track = []
    for value in np.asarray(standardised, dtype=np.float64):
        high = max(0.0, high + float(value) - slack)
        low = max(0.0, low - float(value) - slack)
        track.append(high if high >= low else -low)
    values = np.array(track)
    return Chart(values, limit, tuple(int(k) for k in np.flatnonzero(np.abs(values) > limit)))


def ewma_run_length(
    shift: float = 0.0, *, smoothing: float = EWMA_SMOOTHING, limit: float = EWMA_LIMIT
) -> float:
    """Average number of values until an EWMA chart signals.

    Parameters
    ----------
    shift : float
        True shift of the mean, in standard deviations [-].
    smoothing, limit : float
        The chart's settings [-].

    Returns
    -------
    float
        Average run length from a fresh start [-].
    """
    bound = limit * sqrt(smoothing / (2 - smoothing))
    x, w = np.polynomial.legendre.leggauss(NODES)
    nodes, weights = bound * x, bound * w
    # L(z) = 1 + integral of L(y) f((y - (1 - s) z)/s)/s over the limits, by Gauss-Legendre
    start = np.append(nodes, 0.0)
    step = (nodes[None, :] - (1 - smoothing) * start[:, None]) / smoothing - shift
    kernel = weights * _density(step) / smoothing
    length = np.linalg.solve(np.eye(NODES) - kernel[:-1], np.ones(NODES))
    return float(1.0 + kernel[-1] @ length)


def cusum_run_length(
    shift: float = 0.0, *, slack: float = CUSUM_SLACK, limit: float = CUSUM_LIMIT
) -> float:
    """Average number of values until a two-sided cumulative sum chart signals.

    Parameters
    ----------
    shift : float
        True shift of the mean, in standard deviations [-].
    slack, limit : float
        The chart's settings [-].

    Returns
    -------
    float
        Average run length from a fresh start [-].
    """
    # both sides at once: rates of alarm add (Van Dobben de Bruyn 1968, recalled)
    return 1.0 / sum(1.0 / _one_side(side * shift, slack, limit) for side in (1.0, -1.0))


def _one_side(shift: float, slack: float, limit: float) -> float:
    from scipy.special import ndtr

    x, w = np.polynomial.legendre.leggauss(NODES)
    nodes, weights = limit * (x + 1) / 2, limit * w / 2
    start = np.append(nodes, 0.0)
    kernel = weights * _density(nodes[None, :] - start[:, None] + slack - shift)
    at_zero = ndtr(slack - shift - start)
    # unknowns: L at the nodes and L(0), to which the sum falls back with a chance of its own
    matrix = np.eye(NODES + 1)
    matrix[:, :-1] -= kernel
    matrix[:, -1] -= at_zero
    return float(np.linalg.solve(matrix, np.ones(NODES + 1))[-1])


def _density(z: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * z * z) / sqrt(2 * np.pi))
