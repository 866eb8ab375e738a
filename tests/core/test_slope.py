"""The slope's interval, on noise of known memory and no slope."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from outfeed.steering.noise import bin_trace
from outfeed.steering.slope import Slope, slope_interval

STEP_S, READINGS = 30.0, 240
HOUR_S = 3600.0


def wander(memory_s: float, seed: int) -> np.ndarray:
    """Noise that forgets itself exponentially, by SciPy's filter, after a long run-in."""
    keep = np.exp(-STEP_S / memory_s)
    shocks = np.random.default_rng(seed).normal(size=8 * READINGS)
    return signal.lfilter([np.sqrt(1.0 - keep**2)], [1.0, -keep], shocks)[-READINGS:]


def interval(values: np.ndarray) -> Slope:
    window = bin_trace(np.arange(values.size) * STEP_S, values, 40)
    return slope_interval(window.times, window.values)


@pytest.mark.parametrize("memory_min", [2.0, 10.0, 30.0])
def test_the_interval_holds_no_slope_as_often_as_it_says(memory_min: float) -> None:
    found = [interval(0.3 * wander(60.0 * memory_min, seed)) for seed in range(200)]
    assert 0.90 <= np.mean([one.low <= 0.0 <= one.high for one in found]) <= 0.995


@pytest.mark.parametrize("seed", range(5))
def test_a_bend_leaves_more_doubt_about_the_slope_than_a_tremble(seed: int) -> None:
    tremble = 0.02 * np.random.default_rng(seed).normal(size=READINGS)
    bend = 3.0 * np.exp(-np.arange(READINGS) * STEP_S / 3000.0)
    straight, bent = (
        0.5 * HOUR_S * (one.high - one.low) for one in (interval(tremble), interval(bend + tremble))
    )
    assert bent > 4.0 * straight


def test_a_slope_beyond_the_noise_is_found() -> None:
    times = np.arange(READINGS) * STEP_S
    found = interval(wander(600.0, 3) * 0.1 + times / HOUR_S)
    assert found.low * HOUR_S > 0.5
    assert found.low * HOUR_S < 1.0 < found.high * HOUR_S
