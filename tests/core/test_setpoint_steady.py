"""Steady temperatures: readings matched to their time in the dryer, and the column's offset."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.steering import steady
from outfeed.steering.belief import new_belief
from outfeed.steering.pairs import Pairs, Transport, learn_from_pairs, pair_readings
from outfeed.steering.setpoint import Situation, advise_setpoint

TIMES = np.arange(0.0, 6 * 3600.0, 120.0)
READ = np.array([3.0, 4.0, 5.0, 5.9]) * 3600.0


def record(
    rate: float = 2.0, column: float = 37.0, spacing: int = 1
) -> tuple[Pairs, Transport, np.ndarray]:
    transport = Transport(
        held=7200.0, rate_times_s=TIMES[::spacing], rates=np.full(TIMES[::spacing].size, rate)
    )
    shown = np.full(TIMES.size, column)
    inlets = np.full(TIMES.size, 0.21)
    pairs = pair_readings(
        READ, np.full(4, 0.155), TIMES, shown, transport, inlet_times_s=TIMES, inlets_wb=inlets
    )
    return pairs, transport, shown


def anchored(transport: Transport, pairs: Pairs, inlet: float = 0.21) -> steady.SteadyColumn:
    found = steady.steady_column(
        pairs,
        None,
        transport,
        inlet_times_s=TIMES,
        inlets_wb=np.full(TIMES.size, inlet),
        reference_temperature=37.0,
    )
    assert found is not None
    return found


def test_at_its_anchor_the_steady_temperature_is_the_reference():
    pairs, transport, shown = record()
    found = anchored(transport, pairs)
    assert found.transit_s == pytest.approx(7200.0)  # 14,400 kg at 2 kg/s
    assert steady.steady_pairs(pairs, found).temperatures == pytest.approx(np.full(4, 37.0))
    assert steady.column_offset(TIMES, shown, found, TIMES[-1]) == pytest.approx(0.0)


def test_one_per_cent_slower_is_worth_the_column_models_eleven_hundredths_of_a_degree():
    pairs, transport, _ = record()
    found = anchored(transport, pairs)
    assert found.at(7200.0 * np.exp(0.01), 0.21) - 37.0 == pytest.approx(0.11 / 1.8)
    assert found.at(7200.0, 0.22) - 37.0 == pytest.approx(-2.1 / 1.8)


@given(st.floats(-5.0, 5.0))
def test_a_warmer_column_at_one_rate_is_offset_and_not_drier_grain(warmer):
    pairs, transport, shown = record()
    found = anchored(transport, pairs)
    offset = steady.column_offset(TIMES, shown + warmer, found, TIMES[-1])
    assert offset == pytest.approx(warmer)
    belief, _ = learn_from_pairs(
        steady.steady_pairs(pairs, found),
        None,
        reference_temperature=37.0,
        reference_inlet_wb=found.inlet_wb,
        reference_transit_s=found.transit_s,
    )
    assert belief is not None
    here = Situation(
        setpoint=37.0 + warmer,
        target_wb=0.155,
        now_s=TIMES[-1],
        transit_s=7200.0,
        inlet_wb=0.21,
        column_offset=warmer,
    )
    assert advise_setpoint(belief, None, here).expected_moisture_wb == pytest.approx(0.155)
    unheld = replace(here, setpoint=37.0)
    drier = advise_setpoint(belief, None, unheld).expected_moisture_wb
    assert drier == pytest.approx(0.155 - belief.sensitivity * warmer, abs=1e-6)


def test_a_coarse_log_no_inlet_or_a_belief_begun_without_them_leaves_the_column():
    pairs, transport, _ = record(spacing=40)
    options = {"inlet_times_s": TIMES, "inlets_wb": np.full(TIMES.size, 0.21)}
    assert (
        steady.steady_column(pairs, None, transport, **options, reference_temperature=37.0) is None
    )
    pairs, transport, _ = record()
    none = {"inlet_times_s": None, "inlets_wb": None}
    assert steady.steady_column(pairs, None, transport, **none, reference_temperature=37.0) is None
    young, _ = learn_from_pairs(pairs, None, reference_temperature=37.0)
    assert young is not None
    old = replace(young, readings=7)
    assert (
        steady.steady_column(pairs, old, transport, **options, reference_temperature=37.0) is None
    )


def test_a_young_belief_is_begun_again_once_the_time_in_the_dryer_is_known():
    pairs, transport, _ = record()
    young, _ = learn_from_pairs(pairs, None, reference_temperature=37.0)
    options = {"inlet_times_s": TIMES, "inlets_wb": np.full(TIMES.size, 0.21)}
    found = steady.steady_column(pairs, young, transport, **options, reference_temperature=38.0)
    assert found is not None
    assert found.temperature == 38.0
    again, _ = learn_from_pairs(
        steady.steady_pairs(pairs, found),
        young,
        reference_temperature=38.0,
        reference_transit_s=found.transit_s,
    )
    assert again is not None
    assert (again.reference_temperature, again.readings) == (38.0, 4)


def test_a_time_in_the_dryer_longer_than_the_rate_log_anchors_nothing():
    held, short = 7200.0, TIMES[TIMES >= 4.5 * 3600.0]
    rates = np.full(short.size, 2.0)
    transport = Transport(held=held, rate_times_s=short, rates=rates)
    inlets = {"inlet_times_s": TIMES, "inlets_wb": np.full(TIMES.size, 0.21)}
    pairs = pair_readings(READ, np.full(4, 0.155), TIMES, np.full(TIMES.size, 37.0), transport)
    assert pairs.found.tolist() == [False, False, False, True]  # the lag is in the log
    assert (
        steady.steady_column(pairs, None, transport, **inlets, reference_temperature=37.0) is None
    )


@pytest.mark.parametrize(("minutes", "used"), [(8, 4), (30, 2)])
def test_grain_that_stood_long_in_the_dryer_teaches_nothing(minutes: int, used: int):
    since = TIMES - 2.5 * 3600.0
    stop = (since >= 0.0) & (since < 60.0 * minutes)
    transport = Transport(held=7200.0, rate_times_s=TIMES, rates=np.where(stop, 0.0, 2.0))
    # at 2 kg/s the 14,400 kg in the dryer have left two hours after the stop
    pairs = pair_readings(
        [2.4 * 3600.0, 3.0 * 3600.0, 4.5 * 3600.0, 5.2 * 3600.0],
        np.full(4, 0.155), TIMES, np.full(TIMES.size, 37.0), transport,
    )  # fmt: skip
    assert np.count_nonzero(pairs.found) == used
    assert pairs.stood.tolist() == [False, used == 2, used == 2, False]


def test_a_time_in_the_dryer_that_no_belief_may_carry_anchors_nothing():
    transport = Transport(held=250.0, rate_times_s=TIMES, rates=np.full(TIMES.size, 1.0))
    pairs = pair_readings(READ, np.full(4, 0.155), TIMES, np.full(TIMES.size, 37.0), transport)
    inlets = {"inlet_times_s": TIMES, "inlets_wb": np.full(TIMES.size, 0.21)}
    assert pairs.found.all()  # 500 s in the dryer
    assert (
        steady.steady_column(pairs, None, transport, **inlets, reference_temperature=37.0) is None
    )


@pytest.mark.parametrize("pace", [0.5, 1.0, 2.0])
def test_a_column_that_answers_the_rate_sooner_or_later_is_not_taken_for_a_warmer_one(pace):
    rates = np.where(TIMES < 4.4 * 3600.0, 2.0, 2.4)
    pairs, _, _ = record()
    transport = Transport(held=7200.0, rate_times_s=TIMES, rates=rates)
    found = anchored(transport, pairs)
    since = TIMES - 4.4 * 3600.0 - pace * 7200.0 / 6.0
    risen = 1.0 - np.exp(-np.maximum(since, 0.0) / (pace * 0.3 * 7200.0))
    shown = 37.0 - found.column_per_time * np.log(1.2) * risen
    assert steady.column_offset(TIMES, shown, found, TIMES[-1]) == pytest.approx(0.0, abs=0.1)


def test_the_offset_follows_a_plenum_that_warms_and_no_noise():
    pairs, transport, shown = record()
    found = anchored(transport, pairs)
    warms = (TIMES - TIMES[-1]) / 3600.0
    quiet = steady.column_offset(TIMES, shown + warms, found, TIMES[-1])
    assert quiet == pytest.approx(0.0, abs=0.5)
    waves = 2.0 * np.sin((TIMES - TIMES[-1]) * 2 * np.pi / 7200.0)
    noisy = steady.column_offset(TIMES, shown + waves, found, TIMES[-1])
    assert noisy == pytest.approx(0.0, abs=0.5)


def test_an_outage_of_the_heat_that_is_over_is_no_offset_of_the_column():
    pairs, transport, shown = record()
    found = anchored(transport, pairs)
    hours_ago = (TIMES[-1] - TIMES) / 3600.0
    # 15 K down within twenty minutes, cold until an hour ago, and warm again in twenty more
    fallen = np.clip(np.minimum(2.0 - hours_ago, hours_ago - 2.0 / 3.0) * 3.0, 0.0, 1.0)
    for cooler in (0.0, 4.0):  # by a plenum, before the outage as well
        offset = steady.column_offset(TIMES, shown - cooler - 15.0 * fallen, found, TIMES[-1])
        assert offset == pytest.approx(-cooler, abs=0.2)
    # a stand a little lower since a while is a cooler plenum
    lower = steady.column_offset(TIMES, shown - 3.0 * (hours_ago < 3.5), found, TIMES[-1])
    assert lower == pytest.approx(-3.0, abs=0.2)


def test_a_belief_keeps_its_own_anchor_and_wanders_less():
    pairs, transport, _ = record()
    found = anchored(transport, pairs)
    belief, _ = learn_from_pairs(
        steady.steady_pairs(pairs, found),
        None,
        reference_temperature=37.0,
        reference_transit_s=6000.0,
    )
    again = steady.steady_column(
        pairs,
        belief,
        transport,
        inlet_times_s=TIMES,
        inlets_wb=np.full(TIMES.size, 0.21),
        reference_temperature=40.0,
    )
    assert again is not None
    assert (again.temperature, again.transit_s) == (37.0, 6000.0)
    assert belief is not None
    assert belief.wander < new_belief(37.0, 0.155, at_s=0.0).wander


def test_the_coming_inlet_is_that_of_the_grain_above_the_sensors():
    pairs, transport, _ = record()
    found = replace(anchored(transport, pairs), inlets_wb=np.where(TIMES < 9000.0, 0.20, 0.24))
    assert steady.coming_inlet(found, 9000.0, 7200.0) == pytest.approx(0.20)
    assert steady.coming_inlet(found, 9000.0 + 3600.0, 7200.0) == pytest.approx(0.24)
