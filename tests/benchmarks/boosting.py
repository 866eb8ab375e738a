"""Small trees that mend a linear verdict, grown by gradient boosting.

Every tree asks the same question of all traces at each of its levels, so a tree of four levels
is four pieces of evidence, four thresholds and sixteen rows of corrections, one column a word.
Newton steps on the multinomial likelihood, each leaf shrunk (Friedman 2001, Annals of Statistics
29, 1189-1232; leaf weights as in Friedman, Hastie and Tibshirani 2000, ibid. 28, 337-407).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DEPTH = 4
BINS = 24
RATE = 0.12
PENALTY = 12.0
SHARE_OF_EVIDENCE = 0.35
SHARE_OF_TRACES = 0.5


@dataclass(frozen=True)
class Tree:
    """Evidence asked, thresholds and leaves."""

    asked: tuple[int, ...]
    thresholds: tuple[float, ...]
    leaves: Array  # 2**depth by words

    def place(self, x: Array) -> NDArray[np.int64]:
        """Leaf of each row."""
        at = np.zeros(x.shape[0], dtype=np.int64)
        for level, (column, threshold) in enumerate(zip(self.asked, self.thresholds, strict=True)):
            at += (x[:, column] > threshold).astype(np.int64) << level
        return at


def softmax(score: Array) -> Array:
    """Chances from scores, a row at a time."""
    chance = np.exp(score - score.max(axis=1, keepdims=True))
    return np.asarray(chance / chance.sum(axis=1, keepdims=True))


def grow(x: Array, truth: NDArray[np.int64], start: Array, trees: int) -> list[Tree]:
    """Grow trees on what the starting scores leave."""
    rng = np.random.default_rng(3)
    words = start.shape[1]
    target = np.eye(words)[truth]
    edges = [np.unique(np.quantile(x[:, j], np.linspace(0, 1, BINS + 1)[1:-1]))
             for j in range(x.shape[1])]  # fmt: skip
    binned = np.stack([np.searchsorted(e, x[:, j], side="left") for j, e in enumerate(edges)])
    score, grown = start.copy(), []
    for _ in range(trees):
        chance = softmax(score)
        first = target - chance
        second = chance * (1.0 - chance)
        rows = np.flatnonzero(rng.random(truth.size) < SHARE_OF_TRACES)
        columns = rng.permutation(x.shape[1])[: int(SHARE_OF_EVIDENCE * x.shape[1])]
        asked, thresholds, at = [], [], np.zeros(rows.size, dtype=np.int64)
        for level in range(DEPTH):
            column, cut = _best(binned[:, rows], at, first[rows], second[rows], columns, edges)
            asked.append(column)
            thresholds.append(float(edges[column][cut]))
            at += (binned[column, rows] > cut).astype(np.int64) << level
        leaves = _leaves(at, first[rows], second[rows])
        tree = Tree(tuple(asked), tuple(thresholds), leaves)
        score += tree.leaves[tree.place(x)]
        grown.append(tree)
    return grown


def _best(binned, at, first, second, columns, edges):  # type: ignore[no-untyped-def]
    """The question that gains most over all present leaves."""
    leaves = int(at.max()) + 1
    best, answer = -np.inf, (0, 0)
    both = np.ascontiguousarray(np.concatenate([first, second], axis=1).T)
    words = first.shape[1]
    for column in columns:
        if edges[column].size == 0:
            continue
        slot = at * (BINS + 1) + binned[column]
        sums = np.stack([np.bincount(slot, part, leaves * (BINS + 1)) for part in both])
        sums = sums.reshape(2 * words, leaves, BINS + 1).cumsum(axis=2)
        g, h = sums[:words], sums[words:]
        right_g, right_h = g[:, :, -1:] - g, h[:, :, -1:] - h
        gain = (g**2 / (h + PENALTY) + right_g**2 / (right_h + PENALTY)).sum(axis=(0, 1))
        cut = int(np.argmax(gain[: edges[column].size]))
        if gain[cut] > best:
            best, answer = float(gain[cut]), (int(column), cut)
    return answer


def _leaves(at, first, second):  # type: ignore[no-untyped-def]
    size = 2**DEPTH
    g = np.stack([np.bincount(at, part, size) for part in first.T], axis=1)
    h = np.stack([np.bincount(at, part, size) for part in second.T], axis=1)
    step = RATE * g / (h + PENALTY)
    return step - step.mean(axis=1, keepdims=True)
