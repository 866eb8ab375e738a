"""Fire in words: what to look at first when a controlled temperature runs away upwards.

What to do is in the dryer's manual and the emergency plan; these words name the hazard, say where
to look, and send the reader there.
"""

from __future__ import annotations

from outfeed.steering.clean import COLUMN_READING
from outfeed.steering.exhaust import Steep
from outfeed.steering.fire import LOOK_S as LOOK_S
from outfeed.steering.fire import Climb
from outfeed.steering.runaway import ABOVE, HOTTEST_PUBLISHED, Danger, Hot, Runaway
from outfeed_api.units import UnitSystem, say

CAUTIONS = ("fire-column", "hot-surfaces")
TO_DO = (
    "Check now that grain moves in every column, look and smell for smoke, and follow the "
    "emergency procedure of the dryer's manual"
)
TO_DO_STILL = (
    "Shut off the burner and keep people clear now, look and smell for smoke, and follow the "
    "emergency procedure of the dryer's manual"
)
STILL = (
    "The discharge stands still: judge nothing before grain moves, watch column and exhaust "
    "temperature every few minutes, and if anything climbs or smokes follow the emergency "
    "procedure of the dryer's manual."
)
HANGING = (
    "Grain that hangs in one column heats while the others run, so a running discharge proves "
    "nothing. Do not open or enter the dryer on the strength of this answer; call the fire "
    "service if you see or smell smoke."
)
STANDING = (
    "Hot grain that does not move can burn out of sight. Do not open or enter the dryer on the "
    "strength of this answer; call the fire service if you see or smell smoke."
)
UNWATCHED = "the column is not watched for fire meanwhile, so look and smell for smoke there"
SENSOR_FIRST = f"check the sensor and its wiring before you trust any temperature here; {UNWATCHED}"
BESIDE = (
    "What follows is the trend of the readings without single odd ones; it says nothing against "
    "the caution."
)
UNMOVED = (
    "The reading has not moved at all for {:.0f} minutes, so it may be that of a failed sensor; "
    "look at the dryer first, and check the sensor only after that."
)
UNREAL = (
    "The reading is beyond what a sensor in a dryer can show, and an open wire may give it; look "
    "at the dryer first, and check sensor and wiring only after that."
)
HOTTER_PLENUMS = (
    "Plenums raised far within the last half hour would explain it; a setpoint raised, a drier lot "
    "or warmer grain would not."
)
STEEP_CHOSEN = (
    "No published source says how fast an exhaust may climb. In a model of dryers normal running "
    "lifts it by up to 6 degC (11 degF) in half an hour, so 8 degC (14 degF) is taken for no "
    "normal running: a false alarm costs a look."
)
CHOSEN_LOW = (
    "The levels that count here are chosen low, without a published source: a false alarm costs a "
    "look."
)


def decision(danger: Danger, units: UnitSystem, look: str, *, still: bool) -> str:
    """What is wrong and where to look first.

    Parameters
    ----------
    danger : Climb, Runaway, Hot or Steep
        What asks for a look at fire.
    units : str
        Unit system of the reader.
    look : str
        When to look at the readings again, in words.
    still : bool
        Whether the discharge is known to stand still.

    Returns
    -------
    str
        Two sentences or three.
    """
    doubt = "" if danger.confirmed else " Only one of the last readings shows it: take it for real."
    seen, to_do = _seen(danger, units), TO_DO_STILL if still else TO_DO
    return (
        f"FIRE CAUTION: {seen}.{doubt} {to_do}; read the temperatures again at {look}, and touch "
        f"no setpoint before you know the cause."
    )


def notes(danger: Danger | None, *, still: bool) -> list[str]:
    """What else to know of it.

    Parameters
    ----------
    danger : Climb, Runaway, Hot, Steep or None
        What asks for a look at fire.
    still : bool
        Whether the discharge is known to stand still.

    Returns
    -------
    list of str
        Sentences; empty without danger.
    """
    if danger is None:
        return []
    where = STANDING if still else HANGING
    if isinstance(danger, Climb):
        return [where, CHOSEN_LOW]
    if isinstance(danger, Steep):
        return [where, HOTTER_PLENUMS, STEEP_CHOSEN]
    published = isinstance(danger, Hot) or danger.why == "beyond-limits"
    unmoved = [UNMOVED.format(danger.unmoved_s / 60.0)] if danger.unmoved_s else []
    unreal = [UNREAL] if danger.temperature > COLUMN_READING.high else []
    return [where, *unmoved, *unreal, *([] if published else [CHOSEN_LOW])]


def if_lowered(danger: Danger | None, told: str) -> list[str]:
    """What would excuse it, where the caller has not said whether the setpoint was lowered.

    Parameters
    ----------
    danger : Climb, Runaway, Hot, Steep or None
        What asks for a look at fire.
    told : str
        How his request says it, in words.

    Returns
    -------
    list of str
        A sentence; empty where no move of the setpoint explains what is seen.
    """
    if not isinstance(danger, Runaway) or not danger.excusable:
        return []
    unfollowed = "a column that has not followed yet is no sign of fire"
    return [f"If the setpoint was lowered within the last hour, {told}: {unfollowed}."]


def _seen(danger: Danger, units: UnitSystem) -> str:
    if isinstance(danger, Climb):
        return _climb(danger, units)
    if isinstance(danger, Steep):
        now = _reading(danger.temperature, units)
        rise = say(danger.rise, "temperature-difference", units, decimals=1)
        return (
            f"the exhaust temperature has climbed within about half an hour to {now}, {rise} above "
            f"its highest level before, while grain moves"
        )
    if isinstance(danger, Hot):
        now = _reading(danger.temperature, units)
        return f"the {danger.where} temperature stands at {now}, {beyond(units)}"
    return _away(danger, units)


def _reading(temperature: float, units: UnitSystem) -> str:
    """Whole degrees, but for a reading that would then seem to be the limit itself."""
    near = abs(temperature - HOTTEST_PUBLISHED) < 1.0
    return say(temperature, "temperature", units, decimals=1 if near else 0)


def beyond(units: UnitSystem) -> str:
    """What a temperature above every published limit is above, in words."""
    limit = say(HOTTEST_PUBLISHED, "temperature", units, decimals=0)
    return f"above {limit}, the highest published limit of drying air for any grain here"


def _climb(danger: Climb, units: UnitSystem) -> str:
    rise = say(danger.rise, "temperature-difference", units, decimals=1)
    return f"the {danger.where} temperature has climbed {rise} while the discharge stands still"


def _away(danger: Runaway, units: UnitSystem) -> str:
    now = _reading(danger.temperature, units)
    above = say(danger.above, "temperature-difference", units, decimals=1)
    if danger.why == "climbing-away":
        rise = say(danger.rise, "temperature-difference", units, decimals=1)
        return (
            f"the temperature climbs away, {rise} in about half an hour, to {now}, {above} above "
            f"its setpoint"
        )
    if danger.why == "beyond-limits":
        over = f"{above} above its setpoint and " if danger.above >= ABOVE else ""
        return f"the temperature stands at {now}, {over}{beyond(units)}"
    return f"the temperature stays at {now}, {above} above its setpoint"
