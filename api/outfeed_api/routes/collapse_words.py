"""A collapse in words: a temperature that has fallen away from the level it had.

What to do about a burner is in the dryer's manual; these words name what may have happened, say
where to look, and leave setpoint and gain alone.
"""

from __future__ import annotations

import math

from outfeed.steering.collapse import BEFORE_S, FAR_BELOW, Collapse, Low
from outfeed_api.routes import fire_words
from outfeed_api.units import UnitSystem, say
from outfeed_api.wording import lasting

CAUTIONS = (*fire_words.CAUTIONS, "gas-fuel")
REASON = Collapse.reason
FAR_BELOW_REASON = Low.reason
REASONS = (REASON, FAR_BELOW_REASON)
CAUSES = (
    "A lost flame reads like this, and so does a sensor that burnt off or a broken wire: look and "
    "smell for smoke as well. Start nothing again on the strength of this answer; what a burner "
    "that went out needs is in its manual."
)

HEATED = (
    "A dryer that is heated up reads like this, and so does one whose burner was lit again. A "
    "climb that slows down far below the setpoint asks for a look at the burner. Start nothing "
    "again on the strength of this answer; what a burner that went out needs is in its manual."
)
STILL_COLD = (
    "A column that is still being heated up reads so as well, while it rises slowly, or stands "
    "near the wet-bulb temperature of its air until the grain has given off some water."
)
FIVE_MINUTES_S = 300.0  # to which a time of arrival is told


def decision(fall: Collapse, units: UnitSystem, look: str) -> str:
    """What is seen and where to look, before anything is steered by it.

    Parameters
    ----------
    fall : Collapse
        Shown by more than one reading.
    units : str
        Unit system of the reader.
    look : str
        When to look at the readings again, in words.

    Returns
    -------
    str
        A sentence or two.
    """
    return (
        f"{_seen(fall, units)}: check burner, flame and sensor now, as the dryer's manual says. "
        f"Read the temperatures again at {look}, and move neither setpoint nor gain on such "
        f"readings."
    )


def low_decision(low: Low, units: UnitSystem, look: str) -> str:
    """What is seen and where to look, of a temperature that stands far below its setpoint.

    Parameters
    ----------
    low : Low
        Shown for half an hour.
    units : str
        Unit system of the reader.
    look : str
        When to look at the readings again, in words.

    Returns
    -------
    str
        Sentences.
    """
    below = say(low.below, "temperature-difference", units, decimals=0)
    now = say(low.temperature, "temperature", units, decimals=0)
    if low.climbing:
        rate = say(low.pace, "temperature-rate", units, decimals=0)
        fives = math.ceil(low.below / low.pace / FIVE_MINUTES_S)
        return (
            f"The column temperature stands {below} below its setpoint, at {now}, and climbs at "
            f"{rate}, as after a start; at that pace it is there in about "
            f"{lasting(fives * FIVE_MINUTES_S)}. If it was not started lately, or stops climbing, "
            f"check burner, flame and sensor, as the dryer's manual says. Read the temperatures "
            f"again at {look}, and move neither setpoint nor gain before it is there."
        )
    pace = "closes in slowly" if low.closing else "will not get there within two hours at its pace"
    pace = "falls again" if low.turned else pace
    return (
        f"The column temperature stands {below} below its setpoint, at {now}, and {pace}: check "
        f"burner, flame and sensor now, as the dryer's manual says. Read the temperatures again at "
        f"{look}, and move neither setpoint nor gain on such readings."
    )


def notes(fall: Collapse | None, units: UnitSystem) -> list[str]:
    """What else to know of it; of one reading alone, the doubt.

    Parameters
    ----------
    fall : Collapse or None
        What fell.
    units : str
        Unit system of the reader.

    Returns
    -------
    list of str
        Sentences; empty where nothing fell.
    """
    if fall is None:
        return []
    if not fall.confirmed:
        doubt = (
            f"{_seen(fall, units)}, in the last reading alone: read it again within five minutes "
            f"before you act on this answer; if the next reading shows it too, check burner, flame "
            f"and sensor as the dryer's manual says."
        )
        return [doubt]
    return _causes(units)


def low_notes(low: Low, units: UnitSystem) -> list[str]:
    """What else to know of a temperature that stands far below its setpoint.

    Parameters
    ----------
    low : Low
        How it stands.
    units : str
        Unit system of the reader.

    Returns
    -------
    list of str
        Sentences.
    """
    if low.climbing:
        return [HEATED, _chosen(units)]
    return [*_causes(units), STILL_COLD]


def _causes(units: UnitSystem) -> list[str]:
    return [CAUSES, _chosen(units)]


def _chosen(units: UnitSystem) -> str:
    distance = say(FAR_BELOW, "temperature-difference", units, decimals=0)
    return f"{distance} below count here: chosen, without a published source."


def if_lowered(fall: Collapse, told: str) -> list[str]:
    """What would excuse it, where the caller has not said from what the setpoint was lowered.

    Parameters
    ----------
    fall : Collapse
        What fell.
    told : str
        How his request says it, in words.

    Returns
    -------
    list of str
        A sentence; empty for a column, whose fall is taken from its present setpoint.
    """
    if fall.where != "exhaust":
        return []
    hours = f"{BEFORE_S / 3600.0:.0f} hours"
    follows = "an exhaust that falls with the column is no sign of a lost flame"
    return [f"If the setpoint was lowered within the last {hours}, {told}: {follows}."]


def _seen(fall: Collapse, units: UnitSystem) -> str:
    below = say(fall.below, "temperature-difference", units, decimals=0)
    now = say(fall.temperature, "temperature", units, decimals=0)
    return f"The {fall.where} temperature reads {below} below the level before, at {now}"
