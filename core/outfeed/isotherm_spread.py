"""How far the published sets of one grain spread: the honest band of an equilibrium figure.

Editions of the standard and the equations inside one edition disagree by half a point and more;
nobody can say which set fits a given lot of grain, so the spread across them is the band.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.grains import IsothermSet
from outfeed.sorption import (
    Isotherm,
    answerable,
    equilibrium_moisture,
    equilibrium_relative_humidity,
    meaningful_temperatures,
)

__all__ = ["Band", "humidity_band", "moisture_band"]


@dataclass(frozen=True, slots=True)
class Band:
    """Spread of one result across the published sets.

    Attributes
    ----------
    low, high : float or ndarray
        Least and greatest value, in the unit of the result.
    sets : int or ndarray
        How many sets had a value there.
    """

    low: FloatArray
    high: FloatArray
    sets: FloatArray


def moisture_band(
    isotherms: tuple[Isotherm, ...], temperature: ArrayLike, relative_humidity: ArrayLike
) -> Band:
    """Spread of equilibrium moisture across sets; each set counts where it has a value.

    Parameters
    ----------
    isotherms : tuple
        The sets, of which at least one answers everywhere.
    temperature : array_like
        Temperature [degC].
    relative_humidity : array_like
        Fraction.

    Returns
    -------
    Band
        Moisture, dry basis, as a fraction.

    Raises
    ------
    OutOfRange
        An element at which no set has a value.
    """
    warm, humidity = as_floats(temperature, relative_humidity)
    low, high = np.full(warm.shape, np.inf), np.full(warm.shape, -np.inf)
    count = np.zeros(warm.shape)
    for isotherm in isotherms:
        good = answerable(isotherm, warm, humidity)
        value = np.zeros(warm.shape)
        value[good] = equilibrium_moisture(isotherm, warm[good], humidity[good])
        low = np.where(good, np.minimum(low, value), low)
        high = np.where(good, np.maximum(high, value), high)
        count += good
    if np.any(count == 0.0):
        equilibrium_moisture(isotherms[0], warm, humidity)
    return Band(low[()], high[()], count[()])


def humidity_band(
    isotherms: tuple[IsothermSet, ...], temperature: ArrayLike, moisture_db: ArrayLike
) -> Band:
    """Spread of equilibrium relative humidity across published sets.

    Parameters
    ----------
    isotherms : tuple of IsothermSet
        The sets, of which at least one answers everywhere.
    temperature : array_like
        Temperature [degC].
    moisture_db : array_like
        Moisture, dry basis, as a fraction.

    Returns
    -------
    Band
        Relative humidity as a fraction.

    Raises
    ------
    OutOfRange
        An element at which no set has a value.
    """
    warm, moisture = as_floats(temperature, moisture_db)
    low, high = np.full(warm.shape, np.inf), np.full(warm.shape, -np.inf)
    count = np.zeros(warm.shape)
    for isotherm in isotherms:
        lowest, highest = meaningful_temperatures(isotherm)
        good = (warm > lowest) & (warm < highest)
        value = np.zeros(warm.shape)
        value[good] = equilibrium_relative_humidity(isotherm, warm[good], moisture[good])
        low = np.where(good, np.minimum(low, value), low)
        high = np.where(good, np.maximum(high, value), high)
        count += good
    if np.any(count == 0.0):
        equilibrium_relative_humidity(isotherms[0], warm, moisture)
    return Band(low[()], high[()], count[()])
