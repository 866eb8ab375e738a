"""A wet lot and a cold front, met before they arrive."""

from __future__ import annotations

import copy
from datetime import datetime, timedelta
from typing import Any

from demo import farm
from demo.dryer import Row
from demo.farm import stamp
from demo.steering import Look, Season, average, clock, look, next_look, question


def wet_lot(season: Season) -> None:
    """The bottom field comes in wetter: how long may it wait, and what does it ask of the dryer?"""
    paper, dryer, service = season.paper, season.dryer, season.service
    points, warmth = farm.WET_LOT_POINTS, farm.outside(dryer.now)[0]
    wet = round(dryer.rows(1.0)[-1].inlet + points, 1)
    paper.chapter("A wet lot", clock(dryer.now))
    paper.tell(
        f"The bottom field is {points:.1f} points wetter, {wet:.1f} %. It stands in wet holding "
        f"at {warmth + 5.0:.0f} F and reaches the dryer at {clock(farm.WET_LOT)}. How long may it "
        "wait?"
    )
    life = service.ask(
        "storage-life", temperature=round(warmth + 5.0), moisture=wet, holding_share=10.0
    )
    paper.answer(life["decision"])
    paper.point(f"A tenth of its life is gone after {24.0 * life['holding_limit']:.0f} hours.")
    change = {
        "kind": "inlet-moisture", "at": stamp(farm.WET_LOT), "moisture_change": points,
    }  # fmt: skip
    answer = service.ask("setpoint-advice", **question(season, known_changes=[change]))
    season.kept["belief"] = answer["belief"]
    paper.tell("And what should the column setpoint do?")
    for step in _in_words(answer):
        paper.answer(step)
    fixed = _at_a_fixed_rate(season)
    until = farm.WET_LOT + timedelta(hours=21)
    first = len(season.looks)
    _follow(season, answer["schedule"])
    while dryer.now < until:
        dryer.run(min(next_look(dryer.now, look(season)), until))
    moves = [seen for seen in season.looks[first:] if seen.advice.startswith(("up", "down"))]
    season.paper.tell(
        f"The controller slows the discharge by itself as the wet grain cools the column. "
        f"{_moves(moves)} The next morning, against a dryer whose rate nobody touched:"
    )
    rows, other = dryer.rows(4.0), fixed.rows(4.0)
    paper.table(
        ("", "column", "rate", "moisture"),
        [_outcome("steered", rows), _outcome("fixed rate", other)],
    )
    season.kept["wet_lot"] = (_moisture(rows), _moisture(other))


def _in_words(answer: dict[str, Any]) -> list[str]:
    """The notes that speak of the schedule."""
    steps = ("reaches the column", "lower the setpoint to", "raise the setpoint to")
    said = [note for note in answer["notes"] if any(step in note for step in steps)]
    return said or [answer["decision"]]


def _moves(looks: list[Look]) -> str:
    if not looks:
        return "No further move of the setpoint was advised."
    listed = "; ".join(f"{seen.advice} at {clock(seen.at)}" for seen in looks)
    return f"Advised meanwhile: {listed}."


def _at_a_fixed_rate(season: Season) -> Any:
    """The same dryer with the rate left where it is."""
    other = copy.deepcopy(season.dryer)
    other.automatic = False
    other.run(farm.WET_LOT + timedelta(hours=21))
    return other


def _follow(season: Season, schedule: list[dict[str, Any]]) -> None:
    """Make the moves of a schedule when their time comes."""
    for move in schedule:
        season.dryer.run(max(season.dryer.now, datetime.fromisoformat(move["at"])))
        season.dryer.setpoint += move["step"]
        season.kept["last_move"] = stamp(season.dryer.now.replace(microsecond=0))
    season.dryer.run(season.dryer.now + timedelta(hours=1))


def _moisture(rows: list[Row]) -> float:
    return average([row.moisture for row in rows])


def _outcome(name: str, rows: list[Row]) -> tuple[str, str, str, str]:
    rate, warm = average([row.rate for row in rows]), average([row.mean for row in rows])
    return name, f"{warm:.0f} F", f"{rate:,.0f} bu/h", f"{_moisture(rows):.1f} %"


def cold_front(season: Season) -> None:
    """What the forecast asks of the dryer, and what comes of it."""
    paper, dryer, service = season.paper, season.dryer, season.service
    paper.chapter("A cold front", clock(dryer.now))
    paper.tell("The forecast speaks of a cold front this afternoon. What does it ask of the dryer?")
    body = _outlook(season)
    answer = service.ask("weather-outlook", **body)
    paper.answer(answer["decision"])
    paper.point(
        f"Heat for the two days: {answer['heat'] / 1e6:,.0f} million Btu, "
        f"{answer['extra_heat'] / 1e6:+,.0f} against today's weather; "
        f"{answer['fuel_money']:,.0f} dollars of propane."
    )
    service.draw(
        "weather-outlook", "the forecast, and the moves it asks for", "weather-outlook", **body
    )
    season.kept["outlook"] = answer
    before = dryer.rows(2.0)
    for move in answer["moves"]:
        at = datetime.fromisoformat(move["at"])
        while dryer.now < at:
            dryer.run(min(next_look(dryer.now, look(season)), at))
        if "setpoint_change" in move:
            dryer.setpoint += move["setpoint_change"]
            season.kept["last_move"] = stamp(dryer.now.replace(microsecond=0))
    until = farm.FRONT + timedelta(hours=20)
    while dryer.now < until:
        dryer.run(min(next_look(dryer.now, look(season)), until))
    paper.tell(f"What came of it by {clock(dryer.now)}:")
    paper.table(
        ("", "column", "rate", "moisture"),
        [_outcome("before the front", before), _outcome("after it", dryer.rows(4.0))],
    )


def _outlook(season: Season) -> dict[str, Any]:
    dryer = season.dryer
    start = dryer.now.replace(minute=0, second=0, microsecond=0)
    hours = [start + timedelta(hours=n) for n in range(49)]
    air = [farm.outside(at) for at in hours]
    now = dryer.rows(3.0)
    return {
        "forecast": {
            "times": [stamp(at) for at in hours],
            "temperature": [round(warm, 1) for warm, _ in air],
            "relative_humidity": [round(damp, 0) for _, damp in air],
        },
        "run": {
            "rate": round(average([row.rate for row in now])),
            "moisture": round(average([row.inlet for row in now]), 1),
            "discharge_moisture": round(
                average([row.meter for row in now]) + season.kept["meter_offset"], 1
            ),
            "ambient_temperature": round(air[0][0], 1),
            "plenum_temperature": sum(farm.PLENUMS) / len(farm.PLENUMS),
            "kind": "mixed-flow",
        },
        "target_moisture": farm.TARGET,
        "setpoint": dryer.setpoint,
        "transit": round(dryer.transit, 2),
        "fuel": "propane",
        "price_of_heat": farm.PRICE_OF_HEAT,
    }
