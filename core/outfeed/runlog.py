"""A dryer's log as arrays, cleaned, with how long each row holds and how much grain has left.

A row holds until the next one, but never across a hole in the log. A reading that was not taken is
NaN on the way in; readings that no sensor can give become so here and are counted. Grain is
book-kept by plug flow: what leaves now entered when the discharge counter stood one hold-up lower.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, IndexArray, runs_of
from outfeed.errors import Inconsistent
from outfeed.limits import SENSIBLE, Range
from outfeed.steering.clean import COLUMN_READING
from outfeed.steering.fire import STOPPED_SHARE, usual_rate
from outfeed.steering.runaway import HOTTEST_PUBLISHED

LOGGED_TIME = Range("time in a log", -1e11, 1e11, "s", SENSIBLE)
LOGGED_RATE = Range("logged discharge rate", -1_000.0, 1_000.0, "kg/s", SENSIBLE)
LOGGED_SETPOINT = Range("logged setpoint", -1_000.0, 2_000.0, "degC", SENSIBLE)
LOGGED_MOISTURE = Range("logged moisture", -100.0, 100.0, "", SENSIBLE)
LOGGED_HEAT = Range("logged heat rate", 0.0, 1e9, "W", SENSIBLE)
HOLD_UP = Range("grain held in the dryer", 50.0, 2e6, "kg", SENSIBLE)

POSSIBLE_RATE = Range("discharge rate", 0.0, 200.0, "kg/s", SENSIBLE)
POSSIBLE_TEMPERATURE = Range("temperature in a dryer", -45.0, 250.0, "degC", SENSIBLE)
POSSIBLE_MOISTURE = Range("moisture of grain at a dryer", 0.03, 0.50, "", SENSIBLE)

GAP_FACTOR = 4.0
"""A hole is longer than this many usual intervals; chosen, no source."""
SHORTEST_GAP_S = 600.0
"""A shorter hole is bridged; chosen, no source."""
SHORTEST_STOP_S = 600.0
"""Shorter standstills belong to a discharge that works in strokes; chosen, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class RunLog:
    """Columns of a log, each of shape (n,); NaN where nothing was read.

    Attributes
    ----------
    times_s : ndarray
        Times, rising [s].
    rate : ndarray
        Grain leaving [kg/s].
    moisture_in, moisture_out : ndarray, optional
        Wet basis [-].
    columns : tuple of ndarray
        Temperatures in the grain column, one entry a sensor [degC].
    plenum, plenum_setpoint : ndarray, optional
        [degC].
    heat : ndarray, optional
        Fuel burned, higher heating value [W].
    reference : ndarray, optional
        Discharge moisture of samples checked on a reference meter or oven, wet basis [-].
    """

    times_s: FloatArray
    rate: FloatArray
    moisture_in: FloatArray | None = None
    moisture_out: FloatArray | None = None
    columns: tuple[FloatArray, ...] = ()
    plenum: FloatArray | None = None
    plenum_setpoint: FloatArray | None = None
    heat: FloatArray | None = None
    reference: FloatArray | None = None

    def __post_init__(self) -> None:
        LOGGED_TIME.check(self.times_s, "times_s")
        if self.times_s.size < 2 or np.any(np.diff(self.times_s) <= 0.0):
            raise Inconsistent("a log needs two rows or more, in rising order of time", "times_s")
        for name, column in self.named():
            if column.shape != self.times_s.shape:
                raise Inconsistent(
                    f"{name} has {column.size} readings for {self.times_s.size} times", name
                )

    def named(self) -> list[tuple[str, FloatArray]]:
        """Name and readings of every column that is there, sensors numbered from 1.

        Returns
        -------
        list of (str, ndarray)
            Without the times.
        """
        found: list[tuple[str, FloatArray]] = []
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name == "columns":
                found += [(f"column sensor {k}", sensor) for k, sensor in enumerate(value, start=1)]
            elif entry.name != "times_s" and value is not None:
                found.append((entry.name.replace("_", " "), value))
        return found


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A cleaned log with its book-keeping, each of shape (n,).

    Attributes
    ----------
    log : RunLog
        Impossible readings taken out, rates filled in.
    seconds : ndarray
        How long each row holds [s]; the usual interval at the edge of a hole.
    rate : ndarray
        Grain leaving [kg/s]; the last reading held where none was taken.
    counter : ndarray
        Grain that has left when the row begins [kg].
    running : ndarray of bool
        Whether grain leaves, strokes of the discharge bridged.
    column : ndarray or None
        Mean of the column sensors [degC].
    impossible : dict
        From column to its readings that could not be true, NaN elsewhere; only columns that have
        any.
    gaps : ndarray
        Rows after which the log has a hole.
    hot : dict
        From column sensor to its readings above every published limit of drying air, NaN
        elsewhere [degC]; only sensors that have any.
    """

    log: RunLog
    seconds: FloatArray
    rate: FloatArray
    counter: FloatArray
    running: BoolArray
    column: FloatArray | None
    impossible: dict[str, FloatArray]
    gaps: IndexArray
    hot: dict[str, FloatArray]

    @property
    def grain(self) -> FloatArray:
        """Grain leaving during each row [kg]."""
        return np.asarray(self.rate * self.seconds)

    @property
    def any_left(self) -> bool:
        """Whether grain left at any time."""
        return bool(self.running.any())

    @property
    def rate_read(self) -> bool:
        """Whether the discharge was read at any time."""
        return bool(np.isfinite(self.log.rate).any())

    def rows_when(self, held: float) -> tuple[IndexArray, BoolArray]:
        """For each row, the row at which its grain passed a point, and whether the log knows it.

        Parameters
        ----------
        held : float
            Grain between that point and the discharge [kg].

        Returns
        -------
        tuple of ndarray
            Row numbers and whether the log reaches back that far, shape (n,).
        """
        wanted = self.counter - held
        rows = np.searchsorted(self.counter, wanted, side="right") - 1
        return np.maximum(rows, 0), wanted >= self.counter[0]


def prepare(log: RunLog) -> Run:
    """Clean a log and keep its books.

    Parameters
    ----------
    log : RunLog
        As recorded.

    Returns
    -------
    Run
        Ready to be judged; nothing runs where no grain ever left.

    Raises
    ------
    Inconsistent
        No reading of the discharge rate, unless a column sensor shows what may be a fire.
    """
    hot = _hot(log)
    clean, impossible = _without_impossible(log, hot)
    may_burn = bool(hot) or any(hotter_than_possible(*found) for found in impossible.items())
    if not may_burn and not np.isfinite(clean.rate).any():
        raise Inconsistent("the log has no reading of the discharge rate", "rate")
    spacing = np.diff(log.times_s)
    usual = float(np.median(spacing))
    longest = max(GAP_FACTOR * usual, SHORTEST_GAP_S)
    gaps = np.flatnonzero(spacing > longest)
    seconds = np.append(np.where(spacing > longest, usual, spacing), usual)
    rate = held_forward(clean.rate)
    left = np.cumsum(rate * seconds)
    return Run(
        log=clean,
        seconds=seconds,
        rate=rate,
        counter=np.concatenate(([0.0], left[:-1])),
        running=_running(rate, seconds),
        column=_mean_of(clean.columns),
        impossible=impossible,
        gaps=gaps,
        hot=hot,
    )


def reads_temperature(channel: str) -> bool:
    """Whether a column of a log reads a temperature inside the dryer.

    Parameters
    ----------
    channel : str
        As `RunLog.named` calls it.

    Returns
    -------
    bool
        True of the sensors of column and plenum, not of a setpoint.
    """
    return channel == "plenum" or channel.startswith("column sensor")


def hotter_than_possible(channel: str, reading: ArrayLike) -> bool:
    """Whether a sensor inside the dryer shows more than any dryer that is not on fire.

    Parameters
    ----------
    channel : str
        As `RunLog.named` calls it.
    reading : array_like
        What was read, any shape, SI; NaN means "not read".

    Returns
    -------
    bool
        False of all that is no temperature, and of a broken wire that reads too cold.
    """
    beyond = np.any(np.asarray(reading) > POSSIBLE_TEMPERATURE.high)
    return reads_temperature(channel) and bool(beyond)


def held_forward(values: FloatArray) -> FloatArray:
    """Each missing reading replaced by the last one taken, zero before the first.

    Parameters
    ----------
    values : ndarray
        With NaN where nothing was read, shape (n,).

    Returns
    -------
    ndarray
        Finite, shape (n,).
    """
    seen = np.isfinite(values)
    if seen.all():
        return values
    last = np.maximum.accumulate(np.where(seen, np.arange(values.size), -1))
    return np.where(last >= 0, np.where(seen, values, 0.0)[np.maximum(last, 0)], 0.0)


def _hot(log: RunLog) -> dict[str, FloatArray]:
    """Readings of column sensors that may be those of a fire."""
    found = {}
    for k, sensor in enumerate(log.columns, start=1):
        above = (sensor > HOTTEST_PUBLISHED) & (sensor <= COLUMN_READING.high)
        if above.any():
            found[f"column sensor {k}"] = np.where(above, sensor, np.nan)
    return found


def _without_impossible(
    log: RunLog, hot: dict[str, FloatArray]
) -> tuple[RunLog, dict[str, FloatArray]]:
    limits = {
        "rate": POSSIBLE_RATE,
        "moisture_in": POSSIBLE_MOISTURE,
        "moisture_out": POSSIBLE_MOISTURE,
        "reference": POSSIBLE_MOISTURE,
        "plenum": POSSIBLE_TEMPERATURE,
        "plenum_setpoint": POSSIBLE_TEMPERATURE,
        "heat": LOGGED_HEAT,
    }
    wrong: dict[str, FloatArray] = {}
    changes: dict[str, FloatArray | tuple[FloatArray, ...]] = {}
    for name, limit in limits.items():
        column = getattr(log, name)
        if column is not None:
            changes[name], wrong[name.replace("_", " ")] = _split(column, limit)
    sensors = [_split(sensor, POSSIBLE_TEMPERATURE) for sensor in log.columns]
    changes["columns"] = tuple(sensor for sensor, _ in sensors)
    wrong |= {f"column sensor {k}": bad for k, (_, bad) in enumerate(sensors, start=1)}
    wrong |= {name: np.where(np.isnan(hot[name]), wrong[name], np.nan) for name in hot}
    clean = replace(log, **changes)  # type: ignore[arg-type]
    return clean, {name: bad for name, bad in wrong.items() if np.isfinite(bad).any()}


def _split(column: FloatArray, limit: Range) -> tuple[FloatArray, FloatArray]:
    """A column without the readings outside a range, and those alone."""
    bad = (column < limit.low) | (column > limit.high)
    return (np.where(bad, np.nan, column) if bad.any() else column), np.where(bad, column, np.nan)


def _running(rate: FloatArray, seconds: FloatArray) -> BoolArray:
    if not np.any(rate > 0.0):
        return np.zeros(rate.shape, dtype=np.bool_)
    still = rate <= STOPPED_SHARE * usual_rate(seconds, rate)
    starts, ends = runs_of(still)
    clock = np.concatenate(([0.0], np.cumsum(seconds)))
    short = clock[ends] - clock[starts] < SHORTEST_STOP_S
    change = np.zeros(rate.size + 1, dtype=np.int64)
    np.add.at(change, starts[short], 1)
    np.add.at(change, ends[short], -1)
    return np.asarray(~still | (np.cumsum(change[:-1]) > 0))


def _mean_of(columns: tuple[FloatArray, ...]) -> FloatArray | None:
    """Mean of the sensors that were read; NaN where none was."""
    if len(columns) < 2:
        return columns[0] if columns else None
    seen = np.zeros(columns[0].shape)
    total = np.zeros(columns[0].shape)
    for sensor in columns:
        read = np.isfinite(sensor)
        seen += read
        total += np.where(read, sensor, 0.0)
    return np.where(seen > 0, total / np.maximum(seen, 1.0), np.nan)
