"""Moisture at which a grain keeps, for how long and by whose advice.

Sources differ and word their durations differently, so every row of the grain catalogue is given
with its source, never one number. A row that a source states for cold grain speaks for cold grain
only.
"""

from __future__ import annotations

from collections.abc import Iterable

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

SAME_MOISTURE = 1e-9
"""Moistures so near are one [-]: rounding of a change of unit."""
SAME_TEMPERATURE = 1e-6
"""Temperatures so near are one [K], likewise."""

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


def holds_at(row: StorageMoisture, temperature: float | None) -> bool:
    """Whether a row of storage advice holds for grain of a temperature.

    Parameters
    ----------
    row : StorageMoisture
        From the catalogue.
    temperature : float or None
        The warmest the grain is while it is stored [degC]; None where nobody told.

    Returns
    -------
    bool
        False of a row for cold grain where the grain is warmer, or may be.
    """
    if row.warmest is None:
        return True
    return temperature is not None and temperature <= row.warmest + SAME_TEMPERATURE


def cold_enough(
    rows: Iterable[StorageMoisture], moisture_wb: float, temperature: float | None
) -> float | None:
    """How cold grain has to be to be stored at its moisture, where it is dry enough only if cold.

    Parameters
    ----------
    rows : iterable of StorageMoisture
        From the catalogue.
    moisture_wb : float
        Of the grain, wet basis [-].
    temperature : float or None
        As for `holds_at`.

    Returns
    -------
    float or None
        The highest temperature at which a row allows the moisture [degC]; None where one allows it
        as warm as the grain is, or none does however cold.
    """
    allowing = [row for row in rows if moisture_wb <= row.high + SAME_MOISTURE]
    if any(holds_at(row, temperature) for row in allowing):
        return None
    return max((row.warmest for row in allowing if row.warmest is not None), default=None)


def advised_span(grain: Grain, temperature: float | None = None) -> tuple[float, float] | None:
    """The driest and the wettest moisture that any source advises for storing a grain.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    temperature : float, optional
        As for `holds_at`; it decides which rows count for the wettest.

    Returns
    -------
    tuple of float, or None
        Wet basis [-]; None where the catalogue holds no such advice. Where every row is for colder
        grain the wettest is that of the driest row, since no source allows more.
    """
    rows = grain.storage_moistures
    if not rows:
        return None
    holding = [row.high for row in rows if holds_at(row, temperature)]
    return min(row.low for row in rows), max(holding, default=min(row.high for row in rows))


def safe_moistures(
    grain: Grain, months: float | None = None, temperature: float | None = None
) -> tuple[StorageMoisture, ...]:
    """Published moistures at which a grain keeps, all sources, or those good for a time.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    months : float, optional
        Time the grain is to be kept, from harvest [months]; zero or more.
    temperature : float, optional
        As for `holds_at`.

    Returns
    -------
    tuple of StorageMoisture
        Rows of every source; with `months`, of each source the rows for the shortest time it
        names that is long enough, and rows that name no time. Where these are for colder grain,
        the rows that would be shown without them stand beside them.

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
        held = [row for row in rows if holds_at(row, temperature)]
        shown = {*_long_enough(rows, months), *_long_enough(held, months)}
        kept += [row for row in rows if months_meant(row) is None]
        kept += [row for row in rows if months_meant(row) is not None and row in shown]
    return tuple(kept)


def _long_enough(rows: list[StorageMoisture], months: float) -> list[StorageMoisture]:
    """The rows for the shortest time that is long enough."""
    enough = [meant for row in rows if (meant := months_meant(row) or 0.0) >= months]
    return [row for row in rows if enough and months_meant(row) == min(enough)]
