"""Which published limit on the drying air rules where several speak for a case.

Limits conflict, so one of them rules by a stated order and the others are shown beside it: the one
that names the kind of dryer, then the one that names the end use, then the strictest, of the source
or country that is asked for. A limit whose own condition a plan breaks is set aside; then the
strictest that holds rules. The order is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from outfeed.dryer.description import Dryer
from outfeed.dryer.heat_check import dryer_type
from outfeed.errors import UnknownName
from outfeed.grains import Grain, TemperatureLimit, temperature_limits
from outfeed.grains.advice import DRYING_AIR

F = 5.0 / 9.0
UNDER_DAMAGE = 5.0 * F
"""How far to stay under a temperature at which damage was seen [K]: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Authority:
    """Whose limits are followed.

    Attributes
    ----------
    end_use : str
        One of `outfeed.grains.vocabulary.END_USES`.
    source : str, optional
        Key of the one source to follow.
    jurisdiction : str, optional
        Country whose practice to follow.
    """

    end_use: str
    source: str | None = None
    jurisdiction: str | None = None


def ruling_limit(
    grain: Grain,
    dryer: Dryer,
    authority: Authority,
    moisture_wb: float,
    set_aside: tuple[TemperatureLimit, ...] = (),
) -> tuple[TemperatureLimit | None, tuple[TemperatureLimit, ...]]:
    """The limit on the drying air that rules at a level, and the others that speak for it.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    dryer : Dryer
        For its kind.
    authority : Authority
        Whose limits are followed.
    moisture_wb : float
        Grain that enters the level, wet basis [-].
    set_aside : tuple of TemperatureLimit, optional
        Limits that must not rule, since the plan breaks their condition.

    Returns
    -------
    tuple
        The ruling limit, None where none is published; the other limits.

    Raises
    ------
    UnknownName
        An unknown end use, source or country.
    """
    rows = temperature_limits(
        grain,
        end_use=authority.end_use,
        dryer_type=dryer_type(dryer.kind),
        moisture_wb=moisture_wb,
    )
    return ruling_of(rows, authority, set_aside)


def ruling_of(
    rows: Iterable[TemperatureLimit],
    authority: Authority,
    set_aside: tuple[TemperatureLimit, ...] = (),
) -> tuple[TemperatureLimit | None, tuple[TemperatureLimit, ...]]:
    """Which of the limits that speak for a case rules over its drying air.

    Parameters
    ----------
    rows : iterable of TemperatureLimit
        From `outfeed.grains.temperature_limits`, the kind of dryer told.
    authority : Authority
        Whose limits are followed.
    set_aside : tuple of TemperatureLimit, optional
        Limits that must not rule, since the plan breaks their condition.

    Returns
    -------
    tuple
        The ruling limit, None where none is published; the other limits on drying air.
    """
    rows = tuple(row for row in rows if row.of == DRYING_AIR)
    followed = followed_of(rows, authority, set_aside)
    # Whoever is followed, damage seen in grain for this very use at this moisture caps the plenum.
    damaging = [
        row for row in rows if row.kind == "damage seen" and authority.end_use in row.end_uses
    ]
    bounds = damaging if followed is None else [followed, *damaging]
    ruling = min(bounds, key=ceiling_of, default=None)
    return ruling, tuple(row for row in rows if row is not ruling)


def followed_of(
    rows: Iterable[TemperatureLimit],
    authority: Authority,
    set_aside: tuple[TemperatureLimit, ...] = (),
) -> TemperatureLimit | None:
    """The authority's own among limits on drying air, whatever damage was seen.

    Parameters
    ----------
    rows : iterable of TemperatureLimit
        On drying air.
    authority : Authority
        Whose limits are followed.
    set_aside : tuple of TemperatureLimit, optional
        Limits that must not be followed, since the plan breaks their condition.

    Returns
    -------
    TemperatureLimit or None
        Where one of the authority's own is set aside, the strictest of those it has left; where it
        has none left, the strictest of anyone, since its silence is no permission then.
    """
    rows = tuple(rows)
    held = [row for row in rows if row not in set_aside]
    own = [row for row in held if _speaks(row, authority)]
    if any(_speaks(row, authority) for row in rows if row in set_aside):
        return min(own or held, key=_strictness, default=None)
    return min(own, key=lambda row: (not row.dryer_types, not row.end_uses, row.low), default=None)


def ceiling_of(row: TemperatureLimit) -> float:
    """How hot the air may be by one limit.

    Parameters
    ----------
    row : TemperatureLimit
        On drying air.

    Returns
    -------
    float
        The lower end of a range; under what was seen to do damage [degC].
    """
    return row.low - UNDER_DAMAGE if row.kind == "damage seen" else row.low


def check_authority(grain: Grain, authority: Authority) -> None:
    """Refuse a source or country from which the catalogue has no limit for a grain.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    authority : Authority
        Whose limits are to be followed.

    Raises
    ------
    UnknownName
        No such source or country for this grain; the known ones are named.
    """
    rows = grain.temperature_limits
    for kind, wanted, known, name in (
        ("source", authority.source, [row.source_key for row in rows], "limit_source"),
        ("country", authority.jurisdiction, [row.jurisdiction for row in rows], "jurisdiction"),
    ):
        if wanted is not None and wanted not in known:
            raise UnknownName(kind, wanted, tuple(sorted(set(known) - {""})), name=name)


def _speaks(row: TemperatureLimit, authority: Authority) -> bool:
    return authority.source in (None, row.source_key) and authority.jurisdiction in (
        None,
        row.jurisdiction,
    )


def _strictness(row: TemperatureLimit) -> tuple[bool, float]:
    """Order in which a limit stands in for another; damage seen caps it in any case."""
    return row.kind == "damage seen", ceiling_of(row)
