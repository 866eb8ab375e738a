"""Cooling over HTTP: both unit systems, words and corners."""

from __future__ import annotations

import pytest

BASE = {"grain": "corn-yellow-dent", "mode": "steep-then-cool"}
US = BASE | {
    "units": "us",
    "hot_temperature": 140.0,
    "final_moisture": 15.0,
    "ambient_temperature": 50.0,
    "relative_humidity": 60.0,
    "airflow_per_grain": 0.5,
    "fill_rate": 1000.0,
}


def ask(client, body, status=200):
    answer = client.post("/v1/cooling", json=body)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_both_unit_systems_give_the_same_answer(client):
    us = ask(client, US)
    tonne_per_bushel = 56 * 0.45359237 / 1000
    cfm = 0.3048**3 * 60
    metric = ask(
        client,
        BASE
        | {
            "units": "metric",
            "hot_temperature": 60.0,
            "final_moisture": 15.0,
            "ambient_temperature": 10.0,
            "relative_humidity": 60.0,
            "airflow_per_grain": 0.5 * cfm / tonne_per_bushel,
            "fill_rate": 1000.0 * tonne_per_bushel,
        },
    )
    for name in ("discharge_moisture", "final_moisture", "final_low", "points_lost"):
        assert metric["result"][name] == pytest.approx(us["result"][name], rel=1e-6)
    assert (
        metric["air"]["fan_hours"] == pytest.approx(us["air"]["fan_hours"]) == pytest.approx(30.0)
    )
    assert us["air"]["airflow_to_keep_up"] == pytest.approx(12_000.0)
    assert metric["air"]["airflow_to_keep_up"] == pytest.approx(12_000.0 * cfm)


def test_the_decision_names_the_moisture_to_aim_for(client):
    answer = ask(client, US)
    aim = answer["result"]["discharge_moisture"]
    assert answer["decision"].startswith(f"Discharge at {aim:.1f} %:")
    assert answer["result"]["final_low"] <= 15.0 <= answer["result"]["final_high"]


def test_the_ways_are_compared_with_their_published_gains(client):
    ways = {way["mode"]: way for way in ask(client, US)["by_mode"]}
    assert ways["steep-then-cool"]["capacity_gain_low"] == 50.0
    assert ways["cool-in-storage"]["capacity_gain_high"] == 40.0
    assert "capacity_gain_low" not in ways["cool-in-dryer"]
    lost = [ways[name]["points_lost"] for name in ("steep-then-cool", "cool-in-storage")]
    assert lost[0] > lost[1]
    steep = ways["steep-then-cool"]
    assert steep["rule_low"] - 0.1 <= steep["points_lost"] <= steep["rule_high"] + 0.1


def test_air_limits_how_cold_the_grain_gets(client):
    answer = ask(client, US | {"final_temperature": 30.0})
    assert answer["result"]["final_temperature"] == answer["air"]["lowest_temperature"]
    assert "cannot cool it below" in answer["decision"]


def test_hot_grain_into_a_bin_warns_of_condensation_and_entrapment(client):
    codes = {caution["code"] for caution in ask(client, US)["cautions"]}
    assert codes >= {"condensation", "entrapment", "hot-surfaces", "meter-uncertain"}
    codes = {c["code"] for c in ask(client, US | {"mode": "cool-in-dryer"})["cautions"]}
    assert "condensation" not in codes


def test_a_mode_left_out_is_said_to_be_assumed(client):
    body = {name: value for name, value in US.items() if name != "mode"}
    answer = ask(client, body)
    assert answer["mode"] == "cool-in-storage"
    assert "mode" in {entry["input"] for entry in answer["assumed"]}


def test_many_lots_answer_as_each_alone(client):
    cases = [
        {"hot_temperature": 130.0, "discharge_moisture": 16.0},
        {"hot_temperature": 140.0, "final_moisture": 15.0},
    ]
    together = ask(client, US | {"cases": cases})
    assert together["cases"][1] == together["result"]
    alone = ask(client, {k: v for k, v in US.items() if "moisture" not in k} | cases[0])
    assert together["cases"][0] == alone["result"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"discharge_moisture": 17.0}, "/final_moisture"),
        ({"hot_temperature": 40.0, "final_temperature": 60.0}, "/final_temperature"),
        ({"wet_moisture": 16.0}, "/wet_moisture"),
        ({"cases": [{"hot_temperature": 130.0}]}, "/cases/0/final_moisture"),
        (
            {"cases": [{"hot_temperature": 40.0, "final_moisture": 15.0}]},
            "/cases/0/hot_temperature",
        ),
        ({"efficiency": 120.0}, "/efficiency"),
        ({"grain": "moon-dust"}, "/grain"),
    ],
)
def test_what_cannot_be_is_pointed_at(client, change, pointer):
    problem = ask(client, US | change, 422)
    assert pointer in [error["pointer"] for error in problem["errors"]]


def test_nothing_to_cool_is_refused(client):
    problem = ask(
        client, {"units": "us", "grain": "corn-yellow-dent", "final_temperature": 50}, 422
    )
    assert problem["errors"][0]["pointer"] == "/hot_temperature"


def test_an_unweighed_grain_has_no_fan_time(client):
    body = {
        "units": "metric",
        "grain": "sunflower-confectionery",
        "hot_temperature": 45,
        "discharge_moisture": 11,
        "final_temperature": 10,
        "airflow_per_grain": 30,
    }
    assert ask(client, body, 422)["errors"][0]["pointer"] == "/airflow_per_grain"
    del body["airflow_per_grain"]
    assert ask(client, body)["result"]["points_lost"] > 0


@pytest.mark.parametrize(
    ("airflow", "hours"), [(0.025, 600.0), (0.05, 300.0), (0.2, 75.0), (1.0, 15.0)]
)
def test_fan_hours_alone_need_no_temperatures(client, airflow, hours):
    """North Dakota State University Extension 2009: hours = 15/(cfm/bu)."""
    answer = ask(
        client,
        {"units": "us", "grain": "wheat-hard-red-spring", "airflow_per_grain": airflow},
    )
    assert answer["air"]["fan_hours"] == pytest.approx(hours, abs=0.5)
    assert f"about {hours:.0f} h" in answer["decision"]
    assert "result" not in answer


def test_each_hour_of_a_series_is_answered_as_that_air_alone(client):
    """An hour's air in the series does what the same air does as one state."""
    states = [(50.0, 60.0), (45.0, 80.0), (70.0, 30.0)]
    lot = {name: US[name] for name in ("units", "grain", "mode", "hot_temperature")}
    lot["final_moisture"] = 15.0
    hourly = {
        "elapsed": [0.0, 60.0, 120.0],
        "temperature": [warm for warm, _ in states],
        "relative_humidity": [humid for _, humid in states],
    }
    answer = ask(client, lot | {"hourly": hourly})
    for n, (warm, humid) in enumerate(states):
        one = ask(client, lot | {"ambient_temperature": warm, "relative_humidity": humid})
        aim = one["result"]["discharge_moisture"]
        assert answer["by_hour"]["discharge_moisture"][n] == pytest.approx(aim)
        lowest = one["air"]["lowest_temperature"]
        assert answer["by_hour"]["lowest_temperature"][n] == pytest.approx(lowest)
    assert answer["result"]["final_temperature"] == pytest.approx(55.0)
    assert answer["by_hour"]["elapsed"] == hourly["elapsed"]


@pytest.mark.parametrize(
    "change",
    [
        {"ambient_temperature": 50.0},
        {"hourly": {"elapsed": [0.0], "temperature": [], "relative_humidity": []}},
        {"hourly": {"elapsed": [], "temperature": [], "relative_humidity": []}},
        {"hourly": {"elapsed": [5.0, 1.0], "temperature": [1.0, 2.0], "relative_humidity": [1, 2]}},
    ],
)
def test_a_series_that_contradicts_itself_is_pointed_at(client, change):
    hourly = {"elapsed": [0.0], "temperature": [50.0], "relative_humidity": [60.0]}
    lot = {"units": "us", "grain": "corn-yellow-dent", "hot_temperature": 120.0}
    problem = ask(client, lot | {"final_moisture": 15.0, "hourly": hourly} | change, 422)
    assert "/hourly" in [error["pointer"][:7] for error in problem["errors"]]


@pytest.mark.parametrize("final, beyond", [(40.0, False), (-20.0, True)])
def test_grain_cooled_below_what_was_published_is_flagged(client, final, beyond):
    body = {name: value for name, value in US.items() if name != "relative_humidity"}
    answer = ask(client, body | {"ambient_temperature": final})
    (credit,) = (used for used in answer["methods"] if used["id"] == "cooling.credit.heat-balance")
    assert credit["inside_range"] is not beyond
    assert ("extrapolated" in {caution["code"] for caution in answer["cautions"]}) is beyond


def _codes(answer):
    return {caution["code"] for caution in answer["cautions"]}


@pytest.mark.parametrize("mode", ["steep-then-cool", "cool-in-storage", "cool-in-dryer"])
@pytest.mark.parametrize("place", ["alone", "lots"])
def test_grain_hotter_than_any_drying_air_is_a_fire_first(client, mode, place):
    hot = {"hot_temperature": 248.0, "final_moisture": 15.0}
    body = {"units": "us", "grain": "corn-yellow-dent", "mode": mode, "final_temperature": 50.0}
    answer = ask(client, body | (hot if place == "alone" else {"cases": [hot]}))
    assert answer["decision"].startswith("FIRE CAUTION: grain at 248 degF is above 230 degF")
    assert answer["decision"].endswith("before you know the cause.")
    assert _codes(answer) >= {"fire-column", "temperature-limit"}
    assert not any("rest 4 to 12" in note or "Start the fan" in note for note in answer["notes"])


@pytest.mark.parametrize(("final", "told"), [(45.0, False), (60.0, True)])
def test_grain_stored_warm_does_not_count_on_advice_for_cold_grain(client, final, told):
    """Edible beans are stored at 18 % only where they are no warmer than 50 degF."""
    body = {"units": "us", "grain": "edible-beans", "hot_temperature": 90.0}
    answer = ask(client, body | {"final_temperature": final, "final_moisture": 17.0})
    assert ("unless it is at 50 degF or colder" in answer["decision"]) is told
    assert ("under-drying" in _codes(answer)) is told


@pytest.mark.parametrize("place", ["alone", "lots"])
@pytest.mark.parametrize(
    ("temperature", "means"),
    [
        (121.0, "; a broken sensor, or a fire: look at the dryer"),
        (-41.0, "; a broken sensor or wire: look at the sensor"),
    ],
)
def test_grain_hotter_or_colder_than_answered_for_says_what_it_may_mean(
    client, place, temperature, means
):
    hot = {"hot_temperature": temperature, "final_moisture": 15.0}
    body = {"units": "metric", "grain": "corn-yellow-dent", "final_temperature": 10.0}
    problem = ask(client, body | (hot if place == "alone" else {"cases": [hot]}), 422)
    assert problem["detail"].endswith(means)


@pytest.mark.parametrize(("hot", "told"), [(125.0, False), (150.0, True)])
def test_grain_hotter_than_every_limit_of_its_own_is_told(client, hot, told):
    """Soybeans: no published drying air is above 140 degF, and grain stays below its air."""
    body = {"units": "us", "grain": "soybean", "final_moisture": 12.0, "final_temperature": 60.0}
    assert ("temperature-limit" in _codes(ask(client, body | {"hot_temperature": hot}))) == told


@pytest.mark.parametrize(("moisture", "wet"), [(14.0, False), (24.0, True)])
def test_grain_that_cools_to_more_than_keeps_is_called_wet(client, moisture, wet):
    body = {
        "units": "us", "grain": "wheat-hard-red-winter", "mode": "cool-in-storage",
        "hot_temperature": 120.0, "discharge_moisture": moisture, "final_temperature": 60.0,
    }  # fmt: skip
    answer = ask(client, body)
    assert ("under-drying" in _codes(answer)) == wet
    assert ("No source stores it wetter than 14.0 %" in answer["decision"]) == wet


DRY = {"hot_temperature": 110.0, "discharge_moisture": 5.0}


@pytest.mark.parametrize("place", ["", "/cases/0"])
def test_more_water_than_the_grain_holds_is_refused(client, place):
    body = {"units": "metric", "grain": "corn-yellow-dent", "mode": "steep-then-cool",
            "final_temperature": -20.0}  # fmt: skip
    problem = ask(client, body | ({"cases": [DRY]} if place else DRY), 422)
    (fault,) = problem["errors"]
    assert fault["pointer"] == f"{place}/discharge_moisture"
    assert "moisture 5 % wet basis is outside 5.02871 to 45 %" in fault["detail"]
    assert "more water than the grain holds" in fault["detail"]


def test_a_way_that_would_empty_the_grain_is_left_out_of_the_comparison(client):
    body = DRY | {"units": "metric", "grain": "corn-yellow-dent", "mode": "cool-in-storage",
                  "final_temperature": -20.0}  # fmt: skip
    answer = ask(client, body)
    assert [way["mode"] for way in answer["by_mode"]] == ["cool-in-storage", "cool-in-dryer"]
    assert answer["result"]["points_ceiling"] <= 5.0


@pytest.mark.parametrize(
    ("mode", "share", "said"),
    [
        ("cool-in-storage", 100, True),
        ("cool-in-storage", 40, False),
        ("steep-then-cool", 65, False),
    ],
)
def test_a_share_past_all_that_was_published_is_to_be_checked(client, mode, share, said):
    notes = ask(client, US | {"mode": mode, "efficiency": share})["notes"]
    assert any(f"Your share of {share} %" in note for note in notes) is said
