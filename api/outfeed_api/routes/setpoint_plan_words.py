"""The plan through known changes in words: what each does, how sure that is, and the moves."""

from __future__ import annotations

from outfeed.steering.feedforward import WITH_THE_GRAIN, ExpectedEffect, KnownChange, Plan
from outfeed.steering.moves import ScheduledStep
from outfeed_api.moments import Clock
from outfeed_api.routes.setpoint_plan_models import MOST_MOVES
from outfeed_api.routes.setpoint_words import degrees, difference, percent
from outfeed_api.units import UnitSystem

LEAST_RATE = 0.01  # share of the rate; less is not worth a word; chosen, no source
DUE = (
    "What is due now for the known changes is part of this advice. Once it is set, tell it as "
    "`last_move` when you ask again and pass `due` back, or it is advised once more."
)
HELD = (
    "would go beyond the largest step and is planned for later. A later answer knows of it by the "
    "`due` passed back."
)

CHANGES = {
    "inlet-moisture": ("wetter grain", "drier grain"),
    "plenum-temperature": ("the hotter plenums", "the cooler plenums"),
    "ambient-temperature": ("the warmer weather", "the colder weather"),
    "grain-temperature": ("warmer grain", "colder grain"),
}


BRIDGE = {
    True: "The first move slows the discharge before the sensors, which lie well below the middle "
    "of the dryer, see the wetter grain; the second takes it back and lowers the setpoint because "
    "wetter grain leaves drier at one column temperature.",
    False: "The first move speeds the discharge up before the sensors, which lie well below the "
    "middle of the dryer, see the drier grain; the second takes it back and raises the setpoint "
    "because drier grain leaves wetter at one column temperature.",
}


def plan_notes(units: UnitSystem, clock: Clock, whole: Plan, plan: Plan, *, due: bool) -> list[str]:
    """The schedule through known changes in sentences.

    Parameters
    ----------
    units : str
        "us" or "metric".
    clock : Clock
        Of the request; says times as they were given.
    whole : Plan
        The schedule.
    plan : Plan
        What of it is still to come.
    due : bool
        Whether some of it is part of the advice.

    Returns
    -------
    list of str
        What each change does and when, then the moves; empty where nothing is known to change.
    """
    result = [
        f"The readings already show {_named(change)} of {clock.say(change.at_s)}; nothing more is "
        f"planned for it, and a move planned for it before that was not made falls away."
        for change in plan.shown
    ]
    for effect in plan.effects:
        result += [_effect_note(clock, effect), *_setpoint_note(units, effect)]
    result += [f"At {_move(units, clock, step)}." for step in plan.steps[:MOST_MOVES]]
    if len(plan.steps) > MOST_MOVES:
        result.append("Later moves are not listed: by then readings show what is still to be set.")
    wetter = {e.change.amount > 0 for e in plan.effects if e.bridge != 0.0}
    if len(wetter) == 1 and _bridged(plan, up := wetter.pop()):
        result.append(BRIDGE[up])
    drying = any(effect.to_dry for effect in plan.effects)
    if whole.made:
        result.append(
            "What was due for it by the last move counts as set and is not set again; the "
            "expectation is told as if without it."
        )
    if drying and not whole.steps and not whole.made:
        result.append("The known changes are too small to move the setpoint for.")
    elif due:
        result.append(DUE)
        if plan.postponed:
            held = difference(abs(plan.postponed), units)
            result.append(f"{held} of what is due {HELD}")
    elif whole.steps and not plan.steps:
        result.append("No move is planned for it before the column can be trusted: ask again then.")
    if plan.held_back:
        result.append("The grain's temperature limit holds the schedule down.")
    if drying:
        result.append(
            "These sizes come from a model of a dryer, not from yours; check the first reading."
        )
    return result


def next_move(units: UnitSystem, clock: Clock, plan: Plan) -> str:
    """The first move of a schedule, to stand behind the decision on the present setpoint.

    Parameters
    ----------
    units : str
        "us" or "metric".
    clock : Clock
        Of the request; says times as they were given.
    plan : Plan
        The schedule.

    Returns
    -------
    str
        A sentence with a space before it; empty where nothing is planned.
    """
    if not plan.steps:
        return ""
    more = f", the first of {len(plan.steps)} planned moves" if len(plan.steps) > 1 else ""
    return f" For what is known to change, at {_move(units, clock, plan.steps[0])}{more}."


def tells_of_grain(plan: Plan) -> bool:
    """Whether the notes of a plan say when wetter or drier grain reaches the sensors.

    Parameters
    ----------
    plan : Plan
        The schedule with its effects.

    Returns
    -------
    bool
        False where it is for other changes only.
    """
    return any(effect.change.kind == "inlet-moisture" for effect in plan.effects)


def _move(units: UnitSystem, clock: Clock, step: ScheduledStep) -> str:
    way = "raise" if step.step > 0 else "lower"
    return f"{clock.say(step.at_s)} {way} the setpoint to {degrees(step.setpoint, units)}"


def _bridged(plan: Plan, up: bool) -> bool:
    """Whether the schedule begins with a bridge to be set and taken back."""
    first_two = plan.steps[:2]
    grain = all(step.kind == "inlet-moisture" for step in first_two)
    return grain and [step.step > 0 for step in first_two] == [up, not up]


def _effect_note(clock: Clock, effect: ExpectedEffect) -> str:
    what = _named(effect.change)
    sensors, discharge = clock.say(effect.at_sensors_s), clock.say(effect.at_discharge_s)
    over, out = effect.at_sensors_s <= clock.now_s, effect.at_discharge_s <= clock.now_s
    if effect.change.kind in WITH_THE_GRAIN:
        when = (
            f"{what[0].upper()}{what[1:]} {'reached' if over else 'reaches'} the column sensors by "
            f"{sensors} and {'reaches ' * (over and not out)}the discharge by {discharge}"
        )
    else:
        when = (
            f"The effect of {what} {'was' if over else 'is'} complete at the column sensors by "
            f"{sensors} and {'will be ' * (over and not out)}at the discharge by {discharge}"
        )
    return f"{when}; {_rate_words(effect)}."


def _setpoint_note(units: UnitSystem, effect: ExpectedEffect) -> list[str]:
    """How surely the setpoint that answers a change is known; empty where it asks for none."""
    size = difference(abs(effect.setpoint_change), units)
    if size == difference(0.0, units):
        return []
    way = "higher" if effect.setpoint_change > 0 else "lower"
    doubt = difference(2.0 * effect.setpoint_sd, units)
    chance = (
        ""
        if effect.chance is None
        else f"; the chance that {way} is right is {percent(effect.chance)}"
    )
    return [f"It asks for a setpoint about {size} {way} (give or take {doubt}){chance}."]


def _rate_words(effect: ExpectedEffect) -> str:
    if not effect.to_dry:
        return (
            "grain no wetter than the target needs no drying, so neither a rate nor a setpoint is "
            "told for it"
        )
    rate = effect.rate_change
    if rate is None:
        far = "fall" if effect.change.amount > 0 else "rise"
        return f"expect the discharge rate to {far} far, by more than this estimate covers"
    if abs(rate) < LEAST_RATE:
        return "the discharge rate will hardly change"
    way = "rise" if rate > 0 else "fall"
    return f"expect the discharge rate to {way} by about {100 * abs(rate):.0f} %"


def _named(change: KnownChange) -> str:
    up, down = CHANGES[change.kind]
    return up if change.amount > 0 else down
