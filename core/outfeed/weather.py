"""Outside air hour by hour, from a forecast or from monthly normals.

Between the numbers somebody measured, nothing is invented: a month's air is its mean, with the
daily swing about it that the caller states, at the mean's vapour content.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import AMBIENT, PRESSURE, RELATIVE_HUMIDITY, SENSIBLE, Range
from outfeed.methods import COMMON_PRACTICE, Method
from outfeed.moist_air import saturation_pressure

HOUR = 3600.0
DAY = 24.0 * HOUR
COLDEST_HOUR = 5.0
"""Local hour of the daily minimum: common practice, no source."""
SWING = Range("daily swing of temperature", 0.0, 40.0, "K", SENSIBLE)

MONTHLY = Method(
    id="weather.monthly-with-swing",
    title="Hourly air from a monthly mean and a daily swing at constant vapour content",
    source=COMMON_PRACTICE,
    known=COMMON_PRACTICE,
    note="A cosine with its minimum at five in the morning; no fronts, no rain.",
)
METHODS = (MONTHLY,)


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """Outside air, one entry an hour.

    Attributes
    ----------
    start_s : float
        When the first hour begins [s].
    temperature : ndarray
        Dry bulb [degC], shape (hours,).
    relative_humidity : ndarray
        [-], shape (hours,).
    pressure : float
        Barometric pressure [Pa].
    """

    start_s: float
    temperature: FloatArray
    relative_humidity: FloatArray
    pressure: float = 101_325.0

    def __post_init__(self) -> None:
        AMBIENT.check(self.temperature, "temperature")
        RELATIVE_HUMIDITY.check(self.relative_humidity, "relative_humidity")
        PRESSURE.check(self.pressure, "pressure")
        if self.temperature.size == 0 or self.temperature.shape != self.relative_humidity.shape:
            raise Inconsistent(
                "weather needs one temperature and one humidity for every hour", "temperature"
            )

    @property
    def hours(self) -> int:
        """How many hours it covers."""
        return self.temperature.size

    @property
    def starts_s(self) -> FloatArray:
        """When each hour begins [s]."""
        return np.asarray(self.start_s + HOUR * np.arange(self.hours), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Month:
    """Normals of one month.

    Attributes
    ----------
    temperature : float
        Mean [degC].
    relative_humidity : float
        At that mean [-].
    swing : float
        Daily maximum less minimum [K].
    """

    temperature: float
    relative_humidity: float
    swing: float = 0.0

    def __post_init__(self) -> None:
        AMBIENT.check(self.temperature, "temperature")
        RELATIVE_HUMIDITY.check(self.relative_humidity, "relative_humidity")
        SWING.check(self.swing, "swing")


def hourly_from_series(
    times_s: FloatArray, temperature: FloatArray, relative_humidity: FloatArray, pressure: float
) -> Weather:
    """Hourly weather from readings or a forecast at any rising times, straight between them.

    Parameters
    ----------
    times_s : ndarray
        Times, rising [s].
    temperature, relative_humidity : ndarray
        At those times [degC], [-].
    pressure : float
        [Pa].

    Returns
    -------
    Weather
        From the first time to the last.

    Raises
    ------
    Inconsistent
        Fewer than two times, or times that do not rise.
    OutOfRange
        A value outside its range.
    """
    if times_s.size < 2 or np.any(np.diff(times_s) <= 0.0):
        raise Inconsistent("weather needs two times or more, in rising order", "weather")
    count = max(math.floor((times_s[-1] - times_s[0]) / HOUR + 1e-9) + 1, 1)
    at = times_s[0] + HOUR * np.arange(count)
    return Weather(
        start_s=float(times_s[0]),
        temperature=np.interp(at, times_s, temperature),
        relative_humidity=np.interp(at, times_s, relative_humidity),
        pressure=pressure,
    )


def hourly_from_months(
    start_s: float,
    month_of_hour: NDArray[np.intp],
    months: Sequence[Month | None],
    local_hour: float,
    pressure: float,
) -> Weather:
    """Hourly weather from monthly normals.

    Parameters
    ----------
    start_s : float
        When the first hour begins [s].
    month_of_hour : ndarray
        Month of each hour, 0 for January, shape (hours,).
    months : sequence of Month or None
        Twelve entries, None where no normal is known.
    local_hour : float
        Hour of the local day at `start_s`, 0 to 24.
    pressure : float
        [Pa].

    Returns
    -------
    Weather
        One entry an hour.

    Raises
    ------
    Inconsistent
        An hour in a month without normals.
    """
    missing = sorted({int(m) for m in np.unique(month_of_hour) if months[int(m)] is None})
    if missing:
        names = ", ".join(str(month + 1) for month in missing)
        raise Inconsistent(f"the plan runs into months without normals: {names}", "months")
    known = [month or Month(0.0, 0.0) for month in months]
    mean = np.array([month.temperature for month in known])[month_of_hour]
    damp = np.array([month.relative_humidity for month in known])[month_of_hour]
    swing = np.array([month.swing for month in known])[month_of_hour]
    clock = local_hour + np.arange(month_of_hour.size)
    temperature = mean - swing / 2.0 * np.cos((clock - COLDEST_HOUR) * 2.0 * np.pi / 24.0)
    vapour = damp * np.asarray(saturation_pressure(mean))
    humidity = np.minimum(vapour / np.asarray(saturation_pressure(temperature)), 1.0)
    return Weather(start_s, temperature, humidity, pressure)
