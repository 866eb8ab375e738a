"""Trend over HTTP: both unit systems, words, both forms of time, refusals."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from outfeed.steering.trend import judge_trend
from outfeed_api.pictures import canvas
from outfeed_api.routes import trend_words

PATH = "/v1/trend"
MINUTES = np.arange(0.0, 180.0, 2.0)
NOISE = np.random.default_rng(8).normal(0.0, 0.15, MINUTES.size)
LEVEL = 82.0 + NOISE
SWING = 82.0 + 2.0 * np.sin(2 * np.pi * MINUTES / 45.0) + NOISE


def metric(values: np.ndarray, **changes: Any) -> dict[str, Any]:
    column = {
        "elapsed": MINUTES.tolist(),
        "temperatures": [round(float(v), 2) for v in values],
        "setpoint": 82.0,
    }
    return {"units": "metric", "column": column | changes}


def ask(client, body: dict[str, Any], path: str = PATH) -> dict[str, Any]:
    answer = client.post(path, json=body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def refused(client, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(PATH, json=body)
    assert answer.status_code == 422, answer.text
    return answer.json()


def test_the_longest_trace_is_stated_as_it_is_held_to(client):
    said = client.get("/openapi.json").json()["components"]["schemas"]["TrendRequest"]
    assert "at most seven days" in said["description"]
    days = np.linspace(0.0, 7 * 1440.0, MINUTES.size)
    assert ask(client, metric(LEVEL, elapsed=days.tolist()))
    longer = metric(LEVEL, elapsed=(days * 1.01).tolist())
    assert "7 d" in refused(client, longer)["detail"]


def test_a_level_column_may_be_judged(client):
    answer = ask(client, metric(LEVEL))
    assert answer["verdict"] == "level"
    assert answer["decision"].startswith("The temperature is level")
    assert "once a transit has passed" in answer["decision"]
    assert answer["slope_low"] <= answer["slope"] <= answer["slope_high"]
    assert answer["probabilities"][0]["verdict"] == "level"
    assert sum(one["probability"] for one in answer["probabilities"]) == pytest.approx(1.0)
    assert answer["look_at_elapsed"] == pytest.approx(MINUTES[-1] + 120.0)
    assert [one["input"] for one in answer["assumed"]] == ["sensitivity"]
    assert "Setpoint advice" in answer["assumed"][0]["why"]


def test_what_is_likeliest_level_but_not_surely_is_to_be_watched_on(client):
    # Rough readings, five minutes apart: a swing cannot be left out.
    rough = 82.0 + np.random.default_rng(15).normal(0.0, 0.5, 30)
    elapsed = (5.0 * np.arange(30)).tolist()
    answer = ask(client, metric(rough, elapsed=elapsed))
    assert answer["verdict"] == "too-short"
    assert answer["minutes_missing"] > 0.0
    assert any("Likeliest is 'level'" in note for note in answer["notes"])
    assert not any("is the right word" in note for note in answer["notes"])
    assert answer["decision"].startswith("Likeliest the trend is 'level'")
    assert "too short" not in answer["decision"].lower()
    assert [one["code"] for one in answer["remarks"]] == ["not-sure"]


def test_a_swing_is_named_with_its_period_and_the_controller_is_to_be_calmed(client):
    answer = ask(client, metric(SWING))
    assert answer["verdict"] == "cycling"
    assert answer["period"] == pytest.approx(45.0, rel=0.03)
    assert answer["half_swing"] == pytest.approx(2.0, rel=0.1)
    assert "Calm the controller" in answer["decision"]
    assert "change of the gain" in answer["notes"][-1]


def test_both_unit_systems_agree(client):
    si = ask(client, metric(SWING))
    body = metric(SWING)
    body["units"] = "us"
    body["column"]["temperatures"] = [v * 1.8 + 32.0 for v in body["column"]["temperatures"]]
    body["column"]["setpoint"] = 82.0 * 1.8 + 32.0
    us = ask(client, body)
    assert us["verdict"] == si["verdict"]
    assert us["period"] == pytest.approx(si["period"], rel=1e-6)
    for name in ("slope", "offset", "half_swing", "noise"):
        assert us[name] == pytest.approx(1.8 * si[name], rel=1e-5, abs=1e-6), name
    assert "degF" in us["decision"]


def test_date_times_are_answered_in_kind(client):
    times = [f"2025-10-14T{8 + int(m) // 60:02d}:{int(m) % 60:02d}:00-05:00" for m in MINUTES]
    body = metric(LEVEL)
    del body["column"]["elapsed"]
    body["column"]["times"] = times
    answer = ask(client, body)
    assert answer["look_at"] == "2025-10-14T12:58:00-05:00"
    assert "12:58" in answer["decision"]


def test_null_is_no_reading(client):
    body = metric(LEVEL)
    body["column"]["temperatures"][10:14] = [None] * 4
    assert ask(client, body)["verdict"] == "level"


def test_a_less_sensitive_dryer_has_wider_limits(client):
    wide = ask(client, metric(LEVEL) | {"sensitivity": -0.25})
    assert wide["limits"]["offset"] == pytest.approx(2.0)
    assert wide["assumed"] == []


def test_an_output_at_its_limit_is_said(client):
    output = {"elapsed": [0, 60, 178], "settings": [20, 20, 20], "lowest": 20, "highest": 90}
    answer = ask(client, metric(LEVEL - 2.0, output=output))
    assert answer["verdict"] == "stuck"
    assert "output-at-limit" in [one["code"] for one in answer["remarks"]]


def test_only_what_follows_the_last_setpoint_is_judged(client):
    body = metric(np.where(MINUTES < 60, LEVEL - 4.0, LEVEL))
    del body["column"]["setpoint"]
    body["column"]["setpoints"] = np.where(MINUTES < 60, 78.0, 82.0).tolist()
    answer = ask(client, body)
    assert answer["verdict"] == "level"
    assert answer["window_from_elapsed"] >= 60.0


@pytest.mark.parametrize(
    "changes",
    [
        {"setpoints": [82.0] * MINUTES.size},
        {"temperatures": [82.0] * 5},
        {"output": {"elapsed": [0.0], "settings": [1.0], "rates": [1.0]}},
        {"output": {"elapsed": [0.0, 1.0], "settings": [1.0]}},
        {"output": {"elapsed": [0.0], "settings": [1.0], "lowest": 5, "highest": 2}},
    ],
)
def test_what_does_not_fit_together_is_refused(client, changes):
    problem = refused(client, metric(LEVEL, **changes))
    assert problem["errors"][0]["pointer"].startswith("/column")


@pytest.mark.parametrize("path", [PATH, "/v1/gain-advice"])
@pytest.mark.parametrize("count", [1, 3])
def test_too_few_readings_are_told_how_many_are_taken(client, path, count):
    short = metric(LEVEL, elapsed=MINUTES[:count].tolist(), temperatures=[82.0, 82.1, 82.0][:count])
    several = {"units": "metric", "traces": [short["column"]]}
    answer = client.post(path, json=short if path == PATH else several)
    most = client.get("/openapi.json").json()["components"]["schemas"]["ColumnTrace"]["properties"]
    said = f"readings {count} is outside 4 to {most['temperatures']['maxItems']}"
    assert answer.json()["detail"].endswith(said)


@pytest.mark.parametrize("media_type, begin", [("image/svg+xml", b"<"), ("image/png", b"\x89PNG")])
def test_the_trend_comes_as_a_picture_too(client, media_type, begin):
    answer = client.post(PATH, json=metric(SWING), headers={"accept": media_type})
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith(media_type)
    assert answer.content.startswith(begin)
    again = client.post(PATH, json=metric(SWING), headers={"accept": media_type})
    assert again.content == answer.content


@pytest.mark.parametrize("values", [SWING, LEVEL, 82.0 + 0.1 * MINUTES - 3.0, LEVEL + 3.0])
def test_the_picture_marks_as_many_crossings_as_the_answer_counts(client, values):
    body = metric(values)
    answer = ask(client, body)
    hours = (MINUTES[-1] - answer["window_from_elapsed"]) / 60.0
    drawn = client.post(PATH, json=body, headers={"accept": "image/svg+xml"}).text
    rings = [mark for mark in re.findall("<use[^>]*>", drawn) if canvas.PURPLE in mark]
    assert len(rings) == round(answer["crossings_per_two_hours"] * hours / 2.0)


FIRST_LOOK = "Check now that grain moves in every column"
SHUT_OFF = "Shut off the burner and keep people clear now"


def first_fire(answer: dict[str, Any], to_do: str = FIRST_LOOK) -> bool:
    codes = [one["code"] for one in answer["cautions"]]
    fire = answer["decision"].startswith("FIRE CAUTION") and to_do in answer["decision"]
    return fire and codes[0] == "fire-column" and "Leave the setpoint" not in answer["decision"]


@pytest.mark.parametrize(
    "values",
    [
        82.0 + 0.25 * MINUTES,
        82.0 + 0.15 * MINUTES,
        142.0 + NOISE,
        np.full(MINUTES.size, 150.0),
        np.where(MINUTES > 170.0, 420.0, LEVEL),
    ],
    ids=["past every limit", "climbing", "far above", "far above and frozen", "burning"],
)
def test_a_column_that_runs_away_is_a_matter_of_fire_first(client, values):
    answer = ask(client, metric(values))
    assert first_fire(answer)
    assert "level" not in answer["decision"]
    assert answer["look_at_elapsed"] == pytest.approx(MINUTES[-1] + 5.0)


@pytest.mark.parametrize("late", [[83.0], [82.9, 83.1], [82.9, 83.1, 83.0], [150.0, 151.0, 152.0]])
def test_a_log_that_goes_on_after_hours_is_answered_and_its_fire_named(client, late):
    elapsed = [*MINUTES.tolist(), *(MINUTES[-1] + 600.0 + 5.0 * k for k in range(len(late)))]
    answer = ask(client, metric(SWING, elapsed=elapsed, temperatures=[*SWING.tolist(), *late]))
    assert first_fire(answer) == (late[0] > 100.0)
    assert answer["verdict"] == "too-short"
    assert "long-gap" in [one["code"] for one in answer["remarks"]]


@pytest.mark.parametrize("values", [[110.0, 115.6, 121.1], [121.1]])
def test_readings_too_few_for_a_trend_are_enough_for_a_fire_caution(client, values):
    body = metric(np.array(values), elapsed=[5.0 * k for k in range(len(values))])
    answer = ask(client, body)
    assert first_fire(answer)
    assert answer["verdict"] == "too-short"
    assert "slope" not in answer
    assert any("No trend is judged" in note for note in answer["notes"])
    picture = client.post(PATH, json=body, headers={"Accept": "image/svg+xml"})
    assert picture.status_code == 200
    assert "not judged" in picture.text


def test_fire_is_named_in_a_record_too_long_for_a_trend(client):
    assert first_fire(ask(client, metric(LEVEL + 60.0, elapsed=(100.0 * MINUTES).tolist())))


def test_a_still_discharge_without_a_single_reading_is_refused(client):
    still = {"elapsed": [0.0, 120.0], "rates": [20.0, 0.0]}
    body = metric(LEVEL, output=still)
    body["column"]["temperatures"] = [None] * MINUTES.size
    assert "readings" in refused(client, body)["detail"]


def test_a_small_climb_is_one_of_fire_when_the_discharge_stands_still(client):
    still = {"elapsed": [0.0, 120.0], "rates": [20.0, 0.0]}
    climb = LEVEL + np.where(MINUTES > 120.0, (MINUTES - 120.0) / 15.0, 0.0)
    assert first_fire(ask(client, metric(climb, output=still)), SHUT_OFF)
    assert not first_fire(ask(client, metric(climb)))


def test_a_level_or_swinging_column_is_not(client):
    assert not any(first_fire(ask(client, metric(values))) for values in (LEVEL, SWING))


def test_one_value_alone_asks_for_a_look_at_the_sensor(client):
    body = metric(np.full(MINUTES.size, 82.0))
    answer = ask(client, body)
    assert answer["probabilities"][0]["probability"] < 0.9
    assert "check that it moves" in answer["decision"]
    assert "Moisture may be judged" not in answer["decision"]
    assert [one["code"] for one in answer["remarks"]] == ["one-value"]


@pytest.mark.parametrize("value", [0.0, 82.17])
def test_one_value_that_no_column_holds_is_a_fault_of_the_sensor(client, value):
    answer = ask(client, metric(np.full(MINUTES.size, value)))
    assert answer["verdict"] == "sensor-fault"
    assert "one and the same reading for 3.0 hours" in answer["decision"]


def test_a_level_column_over_a_still_discharge_is_not_to_be_judged(client):
    still = {"elapsed": [0.0, 120.0], "rates": [20.0, 0.0]}
    answer = ask(client, metric(LEVEL, output=still))
    assert answer["decision"].startswith("The discharge stands still")
    assert "Moisture may be judged" not in answer["decision"]
    assert answer["cautions"][0]["code"] == "fire-column"


def test_words_name_the_time_that_was_judged(client):
    short = metric(LEVEL)
    for name in ("elapsed", "temperatures"):
        short["column"][name] = short["column"][name][:12]
    long_note, short_note = (ask(client, one)["notes"][0] for one in (metric(LEVEL), short))
    assert long_note.startswith("Over the last two hours")
    assert short_note.startswith("Over the last ")
    assert "minutes the slope" in short_note


@pytest.mark.parametrize("last", [50.0, 52.0])
def test_a_flame_out_of_hours_ago_is_still_one_and_asks_for_a_look_soon(client, last):
    minutes = np.arange(0.0, 365.0, 5.0)
    quiet = 100.0 + np.random.default_rng(4).normal(0.0, 0.4, minutes.size)
    fallen = np.where(minutes < 200.0, quiet, np.interp(minutes, [200.0, 360.0], [50.0, last]))
    column = {"elapsed": minutes.tolist(), "temperatures": fallen.tolist(), "setpoint": 100.0}
    answer = ask(client, {"units": "us", "column": column})
    assert "check burner, flame and sensor" in answer["decision"]
    assert answer["look_at_elapsed"] == pytest.approx(365.0)
    assert "gas-fuel" in {one["code"] for one in answer["cautions"]}
    gain = client.post("/v1/gain-advice", json={"units": "us", "traces": [column]}).json()
    assert (gain["reason"], gain["multiplier"]) == ("far-below", 1.0)
    assert "check burner, flame and sensor" in gain["decision"]


@pytest.mark.parametrize("path", [PATH, "/v1/gain-advice"])
def test_a_column_that_is_heated_up_is_told_as_such_and_watched(client, path):
    warming = metric(82.0 - 60.0 * np.exp(-MINUTES / 180.0))
    body = warming if path == PATH else {"units": "metric", "traces": [warming["column"]]}
    answer = ask(client, body, path)
    assert answer["decision"].startswith("The column temperature stands 23 degC below its setpoint")
    assert "as after a start; at that pace it is there in about 2.8 hours" in answer["decision"]
    assert "stops climbing, check burner, flame and sensor" in answer["decision"]
    assert "lost flame reads like this" not in " ".join(answer["notes"])
    assert "gas-fuel" in {one["code"] for one in answer["cautions"]}
    assert answer["look_at_elapsed"] == pytest.approx(MINUTES[-1] + 15.0)


def test_a_column_that_falls_again_while_it_is_heated_up_is_no_start(client):
    warming = 82.0 - 60.0 * np.exp(-MINUTES / 120.0)
    answer = ask(client, metric(np.where(MINUTES < 170.0, warming, warming - MINUTES + 170.0)))
    assert "and falls again: check burner, flame and sensor now" in answer["decision"]


@pytest.mark.parametrize("below, told", [(12.0, True), (2.0, False)])
def test_a_first_filling_that_is_heated_up_may_be_what_climbs_over_a_held_discharge(
    client, below, told
):
    output = {"elapsed": MINUTES.tolist(), "settings": [0] * MINUTES.size}
    climbing = 82.0 - below - 40.0 * np.exp(-MINUTES / 60.0)
    answer = ask(client, metric(climbing, output=output))
    assert answer["decision"].startswith("FIRE CAUTION")
    assert any("first filling" in note for note in answer["notes"]) is told


def test_a_long_time_is_told_in_hours(client):
    hours = np.arange(0.0, 24.0, 0.2)
    column = {"elapsed": (60.0 * hours).tolist(), "setpoint": 82.0}
    column["temperatures"] = np.round(82.0 + 2.0 * np.sin(2.0 * np.pi * hours / 6.0), 1).tolist()
    answer = ask(client, {"units": "metric", "column": column})
    assert "now +-2.0 degC every 6.0 hours" in answer["decision"]


def test_a_drift_is_told_where_it_has_come_to(client):
    drifting = ask(client, metric(82.0 + 8.0 * np.exp(-MINUTES / 60.0)))
    assert drifting["verdict"] == "drifting"
    assert "above the setpoint, now 0.4 degC above it" in drifting["decision"]


def test_a_step_is_no_swing_and_puts_off_no_look(client):
    minutes = np.arange(0.0, 365.0, 5.0)
    quiet = 100.0 + np.random.default_rng(4).normal(0.0, 0.4, minutes.size)
    pushed = np.where(minutes < 200.0, quiet, quiet - 12.0)
    column = {"elapsed": minutes.tolist(), "temperatures": pushed.tolist(), "setpoint": 100.0}
    answer = ask(client, {"units": "us", "column": column})
    assert answer["verdict"] in ("disturbed", "drifting", "stuck")
    assert "period" not in answer
    assert answer["look_at_elapsed"] == pytest.approx(420.0)


def test_a_trace_too_short_asks_for_the_longer_one_and_not_for_another_as_short(client):
    minutes = np.arange(0.0, 180.0, 5.0)
    values = 98.0 + 4.0 * np.sin(2 * np.pi * minutes / 165.0)
    trace = {
        "elapsed": minutes.tolist(),
        "temperatures": np.round(values, 1).tolist(),
        "setpoint": 98.0,
    }
    answer = client.post(PATH, json={"units": "us", "column": trace}).json()
    assert answer["verdict"] == "too-short"
    assert "these readings and new ones together" in answer["decision"]


def test_a_sensor_that_stopped_watches_for_no_fire(client):
    frozen = np.where(MINUTES < 100, LEVEL, LEVEL[50])
    body = metric(frozen)
    trend = ask(client, body)
    traces = {"units": "metric", "traces": [body["column"]]}
    gain = client.post("/v1/gain-advice", json=traces).json()
    assert (trend["verdict"], gain["reason"]) == ("sensor-fault", "sensor-fault")
    for answer in (trend, gain):
        assert "smell for smoke" in answer["decision"]
        assert answer["cautions"][0]["code"] == "fire-column"
        assert answer["look_at_elapsed"] == pytest.approx(MINUTES[-1] + 10.0)


@pytest.mark.parametrize(
    "pace, said", [(0.0, "does not close in"), (0.9, "moves away at"), (-0.9, "closes in at")]
)
def test_a_column_held_off_its_setpoint_is_told_which_way_it_goes(client, pace, said):
    output = {"elapsed": MINUTES.tolist(), "settings": [90] * MINUTES.size, "highest": 90}
    values = LEVEL + 4.0 + pace * (MINUTES - 90.0) / 60.0
    answer = ask(client, metric(values, output=output))
    assert answer["verdict"] == "stuck"
    assert said in answer["decision"]


@pytest.mark.parametrize("above", [4.0, -4.0])
@pytest.mark.parametrize("end", [20, 90])
def test_an_output_that_drives_the_column_further_off_is_told(client, above, end):
    output = {"elapsed": MINUTES.tolist(), "settings": [end] * MINUTES.size}
    answer = ask(client, metric(LEVEL + above, output=output | {"lowest": 20, "highest": 90}))
    wrong = (end == 20) is (above > 0.0)  # more discharge cools the column
    said = [one["text"] for one in answer["remarks"] if one["code"] == "output-wrong-way"]
    assert len(said) == wrong
    assert not said or "acts the right way round" in said[0]


def test_a_swing_over_an_output_that_stands_still_asks_for_no_calmer_controller(client):
    output = {"elapsed": MINUTES.tolist(), "settings": [50] * MINUTES.size}
    still = ask(client, metric(SWING, output=output))
    assert "the swing comes from burner, feed or fan" in still["decision"]
    assert "Calm the controller" not in still["decision"]
    assert "Calm the controller" in ask(client, metric(SWING))["decision"]


@pytest.mark.parametrize("limit", ["lowest", "highest"])
def test_an_output_that_never_leaves_the_one_limit_told_stands_at_it(client, limit):
    output = {"elapsed": MINUTES.tolist(), "settings": [50] * MINUTES.size, limit: 50}
    off = 4.0 if limit == "highest" else -4.0
    answer = ask(client, metric(LEVEL + off, output=output))
    (said,) = (one["text"] for one in answer["remarks"] if one["code"] == "output-at-limit")
    assert said.startswith("The output stood at its limit 100 % of the time")


@pytest.mark.parametrize(("ratio", "told"), [(1.1, True), (4.9, False), (0.3, False)])
def test_a_swing_is_told_no_figure_that_speaks_against_its_word(ratio, told):
    trend = replace(judge_trend(60.0 * MINUTES, SWING, 82.0), decay_ratio=ratio)
    assert trend.verdict == "cycling"
    assert ("times the one before" in trend_words.sentence(trend, "metric")) is told


@pytest.mark.parametrize(("step", "hedged"), [(0.5, False), (2.0, True)])
def test_coarse_readings_are_level_only_as_far_as_they_can_tell(client, step, hedged):
    rng = np.random.default_rng(2)
    values = step * np.round((82.4 + rng.normal(0.0, 0.3, MINUTES.size)) / step)
    answer = ask(client, metric(values))
    assert answer["verdict"] == "level"
    assert ("in steps of 2.0 degC can tell" in answer["decision"]) is hedged


def test_a_drift_whose_way_is_not_sure_is_given_none(client):
    values = 82.0 + 6.7 * np.exp(-MINUTES / 40.0) * np.cos(MINUTES / 20.0)
    answer = ask(client, metric(values + NOISE))
    assert answer["verdict"] == "drifting"
    assert answer["slope_low"] < 0 < answer["slope_high"]
    assert "which way it moves is not sure" in answer["decision"]
    assert "unless setpoint advice moves it" in answer["decision"]


def test_one_reading_since_the_setpoint_moved_asks_for_ten_at_the_pace_before(client):
    minutes = np.arange(0.0, 181.0, 5.0)
    setpoints = np.where(minutes < 180.0, 82.0, 84.0)
    column = {
        "elapsed": minutes.tolist(),
        "temperatures": [82.0 + 0.1 * (k % 3) for k in range(37)],
    }
    answer = ask(client, {"units": "metric", "column": column | {"setpoints": setpoints.tolist()}})
    assert (answer["verdict"], answer["minutes_missing"]) == ("too-short", 45.0)


def test_a_caution_over_too_few_readings_asks_for_more_of_them(client):
    hot = {"elapsed": [0.0, 60.0, 120.0], "temperatures": [110.0, 115.6, 121.1], "setpoint": 82}
    answer = ask(client, {"units": "metric", "column": hot})
    assert answer["verdict"] == "too-short"
    assert answer["minutes_missing"] >= 10.0


def test_a_swing_too_small_to_say_has_no_size_of_nought():
    trend = replace(judge_trend(60.0 * MINUTES, SWING, 82.0), amplitude=0.02)
    assert "now less than 0.1 degC." in trend_words.sentence(trend, "metric")
