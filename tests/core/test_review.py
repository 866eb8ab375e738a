"""A log reviewed: books that close, truth recovered from invented logs, spells that are found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed.arrays import runs_of
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.moisture import over_drying
from outfeed.review import review
from outfeed.runlog import RunLog, prepare
from outfeed.settled_pairs import fit_line, settled_pairs
from outfeed.spells import find_spells

HOLD_UP = 20_000.0  # kg
SLOPE, INLET_EFFECT = -0.010, -0.3


def invented(hours=120.0, step_s=60.0, *, seed=3, rate=5.0):
    """A log whose outlet moisture is a line in the column temperature its own grain felt."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, hours * 3600.0, step_s)
    flow = rate * (1.0 + 0.02 * np.sin(t / 40_000.0))
    column = 38.0 + 3.0 * np.sin(t / 90_000.0)
    inlet = 0.22 + 0.02 * np.sin(t / 150_000.0)
    counter = np.concatenate(([0.0], np.cumsum(flow * step_s)[:-1]))
    felt = np.interp(counter - HOLD_UP / 2.0, counter, column)
    entered = np.interp(counter - HOLD_UP, counter, inlet)
    outlet = 0.155 + SLOPE * (felt - 38.0) + INLET_EFFECT * (entered - 0.22)
    outlet = outlet + rng.normal(0.0, 0.001, t.size)
    return RunLog(
        times_s=t,
        rate=flow,
        moisture_in=inlet,
        moisture_out=outlet,
        columns=(column,),
        plenum=np.full(t.size, 90.0) + rng.normal(0.0, 0.3, t.size),
        plenum_setpoint=np.full(t.size, 90.0),
        heat=np.full(t.size, 3.0e6),
    )


def test_settled_pairs_are_matched_by_the_integral_of_the_discharge():
    pairs = settled_pairs(prepare(invented()), HOLD_UP)
    assert pairs.outlet_wb.size > 60
    expected = 0.155 + SLOPE * (pairs.column - 38.0) + INLET_EFFECT * (pairs.inlet_wb - 0.22)
    assert np.abs(pairs.outlet_wb - expected).max() < 4e-4


def test_the_line_recovers_the_slope_the_log_was_made_with():
    line = fit_line(settled_pairs(prepare(invented()), HOLD_UP))
    assert line.sensitivity == pytest.approx(SLOPE, rel=0.05)
    assert line.inlet_effect == pytest.approx(INLET_EFFECT, abs=0.1)


def test_a_start_setpoint_would_have_met_the_target():
    result = review(invented(), target_wb=0.15, hold_up=HOLD_UP)
    assert [group.pairs > 0 for group in result.groups] == [True] * len(result.groups)
    assert sum(group.pairs for group in result.groups) == result.pairs.outlet_wb.size
    for group in result.groups:
        wanted = 38.0 + (0.15 - 0.155 - INLET_EFFECT * (group.inlet_wb - 0.22)) / SLOPE
        assert group.start_setpoint == pytest.approx(wanted, abs=0.25)
        assert group.setpoint_low < wanted < group.setpoint_high


def test_nothing_is_settled_within_a_transit_of_a_restart():
    log = invented(30.0)
    rate = log.rate.copy()
    rate[600:660] = 0.0
    pairs = settled_pairs(prepare(replace(log, rate=rate)), HOLD_UP)
    restart, transit = log.times_s[660], HOLD_UP / 5.0
    inside = (pairs.start_s < restart + transit * 0.97) & (pairs.end_s > log.times_s[600])
    assert not inside.any()


def test_a_change_of_rate_unsettles_the_next_block():
    log = invented(30.0)
    rate = np.where(np.arange(log.rate.size) < 900, log.rate, 1.3 * log.rate)
    steady = settled_pairs(prepare(log), HOLD_UP)
    changed = settled_pairs(prepare(replace(log, rate=rate)), HOLD_UP)
    when = log.times_s[900]
    assert not np.any((changed.start_s <= when) & (changed.end_s > when))
    assert np.any((steady.start_s <= when) & (steady.end_s > when))


@given(st.integers(0, 200), st.floats(0.10, 0.18))
def test_shares_of_the_stream_add_up(seed, target):
    stream = review(invented(20.0, seed=seed), target_wb=target, hold_up=HOLD_UP).stream
    total = stream.on_target_share + stream.too_wet_share + stream.too_dry_share
    assert total == pytest.approx(1.0)
    assert stream.low_wb <= stream.mean_wb <= stream.high_wb


@given(st.floats(0.12, 0.17))
def test_water_and_over_drying_follow_the_mass_balance(market):
    log = invented(40.0)
    log = replace(
        log,
        moisture_in=np.full(log.times_s.size, 0.24),
        moisture_out=np.full(log.times_s.size, 0.14),
    )
    result = review(log, target_wb=0.14, market_wb=market, hold_up=HOLD_UP, grain_price=0.2)
    grain = float((log.rate * 60.0).sum())
    water = grain * 0.86 * (0.24 / 0.76 - 0.14 / 0.86)
    assert result.energy.water == pytest.approx(water, rel=1e-9)
    assert result.energy.heat == pytest.approx(3.0e6 * 40.0 * 3600.0, rel=1e-9)
    given_away = over_drying(grain, 0.14, market).weight_given_away
    assert result.over_dried.weight_given_away == pytest.approx(float(given_away))
    assert result.over_dried.money == pytest.approx(0.2 * float(given_away))


@pytest.mark.parametrize("came, taken_from", [(0.14, 0.14), (0.155, 0.155), (0.20, 0.155)])
def test_grain_is_over_dried_from_the_drier_of_what_it_was_and_what_the_market_pays(
    came, taken_from
):
    """A tonne of dry matter weighs 1/(1 - m): what it lost below the market is the difference."""
    log = invented(40.0)
    same = np.ones(log.times_s.size)
    log = replace(log, moisture_in=came * same, moisture_out=0.13 * same)
    # the first hold-up came before the log, so its own moisture is not known
    unknown = np.cumsum(log.rate * 60.0) - log.rate * 60.0 < HOLD_UP
    log.moisture_out[unknown] = np.nan
    dry_matter = float((log.rate * 60.0)[~unknown].sum()) * 0.87
    over = review(log, target_wb=0.13, market_wb=0.155, hold_up=HOLD_UP).over_dried
    lost = dry_matter * (1.0 / (1.0 - taken_from) - 1.0 / 0.87)
    assert over.weight_given_away == pytest.approx(lost, rel=1e-9)
    assert (over.came_below > 0.0) == (came < 0.155)


def part_of(log, rows):
    columns = {
        name: value[rows]
        for name in ("times_s", "rate", "moisture_in", "moisture_out", "plenum", "plenum_setpoint",
                     "heat")
        if (value := getattr(log, name)) is not None
    }  # fmt: skip
    return replace(log, columns=tuple(sensor[rows] for sensor in log.columns), **columns)


@given(st.integers(0, 200), st.floats(0.2, 0.8), st.floats(0.13, 0.17))
def test_a_log_cut_in_two_adds_up_to_the_whole(seed, share, market):
    log = invented(40.0, seed=seed)
    log = replace(log, moisture_in=np.full(log.times_s.size, 0.24))
    cut = int(share * log.times_s.size)
    asked = {
        "target_wb": 0.155, "hold_up": HOLD_UP, "market_wb": market, "grain_price": 0.2,
    }  # fmt: skip
    whole, *parts = (
        review(part_of(log, rows), **asked) for rows in (slice(None), slice(cut), slice(cut, None))
    )
    for pick in (
        lambda r: r.stream.grain,
        lambda r: r.stream.running_s,
        lambda r: r.stream.grain * r.stream.mean_wb,
        lambda r: r.stream.grain * r.stream.too_dry_share,
        lambda r: r.energy.heat,
        lambda r: r.over_dried.grain,
        lambda r: r.over_dried.weight_given_away,
        lambda r: r.over_dried.money,
    ):
        assert sum(map(pick, parts)) == pytest.approx(pick(whole), rel=1e-9)
    # the first transit of each part has no inlet and is counted as the mean of the rest
    water = sum(part.energy.water for part in parts)
    assert water == pytest.approx(whole.energy.water, rel=0.01)


@given(st.integers(0, 200))
def test_dry_matter_that_leaves_is_the_dry_matter_that_came_in(seed):
    log = invented(60.0, seed=seed)
    left = log.rate * 60.0
    counter = np.concatenate(([0.0], np.cumsum(left)[:-1]))
    entered = np.interp(counter - HOLD_UP, counter, log.moisture_in)
    known = counter >= HOLD_UP
    came = left * (1.0 - log.moisture_out) / (1.0 - entered)
    water = (came - left)[known].sum() * left.sum() / left[known].sum()
    energy = review(log, target_wb=0.155, hold_up=HOLD_UP).energy
    assert energy.water == pytest.approx(float(water), rel=1e-3)
    assert energy.covered_share == pytest.approx(left[known].sum() / left.sum(), abs=1e-3)


def test_one_column_of_time_moved_changes_nothing_but_the_times():
    log = invented(24.0)
    later = replace(log, times_s=log.times_s + 1e6)
    first, second = (review(entry, target_wb=0.155, hold_up=HOLD_UP) for entry in (log, later))
    assert first.stream == second.stream
    assert first.energy == second.energy


def test_missing_readings_do_not_move_the_mean():
    log = invented(48.0)
    outlet = log.moisture_out.copy()
    outlet[::3] = np.nan
    whole = review(log, target_wb=0.155, hold_up=HOLD_UP)
    holes = review(replace(log, moisture_out=outlet), target_wb=0.155, hold_up=HOLD_UP)
    assert holes.stream.mean_wb == pytest.approx(whole.stream.mean_wb, abs=1e-4)
    assert holes.stream.read_share == pytest.approx(2.0 / 3.0, abs=0.01)
    assert holes.energy.water == pytest.approx(whole.energy.water, rel=2e-3)


@pytest.mark.parametrize("every", [2, 3])
def test_fuel_that_was_not_read_is_taken_to_be_like_the_rest(every):
    """A meter read in one row of three burned no third of the fuel."""
    log = invented(40.0)
    sparse = np.where(np.arange(log.heat.size) % every == 0, log.heat, np.nan)
    whole, part = (
        review(replace(log, heat=heat), target_wb=0.155, hold_up=HOLD_UP).energy
        for heat in (log.heat, sparse)
    )
    assert part.per_water == pytest.approx(whole.per_water, rel=1e-9)
    assert part.heat_read_share == pytest.approx(1.0 / every, abs=1e-3)
    assert whole.heat_read_share == 1.0


def test_energy_is_held_against_the_published_range_of_the_kind():
    log = invented(60.0)
    energy = review(log, target_wb=0.155, hold_up=HOLD_UP, kind="cross-flow").energy
    assert energy.low < energy.per_water < energy.high
    frugal = replace(log, heat=log.heat * 0.2)
    wasteful = replace(log, heat=log.heat * 10.0)
    verdicts = [
        review(entry, target_wb=0.155, hold_up=HOLD_UP, kind="cross-flow").energy.verdict
        for entry in (frugal, wasteful)
    ]
    assert verdicts == ["below", "above"]


def test_fuel_of_the_whole_log_stands_in_for_a_column_of_it():
    log = invented(30.0)
    by_column = review(log, target_wb=0.155, hold_up=HOLD_UP).energy
    by_total = review(
        replace(log, heat=None), target_wb=0.155, hold_up=HOLD_UP, heat_used=by_column.heat
    ).energy
    assert by_total == by_column


def test_a_drifting_meter_is_caught_by_samples_and_a_true_one_is_not():
    log = invented(200.0)
    drift = 0.002 * log.times_s / 86_400.0
    reference = np.full(log.times_s.size, np.nan)
    rng = np.random.default_rng(8)
    rows = np.arange(300, log.times_s.size, 700)
    reference[rows] = log.moisture_out[rows] + rng.normal(0.0, 0.002, rows.size)
    true = review(replace(log, reference=reference), target_wb=0.155, hold_up=HOLD_UP)
    wandering = replace(log, moisture_out=log.moisture_out + drift, reference=reference)
    caught = review(wandering, target_wb=0.155, hold_up=HOLD_UP)
    assert true.drifts[0].verdict == "no-evidence"
    assert caught.drifts[0].verdict == "drifts"
    assert caught.drifts[0].per_day == pytest.approx(0.002, rel=0.3)
    assert caught.drifts[0].offset < 0.0


def kinds(log, **kwargs):
    return {spell.kind for spell in find_spells(prepare(log), **kwargs)}


def test_a_quiet_log_has_no_spells():
    assert kinds(invented(24.0)) == set()


def test_each_suspicious_spell_is_found_where_it_was_put():
    log = invented(60.0)
    rate, plenum = log.rate.copy(), log.plenum.copy()
    column, outlet = log.columns[0].copy(), log.moisture_out.copy()
    rate[500:560] = 0.0
    column[500:560] += np.linspace(0.0, 8.0, 60)
    plenum[1000:1060] -= 6.0
    column[1500:1800] = column[1500]
    outlet[2000:2004] = 0.95
    times = log.times_s.copy()
    times[2500:] += 7200.0
    put = replace(
        log, times_s=times, rate=rate, plenum=plenum, columns=(column,), moisture_out=outlet
    )
    found = {spell.kind: spell for spell in find_spells(prepare(put))}
    assert found["stopped-with-heat"].rows == 60
    assert found["stopped-with-heat"].level == pytest.approx(8.0, abs=0.3)
    assert found["plenum-off-setpoint"].level == pytest.approx(-6.0, abs=0.2)
    assert found["frozen-sensor"].start_s == times[1500]
    assert found["impossible-reading"].rows == 4
    assert found["gap"].seconds == pytest.approx(7200.0)


def test_a_column_as_hot_as_a_fire_is_found_and_not_called_impossible():
    log = invented(24.0)
    column = log.columns[0].copy()
    column[500:503] = (180.0, 420.0, 300.0)
    column[700] = 900.0
    found = {spell.kind: spell for spell in find_spells(prepare(replace(log, columns=(column,))))}
    assert (found["hot-column"].rows, found["hot-column"].level) == (3, 420.0)
    assert found["impossible-reading"].start_s == log.times_s[700]


def test_grain_that_leaves_wetter_than_it_came_is_found():
    log = invented(24.0)
    outlet = log.moisture_out.copy()
    outlet[900:960] = 0.27
    result = review(replace(log, moisture_out=outlet), target_wb=0.155, hold_up=HOLD_UP)
    assert [spell.kind for spell in result.spells] == ["wetter-than-inlet"]


def test_strokes_of_the_discharge_are_not_stops():
    log = invented(12.0)
    strokes = np.where(np.arange(log.rate.size) % 4 == 0, 4.0 * log.rate, 0.0)
    run = prepare(replace(log, rate=strokes))
    assert run.running.all()


def test_runs_are_the_unbroken_stretches_of_true():
    starts, ends = runs_of(np.array([True, True, False, True, False, False, True]))
    assert starts.tolist() == [0, 3, 6]
    assert ends.tolist() == [2, 4, 7]


def test_a_log_without_moisture_still_gives_its_spells():
    log = invented(12.0)
    bare = RunLog(times_s=log.times_s, rate=log.rate, plenum=log.plenum)
    result = review(bare, target_wb=0.155, hold_up=HOLD_UP)
    assert (result.stream, result.energy, result.over_dried) == (None, None, None)
    assert result.groups == ()


@pytest.mark.parametrize("times", [[0.0, 0.0], [1.0, 0.0], [0.0]])
def test_times_that_do_not_rise_are_refused(times):
    with pytest.raises(Inconsistent, match="rising"):
        RunLog(times_s=np.array(times), rate=np.ones(len(times)))


@pytest.mark.parametrize(
    ("channel", "reading", "may_burn"),
    [("columns", [900.0, 900.0], True), ("columns", 900.0, False), ("columns", -200.0, False),
     ("plenum", 400.0, True), ("plenum", 3276.7, False),
     ("plenum_setpoint", 400.0, False), ("moisture_out", 0.95, False)],
)  # fmt: skip
def test_a_temperature_hotter_than_can_be_true_may_be_one_of_fire(channel, reading, may_burn):
    log = invented(24.0)
    values = (log.columns[0] if channel == "columns" else getattr(log, channel)).copy()
    values[500 : 500 + np.size(reading)] = reading
    put = replace(log, **{channel: (values,) if channel == "columns" else values})
    (spell,) = find_spells(prepare(put))
    assert (spell.kind, spell.of_fire) == ("impossible-reading", may_burn)


def standing(rate, column, **others):
    """Two hours by the minute of a dryer whose discharge shows one rate."""
    times = np.arange(0.0, 7200.0, 60.0)
    return RunLog(times, np.full(120, rate), columns=(np.broadcast_to(column, 120),), **others)


@pytest.mark.parametrize(
    ("column", "kinds"),
    [(np.linspace(40.0, 55.0, 120), ["stopped-and-climbing"]), (300.0, ["hot-column"]), (40.0, [])],
)
def test_a_log_in_which_no_grain_left_still_tells_its_dangers(column, kinds):
    moist = {"moisture_in": np.full(120, 0.22), "moisture_out": np.full(120, 0.15)}
    log = standing(0.0, column, heat=np.zeros(120), **moist)
    result = review(log, target_wb=0.155, hold_up=HOLD_UP, kind="cross-flow")
    assert [spell.kind for spell in result.spells] == kinds
    assert (result.stream, result.energy, result.over_dried) == (None, None, None)
    assert (result.run.any_left, result.groups, result.line) == (False, (), None)


def test_a_log_that_never_read_the_discharge_is_refused_unless_its_column_may_burn():
    with pytest.raises(Inconsistent, match="no reading of the discharge"):
        review(standing(np.nan, 80.0), target_wb=0.155, hold_up=HOLD_UP)
    for hot, kind in ((300.0, "hot-column"), (900.0, "impossible-reading")):
        burning = review(standing(np.nan, hot), target_wb=0.155, hold_up=HOLD_UP)
        assert [spell.kind for spell in burning.spells] == [kind]


def test_a_hold_up_outside_its_range_is_refused():
    with pytest.raises(OutOfRange) as refused:
        review(invented(5.0), target_wb=0.155, hold_up=1.0)
    assert refused.value.name == "hold_up"
