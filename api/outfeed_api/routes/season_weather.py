"""The weather and the clock of a season plan: hour by hour, or from the normals of months."""

from __future__ import annotations

import math
from datetime import UTC, timedelta

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.moist_air import STANDARD_PRESSURE, standard_pressure
from outfeed.weather import (
    DAY,
    HOUR,
    Month,
    Weather,
    hourly_from_months,
    hourly_from_series,
)
from outfeed_api.moments import EPOCH, Clock, Timed, in_order, moment_seconds
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.routes.season_models import MOST_HOURS, Monthly, SeasonPlanRequest


def clock_of(request: SeasonPlanRequest) -> Clock:
    """The clock of the request, which its weather tells.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.

    Returns
    -------
    Clock
        Whose time is the first of the weather.

    Raises
    ------
    ProblemError
        No weather or two, or a series without times.
    """
    if (request.hourly is None) == (request.monthly is None):
        raise contradiction("hourly", "give either `hourly` or `monthly`")
    if request.hourly is not None:
        if not request.hourly.seconds:
            raise contradiction("hourly", "give at least two hours of weather")
        form = request.hourly.form
        offset = request.hourly.offset
        return Clock(form, offset, request.hourly.seconds[0])
    start = request.monthly.start if request.monthly is not None else ""
    return Clock("times", Timed(times=[start]).offset, moment_seconds(start))


def weather_of(request: SeasonPlanRequest) -> Weather:
    """Hourly weather of a request, at the air pressure of its altitude.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.

    Returns
    -------
    Weather
        One entry an hour.

    Raises
    ------
    ProblemError, Inconsistent
        No weather or two, columns that do not fit, months without normals, a plan too long.
    """
    pressure = STANDARD_PRESSURE
    if request.altitude is not None:
        pressure = float(standard_pressure(request.altitude))
    if request.hourly is not None:
        given = request.hourly
        times = np.array(in_order(given, given.temperature, "hourly"))
        in_order(given, given.relative_humidity, "hourly")
        if (times[-1] - times[0]) / HOUR > MOST_HOURS:
            raise contradiction("hourly", f"a plan covers at most {MOST_HOURS:,} hours")
        return hourly_from_series(
            times, np.array(given.temperature), np.array(given.relative_humidity), pressure
        )
    given_months = request.monthly
    if given_months is None:
        raise contradiction("hourly", "give either `hourly` or `monthly`")
    return _of_months(given_months, clock_of(request), pressure)


def local_hours(request: SeasonPlanRequest, weather: Weather) -> FloatArray:
    """Second of the local day at which each hour begins.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.
    weather : Weather
        Of the request.

    Returns
    -------
    ndarray
        Seconds since midnight [s], 0 to 86,400, shape (hours,).
    """
    offset = clock_of(request).offset
    shift = 0.0 if offset is None else (offset.utcoffset(None) or timedelta()).total_seconds()
    return np.asarray((weather.starts_s + shift) % DAY)


def contradiction(field: str, detail: str) -> ProblemError:
    """A refusal of fields that contradict each other.

    Parameters
    ----------
    field : str
        Path of the field at fault, parts joined by "/".
    detail : str
        What is wrong, in a sentence.

    Returns
    -------
    ProblemError
        To be raised.
    """
    return ProblemError(INCONSISTENT, detail, [field_error(f"/{field}", detail)])


def _of_months(given: Monthly, clock: Clock, pressure: float) -> Weather:
    """Hourly weather from the normals of the local months that the plan runs through."""
    count = math.floor(given.days / HOUR + 1e-9)
    start = (EPOCH + timedelta(seconds=clock.now_s)).astimezone(clock.offset or UTC)
    months: list[Month | None] = [None] * 12
    for entry in given.months:
        swing = entry.swing or 0.0
        months[entry.month - 1] = Month(entry.temperature, entry.relative_humidity, swing)
    of_hour = np.array(
        [(start + timedelta(hours=h)).month - 1 for h in range(count)], dtype=np.intp
    )
    local = start.hour + start.minute / 60.0
    return hourly_from_months(clock.now_s, of_hour, months, local, pressure)
