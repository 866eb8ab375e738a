"""Shrink over HTTP: one load, many, backwards, as CSV; what is at fault answers for itself."""

from __future__ import annotations

import csv
import io
import json

import pytest

CORN = {"units": "us", "grain": "corn-yellow-dent", "final_moisture": 15.5}


def ask(client, status=200, **body):
    answer = client.post("/v1/shrink", json=CORN | body)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_1000_lb_from_25_5_to_15_5_leave_876_7_lb_as_nch_61_says(client):
    answer = ask(client, weight=1000, moisture=25.5)
    assert answer["totals"]["final_weight"] == pytest.approx(876.7, abs=0.05)
    assert answer["totals"]["total_shrink"] == pytest.approx(12.33, abs=0.005)
    assert answer["decision"].startswith("1,000 lb come to 876.7 lb (15.7 bu) at 15.5 %")


def test_both_unit_systems_tell_the_same(client):
    us = ask(client, weight=50_000, moisture=21, price=4.2)
    kg = 50_000 * 0.45359237
    metric = ask(client, units="metric", weight=kg, moisture=21, price=165)
    assert metric["totals"]["final_weight"] / 0.45359237 == pytest.approx(
        us["totals"]["final_weight"], rel=1e-8
    )
    assert metric["totals"]["water_shrink"] == us["totals"]["water_shrink"]


def test_bushels_and_pounds_of_one_load_are_the_same_load(client):
    pounds = ask(client, weight=56_000, moisture=20)["totals"]
    bushels = ask(client, amount=1000, moisture=20)["totals"]
    assert pounds == bushels


def test_a_test_weight_makes_the_bushel(client):
    answer = ask(client, weight=54_000, moisture=15.5, test_weight=54, handling_loss=0)
    assert answer["totals"]["final_grain"] == pytest.approx(1000.0)


def test_the_wanted_weight_comes_back_as_the_final_weight(client):
    answer = ask(client, wanted_weight=56_000, moisture=22)
    assert answer["totals"]["final_weight"] == pytest.approx(56_000)
    again = ask(client, weight=answer["totals"]["wet_weight"], moisture=22)
    assert again["totals"]["final_weight"] == pytest.approx(56_000)


def test_a_bad_row_answers_for_itself_and_the_rest_is_answered(client):
    rows = [
        {"id": "A", "weight": 50_000, "moisture": 20},
        {"id": "B", "weight": 50_000, "moisture": 99},
        "not a row",
        {"weight": True, "moisture": 20},
        {"weight": 50_000},
        {"weight": 50_000, "moisture": 20, "colour": "red"},
        {"weight": 10**400, "moisture": 20},
        {"weight": 50_000, "moisture": 20},
    ]
    answer = ask(client, loads=rows)
    assert (answer["covered"], answer["refused"]) == (2, 6)
    assert [entry["row"] for entry in answer["loads"]] == list(range(1, 9))
    bad = [entry for entry in answer["loads"] if "errors" in entry]
    assert bad[0]["errors"][0]["pointer"] == "/loads/1/moisture"
    assert all(entry["errors"][0]["detail"] for entry in bad)
    good = [entry for entry in answer["loads"] if "errors" not in entry]
    total = sum(entry["final_weight"] for entry in good)
    assert total == pytest.approx(answer["totals"]["final_weight"])


def test_rows_columns_and_csv_give_the_same_numbers(client):
    loads = [(50_000, 20.0), (48_000, 17.5), (51_000, 24.25)]
    rows = ask(client, loads=[{"weight": w, "moisture": m} for w, m in loads])
    columns = ask(
        client, columns={"weights": [w for w, _ in loads], "moistures": [m for _, m in loads]}
    )
    text = "weight,moisture\n" + "".join(f"{w},{m}\n" for w, m in loads)
    sent = client.post(
        "/v1/shrink?units=us&grain=corn-yellow-dent&final_moisture=15.5",
        content=text,
        headers={"content-type": "text/csv"},
    ).json()
    finals = [entry["final_weight"] for entry in rows["loads"]]
    assert columns["columns"]["final_weights"] == finals
    assert [entry["final_weight"] for entry in sent["loads"]] == finals
    assert rows["totals"] == columns["totals"] == sent["totals"]


def test_csv_comes_back_with_one_line_a_load_and_the_fault_in_its_place(client):
    answer = client.post(
        "/v1/shrink?units=us&grain=corn-yellow-dent&final_moisture=15.5",
        content="id,weight,moisture\nA,50000,20\n=1+1,50000,18\nC,wet,18\n",
        headers={"content-type": "text/csv", "accept": "text/csv"},
    )
    assert answer.headers["content-type"].startswith("text/csv")
    lines = list(csv.DictReader(io.StringIO(answer.text)))
    assert [line["row"] for line in lines] == ["1", "2", "3"]
    assert float(lines[0]["final_weight"]) > 0
    assert not lines[1]["id"].startswith("=")
    assert (lines[2]["id"], lines[2]["final_weight"]) == ("C", "")
    assert "/loads/2/weight" in lines[2]["error"]


@pytest.mark.parametrize(
    "body, query, status, words",
    [
        (b"weight;moisture\n1;2\n", "", 400, "looks separated by ';': separate by ','"),
        (b"weight\tmoisture\n1\t2\n", "", 400, "looks separated by tabs"),
        (b"\xff\xfe", "", 400, "not UTF-8"),
        (b'weight,moisture\n"1,2\n', "", 400, "a quote is opened and never closed"),
        (b'weight,moisture\n"1"0,2\n', "", 400, "a quote stands inside a cell"),
        (b"weight,moisture\n1,2,3\n", "", 422, ""),
        (b"weight,weight,moisture\n1,2,3\n", "", 422, "stands twice"),
        (b"", "", 422, "the first line must name"),
        (b"weight,moisture\n", "", 422, "must hold at least 1, holds 0"),
        (b"weight,moisture\n1,2\n", "&price=dear", 422, "must be a number"),
        (b"weight,moisture\n1,2\n", "&colour=red", 422, "no such query parameter"),
        (b"weight,moisture\n1,2\n", "&final_moisture=nan", 422, ""),
    ],
)
def test_csv_that_cannot_be_read_is_refused_with_a_reason(client, body, query, status, words):
    answer = client.post(
        f"/v1/shrink?units=us&grain=corn-yellow-dent{query}",
        content=body,
        headers={"content-type": "text/csv"},
    )
    assert answer.status_code == status
    assert words in answer.json()["detail"]


def test_a_hundred_thousand_columns_are_answered(client):
    count = 100_000
    columns = {"weights": [50_000.0] * count, "moistures": [20.0] * count}
    answer = ask(client, columns=columns)
    assert answer["covered"] == count
    assert len(answer["columns"]["final_weights"]) == count


def test_columns_of_different_length_are_refused(client):
    problem = ask(client, 422, columns={"weights": [1.0], "moistures": [20.0, 21.0]})
    assert problem["errors"][0]["pointer"] == "/columns/moistures"


def test_a_column_at_fault_is_refused_in_its_place(client):
    columns = {"weights": [50_000, None, 50_000, -1], "moistures": [20, 20, 61, 20]}
    answer = ask(client, columns=columns)
    assert answer["covered"] == 1
    assert [entry["row"] for entry in answer["columns"]["refused"]] == [2, 3, 4]
    assert answer["columns"]["final_weights"][1:] == [None, None, None]


@pytest.mark.parametrize(
    "body, pointer",
    [
        ({}, "/weight"),
        ({"weight": 1, "amount": 1, "moisture": 20}, "/weight"),
        ({"weight": 1}, "/moisture"),
        ({"loads": [{"weight": 1, "moisture": 20}], "moisture": 20}, "/moisture"),
    ],
)
def test_the_loads_are_given_in_exactly_one_way(client, body, pointer):
    problem = ask(client, 422, **body)
    assert problem["errors"][0]["pointer"] == pointer


BUYER = {"name": "River elevator", "shrink_factor": 1.4, "base_moisture": 15.0}


def test_the_money_between_buyer_and_truth_adds_up(client):
    buyer = BUYER | {"price_discount": 1.0, "drying_charge": 0.03, "fixed_shrink": 0.5}
    (line,) = ask(client, weight=50_000, moisture=21, price=4.2, buyers=[buyer])["buyers"]
    parts = line["shrink_gap"] + line["discount"] + line["charge"]
    assert line["gap"] == pytest.approx(parts, abs=1e-5)
    assert line["gap"] == pytest.approx(line["true_value"] - line["paid"], abs=1e-5)
    assert line["shrink_gap"] == pytest.approx(line["weight_gap"] / 56 * 4.2, rel=1e-6)


def test_a_flat_factor_of_1_2_settles_1000_bushels_of_20_percent_at_940(client):
    buyer = {"name": "insurer", "shrink_factor": 1.2, "base_moisture": 15.0}
    (line,) = ask(client, amount=1000, moisture=20, buyers=[buyer])["buyers"]
    assert line["paid_weight"] / 56 == pytest.approx(940.0)
    assert "paid" not in line


def test_readings_rounded_up_cost_the_seller(client):
    fine = BUYER | {"moisture_step": 0.1}
    coarse = BUYER | {"name": "Coarse", "moisture_step": 0.5, "moisture_rounding": "up"}
    lines = ask(client, weight=50_000, moisture=20.1, price=4.2, buyers=[fine, coarse])["buyers"]
    assert lines[1]["paid"] < lines[0]["paid"]


def test_drier_grain_is_paid_as_it_is_and_its_true_gain_is_shown(client):
    answer = ask(client, weight=50_000, moisture=14, price=4.2, buyers=[BUYER])
    (line,) = answer["buyers"]
    assert line["paid_weight"] == 50_000
    assert line["true_shrink"] < 0
    assert line["weight_gap"] > 0
    assert any("already drier" in note for note in answer["notes"])


def test_over_drying_a_point_gives_away_1_17_percent(client):
    answer = ask(client, weight=50_000, moisture=20, over_dried_to=14.5, price=4.2, fuel_price=20)
    lost = answer["over_drying"]
    assert lost["share_given_away"] == pytest.approx(1.17, abs=0.005)
    assert lost["value_given_away"] == pytest.approx(lost["grain_given_away"] * 4.2, rel=1e-6)
    assert lost["extra_fuel_cost"] == pytest.approx(lost["extra_heat"] / 1e6 * 20, rel=1e-6)
    assert answer["cautions"][0]["code"] == "over-drying"


def test_grain_that_came_drier_gives_away_only_what_it_loses_itself(client):
    """50,000 lb at 15 % hold 42,500 lb of dry matter: 49,707.6 lb at 14.5 %, 292.4 lb less."""
    rule = {"over_dried_to": 14.5, "handling_loss": 0, "specific_energy": 2000}
    lost = ask(client, weight=50_000, moisture=15, **rule)["over_drying"]
    assert lost["weight_given_away"] == pytest.approx(292.4, abs=0.05)
    assert lost["share_given_away"] == pytest.approx(0.5848, abs=0.0001)
    assert lost["extra_heat"] == pytest.approx(292.4 * 2000, rel=1e-3)
    dry, wet = {"weight": 50_000, "moisture": 12}, {"weight": 50_000, "moisture": 20}
    alone, beside = (ask(client, loads=loads, **rule) for loads in ([wet], [dry, wet]))
    given = [answer["over_drying"]["weight_given_away"] for answer in (alone, beside)]
    assert given[0] == given[1]
    assert "over_drying" not in ask(client, loads=[dry], **rule)


def test_what_was_assumed_is_listed(client):
    body = {"units": "us", "grain": "corn-yellow-dent", "weight": 1000, "moisture": 20}
    answer = client.post("/v1/shrink", json=body).json()
    assert {entry["input"] for entry in answer["assumed"]} == {"final_moisture", "handling_loss"}


def test_the_same_request_gives_the_same_bytes(client):
    body = json.dumps(CORN | {"weight": 50_000, "moisture": 20.3})
    headers = {"content-type": "application/json"}
    first, second = (client.post("/v1/shrink", content=body, headers=headers) for _ in range(2))
    assert first.content == second.content


def _said(client, **load):
    body = {"units": "us", "grain": "corn-yellow-dent", "final_moisture": 15.5} | load
    return client.post("/v1/shrink", json=body).json()["decision"]


def test_water_and_handling_are_told_apart_and_an_assumed_loss_is_called_assumed(client):
    # 1,000 lb from 25 to 15.5 %: 1000 (25 - 15.5) / 84.5 = 112.4 lb of water.
    assert "112.4 lb of water goes and 5 lb in handling, which is assumed." in _said(
        client, weight=1000, moisture=25
    )
    assert "handling" not in _said(client, weight=1000, moisture=25, handling_loss=0)


def test_a_light_weight_is_said_to_a_tenth(client):
    # 56 lb at 15.5 % hold 47.32 lb of dry matter: 63.1 lb at 25 %.
    said = _said(client, wanted_weight=56, moisture=25, handling_loss=0)
    assert "you need 63.1 lb" in said


def test_one_dry_load_among_several_is_spoken_of_as_one(client):
    loads = [{"weight": 50_000, "moisture": moisture} for moisture in (14.0, 20.0)]
    notes = ask(client, loads=loads)["notes"]
    assert notes[0].startswith("1 load is already drier")


def test_grain_drier_than_wanted_is_not_said_to_grow(client):
    # 1,000 lb at 14 % hold 860 lb of dry matter: 1,017.8 lb at 15.5 %.
    buyer = {"name": "A", "shrink_factor": 1.3}
    said = _said(client, weight=1000, moisture=14, price=4, buyers=[buyer])
    assert "already drier than 15.5 % wet basis" in said
    assert "would weigh 1,017.8 lb" in said
    assert "really loses" not in said


def test_a_buyer_who_takes_the_true_shrink_is_said_to(client):
    # 100/84.5 percent a point is the exact factor at 15.5 %.
    buyer = {"name": "A", "shrink_factor": 100 / 84.5}
    said = _said(client, weight=1000, moisture=20, handling_loss=0, buyers=[buyer])
    assert said.endswith("A takes what the grain really loses.")


def test_one_good_load_among_bad_ones_is_one_load(client):
    rows = [{"weight": 5000, "moisture": 20}, {"weight": 5000}]
    assert "5,000 lb in 1 load come" in _said(client, loads=rows)
