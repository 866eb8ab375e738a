"""Fitting the column model to a real dryer: what its own settled runs say of it.

From 1 to 50 settled runs, the factor on the drying kinetics and the factor on the stated airflow,
by regularised least squares: Gauss-Newton on their logarithms, every run and every derivative
solved in one call. Heat transfer is left alone: 0.7 to 1.3 times it moves the outlet by less than
0.003 point. Outlet moisture alone cannot tell a low rate factor from little air; a column or
exhaust temperature, or the heat burnt, can: the answer says which factor the runs identified. One
run moves the prior, ten predict.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.dryer.closures import AIRFLOW_FACTOR, RATE_FACTOR, ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.estimate import NORMAL_90
from outfeed.dryer.fit_lanes import (
    EXHAUST,
    FACTOR_NUDGE,
    HEAT,
    MOISTURE,
    MOISTURE_NUDGE,
    Channel,
    Sheet,
    Slopes,
    sheet_of,
    slopes_at,
)
from outfeed.dryer.fit_model import (
    RUNS,
    Errors,
    Fitted,
    Prior,
    Run,
    column_model,
    prior_of,
)
from outfeed.dryer.fit_posterior import Posterior, Straight, judge
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

STEPS = 15
TOLERANCE = 0.01
"""Step of the logarithms of the factors at which the fit ends [-]; the last step is taken, so that
what remains is of the order of its square."""
LONGEST_STEP = (0.8, 0.3)
"""Longest step of the logarithms of rate and airflow factor [-]."""
SHORT_STEP = 0.4
"""Step of the logarithms below which derivatives by the inputs are kept for the next step [-]."""
ROOM = 0.1
"""Distance that the logarithms keep from the ends of the factors' ranges [-]: nudges fit in."""
LEAST_RUNS = 3
"""Runs from which other published laws of drying are tried: fewer cannot tell them apart."""
DOUBTED_DISCREPANCY, DOUBTED_SQUARE = 0.0018, 1.1
"""Discrepancy of outlet moisture, wet basis, and mean squared score of what the runs predict of one
another, beyond which other laws are tried [-]: a law that suits leaves 0.12 to 0.16 point and a
square of 0.6 to 1.1 over invented dryers, another law 1.0 to 7."""
SWITCH = 1.1
"""Gain in the logarithm of the evidence from which another law is taken [-]: odds of three to one
(Kass R.E. & Raftery A.E. (1995) Bayes factors, J. Am. Stat. Assoc. 90:773-795)."""
HOPELESS = 5.0
"""Loss of the logarithm of the evidence at which another law is given up after two steps [-]."""
SENSOR_OFFSET = 0.7
"""Standard deviation of a lasting offset of a grain thermometer against the column model [K]: an
assumption; a sensor sits somewhere between two duct rows, where grain differs by some degrees."""
EXHAUST_OFFSET = 3.0
"""The same for an exhaust temperature [K]: an assumption; ducts leak and walls lose heat."""


def fit_dryer(
    dryer: Dryer,
    runs: Sequence[Run],
    *,
    model: ColumnModel | None = None,
    errors: Errors | None = None,
    prior: Prior | None = None,
) -> Fit:
    """Rate and airflow factor of a dryer from its own settled runs.

    Where the caller names neither kinetics nor rate factor nor prior, and three runs or more do not
    quite go with the default law, the other laws published for the grain are fitted too, and one of
    them is taken when the runs speak for it by three to one; `Fitted.kinetics` says which.

    Parameters
    ----------
    dryer : Dryer
        The description.
    runs : sequence of Run
        1 to 50 settled runs.
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
    first = _descend(sheet, formulas, believed, assumed)
    tried: tuple[Path, ...] = (first,)
    if prior is None and len(runs) >= LEAST_RUNS and leaves_doubt(sheet, first.found):
        tried = (first, *_others(sheet, formulas, assumed, first))
    best = max(tried, key=lambda path: path.found.evidence)
    chosen = best if best.found.evidence > first.found.evidence + SWITCH else first
    return worded(sheet, chosen, _compared(tried, chosen), assumed)


def leaves_doubt(sheet: Sheet, found: Posterior) -> bool:
    """Whether the runs go so badly with a law that others should be tried.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    found : Posterior
        The judgement under that law.

    Returns
    -------
    bool
        Whether the discrepancy is large or the runs predict one another badly.
    """
    scores = (found.left_out / found.left_out_spread)[sheet.seen]
    square = float(np.mean(scores**2))
    return found.discrepancy > DOUBTED_DISCREPANCY or square > DOUBTED_SQUARE


def _others(sheet: Sheet, model: ColumnModel, errors: Errors, first: Path) -> tuple[Path, ...]:
    """The other laws published for the grain, where the caller has left the choice open."""
    if model.kinetics is not None or model.rate_factor is not None:
        return ()
    paths = []
    for entry in load_grain(model.grain).kinetics:
        if entry.method == model.law:
            continue
        other = replace(model, kinetics=entry.method)
        believed = Prior(float(other.rate), airflow_factor=float(model.airflow_factor))
        with suppress(NotConverged):
            path = _descend(sheet, other, believed, errors, first)
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


def _descend(
    sheet: Sheet,
    model: ColumnModel,
    prior: Prior,
    errors: Errors,
    rival: Path | None = None,
) -> Path:
    """Step to the best factors under one law, or until it is hopelessly behind a rival."""
    by_input = None if rival is None else rival.slopes.by_input
    least = -math.inf if rival is None else rival.found.evidence - HOPELESS
    start = np.log([prior.rate_factor, prior.airflow_factor])
    logs = start
    for step in range(1, STEPS + 1):
        slopes = slopes_at(sheet, model, logs, errors, by_input)
        if not np.any(slopes.solved):
            raise NotConverged("the column of every run", (-math.inf, math.inf), TOLERANCE)
        problem = straighten(sheet, slopes, errors, prior, start - logs)
        found = judge(problem)
        aim = bounded(logs, found.mean[:2])
        hopeless = step > 1 and found.evidence < least
        if hopeless or np.max(np.abs(aim - logs)) < TOLERANCE:
            return Path(model, prior, slopes, problem, found, aim, step)
        if np.max(np.abs(aim - logs)) < SHORT_STEP:
            by_input = slopes.by_input
        logs = aim
    raise NotConverged("the fit to the runs", (float(np.min(aim)), float(np.max(aim))), TOLERANCE)


def bounded(logs: FloatArray, move: FloatArray) -> FloatArray:
    """The next factors: no step too long, none out of range.

    Parameters
    ----------
    logs : ndarray
        Logarithms of the factors [-].
    move : ndarray
        Step wanted [-].

    Returns
    -------
    ndarray
        Logarithms to go to [-].
    """
    longest = np.array(LONGEST_STEP)
    return np.asarray(np.clip(logs + np.clip(move, -longest, longest), *_room()))


def predict(
    fitted: Fitted,
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: ArrayLike,
    *,
    plenum_temperatures: Sequence[ArrayLike | None] | None = None,
    errors: Errors | None = None,
) -> Prediction:
    """Outlet moisture of a fitted dryer, with its band.

    Parameters
    ----------
    fitted : Fitted
        The fit.
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; fields may be arrays over scenarios.
    feed : Feed
        Grain at the inlet; fields may be arrays over scenarios.
    dry_matter_rate : array_like
        Dry matter through the dryer [kg/s].
    plenum_temperatures : sequence, optional
        Plenum temperatures zone by zone [degC] in place of the description's.
    errors : Errors, optional
        When given, the band is that of the *meter's reading* for inputs known with these errors;
        absent for the band of the true moisture at exactly these inputs.

    Returns
    -------
    Prediction
        Of the scenarios' shape.

    Raises
    ------
    NotConverged
        A scenario did not settle.
    OutOfRange, Inconsistent
        Inputs the model cannot work with, or a fit for another grain.
    """
    formulas = column_model(fitted, feed.grain)
    lanes = 5
    given = (
        dry_matter_rate,
        feed.moisture_wb,
        feed.temperature,
        conditions.ambient_temperature,
        conditions.ambient_relative_humidity,
        conditions.pressure,
        *(value for value in plenum_temperatures or () if value is not None),
    )
    shape = np.broadcast_shapes(*(np.shape(value) for value in given))
    one = (lanes, *(1,) * len(shape))
    nudges = np.zeros((4, *one))
    for row in range(4):
        nudges[row, row + 1] = 1.0
    wet = np.asarray(feed.moisture_wb, dtype=np.float64) - MOISTURE_NUDGE * nudges[3]
    profile = solve_column(
        dryer,
        conditions,
        replace(feed, moisture_wb=wet),
        np.asarray(dry_matter_rate, dtype=np.float64) * np.exp(-FACTOR_NUDGE * nudges[2]),
        model=replace(
            formulas,
            rate_factor=fitted.rate_factor * np.exp(FACTOR_NUDGE * nudges[0]),
            airflow_factor=fitted.airflow_factor * np.exp(FACTOR_NUDGE * nudges[1]),
        ),
        plenum_temperatures=plenum_temperatures,
    )
    return _predicted(np.broadcast_to(profile.outlet_moisture_wb, (lanes, *shape)), fitted, errors)


def _predicted(lanes: FloatArray, fitted: Fitted, errors: Errors | None) -> Prediction:
    rate, airflow, pace, wet = (
        (lanes[place] - lanes[0]) / nudge
        for place, nudge in enumerate((FACTOR_NUDGE,) * 3 + (MOISTURE_NUDGE,), start=1)
    )
    mixed = 2.0 * fitted.correlation * fitted.rate_spread * fitted.airflow_spread * rate * airflow
    factors = (rate * fitted.rate_spread) ** 2 + (airflow * fitted.airflow_spread) ** 2 + mixed
    noted = np.zeros_like(rate)
    if errors is not None:
        noted = (pace * errors.rate) ** 2 + (wet * errors.inlet_moisture) ** 2
        noted = noted + errors.outlet_moisture**2
    model = np.full_like(rate, fitted.discrepancy)
    spread = np.sqrt(np.maximum(factors, 0.0) + noted + model**2)
    half = NORMAL_90 * spread
    parts = (np.sqrt(np.maximum(factors, 0.0)), model, np.sqrt(noted))
    values = (lanes[0], spread, np.maximum(lanes[0] - half, 0.0), lanes[0] + half, *parts)
    return Prediction(*(np.asarray(value)[()] for value in values))


def _room() -> tuple[FloatArray, FloatArray]:
    low = np.log([RATE_FACTOR.low, AIRFLOW_FACTOR.low]) + ROOM
    return low, np.log([RATE_FACTOR.high, AIRFLOW_FACTOR.high]) - ROOM


def straighten(
    sheet: Sheet, slopes: Slopes, errors: Errors, prior: Prior, away: FloatArray
) -> Straight:
    """The linear problem around present factors.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    slopes : Slopes
        Predictions and derivatives.
    errors : Errors
        Errors of the sheet.
    prior : Prior
        What is believed.
    away : ndarray
        The prior's medians less the present factors, as logarithms [-].

    Returns
    -------
    Straight
        For `judge`.
    """
    seen = sheet.seen & slopes.solved[:, None]
    channels = sheet.channels
    lasting = [place for place, channel in enumerate(channels) if channel.kind != MOISTURE]
    offsets = np.eye(len(channels))[:, lasting]
    shape = (len(sheet.runs), len(channels), len(lasting))
    slope = np.concatenate([slopes.by_factor, np.broadcast_to(offsets, shape)], axis=-1)
    slope = np.where(seen[..., None], slope, 0.0)
    own = np.array([_own_error(channel, errors) for channel in channels])
    carried = np.where(seen[..., None], slopes.by_input, 0.0)
    noise = np.where(seen, own**2, 1.0)
    covariance = np.einsum("ick,idk->icd", carried, carried)
    covariance += np.einsum("ic,cd->icd", noise, np.eye(len(channels)))
    return Straight(
        np.where(seen, sheet.observed - slopes.predicted, 0.0),
        slope,
        covariance,
        seen,
        np.array([channel.thermal for channel in channels]),
        np.concatenate([away, np.zeros(len(lasting))]),
        _precision(prior, [_offset_spread(channels[place], errors) for place in lasting]),
    )


def _own_error(channel: Channel, errors: Errors) -> float:
    if channel.thermal:
        return errors.temperature
    # The heat of one run is noted as well as its rate; what it lacks in truth is an offset.
    return errors.rate if channel.kind == HEAT else errors.outlet_moisture


def _offset_spread(channel: Channel, errors: Errors) -> float:
    if channel.kind == HEAT:
        return errors.heat
    return EXHAUST_OFFSET if channel.kind == EXHAUST else SENSOR_OFFSET


def _precision(prior: Prior, offsets: list[float]) -> FloatArray:
    count = 2 + len(offsets)
    covariance = np.diag(np.array([prior.rate_spread, prior.airflow_spread, *offsets]) ** 2)
    covariance[0, 1] = prior.correlation * prior.rate_spread * prior.airflow_spread
    covariance[1, 0] = covariance[0, 1]
    return np.asarray(np.linalg.inv(covariance)).reshape(count, count)
