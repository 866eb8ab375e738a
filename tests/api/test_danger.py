"""Danger over HTTP: what trend, gain and setpoint advice say alike of one dryer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pytest

MINUTES = [5.0 * k for k in range(25)]


def ask(client, path: str, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(f"/v1/{path}", json={"units": "us"} | body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def three_answers(
    client, temperatures: Sequence[float | None], setpoint: float, rates: list[float]
) -> list[dict[str, Any]]:
    """Of trend, gain advice and setpoint advice, for one column and one log of the discharge."""
    series = {"elapsed": MINUTES, "temperatures": list(temperatures)}
    log = {"elapsed": [0.0, 60.0], "rates": rates}
    trace = series | {"setpoint": setpoint, "output": log}
    advice = {
        "grain": "corn-yellow-dent",
        "setpoint": setpoint,
        "target": 15.0,
        "transit": 2.0,
        "column": series,
        "discharge": {"elapsed": [], "moistures": []},
        "rates": log,
    }
    return [
        ask(client, "trend", {"column": trace}),
        ask(client, "gain-advice", {"traces": [trace]}),
        ask(client, "setpoint-advice", advice),
    ]


@pytest.mark.parametrize("end", [[181.0, 182.0, 184.0], [180.0, 180.0, 186.0]])
def test_one_climb_over_a_still_discharge_is_told_in_the_same_words(client, end):
    answers = three_answers(client, [180.0] * 22 + end, 180.0, [800.0, 0.0])
    (decision,) = {answer["decision"] for answer in answers}
    assert decision.startswith("FIRE CAUTION: the column temperature has climbed")
    assert "Shut off the burner and keep people clear now" in decision
    assert {answer["look_at_elapsed"] for answer in answers} == {MINUTES[-1] + 5.0}
    assert len({tuple(answer["notes"][:2]) for answer in answers}) == 1


def test_a_column_that_is_heated_up_is_looked_at_again_at_one_time(client):
    warming = [60.0 + 0.2 * minute for minute in MINUTES]
    answers = three_answers(client, warming, 180.0, [800.0, 800.0])
    assert all("as after a start" in answer["decision"] for answer in answers)
    assert {answer["look_at_elapsed"] for answer in answers} == {MINUTES[-1] + 15.0}


def test_a_column_that_nearly_has_heated_up_is_not_held_by_the_output_of_its_start(client):
    arriving = [60.0 + minute for minute in MINUTES]
    trend, gain, _ = three_answers(client, arriving, 180.0, [800.0, 800.0])
    assert "drifts up at 60.00 degF/h" in trend["decision"]
    assert (gain["reason"], gain["multiplier"]) == ("wait", 1.0)
    assert any("as after a start" in note for note in gain["notes"])


def test_hot_grain_known_to_stand_is_not_told_of_a_discharge_that_runs(client):
    for answer in three_answers(client, [300.0] * 25, 180.0, [800.0, 0.0]):
        assert "Shut off the burner and keep people clear now" in answer["decision"]
        assert "grain moves" not in answer["decision"]
        assert not any("running discharge" in note for note in answer["notes"])


@pytest.mark.parametrize(("above", "asked"), [(22.0, True), (40.0, False)])
def test_only_a_distance_that_a_lowered_setpoint_may_explain_asks_for_it(client, above, asked):
    answers = three_answers(client, [160.0 + above] * 25, 160.0, [800.0, 800.0])
    for answer, field in zip(answers, ("setpoints", "setpoints", "last_move"), strict=True):
        assert answer["decision"].startswith("FIRE CAUTION")
        assert any(f"`{field}`" in note for note in answer["notes"]) == asked


def test_a_trace_that_tells_every_setpoint_is_not_asked_for_it(client):
    trace = {"elapsed": MINUTES, "temperatures": [182.0] * 25, "setpoints": [160.0] * 25}
    for path, body in (("trend", {"column": trace}), ("gain-advice", {"traces": [trace]})):
        notes = ask(client, path, body)["notes"]
        assert not any("lowered" in note for note in notes)


@pytest.mark.parametrize("hot", [480.0, 800.0, 1112.0])
def test_a_sensor_stuck_hot_is_a_fire_first_and_to_be_checked_after_that(client, hot):
    for answer in three_answers(client, [hot] * 25, 180.0, [800.0, 800.0]):
        assert answer["decision"].startswith("FIRE CAUTION")
        assert answer["cautions"][0]["code"] == "fire-column"
        assert "sensor" not in answer["decision"]
        (remark,) = (note for note in answer["notes"] if "not moved at all" in note)
        assert "for 120 minutes" in remark
        assert "look at the dryer first, and check the sensor only after that" in remark


@pytest.mark.parametrize("reading", [200_000.0, -200_000.0])
@pytest.mark.parametrize("path", ["trend", "gain-advice", "setpoint-advice"])
def test_a_refused_reading_says_what_it_may_mean_and_a_cold_one_is_no_fire(client, path, reading):
    series = {"elapsed": MINUTES, "temperatures": [180.0] * 24 + [reading]}
    trace = series | {"setpoint": 180.0}
    calm = {"elapsed": [0.0, 5.0], "temperatures": [180.0, 180.0]}
    body = {
        "trend": {"column": trace},
        "gain-advice": {"present_gain": 0.0, "traces": [trace]},
        "setpoint-advice": {
            "grain": "corn-yellow-dent", "setpoint": 900.0, "target": 15.0, "transit": 2.0,
            "column": calm, "exhaust": series, "discharge": {"elapsed": [], "moistures": []},
        },
    }[path]  # fmt: skip
    answer = client.post(f"/v1/{path}", json={"units": "us"} | body)
    assert answer.status_code == 422
    hot = "; a broken sensor, or a fire: look at the dryer"
    cold = "; a broken sensor or wire: look at the sensor"
    said = [fault["detail"] for fault in answer.json()["errors"]]
    assert any(detail.endswith(hot) for detail in said) is (reading > 0.0)
    assert any(detail.endswith(cold) for detail in said) is (reading < 0.0)
    assert (hot in answer.json()["detail"]) is (reading > 0.0)


def test_a_climb_counts_where_only_the_rate_says_that_the_discharge_stands(client):
    trace = {"elapsed": MINUTES, "temperatures": [180.0] * 22 + [181.0, 182.0, 184.0]}
    body = {"traces": [trace | {"setpoint": 180.0}], "discharge_rate": 0.0}
    assert ask(client, "gain-advice", body)["decision"].startswith("FIRE CAUTION: the column")


def test_a_column_that_falls_away_is_told_alike_before_anything_is_steered_by_it(client):
    answers = three_answers(client, [180.0, 180.2] * 11 + [180.0, 32.0, 32.0], 180.0, [800.0] * 2)
    (decision,) = {answer["decision"] for answer in answers}
    assert decision.startswith("The column temperature reads 148 degF below the level before")
    assert "check burner, flame and sensor now" in decision
    assert {answer["look_at_elapsed"] for answer in answers} == {MINUTES[-1] + 5.0}
    assert answers[1]["multiplier"] == 1.0
    assert (answers[2]["advice"], answers[2]["setpoint"]) == ("wait", 180.0)
    for answer in answers:
        assert answer["cautions"][0]["code"] == "fire-column"
        assert "gas-fuel" in {one["code"] for one in answer["cautions"]}


def test_a_column_that_stays_far_below_is_told_alike_wherever_it_stood_before(client):
    answers = three_answers(client, [120.0, 120.2] * 12 + [120.4], 180.0, [800.0] * 2)
    for answer in answers:
        assert answer["decision"].startswith("The column temperature stands 60 degF below its set")
        assert "check burner, flame and sensor now" in answer["decision"]
        assert answer["look_at_elapsed"] == MINUTES[-1] + 5.0
        assert answer["cautions"][0]["code"] == "fire-column"
    assert answers[1]["multiplier"] == 1.0
    assert (answers[2]["advice"], answers[2]["reasons"]) == ("wait", ["far-below"])


def test_one_low_reading_alone_is_a_doubt_first_among_the_notes(client):
    for answer in three_answers(client, [180.0, 180.2] * 12 + [32.0], 180.0, [800.0] * 2):
        assert "in the last reading alone" in answer["notes"][0]


def test_fire_is_told_before_a_reading_that_fell_away(client):
    for answer in three_answers(client, [180.0] * 23 + [260.0, 32.0], 180.0, [800.0] * 2):
        assert answer["decision"].startswith("FIRE CAUTION")


def test_an_exhaust_that_falls_away_moves_no_setpoint(client):
    body = {
        "setpoint": 98.0,
        "target": 15.0,
        "transit": 2.0,
        "column": {"elapsed": MINUTES, "temperatures": [98.0, 98.2] * 12 + [98.0]},
        "exhaust": {"elapsed": MINUTES, "temperatures": [110.0 - 2.5 * k for k in range(25)]},
        "discharge": {"elapsed": [80.0, 100.0, 120.0], "moistures": [16.4, 16.2, 16.5]},
        "discharge_rate": 800.0,
    }
    answer = ask(client, "setpoint-advice", body)
    assert answer["decision"].startswith("The exhaust temperature reads")
    assert (answer["advice"], answer["reasons"]) == ("wait", ["collapsed"])
    steady = body["exhaust"] | {"temperatures": [110.0] * 25}
    assert ask(client, "setpoint-advice", body | {"exhaust": steady})["advice"] == "move"
    long_ago = body["exhaust"] | {"elapsed": [minute - 61.0 for minute in MINUTES]}
    assert ask(client, "setpoint-advice", body | {"exhaust": long_ago})["advice"] == "move"


def test_a_swing_as_wide_as_a_fall_is_named_beside_it(client):
    wide = [180.0 + 26.0 * math.sin(2 * math.pi * (m + 20.0) / 80.0) for m in MINUTES]
    answer = three_answers(client, wide, 180.0, [800.0] * 2)[0]
    assert answer["decision"].startswith("The column temperature reads")
    assert "keeps swinging" in answer["decision"]


def unread(temperature: float | None, upto: int) -> dict[str, Any]:
    """Ten hours of a column by the five minutes, told from entry `upto` on as the first value."""
    minutes = [5.0 * k for k in range(120)]
    shown = [98.0 + 0.4 * math.sin(m / 13.0) for m in minutes[:upto]]
    return {"elapsed": minutes, "temperatures": shown + [temperature] * (120 - upto)}


def of_unread(client, series: dict[str, Any]) -> list[dict[str, Any]]:
    trace = series | {"setpoint": 98.0}
    readings = {"elapsed": [240.0, 330.0, 420.0, 510.0, 590.0], "moistures": [16.5] * 5}
    advice = {"setpoint": 98.0, "target": 15.0, "transit": 2.0, "discharge_rate": 800.0}
    return [
        ask(client, "trend", {"column": trace}),
        ask(client, "gain-advice", {"traces": [trace]}),
        ask(client, "setpoint-advice", advice | {"column": series, "discharge": readings}),
    ]


def test_a_column_that_is_read_no_more_asks_for_its_sensor_and_nothing_is_moved(client):
    answers = of_unread(client, unread(None, 84))
    (decision,) = {answer["decision"] for answer in answers}
    assert decision.startswith("The column temperature has not been read since minute 415: check")
    assert "not watched for fire" in decision
    assert {answer["look_at_elapsed"] for answer in answers} == {600.0}
    trend, gain, setpoint = answers
    assert trend["verdict"] == gain["trend"]["verdict"] == "sensor-fault"
    assert (gain["reason"], gain["multiplier"]) == ("column-not-read", 1.0)
    assert (setpoint["advice"], setpoint["step"]) == ("wait", 0.0)
    assert setpoint["reasons"] == ["column-not-read"]


def test_a_column_read_a_little_before_the_other_readings_is_judged_as_ever(client):
    answers = of_unread(client, unread(None, 115))
    assert not any("not been read" in answer["decision"] for answer in answers)


def test_a_column_that_is_not_read_while_the_discharge_stands_is_told_with_the_stop(client):
    silent = [180.0] * 12 + [None] * 13
    for answer in three_answers(client, silent, 180.0, [800.0, 0.0]):
        assert "discharge stands still" in answer["decision"]
        assert "has not been read since minute 55" in answer["decision"]
        assert "level" not in answer["decision"]


def test_fire_in_the_last_readings_of_a_silent_column_comes_first(client):
    series = unread(None, 84)
    series["temperatures"][80:84] = [110.0, 118.0, 126.0, 134.0]
    for answer in of_unread(client, series):
        assert answer["decision"].startswith("FIRE CAUTION")
        assert any("has not been read since minute 415" in note for note in answer["notes"])


def test_an_exhaust_that_fell_after_a_cut_asks_from_what_the_setpoint_was_lowered(client):
    minutes = [5.0 * k for k in range(52)]
    follows = [max(0.0, 1.0 - max(0.0, m - 180.0) / 40.0) for m in minutes]
    body = {
        "setpoint": 85.0,
        "target": 15.0,
        "transit": 2.0,
        "column": {"elapsed": minutes, "temperatures": [85.0 + 15.0 * f for f in follows]},
        "exhaust": {"elapsed": minutes, "temperatures": [75.0 + 20.0 * f for f in follows]},
        "discharge": {"elapsed": [120.0, 250.0], "moistures": [15.0, 15.0]},
        "last_move_elapsed": 180.0,
    }
    fallen = ask(client, "setpoint-advice", body)
    assert fallen["reasons"] == ["collapsed"]
    assert any("`earlier_setpoint`" in note for note in fallen["notes"])
    told = ask(client, "setpoint-advice", body | {"earlier_setpoint": 100.0})
    assert "collapsed" not in told["reasons"]
    # neither a fall of its own nor a move of long ago is explained by it
    for other in ({"earlier_setpoint": 86.0}, {"last_move_elapsed": 60.0}):
        answer = ask(client, "setpoint-advice", body | other)
        assert answer["reasons"] == ["collapsed"]
        assert not any("`earlier_setpoint`" in note for note in answer["notes"])


def test_a_trickle_is_a_stop_to_all_who_are_told_of_it(client):
    rates = [800.0] * 10 + [8.0] * 15
    log = {"elapsed": MINUTES, "rates": rates}
    series = {"elapsed": MINUTES, "temperatures": [180.0] * 22 + [181.0, 182.0, 184.0]}
    trace = series | {"setpoint": 180.0, "output": log}
    body = {"setpoint": 180.0, "target": 15.0, "transit": 2.0, "column": series, "rates": log}
    nothing = {"discharge": {"elapsed": [], "moistures": []}}
    for path, asked in (
        ("trend", {"column": trace}),
        ("gain-advice", {"traces": [trace]}),
        ("setpoint-advice", body | nothing),
    ):
        decision = ask(client, path, asked)["decision"]
        assert "has climbed 2.0 degF while the discharge stands still" in decision
    settling = ask(client, "settling", {"log": log, "held": 1500.0})
    assert settling["decision"].startswith("The discharge stands still since minute 50")


def test_an_exhaust_that_climbs_while_grain_moves_is_told_below_its_limit(client):
    def answer(by: float) -> dict[str, Any]:
        minutes = list(range(0, 241, 5))
        exhaust = [95.0 + by * max(0.0, (m - 215) / 25) for m in minutes]
        body = {
            "units": "us",
            "target": 15.5,
            "setpoint": 98,
            "column": {"elapsed": minutes, "temperatures": [98 + m % 3 * 0.2 for m in minutes]},
            "exhaust": {"elapsed": minutes, "temperatures": exhaust},
            "discharge": {"elapsed": [], "moistures": []},
            "discharge_rate": 800,
            "transit": 2,
        }
        response = client.post("/v1/setpoint-advice", json=body)
        assert response.status_code == 200, response.text
        return response.json()

    assert answer(9)["advice"] == "wait"
    steep = answer(25)
    assert steep["advice"] == "fire-caution"
    assert (
        "the exhaust temperature has climbed within about half an hour to 115 degF"
        in (steep["decision"])
    )
    assert steep["cautions"][0]["code"] == "fire-column"
    assert any("No published source" in note for note in steep["notes"])
    assert "steering.fire.steep-exhaust" in {used["id"] for used in steep["methods"]}
