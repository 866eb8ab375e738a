"""The decision of a meter check in words."""

from __future__ import annotations

from outfeed.steering import meter, meter_plan
from outfeed.steering.meter_pairing import DRIEST
from outfeed_api.routes.meter_phrases import (
    TENTH,
    awaits_second,
    content_with,
    far_off,
    points,
    samples_said,
    step,
    to_read_again,
    unreachable,
)
from outfeed_api.wording import AS_PERCENT

RESOLUTION = 0.001  # a tenth of a point, what displays usually show: common practice, no source
TOLERANCE = (
    0.002  # two tenths of a point, what an operator is usually content with: common practice
)


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
    size, half = points(abs(told.offset)), points(told.half_width)
    side = _side(told.offset)
    beside = "" if found.pooled is None else f"with {_checks(found.pooled.checks)} "
    if found.pairing == "broken":
        return _broken(found)
    if to_read_again(found):
        return _to_read_again(found)
    if awaits_second(found):
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
    smaller = "smaller" if points(total) != size else "no larger"
    return (
        f"Leave the meter as it is: {beside}the difference of {size} is {smaller} than its own "
        f"uncertainty of {points(total)}; {_better(found, tolerance)}."
    )


def _broken(found: meter.MeterCheck) -> str:
    """Why the pairs bring no offset."""
    pairs = found.pairs
    if pairs.reason == "no-grain-so-dry":
        if pairs.reference[1] < DRIEST and pairs.meter[1] < DRIEST:
            return f"Set no offset: all of this is below 1 %, and no grain is so dry: {AS_PERCENT}."
        one = "the meter" if pairs.meter[1] < DRIEST else "the reference"
        return (
            f"Set no offset: {one} reads below 1 %, and no grain is so dry. Make sure that the "
            f"meter works, and that {AS_PERCENT}."
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
        f"{points(abs(found.offset))} apart, so these readings are not of the same grain. Pair "
        f"them again, the meter a transit's shift from the sample, and check once more."
    )


def _to_read_again(found: meter.MeterCheck) -> str:
    """What has to be read again."""
    pairs = found.pairs
    if pairs.odd is None:
        return (
            f"Before you set anything: readings of one sample scatter by {points(found.sd or 0.0)}"
            f", one standard deviation, too far for readings of the same grain. Mix the sample "
            f"well, read it again and check what was written down."
        )
    others = round(pairs.others, 4)
    return (
        f"Before you set anything: in sample {pairs.odd.index + 1} the reference reads "
        f"{points(abs(pairs.apart))} {_side(pairs.apart)}, in the others on the mean "
        f"{points(abs(pairs.others)) + ' ' + _side(pairs.others) if others else 'the same'}. Make "
        f"sure that this pair is of the same grain; read it again, or leave it out and ask again."
    )


def _side(offset: float) -> str:
    return "wetter" if offset > 0 else "drier"


def _span(ends: tuple[float, float]) -> str:
    low, high = (f"{end * 100:.1f}" for end in ends)
    return f"{low} %" if low == high else f"{low} to {high} %"


def _if_second(found: meter.MeterCheck, present: float | None) -> str:
    if not meter.OFFSET.contains(found.offset):
        return ""  # no meter takes such an offset
    return f"; only if a second check agrees {_change(found.offset, present)}"


def _checks(count: int) -> str:
    return f"{count} earlier check{'s' if count != 1 else ''}"


def _change(by: float, present: float | None) -> str:
    """What to do with the meter's offset, true whatever is set in it already."""
    way = "raise" if by > 0 else "lower"
    said = f"{way} the meter's offset by {step(abs(by))}"
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
        f"{'plus' if intercept >= 0 else 'less'} {points(abs(intercept))}, between "
        f"{low * 100:.1f} and {high * 100:.1f} %: {ends}."
    )


def _better(found: meter.MeterCheck, tolerance: float) -> str:
    if content_with(found, tolerance):
        half = points((found.pooled or found).half_width)
        return (
            f"give or take {half} is within the tolerance of {points(tolerance)}, so no more "
            f"samples are needed"
        )
    each = max(1, round(found.readings / found.samples))
    needed = meter_plan.samples_needed(found, each, tolerance)
    if needed is None:
        why = unreachable(found, tolerance)
        return f"no number of samples brings it within {points(tolerance)}, {why}"
    if found.pooled is not None:
        return (
            f"a check of {samples_said(needed)} would bring it within {points(tolerance)} by itself"
        )
    more = samples_said(max(1, needed - found.samples), "more ")
    return f"{more} would bring it within {points(tolerance)}"
