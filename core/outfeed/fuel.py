"""What a fuel holds, makes and costs: heat, water of combustion, carbon dioxide, money.

Heat contents are higher (gross) heating values, as fuel is metered and sold; the lower value is
that less the heat of the water the flame makes, which a grain dryer never gets back by condensing.
A direct-fired burner therefore gives the air the whole higher value, but part of it as vapour.

Sources: U.S. Energy Information Administration (EIA) heat contents and carbon dioxide emission
coefficients (release of February 2016); combustion water from stoichiometry.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import UnknownName
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import DERIVED, READ, RECALLED, SECOND_SOURCE, Method
from outfeed.moist_air import FUELS

BTU = 1055.05585262
"""Joules per British thermal unit (International Table): exact by definition."""
US_GALLON = 3.785411784e-3
"""Cubic metres per US gallon: exact by definition."""
CUBIC_FOOT = 0.028316846592
"""Cubic metres per cubic foot: exact by definition."""
KILOWATT_HOUR = 3.6e6
"""Joules per kilowatt-hour: exact by definition."""

LATENT_HEAT_25 = 2.4417e6
"""Heat of vaporization of water at 25 degC [J/kg]: ASHRAE Handbook of Fundamentals, recalled."""

HEAT = Range("heat", 0.0, 1e15, "J", SENSIBLE)
FUEL_PRICE = Range("fuel price", 0.0, 1e6, "money per unit sold", SENSIBLE)
HEAT_PRICE = Range("price of fuel heat", 0.0, 1e-3, "money/J", SENSIBLE)
SPECIFIC_ENERGY = Range("fuel energy per water removed", 2.0e6, 2.0e7, "J/kg", SENSIBLE)
EFFICIENCY = Range("burner efficiency", 0.3, 1.0, "", SENSIBLE)

EIA_HEAT = Method(
    id="fuel.heat-content.eia",
    title="Higher heating values of fuels as sold",
    source="U.S. Energy Information Administration, heat contents of fuels",
    known=READ,
    note="Extension texts also print 91,330 to 92,000 Btu/gal for propane and 1,000 Btu/ft3 for "
    "natural gas.",
)
EIA_CARBON = Method(
    id="fuel.carbon-dioxide.eia-2016",
    title="Carbon dioxide made per heat of fuel",
    source="U.S. Energy Information Administration, Carbon Dioxide Emissions Coefficients, "
    "release of 2 February 2016",
    known=READ,
    note="Of the fuel alone; electricity depends on the grid and has no factor here.",
)
COMBUSTION_WATER = Method(
    id="fuel.combustion-water.stoichiometry",
    title="Water made by burning a fuel, per heat set free",
    source="Stoichiometry of CH4 and C3H8 with their heats of combustion (Pittam and Pilcher "
    "1972); fuel oil No. 2 at 12.5 % hydrogen by mass, recalled",
    known=DERIVED,
    note="Natural gas is taken as methane.",
)
METHODS = (EIA_HEAT, EIA_CARBON, COMBUSTION_WATER)


@dataclass(frozen=True, slots=True)
class Fuel:
    """A fuel as it is sold.

    Attributes
    ----------
    id : str
        Stable name.
    name : str
        In words.
    sold_by : str
        "volume" for liquids and gases, "energy" for electricity.
    heat_content : float
        Higher heating value [J/m3 as sold], or 1.0 [J/J] when sold by energy.
    density : float, optional
        As sold, near 15 degC [kg/m3].
    combustion_water : float
        Water made per higher-heating-value heat [kg/J].
    carbon_dioxide : float, optional
        Carbon dioxide per higher-heating-value heat [kg/J]; absent when unknown.
    source : str
        Of the heat content.
    known : str
        How the density is known.
    """

    id: str
    name: str
    sold_by: str
    heat_content: float
    density: float | None
    combustion_water: float
    carbon_dioxide: float | None
    source: str
    known: str

    @property
    def lower_heat_content(self) -> float:
        """Lower heating value, in the unit of `heat_content`."""
        return self.heat_content * (1.0 - self.combustion_water * LATENT_HEAT_25)


_MEGA_BTU = 1e6 * BTU

_METHANE_WATER = FUELS["natural-gas"].water / FUELS["natural-gas"].higher_heating_value
_PROPANE_WATER = FUELS["propane"].water / FUELS["propane"].higher_heating_value
# Fuel oil No. 2: 12.5 % hydrogen, 45.5 MJ/kg, recalled; 18.015/2.016 kg of water per kg hydrogen.
_FUEL_OIL_WATER = 0.125 * 18.015 / 2.016 / 45.5e6

_EIA = "U.S. Energy Information Administration"

_FUELS = (
    Fuel(
        id="propane",
        name="propane (LP gas, liquid)",
        sold_by="volume",
        heat_content=91_333.0 * BTU / US_GALLON,
        density=504.0,
        combustion_water=_PROPANE_WATER,
        carbon_dioxide=63.07 / _MEGA_BTU,
        source=_EIA,
        known=SECOND_SOURCE,
    ),
    Fuel(
        id="natural-gas",
        name="natural gas",
        sold_by="volume",
        heat_content=1_037.0 * BTU / CUBIC_FOOT,
        density=0.72,
        combustion_water=_METHANE_WATER,
        carbon_dioxide=53.07 / _MEGA_BTU,
        source=_EIA,
        known=RECALLED,
    ),
    Fuel(
        id="fuel-oil",
        name="fuel oil No. 2",
        sold_by="volume",
        heat_content=138_500.0 * BTU / US_GALLON,
        density=850.0,
        combustion_water=_FUEL_OIL_WATER,
        carbon_dioxide=73.16 / _MEGA_BTU,
        source=_EIA,
        known=RECALLED,
    ),
    Fuel(
        id="electricity",
        name="electricity",
        sold_by="energy",
        heat_content=1.0,
        density=None,
        combustion_water=0.0,
        carbon_dioxide=None,
        source="definition: 3,412 Btu per kilowatt-hour",
        known="definition",
    ),
)
_BY_ID = MappingProxyType({fuel.id: fuel for fuel in _FUELS})


def fuel_ids() -> tuple[str, ...]:
    """Names of the fuels.

    Returns
    -------
    tuple of str
        Ids accepted by `load_fuel`.
    """
    return tuple(_BY_ID)


def load_fuel(fuel: str) -> Fuel:
    """A fuel by its id.

    Parameters
    ----------
    fuel : str
        One of `fuel_ids()`.

    Returns
    -------
    Fuel
        The fuel.

    Raises
    ------
    UnknownName
        No such fuel.
    """
    try:
        return _BY_ID[fuel]
    except KeyError:
        raise UnknownName("fuel", fuel, fuel_ids()) from None


def quantity_for(fuel: Fuel, heat: ArrayLike, efficiency: ArrayLike = 1.0) -> FloatArray:
    """How much fuel a heat takes.

    Parameters
    ----------
    fuel : Fuel
        The fuel.
    heat : array_like
        Heat wanted, higher heating value [J], zero or more.
    efficiency : array_like
        Share of the higher heating value that reaches the air [-], 0.3 to 1.

    Returns
    -------
    ndarray
        Quantity as sold [m3], or [J] for electricity.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    wanted = HEAT.check(heat, "heat")
    share = EFFICIENCY.check(efficiency, "efficiency")
    return np.asarray(wanted / share / fuel.heat_content)[()]


def cost_of(
    fuel: Fuel, heat: ArrayLike, price: ArrayLike, efficiency: ArrayLike = 1.0
) -> FloatArray:
    """What a heat costs.

    Parameters
    ----------
    fuel : Fuel
        The fuel.
    heat : array_like
        Heat wanted, higher heating value [J], zero or more.
    price : array_like
        Money per m3 as sold, or per J for electricity.
    efficiency : array_like
        Share of the higher heating value that reaches the air [-], 0.3 to 1.

    Returns
    -------
    ndarray
        Money.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    each = FUEL_PRICE.check(price, "price")
    return np.asarray(quantity_for(fuel, heat, efficiency) * each)[()]


def cost_of_heat(heat: ArrayLike, price: ArrayLike) -> FloatArray:
    """What a heat costs at a price per heat, whatever the fuel.

    Parameters
    ----------
    heat : array_like
        Heat, higher heating value [J], zero or more.
    price : array_like
        Money per J.

    Returns
    -------
    ndarray
        Money.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    return np.asarray(HEAT.check(heat, "heat") * HEAT_PRICE.check(price, "price"))[()]


def carbon_dioxide_of(fuel: Fuel, heat: ArrayLike) -> FloatArray | None:
    """Carbon dioxide made in setting a heat free.

    Parameters
    ----------
    fuel : Fuel
        The fuel.
    heat : array_like
        Heat burned, higher heating value [J], zero or more.

    Returns
    -------
    ndarray or None
        Carbon dioxide [kg]; None where no factor is published for the fuel itself.

    Raises
    ------
    OutOfRange
        A negative heat.
    """
    burned = HEAT.check(heat, "heat")
    if fuel.carbon_dioxide is None:
        return None
    return np.asarray(burned * fuel.carbon_dioxide)[()]
