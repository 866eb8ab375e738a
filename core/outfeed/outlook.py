"""What tomorrow's air does to the dryer: rate, column setpoint and fuel, hour by hour.

With plenums held, colder air costs fuel and a little rate. A controller that steers by column
temperature needs its setpoint moved a little too, since the same discharge moisture goes with a
slightly cooler column in colder air. Moves are few: one is made only when it is worth it, and not
before the one before has passed through the column.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.ability import Machine, ability_of
from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.grains import Grain
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.steering.feedforward import DOUBT_SHARE, SETPOINT_PER_KELVIN
from outfeed.weather import DAY, HOUR, Weather

RATE_STEP = 0.05
"""A change of rate that is worth a move [-]; chosen: 5 % of rate is a third of a point."""
SETPOINT_STEP = 1.0 / 1.8
"""Step in which a setpoint is moved [K]: 1 degF, whatever the reader's units, so that the same
weather asks for the same moves of every reader."""
WORTH_STEPS = 1.5
"""Steps of setpoint that are worth a move; chosen, so that night and day alone ask for none."""
LOOK_AHEAD_S = 12.0 * HOUR
"""A move is made for the mean of what comes in this time; chosen, no source."""
SHORTEST_HOLD_S = 6.0 * HOUR
"""Moves are not made closer than this, or a transit if that is longer; chosen, no source."""
FRONT_S = 6.0 * HOUR
"""The greatest change of temperature is looked for over this; chosen, no source."""
SHARP = 6.0
"""Change in that time, beyond the daily course, that is worth the word front [K]; chosen, no
source."""
STILL = 0.05
"""Part of a front's change that the air may have made before the front counts as begun [-];
chosen, no source."""
TIE = 1e-9
"""Within this two figures are one [of a step, K]: the rounding of one reader's degrees must not
decide otherwise than that of another's."""
HOLD = Range("hold between moves", 0.0, 48.0 * HOUR, "s", SENSIBLE)
NORMAL_90 = 1.645
"""Half width of a central 90 % interval in standard deviations: normal distribution."""
FEWEST_TO_DRY = 0.02
"""Below this there is no rate worth planning [-]; chosen, no source."""

OUTLOOK = Method(
    id="outlook.hourly",
    title="Rate, setpoint and fuel through a forecast, with few moves",
    source="Rate and fuel by heat and mass balance, relative to the run now; setpoint by the "
    "column model's finite difference",
    known=DERIVED,
    note="Direction and rough size: look at the discharge moisture one transit after each move.",
)
METHODS = (OUTLOOK,)


@dataclass(frozen=True, slots=True)
class Move:
    """A change to make.

    Attributes
    ----------
    at_s : float
        When [s].
    rate_factor : float
        Rate from then on over the rate at the start of the forecast [-].
    rate_change : float
        Change against the rate just before [-].
    setpoint_shift : float
        Setpoint from then on less the setpoint at the start [K].
    setpoint_change : float
        Change against the setpoint just before [K].
    temperature : float
        Outside air then [degC].
    """

    at_s: float
    rate_factor: float
    rate_change: float
    setpoint_shift: float
    setpoint_change: float
    temperature: float


@dataclass(frozen=True, slots=True)
class Front:
    """A change of temperature sharper than that of night and day.

    Attributes
    ----------
    start_s, end_s : float
        From when to when [s].
    before, after : float
        Outside air [degC].
    beyond_daily : float
        Change that the day before and the day after do not share [K], below zero where it grows
        colder; the whole change in a forecast too short to say.
    """

    start_s: float
    end_s: float
    before: float
    after: float
    beyond_daily: float


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """A forecast turned into a schedule, arrays by hour.

    Attributes
    ----------
    weather : Weather
        The forecast.
    needed : ndarray
        Rate that keeps the discharge moisture over the rate at the start [-].
    low, high : ndarray
        Its 90 % band [-].
    set_rate : ndarray
        Rate as scheduled over the rate at the start [-].
    wet_rate : ndarray
        Wet grain taken in as scheduled [kg/s].
    heat : ndarray
        Fuel burned as scheduled [W, higher heating value].
    shift : ndarray
        Setpoint that would keep the moisture, less that at the start [K].
    set_shift : ndarray
        As scheduled [K].
    moves : tuple of Move
        When to change what.
    front : Front or None
        The sharpest change of temperature; None where none is sharper than night and day.
    """

    weather: Weather
    needed: FloatArray
    low: FloatArray
    high: FloatArray
    set_rate: FloatArray
    wet_rate: FloatArray
    heat: FloatArray
    shift: FloatArray
    set_shift: FloatArray
    moves: tuple[Move, ...]
    front: Front | None


def weather_outlook(
    machine: Machine,
    weather: Weather,
    grain: Grain,
    *,
    inlet_wb: float,
    target_wb: float,
    hold_s: float = SHORTEST_HOLD_S,
) -> Outlook:
    """Turn a forecast into a schedule.

    Parameters
    ----------
    machine : KnownRate or DescribedDryer
        The dryer as it runs.
    weather : Weather
        The forecast; its first hour is now.
    grain : Grain
        From the catalogue.
    inlet_wb, target_wb : float
        Moisture going in and wanted at the discharge, wet basis [-].
    hold_s : float
        Least time between two moves [s].

    Returns
    -------
    Outlook
        The schedule.

    Raises
    ------
    OutOfRange, Inconsistent, NotPublished
        Inputs that cannot be worked with.
    """
    MOISTURE_WB.check(inlet_wb, "inlet_wb")
    MOISTURE_WB.check(target_wb, "target_wb")
    HOLD.check(hold_s, "hold_s")
    if inlet_wb < target_wb + FEWEST_TO_DRY:
        raise Inconsistent("the grain needs two points to dry or more", "inlet_wb", "target_wb")
    table = ability_of(machine, weather, grain, target_wb, inlet_wb)
    rate, fuel = table.rate[:, -1], table.heat[:, -1]
    needed = rate / rate[0]
    doubt = np.abs(needed - 1.0) * DOUBT_SHARE * NORMAL_90
    shift = SETPOINT_PER_KELVIN["ambient-temperature"] * (
        weather.temperature - weather.temperature[0]
    )
    moves = _moves(weather, needed, shift, hold_s)
    set_rate, set_shift = _scheduled(weather, moves)
    return Outlook(
        weather=weather,
        needed=needed,
        low=needed - doubt,
        high=needed + doubt,
        set_rate=set_rate,
        wet_rate=set_rate * rate[0] / (1.0 - inlet_wb),
        heat=rate * fuel,
        shift=shift,
        set_shift=set_shift,
        moves=moves,
        front=_front(weather),
    )


def _moves(
    weather: Weather, needed: FloatArray, shift: FloatArray, hold_s: float
) -> tuple[Move, ...]:
    """Walk through the hours; move when what comes is off by a step and the hold has passed.

    The last hours have too little after them to move for.
    """
    moves: list[Move] = []
    rate, setpoint, last = 1.0, 0.0, -np.inf
    ahead = max(round(LOOK_AHEAD_S / HOUR), 1)
    for hour in range(max(weather.hours - ahead, 0) + 1):
        at = weather.start_s + HOUR * hour
        if at - last < hold_s:
            continue
        coming = slice(hour, hour + ahead)
        wanted = round(float(needed[coming].mean()), 2)
        mean = float(shift[coming].mean())
        aim = _whole_steps(mean) * SETPOINT_STEP
        off = abs(wanted / rate - 1.0) >= RATE_STEP - TIE
        if not off and abs(mean - setpoint) < (WORTH_STEPS - TIE) * SETPOINT_STEP:
            continue
        moves.append(
            Move(
                at,
                wanted,
                wanted / rate - 1.0,
                aim,
                aim - setpoint,
                float(weather.temperature[hour]),
            )
        )
        rate, setpoint, last = wanted, aim, at
    return tuple(moves)


def _whole_steps(shift: float) -> int:
    """The nearest number of steps of the setpoint; of two equally near, the larger move."""
    steps = int(abs(shift) / SETPOINT_STEP + 0.5 + TIE)
    return steps if shift > 0.0 else -steps


def _scheduled(weather: Weather, moves: tuple[Move, ...]) -> tuple[FloatArray, FloatArray]:
    rate, shift = np.ones(weather.hours), np.zeros(weather.hours)
    for move in moves:
        from_then = weather.starts_s >= move.at_s - 1e-6
        rate[from_then], shift[from_then] = move.rate_factor, move.setpoint_shift
    return rate, shift


def _front(weather: Weather) -> Front | None:
    """Where the air changes most over six hours, apart from what it does at that time every day."""
    air, span = weather.temperature, min(round(FRONT_S / HOUR), weather.hours - 1)
    beyond = _beyond_daily(air, span)
    size = np.abs(beyond)
    first = int(np.argmax(size >= np.max(size) - TIE))
    if size[first] < SHARP - TIE:
        return None
    before, after = float(air[first]), float(air[first + span])
    moved = np.abs(air[first : first + span + 1] - before) > STILL * abs(after - before)
    times = weather.starts_s
    return Front(
        float(times[first + max(int(np.argmax(moved)) - 1, 0)]),
        float(times[first + span]),
        before,
        after,
        float(beyond[first]),
    )


def _beyond_daily(air: FloatArray, span: int) -> FloatArray:
    """Change over a span from each hour on [K], less what the days beside it do at that hour.

    Two days that differ do not say which of them is the ordinary one: the later is not, where it
    was as warm as the earlier when the span began and apart from it when the span ended.
    """
    change, day = air[span:] - air[: air.size - span], round(DAY / HOUR)
    warmer = air[day:] - air[:-day]  # than a day before
    if warmer.size < 2:
        return change
    starts = np.arange(warmer.size)
    ends = np.minimum(starts + span, warmer.size - 1)
    differs = warmer[ends] - warmer[starts]
    later = np.abs(warmer[starts]) <= np.abs(warmer[ends])
    by_next, by_last = np.full((2, air.size), np.inf)
    by_next[:-day], by_last[day:] = np.where(later, 0.0, -differs), np.where(later, differs, 0.0)
    cut = (starts + span > ends) & (starts >= day)  # the day before tells all of these spans
    by_next[:-day][cut] = np.inf
    beyond = np.where(np.abs(by_next) < np.abs(by_last), by_next, by_last)[: change.size]
    return np.where(np.isfinite(beyond), beyond, change)
