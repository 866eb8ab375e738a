"""Fit the weights of the verdict to simulated loops and write them into the library.

    python tests/benchmarks/fit_verdict.py --traces 16000

Random numbers start at 200 here; the bench tests on starts from 9000, so no trace is in both.
"""

from __future__ import annotations

import argparse
import csv
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from loops import Case, cases
from scipy.optimize import minimize

from outfeed.steering.clean import clean_trace
from outfeed.steering.evidence import gather
from outfeed.steering.measure import measure
from outfeed.steering.trend import OutputTrace, TrendLimits, _seen
from outfeed.steering.verdict import WEIGHED

FIRST_START = 200
BATCH = 400
PENALTY = 8.0  # on the squared standardised weights
TARGET = Path(__file__).parents[2] / "core/outfeed/steering/verdict_weights.csv"
LIMITS = TrendLimits.from_sensitivity()


def evidence_of(case: Case) -> dict[str, float]:
    """Evidence on one simulated trace."""
    clean = clean_trace(case.times, case.values, case.setpoint)
    output = None
    if case.rate is not None:
        low, high = case.rate_limits or (None, None)
        output = _seen(OutputTrace(case.times, case.rate, low, high), clean)
    return gather(measure(clean, output), LIMITS.slope, LIMITS.offset)


def batch(start: int) -> list[tuple[str, dict[str, float]]]:
    """Truth and evidence of one batch, those left out that plain facts decide."""
    return [
        (case.truth, evidence_of(case))
        for case in cases(start, BATCH)
        if case.truth in WEIGHED and case.facts["span"] >= 1200.0
    ]


def fit(
    evidence: np.ndarray, truth: np.ndarray, penalty: float = PENALTY
) -> tuple[np.ndarray, ...]:
    """Middle, scale, weights and constants of a penalised multinomial logistic regression."""
    middle, scale = evidence.mean(axis=0), np.maximum(evidence.std(axis=0), 1e-6)
    x = np.column_stack([np.clip((evidence - middle) / scale, -4, 4), np.ones(len(truth))])
    target = np.eye(len(WEIGHED))[truth]
    shape = (x.shape[1], len(WEIGHED))

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights = flat.reshape(shape)
        score = x @ weights
        score -= score.max(axis=1, keepdims=True)
        chance = np.exp(score)
        chance /= chance.sum(axis=1, keepdims=True)
        held = weights.copy()
        held[-1] = 0.0
        value = -np.sum(np.log(chance[np.arange(len(truth)), truth] + 1e-300))
        value += 0.5 * penalty * np.sum(held**2)
        return float(value), (x.T @ (chance - target) + penalty * held).ravel()

    best = minimize(loss, np.zeros(shape).ravel(), jac=True, method="L-BFGS-B",
                    options={"maxiter": 800, "maxfun": 1000})  # fmt: skip
    weights = best.x.reshape(shape)
    weights -= weights.mean(axis=1, keepdims=True)
    return middle, scale, weights[:-1], weights[-1]


def write(names: list[str], fitted: tuple[np.ndarray, ...], traces: int) -> None:
    """The weights as a table that can be read and compared."""
    middle, scale, weights, start = fitted
    with TARGET.open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(f"# Fitted to {traces} simulated traces by tests/benchmarks/fit_verdict.py\n")
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(["evidence", "middle", "scale", *WEIGHED])
        table.writerow(["(start)", 0, 1, *(f"{value:.4f}" for value in start)])
        for name, m, s, row in zip(names, middle, scale, weights, strict=True):
            table.writerow([name, f"{m:.5g}", f"{s:.5g}", *(f"{value:.4f}" for value in row)])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=16_000)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    starts = range(FIRST_START, FIRST_START + asked.traces // BATCH)
    with ProcessPoolExecutor(asked.workers) as pool:
        rows = [row for part in pool.map(batch, starts) for row in part]
    names = list(rows[0][1])
    evidence = np.array([[found[name] for name in names] for _, found in rows])
    truth = np.array([WEIGHED.index(word) for word, _ in rows])
    write(names, fit(evidence, truth), len(rows))
    print(f"{len(rows)} traces, weights written to {TARGET.name}")


if __name__ == "__main__":
    main()
