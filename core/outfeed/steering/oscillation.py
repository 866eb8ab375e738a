"""Is there a swing in the trace, how long is its period, and does it grow or die away?

One model of a trend plus a growing or decaying sinusoid,

    e(t) = a + b t + exp(lambda t) (c cos(omega t) + d sin(omega t)),

is fitted by linear least squares over a grid of periods and decay rates and then refined by
Gauss-Newton on the two nonlinear letters (variable projection [1]_). Irregular sampling costs
nothing, because nothing is resampled. On a trace of a linear loop after a disturbance the pair
lambda and omega is the loop's dominant pair of poles.

References
----------
.. [1] Golub, G. H. and Pereyra, V. (1973). The differentiation of pseudo-inverses and nonlinear
   least squares problems whose variables separate. SIAM J. Numerical Analysis 10, 413-432.
.. [2] Zechmeister, M. and Kurster, M. (2009). The generalised Lomb-Scargle periodogram. Astronomy &
   Astrophysics 496, 577-584, for the chance of a swing in noise alone; recalled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import RECALLED, Method
from outfeed.steering.noise import BinnedTrace, lag_one_correlation

PERIODS = 40  # grid points, spaced by ratio
LOG_DECAYS = np.array([-4.0, -2.6, -1.7, -1.1, -0.7, -0.38, -0.15, 0.05, 0.3, 0.6, 1.0, 1.5])
LOG_DECAY_WIDTHS = np.gradient(LOG_DECAYS)
GROWING = math.log(1.25)  # above this a swing grows
DYING = math.log(0.62)  # below this it dies away
FEWEST_BINS_PER_PERIOD = 3.5
LONGEST_PERIOD_OF_SPAN = 1.25
MOST_CYCLES = 40.0
REFINEMENTS = 6
SETTLED = 1e-5  # relative gain of a refinement after which another is not worth its time
RIDGE = 1e-10
SMALLEST_FIT = 10  # stretches
# Independent swings that the search over periods and decay rates tries, a reading: so many give
# one in a hundred of 600 white traces of 10 to 120 readings a chance below 0.01.
SEARCHED = 2.0

METHODS = (
    Method(
        "steering.swing-fit",
        "Trend plus growing or decaying sinusoid, fitted by variable projection",
        "Golub and Pereyra (1973), SIAM J. Numer. Anal. 10, 413-432",
        RECALLED,
    ),
    Method(
        "steering.swing-chance",
        "Chance that noise alone shows a swing that explains as much",
        "false-alarm probability of a periodogram, Zechmeister and Kurster (2009), Astron. "
        "Astrophys. 496, 577-584",
        RECALLED,
        note="Independent swings tried, two a reading, were counted on simulated white noise.",
    ),
)


@dataclass(frozen=True, slots=True)
class Swing:
    """A sinusoid that grows or dies away, fitted beside a straight line.

    Attributes
    ----------
    period : float
        Period [s].
    log_decay : float
        Natural logarithm of the ratio of one swing to the one before, a period later [-].
    log_decay_se : float
        Its standard error, autocorrelation of the residuals allowed for [-].
    chance_growing, chance_dying : float
        Probability that the decay ratio is above 1.25, and below 0.62, before anything else is
        known: from the likelihood over the grid, each decay rate at its best period [-].
    strength : float
        Logarithm of the likelihood gained by the sinusoid, for independent readings [-].
    amplitude_start, amplitude_end : float
        Half swing at the first and at the last reading [K].
    explained : float
        Share of the variance about the straight line that the sinusoid explains [-].
    cycles : float
        Periods in the trace [-].
    slope : float
        Slope of the line beside it [K/s].
    level : float
        Value of the line in the middle of the trace [K].
    residual_sd : float
        Standard deviation of what is left [K].
    fitted : ndarray
        The sinusoid alone at each stretch [K].
    residuals : ndarray
        What is left at each stretch [K].
    """

    period: float
    log_decay: float
    log_decay_se: float
    chance_growing: float
    chance_dying: float
    strength: float
    amplitude_start: float
    amplitude_end: float
    explained: float
    cycles: float
    slope: float
    level: float
    residual_sd: float
    fitted: FloatArray
    residuals: FloatArray

    def waves(self, times: FloatArray) -> FloatArray:
        """The two waves of the swing at other times of the same trace, one a column [-].

        Parameters
        ----------
        times : ndarray
            Times [s].

        Returns
        -------
        ndarray
            Cosine and sine with their common envelope, at most one at the last of `times`.
        """
        turns = (times - times[-1]) / self.period
        envelope = np.exp(np.clip(self.log_decay * turns, -30.0, 30.0))
        angle = 2.0 * np.pi * turns
        return np.column_stack([envelope * np.cos(angle), envelope * np.sin(angle)])

    @property
    def decay_ratio(self) -> float:
        """Ratio of one swing to the one before [-]; above one it grows."""
        return float(np.exp(self.log_decay))

    @property
    def chance_of_noise(self) -> float:
        """Chance that noise alone shows a swing that explains as much somewhere [-] [2]_."""
        worth = _worth(self.residuals)
        left = min(max(1.0 - self.explained, 0.0), 1.0)
        one = left ** max(0.5 * (worth - 4.0), 0.0)  # line and two waves are fitted
        return 1.0 if one >= 1.0 else -math.expm1(SEARCHED * worth * math.log1p(-one))


def fit_swing(trace: BinnedTrace) -> Swing | None:
    """Fit a straight line and a growing or decaying sinusoid.

    Parameters
    ----------
    trace : BinnedTrace
        Error over equal stretches of time [K].

    Returns
    -------
    Swing or None
        None when the trace is too short for the six letters of the model.
    """
    n = trace.times.size
    if n < SMALLEST_FIT:
        return None
    span = float(trace.times[-1] - trace.times[0])
    # In units of the trace's length, so that the normal equations are well scaled.
    time = (trace.times - 0.5 * (trace.times[0] + trace.times[-1])) / span
    shortest = max(FEWEST_BINS_PER_PERIOD * trace.width / span, 1.0 / MOST_CYCLES)
    periods = np.geomspace(shortest, LONGEST_PERIOD_OF_SPAN, PERIODS)
    gained, power = _gained_on_grid(time, trace.values, periods, LOG_DECAYS)
    best = int(np.argmax(gained))
    period = float(periods[best // LOG_DECAYS.size])
    log_decay = float(LOG_DECAYS[best % LOG_DECAYS.size])
    swing = _refined(time, trace.values, period, log_decay, (shortest, float(periods[-1])))
    swing = replace(swing, period=swing.period * span, slope=swing.slope / span)
    return _with_chances(swing, gained, power)


def _with_chances(swing: Swing, gained: FloatArray, power: float) -> Swing:
    """Weigh each decay rate by its likelihood, the readings counted as independent ones."""
    worth = _worth(swing.residuals)
    left = np.maximum(power - np.max(gained, axis=0), 1e-9 * power + 1e-12)
    weight = np.exp(-0.5 * worth * np.log(left / np.min(left))) * LOG_DECAY_WIDTHS
    weight = weight / np.sum(weight)
    explained = min(max(swing.explained, 0.0), 1.0 - 1e-9)
    return replace(
        swing,
        chance_growing=float(np.sum(weight[LOG_DECAYS > GROWING])),
        chance_dying=float(np.sum(weight[LOG_DECAYS < DYING])),
        strength=float(-0.5 * worth * np.log1p(-explained)),
    )


def _worth(residuals: FloatArray) -> float:
    """How many independent readings a fit rests on [-]."""
    rho = max(lag_one_correlation(residuals, 6), 0.0)
    return residuals.size * (1.0 - rho) / (1.0 + rho)


def _gained_on_grid(
    time: FloatArray, values: FloatArray, periods: FloatArray, log_decays: FloatArray
) -> tuple[FloatArray, float]:
    """Sum of squares that each pair of waves explains, and the sum of squares about the line."""
    line, _ = np.linalg.qr(np.column_stack([np.ones_like(time), time]))
    target = values - line @ (line.T @ values)
    turns = time / periods[:, None]
    cosine, sine = np.cos(2.0 * np.pi * turns), np.sin(2.0 * np.pi * turns)
    # Scaled to at most one anywhere, so that neither end overflows. It is the one large array:
    # written in place, and multiplied with a few thin ones.
    envelope = log_decays[None, :, None] * turns[:, None, :]
    envelope -= (np.abs(log_decays) * np.abs(time[0]) / periods[:, None])[:, :, None]
    np.exp(envelope, out=envelope)
    cy, c0, c1 = _sums(envelope, [cosine * column for column in (target, *line.T)])
    sy, s0, s1 = _sums(envelope, [sine * column for column in (target, *line.T)])
    envelope *= envelope
    cc, ss, cs = _sums(envelope, [cosine**2, sine**2, cosine * sine])
    cc, ss, cs = cc - c0**2 - c1**2, ss - s0**2 - s1**2, cs - c0 * s0 - c1 * s1
    determinant = cc * ss - cs**2
    safe = determinant > 1e-6 * cc * ss
    top = ss * cy**2 - 2.0 * cs * cy * sy + cc * sy**2
    gained = np.where(safe, top / np.where(safe, determinant, 1.0), -1.0)
    return gained, float(np.dot(target, target))


def _sums(envelope: FloatArray, shapes: list[FloatArray]) -> FloatArray:
    """Sum over time of every envelope of a period times each shape of that period."""
    return np.asarray(np.moveaxis(envelope @ np.stack(shapes, axis=1).swapaxes(1, 2), -1, 0))


def _least_squares(columns: FloatArray, values: FloatArray) -> FloatArray:
    """Letters by the normal equations, columns scaled and a hair of ridge against singularity."""
    size = np.sqrt((columns * columns).sum(axis=0)) + 1e-30
    scaled = columns / size
    normal = scaled.T @ scaled
    normal.flat[:: normal.shape[0] + 1] += RIDGE
    return np.asarray(np.linalg.solve(normal, scaled.T @ values) / size)


def _columns(time: FloatArray, omega: float, rate: float) -> FloatArray:
    envelope = np.exp(rate * time)
    return np.column_stack(
        [
            np.ones_like(time),
            time,
            envelope * np.cos(omega * time),
            envelope * np.sin(omega * time),
        ]
    )


def _refined(
    time: FloatArray,
    values: FloatArray,
    period: float,
    log_decay: float,
    allowed: tuple[float, float],
) -> Swing:
    omega, rate = 2.0 * np.pi / period, log_decay / period
    columns, letters, residuals = _linear(time, values, omega, rate)
    power = float(np.dot(residuals, residuals))
    for _ in range(REFINEMENTS):
        jacobian = _jacobian(time, columns, letters)
        step = _least_squares(jacobian, residuals)[4:]
        before = power
        for shrink in (1.0, 0.5, 0.2):
            new_omega, new_rate = omega + shrink * step[0], rate + shrink * step[1]
            if not 2.0 * np.pi / allowed[1] <= new_omega <= 2.0 * np.pi / allowed[0]:
                continue
            if not -5.0 <= 2.0 * np.pi * new_rate / new_omega <= 1.6:
                continue
            trial = _linear(time, values, new_omega, new_rate)
            if np.dot(trial[2], trial[2]) < power:
                omega, rate, power = new_omega, new_rate, float(np.dot(trial[2], trial[2]))
                columns, letters, residuals = trial
                break
        if power >= (1.0 - SETTLED) * before:
            break
    return _swing(time, values, omega, rate, (columns, letters, residuals))


def _linear(
    time: FloatArray, values: FloatArray, omega: float, rate: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    columns = _columns(time, omega, rate)
    letters = _least_squares(columns, values)
    return columns, letters, values - columns @ letters


def _jacobian(time: FloatArray, columns: FloatArray, letters: FloatArray) -> FloatArray:
    c, d = letters[2], letters[3]
    by_omega = time * (d * columns[:, 2] - c * columns[:, 3])
    by_rate = time * (c * columns[:, 2] + d * columns[:, 3])
    return np.column_stack([columns, by_omega, by_rate])


def _swing(
    time: FloatArray,
    values: FloatArray,
    omega: float,
    rate: float,
    linear: tuple[FloatArray, FloatArray, FloatArray],
) -> Swing:
    columns, letters, residuals = linear
    n = time.size
    period = 2.0 * np.pi / omega
    half = float(np.hypot(letters[2], letters[3]))
    line = _least_squares(columns[:, :2], values)
    about_line = values - columns[:, :2] @ line
    power = float(np.dot(about_line, about_line))
    left = float(np.dot(residuals, residuals))
    sd = np.sqrt(left / max(n - 6, 1))
    jacobian = _jacobian(time, columns, letters)
    spread = np.linalg.pinv(jacobian.T @ jacobian)
    rho = max(lag_one_correlation(residuals, 6), 0.0)
    inflation = (1.0 + rho) / (1.0 - rho)
    rate_se = sd * np.sqrt(max(spread[5, 5], 0.0) * inflation)
    return Swing(
        period=period,
        log_decay=rate * period,
        log_decay_se=float(min(rate_se * period, 10.0)),
        chance_growing=0.0,
        chance_dying=0.0,
        strength=0.0,
        amplitude_start=half * float(np.exp(rate * time[0])),
        amplitude_end=half * float(np.exp(rate * time[-1])),
        explained=1.0 - left / power if power > 0.0 else 0.0,
        cycles=float(time[-1] - time[0]) / period,
        slope=float(letters[1]),
        level=float(letters[0]),
        residual_sd=float(sd),
        fitted=columns[:, 2:] @ letters[2:],
        residuals=residuals,
    )
