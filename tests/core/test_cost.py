"""Cost of drying: everything adds up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.carbon import carbon_factors, carbon_span
from outfeed.cost import (
    IOWA_AVERAGE,
    EnergyUse,
    Prices,
    break_even_field_loss,
    down_time_cost,
    drying_cost,
    over_drying_cost,
    own_fuel,
)
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.fuel import load_fuel
from outfeed.wet_sale import DiscountRow, sell_wet

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
    assert carbon_span(straw, 1e9) is None
    assert carbon_span(straw, 1e9, "crop-residue") is not None
    with pytest.raises(OutOfRange):
        own_fuel(15.0, "mass")
    with pytest.raises(Inconsistent):
        own_fuel(15e6, "bale")


def test_carbon_factors_of_one_fuel_agree_within_five_percent():
    for name in ("propane", "natural-gas", "fuel-oil"):
        factors = [one.factor for one in carbon_factors(load_fuel(name))]
        assert len(factors) == 3
        assert max(factors) / min(factors) < 1.06


ROWS = (
    DiscountRow(0.155, money_off=0.002),
    DiscountRow(0.18, share_off=0.10),
    DiscountRow(0.22, share_off=0.20, shrink=0.05),
)


def test_the_row_that_holds_is_the_last_one_reached():
    sale = sell_wet(ROWS, 1000.0, [0.15, 0.155, 0.1799, 0.18, 0.25], 0.17)
    assert sale.row.tolist() == [-1, 0, 0, 1, 2]
    assert sale.paid == pytest.approx([170.0, 168.0, 168.0, 153.0, 950 * 0.17 * 0.8])
    assert sale.last_row.tolist() == [False, False, False, False, True]


def test_rows_may_come_in_any_order_but_each_once():
    assert sell_wet(ROWS[::-1], 1.0, 0.2, 1.0).paid == sell_wet(ROWS, 1.0, 0.2, 1.0).paid
    with pytest.raises(Inconsistent):
        sell_wet((ROWS[0], ROWS[0]), 1.0, 0.2, 1.0)
    with pytest.raises(Inconsistent):
        sell_wet((), 1.0, 0.2, 1.0)


def test_grain_above_the_buyers_limit_is_refused_and_money_never_negative():
    sale = sell_wet(ROWS, 1000.0, 0.26, 0.17, refuse_above=0.25)
    assert sale.refused
    assert sale.paid == 0.0
    assert sell_wet((DiscountRow(0.15, money_off=1.0),), 1000.0, 0.2, 0.17).paid == 0.0
