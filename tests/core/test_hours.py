"""A dryer through the hours of a forecast: the same column and the same balance, hour by hour."""

import numpy as np
import pytest

from outfeed import Inconsistent
from outfeed.dryer.balance_hours import balance_through
from outfeed.dryer.column import solve_outlet
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone
from outfeed.dryer.hours import held_through, needed_through
from outfeed.dryer.inverse import rate_for_moisture
from outfeed.dryer.opening import opening_rate

DRYER = Dryer(
    "mixed-flow",
    (
        Zone("upper", "heated", volume=20.0, plenum_temperature=95.0, airflow_per_volume=0.8,
             burner="direct-fired", fuel="propane", sensors=(0.5,)),
        Zone("lower", "heated", volume=20.0, plenum_temperature=75.0, airflow_per_volume=0.8,
             burner="direct-fired", fuel="propane"),
        Zone("cooling", "cooling", volume=10.0, airflow_per_volume=0.8),
    ),
)  # fmt: skip
FEED = Feed(0.22, 8.0)
AIR = Conditions(np.array([20.0, 8.0, -6.0]), np.array([0.4, 0.7, 0.9]))
TARGET = 0.155


def _one(hour: int) -> Conditions:
    temperature, humidity = AIR.ambient_temperature, AIR.ambient_relative_humidity
    return Conditions(float(temperature[hour]), float(humidity[hour]))  # type: ignore[index]


@pytest.mark.parametrize("hour", range(3))
def test_every_hour_is_the_column_of_its_own_air(hour):
    held = held_through(DRYER, AIR, FEED, 6.0)
    alone = solve_outlet(DRYER, _one(hour), FEED, 6.0)
    assert held.settled[hour]
    assert held.outlet_moisture_wb[hour] == pytest.approx(alone, abs=2e-4)


@pytest.mark.parametrize("hour", range(3))
def test_grain_that_cools_with_the_air_leaves_as_its_own_hour_would_have_it(hour):
    warm = np.asarray(AIR.ambient_temperature)
    held = held_through(DRYER, AIR, Feed(0.22, warm), 6.0)
    alone = solve_outlet(DRYER, _one(hour), Feed(0.22, float(warm[hour])), 6.0)
    assert held.outlet_moisture_wb[hour] == pytest.approx(alone, abs=2e-4)


@pytest.mark.parametrize("hour", range(3))
def test_the_rate_of_an_hour_is_the_rate_its_own_air_asks_for(hour):
    held = held_through(DRYER, AIR, FEED, 6.0)
    needed = needed_through(DRYER, AIR, FEED, TARGET, held)
    alone = rate_for_moisture(DRYER, _one(hour), FEED, TARGET).dry_matter_rate
    assert needed.settled[hour]
    assert needed.dry_matter_rate[hour] == pytest.approx(alone, rel=3e-3)


def test_searching_the_rates_leaves_the_held_hours_alone():
    held = held_through(DRYER, AIR, FEED, 6.0)
    before = held.outlet_moisture_wb.copy(), held.dry_matter_rate.copy()
    needed_through(DRYER, AIR, FEED, TARGET, held)
    assert np.array_equal(held.outlet_moisture_wb, before[0])
    assert np.array_equal(held.dry_matter_rate, before[1])


def test_burners_take_more_heat_in_colder_air_whatever_the_rate():
    held = held_through(DRYER, AIR, FEED, 6.0)
    heat = held.zone_heat.sum(axis=0)
    assert heat[0] < heat[1] < heat[2]
    needed = needed_through(DRYER, AIR, FEED, TARGET, held)
    assert needed.zone_heat.sum(axis=0) == pytest.approx(heat)


def test_air_warmer_than_a_plenum_is_an_hour_without_an_answer():
    cool = DRYER.with_plenums((40.0, 30.0, None))
    held = held_through(cool, Conditions(np.array([10.0, 35.0]), 0.5), FEED, 3.0)
    assert held.settled.tolist() == [True, False]


def test_a_target_no_rate_meets_is_said_hour_by_hour():
    cool = DRYER.with_plenums((45.0, 40.0, None))
    damp = Conditions(np.array([5.0, 38.0]), np.array([0.5, 1.0]))
    held = held_through(cool, damp, FEED, 3.0)
    assert needed_through(cool, damp, FEED, 0.13, held).settled.tolist() == [True, False]


def test_no_hour_is_refused():
    with pytest.raises(Inconsistent):
        held_through(DRYER, Conditions(np.array([]), np.array([])), FEED, 6.0)


@pytest.mark.parametrize("hour", range(3))
def test_the_balance_of_an_hour_is_the_opening_rate_in_its_air(hour):
    found = balance_through(DRYER, AIR, FEED, TARGET, 6.0)
    alone = opening_rate(DRYER, _one(hour), FEED, TARGET)[1]
    assert alone is not None
    assert found.dry_matter_rate[hour] == pytest.approx(alone.dry_matter_rate.value, rel=1e-9)
    assert found.fuel_heat[hour] == pytest.approx(alone.fuel_heat.value, rel=1e-9)


@pytest.mark.parametrize("hour", range(3))
def test_the_held_moisture_is_the_target_that_gives_the_held_rate(hour):
    found = balance_through(DRYER, AIR, FEED, TARGET, 6.0)
    moisture = float(found.held_moisture_wb[hour])
    back = opening_rate(DRYER, _one(hour), FEED, moisture)[1]
    assert back is not None
    assert found.held[hour]
    assert back.dry_matter_rate.value == pytest.approx(6.0, rel=2e-3)
