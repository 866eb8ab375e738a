"""Outlier tests for a handful of readings: Dixon's r10 for three to six, Grubbs from seven.

At most one reading is ever named. Published Dixon tables mix one- and two-sided values and, from
n = 8 on, switch to other ratios (r11, r21, r22); the table here is r10 throughout, two-sided.

References
----------
.. [1] Rorabacher, D. B. (1991). Statistical treatment for rejection of deviant values: critical
   values of Dixon's "Q" parameter and related subrange ratios at the 95 % confidence level.
   Analytical Chemistry 63, 139-146.
.. [2] Grubbs, F. E. (1969). Procedures for detecting outlying observations in samples.
   Technometrics 11, 1-21; NIST/SEMATECH e-Handbook 1.3.5.17.1.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from outfeed.arrays import ArrayLike
from outfeed.errors import UnknownName
from outfeed.limits import Range
from outfeed.methods import RECALLED, REPRODUCED, Method

DIXON_COUNT = Range("number of readings", 3, 10, "", "Rorabacher 1991, table of r10")
GRUBBS_COUNT = Range("number of readings", 3, 10_000, "", "the statistic needs three readings")

GRUBBS_FROM = 7
"""From this many readings on Grubbs' test is used, Dixon's below: common practice."""

DIXON_R10 = {
    0.05: (0.970, 0.829, 0.710, 0.625, 0.568, 0.526, 0.493, 0.466),
    0.01: (0.994, 0.926, 0.821, 0.740, 0.680, 0.634, 0.598, 0.568),
}
"""Critical r10, two-sided, for n = 3 to 10; Rorabacher 1991, tables 1 and 2 as reprinted in
Chemistry LibreTexts, appendix 6: n = 3, 5, 7, 9 at 0.05 and 3, 10 at 0.01 read, the rest
recalled and reproduced by simulation to 0.006."""

DIXON = Method(
    "steering.outlier.dixon-r10",
    "Dixon's r10 for one outlier among three to six readings",
    "Rorabacher (1991), Analytical Chemistry 63, 139-146",
    REPRODUCED,
    (DIXON_COUNT,),
)
GRUBBS = Method(
    "steering.outlier.grubbs",
    "Grubbs' test for one outlier among seven or more readings",
    "Grubbs (1969), Technometrics 11, 1-21; NIST/SEMATECH e-Handbook 1.3.5.17.1",
    RECALLED,
    (GRUBBS_COUNT,),
)
METHODS = (DIXON, GRUBBS)


@dataclass(frozen=True, slots=True)
class OutlierTest:
    """The most deviant reading and whether it is an outlier.

    Attributes
    ----------
    method : Method
        The test used.
    index : int
        Position of the most deviant reading.
    statistic : float
        r10 or G [-].
    critical : float
        Its critical value [-].
    outlier : bool
        Whether the statistic exceeds it.
    """

    method: Method
    index: int
    statistic: float
    critical: float
    outlier: bool


def find_outlier(
    values: ArrayLike, *, alpha: float = 0.05, resolution: float = 0.0
) -> OutlierTest | None:
    """Test the most deviant of some readings.

    Parameters
    ----------
    values : array_like
        Readings of one thing, any unit, shape (n,).
    alpha : float
        Two-sided level [-]: 0.05 or 0.01.
    resolution : float
        Smallest step of the readings, in their unit; a deviation no larger than this is
        rounding, never an outlier.

    Returns
    -------
    OutlierTest or None
        The test; None for fewer than three readings, or when all are equal.

    Raises
    ------
    UnknownName
        A level without published values.
    """
    array = np.asarray(values, dtype=np.float64)
    if array.size < 3 or np.ptp(array) == 0:
        return None
    if array.size < GRUBBS_FROM:
        index, statistic = dixon_r10(array)
        method, critical = DIXON, dixon_critical(array.size, alpha=alpha)
    else:
        index, statistic = grubbs(array)
        method, critical = GRUBBS, grubbs_critical(array.size, alpha=alpha)
    others = np.delete(array, index)
    beyond = float(np.min(np.abs(others - array[index])))
    return OutlierTest(
        method, index, statistic, critical, statistic > critical and beyond > resolution + 1e-12
    )


def dixon_r10(values: ArrayLike) -> tuple[int, float]:
    """Dixon's r10: the gap beside the most deviant reading over the range.

    Parameters
    ----------
    values : array_like
        Readings, not all equal, shape (n,), three or more.

    Returns
    -------
    tuple
        Position of the reading with the larger gap, and the ratio [-].
    """
    array = np.asarray(values, dtype=np.float64)
    order = np.argsort(array, kind="stable")
    ranked = array[order]
    low, high = ranked[1] - ranked[0], ranked[-1] - ranked[-2]
    index = order[0] if low > high else order[-1]
    return int(index), float(max(low, high) / (ranked[-1] - ranked[0]))


def dixon_critical(count: int, *, alpha: float = 0.05) -> float:
    """Critical value of r10, two-sided.

    Parameters
    ----------
    count : int
        Number of readings, 3 to 10.
    alpha : float
        Level [-]: 0.05 or 0.01.

    Returns
    -------
    float
        Critical ratio [-].

    Raises
    ------
    OutOfRange
        A count outside the table.
    UnknownName
        A level that is not tabulated.

    Examples
    --------
    >>> dixon_critical(5)
    0.71
    """
    DIXON_COUNT.check(count, "count")
    if alpha not in DIXON_R10:
        raise UnknownName("level", str(alpha), tuple(map(str, DIXON_R10)), name="alpha")
    return DIXON_R10[alpha][count - 3]


def grubbs(values: ArrayLike) -> tuple[int, float]:
    """Grubbs' G: the largest distance from the mean over the standard deviation.

    Parameters
    ----------
    values : array_like
        Readings, not all equal, shape (n,), three or more.

    Returns
    -------
    tuple
        Position of the most deviant reading, and G [-].
    """
    array = np.asarray(values, dtype=np.float64)
    away = np.abs(array - array.mean())
    index = int(np.argmax(away))
    return index, float(away[index] / array.std(ddof=1))


def grubbs_critical(count: int, *, alpha: float = 0.05, two_sided: bool = True) -> float:
    """Critical value of Grubbs' G, from Student's t.

    Parameters
    ----------
    count : int
        Number of readings, 3 or more.
    alpha : float
        Level [-], above 0 to 0.5.
    two_sided : bool
        Whether either end may be the outlier.

    Returns
    -------
    float
        Critical G [-].

    Raises
    ------
    OutOfRange
        Fewer than three readings.
    """
    from scipy.special import stdtrit

    GRUBBS_COUNT.check(count, "count")
    tail = alpha / (2 * count if two_sided else count)
    t = float(stdtrit(count - 2, 1 - tail))
    return (count - 1) / sqrt(count) * sqrt(t * t / (count - 2 + t * t))
