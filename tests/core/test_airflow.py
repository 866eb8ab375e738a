"""Beds and fans: laws and corners."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from outfeed.airflow import (
    HORIZONTAL_STEP,
    Bed,
    airflow_at,
    airflow_set,
    loose_resistance,
    packing_factor,
    per_area,
    pressure_drop,
    step_at_the_switch,
)
from outfeed.errors import Inconsistent, NotPublished, OutOfRange, UnknownName
from outfeed.fan import FanTable, fan_heat, fan_power, fan_pressure, operating_point
from outfeed.grains import grain_ids, load_grain

CORN = load_grain("corn-yellow-dent")
WITH_AIRFLOW = [grain for grain in grain_ids() if load_grain(grain).airflow]
FAN = FanTable((0.0, 250.0, 500.0, 750.0, 1000.0), (12.0, 11.0, 9.5, 7.0, 3.0))
flows = st.floats(0.001, 0.3)


@pytest.mark.parametrize("grain", WITH_AIRFLOW)
@given(flows, st.floats(0.001, 0.1))
def test_more_air_needs_more_pressure(grain, flow, more):
    constants = airflow_set(load_grain(grain))
    assert loose_resistance(constants, flow + more) > loose_resistance(constants, flow)


@given(flows, st.floats(0.5, 10.0), st.sampled_from([1.0, 1.5]), st.sampled_from([0.0, 0.05, 0.2]))
def test_airflow_at_reads_pressure_drop_backwards(flow, depth, packing, fines):
    bed = Bed(CORN, depth, packing=packing, fines=fines)
    assert airflow_at(bed, pressure_drop(bed, flow)) == pytest.approx(flow, rel=1e-6)


@given(st.floats(0.001, 0.3), st.floats(0.0, 0.19))
def test_fines_add_resistance_and_keep_it_rising(flow, fines):
    clean, dirty = Bed(CORN, 1.0), Bed(CORN, 1.0, fines=fines + 0.01)
    assert pressure_drop(dirty, flow) > pressure_drop(clean, flow)
    assert pressure_drop(dirty, flow + 0.02) > pressure_drop(dirty, flow)


def test_no_air_needs_no_pressure():
    assert pressure_drop(Bed(CORN, 3.0), 0.0) == 0.0
    assert airflow_at(Bed(CORN, 3.0), 0.0) == pytest.approx(0.0, abs=1e-9)


def test_pressures_within_the_sideways_step_belong_to_the_airflow_of_the_step():
    bed = Bed(CORN, 0.3, packing=1.0, direction="horizontal")
    below = pressure_drop(bed, HORIZONTAL_STEP)
    assert airflow_at(bed, 1.1 * below) == pytest.approx(HORIZONTAL_STEP, abs=1e-6)


def test_a_bed_says_which_methods_it_rests_on_and_what_left_their_range():
    bed = Bed(CORN, 3.0, fines=0.02)
    uses = {use.method.id: use for use in bed.use(0.002)}
    assert not uses["airflow.resistance.asae-d272-3"].inside_range
    assert not uses["airflow.fines.haque-1978"].inside_range
    assert all(use.inside_range for use in Bed(CORN, 3.0).use(0.1))


@pytest.mark.parametrize(
    "change, error",
    [
        ({"direction": "horizontal"}, NotPublished),
        ({"fines": 0.05}, NotPublished),
        ({"constants": "low-flow"}, UnknownName),
        ({"direction": "sideways"}, UnknownName),
        ({"depth": 0.0}, OutOfRange),
        ({"packing": 5.0}, OutOfRange),
    ],
)
def test_a_bed_of_what_nobody_measured_is_refused(change, error):
    with pytest.raises(error):
        Bed(**({"grain": load_grain("soybean"), "depth": 3.0} | change))


def test_beans_have_no_airflow_constants():
    with pytest.raises(NotPublished):
        Bed(load_grain("edible-beans"), 3.0)
    assert step_at_the_switch(load_grain("soybean")) is None


def test_the_packing_factor_comes_from_the_catalogue():
    assert packing_factor() == 1.5


def test_airflow_per_area_grows_with_depth():
    assert per_area(1e-4, [1.0, 2.0], 700.0).tolist() == pytest.approx([0.07, 0.14])


@given(st.floats(3.0, 12.0))
def test_fan_pressure_lies_between_the_rows_beside_it(flow):
    pressure = float(fan_pressure(FAN, flow))
    rows = np.searchsorted(-np.asarray(FAN.airflow), -flow)
    low, high = FAN.pressure[max(rows - 1, 0)], FAN.pressure[min(rows, 4)]
    assert low - 1e-9 <= pressure <= high + 1e-9


@given(st.floats(1.0, 8.0), st.floats(20.0, 150.0), st.integers(1, 3))
def test_at_the_operating_point_fan_and_bed_agree(depth, area, fans):
    bed = Bed(CORN, depth)
    point = operating_point(bed, area, FAN, fans)
    assume(point.found)
    assert pressure_drop(bed, point.airflow / area) == pytest.approx(point.pressure, abs=0.01)


@given(st.floats(1.0, 5.0), st.floats(0.2, 2.0))
def test_a_fuller_bin_gets_less_air(depth, more):
    shallow = operating_point(Bed(CORN, depth), 60.0, FAN)
    deep = operating_point(Bed(CORN, depth + more), 60.0, FAN)
    assume(shallow.found and deep.found)
    assert deep.airflow < shallow.airflow


def test_a_dirtier_lot_gets_less_air():
    clean = operating_point(Bed(CORN, 5.0), 60.0, FAN)
    assert operating_point(Bed(CORN, 5.0, fines=0.04), 60.0, FAN).airflow < clean.airflow


def test_where_fan_and_bed_do_not_meet_the_verdict_says_why():
    tight = operating_point(Bed(CORN, 40.0), 5.0, FAN)
    assert (tight.found, tight.verdict) == (False, "bed-too-tight")
    assert tight.pressure == 1000.0
    fan = FanTable((250.0, 500.0), (11.0, 9.5))
    free = operating_point(Bed(CORN, 0.1), 200.0, fan)
    assert (free.found, free.verdict) == (False, "beyond-table")
    small = operating_point(Bed(CORN, 0.05, fines=0.01), 1.0, FAN)
    assert (small.found, small.verdict) == (False, "beyond-method")


@pytest.mark.parametrize(
    "pressure, airflow",
    [
        ((0.0,), (1.0,)),
        ((0.0, 100.0), (1.0,)),
        ((0.0, 100.0, 200.0), (3.0, 3.0, 1.0)),
        ((0.0, 100.0, 100.0), (3.0, 2.0, 1.0)),
        ((0.0, 100.0, 200.0), (3.0, 1.0, 2.0)),
    ],
)
def test_a_fan_table_that_does_not_fall_is_refused(pressure, airflow):
    with pytest.raises(Inconsistent):
        FanTable(pressure, airflow)


def test_the_rows_of_a_fan_table_may_come_in_any_order():
    assert FanTable((500.0, 0.0, 250.0), (9.5, 12.0, 11.0)) == FanTable(
        (0.0, 250.0, 500.0), (12.0, 11.0, 9.5)
    )


def test_the_heat_of_a_fan_is_its_power_over_the_air_it_moves():
    power, rise = fan_power(10.0, 1000.0, 0.5), fan_heat(1000.0, 0.5)
    assert power == 20_000.0
    assert rise * 10.0 * 1.2 * 1006.0 == pytest.approx(power)


@pytest.mark.parametrize("efficiency", [0.0, 1.0])
def test_a_fan_is_neither_perfect_nor_useless(efficiency):
    with pytest.raises(OutOfRange):
        fan_heat(100.0, efficiency)
