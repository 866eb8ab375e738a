"""The meter check in words."""

from __future__ import annotations

from math import inf

from outfeed.steering import meter, meter_corrections, meter_doubt, meter_plan, outliers
from outfeed.steering.meter_pairing import DRIEST
from outfeed_api.models import Assumed, AssumedQuantity

RESOLUTION = 0.001  # a tenth of a point, what displays usually show: common practice, no source
TOLERANCE = (
    0.002  # two tenths of a point, what an operator is usually content with: common practice
)

FAR_OFF = {
    outliers.DIXON.id: "its gap to the next reading is {:.2f} of the whole range, and chance "
    "seldom makes that more than {:.2f}",
    outliers.GRUBBS.id: "it lies {:.2f} standard deviations from the mean, and chance seldom "
    "makes that more than {:.2f}",
}

TENTH = 0.00095  # from here on a correction said in tenths of a point is not nought

TOLD = (1, 3)  # readings of each sample for which the samples are said

MOST_SPOKEN = 3  # readings left out that get a sentence of their own


ONCE = (
    "Apply it once: set it in the meter, or send it as `meter_offset` with setpoint advice. Once "
    "it is set in the meter, add it to readings from before and to `level` of a belief passed back."
)


SECOND = (
    "With the second check send `whole_offset` of this one in `earlier_offsets`, and "
    "`present_offset`: where they agree the offset is advised."
)

FAR_REBOUND = 0.03  # difference of hot and rested grain that its heat does not explain; chosen
SCATTERED_PAIRS = (
    "The difference of the meters changes from sample to sample {:.1f} times as much as is usual: "
    "look whether each pair is of the same grain, the meter a transit's shift from the sample."
)

ALIKE = (
    "These samples are as like each other as readings of one. If they are one sample read again "
    "and again, send them as readings of one sample: only samples taken apart make the offset "
    "surer."
)

WILD = 2.0  # of the usual scatter: two readings exceed it once in twenty times by chance; chosen


def decision(found: meter.MeterCheck, tolerance: float, present: float | None) -> str:
    """The decision in a sentence or two.

    Parameters
    ----------
    found : MeterCheck
        What the check showed.
    tolerance : float
        Half-width one is content with [-].
    present : float or None
        Offset that is set in the meter [-]; None where nobody says.

    Returns
    -------
    str
        By how much to change the meter's offset, if at all, and why.
    """
    told = found.pooled or found
    size, half = _points(abs(told.offset)), _points(told.half_width)
    side = _side(told.offset)
    beside = "" if found.pooled is None else f"with {_checks(found.pooled.checks)} "
    if found.pairing == "broken":
        return _broken(found)
    if to_read_again(found):
        return _to_read_again(found)
    if _awaits_second(found):
        return (
            f"Before you set anything: the reference reads {size} {side}, far more than meters "
            f"usually are off. Make sure that the meter works and that both read the same grain, "
            f"rested, on the same basis{_if_second(found, present)}."
        )
    if found.verdict == "apply":
        change = _change(found.advised, present)
        far = ", far more than meters usually are off" if found.pairing == "doubted" else ""
        return (
            f"{change[0].upper()}{change[1:]}: {beside}the reference reads {size} {side}{far}, "
            f"give or take {half}."
        )
    if found.verdict == "apply-shrunken":
        return (
            f"Uncertain: {beside}the reference reads {size} {side}, give or take {half}. If you "
            f"change anything, {_change(found.advised, present)}; {_better(found, tolerance)}."
        )
    if found.readings < 2:
        return f"Set no offset on one reading; {_better(found, tolerance)}."
    total = found.doubt.total if found.pooled is None else found.pooled.total
    smaller = "smaller" if _points(total) != size else "no larger"
    return (
        f"Leave the meter as it is: {beside}the difference of {size} is {smaller} than its own "
        f"uncertainty of {_points(total)}; {_better(found, tolerance)}."
    )


def far_off(found: meter.MeterCheck) -> bool:
    """Whether the meters stand so far apart that a second check has to agree first.

    Parameters
    ----------
    found : MeterCheck
        What the check showed.

    Returns
    -------
    bool
        False where an earlier check agrees.
    """
    return found.pairing == "doubted" and found.pooled is None


def to_read_again(found: meter.MeterCheck) -> bool:
    """Whether some of the readings have to be taken again before any of them tells something.

    Parameters
    ----------
    found : MeterCheck
        What the check showed.

    Returns
    -------
    bool
        True for one sample unlike the others, or readings of one sample far apart.
    """
    return found.pairs.reason in ("odd-sample", "scattered-readings")


def plannable(found: meter.MeterCheck) -> bool:
    """Whether more samples like these would help.

    Parameters
    ----------
    found : MeterCheck
        What the check showed.

    Returns
    -------
    bool
        False where they have to be taken otherwise.
    """
    return found.pairs.reason in (None, "large-offset")


def _broken(found: meter.MeterCheck) -> str:
    """Why the pairs bring no offset."""
    pairs = found.pairs
    if pairs.reason == "no-grain-so-dry":
        sent = "readings are sent in percent, 15.5 and not 0.155."
        if pairs.reference[1] < DRIEST and pairs.meter[1] < DRIEST:
            return f"Set no offset: all of this is below 1 %, and no grain is so dry: {sent}"
        one = "the meter" if pairs.meter[1] < DRIEST else "the reference"
        return (
            f"Set no offset: {one} reads below 1 %, and no grain is so dry. Make sure that the "
            f"meter works, and that {sent}"
        )
    if pairs.reason == "meter-stands-still":
        return (
            f"Set no offset, for the meter stands still: it shows {_span(pairs.meter)} for grain "
            f"that the reference reads at {_span(pairs.reference)}. See that it works, that grain "
            f"moves past it and that its readings are of the time of each sample; then check again."
        )
    if pairs.reason == "reference-stands-still":
        return (
            f"Set no offset: the reference reads {_span(pairs.reference)} for grain that the meter "
            f"shows at {_span(pairs.meter)}. See that each sample was taken from the stream while "
            f"the meter showed what stands beside it; then check again."
        )
    return (
        f"Set no offset: where the meter reads higher the reference reads lower, and they are "
        f"{_points(abs(found.offset))} apart, so these readings are not of the same grain. Pair "
        f"them again, the meter a transit's shift from the sample, and check once more."
    )


def _to_read_again(found: meter.MeterCheck) -> str:
    """What has to be read again."""
    pairs = found.pairs
    if pairs.sample is None:
        return (
            f"Before you set anything: readings of one sample scatter by {_points(found.sd or 0.0)}"
            f", one standard deviation, too far for readings of the same grain. Mix the sample "
            f"well, read it again and check what was written down."
        )
    others = round(pairs.others, 4)
    return (
        f"Before you set anything: in sample {pairs.sample + 1} the reference reads "
        f"{_points(abs(pairs.apart))} {_side(pairs.apart)}, in the others on the mean "
        f"{_points(abs(pairs.others)) + ' ' + _side(pairs.others) if others else 'the same'}. Make "
        f"sure that this pair is of the same grain; read it again, or leave it out and ask again."
    )


def _side(offset: float) -> str:
    return "wetter" if offset > 0 else "drier"


def _span(ends: tuple[float, float]) -> str:
    low, high = (f"{end * 100:.1f}" for end in ends)
    return f"{low} %" if low == high else f"{low} to {high} %"


def _awaits_second(found: meter.MeterCheck) -> bool:
    """Whether an offset would be advised, were it not so large."""
    large = far_off(found) and not to_read_again(found)
    return large and found.readings > 1 and abs(found.offset) > found.doubt.total


def _if_second(found: meter.MeterCheck, present: float | None) -> str:
    if not meter.OFFSET.contains(found.offset):
        return ""  # no meter takes such an offset
    return f"; only if a second check agrees {_change(found.offset, present)}"


def _checks(count: int) -> str:
    return f"{count} earlier check{'s' if count != 1 else ''}"


def _change(by: float, present: float | None) -> str:
    """What to do with the meter's offset, true whatever is set in it already."""
    way = "raise" if by > 0 else "lower"
    said = f"{way} the meter's offset by {_step(abs(by))}"
    if present is None:
        return said
    rounded = round(by, 3 if abs(by) >= TENTH else 4)  # as it was just said
    return f"{said}, from {_set(present)} to {_set(present + rounded)}"


def _set(value: float) -> str:
    """An offset as it is set, hundredths only where it has them."""
    said = f"{value * 100:+.2f}" if value else "0.00"
    return f"{said.removesuffix('0')} point"


def line_decision(
    found: meter.MeterCheck, intercept: float, slope: float, between: tuple[float, float]
) -> str:
    """The decision where one offset does not fit all moistures."""
    low, high = between
    first = (
        "Make sure that both meters read the same grain, for they are far apart. Then: set"
        if far_off(found)
        else "Set"
    )
    ends = " and ".join(
        f"a reading of {at * 100:.1f} % means {(intercept + slope * at) * 100:.1f} %"
        for at in (low, high)
    )
    return (
        f"{first} no single offset: use the line, {slope:.3f} times the meter's reading "
        f"{'plus' if intercept >= 0 else 'less'} {_points(abs(intercept))}, between "
        f"{low * 100:.1f} and {high * 100:.1f} %: {ends}."
    )


def assumed(
    reference: str,
    bias: float,
    found: meter.MeterCheck,
    *,
    has_spread: bool,
    stated: bool,
    has_present: bool,
) -> list[Assumed]:
    """What the answer had to fill in."""
    result: list[Assumed] = []
    if not has_present:
        result.append(
            AssumedQuantity(
                input="present_offset",
                quantity="points",
                value=0.0,
                why="no offset that is set in the meter was told, so `whole_offset` counts none",
                source="choice",
            )
        )
    if not stated:
        why = {
            "buyer": "the meter you are paid by counts as right; its own error is not in the doubt",
            "oven": "the oven's share of the variance in the study",
            "licensed": "tolerance of a licensed meter, taken as uniform",
        }[reference]
        source = {
            "buyer": "choice of the reference",
            "oven": "Hurburgh, Hazen and Bern (1985), Transactions of the ASAE 28, 634-640",
            "licensed": "NIST Handbook 44, 5.56(a), recalled",
        }[reference]
        result.append(
            AssumedQuantity(
                input="reference_uncertainty", quantity="points", value=bias, why=why, source=source
            )
        )
    result.append(
        AssumedQuantity(
            input="sample spread",
            quantity="points",
            value=found.doubt.sample_sd,
            why="SD from sample to sample, the study's share moved by what your samples show",
            source="Hurburgh, Hazen and Bern (1985), Transactions of the ASAE 28, 634-640",
        )
    )
    if not has_spread:
        result.append(
            AssumedQuantity(
                input="reading spread",
                quantity="points",
                value=found.doubt.repeat_sd,
                why="SD of repeated readings, the study's share pooled with your own readings",
                source="Hurburgh, Hazen and Bern (1985), Transactions of the ASAE 28, 634-640",
            )
        )
    return result


def notes(
    found: meter.MeterCheck,
    rebound: meter_corrections.Rebound | None,
    moisture: float,
    *,
    reference: str,
    drifting: bool,
    unused: bool,
    slope: float | None,
    tolerance: float,
    curve: float | None,
    usual_sd: float,
    reference_tolerance: float,
) -> list[str]:
    """Plain sentences to act on."""
    result = []
    result += [_left_out(one) for one in found.dropped[:MOST_SPOKEN]]
    if len(found.dropped) > MOST_SPOKEN:
        result.append(f"{len(found.dropped)} readings were left out in all; see `dropped`.")
    if found.sd is not None and found.sd > WILD * usual_sd:
        result.append(
            f"Readings of one sample scatter by {_points(found.sd)}, one standard deviation; "
            f"{_points(usual_sd)} is usual: mix the sample well and read it again."
        )
    if found.pairs.scatter > WILD and found.pairs.reason is None and slope is None:
        result.append(SCATTERED_PAIRS.format(found.pairs.scatter))
    if found.pairs.alike:
        result.append(ALIKE)
    if plannable(found) and slope is None and not _content(found, tolerance):
        result.append(_planned(found, tolerance))
    if found.advised and slope is None:
        result.append(ONCE)
    if slope is None and _awaits_second(found) and meter.OFFSET.contains(found.offset):
        result.append(SECOND)
    if unused:
        result.append(
            "The earlier checks did not count beside this one: tell `present_offset`, 0 where none "
            "is set in the meter, and they do."
        )
    if found.moved_by is not None:
        result.append(
            f"This check stands {_points(abs(found.moved_by))} from those before it, more than "
            f"chance brings it, so only this one counts: the meter has moved, or these readings "
            f"are not of the same grain. Check once more."
        )
    result.append(
        "Compare the same grain: take the meter's average over the minutes in which the sample "
        "passed, and never pair hot grain with rested grain."
    )
    if rebound is not None:
        result.append(_rebound(rebound))
    if curve:
        result.append(
            f"At this grain temperature the meter's curve adds {_signed(curve)}. The offset was "
            f"found from the readings as you sent them: if the curve was not in them, the offset "
            f"holds it already; send them with it before you apply both."
        )
    if moisture > meter_corrections.WETTEST_FOR_METER:
        result.append("Above 25 % moisture meter readings are only estimates.")
    if drifting:
        result.append("The offset drifts from check to check: have the meter serviced.")
    if slope is not None:
        result.append(
            f"One offset does not fit all moistures: the reference rises {slope:.2f} point for "
            f"each point of the meter. Use the line, and not beyond these samples. With setpoint "
            f"advice send the readings as the line gives them, and no `meter_offset`."
        )
    if reference != "oven":
        result.append(
            f"A licensed meter may itself be off by {_points(reference_tolerance)} at this "
            f"moisture."
        )
    return result


def _rebound(found: meter_corrections.Rebound) -> str:
    size = _points(abs(found.correction))
    rested = "" if found.rested_enough else " It was sealed for less than 12 h: test again."
    if abs(found.correction) < found.uncertainty:
        return (
            f"Hot and rested grain read alike: {size} apart, less than its own uncertainty of "
            f"{_points(found.uncertainty)}, so add nothing for heat.{rested}"
        )
    way = "low" if found.correction > 0 else "high"
    if abs(found.correction) > FAR_REBOUND:
        return (
            f"Hot grain reads {size} {way}, far more than its heat makes of it: make sure that "
            f"both readings are of one sample, sealed tight, and test another before you add "
            f"anything."
        )
    return (
        f"Hot grain reads {size} {way}: add {_signed(found.correction)} to readings of grain as "
        f"hot.{rested}"
    )


def _left_out(dropped: meter.Dropped) -> str:
    test = dropped.test
    return (
        f"The {dropped.of} reading of "
        f"{dropped.value * 100:.1f} % in sample {dropped.sample + 1} was left out: "
        f"{FAR_OFF[test.method.id].format(test.statistic, test.critical)} "
        f"({test.method.source}). Look for a reason."
    )


def _planned(found: meter.MeterCheck, tolerance: float) -> str:
    """How many samples make it as sure as is wanted, read once or three times."""
    ways: dict[float, list[int]] = {}
    for row in meter_plan.plan_check(found, tolerance):
        if row.readings in TOLD:
            ways.setdefault(row.half_width, []).append(row.samples)
    if not ways:
        halved = found.more_samples
        also = "" if halved is None else f"; {_samples(halved, 'more ')} would halve the doubt"
        why = _unreachable(found, tolerance)
        return f"No number of samples brings it within {_points(tolerance)}: {why}{also}."
    said = "; ".join(f"{_points(half)} takes {_either(counts)}" for half, counts in ways.items())
    return f"{'G' if found.pooled is None else 'Without the earlier checks, g'}ive or take {said}."


def _either(counts: list[int]) -> str:
    once, thrice = counts[0], counts[-1]
    if once == thrice:
        return f"{_samples(once)} in all, and more than one reading of each saves none"
    return f"{_samples(once)} in all, read once each, or {thrice} read three times each"


def _unreachable(found: meter.MeterCheck, tolerance: float) -> str:
    if meter_doubt.half_width_of([(found.doubt.bias, inf)]) >= tolerance:
        return "only a better reference would"
    return "a thousand would not"


def _samples(count: int, more: str = "") -> str:
    return f"{count} {more}sample{'s' if count != 1 else ''}"


def _content(found: meter.MeterCheck, tolerance: float) -> bool:
    return found.readings > 1 and (found.pooled or found).half_width <= tolerance


def _better(found: meter.MeterCheck, tolerance: float) -> str:
    if _content(found, tolerance):
        half = _points((found.pooled or found).half_width)
        return (
            f"give or take {half} is within the tolerance of {_points(tolerance)}, so no more "
            f"samples are needed"
        )
    each = max(1, round(found.readings / found.samples))
    needed = meter_plan.samples_needed(found, each, tolerance)
    if needed is None:
        why = _unreachable(found, tolerance)
        return f"no number of samples brings it within {_points(tolerance)}, {why}"
    if found.pooled is not None:
        return f"a check of {_samples(needed)} would bring it within {_points(tolerance)} by itself"
    more = _samples(max(1, needed - found.samples), "more ")
    return f"{more} would bring it within {_points(tolerance)}"


def _points(value: float) -> str:
    return f"{value * 100:.2f} point"


def _step(value: float) -> str:
    """A correction in tenths as a panel takes it, in hundredths where tenths would say nothing."""
    return f"{value * 100:.{1 if value >= TENTH else 2}f} point"


def _signed(value: float) -> str:
    return f"{'+' if value >= 0 else '-'}{_step(abs(value))}"
