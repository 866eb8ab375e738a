"""Slope and level of a noisy trace, with intervals that respect autocorrelation.

Readings that follow each other are worth fewer than their number, and how far they follow each
other must be guessed from the same short trace. The line is therefore fitted by generalised least
squares under many models of the noise, each an exponentially fading memory plus independent
noise; every model is weighed by its restricted likelihood [2]_, and the spread between models is
part of the standard error. Odd readings are drawn in towards the Theil-Sen line [1]_ first. The
quantile is Student's with as many degrees of freedom as the trace holds memories.

References
----------
.. [1] Sen, P. K. (1968). Estimates of the regression coefficient based on Kendall's tau.
   Journal of the American Statistical Association 63, 1379-1389.
.. [2] Patterson, H. D. and Thompson, R. (1971). Recovery of inter-block information when block
   sizes are unequal. Biometrika 58, 545-554.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import RECALLED, Method
from outfeed.steering.noise import MAD_TO_SD

MEMORIES = (0.03, 0.07, 0.15, 0.35, 1.0)  # of the noise, over the length of the window
INDEPENDENT_SHARES = (0.0, 0.5, 0.85)  # of the variance
FEWEST_FREEDOM = 3.0  # least degrees of freedom; below, the interval says nothing
# The grid of noise models is coarse and the loop is none of them: on simulated loops the interval
# without this factor, and not yet drawn in or widened as below, covers 93 %.
STAYS_NARROW = 1.1
ODD = 4.0  # robust standard deviations from the line
# A trace that only trembles about its level is worth few readings, and the spread between the
# models is then wider than what they err by. One that goes far beyond the error of its level is
# worth many and seldom straight: how a bend is weighed moves its slope, and no model holds that.
# Drawn in for the one and widened for the other the interval covers as often as stated of either;
# chosen on simulated loops, no source.
FEW, MANY = 6.0, 14.0  # independent readings
FEW_WIDTH = 0.55
BENT = 0.2 / 3600.0 * 7200.0**0.5  # K/s times the root of the time: 0.2 K/h over two hours
ROUNDING_SLOPE = 0.41  # 1/sqrt(6): slope error of two ends, each off by up to half a step

METHODS = (
    Method(
        "steering.theil-sen",
        "Robust slope: median of the slopes between all pairs of readings",
        "Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389",
        RECALLED,
    ),
    Method(
        "steering.slope-interval",
        "Slope by generalised least squares, averaged over models of the noise",
        "Patterson and Thompson (1971), Biometrika 58, 545-554 (restricted likelihood)",
        RECALLED,
        note="Stated at 95 %; checked on simulated loops in the bench.",
    ),
)


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope and a level with what is known of their errors.

    Attributes
    ----------
    value : float
        Slope [K/s].
    low, high : float
        Ends of its 95 % interval [K/s].
    standard_error : float
        Its standard error [K/s].
    level, level_error : float
        Value in the middle of the window and its standard error [K].
    effective_samples : float
        Independent readings the window is worth for its level [-].
    """

    value: float
    low: float
    high: float
    standard_error: float
    level: float
    level_error: float
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


def slope_interval(
    times: FloatArray,
    values: FloatArray,
    *,
    beside: FloatArray | None = None,
    rounding: float = 0.0,
    noise: float = 0.0,
) -> Slope:
    """Slope and level with 95 % intervals for readings that follow each other.

    Parameters
    ----------
    times : ndarray
        Times, rising, at least four [s].
    values : ndarray
        Readings [K].
    beside : ndarray, optional
        Shapes fitted beside the line, one a column (the two waves of a swing) [-].
    rounding : float
        Step of the readings [K]: a quiet trace read coarsely can hide a slope.
    noise : float
        Noise of a single reading before rounding [K]; it smooths the steps away.

    Returns
    -------
    Slope
        Slope, level and their errors.
    """
    middle = float(np.mean(times))
    span = float(times[-1] - times[0])
    time = (times - middle) / span
    columns = np.column_stack([np.ones_like(time), time])
    if beside is not None and times.size > 2 + beside.shape[1] + 2:
        columns = np.column_stack([columns, beside])
    tamed = _drawn_in(times, values, columns)
    weight, letters, variances, memory = _averaged(time, tamed, columns)
    value, level = weight @ letters[:, 1], weight @ letters[:, 0]
    spread = weight @ (variances[:, 1] + (letters[:, 1] - value) ** 2)
    level_spread = weight @ (variances[:, 0] + (letters[:, 0] - level) ** 2)
    hidden = _hidden_by_rounding(rounding, noise)
    spread = spread * STAYS_NARROW**2
    error = math.hypot(math.sqrt(spread), ROUNDING_SLOPE * hidden) / span
    freedom = min(max(0.5 / max(memory, 1e-3), FEWEST_FREEDOM), times.size - columns.shape[1])
    total = float(np.var(tamed)) + 1e-12
    worth = min(max(total / max(float(level_spread), 1e-12), 1.0), times.size)
    half = _half_width(student_quantile(freedom) * error, worth, span)
    return Slope(
        value=float(value) / span,
        low=float(value) / span - half,
        high=float(value) / span + half,
        standard_error=error,
        level=float(level),
        level_error=math.hypot(math.sqrt(level_spread), hidden / math.sqrt(12.0)),
        effective_samples=worth,
    )


def _half_width(half: float, worth: float, span: float) -> float:
    """Half-width that covers as often of a trace worth few readings as of one worth many."""
    many = min(max(math.log(worth / FEW) / math.log(MANY / FEW), 0.0), 1.0)
    bent = BENT / math.sqrt(span)
    return math.hypot((FEW_WIDTH + (1.0 - FEW_WIDTH) * many) * half, many * bent)


def _drawn_in(times: FloatArray, values: FloatArray, columns: FloatArray) -> FloatArray:
    """Values with odd ones drawn in towards a robust line (or the fit, beside a swing)."""
    if columns.shape[1] == 2:
        fit = theil_sen(times, values) * times
        fit = fit + np.median(values - fit)
    else:
        fit = columns @ np.linalg.lstsq(columns, values, rcond=None)[0]
    left = values - fit
    scale = MAD_TO_SD * float(np.median(np.abs(left)))
    limit = ODD * scale if scale > 0.0 else np.inf
    return np.asarray(fit + np.clip(left, -limit, limit))


def _averaged(
    time: FloatArray, values: FloatArray, columns: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Weight of each noise model, its letters and variances, and the mean memory."""
    n, p = columns.shape
    whitening, logs, memories = _noise_models(time.tobytes())
    white = whitening @ np.column_stack([columns, values])
    products = np.swapaxes(white, 1, 2) @ white
    normal = products[:, :p, :p]
    inverse = np.linalg.inv(normal)
    letters = (inverse @ products[:, :p, p:])[:, :, 0]
    left = products[:, p, p] - np.sum(letters * products[:, :p, p], axis=1)
    left = np.maximum(left, 1e-12)
    logs = logs + np.linalg.slogdet(normal)[1] + (n - p) * np.log(left)
    weight = np.exp(-0.5 * (logs - np.min(logs)))
    weight = weight / np.sum(weight)
    variances = (left / (n - p))[:, None] * np.diagonal(inverse, axis1=1, axis2=2)
    return weight, letters, variances, float(weight @ memories)


@lru_cache(maxsize=16)
def _noise_models(time_bytes: bytes) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Whitening matrix, logarithm of the determinant and memory of each model, for these times."""
    time = np.frombuffer(time_bytes)
    gap = np.abs(time[:, None] - time[None, :])
    identity = np.eye(time.size)
    models, memories = [identity], [0.0]
    for memory in MEMORIES:
        fading = np.exp(-gap / memory)
        for share in INDEPENDENT_SHARES:
            models.append((1.0 - share) * fading + share * identity)
            memories.append(memory)
    root = np.linalg.cholesky(np.array(models))
    logs = 2.0 * np.sum(np.log(np.diagonal(root, axis1=1, axis2=2)), axis=1)
    whitening = np.asarray(np.linalg.inv(root), dtype=np.float64)
    return whitening, np.asarray(logs, dtype=np.float64), np.array(memories)


def _hidden_by_rounding(rounding: float, noise: float) -> float:
    """How much of a step noise leaves unseen: all of it when quiet, none when noise is half a step.

    The Fourier weight of a rounded value under normal noise, exp(-2 pi^2 (noise/step)^2).
    """
    if rounding <= 0.0:
        return 0.0
    own = math.sqrt(max(noise**2 - rounding**2 / 12.0, 0.0))
    return rounding * math.exp(-2.0 * (math.pi * own / rounding) ** 2)


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
