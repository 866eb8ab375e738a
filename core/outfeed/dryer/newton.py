"""A bed with the air against the grain, all its balances at once: where sweeps do not settle.

A sweep carries what is wrong with its guess from cell to cell, and with much air over little grain
that grows on the way. Here air and grain at every face are unknowns together and Newton's method
corrects them all. Its linear equations are solved from the top: at every face the correction of
the grain is an affine function of that of the air, so nothing grows in either direction. Where
that does not settle from the guess, the bed is reached by way of beds with less air.

Source: Ascher U.M., Mattheij R.M.M. & Russell R.D. (1995) *Numerical Solution of Boundary Value
Problems for Ordinary Differential Equations*, SIAM: multiple shooting and invariant imbedding
(recalled).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.cells import air_enthalpy
from outfeed.dryer.closures import DRY_AIR_HEAT, LATENT_HEAT_AT_ZERO, VAPOUR_HEAT
from outfeed.dryer.layers import (
    COLDEST,
    DRIEST,
    HOTTEST,
    MOISTURE_WEIGHT,
    TOLERANCE,
    Air,
    Bed,
    Grain,
    Kit,
    Swept,
    cumulated_guess,
    first_rest,
    sweep,
    swept_on,
)
from outfeed.interrupt import may_stop

NEWTON_ITERATIONS = 30
SMALLEST_DAMPING = 2.0**-7
SETTLED = 0.1
"""Part of the tolerance that a last correction may have: the next would be far smaller."""
MOST_AIR_TO_SWEEP = 0.7
"""Air over grain up to which sweeps are tried first [-]."""
CELLS_AT_ONCE = 100_000
"""Cells of all scenarios handled together: bounds the memory."""
NUDGES = (1e-4, 1e-7, 1e-4, 1e-4, 1e-6)
"""Nudge of air temperature [K], humidity, grain temperatures [K] and moisture in the slopes."""
HUMIDITY_WEIGHT = LATENT_HEAT_AT_ZERO / DRY_AIR_HEAT
"""Humidity ratio that counts like one degree of air [1/K]."""
FARTHEST = 40.0
"""Largest correction of a temperature in one step [K]; moisture weighted alike."""
LEAST_AIR, AIR_STEP, DETOURS = 0.2, 1.8, 16
"""The way by beds with less air: the first air over grain, its growth, and the most beds."""
WETTEST_AIR = 2.0
"""Bound of a trial humidity ratio [kg/kg]."""


class Faces(NamedTuple):
    """Air and grain at the faces of the cells, from the top: faces by scenarios.

    Attributes
    ----------
    T, W : ndarray
        Air temperature [degC] and humidity ratio [kg/kg].
    theta, M : ndarray
        Grain temperature [degC] and moisture, dry basis.
    """

    T: FloatArray
    W: FloatArray
    theta: FloatArray
    M: FloatArray


def against_at_once(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    guess: list[tuple[Any, Any]],
    tolerance: float = TOLERANCE,
    *,
    detour: bool = True,
) -> Bed:
    """Bed with the air against the grain, all balances together; arrays over scenarios only.

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
    detour : bool
        Whether a bed that does not settle from the guess is reached by way of beds with less air.

    Returns
    -------
    Bed
        The bed; its error tells whether it settled.
    """
    scenarios = np.arange(grain.theta.size)
    pieces = []
    for part in np.array_split(scenarios, -(-scenarios.size * len(fractions) // CELLS_AT_ONCE)):
        start = [(warming[part], wetting[part]) for warming, wetting in guess]
        problem = _Problem(tools, _take(grain, part), _take(air, part), fractions)
        pieces.append(problem.settled(start, tolerance, detour=detour))
    faces = range(len(fractions) + 1)
    theta, M = ([np.concatenate([p[i][k] for p in pieces]) for k in faces] for i in (0, 1))
    return Bed(theta, M, *(np.concatenate([p[i] for p in pieces]) for i in (2, 3, 4)))


class _Problem:
    """The bed's balances for some scenarios."""

    def __init__(self, tools: Kit, grain: Grain, air: Air, fractions: tuple[float, ...]) -> None:
        self.tools, self.grain, self.air, self.fractions = tools, grain, air, fractions
        self.reach = np.array(fractions[::-1])[:, None] * air.reach

    def part(self, index: Any) -> _Problem:
        """The same for some of the scenarios."""
        return _Problem(
            self.tools, _take(self.grain, index), _take(self.air, index), self.fractions
        )

    def with_ratio(self, ratio: FloatArray) -> _Problem:
        """The same bed with another flow of grain."""
        return _Problem(self.tools, self.grain, self.air._replace(ratio=ratio), self.fractions)

    def settled(self, guess: list[tuple[Any, Any]], tolerance: float, *, detour: bool) -> Bed:
        """The bed from a guess, or by way of beds with less air."""
        faces, error = self.newton(self.started(*cumulated_guess(self.grain, guess)), tolerance)
        late = np.flatnonzero(~(error < tolerance))
        if late.size and detour:
            again, rest = self.part(late)._by_detour(tolerance)
            for whole, piece in zip(faces, again, strict=True):
                whole[:, late] = piece
            error[late] = rest
        return self._bed(faces, error)

    def started(self, theta: list[Any], M: list[Any]) -> Faces:
        """Faces of a trial: its grain, and the air that passes it."""
        T, W = [self.air.T], [self.air.W]
        for k in range(len(self.fractions) - 1, -1, -1):
            after = self.tools.cell(
                T[-1], W[-1], theta[k + 1], theta[k], 0.5 * (M[k] + M[k + 1]), self.grain.first,
                self.reach[k], self.air.transfer, self.grain.rate, self.air.pressure,
            )  # fmt: skip
            T.append(after[0])
            W.append(after[1])
        whole = (T[::-1], W[::-1], theta, M)
        return _bounded(
            Faces(*(np.array([value + self.grain.theta * 0.0 for value in x]) for x in whole))
        )

    def newton(self, start: Faces, tolerance: float) -> tuple[Faces, FloatArray]:
        """Newton's method with damping; the error is the size of the last full correction."""
        faces = Faces(*(np.array(value) for value in start))
        error = np.full(faces.T.shape[1], np.inf)
        active = np.arange(error.size)
        here, damping, best = start, np.ones(error.size), np.full(error.size, np.inf)
        trial, move = start, Faces(*(np.zeros_like(value) for value in start))
        for _ in range(NEWTON_ITERATIONS):
            may_stop()
            now = self.part(active)
            blocks, residual, merit = now._linear(trial)
            better = (merit < best) | ((damping < SMALLEST_DAMPING) & np.isfinite(merit))
            full = now._correction(blocks, residual)
            size = np.maximum(
                np.abs(full.theta).max(axis=0), MOISTURE_WEIGHT * np.abs(full.M).max(axis=0)
            )
            size = np.where(better & np.isfinite(size), size, np.inf)
            error[active] = np.minimum(error[active], size)
            best = np.where(better, merit, best)
            here, move = _chosen(better, trial, here), _chosen(better, _shortened(full), move)
            # Where the step made things worse, go back and try half of it.
            damping = np.where(better, 1.0, 0.5 * damping)
            trial = _bounded(Faces(*(a + damping * b for a, b in zip(here, move, strict=True))))
            done = size < SETTLED * tolerance
            for whole, piece in zip(faces, trial, strict=True):
                whole[:, active] = piece
            error[active] = np.where(done, size, error[active])
            keep = ~done & (damping > 0.1 * SMALLEST_DAMPING)
            if not keep.any():
                break
            active, best, damping = active[keep], best[keep], damping[keep]
            trial, here, move = (
                Faces(*(value[:, keep] for value in group)) for group in (trial, here, move)
            )
        return faces, error

    def _by_detour(self, tolerance: float) -> tuple[Faces, FloatArray]:
        # Little air hardly changes the grain; from there each bed starts the next.
        count = len(self.fractions)
        nothing = [(0.0 * self.grain.theta, 0.0 * self.grain.theta)] * count
        faces = self.started(*cumulated_guess(self.grain, nothing))
        aim = np.asarray(self.air.ratio + 0.0 * self.grain.theta)
        reached, trial = np.zeros_like(aim), np.minimum(LEAST_AIR, aim)
        error = np.full(aim.size, np.inf)
        for _ in range(DETOURS):
            due = np.flatnonzero(reached < aim)
            if not due.size:
                break
            start = Faces(*(value[:, due] for value in faces))
            found, rest = self.part(due).with_ratio(trial[due]).newton(start, tolerance)
            good = rest < tolerance
            for whole, piece in zip(faces, found, strict=True):
                whole[:, due[good]] = piece[:, good]
            reached[due[good]] = trial[due[good]]
            error[due] = np.where(good & (reached[due] >= aim[due]), rest, np.inf)
            closer = np.sqrt(np.maximum(reached, 0.01 * LEAST_AIR) * trial)
            trial[due] = np.where(good, np.minimum(AIR_STEP * reached[due], aim[due]), closer[due])
        return faces, error

    def _bed(self, faces: Faces, error: FloatArray) -> Bed:
        # The grain follows once more from the air alone, so that both balances close to rounding.
        formulas, ratio = self.tools.formulas, self.air.ratio
        H = air_enthalpy(faces.T, faces.W)
        M = self.grain.M - ratio * (faces.W[0] - faces.W)
        h = formulas.grain_enthalpy(self.grain.theta, self.grain.M) + ratio * (H - H[0])
        theta = formulas.grain_temperature(h, M)
        theta[0] = self.grain.theta
        return Bed(list(theta), list(M), faces.T[0], faces.W[0], error)

    def _linear(self, at: Faces) -> tuple[tuple[FloatArray, ...], FloatArray, FloatArray]:
        """Blocks of the linear equations cell by cell, what is left over, and its size [K]."""
        tools, air, grain, ratio = self.tools, self.air, self.grain, self.air.ratio
        above, below = (Faces(*(v[k] for v in at)) for k in (slice(None, -1), slice(1, None)))
        mean = 0.5 * (above.M + below.M)
        inputs = np.stack([below.T, below.W, below.theta, above.theta, mean])
        lanes = np.repeat(inputs[:, None], 6, axis=1)
        for k, nudge in enumerate(NUDGES):
            lanes[k, k + 1] += nudge
        T, W = tools.cell(*lanes, grain.first, self.reach, air.transfer, grain.rate, air.pressure)
        slopes = [
            (out[1:] - out[0]) / np.array(NUDGES)[:, None, None] for out in (T, W)
        ]  # of T and W, against T, W, met, left and mean moisture
        residual = np.stack(
            [
                above.T - T[0],
                above.W - W[0],
                below.M - above.M + ratio * (above.W - below.W),
                self._enthalpy(below)
                - self._enthalpy(above)
                - ratio * (air_enthalpy(below.T, below.W) - air_enthalpy(above.T, above.W)),
            ]
        )
        weights = np.array([1.0, HUMIDITY_WEIGHT, MOISTURE_WEIGHT, 1e-3])[:, None, None]
        share = np.stack([1.0 + 0.0 * ratio] * 2 + [1.0 / (1.0 + ratio)] * 2)[:, None]
        merit = np.abs(residual * weights * share).max(axis=(0, 1))
        return self._blocks(above, below, slopes), residual, merit

    def _enthalpy(self, at: Faces) -> FloatArray:
        return np.asarray(self.tools.formulas.grain_enthalpy(at.theta, at.M))

    def _blocks(
        self, above: Faces, below: Faces, slopes: list[FloatArray]
    ) -> tuple[FloatArray, ...]:
        """Derivatives of the four balances of a cell: by air and grain above, air and grain below.

        Cells, scenarios, balances (air temperature, humidity, water, heat), two unknowns.
        """
        ratio = self.air.ratio
        cells, count = above.T.shape
        air_above, grain_above, air_below, grain_below = (
            np.zeros((cells, count, 4, 2)) for _ in range(4)
        )
        for row, slope in enumerate(slopes):
            air_above[..., row, row] = 1.0
            air_below[..., row, 0], air_below[..., row, 1] = -slope[0], -slope[1]
            grain_above[..., row, 0], grain_above[..., row, 1] = -slope[3], -0.5 * slope[4]
            grain_below[..., row, 0], grain_below[..., row, 1] = -slope[2], -0.5 * slope[4]
        air_above[..., 2, 1], air_below[..., 2, 1] = ratio, -ratio
        grain_above[..., 2, 1], grain_below[..., 2, 1] = -1.0, 1.0
        for block, at, sign in ((air_above, above, 1.0), (air_below, below, -1.0)):
            block[..., 3, 0] = sign * ratio * (DRY_AIR_HEAT + VAPOUR_HEAT * at.W)
            block[..., 3, 1] = sign * ratio * (LATENT_HEAT_AT_ZERO + VAPOUR_HEAT * at.T)
        for block, at, sign in ((grain_above, above, -1.0), (grain_below, below, 1.0)):
            block[..., 3, 0], block[..., 3, 1] = (sign * slope for slope in self._grain_slopes(at))
        return air_above, grain_above, air_below, grain_below

    def _grain_slopes(self, at: Faces) -> tuple[FloatArray, FloatArray]:
        enthalpy, (_, _, warmth, _, damp) = self.tools.formulas.grain_enthalpy, NUDGES
        here = enthalpy(at.theta, at.M)
        return (
            (enthalpy(at.theta + warmth, at.M) - here) / warmth,
            (enthalpy(at.theta, at.M + damp) - here) / damp,
        )

    def _correction(self, blocks: tuple[FloatArray, ...], residual: FloatArray) -> Faces:
        """Newton's full correction of every face."""
        air_above, grain_above, air_below, grain_below = blocks
        cells, count = air_above.shape[:2]
        finite = [np.isfinite(block).all(axis=(0, 2, 3)) for block in blocks]
        usable = np.all([np.isfinite(residual).all(axis=(0, 1)), *finite], axis=0)
        rest = np.where(usable, residual, 0.0).transpose(1, 2, 0)
        P, q = np.zeros((count, 2, 2)), np.zeros((count, 2))
        steps = []
        for k in range(cells):
            known = -rest[k] - _times(grain_above[k], q)
            matrix = np.concatenate([air_above[k] + grain_above[k] @ P, grain_below[k]], axis=-1)
            right = np.concatenate([known[..., None], -air_below[k]], axis=-1)
            solution = _solved(matrix, right, usable)
            P, q = solution[:, 2:, 1:], solution[:, 2:, 0]
            steps.append(solution)
        return _substituted(steps, usable)


def _times(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    return np.asarray((matrix @ vector[..., None])[..., 0])


def _solved(matrix: FloatArray, right: FloatArray, usable: BoolArray) -> FloatArray:
    # One singular scenario must not take the others with it.
    safe = np.where(usable[:, None, None], matrix, np.eye(4))
    try:
        return np.asarray(np.linalg.solve(safe, right))
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.pinv(safe) @ right)


def _substituted(steps: list[FloatArray], usable: BoolArray) -> Faces:
    air = np.zeros((usable.size, 2))
    airs, grains = [air], []
    for solution in reversed(steps):
        grains.append(solution[:, 2:, 0] + _times(solution[:, 2:, 1:], air))
        air = solution[:, :2, 0] + _times(solution[:, :2, 1:], air)
        airs.append(air)
    grains.append(np.zeros((usable.size, 2)))
    whole = np.where(usable, 1.0, np.nan)
    (T, W), (theta, M) = (
        np.moveaxis(np.stack(values[::-1]), -1, 0) * whole for values in (airs, grains)
    )
    return Faces(T, W, theta, M)


def _shortened(move: Faces) -> Faces:
    size = np.maximum(np.abs(move.T).max(axis=0), np.abs(move.theta).max(axis=0))
    size = np.maximum(size, 0.1 * MOISTURE_WEIGHT * np.abs(move.M).max(axis=0))
    share = np.minimum(1.0, FARTHEST / np.maximum(size, FARTHEST))
    return Faces(*(np.nan_to_num(share * value) for value in move))


def _bounded(at: Faces) -> Faces:
    T, theta = (np.clip(value, COLDEST, HOTTEST) for value in (at.T, at.theta))
    return Faces(T, np.clip(at.W, 0.0, WETTEST_AIR), theta, np.maximum(at.M, DRIEST))


def _chosen(where: BoolArray, yes: Faces, no: Faces) -> Faces:
    return Faces(*(np.where(where, a, b) for a, b in zip(yes, no, strict=True)))


def _take(group: Any, index: Any) -> Any:
    return type(group)(*(value[index] for value in group))


def settled_against(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    guess: list[tuple[Any, Any]],
    tolerance: float = TOLERANCE,
    *,
    detour: bool = True,
) -> Bed:
    """Sweeps on arrays, and all balances at once for the scenarios whose sweeps do not settle.

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
    detour : bool
        Whether a bed that does not settle from the guess is reached by way of beds with less air.

    Returns
    -------
    Bed
        The bed; its error tells whether it settled.
    """
    first = sweep(tools, grain, air, fractions, *cumulated_guess(grain, guess))
    bed = Bed(first.theta, first.M, first.T, first.W, first_rest(tools, air, first))
    late = np.flatnonzero(~(bed.error < tolerance))
    light = late[air.ratio[late] < MOST_AIR_TO_SWEEP]
    if light.size:
        taken = Swept(*(_part(value, light) for value in first))
        some = swept_on(tools, _take(grain, light), _take(air, light), fractions, taken, tolerance)
        bed = _replaced(bed, some, light)
        late = np.flatnonzero(~(bed.error < tolerance))
    if late.size:
        start = [(warming[late], wetting[late]) for warming, wetting in guess]
        part = against_at_once(
            tools, _take(grain, late), _take(air, late), fractions, start, tolerance, detour=detour
        )
        bed = _replaced(bed, part, late)
    return bed


def _part(value: Any, index: Any) -> Any:
    return [each[index] for each in value] if isinstance(value, list) else value[index]


def _replaced(bed: Bed, part: Bed, index: Any) -> Bed:
    if index.size == bed.error.size:
        return part
    for whole, piece in zip((*bed.theta, *bed.M), (*part.theta, *part.M), strict=True):
        whole[index] = piece
    bed.T[index], bed.W[index], bed.error[index] = part.T, part.W, part.error
    return bed
