"""Properties and corners of the judgement of a trend."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks import loops
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.steering.clean import clean_trace
from outfeed.steering.noise import noise_sd
from outfeed.steering.trend import VERDICTS, OutputTrace, Trend, TrendLimits, judge_trend

TIMES = np.arange(1440) * 5.0
SETPOINT = 80.0
NOISE = np.random.default_rng(5).normal(0.0, 0.2, TIMES.size)
CASES = loops.cases(77, 60)
SOME = st.integers(0, len(CASES) - 1)


def _swing(amplitude: float, growth: float = 0.0) -> np.ndarray:
    return np.asarray(amplitude * np.exp(growth * TIMES) * np.sin(2.0 * np.pi * TIMES / 1500.0))


def _judge(case: loops.Case, **changes: object) -> Trend:
    given = {"times_s": case.times, "values": case.values, "setpoint": case.setpoint} | changes
    return judge_trend(**given)  # type: ignore[arg-type]


MOVEMENTS = [
    (0.0 * TIMES, "level"),
    (0.8 * TIMES / 3600.0, "drifting"),
    (_swing(3.0), "cycling"),
    (_swing(0.3, 1 / 2000.0), "growing"),
    (_swing(12.0), "cycling"),
    (2.0 + 0.0 * TIMES, "stuck"),
    (_swing(6.0, -1 / 2500.0), "calming"),
]


@pytest.mark.parametrize("movement, verdict", MOVEMENTS)
def test_a_plain_movement_is_named(movement: np.ndarray, verdict: str) -> None:
    trend = judge_trend(TIMES, SETPOINT + movement + NOISE, SETPOINT)
    assert trend.verdict == verdict


@pytest.mark.parametrize("period", [900.0, 1800.0, 3600.0])
@pytest.mark.parametrize("shape", ["sine", "square", "saw"])
def test_a_limit_cycle_of_twelve_degrees_is_never_level(period: float, shape: str) -> None:
    times = np.arange(0.0, 4 * 3600.0, 30.0)
    turns = times / period
    wave = {
        "sine": np.sin(2 * np.pi * turns),
        "square": np.sign(np.sin(2 * np.pi * turns)),
        "saw": 2.0 * (turns % 1.0) - 1.0,
    }[shape]
    noise = np.random.default_rng(1).normal(0.0, 0.2, times.size)
    trend = judge_trend(times, SETPOINT + 6.0 * wave + noise, SETPOINT)
    assert trend.verdict == "cycling"


@given(index=SOME, shift=st.floats(-1e7, 1e7))
@settings(max_examples=15, deadline=None)
def test_the_clock_does_not_matter(index: int, shift: float) -> None:
    case = CASES[index]
    assert _judge(case, times_s=case.times + shift).verdict == _judge(case).verdict


# By 5 K, nine whole degrees Fahrenheit: other shifts lift readings off their stated step.
@given(index=SOME, shift=st.sampled_from([-20, -10, -5, 5, 10, 20]))
@settings(max_examples=15, deadline=None)
def test_a_common_offset_of_temperature_and_setpoint_does_not_matter(
    index: int, shift: int
) -> None:
    case = CASES[index]
    moved = _judge(case, values=case.values + shift, setpoint=case.setpoint + shift)
    assert moved.verdict == _judge(case).verdict


def test_degrees_fahrenheit_with_scaled_limits_give_the_same_word() -> None:
    # The same trace in numbers 1.8 times as large: only ratios to the limits may count.
    celsius = TrendLimits.from_sensitivity(-0.99)
    fahrenheit = TrendLimits.from_sensitivity(-0.55)
    same = 0
    for case in CASES:
        scaled = judge_trend(
            case.times, case.values * 1.8 - 60.0, case.setpoint * 1.8 - 60.0, limits=fahrenheit
        )
        same += scaled.verdict == _judge(case, limits=celsius).verdict
    # Steps of a degree are told from a frozen sensor by their size in kelvin, hence not all.
    assert same >= len(CASES) - 2


@given(index=SOME)
@settings(max_examples=15, deadline=None)
def test_a_mirrored_trace_mirrors_the_drift(index: int) -> None:
    case = CASES[index]
    mirrored = _judge(case, values=2.0 * case.setpoint - case.values)
    straight = _judge(case)
    # Rounding moves evidence across a threshold of a tree here and there.
    chances = straight.probabilities
    assert chances[mirrored.verdict] == pytest.approx(chances[straight.verdict], abs=0.05)
    assert mirrored.slope == pytest.approx(-straight.slope, abs=1e-6)
    assert mirrored.offset == pytest.approx(-straight.offset, abs=1e-6)


def test_halving_the_readings_turns_few_verdicts() -> None:
    dense = [case for case in CASES if case.times.size >= 200]
    turned = sum(
        _judge(
            case,
            times_s=case.times[::2],
            values=case.values[::2],
            setpoint=case.setpoint[::2],
        ).verdict
        != _judge(case).verdict
        for case in dense
    )
    assert len(dense) > 20
    assert turned <= len(dense) // 8


def test_the_order_of_the_readings_does_not_matter() -> None:
    order = np.random.default_rng(3).permutation(TIMES.size)
    values = SETPOINT + NOISE
    assert judge_trend(TIMES[order], values[order], SETPOINT) == judge_trend(
        TIMES, values, SETPOINT
    )


@given(index=SOME)
@settings(max_examples=15, deadline=None)
def test_the_offset_is_the_plain_mean_of_the_last_two_hours(index: int) -> None:
    case = CASES[index]
    clean = clean_trace(case.times, case.values, case.setpoint)
    error = clean.error[clean.since_setpoint :]
    times = clean.times[clean.since_setpoint :]
    mean = float(np.mean(error[times >= times[-1] - 7200.0]))
    assert _judge(case).offset == pytest.approx(mean, abs=1e-6)


def test_minutes_read_far_oftener_than_others_do_not_make_the_mean() -> None:
    # the mean of whole turns of a sine is nothing, however often its last crest is read
    end = 6.25 * 2400.0
    times = np.concatenate((np.arange(end - 3 * 2400.0, end, 300.0), np.arange(end, end + 300, 5)))
    trend = judge_trend(times, SETPOINT + 3.0 * np.sin(2 * np.pi * times / 2400.0), SETPOINT)
    assert trend.verdict == "cycling"
    assert abs(trend.offset) < 0.4


@given(index=SOME)
@settings(max_examples=15, deadline=None)
def test_probabilities_add_up_and_every_number_is_finite(index: int) -> None:
    trend = _judge(CASES[index])
    assert sum(trend.probabilities.values()) == pytest.approx(1.0)
    assert set(trend.probabilities) == set(VERDICTS)
    numbers = [trend.slope, trend.slope_low, trend.slope_high, trend.offset, trend.noise_sd]
    assert np.all(np.isfinite(numbers))
    assert trend.slope_low <= trend.slope <= trend.slope_high
    assert (trend.minutes_missing > 0.0) == (trend.verdict == "too-short")


def test_a_word_is_likely_or_more_has_to_be_seen() -> None:
    # Refusing "level" once put a swing of one chance in ten in its place.
    told = [_judge(case) for case in CASES]
    assert all(t.verdict == "too-short" or t.probabilities[t.verdict] >= 0.25 for t in told)


def test_a_long_trace_that_is_not_sure_enough_is_not_called_one_of_too_few_readings() -> None:
    rough = np.random.default_rng(8).normal(0.0, 0.42, 60)
    trend = judge_trend(np.arange(60) * 300.0, SETPOINT + rough, SETPOINT)
    assert trend.verdict == "too-short"
    assert trend.unsure
    assert trend.minutes_missing == pytest.approx(20.0)
    few = judge_trend(np.arange(60) * 10.0, SETPOINT + rough, SETPOINT)
    half_an_hour = judge_trend(np.arange(15) * 150.0, SETPOINT + rough[30:45], SETPOINT)
    assert few.verdict == half_an_hour.verdict == "too-short"
    assert not few.unsure
    assert not half_an_hour.unsure


def test_too_few_readings_are_told_the_time_until_there_are_enough() -> None:
    trend = judge_trend(np.arange(5) * 600.0, SETPOINT + NOISE[:5], SETPOINT)
    assert trend.minutes_missing == pytest.approx(50.0)


def test_spikes_are_set_aside_and_counted() -> None:
    values = SETPOINT + NOISE
    values[[200, 700, 1200]] += 25.0
    trend = judge_trend(TIMES, values, SETPOINT)
    assert trend.cleaned.spikes >= 3
    assert trend.verdict == "level"


def test_impossible_readings_are_counted_and_missing_ones_are_not() -> None:
    values = SETPOINT + NOISE
    values[10:14] = 900.0
    values[20:25] = np.nan
    trend = judge_trend(TIMES, values, SETPOINT)
    assert trend.cleaned.impossible == 4
    assert trend.verdict == "level"


def test_a_sensor_that_stops_is_a_fault_and_not_level() -> None:
    values = np.round(SETPOINT + NOISE, 1)
    values[700:] = values[699]
    assert judge_trend(TIMES, values, SETPOINT).verdict == "sensor-fault"


def test_a_sensor_that_stops_is_a_fault_though_read_every_five_minutes() -> None:
    times = np.arange(0.0, 4 * 3600.0, 300.0)
    noise = np.random.default_rng(0).normal(0.0, 0.06, times.size)
    values = np.round(SETPOINT + noise, 1)
    assert judge_trend(times, values, SETPOINT).verdict != "sensor-fault"
    values[-16:] = values[-16]
    assert judge_trend(times, values, SETPOINT).verdict == "sensor-fault"


@pytest.mark.parametrize("minutes, verdict", [(5, "sensor-fault"), (40, "level")])
def test_a_sensor_that_answers_again_is_no_fault_any_more(minutes: int, verdict: str) -> None:
    times = np.arange(0.0, 5 * 3600.0, 30.0)
    noise = np.random.default_rng(3).normal(0.0, 0.2, times.size)
    values = np.round(SETPOINT + noise, 1)
    values[times < 7200.0] += np.round(3.0 * np.sin(times[times < 7200.0] / 900.0), 1)
    again = times[-1] - 60.0 * minutes
    stood = (times > again - 3600.0) & (times < again)
    values[stood] = values[stood][0]
    trend = judge_trend(times, values, SETPOINT)
    assert trend.verdict == verdict
    assert trend.cleaned.frozen_seconds == pytest.approx(3600.0, abs=120.0)


def test_mostly_impossible_readings_are_a_fault() -> None:
    values = SETPOINT + NOISE
    values[::2] = -90.0
    assert judge_trend(TIMES, values, SETPOINT).verdict == "sensor-fault"


def test_a_gap_is_counted() -> None:
    keep = (TIMES < 2000.0) | (TIMES > 2900.0)
    trend = judge_trend(TIMES[keep], (SETPOINT + NOISE)[keep], SETPOINT)
    assert trend.cleaned.gaps == 1
    assert trend.cleaned.gap_seconds == pytest.approx(905.0, abs=5.0)
    assert trend.verdict == "level"


def test_ten_minutes_are_too_short_and_say_for_how_long() -> None:
    trend = judge_trend(TIMES[:120], (SETPOINT + NOISE)[:120], SETPOINT)
    assert trend.verdict == "too-short"
    assert trend.minutes_missing >= 10.0


def test_only_what_follows_a_change_of_the_setpoint_is_judged() -> None:
    setpoint = np.where(TIMES < 1800.0, 76.0, 80.0)
    trend = judge_trend(TIMES, setpoint + NOISE, setpoint)
    assert trend.verdict == "level"
    assert trend.window[0] >= 1800.0
    assert "setpoint-changed" in [remark.code for remark in trend.remarks]


@pytest.mark.parametrize("period_min", [40.0, 90.0, 180.0, 480.0, 1440.0])
def test_a_week_of_readings_hides_no_swing(period_min: float) -> None:
    times = np.arange(0.0, 7 * 86_400.0, 120.0)
    wave = 1.5 * np.sin(2.0 * np.pi * times / 60.0 / period_min + 1.0)
    noise = np.random.default_rng(8).normal(0.0, 0.15, times.size)
    trend = judge_trend(times, SETPOINT + wave + noise, SETPOINT)
    assert trend.verdict == "cycling"
    assert "long-trace" in [remark.code for remark in trend.remarks]
    assert times[-1] - trend.began == pytest.approx(36 * 3600.0, abs=120.0)


def test_a_week_of_few_readings_is_judged_by_all_of_them() -> None:
    times = np.arange(56) * 3 * 3600.0
    trend = judge_trend(times, SETPOINT + np.resize(NOISE, 56), SETPOINT)
    assert trend.began == 0.0
    assert "long-trace" not in [remark.code for remark in trend.remarks]


@pytest.mark.parametrize("after", [1, 2, 3, 4, 9])
def test_few_readings_after_a_long_gap_are_too_short(after: int) -> None:
    late = TIMES[-1] + 36_000.0 + 60.0 * np.arange(after)
    swing = SETPOINT + _swing(3.0) + NOISE
    values = np.concatenate([swing, swing[-1] + NOISE[:after]])
    trend = judge_trend(np.concatenate([TIMES, late]), values, SETPOINT)
    assert trend.verdict == "too-short"
    assert "long-gap" in [remark.code for remark in trend.remarks]
    assert np.all(np.isfinite([trend.slope_low, trend.slope, trend.slope_high, trend.offset]))


def test_only_what_follows_a_long_gap_is_judged() -> None:
    times = np.concatenate([TIMES - 36_000.0, TIMES])
    values = SETPOINT + np.concatenate([_swing(3.0), np.zeros(TIMES.size)]) + np.tile(NOISE, 2)
    trend = judge_trend(times, values, SETPOINT)
    assert trend.verdict == "level"
    assert trend.span == TIMES[-1]


@pytest.mark.parametrize("burst", [3, 30])
def test_readings_bunched_at_the_ends_of_the_window_are_too_short(burst: int) -> None:
    times = np.concatenate([[0.0], 7000.0 + np.arange(burst)])
    trend = judge_trend(times, np.full(burst + 1, 80.1) + NOISE[: burst + 1], SETPOINT)
    assert trend.verdict == "too-short"
    assert np.isfinite(trend.slope_high)


def test_an_output_at_its_limit_is_said() -> None:
    output = OutputTrace(TIMES, np.full(TIMES.size, 100.0), low=0.0, high=100.0)
    trend = judge_trend(TIMES, SETPOINT + 2.0 + NOISE, SETPOINT, output=output)
    assert trend.verdict == "stuck"
    assert "output-at-limit" in [remark.code for remark in trend.remarks]


@pytest.mark.parametrize("when", [[-3600.0], [-3600.0, 7195.0]])
def test_an_output_that_is_not_known_over_the_last_two_hours_changes_no_word(when) -> None:
    closing = SETPOINT + 1.4 - 0.6 * TIMES / 3600.0 + NOISE
    alone = judge_trend(TIMES, closing, SETPOINT)
    beside = judge_trend(TIMES, closing, SETPOINT, output=OutputTrace(when, [30.0] * len(when)))
    assert alone.verdict == beside.verdict == "drifting"
    assert alone.probabilities == beside.probabilities


@pytest.mark.parametrize("high, told", [(50.0, [1.0]), (90.0, [0.0]), (None, [0.0])])
def test_an_output_is_at_a_limit_only_where_the_limit_is_told(high, told) -> None:
    output = OutputTrace(TIMES, np.full(TIMES.size, 50.0), None, high)
    trend = judge_trend(TIMES, SETPOINT + 2.0 + NOISE, SETPOINT, output=output)
    held = [one.numbers[1] for one in trend.remarks if one.code == "output-at-limit"]
    assert (trend.verdict, held) == ("stuck", told)


def test_the_order_of_the_output_does_not_matter() -> None:
    drift = SETPOINT + 2.0 - TIMES / 3600.0 + 0.02 * NOISE
    rising = 30.0 - 2.0 * TIMES / 3600.0
    turned = [
        judge_trend(TIMES, drift, SETPOINT, output=OutputTrace(TIMES[way], rising[way])).remarks
        for way in (slice(None), slice(None, None, -1))
    ]
    assert turned[0] == turned[1]


def test_the_slope_of_a_drift_lies_in_its_interval() -> None:
    trend = judge_trend(TIMES, SETPOINT + 0.8 * TIMES / 3600.0 + NOISE, SETPOINT)
    assert trend.slope_low < 0.8 < trend.slope_high
    assert trend.slope == pytest.approx(0.8, abs=0.1)


def test_noise_is_measured_beside_a_movement() -> None:
    assert noise_sd(TIMES, _swing(5.0) + NOISE) == pytest.approx(0.2, rel=0.15)


def test_a_constant_trace_on_whole_degrees_is_not_a_fault() -> None:
    values = np.full(TIMES.size, 80.0)
    assert judge_trend(TIMES, values, SETPOINT).verdict == "level"


@pytest.mark.parametrize("degrees", [80.0, 82.0 + 2.0 / 9.0, 80.5])
def test_one_coarse_value_is_no_proof_of_level_nor_of_a_step(degrees: float) -> None:
    trend = judge_trend(TIMES, np.full(TIMES.size, degrees), degrees)
    assert trend.verdict == "level"
    assert trend.probabilities["level"] < 0.9
    assert trend.probabilities["sensor-fault"] > 0.1
    assert sum(trend.probabilities.values()) == pytest.approx(1.0)
    assert [one.code for one in trend.remarks] == ["one-value"]


@pytest.mark.parametrize("degrees", [80.1, 80.37, 82.0 + 2.0 / 9.0 + 0.1 / 1.8])
@pytest.mark.parametrize("last", [1200.0, 7200.0])
def test_one_finely_stated_value_is_a_stopped_sensor(degrees: float, last: float) -> None:
    times = np.linspace(0.0, last, 25)
    trend = judge_trend(times, np.full(times.size, degrees), 80.0)
    assert trend.verdict == "sensor-fault"
    assert trend.cleaned.frozen_seconds == pytest.approx(last)


@pytest.mark.parametrize("dead", [0.0, -160.0 / 9.0])
@pytest.mark.parametrize("count", [6, 50])
def test_nothing_but_zero_is_a_dead_sensor_on_either_scale(dead: float, count: int) -> None:
    trend = judge_trend(np.arange(count) * 180.0, np.full(count, dead), SETPOINT)
    assert trend.verdict == "sensor-fault"
    assert trend.probabilities["sensor-fault"] > 0.95


def test_whole_degrees_that_move_once_are_no_fault() -> None:
    values = np.where(np.arange(TIMES.size) < TIMES.size // 2, 80.0, 81.0)
    trend = judge_trend(TIMES, values, 80.5)
    assert trend.verdict != "sensor-fault"
    assert trend.probabilities["sensor-fault"] < 0.3


def test_limits_follow_from_the_moisture() -> None:
    limits = TrendLimits.from_sensitivity(-0.5)
    assert (limits.slope, limits.offset, limits.swing) == (0.5, 1.0, 1.0)
    with pytest.raises(OutOfRange):
        TrendLimits.from_sensitivity(0.0)


@pytest.mark.parametrize(
    "times, values, error",
    [
        ([0.0, 1.0], [80.0], Inconsistent),
        ([0.0], [80.0], OutOfRange),
        ([0.0, 1.0, 2.0], [80.0, 80.1, np.nan], OutOfRange),
        ([0.0, np.inf, 2.0, 3.0], [80.0, 80.1, 80.0, 80.0], OutOfRange),
        ([0.0, 1e9, 2.0, 3.0], [80.0, 80.1, 80.0, 80.0], OutOfRange),
    ],
)
def test_what_is_no_trace_is_refused(
    times: list[float], values: list[float], error: type[Exception]
) -> None:
    with pytest.raises(error):
        judge_trend(times, values, SETPOINT)


def test_equal_times_are_averaged() -> None:
    clean = clean_trace([0.0, 1.0, 1.0, 2.0], [80.0, 81.0, 83.0, 80.0], SETPOINT)
    assert clean.values.tolist() == [80.0, 82.0, 80.0]


@pytest.mark.parametrize("half_swing_f", [0.5, 0.7])
def test_a_regular_swing_that_is_small_in_moisture_is_level_with_a_remark(
    half_swing_f: float,
) -> None:
    # Half a point of moisture is worth 0.91 degF at -0.55 point per degF.
    times = np.arange(0.0, 4 * 3600.0, 30.0)
    noise = np.random.default_rng(4).normal(0.0, 0.1, times.size)
    wave = half_swing_f / 1.8 * np.sin(2.0 * np.pi * times / 2400.0)
    trend = judge_trend(times, SETPOINT + wave + noise, SETPOINT)
    assert trend.verdict == "level"
    assert "small-swing" in [remark.code for remark in trend.remarks]


def test_noise_read_every_ten_minutes_is_no_regular_swing() -> None:
    rng = np.random.default_rng(11)
    times = np.arange(13) * 600.0
    told = [
        judge_trend(times, SETPOINT + rng.normal(0.0, 0.2, times.size), SETPOINT) for _ in range(30)
    ]
    # one in a hundred is the chance of each
    assert sum(trend.decay_ratio is not None for trend in told) <= 2
    swing = 0.35 * np.sin(2.0 * np.pi * times / 3000.0)
    seen = judge_trend(times, SETPOINT + swing + rng.normal(0.0, 0.05, times.size), SETPOINT)
    assert (seen.verdict, seen.remarks[0].code) == ("level", "small-swing")


def test_a_quiet_column_read_in_whole_degrees_is_no_fault_for_a_spike_beside_them() -> None:
    values = np.round(SETPOINT + 0.2 * NOISE)
    values[600] += 11.3
    assert judge_trend(TIMES, values, SETPOINT).verdict == "level"


@pytest.mark.parametrize("phase", [0.0, 0.7, 1.4, 2.1, 2.8])
def test_a_wide_swing_of_three_readings_a_period_is_not_level(phase: float) -> None:
    times = np.arange(0.0, 8250.0, 550.0)
    wave = 1.45 * np.sin(2.0 * np.pi * times / 1594.0 + phase)
    noise = np.random.default_rng(6).normal(0.0, 0.15, times.size)
    assert judge_trend(times, SETPOINT + wave + noise, SETPOINT).verdict != "level"


def test_a_fit_that_ends_in_nothing_is_no_figure_of_a_swing_that_keeps_on() -> None:
    rough = [91.9, 93.4, 96.7, 99.0, 94.1, 97.0, 95.4, 99.3, 93.8, 97.8, 90.7]  # invented
    trend = judge_trend(np.arange(11) * 1800.0, rough, 95.0)
    assert trend.verdict != "level"
    assert trend.amplitude is None


def test_the_noisier_a_short_trace_the_longer_it_is_to_be_watched() -> None:
    times = np.arange(300) * 5.0
    waits = [judge_trend(times, SETPOINT + k * NOISE[:300], SETPOINT) for k in (2.5, 5.0, 10.0)]
    assert {trend.verdict for trend in waits} == {"too-short"}
    quiet, rough, roughest = (trend.minutes_missing for trend in waits)
    assert 10.0 < quiet < rough < roughest


def test_a_controller_that_follows_a_drift_slowly_is_called_sluggish() -> None:
    times, noise = np.arange(180) * 60.0, 0.5 * NOISE[:180]
    falling, still = OutputTrace(times, 50.0 - times / 3600.0), OutputTrace(times, 0.0 * times)
    drift = SETPOINT - 1.8 + 1.2 * times / 3600.0 + noise
    told = [judge_trend(times, drift, SETPOINT, output=output) for output in (falling, still)]
    told.append(judge_trend(times, SETPOINT + noise, SETPOINT, output=falling))
    assert [told[0].verdict, told[2].verdict] == ["drifting", "level"]
    assert told[1].verdict in ("drifting", "stuck")  # nobody told where its output ends
    sluggish = ["sluggish" in [remark.code for remark in trend.remarks] for trend in told]
    assert sluggish == [True, False, False]


def test_no_swing_is_taken_out_of_two_hours_that_show_too_little_of_it() -> None:
    times = np.arange(0.0, 30 * 3600.0, 300.0)
    noise = np.random.default_rng(0).normal(0.0, 0.1, times.size)
    by_day = judge_trend(times, 80.0 + 0.3 * np.sin(2 * np.pi * times / 86_400.0) + noise, 80.0)
    gone = 4.0 * np.exp(-times[:120] / 4000.0) * np.sin(2 * np.pi * times[:120] / 14_400.0)
    long_ago = judge_trend(times[:120], 80.0 + gone + noise[:120], 80.0)
    for trend in (by_day, long_ago):
        assert trend.verdict == "level"
        assert -0.3 < trend.slope_low < trend.slope_high < 0.3
