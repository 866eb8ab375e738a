"""What a fitted column says of a dryer's rate, over what the quick balance says of it.

Both methods agree closely on how the rate changes with weather and moisture; their ratio is nearly
constant, within an eighth or so over a season. So the column is solved once, on a coarse grid of
weather, inlet moisture and rate, and the balance does the rest. The ratio also outlives a change of
plenums or of the target: over twenty degrees Fahrenheit or a point it moves by one to three
hundredths.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.dryer.balance import balance
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.hours import FLATTEST
from outfeed.dryer.inverse import OutOfReach, drying_scale, rate_for_moisture
from outfeed.errors import Inconsistent, NotConverged
from outfeed.limits import TRANSIT
from outfeed.methods import DERIVED, Method
from outfeed.season_balance import balance_over
from outfeed.weather import Weather
from outfeed.weather_grid import WeatherGrid, grid_over

TEMPERATURES, HUMIDITIES = 3, 2
MOISTURE_SHARES = np.array([0.0, 0.06, 0.16, 0.42, 1.0])
"""Grid on which the column is solved, moistures as shares of the way from the driest grain to the
wettest: the ratio bends where little is dried off. Straight between its nodes it is within 1.2 %
of the column's own over 150 states of mixed and cross flow; chosen."""
LADDER = np.array([0.8, 1.0, 1.25])
"""Rates tried at each node, over the balance's times the ratio in the middle [-]; chosen: three
steps of a quarter find the rate to 0.4 %."""
FURTHEST = math.log(1.6)
"""How far from the middle of the ladder a rate is believed, of its logarithm [-]; chosen."""

FITTED_RATE = Method(
    id="season.rate-fitted-column",
    title="A described dryer's rate from its fitted column model, over the quick balance's",
    source="Heat and moisture balances of the column, see `dryer.column`, solved on a grid of "
    "weather, moisture and rate; rate at the target by interpolation",
    known=DERIVED,
    note="The ratio to the quick balance is taken as straight between the nodes. Fuel is what the "
    "burners give the fitted airflow; walls and losses are left out.",
)
METHODS = (FITTED_RATE,)


@dataclass(frozen=True, slots=True, eq=False)
class ColumnCapacity:
    """A fitted column's rate over the quick balance's.

    Attributes
    ----------
    grid : WeatherGrid
        Where it was computed.
    moistures_wb : ndarray
        Inlet moistures there, rising, wet basis [-].
    ratio : ndarray
        Rate of the column over that of the balance [-], shape (temperatures, humidities,
        moistures).
    fuel : float
        Fuel that the fitted airflow takes over that of the stated one [-].
    answered : float
        Share of the nodes at which the column settled and met the target [-]; at the others stands
        the median ratio of these.
    grain_temperatures : tuple of float
        Coldest and hottest grain that was met [degC].
    """

    grid: WeatherGrid
    moistures_wb: FloatArray
    ratio: FloatArray
    fuel: float
    answered: float
    grain_temperatures: tuple[float, float]

    def at(
        self, temperature: ArrayLike, humidity: ArrayLike, moistures_wb: ArrayLike
    ) -> FloatArray:
        """The ratio in given air with given grain; outside the grid that of its edge.

        Parameters
        ----------
        temperature, humidity : array_like
            States of the air [degC], [-], shape (hours,) or numbers.
        moistures_wb : array_like
            Inlet moistures, wet basis [-], shape (k,) or a number.

        Returns
        -------
        ndarray
            Shape (hours, k).
        """
        table = self.grid.between(self.ratio, *np.atleast_1d(temperature, humidity))
        wet = np.atleast_1d(moistures_wb)
        unit = np.eye(self.moistures_wb.size)
        return np.asarray(table @ np.array([np.interp(wet, self.moistures_wb, e) for e in unit]))


def column_capacity(
    dryer: Dryer,
    model: ColumnModel,
    weather: Weather,
    target_moisture_wb: float,
    driest_wb: float,
    wettest_wb: float,
) -> ColumnCapacity | None:
    """Solve the fitted column over a season's weather and moistures.

    Parameters
    ----------
    dryer : Dryer
        The description.
    model : ColumnModel
        Its fitted formulas; numbers.
    weather : Weather
        Hour by hour.
    target_moisture_wb : float
        Moisture at the discharge, wet basis [-].
    driest_wb, wettest_wb : float
        Inlet moistures to cover, wet basis [-], above the target.

    Returns
    -------
    ColumnCapacity or None
        None where the column gives no usable answer in the middle of the weather and moistures.

    Raises
    ------
    Inconsistent
        A column that does not reach the target there within a day.
    OutOfRange, NotPublished
        Inputs that balance or column cannot work with.
    """
    grid = grid_over(weather, TEMPERATURES, HUMIDITIES)
    moistures = driest_wb + (wettest_wb - driest_wb) * MOISTURE_SHARES
    nodes = warm, damp, wet = grid.nodes(moistures)
    quick = balance_over(dryer, weather, nodes, model.grain, target_moisture_wb).dry_matter_rate
    middle = _middle_ratio(dryer, model, weather.pressure, grid, moistures, target_moisture_wb)
    if middle is None:
        return None
    slow, fast = (dryer.hold_up_dry_matter / limit for limit in (TRANSIT.high, TRANSIT.low))
    rates = np.clip(np.outer(quick * middle, LADDER), slow, fast)
    air = Conditions(warm[:, None], damp[:, None], weather.pressure)
    feed = Feed(wet[:, None], warm[:, None], model.grain)
    profile = solve_column(dryer, air, feed, rates, model=model, flag=True)
    left = drying_scale(feed.moisture_db, profile.outlet_moisture_wb) - drying_scale(
        feed.moisture_db, target_moisture_wb
    )
    found, good = _meeting(np.log(rates), left, np.asarray(profile.converged))
    if not np.any(good):
        return None
    ratio = np.where(good, found / np.where(good, quick, 1.0), 0.0)
    filled = np.where(good, ratio, np.median(ratio[good]))
    settled = np.asarray(profile.converged)
    return ColumnCapacity(
        grid=grid,
        moistures_wb=moistures,
        ratio=grid.table(filled),
        fuel=float(np.asarray(model.airflow_factor)),
        answered=float(good.mean()),
        grain_temperatures=(
            float(profile.grain_temperature[settled].min()),
            float(profile.hottest_kernel[settled].max()),
        ),
    )


def _middle_ratio(
    dryer: Dryer,
    model: ColumnModel,
    pressure: float,
    grid: WeatherGrid,
    moistures: FloatArray,
    target_wb: float,
) -> float | None:
    """The ratio in the middle of weather and moistures, by a search of its own."""
    warm, damp, wet = (
        float(axis.mean()) for axis in (grid.temperatures, grid.humidities, moistures)
    )
    air, feed = Conditions(warm, damp, pressure), Feed(wet, warm, model.grain)
    quick = float(balance(dryer, air, feed, target_wb).dry_matter_rate[0])
    try:
        found = rate_for_moisture(dryer, air, feed, target_wb, model=model)
    except NotConverged:
        return None
    except OutOfReach as error:
        driest = error.allowed[0]
        if driest <= target_wb:
            return None
        raise Inconsistent(
            f"in the middle of this weather the fitted column takes a day to dry grain of "
            f"{wet * 100.0:.1f} % to {driest * 100.0:.1f} %, and {target_wb * 100.0:.1f} % is "
            "wanted: check the fit, or let plenums be hotter",
            "fitted",
        ) from error
    return found.dry_matter_rate / quick if math.isfinite(quick) else None


def _meeting(
    log_rates: FloatArray, left: FloatArray, settled: BoolArray
) -> tuple[FloatArray, BoolArray]:
    """Rate at which what is left on the drying scale vanishes, and where that is believed."""
    upper = left[:, 1] < 0.0
    x0, x1 = (np.where(upper, log_rates[:, k + 1], log_rates[:, k]) for k in (0, 1))
    y0, y1 = (np.where(upper, left[:, k + 1], left[:, k]) for k in (0, 1))
    both = np.where(upper, settled[:, 1] & settled[:, 2], settled[:, 0] & settled[:, 1])
    apart = x1 - x0 > 0.5 * math.log(LADDER[-1])  # rates held by a limit lie closer
    slope = np.where(both & apart, y1 - y0, 0.0) / np.where(apart, x1 - x0, 1.0)
    good = slope > FLATTEST
    found = x0 - np.where(good, y0, 0.0) / np.where(good, slope, 1.0)
    good &= np.abs(found - log_rates[:, 1]) < FURTHEST
    return np.exp(found), np.asarray(good)
