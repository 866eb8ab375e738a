"""What no setpoint mends and no reading proves, as setpoint advice of the library has it."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.belief import learn, new_belief
from outfeed.steering.pairs import Transport, learn_from_pairs, pair_readings
from outfeed.steering.setpoint import Rules, SetpointAdvice, Situation, advise_setpoint
from outfeed.steering.trend import judge_trend

HOUR = 3600.0
SETPOINT = 37.0
TIMES = np.arange(0.0, 4 * HOUR, 120.0)
COLUMN = SETPOINT + 0.2 * np.sin(TIMES / 900.0) + 0.02 * np.cos(TIMES * 7.3)
AT = np.arange(1.0, 7.0) * 1800.0


def advised(column: np.ndarray, *, late_s: float = 0.0, highest: float | None = None):
    """Advice on grain two points too wet, some time after the last temperature."""
    belief = learn(new_belief(SETPOINT, 0.175, at_s=0.0), AT, [SETPOINT] * 6, [0.175] * 6).belief
    trend = judge_trend(TIMES, column, SETPOINT)
    now_s = float(TIMES[-1]) + late_s
    return advise_setpoint(
        belief, trend, Situation(SETPOINT, 0.155, now_s, 2 * HOUR, highest=highest)
    )


def ends(column: np.ndarray, last: float, count: int) -> np.ndarray:
    return np.concatenate((column[:-count], np.full(count, last)))


def waits(advice: SetpointAdvice) -> tuple[str, ...]:
    assert (advice.kind, advice.step, advice.setpoint) == ("wait", 0.0, SETPOINT)
    return advice.reasons


@pytest.mark.parametrize("highest", [None, SETPOINT - 2.0])
def test_a_column_that_fell_away_moves_no_setpoint(highest):
    fallen = advised(ends(COLUMN, 10.0, 2), highest=highest)
    assert waits(fallen) == ("collapsed",)
    assert fallen.look_at_s == TIMES[-1] + 300.0
    assert advised(ends(COLUMN, 10.0, 1)).kind == "move"  # one reading alone may be a spike


def test_a_column_far_below_its_setpoint_all_along_moves_no_setpoint():
    assert waits(advised(COLUMN - 15.0)) == ("far-below",)


def test_a_column_that_is_read_no_more_moves_no_setpoint():
    assert advised(COLUMN, late_s=1700.0).kind == "move"
    assert waits(advised(COLUMN, late_s=1900.0)) == ("column-not-read",)


RAN_S, STOOD_S, HELD = 2 * HOUR, 5 * HOUR, 7200.0  # at 2 kg/s all in the dryer leaves in two hours


@pytest.mark.parametrize(
    ("read", "hours", "reason", "look_s"),
    [
        ([1.0, 1.5], 7.1, "stale", 1200.0),  # all that stood has left
        ([1.0, 1.5], 5.6, "grain-stood", 1.4 * HOUR),  # what leaves now stood
        ([1.0, 1.5, 6.0], 7.2, "grain-stood", 1200.0),  # what was read last stood
        ([6.0], 6.2, "grain-stood", 0.8 * HOUR),
    ],
)
def test_readings_are_not_called_old_where_the_grain_stood(read, hours, reason, look_s):
    times, now_s = np.arange(0.0, 8 * HOUR, 300.0), hours * HOUR
    rates = np.where((times >= RAN_S) & (times < STOOD_S), 0.0, 2.0)
    transport = Transport(held=HELD, rate_times_s=times, rates=rates)
    taken = np.array(read) * HOUR
    pairs = pair_readings(
        taken, np.full(taken.size, 0.155), times, np.full(times.size, SETPOINT), transport
    )
    belief, _ = learn_from_pairs(pairs, None, reference_temperature=SETPOINT)
    until = transport.stood_until([*pairs.times_s[-1:], now_s])
    here = Situation(SETPOINT, 0.155, now_s, 2 * HOUR, stood_until_s=until)
    advice = advise_setpoint(belief, None, here, Rules(dead_band=0.0))
    assert waits(advice) == (reason,)
    assert advice.look_at_s - now_s == pytest.approx(look_s)
