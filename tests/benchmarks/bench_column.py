"""Bench of the column model: medians, and how many times quicker than the SciPy reference.

    python tests/benchmarks/bench_column.py --repeats 15

The reference is the one that the tests compare with (`column_reference`), run once here on the
same column in the same process, so that the ratios do not depend on the machine. Times are of the
processor, so that other work on the machine disturbs them less.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import column_reference
from column_dryers import deep, screen, tower
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Feed
from outfeed.dryer.inverse import rate_for_moisture
from outfeed.dryer.mixed_flow import layer_counts
from outfeed.dryer.sensitivity import sensitivities
from outfeed.dryer.task import task
from outfeed.dryer.transient import Change, respond

AUTUMN = Conditions(10.0, 0.7)
WET_CORN = Feed(0.22, 10.0)
TOWER = tower(sensors=(0.9,))
DAMP = Conditions(15.0, 0.95)
SOAKED = Feed(0.30, 10.0)


def timed(work: Callable[[], object], repeats: int) -> float:
    """Median processor time of some work [s]."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return median(times)


def show(
    name: str, seconds: float, target: float | None = None, reference: float | None = None
) -> None:
    """One line of the table."""
    aim = f"  target {1e3 * target:8.1f} ms" if target else ""
    ratio = f"  reference takes {reference / seconds:6.0f} times as long" if reference else ""
    print(f"{name:58} {1e3 * seconds:9.2f} ms{aim}{ratio}")


def reference_of(dryer, conditions, feed, rate) -> float:
    """Time that the reference takes for one steady state [s]."""
    work = task(dryer, conditions, feed, rate, ColumnModel())
    if dryer.kind == "cross-flow":
        return timed(lambda: column_reference.cross_flow(work), 1)
    if dryer.kind == "mixed-flow":
        counts = layer_counts(dryer.heights, dryer.half_pitch)
        return timed(lambda: column_reference.mixed_flow(work, counts), 1)
    against = (dryer.kind == "counter-flow",) * 2 + (True,)
    return timed(lambda: column_reference.beds(work, against), 1)


def steady(repeats: int) -> None:
    """Single steady states and the inverse."""
    mixed = reference_of(TOWER, AUTUMN, WET_CORN, 1.06)
    one = timed(lambda: solve_column(TOWER, AUTUMN, WET_CORN, 1.06), repeats)
    show("mixed flow, 60 beds, one steady state", one, 0.005, mixed)
    damp = timed(lambda: solve_column(TOWER, DAMP, SOAKED, 1.5), repeats)
    show("mixed flow near saturation", damp, 0.008, reference_of(TOWER, DAMP, SOAKED, 1.5))
    found = timed(lambda: rate_for_moisture(TOWER, AUTUMN, WET_CORN, 0.155), repeats)
    show("its inverse: the rate for 15.5 %", found, 0.020)
    show("its sensitivities", timed(lambda: sensitivities(TOWER, AUTUMN, WET_CORN, 1.06), 5))
    for dryer, rate in (
        (screen(), 1.06),
        (deep("counter-flow"), 0.8),
        (deep("concurrent-flow"), 0.8),
    ):
        one = timed(lambda d=dryer, r=rate: solve_column(d, AUTUMN, WET_CORN, r), 5)
        show(
            f"{dryer.kind}, one steady state",
            one,
            None,
            reference_of(dryer, AUTUMN, WET_CORN, rate),
        )


def many(repeats: int) -> None:
    """A thousand scenarios at once."""
    near, wide = np.linspace(0.8, 1.4, 1000), np.geomspace(0.5, 2.0, 1000)
    for name, dryer, rates, target in (
        ("mixed flow, 1,000 rates 0.8 to 1.4", TOWER, near, 0.15),
        ("mixed flow, 1,000 rates 0.5 to 2", TOWER, wide, 0.15),
        ("cross-flow, 1,000 rates 0.8 to 1.4", screen(), near, 0.6),
    ):
        took = timed(lambda d=dryer, r=rates: solve_column(d, AUTUMN, WET_CORN, r), repeats)
        show(name, took, target)


def moving(repeats: int) -> None:
    """Seven hours of a column in motion."""
    changes = [Change(600.0, dry_matter_rate=1.12)]

    def run() -> object:
        return respond(TOWER, AUTUMN, WET_CORN, 1.06, changes, 7 * 3600.0)

    show("mixed flow, 7 hours after a step of rate", timed(run, repeats), 0.3)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=15)
    repeats = parser.parse_args().repeats
    steady(repeats)
    many(max(3, repeats // 5))
    moving(max(3, repeats // 5))


if __name__ == "__main__":
    main()
