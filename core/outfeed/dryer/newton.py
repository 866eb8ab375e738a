"""A bed with the air against the grain, by Newton's method: where sweeps alone do not settle.

The sweep of `outfeed.dryer.layers` gives new grain for trial grain; its fixed point is sought with
a numerical Jacobian, all scenarios and all nudges side by side in one array.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.layers import (
    COLDEST,
    HOTTEST,
    MOISTURE_WEIGHT,
    TOLERANCE,
    Air,
    Bed,
    Grain,
    Kit,
    Swept,
    changes,
    cumulated_guess,
    first_rest,
    sweep,
    swept_on,
)

NEWTON_ITERATIONS = 30
LANES = 20_000
"""Scenario-perturbations handled at once by Newton's method: bounds the memory."""
NUDGE_TEMPERATURE = 1e-4
"""Nudge of an unknown in the Jacobian [K], moistures weighted alike."""


def against_by_newton(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    guess: list[tuple[Any, Any]],
    tolerance: float = TOLERANCE,
) -> Bed:
    """Bed with the air against the grain, by Newton's method; arrays over scenarios only.

    Parameters
    ----------
    tools : Kit
        Formulas and cell step, for arrays.
    grain : Grain
        Grain that enters, arrays of one length.
    air : Air
        Air that enters, arrays of that length.
    fractions : tuple of float
        Cell sizes along the air.
    guess : list
        Expected change of temperature and moisture over each cell, along the grain.
    tolerance : float
        Error at which the bed is settled [K].

    Returns
    -------
    Bed
        The bed; its error tells whether it settled.
    """
    lists = cumulated_guess(grain, guess)
    x = np.stack([*lists[0][1:], *(MOISTURE_WEIGHT * M for M in lists[1][1:])], axis=-1)
    scenarios = x.shape[0]
    parts = max(1, -(-scenarios * (x.shape[1] + 1) // LANES))
    pieces = [
        _newton(tools, _take(grain, part), _take(air, part), fractions, x[part], tolerance)
        for part in np.array_split(np.arange(scenarios), parts)
    ]
    theta, M = (
        [np.concatenate([piece[i][k] for piece in pieces]) for k in range(len(fractions) + 1)]
        for i in (0, 1)
    )
    T, W, error = (np.concatenate([piece[i] for piece in pieces]) for i in (2, 3, 4))
    return Bed(theta, M, T, W, error)


def _take(group: Any, index: Any) -> Any:
    return type(group)(*(value[index] for value in group))


def _newton(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    x: FloatArray,
    tolerance: float,
) -> tuple[Any, ...]:
    x = x.copy()
    size = x.shape[1]
    best = np.full(x.shape[0], np.inf)
    damping = np.ones(x.shape[0])
    base = x.copy()
    move = np.zeros_like(x)
    for _ in range(NEWTON_ITERATIONS):
        miss, bed = _misses(tools, grain, air, fractions, x)
        error = np.max(np.abs(miss), axis=1)
        if np.all(error < tolerance):
            break
        better = (error < best) | (damping < 2.0**-6)
        # Where the step made things worse, go back and try half of it.
        damping = np.where(better, 1.0, 0.5 * damping)
        best = np.where(better, error, best)
        base = np.where(better[:, None], x, base)
        if np.any(better):
            move[better] = _newton_step(tools, grain, air, fractions, x, miss, better)
        x = base + damping[:, None] * move
        x[:, : size // 2] = np.clip(x[:, : size // 2], COLDEST, HOTTEST)
    return bed.theta, bed.M, bed.T, bed.W, error


def _newton_step(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    x: FloatArray,
    miss: FloatArray,
    chosen: BoolArray,
) -> FloatArray:
    x, miss = x[chosen], miss[chosen]
    scenarios, size = x.shape
    nudges = np.full(size, NUDGE_TEMPERATURE)
    trial = x[:, None, :] + np.diag(nudges)[None, :, :]
    lanes = np.repeat(np.flatnonzero(chosen), size)
    moved, _ = _misses(
        tools, _take(grain, lanes), _take(air, lanes), fractions, trial.reshape(-1, size)
    )
    slopes = (moved.reshape(scenarios, size, size) - miss[:, None, :]) / nudges[None, :, None]
    return np.asarray(np.linalg.solve(np.swapaxes(slopes, 1, 2), -miss[:, :, None])[:, :, 0])


def _misses(
    tools: Kit, grain: Grain, air: Air, fractions: tuple[float, ...], x: FloatArray
) -> tuple[FloatArray, Swept]:
    cells = len(fractions)
    theta = [grain.theta, *(x[:, k] for k in range(cells))]
    M = [grain.M, *(x[:, cells + k] / MOISTURE_WEIGHT for k in range(cells))]
    bed = sweep(tools, grain, air, fractions, theta, M)
    new = np.stack([*bed.theta[1:], *(MOISTURE_WEIGHT * m for m in bed.M[1:])], axis=-1)
    return new - x, bed


def settled_against(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    guess: list[tuple[Any, Any]],
    tolerance: float = TOLERANCE,
) -> Bed:
    """`against` on arrays, with Newton's method for the scenarios whose sweeps do not settle.

    Parameters
    ----------
    tools : Kit
        Formulas and cell step, for arrays.
    grain : Grain
        Grain that enters.
    air : Air
        Air that enters.
    fractions : tuple of float
        Cell sizes along the air.
    guess : list
        Expected change of temperature and moisture over each cell, along the grain.
    tolerance : float
        Error at which the bed is settled [K].

    Returns
    -------
    Bed
        The bed; its error tells whether it settled.
    """
    first = sweep(tools, grain, air, fractions, *cumulated_guess(grain, guess))
    bed = Bed(first.theta, first.M, first.T, first.W, first_rest(tools, air, first))
    late = np.flatnonzero(~(bed.error < tolerance))
    if not late.size:
        return bed
    if late.size == bed.error.size:
        return _settled(tools, grain, air, fractions, first, tolerance)
    taken = Swept(*(_part(value, late) for value in first))
    some = _settled(tools, _take(grain, late), _take(air, late), fractions, taken, tolerance)
    return _replaced(bed, some, late)


def _settled(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    first: Swept,
    tolerance: float,
) -> Bed:
    bed = swept_on(tools, grain, air, fractions, first, tolerance)
    late = np.flatnonzero(~(bed.error < tolerance))
    if not late.size:
        return bed
    start = changes(_part(first.theta, late), _part(first.M, late))
    again = against_by_newton(
        tools, _take(grain, late), _take(air, late), fractions, start, tolerance
    )
    return _replaced(bed, again, late)


def _part(value: Any, index: Any) -> Any:
    return [each[index] for each in value] if isinstance(value, list) else value[index]


def _replaced(bed: Bed, part: Bed, index: Any) -> Bed:
    for whole, piece in zip((*bed.theta, *bed.M), (*part.theta, *part.M), strict=True):
        whole[index] = piece
    bed.T[index], bed.W[index], bed.error[index] = part.T, part.W, part.error
    return bed
