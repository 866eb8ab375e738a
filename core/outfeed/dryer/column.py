"""The column model: heat and moisture down a continuous-flow dryer, in a steady state.

Four balances (water and heat, of grain and of air) that do not assume the air in equilibrium with
the grain. Walls, losses, the flow around single ducts, freezing and the shrinking of the bed are
left out: energies read low, and below freezing no ice is formed or melted.

Sources: Brooker D.B., Bakker-Arkema F.W. & Hall C.W. (1992) *Drying and Storage of Grains and
Oilseeds*; Giner S.A. & Bruce D.M. (1998) Two-dimensional simulation model of steady-state
mixed-flow grain drying, J. Agric. Eng. Res. 71:37-66.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from outfeed.arrays import ArrayLike
from outfeed.dryer.along_flow import solve_along_flow
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.cross_flow import solve_cross_flow
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.layers import TOLERANCE
from outfeed.dryer.mixed_flow import solve_mixed_flow
from outfeed.dryer.profile import ColumnProfile, profile_of
from outfeed.dryer.task import Task, task
from outfeed.dryer.trace import Trace
from outfeed.errors import NotConverged
from outfeed.methods import DERIVED, Method

COLUMN = Method(
    "dryer.column",
    "Heat and moisture balances of the grain column",
    "Brooker, Bakker-Arkema & Hall (1992) Drying and Storage of Grains and Oilseeds; Giner & Bruce "
    "(1998) J. Agric. Eng. Res. 71:37-66",
    DERIVED,
    note="No walls, losses, duct-scale flow, freezing or shrinking bed: energies read low, and "
    "nothing freezes or thaws.",
)
METHODS = (COLUMN,)

SOLVERS: dict[str, Callable[[Task], Trace]] = {
    "mixed-flow": solve_mixed_flow,
    "cross-flow": solve_cross_flow,
    "counter-flow": solve_along_flow,
    "concurrent-flow": solve_along_flow,
}


def solve_column(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: ArrayLike,
    *,
    model: ColumnModel | None = None,
    plenum_temperatures: Sequence[ArrayLike | None] | None = None,
    flag: bool = False,
) -> ColumnProfile:
    """Steady state of a dryer, for one scenario or many.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; fields may be arrays over scenarios.
    feed : Feed
        Grain at the inlet; fields may be arrays over scenarios.
    dry_matter_rate : array_like
        Dry matter through the dryer [kg/s], 1e-4 to 1000.
    model : ColumnModel, optional
        Which formulas, and the factors a fit found; absent for the grain's defaults.
    plenum_temperatures : sequence, optional
        Plenum temperatures zone by zone [degC] in place of the description's, numbers or arrays.
    flag : bool
        Whether scenarios that did not settle are only marked in `ColumnProfile.converged`; their
        numbers are not to be used.

    Returns
    -------
    ColumnProfile
        Profiles and totals.

    Raises
    ------
    NotConverged
        A scenario did not settle and `flag` is false.
    OutOfRange, Inconsistent, UnknownName, NotPublished
        Inputs the model cannot work with.
    """
    work = task(
        dryer,
        conditions,
        feed,
        dry_matter_rate,
        model or ColumnModel(grain=feed.grain),
        plenum_temperatures,
    )
    profile = profile_of(work, _trace(work))
    if not flag and not np.all(profile.converged):
        worst = float(np.max(profile.error))
        raise NotConverged("the column", (-worst, worst), TOLERANCE)
    return profile


def solve_outlet(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: float,
    *,
    model: ColumnModel | None = None,
) -> float:
    """Outlet moisture alone, for searches; one scenario.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    dry_matter_rate : float
        Dry matter through the dryer [kg/s].
    model : ColumnModel, optional
        Which formulas.

    Returns
    -------
    float
        Moisture at the discharge, wet basis [-].

    Raises
    ------
    NotConverged
        The column did not settle.
    """
    chosen = model or ColumnModel(grain=feed.grain)
    trace = _trace(task(dryer, conditions, feed, dry_matter_rate, chosen))
    error = float(np.max(trace.error))
    if not error < TOLERANCE:
        raise NotConverged("the column", (-error, error), TOLERANCE)
    M = float(np.max(trace.M[-1]))
    return M / (1.0 + M)


def _trace(work: Task) -> Trace:
    # A scenario that runs away overflows on its way; its error is then no number, which no
    # tolerance accepts.
    solve = SOLVERS[work.dryer.kind]
    try:
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            try:
                return solve(work)
            except (ArithmeticError, ValueError):
                # Plain floats stop where arrays go on with a number that is none.
                return solve(work.as_arrays())
    except (ArithmeticError, ValueError, np.linalg.LinAlgError) as error:
        raise NotConverged("the column", (-math.inf, math.inf), TOLERANCE) from error
