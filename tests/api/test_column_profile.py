"""The column profile over HTTP: what settles, what it rests on, when it gives no number."""

from __future__ import annotations

import copy

import pytest

from asked_dryers import BUSHEL, FITTED, METRIC, fahrenheit, in_us_units, with_zones, without
from outfeed import NotConverged
from outfeed_api.routes import column_profile

PATH = "/v1/column-profile"


def ask(client, body=None, status=200, **changes):
    answer = client.post(PATH, json=(body or METRIC) | changes)
    assert answer.status_code == status, answer.text
    return answer.json()


@pytest.fixture(scope="module")
def met(client):
    return ask(client)


def test_the_decision_comes_first_with_rate_band_and_transit(met):
    assert next(iter(met)) == "decision"
    assert met["decision"].startswith("To leave at 15.5 %, discharge about ")
    assert met["verdict"] == "settled"


def test_a_limit_passed_is_shown_with_what_becomes_of_its_conditions(client):
    """The Canadian limits for corn hold for no more than 6 points removed in one pass."""
    answer = ask(client, moisture=22.0, target_moisture=15.5)
    said = [text for level in answer["limits"] for text in level["passed"] if "6 points" in text]
    assert said
    assert all("Here 6.5 points are removed in the pass, more than allowed." in s for s in said)


def test_water_and_heat_close(met):
    closing = met["conservation"]
    assert closing["water_residual"] < 1e-6
    assert closing["heat_residual"] < 1e-6


def test_the_target_is_met_without_a_band_and_the_rate_has_one(met):
    figures = met["figures"]
    assert figures["moisture"]["value"] == pytest.approx(15.5, abs=0.002)
    assert figures["moisture"]["low"] == figures["moisture"]["high"]
    rate = figures["discharge_rate"]
    assert rate["low"] < 0.9 * rate["value"]
    assert rate["high"] > 1.1 * rate["value"]


def test_wet_in_less_water_is_dry_out(met):
    figures = met["figures"]
    water = figures["water_removed"]["value"] / 1000.0
    assert figures["intake_rate"]["value"] - figures["discharge_rate"]["value"] == pytest.approx(
        water, rel=1e-6
    )
    assert sum(zone["water_removed"] for zone in figures["zones"]) / 1000.0 == pytest.approx(
        water, rel=1e-6
    )
    assert sum(zone["water_share"] for zone in figures["zones"]) == pytest.approx(100.0)
    assert sum(zone["heat_share"] for zone in figures["zones"]) == pytest.approx(100.0)


def test_heat_per_water_is_heat_over_water(met):
    figures = met["figures"]
    energy = figures["heat"] / figures["water_removed"]["value"]
    assert figures["heat_per_water"]["value"] == pytest.approx(energy, rel=1e-6)


def test_a_direct_flame_burns_more_than_the_air_shows(met):
    figures = met["figures"]
    # Propane makes 1.634 kg of water per kg, 50.3 MJ/kg: 8 % of its heat leaves as vapour.
    assert figures["fuel_heat"] / figures["heat"] == pytest.approx(1.09, abs=0.015)


def test_profiles_run_from_inlet_to_discharge(met):
    grain, air = met["grain"], met["air"]
    assert grain["moisture"][0] == pytest.approx(22.0)
    assert grain["moisture"][-1] == pytest.approx(met["figures"]["moisture"]["value"])
    assert grain["depth"][-1] == pytest.approx(75.0 / 6.25)
    assert len(grain["depth"]) == len(air["depth"]) + 1
    assert list(dict.fromkeys(air["zone"])) == ["upper", "middle", "lower", "cooling"]
    assert max(air["relative_humidity_out"]) <= 100.01


def test_sensors_read_the_column_where_they_sit(met):
    reads = met["figures"]["sensors"]
    mean = sum(sensor["temperature"] for sensor in reads) / len(reads)
    assert [sensor["position"] for sensor in reads] == [0.3, 0.7]
    assert met["figures"]["column_temperature"]["value"] == pytest.approx(mean)


def test_without_sensors_no_column_temperature_is_made_up(client):
    answer = ask(client, with_zones(METRIC, sensors=[]))
    assert "column_temperature" not in answer["figures"]
    assert answer["figures"]["sensors"] == []


def test_the_rate_that_meets_the_target_gives_the_target_back(client, met):
    dry = met["figures"]["discharge_rate"]["value"]
    wet = met["figures"]["intake_rate"]["value"]
    for rate, basis in ((dry, "dry"), (wet, "wet")):
        back = ask(client, without(METRIC, "target_moisture"), rate=rate, rate_basis=basis)
        assert back["figures"]["moisture"]["value"] == pytest.approx(15.5, abs=0.05)
        assert back["figures"]["discharge_rate"]["value"] == pytest.approx(dry, rel=1e-3)
        assert back["figures"]["moisture"]["low"] < 15.0
        assert back["figures"]["moisture"]["high"] > 16.0


def test_a_rate_beside_a_target_says_how_far_off_it_is(client, met):
    answer = ask(client, rate=1.2 * met["figures"]["discharge_rate"]["value"])
    assert any("wetter than the target" in note for note in answer["notes"])
    assert "under-drying" in {caution["code"] for caution in answer["cautions"]}


def test_both_unit_systems_tell_the_same(client, met):
    us = ask(client, in_us_units(METRIC))
    rate = us["figures"]["discharge_rate"]["value"] * BUSHEL / 1000.0
    assert rate == pytest.approx(met["figures"]["discharge_rate"]["value"], rel=1e-6)
    for one, other in zip(met["figures"]["zones"], us["figures"]["zones"], strict=True):
        assert other["moisture"] == pytest.approx(one["moisture"], rel=1e-6)
        assert other["hottest_kernel"] == pytest.approx(fahrenheit(one["hottest_kernel"]), rel=1e-6)
    for one, other in zip(met["sensitivities"], us["sensitivities"], strict=True):
        assert other["outlet_moisture"] == pytest.approx(one["outlet_moisture"], rel=1e-4)


def test_sensitivities_have_the_signs_of_the_trade(met):
    felt = {effect["handle"]: effect for effect in met["sensitivities"]}
    assert felt["rate"]["outlet_moisture"] > 0 > felt["rate"]["column_temperature"]
    assert felt["plenums"]["outlet_moisture"] < 0 < felt["plenums"]["column_temperature"]
    assert (
        felt["inlet-moisture"]["outlet_moisture"] > 0 > felt["inlet-moisture"]["column_temperature"]
    )


def test_an_unfitted_dryer_says_why_its_rate_factor_is_what_it_is(met):
    entry = next(entry for entry in met["assumed"] if entry["input"] == "rate_factor")
    assert entry["value"] == 1.5
    assert "common-practice band (column at 95 to 105 degF for 15 to 16 % out)" in entry["why"]
    assert entry["low"] < 1.0 < 2.5 < entry["high"]


def test_a_fit_narrows_the_band_and_is_no_assumption(client, met):
    fitted = ask(client, fitted=FITTED)

    def width(answer):
        rate = answer["figures"]["discharge_rate"]
        return (rate["high"] - rate["low"]) / rate["value"]

    assert width(fitted) < 0.75 * width(met)
    assert "rate_factor" not in {entry["input"] for entry in fitted["assumed"]}
    assert any("rests on 10 runs" in note for note in fitted["notes"])


def test_what_is_left_out_widens_the_band(client, met):
    bare = without(METRIC, "ambient_relative_humidity", "grain_temperature")
    answer = ask(client, with_zones(bare, airflow=None))
    names = {entry["input"] for entry in answer["assumed"]}
    assert {"airflow", "ambient_relative_humidity", "grain_temperature"} <= names
    rate, sure = answer["figures"]["discharge_rate"], met["figures"]["discharge_rate"]
    assert rate["high"] / rate["low"] > sure["high"] / sure["low"]


def test_a_fit_of_another_grain_is_refused(client):
    problem = ask(client, status=422, fitted=FITTED | {"grain": "soybean"})
    assert problem["errors"][0]["pointer"] == "/fitted/grain"


def test_neither_rate_nor_target_is_refused(client):
    problem = ask(client, without(METRIC, "target_moisture"), status=422)
    assert problem["errors"][0]["pointer"] == "/rate"


def test_unknown_kinetics_are_refused_with_those_known(client):
    problem = ask(client, status=422, kinetics="kinetics.none")
    assert problem["errors"][0]["pointer"] == "/kinetics"
    assert "kinetics.thompson-1968" in problem["errors"][0]["allowed"]["one_of"]


def test_a_plenum_above_every_published_limit_is_said_first(client):
    hot = with_zones(METRIC, plenum_temperature=125)
    answer = ask(client, hot, rate=40.0)
    verdicts = {check["zone"]: check["verdict"] for check in answer["limits"]}
    assert verdicts["upper"] == "above-all"
    assert "hotter than every published limit" in answer["decision"]
    assert "North Dakota State University" in " ".join(answer["notes"])
    assert "temperature-limit" in {caution["code"] for caution in answer["cautions"]}


def test_limits_follow_the_end_use(client, met):
    seed = ask(client, end_use="seed")
    assert seed["limits"][0]["most_permissive"] < met["limits"][0]["most_permissive"]
    assert "end_use" not in {entry["input"] for entry in seed["assumed"]}


def test_a_target_out_of_reach_is_said_with_what_can_be_had(client):
    cold = with_zones(METRIC, plenum_temperature=20)
    answer = ask(client, cold, target_moisture=6)
    assert answer["verdict"] == "out-of-reach"
    assert answer["reach"]["low"] > 6
    assert "figures" not in answer


def test_grain_at_the_target_needs_no_dryer(client):
    answer = ask(client, target_moisture=23)
    assert answer["verdict"] == "nothing-to-dry"
    assert "figures" not in answer


def test_a_column_that_does_not_settle_gives_no_number(client, monkeypatch):
    def stuck(*_args, **_kwargs):
        raise NotConverged("the column", (-1.0, 1.0), 0.1)

    monkeypatch.setattr(column_profile, "meeting", stuck)
    answer = ask(client)
    assert answer["verdict"] == "not-converged"
    assert not {"figures", "grain", "air", "sensitivities"} & set(answer)
    assert "no figures to trust" in answer["decision"]


@pytest.mark.parametrize("fuel", ["electricity", "fuel-oil", "natural-gas"])
def test_every_fuel_can_heat_a_column(client, fuel):
    answer = ask(client, dryer=METRIC["dryer"] | {"fuel": fuel})
    figures = answer["figures"]
    extra = figures["fuel_heat"] / figures["heat"]
    assert extra == pytest.approx(1.0) if fuel == "electricity" else extra > 1.04


@pytest.mark.parametrize(
    ("media_type", "start"), [("image/svg+xml", b"<?xml"), ("image/png", b"\x89PNG")]
)
def test_the_profile_can_be_looked_at(client, media_type, start):
    answer = client.post(PATH, json=METRIC, headers={"accept": media_type})
    assert answer.status_code == 200
    assert answer.headers["content-type"] == media_type
    assert answer.content.startswith(start)


def test_without_figures_the_picture_carries_the_decision(client):
    body = METRIC | {"target_moisture": 23}
    answer = client.post(PATH, json=body, headers={"accept": "image/svg+xml"})
    assert b"nothing to dry" in answer.content


def _codes(answer):
    return {caution["code"] for caution in answer["cautions"]}


@pytest.mark.parametrize(
    ("rate", "code"), [(90.0, "under-drying"), (25.0, None), (1.5, "over-drying")]
)
def test_grain_nobody_stores_so_wet_or_so_dry_is_told_without_a_target(client, rate, code):
    """Corn: sources advise 13 to 15.5 % for storing."""
    answer = ask(client, without(METRIC, "target_moisture"), rate=rate)
    assert _codes(answer) & {"under-drying", "over-drying"} == ({code} if code else set())


def test_zone_names_of_any_length_leave_the_panels_their_room(client):
    body = copy.deepcopy(METRIC)
    for index, zone in enumerate(body["dryer"]["zones"]):
        zone["name"] = f"{index} behind the {'very ' * 20}old bin"[:100]
    answer = client.post(PATH, json=body, headers={"accept": "image/svg+xml"})
    assert answer.status_code == 200
    assert "0 behind the ve..." in answer.text
    assert body["dryer"]["zones"][0]["name"] not in answer.text
