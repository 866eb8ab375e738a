"""How many samples, of how many readings each, make an offset as sure as one would have it?

Readings average out what a meter does not repeat, samples that and what differs from sample to
sample; the reference's own bias stays. What a sample costs beside a reading only the operator
knows, so he is told the samples for one, two, three and five readings each. By the published shares
a second reading of a sample is worth its time only where a sample takes far longer than a reading.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from math import inf, sqrt

from outfeed.steering.meter import MOST_MORE, SAMPLE_DEGREES, MeterCheck
from outfeed.steering.meter_doubt import GOAL, half_width_of

READINGS = (1, 2, 3, 5)
"""Readings of each sample for which the plan is told."""


@dataclass(frozen=True, slots=True)
class PlanRow:
    """A way to a half-width.

    Attributes
    ----------
    half_width : float
        Half-width of the 95 % interval that is wanted [-].
    readings : int
        Readings of each sample on the reference.
    samples : int
        Samples in all, those of this check included.
    """

    half_width: float
    readings: int
    samples: int


def plan_check(found: MeterCheck, tolerance: float) -> tuple[PlanRow, ...]:
    """Samples and readings that bring the offset within a tolerance, and within half of it.

    Parameters
    ----------
    found : MeterCheck
        A check, whose spreads are taken to stay as it found them.
    tolerance : float
        Half-width of the 95 % interval wanted [-], 0.0005 to 0.02.

    Returns
    -------
    tuple of PlanRow
        One for each half-width and number of readings with which up to a thousand samples do; no
        half of the tolerance that is below the range.

    Raises
    ------
    OutOfRange
        The tolerance outside its range.
    """
    GOAL.check(tolerance, "tolerance")
    halves = [half for half in (tolerance, tolerance / 2.0) if GOAL.contains(half)]
    return tuple(
        PlanRow(half, readings, samples)
        for half in halves
        for readings in READINGS
        if (samples := samples_needed(found, readings, half)) is not None
    )


def samples_needed(found: MeterCheck, readings: int, half_width: float) -> int | None:
    """Samples in all that bring the offset within a half-width.

    Parameters
    ----------
    found : MeterCheck
        A check, whose spreads are taken to stay as it found them.
    readings : int
        Readings of each sample on the reference, 1 or more.
    half_width : float
        Half-width of the 95 % interval wanted [-], 0.0005 to 0.02.

    Returns
    -------
    int or None
        Number of samples; None where a thousand would not do.

    Raises
    ------
    OutOfRange
        The half-width outside its range.
    """
    GOAL.check(half_width, "half_width")
    doubt = found.doubt
    known = doubt.repeat_degrees - (found.readings - found.samples)  # before this check

    def half(samples: int) -> float:
        repeated = doubt.repeat_sd / sqrt(samples * readings), known + samples * (readings - 1)
        drawn = doubt.sample_sd / sqrt(samples), samples - 1 + SAMPLE_DEGREES
        return half_width_of([repeated, drawn, (doubt.bias, inf)])

    needed = 1 + bisect_left(range(1, MOST_MORE + 1), -half_width, key=lambda n: -half(n))
    return needed if needed <= MOST_MORE else None
