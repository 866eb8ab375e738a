"""A known change ahead: when to move the setpoint, and what the discharge rate will do.

A setpoint belongs to an inlet moisture, a plenum temperature and a weather. When one of them is
known to change, the setpoint can be moved as the change reaches the column sensors instead of
after it has shown at the discharge. Wetter grain travels with the grain; a plenum or the weather
acts on the whole column at once and shows over the way from the inlet to the sensors.

Wetter grain needs a slower discharge while all of it is still above the sensors, which do not see
it yet. The controller slows down when they do: too late for the grain above them, too early for the
grain below. With sensors half way down the two balance, and one move is all: the setpoint comes
down as the grain reaches them, because wetter grain leaves drier at one column temperature. Below
the middle the front leaves the wetter the lower they lie: the setpoint is bridged up over the last
half of its way to them by a share of what grain already in the column gains at the slower rate.

Against the one move, by the distance of the discharge from the target (RMS over three transits;
lots of 1.5 and 3 points, slow and lively controllers), the bridge takes off 1 to 44 % on the
transient column (mixed and cross flow, sensors at 0.56 to 0.79 of the transit), on the whole 23 %;
on a plain plug-flow dryer with sensors at 0.6 to 0.8 it changes it by -44 to +26 %, on the whole by
-13 %. Half way down the latter half a bridge adds 3 to 17 % under a lively controller and takes off
2 to 10 % under a slow one, whose one move only pays for the grain after these three transits.

The sizes are finite differences of a column model at its published base point (mixed flow, corn
22 to 15.5 %): priors of a synthetic dryer, good for direction and rough size. `./task bench bridge`
prints them beside those of the library's own column, and the figures above.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import copysign, inf, log

import numpy as np

from outfeed.arrays import ArrayLike
from outfeed.errors import OutOfRange
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.steering.belief import Belief, new_belief
from outfeed.steering.chance import setpoint_per_inlet
from outfeed.steering.inlet_rate import (
    BASE_INLET,
    BASE_OUTLET,
    Drying,
    RateChange,
    RateSlope,
    rate_changes,
)
from outfeed.steering.moves import (
    ROUNDING,
    ChangeKind,
    Due,
    Part,
    ScheduledStep,
    made_since,
    not_before,
    not_there_and_back,
    rounded,
    settable,
    within,
)
from outfeed.steering.next_look import SOONEST_LOOK_S
from outfeed.steering.transport import Arrival, Reaches, by_transit

TEMPERATURE_CHANGE = Range("change of temperature", -60.0, 60.0, "K", SENSIBLE)

COLUMN_PER_RATE = -11.0 / 1.8
"""Kelvins of column temperature per unit of the logarithm of the rate."""

BRIDGE_FROM = 0.5
"""The bridge begins this share of the way to the sensors; chosen of 0.2 and 0.5, tried as above."""

MIDDLE, WHOLE_BRIDGE = 0.5, 0.7
"""Share of the transit from the top to the sensors up to which there is no bridge, and from which
the whole; the second chosen among 0.7 to 0.9, tried as above."""

LARGEST_BRIDGE = 3.0 / 1.8
"""Bound on the whole bridge [K], the usual bound on one step of the setpoint; chosen, no source."""

SETPOINT_PER_KELVIN = {
    "plenum-temperature": 0.40,
    "ambient-temperature": 0.12,
    "grain-temperature": 0.02,
}
"""Kelvins of setpoint per kelvin of change that keep the outlet; all plenums together; ambient at
one relative humidity, with the grain as cold as the air and the plenums held."""

RATE_PER_KELVIN = {
    "plenum-temperature": 0.0133,
    "ambient-temperature": 0.0029,
    "grain-temperature": 0.0056,
}
"""Share of the discharge rate per kelvin that goes with it."""

DOUBT_SHARE = 0.5
"""SD of these sizes as a share of them; chosen, no source."""

BEFORE_READINGS = new_belief(37.0, BASE_OUTLET, at_s=0.0, inlet_wb=BASE_INLET)
"""What is thought of wetter grain before any reading; the temperature does not matter."""

SEEN_S = SOONEST_LOOK_S
"""How long grain told by an inlet reading is planned for after it has reached the sensors [s], so
that who looks at that moment, as he is told to, still finds the move that takes its bridge back."""

WITH_THE_GRAIN = ("inlet-moisture", "grain-temperature")
"""Kinds of change that travel with the grain; the others act on the whole column at once."""

FEED_FORWARD = Method(
    "steering.feed-forward.column-model",
    "setpoint and rate that keep the outlet through a known change",
    "finite differences of the column model at its base point (mixed flow, corn, 22 to 15.5 %)",
    DERIVED,
    note="a synthetic dryer: good for direction and rough size, not a promise",
)
METHODS = (FEED_FORWARD,)


@dataclass(frozen=True, slots=True)
class KnownChange:
    """Something that is known to change.

    Attributes
    ----------
    kind : str
        "inlet-moisture" (grain as it enters), "plenum-temperature" (all plenums),
        "ambient-temperature" (air and grain, plenums held) or "grain-temperature".
    at_s : float
        When [s], on the caller's clock.
    amount : float
        By how much: moisture_wb [-] or temperature [K]; positive is wetter or warmer.
    share : float
        How much of the setpoint change that goes with it the present setpoint still lacks, 0 to 1
        [-].
    bridged : bool
        Whether there may be a bridge. Not for a lot that only inlet readings tell of: they err
        about when it began, and on simulated seasons it ended nearer to the target without one.
    """

    kind: ChangeKind
    at_s: float
    amount: float
    bridged: bool = True
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class ExpectedEffect:
    """What a known change does.

    Attributes
    ----------
    change : KnownChange
        Which.
    setpoint_change : float
        Change of setpoint that keeps the outlet [K], before rounding; 0 where `to_dry` is False.
    setpoint_sd : float
        Its standard deviation [K]: what is not known of wetter grain, or by `DOUBT_SHARE`.
    bridge : float
        Change of setpoint while the change is on its way to the sensors [K]; 0 for none.
    rate_change : float or None
        Share by which the discharge rate will change [-]; None where that cannot be told.
    at_sensors_s, at_discharge_s : float
        When it has reached the column sensors and the discharge [s].
    to_dry : bool
        False where grain before or after the change is known to be no wetter than the target.
    chance : float or None
        Chance that the setpoint has to go that way [-]; None where readings teach nothing of it.
    """

    change: KnownChange
    setpoint_change: float
    setpoint_sd: float
    bridge: float
    rate_change: float | None
    at_sensors_s: float
    at_discharge_s: float
    to_dry: bool = True
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A timed schedule.

    Attributes
    ----------
    steps : tuple of ScheduledStep
        In order of time; empty when rounding leaves nothing to set.
    effects : tuple of ExpectedEffect
        One a change, in order of time.
    held_back : bool
        Whether the grain's limit held a step down.
    shown : tuple of KnownChange
        Changes left out because readings show them already, in order of time.
    made : bool
        Whether some of it counts as set: told in `due`, or due by the last move of the setpoint.
    made_by : float
        By how much that moved the setpoint [K]: what readings from before the change know nothing
        of, and is no error of the setpoint.
    postponed : float
        What of the moves due now goes beyond the largest one and is planned for later [K].
    due : Due or None
        What has been set, for the next look; None where nothing is on its way.
    """

    steps: tuple[ScheduledStep, ...]
    effects: tuple[ExpectedEffect, ...]
    held_back: bool
    shown: tuple[KnownChange, ...] = ()
    made: bool = False
    made_by: float = 0.0
    postponed: float = 0.0
    due: Due | None = None


def still_coming(
    changes: Sequence[KnownChange],
    now_s: float,
    *,
    transit_s: float,
    lag_s: float,
    inlet_times_s: ArrayLike | None = None,
    reaches: Reaches | None = None,
) -> list[KnownChange]:
    """Changes that are still to be planned for, because no reading shows them yet.

    Readings show a change once it has passed the whole dryer, or one look after the first grain of
    it whose inlet moisture was read has reached the sensors: advice that learns from them would
    answer it twice.

    Parameters
    ----------
    changes : sequence of KnownChange
        What is known to change.
    now_s : float
        Time of asking [s].
    transit_s, lag_s : float
        Transit time, and lag from the sensors to the discharge [s].
    inlet_times_s : array_like, optional
        When inlet moistures were read [s], ascending, shape (n,).
    reaches : callable, optional
        When grain gets where; by transit and lag when left out.

    Returns
    -------
    list of KnownChange
        Those, in the order given.
    """
    arrives = reaches or by_transit(transit_s, lag_s)
    read_s = np.asarray(() if inlet_times_s is None else inlet_times_s, dtype=np.float64)

    def shows_at(change: KnownChange) -> float:
        if change.kind not in WITH_THE_GRAIN:
            return change.at_s + transit_s
        passed_s = arrives(change.at_s).at_discharge_s
        read = int(np.searchsorted(read_s, change.at_s))
        if change.kind != "inlet-moisture" or read == read_s.size:
            return passed_s
        return min(arrives(float(read_s[read])).at_sensors_s + SEEN_S, passed_s)

    return [one for one in changes if shows_at(one) > now_s]


def plan_changes(
    changes: Sequence[KnownChange],
    setpoint: float,
    *,
    transit_s: float,
    lag_s: float,
    resolution: float,
    belief: Belief | None = None,
    highest: float | None = None,
    drying: Drying | None = None,
    rate_slope: RateSlope | None = None,
    column_per_rate: float = COLUMN_PER_RATE,
    largest_step: float = LARGEST_BRIDGE,
    now_s: float | None = None,
    inlet_times_s: ArrayLike | None = None,
    moved_s: float | None = None,
    moved_by: float | None = None,
    largest_move: float | None = None,
    due: Due | None = None,
    reaches: Reaches | None = None,
    unread: bool = False,
) -> Plan:
    """Timed setpoints through known changes.

    Parameters
    ----------
    changes : sequence of KnownChange
        What is known to change.
    setpoint : float
        Setpoint before them [degC].
    transit_s, lag_s : float
        Transit time, and lag from the sensors to the discharge [s].
    resolution : float
        Smallest step the panel accepts [K], above 0.
    belief : Belief, optional
        What is known of this dryer; the column model's values when left out.
    highest : float, optional
        Highest column temperature the grain allows [degC].
    drying : Drying, optional
        Moistures before the changes; those of the base point when left out.
    rate_slope : RateSlope, optional
        How the rate answers inlet moisture; that of the base point when left out.
    column_per_rate : float
        Column temperature per unit of the logarithm of the rate [K]; below 0.
    largest_step : float
        Bound on the whole bridge [K].
    now_s : float, optional
        Time of asking [s]; what should have been moved before is moved now, and what readings
        show already (`still_coming`) is left out.
    inlet_times_s : array_like, optional
        When inlet moistures were read [s], ascending, shape (n,).
    moved_s : float, optional
        When the setpoint was last moved [s]; what was due by then counts as set, or every look at
        a change on its way would set it once more.
    moved_by : float, optional
        By how much it was moved then [K]: beyond the largest move, what follows counts as well.
    largest_move : float, optional
        Bound on one move [K]; what goes beyond it follows as `within` has it. None for no bound.
    due : Due, optional
        What the look before found due and set; without it the last move counts as all of it.
    reaches : callable, optional
        When grain that entered gets where; by transit and lag when left out.
    unread : bool
        Whether no discharge reading shows any change: with `due`, all are planned for then until
        all of it is set.

    Returns
    -------
    Plan
        Steps in order of time, and what each change does.

    Raises
    ------
    OutOfRange
        A change outside its range.
    """
    way = _Way(
        transit_s,
        max(0.0, transit_s - lag_s),
        reaches or by_transit(transit_s, lag_s),
        column_per_rate,
        largest_step,
    )
    ordered = sorted(changes, key=lambda change: change.at_s)
    coming = ordered
    if now_s is not None and not (unread and due is not None):
        coming = still_coming(
            ordered,
            now_s,
            transit_s=transit_s,
            lag_s=lag_s,
            inlet_times_s=inlet_times_s,
            reaches=way.reaches,
        )
    effects = _effects(coming, belief, drying, rate_slope, way)
    wanted = sorted(
        (part for effect in effects for part in _parts(effect, way)), key=lambda part: part.at_s
    )
    # held within the bound from the beginning: every look then finds the same moves at the same
    # times, and can tell which were due by the last one
    most = inf if largest_move is None else settable(largest_move, resolution)
    wanted = within(wanted, most)
    made = made_since(wanted, len(coming), moved_s, moved_by, due, most)
    ahead = made.ahead
    if now_s is not None:
        ahead = within(not_there_and_back(not_before(ahead, now_s)), most)
    steps, held_back = rounded(ahead, setpoint, resolution, highest, most)
    shown = tuple(one for one in ordered if one not in coming)
    begun = abs(made.by) > ROUNDING
    return Plan(steps, effects, held_back, shown, begun, made.by, due=due if effects else None)


@dataclass(frozen=True, slots=True)
class _Way:
    """What grain meets on its way down."""

    transit_s: float
    to_sensors: float
    reaches: Reaches
    column_per_rate: float
    largest_bridge: float

    @property
    def bridge_share(self) -> float:
        """Share of the bridge by where the sensors lie [-]."""
        below = self.to_sensors / self.transit_s - MIDDLE
        return min(max(below / (WHOLE_BRIDGE - MIDDLE), 0.0), 1.0)


def _effects(
    changes: Sequence[KnownChange],
    belief: Belief | None,
    drying: Drying | None,
    slope: RateSlope | None,
    way: _Way,
) -> tuple[ExpectedEffect, ...]:
    amounts = [change.amount for change in changes if change.kind == "inlet-moisture"]
    rates = iter(rate_changes(amounts, drying or Drying(BASE_INLET, BASE_OUTLET), slope))
    return tuple(
        _of_moisture(change, next(rates), belief, way, inlet_known=drying is not None)
        if change.kind == "inlet-moisture"
        else _of_temperature(change, way)
        for change in changes
    )


def _of_moisture(
    change: KnownChange, rate: RateChange, belief: Belief | None, way: _Way, *, inlet_known: bool
) -> ExpectedEffect:
    """Bridged until low sensors see it, but not where it is known to need no drying."""
    asked = setpoint_per_inlet(BEFORE_READINGS if belief is None else belief)
    to_dry = rate.to_dry or not inlet_known
    needed = change.share * change.amount if to_dry else 0.0
    setpoint = 0.0 + asked.size * needed  # never -0.0
    # the column that grain already inside it would show at the rate that is to come, as far as
    # one step may go; a rate past telling still has its direction
    bridge = copysign(way.largest_bridge, change.amount) if to_dry and change.amount else 0.0
    if rate.factor is not None:
        warmer = 0.0 + way.column_per_rate * log(rate.factor)
        bridge = min(max(warmer, -way.largest_bridge), way.largest_bridge)
    bridge = 0.0 + bridge * way.bridge_share if change.bridged else 0.0
    arrival = way.reaches(change.at_s)
    return ExpectedEffect(
        change,
        setpoint,
        asked.sd * abs(needed),
        bridge,
        rate.factor - 1.0 if rate.within and rate.factor is not None else None,
        arrival.at_sensors_s,
        arrival.at_discharge_s,
        to_dry,
        asked.chance if setpoint else None,
    )


def _of_temperature(change: KnownChange, way: _Way) -> ExpectedEffect:
    if change.kind not in SETPOINT_PER_KELVIN:
        raise OutOfRange("kind of change", 0.0, (0.0, 0.0), name="kind")
    TEMPERATURE_CHANGE.check(change.amount, "amount")
    setpoint = 0.0 + SETPOINT_PER_KELVIN[change.kind] * change.amount
    arrival = Arrival(change.at_s + way.to_sensors, change.at_s + way.transit_s)
    if change.kind in WITH_THE_GRAIN:
        arrival = way.reaches(change.at_s)
    return ExpectedEffect(
        change,
        setpoint,
        DOUBT_SHARE * abs(setpoint),
        0.0,
        0.0 + RATE_PER_KELVIN[change.kind] * change.amount,
        arrival.at_sensors_s,
        arrival.at_discharge_s,
    )


def _parts(effect: ExpectedEffect, way: _Way) -> list[Part]:
    """What to move when: with the grain, bridged until then; over the column in two halves."""
    change, amount, bridge = effect.change, effect.setpoint_change, effect.bridge
    if change.kind in WITH_THE_GRAIN:
        arrived = Part(effect.at_sensors_s, amount - bridge, change.kind, back=-bridge)
        if bridge == 0.0:
            return [arrived]
        from_s = change.at_s + BRIDGE_FROM * (effect.at_sensors_s - change.at_s)
        return [Part(from_s, bridge, change.kind, bridge=bridge), arrived]
    half = amount / 2
    return [
        Part(change.at_s, half, change.kind),
        Part(change.at_s + way.to_sensors, half, change.kind),
    ]
