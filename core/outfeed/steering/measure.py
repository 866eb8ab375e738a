"""Everything that is measured on a trace before it gets a name.

`measure` takes a clean trace and returns a `Measured`: window, slope, swing, the moment something
knocked it, and the indices of the published single methods.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.limits import SENSIBLE, Range
from outfeed.steering.clean import SAMPLES, CleanTrace
from outfeed.steering.frozen import Run
from outfeed.steering.noise import BinnedTrace, bin_trace, noise_sd
from outfeed.steering.oscillation import Swing, fit_swing
from outfeed.steering.published import (
    autocorrelation_regularity,
    integrated_error,
    mann_kendall,
    steady_state_ratio,
)
from outfeed.steering.resonance import Resonance, find_resonance
from outfeed.steering.shapes import Shapes, fit_shapes
from outfeed.steering.slope import Slope, slope_interval
from outfeed.steering.turns import Turns, turns

TWO_HOURS_S = 7200.0
# A longer trace drawn in as many stretches blurs a loop's own swing; a day's swing still shows for
# a cycle and a half. Chosen, no source; and the readings that this must leave.
LONGEST_JUDGED_S = 36.0 * 3600.0
ENOUGH_READINGS = 60
SLOPE_BINS = 40  # of the last two hours; three minutes each
TAIL_FROM_S = 1.4 * TWO_HOURS_S  # a longer trace gets a second look at its end
TAIL_PERIODS = 2.5
TAIL_BINS = 100
SMOOTH_BINS = 3
FEWEST_READINGS = 4
USABLE = Range("number of usable readings", FEWEST_READINGS, SAMPLES.high, "", SENSIBLE)
FEWEST_STRETCHES = 4  # of the window that hold a reading; a slope has an error from three on
FEWEST_KNOCK_BINS = 12
LEAST_SCATTER_K = 0.01
# Control limits from which a swing is taken out of the slope.
SWING_CYCLES = 1.3
SWING_EXPLAINED = 0.5


@dataclass(frozen=True, slots=True)
class Knock:
    """The moment at which a quiet trace was pushed away from its level.

    Attributes
    ----------
    strength : float
        Gain in log-likelihood of two spreads over one, a reading [-].
    contrast : float
        Logarithm of the spread after over the spread before [-].
    before : float
        Spread before [K].
    peak : float
        Largest distance from the earlier level after it [K].
    since : float
        Time from the push to the end of the trace [s].
    share : float
        Where in the trace it lies, from 0 to 1 [-].
    left : float
        Distance at the end over the largest [-], with its sign.
    peak_share : float
        Where between push and end the largest distance lies, from 0 to 1 [-].
    """

    strength: float
    contrast: float
    before: float
    peak: float
    since: float
    share: float
    left: float
    peak_share: float


@dataclass(frozen=True, slots=True)
class Output:
    """What the second trace, the output of the controller, shows over the window.

    Attributes
    ----------
    at_limit : float
        Share of the time at its highest or its lowest value [-].
    told : bool
        Whether that value is a limit that was told, and not only its extreme in that time.
    moved : float
        Standard deviation over the size of its mean [-].
    times, values : ndarray
        What of it is judged, in order of time [s, any one scale].
    swing : Swing or None
        Swing over all of it, amplitudes on the scale of the output.
    one_way : float
        Distance from its first to its last value over its range [-].
    recent : float
        Range in the last two hours over the range of all of it [-].
    resonance : Resonance or None
        What its spectrum says.
    highest : bool
        Whether the value of `at_limit` is its highest.
    """

    at_limit: float
    told: bool
    moved: float
    times: FloatArray
    values: FloatArray
    swing: Swing | None = None
    one_way: float = 0.0
    recent: float = 0.0
    resonance: Resonance | None = None
    highest: bool = False


@dataclass(frozen=True, slots=True)
class Measured:
    """Numbers a verdict rests on (times in s, temperatures in K unless said otherwise).

    Attributes
    ----------
    readings : int
        Readings judged: since the last change of the setpoint, or since a long gap [-].
    span : float
        Their length [s].
    bunched : bool
        Whether so few stretches of the window hold a reading that it shows no trend.
    noise : float
        Noise of a reading [K].
    rounding : float
        Step of the readings [K].
    window : BinnedTrace
        The last two hours.
    whole : BinnedTrace
        All that is judged.
    swing, tail : Swing or None
        Swing over all of it, and over its end when the trace is long.
    slope : Slope
        Line through the window, beside the swing when there is one.
    plain : Slope
        Line through the window alone.
    smooth : ndarray
        Smoothed window [K].
    knock : Knock or None
        The likeliest push.
    regularity, interval_regularity, half_swings : float
        Areas and intervals between crossings [-].
    autocorrelation : float
        Regularity of the crossings of the autocorrelation [-].
    steady_ratio : float
        Mean ratio of variances over the later half of the window [-].
    rank_deviate : float
        Size of the Mann-Kendall deviate over the window [-].
    turns : Turns
        Heights between the turning points of all of it.
    shapes : Shapes or None
        What plain shapes explain of all of it.
    resonance : Resonance or None
        What the spectrum of all of it says.
    run : Run or None
        The longest run of one value.
    moved : bool
        Whether the setpoint moved inside the trace.
    output : Output or None
        From the second trace.
    """

    readings: int
    span: float
    bunched: bool
    noise: float
    rounding: float
    window: BinnedTrace
    whole: BinnedTrace
    swing: Swing | None
    tail: Swing | None
    slope: Slope
    plain: Slope
    smooth: FloatArray
    knock: Knock | None
    regularity: float
    interval_regularity: float
    half_swings: int
    autocorrelation: float
    steady_ratio: float
    rank_deviate: float
    turns: Turns
    shapes: Shapes | None
    resonance: Resonance | None
    run: Run | None
    moved: bool
    output: Output | None

    @property
    def last_swing(self) -> Swing | None:
        """The swing at the end of the trace."""
        return self.tail or self.swing


def measure(clean: CleanTrace, output: Output | None = None) -> Measured:
    """Measure a trace since the last change of its setpoint.

    Parameters
    ----------
    clean : CleanTrace
        At least four readings. With fewer of them since that change, or since a gap of more than
        two hours, the last four are measured, but only those since are counted.
    output : Output, optional
        What the output of the controller shows.

    Returns
    -------
    Measured
        The numbers.
    """
    since = judged_from(clean)
    start = min(since, clean.times.size - FEWEST_READINGS)
    times, error = clean.times[start:], clean.values[start:] - clean.setpoint[-1]
    whole = bin_trace(times, error)
    window, bunched = _window(times, error)
    noise = noise_sd(clean.times, clean.values, clean.resolution)
    swing = fit_swing(whole)
    tail = _tail(times, error, swing)
    slope, plain = _slopes(window, tail or swing, clean.resolution, noise)
    smooth = running_mean(window.values)
    centred = running_mean(whole.values - np.mean(whole.values))
    half_swings = integrated_error(whole.times, centred)
    ratios = steady_state_ratio(window.values)
    return Measured(
        readings=clean.times.size - since,
        span=float(times[-1] - clean.times[since]),
        bunched=bunched,
        noise=noise,
        rounding=clean.resolution,
        window=window,
        whole=whole,
        swing=swing,
        tail=tail,
        slope=slope,
        plain=plain,
        smooth=smooth,
        knock=find_knock(whole, noise),
        regularity=half_swings.regularity,
        interval_regularity=half_swings.interval_regularity,
        half_swings=half_swings.areas.size,
        autocorrelation=autocorrelation_regularity(whole.values)[0],
        steady_ratio=float(np.mean(ratios[ratios.size // 2 :])),
        rank_deviate=abs(mann_kendall(window.values).z),
        turns=turns(running_mean(whole.values), _noise_left(whole, noise)),
        shapes=fit_shapes(whole),
        resonance=find_resonance(whole),
        run=clean.run,
        moved=clean.since_setpoint > 0,
        output=output,
    )


def judged_from(clean: CleanTrace) -> int:
    """Where the part of a trace begins that is judged.

    Parameters
    ----------
    clean : CleanTrace
        The trace, at least one reading.

    Returns
    -------
    int
        Index of the first reading after the last change of the setpoint, after the last gap longer
        than the two hours of the window, or of the last 36 hours where they hold readings enough,
        whichever is latest.
    """
    recent = int(np.searchsorted(clean.times, clean.times[-1] - LONGEST_JUDGED_S))
    recent = min(recent, max(clean.times.size - ENOUGH_READINGS, 0))
    long = np.diff(clean.times) > TWO_HOURS_S
    # What is read no oftener than that has no gaps, only few readings.
    after = np.flatnonzero(long)[-1] + 1 if np.any(long) and not np.all(long) else 0
    return max(clean.since_setpoint, int(after), recent)


def crossings_per_two_hours(window: BinnedTrace, noise: float) -> float:
    """How often a trace crosses zero, as `crossing_times` finds it.

    Parameters
    ----------
    window : BinnedTrace
        Error over equal stretches of time [K].
    noise : float
        Noise of a single reading [K].

    Returns
    -------
    float
        Crossings, scaled to two hours [per 2 h].
    """
    count = crossing_times(window, noise).size
    span = float(window.times[-1] - window.times[0])
    return count * TWO_HOURS_S / span if span > 0.0 else 0.0


def crossing_times(window: BinnedTrace, noise: float) -> FloatArray:
    """When a trace crosses zero, small flickers about it not counted.

    Parameters
    ----------
    window : BinnedTrace
        Error over equal stretches of time [K].
    noise : float
        Noise of a single reading [K]; a crossing must come out on the other side by as much as
        the noise of a stretch.

    Returns
    -------
    ndarray
        Times [s], rising; the straight line from the last stretch on one side to the first on the
        other crosses there.
    """
    band = noise / float(np.sqrt(np.median(window.counts)))
    clear = np.abs(window.values) > band
    times, values = window.times[clear], window.values[clear]
    at = np.flatnonzero(np.diff(np.sign(values)))
    share = values[at] / (values[at] - values[at + 1])
    return np.asarray(times[at] + share * (times[at + 1] - times[at]))


def shows_swing(swing: Swing | None) -> bool:
    """Whether a fitted swing is more than a bend in the trace.

    Parameters
    ----------
    swing : Swing or None
        The fit.

    Returns
    -------
    bool
        True with enough cycles and enough of the variance explained.
    """
    if swing is None:
        return False
    return swing.cycles > SWING_CYCLES and swing.explained > SWING_EXPLAINED


def find_knock(trace: BinnedTrace, noise: float) -> Knock | None:
    """The likeliest moment at which a trace left the level it had kept.

    The spread about the earlier level is compared before and after each moment, by likelihood.

    Parameters
    ----------
    trace : BinnedTrace
        Error [K].
    noise : float
        Noise of a reading [K].

    Returns
    -------
    Knock or None
        None with fewer than twelve stretches.
    """
    values = running_mean(trace.values)
    n = values.size
    if n < FEWEST_KNOCK_BINS:
        return None
    least = max(noise / math.sqrt(float(np.median(trace.counts))), LEAST_SCATTER_K) ** 2
    at = np.unique(np.linspace(max(0.1 * n, 4), n - 4, 32).astype(np.int64))
    total = np.concatenate([[0.0], np.cumsum(values)])
    square = np.concatenate([[0.0], np.cumsum(values**2)])
    level = total[at] / at
    before = square[at] / at - level**2 + least
    after = (square[n] - square[at] - 2.0 * level * (total[n] - total[at])) / (n - at)
    after = after + level**2 + least
    whole = float(np.var(values)) + least
    gain = 0.5 * (n * math.log(whole) - at * np.log(before) - (n - at) * np.log(after))
    best = int(np.argmax(gain))
    start = int(at[best])
    away = values[start:] - level[best]
    top = int(np.argmax(np.abs(away)))
    peak = float(away[top])
    return Knock(
        strength=float(gain[best]) / n,
        contrast=0.5 * math.log(after[best] / before[best]),
        before=math.sqrt(before[best]),
        peak=abs(peak),
        since=float(trace.times[-1] - trace.times[start]),
        share=start / n,
        left=float(np.clip(np.mean(away[-3:]) / peak, -1.0, 1.0)) if peak else 1.0,
        peak_share=top / away.size,
    )


def running_mean(values: FloatArray, width: int = SMOOTH_BINS) -> FloatArray:
    """Mean of each value with its neighbours, the ends repeated.

    Parameters
    ----------
    values : ndarray
        Values at equal steps.
    width : int
        Values in the mean [-].

    Returns
    -------
    ndarray
        Same length.
    """
    width = min(width, max(values.size // 4, 1))
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    total = np.concatenate([[0.0], np.cumsum(padded)])
    return np.asarray((total[width:] - total[:-width]) / width)


def _window(times: FloatArray, error: FloatArray) -> tuple[BinnedTrace, bool]:
    """The last two hours in stretches, and whether the readings stand in too few of them."""
    recent = times >= times[-1] - TWO_HOURS_S
    if np.count_nonzero(recent) < FEWEST_READINGS:
        recent = np.arange(times.size) >= times.size - FEWEST_READINGS
    window = bin_trace(times[recent], error[recent], SLOPE_BINS)
    if window.times.size >= FEWEST_STRETCHES:
        return window, False
    # Readings that stand close together beside a hole: as many groups as a line needs.
    groups = np.array_split(np.flatnonzero(recent), FEWEST_STRETCHES)
    by_group = BinnedTrace(
        np.array([np.mean(times[group]) for group in groups]),
        np.array([np.mean(error[group]) for group in groups]),
        np.array([float(group.size) for group in groups]),
        float(np.ptp(times[recent])) / FEWEST_STRETCHES,
    )
    return by_group, True


def _tail(times: FloatArray, error: FloatArray, swing: Swing | None) -> Swing | None:
    span = float(times[-1] - times[0])
    if swing is None or span < TAIL_FROM_S:
        return None
    length = TWO_HOURS_S
    if shows_swing(swing):
        length = max(length, TAIL_PERIODS * swing.period)
    if span < 1.3 * length:
        return None
    keep = times >= times[-1] - length
    if np.count_nonzero(keep) < FEWEST_KNOCK_BINS:
        return None
    return fit_swing(bin_trace(times[keep], error[keep], TAIL_BINS))


def _noise_left(whole: BinnedTrace, noise: float) -> float:
    return noise / math.sqrt(SMOOTH_BINS * float(np.median(whole.counts)))


def _slopes(
    window: BinnedTrace, swing: Swing | None, rounding: float, noise: float
) -> tuple[Slope, Slope]:
    plain = slope_interval(window.times, window.values, rounding=rounding, noise=noise)
    if swing is None or not shows_swing(swing):
        return plain, plain
    waves = swing.waves(window.times)
    beside = slope_interval(
        window.times, window.values, beside=waves, rounding=rounding, noise=noise
    )
    return beside, plain
