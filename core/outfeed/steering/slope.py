"""Slope and level of a noisy trace, with intervals that respect autocorrelation.

Readings that follow each other are worth fewer than their number, and how far they follow each
other must be guessed from the same short trace. The line is therefore fitted by generalised least
squares under many models of the noise, each an exponentially fading memory plus independent
noise; every model is weighed by its restricted likelihood [2]_, and the spread between models is
part of the standard error. Odd readings are drawn in towards the Theil-Sen line [1]_ first.

The interval weighs the same models anew. Forty stretches cannot tell a wandering level from a
trembling one by likelihood alone: averaged so, an interval is too wide where the noise forgets
itself at once and too narrow where it never does. So long memories and independent noise are
favoured beforehand, the likelihood decides more sharply between them, and the half-widths of the
models, not their variances, are averaged, by their logarithms.

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
from outfeed.steering.noise import MAD_TO_SD, effective_samples

MEMORIES = (0.03, 0.07, 0.15, 0.35, 1.0, 3.0)  # of the noise, over the length of the window
INDEPENDENT_SHARES = (0.0, 0.1, 0.5, 0.85)  # of the variance
# The verdict's trees and network learned from slopes and errors of these alone.
LEARNED_MEMORIES = MEMORIES[:-1]
LEARNED_SHARES = (0.0, 0.5, 0.85)
# The grid of noise models is coarse and the loop is none of them: chosen on simulated loops, no
# source, and kept, for the verdict learned from errors with this factor.
STAYS_NARROW = 1.1
ODD = 4.0  # robust standard deviations from the line
# What the interval favours beforehand, as logarithms of a likelihood, over a memory of 0.03 and no
# independent noise; and the power of what it makes of all. Chosen on noise of known memory and on
# simulated loops, so that each class is covered as often as stated; no source.
FAVOURS_INDEPENDENT = 1.5
FAVOURS_MEMORY = 0.4  # for each e-fold of it
FAVOURS_NO_SHARE = 2.5
DECIDES = 3.0
# What is left to the middle of 93 to 97 % on three sets of simulated loops; chosen, no source.
STILL_WIDER = 1.04
# A level that wanders too slowly for the window to show hides beneath its noise, and a swing is
# seldom the fitted waves: half-widths over two hours, times the root of the time; chosen on
# simulated loops, no source.
LEAST_HALF_WIDTH = 0.085 / 3600.0 * 7200.0**0.5  # K/s sqrt(s)
BESIDE_SWING = 0.17 / 3600.0 * 7200.0**0.5  # K/s sqrt(s)
FLAT_K = 1e-6  # range about the line below which there is no noise to go by
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
        note="Stated at 95 %, checked on noise of known memory and on simulated loops: less is "
        "covered where the noise remembers more than the window is long.",
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
        Its standard error as the verdict learned it, not behind the interval [K/s].
    level, level_error : float
        Value in the middle of the window and its standard error [K].
    effective_samples : float
        Independent stretches the window is worth, by the correlation of neighbouring ones about
        the line [-].
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
    fits = _fitted(time, tamed, columns)
    (value, level), (spread, level_spread) = _averaged(fits)
    hidden = _hidden_by_rounding(rounding, noise)
    unseen = ROUNDING_SLOPE * hidden
    half = _half_width(fits, value, unseen, span, swings=columns.shape[1] > 2)
    return Slope(
        value=value / span,
        low=value / span - half,
        high=value / span + half,
        standard_error=math.hypot(math.sqrt(spread * STAYS_NARROW**2), unseen) / span,
        level=level,
        level_error=math.hypot(math.sqrt(level_spread), hidden / math.sqrt(12.0)),
        effective_samples=_worth(tamed, columns),
    )


@dataclass(frozen=True, slots=True)
class _Fits:
    """One line fitted under each model of the noise, times in lengths of the window.

    Attributes
    ----------
    losses : ndarray
        Minus twice the logarithm of each restricted likelihood [-], shape (models,).
    letters, variances : ndarray
        Level and slope, and their variances [K, K2], shape (models, 2).
    freedom : int
        Degrees of freedom left [-].
    """

    losses: FloatArray
    letters: FloatArray
    variances: FloatArray
    freedom: int


def _worth(values: FloatArray, columns: FloatArray) -> float:
    """Independent stretches, by what is left about the fit; one where nothing is."""
    left = values - columns @ np.linalg.lstsq(columns, values, rcond=None)[0]
    return effective_samples(left, columns.shape[1]) if np.ptp(left) > FLAT_K else 1.0


def _half_width(fits: _Fits, value: float, unseen: float, span: float, *, swings: bool) -> float:
    """Half-width of the 95 % interval of the slope about a value [K/s]."""
    weight = _weights(fits.losses - 2.0 * _favours(), DECIDES)
    square = fits.variances[:, 1] + (fits.letters[:, 1] - value) ** 2 + unseen**2
    typical = math.exp(0.5 * float(weight @ np.log(square)))
    half = STILL_WIDER * student_quantile(fits.freedom) * typical / span
    if swings:
        return math.hypot(half, BESIDE_SWING / math.sqrt(span))
    return max(half, LEAST_HALF_WIDTH / math.sqrt(span))


def _weights(losses: FloatArray, power: float = 1.0) -> FloatArray:
    weight = np.exp(-0.5 * power * (losses - np.min(losses)))
    return np.asarray(weight / np.sum(weight))


@lru_cache(maxsize=1)
def _favours() -> FloatArray:
    """What each model of the noise is given beforehand [logarithm of a likelihood]."""
    return np.array(
        [
            FAVOURS_MEMORY * math.log(memory / MEMORIES[0]) - FAVOURS_NO_SHARE * share
            if memory
            else FAVOURS_INDEPENDENT
            for memory, share in _grid()
        ]
    )


@lru_cache(maxsize=1)
def _grid() -> list[tuple[float, float]]:
    """Memory and independent share of each model; no memory is independent noise alone."""
    return [(0.0, 1.0), *((m, share) for m in MEMORIES for share in INDEPENDENT_SHARES)]


@lru_cache(maxsize=1)
def _learned() -> list[int]:
    """Those of the models that the verdict learned from."""
    return [
        k
        for k, (memory, share) in enumerate(_grid())
        if memory == 0.0 or (memory in LEARNED_MEMORIES and share in LEARNED_SHARES)
    ]


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


def _fitted(time: FloatArray, values: FloatArray, columns: FloatArray) -> _Fits:
    n, p = columns.shape
    whitening, logs = _noise_models(time.tobytes())
    white = whitening @ np.column_stack([columns, values])
    products = np.swapaxes(white, 1, 2) @ white
    normal = products[:, :p, :p]
    inverse = np.linalg.inv(normal)
    letters = (inverse @ products[:, :p, p:])[:, :, 0]
    left = products[:, p, p] - np.sum(letters * products[:, :p, p], axis=1)
    left = np.maximum(left, 1e-12)
    losses = logs + np.linalg.slogdet(normal)[1] + (n - p) * np.log(left)
    variances = (left / (n - p))[:, None] * np.diagonal(inverse, axis1=1, axis2=2)
    return _Fits(losses, letters[:, :2], variances[:, :2], n - p)


def _averaged(fits: _Fits) -> tuple[tuple[float, float], tuple[float, float]]:
    """Slope and level over the learned models, and their variances, the spread between included."""
    learned = _learned()
    weight = _weights(fits.losses[learned])
    letters, variances = fits.letters[learned], fits.variances[learned]
    value, level = weight @ letters[:, 1], weight @ letters[:, 0]
    spread = weight @ (variances[:, 1] + (letters[:, 1] - value) ** 2)
    level_spread = weight @ (variances[:, 0] + (letters[:, 0] - level) ** 2)
    return (float(value), float(level)), (float(spread), float(level_spread))


@lru_cache(maxsize=16)
def _noise_models(time_bytes: bytes) -> tuple[FloatArray, FloatArray]:
    """Whitening matrix and logarithm of the determinant of each model, for these times."""
    time = np.frombuffer(time_bytes)
    gap = np.abs(time[:, None] - time[None, :])
    identity = np.eye(time.size)
    models = [
        (1.0 - share) * np.exp(-gap / memory) + share * identity if memory else identity
        for memory, share in _grid()
    ]
    root = np.linalg.cholesky(np.array(models))
    logs = 2.0 * np.sum(np.log(np.diagonal(root, axis1=1, axis2=2)), axis=1)
    whitening = np.asarray(np.linalg.inv(root), dtype=np.float64)
    return whitening, np.asarray(logs, dtype=np.float64)


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
