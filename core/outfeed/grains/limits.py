"""Which published temperature limits speak for a case.

Limits conflict between countries, move with moisture and depend on end use and
dryer type. So a question returns rows, each with its source, never one number;
`strictest` and `most_permissive` name the ends of what was found.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from outfeed.errors import UnknownName
from outfeed.grains.advice import DRYING_AIR, TemperatureLimit
from outfeed.grains.loader import load_general
from outfeed.grains.schema import Grain
from outfeed.grains.vocabulary import (
    DRYER_TYPES,
    END_USES,
    GERM_MUST_LIVE,
    WIDER_DRYERS,
    WIDER_USES,
)
from outfeed.limits import MOISTURE_WB


def temperature_limits(
    grain: Grain,
    *,
    end_use: str | None = None,
    dryer_type: str | None = None,
    moisture_wb: float | None = None,
    source: str | None = None,
) -> tuple[TemperatureLimit, ...]:
    """Published limits that speak for a grain and, if told, its use, dryer and moisture.

    A row that names no dryer type speaks for all. A row that names no end use speaks for all
    but seed and malting, where the germ must live. A limit for a wider term speaks for a
    narrower one (a mixed-flow dryer is a continuous-flow dryer that mixes). Where a source
    gives limits at several moistures, the row for the next wetter one is returned; beyond the
    wettest, that row again, as the highest the source could mean.

    Parameters
    ----------
    grain : Grain
        The grain.
    end_use : str, optional
        One of `outfeed.grains.vocabulary.END_USES`.
    dryer_type : str, optional
        One of `outfeed.grains.vocabulary.DRYER_TYPES`.
    moisture_wb : float, optional
        Moisture of the grain as it enters, wet basis, fraction [-], 0 to 0.60.
    source : str, optional
        Key of one source.

    Returns
    -------
    tuple of TemperatureLimit
        In the order of the catalogue; empty when nobody published one for the case.

    Raises
    ------
    UnknownName
        An end use, dryer type or source that the catalogue does not know.
    OutOfRange
        Moisture outside its range.
    """
    rows = grain.temperature_limits + load_general().temperature_limits
    _check_name("end use", end_use, END_USES, "end_use")
    _check_name("dryer type", dryer_type, DRYER_TYPES, "dryer_type")
    _check_name("source", source, tuple({row.source_key: None for row in rows}), "source")
    if moisture_wb is not None:
        MOISTURE_WB.check(moisture_wb, "moisture_wb")
    return tuple(
        row
        for row in rows
        if _use_fits(row, end_use)
        and _dryer_fits(row, dryer_type)
        and _moisture_fits(row, moisture_wb)
        and source in (None, row.source_key)
    )


def strictest(
    limits: Iterable[TemperatureLimit], *, of: str = DRYING_AIR
) -> TemperatureLimit | None:
    """The lowest of several limits on one thing; ranges count by their lower end.

    Parameters
    ----------
    limits : iterable of TemperatureLimit
        From `temperature_limits`.
    of : str
        "drying air" or "grain".

    Returns
    -------
    TemperatureLimit or None
        The first of the lowest; ``None`` when none limits `of`.
    """
    return min((row for row in limits if row.of == of), key=lambda row: row.low, default=None)


def most_permissive(
    limits: Iterable[TemperatureLimit], *, of: str = DRYING_AIR
) -> TemperatureLimit | None:
    """The highest of several limits on one thing; ranges count by their upper end.

    Parameters
    ----------
    limits : iterable of TemperatureLimit
        From `temperature_limits`.
    of : str
        "drying air" or "grain".

    Returns
    -------
    TemperatureLimit or None
        The first of the highest; ``None`` when none limits `of`.
    """
    return max((row for row in limits if row.of == of), key=lambda row: row.high, default=None)


def _check_name(kind: str, value: str | None, known: tuple[str, ...], name: str) -> None:
    if value is not None and value not in known:
        raise UnknownName(kind, value, known, name=name)


def _use_fits(row: TemperatureLimit, end_use: str | None) -> bool:
    if end_use is None:
        return True
    if not row.end_uses:
        return end_use not in GERM_MUST_LIVE
    return bool(_with_wider(end_use, WIDER_USES) & set(row.end_uses))


def _dryer_fits(row: TemperatureLimit, dryer_type: str | None) -> bool:
    if dryer_type is None or not row.dryer_types:
        return True
    return bool(_with_wider(dryer_type, WIDER_DRYERS) & set(row.dryer_types))


def _moisture_fits(row: TemperatureLimit, moisture_wb: float | None) -> bool:
    if moisture_wb is None:
        return True
    above = row.moisture_above is None or moisture_wb > row.moisture_above
    return above and (row.moisture_up_to is None or moisture_wb <= row.moisture_up_to)


def _with_wider(word: str, wider: Mapping[str, tuple[str, ...]]) -> set[str]:
    """The word with every wider term above it, at any depth."""
    found = {word}
    for parent in wider.get(word, ()):
        found |= _with_wider(parent, wider)
    return found
