"""Many invented dryers fitted side by side: how well factors and predictions do, and their bands.

Every dryer's runs are solved in one call a step, with the parts that `fit_dryer` is made of; the
steps are the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fit_runs import DIFFUSION, PAGE, THOMPSON, exactly, model_of, nominal_rate, noted, true_runs
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.fit import SWITCH, bounded, leaves_doubt, straighten
from outfeed.dryer.fit_lanes import Sheet, Slopes, sheet_of, slopes_at
from outfeed.dryer.fit_model import Errors, Prior
from outfeed.dryer.fit_posterior import judge

BAND = 1.645
LAWS = (DIFFUSION, THOMPSON, PAGE)
FACTOR_SPREAD, AIRFLOW_SPREAD = 0.3, 0.15


@dataclass(frozen=True)
class Dryers:
    """Invented dryers: runs to fit, and new runs exactly and as noted."""

    runs: list
    exact: list
    noted: list
    logs: np.ndarray


@dataclass(frozen=True)
class Study:
    """What came of them; errors in units of the logarithm or of moisture."""

    factor: np.ndarray
    airflow: np.ndarray
    factor_spread: np.ndarray
    airflow_spread: np.ndarray
    truth: np.ndarray
    truth_spread: np.ndarray
    reading: np.ndarray
    reading_spread: np.ndarray
    law: np.ndarray
    discrepancy: np.ndarray


def rms(values):
    """Root mean square."""
    return float(np.sqrt(np.nanmean(np.square(values))))


def covered(errors, spreads):
    """Share of errors inside the 90 % band."""
    known = np.isfinite(errors)
    return float(np.mean(np.abs(errors[known]) < BAND * spreads[known]))


def dryers(kinetics, count, runs, new, dryer, seed=7, *, sensors=True, exhaust=False, wide=0.03):
    """Dryers with factors drawn about 1.5 on diffusion, 1 on other laws."""
    groups = ([], [], [])
    logs = []
    for k in range(count):
        draw = np.random.default_rng([seed, k])
        middle = np.log(1.5 if kinetics == DIFFUSION else 1.0)
        log = np.array([draw.normal(middle, FACTOR_SPREAD), draw.normal(0.0, AIRFLOW_SPREAD)])
        model = model_of(kinetics, *np.exp(log))
        truth = true_runs(draw, dryer, model, runs + new, nominal_rate(dryer, model), wide=wide)
        sheet = noted(draw, truth, sensors=sensors, exhaust=exhaust)
        groups[0].append(sheet[:runs])
        groups[1].append(exactly(truth)[runs:])
        groups[2].append(sheet[runs:])
        logs.append(log)
    return Dryers(*groups, np.array(logs).T)


def _part(whole, rows):
    kept = ("dryer", "channels")
    names = [name for name in whole.__slots__ if name not in kept]
    return replace(whole, **{name: getattr(whole, name)[rows] for name in names})


def fit_all(dryer, groups, law, steps=3):
    """Logarithms of the factors and judgement of every dryer under one law."""
    errors, model, size = Errors(), ColumnModel(kinetics=law), len(groups[0])
    sheet: Sheet = sheet_of(dryer, [run for group in groups for run in group])
    prior = Prior(float(model.rate))
    start = np.log([prior.rate_factor, prior.airflow_factor])
    logs = np.tile(start[:, None], (1, len(groups)))
    by_input = None
    found = []
    for _ in range(steps):
        slopes: Slopes = slopes_at(sheet, model, np.repeat(logs, size, axis=1), errors, by_input)
        found = []
        for k in range(len(groups)):
            rows = slice(k * size, (k + 1) * size)
            parts = (_part(sheet, rows), _part(slopes, rows))
            found.append(judge(straighten(*parts, errors, prior, start - logs[:, k])))
            logs[:, k] = bounded(logs[:, k], found[-1].mean[:2])
    return logs, found


def _predicted(dryer, law, logs, found, groups, errors):
    size = len(groups[0])
    bare = [
        replace(run, sensor_temperatures=(), exhaust_temperatures=())
        for group in groups
        for run in group
    ]
    sheet = sheet_of(dryer, bare)
    repeated = np.repeat(logs, size, axis=1)
    slopes = slopes_at(sheet, ColumnModel(kinetics=law), repeated, errors or Errors())
    factors = np.repeat(np.array([item.covariance[:2, :2] for item in found]), size, axis=0)
    slope = slopes.by_factor[:, 0]
    variance = np.einsum("ij,ijk,ik->i", slope, factors, slope)
    variance += np.repeat([item.discrepancy**2 for item in found], size)
    if errors is not None:
        variance += np.sum(slopes.by_input[:, 0] ** 2, axis=1) + errors.outlet_moisture**2
    error = np.where(slopes.solved, sheet.observed[:, 0] - slopes.predicted[:, 0], np.nan)
    return error.reshape(-1, size), np.sqrt(variance).reshape(-1, size)


def study(dryer, made, laws=LAWS):
    """Fit, choose the law as `fit_dryer` does, and predict the new runs."""
    fits = [fit_all(dryer, made.runs, law) for law in laws]
    evidence = np.array([[item.evidence for item in found] for _, found in fits])
    sheets = [sheet_of(dryer, group) for group in made.runs]
    doubt = [leaves_doubt(*pair) for pair in zip(sheets, fits[0][1], strict=True)]
    better = (np.max(evidence, axis=0) > evidence[0] + SWITCH) & np.array(doubt)
    chosen = np.where(better, np.argmax(evidence, axis=0), 0)
    tables = [
        (*_predicted(dryer, law, *fit, made.exact, None),
         *_predicted(dryer, law, *fit, made.noted, Errors()))
        for law, fit in zip(laws, fits, strict=True)
    ]  # fmt: skip
    picked = [np.array([tables[c][i][k] for k, c in enumerate(chosen)]) for i in range(4)]
    logs = np.array([fits[c][0][:, k] for k, c in enumerate(chosen)]).T
    found = [fits[c][1][k] for k, c in enumerate(chosen)]
    spread = np.array([np.sqrt(np.diag(item.covariance)[:2]) for item in found]).T
    off = logs - made.logs
    left = np.array([item.discrepancy for item in found])
    return Study(off[0], off[1], spread[0], spread[1], *picked, np.array(laws)[chosen], left)
