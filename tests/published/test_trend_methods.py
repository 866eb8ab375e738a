"""Published methods of judging a trace, against published examples and algebra."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from benchmarks import loops
from outfeed.steering.gain import Plant, internal_model_gain, share_of_ultimate_gain
from outfeed.steering.published import (
    autocorrelation_regularity,
    idle_index,
    integrated_error,
    large_areas,
    mann_kendall,
    steady_state_ratio,
)
from outfeed.steering.slope import student_quantile, theil_sen

# Data of Graybill (1961), used as the example of Sen (1968), section 6.
SEN_X = np.array([1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0])
SEN_Y = np.array([9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0])


def _noise(n: int, start: int = 3) -> np.ndarray:
    return np.random.default_rng(start).normal(0.0, 1.0, n)


def test_the_slope_of_sens_own_example_is_four() -> None:
    assert theil_sen(SEN_X, SEN_Y) == pytest.approx(4.0, abs=1e-12)


@pytest.mark.parametrize("start", range(5))
def test_the_robust_slope_equals_that_of_a_general_statistics_library(start: int) -> None:
    times = np.sort(np.random.default_rng(start).uniform(0.0, 100.0, 40))
    values = 0.3 * times + _noise(40, start)
    assert theil_sen(times, values) == pytest.approx(stats.theilslopes(values, times)[0], rel=1e-12)


@pytest.mark.parametrize("start", range(4))
def test_the_trend_score_is_kendalls_tau_of_a_general_statistics_library(start: int) -> None:
    values = _noise(30, start) + 0.05 * np.arange(30)
    tau = stats.kendalltau(np.arange(30), values).statistic
    score = mann_kendall(values, autocorrelated=False).score
    assert score / (30 * 29 / 2) == pytest.approx(tau, rel=1e-12)


def test_the_variance_of_the_score_with_ties_follows_kendalls_formula() -> None:
    # n = 8 with one pair and one triple: [8*7*21 - 2*1*9 - 3*2*11] / 18 (Kendall 1975).
    values = np.array([1.0, 2.0, 2.0, 3.0, 4.0, 4.0, 4.0, 5.0])
    expected = (8 * 7 * 21 - 2 * 1 * 9 - 3 * 2 * 11) / 18
    assert mann_kendall(values, autocorrelated=False).variance == pytest.approx(expected)


def test_autocorrelation_widens_the_variance_of_the_score() -> None:
    follows = np.zeros((12, 300))
    for k in range(1, 300):
        follows[:, k] = 0.8 * follows[:, k - 1] + _noise(12, k)
    # Long-run inflation of a first-order autoregression is (1 + rho)/(1 - rho) = 9; a sample of
    # 300 sees somewhat less of it.
    seen = [mann_kendall(row).correction for row in follows]
    assert 4.0 < float(np.mean(seen)) < 12.0
    flat = [mann_kendall(_noise(300, start)).correction for start in range(6)]
    assert 0.7 < float(np.mean(flat)) < 1.3


@pytest.mark.parametrize("freedom, printed", [(2, 4.303), (9, 2.262)])
def test_student_quantiles_match_the_nist_handbook_table(freedom: int, printed: float) -> None:
    assert student_quantile(freedom) == pytest.approx(printed, abs=5e-4)


def test_a_half_sine_encloses_the_area_of_hagglunds_limit() -> None:
    # Hagglund (1995): area of half a sine of amplitude a is 2 a / omega.
    period, amplitude = 600.0, 1.5
    times = np.arange(0.0, 6.2 * period, 1.0)
    crossings = integrated_error(times, amplitude * np.sin(2 * np.pi * times / period + 0.3))
    assert crossings.areas == pytest.approx(amplitude * period / math.pi, rel=1e-4)
    assert crossings.period == pytest.approx(period, rel=1e-6)
    assert large_areas(crossings, period, 1.4) == crossings.areas.size
    assert large_areas(crossings, period, 1.6) == 0


def test_a_regular_swing_passes_the_regularity_of_one_and_noise_does_not() -> None:
    # Thornhill, Huang and Zhang (2003): regular when r > 1.
    steps = np.arange(400.0)
    regularity, period = autocorrelation_regularity(
        np.sin(2 * np.pi * steps / 40) + 0.3 * _noise(400)
    )
    assert regularity > 1.0
    assert period == pytest.approx(40.0, rel=0.03)
    assert autocorrelation_regularity(_noise(400))[0] < 1.0


def test_the_idle_index_is_one_when_output_and_temperature_creep_together() -> None:
    # Hagglund (1999): near +1 for sluggish, near -1 for lively control.
    times = np.arange(0.0, 100.0)
    assert idle_index(times, 1.0 - np.exp(-times / 30), 80.0 - np.exp(-times / 30)) == 1.0
    assert idle_index(times, np.sin(times / 9), -np.sin(times / 9)) == -1.0


def test_the_variance_ratio_of_independent_noise_is_one_and_of_a_ramp_is_large() -> None:
    # Cao and Rhinehart (1995): expectation one at steady state, about 2 is the critical value.
    steady = steady_state_ratio(_noise(20_000))[100:]
    assert float(np.mean(steady)) == pytest.approx(1.0, abs=0.1)
    ramp = steady_state_ratio(_noise(400) + 0.5 * np.arange(400))[100:]
    assert float(np.mean(ramp)) > 2.0


def test_the_published_worked_plant_gets_its_published_gain() -> None:
    # Skogestad (2003) rule, K = 1, tau = 34, theta = 20: Kc = 0.85.
    tuning = internal_model_gain(Plant(1.0, 20.0, 34.0))
    assert tuning.proportional == pytest.approx(0.85, abs=1e-9)
    assert tuning.integral_time == pytest.approx(34.0)


def test_the_rule_leaves_a_gain_margin_of_pi() -> None:
    # With Ti = tau the loop is exp(-theta s)/(2 theta s): margin pi (algebra).
    theta, tau = 20.0, 34.0
    tuning = internal_model_gain(Plant(1.0, theta, tau))
    ultimate = loops.ultimate_gain(
        np.array([theta]), np.array([tau]), np.zeros(1), np.ones(1), np.array([1.0 / tau])
    )[0]
    assert ultimate / tuning.proportional == pytest.approx(math.pi, rel=2e-3)


def test_the_ultimate_gain_of_a_pi_loop_is_that_of_algebra() -> None:
    # Ti = tau: pi/2 tau/(K theta); K = 1, tau = 60, theta = 15 gives 6.2832.
    ultimate = loops.ultimate_gain(
        np.array([15.0]), np.array([60.0]), np.zeros(1), np.ones(1), np.array([1.0 / 60.0])
    )
    assert ultimate[0] == pytest.approx(6.2832, rel=2e-3)


@pytest.mark.parametrize("only", [False, True])
def test_the_decay_rule_agrees_with_exact_closed_loop_poles(only: bool) -> None:
    share = np.linspace(0.6, 1.5, 40)
    drawn = loops.draw_loops(np.random.default_rng(1), 40, share, np.full(40, only))
    growth, omega, _ = loops.dominant_poles(drawn)
    kind = "integral-only" if only else "pi"
    told = [
        share_of_ultimate_gain(float(np.exp(2 * np.pi * a / b)), kind)
        for a, b in zip(growth, omega, strict=True)
    ]
    assert np.max(np.abs(np.array(told) / share - 1.0)) < 0.2


def test_at_the_ultimate_gain_the_dominant_poles_lie_on_the_axis() -> None:
    drawn = loops.draw_loops(np.random.default_rng(2), 30, np.ones(30))
    growth, omega, _ = loops.dominant_poles(drawn)
    assert np.max(np.abs(growth / omega)) < 3e-3
