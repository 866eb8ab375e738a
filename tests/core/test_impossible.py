"""Readings no sensor can give: when they are the sensor's own, and what they must not hide."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.collapse import collapsed
from outfeed.steering.fire import climbing
from outfeed.steering.impossible import impossible_readings
from outfeed.steering.runaway import running_away

TIMES = np.arange(50) * 180.0
SETPOINT = 40.0
LEVEL = SETPOINT + 0.2 * np.sin(TIMES / 900.0)


def with_one(spike: float, *, at: int = 20) -> np.ndarray:
    values = LEVEL.copy()
    values[at] = spike
    return values


@pytest.mark.parametrize("at", [0, 20, 48])
def test_one_between_calm_readings_is_the_sensors(at):
    seen = impossible_readings(TIMES[::-1], with_one(3276.7, at=at)[::-1])
    assert (seen.readings, seen.hot, seen.cold, seen.may_burn) == (50, 1, 0, False)
    assert impossible_readings(TIMES, with_one(600.0, at=at)) is None


@pytest.mark.parametrize("spacing_s, may_burn", [(1800.0, False), (3600.0, True)])
def test_readings_far_apart_tell_nothing_of_what_lay_between(spacing_s, may_burn):
    times = np.arange(50) * spacing_s
    assert impossible_readings(times, with_one(999.9)).may_burn is may_burn


def test_the_last_one_may_be_the_first_of_a_fire():
    assert impossible_readings(TIMES, with_one(999.9, at=49)).may_burn


def test_one_too_cold_at_the_end_hides_no_climb_over_a_still_discharge():
    values = np.array([37.0, 37.0, 38.5, 40.0, -200.0])
    assert climbing("column", np.arange(5) * 300.0, values, 300.0).confirmed


def test_one_too_hot_at_the_beginning_hides_no_climb():
    times, values = np.arange(8) * 180.0, SETPOINT + np.array([0, 0, 1, 2, 3, 4, 6, 7.0])
    values[0] = 3276.7
    assert running_away(times, values, SETPOINT).why == "climbing-away"


def test_an_open_wire_is_no_level_that_the_exhaust_fell_from():
    values = np.where(np.arange(50) % 3 == 0, 3276.7, LEVEL)
    assert collapsed("exhaust", TIMES, values) is None
