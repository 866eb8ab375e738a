"""Moisture in balance with the air: equilibrium moisture, equilibrium humidity, heat of sorption.

A published set of constants (``outfeed.grains.IsothermSet``) turns air into the moisture that
grain tends to, or grain into the air that surrounds it. Sets of one grain disagree by half a
point and more, so every result carries its method and can show the band across all sets. The
heat that binds water follows from the same isotherm by the Clausius-Clapeyron relation, so
that drying and energy agree.

Sources
-------
.. [1] ASAE D245.4 (before 1995) and D245.5/D245.6 (since), Moisture relationships of
   plant-based agricultural products.
.. [2] Brooker, Bakker-Arkema & Hall 1992, Drying and Storage of Grains and Oilseeds, chapter 3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, as_floats
from outfeed.errors import OutOfRange
from outfeed.grains import IsothermSet
from outfeed.isotherm_choice import (
    EXTENSION_MEAN,
    FITTED_HUMIDITY,
    FITTED_TEMPERATURE,
    METHODS,
    Isotherm,
    MeanIsotherm,
    choose_isotherm,
    isotherm_method,
    isotherms_of,
    own_isotherm,
)
from outfeed.isotherm_values import (
    BINDING,
    HEAT_MOISTURE,
    HUMIDITY,
    MOISTURE_DB,
    TEMPERATURE,
    constants_of,
    driest_humidity,
    meaningful_temperatures,
    moisture_percent,
    refusals,
    refusals_over_grain,
)
from outfeed.isotherms import FORMS
from outfeed.moist_air import (
    CELSIUS_ZERO,
    VAPOUR_GAS_CONSTANT,
    VAPOUR_PRESSURE,
    latent_heat,
    saturation_pressure,
    saturation_temperature,
)
from outfeed.roots import bracketed_newton

__all__ = [
    "EXTENSION_MEAN",
    "FITTED_HUMIDITY",
    "FITTED_TEMPERATURE",
    "HUMIDITY",
    "METHODS",
    "MOISTURE_DB",
    "TEMPERATURE",
    "GrainAir",
    "Isotherm",
    "MeanIsotherm",
    "air_over_grain",
    "answerable",
    "answerable_over_grain",
    "choose_isotherm",
    "equilibrium_moisture",
    "equilibrium_relative_humidity",
    "extrapolates",
    "isosteric_heat",
    "isotherm_method",
    "isotherms_of",
    "meaningful_temperatures",
    "net_isosteric_heat",
    "own_isotherm",
    "refusals",
    "refusals_over_grain",
]

HUMIDITY_TOLERANCE = 1e-12  # last step of the inverse of a mean isotherm


@dataclass(frozen=True, slots=True)
class GrainAir:
    """Air in balance with grain.

    Attributes
    ----------
    relative_humidity : float or ndarray
        Fraction.
    vapour_pressure : float or ndarray
        Partial pressure of water [Pa].
    dew_point : float or ndarray
        Of that air [degC]; a frost point below 0.01.
    """

    relative_humidity: FloatArray
    vapour_pressure: FloatArray
    dew_point: FloatArray


def equilibrium_moisture(
    isotherm: Isotherm, temperature: ArrayLike, relative_humidity: ArrayLike
) -> FloatArray:
    """Moisture that grain tends to in air of this temperature and humidity.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    temperature : array_like
        Of grain and air [degC], -40 to 150; fitted about 0 to 55.
    relative_humidity : array_like
        Fraction, 0 to 0.999; fitted about 0.10 to 0.95.

    Returns
    -------
    ndarray
        Moisture, dry basis, as a fraction.

    Raises
    ------
    OutOfRange
        Air in which the equation has no value: Chung-Pfost in hot dry air, where it would go
        negative; nearly saturated or very cold air, where it passes 150 % dry basis; a
        temperature at which the constants lose their meaning.

    References
    ----------
    .. [1] ASAE D245.4, D245.5, D245.6.
    """
    warm = TEMPERATURE.check(temperature, "temperature", method=isotherm.method)
    humidity = HUMIDITY.check(relative_humidity, "relative_humidity", method=isotherm.method)
    warm, humidity = as_floats(warm, humidity)
    _require_temperature(isotherm, warm)
    _require_humid(isotherm, warm, humidity)
    moisture = moisture_percent(isotherm, warm, humidity) / 100.0
    _require_grain(isotherm, moisture)
    return moisture[()]


def equilibrium_relative_humidity(
    isotherm: Isotherm, temperature: ArrayLike, moisture_db: ArrayLike
) -> FloatArray:
    """Relative humidity of the air between kernels of this moisture.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    temperature : array_like
        Of grain and air [degC], -40 to 150; fitted about 0 to 55.
    moisture_db : array_like
        Moisture, dry basis, as a fraction, 0 to 1.5.

    Returns
    -------
    ndarray
        Relative humidity as a fraction, below 1.

    Raises
    ------
    OutOfRange
        A temperature at which the constants lose their meaning; a moisture below what a mean
        isotherm can reach.
    NotConverged
        Only for a mean isotherm, and never met; tolerance 1e-12.

    References
    ----------
    .. [1] ASAE D245.4, D245.5, D245.6, solved for relative humidity.
    """
    warm = TEMPERATURE.check(temperature, "temperature", method=isotherm.method)
    moisture = MOISTURE_DB.check(moisture_db, "moisture_db", method=isotherm.method)
    warm, percent = as_floats(warm, 100.0 * moisture)
    _require_temperature(isotherm, warm)
    if isinstance(isotherm, MeanIsotherm):
        return _mean_humidity(isotherm, warm, percent)[()]
    return FORMS[isotherm.form].humidity(constants_of(isotherm), warm, percent)[()]


def air_over_grain(isotherm: Isotherm, temperature: ArrayLike, moisture_db: ArrayLike) -> GrainAir:
    """Relative humidity, vapour pressure and dew point of air in balance with grain.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    temperature : array_like
        Of grain and air [degC].
    moisture_db : array_like
        Moisture, dry basis, as a fraction.

    Returns
    -------
    GrainAir
        The air.

    Raises
    ------
    OutOfRange
        As `equilibrium_relative_humidity`; also grain so dry that its air has no dew point.
    """
    humidity = np.asarray(equilibrium_relative_humidity(isotherm, temperature, moisture_db))
    vapour = humidity * saturation_pressure(temperature)
    dry = vapour < VAPOUR_PRESSURE.low
    if np.any(dry):
        first = int(np.argmax(dry))
        given = np.broadcast_to(np.asarray(moisture_db, dtype=np.float64), dry.shape).flat[first]
        raise OutOfRange(
            "moisture of grain whose air has a dew point",
            float(given),
            (HEAT_MOISTURE.low, MOISTURE_DB.high),
            name="moisture_db",
            index=first if dry.ndim else None,
            method=isotherm.method,
        )
    return GrainAir(humidity[()], vapour[()], saturation_temperature(vapour))


def net_isosteric_heat(
    isotherm: Isotherm, temperature: ArrayLike, moisture_db: ArrayLike
) -> FloatArray:
    """Heat that binds water to grain, above that of free water.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    temperature : array_like
        Temperature [degC].
    moisture_db : array_like
        Moisture, dry basis, as a fraction, 0.005 to 1.5.

    Returns
    -------
    ndarray
        Heat [J/kg water]; zero for an isotherm without temperature (GAB).

    Raises
    ------
    OutOfRange
        As `equilibrium_relative_humidity`; also grain drier than 0.5 % dry basis, and constants
        of one's own that bind water as no grain does.

    References
    ----------
    .. [1] Clausius-Clapeyron: R T^2 d ln(RH)/dT at constant moisture, by the analytic slope.
    """
    HEAT_MOISTURE.check(moisture_db, "moisture_db", method="sorption.clausius-clapeyron")
    warm = TEMPERATURE.check(temperature, "temperature", method=isotherm.method)
    warm, percent = as_floats(warm, 100.0 * np.asarray(moisture_db, dtype=np.float64))
    _require_temperature(isotherm, warm)
    kelvin = warm + CELSIUS_ZERO
    heat = VAPOUR_GAS_CONSTANT * kelvin * kelvin * _log_slope(isotherm, warm, percent)
    return BINDING.check(heat, "moisture_db", method=isotherm.method)[()]


def isosteric_heat(
    isotherm: Isotherm, temperature: ArrayLike, moisture_db: ArrayLike
) -> FloatArray:
    """Heat to evaporate water from grain: latent heat of free water and heat of sorption.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    temperature : array_like
        Temperature [degC].
    moisture_db : array_like
        Moisture, dry basis, as a fraction, 0.005 to 1.5.

    Returns
    -------
    ndarray
        Heat [J/kg water].

    Raises
    ------
    OutOfRange
        As `net_isosteric_heat`.

    References
    ----------
    .. [1] Brooker, Bakker-Arkema & Hall 1992, chapter 3.
    """
    return net_isosteric_heat(isotherm, temperature, moisture_db) + latent_heat(temperature)


def answerable(
    isotherm: Isotherm, temperature: ArrayLike, relative_humidity: ArrayLike
) -> BoolArray:
    """Where an isotherm has an equilibrium moisture; elsewhere it would be refused.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    temperature : array_like
        Temperature [degC].
    relative_humidity : array_like
        Fraction.

    Returns
    -------
    ndarray of bool
        True where `equilibrium_moisture` answers.
    """
    warm, humidity = as_floats(temperature, relative_humidity)
    inside = TEMPERATURE.contains(warm) & HUMIDITY.contains(humidity)
    low, high = meaningful_temperatures(isotherm)
    inside &= (warm > low) & (warm < high)
    safe = np.where(inside, warm, 0.5 * (max(low, -40.0) + min(high, 150.0)))
    inside = np.asarray(inside & (humidity >= driest_humidity(isotherm, safe)))
    percent = moisture_percent(isotherm, safe, np.where(inside, humidity, 0.5))
    return np.asarray(inside & (percent <= 100.0 * MOISTURE_DB.high))


def answerable_over_grain(
    isotherm: Isotherm, temperature: ArrayLike, moisture_db: ArrayLike
) -> BoolArray:
    """Where `air_over_grain` has an answer; elsewhere it would be refused.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    temperature : array_like
        Temperature [degC].
    moisture_db : array_like
        Moisture, dry basis, as a fraction.

    Returns
    -------
    ndarray of bool
        True where it answers.
    """
    warm, moisture = as_floats(temperature, moisture_db)
    low, high = meaningful_temperatures(isotherm)
    inside = TEMPERATURE.contains(warm) & MOISTURE_DB.contains(moisture)
    inside = np.array(inside & (warm > low) & (warm < high), ndmin=1)
    if isinstance(isotherm, MeanIsotherm):
        kept = np.atleast_1d(warm)[inside]
        least = moisture_percent(isotherm, kept, driest_humidity(isotherm, kept))
        inside[inside] = 100.0 * np.atleast_1d(moisture)[inside] >= least
    kept, wet = np.atleast_1d(warm)[inside], np.atleast_1d(moisture)[inside]
    humidity = np.asarray(equilibrium_relative_humidity(isotherm, kept, wet))
    inside[inside] = humidity * saturation_pressure(kept) >= VAPOUR_PRESSURE.low
    return inside.reshape(warm.shape)


def extrapolates(temperature: ArrayLike, relative_humidity: ArrayLike) -> BoolArray:
    """Where a result lies outside the air in which the constants were fitted.

    Parameters
    ----------
    temperature : array_like
        Temperature [degC].
    relative_humidity : array_like
        Fraction.

    Returns
    -------
    ndarray of bool
        True outside about 0 to 55 degC and 0.10 to 0.95.
    """
    inside = FITTED_TEMPERATURE.touches(temperature) & FITTED_HUMIDITY.touches(relative_humidity)
    return np.asarray(~inside)


def _log_slope(isotherm: Isotherm, warm: FloatArray, percent: FloatArray) -> FloatArray:
    """d ln(RH)/dT at constant moisture [1/K].

    For a mean, the parts share one humidity but not one moisture; the slope is the mean of
    theirs weighted by how far moisture moves with ln(RH), from implicit differentiation.
    """
    if isinstance(isotherm, IsothermSet):
        return FORMS[isotherm.form].slopes(constants_of(isotherm), warm, percent)[0]
    humidity = _mean_humidity(isotherm, warm, percent)
    top, bottom = np.zeros(warm.shape), np.zeros(warm.shape)
    for one in isotherm.parts:
        form, constants = FORMS[one.form], constants_of(one)
        own = np.maximum(form.moisture(constants, warm, humidity), 0.0)
        by_temperature, by_moisture = form.slopes(constants, warm, own)
        top, bottom = top + by_temperature / by_moisture, bottom + 1.0 / by_moisture
    return top / bottom


def _mean_humidity(mean: MeanIsotherm, warm: FloatArray, percent: FloatArray) -> FloatArray:
    """Relative humidity at which the mean of the parts' moistures is as asked."""
    each = [FORMS[one.form].humidity(constants_of(one), warm, percent) for one in mean.parts]
    lowest = np.maximum(np.min(each, axis=0), driest_humidity(mean, warm))
    least = moisture_percent(mean, warm, lowest)
    if np.any(percent < least):
        first = int(np.argmax(percent < least))
        raise OutOfRange(
            "moisture, dry basis",
            float(percent.flat[first]) / 100.0,
            (float(least.flat[first]) / 100.0, MOISTURE_DB.high),
            name="moisture_db",
            index=first if percent.ndim else None,
            method=mean.method,
        )

    def excess(humidity: FloatArray) -> tuple[FloatArray, FloatArray]:
        slope = np.zeros(humidity.shape)
        for one in mean.parts:
            form, constants = FORMS[one.form], constants_of(one)
            own = np.maximum(form.moisture(constants, warm, humidity), 0.0)
            slope += 1.0 / (humidity * form.slopes(constants, warm, own)[1])
        return moisture_percent(mean, warm, humidity) - percent, slope / len(mean.parts)

    return bracketed_newton(
        excess,
        lowest,
        np.minimum(np.max(each, axis=0), 1.0 - 1e-15),
        tolerance=HUMIDITY_TOLERANCE,
        what="relative humidity of a mean isotherm",
    )


def _require_temperature(isotherm: Isotherm, warm: FloatArray) -> None:
    low, high = meaningful_temperatures(isotherm)
    bad = ~((warm > low) & (warm < high))
    if np.any(bad):
        first = int(np.argmax(bad))
        raise OutOfRange(
            "temperature",
            float(warm.flat[first]),
            (max(low, TEMPERATURE.low), min(high, TEMPERATURE.high)),
            unit="degC",
            name="temperature",
            index=first if warm.ndim else None,
            method=isotherm.method,
        )


def _require_humid(isotherm: Isotherm, warm: FloatArray, humidity: FloatArray) -> None:
    driest = driest_humidity(isotherm, warm)
    bad = humidity < driest
    if np.any(bad):
        first = int(np.argmax(bad))
        raise OutOfRange(
            "relative humidity",
            float(humidity.flat[first]),
            (float(driest.flat[first]), HUMIDITY.high),
            name="relative_humidity",
            index=first if humidity.ndim else None,
            method=isotherm.method,
        )


def _require_grain(isotherm: Isotherm, moisture: FloatArray) -> None:
    """Refuse what is no longer moisture in balance with air but grain in water."""
    bad = ~(moisture <= MOISTURE_DB.high)
    if np.any(bad):
        first = int(np.argmax(bad))
        raise OutOfRange(
            "equilibrium moisture, dry basis,",
            float(moisture.flat[first]),
            (MOISTURE_DB.low, MOISTURE_DB.high),
            name="relative_humidity",
            index=first if moisture.ndim else None,
            method=isotherm.method,
        )
