"""What a dryer's log says afterwards: moisture, energy, money, the meter, and what to look at.

Averages are over the grain that left, since that is what fills the bin. Energy is fuel over the
water that really left, with the inlet moisture of each row's grain found one hold-up earlier by the
integral of the discharge; it is held against published figures for the kind of dryer.

.. [1] Hurburgh, C. R., T. E. Hazen and C. J. Bern, "Corn moisture measurement accuracy",
   Transactions of the ASAE 28:634-640, 1985: 2.5 % coefficient of variation at 15.5 % moisture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.assume import SPECIFIC_ENERGY, SpecificEnergy
from outfeed.dryer.description import DryerKind
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import DERIVED, READ, Method
from outfeed.runlog import HOLD_UP, Run, RunLog, prepare
from outfeed.settled_pairs import (
    NORMAL_90,
    ColumnLine,
    InletGroup,
    SettledPairs,
    by_inlet,
    fit_line,
    inlet_when_out,
    settled_pairs,
)
from outfeed.shrink import PRICE
from outfeed.spells import Spell, find_spells

HALF_POINT = 0.005
"""Moisture within this of the target is on target [-]: the job's own measure."""
READING_CV = 0.025
"""Meter and sample against the oven near 15.5 %, coefficient of variation [1]_."""
METER_WINDOW_S = 600.0
"""A reference sample is compared with the meter's mean over this; chosen, no source."""
FEWEST_FOR_DRIFT = 5
"""Samples below which no drift is judged; chosen, no source."""
FEWEST_PAIRS_FOR_DRIFT = 8
"""Settled pairs below which no drift is judged; chosen, no source."""

DRIFT_CHANCE = 0.01
"""A slope less likely than this without any drift is called one; chosen, no source."""

ROUNDING = 1e-9
"""Relative distance at which two energies are one: they come of long sums."""
FUEL_PRICE = Range("price of heat", 0.0, 1.0, "money/J", SENSIBLE)

STREAM = Method(
    id="review.grain-weighted-moisture",
    title="Moisture of the stream weighted by the grain that left",
    source="Mass balance",
    known=DERIVED,
)
ENERGY = Method(
    id="review.specific-energy",
    title="Fuel per water removed, inlet moisture matched by the integral of the discharge",
    source="Mass balance; band from a meter's 2.5 % coefficient of variation, Hurburgh, Hazen and "
    "Bern, Transactions of the ASAE 28:634-640, 1985",
    known=READ,
    note="Both moistures are taken to be off by one such deviation for the whole log.",
)
DRIFT = Method(
    id="review.meter-drift",
    title="Slope of the meter's offset over time, with its t interval",
    source="Least squares; Student's t",
    known=DERIVED,
)
METHODS = (STREAM, ENERGY, DRIFT)


@dataclass(frozen=True, slots=True)
class Stream:
    """The discharged grain.

    Attributes
    ----------
    grain : float
        Grain discharged, wet [kg].
    hours_s, running_s : float
        Time in the log and time grain left [s].
    read_share : float
        Share of the grain whose outlet moisture was read [-].
    mean_wb, sd, low_wb, high_wb : float
        Mean, standard deviation, 5th and 95th percentile of the outlet moisture [-].
    on_target_share : float
        Share of the grain within half a point of the target [-].
    too_wet_share, too_dry_share : float
        Shares above and below that [-].
    on_target_time_share : float
        Share of the running time within half a point [-].
    """

    grain: float
    hours_s: float
    running_s: float
    read_share: float
    mean_wb: float
    sd: float
    low_wb: float
    high_wb: float
    on_target_share: float
    too_wet_share: float
    too_dry_share: float
    on_target_time_share: float


@dataclass(frozen=True, slots=True)
class Energy:
    """Fuel against water.

    Attributes
    ----------
    heat : float
        Fuel burned, higher heating value [J].
    water : float
        Water removed; where moistures were not read, as on the average of the rest [kg].
    per_water, low, high : float
        Fuel per water and its 90 % band [J/kg].
    points : float
        Mean points of moisture removed [-].
    covered_share : float
        Share of the grain with both moistures known [-].
    heat_read_share : float
        Share of the time with a reading of the heat [-]; where it was not read, it is as on the
        average of the rest, running and standing apart.
    published : SpecificEnergy or None
        For the kind of dryer.
    verdict : str
        "below", "inside" or "above" the published range, "overlaps" where the band does not
        decide, "unknown" without a kind.
    """

    heat: float
    water: float
    per_water: float
    low: float
    high: float
    points: float
    covered_share: float
    heat_read_share: float
    published: SpecificEnergy | None
    verdict: Literal["below", "inside", "above", "overlaps", "unknown"]


@dataclass(frozen=True, slots=True)
class OverDried:
    """What drying below the market moisture cost; grain that came drier counts from its own.

    Attributes
    ----------
    grain : float
        Grain that left drier than it came and below the market moisture [kg].
    came_below : float
        Grain known to have come below the market moisture [kg].
    weight_given_away : float
        Water that could have been sold as grain [kg].
    money : float
        That weight at the price of grain.
    fuel_money : float
        Fuel that evaporated it; zero when unknown.
    """

    grain: float
    came_below: float
    weight_given_away: float
    money: float
    fuel_money: float


@dataclass(frozen=True, slots=True)
class Drift:
    """Whether an offset wanders.

    Attributes
    ----------
    basis : str
        "samples": reference samples less the meter; "column": the meter against what column
        temperature and inlet moisture say, where a change of the dryer looks the same.
    count : int
        Samples or pairs.
    offset, offset_low, offset_high : float
        Mean of reference less meter and its 90 % interval [-]; zero for "column".
    per_day, per_day_low, per_day_high : float
        Slope of the meter's excess over its basis and 90 % interval [-/day].
    verdict : str
        "drifts", "no-evidence" or "too-few".
    """

    basis: Literal["samples", "column"]
    count: int
    offset: float
    offset_low: float
    offset_high: float
    per_day: float
    per_day_low: float
    per_day_high: float
    verdict: Literal["drifts", "no-evidence", "too-few"]


@dataclass(frozen=True, slots=True, eq=False)
class Review:
    """Everything the log says.

    Attributes
    ----------
    stream : Stream or None
        None without outlet moistures, or when no grain left.
    energy : Energy or None
        None without heat, inlet or outlet moistures, or when no grain left.
    over_dried : OverDried or None
        None without outlet moistures of grain that left.
    pairs : SettledPairs
        One a settled transit.
    line : ColumnLine or None
        Through the pairs.
    groups : tuple of InletGroup
        For next year's start.
    drifts : tuple of Drift
        By basis.
    spells : tuple of Spell
        What deserves a look.
    run : Run
        The prepared log, for pictures.
    """

    stream: Stream | None
    energy: Energy | None
    over_dried: OverDried | None
    pairs: SettledPairs
    line: ColumnLine | None
    groups: tuple[InletGroup, ...]
    drifts: tuple[Drift, ...]
    spells: tuple[Spell, ...]
    run: Run


def review(
    log: RunLog,
    *,
    target_wb: float,
    hold_up: float,
    market_wb: float | None = None,
    kind: DryerKind | None = None,
    grain_price: float = 0.0,
    heat_price: float = 0.0,
    heat_used: float | None = None,
) -> Review:
    """Judge a log.

    Parameters
    ----------
    log : RunLog
        As recorded.
    target_wb : float
        Outlet moisture wanted, wet basis [-].
    hold_up : float
        Grain held in the dryer [kg].
    market_wb : float, optional
        Moisture up to which the full weight is paid [-]; the target when left out.
    kind : str, optional
        Kind of dryer, for published energies.
    grain_price, heat_price : float
        Money per kg of grain and per J of fuel, zero when unknown.
    heat_used : float, optional
        Fuel burned over the whole log [J], where the log has no column of it.

    Returns
    -------
    Review
        Parts whose columns are missing, or that need grain which never left, are None.

    Raises
    ------
    OutOfRange
        An argument outside its range.
    Inconsistent
        A log without a reading of the discharge rate and without sign of fire.
    """
    MOISTURE_WB.check(target_wb, "target_wb")
    HOLD_UP.check(hold_up, "hold_up")
    PRICE.check(grain_price, "grain_price")
    FUEL_PRICE.check(heat_price, "heat_price")
    market = target_wb if market_wb is None else float(MOISTURE_WB.check(market_wb, "market_wb"))
    run = prepare(log)
    inlet = None if log.moisture_in is None else inlet_when_out(run, hold_up)
    energy = _energy(run, inlet, kind, heat_used)
    pairs = settled_pairs(run, hold_up, inlet=inlet)
    line = fit_line(pairs)
    per_water = energy.per_water if energy else 0.0
    return Review(
        stream=_stream(run, target_wb),
        energy=energy,
        over_dried=_over_dried(run, inlet, market, grain_price, heat_price * per_water),
        pairs=pairs,
        line=line,
        groups=by_inlet(pairs, line, target_wb),
        drifts=tuple(d for d in (_sample_drift(run), _column_drift(pairs, line)) if d is not None),
        spells=find_spells(run, inlet),
        run=run,
    )


def _stream(run: Run, target_wb: float) -> Stream | None:
    outlet = run.log.moisture_out
    if outlet is None:
        return None
    read = np.isfinite(outlet) & run.running & (run.rate > 0.0)
    if not read.any():
        return None
    grain, seconds, moisture = run.grain[read], run.seconds[read], outlet[read]
    total = float(grain.sum())
    mean = float(grain @ moisture) / total
    departure = moisture - target_wb
    edge = HALF_POINT + 1e-9
    on = np.abs(departure) <= edge
    low, high = np.percentile(moisture, [5.0, 95.0])
    return Stream(
        grain=float(run.grain.sum()),
        hours_s=float(run.seconds.sum()),
        running_s=float(run.seconds[run.running].sum()),
        read_share=total / float(run.grain.sum()),
        mean_wb=mean,
        sd=float(np.sqrt(grain @ (moisture - mean) ** 2 / total)),
        low_wb=float(low),
        high_wb=float(high),
        on_target_share=float(grain @ on) / total,
        too_wet_share=float(grain @ (departure > edge)) / total,
        too_dry_share=float(grain @ (departure < -edge)) / total,
        on_target_time_share=float(seconds @ on) / float(seconds.sum()),
    )


def _energy(
    run: Run, inlet: FloatArray | None, kind: DryerKind | None, heat_used: float | None
) -> Energy | None:
    outlet, heat = run.log.moisture_out, run.log.heat
    if inlet is None or outlet is None or (heat is None and heat_used is None):
        return None
    known: BoolArray = np.isfinite(inlet) & np.isfinite(outlet)
    grain = run.grain
    counted = float(grain[known].sum())
    if counted <= 0.0:
        return None
    dry = grain[known] * (1.0 - outlet[known])
    water = float(dry @ (inlet[known] / (1.0 - inlet[known]))) - float(grain[known] @ outlet[known])
    water *= float(grain.sum()) / counted
    burned, read = (heat_used or 0.0, 1.0) if heat is None else _burned(run, heat)
    if water <= 0.0 or not burned:
        return None
    wet, dry_end = _means(grain[known], inlet[known], outlet[known])
    doubt = NORMAL_90 * READING_CV * float(np.hypot(wet, dry_end)) / (wet - dry_end)
    per_water = burned / water
    low, high = per_water / (1.0 + doubt), per_water / max(1.0 - doubt, 0.1)
    published = None if kind is None else SPECIFIC_ENERGY[kind]
    return Energy(
        heat=burned,
        water=water,
        per_water=per_water,
        low=low,
        high=high,
        points=wet - dry_end,
        covered_share=counted / float(grain.sum()),
        heat_read_share=read,
        published=published,
        verdict=_verdict(per_water, low, high, published),
    )


def _burned(run: Run, heat: FloatArray) -> tuple[float, float]:
    """Heat over the whole log [J], and the share of the time it was read in [-]."""
    read = np.isfinite(heat)
    burned = 0.0
    for state in (run.running, ~run.running):
        known = state & read
        if known.any():
            mean = float(heat[known] @ run.seconds[known]) / float(run.seconds[known].sum())
            burned += mean * float(run.seconds[state].sum())
    return burned, float(run.seconds[read].sum()) / float(run.seconds.sum())


def _means(weight: FloatArray, *values: FloatArray) -> tuple[float, ...]:
    total = float(weight.sum())
    return tuple(float(weight @ value) / total for value in values)


def _verdict(
    per_water: float, low: float, high: float, published: SpecificEnergy | None
) -> Literal["below", "inside", "above", "overlaps", "unknown"]:
    if published is None:
        return "unknown"
    # a run that is one end of the published range itself is inside, whatever the last bit says
    if published.low * (1.0 - ROUNDING) <= per_water <= published.high * (1.0 + ROUNDING):
        return "inside"
    if high < published.low:
        return "below"
    return "above" if low > published.high else "overlaps"


def _over_dried(
    run: Run,
    inlet: FloatArray | None,
    market_wb: float,
    grain_price: float,
    fuel_per_water: float,
) -> OverDried | None:
    outlet = run.log.moisture_out
    if outlet is None or not np.any(np.isfinite(outlet) & (run.grain > 0.0)):
        return None
    came = np.full(outlet.shape, np.nan) if inlet is None else inlet
    from_wb = np.fmin(market_wb, came)
    below = np.maximum(from_wb - np.where(np.isnan(outlet), 1.0, outlet), 0.0)
    grain = run.grain
    given = float(grain @ (below / (1.0 - from_wb)))
    return OverDried(
        grain=float(grain[below > 0.0].sum()),
        came_below=float(grain[came < market_wb].sum()),
        weight_given_away=given,
        money=given * grain_price,
        fuel_money=given * fuel_per_water,
    )


def _sample_drift(run: Run) -> Drift | None:
    reference, meter = run.log.reference, run.log.moisture_out
    if reference is None or meter is None:
        return None
    rows = np.flatnonzero(np.isfinite(reference))
    times = run.log.times_s
    start = np.searchsorted(times, times[rows] - METER_WINDOW_S / 2.0, side="left")
    end = np.searchsorted(times, times[rows] + METER_WINDOW_S / 2.0, side="right")
    read = np.isfinite(meter)
    many = np.concatenate(([0.0], np.cumsum(read)))
    sums = np.concatenate(([0.0], np.cumsum(np.where(read, meter, 0.0))))
    count = many[end] - many[start]
    usable = count > 0.0
    if not usable.any():
        return None
    shown = (sums[end] - sums[start])[usable] / count[usable]
    rows = rows[usable]
    return _drift("samples", times[rows], shown - reference[rows], FEWEST_FOR_DRIFT)


def _column_drift(pairs: SettledPairs, line: ColumnLine | None) -> Drift | None:
    if line is None or pairs.outlet_wb.size < FEWEST_PAIRS_FOR_DRIFT:
        return None
    excess = pairs.outlet_wb - line.outlet(pairs.column, pairs.inlet_wb)
    middle = (pairs.start_s + pairs.end_s) / 2.0
    return _drift("column", middle, excess, FEWEST_PAIRS_FOR_DRIFT)


def _drift(
    basis: Literal["samples", "column"], times_s: FloatArray, excess: FloatArray, fewest: int
) -> Drift:
    """Mean and slope of the meter's excess, each with its t interval."""
    n = excess.size
    mean = float(excess.mean())
    half = _t_half_width(n - 1, float(excess.std(ddof=1)) / np.sqrt(n)) if n > 1 else 0.0
    decided = n >= fewest and float(np.ptp(times_s)) > 0.0
    slope, error = _slope(times_s / 86_400.0, excess) if decided else (0.0, 0.0)
    slope_half = _t_half_width(n - 2, error) if decided else 0.0
    drifting = decided and abs(slope) > _t_half_width(n - 2, error, DRIFT_CHANCE)
    offset = -mean if basis == "samples" else 0.0
    half = half if basis == "samples" else 0.0
    return Drift(
        basis=basis,
        count=int(n),
        offset=offset,
        offset_low=offset - half,
        offset_high=offset + half,
        per_day=slope,
        per_day_low=slope - slope_half,
        per_day_high=slope + slope_half,
        verdict="drifts" if drifting else "no-evidence" if decided else "too-few",
    )


def _slope(days: FloatArray, values: FloatArray) -> tuple[float, float]:
    centred = days - days.mean()
    square = float(centred @ centred)
    slope = float(centred @ values) / square
    residual = values - values.mean() - slope * centred
    variance = float(residual @ residual) / (values.size - 2)
    return slope, float(np.sqrt(variance / square))


def _t_half_width(freedom: int, standard_error: float, outside: float = 0.10) -> float:
    """Half width of a central interval that leaves a chance outside it."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 1.0 - outside / 2.0)) * standard_error
