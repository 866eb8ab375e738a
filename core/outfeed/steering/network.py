"""A small network that reads the outline of a trace beside the evidence on it.

Rows of filters slide over the outline of a trace, each a step coarser than the one before; what
they find and the evidence then go through two layers to a score for every word [1]_. A trace and
its mirror mean the same, so both are read and their scores averaged. The weights were learned on
simulated control loops (`tests/benchmarks/fit_network.py`) and stand in `verdict_network.npz`.

References
----------
.. [1] Wang, Z., Yan, W. and Oates, T. (2017). Time series classification from scratch with deep
   neural networks: a strong baseline. International Joint Conference on Neural Networks, 1578-1585.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from io import BytesIO

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import RECALLED, Method
from outfeed.steering.outline import Outline

FARTHEST = 5.0  # spreads from the mean of the evidence beyond which more says no more; chosen
STRIDE = 2  # points that a row of filters moves on
WHOLE_ROWS, CLOSE_ROWS, DENSE = 4, 3, 3  # rows of filters over each look, and layers behind them

METHODS = (
    Method(
        "steering.network",
        "Score of each word from the outline of a trace",
        "convolutional network for time series (Wang, Yan and Oates 2017, IJCNN, 1578-1585), "
        "fitted to simulated loops of known poles",
        RECALLED,
        note="Weights are our own; what they reach is printed by the bench.",
    ),
)


@dataclass(frozen=True, slots=True)
class Layer:
    """Weights and constants of one row of filters, or of one layer.

    Attributes
    ----------
    weights : ndarray
        Shape (filters, channels, width), or (out, in) [-].
    constants : ndarray
        One a filter or an output [-].
    """

    weights: FloatArray
    constants: FloatArray


@dataclass(frozen=True, slots=True)
class Network:
    """All that was learned.

    Attributes
    ----------
    names : tuple of str
        Evidence it asks for, in its order.
    mean, spread : ndarray
        Of the evidence on the traces it learned from [-].
    shares : ndarray
        What the score of the trees, and its own, count for in the verdict [-].
    whole, close, dense : tuple of Layer
        Rows over the two looks, and the layers behind.
    """

    names: tuple[str, ...]
    mean: FloatArray
    spread: FloatArray
    shares: FloatArray
    whole: tuple[Layer, ...]
    close: tuple[Layer, ...]
    dense: tuple[Layer, ...]


@lru_cache(maxsize=1)
def fitted_network() -> Network:
    """The network that comes with the library, read once.

    Returns
    -------
    Network
        Its weights.
    """
    packed = files("outfeed.steering").joinpath("verdict_network.npz").read_bytes()
    with np.load(BytesIO(packed), allow_pickle=False) as stored:
        numbers = {name: stored[name] for name in stored.files}

    def layers(part: str, count: int) -> tuple[Layer, ...]:
        return tuple(
            Layer(
                numbers[f"{part} {k} weights"].astype(np.float64),
                numbers[f"{part} {k} constants"].astype(np.float64),
            )
            for k in range(count)
        )

    return Network(
        names=tuple(str(name) for name in numbers["names"]),
        mean=numbers["mean"].astype(np.float64),
        spread=numbers["spread"].astype(np.float64),
        shares=numbers["shares"].astype(np.float64),
        whole=layers("whole", WHOLE_ROWS),
        close=layers("close", CLOSE_ROWS),
        dense=layers("dense", DENSE),
    )


def score(seen: Outline, evidence: dict[str, float]) -> FloatArray:
    """Score of every word, the mean of a trace and its mirror.

    Parameters
    ----------
    seen : Outline
        From `outfeed.steering.outline.outline`.
    evidence : dict
        From `outfeed.steering.evidence.gather`.

    Returns
    -------
    ndarray
        Logarithm of a chance, in the order of the verdicts [-].
    """
    from scipy.special import log_softmax

    network = fitted_network()
    other = seen.mirrored()
    whole = _found(np.stack([seen.whole, other.whole]), network.whole)
    close = _found(np.stack([seen.close, other.close]), network.close)
    told = np.array([evidence[name] for name in network.names])
    told = np.clip((told - network.mean) / network.spread, -FARTHEST, FARTHEST)
    found = np.concatenate([whole, close, np.stack([told, told])], axis=1)
    for layer in network.dense[:-1]:
        found = np.maximum(found @ layer.weights.T + layer.constants, 0.0)
    last = network.dense[-1]
    scores = found @ last.weights.T + last.constants
    return np.asarray(log_softmax(np.mean(log_softmax(scores, axis=1), axis=0)))


def _found(looks: FloatArray, rows: tuple[Layer, ...]) -> FloatArray:
    """What the last row of filters finds, a look a row."""
    for row in rows:
        width = row.weights.shape[2]
        edge = width // 2
        beside = np.zeros((*looks.shape[:2], looks.shape[2] + 2 * edge))  # np.pad is slower
        beside[:, :, edge:-edge] = looks
        pieces = np.lib.stride_tricks.sliding_window_view(beside, width, axis=2)[:, :, ::STRIDE]
        beneath = np.moveaxis(pieces, 1, 2).reshape(len(looks), pieces.shape[2], -1)
        along = beneath @ row.weights.reshape(len(row.weights), -1).T + row.constants
        looks = np.maximum(np.moveaxis(along, 2, 1), 0.0)
    return np.asarray(looks.reshape(len(looks), -1))
