"""How far does one move go, and when does the rest of it follow?

A move larger than the bound is no less needed for being held within it: the rest follows at the
soonest next look, and again until all of it is set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import copysign, floor, inf
from typing import Literal

from outfeed.steering.next_look import SOONEST_LOOK_S

ChangeKind = Literal[
    "inlet-moisture", "plenum-temperature", "ambient-temperature", "grain-temperature"
]

ROUNDING = 1e-9
"""Of sums of moves and of conversions [K or -]."""

MOST_FOLLOWING = 100
"""Moves that may follow on one: a day and more of them, and readings have long shown what is to be
set; chosen, no source."""


@dataclass(frozen=True, slots=True)
class Part:
    """A part of what a change asks for, not yet rounded.

    Attributes
    ----------
    at_s : float
        When to move [s].
    amount : float
        By how much [K].
    kind : str
        Kind of the change it answers.
    bridge : float
        Of it what puts up a bridge [K].
    back : float
        Of it what takes a bridge back [K]: that undoes a move, and no bound on moves holds it up.
    """

    at_s: float
    amount: float
    kind: ChangeKind
    bridge: float = 0.0
    back: float = 0.0


@dataclass(frozen=True, slots=True)
class ScheduledStep:
    """A move of the setpoint at a time.

    Attributes
    ----------
    at_s : float
        When to move [s].
    step : float
        By how much [K].
    setpoint : float
        Setpoint from then on [degC].
    kind : str
        Kind of the change it answers.
    """

    at_s: float
    step: float
    setpoint: float
    kind: ChangeKind


@dataclass(frozen=True, slots=True)
class Due:
    """What has been set for known changes, for the next look at them.

    From the time and size of the last move alone nobody can tell whether it was the whole of what
    was due, or what the bound left of it.

    Attributes
    ----------
    at_s : float
        When it was asked [s].
    moved : float
        By how much the setpoint had been moved for the changes on their way before that [K].
    step : float
        What of the step advised then was for them [K].
    changes : int
        How many changes were on their way.
    """

    at_s: float
    moved: float
    step: float
    changes: int

    def set_by(self, moved_s: float | None) -> float:
        """How much of it is set [K]: the step too, where the last move [s] is no earlier."""
        return self.moved + (self.step if self.was_set(moved_s) else 0.0)

    def was_set(self, moved_s: float | None) -> bool:
        """Whether the last move [s] was the one advised then."""
        return moved_s is not None and moved_s >= self.at_s - A_MINUTE_S


@dataclass(frozen=True, slots=True)
class Made:
    """What of the moves for known changes has been set, and what is ahead.

    Attributes
    ----------
    by : float
        How much has been set [K].
    ahead : list of Part
        What is ahead, in order of time.
    """

    by: float
    ahead: list[Part]


A_MINUTE_S = 60.0
"""Times are told to the minute: a move due within one is due, and a move told for up to a minute
before the look that advised it was the one advised; chosen."""


def settable(largest: float, resolution: float) -> float:
    """The largest move within a bound that the panel accepts.

    Parameters
    ----------
    largest : float
        Bound on one move [K], above 0.
    resolution : float
        Smallest step the panel accepts [K], above 0.

    Returns
    -------
    float
        A whole number of steps, one at least [K].
    """
    return resolution * max(1, floor(largest / resolution + ROUNDING))


def within(parts: Sequence[Part], most: float) -> list[Part]:
    """Parts of which no move exceeds a bound: what goes beyond follows at the soonest next look.

    Parameters
    ----------
    parts : sequence of Part
        In order of time.
    most : float
        Bound on one move [K], above 0; what takes a bridge back comes on top.

    Returns
    -------
    list of Part
        In order of time, with the same sum unless that takes more than `MOST_FOLLOWING` moves.
    """
    found: list[Part] = []
    left = taken = 0.0
    for k, part in enumerate(parts):
        until_s = parts[k + 1].at_s if k + 1 < len(parts) else inf
        left += part.amount
        piece = part
        for _ in range(1 + MOST_FOLLOWING):
            if not found or piece.at_s > found[-1].at_s:
                taken = 0.0
            low = -most - taken + min(piece.back, 0.0)
            high = most - taken + max(piece.back, 0.0)
            piece = replace(piece, amount=min(max(left, low), high))
            found.append(piece)
            taken += piece.amount - piece.back
            left -= piece.amount
            if abs(left) < ROUNDING:
                left = 0.0
                break
            piece = Part(piece.at_s + SOONEST_LOOK_S, 0.0, part.kind)
            if piece.at_s >= until_s:
                break
    return found


def beyond(ahead: Sequence[Part], moved_by: float, most: float) -> list[Part]:
    """What is ahead after a last move that was larger than the bound, and so took some of it.

    Parameters
    ----------
    ahead : sequence of Part
        In order of time.
    moved_by : float
        The last move [K].
    most : float
        Bound on one move [K], above 0.

    Returns
    -------
    list of Part
        Those that the last move left, in order of time.
    """
    over = max(0.0, abs(moved_by) - most)
    left = []
    for part in ahead:
        took = min(over, abs(part.amount)) if part.amount * moved_by > 0 else 0.0
        over -= took
        if abs(part.amount) - took > ROUNDING:
            left.append(replace(part, amount=part.amount - copysign(took, part.amount)))
    return left


def not_before(wanted: Sequence[Part], now_s: float) -> list[Part]:
    """Everything that was due as one move now, so that a bridge already over is not begun.

    Parameters
    ----------
    wanted : sequence of Part
        In order of time.
    now_s : float
        Time of asking [s].

    Returns
    -------
    list of Part
        In order of time, none before now.
    """
    due = [part for part in wanted if part.at_s < now_s]
    if not due:
        return list(wanted)
    together = Part(
        now_s,
        sum(part.amount for part in due),
        due[-1].kind,
        back=sum(part.back + part.bridge for part in due),
    )
    return [together, *wanted[len(due) :]]


def not_there_and_back(parts: Sequence[Part]) -> list[Part]:
    """Moves one way and the other between two looks as one, at the later of their times.

    So a bridge that would be taken back before it is looked at again is not begun.

    Parameters
    ----------
    parts : sequence of Part
        In order of time.

    Returns
    -------
    list of Part
        In order of time, with the same sum.
    """
    found: list[Part] = []
    for part in parts:
        last = found[-1] if found else None
        if (
            last is not None
            and last.amount * part.amount < 0.0
            and part.at_s - last.at_s < SOONEST_LOOK_S
        ):
            part = replace(
                part,
                amount=last.amount + part.amount,
                bridge=last.bridge + part.bridge,
                back=last.back + part.back,
            )
            found.pop()
        found.append(part)
    return found


def made_since(
    wanted: Sequence[Part],
    changes: int,
    moved_s: float | None,
    moved_by: float | None,
    due: Due | None,
    most: float,
) -> Made:
    """What of the moves wanted was set already.

    Parameters
    ----------
    wanted : sequence of Part
        Since the changes began, in order of time.
    changes : int
        How many changes they are for.
    moved_s : float or None
        When the setpoint was last moved [s].
    moved_by : float or None
        By how much [K]: beyond the largest move, what follows counts as well.
    due : Due or None
        From the look before; without it, or where one of its changes has come to an end since,
        what was due by the last move counts as set, or every look would set it once more.
    most : float
        Bound on one move [K], above 0.

    Returns
    -------
    Made
        What the last look left of what was due then follows the last move at the soonest next look.
    """
    until_s, left, told = moved_s, 0.0, True
    if due is not None and due.changes <= changes:
        told, until_s = due.was_set(moved_s), due.at_s
        asked = sum(part.amount for part in wanted if part.at_s <= until_s + A_MINUTE_S)
        left = asked - due.set_by(moved_s)
    ahead = [part for part in wanted if until_s is None or part.at_s > until_s + A_MINUTE_S]
    gone = wanted[: len(wanted) - len(ahead)]
    by = sum(part.amount for part in gone) - left
    if gone and abs(left) > ROUNDING:
        soonest = gone[-1].at_s if moved_s is None else moved_s + SOONEST_LOOK_S
        undone = copysign(min(abs(left), abs(by)), left) if left * by < 0 else 0.0
        ahead = sorted(
            [Part(soonest, left, gone[-1].kind, back=undone), *ahead], key=lambda part: part.at_s
        )
    if gone and told and moved_by is not None:
        kept = beyond(ahead, moved_by, most)
        by += sum(part.amount for part in ahead) - sum(part.amount for part in kept)
        ahead = kept
    return Made(by, ahead)


def rounded(
    parts: Sequence[Part], setpoint: float, resolution: float, highest: float | None, most: float
) -> tuple[tuple[ScheduledStep, ...], bool]:
    """Steps that the panel accepts.

    Parameters
    ----------
    parts : sequence of Part
        In order of time.
    setpoint : float
        Setpoint before them [degC].
    resolution : float
        Smallest step the panel accepts [K], above 0.
    highest : float or None
        The grain's limit [degC].
    most : float
        Bound on one move [K], above 0; what takes a bridge back comes on top.

    Returns
    -------
    tuple
        The steps in order of time, and whether the grain's limit held one down. What rounding
        leaves is carried on to the next.
    """
    steps: list[ScheduledStep] = []
    exact = present = setpoint
    held_back = False
    for part in parts:
        exact += part.amount
        step = resolution * round((exact - present) / resolution)
        if abs(step) > most + abs(part.back) + ROUNDING:
            step = copysign(settable(most + abs(part.back), resolution), step)
        if highest is not None and step > 0 and present + step > highest + 1e-9:
            step = resolution * max(0.0, (highest - present + 1e-9) // resolution)
            held_back = True
        if abs(step) > 0.5 * resolution:
            present += step
            steps.append(ScheduledStep(part.at_s, step, present, part.kind))
    return tuple(steps), held_back
