"""What the year taught about the dryer, and the start of the next one."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from demo import farm
from demo.after import dried
from demo.dryer import Row
from demo.steering import Season, average

MOST_RUNS = 10
APART = timedelta(hours=4)
JUDGED, CALM = timedelta(hours=2), timedelta(hours=5)  # read over; nothing moved for
STEADY = 1.15  # highest rate over lowest while nothing moved
NEXT_CORN = 21.0  # % wet basis
AIR = {"ambient_temperature": 58.0, "ambient_relative_humidity": 72.0}


def fit(season: Season) -> None:
    """The dryer's own settled runs tell what nobody could know in August."""
    paper, kept = season.paper, season.kept
    runs = _settled_runs(dried(season), kept["meter_offset"])
    paper.chapter("What the dryer is like", "December")
    paper.tell(f"The log holds {len(runs)} spells in which nothing moved. What do they tell?")
    answer = season.service.ask("dryer-fit", dryer=farm.dryer(), runs=runs)
    paper.answer(answer["decision"])
    factors = {row["factor"]: row["value"] for row in answer["factors"]}
    paper.table(
        ("", "found", "90 % band", "as the demo made it"),
        [
            _factor("drying, of the published law", factors["rate"], farm.TRUE_SPEED),
            _factor("air, of what the farm stated", factors["airflow"], farm.TRUE_AIR),
        ],
    )
    kept["fit"], kept["factors"] = answer, factors


def _factor(name: str, band: dict[str, float], truth: float) -> tuple[str, ...]:
    return name, f"{band['value']:.2f}", f"{band['low']:.2f} to {band['high']:.2f}", f"{truth:.2f}"


def next_year(season: Season) -> None:
    """The next start plan stands on the fitted dryer."""
    paper, service, kept = season.paper, season.service, season.kept
    paper.chapter("Next year", "September 2027")
    paper.tell(
        f"The first corn comes in at {NEXT_CORN:.0f} %. The same question as a year ago, with the "
        "fitted dryer handed on:"
    )
    answer = service.ask(
        "start-plan", dryer=farm.dryer(), moisture=NEXT_CORN, target_moisture=farm.TARGET,
        end_use="feed", metering_points=list(farm.METERING), fitted=kept["fit"]["fitted"], **AIR,
    )  # fmt: skip
    paper.answer(answer["decision"])
    figures, before = answer["figures"], kept["column"]
    paper.point(
        f"The opening rate was known to {_width(kept['opening'])} bu/h from low to high; now to "
        f"{_width(figures['discharge_rate'])}. The column was expected between "
        f"{before['low']:.0f} and {before['high']:.0f} F; now between "
        f"{figures['column_temperature']['low']:.0f} and "
        f"{figures['column_temperature']['high']:.0f} F."
    )
    kept["next_year"] = answer


def _width(band: dict[str, float]) -> str:
    return f"{band['high'] - band['low']:,.0f}"


def _settled_runs(rows: list[Row], offset: float) -> list[dict[str, Any]]:
    """Spells without a move, as one would write them down."""
    runs: list[dict[str, Any]] = []
    at = rows[0].at + CALM
    while at < rows[-1].at and len(runs) < MOST_RUNS:
        spell = _between(rows, at - CALM, at)
        rates = [row.rate for row in spell]
        still = len({row.setpoint for row in spell}) == 1 and max(rates) < STEADY * min(rates)
        if still:
            runs.append(_run(rows, at, offset))
        at += APART if still else timedelta(hours=1)
    return runs


def _run(rows: list[Row], at: datetime, offset: float) -> dict[str, Any]:
    now = _between(rows, at - JUDGED, at)
    rate = average([row.rate for row in now])
    transit = timedelta(hours=farm.HELD / rate)
    came_in = _between(rows, at - JUDGED - transit, at - transit) or now
    warm, damp = farm.outside(at - 0.5 * (JUDGED + transit))
    return {
        "name": f"{at:%a %H:%M}",
        "rate": round(rate),
        "moisture": farm.rounded(average([row.inlet for row in came_in])),
        "discharge_moisture": farm.rounded(average([row.meter for row in now]) + offset),
        "ambient_temperature": round(warm, 1),
        "ambient_relative_humidity": round(damp),
        "column_temperature": round(average([row.mean for row in now]), 1),
    }


def _between(rows: list[Row], start: datetime, end: datetime) -> list[Row]:
    return [row for row in rows if start <= row.at <= end]
