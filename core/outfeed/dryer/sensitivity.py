"""What a change of each handle and disturbance does to the settled column.

All columns are solved at once, each handle a step up and a step down; where a step would leave the
range of its quantity it ends there, so that a plenum at its limit still has an answer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.closures import RATE_FACTOR, ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.profile import ColumnProfile
from outfeed.limits import AMBIENT, GRAIN_TEMPERATURE, MOISTURE_WB, PLENUM, Range

RATE_STEP, MOISTURE_STEP, TEMPERATURE_STEP, FACTOR_STEP = 0.03, 0.005, 3.0, 0.05
"""Steps that an operator would make or see: share of the rate, moisture wet basis, K, share of the
rate factor; chosen, no source."""


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """What one unit of a change does at rest.

    Attributes
    ----------
    handle : str
        What changes: "rate", "plenum:<zone>", "plenums", "inlet-moisture", "inlet-temperature",
        "ambient-temperature" (same relative humidity) or "rate-factor".
    unit : str
        Unit of the change: "" for a relative one.
    outlet_moisture : float
        Change of outlet moisture, wet basis, per unit [-].
    outlet_temperature : float
        Change of outlet temperature per unit [K].
    hottest_kernel : float
        Change of the hottest kernel per unit [K].
    column_temperature : float or None
        Change of the mean of the sensors per unit [K]; None without sensors.
    """

    handle: str
    unit: str
    outlet_moisture: float
    outlet_temperature: float
    hottest_kernel: float
    column_temperature: float | None


@dataclass(frozen=True, slots=True)
class _Handle:
    """One handle, the quantity it moves, and how far."""

    name: str
    unit: str
    step: float


def sensitivities(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: float,
    *,
    model: ColumnModel | None = None,
    only: tuple[str, ...] | None = None,
) -> tuple[Sensitivity, ...]:
    """What a change of each handle and disturbance does to the settled column.

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
    model : ColumnModel, optional
        Which formulas.
    only : tuple of str, optional
        Names of the handles wanted; all when left out.

    Returns
    -------
    tuple of Sensitivity
        Differences over steps that an operator would make (3 % of rate, 3 K, half a point),
        central but where a step would leave the range of its quantity.

    Raises
    ------
    NotConverged
        The column did not settle.
    """
    formulas = model or ColumnModel(grain=feed.grain)
    handles = tuple(one for one in _handles(dryer) if only is None or one.name in only)
    ambient = float(np.asarray(conditions.ambient_temperature))
    heated = [value for value in dryer.plenum_temperatures if value is not None]
    warmest = min(AMBIENT.high, *heated)
    lanes = {
        "rate": dry_matter_rate * (1.0 + _moved(handles, "rate")),
        "ambient-temperature": _within(
            ambient + _moved(handles, "ambient-temperature"), AMBIENT.low, warmest
        ),
        "inlet-moisture": _inside(feed.moisture_wb, _moved(handles, "inlet-moisture"), MOISTURE_WB),
        "inlet-temperature": _inside(
            feed.temperature, _moved(handles, "inlet-temperature"), GRAIN_TEMPERATURE
        ),
        "rate-factor": _inside(
            formulas.rate, formulas.rate * _moved(handles, "rate-factor"), RATE_FACTOR
        ),
    }
    plenums = [
        None
        if value is None
        else _within(
            value + _moved(handles, "plenums") + _moved(handles, f"plenum:{zone.name}"),
            min(ambient, value),
            PLENUM.high,
        )
        for zone, value in zip(dryer.zones, dryer.plenum_temperatures, strict=True)
    ]
    profile = solve_column(
        dryer,
        replace(conditions, ambient_temperature=lanes["ambient-temperature"]),
        replace(feed, moisture_wb=lanes["inlet-moisture"], temperature=lanes["inlet-temperature"]),
        lanes["rate"],
        model=replace(formulas, rate_factor=lanes["rate-factor"]),
        plenum_temperatures=plenums,
    )
    scale = {"rate": dry_matter_rate, "rate-factor": float(np.asarray(formulas.rate))}
    return tuple(
        _difference(profile, place, handle, _span(place, handle, lanes, plenums, dryer, scale))
        for place, handle in enumerate(handles)
    )


def _handles(dryer: Dryer) -> tuple[_Handle, ...]:
    heated = [zone.name for zone in dryer.zones if zone.heated]
    return (
        _Handle("rate", "", RATE_STEP),
        _Handle("plenums", "K", TEMPERATURE_STEP),
        *(_Handle(f"plenum:{name}", "K", TEMPERATURE_STEP) for name in heated),
        _Handle("inlet-moisture", "", MOISTURE_STEP),
        _Handle("inlet-temperature", "K", TEMPERATURE_STEP),
        _Handle("ambient-temperature", "K", TEMPERATURE_STEP),
        _Handle("rate-factor", "", FACTOR_STEP),
    )


def _moved(handles: tuple[_Handle, ...], name: str) -> FloatArray:
    """The step of one handle in its own two lanes, nothing in the others."""
    signed = np.zeros(2 * len(handles))
    for place, handle in enumerate(handles):
        if handle.name == name:
            signed[2 * place : 2 * place + 2] = (handle.step, -handle.step)
    return signed


def _within(values: FloatArray, low: float, high: float) -> FloatArray:
    return np.asarray(np.clip(values, low, high))


def _inside(value: object, change: FloatArray, limits: Range) -> FloatArray:
    return _within(np.asarray(value) + change, limits.low, limits.high)


def _span(
    place: int,
    handle: _Handle,
    lanes: dict[str, FloatArray],
    plenums: list[FloatArray | None],
    dryer: Dryer,
    scale: dict[str, float],
) -> float:
    """How far apart the handle's two lanes really are, in its unit."""
    if handle.name in lanes:
        values = lanes[handle.name] / scale.get(handle.name, 1.0)
        return float(values[2 * place] - values[2 * place + 1])
    moved = [
        values[2 * place] - values[2 * place + 1]
        for zone, values in zip(dryer.zones, plenums, strict=True)
        if values is not None and handle.name in ("plenums", f"plenum:{zone.name}")
    ]
    # A common shift that one plenum cannot follow counts as far as the mean of them goes.
    return float(np.mean(moved))


def _difference(profile: ColumnProfile, place: int, handle: _Handle, span: float) -> Sensitivity:
    def slope(values: FloatArray) -> float:
        return float(values[2 * place] - values[2 * place + 1]) / span

    column = profile.column_temperature
    return Sensitivity(
        handle.name,
        handle.unit,
        slope(profile.outlet_moisture_wb),
        slope(profile.outlet_temperature),
        slope(profile.hottest_kernel),
        None if column is None else slope(column),
    )
