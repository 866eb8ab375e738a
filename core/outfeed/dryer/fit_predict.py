"""What a fitted dryer will do: its outlet moisture with a 90 % band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.estimate import NORMAL_90
from outfeed.dryer.fit_lanes import FACTOR_NUDGE, MOISTURE_NUDGE
from outfeed.dryer.fit_model import Errors, Fitted, column_model
from outfeed.dryer.fit_result import Prediction


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
