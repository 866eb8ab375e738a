"""Lots of other grain over HTTP, one after the other: each answered once, none moved past."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from setpoint_requests import ask, us_request


def lots(now: int, inlet: dict[int, float], **more: Any) -> dict[str, Any]:
    """Readings on target so far, and lots of which none has reached the discharge."""
    minutes = list(range(0, now + 1, 5))
    return us_request(
        column={
            "elapsed": minutes,
            "temperatures": [round(98 + 0.4 * math.sin(m / 13), 1) for m in minutes],
        },
        discharge={"elapsed": [120, 180, 240, 300], "moistures": [15.5, 15.5, 15.6, 15.4]},
        inlet={"elapsed": list(inlet), "moistures": list(inlet.values())},
        inlet_uncertainty=0,
        now_elapsed=now,
        **more,
    )


def test_after_a_short_lot_that_nobody_moved_for_the_next_is_not_moved_past(client):
    wet_for_a_while = {0: 21.0, 280: 25.0, 330: 20.0}
    answer = ask(client, lots(390, wet_for_a_while))
    # 98 degF dries grain of 21 % to the target, and grain of 20 % wants half a degree more
    assert 98 <= answer["setpoint"] <= 99
    plain = ask(client, lots(390, {0: 21.0, 330: 20.0}))
    assert 98 <= plain["setpoint"] <= 99


def test_a_lot_that_was_told_and_is_logged_later_reaches_the_sensors_once(client):
    told = {"kind": "inlet-moisture", "at_elapsed": 270, "moisture_change": 4.0}
    answer = ask(client, lots(310, {0: 21.0, 300: 25.0}, known_changes=[told]))
    said = [note for note in answer["notes"] if "25.0 %" in note or "etter grain reaches" in note]
    assert len(said) == 2
    assert len(re.findall(r"sensors by minute", " ".join(answer["notes"]))) == 1


def test_what_was_set_for_a_lot_is_not_taken_for_a_move_for_the_next(client):
    first = ask(client, lots(310, {0: 21.0, 250: 25.0}))
    assert first["step"] == -2
    assert first["reasons"][-1] == "known-change"
    moved = {
        "setpoint": first["setpoint"],
        "last_move_elapsed": 310,
        "earlier_setpoint": 98,
        "due": first["due"],
    }
    two = ask(client, lots(335, {0: 21.0, 250: 25.0, 330: 20.0}, **moved))
    # it was set for the grain at the sensors now, which is expected on target with it
    assert two["expected_moisture"] == pytest.approx(15.5, abs=0.2)
    assert two["due"]["moved"] == 0
    (up,) = two["schedule"]
    assert (up["at_elapsed"], up["setpoint"]) == (390, pytest.approx(98.5, abs=0.5))


def test_what_was_set_for_a_lot_counts_while_it_is_on_its_way(client):
    first = ask(client, lots(310, {0: 21.0, 250: 25.0}))
    moved = {
        "setpoint": first["setpoint"],
        "last_move_elapsed": 310,
        "earlier_setpoint": 98,
        "due": first["due"],
    }
    again = ask(client, lots(320, {0: 21.0, 250: 25.0}, **moved))
    assert again["due"]["moved"] == -2
    assert again["step"] == 0
    assert again["schedule"] == []
    # the way there is begun, and where it leads is as before
    tables = [
        {row["inlet"]: row["setpoint"] for row in answer["setpoints_by_inlet"]}
        for answer in (first, again)
    ]
    for inlet in (21.0, 25.0):
        assert tables[1][inlet] == pytest.approx(tables[0][inlet], abs=0.3), inlet
