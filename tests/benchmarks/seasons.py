"""Simulated seasons: a simple dryer, lots, weather and a meter, steered by whoever is asked.

The plant is made of synthetic numbers of the column model (change of rate, inlet and plenum
against column temperature and outlet moisture), a plug-flow column and a proportional-integral
column controller. It shares no code with the library. Lots, weather, drift and first setpoint are
drawn so that a season nobody steers is about a point off. Temperatures here are degF and moistures
points, because that is how the numbers are quoted.

How hard the seasons are on a naive rule of 1 degF per half point depends on what was drawn: over
sets of 40 to 100 seasons every half hour ends at 1.5 to 1.9 points RMS, hourly at 0.7 to 0.8,
two-hourly at 0.6 to 0.7.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP_MIN = 2.0
TARGET = 15.5
COLUMN_AT_START = 100.0
START_UP_H = 6.0

RATE_ON_COLUMN = -11.0  # degF per unit of ln(rate): -0.11 degF per percent
INLET_ON_COLUMN = -2.1  # degF per point
INLET_ON_OUTLET = 0.92  # point per point
PLENUM_ON_COLUMN = 0.48  # degF per degF
PLENUM_ON_OUTLET = -0.05  # point per degF
GAIN = 0.08  # unit of ln(rate) per degF at a transit of 1.9 h
RESET_SHARE = 34.0 / 114.0
DEAD_SHARE = 1.0 / 6.0
COLUMN_LAG_SHARE = 0.3
SEASON_BIAS_SD, LOT_BIAS_SD = 0.15, 0.1  # of the meter, points
READING_SD = 0.38  # of one of its readings, points


@dataclass(frozen=True, slots=True)
class Look:
    """What an operator sees at one look; times in minutes, the record up to now.

    `leaving` is what the grain at the meter truly holds and `shown` what the meter would show
    without its noise: only for drawing the readings of a meter check.
    """

    season: int
    now: float
    setpoint: float
    reading: float
    times: Array
    column: Array
    rates: Array
    inlets: Array
    nominal_transit: float
    leaving: float
    shown: float


Policy = Callable[[Look], float]


@dataclass(frozen=True, slots=True)
class Season:
    """What came of one season."""

    rms: Array
    mean_absolute: Array
    outside: Array
    moves_per_day: Array
    dry_cost_per_tonne: Array
    moves: list[tuple[int, float, float]]


@dataclass
class Draws:
    """Everything random of a set of seasons, drawn before anyone steers."""

    transit: Array
    slope: Array
    gain: Array
    start_error: Array
    inlet: Array
    plenum: Array
    drift: Array
    sensor: Array
    bias: Array
    reading_noise: Array
    looks: NDArray[np.bool_]

    def first(self, count: int) -> Draws:
        """The first few of the seasons."""
        return Draws(**{name: value[:count] for name, value in vars(self).items()})

    def looking_every(self, minutes: float) -> Draws:
        """The same seasons with a look exactly every so many minutes."""
        looks = np.zeros_like(self.looks)
        looks[:, :: round(minutes / STEP_MIN)] = True
        return replace(self, looks=looks)


def draw(count: int, days: float, seed: int, *, meter_sd: float = READING_SD) -> Draws:
    """Draw the seasons: dryers, lots, weather, drift, meters and looks."""
    rng = np.random.default_rng(seed)
    steps = round(days * 24 * 60 / STEP_MIN)
    lots = _lots(rng, count, steps)
    hours = np.arange(steps) * STEP_MIN / 60
    phase = rng.uniform(0, 2 * np.pi, (count, 1))
    day = 0.7 * np.sin(2 * np.pi * hours / 24 + phase)
    slope = -np.clip(rng.normal(0.55, 0.13, count), 0.25, 0.95)
    season_bias = rng.normal(0, SEASON_BIAS_SD, (count, 1))
    return Draws(
        transit=rng.uniform(75, 165, count),
        slope=slope,
        gain=GAIN * np.exp(rng.normal(0, 0.3, count)),
        start_error=rng.normal(0, 1.1, count),
        inlet=lots[0] + _wander(rng, count, steps, 0.25, 25.0),
        plenum=day + _wander(rng, count, steps, 0.8, 12 * 60.0),
        drift=_wander(rng, count, steps, 0.25, 24 * 60.0),
        sensor=rng.normal(0, 0.3, (count, steps)),
        bias=season_bias + lots[1],
        reading_noise=rng.normal(0, meter_sd, (count, steps)),
        looks=_looks(rng, count, steps),
    )


def run(draws: Draws, policy: Policy | None, *, sensor_share: float = 0.5) -> Season:
    """Steer every season with a policy that returns the setpoint to run.

    The column sensors lie at a share of the transit from the top.
    """
    count, steps = draws.inlet.shape
    here = np.arange(count)
    minutes = np.arange(steps) * STEP_MIN
    setpoint = np.full(count, COLUMN_AT_START) + draws.start_error / -draws.slope
    setpoint = np.round(setpoint)
    offset = TARGET - draws.slope * COLUMN_AT_START  # column at which the target is met: 100 F
    column = np.empty((count, steps))
    moisture = np.empty((count, steps))
    rate = np.zeros((count, steps + 1))
    flow = np.zeros((count, steps + 1))
    pointer = np.zeros(count, dtype=np.intp)
    sensed = np.zeros(count, dtype=np.intp)
    lagged = np.full(count, 0.0)
    reset = RESET_SHARE * draws.transit
    alpha = STEP_MIN / (COLUMN_LAG_SHARE * draws.transit)
    dead = np.round(DEAD_SHARE * draws.transit / STEP_MIN).astype(np.intp)
    gain = draws.gain
    integral = (setpoint - COLUMN_AT_START) / RATE_ON_COLUMN
    rate[:, 0] = integral
    lagged = integral.copy()
    history = integral.copy()
    moves: list[tuple[int, float, float]] = []
    for k in range(steps):
        pointer = _advance(pointer, flow, k, draws.transit)
        sensed = _advance(sensed, flow, k, draws.transit * sensor_share)
        started = flow[:, k] >= draws.transit
        residence = np.where(started, (k - pointer) * STEP_MIN, draws.transit * np.exp(-history))
        wet = draws.inlet[here, pointer]
        drive = np.log(residence / draws.transit) * -RATE_ON_COLUMN
        moisture[:, k] = (
            offset
            + draws.slope * (COLUMN_AT_START + drive)
            + INLET_ON_OUTLET * wet
            + PLENUM_ON_OUTLET * draws.plenum[:, k]
            + draws.drift[:, k]
        )
        lagged += alpha * (rate[here, np.maximum(k - dead, 0)] - lagged)
        true_column = (
            COLUMN_AT_START
            + RATE_ON_COLUMN * lagged
            + INLET_ON_COLUMN * draws.inlet[here, sensed]
            + PLENUM_ON_COLUMN * draws.plenum[:, k]
        )
        column[:, k] = np.round((true_column + draws.sensor[:, k]) * 10) / 10
        error = column[:, k] - setpoint
        integral = np.clip(integral + gain * error * STEP_MIN / reset, -0.7, 0.7)
        rate[:, k + 1] = np.clip(integral + gain * error, -0.8, 0.8)
        flow[:, k + 1] = flow[:, k] + np.exp(rate[:, k + 1]) * STEP_MIN
        if policy is None or minutes[k] < 60:
            continue
        for i in np.flatnonzero(draws.looks[:, k]):
            first = max(0, k - round(300 / STEP_MIN))
            reading = moisture[i, k] + draws.bias[i, k] + draws.reading_noise[i, k]
            look = Look(
                season=int(i),
                now=float(minutes[k]),
                setpoint=float(setpoint[i]),
                reading=float(np.round(reading, 1)),
                times=minutes[first : k + 1],
                column=column[i, first : k + 1],
                rates=np.exp(rate[i, first : k + 1]),
                inlets=21.0 + draws.inlet[i, first : k + 1],
                nominal_transit=float(draws.transit[i]),
                leaving=float(moisture[i, k]),
                shown=float(moisture[i, k] + draws.bias[i, k]),
            )
            wanted = policy(look)
            if wanted != setpoint[i]:
                moves.append((int(i), float(minutes[k]), wanted - float(setpoint[i])))
                setpoint[i] = wanted
    return _judge(moisture, rate, moves, minutes)


def settled_moisture(draws: Draws, season: int, now: float, setpoint: float) -> float:
    """What a setpoint gives in the end, for the grain at the sensors and the weather now."""
    k = round(now / STEP_MIN)
    inlet = draws.inlet[season, max(0, k - round(draws.transit[season] / 2 / STEP_MIN))]
    plenum, slope = draws.plenum[season, k], draws.slope[season]
    drive = setpoint - COLUMN_AT_START - INLET_ON_COLUMN * inlet - PLENUM_ON_COLUMN * plenum
    return float(
        TARGET
        + slope * drive
        + INLET_ON_OUTLET * inlet
        + PLENUM_ON_OUTLET * plenum
        + draws.drift[season, k]
    )


def _judge(
    moisture: Array, rate: Array, moves: list[tuple[int, float, float]], minutes: Array
) -> Season:
    counted = minutes >= START_UP_H * 60
    away = moisture[:, counted] - TARGET
    weight = np.exp(rate[:, 1:])[:, counted]
    dry = np.minimum(away, 0.0)
    # 180 a tonne for grain, 1.8 per tonne and point for fuel: invented round prices
    lost = 1 - (100 - TARGET) / (100 - TARGET - dry)
    cost = np.sum(weight * (180 * lost - 1.8 * dry), axis=1) / np.sum(weight, axis=1)
    count = np.bincount([m[0] for m in moves], minlength=moisture.shape[0])
    return Season(
        rms=np.sqrt(np.mean(away**2, axis=1)),
        mean_absolute=np.mean(np.abs(away), axis=1),
        outside=np.mean(np.abs(away) > 0.5, axis=1),
        moves_per_day=count / (minutes[-1] / 1440),
        dry_cost_per_tonne=cost,
        moves=moves,
    )


def _advance(pointer: NDArray[np.intp], flow: Array, k: int, held: Array) -> NDArray[np.intp]:
    here = np.arange(pointer.size)
    while True:
        more = (pointer < k) & (flow[here, np.minimum(pointer + 1, k)] <= flow[here, k] - held)
        if not more.any():
            return pointer
        pointer = pointer + more


def _wander(rng: np.random.Generator, count: int, steps: int, sd: float, tau: float) -> Array:
    """Ornstein-Uhlenbeck process with a standard deviation and a time constant in minutes."""
    keep = np.exp(-STEP_MIN / tau)
    kick = rng.normal(0, sd * np.sqrt(1 - keep**2), (count, steps))
    value = rng.normal(0, sd, count)
    out = np.empty((count, steps))
    for k in range(steps):
        value = keep * value + kick[:, k]
        out[:, k] = value
    return out


def _lots(rng: np.random.Generator, count: int, steps: int) -> tuple[Array, Array]:
    """Inlet moisture about its usual value, and the meter's bias, lot by lot."""
    inlet, bias = np.empty((count, steps)), np.empty((count, steps))
    for i in range(count):
        k = 0
        while k < steps:
            length = round(rng.uniform(8, 36) * 60 / STEP_MIN)
            inlet[i, k : k + length] = np.clip(rng.normal(0, 1.2), -3.0, 3.0)
            bias[i, k : k + length] = rng.normal(0, LOT_BIAS_SD)
            k += length
    return inlet, bias


def _looks(rng: np.random.Generator, count: int, steps: int) -> NDArray[np.bool_]:
    looks = np.zeros((count, steps), dtype=np.bool_)
    for i in range(count):
        k = 0
        while k < steps:
            looks[i, k] = True
            k += round(rng.uniform(20, 60) / STEP_MIN)
    return looks


def naive(*, per_half_point: float = 1.0) -> Policy:
    """Move 1 degF per half point of error at every look."""

    def policy(look: Look) -> float:
        return look.setpoint + round((look.reading - TARGET) / 0.5 * per_half_point)

    return policy


def no_correction(look: Look) -> float:
    """Of a meter that nobody checks."""
    return 0.0


def all_knowing(
    draws: Draws, correction: Callable[[Look], float] = no_correction, leave_alone: float = 0.3
) -> Policy:
    """Knows dryer, grain and weather exactly, but not the meter's offset: what is left to gain.

    No reading noise, no doubt about the sensitivity; errors below `leave_alone` points stay. The
    correction is what a meter check adds to a reading, points.
    """

    def policy(look: Look) -> float:
        k = round(look.now / STEP_MIN)
        settled = settled_moisture(draws, look.season, look.now, look.setpoint)
        error = settled + draws.bias[look.season, k] + correction(look) - TARGET
        if abs(error) < leave_alone:
            return look.setpoint
        return look.setpoint + round(float(-error / draws.slope[look.season]))

    return policy
