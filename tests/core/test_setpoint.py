"""Setpoint: the lag, the belief, the decision, the money and the fire watch."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from outfeed import Inconsistent, OutOfRange
from outfeed.steering import fire, lag, money
from outfeed.steering.belief import (
    INLET_PER_SENSITIVITY,
    PRIOR_INLET_EFFECT,
    PRIOR_SENSITIVITY,
    Belief,
    learn,
    new_belief,
    reading_weight,
)
from outfeed.steering.chance import STEERED_SD, TAIL_WIDTH
from outfeed.steering.feedforward import (
    SETPOINT_PER_KELVIN,
    KnownChange,
    Plan,
    plan_changes,
)
from outfeed.steering.inlet_rate import RATE_PER_MOISTURE, Drying
from outfeed.steering.pairs import Transport, inlet_at, learn_from_pairs, pair_readings
from outfeed.steering.setpoint import (
    Rules,
    Situation,
    advise_setpoint,
    setpoint_table,
)
from outfeed.steering.spread import covariance_from, spread_of
from outfeed.steering.trend import Remark, Trend, TrendLimits, judge_trend

HOUR = 3600.0
TIMES = np.arange(0.0, 4 * HOUR, 120.0)


def level_trend(setpoint: float = 37.0) -> Trend:
    trace = setpoint + 0.2 * np.sin(TIMES / 900.0) + 0.02 * np.cos(TIMES * 7.3)
    return judge_trend(TIMES, trace, setpoint)


LEVEL = level_trend()


def learned(moisture: float, readings: int = 6, setpoint: float = 37.0) -> Belief:
    belief = new_belief(setpoint, moisture, at_s=0.0)
    times = np.arange(1, readings + 1) * 1800.0
    return learn(belief, times, np.full(readings, setpoint), np.full(readings, moisture)).belief


def situation(**changes: float) -> Situation:
    base = Situation(setpoint=37.0, target_wb=0.155, now_s=6 * 1800.0, transit_s=2 * HOUR)
    return replace(base, **changes)  # type: ignore[arg-type]


# --- lag ------------------------------------------------------------------------------------


def test_a_constant_rate_gives_held_over_rate():
    found = lag.passage_times([10_000.0, 12_000.0], [0.0], [2.0], 7200.0)
    assert found.times_s == pytest.approx([6400.0, 8400.0])
    assert found.covered.all()


def test_grain_stands_still_with_the_discharge():
    # 2 kg/s, an hour's stop, 2 kg/s again: 7,200 kg back from one hour after the restart
    times, rates = [0.0, 7200.0, 10_800.0], [2.0, 0.0, 2.0]
    found = lag.passage_times([10_800.0 + 1800.0], times, rates, 7200.0)
    assert found.times_s == pytest.approx([5400.0])


def test_before_the_log_its_first_rate_is_taken_to_hold_and_that_is_said():
    found = lag.passage_times([1000.0], [0.0, 500.0], [2.0, 4.0], 7200.0)
    assert not found.covered[0]
    assert found.times_s[0] == pytest.approx((3000.0 - 7200.0) / 2.0)


@given(
    st.lists(st.floats(0.2, 10.0), min_size=2, max_size=8),
    st.floats(100.0, 5000.0),
    st.floats(0.0, 4000.0),
)
def test_the_flow_between_passage_and_sampling_is_the_grain_held(rates, held, late):
    times = np.arange(len(rates)) * 600.0
    sampled = times[-1] + late
    found = lag.passage_times([sampled], times, rates, held)
    between = lag.flow_since_start(times, rates, sampled) - lag.flow_since_start(
        times, rates, found.times_s[0]
    )
    assert between == pytest.approx(held, rel=1e-9)


def test_a_reading_gets_the_mean_column_temperature_about_its_passage():
    times = np.arange(0.0, 7200.0, 60.0)
    ramp = 30.0 + times / 3600.0
    found = lag.match_column([3600.0], times, ramp, window_s=1800.0)
    assert found.found[0]
    assert found.temperatures[0] == pytest.approx(31.0)


def test_a_hole_in_the_record_and_its_ends_give_no_match():
    times = np.concatenate((np.arange(0.0, 3600.0, 60.0), np.arange(9000.0, 12_000.0, 60.0)))
    found = lag.match_column(
        [-10.0, 1800.0, 6000.0, 10_000.0, 13_000.0],
        times,
        np.full(times.size, 37.0),
        window_s=600.0,
    )
    assert found.found.tolist() == [False, True, False, True, False]


@pytest.mark.parametrize(
    "call",
    [
        lambda: lag.passage_times([0.0], [0.0], [0.0], 100.0),
        lambda: lag.passage_times([0.0], [0.0, 0.0], [1.0, 1.0], 100.0),
        lambda: lag.match_column([0.0], [0.0], [37.0], window_s=60.0),
        lambda: Transport().passage([0.0]),
    ],
)
def test_what_gives_no_lag_is_refused(call):
    with pytest.raises(Inconsistent):
        call()


def test_half_a_transit_stands_in_for_a_lag_that_nobody_states():
    assert Transport(transit_s=7200.0).lag_at(0.0) == 3600.0
    assert Transport(transit_s=7200.0).method is lag.HALF_TRANSIT
    assert Transport(lag_s=3000.0).transit_at(0.0) == 6000.0


def test_inlet_moisture_holds_until_the_next_entry():
    found = inlet_at([-5.0, 0.0, 99.0, 100.0, 500.0], [0.0, 100.0], [0.20, 0.24])
    assert found.tolist() == [0.20, 0.20, 0.20, 0.24, 0.24]


def test_a_sensitivity_held_at_its_bound_drives_no_inlet_effect_away():
    noise = np.random.default_rng(1).normal(0.0, 0.003, 60)
    belief = new_belief(37.0, 0.155, at_s=0.0)
    for k, off in enumerate(noise):  # hotter grain leaves no drier here, and no inlet is told
        moisture = 0.155 + 0.002 * (k % 2) + off
        belief = learn(belief, [belief.at_s + 1800.0], [37.0 + 2.0 * (k % 2)], [moisture]).belief
    # at 0.36 of the prior slope the column model has 0.44 of the inlet at the discharge
    slope = 0.36 * PRIOR_SENSITIVITY
    assert belief.sensitivity == pytest.approx(slope)
    effect = PRIOR_INLET_EFFECT + INLET_PER_SENSITIVITY * (slope - PRIOR_SENSITIVITY)
    assert belief.inlet_effect == pytest.approx(effect)


# --- belief ---------------------------------------------------------------------------------


def test_the_filter_equals_weighted_least_squares_when_nothing_wanders():
    # readings at one instant: level and slope from Bayes' rule with a normal prior, by algebra
    rng = np.random.default_rng(4)
    temperature = 37.0 + rng.normal(0.0, 2.0, 12)
    moisture = 0.155 - 0.008 * (temperature - 37.0) + rng.normal(0.0, 0.001, 12)
    belief = new_belief(37.0, 0.15, at_s=0.0)
    after = learn(belief, np.full(12, 1.0), temperature, moisture, reading_sd=0.003).belief
    # all readings carry one time, so only the first is newer than the belief
    assert after.readings == 1
    times = 1.0 + np.arange(12) * 1e-6
    after = learn(belief, times, temperature, moisture, reading_sd=0.003).belief
    design = np.column_stack((np.ones(12), temperature - 37.0))
    prior = np.diag((1 / 0.02**2, 1 / 0.0036**2))
    information = design.T @ design / 0.003**2 + prior
    right = design.T @ moisture / 0.003**2 + prior @ np.array((0.15, -0.0099))
    level, slope = np.linalg.solve(information, right)
    assert (after.level, after.sensitivity) == pytest.approx((level, slope), rel=1e-6)
    assert after.sensitivity_sd == pytest.approx(
        np.sqrt(np.linalg.inv(information)[1, 1]), rel=1e-5
    )


def test_one_far_reading_is_doubted_and_a_second_beside_it_believed():
    belief = learned(0.155)
    once = learn(belief, [12_000.0], [37.0], [0.185])
    assert once.doubted == (0,)
    assert once.belief.level == belief.level
    twice = learn(once.belief, [13_000.0], [37.0], [0.184])
    assert twice.doubted == ()
    assert twice.belief.level > 0.17


def test_two_far_readings_on_opposite_sides_are_both_doubted():
    found = learn(learned(0.155), [12_000.0, 13_000.0], [37.0, 37.0], [0.185, 0.125])
    assert found.doubted == (0, 1)


def test_readings_are_learned_once():
    belief = learned(0.155)
    again = learn(belief, [1800.0, 3600.0], [37.0, 37.0], [0.2, 0.2])
    assert again.skipped == (0, 1)
    assert again.belief == belief


@given(st.lists(st.floats(0.12, 0.20), min_size=1, max_size=20))
def test_the_sensitivity_stays_in_its_band_and_the_covariance_positive(moistures):
    times = np.arange(1, len(moistures) + 1) * 1800.0
    temperature = 37.0 + np.where(np.arange(len(moistures)) % 2, 1.5, -1.5)
    belief = learn(new_belief(37.0, 0.155, at_s=0.0), times, temperature, moistures).belief
    assert 2.0 * -0.0099 - 1e-12 <= belief.sensitivity <= 0.36 * -0.0099 + 1e-12
    (level, slope, inlet), correlations = spread_of(belief)
    assert min(level, slope, inlet) > 0
    assert covariance_from((level, slope, inlet), correlations) == pytest.approx(belief.covariance)


def test_the_expectation_grows_less_certain_with_time():
    belief = learned(0.155)
    spreads = [belief.predict(37.0, at_s=belief.at_s + h * HOUR)[1] for h in (0, 1, 5, 20)]
    assert spreads == sorted(spreads)
    assert 0 < reading_weight(belief, 37.0, at_s=belief.at_s)[0] < 1


def test_wetter_grain_in_is_drier_out_at_one_column_temperature():
    belief = new_belief(37.0, 0.155, at_s=0.0, inlet_wb=0.22)
    assert belief.predict(37.0, inlet_wb=0.23)[0] == pytest.approx(0.155 - 0.003)


# --- decision -------------------------------------------------------------------------------


@given(st.floats(0.13, 0.18), st.floats(-0.02, 0.02))
def test_one_constant_added_to_moistures_and_target_leaves_the_move(moisture, shift):
    one = advise_setpoint(learned(moisture), LEVEL, situation())
    other = advise_setpoint(learned(moisture + shift), LEVEL, situation(target_wb=0.155 + shift))
    assert (one.kind, one.step) == (other.kind, pytest.approx(other.step))


@given(st.floats(0.0, 0.03))
def test_a_mirrored_error_mirrors_the_step(error):
    up = advise_setpoint(learned(0.155 + error), LEVEL, situation())
    down = advise_setpoint(learned(0.155 - error), LEVEL, situation())
    assert up.step == pytest.approx(-down.step)


@given(st.floats(0.12, 0.20), st.floats(0.05, 3.0), st.floats(0.05, 15.0), st.integers(1, 12))
def test_a_move_never_increases_the_expected_error(moisture, resolution, largest, readings):
    rules = Rules(resolution=resolution, largest_step=largest)
    advice = advise_setpoint(learned(moisture, readings), LEVEL, situation(), rules)
    assert advice.expected_moisture_wb is not None
    assert advice.after_moisture_wb is not None
    before = abs(advice.expected_moisture_wb - advice.aim_wb)
    assert abs(advice.after_moisture_wb - advice.aim_wb) <= before + 1e-12
    assert abs(advice.step) <= largest + 1e-9
    assert advice.step / resolution == pytest.approx(round(advice.step / resolution), abs=1e-6)
    assert (advice.kind == "move") == (advice.step != 0)


@pytest.mark.parametrize(
    "verdict", ["growing", "stuck", "disturbed", "too-short", "sensor-fault", "cycling", "calming"]
)
def test_no_move_while_the_column_swings_widely_or_cannot_be_judged(verdict):
    trend = replace(LEVEL, verdict=verdict, amplitude=2.0, period=HOUR, decay_ratio=1.0)
    advice = advise_setpoint(learned(0.175), trend, situation())
    assert advice.kind == "wait"
    assert advice.reasons[0] == f"trend-{verdict}"


def test_a_swing_that_is_small_in_moisture_does_not_forbid_a_move():
    trend = replace(LEVEL, verdict="cycling", amplitude=0.3, period=HOUR, decay_ratio=1.0)
    assert advise_setpoint(learned(0.175), trend, situation()).kind == "move"


def test_a_small_swing_about_a_mean_off_the_setpoint_forbids_a_move():
    swing = replace(LEVEL, verdict="cycling", amplitude=0.3, period=HOUR, decay_ratio=1.0)
    kinds = [
        advise_setpoint(
            learned(0.175), replace(swing, offset=limits * LEVEL.limits.offset), situation()
        ).kind
        for limits in (0.9, 1.5)
    ]
    assert kinds == ["move", "wait"]


def test_what_is_not_known_well_enough_is_stale_after_two_transits():
    belief = learned(0.155, readings=2)
    asked = [
        advise_setpoint(
            belief, None, situation(now_s=belief.at_s + transits * 2 * HOUR), Rules(dead_band=0.0)
        )
        for transits in (1.9, 2.1)
    ]
    assert [(one.kind, one.reasons[0]) for one in asked] == [
        ("hold", "inside-threshold"),
        ("wait", "stale"),
    ]


def test_a_fast_drift_is_waited_out_and_a_slow_one_is_not():
    limit = TrendLimits.from_sensitivity().slope
    fast = replace(LEVEL, verdict="drifting", slope=10 * limit)
    slow = replace(LEVEL, verdict="drifting", slope=1.2 * limit)
    away = replace(slow, offset=4 * LEVEL.limits.offset)
    kinds = [advise_setpoint(learned(0.175), t, situation()).kind for t in (fast, slow, away)]
    assert kinds == ["wait", "move", "wait"]


def test_a_drift_is_borne_longer_where_readings_are_matched_to_their_time_in_the_dryer():
    drift = replace(LEVEL, verdict="drifting", slope=4 * LEVEL.limits.slope)
    timed = replace(learned(0.175), reference_transit_s=2 * HOUR)
    kinds = [advise_setpoint(b, drift, situation()).kind for b in (learned(0.175), timed)]
    assert kinds == ["wait", "move"]


def test_a_disturbance_is_no_swing_where_readings_are_matched_to_their_time_in_the_dryer():
    timed = replace(learned(0.175), reference_transit_s=2 * HOUR)
    knocked = replace(LEVEL, verdict="disturbed", amplitude=2.0)
    assert advise_setpoint(timed, knocked, situation()).kind == "move"
    swinging = replace(knocked, verdict="calming")
    assert advise_setpoint(timed, swinging, situation()).kind == "wait"


def test_a_step_must_take_off_more_than_it_is_worth():
    belief = learned(0.155)
    half = 0.5 * abs(belief.sensitivity) / 1.8
    cost = Rules(dead_band=0.0, certainty=0.0, least_gain=0.002)
    free = replace(cost, least_gain=0.0)
    here = situation(target_wb=0.155 - 1.25 * half)
    kinds = [advise_setpoint(belief, LEVEL, here, rules) for rules in (free, cost)]
    assert [advice.kind for advice in kinds] == ["move", "hold"]
    assert kinds[1].reasons == ("too-small-to-set",)
    # on a fine panel the best step stands for the one that can be set
    fine = replace(cost, resolution=0.01)
    assert advise_setpoint(belief, LEVEL, situation(), fine).threshold == pytest.approx(
        0.002 * np.hypot(1.0, belief.sensitivity_sd / belief.sensitivity)
    )


@pytest.mark.parametrize("verdict", ["drifting", "disturbed", "calming"])
def test_a_restless_column_asks_for_more_evidence(verdict):
    restless = replace(
        LEVEL, verdict=verdict, amplitude=0.8, slope=1.2 * LEVEL.limits.slope, period=HOUR
    )
    rules = Rules(resolution=0.1)
    usual = advise_setpoint(learned(0.155), LEVEL, situation(), rules).threshold
    small, large = 0.155 + 1.12 * usual, 0.155 + 4 * usual
    assert advise_setpoint(learned(small), LEVEL, situation(), rules).kind == "move"
    asked = advise_setpoint(learned(small), restless, situation(), rules)
    assert (asked.kind, asked.reasons[0]) == ("wait", f"trend-{verdict}")
    assert advise_setpoint(learned(large), restless, situation(), rules).kind == "move"
    timed = replace(learned(small), reference_transit_s=2 * HOUR)
    assert advise_setpoint(timed, restless, situation(), rules).kind == "move"


def test_too_little_seen_forbids_a_move_unless_it_was_the_last_move_that_cut_it_short():
    short = replace(LEVEL, verdict="too-short")
    assert advise_setpoint(learned(0.175), short, situation()).kind == "wait"
    moved = situation(last_move_s=6 * 1800.0 - HOUR)
    assert advise_setpoint(learned(0.175), short, moved).kind == "move"


@pytest.mark.parametrize("moved", [None, 6 * 1800.0 - HOUR])
def test_a_trend_not_sure_enough_asks_for_more_evidence_with_and_without_a_last_move(moved):
    unsure = replace(LEVEL, verdict="too-short", remarks=(Remark("not-sure", (0.7,)),))
    here = situation(last_move_s=moved)
    rules = Rules(resolution=0.1)
    usual = advise_setpoint(learned(0.155), LEVEL, here, rules).threshold
    asked = advise_setpoint(learned(0.155 + 1.12 * usual), unsure, here, rules)
    assert (asked.kind, asked.reasons) == ("wait", ("trend-unsure",))
    assert advise_setpoint(learned(0.155 + 4 * usual), unsure, here, rules).kind == "move"
    away = replace(unsure, offset=4 * LEVEL.limits.offset)
    assert advise_setpoint(learned(0.175), away, here).reasons[0] == "trend-unsure"


def test_two_moves_do_not_follow_on_each_other():
    recent = situation(last_move_s=6 * 1800.0 - 600.0)
    advice = advise_setpoint(learned(0.175), LEVEL, recent)
    assert (advice.kind, advice.reasons[0]) == ("wait", "recent-move")
    assert advice.look_at_s > recent.now_s


def test_nothing_known_is_a_good_answer():
    advice = advise_setpoint(None, LEVEL, situation())
    assert (advice.kind, advice.reasons) == ("wait", ("no-readings",))
    assert advice.chance is None


def test_a_setpoint_above_the_grains_limit_comes_down_whatever_the_trend():
    trend = replace(LEVEL, verdict="growing")
    for belief in (None, learned(0.18)):
        advice = advise_setpoint(belief, trend, situation(highest=35.2))
        assert advice.kind == "move"
        assert advice.setpoint <= 35.2


@given(st.floats(0.14, 0.20), st.floats(36.0, 45.0))
def test_no_advice_passes_the_grains_limit(moisture, highest):
    advice = advise_setpoint(learned(moisture), LEVEL, situation(highest=highest))
    assert advice.kind != "move" or advice.setpoint <= highest + 1e-6


def test_the_readings_that_would_change_its_mind_do_change_it():
    here = situation()
    belief = learned(0.155)
    advice = advise_setpoint(belief, LEVEL, here)
    assert advice.kind == "hold"
    assert advice.move_above_wb is not None
    later = here.now_s + 0.5 * here.transit_s
    for nudge, held in ((-0.0005, True), (0.0005, False)):
        after = learn(belief, [later], [37.0], [advice.move_above_wb + nudge]).belief
        again = advise_setpoint(after, LEVEL, replace(here, now_s=later))
        inside = again.threshold is not None and (
            abs(again.expected_moisture_wb - 0.155) <= advice.threshold
        )
        assert inside is held


def test_no_reading_that_no_grain_can_give_is_named():
    doubts = (0.04, 0.1, 0.3)
    found = [
        advise_setpoint(learned(0.155), LEVEL, situation(inlet_doubt=doubt)) for doubt in doubts
    ]
    assert {advice.reasons for advice in found} == {("inside-threshold",)}
    assert [advice.move_below_wb is None for advice in found] == [False, True, True]
    assert [advice.move_above_wb is None for advice in found] == [False, False, True]


def test_the_meters_own_uncertainty_widens_the_chance_not_the_threshold():
    sure, unsure = (
        advise_setpoint(learned(0.165), LEVEL, situation(meter_sd=sd)) for sd in (0.0, 0.008)
    )
    assert sure.threshold == unsure.threshold
    assert sure.step == unsure.step
    assert sure.chance > unsure.chance > 0.5


def test_a_stated_chance_is_students_t_with_three_degrees_of_freedom():
    """SciPy's distribution as reference, drawn to what is believed beforehand."""
    advice = advise_setpoint(learned(0.165), LEVEL, situation(meter_sd=0.008))
    error = abs(advice.expected_moisture_wb - advice.aim_wb)
    read, before = np.hypot(advice.expected_sd, 0.008) ** -2, STEERED_SD**-2
    z = error * read / (read + before) * np.sqrt(read + before)
    assert advice.chance == pytest.approx(stats.t.cdf(z / TAIL_WIDTH, 3), rel=1e-12)


def test_a_direction_is_less_sure_while_another_lot_passes_the_sensors():
    belief = learn(
        new_belief(37.0, 0.165, at_s=0.0, inlet_wb=0.22),
        [1800.0, 3600.0], [37.0, 37.0], [0.165, 0.165], inlets_wb=[0.22, 0.22],
    ).belief  # fmt: skip
    one, two = (
        advise_setpoint(belief, LEVEL, situation(inlet_wb=0.22, passing_wb=passing))
        for passing in (0.22, 0.26)
    )
    assert one.chance > two.chance > 0.5
    assert (one.kind, one.step, one.threshold) == (two.kind, two.step, two.threshold)
    unread = advise_setpoint(belief, LEVEL, situation(inlet_wb=0.22))
    assert unread.chance == one.chance


def test_an_error_just_past_half_a_step_does_not_turn_the_setpoint():
    belief = replace(learned(0.155), covariance=(1e-8, 0.0, 0.0, 1e-10, 0.0, 1e-4))
    half = 0.5 * abs(belief.sensitivity) / 1.8
    kinds = [
        advise_setpoint(belief, LEVEL, situation(target_wb=0.155 - share * half)).kind
        for share in (1.07, 1.15)
    ]
    assert kinds == ["hold", "move"]


def test_the_table_meets_the_aim_at_every_inlet_moisture():
    belief = learn(
        new_belief(37.0, 0.155, at_s=0.0, inlet_wb=0.22),
        [1800.0, 3600.0], [37.0, 37.5], [0.156, 0.151], inlets_wb=[0.22, 0.23],
    ).belief  # fmt: skip
    for inlet, (setpoint, spread) in zip(
        (0.18, 0.26), setpoint_table(belief, situation(), (0.18, 0.26)), strict=True
    ):
        assert belief.predict(setpoint, inlet_wb=inlet)[0] == pytest.approx(0.155)
        assert spread > 0


def test_a_table_needs_an_inlet_moisture():
    with pytest.raises(Inconsistent):
        setpoint_table(learned(0.155), situation(), (0.2,))


def test_values_out_of_range_are_named():
    with pytest.raises(OutOfRange) as caught:
        advise_setpoint(None, None, situation(setpoint=500.0))
    assert caught.value.name == "setpoint"


def test_a_record_becomes_pairs_and_pairs_a_belief():
    column = np.where(TIMES < 2 * HOUR, 36.0, 38.0)
    readings = np.array([1.2, 1.6, 2.0, 3.2, 3.6, 3.9]) * HOUR
    moisture = 0.155 - 0.0099 * (np.where(readings < 2.6 * HOUR, 36.0, 38.0) - 37.0)
    pairs = pair_readings(readings, moisture, TIMES, column, Transport(lag_s=0.5 * HOUR))
    assert pairs.found.all()
    belief, doubted = learn_from_pairs(pairs, None, reference_temperature=37.0)
    assert belief is not None
    assert doubted == ()
    assert belief.readings == 6
    assert belief.level == pytest.approx(0.155, abs=0.003)


@pytest.mark.parametrize(
    ("name", "value"),
    [("now_s", math.nan), ("transit_s", -5.0), ("transit_s", math.inf), ("meter_offset", 5.0)],
)
def test_a_situation_that_cannot_be_is_refused_by_name(name, value):
    with pytest.raises(OutOfRange) as refused:
        advise_setpoint(learned(0.165), LEVEL, situation(**{name: value}))
    assert refused.value.name == name


# --- money ----------------------------------------------------------------------------------


def test_over_drying_costs_water_and_fuel():
    # 15.5 to 14.5 % loses 1.17 % of the weight (100 - 84.5/85.5 * 100), published shrink relation
    cost = money.error_cost(0.145, 0.155, 1.0, money.Prices(grain=1.0))
    sold_at_target = 0.855 / 0.845
    assert cost / sold_at_target == pytest.approx(0.0117, abs=5e-5)


def test_the_target_costs_nothing_and_both_sides_something():
    prices = money.Prices(0.17, 0.0018, 0.003)
    assert money.error_cost(0.155, 0.155, 5.0, prices) == 0
    assert money.error_cost(0.150, 0.155, 5.0, prices) > 0
    assert money.error_cost(0.160, 0.155, 5.0, prices) > 0


def test_the_aim_is_the_newsvendors_quantile():
    # z(3/4) = 0.6745 (standard normal table)
    assert money.aim(0.155, 0.01, 3.0) == pytest.approx(0.155 - 0.006745, abs=1e-6)
    assert money.aim(0.155, 0.01, 1 / 3) == pytest.approx(0.155 + 0.006745, abs=1e-6)


def test_a_price_of_nothing_is_a_bound_and_a_missing_one_is_unknown():
    def ratio(*prices: float | None) -> float | None:
        return money.cost_ratio(0.155, money.Prices(*prices))

    low, high = money.COST_RATIO.low, money.COST_RATIO.high
    assert ratio(0.17, 0.0018, 0.0) == low
    assert ratio(0.0, 0.0, 0.003) == high
    assert ratio(0.17, 0.0018, 1e-12) == low
    for unknown in [(), (0.17, 0.0018), (None, None, 0.003), (0.0, None, 0.003), (0.0, 0.0, 0.0)]:
        assert ratio(*unknown) is None, unknown


@given(st.floats(0.05, 20.0), st.floats(0.001, 0.01))
def test_the_aim_is_the_cheapest_place_to_stand(ratio, spread):
    def expected_cost(aim: float) -> float:
        # E of a two-slope loss under a normal spread, by its closed form
        z = aim / spread
        density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
        below = 0.5 * (1 + math.erf(-z / math.sqrt(2)))
        return ratio * (spread * density + aim * (1 - below)) + (spread * density - aim * below)

    best = money.aim(0.0, spread, ratio)
    here = expected_cost(best)
    assert here <= expected_cost(best + 0.05 * spread) + 1e-12
    assert here <= expected_cost(best - 0.05 * spread) + 1e-12


# --- fire -----------------------------------------------------------------------------------


def test_a_stop_is_found_at_the_end_of_the_log_only():
    assert fire.stopped_since([0.0, 60.0, 120.0], [5.0, 0.0, 0.0]) == 60.0
    assert fire.stopped_since([0.0, 60.0, 120.0], [5.0, 0.0, 5.0]) is None
    assert fire.stopped_since([0.0], [0.0]) == 0.0
    assert fire.stopped_since([0.0, 60.0], [5.0, 0.05]) == 60.0


def test_a_long_trickle_is_a_stop_however_often_it_is_logged():
    rates = [5.0] * 10 + [0.05] * 30
    assert fire.stopped_since(np.arange(40) * 60.0, rates) == 600.0


def test_a_discharge_that_works_by_strokes_stands_still_once_they_cease():
    rates = [5.0, 0.05] * 10 + [0.05] * 15
    assert fire.stopped_since(np.arange(35) * 60.0, rates) == 1140.0


@pytest.mark.parametrize(
    ("values", "climbs"),
    [
        ([37.0, 37.0, 37.5, 38.2, 39.0], True),
        ([37.0, 37.0, 37.0, 36.8, 36.5], False),
        ([37.0, 37.0, 45.0, 37.0, 37.1], False),  # one spike, since gone
        ([37.0, 37.0, 37.1, 37.0, 38.2], False),  # one reading a little up
        ([37.0, 37.0, 37.1, 45.0, 45.0], True),
        ([37.0, 37.0, 60.0, 37.0, 37.1], True),  # too hot for a spike: a sensor may have burnt off
        ([37.0, 33.0, 32.0, 36.0, 36.5], True),  # fallen first
        ([37.0, 33.0, 32.0, 34.0, 34.5], False),
    ],
)
def test_a_climb_since_the_stop_is_called(values, climbs):
    found = fire.climbing("column", np.arange(5) * 300.0, values, 300.0)
    assert (found is not None) is climbs


def test_one_last_reading_far_up_is_called_too_and_said_to_be_one():
    found = fire.climbing("column", np.arange(5) * 300.0, [37.0, 37.0, 37.1, 37.0, 45.0], 300.0)
    assert found is not None
    assert found.rise == pytest.approx(8.0)
    assert not found.confirmed


# --- feed-forward ---------------------------------------------------------------------------


def plan(*changes: KnownChange, **options: Any) -> Plan:
    return plan_changes(
        changes, 37.0, **{"transit_s": 2 * HOUR, "lag_s": HOUR, "resolution": 0.5} | options
    )


LOW_SENSORS_LAG = 0.6 * HOUR  # of two hours: they lie at 0.7 of the transit


def test_wetter_grain_is_bridged_and_lowers_the_setpoint_when_it_reaches_low_sensors():
    found = plan(KnownChange("inlet-moisture", 0.0, 0.03), lag_s=LOW_SENSORS_LAG)
    up, down = found.steps
    # as far as one step goes, 5/3 K: 0.42 of the rate's logarithm would be worth 2.5 K
    assert (up.at_s, up.step, up.setpoint) == (0.7 * HOUR, 1.5, 38.5)
    # 3 points x 0.3 over 0.99 point a kelvin: 0.91 K down, as near as half degrees go
    assert (down.at_s, down.setpoint) == (1.4 * HOUR, 36.0)
    (effect,) = found.effects
    assert effect.bridge == pytest.approx(3.0 / 1.8)
    # by the line through 22 %: time in the dryer grows with the water, 0.139 a point at 22 %
    per_water = 13.9 * 0.78**2
    more = 0.25 / 0.75 - 0.22 / 0.78
    assert effect.rate_change == pytest.approx(1.0 / (1.0 + per_water * more) - 1.0)
    assert effect.at_discharge_s == 2 * HOUR


def test_the_higher_the_sensors_lie_the_smaller_is_the_bridge_and_half_way_up_there_is_none():
    lot = KnownChange("inlet-moisture", 0.0, -0.03)
    bridges = [plan(lot, lag_s=h * HOUR).effects[0].bridge for h in (0.2, 0.6, 0.8, 1.0, 1.4)]
    assert bridges == pytest.approx([-5 / 3, -5 / 3, -5 / 6, 0.0, 0.0])
    assert math.copysign(1.0, bridges[-1]) == 1.0
    assert [(s.at_s, s.step) for s in plan(lot).steps] == [(HOUR, 1.0)]


def test_drier_grain_is_the_mirror_image():
    wetter, drier = (
        plan(KnownChange("inlet-moisture", 0.0, sign * 0.03), lag_s=LOW_SENSORS_LAG)
        for sign in (1, -1)
    )
    assert len(wetter.steps) == 2
    assert [s.step for s in drier.steps] == pytest.approx([-s.step for s in wetter.steps])


def test_a_lot_already_at_the_sensors_needs_no_bridge_any_more():
    lot = KnownChange("inlet-moisture", 0.0, 0.03)
    (step,) = plan(lot, lag_s=LOW_SENSORS_LAG, now_s=1.5 * HOUR).steps
    assert (step.at_s, step.step) == (1.5 * HOUR, -1.0)
    on_its_way = plan(lot, lag_s=LOW_SENSORS_LAG, now_s=HOUR)
    assert [s.at_s for s in on_its_way.steps] == [HOUR, 1.4 * HOUR]


@pytest.mark.parametrize(
    ("now_s", "read_s", "planned"),
    [
        (1.4 * HOUR, None, True),
        (1.4 * HOUR, [-1.0], True),  # the last inlet reading was of the grain before
        (1.4 * HOUR, [-1.0, 0.0], False),
        (1.4 * HOUR, [-1.0, 0.2 * HOUR], True),  # the first that was read is not long enough there
        (1.6 * HOUR, [-1.0, 0.2 * HOUR, 5.0 * HOUR], False),
        (2.0 * HOUR, [-1.0, 1.5 * HOUR], False),  # all grain that leaves is of it
        (0.5 * HOUR, [0.0], True),  # told, but not at the sensors yet
        (2.0 * HOUR, None, False),
        (8_760.0 * HOUR, None, False),
    ],
)
def test_a_change_that_readings_show_already_is_not_planned_again(now_s, read_s, planned):
    change = KnownChange("inlet-moisture", 0.0, 0.03)
    found = plan(change, now_s=now_s, inlet_times_s=read_s)
    assert bool(found.steps) is bool(found.effects) is planned
    assert found.shown == (() if planned else (change,))


def test_a_bridge_never_passes_the_grains_limit():
    found = plan(KnownChange("inlet-moisture", 0.0, 0.03), lag_s=LOW_SENSORS_LAG, highest=37.7)
    assert max(step.setpoint for step in found.steps) <= 37.7
    assert found.steps[-1].setpoint == 36.0
    assert found.held_back


def test_grain_known_to_need_no_drying_gets_neither_a_rate_nor_a_setpoint():
    found = plan(KnownChange("inlet-moisture", 0.0, -0.07), drying=Drying(0.22, 0.155))
    (effect,) = found.effects
    assert not found.steps
    assert (effect.rate_change, effect.to_dry) == (None, False)


def test_a_rate_beyond_the_line_is_not_told_but_its_direction_is_used():
    lot = KnownChange("inlet-moisture", 0.0, 0.15)
    found = plan(lot, lag_s=LOW_SENSORS_LAG, drying=Drying(0.17, 0.155))
    (effect,) = found.effects
    assert effect.rate_change is None
    assert effect.bridge == pytest.approx(3.0 / 1.8)
    assert len(found.steps) == 2


def test_one_change_after_another_starts_from_where_the_first_has_led():
    first, second = (
        effect.rate_change
        for effect in plan(
            KnownChange("inlet-moisture", 0.0, 0.03),
            KnownChange("inlet-moisture", HOUR, -0.03),
            drying=Drying(0.20, 0.155),
        ).effects
    )
    assert (1.0 + first) * (1.0 + second) == pytest.approx(1.0)


def test_a_hotter_plenum_raises_it_in_two_halves():
    steps = plan(KnownChange("plenum-temperature", 0.0, 5.0)).steps
    assert [(s.at_s, s.step) for s in steps] == [(0.0, 1.0), (HOUR, 1.0)]


@given(
    st.lists(st.tuples(st.floats(0.0, 2e4), st.floats(-15.0, 15.0)), max_size=4),
    st.sampled_from([0.5, 1.0, 5.0 / 3.0]),
)
def test_no_planned_move_is_larger_than_the_largest_and_none_is_lost(changes, largest):
    found = plan(
        *(KnownChange("plenum-temperature", at, by) for at, by in changes), largest_move=largest
    )
    assert max((abs(step.step) for step in found.steps), default=0.0) <= largest + 1e-9
    last = found.steps[-1].setpoint if found.steps else 37.0
    # to half a step of the panel, or one where the bound cut what was rounded up
    assert abs(last - 37.0 - sum(e.setpoint_change for e in found.effects)) <= 0.5 + 1e-9


def test_a_cold_front_lowers_it_little():
    steps = plan(KnownChange("ambient-temperature", 0.0, -10.0), resolution=0.1).steps
    assert sum(s.step for s in steps) == pytest.approx(-1.2)


@pytest.mark.parametrize("kind", ["inlet-moisture", "plenum-temperature"])
@pytest.mark.parametrize("amount", [0.0, -0.0])
def test_no_change_gives_a_plain_zero(kind, amount):
    (effect,) = plan(KnownChange(kind, 0.0, amount)).effects
    told = (effect.setpoint_change, effect.setpoint_sd, effect.bridge, effect.rate_change)
    assert [math.copysign(1.0, value) for value in told] == [1.0] * 4


def test_a_change_and_its_reverse_leave_the_setpoint():
    found = plan(
        KnownChange("inlet-moisture", 0.0, 0.04), KnownChange("inlet-moisture", HOUR, -0.04)
    )
    assert found.steps[-1].setpoint == pytest.approx(37.0)
    assert [s.at_s for s in found.steps] == sorted(s.at_s for s in found.steps)


def test_the_schedule_stays_below_the_grains_limit():
    found = plan(KnownChange("inlet-moisture", 0.0, -0.10), highest=38.2)
    assert found.held_back
    assert max(s.setpoint for s in found.steps) <= 38.2


@given(st.lists(st.tuples(st.floats(0.0, 1e5), st.floats(-0.05, 0.05)), max_size=6))
def test_rounding_never_accumulates(parts):
    found = plan(*(KnownChange("inlet-moisture", at, by) for at, by in parts))
    exact = 37.0 + sum(effect.setpoint_change for effect in found.effects)
    last = found.steps[-1].setpoint if found.steps else 37.0
    assert abs(last - exact) <= 0.25 + 1e-9


def test_the_sizes_are_those_of_the_column_model():
    # finite differences of a column model at its base point, in degF and points: rate +5 % gives
    # +0.33 and -0.5, inlet +1 point +0.92, all plenums +10 degF -0.5 and +4.8 (read off a model)
    per_log_rate = 0.33 / math.log(1.05)
    assert pytest.approx(-0.92 / per_log_rate * 100, rel=0.03) == RATE_PER_MOISTURE
    slope = -0.33 / 0.5
    plenum = (4.8 + 0.5 / slope) / 10
    assert SETPOINT_PER_KELVIN["plenum-temperature"] == pytest.approx(plenum, abs=0.01)
