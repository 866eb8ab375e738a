"""Has the dryer settled after the last change?

Grain that leaves now was dried under the old settings for as long as it was in the dryer before
the change. The dryer has settled when the grain held has been replaced once since then: by the
integral of the discharge over the hold-up, not by the clock, so a stop does not count. Plug flow
is assumed; a mixed-flow dryer spreads kernels a little, so a tenth more is a fair reserve. A dryer
whose discharge stands still has never settled: the grain in it goes on drying where it is. That is
answered as well where it stood throughout the log, for grain that stands is a matter of fire.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, runs_of
from outfeed.errors import Inconsistent
from outfeed.limits import MOMENT, SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.steering.fire import STROKES, stopped_since
from outfeed.steering.lag import DISCHARGE_RATE, HELD_GRAIN, flow_since_start, passage_times

SAME_RATE = 0.05
"""Rates within this share of the present one count as the same setting: five per cent of rate is
about a third of a point at the discharge in the column model."""

LOOP_RANGE = 0.2
"""Rates within this share of the present one may all belong to one setting that a control loop
moves about; a larger change is one whatever moves it. Chosen, no source."""

# What shows a loop at work: turns of the rate, up or down, and entries while the grain held is
# replaced once; fewer are settings. Chosen, no source.
LOOP_TURNS, LOOP_ENTRIES = 4, 4.0
FEWEST_OF_LEVEL = 3  # entries of which the level of a moving rate is told; chosen, no source

SURE_SPREADS = 1.5
"""Standard deviations of a moving rate by which two levels must differ [-]: no part of a sine is
that far from its mean. Chosen, no source."""
SURE_SPREADS_FEW = 4.0
"""The same where one of the levels rests on fewer than three entries [-]; chosen, no source."""

ROUNDED = 1e-6
"""Share of the grain held that may be missing where it counts as replaced [-]: at the time told for
it, which is rounded, it has settled."""

FARTHEST_S = 30 * 86_400.0
"""How far ahead of the last rate a time is told [s]: a transit lasts a day at most, and a rate that
asks for more is a slip or as good as a stop; chosen, no source."""

LONG_STOP_S = 600.0
"""A shorter stop dries the grain in the dryer no further than a change of rate that counts as none:
a twelfth of a transit of two hours; chosen, no source."""

TOLERANCE = Range("share of the rate that counts as no change", 0.0, 0.5, "", SENSIBLE)
METERING = Range("metering setting", 0.0, 1e6, "", SENSIBLE)

SETTLED = Method(
    "steering.settling.plug-flow",
    "settled when the discharge since the change equals the grain held",
    "plug flow: grain is conserved; one full transit before judging is common practice",
    DERIVED,
    note="kernels spread a little in a real column; a tenth more is a fair reserve",
)
METHODS = (SETTLED,)


@dataclass(frozen=True, slots=True)
class Stood:
    """A stop that is over, while the grain that leaves now was in the dryer.

    Attributes
    ----------
    from_s, until_s : float
        When it began and ended [s].
    passed_s : float or None
        When the grain that stood has left, at the present rate [s].
    """

    from_s: float
    until_s: float
    passed_s: float | None


@dataclass(frozen=True, slots=True)
class Settling:
    """How far the dryer has settled.

    Attributes
    ----------
    settled : bool or None
        Whether the hold-up has been replaced since the last change; None when the log shows no
        change but does not reach back over one hold-up. Never true while the discharge stands.
    changed_s : float or None
        When the last change was [s]; None when the log shows none.
    replaced : float
        Grain discharged since the change (or since the log begins) over the hold-up [-].
    remaining : float or None
        Grain still to be discharged until settled [kg]; None while the discharge stands still, for
        what stands dries on and settles by no amount.
    settled_at_s : float or None
        When it is, or was, settled at the rates logged and then at the present one [s]; None
        while the discharge stands still, where no change is known, or more than `FARTHEST_S` ahead.
    old_time_share : float or None
        Share of its time in the dryer that grain leaving now spent under the old settings [-].
    old_path_share : float or None
        Share of its way through the dryer that it made under the old settings [-].
    entered_s : float or None
        When the grain that leaves now entered [s]; None where none has left in the log.
    rate : float
        Present discharge rate [kg/s].
    hidden_change : float
        Share of the rate by which a setting may have changed without being seen, where a control
        loop moves the rate about and levels are compared [-]; zero where every entry is a setting.
    stopped_at_s : float or None
        Since when the discharge stands still [s]; None while grain leaves.
    stood : Stood or None
        The last long stop that grain still in the dryer, or leaving now, went through.
    """

    settled: bool | None
    changed_s: float | None
    replaced: float
    remaining: float | None
    settled_at_s: float | None
    old_time_share: float | None
    old_path_share: float | None
    entered_s: float | None
    rate: float
    hidden_change: float = 0.0
    stopped_at_s: float | None = None
    stood: Stood | None = None


def settling(
    rate_times_s: ArrayLike,
    rates: ArrayLike,
    held: float,
    now_s: float,
    *,
    changed_s: float | None = None,
    same_rate: float = SAME_RATE,
) -> Settling:
    """Whether one transit has passed since the last change, by the integral of flow.

    Parameters
    ----------
    rate_times_s, rates : array_like
        Rate log [s], [kg/s], each rate holding until the next entry, shape (n,).
    held : float
        Grain the dryer holds [kg], 1 to 1e6.
    now_s : float
        Time of asking [s], not before the log.
    changed_s : float, optional
        When something else was changed (plenum temperature, setpoint) [s]; the last change of
        rate when left out.
    same_rate : float
        Share of the present rate within which a rate counts as the same setting [-], 0 to 0.5.
        Where the rate turns up and down as a control loop moves it, levels are compared, not
        entries.

    Returns
    -------
    Settling
        How far it has settled.

    Raises
    ------
    OutOfRange
        A value outside its range, or a time that is no number.
    Inconsistent
        A log that is empty or out of order, a time before the log.
    """
    HELD_GRAIN.check(held, "held")
    TOLERANCE.check(same_rate, "same_rate")
    MOMENT.check(now_s, "now_s")
    if changed_s is not None:
        MOMENT.check(changed_s, "changed_s")
    times = np.atleast_1d(np.asarray(rate_times_s, dtype=np.float64))
    flow = np.atleast_1d(DISCHARGE_RATE.check(rates, "rates"))
    passed = float(flow_since_start(times, flow, now_s))
    if now_s < times[0] or (changed_s is not None and changed_s > now_s):
        raise Inconsistent("the time of asking lies before the log or the change", "now")
    present = flow[times <= now_s]
    by_loop = _moved_by_loop(present, replaced_in_all=passed / held)
    last_change = _last_level if by_loop else _last_entry
    changed, hidden = last_change(times[times <= now_s], present, same_rate)
    if changed_s is not None:
        changed = changed_s if changed is None else max(changed, changed_s)
    since = float(times[0]) if changed is None else changed
    replaced = (passed - float(flow_since_start(times, flow, since))) / held
    known = changed is not None or replaced >= 1.0
    left = 1.0 - replaced if replaced < 1.0 - ROUNDED else 0.0
    ran = bool(np.any(present > 0))
    entered = float(passage_times([now_s], times, flow, held).times_s[0]) if ran else None
    stopped = stopped_since(times[times <= now_s], present, now_s=now_s)
    return Settling(
        settled=_settled(replaced, stopped, known=known),
        changed_s=changed,
        replaced=replaced,
        remaining=None if stopped is not None else left * held,
        settled_at_s=None
        if stopped is not None or changed is None
        else replaced_at(times, flow, held, now_s, changed),
        old_time_share=None if entered is None else _old_time(entered, changed, now_s),
        old_path_share=None if changed is None else left,
        entered_s=entered,
        rate=float(present[-1]),
        hidden_change=hidden,
        stopped_at_s=stopped,
        stood=None
        if stopped is not None or entered is None
        else stop_on_the_way(times, flow, held, now_s, entered_s=entered),
    )


def stop_on_the_way(
    rate_times_s: FloatArray, rates: FloatArray, held: float, now_s: float, *, entered_s: float
) -> Stood | None:
    """The last stop, long enough to count, that ended after the grain that leaves now entered.

    Parameters
    ----------
    rate_times_s, rates : ndarray
        Rate log, each rate [kg/s] holding until the next entry [s], ascending, shape (n,).
    held : float
        Grain the dryer holds [kg], 1 to 1e6.
    now_s : float
        Time of leaving [s], not before the log.
    entered_s : float
        When that grain entered [s].

    Returns
    -------
    Stood or None
        None where it did not stand for ten minutes, or stands still.
    """
    begun, over = long_stops(rate_times_s, rates)
    passed = np.flatnonzero((over > entered_s) & (over <= now_s))
    if passed.size == 0:
        return None
    start, until = float(begun[passed[-1]]), float(over[passed[-1]])
    return Stood(start, until, replaced_at(rate_times_s, rates, held, now_s, until))


def replaced_at(
    rate_times_s: FloatArray, rates: FloatArray, held: float, now_s: float, since_s: float
) -> float | None:
    """When so much grain has left since a time, at the rates logged and then at the last one.

    Parameters
    ----------
    rate_times_s, rates : ndarray
        Rate log, each rate [kg/s] holding until the next entry [s], ascending, shape (n,).
    held : float
        How much grain [kg].
    now_s : float
        Time until which the last rate has held [s].
    since_s : float
        From when on [s].

    Returns
    -------
    float or None
        Time [s]; None where the log ends in a stop before, or in a rate at which it is farther off
        than `FARTHEST_S`.
    """
    wanted = float(flow_since_start(rate_times_s, rates, since_s)) + held
    knots = np.append(rate_times_s, max(now_s, rate_times_s[-1]))
    passed = np.asarray(flow_since_start(rate_times_s, rates, knots))
    if passed[-1] >= wanted:
        return float(np.interp(wanted, passed, knots))
    if wanted - passed[-1] > rates[-1] * FARTHEST_S:
        return None
    return float(knots[-1] + (wanted - passed[-1]) / rates[-1])


def long_stops(rate_times_s: FloatArray, rates: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Stops of ten minutes or more, in which the grain in the dryer dries on.

    Parameters
    ----------
    rate_times_s, rates : ndarray
        Rate log, each rate [kg/s] holding until the next entry [s], ascending, shape (n,).

    Returns
    -------
    tuple of ndarray
        When each began and was over [s]; one that lasts still is over at infinity.
    """
    starts, ends = runs_of(rates <= 0)
    begun, over = rate_times_s[starts], np.append(rate_times_s, np.inf)[ends]
    long = over - begun >= LONG_STOP_S
    return begun[long], over[long]


def by_strokes(rates: ArrayLike) -> bool:
    """Whether a log shows a discharge that works by strokes, and so stands still between them.

    Parameters
    ----------
    rates : array_like
        Rates or settings in order of time, any one scale, shape (n,).

    Returns
    -------
    bool
        With three stops or more that grain left before and after.
    """
    starts, ends = runs_of(np.atleast_1d(np.asarray(rates, dtype=np.float64)) <= 0)
    return int(np.count_nonzero((starts > 0) & (ends < np.size(rates)))) >= STROKES


def _settled(replaced: float, stopped: float | None, *, known: bool) -> bool | None:
    if stopped is not None:
        return False
    return replaced >= 1.0 - ROUNDED if known else None


def rates_from_settings(
    settings: ArrayLike, point_settings: ArrayLike, point_rates: ArrayLike
) -> FloatArray:
    """Discharge rates for metering settings, from the owner's own points.

    Parameters
    ----------
    settings : array_like
        Settings of the drive, on its own scale, 0 to 1e6.
    point_settings, point_rates : array_like
        Settings at which the rate was measured, and the rates [kg/s], both rising; one point
        or more. Between points the rate is interpolated, below and above them taken in
        proportion to the nearest.

    Returns
    -------
    ndarray
        Rates [kg/s], shape of `settings`.

    Raises
    ------
    OutOfRange
        A value outside its range.
    Inconsistent
        No points, unequal lengths, or points that do not rise together.
    """
    dial = METERING.check(settings, "settings")
    knots = np.atleast_1d(METERING.check(point_settings, "point_settings"))
    seen = np.atleast_1d(DISCHARGE_RATE.check(point_rates, "point_rates"))
    if knots.size == 0 or knots.shape != seen.shape:
        raise Inconsistent("metering points need one rate for every setting", "point_settings")
    order = np.argsort(knots)
    knots, seen = knots[order], seen[order]
    if knots[0] <= 0 or seen[0] <= 0:
        raise Inconsistent("a metering point needs a setting and a rate above 0", "point_settings")
    for k in np.flatnonzero((np.diff(knots) <= 0) | (np.diff(seen) <= 0)):
        raise Inconsistent(
            f"a higher setting must discharge more: {{}} at setting {knots[k]:g}, but {{}} at "
            f"setting {knots[k + 1]:g}; take them again, and send one rate a setting",
            "point_settings",
            values=((float(seen[k]), "kg/s"), (float(seen[k + 1]), "kg/s")),
        )
    inside = np.interp(dial, np.concatenate(([0.0], knots)), np.concatenate(([0.0], seen)))
    return np.asarray(np.where(dial > knots[-1], dial * seen[-1] / knots[-1], inside)[()])


def _moved_by_loop(flow: FloatArray, *, replaced_in_all: float) -> bool:
    """Whether a rate is logged often enough, and goes up and down time and again."""
    running = flow[flow > 0]
    ways = np.sign(np.diff(running))
    ways = ways[ways != 0.0]
    turns = int(np.count_nonzero(np.diff(ways)))
    return turns >= LOOP_TURNS and running.size >= LOOP_ENTRIES * replaced_in_all


def _last_entry(
    times: FloatArray, flow: FloatArray, same_rate: float
) -> tuple[float | None, float]:
    """Start of the present setting where every entry is one; stops inside it do not end it."""
    start = _after_another(flow, same_rate)
    return (float(times[start]) if start > 0 else None), 0.0


def _last_level(
    times: FloatArray, flow: FloatArray, same_rate: float
) -> tuple[float | None, float]:
    """Start of the present level of a rate that a loop moves, and what step it may hide [-]."""
    start = _after_another(flow, max(same_rate, LOOP_RANGE))
    about = np.arange(start, flow.size)[flow[start:] > 0]
    hidden = same_rate
    while about.size > FEWEST_OF_LEVEL:
        step, hidden = _last_step(flow[about], same_rate)
        if step == 0:
            break
        about = about[step:]
        start = int(about[0])
    return (float(times[start]) if start > 0 else None), hidden


def _after_another(flow: FloatArray, same_rate: float) -> int:
    """The entry after the last that differs from the present rate; the first where none does."""
    running = flow[flow > 0]
    if running.size == 0:
        return 0
    other = (np.abs(flow - running[-1]) > same_rate * running[-1]) & (flow > 0)
    return int(np.flatnonzero(other)[-1]) + 1 if other.any() else 0


def _last_step(flow: FloatArray, same_rate: float) -> tuple[int, float]:
    """Where one level of a moving rate passes to another, and the least step that would show.

    Returns
    -------
    tuple
        The first entry of the new level, zero where all are of one; the step as a share of it [-].
    """
    n = flow.size
    first = np.arange(1, n)
    total, square = np.cumsum(flow)[:-1], np.cumsum(flow**2)[:-1]
    before, after = total / first, (np.sum(flow) - total) / (n - first)
    within = square - first * before**2 + np.sum(flow**2) - square - (n - first) * after**2
    spread = np.sqrt(np.maximum(within, 0.0) / n)
    few = np.minimum(first, n - first) < FEWEST_OF_LEVEL
    least = np.where(few, SURE_SPREADS_FEW, SURE_SPREADS) * spread
    apart = np.abs(after - before)
    clear = (apart > same_rate * after) & (apart > least)
    level, all_spread = float(np.mean(flow)), float(np.std(flow))
    hidden = max(same_rate, SURE_SPREADS * all_spread / level)
    if not clear.any():
        return 0, hidden
    return int(first[np.argmin(np.where(clear, within, np.inf))]), hidden


def _old_time(entered: float, changed: float | None, now_s: float) -> float | None:
    if changed is None:
        return None
    share = float(np.clip((changed - entered) / (now_s - entered), 0.0, 1.0))
    return share if share > ROUNDED else 0.0
