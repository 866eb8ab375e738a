"""Reading the trend of a controlled temperature against its setpoint.

`judge_trend` cleans a trace, measures it (noise, slope, offset, crossings, swing) and names what
it sees in one word, with the probability of each word. Slope and offset are judged on the last
two hours, a swing on all of the trace, because a swing that shows less than a cycle and a half
cannot be told from a drift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import ArrayLike
from outfeed.errors import OutOfRange
from outfeed.steering import clean as cleaning
from outfeed.steering import collapse, noise, oscillation, published, slope, verdict
from outfeed.steering.clean import CleanTrace, clean_trace, since_it_answers
from outfeed.steering.collapse import (
    Collapse,
    Low,
    before_steering,
    collapsed,
    standing_low,
)
from outfeed.steering.evidence import SHORTEST_S, recent_amplitude
from outfeed.steering.frozen import only_value
from outfeed.steering.impossible import impossible_readings
from outfeed.steering.level_limits import TrendLimits
from outfeed.steering.measure import (
    TWO_HOURS_S,
    USABLE,
    Measured,
    Output,
    crossings_per_two_hours,
    judged_from,
    measure,
    running_mean,
    shows_swing,
)
from outfeed.steering.noise import BinnedTrace
from outfeed.steering.oscillation import Swing
from outfeed.steering.output import Driven, OutputTrace, driven, idle, output_seen
from outfeed.steering.silence import speaks_until
from outfeed.steering.slope import Slope
from outfeed.steering.verdict import VERDICTS, judge

__all__ = [
    "METHODS",
    "VERDICTS",
    "Cleaned",
    "OutputTrace",
    "Remark",
    "Trend",
    "TrendLimits",
    "crossings_per_two_hours",
    "judge_trend",
]

#: Everything a judgement rests on; each method stands in the module that does the work.
METHODS = (
    *cleaning.METHODS,
    *noise.METHODS,
    *slope.METHODS,
    *oscillation.METHODS,
    *published.METHODS,
    *verdict.METHODS,
    *collapse.METHODS,
)

HOUR_S = 3600.0
SWINGS = ("growing", "cycling", "calming")  # the verdicts that name a swing
# Until a sensor that may have stopped is looked at again; common practice, no source.
SENSOR_LOOK_S = 600.0
# Of 52 invented level traces of 4 to 6 h, read every five minutes, that were not sure enough, nine
# in ten had a word within this; chosen.
UNSURE_S = 1200.0
# The numbers below are chosen, no source, unless one stands beside them.
CYCLES_NEEDED = 1.5
LEAST_SWING = 0.05  # half swing worth a word [K]: a tenth of a degree from end to end
LEAST_WAIT_MIN, LONGEST_WAIT_MIN = 10.0, 720.0
SMALL_SWING = 0.25  # of the limit: smaller is not worth a remark
NOISE_SWINGS = 0.01  # chance of a swing in noise alone above which none is told beside a word
SLOW_CREEP = 0.3  # of the limit
COARSE = 0.5  # of the limit
LAST_READINGS = 3  # whose median is where it stands now
MOST_OF_WINDOW = 2.5  # longest period of a swing, over the window, that is taken out of its slope
OFTENER = 2.0  # readings of a stretch over the usual number: more count as so many
SLUGGISH_INDEX = 0.4  # Hagglund (1999)


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
        Plain mean of the readings of the window minus setpoint, any swing left in, and minutes
        that are read far oftener than others counted no oftener than twice [K].
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
        Independent stretches in the window, of 40 at most [-].
    cycles_seen : float
        Cycles of the swing in the trace [-].
    minutes_missing : float
        How much longer to watch before it can be judged [min]; zero when it can.
    remarks : tuple of Remark
        What else to say.
    probabilities : dict
        Probability of each verdict [-].
    began : float
        Time of the first reading that is judged [s].
    span : float
        Length of the trace since the last change of the setpoint [s].
    window : tuple of float
        First and last time of the window that slope and offset were taken from [s].
    cleaned : Cleaned
        What was set aside.
    limits : TrendLimits
        The limits used.
    collapse : Collapse or None
        A fall far below the level before, at the very end: to be told before the verdict.
    low : Low or None
        A stand far below the setpoint at the end: to be told before the verdict unless it closes
        in.
    speaks_until_s : float
        When the column counts as no longer read, if no reading is added [s].
    driven : Driven or None
        What the output did meanwhile, where it was told and a swing shows.
    offset_now : float
        Median of the last three readings minus setpoint [K].
    from_below : float
        How far below the setpoint the trace once stood, smoothed [K]; zero where never.
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
    began: float
    span: float
    window: tuple[float, float]
    cleaned: Cleaned
    limits: TrendLimits
    collapse: Collapse | None = None
    low: Low | None = None
    speaks_until_s: float = math.inf
    driven: Driven | None = None
    offset_now: float = 0.0
    from_below: float = 0.0

    @property
    def fallen(self) -> Collapse | Low | None:
        """What asks for a look at burner, flame and sensor before anything is steered by it."""
        return before_steering(self.collapse, self.low)

    @property
    def collapsed(self) -> bool:
        """Whether more than one of the last readings stands far below the level before."""
        return before_steering(self.collapse, None) is not None

    @property
    def stays_low(self) -> bool:
        """Whether it stands far below the setpoint at the end and does not close in."""
        return before_steering(None, self.low) is not None

    @property
    def heats_up(self) -> bool:
        """Whether it climbs to its setpoint from far below, as after a start, and swings not."""
        if self.low is None or self.collapse is not None or self.verdict == "sensor-fault":
            return False
        return self.low.climbing and not self.swings

    @property
    def moves(self) -> bool:
        """Whether it surely moves: the interval of its slope leaves out zero."""
        return self.slope_low > 0.0 or self.slope_high < 0.0

    @property
    def swings(self) -> bool:
        """Whether the verdict is a swing, so that its period tells when to look again."""
        return self.verdict in SWINGS

    @property
    def one_value(self) -> bool:
        """Whether the trace shows one value only, so that its sensor may have stopped.

        False as well where the sensor is called faulty already.
        """
        return any(found.code == "one-value" for found in self.remarks)

    @property
    def unsure(self) -> bool:
        """Whether it is "too-short" although long enough: what is likeliest is not sure enough."""
        return any(found.code == "not-sure" for found in self.remarks)


def judge_trend(
    times_s: ArrayLike,
    values: ArrayLike,
    setpoint: ArrayLike,
    *,
    limits: TrendLimits | None = None,
    output: OutputTrace | None = None,
) -> Trend:
    """Name the trend of a controlled temperature and measure it.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any origin and order [s].
    values : array_like
        Controlled temperature [degC]; NaN means "no reading".
    setpoint : array_like
        Setpoint, one value or one per reading [degC]. After a change of more than 0.05 K, as after
        a gap of more than two hours or a stop of the sensor, only what follows it is judged.
    limits : TrendLimits, optional
        What counts as level; by default from -0.99 points of moisture per kelvin.
    output : OutputTrace, optional
        Discharge rate, or another output of the controller, over the same time.

    Returns
    -------
    Trend
        The verdict and its evidence.

    Raises
    ------
    OutOfRange
        Fewer than four usable readings, or a trace longer than seven days.
    Inconsistent
        Lengths that differ.

    Examples
    --------
    >>> import numpy as np
    >>> times = np.arange(0.0, 7200.0, 30.0)
    >>> ripple = 0.1 * np.random.default_rng(1).normal(size=times.size)
    >>> judge_trend(times, 82.0 + ripple, 82.0).verdict
    'level'
    >>> judge_trend(times, 82.0 + ripple + times / 3600.0, 82.0).verdict
    'drifting'
    """
    allowed = limits or TrendLimits.from_sensitivity()
    clean = since_it_answers(clean_trace(times_s, values, setpoint))
    if clean.times.size < USABLE.low:
        raise OutOfRange(
            USABLE.quantity,
            clean.times.size,
            (USABLE.low, USABLE.high),
            name="values",
            beyond=false.means if (false := impossible_readings(times_s, values)) else "",
        )
    measured = measure(clean, output_seen(output, clean) if output else None)
    seen = clean.times.size + clean.left_out + clean.spikes + clean.impossible
    only = only_value(clean.times, clean.values, clean.resolution)
    word, probabilities = judge(
        measured, clean.impossible / seen, allowed.slope, allowed.offset, only=only
    )
    found = _assembled(clean, measured, word, probabilities, allowed, output)
    return replace(
        found,
        collapse=collapsed("column", times_s, values, setpoint),
        low=standing_low(times_s, values, setpoint),
        speaks_until_s=speaks_until(times_s, values),
    )


def _assembled(
    clean: CleanTrace,
    measured: Measured,
    word: str,
    probabilities: dict[str, float],
    limits: TrendLimits,
    output: OutputTrace | None,
) -> Trend:
    swing = _reported_swing(measured, word, limits)
    likeliest = max(probabilities, key=probabilities.__getitem__)
    refused = word == "too-short" and probabilities[word] < verdict.LEAST_OTHER
    unsure = (Remark("not-sure", (probabilities[likeliest],)),) if refused else ()
    line, window = _told_slope(measured, swing), measured.window
    return Trend(
        verdict=word,
        slope=line.value * HOUR_S,
        slope_low=line.low * HOUR_S,
        slope_high=line.high * HOUR_S,
        offset=_mean(window),
        crossings_per_two_hours=crossings_per_two_hours(window, measured.noise),
        period=swing.period if swing else None,
        amplitude=swing.amplitude_end if swing else None,
        decay_ratio=swing.decay_ratio if swing else None,
        noise_sd=measured.noise,
        effective_samples=line.effective_samples,
        cycles_seen=swing.cycles if swing else 0.0,
        minutes_missing=_minutes_missing(measured, word, limits, unsure=bool(unsure)),
        remarks=unsure + tuple(_remarks(clean, measured, word, swing, limits, output)),
        probabilities=probabilities,
        began=float(clean.times[judged_from(clean)]),
        span=measured.span,
        window=(float(window.times[0]), float(window.times[-1])),
        cleaned=Cleaned(
            clean.impossible, clean.spikes, clean.gaps, clean.gap_seconds, _frozen(clean, word)
        ),
        limits=limits,
        driven=driven(measured.output, output, clean, swing),
        offset_now=float(np.median(clean.values[-LAST_READINGS:])) - float(clean.setpoint[-1]),
        from_below=max(0.0, -float(np.min(running_mean(measured.whole.values)))),
    )


def _told_slope(measured: Measured, swing: Swing | None) -> Slope:
    """Slope beside the swing that is told, unless too little of it lies in the window."""
    if swing is None:
        return measured.plain
    span = float(measured.window.times[-1] - measured.window.times[0])
    return measured.slope if swing.period <= MOST_OF_WINDOW * span else measured.plain


def _mean(window: BinnedTrace) -> float:
    """Mean of the readings, minutes that are read far oftener than others not counted oftener."""
    most = OFTENER * float(np.median(window.counts))
    return float(np.average(window.values, weights=np.minimum(window.counts, most)))


def _frozen(clean: CleanTrace, word: str) -> float:
    """How long the sensor gave one value [s]: by the plain rule, or because the word says so."""
    if word == "sensor-fault" and clean.run is not None and clean.run.at_end:
        return clean.run.seconds
    return clean.frozen_seconds + (0.0 if word == "sensor-fault" else clean.stood_seconds)


def _reported_swing(measured: Measured, word: str, limits: TrendLimits) -> Swing | None:
    swing = measured.last_swing
    if swing is None:
        return None
    if word in SWINGS:
        whole = measured.swing
        better = whole is not None and whole.explained > swing.explained + 0.1
        shown = whole if whole is not None and better else swing
        # a fit that ends in nothing is no figure of a swing that keeps on
        ends = word == "calming" or shown.amplitude_end > SMALL_SWING * limits.swing
        return shown if ends else None
    large = recent_amplitude(swing) > SMALL_SWING * limits.swing
    real = shows_swing(swing) and swing.chance_of_noise < NOISE_SWINGS
    return swing if real and large and word != "sensor-fault" else None


def _minutes_missing(measured: Measured, word: str, limits: TrendLimits, *, unsure: bool) -> float:
    """How much longer to watch: for length, readings, cycles, a slope as sure as its limit."""
    if word != "too-short":
        return 0.0
    needed = [measured.span + UNSURE_S if unsure else SHORTEST_S]
    if measured.readings < verdict.FEWEST_READINGS and not measured.bunched:
        since = measured.readings - 1  # none since a change of the setpoint: as before it
        each = measured.span / since if since else float(np.median(np.diff(measured.whole.times)))
        needed.append(each * (verdict.FEWEST_READINGS - 1))
    swing = measured.swing
    if swing is not None and swing.cycles < CYCLES_NEEDED and swing.explained > 0.5:
        needed.append(CYCLES_NEEDED * swing.period)
    # The error of a slope falls with the length to the power of three halves.
    vague = measured.plain.standard_error * HOUR_S / (0.6 * limits.slope)
    needed.append(min(measured.span * max(vague, 1.0) ** (2.0 / 3.0), TWO_HOURS_S))
    missing = (max(needed) - measured.span) / 60.0
    return float(min(max(np.ceil(missing / 5.0) * 5.0, LEAST_WAIT_MIN), LONGEST_WAIT_MIN))


def _why_from(clean: CleanTrace, since: int) -> str:
    """Why the readings before one are not judged."""
    if since == clean.since_setpoint:
        return "setpoint-changed"
    apart = np.diff(clean.times) > TWO_HOURS_S
    return "long-gap" if apart[since - 1] and not np.all(apart) else "long-trace"


def _stands(output: Output, word: str) -> bool:
    """Whether a column is off its setpoint because its output can go no further."""
    if word == "drifting" and not output.told:  # a slow controller has steps as well
        return output.at_limit == 1.0
    return word in ("stuck", "drifting") and output.at_limit > 0.5


def _wrong_way(output: Output, offset: float, limits: TrendLimits) -> bool:
    """Whether the output has long stood at the limit that brings the temperature no nearer."""
    held = output.told and output.at_limit > 0.5 and abs(offset) > limits.offset
    return held and output.highest != (offset > 0.0)  # more discharge cools the column


def _remarks(
    clean: CleanTrace,
    measured: Measured,
    word: str,
    swing: Swing | None,
    limits: TrendLimits,
    output: OutputTrace | None,
) -> list[Remark]:
    found: list[Remark] = []
    line = _told_slope(measured, swing)
    small = ("level", "drifting", "stuck")
    if swing is not None and word in small and swing.amplitude_end > LEAST_SWING:
        found.append(Remark("small-swing", (swing.amplitude_end, swing.period)))
    creeping = line.low > 0.0 or line.high < 0.0
    if word == "level" and creeping and abs(line.value) * HOUR_S > SLOW_CREEP * limits.slope:
        found.append(Remark("slow-creep", (line.value * HOUR_S,)))
    stood = measured.output
    if stood is not None and _stands(stood, word):
        found.append(Remark("output-at-limit", (stood.at_limit, float(stood.told))))
    if stood is not None and _wrong_way(stood, _mean(measured.window), limits):
        found.append(Remark("output-wrong-way", (float(stood.highest),)))
    since = judged_from(clean)
    if since > 0:
        found.append(Remark(_why_from(clean, since), (measured.span,)))
    one_value = float(np.ptp(clean.values)) == 0.0
    if one_value and word not in ("sensor-fault", "too-short"):
        found.append(Remark("one-value", (float(clean.times[-1] - clean.times[0]),)))
    if clean.resolution > COARSE * limits.offset and not one_value:
        found.append(Remark("coarse-readings", (clean.resolution,)))
    if clean.last_apart:
        found.append(Remark("last-reading-apart", (clean.last_apart,)))
    if clean.gaps:
        found.append(Remark("gaps", (float(clean.gaps), clean.gap_seconds)))
    if clean.stood_seconds:
        found.append(Remark("answers-again", (clean.stood_seconds, measured.span)))
    elif (frozen := _frozen(clean, word)) > 0.0:
        found.append(Remark("frozen", (frozen,)))
    index = idle(clean, output)
    if index is not None and index > SLUGGISH_INDEX and word == "drifting":
        found.append(Remark("sluggish", (index,)))
    return found
