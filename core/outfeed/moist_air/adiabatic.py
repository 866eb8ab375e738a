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
    dew_point,
    enthalpy,
)
from outfeed.moist_air.saturation import (
    TEMPERATURE_TOLERANCE,
    log_saturation,
    saturation_temperature,
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
        "Bracketed by dew point and the lower of dry bulb and boiling point; over water "
        "whenever a solution at or above 0 degC exists, over ice otherwise.",
    ),
)


def wet_bulb(temperature: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike) -> FloatArray:
    """Thermodynamic wet-bulb temperature.

    The air is saturated adiabatically by water at the wet-bulb temperature. Just above
    freezing the balance can close both with water above 0 degC and with ice below it; the
    answer is then the one with water, since the wick has no reason to freeze. Above the
    boiling point the bracket ends at the boiling point, not at the dry bulb.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    humidity_ratio : array_like
        Humidity ratio [kg/kg dry air], at most that of saturation.
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Wet bulb [degC]; an ice bulb when below 0.

    Raises
    ------
    OutOfRange
        Dry air without a dew point.
    NotConverged
        Never met in the range; tolerance 1e-9 K.

    References
    ----------
    .. [1] ASHRAE Handbook 2017, chapter 1, equations 33 and 35.
    """
    dry, water, total = as_floats(temperature, humidity_ratio, pressure)
    lowest = np.minimum(dew_point(water, total), dry)
    highest = np.minimum(dry, saturation_temperature(total))
    heat = np.asarray(enthalpy(dry, water))
    at_freezing = _saturation_excess(
        np.zeros_like(dry), heat, water, total, np.zeros(dry.shape, dtype=np.bool_)
    )[0]
    ice = (highest < FREEZING_POINT) | (at_freezing > 0.0)
    return bracketed_newton(
        lambda bulb: _saturation_excess(bulb, heat, water, total, ice),
        np.where(ice, lowest, np.maximum(lowest, FREEZING_POINT)),
        np.where(ice, np.minimum(highest, FREEZING_POINT), highest),
        tolerance=TEMPERATURE_TOLERANCE,
        what="wet-bulb temperature",
    )[()]


def _saturation_excess(
    bulb: FloatArray, heat: FloatArray, water: FloatArray, total: FloatArray, ice: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Enthalpy balance of adiabatic saturation at a trial wet bulb, and its slope.

    Multiplied by (1 - x), with x the saturation pressure over the total, so that it stays
    finite up to the boiling point.
    """
    log, log_slope = log_saturation(bulb)
    x = np.exp(log) / total
    x_slope = x * log_slope
    added = condensed_enthalpy(bulb, ice=ice)
    added_slope = np.where(ice, ICE_HEAT_CAPACITY, WATER_HEAT_CAPACITY)
    latent = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * bulb - added
    dry_part = DRY_AIR_HEAT_CAPACITY * bulb + water * added - heat
    value = (1.0 - x) * dry_part + GAS_RATIO * x * latent
    slope = (
        (1.0 - x) * (DRY_AIR_HEAT_CAPACITY + water * added_slope)
        - x_slope * dry_part
        + GAS_RATIO * (x_slope * latent + x * (VAPOUR_HEAT_CAPACITY - added_slope))
    )
    return value, slope
