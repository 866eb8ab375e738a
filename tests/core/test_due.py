"""What is planned for known changes waits for a column that can be trusted."""

from __future__ import annotations

from dataclasses import replace

import pytest

from outfeed.steering.due import with_due
from outfeed.steering.feedforward import Plan
from outfeed.steering.moves import ScheduledStep
from outfeed.steering.setpoint import Rules, SetpointAdvice

NOW = 7200.0
PLAN = Plan(
    (
        ScheduledStep(NOW - 60.0, -1.0, 36.0, "inlet-moisture"),
        ScheduledStep(NOW + 900.0, 2.0, 38.0, "inlet-moisture"),
    ),
    (),
    held_back=False,
)


def advised(*reasons: str) -> SetpointAdvice:
    return SetpointAdvice(
        kind="wait",
        step=0.0,
        setpoint=37.0,
        wanted_step=0.0,
        expected_moisture_wb=None,
        expected_sd=None,
        after_moisture_wb=None,
        aim_wb=0.155,
        threshold=None,
        chance=None,
        look_at_s=NOW + 3600.0,
        reasons=reasons,
    )


@pytest.mark.parametrize(
    "reason",
    ["trend-sensor-fault", "trend-growing", "trend-cycling", "trend-stuck", "one-value"],
)
def test_a_column_that_is_not_to_be_trusted_makes_no_planned_move(reason):
    advice, left = with_due(advised(reason), PLAN, None, NOW, Rules())
    assert (advice.kind, advice.step, advice.setpoint) == ("wait", 0.0, 37.0)
    assert left.steps == ()


def test_coming_down_to_the_grains_limit_is_not_held_within_one_move():
    lowered = replace(advised("grain-limit"), kind="move", step=-4.0, setpoint=33.0)
    due = replace(PLAN, steps=(ScheduledStep(NOW, -1.0, 32.0, "plenum-temperature"),))
    rules = Rules(largest_step=2.0, resolution=1.0)
    advice, left = with_due(lowered, due, None, NOW, rules)
    assert (advice.step, advice.setpoint) == (-4.0, 33.0)
    assert [(step.at_s, step.setpoint) for step in left.steps] == [(NOW + 1200.0, 32.0)]


@pytest.mark.parametrize("reason", ["inside-threshold", "trend-drifting", "no-readings"])
def test_what_is_due_is_moved_and_the_rest_is_left(reason):
    advice, left = with_due(advised(reason), PLAN, None, NOW, Rules())
    assert (advice.kind, advice.step, advice.setpoint) == ("move", -1.0, 36.0)
    assert advice.look_at_s == NOW + 900.0
    assert left.steps == PLAN.steps[1:]
