"""How sure the setpoint is that belongs to another inlet moisture."""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.steering.belief import new_belief
from outfeed.steering.chance import setpoint_per_inlet
from outfeed.steering.feedforward import KnownChange, plan_changes


@pytest.mark.parametrize("inlet_effect", [-0.3, -0.05, 0.2])
def test_doubt_and_chance_of_wetter_grain_are_those_of_beliefs_drawn_by_their_covariance(
    inlet_effect,
):
    belief = new_belief(
        37.0, 0.155, at_s=0.0, inlet_wb=0.22, sensitivity_sd=0.0012, inlet_effect=inlet_effect
    )
    _, _, _, slope, shared, effect = belief.covariance
    rng = np.random.default_rng(5)
    slopes, effects = rng.multivariate_normal(
        (belief.sensitivity, belief.inlet_effect), ((slope, shared), (shared, effect)), 100_000
    ).T
    drawn = -effects / slopes
    asked = setpoint_per_inlet(belief)
    low, high = np.quantile(drawn, (0.159, 0.841))
    assert asked.sd == pytest.approx((high - low) / 2, rel=0.03)
    assert asked.chance == pytest.approx(np.mean(np.sign(drawn) == np.sign(asked.size)), abs=0.01)


def test_a_planned_move_for_wetter_grain_is_as_sure_as_the_belief_and_one_for_weather_is_not_told():
    changes = [
        KnownChange("inlet-moisture", 0.0, 0.03),
        KnownChange("ambient-temperature", 600.0, -8.0),
    ]

    def effects(inlet_effect_sd: float) -> list:
        belief = new_belief(37.0, 0.155, at_s=0.0, inlet_wb=0.22, sensitivity_sd=0.0005,
                            inlet_effect_sd=inlet_effect_sd)  # fmt: skip
        plan = plan_changes(
            changes, 37.0, transit_s=7200.0, lag_s=3600.0, resolution=0.5, belief=belief
        )
        return list(plan.effects)

    (vague, weather), (sure, _) = effects(0.3), effects(0.05)
    assert vague.setpoint_change == sure.setpoint_change
    assert vague.setpoint_sd > 3 * sure.setpoint_sd
    assert 0.5 < vague.chance < 0.9 < sure.chance < 1.0
    assert weather.chance is None
    assert weather.setpoint_sd == pytest.approx(0.5 * abs(weather.setpoint_change))
