"""The first fill of a mixed-flow column, mixed as it leaves.

Standing grain dries hardest beside the rows of inlet ducts and hardly beside the exhaust rows, so a
held column leaves in stripes, one of each sort over a pitch of the ducts. The stripes are the
model's, not its cells': with four times the plugs in a bed they swing twice as far. Ducts and the
discharge mix what lies so near together (common practice, no source), and only what is mixed over a
pitch can be counted: it hardly depends on the number of plugs.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.description import Dryer
from outfeed.dryer.mixed_flow import layer_counts
from outfeed.dryer.transient import Response

BEDS_PER_PITCH = 2.0
"""Half-pitch beds from one row of inlet ducts to the next."""
ROUNDING = 1e-9
"""Share by which a sum of plugs may miss the hold-up [-]."""


def first_fill_mixed(response: Response, dryer: Dryer) -> Response:
    """A trace whose first fill is mixed with what leaves within half a pitch before and after.

    Parameters
    ----------
    response : Response
        The traces of a column that started full of grain as fed.
    dryer : Dryer
        The description.

    Returns
    -------
    Response
        With moisture and temperature of the first fill at the discharge mixed by dry matter; what
        enters behind it never stood and stays as it is. The same traces where no grain leaves, or
        in a column without rows of ducts.
    """
    mass = np.diff(response.discharged, prepend=0.0)
    leaves = (mass > 0.0) & (response.discharged <= dryer.hold_up_dry_matter * (1.0 + ROUNDING))
    if dryer.kind != "mixed-flow" or not np.any(leaves):
        return response
    beds = sum(layer_counts(dryer.heights, dryer.half_pitch))
    pitch = BEDS_PER_PITCH * dryer.hold_up_dry_matter / beds
    wet = response.outlet_moisture_wb
    moisture = _mean(wet / (1.0 - wet), mass, leaves, pitch)
    warm = _mean(response.outlet_temperature, mass, leaves, pitch)
    return replace(
        response, outlet_moisture_wb=moisture / (1.0 + moisture), outlet_temperature=warm
    )


def _mean(values: FloatArray, mass: FloatArray, leaves: BoolArray, span: float) -> FloatArray:
    """Running mean over a span of mass, by mass; values where nothing leaves stay."""
    ends = np.append(0.0, np.cumsum(mass[leaves]))
    carried = np.append(0.0, np.cumsum((values * mass)[leaves]))
    middle = ends[1:] - 0.5 * mass[leaves]
    low, high = (np.clip(middle + half, 0.0, ends[-1]) for half in (-0.5 * span, 0.5 * span))
    found = values.copy()
    found[leaves] = (np.interp(high, ends, carried) - np.interp(low, ends, carried)) / (high - low)
    return found
