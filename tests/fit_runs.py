"""Invented settled runs of a dryer, with the errors of a farm's sheet, that the fit tests share."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Feed
from outfeed.dryer.fit import Run
from outfeed.dryer.inverse import rate_for_moisture

DIFFUSION = "kinetics.diffusion.henderson-pabis-1961"
THOMPSON = "kinetics.thompson-1968"
PAGE = "kinetics.page.misra-brooker-1980"


def with_sensors(dryer, places=(0.6, 0.95)):
    """The dryer with column sensors in its last heated zone."""
    last = max(k for k, zone in enumerate(dryer.zones) if zone.heated)
    zones = [
        replace(zone, sensors=places if k == last else ()) for k, zone in enumerate(dryer.zones)
    ]
    return replace(dryer, zones=tuple(zones))


@dataclass(frozen=True)
class Truth:
    """Runs as they were in truth: arrays over runs."""

    rate: np.ndarray
    moisture: np.ndarray
    warmth: np.ndarray
    ambient: np.ndarray
    humidity: np.ndarray
    plenums: list
    outlet: np.ndarray
    sensors: np.ndarray
    exhaust: np.ndarray
    heat: np.ndarray


def nominal_rate(dryer, model):
    """Rate that takes 22 % corn to 15.5 % on a mild day."""
    return rate_for_moisture(
        dryer, Conditions(10.0, 0.7), Feed(0.22, 10.0), 0.155, model=model
    ).dry_matter_rate


def true_runs(draw, dryer, model, wanted, nominal, *, wide=0.03):
    """Settled runs of a season: lots, weather and plenums vary, the operator aims at 15.5 %."""
    count = wanted + 6
    ambient = draw.normal(8.0, 6.0, count)
    humidity = draw.uniform(0.5, 0.95, count)
    moisture = np.clip(draw.normal(0.215, wide, count), 0.17, 0.29)
    warmth = ambient + draw.normal(1.0, 2.0, count)
    shift = draw.normal(0.0, 5.0, count)
    plenums = [None if value is None else value + shift for value in dryer.plenum_temperatures]
    # Some 0.92 point of outlet a point of inlet, 6.6 points a unit of the rate's logarithm; the
    # operator follows it in part and misses by several percent.
    aim = nominal * np.exp(-11.0 * (moisture - 0.22) + 0.012 * shift + draw.normal(0.0, 0.1, count))
    profile = solve_column(
        dryer, Conditions(ambient, humidity), Feed(moisture, warmth), aim,
        model=model, plenum_temperatures=plenums, flag=True,
    )  # fmt: skip
    fine = np.flatnonzero(profile.converged)[:wanted]
    if fine.size < wanted:
        raise AssertionError("too few invented runs settle")
    exhaust = np.array([zone.exhaust_temperature for zone in profile.zones])
    return Truth(
        aim[fine], moisture[fine], warmth[fine], ambient[fine], humidity[fine],
        [None if value is None else value[fine] for value in plenums],
        profile.outlet_moisture_wb[fine],
        np.array(profile.sensor_temperature).reshape(-1, count)[:, fine],
        exhaust[:, fine], profile.heat[fine],
    )  # fmt: skip


def noted(draw, truth, *, sensors=True, exhaust=False, heat=False):
    """The sheet: moisture off by 0.3 point, rate by 5 %, temperatures by 1 degC."""
    count = truth.rate.size
    wet, out = (value + draw.normal(0.0, 0.003, count) for value in (truth.moisture, truth.outlet))
    rate = truth.rate * np.exp(draw.normal(0.0, 0.05, count))
    warm, ambient = (v + draw.normal(0.0, 1.0, count) for v in (truth.warmth, truth.ambient))
    plenums = [None if v is None else v + draw.normal(0.0, 1.0, count) for v in truth.plenums]
    read = truth.sensors + draw.normal(0.0, 1.0, truth.sensors.shape)
    gone = truth.exhaust + draw.normal(0.0, 1.0, truth.exhaust.shape)
    burnt = truth.heat * np.exp(draw.normal(0.0, 0.05, count))
    return [
        Run(
            float(ambient[k]), float(truth.humidity[k]), float(wet[k]), float(warm[k]),
            float(rate[k]), float(out[k]),
            plenum_temperatures=tuple(None if v is None else float(v[k]) for v in plenums),
            sensor_temperatures=tuple(float(v) for v in read[:, k]) if sensors else (),
            exhaust_temperatures=tuple(float(v) for v in gone[:, k]) if exhaust else (),
            heat=float(burnt[k]) if heat else None,
        )
        for k in range(count)
    ]  # fmt: skip


def exactly(truth, *, sensors=False, exhaust=False):
    """The sheet without any error."""
    return [
        Run(
            float(truth.ambient[k]), float(truth.humidity[k]), float(truth.moisture[k]),
            float(truth.warmth[k]), float(truth.rate[k]), float(truth.outlet[k]),
            plenum_temperatures=tuple(None if v is None else float(v[k]) for v in truth.plenums),
            sensor_temperatures=tuple(float(v) for v in truth.sensors[:, k]) if sensors else (),
            exhaust_temperatures=tuple(float(v) for v in truth.exhaust[:, k]) if exhaust else (),
        )
        for k in range(truth.rate.size)
    ]  # fmt: skip


def model_of(kinetics, factor, airflow=1.0):
    """Column model of the truth."""
    return ColumnModel(kinetics=kinetics, rate_factor=factor, airflow_factor=airflow)
