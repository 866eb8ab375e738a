"""Stepping to the factors that suit the runs best, under one law of drying.

Every step solves the column of all runs and their derivatives in one call, which is what a fit
costs; the steps are therefore few. The first takes the outlet moistures on a scale on which the
drying done is close to straight against the rate factor, since the start may be far off.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.closures import AIRFLOW_FACTOR, RATE_FACTOR, ColumnModel
from outfeed.dryer.fit_alike import likeness
from outfeed.dryer.fit_lanes import (
    EXHAUST,
    HEAT,
    MOISTURE,
    Channel,
    Sheet,
    Slopes,
    slopes_at,
)
from outfeed.dryer.fit_model import Errors, Prior
from outfeed.dryer.fit_posterior import OFFSET_PER_MOISTURE, Straight, judge
from outfeed.dryer.fit_words import Path
from outfeed.dryer.inverse import FLOOR_MOISTURE
from outfeed.errors import NotConverged

STEPS = 15
TOLERANCE = 0.05
"""Step of the logarithms of the factors at which the fit ends [-]; the last step is taken, so that
what remains is of the order of its square: 0.01 point of outlet moisture."""
LONGEST_STEP = (1.5, 0.3)
"""Longest step of the logarithms of rate and airflow factor [-]."""
LEAST_DROP, LEAST_LEFT = 0.01, 1e-3
"""Moisture, wet basis, that a run has to lose for the scale of drying, and moisture, dry basis,
that it is taken to keep above the scale's end [-]."""
ROOM = 0.1
"""Distance that the logarithms keep from the ends of the factors' ranges [-]: nudges fit in."""
NEAR, TRUSTED = 0.25, 1.0
"""Step of the logarithms at which another law is compared well enough, and below which one straight
line is trusted to say that it is hopeless [-]."""
HOPELESS = 8.0
"""Loss of the logarithm of the evidence at which another law is given up [-]."""
SENSOR_OFFSET = 0.4
"""Standard deviation of a lasting offset of a grain thermometer against the column model [K]: an
assumption; a sensor sits somewhere between two duct rows, where grain differs by some degrees."""
EXHAUST_OFFSET = 3.0
"""The same for an exhaust temperature [K]: an assumption; ducts leak and walls lose heat."""


def descend(
    sheet: Sheet,
    model: ColumnModel,
    prior: Prior,
    errors: Errors,
    first: Path | None = None,
    least: float = -math.inf,
) -> Path:
    """Step near the best factors under one law, or until it is hopelessly behind others.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    model : ColumnModel
        The law; its factors are replaced.
    prior : Prior
        What is believed.
    errors : Errors
        Errors of the sheet.
    first : Path, optional
        Where another law ended: its airflow is a good start, and its derivatives by the inputs are
        good enough.
    least : float
        Evidence of the best law so far [-].

    Returns
    -------
    Path
        Where it ended, a step of `NEAR` from the best factors; `polish` takes the rest.

    Raises
    ------
    NotConverged
        No run's column settles, or the steps do not end.
    """
    start = _medians(prior)
    by_input = None
    if first is not None:
        by_input, start[1] = first.slopes.by_input, first.logs[1]
    path = _step(sheet, model, prior, errors, start, by_input, bent=True)
    for _ in range(STEPS):
        behind = path.found.evidence < least - HOPELESS
        if path.left < NEAR or (behind and path.left < TRUSTED):
            return path
        path = _after(path, _step(sheet, model, prior, errors, path.logs, by_input))
    raise _restless(path)


def polish(sheet: Sheet, path: Path, errors: Errors) -> Path:
    """Step from near the best factors to them.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    path : Path
        What `descend` gave.
    errors : Errors
        Errors of the sheet.

    Returns
    -------
    Path
        Judged on a straight line at the factors themselves.

    Raises
    ------
    NotConverged
        The steps do not end.
    """
    if path.left < TOLERANCE:
        return _unscaled(sheet, path, errors)
    by_input = None
    for _ in range(STEPS):
        found = _step(sheet, path.model, path.prior, errors, path.logs, by_input)
        path = _after(path, found)
        if path.left < TOLERANCE:
            return path
        by_input = path.slopes.by_input
    raise _restless(path)


def _step(
    sheet: Sheet,
    model: ColumnModel,
    prior: Prior,
    errors: Errors,
    logs: FloatArray,
    by_input: FloatArray | None,
    *,
    bent: bool = False,
) -> Path:
    """Solve the runs at given factors, judge them and aim further."""
    slopes = slopes_at(sheet, model, logs, errors, by_input)
    if not np.any(slopes.solved):
        raise NotConverged("the column of every run", (-math.inf, math.inf), TOLERANCE)
    used = _unbent(sheet, slopes) if bent else slopes
    problem = straighten(sheet, used, errors, prior, _medians(prior) - logs)
    found = judge(problem)
    aim = bounded(logs, found.mean[:2])
    left = float(np.max(np.abs(aim - logs)))
    return Path(model, prior, slopes, problem, found, aim, 1, left)


def _unscaled(sheet: Sheet, path: Path, errors: Errors) -> Path:
    """The last step once more in moistures themselves."""
    away = path.problem.mean[:2]
    problem = straighten(sheet, path.slopes, errors, path.prior, away)
    found = judge(problem)
    aim = bounded(_medians(path.prior) - away, found.mean[:2])
    return replace(path, problem=problem, found=found, logs=aim)


def _medians(prior: Prior) -> FloatArray:
    return np.log([prior.rate_factor, prior.airflow_factor])


def _after(before: Path, path: Path) -> Path:
    return replace(path, steps=before.steps + path.steps)


def _restless(path: Path) -> NotConverged:
    low, high = float(np.min(path.logs)), float(np.max(path.logs))
    return NotConverged("the fit to the runs", (low, high), TOLERANCE)


def _unbent(sheet: Sheet, slopes: Slopes) -> Slopes:
    """Outlet moistures read off the scale of drying, slopes as at what was observed.

    Far from the runs a straight line in moisture overshoots; in the drying done it hardly does.
    """
    inlet = np.array([run.inlet_moisture_wb for run in sheet.runs])
    observed = sheet.observed[:, 0]
    dried = slopes.solved & (np.maximum(observed, slopes.predicted[:, 0]) < inlet - LEAST_DROP)
    wanted, here = (
        np.where(dried, outlet, 0.5 * inlet) for outlet in (observed, slopes.predicted[:, 0])
    )
    steep, steep_here = (_drying_slope(inlet, outlet) for outlet in (wanted, here))
    away = (_drying(inlet, wanted) - _drying(inlet, here)) / steep
    stretch = np.ones_like(slopes.predicted)
    stretch[:, 0] = np.where(dried, steep_here / steep, 1.0)
    moved = slopes.predicted.copy()
    moved[:, 0] = np.where(dried, observed - away, slopes.predicted[:, 0])
    return replace(
        slopes,
        predicted=moved,
        by_factor=slopes.by_factor * stretch[..., None],
        by_input=slopes.by_input * stretch[..., None],
    )


def _drying(inlet: FloatArray, outlet: FloatArray) -> FloatArray:
    """Drying done, from moistures, wet basis: close to straight against the logarithm of a rate."""
    inlet, outlet = inlet / (1.0 - inlet), outlet / (1.0 - outlet)
    left = np.maximum(outlet - FLOOR_MOISTURE, LEAST_LEFT)
    return np.asarray(np.log(np.log((inlet - FLOOR_MOISTURE) / left)))


def _drying_slope(inlet: FloatArray, outlet: FloatArray) -> FloatArray:
    """Change of the drying done per outlet moisture, wet basis."""
    ratio = inlet / (1.0 - inlet) - FLOOR_MOISTURE
    left = np.maximum(outlet / (1.0 - outlet) - FLOOR_MOISTURE, LEAST_LEFT)
    return np.asarray(-1.0 / (left * np.log(ratio / left) * (1.0 - outlet) ** 2))


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
        np.array([0.0, 0.0, *(OFFSET_PER_MOISTURE * channels[k].thermal for k in lasting)]),
        likeness(sheet, errors),
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
