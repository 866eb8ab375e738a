"""What the library refuses comes in the caller's units and points at the caller's field."""

from __future__ import annotations

import copy

import pytest

from asked_dryers import METRIC, in_us_units
from outfeed import Inconsistent
from outfeed.errors import OutOfRange
from outfeed_api.refusals import words_of

US = in_us_units(METRIC)
COST = {
    "units": "us",
    "grain": "corn-yellow-dent",
    "lots": [{"quantity": 1000, "initial_moisture": 20, "final_moisture": 15}],
    "fuel": {"kind": "propane", "price_of_liquid": 2.0},
    "electricity_use": 0.01,
    "price_of_electricity": 0.12,
}
FAN = {
    "units": "us",
    "grain": "corn-yellow-dent",
    "depth": 1.0,
    "floor_area": 100,
    "static_pressure": 60.0,
}


def refused(client, path, body):
    answer = client.post(path, json=body)
    assert answer.status_code == 422, answer.text[:300]
    problem = answer.json()
    (error,) = problem["errors"]
    assert problem["detail"] == error["detail"]
    return error


def test_a_static_pressure_past_the_grain_is_said_in_inches_of_water(client):
    error = refused(client, "/v1/fan", FAN)
    assert error["pointer"] == "/static_pressure"
    assert "60 in H2O is outside" in error["detail"]


def test_propane_per_point_is_found_where_the_library_calls_it_heat(client):
    error = refused(client, "/v1/drying-cost", COST | {"propane_per_point": 0.3})
    assert error["pointer"] == "/propane_per_point"
    assert "Btu/lb is outside" in error["detail"]


@pytest.mark.parametrize("body, words", [(US, "outside air at 50 degF"), (METRIC, "at 10 degC")])
def test_a_plenum_below_the_outside_air_is_refused_in_the_callers_degrees(client, body, words):
    body = copy.deepcopy(body)
    body["dryer"]["zones"][0]["plenum_temperature"] = 45 if body["units"] == "us" else 7
    error = refused(client, "/v1/discharge-rate", body)
    assert words in error["detail"]
    assert error["pointer"].startswith("/dryer/zones")


def test_a_bed_blown_too_hard_is_refused_in_cubic_feet(client):
    body = copy.deepcopy(US)
    body["dryer"]["zones"][0]["airflow"] = 1e6
    assert "ft3/min per ft3 is outside" in refused(client, "/v1/discharge-rate", body)["detail"]


@pytest.mark.parametrize(
    "column, readings", [("moisture_in", [22.0]), ("column_temperatures", [[99.0]])]
)
def test_a_column_of_a_log_is_found_inside_the_log(client, column, readings):
    log = {"elapsed": [0, 10, 20], "rate": [400, 400, 400], column: readings}
    body = {"units": "us", "grain": "corn-yellow-dent", "target": 15.5, "hold_up": 500, "log": log}
    assert refused(client, "/v1/run-review", body)["pointer"] == f"/log/{column}"


def test_a_sentence_holds_its_values_in_the_readers_unit():
    error = Inconsistent(
        "{} is not below {}, in '{}'", "a", values=((10.0, "degC"), (20.0, "degC"))
    )
    assert str(error) == "10 degC is not below 20 degC, in '{}'"
    assert words_of(error, "us", float("nan")) == "50 degF is not below 68 degF, in '{}'"


def test_grain_is_weighed_in_pounds_where_nobody_knows_a_bushel():
    error = OutOfRange("weight", 4.5359237, (0.0, 0.45359237), unit="kg")
    assert words_of(error, "us", float("nan")) == "weight 10 lb is outside 0 to 1 lb"
    assert words_of(error, "us", 0.45359237) == "weight 10 bu is outside 0 to 1 bu"
