"""What setpoint advice had to fill in."""

from __future__ import annotations

from outfeed.steering import money, setpoint
from outfeed.steering.belief import SENSITIVITY
from outfeed.steering.inlet_rate import BASE_INLET, BASE_OUTLET
from outfeed.steering.lag_doubt import USUAL_UNCERTAINTY
from outfeed.steering.meter_doubt import STUDY
from outfeed.steering.pairs import Transport
from outfeed.steering.prior import Prior, inlet_effect_spread
from outfeed_api.models import Assumed, AssumedQuantity
from outfeed_api.routes import setpoint_transport as travels
from outfeed_api.routes.setpoint_changes import inlet_missing
from outfeed_api.routes.setpoint_input import wet_to_dry_of
from outfeed_api.routes.setpoint_learned import inlet_sd_of
from outfeed_api.routes.setpoint_models import SetpointAdviceRequest
from outfeed_api.routes.setpoint_words import PANEL_RESOLUTION

PRIOR_SOURCES = {
    "general": "column model of an invented mixed-flow dryer, corn at 20 to 28 % inlet moisture; "
    "no published value exists",
    "dryer": "column model of the described dryer at its rate and inlet moisture; a model's word",
    "stated": "moved with the sensitivity you stated",
}


def assumed(
    request: SetpointAdviceRequest,
    situation: setpoint.Situation,
    transport: Transport,
    prior: Prior,
) -> list[Assumed]:
    """Each input that was filled in, its value and why.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    situation : Situation
        What the advice was given for.
    transport : Transport
        How grain gets from the sensors to the sampling point.
    prior : Prior
        What was thought of the dryer before its readings.

    Returns
    -------
    list of Assumed
        In the order of the answer.
    """
    return (
        _assumed_prior(request, prior)
        + _assumed_inlet(request)
        + _assumed_meter(request)
        + travels.assumed(request, situation, transport)
        + _assumed_doubt(request)
        + _assumed_panel(request)
        + _assumed_money(request)
    )


def _assumed_prior(request: SetpointAdviceRequest, prior: Prior) -> list[Assumed]:
    result: list[Assumed] = []
    if request.belief is None and request.sensitivity is None:
        result.append(_assumed_sensitivity(prior))
    if request.belief is None and request.inlet is not None:
        effect, doubt = prior.inlet_effect, inlet_effect_spread(prior)
        result.append(
            AssumedQuantity(
                input="inlet effect",
                quantity="ratio",
                value=effect,
                low=effect - 2 * doubt,
                high=effect + 2 * doubt,
                why="points at the discharge per point at the inlet at one column temperature",
                source=PRIOR_SOURCES[prior.origin],
            )
        )
    return result


def _assumed_inlet(request: SetpointAdviceRequest) -> list[Assumed]:
    if inlet_missing(request):
        return [
            AssumedQuantity(
                input="inlet",
                quantity="moisture",
                value=BASE_INLET,
                why="no inlet moisture was given: the change of rate is that of grain dried from "
                f"{100 * BASE_INLET:.0f} to {100 * BASE_OUTLET:.1f} %",
                source=PRIOR_SOURCES["general"],
            )
        ]
    spread = inlet_sd_of(request)
    if spread == 0.0 or request.inlet_uncertainty is not None:
        return []
    return [
        AssumedQuantity(
            input="inlet_uncertainty",
            quantity="points",
            value=spread,
            why="standard deviation of one inlet reading, meter and sample; readings of one lot "
            "are smoothed by it",
            source=STUDY.source,
        )
    ]


def _assumed_meter(request: SetpointAdviceRequest) -> list[Assumed]:
    if request.meter_uncertainty is not None:
        return []
    return [
        AssumedQuantity(
            input="meter_uncertainty",
            quantity="points",
            value=setpoint.METER_SD_ASSUMED,
            why="no meter check was given; half of the usual accuracy of +-0.5 point",
            source="Hellevang, North Dakota State University Extension",
        )
    ]


def _assumed_panel(request: SetpointAdviceRequest) -> list[Assumed]:
    result: list[Assumed] = []
    if request.resolution is None:
        result.append(
            AssumedQuantity(
                input="resolution",
                quantity="temperature-difference",
                value=PANEL_RESOLUTION[request.units],
                why="smallest step a panel usually accepts",
                source="common practice, no source",
            )
        )
    if request.max_step is None:
        result.append(
            AssumedQuantity(
                input="max_step",
                quantity="temperature-difference",
                value=setpoint.Rules().largest_step,
                why="no more at a time, so that one wrong move costs little",
                source="chosen on simulated dryers",
            )
        )
    return result


def _assumed_money(request: SetpointAdviceRequest) -> list[Assumed]:
    result: list[Assumed] = []
    if wet_to_dry_of(request) is None:
        result.append(
            AssumedQuantity(
                input="wet_to_dry",
                quantity="ratio",
                value=money.EQUAL,
                why="the prices that would tell what too wet and too dry cost were not given, or "
                "are all zero; the two are taken to cost the same",
                source="common practice, no source",
            )
        )
    too_dry = {"grain_price": request.grain_price, "fuel_cost": request.fuel_cost}
    missing = [name for name, price in too_dry.items() if price is None]
    if len(missing) == 1:
        result.append(
            AssumedQuantity(
                input=missing[0],
                quantity="price-of-grain",
                value=0.0,
                why="not given: left out of what too dry costs",
                source="common practice, no source",
            )
        )
    return result


def _assumed_sensitivity(prior: Prior) -> AssumedQuantity:
    slope, doubt = prior.sensitivity, prior.sensitivity_sd
    gentlest = SENSITIVITY.high  # a hotter column never leaves wetter grain, steering by rate
    return AssumedQuantity(
        input="sensitivity",
        quantity="points-per-temperature",
        value=slope,
        low=slope - 2 * doubt,
        high=min(slope + 2 * doubt, gentlest),
        why="points of moisture per degree of column temperature, steering by discharge rate; "
        "your own readings replace it slowly",
        source=PRIOR_SOURCES[prior.origin],
    )


def _assumed_doubt(request: SetpointAdviceRequest) -> list[Assumed]:
    if request.lag_uncertainty is not None:
        return []
    return [
        AssumedQuantity(
            input="lag_uncertainty",
            quantity="percent",
            value=USUAL_UNCERTAINTY,
            why="the lag is seldom timed; this widens the stated chance while lots or rates change",
            source="chosen on simulated seasons, no source",
        )
    ]
