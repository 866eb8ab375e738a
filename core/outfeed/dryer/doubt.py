"""The column model with its band: what is not known about a dryer, carried through the column.

The column is solved at the values given and again at both ends of everything that was assumed or
fitted; what each end moves is combined as the root of the sum of squares into a 90 % band. The
band of the rate never falls below what one balance of a dryer is good for, 12 % (standard
deviation), unless the dryer was fitted to its own runs: then the uncertainty of the fit stands,
with what the model leaves unexplained.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer import assume
from outfeed.dryer.assume import Assumption
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.estimate import NORMAL_90, Estimate
from outfeed.dryer.inverse import drying_scale, rate_for_moisture
from outfeed.dryer.layers import TOLERANCE
from outfeed.dryer.opening import BALANCE_SPREAD
from outfeed.dryer.profile import ColumnProfile, ZoneResult
from outfeed.errors import NotConverged
from outfeed.limits import GRAIN_TEMPERATURE, RELATIVE_HUMIDITY, SENSIBLE, Range
from outfeed.methods import COMMON_PRACTICE
from outfeed.moisture import dry_basis
from outfeed.thin_layer import DIFFUSION

RATE_FACTOR = "rate_factor"
FITTED_RATE, FITTED_AIRFLOW = "fitted_rate_factor", "fitted_airflow_factor"
DISAGREEMENT = 3.0
"""How far published thin-layer laws of corn lie apart near 40 degC, where grain sits in a
mixed-flow dryer [-]: Henderson & Pabis 1961 over Thompson et al. 1968, computed from both."""
FIRST_POWER = 0.8
"""First guess of how the drying scale falls with the rate [-]."""
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


@dataclass(frozen=True, slots=True, eq=False)
class Banded:
    """A settled column with 90 % bands.

    Attributes
    ----------
    profile : ColumnProfile
        At the values given.
    dry_matter_rate : Estimate
        Dry matter through the dryer [kg/s]; no band where it was given.
    transit_time : Estimate
        Hold-up over rate [s].
    outlet_moisture : Estimate
        Moisture at the discharge, wet basis [-]; no band where it was given.
    outlet_temperature, hottest_kernel : Estimate
        Grain at the discharge and the hottest anywhere [degC].
    column_temperature : Estimate or None
        Mean of the sensors [degC]; None without sensors.
    water : Estimate
        Water removed [kg/s].
    heat_per_water : Estimate
        Heat given to the air over water removed [J/kg]; infinite where none is removed.
    exhaust_temperature, exhaust_relative_humidity : tuple of Estimate
        Mixed exhaust, zone by zone [degC], [-].
    doubted : tuple of Assumption
        What the band rests on.
    """

    profile: ColumnProfile
    dry_matter_rate: Estimate
    transit_time: Estimate
    outlet_moisture: Estimate
    outlet_temperature: Estimate
    hottest_kernel: Estimate
    column_temperature: Estimate | None
    water: Estimate
    heat_per_water: Estimate
    exhaust_temperature: tuple[Estimate, ...]
    exhaust_relative_humidity: tuple[Estimate, ...]
    doubted: tuple[Assumption, ...]


def assumed_rate_factor(model: ColumnModel) -> Assumption:
    """The multiplier on the kinetics of a dryer that has not been fitted.

    Parameters
    ----------
    model : ColumnModel
        Which formulas.

    Returns
    -------
    Assumption
        Value and range [-].
    """
    value, around = float(model.rate), math.sqrt(DISAGREEMENT)
    if model.law == DIFFUSION:
        why = (
            "How fast grain dries in this dryer was not fitted. The rate factor is 1.5 on the "
            "diffusion kinetics, chosen so that the common-practice band (column at 95 to 105 degF "
            "for 15 to 16 % out) is met; a fit to your own runs replaces it."
        )
    else:
        why = (
            "How fast grain dries in this dryer was not fitted; the published kinetics are taken "
            "as they are."
        )
    source = f"{COMMON_PRACTICE}; range: published thin-layer laws disagree threefold near 40 degC"
    return Assumption(RATE_FACTOR, value, value / around, value * around, "", why, source)


def settled(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: float,
    model: ColumnModel,
    *,
    assumptions: Sequence[Assumption] = (),
    fit: FitDoubt | None = None,
) -> Banded:
    """What a dryer settles at, with its band.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    dry_matter_rate : float
        Dry matter through the dryer [kg/s].
    model : ColumnModel
        Which formulas; numbers.
    assumptions : sequence of Assumption
        Which inputs were assumed.
    fit : FitDoubt, optional
        How well the model's factors are known; None when they were not fitted.

    Returns
    -------
    Banded
        The column and its bands.

    Raises
    ------
    NotConverged
        The column did not settle.
    """
    lanes = _Lanes(dryer, conditions, feed, model, assumptions, fit)
    off = 1.0 + NORMAL_90 * BALANCE_SPREAD
    rates = np.concatenate([np.full(lanes.count, dry_matter_rate), dry_matter_rate / off**_ENDS])
    ends = lanes.solve(rates)
    if not ends.converged[0]:
        error = float(ends.error[0])
        raise NotConverged("the column", (-error, error), TOLERANCE)
    return _banded(lanes, _lane(ends, 0), ends, rates, _Way.of(ends, off, fit, met=False))


def meeting(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    model: ColumnModel,
    *,
    assumptions: Sequence[Assumption] = (),
    fit: FitDoubt | None = None,
) -> Banded:
    """The rate that meets a target, with its band.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    model : ColumnModel
        Which formulas; numbers.
    assumptions : sequence of Assumption
        Which inputs were assumed.
    fit : FitDoubt, optional
        How well the model's factors are known; None when they were not fitted.

    Returns
    -------
    Banded
        Rate and column; temperatures at the ends of the band are those at which the target is
        still met.

    Raises
    ------
    OutOfReach
        No rate meets it.
    NotConverged
        The column or the search did not settle.
    """
    setting = rate_for_moisture(dryer, conditions, feed, target_moisture_wb, model=model)
    lanes = _Lanes(dryer, conditions, feed, model, assumptions, fit)
    off = 1.0 + NORMAL_90 * BALANCE_SPREAD
    best = setting.dry_matter_rate
    rates = np.concatenate([np.full(lanes.count, best), best / off**_ENDS])
    first = lanes.solve(rates)
    power, goal = _power(lanes, first, off), drying_scale(lanes.inlet, target_moisture_wb)
    moved = rates * np.exp((goal - _scale(lanes, first)) / power)
    moved[-2:] = rates[-2:]
    second = lanes.solve(moved)
    left = np.exp((goal - _scale(lanes, second)) / power)
    final = np.where(second.converged, moved * left, best)
    final[0], final[-2:] = best, rates[-2:]
    return _banded(lanes, setting.profile, second, final, _Way.of(second, off, fit, met=True))


_ENDS = np.array([1.0, -1.0])  # the rate at the low and at the high end of its own spread


@dataclass(frozen=True, slots=True)
class _Way:
    """How a band is closed.

    `off` is the factor on the rate of the two last lanes; `share` says how much of what it moves
    counts: all of it without a fit, as a floor; with a fit as much as its discrepancy is worth,
    beside the rest.
    """

    met: bool
    off: float
    share: float
    fitted: bool

    @classmethod
    def of(cls, ends: ColumnProfile, off: float, fit: FitDoubt | None, *, met: bool) -> _Way:
        if fit is None:
            return cls(met, off, 1.0, fitted=False)
        slow, fast = ends.outlet_moisture_wb[-2:]
        half = 0.5 * abs(float(fast - slow)) if np.all(ends.converged[-2:]) else math.inf
        return cls(met, off, min(NORMAL_90 * fit.discrepancy / max(half, 1e-6), 1.0), fitted=True)

    def joined(self, found: float, own: float) -> float:
        """What the doubts move and what the rate's own spread moves, together."""
        if self.fitted:
            return math.hypot(found, self.share * own)
        return max(found, own)


class _Lanes:
    """The base, then each doubt at its low and its high end, then the rate off by its spread."""

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
        """Every lane at its rate; lanes that do not settle are marked."""
        return solve_column(
            self.dryer, self.conditions, self.feed, rates, model=self.model, flag=True
        )


def _lane(profile: ColumnProfile, index: int) -> ColumnProfile:
    """One of many scenarios."""

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


def _outlet_wb(profile: ColumnProfile) -> FloatArray:
    return np.asarray(np.where(profile.converged, profile.outlet_moisture_wb, 0.1))


def _scale(lanes: _Lanes, profile: ColumnProfile) -> FloatArray:
    return np.asarray(drying_scale(lanes.inlet, _outlet_wb(profile)))


def _power(lanes: _Lanes, profile: ColumnProfile, off: float) -> float:
    """How the drying done falls with the rate, from the two lanes at other rates."""
    slow, fast = _scale(lanes, profile)[-2:]
    if not np.all(profile.converged[-2:]):
        return FIRST_POWER
    return float(max((fast - slow) / (2.0 * math.log(off)), 0.1))


def _banded(
    lanes: _Lanes,
    profile: ColumnProfile,
    ends: ColumnProfile,
    rates: FloatArray,
    way: _Way,
) -> Banded:
    # Where the target is met the rate carries the spread; the column then stays as it is.
    met, floor = way.met, None if way.met else way
    usable = np.asarray(ends.converged)

    def around(pick: Callable[[ColumnProfile], Any]) -> Estimate:
        return _estimate(float(pick(profile)), np.asarray(pick(ends)), usable, floor=floor)

    def of_zone(name: str, index: int) -> Estimate:
        return around(lambda found: getattr(found.zones[index], name))

    rate = _rate(rates, way) if met else Estimate(*[float(rates[0])] * 3)
    moisture = around(lambda found: found.outlet_moisture_wb)
    zones = range(len(profile.zones))
    return Banded(
        profile=profile,
        dry_matter_rate=rate,
        transit_time=_transit(lanes, rates, usable, way),
        outlet_moisture=_sure(profile.outlet_moisture_wb) if met else moisture,
        outlet_temperature=around(lambda found: found.outlet_temperature),
        hottest_kernel=around(lambda found: found.hottest_kernel),
        column_temperature=None
        if profile.column_temperature is None
        else around(lambda found: found.column_temperature),
        water=_scaled(rate, float(profile.water)) if met else _water(lanes, moisture, rate.value),
        heat_per_water=_energy(profile, ends, usable, way),
        exhaust_temperature=tuple(of_zone("exhaust_temperature", index) for index in zones),
        exhaust_relative_humidity=tuple(
            _share(of_zone("exhaust_relative_humidity", index)) for index in zones
        ),
        doubted=lanes.doubts,
    )


def _share(found: Estimate) -> Estimate:
    """A relative humidity, whose band ends where air is dry or saturated."""
    return Estimate(found.value, max(found.low, 0.0), min(found.high, 1.0))


def _sure(value: Any) -> Estimate:
    return Estimate(float(value), float(value), float(value))


def _transit(lanes: _Lanes, rates: FloatArray, usable: Any, way: _Way) -> Estimate:
    hold_up = lanes.dryer.hold_up_dry_matter
    times = np.concatenate([hold_up * lanes.density[:-2] / rates[:-2], hold_up / rates[-2:]])
    return _estimate(float(times[0]), times, usable, floor=way if way.met else None)


def _water(lanes: _Lanes, moisture: Estimate, rate: float) -> Estimate:
    """Water at a given rate, from the band of the outlet moisture."""
    value, low, high = (
        rate * (lanes.inlet - wet / (1.0 - wet))
        for wet in (moisture.value, moisture.high, moisture.low)
    )
    return Estimate(value, low, high)


def _energy(profile: ColumnProfile, ends: ColumnProfile, usable: Any, way: _Way) -> Estimate:
    """Heat per water; the rate's own spread moves the water and leaves the heat."""
    if not np.isfinite(profile.heat_per_water):  # nothing dries, so nothing is divided
        return Estimate(math.inf, math.inf, math.inf)
    values = np.array(ends.heat_per_water)
    if way.met:
        values[-2:] = values[0] * np.array([1.0 / way.off, way.off])
    else:
        outlet = np.asarray(dry_basis(_outlet_wb(ends)))
        drop = outlet[-2:] - outlet[0]
        rate = float(ends.water[0]) / max(_drop(ends), 1e-9)
        values[-2:] = ends.heat[0] / np.maximum(ends.water[0] - rate * drop, 1e-9)
    return _estimate(float(profile.heat_per_water), values, usable, floor=way)


def _drop(profile: ColumnProfile) -> float:
    return float(profile.moisture_db[0, 0] - profile.moisture_db[0, -1])


def _rate(rates: FloatArray, way: _Way) -> Estimate:
    """Root of the sum of squares of the logarithms, with the spread of a balance or a fit."""
    best = float(rates[0])
    ends = np.log(rates[1:-2].reshape(-1, 2) / best)
    down = float(np.sqrt(np.sum(np.minimum(ends.min(axis=1), 0.0) ** 2))) if ends.size else 0.0
    up = float(np.sqrt(np.sum(np.maximum(ends.max(axis=1), 0.0) ** 2))) if ends.size else 0.0
    own = math.log(way.off)
    return Estimate(
        best, best / math.exp(way.joined(down, own)), best * math.exp(way.joined(up, own))
    )


def _scaled(rate: Estimate, value: float) -> Estimate:
    return rate.scaled(value / rate.value)


def _estimate(best: float, values: FloatArray, usable: Any, *, floor: _Way | None) -> Estimate:
    moved = np.where(usable & np.isfinite(values), values, values[0]) - values[0]
    ends, own = moved[1:-2].reshape(-1, 2), moved[-2:]
    down = up = 0.0
    if ends.size:
        down = float(np.sqrt(np.sum(np.minimum(ends.min(axis=1), 0.0) ** 2)))
        up = float(np.sqrt(np.sum(np.maximum(ends.max(axis=1), 0.0) ** 2)))
    if floor is not None:
        down, up = floor.joined(down, -float(own.min())), floor.joined(up, float(own.max()))
    return Estimate(best, best - down, best + up)
