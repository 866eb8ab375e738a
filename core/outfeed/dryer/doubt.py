"""The column model with its band: what is not known about a dryer, carried through the column.

The column is solved at the values given and again at both ends of everything that was assumed or
fitted; what each end moves is combined as the root of the sum of squares into a 90 % band. The
band of the rate never falls below what one balance of a dryer is good for, 12 % (standard
deviation), unless the dryer was fitted to its own runs: then the uncertainty of the fit stands,
with what the model leaves unexplained.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.assume import Assumption
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.doubt_bands import Banded, Way, banded
from outfeed.dryer.doubt_lanes import RATE_FACTOR, FitDoubt, Lanes, lane_of, outlet_wb
from outfeed.dryer.estimate import NORMAL_90
from outfeed.dryer.inverse import drying_scale, rate_for_moisture
from outfeed.dryer.layers import TOLERANCE
from outfeed.dryer.opening import BALANCE_SPREAD
from outfeed.dryer.profile import ColumnProfile
from outfeed.errors import NotConverged
from outfeed.methods import COMMON_PRACTICE
from outfeed.thin_layer import DIFFUSION

DISAGREEMENT = 3.0
"""How far published thin-layer laws of corn lie apart near 40 degC, where grain sits in a
mixed-flow dryer [-]: Henderson & Pabis 1961 over Thompson et al. 1968, computed from both."""
FIRST_POWER = 0.8
"""First guess of how the drying scale falls with the rate [-]."""
_ENDS = np.array([1.0, -1.0])  # the rate at the low and at the high end of its own spread


def assumed_rate_factor(model: ColumnModel) -> Assumption:
    """The multiplier on the kinetics of a dryer that has not been fitted.

    Parameters
    ----------
    model : ColumnModel
        Which formulas.

    Returns
    -------
    Assumption
        Value and range [-].
    """
    value, around = float(model.rate), math.sqrt(DISAGREEMENT)
    if model.law == DIFFUSION:
        why = (
            "How fast grain dries in this dryer was not fitted. The rate factor is 1.5 on the "
            "diffusion kinetics, chosen so that the common-practice band (column at 95 to 105 degF "
            "for 15 to 16 % out) is met; a fit to your own runs replaces it."
        )
    else:
        why = (
            "How fast grain dries in this dryer was not fitted; the published kinetics are taken "
            "as they are."
        )
    source = f"{COMMON_PRACTICE}; range: published thin-layer laws disagree threefold near 40 degC"
    return Assumption(RATE_FACTOR, value, value / around, value * around, "", why, source)


def settled(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    dry_matter_rate: float,
    model: ColumnModel,
    *,
    assumptions: Sequence[Assumption] = (),
    fit: FitDoubt | None = None,
) -> Banded:
    """What a dryer settles at, with its band.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    dry_matter_rate : float
        Dry matter through the dryer [kg/s].
    model : ColumnModel
        Which formulas; numbers.
    assumptions : sequence of Assumption
        Which inputs were assumed.
    fit : FitDoubt, optional
        How well the model's factors are known; None when they were not fitted.

    Returns
    -------
    Banded
        The column and its bands.

    Raises
    ------
    NotConverged
        The column did not settle.
    """
    lanes = Lanes(dryer, conditions, feed, model, assumptions, fit)
    off = 1.0 + NORMAL_90 * BALANCE_SPREAD
    rates = np.concatenate([np.full(lanes.count, dry_matter_rate), dry_matter_rate / off**_ENDS])
    ends = lanes.solve(rates)
    if not ends.converged[0]:
        error = float(ends.error[0])
        raise NotConverged("the column", (-error, error), TOLERANCE)
    return banded(lanes, lane_of(ends, 0), ends, rates, Way.of(ends, off, fit, met=False))


def meeting(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    model: ColumnModel,
    *,
    assumptions: Sequence[Assumption] = (),
    fit: FitDoubt | None = None,
) -> Banded:
    """The rate that meets a target, with its band.

    Parameters
    ----------
    dryer : Dryer
        The description.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    model : ColumnModel
        Which formulas; numbers.
    assumptions : sequence of Assumption
        Which inputs were assumed.
    fit : FitDoubt, optional
        How well the model's factors are known; None when they were not fitted.

    Returns
    -------
    Banded
        Rate and column; temperatures at the ends of the band are those at which the target is
        still met.

    Raises
    ------
    OutOfReach
        No rate meets it.
    NotConverged
        The column or the search did not settle.
    """
    setting = rate_for_moisture(dryer, conditions, feed, target_moisture_wb, model=model)
    lanes = Lanes(dryer, conditions, feed, model, assumptions, fit)
    off = 1.0 + NORMAL_90 * BALANCE_SPREAD
    best = setting.dry_matter_rate
    rates = np.concatenate([np.full(lanes.count, best), best / off**_ENDS])
    first = lanes.solve(rates)
    power, goal = _power(lanes, first, off), drying_scale(lanes.inlet, target_moisture_wb)
    moved = rates * np.exp((goal - _scale(lanes, first)) / power)
    moved[-2:] = rates[-2:]
    second = lanes.solve(moved)
    left = np.exp((goal - _scale(lanes, second)) / power)
    final = np.where(second.converged, moved * left, best)
    final[0], final[-2:] = best, rates[-2:]
    return banded(lanes, setting.profile, second, final, Way.of(second, off, fit, met=True))


def _scale(lanes: Lanes, profile: ColumnProfile) -> FloatArray:
    return np.asarray(drying_scale(lanes.inlet, outlet_wb(profile)))


def _power(lanes: Lanes, profile: ColumnProfile, off: float) -> float:
    """How the drying done falls with the rate, from the two lanes at other rates."""
    slow, fast = _scale(lanes, profile)[-2:]
    if not np.all(profile.converged[-2:]):
        return FIRST_POWER
    return float(max((fast - slow) / (2.0 * math.log(off)), 0.1))
