"""Readings of setpoint advice over HTTP: doubted, contradicting each other, or old."""

from __future__ import annotations

import math
from typing import Any

import pytest

from setpoint_requests import MINUTES, PATH, ask, column, us_request


def test_a_reading_learned_from_before_is_not_said_to_be_unused(client):
    def unused(body: dict[str, Any]) -> list[str]:
        return [n for n in ask(client, body)["notes"] if "were not used" in n]

    whole = us_request(15.5)
    late = {"elapsed": MINUTES[30:], "temperatures": column(98.0)[30:]}
    later = us_request(15.5, column=late)  # of it the record no longer holds the first readings
    assert len(unused(later)) == 1
    assert unused(later | {"belief": ask(client, whole)["belief"]}) == []


@pytest.mark.parametrize(
    "readings", [[14.2, 16.9], [14.0, 17.2, 14.3, 17.0, 14.1], [15.5, 18.2, 15.4, 18.1, 15.5]]
)
def test_readings_that_contradict_each_other_move_nothing(client, readings):
    times = [120, 150, 185, 220, 250][-len(readings) :]
    answer = ask(client, us_request(discharge={"elapsed": times, "moistures": readings}))
    assert (answer["advice"], answer["reasons"]) == ("wait", ["readings-disagree"])
    assert "contradict each other: take another sample" in answer["decision"]
    assert answer["chance"] < 0.65
    assert answer["look_in"] == 20


def test_a_last_reading_far_to_the_other_side_is_awaited_before_a_move(client):
    wet = [16.6, 16.7, 16.5, 16.6]
    for last, advice in ((13.9, "wait"), (19.6, "move")):
        readings = {"elapsed": [120, 150, 185, 220, 250], "moistures": [*wet, last]}
        answer = ask(client, us_request(discharge=readings))
        assert answer["matched"][-1]["doubted"]
        assert answer["advice"] == advice, last


def test_a_doubted_reading_on_the_same_side_holds_no_move_back(client):
    readings = {"elapsed": [150, 185, 220, 250], "moistures": [16.7, 19.6, 16.6, 16.7]}
    answer = ask(client, us_request(discharge=readings))
    assert [one["doubted"] for one in answer["matched"]] == [False, True, False, False]
    assert answer["advice"] == "move"


def test_nothing_is_moved_on_readings_of_long_ago(client):
    minutes = list(range(0, 721, 5))
    shown = [98 + 0.4 * math.sin(m / 13) for m in minutes]
    old = {"elapsed": [90, 120, 150], "moistures": [16.9, 17.0, 16.9]}
    body = us_request(column={"elapsed": minutes, "temperatures": shown}, discharge=old)
    answer = ask(client, body)
    assert (answer["advice"], answer["reasons"]) == ("wait", ["stale"])
    assert "take a fresh one" in answer["decision"]
    assert ask(client, us_request(16.9))["advice"] == "move"


def test_a_column_read_by_hand_every_hour_is_told_why_no_moisture_belongs_to_it(client):
    hourly = {"elapsed": MINUTES[::12], "temperatures": column(98.0)[::12]}
    answer = ask(client, us_request(15.5, column=hourly))
    assert answer["reasons"] == ["no-readings"]
    assert any("more than 30 minutes apart" in note for note in answer["notes"])


@pytest.mark.parametrize("series", ["discharge", "inlet"])
def test_moistures_sent_as_shares_move_no_setpoint(client, series):
    shares = {"elapsed": [120, 150], "moistures": [0.155, 0.156]}
    answer = client.post(PATH, json=us_request(15.5, **{series: shares}))
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == f"/{series}"
    assert "15.5 and not 0.155" in error["detail"]


def test_grain_that_comes_in_as_dry_as_it_is_to_leave_is_said_to_need_no_drying(client):
    told = [
        [note for note in answer["notes"] if "needs no drying" in note]
        for inlet in (15.0, 19.0)
        if (answer := ask(client, us_request(15.5, inlet={"elapsed": [0], "moistures": [inlet]})))
    ]
    assert [len(notes) for notes in told] == [1, 0]
    assert "about 15.0 %" in told[0][0]


def test_one_reading_far_from_the_target_asks_for_another_sample(client):
    body = us_request(15.5)
    last = body["discharge"]["elapsed"][-1]
    body["discharge"] = {"elapsed": [last], "moistures": [22.0]}
    answer = ask(client, body)
    assert (answer["advice"], answer["step"]) == ("wait", 0)
    assert answer["reasons"][0] == "single-reading"
    assert "another sample" in answer["decision"]
    body["discharge"] = {"elapsed": [last - 20, last], "moistures": [17.4, 17.4]}
    assert "single-reading" not in ask(client, body)["reasons"]


@pytest.mark.parametrize("where", [0, 2, 4])
def test_a_lone_reading_far_off_the_others_is_doubted_wherever_it_stands(client, where):
    readings = [15.5, 15.6, 15.5, 15.4, 15.5]
    readings[where] = 18.5
    body = us_request(discharge={"elapsed": [120, 150, 185, 220, 250], "moistures": readings})
    answer = ask(client, body)
    assert [one["doubted"] for one in answer["matched"]] == [k == where for k in range(5)]
    assert answer["expected_moisture"] == pytest.approx(15.5, abs=0.15)
    (note,) = (note for note in answer["notes"] if "doubted, not obeyed" in note)
    assert note.endswith("it will be believed.") is (where == 4)


@pytest.mark.parametrize("again", [[18.4], [18.5, 18.4]])  # with and without the doubted one
@pytest.mark.parametrize("agrees", [True, False])
def test_a_reading_that_agrees_with_the_doubted_one_is_believed(client, again, agrees):
    body = us_request(
        discharge={
            "elapsed": [120, 150, 185, 220, 240],
            "moistures": [15.5, 15.6, 15.5, 15.4, 18.5],
        }
    )
    first = ask(client, body)
    readings = again if agrees else [*again[:-1], 15.5]
    later = {"elapsed": [240, 252][-len(again) :], "moistures": readings}
    second = ask(client, body | {"belief": first["belief"], "discharge": later})
    assert [one["doubted"] for one in second["matched"]] == [False] * len(again)
    assert (second["expected_moisture"] > 16.5) is agrees


def test_readings_that_change_together_are_not_doubted(client):
    readings = [18.5, 18.4, 15.6, 15.5, 15.5]
    body = us_request(discharge={"elapsed": [120, 150, 185, 220, 250], "moistures": readings})
    answer = ask(client, body)
    assert answer["expected_moisture"] < 16.5


def test_readings_of_one_moment_count_one_by_one(client):
    once = us_request(discharge={"elapsed": [150, 250], "moistures": [16.2, 16.2]})
    twice = us_request(
        discharge={"elapsed": [150, 150, 250, 250], "moistures": [16.0, 16.4, 16.3, 16.1]},
        inlet={"elapsed": [0, 0, 0], "moistures": [21.5, 22.1, 21.9]},
    )
    single, double = ask(client, once), ask(client, twice)
    assert double["belief"]["readings"] == 4
    assert double["belief"]["at_elapsed"] == 250
    assert double["belief"]["level_sd"] < single["belief"]["level_sd"]
    assert [round(pair["at_elapsed"]) for pair in double["matched"]] == [150, 150, 250, 250]
    falling = us_request(discharge={"elapsed": [250, 150], "moistures": [16.2, 16.2]})
    assert client.post(PATH, json=falling).status_code == 422


@pytest.mark.parametrize(("last", "advice"), [(150, "wait"), (250, "move")])
def test_a_setpoint_is_not_moved_again_before_a_reading_since_the_last_move(client, last, advice):
    shown = [95.0 if m < 160 else 98.0 + 0.2 * math.sin(m) for m in MINUTES]
    answer = ask(
        client,
        us_request(
            column={"elapsed": MINUTES, "temperatures": shown},
            discharge={"elapsed": [100, 125, last], "moistures": [18.9, 18.8, 18.9]},
            last_move_elapsed=155,
            earlier_setpoint=95,
        ),
    )
    assert answer["advice"] == advice
    assert ("no-reading-since-move" in answer["reasons"]) == (advice == "wait")


def test_an_error_left_alone_for_a_vague_sensitivity_is_not_blamed_on_the_size_of_the_step(client):
    vague = ask(client, us_request(16.5, sensitivity=-0.03))
    assert vague["reasons"] == ["too-small-to-set"]
    (note,) = (note for note in vague["notes"] if "panel" in note)
    # a whole step of 1 degF would be set, and little is known of what it does
    assert "smaller than" not in note
