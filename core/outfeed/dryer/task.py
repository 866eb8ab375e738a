"""From a description to numbers that a solver can march with.

A `Task` is one dryer under one or many scenarios: everything is a float when there is a single
scenario and an array over scenarios when there are more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.dryer.closures import (
    DRY_AIR_HEAT,
    GAS_RATIO,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT,
    WATER_HEAT,
    ColumnModel,
)
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone
from outfeed.dryer.vapour import saturation_of
from outfeed.errors import Inconsistent
from outfeed.fuel import load_fuel
from outfeed.limits import PLENUM, SENSIBLE, Range
from outfeed.numbers import ARRAYS

FUEL_TEMPERATURE = 25.0
"""Temperature at which fuel enters and its heat is measured [degC]: heating-value convention."""
DRY_MATTER_RATE = Range("dry matter through the dryer", 1e-4, 1_000.0, "kg/s", SENSIBLE)
INLET_MOISTURE = Range("inlet moisture, wet basis", 0.05, 0.50, "", SENSIBLE)
COLDER_PLENUM = 0.05
"""How far a plenum may lie below the ambient before it contradicts it [K]: rounding."""


@dataclass(frozen=True, slots=True)
class Task:
    """A dryer, its air and its grain in numbers.

    Attributes
    ----------
    dryer : Dryer
        The description.
    model : ColumnModel
        Which formulas.
    shape : tuple of int
        Shape of the scenarios; empty when there is one.
    dry_matter_rate : float or ndarray
        Dry matter through the dryer [kg/s], flat over scenarios like all below.
    theta, M : float or ndarray
        Grain at the inlet: temperature [degC], moisture d.b.
    pressure : float or ndarray
        Barometric pressure [Pa].
    ambient, humidity : float or ndarray
        Ambient air [degC, kg/kg].
    T, W : tuple
        Air in the plenum of each zone [degC, kg/kg].
    airflow : tuple
        Dry air through each zone [kg/s], with the model's airflow factor.
    rate : float or ndarray
        Dry matter per bed volume times the rate factor [kg/m3].
    """

    dryer: Dryer
    model: ColumnModel
    shape: tuple[int, ...]
    dry_matter_rate: Any
    theta: Any
    M: Any
    pressure: Any
    ambient: Any
    humidity: Any
    T: tuple[Any, ...]
    W: tuple[Any, ...]
    airflow: tuple[Any, ...]
    rate: Any

    @property
    def single(self) -> bool:
        """Whether there is one scenario, in floats."""
        return self.shape == ()

    def as_arrays(self) -> Task:
        """The same task with arrays, for the solvers that know only these."""
        if not self.single:
            return self
        return replace(
            self,
            shape=(1,),
            dry_matter_rate=_lifted(self.dry_matter_rate),
            theta=_lifted(self.theta),
            M=_lifted(self.M),
            pressure=_lifted(self.pressure),
            ambient=_lifted(self.ambient),
            humidity=_lifted(self.humidity),
            T=tuple(_lifted(value) for value in self.T),
            W=tuple(_lifted(value) for value in self.W),
            airflow=tuple(_lifted(value) for value in self.airflow),
            rate=_lifted(self.rate),
        )


def task(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: ArrayLike,
    model: ColumnModel,
    plenum_temperatures: Sequence[ArrayLike | None] | None = None,
) -> Task:
    """Numbers for a solver.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; fields may be arrays.
    feed : Feed
        Grain at the inlet; fields may be arrays.
    dry_matter_rate : array_like
        Dry matter through the dryer [kg/s].
    model : ColumnModel
        Which formulas.
    plenum_temperatures : sequence, optional
        Plenum temperatures zone by zone [degC] in place of the description's, each a number or an
        array over scenarios; None entries keep the description's.

    Returns
    -------
    Task
        Floats when everything is a number, else arrays of one length.

    Raises
    ------
    OutOfRange
        A value outside the sensible domain.
    Inconsistent
        A heated plenum colder than the ambient air, or a direct-fired burner without fuel.
    """
    plenums = _plenums(dryer, plenum_temperatures)
    flat, shape = _flat(
        DRY_MATTER_RATE.check(dry_matter_rate, "dry_matter_rate"),
        np.asarray(feed.temperature, dtype=np.float64),
        INLET_MOISTURE.check(feed.moisture_wb, "moisture_wb"),
        np.asarray(conditions.pressure, dtype=np.float64),
        np.asarray(conditions.ambient_temperature, dtype=np.float64),
        np.asarray(conditions.ambient_relative_humidity, dtype=np.float64),
        np.asarray(model.rate, dtype=np.float64),
        np.asarray(model.airflow_factor, dtype=np.float64),
        *(plenum for plenum in plenums if plenum is not None),
    )
    rate, theta, wet, pressure, ambient, humidity, kinetic, blown, *heated = flat
    W = humidity_ratio(ambient, humidity, pressure)
    given = iter(heated)
    T = tuple(ambient if plenum is None else next(given) for plenum in plenums)
    air = [
        W + combustion_water(zone, ambient, W, hot)
        for zone, hot in zip(dryer.zones, T, strict=True)
    ]
    _check_warm(T, ambient)
    number = _plain if shape == () else _kept
    return Task(
        dryer,
        model,
        shape,
        number(rate),
        number(theta),
        number(wet / (1.0 - wet)),
        number(pressure),
        number(ambient),
        number(W),
        tuple(number(hot) for hot in T),
        tuple(number(humid) for humid in air),
        tuple(number(airflow * blown) for airflow in dryer.airflows),
        number(dryer.dry_matter_density * kinetic),
    )


def humidity_ratio(temperature: Any, relative_humidity: Any, pressure: Any) -> Any:
    """Humidity ratio of air whose relative humidity is over liquid water.

    Parameters
    ----------
    temperature : ndarray
        Dry bulb [degC].
    relative_humidity : ndarray
        Over liquid water, as weather services report it also below freezing [-].
    pressure : ndarray
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Water per dry air [kg/kg].
    """
    vapour = relative_humidity * saturation_of(ARRAYS)(temperature)
    return GAS_RATIO * vapour / (pressure - vapour)


def combustion_water(zone: Zone, ambient: FloatArray, W: FloatArray, hot: FloatArray) -> FloatArray:
    """Water that a direct-fired burner adds to the air of its zone.

    Parameters
    ----------
    zone : Zone
        The zone.
    ambient : ndarray
        Air before the burner [degC].
    W : ndarray
        Its humidity ratio [kg/kg].
    hot : ndarray
        Plenum temperature [degC].

    Returns
    -------
    ndarray
        Water per dry air [kg/kg]; zero for an indirect burner or a cooling zone.

    Raises
    ------
    Inconsistent
        A direct-fired burner without fuel.

    References
    ----------
    .. [1] The heat balance of `outfeed.moist_air.burn`, without its wet bulbs; combustion water per
       heat from `outfeed.fuel`.
    """
    if not zone.heated or zone.burner != "direct-fired":
        return np.zeros_like(W)
    if zone.fuel is None:
        raise Inconsistent(
            f"zone {zone.name!r} is direct-fired: its combustion water needs the fuel", "fuel"
        )
    per_heat = load_fuel(zone.fuel).combustion_water
    needed = (DRY_AIR_HEAT + VAPOUR_HEAT * W) * (hot - ambient)
    lifted = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT * hot - WATER_HEAT * FUEL_TEMPERATURE
    return np.asarray(per_heat * needed / (1.0 - per_heat * lifted))


def _plenums(dryer: Dryer, given: Sequence[ArrayLike | None] | None) -> list[FloatArray | None]:
    described = dryer.plenum_temperatures
    chosen = list(described) if given is None else list(given)
    if len(chosen) != len(described):
        raise Inconsistent(
            f"{len(chosen)} plenum temperatures for {len(described)} zones", "plenum_temperatures"
        )
    plenums: list[FloatArray | None] = []
    for zone, value, stated in zip(dryer.zones, chosen, described, strict=True):
        value = stated if value is None else value
        if value is not None and not zone.heated:
            raise Inconsistent(
                f"cooling zone {zone.name!r} has no plenum temperature", "plenum_temperatures"
            )
        plenums.append(None if value is None else PLENUM.check(value, "plenum_temperatures"))
    return plenums


def _flat(*values: FloatArray) -> tuple[list[FloatArray], tuple[int, ...]]:
    shape = np.broadcast_shapes(*(value.shape for value in values))
    return [
        np.array(np.broadcast_to(value, shape), dtype=np.float64).reshape(-1) for value in values
    ], shape


def _check_warm(T: tuple[FloatArray, ...], ambient: FloatArray) -> None:
    for hot in T:
        if np.any(hot < ambient - COLDER_PLENUM):
            raise Inconsistent(
                "a heated plenum at {} is colder than the ambient air at {}",
                "plenum_temperatures",
                "ambient_temperature",
                values=((float(np.min(hot)), "degC"), (float(np.max(ambient)), "degC")),
            )


def _lifted(value: float) -> FloatArray:
    return np.array([value], dtype=np.float64)


def _plain(value: FloatArray) -> float:
    return float(value[0])


def _kept(value: FloatArray) -> FloatArray:
    return value
