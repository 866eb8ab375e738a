"""A temperature that has fallen away from its level is a matter of burner, flame and sensor."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.collapse import collapsed, surest
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
