"""What is advised about a grain: moistures, temperatures and times, as each source states them.

Advice conflicts, so rows of several sources stand side by side. All in SI;
`source`, `known`, `note`, `printed` and `source_key` mean what they mean at
`outfeed.grains.properties.Known`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

DRYING_AIR: Final = "drying air"
GRAIN_ITSELF: Final = "grain"


@dataclass(frozen=True, slots=True)
class StorageMoisture:
    """A moisture at which one source says the grain keeps.

    Attributes
    ----------
    low, high : float
        Advised moisture, wet basis, fraction; equal when the source gives one figure.
    duration : str
        How long, in the source's terms ("into summer").
    warmest : float or None
        The warmest grain it holds for [degC]; None where it holds for grain of any temperature.
    source, known, note, source_key : str
        As for `Known`.
    """

    low: float
    high: float
    duration: str
    warmest: float | None
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class TemperatureLimit:
    """One published limit, as one source states it; sources are kept side by side.

    Attributes
    ----------
    low, high : float
        The limit [degC]; a source that gives a range ("80 to 100") has both ends.
    of : str
        What is limited: `DRYING_AIR` or `GRAIN_ITSELF`.
    kind : str
        "maximum" (advice: stay at or under) or "damage seen" (a trial: stay under).
    end_uses : tuple of str
        Uses the source names; empty when it names none.
    dryer_types : tuple of str
        Dryer types the source names; empty when it names none.
    moisture_at : float or None
        Grain moisture the source states it for, wet basis, fraction.
    moisture_above, moisture_up_to : float or None
        Moistures between which the row is to be used (above the one, up to the other).
    points_per_pass : float or None
        Moisture the source lets be taken off in one pass, wet basis, fraction.
    heated_down_to : float or None
        Moisture to which the source lets heated air dry it, wet basis, fraction; cooling takes the
        rest.
    conditions : str
        Further conditions, in words.
    jurisdiction : str
        Whose practice it is.
    source, known, note, printed, source_key : str
        As for `Known`.
    """

    low: float
    high: float
    of: str
    kind: str
    end_uses: tuple[str, ...]
    dryer_types: tuple[str, ...]
    moisture_at: float | None
    moisture_above: float | None
    moisture_up_to: float | None
    points_per_pass: float | None
    heated_down_to: float | None
    conditions: str
    jurisdiction: str
    source: str
    known: str
    note: str = ""
    printed: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class StorageLife:
    """One cell of a published chart: how long the grain keeps at a moisture and temperature.

    Attributes
    ----------
    life : float
        Allowable storage time [s].
    temperature : float
        Grain temperature [degC].
    moisture_wb : float
        Moisture, wet basis, fraction.
    criterion : str
        What ends the life ("half a percent of dry matter lost", "germination").
    source, known, note, printed, source_key : str
        As for `Known`.
    """

    life: float
    temperature: float
    moisture_wb: float
    criterion: str
    source: str
    known: str
    note: str = ""
    printed: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class Observation:
    """A published finding about heat and this grain that is not itself a limit.

    Attributes
    ----------
    statement : str
        The finding, in a sentence with its figures.
    source, known, source_key : str
        As for `Known`.
    """

    statement: str
    source: str
    known: str
    source_key: str = ""
