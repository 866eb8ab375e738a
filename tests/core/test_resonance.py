"""Damping from the spectrum, against oscillators that SciPy drives with noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from outfeed.steering.noise import BinnedTrace, bin_trace
from outfeed.steering.resonance import Resonance, find_resonance

SPAN, STEPS = 14_400.0, 720


def rung(decay: float, period: float, seed: int) -> BinnedTrace:
    """Temperature of an oscillator under white noise, by SciPy's discrete state space."""
    rate, omega = decay / period, 2.0 * math.pi / period
    step = SPAN / STEPS
    plant = signal.cont2discrete(
        ([1.0], [1.0, 2.0 * rate, rate**2 + omega**2]), step, method="bilinear"
    )
    noise = np.random.default_rng(seed).normal(size=3 * STEPS)
    found = signal.lfilter(plant[0].ravel(), plant[1], noise)[-STEPS:]
    return bin_trace(np.arange(STEPS) * step, found / np.std(found))


def seen(trace: BinnedTrace) -> Resonance:
    found = find_resonance(trace)
    assert found is not None
    return found


@pytest.mark.parametrize("decay", [0.3, 1.0, 2.5])
def test_an_oscillator_under_noise_is_found_within_its_stated_doubt(decay: float) -> None:
    found = [seen(rung(decay, 2_000.0, seed)) for seed in range(40)]
    inside = [abs(one.decay - decay) < 2.0 * one.decay_sd for one in found]
    assert np.mean(inside) > 0.8
    assert math.exp(float(np.median([one.period for one in found]))) * SPAN == pytest.approx(
        2_000.0, rel=0.15
    )


def test_a_swing_that_lasts_and_one_that_dies_are_told_apart() -> None:
    times = np.arange(STEPS) * SPAN / STEPS
    wave = np.sin(2.0 * math.pi * times / 2_400.0)
    noise = np.random.default_rng(1).normal(0.0, 0.05, STEPS)
    lasts = seen(bin_trace(times, wave + noise))
    assert lasts.lasting > 0.9
    assert lasts.strength == pytest.approx(
        seen(bin_trace(times, 3.0 * (wave + noise))).strength / 3.0
    )
    assert np.mean([seen(rung(3.0, 2_400.0, seed)).dying for seed in range(20)]) > 0.5


def test_scale_offset_slope_and_mirror_change_nothing() -> None:
    trace = rung(0.8, 2_400.0, 5)
    first = seen(trace)
    slope = np.linspace(0.0, 7.0, trace.values.size)
    other = seen(
        BinnedTrace(trace.times + 1e5, 80.0 - 4.0 * trace.values, trace.counts, trace.width)
    )
    sloped = seen(BinnedTrace(trace.times, trace.values + slope, trace.counts, trace.width))
    for name in ("period", "decay", "decay_sd", "lasting", "white"):
        assert getattr(other, name) == pytest.approx(getattr(first, name), abs=1e-6)
        assert getattr(sloped, name) == pytest.approx(getattr(first, name), abs=0.02)


def test_a_straight_line_and_a_handful_of_readings_have_no_spectrum() -> None:
    times = np.arange(60.0) * 60.0
    assert find_resonance(bin_trace(times, 80.0 + 1e-3 * times)) is None
    assert find_resonance(bin_trace(times, np.full(60, 80.0))) is None
    assert find_resonance(bin_trace(times[:6], np.sin(times[:6]))) is None
