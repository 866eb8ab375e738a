"""Plugs of grain on their way down a column, and the air paths through them.

The state that `outfeed.dryer.transient` moves from one instant to the next. See there for what the
scheme is; here stand the places of the plugs and one step of time.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from copy import copy
from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.along import LEAST_SLOPE
from outfeed.dryer.along_flow import zone_is_counter
from outfeed.dryer.cells import Cell, air_enthalpy, transfer_coefficient, vapour_units
from outfeed.dryer.description import Dryer
from outfeed.dryer.layers import COLDEST, DRIEST, HOTTEST, TINY, Kit, graded, kit
from outfeed.dryer.mixed_flow import layer_counts
from outfeed.dryer.profile import ColumnProfile
from outfeed.dryer.task import Task
from outfeed.errors import NotConverged
from outfeed.numbers import ARRAYS, FLOATS

CELLS_PER_LAYER = 2
"""Plugs in a half-pitch bed of a mixed-flow column."""
FILES = 6
"""Boxes across a cross-flow column."""
PLUGS = 72
"""Plugs from top to discharge in the other kinds."""
SETTLED = 0.05
"""Change of a plug's expected temperature within a step at which the step is done [K]."""
UNSETTLED = 2.0
"""The same beyond which the trace is not believed [K]."""
STEP_ITERATIONS = 30
DAMPING = (0.5, 0.25, 0.1)
"""Part of the way to the next trial where repetition and secant do not settle, one after the other
[-]; chosen."""
MOST_UNITS = 2.0
"""Transfer units of vapour of a plug that the air passes in one step [-], see `_parts`; chosen."""
MOST_PARTS, GROWTH = 6, 2.0
"""Most parts in which air passes a plug, and how much larger each is than the one before."""

Ends = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
"""From moisture (dry basis) and temperature that plugs are taken to end at to those they end at."""


class PlugColumn:
    """Plugs of grain, and the air paths through them.

    A bundle is a set of parallel air paths of one length: index arrays of cells in the air's
    order, one row a position, one column a path.
    """

    def __init__(self, dryer: Dryer, work: Task) -> None:
        self._kind = dryer.kind
        self._tools: Kit = kit(work.model, ARRAYS)
        self._plain: Kit = kit(work.model, FLOATS)
        self._lay_out(dryer, work)
        cells = self.zone.size
        self.M, self.theta = np.full(cells, work.M), np.full(cells, work.theta)
        self._first = np.full(cells, work.M)
        self._dM, self._dtheta = np.zeros(cells), np.zeros(cells)
        self._left_M, self._left_theta = work.M, work.theta
        self.hottest = float(work.theta)
        self._swings = False
        self.supply(work)

    def _lay_out(self, dryer: Dryer, work: Task) -> None:
        heights, self.stride = dryer.heights, 1
        # A sensor reads between the faces of beds, as in the steady profile.
        self._resolved = CELLS_PER_LAYER if dryer.kind == "mixed-flow" else 1
        counts = [max(2, round(PLUGS * height / sum(heights))) for height in heights]
        if dryer.kind == "mixed-flow":
            layers = layer_counts(heights, dryer.half_pitch)
            counts = [CELLS_PER_LAYER * count for count in layers]
            self.bundles, self._upward = _mixed_paths(sum(layers))
        elif dryer.kind == "cross-flow":
            self.stride = FILES
            self.bundles, self._upward = _cross_paths(dryer, counts)
        else:
            flags = [zone_is_counter(work, index) for index in range(len(counts))]
            self.bundles, self._upward = _bed_paths(counts, flags)
        self.depth = sum(counts)
        self.zone = np.repeat(np.arange(len(counts)), np.array(counts) * self.stride)
        self.plug = dryer.hold_up_dry_matter / self.depth
        self._starts = np.cumsum([0, *counts[:-1]])
        self._turning = [zone.turning for zone in dryer.zones]
        bounds = np.cumsum([0, *counts])
        self._sensors = [
            bounds[index] + fraction * counts[index]
            for index, zone in enumerate(dryer.zones)
            for fraction in zone.sensors
        ]

    def start_from(self, settled: ColumnProfile) -> None:
        """Take the grain of a settled column."""
        faces = np.linspace(0.0, settled.depth[-1], self.depth + 1)
        theta = np.interp(faces, settled.depth, settled.grain_temperature)
        M = np.interp(faces, settled.depth, settled.moisture_db)
        self.theta, self.M = (np.repeat(values[:-1], self.stride) for values in (theta, M))
        self._dtheta, self._dM = (np.repeat(np.diff(values), self.stride) for values in (theta, M))
        self._left_M, self._left_theta = float(M[-1]), float(theta[-1])

    def copy(self) -> PlugColumn:
        """The same column, to be moved on apart from this one."""
        other = copy(self)
        other.M, other.theta, other._first = (
            values.copy() for values in (self.M, self.theta, self._first)
        )
        return other

    def supply(self, work: Task) -> None:
        """Take over new air and new grain at the inlet."""
        self._feed = (float(work.M), float(work.theta))
        self._work = work
        self._air = [self._path_air(work, bundle) for bundle in self.bundles]

    def _path_air(self, work: Task, bundle: Any) -> tuple[Any, ...]:
        zones = self.zone[bundle[0]]
        paths_in_zone = np.array([np.count_nonzero(zones == z) for z in range(len(work.T))])
        airflow = np.array(work.airflow)[zones] / paths_in_zone[zones]
        length = sum(work.dryer.heights) / self.depth
        if self._kind == "cross-flow":
            thickness = work.dryer.column_thickness or 1.0
            flux = airflow / (work.dryer.area / thickness * length)
            length = thickness / FILES
        else:
            flux = airflow / work.dryer.area
        T, W = np.array(work.T)[zones], np.array(work.W)[zones]
        transfer = transfer_coefficient(flux, T, work.model.transfer_factor)
        reach = length / flux
        units = vapour_units(
            self._plain.formulas, work.M, float(np.max(reach)), work.rate, work.pressure
        )
        return T, W, airflow * self.stride, reach, transfer, _parts(units)

    def step(self, duration: float, *, moving: bool) -> None:
        """Let every plug dwell, and move on if `moving`."""
        formulas = self._tools.formulas
        h, share = formulas.grain_enthalpy(self.theta, self.M), duration / self.plug

        def ends(end_M: FloatArray, end_theta: FloatArray) -> tuple[FloatArray, FloatArray]:
            water, heat = self._exchange(end_M, end_theta, moving=moving)
            M = self.M - share * water
            return M, formulas.grain_temperature(h + share * heat, M)

        M, theta, miss = self._end(ends)
        if not miss < UNSETTLED:
            raise NotConverged("a step of the column", (-miss, miss), UNSETTLED)
        self._dM, self._dtheta = M - self.M, theta - self.theta
        self.hottest = float(max(np.max(theta), np.max(self.theta)))
        self.M, self.theta = M, theta
        self._left_M, self._left_theta = self._bottom()
        if moving:
            self.advance()

    def _end(self, ends: Ends) -> tuple[FloatArray, FloatArray, float]:
        """Grain at the end of a step, and by how much its temperature was expected otherwise [K].

        A column whose last step swung is taken to swing again.
        """
        if self._swings:
            found = self._damped(ends, self.M + self._dM, self.theta + self._dtheta)
            if found[2] < UNSETTLED:
                return found
        found = self._repeated(ends)
        self._swings = not found[2] < UNSETTLED
        return self._damped(ends, self.M, self.theta) if self._swings else found

    def _repeated(self, ends: Ends) -> tuple[FloatArray, FloatArray, float]:
        """The end of a step by plain repetition.

        The change of the last step is the first guess; after two trials a secant, place by place.
        """
        end_M, end_theta = self.M + self._dM, self.theta + self._dtheta
        last: tuple[FloatArray, FloatArray] | None = None
        for _ in range(STEP_ITERATIONS):
            M, theta = ends(end_M, end_theta)
            away = theta - end_theta
            miss = float(np.max(np.abs(away)))
            if miss < SETTLED:
                break
            trial = theta
            if last is not None:
                run, rise = end_theta - last[0], away - last[1]
                slope = np.minimum(rise * run / (run * run + TINY), LEAST_SLOPE)
                trial = np.clip(end_theta - away / slope, COLDEST, HOTTEST)
            last = end_theta, away
            end_M, end_theta = M, trial
        return M, theta, miss

    def _damped(
        self, ends: Ends, end_M: FloatArray, end_theta: FloatArray
    ) -> tuple[FloatArray, FloatArray, float]:
        """The same from a guess, going only part of the way to each result.

        Plain repetition swings where much air dries a plug that dwells long: wetter grain gives
        drier grain, by more than the difference. Part of the way it comes to rest.
        """
        for part in DAMPING:
            for _ in range(STEP_ITERATIONS):
                M, theta = ends(end_M, end_theta)
                miss = float(np.max(np.abs(theta - end_theta)))
                if miss < SETTLED:
                    return M, theta, miss
                end_M = np.maximum(end_M + part * (M - end_M), DRIEST)
                end_theta = end_theta + part * (theta - end_theta)
                end_theta = np.clip(end_theta, COLDEST, HOTTEST)
        return M, theta, miss

    def _exchange(
        self, end_M: FloatArray, end_theta: FloatArray, *, moving: bool
    ) -> tuple[FloatArray, FloatArray]:
        """Water taken up and heat given by the air of each cell, per plug [kg/s, W]."""
        cell, work = self._tools.cell, self._work
        middle_M, middle = 0.5 * (self.M + end_M), 0.5 * (self.theta + end_theta)
        met, left = self._faces(end_theta, middle, moving=moving)
        water, heat = np.empty_like(middle), np.empty_like(middle)
        for bundle, air in zip(self.bundles, self._air, strict=True):
            T, W, airflow, reach, transfer, parts = air
            if T.size == 1 and len(bundle) > FILES:
                self._exchange_singly(bundle, air, (met, left), middle_M, (water, heat))
                continue
            H = air_enthalpy(T, W)
            for places in bundle:
                T, W_out = _through(
                    cell, parts, T, W, met[places], left[places], middle_M[places],
                    self._first[places], reach, transfer, work.rate, work.pressure,
                )  # fmt: skip
                H_out = air_enthalpy(T, W_out)
                water[places] = airflow * (W_out - W)
                heat[places] = airflow * (H - H_out)
                W, H = W_out, H_out
        return water, heat

    def _faces(
        self, end_theta: FloatArray, middle: FloatArray, *, moving: bool
    ) -> tuple[FloatArray, FloatArray]:
        """Grain temperature where the air meets each cell and where it leaves it."""
        if self._kind == "cross-flow" or not moving:
            return middle, middle
        return (
            np.where(self._upward, end_theta, self.theta),
            np.where(self._upward, self.theta, end_theta),
        )

    def _exchange_singly(
        self,
        bundle: list[Any],
        air: tuple[Any, ...],
        faces: tuple[FloatArray, FloatArray],
        middle_M: FloatArray,
        into: tuple[FloatArray, FloatArray],
    ) -> None:
        """The same for one deep bed, where plain floats are quicker."""
        cell, rate, pressure = self._plain.cell, self._work.rate, self._work.pressure
        T, W, airflow, reach, transfer = (float(value[0]) for value in air[:5])
        met, left, M, first = (values.tolist() for values in (*faces, middle_M, self._first))
        H = air_enthalpy(T, W)
        for places in bundle:
            k = int(places[0])
            T, W_out = _through(
                cell, air[5], T, W, met[k], left[k], M[k], first[k],
                reach, transfer, rate, pressure,
            )  # fmt: skip
            H_out = air_enthalpy(T, W_out)
            into[0][k], into[1][k] = airflow * (W_out - W), airflow * (H - H_out)
            W, H = W_out, H_out

    def advance(self) -> None:
        """Every plug moves one place; the lowest leaves, a new one enters."""
        stride = self.stride
        for values, new in (
            (self.M, self._feed[0]),
            (self.theta, self._feed[1]),
            (self._first, self._feed[0]),
        ):
            values[stride:] = values[:-stride].copy()
            values[:stride] = new
        if stride > 1:
            self._turn()

    def _turn(self) -> None:
        formulas = self._tools.formulas
        for start, turning in zip(self._starts, self._turning, strict=True):
            row = slice(start * self.stride, (start + 1) * self.stride)
            if turning == "inverted":
                for values in (self.M, self.theta, self._first):
                    values[row] = values[row][::-1].copy()
            elif turning == "mixed":
                h = np.mean(formulas.grain_enthalpy(self.theta[row], self.M[row]))
                self.M[row] = np.mean(self.M[row])
                self.theta[row] = formulas.grain_temperature(h, self.M[row])

    def _bottom(self) -> tuple[float, float]:
        last = slice(-self.stride, None)
        formulas = self._tools.formulas
        M = float(np.mean(self.M[last]))
        h = float(np.mean(formulas.grain_enthalpy(self.theta[last], self.M[last])))
        return M, float(formulas.grain_temperature(h, M))

    def look(self, time: float, gone: float) -> tuple[Any, ...]:
        """One row of the traces."""
        rows = self.theta.reshape(self.depth, self.stride).mean(axis=1)
        faces = np.append(rows, self._left_theta)[:: self._resolved]
        sensors = np.interp(self._sensors, np.arange(0, self.depth + 1, self._resolved), faces)
        return time, self._left_M, self._left_theta, sensors, gone, self.hottest


def _parts(units: float) -> tuple[float, ...]:
    """Parts in which air passes a plug, finest where it enters; one for few transfer units.

    Drying by a Page law is all but instant in fresh kernels and stops where damp air holds them.
    In a plug of soybeans, with six transfer units, a single step of the air takes one or the other
    for the whole plug: it swings between the two or settles on the wrong one. With three parts the
    first fill of soybeans at 15 to 24 % comes out as with twelve equal ones, to 0.01 point.
    """
    return graded(min(max(math.ceil(units / MOST_UNITS), 1), MOST_PARTS), GROWTH)


def _through(
    cell: Cell, parts: tuple[float, ...], T: Any, W: Any, met: Any, left: Any, M: Any,
    M_first: Any, reach: Any, transfer: Any, rate: Any, pressure: Any,
) -> tuple[Any, Any]:  # fmt: skip
    """Air after a plug that it passes in parts; else as `outfeed.dryer.cells.cell_of`."""
    start, passed = met, 0.0
    for part in parts[:-1]:
        passed += part
        end = met * (1.0 - passed) + left * passed
        T, W = cell(T, W, start, end, M, M_first, reach * part, transfer, rate, pressure)
        start = end
    return cell(T, W, start, left, M, M_first, reach * parts[-1], transfer, rate, pressure)


def _mixed_paths(layers: int) -> tuple[list[Any], Any]:
    cells = np.arange(layers * CELLS_PER_LAYER).reshape(layers, CELLS_PER_LAYER)
    upward = np.arange(layers) % 2 == 0
    ordered = np.where(upward[:, None], cells[:, ::-1], cells)
    return [list(ordered.T)], np.repeat(upward, CELLS_PER_LAYER)


def _cross_paths(dryer: Dryer, counts: list[int]) -> tuple[list[Any], Any]:
    rows = sum(counts)
    cells = np.arange(rows * FILES).reshape(rows, FILES)
    reversed_air = np.repeat([zone.air_reversed for zone in dryer.zones], counts)
    ordered = np.where(reversed_air[:, None], cells[:, ::-1], cells)
    return [list(ordered.T)], np.zeros(rows * FILES, dtype=bool)


def _bed_paths(counts: list[int], counter: list[bool]) -> tuple[list[Any], Any]:
    bundles, start = [], 0
    for count, against in zip(counts, counter, strict=True):
        cells = np.arange(start, start + count)
        bundles.append([np.array([c]) for c in (cells[::-1] if against else cells)])
        start += count
    return bundles, np.repeat(counter, counts)
