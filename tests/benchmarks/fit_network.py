"""Teach the network of the verdict on simulated loops and write it into the library.

    python -m pip install torch==2.13.0
    python tests/benchmarks/fit_network.py

PyTorch finds the weights. Nothing else here needs it: the library reads them with NumPy.

Beside the word the network learns the noise-free numbers the word follows from (slope, offset, half
swing, decay and so on): they tell it more of each trace than a word does, and are dropped when it
is written. What its score and that of the trees then count for is found on traces that neither has
learned from.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import torch  # type: ignore[import-not-found,unused-ignore]
from lessons import (
    BATCH,
    FIRST_START,
    LIMITS,
    SETS,
    WEIGHING_START,
    evidence_on,
    gathered,
    measured_of,
)
from loops import Case
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import log_softmax
from torch import Tensor, nn
from truth import Array

from outfeed.steering import network, trees
from outfeed.steering.measure import Measured
from outfeed.steering.network import CLOSE_ROWS, FARTHEST, STRIDE, WHOLE_ROWS, fitted_network
from outfeed.steering.outline import CLOSE, WHOLE, Outline, outline
from outfeed.steering.verdict import VERDICTS

TRACES, WEIGHED, ROUNDS = 459_600, 12_000, 12
FILE = Path(__file__).parents[2] / "core/outfeed/steering/verdict_network.npz"
# Channels and widths of the rows of filters, and the layers behind them.
WHOLE_FILTERS, WHOLE_WIDTHS = (5, 32, 64, 96, 96), (7, 5, 5, 3)
CLOSE_FILTERS, CLOSE_WIDTHS = (3, 16, 32, 48), (5, 5, 3)
HIDDEN = (192, 96)
SIGNED = 3  # channels of the whole that change sign in a mirror
AT_ONCE, FASTEST, WEIGHT_DECAY = 512, 2e-3, 1e-2
BESIDE = 0.8  # weight of the noise-free numbers beside the word
DROPPED = 0.25
AVERAGED = 0.005  # of each step in the running mean of the weights


@dataclass(frozen=True)
class Lesson:
    """Traces to learn from, one a row."""

    names: list[str]
    evidence: NDArray[np.float32]
    whole: NDArray[np.float32]
    close: NDArray[np.float32]
    truth: NDArray[np.int64]
    numbers: NDArray[np.float32]  # noise-free, from `truth.Truth.numbers`


Seen = tuple[int, dict[str, float], Array, Array, Array]


def batch(job: tuple[str, int]) -> list[Seen]:
    """What the network sees of one batch of one set, those left out that plain facts decide."""
    name, start = job
    found = [(case, measured_of(case)) for case in SETS[name](start, BATCH)]
    return [_seen_of(case, measured) for case, measured in found if measured is not None]


def _seen_of(case: Case, measured: Measured) -> Seen:
    drawn = outline(measured, LIMITS.offset)
    word = VERDICTS.index(case.truth)
    return word, evidence_on(measured), drawn.whole, drawn.close, case.numbers


def lesson_of(rows: Iterable[Seen]) -> Lesson:
    """All that is learned from."""
    truth, evidence, whole, close, numbers = zip(*rows, strict=True)
    return Lesson(
        names=list(evidence[0]),
        evidence=np.array([list(found.values()) for found in evidence], np.float32),
        whole=np.array(whole, np.float32),
        close=np.array(close, np.float32),
        truth=np.array(truth),
        numbers=np.array(numbers, np.float32),
    )


class Net(nn.Module):
    """The network of `outfeed.steering.network`, with a second answer for the numbers."""

    def __init__(self, lesson: Lesson) -> None:
        super().__init__()
        self.mean = nn.Buffer(torch.tensor(lesson.evidence.mean(axis=0)))
        self.spread = nn.Buffer(torch.tensor(lesson.evidence.std(axis=0) + 1e-3))
        self.whole = _rows(WHOLE_FILTERS, WHOLE_WIDTHS)
        self.close = _rows(CLOSE_FILTERS, CLOSE_WIDTHS)
        found = WHOLE_FILTERS[-1] * WHOLE // STRIDE**WHOLE_ROWS
        found += CLOSE_FILTERS[-1] * CLOSE // STRIDE**CLOSE_ROWS
        sizes = (found + lesson.evidence.shape[1], *HIDDEN)
        self.dense = nn.ModuleList(nn.Linear(*pair) for pair in pairwise(sizes))
        self.dense.append(nn.Linear(HIDDEN[-1], len(VERDICTS)))
        self.beside = nn.Linear(HIDDEN[-1], lesson.numbers.shape[1])
        self.dropped = nn.Dropout(DROPPED)

    def forward(self, whole: Tensor, close: Tensor, evidence: Tensor) -> tuple[Tensor, Tensor]:
        """Score of every word, and the noise-free numbers."""
        told = ((evidence - self.mean) / self.spread).clamp(-FARTHEST, FARTHEST)
        found = torch.cat([_find(whole, self.whole), _find(close, self.close), told], dim=1)
        for layer in self.dense[:-1]:
            found = self.dropped(torch.relu(layer(found)))
        return self.dense[-1](found), self.beside(found)


def _rows(filters: tuple[int, ...], widths: tuple[int, ...]) -> nn.ModuleList:
    rows = zip(pairwise(filters), widths, strict=True)
    return nn.ModuleList(nn.Conv1d(*pair, width, STRIDE, width // 2) for pair, width in rows)


def _find(looks: Tensor, rows: nn.ModuleList) -> Tensor:
    for row in rows:
        looks = torch.relu(row(looks))
    return looks.flatten(1)


def teach(lesson: Lesson, rounds: int) -> Net:
    """The running mean of the weights at the end of all rounds, half the traces mirrored."""
    torch.manual_seed(3)
    torch.set_num_threads(1)  # the layers are too small to share
    net = Net(lesson)
    parts = (lesson.whole, lesson.close, lesson.evidence, lesson.truth, lesson.numbers)
    tensors = [torch.from_numpy(part) for part in parts]
    batches = lesson.truth.size // AT_ONCE
    steps = rounds * batches
    optimizer = torch.optim.AdamW(net.parameters(), FASTEST, weight_decay=WEIGHT_DECAY)
    rate = torch.optim.lr_scheduler.OneCycleLR(optimizer, FASTEST, steps, pct_start=0.15)
    mean = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(1.0 - AVERAGED)
    )
    for done in range(rounds):
        total = 0.0
        for chosen in torch.randperm(lesson.truth.size)[: batches * AT_ONCE].split(AT_ONCE):
            whole, close, evidence, truth, numbers = (part[chosen] for part in tensors)
            sign = torch.where(torch.rand(AT_ONCE) < 0.5, -1.0, 1.0)[:, None, None]
            whole = torch.cat([sign * whole[:, :SIGNED], whole[:, SIGNED:]], dim=1)
            scores, found = net(whole, sign * close, evidence)
            loss = nn.functional.cross_entropy(scores, truth)
            total += float(loss.detach())
            loss = loss + BESIDE * nn.functional.smooth_l1_loss(found, numbers)
            optimizer.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            optimizer.step()
            rate.step()
            mean.update_parameters(net)
        print(f"round {done + 1} of {rounds}: {total / batches:.4f} a trace", flush=True)
    taught = mean.module
    assert isinstance(taught, Net)
    return taught


def write(names: list[str], net: Net) -> None:
    """All weights at half precision, by the names that `outfeed.steering.network` reads."""
    stored = {"names": np.array(names), "mean": net.mean.numpy(), "spread": net.spread.numpy()}
    stored["shares"] = np.array([0.5, 0.5])
    for part in ("whole", "close", "dense"):
        for k, layer in enumerate(getattr(net, part)):
            stored[f"{part} {k} weights"] = layer.weight.detach().numpy().astype(np.float16)
            stored[f"{part} {k} constants"] = layer.bias.detach().numpy().astype(np.float16)
    np.savez_compressed(FILE, **stored)


def weigh(lesson: Lesson) -> Array:
    """What the scores of trees and network count for where words nobody learned are likeliest."""
    fitted_network.cache_clear()
    scores = []
    for row, whole, close in zip(lesson.evidence, lesson.whole, lesson.close, strict=True):
        evidence = dict(zip(lesson.names, row.astype(float).tolist(), strict=True))
        look = Outline(whole.astype(float), close.astype(float))
        scores.append([trees.score(evidence), network.score(look, evidence)])
    read, at = np.array(scores), np.arange(lesson.truth.size)

    def loss(shares: Array) -> float:
        added = np.einsum("k,nkw->nw", shares, read)
        return -float(np.mean(log_softmax(added, axis=1)[at, lesson.truth]))

    found = minimize(loss, [0.5, 0.5], method="Nelder-Mead")
    print(f"{lesson.truth.size} traces weighed: {found.fun:.4f} a trace")
    with np.load(FILE) as stored:
        kept = {name: stored[name] for name in stored.files}
    np.savez_compressed(FILE, **(kept | {"shares": found.x}))
    return np.asarray(found.x)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=TRACES)
    parser.add_argument("--rounds", type=int, default=ROUNDS)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    lesson = lesson_of(gathered(batch, FIRST_START, asked.traces, asked.workers))
    write(lesson.names, teach(lesson, asked.rounds))
    shares = weigh(lesson_of(gathered(batch, WEIGHING_START, WEIGHED, asked.workers)))
    print(
        f"{lesson.truth.size} traces, {asked.rounds} rounds, shares {shares}: {FILE.name} written"
    )


if __name__ == "__main__":
    main()
