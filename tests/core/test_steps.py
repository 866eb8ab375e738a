"""A step of the discharge moisture: believed when three readings in a row show it, not before."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.belief import READING_SD, Belief, learn, new_belief

LEVEL, STEPPED = 0.155, 0.175
TEMPERATURE = 37.0


def read(belief: Belief, moistures: list[float], gap_s: float = 2400.0) -> Belief:
    """The belief after readings so far apart, each learned by itself as over separate requests."""
    for moisture in moistures:
        belief = learn(belief, [belief.at_s + gap_s], [TEMPERATURE], [moisture]).belief
    return belief


def believed(belief: Belief) -> float:
    return belief.predict(TEMPERATURE)[0]


@pytest.mark.parametrize("before", [1, 2, 5, 20])
def test_a_step_that_three_readings_in_a_row_confirm_is_believed_nearly_whole(before):
    belief = read(new_belief(TEMPERATURE, LEVEL, at_s=0.0), [LEVEL] * before)
    after = read(belief, [STEPPED] * 3)
    assert believed(after) > LEVEL + 0.9 * (STEPPED - LEVEL)
    assert after.sensitivity == pytest.approx(belief.sensitivity, rel=0.02)


def test_a_step_is_believed_at_the_mean_of_its_readings_and_not_at_the_last():
    belief = read(new_belief(TEMPERATURE, LEVEL, at_s=0.0), [LEVEL] * 8)
    after = read(belief, [0.168, 0.167, 0.178])
    assert believed(after) == pytest.approx(np.mean([0.168, 0.167, 0.178]), abs=0.001)


@pytest.mark.parametrize(
    "odd",
    [
        [STEPPED],  # one bad sample
        [0.168, LEVEL, 0.168, LEVEL, 0.168, LEVEL],  # not in a row
        [0.168, 0.142, 0.168],  # not on one side
        [0.157, 0.158, 0.157],  # in a row, and no further off than readings are
    ],
)
def test_what_is_no_step_is_followed_slowly(odd):
    belief = read(new_belief(TEMPERATURE, LEVEL, at_s=0.0), [LEVEL] * 20)
    after = read(belief, odd)
    assert abs(believed(after) - LEVEL) < 0.6 * max(abs(m - LEVEL) for m in odd)


def test_three_samples_of_one_moment_are_one_witness_of_a_step():
    belief = read(new_belief(TEMPERATURE, LEVEL, at_s=0.0), [LEVEL] * 20)
    samples = [0.169, 0.170, 0.169]  # none so far off that it is doubted
    assert read(belief, samples).run is None
    once = read(read(belief, samples[:1]), samples[1:], gap_s=0.001)
    assert once.run is not None
    assert once.run.readings == 1
    assert believed(once) < LEVEL + 0.6 * (0.170 - LEVEL)


def test_a_far_sample_taken_or_sent_twice_is_not_obeyed_before_another_moment_agrees():
    belief = read(new_belief(TEMPERATURE, LEVEL, at_s=0.0), [LEVEL] * 5)
    twice = read(read(belief, [0.185]), [0.185, 0.184], gap_s=0.001)
    assert believed(twice) == pytest.approx(believed(belief))
    assert twice.last_doubt == pytest.approx(0.184 - LEVEL, abs=1e-3)
    assert believed(read(twice, [0.185])) == pytest.approx(0.185, abs=0.002)


def test_readings_that_scatter_about_one_level_seldom_make_a_step():
    rng = np.random.default_rng(5)
    belief = read(new_belief(TEMPERATURE, LEVEL, at_s=0.0), [LEVEL] * 10)
    jumps = 0
    for moisture in LEVEL + rng.normal(0.0, READING_SD, 2000):
        before = belief.predict(TEMPERATURE)
        belief = read(belief, [float(moisture)])
        jumps += abs(believed(belief) - before[0]) > 2.0 * before[1]
    assert jumps <= 4
