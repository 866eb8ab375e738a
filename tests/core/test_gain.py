"""Properties and corners of the gain advice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outfeed.errors import OutOfRange, UnknownName
from outfeed.steering.gain import (
    GainStep,
    Plant,
    advise_gain,
    internal_model_gain,
    share_of_ultimate_gain,
    throughput_multiplier,
)
from outfeed.steering.pairs import Transport
from outfeed.steering.trend import VERDICTS, OutputTrace, Trend, judge_trend

TIMES = np.arange(1440) * 10.0
LEVEL = judge_trend(TIMES, 80.0 + np.random.default_rng(2).normal(0.0, 0.1, TIMES.size), 80.0)


def _trend(verdict: str, sure: float = 0.9, **changes: object) -> Trend:
    rest = (1.0 - sure) / (len(VERDICTS) - 1)
    chances = dict.fromkeys(VERDICTS, rest) | {verdict: sure}
    return replace(LEVEL, verdict=verdict, probabilities=chances, remarks=(), **changes)  # type: ignore[arg-type]


def _swing(verdict: str, decay: float, sure: float = 0.9) -> Trend:
    return _trend(verdict, sure, decay_ratio=decay, period=3600.0, amplitude=2.0, cycles_seen=4.0)


def _creep(offset: float = 2.0, slope: float = -0.2, sure: float = 0.9) -> Trend:
    ends = {"slope_low": slope - 0.05, "slope_high": slope + 0.05}
    return _trend("drifting", sure, offset=offset, slope=slope, decay_ratio=None, **ends)


def _twice(trend: Trend, apart: float = 3600.0) -> list[Trend]:
    """Two looks that agree, the second with so much new [s]."""
    begin, end = trend.window
    return [trend, replace(trend, window=(begin + apart, end + apart))]


def test_steady_cycling_asks_for_the_target_share_and_not_for_a_gentle_cut() -> None:
    advice = advise_gain(_twice(_swing("cycling", 1.0)))
    assert advice.multiplier == pytest.approx(0.42)
    assert advice.share_of_ultimate == pytest.approx(1.0)
    assert advice.reason == "too-lively"


def test_a_slow_creep_asks_for_more_gain() -> None:
    advice = advise_gain(_twice(_creep()))
    assert advice.multiplier == 2.0
    assert advice.reason == "too-slow"


def test_a_temperature_on_its_way_out_raises_no_gain() -> None:
    leaving = _creep(2.0, 0.5)
    assert advise_gain(_twice(replace(leaving, slope_low=0.1))).reason == "wait"
    assert advise_gain(_twice(replace(leaving, slope_low=-0.1))).reason == "confirm"


@pytest.mark.parametrize(
    "offset, slope, high, reason",
    [
        (0.3, -0.1, 0.1, "wait"),  # level allows 0.5 K: as near as a loop that has just settled
        (0.3, 0.1, 0.3, "wait"),
        (0.3, -0.1, -0.05, "too-slow"),
        (0.6, -0.1, 0.1, "confirm"),
    ],
)
def test_a_small_distance_is_a_creep_only_where_it_surely_closes(offset, slope, high, reason):
    near = replace(_creep(offset, slope), slope_low=-0.3, slope_high=high)
    assert advise_gain(_twice(near)).reason == reason


@pytest.mark.parametrize(
    "before, apart, reason",
    [(2.0, 3600.0, "confirm"), (2.3, 3600.0, "too-slow"), (2.3, 600.0, "confirm")],
)
def test_a_distance_that_lasts_is_too_little_gain_only_where_it_has_shrunk(before, apart, reason):
    # a load that rises steadily holds a loop of any gain off its setpoint
    unsure = {"slope_low": -0.5, "slope_high": 0.5}
    first, last = _twice(replace(_creep(2.0, -0.1), **unsure), apart)
    assert advise_gain([replace(first, offset=before), last]).reason == reason


@pytest.mark.parametrize("transits, reason", [(1.1, "wait"), (0.9, "too-slow")])
def test_what_may_be_half_of_the_loops_own_swing_raises_no_gain(transits, reason) -> None:
    creep = replace(_creep(), span=4.0 * 3600.0)
    assert advise_gain(_twice(creep), transit=transits * creep.span).reason == reason


@pytest.mark.parametrize(
    "slope, high, reason",
    [(-0.1, -0.05, "too-slow"), (-0.1, 0.05, "output-at-limit"), (0.1, 0.2, "output-at-limit")],
)
def test_what_seems_stuck_but_surely_closes_in_is_too_little_gain(slope, high, reason) -> None:
    stuck = _trend("stuck", offset=2.0, slope=slope, slope_low=-0.2, slope_high=high)
    if slope > 0.0:
        stuck = replace(stuck, slope_low=0.05)
    assert advise_gain(_twice(stuck)).reason == reason


def test_no_gain_is_raised_while_the_output_stands_at_its_limit() -> None:
    rng = np.random.default_rng(9)
    times = np.arange(60) * 240.0
    creep = 82.0 - 3.3 * np.exp(-times / 15_000.0) + rng.normal(0.0, 0.1, times.size)
    output = np.where(times < 4000.0, 40.0 - times / 1000.0, 20.0)
    reasons = []
    for low in (20.0, 5.0):
        held = OutputTrace(times, output, low, 90.0)
        trend = judge_trend(times, creep, 82.0, output=held)
        assert trend.verdict == "drifting"
        reasons.append(advise_gain(_twice(trend)).reason)
    assert reasons == ["output-at-limit", "too-slow"]


def test_a_creep_that_closes_soon_is_left_alone() -> None:
    assert advise_gain(_twice(_creep(1.0, -2.0))).multiplier == 1.0


@pytest.mark.parametrize("verdict", ["level", "stuck", "disturbed", "too-short", "sensor-fault"])
def test_what_tells_nothing_of_the_gain_changes_nothing(verdict: str) -> None:
    assert advise_gain(_twice(_trend(verdict, decay_ratio=None, amplitude=None))).multiplier == 1.0


def test_level_is_called_no_evidence_and_not_proof() -> None:
    assert advise_gain(LEVEL).reason == "no-evidence-against"


def test_an_unsure_look_waits_for_a_second_one() -> None:
    first = advise_gain(_swing("cycling", 1.0, sure=0.6))
    assert (first.multiplier, first.reason, first.confirmed) == (1.0, "confirm", False)
    assert first.look_again_minutes >= 30.0
    assert advise_gain(_twice(_swing("cycling", 1.0, sure=0.6))).multiplier < 1.0


@pytest.mark.parametrize("apart, multiplier", [(0.0, 1.0), (1800.0, 1.0), (3600.0, 0.42)])
def test_a_second_look_counts_only_with_a_period_of_new_readings(
    apart: float, multiplier: float
) -> None:
    looks = _twice(_swing("cycling", 1.0, sure=0.6), apart)
    assert advise_gain(looks).multiplier == pytest.approx(multiplier)
    between = [*_twice(looks[0], 0.5 * apart), looks[1]]
    assert advise_gain(between).multiplier == pytest.approx(multiplier)


@pytest.mark.parametrize("apart, confirmed", [(900.0, False), (1800.0, True)])
def test_where_no_swing_shows_half_an_hour_is_enough(apart: float, confirmed: bool) -> None:
    creep = replace(_creep(sure=0.65), period=None)
    assert advise_gain(_twice(creep, apart)).confirmed is confirmed


def test_one_trace_sent_twice_confirms_nothing() -> None:
    times = np.arange(26) * 300.0
    noise = np.random.default_rng(1).normal(0.0, 0.4 / 1.8, times.size)
    seen = judge_trend(times, 82.0 + 2.5 / 1.8 * np.sin(2 * np.pi * times / 4800.0) + noise, 82.0)
    assert advise_gain(seen).reason == "confirm"
    assert advise_gain([seen, seen]).reason == "confirm"


def test_looks_from_before_the_last_change_do_not_count() -> None:
    later = GainStep(LEVEL.window[0] + 3601.0, 0.5)
    assert advise_gain(_twice(_swing("cycling", 1.0)), history=[later]).reason == "wait"


@pytest.mark.parametrize("hours", [2.0, 12.0])
def test_a_trace_that_begins_with_the_last_change_counts(hours: float) -> None:
    times = np.arange(0.0, hours * 3600.0, 20.0)
    noise = np.random.default_rng(5).normal(0.0, 0.1, times.size)
    trend = judge_trend(times, 80.0 + 3.0 * np.sin(2 * np.pi * times / 2400.0) + noise, 80.0)
    assert advise_gain([trend], history=[GainStep(0.0, 0.9)]).reason != "wait"
    assert advise_gain([trend], history=[GainStep(60.0, 0.9)]).reason == "wait"


def test_a_verdict_that_turns_round_goes_half_the_way_back() -> None:
    advice = advise_gain(_twice(_creep()), history=[GainStep(-1.0, 0.5)])
    assert advice.multiplier == pytest.approx(2.0**0.5)
    assert advice.reason == "between-two-steps"


@pytest.mark.parametrize(
    "trend, last, wanted",
    [(_creep(3.0, -2.0), 0.4, 1.5), (_swing("cycling", 0.4), 4.0, 0.56)],
)
def test_the_way_back_goes_no_further_than_the_trace_asks(
    trend: Trend, last: float, wanted: float
) -> None:
    advice = advise_gain(_twice(trend), history=[GainStep(-1.0, last)])
    assert advice.multiplier == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize("raised", [1.02, 1.5])
def test_a_loop_at_its_limit_is_not_left_there_because_it_was_raised_a_little(raised) -> None:
    advice = advise_gain(_twice(_swing("growing", 1.3)), history=[GainStep(-1.0, raised)])
    assert advice.share_of_ultimate is not None
    assert advice.multiplier * advice.share_of_ultimate < 0.7
    assert advice.reason == "too-lively"


def test_a_swing_that_two_cuts_did_not_change_is_not_the_loops() -> None:
    history = [GainStep(-2.0, 0.6, 2.1), GainStep(-1.0, 0.6, 2.0)]
    advice = advise_gain(_twice(_swing("cycling", 1.0)), history=history)
    assert (advice.multiplier, advice.reason) == (1.0, "not-the-loop")
    # what still grows is cut however often it was
    assert advise_gain(_twice(_swing("growing", 1.0)), history=history).multiplier < 1.0


def test_a_creep_that_may_be_half_a_swing_raises_nothing() -> None:
    creep = _creep(sure=0.65)
    vague = creep.probabilities | {"too-short": 0.35, "drifting": 0.4}
    assert advise_gain(_twice(creep)).reason == "too-slow"
    assert advise_gain(_twice(replace(creep, probabilities=vague))).reason == "wait"


@pytest.mark.parametrize("amplitude, reason", [(0.02, "no-evidence-against"), (0.04, "too-lively")])
def test_a_small_swing_is_followed_back_over_four_turns_at_most(
    amplitude: float, reason: str
) -> None:
    # half as high from turn to turn: four turns back 16 times as high, ten turns a thousand times
    small = _trend("level", decay_ratio=0.5, amplitude=amplitude, period=3600.0, cycles_seen=10.0)
    assert advise_gain(_twice(small)).reason == reason


@pytest.mark.parametrize("cycles, reason", [(1.5, "confirm"), (2.0, "too-lively")])
def test_one_sure_look_is_enough_only_with_cycles_seen(cycles: float, reason: str) -> None:
    assert advise_gain(replace(_swing("cycling", 1.0), cycles_seen=cycles)).reason == reason


@pytest.mark.parametrize(
    "trend, transit, minutes",
    [
        (_swing("cycling", 1.0), None, 120.0),
        (replace(_swing("cycling", 1.0), period=10_800.0), None, 360.0),
        (replace(_swing("cycling", 1.0), period=5400.0), 10_800.0, 360.0),
        (_swing("cycling", 1.0, sure=0.6), None, 60.0),
        (_swing("cycling", 1.0, sure=0.6), 7200.0, 60.0),
        (_trend("too-short", minutes_missing=20.0), 10_800.0, 20.0),
        (LEVEL, 14_400.0, 240.0),
    ],
)
def test_the_next_look_waits_for_periods_and_transits(
    trend: Trend, transit: float | None, minutes: float
) -> None:
    assert advise_gain(trend, transit=transit).look_again_minutes == pytest.approx(minutes)


def test_a_swing_far_slower_than_the_loop_could_is_not_the_loops() -> None:
    slow = replace(_swing("cycling", 1.0), period=40_000.0)
    assert advise_gain(_twice(slow), transit=3600.0).reason == "not-the-loop"
    assert advise_gain(_twice(_swing("cycling", 1.0)), transit=3600.0).multiplier < 1.0


def test_a_small_slow_wave_in_a_level_trace_is_blamed_on_nothing() -> None:
    wave = _trend("level", decay_ratio=0.5, amplitude=0.2, period=40_000.0, cycles_seen=2.0)
    advice = advise_gain(_twice(wave), transit=3600.0)
    assert (advice.reason, advice.share_of_ultimate) == ("no-evidence-against", None)


def test_a_level_trace_at_a_higher_rate_is_given_more_integral_action() -> None:
    advice = advise_gain(LEVEL, 3.0, rate=12.0, right_rate=10.0)
    assert (advice.reason, advice.changes) == ("throughput", True)
    assert advice.integral_multiplier == pytest.approx(1.2)
    assert (advice.multiplier, advice.gain) == (1.0, 3.0)
    alone = advise_gain(LEVEL, 3.0, rate=12.0, right_rate=10.0, controller="integral-only")
    assert alone.multiplier == alone.integral_multiplier == pytest.approx(1.2)
    assert alone.gain == pytest.approx(3.6)


def test_evidence_from_the_trace_outweighs_the_rate() -> None:
    advice = advise_gain(_twice(_swing("growing", 1.6)), rate=20.0, right_rate=10.0)
    assert advice.multiplier < 1.0


def test_throughput_multipliers_chain() -> None:
    there, back = throughput_multiplier(8.0, 10.0), throughput_multiplier(10.0, 8.0)
    assert there * back == pytest.approx(1.0)


def test_a_known_plant_gets_a_physical_gain_beside_the_multiplier() -> None:
    physical = advise_gain(LEVEL, plant=Plant(-0.5, 600.0, 1200.0)).physical
    assert physical is not None
    assert physical.proportional == pytest.approx(1200.0 / (2 * 0.5 * 600.0))
    assert internal_model_gain(Plant(1.0, 600.0, 1200.0), "integral-only").integral_time is None


@given(
    decay=st.floats(1e-3, 20.0),
    sure=st.floats(0.3, 1.0),
    verdict=st.sampled_from(["growing", "cycling", "calming"]),
    kind=st.sampled_from(["pi", "integral-only"]),
)
@settings(max_examples=60)
def test_a_swing_never_raises_the_gain_and_steps_stay_bounded(
    decay: float, sure: float, verdict: str, kind: str
) -> None:
    advice = advise_gain(_twice(_swing(verdict, decay, sure)), 5.0, controller=kind)
    assert 0.4 <= advice.multiplier <= 1.0
    assert advice.gain == pytest.approx(5.0 * advice.multiplier)


@given(offset=st.floats(-9.0, 9.0), slope=st.floats(-9.0, 9.0), sure=st.floats(0.3, 1.0))
@settings(max_examples=60)
def test_a_creep_never_lowers_the_gain(offset: float, slope: float, sure: float) -> None:
    assert 1.0 <= advise_gain(_twice(_creep(offset, slope, sure))).multiplier <= 2.0


@given(share=st.floats(0.4, 1.9), kind=st.sampled_from(["pi", "integral-only"]))
@settings(max_examples=40)
def test_the_share_of_the_ultimate_gain_rises_with_the_decay_ratio(share: float, kind: str) -> None:
    assert share_of_ultimate_gain(1.0, kind) == pytest.approx(1.0)
    assert share_of_ultimate_gain(0.9 * share, kind) < share_of_ultimate_gain(share, kind)


def test_an_unknown_controller_and_a_gain_of_zero_are_refused() -> None:
    with pytest.raises(UnknownName):
        advise_gain(LEVEL, controller="fuzzy")
    with pytest.raises(OutOfRange) as refused:
        advise_gain(LEVEL, 0.0)
    assert refused.value.name == "present_gain"


@pytest.mark.parametrize("decay", [0.0, -1.0, float("nan"), float("inf")])
def test_a_decay_ratio_that_is_none_is_refused(decay: float) -> None:
    with pytest.raises(OutOfRange) as refused:
        share_of_ultimate_gain(decay)
    assert refused.value.name == "decay_ratio"


@pytest.mark.parametrize("transit", [599.0, 86_401.0])
def test_gain_and_setpoint_take_the_same_transit_times(transit: float) -> None:
    with pytest.raises(OutOfRange):
        advise_gain(LEVEL, transit=transit)
    with pytest.raises(OutOfRange):
        Transport(transit_s=transit).transit_at(0.0)


DEGF = 5.0 / 9.0
FIVE_HOURS = np.arange(60) * 300.0


def test_no_gain_is_raised_far_below_the_setpoint() -> None:
    values = (53.0 - 32.0 + 0.7 * FIVE_HOURS / 3600.0) * DEGF
    trend = judge_trend(FIVE_HOURS, np.round(values, 2), 68.0 * DEGF)
    advice = advise_gain([trend])
    assert (advice.multiplier, advice.reason, advice.look_again_minutes) == (1.0, "far-below", 5.0)


@pytest.mark.parametrize("since, reason", [(260.0, "collapsed"), (100.0, "far-below")])
def test_a_fall_is_told_though_the_trace_begins_before_the_last_change(since, reason) -> None:
    quiet = 38.0 + np.random.default_rng(4).normal(0.0, 0.2, FIVE_HOURS.size)
    fallen = np.where(since * 60.0 > FIVE_HOURS, quiet, quiet - 28.0)
    trend = judge_trend(FIVE_HOURS, fallen, 38.0)
    advice = advise_gain([trend], history=[GainStep(200.0 * 60.0, 0.8)])
    assert (advice.reason, advice.look_again_minutes) == (reason, 5.0)


@pytest.mark.parametrize("verdict, minutes", [("disturbed", 120.0), ("calming", 420.0)])
def test_only_the_period_of_a_swing_puts_off_the_next_look(verdict: str, minutes: float) -> None:
    trend = _trend(verdict, period=7.0 * 3600.0, decay_ratio=0.1, amplitude=2.0)
    assert advise_gain([trend]).look_again_minutes == minutes
