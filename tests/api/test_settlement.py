"""Settlement over HTTP: sums, rows at fault, both unit systems, CSV."""

from __future__ import annotations

import copy
import csv
import io
from decimal import Decimal

import pytest

US = {
    "units": "us",
    "grain": "corn-yellow-dent",
    "buyers": [
        {"name": "River", "price": 4.35, "base_moisture": 15.0, "shrink_factor": 1.4},
        {
            "name": "Mill", "price": 4.22, "base_moisture": 15.5, "shrink": "water",
            "fixed_shrink": 0.5, "price_discount": 1.0,
            "damage_discounts": [{"above": 5, "discount": 0.03}],
        },
    ],
    "owners": [{"name": "Tenant", "share": 66.67}, {"name": "Landlord", "share": 33.33}],
    "loads": [
        {"id": "1", "weight": 54320, "moisture": 17.8, "buyer": "River"},
        {"id": "2", "weight": 53180, "moisture": 16.9, "buyer": "Mill", "damage": 6.0},
    ],
}  # fmt: skip


@pytest.fixture
def settle(client):
    def call(body, **headers):
        return client.post("/v1/settlement", json=body, headers=headers)

    return call


def exact(number) -> Decimal:
    return Decimal(str(number))


def test_every_statement_adds_up_to_the_cent_and_the_pound_as_printed(settle):
    answer = settle(US).json()
    for entry in [*answer["statements"], answer["totals"], *answer["by_owner"]]:
        taken = sum(exact(entry[name]) for name in entry if name.endswith("_discount"))
        assert exact(entry["value"]) == taken + exact(entry["drying_charge"]) + exact(
            entry["payable"]
        )
        shrink = exact(entry["moisture_shrink"]) + exact(entry["fixed_shrink"])
        assert exact(entry["gross"]) == shrink + exact(entry["net"])
    owners = sum(exact(owner["payable"]) for owner in answer["by_owner"])
    assert owners == exact(answer["payable"]) == exact(answer["totals"]["payable"])


def test_the_shrink_of_a_published_factor_is_taken_from_the_wet_weight(settle):
    body = {
        "units": "us", "grain": "corn-yellow-dent",
        "buyers": [{"name": "a", "price": 3.5, "base_moisture": 15.0, "shrink_factor": 1.2}],
        "loads": [{"id": "1", "weight": 56_000, "moisture": 20.0}],
    }  # fmt: skip
    entry = settle(body).json()["statements"][0]
    assert entry["net_grain"] == 940.0  # USDA crop-insurance factor: 1000 bu at 20 % are 940 bu
    assert entry["payable"] == 3290.0


def test_a_bad_row_is_refused_in_its_place_and_the_rest_is_settled(settle):
    body = copy.deepcopy(US)
    body["loads"].insert(1, {"id": "x", "weight": -5, "moisture": 17.0, "buyer": "River"})
    body["loads"].insert(2, "not a load")
    body["loads"].append({"id": "y", "weight": 5000, "moisture": 17.0, "buyer": "Nobody"})
    answer = settle(body).json()
    assert (answer["loads_settled"], answer["loads_refused"]) == (2, 3)
    faulty = answer["statements"][1]
    assert faulty["row"] == 2
    assert faulty["errors"][0]["pointer"] == "/loads/1/weight"
    assert answer["statements"][4]["errors"][0]["pointer"] == "/loads/4/buyer"
    assert answer["totals"] == settle(US).json()["totals"]


def test_metric_gives_the_same_money(settle):
    pounds, bushel = 0.45359237, 56 * 0.45359237
    body = copy.deepcopy(US) | {"units": "metric", "weight_step": pounds}
    for buyer in body["buyers"]:
        buyer["price"] *= 1000.0 / bushel
        for row in buyer.get("damage_discounts", []):
            row["discount"] *= 1000.0 / bushel
    for load in body["loads"]:
        load["weight"] *= pounds
    metric, us = settle(body).json(), settle(US).json()
    assert metric["payable"] == us["payable"]
    assert metric["totals"]["net"] == pytest.approx(us["totals"]["net"] * pounds)


def test_buyers_are_compared_best_first(settle):
    answer = settle(US).json()
    ranked = answer["every_buyer"]
    assert ranked[0]["payable"] >= ranked[1]["payable"]
    assert ranked[0]["buyer"] in answer["decision"]


def test_buyers_who_pay_the_same_are_said_to(settle):
    """Both of the loads are dry enough for terms that are otherwise alike."""
    alike = [{"name": name, "price": 4.35, "base_moisture": 18.0} for name in ("River", "Mill")]
    decision = settle(US | {"buyers": alike}).json()["decision"]
    assert decision.endswith("as much as Mill.")


def test_a_schedule_without_a_reading_is_named(settle):
    body = copy.deepcopy(US)
    del body["loads"][1]["damage"]
    answer = settle(body).json()
    assert answer["statements"][1]["not_read"] == ["damage"]
    assert any("damage" in note for note in answer["notes"])


def test_the_statements_come_as_a_table_too(settle):
    answer = settle(US, accept="text/csv")
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["owner"] for row in rows] == ["", "Tenant", "Landlord"] * 2
    assert rows[0]["payable"] == str(settle(US).json()["statements"][0]["payable"])


def test_names_in_the_table_are_no_formulas_for_a_spreadsheet(settle):
    body = copy.deepcopy(US)
    body["owners"] = [{"name": "@Tenant", "share": 100}]
    body["loads"][0]["id"] = "=1+1"
    rows = list(csv.DictReader(io.StringIO(settle(body, accept="text/csv").text)))
    assert (rows[0]["load"], rows[1]["owner"]) == ("'=1+1", "'@Tenant")


def test_a_refused_load_keeps_its_ticket_in_both_forms(settle):
    body = copy.deepcopy(US)
    body["loads"][1]["weight"] = -5
    assert settle(body).json()["statements"][1]["id"] == "2"
    rows = list(csv.DictReader(io.StringIO(settle(body, accept="text/csv").text)))
    assert rows[-1]["load"] == "2"
    for unreadable in ("", "x" * 1000, "a\x00b", 7, None):
        body["loads"][1]["id"] = unreadable
        assert "id" not in settle(body).json()["statements"][1]


def test_a_ticket_that_stands_twice_is_asked_about(settle):
    body = copy.deepcopy(US)
    assert not any("more than once" in note for note in settle(body).json()["notes"])
    body["loads"][1]["id"] = "1"
    assert any("1 (2 times)" in note for note in settle(body).json()["notes"])


def test_shares_that_do_not_add_up_are_refused(settle):
    body = copy.deepcopy(US)
    body["owners"][0]["share"] = 50.0
    answer = settle(body)
    assert answer.status_code == 422
    assert "add up" in answer.json()["detail"]


def test_an_owner_that_stands_twice_is_pointed_at_where_the_owners_stand(settle):
    body = copy.deepcopy(US)
    twice = [{"name": "Tenant", "share": 50}, {"name": "Tenant", "share": 50}]
    answer = settle(body | {"owners": twice})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/owners"
    body["loads"][0]["owners"] = twice
    refused = settle(body).json()["statements"][0]
    assert refused["errors"][0]["pointer"] == "/loads/0/owners"


def test_two_buyers_of_one_name_are_refused(settle):
    body = copy.deepcopy(US)
    body["buyers"][1]["name"] = "River"
    assert settle(body).status_code == 422


def test_many_loads_read_as_each_alone_with_refused_ones_between(client):
    """What a load is paid does not depend on how many stand beside it; odd cents aside."""
    one = {
        "units": "us",
        "grain": "corn-yellow-dent",
        "buyers": [{"name": "A", "price": 4.0, "base_moisture": 15.0, "shrink_factor": 1.4}],
    }
    loads = [
        {"id": str(n), "weight": 50_000.0 + n, "moisture": 14.0 + n % 9,
         "owners": [{"name": f"owner {n}", "share": 100.0}]}
        for n in range(450)
    ]  # fmt: skip
    loads[7]["weight"] = -1.0
    answer = client.post("/v1/settlement", json=one | {"loads": loads}).json()
    assert (answer["loads_settled"], answer["loads_refused"]) == (449, 1)
    assert answer["statements"][7]["row"] == 8
    for n in (0, 6, 8, 449):
        alone = client.post("/v1/settlement", json=one | {"loads": [loads[n]]}).json()
        assert answer["statements"][n] == alone["statements"][0]


def test_a_single_owner_has_all_of_a_load_or_the_load_is_refused(client):
    body = {
        "units": "us",
        "grain": "corn-yellow-dent",
        "buyers": [{"name": "A", "price": 4.0, "base_moisture": 15.0, "shrink_factor": 1.4}],
        "loads": [
            {"id": "1", "weight": 56_000.0, "moisture": 18.0,
             "owners": [{"name": "half", "share": 50.0}]},
        ],
    }  # fmt: skip
    answer = client.post("/v1/settlement", json=body).json()
    assert answer["loads_refused"] == 1


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_load_worked_by_hand_comes_to_the_cent(client, units):
    """56,000 lb of corn at 18 %: 1.4 % a point takes 2,352 lb; 53,648 lb are 958 bu at 4.00, which
    is 3,832.00; 5 cents a point on 1,000 wet bu is 150.00; 3,682.00 are paid.
    """
    bushel = 56 * 0.45359237 / 1000 if units == "metric" else 1.0  # t, or bu
    pound = 0.45359237 if units == "metric" else 1.0
    body = {
        "units": units,
        "grain": "corn-yellow-dent",
        "buyers": [
            {"name": "A", "price": 4.0 / bushel, "base_moisture": 15.0, "shrink_factor": 1.4,
             "drying_charge": 0.05 / bushel},
        ],
        "loads": [{"id": "1", "weight": 56_000.0 * pound, "moisture": 18.0}],
        "weight_step": pound,
    }  # fmt: skip
    totals = client.post("/v1/settlement", json=body).json()["totals"]
    assert totals["value"] == 3832.00
    assert totals["drying_charge"] == 150.00
    assert totals["payable"] == 3682.00


def test_two_buyers_of_one_name_are_refused_where_the_second_stands(client):
    buyer = {"name": "mill", "price": 4, "base_moisture": 15, "shrink_factor": 1.2}
    loads = [{"id": "1", "weight": 56_000, "moisture": 20}]
    plain = {"name": "mill", "shrink_factor": 1.2, "base_moisture": 15}
    for path, body in (
        ("settlement", {"loads": loads, "buyers": [buyer, buyer]}),
        ("shrink", {"weight": 100, "moisture": 20, "buyers": [plain, plain]}),
    ):
        body |= {"units": "us", "grain": "corn-yellow-dent"}
        answer = client.post(f"/v1/{path}", json=body)
        assert answer.status_code == 422
        (fault,) = answer.json()["errors"]
        assert fault["pointer"] == "/buyers/1/name"
        assert fault["value"] == "mill"


def one_load(client, buyer, **load):
    body = {"units": "us", "grain": "corn-yellow-dent"}
    terms = {"name": "mill", "price": 4.2, "base_moisture": 15} | buyer
    loads = [{"id": "1", "weight": 56_000, "moisture": 20} | load]
    return client.post("/v1/settlement", json=body | {"buyers": [terms], "loads": loads})


def test_a_factor_beside_shrink_by_water_is_refused_and_not_left_unused(client):
    answer = one_load(client, {"shrink": "water", "shrink_factor": 1.4})
    assert answer.status_code == 422
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == "/buyers/0/shrink_factor"


@pytest.mark.parametrize(
    "buyer, moisture, asked",
    [
        ({}, 20, True),
        ({}, 14, False),
        ({"shrink_factor": 0}, 20, False),
        ({"shrink": "water"}, 20, False),
        ({"moisture_discounts": [{"above": 18, "discount": 0.1}]}, 20, False),
    ],
)
def test_a_buyer_who_pays_for_water_is_asked_about(client, buyer, moisture, asked):
    notes = one_load(client, buyer, moisture=moisture).json()["notes"]
    assert any("paid for water" in note for note in notes) is asked


def test_a_load_worth_less_than_its_charges_is_paid_nothing_in_words(client):
    """930 bu net at a cent are 9.30; 5 points at 5 cents on 1,000 wet bu are 250.00."""
    answer = one_load(client, {"price": 0.01, "drying_charge": 0.05, "shrink_factor": 1.4}).json()
    assert answer["payable"] == -240.70
    assert "paid nothing" in answer["decision"]
    assert "by 240.70." in answer["decision"]


def test_where_no_load_can_be_settled_none_is_paid_in_words(client):
    answer = one_load(client, {"shrink_factor": 1.4}, moisture=70).json()
    assert answer["loads_refused"] == 1
    assert answer["decision"] == "No load could be settled; see the rows."


@pytest.mark.parametrize(
    "moisture, said",
    [
        (15.01, "is 288 lb, where drying to the base moisture would remove 7 lb."),
        (20, "is 27 % more than"),
    ],
)
def test_shrink_is_held_against_the_water_in_figures_that_mean_something(client, moisture, said):
    """0.5 and 1.4 % a point: 8 and 280 of 56,000 lb at 15.01 %, 4,200 where 3,294 are water."""
    notes = one_load(client, {"shrink_factor": 1.4, "fixed_shrink": 0.5}, moisture=moisture)
    assert any(said in note for note in notes.json()["notes"])
