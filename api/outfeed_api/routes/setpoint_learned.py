"""What the readings of a request for setpoint advice teach, and what they are matched to."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.steering import belief as believing
from outfeed.steering import steady as steadying
from outfeed.steering.inlet import (
    InletDoubt,
    InletLog,
    inlet_doubt,
    read_inlets,
    usual_inlet_sd,
)
from outfeed.steering.meter_pairing import DRIEST
from outfeed.steering.pairs import Pairs, Transport, learn_from_pairs, pair_readings
from outfeed.steering.prior import Prior
from outfeed_api.moments import Clock, repeated_in_order
from outfeed_api.routes.setpoint_input import belief_of
from outfeed_api.routes.setpoint_models import SetpointAdviceRequest
from outfeed_api.routes.setpoint_prior import FoundPrior, described_of, prior_of
from outfeed_api.routes.setpoint_transport import held_by, transport_of
from outfeed_api.wording import AS_PERCENT


@dataclass(frozen=True, slots=True)
class Learned:
    """What is known once the readings have spoken.

    Attributes
    ----------
    transport : Transport
        How grain gets from the sensors to the sampling point.
    log : InletLog or None
        Smoothed inlet moistures.
    found : FoundPrior
        What was thought before.
    steady : SteadyColumn or None
        Where steady temperatures are anchored.
    pairs : Pairs
        Readings with what they belong to.
    belief : Belief or None
        What is known; None while no reading was ever matched.
    doubted : tuple of int
        Positions in `pairs` of readings that were not believed.
    coming_doubt : float
        SD of the expected moisture from error of the inlet readings [-].
    earlier_s : float
        Time of the last reading that the belief passed back had learned from [s].
    """

    transport: Transport
    log: InletLog | None
    found: FoundPrior
    steady: steadying.SteadyColumn | None
    pairs: Pairs
    belief: believing.Belief | None
    doubted: tuple[int, ...]
    coming_doubt: float
    earlier_s: float

    @property
    def sensitivity(self) -> float:
        """The steeper of thought and learned, so that a flat fit does not widen what is level."""
        thought = self.found.prior.sensitivity
        return thought if self.belief is None else min(thought, self.belief.sensitivity)


def learned_of(
    request: SetpointAdviceRequest, clock: Clock, column_times: FloatArray, column: FloatArray
) -> Learned:
    """What the readings teach, on top of an earlier belief or of what was thought.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.
    column_times, column : ndarray
        Column temperatures in order of time [s], [degC].

    Returns
    -------
    Learned
        With everything it rests on.

    Raises
    ------
    Inconsistent, OutOfRange
        Logs that do not fit, or values outside their ranges.
    """
    log = inlet_of(request)
    described = described_of(request, log, clock.now_s)
    dryer = None if described is None else held_by(described.machine.dryer, request.target)
    transport = transport_of(request, clock, dryer)
    pairs = _pairs_of(request, transport, log, column_times, column)
    found = prior_of(request, described, transport, clock.now_s)
    prior, earlier = found.prior, belief_of(request, clock)
    steady = _steady_of(request, pairs, log, earlier, transport, prior)
    if steady is not None:
        pairs = steadying.steady_pairs(pairs, steady)
    doubt = _doubt_of(log, pairs, earlier, transport, prior, steady, clock.now_s)
    belief, doubted = learn_from_pairs(
        pairs,
        earlier,
        reference_temperature=request.setpoint,
        sensitivity=prior.sensitivity,
        sensitivity_sd=prior.sensitivity_sd,
        inlet_effect=prior.inlet_effect,
        inlet_effect_sd=prior.inlet_effect_sd,
        inlet_per_sensitivity=prior.inlet_per_sensitivity,
        inlet_doubt=doubt.learned,
        reference_inlet_wb=None if steady is None else steady.inlet_wb,
        reference_transit_s=0.0 if steady is None else steady.transit_s,
        grain=request.grain,
    )
    earlier_s = -inf if earlier is None else earlier.at_s
    return Learned(transport, log, found, steady, pairs, belief, doubted, doubt.coming, earlier_s)


def inlet_of(request: SetpointAdviceRequest) -> InletLog | None:
    """Inlet moistures smoothed by the precision of their readings; None where none was given."""
    series = request.inlet
    if series is None or not series.moistures:
        return None
    times = repeated_in_order(series, series.moistures, "inlet")
    _refuse_shares(series.moistures, "inlet")
    return read_inlets(times, series.moistures, inlet_sd_of(request))


def _refuse_shares(moistures: list[float], name: str) -> None:
    """Refuse moistures that no grain comes near: a setpoint would be moved far by them."""
    if moistures and max(moistures) < DRIEST:
        raise Inconsistent(f"all this is below 1 % moisture: {AS_PERCENT}", name)


def inlet_sd_of(request: SetpointAdviceRequest) -> float:
    """SD of one inlet reading [-]: stated, or usual at the middle of the readings."""
    if request.inlet_uncertainty is not None:
        return request.inlet_uncertainty
    readings = [] if request.inlet is None else request.inlet.moistures
    return usual_inlet_sd(float(np.median(readings))) if readings else 0.0


def _doubt_of(
    log: InletLog | None,
    pairs: Pairs,
    belief: believing.Belief | None,
    transport: Transport,
    prior: Prior,
    steady: steadying.SteadyColumn | None,
    now_s: float,
) -> InletDoubt:
    """What the error of the inlet readings adds to readings and expectation."""
    if log is None:
        return InletDoubt(np.zeros(pairs.times_s.shape), 0.0)
    known = prior if belief is None else belief
    weight = known.inlet_effect
    if steady is not None:  # the steady temperature hangs on the inlet as well
        weight += known.sensitivity * steady.column_per_inlet
    before = None
    if belief is not None and belief.readings:
        before = belief.at_s - 2.0 * transport.lag_at(belief.at_s)
    coming = _coming_at(transport, steady, now_s)
    return inlet_doubt(log, pairs, coming, weight, learned_before_s=before)


def _coming_at(transport: Transport, steady: steadying.SteadyColumn | None, now_s: float) -> float:
    """When the grain entered that the advice is judged for [s]."""
    if steady is not None:
        return steadying.entered_by(now_s, transport.transit_at(now_s))
    return transport.entered_at_sensors(now_s)


def _pairs_of(
    request: SetpointAdviceRequest,
    transport: Transport,
    log: InletLog | None,
    column_times: FloatArray,
    column: FloatArray,
) -> Pairs:
    """Readings with the column temperature and inlet moisture they belong to."""
    moistures = request.discharge.moistures
    times = repeated_in_order(request.discharge, moistures, "discharge")
    _refuse_shares(moistures, "discharge")
    return pair_readings(
        times,
        moistures,
        column_times,
        column,
        transport,
        inlet_times_s=None if log is None else log.times_s,
        inlets_wb=None if log is None else log.moistures_wb,
    )


def _steady_of(
    request: SetpointAdviceRequest,
    pairs: Pairs,
    log: InletLog | None,
    belief: believing.Belief | None,
    transport: Transport,
    prior: Prior,
) -> steadying.SteadyColumn | None:
    """Where steady temperatures are anchored; None where too little is logged for them."""
    return steadying.steady_column(
        pairs,
        belief,
        transport,
        inlet_times_s=None if log is None else log.times_s,
        inlets_wb=None if log is None else log.moistures_wb,
        reference_temperature=request.setpoint,
        column_per_time=prior.column_per_time,
        column_per_inlet=prior.column_per_inlet,
    )
