"""The discharge rate over HTTP: decision first, everything assumed listed, both unit systems."""

from __future__ import annotations

import copy
import json

import pytest

from asked_dryers import FITTED

METRIC = {
    "units": "metric",
    "grain": "corn-yellow-dent",
    "dryer": {
        "kind": "mixed-flow",
        "zones": [
            {"role": "heated", "volume": 20, "plenum_temperature": 98, "airflow": 43000},
            {"role": "heated", "volume": 20, "plenum_temperature": 85, "airflow": 43000},
            {"role": "heated", "volume": 20, "plenum_temperature": 72, "airflow": 43000},
            {"role": "cooling", "volume": 15, "airflow": 32000},
        ],
    },
    "moisture": 22,
    "target_moisture": 15.5,
    "ambient_temperature": 10,
    "ambient_relative_humidity": 70,
    "grain_temperature": 10,
}
FOOT3 = 0.3048**3
BUSHEL = 56 * 0.45359237


def fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32.0


def in_us_units(body: dict) -> dict:
    us = copy.deepcopy(body) | {"units": "us"}
    for name in ("ambient_temperature", "grain_temperature"):
        us[name] = fahrenheit(us[name])
    for zone in us["dryer"]["zones"]:
        zone["volume"] /= FOOT3
        zone["airflow"] /= FOOT3 * 60.0
        if "plenum_temperature" in zone:
            zone["plenum_temperature"] = fahrenheit(zone["plenum_temperature"])
    return us


def ask(client, body=None, status=200, **changes):
    answer = client.post("/v1/discharge-rate", json=(body or METRIC) | changes)
    assert answer.status_code == status, answer.text
    return answer.json()


def without(body: dict, *names: str) -> dict:
    return {name: value for name, value in body.items() if name not in names}


def test_an_exhaust_held_at_saturation_blames_only_what_was_given(client):
    body = copy.deepcopy(METRIC) | {"ambient_temperature": -23, "grain_temperature": -23}
    zones = body["dryer"]["zones"]
    for zone in zones:
        del zone["airflow"]

    def told():
        notes = ask(client, body)["notes"]
        return next(note for note in notes if "held at saturation" in note)

    assert "you gave" not in told()
    zones[0]["exhaust_temperature"] = 15
    assert told().endswith("Check the exhaust temperature you gave.")
    zones[0]["airflow"] = 43000
    assert told().endswith("Check the airflow and the exhaust temperature you gave.")


def test_the_decision_comes_first_and_says_rate_band_and_transit(client):
    answer = ask(client)
    assert next(iter(answer)) == "decision"
    assert answer["decision"].startswith("Open at about ")
    assert "one transit takes" in answer["decision"]
    assert answer["method"] == "column-model"


def test_the_quick_balance_stands_beside_the_column_model(client):
    answer = ask(client)
    column, quick = answer["figures"]["discharge_rate"], answer["quick_balance"]
    assert quick["low"] < column["value"] < quick["high"]
    assert any("the quick balance of water and energy gives" in note for note in answer["notes"])
    assert {"dryer.column", "dryer.quick-balance"} <= {use["id"] for use in answer["methods"]}
    profile = client.post("/v1/column-profile", json=METRIC).json()["figures"]
    assert column["value"] == pytest.approx(profile["discharge_rate"]["value"], rel=1e-9)


@pytest.mark.parametrize(
    "change",
    [
        {"known_run": {"rate": 25, "moisture": 22, "discharge_moisture": 15.5}},
        {"dryer": METRIC["dryer"] | {"kind": "counter-flow"}},
        {"dryer": METRIC["dryer"] | {"kind": "cross-flow"}},
    ],
)
def test_where_the_description_does_not_suffice_the_quick_balance_answers(client, change):
    answer = ask(client, **change)
    assert answer["method"] == "quick-balance"
    assert "quick_balance" not in answer


def test_both_unit_systems_tell_the_same(client):
    metric, us = ask(client)["figures"], ask(client, in_us_units(METRIC))["figures"]
    rate = us["discharge_rate"]["value"] * BUSHEL / 1000.0
    assert rate == pytest.approx(metric["discharge_rate"]["value"], rel=1e-7)
    assert us["transit_time"]["value"] == pytest.approx(metric["transit_time"]["value"], rel=1e-7)
    energy = us["specific_energy"]["value"] * 1055.05585262 / 0.45359237 / 1e6
    assert energy == pytest.approx(metric["specific_energy"]["value"], rel=1e-7)
    for one, other in zip(metric["zones"], us["zones"], strict=True):
        assert other["moisture"] == pytest.approx(one["moisture"], rel=1e-7)
        assert other["exhaust_temperature"] == pytest.approx(
            fahrenheit(one["exhaust_temperature"]), rel=1e-6
        )


def test_wet_in_less_water_is_dry_out(client):
    figures = ask(client)["figures"]
    water = figures["water_removed"]["value"] / 1000.0
    dry, wet = figures["discharge_rate"]["value"], figures["intake_rate"]["value"]
    assert wet - dry == pytest.approx(water, rel=1e-7)
    removed = sum(zone["water_removed"] for zone in figures["zones"]) / 1000.0
    assert removed == pytest.approx(water, rel=1e-7)
    assert dry * figures["transit_time"]["value"] == pytest.approx(figures["hold_up"], rel=1e-7)


def test_fuel_per_hour_and_per_grain_agree(client):
    figures = ask(client)["figures"]
    fuel, dry = figures["fuel"], figures["discharge_rate"]["value"]
    assert fuel["liquid_per_grain"] * dry == pytest.approx(fuel["liquid"], rel=1e-7)
    assert fuel["heat_per_grain"] * dry == pytest.approx(fuel["heat"]["value"], rel=1e-7)
    water = figures["water_removed"]["value"]
    energy = fuel["heat"]["value"] / water
    assert energy == pytest.approx(figures["specific_energy"]["value"], rel=1e-7)
    assert "gas" not in fuel


def test_natural_gas_is_counted_by_volume(client):
    dryer = METRIC["dryer"] | {"fuel": "natural-gas"}
    fuel = ask(client, dryer=dryer)["figures"]["fuel"]
    assert fuel["gas"] > 0
    assert "liquid" not in fuel


def test_what_is_left_out_is_assumed_listed_and_widens_the_band(client):
    told = ask(client)
    bare = without(METRIC, "ambient_relative_humidity", "grain_temperature")
    bare = bare | {"dryer": copy.deepcopy(METRIC["dryer"])}
    for zone in bare["dryer"]["zones"]:
        del zone["airflow"]
    guessed = ask(client, bare)
    names = {entry["input"] for entry in guessed["assumed"]}
    assert {"airflow", "ambient_relative_humidity", "grain_temperature"} <= names
    assert not names.isdisjoint({"air_effectiveness"})
    assert not {"airflow", "grain_temperature"} & {e["input"] for e in told["assumed"]}

    def width(answer):
        band = answer["figures"]["discharge_rate"]
        return band["high"] / band["low"]

    assert width(guessed) > width(told)
    for entry in guessed["assumed"]:
        if "low" in entry:
            assert entry["low"] <= entry["value"] <= entry["high"]
        assert entry["source"]
        assert entry.get("unit") or entry["choice"]


def test_hold_up_and_volume_of_the_same_grain_give_the_same_answer(client):
    by_volume = ask(client, test_weight=70)
    middle = 0.5 * (0.22 + 0.155)
    dryer = copy.deepcopy(METRIC["dryer"])
    for zone in dryer["zones"]:
        zone["hold_up"] = zone.pop("volume") * 700.0 / 1000.0
    by_weight = ask(client, test_weight=70, dryer=dryer)
    assert 0.0 < middle < 1.0
    assert by_weight["figures"]["hold_up"] == pytest.approx(by_volume["figures"]["hold_up"])
    assert by_weight["figures"]["discharge_rate"] == by_volume["figures"]["discharge_rate"]


def test_a_known_run_anchors_the_rate(client):
    plain = ask(client)["quick_balance"]
    run = {"rate": 0.8 * plain["value"], "moisture": 22, "discharge_moisture": 15.5}
    answer = ask(client, known_run=run)
    band = answer["figures"]["discharge_rate"]
    assert band["value"] == pytest.approx(run["rate"], rel=1e-6)
    assert band["high"] / band["low"] < plain["high"] / plain["low"]
    assert answer["figures"]["anchor_factor"] == pytest.approx(0.8, rel=1e-6)


def test_a_known_run_counts_wet_grain_when_told_so(client):
    plain = ask(client)["quick_balance"]["value"] * (100 - 15.5) / (100 - 22)
    run = {"rate": plain, "moisture": 22, "discharge_moisture": 15.5}
    figures = ask(client, known_run=run, rate_basis="wet")["figures"]
    assert figures["anchor_factor"] == pytest.approx(1.0, rel=1e-6)


def test_a_known_run_at_other_plenums_is_taken_at_those(client):
    run = {
        "rate": 20,
        "moisture": 22,
        "discharge_moisture": 15.5,
        "plenum_temperatures": [90, 78, 66],
    }
    assert ask(client, known_run=run)["figures"]["discharge_rate"]["value"] > 20
    short = run | {"plenum_temperatures": [90]}
    problem = ask(client, status=422, known_run=short)
    assert problem["errors"][0]["pointer"] == "/known_run/plenum_temperatures"


def test_metering_points_give_the_setting_to_dial(client):
    rate = ask(client)["figures"]["discharge_rate"]["value"]
    points = [{"setting": 40, "rate": 0.9 * rate}, {"setting": 50, "rate": 1.1 * rate}]
    answer = ask(client, metering_points=points)
    assert answer["metering"]["setting"] == pytest.approx(45.0)
    assert answer["metering"]["basis"] == "between-points"
    assert "metering setting 45" in answer["decision"]
    fine = [point | {"setting": 50 * point["setting"]} for point in points]  # as of a speed
    assert "metering setting 2250 (" in ask(client, metering_points=fine)["decision"]


def test_metering_points_far_away_give_no_setting_and_say_so(client):
    answer = ask(client, metering_points=[{"setting": 5, "rate": 1}])
    assert "metering" not in answer
    assert any("metering points" in note for note in answer["notes"])


def test_metering_points_that_fall_are_refused(client):
    points = [{"setting": 40, "rate": 20}, {"setting": 50, "rate": 10}]
    problem = ask(client, status=422, metering_points=points)
    assert problem["errors"][0]["pointer"] == "/metering_points"


def test_metering_points_that_contradict_each_other_are_doubted_and_by_far_refused(client):
    rate = ask(client)["figures"]["discharge_rate"]["value"]
    told = [(30, 0.6), (40, 1.1), (50, 0.85), (60, 1.2)]
    points = [{"setting": setting, "rate": share * rate} for setting, share in told]
    notes = ask(client, metering_points=points)["notes"]
    assert any("setting 40 gave more than setting 50" in note for note in notes)
    slip = [{"setting": 40, "rate": 41}, {"setting": 50, "rate": 5.1}, {"setting": 60, "rate": 62}]
    problem = ask(client, status=422, metering_points=slip)
    assert problem["errors"][0]["pointer"] == "/metering_points"
    assert "41 t/h at setting 40 and only 5.1 t/h at setting 50" in problem["detail"]


def test_grain_already_dry_needs_no_dryer(client):
    answer = ask(client, moisture=15)
    assert answer["verdict"] == "nothing-to-dry"
    assert "figures" not in answer
    assert "nothing to dry" in answer["decision"]


def test_a_target_out_of_reach_is_said_plainly_with_what_would_reach_it(client):
    dryer = {
        "kind": "mixed-flow",
        "burner": "indirect",
        "zones": [{"role": "heated", "volume": 20, "plenum_temperature": 22}],
    }
    answer = ask(
        client, dryer=dryer, ambient_temperature=18, ambient_relative_humidity=95,
        target_moisture=10,
    )  # fmt: skip
    assert answer["verdict"] == "below-equilibrium"
    assert "cannot be reached at any rate" in answer["decision"]
    assert answer["driest_moisture"] > 10
    assert answer["plenum_needed"] > 22
    assert "every published limit" not in answer["decision"]


@pytest.mark.parametrize("path", ["discharge-rate", "column-profile"])
def test_a_plenum_that_nobody_published_is_not_advised(client, path):
    body = METRIC | {"target_moisture": 0.5}
    answer = client.post(f"/v1/{path}", json=body).json()
    assert "It takes a plenum" in answer["decision"]
    assert "hotter than every published limit for this grain" in answer["decision"]


def test_a_direct_fired_dryer_warns_of_carbon_monoxide_and_an_electric_one_does_not(client):
    codes = {caution["code"] for caution in ask(client)["cautions"]}
    assert {"carbon-monoxide", "gas-fuel", "fire-column", "lock-out", "follow-manual"} <= codes
    dryer = METRIC["dryer"] | {"fuel": "electricity", "burner": "indirect"}
    codes = {caution["code"] for caution in ask(client, dryer=dryer)["cautions"]}
    assert not {"carbon-monoxide", "gas-fuel"} & codes


def test_a_plenum_above_every_published_limit_is_cautioned(client):
    dryer = copy.deepcopy(METRIC["dryer"])
    dryer["zones"][0]["plenum_temperature"] = 149
    answer = ask(client, dryer=dryer)
    assert "temperature-limit" in {caution["code"] for caution in answer["cautions"]}
    assert any("published drying-air limit" in note for note in answer["notes"])


@pytest.mark.parametrize(
    "zones, pointer",
    [
        ([{"role": "heated", "plenum_temperature": 90}], "/dryer/zones/0/volume"),
        (
            [{"role": "heated", "plenum_temperature": 90, "volume": 20, "hold_up": 14}],
            "/dryer/zones/0/volume",
        ),
        ([{"role": "heated", "volume": 20}], "/dryer/zones/0/plenum_temperature"),
        ([{"role": "cooling", "volume": 20}], "/dryer/zones"),
        (
            [{"role": "cooling", "volume": 20, "plenum_temperature": 90}],
            "/dryer/zones/0/plenum_temperature",
        ),
        (
            [{"role": "heated", "volume": 20, "plenum_temperature": 90, "name": "a"}] * 2,
            "/dryer/zones",
        ),
        (
            [{"role": "heated", "volume": 0.02, "plenum_temperature": 90, "airflow": 43000}],
            "/dryer/zones",
        ),
    ],
)
def test_a_dryer_that_contradicts_itself_is_refused_where_it_does(client, zones, pointer):
    problem = ask(client, status=422, dryer={"kind": "mixed-flow", "zones": zones})
    assert problem["errors"][0]["pointer"] == pointer


@pytest.mark.parametrize("kind", ["mixed-flow", "cross-flow", "counter-flow", "concurrent-flow"])
def test_every_kind_of_dryer_is_answered(client, kind):
    answer = ask(client, dryer=METRIC["dryer"] | {"kind": kind})
    assert answer["verdict"] == "within-reach"


def test_pressure_and_altitude_are_not_both_given(client):
    problem = ask(client, status=422, pressure=98_000, altitude=200)
    assert problem["errors"][0]["pointer"] == "/altitude"


def test_a_grain_without_published_properties_is_refused_by_name(client):
    problem = ask(client, status=422, grain="flax", moisture=14, target_moisture=9)
    assert problem["type"].endswith("not-published")


def test_the_same_request_gives_the_same_bytes(client):
    body, headers = json.dumps(METRIC), {"content-type": "application/json"}
    first, second = (
        client.post("/v1/discharge-rate", content=body, headers=headers) for _ in range(2)
    )
    assert first.content == second.content


@pytest.mark.parametrize(
    ("grain", "moisture", "plenum", "said"),
    [
        # Hellevang, North Dakota State University: hard red spring wheat at 20 % up to 140 degF.
        ("wheat-hard-red-spring", 20.0, 180.0, "run from"),
        ("barley", 18.0, 200.0, "run from"),
        ("rough-rice-long", 20.0, 180.0, "above the highest published"),
    ],
)
def test_a_plenum_hotter_than_some_use_allows_is_never_passed_over(
    client, grain, moisture, plenum, said
):
    zones = [{"role": "heated", "hold_up": 500, "plenum_temperature": plenum}]
    body = {
        "units": "us",
        "grain": grain,
        "moisture": moisture,
        "target_moisture": 13.5,
        "ambient_temperature": 45,
        "dryer": {"kind": "mixed-flow", "zones": zones},
    }
    answer = client.post("/v1/discharge-rate", json=body).json()
    assert any(said in note and "limit" in note for note in answer["notes"])


def test_choices_left_to_us_are_listed(client):
    told = client.post("/v1/discharge-rate", json=METRIC).json()
    chosen = {entry["input"]: entry.get("choice") for entry in told["assumed"]}
    assert chosen["burner"] == "direct-fired"
    assert chosen["fuel"] == "propane"
    assert "altitude" in chosen


@pytest.mark.parametrize("path", ["discharge-rate", "column-profile", "start-plan"])
def test_high_up_a_fan_s_volume_is_to_be_counted_as_less_air(client, path):
    """17 % less at 1,500 m by the standard atmosphere; a fit or a known run has found it out."""

    def thin(**changes):
        answer = client.post(f"/v1/{path}", json=METRIC | changes)
        assert answer.status_code == 200, answer.text
        return [note for note in answer.json()["notes"] if "standard air" in note]

    (note,) = thin(altitude=1500)
    assert "17 % less" in note
    assert thin() == thin(altitude=1500, fitted=FITTED) == []


def test_a_known_run_that_dried_nothing_is_named(client):
    run = {"rate": 25, "moisture": 15, "discharge_moisture": 18}
    (error,) = ask(client, status=422, known_run=run)["errors"]
    assert error["pointer"] == "/known_run"
    assert "known run" in error["detail"]


def test_a_plenum_past_every_published_limit_is_said_in_the_decision(client):
    hot = copy.deepcopy(METRIC)
    for zone in hot["dryer"]["zones"]:
        if zone["role"] == "heated":
            zone["plenum_temperature"] = 149
    assert "hotter than every published limit" in ask(client, hot)["decision"]
    assert "hotter than every published limit" not in ask(client)["decision"]


@pytest.mark.parametrize(
    "change, outside",
    [
        ({}, None),
        ({"target_moisture": 5}, ["discharge moisture"]),
        ({"dryer": {"kind": "mixed-flow", "zones": [
            {"role": "heated", "volume": 300, "plenum_temperature": 50, "airflow": 30000}]}},
         ["transit time"]),
    ],
)  # fmt: skip
def test_a_quick_balance_beyond_what_was_published_is_flagged(client, change, outside):
    known = {"known_run": {"rate": 25, "moisture": 22, "discharge_moisture": 15.5}}
    answer = ask(client, **change | ({} if "dryer" in change else known))
    (quick,) = (used for used in answer["methods"] if used["id"] == "dryer.quick-balance")
    assert quick.get("outside") == outside
    assert ("extrapolated" in {item["code"] for item in answer["cautions"]}) is bool(outside)
