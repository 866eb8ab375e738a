"""The start plan over HTTP: plenums inside their limits, what to expect, the list, what ends it."""

from __future__ import annotations

import copy
import re

import pytest

from asked_dryers import BUSHEL, FITTED, METRIC, in_us_units, with_zones
from outfeed.dryer import plugs

PATH = "/v1/start-plan"
UNPLANNED = with_zones(METRIC, plenum_temperature=None)
WHEAT = {
    "units": "metric",
    "grain": "wheat-hard-red-spring",
    "dryer": {
        "kind": "mixed-flow",
        "zones": [
            {"name": "upper", "role": "heated", "volume": 18, "airflow": 40000},
            {"name": "lower", "role": "heated", "volume": 18, "airflow": 40000, "sensors": [0.5]},
            {"name": "cooling", "role": "cooling", "volume": 12, "airflow": 28000},
        ],
        "cross_section": 6,
    },
    "moisture": 19,
    "target_moisture": 14,
    "ambient_temperature": 14,
    "ambient_relative_humidity": 70,
}


def ask(client, body=None, status=200, **changes):
    answer = client.post(PATH, json=(body or UNPLANNED) | changes)
    assert answer.status_code == status, answer.text
    return answer.json()


@pytest.fixture(scope="module")
def plan(client):
    return ask(client)


def test_the_decision_says_plenums_rate_and_wait_and_the_first_note_what_to_expect(plan):
    assert next(iter(plan)) == "decision"
    for words in ("Set the plenums to upper 93 degC", "open at about", "judge nothing before"):
        assert words in plan["decision"]
    assert len(plan["decision"]) < 240
    assert plan["notes"][0].startswith("Aim for 15.5 % at the discharge and expect the column at")


def test_the_wettest_grain_meets_the_hottest_air_inside_a_named_limit(plan):
    levels = plan["figures"]["levels"]
    plenums = [level["plenum_temperature"] for level in levels]
    assert plenums == sorted(plenums, reverse=True)
    assert [level["moisture"] for level in levels] == sorted(
        (level["moisture"] for level in levels), reverse=True
    )
    for level in levels:
        assert level["plenum_temperature"] <= level["ceiling"]
        assert "North Dakota State University" in level["ruling"]
        assert any("Canad" in other for other in level["others"])


def test_what_to_expect_carries_its_band(plan):
    figures = plan["figures"]
    for name in ("discharge_rate", "transit_time", "column_temperature", "discharge_temperature"):
        assert figures[name]["low"] < figures[name]["value"] < figures[name]["high"]
    assert figures["settling_wait"] == figures["transit_time"]
    exhaust = figures["levels"][0]["exhaust_temperature"]
    assert exhaust["low"] < exhaust["value"] < exhaust["high"]


def test_the_list_runs_from_manual_to_staying_beside_it(plan):
    steps = plan["steps"]
    assert "manual" in steps[0]
    assert "None may be bridged" in steps[2]
    assert "Stay beside the dryer" in steps[-1]
    words = ("Lock out", "Fill the column", "burners", "Wait one transit", "sample at")
    order = [next(i for i, step in enumerate(steps) if word in step) for word in words]
    assert order == sorted(order)


def test_the_plan_says_what_ends_it(plan):
    changes = " ".join(item["change"] for item in plan["valid_until"])
    assert "new lot" in changes
    assert "5 degC warmer or colder" in changes
    assert all(item["effect"] for item in plan["valid_until"])


def test_usual_cautions_stand_below(plan):
    codes = {caution["code"] for caution in plan["cautions"]}
    assert {"follow-manual", "fire-column", "lock-out", "gas-fuel", "carbon-monoxide",
            "entrapment"} <= codes  # fmt: skip


def test_the_first_fill_is_weighed_and_leaves_wet(client, plan):
    fill = plan["figures"]["first_fill"]
    held = plan["figures"]["discharge_rate"]["value"] * plan["figures"]["transit_time"]["value"]
    assert fill["weight"] * 0.78 == pytest.approx(held * 0.845, rel=1e-3)
    assert 0.0 < fill["wet"] < held * 1.001
    assert fill["held_kernel"] > plan["figures"]["hottest_kernel"]["value"]
    assert fill["held_kernel"] > 60.0
    assert fill["advice"] == "divert"
    warm = ask(client, kernel_limit=80.0)["figures"]["first_fill"]
    assert warm["advice"] == "hold-if-the-manual-allows"
    timed = ask(client, fill_rate=80)["figures"]["first_fill"]
    assert timed["fill_time"] == pytest.approx(timed["weight"] / 80 * 60, rel=1e-6)


def test_a_first_fill_that_does_not_settle_leaves_the_plan_standing(client, monkeypatch):
    monkeypatch.setattr(plugs, "UNSETTLED", 0.0)
    answer = ask(
        client, WHEAT, grain="soybean", end_use="commercial", moisture=20, target_moisture=13
    )
    assert answer["verdict"] == "planned"
    fill = answer["figures"]["first_fill"]
    assert set(fill) == {"weight", "advice"}
    assert fill["advice"] == "divert"
    assert any("how wet it leaves is not known" in step for step in answer["steps"])
    assert any("first fill leaves could not be worked out" in note for note in answer["notes"])


def test_a_plan_that_outruns_the_filling_says_so_first(client, plan):
    slow = 0.5 * plan["figures"]["intake_rate"]["value"]
    answer = ask(client, fill_rate=slow)
    assert "run empty" in answer["decision"]
    assert f"{slow:.1f} t/h" in answer["notes"][0]
    keeps_up = ask(client, fill_rate=4.0 * slow)
    assert "run empty" not in keeps_up["decision"]


def test_the_list_opens_no_faster_than_wet_grain_is_filled_in(client, plan):
    rate = plan["figures"]["discharge_rate"]["value"]
    slow = 0.6 * plan["figures"]["intake_rate"]["value"]
    (step,) = (one for one in ask(client, fill_rate=slow)["steps"] if "timed lot" in one)
    assert f"go no higher than {0.6 * rate:.1f} t/h" in step
    (step,) = (one for one in ask(client, fill_rate=4.0 * slow)["steps"] if "timed lot" in one)
    assert "no higher" not in step


def test_no_more_rate_is_taken_off_than_there_is(client):
    effect = ask(client, moisture=16)["valid_until"][0]["effect"]
    assert "far less rate" in effect
    assert "%" not in effect


def test_a_fill_that_leaves_dry_needs_no_hold(client):
    fill = ask(client, moisture=16.0)["figures"]["first_fill"]
    assert fill["wet"] == 0.0
    assert fill["hold"] == 0.0
    assert fill["advice"] == "no-hold-needed"


def test_the_plan_agrees_with_the_column_profile_at_its_plenums(client, plan):
    body = with_zones(UNPLANNED)
    levels = iter(plan["figures"]["levels"])
    for zone in body["dryer"]["zones"]:
        if zone["role"] == "heated":
            zone["plenum_temperature"] = next(levels)["plenum_temperature"]
    profile = client.post("/v1/column-profile", json=body).json()["figures"]
    assert profile["discharge_rate"]["value"] == pytest.approx(
        plan["figures"]["discharge_rate"]["value"], rel=1e-3
    )
    assert profile["column_temperature"]["value"] == pytest.approx(
        plan["figures"]["column_temperature"]["value"], abs=0.1
    )


def test_later_cooling_lets_the_grain_leave_wetter(client, plan):
    steeped = ask(client, cooling="steep-then-cool", final_temperature=5)["figures"]
    assert steeped["aim"] > 15.5
    assert steeped["cooling_credit"] == pytest.approx(steeped["aim"] - 15.5)
    assert steeped["discharge_rate"]["value"] > plan["figures"]["discharge_rate"]["value"]


def test_a_cooling_that_takes_nothing_is_not_spoken_of_in_points(client):
    hot = ask(client, cooling="cool-in-storage", final_temperature=60)
    told = [note for note in hot["notes"] if "ater cooling" in note]
    assert len(told) == 1
    assert told[0].endswith("later cooling takes off no moisture to speak of.")


def test_a_country_rules_when_asked_and_no_plenum_passes_it(client):
    canada = ask(client, jurisdiction="Canada", end_use="commercial")
    assert max(level["plenum_temperature"] for level in canada["figures"]["levels"]) <= 60.0


def test_damage_seen_by_another_than_the_source_asked_for_is_told_to_rule(client):
    wheat = UNPLANNED | {"grain": "wheat-hard-red-spring", "moisture": 19, "target_moisture": 14}
    asked = ask(client, wheat, end_use="milling", limit_source="cgc-guideline")
    assert "damage was seen (United States)" in asked["figures"]["levels"][0]["ruling"]
    assert any("not of the source or country you named" in note for note in asked["notes"])
    followed = ask(client, wheat, end_use="milling", jurisdiction="United States")
    assert not any("you named" in note for note in followed["notes"])


def test_a_kernel_limit_lowers_the_plenums(client, plan):
    limit = plan["figures"]["hottest_kernel"]["value"] - 4
    cooler = ask(client, kernel_limit=limit)
    assert cooler["figures"]["hottest_kernel"]["value"] <= limit
    assert cooler["figures"]["first_fill"]["advice"] == "divert"


def test_a_wish_above_the_limit_is_lowered_and_said(client):
    answer = ask(client, with_zones(METRIC, plenum_temperature=110))
    assert [level["lowered"] for level in answer["figures"]["levels"]] == [True] * 3
    assert any("was lowered" in note for note in answer["notes"])


def test_metering_points_give_a_setting(client):
    points = [{"setting": 30, "rate": 20}, {"setting": 50, "rate": 33}]
    answer = ask(client, metering_points=points)
    metering = answer["figures"]["metering"]
    assert metering["low"] < metering["setting"] < metering["high"]
    assert "metering setting" in answer["decision"]


def test_a_fit_narrows_the_opening_rate(client, plan):
    fitted = ask(client, fitted=FITTED)["figures"]["discharge_rate"]
    loose = plan["figures"]["discharge_rate"]
    assert fitted["high"] / fitted["low"] < loose["high"] / loose["low"]


def test_without_sensors_their_place_is_assumed_and_listed(client):
    answer = ask(client, with_zones(UNPLANNED, sensors=[]))
    assert "sensors" in {entry["input"] for entry in answer["assumed"]}
    assert "column_temperature" in answer["figures"]


def test_both_unit_systems_tell_the_same_within_a_degree_of_the_dial(client, plan):
    us = ask(client, with_zones(in_us_units(METRIC), plenum_temperature=None))
    for one, other in zip(plan["figures"]["levels"], us["figures"]["levels"], strict=True):
        celsius = (other["plenum_temperature"] - 32) / 1.8
        assert celsius == pytest.approx(one["plenum_temperature"], abs=1.0)
    rate = us["figures"]["discharge_rate"]["value"] * BUSHEL / 1000
    assert rate == pytest.approx(plan["figures"]["discharge_rate"]["value"], rel=0.02)


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"limit_source": "nobody"}, "/limit_source"),
        ({"jurisdiction": "Atlantis"}, "/jurisdiction"),
    ],
)
def test_an_unknown_authority_is_refused(client, changes, pointer):
    problem = ask(client, status=422, **changes)
    assert problem["errors"][0]["pointer"] == pointer
    assert problem["errors"][0]["allowed"]["one_of"]


def test_grain_at_the_target_and_a_target_beyond_the_limits_get_no_plan(client):
    assert ask(client, target_moisture=22)["verdict"] == "nothing-to-dry"
    cold = ask(client, with_zones(METRIC, plenum_temperature=16), target_moisture=5)
    assert cold["verdict"] == "out-of-reach"
    assert "figures" not in cold


def test_metering_points_that_fall_are_refused_where_they_stand(client):
    points = [{"setting": 40, "rate": 20}, {"setting": 50, "rate": 10}]
    problem = ask(client, status=422, metering_points=points)
    assert problem["errors"][0]["pointer"] == "/metering_points"


def test_a_limit_that_holds_for_six_points_a_pass_is_kept_by_several_passes(client):
    """Canadian table for seed: 45 degC, no more than 6 points removed in one pass."""
    wet = ask(client, end_use="seed", moisture=30.0)
    assert wet["figures"]["passes"] == pytest.approx([25.1667, 20.3333, 15.5], abs=1e-3)
    assert wet["decision"].startswith("Dry in 3 passes")
    assert (
        "about 4.8 points in each, from 30.0 to 25.2, on to 20.3 and on to 15.5 %"
        in wet["decision"]
    )
    assert wet["figures"]["aim"] == wet["figures"]["passes"][0]
    alone = ask(client, end_use="seed", moisture=30.0, target_moisture=25.16667)
    assert wet["figures"]["discharge_rate"] == pytest.approx(
        alone["figures"]["discharge_rate"], rel=1e-4
    )


@pytest.mark.parametrize(("moisture", "several"), [(23.0, True), (20.0, False)])
def test_a_plan_for_the_first_of_several_passes_leaves_cooling_to_the_last(
    client, moisture, several
):
    cooled = {"cooling": "cool-in-storage", "final_temperature": -5.0}
    answer = ask(client, end_use="seed", moisture=moisture, **cooled)
    told = [note for note in answer["notes"] if note.startswith("`cooling` counts only")]
    assert len(told) == several
    if several:
        last = answer["figures"]["passes"][-1]
        assert last > 15.5
        assert f"leaves the dryer at {last:.1f} %" in told[0]


def _heated_to(limit: str, kept: str) -> float:
    """Moisture to which heated air dries by the sentence of a limit that is kept so [%]."""
    (told,) = re.findall(rf"Here heated air dries it to ([0-9.]+) %, {kept}\.", limit)
    return float(told)


def test_a_limit_is_shown_with_what_becomes_of_its_conditions(client):
    """Air of 80 degC for wheat that it dries to 15 %; 65 degC for up to 6 points a pass."""
    answer = ask(client, WHEAT, jurisdiction="Canada", moisture=21.0, target_moisture=15.5)
    for level in answer["figures"]["levels"]:
        assert level["ceiling"] == 80
        assert "dry to 15 %" in level["ruling"]
        assert _heated_to(level["ruling"], "no further than allowed") > 15.0
        points = "Here 5.5 points are removed in the pass, as allowed."
        assert any(points in other for other in level["others"])
    assert not any(note.startswith("Not followed") for note in answer["notes"])


def test_a_limit_whose_condition_the_plan_breaks_does_not_rule(client):
    answer = ask(client, WHEAT, jurisdiction="Canada")
    for level in answer["figures"]["levels"]:
        assert level["plenum_temperature"] <= level["ceiling"] == 65
        assert "65 degC for commercial use" in level["ruling"]
        broken = next(other for other in level["others"] if "80 degC" in other)
        assert 14.0 < _heated_to(broken, "further than allowed") < 15.0
    (told,) = (note for note in answer["notes"] if note.startswith("Not followed"))
    assert "below the 15.0 % that it allows: Drying air at most 80 degC" in told
    assert "tell `cooling`" in told


def test_each_of_several_passes_keeps_to_the_limit_that_the_last_one_needs(client):
    """The first pass stays above 15 %, but 80 degC is for grain that heated air leaves there."""
    answer = ask(client, WHEAT, jurisdiction="Canada", moisture=21)
    assert answer["figures"]["passes"] == pytest.approx([17.5, 14.0])
    assert [level["ceiling"] for level in answer["figures"]["levels"]] == [65, 65]
    (told,) = (note for note in answer["notes"] if note.startswith("Not followed"))
    assert "that it allows, in this pass or a later one: " in told
    assert "`cooling`" not in told


def test_a_source_whose_only_limit_does_not_hold_gives_way_to_the_strictest_of_anyone(client):
    answer = ask(client, WHEAT, limit_source="cgc-wheat-drying")
    assert answer["figures"]["levels"][0]["ceiling"] == 65
    assert any("none of theirs holds here" in note for note in answer["notes"])
    assert not any("damage seen in grain for this very use" in note for note in answer["notes"])


def test_a_condition_is_held_against_the_moisture_aimed_for_in_the_end(client):
    """Plenums are found for an aim that the heat of the grain then moves by a hair."""
    zones = [zone | {"plenum_temperature": 60} for zone in WHEAT["dryer"]["zones"][:2]]
    body = WHEAT | {"dryer": WHEAT["dryer"] | {"zones": zones}, "jurisdiction": "Canada"}
    cooled = {"cooling": "cool-in-storage", "final_temperature": 5}
    for target in (14.30, 14.411, 14.419, 14.55):  # as far as heated air may dry, give or take
        level = ask(client, body, target_moisture=target, **cooled)["figures"]["levels"][0]
        assert level["ceiling"] in (65, 80)
        assert ", further than allowed" not in level["ruling"]


@pytest.mark.parametrize("moisture", [21.5, 21.53, 21.6])
def test_six_points_are_one_pass_and_a_tenth_more_are_two(client, moisture):
    answer = ask(client, end_use="seed", moisture=moisture)
    assert ("passes" in answer["figures"]) == (moisture == 21.6)


@pytest.mark.parametrize("use", ["commercial", "milling"])
def test_points_a_pass_hold_also_where_damage_seen_rules_the_air(client, use):
    """The table followed holds for 6 points a pass; damage was seen in grain for milling only."""
    answer = ask(client, WHEAT, end_use=use, moisture=24, limit_source="cgc-guideline")
    assert answer["figures"]["passes"] == pytest.approx([19.0, 14.0])
    assert "no more than 6 points" in answer["decision"]
    assert "Government of Canada drying guidelines" in answer["decision"]
    assert "from 24.0 to 19.0 and on to 14.0 %" in answer["decision"]


def test_a_limit_without_that_condition_takes_all_in_one_pass(client):
    assert "passes" not in ask(client, moisture=28.0)["figures"]


@pytest.mark.parametrize("grain", ["corn-yellow-dent", "wheat-hard-red-spring", "soybean"])
def test_plan_and_catalogue_name_the_same_two_limits(client, grain):
    """The limit that rules for the kind of dryer, and the stricter one of another source."""
    query = {"end_use": "commercial", "dryer_type": "mixed-flow", "units": "metric"}
    path = f"/v1/grains/{grain}/temperature-limits"
    looked_up = client.get(path, params=query | {"moisture": 20}).json()
    plan = ask(client, grain=grain, end_use="commercial", moisture=20.0, target_moisture=15.0)
    top = plan["figures"]["levels"][0]["ceiling"]
    strictest = looked_up["strictest"]["low"]
    assert strictest < top
    for decision in (looked_up["decision"], plan["decision"]):
        assert f"{strictest:g} degC" in decision
    assert f"allows {top:.1f}".removesuffix(".0") in looked_up["decision"]


def test_the_united_states_are_spoken_of_with_their_article(client):
    answer = ask(client, grain="barley", end_use="commercial", moisture=18, target_moisture=14)
    assert "Where the rules of the United States bind you" in answer["decision"]
    assert any("Another source in the United States" in note for note in answer["notes"])


def test_who_names_a_country_is_not_sent_to_another(client):
    assert "bind you" in ask(client, end_use="commercial")["decision"]
    named = ask(client, end_use="commercial", jurisdiction="United States")
    assert "bind you" not in named["decision"]


@pytest.mark.parametrize(("target", "wet"), [(15.0, False), (19.0, True)])
def test_a_target_nobody_stores_is_called_wet(client, target, wet):
    codes = {c["code"] for c in ask(client, target_moisture=target)["cautions"]}
    assert ("under-drying" in codes) == wet


def test_plenums_as_warm_as_the_outside_air_burn_nothing(client):
    idle = with_zones(METRIC, plenum_temperature=METRIC["ambient_temperature"])
    fuel = ask(client, idle, target_moisture=21)["figures"]["fuel"]
    assert fuel["heat"] == fuel["heat_per_water"]["value"] == 0


def test_the_fuel_per_water_is_that_of_the_discharge_rate(client):
    """Both count fuel as it is bought, of which a flame in the air takes 8 % more than the air."""
    plan = ask(client, METRIC)["figures"]
    planned = copy.deepcopy(METRIC)
    for zone, level in zip(planned["dryer"]["zones"], plan["levels"], strict=False):
        zone["plenum_temperature"] = level["plenum_temperature"]
    found = client.post("/v1/discharge-rate", json=planned).json()["figures"]
    energy = plan["fuel"]["heat_per_water"]
    assert energy["value"] == pytest.approx(found["specific_energy"]["value"], rel=1e-3)
    water = plan["discharge_rate"]["value"] * 1000 * (22 - plan["aim"]) / (100 - 22)
    assert energy["value"] == pytest.approx(plan["fuel"]["heat"] / water, rel=1e-3)
