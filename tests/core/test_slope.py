"""The slope's interval, on noise of known memory and no slope."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal, stats

from outfeed.steering.noise import bin_trace
from outfeed.steering.slope import Slope, slope_interval

STEP_S, READINGS = 30.0, 240
FEW_STEP_S, FEW_READINGS = 180.0, 40  # each a stretch of its own
HOUR_S = 3600.0


def wander(memory_s: float, seed: int) -> np.ndarray:
    """Noise that forgets itself exponentially, by SciPy's filter, after a long run-in."""
    keep = np.exp(-STEP_S / memory_s)
    shocks = np.random.default_rng(seed).normal(size=8 * READINGS)
    return signal.lfilter([np.sqrt(1.0 - keep**2)], [1.0, -keep], shocks)[-READINGS:]


def interval(values: np.ndarray) -> Slope:
    window = bin_trace(np.arange(values.size) * STEP_S, values, 40)
    return slope_interval(window.times, window.values)


def trembles(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, 0.3, FEW_READINGS)


def wanders(seed: int) -> np.ndarray:
    return np.cumsum(trembles(seed))


def share_holding_no_slope(found: list[Slope]) -> float:
    return float(np.mean([one.low <= 0.0 <= one.high for one in found]))


def few(values: np.ndarray) -> Slope:
    return slope_interval(np.arange(values.size) * FEW_STEP_S, values)


@pytest.mark.parametrize("memory_min", [2.0, 10.0, 30.0])
def test_the_interval_holds_no_slope_as_often_as_it_says(memory_min: float) -> None:
    found = [interval(0.3 * wander(60.0 * memory_min, seed)) for seed in range(200)]
    assert share_holding_no_slope(found) >= 0.92


@pytest.mark.parametrize("memory_min", [0.0, 5.0, 20.0, 60.0])
def test_readings_every_three_minutes_are_covered_alike_whatever_they_remember(
    memory_min: float,
) -> None:
    keep = np.exp(-FEW_STEP_S / (60.0 * memory_min)) if memory_min else 0.0
    shocks = np.random.default_rng(8).normal(size=(600, 8 * FEW_READINGS))
    noise = signal.lfilter([1.0], [1.0, -keep], shocks, axis=1)[:, -FEW_READINGS:]
    assert 0.92 <= share_holding_no_slope([few(values) for values in noise]) <= 0.988


def test_a_level_that_never_returns_is_still_held_four_times_in_five() -> None:
    # such a trace cannot be told from one that remembers for an hour; 95 % are stated
    assert share_holding_no_slope([few(wanders(seed)) for seed in range(300)]) >= 0.8


def test_independent_readings_get_little_more_than_the_textbooks_interval() -> None:
    times = np.arange(FEW_READINGS) * FEW_STEP_S
    ratios = []
    for seed in range(60):
        found, line = few(trembles(seed)), stats.linregress(times, trembles(seed))
        textbook = stats.t.ppf(0.975, FEW_READINGS - 2) * line.stderr
        ratios.append(0.5 * (found.high - found.low) / textbook)
    assert 0.95 < np.median(ratios) < 1.3


def test_independent_readings_are_each_worth_one() -> None:
    assert np.median([few(trembles(seed)).effective_samples for seed in range(30)]) > 35.0


def test_readings_that_are_all_alike_are_worth_one() -> None:
    assert few(np.full(FEW_READINGS, 82.3)).effective_samples == 1.0


def test_following_readings_are_worth_what_the_variance_of_their_mean_says() -> None:
    # von Storch and Zwiers 1999: n over the sum of the correlations, here from its matrix
    keep = np.exp(-FEW_STEP_S / 600.0)
    apart = np.abs(np.subtract.outer(np.arange(FEW_READINGS), np.arange(FEW_READINGS)))
    exact = FEW_READINGS**2 / np.sum(keep**apart)
    shocks = np.random.default_rng(2).normal(size=(200, 8 * FEW_READINGS))
    noise = signal.lfilter([1.0], [1.0, -keep], shocks, axis=1)[:, -FEW_READINGS:]
    found = np.median([few(values).effective_samples for values in noise])
    assert found == pytest.approx(exact, rel=0.3)


@pytest.mark.parametrize("seed", range(5))
def test_a_bend_leaves_more_doubt_about_the_slope_than_a_tremble(seed: int) -> None:
    tremble = 0.02 * np.random.default_rng(seed).normal(size=READINGS)
    times = np.arange(READINGS) * STEP_S
    bend = 3.0 * np.exp(-times / 3000.0)
    straight, bent = interval(tremble), interval(bend + tremble)
    assert bent.high - bent.low > 2.5 * (straight.high - straight.low)
    assert bent.low < stats.linregress(times, bend).slope < bent.high


def test_a_slope_beyond_the_noise_is_found() -> None:
    times = np.arange(READINGS) * STEP_S
    found = interval(wander(600.0, 3) * 0.1 + times / HOUR_S)
    assert found.low * HOUR_S > 0.5
    assert found.low * HOUR_S < 1.0 < found.high * HOUR_S
