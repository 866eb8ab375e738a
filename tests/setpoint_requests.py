"""Requests for setpoint advice about a level column, for the tests of its route."""

from __future__ import annotations

import math
from typing import Any

PATH = "/v1/setpoint-advice"
MINUTES = list(range(0, 256, 5))


def column(setpoint: float, *, drift: float = 0.0) -> list[float]:
    return [round(setpoint + 0.4 * math.sin(m / 13) + drift * m / 60, 1) for m in MINUTES]


def us_request(moisture: float = 16.5, **changes: Any) -> dict[str, Any]:
    body: dict[str, Any] = {
        "units": "us",
        "target": 15.5,
        "setpoint": 98,
        "column": {"elapsed": MINUTES, "temperatures": column(98.0)},
        "discharge": {"elapsed": [120, 150, 185, 220, 250], "moistures": [moisture] * 5},
        "transit": 2.0,
        "discharge_rate": 800,
    }
    return body | changes


def ask(client, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(PATH, json=body)
    assert answer.status_code == 200, answer.text
    return answer.json()


ZONES = [
    {"role": "heated", "hold_up": 560, "plenum_temperature": 200, "airflow": 26000},
    {"role": "heated", "hold_up": 560, "plenum_temperature": 180, "airflow": 26000},
    {
        "role": "heated",
        "hold_up": 560,
        "plenum_temperature": 160,
        "airflow": 26000,
        "sensors": [0.3, 0.7],
    },
    {"role": "cooling", "hold_up": 420, "airflow": 18000},
]


def with_dryer(inlet: float = 22.0, **changes: Any) -> dict[str, Any]:
    described: dict[str, Any] = {
        "dryer": {"kind": "mixed-flow", "zones": ZONES},
        "ambient_temperature": 50,
        "inlet": {"elapsed": [0], "moistures": [inlet]},
    }
    return us_request(16.5, **described | changes)
