"""The column temperature that belongs to grain whose time in the dryer and inlet are known.

The column sensors answer a change of rate late, are warmed by a hotter plenum and cooled by wetter
grain, so the temperature they showed while a kernel passed is a rough witness of how it was dried.
Where a close log of discharge rates and the inlet moistures are given, the time that each sample
spent in the dryer is known exactly, and the column model says what column temperature that time
and that inlet moisture would show once all is steady: its *steady temperature*. Readings are
matched to that. What the column shows beyond it is the weather's and the plenum's doing; it is
averaged over the last hours and taken off the setpoint before a moisture is expected of it.

A wrong size of the model's column answer is forgiven: the learned sensitivity takes it up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.methods import DERIVED, Method
from outfeed.steering.belief import PER_DEGF, Belief
from outfeed.steering.lag import LAG_SHARE_OF_TRANSIT, passage_times
from outfeed.steering.pairs import Pairs, Transport, inlet_at

COLUMN_PER_TIME = 11.0 / PER_DEGF
"""Kelvins of column temperature per unit of the logarithm of the time in the dryer: 0.11 degF per
per cent of rate; column model at its base point (mixed flow, corn, 22 to 15.5 %)."""

COLUMN_PER_INLET = -210.0 / PER_DEGF
"""Kelvins per unit of inlet moisture at one rate: -2.1 degF per point; column model, same point."""

COLUMN_DELAY_SHARE = 0.47
"""Mean delay of the column behind the rate as a share of transit: a dead time of a sixth and a
lag of about a third; column model."""

OFFSET_WINDOW_S = 12_000.0
"""The column's offset is averaged over this: long against the noise of rate and inlet, short
against a day; chosen on simulated dryers."""

ENTRIES_A_TRANSIT = 4
"""A rate log with fewer entries a transit says too little of the time in the dryer; chosen."""

ENTERED_SHARE = 0.25
"""A move acts on grain still above the sensors: the inlet it is judged for entered this share of a
transit ago; chosen on simulated dryers."""

ENTERED_WINDOW_S = 1800.0
"""Width of the mean of that inlet moisture, against single odd loads; chosen, no source."""

STEADY = Method(
    "steering.steady-temperature",
    "readings matched to the steady column temperature of their time in the dryer and inlet",
    "plug flow, and finite differences of the column model (mixed flow, corn, 22 to 15.5 %)",
    DERIVED,
    note="sizes of a synthetic dryer; the learned sensitivity takes up what they miss",
)
METHODS = (STEADY,)


@dataclass(frozen=True, slots=True)
class SteadyColumn:
    """Where the steady temperature is anchored, with the logs it is found from.

    Attributes
    ----------
    temperature : float
        Column temperature at the anchor [degC].
    inlet_wb : float
        Inlet moisture at the anchor, wet basis [-].
    transit_s : float
        Time in the dryer at the anchor [s].
    transport : Transport
        Grain held below the sensors and rate log.
    inlet_times_s, inlets_wb : ndarray
        Inlet log [s], [-], each entry holding until the next, shape (n,).
    column_per_time : float
        Column temperature per unit of the logarithm of the time in the dryer [K].
    column_per_inlet : float
        Column temperature per unit of inlet moisture at one rate [K].
    """

    temperature: float
    inlet_wb: float
    transit_s: float
    transport: Transport
    inlet_times_s: FloatArray
    inlets_wb: FloatArray
    column_per_time: float = COLUMN_PER_TIME
    column_per_inlet: float = COLUMN_PER_INLET

    def at(self, transits_s: ArrayLike, inlets_wb: ArrayLike) -> FloatArray:
        """Steady temperature of grain.

        Parameters
        ----------
        transits_s : array_like
            Times in the dryer [s], above 0.
        inlets_wb : array_like
            Inlet moistures, wet basis [-].

        Returns
        -------
        ndarray
            Steady column temperatures [degC].
        """
        longer = np.log(np.asarray(transits_s, dtype=np.float64) / self.transit_s)
        wetter = np.asarray(inlets_wb, dtype=np.float64) - self.inlet_wb
        shift = self.column_per_time * longer + self.column_per_inlet * wetter
        return np.asarray(self.temperature + shift)


def steady_column(
    pairs: Pairs,
    belief: Belief | None,
    transport: Transport,
    *,
    inlet_times_s: ArrayLike | None,
    inlets_wb: ArrayLike | None,
    reference_temperature: float,
    column_per_time: float = COLUMN_PER_TIME,
    column_per_inlet: float = COLUMN_PER_INLET,
) -> SteadyColumn | None:
    """Whether steady temperatures can be found, and their anchor.

    Parameters
    ----------
    pairs : Pairs
        Readings matched to the column.
    belief : Belief or None
        What was known; its own anchor is kept. None anchors at the first reading that serves.
    transport : Transport
        Must hold the grain held and a rate log with four entries or more a transit.
    inlet_times_s, inlets_wb : array_like or None
        Inlet log [s], [-].
    reference_temperature : float
        Column temperature of a new anchor [degC]; the present setpoint is good.
    column_per_time, column_per_inlet : float
        Column temperature per unit of the logarithm of the time in the dryer and per unit of inlet
        moisture [K]; a described dryer's own are better than the general ones.

    Returns
    -------
    SteadyColumn or None
        None where the rate log is missing or too coarse, the inlet is not known, or the belief
        was begun without them: then the readings stay matched to what the column showed.

    Raises
    ------
    OutOfRange, Inconsistent
        Values outside their ranges, logs out of order.
    """
    log_times, rates, held = transport.rate_times_s, transport.rates, transport.held
    if inlet_times_s is None or inlets_wb is None or log_times is None or rates is None:
        return None
    if held is None or log_times.size < ENTRIES_A_TRANSIT or not np.any(rates > 0):
        return None
    inlet_times = np.atleast_1d(np.asarray(inlet_times_s, dtype=np.float64))
    inlets = np.atleast_1d(np.asarray(inlets_wb, dtype=np.float64))
    entered = passage_times(pairs.times_s, log_times, rates, held / LAG_SHARE_OF_TRANSIT)
    transits = pairs.times_s - entered.times_s
    serves = np.flatnonzero(pairs.found)
    if serves.size == 0:
        return None
    spacing = float(np.ptp(log_times)) / (log_times.size - 1)
    if spacing * ENTRIES_A_TRANSIT > float(np.median(transits[serves])):
        return None
    if belief is not None and belief.readings:
        if belief.reference_transit_s <= 0 or belief.reference_inlet_wb <= 0:
            return None
        anchor = (
            belief.reference_temperature,
            belief.reference_inlet_wb,
            belief.reference_transit_s,
        )
    else:
        first = serves[0]
        inlet = float(inlet_at(entered.times_s[first], inlet_times, inlets))
        anchor = (reference_temperature, inlet, float(transits[first]))
    return SteadyColumn(*anchor, transport, inlet_times, inlets, column_per_time, column_per_inlet)


def steady_pairs(pairs: Pairs, steady: SteadyColumn) -> Pairs:
    """The same readings matched to their steady temperatures.

    Parameters
    ----------
    pairs : Pairs
        Readings matched to what the column showed.
    steady : SteadyColumn
        Anchor and logs.

    Returns
    -------
    Pairs
        With other temperatures and inlets. Before the rate log begins its first
        rate is taken to have held; a reading whose passage lies there is not `found`.
    """
    transits = _time_in_dryer(pairs.times_s, steady)
    inlets = np.asarray(inlet_at(pairs.times_s - transits, steady.inlet_times_s, steady.inlets_wb))
    return replace(
        pairs,
        temperatures=steady.at(transits, inlets),
        inlets_wb=inlets,
        entered_s=pairs.times_s - transits,
    )


def column_offset(
    column_times_s: ArrayLike,
    column_temperatures: ArrayLike,
    steady: SteadyColumn,
    now_s: float,
) -> float | None:
    """How much warmer the column is than time in the dryer and inlet explain.

    Parameters
    ----------
    column_times_s, column_temperatures : array_like
        Column temperatures [s], [degC], ascending, shape (n,).
    steady : SteadyColumn
        Anchor and logs.
    now_s : float
        Time of the look [s].

    Returns
    -------
    float or None
        Mean over the last hours [K]; None while the record is too short for it.
    """
    times = np.asarray(column_times_s, dtype=np.float64)
    shown = np.asarray(column_temperatures, dtype=np.float64)
    log_times, rates = steady.transport.rate_times_s, steady.transport.rates
    held = steady.transport.held
    if log_times is None or rates is None or held is None:
        return None
    transit = float(_time_in_dryer(np.array([now_s]), steady)[0])
    behind = times - COLUMN_DELAY_SHARE * transit
    recent = (times >= now_s - OFFSET_WINDOW_S) & (times <= now_s) & (behind >= log_times[0])
    index = np.clip(np.searchsorted(log_times, behind, side="right") - 1, 0, rates.size - 1)
    recent &= rates[index] > 0
    if np.count_nonzero(recent) < 2:
        return None
    transits = held / LAG_SHARE_OF_TRANSIT / rates[index[recent]]
    lag = transit * (1.0 - LAG_SHARE_OF_TRANSIT)
    inlets = inlet_at(times[recent] - lag, steady.inlet_times_s, steady.inlets_wb)
    return float(np.mean(shown[recent] - steady.at(transits, inlets)))


def coming_inlet(steady: SteadyColumn, now_s: float, transit_s: float) -> float:
    """Inlet moisture of the grain that a move made now will act on.

    Parameters
    ----------
    steady : SteadyColumn
        Anchor and logs.
    now_s : float
        Time of the look [s].
    transit_s : float
        Transit time [s].

    Returns
    -------
    float
        Mean inlet moisture over half an hour, wet basis [-].
    """
    at = entered_by(now_s, transit_s) - np.linspace(0.0, ENTERED_WINDOW_S, 16)
    return float(np.mean(inlet_at(at, steady.inlet_times_s, steady.inlets_wb)))


def entered_by(now_s: float, transit_s: float) -> float:
    """When the latest of the grain entered that a move made now is judged for.

    Parameters
    ----------
    now_s, transit_s : float
        Time of the look and transit time [s].

    Returns
    -------
    float
        Time of entry [s].
    """
    return now_s - ENTERED_SHARE * transit_s


def _time_in_dryer(times_s: FloatArray, steady: SteadyColumn) -> FloatArray:
    transport = steady.transport
    if transport.held is None or transport.rates is None or transport.rate_times_s is None:
        return np.full(times_s.shape, steady.transit_s)
    whole = transport.held / LAG_SHARE_OF_TRANSIT
    entered = passage_times(times_s, transport.rate_times_s, transport.rates, whole)
    return np.asarray(times_s - entered.times_s)
