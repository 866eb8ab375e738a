"""The metering setting follows the owner's own points, and says when it cannot."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.dryer.estimate import Estimate
from outfeed.dryer.metering import metering_setting
from outfeed.errors import Inconsistent, OutOfRange


def exactly(rate: float) -> Estimate:
    return Estimate(rate, rate, rate)


@given(st.floats(0.8, 1.25))
def test_one_point_is_proportional_through_zero_near_it(times):
    result = metering_setting(exactly(4.0 * times), [50.0], [4.0])
    assert result.setting.value == pytest.approx(50.0 * times)
    assert result.basis == "proportional"


@pytest.mark.parametrize("rate, setting", [(4.0, 40.0), (5.0, 50.0), (6.0, 60.0), (7.0, 75.0)])
def test_between_points_the_setting_is_interpolated(rate, setting):
    result = metering_setting(exactly(rate), [60.0, 40.0, 90.0], [6.0, 4.0, 8.0])
    assert result.setting.value == pytest.approx(setting)
    assert result.basis == "between-points"


@given(
    st.lists(st.floats(1.0, 100.0), min_size=2, max_size=8, unique=True),
    st.floats(1.0, 20.0),
    st.floats(1.0, 20.0),
)
def test_a_higher_rate_never_asks_for_a_lower_setting(dial, one, other):
    rates = [0.2 * setting + 0.5 for setting in dial]
    results = [metering_setting(exactly(r), dial, rates) for r in sorted((one, other))]
    if None not in results:
        assert results[0].setting.value <= results[1].setting.value + 1e-9


@given(st.floats(2.5, 9.5))
def test_the_band_of_the_rate_is_carried_and_widened_by_the_points(rate):
    result = metering_setting(Estimate(rate, 0.8 * rate, 1.2 * rate), [20.0, 100.0], [2.0, 10.0])
    assert result.setting.low < 10.0 * 0.8 * rate
    assert result.setting.high > 10.0 * 1.2 * rate


def test_repeated_points_are_averaged_and_their_scatter_shows():
    tidy = metering_setting(exactly(5.0), [50.0, 50.0, 70.0, 70.0], [5.0, 5.0, 7.0, 7.0])
    loose = metering_setting(exactly(5.0), [50.0, 50.0, 70.0, 70.0], [4.5, 5.5, 6.3, 7.7])
    assert loose.setting.value == pytest.approx(50.0)
    assert loose.spread > tidy.spread


def test_points_that_contradict_each_other_are_pooled_to_a_rising_curve():
    result = metering_setting(exactly(5.5), [40.0, 50.0, 60.0, 80.0], [4.0, 6.0, 5.0, 8.0])
    assert result.setting.value == pytest.approx(55.0)


def test_points_that_contradict_each_other_beyond_what_timed_lots_err_are_doubted():
    fair = metering_setting(exactly(5.5), [40.0, 50.0, 60.0, 80.0], [4.0, 6.0, 5.0, 8.0])
    assert fair.doubted is None
    far = metering_setting(exactly(5.5), [40.0, 50.0, 60.0, 80.0], [4.0, 6.5, 5.0, 8.0])
    assert far.doubted == (50.0, 60.0)
    twice = metering_setting(exactly(5.5), [40.0, 50.0, 50.0, 80.0], [4.0, 6.5, 5.0, 8.0])
    assert twice.doubted == (50.0, 50.0)


@pytest.mark.parametrize(
    "settings, rates, said",
    [
        # a slipped decimal, 20 for 2.0, would be averaged into its neighbours
        ([20.0, 30.0, 40.0, 80.0], [20.0, 3.0, 4.0, 8.0], "20 kg/s at setting 20 .* 3 kg/s at set"),
        ([50.0, 40.0, 50.0], [5.0, 4.0, 9.0], "9 kg/s at setting 50 .* 5 kg/s at the same"),
    ],
)
def test_points_that_contradict_each_other_by_far_are_refused(settings, rates, said):
    with pytest.raises(Inconsistent, match=said):
        metering_setting(exactly(5.0), settings, rates)


def test_a_little_beyond_the_points_is_flagged_and_far_beyond_distrusted():
    points = ([40.0, 60.0], [4.0, 6.0])
    assert metering_setting(exactly(7.0), *points).basis == "near-extrapolation"
    assert metering_setting(exactly(9.0), *points).basis == "far-extrapolation"
    assert metering_setting(exactly(20.0), *points) is None


def test_rates_that_only_fall_are_refused():
    with pytest.raises(Inconsistent, match="do not rise"):
        metering_setting(exactly(5.0), [40.0, 60.0], [6.0, 4.0])


def test_settings_and_rates_must_pair_up():
    with pytest.raises(Inconsistent, match="pair"):
        metering_setting(exactly(5.0), [40.0], [4.0, 5.0])


@pytest.mark.parametrize(
    "settings, rates, name",
    [([], [], "settings"), ([0.0], [4.0], "settings"), ([40.0], [0.0], "rates")],
)
def test_impossible_points_are_refused(settings, rates, name):
    with pytest.raises(OutOfRange) as refused:
        metering_setting(exactly(5.0), settings, rates)
    assert refused.value.name == name
