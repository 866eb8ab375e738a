"""Slope of a noisy trace with an interval that respects autocorrelation.

The point is the Theil-Sen slope [1]_, which a few odd readings cannot move. Its standard error
is that of a straight line under residuals that follow each other (first-order autoregression),
and the quantile is Student's, with the degrees of freedom of the *independent* readings.

References
----------
.. [1] Sen, P. K. (1968). Estimates of the regression coefficient based on Kendall's tau.
   Journal of the American Statistical Association 63, 1379-1389.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import RECALLED, Method
from outfeed.steering.noise import effective_samples, lag_one_correlation

METHODS = (
    Method(
        "steering.theil-sen",
        "Robust slope: median of the slopes between all pairs of readings",
        "Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389",
        RECALLED,
    ),
)


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope and its interval.

    Attributes
    ----------
    value : float
        Slope [K/s].
    low, high : float
        Ends of the 95 % interval [K/s].
    standard_error : float
        Standard error [K/s].
    effective_samples : float
        Independent readings behind it [-].
    """

    value: float
    low: float
    high: float
    standard_error: float
    effective_samples: float


def theil_sen(times: FloatArray, values: FloatArray) -> float:
    """Median of the slopes between all pairs of readings.

    Parameters
    ----------
    times : ndarray
        Times, all different, at least two [s].
    values : ndarray
        Readings [K].

    Returns
    -------
    float
        Slope [K/s].

    References
    ----------
    .. [1] Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389.
    """
    first, second = _pairs(times.size)
    slopes = (values[second] - values[first]) / (times[second] - times[first])
    return float(np.median(slopes))


def slope_interval(times: FloatArray, values: FloatArray) -> Slope:
    """Theil-Sen slope with a 95 % interval for residuals that follow each other.

    Parameters
    ----------
    times : ndarray
        Mean times of equal stretches, at least four [s].
    values : ndarray
        Their mean values, any swing already taken out [K].

    Returns
    -------
    Slope
        The slope and its interval.
    """
    slope = theil_sen(times, values)
    time = times - np.mean(times)
    residuals = values - slope * time
    residuals = residuals - np.mean(residuals)
    independent = effective_samples(residuals, 2)
    rho = max(lag_one_correlation(residuals, 2), 0.0)
    n = times.size
    inflation = (1.0 + rho) / (1.0 - rho)
    variance = float(np.dot(residuals, residuals)) / max(n - 2, 1)
    error = float(np.sqrt(variance * inflation / np.dot(time, time)))
    half = student_quantile(max(independent - 2.0, 2.0)) * error
    return Slope(slope, slope - half, slope + half, error, independent)


@lru_cache(maxsize=4096)
def _quantile(tenths: int, thousandths: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(tenths / 10.0, thousandths / 1000.0))


def student_quantile(freedom: float, probability: float = 0.975) -> float:
    """Quantile of Student's t, degrees of freedom to a tenth.

    Parameters
    ----------
    freedom : float
        Degrees of freedom, above zero [-].
    probability : float
        Probability below, to a thousandth [-].

    Returns
    -------
    float
        The quantile [-].
    """
    return _quantile(max(round(10.0 * freedom), 1), round(1000.0 * probability))


@lru_cache(maxsize=64)
def _pairs(n: int) -> tuple[np.ndarray, np.ndarray]:
    first, second = np.triu_indices(n, 1)
    return first, second
