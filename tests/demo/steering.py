"""A day at the column setpoint, a wet lot, a cold front."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from demo import farm
from demo.dryer import Row, SimulatedDryer
from demo.farm import stamp
from demo.paper import Paper
from demo.service import Service

SOONEST, LATEST = timedelta(hours=1), timedelta(hours=4)  # between two looks
ACROSS = 12  # rows of the log between two meter readings handed over: about an hour


@dataclass
class Look:
    """What was seen and said at one look."""

    at: datetime
    setpoint: float
    column: float
    moisture: float
    verdict: str
    advice: str


@dataclass
class Season:
    """What one step hands to the next."""

    service: Service
    paper: Paper
    dryer: SimulatedDryer
    kept: dict[str, Any] = field(default_factory=dict)
    looks: list[Look] = field(default_factory=list)


def clock(at: datetime) -> str:
    return at.strftime("%a %H:%M")


def day(at: datetime) -> str:
    return f"{at:%a} {at.day} {at:%B}"


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def steer(season: Season, hours: float) -> None:
    """Ask, do what was advised, come back when told; then print the day."""
    paper, dryer = season.paper, season.dryer
    end = dryer.now + timedelta(hours=hours)
    first = len(season.looks)
    while dryer.now < end:
        answer = look(season)
        dryer.run(min(next_look(dryer.now, answer), end))
    paper.table(
        ("time", "set", "column", "moisture", "trend", "advice"),
        [
            (clock(seen.at), f"{seen.setpoint:.0f} F", f"{seen.column:.1f} F",
             f"{seen.moisture:.1f} %", seen.verdict, seen.advice)
            for seen in season.looks[first:]
        ],
    )  # fmt: skip


def next_look(now: datetime, answer: dict[str, Any]) -> datetime:
    at = moment(answer["look_at"]) if "look_at" in answer else now + timedelta(hours=2)
    return min(max(at, now + SOONEST), now + LATEST)


def look(season: Season) -> dict[str, Any]:
    """One look; what is advised is done."""
    dryer = season.dryer
    answer = season.service.ask("setpoint-advice", **question(season))
    season.kept["belief"] = answer["belief"]
    verdict = answer["trend"]["verdict"] if "trend" in answer else "-"
    seen = Look(
        dryer.now, dryer.setpoint, average([row.mean for row in dryer.rows(0.5)]),
        average([row.meter for row in dryer.rows(1.0)]) + season.kept["meter_offset"],
        verdict, short(answer),
    )  # fmt: skip
    if answer["advice"] == "move":
        dryer.setpoint = answer["setpoint"]
        season.kept["last_move"] = stamp(dryer.now)
    season.looks.append(seen)
    return answer


def question(season: Season, **more: Any) -> dict[str, Any]:
    """What the panel and the notebook say now."""
    dryer, kept = season.dryer, season.kept
    since = (dryer.now - kept["automatic"]).total_seconds() / 3600.0
    rows = dryer.rows(min(since, 6.0))
    grain = dryer.rows(10.0, ACROSS // 2)
    body: dict[str, Any] = {
        "target": farm.TARGET,
        "setpoint": dryer.setpoint,
        "column": {"times": times(rows), "temperatures": [round(r.mean, 1) for r in rows]},
        "discharge": readings(dryer.rows(min(since, 8.0), ACROSS)),
        "inlet": {"times": times(grain), "moistures": [row.inlet for row in grain]},
        "rates": {"times": times(grain), "rates": [row.rate for row in grain]},
        "held_below_sensors": farm.BELOW_SENSORS,
        "held_above_sensors": farm.HELD - farm.BELOW_SENSORS,
        "now": stamp(dryer.now.replace(microsecond=0)),
        "meter_offset": kept["meter_offset"],
        "meter_uncertainty": kept["meter_uncertainty"],
        "end_use": "feed",
    }
    return body | {key: kept[key] for key in ("belief", "last_move") if key in kept} | more


def readings(rows: list[Row]) -> dict[str, Any]:
    return {"times": times(rows), "moistures": [row.meter for row in rows]}


def trace(rows: list[Row]) -> dict[str, Any]:
    """A column temperature with its setpoint, as trend and gain advice take it."""
    return {
        "times": times(rows),
        "temperatures": [round(row.mean, 1) for row in rows],
        "setpoints": [row.setpoint for row in rows],
    }


def times(rows: list[Row]) -> list[str]:
    return [stamp(row.at) for row in rows]


def average(values: list[float]) -> float:
    return sum(values) / len(values)


def short(answer: dict[str, Any]) -> str:
    """An advice in two or three words."""
    if answer["advice"] != "move":
        return answer["advice"]
    way = "up" if answer["step"] > 0.0 else "down"
    return f"{way} {abs(answer['step']):.0f} F to {answer['setpoint']:.0f} F"
