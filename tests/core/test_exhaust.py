"""An exhaust that climbs while grain moves: told as a fire, and never in normal running."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from even_loops import even_cases
from loops import cases
from plain_loops import plain_cases

from outfeed.steering.exhaust import Steep, steep_exhaust

MINUTES = np.arange(0.0, 301.0, 5.0)
TIMES = 60.0 * MINUTES
SETPOINT, EXHAUST = 37.0, 35.0
COLUMN = SETPOINT + 0.3 * np.sin(MINUTES / 13.0)
CALM = EXHAUST + 0.5 * np.sin(MINUTES / 17.0)
NO_STOPS = (np.array([]), np.array([]))


def seen(
    exhaust: np.ndarray, column: np.ndarray = COLUMN, last: int = 61, **told: Any
) -> Steep | None:
    times = TIMES[:last]
    return steep_exhaust((times, exhaust[:last]), (times, column[:last]), SETPOINT, **told)


def climbed(by: float, within: float = 20.0) -> np.ndarray:
    """An exhaust that climbs at the end of its record."""
    return CALM + by * np.clip((MINUTES - 300.0 + within) / within, 0.0, 1.0)


def test_a_steep_climb_over_a_running_discharge_is_told_far_below_every_limit():
    found = seen(climbed(12.0), stops=NO_STOPS)
    assert found is not None
    assert found.confirmed
    assert 8.0 < found.rise < 12.0
    assert found.temperature < 50.0


@pytest.mark.parametrize("by", [-20.0, 2.6, 3.0, 4.9, 6.3])  # of normal running in the column model
def test_what_normal_running_does_to_an_exhaust_is_not(by):
    assert seen(climbed(by), stops=NO_STOPS) is None


def test_one_reading_alone_and_a_climb_of_hours_are_not():
    spike = CALM.copy()
    spike[-1] += 40.0
    assert seen(spike, stops=NO_STOPS) is None
    assert seen(climbed(12.0, within=240.0), stops=NO_STOPS) is None


def test_a_dryer_being_lit_is_not_whether_or_not_the_fan_ran_before():
    lit = 5.0 + 30.0 * (1.0 - np.exp(-np.maximum(MINUTES - 120.0, 0.0) / 20.0))
    warming = 5.0 + 32.0 * (1.0 - np.exp(-np.maximum(MINUTES - 120.0, 0.0) / 30.0))
    looks = range(4, 62)
    assert all(seen(lit, warming, last, stops=NO_STOPS) is None for last in looks)
    assert all(seen(lit[24:], warming, last, stops=NO_STOPS) is None for last in range(4, 36))


def test_a_dryer_started_again_over_a_column_that_kept_its_heat_is_not():
    # the fan stood for an hour and a half, to minute 250
    exhaust = np.where((MINUTES > 160.0) & (MINUTES < 255.0), 8.0, CALM)
    stops = (np.array([160.0 * 60.0]), np.array([250.0 * 60.0]))
    assert all(seen(exhaust, last=last) is None for last in range(4, 62))
    late = slice(34, None)  # a record that begins in the stop
    for told in ({}, {"stops": stops}):
        found = steep_exhaust(
            (TIMES[late], exhaust[late]), (TIMES[late], COLUMN[late]), SETPOINT, **told
        )
        assert found is None


def test_traces_of_many_loops_raise_it_seldom():
    traces = [case for draw in (cases, plain_cases, even_cases) for case in draw(901, 60)]
    for case in traces:
        trace = (case.times, case.values)
        assert steep_exhaust(trace, trace, case.setpoint, NO_STOPS) is None
