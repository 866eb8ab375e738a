"""The moist-air resource: same answer in both unit systems, plain words, rows that stand alone."""

from __future__ import annotations

import math

import pytest

US = {"units": "us", "dry_bulb": 50.0, "relative_humidity": 70.0, "pressure": 29.0}
METRIC = {
    "units": "metric",
    "dry_bulb": 10.0,
    "relative_humidity": 70.0,
    "pressure": 29.0 * 3386.389,
}


def ask(client, **body):
    return client.post("/v1/moist-air", json=body)


def good(client, **body):
    answer = ask(client, **body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def fault(client, **body):
    answer = ask(client, **body)
    assert answer.status_code == 422, answer.text
    (entry,) = answer.json()["errors"]
    return entry


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def test_both_unit_systems_give_the_same_air(client):
    us, metric = good(client, **US)["air"], good(client, **METRIC)["air"]
    for name in ("dry_bulb", "wet_bulb", "dew_point"):
        assert celsius(us[name]) == pytest.approx(metric[name], abs=1e-6)
    for name in ("relative_humidity", "humidity_ratio", "degree_of_saturation"):
        assert us[name] == pytest.approx(metric[name], rel=1e-7)
    assert us["vapour_pressure"] * 3386.389 == pytest.approx(metric["vapour_pressure"], rel=1e-7)
    assert us["enthalpy"] * 2.326 == pytest.approx(metric["enthalpy"], rel=1e-7)
    assert us["specific_volume"] * 0.3048**3 / 0.45359237 == pytest.approx(
        metric["specific_volume"], rel=1e-7
    )


def test_the_handbook_example_reads_as_printed(client):
    """ASHRAE Handbook 2017, chapter 1, example 1: 40 degC, wet bulb 20 degC, sea level."""
    air = good(client, units="metric", dry_bulb=40, wet_bulb=20, pressure=101_325)["air"]
    assert air["humidity_ratio"] == pytest.approx(0.0065, abs=1e-4)
    assert air["enthalpy"] == pytest.approx(56.7, abs=0.1)
    assert air["dew_point"] == pytest.approx(7.0, abs=0.5)
    assert air["relative_humidity"] == pytest.approx(14.0, abs=1.0)
    assert air["specific_volume"] == pytest.approx(0.896, abs=0.001)


@pytest.mark.parametrize(
    "pair",
    [
        ("dry_bulb", "wet_bulb"),
        ("dry_bulb", "dew_point"),
        ("dry_bulb", "humidity_ratio"),
        ("wet_bulb", "dew_point"),
        ("wet_bulb", "relative_humidity"),
        ("wet_bulb", "humidity_ratio"),
        ("dew_point", "relative_humidity"),
        ("relative_humidity", "humidity_ratio"),
    ],
)
def test_any_two_readings_lead_to_the_same_air(client, pair):
    air = good(client, **US)["air"]
    again = good(client, units="us", pressure=29.0, **{name: air[name] for name in pair})["air"]
    assert again["dry_bulb"] == pytest.approx(50.0, abs=1e-4)
    assert again["relative_humidity"] == pytest.approx(70.0, abs=1e-3)


def test_a_missing_pressure_is_assumed_and_said(client):
    answer = good(client, units="metric", dry_bulb=20, relative_humidity=50)
    (assumed,) = answer["assumed"]
    assert (assumed["input"], assumed["value"], assumed["unit"]) == ("pressure", 101325, "Pa")
    high = good(client, units="metric", dry_bulb=20, relative_humidity=50, altitude=1000)
    assert high["air"]["pressure"] == pytest.approx(89_875, abs=1)
    assert "moist-air.standard-atmosphere" in [method["id"] for method in high["methods"]]
    assert good(client, **METRIC)["assumed"] == []


def test_a_direct_fired_burner_wets_the_air_and_warns(client):
    heating = {"to": 200, "burner": "direct-fired", "fuel": "propane"}
    answer = good(client, **US, heating=heating)
    heated = answer["heated"]
    assert heated["combustion_water"] == pytest.approx(1.634 * heated["fuel"], rel=1e-3)
    assert heated["air"]["dew_point"] > answer["air"]["dew_point"] + 5
    assert "Combustion water is vapour" in " ".join(answer["notes"])
    codes = [caution["code"] for caution in answer["cautions"]]
    assert codes == ["gas-fuel", "carbon-monoxide", "follow-manual"]
    indirect = good(client, **US, heating=heating | {"burner": "indirect"})
    assert indirect["heated"]["combustion_water"] == 0
    assert indirect["heated"]["air"]["dew_point"] == pytest.approx(answer["air"]["dew_point"])
    assert indirect["assumed"][0]["input"] == "heating.efficiency"
    assert indirect["assumed"][0]["value"] == 80


def test_mixing_past_saturation_names_the_fog(client):
    answer = good(
        client, units="metric", pressure=101_325, dry_bulb=35, relative_humidity=95,
        mix_with={"dry_bulb": -5, "relative_humidity": 90, "share": 50},
    )  # fmt: skip
    mixture = answer["mixture"]
    assert mixture["fog"] > 0
    assert mixture["air"]["relative_humidity"] == pytest.approx(100)
    assert "fog" in answer["decision"]
    assert [caution["code"] for caution in answer["cautions"]] == ["condensation"]


def test_steps_follow_each_other(client):
    answer = good(
        client,
        **US,
        fan={"pressure_rise": 4, "efficiency": 50},
        heating={"to": 180, "burner": "indirect", "fuel": "natural-gas", "efficiency": 75},
        cooling={"to": 30},
    )
    fan, heated, cooled = answer["fan"], answer["heated"], answer["cooled"]
    assert fan["air"]["dry_bulb"] == pytest.approx(50 + fan["temperature_rise"])
    assert heated["air"]["dry_bulb"] == 180
    assert cooled["condensed"] == pytest.approx(
        heated["air"]["humidity_ratio"] - cooled["air"]["humidity_ratio"], rel=1e-6
    )
    assert "frost" in answer["decision"]


def test_below_freezing_the_answer_says_that_humidity_refers_to_ice(client):
    answer = good(client, units="us", dry_bulb=10, relative_humidity=80)
    assert "ice" in " ".join(answer["notes"])
    assert "Frost forms" in answer["decision"]


def test_a_wick_that_may_be_frozen_is_named(client):
    answer = good(client, units="metric", dry_bulb=8.89, relative_humidity=6.6, pressure=101_325)
    assert answer["air"]["wet_bulb"] == pytest.approx(0.40, abs=0.01)
    assert "wick may be frozen" in " ".join(answer["notes"])


def test_above_boiling_the_answer_states_the_ceiling(client):
    answer = good(client, units="metric", dry_bulb=120, relative_humidity=20, pressure=101_325)
    assert "51.0 %" in " ".join(answer["notes"])
    entry = fault(client, units="metric", dry_bulb=120, relative_humidity=60, pressure=101_325)
    assert entry["pointer"] == "/relative_humidity"
    assert entry["allowed"]["maximum"] == pytest.approx(51.0, abs=0.01)


@pytest.mark.parametrize(
    "body, pointer, words",
    [
        ({"dry_bulb": 50, "wet_bulb": 60}, "/wet_bulb", "wet bulb 60.0 degF"),
        ({"dry_bulb": 50, "humidity_ratio": 0.1}, "/humidity_ratio", "water would condense"),
        ({"dry_bulb": 140, "wet_bulb": 50}, "/wet_bulb", "drier than dry"),
        ({"dew_point": 190, "relative_humidity": 1}, "/dew_point", "302.0 degF"),
        ({"dew_point": 50, "humidity_ratio": 0.007}, "/dew_point", "same thing"),
        ({"dry_bulb": 50}, "/dry_bulb", "1 given"),
        ({"dry_bulb": 50, "relative_humidity": 0}, "/relative_humidity", "too dry"),
        (
            {"dry_bulb": 50, "relative_humidity": 50, "pressure": 29, "altitude": 500},
            "/altitude",
            "not both",
        ),
        (
            {
                "dry_bulb": 50,
                "relative_humidity": 50,
                "mix_with": {"dry_bulb": 40, "dew_point": 50, "share": 20},
            },
            "/mix_with/dew_point",
            "dew point 50.0 degF",
        ),
        (
            {
                "dry_bulb": 50,
                "relative_humidity": 50,
                "heating": {"to": 40, "burner": "indirect", "fuel": "propane"},
            },
            "/heating/to",
            "below the air's 50.0 degF",
        ),
        (
            {"dry_bulb": 50, "relative_humidity": 50, "cooling": {"to": 60}},
            "/cooling/to",
            "above the air's 50.0 degF",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_the_callers_units(client, body, pointer, words):
    entry = fault(client, units="us", **body)
    assert entry["pointer"] == pointer
    assert words in entry["detail"]
    assert "degC" not in entry["detail"]


# --- Columns --------------------------------------------------------------------------------


def test_columns_answer_as_single_readings_do(client):
    columns = {"dry_bulb": [50.0, 60.0, 14.0], "dew_point": [40.0, 55.0, 10.0]}
    answer = good(client, units="us", pressure=29.0, columns=columns)
    assert answer["rows_answered"] == 3
    assert "refused" not in answer
    for row in range(3):
        alone = good(
            client, units="us", pressure=29.0, **{name: columns[name][row] for name in columns}
        )["air"]
        for name, column in answer["columns"].items():
            assert column[row] == pytest.approx(alone[name], rel=1e-8), (row, name)


def test_a_bad_row_is_refused_in_its_place(client):
    columns = {
        "dry_bulb": [50.0, None, -999.0, 50.0, 60.0],
        "relative_humidity": [70.0, 50.0, 50.0, 130.0, 50.0],
    }
    answer = good(client, units="us", columns=columns)
    assert answer["rows_answered"] == 2
    assert [value is None for value in answer["columns"]["wet_bulb"]] == [
        False, True, True, True, False,
    ]  # fmt: skip
    assert {row["row"]: row["errors"][0]["pointer"] for row in answer["refused"]} == {
        2: "/columns/dry_bulb/1",
        3: "/columns/dry_bulb/2",
        4: "/columns/relative_humidity/3",
    }


@pytest.mark.parametrize(
    "columns",
    [
        {"dry_bulb": [50.0]},
        {"dry_bulb": [50.0], "wet_bulb": [45.0], "dew_point": [40.0]},
        {"dry_bulb": [50.0, 51.0], "wet_bulb": [45.0]},
        {"dew_point": [50.0], "humidity_ratio": [0.007]},
        {"dry_bulb": [], "wet_bulb": []},
    ],
)
def test_columns_that_do_not_fit_are_refused(client, columns):
    assert fault(client, units="us", columns=columns)["pointer"] == "/columns"


def test_columns_stand_alone(client):
    columns = {"dry_bulb": [50.0], "wet_bulb": [45.0]}
    entry = fault(client, units="us", columns=columns, cooling={"to": 20})
    assert entry["pointer"] == "/cooling"


def test_many_rows_are_answered_in_order(client):
    dry = [20.0 + 10.0 * math.sin(row) for row in range(5_000)]
    answer = good(
        client, units="metric", columns={"dry_bulb": dry, "relative_humidity": [60.0] * len(dry)}
    )
    assert answer["rows_answered"] == len(dry)
    assert answer["columns"]["dry_bulb"] == pytest.approx(dry, abs=1e-6)


@pytest.mark.parametrize("dry_bulb", [-12.0, 3.7, 10.0, 33.0, 71.0])
@pytest.mark.parametrize(
    "pair",
    [("wet_bulb", "humidity_ratio"), ("dry_bulb", "humidity_ratio"), ("wet_bulb", "dew_point")],
)
def test_saturated_air_comes_back_from_its_own_written_digits(client, dry_bulb, pair):
    base = {"units": "metric", "pressure": 95_000}
    first = client.post(
        "/v1/moist-air", json=base | {"dry_bulb": dry_bulb, "relative_humidity": 100}
    ).json()["air"]
    again = client.post("/v1/moist-air", json=base | {name: first[name] for name in pair})
    assert again.status_code == 200, again.text
    assert again.json()["air"]["dry_bulb"] == pytest.approx(dry_bulb, abs=1e-5)
