"""What a column shows that no setpoint mends, as setpoint advice of the library has it."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.belief import learn, new_belief
from outfeed.steering.setpoint import SetpointAdvice, Situation, advise_setpoint
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
