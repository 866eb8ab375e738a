"""Doubt about the lag: nothing while nothing changes, and in the stated chance alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from outfeed import OutOfRange
from outfeed.steering.belief import Belief
from outfeed.steering.lag_doubt import lag_doubt
from outfeed.steering.pairs import Pairs, Transport, learn_from_pairs, pair_readings
from outfeed.steering.setpoint import LagDoubt, Situation, advise_setpoint
from outfeed.steering.steady import (
    SteadyColumn,
    column_offset,
    coming_inlet,
    steady_column,
    steady_pairs,
)

HOUR, SETPOINT = 3600.0, 37.0
TIMES = np.arange(0.0, 12 * HOUR, 300.0)
READ = np.arange(6.0, 12.0) * HOUR
STEADY, LATE_RISE = np.full(TIMES.size, SETPOINT), SETPOINT + 2.0 * (TIMES > 8 * HOUR)
SITUATION = Situation(SETPOINT, 0.155, 11 * HOUR, 2 * HOUR)
LAG = Transport(lag_s=HOUR)


def paired(
    column: np.ndarray, transport: Transport, inlets: np.ndarray | None = None, read: float = 0.165
) -> Pairs:
    told = {} if inlets is None else {"inlet_times_s": TIMES, "inlets_wb": inlets}
    return pair_readings(READ, np.full(READ.size, read), TIMES, column, transport, **told)


def learned(
    pairs: Pairs, transport: Transport, told: dict[str, np.ndarray]
) -> tuple[SteadyColumn, Pairs, Belief | None]:
    """Readings matched to steady temperatures, and what is known after them."""
    steady = steady_column(pairs, None, transport, reference_temperature=SETPOINT, **told)
    pairs = steady_pairs(pairs, steady)
    belief, _ = learn_from_pairs(
        pairs,
        None,
        reference_temperature=SETPOINT,
        reference_inlet_wb=steady.inlet_wb,
        reference_transit_s=steady.transit_s,
    )
    return steady, pairs, belief


@pytest.mark.parametrize("column", [STEADY, LATE_RISE])
@pytest.mark.parametrize("uncertainty", [0.0, 0.1, 0.7])
def test_a_lag_is_doubted_only_where_the_column_moved_and_as_far_as_it_is_unsure(
    column, uncertainty
):
    pairs = paired(column, LAG)
    belief, _ = learn_from_pairs(pairs, None, reference_temperature=SETPOINT)
    doubt = [
        lag_doubt(pairs, belief, SITUATION, LAG, TIMES, column, uncertainty=share).sd
        for share in (uncertainty, uncertainty + 0.2)
    ]
    assert (doubt[0] > 1e-6) == (column is LATE_RISE and uncertainty > 0.0)
    assert doubt[1] > doubt[0] or column is STEADY


def test_without_a_belief_there_is_nothing_to_doubt_and_a_share_below_nothing_is_refused():
    pairs = paired(STEADY, LAG)
    assert lag_doubt(pairs, None, SITUATION, LAG, TIMES, STEADY).sd == 0.0
    with pytest.raises(OutOfRange, match="uncertainty of the transport lag"):
        lag_doubt(pairs, None, SITUATION, LAG, TIMES, STEADY, uncertainty=-0.1)


@pytest.mark.parametrize(
    ("new_lot_h", "read", "surer"), [(20.0, 0.165, 0), (10.0, 0.165, 1), (10.0, 0.15, -1)]
)
def test_a_lot_that_another_lag_would_leave_wetter_makes_only_the_chance_of_wet_grain_surer(
    new_lot_h, read, surer
):
    rates = np.full(TIMES.size, 2.0)
    transport = Transport(held=7200.0, rate_times_s=TIMES, rates=rates)
    hours = TIMES / HOUR
    inlets = np.where(hours >= new_lot_h, 0.24, 0.21)
    pairs = paired(STEADY, transport, inlets, read)
    told = {"inlet_times_s": TIMES, "inlets_wb": inlets}
    steady, pairs, belief = learned(pairs, transport, told)
    now_s = SITUATION.now_s
    here = replace(
        SITUATION,
        inlet_wb=coming_inlet(steady, now_s, 2 * HOUR),
        column_offset=column_offset(TIMES, STEADY, steady, now_s),
    )
    doubt = lag_doubt(pairs, belief, here, transport, TIMES, STEADY, steady=steady, **told)
    sure, unsure = (
        advise_setpoint(belief, None, replace(here, lag_doubt=one)) for one in (LagDoubt(), doubt)
    )
    assert min(doubt.shifts) > -1e-9
    assert np.sign(round(unsure.chance - sure.chance, 9)) == surer
    assert replace(unsure, chance=sure.chance) == sure


@pytest.mark.parametrize(("begins_h", "doubted"), [(0.0, False), (9.0, True)])
def test_a_log_that_a_longer_lag_would_outreach_leaves_a_doubt(begins_h, doubted):
    hours = TIMES / HOUR
    log = TIMES[hours >= begins_h]
    transport = Transport(held=7200.0, rate_times_s=log, rates=np.full(log.size, 2.0))
    told = {"inlet_times_s": log, "inlets_wb": np.full(log.size, 0.21)}
    level = np.full(log.size, SETPOINT)
    pairs = pair_readings([11.5 * HOUR], [0.165], log, level, transport, **told)
    steady, pairs, belief = learned(pairs, transport, told)
    here = replace(SITUATION, now_s=11.5 * HOUR, inlet_wb=0.21)
    found = lag_doubt(pairs, belief, here, transport, log, level, steady=steady, **told)
    assert (found.sd > 0.004) is doubted
