"""What earlier checks say of a meter's offset beside the check of today.

Whoever follows every check anew chases its noise: the offset set after each is as far off as one
check is uncertain, however many were made before. So this check and those before it are averaged by
their weights, older ones counting less, for a meter wanders; a meter that has moved is judged by
this check alone.

References
----------
.. [1] Deming, W. E. (1986). Out of the Crisis, chapter 11: a process adjusted after each result by
   its error spreads twice as wide in variance as one left alone. Recalled.
.. [2] Cochran, W. G. (1954). The combination of estimates from different experiments. Biometrics
   10, 101-129, for weighting by the inverse of the variance. Recalled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import hypot, sqrt

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.methods import RECALLED, Method
from outfeed.steering.meter import (
    OFFSET,
    PRIOR_DEGREES,
    USUAL_OFFSET_SD,
    MeterCheck,
    Pooled,
    judged,
)
from outfeed.steering.meter_doubt import effective_degrees
from outfeed.steering.outliers import OutlierTest, find_outlier

KEPT = 0.8
"""Weight of a check over that of the next: as the moving average of the chart forgets; chosen."""

MOVED = 3.0
"""Standard deviations past which this check and those before are not of one offset; three-sigma
limits, common practice."""

POOLED = Method(
    "steering.meter.earlier-checks",
    "this check and those before it, averaged by their weights, older ones counting less",
    "inverse-variance weighting, Cochran (1954), Biometrics 10, 101-129; adjusting after every "
    "result spreads wider than leaving alone, Deming (1986), Out of the Crisis",
    RECALLED,
)
METHODS = (POOLED,)


def with_earlier(found: MeterCheck, earlier: Sequence[float], present: float) -> MeterCheck:
    """A check with the weight of those before it.

    Parameters
    ----------
    found : MeterCheck
        This check.
    earlier : sequence of float
        Offsets of earlier checks against the meter with none set in it, oldest first [-].
    present : float
        Offset that is set in the meter now [-].

    Returns
    -------
    MeterCheck
        With `pooled`, and verdict and advised offset by it, a doubted offset among them, for these
        checks agree; one that is unlike all others does not count. With `moved_by` where the meter
        has moved since; as it came where nothing was checked before or the pairs are broken or to
        be read again.

    Raises
    ------
    OutOfRange
        An offset outside its range.
    """
    OFFSET.check(present, "present_offset")
    if len(earlier) == 0 or found.pairs.reason not in (None, "large-offset"):
        return found
    if found.pairs.reason == "large-offset":
        earlier = earlier[-1:]  # of a jump only the check after it tells
    before = np.asarray(OFFSET.check(earlier, "earlier_offsets"), dtype=np.float64)
    weights = KEPT ** np.arange(before.size, 0, -1)
    own, whole = hypot(found.doubt.repeatability, found.doubt.sampling), found.offset + present
    left_out = _unlike(before, whole, own)
    if left_out is not None:
        before, weights = np.delete(before, left_out.index), np.delete(weights, left_out.index)
    weights = weights / weights.sum()
    count = 1.0 / float(weights @ weights)  # checks of equal weight that are worth as much
    mean = float(weights @ before)
    degrees = count - 1.0 + PRIOR_DEGREES
    scatter = float(weights @ (before - mean) ** 2) * count
    error = sqrt((scatter + PRIOR_DEGREES * own**2) / degrees / count)
    if abs(whole - mean) > MOVED * hypot(own, error):
        return replace(found, moved_by=whole - mean)
    share = error**2 / (error**2 + own**2)
    parts = [(share * part, known) for part, known in found.doubt.random]
    pooled = Pooled(
        offset=share * whole + (1.0 - share) * mean - present,
        sd=own * error / hypot(own, error),
        bias=found.doubt.bias,
        degrees=effective_degrees([*parts, ((1.0 - share) * error, degrees)]),
        checks=before.size,
        scatter=sqrt(scatter / count),
        left_out=left_out,
    )
    verdict, advised = judged(
        pooled.offset, pooled.total, pooled.half_width, USUAL_OFFSET_SD, single=found.readings < 2
    )
    return replace(found, pooled=pooled, verdict=verdict, advised=advised)


def _unlike(before: FloatArray, whole: float, own: float) -> OutlierTest | None:
    """The earlier check that is unlike the others and this one, a slip of the pen maybe."""
    test = find_outlier(np.append(before, whole), alpha=0.01, resolution=MOVED * own)
    if test is None or not test.outlier or test.index == before.size:
        return None
    return test
