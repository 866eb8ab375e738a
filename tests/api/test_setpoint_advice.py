"""Setpoint advice over HTTP: both unit systems, words, belief, fire first, refusals."""

from __future__ import annotations

import copy
import math
import re
from typing import Any

import numpy as np
import pytest

from setpoint_requests import MINUTES, PATH, ZONES, ask, column, us_request, with_dryer


def test_grain_too_wet_on_a_level_column_raises_the_setpoint_in_whole_degrees(client):
    answer = ask(client, us_request(16.5))
    assert answer["advice"] == "move"
    assert answer["step"] in (1, 2)
    assert answer["setpoint"] == 98 + answer["step"]
    assert answer["decision"].startswith(f"Raise the setpoint by {answer['step']:.0f} degF")
    after = f"At {98 + answer['step']:.0f} degF expect about {answer['expected_after']:.1f} %"
    assert any(note.startswith(after) for note in answer["notes"])
    assert next(iter(answer)) == "decision"


@pytest.mark.parametrize("drift, anew", [(0.0, False), (1.2, True)])
def test_a_move_on_a_column_that_is_not_level_says_that_the_trend_begins_anew(client, drift, anew):
    body = us_request(18.5)
    body["column"]["temperatures"] = column(98.0 - 2.0 * drift, drift=drift)
    answer = ask(client, body)
    assert answer["advice"] == "move"
    assert (answer["trend"]["verdict"] != "level") == anew
    assert any("begin anew with it" in note for note in answer["notes"]) == anew


def test_grain_too_dry_lowers_it(client):
    answer = ask(client, us_request(14.4))
    assert answer["advice"] == "move"
    assert answer["step"] < 0
    assert answer["decision"].startswith("Lower the setpoint")


def test_grain_on_target_leaves_it_and_says_when_to_look(client):
    answer = ask(client, us_request(15.5))
    assert answer["advice"] == "hold"
    assert answer["decision"].startswith("Leave the setpoint at 98 degF; look again at minute ")
    assert answer["look_at_elapsed"] == pytest.approx(250 + 5 + answer["look_in"], abs=5.1)
    assert answer["raise_if_reading_above"] > 15.5 > answer["lower_if_reading_below"]


def test_both_unit_systems_give_the_same_advice(client):
    us = us_request(16.5)
    metric = copy.deepcopy(us) | {
        "units": "metric",
        "setpoint": (98 - 32) / 1.8,
        "resolution": 1 / 1.8,
        "discharge_rate": 800 * 25.40117272 / 1000,
    }
    metric["column"]["temperatures"] = [(t - 32) / 1.8 for t in us["column"]["temperatures"]]
    one, other = ask(client, us), ask(client, metric)
    assert other["advice"] == one["advice"]
    assert other["step"] * 1.8 == pytest.approx(one["step"], rel=1e-6)
    assert other["expected_moisture"] == pytest.approx(one["expected_moisture"], rel=1e-6)
    assert other["look_in"] == pytest.approx(one["look_in"], rel=1e-6)


def test_a_drifting_column_is_waited_out(client):
    body = us_request(16.5)
    body["column"]["temperatures"] = column(95.0, drift=1.8)
    answer = ask(client, body)
    assert answer["advice"] == "wait"
    assert "trend-drifting" in answer["reasons"]
    assert "drifting" in answer["decision"]


@pytest.mark.parametrize("begin, leaves", [(92.0, "wetter"), (104.0, "drier"), (98.0, None)])
def test_what_the_setpoint_will_give_is_not_what_leaves_while_the_column_is_away(
    client, begin, leaves
):
    answer = ask(client, us_request(column={"elapsed": MINUTES, "temperatures": column(begin)}))
    said = [note for note in answer["notes"] if "until it is there" in note]
    assert [f"expect {leaves} grain" in note for note in said] == [True] * (leaves is not None)


@pytest.mark.parametrize("begin, drift, swing", [(95.0, 1.8, 0.0), (98.0, 0.0, 5.0)])
def test_a_column_that_is_waited_out_is_looked_at_when_its_trend_says(client, begin, drift, swing):
    moved = column(begin, drift=drift)
    body = us_request(16.5)
    body["column"]["temperatures"] = [
        round(one + swing * math.sin(2.0 * math.pi * minute / 84.0), 1)
        for one, minute in zip(moved, MINUTES, strict=True)
    ]
    answer = ask(client, body)
    assert answer["advice"] == "wait"
    trace = body["column"] | {"setpoint": 98}
    trend = client.post("/v1/trend", json={"units": "us", "column": trace}).json()
    assert answer["trend"]["verdict"] == trend["verdict"]
    assert answer["look_at_elapsed"] == pytest.approx(trend["look_at_elapsed"], abs=1.0)


def test_the_belief_passed_back_in_either_unit_system_learns_nothing_twice(client):
    body = us_request(16.5)
    first = ask(client, body)
    again = ask(client, body | {"belief": first["belief"]})
    for name in ("level", "level_sd", "sensitivity", "readings", "at_elapsed"):
        assert again["belief"][name] == pytest.approx(first["belief"][name], rel=1e-6), name
    assert again["step"] == first["step"]


def test_a_belief_makes_the_expectation_surer(client):
    first = ask(client, us_request(15.5))
    later = us_request(15.5)
    for series in ("column", "discharge"):
        later[series] = later[series] | {"elapsed": [m + 250 for m in later[series]["elapsed"]]}
    second = ask(client, later | {"belief": first["belief"]})
    assert second["belief"]["readings"] == 10
    assert second["expected_uncertainty"] < first["expected_uncertainty"]


def test_date_times_answer_with_the_offset_they_came_with(client):
    body = us_request(15.5)
    stamps = [f"2025-10-14T{10 + m // 60:02}:{m % 60:02}:00-05:00" for m in MINUTES]
    body["column"] = {"times": stamps, "temperatures": column(98.0)}
    body["discharge"] = {"times": [stamps[24], stamps[40]], "moistures": [15.5, 15.5]}
    answer = ask(client, body)
    assert answer["look_at"].endswith("-05:00")
    assert "look_at_elapsed" not in answer
    assert answer["look_at"][11:16] in answer["decision"]
    assert answer["belief"]["at"] == stamps[40]


def test_times_in_two_forms_are_refused(client):
    body = us_request(15.5)
    body["discharge"] = {"times": ["2025-10-14T10:00:00Z"], "moistures": [15.5]}
    answer = client.post(PATH, json=body)
    assert answer.status_code == 422
    assert "one form" in answer.json()["detail"]


def stopped(temperatures: list[float], **changes: Any) -> dict[str, Any]:
    return us_request(
        15.5,
        column={"elapsed": list(range(0, 5 * len(temperatures), 5)), "temperatures": temperatures},
        discharge={"elapsed": [], "moistures": []},
        rates={"elapsed": [0, 16], "rates": [780, 0]},
        **changes,
    )


def test_a_column_that_climbs_while_the_discharge_stands_still_is_a_fire_caution_first(client):
    answer = ask(client, stopped([98, 98, 98, 98.2, 99.5, 101, 103]))
    assert answer["advice"] == "fire-caution"
    assert answer["decision"].startswith("FIRE CAUTION")
    assert answer["cautions"][0]["code"] == "fire-column"
    assert answer["step"] == 0
    assert answer["look_in"] == 5


def test_an_exhaust_that_climbs_counts_as_well(client):
    exhaust = {"elapsed": [0, 10, 20, 30], "temperatures": [90, 91, 97, 106]}
    answer = ask(client, stopped([98, 98, 98, 98, 98, 98, 98], exhaust=exhaust))
    assert answer["advice"] == "fire-caution"
    assert "exhaust" in answer["decision"]


def test_a_stop_without_a_climb_keeps_the_fire_caution_and_never_moves(client):
    answer = ask(client, stopped([98, 98, 98, 98, 97.5, 97, 96.8]))
    assert answer["advice"] == "wait"
    assert answer["cautions"][0]["code"] == "fire-column"
    assert "watch" in answer["decision"]


def test_one_last_reading_far_up_is_a_fire_caution_too(client):
    answer = ask(client, stopped([98, 98, 98, 98, 98, 98, 120]))
    assert answer["advice"] == "fire-caution"
    assert answer["decision"].startswith("FIRE CAUTION: the column temperature has climbed 22.0")


def test_a_rate_of_zero_without_a_log_is_a_stop_too(client):
    body = us_request(15.5, discharge_rate=0)
    body["column"]["temperatures"][-3:] = [101, 103, 106]
    assert ask(client, body)["advice"] == "fire-caution"


def test_the_grains_limit_is_never_passed(client):
    answer = ask(client, us_request(18.0, highest_column_temperature=99))
    assert answer["advice"] == "move"
    assert answer["setpoint"] == 99
    assert "grain-limit" in answer["reasons"]
    at_limit = ask(client, us_request(18.0, highest_column_temperature=98.4))
    assert at_limit["step"] == 0


def test_seed_brings_its_published_limit(client):
    body = us_request(18.0, end_use="seed")
    body["setpoint"] = 109
    body["column"]["temperatures"] = column(109.0)
    answer = ask(client, body)
    assert answer["setpoint"] <= 110


def test_inlet_moisture_brings_a_table_in_which_wetter_grain_takes_a_lower_setpoint(client):
    body = us_request(15.5, inlet={"elapsed": [0], "moistures": [22.0]})
    rows = ask(client, body)["setpoints_by_inlet"]
    assert [row["inlet"] for row in rows] == list(range(18, 27))
    setpoints = [row["setpoint"] for row in rows]
    assert setpoints == sorted(setpoints, reverse=True)


def test_money_is_shown_when_prices_are_given(client):
    prices = {"grain_price": 4.2, "fuel_cost": 0.04, "wet_discount": 0.06}
    assert "money_rate" not in ask(client, us_request(14.5))
    answer = ask(client, us_request(14.5, **prices))
    # 800 bu/h a point too dry: 1.18 % of the weight at 4.2 and a point of fuel
    off = answer["expected_moisture"] - 15.5
    shrink = (100 - answer["expected_moisture"]) / 84.5 - 1
    expected = 800 * (shrink * 4.2 - (1 + shrink) * off * 0.04)
    assert answer["money_rate"] == pytest.approx(expected, rel=1e-6)


def test_no_discount_for_wet_grain_aims_as_a_tiny_one_does_and_a_missing_one_is_told(client):
    def told(answer):
        return {one["input"]: one["value"] for one in answer["assumed"]}

    prices = {"grain_price": 4.2, "fuel_cost": 0.04}
    tiny = ask(client, us_request(16.5, **prices, wet_discount=1e-6))
    free = ask(client, us_request(16.5, **prices, wet_discount=0))
    assert free["aim"] == tiny["aim"] > 15.9
    assert free["money_rate"] == 0
    assert "wet_to_dry" not in told(free)
    missing = ask(client, us_request(16.5, **prices))
    assert missing["aim"] == 15.5
    assert told(missing)["wet_to_dry"] == 1
    assert "money_rate" not in missing
    assert not any("costs about" in note for note in missing["notes"])
    assert told(ask(client, us_request(16.5, grain_price=4.2, wet_discount=0.06)))["fuel_cost"] == 0


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"transit": None}, "null"),
        ({"column": {"elapsed": [0, 5], "temperatures": [98.0]}}, "do not fit"),
        ({"discharge": {"elapsed": [5, 4], "moistures": [15.0, 15.0]}}, "ascend"),
        ({"column": {"elapsed": [0, 5], "temperatures": [98.0, None]}}, "two or more"),
        ({"last_move": "2025-10-14T10:00:00Z"}, "one form"),
        ({"now": "yesterday"}, "RFC 3339"),
    ],
)
def test_what_cannot_be_is_refused_in_words(client, changes, word):
    answer = client.post(PATH, json=us_request(15.5, **changes))
    assert answer.status_code == 422
    assert word in answer.text


def test_a_belief_with_impossible_correlations_is_refused(client):
    belief = ask(client, us_request(15.5))["belief"]
    answer = client.post(
        PATH, json=us_request(15.5, belief=belief | {"correlations": [0.9, 0.9, -0.9]})
    )
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/belief"


def test_a_wetter_lot_entering_now_gives_a_timed_schedule(client):
    change = {"kind": "inlet-moisture", "moisture_change": 3}
    answer = ask(client, us_request(15.5, lag=36, known_changes=[change]))
    up, down = answer["schedule"]
    # bridged by one step, 3 degF, half of the 84 minutes to the sensors after it enters
    assert (up["step"], up["at_elapsed"]) == (3, pytest.approx(255 + 42))
    # 3 points x 0.3 over 0.55 point a degree: 1.6 degF down as the lot passes the sensors
    assert (down["setpoint"], down["at_elapsed"]) == (96, pytest.approx(255 + 84))
    # no inlet given: 22 to 25 % takes 0.0513 more water over dry matter, at 8.46 per unit
    assert answer["effects"][0]["rate_change"] == pytest.approx(-30.2, abs=0.1)
    assert [a["value"] for a in answer["assumed"] if a["input"] == "inlet"] == [22]
    assert answer["decision"].endswith(
        "For what is known to change, at minute 297 raise the setpoint to 101 degF, the first of 2 "
        "planned moves."
    )
    assert any("Wetter grain reaches the column sensors" in note for note in answer["notes"])
    assert any(note.startswith("The first move slows the discharge") for note in answer["notes"])
    assert any("lie well below the middle of the dryer" in note for note in answer["notes"])


def test_sensors_taken_to_lie_half_way_down_need_one_move_for_a_wetter_lot(client):
    change = {"kind": "inlet-moisture", "moisture_change": 3}
    answer = ask(client, us_request(15.5, known_changes=[change]))
    (down,) = answer["schedule"]
    assert (down["setpoint"], down["at_elapsed"]) == (96, pytest.approx(255 + 60))
    assert answer["effects"][0]["setpoint_bridge"] == 0
    assert not any(note.startswith("The first move") for note in answer["notes"])


def test_a_lot_past_the_sensors_is_told_in_the_past_and_without_the_bridge_that_is_over(client):
    change = {"kind": "inlet-moisture", "moisture_change": 3, "at_elapsed": 165}
    answer = ask(client, us_request(15.5, lag=36, known_changes=[change]))
    # what is due now is part of the advice itself
    assert (answer["step"], answer["schedule"]) == (-2, [])
    assert answer["reasons"][-1] == "known-change"
    assert answer["decision"].startswith("Lower the setpoint by 2 degF")
    told = " ".join(answer["notes"])
    assert "Wetter grain reached the column sensors by minute 249 and reaches the disch" in told
    assert "The first move" not in told


def test_nothing_is_planned_on_a_column_that_cannot_be_trusted(client):
    change = {"kind": "plenum-temperature", "temperature_change": 30}
    shown = {"elapsed": MINUTES, "temperatures": [98.0] * len(MINUTES)}
    answer = ask(client, us_request(16.5, column=shown, known_changes=[change]))
    assert answer["reasons"] == ["one-value"]
    assert answer["schedule"] == []
    assert any("before the column can be trusted" in note for note in answer["notes"])
    held = ask(client, us_request(15.5, column=shown, known_changes=[change]))
    assert (held["advice"], held["schedule"]) == ("hold", [])


def test_one_looks_again_no_later_than_the_next_planned_move(client):
    change = {"kind": "ambient-temperature", "temperature_change": -30, "at_elapsed": 270}
    answer = ask(client, us_request(15.5, known_changes=[change]))
    assert answer["look_at_elapsed"] == answer["schedule"][0]["at_elapsed"] == 270


def test_a_change_that_the_readings_show_already_is_named_and_not_planned_again(client):
    past = {"kind": "inlet-moisture", "moisture_change": 3, "at_elapsed": 60}
    ahead = {"kind": "inlet-moisture", "moisture_change": 2, "at_elapsed": 270}
    inlet = {"elapsed": [0, 60], "moistures": [21, 24]}
    alone = ask(client, us_request(15.5, inlet=inlet, known_changes=[ahead]))
    both = ask(client, us_request(15.5, inlet=inlet, known_changes=[past, ahead]))
    assert both["schedule"] == alone["schedule"] != []
    assert both["effects"] == alone["effects"]
    (seen,) = (note for note in both["notes"] if note.startswith("The readings already show"))
    assert "wetter grain of minute 60" in seen
    assert "not made falls away" in seen


def test_one_odd_inlet_reading_moves_the_expectation_less_than_a_series_of_the_same(client):
    def expected(inlets: list[float], **told: float) -> tuple[float, float]:
        minutes = [0, 60, 120, 150, 160, 170, 180, 190][: len(inlets)]
        inlet = {"elapsed": minutes, "moistures": inlets}
        answer = ask(client, us_request(15.5, inlet=inlet, **told))
        return answer["expected_moisture"], answer["expected_uncertainty"]

    known, _ = expected([21, 21, 21])
    one, _ = expected([21, 21, 21, 22])
    series, _ = expected([21, 21, 21, *[22] * 5])
    exact, _ = expected([21, 21, 21, 22], inlet_uncertainty=0)
    assert 0.0 < known - one < 0.6 * (known - series)
    assert exact == pytest.approx(known - 0.3, abs=0.01)
    # so much wetter that it is another lot, whose one reading is nearly believed, with its error
    lot, doubt = expected([21, 21, 21, 25])
    exact_lot, no_doubt = expected([21, 21, 21, 25], inlet_uncertainty=0)
    assert lot == pytest.approx(exact_lot, abs=0.05)
    assert doubt > no_doubt


def test_a_dry_lot_entering_is_told_to_need_no_drying(client):
    change = {"kind": "inlet-moisture", "moisture_change": -6}
    inlet = {"elapsed": [0], "moistures": [20]}
    answer = ask(client, us_request(15.5, known_changes=[change], inlet=inlet))
    assert answer["schedule"] == []
    assert "rate_change" not in answer["effects"][0]
    assert any("needs no drying" in note for note in answer["notes"])


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "inlet-moisture", "temperature_change": 3},
        {"kind": "plenum-temperature", "moisture_change": 3},
        {"kind": "inlet-moisture", "moisture_change": 3, "at": "2025-10-14T10:00:00Z"},
        {"kind": "inlet-moisture", "moisture_change": 0},
        {"kind": "ambient-temperature", "temperature_change": -0.0},
    ],
)
def test_a_known_change_that_contradicts_itself_is_refused(client, change):
    answer = client.post(PATH, json=us_request(15.5, known_changes=[change]))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/known_changes"


def test_a_close_rate_log_with_inlets_is_matched_to_the_time_in_the_dryer(client):
    minutes = list(range(0, 256, 5))
    body = us_request(
        15.5,
        held_below_sensors=800,
        rates={"elapsed": minutes, "rates": [800] * len(minutes)},
        inlet={"elapsed": [0], "moistures": [22.0]},
    )
    del body["discharge_rate"], body["transit"]
    first = ask(client, body)
    assert first["belief"]["reference_transit"] == pytest.approx(2.0)
    assert "steering.steady-temperature" in {used["id"] for used in first["methods"]}
    again = ask(client, body | {"belief": first["belief"]})
    assert again["expected_moisture"] == pytest.approx(first["expected_moisture"], abs=1e-6)
    assert again["belief"]["reference_transit"] == pytest.approx(2.0)
    # the same column five degrees warmer under a setpoint five higher is weather, not drier grain
    warmer = body | {
        "setpoint": 103,
        "belief": first["belief"],
        "column": {"elapsed": MINUTES, "temperatures": [t + 5 for t in column(98.0)]},
    }
    assert ask(client, warmer)["expected_moisture"] == pytest.approx(
        first["expected_moisture"], abs=0.05
    )


def test_a_lot_that_still_passes_makes_the_direction_for_the_next_one_less_sure(client):
    minutes = list(range(0, 256, 5))
    body = us_request(
        held_below_sensors=800,
        rates={"elapsed": minutes, "rates": [800] * len(minutes)},
        inlet_uncertainty=0,
        lag_uncertainty=0,
        resolution=3,  # so coarse that no move is planned for the next one
        meter_uncertainty=0.25,
    )
    del body["discharge_rate"], body["transit"]
    first = ask(client, body | {"inlet": {"elapsed": [0], "moistures": [22.0]}})
    known = {"inlet_effect_sd": 0.001, "correlations": [0.0, 0.0, 0.0]}
    one, two = (
        ask(
            client,
            body
            | {"belief": first["belief"] | known}
            | {"inlet": {"elapsed": [0, entered], "moistures": [22.0, 19.0]}},
        )
        for entered in (250, 197)
    )
    # of one lot it would be surer, for the error is larger and as well known
    assert two["error"] > one["error"] + 0.3
    assert two["expected_uncertainty"] == pytest.approx(one["expected_uncertainty"], abs=0.02)
    assert two["chance"] < one["chance"]


def test_a_lot_still_above_the_sensors_is_planned_for_by_the_time_it_reaches_them(client):
    lot = {"elapsed": [0, 60, 120, 225, 235], "moistures": [22, 22, 22, 25, 25]}
    asked = us_request(16.5, inlet=lot, inlet_uncertainty=0)
    answer = ask(client, asked)
    table = {row["inlet"]: row["setpoint"] for row in answer["setpoints_by_inlet"]}
    # the advice itself is for the grain at the sensors
    assert answer["setpoint"] == round(table[22.0]) > table[25.0] + 1.0
    # an hour from the inlet to the sensors
    (move,) = answer["schedule"]
    assert (move["at_elapsed"], move["setpoint"]) == (225 + 60, round(table[25.0]))
    assert answer["look_at_elapsed"] == 225 + 60
    assert f"at minute 285 lower the setpoint to {move['setpoint']:.0f} degF" in answer["decision"]
    told = " ".join(answer["notes"])
    assert "for grain of about 22.0 % inlet moisture, which is at the column sensors now" in told
    assert "Wetter grain reaches the column sensors by minute 285" in told
    past = ask(client, asked | {"inlet": {"elapsed": [0, 60], "moistures": [22, 25]}})
    assert past["schedule"] == []


def test_a_lot_that_was_told_is_not_planned_for_twice(client):
    lot = {"elapsed": [0, 60, 120, 225, 235], "moistures": [22, 22, 22, 25, 25]}
    known = [{"kind": "inlet-moisture", "moisture_change": 3, "at_elapsed": 225}]
    asked = us_request(15.5, inlet=lot, inlet_uncertainty=0)
    told = ask(client, asked | {"known_changes": known})
    alone = ask(
        client, us_request(15.5, known_changes=known, inlet={"elapsed": [0], "moistures": [22]})
    )
    assert len(told["effects"]) == 1
    assert told["schedule"] == alone["schedule"]


def test_the_move_for_a_lot_is_found_by_who_looks_as_it_reaches_the_sensors(client):
    minutes = list(range(0, 286, 5))
    shown = {"elapsed": minutes, "temperatures": [98 + 0.4 * math.sin(m / 13) for m in minutes]}
    inlet = {"elapsed": [0, 60, 120, 225, 235], "moistures": [22, 22, 22, 25, 25]}
    answer = ask(client, us_request(15.5, inlet=inlet, inlet_uncertainty=0, column=shown))
    assert (answer["step"], answer["reasons"][-1]) == (-2, "known-change")
    assert any("which has just passed the column sensors" in note for note in answer["notes"])


def test_an_error_that_costs_nothing_is_told_no_cost(client):
    free = {"grain_price": 0, "fuel_cost": 0, "wet_discount": 0}
    dear = {"grain_price": 4, "fuel_cost": 0.04, "wet_discount": 0.1}
    told = [
        any(
            "an hour, in the currency" in note
            for note in ask(client, us_request(16.5, **one))["notes"]
        )
        for one in (free, dear)
    ]
    assert told == [False, True]


def test_no_setpoint_is_said_to_make_grain_wetter_than_it_came_in(client):
    cold = us_request(15.5, inlet={"elapsed": [0], "moistures": [20]})
    far = ask(client, cold | {"highest_column_temperature": 80})
    assert far["step"] == -18
    assert far["expected_after"] == pytest.approx(20.0)
    assert "expect grain of about 20.0 %" in far["decision"]


def test_a_planned_move_is_told_with_what_is_not_known_of_wetter_grain(client):
    lot = {"kind": "inlet-moisture", "at_elapsed": 240, "moisture_change": 3}
    answer = ask(client, us_request(15.5, known_changes=[lot]))
    (effect,) = answer["effects"]
    (note,) = (one for one in answer["notes"] if "asks for a setpoint" in one)
    down, doubt = -effect["setpoint_change"], 2 * effect["setpoint_uncertainty"]
    assert note == (
        f"It asks for a setpoint about {down:.1f} degF lower (give or take {doubt:.1f} degF); the "
        f"chance that lower is right is {100 * effect['chance']:.0f} %."
    )
    assert [move["chance"] for move in answer["schedule"]] == [effect["chance"]]
    # nobody has seen wetter grain in this dryer yet
    assert doubt > down
    assert effect["chance"] < 0.8


def test_a_setpoint_above_the_limit_is_lowered_and_the_decision_says_why(client):
    answer = ask(client, us_request(17.5, highest_column_temperature=90))
    assert answer["setpoint"] <= 90
    assert "because the grain's limit is 90 degF" in answer["decision"]
    assert answer["reasons"].count("grain-limit") == 1


def test_lowering_to_the_limit_says_how_wet_the_grain_will_be_and_cautions(client):
    on_target = ask(client, us_request(15.5, highest_column_temperature=90))
    after = on_target["expected_after"]
    assert after > 18
    assert f"expect grain of about {after:.1f} %" in on_target["decision"]
    assert "under-drying" in [caution["code"] for caution in on_target["cautions"]]


def test_a_setpoint_at_the_limit_is_not_blamed_on_the_panel(client):
    answer = ask(client, us_request(18.0, highest_column_temperature=98.4))
    assert "at-grain-limit" in answer["reasons"]
    assert "too-small-to-set" not in answer["reasons"]
    assert not any("panel" in note for note in answer["notes"])


def test_drying_further_at_the_limit_never_asks_for_less_feed_into_a_hot_column(client):
    answer = ask(client, us_request(17.5, highest_column_temperature=98))
    told = next(note for note in answer["notes"] if "holds the setpoint down" in note)
    assert "feed" not in told
    assert "lower the plenum temperatures" in told
    assert "keep the column full" in told


def test_a_time_of_asking_before_the_readings_is_refused_by_name(client):
    answer = client.post(PATH, json=us_request(15.5, now_elapsed=30))
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/now_elapsed"
    assert "before the last" in error["detail"]


def test_without_a_dryer_the_general_value_stands_and_is_said_to(client):
    answer = ask(client, us_request(16.5))
    assert answer["prior"]["origin"] == "general"
    (slope,) = (item for item in answer["assumed"] if item["input"] == "sensitivity")
    assert "invented" in slope["source"]


def test_a_described_dryer_brings_its_own_sensitivity_and_says_so(client):
    answer = ask(client, with_dryer(18.0))
    assert answer["prior"]["origin"] == "dryer"
    assert "steering.prior.column-model" in {used["id"] for used in answer["methods"]}
    assert any("column model of your dryer" in note for note in answer["notes"])
    wetter = ask(client, with_dryer(24.0))
    # little water to take off: the same degree is worth less
    assert wetter["prior"]["sensitivity"] < answer["prior"]["sensitivity"] < 0
    assert answer["belief"]["sensitivity_prior"] == answer["prior"]["sensitivity"]


def test_a_described_dryer_speaks_both_unit_systems(client):
    us = with_dryer()
    metric = copy.deepcopy(us) | {
        "units": "metric",
        "setpoint": (98 - 32) / 1.8,
        "resolution": 1 / 1.8,
        "discharge_rate": 800 * 25.40117272 / 1000,
        "ambient_temperature": 10,
    }
    metric["column"]["temperatures"] = [(t - 32) / 1.8 for t in us["column"]["temperatures"]]
    for zone in metric["dryer"]["zones"]:
        zone["hold_up"] *= 25.40117272 / 1000
        zone["airflow"] *= 0.3048**3 * 60
        if "plenum_temperature" in zone:
            zone["plenum_temperature"] = (zone["plenum_temperature"] - 32) / 1.8
    one, other = ask(client, us), ask(client, metric)
    for name in ("sensitivity", "sensitivity_sd"):
        assert other["prior"][name] == pytest.approx(one["prior"][name] * 1.8, rel=1e-5), name
    for name in ("inlet_effect", "inlet_effect_sd"):
        assert other["prior"][name] == pytest.approx(one["prior"][name], rel=1e-4), name
    assert other["step"] * 1.8 == pytest.approx(one["step"], rel=1e-6)


def test_ones_own_sensitivity_goes_before_the_models(client):
    answer = ask(client, with_dryer(sensitivity=-0.4))
    assert answer["prior"]["origin"] == "stated"
    assert answer["prior"]["sensitivity"] == -0.4


@pytest.mark.parametrize(
    ("missing", "pointer"),
    [("ambient_temperature", "/ambient_temperature"), ("inlet", "/inlet")],
)
def test_a_dryer_without_weather_or_inlet_moisture_is_refused_by_name(client, missing, pointer):
    body = with_dryer()
    del body[missing]
    answer = client.post(PATH, json=body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer


def test_the_air_of_the_time_of_asking_is_read_from_its_hours(client):
    hourly = {"elapsed": [195, 255, 315], "temperature": [40, 50, 20]}
    told = with_dryer(hourly=hourly)
    del told["ambient_temperature"]
    single, series = ask(client, with_dryer()), ask(client, told)
    assert series["prior"] == single["prior"]
    assert series["expected_moisture"] == single["expected_moisture"]
    colder = ask(client, told | {"hourly": hourly | {"temperature": [40, 20, 20]}})
    assert colder["prior"] != single["prior"]


@pytest.mark.parametrize(
    "hourly",
    [
        {"elapsed": [0, 60], "temperature": [40, 50]},
        {"times": ["2025-10-14T06:00:00-05:00"], "temperature": [50]},
    ],
)
def test_hours_that_do_not_tell_the_air_of_now_are_refused(client, hourly):
    told = with_dryer(hourly=hourly)
    del told["ambient_temperature"]
    answer = client.post(PATH, json=told)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/hourly"


def test_a_fit_without_its_dryer_is_refused(client):
    fitted = {
        "version": "1", "grain": "corn-yellow-dent", "isotherm": "modified-henderson",
        "kinetics": "kinetics.diffusion.henderson-pabis-1961", "rate_factor": 1.3,
        "airflow_factor": 1.0, "rate_spread": 0.05, "airflow_spread": 0.05, "correlation": 0.0,
        "discrepancy": 0.001, "runs": 10,
    }  # fmt: skip
    answer = client.post(PATH, json=us_request(16.5, fitted=fitted))
    assert answer.status_code == 422, answer.text
    assert answer.json()["errors"][0]["pointer"] == "/fitted"


def test_a_bed_higher_than_any_dryer_is_refused_before_it_is_followed(client):
    dryer = {"kind": "mixed-flow", "zones": ZONES, "cross_section": 0.11}
    answer = client.post(PATH, json=with_dryer(dryer=dryer))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/dryer/cross_section"


def test_a_dryer_without_described_sensors_is_told_what_was_assumed(client):
    zones = [{k: v for k, v in zone.items() if k != "sensors"} for zone in ZONES]
    answer = ask(client, with_dryer(dryer={"kind": "mixed-flow", "zones": zones}))
    assert any("No column sensors are described" in note for note in answer["notes"])


def test_a_column_that_runs_away_while_grain_moves_is_a_fire_caution_before_any_advice(client):
    body = us_request(column=None)
    calm = us_request()
    body["column"] = {
        **calm["column"],
        "temperatures": [98.0 + 1.2 * k for k in range(len(calm["column"]["temperatures"]))],
    }
    answer = ask(client, body)
    assert answer["advice"] == "fire-caution"
    assert answer["decision"].startswith("FIRE CAUTION")
    assert "grain moves in every column" in answer["decision"]
    assert answer["step"] == 0.0
    kinds = [caution["code"] for caution in answer["cautions"]]
    assert kinds[0] == "fire-column"
    assert "under-drying" not in kinds


def test_two_temperatures_after_a_gap_of_hours_are_waited_out(client):
    elapsed = [*MINUTES[:40], MINUTES[39] + 200, MINUTES[39] + 205]
    gap = {"elapsed": elapsed, "temperatures": column(98.0)[: len(elapsed)]}
    answer = ask(client, us_request(15.5, column=gap))
    assert (answer["advice"], answer["reasons"]) == ("wait", ["trend-too-short"])


def test_a_column_ten_degrees_above_its_setpoint_and_falling_is_no_fire(client):
    calm = us_request()
    count = len(calm["column"]["temperatures"])
    calm["column"]["temperatures"] = [108.0 - 10.0 * k / count for k in range(count)]
    assert ask(client, calm)["advice"] != "fire-caution"


@pytest.mark.parametrize("where", ["column", "exhaust"])
def test_a_reading_as_hot_as_a_fire_is_answered_and_not_refused(client, where):
    body = us_request(15.5)
    hot = [*[100.0] * (len(MINUTES) - 2), 450.0, 700.0]
    body[where] = {"elapsed": MINUTES, "temperatures": hot}
    answer = ask(client, body)
    assert answer["decision"].startswith("FIRE CAUTION")
    assert "450 degF" in answer["decision"]
    assert answer["cautions"][0]["code"] == "fire-column"


def test_a_cut_that_the_column_has_not_followed_yet_is_no_fire(client):
    body = us_request(15.5, setpoint=78)
    assert ask(client, body)["advice"] == "fire-caution"
    assert ask(client, body | {"last_move_elapsed": 240})["advice"] != "fire-caution"
    told = body | {"last_move_elapsed": 240, "earlier_setpoint": 98}
    assert ask(client, told)["advice"] != "fire-caution"
    # an earlier setpoint below the column does not explain it
    told = body | {"last_move_elapsed": 240, "earlier_setpoint": 79}
    assert ask(client, told)["advice"] == "fire-caution"


@pytest.mark.parametrize(
    "stated", [{}, {"last_move_elapsed": 225}, {"last_move_elapsed": 225, "earlier_setpoint": 240}]
)
@pytest.mark.parametrize("setpoint", [98, 160, 190])
def test_a_stated_move_does_not_talk_a_fire_away(client, setpoint, stated):
    hot = {"elapsed": MINUTES, "temperatures": [227.0] * len(MINUTES)}
    answer = ask(client, us_request(15.5, setpoint=setpoint, column=hot) | stated)
    assert answer["advice"] == "fire-caution"
    assert not any("last_move" in note for note in answer["notes"])


def test_only_a_distance_that_a_cut_may_explain_asks_for_the_move(client):
    answer = ask(client, us_request(15.5, setpoint=78))
    assert any("last_move" in note for note in answer["notes"])


def test_a_column_beyond_every_limit_is_not_said_to_stand_below_its_setpoint(client):
    hot = {"elapsed": MINUTES, "temperatures": [234.0] * len(MINUTES)}
    decision = ask(client, us_request(15.5, setpoint=240, column=hot))["decision"]
    assert decision.startswith("FIRE CAUTION: the column temperature stands at 234 degF, above")


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [({"earlier_setpoint": 98}, "/earlier_setpoint"),
     ({"last_move_elapsed": 300}, "/last_move_elapsed"),
     ({"now_elapsed": 240}, "/now_elapsed")],
)  # fmt: skip
def test_moves_and_times_that_contradict_the_readings_are_refused(client, changes, pointer):
    answer = client.post(PATH, json=us_request(15.5, **changes))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == pointer


@pytest.mark.parametrize("stated", [{}, {"last_move_elapsed": 0}])
def test_a_long_trend_not_sure_enough_is_not_called_one_of_too_few_temperatures(client, stated):
    rough = 98.0 + 1.8 * np.random.default_rng(8).normal(0.0, 0.42, 60)
    rows = {"elapsed": list(range(0, 300, 5)), "temperatures": rough.tolist()}
    answer = ask(client, us_request(15.9, column=rows) | stated)
    assert answer["trend"]["verdict"] == "too-short"
    assert answer["reasons"] == ["trend-unsure"]
    assert "not sure enough" in answer["decision"]
    assert any(": likeliest level, not surely, slope" in note for note in answer["notes"])


def test_a_column_that_shows_one_value_is_no_ground_for_a_move(client):
    body = us_request(16.5)
    body["column"]["temperatures"] = [98.0] * len(MINUTES)
    answer = ask(client, body)
    assert (answer["advice"], answer["reasons"]) == ("wait", ["one-value"])
    assert "see that it moves" in answer["decision"]
    held = ask(client, us_request(15.5, column=body["column"]))
    assert held["advice"] == "hold"
    assert "see that it moves" in held["decision"]
    assert held["look_in"] == 10
    assert any("proves little" in note for note in held["notes"])


@pytest.mark.parametrize("more", [{}, {"highest_column_temperature": 94}, {"discharge_rate": 0}])
def test_a_column_sensor_that_stopped_is_said_to_watch_for_no_fire_as_the_trend_says_it(
    client, more
):
    shown = [t if m < 130 else 98.2 for m, t in zip(MINUTES, column(98.0), strict=True)]
    series = {"elapsed": MINUTES, "temperatures": shown}
    trend = client.post("/v1/trend", json={"units": "us", "column": series | {"setpoint": 98}})
    (said,) = re.findall(r"the column is not watched [^.]*", trend.json()["decision"])
    answer = ask(client, us_request(16.5, column=series, **more))
    assert said in answer["decision"]
    assert answer["cautions"][0]["code"] == "fire-column"
    assert answer["look_in"] <= 10


def test_an_error_that_a_known_change_makes_up_for_is_not_left_alone_without_a_word(client):
    wetter = {"kind": "inlet-moisture", "at_elapsed": 190, "moisture_change": 3}
    inlet = {"elapsed": [0, 60], "moistures": [22, 22]}
    answer = ask(client, us_request(16.5, inlet=inlet, known_changes=[wetter]))
    assert (answer["advice"], answer["reasons"]) == ("hold", ["error", "known-change"])
    assert "what is known to change cancel each other" in answer["decision"]


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "plenum-temperature", "temperature_change": 20},
        {"kind": "ambient-temperature", "temperature_change": -20},
    ],
)
def test_a_known_change_sent_again_is_not_answered_again(client, change):
    known = [change | {"at_elapsed": 250}]
    first = ask(client, us_request(15.5, known_changes=known, now_elapsed=255))
    assert "known-change" in first["reasons"]
    assert any("tell it as `last_move`" in note for note in first["notes"])
    later = {
        "setpoint": first["setpoint"],
        "last_move_elapsed": 255,
        "earlier_setpoint": 98,
        "now_elapsed": 260,
        "known_changes": known,
    }
    again = ask(client, us_request(15.5, **later))
    assert again["setpoint"] == first["setpoint"]
    assert "known-change" not in again["reasons"]
    # the second half, due when the change has passed the sensors, is still planned
    assert [one["setpoint"] for one in again["schedule"]] == [
        one["setpoint"] for one in first["schedule"]
    ]
    assert any("counts as set and is not set again" in note for note in again["notes"])


def test_a_move_that_answers_a_change_on_its_way_is_not_taken_back_as_an_error(client):
    # readings from before the hotter plenums say that four degrees more dry two points further
    hotter = {"kind": "plenum-temperature", "at_elapsed": 250, "temperature_change": 20}
    after = list(range(260, 306, 5))
    request = us_request(
        15.5,
        setpoint=102,
        column={
            "elapsed": [*MINUTES, *after],
            "temperatures": [*column(98.0), *(102.0 + 0.1 * (k % 3) for k in range(len(after)))],
        },
        last_move_elapsed=255,
        earlier_setpoint=98,
        known_changes=[hotter],
    )
    answer = ask(client, request)
    assert (answer["step"], answer["reasons"]) == (0.0, ["inside-threshold"])
    assert answer["expected_moisture"] == pytest.approx(15.5, abs=0.2)
    # four more degrees are more than one move may take
    assert [one["setpoint"] for one in answer["schedule"]] == [105.0, 106.0]
    unknown = ask(client, {k: v for k, v in request.items() if k != "known_changes"})
    assert unknown["expected_moisture"] < 14.5


def test_no_move_for_readings_and_known_changes_together_is_larger_than_the_largest(client):
    hotter = {"kind": "plenum-temperature", "temperature_change": 20, "at_elapsed": 255}
    answer = ask(client, us_request(16.5, max_step=2, known_changes=[hotter]))
    assert (answer["step"], answer["setpoint"]) == (2.0, 100.0)
    assert {"error", "known-change", "bounded"} <= set(answer["reasons"])
    # 2 degF for the readings and 0.4 of 20 for the plenums: nothing of it is lost
    assert [m["setpoint"] for m in answer["schedule"]] == [102.0, 104.0, 106.0, 108.0]
    assert answer["look_at_elapsed"] == answer["schedule"][0]["at_elapsed"]
    (held,) = (note for note in answer["notes"] if "2 degF of what is due would go beyond" in note)
    assert "`due` passed back" in held


def test_what_one_move_left_of_a_known_change_is_still_planned_when_asked_again(client):
    hotter = {"kind": "plenum-temperature", "temperature_change": 20, "at_elapsed": 255}
    minutes = [*MINUTES, *range(260, 340, 5)]
    shown = {"elapsed": minutes, "temperatures": [98.0 + 0.4 * math.sin(m / 13) for m in minutes]}
    asked = us_request(15.5, max_step=2, known_changes=[hotter])
    told, now, moves = {"setpoint": 98.0}, 255, []
    while now <= 335:
        upto = {name: values[: minutes.index(now) + 1] for name, values in shown.items()}
        answer = ask(client, asked | told | {"column": upto, "now_elapsed": now})
        if answer["step"]:
            moves.append((now, answer["step"]))
            told = {
                "setpoint": answer["setpoint"],
                "earlier_setpoint": told["setpoint"],
                "last_move_elapsed": now,
            }
        now += 20
    assert moves == [(255, 2.0), (275, 2.0), (315, 2.0), (335, 2.0)]


def test_a_change_told_late_without_a_belief_is_listed_until_all_of_it_is_set(client):
    hotter = {"kind": "plenum-temperature", "temperature_change": 20, "at_elapsed": 200}
    asked = us_request(15.5, max_step=2, known_changes=[hotter])
    asked["discharge"] = {"elapsed": [], "moistures": []}
    first = ask(client, asked | {"now_elapsed": 255})
    assert (first["step"], first["schedule"][0]["step"]) == (2.0, 2.0)
    moved = {"setpoint": 100, "earlier_setpoint": 98, "last_move_elapsed": 255, "now_elapsed": 258}
    again = ask(client, asked | moved | {"due": first["due"]})
    assert [one["step"] for one in again["schedule"]] == [one["step"] for one in first["schedule"]]
    # not set, and so due as before
    idle = ask(client, asked | {"now_elapsed": 258, "due": first["due"]})
    assert (idle["step"], len(idle["schedule"])) == (2.0, len(first["schedule"]))


@pytest.mark.parametrize(
    "wrong", [{"at_elapsed": 3000.0}, {"at_elapsed": None, "at": "2025-10-14T10:00:00Z"}]
)
def test_a_due_of_another_clock_is_refused(client, wrong):
    change = {"kind": "plenum-temperature", "temperature_change": 20}
    due = ask(client, us_request(15.5, known_changes=[change]))["due"] | wrong
    given = {name: value for name, value in due.items() if value is not None}
    answer = client.post(PATH, json=us_request(15.5, known_changes=[change], due=given))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/due"


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        # 98 degF, noted in degC
        ({"reference_temperature": 36.7}, "of 36.7 degF must lie between 53 degF and 143 degF"),
        # the caller's clock begins anew every day
        ({"at_elapsed": 1400.0}, "let one clock run"),
    ],
)
def test_a_belief_of_another_scale_or_clock_is_refused(client, changes, word):
    belief = ask(client, us_request(15.5))["belief"]
    answer = client.post(PATH, json=us_request(15.5, belief=belief | changes))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/belief"
    assert word in answer.json()["detail"]


def test_a_largest_step_that_the_panel_cannot_set_is_refused_and_not_held_forever(client):
    answer = client.post(PATH, json=us_request(16.5, max_step=0.5))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/max_step"
    assert "smallest that the panel accepts, 1 degF" in answer.json()["detail"]
    assert ask(client, us_request(16.5, max_step=0.5, resolution=0.5))["step"] == 0.5
    assert ask(client, us_request(16.5, max_step=1))["step"] == 1


def test_a_belief_begun_without_an_inlet_takes_the_first_one_told_as_its_reference(client):
    first = ask(client, us_request(15.5))["belief"]
    assert first["reference_inlet"] == 0
    later = us_request(15.5, belief=first, inlet={"elapsed": [0], "moistures": [21]})
    for series in ("column", "discharge", "inlet"):
        later[series] = later[series] | {"elapsed": [m + 250 for m in later[series]["elapsed"]]}
    learned = ask(client, later)["belief"]
    assert learned["reference_inlet"] == pytest.approx(21)
    assert learned["inlet_effect"] == pytest.approx(first["inlet_effect"], abs=0.02)


@pytest.mark.parametrize("taken", [[60.0, 90.0, 440.0, 500.0], [440.0, 500.0]])
def test_after_a_stop_the_stop_is_told_and_not_the_age_of_the_readings(client, taken):
    minutes = [5.0 * k for k in range(109)]
    body = us_request(
        setpoint=98.0,
        column={"elapsed": minutes, "temperatures": [98.0 + 0.4 * math.sin(m) for m in minutes]},
        discharge={"elapsed": taken, "moistures": [15.6] * len(taken)},
        rates={"elapsed": [0.0, 120.0, 420.0], "rates": [800.0, 0.0, 800.0]},
        held_below_sensors=800.0,
    )
    body.pop("discharge_rate", None)
    answer = ask(client, body)
    assert answer["reasons"] == ["grain-stood"]
    assert "take a reading of grain that came in after the stop" in answer["decision"]
    settling = client.post(
        "/v1/settling",
        json={"units": "us", "log": body["rates"], "held": 1600, "now_elapsed": 530},
    ).json()
    passed = math.ceil(settling["judge_from_elapsed"])
    assert f"which leaves from minute {passed} on" in answer["decision"]
    assert "too old" not in answer["decision"]
    assert any(f"2 of {len(taken)} readings" in note for note in answer["notes"])


def test_a_column_that_comes_back_from_a_stop_is_not_steered_by_grain_from_before_it(client):
    def shown(minute: int) -> float:
        if minute <= 240:
            return 98.0 + 0.3 * math.sin(minute / 13)
        # cooled by 2.5 degF in the hour of the stop, and coming back since
        return 98.0 - 2.5 * (
            (minute - 240) / 60 if minute <= 300 else math.exp(-(minute - 300) / 30)
        )

    minutes = list(range(0, 306, 5))
    body = us_request(
        column={"elapsed": minutes, "temperatures": [shown(m) for m in minutes]},
        discharge={
            "elapsed": [75, 110, 145, 180, 215],
            "moistures": [16.1, 16.3, 16.2, 16.4, 16.2],
        },
        rates={"elapsed": [0, 240, 300], "rates": [800, 0, 800]},
        held_below_sensors=800,
        now_elapsed=305,
    )
    del body["discharge_rate"]
    answer = ask(client, body)
    assert (answer["advice"], answer["reasons"]) == ("wait", ["grain-stood"])
    # the dryer is full of grain from after the stop one transit after its end
    assert answer["look_at_elapsed"] == 420
