"""Advice on the gain of the controller that holds the column temperature.

Makes of controller scale their gain differently, so the advice is a multiplier on the present
one. A swing tells by its decay ratio how far the gain stands from the limit of stability; a slow
creep back to the setpoint tells that it stands far below; a change of discharge rate changes all
times of the plant and the gain with them. One step is bounded, needs two looks that agree (or one
long, plain one), and needs a fresh trace after the step before it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from outfeed.limits import SENSIBLE, TRANSIT, Range
from outfeed.methods import DERIVED, Method
from outfeed.steering import outside, tuning
from outfeed.steering.collapse import CLIMB_LOOK_S, FAR_BELOW, Collapse, Low
from outfeed.steering.outside import GainStep, from_outside, outlived_a_cut, part_made
from outfeed.steering.trend import SENSOR_LOOK_S, Remark, Trend
from outfeed.steering.tuning import (
    DECAY_RATIO,
    INTEGRAL_ONLY,
    PI,
    PhysicalGain,
    Plant,
    internal_model_gain,
    known_controller,
    share_of_ultimate_gain,
)

__all__ = [
    "INTEGRAL_ONLY",
    "METHODS",
    "PI",
    "GainAdvice",
    "GainStep",
    "PhysicalGain",
    "Plant",
    "advise_gain",
    "internal_model_gain",
    "share_of_ultimate_gain",
    "throughput_multiplier",
]

TARGET_SHARE = 0.42  # of the ultimate gain; a decay ratio of 0.02 (PI) or 0.06
WELL_DAMPED = 0.25  # decay ratio: quarter damping, Ziegler and Nichols (1942)
LOWEST_STEP, HIGHEST_STEP = 0.4, 2.0
GENTLEST_CUT = 0.85
ORDINARY_RAISE = 1.5
# A creep that would close sooner is no sign of too little gain; one that takes longer is a strong
# one. In transits where the transit is known.
QUICK_TRANSITS, LONG_TRANSITS = 0.7, 2.0
QUICK_S, LONG_S = 3600.0, 2.0 * 3600.0
FAR = 0.3  # of the offset limit
# A creep is told from half a swing once the trace is longer than half the loop's usual period.
TRANSITS_TO_TELL = {PI: 1.0, INTEGRAL_ONLY: 1.3}
FEWEST_CYCLES = 1.3  # of a small swing
MOST_CYCLES_BACK = 4.0  # how far a small swing is followed back
CAME_FROM = 0.8  # of the swing limit
SURE = 0.7  # probability of a verdict that needs no second look
SURE_CYCLES = 1.7
# New readings of a second look: of the swing's period, or where none shows; chosen, no source.
NEW_PERIODS, NEW_S = 0.8, 1800.0
DOUBT = 0.15  # probability of a swing above which no gain is raised
COLLAPSED_LOOK_MIN = 5.0  # until the readings are looked at again; common practice, no source
SAME_TIME_S = 1.0  # rounding of a difference of date-times is far below it
RATE_CHANGE = 0.05  # a smaller change of rate changes nothing

# Period of a loop's own swing over the transit time, lowest and highest: 4 to 9 dead times (PI)
# and 7 to 23 (integral-only) of a sixth of the transit, a third either way allowed.
OWN_PERIOD = {PI: (0.4, 2.2), INTEGRAL_ONLY: (0.8, 5.0)}

NOT_THE_LOOP = "not-the-loop"  # as a reason for an advice
CUTS = ("too-lively", "between-two-steps", "confirm")  # reasons a swing may give

GAIN = Range("controller gain", 1e-4, 1e4, "", SENSIBLE)
RATE = Range("discharge rate", 1e-6, 1e6, "kg/s", SENSIBLE)

METHODS = (
    *tuning.METHODS,
    *outside.METHODS,
    Method(
        "steering.gain.throughput",
        "Integral action in proportion to the discharge rate",
        "all times of the plant scale with the transit time",
        DERIVED,
    ),
)


@dataclass(frozen=True, slots=True)
class GainAdvice:
    """What to do with the gain.

    Attributes
    ----------
    multiplier : float
        On the present gain [-], the integral time left as it is; one means leave it. Of an
        integral-only controller the gain is its integral action.
    integral_multiplier : float
        On the present integral action [-]; other than `multiplier` where a new discharge rate asks
        for another integral time of a PI controller and not for another proportional gain.
    gain : float
        The new gain, on the caller's own scale.
    reason : str
        Short code: "no-evidence-against", "too-lively", "too-slow", "throughput",
        "between-two-steps", "confirm", "wait", "output-at-limit", "not-the-loop", "one-value",
        "sensor-fault", "disturbed", "collapsed", "far-below".
    confirmed : bool
        Whether the evidence was seen twice, or plainly once.
    share_of_ultimate : float or None
        Present gain over the gain at which the loop would just keep swinging [-].
    look_again_minutes : float
        When to send the next trace [min].
    physical : PhysicalGain or None
        Tuning from the plant, when it is known.
    remarks : tuple of Remark
        What else to say: "throughput" with the factor a rate asks for; of a swing what shows that
        it is not the loop's own (`outfeed.steering.outside.Sign`, or "other-period" with its own,
        the shortest and the longest of such a loop [s]),
        "own-part" with the part of it that the output makes, or "may-be-outside"; of a trace that
        comes from as far below as after a start "from-far-below" with the distance [K].
    """

    multiplier: float
    integral_multiplier: float
    gain: float
    reason: str
    confirmed: bool
    share_of_ultimate: float | None
    look_again_minutes: float
    physical: PhysicalGain | None
    remarks: tuple[Remark, ...]

    @property
    def changes(self) -> bool:
        """Whether anything of the controller is to be changed."""
        return self.integral_multiplier != 1.0


def throughput_multiplier(rate: float, right_rate: float) -> float:
    """Factor on the integral action when the discharge rate has changed.

    All times of the plant scale with the transit, so the integral time falls as the rate rises; the
    proportional gain stays where the output acts in proportion to the present rate. An output that
    is an absolute speed does less at a higher rate: then the proportional gain takes it too.

    Parameters
    ----------
    rate : float
        Present discharge rate [kg/s].
    right_rate : float
        Rate at which the present gain was right [kg/s].

    Returns
    -------
    float
        Their ratio [-], not bounded.
    """
    return float(RATE.check(rate, "rate")) / float(RATE.check(right_rate, "right_rate"))


def advise_gain(
    trends: Trend | Sequence[Trend],
    present_gain: float = 1.0,
    *,
    controller: str = PI,
    rate: float | None = None,
    right_rate: float | None = None,
    transit: float | None = None,
    plant: Plant | None = None,
    output_unit: float = 1.0,
    history: Sequence[GainStep] = (),
) -> GainAdvice:
    """A multiplier on the present gain, with its reason.

    Parameters
    ----------
    trends : Trend or sequence of Trend
        The latest trend, after those before it (oldest first) at the same gain. One before it
        confirms it only if it ended about a period of the swing earlier, half an hour where none
        shows; of a distance that seems to last, if it has shrunk since. One that begins before the
        last change in `history` is left out.
    present_gain : float
        Gain on the controller's own scale, above zero.
    controller : str
        "pi" or "integral-only".
    rate, right_rate : float, optional
        Present discharge rate, and the rate at which the present gain was last right [kg/s].
    transit : float, optional
        Present transit time [s]; lets a swing that is not the loop's own be told apart.
    plant : Plant, optional
        For a physical gain beside the multiplier; where a trend knows what the output did, it tells
        a swing from outside as well, if its gain has its sign.
    output_unit : float
        Size of the plant's unit of output on the scale of the output in the trends, above zero.
    history : sequence of GainStep
        Earlier changes, oldest first, on the clock of the traces.

    Returns
    -------
    GainAdvice
        Multipliers between 0.4 and 2, one where nothing should be changed.

    Raises
    ------
    OutOfRange
        A gain, rate or time outside its range.
    UnknownName
        A controller kind that does not exist.
    """
    gain = float(GAIN.check(present_gain, "present_gain"))
    known_controller(controller)
    if transit is not None:
        TRANSIT.check(transit, "transit")
    looks = (trends,) if isinstance(trends, Trend) else tuple(trends)
    looks = _since_last_step(looks, history)
    scaled = plant and Plant(plant.gain / output_unit, plant.dead_time, plant.lag)
    sign = from_outside(looks[-1], history, scaled) if looks else None
    found = _judged(looks, controller, transit, history, foreign=sign is not None)
    multiplier, reason, share, confirmed = found
    integral = multiplier
    remarks = _remarks(looks, history, scaled, sign, reason)
    if reason == NOT_THE_LOOP and sign is None:
        own = (span * (transit or math.nan) for span in OWN_PERIOD[controller])
        remarks = (Remark("other-period", (looks[-1].period or math.nan, *own)),)
    if rate is not None and right_rate is not None:
        scheduled = throughput_multiplier(rate, right_rate)
        if reason == "no-evidence-against" and abs(scheduled - 1.0) > RATE_CHANGE:
            integral, reason = _bounded(scheduled), "throughput"
            multiplier = integral if controller == INTEGRAL_ONLY else 1.0
        remarks += (Remark("throughput", (scheduled,)),)
    return GainAdvice(
        multiplier=multiplier,
        integral_multiplier=integral,
        gain=gain * multiplier,
        reason=reason,
        confirmed=confirmed,
        share_of_ultimate=share,
        look_again_minutes=_look_again(looks, integral, reason, transit),
        physical=internal_model_gain(plant, controller) if plant else None,
        remarks=remarks,
    )


def _judged(
    looks: tuple[Trend, ...],
    controller: str,
    transit: float | None,
    history: Sequence[GainStep],
    *,
    foreign: bool,
) -> tuple[float, str, float | None, bool]:
    """Multiplier, reason, share of the ultimate gain and whether it is confirmed."""
    if not looks:
        return 1.0, "wait", None, False
    last = looks[-1]
    if last.collapsed:
        return 1.0, Collapse.reason, None, True
    direction = _direction(last, controller, transit)
    # So far below, a lost flame or a sensor is likelier than too little gain.
    far = last.stays_low or direction > 0 or (last.heats_up and direction == 0)
    if last.low is not None and far:
        return 1.0, Low.reason, None, True
    share = None
    own = _own_swing(last, controller, transit)  # one from elsewhere tells nothing of the gain
    if last.decay_ratio is not None and own and (_lively(last) or last.verdict == "calming"):
        seen = min(max(last.decay_ratio, DECAY_RATIO.low), DECAY_RATIO.high)
        share = share_of_ultimate_gain(seen, controller)
    if direction == 0:
        reason = _reason_to_leave(last, own=own)
        return 1.0, reason, share, reason != "wait"  # what cannot be judged was not seen at all
    if direction < 0 and foreign:
        return 1.0, NOT_THE_LOOP, None, True
    if not _confirmed(looks, direction, controller, transit):
        return 1.0, "confirm", share, False
    back = _halfway(direction, history)
    if direction > 0:
        wanted = _raise(last, transit)
        if back is not None and back <= wanted:
            return _bounded(back), "between-two-steps", share, True
        return _bounded(wanted), "too-slow", share, True
    gain = share or 1.0
    wanted = min(TARGET_SHARE / gain, GENTLEST_CUT)
    # Half the way back from too small a raise would leave the loop swinging, or growing.
    damped = share_of_ultimate_gain(WELL_DAMPED, controller) / gain
    if back is not None and wanted <= back <= damped:
        return _bounded(back), "between-two-steps", share, True
    return _bounded(wanted), "too-lively", share, True


def _remarks(
    looks: tuple[Trend, ...],
    history: Sequence[GainStep],
    plant: Plant | None,
    sign: outside.Sign | None,
    reason: str,
) -> tuple[Remark, ...]:
    """What tells whether a swing is the loop's own, and what a climb from far below tells not."""
    if reason == "wait" and looks and looks[-1].from_below >= FAR_BELOW:
        return (Remark("from-far-below", (looks[-1].from_below,)),)
    part = part_made(looks[-1], plant) if looks and plant else None
    told = () if part is None else (part,)
    if reason == NOT_THE_LOOP and sign is not None:
        return (Remark(sign, told if sign == "small-part" else ()),)
    if reason not in CUTS:
        return ()
    if told and sign is None:
        return (Remark("own-part", told),)
    return (Remark("may-be-outside"),) if outlived_a_cut(looks[-1], history) else ()


def _direction(trend: Trend, controller: str, transit: float | None) -> int:
    """-1 to cut, +1 to raise, 0 to leave."""
    if _lively(trend):
        return -1 if _own_swing(trend, controller, transit) else 0
    if _held(trend) or (trend.verdict != "drifting" and not _creeps_though_stuck(trend)):
        return 0
    chances = trend.probabilities
    swinging = chances["growing"] + chances["cycling"] + chances["calming"]
    if swinging > DOUBT or chances["too-short"] > 2.0 * DOUBT:
        return 0
    if trend.from_below >= FAR_BELOW:  # as after a start: not the gain holds it up
        return 0
    # A creep towards the setpoint, or a lasting distance from it, is a gain too low; a trace
    # that runs through the setpoint is not.
    # Where it is not sure that it moves, only a distance beyond the limit is one that lasts.
    far = abs(trend.offset) > (FAR if trend.moves else 1.0) * trend.limits.offset
    if _leaving(trend) or (transit and trend.span < TRANSITS_TO_TELL[controller] * transit):
        return 0
    quick = QUICK_TRANSITS * transit if transit else QUICK_S
    return 1 if far and _closing_time(trend) > quick else 0


def _lively(trend: Trend) -> bool:
    """Whether a swing, dying away or not, tells of too much gain."""
    if trend.decay_ratio is None or trend.amplitude is None:
        return False
    if trend.swings:
        return trend.decay_ratio > WELL_DAMPED
    if trend.verdict != "level" or trend.cycles_seen < FEWEST_CYCLES:
        return False
    # Level by now, but it came from a swing that was larger than the limit.
    turns = min(trend.cycles_seen, MOST_CYCLES_BACK)
    first = trend.amplitude / trend.decay_ratio**turns
    return trend.decay_ratio > WELL_DAMPED and first > CAME_FROM * trend.limits.swing


def _held(trend: Trend) -> bool:
    """Whether the output can go no further, so that no gain brings the temperature nearer."""
    return any(remark.code == "output-at-limit" for remark in trend.remarks)


def _arrives(trend: Trend) -> bool:
    """Whether it climbs to its setpoint from as far below as after a start."""
    return trend.from_below >= FAR_BELOW and trend.moves and trend.slope > 0.0 > trend.offset_now


def _creeps_though_stuck(trend: Trend) -> bool:
    """Whether what looks stuck does close in, so slowly that only the interval shows it."""
    closes = trend.moves and trend.offset * trend.slope < 0.0
    return trend.verdict == "stuck" and closes


def _leaving(trend: Trend) -> bool:
    """Whether the temperature is on its way out: a push from outside, or half a slow swing."""
    return trend.moves and trend.offset * trend.slope > 0.0


def _closing_time(trend: Trend) -> float:
    """Time in which a creep towards the setpoint would get there [s]; endless when it does not."""
    if trend.offset * trend.slope >= 0.0:
        return math.inf
    return abs(trend.offset) / max(abs(trend.slope), 1e-6) * 3600.0


def _own_swing(trend: Trend, controller: str, transit: float | None) -> bool:
    if transit is None or trend.period is None:
        return True
    low, high = OWN_PERIOD[controller]
    return low <= trend.period / transit <= high


def _reason_to_leave(trend: Trend, *, own: bool) -> str:
    if trend.swings and _lively(trend) and not own:
        return NOT_THE_LOOP
    if trend.one_value:
        return "one-value"
    reasons = {
        "stuck": "output-at-limit",
        "drifting": "output-at-limit" if _held(trend) and not _arrives(trend) else "wait",
        "sensor-fault": "sensor-fault",
        "disturbed": "disturbed",
        "too-short": "wait",
        "cycling": "wait",
        "growing": "wait",
    }
    return reasons.get(trend.verdict, "no-evidence-against")


def _confirmed(
    looks: tuple[Trend, ...], direction: int, controller: str, transit: float | None
) -> bool:
    last = looks[-1]
    earlier = _earlier_look(looks)
    if direction > 0 and not last.moves:
        return any(_came_nearer(look, last) for look in looks[:-1])
    if earlier is not None and _direction(earlier, controller, transit) == direction:
        return True
    if last.probabilities[last.verdict] < SURE:
        return False
    return direction > 0 or last.cycles_seen >= SURE_CYCLES or last.verdict == "growing"


def _came_nearer(earlier: Trend, last: Trend) -> bool:
    """Whether a distance that seems to last has shrunk since, as one that a load keeps up does not.

    A load that rises steadily holds a loop of any gain off its setpoint.
    """
    nearer = abs(earlier.offset) - abs(last.offset)
    closes = earlier.offset * last.offset > 0.0 and nearer > FAR * last.limits.offset
    return closes and last.window[1] - earlier.window[1] >= NEW_S


def _earlier_look(looks: tuple[Trend, ...]) -> Trend | None:
    """The latest look before the last that ended so much earlier that the last adds to it."""
    last = looks[-1]
    new = NEW_PERIODS * last.period if last.period else NEW_S
    ended = [look for look in looks[:-1] if last.window[1] - look.window[1] >= new]
    return ended[-1] if ended else None


def _raise(trend: Trend, transit: float | None) -> float:
    """How far to raise a gain that closes too slowly."""
    long = LONG_TRANSITS * transit if transit else LONG_S
    return HIGHEST_STEP if _closing_time(trend) > long else ORDINARY_RAISE


def _halfway(direction: int, history: Sequence[GainStep]) -> float | None:
    """Half of the last step back (in ratio) when the verdict has turned round."""
    if not history or (history[-1].multiplier - 1.0) * direction >= 0.0:
        return None
    return 1.0 / math.sqrt(history[-1].multiplier)


def _since_last_step(looks: tuple[Trend, ...], history: Sequence[GainStep]) -> tuple[Trend, ...]:
    if not history:
        return looks
    # Swings are told from the whole trace, not from its last two hours alone, so all of it counts.
    # What fell away is told from any trace: it is no matter of the gain before or after the step.
    return tuple(
        look
        for look in looks
        if look.began >= history[-1].time - SAME_TIME_S
        or (look is looks[-1] and look.fallen is not None)
    )


def _look_again(
    looks: tuple[Trend, ...], multiplier: float, reason: str, transit: float | None
) -> float:
    """Minutes until a trace can tell more.

    After a change two periods or two transits, at least two hours. Where the trend is too short it
    is the trend's own time; where a swing is to be seen once more, its period.
    """
    two_hours = 120.0
    if not looks:
        return two_hours
    last = looks[-1]
    if reason == Low.reason and last.heats_up:
        return CLIMB_LOOK_S / 60.0
    if reason in (Collapse.reason, Low.reason):
        return COLLAPSED_LOOK_MIN
    if reason in ("sensor-fault", "one-value"):
        return SENSOR_LOOK_S / 60.0
    period = last.period if last.swings or _lively(last) else None
    longest = max(period or 0.0, transit or 0.0) / 60.0
    if multiplier != 1.0:
        return max(two_hours, 2.0 * longest)
    if reason == "wait" and last.minutes_missing:
        return last.minutes_missing
    if reason == "confirm" and period:
        return max(period / 60.0, 30.0)
    if reason in ("wait", "confirm"):
        return max(longest, 30.0)
    return max(two_hours, longest)


def _bounded(multiplier: float) -> float:
    return min(max(multiplier, LOWEST_STEP), HIGHEST_STEP)
