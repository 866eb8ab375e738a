"""Gain advice: should the controller react more strongly, less, or as it does."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from fastapi import APIRouter

from outfeed.errors import Inconsistent
from outfeed.methods import use
from outfeed.steering import fire, runaway, tuning
from outfeed.steering import gain as advising
from outfeed.steering.looks import Looks, Stretch, judge_looks
from outfeed.steering.silence import silent_since
from outfeed.steering.trend import METHODS, Trend
from outfeed_api.models import cautions, methods_used
from outfeed_api.moments import Clock
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import (
    collapse_words,
    fire_words,
    impossible_words,
    outside_words,
    silence_words,
    trend_words,
)
from outfeed_api.routes.gain_models import (
    GainAdviceAnswer,
    GainAdviceRequest,
    PhysicalPart,
    StepPart,
)
from outfeed_api.routes.own_scale import three_digits
from outfeed_api.routes.trend import (
    assumed_sensitivity,
    check,
    evidence_of,
    judge_beside,
    limits_of,
    unreal_of,
)
from outfeed_api.routes.trend_danger import danger_notes, danger_of, stands_still
from outfeed_api.routes.trend_models import ColumnTrace, as_sent, readings
from outfeed_api.units import QUANTITIES, UnitSystem, say
from outfeed_api.wording import lasting

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["steering"])

LEAVE_GAIN = "Leave the gain as it is; nothing of it is judged from this trace."
BY_TRANSIT = ("too-lively", "too-slow", "between-two-steps", "confirm")
LASTS = (
    "A distance that lasts is too little gain only where it shrinks from look to look: a load that "
    "rises steadily holds a loop of any gain off its setpoint."
)
FROM_FAR_BELOW = (
    "The trace comes from {} below the setpoint, as after a start: how long it takes from there "
    "tells of burner and filling, not of the gain. Send what follows once it has arrived."
)
NO_TRANSIT = (
    f"No `transit` was told: a swing of any period was taken for the loop's own, and a way back of "
    f"more than {advising.QUICK_S / 60.0:.0f} minutes for a slow one. Send it, so that a large "
    f"dryer is not hurried."
)
EARLIER_TRACE = " It shows in the trace that ended at {}; later readings do not clear it yet."


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
    clock = Clock.of(*request.traces, *(trace.output for trace in request.traces))
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
    history = _history_of(request, clock)
    with as_sent():
        seen_in = judge_looks(
            [_stretch(trace) for trace in request.traces],
            history[-1].time if history else None,
            limits_of(request.sensitivity),
        )
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
            *(fire_words.CAUTIONS if found.reason == "sensor-fault" else ()),
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
        if latest is not None:
            notes += [fire_words.BESIDE, trend_words.sentence(latest, request.units)]
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
        output_unit=_output_unit(request),
        history=history,
    )


def _output_unit(request: GainAdviceRequest) -> float:
    """One of the caller's units of output, on the scale on which the trace is judged."""
    output = request.traces[-1].output
    if output is None or output.rates is None:
        return 1.0
    return QUANTITIES["grain-rate"].unit(request.units).scale(request.kg_per_bushel)


def _stretch(trace: ColumnTrace) -> Stretch:
    setpoint, output = check(trace, "traces")
    times = np.array(trace.seconds, dtype=np.float64)
    setpoints = np.broadcast_to(np.asarray(setpoint, dtype=np.float64), times.shape)
    return Stretch(times, readings(trace), setpoints, output)


def _history_of(request: GainAdviceRequest, clock: Clock) -> list[advising.GainStep]:
    steps = [_step(step, clock) for step in request.history or ()]
    if any(later.time < earlier.time for earlier, later in pairwise(steps)):
        raise Inconsistent("the earlier changes must come oldest first", "history")
    return steps


def _step(step: StepPart, clock: Clock) -> advising.GainStep:
    at = clock.time_of(step.at, step.at_elapsed, "history")
    if at is None or None not in (step.at, step.at_elapsed):
        raise Inconsistent("an earlier change takes either `at` or `at_elapsed`", "history")
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


LEAVE = {
    "no-evidence-against": "nothing in the trace speaks against it (which is no proof that it is "
    "best)",
    "confirm": "the trace hints at a change, but not surely enough yet",
    "wait": "it cannot be judged yet",
    "output-at-limit": "the temperature is held away from the setpoint; see whether the output "
    "stands at its limit, where no gain can help",
    "not-the-loop": "the swing is not the loop's own; look at feed, burner, fan and metering drive",
    "one-value": "every reading is the same, as of a stopped sensor; check that it moves",
    "sensor-fault": "the sensor does not answer as it should; check it first, and "
    f"{fire_words.UNWATCHED}",
    "disturbed": "something pushed the temperature; let it settle first",
}
CHANGE = {
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
        said = f"Leave the gain: {LEAVE[found.reason]}."
    else:
        doubt = any(one.code == "may-be-outside" for one in found.remarks)
        why = outside_words.STILL_A_CUT if doubt else CHANGE[found.reason]
        said = f"Multiply the gain by {found.multiplier:.2f}: {why}."
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


def _judged_at(found: advising.GainAdvice, request: GainAdviceRequest) -> list[str]:
    """Which rate a gain changed by what the trace shows is right for, or the rate would undo it."""
    rate, by_trace = request.discharge_rate, found.changes and found.reason != "throughput"
    if not by_trace or rate is None or request.right_rate is None:
        return []
    right = say(rate, "grain-rate", request.units, bushel_weight=request.kg_per_bushel)
    return [
        f"The new gain was judged at the present rate: send {right} as `right_rate` from now on."
    ]


def _absolute(found: advising.GainAdvice) -> str:
    """The same where the output is no share of the present rate."""
    alone = found.multiplier != 1.0
    what = "the integral gain once more" if alone else "the proportional gain as well"
    return (
        f"That is for an output that acts in proportion to the present discharge rate. If it is an "
        f"absolute speed, multiply {what}, by {found.integral_multiplier:.2f}: a step of speed "
        f"does less at a higher rate."
    )


def _kept(found: advising.GainAdvice, latest: Trend, units: UnitSystem) -> str:
    """What the next request has to know of this change."""
    said = f"multiplier {found.multiplier:.2f}"
    if latest.amplitude is not None and found.multiplier < 1.0:
        said += f", half swing {say(latest.amplitude, 'temperature-difference', units)}"
    return f"Once it is made, pass the change back in `history` with its time: {said}."


def _by_plant(found: advising.GainAdvice, units: UnitSystem) -> list[str]:
    """What a known plant asks for, to compare with on the controller's own scale."""
    known = found.physical
    if known is None:
        return []
    asked = f"an integral gain of {_said(known.integral, 'output-per-temperature-time', units)}"
    if known.integral_time is not None:
        proportional = _said(known.proportional, "output-per-temperature", units)
        asked = (
            f"a proportional gain of {proportional} and an integral time of "
            f"{lasting(known.integral_time)}"
        )
    return [f"By `plant` alone the controller should have {asked}, in the output's own unit."]


def _said(value: float, quantity: str, units: UnitSystem) -> str:
    unit = QUANTITIES[quantity].unit(units)
    return f"{three_digits(unit.from_si(value, math.nan))} {unit.label}"


def _reads_the_same(found: advising.GainAdvice, latest: Trend) -> list[str]:
    """Before a cut that nothing tells from one for a swing from outside, what else it may be."""
    if found.multiplier >= 1.0 or latest.verdict != "cycling":
        return []
    free = latest.driven is not None and latest.driven.free is True
    return [outside_words.STEADY if free else outside_words.READS_THE_SAME]


def _notes(found: advising.GainAdvice, seen_in: Looks, request: GainAdviceRequest) -> list[str]:
    units, looks = request.units, seen_in.trends
    result = collapse_words.notes(looks[-1].collapse, units)
    low = looks[-1].low if found.reason == collapse_words.FAR_BELOW_REASON else None
    if low is not None:
        return [*collapse_words.low_notes(low, units), LEAVE_GAIN]
    if found.reason == collapse_words.REASON:
        return [*result, LEAVE_GAIN]
    result.append(f"Latest look: {trend_words.named(looks[-1])}.")
    if seen_in.joined:
        result.append("The latest trace runs on from the one before it: they were judged as one.")
    if looks[-1].verdict == "too-short":
        result.append(
            f"About {lasting(60.0 * looks[-1].minutes_missing)} more are needed: send this trace "
            f"again together with the next one, oldest first, in `traces`, or one trace over both."
        )
    if found.reason == "wait" and request.history:
        result.append("Of every trace only what follows the last change of the gain counts.")
    if found.share_of_ultimate is not None:
        result.append(
            f"The decay of the swing puts the gain at about {found.share_of_ultimate:.2f} of the "
            f"one at which the loop would just keep swinging; about "
            f"{advising.TARGET_SHARE:.2f} is well damped."
        )
    result += [
        FROM_FAR_BELOW.format(say(one.numbers[0], "temperature-difference", units, decimals=0))
        for one in found.remarks
        if one.code == "from-far-below"
    ]
    result += outside_words.notes(found.remarks) or _reads_the_same(found, looks[-1])
    if found.reason == "confirm":
        result.append(
            "A change needs two looks that agree, the second with about a period of the swing of "
            "new readings, half an hour where none shows: send this trace again together with the "
            "next one, oldest first, in `traces`."
        )
    if found.reason == "confirm" and not (looks[-1].swings or looks[-1].moves):
        result.append(LASTS)
    if request.transit is None and found.reason in BY_TRANSIT:
        result.append(NO_TRANSIT)
    if found.reason == "throughput":
        result += [_absolute(found), *_rate_now_right(found, request)]
    result += [*_judged_at(found, request), *_by_plant(found, units)]
    if found.changes:
        result.append("Change nothing else meanwhile, and send a trace from after the change.")
    if found.multiplier != 1.0:
        result.append(_kept(found, looks[-1], units))
    return result + trend_words.notes(looks[-1], units)[:1]
