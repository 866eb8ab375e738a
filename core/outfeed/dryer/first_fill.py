"""How long to hold the first fill of a column before it is discharged.

The fill stands in heat, then leaves within one transit. How it stands does not hang on how long it
will, so that is followed once, minute by minute; each hold that is tried sets out from its minute.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.plugs import PlugColumn
from outfeed.dryer.task import DRY_MATTER_RATE, task
from outfeed.dryer.transient import STANDING_STEP, Response, discharged
from outfeed.errors import NotConverged
from outfeed.interrupt import may_stop

USUAL_HOLD = 0.65
"""Hold over transit from which a hold is sought [-]; it decides only how soon one is found."""
MOST_HOLDS, GUESSES = 40, 8
"""Tries at a hold, and how many of them are guessed before the bracket is only halved."""
NEXT_HOLD = 1.6
"""Next try over the longest that was too short, where there is nothing to guess from [-]."""
SURE = 0.2
"""How far the hold that was found between tries has to lie from a whole minute that was not tried,
for the minute after it to be taken [min]; what is found moves by far less. Chosen."""


@dataclass(frozen=True, slots=True)
class Hold:
    """A first fill that stands in heat before it leaves.

    Attributes
    ----------
    duration : float
        How long [s], whole minutes.
    hottest_kernel : float
        Hottest grain while it stands [degC].
    """

    duration: float
    hottest_kernel: float


def hold_for_moisture(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: float,
    target_moisture_wb: float,
    *,
    model: ColumnModel | None = None,
    longest: float = 6.0 * 3600.0,
    unheld: Response | None = None,
) -> Hold | None:
    """How long to hold the first fill so that it leaves at the target on the whole.

    Grain that stands near the discharge when the hold ends gets the hold and little more, grain
    near the top gets a whole transit on top of it: no hold makes the first fill even. This one
    makes its mean right.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    dry_matter_rate : float
        Rate at which it is discharged after the hold [kg/s].
    target_moisture_wb : float
        Moisture wanted, wet basis [-].
    model : ColumnModel, optional
        Which formulas.
    longest : float
        Longest hold looked at [s].
    unheld : Response, optional
        Traces of the same fill discharged at once, over one transit; followed here where absent.

    Returns
    -------
    Hold or None
        To the nearest minute; None when `longest` is not enough.

    Raises
    ------
    NotConverged
        A step did not settle.
    """
    DRY_MATTER_RATE.check(dry_matter_rate, "dry_matter_rate")
    chosen = model or ColumnModel(grain=feed.grain)
    standing = _Standing(PlugColumn(dryer, task(dryer, conditions, feed, 1.0, chosen)))

    def over(minutes: int) -> float:
        column = standing.after(minutes)
        run = discharged(column, dryer, conditions, feed, dry_matter_rate, model=chosen)
        return mean_moisture(run) - target_moisture_wb

    first = over(0) if unheld is None else mean_moisture(unheld) - target_moisture_wb
    if first <= 0.0:
        return Hold(0.0, standing.hottest(0))
    transit = dryer.hold_up_dry_matter / dry_matter_rate
    minutes = _shortest(
        over, first, USUAL_HOLD * transit / STANDING_STEP, math.floor(longest / STANDING_STEP)
    )
    if minutes is None:
        return None
    return Hold(minutes * STANDING_STEP, standing.hottest(minutes))


def mean_moisture(response: Response) -> float:
    """Moisture of all grain that leaves, on the whole.

    Parameters
    ----------
    response : Response
        The traces.

    Returns
    -------
    float
        Wet basis [-], each plug at its dry matter.
    """
    mass = np.diff(response.discharged, prepend=0.0)
    return float(np.average(response.outlet_moisture_wb, weights=mass))


class _Standing:
    """Grain that stands, as it is after every minute."""

    def __init__(self, column: PlugColumn) -> None:
        self._columns = [column]

    def after(self, minutes: int) -> PlugColumn:
        """A column of its own, to be moved on."""
        return self._until(minutes)[-1].copy()

    def hottest(self, minutes: int) -> float:
        """Hottest grain until then [degC]."""
        return max(column.hottest for column in self._until(minutes))

    def _until(self, minutes: int) -> list[PlugColumn]:
        while len(self._columns) <= minutes:
            may_stop()
            column = self._columns[-1].copy()
            column.step(STANDING_STEP, moving=False)
            self._columns.append(column)
        return self._columns[: minutes + 1]


def _shortest(over: Callable[[int], float], first: float, usual: float, most: int) -> int | None:
    """First whole minute at which `over` is not above zero: guessed, and kept inside a bracket."""
    tried, low, high = {0: first}, 0, None
    trial = min(max(round(usual), 1), most)
    for count in range(MOST_HOLDS):
        tried[trial] = over(trial)
        low, high = (trial, high) if tried[trial] > 0.0 else (low, trial)
        if high is None and low >= most:
            return None
        if high is not None and high - low <= 1:
            return high
        guess = _crossing(tried) if count < GUESSES else None
        if guess is None:
            guess = NEXT_HOLD * low if high is None else 0.5 * (low + high)
        last = most if high is None else high - 1
        if count > 0 and low < guess < last + 1 and _is_sure(guess, trial, tried):
            return math.ceil(guess)
        trial = min(max(round(guess), low + 1), last)
    raise NotConverged("the hold", (low * STANDING_STEP, (high or most) * STANDING_STEP), 60.0)


def _crossing(tried: dict[int, float]) -> float | None:
    """Minutes at which what was tried crosses zero: inverse interpolation of the three nearest.

    None where more minutes did not give less.
    """
    points = sorted(sorted(tried.items(), key=lambda point: abs(point[1]))[:3])
    if any(one[1] <= other[1] for one, other in pairwise(points)):
        return None
    shares = (
        math.prod(other / (other - value) for _, other in points if other != value)
        for _, value in points
    )
    return sum(minutes * share for (minutes, _), share in zip(points, shares, strict=True))


def _is_sure(guess: float, trial: int, tried: dict[int, float]) -> bool:
    """Whether a guess beside the last try lies between two whole minutes past doubt."""
    minutes = (math.floor(guess), math.ceil(guess))
    return abs(guess - trial) < 1.0 and all(
        minute in tried or abs(guess - minute) > SURE for minute in minutes
    )
