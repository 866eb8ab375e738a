"""A dryer through changing air: what each hour's outside air would do, were it to last.

Every state of the air is one scenario of the same column, so that a week of hours is one solve.
Two questions: what leaves at a rate that is held, and which rate would keep the target. A column
follows the air within a transit; `outfeed.dryer.transient` tells how.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.inverse import (
    MOISTURE_TOLERANCE,
    TARGET_MOISTURE,
    drying_scale,
)
from outfeed.dryer.profile import ColumnProfile
from outfeed.errors import Inconsistent
from outfeed.limits import TRANSIT

FIRST_SLOPE = 0.9
"""First slope of the drying scale against the logarithm of the rate [-]: close to one."""
FLATTEST = 0.2
"""Slope below which two tries of one hour say nothing of a third [-]."""
LONGEST_STEP = 0.7
"""Longest step of the logarithm of a rate between two tries [-]."""
ROUNDS = 12


@dataclass(frozen=True, slots=True, eq=False)
class HourlyColumns:
    """Settled columns, one a state of the air; where `settled` is false the rest means nothing.

    Attributes
    ----------
    settled : ndarray of bool
        Whether the column settled, and met the target where one was asked, shape (hours,).
    dry_matter_rate : ndarray
        Dry matter through the dryer [kg/s].
    outlet_moisture_wb : ndarray
        At the discharge, wet basis [-].
    outlet_temperature, hottest_kernel : ndarray
        Grain at the discharge and the hottest anywhere [degC].
    column_temperature : ndarray or None
        Mean of the sensors [degC]; None without sensors.
    water : ndarray
        Water removed [kg/s].
    zone_heat : ndarray
        Heat that each zone's burner gives the outside air [W], shape (zones, hours).
    """

    settled: BoolArray
    dry_matter_rate: FloatArray
    outlet_moisture_wb: FloatArray
    outlet_temperature: FloatArray
    hottest_kernel: FloatArray
    column_temperature: FloatArray | None
    water: FloatArray
    zone_heat: FloatArray


def held_through(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: ArrayLike,
    *,
    model: ColumnModel | None = None,
) -> HourlyColumns:
    """What leaves in each state of the air at a rate that is held.

    Parameters
    ----------
    dryer : Dryer
        The description, with its plenum temperatures.
    conditions : Conditions
        Weather; one entry an hour.
    feed : Feed
        Grain at the inlet; its temperature a number or one an hour.
    dry_matter_rate : array_like
        Dry matter through the dryer [kg/s], a number or one an hour.
    model : ColumnModel, optional
        Which formulas.

    Returns
    -------
    HourlyColumns
        Hours in air warmer than a heated plenum are not settled.

    Raises
    ------
    Inconsistent
        No hour.
    OutOfRange
        A value outside the sensible domain.
    NotConverged
        The solver failed on all hours at once.
    """
    weather = _hours(conditions)
    count = np.size(weather.ambient_temperature)
    rates = np.array(np.broadcast_to(dry_matter_rate, count), dtype=np.float64)
    found = _nothing(dryer, rates)
    coolest = min(hot for hot in dryer.plenum_temperatures if hot is not None)
    warm = np.flatnonzero(np.asarray(weather.ambient_temperature) <= coolest)
    if warm.size:
        _fill(found, warm, _solved(dryer, weather, feed, rates, warm, model))
    return found


def needed_through(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    start: HourlyColumns,
    *,
    model: ColumnModel | None = None,
) -> HourlyColumns:
    """The rate that would keep a target in each state of the air.

    All hours are searched at once by a secant on a scale that is close to straight; an hour leaves
    the search when it meets the target.

    Parameters
    ----------
    dryer : Dryer
        The description, with its plenum temperatures.
    conditions : Conditions
        Weather; one entry an hour.
    feed : Feed
        Grain at the inlet; its temperature a number or one an hour.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    start : HourlyColumns
        The same hours at a rate from which to look, of `held_through`.
    model : ColumnModel, optional
        Which formulas.

    Returns
    -------
    HourlyColumns
        Hours in which no transit time between 10 minutes and 24 hours meets it are not settled.

    Raises
    ------
    OutOfRange
        A value outside the sensible domain.
    NotConverged
        The solver failed on all open hours at once.
    """
    target = float(TARGET_MOISTURE.check(target_moisture_wb, "target_moisture_wb"))
    weather, inlet = _hours(conditions), float(feed.moisture_db)
    slow, fast = (
        math.log(dryer.hold_up_dry_matter / limit) for limit in (TRANSIT.high, TRANSIT.low)
    )
    found = _copied(start)
    goal = float(drying_scale(inlet, target))
    x = np.log(found.dry_matter_rate)
    last_x, last_y = np.full_like(x, np.nan), np.full_like(x, np.nan)
    for _ in range(ROUNDS):
        away = np.abs(found.outlet_moisture_wb - target) >= MOISTURE_TOLERANCE
        open_ = np.flatnonzero(found.settled & away)
        if not open_.size:
            return found
        y = drying_scale(inlet, found.outlet_moisture_wb[open_]) - goal
        here = x[open_]
        seen = np.full(open_.size, FIRST_SLOPE)
        tried = np.isfinite(last_x[open_]) & (here != last_x[open_])
        run = np.where(tried, here - last_x[open_], 1.0)
        seen = np.where(tried, (y - last_y[open_]) / run, seen)
        slope = np.where(seen > FLATTEST, seen, FIRST_SLOPE)
        last_x[open_], last_y[open_] = here, y
        step = np.clip(-y / slope, -LONGEST_STEP, LONGEST_STEP)
        x[open_] = np.clip(here + step, slow, fast)
        stuck = x[open_] == here
        found.settled[open_[stuck]] = False
        moving = open_[~stuck]
        found.dry_matter_rate[moving] = np.exp(x[moving])
        if moving.size:
            _fill(found, moving, _solved(dryer, weather, feed, np.exp(x), moving, model))
    found.settled[np.abs(found.outlet_moisture_wb - target) >= MOISTURE_TOLERANCE] = False
    return found


def _hours(conditions: Conditions) -> Conditions:
    """All three fields as arrays of one length."""
    fields = np.broadcast_arrays(
        np.atleast_1d(np.asarray(conditions.ambient_temperature, dtype=np.float64)),
        np.asarray(conditions.ambient_relative_humidity, dtype=np.float64),
        np.asarray(conditions.pressure, dtype=np.float64),
    )
    if fields[0].size == 0:
        raise Inconsistent("give at least one hour of air", "ambient_temperature")
    return Conditions(*(np.array(field) for field in fields))


def _solved(
    dryer: Dryer,
    weather: Conditions,
    feed: Feed,
    rates: FloatArray,
    where: np.ndarray,
    model: ColumnModel | None,
) -> ColumnProfile:
    air = Conditions(
        *(
            np.asarray(field)[where]
            for field in (
                weather.ambient_temperature,
                weather.ambient_relative_humidity,
                weather.pressure,
            )
        )
    )
    warm = np.broadcast_to(np.asarray(feed.temperature, dtype=np.float64), rates.shape)
    grain = replace(feed, temperature=warm[where])
    return solve_column(dryer, air, grain, rates[where], model=model, flag=True)


def _nothing(dryer: Dryer, rates: FloatArray) -> HourlyColumns:
    hours = rates.size
    sensors = any(zone.sensors for zone in dryer.zones)
    return HourlyColumns(
        settled=np.zeros(hours, dtype=bool),
        dry_matter_rate=rates,
        outlet_moisture_wb=np.zeros(hours),
        outlet_temperature=np.zeros(hours),
        hottest_kernel=np.zeros(hours),
        column_temperature=np.zeros(hours) if sensors else None,
        water=np.zeros(hours),
        zone_heat=np.zeros((len(dryer.zones), hours)),
    )


def _copied(found: HourlyColumns) -> HourlyColumns:
    return replace(
        found,
        **{
            name: value.copy()
            for name in HourlyColumns.__slots__
            if (value := getattr(found, name)) is not None
        },
    )


def _fill(found: HourlyColumns, where: np.ndarray, profile: ColumnProfile) -> None:
    """Put the columns of some hours in their places."""
    good = np.asarray(profile.converged)
    found.settled[where] = good
    rows = where[good]
    columns = (
        (found.outlet_moisture_wb, profile.outlet_moisture_wb),
        (found.outlet_temperature, profile.outlet_temperature),
        (found.hottest_kernel, profile.hottest_kernel),
        (found.water, profile.water),
        *((found.zone_heat[index], zone.heat) for index, zone in enumerate(profile.zones)),
    )
    for into, values in columns:
        into[rows] = np.asarray(values)[good]
    if found.column_temperature is not None and profile.column_temperature is not None:
        found.column_temperature[rows] = np.asarray(profile.column_temperature)[good]
