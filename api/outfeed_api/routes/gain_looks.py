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

from outfeed.arrays import FloatArray
from outfeed.errors import OutOfRange
from outfeed.steering.trend import OutputTrace, Trend, TrendLimits, judge_trend
from outfeed_api.routes.trend import check, judge, limits_of
from outfeed_api.routes.trend_models import ColumnTrace, readings

MAY_BE_A_SWING = ("too-short", "drifting")
"""What half a swing, or a piece of one, is called where it stands alone."""


@dataclass(frozen=True, slots=True)
class Looks:
    """The traces as they were judged.

    Attributes
    ----------
    trends : list of Trend
        One a trace, in their order.
    joined : bool
        Whether the latest was judged together with those before it.
    """

    trends: list[Trend]
    joined: bool


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Readings that belong together, SI."""

    times: FloatArray
    values: FloatArray
    setpoints: FloatArray
    output: OutputTrace | None


def looks_of(
    traces: Sequence[ColumnTrace], since_s: float | None, sensitivity: float | None
) -> Looks:
    """Judge traces by what followed the last change, and short ones together.

    Parameters
    ----------
    traces : sequence of ColumnTrace
        Oldest first, in SI.
    since_s : float or None
        When the gain was last changed, on their clock [s].
    sensitivity : float or None
        Moisture change per kelvin [1/K].

    Returns
    -------
    Looks
        One look a trace; where what follows the change is too little, one at the whole trace.

    Raises
    ------
    Inconsistent
        As `judge`.
    OutOfRange
        As `judge`.
    """
    limits, joined = limits_of(sensitivity), False
    trends: list[Trend] = []
    sofar: _Stretch | None = None
    for trace in traces:
        look = judge(trace, sensitivity, "traces")
        fresh, joined = _since(_stretch(trace), since_s), False
        if look.fallen is None and fresh.times.size < len(trace.seconds):
            look = _judged(fresh, limits) or look
        before, sofar = sofar, fresh if sofar is None else _run_on(sofar, fresh)
        if before is not None and look.fallen is None and look.verdict in MAY_BE_A_SWING:
            longer = _judged(sofar, limits)
            joined = longer is not None and _tells_more(longer, look)
            look = longer if longer is not None and joined else look
        trends.append(look)
    return Looks(trends, joined)


def _tells_more(longer: Trend, look: Trend) -> bool:
    """Whether the traces together tell more than the latest, which is no more than part of them."""
    return longer.span > look.span and (look.verdict == "too-short" or longer.swings)


def _stretch(trace: ColumnTrace) -> _Stretch:
    setpoint, output = check(trace, "traces")
    times = np.array(trace.seconds, dtype=np.float64)
    setpoints = np.broadcast_to(np.asarray(setpoint, dtype=np.float64), times.shape)
    return _Stretch(times, readings(trace), setpoints, output)


def _since(stretch: _Stretch, since_s: float | None) -> _Stretch:
    if since_s is None:
        return stretch
    return _where(stretch, stretch.times >= since_s)


def _run_on(before: _Stretch, after: _Stretch) -> _Stretch:
    """One stretch of two; of the output only the later part, for the last hours alone tell of it.

    What lies beyond a long gap or another setpoint is left out where the whole is judged.
    """
    if after.times.size == 0:
        return before
    earlier = _where(before, before.times < after.times.min())
    return _Stretch(
        np.concatenate((earlier.times, after.times)),
        np.concatenate((earlier.values, after.values)),
        np.concatenate((earlier.setpoints, after.setpoints)),
        after.output,
    )


def _where(stretch: _Stretch, kept: np.ndarray) -> _Stretch:
    return _Stretch(
        stretch.times[kept], stretch.values[kept], stretch.setpoints[kept], stretch.output
    )


def _judged(stretch: _Stretch, limits: TrendLimits) -> Trend | None:
    """None where the readings are too few, or span too long, to be judged."""
    try:
        return judge_trend(
            stretch.times, stretch.values, stretch.setpoints, limits=limits, output=stretch.output
        )
    except OutOfRange:
        return None
