"""An isotherm evaluated without checks, and why it has no value where it has none.

Beneath `outfeed.sorption`, which checks. The refusals of many rows are worked out as arrays, so
that a long log in which every row is at fault still gets its answer row by row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, as_floats
from outfeed.errors import OutOfRange
from outfeed.grains import IsothermSet
from outfeed.isotherm_choice import Isotherm, MeanIsotherm
from outfeed.isotherms import FORMS, Constants
from outfeed.limits import Range

TEMPERATURE = Range("temperature", -40.0, 150.0, "degC", "sensible domain of the job, no source")
HUMIDITY = Range("relative humidity", 0.0, 0.999, "", "the equations have no value at saturation")
MOISTURE_DB = Range("moisture, dry basis", 0.0, 1.5, "", "60 % wet basis, sensible domain")
BINDING = Range("heat of sorption", -1e9, 1e9, "J/kg", "far beyond every grain")
"""What constants of one's own may give; past it they are no isotherm."""
HEAT_MOISTURE = Range(
    "moisture, dry basis", 0.005, 1.5, "", "below it several equations bind water without limit"
)


@dataclass(frozen=True, slots=True, eq=False)
class _Cause:
    """One reason to refuse rows: which, of what value, and what would be accepted."""

    bad: BoolArray
    quantity: str
    values: FloatArray
    low: ArrayLike
    high: ArrayLike
    unit: str
    name: str


def parts_of(isotherm: Isotherm) -> tuple[IsothermSet, ...]:
    """The published sets an isotherm is made of.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.

    Returns
    -------
    tuple of IsothermSet
        One, or those of a mean.
    """
    return isotherm.parts if isinstance(isotherm, MeanIsotherm) else (isotherm,)


def constants_of(one: IsothermSet) -> Constants:
    """The three constants of a set.

    Parameters
    ----------
    one : IsothermSet
        The set.

    Returns
    -------
    tuple of float
        As the equation of its form has them.
    """
    return (one.a, one.b, one.c)


def moisture_percent(isotherm: Isotherm, warm: FloatArray, humidity: FloatArray) -> FloatArray:
    """Moisture in percent, dry basis, unchecked; never below 0 by rounding.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    warm : ndarray
        Temperature [degC].
    humidity : ndarray
        Relative humidity, fraction.

    Returns
    -------
    ndarray
        Percent, dry basis.
    """
    parts = parts_of(isotherm)
    values = [FORMS[one.form].moisture(constants_of(one), warm, humidity) for one in parts]
    return np.asarray(np.maximum(sum(values) / len(values), 0.0))


def driest_humidity(isotherm: Isotherm, warm: FloatArray) -> FloatArray:
    """Lowest relative humidity at which no part gives a negative moisture.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    warm : ndarray
        Temperature [degC].

    Returns
    -------
    ndarray
        Relative humidity, fraction.
    """
    limits = [FORMS[one.form].driest(constants_of(one), warm) for one in parts_of(isotherm)]
    return np.asarray(np.max(limits, axis=0))


def meaningful_temperatures(isotherm: Isotherm) -> tuple[float, float]:
    """Open interval of temperature in which an isotherm's constants mean something.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.

    Returns
    -------
    tuple of float
        Its ends [degC].
    """
    spans = [FORMS[one.form].temperatures(constants_of(one)) for one in parts_of(isotherm)]
    return max(low for low, _ in spans), min(high for _, high in spans)


def refusals(
    isotherm: Isotherm, temperature: ArrayLike, relative_humidity: ArrayLike
) -> list[OutOfRange | None]:
    """Why `equilibrium_moisture` refuses each row, or None where it answers.

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
    list of OutOfRange or None
        One a row, as the function would raise it for that row alone.
    """
    warm, humid = (np.atleast_1d(one) for one in as_floats(temperature, relative_humidity))
    low, high = meaningful_temperatures(isotherm)
    bounds = max(low, TEMPERATURE.low), min(high, TEMPERATURE.high)
    cold_or_hot = ~((warm > low) & (warm < high))
    good = TEMPERATURE.contains(warm) & HUMIDITY.contains(humid) & ~cold_or_hot
    safe_warm = np.where(good, warm, 0.5 * (bounds[0] + bounds[1]))
    driest = driest_humidity(isotherm, safe_warm)
    dry = good & (humid < driest)
    safe_humid = np.where(good & ~dry, humid, np.maximum(driest, 0.5))
    moisture = moisture_percent(isotherm, safe_warm, safe_humid) / 100.0
    causes = [
        _outside(TEMPERATURE, warm, "temperature"),
        _outside(HUMIDITY, humid, "relative_humidity"),
        _Cause(cold_or_hot, "temperature", warm, *bounds, "degC", "temperature"),
        _Cause(dry, HUMIDITY.quantity, humid, driest, HUMIDITY.high, "", "relative_humidity"),
        _Cause(
            ~(moisture <= MOISTURE_DB.high),
            "equilibrium moisture, dry basis,",
            moisture,
            MOISTURE_DB.low,
            MOISTURE_DB.high,
            "",
            "relative_humidity",
        ),
    ]
    return _first_cause(isotherm, causes)


def _outside(limits: Range, values: FloatArray, name: str) -> _Cause:
    bad = np.asarray(~limits.contains(values))
    return _Cause(bad, limits.quantity, values, limits.low, limits.high, limits.unit, name)


def _first_cause(isotherm: Isotherm, causes: list[_Cause]) -> list[OutOfRange | None]:
    """For each row the first cause that holds, in the order of the checks."""
    out: list[OutOfRange | None] = [None] * causes[0].bad.size
    left = np.ones(len(out), dtype=np.bool_)
    for cause in causes:
        rows = np.flatnonzero(cause.bad & left)
        left[rows] = False
        told = (
            np.broadcast_to(np.asarray(column), left.shape)[rows].tolist()
            for column in (cause.values, cause.low, cause.high)
        )
        for row, value, low, high in zip(rows.tolist(), *told, strict=True):
            out[row] = OutOfRange(
                cause.quantity,
                value,
                (low, high),
                unit=cause.unit,
                name=cause.name,
                method=isotherm.method,
            )
    return out


def refusals_over_grain(
    isotherm: Isotherm, temperature: ArrayLike, moisture_db: ArrayLike
) -> list[OutOfRange | None]:
    """Why `air_over_grain` refuses each row that is refused.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        Which equation and constants.
    temperature : array_like
        Temperature [degC].
    moisture_db : array_like
        Moisture, dry basis, as a fraction; of rows that are refused.

    Returns
    -------
    list of OutOfRange or None
        One a row. Grain that no other reason refuses is too dry: below what a mean of isotherms
        reaches, or too dry for its air to have a dew point.
    """
    warm, moisture = (np.atleast_1d(one) for one in as_floats(temperature, moisture_db))
    low, high = meaningful_temperatures(isotherm)
    bounds = max(low, TEMPERATURE.low), min(high, TEMPERATURE.high)
    cold_or_hot = ~((warm > low) & (warm < high))
    causes = [
        _outside(TEMPERATURE, warm, "temperature"),
        _outside(MOISTURE_DB, moisture, "moisture_db"),
        _Cause(cold_or_hot, "temperature", warm, *bounds, "degC", "temperature"),
    ]
    high = MOISTURE_DB.high
    if isinstance(isotherm, MeanIsotherm):
        safe = np.where(cold_or_hot | ~TEMPERATURE.contains(warm), 0.5 * sum(bounds), warm)
        reach = moisture_percent(isotherm, safe, driest_humidity(isotherm, safe)) / 100.0
        too_dry = np.asarray(moisture < reach)
        causes.append(
            _Cause(too_dry, MOISTURE_DB.quantity, moisture, reach, high, "", "moisture_db")
        )
    quantity, rest = "moisture of grain whose air has a dew point", np.ones(warm.shape, np.bool_)
    causes.append(_Cause(rest, quantity, moisture, HEAT_MOISTURE.low, high, "", "moisture_db"))
    return _first_cause(isotherm, causes)
