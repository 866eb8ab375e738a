"""Fitting the column model to a real dryer: what its own settled runs say of it.

From 1 to 50 settled runs, the factor on the drying kinetics and the factor on the stated airflow,
by regularised least squares: Gauss-Newton on their logarithms, every run and every derivative
solved in one call. Heat transfer is left alone: 0.7 to 1.3 times it moves the outlet by less than
0.003 point. Outlet moisture alone cannot tell a low rate factor from little air; a column or
exhaust temperature, or the heat burnt, can: the answer says which factor the runs identified. One
run moves the prior, ten predict.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np

from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Dryer
from outfeed.dryer.fit_descent import descend, polish
from outfeed.dryer.fit_lanes import Sheet, sheet_of
from outfeed.dryer.fit_laws import averaged, chosen_law
from outfeed.dryer.fit_model import (
    RUNS,
    Errors,
    Fitted,
    Prior,
    Run,
    column_model,
    prior_of,
)
from outfeed.dryer.fit_posterior import Posterior
from outfeed.dryer.fit_predict import predict
from outfeed.dryer.fit_result import (
    ComparedLaw,
    Fit,
    Identified,
    JudgedRun,
    Offset,
    Prediction,
    Residual,
)
from outfeed.dryer.fit_words import Path, worded
from outfeed.errors import NotConverged
from outfeed.grains import load_grain
from outfeed.methods import DERIVED, Method

__all__ = [
    "ComparedLaw",
    "Errors",
    "Fit",
    "Fitted",
    "Identified",
    "JudgedRun",
    "Offset",
    "Prediction",
    "Prior",
    "Residual",
    "Run",
    "column_model",
    "fit_dryer",
    "predict",
    "prior_of",
]

FIT = Method(
    "dryer.fit",
    "Rate and airflow factor of a dryer from its own settled runs",
    "Gauss-Newton with log-normal priors; wrong runs after Box & Tiao (1968) Biometrika "
    "55:119-129; discrepancy after Kennedy & O'Hagan (2001) J. R. Stat. Soc. B 63:425-464",
    DERIVED,
    note="Spreads of the priors and of the errors are assumptions; heat transfer is not fitted.",
)
METHODS = (FIT,)

LEAST_RUNS, ALMOST = 3, 0.5
"""Runs from which other published laws of drying are tried: fewer cannot tell them apart; and how
much runs that are nearly alike may lack of that number [-]; chosen, no source."""
DOUBTED_DISCREPANCY, DOUBTED_SQUARE = 0.0012, 1.1
"""Discrepancy of outlet moisture, wet basis, and mean squared score of what the runs predict of one
another, beyond which other laws are tried [-]: a law that suits leaves 0.07 to 0.10 point and a
square of 0.6 to 1.1 over invented dryers, another law 1.0 to 7."""


def fit_dryer(
    dryer: Dryer,
    runs: Sequence[Run],
    *,
    model: ColumnModel | None = None,
    errors: Errors | None = None,
    prior: Prior | None = None,
) -> Fit:
    """Rate and airflow factor of a dryer from its own settled runs.

    Where the caller names neither kinetics nor rate factor nor prior, and three runs or more leave
    room for it, the other laws published for the grain are fitted too. One of them is taken when
    the runs speak for it by seven to one; `Fitted.kinetics` says which. How far the laws that stay
    possible lie apart is in the spreads and in the discrepancy.

    Parameters
    ----------
    dryer : Dryer
        The description.
    runs : sequence of Run
        1 to 50 settled runs; runs nearer to each other than their errors count as one.
    model : ColumnModel, optional
        Grain and formulas; its factors are the prior's medians unless `prior` is given. Absent for
        yellow dent corn.
    errors : Errors, optional
        How far the sheet may be off; absent for the defaults.
    prior : Prior, optional
        What is believed before; `prior_of` makes it from an earlier fit.

    Returns
    -------
    Fit
        Factors with uncertainty, and every run judged.

    Raises
    ------
    OutOfRange
        No runs, or more than 50.
    Inconsistent
        Runs that contradict the description.
    NotPublished, UnknownName
        A grain without kinetics, isotherm or specific heat.
    NotConverged
        No run's column settles, or the steps do not end.
    """
    RUNS.check(len(runs), "runs")
    formulas = model or ColumnModel()
    believed = prior or Prior(float(formulas.rate), airflow_factor=float(formulas.airflow_factor))
    assumed = errors or Errors()
    sheet = sheet_of(dryer, runs)
    first = descend(sheet, formulas, believed, assumed)
    tried: tuple[Path, ...] = (first,)
    worth = float(np.sum(first.problem.own_share))
    if prior is None and worth >= LEAST_RUNS - ALMOST and leaves_doubt(sheet, first.found):
        tried = (first, *_others(sheet, formulas, assumed, first))
    place = chosen_law(tried)
    end = polish(sheet, tried[place], assumed)
    end = replace(end, found=averaged(tried, place, end.found))
    return worded(sheet, end, _compared(tried, tried[place]), assumed)


def leaves_doubt(sheet: Sheet, found: Posterior) -> bool:
    """Whether the runs leave room for other laws of drying, so that they should be tried.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    found : Posterior
        The judgement under one law.

    Returns
    -------
    bool
        Whether there are no temperatures, which tell laws apart, the discrepancy is large, or the
        runs predict one another badly.
    """
    if not any(channel.thermal for channel in sheet.channels):
        return True
    scores = (found.left_out / found.left_out_spread)[sheet.seen]
    square = float(np.mean(scores**2))
    return found.discrepancy > DOUBTED_DISCREPANCY or square > DOUBTED_SQUARE


def _others(sheet: Sheet, model: ColumnModel, errors: Errors, first: Path) -> tuple[Path, ...]:
    """The other laws published for the grain, where the caller has left the choice open."""
    if model.kinetics is not None or model.rate_factor is not None:
        return ()
    paths: list[Path] = []
    for entry in load_grain(model.grain).kinetics:
        if entry.method == model.law:
            continue
        other = replace(model, kinetics=entry.method)
        believed = Prior(float(other.rate), airflow_factor=float(model.airflow_factor))
        best = max(path.found.evidence for path in (first, *paths))
        with suppress(NotConverged):
            path = descend(sheet, other, believed, errors, first, best)
            if np.array_equal(path.slopes.solved, first.slopes.solved):
                paths.append(path)
    return tuple(paths)


def _compared(tried: tuple[Path, ...], chosen: Path) -> tuple[ComparedLaw, ...]:
    return tuple(
        ComparedLaw(
            path.model.law,
            float(np.exp(path.logs[0])),
            path.found.discrepancy,
            path.found.evidence - chosen.found.evidence,
            path is chosen,
        )
        for path in tried
    )
