"""The start plan: limits level by level, the ladder of plenums, the rule of thumb of the trade."""

from __future__ import annotations

import pytest

from column_dryers import tower
from outfeed.dryer.description import Conditions, Feed
from outfeed.dryer.heat_check import one_pass
from outfeed.dryer.plan import plan_plenums
from outfeed.dryer.ruling import Authority, ruling_limit
from outfeed.errors import NotPublished, UnknownName
from outfeed.grains import load_grain

WEATHER, WET = Conditions(10.0, 0.7), Feed(0.22, 10.0)
DRYER = tower((90.0, 80.0, 70.0), sensors=(0.3, 0.7))
COMMERCIAL = Authority("commercial")


def fahrenheit(celsius):
    return celsius * 1.8 + 32.0


@pytest.fixture(scope="module")
def plan():
    return plan_plenums(DRYER, WEATHER, WET, 0.155, COMMERCIAL)


def test_plenums_fall_with_the_moisture_of_the_grain(plan):
    plenums = [level.plenum_temperature for level in plan.levels]
    moistures = [level.moisture_wb for level in plan.levels]
    assert plenums == sorted(plenums, reverse=True)
    assert moistures == sorted(moistures, reverse=True)


def test_every_plenum_is_inside_the_limit_that_ruled(plan):
    for level in plan.levels:
        assert level.plenum_temperature <= level.ceiling
        assert level.ruling.source_key == "ndsu-dryer-limits"
        assert "cgc-guideline" in {row.source_key for row in level.others}


def test_the_plan_meets_its_target_with_its_own_column(plan):
    assert float(plan.setting.profile.outlet_moisture_wb) == pytest.approx(0.155, abs=2e-5)
    leaving = [float(zone.moisture_wb) for zone in plan.setting.profile.zones]
    assert [level.moisture_wb for level in plan.levels] == pytest.approx(
        [0.22, leaving[0], leaving[1]], abs=1e-4
    )


def test_common_practice_three_plenums_near_210_185_160_and_a_column_at_95_to_105(plan):
    """Common practice, no source: order of magnitude, for corn from 22 % in 50 degF air."""
    plenums = [fahrenheit(level.plenum_temperature) for level in plan.levels]
    assert plenums == pytest.approx([210.0, 185.0, 160.0], abs=12.0)
    column = fahrenheit(float(plan.setting.profile.column_temperature))
    assert 95.0 <= column <= 106.0
    hours = float(plan.setting.profile.transit_time) / 3600.0
    assert 1.0 < hours < 4.0


def test_the_country_asked_for_rules():
    grain = load_grain("corn-yellow-dent")
    ruling, others = ruling_limit(grain, DRYER, Authority("commercial", jurisdiction="Canada"), 0.2)
    # 60 degC for commercial corn: Canadian Grain Commission, maximum safe air temperatures.
    assert ruling.low == 60.0
    assert {row.jurisdiction for row in others} == {"United States"}


def test_a_source_asked_for_rules():
    authority = Authority("commercial", source="ndsu-corn-2009")
    plan = plan_plenums(DRYER, WEATHER, WET, 0.155, authority)
    # 200 degF for immature or very wet corn: NDSU Extension 2009.
    assert fahrenheit(plan.levels[0].ceiling) == pytest.approx(200.0)


@pytest.mark.parametrize(
    ("authority", "name"),
    [(Authority("commercial", source="nobody"), "limit_source"),
     (Authority("commercial", jurisdiction="Atlantis"), "jurisdiction")],
)  # fmt: skip
def test_an_unknown_authority_is_refused_with_the_known_ones(authority, name):
    with pytest.raises(UnknownName) as caught:
        plan_plenums(DRYER, WEATHER, WET, 0.155, authority)
    assert caught.value.name == name
    assert caught.value.known


def test_wetter_grain_gets_less_heat_where_a_trial_saw_damage():
    grain = load_grain("wheat-hard-red-spring")
    authority = Authority("milling", source="ndsu-small-grain")
    ceilings = {m: ruling_limit(grain, DRYER, authority, m)[0].low for m in (0.15, 0.18, 0.23)}
    # 160, 140, 120 degF up to 16, up to 20 and above 20 %: NDSU Extension, small grain drying.
    assert [fahrenheit(value) for value in ceilings.values()] == pytest.approx(
        [160.0, 140.0, 120.0], abs=0.2
    )
    plan = plan_plenums(DRYER, WEATHER, Feed(0.21, 15.0, grain.id), 0.15, authority)
    assert all(level.plenum_temperature < level.ruling.low for level in plan.levels)


def test_a_wish_is_kept_inside_the_limit_and_lowered_above_it():
    plan = plan_plenums(DRYER, WEATHER, WET, 0.155, COMMERCIAL, wished=(120.0, 70.0, 65.0, None))
    assert [level.lowered for level in plan.levels] == [True, False, False]
    assert plan.levels[0].plenum_temperature <= plan.levels[0].ceiling
    assert [level.plenum_temperature for level in plan.levels[1:]] == [70.0, 65.0]


@pytest.mark.parametrize("wish", [None, 60.0 + 1e-9])
def test_nothing_is_called_lowered_that_nobody_wished_higher(wish):
    """Canada allows 60 degC, 140 degF, of which a plan in that dial comes out a hair off."""
    canada = Authority("commercial", jurisdiction="Canada")
    dial = ((0.0 - 160.0) / 9.0, 5.0 / 9.0)
    plan = plan_plenums(DRYER, WEATHER, WET, 0.155, canada, wished=(wish,) * 3, dial=dial)
    assert not any(level.lowered for level in plan.levels)


def test_a_limit_on_the_kernels_lowers_every_plenum(plan):
    limit = float(plan.setting.profile.hottest_kernel) - 4.0
    cooler = plan_plenums(DRYER, WEATHER, WET, 0.155, COMMERCIAL, kernel_limit=limit)
    assert cooler.kernel_limited
    assert float(cooler.setting.profile.hottest_kernel) <= limit
    for one, other in zip(cooler.levels, plan.levels, strict=True):
        assert one.plenum_temperature < other.plenum_temperature
    assert cooler.setting.dry_matter_rate < plan.setting.dry_matter_rate


def test_plenums_are_rounded_down_to_the_dial():
    dial = (-160.0 / 9.0, 25.0 / 9.0)  # steps of 5 degF
    plan = plan_plenums(DRYER, WEATHER, WET, 0.155, COMMERCIAL, dial=dial)
    for level in plan.levels:
        steps = fahrenheit(level.plenum_temperature) / 5.0
        assert steps == pytest.approx(round(steps))
        assert level.plenum_temperature <= level.ceiling


def test_grain_without_a_published_limit_needs_a_wish():
    feed = Feed(0.20, 15.0, "rough-rice-medium")
    with pytest.raises(NotPublished):
        plan_plenums(DRYER, WEATHER, feed, 0.14, Authority("food"))
    wished = plan_plenums(DRYER, WEATHER, feed, 0.14, Authority("food"), wished=(45.0, 45.0, 45.0))
    assert [level.ruling for level in wished.levels] == [None, None, None]


def test_damage_seen_in_grain_for_the_same_use_caps_every_other_row():
    """Hard red spring wheat for milling at 20 %: NDSU saw damage at 140 degF."""
    grain = load_grain("wheat-hard-red-spring")
    ruling, others = ruling_limit(grain, DRYER, Authority("milling"), 0.20)
    assert ruling.kind == "damage seen"
    assert fahrenheit(ruling.low) == pytest.approx(140.0)
    assert any(row.low > ruling.low for row in others)
    levels = plan_plenums(
        DRYER, WEATHER, Feed(0.20, 10.0, grain="wheat-hard-red-spring"), 0.135, Authority("milling")
    ).levels
    assert max(fahrenheit(level.plenum_temperature) for level in levels) < 140.0


SPRING_WHEAT = Feed(0.19, 10.0, grain="wheat-hard-red-spring")
CANADA = Authority("commercial", jurisdiction="Canada")


@pytest.mark.parametrize(
    ("target", "ceiling", "aside"), [(0.155, 80.0, []), (0.14, 65.0, ["cgc-wheat-drying"])]
)
def test_a_limit_rules_only_where_heated_air_dries_no_further_than_it_lets_it(
    target, ceiling, aside
):
    """Canadian Grain Commission: 80 degC for wheat dried to 15 %, 65 degC for commercial wheat."""
    plan = plan_plenums(DRYER, WEATHER, SPRING_WHEAT, target, CANADA)
    assert [level.ceiling for level in plan.levels] == [ceiling] * 3
    assert [row.source_key for row in plan.set_aside] == aside
    heated = one_pass(plan.dryer, plan.setting.profile, 0.19).heated_wb
    for level in plan.levels:
        assert level.plenum_temperature <= ceiling
        for row in (level.ruling, level.followed):
            assert row.heated_down_to is None or heated >= row.heated_down_to - 0.0005


def test_where_the_only_limit_of_a_source_is_broken_the_strictest_of_anyone_rules():
    """Also over a wish: what the source does not allow there is not free."""
    alone = Authority("commercial", source="cgc-wheat-drying")
    wished = (95.0, 95.0, 50.0)
    plan = plan_plenums(DRYER, WEATHER, SPRING_WHEAT, 0.14, alone, wished=wished)
    assert {level.ruling.source_key for level in plan.levels} == {"cgc-guideline"}
    assert [level.plenum_temperature for level in plan.levels] == [65.0, 65.0, 50.0]
    assert [level.lowered for level in plan.levels] == [True, True, False]


def test_damage_seen_caps_also_where_the_source_that_is_followed_is_silent():
    grain = load_grain("wheat-hard-red-spring")
    silent = Authority("milling", source="no-such-source")
    ruling, _ = ruling_limit(grain, DRYER, silent, 0.20)
    assert ruling.kind == "damage seen"
