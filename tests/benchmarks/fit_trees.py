"""Grow the trees of the verdict on simulated loops and write them into the library.

    python -m pip install catboost==1.2.10
    python tests/benchmarks/fit_trees.py

CatBoost grows them: its trees ask one question a level, so a row of the table is a tree. Nothing
else here needs it, and the library reads the table without it.

Every tenth trace is kept from the trees and sets how sure their words are: trees that have seen a
trace are too sure of it. Teach the network after them: it weighs them anew.
"""

from __future__ import annotations

import argparse
import csv
import json
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from catboost import CatBoostClassifier  # type: ignore[import-not-found,unused-ignore]
from lessons import BATCH, FIRST_START, SETS, evidence_on, gathered, measured_of
from scipy.optimize import minimize_scalar
from scipy.special import log_softmax

from outfeed.steering.trees import LEAF_UNIT, TREE_LEVELS
from outfeed.steering.verdict import VERDICTS

TRACES, TREES = 558_600, 1400
KEPT = 10  # every so many traces are kept from the trees
FOLDER = Path(__file__).parents[2] / "core/outfeed/steering"


def batch(job: tuple[str, int]) -> list[tuple[str, dict[str, float]]]:
    """Truth and evidence of one batch, those left out that plain facts decide."""
    name, start = job
    found = [(case.truth, measured_of(case)) for case in SETS[name](start, BATCH)]
    return [(truth, evidence_on(measured)) for truth, measured in found if measured is not None]


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
        stream.write(f"# Grown on {traces} simulated traces by tests/benchmarks/fit_trees.py.\n")
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
    rows = list(gathered(batch, FIRST_START, asked.traces, asked.workers))
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
