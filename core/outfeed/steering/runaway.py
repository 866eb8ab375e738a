"""Does a controlled temperature run away above its setpoint?

A column that dries grain is held cool by the water it takes off. One that climbs far above its
setpoint, or stays there, either dries grain to nothing or holds grain that does not move: in both
cases fire comes before any thought of a setpoint. `outfeed.steering.fire` watches a discharge that
is known to stand still; here the log may say that grain moves, for one column of several may hang
while the others run. A hot reading that does not move may be a failed sensor or a fire; it is told
as a fire, with how long it has stood. The levels are chosen low, as there, and have no published
source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.methods import COMMON_PRACTICE, Method
from outfeed.steering.clean import COLUMN_READING, as_shown
from outfeed.steering.exhaust import Steep
from outfeed.steering.fire import RISE, STOP_UNKNOWN_S, Climb
from outfeed.steering.frozen import unmoved_time

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
"""Distance that counts even while it falls, and that no move of the setpoint excuses unless the
one before is known [K]; common practice, no source."""

CLIMBED = 3.0
"""Rise over half an hour that is called climbing away [K], near three points of moisture; common
practice, no source."""

FALLEN = 2.0
"""Fall over half an hour by which a column is on its way back [K]; common practice, no source."""

WINDOW_S = STOP_UNKNOWN_S
FOLLOW_S = 3600.0
"""Time in which a column may still stand where an earlier, higher setpoint held it [s]: a dead time
of a sixth and a lag of a third of a transit of two hours; common practice, no source."""
FEW = 3
"""Last readings among which one far too hot counts although a cooler one follows: a sensor that
burns off reads low; common practice, no source."""
RECENT_S = FOLLOW_S
"""A trace that ended longer before the newest reading says nothing of now [s]: a column may still
stand where it stood that long, and what smoulders does not go out by itself within it; later the
newer readings have said more. Common practice, no source."""
NEAR_S = 600.0  # readings over which the level before is taken, against a single odd one

RUNAWAY = Method(
    "steering.fire.running-away",
    "controlled temperature climbing or staying far above its setpoint",
    "29 CFR 1910.272(p) asks that grain feed stops on excessive exhaust temperature; the levels "
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
        "beyond-limits": above every published limit, and not because the setpoint is; "far-above":
        it stays far above the setpoint; "climbing-away": above the setpoint and climbing.
    temperature : float
        What it reads now, the lower of the last two readings when both show it [degC].
    above : float
        The same less the setpoint, the highest of the last hour [K].
    rise : float
        Rise over the last half hour [K].
    confirmed : bool
        Whether more than one of the last readings shows it.
    unmoved_s : float
        How long the readings have been one value [s], as of a failed sensor, or of a fire that is
        read by one; zero where they move.
    """

    why: Why
    temperature: float
    above: float
    rise: float
    confirmed: bool
    unmoved_s: float = 0.0

    @property
    def excusable(self) -> bool:
        """Whether a setpoint lowered within the last hour could explain it."""
        return self.why == "far-above" and self.above < VERY_FAR


@dataclass(frozen=True, slots=True)
class Hot:
    """A temperature above every published limit of drying air, whatever its setpoint.

    Attributes
    ----------
    where : str
        "exhaust", or what else was measured.
    temperature : float
        What it reads now, the lower of the last two readings when both show it [degC].
    confirmed : bool
        Whether more than one of the last readings shows it.
    unmoved_s : float
        How long the readings have been one value [s]; zero where they move.
    """

    where: str
    temperature: float
    confirmed: bool
    unmoved_s: float = 0.0


Danger = Climb | Runaway | Hot | Steep


def worse(climb: Climb | None, other: Runaway | Hot | Steep | None) -> Danger | None:
    """Which of two dangers to tell: a climb, unless the other is surer or beyond the limits.

    Parameters
    ----------
    climb : Climb or None
        While the discharge stands still.
    other : Runaway, Hot, Steep or None
        Whatever the discharge does.

    Returns
    -------
    Climb, Runaway, Hot, Steep or None
        One of them; None where there is neither.
    """
    if climb is None or other is None:
        return climb or other
    beyond = isinstance(other, Hot) or (isinstance(other, Runaway) and other.why == "beyond-limits")
    return other if other.confirmed and (beyond or not climb.confirmed) else climb


def current(traces: Sequence[tuple[ArrayLike, ArrayLike]]) -> list[int]:
    """Which of several traces of a dryer tell of now, so that their ends are looked at for fire.

    Parameters
    ----------
    traces : sequence of tuple
        Times, any order but one clock [s], and readings [degC] of each, both of shape (n,); NaN
        means "no reading".

    Returns
    -------
    list of int
        Positions of those whose last reading was taken within an hour of the newest of all. One
        whose last hour stands in a later trace as well is left out: it goes on there, and is judged
        there with what followed.
    """
    shown = [as_shown(*trace)[:2] for trace in traces]
    newest = max((times[-1] for times, _ in shown if times.size), default=-np.inf)
    return [
        k
        for k, (times, values) in enumerate(shown)
        if times.size
        and times[-1] >= newest - RECENT_S
        and not any(_goes_on(times, values, *later) for later in shown[k + 1 :])
    ]


def hotter_than_drying_air(where: str, times_s: ArrayLike, temperatures: ArrayLike) -> Hot | None:
    """Whether a temperature that has no setpoint stands above every published drying air.

    Parameters
    ----------
    where : str
        What was measured, "exhaust" for instance.
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings as they were shown [degC], shape (n,); NaN means "no reading".

    Returns
    -------
    Hot or None
        None while none of the last three readings of half an hour is hotter than 110 degC.
    """
    times, values, _ = as_shown(times_s, temperatures)
    if values.size == 0:
        return None
    both, hottest = float(values[-2:].min()), _hottest_lately(times, values)
    if hottest <= HOTTEST_PUBLISHED:
        return None
    confirmed = values.size > 1 and both > HOTTEST_PUBLISHED
    level = both if confirmed else hottest
    return Hot(where, level, confirmed, unmoved_time(times, values))


def running_away(
    times_s: ArrayLike,
    temperatures: ArrayLike,
    setpoint: ArrayLike,
    *,
    cut_s: float | None = None,
) -> Runaway | None:
    """Whether a controlled temperature runs away above its setpoint at the end of its trace.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings as they were shown [degC], shape (n,); NaN means "no reading". Readings colder than
        any sensor can give are left out, hotter ones and spikes are not: a fire may look like them.
    setpoint : array_like
        Setpoint, one value or one per reading [degC]; the highest of the last hour counts, for a
        column follows a lower setpoint late. An earlier one above 110 degC explains nothing; where
        the present one is, air is controlled and not grain, and 5 K above it count.
    cut_s : float, optional
        When the setpoint was last moved, where the one before is not known [s]. Within an hour
        of it a column less than 20 K above that does not rise is no sign of fire.

    Returns
    -------
    Runaway or None
        What it does; None when it does not run away.
    """
    times, values, order = as_shown(times_s, temperatures)
    if values.size == 0:
        return None
    shape = np.atleast_1d(np.asarray(temperatures)).shape
    aims = np.broadcast_to(np.asarray(setpoint, dtype=np.float64), shape)[order]
    aim = _highest_aim(aims[times >= times[-1] - FOLLOW_S])
    start = _level_before(times, values)
    lately_cut = cut_s is not None and 0.0 <= times[-1] - cut_s < FOLLOW_S
    both = _named(
        float(values[-2:].min()), aim, start, confirmed=values.size > 1, lately_cut=lately_cut
    )
    if both is not None:
        return replace(both, unmoved_s=unmoved_time(times, values))
    last = float(values[-1])
    alone = _named(last, aim, start, confirmed=False, lately_cut=lately_cut)
    return alone or _gone(times, values, aim, start)


def _gone(times: FloatArray, values: FloatArray, aim: float, start: float) -> Runaway | None:
    """A reading just before the last that was far too hot: a wire may have burnt off since."""
    found = _named(_hottest_lately(times, values), aim, start, confirmed=False, lately_cut=False)
    far = found is not None and (found.why == "beyond-limits" or found.above >= VERY_FAR)
    return found if far else None


def _hottest_lately(times: FloatArray, values: FloatArray) -> float:
    return float(values[-FEW:][times[-FEW:] > times[-1] - WINDOW_S].max())


def _goes_on(
    times: FloatArray, values: FloatArray, later_times: FloatArray, later_values: FloatArray
) -> bool:
    """Whether the last hour of one trace stands in another."""
    lately = times > times[-1] - RECENT_S
    here = zip(times[lately].tolist(), values[lately].tolist(), strict=True)
    return set(here) <= set(zip(later_times.tolist(), later_values.tolist(), strict=True))


def _highest_aim(aims: FloatArray) -> float:
    """The highest setpoint a column may still follow; one no grain may have excuses no heat."""
    allowed = aims[aims <= HOTTEST_PUBLISHED]
    return float(np.max(allowed, initial=aims[-1]))


def _named(
    level: float, aim: float, start: float, *, confirmed: bool, lately_cut: bool
) -> Runaway | None:
    above, rise = level - aim, level - start
    stays = rise >= RISE if lately_cut else rise > -FALLEN
    why: Why | None = None
    if level > HOTTEST_PUBLISHED and (aim <= HOTTEST_PUBLISHED or above >= ABOVE):
        why = "beyond-limits"
    elif above >= ABOVE and rise >= CLIMBED:
        why = "climbing-away"
    elif above >= VERY_FAR or (above >= FAR and stays):
        why = "far-above"
    return None if why is None else Runaway(why, level, above, rise, confirmed)


def _level_before(times: FloatArray, values: FloatArray) -> float:
    """Level half an hour before the end, or where the trace begins [degC]."""
    until = times[-1] - WINDOW_S
    true = values <= COLUMN_READING.high
    if true.any():  # an open wire is no level to climb from
        times, values = times[true], values[true]
    before = values[times <= until]
    if before.size == 0:
        return float(values[0])
    near = values[(times <= until) & (times > until - NEAR_S)]
    return float(np.median(near) if near.size else before[-1])
