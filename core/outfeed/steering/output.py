"""What the output of a controller shows beside the temperature it holds.

The discharge rate, or the setting of the metering drive: whether it stood at its limit, whether it
swings, how slowly it follows, and how it moved through a swing of the temperature.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import SENSIBLE, Range
from outfeed.steering import published
from outfeed.steering.clean import CleanTrace
from outfeed.steering.measure import FEWEST_READINGS, TWO_HOURS_S, Output, judged_from
from outfeed.steering.noise import bin_trace
from outfeed.steering.oscillation import Swing, fit_swing
from outfeed.steering.resonance import find_resonance

OUTPUT = Range("output of the controller", -1e9, 1e9, "", SENSIBLE)

# Below which no swing is looked for in the output, as for a knock in the trace; chosen, no source.
FEWEST_OUTPUTS = 12
FEWEST_RECENT = 2  # values in two hours that tell whether it moved
OUTPUT_BINS = 100  # stretches its swing is fitted to, four to a cycle of 25; chosen, no source
# Range of an output over its size at which it does not move; chosen, no source.
STANDS_STILL = 1e-6
AT_LIMIT = 1e-3  # of the output's size; chosen, no source
OUTPUTS_PER_PERIOD = 4.0  # fewer show no swing; chosen, no source
LEAST_OF_SWING = 0.8  # of its length that the output must be told over; chosen, no source


@dataclass(frozen=True, slots=True)
class OutputTrace:
    """Output of the controller over time: the discharge rate or the metering setting.

    Attributes
    ----------
    times : array_like
        Times, on the clock of the temperatures [s].
    values : array_like
        Output, any one scale.
    low, high : float or None
        Limits of the output on that scale, when they are known.
    """

    times: ArrayLike
    values: ArrayLike
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Driven:
    """What the output did while the temperature swung.

    Attributes
    ----------
    still : bool
        Whether it did not move at all.
    free : bool or None
        Whether it stayed clear of both its limits; None where they were not told.
    per_kelvin : complex
        Its swing over that of the temperature, size and lead [output per K].
    """

    still: bool
    free: bool | None
    per_kelvin: complex


def output_seen(output: OutputTrace, clean: CleanTrace) -> Output | None:
    """What the output shows over the last two hours of a trace.

    Parameters
    ----------
    output : OutputTrace
        The output, each value -1e9 to 1e9.
    clean : CleanTrace
        The temperature, at least one reading.

    Returns
    -------
    Output or None
        Its time at a limit, its movement and its swing; None with fewer than two values in that
        time, which do not tell whether it moved.

    Raises
    ------
    OutOfRange
        A value outside its range.
    Inconsistent
        Not one value for every time.
    """
    times = np.asarray(output.times, dtype=np.float64)
    values = OUTPUT.check(output.values, "output")
    if times.ndim != 1 or times.shape != values.shape or times.size == 0:
        raise Inconsistent(f"{times.size} times but {values.size} outputs", "output")
    end = clean.times[-1]
    recent = values[(times >= end - TWO_HOURS_S) & (times <= end)]
    if recent.size < FEWEST_RECENT:
        return None
    low = float(np.min(recent)) if output.low is None else output.low
    high = float(np.max(recent)) if output.high is None else output.high
    close = AT_LIMIT * max(abs(low), abs(high))
    at_high, at_low = np.mean(recent >= high - close), np.mean(recent <= low + close)
    at_limit = max(at_high, at_low)
    highest = at_high > at_low or (at_high == at_low and output.low is None)
    told = output.high if highest else output.low
    moved = float(np.std(recent)) / max(abs(float(np.mean(recent))), 1e-9)
    start = clean.times[judged_from(clean)]
    order = np.argsort(times, kind="stable")
    order = order[(times[order] >= start) & (times[order] <= end)]
    return _with_swing(
        Output(
            float(at_limit),
            told is not None,
            moved,
            times[order],
            values[order],
            highest=bool(highest),
        )
    )


def driven(
    seen: Output | None, told: OutputTrace | None, clean: CleanTrace, swing: Swing | None
) -> Driven | None:
    """What the output did while the temperature swung.

    Both are fitted, beside a straight line each, with the waves of the swing.

    Parameters
    ----------
    seen : Output or None
        From `output_seen`.
    told : OutputTrace or None
        The output as it was told, for its limits.
    clean : CleanTrace
        The temperature.
    swing : Swing or None
        Its swing, over the end of the trace.

    Returns
    -------
    Driven or None
        None without a swing, or where too few values of the output lie within it.
    """
    if seen is None or told is None or swing is None:
        return None
    end = float(clean.times[-1])
    begin = end - swing.cycles * swing.period
    during, read = seen.times >= begin, clean.times >= begin
    times, values = seen.times[during], seen.values[during]
    fewest = max(float(FEWEST_OUTPUTS), OUTPUTS_PER_PERIOD * swing.cycles)
    if values.size < fewest or np.ptp(times) < LEAST_OF_SWING * (end - begin):
        return None
    temperature = _along(swing, clean.times[read], clean.values[read], end)
    if temperature == 0.0:
        return None
    largest = float(np.max(np.abs(values)))
    return Driven(
        still=float(np.ptp(values)) <= STANDS_STILL * largest,
        free=_clear_of_both(values, told),
        per_kelvin=_along(swing, times, values, end) / temperature,
    )


def _clear_of_both(values: FloatArray, told: OutputTrace) -> bool | None:
    if told.low is None or told.high is None:
        return None
    close = AT_LIMIT * max(abs(told.low), abs(told.high))
    return bool(np.all((values > told.low + close) & (values < told.high - close)))


def _along(swing: Swing, times: FloatArray, values: FloatArray, end: float) -> complex:
    """Size and phase of a swing of known period and decay in a series, at a time."""
    turns = (times - end) / swing.period
    waves = np.exp(swing.log_decay * turns + 2.0j * np.pi * turns)
    columns = np.column_stack([np.ones_like(turns), turns, waves.real, waves.imag])
    letters = np.linalg.lstsq(columns, values, rcond=None)[0]
    return complex(letters[2], -letters[3])


def idle(clean: CleanTrace, output: OutputTrace | None) -> float | None:
    """Idle index over a trace, for an output such that more of it cools the column.

    Parameters
    ----------
    clean : CleanTrace
        The temperature.
    output : OutputTrace or None
        The output, if told.

    Returns
    -------
    float or None
        Between -1 and 1 [-]; None with fewer than four values of the output.
    """
    if output is None or len(np.asarray(output.times)) < FEWEST_READINGS:
        return None
    times = np.linspace(clean.times[0], clean.times[-1], 40)
    order = np.argsort(output.times, kind="stable")
    moved = np.interp(times, np.asarray(output.times)[order], np.asarray(output.values)[order])
    return published.idle_index(times, -moved, np.interp(times, clean.times, clean.values))


def _with_swing(output: Output) -> Output:
    """The same with what the output did since the last change of the setpoint."""
    times, values = output.times, output.values
    if times.size < FEWEST_OUTPUTS or times[-1] <= times[0]:
        return output
    whole = bin_trace(times, values, OUTPUT_BINS)
    wide = float(np.ptp(whole.values))
    if wide <= STANDS_STILL * float(np.max(np.abs(whole.values))):
        return output
    recent = whole.values[whole.times >= times[-1] - TWO_HOURS_S]
    return replace(
        output,
        swing=fit_swing(whole),
        one_way=abs(float(whole.values[-1] - whole.values[0])) / wide,
        recent=float(np.ptp(recent)) / wide,
        resonance=find_resonance(whole),
    )
