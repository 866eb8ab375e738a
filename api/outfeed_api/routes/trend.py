"""Trend: is the column level, and if not, what is it doing."""

from __future__ import annotations

from typing import cast

from fastapi import APIRouter

from outfeed.errors import Inconsistent, OutOfRange
from outfeed.methods import use
from outfeed.steering import fire, runaway, silence
from outfeed.steering.collapse import Collapse, Low
from outfeed.steering.evidence import SHORTEST_S
from outfeed.steering.impossible import impossible_readings
from outfeed.steering.level_limits import POINTS_PER_KELVIN
from outfeed.steering.next_look import look_after_trend
from outfeed.steering.trend import (
    LEAST_WAIT_MIN,
    METHODS,
    OutputTrace,
    Trend,
    TrendLimits,
    judge_trend,
)
from outfeed_api.models import Assumed, AssumedQuantity, cautions, methods_used
from outfeed_api.moments import Clock, in_one_form
from outfeed_api.pictures import canvas
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import collapse_words, fire_words, impossible_words, silence_words
from outfeed_api.routes import trend_words as words
from outfeed_api.routes.trend_danger import danger_notes, danger_of, stands_still
from outfeed_api.routes.trend_models import (
    ChancePart,
    CleanedPart,
    ColumnTrace,
    LimitsPart,
    OutputSeries,
    RemarkPart,
    TrendAnswer,
    TrendEvidence,
    TrendRequest,
    Verdict,
    as_sent,
    readings,
)
from outfeed_api.units import UnitSystem

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["steering"])


def _draw(request: TrendRequest, answer: TrendAnswer, media_type: str) -> bytes:
    from outfeed_api.pictures.trend import trend_picture

    return trend_picture(request, answer, media_type)


@router.post(
    "/trend",
    summary="Whether a controlled temperature is level, and if not, what it does",
    operation_id="trend",
    response_model_exclude_none=True,
)
@computes(heavy=True, writes=canvas.writers(_draw))
def trend(request: TrendRequest) -> TrendAnswer:
    """The trend in a word, with its evidence and the probability of each word.

    Slope and offset are judged on the last two hours, swings on the whole trace. The limits of
    level follow from the moisture: a quarter point an hour, half a point of offset or swing.
    A temperature that runs away is a fire caution first; one that has fallen far below its level
    before, or stands far below its setpoint and does not close in, asks for a look at burner,
    flame and sensor, one no longer read for a look at its sensor.
    Pictures: `Accept: image/svg+xml` or `image/png`.
    """
    clock = Clock.of(request.column, request.column.output)
    check(request.column, "column")
    danger, still = danger_of(request.column), stands_still(request.column)
    silent = silence.silent_since(request.column.seconds, readings(request.column), clock.now_s)
    safe = danger is None and not still
    calm = safe and silent is None
    found = (judge if calm else judge_beside)(request.column, request.sensitivity, "column")
    if found is None:
        return _without_trend(request, clock, danger, silent)
    evidence = evidence_of(found, request.units)
    low = found.low if calm and (found.stays_low or found.heats_up) else None
    low = None if found.collapsed else low
    fallen = safe and found.collapsed
    look = clock.now_s + (look_after_trend(found) if calm else fire_words.LOOK_S)
    unreal = unreal_of(request.column)
    decision = decided(found, danger, request.units, clock.say(look), still=still)
    if silent is not None and danger is None and not fallen:
        evidence = silence_words.unread(evidence)
        decision = silence_words.decision(clock, silent, clock.say(look), still=still)
    return TrendAnswer(
        decision=decision,
        units=request.units,
        window_from=clock.stamp(found.window[0]),
        window_from_elapsed=clock.minute(found.window[0]),
        look_at=clock.stamp(look),
        look_at_elapsed=clock.minute(look),
        assumed=assumed_sensitivity(request.sensitivity),
        methods=methods_used(*map(use, (*METHODS, *runaway.METHODS, *fire.METHODS))),
        notes=danger_notes(danger, request.column, still=still)
        + impossible_words.notes(unreal, request.units)
        + ([] if danger is None else [fire_words.BESIDE, words.sentence(found, request.units)])
        + collapse_words.notes(found.collapse, request.units)
        + ([] if low is None else collapse_words.low_notes(low, request.units))
        + silence_words.notes(clock, silent, decision)
        + ([] if silent is None else [silence_words.BEFORE])
        + words.notes(found, request.units),
        cautions=cautions(
            *(() if calm and found.verdict != "sensor-fault" else fire_words.CAUTIONS),
            *(collapse_words.CAUTIONS if low or (calm and found.collapsed) else ()),
            *impossible_words.codes(unreal),
            "follow-manual",
        ),
        **{name: getattr(evidence, name) for name in TrendEvidence.model_fields},
    )


def _without_trend(
    request: TrendRequest, clock: Clock, danger: runaway.Danger | None, silent: float | None
) -> TrendAnswer:
    """The caution alone, for readings too few to judge anything else by."""
    look = clock.now_s + fire_words.LOOK_S
    still = stands_still(request.column)
    limits = limits_of(request.sensitivity)
    seconds = max(request.column.seconds) - min(request.column.seconds)
    decision = fire_words.STILL
    if danger is not None:
        decision = fire_words.decision(danger, request.units, clock.say(look), still=still)
    elif silent is not None:
        decision = silence_words.decision(clock, silent, clock.say(look), still=still)
    return TrendAnswer(
        decision=decision,
        units=request.units,
        verdict="too-short",
        minutes_missing=max(SHORTEST_S - seconds, 60.0 * LEAST_WAIT_MIN),
        remarks=[],
        probabilities=[],
        limits=_limits_part(limits),
        look_at=clock.stamp(look),
        look_at_elapsed=clock.minute(look),
        assumed=assumed_sensitivity(request.sensitivity),
        methods=methods_used(*map(use, (*runaway.METHODS, *fire.METHODS))),
        notes=[
            *danger_notes(danger, request.column, still=still),
            *impossible_words.notes(unreal_of(request.column), request.units),
            *silence_words.notes(clock, silent, decision),
            words.NO_TREND,
        ],
        cautions=cautions(*fire_words.CAUTIONS, "follow-manual"),
    )


def decided(
    found: Trend,
    danger: runaway.Danger | None,
    units: UnitSystem,
    look: str,
    *,
    still: bool = False,
) -> str:
    """The decision, fire before a collapse or a stand far below, and these before the trend.

    Parameters
    ----------
    found : Trend
        The judgement.
    danger : Climb, Runaway or None
        What asks for a look at fire.
    units : str
        Unit system of the reader.
    look : str
        When to look again, in words.
    still : bool
        Whether the discharge stands still.

    Returns
    -------
    str
        Sentences.
    """
    if danger is None and still:
        return f"{fire_words.STILL} {words.sentence(found, units)}"
    fallen = found.fallen if danger is None else None
    if danger is None and found.low is not None and found.heats_up:
        return collapse_words.low_decision(found.low, units, look)
    if isinstance(fallen, Collapse):
        swing = found.verdict in ("cycling", "growing")  # a wide one is as low at its lowest
        beside = f" {words.sentence(found, units)}" if swing else ""
        return collapse_words.decision(fallen, units, look) + beside
    if isinstance(fallen, Low):
        low = collapse_words.low_decision(fallen, units, look)
        return low if fallen.turned else f"{low} {words.sentence(found, units)}"
    if danger is None:
        return words.decision(found, units, look)
    return fire_words.decision(danger, units, look, still=still)


def judge(trace: ColumnTrace, sensitivity: float | None, name: str) -> Trend:
    """Judge a trace of a request that is already in SI.

    Parameters
    ----------
    trace : ColumnTrace
        The trace.
    sensitivity : float or None
        Moisture change per kelvin [1/K].
    name : str
        Field of the request, for errors.

    Returns
    -------
    Trend
        The judgement.

    Raises
    ------
    Inconsistent
        Lengths that differ, or not exactly one form of setpoint.
    OutOfRange
        Too few readings, or a trace that is too long.
    """
    setpoint, output = check(trace, name)
    with as_sent():
        return judge_trend(
            trace.seconds, readings(trace), setpoint, limits=limits_of(sensitivity), output=output
        )


def judge_beside(trace: ColumnTrace, sensitivity: float | None, name: str) -> Trend | None:
    """The same beside a caution, which too few readings must not keep from being told.

    Parameters
    ----------
    trace : ColumnTrace
        The trace.
    sensitivity : float or None
        Moisture change per kelvin [1/K].
    name : str
        Field of the request, for errors.

    Returns
    -------
    Trend or None
        None where the readings are too few, or span too long, to be judged.

    Raises
    ------
    Inconsistent
        As `judge`.
    OutOfRange
        No reading at all.
    """
    try:
        return judge(trace, sensitivity, name)
    except OutOfRange:
        if all(value is None for value in trace.temperatures):
            raise
        return None


def unreal_of(trace: ColumnTrace) -> list[impossible_words.Found]:
    """What cannot be true of the readings of a trace.

    Parameters
    ----------
    trace : ColumnTrace
        The trace, in SI.

    Returns
    -------
    list of tuple
        One entry, for `impossible_words`.
    """
    return [("column", impossible_readings(trace.seconds, readings(trace)))]


def check(trace: ColumnTrace, name: str) -> tuple[float | list[float], OutputTrace | None]:
    """Whether the parts of a trace fit each other, before anything is read from it.

    Parameters
    ----------
    trace : ColumnTrace
        The trace, in SI.
    name : str
        Field of the request, for errors.

    Returns
    -------
    tuple
        Setpoint, one or one per reading [degC], and the output of the controller, if told.

    Raises
    ------
    Inconsistent
        Lengths that differ, or not exactly one form of setpoint.
    """
    count = len(trace.seconds)
    if count != len(trace.temperatures):
        raise Inconsistent(
            f"{name}: {count} times do not fit {len(trace.temperatures)} temperatures", name
        )
    setpoint = _setpoint(trace, count, name)
    return setpoint, None if trace.output is None else _output(trace, trace.output, name)


def limits_of(sensitivity: float | None) -> TrendLimits:
    """What counts as level.

    Parameters
    ----------
    sensitivity : float or None
        Moisture change per kelvin [1/K]; the usual one if None.

    Returns
    -------
    TrendLimits
        Limits of slope, offset and swing.
    """
    points = POINTS_PER_KELVIN if sensitivity is None else 100.0 * sensitivity
    return TrendLimits.from_sensitivity(points)


def _limits_part(limits: TrendLimits) -> LimitsPart:
    return LimitsPart(slope=limits.slope / 3600.0, offset=limits.offset, half_swing=limits.swing)


def evidence_of(found: Trend, units: UnitSystem) -> TrendEvidence:
    """The judgement as a part of an answer, SI.

    Parameters
    ----------
    found : Trend
        The judgement.
    units : str
        Unit system of the reader, for the words.

    Returns
    -------
    TrendEvidence
        Numbers in SI, remarks in words.
    """
    ranked = sorted(found.probabilities.items(), key=lambda item: -item[1])
    return TrendEvidence(
        verdict=cast("Verdict", found.verdict),
        slope=found.slope / 3600.0,
        slope_low=found.slope_low / 3600.0,
        slope_high=found.slope_high / 3600.0,
        offset=found.offset,
        crossings_per_two_hours=found.crossings_per_two_hours,
        period=found.period,
        half_swing=found.amplitude,
        decay_ratio=found.decay_ratio,
        noise=found.noise_sd,
        effective_samples=found.effective_samples,
        cycles_seen=found.cycles_seen,
        minutes_missing=60.0 * found.minutes_missing,
        remarks=[RemarkPart(code=r.code, text=words.remark(r, units)) for r in found.remarks],
        probabilities=[
            ChancePart(verdict=cast("Verdict", word), probability=p) for word, p in ranked
        ],
        limits=_limits_part(found.limits),
        cleaned=CleanedPart(
            impossible=found.cleaned.impossible,
            spikes=found.cleaned.spikes,
            gaps=found.cleaned.gaps,
            gap_time=found.cleaned.gap_seconds,
            frozen_time=found.cleaned.frozen_seconds,
        ),
    )


def assumed_sensitivity(sensitivity: float | None) -> list[Assumed]:
    """What was filled in for the limits of level.

    Parameters
    ----------
    sensitivity : float or None
        As given.

    Returns
    -------
    list of Assumed
        Empty when it was given.
    """
    if sensitivity is not None:
        return []
    return [
        AssumedQuantity(
            input="sensitivity",
            quantity="points-per-temperature",
            value=POINTS_PER_KELVIN / 100.0,
            low=-0.017,
            high=-0.0027,
            why="points of moisture per degree of column temperature, steering by discharge rate; "
            "it sets what counts as level. Setpoint advice goes by what is known of the dryer and "
            "may call one trend otherwise: send the steeper `sensitivity` of its `prior` and "
            "`belief` here",
            source="column model at 20 to 28 % inlet moisture, synthetic; none is published",
        )
    ]


def _setpoint(trace: ColumnTrace, count: int, name: str) -> float | list[float]:
    if trace.setpoint is not None and trace.setpoints is None:
        return trace.setpoint
    if trace.setpoints is None or trace.setpoint is not None:
        raise Inconsistent(f"{name}: give either `setpoint` or `setpoints`", name)
    if len(trace.setpoints) != count:
        raise Inconsistent(
            f"{name}: {count} times do not fit {len(trace.setpoints)} setpoints", name
        )
    return trace.setpoints


def _output(trace: ColumnTrace, output: OutputSeries, name: str) -> OutputTrace:
    in_one_form(trace.form, output.form, name)
    if (output.rates is None) == (output.settings is None):
        raise Inconsistent(f"{name}: output takes either `rates` or `settings`", name)
    by_rate = output.rates is not None
    values = output.rates if by_rate else output.settings
    low, high = (
        (output.lowest_rate, output.highest_rate) if by_rate else (output.lowest, output.highest)
    )
    if (output.lowest, output.highest) != (None, None) and by_rate:
        raise Inconsistent(f"{name}: with `rates` give `lowest_rate` and `highest_rate`", name)
    if (output.lowest_rate, output.highest_rate) != (None, None) and not by_rate:
        raise Inconsistent(f"{name}: with `settings` give `lowest` and `highest`", name)
    if low is not None and high is not None and low >= high:
        raise Inconsistent(f"{name}: the lowest output is not below the highest", name)
    if not values or len(values) != len(output.seconds):
        raise Inconsistent(f"{name}: times and values of the output do not fit", name)
    return OutputTrace(output.seconds, values, low, high)
