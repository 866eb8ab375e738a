"""Properties and corners of the judgement of a trend."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.trend import judge_trend

TIMES = np.arange(1440) * 5.0
SETPOINT = 80.0
NOISE = np.random.default_rng(5).normal(0.0, 0.2, TIMES.size)


def _swing(amplitude: float, growth: float = 0.0) -> np.ndarray:
    return amplitude * np.exp(growth * TIMES) * np.sin(2.0 * np.pi * TIMES / 1500.0)


@pytest.mark.parametrize(
    "movement, verdict",
    [
        (0.0 * TIMES, "level"),
        (0.8 * TIMES / 3600.0, "drifting"),
        (_swing(3.0), "cycling"),
        (_swing(0.3, 1 / 2000.0), "growing"),
        (_swing(12.0), "cycling"),
    ],
)
def test_a_plain_movement_is_named(movement: np.ndarray, verdict: str) -> None:
    trend = judge_trend(TIMES, SETPOINT + movement + NOISE, SETPOINT)
    assert trend.verdict == verdict
