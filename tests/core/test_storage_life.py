"""Storage life: laws of formula, charts and adding up."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.errors import Inconsistent, NotPublished, OutOfRange
from outfeed.grains import grain_ids, load_grain
from outfeed.methods import by_id
from outfeed.storage_charts import CELLS, DAY, METHODS, chart_life, charts_of
from outfeed.storage_life import (
    dry_matter_loss,
    equivalent_life,
    formula_life,
    has_formula,
)
from outfeed.storage_moisture import advised_span, cold_enough, months_meant, safe_moistures
from outfeed.storage_use import life_left, used_by_chart, used_by_formula

CORN = load_grain("corn-yellow-dent")
CEREAL = charts_of(CORN)[0]
ALL_CHARTS = [(grain, chart) for grain in grain_ids() for chart in charts_of(load_grain(grain))]
temperatures = st.floats(0.0, 35.0)
moistures = st.floats(0.14, 0.34)


@given(temperatures, moistures, st.floats(0.1, 5.0))
def test_warmer_grain_keeps_shorter_by_the_formula(t, m, more):
    assert formula_life(t + more, m) < formula_life(t, m)


@given(st.floats(0.0, 15.5), st.floats(0.14, 0.30), st.floats(0.002, 0.03))
def test_wetter_grain_keeps_shorter_by_the_formula_while_it_is_cool(t, m, more):
    assert formula_life(t, m + more) < formula_life(t, m)


@given(temperatures, moistures, st.floats(0.0, 0.5))
def test_more_damage_keeps_shorter(t, m, damage):
    assert formula_life(t, m, damage=damage + 0.05) < formula_life(t, m, damage=damage)


@given(st.floats(0.0006, 0.019))
def test_the_loss_after_the_equivalent_life_is_the_loss_allowed(loss):
    assert dry_matter_loss(equivalent_life(loss)) == pytest.approx(loss, rel=0.01)


def test_the_equivalent_life_at_half_a_percent_is_230_hours():
    assert equivalent_life(0.005) == pytest.approx(230 * 3600.0)


def test_the_branches_of_the_temperature_term_meet_within_half_a_percent_at_60_f():
    below, above = formula_life([15.55, 15.56], 0.15)
    assert above / below == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("t, m", [(-21.0, 0.2), (51.0, 0.2), (10.0, 0.11), (10.0, 0.41)])
def test_the_formula_refuses_states_it_was_not_made_for(t, m):
    with pytest.raises(OutOfRange):
        formula_life(t, m)


@pytest.mark.parametrize("grain, chart", ALL_CHARTS, ids=[f"{g} {c.id}" for g, c in ALL_CHARTS])
def test_every_chart_gives_shorter_life_to_warmer_and_wetter_cells(grain, chart):
    life = np.where(np.isinf(chart.life), 1e12, chart.life)
    for lines in (life, life.T):
        for line in lines:
            printed = line[~np.isnan(line)]
            assert np.all(np.diff(printed) <= 0.0)
    assert np.all(np.diff(chart.temperatures) > 0.0)
    assert np.all(np.diff(chart.moistures) > 0.0)


@pytest.mark.parametrize("grain, chart", ALL_CHARTS, ids=[f"{g} {c.id}" for g, c in ALL_CHARTS])
def test_every_printed_cell_reads_back(grain, chart):
    warm, wet = np.meshgrid(chart.temperatures, chart.moistures)
    read = chart_life(chart, warm, wet)
    printed = np.isfinite(chart.life)
    assert read.life[printed] == pytest.approx(chart.life[printed], rel=1e-9)
    assert not np.any(read.at_least[printed])
    assert np.all(read.at_least[~printed])


@given(st.floats(-1.0, 26.6), st.floats(0.14, 0.30))
def test_between_cells_life_lies_between_their_ends(t, m):
    read = chart_life(CEREAL, t, m)
    column = np.searchsorted(CEREAL.temperatures, t)
    row = np.searchsorted(CEREAL.moistures, m)
    block = CEREAL.life[max(row - 1, 0) : row + 1, max(column - 1, 0) : column + 1]
    block = np.where(np.isinf(block), CEREAL.longest, block)
    assert block.min() * (1 - 1e-6) <= read.life <= block.max() * (1 + 1e-6)


def test_halfway_between_two_cells_life_is_their_geometric_mean():
    """Logarithm of days straight in temperature: 50 and 25 days at 20 %."""
    assert chart_life(CEREAL, 12.77777778, 0.20).life / DAY == pytest.approx(1250**0.5, rel=1e-6)


def test_a_chart_is_not_extended_to_warmer_or_wetter_grain():
    for t, m in ((30.0, 0.18), (10.0, 0.32)):
        read = chart_life(CEREAL, t, m)
        assert not read.readable
        assert read.life == 0.0


def test_colder_or_drier_than_the_chart_says_at_least_the_edge():
    read = chart_life(CEREAL, [-10.0, 26.6667], [0.22, 0.12])
    assert read.life / DAY == pytest.approx([190.0, 140.0], rel=1e-4)
    assert np.all(read.at_least)


def test_between_cells_that_are_not_printed_only_a_bound_is_given():
    (chart,) = [one for one in charts_of(load_grain("barley")) if "malting" in one.id]
    read = chart_life(chart, 18.0, 0.155)
    assert not read.readable
    assert read.life / DAY == pytest.approx(30.0)


def test_the_edge_of_a_chart_is_as_wide_as_its_printed_digits():
    read = chart_life(CEREAL, [26.7, 26.9, 27.2], 0.18)
    assert read.readable.tolist() == [True, True, False]
    assert read.life[0] / DAY == pytest.approx(15.0)


def test_a_state_beside_a_lonely_cell_reads_it_to_its_printed_digits():
    (chart,) = [one for one in charts_of(load_grain("barley")) if "malting" in one.id]
    read = chart_life(chart, [21.0, 21.3, 20.5], [0.17, 0.1702, 0.17])
    assert read.readable.tolist() == [True, True, False]
    assert read.life[:2] / DAY == pytest.approx([30.0, 30.0])


def test_a_chart_refuses_what_is_no_grain():
    with pytest.raises(OutOfRange):
        chart_life(CEREAL, 10.0, 0.7)


stays = st.lists(
    st.tuples(st.floats(0.0, 30.0), st.floats(0.0, 25.0), st.floats(0.15, 0.29)),
    min_size=1,
    max_size=6,
)


@given(stays)
def test_life_used_grows_and_splitting_a_stay_changes_nothing(history):
    days, warm, wet = (np.asarray(column) for column in zip(*history, strict=True))
    whole = used_by_chart(CEREAL, days * DAY, warm, wet)
    halves = used_by_chart(
        CEREAL, np.repeat(days / 2, 2) * DAY, np.repeat(warm, 2), np.repeat(wet, 2)
    )
    assert np.all(np.diff(whole.used) >= 0.0)
    assert whole.used[-1] == pytest.approx(halves.used[-1], rel=1e-9, abs=1e-12)
    formula = used_by_formula(days * DAY, warm, wet)
    assert np.all(np.diff(formula.loss) >= 0.0)
    assert formula.used[-1] == pytest.approx(np.sum(days * DAY / formula.life), rel=1e-9, abs=1e-12)


SOURCES = [used_by_formula, partial(used_by_chart, CEREAL)]


def total(used_by, history):
    days, warm, wet = (np.asarray(column) for column in zip(*history, strict=True))
    return float(used_by(days * DAY, warm, wet).used[-1])


@pytest.mark.parametrize("used_by", SOURCES, ids=["formula", "chart"])
@given(history=stays, cut=st.floats(0.0, 1.0), data=st.data())
def test_the_order_of_stays_and_where_a_stay_is_cut_change_nothing(used_by, history, cut, data):
    whole = total(used_by, history)
    at = data.draw(st.integers(0, len(history) - 1))
    days, warm, wet = history[at]
    before = [*history[:at], (cut * days, warm, wet)]
    after = [((1.0 - cut) * days, warm, wet), *history[at + 1 :]]
    assert total(used_by, before) + total(used_by, after) == pytest.approx(
        whole, rel=1e-9, abs=1e-12
    )
    mixed = data.draw(st.permutations(before + after))
    assert total(used_by, mixed) == pytest.approx(whole, rel=1e-9, abs=1e-12)


@given(stays, st.floats(5.0, 30.0), st.floats(0.15, 0.29))
def test_what_is_left_uses_up_the_rest_and_no_more(history, warm, wet):
    days, *past = (np.asarray(column) for column in zip(*history, strict=True))
    used = float(used_by_formula(days * DAY, *past).used[-1])
    left = float(life_left(used, formula_life(warm, wet)))
    more = float(used_by_formula(left, warm, wet).used[-1])
    assert used + more == pytest.approx(max(used, 1.0), rel=1e-9)


def test_a_stay_of_exactly_the_life_uses_all_of_it():
    life = formula_life(15.0, 0.2)
    used = used_by_formula(life, 15.0, 0.2)
    assert used.used == pytest.approx(1.0)
    assert used.loss == pytest.approx(0.005, abs=5e-5)
    assert life_left(used.used[-1] + 1e-9, life) == 0.0


def test_life_used_is_an_upper_bound_where_the_chart_says_longer():
    used = used_by_chart(CEREAL, 100 * DAY, 0.0, 0.15)
    assert used.at_most
    assert used.used[-1] == pytest.approx(1 / 3)


def test_a_stay_past_the_chart_is_not_added_up():
    with pytest.raises(NotPublished):
        used_by_chart(CEREAL, [DAY], [35.0], [0.25])


def test_only_corn_has_the_formula_and_rice_has_nothing():
    assert [grain for grain in grain_ids() if has_formula(load_grain(grain))] == [CORN.id]
    assert charts_of(load_grain("rough-rice-long")) == ()
    assert charts_of(load_grain("soybean"))


def test_chart_methods_have_ids_of_their_own():
    assert CELLS.id in by_id(METHODS)
    assert {c.method.id for _, c in ALL_CHARTS} <= set(by_id(METHODS))


def test_a_row_whose_words_name_no_time_is_shown_for_every_time():
    rows = [row for grain in grain_ids() for row in load_grain(grain).storage_moistures]
    assert sum(months_meant(row) is not None for row in rows) > len(rows) / 2
    for grain in map(load_grain, grain_ids()):
        silent = {row for row in grain.storage_moistures if months_meant(row) is None}
        assert silent <= set(safe_moistures(grain, 8.0))


def test_advice_for_a_time_takes_the_shortest_row_that_is_long_enough():
    rows = safe_moistures(CORN, 8.0)
    assert {row.duration for row in rows} >= {"into summer", "up to 12 months"}
    assert "up to 6 months" not in {row.duration for row in rows}
    assert safe_moistures(CORN) == CORN.storage_moistures
    with pytest.raises(Inconsistent):
        safe_moistures(CORN, -1.0)


def test_the_wettest_advised_leaves_out_what_is_advised_for_cold_grain_only():
    beans, rapeseed = load_grain("edible-beans"), load_grain("rapeseed")
    assert advised_span(beans) == advised_span(beans, 21.0) == (0.13, 0.16)
    assert advised_span(beans, 10.0) == (0.13, 0.18)
    # every row for rapeseed is for cold seed
    assert advised_span(rapeseed, 20.0) == (0.08, 0.08)
    assert advised_span(rapeseed, 15.0) == (0.08, 0.12)
    assert cold_enough(beans.storage_moistures, 0.17, 21.0) == pytest.approx(10.0)
    assert cold_enough(beans.storage_moistures, 0.16, 21.0) is None
    assert cold_enough(beans.storage_moistures, 0.19, 21.0) is None


def test_no_more_dry_matter_is_lost_than_there_is():
    years = np.array([1.0, 5.0, 50.0]) * 365.25 * 86_400.0
    assert dry_matter_loss(years).tolist() == [1.0, 1.0, 1.0]
