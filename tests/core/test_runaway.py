"""A controlled temperature that runs away above its setpoint is a matter of fire."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.grains import grain_ids, load_grain
from outfeed.steering import runaway
from outfeed.steering.runaway import current, hotter_than_drying_air, running_away

TIMES = np.arange(50) * 180.0
SETPOINT = 82.0


def found(values):
    return running_away(TIMES, values, SETPOINT)


def test_the_hottest_level_is_the_hottest_limit_of_the_catalogue():
    limits = [one.high for name in grain_ids() for one in load_grain(name).temperature_limits]
    assert max(limits) == pytest.approx(runaway.HOTTEST_PUBLISHED)


def test_a_steady_climb_is_climbing_away_before_it_is_far_above():
    climb = SETPOINT + TIMES / 3600.0 * 12.0
    early = running_away(TIMES[:11], climb[:11], SETPOINT)
    assert early is not None
    assert early.why == "climbing-away"
    # at 12 K an hour; the lower of the last two readings stands three minutes back
    assert 12.0 * 27 / 60 - 1e-9 <= early.rise <= 12.0 * 36 / 60


def test_a_climb_read_every_quarter_of_an_hour_is_seen_as_well():
    seen = running_away(np.arange(8) * 900.0, SETPOINT + np.arange(8) * 1.5, SETPOINT)
    assert seen is not None
    assert seen.why == "climbing-away"


def test_a_climb_past_every_limit_is_named_so():
    assert found(SETPOINT + TIMES / 3600.0 * 13.0).why == "beyond-limits"


@pytest.mark.parametrize("above", [10.5, 25.0])
def test_a_column_that_stays_far_above_is_named_so(above):
    seen = found(np.full(50, SETPOINT + above))
    assert seen is not None
    assert seen.why == "far-above"
    assert seen.above == pytest.approx(above)


def test_a_column_on_its_way_back_from_a_lowered_setpoint_is_not():
    assert found(SETPOINT + 12.0 + np.linspace(12.0, 0.0, 50)) is None


def test_a_column_very_far_above_is_even_while_it_falls():
    assert found(SETPOINT + 22.0 + np.linspace(4.0, 0.0, 50)).why == "far-above"


@pytest.mark.parametrize("swing", [0.0, 1.0, 4.0])
def test_a_swing_about_the_setpoint_is_not(swing):
    assert found(SETPOINT + swing * np.sin(TIMES / 400.0)) is None


def test_a_column_far_below_is_not():
    assert found(SETPOINT - 30.0 + TIMES / 3600.0 * 5.0) is None


def test_a_last_reading_alone_counts_but_is_called_unconfirmed():
    values = np.full(50, SETPOINT)
    values[-1] += 30.0
    assert found(values).confirmed is False


def test_a_spike_in_between_and_no_reading_at_all_do_not_count():
    values = np.full(50, SETPOINT)
    values[20] += 30.0
    assert found(values) is None
    assert found(np.full(50, np.nan)) is None


@pytest.mark.parametrize(("hot", "why"), [(25.0, "climbing-away"), (200.0, "beyond-limits")])
def test_a_cold_last_reading_after_one_far_too_hot_does_not_clear_it(hot, why):
    values = np.full(50, SETPOINT)
    values[-2] += hot
    assert found(values).why == why
    assert not found(values).confirmed
    values[-2] = SETPOINT + 15.0
    assert found(values) is None


def test_drying_air_controlled_above_the_limits_is_beyond_them_only_above_its_setpoint():
    assert running_away(TIMES, np.full(50, 120.5), 120.0) is None
    assert running_away(TIMES, np.full(50, 126.0), 120.0).why == "beyond-limits"


def test_a_column_hotter_than_any_drying_air_is_beyond_the_limits_whatever_it_followed():
    earlier = np.where(TIMES[-1] - 1800.0 > TIMES, 115.0, SETPOINT)
    assert running_away(TIMES, np.full(50, 111.0), earlier).why == "beyond-limits"


def test_a_column_that_has_not_followed_a_cut_yet_is_not():
    stays = np.full(50, SETPOINT + 12.0)
    half_an_hour_ago = np.where(TIMES[-1] - 1800.0 > TIMES, SETPOINT + 12.0, SETPOINT)
    assert running_away(TIMES, stays, half_an_hour_ago) is None
    assert running_away(TIMES, stays, SETPOINT, cut_s=float(TIMES[-1]) - 1800.0) is None
    long_ago = np.where(TIMES[-1] - 4000.0 > TIMES, SETPOINT + 12.0, SETPOINT)
    assert running_away(TIMES, stays, long_ago).why == "far-above"


@pytest.mark.parametrize(("above", "excused"), [(19.9, True), (20.0, False), (70.0, False)])
def test_a_cut_from_nobody_knows_where_excuses_less_than_twenty_kelvin(above, excused):
    half_an_hour_ago = float(TIMES[-1]) - 1800.0
    seen = running_away(TIMES, np.full(50, 30.0 + above), 30.0, cut_s=half_an_hour_ago)
    assert (seen is None) == excused


@pytest.mark.parametrize(("earlier", "excused"), [(109.0, True), (111.0, False)])
def test_an_earlier_setpoint_hotter_than_any_drying_air_excuses_nothing(earlier, excused):
    setpoints = np.where(TIMES[-1] - 1800.0 > TIMES, earlier, 60.0)
    assert (running_away(TIMES, np.full(50, 108.0), setpoints) is None) == excused


def test_a_column_that_rises_after_a_cut_is():
    rises = np.full(50, SETPOINT + 12.0) + np.maximum(0.0, TIMES - TIMES[-1] + 1800.0) / 900.0
    assert running_away(TIMES, rises, SETPOINT, cut_s=float(TIMES[-1]) - 1800.0) is not None


def test_a_reading_as_hot_as_a_fire_is_read_and_not_set_aside():
    values = np.full(50, SETPOINT)
    values[-2:] = 450.0
    assert found(values).why == "beyond-limits"
    assert found(values).confirmed


def test_traces_are_of_now_for_an_hour_unless_they_go_on_in_a_later_one():
    level = np.full(50, SETPOINT)
    days_ago, lately, now = (TIMES - 3.0 * 86_400.0, level), (TIMES, level), (TIMES + 3590.0, level)
    assert current([days_ago, lately, now]) == [1, 2]
    assert current([(TIMES - 60.0, level), now]) == [1]
    assert current([now, lately]) == [0, 1]
    none = (TIMES, np.full(50, np.nan))
    assert current([none, none]) == []
    longer = (np.arange(60) * 180.0, np.full(60, SETPOINT))
    assert current([lately, longer]) == [1]
    # the end alone does not tell what came before it
    assert current([lately, (TIMES[-1:], level[-1:])]) == [0, 1]


@pytest.mark.parametrize("hot", [250.0, 450.0, 600.0])
def test_a_hot_reading_that_does_not_move_is_a_fire_that_says_how_long_it_stood(hot):
    stuck = np.full(50, hot)
    stuck[:30] = SETPOINT
    assert (found(stuck).why, found(stuck).unmoved_s) == ("beyond-limits", 19 * 180.0)
    assert hotter_than_drying_air("exhaust", TIMES, stuck).unmoved_s == 19 * 180.0
    moves = stuck.copy()
    moves[-2:] += 0.1
    assert (found(moves).why, found(moves).unmoved_s) == ("beyond-limits", 0.0)


@pytest.mark.parametrize(("end", "why"), [(900.0, "beyond-limits"), (-200.0, None)])
def test_a_reading_hotter_than_any_sensor_gives_is_no_less_a_fire(end, why):
    values = np.full(50, SETPOINT)
    values[-2:] = end
    seen = found(values)
    assert (seen and seen.why) == why


def test_an_exhaust_hotter_than_any_drying_air_is_named():
    values = np.full(50, 60.0)
    assert hotter_than_drying_air("exhaust", TIMES, values) is None
    values[-1] = 180.0
    assert hotter_than_drying_air("exhaust", TIMES, values).confirmed is False
    values[-2] = 150.0
    assert hotter_than_drying_air("exhaust", TIMES, values).temperature == 150.0


@pytest.mark.parametrize("minutes, excused", [(30.0, True), (59.0, True), (61.0, False)])
def test_a_move_excuses_a_column_for_an_hour_only(minutes, excused):
    stays = np.full(50, SETPOINT + 12.0)
    seen = running_away(TIMES, stays, SETPOINT, cut_s=float(TIMES[-1]) - 60.0 * minutes)
    assert (seen is None) is excused


@pytest.mark.parametrize("last", [(12.0, 0.0), (0.0, 12.0)])
def test_of_two_readings_at_one_time_the_hotter_counts(last):
    times = np.append(TIMES, TIMES[-1] + np.array([180.0, 180.0]))
    values = SETPOINT + np.append(np.zeros(50), last)
    assert running_away(times, values, SETPOINT) is not None
