"""Sentences that more than one answer or picture needs."""

from __future__ import annotations

from outfeed.limits import BROKEN_OR_FIRE
from outfeed.moisture import FARM_HANDLING_LOSS, HANDLING, USUAL_HANDLING_LOSS
from outfeed.spells import Spell
from outfeed_api.models import Assumed, AssumedQuantity
from outfeed_api.moments import Clock
from outfeed_api.units import UnitSystem, say

HOUR = 3600.0
AS_PERCENT = "readings are sent in percent, 15.5 and not 0.155"
ALONE = "alone between calm ones, as a loose wire or interference gives"


def assumed_handling_loss() -> Assumed:
    """The loss of handling where none was given.

    Returns
    -------
    Assumed
        For the answer.
    """
    return AssumedQuantity(
        input="handling_loss",
        quantity="percent",
        value=USUAL_HANDLING_LOSS,
        low=FARM_HANDLING_LOSS.low,
        high=FARM_HANDLING_LOSS.high,
        why="usual loss of dust and broken kernels",
        source=HANDLING.source,
    )


def moisture(value: float) -> str:
    """A moisture as a sentence has it.

    Parameters
    ----------
    value : float
        Wet basis [-].

    Returns
    -------
    str
        In per cent, to a tenth.
    """
    return say(value, "moisture", "us", decimals=1).removesuffix(" wet basis")


def lasting(seconds: float) -> str:
    """A length of time as a person would say it.

    Parameters
    ----------
    seconds : float
        Zero or more.

    Returns
    -------
    str
        "40 minutes", "3.5 hours", "12 days".
    """
    if seconds < 1.5 * HOUR:
        minutes = max(round(seconds / 60.0), 1)
        return f"{minutes} minute{'s' * (minutes != 1)}"
    if seconds < 48.0 * HOUR:
        return f"{seconds / HOUR:.1f} hours"
    return f"{seconds / (24.0 * HOUR):.0f} days"


def spell_words(spell: Spell, units: UnitSystem, clock: Clock) -> str:
    """A suspicious spell in a sentence.

    Parameters
    ----------
    spell : Spell
        From the review.
    units : {"us", "metric"}
        The reader's.
    clock : Clock
        How times are spoken of.

    Returns
    -------
    str
        One sentence.
    """
    when = f"for {lasting(spell.seconds)} from {clock.say(spell.start_s)}"
    level = 0.0 if spell.level is None else spell.level
    if spell.kind == "stopped-with-heat":
        climb = say(level, "temperature-difference", units, decimals=0)
        risen = f"; the column rose by {climb}" if level >= 1.0 else ""
        return f"Discharge stood still with the heat on {when}{risen}."
    if spell.kind == "stopped-and-climbing":
        climb = say(level, "temperature-difference", units, decimals=0)
        return (
            f"The column rose by {climb} while the discharge stood still with the heat off {when}: "
            f"a sign of fire."
        )
    if spell.kind == "hot-column":
        hottest = say(level, "temperature", units, decimals=0)
        return (
            f"{spell.channel.capitalize()} read up to {hottest} {when}, hotter than any published "
            f"drying air: a sign of fire unless the sensor was at fault."
        )
    if spell.kind == "impossible-reading":
        means = f": {BROKEN_OR_FIRE}" if spell.broken_or_fire else ""
        means = f", {ALONE}" if spell.alone else means
        what = "one reading" if spell.alone else "readings"
        return f"{spell.channel.capitalize()} gave {what} that cannot be true {when}{means}."
    if spell.kind == "wetter-than-inlet":
        return f"Grain read {level * 100:.1f} points wetter at the discharge than it came {when}."
    if spell.kind == "frozen-sensor":
        quantity = "moisture" if spell.channel.startswith("moisture") else "temperature"
        value = say(level, quantity, units, decimals=1)
        return f"{spell.channel.capitalize()} stood at {value} {when}, while grain moved."
    if spell.kind == "plenum-off-setpoint":
        away = say(abs(level), "temperature-difference", units, decimals=0)
        return f"The plenum was {away} {'above' if level > 0 else 'below'} its setpoint {when}."
    return f"The log has a hole {when}."
