"""Meter check: the offset, its doubt in parts, the verdict, outliers, rebound, drift, line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, t

from outfeed import Inconsistent, OutOfRange, UnknownName
from outfeed.steering.charts import cusum, ewma, offset_drift
from outfeed.steering.deming import deming_line
from outfeed.steering.meter import MeterCheck, Sample, check_meter
from outfeed.steering.meter_corrections import rebound, temperature_correction
from outfeed.steering.meter_doubt import one_reading_sd, readings_needed
from outfeed.steering.meter_history import with_earlier
from outfeed.steering.meter_plan import plan_check, samples_needed
from outfeed.steering.outliers import dixon_critical, find_outlier, grubbs_critical

READINGS = (0.158, 0.157, 0.158, 0.159, 0.158)


def samples(offset: float, count: int) -> list[Sample]:
    return [
        Sample(tuple(r + 0.001 * (k % 3 - 1) for r in READINGS), (0.158 - offset,))
        for k in range(count)
    ]


def test_the_offset_is_reference_minus_meter():
    found = check_meter([Sample((0.160, 0.162), (0.150, 0.152))])
    assert found.offset == pytest.approx(0.010)


def test_the_doubt_has_three_parts_that_average_out_differently():
    one = check_meter(samples(0.005, 1), reference_sd=0.001).doubt
    repeated = [Sample(samples(0.005, 1)[0].reference * 4, (0.153,))]
    more_readings = check_meter(repeated, reference_sd=0.001).doubt
    more_samples = check_meter(samples(0.005, 4), reference_sd=0.001).doubt
    assert more_readings.repeatability < 0.6 * one.repeatability
    assert more_readings.sampling == pytest.approx(one.sampling)
    assert more_samples.sampling < 0.6 * one.sampling
    assert one.bias == more_readings.bias == more_samples.bias == 0.001
    assert one.total**2 == pytest.approx(one.repeatability**2 + one.sampling**2 + one.bias**2)


def test_what_never_averages_out_enters_the_half_width_as_a_normal_error():
    # the reference's error is stated, not estimated: beside it the few samples hardly count
    normal = float(norm.ppf(0.975))
    found = check_meter(samples(0.005, 3), reference_sd=0.02)
    assert found.half_width == pytest.approx(normal * found.doubt.total, rel=1e-3)
    pooled = with_earlier(found, [0.004, 0.005, 0.006], 0.0).pooled
    assert pooled.half_width == pytest.approx(normal * np.hypot(pooled.sd, 0.02), rel=1e-3)


def test_one_sample_of_a_good_meter_keeps_the_studys_sampling_term():
    found = check_meter(samples(0.005, 1))
    assert found.doubt.sampling == pytest.approx(one_reading_sd(0.157)[1])
    assert found.more_readings is None
    assert found.more_samples is not None


def test_an_offset_below_its_own_uncertainty_is_refused():
    found = check_meter(samples(0.002, 1))
    assert (found.verdict, found.advised) == ("leave", 0.0)
    assert abs(found.offset) < found.doubt.total


def test_between_uncertainty_and_half_width_the_offset_is_offered_shrunken():
    found = check_meter(samples(0.005, 1))
    assert found.doubt.total < found.offset < found.half_width
    assert found.verdict == "apply-shrunken"
    # usual offset 0.5 point: d u0^2/(u0^2 + u^2)
    expected = found.offset * 0.005**2 / (0.005**2 + found.doubt.total**2)
    assert found.advised == pytest.approx(expected)


def test_above_the_half_width_it_is_applied_whole():
    found = check_meter(samples(0.008, 6))
    assert (found.verdict, found.advised) == ("apply", pytest.approx(found.offset))


def test_one_reading_is_never_enough():
    found = check_meter([Sample((0.20,), (0.15,))])
    assert (found.verdict, found.advised) == ("leave", 0.0)
    assert found.sd is None
    assert found.t_half_width is None


@given(st.floats(-0.03, 0.03), st.integers(1, 8), st.integers(1, 6), st.floats(0.0, 0.01))
def test_what_is_advised_never_exceeds_what_was_found_and_never_turns_it(
    offset, count, readings, reference_sd
):
    taken = [Sample(READINGS[:readings] * 1, (0.158 - offset,)) for _ in range(count)]
    found = check_meter(taken, reference_sd=reference_sd)
    assert abs(found.advised) <= abs(found.offset) + 1e-15
    assert found.advised * found.offset >= 0
    assert found.advised == 0 or abs(found.offset) >= found.doubt.total


@given(st.floats(-0.02, 0.02))
def test_turning_the_difference_round_turns_the_answer_round(offset):
    one = check_meter([Sample((0.158, 0.159, 0.157), (0.158 - offset,))] * 3)
    other = check_meter([Sample((0.158, 0.159, 0.157), (0.158 + offset,))] * 3)
    assert one.offset == pytest.approx(-other.offset)


def test_the_samples_named_do_halve_the_doubt():
    first = check_meter(samples(0.005, 2), reference_sd=0.0005)
    assert first.more_samples is not None
    doubt = first.doubt
    total = 2 + first.more_samples
    after = replace(
        doubt,
        repeatability=doubt.repeatability * (2 / total) ** 0.5,
        sampling=doubt.sampling * (2 / total) ** 0.5,
    )
    before = replace(
        doubt,
        repeatability=doubt.repeatability * (2 / (total - 1)) ** 0.5,
        sampling=doubt.sampling * (2 / (total - 1)) ** 0.5,
    )
    assert after.total <= doubt.total / 2 < before.total


def test_the_readings_named_do_halve_the_doubt_where_repeating_can():
    wild = {"earlier_sd": 0.02, "earlier_degrees": 1000}
    first = check_meter([Sample((0.15, 0.16), (0.153,))], **wild)
    again = check_meter([Sample((0.15, 0.16) * (1 + first.more_readings // 2), (0.153,))], **wild)
    assert again.readings in (2 + first.more_readings, 1 + first.more_readings)
    assert again.doubt.total == pytest.approx(first.doubt.total / 2.0, rel=0.05)


@pytest.mark.parametrize("readings", [1, 3])
def test_the_samples_planned_bring_the_half_width_wanted_and_one_less_does_not(readings):
    first = check_meter(samples(0.005, 3), reference_sd=0.0004)
    doubt = first.doubt
    needed = samples_needed(first, readings, 0.002)
    halves = []
    for count in (needed - 1, needed):
        # by Welch and Satterthwaite: 4 and 5 degrees assumed, and those of the readings to come
        parts = np.array([doubt.repeat_sd**2 / (count * readings), doubt.sample_sd**2 / count])
        degrees = np.array([4.0 + count * (readings - 1), count - 1 + 5.0])
        total = parts.sum() + 0.0004**2
        halves.append(t.ppf(0.975, total**2 / (parts**2 / degrees).sum()) * np.sqrt(total))
    assert halves[1] <= 0.002 < halves[0]


def test_a_plan_is_told_for_half_of_the_tolerance_only_where_that_may_be_asked_for():
    found = check_meter(samples(0.005, 3))
    assert {row.half_width for row in plan_check(found, 0.002)} == {0.002, 0.001}
    assert {row.half_width for row in plan_check(found, 0.0006)} == {0.0006}
    assert plan_check(check_meter(samples(0.005, 3), reference_sd=0.002), 0.002) == ()
    for wrong in (0.0004, float("nan")):
        with pytest.raises(OutOfRange) as refused:
            plan_check(found, wrong)
        assert refused.value.name == "tolerance"


def test_no_number_of_samples_beats_a_bad_reference():
    assert check_meter(samples(0.005, 9), reference_sd=0.02).more_samples is None


def test_earlier_checks_make_three_readings_useful():
    alone = check_meter([Sample((0.158, 0.163, 0.153), (0.150,))])
    pooled = check_meter(
        [Sample((0.158, 0.163, 0.153), (0.150,))], earlier_sd=0.001, earlier_degrees=40
    )
    assert pooled.doubt.repeatability < alone.doubt.repeatability


def test_one_reading_out_of_line_is_dropped_with_its_test():
    found = check_meter([Sample((0.158, 0.157, 0.158, 0.171, 0.158), (0.158,))])
    (dropped,) = found.dropped
    assert (dropped.sample, dropped.reading) == (0, 3)
    assert dropped.test.statistic > dropped.test.critical
    assert found.readings == 4
    assert found.offset == pytest.approx(-0.00025)


def test_of_three_rounded_readings_the_one_that_differs_is_no_outlier():
    # r10 is 1 where two agree, though two readings of one sample often lie 0.2 point apart
    assert not check_meter([Sample((0.155, 0.155, 0.157), (0.155,))]).dropped
    assert check_meter([Sample((0.155, 0.155, 0.165), (0.155,))]).dropped
    finer = check_meter(
        [Sample((0.155, 0.155, 0.157), (0.155,))], earlier_sd=0.0004, earlier_degrees=40
    )
    assert finer.dropped


def test_the_interval_of_readings_of_several_samples_counts_all_of_them():
    pair = [Sample((0.150, 0.152, 0.154), (0.15,)), Sample((0.160, 0.162, 0.164), (0.16,))]
    # pooled SD 0.002, four degrees of freedom, t 2.776, six readings: by hand
    found = check_meter(pair)
    assert found.sd == pytest.approx(0.002)
    assert found.t_half_width == pytest.approx(2.776 * 0.002 / 6**0.5, rel=1e-3)


def test_every_sample_is_tested_and_at_most_one_reading_of_each_is_dropped():
    bad = Sample((0.158, 0.157, 0.158, 0.171, 0.158), (0.158,))
    worse = Sample((0.1580, 0.1581, 0.1580, 0.190, 0.1581, 0.1580), (0.158,))
    good = Sample((0.158, 0.157, 0.158), (0.158,))
    found = check_meter([bad, good, worse])
    assert [(one.sample, one.reading) for one in found.dropped] == [(0, 3), (2, 3)]
    assert found.readings == 12
    assert abs(found.offset) < 0.0005


def test_among_many_samples_a_reading_must_stand_out_further():
    # r10 = 7/9: beyond the critical 0.710 for five readings at 5 %, short of 0.821 at 1 %
    odd = Sample((0.150, 0.151, 0.152, 0.152, 0.159), (0.152,))
    even = Sample((0.150, 0.151, 0.152, 0.152, 0.153), (0.152,))
    dropped = [len(check_meter([odd] + [even] * more).dropped) for more in (4, 5)]
    assert dropped == [1, 0]


def test_the_same_slip_in_two_samples_leaves_the_offset_of_the_rest():
    slip = Sample((0.159, 0.158, 0.250, 0.159, 0.159), (0.152,))
    found = check_meter([slip, slip])
    assert len(found.dropped) == 2
    assert found.offset == pytest.approx((0.159 * 3 + 0.158) / 4 - 0.152)


def pairs(reference, meter):
    return [Sample((r,), (m,)) for r, m in zip(reference, meter, strict=True)]


def test_a_reference_that_falls_as_the_meter_rises_brings_no_offset():
    far = check_meter(pairs([0.15, 0.16] * 3, [0.22, 0.21] * 3))
    assert (far.pairing, far.verdict, far.advised) == ("broken", "leave", 0.0)
    wide = check_meter(pairs([0.15, 0.17, 0.19], [0.19, 0.17, 0.15]))
    assert wide.pairing == "broken"


def test_a_large_offset_alone_is_doubted_and_a_usual_one_is_not():
    assert check_meter(pairs([0.15, 0.16] * 3, [0.21, 0.22] * 3)).pairing == "doubted"
    assert check_meter(pairs([0.15, 0.16] * 3, [0.155, 0.165] * 3)).pairing == "fits"
    # scatter of a narrow moisture has no slope to judge by
    assert check_meter(pairs([0.150, 0.151] * 3, [0.152, 0.151] * 3)).pairing == "fits"


def test_a_meter_that_stands_still_while_the_grain_changes_brings_no_offset():
    read = [0.142, 0.153, 0.169, 0.184, 0.200]
    still = check_meter(pairs(read, [0.150] * 5))
    assert (still.pairing, still.pairs.reason) == ("broken", "meter-stands-still")
    assert (still.verdict, still.advised) == ("leave", 0.0)
    assert still.pairs.reference == (0.142, 0.200)
    turned = check_meter(pairs([0.150, 0.151, 0.150, 0.151, 0.150], read))
    assert turned.pairs.reason == "reference-stands-still"
    # grain that hardly changed tells nothing of the kind, nor does a meter of half the slope
    assert check_meter(pairs([0.150, 0.155, 0.160, 0.165], [0.155] * 4)).pairing == "fits"
    assert check_meter(pairs(read, [0.155 + 0.5 * (r - 0.155) for r in read])).pairing == "fits"


def test_one_pair_unlike_the_others_is_named_and_no_offset_advised_of_it():
    read = [0.131, 0.152, 0.174, 0.198, 0.221, 0.249]
    shown = [0.130, 0.153, 0.142, 0.200, 0.220, 0.248]
    found = check_meter(pairs(read, shown))
    assert (found.pairing, found.pairs.reason) == ("doubted", "odd-sample")
    assert found.pairs.odd.index == 2
    assert found.pairs.apart == pytest.approx(0.032)
    assert found.pairs.others == pytest.approx(0.0)
    assert (found.verdict, found.advised) == ("leave", 0.0)
    assert with_earlier(found, [0.005, 0.006, 0.005], 0.0).advised == 0.0
    shown[2] = 0.165  # 0.9 point, as two samples may differ
    assert check_meter(pairs(read, shown)).pairing == "fits"


def test_readings_of_one_sample_that_lie_too_far_apart_bring_no_offset():
    apart = check_meter([Sample((0.155, 0.175), (0.151,))])
    assert abs(apart.offset) > apart.half_width
    assert (apart.pairs.reason, apart.verdict, apart.advised) == ("scattered-readings", "leave", 0)
    assert check_meter([Sample((0.155, 0.160), (0.151,))]).pairing == "fits"


def test_good_pairs_are_seldom_doubted():
    rng = np.random.default_rng(12)
    found = [check_at_a_site(rng, count, somewhere(rng)) for count in (3, 5, 8) for _ in range(200)]
    assert sum(one.pairing != "fits" for one in found) <= 6


def test_a_large_offset_is_advised_only_when_a_second_check_agrees():
    first = check_meter(samples(0.045, 4))
    assert (first.pairing, first.verdict, first.advised) == ("doubted", "leave", 0.0)
    second = with_earlier(first, [first.offset], 0.0)
    assert (second.verdict, second.advised) == ("apply", pytest.approx(first.offset))
    late = with_earlier(first, [0.001, 0.002, 0.0, first.offset], 0.0)
    assert late.advised == second.advised
    other = with_earlier(first, [first.offset, 0.001], 0.0)
    assert (other.verdict, other.advised) == ("leave", 0.0)


def test_a_dead_meter_makes_no_reading_sure():
    dead = check_meter([Sample((0.155, 0.156), (0.0,))])
    assert dead.doubt.total == pytest.approx(
        check_meter([Sample((0.155, 0.156), (0.150,))]).doubt.total
    )
    assert dead.pairs.reason == "no-grain-so-dry"
    nothing = check_meter([Sample((0.0, 0.0), (0.0,))])
    assert (nothing.verdict, nothing.advised) == ("leave", 0.0)


def test_the_last_digit_is_no_outlier():
    assert find_outlier([0.158, 0.158, 0.158, 0.159], resolution=0.001).outlier is False
    assert find_outlier([0.158, 0.158, 0.158, 0.159]).outlier is True


def test_equal_or_too_few_readings_have_no_outlier():
    assert find_outlier([0.158, 0.158, 0.158]) is None
    assert find_outlier([0.158, 0.170]) is None


def test_seven_readings_take_grubbs_and_six_dixon():
    ids = [find_outlier(np.arange(float(n))).method.id for n in (6, 7)]
    assert ids == ["steering.outlier.dixon-r10", "steering.outlier.grubbs"]


def test_levels_and_counts_without_a_table_are_refused():
    with pytest.raises(UnknownName):
        dixon_critical(5, alpha=0.2)
    with pytest.raises(OutOfRange):
        dixon_critical(11)
    with pytest.raises(OutOfRange):
        grubbs_critical(2)
    with pytest.raises(OutOfRange):
        readings_needed(1.0, 0.001)


def check_at_a_site(rng: np.random.Generator, count: int, wider: float) -> MeterCheck:
    """A check of a meter 0.4 point off, its samples spread so many times as the study says."""
    repeat, between, _ = one_reading_sd(0.2)
    grain = 0.2 + rng.normal(0.0, 0.004, count)
    shown = grain - 0.004 + rng.normal(0.0, wider * between, count)
    read = grain[:, None] + rng.normal(0.0, repeat, (count, 2))
    return check_meter(
        [Sample(tuple(r), (m,)) for r, m in zip(read.tolist(), shown.tolist(), strict=True)]
    )


def somewhere(rng: np.random.Generator) -> float:
    """A site's spread over the study's, a factor of 1.4 one SD; invented."""
    return float(np.exp(rng.normal(0.0, np.log(1.4))))


def share_held(found: list[MeterCheck]) -> float:
    return float(np.mean([abs(one.offset - 0.004) <= one.half_width for one in found]))


@pytest.mark.parametrize("count", [1, 2, 4])
def test_the_stated_interval_is_right_as_often_as_it_says_over_many_sites(count):
    rng = np.random.default_rng(count)
    found = [check_at_a_site(rng, count, somewhere(rng)) for _ in range(500)]
    assert share_held(found) == pytest.approx(0.95, abs=0.025)


@pytest.mark.parametrize("count", [1, 2, 4])
def test_a_site_half_as_spread_again_is_held_nine_times_in_ten(count):
    rng = np.random.default_rng(40 + count)
    found = [check_at_a_site(rng, count, 1.5) for _ in range(500)]
    assert share_held(found) >= 0.88  # of 500 draws, 0.9 less one and a half SD


def test_few_samples_do_not_widen_the_interval_beyond_use():
    # over what it would be were the spread known
    for count, most in ((1, 1.32), (2, 1.26), (5, 1.16)):
        doubt = check_meter(samples(0.005, count)).doubt
        assert 1.96 < doubt.half_width / doubt.total < 1.96 * most


def test_earlier_checks_together_are_right_as_often_as_they_say():
    rng = np.random.default_rng(5)
    held = []
    for _ in range(120):
        wider = somewhere(rng)
        before = [check_at_a_site(rng, 2, wider).offset for _ in range(3)]
        found = with_earlier(check_at_a_site(rng, 2, wider), before, 0.0)
        if found.pooled is not None:
            held.append(abs(found.pooled.offset - 0.004) <= found.pooled.half_width)
    assert np.mean(held) >= 0.92


def kept_up(days: int, seed: int, *, pooled: bool) -> float:
    """Error left by setting what each daily check of four samples advises, as an RMS [-]."""
    rng = np.random.default_rng(seed)
    true, present, history, left = 0.006, 0.0, [], []
    for _ in range(days):
        grain = 0.158 + rng.normal(0.0, 0.005, 4)
        shown = grain - true + present + rng.normal(0.0, 0.0036, 4)
        found = check_meter(
            [Sample((g, g, g), (m,)) for g, m in zip(grain.tolist(), shown.tolist(), strict=True)]
        )
        history.append(found.offset + present)
        advised = with_earlier(found, history[:-1], present) if pooled else found
        present += advised.advised
        left.append(present - true)
    return float(np.sqrt(np.mean(np.square(left[3:]))))


def test_an_offset_set_after_every_check_comes_to_rest_and_does_not_chase_their_noise():
    alone, pooled = (np.mean([kept_up(15, k, pooled=p) for k in range(8)]) for p in (False, True))
    assert pooled < 0.6 * alone


def test_a_meter_that_has_moved_is_judged_by_the_last_check_alone():
    found = check_meter(samples(0.012, 6))
    alone = with_earlier(found, [0.002, 0.001, 0.003], 0.0)
    assert (alone.pooled, alone.advised) == (None, found.advised)
    assert alone.moved_by == pytest.approx(0.010, abs=0.0003)
    near = with_earlier(found, [0.011, 0.010, 0.012], 0.0)
    assert near.pooled is not None
    assert 0.0108 < near.pooled.offset < 0.012
    assert near.pooled.half_width < found.half_width
    # what is set already is taken off
    assert with_earlier(found, [0.022, 0.021, 0.023], 0.01).pooled.offset == pytest.approx(
        0.012, abs=0.0003
    )


@pytest.mark.parametrize("at", [0, 2, 4])
def test_one_earlier_check_unlike_all_others_is_named_and_does_not_count(at):
    found = check_meter(samples(0.004, 4))
    steady = [0.003, 0.004, 0.004, 0.003]
    slip = [*steady[:at], 0.05, *steady[at:]]
    without, alone = with_earlier(found, slip, 0.0).pooled, with_earlier(found, steady, 0.0).pooled
    assert (without.left_out.index, without.checks) == (at, 4)
    assert without.offset == pytest.approx(alone.offset, abs=1e-4)
    assert alone.left_out is None
    # what this check bears out is no slip
    moved = with_earlier(check_meter(samples(0.05, 4)), [*steady, 0.05], 0.0)
    assert moved.pooled.left_out is None


def test_an_earlier_spread_below_what_rounding_makes_does_not_count():
    told = {"earlier_degrees": 100_000, "resolution": 0.001}
    taken = [Sample((0.154, 0.155, 0.156), (0.151,))] * 3
    tiny = check_meter(taken, earlier_sd=1e-5, **told).doubt
    assert tiny.repeat_sd == pytest.approx(0.001 / 12**0.5, rel=1e-3)
    assert check_meter(taken, earlier_sd=0.002, **told).doubt.repeat_sd == pytest.approx(
        0.002, rel=1e-3
    )


def test_the_rebound_is_rested_minus_hot():
    found = rebound([0.140, 0.141], [0.160, 0.161], 13 * 3600.0)
    assert found.correction == pytest.approx(0.020)
    assert found.rested_enough
    assert not rebound([0.14], [0.15], 3600.0).rested_enough
    with pytest.raises(Inconsistent):
        rebound([], [0.15], 3600.0)


def test_the_meters_curve_is_read_and_never_extended():
    assert temperature_correction(15.0, [10.0, 20.0], [0.004, 0.0]) == pytest.approx(0.002)
    with pytest.raises(OutOfRange) as caught:
        temperature_correction(25.0, [10.0, 20.0], [0.004, 0.0])
    assert caught.value.name == "grain_temperature"
    with pytest.raises(Inconsistent):
        temperature_correction(15.0, [20.0, 10.0], [0.004, 0.0])


@pytest.mark.parametrize(
    ("temperatures", "corrections", "said"),
    [
        ([5.0, 15.0, 25.0], [0.006, 0.3e-2, 0.0, -0.3e-2], "3 temperatures and 4 corrections"),
        ([25.0, 15.0, 5.0], [0.0, 0.003, 0.006], "ascending order"),
        ([5.0, 15.0, 25.0], [0.006, 0.08, 0.0], "jumps from 8 point at 15 degC to 0 point at 25"),
        ([5.0, 15.0, 25.0], [0.006, -0.01, 0.006], "rise by 1.6 point and fall by 1.6 point"),
    ],
)
def test_a_curve_with_a_slip_in_it_is_refused_in_words(temperatures, corrections, said):
    with pytest.raises(Inconsistent, match=said):
        temperature_correction(15.0, temperatures, corrections)


def test_a_shift_is_charted_and_a_steady_meter_is_not():
    steady = [0.001, 0.002, 0.001, 0.0, 0.001, 0.002, 0.001]
    assert not offset_drift(steady).drifting
    assert offset_drift([*steady, 0.004, 0.005, 0.005]).drifting


def test_a_chart_needs_something_to_stand_on():
    with pytest.raises(OutOfRange):
        offset_drift([0.001, 0.002, 0.001])


def test_offsets_that_all_look_alike_are_steady_until_one_moves():
    assert not offset_drift([0.002] * 8).drifting
    assert offset_drift([*[0.002] * 8, 0.006, 0.006]).drifting


def test_a_steady_meter_seldom_drifts_however_few_its_checks():
    # six to twenty checks: charts that take centre and spread from five cry wolf in a third of them
    rng = np.random.default_rng(2)
    seasons = [offset_drift(rng.normal(0.002, 0.0015, 20)) for _ in range(300)]
    alarmed = [any(k >= 5 for k in one.ewma.signals + one.cusum.signals) for one in seasons]
    # 15 checks at about one false alarm in 500 and one in 465 of each chart: 6 % at most
    assert np.mean(alarmed) < 0.10
    moved = [offset_drift(rng.normal([0.0] * 10 + [0.0045] * 10, 0.0015)) for _ in range(100)]
    assert np.mean([one.drifting for one in moved]) > 0.9


@given(st.lists(st.floats(-3.0, 3.0), min_size=1, max_size=30))
def test_charts_of_the_mirrored_values_are_mirrored(values):
    assert ewma(values).values == pytest.approx(-ewma(np.negative(values)).values)
    assert np.abs(cusum(values).values) == pytest.approx(np.abs(cusum(np.negative(values)).values))


def test_a_line_through_exact_pairs_is_that_line():
    x = np.linspace(0.12, 0.28, 7)
    line = deming_line(x, 0.01 + 1.05 * x)
    assert (line.slope, line.intercept) == pytest.approx((1.05, 0.01))
    assert line.slope_se == pytest.approx(0.0, abs=1e-9)


def test_exchanging_the_meters_inverts_the_slope():
    rng = np.random.default_rng(3)
    x = np.linspace(0.12, 0.28, 9) + rng.normal(0.0, 0.003, 9)
    y = 0.01 + 1.05 * np.linspace(0.12, 0.28, 9) + rng.normal(0.0, 0.003, 9)
    there, back = deming_line(x, y, error_ratio=2.0), deming_line(y, x, error_ratio=0.5)
    assert there.slope * back.slope == pytest.approx(1.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: deming_line([0.1, 0.2], [0.1, 0.2]),
        lambda: deming_line([0.1, 0.2, 0.3], [0.1, 0.1, 0.1]),
        lambda: check_meter([]),
        lambda: check_meter([Sample((), (0.15,))]),
    ],
)
def test_what_cannot_be_judged_is_refused(call):
    with pytest.raises(Inconsistent):
        call()
