"""Why setpoint advice waits, in words."""

from __future__ import annotations

import math

from outfeed.steering import setpoint
from outfeed.steering.trend import Trend
from outfeed_api.moments import Clock
from outfeed_api.routes import fire_words
from outfeed_api.units import UnitSystem, say

SENSOR_FAULT = f"the column sensor does not seem to answer: {fire_words.SENSOR_FIRST}"
ONE_VALUE = "every column temperature is the same, as of a stopped sensor: see that it moves"

TRENDS = {
    "drifting": "the column is still drifting",
    "calming": "the column is still calming down",
    "cycling": "the column is cycling: calm the controller first",
    "growing": "the swings of the column are growing: calm the controller first",
    "stuck": "the column is stuck away from its setpoint: see to the controller first",
    "disturbed": "the column is disturbed",
    "too-short": "the column temperatures at this setpoint are too few, or span too short a time, "
    "to judge a trend",
    "unsure": "what the column does is not sure enough yet",
    "sensor-fault": SENSOR_FAULT,
}

IF_UNEXPLAINED = {
    True: "If no stop, drier lot or hotter plenum explains that, check that grain moves in every "
    "column.",
    False: "If no stop, wetter lot or cooler plenum explains that, check burner, flame and sensor, "
    "as the dryer's manual says.",
}

WHY_WAIT = {
    "recent-move": "the last move has not shown yet",
    "no-readings": "no moisture reading belongs to a recorded column temperature yet",
    "stale": "the readings are too old: take a fresh one",
    setpoint.STOOD: "the latest grain stood in the dryer while the discharge did and may have "
    "dried on: take a reading of grain that came in after the stop",
    "one-value": ONE_VALUE,
    setpoint.UNREAD_MOVE: "no moisture was read since the setpoint was moved: take a reading first",
    setpoint.DISAGREE: "the readings contradict each other: take another sample, and look how the "
    "samples are drawn",
    "single-reading": "one reading so far from the target proves little: take another sample",
}


def why(
    units: UnitSystem, clock: Clock, reasons: tuple[str, ...], situation: setpoint.Situation
) -> str:
    """The first reason to wait.

    Parameters
    ----------
    units : str
        "us" or "metric".
    clock : Clock
        Of the request; says times as they were given.
    reasons : tuple of str
        Codes of the advice.
    situation : Situation
        What it was given for.

    Returns
    -------
    str
        Begins with "because".
    """
    now = situation.column_now
    if setpoint.AWAY in reasons and now is not None:
        side = "above" if now > situation.setpoint else "below"
        away = say(abs(now - situation.setpoint), "temperature-difference", units, decimals=1)
        away = away.replace(".0 ", " ")
        return f"because the column stands {away} {side} its setpoint now"
    for reason in reasons:
        if reason.startswith("trend-"):
            return f"because {TRENDS[reason.removeprefix('trend-')]}"
        if reason in WHY_WAIT:
            passed = situation.stood_until_s if reason == setpoint.STOOD else None
            leaves = (
                ""
                if passed is None
                else f", which leaves from {clock.say(_whole_minute(passed))} on"
            )
            return f"because {WHY_WAIT[reason]}{leaves}"
    return "because it cannot be judged yet"


def _whole_minute(time_s: float) -> float:
    """No sooner, so that what leaves at the time that is said has not stood."""
    return 60.0 * math.ceil(time_s / 60.0)


def sensor(trend: Trend | None, decided: str) -> str:
    """What to see to of the column's sensor, to stand behind a decision that does not say it.

    Parameters
    ----------
    trend : Trend or None
        Of the column; None where none could be judged.
    decided : str
        The decision.

    Returns
    -------
    str
        A sentence with a space before it; empty for a sensor that moves.
    """
    if trend is None:
        return ""
    told = SENSOR_FAULT if faulty(trend) else ONE_VALUE if trend.one_value else ""
    return "" if told in decided else f" {told[0].upper()}{told[1:]}."


def faulty(trend: Trend | None) -> bool:
    """Whether the column's sensor does not answer as it should, and so watches for no fire.

    Parameters
    ----------
    trend : Trend or None
        Of the column.

    Returns
    -------
    bool
        False where no trend could be judged.
    """
    return trend is not None and trend.verdict == "sensor-fault"
