"""What a continuous-flow dryer is, in the words its owner would use.

A `Dryer` is its kind and its zones from top to bottom; a `Zone` is how much bed it holds, how hot
its plenum is and how much air blows through. `Conditions` is the weather, `Feed` the grain that
enters at the top. The column model, the quick balance and the plans all start from these.

Numbers are SI: degC, Pa, m, m3, kg, s; air per kg of dry air, grain per kg of dry matter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Literal

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.limits import (
    AMBIENT,
    GRAIN_TEMPERATURE,
    MOISTURE_WB,
    PLENUM,
    PRESSURE,
    RELATIVE_HUMIDITY,
    SENSIBLE,
    Range,
)

DryerKind = Literal["mixed-flow", "cross-flow", "counter-flow", "concurrent-flow"]
Role = Literal["heated", "cooling"]
Burner = Literal["indirect", "direct-fired"]
Turning = Literal["none", "mixed", "inverted"]
Direction = Literal["counter", "concurrent"]

DRYER_KINDS: tuple[DryerKind, ...] = ("mixed-flow", "cross-flow", "counter-flow", "concurrent-flow")
ROLES: tuple[Role, ...] = ("heated", "cooling")
BURNERS: tuple[Burner, ...] = ("indirect", "direct-fired")
TURNINGS: tuple[Turning, ...] = ("none", "mixed", "inverted")
DIRECTIONS: tuple[Direction, ...] = ("counter", "concurrent")

VOLUME = Range("bed volume of a zone", 0.01, 2_000.0, "m3", SENSIBLE)
HEIGHT = Range("bed height of a zone", 0.02, 60.0, "m", SENSIBLE)
CROSS_SECTION = Range("bed cross-section", 0.01, 200.0, "m2", SENSIBLE)
HALF_PITCH = Range("half pitch of the duct rows", 0.05, 0.6, "m", SENSIBLE)
COLUMN_THICKNESS = Range("thickness of the grain column", 0.05, 1.0, "m", SENSIBLE)
AIRFLOW = Range("airflow of a zone", 1e-3, 2_000.0, "kg dry air/s", SENSIBLE)
AIRFLOW_PER_VOLUME = Range("airflow per bed volume", 0.02, 6.0, "kg dry air/(s m3)", SENSIBLE)
DRY_MATTER_DENSITY = Range("dry matter per bed volume", 200.0, 900.0, "kg/m3", SENSIBLE)
"""Transit times between which a rate is looked for."""
SENSOR_POSITION = Range("sensor position as a fraction of the zone height", 0.0, 1.0, "", SENSIBLE)

CORN_DRY_MATTER_DENSITY = 610.0
"""Dry matter per bed volume of corn [kg/m3]: recalled, about 45 lb of dry matter a bushel."""

DEFAULT_HALF_PITCH = 0.2
"""Half the distance between duct rows of one sort [m]: common practice, no source."""

ASSUMED_BED_HEIGHT = 12.0
"""Bed height taken for a whole mixed-flow column when only volumes are known [m]: common
practice, no source. Grain and air meet the same way at any height once the air per bed volume and
the half pitch are given; only the number of layers changes."""

STANDARD_PRESSURE = 101_325.0
"""Pressure of the standard atmosphere at sea level [Pa]: ISO 2533."""


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of the column with its own plenum.

    Attributes
    ----------
    name : str
        What the owner calls it.
    role : str
        "heated" or "cooling"; a cooling zone is blown with ambient air.
    volume : float, optional
        Bed volume [m3].
    height : float, optional
        Bed height [m]; with the dryer's cross-section it stands for the volume.
    plenum_temperature : float, optional
        Temperature of the air in the plenum [degC]; absent for a cooling zone.
    airflow : float, optional
        Dry air through the zone [kg/s]; give this or `airflow_per_volume`.
    airflow_per_volume : float, optional
        Dry air per bed volume [kg/(s m3)].
    burner : str
        "indirect" (or steam, or none) or "direct-fired", whose combustion water joins the air.
    fuel : str, optional
        Id of the fuel; needed for combustion water.
    turning : str
        What happens to the grain on entering the zone of a cross-flow column: "none", "mixed"
        across the column, or "inverted" (inner and outer half change places).
    air_reversed : bool
        Whether the air of a cross-flow zone enters on the side away from the first zone's.
    direction : str, optional
        "counter" or "concurrent", where a zone of a counter- or concurrent-flow dryer departs
        from its kind; the cooling zone of a concurrent-flow dryer is counter-flow unless said.
    sensors : tuple of float
        Column sensors as fractions of the zone's height from its top [-].
    """

    name: str
    role: Role
    volume: float | None = None
    height: float | None = None
    plenum_temperature: float | None = None
    airflow: float | None = None
    airflow_per_volume: float | None = None
    burner: Burner = "indirect"
    fuel: str | None = None
    turning: Turning = "none"
    air_reversed: bool = False
    direction: Direction | None = None
    sensors: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        _one_of("role", self.role, ROLES)
        _one_of("burner", self.burner, BURNERS)
        _one_of("turning", self.turning, TURNINGS)
        if self.direction is not None:
            _one_of("direction", self.direction, DIRECTIONS)
        for limit, value, name in (
            (VOLUME, self.volume, "volume"),
            (HEIGHT, self.height, "height"),
            (PLENUM, self.plenum_temperature, "plenum_temperature"),
            (AIRFLOW, self.airflow, "airflow"),
            (AIRFLOW_PER_VOLUME, self.airflow_per_volume, "airflow_per_volume"),
            (SENSOR_POSITION, self.sensors or None, "sensors"),
        ):
            if value is not None:
                limit.check(value, name)
        self._check_together()

    def _check_together(self) -> None:
        if self.volume is None and self.height is None:
            raise Inconsistent(f"zone {self.name!r} needs a volume or a height", "volume", "height")
        if (self.airflow is None) == (self.airflow_per_volume is None):
            raise Inconsistent(
                f"zone {self.name!r} needs either its airflow or its airflow per bed volume",
                "airflow",
                "airflow_per_volume",
            )
        if self.role == "heated" and self.plenum_temperature is None:
            raise Inconsistent(
                f"heated zone {self.name!r} needs a plenum temperature", "plenum_temperature"
            )
        if self.role == "cooling" and self.plenum_temperature is not None:
            raise Inconsistent(
                f"cooling zone {self.name!r} is blown with ambient air; "
                "give it no plenum temperature",
                "plenum_temperature",
            )

    @property
    def heated(self) -> bool:
        """Whether the zone has a heated plenum."""
        return self.role == "heated"


@dataclass(frozen=True, slots=True)
class Dryer:
    """A continuous-flow dryer.

    Attributes
    ----------
    kind : str
        "mixed-flow", "cross-flow", "counter-flow" or "concurrent-flow".
    zones : tuple of Zone
        From the top of the column to the discharge.
    cross_section : float, optional
        Horizontal area of the bed [m2]. When absent it follows from a zone that states volume and
        height, else from `ASSUMED_BED_HEIGHT`.
    half_pitch : float
        Mixed flow: height of bed between a row of inlet ducts and the next row of exhaust ducts
        [m].
    column_thickness : float, optional
        Cross-flow: way of the air through the grain [m].
    dry_matter_density : float
        Dry matter per bed volume [kg/m3]; the default is corn's.
    """

    kind: DryerKind
    zones: tuple[Zone, ...]
    cross_section: float | None = None
    half_pitch: float = DEFAULT_HALF_PITCH
    column_thickness: float | None = None
    dry_matter_density: float = CORN_DRY_MATTER_DENSITY

    def __post_init__(self) -> None:
        _one_of("kind", self.kind, DRYER_KINDS)
        HALF_PITCH.check(self.half_pitch, "half_pitch")
        DRY_MATTER_DENSITY.check(self.dry_matter_density, "dry_matter_density")
        if self.cross_section is not None:
            CROSS_SECTION.check(self.cross_section, "cross_section")
        if self.column_thickness is not None:
            COLUMN_THICKNESS.check(self.column_thickness, "column_thickness")
        self._check_zones()
        for index in range(len(self.zones)):
            AIRFLOW_PER_VOLUME.check(self.airflow_per_volumes[index], "airflow")

    def _check_zones(self) -> None:
        if not any(zone.heated for zone in self.zones):
            raise Inconsistent("a dryer needs at least one heated zone", "zones")
        names = [zone.name for zone in self.zones]
        if len(set(names)) != len(names):
            raise Inconsistent(f"zone names repeat: {', '.join(names)}", "zones")
        if self.kind == "cross-flow" and self.column_thickness is None:
            raise Inconsistent(
                "a cross-flow dryer needs the thickness of its column", "column_thickness"
            )
        only_heights = all(zone.volume is None for zone in self.zones)
        if only_heights and self.cross_section is None:
            raise Inconsistent(
                "heights alone do not say how much grain the dryer holds: give the bed "
                "cross-section or a zone's volume",
                "cross_section",
                "zones",
            )
        self._check_directions()

    def _check_directions(self) -> None:
        along = self.kind in ("counter-flow", "concurrent-flow")
        for zone in self.zones:
            if zone.direction is not None and not along:
                raise Inconsistent(
                    f"zone {zone.name!r} states a direction, which a {self.kind} dryer "
                    "does not have",
                    "direction",
                )
            if self.kind != "cross-flow" and (zone.turning != "none" or zone.air_reversed):
                raise Inconsistent(
                    f"zone {zone.name!r}: turning the grain and reversing the air belong to "
                    "cross-flow columns",
                    "turning",
                )

    @property
    def area(self) -> float:
        """Bed cross-section, given, derived or assumed [m2]."""
        if self.cross_section is not None:
            return self.cross_section
        for zone in self.zones:
            if zone.volume is not None and zone.height is not None:
                return zone.volume / zone.height
        return sum(zone.volume or 0.0 for zone in self.zones) / ASSUMED_BED_HEIGHT

    @property
    def area_is_assumed(self) -> bool:
        """Whether the cross-section rests on `ASSUMED_BED_HEIGHT`."""
        return self.cross_section is None and not any(
            zone.volume is not None and zone.height is not None for zone in self.zones
        )

    @property
    def volumes(self) -> tuple[float, ...]:
        """Bed volume of each zone [m3]."""
        return tuple(
            zone.volume if zone.volume is not None else (zone.height or 0.0) * self.area
            for zone in self.zones
        )

    @property
    def heights(self) -> tuple[float, ...]:
        """Bed height of each zone [m]."""
        return tuple(volume / self.area for volume in self.volumes)

    @property
    def airflows(self) -> tuple[float, ...]:
        """Dry air through each zone [kg/s]."""
        return tuple(
            zone.airflow if zone.airflow is not None else (zone.airflow_per_volume or 0.0) * volume
            for zone, volume in zip(self.zones, self.volumes, strict=True)
        )

    @property
    def airflow_per_volumes(self) -> tuple[float, ...]:
        """Dry air per bed volume of each zone [kg/(s m3)]."""
        pairs = zip(self.airflows, self.volumes, strict=True)
        return tuple(airflow / volume for airflow, volume in pairs)

    @property
    def heated_volume(self) -> float:
        """Bed volume of the heated zones [m3]."""
        pairs = zip(self.zones, self.volumes, strict=True)
        return sum(volume for zone, volume in pairs if zone.heated)

    @property
    def cooling_volume(self) -> float:
        """Bed volume of the cooling zones [m3]."""
        return sum(self.volumes) - self.heated_volume

    @property
    def hold_up_dry_matter(self) -> float:
        """Dry matter of the grain in the column [kg]."""
        return sum(self.volumes) * self.dry_matter_density

    @property
    def dry_matter_below_sensors(self) -> float | None:
        """Dry matter between the mean place of the column sensors and the discharge [kg].

        None without sensors.
        """
        tops = accumulate(self.volumes, initial=0.0)
        above = [
            top + place * volume
            for top, volume, zone in zip(tops, self.volumes, self.zones, strict=False)
            for place in zone.sensors
        ]
        if not above:
            return None
        below = sum(self.volumes) - sum(above) / len(above)
        return max(0.0, below) * self.dry_matter_density

    @property
    def plenum_temperatures(self) -> tuple[float | None, ...]:
        """Plenum temperature of each zone [degC], None where ambient air cools."""
        return tuple(zone.plenum_temperature for zone in self.zones)

    def with_plenums(self, temperatures: tuple[float | None, ...]) -> Dryer:
        """The same dryer at other plenum temperatures.

        Parameters
        ----------
        temperatures : tuple of float or None
            One entry a zone, top to bottom [degC]; None for cooling zones.

        Returns
        -------
        Dryer
            A new description.
        """
        pairs = zip(self.zones, temperatures, strict=True)
        zones = tuple(replace(zone, plenum_temperature=value) for zone, value in pairs)
        return replace(self, zones=zones)


@dataclass(frozen=True, slots=True, eq=False)
class Conditions:
    """The weather; each field a number or an array over scenarios.

    Attributes
    ----------
    ambient_temperature : array_like
        Ambient dry bulb [degC].
    ambient_relative_humidity : array_like
        Ambient relative humidity over liquid water [-].
    pressure : array_like
        Barometric pressure [Pa].
    """

    ambient_temperature: ArrayLike
    ambient_relative_humidity: ArrayLike
    pressure: ArrayLike = STANDARD_PRESSURE

    def __post_init__(self) -> None:
        AMBIENT.check(self.ambient_temperature, "ambient_temperature")
        RELATIVE_HUMIDITY.check(self.ambient_relative_humidity, "ambient_relative_humidity")
        PRESSURE.check(self.pressure, "pressure")


@dataclass(frozen=True, slots=True, eq=False)
class Feed:
    """The grain that enters at the top; numbers or arrays over scenarios.

    Attributes
    ----------
    moisture_wb : array_like
        Inlet moisture, wet basis [-].
    temperature : array_like
        Inlet grain temperature [degC].
    grain : str
        Id of the grain in the catalogue.
    """

    moisture_wb: ArrayLike
    temperature: ArrayLike
    grain: str = "corn-yellow-dent"

    def __post_init__(self) -> None:
        MOISTURE_WB.check(self.moisture_wb, "moisture_wb")
        GRAIN_TEMPERATURE.check(self.temperature, "temperature")

    @property
    def moisture_db(self) -> FloatArray:
        """Inlet moisture, dry basis [-]."""
        wet = np.asarray(self.moisture_wb, dtype=np.float64)
        return np.asarray(wet / (1.0 - wet))


def volume_from_weight(weight: float, moisture_wb: float, dry_matter_density: float) -> float:
    """Bed volume that holds a weight of grain.

    Parameters
    ----------
    weight : float
        Weight of wet grain in the bed [kg], above zero.
    moisture_wb : float
        Its moisture, wet basis [-].
    dry_matter_density : float
        Dry matter per bed volume [kg/m3].

    Returns
    -------
    float
        Bed volume [m3].

    Raises
    ------
    OutOfRange
        A weight that is not above zero, or a moisture or density outside its range.
    """
    if not weight > 0.0:
        raise OutOfRange("weight of grain", weight, (0.0, np.inf), unit="kg", name="weight")
    MOISTURE_WB.check(moisture_wb, "moisture_wb")
    DRY_MATTER_DENSITY.check(dry_matter_density, "dry_matter_density")
    return weight * (1.0 - moisture_wb) / dry_matter_density


def _one_of(name: str, value: str, known: tuple[str, ...]) -> None:
    if value not in known:
        raise Inconsistent(f"{name} {value!r} is none of {', '.join(known)}", name)
