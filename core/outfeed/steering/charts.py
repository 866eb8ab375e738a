"""Does the meter's offset drift from check to check?

Two control charts for small shifts: the exponentially weighted moving average and the cumulative
sum. Their average run lengths are solved here from the integral equations, so that a chart can say
how often it cries wolf. Those hold only where centre and spread are known, and a season has too few
checks to know them: so each offset is held against the mean and the spread of all before it, and
Student's t makes of that a standard normal value, as sure with six checks as with sixty.

References
----------
.. [1] Lucas, J. M. and Saccucci, M. S. (1990). Exponentially weighted moving average control
   schemes: properties and enhancements. Technometrics 32, 1-12.
.. [2] Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115; run lengths as
   tabulated in Montgomery, Introduction to Statistical Quality Control, and NIST/SEMATECH
   e-Handbook 6.3.2.3.
.. [3] Hawkins, D. M. (1987). Self-starting CUSUM charts for location and scale. The Statistician
   36, 299-315; Quesenberry, C. P. (1991). SPC Q charts for start-up processes and short or long
   runs. Journal of Quality Technology 23, 213-224; both recalled.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.limits import Range
from outfeed.methods import RECALLED, REPRODUCED, Method

SMOOTHING = Range("smoothing of the moving average", 0.01, 1.0, "", "definition")

EWMA_SMOOTHING, EWMA_LIMIT = 0.2, 2.962
"""Lucas and Saccucci 1990: in control a false alarm about once in 500 checks; recalled."""

CUSUM_SLACK, CUSUM_LIMIT = 0.5, 5.0
"""Half a standard deviation of slack; at a limit of 5 a false alarm about once in 465 checks, at
4 once in 168; Montgomery, recalled."""

BASE_CHECKS = 5
"""Earlier checks from which on a drift is spoken of; chosen, no source."""

LEAST_SPREAD = 0.0003
"""Least spread from check to check [-]: a tenth of a point over the root of twelve, the rounding of
a display in tenths; readings that all look alike prove no finer a meter."""

CHECKS = Range("number of checks", BASE_CHECKS + 1, 1000, "", "enough to tell a drift by")

UNUSUAL = 3.0
"""Standard deviations past which a value is none of the usual ones that the next are held against:
a shift is not to hide itself in their spread; three-sigma limits, common practice."""

SMALLEST_TAIL = 1e-300  # whose normal quantile, 37, is still a number
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
SELF_STARTING = Method(
    "steering.chart.self-starting",
    "each offset against the mean and spread of those before it, as a standard normal value",
    "Hawkins (1987), The Statistician 36, 299-315; Quesenberry (1991), Journal of Quality "
    "Technology 23, 213-224",
    RECALLED,
    note="a steady meter's false alarms were counted in simulated checks",
)
METHODS = (EWMA, CUSUM, SELF_STARTING)


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
    """Chart a meter's offsets, the newest last, each against all before it.

    Parameters
    ----------
    offsets : array_like
        Offsets of successive checks [-], six or more, as against a meter with none set in it.

    Returns
    -------
    Drift
        Both charts and whether one signals now.

    Raises
    ------
    OutOfRange
        Fewer than six offsets.
    """
    values = np.asarray(offsets, dtype=np.float64)
    CHECKS.check(values.size, "offsets")
    standard = self_started(values, least_spread=LEAST_SPREAD)
    average, total = ewma(standard), cusum(standard)
    last = values.size - 1
    return Drift(
        float(values[:-1].mean()),
        max(float(values[:-1].std(ddof=1)), LEAST_SPREAD),
        average,
        total,
        last in average.signals or last in total.signals,
    )


def self_started(values: ArrayLike, *, least_spread: float) -> FloatArray:
    """Each value against those before it, as a standard normal value while nothing shifts.

    Parameters
    ----------
    values : array_like
        Successive values, any unit, shape (n,).
    least_spread : float
        Least standard deviation of the values, in their unit, above zero.

    Returns
    -------
    ndarray
        Standard normal values [-], shape (n,); zero for the first two, which nothing precedes or
        spreads. What lies beyond three is not counted among those before.

    References
    ----------
    .. [1] Hawkins (1987): T = (x - mean) / s sqrt(k / (k + 1)) over the k values before x is
       Student's t with k - 1 degrees of freedom.
    """
    from scipy.special import ndtri, stdtr

    array = np.asarray(values, dtype=np.float64)
    result, usual = np.zeros(array.size), list(array[:2])
    for at in range(2, array.size):
        k, before = len(usual), np.array(usual)
        spread = max(float(before.std(ddof=1)), least_spread)
        t = float(array[at] - before.mean()) / spread * sqrt(k / (k + 1))
        tail = max(float(stdtr(k - 1, -abs(t))), SMALLEST_TAIL)
        result[at] = -float(ndtri(tail)) * np.sign(t)
        if abs(result[at]) <= UNUSUAL:
            usual.append(float(array[at]))
    return result


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
