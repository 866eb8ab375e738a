"""Bench of the fit: how long it takes, how well it finds factors and predicts, and its bands.

    python tests/benchmarks/bench_fit.py --dryers 60

Dryers are invented: factors drawn, runs of a season noted with moistures off by 0.3 point, rates by
5 % and temperatures by 1 degC. The dryer's own law of drying is the fit's default or another. The
truth is the outlet at exactly known inputs; the reading is the meter's, for inputs as noted. Under
a law that is not the dryer's own its true rate factor is the one that comes closest to its true
outlets at its true airflow, by least squares. Times are of the processor.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from column_dryers import tower
from fit_runs import (
    DIFFUSION,
    PAGE,
    THOMPSON,
    model_of,
    nominal_rate,
    noted,
    true_runs,
    with_sensors,
)
from fit_study import covered, dryers, rms, study
from outfeed.dryer.fit import fit_dryer

TOWER = with_sensors(tower())
SMALL = with_sensors(tower(layers=6, cooling=4))


def timing(repeats: int) -> None:
    """Twenty runs of the 60-bed column."""
    for law in (DIFFUSION, THOMPSON):
        model = model_of(law, 1.3 if law == DIFFUSION else 1.0, 0.9)
        draw = np.random.default_rng(1)
        runs = noted(draw, true_runs(draw, TOWER, model, 20, nominal_rate(TOWER, model)))
        times = []
        for _ in range(repeats):
            start = time.process_time()
            fit_dryer(TOWER, runs)
            times.append(time.process_time() - start)
        print(f"20 runs, 60 beds, made with {law:42} {median(times):6.2f} s  target 1 s")


TRUTHS = (
    ("diffusion", DIFFUSION, None),
    ("Thompson", THOMPSON, None),
    ("Page", PAGE, None),
    ("30 kJ/mol", DIFFUSION, 30e3),
    ("16 kJ/mol", DIFFUSION, 16e3),
)


def quality(count: int, seed: int) -> None:
    """Ten runs of many dryers; the last two truths are laws that none of those fitted is."""
    print("true law, sensors | rate factor: rms, within 5 %, band | airflow: rms, band | outlet")
    for sensors in (True, False):
        for name, law, energy in TRUTHS:
            made = dryers(law, count, 10, 10, SMALL, seed=seed, sensors=sensors, energy=energy)
            result = study(SMALL, made)
            own = result.law == law
            print(
                f"{name:9} {'yes' if sensors else 'no':3} | "
                f"{rms(result.factor):.3f} {np.mean(np.abs(result.factor) < 0.05):.2f} "
                f"{covered(result.factor, result.factor_spread):.2f} | "
                f"{rms(result.airflow):.3f} {covered(result.airflow, result.airflow_spread):.2f} | "
                f"off {100 * rms(result.truth):.3f} (stated {100 * rms(result.truth_spread):.3f}), "
                f"band of truth {covered(result.truth, result.truth_spread):.3f}, "
                f"of reading {covered(result.reading, result.reading_spread):.3f}; "
                f"law taken in {np.mean(own):.2f}",
                flush=True,
            )


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--dryers", type=int, default=40)
    parser.add_argument("--seed", type=int, default=11, help="start of the random numbers")
    parser.add_argument("--repeats", type=int, default=3)
    given = parser.parse_args()
    timing(given.repeats)
    quality(given.dryers, given.seed)


if __name__ == "__main__":
    main()
