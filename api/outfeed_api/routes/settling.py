"""Settling: has one transit passed since the last change, by the grain that left."""

from __future__ import annotations

import math
from typing import Annotated

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from outfeed.errors import Inconsistent
from outfeed.limits import TRANSIT
from outfeed.methods import use
from outfeed.steering import lag as lagging
from outfeed.steering import settling as judging
from outfeed_api.measures import Measure
from outfeed_api.models import (
    Answer,
    AssumedQuantity,
    Given,
    GrainId,
    Request,
    cautions,
    methods_used,
)
from outfeed_api.moments import MOST_TIMES, Clock, Elapsed, Moment, Timed, in_order
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.trend_danger import BY_STROKES
from outfeed_api.units import QUANTITIES, UnitSystem, say
from outfeed_api.wording import lasting

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["steering"])

MOST_POINTS = 50
ROUNDING = 1e-6  # of a step

BEFORE_LOG = (
    "The log begins after the change: its first rate was taken to have held since then. If it did "
    "not, or the discharge stood, send the log from the change on."
)


SINCE_LOG = (
    "Nothing was logged since {}, a whole transit or more: the last rate was taken to have held "
    "since then. If it did not, or the discharge stood, send the log up to now."
)


class DischargeLog(Timed):
    """Discharge rates, or metering settings, with the times from which they held."""

    rates: (
        list[Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=5.5)]] | None
    ) = Field(
        None,
        description="Discharge rates, each holding until the next; give these or `settings`.",
        max_length=MOST_TIMES,
    )
    settings: (
        list[Annotated[float, Measure("metering-setting", judging.METERING, example=42.0)]] | None
    ) = Field(
        None,
        description="Settings of the metering drive, on its own scale; needs `points`.",
        max_length=MOST_TIMES,
    )


class SettingPoint(Given):
    """A metering setting at which you measured the discharge rate."""

    setting: Annotated[float, Measure("metering-setting", judging.METERING, example=40.0)] = Field(
        description="Setting, on the drive's own scale."
    )
    rate: Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=5.2)] = Field(
        description="Discharge rate measured there."
    )


class SettlingRequest(Request):
    """A log of the discharge and what the dryer holds."""

    grain: GrainId = "corn-yellow-dent"
    log: DischargeLog = Field(description="Log of the discharge, times ascending.")
    held: Annotated[float, Measure("grain", lagging.HELD_GRAIN, example=12_000.0)] = Field(
        description="Grain the dryer holds, from the top of the column to the discharge."
    )
    points: list[SettingPoint] | None = Field(
        None, description="Your own points of setting and rate.", max_length=MOST_POINTS
    )
    changed: Moment | None = Field(
        None, description="When something else was changed, a plenum temperature for instance."
    )
    changed_elapsed: Elapsed | None = Field(None, description="The same, on your own clock.")
    now: Moment | None = Field(None, description="Time of asking; the last of the log if left out.")
    now_elapsed: Elapsed | None = Field(None, description="Time of asking, on your own clock.")
    same_rate: Annotated[float, Measure("percent", judging.TOLERANCE, example=0.05)] | None = Field(
        None,
        description="Change of rate that still counts as the same setting; 5 if left out. Where "
        "the rate turns up and down as a control loop moves it, levels are compared, not entries.",
    )


class SettlingAnswer(Answer):
    """How far the dryer has settled."""

    settled: bool | None = Field(
        None,
        description="By the grain that left; moisture may be judged from `judge_from`. Left out "
        "when the log shows no change but is too short to tell; never true while the discharge "
        "stands still.",
    )
    changed_at: str | None = Field(None, description="When the last change was.", max_length=40)
    changed_at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="When the last change was, on your own clock."
    )
    settled_at: str | None = Field(
        None,
        description="When it settles, or settled, at the present rate; left out where no change is "
        "known, while the discharge stands still, and more than 30 days ahead.",
        max_length=40,
    )
    settled_at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="When it settles, or settled, on your own clock."
    )
    settled_in: Annotated[float, Measure("minutes")] | None = Field(
        None, description="Time until then; negative when it lies behind."
    )
    judge_from: str | None = Field(
        None,
        description="When moisture may be judged: settled, and the grain gone that stood through a "
        "long stop. Left out where it may be now, or nothing tells.",
        max_length=40,
    )
    judge_from_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="When moisture may be judged, on your own clock."
    )
    stopped_at: str | None = Field(
        None, description="Since when the discharge stands still, if it does.", max_length=40
    )
    stopped_at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="Since when the discharge stands still, on your own clock."
    )
    replaced: Annotated[float, Measure("percent")] = Field(
        description="Grain discharged since the change as a share of the grain held."
    )
    remaining: Annotated[float, Measure("grain")] | None = Field(
        None,
        description="Grain still to be discharged until settled; left out while the discharge "
        "stands still.",
    )
    old_time_share: Annotated[float, Measure("percent")] | None = Field(
        None,
        description="Share of its time in the dryer that the grain leaving now spent under the "
        "old settings.",
    )
    old_path_share: Annotated[float, Measure("percent")] | None = Field(
        None, description="Share of its way through the dryer that it made under the old settings."
    )
    in_dryer: Annotated[float, Measure("minutes")] | None = Field(
        None,
        description="How long the grain that leaves now was in the dryer, at the first rate before "
        "the log; left out where none has left in the log.",
    )
    rate: Annotated[float, Measure("grain-rate")] = Field(description="Present discharge rate.")


@router.post(
    "/settling",
    summary="Whether the dryer has settled after the last change",
    operation_id="settling",
    response_model_exclude_none=True,
)
@computes()
def settling(request: SettlingRequest) -> SettlingAnswer:
    """Whether the grain held has been replaced since the last change, by the integral of flow.

    A discharge that stood still throughout is answered as well: nothing settles before it starts.
    """
    clock = Clock.of(request.log, now=request.now, now_elapsed=request.now_elapsed)
    times, rates = _rates(request)
    found = judging.settling(
        times,
        rates,
        request.held,
        clock.now_s,
        changed_s=_changed(request, clock),
        same_rate=judging.SAME_RATE if request.same_rate is None else request.same_rate,
    )
    changed, at, stopped = found.changed_s, found.settled_at_s, found.stopped_at_s
    due = _judged_from(found)
    return SettlingAnswer(
        decision=_decision(found, clock),
        units=request.units,
        settled=found.settled,
        changed_at=None if changed is None else clock.stamp(changed),
        changed_at_elapsed=None if changed is None else clock.minute(changed),
        settled_at=None if at is None else clock.stamp(_no_sooner(at, 1.0)),
        settled_at_elapsed=None if at is None else clock.minute(at),
        settled_in=None if at is None else at - clock.now_s,
        judge_from=None if due is None else clock.stamp(_no_sooner(due, 1.0)),
        judge_from_elapsed=None if due is None else clock.minute(due),
        stopped_at=None if stopped is None else clock.stamp(stopped),
        stopped_at_elapsed=None if stopped is None else clock.minute(stopped),
        replaced=found.replaced,
        remaining=found.remaining,
        old_time_share=found.old_time_share,
        old_path_share=found.old_path_share,
        in_dryer=None if found.entered_s is None else clock.now_s - found.entered_s,
        rate=found.rate,
        assumed=[] if request.same_rate is not None else [_assumed_tolerance()],
        methods=methods_used(use(judging.SETTLED)),
        notes=_notes(found, clock, request.units, request.kg_per_bushel)
        + ([BY_STROKES] if judging.by_strokes(rates) else [])
        + _unlikely(found, request.held, request.units)
        + _beyond_log(found, times, request.held, clock),
        cautions=cautions(
            *(() if stopped is None else ("fire-column", "hot-surfaces")), "follow-manual"
        ),
    )


def _rates(request: SettlingRequest) -> tuple[list[float], list[float]]:
    log = request.log
    if (log.rates is None) == (log.settings is None):
        raise Inconsistent("log: give either `rates` or `settings`", "log")
    if log.rates is not None:
        return in_order(log, log.rates, "log"), log.rates
    settings = log.settings or []
    if not request.points:
        raise Inconsistent("metering settings need `points` of setting and rate", "points")
    rates = judging.rates_from_settings(
        settings, [p.setting for p in request.points], [p.rate for p in request.points]
    )
    return in_order(log, settings, "log"), list(np.atleast_1d(rates))


def _changed(request: SettlingRequest, clock: Clock) -> float | None:
    name = "changed_elapsed" if request.changed is None else "changed"
    at = clock.time_of(request.changed, request.changed_elapsed, name)
    if at is not None and at > clock.now_s:
        raise Inconsistent(f"{name} lies after the time of asking", name)
    return at


def _decision(found: judging.Settling, clock: Clock) -> str:
    if found.stopped_at_s is not None:
        since = clock.say(found.stopped_at_s)
        still = f"The discharge stands still since {since}, so nothing has settled."
        if found.entered_s is None:
            still = (
                f"No grain is leaving: the discharge stands still since {since} at least, where "
                f"the log begins, so no transit passes until it starts again."
            )
        return (
            f"{still} Hot grain that stands can catch fire: watch column and exhaust temperature, "
            f"look for smoke, and if anything climbs follow the emergency procedure of the "
            f"dryer's manual. Judge nothing before grain moves again."
        )
    if found.settled is None and found.stood is not None:
        stood = _stood_words(found.stood, clock)
        return f"The log is too short to tell by the grain that left, but {stood}"
    if found.settled is None:
        return (
            "No change shows in the log, but it is too short to tell: less than the grain held has "
            "left since it began."
        )
    if found.settled and found.stood is not None:
        return (
            f"By the grain that left the dryer has settled, but {_stood_words(found.stood, clock)}"
        )
    if found.settled and found.changed_s is None:
        return "The dryer has settled: no change in the log, and the grain held has been replaced."
    if found.settled and found.settled_at_s is not None:
        return (
            f"The dryer has settled since {clock.say(found.settled_at_s)}; judge what leaves now."
        )
    if found.settled_at_s is None:
        return "Not settled yet: wait until the grain held has been replaced."
    until = clock.say(_no_sooner(_judged_from(found) or found.settled_at_s, 60.0))
    return f"Not settled yet: wait until {until} before you judge moisture."


def _judged_from(found: judging.Settling) -> float | None:
    """When the change and the grain that stood have passed; None where neither is in the way."""
    waits = [found.settled_at_s if found.settled is False else None]
    waits += [] if found.stood is None else [found.stood.passed_s]
    return max((at for at in waits if at is not None), default=None)


def _no_sooner(time_s: float, step_s: float) -> float:
    """A time rounded up to whole steps, so that what is due then is over when it is said to be."""
    return math.ceil(time_s / step_s - ROUNDING) * step_s


def _stood_words(stood: judging.Stood, clock: Clock) -> str:
    until = ""
    if stood.passed_s is not None:
        until = f": judge moisture from {clock.say(_no_sooner(stood.passed_s, 60.0))}"
    return (
        f"the discharge stood still for {lasting(stood.until_s - stood.from_s)} until "
        f"{clock.say(stood.until_s)}, and the grain that stood in the dryer may have dried "
        f"on{until}."
    )


def _notes(
    found: judging.Settling, clock: Clock, units: UnitSystem, kg_per_bushel: float
) -> list[str]:
    notes = []
    if found.stood is not None and found.settled is False:
        stood = _stood_words(found.stood, clock)
        notes.append(stood[0].upper() + stood[1:])
    if found.stopped_at_s is not None:
        notes.append(
            "Do not open or enter the dryer on the strength of this answer; call the fire service "
            "if you see or smell smoke. Grain that stood hot has dried on and is no measure of the "
            "setting: let it pass before you judge."
        )
    if found.hidden_change:
        notes.append(
            f"The rate goes up and down as a control loop moves it, so levels were compared, not "
            f"entries: a change under about {100 * found.hidden_change:.0f} % would not show. If "
            f"you changed a setting, tell when in `changed`; `same_rate` sets what counts as none."
        )
    if found.settled is False and found.remaining is not None and found.old_time_share is not None:
        left = say(found.remaining, "grain", units, bushel_weight=kg_per_bushel, decimals=0)
        notes.append(
            f"What leaves now spent {100 * found.old_time_share:.0f} % of its time in the dryer "
            f"under the old settings; {left} more must leave. That is for moisture judged as it "
            f"leaves: setpoint advice matches each reading to the column that grain passed, and "
            f"may decide sooner."
        )
    notes.append(
        "Counted by the grain that left, not by the clock: time with the discharge stopped does "
        "not count. Kernels spread a little in a real column; a tenth more is a fair reserve."
    )
    return notes


def _beyond_log(
    found: judging.Settling, times: list[float], held: float, clock: Clock
) -> list[str]:
    """What was taken to have held before the log and after it."""
    changed = found.changed_s
    before = [] if changed is None or changed >= times[0] else [BEFORE_LOG]
    unlogged = found.rate * (clock.now_s - times[-1]) >= held
    return before + ([SINCE_LOG.format(clock.say(times[-1]))] if unlogged else [])


def _unlikely(found: judging.Settling, held: float, units: UnitSystem) -> list[str]:
    """That a transit is none of a dryer, so that a unit or a number may be wrong."""
    if found.rate <= 0.0 or TRANSIT.contains(held / found.rate):
        return []
    rate, grain = (QUANTITIES[name].unit(units).label for name in ("grain-rate", "grain"))
    within = lasting(held / found.rate)
    said = f"At this rate the grain held leaves within {within}, which is no transit of a dryer"
    return [f"{said}: see that `held` is in {grain} and the rate in {rate}."]


def _assumed_tolerance() -> AssumedQuantity:
    return AssumedQuantity(
        input="same_rate",
        quantity="percent",
        value=judging.SAME_RATE,
        why="rates this close to the present one count as the same setting; it is about a third of "
        "a point of moisture",
        source="column model, synthetic",
    )
