"""How much of a trace is noise, and how many independent readings it is worth.

References
----------
.. [1] Gasser, T., Sroka, L. and Jennen-Steinmetz, C. (1986). Residual variance and residual
   pattern in nonlinear regression. Biometrika 73, 625-633 (variance from second differences).
.. [2] Bayley, G. V. and Hammersley, J. M. (1946). The "effective" number of independent
   observations in an autocorrelated time series. Journal of the Royal Statistical Society,
   Supplement 8, 184-197.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import RECALLED, Method

MAD_TO_SD = 1.4826  # standard deviation of a normal over its median absolute deviation
MOST_BINS = 160  # a finer picture than this adds work, not knowledge

METHODS = (
    Method(
        "steering.noise.second-differences",
        "Noise of a trace from its second differences",
        "Gasser, Sroka and Jennen-Steinmetz (1986), Biometrika 73, 625-633",
        RECALLED,
    ),
    Method(
        "steering.effective-samples",
        "Independent readings a correlated trace is worth",
        "Bayley and Hammersley (1946), J. R. Stat. Soc. Suppl. 8, 184-197",
        RECALLED,
    ),
)


@dataclass(frozen=True, slots=True)
class BinnedTrace:
    """A trace averaged over equal stretches of time.

    Attributes
    ----------
    times : ndarray
        Mean time of the readings in each stretch [s].
    values : ndarray
        Their mean value [K].
    counts : ndarray
        Readings in each stretch [-].
    width : float
        Length of a stretch [s].
    """

    times: FloatArray
    values: FloatArray
    counts: FloatArray
    width: float


def noise_sd(times: FloatArray, values: FloatArray, resolution: float = 0.0) -> float:
    """Standard deviation of the noise from one reading to the next.

    Each reading is compared with the straight line between its neighbours, so a slow movement
    of the process does not count.

    Parameters
    ----------
    times : ndarray
        Times, rising [s].
    values : ndarray
        Readings [degC or K].
    resolution : float
        Step of the readings [K]; its own rounding error is the least the noise can be.

    Returns
    -------
    float
        Noise [K]; the rounding error alone with fewer than three readings.

    References
    ----------
    .. [1] Gasser, Sroka and Jennen-Steinmetz (1986), Biometrika 73, 625-633.
    """
    rounding = resolution / np.sqrt(12.0)
    if times.size < 3:
        return float(rounding)
    span = times[2:] - times[:-2]
    before = (times[2:] - times[1:-1]) / span
    after = 1.0 - before
    misfit = values[1:-1] - before * values[:-2] - after * values[2:]
    misfit = misfit / np.sqrt(1.0 + before**2 + after**2)
    robust = MAD_TO_SD * float(np.median(np.abs(misfit)))
    if robust < rounding:
        # Coarse steps put the median at zero; the mean square still sees them.
        limit = np.quantile(np.abs(misfit), 0.98)
        robust = float(np.sqrt(np.mean(np.minimum(np.abs(misfit), limit) ** 2)))
    return float(max(robust, rounding))


def bin_trace(times: FloatArray, values: FloatArray, most: int = MOST_BINS) -> BinnedTrace:
    """Average a trace over equal stretches of time.

    Parameters
    ----------
    times : ndarray
        Times, rising, at least two [s].
    values : ndarray
        Readings [K].
    most : int
        Largest number of stretches [-].

    Returns
    -------
    BinnedTrace
        One entry for each stretch that holds a reading.
    """
    span = float(times[-1] - times[0])
    width = max(span / most, float(np.median(np.diff(times))))
    position = np.minimum((times - times[0]) / width, most - 1 + 1e-9).astype(np.int64)
    counts = np.bincount(position).astype(np.float64)
    filled = counts > 0
    offset = times - times[0]
    mean_times = np.bincount(position, offset)[filled] / counts[filled] + times[0]
    mean_values = np.bincount(position, values)[filled] / counts[filled]
    return BinnedTrace(mean_times, mean_values, counts[filled], width)


def lag_one_correlation(residuals: FloatArray, removed: int = 1) -> float:
    """Correlation of neighbouring residuals, corrected for the terms already fitted.

    Parameters
    ----------
    residuals : ndarray
        Residuals at equal steps [K].
    removed : int
        Number of fitted terms [-].

    Returns
    -------
    float
        Between -0.95 and 0.98 [-].

    Notes
    -----
    The raw estimate is low by about (removed + 3 rho) / n (Kendall 1954 for one term; taken to hold
    for more).
    """
    n = residuals.size
    power = float(np.dot(residuals, residuals))
    if n < 4 or power <= 0.0:
        return 0.0
    raw = float(np.dot(residuals[1:], residuals[:-1])) / power
    corrected = (raw * n + removed) / max(n - 3, 1)
    return float(np.clip(corrected, -0.95, 0.98))


def effective_samples(residuals: FloatArray, removed: int = 1) -> float:
    """Independent readings that a correlated trace is worth.

    Parameters
    ----------
    residuals : ndarray
        Residuals at equal steps [K].
    removed : int
        Number of fitted terms [-].

    Returns
    -------
    float
        Between one and the number of residuals [-].

    References
    ----------
    .. [1] Bayley and Hammersley (1946), J. R. Stat. Soc. Suppl. 8, 184-197.
    """
    n = residuals.size
    rho = lag_one_correlation(residuals, removed)
    lags = np.arange(1, n)
    inflation = 1.0 + 2.0 * float(np.sum((1.0 - lags / n) * rho**lags)) if n > 1 else 1.0
    return float(np.clip(n / max(inflation, 1.0), 1.0, n))
