"""Reading the trend of a controlled temperature against its setpoint.

`judge_trend` cleans a trace, measures it (noise, slope, offset, crossings, swing) and names what
it sees in one word, with the probability of each word. Slope and offset are judged on the last
two hours, a swing on all of the trace, because a swing that shows less than a cycle and a half
cannot be told from a drift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import OutOfRange
from outfeed.limits import Range
from outfeed.steering.clean import CleanTrace, clean_trace
from outfeed.steering.noise import BinnedTrace, bin_trace, noise_sd
from outfeed.steering.oscillation import Swing, fit_swing
from outfeed.steering.slope import Slope, slope_interval

VERDICTS = (
    "level",
    "drifting",
    "calming",
    "cycling",
    "growing",
    "stuck",
    "disturbed",
    "too-short",
    "sensor-fault",
)

HOUR_S = 3600.0
TWO_HOURS_S = 7200.0
SHORTEST_TRACE_S = 1200.0
FEWEST_READINGS = 10
SLOPE_BINS = 120  # the last two hours by the minute

# Points of moisture per kelvin of column temperature when steering by rate: -0.55 per degree F,
# the middle of what a column model gives for corn of 20 to 28 % inlet moisture.
POINTS_PER_KELVIN = -0.99
MOISTURE_SLOPE_LIMIT = 0.25  # points an hour
MOISTURE_OFFSET_LIMIT = 0.5  # points

SENSITIVITY = Range(
    "size of the moisture change per kelvin", 0.05, 5.0, "points/K", "sensible domain, no source"
)


@dataclass(frozen=True, slots=True)
class TrendLimits:
    """How much movement of the temperature still counts as level.

    Attributes
    ----------
    slope : float
        Largest slope [K/h].
    offset : float
        Largest distance of the mean from the setpoint [K].
    swing : float
        Largest half swing [K].
    """

    slope: float
    offset: float
    swing: float

    @classmethod
    def from_sensitivity(cls, points_per_kelvin: float = POINTS_PER_KELVIN) -> TrendLimits:
        """Limits that keep the outlet moisture within half a point and a quarter point an hour.

        Parameters
        ----------
        points_per_kelvin : float
            Points of outlet moisture per kelvin of column temperature; only its size counts.

        Returns
        -------
        TrendLimits
            The limits.

        Raises
        ------
        OutOfRange
            A size outside 0.05 to 5 points per kelvin.
        """
        size = float(SENSITIVITY.check(abs(points_per_kelvin), "points_per_kelvin"))
        offset = MOISTURE_OFFSET_LIMIT / size
        return cls(MOISTURE_SLOPE_LIMIT / size, offset, offset)


@dataclass(frozen=True, slots=True)
class Remark:
    """Something worth saying beside the verdict.

    Attributes
    ----------
    code : str
        Short stable name ("small-swing").
    numbers : tuple of float
        The numbers that belong to it, in the order the code's description gives.
    """

    code: str
    numbers: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Cleaned:
    """What cleaning found.

    Attributes
    ----------
    impossible, spikes, gaps : int
        Readings and holes set aside.
    gap_seconds, frozen_seconds : float
        Time lost in holes and to a sensor that did not answer [s].
    """

    impossible: int
    spikes: int
    gaps: int
    gap_seconds: float
    frozen_seconds: float


@dataclass(frozen=True, slots=True)
class Trend:
    """The trend of a trace, with its evidence.

    Attributes
    ----------
    verdict : str
        One of `VERDICTS`.
    slope, slope_low, slope_high : float
        Slope over the window and its 95 % interval [K/h].
    offset : float
        Mean minus setpoint over the window [K].
    crossings_per_two_hours : float
        How often the smoothed trace crossed the setpoint [per 2 h].
    period : float or None
        Period of the swing [s].
    amplitude : float or None
        Half swing at the end of the trace [K].
    decay_ratio : float or None
        Ratio of one swing to the one before [-].
    noise_sd : float
        Noise from reading to reading [K].
    effective_samples : float
        Independent readings in the window [-].
    cycles_seen : float
        Cycles of the swing in the trace [-].
    minutes_missing : float
        How much longer to watch before it can be judged [min]; zero when it can.
    remarks : tuple of Remark
        What else to say.
    probabilities : dict
        Probability of each verdict [-].
    window : tuple of float
        First and last time of the window that slope and offset were taken from [s].
    cleaned : Cleaned
        What was set aside.
    limits : TrendLimits
        The limits used.
    """

    verdict: str
    slope: float
    slope_low: float
    slope_high: float
    offset: float
    crossings_per_two_hours: float
    period: float | None
    amplitude: float | None
    decay_ratio: float | None
    noise_sd: float
    effective_samples: float
    cycles_seen: float
    minutes_missing: float
    remarks: tuple[Remark, ...]
    probabilities: dict[str, float]
    window: tuple[float, float]
    cleaned: Cleaned
    limits: TrendLimits


def judge_trend(
    times_s: ArrayLike,
    values: ArrayLike,
    setpoint: ArrayLike,
    *,
    limits: TrendLimits | None = None,
) -> Trend:
    """Name the trend of a controlled temperature and measure it.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any origin and order [s].
    values : array_like
        Controlled temperature [degC]; NaN means "no reading".
    setpoint : array_like
        Setpoint, one value or one per reading [degC].
    limits : TrendLimits, optional
        What counts as level; by default from -0.99 points of moisture per kelvin.

    Returns
    -------
    Trend
        The verdict and its evidence.

    Raises
    ------
    OutOfRange
        A trace of fewer than two readings, or longer than seven days.
    Inconsistent
        Lengths that differ.
    """
    allowed = limits or TrendLimits.from_sensitivity()
    clean = clean_trace(times_s, values, setpoint)
    start = clean.since_setpoint
    times, error = clean.times[start:], clean.error[start:]
    if times.size < 4:
        raise OutOfRange("number of usable readings", times.size, (4, 100_000), name="values")
    recent = times >= times[-1] - TWO_HOURS_S
    window = bin_trace(times[recent], error[recent], SLOPE_BINS)
    whole = bin_trace(times, error)
    swing = fit_swing(whole)
    return _assembled(clean, times, whole, window, swing, allowed)


def _assembled(
    clean: CleanTrace,
    times: FloatArray,
    whole: BinnedTrace,
    window: BinnedTrace,
    swing: Swing | None,
    limits: TrendLimits,
) -> Trend:
    noise = noise_sd(clean.times, clean.values, clean.resolution)
    accepted = swing if swing is not None and _is_swing(swing, limits) else None
    flat = window.values
    if accepted is not None:
        flat = flat - np.interp(window.times, whole.times, accepted.fitted)
    slope = slope_interval(window.times, flat)
    offset = float(np.mean(flat))
    verdict, missing = _verdict(clean, times, accepted, slope, offset, flat, limits)
    probabilities = dict.fromkeys(VERDICTS, 0.0) | {verdict: 1.0}
    return Trend(
        verdict=verdict,
        slope=slope.value * HOUR_S,
        slope_low=slope.low * HOUR_S,
        slope_high=slope.high * HOUR_S,
        offset=offset,
        crossings_per_two_hours=crossings_per_two_hours(window, noise),
        period=accepted.period if accepted else None,
        amplitude=accepted.amplitude_end if accepted else None,
        decay_ratio=accepted.decay_ratio if accepted else None,
        noise_sd=noise,
        effective_samples=slope.effective_samples,
        cycles_seen=accepted.cycles if accepted else 0.0,
        minutes_missing=missing,
        remarks=(),
        probabilities=probabilities,
        window=(float(window.times[0]), float(window.times[-1])),
        cleaned=Cleaned(
            clean.impossible, clean.spikes, clean.gaps, clean.gap_seconds, clean.frozen_seconds
        ),
        limits=limits,
    )


def _is_swing(swing: Swing, limits: TrendLimits) -> bool:
    largest = max(swing.amplitude_start, swing.amplitude_end)
    return swing.cycles >= 1.5 and swing.explained > 0.4 and largest > 0.5 * limits.swing


def _verdict(
    clean: CleanTrace,
    times: FloatArray,
    swing: Swing | None,
    slope: Slope,
    offset: float,
    flat: FloatArray,
    limits: TrendLimits,
) -> tuple[str, float]:
    span = float(times[-1] - times[0])
    if clean.frozen_at_end or clean.frozen_seconds > 0.3 * span:
        return "sensor-fault", 0.0
    if span < SHORTEST_TRACE_S or times.size < FEWEST_READINGS:
        return "too-short", max((SHORTEST_TRACE_S - span) / 60.0, 1.0)
    if swing is not None and max(swing.amplitude_start, swing.amplitude_end) > limits.swing:
        if swing.decay_ratio > 1.25:
            return "growing", 0.0
        if swing.decay_ratio >= 0.62:
            return "cycling", 0.0
        if swing.amplitude_end > 0.3 * limits.swing:
            return "calming", 0.0
    slope_limit = limits.slope / HOUR_S
    if abs(slope.value) > slope_limit or abs(offset) > limits.offset:
        return "drifting", 0.0
    if np.ptp(flat) > 2.5 * limits.swing:
        return "disturbed", 0.0
    if slope.high > 2.0 * slope_limit and slope.low < -2.0 * slope_limit and span < TWO_HOURS_S:
        return "too-short", (TWO_HOURS_S - span) / 60.0
    return "level", 0.0


def crossings_per_two_hours(window: BinnedTrace, noise: float) -> float:
    """How often a trace crosses zero, small flickers about it not counted.

    Parameters
    ----------
    window : BinnedTrace
        Error over equal stretches of time [K].
    noise : float
        Noise of a single reading [K]; a crossing must come out on the other side by as much as
        the noise of a stretch.

    Returns
    -------
    float
        Crossings, scaled to two hours [per 2 h].
    """
    band = noise / float(np.sqrt(np.median(window.counts)))
    side = np.sign(window.values) * (np.abs(window.values) > band)
    side = side[side != 0.0]
    count = int(np.count_nonzero(np.diff(side))) if side.size > 1 else 0
    span = float(window.times[-1] - window.times[0])
    return count * TWO_HOURS_S / span if span > 0.0 else 0.0
