"""From the plan in August to a dryer that has settled, with a meter one can believe."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np

from demo import farm
from demo.farm import stamp
from demo.steering import Season, clock, day, trace

HARVEST = {
    "start": stamp(datetime(2026, 9, 28, tzinfo=farm.ZONE)),
    "crop": 190_000.0, "rate": 2_100.0, "first_hour": 10.0, "hours_per_day": 10.0,
    "moisture": 22.2, "drydown": 0.35, "lowest_moisture": 17.0,
}  # fmt: skip
SMALL_HOLDING, LARGE_HOLDING = 6_000.0, 9_000.0
SHORT_DAY, LONG_DAY = 14.0, 24.0
TANK = 8_000.0  # gal
DESCRIBED = {
    "dryer": farm.dryer(), "moisture": farm.FIRST_CORN, "target_moisture": farm.TARGET,
    "ambient_temperature": 58.0, "ambient_relative_humidity": 72.0,
}  # fmt: skip
SAMPLES = 4  # an hour apart


def plan(season: Season) -> None:
    """Does the dryer keep up, and what would help?"""
    paper, service = season.paper, season.service
    paper.chapter("The plan", "20 August")
    paper.tell(
        f"{HARVEST['crop']:,.0f} bu of corn, a combine that brings {HARVEST['rate']:,.0f} bu an "
        f"hour, {SMALL_HOLDING:,.0f} bu of wet holding, the dryer tended from six in the morning "
        "to eight at night. Will the dryer keep up?"
    )
    body = _season(SMALL_HOLDING, SHORT_DAY)
    found = service.ask("season-plan", **body)
    paper.answer(found["decision"])
    service.draw("season-plan", "the plan as it was, and what would help", "season-plan", **body)
    paper.table(
        ("what if", "combine waits", "all dry by", "life used"),
        [("as it is", *_waiting(found)), *map(_alternative, found["alternatives"])],
    )
    body = _season(LARGE_HOLDING, LONG_DAY) | {"alternatives": False}
    better = service.ask("season-plan", **body)
    paper.tell(
        f"The farm sets up another {LARGE_HOLDING - SMALL_HOLDING:,.0f} bu of wet holding, finds "
        "someone for the nights, and asks again:"
    )
    paper.answer(better["decision"])
    paper.point(
        f"Propane: {better['liquid']:,.0f} gal, {better['fuel_money']:,.0f} dollars; "
        f"{better['refills_needed']} refills of the {TANK:,.0f} gal tank."
    )
    season.kept["plan"] = better


def _season(holding: float, hours: float) -> dict[str, Any]:
    start = stamp(farm.MONDAY.replace(day=20 if hours < LONG_DAY else 28, hour=0))
    return {
        "monthly": {"start": start, "days": 60.0, "months": list(farm.WEATHER_BY_MONTH)},
        "harvest": HARVEST, "wet_holding": holding, "dryer": farm.dryer(),
        "final_moisture": farm.TARGET, "fuel": "propane",
        "price_of_liquid": farm.PRICE_OF_PROPANE, "tank": TANK,
        "dryer_first_hour": 6.0 if hours < LONG_DAY else 0.0, "dryer_hours_per_day": hours,
    }  # fmt: skip


def _alternative(row: dict[str, Any]) -> tuple[str, str, str, str]:
    return (row["change"].replace("-", " "), *_waiting(row))


def _waiting(row: dict[str, Any]) -> tuple[str, str, str]:
    if "waited" not in row:
        return "-", "-", "-"
    done = datetime.fromisoformat(row["finished"]) if "finished" in row else None
    life = row.get("worst_life_used")
    return (
        f"{row['waited']:.0f} h",
        f"{done:%-d %b}" if done else "-",
        "-" if life is None else f"{life:.0f} %",
    )


def size(season: Season) -> None:
    """What the dryer can do with the first corn, by water and energy alone."""
    paper, service = season.paper, season.service
    paper.chapter("Sizing", "20 August")
    paper.tell(
        f"Nobody has run this dryer yet. What can it do with corn of {farm.FIRST_CORN:.0f} %?"
    )
    opening = service.ask("discharge-rate", **DESCRIBED, metering_points=list(farm.METERING))
    paper.answer(opening["decision"])
    rate = opening["figures"]["discharge_rate"]
    daily = HARVEST["rate"] * HARVEST["hours_per_day"]
    hours = daily / opening["figures"]["intake_rate"]["value"]
    paper.point(f"A day's harvest of {daily:,.0f} bu would take it about {hours:.0f} hours.")
    season.kept["opening"] = rate


def start(season: Season) -> None:
    """Plenums, opening rate and metering for the first day."""
    paper, service, kept = season.paper, season.service, season.kept
    paper.chapter("Start plan", "Sunday 27 September")
    paper.tell("Tomorrow the first corn comes in. How is the dryer to be set?")
    answer = service.ask(
        "start-plan", **DESCRIBED, end_use="feed", metering_points=list(farm.METERING),
        fill_rate=HARVEST["rate"],
    )  # fmt: skip
    paper.answer(answer["decision"])
    figures, steps = answer["figures"], answer["steps"]
    paper.tell(f"A check list of {len(steps)} steps comes with it; three of them:")
    for step in (step for step in steps if step.startswith(("Fill", "Set the", "Wait"))):
        paper.answer(step)
    paper.tell("And one of its cautions:")
    paper.answer(next(row["text"] for row in answer["cautions"] if row["code"] == "fire-column"))
    profile = {"end_use": "feed", "rate": round(figures["discharge_rate"]["value"])}
    service.draw(
        "column-profile", "grain and air from top to bottom of the column", "column-profile",
        **DESCRIBED, **profile,
    )  # fmt: skip
    kept["setting"] = round(figures["metering"]["setting"], 1)
    kept["rate"] = figures["discharge_rate"]["value"]
    kept["column"] = figures["column_temperature"]
    kept["setpoint"] = float(round(figures["column_temperature"]["value"]))
    kept["first_fill"] = figures["first_fill"]


def fill(season: Season) -> None:
    """The dryer is filled and opened; the first transit goes back to wet holding."""
    paper, dryer, first = season.paper, season.dryer, season.kept["first_fill"]
    setting = season.kept["setting"]
    dryer.opening = dryer.rate = farm.rate_of(setting)
    season.kept["opened"] = dryer.now
    paper.chapter("First fill", f"{day(dryer.now)}, 07:00")
    paper.tell(
        f"Filled with {first['weight']:,.0f} bu, burner up, metering at {setting:.1f}. The plan "
        f"says that {first['wet']:,.0f} bu will leave wet: nothing is held in the heat, that grain "
        "goes back to wet holding."
    )
    season.service.draw(
        "first-fill", "what leaves during the first fill", "column-response",
        **DESCRIBED, start="first-fill", hold=0.0, rate=round(season.kept["rate"]),
    )  # fmt: skip
    dryer.run(dryer.now + timedelta(minutes=50))
    settling(season, setting)
    dryer.run(datetime.fromisoformat(season.kept["settled_at"]))
    settling(season, setting)
    season.kept["settled_since"] = dryer.now
    row = dryer.log[-1]
    paper.point(
        f"At {clock(row.at)} the meter reads {row.meter:.1f} % and the column {row.mean:.0f} F."
    )


def settling(season: Season, setting: float) -> None:
    """Ask whether moisture may be judged."""
    dryer, opened = season.dryer, season.kept["opened"]
    answer = season.service.ask(
        "settling",
        log={
            "times": [stamp(opened - timedelta(hours=1)), stamp(opened)],
            "settings": [0.0, setting],
        },
        changed=stamp(opened),
        points=farm.METERING,
        held=farm.HELD,
        now=stamp(dryer.now.replace(microsecond=0) + timedelta(seconds=1)),
    )
    season.paper.tell(f"{clock(dryer.now)}: may we judge the moisture?")
    season.paper.answer(answer["decision"])
    season.kept["settled_at"] = answer["settled_at"]
    season.kept["settled"] = answer["settled"]


def check_meter(season: Season) -> None:
    """Four samples against the buyer's meter."""
    paper, dryer = season.paper, season.dryer
    dryer.setpoint, dryer.automatic = season.kept["setpoint"], True
    season.kept["automatic"] = dryer.now
    dryer.run(dryer.now + timedelta(hours=4))
    paper.chapter("Meter check", clock(dryer.now))
    paper.tell(
        f"The controller now holds the column at {dryer.setpoint:.0f} F by itself. Four samples, "
        "rested and cooled in sealed jars, went to the elevator's meter."
    )
    samples = _samples(season)
    paper.table(
        ("sample", "elevator", "our meter"),
        [
            (str(n), f"{_mean(row['reference']):.2f} %", f"{_mean(row['meter']):.2f} %")
            for n, row in enumerate(samples, start=1)
        ],
    )
    answer = season.service.ask("meter-check", samples=samples, reference="buyer")
    paper.answer(answer["decision"])
    season.kept["meter_offset"] = answer["advised_offset"]
    season.kept["meter_uncertainty"] = answer["doubt"]["total"]


def _samples(season: Season) -> list[dict[str, list[float]]]:
    """What the elevator reads and what the dryer's meter read of the same grain."""
    noise = np.random.default_rng(farm.SEED + 1).normal
    rows = season.dryer.rows(SAMPLES - 0.5)[:: len(season.dryer.rows(1.0))][:SAMPLES]
    return [
        {
            "reference": [round(row.moisture + float(noise(0.0, 0.08)), 1) for _ in range(2)],
            "meter": [row.meter, round(row.meter + float(noise(0.0, 0.06)), 1)],
        }
        for row in rows
    ]


def calm(season: Season) -> None:
    """The controller swings; its gain is cut until it does not."""
    paper, dryer = season.paper, season.dryer
    dryer.run(season.kept["automatic"] + timedelta(hours=6))
    paper.chapter("A restless controller", clock(dryer.now))
    paper.tell("The column temperature goes up and down. Is the gain too high?")
    looks: list[dict[str, Any]] = []
    while True:
        hours = (dryer.now - season.kept["automatic"]).total_seconds() / 3600.0
        looks.append(trace(dryer.rows(min(hours, 6.0))))
        question = {
            "traces": looks[-3:], "present_gain": round(100.0 * dryer.gain, 1),
            "transit": round(dryer.transit, 2),
        }  # fmt: skip
        answer = season.service.ask("gain-advice", **question)
        paper.tell(f"{clock(dryer.now)}, gain {100.0 * dryer.gain:.1f}:")
        paper.answer(answer["decision"])
        if answer["multiplier"] != 1.0:
            break
        dryer.run(min(datetime.fromisoformat(answer["look_at"]), dryer.now + timedelta(hours=4)))
    season.service.draw(
        "restless-column", "the column temperature before the gain was cut", "trend",
        column=looks[-1],
    )  # fmt: skip
    dryer.gain *= answer["multiplier"]
    season.kept["gain"], season.kept["automatic"] = answer, dryer.now
    dryer.run(max(dryer.now, farm.MONDAY + timedelta(hours=23)))
    paper.tell(f"The next morning, {clock(dryer.now)}, gain {100.0 * dryer.gain:.1f}:")
    rest = trace(dryer.rows(6.0))
    paper.answer(season.service.ask("trend", column=rest)["decision"])
    season.service.draw(
        "calm-column", "the column temperature the morning after", "trend", column=rest
    )


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)
