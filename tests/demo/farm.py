"""Long Acre Farm, its dryer, its weather, its buyers. All of it is invented."""

from __future__ import annotations

import math
from datetime import datetime, timedelta, timezone
from typing import Any

SEED = 20260928
ZONE = timezone(timedelta(hours=-5))
GRAIN = "corn-yellow-dent"
TARGET = 15.5  # % wet basis, at the discharge
FIRST_CORN = 22.0  # % wet basis, what comes in on the first day
BUSHEL_LB = 56.0
MONDAY = datetime(2026, 9, 28, 7, tzinfo=ZONE)  # first fill

PLENUMS = (200.0, 180.0, 160.0)  # degF, from the top
ZONE_NAMES = ("upper", "middle", "lower")
HEATED_BUSHELS, COOLING_BUSHELS = 560.0, 340.0  # held by each heated zone and by the cooler
HELD = len(PLENUMS) * HEATED_BUSHELS + COOLING_BUSHELS
SENSORS = (0.4, 0.8)  # places in the lower heated zone, as shares of its height
BELOW_SENSORS = 0.4 * HEATED_BUSHELS + COOLING_BUSHELS
STATED_AIR = 22_000.0  # ft3/min through each zone, by the fan tests
METERING = ({"setting": 30.0, "rate": 640.0}, {"setting": 45.0, "rate": 955.0})

PRICE_OF_CORN = 4.30
PRICE_OF_PROPANE = 1.85  # a gallon
PRICE_OF_HEAT = 20.2  # a million Btu, from the price of propane

# What the farm does not know of its dryer: the service has to find its way round it.
TRUE_AIR = 0.95  # of the stated air
TRUE_SPEED = 1.25  # on the published drying rate
METER_READS_LOW = 0.6  # points

WEATHER_BY_MONTH = (
    {"month": 9, "temperature": 63.0, "relative_humidity": 70.0, "swing": 22.0},
    {"month": 10, "temperature": 51.0, "relative_humidity": 71.0, "swing": 22.0},
    {"month": 11, "temperature": 38.0, "relative_humidity": 76.0, "swing": 17.0},
)
FRONT = datetime(2026, 10, 1, 14, tzinfo=ZONE)  # a cold front passes
FRONT_DROP = 20.0  # degF, within six hours
WET_LOT = datetime(2026, 9, 30, 9, tzinfo=ZONE)  # grain from the bottom field reaches the dryer
WET_LOT_POINTS = 2.5  # wetter than the rest

OWNERS = ({"name": "Long Acre Farm", "share": 60.0}, {"name": "Landlord", "share": 40.0})
BUYERS: tuple[dict[str, Any], ...] = (
    {
        "name": "River elevator", "price": 4.30, "base_moisture": 15.0, "shrink_factor": 1.4,
        "moisture_step": 0.1, "drying_charge": 0.045,
        "test_weight_discounts": [{"below": 54.0, "discount": 0.02}],
    },
    {
        "name": "Feed mill", "price": 4.24, "base_moisture": 15.5, "shrink": "water",
        "fixed_shrink": 0.5, "moisture_step": 0.1,
    },
)  # fmt: skip


def dryer() -> dict[str, Any]:
    """The dryer as the farm describes it."""
    zones: list[dict[str, Any]] = [
        {"name": name, "role": "heated", "hold_up": HEATED_BUSHELS, "plenum_temperature": plenum,
         "airflow": STATED_AIR}
        for name, plenum in zip(ZONE_NAMES, PLENUMS, strict=True)
    ]  # fmt: skip
    zones[-1]["sensors"] = list(SENSORS)
    zones.append(
        {"name": "cooler", "role": "cooling", "hold_up": COOLING_BUSHELS, "airflow": STATED_AIR}
    )
    return {"kind": "mixed-flow", "zones": zones, "burner": "direct-fired", "fuel": "propane"}


def outside(at: datetime) -> tuple[float, float]:
    """Outside air: degF and % relative humidity."""
    hour = at.hour + at.minute / 60.0
    warmth = 58.0 - 9.0 * math.cos((hour - 4.0) * math.pi / 12.0)
    since = (at - FRONT).total_seconds() / 3600.0
    cold = FRONT_DROP * min(max(since / 6.0, 0.0), 1.0)
    return warmth - cold, min(95.0, 74.0 - 1.6 * (warmth - 58.0) + 0.3 * cold)


def stamp(at: datetime) -> str:
    """A date-time as requests carry it."""
    return at.isoformat(timespec="seconds")


def rate_of(setting: float) -> float:
    """The rate that a metering setting really gives, bu/h."""
    (low, high) = METERING
    slope = (high["rate"] - low["rate"]) / (high["setting"] - low["setting"])
    return low["rate"] + slope * (setting - low["setting"])


def rounded(value: float) -> float:
    """A moisture as it is written down."""
    return round(value, 1)
