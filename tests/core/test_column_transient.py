"""The column in motion."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from column_dryers import KINDS, NOMINAL_RATE, example, scenario, screen, tower
from outfeed.dryer import first_fill, plugs
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Feed
from outfeed.dryer.first_fill import hold_for_moisture
from outfeed.dryer.mixing import first_fill_mixed
from outfeed.dryer.transient import (
    Change,
    air_changes,
    discharged,
    off_target,
    respond,
    settling,
)
from outfeed.errors import Inconsistent

AUTUMN = Conditions(10.0, 0.7)
WET_CORN = Feed(0.22, 10.0)
TOWER = tower(sensors=(0.9,))
HOUR = 3600.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_column_left_alone_stays_where_the_steady_state_is(kind):
    dryer, rate = example(kind), NOMINAL_RATE[kind]
    steady = solve_column(dryer, AUTUMN, WET_CORN, rate)
    trace = respond(dryer, AUTUMN, WET_CORN, rate, [], 0.5 * HOUR)
    assert trace.outlet_moisture_wb == pytest.approx(steady.outlet_moisture_wb, abs=1e-3)
    assert trace.outlet_temperature == pytest.approx(steady.outlet_temperature, abs=1.0)


def test_sensors_across_a_cross_flow_column_read_alike_at_rest_and_in_motion(monkeypatch):
    # a sensor reads grain as it lies; mixed until its kernels are alike it is another temperature
    monkeypatch.setattr(plugs, "FILES", 12)
    whole = screen()
    zones = tuple(replace(zone, sensors=(0.5,)) if zone.heated else zone for zone in whole.zones)
    dryer = replace(whole, zones=zones)
    steady = solve_column(dryer, AUTUMN, WET_CORN, 0.35)
    moving = respond(dryer, AUTUMN, WET_CORN, 0.35, [], 600.0)
    for index, reading in enumerate(steady.sensor_temperature):
        assert moving.sensor_temperature[-1, index] == pytest.approx(float(reading), abs=0.3)


def test_after_a_step_the_column_ends_at_the_new_steady_state():
    changes = [Change(600.0, dry_matter_rate=1.2, plenum_temperatures=(105.0, 90.0, 75.0, None))]
    trace = respond(TOWER, AUTUMN, WET_CORN, 1.06, changes, 6 * HOUR)
    steady = solve_column(TOWER.with_plenums((105.0, 90.0, 75.0, None)), AUTUMN, WET_CORN, 1.2)
    assert trace.outlet_moisture_wb[-1] == pytest.approx(steady.outlet_moisture_wb, abs=2e-4)
    assert trace.column_temperature[-1] == pytest.approx(steady.column_temperature, abs=0.1)


def test_a_trace_that_jumps_settles_no_sooner_than_it_moves():
    times = np.arange(10.0)
    trace = SimpleNamespace(time=times)
    jump = settling(trace, np.where(times < 4.0, 0.155, 0.165))
    assert (jump.dead_time, jump.settling_time) == (4.0, 4.0)
    ramp = settling(trace, np.clip(times, 2.0, 6.0))
    assert (ramp.dead_time, ramp.settling_time) == (3.0, 6.0)


def test_an_inlet_step_arrives_as_a_delay_of_one_transit():
    trace = respond(TOWER, AUTUMN, WET_CORN, 1.06, [Change(0.0, moisture_wb=0.23)], 4 * HOUR)
    outlet = settling(trace, trace.outlet_moisture_wb)
    assert outlet.dead_time == pytest.approx(trace.transit_time, rel=0.03)
    assert outlet.settling_time == pytest.approx(trace.transit_time, rel=0.08)
    column = settling(trace, trace.column_temperature)
    assert column.dead_time < 0.85 * outlet.dead_time
    assert trace.column_temperature[-1] < trace.column_temperature[0]


def test_a_rate_step_ramps_the_outlet_over_a_whole_transit():
    changes = [Change(0.0, dry_matter_rate=1.06 * 1.05)]
    trace = respond(TOWER, AUTUMN, WET_CORN, 1.06, changes, 6 * HOUR)
    outlet = settling(trace, trace.outlet_moisture_wb)
    assert outlet.after > outlet.before
    assert outlet.dead_time < 0.4 * trace.transit_time
    assert 0.6 < outlet.settling_time / trace.transit_time < 1.6


def test_what_leaves_is_what_the_rate_says():
    changes = [Change(HOUR, dry_matter_rate=0.5), Change(2 * HOUR, dry_matter_rate=0.0)]
    trace = respond(TOWER, AUTUMN, WET_CORN, 1.0, changes, 3 * HOUR)
    plug = TOWER.hold_up_dry_matter / 120
    assert trace.discharged[-1] == pytest.approx(1.0 * HOUR + 0.5 * HOUR, abs=2 * plug)
    held = trace.time > 2.2 * HOUR
    assert np.ptp(trace.discharged[held]) == 0.0


def test_grain_already_below_a_change_leaves_as_it_was():
    changes = [Change(0.0, moisture_wb=0.30)]
    trace = respond(TOWER, AUTUMN, WET_CORN, 1.06, changes, 3 * HOUR)
    early = trace.time < 0.8 * trace.transit_time
    assert np.ptp(trace.outlet_moisture_wb[early]) < 5e-4
    found = off_target(trace, 0.155, 0.005)
    gone = trace.discharged[-1] - 1.06 * trace.transit_time
    assert found.wet == pytest.approx(gone, rel=0.1)
    assert found.dry == 0.0
    assert found.wet_excess > 0.03


def test_a_first_fill_without_hold_leaves_wet_for_most_of_a_transit():
    trace = respond(TOWER, AUTUMN, WET_CORN, 1.06, [], 4 * HOUR, fresh=True)
    found = off_target(trace, 0.155, 0.01)
    assert 0.5 < found.wet / TOWER.hold_up_dry_matter < 1.0
    assert trace.outlet_moisture_wb[1] == pytest.approx(0.22, abs=0.01)
    steady = solve_column(TOWER, AUTUMN, WET_CORN, 1.06)
    assert trace.outlet_moisture_wb[-1] == pytest.approx(steady.outlet_moisture_wb, abs=2e-4)


def held_mean(hold):
    """Moisture of a first fill that stood so long, on the whole."""
    duration = hold + TOWER.hold_up_dry_matter / 1.06 * (1.0 - 1e-9)
    changes = [Change(hold, dry_matter_rate=1.06)]
    trace = respond(TOWER, AUTUMN, WET_CORN, 0.0, changes, duration, fresh=True)
    return first_fill.mean_moisture(trace)


def test_a_hold_makes_the_mean_of_the_first_fill_right():
    hold = hold_for_moisture(TOWER, AUTUMN, WET_CORN, 1.06, 0.155).duration
    assert 0.0 < hold < 3 * HOUR
    assert held_mean(hold) == pytest.approx(0.155, abs=2e-3)


def test_the_minute_before_a_hold_is_not_tried_where_the_tries_leave_no_doubt(monkeypatch):
    """Tries of 0, 75 and 72 minutes show that 72 are just enough and 71 are not."""
    tried = []

    def counted(*args, **options):
        tried.append(discharged(*args, **options))
        return tried[-1]

    monkeypatch.setattr(first_fill, "discharged", counted)
    hold = hold_for_moisture(TOWER, AUTUMN, WET_CORN, 1.06, 0.152).duration
    assert (hold, len(tried)) == (72.0 * 60.0, 3)
    assert first_fill.mean_moisture(tried[-1]) < 0.152 < held_mean(hold - 60.0)


def test_dry_grain_needs_no_hold_and_an_impossible_target_has_none():
    assert hold_for_moisture(TOWER, AUTUMN, Feed(0.14, 10.0), 1.06, 0.15).duration == 0.0
    short = hold_for_moisture(TOWER, AUTUMN, WET_CORN, 1.06, 0.05, longest=600.0)
    assert short is None


def test_changes_out_of_order_are_refused():
    changes = [Change(600.0, moisture_wb=0.2), Change(0.0, moisture_wb=0.3)]
    with pytest.raises(Inconsistent, match="order"):
        respond(TOWER, AUTUMN, WET_CORN, 1.06, changes, HOUR)


def test_very_slow_grain_is_followed_too():
    trace = respond(TOWER, AUTUMN, WET_CORN, 0.12, [Change(0.0, moisture_wb=0.21)], 20 * HOUR)
    assert np.all((trace.outlet_moisture_wb > 0.02) & (trace.outlet_moisture_wb < 0.10))


def test_moving_air_is_told_as_straight_lines_between_its_times():
    changes = air_changes(np.array([0.0, 3600.0]), np.array([0.0, 6.0]), np.array([0.8, 0.2]))
    assert [change.time for change in changes] == [600.0 * k for k in range(7)]
    warm = [change.ambient_temperature for change in changes]
    assert warm == pytest.approx([0.5, 1.5, 2.5, 3.5, 4.5, 5.5, 6.0])
    assert changes[-1].ambient_relative_humidity == pytest.approx(0.2)


@pytest.mark.parametrize("times", [[0.0], [0.0, 0.0], [60.0, 0.0]])
def test_air_that_does_not_move_forward_is_refused(times):
    with pytest.raises(Inconsistent):
        air_changes(np.array(times), np.zeros(len(times)))


def _held_fill(hold):
    changes = [Change(hold, dry_matter_rate=1.06)]
    duration = hold + 1.2 * TOWER.hold_up_dry_matter / 1.06
    return respond(TOWER, AUTUMN, WET_CORN, 0.0, changes, duration, fresh=True)


def test_held_grain_is_counted_alike_however_finely_its_stripes_are_resolved(monkeypatch):
    """Stripes of held grain grow with the plugs in a bed; mixed over a pitch they do not matter."""
    dry = []
    for plugs_in_a_bed in (2, 4):
        monkeypatch.setattr(plugs, "CELLS_PER_LAYER", plugs_in_a_bed)
        raw = _held_fill(HOUR)
        mixed = first_fill_mixed(raw, TOWER)
        dry.append([off_target(trace, 0.155, 0.005).dry for trace in (raw, mixed)])
    (raw_two, mixed_two), (raw_four, mixed_four) = dry
    assert mixed_two == pytest.approx(mixed_four, rel=0.04)
    assert abs(raw_two / raw_four - 1.0) > 0.08


@pytest.mark.parametrize("moisture", [0.19, 0.22])
def test_a_first_fill_of_soybeans_does_not_hang_on_the_number_of_plugs(monkeypatch, moisture):
    """Six transfer units of vapour in a plug: air taken in one step leaves it 0.3 point too wet."""
    dryer = tower((54.4, 47.2, 40.6))
    wet, rate = Feed(moisture, 10.0, grain="soybean"), dryer.hold_up_dry_matter / (6.0 * HOUR)
    mean = []
    for plugs_in_a_bed in (2, 4):
        monkeypatch.setattr(plugs, "CELLS_PER_LAYER", plugs_in_a_bed)
        trace = respond(dryer, AUTUMN, wet, rate, [], 6 * HOUR, fresh=True)
        mass = np.diff(trace.discharged, prepend=0.0)
        mean.append(float(np.average(trace.outlet_moisture_wb, weights=mass)))
    assert mean[0] == pytest.approx(mean[1], abs=3e-4)


@pytest.mark.parametrize(
    ("kind", "seed", "grain"),
    [("concurrent-flow", 21, "corn-yellow-dent"), ("counter-flow", 5, "soybean")],
)
def test_a_slow_deep_bed_filled_afresh_settles_where_the_steady_state_is(kind, seed, grain):
    """Plugs that dwell long in much air: plain repetition of a step swings."""
    drawn = scenario(seed)
    dryer, rate = example(kind, drawn.plenums), NOMINAL_RATE[kind] * drawn.pace
    feed = replace(drawn.feed, grain=grain)
    transit = dryer.hold_up_dry_matter / rate
    trace = respond(dryer, drawn.conditions, feed, rate, [], transit, fresh=True)
    steady = solve_column(dryer, drawn.conditions, feed, rate)
    assert trace.outlet_moisture_wb[-1] == pytest.approx(steady.outlet_moisture_wb, abs=1e-3)


def test_mixing_keeps_the_water_of_a_first_fill_and_what_follows_it():
    raw = _held_fill(HOUR)
    mixed = first_fill_mixed(raw, TOWER)
    mass = np.diff(raw.discharged, prepend=0.0)
    first = raw.discharged <= TOWER.hold_up_dry_matter * (1.0 + 1e-9)
    dry_basis = [
        float(np.sum((mass * trace.outlet_moisture_wb / (1.0 - trace.outlet_moisture_wb))[first]))
        for trace in (raw, mixed)
    ]
    assert dry_basis[1] == pytest.approx(dry_basis[0], rel=2e-3)
    assert mixed.outlet_moisture_wb[~first] == pytest.approx(raw.outlet_moisture_wb[~first])
    flows = first & (mass > 0.0)
    steps = [np.diff(trace.outlet_moisture_wb[flows]) for trace in (raw, mixed)]
    assert np.sum(steps[0] > 0.005) > 10  # up and down every few minutes
    assert np.sum(steps[1] > 0.005) == 0


def test_a_column_without_rows_of_ducts_has_no_stripes_to_mix():
    dryer = example("cross-flow")
    trace = respond(dryer, AUTUMN, WET_CORN, NOMINAL_RATE["cross-flow"], [], HOUR, fresh=True)
    assert first_fill_mixed(trace, dryer) is trace
