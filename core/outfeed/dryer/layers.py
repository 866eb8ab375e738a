"""One bed of grain with the air against it, and what every bed is made of.

A bed is cut into cells that are finest where the air enters. Against the grain, the air is swept
through the cells over a guessed grain profile and the grain is then cumulated from the air's
change of enthalpy and water; the sweep is repeated, with the last two repeats combined so that the
remaining error is least (Anderson acceleration of depth one). Where that does not settle,
`outfeed.dryer.newton` takes over; a bed with the air along the grain is in `outfeed.dryer.along`.
Neither hands out a bed that has not settled.

The same functions run on plain floats and on arrays over scenarios.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

from outfeed.dryer.cells import Cell, air_enthalpy, cell_of
from outfeed.dryer.closures import GAS_RATIO, Closures, ColumnModel, closures
from outfeed.dryer.vapour import saturation_of
from outfeed.numbers import Numbers

TOLERANCE = 3e-2
"""Estimated error of the grain's temperature [K] at which a bed is settled. Whole columns then
differ from ones settled three thousand times better by less than 0.015 K and 0.002 point (1,900
scenarios of all four patterns over the whole domain)."""
MOISTURE_WEIGHT = 1e3
"""Moisture, dry basis, that counts like one degree [1/K]: the tolerance is 3e-5 of moisture."""
SWEEPS = 12
"""Sweeps of a bed before Newton's method is called."""
COLDEST, HOTTEST = -90.0, 250.0
"""Bounds of a trial temperature [degC]; an iterate that is cut here is never taken as settled."""
DRIEST = 1e-5
"""Least moisture of a trial, dry basis: below nothing no isotherm speaks."""
BED_CONTRACTION, DAMP_BED_CONTRACTION, CELL_CONTRACTION = 0.8, 4.0, 1.0
"""Ratio of successive errors per air over grain, before one has been seen [-]. Over 60,000 beds of
1,800 columns drawn over the whole domain, below `DAMP` 0.34 in the median, 0.66 in 99 of 100 and
never above 1; damper ones up to 11. In a cell with air along the grain 0.35, 0.5 and 0.7, and 1.4
near saturation."""
DAMP = 0.85
"""Relative humidity of the exhaust from which a bed counts as damp."""
WORST_RATIO = 0.95
"""Largest ratio of successive errors that is believed when the rest is estimated."""
MOST_MIXING = 4.0
"""Largest share of the last sweep that acceleration adds or takes away [-]."""
TINY = 1e-30
"""Keeps a quotient finite where nothing changes."""


class Air(NamedTuple):
    """Air that enters a bed, and how it passes it; floats or arrays over scenarios.

    Attributes
    ----------
    T, W : number
        Temperature [degC] and humidity ratio [kg/kg] at the inlet.
    ratio : number
        Air over grain, both as mass of dry matter per time [-].
    reach : number
        Bed length over air flux [m3 s/kg].
    transfer : number
        Volumetric heat transfer [W/(m3 K)].
    pressure : number
        Barometric pressure [Pa].
    """

    T: Any
    W: Any
    ratio: Any
    reach: Any
    transfer: Any
    pressure: Any


class Grain(NamedTuple):
    """Grain that enters a bed; floats or arrays over scenarios.

    Attributes
    ----------
    theta, M : number
        Temperature [degC] and moisture, dry basis.
    first : number
        Moisture at which its drying began, dry basis.
    rate : number
        Dry matter per bed volume times the rate factor [kg/m3].
    """

    theta: Any
    M: Any
    first: Any
    rate: Any


class Bed(NamedTuple):
    """A solved bed.

    Attributes
    ----------
    theta, M : list
        Grain at the faces of the cells, in the grain's direction: one more than cells.
    T, W : number
        Air that leaves [degC, kg/kg].
    error : number
        Estimated error of the grain's temperature [K], per scenario.
    """

    theta: list[Any]
    M: list[Any]
    T: Any
    W: Any
    error: Any

    @property
    def steps(self) -> list[tuple[Any, Any]]:
        """Change of the grain over each cell: the guess for the next bed of this kind."""
        return changes(self.theta, self.M)


def changes(theta: list[Any], M: list[Any]) -> list[tuple[Any, Any]]:
    """Changes from face to face.

    Parameters
    ----------
    theta, M : list
        Grain at the faces of the cells.

    Returns
    -------
    list of tuple
        Change of temperature and moisture over each cell.
    """
    return [(theta[k + 1] - theta[k], M[k + 1] - M[k]) for k in range(len(theta) - 1)]


@dataclass(frozen=True, slots=True)
class Kit:
    """The formulas and the cell step for one model and one kind of number.

    Attributes
    ----------
    number : Numbers
        Kind of number.
    formulas : Closures
        The model's formulas.
    cell : callable
        The cell step.
    """

    number: Numbers
    formulas: Closures
    cell: Cell


def kit(model: ColumnModel, number: Numbers) -> Kit:
    """Formulas and cell step of a model for one kind of number.

    Parameters
    ----------
    model : ColumnModel
        Which formulas.
    number : Numbers
        Kind of number.

    Returns
    -------
    Kit
        Both, for the solvers.
    """
    formulas = closures(model, number)
    return Kit(number, formulas, cell_of(formulas))


def graded(cells: int, growth: float) -> tuple[float, ...]:
    """Cell sizes as fractions of the bed, growing along the air.

    Parameters
    ----------
    cells : int
        How many.
    growth : float
        Ratio of one cell to the one before it [-].

    Returns
    -------
    tuple of float
        Fractions that sum to one, smallest first.
    """
    sizes = [growth**k for k in range(cells)]
    return tuple(size / sum(sizes) for size in sizes)


def against(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    guess: list[tuple[Any, Any]],
    tolerance: float = TOLERANCE,
) -> Bed:
    """Bed with the air against the grain, by accelerated sweeps.

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
        Expected change of temperature and moisture over each cell, along the grain.
    tolerance : float
        Error at which the bed is settled [K].

    Returns
    -------
    Bed
        The bed; its error tells whether it settled.
    """
    now = sweep(tools, grain, air, fractions, *cumulated_guess(grain, guess))
    return swept_on(tools, grain, air, fractions, now, tolerance)


def swept_on(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    now: Swept,
    tolerance: float = TOLERANCE,
) -> Bed:
    """Go on sweeping a bed with the air against the grain until it has settled.

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
    now : Swept
        The first sweep.
    tolerance : float
        Error at which the bed is settled [K].

    Returns
    -------
    Bed
        The bed; its error tells whether it settled.
    """
    number = tools.number
    last: Swept | None = None
    rest = first_rest(tools, air, now)
    for _ in range(SWEEPS - 1):
        if number.most(rest) < tolerance:
            break
        theta, M = _mixed(number, now, last)
        last, now = now, sweep(tools, grain, air, fractions, theta, M)
        rest = now.error * rest_of(number, now.error, last.error)
    return Bed(now.theta, now.M, now.T, now.W, rest)


class Swept(NamedTuple):
    """A sweep: the grain it gives, how far that is from the trial, and the air that leaves.

    Attributes
    ----------
    theta, M : list
        New grain at the faces.
    miss : list
        New less trial temperature at the faces below the top [K].
    error : number
        Largest miss, moisture weighted like temperature [K].
    T, W : number
        Air that leaves.
    """

    theta: list[Any]
    M: list[Any]
    miss: list[Any]
    error: Any
    T: Any
    W: Any


def sweep(
    tools: Kit,
    grain: Grain,
    air: Air,
    fractions: tuple[float, ...],
    theta: list[Any],
    M: list[Any],
) -> Swept:
    """Air through a bed of known grain, against it, and the grain that follows from it.

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
    theta, M : list
        Trial grain at the faces.

    Returns
    -------
    Swept
        New grain at the faces, its distance from the trial, and the air that leaves.
    """
    cell, first, rate = tools.cell, grain.first, grain.rate
    T, W, ratio, reach, transfer, pressure = air
    H = air_enthalpy(T, W)
    gains = []
    k = len(fractions)
    for fraction in fractions:
        k -= 1
        T, W_out = cell(
            T, W, theta[k + 1], theta[k], 0.5 * (M[k] + M[k + 1]), first,
            fraction * reach, transfer, rate, pressure,
        )  # fmt: skip
        H_out = air_enthalpy(T, W_out)
        gains.append((H - H_out, W_out - W))
        W, H = W_out, H_out
    return Swept(*_cumulated(tools, grain, ratio, gains, theta, M), T, W)


def _cumulated(
    tools: Kit,
    grain: Grain,
    ratio: Any,
    gains: list[tuple[Any, Any]],
    theta: list[Any],
    M: list[Any],
) -> tuple[list[Any], list[Any], list[Any], Any]:
    larger, temperature = tools.number.larger, tools.formulas.grain_temperature
    moisture, error = grain.M, 0.0 * grain.theta
    h = tools.formulas.grain_enthalpy(grain.theta, moisture)
    new_theta, new_M, misses = [grain.theta], [moisture], []
    for k, (heat, water) in enumerate(reversed(gains), start=1):
        h = h + ratio * heat
        moisture = moisture - ratio * water
        now = temperature(h, moisture)
        miss = now - theta[k]
        error = larger(error, larger(abs(miss), MOISTURE_WEIGHT * abs(moisture - M[k])))
        new_theta.append(now)
        new_M.append(moisture)
        misses.append(miss)
    return new_theta, new_M, misses, error


def cumulated_guess(grain: Grain, guess: list[tuple[Any, Any]]) -> tuple[list[Any], list[Any]]:
    """Trial grain at the faces of a bed.

    Parameters
    ----------
    grain : Grain
        Grain that enters.
    guess : list
        Expected change of temperature and moisture over each cell.

    Returns
    -------
    tuple of list
        Temperatures and moistures at the faces.
    """
    theta, M = [grain.theta], [grain.M]
    for warming, wetting in guess:
        theta.append(theta[-1] + warming)
        M.append(M[-1] + wetting)
    return theta, M


def bounded(number: Numbers, theta: Any) -> Any:
    """A trial temperature kept between `COLDEST` and `HOTTEST`.

    Parameters
    ----------
    number : Numbers
        Kind of number.
    theta : number
        Trial [degC].

    Returns
    -------
    number
        The trial, or the bound it passed.
    """
    return number.smaller(number.larger(theta, COLDEST), HOTTEST)


def rest_of(number: Numbers, error: Any, before: Any) -> Any:
    """What is still to come of a series of changes, over the last of them.

    Parameters
    ----------
    number : Numbers
        Kind of number.
    error, before : number
        Last change and the one before it.

    Returns
    -------
    number
        Sum of the geometric series that their ratio begins [-].
    """
    ratio = number.smaller(error / (before + TINY), WORST_RATIO)
    return ratio / (1.0 - ratio)


def first_rest(tools: Kit, air: Air, now: Swept) -> Any:
    """Estimated error of a first sweep, from how damp its exhaust is.

    Parameters
    ----------
    tools : Kit
        Formulas and cell step.
    air : Air
        Air that entered.
    now : Swept
        The sweep.

    Returns
    -------
    number
        Error of the grain's temperature [K].
    """
    damp = exhaust_humidity(tools.number, now.T, now.W, air.pressure) > DAMP
    contraction = BED_CONTRACTION + damp * (DAMP_BED_CONTRACTION - BED_CONTRACTION)
    return now.error * tools.number.smaller(contraction * air.ratio, 1.0)


def exhaust_humidity(number: Numbers, T: Any, W: Any, pressure: Any) -> Any:
    """Relative humidity of air, above one where it carries fog.

    Parameters
    ----------
    number : Numbers
        Kind of number.
    T, W : number
        Temperature [degC] and humidity ratio [kg/kg].
    pressure : number
        Barometric pressure [Pa].

    Returns
    -------
    number
        Vapour pressure over that of saturation [-].
    """
    return pressure * W / ((GAS_RATIO + W) * saturation_of(number)(T))


def _mixed(number: Numbers, now: Swept, last: Swept | None) -> tuple[list[Any], list[Any]]:
    if last is None:
        return [bounded(number, theta) for theta in now.theta], now.M
    up = down = 0.0
    for new, old in zip(now.miss, last.miss, strict=True):
        change = new - old
        up = up + new * change
        down = down + change * change
    share = number.smaller(number.larger(up / (down + TINY), -MOST_MIXING), 1.0)
    theta = [
        bounded(number, a - share * (a - b)) for a, b in zip(now.theta, last.theta, strict=True)
    ]
    return theta, [a - share * (a - b) for a, b in zip(now.M, last.M, strict=True)]
