"""From evidence to a word, with the probability of each word.

The probabilities are those of a multinomial logistic regression on the evidence. Its weights were
fitted once to simulated control loops whose true behaviour is known from their poles and inputs
(`tests/benchmarks/fit_verdict.py`); they stand in `verdict_weights.csv`, one row a piece of
evidence. A few plain facts come before it (a sensor that stopped, a trace of ten minutes), and
one rule after it: *level* is the one word that makes people stop looking, so it needs more than
being the likeliest.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import DERIVED, Method
from outfeed.steering.evidence import SHORTEST_S, gather
from outfeed.steering.measure import Measured

VERDICTS = (
    "level",
    "drifting",
    "calming",
    "cycling",
    "growing",
    "stuck",
    "disturbed",
    "too-short",
    "sensor-fault",
)
WEIGHED = VERDICTS[:-1]  # a sensor fault is a finding of cleaning, not of weighing

FEWEST_READINGS = 10
FROZEN_SHARE = 0.1  # of the trace, at its end
FROZEN_ANYWHERE = 0.4
IMPOSSIBLE_SHARE = 0.3
SURE = 0.99  # probability given to a plain fact
LEAST_LEVEL = 0.7  # probability below which a trace is not called level
# Probability of a swing above which it is not. Small, for a missed swing costs more than another
# look; on simulated loops about half of what is likeliest level and lies above it does swing.
MOST_SWING = 0.1
WIDEST_LEVEL = 2.6  # smoothed range over the limit at which nothing is level: +-1.3 of it

METHODS = (
    Method(
        "steering.verdict",
        "Word for a trend, with the probability of each",
        "multinomial logistic regression on the evidence of the published methods, fitted to "
        "simulated loops of known poles",
        DERIVED,
        note="Confusion matrix and calibration are printed by the bench.",
    ),
)


@dataclass(frozen=True, slots=True)
class Weights:
    """The fitted weights.

    Attributes
    ----------
    names : tuple of str
        Evidence, in order.
    middle, scale : ndarray
        Mean and spread of each piece of evidence in the fit [-].
    weights : ndarray
        One row a piece of evidence, one column a word [-].
    start : ndarray
        Constant of each word [-].
    """

    names: tuple[str, ...]
    middle: FloatArray
    scale: FloatArray
    weights: FloatArray
    start: FloatArray


@lru_cache(maxsize=1)
def fitted_weights() -> Weights:
    """The weights that come with the library, read once.

    Returns
    -------
    Weights
        Names, standardisation and weights.
    """
    text = files("outfeed.steering").joinpath("verdict_weights.csv").read_text("utf-8")
    rows = [row for row in csv.reader(text.splitlines()) if row and not row[0].startswith("#")]
    numbers = np.array([[float(cell) for cell in row[1:]] for row in rows[1:]])
    names = tuple(row[0] for row in rows[1:])
    return Weights(names[1:], numbers[1:, 0], numbers[1:, 1], numbers[1:, 2:], numbers[0, 2:])


def weigh(evidence: dict[str, float]) -> FloatArray:
    """Probability of each weighed word.

    Parameters
    ----------
    evidence : dict
        From `outfeed.steering.evidence.gather`.

    Returns
    -------
    ndarray
        In the order of `WEIGHED`, adding up to one [-].
    """
    fit = fitted_weights()
    found = np.array([evidence[name] for name in fit.names])
    # Evidence far outside what the fit has seen must not run away with the verdict.
    standard = np.clip((found - fit.middle) / fit.scale, -4.0, 4.0)
    score = standard @ fit.weights + fit.start
    chance = np.exp(score - np.max(score))
    return np.asarray(chance / np.sum(chance))


def judge(
    measured: Measured, impossible_share: float, slope_limit: float, offset_limit: float
) -> tuple[str, dict[str, float]]:
    """The word for a trace and the probability of every word.

    Parameters
    ----------
    measured : Measured
        The numbers.
    impossible_share : float
        Share of the readings that no sensor can give [-].
    slope_limit : float
        Largest slope that counts as level [K/h].
    offset_limit : float
        Largest offset and half swing that count as level [K].

    Returns
    -------
    tuple
        The word, and a dict from word to probability [-].
    """
    frozen = measured.frozen_at_end and measured.frozen_share > FROZEN_SHARE
    if frozen or measured.frozen_share > FROZEN_ANYWHERE or impossible_share > IMPOSSIBLE_SHARE:
        return _plain("sensor-fault")
    if measured.span < SHORTEST_S or measured.readings < FEWEST_READINGS:
        return _plain("too-short")
    chances = weigh(gather(measured, slope_limit, offset_limit)) * SURE
    probabilities = dict(zip(WEIGHED, chances.tolist(), strict=True))
    probabilities["sensor-fault"] = 1.0 - SURE
    return _chosen(probabilities, measured, offset_limit), probabilities


def _plain(verdict: str) -> tuple[str, dict[str, float]]:
    rest = (1.0 - SURE) / (len(VERDICTS) - 1)
    return verdict, dict.fromkeys(VERDICTS, rest) | {verdict: SURE}


def _chosen(probabilities: dict[str, float], measured: Measured, limit: float) -> str:
    best = max(WEIGHED, key=probabilities.__getitem__)
    if best != "level":
        return best
    swinging = probabilities["growing"] + probabilities["cycling"]
    wide = float(np.ptp(measured.smooth)) > WIDEST_LEVEL * limit
    if probabilities["level"] >= LEAST_LEVEL and swinging <= MOST_SWING and not wide:
        return best
    if swinging > MOST_SWING:
        return max(("growing", "cycling"), key=probabilities.__getitem__)
    return max(WEIGHED[1:], key=probabilities.__getitem__)
