"""Invented logs of dryers, for tests, examples and pictures; no real dryer stands behind them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import numpy as np

POINTS_PER_DEGF = -0.55
HOLD_UP_BU = 800.0


def corn_log(hours: float = 96.0, step_minutes: float = 10.0, seed: int = 11) -> dict[str, Any]:
    """Columns of a mixed-flow corn dryer's log in US units, with a stop, a frozen sensor and a
    plenum that sagged.
    """
    rng = np.random.default_rng(seed)
    n = int(hours * 60.0 / step_minutes)
    minutes = np.arange(n) * step_minutes
    days = minutes / 1440.0
    inlet = 22.5 - 1.2 * days + 1.2 * np.sin(minutes / 700.0)
    column = 99.0 + 1.6 * np.sin(minutes / 260.0) + 0.5 * days
    rate = np.clip(420.0 + 28.0 * (22.5 - inlet), 300.0, 800.0)
    stop = slice(int(n * 0.58), int(n * 0.58) + 7)
    rate[stop] = 0.0
    counter = np.concatenate(([0.0], np.cumsum(rate * step_minutes / 60.0)[:-1]))
    felt = np.interp(counter - HOLD_UP_BU / 2.0, counter, column)
    entered = np.interp(counter - HOLD_UP_BU, counter, inlet)
    outlet = 15.5 + POINTS_PER_DEGF * (felt - 99.8) - 0.3 * (entered - 21.5)
    outlet = outlet + rng.normal(0.0, 0.12, n)
    column = column + rng.normal(0.0, 0.25, n)
    column[stop] += np.linspace(0.5, 6.0, 7)
    second = column + 1.5 + rng.normal(0.0, 0.2, n)
    second[int(n * 0.3) : int(n * 0.3) + 30] = second[int(n * 0.3)]
    plenum = 200.0 + rng.normal(0.0, 0.7, n)
    plenum[int(n * 0.8) : int(n * 0.8) + 8] -= 9.0
    gallons = 0.0135 * np.maximum(entered - outlet, 0.0) * np.maximum(rate, 60.0)
    reference: list[float | None] = [None] * n
    for row in range(40, n, 72):
        reference[row] = round(float(outlet[row] + 0.2 + rng.normal(0.0, 0.15)), 1)
    return {
        "minutes": minutes,
        "rate": rate.round(0),
        "moisture_in": inlet.round(1),
        "moisture_out": outlet.round(1),
        "column_temperatures": [column.round(1), second.round(1)],
        "plenum": plenum.round(0),
        "fuel_liquid": gallons.round(1),
        "reference": reference,
    }


def stamps(minutes: Any) -> list[str]:
    """Date-times of an October in central North America."""
    start = datetime(2025, 10, 14, 12, 0, tzinfo=UTC)
    zone = timezone(timedelta(hours=-5))
    return [(start + timedelta(minutes=float(m))).astimezone(zone).isoformat() for m in minutes]


def corn_review_request(hours: float = 96.0, step_minutes: float = 10.0) -> dict[str, Any]:
    """A run-review request from the invented log."""
    log = corn_log(hours, step_minutes)
    columns = {
        name: values.tolist()
        for name, values in log.items()
        if name not in {"minutes", "column_temperatures", "reference"}
    }
    return {
        "units": "us",
        "grain": "corn-yellow-dent",
        "target": 15.5,
        "hold_up": HOLD_UP_BU,
        "dryer_kind": "mixed-flow",
        "plenum_setpoint": 200,
        "fuel": "propane",
        "grain_price": 4.35,
        "heat_price": 20.0,
        "log": {
            "times": stamps(log["minutes"]),
            **columns,
            "column_temperatures": [sensor.tolist() for sensor in log["column_temperatures"]],
            "reference": log["reference"],
        },
    }


def corn_review_csv(hours: float = 96.0, step_minutes: float = 10.0) -> bytes:
    """The same log as CSV."""
    request = corn_review_request(hours, step_minutes)["log"]
    sensors = request.pop("column_temperatures")
    columns = {"time": request.pop("times"), **request}
    columns |= {f"column_temperature_{k}": sensor for k, sensor in enumerate(sensors, start=1)}
    rows = zip(*columns.values(), strict=True)
    lines = [",".join(columns)]
    lines += [",".join("" if cell is None else str(cell) for cell in row) for row in rows]
    return "\n".join(lines).encode()
