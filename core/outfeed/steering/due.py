"""One answer for now: what the readings advise, and what a plan through known changes has due.

A move planned for a time that has come is no second advice beside the first: both are set together,
as far as one move may go; the rest of it stays planned.
"""

from __future__ import annotations

from dataclasses import replace

from outfeed.steering.feedforward import Plan
from outfeed.steering.moves import A_MINUTE_S, ROUNDING, Due, Part, ScheduledStep, settable, within
from outfeed.steering.next_look import SOONEST_LOOK_S
from outfeed.steering.setpoint import Rules, SetpointAdvice
from outfeed.steering.trend import Trend

RESTLESS = {"trend-sensor-fault", "trend-growing", "trend-cycling", "trend-stuck", "one-value"}
"""Reasons for which a column or its controller comes before any planned move."""


def with_due(
    advice: SetpointAdvice,
    plan: Plan,
    trend: Trend | None,
    now_s: float,
    rules: Rules,
) -> tuple[SetpointAdvice, Plan]:
    """The advice with the planned moves that are due, and the plan of what is left.

    Parameters
    ----------
    advice : SetpointAdvice
        From the readings.
    plan : Plan
        From the advised setpoint on.
    trend : Trend or None
        Of the column; None where none could be judged.
    now_s : float
        Time of asking [s].
    rules : Rules
        Bound on one move and resolution of the panel.

    Returns
    -------
    tuple
        The advice, with the reason "known-change" where something was due, to look again no later
        than the next planned move, and "bounded" where both together go beyond one move; and what
        is left of the plan, the rest of such a move included, with what the next look must know
        of this one. Nothing is planned while the column itself cannot be trusted, and nothing is
        taken for set then.
    """
    still = trend is not None and trend.one_value
    if still or RESTLESS & set(advice.reasons):
        return advice, replace(plan, steps=())
    due = [step for step in plan.steps if step.at_s <= now_s + A_MINUTE_S]
    left = plan.steps[len(due) :]
    whole = advice.step + sum(step.step for step in due)
    step, reasons = whole, (*advice.reasons, "known-change")
    if due:
        step = _within_one_move(advice.step, [one.step for one in due], rules)
    if step != whole:
        rest = Part(now_s, whole - step, due[-1].kind)
        left = _with_rest(rest, left, advice.setpoint - advice.step + step, rules)
        wanted = advice.wanted_step if advice.step else 0.0
        advice = replace(advice, wanted_step=wanted + whole - advice.step)
        reasons = (*reasons, *({"bounded"} - set(reasons)))
    soonest = min((one.at_s for one in left), default=advice.look_at_s)
    advice = replace(advice, look_at_s=min(advice.look_at_s, soonest))
    if due:
        # what grain leaves at after a change is not known from readings before it
        advice = replace(
            advice,
            kind="move" if step else "hold",
            step=step,
            setpoint=advice.setpoint - advice.step + step,
            after_moisture_wb=None,
            reasons=reasons,
        )
    answered = None
    if plan.effects:
        mine = sum(one.step for one in due) - (whole - step)
        answered = Due(now_s, plan.made_by, mine, len(plan.effects))
    return advice, replace(plan, steps=left, postponed=whole - step, due=answered)


def _within_one_move(advised: float, due: list[float], rules: Rules) -> float:
    """The two together, as far as one move goes, or either alone where it goes further.

    Either alone keeps its own bound, past which only the grain's limit and a bridge that is taken
    back lead.
    """
    most = settable(rules.largest_step, rules.resolution)
    planned = sum(due)
    low, high = min(-most, advised, planned), max(most, advised, planned)
    whole = advised + planned
    return low if whole < low - ROUNDING else high if whole > high + ROUNDING else whole


def _with_rest(
    rest: Part, steps: tuple[ScheduledStep, ...], setpoint: float, rules: Rules
) -> tuple[ScheduledStep, ...]:
    """Planned moves with what is left of the present one, from the setpoint after that on."""
    most = settable(rules.largest_step, rules.resolution)
    planned = [
        Part(one.at_s, one.step, one.kind, back=one.step - min(max(one.step, -most), most))
        for one in steps
    ]
    following = replace(rest, at_s=rest.at_s + SOONEST_LOOK_S)
    parts = sorted((following, *planned), key=lambda part: part.at_s)
    found = []
    for part in within(parts, most):
        if abs(part.amount) > ROUNDING:
            setpoint += part.amount
            found.append(ScheduledStep(part.at_s, part.amount, setpoint, part.kind))
    return tuple(found)
