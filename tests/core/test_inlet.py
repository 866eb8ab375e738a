"""Inlet moistures from readings that err."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.inlet import LOT_WANDER, inlet_doubt, read_inlets, usual_inlet_sd
from outfeed.steering.pairs import Transport, pair_readings

HOUR = 3600.0
SD = 0.006


def test_readings_without_error_are_taken_as_they_are():
    log = read_inlets([0.0, HOUR], [0.20, 0.24], 0.0)
    assert list(log.moistures_wb) == [0.20, 0.24]
    assert log.doubt([0.0, HOUR], None) == pytest.approx(0.0)


def test_one_odd_reading_moves_the_inlet_less_than_a_series_of_the_same():
    before = [0.20] * 4
    one = read_inlets(np.arange(5) * HOUR, [*before, 0.21], SD)
    series = read_inlets(np.arange(9) * HOUR, [*before, *[0.21] * 5], SD)
    assert 0.203 < one.moistures_wb[-1] < 0.206
    assert series.moistures_wb[-1] > 0.2085
    assert one.doubt([4 * HOUR], None)[0] < SD


def test_a_lot_far_from_the_one_before_is_believed_at_once_with_its_own_error():
    log = read_inlets(np.arange(4) * HOUR, [0.20, 0.20, 0.20, 0.25], SD)
    assert log.moistures_wb[-1] == 0.25
    assert log.moistures_wb[:3] == pytest.approx(0.20)
    assert log.doubt([3 * HOUR], 0.0)[0] > SD


def test_smoothing_is_the_weighted_least_squares_of_a_random_walk():
    times = np.cumsum([0.0, 0.5, 1.0, 0.25, 2.0, 1.0]) * HOUR
    readings = np.array([0.210, 0.215, 0.208, 0.212, 0.219, 0.214])
    log = read_inlets(times, readings, SD)
    # normal equations of readings and of the differences between neighbours
    step = (
        np.diff(np.eye(times.size), axis=0) / (LOT_WANDER * np.sqrt(np.diff(times) / HOUR))[:, None]
    )
    covariance = np.linalg.inv(np.eye(times.size) / SD**2 + step.T @ step)
    assert log.moistures_wb == pytest.approx(covariance @ readings / SD**2)
    apart = covariance.diagonal() + covariance[2, 2] - 2.0 * covariance[:, 2]
    assert log.doubt(times, float(times[2])) == pytest.approx(np.sqrt(apart))


def test_an_error_that_all_grain_has_in_common_does_no_harm():
    column = np.arange(0.0, 6 * HOUR, 600.0)
    pairs = pair_readings(
        [4 * HOUR, 5 * HOUR], [0.155, 0.155], column, np.full(column.size, 37.0),
        Transport(transit_s=2 * HOUR), inlet_times_s=[0.0], inlets_wb=[0.21],
    )  # fmt: skip
    one_lot = inlet_doubt(read_inlets([0.0], [0.21], SD), pairs, 5 * HOUR, -0.3)
    assert one_lot.coming == 0.0
    assert one_lot.learned == pytest.approx(0.0)
    log = read_inlets([0.0, 4.5 * HOUR], [0.21, 0.27], SD)
    assert inlet_doubt(log, pairs, 5 * HOUR, -0.3).coming == pytest.approx(0.3 * SD * np.sqrt(2.0))
    # a belief learned before the log began had its inlet from a reading not told here
    old = inlet_doubt(log, pairs, 5 * HOUR, -0.3, learned_before_s=-HOUR)
    assert old.coming == pytest.approx(0.3 * SD)


def test_the_usual_error_of_one_reading_is_that_of_the_published_study():
    # coefficient of variation 4.5 % at 38 %, of its variance 95 % meter and sample
    assert usual_inlet_sd(0.38) == pytest.approx(0.38 * 0.045 * np.sqrt(0.95))
