"""What a column trace alone says of danger: fire, and a discharge that stands still."""

from __future__ import annotations

import numpy as np

from outfeed.steering import fire, runaway
from outfeed.steering.collapse import FAR_BELOW
from outfeed.steering.settling import by_strokes
from outfeed_api.routes import fire_words
from outfeed_api.routes.trend_models import ColumnTrace, readings

FIRST_FILLING = (
    "If this is the first filling, held on purpose while it is heated up after a start, it climbs "
    "so as well, to its setpoint and no further: whoever started it can tell, stays with it, and "
    "goes by the dryer's manual."
)
BY_STROKES = (
    "The log shows a discharge that works by strokes: send mean rates over several of them, or "
    "every pause between two reads as a stop."
)
LOWERED = "give what it was at every time, in `setpoints` instead of `setpoint`"


def danger_of(trace: ColumnTrace, *, still_since_s: float | None = None) -> runaway.Danger | None:
    """Whether a trace asks for a look at fire before all else.

    Parameters
    ----------
    trace : ColumnTrace
        The trace, already checked, so that its lengths fit.
    still_since_s : float, optional
        When the discharge stopped, where the trace does not tell it [s].

    Returns
    -------
    Climb, Runaway or None
        A climb while the discharge stands still, or a temperature that runs away.
    """
    times = np.asarray(trace.seconds, dtype=np.float64)
    values = readings(trace)
    aim = trace.setpoint if trace.setpoints is None else trace.setpoints
    told = stopped_at(trace)
    stopped = still_since_s if told is None else told
    shown = np.flatnonzero(~np.isnan(values))
    shown = shown[np.argsort(times[shown], kind="stable")]
    climb = (
        None if stopped is None else fire.climbing("column", times[shown], values[shown], stopped)
    )
    away = None if aim is None else runaway.running_away(times, values, aim)
    return runaway.worse(climb, away)


def danger_notes(danger: runaway.Danger | None, trace: ColumnTrace, *, still: bool) -> list[str]:
    """What else to know of a danger, and what the trace could say against it.

    Parameters
    ----------
    danger : Climb, Runaway or None
        What asks for a look at fire.
    trace : ColumnTrace
        The trace that shows it.
    still : bool
        Whether the discharge is known to stand still.

    Returns
    -------
    list of str
        Sentences; empty without danger.
    """
    lowered = fire_words.if_lowered(danger, LOWERED) if trace.setpoints is None else []
    output = trace.output
    told = None if output is None else output.rates or output.settings
    strokes = [BY_STROKES] if still and told and by_strokes(told) else []
    filling = [FIRST_FILLING] if isinstance(danger, fire.Climb) and _far_below(trace) else []
    return [*fire_words.notes(danger, still=still), *lowered, *filling, *strokes]


def _far_below(trace: ColumnTrace) -> bool:
    """Whether no reading comes near the setpoint, as while a first filling is heated up."""
    values = readings(trace)
    aims = np.asarray(trace.setpoint if trace.setpoints is None else trace.setpoints)
    return bool(np.nanmax(values - aims) <= -FAR_BELOW)


def stopped_at(trace: ColumnTrace) -> float | None:
    """When the discharge stopped, by the rates or settings told with a trace [s].

    Parameters
    ----------
    trace : ColumnTrace
        The trace.

    Returns
    -------
    float or None
        None while grain leaves, or when neither is told. A drive stands still at a setting of 0.
    """
    output = trace.output
    told = None if output is None else output.rates or output.settings
    if output is None or not told:
        return None
    times = np.asarray(output.seconds, dtype=np.float64)
    order = np.argsort(times, kind="stable")
    return fire.stopped_since(
        times[order],
        np.asarray(told)[order],
        now_s=max(trace.seconds),
        moving_above=None if output.rates else 0.0,
    )


def stands_still(trace: ColumnTrace) -> bool:
    """Whether no grain leaves at the end of a trace.

    Parameters
    ----------
    trace : ColumnTrace
        The trace.

    Returns
    -------
    bool
        False when no rates are told.
    """
    return stopped_at(trace) is not None
