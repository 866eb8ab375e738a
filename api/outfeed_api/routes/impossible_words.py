"""Readings no sensor can give, in words: counted, and a fire thought of where not alone."""

from __future__ import annotations

from collections.abc import Iterable

from outfeed.limits import BROKEN_OR_FIRE
from outfeed.steering.clean import COLUMN_READING
from outfeed.steering.impossible import Impossible
from outfeed_api.routes import fire_words
from outfeed_api.units import UnitSystem, say
from outfeed_api.wording import ALONE

Found = tuple[str, Impossible | None]

CHECK = "look at the sensor and its wiring"


def notes(found: Iterable[Found], units: UnitSystem) -> list[str]:
    """How many were left out, and where to look.

    Parameters
    ----------
    found : iterable of tuple
        What was measured, "column" for instance, with what cannot be true of its readings.
    units : str
        Unit system of the reader.

    Returns
    -------
    list of str
        Sentences; empty where every reading can be true.
    """
    return [
        sentence
        for where, seen in found
        if seen is not None
        for sentence in (_hot(where, seen, units), _cold(where, seen, units))
        if sentence
    ]


def codes(found: Iterable[Found]) -> tuple[str, ...]:
    """Cautions that belong to them.

    Parameters
    ----------
    found : iterable of tuple
        As for `notes`.

    Returns
    -------
    tuple of str
        Those of fire where some may be of fire.
    """
    burning = any(seen is not None and seen.may_burn for _, seen in found)
    return fire_words.CAUTIONS if burning else ()


def _hot(where: str, seen: Impossible, units: UnitSystem) -> str:
    if not seen.hot:
        return ""
    limit = say(COLUMN_READING.high, "temperature", units, decimals=0)
    said = f"{_counted(where, seen.hot, seen)} hotter than any sensor in a dryer shows, {limit}"
    if not seen.alone:
        return f"{said}: {BROKEN_OR_FIRE}. {_left_out(seen.hot, 'fire')}."
    each = "it stands" if seen.hot == 1 else "each stands"
    return f"{said}; {each} {ALONE}: {CHECK}. {_left_out(seen.hot, 'fire')}."


def _cold(where: str, seen: Impossible, units: UnitSystem) -> str:
    if not seen.cold:
        return ""
    limit = say(COLUMN_READING.low, "temperature", units, decimals=0)
    return (
        f"{_counted(where, seen.cold, seen)} colder than any sensor in a dryer shows, {limit}: "
        f"{CHECK}. {_left_out(seen.cold, 'a fall')}."
    )


def _counted(where: str, count: int, seen: Impossible) -> str:
    verb = "is" if count == 1 else "are"
    return f"{count} of {seen.readings} {where} temperatures {verb}"


def _left_out(count: int, watch: str) -> str:
    left = "It was left" if count == 1 else "They were left"
    return f"{left} out of all but the watch for {watch}"
