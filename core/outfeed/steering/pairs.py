"""Discharge readings paired with the column temperature and inlet moisture they belong to."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import MOISTURE_WB
from outfeed.steering.belief import (
    DOUBT_AT_SD,
    INLET_PER_SENSITIVITY,
    PRIOR_INLET_EFFECT,
    PRIOR_INLET_EFFECT_SD,
    PRIOR_SENSITIVITY,
    PRIOR_SENSITIVITY_SD,
    READING_SD,
    Belief,
    learn,
    new_belief,
    set_aside,
)
from outfeed.steering.lag import (
    AVERAGING_SHARE,
    match_column,
)
from outfeed.steering.outliers import find_outlier
from outfeed.steering.transport import Transport as Transport

SHORTEST_WINDOW_S = 600.0
"""A column temperature is averaged over at least this; chosen, no source."""


FEWEST_TO_TEST = 3
"""Readings of which one can be told to be an outlier; Dixon's table begins here."""

RESTLESS = 1.0
"""A reading counts less when the column moved while its grain passed: this many times what the
movement means in moisture is added to its SD; chosen on simulated dryers."""


@dataclass(frozen=True, slots=True)
class Pairs:
    """Discharge readings with what they belong to; all arrays of shape (k,).

    Attributes
    ----------
    times_s : ndarray
        Times of the readings [s].
    moistures_wb : ndarray
        Discharge moistures, wet basis [-].
    passage_s : ndarray
        When that grain passed the column sensors [s].
    temperatures : ndarray
        Column temperature it belongs to [degC]; not to be used where `found` is false.
    spreads : ndarray
        How much the column moved meanwhile, as a standard deviation [K].
    inlets_wb : ndarray or None
        Its inlet moisture, wet basis [-].
    found : ndarray of bool
        Whether the column record covers the time of passage, and the grain did not stand on its
        way: what stood dried on, and belongs to no column temperature.
    entered_s : ndarray
        When that grain entered the dryer [s].
    stood : ndarray of bool
        Whether it stood on its way; never `found` then.
    """

    times_s: FloatArray
    moistures_wb: FloatArray
    passage_s: FloatArray
    temperatures: FloatArray
    spreads: FloatArray
    inlets_wb: FloatArray | None
    found: BoolArray
    entered_s: FloatArray
    stood: BoolArray


def pair_readings(
    times_s: ArrayLike,
    moistures_wb: ArrayLike,
    column_times_s: ArrayLike,
    column_temperatures: ArrayLike,
    transport: Transport,
    *,
    inlet_times_s: ArrayLike | None = None,
    inlets_wb: ArrayLike | None = None,
) -> Pairs:
    """Pair discharge readings with the column temperature one lag earlier.

    Parameters
    ----------
    times_s, moistures_wb : array_like
        Readings at the discharge [s], [-], ascending, shape (k,).
    column_times_s, column_temperatures : array_like
        Column temperatures [s], [degC], ascending, shape (n,).
    transport : Transport
        How grain gets from the sensors to the sampling point.
    inlet_times_s, inlets_wb : array_like, optional
        Inlet moistures as they entered [s], [-], each holding until the next.

    Returns
    -------
    Pairs
        One per reading.

    Raises
    ------
    OutOfRange, Inconsistent
        Values outside their ranges, unequal lengths, times out of order.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    moistures = np.atleast_1d(MOISTURE_WB.check(moistures_wb, "moistures_wb"))
    if times.shape != moistures.shape:
        raise Inconsistent("one moisture for every time", "moistures_wb")
    if np.any(np.diff(times) <= 0):
        raise Inconsistent("the times of the readings do not ascend", "times_s")
    passage, covered = transport.passage(times)
    lag = times - passage
    window = max(SHORTEST_WINDOW_S, AVERAGING_SHARE * float(np.median(lag)) if lag.size else 0.0)
    matched = match_column(passage, column_times_s, column_temperatures, window_s=window)
    entered = passage - lag  # as far above the sensors as they are above the discharge
    stood, inlets = transport.stood(times), None
    if inlet_times_s is not None and inlets_wb is not None:
        inlets = inlet_at(entered, inlet_times_s, inlets_wb)
    return Pairs(
        times,
        moistures,
        passage,
        matched.temperatures,
        matched.spreads,
        inlets,
        matched.found & covered & ~stood,
        entered,
        stood,
    )


def inlet_at(at_s: ArrayLike, inlet_times_s: ArrayLike, inlets_wb: ArrayLike) -> FloatArray:
    """Inlet moisture that entered at some times, each entry holding until the next.

    Parameters
    ----------
    at_s : array_like
        Times of entry [s].
    inlet_times_s, inlets_wb : array_like
        Log of inlet moistures [s], [-], ascending, shape (n,).

    Returns
    -------
    ndarray
        Inlet moisture, wet basis [-], shape of `at_s`; the first entry before the log begins.

    Raises
    ------
    OutOfRange, Inconsistent
        A moisture outside its range, an empty log, or times that do not ascend.
    """
    log = np.atleast_1d(np.asarray(inlet_times_s, dtype=np.float64))
    values = np.atleast_1d(MOISTURE_WB.check(inlets_wb, "inlets_wb"))
    if log.size == 0 or log.shape != values.shape or np.any(np.diff(log) <= 0):
        raise Inconsistent("inlet moistures need ascending times, one each", "inlet_times_s")
    return values[entry_index(at_s, log)]


def entry_index(at_s: ArrayLike, log_times_s: FloatArray) -> NDArray[np.intp]:
    """Which entry of a log holds at some times, the first one before the log begins.

    Parameters
    ----------
    at_s : array_like
        Times [s].
    log_times_s : ndarray
        Times of the log [s], ascending, shape (n,), n at least 1.

    Returns
    -------
    ndarray of int
        Positions in the log, shape of `at_s`.
    """
    index = np.searchsorted(log_times_s, np.asarray(at_s), side="right") - 1
    return np.asarray(np.clip(index, 0, log_times_s.size - 1))


def learn_from_pairs(
    pairs: Pairs,
    belief: Belief | None,
    *,
    reference_temperature: float,
    sensitivity: float = PRIOR_SENSITIVITY,
    sensitivity_sd: float = PRIOR_SENSITIVITY_SD,
    inlet_effect: float = PRIOR_INLET_EFFECT,
    inlet_effect_sd: float = PRIOR_INLET_EFFECT_SD,
    inlet_per_sensitivity: float = INLET_PER_SENSITIVITY,
    reading_sd: float = READING_SD,
    inlet_doubt: ArrayLike = 0.0,
    reference_inlet_wb: float | None = None,
    reference_transit_s: float = 0.0,
    grain: str = "",
) -> tuple[Belief | None, tuple[int, ...]]:
    """A belief from a record, or from an earlier belief and what is new in the record.

    Parameters
    ----------
    pairs : Pairs
        Readings with what they belong to.
    belief : Belief or None
        What was known before; None starts afresh, and so does one of another grain, or one that
        is not on the scale of `reference_transit_s`.
    reference_temperature : float
        Column temperature a fresh belief refers to [degC]; the present setpoint is good.
    sensitivity, sensitivity_sd : float
        Prior of a fresh belief [1/K].
    inlet_effect, inlet_effect_sd : float
        Prior inlet effect of a fresh belief and its SD were the sensitivity known [-].
    inlet_per_sensitivity : float
        Change of the inlet effect per change of the sensitivity [K].
    reading_sd : float
        SD of one reading [-].
    inlet_doubt : array_like
        What doubt about the inlet moisture adds to it, as an SD of discharge moisture [-], one for
        all or shape (k,).
    reference_inlet_wb : float, optional
        Inlet moisture a fresh belief refers to [-]; that of the first reading when left out.
    reference_transit_s : float
        Time in the dryer a fresh belief refers to [s]; 0 where the pairs are not steady ones.
    grain : str
        Id of the grain that was read; a belief that names none is taken to be of it.

    Returns
    -------
    tuple
        The belief, None while no reading was ever matched, and the positions in `pairs` of
        readings that were doubted.
    """
    if belief is not None and grain:
        belief = replace(belief, grain=grain) if belief.grain in ("", grain) else None
    usable = np.flatnonzero(pairs.found)
    if usable.size == 0:
        return belief, ()
    inlets = None if pairs.inlets_wb is None else pairs.inlets_wb[usable]
    if belief is not None and belief.reference_transit_s <= 0.0 < reference_transit_s:
        belief = None  # on the column's own scale, and young: see `steady_column`
    if belief is None:
        first = None if inlets is None else float(inlets[0])
        belief = new_belief(
            reference_temperature,
            float(np.median(pairs.moistures_wb[usable][:3])),
            at_s=float(pairs.times_s[usable[0]]) - 1.0,
            inlet_wb=first if reference_inlet_wb is None else reference_inlet_wb,
            sensitivity=sensitivity,
            sensitivity_sd=sensitivity_sd,
            inlet_effect=inlet_effect,
            inlet_effect_sd=inlet_effect_sd,
            inlet_per_sensitivity=inlet_per_sensitivity,
            reference_transit_s=reference_transit_s,
            grain=grain,
        )
    new = pairs.times_s[usable] > belief.at_s
    if inlets is not None and belief.reference_inlet_wb <= 0.0 and new.any():
        # begun without an inlet moisture: what was learned is taken to hold at the first one told
        belief = replace(belief, reference_inlet_wb=float(inlets[new][0]))
    odd = _odd_one_out(pairs, usable, belief, reading_sd)
    aside = [int(usable[k]) for k in odd]
    newest = int(usable[-1])
    usable = np.delete(usable, odd)
    inlets = None if inlets is None else np.delete(inlets, odd)
    learned = learn(
        belief,
        pairs.times_s[usable],
        pairs.temperatures[usable],
        pairs.moistures_wb[usable],
        inlets_wb=inlets,
        reading_sd=np.sqrt(
            reading_sd**2
            + (RESTLESS * belief.prior_sensitivity * pairs.spreads[usable]) ** 2
            + np.broadcast_to(inlet_doubt, pairs.times_s.shape)[usable] ** 2
        ),
    )
    belief = learned.belief
    if newest in aside:  # nothing has spoken against it yet: the next reading may agree with it
        belief = set_aside(
            belief,
            float(pairs.times_s[newest]),
            float(pairs.temperatures[newest]),
            float(pairs.moistures_wb[newest]),
            inlet_wb=None if pairs.inlets_wb is None else float(pairs.inlets_wb[newest]),
            reading_sd=reading_sd,
        )
    doubted = [*(int(usable[k]) for k in learned.doubted), *aside]
    return belief, tuple(sorted(doubted))


def _odd_one_out(
    pairs: Pairs, usable: NDArray[np.intp], belief: Belief, reading_sd: float
) -> list[int]:
    """Where among the new readings one stands far off all others: it is not learned from.

    Dixon's or Grubbs' test on what column temperature and inlet do not explain; the filter doubts
    a reading only against those before it, so that a first one would be believed whatever follows.
    """
    new = np.flatnonzero(pairs.times_s[usable] > belief.at_s)
    if new.size < FEWEST_TO_TEST:
        return []
    left = [
        float(pairs.moistures_wb[k])
        - belief.predict(
            float(pairs.temperatures[k]),
            inlet_wb=None if pairs.inlets_wb is None else float(pairs.inlets_wb[k]),
        )[0]
        for k in usable[new]
    ]
    found = find_outlier(left, resolution=DOUBT_AT_SD * reading_sd)
    return [int(new[found.index])] if found is not None and found.outlier else []
