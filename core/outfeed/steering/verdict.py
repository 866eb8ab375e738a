"""From evidence to a word, with the probability of each word.

The probabilities come from two readers who err on different traces: small trees that ask questions
of the evidence of the published methods (`outfeed.steering.trees`), and a small network that sees
the outline of the trace as well (`outfeed.steering.network`). Both learned once from simulated
control loops whose true behaviour is known from their poles and inputs, and their scores are added.
A few plain facts come before (readings no sensor can give, a trace too short), and one rule
after: *level* is the one word that makes people stop looking, so it needs more than being the
likeliest.
"""

from __future__ import annotations

import math

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import DERIVED, Method
from outfeed.steering import network, trees
from outfeed.steering.evidence import SHORTEST_S, gather, recent_amplitude
from outfeed.steering.measure import Measured
from outfeed.steering.outline import Outline, outline

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
IMPOSSIBLE_SHARE = 0.3
SURE = 0.99  # probability given to a plain fact
# Chance that the sensor has stopped where a whole trace is one value, by how finely it is stated;
# chosen, no source: simulated loops hold too few such traces.
ONE_FINE, ONE_COARSE = 0.9, 0.15
# Level ends the watching, so of those called level this share may be wrong, and each wrong one more
# costs as much as so many wrong words: of all rules on the probabilities this one is wrong least
# often for a given share. The share is wished for; its price was chosen on simulated loops, so that
# a set of a thousand traces seldom shows more.
WRONG_LEVEL, PRICE = 0.04, 4.0
# Probability that a swing grows above which it is not: what is small now will not stay so; chosen,
# no source.
MOST_GROWTH = 0.07
# Where level is not sure enough and nothing else is as likely as this, more has to be seen first;
# chosen, no source: about one in three, so that nobody changes a gain for less.
LEAST_OTHER = 0.3
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
        "scores of the trees and of the network, added as weighs likeliest on simulated loops of "
        "known poles; level is told by its expected cost",
        DERIVED,
        note="Confusion matrix and calibration are printed by the bench.",
    ),
)


def weigh(evidence: dict[str, float], seen: Outline) -> FloatArray:
    """Probability of each word.

    Parameters
    ----------
    evidence : dict
        From `outfeed.steering.evidence.gather`.
    seen : Outline
        From `outfeed.steering.outline.outline`.

    Returns
    -------
    ndarray
        In the order of `VERDICTS`, adding up to one [-].
    """
    from scipy.special import softmax

    scores = np.stack([trees.score(evidence), network.score(seen, evidence)])
    return np.asarray(softmax(network.fitted_network().shares @ scores))


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
    run = measured.run if measured.run is not None and measured.run.sure else None
    stopped = run is not None and run.share > (FROZEN_END if run.at_end else FROZEN_INSIDE)
    if stopped or impossible_share > IMPOSSIBLE_SHARE or only == "dead":
        return _plain("sensor-fault")
    few = measured.span < SHORTEST_S or measured.readings < FEWEST_READINGS
    if few or measured.bunched:
        return _plain("too-short")
    evidence = gather(measured, slope_limit, offset_limit)
    chances = weigh(evidence, outline(measured, offset_limit))
    probabilities = dict(zip(VERDICTS, chances.tolist(), strict=True))
    if probabilities["growing"] < MOST_GROWTH and _small_and_steady(measured, offset_limit):
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
    wide = float(np.ptp(measured.smooth)) > WIDEST_LEVEL * limit
    # Three readings to a swing average out in the smoothed trace, but not in the readings.
    apart = float(np.ptp(measured.window.values)) - 0.5 * measured.rounding
    wide = wide or apart > WIDEST_UNSMOOTHED * limit
    growing = probabilities["growing"] > MOST_GROWTH
    other = max(VERDICTS[1:], key=probabilities.__getitem__)
    doubt = 1.0 - WRONG_LEVEL - probabilities["level"]
    sure = probabilities["level"] - PRICE * doubt >= probabilities[other]
    if sure and not (growing or wide):
        return best
    return other if probabilities[other] >= LEAST_OTHER else "too-short"
