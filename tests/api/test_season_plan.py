"""Season plan over HTTP: units, clocks, contradictions, words, the picture."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import pytest

PATH = "/v1/season-plan"
EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples" / "season_plan"


@pytest.fixture(scope="module")
def harvest():
    return json.loads((EXAMPLES / "us-harvest.json").read_text())["request"]


@pytest.fixture(scope="module")
def lots():
    return json.loads((EXAMPLES / "metric-lots.json").read_text())["request"]


@pytest.fixture(scope="module")
def planned(client, harvest):
    return client.post(PATH, json=harvest).json()


def test_the_crop_is_all_dried_and_weeks_add_up_to_the_season(planned, harvest):
    assert planned["dried"] == pytest.approx(harvest["harvest"]["crop"], rel=1e-6)
    for name in ("heat", "liquid", "fuel_money", "water", "dryer_hours", "waited"):
        total = sum(week[name] for week in planned["weeks"])
        assert total == pytest.approx(planned[name], rel=1e-6)
    assert planned["heat_low"] < planned["heat"] < planned["heat_high"]


def test_a_known_rate_is_told_apart_from_a_rated_one(client, planned, lots):
    assert any("70 to 80 % of a rated capacity" in note for note in planned["notes"])
    described = client.post(PATH, json=lots).json()
    assert not any("rated" in note for note in described["notes"])


def test_fuel_money_is_the_price_of_the_liquid(planned):
    assert planned["fuel_money"] == pytest.approx(1.85 * planned["liquid"], rel=1e-6)


def test_the_change_that_helps_most_waits_least_and_is_named(planned):
    waits = {
        other["change"]: other["waited"] for other in planned["alternatives"] if other["computed"]
    }
    assert planned["helps_most"] == min(waits, key=waits.get)
    assert "Most help" in planned["decision"]


def test_a_plenum_hotter_than_published_is_warned_of_and_none_hotter_proposed(client, harvest):
    body = copy.deepcopy(harvest) | {"grain": "soybean", "final_moisture": 13}
    body["harvest"] |= {"moisture": 20, "lowest_moisture": 14}
    body["known_rate"] |= {"moisture": 18, "discharge_moisture": 13, "plenum_temperature": 150}
    answer = client.post(PATH, json=body).json()
    assert answer["helps_most"] != "higher-plenum"
    assert "hotter plenum" not in answer["decision"]
    assert "temperature-limit" in [caution["code"] for caution in answer["cautions"]]
    body["known_rate"]["plenum_temperature"] = 130  # degF, the most that is published
    answer = client.post(PATH, json=body).json()
    assert "temperature-limit" not in [caution["code"] for caution in answer["cautions"]]


def test_a_plan_that_ends_before_all_is_dry_does_not_say_that_the_dryer_keeps_up(client, harvest):
    slow = copy.deepcopy(harvest)
    slow["harvest"]["rate"] = 50
    answer = client.post(PATH, json=slow).json()
    assert (answer["keeps_up"], answer["waited"]) == (False, 0)
    assert answer["decision"].startswith("Nothing waits; ")


def test_metric_plans_the_same_season(client, harvest, planned):
    bushel = 56 * 0.45359237 / 1000.0
    body = copy.deepcopy(harvest) | {"units": "metric"}

    def celsius(value):
        return (value - 32.0) / 1.8

    for month in body["monthly"]["months"]:
        month["temperature"] = celsius(month["temperature"])
        month["swing"] /= 1.8
    body["harvest"]["crop"] *= bushel
    body["harvest"]["rate"] *= bushel
    body["wet_holding"] *= bushel
    known = body["known_rate"]
    known["rate"] *= bushel
    known["ambient_temperature"] = celsius(known["ambient_temperature"])
    known["plenum_temperature"] = celsius(known["plenum_temperature"])
    body["price_of_liquid"] /= 3.785411784
    body["tank"] *= 3.785411784
    metric = client.post(PATH, json=body).json()
    assert metric["waited"] == pytest.approx(planned["waited"], rel=1e-6)
    assert metric["finished"] == planned["finished"]
    assert metric["fuel_money"] == pytest.approx(planned["fuel_money"], rel=1e-6)
    assert metric["refills_needed"] == planned["refills_needed"]


def test_each_lot_says_when_it_is_dry_on_the_callers_own_clock(client, lots):
    answer = client.post(PATH, json=lots).json()
    rows = answer["lots"]
    assert len(rows["dry_elapsed"]) == len(lots["lots"]["weight"])
    assert rows["comes_in_elapsed"][0] == lots["lots"]["elapsed"][0]
    assert rows["dry_elapsed"] == sorted(rows["dry_elapsed"])
    assert "dry" not in rows
    assert max(rows["life_used"]) == pytest.approx(answer["worst_life_used"])


def test_a_described_dryer_can_be_anchored_to_a_known_rate(client, lots):
    body = copy.deepcopy(lots)
    body["known_rate"] = {
        "rate": 9, "moisture": 18.5, "discharge_moisture": 14.5, "ambient_temperature": 15,
    }  # fmt: skip
    slow = client.post(PATH, json=body).json()
    assert slow["dryer_hours"] == pytest.approx(217.5 / 9, rel=0.15)
    inputs = {entry["input"] for entry in slow["assumed"]}
    assert "airflow" in inputs


def test_a_plan_too_short_says_what_is_left(client, harvest):
    body = copy.deepcopy(harvest)
    body["monthly"]["days"] = 12
    answer = client.post(PATH, json=body).json()
    assert "finished" not in answer
    assert answer["left_in_field"] > 0.0
    assert "before everything is dry" in answer["decision"]


def test_more_hours_than_the_day_has_are_refused(client, harvest):
    body = copy.deepcopy(harvest) | {"dryer_hours_per_day": 25}
    response = client.post(PATH, json=body)
    assert response.status_code == 422
    assert response.json()["errors"][0]["pointer"] == "/dryer_hours_per_day"


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda b: b.pop("monthly"), "hourly"),
        (lambda b: b.pop("known_rate"), "known_rate"),
        (lambda b: b.pop("harvest"), "harvest"),
        (lambda b: b.update(price_of_heat=10), "one price"),
        (lambda b: b.update(fuel="natural-gas"), "natural gas"),
        (lambda b: b["monthly"]["months"].pop(), "months without normals"),
        (lambda b: b["known_rate"].update(discharge_moisture=25), "must dry"),
        (lambda b: b["harvest"].update(start_elapsed=5), "one form"),
        (lambda b: b["harvest"].update(hours_per_day=0), "combine"),
        (lambda b: b["harvest"].update(lowest_moisture=35), "dries down"),
        (lambda b: b.update(tank=0.03), "tank"),
        (lambda b: b["known_rate"].update(plenum_temperature=55), "warm"),
    ],
)
def test_contradictions_are_refused_in_words(client, harvest, change, words):
    body = copy.deepcopy(harvest)
    change(body)
    response = client.post(PATH, json=body)
    assert response.status_code == 422
    assert words in response.text


@pytest.mark.parametrize("moisture", [13.0, 14.5, 19.0])
def test_what_comes_out_and_the_water_are_what_came_in(client, lots, moisture):
    body = copy.deepcopy(lots) | {"alternatives": False}
    body["lots"]["moisture"] = [13.0, *[moisture] * 8]
    plan = client.post(PATH, json=body).json()
    came = sum(body["lots"]["weight"])
    assert plan["dried"] + plan["water"] / 1000.0 == pytest.approx(came, rel=1e-6)
    assert sum(week["dried"] for week in plan["weeks"]) == pytest.approx(plan["dried"], rel=1e-6)


def test_lots_and_weather_are_told_in_one_form(client, lots):
    body = copy.deepcopy(lots)
    count = len(body["lots"].pop("elapsed"))
    body["lots"]["times"] = [f"2026-10-0{day + 1}T09:00:00Z" for day in range(count)]
    response = client.post(PATH, json=body)
    assert response.status_code == 422
    (fault,) = response.json()["errors"]
    assert (fault["pointer"], "one form" in fault["detail"]) == ("/lots", True)


def test_a_plan_that_begins_in_a_leap_second_begins_in_the_second_before(client, harvest):
    body = copy.deepcopy(harvest) | {"alternatives": False}
    plans = []
    for second in ("59", "60"):
        body["monthly"]["start"] = f"2026-09-17T23:59:{second}-05:00"
        plans.append(client.post(PATH, json=body))
    assert [plan.status_code for plan in plans] == [200, 200]
    assert plans[0].json() == plans[1].json()


@pytest.mark.parametrize("start", ["9999-12-01T00:00:00-05:00", "0001-01-01T00:00:00+05:00"])
def test_a_plan_of_another_age_is_refused_at_its_start(client, harvest, start):
    body = copy.deepcopy(harvest)
    body["monthly"] |= {"start": start}
    del body["harvest"]["start"]
    fault = client.post(PATH, json=body).json()["errors"][0]
    assert fault["pointer"] == "/monthly/start"
    assert "years 1900 to 2999" in fault["detail"]


def test_a_field_that_gets_wetter_than_40_percent_is_refused_with_what_would_pass(client, harvest):
    body = copy.deepcopy(harvest)
    body["harvest"]["drydown"] = -0.5
    fault = client.post(PATH, json=body).json()["errors"][0]
    assert fault["pointer"] == "/harvest/drydown"
    assert fault["value"] == -0.5
    assert fault["allowed"]["unit"] == "points/day"
    body["harvest"]["drydown"] = 0.999 * fault["allowed"]["minimum"]
    wettest = max(client.post(PATH, json=body).json()["lots"]["moisture"])
    assert 25.5 < wettest <= 40.0


def test_a_field_too_wet_a_week_earlier_is_not_moved_there(client, harvest):
    body = copy.deepcopy(harvest)
    body["harvest"] |= {"moisture": 38, "drydown": 1.5, "start": "2026-09-26T00:00:00-05:00"}
    earlier = next(
        other for other in client.post(PATH, json=body).json()["alternatives"]
        if other["change"] == "start-earlier"
    )  # fmt: skip
    assert not earlier["computed"]
    assert "wetter than 40 %" in earlier["what"]


@pytest.mark.parametrize("moisture", [5, 40])
def test_the_driest_and_the_wettest_lot_allowed_are_planned(client, lots, moisture):
    body = copy.deepcopy(lots) | {"grain": "corn-yellow-dent"}
    body["lots"]["moisture"][0] = moisture
    assert client.post(PATH, json=body).status_code == 200


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda b: b["lots"]["weight"].pop(), "weight"),
        (lambda b: b["lots"]["elapsed"].reverse(), "order of time"),
        (lambda b: b["lots"]["elapsed"].__setitem__(-1, 9999), "outside the hours"),
        (lambda b: b["hourly"]["temperature"].pop(), "do not fit"),
        (lambda b: b["hourly"].update(elapsed=[], temperature=[], relative_humidity=[]), "hours"),
    ],
)
def test_series_that_do_not_fit_are_refused(client, lots, change, words):
    body = copy.deepcopy(lots)
    change(body)
    response = client.post(PATH, json=body)
    assert response.status_code == 422
    assert words in response.text


@pytest.mark.parametrize("media_type", ["image/png", "image/svg+xml"])
def test_the_picture_is_drawn_the_same_twice(client, harvest, media_type):
    first, second = (client.post(PATH, json=harvest, headers={"accept": media_type}) for _ in "ab")
    assert first.headers["content-type"].startswith(media_type)
    assert first.content == second.content


def test_the_picture_begins_with_the_week_of_the_first_fuel(client, harvest):
    body = copy.deepcopy(harvest)
    body["harvest"]["start"] = "2026-10-10T00:00:00-05:00"
    picture = client.post(PATH, json=body, headers={"accept": "image/svg+xml"}).text
    assert "week from" in picture
    assert "9 Oct" in picture
    assert "18 Sep" not in picture


def test_the_picture_of_a_few_lots_says_what_helps(client, lots):
    picture = client.post(PATH, json=lots, headers={"accept": "image/svg+xml"}).text
    assert "Storage life used up" in picture
    assert "cooling in the bin" in picture


def test_the_picture_of_a_plan_without_alternatives_compares_none(client, lots):
    body = lots | {"alternatives": False}
    picture = client.post(PATH, json=body, headers={"accept": "image/svg+xml"}).text
    assert (
        "one thing changed"
        in client.post(PATH, json=lots, headers={"accept": "image/svg+xml"}).text
    )
    assert "one thing changed" not in picture
