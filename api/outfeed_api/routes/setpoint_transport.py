"""From a request for setpoint advice to how grain gets through the dryer."""

from __future__ import annotations

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.steering.transport import Transport, above_sensors
from outfeed_api.moments import Clock, in_order
from outfeed_api.routes.setpoint_models import SetpointAdviceRequest

BEFORE_S = 30 * 86_400.0  # a rate without a log has held for as long as anything is known


def transport_of(request: SetpointAdviceRequest, clock: Clock) -> Transport:
    """How grain gets from the sensors to the sampling point.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.

    Returns
    -------
    Transport
        With the grain held and a rate log, a lag or a transit time, whichever was given.

    Raises
    ------
    Inconsistent
        None of them given, a log of rates that does not fit its times, grain above the sensors
        without that below them, or a transit in which less leaves than is held below them.
    """
    held, above = request.held_below_sensors, request.held_above_sensors
    if above is not None and held is None:
        raise Inconsistent("`held_above_sensors` needs `held_below_sensors`", "held_above_sensors")
    log = _rates_of(request, clock)
    if (held is None or log is None) and request.lag is None and request.transit is None:
        raise Inconsistent(
            "how long grain travels needs `transit`, or `lag`, or `held_below_sensors` with "
            "`rates` or `discharge_rate`",
            "transit",
        )
    if above is None and held is not None and log is not None and request.transit is not None:
        above = above_sensors(request.transit, held, *log, clock.now_s)
    times, rates = (None, None) if log is None else log
    return Transport(
        held=held,
        above=above,
        rate_times_s=times,
        rates=rates,
        lag_s=request.lag,
        transit_s=request.transit,
    )


def _rates_of(request: SetpointAdviceRequest, clock: Clock) -> tuple[FloatArray, FloatArray] | None:
    """Rate log [s], [kg/s]; None where no rate is told."""
    if request.rates is not None and request.rates.rates:
        times = in_order(request.rates, request.rates.rates, "rates")
        return np.array(times), np.array(request.rates.rates)
    if request.discharge_rate is None:
        return None
    return np.array([clock.now_s - BEFORE_S]), np.array([request.discharge_rate])
