"""What is not known about a dryer, as scenarios of one column: each doubt at both of its ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer import assume
from outfeed.dryer.assume import Assumption
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.estimate import NORMAL_90
from outfeed.dryer.profile import ColumnProfile, ZoneResult
from outfeed.limits import GRAIN_TEMPERATURE, RELATIVE_HUMIDITY, SENSIBLE, Range

RATE_FACTOR = "rate_factor"
FITTED_RATE, FITTED_AIRFLOW = "fitted_rate_factor", "fitted_airflow_factor"
SPREAD = Range("relative standard deviation", 0.0, 2.0, "", SENSIBLE)
CORRELATION = Range("correlation", -1.0, 1.0, "", "by definition")
DISCREPANCY = Range("discrepancy of outlet moisture", 0.0, 0.1, "", SENSIBLE)
RUNS = Range("number of runs", 1, 50, "", SENSIBLE)


@dataclass(frozen=True, slots=True)
class FitDoubt:
    """How well a fit knows its dryer.

    Attributes
    ----------
    runs : int
        Settled runs behind it.
    rate_spread, airflow_spread : float
        Standard deviations of the logarithms of rate factor and airflow factor [-].
    correlation : float
        Between the two [-].
    discrepancy : float
        Standard deviation of outlet moisture that the model leaves even with the right factors,
        wet basis [-].
    """

    runs: int
    rate_spread: float
    airflow_spread: float = 0.0
    correlation: float = 0.0
    discrepancy: float = 0.0

    def __post_init__(self) -> None:
        RUNS.check(self.runs, "runs")
        SPREAD.check(self.rate_spread, "rate_spread")
        SPREAD.check(self.airflow_spread, "airflow_spread")
        CORRELATION.check(self.correlation, "correlation")
        DISCREPANCY.check(self.discrepancy, "discrepancy")


class Lanes:
    """The base, then each doubt at its low and its high end, then the rate off by its spread.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    model : ColumnModel
        Which formulas; numbers.
    assumptions : sequence of Assumption
        Which inputs were assumed.
    fit : FitDoubt or None
        How well the model's factors are known.
    """

    def __init__(
        self,
        dryer: Dryer,
        conditions: Conditions,
        feed: Feed,
        model: ColumnModel,
        assumptions: Sequence[Assumption],
        fit: FitDoubt | None,
    ) -> None:
        self.dryer, self.doubts = dryer, _doubts(assumptions, fit)
        doubts, with_rate = self.doubts, _with_rate(fit)
        self.inlet = float(feed.moisture_db)
        self.count = 1 + 2 * len(doubts)
        warm = self._values(assume.GRAIN_TEMPERATURE, _number(feed.temperature))
        damp = self._values(assume.AMBIENT_HUMIDITY, _number(conditions.ambient_relative_humidity))
        self.density = self._shares(assume.DENSITY)
        kinetic = self._shares(RATE_FACTOR) * self._shares(FITTED_RATE)
        kinetic = kinetic if fit is not None else kinetic * self.density
        blown = self._shares(assume.AIRFLOW) * self._shares(FITTED_AIRFLOW)
        blown = blown * self._shares(FITTED_RATE) ** with_rate
        self.feed = replace(
            feed, temperature=np.clip(warm, GRAIN_TEMPERATURE.low, GRAIN_TEMPERATURE.high)
        )
        self.conditions = replace(
            conditions,
            ambient_relative_humidity=np.clip(damp, RELATIVE_HUMIDITY.low, RELATIVE_HUMIDITY.high),
        )
        self.model = replace(
            model,
            rate_factor=float(model.rate) * kinetic,
            airflow_factor=float(model.airflow_factor) * blown,
        )

    def _values(self, name: str, given: float) -> FloatArray:
        result = np.full(self.count + 2, given)
        for index, item in enumerate(self.doubts):
            if item.name == name:
                result[1 + 2 * index], result[2 + 2 * index] = item.low, item.high
        return result

    def _shares(self, name: str) -> FloatArray:
        result = np.ones(self.count + 2)
        for index, item in enumerate(self.doubts):
            if item.name == name:
                ends = (item.low / item.value, item.high / item.value)
                result[1 + 2 * index], result[2 + 2 * index] = ends
        return result

    def solve(self, rates: FloatArray) -> ColumnProfile:
        """Every scenario at its rate; those that do not settle are marked.

        Parameters
        ----------
        rates : ndarray
            Dry matter through the dryer [kg/s], one a scenario.

        Returns
        -------
        ColumnProfile
            All of them.
        """
        return solve_column(
            self.dryer, self.conditions, self.feed, rates, model=self.model, flag=True
        )


def lane_of(profile: ColumnProfile, index: int) -> ColumnProfile:
    """One of many scenarios.

    Parameters
    ----------
    profile : ColumnProfile
        All of them.
    index : int
        Which one.

    Returns
    -------
    ColumnProfile
        Its own, with plain numbers.
    """

    def one(value: Any) -> Any:
        return value[index] if isinstance(value, np.ndarray) else value

    picked = {name: one(getattr(profile, name)) for name in ColumnProfile.__slots__}
    zones = tuple(
        ZoneResult(**{name: one(getattr(zone, name)) for name in ZoneResult.__slots__})
        for zone in profile.zones
    )
    sensors = tuple(value[index] for value in profile.sensor_temperature)
    shared = {"depth": profile.depth, "segment_zone": profile.segment_zone}
    return ColumnProfile(**picked | shared | {"zones": zones, "sensor_temperature": sensors})


def outlet_wb(profile: ColumnProfile) -> FloatArray:
    """Outlet moisture of every scenario.

    Parameters
    ----------
    profile : ColumnProfile
        The scenarios as solved.

    Returns
    -------
    ndarray
        Wet basis [-]; any number where a scenario did not settle.
    """
    return np.asarray(np.where(profile.converged, profile.outlet_moisture_wb, 0.1))


def _doubts(assumptions: Sequence[Assumption], fit: FitDoubt | None) -> tuple[Assumption, ...]:
    if fit is None:
        return tuple(assumptions)
    # Airflow factor and rate factor were fitted to the airflow and the bed that were assumed.
    known = (RATE_FACTOR, assume.AIRFLOW)
    fitted = []
    alone = fit.airflow_spread * math.sqrt(1.0 - fit.correlation**2)
    for name, spread in ((FITTED_RATE, fit.rate_spread), (FITTED_AIRFLOW, alone)):
        around = math.exp(NORMAL_90 * spread)
        fitted.append(Assumption(name, 1.0, 1.0 / around, around, "", "", "fit"))
    return (*(item for item in assumptions if item.name not in known), *fitted)


def _with_rate(fit: FitDoubt | None) -> float:
    """By which power the airflow factor goes with the rate factor, where both were fitted."""
    if fit is None or fit.rate_spread == 0.0:
        return 0.0
    return fit.correlation * fit.airflow_spread / fit.rate_spread


def _number(value: Any) -> float:
    return float(np.asarray(value, dtype=np.float64).reshape(-1)[0])
