"""Fan and bed in the air of a day."""

import numpy as np
import pytest

from outfeed.airflow import Bed, airflow_at, pressure_drop
from outfeed.fan import FanTable, operating_point
from outfeed.fan_air import (
    air_density,
    air_state,
    airflow_at_in,
    operating_points,
    pressure_drop_in,
)
from outfeed.grains import load_grain

BED = Bed(load_grain("corn-yellow-dent"), depth=5.0, packing=1.5)
FAN = FanTable((0.0, 500.0, 1000.0, 1500.0), (9.0, 7.5, 5.5, 2.0))
STANDARD = air_state(20.0)
DAY = air_state(np.array([-20.0, 5.0, 20.0, 38.0]))


def test_standard_air_changes_nothing():
    assert float(STANDARD.density) == pytest.approx(1.0)
    assert float(STANDARD.viscosity) == pytest.approx(1.0)
    assert float(pressure_drop_in(BED, 0.1, STANDARD)) == pytest.approx(
        float(pressure_drop(BED, 0.1))
    )
    found = operating_points(BED, 60.0, FAN, 1, STANDARD)
    alone = operating_point(BED, 60.0, FAN, 1)
    assert bool(found.meets)
    assert float(found.airflow) == pytest.approx(alone.airflow, rel=1e-6)


def test_air_gets_heavier_in_the_cold_and_more_viscous_in_the_heat():
    assert np.all(np.diff(DAY.density) < 0.0)
    assert np.all(np.diff(DAY.viscosity) > 0.0)


def test_density_is_that_of_an_ideal_gas():
    # ASHRAE Handbook Fundamentals 2017, chapter 1: dry air at 20 degC and 101.325 kPa, 1.204 kg/m3
    assert float(air_density(20.0)) == pytest.approx(1.204, abs=5e-4)


@pytest.mark.parametrize(
    ("temperature", "expected"), [(-50.0, 1.4592e-5), (0.0, 1.7161e-5), (40.0, 1.9057e-5)]
)
def test_viscosity_follows_sutherland_as_the_standard_atmosphere_states_it(temperature, expected):
    # US Standard Atmosphere 1976: mu = 1.458e-6 T^1.5 / (T + 110.4), worked by hand
    kelvin, standard = temperature + 273.15, 293.15
    ratio = (kelvin / standard) ** 1.5 * (standard + 110.4) / (kelvin + 110.4)
    at_standard = 1.458e-6 * standard**1.5 / (standard + 110.4)
    assert ratio * at_standard == pytest.approx(expected, rel=2e-3)
    if temperature >= -40.0:
        assert float(air_state(temperature).viscosity) == pytest.approx(ratio)


def test_a_bed_stands_between_friction_alone_and_turns_alone():
    for flow in (0.01, 0.1, 0.3):
        factor = np.asarray(pressure_drop_in(BED, np.full(4, flow), DAY)) / float(
            pressure_drop(BED, flow)
        )
        low, high = np.minimum(DAY.density, DAY.viscosity), np.maximum(DAY.density, DAY.viscosity)
        assert np.all((factor >= low - 1e-12) & (factor <= high + 1e-12))


def test_slow_air_feels_friction_and_fast_air_the_turns():
    cold = air_state(-20.0)
    slow, fast = (
        float(pressure_drop_in(BED, flow, cold)) / float(pressure_drop(BED, flow))
        for flow in (0.002, 0.4)
    )
    assert slow < 1.0 < fast


def test_each_hour_is_its_own_operating_point():
    found = operating_points(BED, 60.0, FAN, 2, DAY)
    for hour, warm in enumerate((-20.0, 5.0, 20.0, 38.0)):
        alone = operating_points(BED, 60.0, FAN, 2, air_state(warm))
        assert found.airflow[hour] == pytest.approx(float(alone.airflow), rel=1e-7)
    drop = pressure_drop_in(BED, found.airflow / 60.0, DAY)
    assert found.meets.all()
    assert found.pressure == pytest.approx(drop, rel=1e-6)
    assert np.all(np.diff(found.pressure) < 0.0)


def test_a_pressure_and_its_airflow_go_back_and_forth():
    flow, known = airflow_at_in(BED, 800.0, DAY)
    assert known.all()
    assert pressure_drop_in(BED, flow, DAY) == pytest.approx(np.full(4, 800.0), rel=1e-6)
    assert float(airflow_at_in(BED, 800.0, STANDARD)[0]) == pytest.approx(
        float(airflow_at(BED, 800.0)), rel=1e-6
    )


def test_a_bed_too_tight_is_so_in_every_air():
    deep = Bed(load_grain("corn-yellow-dent"), depth=40.0, packing=1.5)
    found = operating_points(deep, 20.0, FAN, 1, DAY)
    assert found.too_tight.all()
    assert not found.meets.any()
