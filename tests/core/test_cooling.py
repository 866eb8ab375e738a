"""Cooling credit: conservation, laws and corners."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.ability import KnownRate, ability_of
from outfeed.cooling import (
    DRYERATION,
    IN_DRYER,
    MODES,
    PROMPT,
    cooling_credit,
    cooling_mode,
    discharge_moisture_for,
    heat_to_evaporate,
    points_by_rule,
    water_share_saved,
)
from outfeed.cooling_air import (
    CFM_PER_BUSHEL,
    airflow_for_fill,
    cooling_time,
    heat_ratio,
    reached_temperature,
)
from outfeed.errors import Inconsistent, NotPublished, OutOfRange, UnknownName
from outfeed.grains import grain_ids, load_grain, specific_heat_of
from outfeed.moist_air import latent_heat
from outfeed.weather import Weather

CORN = load_grain("corn-yellow-dent")
moistures = st.floats(0.10, 0.25)
hots = st.floats(40.0, 80.0)
colds = st.floats(-5.0, 30.0)
modes = st.sampled_from(list(MODES))


@given(modes, moistures, hots, colds)
def test_dry_matter_is_kept_and_water_balances(mode, moisture, hot, cold):
    cooled = cooling_credit(CORN, mode, moisture, hot, cold)
    left = 1.0 - cooled.water
    assert left * (1.0 - cooled.final_moisture) == pytest.approx(1.0 - moisture, rel=1e-12)
    assert cooled.points == pytest.approx(moisture - cooled.final_moisture, abs=1e-15)


@given(modes, moistures, hots, colds)
def test_free_water_carries_off_the_share_of_the_heat_that_the_grain_gives_up(mode, wet, hot, cold):
    flax = load_grain("flax")  # no isotherm, so its water is free water
    cooled = cooling_credit(flax, mode, wet, hot, cold)
    given_up = specific_heat_of(flax).at(wet) * (hot - cold)
    carried = cooled.water * latent_heat(0.5 * (hot + cold))
    assert carried == pytest.approx(MODES[mode].efficiency * given_up, rel=1e-9)


@given(modes, moistures, hots, colds)
def test_bound_water_takes_no_more_heat_than_corn_gives_up(mode, wet, hot, cold):
    cooled = cooling_credit(CORN, mode, wet, hot, cold)
    given_up = MODES[mode].efficiency * specific_heat_of(CORN).at(wet) * (hot - cold)
    free = cooled.water * latent_heat(0.5 * (hot + cold))
    assert 0.7 * given_up < free <= given_up * (1.0 + 1e-9)


@given(modes, moistures, hots, colds, st.floats(0.5, 0.9))
def test_cooling_in_two_steps_loses_what_cooling_in_one_does(mode, wet, hot, cold, part):
    between = hot + part * (cold - hot)
    whole = cooling_credit(CORN, mode, wet, hot, cold)
    first = cooling_credit(CORN, mode, wet, hot, between)
    second = cooling_credit(CORN, mode, first.final_moisture, between, cold)
    kept = (1.0 - first.water) * (1.0 - second.water)
    assert 1.0 - kept == pytest.approx(whole.water, rel=0.05)


@given(st.floats(0.22, 0.30), hots, colds, modes)
def test_water_that_cooling_takes_over_is_rate_and_fuel_that_the_dryer_saves(wet, hot, cold, mode):
    aimed = discharge_moisture_for(CORN, mode, 0.145, hot, cold)
    saved = float(water_share_saved(wet, aimed.hot_moisture, aimed.final_moisture))
    run, air = KnownRate(6.0, 0.20, 0.15, 10.0), Weather(0.0, np.zeros(1), np.full(1, 0.7))
    plain, eased = (
        ability_of(run, air, CORN, float(end), wet) for end in (0.145, aimed.hot_moisture)
    )
    assert eased.rate[0, -1] / plain.rate[0, -1] == pytest.approx(1.0 / (1.0 - saved), rel=1e-9)
    assert eased.heat[0, -1] / plain.heat[0, -1] == pytest.approx(1.0 - saved, rel=1e-9)


@given(modes, moistures, hots, colds)
def test_no_way_of_cooling_beats_the_heat_balance(mode, moisture, hot, cold):
    cooled = cooling_credit(CORN, mode, moisture, hot, cold)
    assert cooled.final_floor <= cooled.final_low <= cooled.final_moisture <= cooled.final_high
    assert cooled.final_high <= moisture


@given(modes, st.floats(0.10, 0.20), hots, colds)
def test_the_aim_brings_the_wanted_moisture(mode, wanted, hot, cold):
    aimed = discharge_moisture_for(CORN, mode, wanted, hot, cold)
    assert aimed.final_moisture == pytest.approx(wanted, abs=1e-10)
    assert aimed.hot_moisture >= wanted


@given(moistures, hots, colds, st.floats(1.0, 10.0))
def test_hotter_grain_loses_more(moisture, hot, cold, more):
    cooler = cooling_credit(CORN, DRYERATION, moisture, hot, cold).points
    assert cooling_credit(CORN, DRYERATION, moisture, hot + more, cold).points > cooler


def test_a_steep_loses_more_than_prompt_cooling():
    lost = [cooling_credit(CORN, mode, 0.17, 60.0, 10.0).points for mode in (DRYERATION, PROMPT)]
    assert lost[0] > lost[1]


def test_grain_that_does_not_cool_loses_nothing():
    cooled = cooling_credit(CORN, DRYERATION, 0.17, 20.0, 20.0)
    assert cooled.points == 0.0


def test_arrays_broadcast_and_scalars_stay_scalars():
    cooled = cooling_credit(CORN, PROMPT, [[0.15], [0.17]], [50.0, 60.0, 70.0], 10.0)
    assert cooled.points.shape == (2, 3)
    assert np.ndim(cooling_credit(CORN, PROMPT, 0.15, 50.0, 10.0).points) == 0
    assert cooled.points[1, 2] == cooling_credit(CORN, PROMPT, 0.17, 70.0, 10.0).points


def test_a_measured_efficiency_has_no_band_and_none_above_one():
    cooled = cooling_credit(CORN, PROMPT, 0.17, 60.0, 10.0, efficiency=0.5)
    assert cooled.final_low == cooled.final_high == cooled.final_moisture
    with pytest.raises(OutOfRange) as caught:
        cooling_credit(CORN, PROMPT, 0.17, 60.0, 10.0, efficiency=1.01)
    assert caught.value.name == "efficiency"


def test_grain_that_would_warm_up_is_inconsistent():
    with pytest.raises(Inconsistent):
        cooling_credit(CORN, PROMPT, 0.17, 20.0, 30.0)


def test_an_unknown_way_lists_the_known_ones():
    with pytest.raises(UnknownName) as caught:
        cooling_mode("in the sun")
    assert set(caught.value.known) == set(MODES)


@pytest.mark.parametrize("grain", grain_ids())
def test_every_grain_of_the_catalogue_cools(grain):
    cooled = cooling_credit(load_grain(grain), DRYERATION, 0.14, 50.0, 10.0)
    assert 0.005 < cooled.points < 0.03


def test_a_grain_without_an_isotherm_takes_the_heat_of_free_water():
    flax = load_grain("flax")
    assert not flax.isotherms
    assert heat_to_evaporate(flax, 30.0, 0.1) == pytest.approx(2.43e6, rel=0.01)
    assert specific_heat_of(flax).measured_on


def test_bound_water_takes_more_heat_than_free_water():
    assert heat_to_evaporate(CORN, 30.0, 0.12) > heat_to_evaporate(CORN, 30.0, 0.22) > 2.42e6


def test_no_rule_was_published_for_cooling_in_the_dryer():
    assert points_by_rule(IN_DRYER, 60.0, 10.0) is None
    assert points_by_rule(PROMPT, 60.0, 10.0) == pytest.approx((0.0108, 0.0108))


@given(st.floats(-10.0, 40.0), st.floats(0.05, 1.0), st.floats(-20.0, 40.0))
def test_air_never_cools_grain_below_its_wet_bulb(air, humidity, wanted):
    reached = reached_temperature(air, humidity, wanted)
    assert reached.temperature >= reached.lowest
    assert reached.lowest <= air
    assert bool(reached.limited) == bool(wanted < reached.lowest)


def test_without_a_wish_grain_reaches_the_temperature_of_the_air():
    assert reached_temperature(12.0, 0.6).temperature == 12.0


@given(st.floats(0.001, 1.0))
def test_twice_the_air_takes_half_the_time(flow):
    assert cooling_time(CORN, 2 * flow) == pytest.approx(cooling_time(CORN, flow) / 2)


def test_light_grain_cools_sooner():
    oats, corn = load_grain("oats"), cooling_time(CORN, CFM_PER_BUSHEL)
    assert cooling_time(oats, CFM_PER_BUSHEL) == pytest.approx(corn * 32 / 60)


def test_a_grain_without_a_bushel_weight_has_no_cooling_time():
    with pytest.raises(NotPublished):
        cooling_time(load_grain("sunflower-confectionery"), CFM_PER_BUSHEL)


def test_the_heat_ratio_of_corn_is_one():
    assert heat_ratio(CORN, CORN) == pytest.approx(1.0)
    assert heat_ratio(load_grain("flax"), CORN) is None


def test_air_for_filling_grows_with_the_rate():
    assert airflow_for_fill([0.0, 1.0, 2.0], 25.4)[2] == 2 * airflow_for_fill(1.0, 25.4)


@given(st.floats(0.20, 0.30), st.floats(0.0, 0.03))
def test_the_share_of_water_saved_lies_between_none_and_all(wet, credit):
    share = water_share_saved(wet, 0.15 + credit, 0.15)
    assert 0.0 <= share < 1.0


def test_grain_must_get_drier_on_the_way():
    with pytest.raises(Inconsistent):
        water_share_saved(0.16, 0.17, 0.15)
