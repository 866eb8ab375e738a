"""What of the moves for known changes has been set: told from look to look, not guessed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from outfeed.steering.due import with_due
from outfeed.steering.feedforward import KnownChange, Plan, plan_changes
from outfeed.steering.moves import Due
from outfeed.steering.setpoint import Rules, SetpointAdvice

MINUTE = 60.0
HOTTER = KnownChange("plenum-temperature", 200.0 * MINUTE, 10.0)  # 4 K of setpoint, in two halves
RULES = Rules(largest_step=1.0, resolution=0.5)


def plan(now: float, changes: list[KnownChange] | None = None, **told: object) -> Plan:
    """The plan at a minute, on a dryer of two hours' transit."""
    return plan_changes(
        [HOTTER] if changes is None else changes,
        37.0,
        transit_s=7200.0,
        lag_s=3600.0,
        resolution=RULES.resolution,
        largest_move=RULES.largest_step,
        now_s=now * MINUTE,
        **told,  # type: ignore[arg-type]
    )


def look(now: float, **told: object) -> tuple[float, Plan]:
    """What to set at a minute for the changes alone, and the plan of what is left."""
    leave = SetpointAdvice("hold", 0.0, 37.0, 0.0, None, None, None, 0.155, None, None, 1e9)
    advice, left = with_due(leave, plan(now, **told), None, now * MINUTE, RULES)
    return advice.step, left


def test_what_the_bound_postponed_of_a_change_told_late_is_found_again_at_every_look():
    step, first = look(255.0)
    assert (step, sum(one.step for one in first.steps)) == (1.0, 3.0)
    after = {"moved_s": 255.0 * MINUTE, "moved_by": 1.0}
    forgotten = plan(260.0, **after)
    known = plan(260.0, **after, due=first.due)
    assert [one.at_s / MINUTE for one in forgotten.steps] == [260.0, 280.0]
    # the kelvin that was left of the first half, no sooner than looks are worth, and the second
    assert sum(one.step for one in known.steps) == pytest.approx(3.0)
    assert 275.0 * MINUTE in [one.at_s for one in known.steps]
    _, second = look(260.0, **after, due=first.due)
    third = plan(265.0, **after, due=second.due)
    assert [one.step for one in third.steps] == [one.step for one in known.steps]


def test_followed_from_look_to_look_all_of_a_late_change_is_set_once():
    now, due, moved, told = 255.0, None, 0.0, {}
    for _ in range(12):
        step, left = look(now, **told, due=due)
        due = left.due
        if step:
            moved += step
            told = {"moved_s": now * MINUTE, "moved_by": step}
        now = min((one.at_s / MINUTE for one in left.steps), default=now + 5.0)
        if not left.effects:
            break
    assert moved == pytest.approx(4.0)


def test_what_no_reading_can_show_is_planned_for_until_it_is_set():
    step, first = look(255.0)
    told = {"moved_s": 255.0 * MINUTE, "moved_by": step, "due": first.due}
    # the change has passed the dryer at minute 320
    assert plan(330.0, **told).steps == ()
    assert sum(one.step for one in plan(330.0, **told, unread=True).steps) == pytest.approx(3.0)


def test_a_move_due_within_the_minute_is_due_and_is_not_found_again():
    step, first = look(199.5)
    assert step == 1.0
    told = {"moved_s": 199.5 * MINUTE, "moved_by": step, "due": first.due}
    assert sum(one.step for one in plan(201.0, **told).steps) == pytest.approx(3.0)


def test_a_step_that_was_not_set_is_advised_again_and_no_more_than_it():
    step, first = look(255.0)
    again, second = look(260.0, due=first.due)
    assert again == step
    assert sum(one.step for one in second.steps) + again == pytest.approx(4.0)


def test_a_late_look_at_a_change_told_in_time_loses_nothing_either():
    _, early = look(195.0)
    step, late = look(255.0, due=early.due)
    told = {"moved_s": 255.0 * MINUTE, "moved_by": step}
    assert sum(one.step for one in plan(260.0, **told, due=late.due).steps) == pytest.approx(3.0)


def test_a_second_change_told_after_the_first_was_set_is_no_part_of_it():
    _, first = look(205.0, moved_s=None)
    told = {"moved_s": 205.0 * MINUTE, "moved_by": 1.0, "due": first.due}
    colder = KnownChange("ambient-temperature", 202.0 * MINUTE, -10.0)  # -1.2 K, a half at once
    one, two = plan(230.0, **told), plan(230.0, [HOTTER, colder], **told)
    assert sum(s.step for s in two.steps) == pytest.approx(
        sum(s.step for s in one.steps) - 1.2, abs=RULES.resolution
    )


def test_once_one_of_the_changes_has_ended_the_last_move_counts_as_ever():
    due = Due(205.0 * MINUTE, 7.0, 1.0, 2)
    told = {"moved_s": 255.0 * MINUTE, "moved_by": 1.0}
    assert plan(260.0, **told, due=due) == replace(plan(260.0, **told), due=due)


@pytest.mark.parametrize("now, moves", [(250.0, 2), (280.0, 1)])
def test_a_bridge_that_the_next_look_would_take_back_is_not_begun(now: float, moves: int) -> None:
    # sensors three quarters of the way down: the grain is there in minute 290
    wetter = KnownChange("inlet-moisture", 200.0 * MINUTE, 0.03)
    told = {"resolution": 0.5, "largest_move": 2.0, "now_s": now * MINUTE}
    found = plan_changes([wetter], 37.0, transit_s=7200.0, lag_s=1800.0, **told)  # type: ignore[arg-type]
    begun = plan_changes([wetter], 37.0, transit_s=7200.0, lag_s=1800.0, resolution=0.5)
    assert len(begun.steps) == 2
    assert len(found.steps) == moves
    assert found.steps[-1].at_s == pytest.approx(290.0 * MINUTE)
    assert found.steps[-1].setpoint == pytest.approx(begun.steps[-1].setpoint)
