"""Air heated by burning fuel: how much fuel, and the water that combustion adds.

An indirect burner heats through a wall. A direct-fired burner sends its combustion gas into
the drying air, so every kilogram of fuel also brings its combustion water. Amounts follow
from the reaction CxHy + (x + y/4) O2 -> x CO2 + (y/2) H2O and standard atomic weights.

The change of dry gas (oxygen used, carbon dioxide made: less than 1 kg per kg of fuel, about
0.1 % of the air at a rise of 80 K) and the slightly different heat capacity of combustion
gas are left out.

Sources
-------
.. [1] Pittam & Pilcher 1972, Measurements of heats of combustion by flame calorimetry, part 8,
   J. Chem. Soc. Faraday Trans. 1, 68: 2224-2229. Gas at 25 degC to liquid water, 1 bar.
.. [2] IUPAC standard atomic weights, abridged to five figures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.errors import Inconsistent, UnknownName
from outfeed.limits import DRY_BULB, Range
from outfeed.methods import COMMON_PRACTICE, RECALLED, Method
from outfeed.moist_air.properties import (
    DRY_AIR_HEAT_CAPACITY,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT_CAPACITY,
    WATER_HEAT_CAPACITY,
)
from outfeed.moist_air.state import AirState, air_state

__all__ = [
    "BURNERS",
    "BURNER_EFFICIENCY",
    "COMBUSTION_METHODS",
    "FUELS",
    "INDIRECT_EFFICIENCY",
    "Burned",
    "Fuel",
    "burn",
    "fuel_named",
]

CARBON, HYDROGEN, OXYGEN = 12.011e-3, 1.0080e-3, 15.999e-3  # kg/mol [2]
WATER = 2 * HYDROGEN + OXYGEN  # kg/mol
REFERENCE_TEMPERATURE = 25.0  # degC, of the heats of combustion [1]
EVAPORATION_AT_REFERENCE = 2_442_300.0  # J/kg, heat of vaporisation of water at 25 degC, steam
# tables (recalled)

INDIRECT_EFFICIENCY = 0.80  # of the higher heating value; common practice, no source
BURNERS = ("indirect", "direct-fired")
BURNER_EFFICIENCY = Range(
    "burner efficiency", 0.3, 1.0, "", "share of the higher heating value; sensible domain"
)

COMBUSTION_METHODS = (
    Method(
        "combustion.stoichiometric",
        "Combustion water and heat of propane and natural gas",
        "reaction equation with IUPAC atomic weights; heats of combustion of Pittam & Pilcher "
        "1972, J. Chem. Soc. Faraday Trans. 1, 68: 2224",
        RECALLED,
        (DRY_BULB,),
        "Natural gas is taken as methane. All fuel burns; the change of dry gas is left out.",
    ),
    Method(
        "combustion.indirect-efficiency",
        "Efficiency of an indirect burner when none is given",
        "common practice: 0.80 of the higher heating value",
        COMMON_PRACTICE,
    ),
)


@dataclass(frozen=True, slots=True)
class Fuel:
    """A gaseous fuel of one hydrocarbon.

    Attributes
    ----------
    id : str
        Stable name.
    title : str
        In words.
    carbon, hydrogen : int
        Atoms per molecule.
    molar_heat : float
        Higher heating value, gas at 25 degC to liquid water [J/mol].
    """

    id: str
    title: str
    carbon: int
    hydrogen: int
    molar_heat: float

    @property
    def molar_mass(self) -> float:
        """Mass per amount [kg/mol]."""
        return self.carbon * CARBON + self.hydrogen * HYDROGEN

    @property
    def water(self) -> float:
        """Combustion water [kg per kg of fuel]."""
        return 0.5 * self.hydrogen * WATER / self.molar_mass

    @property
    def carbon_dioxide(self) -> float:
        """Carbon dioxide made [kg per kg of fuel]."""
        return self.carbon * (CARBON + 2 * OXYGEN) / self.molar_mass

    @property
    def oxygen(self) -> float:
        """Oxygen used [kg per kg of fuel]."""
        return (self.carbon + 0.25 * self.hydrogen) * 2 * OXYGEN / self.molar_mass

    @property
    def higher_heating_value(self) -> float:
        """Heat with the combustion water condensed at 25 degC [J/kg]."""
        return self.molar_heat / self.molar_mass

    @property
    def lower_heating_value(self) -> float:
        """Heat with the combustion water left as vapour at 25 degC [J/kg]."""
        return self.higher_heating_value - self.water * EVAPORATION_AT_REFERENCE


FUELS = {
    fuel.id: fuel
    for fuel in (
        Fuel("propane", "propane, C3H8", 3, 8, 2_219_170.0),  # +- 460 J/mol [1], recalled
        Fuel("natural-gas", "natural gas, as methane CH4", 1, 4, 890_710.0),  # +- 380 [1], recalled
    )
}


@dataclass(frozen=True, slots=True)
class Burned:
    """Air heated by a burner.

    Attributes
    ----------
    state : AirState
        The heated air.
    fuel : float or ndarray
        Fuel burned [kg/kg dry air].
    fuel_heat : float or ndarray
        Its higher heating value [J/kg dry air].
    combustion_water : float or ndarray
        Water that combustion adds to the air [kg/kg dry air]; 0 for an indirect burner.
    humidity_rise_per_kelvin : float or ndarray
        Rise of humidity ratio per kelvin of heating [kg/kg dry air per K]; 0 without heating.
    """

    state: AirState
    fuel: FloatArray
    fuel_heat: FloatArray
    combustion_water: FloatArray
    humidity_rise_per_kelvin: FloatArray


def fuel_named(name: str) -> Fuel:
    """Look up a fuel.

    Parameters
    ----------
    name : str
        "propane" or "natural-gas".

    Returns
    -------
    Fuel
        Its composition and heat.

    Raises
    ------
    UnknownName
        Any other name.
    """
    if name not in FUELS:
        raise UnknownName("fuel", name, tuple(FUELS), name="fuel")
    return FUELS[name]


def burn(
    state: AirState,
    temperature: ArrayLike,
    fuel: Fuel,
    *,
    burner: str,
    efficiency: ArrayLike | None = None,
) -> Burned:
    """Heat air to a temperature with a burner.

    Parameters
    ----------
    state : AirState
        The air before the burner.
    temperature : array_like
        Dry bulb to reach [degC], at least that of `state`, at most 150.
    fuel : Fuel
        What is burned.
    burner : str
        "indirect", or "direct-fired" when the combustion gas joins the air.
    efficiency : array_like, optional
        Share of the higher heating value that reaches the air, 0.3 to 1. Left out: 1 for a
        direct-fired burner (its vapour carries the latent part), 0.80 for an indirect one.

    Returns
    -------
    Burned
        The heated air, fuel and combustion water.

    Raises
    ------
    Inconsistent
        A temperature below that of the air.
    UnknownName
        A burner of another kind.
    OutOfRange
        Temperature or efficiency outside its range.

    References
    ----------
    .. [1] Energy balance on the model's enthalpies; fuel and water enter at 25 degC.
    """
    if burner not in BURNERS:
        raise UnknownName("burner", burner, BURNERS, name="burner")
    direct = burner == "direct-fired"
    default = 1.0 if direct else INDIRECT_EFFICIENCY
    share = BURNER_EFFICIENCY.check(default if efficiency is None else efficiency, "efficiency")
    hot, cold, moisture, share = as_floats(
        DRY_BULB.check(temperature, "temperature"), state.dry_bulb, state.humidity_ratio, share
    )
    if np.any(hot < cold):
        raise Inconsistent("a burner cannot bring air below its own temperature", "temperature")
    needed = (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * moisture) * (hot - cold)
    burned = needed / _useful_heat(fuel, hot, share, direct=direct)
    water = burned * fuel.water if direct else np.zeros_like(burned)
    after = air_state(state.pressure, dry_bulb=hot, humidity_ratio=moisture + water)
    rise = hot - cold
    slope = np.where(rise > 0.0, water / np.where(rise > 0.0, rise, 1.0), 0.0)
    heat = burned * fuel.higher_heating_value
    return Burned(after, burned[()], heat[()], water[()], slope[()])


def _useful_heat(
    fuel: Fuel, temperature: FloatArray, share: FloatArray, *, direct: bool
) -> FloatArray:
    """Heat per fuel left to warm the air [J/kg], after lifting the combustion water's vapour."""
    if not direct:
        return share * fuel.higher_heating_value
    liquid = WATER_HEAT_CAPACITY * REFERENCE_TEMPERATURE
    vapour = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * temperature
    return share * fuel.higher_heating_value - fuel.water * (vapour - liquid)
