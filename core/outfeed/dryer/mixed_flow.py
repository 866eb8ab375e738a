"""Mixed flow: a stack of half-pitch beds, alternately against and along the grain.

Each row of inlet ducts feeds the bed above it, against the grain, and the bed below it, along the
grain; the topmost bed is against. Grain passes them one after the other, so the column is marched
from the top: each bed starts from the changes seen in the last bed of its kind. Three cells a bed
are enough in ordinary columns; a bed in which the grain changes much, or whose exhaust is close to
saturation, is solved again with more, and so is one that does not settle: with few cells a bed of
grain that dries fast may have no settled state at all.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.along import along
from outfeed.dryer.cells import transfer_coefficient
from outfeed.dryer.layers import (
    TOLERANCE,
    Air,
    Bed,
    Grain,
    against,
    exhaust_humidity,
    graded,
    kit,
)
from outfeed.dryer.newton import against_at_once, settled_against
from outfeed.dryer.task import Task
from outfeed.dryer.trace import Trace
from outfeed.interrupt import may_stop
from outfeed.numbers import ARRAYS, FLOATS, Numbers

LEVELS = (graded(3, 1.4), graded(5, 1.25), graded(16, 1.12))
"""Cell sizes along the air, coarse to fine."""
CHANGES = (2.0, 5.0)
"""Change of grain temperature over a bed beyond which the next finer cells are used [K]."""
NEAR_SATURATION = (0.90, 0.93)
"""Relative humidity of the exhaust beyond which the next finer cells are used: the isotherm is
steep there. Beyond saturation it no longer matters, and the middle cells do."""
FOG = 1.003
"""Relative humidity of an exhaust that carries fog: there the rate no longer depends on it."""
FINEST = len(LEVELS) - 1

Guess = list[tuple[Any, Any]]


def layer_counts(heights: tuple[float, ...], half_pitch: float) -> tuple[int, ...]:
    """Half-pitch beds in each zone.

    Parameters
    ----------
    heights : tuple of float
        Zone heights [m].
    half_pitch : float
        Distance between a row of inlet ducts and the next row of exhaust ducts [m].

    Returns
    -------
    tuple of int
        At least one a zone; the beds of a zone share its height evenly.
    """
    return tuple(max(1, round(height / half_pitch)) for height in heights)


def solve_mixed_flow(work: Task) -> Trace:
    """Steady state of a mixed-flow column.

    Parameters
    ----------
    work : Task
        The column under one or many scenarios.

    Returns
    -------
    Trace
        Bed by bed; its error tells where it did not settle.
    """
    march = _Single(work) if work.single else _Many(work)
    trace = Trace([work.theta], [work.M], error=0.0 * work.theta)
    number = FLOATS if work.single else ARRAYS
    counts = layer_counts(work.dryer.heights, work.dryer.half_pitch)
    theta, M, upward = work.theta, work.M, True
    for index, count in enumerate(counts):
        length = work.dryer.heights[index] / count
        per_layer = work.airflow[index] / count
        air = layer_air(work, index, per_layer, length)
        march.enter()
        for _ in range(count):
            may_stop()
            bed = march.bed(Grain(theta, M, work.M, work.rate), air, upward=upward)
            hottest = bed.theta[0]
            for face in bed.theta[1:]:
                hottest = number.larger(hottest, face)
            theta, M, upward = bed.theta[-1], bed.M[-1], not upward
            inlet, exhaust = (air.T, air.W), (bed.T, bed.W)
            trace.add(theta, M, hottest, inlet, exhaust, per_layer, index, length)
            trace.error = number.larger(trace.error, bed.error)
    return trace


def layer_air(work: Task, index: int, airflow: Any, length: float) -> Air:
    """Air of one half-pitch bed of a zone.

    Parameters
    ----------
    work : Task
        The column.
    index : int
        Which zone.
    airflow : float or ndarray
        Dry air through the bed [kg/s].
    length : float
        Height of the bed [m].

    Returns
    -------
    Air
        Inlet state and how it passes.
    """
    flux = airflow / work.dryer.area
    transfer = transfer_coefficient(flux, work.T[index], work.model.transfer_factor)
    ratio = airflow / work.dry_matter_rate
    return Air(work.T[index], work.W[index], ratio, length / flux, transfer, work.pressure)


def needed_level(number: Numbers, bed: Bed, pressure: Any) -> tuple[Any, Any]:
    """What decides on the cells of a bed.

    Parameters
    ----------
    number : Numbers
        Kind of number.
    bed : Bed
        The bed as solved.
    pressure : float or ndarray
        Barometric pressure [Pa].

    Returns
    -------
    tuple
        Largest change of grain temperature from the inlet [K], and relative humidity of the
        exhaust [-].
    """
    change = 0.0 * bed.theta[0]
    for face in bed.theta[1:]:
        change = number.larger(change, abs(face - bed.theta[0]))
    return change, exhaust_humidity(number, bed.T, bed.W, pressure)


@lru_cache(maxsize=16)
def _spread(before: int, after: int, *, upward: bool) -> FloatArray:
    """Shares of each old cell's change that fall to each new cell, rows new."""
    old, new = (
        np.cumsum((0.0, *(LEVELS[level][::-1] if upward else LEVELS[level])))
        for level in (before, after)
    )
    overlap = np.minimum(new[1:, None], old[None, 1:]) - np.maximum(new[:-1, None], old[None, :-1])
    return np.asarray(np.maximum(overlap, 0.0) / np.diff(old)[None, :])


class _Single:
    """March of one scenario in plain floats."""

    def __init__(self, work: Task) -> None:
        self._tools = kit(work.model, FLOATS)
        self._fallback = kit(work.model, ARRAYS)
        self._level = {True: 0, False: 0}
        self._guess: dict[bool, Guess] = {
            upward: [(0.0, 0.0)] * len(LEVELS[0]) for upward in (True, False)
        }
        self._last: dict[bool, Guess | None] = {True: None, False: None}
        self._lost = False

    def enter(self) -> None:
        """Forget the trend: a new zone's air begins."""
        self._last = {True: None, False: None}

    def bed(self, grain: Grain, air: Air, *, upward: bool) -> Bed:
        """Solve the next bed, with as many cells as it needs."""
        level = self._level[upward]
        bed = self._at(level, grain, air, upward=upward)
        needed = self._needed(level, bed, air)
        while needed > level:
            steps = bed.steps if bed.error < TOLERANCE else self._guess[upward]
            self._respread(level, needed, steps, upward=upward)
            level = needed
            bed = self._at(level, grain, air, upward=upward)
            needed = self._needed(level, bed, air)
        self._respread(level, needed, bed.steps, upward=upward)
        return bed

    def _needed(self, level: int, bed: Bed, air: Air) -> int:
        if level < FINEST and not bed.error < TOLERANCE and not self._lost:
            return FINEST
        return _level_of(*needed_level(FLOATS, bed, air.pressure))

    def _at(self, level: int, grain: Grain, air: Air, *, upward: bool) -> Bed:
        solve = against if upward else along
        bed = solve(self._tools, grain, air, LEVELS[level], self._guess[upward])
        if upward and not bed.error < TOLERANCE and not self._lost:
            bed = self._by_newton(level, grain, air)
            # one bed that does not settle spoils all below it: they are not worth the work
            self._lost = level == FINEST and not bed.error < TOLERANCE
        return bed

    def _by_newton(self, level: int, grain: Grain, air: Air) -> Bed:
        lifted = [
            (np.array([warming]), np.array([wetting])) for warming, wetting in self._guess[True]
        ]
        bed = against_at_once(
            self._fallback,
            Grain(*(np.array([value]) for value in grain)),
            Air(*(np.array([value]) for value in air)),
            LEVELS[level],
            lifted,
            detour=level == FINEST,
        )
        return Bed(
            [float(value[0]) for value in bed.theta],
            [float(value[0]) for value in bed.M],
            float(bed.T[0]),
            float(bed.W[0]),
            float(bed.error[0]),
        )

    def _respread(self, before: int, after: int, steps: Guess, *, upward: bool) -> None:
        self._level[upward] = after
        if before == after:
            self._guess[upward] = self._ahead(steps, upward=upward)
            return
        self._last[upward] = None
        values = _spread(before, after, upward=upward) @ np.array(steps)
        self._guess[upward] = [(float(a), float(b)) for a, b in values]

    def _ahead(self, steps: Guess, *, upward: bool) -> Guess:
        last, self._last[upward] = self._last[upward], steps
        if last is None:
            return steps
        return [
            (2.0 * a - before_a, 2.0 * b - before_b)
            for (a, b), (before_a, before_b) in zip(steps, last, strict=True)
        ]


def _level_of(change: float, humidity: float) -> int:
    if change > CHANGES[1] or NEAR_SATURATION[1] < humidity < FOG:
        return 2
    return 1 if change > CHANGES[0] or humidity > NEAR_SATURATION[0] else 0


class _Many:
    """March of many scenarios in arrays, grouped by the cells they need."""

    def __init__(self, work: Task) -> None:
        self._tools = kit(work.model, ARRAYS)
        self._count = work.theta.size
        self._ways = {upward: _Ahead(self._count) for upward in (True, False)}

    def enter(self) -> None:
        """Forget the trend: a new zone's air begins."""
        for way in self._ways.values():
            way.steady[:] = False

    def bed(self, grain: Grain, air: Air, *, upward: bool) -> Bed:
        """Solve the next bed of every scenario, each with as many cells as it needs."""
        way = self._ways[upward]
        solved = np.full(self._count, -1)
        whole: Bed | None = None
        for level in range(FINEST + 1):
            chosen = np.flatnonzero((way.level == level) & (solved < level))
            if not chosen.size:
                continue
            part = self._at(level, grain, air, chosen, upward=upward)
            solved[chosen] = level
            self._judge(level, part, air, chosen, upward=upward)
            whole = self._merged(whole, part, chosen)
        if whole is None:
            raise AssertionError("every scenario has a level")
        return whole

    def _at(self, level: int, grain: Grain, air: Air, chosen: Any, *, upward: bool) -> Bed:
        expected = self._ways[upward].guess[level]
        if chosen.size != self._count:
            expected = np.take(expected, chosen, axis=-1)
            grain = Grain(*(value[chosen] for value in grain))
            air = Air(*(value[chosen] for value in air))
        guess = [(a, b) for a, b in expected]
        if not upward:
            return along(self._tools, grain, air, LEVELS[level], guess)
        detour = level == FINEST
        return settled_against(self._tools, grain, air, LEVELS[level], guess, detour=detour)

    def _judge(self, level: int, bed: Bed, air: Air, chosen: Any, *, upward: bool) -> None:
        change, humidity = needed_level(ARRAYS, bed, air.pressure[chosen])
        fine = (change > CHANGES[1]) | ((humidity > NEAR_SATURATION[1]) & (humidity < FOG))
        middle = (change > CHANGES[0]) | (humidity > NEAR_SATURATION[0])
        lost = (level < FINEST) & ~(bed.error < TOLERANCE)
        needed = np.where(fine | lost, FINEST, np.where(middle, 1, 0))
        way, steps = self._ways[upward], np.array(bed.steps)
        steps = np.where(lost, np.take(way.guess[level], chosen, axis=-1), steps)
        for after in range(FINEST + 1):
            pick = np.flatnonzero(needed == after)
            if pick.size:
                way.expect(level, after, np.take(steps, pick, axis=-1), chosen[pick], upward=upward)

    def _merged(self, whole: Bed | None, part: Bed, chosen: Any) -> Bed:
        # Only ends, extremes and exhaust are of use outside: three faces stand for the bed.
        peak = part.theta[0]
        for face in part.theta[1:]:
            peak = np.maximum(peak, face)
        faces = [part.theta[0], peak, part.theta[-1]]
        moistures = [part.M[0], part.M[0], part.M[-1]]
        if chosen.size == self._count:
            return Bed(faces, moistures, part.T, part.W, part.error)
        if whole is None:
            blank = [np.zeros(self._count) for _ in range(9)]
            whole = Bed(blank[:3], blank[3:6], blank[6], blank[7], blank[8])
        for target, value in zip(
            (*whole.theta, *whole.M, whole.T, whole.W, whole.error),
            (*faces, *moistures, part.T, part.W, part.error),
            strict=True,
        ):
            target[chosen] = value
        return whole


class _Ahead:
    """What the next bed of one kind is expected to look like, scenario by scenario.

    Attributes
    ----------
    level : ndarray
        Which of `LEVELS` each scenario takes.
    steady : ndarray of bool
        Whether its last bed had those cells too, so that a trend can be seen.
    guess, last : list of ndarray
        Level by level, the expected change and the last one: cells, temperature and moisture,
        scenarios.
    """

    def __init__(self, count: int) -> None:
        self.level = np.zeros(count, dtype=np.intp)
        self.steady = np.zeros(count, dtype=bool)
        self.guess = [np.zeros((len(cells), 2, count)) for cells in LEVELS]
        self.last = [np.zeros((len(cells), 2, count)) for cells in LEVELS]

    def expect(
        self, before: int, after: int, steps: FloatArray, chosen: Any, *, upward: bool
    ) -> None:
        """Learn from the changes over the cells of a solved bed."""
        ahead = steps
        if after != before:
            ahead = steps = np.tensordot(_spread(before, after, upward=upward), steps, axes=1)
        elif np.any(self.steady[chosen]):
            # Continue the trend of the last two beds where both had these cells.
            moved = steps - np.take(self.last[after], chosen, axis=-1)
            ahead = steps + self.steady[chosen] * moved
        self.guess[after][..., chosen] = ahead
        self.last[after][..., chosen] = steps
        self.steady[chosen] = after == before
        self.level[chosen] = after
