"""Cross-flow: grain falls through a column while air passes sideways.

The column is cut into boxes, rows down the grain's way and files across it. A row is swept in the
air's direction; each box is closed by a secant on the temperature of the grain that leaves it.
The scheme is of second order in both directions, so two grids, one with twice the boxes of the
other both ways, are combined (Richardson extrapolation) in moisture and enthalpy, which keeps the
balances closed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from outfeed.dryer.along import along_cell
from outfeed.dryer.cells import Cell, air_enthalpy, transfer_coefficient
from outfeed.dryer.closures import DRY_AIR_HEAT, VAPOUR_HEAT
from outfeed.dryer.layers import Air, Grain, Kit, kit
from outfeed.dryer.task import Task
from outfeed.dryer.trace import Trace
from outfeed.interrupt import may_stop
from outfeed.numbers import ARRAYS, FLOATS, Numbers

FILES = (0.09, 0.14, 0.17, 0.20, 0.17, 0.14, 0.09)
"""Boxes across the column on the coarse grid, as fractions of its thickness: fine on both sides,
since the air may come from either."""
ROWS_PER_EXCHANGE = 0.8
"""Coarse rows per length over which the grain at the air's side warms up."""
LEAST_ROWS, MOST_ROWS = 6, 40
"""Coarse rows of a zone."""


@dataclass(slots=True)
class _Grid:
    """Row by row results of one grid: sums over the files."""

    M: list[Any]
    h: list[Any]
    theta: list[Any]
    hottest: list[Any]
    W_out: list[Any]
    H_out: list[Any]
    error: Any


def solve_cross_flow(work: Task) -> Trace:
    """Steady state of a cross-flow dryer.

    Parameters
    ----------
    work : Task
        The dryer under one or many scenarios.

    Returns
    -------
    Trace
        Row by row, with the mean across the column; its error tells where a box did not settle.
    """
    rows = _rows(work)
    halves = tuple(0.5 * width for width in FILES for _ in range(2))
    coarse = _march(work, rows, FILES, 1)
    fine = _march(work, rows, halves, 2)
    return _combined(work, rows, coarse, fine)


def _rows(work: Task) -> list[int]:
    counts = []
    for index, height in enumerate(work.dryer.heights):
        flux = work.airflow[index] / (work.dryer.volumes[index] / _thickness(work))
        transfer = transfer_coefficient(flux, work.T[index], work.model.transfer_factor)
        held = kit(work.model, ARRAYS).formulas.heat
        carried = work.dry_matter_rate / work.dryer.area * (held.dry + held.per_moisture * work.M)
        units = float(np.max(transfer * height / carried))
        counts.append(min(MOST_ROWS, max(LEAST_ROWS, math.ceil(ROWS_PER_EXCHANGE * units))))
    return counts


def _thickness(work: Task) -> float:
    if work.dryer.column_thickness is None:
        raise AssertionError("a cross-flow dryer has a thickness")
    return work.dryer.column_thickness


def _midway(cell: Cell) -> Cell:
    """The cell step for a box: its grain is halfway between top and bottom all across."""

    def box(T: Any, W: Any, top: Any, bottom: Any, *rest: Any) -> tuple[Any, Any]:
        middle = 0.5 * (top + bottom)
        return cell(T, W, middle, middle, *rest)

    return box


def _march(work: Task, rows: list[int], widths: tuple[float, ...], finer: int) -> _Grid:
    plain = kit(work.model, FLOATS if work.single else ARRAYS)
    tools = Kit(plain.number, plain.formulas, _midway(plain.cell))
    enthalpy, files = tools.formulas.grain_enthalpy, len(widths)
    theta, M = [work.theta] * files, [work.M] * files
    h = [enthalpy(work.theta, work.M)] * files
    nothing = 0.0 * work.theta
    steps = [(nothing, nothing)] * files
    grid = _Grid([work.M], [h[0]], [work.theta], [], [], [], nothing)
    for index, zone in enumerate(work.dryer.zones):
        theta, M, h = _turned(tools, zone.turning, widths, theta, M, h)
        count = rows[index] * finer
        air = _row_air(work, index, count)
        order = range(files - 1, -1, -1) if zone.air_reversed else range(files)
        for _ in range(count):
            may_stop()
            T, W = air.T, air.W
            before = theta
            theta, M, h, steps = list(theta), list(M), list(h), list(steps)
            for i in order:
                grain = Grain(theta[i], M[i], work.M, work.rate)
                start = (T, W, theta[i], M[i], h[i])
                T, W, h[i], left, moisture, error = along_cell(
                    tools,
                    grain,
                    air._replace(ratio=air.ratio / widths[i]),
                    start,
                    steps[i],
                    widths[i] * air.reach,
                )
                steps[i] = (left - theta[i], moisture - M[i])
                theta[i], M[i] = left, moisture
                grid.error = tools.number.larger(grid.error, error)
            met = [order[0], order[1]]
            hottest = _hottest(tools.number, [before, theta], widths, met, air.T)
            _sum_row(grid, widths, hottest, theta, M, h, T, W)
    return grid


def _row_air(work: Task, index: int, count: int) -> Air:
    flux = work.airflow[index] / (work.dryer.volumes[index] / _thickness(work))
    transfer = transfer_coefficient(flux, work.T[index], work.model.transfer_factor)
    ratio = work.airflow[index] / count / work.dry_matter_rate
    reach = _thickness(work) / flux
    return Air(work.T[index], work.W[index], ratio, reach, transfer, work.pressure)


def _turned(
    tools: Kit,
    turning: str,
    widths: tuple[float, ...],
    theta: list[Any],
    M: list[Any],
    h: list[Any],
) -> tuple[list[Any], list[Any], list[Any]]:
    if turning == "inverted":
        return theta[::-1], M[::-1], h[::-1]
    if turning == "mixed":
        moisture, enthalpy = _mean(widths, M), _mean(widths, h)
        mean = tools.formulas.grain_temperature(enthalpy, moisture)
        return [mean] * len(M), [moisture] * len(M), [enthalpy] * len(M)
    return theta, M, h


def _mean(widths: tuple[float, ...], values: list[Any]) -> Any:
    total = 0.0 * values[0]
    for width, value in zip(widths, values, strict=True):
        total = total + width * value
    return total


def _hottest(
    number: Numbers,
    rows: list[list[Any]],
    widths: tuple[float, ...],
    met: list[int],
    hottest_air: Any,
) -> Any:
    """Hottest grain of a row, with the face that the air meets drawn from the first two files."""
    larger, smaller = number.larger, number.smaller
    reach = widths[met[0]] / (widths[met[0]] + widths[met[1]])
    peak = rows[0][0]
    for theta in rows:
        first = theta[met[0]]
        face = smaller(first + reach * (first - theta[met[1]]), larger(hottest_air, first))
        for value in (*theta, face):
            peak = larger(peak, value)
    return peak


def _sum_row(
    grid: _Grid,
    widths: tuple[float, ...],
    hottest: Any,
    theta: list[Any],
    M: list[Any],
    h: list[Any],
    T: Any,
    W: Any,
) -> None:
    grid.M.append(_mean(widths, M))
    grid.h.append(_mean(widths, h))
    grid.theta.append(_mean(widths, theta))
    grid.hottest.append(hottest)
    grid.W_out.append(W)
    grid.H_out.append(air_enthalpy(T, W))


def _combined(work: Task, rows: list[int], coarse: _Grid, fine: _Grid) -> Trace:
    temperature = kit(work.model, ARRAYS).formulas.grain_temperature
    trace = Trace([work.theta], [work.M], error=np.maximum(coarse.error, fine.error))
    row = 0
    for index, count in enumerate(rows):
        air = work.airflow[index] / count
        for _ in range(count):
            M = _limit(coarse.M[row + 1], fine.M[2 * row + 2])
            h = _limit(coarse.h[row + 1], fine.h[2 * row + 2])
            # Mixed kernels exchange water until they are alike, and the heat of sorption moves the
            # temperature of the whole by kelvins: no sensor in the column sees that.
            lies = _limit(coarse.theta[row + 1], fine.theta[2 * row + 2])
            W, H = (
                _limit(rough[row], 0.5 * (close[2 * row] + close[2 * row + 1]))
                for rough, close in ((coarse.W_out, fine.W_out), (coarse.H_out, fine.H_out))
            )
            T = (H - W * air_enthalpy(0.0, 1.0)) / (DRY_AIR_HEAT + VAPOUR_HEAT * W)
            hottest = np.maximum(fine.hottest[2 * row], fine.hottest[2 * row + 1])
            inlet = (work.T[index], work.W[index])
            length = work.dryer.heights[index] / count
            trace.add(temperature(h, M), M, hottest, inlet, (T, W), air, index, length, sensed=lies)
            row += 1
    return trace


def _limit(coarse: Any, fine: Any) -> Any:
    """Richardson's limit of a second-order scheme from two grids, one twice as fine."""
    return fine + (fine - coarse) / 3.0
