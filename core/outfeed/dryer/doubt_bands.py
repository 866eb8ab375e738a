"""Bands of a column's figures, closed from the scenarios in which its doubts are at their ends."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.assume import Assumption
from outfeed.dryer.doubt_lanes import FitDoubt, Lanes, outlet_wb
from outfeed.dryer.estimate import NORMAL_90, Estimate
from outfeed.dryer.profile import ColumnProfile
from outfeed.moisture import dry_basis


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


@dataclass(frozen=True, slots=True)
class Way:
    """How a band is closed.

    Attributes
    ----------
    met : bool
        Whether the target is met and the rate carries the spread.
    off : float
        Factor on the rate of the two last scenarios [-].
    share : float
        How much of what that factor moves counts [-]: all of it without a fit, as a floor; with a
        fit as much as its discrepancy is worth, beside the rest.
    fitted : bool
        Whether there is a fit.
    """

    met: bool
    off: float
    share: float
    fitted: bool

    @classmethod
    def of(cls, ends: ColumnProfile, off: float, fit: FitDoubt | None, *, met: bool) -> Way:
        """From the solved scenarios.

        Parameters
        ----------
        ends : ColumnProfile
            The scenarios.
        off : float
            Factor on the rate of the two last ones [-].
        fit : FitDoubt or None
            How well the model's factors are known.
        met : bool
            Whether the target is met.

        Returns
        -------
        Way
            Of closing the bands.
        """
        if fit is None:
            return cls(met, off, 1.0, fitted=False)
        slow, fast = ends.outlet_moisture_wb[-2:]
        half = 0.5 * abs(float(fast - slow)) if np.all(ends.converged[-2:]) else math.inf
        return cls(met, off, min(NORMAL_90 * fit.discrepancy / max(half, 1e-6), 1.0), fitted=True)

    def joined(self, found: float, own: float) -> float:
        """What the doubts move and what the rate's own spread moves, together.

        Parameters
        ----------
        found, own : float
            Half widths, in one unit.

        Returns
        -------
        float
            Half width of the band.
        """
        if self.fitted:
            return math.hypot(found, self.share * own)
        return max(found, own)


def banded(
    lanes: Lanes,
    profile: ColumnProfile,
    ends: ColumnProfile,
    rates: FloatArray,
    way: Way,
) -> Banded:
    """A column's figures with their bands.

    Parameters
    ----------
    lanes : Lanes
        The scenarios.
    profile : ColumnProfile
        The column at the values given.
    ends : ColumnProfile
        The scenarios as solved.
    rates : ndarray
        Dry matter through the dryer in each [kg/s].
    way : Way
        Of closing the bands.

    Returns
    -------
    Banded
        For an answer.
    """
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


def _transit(lanes: Lanes, rates: FloatArray, usable: Any, way: Way) -> Estimate:
    hold_up = lanes.dryer.hold_up_dry_matter
    times = np.concatenate([hold_up * lanes.density[:-2] / rates[:-2], hold_up / rates[-2:]])
    return _estimate(float(times[0]), times, usable, floor=way if way.met else None)


def _water(lanes: Lanes, moisture: Estimate, rate: float) -> Estimate:
    """Water at a given rate, from the band of the outlet moisture."""
    value, low, high = (
        rate * (lanes.inlet - wet / (1.0 - wet))
        for wet in (moisture.value, moisture.high, moisture.low)
    )
    return Estimate(value, low, high)


def _energy(profile: ColumnProfile, ends: ColumnProfile, usable: Any, way: Way) -> Estimate:
    """Heat per water; the rate's own spread moves the water and leaves the heat."""
    if not np.isfinite(profile.heat_per_water):  # nothing dries, so nothing is divided
        return Estimate(math.inf, math.inf, math.inf)
    values = np.array(ends.heat_per_water)
    if way.met:
        values[-2:] = values[0] * np.array([1.0 / way.off, way.off])
    else:
        outlet = np.asarray(dry_basis(outlet_wb(ends)))
        drop = outlet[-2:] - outlet[0]
        rate = float(ends.water[0]) / max(_drop(ends), 1e-9)
        values[-2:] = ends.heat[0] / np.maximum(ends.water[0] - rate * drop, 1e-9)
    return _estimate(float(profile.heat_per_water), values, usable, floor=way)


def _drop(profile: ColumnProfile) -> float:
    return float(profile.moisture_db[0, 0] - profile.moisture_db[0, -1])


def _rate(rates: FloatArray, way: Way) -> Estimate:
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


def _estimate(best: float, values: FloatArray, usable: Any, *, floor: Way | None) -> Estimate:
    moved = np.where(usable & np.isfinite(values), values, values[0]) - values[0]
    ends, own = moved[1:-2].reshape(-1, 2), moved[-2:]
    down = up = 0.0
    if ends.size:
        down = float(np.sqrt(np.sum(np.minimum(ends.min(axis=1), 0.0) ** 2)))
        up = float(np.sqrt(np.sum(np.maximum(ends.max(axis=1), 0.0) ** 2)))
    if floor is not None:
        down, up = floor.joined(down, -float(own.min())), floor.joined(up, float(own.max()))
    return Estimate(best, best - down, best + up)
