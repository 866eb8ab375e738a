"""A dryer's log as sent, in JSON or as CSV, brought into the library's terms."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from pydantic import ValidationError

from outfeed import Inconsistent
from outfeed.arrays import FloatArray
from outfeed.fuel import load_fuel
from outfeed.runlog import RunLog
from outfeed_api.conversion import out_of_range
from outfeed_api.moments import Clock, Timed, moment_seconds
from outfeed_api.problems import OUT_OF_RANGE, ProblemError
from outfeed_api.routes.run_review_models import CSV_COLUMNS, RunReviewRequest
from outfeed_api.tables import Table, read_table
from outfeed_api.units import UnitSystem
from outfeed_api.validation import invalid


def from_csv(body: bytes, query: Mapping[str, str]) -> RunReviewRequest:
    """A request from a CSV log; everything but the log stands in the query."""
    table = read_table(body, tuple(CSV_COLUMNS))
    if "rate" not in table.columns:
        raise ProblemError(OUT_OF_RANGE, "the log needs a column `rate`")
    stub = {"elapsed": [0.0, 1.0], "rate": [0.0, 0.0]}
    try:
        request = RunReviewRequest.model_validate(dict(query) | {"log": stub}, strict=False)
    except ValidationError as error:
        raise invalid(error.errors(include_url=False, include_input=False)) from None
    request._table = table
    return request


def clock_of(request: RunReviewRequest) -> Clock:
    """How the answer speaks of times."""
    table = request._table
    if table is None:
        return Clock.of(request.log)
    if table.form == "elapsed" or table.last is None:
        return Clock("elapsed", None, float(table.seconds[-1]))
    written = Timed(times=[table.last])
    return Clock("times", written.offset, moment_seconds(table.last))


def log_of(request: RunReviewRequest) -> RunLog:
    """The library's log, from columns or from CSV."""
    if request._table is not None:
        columns = _si_columns(request._table, request.units, request.kg_per_bushel)
        seconds = request._table.seconds
    else:
        given = request.log
        seconds = np.array(given.seconds)
        names = set(CSV_COLUMNS) & set(type(given).model_fields)
        columns = {
            name: _array(values)
            for name in names
            if (values := getattr(given, name, None)) is not None
        }
        columns |= {
            f"column_temperature_{k}": _array(sensor)
            for k, sensor in enumerate(given.column_temperatures, start=1)
        }
    sensors = tuple(
        columns[name] for name in CSV_COLUMNS if name.startswith("column_") and name in columns
    )
    setpoint = columns.get("plenum_setpoint")
    if setpoint is None and request.plenum_setpoint is not None:
        setpoint = np.full(seconds.shape, request.plenum_setpoint)
    return RunLog(
        times_s=seconds,
        rate=columns["rate"],
        moisture_in=columns.get("moisture_in"),
        moisture_out=columns.get("moisture_out"),
        columns=sensors,
        plenum=columns.get("plenum"),
        plenum_setpoint=setpoint,
        heat=_heat(columns, request.fuel),
        reference=columns.get("reference"),
    )


def _array(values: list[float | None]) -> FloatArray:
    return np.array(values, dtype=np.float64)


def _si_columns(table: Table, units: UnitSystem, kg: float) -> dict[str, FloatArray]:
    """The columns of a CSV log in SI, refused where no sensor could give them."""
    columns = {}
    for name, values in table.columns.items():
        measure = CSV_COLUMNS[name]
        unit = measure.of.unit(units)
        si = values * unit.scale(kg) + unit.offset
        limits = measure.limits
        bad = (
            np.zeros(0)
            if limits is None
            else np.flatnonzero((si < limits.low) | (si > limits.high))
        )
        if bad.size:
            row = int(bad[0])
            fault = out_of_range(f"/log/{name}/{row}", float(values[row]), measure, units, kg)
            raise ProblemError(OUT_OF_RANGE, f"row {row + 2}: {fault.detail}", [fault])
        columns[name] = si
    return columns


def _heat(columns: dict[str, FloatArray], fuel: str | None) -> FloatArray | None:
    """Heat of whatever the log says of fuel."""
    given = [name for name in ("heat", "fuel_liquid", "fuel_gas") if name in columns]
    if len(given) > 1:
        raise Inconsistent(f"the log states fuel {len(given)} times: {', '.join(given)}", "log")
    if not given or given == ["heat"]:
        return columns.get("heat")
    if fuel is None:
        raise Inconsistent(f"{given[0]} needs `fuel`, to know the heat of it", "fuel")
    if (fuel == "natural-gas") != (given == ["fuel_gas"]):
        raise Inconsistent(f"{given[0]} is not how {fuel} is metered", "fuel")
    return columns[given[0]] * load_fuel(fuel).heat_content
