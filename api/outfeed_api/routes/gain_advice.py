"""Gain advice: should the controller react more strongly, less, or as it does."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from outfeed.errors import Inconsistent
from outfeed.limits import SENSIBLE, TRANSIT, Range
from outfeed.methods import use
from outfeed.steering import fire, runaway, tuning
from outfeed.steering import gain as advising
from outfeed.steering import lag as lagging
from outfeed.steering.silence import silent_since
from outfeed.steering.trend import METHODS, SENSITIVITY_PER_KELVIN, Trend
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, Given, GrainId, Part, Request, cautions, methods_used
from outfeed_api.moments import Clock, Elapsed, Moment, moment_seconds
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import (
    collapse_words,
    fire_words,
    impossible_words,
    silence_words,
    trend_words,
)
from outfeed_api.routes.gain_looks import Looks, looks_of
from outfeed_api.routes.trend import (
    assumed_sensitivity,
    check,
    evidence_of,
    judge_beside,
    unreal_of,
)
from outfeed_api.routes.trend_danger import danger_notes, danger_of, stands_still
from outfeed_api.routes.trend_models import ColumnTrace, TrendEvidence, readings
from outfeed_api.units import UnitSystem, say

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["steering"])

LEAVE_GAIN = "Leave the gain as it is; nothing of it is judged from this trace."
EARLIER_TRACE = " It shows in the trace that ended at {}; later readings do not clear it yet."
MOST_LOOKS = 6
MOST_STEPS = 20
MULTIPLIER = Range("multiplier of an earlier change", 0.05, 20.0, "", SENSIBLE)
AMPLITUDE = Range("half swing", 0.0, 100.0, "K", SENSIBLE)
PLANT_GAIN = Range("temperature change per unit of output", -1e6, 1e6, "K", SENSIBLE)


class PlantPart(Given):
    """What is known of the plant: how the temperature answers the controller's output."""

    gain: Annotated[float, Measure("temperature-difference", PLANT_GAIN, example=-0.8)] = Field(
        description="Change of temperature per unit of output, on the output's own scale."
    )
    dead_time: Annotated[float, Measure("minutes", tuning.DEAD_TIME, example=900.0)] = Field(
        description="Time before a change of output shows."
    )
    lag: Annotated[float, Measure("minutes", tuning.LAG, example=1800.0)] = Field(
        description="Time constant after it."
    )


class StepPart(Given):
    """An earlier change of the gain."""

    at: Moment | None = Field(None, description="When; give this or `at_elapsed`.")
    at_elapsed: Elapsed | None = Field(None, description="When, on your own clock.")
    multiplier: Annotated[float, Measure("ratio", MULTIPLIER, example=0.5)] = Field(
        description="New gain over old."
    )
    half_swing: (
        Annotated[float, Measure("temperature-difference", AMPLITUDE, example=2.0)] | None
    ) = Field(None, description="Half swing before the change, when there was one.")


class GainAdviceRequest(Request):
    """Traces at the present gain, oldest first, and what is known of the loop."""

    grain: GrainId = "corn-yellow-dent"
    traces: list[ColumnTrace] = Field(
        description="Traces at the present gain, oldest first; the last is the latest. Two looks "
        "that agree, about a period of the swing apart, are worth more than one.",
        min_length=1,
        max_length=MOST_LOOKS,
    )
    present_gain: Annotated[float, Measure("ratio", advising.GAIN, example=4.0)] | None = Field(
        None, description="Present gain on the controller's own scale; 1 if left out."
    )
    controller: Literal["pi", "integral-only"] = Field(
        "pi", description="Proportional-integral, or integral action alone."
    )
    discharge_rate: (
        Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=6.0)] | None
    ) = Field(None, description="Present discharge rate.")
    right_rate: (
        Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=5.0)] | None
    ) = Field(None, description="Discharge rate at which the present gain was last right.")
    transit: Annotated[float, Measure("hours", TRANSIT, example=7200.0)] | None = Field(
        None, description="Present transit time; tells the loop's own swing from another."
    )
    plant: PlantPart | None = Field(None, description="The plant, for a physical gain.")
    history: list[StepPart] | None = Field(
        None, description="Earlier changes of the gain, oldest first.", max_length=MOST_STEPS
    )
    sensitivity: (
        Annotated[float, Measure("points-per-temperature", SENSITIVITY_PER_KELVIN, example=-0.0099)]
        | None
    ) = Field(None, description="Points of outlet moisture per degree; sets what counts as level.")


class PhysicalPart(Part):
    """Tuning from the plant, on the output's own scale."""

    proportional: Annotated[float, Measure("output-per-temperature")] = Field(
        description="Proportional gain; zero for integral action alone."
    )
    integral: Annotated[float, Measure("output-per-temperature-time")] = Field(
        description="Integral gain."
    )
    integral_time: Annotated[float, Measure("minutes")] | None = Field(
        None, description="Integral time of a proportional-integral controller."
    )


class GainAdviceAnswer(Answer):
    """A multiplier on the present gain, with its reason."""

    multiplier: Annotated[float, Measure("ratio")] = Field(
        description="On the present gain, the integral time left as it is, 0.4 to 2; 1 means leave "
        "it. Of a controller with integral action alone it is the integral gain."
    )
    integral_multiplier: Annotated[float, Measure("ratio")] = Field(
        description="On the present integral action, 0.4 to 2; other than `multiplier` where a new "
        "discharge rate asks for another integral time and the proportional gain stays."
    )
    gain: Annotated[float, Measure("ratio")] = Field(
        description="The new gain, on the controller's own scale."
    )
    reason: str = Field(description="Stable code of the reason.", max_length=40)
    confirmed: bool = Field(description="Whether it was seen twice, or plainly once.")
    share_of_ultimate: Annotated[float, Measure("ratio")] | None = Field(
        None, description="Present gain over the gain at which the loop would just keep swinging."
    )
    throughput: Annotated[float, Measure("ratio")] | None = Field(
        None,
        description="Factor on the integral action that the change of rate alone asks for, where "
        "the output acts in proportion to the present rate; where it is an absolute speed, the "
        "proportional gain takes the factor too.",
    )
    physical: PhysicalPart | None = Field(None, description="Tuning from the plant.")
    look_at: str | None = Field(None, description="When to send the next trace.", max_length=40)
    look_at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="The same on your own clock."
    )
    trend: TrendEvidence | None = Field(
        None, description="The latest trend; left out where a caution rests on too few readings."
    )


@router.post(
    "/gain-advice",
    summary="Whether the controller's gain should change, and by how much",
    operation_id="gain_advice",
    response_model_exclude_none=True,
)
@computes(heavy=True)
def gain_advice(request: GainAdviceRequest) -> GainAdviceAnswer:
    """A multiplier between 0.4 and 2, or reasons to leave the gain alone.

    A swing tells by its decay ratio how far the gain stands from the limit of stability, a slow
    creep that it stands far below. Send a fresh trace after every change. A temperature that runs
    away, or climbs while the discharge stands still, is a fire caution before any gain; the end of
    every trace is looked at that was read within an hour of the newest reading. One that has fallen
    far below its level before, or stands far below its setpoint, asks for a look at burner, flame
    and sensor, and leaves the gain; so does one that has not been read lately, for a look at its
    sensor.
    """
    clock = Clock.of(*request.traces)
    for trace in request.traces:
        check(trace, "traces")
    latest = request.traces[-1]
    seen = _danger_of_all(request, clock)
    if seen is not None or stands_still(latest) or request.discharge_rate == 0.0:
        beside = judge_beside(latest, request.sensitivity, "traces")
        return _while_unsafe(request, clock, beside, seen)
    silent = _silent_of(request, clock)
    if silent is not None:  # what fell before it fell silent comes first
        beside = judge_beside(latest, request.sensitivity, "traces")
        if beside is None or not beside.collapsed:
            return _while_silent(request, clock, beside, silent)
    history = [_step(step, clock) for step in request.history or ()]
    seen_in = looks_of(request.traces, history[-1].time if history else None, request.sensitivity)
    looks = seen_in.trends
    if any(b.window[1] < a.window[1] for a, b in pairwise(looks)):
        raise Inconsistent("the traces must come oldest first", "traces")
    found, unreal = _advised(request, history, looks), unreal_of(latest)
    look = clock.now_s + 60.0 * found.look_again_minutes
    scheduled = next((r.numbers[0] for r in found.remarks if r.code == "throughput"), None)
    decision = _decision(found, looks[-1], request.units, clock.say(look))
    return GainAdviceAnswer(
        decision=decision,
        units=request.units,
        multiplier=found.multiplier,
        integral_multiplier=found.integral_multiplier,
        gain=found.gain,
        reason=found.reason,
        confirmed=found.confirmed,
        share_of_ultimate=found.share_of_ultimate,
        throughput=scheduled,
        physical=_physical(found),
        look_at=clock.stamp(look),
        look_at_elapsed=clock.minute(look),
        trend=evidence_of(looks[-1], request.units),
        assumed=assumed_sensitivity(request.sensitivity),
        methods=methods_used(*map(use, advising.METHODS + METHODS)),
        notes=impossible_words.notes(unreal, request.units)
        + _notes(found, seen_in, request)
        + silence_words.notes(clock, silent, decision),
        cautions=cautions(
            *impossible_words.codes(unreal),
            *(collapse_words.CAUTIONS if found.reason in collapse_words.REASONS else ()),
            "follow-manual",
        ),
    )


@dataclass(frozen=True, slots=True)
class _Seen:
    """A danger, the trace that shows it, and when that ended [s] if another is newer."""

    danger: runaway.Danger
    trace: ColumnTrace
    ended_s: float | None


def _danger_of_all(request: GainAdviceRequest, clock: Clock) -> _Seen | None:
    """The surest danger that traces of now end with."""
    still = clock.now_s - fire.STOP_UNKNOWN_S if request.discharge_rate == 0.0 else None
    shown = [(np.asarray(trace.seconds), readings(trace)) for trace in request.traces]
    now = runaway.current(shown)
    ends = {k: float(shown[k][0][~np.isnan(shown[k][1])].max()) for k in now}
    dangers = {k: danger_of(request.traces[k], still_since_s=still) for k in now}
    seen = [
        _Seen(danger, request.traces[k], ends[k] if ends[k] < max(ends.values()) else None)
        for k, danger in dangers.items()
        if danger is not None
    ]
    newest = float("inf")
    return max(
        seen,
        key=lambda one: (one.danger.confirmed, newest if one.ended_s is None else one.ended_s),
        default=None,
    )


def _while_unsafe(
    request: GainAdviceRequest,
    clock: Clock,
    latest: Trend | None,
    seen: _Seen | None,
) -> GainAdviceAnswer:
    """The gain left alone: fire, or a discharge that stands still, comes first."""
    look = clock.now_s + fire_words.LOOK_S
    said = clock.say(look)
    silent, notes = _silent_of(request, clock), []
    decision = fire_words.STILL
    if silent is not None:
        decision = silence_words.decision(clock, silent, said, still=True)
    if seen is not None:
        still = request.discharge_rate == 0.0 or stands_still(seen.trace)
        decision = fire_words.decision(seen.danger, request.units, said, still=still)
        decision += "" if seen.ended_s is None else EARLIER_TRACE.format(clock.say(seen.ended_s))
        notes = danger_notes(seen.danger, seen.trace, still=still)
    evidence = None if latest is None else evidence_of(latest, request.units)
    if evidence is not None and silent is not None:
        evidence = silence_words.unread(evidence)
    return GainAdviceAnswer(
        decision=decision,
        units=request.units,
        multiplier=1.0,
        integral_multiplier=1.0,
        gain=1.0 if request.present_gain is None else request.present_gain,
        reason="discharge-stopped" if seen is None else "fire-caution",
        confirmed=seen is not None and seen.danger.confirmed,
        look_at=clock.stamp(look),
        look_at_elapsed=clock.minute(look),
        trend=evidence,
        methods=methods_used(*map(use, (*runaway.METHODS, *fire.METHODS))),
        notes=[
            *notes,
            *impossible_words.notes(unreal_of(request.traces[-1]), request.units),
            *silence_words.notes(clock, silent, decision),
            LEAVE_GAIN,
        ],
        cautions=cautions(*fire_words.CAUTIONS, "follow-manual"),
    )


def _silent_of(request: GainAdviceRequest, clock: Clock) -> float | None:
    """When the column was last read in any trace [s], if that is too long ago."""
    times = np.concatenate([trace.seconds for trace in request.traces])
    values = np.concatenate([readings(trace) for trace in request.traces])
    return silent_since(times, values, clock.now_s)


def _while_silent(
    request: GainAdviceRequest, clock: Clock, latest: Trend | None, silent: float
) -> GainAdviceAnswer:
    """The gain left alone: the sensor comes first."""
    look = clock.now_s + fire_words.LOOK_S
    return GainAdviceAnswer(
        decision=silence_words.decision(clock, silent, clock.say(look)),
        units=request.units,
        multiplier=1.0,
        integral_multiplier=1.0,
        gain=1.0 if request.present_gain is None else request.present_gain,
        reason=silence_words.REASON,
        confirmed=False,
        look_at=clock.stamp(look),
        look_at_elapsed=clock.minute(look),
        trend=None if latest is None else silence_words.unread(evidence_of(latest, request.units)),
        methods=methods_used(*map(use, (*runaway.METHODS, *fire.METHODS))),
        notes=[
            *impossible_words.notes(unreal_of(request.traces[-1]), request.units),
            silence_words.CHOSEN,
            LEAVE_GAIN,
        ],
        cautions=cautions(*fire_words.CAUTIONS, "follow-manual"),
    )


def _advised(
    request: GainAdviceRequest, history: list[advising.GainStep], looks: list[Trend]
) -> advising.GainAdvice:
    plant = request.plant
    if plant is not None and plant.gain == 0.0:
        raise Inconsistent("a plant that does not answer has no gain to advise", "plant")
    if request.right_rate == 0.0:
        raise Inconsistent("a discharge that stands still tells nothing of the gain", "right_rate")
    return advising.advise_gain(
        looks,
        1.0 if request.present_gain is None else request.present_gain,
        controller=request.controller,
        rate=request.discharge_rate,
        right_rate=request.right_rate,
        transit=request.transit,
        plant=None if plant is None else tuning.Plant(plant.gain, plant.dead_time, plant.lag),
        history=history,
    )


def _step(step: StepPart, clock: Clock) -> advising.GainStep:
    if (step.at is None) == (step.at_elapsed is None):
        raise Inconsistent("an earlier change takes either `at` or `at_elapsed`", "history")
    if (step.at is not None) != (clock.form == "times"):
        raise Inconsistent("give all times of a request in one form", "history")
    at = moment_seconds(step.at) if step.at is not None else step.at_elapsed or 0.0
    return advising.GainStep(at, step.multiplier, step.half_swing)


def _physical(found: advising.GainAdvice) -> PhysicalPart | None:
    known = found.physical
    if known is None:
        return None
    return PhysicalPart(
        proportional=known.proportional,
        integral=known.integral,
        integral_time=known.integral_time,
    )


_LEAVE = {
    "no-evidence-against": "nothing in the trace speaks against it (which is no proof that it is "
    "best)",
    "confirm": "the trace hints at a change, but one look is not enough",
    "wait": "it cannot be judged yet",
    "output-at-limit": "the temperature is held away from the setpoint, by an output at its limit "
    "or otherwise; no gain can help",
    "not-the-loop": "the swing is not the loop's own; look at feed, burner and fan",
    "one-value": "every reading is the same, as of a stopped sensor; check that it moves",
    "sensor-fault": "the sensor does not answer as it should; check it first",
    "disturbed": "something pushed the temperature; let it settle first",
}
_CHANGE = {
    "too-lively": "it swings too much",
    "too-slow": "it closes in too slowly",
    "between-two-steps": "the last change went too far; this goes half the way back",
}


def _decision(found: advising.GainAdvice, latest: Trend, units: UnitSystem, look: str) -> str:
    if found.reason == collapse_words.REASON and latest.collapse is not None:
        return collapse_words.decision(latest.collapse, units, look)
    if found.reason == collapse_words.FAR_BELOW_REASON and latest.low is not None:
        return collapse_words.low_decision(latest.low, units, look)
    if found.reason == "throughput":
        said = _scheduled(found)
    elif found.multiplier == 1.0:
        said = f"Leave the gain: {_LEAVE[found.reason]}."
    else:
        said = f"Multiply the gain by {found.multiplier:.2f}: {_CHANGE[found.reason]}."
    return f"{said} Look again at {look}."


def _scheduled(found: advising.GainAdvice) -> str:
    """What a new discharge rate asks for: of a PI controller another integral time only."""
    factor = found.integral_multiplier
    why = "the discharge rate has changed, and the lag of the dryer with it"
    if found.multiplier != 1.0:
        return f"Multiply the integral gain by {factor:.2f}: {why}."
    return (
        f"Multiply the integral action by {factor:.2f} (the integral time by {1.0 / factor:.2f}) "
        f"and leave the proportional gain: {why}."
    )


def _rate_now_right(found: advising.GainAdvice, request: GainAdviceRequest) -> list[str]:
    """Which rate the gain is right for once the advice is followed, so that it is not repeated."""
    asked = next((r.numbers[0] for r in found.remarks if r.code == "throughput"), None)
    if found.reason != "throughput" or asked is None or request.right_rate is None:
        return []
    factor = found.integral_multiplier
    kg = request.kg_per_bushel
    right = say(factor * request.right_rate, "grain-rate", request.units, bushel_weight=kg)
    bounded = (
        f"The change of rate alone asks for {asked:.2f}; one step is bounded to {factor:.2f}, and "
        f"the rest is asked for next time."
    )
    done = f"Once that is done, send {right} as `right_rate`, or the same step is advised again."
    return [done] if math.isclose(asked, factor) else [bounded, done]


def _absolute(found: advising.GainAdvice) -> str:
    """The same where the output is no share of the present rate."""
    alone = found.multiplier != 1.0
    what = "the integral gain once more" if alone else "the proportional gain as well"
    return (
        f"That is for an output that acts in proportion to the present discharge rate. If it is an "
        f"absolute speed, multiply {what}, by {found.integral_multiplier:.2f}: a step of speed "
        f"does less at a higher rate."
    )


def _notes(found: advising.GainAdvice, seen_in: Looks, request: GainAdviceRequest) -> list[str]:
    units, looks = request.units, seen_in.trends
    result = collapse_words.notes(looks[-1].collapse, units)
    if found.reason == collapse_words.FAR_BELOW_REASON:
        return [*collapse_words.low_notes(units), LEAVE_GAIN]
    if found.reason == collapse_words.REASON:
        return [*result, LEAVE_GAIN]
    result.append(f"Latest look: {trend_words.named(looks[-1])}.")
    if seen_in.joined:
        result.append("The latest trace runs on from the one before it: they were judged as one.")
    if looks[-1].verdict == "too-short":
        result.append(
            f"About {looks[-1].minutes_missing:.0f} minutes more are needed: send this trace again "
            f"together with the next one, oldest first, in `traces`, or one trace over both."
        )
    if found.reason == "wait" and request.history:
        result.append("Of every trace only what follows the last change of the gain counts.")
    if found.share_of_ultimate is not None:
        result.append(
            f"The decay of the swing puts the gain at about {found.share_of_ultimate:.2f} of the "
            f"one at which the loop would just keep swinging; about "
            f"{advising.TARGET_SHARE:.2f} is well damped."
        )
    if found.reason == "confirm":
        result.append(
            "A change needs two looks that agree, the second with about a period of the swing of "
            "new readings, half an hour where none shows: send this trace again together with the "
            "next one, oldest first, in `traces`."
        )
    if found.reason == "throughput":
        result += [_absolute(found), *_rate_now_right(found, request)]
    if found.changes:
        result.append("Change nothing else meanwhile, and send a trace from after the change.")
    swing = looks[-1].amplitude
    if swing is not None and found.multiplier < 1.0:
        said = say(swing, "temperature-difference", units)
        result.append(f"Keep the present half swing of {said}: pass it back as `history`.")
    return result + trend_words.notes(looks[-1], units)[:1]
