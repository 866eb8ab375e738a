"""Outside air hour by hour, on every endpoint about a dryer: the same part, the same answer."""

import math
import re

import pytest

ZONES = (("upper", 210.0, 18_000.0, 560.0), ("lower", 180.0, 18_000.0, 560.0))
HOURS = 12


def _dryer(*, airflow=True):
    zones = [
        {"name": name, "role": "heated", "hold_up": held, "plenum_temperature": hot}
        | ({"airflow": air} if airflow else {})
        for name, hot, air, held in ZONES
    ]
    cooling = {"name": "cooling", "role": "cooling", "hold_up": 300.0}
    return {
        "kind": "mixed-flow",
        "zones": [*zones, cooling | ({"airflow": 9_000.0} if airflow else {})],
    }


def request(*, airflow=True, **given):
    temperature = [round(40.0 + 15.0 * math.sin(k / 24 * 2 * math.pi), 1) for k in range(HOURS)]
    return {
        "units": "us",
        "grain": "corn-yellow-dent",
        "dryer": _dryer(airflow=airflow),
        "moisture": 21.0,
        "target_moisture": 15.5,
        "hourly": {
            "times": [f"2025-10-14T{6 + k:02d}:00:00-05:00" for k in range(HOURS)],
            "temperature": temperature,
            "relative_humidity": [70.0] * HOURS,
        },
    } | given


def ask(client, operation, body, status=200):
    answer = client.post(f"/v1/{operation}", json=body)
    assert answer.status_code == status, answer.text
    return answer.json()


def single(body, temperature, humidity=70.0):
    """The same request in one state of the air."""
    rest = {name: value for name, value in body.items() if name != "hourly"}
    return rest | {"ambient_temperature": temperature, "ambient_relative_humidity": humidity}


@pytest.mark.parametrize("airflow", [True, False], ids=["column-model", "quick-balance"])
def test_each_hour_of_a_discharge_rate_is_what_its_air_alone_gives(client, airflow):
    body = request(airflow=airflow, grain_temperature=40.0)
    found = ask(client, "discharge-rate", body)
    for row in (0, HOURS - 1):
        air = body["hourly"]["temperature"][row]
        alone = ask(client, "discharge-rate", single(body, air))
        assert found["method"] == alone["method"]
        rate, fuel = (found["by_hour"][name][row] for name in ("discharge_rate", "fuel_heat"))
        assert rate == pytest.approx(alone["figures"]["discharge_rate"]["value"], rel=5e-3)
        assert fuel == pytest.approx(alone["figures"]["fuel"]["heat"]["value"], rel=1e-3)


@pytest.mark.parametrize("airflow", [True, False], ids=["column-model", "quick-balance"])
def test_grain_nobody_measured_is_as_warm_as_each_hours_air(client, airflow):
    body = request(airflow=airflow)
    found = ask(client, "discharge-rate", body)
    for row in (0, 6):
        alone = ask(client, "discharge-rate", single(body, body["hourly"]["temperature"][row]))
        expected = alone["figures"]["discharge_rate"]["value"]
        assert found["by_hour"]["discharge_rate"][row] == pytest.approx(expected, rel=3e-3)
    (filled,) = (item for item in found["assumed"] if item["input"] == "grain_temperature")
    assert "hour by hour" in filled["why"]
    assert any("from a bin" in note for note in found["notes"])


def test_the_hour_shown_has_the_grain_and_the_band_of_its_own_air(client):
    body = request(rate=900.0)
    found = ask(client, "column-profile", body)
    air = found["shown_hour"]["ambient_temperature"]
    assert air == min(body["hourly"]["temperature"])  # cold grain leaves wettest
    alone = ask(client, "column-profile", single(body, air))
    for name in ("moisture", "hottest_kernel"):  # the bed is weighed at the mean's moisture
        assert found["figures"][name] == pytest.approx(alone["figures"][name], abs=0.05)


@pytest.mark.parametrize("told", ["dryer", "step", "nowhere"])
def test_a_column_ends_with_the_grain_its_last_air_brings(client, told):
    grain = {} if told == "nowhere" else {"grain_temperature": 40.0}
    body = request(rate=900.0) | (grain if told == "dryer" else {})
    if told == "step":
        body["step"] = grain
    body["hourly"]["temperature"] = [40.0, *[65.0] * (HOURS - 1)]
    found = ask(client, "column-response", body)
    rest = {name: value for name, value in body.items() if name != "step"} | grain
    alone = ask(client, "column-profile", single(rest, 65.0))["figures"]["moisture"]["value"]
    assert found["trace"]["moisture"][-1] == pytest.approx(alone, abs=0.03)
    assert ("cools with the weather leaves wetter" in found["notes"][0]) == (told != "nowhere")


def test_a_step_to_colder_air_brings_colder_grain_unless_it_was_measured(client):
    body = single(request(rate=900.0), 60.0) | {"step": {"ambient_temperature": 20.0}}
    found, measured = (
        ask(client, "column-response", body | grain)["moisture"]["after"]
        for grain in ({}, {"grain_temperature": 60.0})
    )
    cold = single(request(rate=900.0), 20.0)
    for after, grain in ((found, {}), (measured, {"grain_temperature": 60.0})):
        settled = ask(client, "column-profile", cold | grain)["figures"]["moisture"]["value"]
        assert after == pytest.approx(settled, abs=0.06)
    assert measured < found


def test_an_hours_rate_has_the_band_that_is_told_for_every_hour(client):
    body = request(grain_temperature=40.0)
    found = ask(client, "discharge-rate", body)
    (note,) = (text for text in found["notes"] if text.startswith("Every hour's own rate"))
    below, above = map(float, re.findall(r"(\d+) %(?= below| above)", note))
    for row in (0, HOURS - 1):
        alone = ask(client, "discharge-rate", single(body, body["hourly"]["temperature"][row]))
        rate = alone["figures"]["discharge_rate"]
        assert 100.0 * (1.0 - rate["low"] / rate["value"]) == pytest.approx(below, abs=1.5)
        assert 100.0 * (rate["high"] / rate["value"] - 1.0) == pytest.approx(above, abs=1.5)


def test_the_figures_of_a_discharge_rate_are_those_of_the_mean_air(client):
    body = request()
    mean = sum(body["hourly"]["temperature"]) / HOURS
    found, alone = (
        ask(client, "discharge-rate", each) for each in (body, single(body, mean))
    )  # fmt: skip
    for name in ("discharge_rate", "transit_time", "water_removed"):
        assert found["figures"][name] == pytest.approx(alone["figures"][name])
    assert found["decision"].startswith(alone["decision"])


def test_the_swings_are_the_ends_of_the_columns_and_say_when(client):
    found = ask(client, "discharge-rate", request())
    for column, swing in (("discharge_rate", "discharge_rate"), ("moisture", "moisture"),
                          ("fuel_heat", "fuel_heat")):  # fmt: skip
        values, told = found["by_hour"][column], found["over_hours"][swing]
        assert (told["lowest"], told["highest"]) == (min(values), max(values))
        assert told["lowest_at"] == found["by_hour"]["times"][values.index(min(values))]
    assert found["over_hours"]["hours"] == HOURS


def test_hours_speak_in_the_form_they_were_given_in(client):
    body = request()
    body["hourly"]["elapsed"] = [60.0 * k for k in range(HOURS)]
    del body["hourly"]["times"]
    found = ask(client, "discharge-rate", body)
    assert found["by_hour"]["elapsed"] == body["hourly"]["elapsed"]
    assert "times" not in found["by_hour"]
    assert "lowest_at_elapsed" in found["over_hours"]["discharge_rate"]


def test_both_unit_systems_give_the_same_hours(client):
    us = request()
    metric = us | {
        "units": "metric",
        "hourly": us["hourly"]
        | {"temperature": [(t - 32.0) / 1.8 for t in us["hourly"]["temperature"]]},
        "dryer": {
            "kind": "mixed-flow",
            "zones": [
                zone
                | {"hold_up": zone["hold_up"] * 56.0 * 0.45359237e-3}
                | {"airflow": zone["airflow"] * 0.3048**3 / 60.0 * AIR_SCALE}
                | (
                    {"plenum_temperature": (zone["plenum_temperature"] - 32.0) / 1.8}
                    if "plenum_temperature" in zone
                    else {}
                )
                for zone in us["dryer"]["zones"]
            ],
        },
    }
    a, b = (ask(client, "discharge-rate", body)["by_hour"]["moisture"] for body in (us, metric))
    assert a == pytest.approx(b, abs=2e-3)


AIR_SCALE = 3600.0  # the metric unit of airflow is m3/h


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"ambient_temperature": 40.0}, "/hourly"),
        ({"hourly": None}, "/hourly"),
        ({"ambient_relative_humidity": 60.0}, "/ambient_relative_humidity"),
    ],
    ids=["both", "null", "humidity-twice"],
)
def test_air_is_told_once(client, change, pointer):
    problem = ask(client, "discharge-rate", request() | change, 422)
    assert pointer in [fault["pointer"] for fault in problem["errors"]]


def test_no_air_at_all_points_at_the_temperature(client):
    body = {name: value for name, value in request().items() if name != "hourly"}
    problem = ask(client, "discharge-rate", body, 422)
    assert problem["errors"][0]["pointer"] == "/ambient_temperature"
    assert "hourly" in problem["errors"][0]["detail"]


def test_unequal_columns_and_falling_times_are_refused(client):
    body = request()
    body["hourly"]["temperature"].pop()
    assert ask(client, "discharge-rate", body, 422)["errors"][0]["pointer"] == "/hourly"
    body = request()
    body["hourly"]["times"].reverse()
    assert "ascend" in ask(client, "discharge-rate", body, 422)["detail"]


def test_one_humidity_serves_for_all_hours(client):
    body = request(ambient_relative_humidity=70.0)
    del body["hourly"]["relative_humidity"]
    found = ask(client, "discharge-rate", body)
    assert found["by_hour"] == ask(client, "discharge-rate", request())["by_hour"]


def test_a_heated_zone_without_a_plenum_temperature_is_pointed_at(client):
    body = request()
    del body["dryer"]["zones"][1]["plenum_temperature"]
    fault = ask(client, "discharge-rate", body, 422)["errors"][0]
    assert fault["pointer"] == "/dryer/zones/1/plenum_temperature"


def test_a_plenum_colder_than_the_air_is_told_in_the_callers_degrees(client):
    body = single(request(), 105.0)
    body["dryer"]["zones"][0]["plenum_temperature"] = 100.0
    fault = ask(client, "discharge-rate", body, 422)["errors"][0]
    assert fault["pointer"] == "/dryer/zones/0/plenum_temperature"
    assert "100 degF" in fault["detail"]


@pytest.mark.parametrize("rate", [0.02, 140_000.0])
def test_a_rate_no_dryer_runs_at_is_told_in_bushels(client, rate):
    body = single(request(), 45.0) | {"rate": rate}
    fault = ask(client, "column-profile", body, 422)["errors"][0]
    assert fault["pointer"] == "/rate"
    assert fault["allowed"]["unit"] == "bu/h"
    assert "bu/h" in fault["detail"]
    assert "kg/s" not in fault["detail"]


def test_the_profile_shown_is_that_of_the_wettest_hour(client):
    body = request(grain_temperature=40.0) | {"rate": 900.0}
    found = ask(client, "column-profile", body)
    moisture = found["by_hour"]["moisture"]
    row = moisture.index(max(moisture))
    assert found["shown_hour"]["at"] == found["by_hour"]["times"][row]
    assert found["figures"]["moisture"]["value"] == pytest.approx(moisture[row], abs=0.02)
    alone = ask(client, "column-profile", single(body, body["hourly"]["temperature"][row]))
    assert found["figures"]["moisture"] == pytest.approx(alone["figures"]["moisture"], abs=0.01)
    assert "wettest hour" in found["decision"]


def test_a_profile_for_a_target_holds_the_rate_of_the_mean_air(client):
    body = request(grain_temperature=40.0)
    mean = sum(body["hourly"]["temperature"]) / HOURS
    found, alone = (ask(client, "column-profile", each) for each in (body, single(body, mean)))
    rates = [each["figures"]["transit_time"]["value"] for each in (found, alone)]
    assert rates[0] == pytest.approx(rates[1])


def test_a_series_of_one_hour_is_one_state_of_the_air(client):
    body = request(grain_temperature=40.0)
    body["hourly"] = {name: column[:1] for name, column in body["hourly"].items()}
    for operation in ("discharge-rate", "column-profile"):
        found = ask(client, operation, body)
        alone = ask(client, operation, single(body, body["hourly"]["temperature"][0]))
        assert found["decision"] == alone["decision"]


def test_weather_alone_drives_a_column_from_the_first_hour(client):
    body = request(grain_temperature=40.0)
    found = ask(client, "column-response", body)
    trace = found["trace"]
    assert trace["moisture"][0] == pytest.approx(15.5, abs=0.05)
    assert trace["times"][0] == body["hourly"]["times"][0]
    assert trace["ambient_temperature"][0] == pytest.approx(40.0)
    assert trace["elapsed"][-1] == pytest.approx((HOURS - 1) * 60.0, abs=20.0)
    ends = found["over_hours"]["moisture"]
    assert ends["lowest"] <= min(trace["moisture"]) <= max(trace["moisture"]) <= ends["highest"]


def test_still_air_leaves_a_settled_column_alone(client):
    body = request(grain_temperature=40.0)
    body["hourly"]["temperature"] = [40.0] * HOURS
    found = ask(client, "column-response", body)
    assert found["trace"]["moisture"][-1] == pytest.approx(15.5, abs=0.03)
    assert "hold the rate" in found["decision"]


def test_a_column_driven_to_the_last_hour_settles_where_that_air_alone_would(client):
    body = request(grain_temperature=40.0) | {"rate": 900.0}
    body["hourly"]["temperature"] = [40.0, *[65.0] * (HOURS - 1)]
    found = ask(client, "column-response", body)
    alone = ask(client, "column-profile", single(body, 65.0))
    expected = alone["figures"]["moisture"]["value"]
    assert found["trace"]["moisture"][-1] == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [({"step": {"ambient_temperature": 50.0}}, "/step"), ({"one": True}, "/hourly")],
    ids=["weather-twice", "one-hour"],
)
def test_weather_that_cannot_drive_a_column_is_refused(client, change, pointer):
    body = request() | change
    if body.pop("one", False):
        body["hourly"] = {name: column[:1] for name, column in body["hourly"].items()}
    assert ask(client, "column-response", body, 422)["errors"][0]["pointer"] == pointer


def test_grain_that_loses_no_water_has_no_heat_per_water(client):
    body = single(request(moisture=6.0, grain_temperature=10.0), 70.0, 95.0) | {"rate": 9000.0}
    del body["target_moisture"]
    for zone in body["dryer"]["zones"][:2]:
        zone["plenum_temperature"] = 71.0
    figures = ask(client, "column-profile", body)["figures"]
    assert figures["water_removed"]["value"] < 0.0
    assert "heat_per_water" not in figures


@pytest.mark.parametrize("operation", ["column-profile", "column-response"])
def test_hours_are_drawn(client, operation):
    answer = client.post(f"/v1/{operation}", json=request(), headers={"accept": "image/svg+xml"})
    assert answer.status_code == 200
    assert "air" in answer.text


@pytest.fixture(scope="module")
def plan(client):
    return ask(client, "start-plan", request(grain_temperature=40.0))


def test_a_plan_for_a_series_is_the_plan_for_its_mean(client, plan):
    body = request(grain_temperature=40.0)
    alone = ask(client, "start-plan", single(body, sum(body["hourly"]["temperature"]) / HOURS))
    assert [level["plenum_temperature"] for level in plan["figures"]["levels"]] == [
        level["plenum_temperature"] for level in alone["figures"]["levels"]
    ]
    assert plan["decision"] == alone["decision"]


def test_a_plan_says_when_the_air_first_leaves_it(plan):
    hours = plan["by_hour"]
    mean = sum(hours["ambient_temperature"]) / HOURS
    far = [abs(value - mean) > 9.0 for value in hours["ambient_temperature"]]
    assert hours["within_plan"] == [not each for each in far]
    assert plan["over_hours"]["hours_beyond"] == sum(far)
    dated = [expiry for expiry in plan["valid_until"] if "at" in expiry]
    assert [expiry["at"] for expiry in dated] == [hours["times"][far.index(True)]]
    assert "outside air" in dated[0]["change"]


def test_a_plan_in_steady_air_holds_throughout(client):
    body = request(grain_temperature=40.0)
    body["hourly"]["temperature"] = [40.0 + 0.5 * (k % 2) for k in range(HOURS)]
    found = ask(client, "start-plan", body)
    assert any("it holds throughout" in note for note in found["notes"])
    assert not [expiry for expiry in found["valid_until"] if "at" in expiry]


def test_the_plan_shows_the_column_it_expects(plan):
    zones, grain = plan["column"]["zones"], plan["column"]["grain"]
    assert zones[0]["top"] == 0.0
    assert zones[-1]["bottom"] == pytest.approx(grain["depth"][-1])
    assert [zone["bottom"] for zone in zones[:-1]] == [zone["top"] for zone in zones[1:]]
    assert grain["moisture"][-1] == pytest.approx(plan["figures"]["aim"], abs=0.05)
    for level in plan["figures"]["levels"]:
        zone = next(zone for zone in zones if zone["zone"] == level["zone"])
        assert zone["air_temperature"] == level["plenum_temperature"]


def test_a_plan_is_drawn(client):
    answer = client.post("/v1/start-plan", json=request(), headers={"accept": "image/svg+xml"})
    assert answer.status_code == 200
    for words in ("plenum to set", "Grain moisture to expect", "Rate that keeps the aim"):
        assert words in answer.text


def test_no_plan_is_drawn_as_its_words(client):
    body = single(request(target_moisture=30.0), 45.0)
    answer = client.post("/v1/start-plan", json=body, headers={"accept": "image/svg+xml"})
    assert answer.status_code == 200
    assert "nothing to dry" in answer.text


def _fan(**given):
    rows = [(0.0, 15_000.0), (2.0, 13_000.0), (4.0, 9_000.0), (6.0, 3_000.0)]
    return {
        "units": "us",
        "grain": "corn-yellow-dent",
        "depth": 16.0,
        "diameter": 27.0,
        "fan": [{"static_pressure": push, "airflow": air} for push, air in rows],
        "fan_efficiency": 50.0,
        "hourly": request()["hourly"],
    } | given


def test_each_hour_of_a_fan_is_what_its_air_alone_gives(client):
    body = _fan()
    found = ask(client, "fan", body)
    for row in (0, HOURS - 1):
        alone = {name: value for name, value in body.items() if name != "hourly"}
        alone["ambient_temperature"] = body["hourly"]["temperature"][row]
        point = ask(client, "fan", alone)["point"]
        for name in ("airflow", "static_pressure", "power"):
            assert found["by_hour"][name][row] == pytest.approx(point[name], rel=1e-5)


def test_a_fan_pushes_harder_and_draws_more_in_the_cold(client):
    found = ask(client, "fan", _fan())["by_hour"]
    by_warmth = sorted(zip(found["ambient_temperature"], found["static_pressure"], found["power"],
                           strict=True))  # fmt: skip
    assert by_warmth[0][1] > by_warmth[-1][1]
    assert by_warmth[0][2] > by_warmth[-1][2]


def test_a_fan_dries_the_air_it_warms(client):
    found = ask(client, "fan", _fan())["by_hour"]
    assert all(after > before for after, before in zip(
        found["air_temperature"], found["ambient_temperature"], strict=True))  # fmt: skip
    assert all(0.0 < damp < 70.0 for damp in found["air_relative_humidity"])


def test_a_fan_is_told_its_air_once(client):
    problem = ask(client, "fan", _fan(ambient_temperature=50.0), 422)
    assert problem["errors"][0]["pointer"] == "/hourly"


@pytest.mark.parametrize(
    "question", [{"airflow": 9_000.0}, {"static_pressure": 3.0}], ids=["airflow", "pressure"]
)
def test_the_other_questions_of_a_bed_take_hours_too(client, question):
    body = {name: value for name, value in _fan().items() if name != "fan"} | question
    found = ask(client, "fan", body)
    (name,) = question
    column = found["by_hour"][name]
    assert column == pytest.approx([question[name]] * HOURS)
    other = {"airflow": "static_pressure", "static_pressure": "airflow"}[name]
    assert len(set(found["by_hour"][other])) > 1


@pytest.mark.parametrize(("given", "frozen"), [({}, True), ({"grain_temperature": 40.0}, False)])
def test_grain_as_cold_as_a_frosty_hour_is_told_though_the_mean_is_mild(client, given, frozen):
    body = request(airflow=False, **given)
    body["hourly"]["temperature"][-1] = 19.0
    notes = ask(client, "discharge-rate", body)["notes"]
    assert any("below freezing in the coldest hours" in note for note in notes) == frozen
