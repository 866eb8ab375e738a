"""What is thought of the dryer before its readings: stated, modelled, or the general value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from outfeed.dryer.task import INLET_MOISTURE
from outfeed.errors import Inconsistent, NotPublished
from outfeed.methods import MethodUse, use
from outfeed.steering import prior as priors
from outfeed.steering.inlet import InletLog
from outfeed.steering.pairs import Transport, inlet_at
from outfeed.weather import HOUR
from outfeed_api.models import Assumed
from outfeed_api.moments import in_one_form
from outfeed_api.routes.air_hours import air_hours
from outfeed_api.routes.column_input import formulas_of, refuse_fit_alone
from outfeed_api.routes.column_setup import followed_machine
from outfeed_api.routes.dryer_input import Machine
from outfeed_api.routes.dryer_models import DryerGiven, DryerRequest
from outfeed_api.routes.dryer_words import assumed_quantity
from outfeed_api.routes.setpoint_models import PriorPart, SetpointAdviceRequest

NOT_PUBLISHED_FOR = (
    "No drying kinetics are published for this grain, so the general values were used in place of "
    "the described dryer's."
)
MODEL_SILENT = (
    "The column model gave no usable answer for the described dryer at this rate and inlet "
    "moisture, so the general values were used."
)
SENSORS_ASSUMED = (
    "No column sensors are described: one in the middle of the lowest heated zone was assumed. Say "
    "where yours sit; it changes what a degree means."
)
FROM_DRYER = (
    "What a degree and wetter grain mean was taken from the column model of your dryer, a model's "
    "word until your own readings replace it."
)


@dataclass(frozen=True, slots=True)
class FoundPrior:
    """A prior with what to say of it.

    Attributes
    ----------
    prior : Prior
        What is thought before any reading.
    notes : list of str
        Sentences for the answer.
    assumed : list of Assumed
        What the model had to fill in.
    methods : tuple of MethodUse
        What it rests on.
    """

    prior: priors.Prior
    notes: list[str]
    assumed: list[Assumed]
    methods: tuple[MethodUse, ...] = ()


@dataclass(frozen=True, slots=True)
class Described:
    """A dryer that the request describes.

    Attributes
    ----------
    asked : DryerRequest
        What was asked of it, in SI, with its grain and air at the time of asking.
    machine : Machine
        The same as the column model takes it.
    modelled : bool
        Whether the column model takes grain of that inlet moisture.
    """

    asked: DryerRequest
    machine: Machine
    modelled: bool


def described_of(
    request: SetpointAdviceRequest, log: InletLog | None, now_s: float
) -> Described | None:
    """The dryer of a request.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    log : InletLog or None
        Smoothed inlet moistures.
    now_s : float
        Time of asking [s].

    Returns
    -------
    Described or None
        None where none is described.

    Raises
    ------
    Inconsistent
        A dryer without weather or inlet moisture.
    ProblemError
        A fit without its dryer, or a dryer that contradicts itself.
    """
    refuse_fit_alone(request.dryer, request.fitted)
    if request.dryer is None:
        return None
    inlet = _inlet(request, log, now_s)
    air = _air_now(request, now_s)
    if inlet <= request.target:
        raise Inconsistent("grain no wetter than the target needs no drying", "inlet")
    asked = _as_dryer_request(request, request.dryer, inlet, air)
    modelled = bool(INLET_MOISTURE.contains(inlet))
    return Described(asked, followed_machine(asked, request.target), modelled)


def prior_of(
    request: SetpointAdviceRequest,
    described: Described | None,
    transport: Transport,
    now_s: float,
) -> FoundPrior:
    """What is thought of the dryer before its readings.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    described : Described or None
        The dryer, where one is described.
    transport : Transport
        How grain gets through the dryer; its transit stands in for a missing rate.
    now_s : float
        Time of asking [s].

    Returns
    -------
    FoundPrior
        The caller's own sensitivity before the model's, the model's before the general one.
    """
    found = FoundPrior(priors.GENERAL, [], [])
    if described is not None:
        found = _modelled(request, described, transport, now_s)
    prior = priors.stated_prior(found.prior, request.sensitivity, request.sensitivity_uncertainty)
    return FoundPrior(prior, found.notes, found.assumed, found.methods)


def prior_part(prior: priors.Prior) -> PriorPart:
    """The prior, for the answer."""
    return PriorPart(
        origin=prior.origin,
        sensitivity=prior.sensitivity,
        sensitivity_sd=prior.sensitivity_sd,
        inlet_effect=prior.inlet_effect,
        inlet_effect_sd=priors.inlet_effect_spread(prior),
    )


def _modelled(
    request: SetpointAdviceRequest, described: Described, transport: Transport, now_s: float
) -> FoundPrior:
    if not described.modelled:
        return FoundPrior(priors.GENERAL, [MODEL_SILENT], [])
    asked, machine = described.asked, described.machine
    try:
        formulas = formulas_of(asked)
        prior = priors.dryer_prior(
            machine.dryer,
            machine.conditions,
            machine.feed,
            request.target,
            _dry_matter_rate(request, transport, now_s, machine.dryer.hold_up_dry_matter),
            model=formulas.model,
            fitted=request.fitted is not None,
        )
    except NotPublished:
        return FoundPrior(priors.GENERAL, [NOT_PUBLISHED_FOR], [])
    if prior is None:
        return FoundPrior(priors.GENERAL, [MODEL_SILENT], [])
    filled = (*machine.assumptions, *machine.also_assumed, *formulas.assumptions)
    return FoundPrior(
        prior,
        [FROM_DRYER, *([SENSORS_ASSUMED] if prior.sensors_assumed else [])],
        [assumed_quantity(one, machine.bulk_density) for one in filled],
        tuple(map(use, priors.METHODS)),
    )


def _air_now(request: SetpointAdviceRequest, now_s: float) -> dict[str, Any]:
    """Outside air at the time of asking, by its fields."""
    hours = air_hours(request)
    air: dict[str, Any] = {
        "ambient_temperature": request.ambient_temperature,
        "ambient_relative_humidity": request.ambient_relative_humidity,
    }
    if hours is not None:
        in_one_form(request.column.form, hours.clock.form, "hourly")
        if not hours.seconds[0] - HOUR <= now_s <= hours.seconds[-1] + HOUR:
            raise Inconsistent("the hours do not reach the time of asking", "hourly")
        air["ambient_temperature"] = float(np.interp(now_s, hours.seconds, hours.temperature))
        if hours.relative_humidity is not None:
            damp = np.interp(now_s, hours.seconds, hours.relative_humidity)
            air["ambient_relative_humidity"] = float(damp)
    if air["ambient_temperature"] is None:
        raise Inconsistent(
            "the column model of a dryer needs the outside air: `ambient_temperature`, or `hourly`",
            "ambient_temperature",
        )
    return {name: value for name, value in air.items() if value is not None}


def _as_dryer_request(
    request: SetpointAdviceRequest, dryer: DryerGiven, inlet: float, air: dict[str, Any]
) -> DryerRequest:
    optional: dict[str, Any] = {
        name: value
        for name in ("grain_temperature", "fitted")
        if (value := getattr(request, name)) is not None
    }
    return DryerRequest(
        units=request.units,
        grain=request.grain,
        dryer=dryer,
        moisture=inlet,
        **air,
        **optional,
    )


def _inlet(request: SetpointAdviceRequest, log: InletLog | None, now_s: float) -> float:
    """Latest inlet moisture, or the one that an earlier belief refers to."""
    if log is not None:
        return float(inlet_at(now_s, log.times_s, log.moistures_wb))
    if request.belief is not None and request.belief.reference_inlet > 0:
        return request.belief.reference_inlet
    raise Inconsistent("the column model of a dryer needs an inlet moisture", "inlet")


def _dry_matter_rate(
    request: SetpointAdviceRequest, transport: Transport, now_s: float, held: float
) -> float:
    """Dry matter through the dryer [kg/s]: the caller's rate, else what it holds over transit."""
    rate = request.discharge_rate
    if request.rates is not None and request.rates.rates:
        rate = request.rates.rates[-1]
    if rate is None:
        return held / transport.transit_at(now_s)
    return rate * (1.0 - request.target)
