"""Setpoint advice: should the column setpoint move, by how much, and when to look again."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from math import inf
from typing import Literal

from fastapi import APIRouter

from outfeed.arrays import FloatArray
from outfeed.methods import Method, use
from outfeed.steering import belief as believing
from outfeed.steering import (
    collapse,
    exhaust,
    feedforward,
    fire,
    inlet,
    money,
    outliers,
    runaway,
    setpoint,
    steps,
)
from outfeed.steering import steady as steadying
from outfeed.steering.due import with_due
from outfeed.steering.lag_doubt import USUAL_UNCERTAINTY, lag_doubt
from outfeed.steering.lots import LotAbove, before_lot, look_by, lot_above
from outfeed.steering.situation import latest_level
from outfeed.steering.slope import METHODS as TREND_METHODS
from outfeed.steering.trend import Trend
from outfeed_api.models import MethodUsed, cautions, methods_used
from outfeed_api.moments import Clock
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import collapse_words, fire_words, impossible_words, silence_words
from outfeed_api.routes import setpoint_grain as grains
from outfeed_api.routes import setpoint_lots as lots
from outfeed_api.routes import setpoint_plan_words as planning
from outfeed_api.routes import setpoint_waiting as waiting
from outfeed_api.routes import setpoint_words as words
from outfeed_api.routes.setpoint_assumed import assumed
from outfeed_api.routes.setpoint_changes import due_of, effects_of, plan_of, schedule_of
from outfeed_api.routes.setpoint_danger import (
    collapse_of,
    danger_of,
    low_of,
    silent_of,
    stopped_at,
    unreal_of,
)
from outfeed_api.routes.setpoint_grain import of_this_grain
from outfeed_api.routes.setpoint_input import (
    cost_of,
    moved_at,
    on_steady_scale,
    situation_of,
    trace_of,
    trend_after,
    trend_of,
)
from outfeed_api.routes.setpoint_learned import Learned, learned_of
from outfeed_api.routes.setpoint_models import SetpointAdviceAnswer, SetpointAdviceRequest
from outfeed_api.routes.setpoint_parts import belief_part, matched_of, table_of, trend_part
from outfeed_api.routes.setpoint_prior import prior_part

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["steering"])

DANGER_METHODS = (*runaway.METHODS, *fire.METHODS)
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
    answer carries a `belief`: keep it and pass it back, so that what was learned is not lost. Where
    `inlet` tells of another lot still above the sensors, the answer says which grain it is for and
    plans the way to the other as it plans a known change; pass the `due` of such an answer back.
    A temperature that climbs while the discharge has stopped, or runs away above its setpoint, is a
    fire caution before all else; column or exhaust fallen far below the level before, or a column
    that stays far below its setpoint, asks for a look at burner, flame and sensor before any
    setpoint. A column that has not been read lately asks for its sensor to be checked, and nothing
    is moved.
    """
    clock = Clock.of(
        request.column, request.discharge, request.inlet, request.rates, request.exhaust,
        now=request.now, now_elapsed=request.now_elapsed,
    )  # fmt: skip
    still_since = stopped_at(request, clock)
    danger = danger_of(request, clock, still_since)
    if danger is not None:
        return _while_in_danger(request, clock, danger, still=still_since is not None)
    column_times, column = trace_of(request.column, "column")
    if still_since is not None:
        return _while_stopped(request, clock)
    fall = collapse_of(request, clock)
    seen = collapse.before_steering(fall, low_of(request, clock))
    if seen is not None:
        return _while_collapsed(request, clock, seen)
    return _advised(request, clock, column_times, column, fall)


def _advised(
    request: SetpointAdviceRequest,
    clock: Clock,
    column_times: FloatArray,
    column: FloatArray,
    doubt: collapse.Collapse | None,
) -> SetpointAdviceAnswer:
    """The advice while grain moves and nothing asks for a look at fire.

    Learned from the readings first, then decided for the situation as they leave it, then planned
    on from the advised setpoint through the known changes.
    """
    asked, request = request, of_this_grain(request)
    known = learned_of(request, clock, column_times, column)
    silent = silent_of(request, clock)
    if silent is not None:  # only now, so that what does not fit is refused as ever
        return _while_silent(asked, clock, silent, doubt)
    belief, pairs, prior = known.belief, known.pairs, known.found.prior
    trend = _safe(trend_of(request, clock, known.sensitivity))
    situation = replace(
        _as_learned(request, clock, known, column_times, column),
        trend_missing=trend is None,
        trend_after_s=trend_after(request, clock),
    )
    before = before_lot(situation, known.log, known.transport)
    lot = _lot_above(request, known, before)
    situation = situation if lot is None else before
    plan_from = partial(
        plan_of,
        request,
        clock,
        known.transport,
        known.log,
        situation,
        belief=belief,
        prior=prior,
        lot=lot,
    )
    # a move that answers a change on its way is no error, though readings from before it say so
    begun = plan_from(advised=situation.setpoint)
    by_inlet, offset = situation, situation.column_offset + begun.made_by
    situation = replace(situation, column_offset=offset)
    if not all(effect.change.kind == "inlet-moisture" for effect in begun.effects):
        by_inlet = situation  # a change of the air moves what belongs to every inlet moisture
    advice = setpoint.advise_setpoint(belief, trend, situation, words.rules(request))
    expected = advice.expected_moisture_wb
    cost = cost_of(request, expected)
    if lot is not None:
        lot = _lot_above(request, known, by_inlet)
    advice = look_by(advice, lot, clock.now_s)
    whole = plan_from(advised=advice.setpoint)
    advice, plan = with_due(advice, whole, trend, clock.now_s, words.rules(request))
    unreal, due = unreal_of(request), "known-change" in advice.reasons
    unsaid = None if plan.steps or due or advice.kind == "wait" else lot
    decided = words.decision(request.units, clock, advice, situation)
    return SetpointAdviceAnswer(
        decision=decided
        + waiting.sensor(trend, decided)
        + lots.decision(request.units, clock, unsaid)
        + planning.next_move(request.units, clock, plan),
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
        trend=trend_part(trend),
        transit=situation.transit_s,
        matched=matched_of(clock, pairs, known.doubted),
        setpoints_by_inlet=table_of(request, belief, by_inlet),
        schedule=schedule_of(clock, plan),
        effects=effects_of(clock, plan),
        due=due_of(clock, plan, request.units),
        belief=None if belief is None else belief_part(clock, belief, request.units),
        prior=prior_part(prior),
        assumed=assumed(request, situation, known.transport, prior)
        + grains.assumed(request)
        + known.found.assumed,
        methods=_methods(known, priced=cost is not None, planned=bool(plan.effects)),
        notes=collapse_words.notes(doubt, request.units)
        + impossible_words.notes(unreal, request.units)
        + grains.notes(asked)
        + words.notes(
            request.units, advice, situation, trend, pairs, known.doubted, cost, known.earlier_s
        )
        + lots.notes(clock, lot, situation, planned=planning.tells_of_grain(plan))
        + known.found.notes
        + planning.plan_notes(request.units, clock, whole, plan, due=due),
        cautions=cautions(
            *(fire_words.CAUTIONS if waiting.faulty(trend) else ()),
            *impossible_words.codes(unreal),
            "meter-uncertain",
            *_far_off(request, advice),
            "follow-manual",
        ),
    )


def _lot_above(
    request: SetpointAdviceRequest, known: Learned, situation: setpoint.Situation
) -> LotAbove | None:
    """Logged grain with another setpoint than that of the grain advised for."""
    return lot_above(
        known.log,
        known.belief,
        situation,
        reaches=partial(known.transport.reaches, now_s=situation.now_s),
        resolution=words.rules(request).resolution,
    )


def _safe(trend: Trend | None) -> Trend | None:
    """A trend whose part of the record is not asked again for what all of it was asked before."""
    return None if trend is None else replace(trend, collapse=None, low=None, speaks_until_s=inf)


def _as_learned(
    request: SetpointAdviceRequest,
    clock: Clock,
    known: Learned,
    column_times: FloatArray,
    column: FloatArray,
) -> setpoint.Situation:
    """The situation with the doubt about the inlet, on the scale of the belief."""
    latest = [*known.pairs.times_s[-1:], clock.now_s]
    situation = replace(
        situation_of(request, clock, known.transport, known.log),
        inlet_doubt=known.coming_doubt,
        stood_until_s=known.transport.stood_until(latest),
    )
    if known.steady is not None:
        situation = on_steady_scale(situation, known.steady, column_times, column)
    return replace(
        situation,
        lag_doubt=_lag_doubt(request, known, situation, column_times, column),
        column_now=latest_level(column),
        doubted_wb=tuple(known.pairs.moistures_wb[list(known.doubted)].tolist()),
    )


def _lag_doubt(
    request: SetpointAdviceRequest,
    known: Learned,
    situation: setpoint.Situation,
    column_times: FloatArray,
    column: FloatArray,
) -> setpoint.LagDoubt:
    """What is expected with a longer and a shorter lag."""
    stated, log = request.lag_uncertainty, known.log
    return lag_doubt(
        known.pairs,
        known.belief,
        situation,
        known.transport,
        column_times,
        column,
        inlet_times_s=None if log is None else log.times_s,
        inlets_wb=None if log is None else log.moistures_wb,
        steady=known.steady,
        uncertainty=USUAL_UNCERTAINTY if stated is None else stated,
    )


def _methods(known: Learned, *, priced: bool, planned: bool) -> list[MethodUsed]:
    """What the advice rests on."""
    return methods_used(
        use(known.transport.method),
        *known.found.methods,
        *map(use, inlet.METHODS if known.log is not None else ()),
        *map(use, steadying.METHODS if known.steady is not None else ()),
        *map(use, outliers.METHODS if known.doubted else ()),
        *map(use, TREND_METHODS + believing.METHODS + steps.METHODS + setpoint.METHODS),
        *map(use, money.METHODS if priced else ()),
        *map(use, feedforward.METHODS if planned else ()),
    )


def _while_stopped(request: SetpointAdviceRequest, clock: Clock) -> SetpointAdviceAnswer:
    silent = silent_of(request, clock)
    decided = words.stopped_decision(request.units, request.setpoint)
    if silent is not None:
        decided += f" {silence_words.sentence(clock, silent)}"
    elif waiting.faulty(trend := trend_of(request, clock, believing.PRIOR_SENSITIVITY)):
        decided += waiting.sensor(trend, decided)
    return _without_advice(
        request,
        clock,
        kind="wait",
        decision=decided,
        look_in=fire_words.LOOK_S,
        reasons=["discharge-stopped"],
        notes=[words.IF_STOPPED],
    )


def _while_silent(
    request: SetpointAdviceRequest, clock: Clock, silent: float, doubt: collapse.Collapse | None
) -> SetpointAdviceAnswer:
    said = clock.say(clock.now_s + fire_words.LOOK_S)
    return _without_advice(
        request,
        clock,
        kind="wait",
        decision=silence_words.decision(clock, silent, said),
        look_in=fire_words.LOOK_S,
        reasons=[silence_words.REASON],
        notes=collapse_words.notes(doubt, request.units),
    )


def _while_collapsed(
    request: SetpointAdviceRequest, clock: Clock, seen: collapse.Collapse | collapse.Low
) -> SetpointAdviceAnswer:
    climbs = isinstance(seen, collapse.Low) and seen.climbing
    look_in = collapse.CLIMB_LOOK_S if climbs else fire_words.LOOK_S
    said, units = clock.say(clock.now_s + look_in), request.units
    if isinstance(seen, collapse.Low):
        reason, notes = collapse_words.FAR_BELOW_REASON, collapse_words.low_notes(seen, units)
        decision = collapse_words.low_decision(seen, units, said)
    else:
        reason, notes = collapse_words.REASON, collapse_words.notes(seen, units)
        decision = collapse_words.decision(seen, units, said)
        moved = moved_at(request, clock)
        lately = moved is None or moved >= clock.now_s - collapse.BEFORE_S
        if request.earlier_setpoint is None and lately:
            notes += collapse_words.if_lowered(seen, words.LOWERED)
    return _without_advice(
        request,
        clock,
        kind="wait",
        decision=decision,
        look_in=look_in,
        reasons=[reason],
        notes=notes,
        methods=collapse.METHODS,
        warned=collapse_words.CAUTIONS,
    )


def _while_in_danger(
    request: SetpointAdviceRequest, clock: Clock, danger: runaway.Danger, *, still: bool
) -> SetpointAdviceAnswer:
    said = clock.say(clock.now_s + fire_words.LOOK_S)
    told = moved_at(request, clock) is not None
    return _without_advice(
        request,
        clock,
        kind="fire-caution",
        decision=fire_words.decision(danger, request.units, said, still=still),
        look_in=fire_words.LOOK_S,
        reasons=["fire-caution", *(["discharge-stopped"] if still else [])],
        methods=DANGER_METHODS + (exhaust.METHODS if isinstance(danger, exhaust.Steep) else ()),
        notes=fire_words.notes(danger, still=still)
        + ([] if told else fire_words.if_lowered(danger, words.LOWERED)),
    )


def _without_advice(
    request: SetpointAdviceRequest,
    clock: Clock,
    *,
    kind: Literal["wait", "fire-caution"],
    decision: str,
    look_in: float,
    reasons: list[str],
    notes: list[str],
    methods: tuple[Method, ...] = DANGER_METHODS,
    warned: tuple[str, ...] = fire_words.CAUTIONS,
) -> SetpointAdviceAnswer:
    """The setpoint left alone and the belief as it came, for something else comes first."""
    look_at = clock.now_s + look_in
    return SetpointAdviceAnswer(
        decision=decision,
        units=request.units,
        advice=kind,
        setpoint=request.setpoint,
        step=0.0,
        look_at=clock.stamp(look_at),
        look_at_elapsed=clock.minute(look_at),
        look_in=look_in,
        aim=request.target,
        reasons=reasons,
        matched=[],
        belief=request.belief,
        due=request.due,
        methods=methods_used(*map(use, methods)),
        notes=notes
        + impossible_words.notes(unreal_of(request), request.units)
        + silence_words.notes(clock, silent_of(request, clock), decision),
        cautions=cautions(*warned, "follow-manual"),
    )


def _far_off(request: SetpointAdviceRequest, advice: setpoint.SetpointAdvice) -> list[str]:
    """Cautions for grain far off the target, as it leaves now or will after the move."""
    leaving = (advice.expected_moisture_wb, advice.after_moisture_wb)
    off = [moisture - request.target for moisture in leaving if moisture is not None]
    dry = ["over-drying"] if min(off, default=0.0) <= -FAR_OFF else []
    return dry + (["under-drying"] if max(off, default=0.0) >= FAR_OFF else [])
