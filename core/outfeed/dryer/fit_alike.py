"""How alike the runs of a sheet are: a run noted twice is one measurement, not two.

Numbers that were read anew scatter by their errors; two runs whose numbers lie nearer together than
that were not read anew, and what is wrong in one is wrong in the other.
"""

from __future__ import annotations

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.fit_lanes import Sheet
from outfeed.dryer.fit_model import Errors

NEAR = 0.5
"""How near two runs lie that are much the same measurement, in errors of the sheet [-]: chosen, no
source. Numbers read anew seldom fall so near together in all columns at once."""
LEAST_LIKENESS = 0.01
"""Likeness below which two runs are each their own measurement [-]: chosen, no source."""
SPREAD = 2.0
"""Standard deviation of inlet moisture, rate or a plenum over the runs, in errors of the sheet,
from which they tell of more than one state of the dryer [-]: chosen, no source."""


def likeness(sheet: Sheet, errors: Errors) -> FloatArray:
    """How far two runs are one measurement.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    errors : Errors
        Errors of the sheet.

    Returns
    -------
    ndarray
        Runs by runs: one for a run noted twice, zero for runs whose numbers lie apart as numbers
        read anew do [-]. It falls with their distance as a normal density does: chosen, no source.
    """
    apart = np.concatenate([_set(sheet, errors), _met(sheet, errors)], axis=1)
    squares = np.sum((apart[:, None] - apart[None]) ** 2, axis=-1)
    alike = np.exp(-0.5 * squares / NEAR**2)
    return np.where(alike < LEAST_LIKENESS, 0.0, alike)


def spread_out(sheet: Sheet, errors: Errors) -> bool:
    """Whether the runs tell of more than one state of the dryer.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    errors : Errors
        Errors of the sheet.

    Returns
    -------
    bool
        False where inlet moistures, rates and plenums are all alike.
    """
    return bool(np.max(np.std(_set(sheet, errors), axis=0)) >= SPREAD)


def _set(sheet: Sheet, errors: Errors) -> FloatArray:
    """Inlet moisture, rate and plenums of every run, in their errors."""
    wet = [run.inlet_moisture_wb / errors.inlet_moisture for run in sheet.runs]
    rate = [np.log(run.dry_matter_rate) / errors.rate for run in sheet.runs]
    heated = [index for index, zone in enumerate(sheet.dryer.zones) if zone.heated]
    return np.column_stack([wet, rate, sheet.plenums[:, heated] / errors.temperature])


def _met(sheet: Sheet, errors: Errors) -> FloatArray:
    """Weather, inlet temperature and outlet moisture of every run, in their errors."""
    warm = [[run.ambient_temperature, run.inlet_temperature] for run in sheet.runs]
    out = [run.outlet_moisture_wb / errors.outlet_moisture for run in sheet.runs]
    return np.column_stack([np.array(warm) / errors.temperature, out])
