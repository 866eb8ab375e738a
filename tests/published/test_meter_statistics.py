"""Outlier tests, t intervals, control charts and regression against what is published."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.charts import cusum_run_length, ewma, ewma_run_length, self_started
from outfeed.steering.deming import deming_line
from outfeed.steering.meter_corrections import reference_tolerance
from outfeed.steering.meter_doubt import (
    effective_degrees,
    half_width_of,
    one_reading_sd,
    readings_needed,
    student_t,
    t_half_width,
)
from outfeed.steering.outliers import (
    DIXON_R10,
    dixon_critical,
    dixon_r10,
    find_outlier,
    grubbs,
    grubbs_critical,
)

GRUBBS_TABLE = [
    # n, two-sided, alpha, printed value, tolerance, source
    (3, True, 0.05, 1.1543, 0.001, "NIST/SEMATECH e-Handbook 1.3.5.17.1"),
    (4, False, 0.05, 1.46, 0.005, "Grubbs 1969, DIN 32645 table"),
    (6, False, 0.05, 1.82, 0.005, "Grubbs 1969, DIN 32645 table"),
    (8, False, 0.05, 2.03, 0.005, "Grubbs 1969, DIN 32645 table"),
    (20, False, 0.05, 2.56, 0.005, "Grubbs 1969, DIN 32645 table"),
    (10, False, 0.025, 2.29, 0.005, "Grubbs 1969, DIN 32645 table"),
    (10, True, 0.05, 2.29, 0.005, "Grubbs 1969, one-sided 0.025 is two-sided 0.05"),
]


@pytest.mark.parametrize(
    ("count", "two_sided", "alpha", "expected", "tolerance"),
    [row[:5] for row in GRUBBS_TABLE],
    ids=[f"{row[5]}, n={row[0]}" for row in GRUBBS_TABLE],
)
def test_critical_grubbs_values_are_the_tables(count, two_sided, alpha, expected, tolerance):
    found = grubbs_critical(count, alpha=alpha, two_sided=two_sided)
    assert found == pytest.approx(expected, abs=tolerance)


# NIST/SEMATECH e-Handbook 1.3.5.17.1, uranium readings of Tietjen and Moore
URANIUM = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]


def test_the_handbooks_grubbs_example_gives_its_statistic_and_verdict():
    index, statistic = grubbs(URANIUM)
    assert index == 7
    assert statistic == pytest.approx(2.46876, abs=5e-5)
    test = find_outlier(URANIUM)
    assert test is not None
    assert test.outlier
    assert test.index == 7


DIXON_TABLE = [
    # n, alpha, printed value, tolerance: Rorabacher 1991 as reprinted in Chemistry LibreTexts
    (3, 0.05, 0.970, 0.001),
    (5, 0.05, 0.710, 0.001),
    (7, 0.05, 0.568, 0.001),
    (9, 0.05, 0.493, 0.001),
    (3, 0.01, 0.994, 0.001),
    (10, 0.01, 0.568, 0.002),
]


@pytest.mark.parametrize(
    ("count", "alpha", "expected", "tolerance"),
    DIXON_TABLE,
    ids=[f"Rorabacher 1991, n={row[0]}, alpha={row[1]}" for row in DIXON_TABLE],
)
def test_critical_dixon_values_are_the_tables(count, alpha, expected, tolerance):
    assert dixon_critical(count, alpha=alpha) == pytest.approx(expected, abs=tolerance)


def test_the_dixon_table_does_not_switch_ratio_at_eight_readings():
    # a table in circulation prints 0.554 at n = 8, which is r11, not r10
    assert abs(dixon_critical(8) - 0.554) > 0.02
    for column in DIXON_R10.values():
        assert list(column) == sorted(column, reverse=True)


@pytest.mark.parametrize("alpha", [0.05, 0.01])
@pytest.mark.parametrize("count", [3, 4, 5, 6, 8, 10])
def test_dixon_critical_values_hold_in_simulation(count, alpha):
    # independent of any table: how often r10 of normal readings exceeds the value
    rng = np.random.default_rng(count)
    ranked = np.sort(rng.normal(size=(100_000, count)), axis=1)
    gap = np.maximum(ranked[:, 1] - ranked[:, 0], ranked[:, -1] - ranked[:, -2])
    share = np.mean(gap / (ranked[:, -1] - ranked[:, 0]) > dixon_critical(count, alpha=alpha))
    # 0.006 in the value is 0.0025 in the share at the flattest; simulation adds 0.0021 (3 SD)
    assert share == pytest.approx(alpha, abs=0.0045)


def test_the_ratio_is_the_gap_over_the_range():
    # by hand: (0.189 - 0.167)/(0.189 - 0.165)
    index, ratio = dixon_r10([0.189, 0.167, 0.165, 0.166])
    assert index == 0
    assert ratio == pytest.approx(0.022 / 0.024)


@pytest.mark.parametrize(
    ("degrees", "expected"),
    [(2, 4.303), (9, 2.262)],
    ids=["NIST/SEMATECH e-Handbook 1.3.6.7.2, df=2", "NIST/SEMATECH e-Handbook 1.3.6.7.2, df=9"],
)
def test_students_t_is_the_tables(degrees, expected):
    assert student_t(degrees) == pytest.approx(expected, abs=0.0005)


def test_the_gauge_block_of_the_guide_has_its_degrees_of_freedom_and_interval():
    # JCGM 100:2008, H.1.6 (recalled): parts of 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2
    # degrees of freedom are 32 nm with 16.7; 99 % with 16 whole ones, t 2.92, is 93 nm
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    degrees = effective_degrees(parts)
    assert degrees == pytest.approx(16.7, abs=0.1)
    assert student_t(int(degrees), confidence=0.99) == pytest.approx(2.92, abs=0.005)
    total = np.sqrt(np.sum(np.square([part for part, _ in parts])))
    assert total == pytest.approx(32.0, abs=0.5)
    assert half_width_of(parts) == pytest.approx(student_t(degrees) * total)


def test_a_doubt_that_is_known_takes_the_normal_quantile():
    # NIST/SEMATECH e-Handbook 1.3.6.7.1: 1.96 standard deviations hold 95 %
    assert half_width_of([(3.0, np.inf), (4.0, np.inf)]) == pytest.approx(5.0 * 1.96, abs=0.002)


def test_the_handbooks_interval_example_comes_out():
    # NIST/SEMATECH e-Handbook 1.3.5.2, heat-flow meter: N 195, mean 9.261460, SD 0.02278881,
    # 95 % interval 9.258242 to 9.264679 (recalled)
    half = t_half_width(0.02278881, 195)
    assert 9.261460 - half == pytest.approx(9.258242, abs=1.5e-6)
    assert 9.261460 + half == pytest.approx(9.264679, abs=1.5e-6)


@pytest.mark.parametrize(
    ("sd", "expected"),
    [(0.2, 7), (0.3, 12), (0.4, 18)],
    ids=["algebra of t s/sqrt(n), sd 0.2", "algebra, sd 0.3", "algebra, sd 0.4"],
)
def test_the_smallest_number_of_readings_for_a_half_width_of_two_tenths(sd, expected):
    assert readings_needed(sd, 0.2) == expected
    assert t_half_width(sd, expected) <= 0.2 < t_half_width(sd, expected - 1)


@pytest.mark.parametrize(
    ("found", "expected", "tolerance"),
    [
        (lambda: cusum_run_length(limit=4.0), 168, 3),
        (lambda: cusum_run_length(limit=5.0), 465, 5),
        (lambda: cusum_run_length(1.0, limit=5.0), 10.4, 0.05),
        (lambda: ewma_run_length(smoothing=0.1, limit=2.703), 372, 3),
        (lambda: ewma_run_length(smoothing=0.2, limit=2.962), 500, 3),
        (lambda: ewma_run_length(1.0, smoothing=0.2, limit=2.962), 10.5, 0.05),
        (lambda: ewma_run_length(smoothing=0.1, limit=2.814), 500, 3),
    ],
    ids=[
        "Montgomery, cusum k 0.5 h 4",
        "Montgomery, cusum k 0.5 h 5",
        "Montgomery, cusum k 0.5 h 5, shift 1 SD",
        "Borror Montgomery Runger 1999, ewma 0.1, 2.703",
        "Lucas Saccucci 1990, ewma 0.2, 2.962",
        "Lucas Saccucci 1990, ewma 0.2, shift 1 SD",
        "Lucas Saccucci 1990, ewma 0.1, 2.814",
    ],
)
def test_average_run_lengths_are_the_published_ones(found, expected, tolerance):
    assert found() == pytest.approx(expected, abs=tolerance)


def test_the_handbooks_ewma_example_comes_out_to_its_printed_digits():
    # NIST/SEMATECH e-Handbook 6.3.2.4 (recalled): target 50, SD 2.0539, smoothing 0.3, 3 sigma
    data = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
            49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]  # fmt: skip
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
               50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
    chart = ewma((np.array(data) - 50.0) / 2.0539, smoothing=0.3, limit=3.0)
    assert np.round(50.0 + 2.0539 * chart.values, 2) == pytest.approx(printed, abs=1e-9)
    assert 50.0 + 2.0539 * chart.limit == pytest.approx(52.5884, abs=5e-5)
    assert chart.signals == ()


def test_values_held_against_those_before_them_are_standard_normal():
    # Hawkins 1987: so, and independent of each other, from the third value on; leaving out what
    # lies beyond three standard deviations adds 3 % to the spread
    rng = np.random.default_rng(11)
    found = np.array(
        [self_started(rng.normal(3.0, 0.7, 8), least_spread=1e-9) for _ in range(4000)]
    )
    assert not found[:, :2].any()
    later = found[:, 2:]
    assert np.mean(later, axis=0) == pytest.approx(0.0, abs=0.05)
    assert np.std(later, axis=0) == pytest.approx(1.0, abs=0.07)
    assert np.mean(np.abs(later) > 1.96, axis=0) == pytest.approx(0.05, abs=0.014)
    assert np.corrcoef(later.T) - np.eye(6) == pytest.approx(0.0, abs=0.06)


def test_orthogonal_regression_of_pearsons_data_is_pearsons_line():
    # K. Pearson 1901, Phil. Mag. 2, 559-572: y = 5.784 - 0.5456 x (recalled)
    x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
    y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
    line = deming_line(x, y)
    assert line.slope == pytest.approx(-0.5456, abs=5e-5)
    assert line.intercept == pytest.approx(5.784, abs=5e-4)


def test_the_study_of_881_samples_gives_its_own_spread_at_fifteen_and_a_half():
    # Hurburgh, Hazen and Bern 1985: CV 2.5 % at 15.5 %, a tenth of the variance repeat readings
    repeat, sample, oven = one_reading_sd(0.155)
    assert np.sqrt(repeat**2 + sample**2 + oven**2) == pytest.approx(0.0039, abs=5e-5)
    assert repeat == pytest.approx(0.0012, abs=5e-5)
    assert sample == pytest.approx(0.0036, abs=5e-5)


@pytest.mark.parametrize("moisture", [0.11, 0.38])
def test_the_study_gives_its_spread_at_both_ends(moisture):
    parts = one_reading_sd(moisture)
    assert np.sqrt(np.sum(np.square(parts))) / moisture == pytest.approx(0.045)


@pytest.mark.parametrize(
    ("grain", "moisture", "expected"),
    [
        ("corn-yellow-dent", 0.14, 0.008),
        ("corn-yellow-dent", 0.20, 0.010),
        ("wheat-soft", 0.13, 0.007),
        ("soybean", 0.20, 0.008),
    ],
    ids=["corn, least", "corn, share", "wheat, least", "soybean, share"],
)
def test_licensed_meters_may_be_off_by_the_handbooks_tolerance(grain, moisture, expected):
    # NIST Handbook 44, 5.56(a), table T.2.1, recalled: 0.05 or 0.04 of the moisture, 0.8 or 0.7
    assert reference_tolerance(grain, moisture) == pytest.approx(expected)
