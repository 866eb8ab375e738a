"""After the dryer: cooling, storage, settlement, review, and what next year starts from."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from demo import farm
from demo.dryer import Row
from demo.farm import stamp
from demo.steering import Season, average, day

TRUCK = 56_000.0  # lb, what one load may weigh
SCALE = 20.0  # lb, smallest step of the scale


def cooling(season: Season) -> None:
    """What it would bring to cool in the bin instead of in the dryer."""
    paper, dryer = season.paper, season.dryer
    paper.chapter("Cooling in the bin", day(dryer.now))
    hot, warm = round(dryer.rows(2.0)[-1].mean), farm.outside(dryer.now)
    paper.tell(
        f"The plan said that cooling in the bin would help most. The grain would leave at about "
        f"{hot} F, and the fans would bring it to {farm.TARGET} %. What should leave the dryer?"
    )
    answer = season.service.ask(
        "cooling", mode="cool-in-storage", hot_temperature=float(hot), final_moisture=farm.TARGET,
        ambient_temperature=round(warm[0], 1), relative_humidity=round(warm[1]),
        wet_moisture=farm.rounded(average([row.inlet for row in dryer.rows(6.0)])),
        airflow_per_grain=0.25, fill_rate=float(round(dryer.rate)),
    )  # fmt: skip
    paper.answer(answer["decision"])
    mode = next(row for row in answer["by_mode"] if row["mode"] == "cool-in-storage")
    paper.point(
        f"Published gain in capacity: {mode['capacity_gain_low']:.0f} to "
        f"{mode['capacity_gain_high']:.0f} %; fuel saved: up to {mode['fuel_saved_high']:.0f} %. "
        f"The fan needs about {answer['air']['fan_hours']:.0f} h to cool a fill."
    )
    season.kept["discharge_moisture"] = answer["result"]["discharge_moisture"]


def storage(season: Season) -> None:
    """How long the dried corn keeps."""
    paper, rows = season.paper, dried(season)
    season.kept["in_bin"] = _mean_moisture(rows)
    moisture = farm.rounded(season.kept["in_bin"])
    paper.chapter("In the bin", day(season.dryer.now))
    paper.tell(
        f"By the log, this week's corn lies in the bin at {moisture} %. Could it wait for a better "
        "price until May, at 45 F to December, at 32 F through the winter, at 50 F in spring?"
    )
    answer = season.service.ask(
        "storage-life", temperature=55.0, moisture=moisture, months=8.0,
        plan=[
            {"duration": 60.0, "temperature": 45.0, "moisture": moisture},
            {"duration": 100.0, "temperature": 32.0, "moisture": moisture},
            {"duration": 60.0, "temperature": 50.0, "moisture": moisture},
        ],
    )  # fmt: skip
    paper.answer(answer["decision"])
    dry = "; ".join(f"{row['low']:.1f} % ({row['duration']})" for row in answer["safe_moistures"])
    paper.point(f"Dry enough, source by source: {dry}.")
    if not any(row.get("dry_enough") for row in answer["safe_moistures"]):
        paper.tell("Too wet for all of them. The farm sells it now, before it needs more drying.")
    season.kept["storage"] = answer


def settle(season: Season) -> None:
    """What the loads are paid, and who gets what."""
    paper, service = season.paper, season.service
    loads = _loads(dried(season))
    paper.chapter("Settlement", "5 to 9 October")
    paper.tell(
        f"The week's corn goes out in {len(loads)} loads, every third one to the feed mill; the "
        "landlord owns two fifths of it."
    )
    answer = service.ask(
        "settlement", buyers=list(farm.BUYERS), owners=list(farm.OWNERS), loads=loads
    )
    paper.answer(answer["decision"])
    paper.table(
        ("load", "buyer", "gross lb", "moisture", "net lb", "paid"),
        [_statement(row) for row in answer["statements"][:4]],
    )
    paper.tell("and so on; altogether:")
    paper.table(
        ("", "net lb", "paid"),
        [
            (row["owner"], f"{row['net']:,.0f}", f"{row['payable']:,.2f}")
            for row in answer["by_owner"]
        ],
    )
    gap = answer["totals"]["payable"] - sum(row["payable"] for row in answer["by_owner"])
    paper.point(f"The owners' parts and the total differ by {abs(gap):.2f} dollars.")
    season.kept["loads"], season.kept["settlement"] = loads, answer


def _statement(row: dict[str, Any]) -> tuple[str, ...]:
    return (
        row["load"], row["buyer"], f"{row['gross']:,.0f}", f"{row['moisture_read']:.1f} %",
        f"{row['net']:,.0f}", f"{row['payable']:,.2f}",
    )  # fmt: skip


def review(season: Season) -> None:
    """What the log of the week shows, what drying cost, and what next year starts from."""
    paper, service, kept = season.paper, season.service, season.kept
    paper.chapter("Review", "December")
    rows = [row for row in season.dryer.log if row.at >= kept["settled_since"]]
    paper.tell(f"The log of that week, {len(rows):,} rows, meter offset applied. How did it go?")
    body = _review_of(season, rows)
    answer = service.ask("run-review", **body)
    paper.answer(answer["decision"])
    paper.tell("And without Monday, from the first look at the setpoint on?")
    steered = service.ask("run-review", **_review_of(season, dried(season)))
    paper.answer(steered["decision"])
    paper.tell("What it hands on to next year:")
    paper.table(
        ("corn coming in", "rate", "column", "came out", "setpoint to start with", "transits"),
        [_start(row) for row in answer["starts"]],
    )
    service.draw("run-review", "the week on one page", "run-review", **body)
    kept["review"], kept["steered"] = answer, steered
    _cost(season)


def _review_of(season: Season, rows: list[Row]) -> dict[str, Any]:
    return {
        "target": farm.TARGET, "hold_up": farm.HELD, "dryer_kind": "mixed-flow", "fuel": "propane",
        "grain_price": farm.PRICE_OF_CORN, "heat_price": farm.PRICE_OF_HEAT,
        "log": _columns(rows, season.kept["meter_offset"]),
    }  # fmt: skip


def _columns(rows: list[Row], offset: float) -> dict[str, Any]:
    return {
        "times": [stamp(row.at) for row in rows],
        "rate": [row.rate for row in rows],
        "moisture_in": [row.inlet for row in rows],
        "moisture_out": [farm.rounded(row.meter + offset) for row in rows],
        "column_temperatures": [
            [row.column[sensor] for row in rows] for sensor in range(len(farm.SENSORS))
        ],
        "fuel_liquid": [row.propane for row in rows],
    }


def _start(row: dict[str, Any]) -> tuple[str, ...]:
    return (
        f"{row['inlet_moisture']:.1f} %", f"{row['rate']:,.0f} bu/h",
        f"{row['column_temperature']:.0f} F", f"{row['moisture']:.1f} %",
        f"{row['setpoint']:.0f} F" if "setpoint" in row else "-", str(row["settled_transits"]),
    )  # fmt: skip


def _cost(season: Season) -> None:
    """What a bushel cost to dry, with the energy that the log shows."""
    paper, found = season.paper, season.kept["review"]
    answer = season.service.ask(
        "drying-cost",
        lots=[
            {
                "quantity": float(round(found["grain"])),
                "initial_moisture": farm.rounded(
                    found["moisture"]["mean"] + found["energy"]["points"]
                ),
                "final_moisture": farm.rounded(found["moisture"]["mean"]),
            }
        ],
        fuel={"kind": "propane", "price_of_liquid": farm.PRICE_OF_PROPANE},
        heat_per_water=round(found["energy"]["per_water"]),
        price=farm.PRICE_OF_CORN,
    )
    paper.tell("And what did drying cost, with the energy that the log shows?")
    paper.answer(answer["decision"])
    season.kept["cost"] = answer


def dried(season: Season) -> list[Row]:
    """What the bin got: from the first steered hour on."""
    return [row for row in season.dryer.log if row.at >= season.kept["steered_since"]]


def dry_matter(rows: list[Row]) -> list[float]:
    """Dry matter that left between each row and the next [lb]; the panel counts bushels."""
    share = farm.BUSHEL_LB * (1.0 - farm.TARGET / 100.0)
    return [
        row.rate * share * (after.at - row.at).total_seconds() / 3600.0
        for row, after in pairwise(rows)
    ]


def _mean_moisture(rows: list[Row]) -> float:
    dry = dry_matter(rows)
    wet = sum(pounds / (1.0 - row.moisture / 100.0) for pounds, row in zip(dry, rows, strict=False))
    return 100.0 * (1.0 - sum(dry) / wet)


def _loads(rows: list[Row]) -> list[dict[str, Any]]:
    """Truckloads, in the order in which the grain was dried."""
    loads: list[dict[str, Any]] = []
    dry = wet = 0.0
    for pounds, row in zip(dry_matter(rows), rows, strict=False):
        grain = pounds / (1.0 - row.moisture / 100.0)
        if wet + grain > TRUCK:
            loads.append(_load(len(loads), dry, wet))
            dry = wet = 0.0
        dry, wet = dry + pounds, wet + grain
    if wet > 0.0:
        loads.append(_load(len(loads), dry, wet))
    return loads


def _load(number: int, dry: float, wet: float) -> dict[str, Any]:
    return {
        "id": f"L-{number + 101}",
        "weight": SCALE * round(wet / SCALE),
        "moisture": round(100.0 * (1.0 - dry / wet), 2),
        "buyer": farm.BUYERS[1 if number % 3 == 2 else 0]["name"],
        "test_weight": 53.5 if number % 10 == 4 else 56.5,
    }
