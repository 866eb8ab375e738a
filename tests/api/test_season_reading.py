"""Answers about the season read aloud: the caller's units only, and no word against another."""

from __future__ import annotations

import copy
import json
import re
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
FOREIGN = {
    "us": re.compile(r"\bdegC\b|\d K\b|\bkg\b|\d t\b|\bMJ\b|\bPa\b"),
    "metric": re.compile(r"\bdegF\b|\bbu\b|\blb\b|\bBtu\b|\bgal\b"),
}


def example(operation, name):
    return json.loads((EXAMPLES / operation / f"{name}.json").read_text())["request"]


def ask(client, operation, body, status=200):
    response = client.post("/v1/" + operation.replace("_", "-"), json=body)
    assert response.status_code == status, response.text
    return response.json()


def spoken(answer):
    """Every sentence of an answer."""
    yield answer["decision"]
    yield from answer["notes"]
    yield from (entry["why"] for entry in answer["assumed"])
    for name, key in (("alternatives", "what"), ("moves", "what")):
        yield from (entry[key] for entry in answer.get(name, []))


CASES = [
    ("season_plan", "us-harvest", {"cooling": "steep-then-cool"}),
    ("season_plan", "metric-lots", {"cooling": "cool-in-storage"}),
    ("season_plan", "us-harvest", {"wet_holding": 0}),
    ("weather_outlook", "us-cold-front", {}),
    ("weather_outlook", "metric-mild-day", {"grain": "soybean"}),
    ("cooling", "aim-for-the-discharge-us", {"mode": "cool-in-dryer"}),
    ("cooling", "what-is-left-metric", {}),
    ("storage_life", "wet-corn-with-a-past-us", {}),
    ("storage_life", "outdoor-air-by-the-hour-metric", {}),
]


@pytest.mark.parametrize("operation, name, changes", CASES)
def test_every_sentence_speaks_the_callers_units(client, operation, name, changes):
    body = example(operation, name) | changes
    for sentence in spoken(ask(client, operation, body)):
        assert not FOREIGN[body["units"]].search(sentence), sentence


def test_a_dryer_without_holding_holds_nothing_and_counts_its_hours_from_the_first_grain(client):
    body = example("season_plan", "us-harvest")
    none, some = (
        ask(client, "season_plan", body | {"wet_holding": size, "alternatives": False})
        for size in (0, 10_000)
    )
    assert none["peak_holding"] == 0.0
    assert {week["peak_holding"] for week in none["weeks"]} == {0.0}
    hours = re.compile(r"of the ([\d,]+) hours")
    open_hours = [
        float(hours.search(answer["notes"][0])[1].replace(",", "")) for answer in (none, some)
    ]
    assert open_hours[0] < 500.0  # the plan allows 1,300 hours; harvest begins a week into it
    assert open_hours[0] > open_hours[1]


def test_a_change_that_leaves_most_of_the_waiting_is_not_praised(client):
    body = example("season_plan", "us-harvest")
    body["known_rate"]["rate"] = 80
    decision = ask(client, "season_plan", body)["decision"]
    assert "one change is not enough" in decision
    assert "would spoil" in decision
    assert "cuts the waiting" not in decision


def test_a_change_that_only_ends_sooner_does_not_claim_less_waiting(client):
    body = example("season_plan", "metric-lots") | {"wet_holding": 0}
    body["lots"] = {"elapsed": [600], "weight": [24], "moisture": [19]}
    decision = ask(client, "season_plan", body)["decision"]
    assert "wait at the pit for 1 lot-hour in all" in decision
    assert "waiting" not in decision


def test_grain_that_needs_no_drying_is_told_so(client):
    body = example("season_plan", "metric-lots") | {"final_moisture": 20}
    answer = ask(client, "season_plan", body)
    assert answer["heat"] == 0.0
    assert any(note.startswith("Every lot comes in no wetter") for note in answer["notes"])


def test_frost_is_spoken_of_only_where_grain_is_dried_in_it(client):
    body = example("season_plan", "us-harvest") | {"alternatives": False}
    mild = ask(client, "season_plan", body)  # dry before November
    cold = copy.deepcopy(body)
    cold["harvest"]["start"] = "2026-11-01T00:00:00-05:00"
    late = ask(client, "season_plan", cold)
    assert not any("freezing" in note for note in mild["notes"])
    frost = next(note for note in late["notes"] if "freezing" in note)
    assert "any ice" in frost  # grain this dry may hold none
    assert "may be slower" in frost


def test_plenums_that_cannot_dry_in_this_weather_are_refused_in_words(client):
    body = example("season_plan", "metric-lots") | {"final_moisture": 8}
    zones = body["dryer"]["zones"]
    zones[0]["plenum_temperature"] = zones[1]["plenum_temperature"] = 35
    fault = ask(client, "season_plan", body, status=422)["errors"][0]
    assert fault["pointer"] == "/dryer"
    assert "dampest hour" in fault["detail"]
    body["final_moisture"] = 14.5
    assert ask(client, "season_plan", body)["dried"] > 0.0


@pytest.mark.parametrize(
    "operation, run", [("season_plan", "known_rate"), ("weather_outlook", "run")]
)
def test_air_as_warm_as_a_plenum_is_refused_at_the_plenum_in_the_callers_unit(
    client, operation, run
):
    body = example(operation, {"season_plan": "us-harvest"}.get(operation, "us-cold-front"))
    body[run] = body[run] | {"plenum_temperature": 60, "ambient_temperature": 40}
    fault = ask(client, operation, body, status=422)["errors"][0]
    assert fault["pointer"] == f"/{run}/plenum_temperature"
    assert "60 degF" in fault["detail"]


def test_a_move_in_the_first_hour_is_to_be_made_now(client):
    body = example("weather_outlook", "us-cold-front")
    hours = len(body["forecast"]["temperature"])
    body["forecast"]["temperature"] = [60.0] + [20.0] * (hours - 1)
    answer = ask(client, "weather_outlook", body)
    assert answer["moves"][0]["what"].startswith("Now lower")


def test_grain_too_cool_to_lose_moisture_is_said_to_stay(client):
    body = example("cooling", "what-is-left-metric") | {"hot_temperature": 12}
    body |= {"ambient_temperature": 12}
    del body["final_temperature"]
    decision = ask(client, "cooling", body)["decision"]
    assert decision.startswith("The grain stays at 15.0 %")
    assert "losing" not in decision
    barely = ask(client, "cooling", body | {"hot_temperature": 12.8})["decision"]
    assert "hardly warmer" in barely
    hot = ask(client, "cooling", body | {"hot_temperature": 60, "efficiency": 0})["decision"]
    assert "by your share of 0 % of the heat cooling takes next to nothing" in hot


def test_no_published_share_is_claimed_for_cooling_in_the_dryer(client):
    body = example("cooling", "aim-for-the-discharge-us") | {"mode": "cool-in-dryer"}
    sentences = " ".join(spoken(ask(client, "cooling", body)))
    assert "by the share for prompt cooling in a bin" in sentences
    assert "published share of the heat" not in sentences


@pytest.mark.parametrize(
    "grain, moisture, said, unsaid",
    [
        ("wheat-hard-red-winter", 17, "one source that speaks for it", "Sources differ"),
        ("rough-rice-long", 18, "Nobody published", "Sources differ"),
        ("soybean", 16, "most cautious source", "Only one source"),
    ],
)
def test_storage_life_counts_its_sources(client, grain, moisture, said, unsaid):
    body = {"units": "us", "grain": grain, "temperature": 60, "moisture": moisture}
    answer = ask(client, "storage_life", body)
    sentences = " ".join(spoken(answer))
    assert said in sentences
    assert unsaid not in sentences
    assert " more " not in answer["decision"]
