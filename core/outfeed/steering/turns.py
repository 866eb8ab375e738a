"""Turning points of a trace: how high its swings stand, one after another.

A swing of any shape, a limit cycle or a square wave as well as a sinusoid, goes from one turning
point to the next. Heights that fall in proportion are dying away, heights that keep their size are
not, and a push is one great height among small ones. A turn counts once the trace has gone back
from it by more than noise can, so flickers are no turns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray

# All chosen, no source.
SMALLEST_TURN = 0.08  # of the range of the trace; less is a flicker
NOISE_TURN = 2.5  # standard deviations of a value; independent noise seldom goes back so far
MOST_HEIGHTS = 8  # the last ones, four periods: what came before says little of now
BELIEVED_SCATTER = 0.2  # standard deviation of the logarithm of a height, before any is seen [-]
BELIEVED_FREEDOM = 2.0  # degrees of freedom it counts for [-]
# Of the slope a step where one height tells none: a ratio of 4.5 either way is nothing odd [-].
UNKNOWN_SLOPE_SE = 1.5


@dataclass(frozen=True, slots=True)
class Turns:
    """Heights from turn to turn.

    Attributes
    ----------
    count : int
        Heights seen, the last unfinished one left out [-].
    last, largest : float
        Half the last height and half the largest one [K].
    log_decay : float
        Logarithm of the ratio of heights a period apart, by a line through the last ones [-].
    log_decay_se : float
        Its standard error [-].
    unevenness : float
        Scatter of the intervals between turns over their mean [-].
    place : float
        Where among the heights the largest stands, from 0 to 1 [-].
    """

    count: int
    last: float
    largest: float
    log_decay: float
    log_decay_se: float
    unevenness: float
    place: float


NO_TURNS = Turns(0, 0.0, 0.0, 0.0, 2.0 * UNKNOWN_SLOPE_SE, 1.0, 0.0)


def turns(values: FloatArray, noise: float) -> Turns:
    """Turning points of a smoothed trace over equal stretches of time.

    Parameters
    ----------
    values : ndarray
        Smoothed values, shape (n,) [K].
    noise : float
        Noise that is left in a value [K].

    Returns
    -------
    Turns
        Heights and what follows from them; no turns with fewer than two.
    """
    least = max(SMALLEST_TURN * float(np.ptp(values)), NOISE_TURN * noise, 1e-6)
    at = _turning_points(values.tolist(), least)
    at = at[1:] if at and at[0] == 0 else at  # where a trace begins is no turn
    if len(at) < 2:
        return NO_TURNS
    heights = np.abs(np.diff(values[at]))
    recent = np.log(heights[-MOST_HEIGHTS:])
    slope, error = _line(recent)
    gaps = np.diff(np.array(at, dtype=np.float64))
    return Turns(
        count=heights.size,
        last=0.5 * float(heights[-1]),
        largest=0.5 * float(heights.max()),
        log_decay=2.0 * slope,
        log_decay_se=2.0 * error,
        unevenness=float(gaps.std() / gaps.mean()) if gaps.size > 1 else 1.0,
        place=float(np.argmax(heights)) / max(heights.size - 1, 1),
    )


def _turning_points(values: list[float], least: float) -> list[int]:
    """Places of the extremes from which the trace has gone back by at least so much."""
    found: list[int] = []
    low = high = 0
    rising: bool | None = None
    for k, value in enumerate(values):
        if value > values[high]:
            high = k
        if value < values[low]:
            low = k
        if rising is not False and values[high] - value > least:
            found.append(high)
            rising, low = False, k
        elif rising is not True and value - values[low] > least:
            found.append(low)
            rising, high = True, k
    return found


def _line(logs: FloatArray) -> tuple[float, float]:
    """Slope a step and its standard error, a scatter of a fifth believed before any is seen."""
    n = logs.size
    if n < 2:
        return 0.0, UNKNOWN_SLOPE_SE
    place = np.arange(n) - 0.5 * (n - 1)
    own = float(place @ place)
    slope = float(place @ logs) / own
    left = logs - logs.mean() - slope * place
    believed = BELIEVED_FREEDOM * BELIEVED_SCATTER**2
    scatter = math.sqrt((float(left @ left) + believed) / (n - 2 + BELIEVED_FREEDOM))
    return slope, scatter / math.sqrt(own)
