"""Settling over HTTP: both unit systems, both forms of log, words and refusals."""

from __future__ import annotations

import math
from typing import Any

import pytest

PATH = "/v1/settling"
BUSHEL_T = 0.0254011727  # t; 56 lb, the legal bushel of shelled corn


def us_request(**changes: Any) -> dict[str, Any]:
    body: dict[str, Any] = {
        "units": "us",
        "log": {"elapsed": [0, 240], "rates": [800, 900]},
        "held": 1800,
        "now_elapsed": 300,
    }
    return body | changes


def ask(client, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(PATH, json=body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_half_the_hold_up_after_an_hour_is_not_settled(client):
    answer = ask(client, us_request())
    assert answer["settled"] is False
    assert answer["replaced"] == pytest.approx(50)
    assert answer["remaining"] == pytest.approx(900)
    assert answer["settled_at_elapsed"] == pytest.approx(360)
    assert answer["settled_in"] == pytest.approx(60)
    assert answer["old_path_share"] == pytest.approx(50)
    # 900 bu of the way at 800 bu/h took 67.5 min, the rest 60
    assert answer["old_time_share"] == pytest.approx(100 * 67.5 / 127.5)
    assert "minute 360" in answer["decision"]


@pytest.mark.parametrize("rate", [0.01, 1e-7])
def test_a_rate_too_low_for_any_dryer_brings_no_time_to_wait_for(client, rate):
    """A day of a year far off reads like one of this year, and some are in no calendar."""
    stamps = ["2025-10-14T06:00:00Z", "2025-10-14T10:00:00Z"]
    log = {"times": stamps, "rates": [0.1 * rate, rate]}
    answer = ask(client, {"units": "us", "log": log, "held": 1800, "now": "2025-10-14T11:00:00Z"})
    assert answer["settled"] is False
    assert "settled_at" not in answer
    assert answer["decision"].endswith("wait until the grain held has been replaced.")
    assert any("no transit of a dryer" in note for note in answer["notes"])


def test_both_unit_systems_agree(client):
    us = ask(client, us_request())
    metric = ask(
        client,
        us_request(
            units="metric",
            log={"elapsed": [0, 240], "rates": [800 * BUSHEL_T, 900 * BUSHEL_T]},
            held=1800 * BUSHEL_T,
        ),
    )
    assert metric["remaining"] == pytest.approx(us["remaining"] * BUSHEL_T)
    for name in ("replaced", "settled_at_elapsed", "old_time_share", "in_dryer"):
        assert metric[name] == pytest.approx(us[name]), name


def test_settings_need_points_and_give_the_same_answer_as_their_rates(client):
    log = {"elapsed": [0, 240], "settings": [40, 45]}
    points = [{"setting": 20, "rate": 400}, {"setting": 50, "rate": 1000}]
    assert ask(client, us_request(log=log, points=points))["replaced"] == pytest.approx(50)
    refused = client.post(PATH, json=us_request(log=log))
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/points"


def test_points_that_fall_are_named_in_the_callers_unit(client):
    log = {"elapsed": [0, 240], "settings": [20, 25]}
    points = [{"setting": 20, "rate": 800}, {"setting": 30, "rate": 120}]
    refused = client.post(PATH, json=us_request(log=log, points=points))
    assert refused.status_code == 422
    assert "800 bu/h at setting 20, but 120 bu/h at setting 30" in refused.json()["detail"]


def test_settled_says_since_when(client):
    stamps = ["2025-10-14T06:00:00-05:00", "2025-10-14T10:00:00-05:00"]
    answer = ask(
        client,
        {
            "units": "us",
            "log": {"times": stamps, "rates": [800, 900]},
            "held": 1800,
            "now": "2025-10-14T13:00:00-05:00",
        },
    )
    assert answer["settled"] is True
    assert answer["settled_at"] == "2025-10-14T12:00:00-05:00"
    assert "since 12:00" in answer["decision"]


def test_a_rate_that_ripples_is_told_what_would_not_show(client):
    minutes = list(range(0, 601, 10))
    rates = [round(800 * (1 + 0.08 * math.sin(m / 9.0)), 1) for m in minutes]
    log = {"elapsed": minutes, "rates": rates}
    answer = ask(client, us_request(log=log, held=1650, now_elapsed=600))
    assert answer["settled"] is True
    (note,) = (note for note in answer["notes"] if "control loop" in note)
    assert "`same_rate`" in note
    assert "`changed`" in note


def test_a_stop_brings_the_fire_caution_and_no_time(client):
    answer = ask(client, us_request(log={"elapsed": [0, 240, 250], "rates": [800, 900, 0]}))
    assert answer["settled"] is False
    assert "settled_at_elapsed" not in answer
    assert answer["cautions"][0]["code"] == "fire-column"


def test_a_log_that_ends_with_a_stop_says_since_when_the_grain_stands(client):
    answer = ask(client, us_request(log={"elapsed": [0, 240], "rates": [900, 0]}, held=900))
    assert answer["settled"] is False
    assert answer["stopped_at_elapsed"] == pytest.approx(240)
    assert answer["decision"].startswith("The discharge stands still since minute 240")
    assert "has settled:" not in answer["decision"]
    assert [one["code"] for one in answer["cautions"]][:2] == ["fire-column", "hot-surfaces"]


@pytest.mark.parametrize(
    "log", [{"elapsed": [0, 240], "rates": [0, 0]}, {"elapsed": [0], "settings": [0]}]
)
def test_a_log_that_stood_still_throughout_is_answered_with_the_fire_caution(client, log):
    answer = ask(client, us_request(log=log, points=[{"setting": 20, "rate": 400}]))
    assert answer["settled"] is False
    assert answer["decision"].startswith("No grain is leaving")
    assert "no transit passes until it starts again" in answer["decision"]
    assert "watch column and exhaust temperature" in answer["decision"]
    assert "remaining" not in answer
    assert "in_dryer" not in answer
    assert [one["code"] for one in answer["cautions"]][:2] == ["fire-column", "hot-surfaces"]


def test_grain_that_stood_hot_is_told_when_it_has_passed(client):
    log = {"elapsed": [0, 200, 240], "rates": [900, 0, 900]}
    answer = ask(client, us_request(log=log))
    assert answer["settled"] is True
    assert "stood still for 40 minutes until minute 240" in answer["decision"]
    # 1800 bu held at 900 bu/h
    assert "judge moisture from minute 360" in answer["decision"]
    running = ask(client, us_request(log=log | {"rates": [800, 0, 900]}))
    assert running["settled"] is False
    assert running["notes"][0].startswith("The discharge stood still for 40 minutes")
    assert "stood" not in ask(client, us_request(log=log, now_elapsed=400))["decision"]
    short = {"elapsed": [0, 235, 240], "rates": [900, 0, 900]}
    assert "stood" not in ask(client, us_request(log=short))["decision"]


def test_a_short_log_without_a_change_cannot_tell(client):
    answer = ask(client, us_request(log={"elapsed": [240], "rates": [900]}))
    assert "settled" not in answer
    assert "too short" in answer["decision"]


def test_a_first_fill_is_told_when_moisture_may_be_judged(client):
    answer = ask(client, us_request(log={"elapsed": [180, 240], "rates": [0, 900]}))
    assert "settled" not in answer
    assert (
        f"judge moisture from minute {math.ceil(answer['judge_from_elapsed'])}"
        in (answer["decision"])
    )


def test_a_wait_by_hand_does_not_speak_against_setpoint_advice(client):
    log = {"elapsed": [0, 240], "rates": [900, 600]}
    answer = ask(client, us_request(log=log))
    assert answer["settled"] is False
    assert any("setpoint advice" in note for note in answer["notes"])


@pytest.mark.parametrize("asked", [{}, {"now_elapsed": 300}])
def test_a_change_after_the_time_of_asking_is_refused_where_it_was_sent(client, asked):
    body = {name: value for name, value in us_request().items() if name != "now_elapsed"}
    refused = client.post(PATH, json=body | asked | {"changed_elapsed": 350})
    assert refused.status_code == 422
    assert [one["pointer"] for one in refused.json()["errors"]] == ["/changed_elapsed"]


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"log": {"elapsed": [0, 240], "rates": [800]}}, "do not fit"),
        ({"log": {"elapsed": [240, 0], "rates": [800, 900]}}, "ascend"),
        ({"log": {"elapsed": [0]}}, "either"),
        ({"log": {"elapsed": [], "rates": []}}, "one rate for every time"),
        ({"now_elapsed": -5}, "before"),
        ({"changed": "2025-10-14T10:00:00Z"}, "one form"),
        ({"held": 0}, "outside"),
    ],
)
def test_what_cannot_be_is_refused_in_words(client, changes, word):
    answer = client.post(PATH, json=us_request(**changes))
    assert answer.status_code == 422
    assert word in answer.text


def test_it_has_settled_when_asked_at_the_time_it_told(client):
    log = {"elapsed": [0, 133.37], "rates": [800, 719.3]}
    for held in (1600, 2345.7, 1999.9):
        first = ask(client, us_request(log=log, held=held, now_elapsed=140))
        again = us_request(log=log, held=held, now_elapsed=first["settled_at_elapsed"])
        assert ask(client, again)["settled"] is True
    # 10:00 and 2 h 17 min 8.6 s at 700 bu/h
    log = {"times": [f"2025-10-14T{hour}:00:00-05:00" for hour in ("06", "10")]}
    asked = {"units": "us", "held": 1600, "log": log | {"rates": [800, 700]}}
    at = ask(client, asked | {"now": "2025-10-14T12:17:00-05:00"})
    assert at["settled_at"] == "2025-10-14T12:17:09-05:00"
    assert "wait until 12:18" in at["decision"]


def test_decision_and_notes_name_one_time_where_a_stop_followed_a_change(client):
    # a change at 240, a stop from 300 to 330; what stood then leaves after what the change asks for
    log = {"elapsed": [0, 240, 300, 330], "rates": [700, 800, 0, 800]}
    answer = ask(client, us_request(log=log, held=1600, now_elapsed=340))
    assert answer["settled_at_elapsed"] == pytest.approx(390)
    assert answer["judge_from_elapsed"] == pytest.approx(450)
    assert "wait until minute 450" in answer["decision"]
    assert any("judge moisture from minute 450" in note for note in answer["notes"])
    later = ask(client, us_request(log=log, held=1600, now_elapsed=400))
    assert later["settled"] is True
    assert later["judge_from_elapsed"] == pytest.approx(450)
    assert "judge_from_elapsed" not in ask(client, us_request(log=log, held=1600, now_elapsed=451))


def test_a_change_before_the_log_begins_is_said_to_rest_on_its_first_rate(client):
    log = {"elapsed": [60], "rates": [800]}
    asked = us_request(log=log, held=1600, changed_elapsed=0, now_elapsed=120)
    assert any("taken to have held since" in note for note in ask(client, asked)["notes"])
    inside = ask(client, asked | {"changed_elapsed": 60})
    assert not any("taken to have held since" in note for note in inside["notes"])


@pytest.mark.parametrize(("now", "told"), [(359, False), (361, True)])
def test_a_verdict_that_rests_on_what_nobody_logged_says_so(client, now, told):
    notes = ask(client, us_request(now_elapsed=now))["notes"]
    assert any("Nothing was logged since minute 240" in note for note in notes) is told


@pytest.mark.parametrize(
    "held, said", [(1800, None), (18, "within 1 minute"), (39_000, "within 43.3 hours")]
)
def test_a_transit_that_no_dryer_has_asks_for_the_units(client, held, said):
    notes = " ".join(ask(client, us_request(held=held))["notes"])
    assert ("`held` is in bu and the rate in bu/h" in notes) is (said is not None)
    assert said is None or said in notes


@pytest.mark.parametrize("every, told", [(5, True), (150, False)])
def test_a_discharge_that_works_by_strokes_is_asked_for_its_mean(client, every, told):
    minutes = list(range(300))
    log = {"elapsed": minutes, "rates": [0 if minute % every else 2500 for minute in minutes]}
    answer = ask(client, us_request(log=log))
    assert answer["decision"].startswith("The discharge stands still")
    assert any("works by strokes" in note for note in answer["notes"]) is told


def test_what_is_settled_to_the_minute_leaves_no_crumbs(client):
    points = [{"setting": 30, "rate": 400}, {"setting": 60, "rate": 800}]
    log = {"elapsed": [0, 100], "settings": [40, 90]}
    answer = ask(client, us_request(log=log, points=points, held=1000, now_elapsed=150))
    assert answer["settled"] is True
    assert [answer[name] for name in ("remaining", "old_time_share", "old_path_share")] == [0, 0, 0]
