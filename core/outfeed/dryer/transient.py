"""How a column moves from one state to another: plugs of grain with their history.

The column is cut into plugs of equal dry matter. A plug dwells in one place, dried by air that is
steady at every instant (it holds a thousandth of the grain's heat), and then moves on to the next
as one: no plug ever mixes with another, so a step at the inlet arrives at the discharge as a step,
and a change of rate ramps over a whole transit. At rest the scheme is the steady solver's own.

A plenum takes its new temperature at once, and grain leaves as it leaves the column.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.plugs import PlugColumn
from outfeed.dryer.task import Task, task
from outfeed.errors import Inconsistent, NotConverged
from outfeed.interrupt import may_stop
from outfeed.limits import SENSIBLE, Range

LONGEST_DWELL = 600.0
"""Dwell beyond which a plug is treated as standing still, in smaller steps [s]."""
STANDING_STEP = 60.0
"""Step of time for grain that stands still [s]."""
AIR_STEP = 600.0
"""Time over which moving air is taken as steady [s]."""
HORIZON = Range("time to follow", 60.0, 14.0 * 86_400.0, "s", SENSIBLE)
MOST_STEPS = 40_000
A_HAIR = 1e-9
"""Share by which rounding may leave a sum of dwells short of the whole [-]."""


@dataclass(frozen=True, slots=True)
class Change:
    """What is different from a time on; absent fields stay as they were.

    Attributes
    ----------
    time : float
        When [s], from the start of the trace.
    dry_matter_rate : float, optional
        Dry matter through the dryer [kg/s]; zero holds the grain.
    plenum_temperatures : tuple, optional
        Zone by zone [degC]; None entries for cooling zones.
    moisture_wb : float, optional
        Inlet moisture, wet basis [-].
    temperature : float, optional
        Inlet grain temperature [degC].
    ambient_temperature : float, optional
        Ambient dry bulb [degC].
    ambient_relative_humidity : float, optional
        Ambient relative humidity [-].
    """

    time: float
    dry_matter_rate: float | None = None
    plenum_temperatures: tuple[float | None, ...] | None = None
    moisture_wb: float | None = None
    temperature: float | None = None
    ambient_temperature: float | None = None
    ambient_relative_humidity: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """Traces of a column in motion.

    Attributes
    ----------
    time : ndarray
        Times [s] at which a plug left, or at which standing grain was looked at.
    outlet_moisture_wb : ndarray
        Moisture of the grain that leaves, or of the lowest grain while none does [-].
    outlet_temperature : ndarray
        Its temperature [degC].
    sensor_temperature : ndarray
        Grain at the sensors [degC], one column a sensor.
    discharged : ndarray
        Dry matter discharged since the start [kg].
    hottest_kernel : ndarray
        Hottest grain in the column [degC].
    transit_time : float
        Hold-up over the last rate [s]; infinite when the grain is held.
    """

    time: FloatArray
    outlet_moisture_wb: FloatArray
    outlet_temperature: FloatArray
    sensor_temperature: FloatArray
    discharged: FloatArray
    hottest_kernel: FloatArray
    transit_time: float

    @property
    def column_temperature(self) -> FloatArray | None:
        """Mean of the sensors [degC]; None without sensors."""
        if self.sensor_temperature.shape[1] == 0:
            return None
        return np.asarray(self.sensor_temperature.mean(axis=1))


@dataclass(frozen=True, slots=True)
class Settling:
    """What a trace shows after a change.

    Attributes
    ----------
    before, after : float
        Value before the change and at the end of the trace.
    dead_time : float
        Time after the change until 5 % of the way [s]; infinite when nothing moves.
    settling_time : float
        Time after the change from which the value stays within 5 % of the way of its end [s].
    """

    before: float
    after: float
    dead_time: float
    settling_time: float


@dataclass(frozen=True, slots=True)
class OffTarget:
    """Grain that leaves off target.

    Attributes
    ----------
    wet, dry : float
        Dry matter that leaves above and below the band [kg].
    wet_excess, dry_excess : float
        Mean distance of that grain from the target, wet basis [-]; zero when there is none.
    until : float
        Time of the last grain off target [s]; zero when there is none.
    """

    wet: float
    dry: float
    wet_excess: float
    dry_excess: float
    until: float


def air_changes(
    time: FloatArray,
    temperature: FloatArray,
    relative_humidity: FloatArray | None = None,
    *,
    grain_follows: bool = False,
) -> list[Change]:
    """Outside air that moves by itself, as changes for `respond`.

    Parameters
    ----------
    time : ndarray
        Rising times [s]; the trace starts at the first.
    temperature : ndarray
        Ambient dry bulb at them [degC].
    relative_humidity : ndarray, optional
        Ambient relative humidity at them [-]; it stays as it was when left out.
    grain_follows : bool
        Whether grain comes in as warm as the air of the moment.

    Returns
    -------
    list of Change
        One every ten minutes, with the air of their middle; straight lines between the times, and
        the last air stays.

    Raises
    ------
    Inconsistent
        Fewer than two times, or times that do not rise.
    """
    if time.size < 2 or np.any(np.diff(time) <= 0.0):
        raise Inconsistent("air that moves needs two times or more, in rising order", "hourly")
    length = float(time[-1] - time[0])
    starts = np.append(np.arange(0.0, length, AIR_STEP), length)
    middle = np.minimum(starts + 0.5 * AIR_STEP, length) + time[0]
    warm = np.interp(middle, time, temperature)
    damp = None if relative_humidity is None else np.interp(middle, time, relative_humidity)
    return [
        Change(
            float(at),
            temperature=float(warm[row]) if grain_follows else None,
            ambient_temperature=float(warm[row]),
            ambient_relative_humidity=None if damp is None else float(damp[row]),
        )
        for row, at in enumerate(starts)
    ]


def respond(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: float,
    changes: Sequence[Change],
    duration: float,
    *,
    model: ColumnModel | None = None,
    fresh: bool = False,
) -> Response:
    """Traces after changes of settings, grain or weather.

    Parameters
    ----------
    dryer : Dryer
        The description, as it was before.
    conditions : Conditions
        Weather before; numbers.
    feed : Feed
        Grain at the inlet before; numbers.
    dry_matter_rate : float
        Dry matter through the dryer before [kg/s]; with `fresh` zero holds the grain.
    changes : sequence of Change
        What happens when, in order of time.
    duration : float
        How long to follow [s].
    model : ColumnModel, optional
        Which formulas.
    fresh : bool
        Whether the column starts full of grain as fed, instead of settled.

    Returns
    -------
    Response
        The traces.

    Raises
    ------
    NotConverged
        A step did not settle.
    Inconsistent
        Changes out of order.
    OutOfRange
        A value outside the sensible domain.
    """
    HORIZON.check(duration, "duration")
    times = [change.time for change in changes]
    if times != sorted(times):
        raise Inconsistent("changes must come in order of time", "changes")
    state = _State(dryer, conditions, feed, dry_matter_rate)
    chosen = model or ColumnModel(grain=feed.grain)
    column = PlugColumn(dryer, state.task(chosen))
    if not fresh:
        settled = solve_column(dryer, conditions, feed, dry_matter_rate, model=chosen)
        column.start_from(settled)
        for _ in range(column.depth):
            column.step(column.plug / dry_matter_rate, moving=True)
    return _follow(column, state, chosen, list(changes), duration)


def discharged(
    column: PlugColumn,
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: float,
    *,
    model: ColumnModel | None = None,
) -> Response:
    """Traces while the grain that stands in a column leaves it.

    Parameters
    ----------
    column : PlugColumn
        The column as it stands; it is moved on.
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    dry_matter_rate : float
        Dry matter through the dryer [kg/s], above zero.
    model : ColumnModel, optional
        Which formulas.

    Returns
    -------
    Response
        The traces over one transit.

    Raises
    ------
    NotConverged
        A step did not settle.
    """
    state = _State(dryer, conditions, feed, dry_matter_rate)
    chosen = model or ColumnModel(grain=feed.grain)
    transit = dryer.hold_up_dry_matter / dry_matter_rate
    return _follow(column, state, chosen, [], transit * (1.0 - A_HAIR))


def settling(response: Response, values: FloatArray, change_time: float = 0.0) -> Settling:
    """Dead time and settling time of one trace.

    Parameters
    ----------
    response : Response
        The traces.
    values : ndarray
        One of them, over the same times.
    change_time : float
        When the change came [s].

    Returns
    -------
    Settling
        Times counted from the change.
    """
    later = response.time > change_time
    start = float(values[~later][-1]) if np.any(~later) else float(values[0])
    end = float(values[-1])
    way = np.abs(values - start)
    moved = later & (way > 0.05 * abs(end - start))
    if end == start or not np.any(moved):
        return Settling(start, end, np.inf, 0.0)
    away = later & (np.abs(values - end) > 0.05 * abs(end - start))
    # Settled from the first value that stays there, which is no earlier than the first that moved.
    settled = min(int(np.flatnonzero(away)[-1]) + 1, values.size - 1) if np.any(away) else None
    first = float(response.time[moved][0]) - change_time
    last = first if settled is None else float(response.time[settled]) - change_time
    return Settling(start, end, first, last)


def off_target(response: Response, target_moisture_wb: float, band: float) -> OffTarget:
    """Grain that leaves outside a band around the target.

    Parameters
    ----------
    response : Response
        The traces.
    target_moisture_wb : float
        Moisture wanted, wet basis [-].
    band : float
        Half width of the band, wet basis [-].

    Returns
    -------
    OffTarget
        How much, how far off, until when.
    """
    mass = np.diff(response.discharged, prepend=0.0)
    excess = response.outlet_moisture_wb - target_moisture_wb
    wet, dry = (excess > band) & (mass > 0.0), (excess < -band) & (mass > 0.0)
    off = wet | dry
    return OffTarget(
        float(mass[wet].sum()),
        float(mass[dry].sum()),
        float(np.average(excess[wet], weights=mass[wet])) if np.any(wet) else 0.0,
        float(np.average(-excess[dry], weights=mass[dry])) if np.any(dry) else 0.0,
        float(response.time[off][-1]) if np.any(off) else 0.0,
    )


@dataclass(slots=True)
class _State:
    """Settings, grain and weather now."""

    dryer: Dryer
    conditions: Conditions
    feed: Feed
    rate: float

    def apply(self, change: Change) -> None:
        if change.dry_matter_rate is not None:
            self.rate = change.dry_matter_rate
        if change.plenum_temperatures is not None:
            self.dryer = self.dryer.with_plenums(change.plenum_temperatures)
        grain = {"moisture_wb": change.moisture_wb, "temperature": change.temperature}
        self.feed = replace(self.feed, **_given(grain))
        weather = {
            "ambient_temperature": change.ambient_temperature,
            "ambient_relative_humidity": change.ambient_relative_humidity,
        }
        self.conditions = replace(self.conditions, **_given(weather))

    def task(self, model: ColumnModel) -> Task:
        # Held grain has no rate; the air does not ask for one.
        rate = self.rate or 1.0
        return task(self.dryer, self.conditions, self.feed, rate, model)


def _given(values: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None}


def _follow(
    column: PlugColumn, state: _State, model: ColumnModel, changes: list[Change], duration: float
) -> Response:
    time, gone, travelled = 0.0, 0.0, 0.0
    rows = [column.look(time, gone)]
    for _ in range(MOST_STEPS):
        may_stop()
        while changes and changes[0].time <= time:
            state.apply(changes.pop(0))
            column.supply(state.task(model))
        if time >= duration:
            return _response(rows, column.plug * column.depth, state.rate)
        dwell = (column.plug - travelled) / state.rate if state.rate > 0.0 else np.inf
        moving = dwell <= LONGEST_DWELL
        step = min(dwell, np.inf if moving else STANDING_STEP)
        column.step(step, moving=moving)
        time += step
        travelled += step * state.rate
        if travelled >= column.plug * (1.0 - A_HAIR):
            travelled = 0.0
            gone += column.plug
            if not moving:
                column.advance()
        rows.append(column.look(time, gone))
    raise NotConverged("the trace", (0.0, time), duration)


def _response(rows: list[tuple[Any, ...]], hold_up: float, rate: float) -> Response:
    time, moisture, temperature, sensors, gone, hottest = zip(*rows, strict=True)
    M = np.array(moisture)
    return Response(
        np.array(time),
        M / (1.0 + M),
        np.array(temperature),
        np.array(sensors).reshape(len(rows), -1),
        np.array(gone),
        np.array(hottest),
        hold_up / rate if rate > 0.0 else np.inf,
    )
