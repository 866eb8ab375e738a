"""What the dryer taught in a season: which column temperature went with which moisture, by inlet.

The log is cut into blocks of one hold-up of grain. A block counts as settled when its own grain
entered in the same unbroken run, the discharge was as fast as in the block before and the column
held still. Its outlet moisture is then paired with the column temperature that grain felt when it
passed the sensors and with the moisture at which it entered, both found by the integral of the
discharge. Grouped by inlet moisture the pairs say where to start next year.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import BoolArray, FloatArray, IndexArray
from outfeed.errors import Inconsistent
from outfeed.methods import COMMON_PRACTICE, DERIVED, Method
from outfeed.runlog import HOLD_UP, Run
from outfeed.steering.belief import (
    PRIOR_INLET_EFFECT,
    PRIOR_INLET_EFFECT_SD,
    PRIOR_SENSITIVITY,
    PRIOR_SENSITIVITY_SD,
    READING_SD,
    SENSITIVITY_BAND,
)
from outfeed.steering.lag import LAG_SHARE_OF_TRANSIT

SAME_RATE = 0.05
"""Discharge rates of two blocks in a row that count as one [-]; chosen, no source."""
STILL_COLUMN = 3.0 / 1.8
"""SD of the column temperature over a block that counts as still [K]; chosen, no source."""
ENOUGH_READ = 0.5
"""Share of a block's grain that must have been read; chosen, no source."""
INLET_STEP = 0.01
"""Width of an inlet moisture group [-]."""
FIRST_LEVEL_SD = 0.05
"""Doubt about the level before any pair [-]; wide on purpose."""
NORMAL_90 = 1.645
"""Half width of a central 90 % interval in standard deviations: normal distribution."""

SETTLED = Method(
    id="review.settled-pairs",
    title="Settled blocks of one hold-up, matched by the integral of the discharge",
    source="Plug flow; a settled block's discharge and column hold within chosen limits",
    known=DERIVED,
    note="One pair a transit, so that pairs do not repeat each other.",
)
COLUMN_LINE = Method(
    id="review.column-line",
    title="Outlet moisture as a line in column temperature and inlet moisture",
    source="Bayesian linear regression on the settled pairs; the prior is that of the setpoint "
    "advice",
    known=COMMON_PRACTICE,
    note="The prior comes from a model of a mixed-flow column.",
)
METHODS = (SETTLED, COLUMN_LINE)


@dataclass(frozen=True, slots=True, eq=False)
class SettledPairs:
    """One entry a settled block, arrays of shape (k,).

    Attributes
    ----------
    start_s, end_s : ndarray
        From when to when it was discharged [s].
    rate : ndarray
        Mean discharge [kg/s].
    outlet_wb, inlet_wb : ndarray
        Moistures of its grain, wet basis [-].
    column : ndarray
        Column temperature its grain felt at the sensors [degC].
    blocks : int
        Blocks looked at, settled or not.
    """

    start_s: FloatArray
    end_s: FloatArray
    rate: FloatArray
    outlet_wb: FloatArray
    inlet_wb: FloatArray
    column: FloatArray
    blocks: int


@dataclass(frozen=True, slots=True)
class ColumnLine:
    """Outlet moisture = level + sensitivity (T - T0) + inlet effect (inlet - inlet0).

    Attributes
    ----------
    temperature, inlet_wb : float
        T0 [degC] and inlet0 [-]: means of the pairs.
    level : float
        Outlet moisture there, wet basis [-].
    sensitivity, sensitivity_sd : float
        [1/K].
    inlet_effect, inlet_effect_sd : float
        [-].
    level_sd : float
        Doubt about the level [-].
    residual_sd : float
        SD of the pairs about the line [-].
    """

    temperature: float
    inlet_wb: float
    level: float
    level_sd: float
    sensitivity: float
    sensitivity_sd: float
    inlet_effect: float
    inlet_effect_sd: float
    residual_sd: float

    def outlet(self, column: FloatArray, inlet_wb: FloatArray) -> FloatArray:
        """Outlet moisture the line gives.

        Parameters
        ----------
        column : ndarray
            Column temperature [degC].
        inlet_wb : ndarray
            Inlet moisture, wet basis [-].

        Returns
        -------
        ndarray
            Wet basis [-].
        """
        return np.asarray(
            self.level
            + self.sensitivity * (column - self.temperature)
            + self.inlet_effect * (inlet_wb - self.inlet_wb)
        )


@dataclass(frozen=True, slots=True)
class InletGroup:
    """Settled blocks of about one inlet moisture.

    Attributes
    ----------
    inlet_wb : float
        Their mean inlet moisture, wet basis [-].
    pairs : int
        How many.
    rate, column, outlet_wb : float
        Means [kg/s], [degC], [-].
    outlet_sd : float
        Spread of the outlet moistures [-]; zero for a single pair.
    start_setpoint, setpoint_low, setpoint_high : float
        Column temperature to start with for the target, and its 90 % band [degC].
    """

    inlet_wb: float
    pairs: int
    rate: float
    column: float
    outlet_wb: float
    outlet_sd: float
    start_setpoint: float
    setpoint_low: float
    setpoint_high: float


def settled_pairs(
    run: Run,
    hold_up: float,
    *,
    lag_share: float = LAG_SHARE_OF_TRANSIT,
    inlet: FloatArray | None = None,
) -> SettledPairs:
    """One pair for every settled hold-up of grain.

    Parameters
    ----------
    run : Run
        Prepared log with outlet and inlet moisture and column temperature.
    hold_up : float
        Grain held in the dryer [kg].
    lag_share : float
        Share of it that lies between the sensors and the discharge [-].
    inlet : ndarray, optional
        `inlet_when_out` of the run, where it is known already.

    Returns
    -------
    SettledPairs
        Empty when a column is missing, or when no grain left.

    Raises
    ------
    OutOfRange
        A hold-up outside its range.
    """
    HOLD_UP.check(hold_up, "hold_up")
    log = run.log
    if log.moisture_out is None or log.moisture_in is None or run.column is None:
        return _none(0)
    if not run.any_left:
        return _none(0)
    block, place, segment = _blocks(run, hold_up)
    count = int(block.max()) + 1 if block.size and block.max() >= 0 else 0
    if count < 2:
        return _none(count)
    at_sensors, seen = run.rows_when(hold_up * lag_share)
    column = np.where(seen, run.column[at_sensors], np.nan)
    if inlet is None:
        inlet = inlet_when_out(run, hold_up)
    first = _first_rows(block, count)
    counted = block >= 0
    grain = run.grain * counted
    everything = np.add.reduceat(grain, first)
    rate = everything / np.add.reduceat(run.seconds * counted, first)
    outlet, share_out = _means(first, grain, everything, log.moisture_out)
    warm, share_warm = _means(first, grain, everything, column)
    wet, share_wet = _means(first, grain, everything, inlet)
    warm_sd = _spreads(first, grain, column, warm)
    settled = _settled(rate, warm, warm_sd, place[first], segment[first])
    settled &= (share_out >= ENOUGH_READ) & (share_warm >= ENOUGH_READ) & (share_wet >= ENOUGH_READ)
    last = _last_rows(block, count)
    return SettledPairs(
        start_s=log.times_s[first][settled],
        end_s=(log.times_s[last] + run.seconds[last])[settled],
        rate=rate[settled],
        outlet_wb=outlet[settled],
        inlet_wb=wet[settled],
        column=warm[settled],
        blocks=count,
    )


def inlet_when_out(run: Run, hold_up: float) -> FloatArray:
    """Inlet moisture of the grain that leaves at each row.

    Parameters
    ----------
    run : Run
        Prepared log with inlet moistures.
    hold_up : float
        Grain held in the dryer [kg].

    Returns
    -------
    ndarray
        Wet basis [-], NaN where the log does not know, shape (n,).

    Raises
    ------
    Inconsistent
        A log without inlet moistures.
    """
    if run.log.moisture_in is None:
        raise Inconsistent("the log has no inlet moistures", "moisture_in")
    entered, known = run.rows_when(hold_up)
    return np.where(known, run.log.moisture_in[entered], np.nan)


def fit_line(pairs: SettledPairs) -> ColumnLine | None:
    """The line through the pairs, leaning on the prior where they say little.

    Parameters
    ----------
    pairs : SettledPairs
        One or more.

    Returns
    -------
    ColumnLine or None
        None when there is no pair.
    """
    n = pairs.outlet_wb.size
    if n == 0:
        return None
    T0, w0, m0 = (float(np.mean(v)) for v in (pairs.column, pairs.inlet_wb, pairs.outlet_wb))
    design = np.column_stack((np.ones(n), pairs.column - T0, pairs.inlet_wb - w0))
    prior = np.array([0.0, PRIOR_SENSITIVITY, PRIOR_INLET_EFFECT])
    doubt = np.array([FIRST_LEVEL_SD, PRIOR_SENSITIVITY_SD, PRIOR_INLET_EFFECT_SD])
    precision = np.diag(doubt**-2.0) + design.T @ design / READING_SD**2
    pull = prior / doubt**2 + design.T @ (pairs.outlet_wb - m0) / READING_SD**2
    mean = np.linalg.solve(precision, pull)
    sd = np.sqrt(np.diag(np.linalg.inv(precision)))
    steep, flat = (PRIOR_SENSITIVITY * factor for factor in SENSITIVITY_BAND)
    residual = pairs.outlet_wb - m0 - design @ mean
    return ColumnLine(
        temperature=T0,
        inlet_wb=w0,
        level=m0 + float(mean[0]),
        level_sd=float(sd[0]),
        sensitivity=float(min(max(mean[1], steep), flat)),
        sensitivity_sd=float(sd[1]),
        inlet_effect=float(mean[2]),
        inlet_effect_sd=float(sd[2]),
        residual_sd=float(np.sqrt(np.mean(residual**2))),
    )


def by_inlet(
    pairs: SettledPairs, line: ColumnLine | None, target_wb: float
) -> tuple[InletGroup, ...]:
    """The pairs in groups of one point of inlet moisture, each with a setpoint to start from.

    Parameters
    ----------
    pairs : SettledPairs
        From `settled_pairs`.
    line : ColumnLine or None
        From `fit_line`.
    target_wb : float
        Outlet moisture wanted, wet basis [-].

    Returns
    -------
    tuple of InletGroup
        From dry to wet.
    """
    if line is None:
        return ()
    point = np.floor(pairs.inlet_wb / INLET_STEP + 0.5).astype(np.int64)
    return tuple(
        _group(pairs, line, target_wb, np.flatnonzero(point == k)) for k in np.unique(point)
    )


def _group(pairs: SettledPairs, line: ColumnLine, target_wb: float, rows: IndexArray) -> InletGroup:
    n = rows.size
    outlet, column = float(pairs.outlet_wb[rows].mean()), float(pairs.column[rows].mean())
    spread = float(pairs.outlet_wb[rows].std(ddof=1)) if n > 1 else 0.0
    start = column + (target_wb - outlet) / line.sensitivity
    scatter = max(spread, READING_SD)
    of_mean = scatter / np.sqrt(n) / abs(line.sensitivity)
    of_step = abs(start - column) * line.sensitivity_sd / abs(line.sensitivity)
    half = NORMAL_90 * float(np.hypot(of_mean, of_step))
    return InletGroup(
        inlet_wb=float(pairs.inlet_wb[rows].mean()),
        pairs=int(n),
        rate=float(pairs.rate[rows].mean()),
        column=column,
        outlet_wb=outlet,
        outlet_sd=spread,
        start_setpoint=start,
        setpoint_low=start - half,
        setpoint_high=start + half,
    )


def _none(blocks: int) -> SettledPairs:
    empty = np.zeros(0)
    return SettledPairs(empty, empty, empty, empty, empty, empty, blocks)


def _blocks(run: Run, hold_up: float) -> tuple[IndexArray, IndexArray, IndexArray]:
    """For each row its block (-1 while stopped), the block's place in its run, and the run."""
    broken = np.zeros(run.rate.shape, dtype=np.bool_)
    broken[run.gaps + 1] = True
    begins = run.running & (broken | ~np.concatenate(([False], run.running[:-1])))
    segment = np.cumsum(begins) - 1
    counter_at_begin = run.counter[np.flatnonzero(begins)]
    since = run.counter - counter_at_begin[np.maximum(segment, 0)]
    place = np.floor(since / hold_up).astype(np.int64)
    new = run.running & (begins | (np.diff(place, prepend=-1) != 0))
    block = np.where(run.running, np.cumsum(new) - 1, -1)
    return block, place, segment


def _settled(
    rate: FloatArray,
    warm: FloatArray,
    warm_sd: FloatArray,
    place: IndexArray,
    segment: IndexArray,
) -> BoolArray:
    """Full block after another full one of the same run, as fast, with a still column."""
    result = np.zeros(rate.shape, dtype=np.bool_)
    steady = np.abs(rate[1:] / np.maximum(rate[:-1], 1e-12) - 1.0) <= SAME_RATE
    together = (segment[1:] == segment[:-1]) & (place[1:] >= 1)
    still = np.isfinite(warm[1:]) & (warm_sd[1:] <= STILL_COLUMN)
    result[1:] = steady & together & still
    result[:-1] &= segment[1:] == segment[:-1]
    result[-1] = False  # the last block is not known to be whole
    return result


def _means(
    first: IndexArray, weight: FloatArray, everything: FloatArray, values: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Weighted mean and share of the weight that was read, by block; stopped rows weigh nothing."""
    read = np.isfinite(values)
    total = np.add.reduceat(weight * read, first)
    sums = np.add.reduceat(weight * np.where(read, values, 0.0), first)
    return sums / np.where(total > 0.0, total, 1.0), total / np.where(
        everything > 0.0, everything, 1.0
    )


def _spreads(
    first: IndexArray, weight: FloatArray, values: FloatArray, means: FloatArray
) -> FloatArray:
    """Weighted SD about the means, by block."""
    read = np.isfinite(values)
    rows = np.diff(np.append(first, values.size))
    of_row = np.concatenate((np.zeros(first[0]), np.repeat(means, rows)))
    departure = np.where(read, values - of_row, 0.0)
    total = np.add.reduceat(weight * read, first)
    squares = np.add.reduceat(weight * departure**2, first)
    return np.asarray(np.sqrt(squares / np.where(total > 0.0, total, 1.0)))


def _first_rows(block: IndexArray, count: int) -> IndexArray:
    return np.searchsorted(np.maximum.accumulate(block), np.arange(count), side="left")


def _last_rows(block: IndexArray, count: int) -> IndexArray:
    rows = np.flatnonzero(block >= 0)
    return rows[np.searchsorted(block[rows], np.arange(count), side="right") - 1]
