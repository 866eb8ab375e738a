"""What is taken for granted about a dryer when its owner does not say, and how wrong it may be.

Every entry is an `Assumption`: a value, the range it may lie in, why it is needed and where it
comes from. The quick balance evaluates its answer at both ends of each one and widens its band
by what that moves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from outfeed.dryer.description import Dryer, DryerKind
from outfeed.fuel import BTU, KILOWATT_HOUR, US_GALLON, load_fuel
from outfeed.grains import Grain, published_specific_heats, specific_heat_of
from outfeed.grains.units import BUSHEL_VOLUME
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import COMMON_PRACTICE

POUND = 0.45359237
"""Kilograms per pound: exact by definition."""
BTU_PER_POUND = BTU / POUND
"""Joules per kilogram in a Btu per pound."""
STANDARD_AIR_DENSITY = 1.204
"""Dry air at 20 degC and 101,325 Pa [kg/m3]: ASHRAE Handbook of Fundamentals, recalled."""
CFM_PER_BUSHEL = 0.3048**3 / 60.0 / BUSHEL_VOLUME * STANDARD_AIR_DENSITY
"""Dry air per bed volume [kg/(s m3)] in a cubic foot a minute per bushel."""

STANDARD_AIRFLOW = Range("airflow of a zone, standard air", 1e-3, 1_500.0, "m3/s", SENSIBLE)

AIRFLOW = "airflow_per_volume"
AMBIENT_HUMIDITY = "ambient_relative_humidity"
GRAIN_TEMPERATURE = "grain_temperature"
DENSITY = "dry_matter_density"
BURNER = "burner_efficiency"
FAN_ENERGY = "fan_energy_per_water"
EFFECTIVENESS = "air_effectiveness"
DISCHARGE_GRAIN = "discharge_above_ambient"
COOLING_EVAPORATION = "cooling_evaporation_share"
COLUMN_THICKNESS = "column_thickness"
GRAIN_HEAT = "specific_heat"

MIDDLE_OF_ZONE = (0.5,)
"""Where a column sensor is taken to sit in the lowest heated zone; common practice, no source."""

NEBRASKA = "University of Nebraska-Lincoln CropWatch 2008, high-speed dryers"
MWPS = "Midwest Plan Service MWPS-13, recalled"


@dataclass(frozen=True, slots=True)
class Assumption:
    """One input that was filled in.

    Attributes
    ----------
    name : str
        Which input.
    value : float
        The value taken, in `unit`.
    low, high : float
        Ends of the range it may lie in, taken as a 90 % interval.
    unit : str
        SI unit; empty when dimensionless.
    why : str
        Why it was needed, in a sentence.
    source : str
        Where value and range come from.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class SpecificEnergy:
    """Published fuel energy per water removed for a kind of dryer, whole dryer, cooling included.

    Attributes
    ----------
    value, low, high : float
        Typical value and range [J/kg, higher heating value].
    source : str
        Where they come from.
    """

    value: float
    low: float
    high: float
    source: str


_GALLON_HEAT = load_fuel("propane").heat_content * US_GALLON
_WATER_PER_POINT = 0.663 * POUND  # water in one point of a 56 lb bushel at 15.5 %: mass balance
_IOWA_FARM_AVERAGE = 0.018 * _GALLON_HEAT / _WATER_PER_POINT

SPECIFIC_ENERGY: dict[DryerKind, SpecificEnergy] = {
    "cross-flow": SpecificEnergy(
        _IOWA_FARM_AVERAGE,
        1_880.0 * BTU_PER_POUND,
        3_000.0 * BTU_PER_POUND,
        "0.018 gal of propane a bushel-point, Iowa State University IC-492(20); 1,880 Btu/lb over "
        "a season, Brinker and Johnson 2010 (ASABE 1008958); 3,000 Btu/lb, MWPS-13, recalled",
    ),
    "mixed-flow": SpecificEnergy(
        2_000.0 * BTU_PER_POUND,
        0.60 * 0.020 * _GALLON_HEAT / _WATER_PER_POINT,
        0.80 * 0.020 * _GALLON_HEAT / _WATER_PER_POINT,
        "about 2,000 Btu/lb and 20 to 40 % less than cross-flow: Sanford, University of Wisconsin "
        "Extension, 2010, on 0.020 gal a bushel-point of a cross-flow column",
    ),
    "concurrent-flow": SpecificEnergy(
        0.60 * 0.020 * _GALLON_HEAT / _WATER_PER_POINT,
        0.60 * _IOWA_FARM_AVERAGE,
        0.80 * 0.020 * _GALLON_HEAT / _WATER_PER_POINT,
        "about 40 % less than cross-flow: University of Wisconsin Extension, on 0.020 gal a "
        "bushel-point of a cross-flow column",
    ),
    "counter-flow": SpecificEnergy(
        1_750.0 * BTU_PER_POUND,
        1_500.0 * BTU_PER_POUND,
        2_000.0 * BTU_PER_POUND,
        "1,500 to 2,000 Btu/lb for continuous in-bin drying, MWPS-13/-22, recalled",
    ),
}

_AIRFLOWS: dict[DryerKind, tuple[float, float, float, str]] = {
    "cross-flow": (80.0, 50.0, 125.0, f"50 to 100 cfm/bu, {NEBRASKA}; 75 to 125 cfm/bu, {MWPS}"),
    "mixed-flow": (
        50.0,
        30.0,
        100.0,
        (
            f"50 to 100 cfm/bu for high-speed dryers, {NEBRASKA}; the lower half of it and below "
            f"for the deeper bed of a mixed-flow dryer: {COMMON_PRACTICE}"
        ),
    ),
    "concurrent-flow": (50.0, 30.0, 100.0, f"as for mixed flow: {COMMON_PRACTICE}"),
    "counter-flow": (20.0, 5.0, 50.0, f"{COMMON_PRACTICE}"),
}


def assumed_airflow(kind: DryerKind) -> Assumption:
    """Dry air per bed volume of a kind of dryer whose owner does not know it.

    Parameters
    ----------
    kind : str
        Kind of dryer.

    Returns
    -------
    Assumption
        Value and range [kg dry air/(s m3)].
    """
    value, low, high, source = (
        entry if isinstance(entry, str) else entry * CFM_PER_BUSHEL for entry in _AIRFLOWS[kind]
    )
    return Assumption(
        AIRFLOW,
        float(value),
        float(low),
        float(high),
        "kg dry air/(s m3)",
        "The airflow was not given; the rate is proportional to it.",
        str(source),
    )


def assumed_ambient_humidity() -> Assumption:
    """Relative humidity of the outside air when nobody measured it.

    Returns
    -------
    Assumption
        Value and range [-].
    """
    return Assumption(
        AMBIENT_HUMIDITY,
        0.70,
        0.40,
        0.95,
        "",
        "The humidity of the outside air was not given.",
        COMMON_PRACTICE,
    )


def assumed_grain_temperature(ambient_temperature: float) -> Assumption:
    """Temperature of the incoming grain: that of the outside air, within 6 K.

    Parameters
    ----------
    ambient_temperature : float
        Outside air [degC].

    Returns
    -------
    Assumption
        Value and range [degC].
    """
    spread = 6.0
    return Assumption(
        GRAIN_TEMPERATURE,
        ambient_temperature,
        ambient_temperature - spread,
        ambient_temperature + spread,
        "degC",
        "The temperature of the incoming grain was not given; it is taken as the outside air's.",
        COMMON_PRACTICE,
    )


def assumed_density(value: float, source: str) -> Assumption:
    """Dry matter per bed volume from the catalogue, within 5 %.

    Parameters
    ----------
    value : float
        Dry matter per bed volume [kg/m3].
    source : str
        Where the bulk density comes from.

    Returns
    -------
    Assumption
        Value and range [kg/m3].
    """
    spread = 0.05
    return Assumption(
        DENSITY,
        value,
        value * (1.0 - spread),
        value * (1.0 + spread),
        "kg dry matter/m3",
        "The bulk density of this lot was not given; the transit time is proportional to it.",
        source,
    )


def assumed_grain_heat(grain: Grain, moisture_wb: float) -> Assumption:
    """Specific heat of a grain for which none was published: that of the grains that have one.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    moisture_wb : float
        Moisture at which it is stated, wet basis [-].

    Returns
    -------
    Assumption
        Mean and range over those grains [J/(kg K) of wet grain].

    Raises
    ------
    NotPublished
        The catalogue has none at all.
    """
    others = [row.at(moisture_wb) for row in published_specific_heats()]
    taken = specific_heat_of(grain)
    return Assumption(
        GRAIN_HEAT,
        taken.at(moisture_wb),
        min(others),
        max(others),
        "J/(kg K)",
        f"No specific heat of {grain.name[:1].lower()}{grain.name[1:]} is on record; heating the "
        "grain takes it. It is the mean of the grains that were measured, at the inlet moisture.",
        taken.source,
    )


def assumed_burner_efficiency() -> Assumption:
    """Share of the fuel's higher heating value that an indirect heater gives to the air.

    Returns
    -------
    Assumption
        Value and range [-].
    """
    return Assumption(
        BURNER,
        0.80,
        0.70,
        0.90,
        "",
        "The efficiency of the indirect heater was not given; fuel use follows from it.",
        "recalled, typical of indirect air heaters",
    )


def assumed_fan_energy() -> Assumption:
    """Electricity of fans and drives per water removed.

    Returns
    -------
    Assumption
        Value and range [J/kg].
    """
    per_point = KILOWATT_HOUR / 100.0 / 10.0 / _WATER_PER_POINT
    return Assumption(
        FAN_ENERGY,
        10.0 * per_point,
        7.0 * per_point,
        15.0 * per_point,
        "J/kg water",
        "The power of the fans was not given.",
        "10 kWh per 100 bushels dried from 25.5 to 15.5 % with cooling in the dryer, 7 without: "
        "Midwest Plan Service handbook, as quoted by The Land; upper end widened",
    )


def assumed_column_thickness() -> Assumption:
    """Thickness of a cross-flow column; the quick balance does not depend on it.

    Returns
    -------
    Assumption
        Value and range [m].
    """
    inch = 0.0254
    return Assumption(
        COLUMN_THICKNESS,
        12.0 * inch,
        10.0 * inch,
        16.0 * inch,
        "m",
        "The thickness of the grain column was not given.",
        "10 to 16 inches, University of Wisconsin Extension",
    )


def discharge_above_ambient() -> Assumption:
    """How much warmer than the outside air grain leaves a cooling section.

    Returns
    -------
    Assumption
        Value and range [K].
    """
    return Assumption(
        DISCHARGE_GRAIN,
        8.0,
        0.0,
        17.0,
        "K",
        "How far the cooling section cools the grain was not given.",
        f"between ambient and 30 degF above it: {COMMON_PRACTICE}",
    )


def cooling_evaporation_share() -> Assumption:
    """Share of the heat given up by cooling grain that goes into evaporation.

    Slow cooling in a bin loses 0.20 to 0.25 point for each 10 degF, which is about two thirds of
    the heat given up; the fast cooling inside a dryer leaves less time for it.

    Returns
    -------
    Assumption
        Value and range [-].
    """
    return Assumption(
        COOLING_EVAPORATION,
        0.45,
        0.20,
        0.67,
        "",
        "How much water leaves in the cooling section is not published for cooling in the dryer.",
        "upper end: 0.20 to 0.25 point per 10 degF in delayed cooling, Iowa State University "
        "PM 2089K; the rest: " + COMMON_PRACTICE,
    )


def with_sensors(dryer: Dryer) -> tuple[Dryer, bool]:
    """The dryer with column sensors.

    Parameters
    ----------
    dryer : Dryer
        The description.

    Returns
    -------
    tuple
        The dryer, with one sensor in the middle of its lowest heated zone where it has none, and
        whether that was so.
    """
    if any(zone.sensors for zone in dryer.zones):
        return dryer, False
    lowest = max(index for index, zone in enumerate(dryer.zones) if zone.heated)
    zones = list(dryer.zones)
    zones[lowest] = replace(zones[lowest], sensors=MIDDLE_OF_ZONE)
    return replace(dryer, zones=tuple(zones)), True
