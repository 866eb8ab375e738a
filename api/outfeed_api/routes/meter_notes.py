"""What to know beside the decision of a meter check, in plain sentences, and what was assumed."""

from __future__ import annotations

from outfeed.steering import meter, meter_corrections, meter_plan, outliers
from outfeed.steering.meter_history import MOVED
from outfeed.steering.meter_pairing import SCATTERED
from outfeed_api.models import Assumed, AssumedQuantity
from outfeed_api.routes.meter_phrases import (
    awaits_second,
    content_with,
    plannable,
    points,
    samples_said,
    step,
    unreachable,
)

FAR_OFF = {
    outliers.DIXON.id: "its gap to the next reading is {:.2f} of the whole range, and chance "
    "seldom makes that more than {:.2f}",
    outliers.GRUBBS.id: "it lies {:.2f} standard deviations from the mean, and chance seldom "
    "makes that more than {:.2f}",
}

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

FEWEST_TO_CONTRADICT = 3  # readings, less one a sample; chosen
ROUNDING_SD = 0.001 / meter.ROUND_SPREAD  # of readings to a tenth of a point

WILD = 2.0  # of the usual scatter: two readings exceed it once in twenty times by chance; chosen


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
    has_spread: bool,
    reference_tolerance: float,
) -> list[str]:
    """Plain sentences to act on."""
    result = []
    result += [_left_out(one) for one in found.dropped[:MOST_SPOKEN]]
    if len(found.dropped) > MOST_SPOKEN:
        result.append(f"{len(found.dropped)} readings were left out in all; see `dropped`.")
    usual = max(usual_sd, ROUNDING_SD)
    if found.sd is not None and found.sd > WILD * usual:
        result.append(
            f"Readings of one sample scatter by {points(found.sd)}, one standard deviation; "
            f"{points(usual)} is usual: mix the sample well and read it again."
        )
    if has_spread and found.sd is not None and _contradicts(found, usual_sd):
        result.append(
            f"The `earlier_sd` of {points(usual_sd)} and the {points(found.sd)} by which these "
            f"readings scatter contradict each other: check it, for the doubt rests on it."
        )
    if found.pairs.scatter > WILD and found.pairs.reason is None and slope is None:
        result.append(SCATTERED_PAIRS.format(found.pairs.scatter))
    if found.pairs.alike:
        result.append(ALIKE)
    if plannable(found) and slope is None and not content_with(found, tolerance):
        result.append(_planned(found, tolerance))
    if found.advised and slope is None:
        result.append(ONCE)
    if slope is None and awaits_second(found) and meter.OFFSET.contains(found.offset):
        result.append(SECOND)
    if unused:
        result.append(
            "The earlier checks did not count beside this one: tell `present_offset`, 0 where none "
            "is set in the meter, and they do."
        )
    if found.moved_by is not None:
        result.append(
            f"This check stands {points(abs(found.moved_by))} from those before it, more than "
            f"chance brings it, so only this one counts: the meter has moved, or these readings "
            f"are not of the same grain. Check once more."
        )
    if found.pooled is not None:
        result += _history(found, found.pooled)
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
            f"A licensed meter may itself be off by {points(reference_tolerance)} at this moisture."
        )
    return result


def _contradicts(found: meter.MeterCheck, earlier_sd: float) -> bool:
    """Whether the spread of earlier readings is far from that of enough readings of this check."""
    if found.sd is None or found.readings - found.samples < FEWEST_TO_CONTRADICT:
        return False
    own, told = (max(sd, ROUNDING_SD) for sd in (found.sd, earlier_sd))
    return not 1.0 / SCATTERED < own / told < SCATTERED


def _history(found: meter.MeterCheck, pooled: meter.Pooled) -> list[str]:
    """What is odd about the earlier checks."""
    result = []
    if pooled.left_out is not None:
        result.append(
            f"The earlier check at position {pooled.left_out.index} of `earlier_offsets` is unlike "
            f"the others and this one and does not count: look for a slip."
        )
    if pooled.scatter > MOVED * found.doubt.total:
        result.append(
            f"The earlier checks lie {points(pooled.scatter)} from each other, one standard "
            f"deviation, far more than a check is uncertain: the meter is not steady, or their "
            f"pairs were not of the same grain."
        )
    return result


def _rebound(found: meter_corrections.Rebound) -> str:
    size = points(abs(found.correction))
    rested = "" if found.rested_enough else " It was sealed for less than 12 h: test again."
    if abs(found.correction) < found.uncertainty:
        return (
            f"Hot and rested grain read alike: {size} apart, less than its own uncertainty of "
            f"{points(found.uncertainty)}, so add nothing for heat.{rested}"
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
    ways: dict[float, dict[int, int]] = {}
    for row in meter_plan.plan_check(found, tolerance):
        if row.readings in TOLD:
            ways.setdefault(row.half_width, {})[row.readings] = row.samples
    if not ways:
        halved = found.more_samples
        also = "" if halved is None else f"; {samples_said(halved, 'more ')} would halve the doubt"
        why = unreachable(found, tolerance)
        return f"No number of samples brings it within {points(tolerance)}: {why}{also}."
    said = "; ".join(f"{points(half)} takes {_either(counts)}" for half, counts in ways.items())
    return f"{'G' if found.pooled is None else 'Without the earlier checks, g'}ive or take {said}."


def _either(counts: dict[int, int]) -> str:
    """Samples read once, or three times each where that saves some."""
    once, thrice = (counts.get(readings) for readings in TOLD)
    if once is None:
        return f"{samples_said(thrice or 0)} in all, read three times each"
    if thrice is None or once == thrice:
        return f"{samples_said(once)} in all, and more than one reading of each saves none"
    return f"{samples_said(once)} in all, read once each, or {thrice} read three times each"


def _signed(value: float) -> str:
    return f"{'+' if value >= 0 else '-'}{step(abs(value))}"
