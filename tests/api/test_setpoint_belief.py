"""The belief over HTTP: of which grain it is, and what a step of the moisture does to it."""

from __future__ import annotations

import math
from typing import Any

import pytest

PATH = "/v1/setpoint-advice"


def asked(readings: list[float], **changes: Any) -> dict[str, Any]:
    """A level column with a reading every half hour, the last one now."""
    minutes = list(range(0, 60 + 30 * len(readings), 5))
    body: dict[str, Any] = {
        "units": "us",
        "target": 15.5,
        "setpoint": 98,
        "column": {
            "elapsed": minutes,
            "temperatures": [round(98 + 0.4 * math.sin(m / 13), 1) for m in minutes],
        },
        "discharge": {
            "elapsed": [60 + 30 * k for k in range(len(readings))],
            "moistures": readings,
        },
        "lag": 30,
        "discharge_rate": 800,
        "now_elapsed": minutes[-1],
    }
    return body | changes


def ask(client, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(PATH, json=body)
    assert answer.status_code == 200, answer.text
    return answer.json()


CORN = [15.4, 15.6, 15.5, 15.4, 15.6]


@pytest.fixture
def learned(client) -> dict[str, Any]:
    belief = ask(client, asked(CORN, sensitivity=-0.9))["belief"]
    assert belief["grain"] == "corn-yellow-dent"
    return belief


def test_a_belief_of_another_grain_is_left_out_and_learning_begins_anew(client, learned):
    readings = [*CORN, 13.4]
    answer = ask(client, asked(readings, grain="soybean", target=13, belief=learned))
    # of the six readings five were of corn
    alone = ask(client, asked(readings, grain="soybean", target=13) | {
        "discharge": {"elapsed": [210], "moistures": [13.4]}
    })  # fmt: skip
    assert answer["belief"] == alone["belief"]
    assert answer["belief"]["grain"] == "soybean"
    assert answer["belief"]["sensitivity"] == pytest.approx(-0.55, abs=0.01)
    assert any("learned from yellow dent corn and says nothing of soybean" in note
               for note in answer["notes"])  # fmt: skip
    assert [one["input"] for one in answer["assumed"]].count("sensitivity") == 1


def test_a_belief_of_the_same_grain_is_taken_without_a_word(client, learned):
    answer = ask(client, asked([*CORN, 15.5], belief=learned))
    assert answer["belief"]["readings"] == 6
    assert not any("learned from" in note for note in answer["notes"])
    assert "belief.grain" not in [one["input"] for one in answer["assumed"]]


def test_a_misspelt_grain_of_a_belief_is_refused_and_what_was_learned_is_not_lost(client, learned):
    learned["grain"] = "corn-yelow-dent"
    answer = client.post(PATH, json=asked([*CORN, 15.5], belief=learned))
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("unknown-name")
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == "/belief/grain"
    assert fault["value"] == "corn-yelow-dent"
    assert "corn-yellow-dent" in fault["allowed"]["one_of"]


def test_an_old_belief_that_names_no_grain_is_taken_and_that_is_said(client, learned):
    del learned["grain"]
    answer = ask(client, asked([*CORN, 15.5], belief=learned))
    assert answer["belief"]["readings"] == 6
    assert answer["belief"]["grain"] == "corn-yellow-dent"
    assert [one["choice"] for one in answer["assumed"] if one["input"] == "belief.grain"] == [
        "corn-yellow-dent"
    ]


def test_a_belief_of_another_grain_is_not_lost_while_nothing_is_learned(client, learned):
    body = asked([*CORN, 13.4], grain="soybean", target=13, belief=learned)
    body["column"]["temperatures"] = [98.0 + 1.2 * k for k in range(len(body["column"]["elapsed"]))]
    answer = ask(client, body)
    assert answer["advice"] == "fire-caution"
    assert answer["belief"] == learned


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_step_of_the_moisture_is_believed_after_three_readings_over_as_many_requests(
    client, units
):
    readings, belief = [15.5, 15.5, 17.5, 17.4, 17.6], None
    for count in range(1, len(readings) + 1):
        body = asked(readings[:count], units=units, sensitivity_uncertainty=0.2)
        if units == "metric":
            body |= {"setpoint": 36.7, "discharge_rate": 20.0}
            shown = body["column"]["temperatures"]
            body["column"]["temperatures"] = [round((t - 32.0) / 1.8, 2) for t in shown]
        answer = ask(client, body | ({"belief": belief} if belief else {}))
        belief = answer["belief"]
    assert answer["expected_moisture"] > 15.5 + 0.9 * 2.0
    assert "run" not in belief


@pytest.mark.parametrize("end", ["low", "high"])
def test_every_belief_given_is_taken_back(client, learned, end):
    # as far out as a belief may lie, and then driven on by readings that agree with none of it
    far = {
        "low": {"inlet_effect": -2.0, "last_doubt": -60.0, "level": -50.0, "sensitivity": -2.7},
        "high": {"inlet_effect": 2.0, "last_doubt": 60.0, "level": 100.0, "sensitivity": -0.03},
    }[end]
    loose = {"inlet_effect_sd": 2.0, "level_sd": 50.0, "sensitivity_sd": 2.7, "grain": None}
    belief = {k: v for k, v in (learned | far | loose).items() if v is not None}
    belief |= {"reference_inlet": 22.0, "sensitivity_prior": far["sensitivity"]}
    inlet = {"elapsed": [0, 100], "moistures": [22, 30]}
    readings = [*CORN, 15.5]
    for more in ([50.0], [2.0], [50.0], [2.0, 2.0], [55.0]):
        readings = readings + more
        answer = ask(client, asked(readings, belief=belief, inlet=inlet, inlet_uncertainty=0))
        belief = answer["belief"]


def test_what_an_answer_gave_to_be_kept_is_taken_back_at_the_very_same_time(client):
    change = {"kind": "inlet-moisture", "at_elapsed": 190, "moisture_change": 3}
    # told to nine digits, this time reads later than it is
    body = asked(CORN, now_elapsed=205.0000006, known_changes=[change])
    first = ask(client, body)
    assert first["due"]["at_elapsed"] > body["now_elapsed"]
    ask(client, body | {"due": first["due"], "belief": first["belief"]})


def test_what_was_kept_is_refused_in_the_other_units_as_its_figures_would_be_misread(client):
    wetter = {"kind": "inlet-moisture", "at_elapsed": 205, "moisture_change": 2}
    body = asked(CORN, known_changes=[wetter])
    kept = ask(client, body)
    metric = body | {
        "units": "metric",
        "setpoint": 36.7,
        "discharge_rate": 20,
        "column": body["column"] | {"temperatures": [36.7] * len(body["column"]["elapsed"])},
    }
    for name in ("belief", "due"):
        assert kept[name]["units"] == "us"
        answer = client.post(PATH, json=metric | {name: kept[name]})
        (error,) = answer.json()["errors"]
        assert error["pointer"] == f"/{name}"
        assert "in us units and the request in metric" in error["detail"]
