"""A forecast turned into few, small, well-timed moves."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outfeed.ability import KnownRate
from outfeed.errors import Inconsistent
from outfeed.grains import load_grain
from outfeed.outlook import RATE_STEP, SETPOINT_STEP, WORTH_STEPS, weather_outlook
from outfeed.weather import HOUR, Weather

CORN = load_grain("corn-yellow-dent")
RUN = KnownRate(6.0, 0.22, 0.155, 14.0, plenum=93.0, kind="mixed-flow")


def forecast(temperatures, humidity=0.7):
    values = np.asarray(temperatures, dtype=float)
    return Weather(0.0, values, np.full(values.size, humidity))


def outlook(weather, **changes):
    return weather_outlook(RUN, weather, CORN, inlet_wb=0.22, target_wb=0.155, **changes)


def cold_front(fall=18.0, at=20, over=4, hours=48):
    clock = np.arange(hours)
    return forecast(14.0 - fall * np.clip((clock - at) / over, 0.0, 1.0))


def test_steady_air_asks_for_nothing():
    result = outlook(forecast([14.0] * 48))
    assert result.moves == ()
    assert result.set_rate == pytest.approx(1.0)
    assert result.heat == pytest.approx(result.heat[0])


def test_night_and_day_alone_ask_for_nothing():
    clock = np.arange(72)
    result = outlook(forecast(12.0 - 6.0 * np.cos((clock - 5) * np.pi / 12)))
    assert result.moves == ()
    assert result.front is None


def test_a_cold_front_slows_the_dryer_lowers_the_setpoint_and_costs_fuel():
    result = outlook(cold_front(hours=72))
    assert 8 * HOUR < result.moves[0].at_s <= 24 * HOUR
    assert result.front.beyond_daily == pytest.approx(-18.0)
    assert all(move.rate_change <= 0.0 and move.setpoint_change <= 0.0 for move in result.moves)
    assert result.set_shift[-1] == pytest.approx(-0.12 * 18.0, abs=WORTH_STEPS * SETPOINT_STEP)
    assert result.heat[-1] > 1.1 * result.heat[0]
    assert (result.front.before, result.front.after) == (14.0, -4.0)


@pytest.mark.parametrize("fall", [0.0, 5.9, -5.9])
def test_air_that_changes_less_than_a_front_has_none(fall):
    assert outlook(cold_front(fall=fall)).front is None


@pytest.mark.parametrize("over, begins", [(1, 20), (4, 20), (15, 20)])
def test_a_front_begins_when_the_air_begins_to_change(over, begins):
    """However long it takes: six hours of an even fall are as sharp as the next, to rounding."""
    front = outlook(cold_front(fall=32.1 / 1.8, at=20, over=over, hours=72)).front
    assert front.start_s == begins * HOUR
    assert front.before == 14.0


@pytest.mark.parametrize("swing", [0.0, 5.0, 8.0])
@pytest.mark.parametrize("at", [6, 12, 18, 26, 32, 38])
@pytest.mark.parametrize("hours", [48, 72])
def test_a_cold_front_is_found_whatever_the_hour_and_never_an_ordinary_morning(swing, at, hours):
    clock = np.arange(hours)
    daily = -swing * np.cos((clock - 5) * np.pi / 12)
    front = outlook(forecast(14.0 + daily - 14.0 * np.clip((clock - at) / 5, 0.0, 1.0))).front
    assert front.beyond_daily == pytest.approx(-14.0)
    assert at - 1 <= front.start_s / HOUR <= at


def test_air_that_only_begins_to_change_at_the_end_moves_nothing_yet():
    assert outlook(cold_front(fall=25.0, at=44, over=1)).moves == ()
    assert outlook(cold_front(fall=25.0, at=38, over=1)).moves


def test_a_warm_front_is_the_other_way_round():
    result = outlook(cold_front(fall=-18.0))
    assert result.moves
    assert all(move.setpoint_change >= 0.0 for move in result.moves)
    assert result.heat[-1] < result.heat[0]


@settings(max_examples=25)
@given(st.lists(st.floats(-15.0, 30.0), min_size=2, max_size=96), st.floats(2.0, 12.0))
def test_moves_keep_their_distance_and_are_worth_it(temperatures, hold_h):
    result = outlook(forecast(temperatures), hold_s=hold_h * HOUR)
    times = [move.at_s for move in result.moves]
    assert all(b - a >= hold_h * HOUR - 1e-6 for a, b in pairwise(times))
    for move in result.moves:
        worth_rate = abs(move.rate_change) >= RATE_STEP - 1e-6
        worth_setpoint = abs(move.setpoint_change) >= SETPOINT_STEP - 1e-6
        assert worth_rate or worth_setpoint
    assert np.all(result.low <= result.needed)
    assert np.all(result.needed <= result.high)


@settings(max_examples=25)
@given(st.lists(st.floats(-15.0, 30.0), min_size=2, max_size=48))
def test_a_forecast_moved_in_time_gives_the_same_moves_later(temperatures):
    air = forecast(temperatures)
    later = replace(air, start_s=86_400.0)
    first, second = outlook(air), outlook(later)
    assert [move.at_s + 86_400.0 for move in first.moves] == [m.at_s for m in second.moves]
    assert second.set_rate == pytest.approx(first.set_rate)


FORECASTS = st.lists(st.floats(-15.0, 30.0), min_size=2, max_size=48)
WATER = 0.22 / 0.78 - 0.155 / 0.845


@settings(max_examples=25)
@given(FORECASTS)
def test_fuel_is_the_water_of_the_dry_matter_at_the_runs_own_energy(temperatures):
    run = replace(RUN, plenum=None, specific_energy=4.4e6)
    result = weather_outlook(run, forecast(temperatures), CORN, inlet_wb=0.22, target_wb=0.155)
    dry_matter = 6.0 * (1.0 - 0.22)
    assert result.wet_rate * (1.0 - 0.22) == pytest.approx(dry_matter * result.set_rate)
    assert result.heat == pytest.approx(dry_matter * result.needed * WATER * 4.4e6)


@given(st.floats(-15.0, 30.0), st.floats(70_000.0, 105_000.0))
def test_in_the_air_of_the_run_fuel_per_water_is_the_runs(temperature, pressure):
    run = replace(RUN, ambient=temperature, specific_energy=4.4e6)
    air = replace(forecast([temperature, temperature]), pressure=pressure)
    result = weather_outlook(run, air, CORN, inlet_wb=0.22, target_wb=0.155)
    assert result.wet_rate == pytest.approx(6.0)
    assert result.heat == pytest.approx(6.0 * (1.0 - 0.22) * WATER * 4.4e6)


@settings(max_examples=25)
@given(FORECASTS)
def test_held_plenums_burn_what_the_air_asks_whatever_the_moves(temperatures):
    # one hour's fuel depends on its own air alone, so the hours may come in any order
    result = outlook(forecast(temperatures))
    turned = outlook(forecast(temperatures[::-1]))
    assert turned.heat[::-1] == pytest.approx(result.heat, rel=1e-9)
    assert float(turned.heat.sum()) == pytest.approx(float(result.heat.sum()), rel=1e-9)


def test_colder_air_always_takes_more_fuel_an_hour():
    result = outlook(forecast(np.linspace(20.0, -15.0, 36)))
    assert np.all(np.diff(result.heat) > 0.0)


def test_grain_that_is_nearly_dry_has_no_outlook():
    with pytest.raises(Inconsistent, match="two points"):
        weather_outlook(RUN, forecast([10.0, 11.0]), CORN, inlet_wb=0.16, target_wb=0.155)
