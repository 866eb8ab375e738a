"""Judging runs on a straightened model: factors, how wrong each run is, and what the model leaves.

Around the present factors every prediction is a straight line. Factors and the lasting offset of
each thermometer are then a linear least-squares problem with priors. Two things come on top. A run
may be *wrong*: noted with errors several times as large as stated; the chance of it follows from
what the other runs predict for it, and a doubted run weighs less. And the model *leaves a
discrepancy* even with the right factors; its size is not known and is averaged over, weighted by
how well each size lets the other runs predict each run.

Sources: Box G.E.P. & Tiao G.C. (1968) A Bayesian approach to some outlier problems, Biometrika
55:119-129 (the mixture of good and wrong observations); Kennedy M.C. & O'Hagan A. (2001) Bayesian
calibration of computer models, J. R. Stat. Soc. B 63:425-464 (the discrepancy); Geisser S. & Eddy
W.F. (1979) A predictive approach to model selection, J. Am. Stat. Assoc. 74:153-160 (weighting by
what the others predict).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import BoolArray, FloatArray

CHANCE_WRONG = 0.05
"""Share of runs believed wrong before seeing them [-]: an assumption, one sheet in twenty."""
WRONG_SCALE = 5.0
"""How many times its stated error a wrong run is off [-]: an assumption."""
WRONG_STEPS = 30
WRONG_TOLERANCE = 1e-3
"""Change of the chance that a run is wrong at which the repetition ends [-]. Where it runs on to
its bound, runs contradict each other and no answer is better than the last."""

DISCREPANCIES = np.geomspace(0.0005, 0.02, 9)
"""Sizes of the discrepancy that are averaged over: outlet moisture, wet basis [-]."""
TYPICAL_DISCREPANCY = 0.0012
"""Median of what is believed of the discrepancy before any run [-]: an assumption. One thin-layer
law fitted to columns of another leaves 0.1 to 0.3 point."""
DISCREPANCY_SPREAD = 0.7
"""Standard deviation of its logarithm [-]: an assumption, a factor of two either way."""
KELVIN_PER_MOISTURE = 200.0
"""Discrepancy of a temperature that goes with one of moisture [K]: an assumption, 0.2 K for 0.1
point."""


@dataclass(frozen=True, slots=True, eq=False)
class Straight:
    """The straightened problem.

    Attributes
    ----------
    residual : ndarray
        Observed less predicted, runs by channels; zero where not observed.
    slope : ndarray
        Runs by channels by unknowns: the factors, then the offsets.
    covariance : ndarray
        Errors of each run, runs by channels by channels; the unit matrix where not observed.
    seen : ndarray of bool
        Runs by channels.
    thermal : ndarray of bool
        Which channels are temperatures.
    mean, precision : ndarray
        Prior of the unknowns, as change from the present factors.
    """

    residual: FloatArray
    slope: FloatArray
    covariance: FloatArray
    seen: BoolArray
    thermal: BoolArray
    mean: FloatArray
    precision: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What the runs say.

    Attributes
    ----------
    mean : ndarray
        Unknowns, as change from the present factors.
    covariance : ndarray
        Of the unknowns.
    discrepancy : float
        Root mean square of the discrepancy, outlet moisture, wet basis [-].
    chance_wrong : ndarray
        Of each run [-].
    left_out : ndarray
        Observed less what the other runs predict, runs by channels.
    left_out_spread : ndarray
        Its standard deviation if the run is right, runs by channels; one where not observed.
    own_spread : ndarray
        Standard deviation of what is observed about what the right factors predict, runs by
        channels: own errors, inputs' errors and discrepancy.
    evidence : float
        Logarithm of the density with which the others predict each run, summed over runs.
    """

    mean: FloatArray
    covariance: FloatArray
    discrepancy: float
    chance_wrong: FloatArray
    left_out: FloatArray
    left_out_spread: FloatArray
    own_spread: FloatArray
    evidence: float


@dataclass(frozen=True, slots=True, eq=False)
class _AtSize:
    """The judgement for one size of the discrepancy."""

    mean: FloatArray
    covariance: FloatArray
    wrong: FloatArray
    left: FloatArray
    left_spread: FloatArray
    own_spread: FloatArray
    evidence: float


def judge(problem: Straight) -> Posterior:
    """Factors, offsets, discrepancy and wrong runs of a straightened problem.

    Parameters
    ----------
    problem : Straight
        The problem; at least one run.

    Returns
    -------
    Posterior
        Averaged over the sizes of the discrepancy.
    """
    found = [_at_size(problem, size) for size in DISCREPANCIES]
    away = np.log(DISCREPANCIES / TYPICAL_DISCREPANCY) / DISCREPANCY_SPREAD
    score = np.array([item.evidence for item in found]) - 0.5 * away**2
    share = np.exp(score - np.max(score))
    evidence = float(np.max(score) + np.log(np.sum(share)))
    share /= np.sum(share)

    def mean_of(name: str) -> FloatArray:
        stacked = np.stack([getattr(item, name) for item in found])
        return np.asarray(np.tensordot(share, stacked, axes=1))

    mean = mean_of("mean")
    apart = np.stack([item.mean - mean for item in found])
    between = np.einsum("k,ki,kj->ij", share, apart, apart)
    return Posterior(
        mean,
        mean_of("covariance") + between,
        float(np.sqrt(share @ DISCREPANCIES**2)),
        mean_of("wrong"),
        mean_of("left"),
        mean_of("left_spread"),
        mean_of("own_spread"),
        evidence,
    )


def _at_size(problem: Straight, size: float) -> _AtSize:
    scale = np.where(problem.thermal, KELVIN_PER_MOISTURE, 0.0) * size
    scale[0] = size
    own = problem.covariance + np.einsum("ij,jk->ijk", problem.seen, np.diag(scale**2))
    inverse = np.linalg.inv(own)
    gain = np.einsum("icp,icd->ipd", problem.slope, inverse)
    known = np.einsum("ipd,idq->ipq", gain, problem.slope)
    told = np.einsum("ipd,id->ip", gain, problem.residual)
    start = problem.precision @ problem.mean
    wrong = np.zeros(len(own))
    for _ in range(WRONG_STEPS):
        weight = 1.0 - wrong * (1.0 - WRONG_SCALE**-2)
        before = wrong
        left, spread = _left_out(problem, own, known, told, weight, start)
        good, wrong = _chances(problem, left, spread)
        if np.max(np.abs(wrong - before)) < WRONG_TOLERANCE:
            break
        wrong = 0.5 * (wrong + before)
    precision = problem.precision + np.einsum("i,ipq->pq", weight, known)
    covariance = np.linalg.inv(precision)
    mean = covariance @ (start + weight @ told)
    return _AtSize(mean, covariance, wrong, left, _roots(spread), _roots(own), float(np.sum(good)))


def _left_out(
    problem: Straight,
    own: FloatArray,
    known: FloatArray,
    told: FloatArray,
    weight: FloatArray,
    start: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Each run's residual from the others' prediction, and the covariance of that."""
    whole = problem.precision + np.einsum("i,ipq->pq", weight, known)
    others = np.linalg.inv(whole - weight[:, None, None] * known)
    rest = start + weight @ told - weight[:, None] * told
    mean = np.einsum("ipq,iq->ip", others, rest)
    left = problem.residual - np.einsum("icp,ip->ic", problem.slope, mean)
    carried = np.einsum("icp,ipq,idq->icd", problem.slope, others, problem.slope)
    return np.where(problem.seen, left, 0.0), own + carried


def _chances(
    problem: Straight, left: FloatArray, spread: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Logarithm of each run's density among right and wrong ones, and its chance to be wrong."""
    distance = np.einsum("ic,ic->i", left, np.linalg.solve(spread, left[..., None])[..., 0])
    size = np.linalg.slogdet(spread)[1]
    count = np.sum(problem.seen, axis=1)
    right = np.log(1.0 - CHANCE_WRONG) - 0.5 * (distance + size)
    off = np.log(CHANCE_WRONG) - 0.5 * (distance / WRONG_SCALE**2 + size)
    off = off - count * np.log(WRONG_SCALE)
    together = np.logaddexp(right, off)
    return together, np.exp(off - together)


def _roots(covariance: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.einsum("icc->ic", covariance)))
