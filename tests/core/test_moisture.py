"""Shrink: weight, water and dry matter add up; buyers' rules do what they say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.errors import Inconsistent, OutOfRange
from outfeed.moisture import dry_basis, over_drying, shrink, water_shrink, wet_basis, wet_weight_for
from outfeed.shrink import BuyerRule, read_moisture, settle

ROUNDING_ERROR = 1e-12
moistures = st.floats(0.0, 0.60)
weights = st.floats(0.0, 1e6)
losses = st.floats(0.0, 0.05)
prices = st.floats(0.0, 10.0)


@given(moistures)
def test_dry_and_wet_basis_undo_each_other(moisture):
    assert wet_basis(dry_basis(moisture)) == pytest.approx(moisture, abs=ROUNDING_ERROR)


@given(moistures, moistures)
def test_dry_basis_rises_with_wet_basis(one, other):
    assert (dry_basis(one) <= dry_basis(other)) == (one <= other) or one == pytest.approx(other)


@given(weights, moistures, moistures, losses)
def test_weight_water_and_handling_loss_add_up_to_the_wet_weight(weight, initial, final, loss):
    result = shrink(weight, initial, final, loss)
    parts = result.final_weight + result.water_removed + result.handling_lost
    assert parts == pytest.approx(weight, rel=1e-12, abs=1e-9)


@given(weights, moistures, moistures, losses)
def test_dry_matter_leaves_only_as_handling_loss(weight, initial, final, loss):
    result = shrink(weight, initial, final, loss)
    lost = result.handling_lost * (1.0 - final)
    assert result.final_dry_matter + lost == pytest.approx(result.dry_matter, rel=1e-12, abs=1e-9)


@given(weights, moistures, moistures, losses)
def test_the_reverse_question_gives_the_wet_weight_back(weight, initial, final, loss):
    dried = shrink(weight, initial, final, loss).final_weight
    assert wet_weight_for(dried, initial, final, loss) == pytest.approx(weight, rel=1e-12, abs=1e-9)


@given(moistures, moistures, moistures)
def test_drying_in_two_passes_leaves_what_one_pass_leaves(first, second, third):
    high, middle, low = sorted((first, second, third), reverse=True)
    twice = (1.0 - water_shrink(high, middle)) * (1.0 - water_shrink(middle, low))
    assert twice == pytest.approx(1.0 - water_shrink(high, low), abs=1e-12)


def test_grain_already_drier_is_not_dried_and_shows_its_true_gain():
    result = shrink(1000.0, 0.14, 0.155, 0.005)
    assert result.handling_lost == 0.0
    assert result.final_weight == pytest.approx(1000.0 * 0.86 / 0.845)


def test_many_loads_give_what_each_load_gives_alone():
    weight = np.linspace(1.0, 30_000.0, 100_000)
    moisture = np.linspace(0.10, 0.40, 100_000)
    together = shrink(weight, moisture, 0.15)
    for row in (0, 12_345, 99_999):
        alone = shrink(weight[row], moisture[row], 0.15)
        assert together.final_weight[row] == alone.final_weight


@pytest.mark.parametrize(
    "call, name",
    [
        (lambda: shrink(-1.0, 0.2, 0.15), "wet_weight"),
        (lambda: shrink(1.0, 0.61, 0.15), "initial_moisture_wb"),
        (lambda: shrink(1.0, 0.2, -0.01), "final_moisture_wb"),
        (lambda: shrink(1.0, 0.2, 0.15, 0.06), "handling_loss"),
        (lambda: shrink(float("nan"), 0.2, 0.15), "wet_weight"),
        (lambda: water_shrink(0.2, float("nan")), "final_moisture_wb"),
        (lambda: wet_weight_for(-1.0, 0.2, 0.15), "final_weight"),
        (lambda: over_drying(1.0, 0.7, 0.15), "delivered_moisture_wb"),
        (lambda: dry_basis(0.7), "moisture_wb"),
        (lambda: wet_basis(2.0), "moisture_db"),
        (lambda: BuyerRule(0.15, -1.0), "factor"),
        (lambda: BuyerRule(0.15, 1.4, reading_step=0.5), "reading_step"),
        (lambda: settle(BuyerRule(0.15, 1.4), 1.0, 0.2, price=-1.0), "price"),
    ],
)
def test_a_value_out_of_range_is_refused_by_its_name(call, name):
    with pytest.raises(OutOfRange) as refused:
        call()
    assert refused.value.name == name


def test_an_unknown_rounding_is_refused():
    with pytest.raises(Inconsistent, match="rounding"):
        BuyerRule(0.15, 1.4, rounding="sideways")


@given(st.floats(0.0, 1e6), moistures, moistures)
def test_over_drying_gives_away_exactly_the_water_below_market(weight, delivered, market):
    result = over_drying(weight, delivered, market)
    could_sell = weight + result.weight_given_away
    dry_matter = weight * (1.0 - delivered)
    if delivered < market:
        assert could_sell * (1.0 - market) == pytest.approx(dry_matter, rel=1e-9, abs=1e-9)
        given_away = result.share_given_away * could_sell
        assert given_away == pytest.approx(result.weight_given_away, rel=1e-9, abs=1e-9)
    else:
        assert result.weight_given_away == 0.0


# --- buyers -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "moisture, step, rounding, expected",
    [
        (0.1551, 0.001, "up", 0.156),
        (0.1551, 0.001, "down", 0.155),
        (0.1551, 0.001, "nearest", 0.155),
        (0.155, 0.001, "up", 0.155),
        (0.155, 0.001, "down", 0.155),
        (0.1713, 0.0025, "up", 0.1725),
        (0.1713, 0.0025, "nearest", 0.1725),
        (0.1712, 0.0025, "nearest", 0.17),
        (0.1725, 0.005, "nearest", 0.175),
        (0.1725, 0.005, "down", 0.17),
        (0.161, 0.01, "up", 0.17),
        (0.165, 0.01, "nearest", 0.17),
        (0.161, 0.01, "down", 0.16),
        (0.1613, 0.0, "up", 0.1613),
    ],
)
def test_a_reading_is_rounded_to_the_step_in_the_direction_said(moisture, step, rounding, expected):
    assert read_moisture(moisture, step, rounding) == pytest.approx(expected, abs=1e-12)


@given(st.integers(0, 600), st.sampled_from([0.001, 0.0025, 0.005, 0.01]))
def test_a_reading_already_on_the_step_is_left_alone(tenths, step):
    moisture = round(tenths / 1000.0 / step) * step
    for rounding in ("up", "nearest", "down"):
        assert read_moisture(moisture, step, rounding) == pytest.approx(moisture, abs=1e-12)


@given(moistures, st.sampled_from([0.001, 0.0025, 0.005, 0.01]))
def test_rounding_up_and_down_bracket_the_moisture_within_one_step(moisture, step):
    low, high = (read_moisture(moisture, step, way) for way in ("down", "up"))
    assert low - 1e-9 <= moisture <= high + 1e-9
    assert high - low <= step + 1e-12
    assert read_moisture(moisture, step, "nearest") == pytest.approx(moisture, abs=step / 2 + 1e-9)


@given(weights, moistures, prices, losses, st.floats(0.0, 2.0), st.floats(0.0, 3.0))
def test_the_money_of_a_settlement_adds_up(weight, moisture, price, loss, factor, discount):
    rule = BuyerRule(0.15, factor, price_discount=discount, drying_charge=0.3, handling_loss=0.005)
    result = settle(rule, weight, moisture, price, loss)
    scale = max(1.0, weight * price)
    parts = result.shrink_gap + result.discount + result.charge
    assert abs(result.gap - parts) <= 1e-9 * scale
    assert abs(result.gap - (result.true_value - result.paid)) <= 1e-9 * scale
    assert abs(result.weight_gap * price - result.shrink_gap) <= 1e-9 * scale


@given(weights, st.floats(0.0, 0.15))
def test_a_buyer_pays_drier_grain_as_it_is_though_it_would_weigh_more(weight, moisture):
    result = settle(BuyerRule(0.15, 1.4), weight, moisture, 0.2)
    assert result.paid_weight == weight
    assert result.buyer_shrink == 0.0
    assert result.true_weight >= weight


def test_a_fraction_of_a_point_may_be_charged_as_a_whole_one():
    rule = BuyerRule(0.155, 1.4, rounding="up", excess_step=0.01)
    assert settle(rule, 1000.0, 0.156).paid_weight == pytest.approx(986.0)


def test_the_exact_factor_without_handling_loss_leaves_no_gap():
    exact = BuyerRule(0.155, 1.0 / 0.845)
    result = settle(exact, 1000.0, np.linspace(0.155, 0.35, 40), 0.2, handling_loss=0.0)
    assert np.abs(result.weight_gap).max() <= 1e-9


def test_a_higher_factor_never_pays_more():
    moisture = np.linspace(0.10, 0.40, 61)
    paid = [settle(BuyerRule(0.15, f), 1000.0, moisture, 0.2).paid for f in (1.1765, 1.2, 1.4, 1.5)]
    assert np.all(np.diff(np.array(paid), axis=0) <= 0.0)
