"""Fuel that a burner needs for the heat a zone takes."""

from __future__ import annotations

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.dryer.closures import LATENT_HEAT_AT_ZERO, VAPOUR_HEAT, WATER_HEAT
from outfeed.dryer.description import Zone
from outfeed.dryer.task import FUEL_TEMPERATURE
from outfeed.errors import Inconsistent
from outfeed.fuel import EFFICIENCY, load_fuel


def fuel_heat(zone: Zone, heat: ArrayLike, efficiency: float = 1.0) -> FloatArray:
    """Fuel burned for the heat of a zone, as its higher heating value.

    Parameters
    ----------
    zone : Zone
        The zone.
    heat : array_like
        Heat that the ambient air takes up to the plenum temperature [W].
    efficiency : float
        Of an indirect heater: share of the higher heating value that it gives to the air [-].

    Returns
    -------
    ndarray
        Fuel [W]. A direct-fired burner gives all of it, part as vapour that warms nothing.

    Raises
    ------
    Inconsistent
        A direct-fired burner without fuel.
    OutOfRange
        An efficiency outside its range.

    References
    ----------
    .. [1] The heat balance of `outfeed.moist_air.burn`, solved for the fuel.
    """
    EFFICIENCY.check(efficiency, "burner_efficiency")
    needed = np.asarray(heat, dtype=np.float64)
    if not zone.heated:
        return (needed * 0.0)[()]
    if zone.burner == "indirect":
        return (needed / efficiency)[()]
    if zone.fuel is None:
        raise Inconsistent(f"zone {zone.name!r} is direct-fired: name its fuel", "fuel")
    hot = zone.plenum_temperature or 0.0
    lifted = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT * hot - WATER_HEAT * FUEL_TEMPERATURE
    return (needed / (1.0 - load_fuel(zone.fuel).combustion_water * lifted))[()]
