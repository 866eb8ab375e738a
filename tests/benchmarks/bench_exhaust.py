"""Bench of the caution for a steep exhaust: how often normal running raises it.

    python tests/benchmarks/bench_exhaust.py [traces a set] [starting number]

The simulated control loops of all three sets and the columns of simulated seasons stand in for an
exhaust, each beside itself as the column: they swing, are pushed and follow a setpoint as exhausts
do with their column. A trace counts as judged where an hour of steady running goes before its last
half hour. Before that the transient column of the library tells how steeply its exhaust rises when
somebody moves the setpoint, the plenums or the grain, its discharge under a controller.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import column_loop as column
import numpy as np
from even_loops import even_cases
from loops import cases
from plain_loops import plain_cases
from seasons import Array, Look, draw, run

from outfeed.steering import exhaust
from outfeed.steering.moves import ScheduledStep

NO_STOPS = (np.array([]), np.array([]))
MINUTE = 60.0
HEATED = 3
NORMAL_RUNNING = {
    "setpoint 6 degF higher": {"steps": (ScheduledStep(0.0, 6.0 / 1.8, 0.0, "inlet-moisture"),)},
    "grain 20 K warmer": {"grain": replace(column.CORN, temperature=30.0)},
    "plenums 20 K hotter": {"hotter": 20.0},
    "lot 5.5 points drier": {"grain": column.wetter(-5.5)},
}


def steepest(times: Array, values: Array) -> float:
    """Largest rise above the highest level until half an hour before [K], from an hour of rest."""
    minutes = np.arange(0.0, float(times[-1]), MINUTE)
    read = np.interp(minutes, times, values)
    since = np.maximum.accumulate(read)
    back = round(exhaust.WINDOW_S / MINUTE)
    before = np.concatenate([np.full(back, read[0]), since[:-back]])
    return float((read - before).max())


def on_the_column() -> None:
    """Print the steepest rise in normal running: all heated zones, the lowest, the uppermost."""
    print("rise within half an hour [K]     all heated  lowest  uppermost")
    for kind in ("mixed-flow", "cross-flow"):
        loop = column.loop_of(column.dryer(kind))
        for what, change in NORMAL_RUNNING.items():
            found = []
            for gain in (column.SLOW, column.LIVELY):
                seen = column.follow(loop, gain=gain, **change)
                zones = seen.exhaust[:, :HEATED]
                shown = (zones.mean(axis=1), zones[:, -1], zones[:, 0])
                found.append([steepest(seen.times, one) for one in shown])
            whole, lowest, uppermost = np.max(found, axis=0)
            print(f"{kind}, {what:22s} {whole:8.1f} {lowest:7.1f} {uppermost:10.1f}")


def loops(count: int, start: int) -> Iterator[tuple[str, Array, Array, Array]]:
    """Name, times [s], readings and setpoints [degC] of each trace."""
    for name, make in (("loops", cases), ("plain loops", plain_cases), ("even loops", even_cases)):
        for case in make(start, count):
            yield f"{name}, {case.truth}", case.times, case.values, case.setpoint


def seasons(count: int, start: int) -> Iterator[tuple[str, Array, Array, Array]]:
    """The same of columns looked at every 20 minutes, the setpoint moved by 3 degF now and then."""
    rng = np.random.default_rng(start)
    seen: list[tuple[str, Array, Array, Array]] = []

    def policy(look: Look) -> float:
        column = (look.column - 32.0) / 1.8
        aims = np.full(column.shape, (look.setpoint - 32.0) / 1.8)
        seen.append(("seasons", look.times * 60.0, column, aims))
        moved = look.setpoint + float(rng.choice([-3.0, 0.0, 3.0], p=[0.02, 0.96, 0.02]))
        return moved if abs(moved - 100.0) < 8.0 else look.setpoint

    run(draw(count, 2.0, start).looking_every(20.0), policy)
    yield from seen


def main(count: int = 1000, start: int = 901) -> None:
    """Run the bench and print it."""
    on_the_column()
    asked, judged, raised = Counter[str](), Counter[str](), Counter[str]()
    usual = exhaust.STEEP
    for traces in (loops(count, start), seasons(max(2, count // 50), start)):
        for name, times, values, aims in traces:
            trace = (times, values)
            exhaust.STEEP = -np.inf
            found = exhaust.steep_exhaust(trace, trace, aims, NO_STOPS)
            exhaust.STEEP = usual
            asked[name] += 1
            judged[name] += found is not None
            raised[name] += found is not None and found.rise >= usual
    print(f"{'traces of':28s}   asked  judged  raised")
    for name in sorted(asked):
        print(f"{name:28s} {asked[name]:7d} {judged[name]:7d} {raised[name]:7d}")
    total = judged.total()
    print(f"{'all':28s} {asked.total():7d} {total:7d} {raised.total():7d}")
    print(f"{1000.0 * raised.total() / total:.2f} of 1,000 that were judged")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
