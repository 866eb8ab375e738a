"""The column response over HTTP: what leaves after a change or a first fill."""

from __future__ import annotations

from itertools import pairwise

import pytest

from asked_dryers import BUSHEL, METRIC, in_us_units, with_zones, without
from outfeed import NotConverged
from outfeed_api.routes import column_response

PATH = "/v1/column-response"


def ask(client, body=None, status=200, **changes):
    answer = client.post(PATH, json=(body or METRIC) | changes)
    assert answer.status_code == status, answer.text
    return answer.json()


@pytest.fixture(scope="module")
def faster(client):
    return ask(client, without(METRIC, "target_moisture"), rate=28, step={"rate": 30.8})


@pytest.fixture(scope="module")
def wetter(client):
    return ask(client, step={"moisture": 23.5})


@pytest.fixture(scope="module")
def filled(client):
    return ask(client, start="first-fill")


def test_a_faster_discharge_ramps_over_a_transit(faster):
    moved, transit = faster["moisture"], faster["transit_time"] * 60
    assert moved["after"] > moved["before"] + 0.4
    assert moved["dead_time"] < 0.35 * transit
    assert 0.8 * transit < moved["settling_time"] < 1.2 * transit
    assert faster["column"]["after"] < faster["column"]["before"]


def test_wetter_grain_arrives_after_one_transit_and_at_the_sensors_before(wetter):
    transit = wetter["transit_time"] * 60
    assert wetter["moisture"]["dead_time"] == pytest.approx(transit, rel=0.03)
    assert wetter["column"]["dead_time"] < 0.7 * transit
    assert wetter["column"]["after"] < wetter["column"]["before"]


def test_what_is_in_the_column_when_wetter_grain_enters_leaves_on_target(wetter):
    assert wetter["in_column"]["wet"] == 0.0
    assert wetter["off_target"]["wet"] > 0.0
    assert wetter["off_target"]["wet_by"] == pytest.approx(
        wetter["moisture"]["after"] - 15.5, abs=0.1
    )


def test_the_rate_that_brings_it_back_does(client, wetter):
    back = client.post(
        "/v1/column-profile",
        json=METRIC | {"moisture": 23.5, "rate": wetter["rate_for_target"]},
    ).json()
    # The bed is weighed half way between inlet and target, a little differently for either lot.
    assert back["figures"]["moisture"]["value"] == pytest.approx(15.5, abs=0.1)
    assert wetter["rate_for_target"] < wetter["rate"]
    assert "Slow to about" in wetter["decision"]


def test_traces_have_one_length_and_rise_in_time_and_weight(faster):
    trace = faster["trace"]
    lengths = {len(column) for column in trace.values()}
    assert len(lengths) == 1
    assert lengths.pop() <= 240
    assert trace["elapsed"] == sorted(trace["elapsed"])
    assert trace["discharged"] == sorted(trace["discharged"])
    assert trace["moisture"][-1] == pytest.approx(faster["moisture"]["after"])


def test_the_first_fill_leaves_wet_and_a_hold_makes_its_mean_right(filled):
    unheld, held = filled["without_hold"], filled["in_column"]
    assert unheld["wet"] > held["wet"] > 0.0
    assert held["dry"] > 0.0
    # The mean of the whole fill is on target, so what is wet and what is dry weigh the same.
    wet, dry = held["wet"] * held["wet_by"], held["dry"] * held["dry_by"]
    assert wet == pytest.approx(dry, rel=0.12)
    assert filled["hold"] > 10
    assert held["hottest_kernel"] > unheld["hottest_kernel"]


def test_the_first_fill_warns_of_heat_on_standing_grain(filled):
    assert {"fire-column", "follow-manual", "under-drying"} <= {
        caution["code"] for caution in filled["cautions"]
    }
    assert any("manual allows heat on standing grain" in note for note in filled["notes"])


def test_no_more_than_the_column_holds_leaves_wet_at_first(filled):
    dry_matter = filled["rate"] * 0.845 * filled["transit_time"]
    assert filled["without_hold"]["wet"] * 0.845 <= dry_matter * 1.0001


def test_a_hold_of_your_own_is_followed(client, filled):
    answer = ask(client, start="first-fill", hold=10)
    assert answer["hold"] == 10
    assert answer["in_column"]["wet"] > filled["in_column"]["wet"]


def test_both_unit_systems_tell_the_same(client, wetter):
    us = ask(client, in_us_units(METRIC), step={"moisture": 23.5})
    assert us["moisture"]["after"] == pytest.approx(wetter["moisture"]["after"], rel=1e-6)
    mass = us["off_target"]["wet"] * BUSHEL / 1000.0
    assert mass == pytest.approx(wetter["off_target"]["wet"], rel=1e-6)


def test_hotter_plenums_dry_more(client):
    answer = ask(client, step={"plenum_temperatures": [105, 92, 79]})
    assert answer["moisture"]["after"] < 15.2
    assert "Speed up to about" in answer["decision"]


def test_a_change_that_does_nothing_says_leave_it(client):
    answer = ask(client, step={"moisture": 22})
    assert "hardly moves" in answer["decision"]


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({}, "/step"),
        ({"step": {}}, "/step"),
        ({"start": "first-fill", "step": {"moisture": 23}}, "/step"),
        ({"step": {"moisture": 23}, "hold": 20}, "/hold"),
        ({"step": {"plenum_temperatures": [90]}}, "/step/plenum_temperatures"),
    ],
)
def test_a_request_that_contradicts_itself_is_refused(client, changes, pointer):
    assert ask(client, status=422, **changes)["errors"][0]["pointer"] == pointer


def test_a_target_out_of_reach_gives_no_trace(client):
    cold = with_zones(METRIC, plenum_temperature=20)
    answer = ask(client, cold, target_moisture=6, start="first-fill")
    assert answer["verdict"] == "out-of-reach"
    assert "trace" not in answer


def test_a_column_that_does_not_settle_gives_no_number(client, monkeypatch):
    def stuck(*_args, **_kwargs):
        raise NotConverged("a step of the column", (-1.0, 1.0), 2.0)

    monkeypatch.setattr(column_response, "respond", stuck)
    answer = ask(client, step={"moisture": 23})
    assert answer["verdict"] == "not-converged"
    assert not {"trace", "moisture", "off_target"} & set(answer)


@pytest.mark.parametrize("changes", [{"step": {"moisture": 23}}, {"start": "first-fill"}])
def test_the_response_can_be_looked_at(client, changes):
    answer = client.post(PATH, json=METRIC | changes, headers={"accept": "image/svg+xml"})
    assert answer.status_code == 200
    assert b"one transit" in answer.content


def _codes(answer):
    return {caution["code"] for caution in answer["cautions"]}


def test_grain_that_leaves_wet_or_dry_is_told_after_a_step(client, faster):
    wet = ask(client, without(METRIC, "target_moisture"), rate=28, step={"rate": 80.0})
    assert "under-drying" in _codes(wet)
    dry = ask(client, without(METRIC, "target_moisture"), rate=6, step={"rate": 5.9})
    assert "over-drying" in _codes(dry)
    assert not _codes(ask(client, step={"rate": 25.5})) & {"under-drying", "over-drying"}


def test_a_first_fill_is_told_by_the_same_rule(client, filled):
    assert "under-drying" in _codes(filled)
    nothing_wet = ask(client, start="first-fill", moisture=15.8, band=1.0)
    assert nothing_wet["without_hold"]["wet"] == 0.0
    assert "under-drying" not in _codes(nothing_wet)


def test_a_held_fill_leaves_smoothly_and_says_what_a_handful_does(filled):
    trace = filled["trace"]
    moved = [m for t, m in zip(trace["elapsed"], trace["moisture"], strict=True)
             if filled["hold"] < t < filled["hold"] + filled["transit_time"] * 60.0]  # fmt: skip
    assert len(moved) > 20
    assert all(later < earlier + 0.1 for earlier, later in pairwise(moved))
    assert any("one pitch of the ducts" in note for note in filled["notes"])
    for name in ("wet", "dry"):
        assert filled["off_target"][name] == pytest.approx(filled["in_column"][name])


@pytest.mark.parametrize(
    ("step", "frozen"),
    [
        ({"ambient_temperature": -12}, True),
        ({"grain_temperature": -12}, True),
        ({"ambient_temperature": -12, "grain_temperature": 5}, False),
    ],
)
def test_grain_that_comes_in_frozen_after_the_change_is_told(client, step, frozen):
    notes = ask(client, without(METRIC, "grain_temperature"), step=step, duration=4)["notes"]
    assert any("below freezing after the change" in note for note in notes) == frozen


def test_one_point_of_stripes_is_one_point(client):
    notes = ask(client, start="first-fill", hold=25)["notes"]
    assert any("lie 1 point or more to either side" in note for note in notes)


def test_plenums_hotter_than_published_are_warned_of_before_and_after_a_change(client):
    """130 degF (54 degC) is the most that is published for soybeans."""
    cool = with_zones(METRIC, plenum_temperature=52) | {"grain": "soybean"}
    hot = with_zones(METRIC, plenum_temperature=60) | {"grain": "soybean"}

    def warned(body, **asked):
        answer = client.post(PATH, json=body | asked).json()
        return "temperature-limit" in [caution["code"] for caution in answer["cautions"]]

    assert not warned(cool, step={"moisture": 23})
    assert warned(hot, step={"moisture": 23})
    assert warned(cool, step={"plenum_temperatures": [60, 52, 52]})
    assert warned(hot, start="first-fill")
