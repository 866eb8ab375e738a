"""Units: what each quantity is called and scaled to in the two unit systems.

The only place where a number changes unit. A field of a request or an answer
declares its quantity once, with `Measure`; `models.Part` converts from that
declaration in both directions. Conversion factors are exact by definition
unless a comment says otherwise (NIST SP 811, appendix B).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from outfeed.dryer.assume import STANDARD_AIR_DENSITY

UnitSystem = Literal["us", "metric"]

POUND = 0.45359237  # kg
FOOT = 0.3048  # m
INCH = 0.0254  # m
KELVIN_PER_F = 5.0 / 9.0
BTU = 1055.05585262  # J, International Table
GALLON = 231.0 * INCH**3  # m3
BUSHEL_VOLUME = 2150.42 * INCH**3  # m3
HOUR = 3600.0  # s
TONNE = 1000.0  # kg
INCH_WATER = 249.08891  # Pa, at 4 degC
INCH_MERCURY = 3386.389  # Pa, at 0 degC
ZERO_F = -32.0 * KELVIN_PER_F  # degC


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of a quantity: ``si = value * factor + offset``.

    Attributes
    ----------
    label : str
        How the unit is written for a reader.
    ucum : str
        Its UCUM code; bushels of grain are annotated, since UCUM's bushel is a volume.
    factor, offset : float
        To SI.
    bushels : int
        Power of the bushel weight [kg] that multiplies `factor`; 0 for most units.
    """

    label: str
    ucum: str
    factor: float
    offset: float = 0.0
    bushels: int = 0

    def to_si(self, value: float, bushel_weight: float) -> float:
        """The value in SI units."""
        return value * self.scale(bushel_weight) + self.offset

    def from_si(self, value: float, bushel_weight: float) -> float:
        """The value in this unit."""
        return (value - self.offset) / self.scale(bushel_weight)

    def scale(self, bushel_weight: float) -> float:
        """The factor to SI for grain of this bushel weight [kg]."""
        return self.factor if self.bushels == 0 else self.factor * bushel_weight**self.bushels


@dataclass(frozen=True, slots=True)
class Quantity:
    """A kind of number, with its unit in each system and the significant digits it is given in."""

    id: str
    us: Unit
    metric: Unit
    digits: int = 9

    def unit(self, system: UnitSystem) -> Unit:
        """The unit of this quantity in a system."""
        return self.us if system == "us" else self.metric


def _same(id_: str, label: str, ucum: str, factor: float = 1.0) -> Quantity:
    unit = Unit(label, ucum, factor)
    return Quantity(id_, unit, unit)


def _index(*quantities: Quantity) -> dict[str, Quantity]:
    return {quantity.id: quantity for quantity in quantities}


QUANTITIES: dict[str, Quantity] = _index(
    Quantity(
        "temperature",
        Unit("degF", "[degF]", KELVIN_PER_F, ZERO_F),
        Unit("degC", "Cel", 1.0),
    ),
    Quantity(
        "temperature-difference",
        Unit("degF", "[degF]", KELVIN_PER_F),
        Unit("degC", "Cel", 1.0),
    ),
    Quantity(
        "temperature-rate",
        Unit("degF/h", "[degF]/h", KELVIN_PER_F / HOUR),
        Unit("degC/h", "Cel/h", 1.0 / HOUR),
    ),
    _same("moisture", "% wet basis", "%", 0.01),
    _same("moisture-dry-basis", "% dry basis", "%", 0.01),
    _same("points", "points of moisture", "%", 0.01),
    Quantity(
        "points-rate", Unit("points/h", "%/h", 0.01 / HOUR), Unit("points/h", "%/h", 0.01 / HOUR)
    ),
    _same("points-per-day", "points/day", "%/d", 0.01 / 86400.0),
    Quantity(
        "points-per-temperature",
        Unit("points/degF", "%/[degF]", 0.01 / KELVIN_PER_F),
        Unit("points/degC", "%/Cel", 0.01),
    ),
    _same("percent", "%", "%", 0.01),
    _same("percent-per-point", "% per point of moisture", "%/%", 1.0),
    _same("ratio", "-", "1"),
    Quantity("humidity-ratio", Unit("lb/lb", "[lb_av]/[lb_av]", 1.0), Unit("kg/kg", "kg/kg", 1.0)),
    Quantity(
        "air-pressure",
        Unit("inHg", "[in_i'Hg]", INCH_MERCURY),
        Unit("Pa", "Pa", 1.0),
    ),
    Quantity(
        "static-pressure",
        Unit("in H2O", "[in_i'H2O]", INCH_WATER),
        Unit("Pa", "Pa", 1.0),
    ),
    Quantity("length", Unit("ft", "[ft_i]", FOOT), Unit("m", "m", 1.0)),
    Quantity("thickness", Unit("in", "[in_i]", INCH), Unit("mm", "mm", 0.001)),
    Quantity("area", Unit("ft2", "[sft_i]", FOOT**2), Unit("m2", "m2", 1.0)),
    Quantity("volume", Unit("ft3", "[cft_i]", FOOT**3), Unit("m3", "m3", 1.0)),
    Quantity("mass", Unit("lb", "[lb_av]", POUND), Unit("kg", "kg", 1.0)),
    Quantity("mass-rate", Unit("lb/h", "[lb_av]/h", POUND / HOUR), Unit("kg/h", "kg/h", 1 / HOUR)),
    Quantity("grain", Unit("bu", "{bushel by weight}", 1.0, bushels=1), Unit("t", "t", TONNE)),
    Quantity(
        "grain-rate",
        Unit("bu/h", "{bushel by weight}/h", 1.0 / HOUR, bushels=1),
        Unit("t/h", "t/h", TONNE / HOUR),
    ),
    Quantity(
        "test-weight",
        Unit("lb/bu", "[lb_av]/[bu_us]", POUND / BUSHEL_VOLUME),
        Unit("kg/hL", "kg/hL", 10.0),
    ),
    Quantity(
        "density",
        Unit("lb/ft3", "[lb_av]/[cft_i]", POUND / FOOT**3),
        Unit("kg/m3", "kg/m3", 1.0),
    ),
    Quantity(
        "specific-volume",
        Unit("ft3/lb", "[cft_i]/[lb_av]", FOOT**3 / POUND),
        Unit("m3/kg", "m3/kg", 1.0),
    ),
    Quantity(
        "airflow",
        Unit("ft3/min", "[cft_i]/min", FOOT**3 / 60.0),
        Unit("m3/h", "m3/h", 1.0 / HOUR),
    ),
    Quantity(
        "airflow-per-grain",
        Unit("ft3/min per bu", "[cft_i]/min/{bushel by weight}", FOOT**3 / 60.0, bushels=-1),
        Unit("m3/h per t", "m3/h/t", 1.0 / HOUR / TONNE),
    ),
    Quantity(
        "air-mass-rate",
        Unit("lb/h dry air", "[lb_av]/h", POUND / HOUR),
        Unit("kg/h dry air", "kg/h", 1.0 / HOUR),
    ),
    Quantity("energy", Unit("Btu", "[Btu_IT]", BTU), Unit("MJ", "MJ", 1e6)),
    Quantity(
        "heat-rate", Unit("Btu/h", "[Btu_IT]/h", BTU / HOUR), Unit("MJ/h", "MJ/h", 1e6 / HOUR)
    ),
    Quantity(
        "specific-energy",
        Unit("Btu/lb", "[Btu_IT]/[lb_av]", BTU / POUND),
        Unit("MJ/kg", "MJ/kg", 1e6),
    ),
    Quantity(
        "enthalpy",
        Unit("Btu/lb dry air", "[Btu_IT]/[lb_av]", BTU / POUND),
        Unit("kJ/kg dry air", "kJ/kg", 1000.0),
    ),
    Quantity(
        "energy-per-grain",
        Unit("Btu/bu", "[Btu_IT]/{bushel by weight}", BTU, bushels=-1),
        Unit("MJ/t", "MJ/t", 1e6 / TONNE),
    ),
    _same("electric-power", "kW", "kW", 1000.0),
    _same("electric-energy", "kWh", "kW.h", 3.6e6),
    Quantity(
        "electricity-per-grain",
        Unit("kWh/bu", "kW.h/{bushel by weight}", 3.6e6, bushels=-1),
        Unit("kWh/t", "kW.h/t", 3.6e6 / TONNE),
    ),
    Quantity("liquid", Unit("gal", "[gal_us]", GALLON), Unit("L", "L", 0.001)),
    Quantity(
        "liquid-rate",
        Unit("gal/h", "[gal_us]/h", GALLON / HOUR),
        Unit("L/h", "L/h", 0.001 / HOUR),
    ),
    Quantity(
        "liquid-per-grain",
        Unit("gal/bu", "[gal_us]/{bushel by weight}", GALLON, bushels=-1),
        Unit("L/t", "L/t", 0.001 / TONNE),
    ),
    Quantity(
        "gas-rate",
        Unit("ft3/h", "[cft_i]/h", FOOT**3 / HOUR),
        Unit("m3/h", "m3/h", 1.0 / HOUR),
    ),
    Quantity(
        "gas-per-grain",
        Unit("ft3/bu", "[cft_i]/{bushel by weight}", FOOT**3, bushels=-1),
        Unit("m3/t", "m3/t", 1.0 / TONNE),
    ),
    _same("money", "money", "1"),
    Quantity(  # statements: to the cent, however large the sum
        "money-of-account", Unit("money", "1", 1.0), Unit("money", "1", 1.0), digits=15
    ),
    Quantity(  # per wet weight and point above a base moisture
        "drying-charge",
        Unit("money/bu per point", "1/{bushel by weight}/%", 100.0, bushels=-1),
        Unit("money/t per point", "1/t/%", 100.0 / TONNE),
    ),
    Quantity(  # per wet weight and point of moisture removed
        "liquid-per-point",
        Unit("gal/bu per point", "[gal_us]/{bushel by weight}/%", 100.0 * GALLON, bushels=-1),
        Unit("L/t per point", "L/t/%", 0.1 / TONNE),
    ),
    Quantity(
        "airflow-per-area",
        Unit("ft3/min per ft2", "[cft_i]/min/[sft_i]", FOOT / 60.0),
        Unit("m3/h per m2", "m3/h/m2", 1.0 / HOUR),
    ),
    Quantity(
        "airflow-per-volume",
        Unit("ft3/min per ft3", "[cft_i]/min/[cft_i]", STANDARD_AIR_DENSITY / 60.0),
        Unit("m3/h per m3", "m3/h/m3", STANDARD_AIR_DENSITY / HOUR),
    ),
    Quantity(
        "pressure-gradient",
        Unit("in H2O/ft", "[in_i'H2O]/[ft_i]", INCH_WATER / FOOT),
        Unit("Pa/m", "Pa/m", 1.0),
    ),
    Quantity(
        "price-of-gas",
        Unit("money/1000 ft3", "1/(10*3.[cft_i])", 1e-3 / FOOT**3),
        Unit("money/m3", "1/m3", 1.0),
    ),
    Quantity(
        "price-of-mass",
        Unit("money/short ton", "1/[ston_av]", 1.0 / (2000.0 * POUND)),
        Unit("money/t", "1/t", 1.0 / TONNE),
    ),
    _same("months", "months", "mo", 1.0),
    _same("money-rate", "money/h", "1/h", 1.0 / HOUR),
    Quantity(
        "price-of-grain",
        Unit("money/bu", "1/{bushel by weight}", 1.0, bushels=-1),
        Unit("money/t", "1/t", 1.0 / TONNE),
    ),
    Quantity(
        "price-of-liquid",
        Unit("money/gal", "1/[gal_us]", 1.0 / GALLON),
        Unit("money/L", "1/L", 1000.0),
    ),
    Quantity(
        "price-of-heat",
        Unit("money/MMBtu", "1/(10*6.[Btu_IT])", 1e-6 / BTU),
        Unit("money/GJ", "1/GJ", 1e-9),
    ),
    _same("price-of-electricity", "money/kWh", "1/(kW.h)", 1.0 / 3.6e6),
    _same("hours", "h", "h", HOUR),
    _same("minutes", "min", "min", 60.0),
    _same("seconds", "s", "s"),
    _same("days", "d", "d", 24.0 * HOUR),
    _same("count", "count", "1"),
    _same("per-two-hours", "per 2 h", "1/(2.h)", 1.0 / (2.0 * HOUR)),
    _same("metering-setting", "the drive's own scale", "{setting}"),
    _same("probability", "-", "1"),
    Quantity(  # gain of a controller whose output has its own scale
        "output-per-temperature",
        Unit("output/degF", "1/[degF]", 1.0 / KELVIN_PER_F),
        Unit("output/degC", "1/Cel", 1.0),
    ),
    Quantity(
        "output-per-temperature-time",
        Unit("output/(degF h)", "1/([degF].h)", 1.0 / KELVIN_PER_F / HOUR),
        Unit("output/(degC h)", "1/(Cel.h)", 1.0 / HOUR),
    ),
    Quantity(
        "conductivity",
        Unit("Btu/(h ft degF)", "[Btu_IT]/(h.[ft_i].[degF])", BTU / HOUR / FOOT / KELVIN_PER_F),
        Unit("W/(m degC)", "W/(m.Cel)", 1.0),
    ),
    Quantity(
        "specific-surface",
        Unit("ft2/ft3", "[sft_i]/[cft_i]", 1.0 / FOOT),
        Unit("m2/m3", "m2/m3", 1.0),
    ),
    _same("air-flux", "m3/(s m2)", "m3/(s.m2)"),
    _same("resistance-a", "Pa s2/m3", "Pa.s2/m3"),
    _same("resistance-b", "m2 s/m3", "m2.s/m3"),
    _same("equation-constant", "as in the equation", "1"),
    Quantity(
        "heat-capacity",
        Unit("Btu/(lb degF)", "[Btu_IT]/([lb_av].[degF])", BTU / POUND / KELVIN_PER_F),
        Unit("kJ/(kg degC)", "kJ/(kg.Cel)", 1000.0),
    ),
)

SIGNIFICANT_DIGITS = 9


def rounded(value: float, digits: int = SIGNIFICANT_DIGITS) -> float:
    """The value to a number of significant digits, so that answers read well and repeat exactly.

    Parameters
    ----------
    value : float
        A finite number.
    digits : int
        Significant digits kept.

    Returns
    -------
    float
        The rounded number; zero stays zero, and has no sign.
    """
    if value == 0.0:
        return 0.0
    if not math.isfinite(value):
        return value
    return round(value, digits - 1 - math.floor(math.log10(abs(value))))


def say(
    value: float,
    quantity: str,
    system: UnitSystem,
    *,
    bushel_weight: float = math.nan,
    decimals: int = 1,
) -> str:
    """An SI value as a person would say it, with its unit.

    Parameters
    ----------
    value : float
        The value, SI.
    quantity : str
        Id of its quantity in `QUANTITIES`.
    system : {"us", "metric"}
        Unit system of the reader.
    bushel_weight : float
        Kilograms per bushel; needed where the us unit counts bushels.
    decimals : int
        Decimals spoken; thousands are grouped.

    Returns
    -------
    str
        For example ``98.0 degF`` or ``780 bu/h``.
    """
    unit = QUANTITIES[quantity].unit(system)
    number = unit.from_si(value, bushel_weight)
    text = f"{number:,.{decimals}f}"
    if float(text.replace(",", "")) == 0.0:
        text = text.lstrip("-")
    if unit.label in {"-", "count"}:
        return text
    return f"{text} {unit.label}"
