"""The air of the quick balance: heated by its burner, then met by grain on the way out.

.. [1] ASHRAE Handbook, Fundamentals, 2017, chapter 1: enthalpy of moist air.
.. [2] Brooker, Bakker-Arkema and Hall, *Drying and Storage of Grains and Oilseeds*, 1992: air in
   equilibrium with grain.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.dryer.vapour import saturation_of
from outfeed.grains import IsothermSet
from outfeed.isotherms import FORMS
from outfeed.moist_air import (
    DRY_AIR_HEAT_CAPACITY,
    GAS_RATIO,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT_CAPACITY,
    WATER_HEAT_CAPACITY,
    enthalpy,
)
from outfeed.numbers import ARRAYS
from outfeed.roots import bracketed_newton

REFERENCE_WATER_TEMPERATURE = 25.0
"""Temperature for which higher heating values are stated [degC]."""

_TEMPERATURE_TOLERANCE = 1e-9
_SLOPE_STEP = 1e-3  # K, for the slope of the equilibrium line
_MOST_VAPOUR = 50.0  # kg/kg dry air, beyond any drying air
FIRST_GUESS = 35.0
"""A usual exhaust temperature [degC], to start from."""
_COLDEST = -15.0  # degC, below any exhaust; some isotherms lose their meaning at -27
_DAMPEST = 0.999  # relative humidity past which grain meets liquid water, not vapour


def plenum_air(
    zone_temperature: ArrayLike,
    ambient_temperature: ArrayLike,
    ambient_humidity: ArrayLike,
    combustion_water: float,
) -> tuple[FloatArray, FloatArray]:
    """Fuel heat and humidity of air heated by a burner.

    The flame gives its higher heating value to the air, its water as vapour; the enthalpy of the
    air rises by that heat and by what the water brings as liquid at 25 degC.

    Parameters
    ----------
    zone_temperature, ambient_temperature : array_like
        Air after and before [degC].
    ambient_humidity : array_like
        Humidity ratio before [kg/kg dry air].
    combustion_water : float
        Water per higher heating value [kg/J]; zero for an indirect heater.

    Returns
    -------
    tuple of ndarray
        Heat per dry air [J/kg] and humidity ratio after [kg/kg dry air].
    """
    rise = np.asarray(
        enthalpy(zone_temperature, ambient_humidity)
        - enthalpy(ambient_temperature, ambient_humidity)
    )
    vapour = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * np.asarray(zone_temperature)
    liquid = WATER_HEAT_CAPACITY * REFERENCE_WATER_TEMPERATURE
    heat = rise / (1.0 - combustion_water * (vapour - liquid))
    return heat, np.asarray(ambient_humidity) + combustion_water * heat


@dataclass(frozen=True, slots=True, eq=False)
class Warming:
    """Grain that the air warms on its way, to the exhaust temperature.

    Attributes
    ----------
    heat_ratio : ndarray
        Heat capacity of the grain flow over the flow of dry air [J/(kg dry air K)].
    grain_temperature : ndarray
        Grain entering [degC].
    effectiveness : ndarray
        Share of the way from the plenum to equilibrium that the exhaust goes [-].
    per_moisture : float or ndarray
        Heat capacity that water has in the grain [J/(kg K)].
    bound : ndarray
        Heat of sorption [J/kg water].
    """

    heat_ratio: FloatArray
    grain_temperature: FloatArray
    effectiveness: FloatArray
    per_moisture: FloatArray | float
    bound: FloatArray


def equilibrium_exhaust(
    isotherm: IsothermSet,
    air_temperature: FloatArray,
    air_humidity: FloatArray,
    pressure: FloatArray,
    moisture_db: FloatArray,
    warming: Warming,
    start: ArrayLike,
) -> FloatArray:
    """Temperature at which air, warming grain and drying it, is in equilibrium with the grain.

    Parameters
    ----------
    isotherm : IsothermSet
        Equilibrium moisture of the grain.
    air_temperature, air_humidity : ndarray
        Air on entering the grain [degC], [kg/kg dry air].
    pressure : ndarray
        Barometric pressure [Pa].
    moisture_db : ndarray
        Moisture of the grain, dry basis [-].
    warming : Warming
        The grain it warms.
    start : array_like
        A first guess [degC].

    Returns
    -------
    ndarray
        Temperature [degC]; that of the air itself where the air is too damp to dry the grain.
    """
    capacity = DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * air_humidity
    grain_vapour = _vapour_over_grain(isotherm, moisture_db)

    def excess(temperature: FloatArray) -> FloatArray:
        leaving = air_temperature - warming.effectiveness * (air_temperature - temperature)
        taken = warming.heat_ratio * (leaving - warming.grain_temperature)
        given = capacity * (air_temperature - temperature)
        vapour = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * temperature
        per_water = vapour - warming.per_moisture * leaving + warming.bound
        carried = air_humidity + (given - taken) / per_water
        ratio = np.clip(carried, 0.0, _MOST_VAPOUR)
        return grain_vapour(temperature) - pressure * ratio / (GAS_RATIO + ratio)

    def excess_and_slope(temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
        value = excess(temperature)
        return value, (excess(temperature + _SLOPE_STEP) - value) / _SLOPE_STEP

    dry_enough = excess(air_temperature) > 0.0
    root = bracketed_newton(
        lambda t: _held(excess_and_slope(t), dry_enough, t, air_temperature),
        np.minimum(_COLDEST, air_temperature),
        np.where(dry_enough, air_temperature, air_temperature + 1.0),
        tolerance=_TEMPERATURE_TOLERANCE,
        what="exhaust in equilibrium with the grain",
        start=start,
    )
    return np.where(dry_enough, root, air_temperature)


def _held(
    pair: tuple[FloatArray, FloatArray], free: BoolArray, x: FloatArray, fixed: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where there is no root to find, a line that crosses zero at `fixed`."""
    return np.where(free, pair[0], x - fixed), np.where(free, pair[1], 1.0)


def _vapour_over_grain(
    isotherm: IsothermSet, moisture_db: FloatArray
) -> Callable[[FloatArray], FloatArray]:
    """Vapour pressure [Pa] over grain of a moisture at a temperature, for the inner loop."""
    humidity = FORMS[isotherm.form].humidity
    saturation = saturation_of(ARRAYS)
    constants = (isotherm.a, isotherm.b, isotherm.c)
    percent = 100.0 * moisture_db

    def vapour(temperature: FloatArray) -> FloatArray:
        damp = np.minimum(humidity(constants, temperature, percent), _DAMPEST)
        return np.asarray(damp * saturation(temperature))

    return vapour
