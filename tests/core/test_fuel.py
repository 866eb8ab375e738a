"""Fuels: heat, water and carbon dioxide stay consistent with each other."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.errors import OutOfRange, UnknownName
from outfeed.fuel import carbon_dioxide_of, cost_of, fuel_ids, load_fuel, quantity_for

heats = st.floats(0.0, 1e12)


@given(heats, st.sampled_from(fuel_ids()), st.floats(0.5, 1.0))
def test_the_quantity_burned_holds_the_heat_wanted(heat, fuel, efficiency):
    chosen = load_fuel(fuel)
    burned = quantity_for(chosen, heat, efficiency)
    assert burned * chosen.heat_content * efficiency == pytest.approx(heat, rel=1e-12)


@given(heats, st.floats(0.0, 1000.0))
def test_cost_is_quantity_times_price(heat, price):
    propane = load_fuel("propane")
    assert cost_of(propane, heat, price) == pytest.approx(quantity_for(propane, heat) * price)


@pytest.mark.parametrize("fuel", ["propane", "natural-gas", "fuel-oil"])
def test_the_lower_heating_value_is_six_to_ten_percent_below_the_higher(fuel):
    chosen = load_fuel(fuel)
    assert 0.90 <= chosen.lower_heat_content / chosen.heat_content <= 0.95


def test_natural_gas_makes_the_most_water_for_its_heat():
    water = {fuel: load_fuel(fuel).combustion_water for fuel in fuel_ids()}
    assert water["natural-gas"] > water["propane"] > water["fuel-oil"] > water["electricity"] == 0.0


def test_electricity_has_no_carbon_factor_of_its_own():
    assert carbon_dioxide_of(load_fuel("electricity"), 1e9) is None


def test_an_unknown_fuel_is_named_with_the_known_ones():
    with pytest.raises(UnknownName) as refused:
        load_fuel("straw")
    assert refused.value.known == fuel_ids()


def test_negative_heat_is_refused():
    with pytest.raises(OutOfRange) as refused:
        quantity_for(load_fuel("propane"), -1.0)
    assert refused.value.name == "heat"
