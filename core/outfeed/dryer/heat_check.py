"""Whether a column stays inside the published temperature limits, level by level.

Limits are stated for drying air or for the grain itself, some by moisture of the grain, use and
kind of dryer. Sources conflict, so each level gets every row that speaks for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from outfeed.dryer.description import Dryer, DryerKind
from outfeed.dryer.profile import ColumnProfile
from outfeed.grains import Grain, TemperatureLimit, temperature_limits
from outfeed.grains.advice import DRYING_AIR, GRAIN_ITSELF
from outfeed.grains.vocabulary import DRYER_TYPES
from outfeed.limits import SPOKEN

PLENUM_HOLDS = 1.5
"""How far a plenum holds off its setpoint [K]: 2 to 3 degF, common practice, no source."""

Verdict = Literal["inside", "above-some", "above-all", "none-published"]


@dataclass(frozen=True, slots=True)
class OnePass:
    """What one pass through a dryer makes of the grain's moisture, wet basis.

    Attributes
    ----------
    inlet_wb : float
        Grain that enters the dryer [-].
    heated_wb : float
        Grain that leaves the lowest heated zone [-].
    outlet_wb : float
        Grain at the discharge [-].
    """

    inlet_wb: float
    heated_wb: float
    outlet_wb: float

    def keeps_points(self, row: TemperatureLimit) -> bool | None:
        """Whether a limit lets so much be taken off in one pass; None where it is silent."""
        if row.points_per_pass is None:
            return None
        return self.inlet_wb - self.outlet_wb <= row.points_per_pass + SPOKEN

    def keeps_heat(self, row: TemperatureLimit) -> bool | None:
        """Whether heated air dries no further than a limit lets it; None where it is silent."""
        if row.heated_down_to is None:
            return None
        return self.heated_wb >= row.heated_down_to - SPOKEN


@dataclass(frozen=True, slots=True)
class LevelCheck:
    """One level against the limits on one thing.

    Attributes
    ----------
    zone : str
        Name of the zone.
    of : str
        "drying air" or "grain".
    temperature : float
        Plenum, or hottest kernel of the zone [degC].
    moisture_wb : float
        Grain that enters the zone, wet basis [-].
    rows : tuple of TemperatureLimit
        Every limit that speaks for the level.
    passed : tuple of TemperatureLimit
        Those that are exceeded.
    one_pass : OnePass
        What the whole dryer does, for the conditions of the limits.
    """

    zone: str
    of: str
    temperature: float
    moisture_wb: float
    rows: tuple[TemperatureLimit, ...]
    passed: tuple[TemperatureLimit, ...]
    one_pass: OnePass

    @property
    def verdict(self) -> Verdict:
        """How the level stands."""
        if not self.rows:
            return "none-published"
        if not self.passed:
            return "inside"
        return "above-all" if len(self.passed) == len(self.rows) else "above-some"


def dryer_type(kind: DryerKind) -> str:
    """The catalogue's word for a kind of dryer.

    Parameters
    ----------
    kind : str
        Kind of dryer.

    Returns
    -------
    str
        Itself where limits name it, else "continuous-flow".
    """
    return kind if kind in DRYER_TYPES else "continuous-flow"


def one_pass(dryer: Dryer, profile: ColumnProfile, inlet_moisture_wb: float) -> OnePass:
    """What a settled column makes of the grain's moisture.

    Parameters
    ----------
    dryer : Dryer
        The description.
    profile : ColumnProfile
        Its settled column; one scenario.
    inlet_moisture_wb : float
        Grain that enters the dryer, wet basis [-].

    Returns
    -------
    OnePass
        For the conditions of temperature limits.
    """
    heated = inlet_moisture_wb
    for zone, result in zip(dryer.zones, profile.zones, strict=True):
        heated = float(result.moisture_wb) if zone.heated else heated
    return OnePass(inlet_moisture_wb, heated, float(profile.outlet_moisture_wb))


def check_levels(
    dryer: Dryer, profile: ColumnProfile, grain: Grain, inlet_moisture_wb: float, end_use: str
) -> tuple[LevelCheck, ...]:
    """Plenums and kernels of every zone against the published limits.

    Parameters
    ----------
    dryer : Dryer
        The description.
    profile : ColumnProfile
        Its settled column; one scenario.
    grain : Grain
        From the catalogue.
    inlet_moisture_wb : float
        Grain that enters the dryer, wet basis [-].
    end_use : str
        One of `outfeed.grains.vocabulary.END_USES`.

    Returns
    -------
    tuple of LevelCheck
        For each zone the air, where it is heated, then the grain.
    """
    found: list[LevelCheck] = []
    entering, whole = inlet_moisture_wb, one_pass(dryer, profile, inlet_moisture_wb)
    for zone, result in zip(dryer.zones, profile.zones, strict=True):
        rows = temperature_limits(
            grain, end_use=end_use, dryer_type=dryer_type(dryer.kind), moisture_wb=entering
        )
        if zone.plenum_temperature is not None:
            air = zone.plenum_temperature
            found.append(_check(zone.name, DRYING_AIR, air, entering, rows, PLENUM_HOLDS, whole))
        kernel = float(result.hottest_kernel)
        found.append(_check(zone.name, GRAIN_ITSELF, kernel, entering, rows, 0.0, whole))
        entering = float(result.moisture_wb)
    return tuple(found)


def _check(
    zone: str,
    of: str,
    temperature: float,
    moisture_wb: float,
    rows: Iterable[TemperatureLimit],
    slack: float,
    whole: OnePass,
) -> LevelCheck:
    speaking = tuple(row for row in rows if row.of == of)
    passed = tuple(row for row in speaking if _passes(temperature, row, slack))
    return LevelCheck(zone, of, temperature, moisture_wb, speaking, passed, whole)


def _passes(temperature: float, row: TemperatureLimit, slack: float) -> bool:
    """Advice may be met; a temperature at which damage was seen must not."""
    if row.kind == "damage seen":
        return temperature >= row.high
    return temperature > row.high + slack
