"""The trend in words."""

from __future__ import annotations

import math
from collections.abc import Callable

from outfeed.limits import BROKEN_OR_FIRE
from outfeed.steering.measure import TWO_HOURS_S
from outfeed.steering.oscillation import DYING, GROWING
from outfeed.steering.trend import Remark, Trend
from outfeed_api.routes import fire_words
from outfeed_api.units import UnitSystem, say
from outfeed_api.wording import lasting

NEARLY = 0.9  # of two hours: as good as two hours in words; chosen, no source
NOTHING_K = 0.05  # an offset that would read as 0.0
WORTH_SAYING = 0.15  # probability of a second word; chosen, no source
FROM_BEFORE = (
    "Readings from before a change of the gain show the swing of before: if it was changed in this "
    "time, send only what followed."
)
NO_TREND = (
    "No trend is judged beside it: that takes four readings at different times within seven days."
)
Numbers = tuple[float, ...]


def decision(trend: Trend, units: UnitSystem, look: str) -> str:
    """What it is and what to do, in a sentence or two.

    Parameters
    ----------
    trend : Trend
        The judgement.
    units : str
        Unit system of the reader.
    look : str
        When to look again, in words.

    Returns
    -------
    str
        The decision.
    """
    return f"{sentence(trend, units)} {_advice(trend, look)}"


def sentence(trend: Trend, units: UnitSystem) -> str:
    """What the trend is, without what to do about it.

    Parameters
    ----------
    trend : Trend
        The judgement.
    units : str
        Unit system of the reader.

    Returns
    -------
    str
        A sentence.
    """
    return _SENTENCES[trend.verdict](trend, units)


def notes(trend: Trend, units: UnitSystem) -> list[str]:
    """The numbers behind it, in sentences.

    Parameters
    ----------
    trend : Trend
        The judgement.
    units : str
        Unit system of the reader.

    Returns
    -------
    list of str
        Sentences.
    """
    chance = trend.probabilities[trend.verdict]
    evidence = (
        f"Over the {_window(trend)} the slope is {_rate(trend.slope, units)} (95 % interval "
        f"{_rate(trend.slope_low, units)} to {_rate(trend.slope_high, units)}) and the mean is "
        f"{_side(trend.offset, units)} the setpoint; level means within "
        f"{_rate(trend.limits.slope, units)} and {_difference(trend.limits.offset, units)}."
    )
    others = {word: p for word, p in trend.probabilities.items() if word != trend.verdict}
    next_word = max(others, key=others.__getitem__)
    next_chance = others[next_word]
    right = f"The chance that '{trend.verdict}' is the right word is {_sure(chance)}."
    still = trend.driven is not None and trend.driven.still
    before = [FROM_BEFORE] if trend.verdict in ("growing", "cycling") and not still else []
    if next_chance > chance:
        likelier = f"Likeliest is '{next_word}', {_percent(next_chance)}: not enough to rest on."
        rest = [likelier] if trend.verdict == "too-short" else [right, likelier]
        return [evidence, *rest, *before]
    result = [evidence, right]
    if next_chance > WORTH_SAYING:
        result.append(f"Next likeliest: {next_word}, {_percent(next_chance)}.")
    return result + before


def named(trend: Trend) -> str:
    """The trend in a word, or in a few where no word is sure enough.

    Parameters
    ----------
    trend : Trend
        The judgement.

    Returns
    -------
    str
        Words within a sentence.
    """
    return f"likeliest {_likeliest(trend)}, not surely" if trend.unsure else trend.verdict


def remark(found: Remark, units: UnitSystem) -> str:
    """One remark in words.

    Parameters
    ----------
    found : Remark
        Code and numbers.
    units : str
        Unit system of the reader.

    Returns
    -------
    str
        A sentence.
    """
    return REMARKS[found.code](found.numbers, units)


def _advice(trend: Trend, look: str) -> str:
    if trend.one_value:
        return (
            f"But every reading shows the same value, as a stopped sensor does: check that it "
            f"moves before you judge anything by it; look again at {look}."
        )
    if trend.verdict == "level":
        return (
            f"Moisture may be judged, once a transit has passed since the last change; look again "
            f"at {look}."
        )
    if trend.swings and trend.driven is not None and trend.driven.still:
        return (
            f"The output did not move meanwhile, so the swing comes from burner, feed or fan; "
            f"leave the setpoint, and look again at {look}."
        )
    if trend.verdict in ("growing", "cycling"):
        return f"Calm the controller before you touch the setpoint; look again at {look}."
    if trend.verdict == "stuck":
        return f"See what holds it: output at a limit, burner, feed; look again at {look}."
    if trend.verdict == "sensor-fault":
        return f"{fire_words.SENSOR_FIRST.capitalize()}. Look again at {look}."
    if trend.verdict == "too-short":
        return f"Judge nothing yet; look again at {look}, at these readings and new ones together."
    return f"Leave the setpoint for now, unless setpoint advice moves it; look again at {look}."


def _growing(trend: Trend, units: UnitSystem) -> str:
    return f"The swings grow{_swing(trend, units)}."


def _cycling(trend: Trend, units: UnitSystem) -> str:
    return f"The temperature keeps swinging{_swing(trend, units)}."


def _calming(trend: Trend, units: UnitSystem) -> str:
    return f"A swing is dying away{_swing(trend, units)}."


def _swing(trend: Trend, units: UnitSystem) -> str:
    if trend.amplitude is None or trend.period is None or trend.decay_ratio is None:
        return ""
    size = _difference(trend.amplitude, units)
    if size == _difference(0.0, units):
        return f": now less than {size.replace('0.0', '0.1')}"
    now = f": now +-{size} every {lasting(trend.period)}"
    if trend.verdict != _named_by_decay(trend.decay_ratio):
        return now  # the word rests on more than this figure, which would speak against it
    return f"{now}, each swing {trend.decay_ratio:.2f} times the one before"


def _named_by_decay(ratio: float) -> str:
    if ratio > math.exp(GROWING):
        return "growing"
    return "calming" if ratio < math.exp(DYING) else "cycling"


def _level(trend: Trend, units: UnitSystem) -> str:
    said = f"The temperature is level, {_side(trend.offset, units)} the setpoint"
    step = next((one.numbers[0] for one in trend.remarks if one.code == "coarse-readings"), 0.0)
    if step <= 2.0 * trend.limits.offset:
        return f"{said}."
    return f"{said}, as far as readings in steps of {_difference(step, units)} can tell."


def _drifting(trend: Trend, units: UnitSystem) -> str:
    side = _side(trend.offset, units)
    if not trend.moves:
        return (
            f"The temperature is not at rest: on average {side} the setpoint{_now(trend, units)}, "
            f"and which way it moves is not sure."
        )
    way = "up" if trend.slope > 0.0 else "down"
    pace = _rate(abs(trend.slope), units)
    return (
        f"The temperature drifts {way} at {pace}, on average {side} the setpoint"
        f"{_now(trend, units)}."
    )


def _stuck(trend: Trend, units: UnitSystem) -> str:
    side = _side(trend.offset, units)
    if not trend.moves:
        return f"The temperature stays {side} the setpoint and does not close in."
    pace = _rate(abs(trend.slope), units)
    if trend.offset * trend.slope > 0.0:
        return f"The temperature stands {side} the setpoint and moves away at {pace}."
    return f"The temperature stands {side} the setpoint and closes in at {pace}."


def _disturbed(trend: Trend, units: UnitSystem) -> str:
    return (
        f"Something pushed the temperature away and it has not settled; over the {_window(trend)} "
        f"it averages {_side(trend.offset, units)} the setpoint{_now(trend, units)}."
    )


def _now(trend: Trend, units: UnitSystem) -> str:
    """Where it stands now, if that is not where it was on average."""
    apart = abs(trend.offset_now - trend.offset) > trend.limits.offset
    return f", now {_side(trend.offset_now, units)} it" if apart else ""


def _too_short(trend: Trend, _units: UnitSystem) -> str:
    if trend.unsure:
        chance = _percent(max(trend.probabilities.values()))
        return (
            f"Likeliest the trend is '{_likeliest(trend)}' ({chance}), but a swing or a drift is "
            f"not ruled out: watch about {lasting(60.0 * trend.minutes_missing)} more."
        )
    return f"Too short to judge: watch about {lasting(60.0 * trend.minutes_missing)} more."


def _sensor(trend: Trend, _units: UnitSystem) -> str:
    frozen = trend.cleaned.frozen_seconds
    if frozen > 60.0:
        return f"The sensor has given one and the same reading for {lasting(frozen)}."
    return f"Most readings are impossible: {BROKEN_OR_FIRE}."


_SENTENCES: dict[str, Callable[[Trend, UnitSystem], str]] = {
    "level": _level,
    "drifting": _drifting,
    "calming": _calming,
    "cycling": _cycling,
    "growing": _growing,
    "stuck": _stuck,
    "disturbed": _disturbed,
    "too-short": _too_short,
    "sensor-fault": _sensor,
}


def _likeliest(trend: Trend) -> str:
    return max(trend.probabilities, key=trend.probabilities.__getitem__)


def _not_sure(numbers: Numbers, _units: UnitSystem) -> str:
    return (
        f"The trace is long enough, but what is likeliest ({_percent(numbers[0])}) is not sure "
        f"enough to rest on."
    )


def _small_swing(numbers: Numbers, units: UnitSystem) -> str:
    return (
        f"A regular swing of +-{_difference(numbers[0], units)} every {lasting(numbers[1])} rides "
        f"on it."
    )


def _creep(numbers: Numbers, units: UnitSystem) -> str:
    return f"It creeps {_rate(numbers[0], units)}, less than matters yet."


def _at_limit(numbers: Numbers, _units: UnitSystem) -> str:
    share, told = numbers
    if told:
        return (
            f"The output stood at its limit {_percent(share)} of the time: no gain can help while "
            f"it does."
        )
    return (
        f"The output stood at its highest or lowest value {_percent(share)} of the time: if that "
        f"is its limit, or it is held by hand, no gain can help. Send its limits to tell."
    )


def _wrong_way(numbers: Numbers, _units: UnitSystem) -> str:
    end, side = ("highest", "below") if numbers[0] else ("lowest", "above")
    return (
        f"The output stood at its {end} while the temperature was {side} its setpoint; more "
        f"discharge cools the column. Check that the controller acts the right way round and is "
        f"not held by hand."
    )


def _moved(numbers: Numbers, _units: UnitSystem) -> str:
    return f"Only what follows the setpoint's last move can be judged: {_time(numbers[0])}."


def _after_gap(numbers: Numbers, _units: UnitSystem) -> str:
    return f"Only what follows the last long gap can be judged: {_time(numbers[0])}."


def _of_long(numbers: Numbers, _units: UnitSystem) -> str:
    return f"Of so long a trace only the last {numbers[0] / 3600.0:.0f} hours were judged."


def _coarse(numbers: Numbers, units: UnitSystem) -> str:
    return f"The readings come in steps of {_difference(numbers[0], units)}: coarse for this job."


def _one_value(numbers: Numbers, _units: UnitSystem) -> str:
    return (
        f"All readings of {lasting(numbers[0])} are one value: a stopped sensor and a "
        f"level column that is read coarsely look alike. Check that the sensor moves."
    )


def _apart(numbers: Numbers, units: UnitSystem) -> str:
    side = "above" if numbers[0] > 0.0 else "below"
    return (
        f"The last reading stands {_difference(abs(numbers[0]), units)} {side} the one before it "
        f"and was set aside: it may be a spike or the beginning of something, so read again soon."
    )


def _gaps(numbers: Numbers, _units: UnitSystem) -> str:
    ending = "" if numbers[0] == 1.0 else "s"
    return f"{numbers[0]:.0f} gap{ending}, {_time(numbers[1])} in all."


def _frozen(numbers: Numbers, _units: UnitSystem) -> str:
    return f"The sensor did not answer for {_time(numbers[0])}."


def _answers_again(numbers: Numbers, _units: UnitSystem) -> str:
    return (
        f"The sensor stood for {_time(numbers[0])} and answers again: only what followed can be "
        f"judged, {_time(numbers[1])}. See why it stood."
    )


def _sluggish(numbers: Numbers, _units: UnitSystem) -> str:
    return f"Idle index {numbers[0]:.2f}: the controller follows slowly."


REMARKS: dict[str, Callable[[Numbers, UnitSystem], str]] = {
    "not-sure": _not_sure,
    "small-swing": _small_swing,
    "slow-creep": _creep,
    "output-at-limit": _at_limit,
    "output-wrong-way": _wrong_way,
    "setpoint-changed": _moved,
    "long-gap": _after_gap,
    "long-trace": _of_long,
    "coarse-readings": _coarse,
    "one-value": _one_value,
    "last-reading-apart": _apart,
    "gaps": _gaps,
    "frozen": _frozen,
    "answers-again": _answers_again,
    "sluggish": _sluggish,
}


def _rate(kelvin_per_hour: float, units: UnitSystem) -> str:
    return say(kelvin_per_hour / 3600.0, "temperature-rate", units, decimals=2)


def _difference(kelvin: float, units: UnitSystem) -> str:
    return say(kelvin, "temperature-difference", units, decimals=1)


def _side(offset: float, units: UnitSystem) -> str:
    if abs(offset) < NOTHING_K:
        return "at"
    return f"{_difference(abs(offset), units)} {'above' if offset > 0.0 else 'below'}"


def _sure(chance: float) -> str:
    """A chance that never reads as certainty."""
    return _percent(chance) if chance < 0.99 else "over 99 %"


def _window(trend: Trend) -> str:
    seconds = trend.window[1] - trend.window[0]
    if NEARLY * TWO_HOURS_S < seconds <= TWO_HOURS_S:
        return "last two hours"
    return f"last {_time(max(seconds, 60.0))}"


def _time(seconds: float) -> str:
    return "less than a minute" if seconds < 30.0 else lasting(seconds)


def _percent(chance: float) -> str:
    return f"{100.0 * chance:.0f} %"
