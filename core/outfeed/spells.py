"""Stretches of a log that deserve a look: what stood still, ran away or cannot be true.

Discharge stopped with heat on, a column hotter than any published drying air, frozen sensors, a
plenum off its setpoint, impossible readings, grain that leaves wetter than it came, holes in the
log. The thresholds are chosen so that a person would want to know, and are named here; only the
plenum's has a (common-practice) source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from outfeed.arrays import BoolArray, FloatArray, IndexArray, runs_of
from outfeed.methods import COMMON_PRACTICE, Method
from outfeed.runlog import Run, hotter_than_possible, reads_temperature
from outfeed.steering.clean import COLUMN_READING
from outfeed.steering.fire import RISE_AFTER_FALL
from outfeed.steering.impossible import stands_alone

SpellKind = Literal[
    "hot-column",
    "stopped-and-climbing",
    "stopped-with-heat",
    "impossible-reading",
    "wetter-than-inlet",
    "frozen-sensor",
    "plenum-off-setpoint",
    "gap",
]
SPELL_KINDS: tuple[SpellKind, ...] = (
    "hot-column",
    "stopped-and-climbing",
    "stopped-with-heat",
    "impossible-reading",
    "wetter-than-inlet",
    "frozen-sensor",
    "plenum-off-setpoint",
    "gap",
)

OF_FIRE: tuple[SpellKind, ...] = ("hot-column", "stopped-and-climbing", "stopped-with-heat")
"""Kinds of spells in which fire is thought of first."""
PLENUM_TOLERANCE = 3.0 / 1.8
"""A plenum at rest holds within 2 to 3 degF of its setpoint [K]: common practice, no source."""
PLENUM_TIME_S = 900.0
"""Off its setpoint for this long, with grain running, is a spell; chosen, no source."""
FROZEN_TIME_S = 7_200.0
"""One and the same reading for this long, with grain running, is looked at; chosen, no source."""
FROZEN_FACTOR = 20.0
"""... if it is also this many times the sensor's usual run of one value; chosen, no source."""
TYPED_CHANGES = 20
"""An inlet moisture with fewer changes is typed in by hand, not read; chosen, no source."""
HOT_PLENUM = 40.0
"""A plenum above this says that heat is on [degC]; chosen, no source."""
HEAT_SHARE = 0.10
"""So does a burner above this share of its usual heat; chosen, no source."""
WETTER_BY = 0.01
"""Leaving this much wetter than it came is no drying [-]; chosen, no source."""
WETTER_TIME_S = 900.0
"""... for this long; chosen, no source."""

MOST_SPELLS = 500
"""Spells of one kind and column that are listed; the longest."""

SUSPICION = Method(
    id="review.suspicious-spells",
    title="Stretches of a log that deserve a look",
    source="Thresholds chosen for a person's attention; a plenum holds within 2 to 3 degF of its "
    "setpoint by common practice",
    known=COMMON_PRACTICE,
)
METHODS = (SUSPICION,)


@dataclass(frozen=True, slots=True)
class Spell:
    """One stretch that deserves a look.

    Attributes
    ----------
    kind : str
        See `SPELL_KINDS`.
    channel : str
        The column of the log it shows in.
    start_s, end_s : float
        From when to when [s].
    rows : int
        Rows of the log in it.
    level : float or None
        The frozen value, the hottest reading, the highest that cannot be true, the mean departure
        from the setpoint, the mean excess over the inlet, or the rise of the column while stopped,
        SI; None where no number helps.
    alone : bool
        Whether it is one reading beyond what a sensor in a dryer can give, between calm neighbours.
    """

    kind: SpellKind
    channel: str
    start_s: float
    end_s: float
    rows: int
    level: float | None = None
    alone: bool = False

    @property
    def seconds(self) -> float:
        """How long it lasted [s]."""
        return self.end_s - self.start_s

    @property
    def broken_or_fire(self) -> bool:
        """Whether a temperature was read that is that of a broken sensor or of a fire."""
        if self.kind != "impossible-reading" or self.level is None or self.alone:
            return False
        return hotter_than_possible(self.channel, self.level)

    @property
    def of_fire(self) -> bool:
        """Whether it may be one of fire."""
        return self.kind in OF_FIRE or self.broken_or_fire


def find_spells(run: Run, inlet: FloatArray | None = None) -> tuple[Spell, ...]:
    """Every suspicious stretch of a run.

    Parameters
    ----------
    run : Run
        Prepared log.
    inlet : ndarray, optional
        Inlet moisture of the grain leaving at each row [-], NaN where unknown, shape (n,).

    Returns
    -------
    tuple of Spell
        By kind in the order of `SPELL_KINDS`, then by time.
    """
    found = [
        *_stopped(run),
        *_hot(run),
        *_impossible(run),
        *_wetter(run, inlet),
        *_frozen(run),
        *_plenum(run),
        *_gaps(run),
    ]
    return tuple(sorted(found, key=lambda spell: (SPELL_KINDS.index(spell.kind), spell.start_s)))


def _spell(
    run: Run, kind: SpellKind, channel: str, start: int, end: int, level: float | None = None
) -> Spell:
    times = run.log.times_s
    last = float(times[end - 1] + run.seconds[end - 1])
    return Spell(kind, channel, float(times[start]), last, int(end - start), level)


def _long_runs(run: Run, mask: BoolArray, shortest_s: float) -> Iterator[tuple[int, int]]:
    starts, ends = runs_of(mask)
    clock = np.concatenate(([0.0], np.cumsum(run.seconds)))
    lasted = clock[ends] - clock[starts]
    long = _longest(np.flatnonzero(lasted >= shortest_s), lasted)
    yield from zip(starts[long].tolist(), ends[long].tolist(), strict=True)


def _longest(which: IndexArray, lasted: FloatArray) -> IndexArray:
    """At most `MOST_SPELLS` of them, the longest, in order of time."""
    if which.size <= MOST_SPELLS:
        return which
    order = np.argsort(-lasted[which], kind="stable")[:MOST_SPELLS]
    return np.sort(which[order])


def _heat_on(run: Run) -> BoolArray:
    on = np.zeros(run.rate.shape, dtype=np.bool_)
    if run.log.plenum is not None:
        on |= run.log.plenum > HOT_PLENUM  # not where it was not read
    heat = run.log.heat
    if heat is not None and np.any(heat > 0.0):
        on |= heat > HEAT_SHARE * float(np.median(heat[heat > 0.0]))
    return on


def _stopped(run: Run) -> Iterator[Spell]:
    if not run.rate_read:
        return  # whether grain stood is not known
    heat = _heat_on(run)
    for start, end in _long_runs(run, ~run.running & heat, 0.0):
        yield _spell(run, "stopped-with-heat", "rate", start, end, _climb(run, start, end))
    # what smoulders needs no burner
    for start, end in _long_runs(run, ~run.running & ~heat, 0.0):
        climb = _climb(run, start, end)
        if climb is not None and climb >= RISE_AFTER_FALL:
            yield _spell(run, "stopped-and-climbing", "rate", start, end, climb)


def _climb(run: Run, start: int, end: int) -> float | None:
    """The largest climb of a column sensor over some rows; None without sensors."""
    return max((_rise(sensor[start:end]) for sensor in run.log.columns), default=None)


def _rise(values: FloatArray) -> float:
    """Highest reading kept for two rows less the first; one spike is not yet a climb."""
    read = values[np.isfinite(values)]
    if read.size < 2:
        return 0.0
    return float(np.max(np.minimum(read[1:], read[:-1])) - read[0])


def _hot(run: Run) -> Iterator[Spell]:
    for channel, values in run.hot.items():
        for start, end in _long_runs(run, np.isfinite(values), 0.0):
            level = float(np.max(values[start:end]))
            yield _spell(run, "hot-column", channel, start, end, level)


def _impossible(run: Run) -> Iterator[Spell]:
    clean = dict(run.log.named())
    for channel, values in run.impossible.items():
        shown = np.where(np.isfinite(values), values, clean[channel])
        alone = _alone(run.log.times_s, shown) if reads_temperature(channel) else None
        for start, end in _long_runs(run, np.isfinite(values), 0.0):
            level = float(np.max(values[start:end]))
            spell = _spell(run, "impossible-reading", channel, start, end, level)
            yield spell if alone is None else replace(spell, alone=bool(alone[start:end].all()))


def _alone(times: FloatArray, shown: FloatArray) -> BoolArray:
    """Which readings, too hot for any sensor, stand between calm ones."""
    read = np.flatnonzero(np.isfinite(shown))
    alone = np.zeros(shown.shape, dtype=np.bool_)
    alone[read] = stands_alone(times[read], shown[read]) & (shown[read] > COLUMN_READING.high)
    return alone


def _wetter(run: Run, inlet: FloatArray | None) -> Iterator[Spell]:
    outlet = run.log.moisture_out
    if inlet is None or outlet is None:
        return
    excess = outlet - inlet
    for start, end in _long_runs(run, (excess > WETTER_BY) & run.running, WETTER_TIME_S):
        mean = float(np.mean(excess[start:end]))
        yield _spell(run, "wetter-than-inlet", "moisture out", start, end, mean)


def _frozen(run: Run) -> Iterator[Spell]:
    """Runs of one value, long for a person and long for this sensor, while grain moves."""
    moving = np.concatenate(([0.0], np.cumsum(np.where(run.running, run.seconds, 0.0))))
    watched = {"moisture in", "moisture out"}
    for channel, values in run.log.named():
        if channel not in watched and not reads_temperature(channel):
            continue
        edges = np.flatnonzero(values[1:] != values[:-1]) + 1  # NaN differs from itself
        if channel == "moisture in" and edges.size < TYPED_CHANGES:
            continue
        bounds = np.concatenate(([0], edges, [values.size]))
        lasted = np.diff(moving[bounds])
        while_moving = lasted[lasted > 0.0]
        usual = float(np.median(while_moving)) if edges.size and while_moving.size else 0.0
        limit = max(FROZEN_TIME_S, FROZEN_FACTOR * usual)
        for k in _longest(np.flatnonzero(lasted >= limit), lasted).tolist():
            start, end = int(bounds[k]), int(bounds[k + 1])
            yield _spell(run, "frozen-sensor", channel, start, end, float(values[start]))


def _plenum(run: Run) -> Iterator[Spell]:
    plenum, setpoint = run.log.plenum, run.log.plenum_setpoint
    if plenum is None or setpoint is None:
        return
    departure = plenum - setpoint
    off = (np.abs(departure) > PLENUM_TOLERANCE) & run.running
    for start, end in _long_runs(run, off, PLENUM_TIME_S):
        mean = float(np.mean(departure[start:end]))
        yield _spell(run, "plenum-off-setpoint", "plenum", start, end, mean)


def _gaps(run: Run) -> Iterator[Spell]:
    times = run.log.times_s
    for row in _longest(run.gaps, np.diff(times)).tolist():
        start = float(times[row] + run.seconds[row])
        yield Spell("gap", "all", start, float(times[row + 1]), 0)
