"""What doubt about the transport lag does to the moisture that is expected.

The grain held below the sensors, a lag or a transit time is seldom measured, and a wrong one
matches readings to the wrong column temperature and the wrong lot. While nothing changes that does
no harm; while lots, rates or the plenum change it does. So the record is read again as if the lag
were longer and shorter, and what the expectation differs by is the doubt, each lag weighed by how
well the readings fit it. Like the meter's, it is much the same at the next look and does not
average out: it widens the stated chance and holds no move back.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.limits import SENSIBLE, Range
from outfeed.steering.belief import Belief
from outfeed.steering.lag import HELD_GRAIN, LAG, TRANSIT
from outfeed.steering.pairs import Pairs, Transport, inlet_at, pair_readings
from outfeed.steering.situation import Situation
from outfeed.steering.steady import SteadyColumn, column_offset, coming_inlet, steady_pairs

LAG_UNCERTAINTY = Range("uncertainty of the transport lag", 0.0, 2.0, "", SENSIBLE)

USUAL_UNCERTAINTY = 0.6
"""How much longer the true lag is than a stated one, at one standard deviation, or how much longer
the stated one than the true [-]. Common practice says half a transit to a whole one; chosen on
simulated seasons in which the lag was stated right, at half and at half as much again."""

NODES = np.sqrt((2.0, 0.0, 2.0)) * (-1.0, 0.0, 1.0)  # standard deviations of the log of the lag
WEIGHTS = np.array((0.25, 0.5, 0.25))  # of them; mean and variance are those of a normal
FEWEST_TO_WEIGH = 3  # readings that fit one lag better than another; fewer always do; chosen


def lag_doubt(
    pairs: Pairs,
    belief: Belief | None,
    situation: Situation,
    transport: Transport,
    column_times_s: ArrayLike,
    column_temperatures: ArrayLike,
    *,
    inlet_times_s: ArrayLike | None = None,
    inlets_wb: ArrayLike | None = None,
    steady: SteadyColumn | None = None,
    uncertainty: float = USUAL_UNCERTAINTY,
) -> float:
    """Standard deviation of the expected moisture from doubt about the lag.

    Parameters
    ----------
    pairs : Pairs
        Readings with what they belong to.
    belief : Belief or None
        After these readings.
    situation : Situation
        What moisture is expected for.
    transport : Transport
        How grain gets from the sensors to the sampling point, as stated.
    column_times_s, column_temperatures : array_like
        Column temperatures [s], [degC], ascending, shape (n,).
    inlet_times_s, inlets_wb : array_like, optional
        Inlet moistures as they entered [s], [-], each holding until the next.
    steady : SteadyColumn, optional
        Where steady temperatures are anchored, if readings are matched to them.
    uncertainty : float
        By what share the lag may be longer, or the stated one too long, at one standard deviation
        [-], 0 to 2.

    Returns
    -------
    float
        SD [-]; zero without a belief.

    Raises
    ------
    OutOfRange, Inconsistent
        As `pair_readings`; an uncertainty outside its range.
    """
    longer = 1.0 + float(LAG_UNCERTAINTY.check(uncertainty, "uncertainty"))
    if belief is None or belief.readings == 0 or longer == 1.0:
        return 0.0
    expected, left = situation.expected(belief)[0], _unexplained(pairs, belief)
    apart, likelihood = np.zeros(NODES.size), np.zeros(NODES.size)
    factors = longer**NODES
    for k in np.flatnonzero(NODES):
        factor = float(factors[k])
        other = _scaled(transport, factor)
        again = pair_readings(
            pairs.times_s,
            pairs.moistures_wb,
            column_times_s,
            column_temperatures,
            other,
            inlet_times_s=inlet_times_s,
            inlets_wb=inlets_wb,
        )
        here = situation
        if steady is not None:
            scaled = replace(steady, transport=other, transit_s=factor * steady.transit_s)
            again = steady_pairs(again, scaled)
            here = _steady_situation(situation, scaled, column_times_s, column_temperatures)
        elif inlet_times_s is not None and inlets_wb is not None:
            above = other.transit_at(situation.now_s) - other.lag_at(situation.now_s)
            inlet = inlet_at(situation.now_s - above, inlet_times_s, inlets_wb)
            here = replace(situation, inlet_wb=float(inlet))
        both, left_again = pairs.found & again.found, _unexplained(again, belief)
        shift = _shift(pairs.times_s[both], (left_again - left)[both], belief, situation)
        apart[k] = here.expected(belief)[0] - expected + shift
        likelihood[k] = _better(left_again[both], left[both], situation.reading_sd)
    weights = WEIGHTS * np.exp(likelihood - np.max(likelihood))
    return float(np.sqrt(np.average(apart**2, weights=weights)))


def _scaled(transport: Transport, factor: float) -> Transport:
    """A transport whose lag is longer by a factor, as far as any dryer's is."""

    def times(value: float | None, limits: Range) -> float | None:
        return None if value is None else float(np.clip(factor * value, limits.low, limits.high))

    return replace(
        transport,
        held=times(transport.held, HELD_GRAIN),
        lag_s=times(transport.lag_s, LAG),
        transit_s=times(transport.transit_s, TRANSIT),
    )


def _steady_situation(
    situation: Situation,
    steady: SteadyColumn,
    column_times_s: ArrayLike,
    column_temperatures: ArrayLike,
) -> Situation:
    now_s = situation.now_s
    offset = column_offset(column_times_s, column_temperatures, steady, now_s)
    return replace(
        situation,
        column_offset=0.0 if offset is None else offset,
        inlet_wb=coming_inlet(steady, now_s, steady.transport.transit_at(now_s)),
    )


def _unexplained(pairs: Pairs, belief: Belief) -> FloatArray:
    """What is left of each reading beyond what the belief says of it [-]."""
    inlets = [None] * pairs.times_s.size if pairs.inlets_wb is None else pairs.inlets_wb.tolist()
    told = [
        belief.predict(temperature, inlet_wb=inlet)[0]
        for temperature, inlet in zip(pairs.temperatures.tolist(), inlets, strict=True)
    ]
    return np.asarray(pairs.moistures_wb - np.array(told))


def _shift(times_s: FloatArray, change: FloatArray, belief: Belief, situation: Situation) -> float:
    """By how much the level would stand elsewhere, younger readings counting for more [-]."""
    if times_s.size == 0:
        return 0.0
    hours = np.maximum(situation.now_s - times_s, 0.0) / 3600.0
    weights = 1.0 / (situation.reading_sd**2 + belief.wander**2 * hours)
    return float(np.average(change, weights=weights))


def _better(left: FloatArray, other: FloatArray, reading_sd: float) -> float:
    """Logarithm of how much likelier what is left of the readings is, the level set free [-]."""
    if left.size < FEWEST_TO_WEIGH:
        return 0.0
    return float((np.var(other) - np.var(left)) * left.size / (2.0 * reading_sd**2))
