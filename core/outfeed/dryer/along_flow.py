"""Counter-flow and concurrent-flow dryers: each zone is one bed with air in at one end.

The same beds as in a mixed-flow column, only deep. A bed against the air is solved on few cells
first and refined, each solution starting the next, so that Newton's method always begins close.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.along import along
from outfeed.dryer.cells import air_enthalpy, transfer_coefficient
from outfeed.dryer.closures import DRY_AIR_HEAT, VAPOUR_HEAT
from outfeed.dryer.layers import Air, Bed, Grain, Kit, graded, kit
from outfeed.dryer.newton import settled_against
from outfeed.dryer.task import Task
from outfeed.dryer.trace import Trace
from outfeed.numbers import ARRAYS

AGAINST_CELLS = (8, 24, 72)
"""Cells of a bed against the air, coarse to fine."""
ALONG_CELLS = 80
"""Cells of a bed along the air."""
INLET_SPAN = 0.25
"""Size of the first cell that the air meets, in lengths over which it gives up its heat [-]."""
STEEPEST_GROWTH = 1.6


def solve_along_flow(work: Task) -> Trace:
    """Steady state of a counter-flow or concurrent-flow dryer.

    Parameters
    ----------
    work : Task
        The dryer under one or many scenarios.

    Returns
    -------
    Trace
        Cell by cell; its error tells where a bed did not settle.
    """
    work = work.as_arrays()
    tools = kit(work.model, ARRAYS)
    trace = Trace([work.theta], [work.M], error=np.zeros_like(work.theta))
    for index in range(len(work.dryer.zones)):
        grain = Grain(trace.theta[-1], trace.M[-1], work.M, work.rate)
        air = _zone_air(work, index)
        counter = zone_is_counter(work, index)
        bed, fractions = _bed(tools, grain, air, counter=counter)
        _record(trace, work, index, air, bed, fractions, counter=counter)
        trace.error = np.maximum(trace.error, bed.error)
    return trace


def zone_is_counter(work: Task, index: int) -> bool:
    """Whether the air of a zone goes against the grain.

    Parameters
    ----------
    work : Task
        The dryer.
    index : int
        Which zone.

    Returns
    -------
    bool
        As the zone says, else by the dryer's kind; a concurrent-flow dryer cools counter-flow.
    """
    zone = work.dryer.zones[index]
    if zone.direction is not None:
        return zone.direction == "counter"
    return work.dryer.kind == "counter-flow" or not zone.heated


def _zone_air(work: Task, index: int) -> Air:
    flux = work.airflow[index] / work.dryer.area
    transfer = transfer_coefficient(flux, work.T[index], work.model.transfer_factor)
    ratio = work.airflow[index] / work.dry_matter_rate
    reach = work.dryer.heights[index] / flux
    return Air(work.T[index], work.W[index], ratio, reach, transfer, work.pressure)


def _bed(tools: Kit, grain: Grain, air: Air, *, counter: bool) -> tuple[Bed, tuple[float, ...]]:
    units = float(np.mean(air.transfer * air.reach)) / DRY_AIR_HEAT
    nothing = np.zeros_like(grain.theta)
    if not counter:
        fractions = graded(ALONG_CELLS, _growth(ALONG_CELLS, INLET_SPAN / units))
        guess = [(nothing, nothing)] * ALONG_CELLS
        return along(tools, grain, air, fractions, guess), fractions
    fractions = _both_ends(AGAINST_CELLS[0], INLET_SPAN / units)
    start = [(nothing, nothing)] * AGAINST_CELLS[0]
    bed = settled_against(tools, grain, air, fractions, start, detour=False)
    for cells in AGAINST_CELLS[1:]:
        finer = _both_ends(cells, INLET_SPAN / units)
        bed = settled_against(tools, grain, air, finer, _interpolated(bed, fractions, finer))
        fractions = finer
    return bed, fractions


def _both_ends(cells: int, first: float) -> tuple[float, ...]:
    """Cells that are fine where the air enters and where the grain does."""
    half = graded(cells // 2, _growth(cells // 2, 2.0 * first))
    return tuple(0.5 * size for size in (*half, *half[::-1]))


def _growth(cells: int, first: float) -> float:
    """Growth at which the first of so many cells has a given share of the bed."""
    low, high = 1.0, STEEPEST_GROWTH
    if first >= 1.0 / cells:
        return low
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if graded(cells, middle)[0] > first else (low, middle)
    return high


def _interpolated(
    bed: Bed, before: tuple[float, ...], after: tuple[float, ...]
) -> list[tuple[FloatArray, FloatArray]]:
    # Faces from the top of the bed, while fractions count along the air, from the bottom.
    old, new = (np.cumsum((0.0, *fractions[::-1])) for fractions in (before, after))
    place = np.clip(np.searchsorted(old, new, side="right") - 1, 0, len(before) - 1)
    share = ((new - old[place]) / (old[place + 1] - old[place]))[:, None]
    theta, M = (
        (1.0 - share) * values[place] + share * values[place + 1]
        for values in (np.stack(bed.theta), np.stack(bed.M))
    )
    return list(zip(np.diff(theta, axis=0), np.diff(M, axis=0), strict=True))


def _record(
    trace: Trace,
    work: Task,
    index: int,
    air: Air,
    bed: Bed,
    fractions: tuple[float, ...],
    *,
    counter: bool,
) -> None:
    cells = len(fractions)
    lengths = fractions[::-1] if counter else fractions
    states = _air_along(work, air, bed, counter=counter)
    for k in range(cells):
        above, below = states[k], states[k + 1]
        inlet, exhaust = (below, above) if counter else (above, below)
        hottest = np.maximum(bed.theta[k], bed.theta[k + 1])
        trace.add(
            bed.theta[k + 1],
            bed.M[k + 1],
            hottest,
            inlet,
            exhaust,
            work.airflow[index],
            index,
            lengths[k] * work.dryer.heights[index],
            enters=k == (cells - 1 if counter else 0),
            leaves=k == (0 if counter else cells - 1),
        )


def _air_along(work: Task, air: Air, bed: Bed, *, counter: bool) -> list[tuple[Any, Any]]:
    """Air at the faces from the top, from the grain's change of water and enthalpy."""
    enthalpy = kit(work.model, ARRAYS).formulas.grain_enthalpy
    h = [enthalpy(theta, M) for theta, M in zip(bed.theta, bed.M, strict=True)]
    W, H = air.W, air_enthalpy(air.T, air.W)
    order = range(len(h) - 1, 0, -1) if counter else range(len(h) - 1)
    states = [(air.T, air.W)]
    for k in order:
        top = k - 1 if counter else k
        W = W + (bed.M[top] - bed.M[top + 1]) / air.ratio
        H = H - (h[top + 1] - h[top]) / air.ratio
        states.append(((H - W * air_enthalpy(0.0, 1.0)) / (DRY_AIR_HEAT + VAPOUR_HEAT * W), W))
    return states[::-1] if counter else states
