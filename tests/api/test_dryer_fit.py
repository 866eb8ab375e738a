"""The dryer fit over HTTP: runs in, factors out, and a fit that every question takes."""

from __future__ import annotations

import re

import pytest

from asked_dryers import FITTED, METRIC, fahrenheit, in_us_units, with_zones, without

PATH = "/v1/dryer-fit"
TRUE_FACTOR = 1.15
MACHINE = {name: METRIC[name] for name in ("units", "grain", "dryer")} | {"test_weight": 70}
SHEET = ((20.0, 29.0, 8.0), (22.0, 26.0, 12.0), (24.0, 23.0, 4.0), (21.0, 30.0, 15.0))


@pytest.fixture(scope="module")
def runs(client):
    """Runs that the column itself makes with a known rate factor, free of errors."""
    truth = FITTED | {"rate_factor": TRUE_FACTOR}
    made = []
    for moisture, rate, ambient in SHEET:
        body = without(METRIC, "target_moisture") | {
            "moisture": moisture, "rate": rate, "ambient_temperature": ambient,
            "grain_temperature": ambient, "fitted": truth, "test_weight": 70,
        }  # fmt: skip
        figures = client.post("/v1/column-profile", json=body).json()["figures"]
        made.append(
            {"rate": rate, "moisture": moisture, "ambient_temperature": ambient,
             "grain_temperature": ambient, "ambient_relative_humidity": 70,
             "discharge_moisture": figures["moisture"]["value"],
             "column_temperature": figures["column_temperature"]["value"]}
        )  # fmt: skip
    return made


def ask(client, body, status=200, **changes):
    answer = client.post(PATH, json=body | changes)
    assert answer.status_code == status, answer.text
    return answer.json()


@pytest.fixture(scope="module")
def fit(client, runs):
    return ask(client, MACHINE | {"runs": runs})


def test_runs_without_errors_give_their_rate_factor_back(fit):
    rate = fit["factors"][0]["value"]
    assert rate["value"] == pytest.approx(TRUE_FACTOR, rel=0.05)
    assert rate["low"] < TRUE_FACTOR < rate["high"]
    assert fit["factors"][1]["value"]["value"] == pytest.approx(1.0, abs=0.06)
    assert fit["moisture_rms"] < 0.1
    assert fit["suspicious"] == []


def test_the_decision_is_the_finding_and_the_hint_for_programs_is_a_note(fit):
    assert next(iter(fit)) == "decision"
    assert fit["decision"].startswith("This dryer's grain dries 0.7")
    truth, noted = (float(word) for word in re.findall(r"within ([0-9.]+) points", fit["decision"]))
    assert truth < noted  # who compares a meter with the forecast sees the meter's error too
    assert "fitted`" not in fit["decision"]
    assert "`fitted`" in fit["notes"][0]
    assert fit["fitted"]["runs"] == len(SHEET)


def test_every_question_about_the_dryer_takes_the_fit(client, fit):
    asked = METRIC | {"fitted": fit["fitted"]}
    for path, body in (
        ("/v1/column-profile", asked),
        ("/v1/column-response", asked | {"step": {"moisture": 23}}),
        ("/v1/discharge-rate", asked),
        ("/v1/start-plan", with_zones(asked, plenum_temperature=None)),
    ):
        answer = client.post(path, json=body)
        assert answer.status_code == 200, answer.text
        assert "rate_factor" not in {entry["input"] for entry in answer.json()["assumed"]}
        plain = client.post(path, json=without(body, "fitted")).json()
        assert answer.json()["decision"] != plain["decision"]


def test_a_fit_narrows_what_an_unfitted_dryer_leaves_open(client, fit):
    def width(body):
        rate = client.post("/v1/column-profile", json=body).json()["figures"]["discharge_rate"]
        return rate["high"] / rate["low"]

    assert width(METRIC | {"fitted": fit["fitted"]}) < width(METRIC)


def test_a_run_with_a_wrong_moisture_is_pointed_at(client, runs):
    wrong = [dict(run) for run in runs]
    wrong[2]["discharge_moisture"] += 3.0
    answer = ask(client, MACHINE | {"runs": wrong})
    assert answer["suspicious"] == [2]
    assert "run 3" in answer["decision"]
    assert answer["runs"][2]["reason"]


def test_one_run_moves_what_is_believed_and_says_so(client, runs, fit):
    one = ask(client, MACHINE | {"runs": runs[:1]})
    spread = one["fitted"]["rate_spread"]
    assert spread > fit["fitted"]["rate_spread"]
    assert any("1 run moves what is believed" in note for note in one["notes"])


def test_a_fit_goes_on_from_an_earlier_one(client, runs, fit):
    more = ask(client, MACHINE | {"runs": runs[:2], "earlier": fit["fitted"]})
    assert more["fitted"]["runs"] == len(SHEET) + 2
    assert more["fitted"]["rate_spread"] <= fit["fitted"]["rate_spread"]


def test_both_unit_systems_find_the_same(client, runs, fit):
    us = in_us_units(METRIC)
    body = {"units": "us", "grain": us["grain"], "dryer": us["dryer"],
            "test_weight": 700 / 0.45359237 * 2150.42 * 0.0254**3}  # fmt: skip
    kg = body["test_weight"] * 0.45359237
    rows = [
        run | {name: fahrenheit(run[name]) for name in run if name.endswith("temperature")}
        | {"rate": run["rate"] * 1000 / kg}
        for run in runs
    ]  # fmt: skip
    found = ask(client, body | {"runs": rows})
    assert found["fitted"]["rate_factor"] == pytest.approx(fit["fitted"]["rate_factor"], rel=1e-5)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"runs": []}, "/runs"),
        ({"earlier": FITTED | {"grain": "soybean"}}, "/earlier"),
    ],
)
def test_what_cannot_be_fitted_is_refused(client, runs, change, pointer):
    problem = ask(client, MACHINE | {"runs": runs} | change, status=422)
    assert problem["errors"][0]["pointer"] == pointer


def test_plenums_that_do_not_match_the_zones_are_refused(client, runs):
    rows = [runs[0] | {"plenum_temperatures": [90, 80]}]
    problem = ask(client, MACHINE | {"runs": rows}, status=422)
    assert problem["errors"][0]["pointer"] == "/runs/0/plenum_temperatures"


def test_a_run_that_wets_grain_is_refused_by_place(client, runs):
    wetted = [*runs[:2], runs[2] | {"discharge_moisture": runs[2]["moisture"] + 1.0}]
    problem = ask(client, MACHINE | {"runs": wetted}, status=422)
    assert problem["errors"][0]["pointer"] == "/runs/2/discharge_moisture"


def test_a_fit_that_misses_its_own_runs_by_points_is_not_to_be_used(client, runs, fit):
    slipped = [run | {"rate": run["rate"] * 10.0} for run in runs]
    found = ask(client, MACHINE | {"runs": slipped})
    assert fit["usable"] is True
    assert found["usable"] is False
    assert found["moisture_rms"] > 1.5
    assert found["decision"].startswith("Do not use this fit")


def test_copies_of_a_run_narrow_nothing_and_the_advice_to_spread_stays(client, runs):
    one, many = (ask(client, MACHINE | {"runs": runs[:1] * count}) for count in (1, 12))
    assert many["fitted"] == pytest.approx(one["fitted"])
    assert "from 12 runs, so alike that they count as 1," in many["decision"]
    assert any("spread over inlet moistures" in note for note in many["notes"])


def test_runs_of_one_setting_are_told_to_spread_even_when_there_are_many(client, runs):
    """Read anew every time, so they count; but all of one state of the dryer."""
    near = [
        runs[0] | {"discharge_moisture": runs[0]["discharge_moisture"] + 0.25 * (k % 3),
                   "ambient_temperature": 4.0 + 2.0 * k, "grain_temperature": 4.0 + 2.0 * k}
        for k in range(10)
    ]  # fmt: skip
    answer = ask(client, MACHINE | {"runs": near})
    assert answer["fitted"]["runs"] == 10
    assert any("spread over all three" in note for note in answer["notes"])
