"""The column turned round, and its sensitivities."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from column_dryers import tower
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Feed
from outfeed.dryer.inverse import (
    OutOfReach,
    fastest_within_kernel_limit,
    rate_for_moisture,
    shift_for_moisture,
)
from outfeed.dryer.sensitivity import sensitivities
from outfeed.errors import Inconsistent

AUTUMN = Conditions(10.0, 0.7)
WET_CORN = Feed(0.22, 10.0)
TOWER = tower(sensors=(0.9,))


@given(st.floats(0.08, 0.19), st.floats(-20.0, 30.0), st.floats(0.20, 0.32))
@settings(max_examples=10)
def test_the_rate_found_gives_the_moisture_asked_for(target, ambient, inlet):
    conditions, feed = Conditions(ambient, 0.7), Feed(inlet, ambient)
    found = rate_for_moisture(TOWER, conditions, feed, target)
    again = solve_column(TOWER, conditions, feed, found.dry_matter_rate)
    assert again.outlet_moisture_wb == pytest.approx(target, abs=2e-5)
    wet = found.dry_matter_rate / (1.0 - found.profile.outlet_moisture_wb)
    assert found.discharge_rate == pytest.approx(wet, rel=1e-12)


@pytest.mark.parametrize("zone", [None, "heat 1", "heat 3"])
def test_the_plenums_found_give_the_moisture_asked_for(zone):
    found = shift_for_moisture(TOWER, AUTUMN, WET_CORN, 0.150, 1.06, zone=zone)
    assert found.profile.outlet_moisture_wb == pytest.approx(0.150, abs=2e-5)
    pairs = zip(found.plenum_temperatures, TOWER.plenum_temperatures, strict=True)
    moved = [new - old for new, old in pairs if old is not None]
    if zone is None:
        assert moved == pytest.approx([moved[0]] * 3)
    else:
        assert sum(shift != 0.0 for shift in moved) == 1


def test_out_of_reach_says_what_can_be_reached():
    with pytest.raises(OutOfReach, match="lowest and highest you can get are") as caught:
        shift_for_moisture(TOWER, AUTUMN, WET_CORN, 0.05, 1.06)
    driest, wettest = caught.value.allowed
    hottest = solve_column(
        TOWER, AUTUMN, WET_CORN, 1.06, plenum_temperatures=[150.0, 136.1, 122.2, None]
    )
    assert driest == pytest.approx(hottest.outlet_moisture_wb, abs=1e-4)
    assert driest < 0.15 < wettest
    assert caught.value.name == "target_moisture_wb"


def test_grain_cannot_leave_wetter_than_any_rate_makes_it():
    with pytest.raises(OutOfReach):
        rate_for_moisture(TOWER, AUTUMN, WET_CORN, 0.25)


def test_the_fastest_setting_within_a_kernel_limit_keeps_to_it():
    found = fastest_within_kernel_limit(TOWER, AUTUMN, WET_CORN, 0.155, 48.0)
    assert 47.0 < found.profile.hottest_kernel <= 48.0
    assert found.profile.outlet_moisture_wb == pytest.approx(0.155, abs=2e-5)
    cooler = rate_for_moisture(TOWER, AUTUMN, WET_CORN, 0.155)
    hotter = found.plenum_temperatures[0] > TOWER.plenum_temperatures[0]
    assert (found.dry_matter_rate > cooler.dry_matter_rate) == hotter


def test_an_unknown_zone_is_refused():
    with pytest.raises(Inconsistent, match="no heated zone"):
        shift_for_moisture(TOWER, AUTUMN, WET_CORN, 0.15, 1.06, zone="loft")


def test_sensitivities_have_the_signs_and_sizes_of_practice():
    found = {item.handle: item for item in sensitivities(TOWER, AUTUMN, WET_CORN, 1.06)}
    # Ten per cent more discharge on 25 to 15 % raises the outlet by 0.7 to 0.95 point (derived);
    # here it is 22 to 15.5 %.
    assert 0.05 < found["rate"].outlet_moisture < 0.095
    assert found["rate"].column_temperature < 0.0
    assert found["plenums"].outlet_moisture < 0.0
    assert found["inlet-moisture"].outlet_moisture == pytest.approx(0.9, abs=0.1)
    assert found["inlet-moisture"].column_temperature < 0.0
    parts = sum(found[f"plenum:heat {n}"].outlet_moisture for n in (1, 2, 3))
    assert parts == pytest.approx(found["plenums"].outlet_moisture, rel=0.03)


def test_sensitivities_without_sensors_say_nothing_of_the_column():
    found = sensitivities(tower(), AUTUMN, WET_CORN, 1.06)
    assert all(item.column_temperature is None for item in found)


def test_a_plenum_at_the_edge_of_its_range_has_sensitivities_too():
    hot = tower((150.0, 120.0, 150.0))
    edge = {item.handle: item for item in sensitivities(hot, AUTUMN, WET_CORN, 1.5)}
    near = {
        item.handle: item
        for item in sensitivities(tower((146.0, 116.0, 146.0)), AUTUMN, WET_CORN, 1.5)
    }
    for handle in ("plenums", "plenum:heat 1", "plenum:heat 3"):
        assert edge[handle].outlet_moisture == pytest.approx(near[handle].outlet_moisture, rel=0.3)
        assert edge[handle].outlet_moisture < 0.0
