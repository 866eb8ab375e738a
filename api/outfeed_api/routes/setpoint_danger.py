"""What comes before any thought of a setpoint: fire, a collapse, a discharge that stands still."""

from __future__ import annotations

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.steering import collapse, exhaust, fire, runaway
from outfeed.steering.impossible import impossible_readings
from outfeed.steering.settling import long_stops
from outfeed.steering.silence import silent_since
from outfeed_api.moments import Clock, in_order
from outfeed_api.routes import impossible_words
from outfeed_api.routes.setpoint_input import as_shown, moved_at
from outfeed_api.routes.setpoint_models import SetpointAdviceRequest

Shown = tuple[FloatArray, FloatArray]


def danger_of(
    request: SetpointAdviceRequest, clock: Clock, still_since: float | None
) -> runaway.Danger | None:
    """What asks for a look at fire before any setpoint is thought of.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.
    still_since : float or None
        When the discharge stopped [s]; None while grain leaves.

    Returns
    -------
    Climb, Runaway, Hot, Steep or None
        The worst of it; None where nothing asks.

    Raises
    ------
    Inconsistent
        Series that do not fit, a move in the future or in the other form of time, or an earlier
        setpoint without the time of the move.
    """
    column = as_shown(request.column, "column")
    shown = None if request.exhaust is None else as_shown(request.exhaust, "exhaust")
    climb = _climb_of(column, shown, still_since)
    moved = moved_at(request, clock)
    aims = _setpoints(request, clock, column[0])
    cut_s = moved if request.earlier_setpoint is None else None
    away = runaway.running_away(*column, aims, cut_s=cut_s)
    # grain is no air: hotter than any drying air it is, whatever its setpoint
    hot = away or runaway.hotter_than_drying_air("column", *column)
    if hot is None and shown is not None:
        hot = runaway.hotter_than_drying_air("exhaust", *shown)
    if still_since is not None:
        return runaway.worse(climb, hot)
    return hot or _steep(request, column, shown, aims)


def _steep(
    request: SetpointAdviceRequest, column: Shown, shown: Shown | None, aims: FloatArray
) -> exhaust.Steep | None:
    """A steep climb of an exhaust that is read now."""
    if shown is None or 1 not in runaway.current([column, shown]):
        return None
    log = request.rates
    stops = None
    if log is not None and log.rates:
        stops = long_stops(np.array(in_order(log, log.rates, "rates")), np.array(log.rates))
    return exhaust.steep_exhaust(shown, column, aims, stops)


def collapse_of(request: SetpointAdviceRequest, clock: Clock) -> collapse.Collapse | None:
    """Whether column or exhaust has fallen away from the level before.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI, already looked at for fire.
    clock : Clock
        Of the request.

    Returns
    -------
    Collapse or None
        The surer of the two; None where neither has.
    """
    times, values = as_shown(request.column, "column")
    aims = _setpoints(request, clock, times)
    column = collapse.collapsed("column", times, values, aims)
    if request.exhaust is None:
        return column
    shown = as_shown(request.exhaust, "exhaust")
    if 1 not in runaway.current([(times, values), shown]):
        return column  # an exhaust that was read long ago says nothing of now
    lately = aims[times >= clock.now_s - collapse.BEFORE_S]
    lowered = float(np.max(lately, initial=request.setpoint)) - request.setpoint
    exhaust = collapse.collapsed("exhaust", *shown, lowered=lowered)
    return collapse.surest(column, exhaust)


def low_of(request: SetpointAdviceRequest, clock: Clock) -> collapse.Low | None:
    """Whether the column stands far below its setpoint.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI, already looked at for fire.
    clock : Clock
        Of the request.

    Returns
    -------
    Low or None
        None as well within three hours of a move from a setpoint that nobody tells.
    """
    times, values = as_shown(request.column, "column")
    moved = moved_at(request, clock)
    lately = moved is not None and clock.now_s - moved < collapse.BEFORE_S
    if lately and request.earlier_setpoint is None:
        return None
    return collapse.standing_low(times, values, _setpoints(request, clock, times))


def unreal_of(request: SetpointAdviceRequest) -> list[impossible_words.Found]:
    """What cannot be true of the readings of column and exhaust.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.

    Returns
    -------
    list of tuple
        For `impossible_words`.
    """
    series = {"column": request.column, "exhaust": request.exhaust}
    return [
        (name, impossible_readings(*as_shown(given, name)))
        for name, given in series.items()
        if given is not None
    ]


def silent_of(request: SetpointAdviceRequest, clock: Clock) -> float | None:
    """When the column was last read, if that is too long ago to advise on.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.

    Returns
    -------
    float or None
        Time [s]; None while it is read.
    """
    return silent_since(*as_shown(request.column, "column"), clock.now_s)


def _setpoints(request: SetpointAdviceRequest, clock: Clock, times: FloatArray) -> FloatArray:
    """Setpoint at every time: the earlier one, where it is known, before the last move."""
    moved, earlier = moved_at(request, clock), request.earlier_setpoint
    if earlier is not None and moved is None:
        raise Inconsistent("`earlier_setpoint` needs the time of the move", "earlier_setpoint")
    if earlier is None or moved is None:
        return np.full(times.shape, request.setpoint)
    return np.where(times < moved, earlier, request.setpoint)


def _climb_of(column: Shown, shown: Shown | None, still_since: float | None) -> fire.Climb | None:
    """The larger climb of column and exhaust since the discharge stopped."""
    if still_since is None:
        return None
    climbs = [fire.climbing("column", *column, still_since)]
    if shown is not None:
        climbs.append(fire.climbing("exhaust", *shown, still_since))
    return max((one for one in climbs if one), key=lambda one: one.rise, default=None)


def stopped_at(request: SetpointAdviceRequest, clock: Clock) -> float | None:
    """When the discharge stopped.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.

    Returns
    -------
    float or None
        Time [s]; None while grain leaves. A rate stated as zero that no log shows is taken to
        have begun `fire.STOP_UNKNOWN_S` before the time of asking.

    Raises
    ------
    Inconsistent
        A log of rates that does not fit its times.
    """
    since = None
    if request.rates is not None and request.rates.rates:
        times = in_order(request.rates, request.rates.rates, "rates")
        since = fire.stopped_since(times, request.rates.rates, now_s=clock.now_s)
    if since is None and request.discharge_rate == 0:
        return clock.now_s - fire.STOP_UNKNOWN_S
    return since
