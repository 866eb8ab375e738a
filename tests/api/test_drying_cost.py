"""Drying cost over HTTP: adding up, worked examples, words and corners."""

from __future__ import annotations

import pytest

LOT = {"quantity": 1000.0, "initial_moisture": 25.0, "final_moisture": 15.0}
BODY = {
    "units": "us",
    "grain": "corn-yellow-dent",
    "lots": [LOT],
    "market_moisture": 15.0,
    "fuel": {"kind": "propane", "price_of_liquid": 1.90},
    "propane_per_point": 0.022,
}
BUYER = {"name": "E", "price": 3.5, "base_moisture": 15.0, "price_discount": 2.0}


def ask(client, body, status=200):
    answer = client.post("/v1/drying-cost", json=body)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_42_cents_a_bushel_from_25_to_15_as_hellevang_says(client):
    answer = ask(client, BODY)
    assert answer["costs"]["fuel"] == pytest.approx(420.0, abs=5.0)
    assert answer["per_point"] == pytest.approx(0.042, abs=0.0005)
    assert answer["fuel_burned"]["liquid"] == pytest.approx(220.0)


def test_the_total_is_the_sum_of_its_causes_and_of_its_lots(client):
    body = BODY | {
        "lots": [LOT, LOT | {"final_moisture": 13.0}],
        "rate": 500.0,
        "labour": 20.0,
        "price": 4.0,
        "electricity_use": 0.05,
        "price_of_electricity": 0.1,
    }
    answer = ask(client, body)
    costs = answer["costs"]
    assert costs["total"] == pytest.approx(sum(v for k, v in costs.items() if k != "total"))
    for name, value in costs.items():
        assert value == pytest.approx(sum(lot["costs"][name] for lot in answer["lots"]))
    assert answer["hours"] == pytest.approx(4.0)
    assert costs["labour"] == pytest.approx(80.0)
    assert costs["electricity"] == pytest.approx(10.0)
    assert costs["over_drying"] > 0.0
    assert "over-drying" in {caution["code"] for caution in answer["cautions"]}


def test_both_unit_systems_give_the_same_answer(client):
    tonne = 56 * 0.45359237 / 1000
    gallon = 3.785411784
    metric = BODY | {
        "units": "metric",
        "lots": [LOT | {"quantity": 1000 * tonne}],
        "fuel": {"kind": "propane", "price_of_liquid": 1.90 / gallon},
        "propane_per_point": 0.022 * gallon / tonne,
    }
    assert ask(client, metric)["costs"]["total"] == pytest.approx(
        ask(client, BODY)["costs"]["total"], rel=1e-6
    )


def test_fuel_use_left_out_is_assumed_with_its_published_band(client):
    body = {name: value for name, value in BODY.items() if name != "propane_per_point"}
    answer = ask(client, body)
    assert answer["fuel_burned"]["liquid"] == pytest.approx(180.0)
    assert answer["costs_low"] < answer["costs"]["total"] < answer["costs_high"]
    (entry,) = [one for one in answer["assumed"] if one["input"] == "propane_per_point"]
    assert (entry["low"], entry["value"], entry["high"]) == pytest.approx((0.010, 0.018, 0.025))


def test_carbon_dioxide_stands_factor_by_factor(client):
    rows = ask(client, BODY)["carbon_dioxide"]
    assert len(rows) == 3
    for row in rows:
        assert row["mass"] * 0.45359237 / 220.0 == pytest.approx(5.74, rel=0.04)
        assert row["biogenic"] is False


@pytest.mark.parametrize(
    ("price", "better"), [({"price_of_liquid": 0.5}, "dry"), ({"price_of_liquid": 9.0}, "sell-wet")]
)
def test_dry_or_sell_wet_turns_with_the_price_of_fuel(client, price, better):
    answer = ask(client, BODY | {"buyer": BUYER, "fuel": {"kind": "propane"} | price})
    choice = answer["wet_or_dry"]
    assert choice["better"] == better
    assert choice["gain"] == pytest.approx(
        choice["dry_sale"] - choice["cash_cost"] - choice["wet_sale"]
    )
    assert {"dry": "Dry it", "sell-wet": "Sell it wet"}[better] in answer["decision"]


def test_wet_bushels_at_20_5_percent_bring_3115_as_iowa_state_says(client):
    lot = {"quantity": 1000.0, "initial_moisture": 20.5, "final_moisture": 15.0}
    choice = ask(client, BODY | {"lots": [lot], "buyer": BUYER})["wet_or_dry"]
    assert choice["wet_sale"] == pytest.approx(3110.0, abs=5.01)


def test_at_the_break_even_price_both_bring_the_same(client):
    first = ask(client, BODY | {"buyer": BUYER})["wet_or_dry"]
    fuel = {"kind": "propane", "price_of_heat": first["break_even_fuel_price"]}
    again = ask(client, BODY | {"buyer": BUYER, "fuel": fuel})["wet_or_dry"]
    assert again["gain"] == pytest.approx(0.0, abs=0.05)


def test_a_stand_costs_waiting_labour_and_the_gain_not_made(client):
    body = BODY | {"rate": 500.0, "labour": 20.0, "down_time": {"hours": 2.0, "waiting": 150.0}}
    alone = ask(client, body)
    assert alone["down_time"] == pytest.approx(340.0)
    assert alone["decision"].endswith("A stand of 2.0 hours costs 340.00.")
    with_buyer = ask(client, body | {"buyer": BUYER})
    gain = with_buyer["wet_or_dry"]["gain"]
    assert with_buyer["down_time"] == pytest.approx(340.0 + 1000.0 / 1000.0 * max(gain, 0.0))


def test_biomass_needs_its_heat_value_and_says_which(client):
    fuel = {"kind": "biomass", "price_of_mass": 80.0}
    assert ask(client, BODY | {"fuel": fuel}, 422)["errors"][0]["pointer"] == "/fuel/heat_content"
    whole = fuel | {"heat_content": 7000.0, "heating_value": "higher", "biomass": "wood"}
    answer = ask(client, BODY | {"fuel": whole})
    (row,) = answer["carbon_dioxide"]
    assert row["biogenic"] is True
    assert "gas-fuel" not in {caution["code"] for caution in answer["cautions"]}
    assert "gas-fuel" in {caution["code"] for caution in ask(client, BODY)["cautions"]}
    lower = whole | {"heating_value": "lower"}
    assert ask(client, BODY | {"fuel": lower})["carbon_dioxide"] == []


def test_a_fuel_told_by_its_lower_value_brings_the_heat_that_a_propane_flame_gives_the_air(client):
    """Of 2572 Btu a cubic foot of propane gives 2365 to the air (Menon, Piping Calculations
    Manual): 0.022 gal of 91,333 Btu for each of 10,000 bushel-points take 18.475e6 Btu of air heat.
    """
    fuel = {"kind": "biomass", "heat_content": 7000.0, "heating_value": "lower"}
    burned = ask(client, BODY | {"fuel": fuel})["fuel_burned"]
    needed = 0.022 * 10_000 * 91_333 * 2365 / 2572
    assert burned["mass"] * 7000.0 == pytest.approx(needed, rel=0.003)


@pytest.mark.parametrize(("share", "said"), [(None, False), (100.0, False), (80.0, True)])
def test_own_records_over_an_efficiency_are_questioned(client, share, said):
    fuel = BODY["fuel"] | ({} if share is None else {"burner_efficiency": share})
    body = BODY | {"fuel": fuel, "heat_per_water": 2000.0}
    del body["propane_per_point"]
    answer = ask(client, body)
    assert any("leave burner_efficiency out" in note for note in answer["notes"]) is said
    assert answer["heat_per_water"] == pytest.approx(2000.0 / ((share or 100.0) / 100.0))


def test_propane_by_its_own_rule_is_what_the_rule_says(client):
    for fuel in (BODY["fuel"], BODY["fuel"] | {"burner_efficiency": 100.0}):
        burned = ask(client, BODY | {"fuel": fuel})["fuel_burned"]
        assert burned["liquid"] == pytest.approx(0.022 * 10_000)


def test_one_burner_takes_the_same_fuel_told_by_either_heating_value(client):
    """Dry wood of 21 or 19.7 MJ/kg (extension.org, How Much Heat Does BioFuel Have): 70 % over the
    higher value is 74.6 % over the lower.
    """
    wood = {"kind": "biomass"}
    high = wood | {"heat_content": 9028.0, "heating_value": "higher", "burner_efficiency": 70.0}
    low = wood | {"heat_content": 9028.0 * 19.7 / 21.0, "heating_value": "lower"}
    low["burner_efficiency"] = 70.0 * 21.0 / 19.7
    used = [ask(client, BODY | {"fuel": fuel})["fuel_burned"]["mass"] for fuel in (high, low)]
    assert used[0] == pytest.approx(used[1], rel=1e-6)


@pytest.mark.parametrize("change", [{}, {"heat_per_water": 2000.0, "propane_per_point": None}])
@pytest.mark.parametrize("kind", ["propane", "lower", "higher"])
def test_the_efficiency_taken_gives_the_same_answer_when_it_is_told(client, change, kind):
    fuel = BODY["fuel"]
    if kind != "propane":
        fuel = {"kind": "biomass", "heat_content": 7000.0, "heating_value": kind}
    body = {name: value for name, value in (BODY | {"fuel": fuel} | change).items() if value}
    left_out = ask(client, body)
    (taken,) = (one for one in left_out["assumed"] if one["input"] == "burner_efficiency")
    told = ask(client, body | {"fuel": fuel | {"burner_efficiency": taken["value"]}})
    assert told["fuel_burned"]["heat"] == pytest.approx(left_out["fuel_burned"]["heat"], rel=1e-4)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"fuel": {"kind": "propane"}, "buyer": BUYER}, "/fuel/price_of_liquid"),
        ({"fuel": {"kind": "propane", "price_of_mass": 9.0}}, "/fuel/price_of_mass"),
        ({"fuel": BODY["fuel"] | {"heat_content": 7000.0}}, "/fuel/heat_content"),
        ({"lots": [LOT | {"final_moisture": 26.0}]}, "/lots/0/final_moisture"),
        ({"lots": [LOT, LOT | {"quantity": 0.0}]}, "/lots/1/quantity"),
        ({"lots": []}, "/lots"),
        ({"heat_per_water": 2000.0}, "/propane_per_point"),
        ({"labour": 20.0}, "/rate"),
        ({"electricity_use": 0.05}, "/electricity_use"),
        ({"down_time": {"hours": 1.0}}, "/rate"),
        ({"grain": "moon-dust"}, "/grain"),
    ],
)
def test_what_cannot_be_is_pointed_at(client, change, pointer):
    problem = ask(client, BODY | change, 422)
    assert pointer in [error["pointer"] for error in problem["errors"]]


def test_ten_thousand_lots_are_priced(client):
    answer = ask(client, BODY | {"lots": [LOT] * 10_000, "buyer": BUYER})
    assert len(answer["lots"]) == 10_000
    assert answer["costs"]["fuel"] == pytest.approx(4.18e6, rel=1e-3)


def test_gallons_are_answered_without_a_price_as_iowa_state_prints_them(client):
    """PM 3063C: about 150 gal for 1,000 bushels from 23 to 15 % at 0.019 gal a bushel and point."""
    body = {
        "units": "us",
        "grain": "corn-yellow-dent",
        "lots": [{"quantity": 1000.0, "initial_moisture": 23.0, "final_moisture": 15.0}],
        "fuel": {"kind": "propane"},
        "propane_per_point": 0.019,
    }
    answer = ask(client, body)
    assert answer["fuel_burned"]["liquid"] == pytest.approx(150.0, abs=4.0)
    assert answer["decision"].startswith("Drying takes 152 gal of propane.")
    assert "break_even_field_loss" not in answer


def test_sunflower_takes_0_037_gallons_a_hundredweight_and_point_as_hellevang_says(client):
    """National Sunflower Association magazine: the cost factor per dollar of propane."""
    hundredweight = 100.0 * 0.45359237 / 1000.0  # t
    body = {
        "units": "metric",
        "grain": "sunflower-oil",
        "lots": [{"quantity": hundredweight, "initial_moisture": 11.0, "final_moisture": 10.0}],
        "fuel": {"kind": "propane", "price_of_liquid": 1.0 / 3.785411784},
        "propane_per_point": 0.037 * 3.785411784 / hundredweight,
    }
    assert ask(client, body)["costs"]["fuel"] == pytest.approx(0.037, abs=0.0005)


def test_grain_dried_to_the_buyers_base_is_not_over_dried(client):
    """The buyer pays the full weight up to 15 %, whatever base is usual elsewhere."""
    body = {name: value for name, value in BODY.items() if name != "market_moisture"}
    answer = ask(client, body | {"price": 3.5, "buyer": BUYER})
    assert answer["costs"]["over_drying"] == 0.0
    assert "over-drying" not in {caution["code"] for caution in answer["cautions"]}


def test_the_wet_sale_of_iowa_state_comes_to_the_cent(client):
    """1,000 wet bushels at 20.5 %, 3.50 less 11 %: 3,115.00 (printed 3,110 after rounding)."""
    lot = {"quantity": 1000.0, "initial_moisture": 20.5, "final_moisture": 15.0}
    choice = ask(client, BODY | {"lots": [lot], "buyer": BUYER})["wet_or_dry"]
    assert choice["wet_sale"] == pytest.approx(3115.0, abs=1e-5)
