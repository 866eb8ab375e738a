"""How well one reading of a moisture meter is known, and how many readings are enough.

What a reading on a reference is worth before anybody has repeated it comes from a published study
of meters against the oven; what repeated readings are worth comes from Student's t.

References
----------
.. [1] Hurburgh, C. R., Hazen, T. E. and Bern, C. J. (1985). Corn moisture measurement accuracy.
   Transactions of the ASAE 28, 634-640: 881 samples, coefficient of variation of meter against
   oven 2.5 % at 15.5 % and 4.5 % at 11 and 38 % moisture; of that variance 85 % electrical
   properties of the sample, 10 % repeat readings, 5 % oven.
.. [2] JCGM 100:2008, Guide to the expression of uncertainty in measurement, annex G.4: effective
   degrees of freedom (Welch 1947, Satterthwaite 1946). Recalled.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, sqrt

import numpy as np

from outfeed.errors import OutOfRange
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import READ, RECALLED, Method

GOAL = Range("half-width wanted", 0.0005, 0.02, "", SENSIBLE)

CV_MOISTURE = (0.11, 0.155, 0.38)
CV_TOTAL = (0.045, 0.025, 0.045)
"""Coefficient of variation of one reading against the oven, Hurburgh et al. 1985 (read); between
the published moistures it is interpolated, beyond them held."""

SAMPLE_SHARE, REPEAT_SHARE, OVEN_SHARE = 0.85, 0.10, 0.05
"""Shares of that variance, Hurburgh et al. 1985 (read)."""

STUDY = Method(
    "steering.meter.variance-shares",
    "doubt of a moisture reading split into repeatability, sampling and reference",
    "Hurburgh, Hazen and Bern (1985), Transactions of the ASAE 28, 634-640",
    READ,
    note="one reading in ten parts: averaging readings of one sample leaves nine",
)
T_INTERVAL = Method(
    "steering.meter.t-interval",
    "95 % interval of a mean of few readings",
    "Student's t; NIST/SEMATECH e-Handbook 1.3.5.2",
    RECALLED,
)
PARTS_INTERVAL = Method(
    "steering.meter.effective-degrees",
    "95 % interval of a doubt in parts, each with its degrees of freedom",
    "Welch-Satterthwaite formula, JCGM 100:2008 (GUM), annex G.4",
    RECALLED,
    note="a spread between samples within a factor of about 1.4 of the published one is covered "
    "as often as stated, of 1.5 at least nine times in ten",
)
METHODS = (STUDY, T_INTERVAL, PARTS_INTERVAL)


def one_reading_sd(moisture_wb: float) -> tuple[float, float, float]:
    """Doubt of one meter reading, from the published study.

    Parameters
    ----------
    moisture_wb : float
        Moisture, wet basis [-], 0 to 0.6.

    Returns
    -------
    tuple of float
        SD of repeat readings, of the sample's own properties, and of the oven [-].

    Raises
    ------
    OutOfRange
        Moisture outside its range.
    """
    moisture = float(MOISTURE_WB.check(moisture_wb, "moisture_wb"))
    total = moisture * float(np.interp(moisture, CV_MOISTURE, CV_TOTAL))
    return (
        total * sqrt(REPEAT_SHARE),
        total * sqrt(SAMPLE_SHARE),
        total * sqrt(OVEN_SHARE),
    )


def student_t(degrees: float, *, confidence: float = 0.95) -> float:
    """Two-sided quantile of Student's t.

    Parameters
    ----------
    degrees : float
        Degrees of freedom [-], above 0; infinite for the normal quantile.
    confidence : float
        Two-sided confidence [-].

    Returns
    -------
    float
        The quantile [-].
    """
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + confidence / 2))


def effective_degrees(parts: Sequence[tuple[float, float]]) -> float:
    """Degrees of freedom of a standard uncertainty that is put together from parts.

    Parameters
    ----------
    parts : sequence of tuple
        Standard uncertainty of each part, any one unit, and its degrees of freedom [-], above 0;
        infinite where it is known.

    Returns
    -------
    float
        Effective degrees of freedom [-]; infinite when every part is known.

    References
    ----------
    .. [1] JCGM 100:2008, equation G.2b.
    """
    total = sum(part**2 for part, _ in parts) ** 2
    below = sum(part**4 / degrees for part, degrees in parts)
    return total / below if below > 0.0 else inf


def half_width_of(parts: Sequence[tuple[float, float]]) -> float:
    """Half-width of the 95 % interval of a sum of independent parts.

    Parameters
    ----------
    parts : sequence of tuple
        As `effective_degrees`.

    Returns
    -------
    float
        Half-width, unit of the parts.
    """
    return student_t(effective_degrees(parts)) * sqrt(sum(part**2 for part, _ in parts))


def t_half_width(sd: float, count: int) -> float:
    """Half-width of the 95 % interval of a mean.

    Parameters
    ----------
    sd : float
        Standard deviation of the readings, any unit.
    count : int
        Number of readings, two or more.

    Returns
    -------
    float
        Half-width, unit of `sd`.
    """
    return student_t(count - 1) * sd / sqrt(count)


def readings_needed(sd: float, tolerance: float) -> int:
    """Smallest number of readings whose 95 % interval is no wider than a tolerance.

    Parameters
    ----------
    sd : float
        Standard deviation of one reading, any unit, above 0.
    tolerance : float
        Half-width wanted, unit of `sd`, above 0.

    Returns
    -------
    int
        Number of readings [-].

    Raises
    ------
    OutOfRange
        More than 10,000 would be needed.
    """
    ratio = sd / tolerance
    # t is above 1.959, so no fewer than this can do
    for count in range(max(2, int((1.959 * ratio) ** 2)), 10_001):
        if t_half_width(sd, count) <= tolerance:
            return count
    raise OutOfRange("readings needed", (1.96 * ratio) ** 2, (2, 10_000), name="tolerance")
