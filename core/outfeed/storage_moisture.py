"""Moisture at which a grain keeps, for how long and by whose advice.

Sources differ and word their durations differently, so every row of the grain catalogue is given
with its source, never one number.
"""

from __future__ import annotations

from outfeed.errors import Inconsistent
from outfeed.grains import Grain, StorageMoisture
from outfeed.methods import READ, Method

STORAGE_MOISTURES = Method(
    id="storage-life.safe-moisture",
    title="Moisture at which a grain keeps, by duration, source by source",
    source="As each row states",
    known=READ,
)
METHODS = (STORAGE_MOISTURES,)

# Months that the sources' own words stand for, from an autumn harvest: common practice, no source.
_MONTHS = {
    "short term": 3.0,
    "short periods in a cold winter": 3.0,
    "weeks to months": 3.0,
    "up to 5 months in bags, autumn and winter": 5.0,
    "into spring": 6.0,
    "autumn and winter, cooled": 6.0,
    "up to 6 months": 6.0,
    "up to 8 months in bags, autumn and winter": 8.0,
    "into summer": 9.0,
    "through summer": 12.0,
    "8 to 12 months": 12.0,
    "up to 12 months": 12.0,
    "over 5 months": 24.0,
    "over 1 year": 24.0,
    "longer": 24.0,
    "long periods": 24.0,
    "long-term storage": 24.0,
    "long-term storage at 60 F or cooler": 24.0,
}


def months_meant(row: StorageMoisture) -> float | None:
    """How many months a row of storage advice is good for, from an autumn harvest.

    Parameters
    ----------
    row : StorageMoisture
        From the catalogue.

    Returns
    -------
    float or None
        Months; None where the source's words name no duration.
    """
    return _MONTHS.get(row.duration)


def advised_span(grain: Grain) -> tuple[float, float] | None:
    """The driest and the wettest moisture that any source advises for storing a grain.

    Parameters
    ----------
    grain : Grain
        From the catalogue.

    Returns
    -------
    tuple of float, or None
        Wet basis [-]; None where the catalogue holds no such advice.
    """
    rows = grain.storage_moistures
    if not rows:
        return None
    return min(row.low for row in rows), max(row.high for row in rows)


def safe_moistures(grain: Grain, months: float | None = None) -> tuple[StorageMoisture, ...]:
    """Published moistures at which a grain keeps, all sources, or those good for a time.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    months : float, optional
        Time the grain is to be kept, from harvest [months]; zero or more.

    Returns
    -------
    tuple of StorageMoisture
        Rows of every source; with `months`, of each source the rows for the shortest time it
        names that is long enough, and rows that name no time.

    Raises
    ------
    Inconsistent
        Negative months.
    """
    if months is None:
        return grain.storage_moistures
    if months < 0.0:
        raise Inconsistent("grain cannot be kept for less than no time", "months")
    kept: list[StorageMoisture] = []
    for source in dict.fromkeys(row.source_key for row in grain.storage_moistures):
        rows = [row for row in grain.storage_moistures if row.source_key == source]
        kept += [row for row in rows if months_meant(row) is None]
        enough = [meant for row in rows if (meant := months_meant(row) or 0.0) >= months]
        kept += [row for row in rows if enough and months_meant(row) == min(enough)]
    return tuple(kept)
