"""Which published law of drying the runs go with, and what the others that stay possible add.

Each law fitted to the runs has an evidence, the logarithm of how well it lets them predict one
another. Odds of the laws follow from it, with the catalogue's choice favoured. The fit rests on one
law; where another stays possible, how far its outlet moistures and its airflow factor lie from
the chosen law's is uncertainty of the answer.

Source: Hoeting J.A., Madigan D., Raftery A.E. & Volinsky C.T. (1999) Bayesian model averaging: a
tutorial, Statist. Sci. 14:382-417 (variance within and between models); Kass R.E. & Raftery A.E.
(1995) Bayes factors, J. Am. Stat. Assoc. 90:773-795 (what odds are worth).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.fit_posterior import Posterior
from outfeed.dryer.fit_words import Path

FAVOUR = 2.0
"""Logarithm of the odds by which the catalogue's law is believed before any run [-]: an assumption,
seven to one, in the middle of what Kass & Raftery call positive evidence."""


def chosen_law(tried: Sequence[Path]) -> int:
    """Place of the law that a fit rests on.

    Parameters
    ----------
    tried : sequence of Path
        Laws fitted to the runs, the catalogue's first.

    Returns
    -------
    int
        The likeliest.
    """
    return int(np.argmax(_scores(tried)))


def averaged(tried: Sequence[Path], place: int, found: Posterior) -> Posterior:
    """A judgement under one law, with what the other laws that stay possible add.

    Parameters
    ----------
    tried : sequence of Path
        Laws fitted to the runs, the catalogue's first.
    place : int
        Which one the fit rests on.
    found : Posterior
        The judgement under it, at its best factors.

    Returns
    -------
    Posterior
        With a wider covariance and a larger discrepancy. A rate factor follows the airflow factor
        as it does under the chosen law.
    """
    odds = np.exp(_scores(tried) - np.max(_scores(tried)))
    odds /= np.sum(odds)
    chosen = tried[place]
    air = np.array([path.found.mean[1] - path.problem.mean[1] for path in tried])
    air_square = float(odds @ (air - air[place]) ** 2)
    use = (1.0 - chosen.found.chance_wrong) * chosen.slopes.solved
    fits = np.array([_fitted_residual(path) for path in tried])
    apart = (fits - fits[place]) ** 2 @ use / max(float(np.sum(use)), 1.0)
    along = found.covariance[1] / found.covariance[1, 1]
    return replace(
        found,
        covariance=found.covariance + air_square * np.outer(along, along),
        discrepancy=math.sqrt(found.discrepancy**2 + float(odds @ apart)),
    )


def _scores(tried: Sequence[Path]) -> FloatArray:
    scores = np.array([path.found.evidence for path in tried])
    scores[0] += FAVOUR
    return scores


def _fitted_residual(path: Path) -> FloatArray:
    """Outlet moisture of every run less what the law makes of it at its best factors [-]."""
    return np.asarray(path.problem.residual[:, 0] - path.problem.slope[:, 0] @ path.found.mean)
