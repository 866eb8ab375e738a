"""Which grain setpoint advice is for, where another lot is in the dryer above it.

Such a lot is a known change whether or not anybody tells it: the log of inlet moistures does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from outfeed.steering.belief import Belief
from outfeed.steering.feedforward import SEEN_S, KnownChange
from outfeed.steering.inlet import InletLog
from outfeed.steering.next_look import SOONEST_LOOK_S
from outfeed.steering.pairs import Transport
from outfeed.steering.setpoint import SetpointAdvice, setpoint_table
from outfeed.steering.situation import Situation
from outfeed.steering.transport import Reaches


@dataclass(frozen=True, slots=True)
class LotAbove:
    """Logged grain that the advice is not for, because it has not come so far.

    Attributes
    ----------
    since_s : float
        When the first of it entered [s].
    at_sensors_s : float
        When that reaches the column sensors [s].
    inlet_wb : float
        Its inlet moisture, wet basis [-].
    setpoint : float
        Setpoint that belongs to it, not above the grain's limit [degC].
    """

    since_s: float
    at_sensors_s: float
    inlet_wb: float
    setpoint: float


def before_lot(situation: Situation, log: InletLog | None, transport: Transport) -> Situation:
    """The situation for the grain that has been at the sensors for a look's time.

    Parameters
    ----------
    situation : Situation
        For the grain that a move made now would act on.
    log : InletLog or None
        Smoothed inlet moistures.
    transport : Transport
        How grain gets through the dryer.

    Returns
    -------
    Situation
        The same without a log. A lot above that grain is planned for and no matter of readings,
        so that it is answered once.
    """
    if log is None:
        return situation
    now_s, seen = situation.now_s, 0
    # by the same arrival that plans for a lot, or one would count as seen here and coming there
    for k in range(log.times_s.size - 1, 0, -1):
        arrival = transport.reaches(float(log.times_s[k]), now_s)
        if arrival.at_sensors_s + SEEN_S <= now_s:
            seen = k
            break
    return replace(situation, inlet_wb=float(log.moistures_wb[seen]), passing_wb=None)


def lot_above(
    log: InletLog | None,
    belief: Belief | None,
    situation: Situation,
    *,
    reaches: Reaches,
    resolution: float,
) -> LotAbove | None:
    """The latest logged grain, if another setpoint belongs to it than to that of the advice.

    Parameters
    ----------
    log : InletLog or None
        Smoothed inlet moistures.
    belief : Belief or None
        What is known of the dryer.
    situation : Situation
        What the advice was given for.
    reaches : callable
        When grain that entered is at the sensors [s].
    resolution : float
        Smallest step the panel accepts [K]; setpoints nearer than that are one.

    Returns
    -------
    LotAbove or None
        None where the table has no other setpoint for it, or there is no table.
    """
    decided = situation.inlet_wb
    entered = 0 if log is None else int(np.searchsorted(log.times_s, situation.now_s, "right"))
    if log is None or belief is None or belief.reference_inlet_wb <= 0 or decided is None:
        return None
    if not entered:
        return None
    moistures = log.moistures_wb[:entered]
    last = float(moistures[-1])
    (here, _), (there, _) = setpoint_table(belief, situation, (decided, last))
    if abs(there - here) < resolution:
        return None
    # smoothed lots have soft edges: this one begins where the log is past halfway to it
    other = np.flatnonzero(np.abs(moistures - last) > np.abs(moistures - decided))
    since_s = float(log.times_s[other[-1] + 1 if other.size else 0])
    within = there if situation.highest is None else min(there, situation.highest)
    return LotAbove(since_s, reaches(since_s).at_sensors_s, last, within)


def as_change(
    lot: LotAbove | None,
    belief: Belief | None,
    situation: Situation,
    told: Sequence[KnownChange],
    *,
    resolution: float,
    before_moves: float | None = None,
) -> KnownChange | None:
    """The lot as a known change, less what was told of it and what the setpoint has of it already.

    The setpoint was left alone for the grain before, within what noise could be. Where it stands
    nearer to that of the lot than to that of the grain before, as after a short lot that nobody
    moved for, the whole way between the two would lead past it.

    Parameters
    ----------
    lot : LotAbove or None
        From `lot_above` for this belief and situation, so that another setpoint belongs to it.
    belief : Belief or None
        What is known of the dryer.
    situation : Situation
        What the advice is given for.
    told : sequence of KnownChange
        Changes told that readings do not show yet.
    resolution : float
        Smallest step the panel accepts [K]; what is left that is worth less is told.
    before_moves : float, optional
        Setpoint from which the moves for it are made [degC]; the whole way is asked for without.

    Returns
    -------
    KnownChange or None
        None without a lot, or where what was told makes it up; with a share of 0 where the
        setpoint does.
    """
    if lot is None or belief is None or situation.inlet_wb is None:
        return None
    above = [
        one.amount for one in told if one.kind == "inlet-moisture" and one.at_s <= situation.now_s
    ]
    amount = lot.inlet_wb - situation.inlet_wb - sum(above)
    if abs(belief.inlet_effect / belief.sensitivity * amount) < resolution:
        return None
    share = 1.0
    if before_moves is not None:
        moistures = (situation.inlet_wb, lot.inlet_wb)
        (here, _), (there, _) = setpoint_table(belief, situation, moistures)
        share = min(max((there - before_moves) / (there - here), 0.0), 1.0)
    return KnownChange("inlet-moisture", lot.since_s, amount, bridged=False, share=share)


def look_by(advice: SetpointAdvice, lot: LotAbove | None, now_s: float) -> SetpointAdvice:
    """The advice, to look again when the lot above reaches the sensors.

    Parameters
    ----------
    advice : SetpointAdvice
        For the grain before it.
    lot : LotAbove or None
        Grain that the advice is not for.
    now_s : float
        Time of asking [s].

    Returns
    -------
    SetpointAdvice
        With no later a look than that, nor one sooner than looks are worth.
    """
    if lot is None or lot.at_sensors_s <= now_s:
        return advice
    reached = max(lot.at_sensors_s, now_s + SOONEST_LOOK_S)
    return replace(advice, look_at_s=min(advice.look_at_s, reached))
