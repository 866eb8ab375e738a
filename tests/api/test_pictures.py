"""The sheet that pictures are drawn on: same bytes, readable text, nothing of the machine."""

from __future__ import annotations

import json
import re
import struct
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta, timezone
from xml.etree import ElementTree

import numpy as np
import pytest

import contract_tool
from outfeed_api.pictures import canvas
from outfeed_api.pictures.time_axis import time_axis

SVG_NAME = "{http://www.w3.org/2000/svg}"
DECISION = "Leave the setpoint; look again at 14:20 & keep <calm>."


def page(**kwargs):
    sheet = canvas.sheet("A try", DECISION, [["a", "a"], ["b", "c"]], heights=(1.2, 1.0))
    axes = sheet.axes["a"]
    axes.plot([0.0, 1.0, 2.0], [1.0, 3.0, 2.0], color=canvas.BLUE)
    canvas.band(axes, [0.0, 1.0, 2.0], [0.5, 2.5, 1.5], [1.5, 3.5, 2.5], canvas.BLUE)
    canvas.level(axes, 2.0, "setpoint")
    canvas.end_label(axes, 2.0, 2.0, "column", canvas.BLUE)
    canvas.frame(axes, "Column temperature", "degF", x_label="hours", **kwargs)
    canvas.note(sheet.axes["b"], 0.02, 0.5, "nothing here")
    canvas.words(sheet.axes["c"], [("mean", "15.4 %")], title="In figures")
    return sheet


@pytest.mark.parametrize("media_type", canvas.PICTURES)
def test_one_drawing_gives_one_picture_byte_for_byte(media_type):
    assert canvas.render(page(), media_type) == canvas.render(page(), media_type)


@pytest.mark.parametrize("media_type", canvas.PICTURES)
def test_eight_threads_draw_the_same_picture_as_one(media_type):
    draw = canvas.writers(lambda _request, _answer, kind: canvas.render(page(), kind))[media_type]
    alone = draw(None, None)
    with ThreadPoolExecutor(8) as threads:
        drawn = list(threads.map(lambda _: draw(None, None), range(16)))
    assert set(drawn) == {alone}


def test_an_svg_keeps_its_text_and_says_nothing_of_when_or_where():
    svg = canvas.render(page(), canvas.SVG).decode()
    assert "Column temperature, degF" in svg
    assert "<title>A try</title>" in svg
    assert "&amp; keep &lt;calm&gt;" in svg
    root = ElementTree.fromstring(svg)
    assert (root.get("role"), root.get("aria-label")) == ("img", f"A try. {DECISION}")
    assert root.findtext(f"{SVG_NAME}desc") == DECISION
    assert not re.search(r"dc:date|/home|/usr", svg)


def test_a_png_is_wide_enough_to_read():
    png = canvas.render(page(), canvas.PNG)
    width, height = struct.unpack(">II", png[16:24])
    assert width == round(canvas.WIDTH * canvas.DOTS)
    assert height > 400
    assert b"tEXtDate" not in png
    assert b"Software" not in png


def test_colours_of_lines_differ():
    assert len(set(canvas.COLOURS)) == len(canvas.COLOURS) == len(set(map(str, canvas.DASHES)))


def test_limits_of_a_panel_are_kept():
    sheet = page(low=-1.0, high=5.0)
    assert sheet.axes["a"].get_ylim() == (-1.0, 5.0)


@pytest.mark.parametrize(
    "hours, first, last",
    [(3, "06:30", "09:30"), (30, "12:00", "12:00"), (24 * 20, "16 Oct", "30 Oct")],
)
def test_ticks_stand_at_round_local_hours_and_days(hours, first, last):
    sheet = canvas.sheet("t", "d", [["a"]])
    start = 1_760_441_400.0  # 2025-10-14 06:30 at five hours west
    time_axis(
        sheet.axes["a"], start, start + hours * 3600.0, dates=True,
        offset=timezone(timedelta(hours=-5)),
    )  # fmt: skip
    labels = [label.get_text() for label in sheet.axes["a"].get_xticklabels()]
    assert labels[0].startswith(first)
    assert labels[-1].startswith(last)
    assert len(labels) <= 10


def test_a_clock_of_ones_own_is_labelled_in_hours_or_days():
    sheet = canvas.sheet("t", "d", [["a"]])
    axes = sheet.axes["a"]
    time_axis(axes, 0.0, 8 * 3600.0, dates=False)
    assert axes.get_xlabel() == "hours"
    time_axis(axes, 0.0, 8 * 86400.0, dates=False)
    assert axes.get_xlabel() == "days"


def trend_svg(client, minutes, temperatures, setpoint=82.0):
    column = {"elapsed": list(minutes), "temperatures": list(temperatures), "setpoint": setpoint}
    body = {"units": "metric", "column": column}
    answer = client.post("/v1/trend", json=body, headers={"accept": canvas.SVG})
    assert answer.status_code == 200
    return answer.text


def labels(svg):
    return {float(found) for found in re.findall(r">(\d+(?:\.\d)?)</text>", svg)}


def test_a_trend_shows_what_was_read_and_leaves_no_half_of_the_frame_empty(client):
    minutes = range(0, 180, 2)
    warming = labels(trend_svg(client, minutes, [20.0 + 0.2 * minute for minute in minutes]))
    assert 20.0 in warming
    assert max(warming) == 100.0  # of the chances
    hot = labels(trend_svg(client, minutes, [82.0] * 89 + [96.0]))
    assert max(label for label in hot if label < 100.0) >= 95.0


def test_a_trend_draws_no_line_through_a_gap(client):
    minutes = [*range(0, 90, 3), *range(180, 270, 3)]
    values = [82.0 + 0.1 * (minute % 7) for minute in minutes]
    curves = re.findall(r'd="([^"]+)"', trend_svg(client, minutes, values))
    broken = [path for path in curves if path.count("L") > 40 and path.count("M") == 2]
    assert len(broken) == 2


def test_a_short_time_on_a_clock_of_ones_own_is_labelled_in_minutes():
    axes = canvas.sheet("t", "d", [["a"]]).axes["a"]
    time_axis(axes, 0.0, 1800.0, dates=False)
    assert axes.get_xlabel() == "minutes"
    assert [label.get_text() for label in axes.get_xticklabels()][:3] == ["0", "5", "10"]


def drawn(client, operation: str, case: str) -> list[tuple[str, str]]:
    """Every text of the picture of a recorded example, with its colour."""
    path = contract_tool.FOLDER / "examples" / operation / f"{case}.json"
    example = json.loads(path.read_text()) | {"accept": canvas.SVG}
    _, svg = contract_tool.replay(client, path, example)
    texts = ElementTree.fromstring(svg).iter(f"{SVG_NAME}text")
    return [
        (text.text or "", re.search(r"fill: (#\w{6})", text.get("style", ""))[1]) for text in texts
    ]


@pytest.mark.parametrize(
    "operation, case",
    [
        ("column_profile", "us-hourly"),
        ("column_response", "us-first-fill"),
        ("run_review", "us-log"),
        ("season_plan", "us-harvest"),
        ("start_plan", "us-forecast"),
        ("trend", "us-climbing-away"),
        ("weather_outlook", "us-cold-front"),
    ],
)
def test_words_can_be_read_on_the_darkest_ground_they_stand_on(client, operation, case):
    faint = [
        (text, color)
        for text, color in drawn(client, operation, case)
        if canvas.contrast(color, canvas.HEATED) < 4.5
    ]
    assert faint == []


def test_contrast_is_that_of_the_guidelines():
    assert canvas.contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert canvas.contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def test_a_fire_caution_is_red_in_the_picture_too(client):
    texts = drawn(client, "trend", "us-climbing-away")
    assert {color for text, color in texts if text.startswith("FIRE")} == {
        canvas.legible(canvas.RUST)
    }
    assert not any("rings" in text for text, _ in texts)  # it never crossed its setpoint


def test_an_answer_without_figures_is_drawn_without_a_panel(client):
    words = [text for text, _ in drawn(client, "column_profile", "metric-out-of-reach")]
    assert words[0] == "Column profile"
    assert not [text for text in words if re.fullmatch(r"[-+\d.]+", text)]


def test_a_log_without_readings_is_drawn_without_scales(client):
    path = contract_tool.FOLDER / "examples" / "run_review" / "us-log.json"
    asked = json.loads(path.read_text())["request"]
    log = {name: asked["log"][name] for name in ("times", "rate")}
    answer = client.post(
        "/v1/run-review", json=asked | {"log": log}, headers={"accept": canvas.SVG}
    )
    words = [
        text.text or "" for text in ElementTree.fromstring(answer.text).iter(f"{SVG_NAME}text")
    ]
    assert "no column temperature in the log" in words
    assert not [text for text in words if re.fullmatch(r"[-+\d.]+", text)]


def test_no_crossing_is_marked_that_was_not_counted_as_the_sensor_stood_after_it(client):
    minutes = np.arange(0.0, 240.0, 0.5)
    noise = np.random.default_rng(3).normal(0.0, 0.12, minutes.size)
    swing = 82.0 + 0.6 * np.sin(2 * np.pi * minutes / 40.0) + noise
    swing[(minutes > 150) & (minutes < 195)] = 81.43
    rings = re.findall(
        rf'<use [^>]*x="([\d.]+)"[^>]*stroke: {canvas.PURPLE.lower()}',
        trend_svg(client, minutes.tolist(), np.round(swing, 2).tolist()),
    )
    assert len(rings) == 2  # minutes 200 and 220


def test_a_single_odd_reading_does_not_press_the_trace_flat(client):
    readings = [180.0, 180.4, 179.7, 180.1] * 12
    readings[10] = 900.0
    column = {"elapsed": list(range(0, 144, 3)), "temperatures": readings, "setpoint": 180}
    ask = {"units": "us", "column": column}
    svg = client.post("/v1/trend", json=ask, headers={"accept": canvas.SVG}).text
    ticks = [float(n) for n in re.findall(r">(\d+(?:\.\d+)?)</text>", svg)]
    assert {tick for tick in ticks if tick > 144.0} <= {176, 177, 178, 179, 180, 181, 182, 183, 184}
    assert "odd readings lie beyond" in svg


def test_a_sensor_that_has_stopped_leaves_a_blank_up_to_the_time_of_asking(client):
    path = contract_tool.FOLDER / "examples" / "trend" / "us-level.json"
    asked = json.loads(path.read_text())["request"]
    readings = asked["column"]["temperatures"]
    readings[20:] = [None] * len(readings[20:])  # after 08:57, of a trace to 10:27
    svg = client.post("/v1/trend", json=asked, headers={"accept": canvas.SVG}).text
    assert ">10:00</text>" in svg


def test_no_figure_is_less_than_nothing(client):
    assert not [text for text, _ in drawn(client, "trend", "us-level") if "-0.0 " in text]


def test_weather_down_a_column_is_drawn_over_the_time_of_day(client):
    words = [text for text, _ in drawn(client, "column_response", "metric-cold-front")]
    assert "06:00" in words
    assert not [word for word in words if word.startswith("hours")]
