"""A temperature that has fallen away from its level is a matter of burner, flame and sensor."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.collapse import collapsed, standing_low, surest
from outfeed.steering.gain import advise_gain
from outfeed.steering.trend import judge_trend

TIMES = np.arange(40) * 300.0
SETPOINT = 82.0
QUIET = SETPOINT + np.random.default_rng(4).normal(0.0, 0.2, TIMES.size)


def ends(*last: float) -> np.ndarray:
    values = QUIET.copy()
    values[-len(last) :] = last
    return values


def found(values, setpoint=SETPOINT):
    return collapsed("column", TIMES, values, setpoint)


@pytest.mark.parametrize("last", [(0.0, 0.0), (71.0, 70.0, 71.5), (0.0, 82.0, 0.0), (0.0,) * 20])
def test_two_of_the_last_readings_far_below_the_level_before_are_a_collapse(last):
    seen = found(ends(*last))
    assert seen is not None
    assert seen.confirmed
    assert seen.below == pytest.approx(SETPOINT - seen.temperature, abs=0.5)


def test_one_reading_alone_is_a_doubt_that_another_temperature_confirms():
    seen = found(ends(0.0))
    assert seen is not None
    assert not seen.confirmed
    assert not surest(seen, None).confirmed
    assert surest(seen, collapsed("exhaust", TIMES, ends(0.0))).confirmed


def test_a_slow_fall_counts_as_a_sudden_one_does():
    falling = QUIET - np.maximum(TIMES - TIMES[-13], 0.0) / 3600.0 * 15.0
    assert found(falling).confirmed


@pytest.mark.parametrize(
    "values",
    [
        ends(0.0, 82.0, 82.0),
        ends(74.0, 74.0),
        SETPOINT + 6.7 * np.sin(2 * np.pi * (TIMES - TIMES[-1]) / 5400.0 - np.pi / 2),
        QUIET - 30.0,
        ends(*np.linspace(40.0, 60.0, 8)),
    ],
)
def test_no_spike_nor_swing_nor_low_level_nor_way_back_is_one(values):
    assert found(values) is None


def test_a_column_that_follows_a_lower_setpoint_has_not_collapsed():
    setpoint = np.where(TIMES[-6] > TIMES, SETPOINT, SETPOINT - 15.0)
    following = ends(*np.linspace(SETPOINT, SETPOINT - 15.0, 6))
    assert found(following).confirmed
    assert found(following, setpoint) is None
    assert collapsed("exhaust", TIMES, following, lowered=15.0) is None


@pytest.mark.parametrize("wrong", [5, 30, -1])
def test_one_wrong_setpoint_excuses_no_fall(wrong):
    setpoint = np.full(TIMES.size, SETPOINT)
    setpoint[wrong] = SETPOINT - 60.0
    assert found(ends(*[SETPOINT - 30.0] * 4), setpoint).confirmed


def test_readings_of_another_day_tell_no_level():
    times = np.where(np.arange(40) < 38, TIMES, TIMES + 12 * 3600.0)
    assert collapsed("column", times, ends(20.0, 20.0), SETPOINT) is None


@pytest.mark.parametrize("last", [(0.0, 0.0), (60.0, 60.0), (0.0,) * 5])
def test_a_collapse_is_no_spike_and_praises_no_column_and_moves_no_gain(last):
    trend = judge_trend(TIMES, ends(*last), SETPOINT)
    assert trend.collapsed
    assert trend.cleaned.spikes == 0
    assert trend.verdict != "level"
    advice = advise_gain([trend] * 2, rate=12.0, right_rate=10.0)
    assert (advice.multiplier, advice.reason, advice.look_again_minutes) == (1.0, "collapsed", 5.0)


@pytest.mark.parametrize("last", [79.0, 85.0])
def test_a_last_reading_that_is_set_aside_is_told(last):
    trend = judge_trend(TIMES, ends(last), SETPOINT)
    assert trend.cleaned.spikes == 1
    (apart,) = (r.numbers[0] for r in trend.remarks if r.code == "last-reading-apart")
    assert apart == pytest.approx(last - SETPOINT, abs=0.6)


def warmed(*, until: float, lost: float = np.inf, hours: float = 1.0, cold: float = 20.0):
    """Minutes, and a column heated from cold whose flame is lost, in tenths of a degree."""
    minutes = np.arange(0.0, until + 1.0, 2.0)
    lit = SETPOINT - (SETPOINT - cold) * np.exp(-np.minimum(minutes, lost) / 60.0 / hours)
    out = np.exp(-np.maximum(minutes - lost, 0.0) / 30.0)
    noise = np.random.default_rng(1).normal(0.0, 0.1, minutes.size)
    return 60.0 * minutes, np.round(cold + (lit - cold) * out + noise, 1)


@pytest.mark.parametrize("until, hours", [(50.0, 1.0), (90.0, 2.0), (120.0, 4.0)])
def test_a_column_that_is_heated_up_climbs_and_moves_no_gain(until, hours):
    times, values = warmed(until=until, hours=hours)
    low = standing_low(times, values, SETPOINT)
    assert (low.climbing, low.turned) == (True, False)
    pace = (SETPOINT - values[-1]) * np.expm1(0.5 / hours) / 0.5  # over the last half hour
    assert 3600.0 * low.pace == pytest.approx(pace, rel=0.1)
    advice = advise_gain([judge_trend(times, values, SETPOINT)])
    assert (advice.reason, advice.look_again_minutes) == ("far-below", 15.0)


@pytest.mark.parametrize("minutes", [6.0, 12.0])
def test_a_flame_lost_while_heating_up_is_no_climb(minutes):
    low = standing_low(*warmed(until=60.0 + minutes, lost=60.0), SETPOINT)
    assert (low.climbing, low.closing, low.turned) == (False, False, True)


def test_a_climb_that_has_stalled_or_is_the_suns_is_none():
    times, values = warmed(until=80.0)
    stalled = np.where(times < 2400.0, values, values[20])
    by_sun = 15.0 + 2.5 * times / 3600.0
    assert not standing_low(times, stalled, SETPOINT).climbing
    assert not standing_low(times, by_sun, SETPOINT).climbing


@pytest.mark.parametrize("cold, reason", [(20.0, "wait"), (76.0, "too-slow")])
def test_how_long_a_start_takes_is_no_matter_of_the_gain(cold, reason):
    times, values = warmed(until=240.0, hours=1.8, cold=cold)
    trend = judge_trend(times[::2], values[::2], SETPOINT)
    assert (trend.verdict, trend.low) == ("drifting", None)
    assert advise_gain([trend], transit=5400.0).reason == reason


def test_a_sensor_that_fails_while_heating_up_is_told_as_one_that_fails():
    times, values = warmed(until=90.0, hours=2.0)
    broken = np.where(np.arange(times.size) % 2 == 0, values, -200.0)
    broken[-4:] = values[-4:]
    trend = judge_trend(times, broken, SETPOINT)
    assert (trend.verdict, trend.heats_up) == ("sensor-fault", False)
