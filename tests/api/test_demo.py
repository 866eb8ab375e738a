"""The demo: one invented season through the application, step by step."""

import xml.etree.ElementTree as ET

import pytest

from demo import farm
from demo.after import dry_matter
from demo.paper import WIDTH, Paper
from demo.service import Service
from demo.walk import walk

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
ENDPOINTS = {
    "season-plan", "discharge-rate", "column-profile", "column-response", "start-plan", "settling",
    "meter-check", "gain-advice", "trend", "setpoint-advice", "storage-life", "weather-outlook",
    "cooling", "settlement", "run-review", "drying-cost", "dryer-fit",
}  # fmt: skip


@pytest.fixture(scope="module")
def demo(client, tmp_path_factory):
    folder, lines = tmp_path_factory.mktemp("demo-output"), []

    def send(path, body, accept):
        headers = {"content-type": "application/json", "accept": accept}
        answer = client.post(path, content=body, headers=headers)
        return answer.status_code, answer.content

    service = Service(send, folder)
    return walk(service, Paper(lines.append)), lines, folder


def test_every_question_of_the_season_is_answered(demo):
    season, _, _ = demo
    assert {status for _, status in season.service.asked} == {200}
    assert {path.removeprefix("/v1/") for path, _ in season.service.asked} == ENDPOINTS


def test_the_page_is_narrow_and_says_what_is_invented(demo):
    _, lines, _ = demo
    assert max(map(len, lines)) <= WIDTH
    assert any("invented" in line for line in lines)
    assert not any("{" in line or "nan" in line.lower().split() for line in lines)


def test_each_picture_is_written_as_svg_and_png(demo):
    season, _, folder = demo
    assert len(season.service.pictures) >= 6
    for stem, shows in season.service.pictures:
        assert shows
        assert (folder / f"{stem}.png").read_bytes().startswith(PNG_SIGNATURE)
        assert ET.parse(folder / f"{stem}.svg").getroot().tag.endswith("}svg")


def test_a_day_of_steering_brings_the_grain_closer_to_the_target(demo):
    season, _, _ = demo
    before, after = (abs(moisture - farm.TARGET) for moisture in season.kept["day"])
    assert before > 0.5
    assert after < 0.4


def test_a_steered_wet_lot_ends_nearer_to_the_target_than_one_at_a_fixed_rate(demo):
    season, _, _ = demo
    steered, fixed = (abs(moisture - farm.TARGET) for moisture in season.kept["wet_lot"])
    assert steered < 0.5 < fixed


def test_the_advised_offset_undoes_what_the_meter_reads_low(demo):
    season, _, _ = demo
    left = farm.METER_READS_LOW - season.kept["meter_offset"]
    assert abs(left) < 2.0 * season.kept["meter_uncertainty"]


def test_what_was_learned_is_carried_from_look_to_look(demo):
    season, _, _ = demo
    assert season.kept["belief"]["readings"] > 50
    assert season.kept["belief"]["sensitivity_sd"] < 0.2


def test_dry_matter_is_conserved_from_the_dryer_to_the_statements(demo):
    season, _, _ = demo
    rows = [row for row in season.dryer.log if row.at >= season.kept["steered_since"]]
    statements = season.kept["settlement"]["statements"]
    sold = sum(statement["dry_matter"] for statement in statements)
    weighed = len(statements) * 10.0  # the scale's step is 20 lb
    assert sold == pytest.approx(sum(dry_matter(rows)), abs=weighed)


def test_the_owners_parts_add_up_to_what_is_paid(demo):
    season, _, _ = demo
    answer = season.kept["settlement"]
    paid = sum(round(100.0 * part["payable"]) for part in answer["by_owner"])
    assert paid == round(100.0 * answer["payable"])


def test_the_fitted_dryer_narrows_the_opening_rate_of_the_next_year(demo):
    season, _, _ = demo
    first, then = season.kept["opening"], season.kept["next_year"]["figures"]["discharge_rate"]
    assert then["high"] - then["low"] < 0.8 * (first["high"] - first["low"])


def test_the_fit_finds_the_dryer_that_the_demo_made(demo):
    season, _, _ = demo
    factors = season.kept["factors"]
    for found, truth in ((factors["rate"], farm.TRUE_SPEED), (factors["airflow"], farm.TRUE_AIR)):
        reserve = found["high"] - found["low"]  # twice the half width of the 90 % band
        assert found["value"] == pytest.approx(truth, abs=reserve)
