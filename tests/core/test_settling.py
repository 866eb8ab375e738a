"""Settling: by the integral of flow, not by the clock."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed import Inconsistent, OutOfRange
from outfeed.steering.settling import rates_from_settings, settling

HOUR = 3600.0
HELD = 7200.0


def test_one_hold_up_after_the_change_it_has_settled():
    log = ([0.0, 2 * HOUR], [2.0, 4.0])
    half = settling(*log, HELD, 2 * HOUR + 900.0)
    assert half.settled is False
    assert half.changed_s == 2 * HOUR
    assert half.replaced == pytest.approx(0.5)
    assert half.remaining == pytest.approx(3600.0)
    assert half.settled_at_s == pytest.approx(2 * HOUR + 1800.0)
    done = settling(*log, HELD, 2 * HOUR + 1800.0)
    assert done.settled is True
    assert done.old_time_share == 0.0
    assert done.settled_at_s == pytest.approx(2 * HOUR + 1800.0)


def test_share_of_time_and_of_way_differ_when_the_rate_changed():
    # hold-up 7,200 kg: after 900 s at 4 kg/s, 3,600 kg of the way were made at 2 kg/s in 1,800 s
    found = settling([0.0, 2 * HOUR], [2.0, 4.0], HELD, 2 * HOUR + 900.0)
    assert found.old_path_share == pytest.approx(0.5)
    assert found.old_time_share == pytest.approx(1800.0 / 2700.0)
    assert found.entered_s == pytest.approx(2 * HOUR - 1800.0)


def test_a_stop_does_not_count_as_settling_and_is_no_change_of_setting():
    log = ([0.0, HOUR, 2 * HOUR, 3 * HOUR], [2.0, 3.0, 0.0, 3.0])
    before, after = settling(*log, HELD, 2 * HOUR), settling(*log, HELD, 3 * HOUR)
    assert before.replaced == after.replaced
    assert after.changed_s == HOUR


@pytest.mark.parametrize("misread", [[0.0, 60.0, 61.0, 120.0], [0.0, 20.0, 21.0, 22.0]])
def test_one_misread_minute_makes_no_running_dryer_stand_still(misread):
    minutes = np.array(misread)
    assert settling(60.0 * minutes, [3.5, 190.0, 3.5, 3.5], HELD, 54000.0).stopped_at_s is None
    soon = settling(60.0 * minutes, [3.5, 190.0, 3.5, 3.5], HELD, 60.0 * minutes[-1])
    assert soon.stopped_at_s is None


def test_a_trickle_after_a_short_run_is_a_stop_however_long_it_is():
    hours = HOUR * np.arange(4.0)
    assert settling(hours, [5.0, 0.05, 0.05, 0.05], HELD, 4 * HOUR).stopped_at_s == HOUR
    assert settling(hours, [5.0, 0.05, 0.05, 0.05], HELD, 40 * HOUR).stopped_at_s == HOUR


def test_while_it_stands_still_nobody_knows_when_it_settles():
    found = settling([0.0, HOUR, HOUR + 60.0], [2.0, 3.0, 0.0], HELD, 2 * HOUR)
    assert found.settled is False
    assert found.settled_at_s is None


@pytest.mark.parametrize("last", [0.0, 0.01])
def test_a_discharge_that_stands_still_at_the_end_has_never_settled(last):
    full = settling([0.0, 10 * HOUR], [2.0, last], HELD, 11 * HOUR)
    assert (full.settled, full.stopped_at_s) == (False, 10 * HOUR)
    assert full.settled_at_s is None
    short = settling([0.0, 600.0, 700.0], [2.0, last, last], HELD, 800.0)
    assert (short.settled, short.stopped_at_s) == (False, 600.0)


@pytest.mark.parametrize("later", [[], [2.0]])
def test_a_discharge_that_never_ran_has_never_settled_whatever_changed(later):
    rates = [0.0, 0.0, *later]
    times = [600.0 * k for k in range(len(rates))]
    found = settling(times, rates, HELD, 900.0, changed_s=700.0)
    assert (found.settled, found.stopped_at_s, found.changed_s) == (False, 0.0, 700.0)
    assert (found.replaced, found.remaining, found.rate) == (0.0, None, 0.0)
    assert (found.entered_s, found.settled_at_s, found.old_time_share) == (None, None, None)


def test_a_stop_that_is_over_or_still_to_come_does_not_hold_it_back():
    log = ([0.0, 2 * HOUR, 3 * HOUR, 9 * HOUR], [2.0, 0.0, 2.0, 0.0])
    found = settling(*log, HELD, 8 * HOUR)
    assert (found.settled, found.stopped_at_s) == (True, None)


def test_small_wobbles_of_a_loop_are_the_same_setting_and_their_sum_is_not():
    times = np.arange(0.0, 6 * HOUR, 600.0)
    wobble = 2.0 + 0.04 * np.sin(times)
    assert settling(times, wobble, HELD, 6 * HOUR).changed_s is None
    creep = 2.0 * 1.03 ** np.arange(times.size)
    assert settling(times, creep, HELD, 6 * HOUR).changed_s == times[-2]


@pytest.mark.parametrize("period", [1500.0, 2400.0, HOUR, 2 * HOUR])
@pytest.mark.parametrize("turn", [0.0, 1.6, 3.1, 4.7])
def test_a_rate_that_a_loop_moves_about_its_level_is_one_setting(period, turn):
    times = np.arange(0.0, 10 * HOUR + 1.0, 600.0)
    ripple = 2.0 * (1.0 + 0.08 * np.sin(2 * np.pi * times / period + turn))
    found = settling(times, ripple, 2 * HELD, times[-1])
    assert (found.settled, found.changed_s) == (True, None)
    assert 0.08 < found.hidden_change < 0.1


@pytest.mark.parametrize("step", [0.15, 0.3, -0.3])
@pytest.mark.parametrize("ago", [1, 3, 8])
def test_a_new_level_of_a_moving_rate_is_a_change(step, ago):
    times = np.arange(0.0, 10 * HOUR + 1.0, 600.0)
    wobble = 1.0 + 0.03 * np.sin(2 * np.pi * times / 2400.0 + 0.4)
    rates = 2.0 * wobble * np.where(np.arange(times.size) >= times.size - ago, 1.0 + step, 1.0)
    found = settling(times, rates, 2 * HELD, times[-1] + 300.0)
    assert (found.settled, found.changed_s) == (False, times[-ago])


@pytest.mark.parametrize("entries, seen", [(1, False), (3, True), (6, True)])
def test_a_few_high_entries_of_a_moving_rate_are_no_new_level(entries, seen):
    times = np.arange(240) * 60.0
    rate = 2.0 * (1.0 + 0.05 * np.sin(2.0 * np.pi * times / 1800.0))
    rate[-entries:] = 2.2
    found = settling(times, rate, HELD, float(times[-1]))
    assert found.changed_s == (times[-entries] if seen else None)


@pytest.mark.parametrize("minutes, stood", [(9.0, False), (10.0, True)])
def test_grain_dries_on_in_a_stop_of_ten_minutes_and_not_in_a_shorter_one(minutes, stood):
    until = HOUR + 60.0 * minutes
    found = settling([0.0, HOUR, until], [2.0, 0.0, 2.0], HELD, until + 600.0)
    assert (found.stood is not None) is stood
    # what stood at the bottom has left, what stood at the top not yet
    later = settling([0.0, HOUR, until], [2.0, 0.0, 2.0], HELD, until + HOUR + 600.0)
    assert later.stood is None


def test_settings_an_hour_apart_are_no_ripple():
    log = (np.arange(10) * HOUR, [2.0, 2.16] * 5)
    assert settling(*log, HELD, 9.5 * HOUR).changed_s == 9 * HOUR


def test_a_log_without_a_change_tells_only_as_far_as_it_reaches():
    assert settling([0.0], [2.0], HELD, 1800.0).settled is None
    assert settling([0.0], [2.0], HELD, 3600.0).settled is True


def test_a_change_of_something_else_counts():
    found = settling([0.0], [2.0], HELD, 2 * HOUR, changed_s=1.5 * HOUR)
    assert found.settled is False
    assert found.replaced == pytest.approx(0.5)


@given(
    st.lists(st.floats(0.5, 8.0), min_size=2, max_size=8),
    st.floats(1000.0, 20_000.0),
    st.floats(0.0, 4 * HOUR),
)
def test_at_the_moment_it_names_it_has_settled_and_not_before(rates, held, late):
    times = np.arange(len(rates)) * 900.0
    found = settling(times, rates, held, float(times[-1] + late))
    if found.settled_at_s is None:
        assert found.changed_s is None
        return
    ask_at = max(found.settled_at_s, float(times[-1]))
    assert settling(times, rates, held, ask_at + 1.0).settled is True
    early = settling(times, rates, held, float(times[-1] + late))
    assert early.settled == (found.settled_at_s <= times[-1] + late)
    assert 0.0 <= early.old_time_share <= 1.0
    assert early.remaining == pytest.approx(max(0.0, 1.0 - early.replaced) * held)


def test_settings_become_rates_through_the_owners_points():
    found = rates_from_settings([0.0, 10.0, 20.0, 30.0, 60.0], [20.0, 40.0], [2.0, 3.0])
    assert found == pytest.approx([0.0, 1.0, 2.0, 2.5, 4.5])
    assert rates_from_settings(30.0, [20.0], [2.0]) == pytest.approx(3.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: settling([], [], HELD, 0.0),
        lambda: settling([0.0, 0.0], [0.0, 0.0], HELD, 10.0),
        lambda: settling([0.0], [], HELD, 10.0),
        lambda: settling([100.0], [2.0], HELD, 10.0),
        lambda: settling([0.0], [2.0], HELD, 10.0, changed_s=20.0),
        lambda: rates_from_settings([1.0], [], []),
        lambda: rates_from_settings([1.0], [1.0, 2.0], [2.0, 1.0]),
    ],
)
def test_what_contradicts_itself_is_refused(call):
    with pytest.raises(Inconsistent):
        call()


def test_values_out_of_range_are_named():
    with pytest.raises(OutOfRange) as caught:
        settling([0.0], [2.0], 0.0, 10.0)
    assert caught.value.name == "held"


@pytest.mark.parametrize(
    ("name", "call"),
    [
        ("now_s", lambda nan: settling([0.0, HOUR], [2.0, 2.0], HELD, nan)),
        ("changed_s", lambda nan: settling([0.0], [2.0], HELD, HOUR, changed_s=nan)),
        ("rate_times_s", lambda nan: settling([0.0, nan], [2.0, 2.0], HELD, HOUR)),
    ],
)
def test_a_time_that_is_no_number_is_named(name, call):
    with pytest.raises(OutOfRange) as refused:
        call(float("nan"))
    assert refused.value.name == name
