"""Inlet moistures from readings that err."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from outfeed.limits import MOISTURE_WB
from outfeed.steering.inlet import (
    HOURS_TO_A_NEW_LOT,
    INLET_SD,
    LOT_WANDER,
    LOTS_APART,
    inlet_doubt,
    read_inlets,
    usual_inlet_sd,
)
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
    assert log.moistures_wb[-1] == pytest.approx(0.25, abs=0.001)
    assert log.moistures_wb[:3] == pytest.approx(0.20, abs=0.001)
    assert log.doubt([3 * HOUR], 0.0)[0] > SD


def test_smoothing_is_near_the_average_over_every_way_the_readings_may_fall_into_lots():
    hours = np.cumsum([0.0, 0.5, 1.0, 0.25, 2.0, 1.0])
    readings = np.array([0.210, 0.215, 0.208, 0.212, 0.229, 0.224])
    log = read_inlets(hours * HOUR, readings, SD)
    gaps, n = np.diff(hours), hours.size
    new = 1.0 - np.exp(-gaps / HOURS_TO_A_NEW_LOT)
    between = np.diff(np.eye(n), axis=0)
    weights, means, squares = [], [], []
    for lots in product((False, True), repeat=n - 1):
        # weighted least squares of readings and of the differences between neighbours
        spread = LOT_WANDER**2 * gaps + np.where(lots, LOTS_APART**2, 0.0)
        covariance = np.linalg.inv(np.eye(n) / SD**2 + between.T @ (between / spread[:, None]))
        mean = covariance @ readings / SD**2
        seen = between @ between.T * SD**2 + np.diag(spread)
        away = between @ readings
        fit = np.exp(-0.5 * away @ np.linalg.solve(seen, away)) / np.sqrt(np.linalg.det(seen))
        weights.append(np.prod(np.where(lots, new, 1.0 - new)) * fit)
        means.append(mean)
        squares.append(covariance + np.outer(mean, mean))
    mean = np.average(means, axis=0, weights=weights)
    covariance = np.average(squares, axis=0, weights=weights) - np.outer(mean, mean)
    assert log.moistures_wb == pytest.approx(mean, abs=0.001)
    apart = np.sqrt(covariance.diagonal() + covariance[2, 2] - 2.0 * covariance[:, 2])
    assert log.doubt(hours * HOUR, float(hours[2] * HOUR)) == pytest.approx(apart, rel=0.2)


def test_the_stated_error_of_invented_lots_is_no_less_than_the_real_one_and_grows_with_it():
    # lots 1.2 points apart, 0.25 point within, 8 to 36 hours long, read every two hours
    rng = np.random.default_rng(5)
    times = np.arange(24) * 2 * HOUR
    said = []
    for reading_sd in (0.0063, 0.01, 0.02, 0.03):
        wrong, stated = [], []
        for _ in range(150):
            lots = np.repeat(rng.normal(0.21, 0.012, 6), rng.integers(4, 18, 6))[:24]
            truth = np.resize(lots, 24) + rng.normal(0.0, 0.0025, 24)
            log = read_inlets(times, truth + rng.normal(0.0, reading_sd, 24), reading_sd)
            error = log.moistures_wb - truth
            wrong.append(error[-1] - error[-3])
            stated.append(log.doubt(times[-1:], float(times[-3]))[0])
        real = np.sqrt(np.mean(np.square(wrong)))
        said.append(np.sqrt(np.mean(np.square(stated))))
        assert 0.9 * real < said[-1] < 1.7 * real, reading_sd
    assert np.all(np.diff(said) > 0.0)


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
    coming = inlet_doubt(log, pairs, 5 * HOUR, -0.3).coming
    assert coming == pytest.approx(0.3 * SD * np.sqrt(2.0), rel=0.01)
    # a belief learned before the log began had its inlet from a reading not told here
    old = inlet_doubt(log, pairs, 5 * HOUR, -0.3, learned_before_s=-HOUR)
    assert old.coming == pytest.approx(0.3 * SD, rel=0.01)


def test_the_usual_error_of_one_reading_is_that_of_the_published_study():
    # coefficient of variation 4.5 % at 38 %, of its variance 95 % meter and sample
    assert usual_inlet_sd(0.38) == pytest.approx(0.38 * 0.045 * np.sqrt(0.95))
    assert usual_inlet_sd(MOISTURE_WB.high) < INLET_SD.high
