"""The equilibrium resource: four questions, both unit systems, refusals that name the field."""

from __future__ import annotations

import pytest

CORN = "corn-yellow-dent"
MEAN = "emc.extension-mean.d245-4"
CHUNG_PFOST = "emc.chung-pfost-modified.d245-4"


def ask(client, **body):
    return client.post("/v1/equilibrium-moisture", json=body)


def good(client, **body):
    answer = ask(client, **body)
    assert answer.status_code == 200, answer.text
    return answer.json()


def fault(client, **body):
    answer = ask(client, **body)
    assert answer.status_code == 422, answer.text
    (entry,) = answer.json()["errors"]
    return entry


def test_the_extension_table_is_met(client):
    """NDSU, Hellevang 2010: corn, 80 F and 65 %: 13.1 % (mean of two D245.4 equations)."""
    answer = good(
        client, units="us", grain=CORN, isotherm=MEAN, temperature=80, relative_humidity=65
    )
    assert answer["grain_moisture"]["moisture"] == pytest.approx(13.1, abs=0.15)
    assert answer["isotherm"] == MEAN


def test_both_unit_systems_give_the_same_balance(client):
    us = good(client, units="us", grain=CORN, temperature=77, moisture=15)
    metric = good(client, units="metric", grain=CORN, temperature=25, moisture=15)
    assert us["grain_air"]["relative_humidity"] == pytest.approx(
        metric["grain_air"]["relative_humidity"], rel=1e-7
    )
    assert (us["grain_air"]["dew_point"] - 32) / 1.8 == pytest.approx(
        metric["grain_air"]["dew_point"], abs=1e-6
    )
    assert us["heat"]["total"] * 2.326e-3 == pytest.approx(metric["heat"]["total"], rel=1e-7)
    assert us["heat"]["binding"] * 2.326e-3 == pytest.approx(metric["heat"]["binding"], rel=1e-6)


def test_grain_and_air_lead_back_to_each_other(client):
    air = good(client, units="metric", grain=CORN, temperature=20, moisture=14)
    humidity = air["grain_air"]["relative_humidity"]
    grain = good(client, units="metric", grain=CORN, temperature=20, relative_humidity=humidity)
    assert grain["grain_moisture"]["moisture"] == pytest.approx(14, abs=1e-6)


def test_the_default_set_is_said_with_its_reason_and_the_band_spans_all_sets(client):
    answer = good(client, units="us", grain=CORN, temperature=80, relative_humidity=65)
    (assumed,) = answer["assumed"]
    assert (assumed["input"], assumed["choice"]) == ("isotherm", "emc.henderson-modified.d245-4")
    assert "Chung-Pfost" in assumed["why"]
    band, moistures = (
        answer["grain_moisture"]["band"],
        [entry["moisture"] for entry in answer["by_set"]],
    )
    assert (band["low"], band["high"]) == (min(moistures), max(moistures))
    assert band["sets"] == 5
    assert len(moistures) == 6
    assert answer["decision"].startswith("Yellow dent corn left in air of 80.0 degF")


def test_extrapolation_is_flagged_in_every_way(client):
    answer = good(client, units="us", grain=CORN, temperature=200, relative_humidity=3)
    assert answer["extrapolated"] is True
    assert [caution["code"] for caution in answer["cautions"]] == ["extrapolated"]
    assert answer["methods"][0]["inside_range"] is False
    assert answer["methods"][0]["outside"] == ["relative humidity", "temperature"]
    assert "32 degF to 131 degF" in answer["notes"][0]
    without = [entry for entry in answer["by_set"] if "no_value" in entry]
    assert {entry["isotherm"] for entry in without} == {
        CHUNG_PFOST, "emc.chung-pfost-modified.d245-5", MEAN,
    }  # fmt: skip
    inside = good(client, units="us", grain=CORN, temperature=80, relative_humidity=65)
    assert inside["extrapolated"] is False
    assert inside["cautions"] == []


def test_a_set_without_a_value_is_refused_with_the_driest_air_it_answers(client):
    body = {"units": "metric", "grain": CORN, "isotherm": CHUNG_PFOST, "temperature": 110}
    entry = fault(client, **body, relative_humidity=2)
    assert entry["pointer"] == "/relative_humidity"
    assert "choose another set" in entry["detail"]
    edge = entry["allowed"]["minimum"]
    answer = good(client, **body, relative_humidity=edge)
    assert answer["grain_moisture"]["moisture"] == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize(
    "body, pointer",
    [
        ({"temperature": 20}, ""),
        ({"relative_humidity": 60}, "/temperature"),
        ({"temperature": 20, "relative_humidity": 60, "moisture": 14}, "/relative_humidity"),
        ({"temperature": 20, "moisture": 0}, "/moisture"),
        ({"temperature": 20, "relative_humidity": 100}, "/relative_humidity"),
        ({"temperature": 20, "moisture": 14, "isotherm": "emc.none"}, "/isotherm"),
        ({"temperature": 20, "moisture": 14, "grain": "straw"}, "/grain"),
        ({"temperature": 20, "moisture": 14, "grain": "flax"}, "/grain"),
        (
            {"temperature": 20, "table": {"temperatures": [1], "relative_humidities": [50]}},
            "/temperature",
        ),
        ({"columns": {"temperature": [20.0]}}, "/columns"),
        ({"columns": {"temperature": [20.0], "moisture": [14.0, 15.0]}}, "/columns"),
        (
            {
                "temperature": 20,
                "moisture": 14,
                "own_isotherm": {"form": "gab", "a": 5, "b": 1.5, "c": 12},
            },
            "/own_isotherm",
        ),
        (
            {
                "temperature": 20,
                "moisture": 14,
                "isotherm": MEAN,
                "own_isotherm": {"form": "gab", "a": 5, "b": 0.8, "c": 12},
            },
            "/isotherm",
        ),
    ],
)
def test_what_cannot_be_answered_is_refused_by_name(client, body, pointer):
    assert fault(client, **({"units": "metric", "grain": CORN} | body))["pointer"] == pointer


@pytest.mark.parametrize(
    "form, a, b, c",
    [
        ("henderson-modified", 8.6541e-5, 1.8634, 49.81),
        ("chung-pfost-modified", 312.4, 0.16958, 30.205),
        ("halsey-modified", 2.87, -0.0054, 1.38),
        ("oswin-modified", 15.303, -0.10164, 3.0358),
        ("gab", 7.5, 0.72, 18.0),
    ],
)
def test_every_form_takes_own_constants(client, form, a, b, c):
    own = {"form": form, "a": a, "b": b, "c": c}
    answer = good(
        client, units="metric", grain=CORN, own_isotherm=own, temperature=25, relative_humidity=60
    )
    assert answer["isotherm"] == f"emc.{form}.own"
    assert 6 < answer["grain_moisture"]["moisture"] < 15
    assert answer["assumed"] == []
    assert answer["grain_moisture"]["band"]["sets"] == 5


def test_own_constants_that_bind_water_as_no_grain_does_give_no_heat(client):
    own = {"form": "henderson-modified", "a": 1e4, "b": 1.8, "c": -19.999999}
    answer = good(
        client, units="metric", grain="flax", own_isotherm=own, temperature=20, moisture=9
    )
    assert "heat" not in answer


@pytest.mark.parametrize(
    "system, air",
    [
        ("metric", {"temperature": 55, "relative_humidity": 95}),
        ("us", {"temperature": 131, "relative_humidity": 95}),
        ("us", {"temperature": 32, "relative_humidity": 10}),
    ],
)
def test_air_at_the_ends_of_the_fitted_range_is_inside_it(client, system, air):
    """95 % is 0.9500000000000001 and 131 degF 55.00000000000001 degC."""
    answer = good(client, units=system, grain=CORN, **air)
    assert answer["extrapolated"] is False
    assert all(method["inside_range"] for method in answer["methods"])


def test_own_constants_serve_a_grain_that_has_none(client):
    own = {"form": "gab", "a": 5.2, "b": 0.8, "c": 12}
    answer = good(
        client, units="metric", grain="flax", own_isotherm=own, temperature=20, moisture=9
    )
    assert "band" not in answer["grain_air"]
    assert "by_set" not in answer
    assert answer["heat"]["binding"] == 0


def test_a_table_agrees_with_single_answers_and_leaves_holes_where_there_is_no_value(client):
    table = {"temperatures": [20.0, 110.0], "relative_humidities": [2.0, 60.0]}
    answer = good(client, units="metric", grain=CORN, isotherm=CHUNG_PFOST, table=table)
    moistures = answer["table"]["moisture"]
    assert moistures[1][0] is None
    assert answer["table"]["extrapolated"] == [[True, False], [True, True]]
    alone = good(
        client, units="metric", grain=CORN, isotherm=CHUNG_PFOST, temperature=20,
        relative_humidity=60,
    )  # fmt: skip
    assert moistures[0][1] == pytest.approx(alone["grain_moisture"]["moisture"], rel=1e-8)


def test_columns_of_air_agree_with_single_answers(client):
    columns = {
        "temperature": [50.0, None, 230.0, 70.0, -99.9],
        "relative_humidity": [60.0, 60.0, 2.0, 101.0, 50.0],
    }
    answer = good(client, units="us", grain=CORN, isotherm=CHUNG_PFOST, columns=columns)
    assert answer["rows_answered"] == 1
    assert {row["row"]: row["errors"][0]["pointer"] for row in answer["refused"]} == {
        2: "/columns/temperature/1",
        3: "/columns/relative_humidity/2",
        4: "/columns/relative_humidity/3",
        5: "/columns/temperature/4",
    }
    alone = good(
        client, units="us", grain=CORN, isotherm=CHUNG_PFOST, temperature=50, relative_humidity=60
    )["grain_moisture"]
    out = answer["columns"]
    assert out["moisture"][0] == pytest.approx(alone["moisture"], rel=1e-8)
    assert out["moisture_low"][0] == pytest.approx(alone["band"]["low"], rel=1e-8)
    assert out["moisture_high"][0] == pytest.approx(alone["band"]["high"], rel=1e-8)
    assert out["extrapolated"] == [False, None, None, None, None]


@pytest.mark.parametrize("isotherm", ["emc.henderson-modified.d245-4", MEAN])
def test_columns_of_grain_agree_with_single_answers(client, isotherm):
    columns = {"temperature": [10.0, 30.0, 20.0], "moisture": [15.0, 12.0, 0.0]}
    answer = good(client, units="metric", grain=CORN, isotherm=isotherm, columns=columns)
    assert answer["rows_answered"] == 2
    assert [row["row"] for row in answer["refused"]] == [3]
    alone = good(
        client, units="metric", grain=CORN, isotherm=isotherm, temperature=30, moisture=12
    )["grain_air"]
    for name in ("relative_humidity", "dew_point", "vapour_pressure"):
        assert answer["columns"][name][1] == pytest.approx(alone[name], rel=1e-8)
        assert answer["columns"][name][2] is None


def test_columns_without_one_good_row_say_so(client):
    columns = {"temperature": [20.0], "moisture": [99.0]}
    answer = good(client, units="metric", grain=CORN, columns=columns)
    assert answer["decision"] == "0 of 1 readings answered; see `refused`."


@pytest.mark.parametrize(
    "grain", ["popcorn", "oats", "sorghum", "rapeseed", "rough-rice-long", "wheat-durum"]
)
def test_every_kind_of_grain_answers_with_its_default(client, grain):
    answer = good(client, units="metric", grain=grain, temperature=20, relative_humidity=60)
    assert 5 < answer["grain_moisture"]["moisture"] < 15
    if grain in {"popcorn", "rapeseed"}:
        assert "Only one set" in " ".join(answer["notes"])


def test_air_that_would_frost_is_given_its_frost_point(client):
    body = {"units": "us", "grain": "soybean", "temperature": 70, "moisture": 5}
    answer = client.post("/v1/equilibrium-moisture", json=body).json()
    assert answer["grain_air"]["dew_point"] < 32.0
    assert "frost point" in answer["decision"]


def test_sets_that_agree_are_said_to_agree(client):
    body = {"units": "us", "grain": "corn-yellow-dent", "temperature": 200, "relative_humidity": 0}
    answer = client.post("/v1/equilibrium-moisture", json=body).json()
    assert "published sets all say 0.0 %" in answer["decision"]
