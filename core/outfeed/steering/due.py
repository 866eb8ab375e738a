"""One answer for now: what the readings advise, and what a plan through known changes has due.

A move planned for a time that has come is no second advice beside the first: both are set together.
"""

from __future__ import annotations

from dataclasses import replace

from outfeed.steering.feedforward import Plan
from outfeed.steering.setpoint import SetpointAdvice
from outfeed.steering.trend import Trend

RESTLESS = {"trend-sensor-fault", "trend-growing", "trend-cycling", "trend-stuck", "one-value"}
"""Reasons for which a column or its controller comes before any planned move."""


def with_due(
    advice: SetpointAdvice, plan: Plan, trend: Trend | None, now_s: float
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

    Returns
    -------
    tuple
        The advice, with the reason "known-change" where something was due, to look again no later
        than the next planned move; and what is left of the plan. Nothing is planned while the
        column itself cannot be trusted.
    """
    still = trend is not None and trend.one_value
    if still or RESTLESS & set(advice.reasons):
        return advice, replace(plan, steps=())
    due = [step for step in plan.steps if step.at_s <= now_s]
    left = plan.steps[len(due) :]
    soonest = min((step.at_s for step in left), default=advice.look_at_s)
    advice = replace(advice, look_at_s=min(advice.look_at_s, soonest))
    if due:
        # what grain leaves at after a change is not known from readings before it
        step = advice.step + due[-1].setpoint - advice.setpoint
        advice = replace(
            advice,
            kind="move" if step else "hold",
            step=step,
            setpoint=due[-1].setpoint,
            after_moisture_wb=None,
            reasons=(*advice.reasons, "known-change"),
        )
    return advice, replace(plan, steps=left)
