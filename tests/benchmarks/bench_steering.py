"""Bench of everything that judges and steers: trend, gain and seasons in one run.

    ./task bench steering                       the full run: 2,000 traces, 200 seasons
    python tests/benchmarks/bench_steering.py --traces 400 --loops 20 --seasons 20 --days 3

Prints the confusion matrix of the verdicts against the true behaviour of simulated loops, each
published single method on the same traces, how repeated gain advice ends, and the table of
simulated seasons steered by nobody, by naive rules and by Outfeed.
"""

from __future__ import annotations

import argparse

import bench_setpoint
import bench_trend


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--traces", type=int, default=2000, help="judged traces")
    parser.add_argument("--loops", type=int, default=60, help="loops a row of the gain table")
    parser.add_argument("--seasons", type=int, default=200, help="steered seasons")
    parser.add_argument("--days", type=float, default=5.0, help="days of a season")
    asked = parser.parse_args()
    print(f"-- trend and gain: {asked.traces} traces, {asked.loops} loops a row")
    bench_trend.run(asked.traces, asked.loops)
    print("\n-- seasons")
    bench_setpoint.main(asked.seasons, asked.days)


if __name__ == "__main__":
    main()
