"""Setpoint advice: should the column setpoint move, by how much, and when to look again."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from fastapi import APIRouter

from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.grains import load_grain, temperature_limits
from outfeed.grains.advice import DRYING_AIR, GRAIN_ITSELF
from outfeed.grains.limits import strictest
from outfeed.methods import use
from outfeed.steering import belief as believing
from outfeed.steering import feedforward, fire, money, setpoint
from outfeed.steering import steady as steadying
from outfeed.steering.clean import clean_trace
from outfeed.steering.pairs import Pairs, Transport, inlet_at, learn_from_pairs, pair_readings
from outfeed.steering.slope import METHODS as TREND_METHODS
from outfeed.steering.trend import Trend, TrendLimits, judge_trend
from outfeed_api.models import cautions, methods_used
from outfeed_api.moments import Clock, in_order, moment_seconds
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import setpoint_words as words
from outfeed_api.routes.setpoint_models import (
    INLETS_IN_TABLE,
    PAIRS_SHOWN,
    BeliefPart,
    ColumnSeries,
    EffectPart,
    InletRow,
    KnownChangePart,
    PairPart,
    ScheduledPart,
    SetpointAdviceAnswer,
    SetpointAdviceRequest,
    TrendPart,
)

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["steering"])

FEWEST_FOR_TREND = 10
SECONDS_FOR_TREND = 6 * 3600.0
LOOK_WHILE_STOPPED_S = 600.0
FAR_OFF = 0.01  # a point away from the target deserves a caution


@router.post(
    "/setpoint-advice",
    summary="Whether the column setpoint should move",
    operation_id="setpoint_advice",
    response_model_exclude_none=True,
)
@computes(heavy=True)
def setpoint_advice(request: SetpointAdviceRequest) -> SetpointAdviceAnswer:
    """Hold, move or wait, by how much, when to look again, and what the answer rests on.

    Each discharge moisture is matched to the column temperature one transport lag earlier. The
    answer carries a `belief`: keep it and pass it back, so that what was learned is not lost.
    A temperature that climbs while the discharge has stopped is a fire caution before all else.
    """
    clock = Clock.of(
        request.column, request.discharge, request.rates, request.exhaust,
        now=request.now, now_elapsed=request.now_elapsed,
    )  # fmt: skip
    column_times, column = _trace(request.column, "column")
    stopped_at = _stopped_at(request, clock)
    if stopped_at is not None:
        return _while_stopped(request, clock, stopped_at, column_times, column)
    return _advised(request, clock, column_times, column)


def _advised(
    request: SetpointAdviceRequest, clock: Clock, column_times: FloatArray, column: FloatArray
) -> SetpointAdviceAnswer:
    transport = _transport(request, clock)
    pairs = _pairs(request, transport, column_times, column)
    prior = request.sensitivity if request.sensitivity is not None else believing.PRIOR_SENSITIVITY
    earlier = _belief(request, clock)
    steady = _steady(request, pairs, earlier, transport)
    if steady is not None:
        pairs = steadying.steady_pairs(pairs, steady)
    belief, doubted = learn_from_pairs(
        pairs,
        earlier,
        reference_temperature=request.setpoint,
        sensitivity=prior,
        sensitivity_sd=request.sensitivity_uncertainty or believing.PRIOR_SENSITIVITY_SD,
        reference_inlet_wb=None if steady is None else steady.inlet_wb,
        reference_transit_s=0.0 if steady is None else steady.transit_s,
    )
    # the steeper of both, so that a flat fit does not widen what counts as level
    slope = prior if belief is None else min(prior, belief.sensitivity)
    trend = _trend(request, clock, slope, column_times, column)
    situation = _situation(request, clock, transport, trend_missing=trend is None)
    if steady is not None:
        situation = _on_steady_scale(situation, steady, column_times, column)
    advice = setpoint.advise_setpoint(belief, trend, situation, words.rules(request))
    expected = advice.expected_moisture_wb
    cost = _cost(request, expected)
    plan = _plan(request, clock, transport, situation, advice.setpoint, belief)
    return SetpointAdviceAnswer(
        decision=words.decision(request.units, clock, advice, situation),
        units=request.units,
        advice=advice.kind,
        setpoint=advice.setpoint,
        step=advice.step,
        look_at=clock.stamp(advice.look_at_s),
        look_at_elapsed=clock.minute(advice.look_at_s),
        look_in=advice.look_at_s - clock.now_s,
        expected_moisture=expected,
        expected_uncertainty=advice.expected_sd,
        expected_after=advice.after_moisture_wb,
        aim=advice.aim_wb,
        error=None if expected is None else expected - advice.aim_wb,
        threshold=advice.threshold,
        chance=advice.chance,
        money_rate=cost,
        raise_if_reading_above=advice.move_above_wb,
        lower_if_reading_below=advice.move_below_wb,
        reasons=list(advice.reasons),
        trend=_trend_part(trend),
        transit=situation.transit_s,
        matched=_matched(clock, pairs, doubted),
        setpoints_by_inlet=_table(request, belief, situation),
        schedule=_schedule(clock, plan),
        effects=_effects(clock, plan),
        belief=None if belief is None else _belief_part(clock, belief),
        assumed=words.assumed(request, situation, transport),
        methods=methods_used(
            use(transport.method),
            *map(use, steadying.METHODS if steady is not None else ()),
            *map(use, TREND_METHODS + believing.METHODS + setpoint.METHODS),
            *map(use, money.METHODS if cost is not None else ()),
            *map(use, feedforward.METHODS if plan.effects else ()),
        ),
        notes=words.notes(request.units, advice, situation, trend, pairs, doubted, cost)
        + words.plan_notes(request.units, clock, plan),
        cautions=cautions("meter-uncertain", *_far_off(request, expected), "follow-manual"),
    )


def _while_stopped(
    request: SetpointAdviceRequest,
    clock: Clock,
    stopped_at: float,
    column_times: FloatArray,
    column: FloatArray,
) -> SetpointAdviceAnswer:
    climbs = [fire.climbing("column", column_times, column, stopped_at)]
    if request.exhaust is not None:
        climbs.append(fire.climbing("exhaust", *_trace(request.exhaust, "exhaust"), stopped_at))
    worst = max((one for one in climbs if one is not None), key=lambda one: one.rise, default=None)
    look_at = clock.now_s + (LOOK_WHILE_STOPPED_S if worst is None else 0.0)
    return SetpointAdviceAnswer(
        decision=words.stopped_decision(request.units, request.setpoint, worst),
        units=request.units,
        advice="wait" if worst is None else "fire-caution",
        setpoint=request.setpoint,
        step=0.0,
        look_at=clock.stamp(look_at),
        look_at_elapsed=clock.minute(look_at),
        look_in=look_at - clock.now_s,
        aim=request.target,
        reasons=["discharge-stopped"] if worst is None else ["fire-caution", "discharge-stopped"],
        matched=[],
        belief=request.belief,
        methods=methods_used(*map(use, fire.METHODS)),
        notes=words.stopped_notes(worst),
        cautions=cautions("fire-column", "hot-surfaces", "follow-manual"),
    )


def _trace(series: ColumnSeries, name: str) -> tuple[FloatArray, FloatArray]:
    """Temperatures in order of time, with what cannot be true set aside."""
    values = np.array([np.nan if v is None else v for v in series.temperatures], dtype=np.float64)
    times = np.array(series.seconds, dtype=np.float64)
    if times.size != values.size:
        raise Inconsistent(f"{times.size} times do not fit {values.size} temperatures", name)
    if np.count_nonzero(~np.isnan(values)) < 2:
        raise Inconsistent("two or more temperatures are needed", name)
    if np.ptp(times) > 7 * 86_400.0:
        raise Inconsistent("a record of temperatures may span seven days at most", name)
    clean = clean_trace(times, values, 0.0)
    if clean.times.size < 2:
        raise Inconsistent("two or more temperatures at different times are needed", name)
    return clean.times, clean.values


def _stopped_at(request: SetpointAdviceRequest, clock: Clock) -> float | None:
    if request.rates is not None and request.rates.rates:
        times = in_order(request.rates, request.rates.rates, "rates")
        return fire.stopped_since(times, request.rates.rates)
    if request.discharge_rate == 0:
        return clock.now_s - fire.STOP_UNKNOWN_S
    return None


def _transport(request: SetpointAdviceRequest, clock: Clock) -> Transport:
    times = rates = None
    if request.rates is not None and request.rates.rates:
        times = np.array(in_order(request.rates, request.rates.rates, "rates"))
        rates = np.array(request.rates.rates)
    elif request.discharge_rate is not None:
        # a rate without a log is taken to have held for as long as anything is known
        times, rates = np.array([clock.now_s - 30 * 86_400.0]), np.array([request.discharge_rate])
    by_flow = request.held_below_sensors is not None and rates is not None
    if not by_flow and request.lag is None and request.transit is None:
        raise Inconsistent(
            "how long grain travels needs `transit`, or `lag`, or `held_below_sensors` with "
            "`rates` or `discharge_rate`",
            "transit",
        )
    return Transport(
        held=request.held_below_sensors,
        rate_times_s=times,
        rates=rates,
        lag_s=request.lag,
        transit_s=request.transit,
    )


def _pairs(
    request: SetpointAdviceRequest,
    transport: Transport,
    column_times: FloatArray,
    column: FloatArray,
) -> Pairs:
    moistures = request.discharge.moistures
    times = in_order(request.discharge, moistures, "discharge")
    inlet = request.inlet if request.inlet is not None and request.inlet.moistures else None
    return pair_readings(
        times,
        moistures,
        column_times,
        column,
        transport,
        inlet_times_s=None if inlet is None else in_order(inlet, inlet.moistures, "inlet"),
        inlets_wb=None if inlet is None else inlet.moistures,
    )


def _steady(
    request: SetpointAdviceRequest,
    pairs: Pairs,
    belief: believing.Belief | None,
    transport: Transport,
) -> steadying.SteadyColumn | None:
    inlet = request.inlet if request.inlet is not None and request.inlet.moistures else None
    return steadying.steady_column(
        pairs,
        belief,
        transport,
        inlet_times_s=None if inlet is None else in_order(inlet, inlet.moistures, "inlet"),
        inlets_wb=None if inlet is None else inlet.moistures,
        reference_temperature=request.setpoint,
    )


def _on_steady_scale(
    situation: setpoint.Situation,
    steady: steadying.SteadyColumn,
    column_times: FloatArray,
    column: FloatArray,
) -> setpoint.Situation:
    """The situation with the column's offset and the inlet that a move would act on."""
    now_s, transit_s = situation.now_s, situation.transit_s
    offset = steadying.column_offset(column_times, column, steady, now_s)
    return replace(
        situation,
        column_offset=0.0 if offset is None else offset,
        inlet_wb=steadying.coming_inlet(steady, now_s, transit_s),
    )


def _trend(
    request: SetpointAdviceRequest,
    clock: Clock,
    sensitivity: float,
    column_times: FloatArray,
    column: FloatArray,
) -> Trend | None:
    """The trend since the last move; None while there is too little of it."""
    moved = _moved_at(request)
    recent = column_times >= clock.now_s - SECONDS_FOR_TREND
    if moved is not None:
        recent &= column_times >= moved
    if np.count_nonzero(recent) < FEWEST_FOR_TREND:
        return None
    limits = TrendLimits.from_sensitivity(sensitivity * 100.0)
    return judge_trend(column_times[recent], column[recent], request.setpoint, limits=limits)


def _situation(
    request: SetpointAdviceRequest, clock: Clock, transport: Transport, *, trend_missing: bool
) -> setpoint.Situation:
    transit = transport.transit_at(clock.now_s)
    inlet = None
    if request.inlet is not None and request.inlet.moistures:
        at_sensors = clock.now_s - (transit - transport.lag_at(clock.now_s))
        inlet = float(inlet_at(at_sensors, request.inlet.seconds, request.inlet.moistures))
    uncertain = request.meter_uncertainty
    return setpoint.Situation(
        setpoint=request.setpoint,
        target_wb=request.target,
        now_s=clock.now_s,
        transit_s=transit,
        last_move_s=_moved_at(request),
        inlet_wb=inlet,
        meter_offset=request.meter_offset,
        meter_sd=setpoint.METER_SD_ASSUMED if uncertain is None else uncertain,
        wet_to_dry=_wet_to_dry(request),
        highest=_highest(request, inlet),
        trend_missing=trend_missing,
    )


def _plan(
    request: SetpointAdviceRequest,
    clock: Clock,
    transport: Transport,
    situation: setpoint.Situation,
    advised: float,
    belief: believing.Belief | None,
) -> feedforward.Plan:
    return feedforward.plan_changes(
        [_change(part, clock) for part in request.known_changes or []],
        advised,
        transit_s=situation.transit_s,
        lag_s=transport.lag_at(clock.now_s),
        resolution=words.rules(request).resolution,
        belief=belief,
        highest=situation.highest,
    )


def _change(part: KnownChangePart, clock: Clock) -> feedforward.KnownChange:
    wet = part.kind == "inlet-moisture"
    amount = part.moisture_change if wet else part.temperature_change
    other = part.temperature_change if wet else part.moisture_change
    if amount is None or other is not None:
        name = "moisture_change" if wet else "temperature_change"
        raise Inconsistent(f"a change of kind {part.kind} takes `{name}` alone", "known_changes")
    if (part.at is not None and clock.form == "elapsed") or (
        part.at_elapsed is not None and clock.form == "times"
    ):
        raise Inconsistent("give all times of a request in one form", "known_changes")
    at = part.at_elapsed if part.at is None else moment_seconds(part.at)
    return feedforward.KnownChange(part.kind, clock.now_s if at is None else at, amount)


def _schedule(clock: Clock, plan: feedforward.Plan) -> list[ScheduledPart]:
    return [
        ScheduledPart(
            at=clock.stamp(step.at_s),
            at_elapsed=clock.minute(step.at_s),
            step=step.step,
            setpoint=step.setpoint,
            because=step.kind,
        )
        for step in plan.steps
    ]


def _effects(clock: Clock, plan: feedforward.Plan) -> list[EffectPart]:
    return [
        EffectPart(
            kind=effect.change.kind,
            setpoint_change=effect.setpoint_change,
            setpoint_uncertainty=effect.setpoint_sd,
            rate_change=effect.rate_change,
            at_sensors=clock.stamp(effect.at_sensors_s),
            at_sensors_elapsed=clock.minute(effect.at_sensors_s),
            at_discharge=clock.stamp(effect.at_discharge_s),
            at_discharge_elapsed=clock.minute(effect.at_discharge_s),
        )
        for effect in plan.effects
    ]


def _moved_at(request: SetpointAdviceRequest) -> float | None:
    if request.last_move is not None:
        if request.column.form != "times":
            raise Inconsistent("give all times of a request in one form", "last_move")
        return moment_seconds(request.last_move)
    if request.last_move_elapsed is not None and request.column.form != "elapsed":
        raise Inconsistent("give all times of a request in one form", "last_move_elapsed")
    return request.last_move_elapsed


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


def _prices(request: SetpointAdviceRequest) -> money.Prices | None:
    given = (request.grain_price, request.fuel_cost, request.wet_discount)
    return None if given == (None,) * 3 else money.Prices(*(price or 0.0 for price in given))


def _wet_to_dry(request: SetpointAdviceRequest) -> float:
    if request.wet_to_dry is not None:
        return request.wet_to_dry
    prices = _prices(request)
    ratio = None if prices is None else money.cost_ratio(request.target, prices)
    return 1.0 if ratio is None else min(max(ratio, money.COST_RATIO.low), money.COST_RATIO.high)


def _cost(request: SetpointAdviceRequest, expected: float | None) -> float | None:
    prices = _prices(request)
    rate = request.discharge_rate
    if request.rates is not None and request.rates.rates:
        rate = request.rates.rates[-1]
    if prices is None or rate is None or expected is None:
        return None
    return money.error_cost(expected, request.target, rate, prices)


def _far_off(request: SetpointAdviceRequest, expected: float | None) -> tuple[str, ...]:
    if expected is None or abs(expected - request.target) < FAR_OFF:
        return ()
    return ("over-drying",) if expected < request.target else ("under-drying",)


def _table(
    request: SetpointAdviceRequest,
    belief: believing.Belief | None,
    situation: setpoint.Situation,
) -> list[InletRow]:
    if belief is None or situation.inlet_wb is None or belief.reference_inlet_wb <= 0:
        return []
    middle = round(situation.inlet_wb * 100.0)
    points = range(middle - INLETS_IN_TABLE // 2, middle + INLETS_IN_TABLE // 2 + 1)
    inlets = tuple(p / 100.0 for p in points if request.target * 100.0 < p <= 45)
    return [
        InletRow(
            inlet=inlet,
            setpoint=value,
            uncertainty=spread,
            above_limit=situation.highest is not None and value > situation.highest,
        )
        for inlet, (value, spread) in zip(
            inlets, setpoint.setpoint_table(belief, situation, inlets), strict=True
        )
    ]


def _trend_part(trend: Trend | None) -> TrendPart | None:
    if trend is None:
        return None
    return TrendPart(
        verdict=trend.verdict,
        slope=trend.slope / 3600.0,
        slope_low=trend.slope_low / 3600.0,
        slope_high=trend.slope_high / 3600.0,
        offset=trend.offset,
        crossings_per_two_hours=trend.crossings_per_two_hours,
    )


def _matched(clock: Clock, pairs: Pairs, doubted: tuple[int, ...]) -> list[PairPart]:
    return [
        PairPart(
            at=clock.stamp(float(pairs.times_s[k])),
            at_elapsed=clock.minute(float(pairs.times_s[k])),
            moisture=float(pairs.moistures_wb[k]),
            lag=float(pairs.times_s[k] - pairs.passage_s[k]),
            column_temperature=float(pairs.temperatures[k]) if pairs.found[k] else None,
            doubted=k in doubted,
        )
        for k in range(max(0, pairs.times_s.size - PAIRS_SHOWN), pairs.times_s.size)
    ]


def _belief(request: SetpointAdviceRequest, clock: Clock) -> believing.Belief | None:
    part = request.belief
    if part is None:
        return None
    at = part.at_elapsed if part.at is None else moment_seconds(part.at)
    if at is None or (part.at is None) != (clock.form == "elapsed"):
        raise Inconsistent("the belief's time must have the form of the other times", "belief")
    a, b, c = part.correlations
    return believing.Belief(
        reference_temperature=part.reference_temperature,
        reference_inlet_wb=part.reference_inlet,
        level=part.level,
        sensitivity=part.sensitivity,
        prior_sensitivity=part.sensitivity_prior,
        inlet_effect=part.inlet_effect,
        covariance=believing.covariance_from(
            (part.level_sd, part.sensitivity_sd, part.inlet_effect_sd), (a, b, c)
        ),
        at_s=at,
        readings=part.readings,
        last_doubt=part.last_doubt,
        reference_transit_s=part.reference_transit or 0.0,
    )


def _belief_part(clock: Clock, belief: believing.Belief) -> BeliefPart:
    (level, slope, inlet), correlations = believing.spread_of(belief)
    elapsed = clock.minute(belief.at_s)
    at = {"at_elapsed": elapsed} if elapsed is not None else {"at": clock.exact(belief.at_s)}
    transit = belief.reference_transit_s
    anchored: dict[str, Any] = {"reference_transit": transit} if transit > 0 else {}
    return BeliefPart(
        reference_temperature=belief.reference_temperature,
        reference_inlet=belief.reference_inlet_wb,
        level=belief.level,
        level_sd=level,
        sensitivity=belief.sensitivity,
        sensitivity_sd=slope,
        sensitivity_prior=belief.prior_sensitivity,
        inlet_effect=belief.inlet_effect,
        inlet_effect_sd=inlet,
        correlations=list(correlations),
        readings=belief.readings,
        last_doubt=belief.last_doubt,
        **anchored,
        **at,
    )
