"""Does a controlled temperature run away above its setpoint?

A column that dries grain is held cool by the water it takes off. One that climbs far above its
setpoint, or stays there, either dries grain to nothing or holds grain that does not move: in both
cases fire comes before any thought of a setpoint. `outfeed.steering.fire` watches a discharge that
is known to stand still; here the log may say that grain moves, for one column of several may hang
while the others run. The levels are chosen low, as there, and have no published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.methods import COMMON_PRACTICE, Method
from outfeed.steering.clean import COLUMN_READING
from outfeed.steering.fire import STOP_UNKNOWN_S

Why = Literal["beyond-limits", "far-above", "climbing-away"]

HOTTEST_PUBLISHED = 110.0
"""Highest temperature any published limit of the catalogue allows, of drying air for corn [degC]:
230 degF, North Dakota State University Extension (read). Grain itself stays below its air."""

ABOVE = 5.0
"""Distance above the setpoint from which a climb counts [K]: near five points of moisture at
about one point a kelvin of column temperature, more than a sampler's error. Common practice, no
source."""

FAR = 10.0
"""Distance above the setpoint that needs no climb [K]: near ten points of moisture, more than is
left in dry grain. Common practice, no source."""

VERY_FAR = 20.0
"""Distance that counts even while it falls [K]; common practice, no source."""

CLIMBED = 3.0
"""Rise over half an hour that is called climbing away [K], near three points of moisture; common
practice, no source."""

FALLEN = 2.0
"""Fall over half an hour by which a column is on its way back [K]; common practice, no source."""

WINDOW_S = STOP_UNKNOWN_S
NEAR_S = 600.0  # readings over which the level before is taken, against a single odd one

RUNAWAY = Method(
    "steering.fire.running-away",
    "controlled temperature climbing or staying far above its setpoint",
    "29 CFR 1910.272(o) asks that grain feed stops on excessive exhaust temperature; the levels "
    "here (5 K and climbing 3 K in half an hour, 10 K, 110 degC) are chosen low",
    COMMON_PRACTICE,
)
METHODS = (RUNAWAY,)


@dataclass(frozen=True, slots=True)
class Runaway:
    """A controlled temperature that runs away upwards.

    Attributes
    ----------
    why : str
        "beyond-limits": above every published limit; "far-above": it stays far above the
        setpoint; "climbing-away": above the setpoint and climbing.
    temperature : float
        What it reads now, the lower of the last two readings when both show it [degC].
    above : float
        The same less the setpoint [K].
    rise : float
        Rise over the last half hour [K].
    confirmed : bool
        Whether more than the last reading shows it.
    """

    why: Why
    temperature: float
    above: float
    rise: float
    confirmed: bool


def running_away(
    times_s: ArrayLike, temperatures: ArrayLike, setpoint: ArrayLike
) -> Runaway | None:
    """Whether a controlled temperature runs away above its setpoint at the end of its trace.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings as they were shown [degC], shape (n,); NaN means "no reading". Readings that no
        sensor can give are left out, spikes are not: a fire may look like one at first.
    setpoint : array_like
        Setpoint, one value or one per reading [degC]; its last value counts.

    Returns
    -------
    Runaway or None
        What it does; None when it does not run away.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    values = np.atleast_1d(np.asarray(temperatures, dtype=np.float64))
    aims = np.broadcast_to(np.asarray(setpoint, dtype=np.float64), values.shape)
    order = np.argsort(times, kind="stable")
    order = order[COLUMN_READING.contains(values[order])]
    if order.size == 0:
        return None
    times, values, aim = times[order], values[order], float(aims[order[-1]])
    start = _level_before(times, values)
    both = _named(float(values[-2:].min()), aim, start, confirmed=values.size > 1)
    return both or _named(float(values[-1]), aim, start, confirmed=False)


def _named(level: float, aim: float, start: float, *, confirmed: bool) -> Runaway | None:
    above, rise = level - aim, level - start
    why: Why | None = None
    if above >= ABOVE and level > HOTTEST_PUBLISHED:
        why = "beyond-limits"
    elif above >= ABOVE and rise >= CLIMBED:
        why = "climbing-away"
    elif above >= VERY_FAR or (above >= FAR and rise > -FALLEN):
        why = "far-above"
    return None if why is None else Runaway(why, level, above, rise, confirmed)


def _level_before(times: FloatArray, values: FloatArray) -> float:
    """Level half an hour before the end, or where the trace begins [degC]."""
    until = times[-1] - WINDOW_S
    before = values[times <= until]
    if before.size == 0:
        return float(values[0])
    near = values[(times <= until) & (times > until - NEAR_S)]
    return float(np.median(near) if near.size else before[-1])
