"""Fuel through a season: sums by week, and when a tank has to be filled again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import SENSIBLE, Range
from outfeed.queue import Flow
from outfeed.weather import DAY, HOUR

WEEK = 7.0 * DAY
TANK = Range("fuel tank", 0.0, 1e15, "J", SENSIBLE)
FULL_SHARE = 0.80
"""Liquefied gas tanks are filled to 80 %: NFPA 58, recalled."""
REFILL_SHARE = 0.25
"""Level at which fuel is ordered: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Refill:
    """A delivery of fuel.

    Attributes
    ----------
    at_s : float
        When the level falls to the reserve [s].
    heat : float
        Fuel delivered, as heat [J].
    """

    at_s: float
    heat: float


def tank_refills(
    flow: Flow, tank: float, *, full: float = FULL_SHARE, reserve: float = REFILL_SHARE
) -> tuple[Refill, ...]:
    """When a tank that is full at the start has to be filled again.

    Parameters
    ----------
    flow : Flow
        Fuel by hour.
    tank : float
        What the whole tank holds, as heat [J].
    full, reserve : float
        Share to which it is filled and share at which fuel is ordered [-].

    Returns
    -------
    tuple of Refill
        In order of time; an hour's fuel may take several fills of a small tank.

    Raises
    ------
    OutOfRange
        A tank outside its range.
    Inconsistent
        A reserve that is not below the full level.
    """
    TANK.check(tank, "tank")
    usable = (full - reserve) * tank
    if usable <= 0.0:
        raise Inconsistent("the reserve must lie below the full level", "tank")
    burned = np.cumsum(flow.heat)
    count = int(burned[-1] / usable + 1e-12)
    if count > flow.heat.size:
        raise Inconsistent("the tank does not hold fuel for an hour", "tank")
    hours = np.searchsorted(burned, usable * np.arange(1, count + 1))
    hours = np.minimum(hours, flow.heat.size - 1)
    return tuple(Refill(flow.start_s + HOUR * float(hour), usable) for hour in hours)


def by_week(hourly: FloatArray) -> FloatArray:
    """Sums over the weeks of a season, the last one as long as it is.

    Parameters
    ----------
    hourly : ndarray
        Anything that adds up, shape (hours,).

    Returns
    -------
    ndarray
        Shape (weeks,).
    """
    edges = np.arange(0, hourly.size, int(WEEK / HOUR))
    return np.asarray(np.add.reduceat(hourly, edges))
