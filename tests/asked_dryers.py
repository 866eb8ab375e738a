"""An invented dryer as a caller describes it, in both unit systems, for the tests of its routes."""

from __future__ import annotations

import copy

FOOT3 = 0.3048**3
BUSHEL = 56 * 0.45359237
METRIC = {
    "units": "metric",
    "grain": "corn-yellow-dent",
    "dryer": {
        "kind": "mixed-flow",
        "zones": [
            {"name": "upper", "role": "heated", "volume": 20, "plenum_temperature": 98,
             "airflow": 43000},
            {"name": "middle", "role": "heated", "volume": 20, "plenum_temperature": 85,
             "airflow": 43000},
            {"name": "lower", "role": "heated", "volume": 20, "plenum_temperature": 72,
             "airflow": 43000, "sensors": [0.3, 0.7]},
            {"name": "cooling", "role": "cooling", "volume": 15, "airflow": 32000},
        ],
        "cross_section": 6.25,
    },
    "moisture": 22,
    "target_moisture": 15.5,
    "ambient_temperature": 10,
    "ambient_relative_humidity": 70,
    "grain_temperature": 10,
}  # fmt: skip
FITTED = {
    "grain": "corn-yellow-dent",
    "kinetics": "kinetics.diffusion.henderson-pabis-1961",
    "rate_factor": 1.3,
    "rate_spread": 5,
    "airflow_factor": 1.0,
    "airflow_spread": 5,
    "correlation": 0.0,
    "isotherm": "emc.henderson-modified.d245-4",
    "discrepancy": 0.15,
    "version": "1",
    "runs": 10,
}


def fahrenheit(celsius: float) -> float:
    """Degrees Fahrenheit."""
    return celsius * 1.8 + 32.0


def in_us_units(body: dict) -> dict:
    """The same request in US units; only the fields that `METRIC` has."""
    us = copy.deepcopy(body) | {"units": "us"}
    for name in ("ambient_temperature", "grain_temperature"):
        us[name] = fahrenheit(us[name])
    if "cross_section" in us["dryer"]:
        us["dryer"]["cross_section"] /= 0.3048**2
    for zone in us["dryer"]["zones"]:
        zone["volume"] /= FOOT3
        zone["airflow"] /= FOOT3 * 60.0
        if "plenum_temperature" in zone:
            zone["plenum_temperature"] = fahrenheit(zone["plenum_temperature"])
    return us


def without(body: dict, *names: str) -> dict:
    """The request without some of its fields."""
    return {name: value for name, value in body.items() if name not in names}


def with_zones(body: dict, **fields: object) -> dict:
    """The request with the same fields in every heated zone; None leaves one out."""
    changed = copy.deepcopy(body)
    for zone in changed["dryer"]["zones"]:
        if zone["role"] == "heated":
            zone.update(fields)
            for name in [name for name, value in fields.items() if value is None]:
                del zone[name]
    return changed
