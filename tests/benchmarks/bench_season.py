"""Timings of the season's parts: settlement, review of a million rows, a season of 10,000 lots."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from outfeed.ability import DescribedDryer, KnownRate
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Dryer, Zone
from outfeed.grains import load_grain
from outfeed.queue import Lots
from outfeed.review import review
from outfeed.runlog import RunLog
from outfeed.season import Season, fitted_season, plan_season
from outfeed.season_help import alternatives
from outfeed.settlement import Load, Terms, settle_loads
from outfeed.shrink import BuyerRule
from outfeed.weather import HOUR, Weather
from outfeed_api.tables import read_table


def timed(what: str, work: Callable[[], object]) -> None:
    """Print wall and processor time of one run."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    print(f"{what:44s} {wall:7.2f} s wall {cpu:7.2f} s processor")


def million_rows(rows: int = 1_000_000) -> RunLog:
    """An invented log with noise, stops and holes."""
    rng = np.random.default_rng(5)
    t = np.arange(rows) * 10.0
    rate = 5.0 * (1.0 + 0.1 * np.sin(t / 20_000.0))
    rate[rng.integers(0, rows - 200, 30)[:, None] + np.arange(180)] = 0.0
    outlet = 0.155 + 0.004 * np.sin(t / 9_000.0) + rng.normal(0.0, 0.001, rows)
    outlet[rng.random(rows) < 0.01] = np.nan
    column = 38.0 + 2.0 * np.sin(t / 50_000.0)
    return RunLog(
        times_s=t,
        rate=rate,
        moisture_in=0.22 + 0.02 * np.sin(t / 300_000.0),
        moisture_out=outlet,
        columns=tuple(column + rng.normal(0.0, 0.3, rows) for _ in range(3)),
        plenum=90.0 + rng.normal(0.0, 0.5, rows),
        plenum_setpoint=np.full(rows, 90.0),
        heat=np.full(rows, 3e6),
    )


def csv_log(rows: int) -> tuple[bytes, list[str]]:
    """An invented log as CSV, and its columns."""
    names = ["rate", "moisture_in", "moisture_out", "column_temperature_1", "plenum", "fuel_liquid"]
    numbers = np.random.default_rng(1).normal(100.0, 3.0, (rows, len(names)))
    start = np.datetime64("2026-10-01T00:00:00")
    times = np.datetime_as_string(start + np.arange(rows) * np.timedelta64(10, "s"))
    lines = [
        time_ + "-05:00," + ",".join(f"{value:.1f}" for value in row)
        for time_, row in zip(times.tolist(), numbers.tolist(), strict=True)
    ]
    return ("time," + ",".join(names) + "\n" + "\n".join(lines)).encode(), names


def loads(count: int) -> list[Load]:
    """Invented loads with two owners."""
    rng = np.random.default_rng(6)
    weights, moistures = rng.uniform(15_000, 27_000, count), rng.uniform(0.13, 0.24, count)
    owners = (("a", 0.5), ("b", 0.5))
    return [
        Load(str(k), float(w), float(m), owners=owners)
        for k, (w, m) in enumerate(zip(weights, moistures, strict=True))
    ]


def season(lots: int, hours: int) -> Season:
    """An invented season of trucked-in corn."""
    rng = np.random.default_rng(7)
    clock = np.arange(hours)
    ready = np.sort(rng.uniform(0.0, 0.75 * hours * HOUR, lots))
    moisture = 0.25 - 0.07 * ready / ready[-1] + rng.normal(0.0, 0.005, lots)
    return Season(
        grain=load_grain("corn-yellow-dent"),
        weather=Weather(
            0.0, 12.0 - 10.0 * clock / hours + 5.0 * np.sin(clock / 4.0), np.full(hours, 0.7)
        ),
        supply=Lots(ready, rng.uniform(2_000.0, 3_000.0, lots), moisture),
        machine=KnownRate(5.0, 0.20, 0.15, 10.0, plenum=93.0, kind="mixed-flow"),
        run_share=np.ones(hours),
        holding=150_000.0,
        final_wb=0.15,
    )


def dryers() -> list[Dryer]:
    """Invented dryers of two kinds."""
    mixed = (
        Zone("upper", "heated", volume=15.0, plenum_temperature=98.9, airflow_per_volume=0.7),
        Zone("lower", "heated", volume=15.0, plenum_temperature=85.0, airflow_per_volume=0.7),
        Zone("cooler", "cooling", volume=8.0, airflow_per_volume=0.7),
    )
    cross = (
        Zone("heated", "heated", volume=25.0, plenum_temperature=98.9, airflow_per_volume=1.2),
        Zone("cooler", "cooling", volume=8.0, airflow_per_volume=1.2),
    )
    return [
        Dryer("mixed-flow", mixed, cross_section=7.0),
        Dryer("cross-flow", cross, cross_section=4.0, column_thickness=0.3),
    ]


def fitted_plans(year: Season) -> None:
    """The season with a described dryer, without and with a fit of it."""
    model = ColumnModel(rate_factor=1.3)
    for dryer in dryers():
        described = replace(year, machine=DescribedDryer(dryer))

        def with_fit(season: Season = described) -> None:
            plan = plan_season(fitted_season(season, model))
            alternatives(plan)

        def without(season: Season = described) -> None:
            alternatives(plan_season(season))

        timed(f"{dryer.kind}, described, alternatives", without)
        timed(f"{dryer.kind}, fitted, alternatives", with_fit)


def main() -> None:
    """Run them all."""
    log = million_rows()
    timed("review of 1,000,000 rows", lambda: review(log, target_wb=0.155, hold_up=20_000.0))
    body, names = csv_log(1_000_000)
    timed("reading 1,000,000 rows of CSV", lambda: read_table(body, names))
    terms = [Terms(BuyerRule(0.15, 1.4, reading_step=0.001, name="mill"), 0.17)]
    many = loads(10_000)
    timed("settlement of 10,000 loads", lambda: settle_loads(many, terms))
    year = season(10_000, 2_000)
    timed("plan of 10,000 lots and 2,000 hours", lambda: plan_season(year))
    plan = plan_season(year)
    timed("the same with every alternative", lambda: alternatives(plan))
    fitted_plans(year)


if __name__ == "__main__":
    main()
