"""A fitted dryer in the season plan and the weather outlook: rate, words, what is refused."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
FITTED = {
    "grain": "corn-yellow-dent", "kinetics": "kinetics.diffusion.henderson-pabis-1961",
    "isotherm": "emc.henderson-modified.d245-4", "rate_factor": 1.3, "rate_spread": 6,
    "airflow_factor": 0.95, "airflow_spread": 7, "correlation": -0.4, "discrepancy": 0.18,
    "runs": 9, "version": "1",
}  # fmt: skip
DRYER = {
    "kind": "mixed-flow",
    "zones": [
        {"role": "heated", "volume": 500, "plenum_temperature": 210, "airflow": 24000},
        {"role": "heated", "volume": 500, "plenum_temperature": 185, "airflow": 24000},
        {"role": "cooling", "volume": 300, "airflow": 15000},
    ],
}
STEADY = {
    "units": "us", "grain": "corn-yellow-dent",
    "hourly": {"elapsed": [0, 60 * 119], "temperature": [45, 45], "relative_humidity": [70, 70]},
    "lots": {"elapsed": [0], "weight": [20000], "moisture": [22]},
    "wet_holding": 1e6, "final_moisture": 15.5, "alternatives": False,
}  # fmt: skip


def plan(client, status=200, **changes):
    body = copy.deepcopy(STEADY) | {"dryer": DRYER, "fitted": FITTED} | changes
    response = client.post(
        "/v1/season-plan", json={name: value for name, value in body.items() if value is not None}
    )
    assert response.status_code == status, response.text
    return response.json()


def outlook(client, status=200, **changes):
    body = json.loads((EXAMPLES / "weather_outlook" / "us-cold-front.json").read_text())["request"]
    body |= {"dryer": DRYER, "fitted": FITTED} | changes
    response = client.post(
        "/v1/weather-outlook",
        json={name: value for name, value in body.items() if value is not None},
    )
    assert response.status_code == status, response.text
    return response.json()


def test_a_season_dries_at_the_rate_that_discharge_rate_gives(client):
    season = plan(client)
    asked = {
        "units": "us", "grain": "corn-yellow-dent", "dryer": DRYER, "fitted": FITTED,
        "moisture": 22, "target_moisture": 15.5, "ambient_temperature": 45,
        "ambient_relative_humidity": 70,
    }  # fmt: skip
    rate = client.post("/v1/discharge-rate", json=asked).json()
    assert rate["method"] == "column-model"
    figures = rate["figures"]
    hours = season["dried"] / figures["discharge_rate"]["value"]
    assert season["dryer_hours"] == pytest.approx(hours, rel=0.02)
    per_hour = season["liquid"] / season["dryer_hours"]
    assert per_hour == pytest.approx(figures["fuel"]["liquid"], rel=0.02)


def test_a_faster_fit_works_fewer_hours_and_says_what_it_rests_on(client):
    slow, fast = (plan(client, fitted=FITTED | {"rate_factor": factor}) for factor in (0.8, 1.3))
    assert fast["dryer_hours"] < 0.9 * slow["dryer_hours"]
    assert any("fitted to 9 runs" in note for note in fast["notes"])
    used = {method["id"] for method in fast["methods"]}
    assert {"season.rate-fitted-column", "dryer.column", FITTED["kinetics"]} <= used
    plain = plan(client, fitted=None)
    assert plain["heat_high"] / plain["heat"] > fast["heat_high"] / fast["heat"]
    assert not any("fitted" in note for note in plain["notes"])


def test_a_known_rate_sets_the_level_and_the_answer_says_how_far_off_the_fit_was(client):
    known = {
        "rate": 400, "moisture": 22, "discharge_moisture": 15.5, "ambient_temperature": 45,
    }  # fmt: skip
    answer = plan(client, known_rate=known)
    assert answer["dryer_hours"] == pytest.approx(20000 / 400, rel=0.02)
    note = next(note for note in answer["notes"] if "`known_rate` sets the level" in note)
    assert "less than the column gives" in note
    assert "far apart" in note


def test_a_known_rate_narrows_the_band_of_fuel_only_where_it_states_its_fuel(client):
    rate = {"rate": 600, "moisture": 22, "discharge_moisture": 15.5, "ambient_temperature": 45}

    def widths(**changes):
        answer = plan(client, **changes)
        return [answer[f"heat_{end}"] / answer["heat"] - 1.0 for end in ("low", "high")]

    free = widths(fitted=None)
    fuelled = widths(fitted=None, known_rate=rate | {"energy_per_water": 2000})
    assert widths(fitted=None, known_rate=rate) == pytest.approx(free)
    assert widths() == pytest.approx(fuelled)
    # standard deviations of one balance and of one anchored to a run, times 1.645
    assert free == pytest.approx([-1.645 * 0.12, 1.645 * 0.12], rel=1e-4)
    assert fuelled == pytest.approx([-1.645 * 0.07, 1.645 * 0.07], rel=1e-4)


@pytest.mark.parametrize("dryer, fitted", [(None, None), (DRYER, None), (DRYER, FITTED)])
def test_high_above_the_sea_a_run_in_its_own_air_goes_on_as_it_was(client, dryer, fitted):
    run = {
        "rate": 780, "moisture": 22, "discharge_moisture": 15.5, "ambient_temperature": 50,
        "plenum_temperature": 200, "energy_per_water": 2000,
    }  # fmt: skip
    air = {"elapsed": [0, 600], "temperature": [50, 50], "relative_humidity": [70, 70]}
    machine = {"dryer": dryer, "fitted": fitted}
    if dryer is not None:  # the run's plenum replaces the described ones, which then burn as much
        zones = [zone | {"plenum_temperature": 200} for zone in DRYER["zones"][:2]]
        machine["dryer"] = dryer | {"zones": [*zones, DRYER["zones"][2]]}
    forecast = outlook(client, run=run, forecast=air, altitude=8000, **machine)
    assert forecast["hours"]["rate"] == pytest.approx([780.0] * 11, rel=1e-3)
    water = 780 * 56 * (0.22 - 0.155) / (1.0 - 0.155)  # lb/h
    assert forecast["hours"]["heat"] == pytest.approx([2000.0 * water] * 11, rel=1e-3)
    machine |= {"known_rate": run, "altitude": 8000}
    hourly = air | {"elapsed": [0, 60 * 119]}
    season = plan(client, hourly=hourly, **machine)
    assert season["dryer_hours"] == pytest.approx(20_000 / 780, rel=1e-3)
    assert season["heat"] == pytest.approx(20_000 / 780 * 2000.0 * water, rel=1e-3)


@pytest.mark.parametrize("ask, name", [(plan, "known_rate"), (outlook, "run")])
def test_fuel_is_said_to_read_low_only_where_no_run_states_it(client, ask, name):
    run = {"rate": 600, "moisture": 22, "discharge_moisture": 15.5, "ambient_temperature": 50}
    silent, stated = (
        " ".join(ask(client, **{name: run | energy})["notes"])
        for energy in ({}, {"energy_per_water": 2000})
    )
    assert "real fuel use is higher" in silent
    assert f"State `energy_per_water` in `{name}`" in silent
    assert "fitted to 9 runs" in stated
    assert "fuel use" not in stated
    assert "energy_per_water" not in stated


@pytest.mark.parametrize("rate_factor", [0.4, 1.3])
def test_a_forecast_changes_the_rate_as_the_fitted_column_does(client, rate_factor):
    fitted = FITTED | {"rate_factor": rate_factor}
    body = outlook(client, fitted=fitted)
    assert any("`run` sets the level" in note for note in body["notes"])
    assert body["hours"]["rate"][0] == pytest.approx(body["hours"]["needed_rate"][0])
    needed, air = body["hours"]["needed_rate"], body["hours"]["temperature"]
    first, last = (
        client.post(
            "/v1/discharge-rate",
            json={
                "units": "us", "grain": "corn-yellow-dent", "dryer": DRYER, "fitted": fitted,
                "moisture": 22, "target_moisture": 15.5, "ambient_temperature": air[hour],
                "ambient_relative_humidity": 80, "grain_temperature": air[hour],
            },
        ).json()["figures"]["discharge_rate"]["value"]
        for hour in (0, -1)
    )  # fmt: skip
    # 0.974 and 0.960; the quick balance, without a fit, says 0.977
    assert needed[-1] / needed[0] == pytest.approx(last / first, abs=0.0015)


@pytest.mark.parametrize("ask", [plan, outlook])
@pytest.mark.parametrize(
    "changes, pointer",
    [
        ({"fitted": FITTED | {"grain": "soybean"}}, "/fitted/grain"),
        ({"fitted": FITTED | {"rate_factor": 200}}, "/fitted/rate_factor"),
        ({"fitted": FITTED | {"version": "0"}}, "/fitted/version"),
        ({"fitted": {**FITTED, "runs": 0}}, "/fitted/runs"),
        ({"fitted": FITTED | {"kinetics": "kinetics.nobody"}}, "/fitted/kinetics"),
        ({"fitted": FITTED | {"isotherm": "emc.nobody"}}, "/fitted/isotherm"),
        ({"dryer": DRYER | {"cross_section": 1}}, "/dryer/cross_section"),
    ],
)
def test_a_bad_fit_is_refused_by_its_field(client, ask, changes, pointer):
    assert ask(client, status=422, **changes)["errors"][0]["pointer"] == pointer


def test_the_fuel_is_the_dryers_where_the_plan_names_none(client):
    gas = plan(client, fitted=None, dryer=DRYER | {"fuel": "natural-gas"})
    assert gas["gas"] > 0.0
    assert "liquid" not in gas
    same = plan(client, fitted=None, dryer=DRYER | {"fuel": "natural-gas"}, fuel="natural-gas")
    assert same["gas"] == gas["gas"]
    hours = outlook(client, fitted=None, dryer=DRYER | {"fuel": "natural-gas"}, fuel="natural-gas")
    assert "gas" in hours["hours"]


def test_heat_by_electricity_has_no_gallons(client):
    answer = plan(client, fitted=None, dryer=DRYER | {"fuel": "electricity"})
    assert answer["heat"] > 0.0
    assert not {"liquid", "gas"} & set(answer)
    body = STEADY | {"dryer": DRYER | {"fuel": "electricity"}}
    picture = client.post("/v1/season-plan", json=body, headers={"accept": "image/svg+xml"})
    assert "Fuel by week, Btu" in picture.text


def test_an_indirect_burner_takes_more_fuel_for_the_same_hours(client):
    steam = DRYER | {"burner": "indirect"}
    whole, part = (
        plan(client, fitted=fitted, dryer=steam | {"burner_efficiency": 100.0 * share})
        for fitted, share in ((FITTED, 1.0), (FITTED, 0.5))
    )
    assert part["heat"] == pytest.approx(2.0 * whole["heat"], rel=1e-6)
    assert part["dryer_hours"] == pytest.approx(whole["dryer_hours"])
    assumed = {entry["input"] for entry in plan(client, dryer=steam)["assumed"]}
    assert "burner_efficiency" in assumed


@pytest.mark.parametrize("ask", [plan, outlook])
def test_two_fuels_for_one_dryer_are_refused(client, ask):
    fault = ask(client, status=422, dryer=DRYER | {"fuel": "fuel-oil"}, fuel="propane")["errors"][0]
    assert fault["pointer"] == "/fuel"


@pytest.mark.parametrize("ask, name", [(plan, "known_rate"), (outlook, "run")])
def test_two_kinds_of_one_dryer_are_refused(client, ask, name):
    run = {"rate": 600, "moisture": 22, "discharge_moisture": 15.5, "ambient_temperature": 50}
    fault = ask(client, status=422, **{name: run | {"kind": "cross-flow"}})["errors"][0]
    assert fault["pointer"] == f"/{name}/kind"
    assert "mixed-flow" in fault["detail"]
    assert ask(client, **{name: run | {"kind": "mixed-flow"}}) == ask(client, **{name: run})


def test_a_fit_that_never_dries_so_far_is_refused_with_how_far_it_gets(client):
    slow = FITTED | {"rate_factor": 0.02}
    fault = plan(client, status=422, fitted=slow, final_moisture=8)["errors"][0]
    assert fault["pointer"] == "/fitted"
    assert "takes a day" in fault["detail"]
    assert "8.0 % is wanted" in fault["detail"]


def test_a_fit_without_its_dryer_is_refused(client):
    known = {"rate": 600, "moisture": 22, "discharge_moisture": 15.5, "ambient_temperature": 45}
    for problem in (
        plan(client, status=422, dryer=None, known_rate=known),
        outlook(client, status=422, dryer=None),
    ):
        assert problem["errors"][0]["pointer"] == "/fitted"
        assert "give `dryer`" in problem["errors"][0]["detail"]


def test_a_lukewarm_dryer_in_muggy_air_says_where_the_fit_was_silent(client):
    zones = [
        {"role": "heated", "volume": 500, "plenum_temperature": 113, "airflow": 24000},
        {"role": "cooling", "volume": 300, "airflow": 15000},
    ]
    muggy = {"elapsed": [0, 60 * 400], "temperature": [68, 100], "relative_humidity": [90, 100]}
    answer = plan(client, dryer=DRYER | {"zones": zones}, hourly=muggy)
    assert any("% of the states of weather and grain" in note for note in answer["notes"])
