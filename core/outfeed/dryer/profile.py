"""The answer of the column model: what happens down the column, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.cells import air_enthalpy
from outfeed.dryer.closures import (
    DRY_AIR_HEAT,
    GAS_RATIO,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT,
    WATER_HEAT,
    closures,
)
from outfeed.dryer.layers import TOLERANCE
from outfeed.dryer.task import Task
from outfeed.dryer.trace import Trace
from outfeed.dryer.vapour import saturation_of
from outfeed.numbers import ARRAYS

RESIDUAL_TOLERANCE = 1e-6
"""Largest part of the water or heat exchanged that may be missing from a balance [-]."""
MIST_WARMING = 60.0
"""Most that condensing vapour warms a mixed exhaust [K]: the heat of all the vapour of air that
is saturated at 40 degC, and more than any exhaust shows."""
MIST_HALVINGS = 30
SORPTION_MARGIN = 40.0
"""The same above the hottest air where vapour is taken up by the grain [K]."""


@dataclass(frozen=True, slots=True, eq=False)
class ZoneResult:
    """One zone; numbers, or arrays over scenarios.

    Attributes
    ----------
    name : str
        Name of the zone.
    grain_temperature : ndarray
        Grain that leaves it [degC].
    moisture_wb : ndarray
        Its moisture, wet basis [-].
    hottest_kernel : ndarray
        Hottest grain inside it [degC].
    exhaust_temperature : ndarray
        Mixed exhaust [degC]; where it carries mist, after that has condensed.
    exhaust_humidity_ratio : ndarray
        Its humidity ratio, mist included [kg/kg].
    exhaust_relative_humidity : ndarray
        Its relative humidity over liquid water, at most one [-].
    water : ndarray
        Water removed in it [kg/s], below zero where the grain gains.
    heat : ndarray
        Heat that its burner must give the ambient air [W].
    airflow : ndarray
        Dry air through it [kg/s].
    """

    name: str
    grain_temperature: FloatArray
    moisture_wb: FloatArray
    hottest_kernel: FloatArray
    exhaust_temperature: FloatArray
    exhaust_humidity_ratio: FloatArray
    exhaust_relative_humidity: FloatArray
    water: FloatArray
    heat: FloatArray
    airflow: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ColumnProfile:
    """Steady state of a column; arrays over scenarios, with depth last.

    Attributes
    ----------
    depth : ndarray
        Faces of the segments below the top of the bed [m].
    moisture_db : ndarray
        Grain moisture at the faces, dry basis [-].
    grain_temperature : ndarray
        Grain temperature at the faces [degC].
    hottest : ndarray
        Hottest grain inside each segment [degC]; one less than faces, like all below.
    air_in_temperature, air_out_temperature : ndarray
        Air before and after each segment [degC].
    air_in_humidity, air_out_humidity : ndarray
        Its humidity ratio [kg/kg].
    segment_zone : ndarray of int
        Index of the zone of each segment.
    zones : tuple of ZoneResult
        Zone by zone from the top.
    outlet_moisture_wb : ndarray
        At the discharge, wet basis [-].
    outlet_temperature : ndarray
        Grain at the discharge [degC].
    hottest_kernel : ndarray
        Hottest grain anywhere [degC].
    sensor_temperature : tuple of ndarray
        Grain at the description's sensors, from the top [degC]; in a cross-flow dryer the mean of
        the kernels across the column as they lie there, not of the same mixed.
    column_temperature : ndarray or None
        Mean of the sensors [degC]; None without sensors.
    transit_time : ndarray
        From the top to the discharge [s].
    water : ndarray
        Water removed [kg/s].
    heat : ndarray
        Heat of all burners [W].
    heat_per_water : ndarray
        Heat over water [J/kg]; infinite when no water is removed.
    water_residual, heat_residual : ndarray
        What is missing from the balances of water and enthalpy, over what is exchanged [-].
    converged : ndarray of bool
        Whether every bed settled, the balances close and the state is physical.
    error : ndarray
        Estimated error of the worst bed's grain temperature [K].
    """

    depth: FloatArray
    moisture_db: FloatArray
    grain_temperature: FloatArray
    hottest: FloatArray
    air_in_temperature: FloatArray
    air_out_temperature: FloatArray
    air_in_humidity: FloatArray
    air_out_humidity: FloatArray
    segment_zone: Any
    zones: tuple[ZoneResult, ...]
    outlet_moisture_wb: FloatArray
    outlet_temperature: FloatArray
    hottest_kernel: FloatArray
    sensor_temperature: tuple[FloatArray, ...]
    column_temperature: FloatArray | None
    transit_time: FloatArray
    water: FloatArray
    heat: FloatArray
    heat_per_water: FloatArray
    water_residual: FloatArray
    heat_residual: FloatArray
    converged: BoolArray
    error: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Stacked:
    theta: FloatArray
    sensed: FloatArray
    M: FloatArray
    hottest: FloatArray
    T_in: FloatArray
    W_in: FloatArray
    T_out: FloatArray
    W_out: FloatArray
    air: FloatArray


def profile_of(work: Task, trace: Trace) -> ColumnProfile:
    """Word a solver's trace as a profile.

    Parameters
    ----------
    work : Task
        What was solved.
    trace : Trace
        The solver's result.

    Returns
    -------
    ColumnProfile
        Arrays of the scenarios' shape, with depth last where there is one.
    """
    columns = _stacked(trace)
    depth = np.concatenate([[0.0], np.cumsum(trace.length)])
    zone = np.array(trace.zone)
    residuals = _residuals(work, columns)
    error = np.atleast_1d(np.asarray(trace.error, dtype=np.float64))
    converged = _trusted(columns, residuals, error)
    water = _flat_rate(work) * (columns.M[0] - columns.M[-1])
    zones = tuple(_zone(work, trace, columns, index) for index in range(len(work.dryer.zones)))
    heat = np.sum([result.heat for result in zones], axis=0)
    sensors = _sensors(work, columns, depth)
    shaped = _Shaper(work.shape)
    return ColumnProfile(
        depth=depth,
        moisture_db=shaped.rows(columns.M),
        grain_temperature=shaped.rows(columns.theta),
        hottest=shaped.rows(columns.hottest),
        air_in_temperature=shaped.rows(columns.T_in),
        air_out_temperature=shaped.rows(columns.T_out),
        air_in_humidity=shaped.rows(columns.W_in),
        air_out_humidity=shaped.rows(columns.W_out),
        segment_zone=zone,
        zones=tuple(shaped.zone(result) for result in zones),
        outlet_moisture_wb=shaped(columns.M[-1] / (1.0 + columns.M[-1])),
        outlet_temperature=shaped(columns.theta[-1]),
        hottest_kernel=shaped(np.max(columns.hottest, axis=0)),
        sensor_temperature=tuple(shaped(value) for value in sensors),
        column_temperature=shaped(np.mean(sensors, axis=0)) if sensors else None,
        transit_time=shaped(work.dryer.hold_up_dry_matter / _flat_rate(work)),
        water=shaped(water),
        heat=shaped(heat),
        heat_per_water=shaped(
            np.where(water > 0.0, heat / np.where(water > 0.0, water, 1.0), np.inf)
        ),
        water_residual=shaped(residuals[0]),
        heat_residual=shaped(residuals[1]),
        converged=shaped(converged),
        error=shaped(error),
    )


class _Shaper:
    """From flat scenarios to the caller's shape."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self._shape = shape

    def __call__(self, flat: Any) -> Any:
        return np.asarray(flat).reshape(self._shape)[()]

    def rows(self, flat: FloatArray) -> FloatArray:
        return np.ascontiguousarray(flat.T).reshape((*self._shape, flat.shape[0]))

    def zone(self, result: ZoneResult) -> ZoneResult:
        values = {name: getattr(result, name) for name in ZoneResult.__slots__ if name != "name"}
        return ZoneResult(result.name, **{name: self(value) for name, value in values.items()})


def _stacked(trace: Trace) -> _Stacked:
    def rows(values: list[Any]) -> FloatArray:
        array = np.array(values, dtype=np.float64)
        return array.reshape(array.shape[0], -1)

    return _Stacked(
        rows(trace.theta), rows(trace.sensed), rows(trace.M), rows(trace.hottest),
        rows(trace.T_in), rows(trace.W_in), rows(trace.T_out), rows(trace.W_out), rows(trace.air),
    )  # fmt: skip


def _flat_rate(work: Task) -> FloatArray:
    return np.atleast_1d(np.asarray(work.dry_matter_rate, dtype=np.float64))


def _zone(work: Task, trace: Trace, columns: _Stacked, index: int) -> ZoneResult:
    segments = np.flatnonzero(np.array(trace.zone) == index)
    exits = segments[np.array(trace.leaves)[segments]]
    first, last = segments[0], segments[-1] + 1
    share = columns.air[exits] / np.sum(columns.air[exits], axis=0)
    W = np.sum(share * columns.W_out[exits], axis=0)
    H = np.sum(share * air_enthalpy(columns.T_out[exits], columns.W_out[exits]), axis=0)
    T, humidity = _mixed_exhaust(H, W, np.atleast_1d(work.pressure))
    M = columns.M[last]
    airflow = np.atleast_1d(work.airflow[index]) + np.zeros_like(M)
    wetted = DRY_AIR_HEAT + VAPOUR_HEAT * np.atleast_1d(work.humidity)
    heat = airflow * wetted * (np.atleast_1d(work.T[index]) - np.atleast_1d(work.ambient))
    return ZoneResult(
        name=work.dryer.zones[index].name,
        grain_temperature=columns.theta[last],
        moisture_wb=M / (1.0 + M),
        hottest_kernel=np.max(columns.hottest[segments], axis=0),
        exhaust_temperature=T,
        exhaust_humidity_ratio=W,
        exhaust_relative_humidity=humidity,
        water=_flat_rate(work) * (columns.M[first] - M),
        heat=heat,
        airflow=airflow,
    )


def _mixed_exhaust(
    H: FloatArray, W: FloatArray, pressure: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Temperature [degC] and relative humidity of mixed air; beyond saturation the rest is mist."""
    T = (H - W * LATENT_HEAT_AT_ZERO) / (DRY_AIR_HEAT + VAPOUR_HEAT * W)
    with np.errstate(invalid="ignore"):
        humidity = pressure * W / ((GAS_RATIO + W) * saturation_of(ARRAYS)(T))
    misty = humidity > 1.0
    if not np.any(misty):
        return T, humidity
    # Vapour that condenses warms the rest: at the mixed enthalpy, between here and MIST_WARMING.
    low, high = T, T + MIST_WARMING
    for _ in range(MIST_HALVINGS):
        middle = 0.5 * (low + high)
        over = saturation_of(ARRAYS)(np.where(misty, middle, 0.0))
        held = np.minimum(GAS_RATIO * over / np.maximum(pressure - over, 1.0), W)
        warmth = air_enthalpy(middle, held) + (W - held) * WATER_HEAT * middle
        low, high = np.where(warmth < H, middle, low), np.where(warmth < H, high, middle)
    return np.where(misty, high, T), np.minimum(humidity, 1.0)


def _residuals(work: Task, columns: _Stacked) -> tuple[FloatArray, FloatArray]:
    formulas = closures(work.model, ARRAYS)
    gain = columns.air * (columns.W_out - columns.W_in)
    warmth = columns.air * (
        air_enthalpy(columns.T_in, columns.W_in) - air_enthalpy(columns.T_out, columns.W_out)
    )
    rate = _flat_rate(work)
    lost = rate * (columns.M[0] - columns.M[-1])
    enthalpy = formulas.grain_enthalpy(columns.theta, columns.M)
    taken = rate * (enthalpy[-1] - enthalpy[0])
    scales = (
        np.sum(np.abs(gain), axis=0) + rate * columns.M[0] * 1e-3,
        np.sum(np.abs(warmth), axis=0) + rate * 1e3,
    )
    return (
        np.abs(lost - np.sum(gain, axis=0)) / scales[0],
        np.abs(taken - np.sum(warmth, axis=0)) / scales[1],
    )


def _trusted(
    columns: _Stacked,
    residuals: tuple[FloatArray, FloatArray],
    error: FloatArray,
) -> BoolArray:
    hottest = np.maximum(np.max(columns.T_in, axis=0), columns.theta[0]) + SORPTION_MARGIN
    return np.asarray(
        (error < TOLERANCE)
        & (residuals[0] < RESIDUAL_TOLERANCE)
        & (residuals[1] < RESIDUAL_TOLERANCE)
        & (np.min(columns.M, axis=0) >= 0.0)
        & (np.min(columns.W_out, axis=0) >= 0.0)
        & (np.max(columns.hottest, axis=0) < hottest)
    )


def _sensors(work: Task, columns: _Stacked, depth: FloatArray) -> list[FloatArray]:
    found: list[FloatArray] = []
    top = 0.0
    for zone, height in zip(work.dryer.zones, work.dryer.heights, strict=True):
        places = (top + fraction * height for fraction in zone.sensors)
        found.extend(_at_depth(columns.sensed, depth, place) for place in places)
        top += height
    return found


def _at_depth(values: FloatArray, depth: FloatArray, where: float) -> FloatArray:
    k = int(np.clip(np.searchsorted(depth, where) - 1, 0, depth.size - 2))
    share = (where - depth[k]) / (depth[k + 1] - depth[k])
    return np.asarray(values[k] + share * (values[k + 1] - values[k]))
