"""Known changes of a request for setpoint advice, and the schedule that answers them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from outfeed.errors import Inconsistent
from outfeed.steering import belief as believing
from outfeed.steering import feedforward, setpoint
from outfeed.steering.inlet import InletLog
from outfeed.steering.inlet_rate import Drying
from outfeed.steering.lots import LotAbove, as_change
from outfeed.steering.moves import A_MINUTE_S, Due, ScheduledStep
from outfeed.steering.pairs import Transport, inlet_at
from outfeed.steering.prior import Prior
from outfeed_api.moments import Clock
from outfeed_api.routes import setpoint_words as words
from outfeed_api.routes.setpoint_kept import DuePart, refuse_other_units
from outfeed_api.routes.setpoint_models import SetpointAdviceRequest
from outfeed_api.routes.setpoint_plan_models import (
    MOST_MOVES,
    EffectPart,
    KnownChangePart,
    ScheduledPart,
)
from outfeed_api.units import UnitSystem


def plan_of(
    request: SetpointAdviceRequest,
    clock: Clock,
    transport: Transport,
    log: InletLog | None,
    situation: setpoint.Situation,
    advised: float,
    belief: believing.Belief | None,
    prior: Prior,
    lot: LotAbove | None,
) -> feedforward.Plan:
    """The schedule through the known changes, from the advised setpoint on.

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
    situation : Situation
        What the advice was given for.
    advised : float
        Setpoint after the advice [degC].
    belief : Belief or None
        What is known of the dryer.
    prior : Prior
        What was thought of it before.
    lot : LotAbove or None
        Logged grain above the sensors that the advice is not for.

    Returns
    -------
    Plan
        Without steps where nothing is known to change.

    Raises
    ------
    Inconsistent
        A change that contradicts itself, is 0, or has its time in the other form.
    """
    changes = [_change(part, clock) for part in request.known_changes or []]
    lag = situation.transit_s * transport.lag_share_at(clock.now_s)
    read = None if log is None else log.times_s
    rules, earlier = words.rules(request), request.earlier_setpoint
    reaches = partial(transport.reaches, now_s=clock.now_s)
    coming = feedforward.still_coming(
        changes,
        clock.now_s,
        transit_s=situation.transit_s,
        lag_s=lag,
        inlet_times_s=read,
        reaches=reaches,
    )
    begun_s = [change.at_s for change in coming] + ([] if lot is None else [lot.since_s])
    due = _due_of(request, clock, begun_s)
    logged = as_change(
        lot,
        belief,
        situation,
        coming,
        resolution=rules.resolution,
        before_moves=_before_moves(request, situation, lot, due, advised, 1 + len(coming)),
    )
    if logged is not None:
        changes, coming = [*changes, logged], [*coming, logged]
    return feedforward.plan_changes(
        changes,
        advised,
        transit_s=situation.transit_s,
        lag_s=lag,
        resolution=rules.resolution,
        belief=belief,
        highest=situation.highest,
        drying=_drying(request, log, coming),
        rate_slope=prior.rate_slope,
        column_per_rate=-prior.column_per_time,
        largest_step=rules.largest_step,
        now_s=clock.now_s,
        inlet_times_s=read,
        moved_s=situation.last_move_s,
        moved_by=None if earlier is None else request.setpoint - earlier,
        largest_move=rules.largest_step,
        due=due,
        reaches=reaches,
        unread=belief is None,
    )


def _before_moves(
    request: SetpointAdviceRequest,
    situation: setpoint.Situation,
    lot: LotAbove | None,
    due: Due | None,
    advised: float,
    changes: int,
) -> float | None:
    """Setpoint before what was moved for a lot [degC]; None where nobody tells."""
    moved_s = situation.last_move_s
    if due is not None:
        return advised - (due.set_by(moved_s) if due.changes <= changes else 0.0)
    if lot is None or moved_s is None or moved_s < lot.since_s:
        return advised
    earlier = request.earlier_setpoint
    return None if earlier is None else advised - (request.setpoint - earlier)


def _due_of(request: SetpointAdviceRequest, clock: Clock, begun_s: Sequence[float]) -> Due | None:
    """What the previous answer found due, if it can be of changes that began at these times [s]."""
    part = request.due
    if part is None:
        return None
    refuse_other_units(part, request.units, "due")
    at = min(clock.kept(part.at, part.at_elapsed, "due"), clock.now_s)  # rounded up, or read ahead
    due = Due(at, part.moved, part.step, part.changes)
    # what was set before any of them began was set for others, which have passed
    return due if any(begun <= at + A_MINUTE_S for begun in begun_s) else None


def due_of(clock: Clock, plan: feedforward.Plan, units: UnitSystem) -> DuePart | None:
    """What has been set for the changes on their way, for the answer.

    Parameters
    ----------
    clock : Clock
        Of the request.
    plan : Plan
        The schedule.
    units : str
        Of the request.

    Returns
    -------
    DuePart or None
        None where nothing is on its way.
    """
    due = plan.due
    if due is None:
        return None
    elapsed = clock.minute(due.at_s)
    at = {"at_elapsed": elapsed} if elapsed is not None else {"at": clock.exact(due.at_s)}
    return DuePart(units=units, moved=due.moved, step=due.step, changes=due.changes, **at)


def inlet_missing(request: SetpointAdviceRequest) -> bool:
    """Whether a change of inlet moisture is asked about with no inlet moisture known.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.

    Returns
    -------
    bool
        True where the inlet moisture before the change has to be assumed.
    """
    wetter = any(part.kind == "inlet-moisture" for part in request.known_changes or [])
    logged = request.inlet is not None and bool(request.inlet.moistures)
    return wetter and not logged and _believed_inlet(request) is None


def _drying(
    request: SetpointAdviceRequest,
    log: InletLog | None,
    changes: list[feedforward.KnownChange],
) -> Drying | None:
    """Moistures before the first change of the inlet's to come; None where none is known."""
    first = min((one.at_s for one in changes if one.kind == "inlet-moisture"), default=None)
    if first is None:
        return None
    inlet = _believed_inlet(request)
    if log is not None:
        inlet = float(inlet_at(first - 1.0, log.times_s, log.moistures_wb))
    return None if inlet is None else Drying(inlet, request.target)


def _believed_inlet(request: SetpointAdviceRequest) -> float | None:
    """Inlet moisture that an earlier belief refers to."""
    if request.belief is None or request.belief.reference_inlet <= 0.0:
        return None
    return request.belief.reference_inlet


def _change(part: KnownChangePart, clock: Clock) -> feedforward.KnownChange:
    wet = part.kind == "inlet-moisture"
    amount = part.moisture_change if wet else part.temperature_change
    other = part.temperature_change if wet else part.moisture_change
    if amount is None or other is not None:
        name = "moisture_change" if wet else "temperature_change"
        raise Inconsistent(f"a change of kind {part.kind} takes `{name}` alone", "known_changes")
    if amount == 0.0:
        raise Inconsistent("a change of 0 changes nothing: leave it out", "known_changes")
    at = clock.time_of(part.at, part.at_elapsed, "known_changes")
    return feedforward.KnownChange(part.kind, clock.now_s if at is None else at, amount)


def schedule_of(clock: Clock, plan: feedforward.Plan) -> list[ScheduledPart]:
    """The first moves of a schedule, for the answer.

    Parameters
    ----------
    clock : Clock
        Of the request.
    plan : Plan
        The schedule.

    Returns
    -------
    list of ScheduledPart
        In order of time, in SI.
    """
    return [
        ScheduledPart(
            at=clock.stamp(step.at_s),
            at_elapsed=clock.minute(step.at_s),
            step=step.step,
            setpoint=step.setpoint,
            because=step.kind,
            chance=_chance_of(step, plan),
        )
        for step in plan.steps[:MOST_MOVES]
    ]


def _chance_of(step: ScheduledStep, plan: feedforward.Plan) -> float | None:
    """How sure a move's way is: as that of its change; None where a bridge goes another way."""
    of_kind = [effect for effect in plan.effects if effect.change.kind == step.kind]
    if any(effect.bridge for effect in of_kind):
        return None
    chances = [one.chance for one in of_kind if one.setpoint_change * step.step > 0]
    return chances[0] if chances else None


def effects_of(clock: Clock, plan: feedforward.Plan) -> list[EffectPart]:
    """What each known change does, for the answer.

    Parameters
    ----------
    clock : Clock
        Of the request.
    plan : Plan
        The schedule.

    Returns
    -------
    list of EffectPart
        In order of time, in SI; without the changes that readings show already.
    """
    return [
        EffectPart(
            kind=effect.change.kind,
            setpoint_change=effect.setpoint_change,
            setpoint_uncertainty=effect.setpoint_sd,
            chance=effect.chance,
            setpoint_bridge=effect.bridge,
            rate_change=effect.rate_change,
            at_sensors=clock.stamp(effect.at_sensors_s),
            at_sensors_elapsed=clock.minute(effect.at_sensors_s),
            at_discharge=clock.stamp(effect.at_discharge_s),
            at_discharge_elapsed=clock.minute(effect.at_discharge_s),
        )
        for effect in plan.effects
    ]
