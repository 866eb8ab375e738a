"""What is thought of a dryer before its own readings have spoken.

How far the discharge moisture moves per degree of column temperature, and what wetter grain does at
one column temperature, depend on the dryer, on where its sensors sit and on how much water it takes
off: at 18 % inlet moisture a degree is worth a third of what it is worth at 22 %. Where a dryer is
described the column model answers for it; where none is, one general value stands in, with a wide
band. Either is a prior: the caller's own readings replace it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Literal

import numpy as np

from outfeed.dryer.assume import with_sensors
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.inverse import OutOfReach, rate_for_moisture
from outfeed.dryer.sensitivity import sensitivities
from outfeed.errors import NotConverged
from outfeed.methods import DERIVED, Method
from outfeed.steering.belief import (
    INLET_PER_SENSITIVITY,
    PRIOR_INLET_EFFECT,
    PRIOR_INLET_EFFECT_SD,
    PRIOR_SENSITIVITY,
    PRIOR_SENSITIVITY_SD,
    SENSITIVITY,
)
from outfeed.steering.inlet_rate import RateSlope
from outfeed.steering.steady import COLUMN_PER_INLET, COLUMN_PER_TIME

KINETICS_DOUBT = 0.40
"""SD of a modelled sensitivity as a share of it where the kinetics were not fitted to the dryer:
over the published kinetics and 0.6 to 1.7 times their rate it spreads from 0.3 to 1.5 times."""

FITTED_DOUBT = 0.20
"""The same after a fit to the dryer's own runs: what is left of weather, airflow and sensors moves
it by a tenth to a fifth in the model; chosen, no source."""

INLET_DOUBT = 0.15
"""SD of the inlet effect were the sensitivity known; chosen, no source."""

DRYER_PRIOR = Method(
    "steering.prior.column-model",
    "points of moisture per degree and inlet effect of the described dryer, steering by rate",
    "central differences of the column model at the dryer's rate and inlet moisture",
    DERIVED,
    note="from a model, never a promise; your own readings replace it",
)
METHODS = (DRYER_PRIOR,)

Origin = Literal["general", "dryer", "stated"]


@dataclass(frozen=True, slots=True)
class Prior:
    """What is thought before any reading.

    Attributes
    ----------
    origin : str
        "general", "dryer" (the column model) or "stated" by the caller.
    sensitivity, sensitivity_sd : float
        Change of discharge moisture per kelvin of column temperature [1/K], steering by rate.
    inlet_effect, inlet_effect_sd : float
        Change of discharge moisture per change of inlet moisture at one column temperature [-];
        the SD were the sensitivity known.
    inlet_per_sensitivity : float
        Change of the inlet effect per change of the sensitivity [K].
    column_per_time : float
        Column temperature per unit of the logarithm of the time in the dryer [K].
    column_per_inlet : float
        Column temperature per unit of inlet moisture at one rate [K].
    rate_slope : RateSlope
        How the discharge rate answers inlet moisture where the outlet is kept.
    sensors_assumed : bool
        Whether no sensors were described and the middle of the lowest heated zone stood in.
    """

    origin: Origin
    sensitivity: float
    sensitivity_sd: float
    inlet_effect: float
    inlet_effect_sd: float
    inlet_per_sensitivity: float
    column_per_time: float
    column_per_inlet: float
    rate_slope: RateSlope
    sensors_assumed: bool = False


GENERAL = Prior(
    "general",
    PRIOR_SENSITIVITY,
    PRIOR_SENSITIVITY_SD,
    PRIOR_INLET_EFFECT,
    PRIOR_INLET_EFFECT_SD,
    INLET_PER_SENSITIVITY,
    COLUMN_PER_TIME,
    COLUMN_PER_INLET,
    RateSlope(),
)
"""Mixed flow, corn, 20 to 28 % inlet moisture."""


def dryer_prior(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    dry_matter_rate: float | None = None,
    *,
    model: ColumnModel | None = None,
    fitted: bool = False,
) -> Prior | None:
    """What the column model says of a described dryer.

    The rate that the caller runs and the rate at which the model meets the target differ where the
    model errs; the sensitivity is the mean of both, and half of their distance widens its doubt.

    Parameters
    ----------
    dryer : Dryer
        The description; its sensors say what the column temperature is.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    dry_matter_rate : float, optional
        Dry matter through the dryer [kg/s]; the rate that meets the target when left out.
    model : ColumnModel, optional
        Which formulas.
    fitted : bool
        Whether the model was fitted to runs of this dryer.

    Returns
    -------
    Prior or None
        None where the model does not settle, or its column temperature does not answer the rate
        as that of a dryer does: then the general prior is the better guess.

    Raises
    ------
    OutOfRange
        A value outside the domain of the column model.
    """
    sensed, assumed = with_sensors(dryer)
    rates = [] if dry_matter_rate is None else [dry_matter_rate]
    try:
        rates.append(
            rate_for_moisture(sensed, conditions, feed, target_moisture_wb, model=model)
            .dry_matter_rate
        )  # fmt: skip
    except (OutOfReach, NotConverged):
        if dry_matter_rate is None:
            return None
    found = [
        prior
        for rate in rates
        if (prior := _at_rate(sensed, conditions, feed, rate, target_moisture_wb, model))
    ]
    return _joined(found, assumed, FITTED_DOUBT if fitted else KINETICS_DOUBT) if found else None


def stated_prior(prior: Prior, sensitivity: float | None, sensitivity_sd: float | None) -> Prior:
    """A prior with what the caller says of the sensitivity.

    Parameters
    ----------
    prior : Prior
        What stood before.
    sensitivity : float or None
        The caller's change of moisture per kelvin [1/K], -0.05 to -0.0005.
    sensitivity_sd : float or None
        Its SD [1/K].

    Returns
    -------
    Prior
        The inlet effect moves with the sensitivity.

    Raises
    ------
    OutOfRange
        A sensitivity outside its range.
    """
    if sensitivity_sd is not None:
        prior = replace(prior, sensitivity_sd=sensitivity_sd)
    if sensitivity is None:
        return prior
    SENSITIVITY.check(sensitivity, "sensitivity")
    shift = prior.inlet_per_sensitivity * (sensitivity - prior.sensitivity)
    # a caller who states no doubt is not surer than the general prior
    doubt = PRIOR_SENSITIVITY_SD if sensitivity_sd is None else sensitivity_sd
    return replace(
        prior,
        origin="stated",
        sensitivity=sensitivity,
        sensitivity_sd=doubt,
        inlet_effect=prior.inlet_effect + shift,
    )


def _at_rate(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    rate: float,
    target_wb: float,
    model: ColumnModel | None,
) -> Prior | None:
    """From the sensitivities of the column settled at a rate."""
    try:
        by_rate, by_inlet = sensitivities(
            dryer, conditions, feed, rate, model=model, only=("rate", "inlet-moisture")
        )
    except NotConverged:
        return None
    column_per_rate, column_per_inlet = by_rate.column_temperature, by_inlet.column_temperature
    if column_per_rate is None or column_per_inlet is None or column_per_rate >= 0.0:
        return None
    slope = by_rate.outlet_moisture / column_per_rate
    if not SENSITIVITY.contains(slope):
        return None
    effect = by_inlet.outlet_moisture - slope * column_per_inlet
    per_inlet = -by_inlet.outlet_moisture / by_rate.outlet_moisture
    return Prior(
        "dryer", slope, 0.0, effect, INLET_DOUBT, -column_per_inlet, -column_per_rate,
        column_per_inlet, RateSlope(per_inlet, float(np.asarray(feed.moisture_wb)), target_wb),
    )  # fmt: skip


def _joined(found: list[Prior], sensors_assumed: bool, doubt: float) -> Prior:
    """The mean of one or two priors, half their distance added to the doubt."""
    first, last = found[0], found[-1]

    def mean(name: str) -> float:
        return 0.5 * (float(getattr(first, name)) + float(getattr(last, name)))

    sensitivity = mean("sensitivity")
    per_inlet = 0.5 * (first.rate_slope.per_inlet + last.rate_slope.per_inlet)
    apart = 0.5 * abs(first.sensitivity - last.sensitivity)
    return Prior(
        "dryer",
        sensitivity,
        hypot(doubt * sensitivity, apart),
        mean("inlet_effect"),
        INLET_DOUBT,
        mean("inlet_per_sensitivity"),
        mean("column_per_time"),
        mean("column_per_inlet"),
        replace(first.rate_slope, per_inlet=per_inlet),
        sensors_assumed,
    )


def inlet_effect_spread(prior: Prior) -> float:
    """Standard deviation of the inlet effect, the sensitivity's doubt included.

    Parameters
    ----------
    prior : Prior
        What is thought.

    Returns
    -------
    float
        Standard deviation [-].
    """
    through = prior.inlet_per_sensitivity * prior.sensitivity_sd
    return sqrt(prior.inlet_effect_sd**2 + through**2)
