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

DISCREPANCIES = np.geomspace(0.0003, 0.02, 10)
"""Sizes of the discrepancy that are averaged over: outlet moisture, wet basis [-]."""
TYPICAL_DISCREPANCY = 0.0005
"""Median of what is believed of the discrepancy before any run [-]: an assumption. The nearest of
the published laws, fitted to columns of a law that is none of them, leaves 0.04 to 0.12 point, and
nothing of its own; a law that is not the nearest leaves 0.2 to 0.5."""
DISCREPANCY_SPREAD = 0.7
"""Standard deviation of its logarithm [-]: an assumption, a factor of two either way."""
OFFSET_PER_MOISTURE = 300.0
"""Lasting offset of a grain thermometer that goes with a discrepancy of moisture [K]: an
assumption, 0.3 K for 0.1 point; where the moistures are off, so are the temperatures."""
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
    growth : ndarray
        Standard deviation of each unknown that comes with a discrepancy, over its size.
    alike : ndarray
        How far two runs are one measurement, runs by runs; ones down its diagonal.
    """

    residual: FloatArray
    slope: FloatArray
    covariance: FloatArray
    seen: BoolArray
    thermal: BoolArray
    mean: FloatArray
    precision: FloatArray
    growth: FloatArray
    alike: FloatArray

    @property
    def own_share(self) -> FloatArray:
        """Part of each run that is its own measurement [-]: runs noted twice are told once."""
        return np.asarray(1.0 / np.sum(self.alike, axis=1))


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
class _Known:
    """What each run tells under each size of the discrepancy; sizes first.

    `own` is the covariance of a run's errors, `known` and `told` what it adds to the precision of
    the unknowns and to the precision times their mean; `prior` and `start` are these two before.
    """

    prior: FloatArray
    start: FloatArray
    own: FloatArray
    known: FloatArray
    told: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _LeftOut:
    """Every run against what the others predict, sizes by runs; chances and densities too."""

    left: FloatArray
    spread: FloatArray
    density: FloatArray
    wrong: FloatArray


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
    told = _told(problem)
    weight, found = _weighed(problem, told)
    covariance = np.linalg.inv(told.prior + np.einsum("ki,kipq->kpq", weight, told.known))
    whole = told.start + np.einsum("ki,kip->kp", weight, told.told)
    means = np.einsum("kpq,kq->kp", covariance, whole)
    away = np.log(DISCREPANCIES / TYPICAL_DISCREPANCY) / DISCREPANCY_SPREAD
    score = found.density @ problem.own_share - 0.5 * away**2
    share = np.exp(score - np.max(score))
    evidence = float(np.max(score) + np.log(np.sum(share)))
    share /= np.sum(share)
    mean = share @ means
    apart = means - mean
    return Posterior(
        mean,
        np.tensordot(share, covariance, axes=1) + np.einsum("k,ki,kj->ij", share, apart, apart),
        float(np.sqrt(share @ DISCREPANCIES**2)),
        share @ found.wrong,
        np.tensordot(share, found.left, axes=1),
        np.tensordot(share, _roots(found.spread), axes=1),
        np.tensordot(share, _roots(told.own), axes=1),
        evidence,
    )


def _told(problem: Straight) -> _Known:
    scale = np.outer(DISCREPANCIES, np.where(problem.thermal, KELVIN_PER_MOISTURE, 0.0))
    scale[:, 0] = DISCREPANCIES
    unit = np.eye(problem.seen.shape[1])
    own = problem.covariance + np.einsum("ic,kc,cd->kicd", problem.seen, scale**2, unit)
    gain = np.einsum("icp,kicd->kipd", problem.slope, np.linalg.inv(own))
    gain = gain * problem.own_share[:, None, None]
    known = gain @ problem.slope
    grown = np.outer(DISCREPANCIES, problem.growth) ** 2
    wide = np.linalg.inv(problem.precision) + grown[..., None] * np.eye(problem.mean.size)
    prior = np.asarray(np.linalg.inv(wide), dtype=np.float64)
    told = np.einsum("kipd,id->kip", gain, problem.residual)
    return _Known(prior, prior @ problem.mean, own, known, told)


def _weighed(problem: Straight, told: _Known) -> tuple[FloatArray, _LeftOut]:
    """Weight of each run, repeated until the chances that runs are wrong stand still."""
    wrong = np.zeros(told.told.shape[:2])
    for _ in range(WRONG_STEPS):
        weight = 1.0 - wrong * (1.0 - WRONG_SCALE**-2)
        found = _left_out(problem, told, weight)
        if np.max(np.abs(found.wrong - wrong)) < WRONG_TOLERANCE:
            break
        wrong = 0.5 * (found.wrong + wrong)
    return weight, found


def _left_out(problem: Straight, told: _Known, weight: FloatArray) -> _LeftOut:
    """Each run's residual from the others' prediction, and the covariance of that.

    Those that are the same measurement are no others.
    """
    known, said = weight[..., None, None] * told.known, weight[..., None] * told.told
    whole = told.prior + np.sum(known, axis=1)
    others = np.linalg.inv(whole[:, None] - np.einsum("ij,kjpq->kipq", problem.alike, known))
    every = told.start + np.sum(said, axis=1)
    rest = every[:, None] - np.einsum("ij,kjp->kip", problem.alike, said)
    mean = (others @ rest[..., None])[..., 0]
    left = problem.residual - np.einsum("icp,kip->kic", problem.slope, mean)
    left = np.where(problem.seen, left, 0.0)
    spread = told.own + problem.slope @ others @ np.swapaxes(problem.slope, -1, -2)
    return _LeftOut(left, spread, *_chances(problem, left, spread))


def _chances(
    problem: Straight, left: FloatArray, spread: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Logarithm of each run's density among right and wrong ones, and its chance to be wrong."""
    distance = np.einsum("kic,kic->ki", left, np.linalg.solve(spread, left[..., None])[..., 0])
    size = np.linalg.slogdet(spread)[1]
    count = np.sum(problem.seen, axis=1)
    right = np.log(1.0 - CHANCE_WRONG) - 0.5 * (distance + size)
    off = np.log(CHANCE_WRONG) - 0.5 * (distance / WRONG_SCALE**2 + size)
    off = off - count * np.log(WRONG_SCALE)
    together = np.logaddexp(right, off)
    return together, np.exp(off - together)


def _roots(covariance: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.einsum("...cc->...c", covariance)))
