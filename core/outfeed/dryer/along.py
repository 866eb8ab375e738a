"""Air and grain in the same direction: a bed cell after cell, and the box of a cross-flow column.

Each cell is closed by a secant on the temperature and one on the moisture of the grain that leaves
it. Where that does not settle, because much air meets little grain or the grain dwells long,
Newton's method closes the cell.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from outfeed.dryer.cells import air_enthalpy
from outfeed.dryer.layers import (
    CELL_CONTRACTION,
    DRIEST,
    MOISTURE_WEIGHT,
    TINY,
    TOLERANCE,
    Air,
    Bed,
    Grain,
    Kit,
    bounded,
    rest_of,
)
from outfeed.numbers import Numbers

CELL_ITERATIONS = 25
"""Repetitions of a cell before Newton's method is called."""
LEAST_SLOPE = -0.3
"""Slope of the miss against the trial that a secant may not exceed: plain repetition has -1."""
NEWTON_ITERATIONS = 40
NUDGE_TEMPERATURE, NUDGE_MOISTURE = 1e-4, 1e-6
"""Nudges of the grain that leaves, for the slopes [K, -]."""
LONGEST_STEP, FASTEST_STEP = 15.0, 0.03
"""Largest correction of its temperature [K] and moisture [-] in one step."""
WORSE = 0.25
"""Part of a step that is kept when it made the miss larger [-]."""


def along(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    guess: list[tuple[Any, Any]],
    tolerance: float = TOLERANCE,
) -> Bed:
    """Bed with air and grain in the same direction.

    Parameters
    ----------
    tools : Kit
        Formulas and cell step.
    grain : Grain
        Grain that enters.
    air : Air
        Air that enters.
    fractions : tuple of float
        Cell sizes along the air.
    guess : list
        Expected change of temperature and moisture over each cell.
    tolerance : float
        Error at which a cell is settled [K].

    Returns
    -------
    Bed
        The bed; its error tells whether it settled.
    """
    number, h = tools.number, tools.formulas.grain_enthalpy(grain.theta, grain.M)
    theta, M = [grain.theta], [grain.M]
    T, W, error = air.T, air.W, 0.0 * grain.theta
    for fraction, step in zip(fractions, guess, strict=True):
        start = (T, W, theta[-1], M[-1], h)
        T, W, h, left, moisture, rest = along_cell(
            tools, grain, air, start, step, fraction * air.reach, tolerance
        )
        theta.append(left)
        M.append(moisture)
        error = number.larger(error, rest)
    return Bed(theta, M, T, W, error)


def along_cell(
    tools: Kit,
    grain: Grain,
    air: Air,
    start: tuple[Any, Any, Any, Any, Any],
    step: tuple[Any, Any],
    reach: Any,
    tolerance: float = TOLERANCE,
) -> tuple[Any, Any, Any, Any, Any, Any]:
    """One cell with air and grain in the same direction, or one box of a cross-flow column.

    Parameters
    ----------
    tools : Kit
        Formulas and cell step.
    grain : Grain
        Grain of the bed; only its first moisture and rate are used.
    air : Air
        Air of the bed; only how it passes is used.
    start : tuple
        Air temperature and humidity, grain temperature, moisture and enthalpy at the inlet.
    step : tuple
        Expected change of grain temperature and moisture.
    reach : number
        Length of the cell along the air over the air flux [m3 s/kg].
    tolerance : float
        Error at which the cell is settled [K].

    Returns
    -------
    tuple
        Air temperature and humidity, grain enthalpy, temperature and moisture at the outlet, and
        the estimated error [K].
    """
    _, _, larger, smaller, *_, most = tools.number
    cell = tools.cell
    temperature, ratio = tools.formulas.grain_temperature, air.ratio
    T, W, theta, M, h = start
    left, moisture = theta + step[0], M + step[1]
    H = air_enthalpy(T, W)
    rest = smaller(CELL_CONTRACTION * ratio, 1.0)
    last: tuple[Any, Any, Any, Any, Any] | None = None
    for _ in range(CELL_ITERATIONS):
        T_out, W_out = cell(
            T, W, theta, left, 0.5 * (M + moisture), grain.first,
            reach, air.transfer, grain.rate, air.pressure,
        )  # fmt: skip
        new_M = M - ratio * (W_out - W)
        new_h = h + ratio * (H - air_enthalpy(T_out, W_out))
        new_left = temperature(new_h, new_M)
        miss, lack = new_left - left, new_M - moisture
        size = larger(abs(miss), MOISTURE_WEIGHT * abs(lack))
        error = size * (rest if last is None else rest_of(tools.number, size, last[0]))
        if most(error) < tolerance:
            break
        now = (size, left, miss, moisture, lack)
        left, moisture = new_left, larger(new_M, DRIEST)
        if last is not None:
            left = _secant(tools.number, now[1:3], last[1:3])
            moisture = larger(_secant(tools.number, now[3:], last[3:]), DRIEST)
        last, left = now, bounded(tools.number, left)
    else:
        secant = (T_out, W_out, new_h, new_left, new_M, error)
        closed = closed_cell(tools, grain, air, start, (left, moisture), reach, tolerance)
        return _surer(secant, closed)
    return T_out, W_out, new_h, new_left, new_M, error


def _secant(number: Numbers, now: tuple[Any, Any], last: tuple[Any, Any]) -> Any:
    # Trial and miss, now and before; the cap on the slope serves elements that have settled.
    run, rise = now[0] - last[0], now[1] - last[1]
    return now[0] - now[1] / number.smaller(rise * run / (run * run + TINY), LEAST_SLOPE)


def closed_cell(
    tools: Kit,
    grain: Grain,
    air: Air,
    start: tuple[Any, Any, Any, Any, Any],
    trial: tuple[Any, Any],
    reach: Any,
    tolerance: float = TOLERANCE,
) -> tuple[Any, Any, Any, Any, Any, Any]:
    """A cell closed by Newton's method on the grain that leaves it.

    Parameters
    ----------
    tools : Kit
        Formulas and cell step.
    grain : Grain
        Grain of the bed; only its first moisture and rate are used.
    air : Air
        Air of the bed; only how it passes is used.
    start : tuple
        Air temperature and humidity, grain temperature, moisture and enthalpy at the inlet.
    trial : tuple
        Temperature and moisture of the leaving grain to start from.
    reach : number
        Length of the cell along the air over the air flux [m3 s/kg].
    tolerance : float
        Error at which the cell is settled [K].

    Returns
    -------
    tuple
        As `along_cell`.
    """
    number = tools.number
    larger, smaller = number.larger, number.smaller
    theta, M = start[2], start[3]
    left, moisture = bounded(number, 0.5 * (theta + trial[0])), larger(0.5 * (M + trial[1]), DRIEST)
    best, step, anchor = 1.0 / TINY + 0.0 * theta, (0.0, 0.0), (left, moisture)
    share = 1.0 + 0.0 * theta
    for _ in range(NEWTON_ITERATIONS):
        end = _passed(tools, grain, air, start, left, moisture, reach)
        miss, lack = end[3] - left, end[4] - moisture
        size = larger(abs(miss), MOISTURE_WEIGHT * abs(lack))
        error = size * smaller(CELL_CONTRACTION * air.ratio, 1.0)
        if number.most(error) < tolerance:
            break
        better = 1.0 * (size < best) + 1.0 * (share < WORSE**5) * (size >= best)
        full = _step(tools, grain, air, start, (left, moisture), (miss, lack), reach)
        anchor = tuple(a + better * (b - a) for a, b in zip(anchor, (left, moisture), strict=True))
        step = tuple(a + better * (b - a) for a, b in zip(step, full, strict=True))
        best = best + better * (size - best)
        share = better + (1.0 - better) * WORSE * share
        left = bounded(number, anchor[0] + share * step[0])
        moisture = larger(anchor[1] + share * step[1], DRIEST)
    return *end, error


def _surer(one: tuple[Any, ...], other: tuple[Any, ...]) -> tuple[Any, ...]:
    # Scenario by scenario, whichever result has the smaller error.
    better = np.asarray(other[-1]) < np.asarray(one[-1])
    if better.ndim == 0:
        return other if better else one
    return tuple(np.where(better, b, a) for a, b in zip(one, other, strict=True))


def _passed(
    tools: Kit, grain: Grain, air: Air, start: tuple[Any, ...], left: Any, moisture: Any, reach: Any
) -> tuple[Any, Any, Any, Any, Any]:
    T, W, theta, M, h = start
    T_out, W_out = tools.cell(
        T, W, theta, left, 0.5 * (M + moisture), grain.first,
        reach, air.transfer, grain.rate, air.pressure,
    )  # fmt: skip
    new_M = M - air.ratio * (W_out - W)
    new_h = h + air.ratio * (air_enthalpy(T, W) - air_enthalpy(T_out, W_out))
    return T_out, W_out, new_h, tools.formulas.grain_temperature(new_h, new_M), new_M


def _step(
    tools: Kit,
    grain: Grain,
    air: Air,
    start: tuple[Any, ...],
    at: tuple[Any, Any],
    misses: tuple[Any, Any],
    reach: Any,
) -> tuple[Any, Any]:
    (left, moisture), (miss, lack) = at, misses
    warmer = _passed(tools, grain, air, start, left + NUDGE_TEMPERATURE, moisture, reach)
    wetter = _passed(tools, grain, air, start, left, moisture + NUDGE_MOISTURE, reach)
    a = (warmer[3] - left - miss) / NUDGE_TEMPERATURE - 1.0
    b = (wetter[3] - left - miss) / NUDGE_MOISTURE
    c = (warmer[4] - moisture - lack) / NUDGE_TEMPERATURE
    d = (wetter[4] - moisture - lack) / NUDGE_MOISTURE - 1.0
    whole = a * d - b * c
    whole = whole + TINY * (abs(whole) < TINY)
    number = tools.number
    return (
        _capped(number, -(d * miss - b * lack) / whole, LONGEST_STEP),
        _capped(number, -(a * lack - c * miss) / whole, FASTEST_STEP),
    )


def _capped(number: Numbers, step: Any, most: float) -> Any:
    return number.larger(number.smaller(step, most), -most)
