"""Fans over HTTP: the published chart, operating points, words and corners."""

from __future__ import annotations

import pytest

BED = {"units": "us", "grain": "corn-yellow-dent", "depth": 14.0, "floor_area": 500.0}
TABLE = [
    {"static_pressure": p, "airflow": q}
    for p, q in ((0, 16000), (1, 15000), (2, 13500), (3, 11800), (4, 9500), (5, 6500))
]


def ask(client, body, status=200):
    answer = client.post("/v1/fan", json=body)
    assert answer.status_code == status, answer.text
    return answer.json()


@pytest.mark.parametrize(("airflow", "pressure"), [(0.5, 0.7), (1.0, 1.7), (2.0, 4.6)])
def test_the_pressures_of_the_nebraska_chart(client, airflow, pressure):
    point = ask(client, BED | {"airflow_per_grain": airflow})["point"]
    assert point["static_pressure"] == pytest.approx(pressure, abs=0.11)


def test_both_unit_systems_give_the_same_answer(client):
    us = ask(client, BED | {"static_pressure": 2.0})["point"]
    body = {
        "units": "metric",
        "grain": "corn-yellow-dent",
        "depth": 14.0 * 0.3048,
        "floor_area": 500.0 * 0.3048**2,
        "static_pressure": 2.0 * 249.08891,
    }
    metric = ask(client, body)["point"]
    assert metric["airflow"] == pytest.approx(us["airflow"] * 0.3048**3 * 60, rel=1e-5)


def test_pressure_and_airflow_are_each_others_inverse(client):
    airflow = ask(client, BED | {"static_pressure": 2.0})["point"]["airflow"]
    back = ask(client, BED | {"airflow": airflow})["point"]
    assert back["static_pressure"] == pytest.approx(2.0, rel=1e-6)


def test_fan_and_bed_meet_with_power_and_warmth(client):
    answer = ask(client, BED | {"fan": TABLE, "fan_efficiency": 50.0, "price_of_electricity": 0.1})
    point = answer["point"]
    watts = point["airflow"] * 0.3048**3 / 60 * point["static_pressure"] * 249.08891 / 0.5
    assert point["verdict"] == "meets"
    assert point["power"] == pytest.approx(watts / 1000, rel=1e-6)
    assert point["cost_per_hour"] == pytest.approx(point["power"] * 0.1)
    assert 0.5 < point["temperature_rise"] < 6.0
    assert answer["loose"]["airflow"] > point["airflow"]


def test_a_motor_outside_the_air_warms_it_less(client):
    inside = ask(client, BED | {"fan": TABLE, "fan_efficiency": 50.0})["point"]
    outside = ask(client, BED | {"fan": TABLE, "fan_efficiency": 50.0, "motor_efficiency": 80.0})
    rise = inside["temperature_rise"]
    assert outside["point"]["temperature_rise"] == pytest.approx(0.8 * rise)


def test_fuller_and_dirtier_beds_get_less_air(client):
    answer = ask(client, BED | {"fan": TABLE, "depths": [10.0, 18.0], "dirt": [2.0, 5.0]})
    air = answer["point"]["airflow"]
    assert answer["fuller"][0]["airflow"] > air > answer["fuller"][1]["airflow"]
    assert air > answer["dirtier"][0]["airflow"] > answer["dirtier"][1]["airflow"]


def test_a_fan_too_weak_has_no_operating_point_and_the_answer_says_so(client):
    answer = ask(client, BED | {"depth": 60.0, "floor_area": 50.0, "fan": TABLE})
    assert answer["point"]["verdict"] == "bed-too-tight"
    assert answer["decision"].startswith("The fan cannot push")


def test_a_fan_past_its_table_is_not_guessed(client):
    answer = ask(client, BED | {"depth": 1.0, "fan": TABLE[2:4]})
    assert answer["point"]["verdict"] == "beyond-table"
    assert answer["point"]["airflow"] == pytest.approx(13500.0)


def test_constants_are_called_in_the_catalogue_as_in_the_question(client):
    named = [pair["name"] for pair in client.get("/v1/grains/corn-yellow-dent").json()["airflow"]]
    assert len(named) == 2
    for name in named:
        ask(client, BED | {"airflow_per_grain": 0.1, "constants": name})


def test_the_low_flow_pair_is_shown_beside_the_main_one_where_it_fits(client):
    answer = ask(client, BED | {"airflow_per_grain": 0.1})
    other = answer["other_constants"]["static_pressure"]
    assert other / answer["point"]["static_pressure"] > 1.1
    low = ask(client, BED | {"airflow_per_grain": 0.1, "constants": "low-flow"})["point"]
    assert low["static_pressure"] == pytest.approx(other)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({}, "/fan"),
        ({"airflow": 5000.0, "static_pressure": 2.0}, "/airflow"),
        ({"airflow": 5000.0, "diameter": 20.0}, "/floor_area"),
        ({"airflow": 500_000.0}, "/airflow"),
        ({"static_pressure": 60.0, "depth": 0.2}, "/static_pressure"),
        ({"airflow": 5000.0, "grain": "edible-beans"}, "/grain"),
        ({"airflow": 5000.0, "grain": "soybean", "fines": 3.0}, "/fines"),
        ({"airflow": 5000.0, "grain": "soybean", "constants": "low-flow"}, "/constants"),
        ({"fan": TABLE[:1]}, "/fan"),
        ({"fan": [*TABLE, {"static_pressure": 4.5, "airflow": 12000}]}, "/fan"),
        ({"fan": TABLE, "fan_efficiency": 90.0, "motor_efficiency": 50.0}, "/fan_efficiency"),
    ],
)
def test_what_cannot_be_is_pointed_at(client, change, pointer):
    problem = ask(client, BED | change, 422)
    assert pointer in [error["pointer"] for error in problem["errors"]]


@pytest.mark.parametrize(
    ("depth", "airflow", "inches"), [(16.0, 1.0, 2.4), (12.0, 0.5, 0.5), (20.0, 2.0, 11.3)]
)
def test_a_printed_static_pressure_needs_no_bin_size(client, depth, airflow, inches):
    """University of Nebraska-Lincoln CropWatch, Dorn 2008, table 1."""
    bed = {"units": "us", "grain": "corn-yellow-dent", "depth": depth}
    point = ask(client, bed | {"airflow_per_grain": airflow})["point"]
    assert point["static_pressure"] == pytest.approx(inches, abs=0.11)
    assert "airflow" not in point
    back = ask(client, bed | {"static_pressure": point["static_pressure"]})["point"]
    assert back["airflow_per_grain"] == pytest.approx(airflow, rel=1e-6)


@pytest.mark.parametrize("question", [{"airflow": 9000.0}, {"fan": TABLE}])
def test_a_total_airflow_needs_the_size_of_the_bed(client, question):
    bed = {"units": "us", "grain": "corn-yellow-dent", "depth": 16.0}
    problem = ask(client, bed | question, 422)
    assert "/floor_area" in [error["pointer"] for error in problem["errors"]]


def test_a_price_without_an_efficiency_says_what_is_missing(client):
    body = BED | {"airflow": 5_000.0, "price_of_electricity": 0.12}
    assert any("fan_efficiency" in note for note in ask(client, body)["notes"])
    notes = ask(client, body | {"fan_efficiency": 50.0})["notes"]
    assert not any("fan_efficiency" in note for note in notes)


def test_thin_air_is_warmed_more_by_the_same_fan_pressure(client):
    """Air of 20 inHg holds two thirds of the heat of 30 inHg, whether or not its warmth is told."""
    body = BED | {"static_pressure": 3.0, "fan_efficiency": 50.0}
    low, high = (
        ask(client, body | {"pressure": p})["point"]["temperature_rise"] for p in (20.0, 30.0)
    )
    assert low == pytest.approx(1.5 * high, rel=1e-3)
