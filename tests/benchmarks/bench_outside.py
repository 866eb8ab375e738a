"""Bench of telling a swing from outside from one of the loop's own, on simulated loops.

    python tests/benchmarks/bench_outside.py --loops 80

A load swings well damped loops near their own period, or a loop of too much gain swings by itself
and is held by the limits of its output. Each is advised four times; what is told beside the
temperature is nothing, the output with its limits, or the output with a plant that is known to a
factor of 1.4. Printed are the cuts made, the gain left, and how often a swing was called not the
loop's. Every number here is invented for the bench.
"""

from __future__ import annotations

import argparse

import numpy as np
from loops import STEPS_PER_DEAD_TIME, Loops, draw_loops, simulate

from outfeed.steering.gain import GainStep, Plant, advise_gain
from outfeed.steering.trend import OutputTrace, judge_trend

FIRST_START = 11_000
ROUNDS = 4
READ_EVERY_S = 300.0
KNOWN_TO = 0.35  # logarithm of the factor to which a plant is known
OWN_PERIODS = {False: (4.0, 9.0), True: (7.0, 23.0)}  # dead times; integral-only or not
TOLD = ("nothing", "limits", "plant")


def loads(
    loops: Loops, rng: np.random.Generator, count: int, size: np.ndarray, periods: np.ndarray | None
) -> np.ndarray:
    """A load that swings, or one that is there from the start, with noise that remembers a lag."""
    n = len(loops)
    step = loops.dead_time / STEPS_PER_DEAD_TIME
    clock = np.arange(count)[:, None] * step
    load = np.tile(size, (count, 1))
    if periods is not None:
        load = size * np.sin(2.0 * np.pi * clock / periods)
    keep, state = np.exp(-step / loops.lag), rng.standard_normal(n)
    for k in range(count):
        state = keep * state + np.sqrt(1.0 - keep**2) * rng.standard_normal(n)
        load[k] += 0.12 * state
    return load


def show(n: int, told: str, *, own: bool, only: bool) -> None:
    """Where repeated advice ends on loops that swing by themselves, or under a load."""
    rng = np.random.default_rng(FIRST_START + 2 * own + only)
    share = np.exp(rng.uniform(np.log(0.85), np.log(5.0), n)) if own else rng.uniform(0.2, 0.5, n)
    first = draw_loops(rng, n, share, np.full(n, only))
    periods = None if own else first.dead_time * np.exp(rng.uniform(*np.log(OWN_PERIODS[only]), n))
    size = rng.uniform(2.0, 6.0, n)
    reach = (1.0 + rng.uniform(0.3, 2.0, n)) * size if own else 3.0 * size
    known = np.exp(rng.uniform(-KNOWN_TO, KNOWN_TO, (3, n)))
    history: list[list[GainStep]] = [[] for _ in range(n)]
    now, foreign = share.copy(), np.zeros(n, dtype=bool)
    count = (140 if only else 70) * STEPS_PER_DEAD_TIME
    for _ in range(ROUNDS):
        factor = now / share
        loops = Loops(
            first.dead_time, first.lag, first.second_lag, first.proportional * factor,
            first.integral * factor, now, first.integral_only,
        )  # fmt: skip
        load = loads(loops, rng, count, size, periods)
        temperature, output = simulate(loops, count, np.zeros((count, n)), load, (-reach, reach))
        for j in range(n):
            times = np.arange(count) * float(loops.dead_time[j]) / STEPS_PER_DEAD_TIME
            length = max(7200.0, (30.0 if only else 14.0) * float(loops.dead_time[j]))
            every = max(1, int(READ_EVERY_S / times[1]))
            read = np.flatnonzero(times > times[-1] - length)[::every]
            noisy = temperature[read, j] + rng.normal(0.0, 0.15, read.size)
            low, high = (-reach[j], reach[j]) if told == "limits" else (None, None)
            moved = OutputTrace(times[read], output[read, j], low, high)
            trend = judge_trend(
                times[read], 80.0 + np.round(noisy, 1), 80.0,
                output=None if told == "nothing" else moved,
            )  # fmt: skip
            half = 0.5 * float(loops.second_lag[j])
            plant = Plant(
                known[0, j], known[1, j] * (loops.dead_time[j] + half),
                known[2, j] * (loops.lag[j] + half),
            )  # fmt: skip
            advice = advise_gain(
                trend,
                controller="integral-only" if only else "pi",
                transit=6.0 * float(loops.dead_time[j]),
                plant=plant if told == "plant" else None,
                history=[GainStep(0.0, one.multiplier, one.amplitude) for one in history[j]],
            )
            foreign[j] |= advice.reason == "not-the-loop"
            if advice.multiplier != 1.0:
                history[j].append(GainStep(0.0, advice.multiplier, trend.amplitude))
                now[j] *= advice.multiplier
    cuts = np.array([sum(step.multiplier < 1.0 for step in steps) for steps in history])
    kind, whose = "integral-only" if only else "PI", "its own" if own else "a load's"
    print(
        f"{kind:14}{whose:10}told {told:8} cuts {cuts.mean():.2f}, more than one in "
        f"{np.mean(cuts > 1):.2f}, gain left {np.exp(np.mean(np.log(now / share))):.2f}, ends "
        f"above 0.8 of the ultimate in {np.mean(now > 0.8):.2f}, called not the loop's in "
        f"{foreign.mean():.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--loops", type=int, default=40)
    given = parser.parse_args()
    for only in (False, True):
        for own in (False, True):
            for told in TOLD:
                show(given.loops, told, own=own, only=only)


if __name__ == "__main__":
    main()
