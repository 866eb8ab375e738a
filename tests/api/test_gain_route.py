"""Gain advice over HTTP: words, units, bounds and refusals."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

PATH = "/v1/gain-advice"
MINUTES = np.arange(0.0, 240.0, 4.0)
NOISE = np.random.default_rng(8).normal(0.0, 0.15, MINUTES.size)
SWING = 82.0 + 2.0 * np.sin(2 * np.pi * MINUTES / 60.0) + NOISE
CREEP = 82.0 - 4.0 * np.exp(-MINUTES / 400.0) + NOISE


def trace(values: np.ndarray, upto: int = 10_000) -> dict[str, Any]:
    return {
        "elapsed": MINUTES[:upto].tolist(),
        "temperatures": [round(float(v), 2) for v in values[:upto]],
        "setpoint": 82.0,
    }


def body(values: np.ndarray, **changes: Any) -> dict[str, Any]:
    return {"units": "metric", "traces": [trace(values, 45), trace(values)]} | changes


def ask(client, request: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(PATH, json=request)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_steady_swing_cuts_the_gain(client):
    answer = ask(client, body(SWING, present_gain=5.0))
    assert answer["reason"] == "too-lively"
    assert answer["multiplier"] == pytest.approx(0.42, abs=0.05)
    assert answer["gain"] == pytest.approx(5.0 * answer["multiplier"])
    assert answer["trend"]["verdict"] == "cycling"
    assert answer["decision"].startswith("Multiply the gain by 0.4")
    kept = next(note for note in answer["notes"] if "`history`" in note)
    assert f"multiplier {answer['multiplier']:.2f}, half swing 1.9 degC" in kept


def test_a_slow_creep_raises_the_gain(client):
    answer = ask(client, body(CREEP))
    assert answer["reason"] == "too-slow"
    assert 1.0 < answer["multiplier"] <= 2.0
    kept = next(note for note in answer["notes"] if "`history`" in note)
    assert kept.endswith(f"multiplier {answer['multiplier']:.2f}.")


def test_a_transit_that_was_not_told_is_said_where_it_counts(client):
    said = [
        any("No `transit` was told" in note for note in ask(client, request)["notes"])
        for request in (body(CREEP), body(CREEP, transit=1.5), body(82.0 + NOISE))
    ]
    assert said == [True, False, False]


def test_a_level_trace_leaves_it_and_a_faster_dryer_raises_it(client):
    level = 82.0 + NOISE
    assert ask(client, body(level))["reason"] == "no-evidence-against"
    faster = ask(client, body(level, discharge_rate=12.0, right_rate=10.0))
    assert faster["multiplier"] == 1.0
    assert faster["integral_multiplier"] == faster["throughput"] == pytest.approx(1.2)
    assert faster["decision"].startswith(
        "Multiply the integral action by 1.20 (the integral time by 0.83) and leave the "
        "proportional gain"
    )
    assert any(
        "absolute speed, multiply the proportional gain as well" in n for n in faster["notes"]
    )
    rates = {"discharge_rate": 12.0, "right_rate": 10.0}
    alone = ask(client, body(level, controller="integral-only", **rates))
    assert alone["multiplier"] == pytest.approx(1.2)
    assert alone["decision"].startswith("Multiply the integral gain by 1.20")


def test_a_known_plant_gives_a_physical_gain_in_the_callers_units(client):
    metric = ask(client, body(SWING, plant={"gain": -0.8, "dead_time": 15, "lag": 30}))
    # Skogestad's rule: tau / (2 K theta) = 30 / (2 * 0.8 * 15)
    assert metric["physical"]["proportional"] == pytest.approx(1.25)
    assert metric["physical"]["integral_time"] == pytest.approx(30.0)
    us = body(SWING, plant={"gain": -0.8 * 1.8, "dead_time": 15, "lag": 30}, units="us")
    for one in us["traces"]:
        one["temperatures"] = [v * 1.8 + 32 for v in one["temperatures"]]
        one["setpoint"] = 82 * 1.8 + 32
    answer = ask(client, us)
    assert answer["physical"]["proportional"] == pytest.approx(1.25 / 1.8)
    assert answer["physical"]["integral"] == pytest.approx(1.25 / 0.5 / 1.8)


def test_a_trace_from_before_the_last_change_waits(client):
    answer = ask(client, body(SWING, history=[{"at_elapsed": 239, "multiplier": 0.5}]))
    assert (answer["multiplier"], answer["reason"]) == (1.0, "wait")


@pytest.mark.parametrize(
    "changes, pointer",
    [
        ({"present_gain": 0}, "/present_gain"),
        ({"history": [{"multiplier": 0.5}]}, "/history"),
        (
            {
                "history": [
                    {"at_elapsed": 0, "multiplier": 0.5},
                    {"at_elapsed": -400, "multiplier": 2.0},
                ]
            },
            "/history",
        ),
        ({"plant": {"gain": 0, "dead_time": 15, "lag": 30}}, "/plant"),
        ({"discharge_rate": 10, "right_rate": 0}, "/right_rate"),
        ({"traces": []}, "/traces"),
        ({"controller": "pid"}, "/controller"),
    ],
)
def test_what_cannot_be_answered_is_refused_at_its_field(client, changes, pointer):
    answer = client.post(PATH, json=body(SWING, **changes))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"].startswith(pointer)


def test_traces_must_come_oldest_first(client):
    request = body(SWING)
    request["traces"].reverse()
    assert client.post(PATH, json=request).status_code == 422


@pytest.mark.parametrize("end", [400.0, 96.0])
def test_a_temperature_that_runs_away_is_a_fire_caution_before_any_gain(client, end):
    values = SWING.copy()
    values[-12:] = end
    answer = ask(client, body(values, present_gain=5.0))
    assert answer["decision"].startswith("FIRE CAUTION")
    assert "gain" not in answer["decision"].split(";")[0]
    assert (answer["reason"], answer["multiplier"], answer["gain"]) == ("fire-caution", 1.0, 5.0)
    assert answer["cautions"][0]["code"] == "fire-column"


def test_three_readings_are_enough_for_a_fire_caution_in_place_of_a_gain(client):
    hot = {"elapsed": [230.0, 235.0, 240.0], "temperatures": [110.0, 115.6, 121.1], "setpoint": 82}
    answer = ask(client, body(SWING) | {"traces": [trace(SWING), hot]})
    assert answer["decision"].startswith("FIRE CAUTION")
    assert (answer["reason"], answer["multiplier"]) == ("fire-caution", 1.0)
    assert "trend" not in answer


@pytest.mark.parametrize(("later", "fire"), [(30.0, True), (90.0, False)])
def test_a_trace_that_ended_in_danger_within_the_hour_is_not_cleared_by_a_newer_one(
    client, later, fire
):
    burning = trace(np.where(MINUTES > 220.0, 300.0, SWING))
    newer = trace(82.0 + NOISE)
    newer["elapsed"] = (MINUTES + later).tolist()
    answer = ask(client, body(SWING) | {"traces": [burning, newer]})
    assert (answer["reason"] == "fire-caution") == fire
    assert ("It shows in the trace that ended at minute 236" in answer["decision"]) == fire
    assert (answer["cautions"][0]["code"] == "fire-column") == fire


def test_a_peak_that_the_longer_trace_shows_to_have_passed_is_no_fire(client):
    values = np.where((MINUTES > 190.0) & (MINUTES < 210.0), 96.0, 82.0 + NOISE)
    answer = ask(client, body(values) | {"traces": [trace(values, 52), trace(values)]})
    assert answer["reason"] != "fire-caution"


def test_a_discharge_that_stands_still_leaves_the_gain_unjudged(client):
    request = body(SWING)
    request["traces"][-1]["output"] = {"elapsed": [0.0, 230.0], "rates": [20.0, 0.0]}
    answer = ask(client, request)
    assert answer["reason"] == "discharge-stopped"
    assert answer["decision"].startswith("The discharge stands still")


def test_swings_without_a_figure_are_no_praise_of_the_gain(client):
    """Twelve rough readings half an hour apart: they swing, but no single swing explains them."""
    rough = [94.87, 99.6, 90.36, 98.23, 93.77, 94.91, 98.86, 90.81, 99.90, 91.97, 94.73]
    trace = {
        "elapsed": [0, *range(60, 360, 30)],
        "temperatures": rough,
        "setpoint": 95,
    }
    answer = ask(client, {"units": "metric", "controller": "pi", "traces": [trace]})
    assert answer["trend"]["verdict"] == "cycling"
    assert "half_swing" not in answer["trend"]
    assert answer["reason"] == "wait"


def test_a_rate_of_zero_is_a_discharge_that_stands_still(client):
    answer = ask(client, body(82.0 + NOISE, discharge_rate=0, right_rate=10.0))
    assert answer["reason"] == "discharge-stopped"
    assert answer["multiplier"] == 1.0


def test_a_trace_of_one_value_is_no_praise_of_the_gain(client):
    answer = ask(client, body(np.full(MINUTES.size, 82.0), discharge_rate=12.0, right_rate=10.0))
    assert (answer["reason"], answer["multiplier"]) == ("one-value", 1.0)
    assert "check that it moves" in answer["decision"]


def test_the_rate_to_send_next_is_told_and_where_a_step_was_bounded(client):
    def noted(right: float) -> str:
        faster = body(82.0 + NOISE, discharge_rate=15.0, right_rate=right)
        return " ".join(ask(client, faster)["notes"])

    assert "asks for 3.00; one step is bounded to 2.00" in noted(5.0)
    assert "send 10.0 t/h as `right_rate`" in noted(5.0)
    assert "send 15.0 t/h as `right_rate`" in noted(10.0)
    assert "bounded" not in noted(10.0)
    assert "right_rate" not in noted(15.0)


def test_a_gain_changed_by_the_trace_is_right_for_the_rate_it_was_judged_at(client):
    # else the next level trace would have the change of rate undo part of the cut
    answer = ask(client, body(SWING, discharge_rate=12.0, right_rate=10.0))
    assert answer["reason"] == "too-lively"
    assert any("send 12.0 t/h as `right_rate`" in note for note in answer["notes"])


def test_a_swing_that_is_not_the_loops_tells_nothing_of_the_gain(client):
    answer = ask(client, body(SWING, transit=4.0))
    assert answer["reason"] == "not-the-loop"
    assert "share_of_ultimate" not in answer
    assert not any("well damped" in note for note in answer["notes"])


def grown(minutes: np.ndarray, period: float = 165.0) -> np.ndarray:
    """A swing half as high again each time, as an integral-only controller far too lively gives."""
    noise = np.random.default_rng(5).normal(0.0, 0.05, minutes.size)
    swing = np.exp(np.log(1.5) * minutes / period) * np.sin(2 * np.pi * minutes / period)
    return np.round(37.0 + swing + noise, 2)


def test_a_swing_longer_than_each_trace_is_seen_where_the_traces_run_on(client):
    # three hours every three hours, as a logger sends them, of a swing that takes most of three
    pieces = [np.arange(180.0 * k, 180.0 * (k + 1), 5.0) for k in range(3)]
    traces = [
        {"elapsed": m.tolist(), "temperatures": grown(m).tolist(), "setpoint": 37.0} for m in pieces
    ]
    request = {"units": "metric", "controller": "integral-only", "traces": traces[:1]}
    alone = ask(client, request)
    assert (alone["reason"], alone["confirmed"]) == ("wait", False)
    assert any("together with the next one" in note for note in alone["notes"])
    answer = ask(client, request | {"traces": traces})
    assert (answer["reason"], answer["trend"]["verdict"]) == ("too-lively", "growing")
    assert any("judged as one" in note for note in answer["notes"])


@pytest.mark.parametrize("phase", [0.125, 0.625, 0.75])
def test_half_a_slow_swing_raises_no_gain_where_the_traces_before_show_the_rest(client, phase):
    traces = []
    for k in range(6):
        minutes = np.arange(180.0 * k, 180.0 * (k + 1), 5.0)
        noise = np.random.default_rng(1).normal(0.0, 0.1, minutes.size)
        values = 37.0 + 1.7 * np.sin(2 * np.pi * (minutes / 480.0 + phase)) + noise
        traces.append(
            {
                "elapsed": minutes.tolist(),
                "temperatures": np.round(values, 2).tolist(),
                "setpoint": 37.0,
            }
        )
    request = {"units": "metric", "controller": "integral-only", "transit": 2.0}
    answer = ask(client, request | {"traces": traces})
    assert answer["multiplier"] < 1.0
    assert answer["trend"]["period"] == pytest.approx(480.0, rel=0.05)


@pytest.mark.parametrize("before", [3.0, 5.0])
def test_a_swing_from_before_the_last_change_is_not_cut_a_second_time(client, before):
    # eight hours: steady swings of an hour, then the gain was halved and each is 0.15 of the last
    minutes = np.arange(0.0, 480.0, 4.0)
    noise = np.random.default_rng(8).normal(0.0, 0.15, minutes.size)
    height = before * np.minimum(1.0, np.exp(-(minutes - 356.0) / 32.0))
    values = 82.0 + height * np.sin(2 * np.pi * minutes / 60.0) + noise
    long = {
        "elapsed": minutes.tolist(),
        "temperatures": np.round(values, 2).tolist(),
        "setpoint": 82.0,
    }
    request = {"units": "metric", "traces": [long]}
    changed = [{"at_elapsed": 356.0, "multiplier": 0.5}]
    answer = ask(client, request | {"history": changed})
    assert (answer["reason"], answer["multiplier"]) == ("no-evidence-against", 1.0)
    assert answer["share_of_ultimate"] < 0.7


def test_an_output_that_is_read_on_tells_that_the_column_is_not(client):
    quiet = trace(82.0 + NOISE)
    quiet["output"] = {"elapsed": [0.0, 120.0, 280.0], "settings": [40.0, 41.0, 42.0]}
    answer = ask(client, {"units": "metric", "traces": [quiet]})
    assert (answer["reason"], answer["multiplier"]) == ("column-not-read", 1.0)
    column = client.post("/v1/trend", json={"units": "metric", "column": quiet}).json()
    assert answer["look_at_elapsed"] == column["look_at_elapsed"] == pytest.approx(285.0)


def piece(begin: int, end: int) -> dict[str, Any]:
    return {name: part[begin:end] if isinstance(part, list) else part
            for name, part in trace(SWING).items()}  # fmt: skip


def test_an_earlier_trace_of_too_few_readings_refuses_nothing(client):
    alone = ask(client, {"units": "metric", "traces": [piece(3, 60)]})
    beside = ask(client, {"units": "metric", "traces": [piece(0, 3), piece(3, 60)]})
    assert beside["multiplier"] == alone["multiplier"] < 1.0
    last = ask(client, {"units": "metric", "traces": [piece(0, 57), piece(57, 60)]})
    assert last["trend"]["verdict"] == "cycling"
    assert any("judged as one" in note for note in last["notes"])
    only = client.post(PATH, json={"units": "metric", "traces": [piece(57, 60)]})
    assert only.status_code == 422


def _rates(part: float, per_unit: float) -> dict[str, Any]:
    """Discharge rates that make a part of `SWING` through a lag of 30 and a dead time of 15 min."""
    speed = 2.0j * np.pi / 60.0
    plant = per_unit * np.exp(-15.0 * speed) / (1.0 + 30.0 * speed)
    wave = -2.0j * part / plant * np.exp(speed * MINUTES)
    return {"elapsed": MINUTES.tolist(), "rates": np.round(60.0 + wave.real, 3).tolist()}


@pytest.mark.parametrize("part, reason", [(1.0, "too-lively"), (0.4, "not-the-loop")])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_swing_that_the_rate_makes_in_part_comes_from_outside(client, units, part, reason):
    degree = 1.8 if units == "us" else 1.0
    plant = {"gain": -0.5, "dead_time": 15.0, "lag": 30.0}
    request = body(82.0 + degree * (SWING - 82.0), plant=plant, transit=1.5, units=units)
    request["traces"][-1]["output"] = _rates(part, plant["gain"] / degree)
    answer = ask(client, request)
    assert answer["reason"] == reason
    (said,) = (note for note in answer["notes"] if note.startswith("By `plant`, the output"))
    assert float(said.split("about ")[1].split(" %")[0]) == pytest.approx(100.0 * part, abs=5.0)


@pytest.mark.parametrize("low, told", [(10.0, True), (59.0, False)])
def test_a_steady_swing_clear_of_its_limits_is_doubted_before_the_first_cut(client, low, told):
    request = body(SWING, transit=1.5)
    output = _rates(0.4, -0.5) | {"lowest_rate": low, "highest_rate": 99.0}
    request["traces"][-1]["output"] = output
    answer = ask(client, request)
    assert answer["reason"] == "too-lively"
    assert any("keep its size at one gain only" in note for note in answer["notes"]) is told


def test_after_a_cut_that_changed_nothing_the_reader_is_sent_to_burner_feed_and_fan(client):
    first = ask(client, body(SWING, transit=1.5))
    again = [{"at_elapsed": -1.0, "multiplier": 0.42, "half_swing": 2.0}]
    second = ask(client, body(SWING, transit=1.5, history=again))
    assert "If this one goes on after the cut" in " ".join(first["notes"])
    assert "see first whether burner, feed or fan keep time with it" in second["decision"]
    assert "a burner that goes on and off" in " ".join(second["notes"])


@pytest.mark.parametrize(
    "controller, gain, said",
    [
        # tau / (2 |K| theta) = 30 / (2 x 0.5 x 15) and min(tau, 8 theta), Skogestad (2003)
        ("pi", -0.5, "a proportional gain of 2 output/degC and an integral time of 30 minutes"),
        ("pi", -0.0008, "a proportional gain of 1250 output/degC"),
        # 1 / (2 |K| (theta + tau)) = 1 / (2 x 0.5 x 0.75 h)
        ("integral-only", -0.5, "an integral gain of 1.33 output/(degC h)"),
    ],
)
def test_what_a_known_plant_asks_for_is_said(client, controller, gain, said):
    plant = {"gain": gain, "dead_time": 15.0, "lag": 30.0}
    answer = ask(client, body(82.0 + NOISE, plant=plant, controller=controller))
    assert any(said in note for note in answer["notes"])


def test_a_swing_of_another_period_than_the_transit_allows_is_told_with_both(client):
    answer = ask(client, body(SWING, transit=10.0))
    assert answer["reason"] == "not-the-loop"
    said = " ".join(answer["notes"])
    assert "every 60 minutes; a loop of this `transit` would every 4.0 hours to 22.0 hours" in said


@pytest.mark.parametrize("path", [PATH, "/v1/trend"])
def test_a_fire_caution_over_a_wide_swing_names_the_swing_as_well(client, path):
    wide = trace(82.0 + 12.0 * np.sin(2 * np.pi * (MINUTES - 225.0) / 60.0))
    request = {"traces": [wide]} if path == PATH else {"column": wide}
    answer = client.post(path, json={"units": "metric"} | request).json()
    assert answer["decision"].startswith("FIRE CAUTION")
    assert any("swinging: now +-12.0 degC every 60 minutes" in note for note in answer["notes"])
