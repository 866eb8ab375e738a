"""Fan and bed through the hours of a forecast or a record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.airflow import Bed
from outfeed.arrays import BoolArray, FloatArray
from outfeed.fan import FanTable, fan_heat, fan_power
from outfeed.fan_air import (
    air_density,
    air_state,
    airflow_at_in,
    operating_points,
    pressure_drop_in,
)
from outfeed.moist_air import STANDARD_PRESSURE, humidity_ratio, relative_humidity
from outfeed_api.routes.air_hours import AirHours, extremes, known_or_null
from outfeed_api.routes.fan_models import (
    AirflowSwing,
    FanHours,
    FanRequest,
    FanSwings,
    Point,
    PowerSwing,
    PressureSwing,
)
from outfeed_api.units import say

LITTLE = 0.01  # of the airflow; less is not worth a word


@dataclass(frozen=True, slots=True, eq=False)
class HourlyFan:
    """Fan and bed in every hour, SI, shape (hours,).

    Attributes
    ----------
    hours : AirHours
        The hours.
    area : float
        Of the bed [m2].
    speed : ndarray
        Airflow per area [m3/(s m2)].
    pressure : ndarray
        Static pressure [Pa].
    known : ndarray of bool
        Whether the hour has an operating point.
    power, rise : ndarray or None
        Power drawn [W] and warmth added [K]; None without an efficiency.
    """

    hours: AirHours
    area: float
    speed: FloatArray
    pressure: FloatArray
    known: BoolArray
    power: FloatArray | None
    rise: FloatArray | None

    def swings(self) -> FanSwings | None:
        """How fan and bed swing; None where no hour has an operating point."""
        if not np.any(self.known):
            return None
        hours, known = self.hours, self.known
        return FanSwings(
            airflow_per_area=AirflowSwing(**hours.swing(self.speed, known)),
            static_pressure=PressureSwing(**hours.swing(self.pressure, known)),
            power=None if self.power is None else PowerSwing(**hours.swing(self.power, known)),
            hours=hours.count,
            hours_without=int(np.sum(~known)),
        )

    def columns(self, request: FanRequest) -> FanHours:
        """The hours as columns."""
        hours, known, flow = self.hours, self.known, self.speed * self.area
        pressure = request.pressure or STANDARD_PRESSURE
        weight = flow * air_density(hours.temperature, pressure)
        behind = damp = None
        if self.rise is not None:
            behind = hours.temperature + self.rise
            if hours.relative_humidity is not None:
                W = humidity_ratio(hours.temperature, hours.relative_humidity, pressure)
                damp = np.asarray(relative_humidity(behind, W, pressure))
        return FanHours(
            **hours.air_columns(),
            airflow=known_or_null(flow, known) if request.has_area else None,
            airflow_per_area=known_or_null(self.speed, known),
            static_pressure=known_or_null(self.pressure, known),
            air_mass_rate=known_or_null(weight, known) if request.has_area else None,
            power=None if self.power is None else known_or_null(self.power, known),
            air_temperature=None if behind is None else known_or_null(behind, known),
            air_relative_humidity=None if damp is None else known_or_null(damp, known),
        )


def fan_table(request: FanRequest) -> FanTable:
    """The fan's table of a request that has one."""
    rows = request.fan or []
    return FanTable(tuple(row.static_pressure for row in rows), tuple(row.airflow for row in rows))


def share_in_stream(request: FanRequest) -> float:
    """Air power over the power that ends in the stream [-]."""
    share = request.fan_efficiency or 1.0
    return share if request.motor_efficiency is None else share / request.motor_efficiency


def fan_by_hour(
    request: FanRequest, hours: AirHours, bed: Bed, area: float, mean: Point
) -> HourlyFan:
    """The question of a request in every hour's air.

    Parameters
    ----------
    request : FanRequest
        In SI.
    hours : AirHours
        The hours.
    bed : Bed
        The grain.
    area : float
        Of the bed [m2].
    mean : Point
        The answer in the mean air, whose airflow stands where one was asked for.

    Returns
    -------
    HourlyFan
        Every hour.
    """
    barometer = request.pressure or STANDARD_PRESSURE
    air = air_state(hours.temperature, barometer)
    known = np.ones(hours.count, dtype=bool)
    if request.fan is not None:
        found = operating_points(bed, area, fan_table(request), request.fans or 1, air)
        speed, push, known = found.airflow / area, found.pressure, found.meets
    elif request.static_pressure is not None:
        speed, known = airflow_at_in(bed, request.static_pressure, air)
        push = np.full(hours.count, request.static_pressure)
    else:
        speed = np.full(hours.count, mean.airflow_per_area)
        push = np.asarray(pressure_drop_in(bed, speed, air))
    power = rise = None
    if request.fan_efficiency is not None:
        power = np.asarray(fan_power(speed * area, push, request.fan_efficiency))
        density = air_density(hours.temperature, barometer)
        rise = np.asarray(fan_heat(push, share_in_stream(request), density))
    return HourlyFan(hours, area, speed, push, known, power, rise)


def with_hours(request: FanRequest, text: str, found: HourlyFan | None) -> str:
    """The decision, followed by what the hours do."""
    if found is None or found.hours.count == 1 or not np.any(found.known):
        return text
    us, hours = request.units == "us", found.hours
    mean = say(hours.mean_temperature, "temperature", request.units, decimals=0)
    said = [text, f"That is in air of {mean}, the mean of the hours."]
    push = _ends(request, found, found.pressure, "static-pressure", 2 if us else 0)
    if push:
        power = "" if found.power is None else _power_words(request, found)
        said.append(f"Over them the pressure goes {push}{power}.")
    air = _ends(request, found, found.speed, "airflow-per-area", 1 if us else 3)
    if air:
        said.append(f"The air through the grain goes {air}.")
    without = int(np.sum(~found.known))
    if without:
        said.append(f"In {without:,} of {hours.count:,} entries there is no operating point.")
    return " ".join(said)


def _ends(
    request: FanRequest, found: HourlyFan, values: FloatArray, quantity: str, decimals: int
) -> str:
    """ "from ... to ..." with the hours; empty where it hardly changes."""
    low, high = extremes(values, found.known)
    if values[high] - values[low] <= LITTLE * values[high]:
        return ""
    told = []
    for row in (low, high):
        value = say(float(values[row]), quantity, request.units, decimals=decimals)
        air = say(float(found.hours.temperature[row]), "temperature", request.units, decimals=0)
        told.append(f"{value} ({found.hours.say(row)}, {air})")
    return f"from {told[0]} to {told[1]}"


def _power_words(request: FanRequest, found: HourlyFan) -> str:
    power = np.asarray(found.power)
    low, high = extremes(power, found.known)
    ends = [say(float(power[row]), "electric-power", request.units) for row in (low, high)]
    return f" and the power from {ends[0]} to {ends[1]}"
