"""What is true of a simulated trace: one meaning of each word for every set of loops.

A word follows from the exact poles of the closed loop, from the noise-free error and from what was
done to the loop, never from the readings. First rule that holds:

- sensor-fault: the sensor stopped, to the end of the trace, or reads what no sensor can;
- too-short: fewer than twenty minutes since the setpoint last moved;
- stuck: output at its limit in four fifths of the last two hours, noise-free offset beyond the
  limit;
- disturbed: a push in the last two hours that moved the noise-free temperature by the limit, in a
  loop of decay ratio below 0.62;
- with a noise-free half range beyond the limit in the last two hours (the last period, if that is
  longer), a straight line taken out, of a loop of decay ratio above 0.15, a limit cycle or a
  swinging load: too-short below a cycle and a half, growing above a decay ratio of 1.25, cycling
  above 0.62, else calming. A loop that hardly damps makes a swing of noise: above 0.62 the noise
  of the temperature counts in the half range;
- too-short: an offset within its limit, and within less than two hours a slope that no reading of
  that noise could settle;
- drifting: noise-free slope or offset of the last two hours beyond its limit, of the last period
  where a slower swing has been seen for a cycle and a half;
- level.

A trace one per cent past a limit has another word than one a per cent before it, though no
operator would act differently. *Clear* is what keeps a wide distance from each of those limits and
is read well enough for the word to be seen. The limits of the words are those of the judgement; the
widths of *clear* are chosen for the bench, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TWO_HOURS = 7200.0
SLOPE_LIMIT = 0.25 / 0.99  # K/h
OFFSET_LIMIT = 0.5 / 0.99  # K
GROWING, DYING, SWINGING = 1.25, 0.62, 0.15
SHORTEST = 1200.0
NOISE_SWING = 1.4  # half range that a standard deviation of noise swings to
WINDOWS = 24  # of noise, to know what a slope could be measured to


@dataclass(frozen=True)
class Happened:
    """All that was done to one loop and came of it (seconds, kelvin)."""

    clock: Array
    error: Array  # noise-free, from the setpoint
    real: Array  # error of the real temperature
    output: Array
    span: float
    noise: float  # of a reading
    interval: float
    step: float
    log_decay: float
    period: float
    start: float = 0.0  # of what is judged: where the setpoint last moved
    reach: float = np.inf  # of the output
    pushed_at: float = np.inf
    stopped: float = 0.0  # how long the sensor gives one value, to the end
    impossible: bool = False
    swings: bool = True  # False where a load ramps or the output is held: there no pole shows
    wave: float = 0.0  # period of a swinging load
    limit_cycle: bool = False


class Truth:
    """What is true of one trace, from its poles, its inputs and its noise-free error."""

    def __init__(self, happened: Happened) -> None:
        h = self.happened = happened
        clock = h.clock
        inside = (clock >= h.start) & (clock <= h.span)
        recent = inside & (clock >= h.span - TWO_HOURS)
        self.log_decay, self.period = h.log_decay, h.period
        if h.wave:
            self.log_decay, self.period = 0.0, h.wave
        if h.limit_cycle:
            self.log_decay = 0.0
            self.period = _period_of(clock[inside], h.error[inside], h.period)
        self.judged = h.span - h.start
        self.cycles = self.judged / self.period
        # A swing seen for a cycle and a half is no slope: then a whole period of it is taken.
        period_back = inside & (clock >= h.span - max(TWO_HOURS, self.period))
        swings = self.cycles >= 1.5 and np.exp(self.log_decay) > SWINGING
        long = period_back if swings else recent
        time = clock[long] - np.mean(clock[long])
        self.slope = float(np.dot(time, h.error[long]) / np.dot(time, time)) * 3600.0
        self.offset = float(np.mean(h.error[long]))
        # A swing slower than two hours is judged on one period, or a line would hide it.
        seen = clock[period_back]
        line = np.polynomial.Polynomial.fit(seen, h.error[period_back], 1)(seen)
        self.half = float(np.ptp(h.error[period_back] - line)) / 2.0
        self.wobble = float(np.std((h.real - h.error)[inside]))
        self.limited = float(np.mean(np.abs(h.output[recent]) >= h.reach - 1e-6))
        after = recent & (clock >= h.pushed_at)
        self.pushed = float(np.max(np.abs(h.error[after]))) if after.any() else 0.0
        self.doubt = self._doubt() if self.judged < TWO_HOURS else 0.0

    def _doubt(self) -> float:
        """Standard error of the slope that readings of this length can have, over its limit."""
        h = self.happened
        noise = h.real - h.error
        size = max(int(np.searchsorted(h.clock, h.clock[0] + self.judged)), 3)
        last = int(np.searchsorted(h.clock, h.span)) - size
        starts = np.unique(np.linspace(max(min(last, size), 0), max(last, 0), WINDOWS).astype(int))
        time = np.linspace(-0.5, 0.5, size) * self.judged
        slopes = [float(time @ noise[at : at + size]) / float(time @ time) for at in starts]
        readings = max(self.judged / h.interval, 4.0)
        white = h.noise / np.sqrt(readings) / np.std(time)
        return float(np.hypot(np.sqrt(np.mean(np.square(slopes))), white)) * 3600.0 / SLOPE_LIMIT

    def numbers(self) -> Array:
        """What the word follows from, each by its limit, on scales of about one."""
        return np.array(
            [
                np.arcsinh(abs(self.slope) / SLOPE_LIMIT),
                np.arcsinh(abs(self.offset) / OFFSET_LIMIT),
                np.log(np.clip(self.half / OFFSET_LIMIT, 0.05, 50.0)),
                np.clip(self.log_decay, -4.0, 1.5),
                np.log(np.clip(self.cycles, 0.1, 50.0)),
                np.arcsinh(self.pushed / OFFSET_LIMIT),
                self.limited,
                np.log(np.clip(self.wobble / OFFSET_LIMIT, 0.01, 5.0)),
            ]
        )

    def word(self) -> tuple[str, bool]:
        """The word, and whether every margin is wide."""
        h = self.happened
        if h.stopped or h.impossible:
            lively = np.hypot(h.noise, self.wobble) > 0.35 * h.step
            return "sensor-fault", bool(lively and h.stopped > 8 * h.interval)
        if self.judged < SHORTEST:
            return "too-short", self.judged < 0.95 * SHORTEST
        word, clear = self._judged()
        return word, bool(clear and self._fair())

    def _judged(self) -> tuple[str, bool]:
        offset, slope = abs(self.offset) / OFFSET_LIMIT, abs(self.slope) / SLOPE_LIMIT
        decay = float(np.exp(self.log_decay))
        if self.limited > 0.8 and offset > 1.0:
            return "stuck", offset > 1.4 and slope < 0.7
        if self.pushed > OFFSET_LIMIT and decay < DYING:
            return "disturbed", self.pushed > 2.0 * OFFSET_LIMIT
        swung = np.hypot(self.half, NOISE_SWING * self.wobble) if decay > DYING else self.half
        half = float(swung) / OFFSET_LIMIT
        if half > 1.0 and decay > SWINGING and self.happened.swings:
            return self._swinging(half, decay)
        if offset < 1.0 and self.doubt > 1.0 and slope < 1.0 + self.doubt:
            return "too-short", False
        still = half < 0.6 or decay < 0.1
        if slope > 1.0 or offset > 1.0:
            return "drifting", slope > 1.4 + 2.0 * self.doubt and still
        return "level", slope < 0.6 - min(self.doubt, 0.6) and offset < 0.6 and half < 0.6

    def _swinging(self, half: float, decay: float) -> tuple[str, bool]:
        large = half > 1.5
        if self.cycles < 1.5:
            return "too-short", large and self.cycles < 1.2
        if decay > GROWING:
            return "growing", large and decay > 1.45 and self.cycles > 2.0
        if decay > DYING:
            return "cycling", large and 0.75 < decay < 1.1 and self.cycles > 2.0
        return "calming", large and 0.22 < decay < 0.5 and self.cycles > 2.0

    def _fair(self) -> bool:
        """Whether the readings are good enough for the word to be seen."""
        h = self.happened
        coarse = h.step > 0.3 and np.hypot(h.noise, self.wobble) < 0.3 * h.step
        rough = self.wobble > 0.35 * OFFSET_LIMIT
        return not coarse and not rough and h.interval < self.period / 8.0


def _period_of(clock: Array, error: Array, otherwise: float) -> float:
    """Mean period between crossings of the mean."""
    at = np.flatnonzero(np.diff(np.sign(error - np.mean(error))))
    return 2.0 * float(np.mean(np.diff(clock[at]))) if at.size > 2 else otherwise
