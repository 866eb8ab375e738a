"""From a request for setpoint advice to what the library decides on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.errors import Inconsistent
from outfeed.grains import load_grain, temperature_limits
from outfeed.grains.advice import DRYING_AIR, GRAIN_ITSELF
from outfeed.grains.limits import strictest
from outfeed.limits import GRAIN_TEMPERATURE
from outfeed.steering import belief as believing
from outfeed.steering import money, setpoint, steps
from outfeed.steering import steady as steadying
from outfeed.steering.clean import COLUMN_READING, clean_trace
from outfeed.steering.impossible import impossible_readings
from outfeed.steering.inlet import (
    InletLog,
)
from outfeed.steering.pairs import Transport, inlet_at
from outfeed.steering.spread import covariance_from
from outfeed.steering.trend import Trend, TrendLimits, judge_trend
from outfeed_api.moments import Clock
from outfeed_api.routes.setpoint_kept import refuse_other_units
from outfeed_api.routes.setpoint_models import ColumnSeries, SetpointAdviceRequest

FEWEST_FOR_TREND = 10
SECONDS_FOR_TREND = 6 * 3600.0

OTHER_SCALE = 25.0
"""Setpoint and reference of a belief further apart [K] are not of one scale: a temperature above 20
degC read in the other unit is off by more; chosen, no source."""


def trace_of(series: ColumnSeries, name: str) -> tuple[FloatArray, FloatArray]:
    """Temperatures in order of time, with what cannot be true of grain set aside.

    Parameters
    ----------
    series : ColumnSeries
        In SI.
    name : str
        Field of the request, to be named in an error.

    Returns
    -------
    tuple of ndarray
        Times [s], ascending, and temperatures [degC], both of shape (n,).

    Raises
    ------
    Inconsistent
        As many times as temperatures do not stand there, a record longer than seven days, or
        fewer than two temperatures left.
    """
    times, values = as_shown(series, name)
    if values.size < 2:
        raise Inconsistent("two or more temperatures are needed", name)
    if np.ptp(times) > 7 * 86_400.0:
        raise Inconsistent("a record of temperatures may span seven days at most", name)
    clean = clean_trace(times, values, 0.0)
    held = GRAIN_TEMPERATURE.contains(clean.values)  # hotter is a matter of fire, not of a setpoint
    if np.count_nonzero(held) < 2:
        means = f"; {seen.means}" if (seen := impossible_readings(times, values)) else ""
        raise Inconsistent(f"two or more temperatures at different times are needed{means}", name)
    return clean.times[held], clean.values[held]


def as_shown(series: ColumnSeries, name: str) -> tuple[FloatArray, FloatArray]:
    """Temperatures in order of time as they were shown: a fire may look like a spike at first.

    Parameters
    ----------
    series : ColumnSeries
        In SI.
    name : str
        Field of the request, to be named in an error.

    Returns
    -------
    tuple of ndarray
        Times [s], ascending, and temperatures [degC], both of shape (n,).

    Raises
    ------
    Inconsistent
        Not one time for every temperature.
    """
    values = np.array([np.nan if v is None else v for v in series.temperatures], dtype=np.float64)
    times = np.array(series.seconds, dtype=np.float64)
    if times.size != values.size:
        raise Inconsistent(f"{times.size} times do not fit {values.size} temperatures", name)
    known = ~np.isnan(values)
    order = np.argsort(times[known], kind="stable")
    return times[known][order], values[known][order]


def on_steady_scale(
    situation: setpoint.Situation,
    steady: steadying.SteadyColumn,
    column_times: FloatArray,
    column: FloatArray,
) -> setpoint.Situation:
    """The situation with the column's offset and the inlet that a move would act on.

    Parameters
    ----------
    situation : Situation
        As the request tells it.
    steady : SteadyColumn
        Where steady temperatures are anchored.
    column_times, column : ndarray
        Column temperatures in order of time [s], [degC], shape (n,).

    Returns
    -------
    Situation
        On the scale of a belief learned from steady temperatures.
    """
    now_s, transit_s = situation.now_s, situation.transit_s
    offset = steadying.column_offset(column_times, column, steady, now_s)
    return replace(
        situation,
        column_offset=0.0 if offset is None else offset,
        inlet_wb=steadying.coming_inlet(steady, now_s, transit_s),
        passing_wb=situation.inlet_wb,
    )


def trend_of(request: SetpointAdviceRequest, clock: Clock, sensitivity: float) -> Trend | None:
    """The trend since the last move, of the last six hours at most.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.
    sensitivity : float
        Change of discharge moisture per degree, from which the limits follow [1/K].

    Returns
    -------
    Trend or None
        None while there are fewer than ten temperatures.

    Raises
    ------
    Inconsistent
        A move in the future or in the other form of time.
    """
    times, column, recent = _since_move(request, clock)
    held = GRAIN_TEMPERATURE.contains(column)
    if np.count_nonzero(recent & held) < FEWEST_FOR_TREND:
        return None
    recent &= held | ~COLUMN_READING.contains(column)  # what cannot be true counts for the sensor
    limits = TrendLimits.from_sensitivity(sensitivity * 100.0)
    return judge_trend(times[recent], column[recent], request.setpoint, limits=limits)


def trend_after(request: SetpointAdviceRequest, clock: Clock) -> float:
    """How long until there are temperatures enough since the last move to judge a trend.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.

    Returns
    -------
    float
        Time at the pace of the readings [s]; 0 where there are enough.

    Raises
    ------
    Inconsistent
        A move in the future or in the other form of time.
    """
    times, column, recent = _since_move(request, clock)
    count = np.count_nonzero(recent & GRAIN_TEMPERATURE.contains(column))
    if count >= FEWEST_FOR_TREND or times.size < 2:
        return 0.0
    pace = float(np.median(np.diff(times[-FEWEST_FOR_TREND:])))
    return float(FEWEST_FOR_TREND - count) * pace


def _since_move(
    request: SetpointAdviceRequest, clock: Clock
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Temperatures as shown, and which are of the last hours and no older than the last move."""
    moved = moved_at(request, clock)
    times, column = as_shown(request.column, "column")
    recent = times >= clock.now_s - SECONDS_FOR_TREND
    if moved is not None:
        recent &= times >= moved
    return times, column, recent


def situation_of(
    request: SetpointAdviceRequest, clock: Clock, transport: Transport, log: InletLog | None
) -> setpoint.Situation:
    """What the advice is given for.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.
    transport : Transport
        How grain gets from the sensors to the sampling point.
    log : InletLog or None
        Smoothed inlet moistures.

    Returns
    -------
    Situation
        Without what only the readings teach.

    Raises
    ------
    Inconsistent
        A move in the future or in the other form of time.
    """
    transit = transport.transit_at(clock.now_s)
    inlet = None
    if log is not None:
        entered = transport.entered_at_sensors(clock.now_s)
        inlet = float(inlet_at(entered, log.times_s, log.moistures_wb))
    uncertain, ratio = request.meter_uncertainty, wet_to_dry_of(request)
    return setpoint.Situation(
        setpoint=request.setpoint,
        target_wb=request.target,
        now_s=clock.now_s,
        transit_s=transit,
        last_move_s=moved_at(request, clock),
        inlet_wb=inlet,
        meter_offset=request.meter_offset,
        meter_sd=setpoint.METER_SD_ASSUMED if uncertain is None else uncertain,
        wet_to_dry=money.EQUAL if ratio is None else ratio,
        highest=_highest(request, inlet),
    )


def moved_at(request: SetpointAdviceRequest, clock: Clock) -> float | None:
    """When the setpoint was last moved.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.

    Returns
    -------
    float or None
        Time [s]; None where nobody says.

    Raises
    ------
    Inconsistent
        A move after the time of asking, or in the other form of time.
    """
    name = "last_move_elapsed" if request.last_move is None else "last_move"
    moved = clock.time_of(request.last_move, request.last_move_elapsed, name)
    if moved is not None and moved > clock.now_s:
        raise Inconsistent("the last move lies after the time of asking", name)
    return moved


def _highest(request: SetpointAdviceRequest, inlet: float | None) -> float | None:
    """The lower of the caller's limit and the strictest published one for the end use."""
    limits = [] if request.highest_column_temperature is None else [
        request.highest_column_temperature
    ]  # fmt: skip
    if request.end_use is not None:
        rows = temperature_limits(
            load_grain(request.grain), end_use=request.end_use, moisture_wb=inlet
        )
        # grain is never hotter than the air that dries it, so a limit on air bounds it too
        limits += [row.low for of in (GRAIN_ITSELF, DRYING_AIR) if (row := strictest(rows, of=of))]
    return min(limits, default=None)


def _prices(request: SetpointAdviceRequest) -> money.Prices:
    return money.Prices(request.grain_price, request.fuel_cost, request.wet_discount)


def wet_to_dry_of(request: SetpointAdviceRequest) -> float | None:
    """Cost of a point too wet over that of a point too dry, as stated or by the prices.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.

    Returns
    -------
    float or None
        The ratio [-]; None where neither tells it.
    """
    if request.wet_to_dry is not None:
        return request.wet_to_dry
    return money.cost_ratio(request.target, _prices(request))


def cost_of(request: SetpointAdviceRequest, expected: float | None) -> float | None:
    """What the expected error costs.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    expected : float or None
        Moisture expected, wet basis [-].

    Returns
    -------
    float or None
        Money over time [1/s]; None without the prices of that side, rate or expectation.
    """
    rate = request.discharge_rate
    if request.rates is not None and request.rates.rates:
        rate = request.rates.rates[-1]
    if rate is None or expected is None:
        return None
    return money.error_cost(expected, request.target, rate, _prices(request))


def belief_of(request: SetpointAdviceRequest, clock: Clock) -> believing.Belief | None:
    """The belief of an earlier answer.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.
    clock : Clock
        Of the request.

    Returns
    -------
    Belief or None
        None where none was passed back.

    Raises
    ------
    Inconsistent
        Its time in the other form or to come, its temperature far from the setpoint, or
        correlations that no three quantities can have.
    """
    part = request.belief
    if part is None:
        return None
    refuse_other_units(part, request.units, "belief")
    at = clock.kept(part.at, part.at_elapsed, "belief")
    if abs(part.reference_temperature - request.setpoint) > OTHER_SCALE:
        raise Inconsistent(
            "the belief's reference temperature of {} must lie between {} and {}, near the "
            "setpoint: a belief is of one dryer, and in the `units` it was given in",
            "belief",
            values=(
                (part.reference_temperature, "degC"),
                (request.setpoint - OTHER_SCALE, "degC"),
                (request.setpoint + OTHER_SCALE, "degC"),
            ),
        )
    a, b, c = part.correlations
    return believing.Belief(
        reference_temperature=part.reference_temperature,
        reference_inlet_wb=part.reference_inlet,
        level=part.level,
        sensitivity=part.sensitivity,
        prior_sensitivity=part.sensitivity_prior,
        inlet_effect=part.inlet_effect,
        covariance=covariance_from(
            (part.level_sd, part.sensitivity_sd, part.inlet_effect_sd), (a, b, c)
        ),
        at_s=at,
        readings=part.readings,
        last_doubt=part.last_doubt,
        reference_transit_s=part.reference_transit or 0.0,
        grain=part.grain or "",
        run=None if part.run is None else steps.Run(**part.run.model_dump()),
    )
