"""Readings no sensor can give, over HTTP: what trend, gain and setpoint advice say of them."""

from __future__ import annotations

import math
from typing import Any

import pytest

MINUTES = [5.0 * k for k in range(49)]
LEVEL = [98.0 + 0.4 * math.sin(m / 13.0) for m in MINUTES]
ALONE = "stands alone between calm ones, as a loose wire or interference gives"
BURNS = "a broken sensor, or a fire: look at the dryer"
# open wires: 3276.7 and 999.9 on either scale, a row of nines, a full register
SPIKES = [5930.06, 3276.7, 1831.82, 9999.0, 65_535.0]


def put(*entries: tuple[int, float], onto: list[float] | None = None) -> list[float]:
    values = list(LEVEL if onto is None else onto)
    for place, value in entries:
        values[place] = value
    return values


def ask(client, path: str, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(f"/v1/{path}", json={"units": "us"} | body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def three_answers(client, values: list[float], rate: float = 800.0, **more) -> list[dict[str, Any]]:
    series = {"elapsed": MINUTES, "temperatures": values}
    rates = {"elapsed": [0.0, 200.0], "rates": [800.0, rate]}
    trace = series | {"setpoint": 98.0, "output": rates}
    advice = {
        "setpoint": 98.0,
        "target": 15.0,
        "transit": 2.0,
        "column": series,
        "discharge": {"elapsed": [120.0, 150.0, 185.0, 220.0], "moistures": [16.5] * 4},
        "rates": rates,
    }
    return [
        ask(client, "trend", {"column": trace}),
        ask(client, "gain-advice", {"traces": [trace]}),
        ask(client, "setpoint-advice", advice | more),
    ]


@pytest.fixture(scope="module")
def calm(client):
    return three_answers(client, LEVEL)


@pytest.mark.parametrize("spike", SPIKES)
def test_one_spike_loses_nobody_the_answer_and_is_said_to_be_the_sensors(client, calm, spike):
    for answer, usual in zip(three_answers(client, put((20, spike))), calm, strict=True):
        assert answer["decision"] == usual["decision"]
        (note,) = (note for note in answer["notes"] if "hotter than any sensor" in note)
        assert note.startswith("1 of 49 column temperatures is hotter than any sensor")
        assert ALONE in note
        assert BURNS not in note
        assert answer["cautions"] == usual["cautions"]


def test_spikes_that_come_again_stay_the_sensors_while_each_stands_alone(client):
    for answer in three_answers(client, put((10, 9999.0), (20, 9999.0), (30, 3276.7))):
        assert any(note.startswith("3 of 49") and ALONE in note for note in answer["notes"])


@pytest.mark.parametrize(
    "entries",
    [[(20, 5930.0), (21, 5930.0)], [(19, 101.0), (20, 104.5), (21, 5930.0)],
     [(20, 5930.0), (21, 104.5)], [(20, 5930.0), (21, -328.0)]],
)  # fmt: skip
def test_a_run_of_them_or_one_with_a_climb_keeps_the_words_of_fire(client, entries):
    for answer in three_answers(client, put(*entries)):
        assert not answer["decision"].startswith("FIRE CAUTION")
        assert any(BURNS in note for note in answer["notes"])
        assert answer["cautions"][0]["code"] == "fire-column"


@pytest.mark.parametrize("count", [1, 2, 12])
def test_at_the_end_they_are_a_fire_first(client, count):
    for answer in three_answers(client, LEVEL[:-count] + [5930.0] * count):
        assert answer["decision"].startswith("FIRE CAUTION: the temperature stands at 5,930 degF")
        assert ("take it for real" in answer["decision"]) is (count == 1)
        (note,) = (note for note in answer["notes"] if "an open wire may give it" in note)
        assert "look at the dryer first" in note


def test_one_too_cold_is_left_out_and_hides_no_climb(client, calm):
    for answer, usual in zip(three_answers(client, put((20, -328.0))), calm, strict=True):
        assert answer["decision"] == usual["decision"]
        assert any("1 of 49 column temperatures is colder" in note for note in answer["notes"])
    climbs = put((45, 99.0), (46, 101.0), (47, 103.0), (48, -328.0))
    for answer in three_answers(client, climbs, rate=0.0):
        assert answer["decision"].startswith("FIRE CAUTION: the column temperature has climbed")


def test_where_most_cannot_be_true_nothing_is_steered_by_the_rest(client):
    trend, gain, setpoint = three_answers(
        client, [-328.0 if k % 2 else v for k, v in enumerate(LEVEL)]
    )
    assert trend["verdict"] == "sensor-fault" == gain["reason"]
    assert setpoint["reasons"] == ["trend-sensor-fault"]
    alone = {"elapsed": MINUTES, "temperatures": [-328.0] * 49, "setpoint": 98.0}
    refused = client.post("/v1/trend", json={"units": "us", "column": alone})
    assert refused.status_code == 422
    assert "a broken sensor or wire: look at the sensor" in refused.json()["detail"]


def test_a_spike_of_the_exhaust_is_told_as_its_own(client, calm):
    exhaust = {"elapsed": MINUTES, "temperatures": put((20, 9999.0), onto=[110.0] * 49)}
    answer = three_answers(client, LEVEL, exhaust=exhaust)[2]
    assert answer["decision"] == calm[2]["decision"]
    assert any(
        note.startswith("1 of 49 exhaust temperatures is hotter") for note in answer["notes"]
    )
