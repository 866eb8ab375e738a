"""Properties of moist air, each from the quantities that fix it.

Ideal-gas formulation of the ASHRAE Handbook, with the saturation pressure of
Hyland and Wexler over ice and over liquid water. Everything is per kilogram of
dry air; enthalpy counts from dry air and liquid water at 0 degC. The same heat
capacities serve the dryer model, so energy balances close against each other.

Sources
-------
.. [1] ASHRAE Handbook, Fundamentals, 2017, chapter 1.
.. [2] Hyland & Wexler 1983, Formulations for the thermodynamic properties of the
   saturated phases of H2O from 173.15 K to 473.15 K, ASHRAE Transactions 89(2A).
"""

from __future__ import annotations

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.errors import OutOfRange
from outfeed.limits import ALTITUDE, DRY_BULB, PRESSURE, RELATIVE_HUMIDITY, Range
from outfeed.methods import REPRODUCED, Method
from outfeed.moist_air.saturation import (
    CELSIUS_ZERO,
    SATURATION_TEMPERATURE,
    saturation_pressure,
    saturation_temperature,
)

__all__ = [
    "DRY_AIR_HEAT_CAPACITY",
    "FREEZING_POINT",
    "GAS_RATIO",
    "HEAT_OF_FUSION",
    "HUMIDITY_RATIO",
    "ICE_HEAT_CAPACITY",
    "LATENT_HEAT_AT_ZERO",
    "METHODS",
    "STANDARD_PRESSURE",
    "VAPOUR_GAS_CONSTANT",
    "VAPOUR_HEAT_CAPACITY",
    "WATER_HEAT_CAPACITY",
    "condensed_enthalpy",
    "dew_point",
    "enthalpy",
    "humidity_ratio",
    "humidity_ratio_from_vapour_pressure",
    "latent_heat",
    "maximum_relative_humidity",
    "relative_humidity",
    "saturation_humidity_ratio",
    "specific_volume",
    "standard_pressure",
    "temperature_from_enthalpy",
    "vapour_pressure_from_humidity_ratio",
]


STANDARD_PRESSURE = 101_325.0  # Pa, definition
GAS_RATIO = 0.621945  # molar mass of water over that of dry air [1]
DRY_AIR_GAS_CONSTANT = 287.042  # J/(kg K) [1]
VAPOUR_GAS_CONSTANT = DRY_AIR_GAS_CONSTANT / GAS_RATIO  # J/(kg K), 461.52
DRY_AIR_HEAT_CAPACITY = 1_006.0  # J/(kg K) [1]
VAPOUR_HEAT_CAPACITY = 1_860.0  # J/(kg K) [1]
LATENT_HEAT_AT_ZERO = 2.501e6  # J/kg [1]
WATER_HEAT_CAPACITY = 4_186.0  # J/(kg K) [1], wet-bulb equation over water
HEAT_OF_FUSION = 329_000.0  # J/kg, 2830 - 2501 kJ/kg in the wet-bulb equation over ice [1]
ICE_HEAT_CAPACITY = 2_100.0  # J/(kg K) [1], wet-bulb equation over ice
FREEZING_POINT = 0.0  # degC, where the wet-bulb equations change from ice to water [1]


_SEA_LEVEL_LAPSE = 2.25577e-5  # 1/m [1] equation 3
_SEA_LEVEL_EXPONENT = 5.2559  # [1] equation 3


HUMIDITY_RATIO = Range("humidity ratio", 0.0, 100.0, "kg/kg", "above it, steam rather than air")

HANDBOOK = "ASHRAE Handbook, Fundamentals, 2017, chapter 1"
METHODS = (
    Method(
        "moist-air.saturation.hyland-wexler",
        "Saturation pressure of water over ice and liquid",
        "Hyland & Wexler 1983, as printed in " + HANDBOOK,
        REPRODUCED,
        (SATURATION_TEMPERATURE,),
        "Below 0.01 degC relative humidity, dew point and wet bulb refer to ice; weather "
        "services often refer to supercooled water instead.",
    ),
    Method(
        "moist-air.ideal-gas",
        "Moist air as a mixture of ideal gases",
        HANDBOOK,
        REPRODUCED,
        (DRY_BULB, PRESSURE),
        "Humidity ratio and enthalpy lie within about 0.5 % of a real-gas library for heated "
        "ambient air, and read up to 1.3 % low near saturation above 50 degC.",
    ),
    Method(
        "moist-air.standard-atmosphere",
        "Barometric pressure from altitude",
        HANDBOOK + ", equation 3 (US Standard Atmosphere)",
        REPRODUCED,
        (ALTITUDE,),
        "Weather moves the true pressure by up to about 3 %.",
    ),
)


def standard_pressure(altitude: ArrayLike) -> FloatArray:
    """Barometric pressure of the standard atmosphere.

    Parameters
    ----------
    altitude : array_like
        Height above sea level [m], -500 to 5,000.

    Returns
    -------
    ndarray
        Pressure [Pa].

    Raises
    ------
    OutOfRange
        Altitude outside its range.

    References
    ----------
    .. [1] ASHRAE Handbook, Fundamentals, 2017, chapter 1, equation 3.
    """
    height = ALTITUDE.check(altitude, "altitude", method="moist-air.standard-atmosphere")
    pressure = STANDARD_PRESSURE * (1.0 - _SEA_LEVEL_LAPSE * height) ** _SEA_LEVEL_EXPONENT
    return pressure[()]


def maximum_relative_humidity(temperature: ArrayLike, pressure: ArrayLike) -> FloatArray:
    """Highest relative humidity that air can have: 1, or less above the boiling point.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Fraction; above the boiling point the air would be pure steam there.
    """
    saturation = saturation_pressure(temperature)
    return np.minimum(1.0, np.asarray(pressure, dtype=np.float64) / saturation)[()]


def humidity_ratio_from_vapour_pressure(
    vapour_pressure: ArrayLike, pressure: ArrayLike
) -> FloatArray:
    """Water vapour per dry air from its partial pressure.

    Parameters
    ----------
    vapour_pressure : array_like
        Partial pressure of water [Pa], below `pressure`.
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Humidity ratio [kg/kg dry air].

    Raises
    ------
    OutOfRange
        Vapour pressure negative, or at or above the barometric pressure.
    """
    vapour, total = as_floats(vapour_pressure, pressure)
    _require_air(vapour, total, "vapour_pressure")
    return (GAS_RATIO * vapour / (total - vapour))[()]


def vapour_pressure_from_humidity_ratio(
    humidity_ratio: ArrayLike, pressure: ArrayLike
) -> FloatArray:
    """Partial pressure of water from the humidity ratio.

    Parameters
    ----------
    humidity_ratio : array_like
        Humidity ratio [kg/kg dry air], 0 to 100.
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Vapour pressure [Pa].

    Raises
    ------
    OutOfRange
        Humidity ratio outside its range.
    """
    ratio = HUMIDITY_RATIO.check(humidity_ratio, "humidity_ratio")
    return (np.asarray(pressure, dtype=np.float64) * ratio / (GAS_RATIO + ratio))[()]


def humidity_ratio(
    temperature: ArrayLike, relative_humidity: ArrayLike, pressure: ArrayLike
) -> FloatArray:
    """Water vapour per dry air from temperature and relative humidity.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    relative_humidity : array_like
        Fraction, 0 to 1; over ice below 0.01 degC.
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Humidity ratio [kg/kg dry air].

    Raises
    ------
    OutOfRange
        Relative humidity outside 0 to 1, or so high above the boiling point that no air is left.
    """
    fraction = RELATIVE_HUMIDITY.check(relative_humidity, "relative_humidity")
    vapour, total = as_floats(fraction * saturation_pressure(temperature), pressure)
    _require_air(vapour, total, "relative_humidity", share_of=saturation_pressure(temperature))
    return (GAS_RATIO * vapour / (total - vapour))[()]


def saturation_humidity_ratio(temperature: ArrayLike, pressure: ArrayLike) -> FloatArray:
    """Most water vapour that dry air can carry.

    Parameters
    ----------
    temperature : array_like
        Temperature [degC], below the boiling point.
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Humidity ratio at saturation [kg/kg dry air].

    Raises
    ------
    OutOfRange
        Temperature at or above the boiling point, where nothing saturates.
    """
    saturation, total = as_floats(saturation_pressure(temperature), pressure)
    hot = saturation >= total
    if np.any(hot):
        first = int(np.argmax(hot))
        boiling = float(saturation_temperature(float(total.flat[first])))
        given = float(np.broadcast_to(np.asarray(temperature), total.shape).flat[first])
        raise OutOfRange(
            "temperature of saturated air",
            given,
            (SATURATION_TEMPERATURE.low, boiling),
            unit="degC",
            name="temperature",
            index=first if total.ndim else None,
        )
    return (GAS_RATIO * saturation / (total - saturation))[()]


def relative_humidity(
    temperature: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike
) -> FloatArray:
    """Relative humidity; above 1 for air that would have to condense.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    humidity_ratio : array_like
        Humidity ratio [kg/kg dry air].
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Fraction, not limited to 1.
    """
    vapour = vapour_pressure_from_humidity_ratio(humidity_ratio, pressure)
    return (vapour / saturation_pressure(temperature))[()]


def enthalpy(temperature: ArrayLike, humidity_ratio: ArrayLike) -> FloatArray:
    """Enthalpy above dry air and liquid water at 0 degC.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    humidity_ratio : array_like
        Humidity ratio [kg/kg dry air].

    Returns
    -------
    ndarray
        Enthalpy [J/kg dry air].

    References
    ----------
    .. [1] ASHRAE Handbook 2017, chapter 1, equation 30.
    """
    warm, water = as_floats(temperature, humidity_ratio)
    vapour = water * (LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * warm)
    return (DRY_AIR_HEAT_CAPACITY * warm + vapour)[()]


def temperature_from_enthalpy(enthalpy: ArrayLike, humidity_ratio: ArrayLike) -> FloatArray:
    """Dry bulb from enthalpy, while all water is vapour.

    Parameters
    ----------
    enthalpy : array_like
        Enthalpy [J/kg dry air].
    humidity_ratio : array_like
        Humidity ratio [kg/kg dry air].

    Returns
    -------
    ndarray
        Temperature [degC].
    """
    heat, water = as_floats(enthalpy, humidity_ratio)
    capacity = DRY_AIR_HEAT_CAPACITY + water * VAPOUR_HEAT_CAPACITY
    return ((heat - water * LATENT_HEAT_AT_ZERO) / capacity)[()]


def specific_volume(
    temperature: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike
) -> FloatArray:
    """Volume of moist air per dry air in it.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    humidity_ratio : array_like
        Humidity ratio [kg/kg dry air].
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Volume [m3/kg dry air].

    References
    ----------
    .. [1] ASHRAE Handbook 2017, chapter 1, equation 26.
    """
    warm, water, total = as_floats(temperature, humidity_ratio, pressure)
    gas = DRY_AIR_GAS_CONSTANT * (warm + CELSIUS_ZERO)
    return (gas * (1.0 + water / GAS_RATIO) / total)[()]


def latent_heat(temperature: ArrayLike) -> FloatArray:
    """Heat to evaporate free water.

    Parameters
    ----------
    temperature : array_like
        Temperature [degC].

    Returns
    -------
    ndarray
        Heat [J/kg], 2,501 kJ/kg at 0 degC falling by 2.326 kJ/kg per kelvin.

    References
    ----------
    .. [1] Difference of the vapour and water enthalpies of ASHRAE Handbook 2017, chapter 1.
    """
    warm = np.asarray(temperature, dtype=np.float64)
    return (LATENT_HEAT_AT_ZERO + (VAPOUR_HEAT_CAPACITY - WATER_HEAT_CAPACITY) * warm)[()]


def condensed_enthalpy(temperature: ArrayLike, *, ice: ArrayLike) -> FloatArray:
    """Enthalpy of liquid water or ice above liquid water at 0 degC.

    Parameters
    ----------
    temperature : array_like
        Temperature [degC].
    ice : array_like of bool
        Whether it is ice.

    Returns
    -------
    ndarray
        Enthalpy [J/kg].

    References
    ----------
    .. [1] ASHRAE Handbook 2017, chapter 1, as implied by equations 33 and 35.
    """
    warm = np.asarray(temperature, dtype=np.float64)
    frozen = ICE_HEAT_CAPACITY * warm - HEAT_OF_FUSION
    return np.where(ice, frozen, WATER_HEAT_CAPACITY * warm)[()]


def dew_point(humidity_ratio: ArrayLike, pressure: ArrayLike) -> FloatArray:
    """Temperature at which the air's vapour starts to condense; frost point below 0.01 degC.

    Parameters
    ----------
    humidity_ratio : array_like
        Humidity ratio [kg/kg dry air], above zero.
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Dew point [degC].

    Raises
    ------
    OutOfRange
        Air so dry that its frost point would lie below -100 degC.
    """
    return saturation_temperature(vapour_pressure_from_humidity_ratio(humidity_ratio, pressure))


def _require_air(
    vapour: FloatArray, total: FloatArray, name: str, share_of: ArrayLike | None = None
) -> None:
    """Refuse vapour that leaves no room for air; `share_of` turns it back into a fraction."""
    bad = ~((vapour >= 0.0) & (vapour < total))
    if not np.any(bad):
        return
    first = int(np.argmax(bad))
    scale = 1.0
    if share_of is not None:
        scale = float(np.broadcast_to(np.asarray(share_of), total.shape).flat[first])
    raise OutOfRange(
        name.replace("_", " "),
        float(vapour.flat[first]) / scale,
        (0.0, float(total.flat[first]) / scale),
        unit="Pa" if share_of is None else "",
        name=name,
        index=first if total.ndim else None,
        method="moist-air.ideal-gas",
    )
