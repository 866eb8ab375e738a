"""What doubt about the transport lag does to the moisture that is expected.

The grain held below the sensors, a lag or a transit time is seldom measured, and a wrong one
matches readings to the wrong column temperature and the wrong lot. While nothing changes that does
no harm; while lots, rates or the plenum change it does. So the record is read again as if the lag
were longer and shorter, and what the expectation is then is told beside it, each lag weighed by how
well the readings fit it. Like the meter's doubt, it is much the same at the next look and does not
average out: it is in the stated chance and holds no move back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.limits import SENSIBLE, Range
from outfeed.steering.belief import Belief
from outfeed.steering.lag import HELD_GRAIN, LAG, TRANSIT
from outfeed.steering.pairs import Pairs, Transport, inlet_at, pair_readings
from outfeed.steering.situation import LagDoubt, Situation
from outfeed.steering.steady import SteadyColumn, column_offset, coming_inlet, steady_pairs

LAG_UNCERTAINTY = Range("uncertainty of the transport lag", 0.0, 2.0, "", SENSIBLE)

USUAL_UNCERTAINTY = 0.6
"""How much longer the true lag is than a stated one, at one standard deviation, or how much longer
the stated one than the true [-]. Common practice says half a transit to a whole one; chosen on
simulated seasons in which the lag was stated right, at half and at half as much again."""

NODES = np.sqrt((2.0, 0.0, 2.0)) * (-1.0, 0.0, 1.0)  # standard deviations of the log of the lag
WEIGHTS = np.array((0.25, 0.5, 0.25))  # of them; mean and variance are those of a normal
UNSEEN_SD = 0.01
"""Least SD of a first reading whose grain, with another lag, entered before the log [-]: a start is
no steady state. Chosen on simulated seasons."""

FEWEST_TO_WEIGH = 3  # readings by which one lag fits better than another; chosen, no source


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
) -> LagDoubt:
    """What would be expected if the lag were longer or shorter.

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
    LagDoubt
        The stated lag beside a shorter and a longer one; the stated one alone without a belief.

    Raises
    ------
    OutOfRange, Inconsistent
        As `pair_readings`; an uncertainty outside its range.
    """
    longer = 1.0 + float(LAG_UNCERTAINTY.check(uncertainty, "uncertainty"))
    if belief is None or belief.readings == 0 or longer == 1.0:
        return LagDoubt()
    record = _Record(column_times_s, column_temperatures, inlet_times_s, inlets_wb, steady)
    log = None if steady is None else transport.rate_times_s
    begins_s = None if log is None else float(log[0])
    expected = situation.expected(belief)[0]
    shifts, guessed, likelihood = np.zeros((3, NODES.size))
    for k in np.flatnonzero(NODES):
        factor = float(longer ** NODES[k])
        again, here = record.as_if(pairs, situation, transport, factor)
        shift, guessed[k] = _shift(pairs, again, belief, situation, begins_s)
        shifts[k] = here.expected(belief)[0] - expected + shift
        likelihood[k] = _better(again, pairs, belief, situation.reading_sd)
    weights = WEIGHTS * np.exp(likelihood - np.max(likelihood))
    return LagDoubt(*(tuple(one.tolist()) for one in (weights, shifts, guessed)))


@dataclass(frozen=True, slots=True, eq=False)
class _Record:
    """Logs of column and inlet, and where steady temperatures are anchored."""

    column_times_s: ArrayLike
    column_temperatures: ArrayLike
    inlet_times_s: ArrayLike | None
    inlets_wb: ArrayLike | None
    steady: SteadyColumn | None

    def as_if(
        self, pairs: Pairs, situation: Situation, transport: Transport, factor: float
    ) -> tuple[Pairs, Situation]:
        """Readings and situation as they were with another lag."""
        other, now_s = _scaled(transport, factor), situation.now_s
        again = pair_readings(
            pairs.times_s,
            pairs.moistures_wb,
            self.column_times_s,
            self.column_temperatures,
            other,
            inlet_times_s=self.inlet_times_s,
            inlets_wb=self.inlets_wb,
        )
        if self.steady is not None:
            transit_s = factor * self.steady.transit_s
            steady = replace(self.steady, transport=other, transit_s=transit_s)
            offset = column_offset(self.column_times_s, self.column_temperatures, steady, now_s)
            here = replace(
                situation,
                column_offset=0.0 if offset is None else offset,
                inlet_wb=coming_inlet(steady, now_s, other.transit_at(now_s)),
            )
            return steady_pairs(again, steady), here
        if self.inlet_times_s is None or self.inlets_wb is None:
            return again, situation
        entered = other.entered_at_sensors(now_s)
        inlet = float(inlet_at(entered, self.inlet_times_s, self.inlets_wb))
        return again, replace(situation, inlet_wb=inlet)


def _scaled(transport: Transport, factor: float) -> Transport:
    """A transport whose lag is longer by a factor, as far as any dryer's is."""

    def times(value: float | None, limits: Range) -> float | None:
        return None if value is None else float(np.clip(factor * value, limits.low, limits.high))

    return replace(
        transport,
        held=times(transport.held, HELD_GRAIN),
        above=None if transport.above is None else factor * transport.above,
        lag_s=times(transport.lag_s, LAG),
        transit_s=times(transport.transit_s, TRANSIT),
    )


def _unexplained(pairs: Pairs, belief: Belief) -> FloatArray:
    """What is left of each reading beyond what the belief says of it [-]."""
    inlets = [None] * pairs.times_s.size if pairs.inlets_wb is None else pairs.inlets_wb.tolist()
    told = [
        belief.predict(temperature, inlet_wb=inlet)[0]
        for temperature, inlet in zip(pairs.temperatures.tolist(), inlets, strict=True)
    ]
    return np.asarray(pairs.moistures_wb - np.array(told))


def _shift(
    pairs: Pairs, again: Pairs, belief: Belief, situation: Situation, begins_s: float | None
) -> tuple[float, float]:
    """By how much the level would stand elsewhere, and what of that is a guess, as an SD [-].

    A younger reading counts for more. One that the record does not cover with the other lag is left
    out, but of a steady temperature that rests on the rates before their log the spread is told.
    """
    used = pairs.found & again.found if begins_s is None else pairs.found
    hours = np.maximum(situation.now_s - pairs.times_s[used], 0.0) / 3600.0
    weights = 1.0 / (situation.reading_sd**2 + belief.wander**2 * hours)
    if weights.size == 0:
        return 0.0, 0.0
    change = (_unexplained(again, belief) - _unexplained(pairs, belief))[used]
    before = np.zeros(used.shape) if begins_s is None else again.entered_s < begins_s
    each = abs(belief.sensitivity) * again.spreads
    if belief.readings <= weights.size:  # nothing was learned before these readings
        each = np.maximum(each, UNSEEN_SD)
    guessed = np.where(before, each, 0.0)[used]
    return float(np.average(change, weights=weights)), float(np.average(guessed, weights=weights))


def _better(again: Pairs, pairs: Pairs, belief: Belief, reading_sd: float) -> float:
    """Logarithm of how much likelier the other lag makes the readings, the level set free [-]."""
    both = pairs.found & again.found
    if np.count_nonzero(both) < FEWEST_TO_WEIGH:
        return 0.0
    stated, other = (float(np.var(_unexplained(one, belief)[both])) for one in (pairs, again))
    return (stated - other) * int(np.count_nonzero(both)) / (2.0 * reading_sd**2)
