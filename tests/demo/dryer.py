"""An invented dryer that answers its controller: the library's column in motion, a loop that moves
the discharge rate, sensors with some noise, a meter that reads low."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from demo import farm
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone
from outfeed.dryer.plugs import PlugColumn
from outfeed.dryer.task import task

BUSHEL_M3, POUND = 0.03523907, 0.45359237
CFM, AIR = 0.3048**3 / 60.0, 1.204  # m3/s; kg/m3, standard air
HEAT_OF_AIR, BTU, GALLON = 1010.0, 1055.056, 91_500.0 * 1055.056  # J/(kg K), J, J of propane
BEDS = 0.4  # m, thicker than real ones, for speed
LEAVING = farm.BUSHEL_LB * POUND * (1.0 - farm.TARGET / 100.0) / 3600.0  # kg/s of a bu/h
EVERY = timedelta(minutes=5)  # between rows of the log
RESET = 0.35  # of a transit, time of the integral action: it follows the rate by itself
NARROWEST, WIDEST = 0.45, 1.5  # of the opening rate
COLUMN_NOISE, METER_NOISE = 0.25, 0.12  # degF, points


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def machine() -> Dryer:
    """The dryer as it truly is."""
    air = farm.STATED_AIR * farm.TRUE_AIR * CFM * AIR
    heated = [
        Zone(name, "heated", volume=farm.HEATED_BUSHELS * BUSHEL_M3, airflow=air,
             plenum_temperature=celsius(plenum), burner="direct-fired", fuel="propane",
             sensors=farm.SENSORS if name == farm.ZONE_NAMES[-1] else ())
        for name, plenum in zip(farm.ZONE_NAMES, farm.PLENUMS, strict=True)
    ]  # fmt: skip
    cooler = Zone("cooler", "cooling", volume=farm.COOLING_BUSHELS * BUSHEL_M3, airflow=air)
    return Dryer("mixed-flow", (*heated, cooler), half_pitch=BEDS)


@dataclass(frozen=True)
class Row:
    """One row of the dryer's log."""

    at: datetime
    rate: float  # bu/h of grain leaving
    setpoint: float  # degF
    column: tuple[float, ...]  # degF, as the sensors read
    inlet: float  # %
    meter: float  # %, as the meter reads
    moisture: float  # %, as it truly is
    propane: float  # gal/h

    @property
    def mean(self) -> float:
        return sum(self.column) / len(self.column)


class SimulatedDryer:
    """Full of wet grain at first, the discharge shut."""

    def __init__(self, start: datetime, inlet: float, gain: float) -> None:
        self.now, self.log = start, list[Row]()
        self.opening = self.rate = 0.0  # bu/h as the panel counts
        self.setpoint, self.gain, self.automatic = 100.0, gain, False
        self._random = np.random.default_rng(farm.SEED)
        self._model = ColumnModel(rate_factor=farm.TRUE_SPEED)
        self._machine, self._wander, self._sum = machine(), 0.0, 0.0
        self.inlet = self._base = inlet
        self._column = PlugColumn(self._machine, self._task())
        self._next_lot = start

    def run(self, until: datetime) -> None:
        """Let the dryer run; rows go to the log."""
        while self.now < until:
            self._weather_and_grain()
            if self.automatic:
                self._control()
            step = self._move()
            self.now += step
            if not self.log or self.now - self.log[-1].at >= EVERY:
                self._write()

    def _move(self) -> timedelta:
        plug = self._column.plug
        leaving = self.rate * LEAVING
        if leaving <= 0.0:
            self._column.step(60.0, moving=False)
            return timedelta(minutes=1)
        self._column.step(plug / leaving, moving=True)
        return timedelta(seconds=plug / leaving)

    def _weather_and_grain(self) -> None:
        if self.now < self._next_lot:
            return
        self._next_lot = self.now + timedelta(hours=1)
        self._wander = 0.7 * self._wander + float(self._random.normal(0.0, 0.12))
        wet = farm.WET_LOT_POINTS if self.now >= farm.WET_LOT else 0.0
        self.inlet = self._base + wet + self._wander
        self._column.supply(self._task())

    def _task(self):
        warmth, damp = farm.outside(self.now)
        weather = Conditions(celsius(warmth), damp / 100.0)
        feed = Feed(self.inlet / 100.0, celsius(warmth))
        return task(self._machine, weather, feed, 1.0, self._model)

    def _sensors(self) -> np.ndarray:
        return 1.8 * self._column.look(0.0, 0.0)[3] + 32.0

    def _control(self) -> None:
        """Proportional and integral action of the column temperature on the rate."""
        away = float(np.mean(self._sensors())) - self.setpoint
        hours = self._column.plug / (self.rate * LEAVING) / 3600.0
        pace = self.gain * self.rate / self.opening
        self._sum += pace * away * hours / (RESET * self.transit)
        self._sum = min(max(self._sum, NARROWEST - 1.0), WIDEST - 1.0)
        share = min(max(1.0 + self._sum + pace * away, NARROWEST), WIDEST)
        self.rate = self.opening * share

    def _write(self) -> None:
        noise = self._random.normal
        M = self._column.look(0.0, 0.0)[1]
        moisture = 100.0 * M / (1.0 + M)
        reading = self._sensors() + noise(0.0, COLUMN_NOISE, len(farm.SENSORS))
        outside = celsius(farm.outside(self.now)[0])
        air = farm.STATED_AIR * farm.TRUE_AIR * CFM * AIR * HEAT_OF_AIR
        heat = sum(air * (celsius(plenum) - outside) for plenum in farm.PLENUMS) * 3600.0
        self.log.append(
            Row(
                self.now.replace(microsecond=0), round(self.rate, 0), self.setpoint,
                tuple(round(float(value), 1) for value in reading), round(self.inlet, 1),
                round(moisture - farm.METER_READS_LOW + float(noise(0.0, METER_NOISE)), 1),
                moisture, round(heat / GALLON, 1),
            )
        )  # fmt: skip

    def rows(self, hours: float, every: int = 1) -> list[Row]:
        """The log's last hours, every so manyth row, the last one included."""
        since = self.now - timedelta(hours=hours)
        return [row for row in self.log if row.at >= since][::-1][::every][::-1]

    @property
    def transit(self) -> float:
        """Hours that grain now needs from top to discharge."""
        return farm.HELD / self.rate if self.rate else math.inf
