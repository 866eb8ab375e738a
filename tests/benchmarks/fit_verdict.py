"""Grow the trees of the verdict on simulated loops and write them into the library.

    python -m pip install catboost==1.2.10
    python tests/benchmarks/fit_verdict.py

CatBoost grows them: its trees ask one question a level, so a row of the table is a tree. Nothing
else here needs it, and the library reads the table without it.

A third of the traces comes from each of the three sets of loops. Random numbers start at 40000
here; the bench tests on starts from 9000, so no trace is in both. Every tenth trace is kept from
the trees and sets how sure the words are: trees that have seen a trace are too sure of it.
"""

from __future__ import annotations

import argparse
import csv
import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from catboost import CatBoostClassifier  # type: ignore[import-not-found,unused-ignore]
from even_loops import even_cases
from loops import Case, cases
from plain_loops import plain_cases
from scipy.optimize import minimize_scalar
from scipy.special import log_softmax

from outfeed.steering.clean import clean_trace
from outfeed.steering.evidence import gather
from outfeed.steering.measure import measure
from outfeed.steering.output import OutputTrace, output_seen
from outfeed.steering.trend import TrendLimits
from outfeed.steering.verdict import FEWEST_READINGS as FEWEST
from outfeed.steering.verdict import IMPOSSIBLE_SHARE, LEAF_UNIT, SHORTEST_S, TREE_LEVELS, VERDICTS

FIRST_START = 40_000
BATCH = 200
SETS = {"loops": cases, "plain": plain_cases, "even": even_cases}
TRACES, TREES = 558_600, 1400
KEPT = 10  # every so many traces are kept from the trees
FOLDER = Path(__file__).parents[2] / "core/outfeed/steering"
LIMITS = TrendLimits.from_sensitivity()


def evidence_of(case: Case) -> dict[str, float] | None:
    """Evidence on one simulated trace; None where plain facts decide."""
    if case.judged < SHORTEST_S:
        return None
    clean = clean_trace(case.times, case.values, case.setpoint)
    seen = clean.times.size + clean.spikes + clean.impossible
    if clean.times.size < FEWEST or clean.impossible > IMPOSSIBLE_SHARE * seen:
        return None
    output = None
    if case.rate is not None:
        low, high = case.rate_limits or (None, None)
        output = output_seen(OutputTrace(case.times, case.rate, low, high), clean)
    return gather(measure(clean, output), LIMITS.slope, LIMITS.offset)


def batch(job: tuple[str, int]) -> list[tuple[str, dict[str, float]]]:
    """Truth and evidence of one batch, those left out that plain facts decide."""
    generator, start = job
    found = [(case.truth, evidence_of(case)) for case in SETS[generator](start, BATCH)]
    return [(truth, evidence) for truth, evidence in found if evidence is not None]


@dataclass(frozen=True)
class Grown:
    """Trees: place and threshold of what each asks a level, and scores by tree, leaf and word."""

    asked: np.ndarray
    thresholds: np.ndarray
    leaves: np.ndarray

    def score(self, evidence: np.ndarray) -> np.ndarray:
        """Score of every word, a trace a row."""
        total = np.zeros((len(evidence), len(VERDICTS)))
        bit = 1 << np.arange(TREE_LEVELS)
        for asked, above, leaves in zip(self.asked, self.thresholds, self.leaves, strict=True):
            total += leaves[(evidence[:, asked] > above) @ bit]
        return total


def grow(evidence: np.ndarray, truth: np.ndarray, trees: int, threads: int) -> Grown:
    """Boosted trees of a multinomial likelihood, the constants in the leaves of the first."""
    model = CatBoostClassifier(
        loss_function="MultiClass", iterations=trees, depth=TREE_LEVELS, learning_rate=0.12,
        l2_leaf_reg=6.0, rsm=0.35, bootstrap_type="MVS", subsample=0.6, border_count=64,
        boosting_type="Plain", leaf_estimation_iterations=1, random_seed=3, thread_count=threads,
        verbose=100, allow_writing_files=False,
    )  # fmt: skip
    model.fit(evidence, truth)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "trees.json"
        model.save_model(path, format="json")
        told = json.loads(path.read_text("utf-8"))
    grown = [_levelled(tree) for tree in told["oblivious_trees"]]
    asked, thresholds, leaves = (np.array(part) for part in zip(*grown, strict=True))
    leaves[0] += told["scale_and_bias"][1]
    return Grown(asked, thresholds, leaves - leaves.mean(axis=2, keepdims=True))


def _levelled(tree: dict[str, list[Any]]) -> tuple[list[int], list[float], np.ndarray]:
    """Questions, thresholds and scores of a tree; a shallow one asks its first question again."""
    splits = tree["splits"]
    leaves = np.array(tree["leaf_values"]).reshape(-1, len(VERDICTS))
    for _ in range(TREE_LEVELS - len(splits)):
        splits, leaves = [*splits, splits[0]], np.tile(leaves, (2, 1))
    return (
        [split["float_feature_index"] for split in splits],
        [split["border"] for split in splits],
        leaves,
    )


def sureness(score: np.ndarray, truth: np.ndarray) -> float:
    """Factor on all scores at which traces that nobody learned from are likeliest."""
    row = np.arange(truth.size)

    def loss(factor: float) -> float:
        return -float(np.mean(log_softmax(factor * score, axis=1)[row, truth]))

    return float(minimize_scalar(loss, bounds=(0.4, 1.5), method="bounded").x)


def write(names: list[str], trees: Grown, traces: int) -> None:
    """One row a tree: what it asks, above which value, and its scores by leaf and word."""
    with (FOLDER / "verdict_trees.csv").open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(f"# Grown on {traces} simulated traces by tests/benchmarks/fit_verdict.py.\n")
        table = csv.writer(stream, lineterminator="\n")
        asked = [f"question {level + 1}" for level in range(TREE_LEVELS)]
        above = [f"above {level + 1}" for level in range(TREE_LEVELS)]
        leaves = [f"{leaf} {word}" for leaf in range(2**TREE_LEVELS) for word in VERDICTS]
        table.writerow([*asked, *above, *leaves])
        scores = np.rint(trees.leaves / LEAF_UNIT).astype(int).reshape(len(trees.leaves), -1)
        for places, values, row in zip(trees.asked, trees.thresholds, scores, strict=True):
            questions = [names[place] for place in places]
            table.writerow([*questions, *(f"{value:.6g}" for value in values), *row.tolist()])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=TRACES)
    parser.add_argument("--trees", type=int, default=TREES)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    starts = range(FIRST_START, FIRST_START + asked.traces // BATCH // len(SETS))
    jobs = [(generator, start) for start in starts for generator in SETS]
    with ProcessPoolExecutor(asked.workers) as pool:
        rows = [row for part in pool.map(batch, jobs) for row in part]
    names = list(rows[0][1])
    evidence = np.array([[found[name] for name in names] for _, found in rows])
    truth = np.array([VERDICTS.index(word) for word, _ in rows])
    learn(names, evidence, truth, asked.trees, asked.workers)


def learn(
    names: list[str], evidence: np.ndarray, truth: np.ndarray, trees: int, threads: int
) -> None:
    """Grow the trees, see how sure they may be, and write them."""
    seen = np.arange(truth.size) % KEPT != 0
    grown = grow(evidence[seen], truth[seen], trees, threads)
    sure = sureness(grown.score(evidence[~seen]), truth[~seen])
    write(names, Grown(grown.asked, grown.thresholds, sure * grown.leaves), truth.size)
    print(f"{truth.size} traces, {trees} trees, sureness {sure:.3f}: written to {FOLDER.name}")


if __name__ == "__main__":
    main()
