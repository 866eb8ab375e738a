"""Cost of drying: everything adds up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.carbon import carbon_factors
from outfeed.cost import IOWA_AVERAGE, EnergyUse, Prices, drying_cost, own_fuel
from outfeed.cost_lost import break_even_field_loss, down_time_cost, over_drying_cost
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.fuel import load_fuel
from outfeed.settlement import DiscountRow, Schedule, Terms
from outfeed.shrink import BuyerRule
from outfeed.wet_sale import dry_or_sell_wet, sale_value

PROPANE = load_fuel("propane")
PRICES = Prices(fuel=500.0, electricity=3e-8, labour=0.006, grain=0.17)
USE = EnergyUse(heat_per_water=4.4e6, electricity_per_wet=14_000.0)
weights = st.floats(0.0, 1e7)
wets = st.floats(0.16, 0.35)
drys = st.floats(0.10, 0.155)


@given(weights, wets, drys)
def test_the_total_is_the_sum_of_its_parts(weight, wet, dry):
    cost = drying_cost(weight, wet, dry, USE, PROPANE, PRICES, market_moisture_wb=0.15, rate=5.0)
    parts = cost.fuel + cost.electricity + cost.labour + cost.handling + cost.over_drying
    assert cost.total == pytest.approx(parts, rel=1e-12, abs=1e-9)
    assert cost.fuel == pytest.approx(cost.fuel_quantity * PRICES.fuel)
    assert cost.heat == pytest.approx(cost.fuel_quantity * PROPANE.heat_content)


@given(weights, wets, drys)
def test_weight_and_dry_matter_are_kept(weight, wet, dry):
    cost = drying_cost(weight, wet, dry, USE, PROPANE, PRICES, rate=5.0)
    handled = cost.handling / PRICES.grain
    assert cost.final_weight + cost.water_removed + handled == pytest.approx(weight, rel=1e-9)
    assert cost.heat == pytest.approx(cost.water_removed * 4.4e6, rel=1e-9, abs=1e-6)


@given(weights, wets, drys)
def test_two_halves_cost_what_the_whole_costs(weight, wet, dry):
    whole = drying_cost(weight, wet, dry, USE, PROPANE, PRICES, rate=5.0).total
    half = drying_cost(weight / 2, wet, dry, USE, PROPANE, PRICES, rate=5.0).total
    assert 2 * half == pytest.approx(whole, rel=1e-9, abs=1e-9)


def test_a_worse_burner_takes_more_fuel():
    plain = drying_cost(1000.0, 0.2, 0.15, USE, PROPANE, Prices(500.0))
    worse = drying_cost(1000.0, 0.2, 0.15, USE, PROPANE, Prices(500.0), burner_efficiency=0.8)
    assert worse.fuel == pytest.approx(plain.fuel / 0.8)


def test_labour_by_the_hour_needs_a_rate():
    with pytest.raises(Inconsistent):
        drying_cost(1000.0, 0.2, 0.15, USE, PROPANE, PRICES)
    free = drying_cost(1000.0, 0.2, 0.15, USE, PROPANE, Prices(500.0))
    assert free.time is None
    assert free.labour == 0.0


def test_drying_cannot_end_wetter():
    with pytest.raises(Inconsistent):
        drying_cost(1000.0, 0.15, 0.2, USE, PROPANE, Prices(500.0))


@pytest.mark.parametrize("told", [{}, {"heat_per_water": 4e6, "heat_per_point": 1e6}])
def test_the_heat_is_told_one_way(told):
    with pytest.raises(Inconsistent):
        EnergyUse(**told)


def test_grain_at_the_market_moisture_is_not_over_dried():
    use = EnergyUse(heat_per_point=IOWA_AVERAGE)
    for final in (0.15, 0.17):
        assert over_drying_cost(1000.0, 0.15, final, use, PROPANE, PRICES).total == 0.0
    lost = over_drying_cost(1000.0, 0.15, [0.14, 0.13], use, PROPANE, PRICES)
    assert np.all(np.diff(lost.total) > 0.0)
    assert lost.total == pytest.approx(lost.weight_value + lost.fuel)


def test_grain_that_came_below_the_market_moisture_is_over_dried_from_its_own():
    """1000 kg at 14 % hold 860 kg of dry matter: 988.5 kg at 13 %, 11.5 kg of water less."""
    cost = drying_cost(
        1000.0, 0.14, 0.13, USE, PROPANE, Prices(500.0, grain=2.0),
        market_moisture_wb=0.155, handling_loss=0.0,
    )  # fmt: skip
    assert cost.over_drying == pytest.approx(2.0 * 11.49, abs=0.01)
    assert cost.over_drying == pytest.approx(cost.water_value)


def test_down_time_adds_lost_margin_waiting_and_labour():
    assert down_time_cost(3600.0, 5.0, 0.01, 0.05, 0.006) == pytest.approx(
        3600.0 * (0.05 + 0.05 + 0.006)
    )
    assert down_time_cost(0.0) == 0.0


def test_a_break_even_needs_a_price():
    with pytest.raises(Inconsistent):
        break_even_field_loss(0.01, 0.0)


def test_own_fuel_holds_what_the_caller_says_and_no_more():
    straw = own_fuel(15e6, "mass", "straw")
    assert straw.carbon_dioxide is None
    assert carbon_factors(straw) == ()
    assert carbon_factors(straw, "crop-residue")
    with pytest.raises(OutOfRange):
        own_fuel(15.0, "mass")
    with pytest.raises(Inconsistent):
        own_fuel(15e6, "bale")


def test_carbon_factors_of_one_fuel_agree_within_five_percent():
    for name in ("propane", "natural-gas", "fuel-oil"):
        factors = [one.factor for one in carbon_factors(load_fuel(name))]
        assert len(factors) == 3
        assert max(factors) / min(factors) < 1.06


TERMS = Terms(
    BuyerRule(0.15, 1.4, name="elevator"),
    0.17,
    schedules=(Schedule("moisture", (DiscountRow(0.18, 0.004), DiscountRow(0.22, 0.010))),),
)


def one_lot(weight: float, wet: float, dry: float):
    return drying_cost(weight, wet, dry, USE, PROPANE, PRICES, rate=5.0)


@given(st.floats(1.0, 1e7), wets, drys)
def test_the_gain_of_drying_is_the_dry_sale_less_cash_less_the_wet_sale(weight, wet, dry):
    cost = one_lot(weight, wet, dry)
    choice = dry_or_sell_wet(TERMS, cost, wet, dry)
    assert choice.gain == pytest.approx(choice.dry - choice.cash_cost - choice.wet, abs=1e-6)
    assert choice.cash_cost == pytest.approx(float(cost.fuel + cost.electricity + cost.labour))
    assert choice.gain == pytest.approx(choice.break_even_cost - choice.cash_cost, abs=1e-6)


def test_at_the_break_even_price_of_fuel_both_ways_bring_the_same():
    choice = dry_or_sell_wet(TERMS, one_lot(1e5, 0.2, 0.15), 0.2, 0.15)
    assert choice.break_even_fuel is not None
    prices = Prices(choice.break_even_fuel, PRICES.electricity, PRICES.labour, PRICES.grain)
    cost = drying_cost(1e5, 0.2, 0.15, USE, PROPANE, prices, rate=5.0)
    assert dry_or_sell_wet(TERMS, cost, 0.2, 0.15).gain == pytest.approx(0.0, abs=0.01)


def test_lots_together_choose_as_each_alone():
    wet, dry = [0.17, 0.20, 0.25], 0.15
    cost = drying_cost([1e5, 2e5, 3e5], wet, dry, USE, PROPANE, PRICES, rate=5.0)
    together = dry_or_sell_wet(TERMS, cost, wet, dry)
    for index, weight in enumerate((1e5, 2e5, 3e5)):
        alone = dry_or_sell_wet(TERMS, one_lot(weight, wet[index], dry), wet[index], dry)
        assert together.gain[index] == pytest.approx(alone.gain)


def test_a_lot_of_twice_the_weight_brings_twice_the_money():
    assert sale_value(TERMS, 2e5, 0.19) == pytest.approx(2 * sale_value(TERMS, 1e5, 0.19))
    assert sale_value(TERMS, 1e5, 0.14) == pytest.approx(17_000.0)


def test_a_lot_of_nothing_has_no_better_way():
    with pytest.raises(Inconsistent):
        dry_or_sell_wet(TERMS, one_lot(0.0, 0.2, 0.15), 0.2, 0.15)
