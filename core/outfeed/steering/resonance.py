"""How far a loop damps, from the spectrum of its trace.

Noise that enters a loop keeps it ringing at the rate of its dominant pair of poles, long after the
last step has died away; so does a step, once. Either way the spectrum of the trace is that of an
oscillator,

    S(f) = s2 / |(2 pi i f + a)^2 + (2 pi / P)^2|^2 + white noise,

with a decay a P over a period P. Every oscillator of a grid is held against the periodogram of the
tapered trace by the likelihood of Whittle [1]_, its scale at its best value, and what is told are
means over the grid: a broad peak seen for one period says little, and the spread says so.

References
----------
.. [1] Whittle, P. (1953). Estimation and information in stationary time series. Arkiv foer
   Matematik 2, 423-434.
.. [2] Riedel, K. S. and Sidorenko, A. (1995). Minimum bias multiple taper spectral estimation.
   IEEE Trans. Signal Processing 43, 188-195 (the sine taper).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import RECALLED, Method
from outfeed.steering.noise import BinnedTrace

POINTS = 128  # of the resampled trace
LINES = 40  # of its spectrum, by cycles over the trace
# The numbers below are chosen, no source. The grid: periods over the length of the trace,
# logarithms of one swing over the next, white noise over the mean of the oscillator's lines.
PERIODS = np.geomspace(0.12, 3.0, 20)
DECAYS = np.linspace(0.0, 3.5, 12)
WHITE = np.array([0.0, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0])
LEAST_DECAY = 0.15  # a swing that never dies would have a line of no width
# Lines of a tapered spectrum lean on their neighbours, so each counts for less than one.
WORTH = 0.6
LASTING, DYING = 2, 6  # decays of the grid before and from which a swing lasts or soon ends
LONG = 0.75  # period over the length of the trace from which it shows too little
FLOOR = 1e-8  # under a line of the periodogram of a trace of spread one
FEWEST = 8  # stretches
STRAIGHT = 1e-6  # spread about a line over the range, by which rounding alone is left

METHODS = (
    Method(
        "steering.resonance",
        "Damping of a loop from the spectrum of its trace",
        "likelihood of Whittle (1953), Arkiv foer Matematik 2, 423-434, over a grid of oscillators",
        RECALLED,
    ),
)


@dataclass(frozen=True, slots=True)
class Resonance:
    """What the spectrum says of the loop behind a trace.

    Attributes
    ----------
    period, period_sd : float
        Mean and standard deviation of the logarithm of period over length of the trace [-].
    decay, decay_sd : float
        The same of the logarithm of one swing over the next, zero or more [-].
    lasting, dying, long : float
        Chance that swings last, that they die within a period, and that the period is most of
        the trace or more [-].
    white : float
        Mean place of the noise in the grid of `WHITE` [-].
    strength : float
        Root of the mean line of the likeliest oscillator's spectrum, as a half swing [K].
    best_period, best_decay : float
        Of the likeliest oscillator, as above [-].
    """

    period: float
    period_sd: float
    decay: float
    decay_sd: float
    lasting: float
    dying: float
    long: float
    white: float
    strength: float
    best_period: float
    best_decay: float


def find_resonance(trace: BinnedTrace) -> Resonance | None:
    """Hold the spectrum of a trace against a grid of oscillators.

    Parameters
    ----------
    trace : BinnedTrace
        Error over equal stretches of time [K], or any output.

    Returns
    -------
    Resonance or None
        None with fewer than eight stretches, or where all lie on one straight line.
    """
    if trace.times.size < FEWEST:
        return None
    at = np.linspace(trace.times[0], trace.times[-1], POINTS)
    values = np.interp(at, trace.times, trace.values)
    values = values - np.mean(values)
    line = np.linspace(-1.0, 1.0, POINTS)
    values = values - line * float(line @ values / (line @ line))
    size = float(np.std(values))
    if size <= STRAIGHT * max(float(np.ptp(trace.values)), 1e-12):
        return None
    taper = np.sin(np.pi * (np.arange(POINTS) + 0.5) / POINTS)
    power = np.abs(np.fft.rfft(values / size * taper)[1 : LINES + 1]) ** 2 + FLOOR
    inverse, logarithms = _spectra()
    scale = inverse @ power / LINES
    likelihood = -WORTH * (LINES * np.log(scale) + logarithms)
    chance = np.exp(likelihood - np.max(likelihood))
    by_grid = (chance / np.sum(chance)).reshape(PERIODS.size, DECAYS.size, WHITE.size)
    by_period, by_decay = by_grid.sum(axis=(1, 2)), by_grid.sum(axis=(0, 2))
    period, period_sd = _mean_and_sd(by_period, np.log(PERIODS))
    decay, decay_sd = _mean_and_sd(by_decay, DECAYS)
    best = np.unravel_index(int(np.argmax(likelihood)), by_grid.shape)
    return Resonance(
        period=period,
        period_sd=period_sd,
        decay=decay,
        decay_sd=decay_sd,
        lasting=float(by_decay[:LASTING].sum()),
        dying=float(by_decay[DYING:].sum()),
        long=float(by_period[PERIODS > LONG].sum()),
        white=float(by_grid.sum(axis=(0, 1)) @ np.arange(WHITE.size)),
        strength=2.0 / POINTS * size * float(np.sqrt(scale[int(np.argmax(likelihood))])),
        best_period=float(np.log(PERIODS[best[0]])),
        best_decay=float(DECAYS[best[1]]),
    )


def _mean_and_sd(chance: FloatArray, values: FloatArray) -> tuple[float, float]:
    mean = float(chance @ values)
    return mean, float(np.sqrt(max(float(chance @ (values - mean) ** 2), 0.0)))


@lru_cache(maxsize=1)
def _spectra() -> tuple[FloatArray, FloatArray]:
    """One over the lines of every oscillator of the grid, one a row, and the logarithm of all its
    lines multiplied; the mean line is one without the noise."""
    s = 2j * np.pi * np.arange(1, LINES + 1)
    period = PERIODS[:, None, None]
    rate = (DECAYS[None, :, None] + LEAST_DECAY) / period
    line = np.abs((s + rate) ** 2 + (2.0 * np.pi / period) ** 2) ** -2.0
    line = line / line.mean(axis=-1, keepdims=True)
    lines = (line[:, :, None, :] + WHITE[:, None]).reshape(-1, LINES)
    return 1.0 / lines, np.log(lines).sum(axis=1)
