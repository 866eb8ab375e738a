"""Run review over HTTP: JSON and CSV agree, units agree, faults are placed, pictures are drawn."""

from __future__ import annotations

import copy
import tracemalloc

import pytest
from fastapi.testclient import TestClient

from invented_logs import corn_review_csv, corn_review_request
from outfeed_api.app import create_app
from outfeed_api.settings import Settings

PATH = "/v1/run-review"


@pytest.fixture(scope="module")
def body():
    return corn_review_request(48.0)


@pytest.fixture(scope="module")
def answer(client, body):
    return client.post(PATH, json=body).json()


def query_of(body):
    return {name: str(value) for name, value in body.items() if name != "log"}


def post_csv(client, body, content):
    headers = {"content-type": "text/csv"}
    return client.post(PATH, params=query_of(body), content=content, headers=headers)


def test_a_glitch_beyond_the_picture_is_named_and_a_wet_lot_is_shown(client, body):
    def drawn(outlet):
        log = body["log"] | {"moisture_out": outlet}
        return client.post(PATH, json=body | {"log": log}, headers={"accept": "image/svg+xml"}).text

    outlet = list(body["log"]["moisture_out"])
    assert "single readings reach" not in drawn(outlet)
    wet_lot = [value + 2.0 if 100 <= row < 115 else value for row, value in enumerate(outlet)]
    assert "single readings reach" not in drawn(wet_lot)
    glitch = [45.0 if 100 <= row < 103 else value for row, value in enumerate(outlet)]
    assert "single readings reach" in drawn(glitch)
    assert "the ends hold what lies beyond" in drawn(glitch)


def test_a_csv_log_gives_the_same_answer_as_the_same_log_in_json(client, body, answer):
    by_csv = post_csv(client, body, corn_review_csv(48.0))
    assert by_csv.status_code == 200
    assert by_csv.json() == answer


@pytest.mark.parametrize(
    "offset, said", [(0.7, "reads 0.7 points too dry by 10 reference samples"), (0.0, "")]
)
def test_a_meter_that_samples_show_to_be_off_is_told_with_what_left(client, body, offset, said):
    """Ten samples of the grain as it passes the meter, a tenth of a point to and fro."""
    outlet = body["log"]["moisture_out"]
    rows = range(len(outlet) // 12, len(outlet) * 11 // 12, len(outlet) // 12)
    sampled = dict.fromkeys(range(len(outlet)))
    for k, row in enumerate(list(rows)[:10]):
        near = [value for value in outlet[row - 2 : row + 3] if value is not None]
        sampled[row] = sum(near) / len(near) + offset + 0.1 * (-1) ** k
    log = body["log"] | {"reference": [sampled[row] for row in range(len(outlet))]}
    answer = client.post(PATH, json=body | {"log": log}).json()
    assert said in answer["decision"]
    assert ("reference samples" in answer["decision"]) == bool(said)
    if said:
        assert f"about {answer['moisture']['mean'] + 0.7:.1f} %" in answer["decision"]


def test_over_drying_that_nobody_read_is_not_none(client, body):
    log = body["log"] | {"moisture_out": [None] * len(body["log"]["rate"])}
    answer = client.post(PATH, json=body | {"log": log}).json()
    assert not {"moisture", "over_drying"} & set(answer)


def test_grain_that_came_drier_than_the_market_was_not_over_dried(client, body):
    """Corn of 14 % that only passes through: what was in the dryer before the log may have been."""
    rows = len(body["log"]["rate"])
    log = {name: body["log"][name] for name in ("times", "rate")}
    log |= {"moisture_in": [14.0] * rows, "moisture_out": [14.0] * rows}
    asked = body | {"log": log, "market_moisture": 15.5, "target": 15.5}
    answer = client.post(PATH, json=asked).json()
    assert answer["over_drying"]["grain"] == pytest.approx(body["hold_up"], rel=0.1)
    assert any("came in below" in note for note in answer["notes"])
    cooled = asked | {"log": log | {"moisture_out": [None] * 60 + [14.0] * (rows - 60)}}
    answer = client.post(PATH, json=cooled).json()
    assert answer["over_drying"]["weight_given_away"] == 0.0
    assert "over-drying" not in {caution["code"] for caution in answer["cautions"]}


def test_the_stop_with_the_heat_on_is_named_first_and_brings_the_fire_caution(answer):
    assert answer["spells"][0]["kind"] == "stopped-with-heat"
    assert "1 stop with the heat on" in answer["decision"]
    assert "fire-column" in {caution["code"] for caution in answer["cautions"]}


def test_a_column_as_hot_as_a_fire_is_named_before_all_else(client, body):
    burning = copy.deepcopy(body)
    burning["log"]["column_temperatures"][0][100:103] = [300.0, 700.0, 500.0]
    answer = client.post(PATH, json=burning).json()
    assert answer["decision"].startswith("FIRE CAUTION")
    assert "read up to 700 degF" in answer["spells"][0]["what"]
    assert answer["cautions"][0]["code"] == "fire-column"


def test_a_column_that_climbs_over_still_grain_needs_no_burner_to_be_named(client, body):
    log = {
        "elapsed": [30.0 * k for k in range(12)],
        "rate": [800.0] * 6 + [0.0] * 6,
        "plenum": [200.0] * 6 + [60.0] * 6,
        "column_temperatures": [[105.0] * 7 + [110.0, 125.0, 140.0, 160.0, 175.0]],
    }
    answer = client.post(PATH, json=body | {"log": log}).json()
    assert answer["decision"].startswith("FIRE CAUTION: the column warmed")
    assert answer["spells"][0]["kind"] == "stopped-and-climbing"
    assert "fire-column" in {caution["code"] for caution in answer["cautions"]}


@pytest.mark.parametrize(
    ("column", "begins"),
    [
        ([105.0, 110.0, 125.0, 140.0], "FIRE CAUTION: the column warmed"),
        ([105.0, 300.0, 700.0, 900.0], "FIRE CAUTION: a column sensor read hotter"),
        ([105.0, 105.0, 105.0, 105.0], "No grain left while this log was kept"),
    ],
)
def test_a_log_in_which_no_grain_left_is_answered_for_its_dangers(client, body, column, begins):
    log = {
        "elapsed": [0.0, 30.0, 60.0, 90.0],
        "rate": [0.0] * 4,
        "moisture_in": [22.0] * 4,
        "moisture_out": [15.0] * 4,
        "column_temperatures": [column],
    }
    answer = client.post(PATH, json=body | {"log": log}).json()
    assert answer["decision"].startswith(begins)
    assert answer["cautions"][0]["code"] == "fire-column"
    assert answer["grain"] == answer["running_hours"] == 0.0
    assert not {"moisture", "energy", "over_drying"} & set(answer)
    assert any("none is known to have left" in note for note in answer["notes"])
    picture = client.post(PATH, json=body | {"log": log}, headers={"accept": "image/svg+xml"})
    assert "no grain left" in picture.text


@pytest.mark.parametrize(("reading", "fire"), [(2000.0, True), (-300.0, False)])
def test_a_temperature_hotter_than_any_sensor_shows_may_be_a_fire(client, body, reading, fire):
    log = {name: body["log"][name] for name in ("times", "rate", "column_temperatures")}
    log["column_temperatures"] = [[reading, reading, *log["column_temperatures"][0][2:]]]
    answer = client.post(PATH, json=body | {"log": log}).json()
    words = "a broken sensor, or a fire: look at the dryer"
    assert answer["decision"].startswith("A temperature was read that cannot be true") is fire
    assert (words in answer["decision"]) is fire
    assert answer["spells"][0]["kind"] == "impossible-reading"
    assert (words in answer["spells"][0]["what"]) is fire
    assert ("fire-column" in [caution["code"] for caution in answer["cautions"]]) is fire


def test_one_reading_of_an_open_wire_is_the_sensors_in_a_log_too(client, body):
    log = {name: body["log"][name] for name in ("times", "rate", "column_temperatures")}
    sensor = log["column_temperatures"][0]
    log["column_temperatures"] = [[*sensor[:9], 9999.0, *sensor[10:]]]
    answer = client.post(PATH, json=body | {"log": log}).json()
    (spell,) = (one for one in answer["spells"] if one["kind"] == "impossible-reading")
    assert "alone between calm ones, as a loose wire" in spell["what"]
    assert "fire" not in answer["decision"] + spell["what"]
    assert "fire-column" not in [caution["code"] for caution in answer["cautions"]]


@pytest.mark.parametrize(("column", "fire"), [("plenum", True), ("plenum_setpoint", False)])
def test_a_refused_temperature_says_that_it_may_be_a_fire(client, body, column, fire):
    log = body["log"] | {column: [2e5] * len(body["log"]["rate"])}
    by_json = client.post(PATH, json=body | {"log": log})
    by_csv = post_csv(client, body, f"elapsed,rate,{column}\n0,400,2e5\n10,400,2e5\n".encode())
    for response in (by_json, by_csv):
        assert response.status_code == 422
        assert ("a broken sensor, or a fire" in response.json()["detail"]) == fire


def test_what_was_read_in_part_is_said_of_that_part(client, body, answer):
    log = body["log"]
    sparse = {
        name: [value if row % 2 else None for row, value in enumerate(log[name])]
        for name in ("moisture_out", "fuel_liquid")
    }
    part = client.post(PATH, json=body | {"log": log | sparse}).json()
    notes = " ".join(part["notes"])
    assert f"in the {part['moisture']['grain_read']:.0f} % of the grain that was read" in notes
    assert "Fuel rests on part of the time" in notes
    assert part["energy"]["verdict"] == answer["energy"]["verdict"]
    whole = " ".join(answer["notes"])
    assert "gave away" in whole
    assert "that was read" not in whole


def test_metric_says_the_same(client, body, answer):
    bushel, gallon = 56 * 0.45359237 / 1000.0, 3.785411784
    metric = copy.deepcopy(body) | {
        "units": "metric",
        "hold_up": body["hold_up"] * bushel,
        "plenum_setpoint": (200 - 32) / 1.8,
        "grain_price": body["grain_price"] / bushel,
        "heat_price": body["heat_price"] / 1.05505585262,
    }
    log = metric["log"]
    log["rate"] = [value * bushel for value in log["rate"]]
    log["fuel_liquid"] = [value * gallon for value in log["fuel_liquid"]]
    log["plenum"] = [(value - 32) / 1.8 for value in log["plenum"]]
    log["column_temperatures"] = [
        [(value - 32) / 1.8 for value in sensor] for sensor in log["column_temperatures"]
    ]
    other = client.post(PATH, json=metric).json()
    assert other["moisture"]["mean"] == pytest.approx(answer["moisture"]["mean"])
    assert other["over_drying"]["money"] == pytest.approx(answer["over_drying"]["money"])
    assert other["energy"]["per_water"] == pytest.approx(
        answer["energy"]["per_water"] * 1055.05585262 / 0.45359237 / 1e6
    )
    assert len(other["spells"]) == len(answer["spells"])


def test_elapsed_minutes_are_spoken_of_as_minutes(client, body):
    log = copy.deepcopy(body["log"])
    log["elapsed"] = [10.0 * k for k in range(len(log.pop("times")))]
    spell = client.post(PATH, json=body | {"log": log}).json()["spells"][0]
    assert "start" not in spell
    assert spell["start_elapsed"] % 10.0 == 0.0
    assert "minute" in spell["what"]


def test_readings_not_taken_are_null_and_cost_nothing_else(client, body, answer):
    log = copy.deepcopy(body["log"])
    log["moisture_out"][::7] = [None] * len(log["moisture_out"][::7])
    other = client.post(PATH, json=body | {"log": log}).json()
    assert other["moisture"]["mean"] == pytest.approx(answer["moisture"]["mean"], abs=0.05)
    assert other["moisture"]["grain_read"] < 90.0


def test_a_log_of_rates_alone_is_answered_for_what_it_holds(client, body):
    log = {name: body["log"][name] for name in ("times", "rate", "plenum")}
    other = client.post(PATH, json=body | {"log": log}).json()
    assert "moisture" not in other
    assert "no discharge moisture" in other["decision"]


@pytest.mark.parametrize(
    "change, status, words",
    [
        (lambda b: b["log"]["rate"].pop(), 422, "readings"),
        (lambda b: b["log"]["times"].reverse(), 422, "rising"),
        (lambda b: b.pop("fuel"), 422, "fuel"),
        (lambda b: b.update(fuel="natural-gas"), 422, "metered"),
        (lambda b: b["log"].update(rate=[None] * len(b["log"]["rate"])), 422, "no reading"),
        (lambda b: b.update(hold_up=0.1), 422, "hold_up"),
        (lambda b: b["log"]["moisture_out"].__setitem__(3, 1e7), 422, "/log/moisture_out/3"),
    ],
)
def test_what_is_wrong_with_a_log_is_said(client, body, change, status, words):
    broken = copy.deepcopy(body)
    change(broken)
    response = client.post(PATH, json=broken)
    assert response.status_code == status
    assert words in response.text


@pytest.mark.parametrize(
    "content, words",
    [
        (b"time,rate\n2025-10-14T12:00:00Z,5\n2025-10-14T12:10:00Z,five", "row 3, column rate"),
        (b"time,rate\n2025-10-14T12:00:00Z,5\n2025-10-14T12:10:00Z", "row 3 has 1 cell"),
        (b"time,rate\n2025-10-14 noon,5\n", "row 2, column time"),
        (b"rate,time\n5,2025-10-14T12:00:00Z\n", "first column"),
        (b"time,rate,colour\n", "not known"),
        (b"time,rate,rate\n2025-10-14T12:00:00Z,5,5\n", "twice"),
        (b"elapsed,rate\n0,5\n", "two rows"),
        (b"elapsed,rate\n0,nan\n10,5\n", "not a number"),
        (b"\xff\xfe", "UTF-8"),
        (b"", "first column"),
    ],
)
def test_bad_csv_is_refused_with_its_place(client, body, content, words):
    response = post_csv(client, body, content)
    assert response.status_code == 400
    assert words in response.json()["detail"]


def test_a_csv_value_no_sensor_can_give_names_row_and_column(client, body):
    content = b"elapsed,rate,plenum\n0,400,200\n10,400,999999\n"
    response = post_csv(client, body, content)
    assert response.status_code == 422
    assert response.json()["errors"][0]["pointer"] == "/log/plenum/1"


def small_service(**settings):
    return TestClient(create_app(Settings(max_body_bytes=5_000, **settings)))


def test_a_csv_log_may_be_larger_than_other_bodies(body, answer):
    content = corn_review_csv(48.0)
    assert len(content) > 5_000
    service = small_service()
    assert post_csv(service, body, content).json() == answer
    assert service.post(PATH, json=body).status_code == 413
    headers = {"content-type": "text/csv"}
    assert service.post("/v1/shrink", content=content, headers=headers).status_code == 413


def test_a_csv_log_past_its_own_limit_is_refused(body):
    service = small_service(max_log_bytes=10_000)
    assert post_csv(service, body, corn_review_csv(48.0)).status_code == 413
    pieces = iter([corn_review_csv(48.0)] * 3)  # sent in pieces, no length declared
    assert post_csv(service, body, pieces).status_code == 413


def test_only_so_many_large_logs_are_served_at_once(body):
    service = small_service(max_large=0)
    refused = post_csv(service, body, corn_review_csv(48.0))
    assert refused.status_code == 503
    assert refused.headers["retry-after"]
    assert post_csv(service, body, b"elapsed,rate\n0,400\n10,400\n").status_code == 200
    one = small_service(max_large=1)  # each gives its place back, whatever became of it
    for content in (corn_review_csv(48.0), b"time,rate\n" + b"x" * 6_000, corn_review_csv(48.0)):
        status = post_csv(one, body, content).status_code
    assert status == 200


def test_memory_stays_in_proportion_to_a_large_log(client, body):
    rows = "".join(f"{k},400.{k % 10},18.5,15.{k % 9},101.{k % 7}\n" for k in range(300_000))
    head = "elapsed,rate,moisture_in,moisture_out,column_temperature_1\n"
    content = (head + rows).encode()
    tracemalloc.start()
    answer = post_csv(client, body, content)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert answer.status_code == 200
    assert peak < 20 * len(content)


def test_csv_needs_the_rest_of_the_request_in_the_query(client):
    headers = {"content-type": "text/csv"}
    response = client.post(PATH, content=b"elapsed,rate\n0,5\n10,5\n", headers=headers)
    assert response.status_code == 422
    assert "/units" in response.text


@pytest.mark.parametrize(
    "media_type, start", [("image/png", b"\x89PNG"), ("image/svg+xml", b"<?xml")]
)
def test_the_same_picture_is_drawn_byte_for_byte(client, body, media_type, start):
    first, second = (client.post(PATH, json=body, headers={"accept": media_type}) for _ in "ab")
    assert first.headers["content-type"].startswith(media_type)
    assert first.content.startswith(start)
    assert first.content == second.content


def test_a_picture_of_a_bare_log_says_what_is_missing(client, body):
    log = {name: body["log"][name] for name in ("times", "rate")}
    headers = {"accept": "image/svg+xml"}
    picture = client.post(PATH, json=body | {"log": log}, headers=headers)
    assert picture.status_code == 200
    assert "no discharge moisture in the log" in picture.text
