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

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.methods import DERIVED, Method
from outfeed.steering.belief import PER_DEGF, Belief
from outfeed.steering.collapse import FAR_BELOW, LEVEL_SHARE
from outfeed.steering.lag import LAG_SHARE_OF_TRANSIT, TRANSIT, passage_times
from outfeed.steering.pairs import Pairs, Transport, inlet_at

COLUMN_PER_TIME = 11.0 / PER_DEGF
"""Kelvins of column temperature per unit of the logarithm of the time in the dryer: 0.11 degF per
per cent of rate; column model at its base point (mixed flow, corn, 22 to 15.5 %)."""

COLUMN_PER_INLET = -210.0 / PER_DEGF
"""Kelvins per unit of inlet moisture at one rate: -2.1 degF per point; column model, same point."""

DEAD_SHARE, LAG_SHARE = 1.0 / 6.0, 0.3
"""Dead time and lag of the column behind the rate, as shares of transit; column model."""

ANSWER_TIMES = (0.5, 0.63, 0.8, 1.0, 1.26, 1.6, 2.0)
"""How many times as long the column's answer may take as those shares say: dryers differ, and the
transit may be stated wrong. The one that leaves least scatter in the record is taken; chosen."""

RECORD_WINDOW_S = 12_000.0
"""The record in which the column's answer is looked for; chosen on simulated dryers."""

RECORD_REACH_S = 2.0 * RECORD_WINDOW_S
"""How far back the record is taken up for it where the heat was out since; chosen, no source."""

OFFSET_WANDER = 0.1
"""SD that the column's offset gains in the square root of an hour [K]: a plenum, half of whose
wandering the column shows; chosen on simulated dryers."""

SHORTEST_OFFSET_S = 3000.0
"""The offset is averaged over at least this, long against the noise of the sensors; chosen."""

BIN_S = 1800.0
"""Scatter is judged over means of this length, for what the answer leaves unexplained comes in
waves of about that; chosen on simulated dryers."""

OFFSET_READINGS = 8
"""Or over this many readings, where that time has fewer; chosen, no source."""

SETTLED_LAGS = 4.0
"""A change this many lags ago has been answered but for two per cent."""

GRID = 300
"""Points at which the answer is worked out: a minute or two apart."""

ENTRIES_A_TRANSIT = 4
"""A rate log with fewer entries a transit says too little of the time in the dryer; chosen."""

YOUNG_READINGS = 6
"""A belief begun from what the column showed and no older than this many readings is begun again
once the time in the dryer is known: it has learned little, and some of it from a start; chosen."""

SPREAD_KEPT = 0.5
"""Share of the column's movement that still counts against a reading: none were the time in the
dryer right, but it may be stated wrong by half; chosen on simulated dryers."""

RATE_BEFORE_SD = 0.3
"""SD of the logarithm of the rate before its log begins; chosen, no source."""

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
        None where the rate log is missing, too coarse or shorter than a time in the dryer, that
        time is no transit of any dryer, the inlet is not known, or the belief was begun without
        them and is no longer young: then the readings stay matched to what the column showed.

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
    young = belief is None or belief.readings == 0
    if belief is not None and belief.reference_transit_s <= 0:
        young = belief.readings <= YOUNG_READINGS
    if young:
        # a scale of times in the dryer is not anchored at a guess of what was before the log, nor
        # where nobody's belief may lie
        serves = serves[entered.covered[serves] & TRANSIT.contains(transits[serves])]
        if serves.size == 0:
            return None
    spacing = float(np.ptp(log_times)) / (log_times.size - 1)
    if spacing * ENTRIES_A_TRANSIT > float(np.median(transits[serves])):
        return None
    if belief is not None and not young:
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
        With other temperatures, inlets and spreads. Before the rate log begins its first rate is
        taken to have held, which the spread doubts; a reading whose grain entered there is not
        `found` beside one whose whole time in the dryer is in the log.
    """
    entered, covered = _entered(pairs.times_s, steady)
    transits = pairs.times_s - entered
    inlets = np.asarray(inlet_at(entered, steady.inlet_times_s, steady.inlets_wb))
    log = steady.transport.rate_times_s
    before = np.zeros(entered.shape) if log is None else np.maximum(log[0] - entered, 0.0)
    whole = pairs.found & covered
    return replace(
        pairs,
        temperatures=steady.at(transits, inlets),
        spreads=np.hypot(
            SPREAD_KEPT * pairs.spreads,
            abs(steady.column_per_time) * RATE_BEFORE_SD * before / transits,
        ),
        inlets_wb=inlets,
        found=whole if whole.any() else pairs.found,
        entered_s=entered,
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
        Mean over the last hours [K], over those before where the column had fallen away and the
        grain of that time is in the dryer; None while the record is too short for it.
    """
    times = np.asarray(column_times_s, dtype=np.float64)
    log_times, rates = steady.transport.rate_times_s, steady.transport.rates
    if log_times is None or rates is None or steady.transport.held is None:
        return None
    transit = float(_time_in_dryer(np.array([now_s]), steady)[0])
    begins = log_times[0] + (DEAD_SHARE + LAG_SHARE) * transit
    # while and just after the grain stood still the column tells nothing of a rate
    behind = np.clip(
        np.searchsorted(log_times, times - DEAD_SHARE * transit, side="right") - 1, 0, None
    )
    since = max(now_s - RECORD_REACH_S, begins)
    usable = np.flatnonzero((times >= since) & (times <= now_s) & (rates[behind] > 0))
    shown = np.asarray(column_temperatures, dtype=np.float64)
    heated = _heated(times[usable], shown[usable], transit)
    until = now_s if heated.size == 0 or heated[-1] else float(times[usable[heated]][-1])
    recent = usable[heated & (times[usable] >= until - RECORD_WINDOW_S)]
    if recent.size < 2:
        return None
    shown = shown[recent]
    left = _unexplained(times[recent], shown, steady, transit)
    first = min(
        int(np.searchsorted(times[recent], until - _averaged_over(times[recent], left))),
        max(0, recent.size - OFFSET_READINGS),
    )
    return float(np.mean(left[first:]))


def _heated(times_s: FloatArray, shown: FloatArray, transit_s: float) -> BoolArray:
    """Which readings are not of an outage of the heat, nor of the transit after it.

    Time in the dryer says nothing of how grain was dried that stood an hour of it in cold air. All
    count where none would be left: an offset of the outage is nearer than none at all.
    """
    level = np.quantile(shown, LEVEL_SHARE) if shown.size else 0.0
    cold = np.flatnonzero(shown < level - FAR_BELOW)
    all_of_them = np.ones(times_s.shape, dtype=np.bool_)
    if cold.size < 2:  # one alone is a doubt
        return all_of_them
    falls = np.flatnonzero(shown[: cold[0]] >= level)
    begun_s = times_s[falls[-1]] if falls.size else -np.inf
    found = (times_s <= begun_s) | (times_s > times_s[cold[-1]] + transit_s)
    return np.asarray(found) if np.count_nonzero(found) > 1 else all_of_them


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
    return np.asarray(times_s - _entered(times_s, steady)[0])


def _entered(times_s: FloatArray, steady: SteadyColumn) -> tuple[FloatArray, BoolArray]:
    """When grain leaving at some times entered [s], and whether the rate log reaches back there."""
    transport = steady.transport
    if transport.held is None or transport.rates is None or transport.rate_times_s is None:
        return times_s - steady.transit_s, np.ones(times_s.shape, dtype=np.bool_)
    whole = transport.held / LAG_SHARE_OF_TRANSIT
    entered = passage_times(times_s, transport.rate_times_s, transport.rates, whole)
    return entered.times_s, entered.covered


def _unexplained(
    times_s: FloatArray, shown: FloatArray, steady: SteadyColumn, transit_s: float
) -> FloatArray:
    """Column temperature beyond what rate and inlet explain, by the answer that fits best [K]."""
    transport = steady.transport
    if transport.held is None or transport.rates is None or transport.rate_times_s is None:
        return shown - steady.temperature
    whole = transport.held / LAG_SHARE_OF_TRANSIT
    log_times, rates = transport.rate_times_s, transport.rates
    entered = passage_times(times_s, log_times, rates, whole - transport.held).times_s
    inlets = inlet_at(entered, steady.inlet_times_s, steady.inlets_wb)
    best, least = shown, np.inf
    for factor in ANSWER_TIMES:
        slowly = _answered(times_s, log_times, rates, factor * transit_s)
        left = shown - steady.at(whole / slowly, inlets)
        scatter = _scatter(times_s, left)
        # a tie goes to the shares of the column model
        if scatter < least - 1e-9 or (factor == 1.0 and scatter <= least + 1e-9):
            best, least = left, scatter
    return best


def _answered(
    times_s: FloatArray, log_times_s: FloatArray, rates: FloatArray, transit_s: float
) -> FloatArray:
    """Discharge rates as the column answers them: after a dead time and a first-order lag."""
    lag = LAG_SHARE * transit_s
    at = times_s - DEAD_SHARE * transit_s
    grid = np.linspace(min(at[0], log_times_s[-1]) - SETTLED_LAGS * lag, at[-1], GRID)
    moving = rates > 0
    index = np.searchsorted(log_times_s[moving], grid, side="right") - 1
    steps = np.log(rates[moving])[np.clip(index, 0, None)]
    risen = 1.0 - np.exp(-(grid - grid[0]) / lag)
    smooth = steps[0] + np.convolve(np.diff(steps, prepend=steps[0]), risen)[:GRID]
    return np.asarray(np.exp(np.interp(at, grid, smooth)))


def _averaged_over(times_s: FloatArray, left: FloatArray) -> float:
    """Time over which a mean of the offset errs least [s].

    A mean over w of bins b long with scatter s errs by s^2 b/w, and by q^2 w/3 of a walk that gains
    q^2 in unit time.
    """
    bins = ((times_s[-1] - times_s) / BIN_S).astype(np.intp)
    count = np.bincount(bins)
    filled = count > 0
    if np.count_nonzero(filled) < 4:
        return RECORD_WINDOW_S
    means = np.bincount(bins, left)[filled] / count[filled]
    freedom = means.size / (means.size - 2)
    ages = np.asarray(np.flatnonzero(filled) * BIN_S, dtype=np.float64)
    scatter = _scatter(ages, np.asarray(means)) * np.sqrt(freedom)
    best = scatter * np.sqrt(3.0 * BIN_S * 3600.0) / OFFSET_WANDER
    return float(np.clip(best, SHORTEST_OFFSET_S, RECORD_WINDOW_S))


def _scatter(times_s: FloatArray, values: FloatArray) -> float:
    """Root mean square about a straight line."""
    along = times_s - np.mean(times_s)
    about = values - np.mean(values)
    square = float(along @ along)
    slope = float(along @ about) / square if square > 0 else 0.0
    return float(np.sqrt(np.mean((about - slope * along) ** 2)))
