"""Specific heat of a grain, also of one that nobody measured.

Where none was published, the mean of those that were stands in for it: over the moistures that
are dried they lie within a tenth of each other. An estimate from water content alone, as for foods
in general, would be a quarter too low for every grain that was measured.
"""

from __future__ import annotations

from functools import cache

from outfeed.errors import NotPublished
from outfeed.grains.loader import grain_ids, load_grain
from outfeed.grains.properties import LinearInMoisture
from outfeed.grains.schema import Grain
from outfeed.methods import DERIVED

STAND_IN = "mean of the grains with a published one"


def specific_heat_of(grain: Grain) -> LinearInMoisture:
    """Specific heat of a grain, or the mean of the published ones where it has none.

    Parameters
    ----------
    grain : Grain
        From the catalogue.

    Returns
    -------
    LinearInMoisture
        Per kg of wet grain; `measured_on` names the substitute.

    Raises
    ------
    NotPublished
        The catalogue has none at all.
    """
    return grain.specific_heat or _mean_of_published()


def published_specific_heats() -> tuple[LinearInMoisture, ...]:
    """Every published specific heat of the catalogue, each measurement once.

    Returns
    -------
    tuple of LinearInMoisture
        Per kg of wet grain.
    """
    every = (load_grain(name).specific_heat for name in grain_ids())
    return tuple({(one.a, one.b): one for one in every if one is not None}.values())


@cache
def _mean_of_published() -> LinearInMoisture:
    rows = published_specific_heats()
    if not rows:
        raise NotPublished("specific heat", "any grain")
    return LinearInMoisture(
        a=sum(row.a for row in rows) / len(rows),
        b=sum(row.b for row in rows) / len(rows),
        unit=rows[0].unit,
        measured_on=STAND_IN,
        source="; ".join(dict.fromkeys(row.source for row in rows)),
        known=DERIVED,
    )
