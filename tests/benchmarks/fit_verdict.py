"""Fit the weights and trees of the verdict to simulated loops and write them into the library.

    python tests/benchmarks/fit_verdict.py --traces 72000

A third of the traces comes from each of the three sets of loops. Random numbers start at 40000
here; the bench tests on starts from 9000, so no trace is in both. Every tenth trace is kept from
the trees and sets how sure the words are: trees that have seen a trace are too sure of it.
"""

from __future__ import annotations

import argparse
import csv
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from boosting import DEPTH, Tree, grow, softmax
from even_loops import even_cases
from loops import Case, cases
from plain_loops import plain_cases
from scipy.optimize import minimize, minimize_scalar

from outfeed.steering.clean import clean_trace
from outfeed.steering.evidence import gather
from outfeed.steering.measure import measure
from outfeed.steering.trend import OutputTrace, TrendLimits, _seen
from outfeed.steering.verdict import FEWEST_READINGS as FEWEST
from outfeed.steering.verdict import IMPOSSIBLE_SHARE, SHORTEST_S, VERDICTS

FIRST_START = 40_000
BATCH = 200
SETS = {"loops": cases, "plain": plain_cases, "even": even_cases}
TREES = 800
KEPT = 10  # every so many traces are kept from the trees
PENALTY = 8.0  # on the squared standardised weights
FOLDER = Path(__file__).parents[2] / "core/outfeed/steering"
LIMITS = TrendLimits.from_sensitivity()


def evidence_of(case: Case) -> dict[str, float] | None:
    """Evidence on one simulated trace; None where plain facts decide."""
    if case.facts.get("judged", case.facts["span"]) < SHORTEST_S:
        return None
    clean = clean_trace(case.times, case.values, case.setpoint)
    seen = clean.times.size + clean.spikes + clean.impossible
    if clean.times.size < FEWEST or clean.impossible > IMPOSSIBLE_SHARE * seen:
        return None
    output = None
    if case.rate is not None:
        low, high = case.rate_limits or (None, None)
        output = _seen(OutputTrace(case.times, case.rate, low, high), clean)
    return gather(measure(clean, output), LIMITS.slope, LIMITS.offset)


def batch(job: tuple[str, int]) -> list[tuple[str, dict[str, float]]]:
    """Truth and evidence of one batch, those left out that plain facts decide."""
    generator, start = job
    found = [(case.truth, evidence_of(case)) for case in SETS[generator](start, BATCH)]
    return [(truth, evidence) for truth, evidence in found if evidence is not None]


def fit(
    evidence: np.ndarray, truth: np.ndarray, penalty: float = PENALTY
) -> tuple[np.ndarray, ...]:
    """Middle, scale, weights and constants of a penalised multinomial logistic regression."""
    middle, scale = evidence.mean(axis=0), np.maximum(evidence.std(axis=0), 1e-6)
    x = np.column_stack([np.clip((evidence - middle) / scale, -4, 4), np.ones(len(truth))])
    target = np.eye(len(VERDICTS))[truth]
    shape = (x.shape[1], len(VERDICTS))

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights = flat.reshape(shape)
        score = x @ weights
        chance = softmax(score)
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


def standard(evidence: np.ndarray, middle: np.ndarray, scale: np.ndarray) -> np.ndarray:
    """Evidence as the verdict sees it."""
    return np.asarray(np.clip((evidence - middle) / scale, -4.0, 4.0))


def sureness(score: np.ndarray, truth: np.ndarray) -> float:
    """Factor on all scores at which traces that nobody learned from are likeliest."""
    row = np.arange(truth.size)

    def loss(factor: float) -> float:
        return -float(np.mean(np.log(softmax(factor * score)[row, truth] + 1e-300)))

    return float(minimize_scalar(loss, bounds=(0.4, 1.5), method="bounded").x)


def write(names: list[str], fitted: tuple[np.ndarray, ...], traces: int) -> None:
    """The weights as a table that can be read and compared."""
    middle, scale, weights, start = fitted
    with (FOLDER / "verdict_weights.csv").open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(f"# Fitted to {traces} simulated traces by tests/benchmarks/fit_verdict.py\n")
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(["evidence", "middle", "scale", *VERDICTS])
        table.writerow(["(start)", 0, 1, *(f"{value:.4f}" for value in start)])
        for name, m, s, row in zip(names, middle, scale, weights, strict=True):
            table.writerow([name, f"{m:.5g}", f"{s:.5g}", *(f"{value:.4f}" for value in row)])


def write_trees(names: list[str], trees: list[Tree]) -> None:
    """One row a tree: what it asks, at which standardised value, and its corrections by leaf."""
    with (FOLDER / "verdict_trees.csv").open("w", encoding="utf-8", newline="\n") as stream:
        stream.write("# Grown by tests/benchmarks/fit_verdict.py; leaf k has bit j set where the\n")
        stream.write(
            "# answer to question j is yes (above the value), a column a word in each, in\n"
        )
        stream.write("# thousandths.\n")
        table = csv.writer(stream, lineterminator="\n")
        asked = [f"question {level + 1}" for level in range(DEPTH)]
        above = [f"above {level + 1}" for level in range(DEPTH)]
        leaves = [f"{leaf} {word}" for leaf in range(2**DEPTH) for word in VERDICTS]
        table.writerow([*asked, *above, *leaves])
        for tree in trees:
            table.writerow(
                [
                    *(names[column] for column in tree.asked),
                    *(f"{value:.4f}" for value in tree.thresholds),
                    *(round(1000.0 * value) for value in tree.leaves.ravel()),
                ]
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=72_000)
    parser.add_argument("--trees", type=int, default=TREES)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    starts = range(FIRST_START, FIRST_START + asked.traces // BATCH // len(SETS))
    jobs = [(generator, start) for start in starts for generator in SETS]
    with ProcessPoolExecutor(asked.workers) as pool:
        rows = [row for part in pool.map(batch, jobs) for row in part]
    learn(rows, asked.trees)


def learn(rows: list[tuple[str, dict[str, float]]], trees: int) -> None:
    """Fit to truth and evidence, and write both tables."""
    names = list(rows[0][1])
    evidence = np.array([[found[name] for name in names] for _, found in rows])
    truth = np.array([VERDICTS.index(word) for word, _ in rows])
    seen = np.arange(truth.size) % KEPT != 0
    middle, scale, weights, start = fit(evidence[seen], truth[seen])
    x = standard(evidence, middle, scale)
    grown = grow(x[seen], truth[seen], x[seen] @ weights + start, trees)
    score = x[~seen] @ weights + start + sum(tree.leaves[tree.place(x[~seen])] for tree in grown)
    sure = sureness(score, truth[~seen])
    write(names, (middle, scale, sure * weights, sure * start), len(rows))
    write_trees(names, [Tree(t.asked, t.thresholds, sure * t.leaves) for t in grown])
    print(f"{len(rows)} traces, {trees} trees, sureness {sure:.3f}: written to {FOLDER.name}")


if __name__ == "__main__":
    main()
