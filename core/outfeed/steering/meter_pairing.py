"""Can the readings of two meters be of the same grain, and does either meter work?

An offset is only as good as its pairs. A meter that stands still, pairs that were exchanged, one
pair that is not like the others, or readings of one sample that lie far apart bring a number all
the same, and its doubt does not tell what went wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Literal

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.limits import SENSIBLE, Range
from outfeed.steering.outliers import OutlierTest, find_outlier

Pairing = Literal["fits", "doubted", "broken"]
Reason = Literal[
    "no-grain-so-dry", "reversed", "meter-stands-still", "reference-stands-still",
    "scattered-readings", "odd-sample", "large-offset",
]  # fmt: skip

SPREAD = Range("standard deviation of readings", 1e-6, 0.05, "", SENSIBLE)

LARGE_OFFSET = 0.03
"""Offset beyond which the pairs are doubted: six times what meters usually are off; chosen."""

REPEATABILITY_LIMIT = 2.8
"""Two readings of one sample differ by more standard deviations than this once in twenty times: the
repeatability limit of ISO 5725-6:1994, recalled. Critical values are for readings that are not
rounded; of rounded ones, three of which two agree are common, and the third no outlier."""

FEWEST_FOR_PAIRING = 3  # samples over which meters rise and fall together; chosen, no source
FEWEST_ALIKE = 4  # samples that chance seldom makes alike; chosen
LEAST_RANGE = 0.005  # moisture over which a slope between the meters says something; chosen
WIDE_RANGE = 0.02  # over which a reversed slope alone, or a meter that stands still, says it
REVERSED = -0.5  # correlation of the meters below which one falls as the other rises; chosen
STILL = 0.15  # range of one meter over that of the other below which it stands still; chosen

DRIEST = 0.01
"""Moisture no grain comes near: a dead meter, or a share where percent was asked for; chosen."""

SCATTERED = 5.0
"""Spread of the readings of one sample over the usual from which they are no readings of one sample
[-]: two that lie a point apart; chosen, no source."""


@dataclass(frozen=True, slots=True)
class Pairs:
    """Whether the pairs can be believed.

    Attributes
    ----------
    pairing : str
        "fits"; "doubted" where no offset is advised before a second check agrees; "broken" where
        none is advised at all.
    reason : str or None
        Why not; None where they fit.
    odd : OutlierTest or None
        The test that named the sample unlike the others, for "odd-sample"; it has its position.
    apart : float
        Reference minus meter in that sample [-].
    others : float
        The same on the mean of all other samples [-].
    reference, meter : tuple of float
        Least and largest mean of a sample on each meter, wet basis [-].
    scatter : float
        SD of the difference of the meters from sample to sample, over the usual [-]; 0 for few
        samples, and for a reference that reads nothing, at which nothing is usual.
    alike : bool
        Whether the samples are as like each other as readings of one.
    """

    pairing: Pairing
    reason: Reason | None
    odd: OutlierTest | None
    apart: float
    others: float
    reference: tuple[float, float]
    meter: tuple[float, float]
    scatter: float
    alike: bool


def pairs_of(
    reference: FloatArray,
    meter: FloatArray,
    *,
    scatter: float | None,
    usual: tuple[float, float],
) -> Pairs:
    """Whether the pairs of a check can be believed.

    Parameters
    ----------
    reference, meter : ndarray
        Mean of the readings of each sample on the two meters, wet basis [-], shape (n,).
    scatter : float or None
        SD of readings about their sample's mean [-]; None for single readings.
    usual : tuple of float
        What is usual of it, and of the spread between samples [-].

    Returns
    -------
    Pairs
        The worst that was found.
    """
    offsets = reference - meter
    large = abs(float(np.mean(offsets))) >= LARGE_OFFSET
    odd = _odd_sample(offsets, hypot(*usual))
    reason = _broken(reference, meter, large=large)
    pairing: Pairing = "broken" if reason is not None else "doubted"
    if reason is None and scatter is not None and scatter > SCATTERED * usual[0]:
        reason = "scattered-readings"
    if reason is None and odd is not None:
        reason = "odd-sample"
    if reason is None and large:
        reason = "large-offset"
    told = odd if reason == "odd-sample" else None
    others = offsets if told is None else np.delete(offsets, told.index)
    return Pairs(
        "fits" if reason is None else pairing,
        reason,
        told,
        0.0 if told is None else float(offsets[told.index]),
        float(np.mean(others)),
        (float(reference.min()), float(reference.max())),
        (float(meter.min()), float(meter.max())),
        _scatter(offsets, hypot(*usual)),
        _alike(reference, meter, usual[0]),
    )


def _broken(reference: FloatArray, meter: FloatArray, *, large: bool) -> Reason | None:
    """Why the pairs bring no offset at all."""
    if min(float(reference.max()), float(meter.max())) < DRIEST:
        return "no-grain-so-dry"
    if reference.size < FEWEST_FOR_PAIRING:
        return None
    ranges = float(np.ptp(reference)), float(np.ptp(meter))
    if max(ranges) >= WIDE_RANGE - 1e-9 and min(ranges) < STILL * max(ranges):
        return "meter-stands-still" if ranges[1] < ranges[0] else "reference-stands-still"
    if min(ranges) >= LEAST_RANGE - 1e-9:
        reversed_slope = float(np.corrcoef(reference, meter)[0, 1]) < REVERSED
        if reversed_slope and (large or min(ranges) >= WIDE_RANGE):
            return "reversed"
    return None


def _scatter(offsets: FloatArray, usual: float) -> float:
    if offsets.size < FEWEST_FOR_PAIRING or usual == 0.0:
        return 0.0
    return float(np.std(offsets, ddof=1)) / usual


def _alike(reference: FloatArray, meter: FloatArray, repeat_sd: float) -> bool:
    """Whether samples differ no more than readings of one: four seldom do that by chance."""
    same = np.ptp(meter) == 0.0 and np.ptp(reference) <= REPEATABILITY_LIMIT * repeat_sd
    return bool(same and reference.size >= FEWEST_ALIKE)


def _odd_sample(offsets: FloatArray, usual: float) -> OutlierTest | None:
    """The sample whose meters are unlike those of the others, past what two samples may differ."""
    test = find_outlier(offsets, alpha=0.01, resolution=REPEATABILITY_LIMIT * usual)
    return test if test is not None and test.outlier else None
