"""From evidence to a word, with the probability of each word.

The probabilities are those of a multinomial logistic regression on the evidence, mended by small
trees that see how pieces of evidence bear on each other. Both were fitted once to simulated
control loops whose true behaviour is known from their poles and inputs
(`tests/benchmarks/fit_verdict.py`); they stand in `verdict_weights.csv`, one row a piece of
evidence, and `verdict_trees.csv`, one row a tree. A few plain facts come before them (readings no
sensor can give, a trace of ten minutes), and one rule after: *level* is the one word that makes
people stop looking, so it needs more than being the likeliest.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import FloatArray
from outfeed.methods import DERIVED, Method
from outfeed.steering.evidence import SHORTEST_S, gather, recent_amplitude
from outfeed.steering.frozen import FINE_K, RESTLESS
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

# The numbers below are chosen, no source, unless one stands beside them.
FEWEST_READINGS = 10
FROZEN_END = 0.1  # of the trace, to its end
FROZEN_INSIDE = 0.4  # of the trace, though the sensor answers again
TREE_LEVELS = 4
LEAF_UNIT = 1e-3  # corrections stand in the table in thousandths
IMPOSSIBLE_SHARE = 0.3
SURE = 0.99  # probability given to a plain fact
# Chance that the sensor has stopped where a whole trace is one value, by how finely it is stated;
# chosen, no source: simulated loops hold too few such traces.
ONE_FINE, ONE_COARSE = 0.9, 0.35
# Probability below which a trace is not called level; chosen, no source. Above one half, because
# level is the word that ends the watching.
LEAST_LEVEL = 0.72
# Probability of a swing above which it is not. Small, for a missed swing costs more than another
# look; on simulated loops about half of what is likeliest level and lies above it does swing.
MOST_SWING = 0.1
# The same for a swing that grows: what is small now will not stay so; chosen, no source.
MOST_GROWTH = 0.07
# Where level is not sure enough and nothing else is as likely as this, more has to be seen first;
# chosen, no source: about one in seven.
LEAST_OTHER = 0.15
# A regular swing: share of the variance it explains, cycles, size of its logarithmic decay, and
# the share of the chance of cycling that goes to level when it is measured to lie below the limit.
REGULAR, REGULAR_CYCLES, STEADY_DECAY, MEASURED_SMALL = 0.7, 2.5, 0.2, 0.9
COARSEST = 0.6  # step of the readings over the limit
NOISE_RANGE = 3.0  # of the noise of a stretch: what it adds to the range of a window
WIDEST_UNSMOOTHED = 4.0  # the same for three-minute means: +-2 limits
WIDEST_LEVEL = 2.6  # smoothed range over the limit at which nothing is level: +-1.3 of it

METHODS = (
    Method(
        "steering.verdict",
        "Word for a trend, with the probability of each",
        "multinomial logistic regression on the evidence of the published methods, mended by "
        "boosted trees (Friedman 2001, Annals of Statistics 29, 1189-1232), fitted to simulated "
        "loops of known poles",
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
    asked, thresholds : ndarray
        Evidence and standardised threshold of each tree at each of its levels.
    leaves : ndarray
        Corrections, tree by leaf by word [-].
    """

    names: tuple[str, ...]
    middle: FloatArray
    scale: FloatArray
    weights: FloatArray
    start: FloatArray
    asked: NDArray[np.int64]
    thresholds: FloatArray
    leaves: FloatArray


@lru_cache(maxsize=1)
def fitted_weights() -> Weights:
    """The weights that come with the library, read once.

    Returns
    -------
    Weights
        Names, standardisation and weights.
    """
    rows = _table("verdict_weights.csv")
    numbers = np.array([[float(cell) for cell in row[1:]] for row in rows[1:]])
    names = tuple(row[0] for row in rows[1:])[1:]
    trees = _table("verdict_trees.csv")[1:]
    place = {name: index for index, name in enumerate(names)}
    return Weights(
        names=names,
        middle=numbers[1:, 0],
        scale=numbers[1:, 1],
        weights=numbers[1:, 2:],
        start=numbers[0, 2:],
        asked=np.array([[place[name] for name in row[:TREE_LEVELS]] for row in trees]),
        thresholds=np.array([row[TREE_LEVELS : 2 * TREE_LEVELS] for row in trees], dtype=float),
        leaves=LEAF_UNIT
        * np.array([row[2 * TREE_LEVELS :] for row in trees], dtype=float).reshape(
            len(trees), 2**TREE_LEVELS, len(VERDICTS)
        ),
    )


def _table(name: str) -> list[list[str]]:
    text = files("outfeed.steering").joinpath(name).read_text("utf-8")
    return [row for row in csv.reader(text.splitlines()) if row and not row[0].startswith("#")]


def weigh(evidence: dict[str, float]) -> FloatArray:
    """Probability of each word.

    Parameters
    ----------
    evidence : dict
        From `outfeed.steering.evidence.gather`.

    Returns
    -------
    ndarray
        In the order of `VERDICTS`, adding up to one [-].
    """
    fit = fitted_weights()
    found = np.array([evidence[name] for name in fit.names])
    # Evidence far outside what the fit has seen must not run away with the verdict.
    standard = np.clip((found - fit.middle) / fit.scale, -4.0, 4.0)
    score = standard @ fit.weights + fit.start
    answers = standard[fit.asked] > fit.thresholds
    leaf = answers @ (1 << np.arange(TREE_LEVELS))
    score = score + fit.leaves[np.arange(leaf.size), leaf].sum(axis=0)
    chance = np.exp(score - np.max(score))
    return np.asarray(chance / np.sum(chance))


def judge(
    measured: Measured,
    impossible_share: float,
    slope_limit: float,
    offset_limit: float,
    *,
    only: str | None = None,
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
    only : str, optional
        What a trace of one single value says, from `outfeed.steering.frozen.only_value`.

    Returns
    -------
    tuple
        The word, and a dict from word to probability [-].
    """
    run = measured.run
    # Fine readings that flicker elsewhere in the trace: there the plain rule is sure.
    flickers = run is not None and run.step <= FINE_K and run.restless > RESTLESS
    run = run if run is not None and flickers and not run.chance else None
    stopped = run is not None and run.share > (FROZEN_END if run.at_end else FROZEN_INSIDE)
    if stopped or impossible_share > IMPOSSIBLE_SHARE or only == "dead":
        return _plain("sensor-fault")
    few = measured.span < SHORTEST_S or measured.readings < FEWEST_READINGS
    if few or measured.bunched:
        return _plain("too-short")
    chances = weigh(gather(measured, slope_limit, offset_limit))
    probabilities = dict(zip(VERDICTS, chances.tolist(), strict=True))
    if probabilities["growing"] < MOST_SWING and _small_and_steady(measured, offset_limit):
        moved = MEASURED_SMALL * probabilities["cycling"]
        probabilities["cycling"] -= moved
        probabilities["level"] += moved
    word = _chosen(probabilities, measured, offset_limit)
    if only is None:
        return word, probabilities
    return _doubted(word, probabilities, ONE_FINE if only == "fine" else ONE_COARSE)


def _doubted(
    word: str, probabilities: dict[str, float], stopped: float
) -> tuple[str, dict[str, float]]:
    """The same with a share of every chance given to a sensor that has stopped."""
    doubted = {name: (1.0 - stopped) * chance for name, chance in probabilities.items()}
    doubted["sensor-fault"] += stopped
    return word if doubted[word] > doubted["sensor-fault"] else "sensor-fault", doubted


def _small_and_steady(measured: Measured, limit: float) -> bool:
    """Whether the trace shows a regular swing, measured well enough to lie below the limit."""
    swing = measured.last_swing
    if swing is None or swing.explained < REGULAR or swing.cycles < REGULAR_CYCLES:
        return False
    if measured.rounding > COARSEST * limit:
        return False
    error = swing.residual_sd * math.sqrt(2.0 / swing.fitted.size)
    sharp = float(np.ptp(measured.window.values)) - NOISE_RANGE * measured.noise / math.sqrt(
        float(np.median(measured.window.counts))
    )
    steady = abs(swing.log_decay) < STEADY_DECAY
    return steady and recent_amplitude(swing) + 2.0 * error < limit and sharp < 2.0 * limit


def _plain(verdict: str) -> tuple[str, dict[str, float]]:
    rest = (1.0 - SURE) / (len(VERDICTS) - 1)
    return verdict, dict.fromkeys(VERDICTS, rest) | {verdict: SURE}


def _chosen(probabilities: dict[str, float], measured: Measured, limit: float) -> str:
    best = max(VERDICTS, key=probabilities.__getitem__)
    if best != "level":
        return best
    swinging = probabilities["growing"] + probabilities["cycling"] > MOST_SWING
    swinging = swinging or probabilities["growing"] > MOST_GROWTH
    wide = float(np.ptp(measured.smooth)) > WIDEST_LEVEL * limit
    # Three readings to a swing average out in the smoothed trace, but not in the readings.
    apart = float(np.ptp(measured.window.values)) - 0.5 * measured.rounding
    wide = wide or apart > WIDEST_UNSMOOTHED * limit
    if probabilities["level"] >= LEAST_LEVEL and not (swinging or wide):
        return best
    other = max(VERDICTS[1:], key=probabilities.__getitem__)
    return other if probabilities[other] >= LEAST_OTHER else "too-short"
