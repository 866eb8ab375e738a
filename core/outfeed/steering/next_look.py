"""When to look again: as soon as there may be something new to see, and no later than is safe."""

from __future__ import annotations

import numpy as np

from outfeed.steering.belief import Belief
from outfeed.steering.collapse import CLIMB_LOOK_S
from outfeed.steering.fire import LOOK_S
from outfeed.steering.situation import Rules, Situation
from outfeed.steering.trend import SENSOR_LOOK_S, Trend

STOOD = "grain-stood"  # as a reason for an advice

SOONEST_LOOK_S = 1200.0
LATEST_LOOK_S = 7200.0
"""Looks are suggested no sooner than 20 minutes and no later than two hours; chosen."""

LEVEL_LOOK_S, RESTLESS_LOOK_S = 7200.0, 3600.0  # at a trend that is level, or not; chosen


def look_after_trend(found: Trend) -> float:
    """Time until another look at a trend tells more.

    Parameters
    ----------
    found : Trend
        The judgement.

    Returns
    -------
    float
        Time from the end of the trace [s].
    """
    if found.heats_up:
        return CLIMB_LOOK_S
    if found.collapse is not None or found.stays_low:
        return LOOK_S
    if found.verdict == "too-short":
        return 60.0 * found.minutes_missing
    if found.verdict == "sensor-fault" or found.one_value:
        return SENSOR_LOOK_S
    period = found.period if found.period and found.swings else 0.0
    return max(LEVEL_LOOK_S if found.verdict == "level" else RESTLESS_LOOK_S, period)


def look_after(
    kind: str,
    why: tuple[str, ...],
    trend: Trend | None,
    situation: Situation,
    rules: Rules,
    room: float,
    belief: Belief,
) -> float:
    """When to look again after an advice.

    Parameters
    ----------
    kind : str
        "hold", "move" or "wait".
    why : tuple of str
        Its reasons.
    trend : Trend or None
        Of the column.
    situation : Situation
        What it was given for.
    rules : Rules
        How patient to be.
    room : float
        From the error to the threshold [-].
    belief : Belief
        What is known.

    Returns
    -------
    float
        Time [s], on the caller's clock.
    """
    if trend is not None and (trend.verdict == "sensor-fault" or trend.one_value):
        return situation.now_s + SENSOR_LOOK_S
    if kind == "move":
        # the first grain dried wholly at the new setpoint leaves one transit from now
        return situation.now_s + max(SOONEST_LOOK_S, situation.transit_s)
    if kind == "wait" and situation.recently_moved(rules):
        moved = situation.last_move_s if situation.last_move_s is not None else situation.now_s
        return max(situation.now_s + SOONEST_LOOK_S, moved + situation.transit_s)
    if STOOD in why:
        return situation.now_s + until_passed(situation)
    if kind == "wait":
        missing = situation.trend_after_s
        if trend is not None and any(reason.startswith("trend-") for reason in why):
            missing = look_after_trend(trend)
        return situation.now_s + float(np.clip(missing, SOONEST_LOOK_S, LATEST_LOOK_S))
    apart = trend is not None and any(one.code == "last-reading-apart" for one in trend.remarks)
    if apart or belief.last_doubt:  # either may be the beginning of something
        return situation.now_s + SOONEST_LOOK_S
    # hold: until the wandering level could have used up the room to the threshold
    hours = (max(0.0, room) / belief.wander) ** 2
    return situation.now_s + float(np.clip(hours * 3600.0, SOONEST_LOOK_S, LATEST_LOOK_S))


def until_passed(situation: Situation) -> float:
    """Time until the grain that stood in the dryer has left.

    Parameters
    ----------
    situation : Situation
        What the advice is given for.

    Returns
    -------
    float
        Time [s], within the bounds of looks.
    """
    left_s = (situation.stood_until_s or situation.now_s) - situation.now_s
    return min(max(left_s, SOONEST_LOOK_S), LATEST_LOOK_S)
