"""A swing that feed, burner or fan keep up is told from one of the loop's own, where it can be."""

from __future__ import annotations

import cmath
from dataclasses import replace

import numpy as np
import pytest

from outfeed.steering.gain import GainStep, advise_gain
from outfeed.steering.outside import from_outside, part_made
from outfeed.steering.trend import OutputTrace, Trend, judge_trend
from outfeed.steering.tuning import Plant

TIMES = np.arange(0.0, 8 * 3600.0, 240.0)
PERIOD, SETPOINT = 3600.0, 82.0
PLANT = Plant(-0.5, 900.0, 1800.0)
NOISE = np.random.default_rng(6).normal(0.0, 0.1, TIMES.size)
CUT = GainStep(-1.0, 0.42, 2.0)


def swung(part: complex = 1.0, log_decay: float = 0.0, **limits: float) -> Trend:
    """A swing of which the output makes a part, by the algebra of a lag and a dead time."""
    speed = complex(log_decay, 2.0 * np.pi) / PERIOD
    wave = np.exp(speed * (TIMES - 0.8 * TIMES[-1]))
    plant = PLANT.gain * cmath.exp(-speed * PLANT.dead_time) / (1.0 + speed * PLANT.lag)
    output = OutputTrace(TIMES, 50.0 + (2.0 * part / plant * wave).real, **limits)
    return judge_trend(TIMES, SETPOINT + 2.0 * wave.real + NOISE, SETPOINT, output=output)


def advised(trend: Trend, *history: GainStep, plant: Plant | None = None) -> tuple[str, str]:
    advice = advise_gain([trend], transit=5400.0, history=history, plant=plant)
    assert (advice.multiplier < 1.0) is (advice.reason == "too-lively")
    return advice.reason, advice.remarks[0].code if advice.remarks else ""


@pytest.mark.parametrize("log_decay", [0.0, -0.3])
@pytest.mark.parametrize("part", [1.0, 0.42, 0.3 + 0.4j])
def test_the_part_of_a_swing_that_the_output_makes_is_found_through_the_plant(part, log_decay):
    trend = swung(part, log_decay)
    assert trend.decay_ratio == pytest.approx(np.exp(log_decay), abs=0.05)
    assert part_made(trend, PLANT) == pytest.approx(part.real, abs=0.05)


def test_a_swing_the_output_makes_alone_is_cut_and_one_it_makes_in_part_is_not():
    assert advised(swung(1.0), plant=PLANT) == ("too-lively", "own-part")
    assert advised(swung(0.42), plant=PLANT) == ("not-the-loop", "small-part")
    assert advised(swung(0.42)) == ("too-lively", "")


@pytest.mark.parametrize("gain", [0.5, -0.005, -50.0])
def test_a_plant_of_the_wrong_sign_or_scale_tells_nothing_of_a_swing(gain):
    wrong = replace(PLANT, gain=gain)
    assert part_made(swung(1.0), wrong) is None
    assert advised(swung(1.0), plant=wrong) == ("too-lively", "")


def test_a_swing_that_dies_within_the_dead_time_tells_nothing_of_the_output():
    slow = Plant(-0.5, 86_400.0, 1800.0)
    assert part_made(replace(swung(1.0), decay_ratio=0.01, period=400.0), slow) is None


def test_the_plant_counts_in_the_unit_its_output_is_judged_in():
    scaled = replace(PLANT, gain=PLANT.gain * 0.1)
    advice = advise_gain([swung(0.42)], transit=5400.0, plant=scaled, output_unit=0.1)
    assert advice.remarks[0].numbers == pytest.approx((0.42,), abs=0.05)


def test_an_output_that_stands_still_makes_no_swing():
    still = OutputTrace(TIMES, np.full(TIMES.size, 42.0))
    values = SETPOINT + 2.0 * np.sin(2.0 * np.pi * TIMES / PERIOD) + NOISE
    trend = judge_trend(TIMES, values, SETPOINT, output=still)
    assert advised(trend) == ("not-the-loop", "output-stood")


def test_after_one_cut_a_swing_is_from_outside_only_if_the_output_is_clear_of_its_limits():
    wide, narrow = {"low": 10.0, "high": 90.0}, {"low": 46.0, "high": 90.0}
    assert advised(swung(0.42, **wide), CUT) == ("not-the-loop", "outlived-cut")
    assert advised(swung(0.42, **narrow), CUT) == ("too-lively", "")
    assert advised(swung(0.42), CUT) == ("too-lively", "may-be-outside")
    assert advised(swung(0.42, **wide)) == ("too-lively", "")


def test_what_a_gentle_cut_left_or_has_shrunk_since_may_be_the_loops_own():
    clear = swung(0.42, low=10.0, high=90.0)
    assert advised(clear, replace(CUT, multiplier=0.85)) == ("too-lively", "")
    assert advised(clear, replace(CUT, amplitude=4.0)) == ("too-lively", "may-be-outside")


@pytest.mark.parametrize(
    "first, second, sign",
    [
        (2.8, None, "outlived-cuts"),
        (4.0, None, None),
        (4.0, 2.4, "outlived-cuts"),
        (4.0, 4.0, None),
    ],
)
def test_deep_cuts_may_calm_a_swing_from_outside_a_little(first, second, sign):
    # near the loop's own period a load swings it by 1 / (1 - g): 0.62 of it is left at g = 0.07
    history = [GainStep(-2.0, 0.42, first), GainStep(-1.0, 0.42, second)]
    assert from_outside(swung(0.1), history) == sign


def test_what_grows_is_cut_whatever_made_it():
    growing = swung(0.42, 0.5, low=-1e3, high=1e3)
    assert growing.verdict == "growing"
    assert advised(growing, CUT, plant=PLANT)[0] == "too-lively"
