"""Small trees that each ask a few questions of the evidence and add to the score of every word.

They were grown once on simulated control loops whose true behaviour is known from their poles and
inputs (`tests/benchmarks/fit_trees.py`) and stand in `verdict_trees.csv`, one row a tree.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import FloatArray
from outfeed.methods import RECALLED, Method

TREE_LEVELS = 5
LEAF_UNIT = 1e-3  # scores stand in the table in thousandths

METHODS = (
    Method(
        "steering.trees",
        "Score of each word from the evidence of the published methods",
        "boosted trees (Friedman 2001, Annals of Statistics 29, 1189-1232), fitted to simulated "
        "loops of known poles",
        RECALLED,
        note="The trees are our own; what they reach is printed by the bench.",
    ),
)


@dataclass(frozen=True, slots=True)
class Trees:
    """The fitted trees, each of which asks the same questions of every trace.

    Attributes
    ----------
    names : tuple of str
        Evidence that any of them asks for.
    asked, thresholds : ndarray
        Place in `names`, and the value it must exceed, of each tree at each of its levels, shape
        (trees, levels).
    leaves : ndarray
        Scores, shape (trees, 2**levels, words) [-]; leaf k has bit j set where the answer to
        question j is yes.
    """

    names: tuple[str, ...]
    asked: NDArray[np.int64]
    thresholds: FloatArray
    leaves: FloatArray


@lru_cache(maxsize=1)
def fitted_trees() -> Trees:
    """The trees that come with the library, read once.

    Returns
    -------
    Trees
        Questions and scores.
    """
    text = files("outfeed.steering").joinpath("verdict_trees.csv").read_text("utf-8")
    rows = [row for row in csv.reader(text.splitlines()) if not row[0].startswith("#")][1:]
    names = sorted({name for row in rows for name in row[:TREE_LEVELS]})
    place = {name: index for index, name in enumerate(names)}
    numbers = np.array([row[TREE_LEVELS:] for row in rows], dtype=float)
    leaves = LEAF_UNIT * numbers[:, TREE_LEVELS:]
    return Trees(
        names=tuple(names),
        asked=np.array([[place[name] for name in row[:TREE_LEVELS]] for row in rows]),
        thresholds=numbers[:, :TREE_LEVELS],
        leaves=leaves.reshape(len(rows), 2**TREE_LEVELS, -1),
    )


def score(evidence: dict[str, float]) -> FloatArray:
    """Score of every word.

    Parameters
    ----------
    evidence : dict
        From `outfeed.steering.evidence.gather`.

    Returns
    -------
    ndarray
        Logarithm of a chance, in the order of the verdicts [-].
    """
    from scipy.special import log_softmax

    trees = fitted_trees()
    found = np.array([evidence[name] for name in trees.names])
    answers = found[trees.asked] > trees.thresholds
    leaf = answers @ (1 << np.arange(TREE_LEVELS))
    scores = trees.leaves[np.arange(leaf.size), leaf].sum(axis=0)
    return np.asarray(log_softmax(scores))
