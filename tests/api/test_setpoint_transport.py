"""How long grain takes, over HTTP: told, by what is held, or by a described dryer."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from setpoint_requests import MINUTES, PATH, ZONES, ask, column, us_request, with_dryer


def test_without_any_transport_time_it_says_what_is_missing(client):
    body = us_request(15.5)
    del body["transit"]
    answer = client.post(PATH, json=body)
    assert answer.status_code == 422
    assert "transit" in answer.json()["detail"]


def test_a_lot_reaches_the_sensors_by_the_grain_held_and_the_rates_it_met(client):
    inlet = {"elapsed": [0, 225], "moistures": [22, 25]}

    def reaches(*rates: float) -> float:
        log = {"elapsed": [0, 240], "rates": rates}
        body = us_request(15.5, inlet=inlet, rates=log, held_below_sensors=800, inlet_uncertainty=0)
        del body["transit"]
        answer = ask(client, body)
        return answer["schedule"][0]["at_elapsed"]

    # 800 bu above the sensors: 200 of them leave in the first quarter of an hour
    assert reaches(800, 800) == pytest.approx(285)
    assert reaches(800, 400) == pytest.approx(240 + 90)
    assert reaches(800, 1200) == pytest.approx(240 + 30)


def test_a_chance_that_hangs_on_the_lag_says_so_and_what_another_lag_would_say(client):
    moved = [v + 4.0 * (m >= 150) for m, v in zip(MINUTES, column(98.0), strict=True)]
    body = us_request(
        setpoint=102,
        earlier_setpoint=98,
        last_move_elapsed=145,
        column={"elapsed": MINUTES, "temperatures": moved},
        discharge={
            "elapsed": [215, 225, 235, 245, 255],
            "moistures": [15.4, 15.6, 15.5, 15.4, 15.6],
        },
    )

    def said(**more: float) -> list[str]:
        return [n for n in ask(client, body | more)["notes"] if "hangs on the lag" in n]

    (note,) = said()
    # a short lag has these readings from after the step up, a long one from before it
    shorter, longer = (float(found) for found in re.findall(r"about ([\d.]+) % were it", note))
    assert shorter > ask(client, body)["expected_moisture"] > longer
    assert note.startswith("Much of that chance hangs on the lag")
    assert said(lag_uncertainty=0) == []
    # far from the target either lag says the same of which way, and not how far
    (note,) = said(target=13.0)
    assert note.startswith("How far off that is hangs on the lag")
    # where no chance is told there is none to hang on it
    (note,) = said(target=round(ask(client, body)["expected_moisture"], 4))
    assert note.startswith("How sure that is hangs on the lag")


def test_a_lot_is_either_still_to_be_answered_or_what_the_advice_is_for(client):
    rates = {"elapsed": [0, 230], "rates": [1000, 700]}
    inlet = {"elapsed": [0, 180], "moistures": [21, 24]}
    for now in (264, 280, 300):
        minutes = list(range(0, now + 1, 5))
        shown = {"elapsed": minutes, "temperatures": [98 + 0.4 * math.sin(m / 13) for m in minutes]}
        answer = ask(
            client,
            us_request(15.5, column=shown, inlet=inlet, inlet_uncertainty=0, now_elapsed=now)
            | {"rates": rates, "held_below_sensors": 1000, "transit": 2.5},
        )
        told = answer["decision"] + " ".join(answer["notes"])
        assert ("nothing more is planned" in told) + ("This is not for" in told) == 0
        # for the grain before it, 15.5 %, only while its own move is planned or part of the advice
        asked = "known-change" in answer["reasons"] or bool(answer["schedule"])
        assert asked == (answer["expected_moisture"] > 15.0)
        assert bool(answer["effects"]) == asked


def arrives(client, **changes: Any) -> float:
    """Minute at which a lot that entered at minute 180 is told to be at the sensors."""
    lot = {"kind": "inlet-moisture", "at_elapsed": 180, "moisture_change": 3}
    inlet = {"elapsed": [0], "moistures": [21]}
    body = us_request(15.5, known_changes=[lot], inlet=inlet, held_below_sensors=1000, transit=2.5)
    (effect,) = ask(client, body | changes)["effects"]
    return effect["at_sensors_elapsed"]


def test_a_lot_is_told_later_at_the_sensors_as_the_rate_falls_though_the_transit_told_stays(client):
    usual = {"elapsed": [0], "rates": [1000]}
    lower = {"elapsed": [0, 200], "rates": [1000, 600]}
    lowest = {"elapsed": [0, 200], "rates": [1000, 400]}
    told = [arrives(client, rates=log) for log in (usual, lower, lowest)]
    # 1500 bu lie above the sensors at the usual rate: an hour and a half
    assert told[0] == pytest.approx(180 + 90)
    assert told[0] < told[1] < told[2]


def test_the_grain_above_the_sensors_says_when_a_lot_is_there_at_any_rate(client):
    rates = {"elapsed": [0, 230], "rates": [1000, 700]}
    told = arrives(client, rates=rates, held_above_sensors=1500)
    by_230 = 1000 * 50 / 60
    assert told == pytest.approx(230 + 60 * (1500 - by_230) / 700, abs=0.01)


def test_a_transit_in_which_less_leaves_than_lies_below_the_sensors_is_refused(client):
    answer = client.post(PATH, json=us_request(15.5, held_below_sensors=1700))
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/transit"
    assert "1600 bu" in error["detail"]  # two hours at 800 bu/h
    assert "1700 bu" in error["detail"]


def test_sensors_at_the_top_have_nothing_above_them_and_no_dust(client):
    held = 1600  # all that leaves in the transit of two hours at 800 bu/h
    assumed = ask(client, us_request(15.5, held_below_sensors=held))["assumed"]
    assert [a["value"] for a in assumed if a["input"] == "held_above_sensors"] == [0.0]


def test_a_lag_longer_than_the_transit_is_refused(client):
    answer = client.post(PATH, json=us_request(15.5, lag=180))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/lag"
    assert ask(client, us_request(15.5, lag=120))["advice"] == "hold"


def test_the_grain_above_the_sensors_needs_that_below_them(client):
    answer = client.post(PATH, json=us_request(15.5, held_above_sensors=700))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/held_above_sensors"


def untimed(**changes: Any) -> dict[str, Any]:
    """A described dryer of which nobody says how long grain takes."""
    body = with_dryer(22.0, **changes)
    del body["transit"]
    return body


# Of 2100 bu 700 lie below the middle of the sensors, weighed between 22 and 15.5 %; as they leave:
BELOW = 700 * (1 - (0.22 + 0.155) / 2) / (1 - 0.155)


def lags(answer: dict[str, Any]) -> list[float]:
    return [pair["lag"] for pair in answer["matched"]]


def test_the_lag_of_a_described_dryer_is_what_it_holds_below_its_sensors_over_the_rate(client):
    answer = ask(client, untimed())
    assert lags(answer) == pytest.approx([60 * BELOW / 800] * 5, abs=0.01)
    assert answer["transit"] == pytest.approx(3 * BELOW / 800, abs=0.001)
    (held,) = (one for one in answer["assumed"] if one["input"] == "held_below_sensors")
    assert held["value"] == pytest.approx(BELOW, abs=0.01)
    assert "a lag of 50 min" in held["why"]
    log = {"elapsed": [0, 190], "rates": [800, 400]}
    slower = ask(client, untimed(rates=log))
    # 400 bu in the last hour, the rest at the rate before
    assert lags(slower)[-1] == pytest.approx(60 + 60 * (BELOW - 400) / 800, abs=0.01)


def test_where_the_sensors_of_a_described_dryer_sit_divides_a_told_transit(client):
    answer = ask(client, with_dryer(22.0))
    assert lags(answer) == pytest.approx([40] * 5)
    (lag,) = (one for one in answer["assumed"] if one["input"] == "lag")
    assert "described dryer" in lag["source"]


@pytest.mark.parametrize(
    ("told", "lag"), [({"held_below_sensors": 400}, 30), ({"lag": 55}, 55)], ids=["held", "lag"]
)
def test_a_lag_that_was_told_is_not_taken_from_the_described_dryer(client, told, lag):
    answer = ask(client, untimed(**told))
    assert lags(answer) == pytest.approx([lag] * 5)
    assert not {"lag", "held_below_sensors"} & {one["input"] for one in answer["assumed"]}


def test_a_described_dryer_without_sensors_tells_no_lag(client):
    zones = [{k: v for k, v in zone.items() if k != "sensors"} for zone in ZONES]
    answer = client.post(PATH, json=untimed(dryer={"kind": "mixed-flow", "zones": zones}))
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/transit"
    assert "`dryer` with its sensors" in error["detail"]


def test_a_lag_that_was_not_timed_makes_the_chance_less_sure_and_nothing_else(client):
    moved = [v + 1.5 * (m >= 120) for m, v in zip(MINUTES, column(98.0), strict=True)]
    body = us_request(column={"elapsed": MINUTES, "temperatures": moved}, last_move_elapsed=100)
    timed, usual = (ask(client, body | more) for more in ({"lag_uncertainty": 10}, {}))
    assert usual["chance"] < timed["chance"]
    for one in (timed, usual):
        del one["chance"], one["notes"]
    (assumed,) = (one for one in usual["assumed"] if one["input"] == "lag_uncertainty")
    assert assumed["value"] == 60
    usual["assumed"].remove(assumed)
    assert usual == timed


def test_a_large_dryer_is_not_refused_for_what_it_is_taken_to_hold_in_all(client):
    body = us_request(15.5, held_below_sensors=20_000, discharge_rate=5_000)
    del body["transit"]
    assert lags(ask(client, body)) == pytest.approx([240] * 5)
