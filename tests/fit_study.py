"""Many invented dryers fitted side by side: how well factors and predictions do, and their bands.

Every dryer's runs are solved in one call a step, with the parts that `fit_dryer` is made of; the
steps are the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fit_runs import DIFFUSION, PAGE, THOMPSON, exactly, model_of, nominal_rate, noted, true_runs
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.fit import leaves_doubt
from outfeed.dryer.fit_descent import bounded, straighten
from outfeed.dryer.fit_lanes import Sheet, Slopes, sheet_of, slopes_at
from outfeed.dryer.fit_laws import averaged, chosen_law
from outfeed.dryer.fit_model import Errors, Prior
from outfeed.dryer.fit_posterior import judge
from outfeed.dryer.fit_words import Path

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
    law: str


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


def dryers(
    kinetics, count, runs, new, dryer, seed=7, *,
    sensors=True, exhaust=False, wide=0.03, energy=None,
):  # fmt: skip
    """Dryers with factors drawn about 1.5 on diffusion, 1 on other laws.

    An activation energy makes the truth a law that none of those fitted is.
    """
    groups = ([], [], [])
    logs = []
    for k in range(count):
        draw = np.random.default_rng([seed, k])
        middle = np.log(1.5 if kinetics == DIFFUSION else 1.0)
        log = np.array([draw.normal(middle, FACTOR_SPREAD), draw.normal(0.0, AIRFLOW_SPREAD)])
        model = replace(model_of(kinetics, *np.exp(log)), activation_energy=energy)
        truth = true_runs(draw, dryer, model, runs + new, nominal_rate(dryer, model), wide=wide)
        sheet = noted(draw, truth, sensors=sensors, exhaust=exhaust)
        groups[0].append(sheet[:runs])
        groups[1].append(exactly(truth)[runs:])
        groups[2].append(sheet[runs:])
        logs.append(log)
    return Dryers(*groups, np.array(logs).T, kinetics if energy is None else "another")


def _part(whole, rows):
    kept = ("dryer", "channels")
    names = [name for name in whole.__slots__ if name not in kept]
    return replace(whole, **{name: getattr(whole, name)[rows] for name in names})


def fit_all(dryer, groups, law, steps=3):
    """Where the steps of every dryer end under one law."""
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
            problem = straighten(*parts, errors, prior, start - logs[:, k])
            judged = judge(problem)
            logs[:, k] = bounded(logs[:, k], judged.mean[:2])
            end = logs[:, k].copy()
            found.append(Path(model, prior, parts[1], problem, judged, end, steps, 0.0))
    return found


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


def counterpart(dryer, law, made, steps=4):
    """Logarithm of the factor on another law that comes closest to each dryer's true outlets.

    That is what a true rate factor is under a law that is not the dryer's own: by least squares
    over its new runs without errors, at its true airflow.
    """
    bare = [replace(run, sensor_temperatures=()) for group in made.exact for run in group]
    sheet, size = sheet_of(dryer, bare), len(made.exact[0])
    model = ColumnModel(kinetics=law)
    logs = np.array([np.full(len(made.exact), np.log(float(model.rate))), made.logs[1]])
    for _ in range(steps):
        slopes = slopes_at(
            sheet, model, np.repeat(logs, size, axis=1), Errors(), np.zeros((len(bare), 1, 1))
        )
        left = np.where(slopes.solved, sheet.observed[:, 0] - slopes.predicted[:, 0], 0.0)
        slope = slopes.by_factor[:, 0, 0].reshape(-1, size)
        move = np.sum(left.reshape(-1, size) * slope, axis=1) / np.sum(slope**2, axis=1)
        logs[0] += np.clip(move, -0.6, 0.6)
    return logs[0]


def study(dryer, made, laws=LAWS):
    """Fit, choose the law as `fit_dryer` does, and predict the new runs."""
    fits = [fit_all(dryer, made.runs, law) for law in laws]
    ends = []
    for k, group in enumerate(made.runs):
        sheet, paths = sheet_of(dryer, group), [paths[k] for paths in fits]
        tried = paths if leaves_doubt(sheet, paths[0].found) else paths[:1]
        place = chosen_law(tried)
        ends.append((place, averaged(tried, place, tried[place].found), tried[place].logs))
    chosen, found, logs = zip(*ends, strict=True)
    logs = np.array(logs).T
    tables = [
        (*_predicted(dryer, law, logs, found, made.exact, None),
         *_predicted(dryer, law, logs, found, made.noted, Errors()))
        for law in laws
    ]  # fmt: skip
    picked = [np.array([tables[c][i][k] for k, c in enumerate(chosen)]) for i in range(4)]
    spread = np.array([np.sqrt(np.diag(item.covariance)[:2]) for item in found]).T
    off = logs - made.logs
    for place in set(chosen):
        if laws[place] != made.law:
            rows = np.flatnonzero(np.array(chosen) == place)
            off[0, rows] = logs[0, rows] - counterpart(dryer, laws[place], made)[rows]
    left = np.array([item.discrepancy for item in found])
    return Study(off[0], off[1], spread[0], spread[1], *picked, np.array(laws)[list(chosen)], left)
