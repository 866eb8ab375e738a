"""A trace as parts of an answer, still in SI."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.description import Dryer
from outfeed.dryer.mixing import first_fill_mixed
from outfeed.dryer.transient import (
    OffTarget,
    Response,
    Settling,
    off_target,
    settling,
)
from outfeed_api.routes.air_hours import AirHours, MoistureSwing, TemperatureSwing
from outfeed_api.routes.column_models import MOST_ROWS
from outfeed_api.routes.response_models import (
    MoistureMove,
    OffTargetGrain,
    ResponseSwings,
    TemperatureMove,
    Trace,
)


def leaving(run: Response, mass: float) -> Response:
    """The trace until the first `mass` of dry matter has left."""
    rows = run.discharged <= mass * (1.0 + 1e-9)
    return Response(
        run.time[rows],
        run.outlet_moisture_wb[rows],
        run.outlet_temperature[rows],
        run.sensor_temperature[rows],
        run.discharged[rows],
        run.hottest_kernel[rows],
        run.transit_time,
    )


def moistures_left(run: Response) -> list[float]:
    """Moisture of all grain that leaves in a trace, wet basis [-]."""
    leaves = np.diff(run.discharged, prepend=0.0) > 0.0
    return [float(wet) for wet in run.outlet_moisture_wb[leaves]]


def stripes_of(run: Response, dryer: Dryer) -> float:
    """How far grain that stood strays from its mean over a pitch of the ducts, typically [-]."""
    first = leaving(run, dryer.hold_up_dry_matter)
    left = first.discharged > 0.0
    apart = first.outlet_moisture_wb - first_fill_mixed(first, dryer).outlet_moisture_wb
    return float(np.median(np.abs(apart[left]))) if np.any(left) else 0.0


def off_grain(run: Response, target: float, band: float) -> OffTargetGrain:
    """Grain of a trace that leaves outside a band about the target."""
    found: OffTarget = off_target(run, target, band)
    return OffTargetGrain(
        wet=found.wet / (1.0 - target),
        wet_by=found.wet_excess,
        dry=found.dry / (1.0 - target),
        dry_by=found.dry_excess,
        until=found.until,
        hottest_kernel=float(np.max(run.hottest_kernel)),
    )


def _dead(time: float) -> float | None:
    return time if math.isfinite(time) else None


def moved_of(found: Settling) -> MoistureMove:
    """How the discharge moisture moves."""
    return MoistureMove(
        before=found.before,
        after=found.after,
        dead_time=_dead(found.dead_time),
        settling_time=found.settling_time,
    )


def column_moved(run: Response) -> TemperatureMove | None:
    """How the column temperature moves; None without sensors."""
    column = run.column_temperature
    if column is None:
        return None
    found = settling(run, column)
    return TemperatureMove(
        before=found.before,
        after=found.after,
        dead_time=_dead(found.dead_time),
        settling_time=found.settling_time,
    )


def met_grain(run: Response) -> tuple[float, float]:
    """Coldest and hottest grain of a trace [degC]."""
    return float(np.min(run.outlet_temperature)), float(np.max(run.hottest_kernel))


def trace_of(run: Response, target: float, hours: AirHours | None = None) -> Trace:
    """A trace, thinned to what an answer holds."""
    count = run.time.size
    rows = np.unique(np.round(np.linspace(0, count - 1, min(count, MOST_ROWS))).astype(int))
    column = run.column_temperature

    def picked(values: FloatArray) -> list[float]:
        return [float(value) for value in values[rows]]

    return Trace(
        elapsed=picked(run.time),
        **({} if hours is None else _air(run.time[rows], hours)),
        moisture=picked(run.outlet_moisture_wb),
        temperature=picked(run.outlet_temperature),
        column_temperature=None if column is None else picked(column),
        hottest_kernel=picked(run.hottest_kernel),
        discharged=picked(run.discharged / (1.0 - target)),
    )


def _air(time: FloatArray, hours: AirHours) -> dict[str, Any]:
    """The caller's own times, and the air that drove the column."""
    at = time + hours.seconds[0]
    stamps = [hours.clock.stamp(float(when)) for when in at]
    return {
        "times": [stamp for stamp in stamps if stamp is not None] or None,
        "ambient_temperature": np.interp(at, hours.seconds, hours.temperature).tolist(),
    }


def swings(run: Response, hours: AirHours) -> ResponseSwings:
    """How far the weather takes the column, and when."""
    column = run.column_temperature
    traced = replace(hours, seconds=run.time + hours.seconds[0])
    every = np.ones(run.time.size, dtype=bool)
    return ResponseSwings(
        moisture=MoistureSwing(**traced.swing(run.outlet_moisture_wb, every)),
        temperature=TemperatureSwing(**traced.swing(run.outlet_temperature, every)),
        column_temperature=None
        if column is None
        else TemperatureSwing(**traced.swing(column, every)),
    )
