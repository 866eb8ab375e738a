"""What the output of a controller shows beside the temperature it holds.

The discharge rate, or the setting of the metering drive: whether it stood at its limit, whether it
swings, and how slowly it follows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import ArrayLike
from outfeed.errors import Inconsistent
from outfeed.limits import SENSIBLE, Range
from outfeed.steering import published
from outfeed.steering.clean import CleanTrace
from outfeed.steering.measure import FEWEST_READINGS, TWO_HOURS_S, Output, judged_from
from outfeed.steering.noise import bin_trace
from outfeed.steering.oscillation import fit_swing
from outfeed.steering.resonance import find_resonance

OUTPUT = Range("output of the controller", -1e9, 1e9, "", SENSIBLE)

# Below which no swing is looked for in the output, as for a knock in the trace; chosen, no source.
FEWEST_OUTPUTS = 12
FEWEST_RECENT = 2  # values in two hours that tell whether it moved
OUTPUT_BINS = 100  # stretches its swing is fitted to, four to a cycle of 25; chosen, no source
# Range of an output over its size at which it does not move; chosen, no source.
STANDS_STILL = 1e-6
AT_LIMIT = 1e-3  # of the output's size; chosen, no source


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
    told = output.high if at_high >= at_low else output.low
    moved = float(np.std(recent)) / max(abs(float(np.mean(recent))), 1e-9)
    start = clean.times[judged_from(clean)]
    order = np.argsort(times, kind="stable")
    order = order[(times[order] >= start) & (times[order] <= end)]
    return _with_swing(
        Output(float(at_limit), told is not None, moved, times[order], values[order])
    )


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
