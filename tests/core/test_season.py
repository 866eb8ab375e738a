"""A season on paper: nothing is lost, queues behave, and changes help the way they must."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outfeed.ability import DescribedDryer, KnownRate, ability_of
from outfeed.cooling import DRYERATION, PROMPT
from outfeed.dryer.description import Dryer, Zone
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.grains import load_grain
from outfeed.queue import Harvest, Lots, run_queue
from outfeed.season import Season, discharge_target, plan_season
from outfeed.season_fuel import by_week, tank_refills
from outfeed.season_help import Alternative, alternatives, most_helpful
from outfeed.storage_life import FORMULA_MOISTURE, formula_life
from outfeed.weather import HOUR, Month, Weather, hourly_from_months, hourly_from_series

CORN = load_grain("corn-yellow-dent")
KNOWN = KnownRate(
    feed_rate=7.0, inlet_wb=0.20, outlet_wb=0.15, ambient=10.0, plenum=93.0, kind="mixed-flow"
)
TOWER = Dryer(
    kind="mixed-flow",
    zones=(
        Zone("upper", "heated", volume=15.0, plenum_temperature=98.9, airflow_per_volume=0.7),
        Zone("lower", "heated", volume=15.0, plenum_temperature=85.0, airflow_per_volume=0.7),
        Zone("cooler", "cooling", volume=8.0, airflow_per_volume=0.7),
    ),
    cross_section=7.0,
)


def weather(hours=240, temperature=10.0, swing=0.0):
    clock = np.arange(hours)
    return Weather(
        0.0,
        temperature - swing * np.cos((clock - 5) * 2 * np.pi / 24),
        np.full(hours, 0.7),
    )


def harvest(hours=240, rate=12.0, moisture=0.22, days=5, start=10, length=10, crop=None):
    clock = np.arange(hours)
    on = (clock % 24 >= start) & (clock % 24 < start + length) & (clock < days * 24)
    wet = np.full(hours, moisture) - 0.002 * clock / 24.0
    weight = np.where(on, rate * HOUR, 0.0)
    everything = float((weight * (1.0 - wet)).sum())
    return Harvest(weight, wet, everything if crop is None else crop)


def season(**changes):
    air = changes.pop("weather", weather())
    plain = Season(
        grain=CORN,
        weather=air,
        supply=harvest(air.hours),
        machine=KNOWN,
        run_share=np.ones(air.hours),
        holding=200_000.0,
        final_wb=0.15,
    )
    return replace(plain, **changes)


lot_lists = st.lists(
    st.tuples(st.floats(0.0, 100.0), st.floats(500.0, 90_000.0), st.floats(0.12, 0.33)),
    min_size=1,
    max_size=40,
)


def lots_of(rows):
    rows = sorted(rows)
    columns = (np.array(column) for column in zip(*rows, strict=True))
    ready, weight, moisture = columns
    return Lots(ready * HOUR, weight, moisture)


@settings(max_examples=40)
@given(lot_lists, st.floats(0.0, 200_000.0), st.floats(0.2, 1.0))
def test_dry_matter_water_and_fuel_are_conserved_through_lots(rows, holding, share):
    lots = lots_of(rows)
    plan = plan_season(season(supply=lots, holding=holding, run_share=np.full(240, share)))
    flow = plan.flow
    offered = float(lots.dry_matter.sum())
    in_holding = offered - float(flow.dried.sum()) - flow.left_outside
    assert in_holding >= -1e-3
    assert float(flow.held[-1]) == pytest.approx(
        in_holding / (1 - 0.225), abs=0.15 * max(in_holding, 0) + 1e-2
    )
    assert float(flow.lot_heat.sum()) == pytest.approx(float(flow.heat.sum()), rel=1e-9, abs=1e-3)
    if plan.finished_s is not None:
        assert float(flow.dried.sum()) == pytest.approx(offered, rel=1e-9)
        wet = lots.moisture_wb
        drop = np.maximum(wet / (1 - wet) - 0.15 / 0.85, 0.0)
        assert float(flow.water.sum()) == pytest.approx(
            float((lots.dry_matter * drop).sum()), rel=1e-9, abs=1e-3
        )


@settings(max_examples=40)
@given(lot_lists, st.floats(0.0, 200_000.0))
def test_lots_come_in_and_leave_in_their_order(rows, holding):
    lots = lots_of(rows)
    flow = plan_season(season(supply=lots, holding=holding)).flow
    done = flow.lot_done_s[~np.isnan(flow.lot_done_s)]
    assert np.all(np.diff(done) >= -1e-6)
    came = flow.lot_in_s[~np.isnan(flow.lot_in_s)]
    assert np.all(np.diff(came) >= -1e-6)
    known = ~np.isnan(flow.lot_done_s)
    assert np.all(flow.lot_done_s[known] >= flow.lot_in_s[known])


@settings(max_examples=30)
@given(st.floats(2.0, 30.0), st.floats(0.0, 400_000.0), st.floats(0.17, 0.30))
def test_a_harvest_is_dried_held_or_still_in_the_field(rate, holding, moisture):
    supply = harvest(rate=rate, moisture=moisture)
    plan = plan_season(season(supply=supply, holding=holding))
    flow = plan.flow
    came = float(flow.lot_dry_matter.sum())
    assert came + flow.left_outside == pytest.approx(supply.crop, rel=1e-9)
    assert float(flow.held.max()) <= holding * (1.0 + 1e-9) + 1e-2
    assert np.all(flow.peak <= holding * (1.0 + 1e-9) + 1e-2)
    assert np.all(flow.busy <= 1.0 + 1e-9)


def test_a_steady_overload_fills_holding_at_the_difference_of_the_rates():
    air = weather(48)
    supply = Harvest(np.full(48, 12.0 * HOUR), np.full(48, 0.20), 1e12)
    flow = plan_season(season(weather=air, supply=supply, holding=1e8)).flow
    growth = np.diff(flow.held)
    assert growth == pytest.approx((12.0 - 7.0) * HOUR, rel=1e-6)


def test_a_known_rate_is_kept_at_its_own_condition_and_falls_with_the_points():
    table = ability_of(KNOWN, weather(2), CORN, 0.15, 0.25)
    rate = np.interp(0.20, table.moistures_wb, table.rate[0])
    assert rate == pytest.approx(7.0 * 0.80, rel=0.02)  # linear between the table's moistures
    wet = table.rate[0] / (1.0 - table.moistures_wb)
    points = table.moistures_wb - 0.15
    assert np.all(np.diff(wet) < 0.0)
    ratio = wet[-1] / np.interp(0.20, table.moistures_wb, wet)
    assert 0.05 / points[-1] < ratio < 1.3 * 0.05 / points[-1]


@pytest.mark.parametrize("machine", [KNOWN, DescribedDryer(TOWER)])
def test_cold_weather_slows_the_dryer_and_costs_fuel(machine):
    cold, mild = (
        ability_of(machine, weather(2, temperature), CORN, 0.15, 0.25) for temperature in (-5.0, 15)
    )
    assert np.all(cold.rate < mild.rate)
    assert np.all(cold.heat > mild.heat)


def test_a_described_dryer_is_near_the_known_one_in_fuel_per_water():
    table = ability_of(DescribedDryer(TOWER), weather(2), CORN, 0.15, 0.25)
    water = table.moistures_wb / (1 - table.moistures_wb) - 0.15 / 0.85
    per_water = table.heat[0][-1] / water[-1]
    assert 2.5e6 < per_water < 8e6


@settings(max_examples=15)
@given(st.floats(20_000.0, 300_000.0))
def test_more_holding_never_makes_the_combine_wait_longer(holding):
    small = plan_season(season(holding=holding))
    big = plan_season(season(holding=1.5 * holding))
    assert big.waited_hours <= small.waited_hours + 1e-9


def test_life_used_is_time_over_life_at_one_state():
    lots = Lots(np.array([0.0, 0.0]), np.array([100_000.0, 200_000.0]), np.array([0.24, 0.24]))
    plan = plan_season(season(supply=lots, holding=1e7, weather=weather(240, 15.0)))
    stay = plan.flow.lot_done_s - plan.flow.lot_in_s
    expected = stay / float(formula_life(15.0, 0.24))
    assert plan.life.used == pytest.approx(expected, rel=1e-6)


def test_nearly_dry_grain_has_the_life_of_its_own_moisture():
    moisture = FORMULA_MOISTURE.low + 0.005
    lots = Lots(np.zeros(2), np.array([100_000.0, 200_000.0]), np.full(2, moisture))
    air = weather(240, 15.0)
    plan = plan_season(season(supply=lots, holding=1e7, weather=air, final_wb=moisture - 0.02))
    stay = plan.flow.lot_done_s - plan.flow.lot_in_s
    assert plan.life.used == pytest.approx(stay / float(formula_life(15.0, moisture)), rel=1e-6)
    assert not plan.life.at_most


def test_a_lot_that_never_came_in_used_up_no_life():
    lots = Lots(np.zeros(3), np.full(3, 2e6), np.full(3, 0.24))
    plan = plan_season(season(supply=lots, holding=2e6, weather=weather(48, 15.0)))
    never = np.isnan(plan.flow.lot_in_s)
    assert never.any()
    assert np.all(plan.life.used[never] == 0.0)
    assert np.all(plan.life.used[~never] > 0.0)


def test_warmer_holding_uses_up_more_life():
    cool = plan_season(season(holding_temperature=5.0))
    warm = plan_season(season(holding_temperature=25.0))
    assert warm.worst_life > 2.0 * cool.worst_life


def test_cooling_in_the_bin_lets_the_dryer_stop_wetter():
    targets = [discharge_target(season(cooling=mode)) for mode in ("cool-in-dryer", PROMPT)]
    assert targets[0] == 0.15
    assert 0.003 < targets[1] - targets[0] < 0.015
    assert discharge_target(season(cooling=DRYERATION)) > targets[1]


def test_every_alternative_is_the_season_run_again_and_helps_the_way_it_must():
    tight = season(
        weather=weather(600), supply=harvest(600, start=10, days=12), holding=60_000.0,
        run_share=np.where(np.arange(600) % 24 < 14, 1.0, 0.0),
    )  # fmt: skip
    base = plan_season(tight)
    others = {other.change: other for other in alternatives(base)}
    assert set(others) == {
        "bigger-wet-holding", "start-earlier", "higher-plenum", "cool-in-bin", "longer-hours"
    }  # fmt: skip
    assert others["start-earlier"].plan is None
    for change in ("bigger-wet-holding", "higher-plenum", "cool-in-bin", "longer-hours"):
        assert others[change].plan.waited_hours < base.waited_hours
    best = most_helpful(base, tuple(others.values()))
    waits = [other.plan.waited_hours for other in others.values() if other.plan]
    assert best.plan.waited_hours == min(waits)


@pytest.mark.parametrize(
    "grain, plenum, computed",
    [
        ("corn-yellow-dent", 93.0, True),  # 210 to 230 degF, generally recommended for corn
        ("corn-yellow-dent", 100.0, False),
        ("soybean", 60.0, False),  # 130 degF for non-food use
        ("sorghum", 60.0, False),  # nobody published a limit
    ],
)
def test_no_hotter_plenum_is_proposed_than_anybody_published(grain, plenum, computed):
    """Limits of North Dakota State University Extension, as the catalogue has them."""
    machine = replace(KNOWN, plenum=plenum)
    tight = season(grain=load_grain(grain), machine=machine, holding=60_000.0)
    others = alternatives(plan_season(tight))
    hotter = next(other for other in others if other.change == "higher-plenum")
    assert (hotter.plan is not None) is computed
    assert ("published" in hotter.why_not) is not computed


def test_grain_that_keeps_counts_before_an_early_finish():
    def outcome(worst_life, finished_s):
        return SimpleNamespace(
            keeps_up=True, waited_hours=0.0, worst_life=worst_life, finished_s=finished_s
        )

    fresh = Alternative("higher-plenum", outcome(0.3, 9e5))
    early = Alternative("start-earlier", outcome(0.6, 5e5))
    assert most_helpful(outcome(0.7, 1e6), (early, fresh)) is fresh


def test_a_dryer_that_keeps_up_needs_no_help():
    easy = plan_season(season(supply=harvest(rate=3.0, moisture=0.18)))
    assert easy.keeps_up
    assert most_helpful(easy, alternatives(easy)) is None


def test_starting_a_week_earlier_brings_in_wetter_grain():
    air = weather(1200)
    late = harvest(1200, days=40)
    late = replace(late, offered=np.where(np.arange(1200) < 300, 0.0, late.offered), crop=2e6)
    plan = plan_season(season(weather=air, supply=late))
    earlier = next(o for o in alternatives(plan) if o.change == "start-earlier").plan
    assert earlier.flow.lot_in_s[0] == plan.flow.lot_in_s[0] - 7 * 24 * HOUR
    assert earlier.flow.lot_moisture_wb[0] > plan.flow.lot_moisture_wb[0]


def test_refills_and_what_is_left_add_up_to_the_fuel():
    flow = plan_season(season()).flow
    tank = 0.2 * float(flow.heat.sum())
    refills = tank_refills(flow, tank)
    delivered = sum(refill.heat for refill in refills)
    assert delivered <= float(flow.heat.sum()) <= delivered + 0.55 * tank + 1.0
    assert len(refills) == 9


def test_weeks_add_up_to_the_season():
    flow = plan_season(season()).flow
    assert float(by_week(flow.heat).sum()) == pytest.approx(float(flow.heat.sum()))
    assert by_week(flow.heat).size == 2


def test_ten_thousand_lots_pass_in_order_and_whole():
    rng = np.random.default_rng(4)
    lots = lots_of(
        list(zip(np.sort(rng.uniform(0, 1500, 10_000)), rng.uniform(2e3, 3e3, 10_000),
                 rng.uniform(0.16, 0.26, 10_000), strict=True))
    )  # fmt: skip
    plan = plan_season(season(weather=weather(2000), supply=lots, run_share=np.ones(2000)))
    assert float(plan.flow.dried.sum()) == pytest.approx(float(lots.dry_matter.sum()), rel=1e-9)
    assert plan.finished_s is not None


def test_months_become_hours_with_the_stated_mean_and_swing():
    months = [None] * 12
    months[9] = Month(12.0, 0.7, swing=10.0)
    air = hourly_from_months(0.0, np.full(240, 9), months, 0.0, 101_325.0)
    assert air.temperature.mean() == pytest.approx(12.0)
    assert float(np.ptp(air.temperature)) == pytest.approx(10.0, rel=0.02)
    assert int(np.argmin(air.temperature)) % 24 == 5
    with pytest.raises(Inconsistent, match="11"):
        hourly_from_months(0.0, np.full(2, 10), months, 0.0, 101_325.0)


def test_a_forecast_is_read_straight_between_its_times():
    air = hourly_from_series(np.array([0.0, 7200.0]), np.array([10.0, 14.0]), np.ones(2), 1e5)
    assert air.temperature.tolist() == [10.0, 12.0, 14.0]


@pytest.mark.parametrize(
    "rows, error",
    [
        (([10.0, 5.0], [1e3, 1e3], [0.2, 0.2]), Inconsistent),
        (([5.0], [1e3], [0.55]), OutOfRange),
        (([5.0], [0.0], [0.2]), OutOfRange),
        (([5.0], [1e3, 2e3], [0.2]), Inconsistent),
    ],
)
def test_lots_that_make_no_sense_are_refused(rows, error):
    with pytest.raises(error):
        Lots(*(np.array(column) for column in rows))


def test_a_run_that_does_not_dry_is_refused():
    with pytest.raises(Inconsistent, match="dry"):
        KnownRate(5.0, 0.15, 0.20, 10.0)


def test_outside_air_as_warm_as_the_plenum_is_refused():
    lukewarm = replace(KNOWN, plenum=12.0)
    with pytest.raises(Inconsistent, match="as warm"):
        ability_of(lukewarm, weather(2, 20.0), CORN, 0.15, 0.2)


LUKEWARM = TOWER.with_plenums((45.0, 45.0, None))


def test_warm_air_and_damp_air_of_different_hours_do_not_make_an_hour_too_damp():
    # At 38 degC and 95 % the plenum could not dry to 10 %, but no hour is like that.
    air = Weather(0.0, np.array([20.0, 38.0]), np.array([0.95, 0.35]))
    table = ability_of(DescribedDryer(LUKEWARM), air, CORN, 0.10, 0.16)
    assert np.all(np.isfinite(table.rate))
    assert np.all(table.rate > 0.0)
    muggy = Weather(0.0, np.array([20.0, 38.0]), np.array([0.95, 0.95]))
    with pytest.raises(Inconsistent, match="dampest hour"):
        ability_of(DescribedDryer(LUKEWARM), muggy, CORN, 0.10, 0.16)


def test_without_holding_the_combine_goes_as_fast_as_the_dryer():
    supply = Harvest(np.full(48, 12.0 * HOUR), np.full(48, 0.20), 1e12)
    air = weather(48)
    table = ability_of(KNOWN, air, CORN, 0.15, 0.25)
    flow = run_queue(supply, table, np.ones(48), 0.0, 0.0, 0.15)
    assert flow.refused_hours == pytest.approx(1.0 - 7.0 / 12.0, rel=0.02)
    assert flow.held == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("holding", [0.0, 50_000.0])
def test_a_crop_that_is_all_dried_is_finished_with_or_without_holding(holding):
    # Harvest comes faster than the dryer works, and every hour's leftover is turned away.
    plan = plan_season(
        season(holding=holding, weather=weather(1000), supply=harvest(1000, days=40, crop=1.5e6))
    )
    flow = plan.flow
    assert flow.left_outside == pytest.approx(0.0, abs=1e-3)
    assert float(flow.dried.sum()) == pytest.approx(float(flow.lot_dry_matter.sum()), rel=1e-9)
    assert plan.finished_s is not None
    assert np.all(flow.lot_done_s >= flow.lot_in_s)
    if holding == 0.0:
        assert np.all(flow.lot_done_s - flow.lot_in_s <= HOUR + 1e-6)
