"""The wet bulb: air saturated adiabatically, by water or by ice.

Sources
-------
.. [1] ASHRAE Handbook, Fundamentals, 2017, chapter 1, equations 33 and 35.
"""

from __future__ import annotations

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, as_floats
from outfeed.limits import DRY_BULB, PRESSURE
from outfeed.methods import REPRODUCED, Method
from outfeed.moist_air.properties import (
    DRY_AIR_HEAT_CAPACITY,
    FREEZING_POINT,
    GAS_RATIO,
    HANDBOOK,
    ICE_HEAT_CAPACITY,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT_CAPACITY,
    WATER_HEAT_CAPACITY,
    condensed_enthalpy,
    enthalpy,
)
from outfeed.moist_air.saturation import (
    SATURATION_TEMPERATURE,
    TEMPERATURE_TOLERANCE,
    log_saturation,
    saturation_pressure,
)
from outfeed.roots import bracketed_newton

__all__ = ["METHODS", "wet_bulb"]

METHODS = (
    Method(
        "moist-air.wet-bulb.adiabatic-saturation",
        "Thermodynamic wet-bulb temperature",
        HANDBOOK + ", equations 33 and 35",
        REPRODUCED,
        (DRY_BULB, PRESSURE),
        "Bracketed below the boiling point in hot humid air; over water "
        "whenever a solution at or above 0 degC exists, over ice otherwise.",
    ),
)


def wet_bulb(temperature: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike) -> FloatArray:
    """Thermodynamic wet-bulb temperature.

    The air is saturated adiabatically by water at the wet-bulb temperature. Just above
    freezing the balance can close both with water above 0 degC and with ice below it; the
    answer is then the one with water, since the wick has no reason to freeze. In hot humid air
    the root lies below the boiling point; the equation solved stays finite past it.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    humidity_ratio : array_like
        Humidity ratio [kg/kg dry air], above zero, at most that of saturation.
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Wet bulb [degC]; an ice bulb when below 0.

    Raises
    ------
    NotConverged
        Never met in the range; tolerance 1e-6 K on the last step.

    References
    ----------
    .. [1] ASHRAE Handbook 2017, chapter 1, equations 33 and 35.
    """
    dry, water, total = (array[()] for array in as_floats(temperature, humidity_ratio, pressure))
    heat = enthalpy(dry, water)
    at_zero = float(saturation_pressure(FREEZING_POINT)) / total
    ice = (dry < FREEZING_POINT) | (
        at_zero * (heat + GAS_RATIO * LATENT_HEAT_AT_ZERO) > np.maximum(heat, 0.0)
    )
    return bracketed_newton(
        lambda bulb: _saturation_excess(bulb, heat, water, total, ice),
        np.where(ice, SATURATION_TEMPERATURE.low, FREEZING_POINT),
        np.where(ice, np.minimum(dry, FREEZING_POINT), dry),
        tolerance=TEMPERATURE_TOLERANCE,
        what="wet-bulb temperature",
        start=np.where(ice, dry - 2.0, 0.4 * dry),
    )[()]


def _saturation_excess(
    bulb: FloatArray, heat: FloatArray, water: FloatArray, total: FloatArray, ice: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Balance of adiabatic saturation at a trial wet bulb, and its slope.

    Written as ln x(bulb) - ln(N/(N + e L)), x the saturation pressure over the total, N the
    sensible heat given up, e the ratio of molar masses, L the heat to evaporate: nearly linear,
    so that Newton needs few steps, and finite past the boiling point.
    """
    log, log_slope = log_saturation(bulb)
    added = condensed_enthalpy(bulb, ice=ice)
    added_slope = np.where(ice, ICE_HEAT_CAPACITY, WATER_HEAT_CAPACITY)[()]
    given = heat - DRY_AIR_HEAT_CAPACITY * bulb - water * added
    given_slope = -(DRY_AIR_HEAT_CAPACITY + water * added_slope)
    latent = GAS_RATIO * (LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * bulb - added)
    latent_slope = GAS_RATIO * (VAPOUR_HEAT_CAPACITY - added_slope)
    full = given + latent
    value = log - np.log(total * given / full)
    slope = log_slope - given_slope / given + (given_slope + latent_slope) / full
    return value, slope
