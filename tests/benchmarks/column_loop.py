"""The transient column of the library under a column controller written here.

A plain proportional-integral controller holds the mean of the sensors at a setpoint by the
discharge rate, and whoever asks moves setpoint, grain or plenums. Two invented dryers stand in for
all: mixed and cross flow, 72 m3, three heated zones and a cooling zone, sensors in the lowest
heated zone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from outfeed.dryer.cells import air_enthalpy
from outfeed.dryer.closures import (
    DRY_AIR_HEAT,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT,
    ColumnModel,
)
from outfeed.dryer.description import Conditions, Dryer, DryerKind, Feed, Zone
from outfeed.dryer.inverse import rate_for_moisture
from outfeed.dryer.plugs import PlugColumn
from outfeed.dryer.task import task
from outfeed.steering.moves import ScheduledStep
from outfeed.steering.prior import Prior, dryer_prior

Array = NDArray[np.float64]

TARGET = 0.155
INLET = 0.22
WEATHER = Conditions(10.0, 0.70, 101_325.0)
CORN = Feed(INLET, 10.0, "corn-yellow-dent")
MODEL = ColumnModel(grain="corn-yellow-dent")
PLENUMS = (("upper", 98.9), ("middle", 85.0), ("lower", 71.1))
HEATED, COOLING = 19.2, 14.4  # m3 a zone
AREA = 6.0  # m2

LIVELY, SLOW = 0.88, 0.44
"""Gains of the controller as a gain of the loop: logarithm of the rate per kelvin times kelvins per
logarithm of the rate. Internal-model tuning gives the first, and half of it is well damped."""

RESET_SHARE = 0.3  # of transit


def dryer(kind: DryerKind = "mixed-flow", sensor: float = 0.5) -> Dryer:
    """An invented dryer with its sensors so far down the lowest heated zone."""
    heated = [
        Zone(
            name=name,
            role="heated",
            volume=HEATED,
            plenum_temperature=plenum,
            airflow_per_volume=0.35,
            sensors=(sensor,) if name == "lower" else (),
        )
        for name, plenum in PLENUMS
    ]
    cooling = Zone(name="cooling", role="cooling", volume=COOLING, airflow_per_volume=0.35)
    return Dryer(
        kind=kind,
        zones=(*heated, cooling),
        cross_section=AREA,
        half_pitch=0.4,
        column_thickness=0.3 if kind == "cross-flow" else None,
        dry_matter_density=610.0,
    )


def sensor_share(sensor: float) -> float:
    """Where such sensors lie, as a share of the transit from the top."""
    return (2.0 * HEATED + sensor * HEATED) / (3.0 * HEATED + COOLING)


@dataclass(frozen=True, slots=True)
class Loop:
    """A dryer at rest at the target, with what is known of it.

    Attributes
    ----------
    machine : Dryer
        The dryer.
    rate : float
        Dry matter that meets the target [kg/s].
    transit_s : float
        Transit time at it [s].
    prior : Prior
        What the column model says of the dryer.
    """

    machine: Dryer
    rate: float
    transit_s: float
    prior: Prior


def loop_of(machine: Dryer) -> Loop:
    """A dryer at rest at the target."""
    rate = rate_for_moisture(machine, WEATHER, CORN, TARGET, model=MODEL).dry_matter_rate
    prior = dryer_prior(machine, WEATHER, CORN, TARGET, model=MODEL)
    assert prior is not None
    return Loop(machine, rate, machine.hold_up_dry_matter / rate, prior)


class ExhaustColumn(PlugColumn):
    """The column, with the temperature of the air that left each zone in the last step [degC]."""

    exhaust: Array

    def _exchange(self, end_M: Array, end_theta: Array, *, moving: bool) -> tuple[Array, Array]:
        water, heat = super()._exchange(end_M, end_theta, moving=moving)
        places = np.array(self.bundles[0])
        T, W, airflow = self._air[0][:3]
        enthalpy = air_enthalpy(T, W) - heat[places].sum(axis=0) / airflow
        humid = W + water[places].sum(axis=0) / airflow
        left = (enthalpy - humid * LATENT_HEAT_AT_ZERO) / (DRY_AIR_HEAT + humid * VAPOUR_HEAT)
        zones = self.zone[places[0]]
        count = int(zones.max()) + 1
        self.exhaust = np.array(
            [np.average(left[zones == z], weights=airflow[zones == z]) for z in range(count)]
        )
        return water, heat


@dataclass(frozen=True, slots=True)
class Trace:
    """What a run showed.

    Attributes
    ----------
    times : ndarray
        Times since the change [s], shape (n,).
    away : ndarray
        Moisture of the grain that leaves less the target [points], shape (n,); a row a plug, and
        plugs are equal, so that each weighs the same.
    exhaust : ndarray
        Temperature of the air that leaves each zone [degC], shape (n, zones).
    """

    times: Array
    away: Array
    exhaust: Array

    @property
    def rms(self) -> float:
        """RMS distance from the target [points]."""
        return float(np.sqrt(np.mean(self.away**2)))


def follow(
    loop: Loop,
    *,
    gain: float = SLOW,
    steps: Sequence[ScheduledStep] = (),
    grain: Feed = CORN,
    hotter: float = 0.0,
    transits: float = 3.0,
) -> Trace:
    """Run a dryer on from rest, its grain and plenums changed at time nought.

    Parameters
    ----------
    loop : Loop
        The dryer.
    gain : float
        Gain of the loop [-].
    steps : sequence of ScheduledStep
        Moves of the setpoint, their times from the change on.
    grain : Feed
        What comes in from then on.
    hotter : float
        What all plenums are hotter by from then on [K].
    transits : float
        How long to run, in transits at the first rate [-].

    Returns
    -------
    Trace
        What the run showed.
    """
    machine, rate = loop.machine, loop.rate
    column = ExhaustColumn(machine, task(machine, WEATHER, CORN, rate, MODEL))
    start = rate_for_moisture(machine, WEATHER, CORN, TARGET, model=MODEL)
    column.start_from(start.profile)
    for _ in range(column.depth):
        column.step(column.plug / rate, moving=True)
    held = float(np.mean(column.look(0.0, 0.0)[3]))
    first = column.exhaust
    changed = machine.with_plenums(
        [None if one is None else one + hotter for one in machine.plenum_temperatures]
    )
    column.supply(task(changed, WEATHER, grain, rate, MODEL))
    per_kelvin = gain / loop.prior.column_per_time
    now = integral = 0.0
    times, away, exhaust = [0.0], [], [first]
    while now < transits * loop.transit_s:
        _, moisture_db, _, sensors, _, _ = column.look(now, 0.0)
        away.append(100.0 * (moisture_db / (1.0 + moisture_db) - TARGET))
        setpoint = held + sum(step.step for step in steps if step.at_s <= now)
        error = float(np.mean(sensors)) - setpoint
        flow = rate * math.exp(integral + per_kelvin * error)
        dwell = column.plug / flow
        integral += per_kelvin * error * dwell / (RESET_SHARE * loop.transit_s)
        column.step(dwell, moving=True)
        now += dwell
        times.append(now)
        exhaust.append(column.exhaust)
    return Trace(np.array(times[:-1]), np.array(away), np.array(exhaust[:-1]))


def wetter(points: float) -> Feed:
    """The grain with so many points more of moisture."""
    return replace(CORN, moisture_wb=INLET + points / 100.0)
