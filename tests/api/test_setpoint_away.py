"""Setpoint advice where the column stands off its setpoint at the moment of asking."""

from __future__ import annotations

from typing import Any

import pytest

from setpoint_requests import MINUTES, ask, us_request


def request(last: list[float], **changes: Any) -> dict[str, Any]:
    """Four hours at the setpoint and grain on its target, then a few other readings."""
    still = [98.0, 98.2, 97.9, 98.1, 97.8, 98.0, 98.1]
    column = [still[k % 7] for k in range(len(MINUTES) - len(last))] + last
    return us_request(
        **{
            "column": {"elapsed": MINUTES, "temperatures": column},
            "discharge": {
                "elapsed": [120, 150, 185, 220, 250],
                "moistures": [15.4, 15.6, 15.5, 15.5, 15.4],
            },
        }
        | changes
    )


@pytest.mark.parametrize(
    ("last", "side", "word"),
    [([95.8, 92.9, 90.0, 87.1], "below", "flame"), ([99.5, 102.0, 103.0, 103.6], "above", "every")],
)
def test_a_column_that_falls_or_climbs_away_is_looked_at_soon_whatever_the_grain(
    client, last, side, word
):
    calm = ask(client, request([98.0, 98.1, 97.9, 98.0]))
    assert (calm["advice"], calm["look_in"]) == ("hold", 120.0)
    gone = ask(client, request(last))
    assert (gone["advice"], gone["reasons"], gone["look_in"]) == ("wait", ["column-away"], 20.0)
    assert f"{abs(last[-2] - 98):.0f} degF {side} its setpoint now" in gone["decision"]
    assert any(word in note for note in gone["notes"])


def test_after_a_stop_a_column_that_falls_is_looked_at_as_soon(client):
    stop = {"elapsed": [0, 150, 180], "rates": [800, 0, 800]}
    body = request([95.8, 92.9, 90.0, 87.1], rates=stop, held_below_sensors=800)
    answer = ask(client, body)
    assert (answer["reasons"], answer["look_in"]) == (["column-away"], 20.0)


def test_no_step_is_advised_while_the_column_falls_away(client):
    dry = {"elapsed": [120, 150, 185, 220, 250], "moistures": [14.4, 14.6, 14.5, 14.5, 14.4]}
    assert ask(client, request([98.0], discharge=dry))["step"] < 0
    assert ask(client, request([95.8, 92.9, 90.0, 87.1], discharge=dry))["step"] == 0


def test_a_last_reading_that_stands_apart_is_read_again_at_the_soonest_look(client):
    answer = ask(client, request([96.4]))
    assert any("read again soon" in note for note in answer["notes"])
    assert (answer["advice"], answer["look_in"]) == ("hold", 20.0)


def test_a_doubted_reading_brings_the_soonest_look_for_the_sample_that_is_asked_for(client):
    odd = {"elapsed": [120, 150, 185, 220, 250], "moistures": [15.4, 15.6, 15.5, 15.5, 18.4]}
    answer = ask(client, request([98.0], discharge=odd))
    assert any("take another sample" in note for note in answer["notes"])
    assert (answer["advice"], answer["look_in"]) == ("hold", 20.0)


@pytest.mark.parametrize(("since", "look"), [(15, 30.0), (20, 25.0), (30, 20.0)])
def test_a_trend_not_yet_to_be_judged_is_looked_at_when_it_can_be(client, since, look):
    # ten readings five minutes apart, the one at the move among them; 20 minutes at the soonest
    answer = ask(client, request([98.0], last_move_elapsed=255 - since))
    assert (answer["reasons"], answer["look_in"]) == (["trend-too-short"], look)


def test_no_reading_is_said_to_raise_a_setpoint_that_stands_at_the_grains_limit(client):
    free = ask(client, request([98.0]))
    held = ask(client, request([98.0], highest_column_temperature=98))
    assert free["raise_if_reading_above"] > 15.5
    assert "raise_if_reading_above" not in held
    assert held["lower_if_reading_below"] == free["lower_if_reading_below"]
    assert not any("would raise the setpoint" in note for note in held["notes"])
