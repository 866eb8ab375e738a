"""From the numbers of a fit to its answer: what was identified, which runs look wrong and why."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.closures import ColumnModel, column_isotherm
from outfeed.dryer.estimate import NORMAL_90, Estimate
from outfeed.dryer.fit_alike import spread_out
from outfeed.dryer.fit_lanes import COLUMN, EXHAUST, HEAT, MOISTURE, SENSOR, Sheet, Slopes
from outfeed.dryer.fit_model import FIT_VERSION, RUNS, Errors, Fitted, Prior
from outfeed.dryer.fit_posterior import WRONG_SCALE, Posterior, Straight
from outfeed.dryer.fit_result import ComparedLaw, Fit, Identified, JudgedRun, Offset, Residual

SUSPICIOUS = 0.5
"""Chance of being wrong beyond which a run is called suspicious [-]."""
FURTHEST_RATE = math.log(3.0)
"""Logarithm of the largest factor on a rate that is spoken of [-]: beyond it no straight line
holds."""
IDENTIFIED = 0.7
"""Part of the prior's spread below which the runs are said to identify a factor [-]: they then
know at least as much as the prior did."""


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Where the steps with one law of drying ended.

    Attributes
    ----------
    model : ColumnModel
        The formulas.
    prior : Prior
        What was believed before.
    slopes : Slopes
        Predictions and derivatives at the last factors but one.
    problem : Straight
        The straightened problem there.
    found : Posterior
        Its judgement.
    logs : ndarray
        Logarithms of the factors found [-].
    steps : int
        Steps that it took.
    left : float
        Length of the last step, of the logarithms [-].
    """

    model: ColumnModel
    prior: Prior
    slopes: Slopes
    problem: Straight
    found: Posterior
    logs: FloatArray
    steps: int
    left: float


def worded(sheet: Sheet, path: Path, laws: tuple[ComparedLaw, ...], errors: Errors) -> Fit:
    """Word a fit.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    path : Path
        Where the fit ended.
    laws : tuple of ComparedLaw
        Laws of drying that were compared.
    errors : Errors
        Errors of the sheet.

    Returns
    -------
    Fit
        The answer.
    """
    model, prior, slopes, problem = path.model, path.prior, path.slopes, path.problem
    found, logs = path.found, path.logs
    spread = np.sqrt(np.diag(found.covariance))
    judged = tuple(
        _judged(sheet, slopes, problem, found, errors, place) for place in range(len(sheet.runs))
    )
    factors = np.exp(logs)
    ends = np.exp(logs[:, None] + NORMAL_90 * spread[:2, None] * np.array([-1.0, 1.0]))
    worth = float(np.sum(problem.own_share[slopes.solved]))
    fitted = Fitted(
        grain=model.grain,
        kinetics=model.law,
        isotherm=column_isotherm(model.grain, model.isotherm).method,
        rate_factor=float(factors[0]),
        rate_spread=float(spread[0]),
        airflow_factor=float(factors[1]),
        airflow_spread=float(spread[1]),
        correlation=float(found.covariance[0, 1] / (spread[0] * spread[1])),
        discrepancy=found.discrepancy,
        runs=min(max(round(worth), 1) + prior.runs, int(RUNS.high)),
        version=FIT_VERSION,
    )
    rate, airflow = (
        Estimate(float(value), *(float(end) for end in pair))
        for value, pair in zip(factors, ends, strict=True)
    )
    return Fit(
        fitted,
        rate,
        airflow,
        laws,
        _identified(sheet, prior, spread),
        judged,
        tuple(run.index for run in judged if run.suspicious),
        tuple(run.index for run in judged if not run.solved),
        _offsets(sheet, found, spread),
        prior,
        errors,
        _rms(judged),
        *_foretold(slopes, found),
        worth,
        spread_out(sheet, errors),
        path.steps,
    )


def _rms(judged: tuple[JudgedRun, ...]) -> float:
    pairs = [(run.weight, run.moisture.residual) for run in judged if run.moisture is not None]
    weight, residual = np.array(pairs).T
    return float(np.sqrt(np.sum(weight * residual**2) / np.sum(weight)))


def _foretold(slopes: Slopes, found: Posterior) -> tuple[float, float]:
    """Spread of the true outlet moisture foretold, and of what a sheet will show of it."""
    slope = slopes.by_factor[slopes.solved, 0]
    factors = float(np.mean(np.einsum("ip,pq,iq->i", slope, found.covariance[:2, :2], slope)))
    noted = float(np.mean(found.own_spread[slopes.solved, 0] ** 2))  # holds the discrepancy too
    return math.sqrt(factors + found.discrepancy**2), math.sqrt(factors + noted)


def _offsets(sheet: Sheet, found: Posterior, spread: FloatArray) -> tuple[Offset, ...]:
    lasting = [channel for channel in sheet.channels if channel.kind != MOISTURE]
    return tuple(
        Offset(channel.kind, channel.index, float(found.mean[2 + k]), float(spread[2 + k]))
        for k, channel in enumerate(lasting)
    )


def _identified(sheet: Sheet, prior: Prior, spread: FloatArray) -> tuple[Identified, ...]:
    told = any(channel.kind != MOISTURE for channel in sheet.channels)
    left = (float(spread[0] / prior.rate_spread), float(spread[1] / prior.airflow_spread))
    rate = (
        "Outlet moisture told how fast the grain dries."
        if left[0] < IDENTIFIED
        else "The runs say little more about the rate than was assumed before."
    )
    if left[1] < IDENTIFIED:
        air = (
            "Temperatures or heat beside the outlet moisture told the air apart from the rate."
            if told
            else "The runs are so different that outlet moisture alone told the airflow."
        )
    elif told:
        air = (
            "The temperatures or the heat are too few or too uncertain to tell the airflow: it "
            "rests mostly on what was assumed."
        )
    else:
        air = (
            "Outlet moisture alone cannot tell slow drying from little air: the airflow rests on "
            "what was assumed. Add column or exhaust temperatures."
        )
    return (
        Identified("rate", left[0] < IDENTIFIED, left[0], rate),
        Identified("airflow", left[1] < IDENTIFIED, left[1], air),
    )


def _judged(
    sheet: Sheet,
    slopes: Slopes,
    problem: Straight,
    found: Posterior,
    errors: Errors,
    place: int,
) -> JudgedRun:
    name = sheet.runs[place].name
    if not slopes.solved[place]:
        reason = "its column did not settle: the numbers on its sheet do not go together"
        return JudgedRun(place, name, False, 0.0, 0.0, False, reason, None, None, ())
    shift = problem.slope[place] @ found.mean
    factor_shift = problem.slope[place][:, :2] @ found.mean[:2]
    residuals = tuple(
        Residual(
            channel.kind,
            channel.index,
            float(sheet.observed[place, k]),
            float(slopes.predicted[place, k] + factor_shift[k]),
            float(problem.residual[place, k] - shift[k]),
            float(found.own_spread[place, k]),
            float(found.left_out[place, k]),
            float(found.left_out_spread[place, k]),
        )
        for k, channel in enumerate(sheet.channels)
        if sheet.seen[place, k]
    )
    wrong = float(found.chance_wrong[place])
    suspicious = wrong > SUSPICIOUS
    return JudgedRun(
        place,
        name,
        True,
        wrong,
        1.0 - wrong * (1.0 - WRONG_SCALE**-2),
        suspicious,
        _reason(residuals) if suspicious else "",
        _rate_off(slopes, residuals[0], place, errors),
        residuals[0],
        residuals[1:],
    )


WORDS = {
    MOISTURE: ("outlet moisture", "drier", "wetter"),
    SENSOR: ("a column sensor", "cooler", "warmer"),
    COLUMN: ("the column temperature", "cooler", "warmer"),
    EXHAUST: ("an exhaust temperature", "cooler", "warmer"),
    HEAT: ("the heat used", "lower", "higher"),
}


def _reason(residuals: tuple[Residual, ...]) -> str:
    worst = max(residuals, key=lambda item: abs(item.score))
    what, under, over = WORDS[worst.kind]
    return (
        f"{what} is {over if worst.score > 0.0 else under} than the other runs say, by "
        f"{abs(worst.score):.1f} times its uncertainty"
    )


def _rate_off(slopes: Slopes, moisture: Residual, place: int, errors: Errors) -> float | None:
    # The first input is the rate; its slope is for one standard deviation of it.
    per_log = float(slopes.by_input[place, 0, 0]) / errors.rate
    if abs(moisture.left_out) >= FURTHEST_RATE * abs(per_log):
        return None
    return math.exp(moisture.left_out / per_log)
