"""The looks that gain advice rests on: what was read since the last change, run on where it can be.

A trace that begins before the last change of the gain still tells of the gain by what follows it,
and one too short to show a whole swing may go on where the trace before it ended. Neither is left
unjudged: whoever sends the last three hours every three hours would else never hear of a swing of
four, or be told to raise the gain by the half of a swing of eight that comes back to the setpoint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.errors import OutOfRange
from outfeed.steering.clean import COLUMN_READING
from outfeed.steering.measure import FEWEST_READINGS
from outfeed.steering.trend import OutputTrace, Trend, TrendLimits, judge_trend

MAY_BE_A_SWING = ("too-short", "drifting")
"""What half a swing, or a piece of one, is called where it stands alone."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Readings that belong together.

    Attributes
    ----------
    times, values, setpoints : ndarray
        Times [s], temperatures and setpoints [degC], one entry a reading.
    output : OutputTrace or None
        Of the controller, over the same time.
    """

    times: FloatArray
    values: FloatArray
    setpoints: FloatArray
    output: OutputTrace | None


@dataclass(frozen=True, slots=True)
class Looks:
    """Traces as they were judged.

    Attributes
    ----------
    trends : list of Trend
        One a trace, in their order; none of an earlier one that holds too few readings alone.
    joined : bool
        Whether the latest was judged together with those before it.
    """

    trends: list[Trend]
    joined: bool


def judge_looks(traces: Sequence[Stretch], since_s: float | None, limits: TrendLimits) -> Looks:
    """Judge traces by what followed the last change, and short ones together.

    Parameters
    ----------
    traces : sequence of Stretch
        Oldest first.
    since_s : float or None
        When the gain was last changed, on their clock [s].
    limits : TrendLimits
        What counts as level.

    Returns
    -------
    Looks
        One look a trace; where what follows the change is too little, one at the whole trace.

    Raises
    ------
    Inconsistent
        As `judge_trend`.
    OutOfRange
        As `judge_trend`; for too few readings only where those before do not help.
    """
    joined = False
    sofar: Stretch | None = None
    trends: list[Trend] = []
    for trace in traces:
        fresh = trace if since_s is None else _where(trace, trace.times >= since_s)
        before, sofar = sofar, fresh if sofar is None else _run_on(sofar, fresh)
        joined = False
        if _readings(trace) < FEWEST_READINGS:
            if trace is traces[-1]:
                together = None if before is None else _judged(sofar, limits)
                joined = together is not None
                trends.append(together or _judge(trace, limits))
            continue
        look = _judge(trace, limits)
        if look.fallen is None and fresh.times.size < trace.times.size:
            look = _judged(fresh, limits) or look
        if before is not None and look.fallen is None and look.verdict in MAY_BE_A_SWING:
            longer = _judged(sofar, limits)
            joined = longer is not None and _tells_more(longer, look)
            look = longer if longer is not None and joined else look
        trends.append(look)
    return Looks(trends, joined)


def _readings(stretch: Stretch) -> int:
    """At how many times a sensor gave what it can give."""
    return int(np.unique(stretch.times[COLUMN_READING.contains(stretch.values)]).size)


def _tells_more(longer: Trend, look: Trend) -> bool:
    """Whether the traces together tell more than the latest, which is no more than part of them."""
    return longer.span > look.span and (look.verdict == "too-short" or longer.swings)


def _run_on(before: Stretch, after: Stretch) -> Stretch:
    """One stretch of two; of the output only the later part, for the last hours alone tell of it.

    What lies beyond a long gap or another setpoint is left out where the whole is judged.
    """
    if after.times.size == 0:
        return before
    earlier = _where(before, before.times < after.times.min())
    return Stretch(
        np.concatenate((earlier.times, after.times)),
        np.concatenate((earlier.values, after.values)),
        np.concatenate((earlier.setpoints, after.setpoints)),
        after.output,
    )


def _where(stretch: Stretch, kept: BoolArray) -> Stretch:
    return Stretch(
        stretch.times[kept], stretch.values[kept], stretch.setpoints[kept], stretch.output
    )


def _judge(stretch: Stretch, limits: TrendLimits) -> Trend:
    return judge_trend(
        stretch.times, stretch.values, stretch.setpoints, limits=limits, output=stretch.output
    )


def _judged(stretch: Stretch, limits: TrendLimits) -> Trend | None:
    """None where the readings are too few, or span too long, to be judged."""
    try:
        return _judge(stretch, limits)
    except OutOfRange:
        return None
