"""Should the column setpoint move, by how much, and when to look again?

The decision rests on a `Belief` (what moisture the present setpoint will give, and how surely)
and on the `Trend` of the column. It moves only when the column is level, enough time has passed
since the last move, and the expected saving exceeds what the noise could fake; the step is
bounded, rounded to what the panel accepts and kept below the grain's temperature limit. Error of
meter or lag does not average out by waiting: it widens the stated chance, not the threshold.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import sqrt
from typing import Literal

import numpy as np

from outfeed.errors import Inconsistent
from outfeed.limits import MOISTURE_WB
from outfeed.methods import DERIVED, Method
from outfeed.steering.belief import Belief, reading_weight
from outfeed.steering.chance import chance_of_direction
from outfeed.steering.fire import LOOK_S
from outfeed.steering.money import aim, combined
from outfeed.steering.next_look import SOONEST_LOOK_S, STOOD, look_after, until_passed
from outfeed.steering.silence import UNREAD
from outfeed.steering.situation import (
    METER_OFFSET,
    METER_SD,
    METER_SD_ASSUMED,
    RESOLUTION,
    STEP,
    STREAM_SD,
    LagDoubt,
    Rules,
    Situation,
)
from outfeed.steering.trend import Trend

__all__ = [
    "METER_OFFSET",
    "METER_SD",
    "METER_SD_ASSUMED",
    "METHODS",
    "RESOLUTION",
    "STEP",
    "STOOD",
    "LagDoubt",
    "Rules",
    "SetpointAdvice",
    "Situation",
    "advise_setpoint",
    "setpoint_table",
]

Kind = Literal["hold", "move", "wait"]

BELIEVED_ALONE = 0.02
"""Error past which one reading alone moves nothing [-]: common practice, no source; five standard
deviations of a meter in normal use (+-0.5 point at two, Hellevang, North Dakota State University)
and of what it draws from the stream make about two points."""
AWAY = "column-away"
UNREAD_MOVE = "no-reading-since-move"
DISAGREE = "readings-disagree"
CONTRADICTED = 1.0 / 3.0
"""Share of the late readings past which nothing is moved against them [-]: one of two, two of five;
chosen, no source."""
SWING_IN_MOISTURE = 0.005
"""A regular swing smaller than this in moisture does not forbid a move; chosen, no source."""

CAUTIOUS = Method(
    "steering.setpoint.cautious",
    "setpoint step that minimises the expected squared error with an uncertain sensitivity",
    "cautious control, K. J. Astrom and B. Wittenmark, Adaptive Control (1989); dead band and "
    "bound chosen on simulated dryers",
    DERIVED,
)
METHODS = (CAUTIOUS,)

READY_VERDICTS = ("level",)
SWINGING_VERDICTS = ("calming", "cycling")
RESTLESS_VERDICTS = ("calming", "disturbed")


@dataclass(frozen=True, slots=True)
class SetpointAdvice:
    """What to do with the column setpoint.

    Attributes
    ----------
    kind : str
        "hold", "move" or "wait"; wait means that it cannot be judged yet.
    step : float
        Change of the setpoint [K]; 0 unless `kind` is "move".
    setpoint : float
        The setpoint to run [degC].
    wanted_step : float
        Step before bounds and rounding [K].
    expected_moisture_wb : float or None
        Moisture the present setpoint will give, meter offset applied [-].
    expected_sd : float or None
        SD of that expectation without the meter's own uncertainty [-].
    after_moisture_wb : float or None
        Moisture the advised setpoint will give [-].
    aim_wb : float
        Moisture aimed at, wet basis [-]; the target unless costs are unequal.
    threshold : float or None
        Error that would have to be exceeded for a move [-].
    chance : float or None
        Chance that the direction away from the present error is right [-], doubt about meter and
        lag included, and for all grain where a lot passes while the next has come.
    look_at_s : float
        When to look again [s], on the caller's clock.
    move_above_wb, move_below_wb : float or None
        A reading above (below) this at the next look would bring a move [-]; None where none would.
    reasons : tuple of str
        Why, as codes: "inside-threshold", "trend-<verdict>", "recent-move", "no-readings",
        "stale", "grain-stood" (what left since a stop dried on in it), "single-reading",
        "no-reading-since-move", "readings-disagree", "one-value", "column-away" (far off its
        setpoint at this moment), "bounded", "grain-limit", "at-grain-limit", "too-small-to-set",
        "error"; "trend-unsure" for a trend long enough but not sure enough; "collapsed",
        "far-below" or "column-not-read" where burner, flame and sensor come first and nothing else
        is told.
    """

    kind: Kind
    step: float
    setpoint: float
    wanted_step: float
    expected_moisture_wb: float | None
    expected_sd: float | None
    after_moisture_wb: float | None
    aim_wb: float
    threshold: float | None
    chance: float | None
    look_at_s: float
    move_above_wb: float | None = None
    move_below_wb: float | None = None
    reasons: tuple[str, ...] = field(default=())


def advise_setpoint(
    belief: Belief | None,
    trend: Trend | None,
    situation: Situation,
    rules: Rules | None = None,
) -> SetpointAdvice:
    """Decide whether the column setpoint should move.

    Parameters
    ----------
    belief : Belief or None
        What is known; None while no reading could be matched.
    trend : Trend or None
        Trend of the column temperature, on the clock of `situation`; None leaves the trend out of
        the decision, and with it whether the column has collapsed or is read at all.
    situation : Situation
        Setpoint, target, time and the rest.
    rules : Rules, optional
        How patient to be.

    Returns
    -------
    SetpointAdvice
        The decision with the numbers behind it.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    rules = rules or Rules()
    situation.check()
    rules.check()
    unfit = _unfit(trend, situation)
    if unfit is not None:
        return _unjudged(situation, "wait", 0.0, LOOK_S, unfit)
    if belief is None or belief.readings == 0:
        return _nothing_known(situation, rules)
    expected, spread = situation.expected(belief)
    aimed = situation.aim(spread)
    error = expected - aimed
    threshold = max(rules.dead_band, rules.certainty * spread, _worth_setting(belief, rules))
    step, wanted, reasons = _step(belief, situation, rules, error)
    saving = _saving(belief, error, step)
    # with what no waiting averages out, for whatever grain is in the dryer
    doubt = combined(spread, situation.meter_sd, situation.between_lots(belief))
    against = situation.against(error, threshold, aimed, belief.readings)
    kind, why = _decide(belief, trend, situation, rules, step, saving, error, threshold)
    # the last reading may be the first of grain that is otherwise: the next one tells
    awaited = kind == "move" and belief.last_doubt * error < 0.0
    if kind != "wait" and (awaited or against > CONTRADICTED) and "grain-limit" not in why:
        kind, why = "wait", (DISAGREE,)
    chance = chance_of_direction(error, doubt, situation.lag_doubt)
    if kind != "move":
        step = 0.0
        reasons = tuple(r for r in reasons if r == "at-grain-limit")
    above, below = _turning_readings(belief, situation, aimed, error, threshold)
    above = None if _at_limit(situation, rules) else above
    return SetpointAdvice(
        kind=kind,
        step=step,
        setpoint=situation.setpoint + step,
        wanted_step=wanted,
        expected_moisture_wb=expected,
        expected_sd=spread,
        after_moisture_wb=situation.after(belief, expected, step),
        aim_wb=aimed,
        threshold=threshold,
        # the doubted ones may be right, as often as there are of them
        chance=max(0.5, chance + against * (1.0 - 2.0 * chance)),
        look_at_s=look_after(kind, why, trend, situation, rules, threshold - abs(error), belief),
        move_above_wb=above,
        move_below_wb=below,
        reasons=tuple(dict.fromkeys(why + reasons)),
    )


def setpoint_table(
    belief: Belief, situation: Situation, inlets_wb: tuple[float, ...]
) -> tuple[tuple[float, float], ...]:
    """Setpoint that belongs to each inlet moisture.

    Parameters
    ----------
    belief : Belief
        What is known; its reference inlet moisture must have been given.
    situation : Situation
        Target, meter offset and the rest.
    inlets_wb : tuple of float
        Inlet moistures, wet basis [-], 0 to 0.6.

    Returns
    -------
    tuple of tuple of float
        For each inlet moisture the setpoint [degC], not rounded and not held below the grain's
        limit, and its standard deviation [K].

    Raises
    ------
    Inconsistent
        The belief knows no inlet moisture.
    OutOfRange
        A moisture outside its range.
    """
    if belief.reference_inlet_wb <= 0:
        raise Inconsistent("a table over inlet moisture needs an inlet moisture", "inlet_wb")
    MOISTURE_WB.check(inlets_wb, "inlets_wb")
    rows = []
    for inlet in inlets_wb:
        here = replace(situation, inlet_wb=inlet, inlet_doubt=0.0)
        expected, spread = here.expected(belief)
        error = expected - here.aim(spread)
        wanted = -error / belief.sensitivity
        doubt = combined(spread, situation.meter_sd, belief.sensitivity_sd * wanted)
        rows.append((situation.setpoint + wanted, doubt / abs(belief.sensitivity)))
    return tuple(rows)


def _step(
    belief: Belief, situation: Situation, rules: Rules, error: float
) -> tuple[float, float, tuple[str, ...]]:
    """Rounded step, wanted step, and what bounded it."""
    slope, doubt = belief.sensitivity, belief.sensitivity_sd
    wanted = -error * slope / (slope**2 + doubt**2)
    bounded = float(np.clip(wanted, -rules.largest_step, rules.largest_step))
    reasons = ("bounded",) if bounded != wanted else ()
    resolution = rules.resolution
    step = resolution * round(bounded / resolution)
    if abs(step) > rules.largest_step + 1e-9:
        step -= resolution * np.sign(step)
    if situation.highest is not None and situation.setpoint + step > situation.highest + 1e-9:
        room = situation.highest - situation.setpoint
        step = resolution * float(np.floor(room / resolution + 1e-9))
        reasons = ("at-grain-limit",) if step == 0 else ("grain-limit",)
    return step, wanted, reasons


def _unfit(trend: Trend | None, situation: Situation) -> str | None:
    """Why the column's readings are not to be steered by: no setpoint mends flame or sensor."""
    if trend is None:
        return None
    if trend.fallen is not None:
        return trend.fallen.reason
    return UNREAD if situation.now_s > trend.speaks_until_s else None


def _at_limit(situation: Situation, rules: Rules) -> bool:
    """Whether the grain's limit leaves no room for a step up."""
    highest = situation.highest
    return highest is not None and highest - situation.setpoint < rules.resolution - 1e-9


def _worth_setting(belief: Belief, rules: Rules) -> float:
    """Least expected error of which a step the panel accepts takes off enough [-].

    A step s takes 2 e |S| s - (S^2 + var S) s^2 off the squared error e^2: it is one resolution, or
    on a fine panel the best one.
    """
    slope, resolution = abs(belief.sensitivity), rules.resolution
    square = slope**2 + belief.sensitivity_sd**2
    step = max(resolution, rules.least_gain / sqrt(square))
    return (square * step + rules.least_gain**2 / step) / (2.0 * slope)


def _saving(belief: Belief, error: float, step: float) -> float:
    """Expected squared error that the step takes away; negative when it adds some."""
    after = error + belief.sensitivity * step
    return error**2 - after**2 - (belief.sensitivity_sd * step) ** 2


def _decide(
    belief: Belief,
    trend: Trend | None,
    situation: Situation,
    rules: Rules,
    step: float,
    saving: float,
    error: float,
    threshold: float,
) -> tuple[Kind, tuple[str, ...]]:
    over_limit = situation.highest is not None and situation.setpoint > situation.highest
    if over_limit and step < 0:
        return "move", ("grain-limit",)
    blocked, bar = _trend_forbids(belief, trend, situation, rules)
    if situation.trend_missing:
        blocked = "too-short"
    if blocked in (None, "disturbed") and _away_now(trend, situation) > rules.timed_drift_allowance:
        return "wait", (AWAY,)
    if blocked is not None:
        return "wait", (f"trend-{blocked}",)
    if situation.recently_moved(rules):
        return "wait", ("recent-move",)
    moved_s = situation.last_move_s
    if moved_s is not None and belief.at_s <= moved_s and abs(error) > threshold:
        return "wait", (UNREAD_MOVE,)
    if belief.readings == 1 and abs(error) > BELIEVED_ALONE:
        return "wait", ("single-reading",)
    noise = max(rules.dead_band, rules.certainty * situation.expected(belief)[1])
    stale = situation.now_s - belief.at_s > 2 * situation.transit_s
    if noise > rules.dead_band and stale:
        return "wait", ("stale" if situation.stood_until_s is None else STOOD,)
    if threshold < abs(error) <= bar * threshold and trend is not None:
        return "wait", (f"trend-{_called(trend)}",)
    if abs(error) <= threshold:
        return "hold", ("inside-threshold" if abs(error) <= noise else "too-small-to-set",)
    if step == 0 and error > 0 and _at_limit(situation, rules):
        return "hold", ("at-grain-limit",)
    if step == 0 or saving <= 0:
        return "hold", ("too-small-to-set",)
    # grain from before a stop says nothing of a column that comes back from it
    if situation.stood_until_s is not None and not _level(trend):
        return "wait", (STOOD,)
    # a sensor that may have stopped is no witness that the column is level
    if trend is not None and trend.one_value:
        return "wait", ("one-value",)
    return "move", ("error",)


def _level(trend: Trend | None) -> bool:
    return trend is None or trend.verdict in READY_VERDICTS


def _trend_forbids(
    belief: Belief, trend: Trend | None, situation: Situation, rules: Rules
) -> tuple[str | None, float]:
    """The verdict that forbids a move, and by how much the error must exceed the threshold.

    A reading is matched to the temperature there was, so restlessness alone does not mislead the
    belief; it asks for more evidence, unless readings are matched to their time in the dryer, which
    it does not blur. What forbids a move is a column that will not hold its setpoint.
    """
    if trend is None or _level(trend):
        return None, 1.0
    verdict = trend.verdict
    swing = 0.0 if trend.amplitude is None else trend.amplitude * abs(belief.sensitivity)
    away = abs(trend.offset) / trend.limits.offset
    if verdict in SWINGING_VERDICTS and swing <= SWING_IN_MOISTURE and away <= 1.0:
        return None, 1.0
    timed = belief.reference_transit_s > 0
    allowance = rules.timed_drift_allowance if timed else rules.drift_allowance
    # what a passing disturbance does to the moisture is in the time in the dryer and the inlet
    told = timed and verdict != "calming"
    near = away <= allowance and (told or swing <= rules.swing_allowance * SWING_IN_MOISTURE)
    slow = abs(trend.slope) <= allowance * trend.limits.slope
    restless = (
        verdict in RESTLESS_VERDICTS
        or (verdict == "drifting" and slow)
        or trend.unsure
        or (verdict == "too-short" and situation.last_move_s is not None)
    )
    if not (restless and near):
        return _called(trend), 1.0
    return None, 1.0 if timed else rules.restless_bar


def _away_now(trend: Trend | None, situation: Situation) -> float:
    """How many times what counts as level the column stands off its setpoint at this moment.

    A flame that goes out takes twenty minutes to what asks for a look at it, and the mean of two
    hours far longer to what forbids a move.
    """
    now = situation.column_now
    if trend is None or now is None:
        return 0.0
    return abs(now - situation.setpoint) / trend.limits.offset


def _called(trend: Trend) -> str:
    """The verdict, but for a trend that is long enough and not sure enough."""
    return "unsure" if trend.unsure else trend.verdict


def _turning_readings(
    belief: Belief, situation: Situation, aimed: float, error: float, threshold: float
) -> tuple[float | None, float | None]:
    """Readings of grain at the next look that would push the error past the threshold."""
    if abs(error) > threshold:
        return None, None
    expected, _ = situation.expected(belief)
    share, _ = reading_weight(
        belief,
        situation.steady_setpoint,
        at_s=situation.now_s + 0.5 * situation.transit_s,
        inlet_wb=situation.inlet_wb,
        reading_sd=situation.reading_sd,
    )
    shown = expected - situation.meter_offset
    ends = (shown + (aimed + way - expected) / share for way in (threshold, -threshold))
    up, down = (end if MOISTURE_WB.contains(end) else None for end in ends)
    return up, down


def _nothing_known(situation: Situation, rules: Rules) -> SetpointAdvice:
    look_in_s = max(SOONEST_LOOK_S, 0.5 * situation.transit_s)
    step = 0.0
    if situation.highest is not None and situation.setpoint > situation.highest:
        below = situation.highest - situation.setpoint
        step = rules.resolution * float(np.floor(below / rules.resolution + 1e-9))
    if step:
        return _unjudged(situation, "move", step, look_in_s, "grain-limit")
    if situation.stood_until_s is not None:
        return _unjudged(situation, "wait", 0.0, until_passed(situation), STOOD)
    return _unjudged(situation, "wait", 0.0, look_in_s, "no-readings")


def _unjudged(
    situation: Situation, kind: Kind, step: float, look_in_s: float, reason: str
) -> SetpointAdvice:
    """An advice that rests on no expected moisture."""
    return SetpointAdvice(
        kind=kind,
        step=step,
        setpoint=situation.setpoint + step,
        wanted_step=0.0,
        expected_moisture_wb=None,
        expected_sd=None,
        after_moisture_wb=None,
        aim_wb=aim(situation.target_wb, STREAM_SD, situation.wet_to_dry),
        threshold=None,
        chance=None,
        look_at_s=situation.now_s + look_in_s,
        reasons=(reason,),
    )
