"""Published single methods of judging a control loop, each on its own.

`outfeed.steering.trend` takes evidence from all of them; here they stand alone, so that each can
be used, checked and compared.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import READ, RECALLED, Method

RATIO_FILTERS = (0.2, 0.1, 0.1)  # Cao and Rhinehart (1995)

METHODS = (
    Method(
        "steering.integrated-error",
        "Swings from the area between crossings of the setpoint",
        "Hagglund (1995), A control-loop performance monitor, Control Eng. Practice 3, 1543-1551",
        f"{RECALLED}; abstract {READ}",
    ),
    Method(
        "steering.crossing-regularity",
        "Swings from the regularity of the areas and intervals between crossings",
        "Thornhill and Hagglund (1997), Detection and diagnosis of oscillation in control loops, "
        "Control Eng. Practice 5, 1343-1354",
        RECALLED,
    ),
    Method(
        "steering.autocorrelation-regularity",
        "Swings from the regularity of the crossings of the autocorrelation",
        "Thornhill, Huang and Zhang (2003), Detection of multiple oscillations in control loops, "
        "J. Process Control 13, 91-100",
        RECALLED,
    ),
    Method(
        "steering.idle-index",
        "Sluggish control from the times in which output and temperature move together",
        "Hagglund (1999), Automatic detection of sluggish control loops, Control Eng. Practice "
        "7, 1505-1511",
        RECALLED,
    ),
    Method(
        "steering.steady-state-ratio",
        "Steady or not, from the ratio of two variances",
        "Cao and Rhinehart (1995), An efficient method for on-line identification of steady "
        "state, J. Process Control 5, 363-374",
        RECALLED,
    ),
    Method(
        "steering.mann-kendall",
        "Monotone trend by ranks, variance corrected for autocorrelation",
        "Mann (1945), Econometrica 13, 245-259; Hamed and Rao (1998), J. Hydrology 204, 182-196",
        RECALLED,
    ),
)


@dataclass(frozen=True, slots=True)
class Crossings:
    """Half swings between crossings of zero.

    Attributes
    ----------
    areas : ndarray
        Area between the trace and zero of each complete half swing [K s].
    intervals : ndarray
        Time each took [s].
    """

    areas: FloatArray
    intervals: FloatArray

    @property
    def regularity(self) -> float:
        """Mean over standard deviation of the areas [-]; zero with fewer than three."""
        return _regularity(self.areas)

    @property
    def interval_regularity(self) -> float:
        """Mean over standard deviation of the intervals [-]; zero with fewer than three."""
        return _regularity(self.intervals)

    @property
    def period(self) -> float | None:
        """Twice the mean interval [s]; None without a complete half swing."""
        return 2.0 * float(np.mean(self.intervals)) if self.intervals.size else None


@dataclass(frozen=True, slots=True)
class MannKendall:
    """Outcome of the Mann-Kendall test.

    Attributes
    ----------
    score : int
        Pairs that rise less pairs that fall [-].
    variance : float
        Variance of the score without a trend [-], corrected for ties and autocorrelation.
    correction : float
        Factor by which autocorrelation changed the variance [-].
    z : float
        Standard normal deviate [-].
    p : float
        Two-sided probability of a larger deviate without a trend [-].
    """

    score: int
    variance: float
    correction: float
    z: float
    p: float


def integrated_error(times: FloatArray, error: FloatArray) -> Crossings:
    """Areas and durations of the half swings between crossings of the setpoint.

    Parameters
    ----------
    times : ndarray
        Times, rising [s].
    error : ndarray
        Temperature minus setpoint [K].

    Returns
    -------
    Crossings
        Only half swings that begin and end inside the trace.

    References
    ----------
    .. [1] Hagglund, T. (1995). Control Engineering Practice 3, 1543-1551.
    .. [2] Thornhill, N. F. and Hagglund, T. (1997). Control Engineering Practice 5, 1343-1354.
    """
    at = _crossing_times(times, error)
    if at.size < 2:
        return Crossings(np.empty(0), np.empty(0))
    mesh = np.concatenate([times, at])
    curve = np.concatenate([np.abs(error), np.zeros(at.size)])
    order = np.argsort(mesh, kind="stable")
    mesh, curve = mesh[order], curve[order]
    running = np.concatenate([[0.0], np.cumsum(np.diff(mesh) * (curve[1:] + curve[:-1]) / 2.0)])
    return Crossings(np.diff(np.interp(at, mesh, running)), np.diff(at))


def large_areas(crossings: Crossings, ultimate_period: float, acceptable: float) -> int:
    """How many half swings enclose more than an acceptable swing would.

    Parameters
    ----------
    crossings : Crossings
        Half swings.
    ultimate_period : float
        Period at the limit of stability, or the integral time if that is unknown [s].
    acceptable : float
        Half swing that is still accepted [K].

    Returns
    -------
    int
        Their number; ten in a supervision time of fifty half periods mean a swing.

    References
    ----------
    .. [1] Hagglund (1995): the limit is 2 a / omega, the area of half a sine of amplitude a.
    """
    limit = acceptable * ultimate_period / math.pi
    return int(np.count_nonzero(crossings.areas > limit))


def autocorrelation_regularity(values: FloatArray) -> tuple[float, float]:
    """Regularity of the crossings of the autocorrelation, and the period in steps.

    Parameters
    ----------
    values : ndarray
        Error at equal steps, its mean removed here [K].

    Returns
    -------
    tuple of float
        A third of mean over standard deviation of the periods [-], above one for a regular
        swing, and the mean period [steps]; zeros with fewer than three crossings.

    References
    ----------
    .. [1] Thornhill, Huang and Zhang (2003), J. Process Control 13, 91-100. At most eleven
       crossings are used, as there.
    """
    autocorrelation = _autocorrelation(values)
    lags = np.arange(autocorrelation.size, dtype=np.float64)
    # The far half of the lags rests on too few pairs.
    usable = max(autocorrelation.size * 3 // 4, 2)
    at = _crossing_times(lags[:usable], autocorrelation[:usable])[:11]
    if at.size < 3:
        return 0.0, 0.0
    periods = 2.0 * np.diff(at)
    return _regularity(periods, least=2) / 3.0, float(np.mean(periods))


def idle_index(times: FloatArray, output: FloatArray, temperature: FloatArray) -> float:
    """Idle index: whether output and temperature drift along together after a disturbance.

    Parameters
    ----------
    times : ndarray
        Times, rising [s].
    output : ndarray
        Output of the controller, smoothed, such that more of it raises the temperature.
    temperature : ndarray
        Temperature, smoothed [degC].

    Returns
    -------
    float
        Between -1 and 1 [-]; above about 0.4 control is sluggish, below -0.4 lively; zero when
        nothing moves.

    References
    ----------
    .. [1] Hagglund (1999), Control Engineering Practice 7, 1505-1511.
    """
    steps = np.diff(times)
    product = np.diff(output) * np.diff(temperature)
    together = float(np.sum(steps[product > 0.0]))
    against = float(np.sum(steps[product < 0.0]))
    moving = together + against
    return (together - against) / moving if moving > 0.0 else 0.0


def steady_state_ratio(values: FloatArray) -> FloatArray:
    """Ratio of two filtered variances, near one while a signal is steady.

    Parameters
    ----------
    values : ndarray
        Readings, in order and far enough apart to be independent [K].

    Returns
    -------
    ndarray
        The ratio after each reading [-]; one at the first.

    References
    ----------
    .. [1] Cao and Rhinehart (1995), J. Process Control 5, 363-374, with filter factors 0.2, 0.1
       and 0.1; a ratio above about 2 is taken as not steady.
    """
    l1, l2, l3 = RATIO_FILTERS
    mean = float(values[0])
    start = float(np.var(np.diff(values))) if values.size > 2 else 1.0
    about_mean, stepwise = start / (2.0 - l1), start
    ratios = np.ones(values.size)
    readings = values.tolist()
    for index in range(1, len(readings)):
        value = readings[index]
        about_mean = l2 * (value - mean) ** 2 + (1.0 - l2) * about_mean
        mean = l1 * value + (1.0 - l1) * mean
        stepwise = l3 * (value - readings[index - 1]) ** 2 + (1.0 - l3) * stepwise
        ratios[index] = (2.0 - l1) * about_mean / stepwise if stepwise > 0.0 else 1.0
    return ratios


def mann_kendall(values: FloatArray, *, autocorrelated: bool = True) -> MannKendall:
    """Test for a monotone trend, its variance corrected for autocorrelation.

    Parameters
    ----------
    values : ndarray
        Readings in order, at least four [any unit].
    autocorrelated : bool
        Whether to apply the correction of Hamed and Rao.

    Returns
    -------
    MannKendall
        Score, variance, deviate and probability.

    References
    ----------
    .. [1] Mann, H. B. (1945). Econometrica 13, 245-259.
    .. [2] Hamed, K. H. and Rao, A. R. (1998). Journal of Hydrology 204, 182-196: ranks of the
       detrended series, lags whose correlation is significant at 5 %.
    """
    n = values.size
    score = int(np.sum(np.triu(np.sign(values[None, :] - values[:, None]), 1)))
    ties = np.unique(values, return_counts=True)[1].astype(np.float64)
    variance = (n * (n - 1) * (2 * n + 5) - float(np.sum(ties * (ties - 1) * (2 * ties + 5)))) / 18
    correction = _hamed_rao(values) if autocorrelated else 1.0
    corrected = variance * correction
    z = (score - np.sign(score)) / math.sqrt(corrected) if corrected > 0.0 else 0.0
    return MannKendall(
        score, corrected, correction, float(z), math.erfc(abs(float(z)) / math.sqrt(2.0))
    )


def _hamed_rao(values: FloatArray) -> float:
    n = values.size
    first, second = np.triu_indices(n, 1)
    slope = float(np.median((values[second] - values[first]) / (second - first)))
    left = values - slope * np.arange(n)
    ranks = np.argsort(np.argsort(left, kind="stable"), kind="stable").astype(np.float64)
    correlation = _autocorrelation(ranks)
    # Departs from the source, which takes every lag: chance correlations at far lags would
    # swamp the sum. The range is the customary 10 log10(n).
    last = min(n - 2, int(10.0 * math.log10(n)) + 1)
    lags = np.arange(1, last)
    significant = np.abs(correlation[1:last]) > 1.96 / math.sqrt(n)
    weights = (n - lags) * (n - lags - 1.0) * (n - lags - 2.0)
    total = float(np.sum(weights * correlation[1:last] * significant))
    return max(1.0 + 2.0 * total / (n * (n - 1.0) * (n - 2.0)), 1.0 / n)


def _autocorrelation(values: FloatArray) -> FloatArray:
    centred = values - np.mean(values)
    power = float(np.dot(centred, centred))
    if power <= 0.0:
        return np.zeros(values.size)
    length = 1 << (2 * values.size - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(centred, length)) ** 2
    return np.asarray(np.fft.irfft(spectrum, length)[: values.size] / power)


def _crossing_times(times: FloatArray, values: FloatArray) -> FloatArray:
    left = np.flatnonzero(np.signbit(values[1:]) != np.signbit(values[:-1]))
    rise = values[left + 1] - values[left]
    safe = np.where(rise == 0.0, 1.0, rise)
    return np.asarray(times[left] - values[left] / safe * (times[left + 1] - times[left]))


def _regularity(numbers: FloatArray, least: int = 3) -> float:
    if numbers.size < least:
        return 0.0
    spread = float(np.std(numbers, ddof=1))
    mean = float(np.mean(numbers))
    return min(mean / spread, 100.0) if spread > 0.01 * mean else 100.0
