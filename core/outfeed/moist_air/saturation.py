"""Where water vapour saturates: pressure from temperature and back.

Sources
-------
.. [1] ASHRAE Handbook, Fundamentals, 2017, chapter 1.
.. [2] Hyland & Wexler 1983, Formulations for the thermodynamic properties of the
   saturated phases of H2O from 173.15 K to 473.15 K, ASHRAE Transactions 89(2A).
"""

from __future__ import annotations

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.limits import Range
from outfeed.roots import bracketed_newton

__all__ = [
    "CELSIUS_ZERO",
    "SATURATION_TEMPERATURE",
    "TEMPERATURE_TOLERANCE",
    "VAPOUR_PRESSURE",
    "log_saturation",
    "saturation_pressure",
    "saturation_pressure_over_liquid",
    "saturation_temperature",
]

CELSIUS_ZERO = 273.15  # K, definition
TRIPLE_POINT = 0.01  # degC, where the two saturation equations meet [2]

_LIQUID = (  # ln(p/Pa) over liquid, K: 1/K, 1, K, K2, K3, ln K [1] equation 6
    -5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673,
)  # fmt: skip
_ICE = (  # ln(p/Pa) over ice, K: 1/K, 1, K, K2, K3, K4, ln K [1] equation 5
    -5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019,
)  # fmt: skip

TEMPERATURE_TOLERANCE = 1e-6  # K, last step; Newton is quadratic, so what is left is 1e-12

SATURATION_TEMPERATURE = Range(
    "saturation temperature", -100.0, 200.0, "degC", "range of the Hyland-Wexler equations"
)
VAPOUR_PRESSURE = Range(
    "vapour pressure",
    1.4051e-3,
    1.55508e6,
    "Pa",
    "saturation at -100 and 200 degC, the ends of the Hyland-Wexler equations",
)


def saturation_pressure(temperature: ArrayLike) -> FloatArray:
    """Vapour pressure of saturated air: over ice below 0.01 degC, over liquid water above.

    Parameters
    ----------
    temperature : array_like
        Temperature [degC], -100 to 200.

    Returns
    -------
    ndarray
        Pressure [Pa].

    Raises
    ------
    OutOfRange
        Temperature outside -100 to 200 degC.

    References
    ----------
    .. [1] Hyland & Wexler 1983; ASHRAE Handbook 2017, chapter 1, equations 5 and 6.
    """
    checked = SATURATION_TEMPERATURE.check(temperature, "temperature")
    return np.exp(log_saturation(checked)[0])[()]


def saturation_pressure_over_liquid(temperature: ArrayLike) -> FloatArray:
    """Vapour pressure over liquid water, also below freezing, where the water is supercooled.

    Parameters
    ----------
    temperature : array_like
        Temperature [degC], -100 to 200; below 0 degC the equation is extrapolated.

    Returns
    -------
    ndarray
        Pressure [Pa].

    Raises
    ------
    OutOfRange
        Temperature outside -100 to 200 degC.

    References
    ----------
    .. [1] Hyland & Wexler 1983; ASHRAE Handbook 2017, chapter 1, equation 6.
    """
    checked = SATURATION_TEMPERATURE.check(temperature, "temperature")
    return np.exp(_log_over_liquid(checked + CELSIUS_ZERO)[0])[()]


def saturation_temperature(vapour_pressure: ArrayLike) -> FloatArray:
    """Temperature at which a vapour pressure saturates: dew point, frost point or boiling point.

    Parameters
    ----------
    vapour_pressure : array_like
        Pressure [Pa], saturation at -100 to 200 degC (0.0014 to 1,555,080 Pa).

    Returns
    -------
    ndarray
        Temperature [degC]; a frost point when below 0.01.

    Raises
    ------
    OutOfRange
        Vapour pressure outside its range; perfectly dry air has no dew point.
    NotConverged
        Never met in the range; tolerance 1e-6 K on the last step.

    References
    ----------
    .. [1] Inverse of the equations of Hyland & Wexler 1983.
    """
    pressure = VAPOUR_PRESSURE.check(vapour_pressure, "vapour_pressure")
    target = np.log(pressure)[()]

    def excess(temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
        log, slope = log_saturation(temperature)
        return log - target, slope

    low, high = SATURATION_TEMPERATURE.low - 0.01, SATURATION_TEMPERATURE.high + 0.01
    return bracketed_newton(
        excess,
        np.full_like(pressure, low),
        np.full_like(pressure, high),
        tolerance=TEMPERATURE_TOLERANCE,
        what="saturation temperature",
        start=_approximate_saturation_temperature(target),
    )[()]


def log_saturation(temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Logarithm of the saturation pressure and its slope, over ice below the triple point.

    Parameters
    ----------
    temperature : ndarray
        Any shape [degC].

    Returns
    -------
    tuple of ndarray
        ln(pressure in Pa) and its derivative [1/K].

    References
    ----------
    .. [1] Hyland and Wexler 1983, as in ASHRAE Handbook Fundamentals 2017, chapter 1, eq. 5, 6.
    """
    kelvin = temperature + CELSIUS_ZERO
    frozen = np.asarray(temperature < TRIPLE_POINT)
    if not frozen.any():
        return _log_over_liquid(kelvin)
    if frozen.all():
        return _log_over_ice(kelvin)
    ice, water = _log_over_ice(kelvin), _log_over_liquid(kelvin)
    return np.where(frozen, ice[0], water[0]), np.where(frozen, ice[1], water[1])


def _log_over_liquid(kelvin: FloatArray) -> tuple[FloatArray, FloatArray]:
    inverse, constant, first, second, third, log = _LIQUID
    value = (
        inverse / kelvin
        + constant
        + kelvin * (first + kelvin * (second + kelvin * third))
        + log * np.log(kelvin)
    )
    slope = (log - inverse / kelvin) / kelvin + first + kelvin * (2 * second + 3 * kelvin * third)
    return value, slope


def _log_over_ice(kelvin: FloatArray) -> tuple[FloatArray, FloatArray]:
    inverse, constant, first, second, third, fourth, log = _ICE
    value = (
        inverse / kelvin
        + constant
        + kelvin * (first + kelvin * (second + kelvin * (third + kelvin * fourth)))
        + log * np.log(kelvin)
    )
    slope = (
        (log - inverse / kelvin) / kelvin
        + first
        + kelvin * (2 * second + kelvin * (3 * third + 4 * kelvin * fourth))
    )
    return value, slope


def _approximate_saturation_temperature(log_pressure: FloatArray) -> FloatArray:
    """First guess within a few kelvin: the Magnus form, with one slope for ice and for water.

    Only a starting point: any value would converge.
    """
    above = log_pressure - np.log(611.657)
    guess = np.where(above < 0.0, 272.6 * above / (22.46 - above), 243.12 * above / (17.62 - above))
    return np.asarray(guess)
