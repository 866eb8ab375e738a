"""Statements add up: down the page, across the owners, over the loads."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.apportion import PARTS, parts_of, split
from outfeed.errors import Inconsistent, OutOfRange, UnknownName
from outfeed.settlement import (
    CENT,
    POUND,
    DiscountRow,
    Load,
    Schedule,
    Terms,
    compare_buyers,
    settle_loads,
    steps,
)
from outfeed.shrink import BuyerRule, settle

shares = st.lists(st.floats(0.01, 1.0), min_size=1, max_size=5).map(
    lambda raw: [value / sum(raw) for value in raw]
)
amounts = st.integers(-(10**9), 10**9)
rules = st.builds(
    BuyerRule,
    base_moisture_wb=st.floats(0.12, 0.16),
    factor=st.floats(1.0, 2.0),
    reading_step=st.sampled_from([0.0, 0.001, 0.005]),
    rounding=st.sampled_from(["up", "nearest", "down"]),
    handling_loss=st.floats(0.0, 0.02),
    price_discount=st.floats(0.0, 3.0),
    drying_charge=st.floats(0.0, 0.5),
    name=st.just("mill"),
)
schedules = st.just(
    (
        Schedule("damage", (DiscountRow(0.05, 0.001), DiscountRow(0.10, 0.004))),
        Schedule("test-weight", (DiscountRow(690.0, price_share=0.01), DiscountRow(660.0, 0.003))),
    )
)
terms_of = st.builds(
    Terms,
    rule=rules,
    price=st.floats(0.05, 0.6),
    shrink_kind=st.sampled_from(["factor", "water"]),
    schedules=schedules,
)


@st.composite
def load(draw):
    owners = draw(shares)
    return Load(
        id="ticket",
        weight=draw(st.floats(1.0, 60_000.0)),
        moisture_wb=draw(st.floats(0.08, 0.35)),
        test_weight=draw(st.floats(600.0, 800.0)),
        damage=draw(st.floats(0.0, 0.2)),
        owners=tuple((f"owner {k}", share) for k, share in enumerate(owners)),
    )


@given(amounts, shares)
def test_a_split_loses_no_unit_and_nobody_gets_a_unit_too_much(amount, raw):
    parts = parts_of(raw)
    given_out, owed = split(amount, parts)
    assert sum(parts) == PARTS
    assert sum(given_out) == amount
    assert all(
        abs(units - amount * part / PARTS) < 1.0
        for units, part in zip(given_out, parts, strict=True)
    )
    assert sum(owed) == 0


@given(st.lists(st.integers(0, 10**7), min_size=1, max_size=40), shares)
def test_over_many_amounts_nobody_drifts_from_the_due_share(many, raw):
    parts = parts_of(raw)
    owed = (0,) * len(parts)
    received = [0] * len(parts)
    for amount in many:
        units, owed = split(amount, parts, owed)
        received = [a + b for a, b in zip(received, units, strict=True)]
    for got, part in zip(received, parts, strict=True):
        assert abs(got - sum(many) * part / PARTS) <= 1.0


def test_the_odd_cent_of_equal_halves_changes_hands_from_load_to_load():
    parts = parts_of([0.5, 0.5])
    first, owed = split(101, parts)
    second, _ = split(101, parts, owed)
    assert sorted(first) == [50, 51]
    assert second == first[::-1]


@given(st.lists(load(), min_size=1, max_size=8), terms_of)
def test_every_statement_adds_up_down_and_across(loads, terms):
    ledger = settle_loads(loads, [terms])
    for statement, delivered in zip(ledger.statements, loads, strict=True):
        lines = statement.lines
        assert lines.gross == pytest.approx(delivered.weight / POUND, abs=0.5 + 1e-5)
        assert lines.gross == lines.moisture_shrink + lines.fixed_shrink + lines.net
        assert lines.value == lines.discounts + lines.drying_charge + lines.payable
        per_line = zip(*(owner.amounts() for _, owner in statement.owners), strict=True)
        assert tuple(sum(line) for line in per_line) == lines.amounts()
        assert 0 <= lines.net <= lines.gross
    totals = zip(*(statement.lines.amounts() for statement in ledger.statements), strict=True)
    assert tuple(sum(line) for line in totals) == ledger.total.amounts()
    owners = zip(*(owner.amounts() for owner in ledger.by_owner.values()), strict=True)
    assert tuple(sum(line) for line in owners) == ledger.total.amounts()


@given(load(), terms_of)
def test_value_is_net_weight_at_the_price_to_the_half_cent(delivered, terms):
    lines = settle_loads([delivered], [terms]).statements[0].lines
    assert lines.value * CENT == pytest.approx(
        lines.net * POUND * terms.price, abs=0.5 * CENT + 1e-7
    )


@given(st.floats(1_000.0, 50_000.0), st.floats(0.10, 0.35), rules, st.floats(0.05, 0.6))
def test_without_schedules_the_statement_is_the_rounded_buyers_settlement(
    weight, moisture, rule, price
):
    lines = settle_loads([Load("a", weight, moisture)], [Terms(rule, price)]).statements[0].lines
    exact = settle(rule, weight, moisture, price)
    assert lines.net * POUND == pytest.approx(float(exact.paid_weight), abs=2.0 * POUND)
    slack = 2.0 * POUND * price + 3 * CENT + abs(weight) * rule.drying_charge * 1e-4
    assert lines.payable * CENT == pytest.approx(float(exact.paid), abs=slack)


@given(load(), terms_of, st.floats(0.0, 0.05))
def test_a_wetter_load_never_weighs_more_net(delivered, terms, more):
    wetter = Load("b", delivered.weight, min(delivered.moisture_wb + more, 0.35))
    drier = Load("a", delivered.weight, delivered.moisture_wb)
    ledger = settle_loads([drier, wetter], [terms])
    assert ledger.statements[1].lines.net <= ledger.statements[0].lines.net


def test_no_rule_takes_more_than_the_load_and_its_price():
    wet = [Load("a", 1000 * POUND, 0.40)]
    dear = settle_loads(wet, [Terms(BuyerRule(0.15, 0.0, price_discount=5.0, name="mill"), 0.2)])
    whole = dear.total.net * POUND * 0.2
    assert dear.total.moisture_discount * CENT == pytest.approx(whole, abs=0.01)
    steep = settle_loads(wet, [Terms(BuyerRule(0.15, 5.0, name="mill"), 0.2)]).total
    assert (steep.moisture_shrink, steep.net, steep.payable) == (1000, 0, 0)


def test_half_a_step_is_rounded_up_though_binary_falls_short_of_it():
    assert 0.285 / CENT < 28.5
    assert steps(0.285, CENT) == 29


def test_dry_grain_is_paid_by_its_weight_and_bears_no_charge():
    rule = BuyerRule(0.15, 1.4, handling_loss=0.005, drying_charge=0.1, name="mill")
    lines = settle_loads([Load("a", 1000 * POUND, 0.15)], [Terms(rule, 0.2)]).total
    assert (lines.net, lines.drying_charge, lines.fixed_shrink) == (1000, 0, 0)


def test_the_furthest_row_passed_applies_and_a_reading_at_the_limit_is_not_beyond_it():
    damage = Schedule("damage", (DiscountRow(0.05, 1.0), DiscountRow(0.10, 2.0)))
    assert damage.row_for(0.05) is None
    assert damage.row_for(0.051).per_weight == 1.0
    assert damage.row_for(0.30).per_weight == 2.0
    light = Schedule("test-weight", (DiscountRow(690.0, 1.0), DiscountRow(660.0, 2.0)))
    assert light.row_for(690.0) is None
    assert light.row_for(680.0).per_weight == 1.0
    assert light.row_for(600.0).per_weight == 2.0


def test_a_schedule_without_a_reading_takes_nothing_and_says_so():
    terms = Terms(
        BuyerRule(0.15, 1.4, name="mill"), 0.2,
        schedules=(Schedule("damage", (DiscountRow(0.05, 0.01),)),),
    )  # fmt: skip
    statement = settle_loads([Load("a", 1000.0, 0.14)], [terms]).statements[0]
    assert statement.unread == ("damage",)
    assert statement.lines.discounts == 0


def test_comparing_buyers_gives_what_each_would_pay_for_everything():
    near = Terms(BuyerRule(0.15, 1.2, name="near"), 0.150)
    far = Terms(BuyerRule(0.15, 1.4, name="far"), 0.152)
    loads = [Load("a", 10_000.0, 0.18, buyer="near"), Load("b", 12_000.0, 0.20, buyer="far")]
    compared = compare_buyers(loads, [near, far])
    alone = settle_loads([Load("a", 10_000.0, 0.18), Load("b", 12_000.0, 0.20)], [near])
    assert compared["near"] == alone.total
    assert list(compared) == ["near", "far"]


def test_a_load_for_an_unknown_buyer_names_the_known_ones():
    terms = Terms(BuyerRule(0.15, 1.4, name="mill"), 0.2)
    with pytest.raises(UnknownName) as refused:
        settle_loads([Load("a", 1000.0, 0.14, buyer="barn")], [terms])
    assert refused.value.known == ("mill",)


def test_a_load_without_buyer_among_several_is_refused():
    terms = [Terms(BuyerRule(0.15, 1.4, name=name), 0.2) for name in ("mill", "barn")]
    with pytest.raises(Inconsistent, match="which buyer"):
        settle_loads([Load("a", 1000.0, 0.14)], terms)


def test_shares_that_do_not_add_up_are_refused():
    with pytest.raises(Inconsistent, match="add up"):
        parts_of([0.5, 0.4])
    assert sum(parts_of([0.3333, 0.3333, 0.3333])) == PARTS


@pytest.mark.parametrize(
    "kwargs, name",
    [
        ({"weight": 0.0}, "weight"),
        ({"moisture_wb": 0.7}, "moisture_wb"),
        ({"damage": 2.0}, "damage"),
    ],
)
def test_a_load_outside_its_limits_is_refused_by_name(kwargs, name):
    with pytest.raises(OutOfRange) as refused:
        Load(**({"id": "a", "weight": 1000.0, "moisture_wb": 0.15} | kwargs))
    assert refused.value.name == name
