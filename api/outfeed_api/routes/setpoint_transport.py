"""From a request for setpoint advice to how grain gets through the dryer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.description import Dryer
from outfeed.errors import Inconsistent
from outfeed.steering import setpoint
from outfeed.steering.lag import HELD_GRAIN
from outfeed.steering.transport import ROUNDING, Transport, above_sensors
from outfeed_api.models import Assumed, AssumedQuantity
from outfeed_api.moments import Clock, in_order
from outfeed_api.routes.setpoint_models import SetpointAdviceRequest

DESCRIBED = "plug flow through the described dryer"
PRACTICE = "common practice, no source"
AS_DESCRIBED = "what the described dryer holds {} the mean place of its column sensors"
MEAN_RATE = "plug flow; that the transit is of the mean rate is chosen, no source"
BY_TRANSIT = (
    "what it holds in all by `transit` at the mean rate told, less `held_below_sensors`: tell it, "
    "and no rate changes it"
)

BEFORE_S = 30 * 86_400.0  # a rate without a log has held for as long as anything is known

Rates = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, slots=True)
class Held:
    """What a described dryer holds, weighed as it leaves.

    Attributes
    ----------
    above, below : float
        Grain above and below the mean place of its column sensors [kg].
    """

    above: float
    below: float


def held_by(dryer: Dryer, target_moisture_wb: float) -> Held | None:
    """What a described dryer holds above and below its column sensors.

    Parameters
    ----------
    dryer : Dryer
        The description.
    target_moisture_wb : float
        Moisture at the discharge, wet basis [-]: rates count grain as it leaves.

    Returns
    -------
    Held or None
        None where no sensors are described.
    """
    below = dryer.dry_matter_below_sensors
    if below is None:
        return None
    wet = 1.0 / (1.0 - target_moisture_wb)
    least = HELD_GRAIN.nearest(below * wet)
    return Held(dryer.hold_up_dry_matter * wet - least, least)


def transport_of(request: SetpointAdviceRequest, clock: Clock, dryer: Held | None) -> Transport:
    """How grain gets from the sensors to the sampling point.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.
    dryer : Held or None
        What the described dryer holds; counts for what the request does not tell itself.

    Returns
    -------
    Transport
        With the grain held and a rate log, a lag or a transit time, whichever was given.

    Raises
    ------
    Inconsistent
        Nothing of it given, a log of rates that does not fit its times, grain above the sensors
        without that below them, or a transit in which less leaves than is held below them,
        or that is shorter than the lag.
    """
    if request.held_above_sensors is not None and request.held_below_sensors is None:
        raise Inconsistent("`held_above_sensors` needs `held_below_sensors`", "held_above_sensors")
    lag, transit = request.lag, request.transit
    if lag is not None and transit is not None and lag > transit * (1.0 + ROUNDING):
        raise Inconsistent(
            "the lag is longer than the transit, of which it is the last part", "lag", "transit"
        )
    log = _rates_of(request, clock)
    known = request.held_below_sensors is not None or dryer is not None
    if not (known and log) and request.lag is None and request.transit is None:
        raise Inconsistent(
            "how long grain travels needs `transit`, or `lag`, or `rates` or `discharge_rate` with "
            "`held_below_sensors` or a `dryer` with its sensors",
            "transit",
        )
    if request.held_below_sensors is None and not (request.lag is None and request.transit is None):
        log = None  # a time that was told is not worked out
    above, below = _held(request, log, dryer, clock.now_s)
    times, rates = log or (None, None)
    return Transport(
        held=below,
        above=above,
        rate_times_s=times,
        rates=rates,
        lag_s=request.lag,
        transit_s=request.transit,
    )


def assumed(
    request: SetpointAdviceRequest, situation: setpoint.Situation, transport: Transport
) -> list[Assumed]:
    """Where lag and transit come from, as far as they were not told.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    situation : Situation
        What the advice was given for.
    transport : Transport
        From `transport_of`.

    Returns
    -------
    list of Assumed
        In the order of the answer.
    """
    found: list[Assumed] = []
    lag = transport.lag_at(situation.now_s)
    if transport.held is not None and transport.rates is not None:
        found += _assumed_held(request, transport, lag)
    elif request.lag is None and transport.above is not None:
        why = "as much of `transit` as of the grain in the dryer is held below its column sensors"
        source = DESCRIBED if request.held_above_sensors is None else transport.method.source
        found.append(_one("lag", "minutes", lag, why, source))
    elif request.lag is None:
        why = "half a transit from the column sensors to the sampling point"
        low, high = 0.4 * situation.transit_s, situation.transit_s
        found.append(_one("lag", "minutes", lag, why, PRACTICE, low=low, high=high))
    if request.transit is None and transport.above is None:
        why = "twice the lag from the column sensors to the sampling point"
        found.append(_one("transit", "hours", situation.transit_s, why, PRACTICE))
    elif request.transit is None and request.held_above_sensors is None:
        why = "the lag, and what the described dryer holds above its column sensors"
        found.append(_one("transit", "hours", situation.transit_s, why, DESCRIBED))
    return found


def _assumed_held(
    request: SetpointAdviceRequest, transport: Transport, lag_s: float
) -> list[Assumed]:
    found: list[Assumed] = []
    if request.held_below_sensors is None and transport.held is not None:
        why = (
            f"{AS_DESCRIBED.format('below')}: at the rates told a lag of {lag_s / 60:.0f} min now; "
            "tell it yourself if you sample elsewhere than at the discharge"
        )
        found.append(_one("held_below_sensors", "grain", transport.held, why, DESCRIBED))
    if request.held_above_sensors is None and transport.above is not None:
        why, source = AS_DESCRIBED.format("above"), DESCRIBED
        if request.transit is not None:
            why, source = BY_TRANSIT, MEAN_RATE
        found.append(_one("held_above_sensors", "grain", transport.above, why, source))
    return found


def _one(
    name: str,
    quantity: str,
    value: float,
    why: str,
    source: str,
    *,
    low: float | None = None,
    high: float | None = None,
) -> Assumed:
    return AssumedQuantity(
        input=name, quantity=quantity, value=value, why=why, source=source, low=low, high=high
    )


def _held(
    request: SetpointAdviceRequest, log: Rates | None, dryer: Held | None, now_s: float
) -> tuple[float | None, float | None]:
    """Grain above and below the sensors, as told, by a told transit or by the described dryer."""
    below, transit = request.held_below_sensors, request.transit
    if below is None:
        return (None, None) if dryer is None else (dryer.above, dryer.below)
    if request.held_above_sensors is not None:
        return request.held_above_sensors, below
    if log is not None and transit is not None:
        return above_sensors(transit, below, *log, now_s), below
    return None if dryer is None else dryer.above, below


def _rates_of(request: SetpointAdviceRequest, clock: Clock) -> Rates | None:
    """Rate log [s], [kg/s]; None where no rate is told."""
    if request.rates is not None and request.rates.rates:
        times = in_order(request.rates, request.rates.rates, "rates")
        return np.array(times), np.array(request.rates.rates)
    if request.discharge_rate is None:
        return None
    return np.array([clock.now_s - BEFORE_S]), np.array([request.discharge_rate])
