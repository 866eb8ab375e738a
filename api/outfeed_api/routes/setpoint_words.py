"""Setpoint advice in words."""

from __future__ import annotations

from outfeed.errors import Inconsistent
from outfeed.limits import SPOKEN
from outfeed.steering import setpoint
from outfeed.steering.lag import LONGEST_GAP_S
from outfeed.steering.lag_doubt import WEIGHTS
from outfeed.steering.pairs import Pairs
from outfeed.steering.situation import as_moisture
from outfeed.steering.trend import Trend
from outfeed_api.moments import Clock
from outfeed_api.routes import setpoint_waiting as waiting
from outfeed_api.routes.setpoint_models import SetpointAdviceRequest
from outfeed_api.routes.trend_words import named, remark
from outfeed_api.units import QUANTITIES, UnitSystem, say
from outfeed_api.wording import moisture

PANEL_RESOLUTION = {"us": 1.0 / 1.8, "metric": 0.5}  # K; common practice, no source

IF_STOPPED = (
    "Nothing can be learned of the setpoint while no grain leaves. If column or exhaust "
    "temperature climbs meanwhile, treat it as a fire first."
)

LOWERED = "say when and from what, in `last_move` and `earlier_setpoint`"
INLET_UNSURE = (
    "Much of this doubt is error of the inlet readings: another reading of the grain that comes "
    "makes the advice surer."
)
# a held column temperature fixes the rate; less feed would only bare the top of a hot column
DRIER_AT_THE_LIMIT = (
    "; to dry further, lower the plenum temperatures, so that the discharge slows at the same "
    "column temperature, or dry the grain twice, and keep the column full"
)
IF_AGREED = " If one of later grain agrees with {}, it will be believed."
UNSURE = 0.005  # SD above which doubt, not noise, is what holds a move back; chosen
INLET_SHARE = 0.5  # of the expectation's SD; chosen, no source
UNLIKELY = 0.01  # weight of a lag that is not worth a word; chosen, no source
FITS_BETTER = 3.0  # times as likely as the lag that was told; chosen, no source
ROUNDING = 1e-9  # of a step, by the conversion of its unit
AFTER_THE_STOP = "judge by grain that came in after the stop"
KNOWN_CHANGE = "known-change"
CANCELLED = "what the readings ask for and what is known to change cancel each other"
BEGIN_ANEW = (
    "The move is for the moisture alone, on a column that is not known to be level; trend and gain "
    "advice begin anew with it. Where you see the column swing, see to the gain first."
)
ON_THE_AIM = 0.00005  # moisture, wet basis; less is 0.00 point as spoken
APART = (
    2.0  # K from the setpoint, about a point of moisture, that is worth a word; chosen, no source
)


def rules(request: SetpointAdviceRequest) -> setpoint.Rules:
    """How patient to be, with the caller's bounds and panel.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.

    Returns
    -------
    Rules
        The defaults, but for the largest step and the resolution of the panel.

    Raises
    ------
    Inconsistent
        A largest step that the panel cannot set.
    """
    found = setpoint.Rules(
        largest_step=request.max_step or setpoint.Rules().largest_step,
        resolution=request.resolution or PANEL_RESOLUTION[request.units],
    )
    if found.largest_step < found.resolution * (1.0 - ROUNDING):
        step = difference(found.resolution, request.units)
        raise Inconsistent(
            f"the largest step is smaller than the smallest that the panel accepts, {step}, so no "
            f"step could ever be set; give a finer `resolution` if it accepts one",
            "resolution" if request.max_step is None else "max_step",
        )
    return found


def decision(
    units: UnitSystem,
    clock: Clock,
    advice: setpoint.SetpointAdvice,
    situation: setpoint.Situation,
) -> str:
    """The decision in a sentence.

    Parameters
    ----------
    units : str
        "us" or "metric".
    clock : Clock
        Of the request; says times as they were given.
    advice : SetpointAdvice
        Hold, move or wait.
    situation : Situation
        What it was given for.

    Returns
    -------
    str
        What to do, why where that is not plain, and when to look again.
    """
    look = f"look again at {clock.say(advice.look_at_s)}"
    before = degrees(situation.setpoint, units)
    if advice.kind == "move":
        verb = "Raise" if advice.step > 0 else "Lower"
        step = difference(abs(advice.step), units)
        after = degrees(advice.setpoint, units)
        limit = situation.highest
        why = ""
        if limit is not None and situation.setpoint > limit and advice.step < 0:
            why = f", because the grain's limit is {degrees(limit, units)}"
            if advice.after_moisture_wb is not None:
                why += f", and expect grain of about {moisture(advice.after_moisture_wb)}"
        return f"{verb} the setpoint by {step}, from {before} to {after}{why}; {look}."
    if advice.kind == "hold" and {"error", KNOWN_CHANGE} <= set(advice.reasons):
        return f"Leave the setpoint at {before}: {CANCELLED}; {look}."
    if advice.kind == "hold":
        return f"Leave the setpoint at {before}; {look}."
    why = waiting.why(units, clock, advice.reasons, situation)
    return f"Decide nothing yet: leave the setpoint at {before}, {why}; {look}."


def stopped_decision(units: UnitSystem, present: float) -> str:
    """The decision while no grain leaves.

    Parameters
    ----------
    units : str
        "us" or "metric".
    present : float
        Present setpoint [degC].

    Returns
    -------
    str
        To leave the setpoint and keep watching.
    """
    return (
        f"Leave the setpoint at {degrees(present, units)} while the discharge stands still, and "
        f"keep watching column and exhaust temperature; ask again within five minutes."
    )


def notes(
    units: UnitSystem,
    advice: setpoint.SetpointAdvice,
    situation: setpoint.Situation,
    trend: Trend | None,
    pairs: Pairs,
    doubted: tuple[int, ...],
    cost: float | None,
    earlier_s: float,
) -> list[str]:
    """Plain sentences behind the decision.

    Parameters
    ----------
    units : str
        "us" or "metric".
    advice : SetpointAdvice
        The decision.
    situation : Situation
        What it was given for.
    trend : Trend or None
        Trend of the column; None while there is too little of it.
    pairs : Pairs
        Readings with what they belong to.
    doubted : tuple of int
        Positions in `pairs` of readings that were not believed, ascending.
    cost : float or None
        What the expected error costs [1/s].
    earlier_s : float
        Time of the last reading that an earlier belief had learned from [s].

    Returns
    -------
    list of str
        What is expected, why the decision follows, which readings were left out, and what would
        change the mind.
    """
    result = _expectation(advice, situation) + _not_there(units, advice, situation)
    result += _dry_note(situation)
    if advice.expected_sd is not None and situation.inlet_doubt > INLET_SHARE * advice.expected_sd:
        result.append(INLET_UNSURE)
    result += _after_note(units, advice, situation) + _lag_note(advice, situation)
    result += _reason_notes(units, advice, situation)
    if trend is not None:
        limit = trend.limits.slope / 3600.0
        since = "" if situation.last_move_s is None else " since the last move"
        result.append(
            f"Column trend{since}: {named(trend)}, slope "
            f"{say(trend.slope / 3600.0, 'temperature-rate', units, decimals=1)} "
            f"(95 % interval {say(trend.slope_low / 3600.0, 'temperature-rate', units)} to "
            f"{say(trend.slope_high / 3600.0, 'temperature-rate', units)}; level means within "
            f"{say(limit, 'temperature-rate', units, decimals=1)})."
        )
        if advice.kind == "move" and "error" in advice.reasons and trend.verdict != "level":
            result.append(BEGIN_ANEW)
        result += [remark(r, units) for r in trend.remarks if r.code == "last-reading-apart"]
        if trend.one_value:
            result.append(
                "Where every column temperature is the same, 'level' proves little: if the sensor "
                "does move, send its readings with one more digit."
            )
    stood = int(pairs.stood.sum())
    if stood:
        judge_by = "" if setpoint.STOOD in advice.reasons else f": {AFTER_THE_STOP}"
        result.append(
            f"{stood} of {pairs.found.size} readings are of grain that stood in the dryer and may "
            f"have dried on; they were not used{judge_by}."
        )
    unmatched = int((~pairs.found & ~pairs.stood & (pairs.times_s > earlier_s)).sum())
    if unmatched:
        result.append(
            f"{unmatched} of {pairs.found.size} readings belong to a time before the recorded "
            f"column temperatures, or between two of them more than {LONGEST_GAP_S / 60.0:.0f} "
            f"minutes apart, and were not used."
        )
    if doubted:
        several = len(doubted) > 1
        said = f"{len(doubted)} readings" if several else "A reading"
        spoken_against = pairs.found[doubted[-1] + 1 :].any()
        result.append(
            f"{said} far off the others {'were' if several else 'was'} doubted, not obeyed; take "
            f"another sample."
            + ("" if spoken_against else IF_AGREED.format("the last of them" if several else "it"))
        )
    if cost is not None and round(cost * 3600) and advice.expected_moisture_wb is not None:
        wet = advice.expected_moisture_wb > situation.target_wb
        result.append(
            f"Being too {'wet' if wet else 'dry'} costs about {cost * 3600:.0f} an hour, in the "
            "currency of your prices."
        )
    result += _mind_changers(advice)
    return result


def _expectation(advice: setpoint.SetpointAdvice, situation: setpoint.Situation) -> list[str]:
    expected, spread = advice.expected_moisture_wb, advice.expected_sd
    if expected is None or spread is None or advice.chance is None:
        return []
    error = expected - advice.aim_wb
    side = "wetter" if error > 0 else "drier"
    will = (
        f"The present setpoint will give about {moisture(expected)} (give or take "
        f"{_points(2 * spread)})"
    )
    if abs(error) < ON_THE_AIM:
        result = [f"{will}, which is the aim."]
    else:
        off = f"{_points(abs(error))} {side} than the aim of {moisture(advice.aim_wb)}"
        chance = (
            f"the chance that it is {side}, meter and lag included, is {percent(advice.chance)}"
        )
        result = [f"{will}, {off}; {chance}."]
    if abs(advice.aim_wb - situation.target_wb) >= SPOKEN:
        side = "below" if advice.aim_wb < situation.target_wb else "above"
        result.append(
            f"The aim lies {_points(abs(advice.aim_wb - situation.target_wb))} {side} the target "
            f"because too wet and too dry do not cost the same."
        )
    return result


def _not_there(
    units: UnitSystem, advice: setpoint.SetpointAdvice, situation: setpoint.Situation
) -> list[str]:
    """What leaves until the column stands where the expectation has it."""
    now = situation.column_now
    if advice.expected_moisture_wb is None or now is None:
        return []
    away = now - situation.setpoint
    if abs(away) < APART:
        return []
    side, leaves = ("above", "drier") if away > 0.0 else ("below", "wetter")
    stands = f"It stands {difference(abs(away), units)} {side} it now"
    there = "That is with the column at its setpoint."
    return [f"{there} {stands}: until it is there, expect {leaves} grain."]


def _dry_note(situation: setpoint.Situation) -> list[str]:
    """Grain that comes in as dry as it is to leave: one of the readings is wrong, or no drying."""
    inlet = situation.inlet_wb
    if inlet is None or inlet > situation.target_wb:
        return []
    came = f"By `inlet` the grain at the sensors came in at about {moisture(inlet)}"
    return [
        f"{came}, no wetter than the target: it needs no drying, or that is wrong; read it again."
    ]


def _after_note(
    units: UnitSystem, advice: setpoint.SetpointAdvice, situation: setpoint.Situation
) -> list[str]:
    """What the move is for; empty where the decision says it, or nobody knows."""
    after = advice.after_moisture_wb
    over = situation.highest is not None and situation.setpoint > situation.highest
    if advice.kind != "move" or after is None or over:
        return []
    at = degrees(advice.setpoint, units)
    return [f"At {at} expect about {moisture(after)}, once the grain dried at it leaves."]


def _lag_note(advice: setpoint.SetpointAdvice, situation: setpoint.Situation) -> list[str]:
    """Why a chance is not what the error and its spread alone would say."""
    expected, spread, lags = advice.expected_moisture_wb, advice.expected_sd, situation.lag_doubt
    if expected is None or spread is None or lags.sd <= spread:
        return []
    told = [
        f"for about {moisture(as_moisture(expected + lags.shifts[k]))} were it {way}"
        for k, way in ((0, "shorter"), (-1, "longer"))
        if lags.weights[k] > UNLIKELY
    ]
    likelier = [weight / before for weight, before in zip(lags.weights, WEIGHTS, strict=True)]
    best = likelier.index(max(likelier))
    fits = ""
    if likelier[best] > FITS_BETTER * likelier[1]:
        fits = f"; a {'shorter' if best == 0 else 'longer'} one fits them better"
    error = expected - advice.aim_wb
    likely = [lags.shifts[k] for k in (0, -1) if lags.weights[k] > UNLIKELY]
    hangs = "Much of that chance hangs"
    if abs(error) < ON_THE_AIM:
        hangs = "How sure that is hangs"
    elif all((error + shift) * error > 0.0 for shift in likely):
        hangs = "How far off that is hangs"
    note = (
        f"{hangs} on the lag: the readings would speak {', '.join(told)} than "
        f"told{fits}. Time it, and tell how well with `lag_uncertainty`."
    )
    return [note]


def _reason_notes(
    units: UnitSystem, advice: setpoint.SetpointAdvice, situation: setpoint.Situation
) -> list[str]:
    result = []
    reasons = advice.reasons
    if "inside-threshold" in reasons and advice.threshold is not None:
        unsure = (advice.expected_sd or 0.0) > UNSURE
        result.append(
            f"Errors under {_points(advice.threshold)} are left alone: "
            f"{'too little is known to act on less' if unsure else 'that would follow noise'}."
        )
    if "bounded" in reasons:
        wanted = difference(abs(advice.wanted_step), units)
        result.append(f"The whole way would be {wanted}; go no further at once, then look.")
    if setpoint.AWAY in reasons and situation.column_now is not None:
        result.append(waiting.IF_UNEXPLAINED[situation.column_now > situation.setpoint])
    if "too-small-to-set" in reasons:
        result.append("No step that the panel can set takes enough off this error to be worth it.")
    if situation.highest is not None and {"grain-limit", "at-grain-limit"} & set(reasons):
        too_wet = (advice.expected_moisture_wb or 0.0) > advice.aim_wb
        result.append(
            f"The grain's limit of {degrees(situation.highest, units)} holds the setpoint down"
            f"{DRIER_AT_THE_LIMIT * too_wet}."
        )
    return result


def _mind_changers(advice: setpoint.SetpointAdvice) -> list[str]:
    above, below = advice.move_above_wb, advice.move_below_wb
    if advice.kind == "move" or "inside-threshold" not in advice.reasons:
        return []
    up = [] if above is None else [f"a reading above {moisture(above)} would raise the setpoint"]
    down = [] if below is None else [f"one below {moisture(below)} would lower it"]
    if not up and below is not None:
        down = [f"a reading below {moisture(below)} would lower the setpoint"]
    return [f"At the next look {', '.join(up + down)}."] if up or down else []


def degrees(value: float, units: UnitSystem) -> str:
    """A temperature [degC] as a reader says it: no tenth where there is none."""
    return _short(say(value, "temperature", units, decimals=1))


def difference(value: float, units: UnitSystem) -> str:
    """A difference of temperatures [K], likewise."""
    return _short(say(value, "temperature-difference", units, decimals=1))


def _short(text: str) -> str:
    return text.replace(".0 ", " ")


def percent(chance: float) -> str:
    """A chance [-] as a reader says it, never as sure."""
    return f"{100 * chance:.0f} %" if chance < 0.99 else "over 99 %"


def _points(value: float) -> str:
    unit = QUANTITIES["points"].unit("us")
    number = f"{unit.from_si(value, 1.0):.2f}"
    return f"{number} point" if float(number) < 1.0 else f"{number} points"
