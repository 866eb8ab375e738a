"""The column against SciPy's boundary-value and initial-value solvers, over the whole domain."""

import pytest

import column_reference
from column_dryers import NOMINAL_RATE, deep, scenario, screen, tower
from outfeed.dryer.column import solve_column
from outfeed.dryer.mixed_flow import layer_counts
from outfeed.dryer.task import task

POINTS = 0.02
KELVINS = 0.2


def compare(dryer, case, reference):
    rate = NOMINAL_RATE[dryer.kind] * case.pace
    given = (dryer, case.conditions, case.feed, rate)
    profile = solve_column(*given, model=case.model)
    theta, M = reference(task(*given, case.model))
    moisture = 100.0 * M / (1.0 + M)
    assert 100.0 * profile.outlet_moisture_wb == pytest.approx(moisture, abs=POINTS)
    assert profile.outlet_temperature == pytest.approx(theta, abs=KELVINS)
    assert profile.water_residual < 1e-6
    assert profile.heat_residual < 1e-6


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20))
def test_mixed_flow_agrees_with_the_reference(seed):
    case = scenario(seed)
    dryer = tower(case.plenums, layers=6, cooling=4)
    counts = layer_counts(dryer.heights, dryer.half_pitch)
    compare(dryer, case, lambda work: column_reference.mixed_flow(work, counts))


@pytest.mark.slow
def test_the_whole_tower_of_the_orientation_point_agrees_with_the_reference():
    case = scenario(100)
    dryer = tower((*case.plenums, min(case.plenums)))
    counts = layer_counts(dryer.heights, dryer.half_pitch)
    compare(dryer, case, lambda work: column_reference.mixed_flow(work, counts))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(200, 216))
def test_counter_flow_agrees_with_the_reference(seed):
    case = scenario(seed)
    dryer = deep("counter-flow", case.plenums)
    compare(dryer, case, lambda work: column_reference.beds(work, (True, True, True)))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(300, 316))
def test_concurrent_flow_agrees_with_the_reference(seed):
    case = scenario(seed)
    dryer = deep("concurrent-flow", case.plenums)
    compare(dryer, case, lambda work: column_reference.beds(work, (False, False, True)))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(400, 412))
def test_cross_flow_agrees_with_the_reference(seed):
    case = scenario(seed)
    turning = ("none", "mixed", "inverted")[seed % 3]
    dryer = screen(case.plenums, turning, air_reversed=seed % 2 == 1)
    compare(dryer, case, column_reference.cross_flow)
