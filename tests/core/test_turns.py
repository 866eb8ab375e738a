"""Heights between turning points."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.turns import NO_TURNS, turns

PLACE = np.arange(160.0)


@pytest.mark.parametrize("ratio", [0.4, 0.7, 1.0, 1.5])
def test_heights_of_a_decaying_swing_fall_in_its_ratio(ratio: float) -> None:
    turned = PLACE / 32.0
    found = turns(3.0 * ratio**turned * np.sin(2.0 * np.pi * turned), 0.0)
    assert found.log_decay == pytest.approx(np.log(ratio), abs=0.06)
    assert abs(found.log_decay - np.log(ratio)) < 2.0 * found.log_decay_se
    assert found.unevenness < 0.1


def test_a_square_wave_keeps_its_height() -> None:
    found = turns(2.0 * np.sign(np.sin(2.0 * np.pi * PLACE / 32.0)), 0.0)
    assert found.count >= 7
    assert found.log_decay == pytest.approx(0.0, abs=0.01)
    assert found.last == pytest.approx(2.0)


def test_flickers_on_a_ramp_are_no_turns() -> None:
    noise = np.random.default_rng(2).normal(0.0, 0.05, PLACE.size)
    assert turns(0.05 * PLACE + noise, 0.1) == NO_TURNS


def test_a_push_is_the_largest_height_and_the_last() -> None:
    small = 0.3 * np.sin(2.0 * np.pi * PLACE / 20.0)
    since = np.maximum(PLACE - 110.0, 0.0) / 12.0
    found = turns(small + 6.0 * since * np.exp(1.0 - since), 0.0)
    assert found.place > 0.7
    assert found.largest > 5.0 * 0.3
