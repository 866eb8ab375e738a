"""A straight line between two meters that both err.

References
----------
.. [1] Deming, W. E. (1943). Statistical Adjustment of Data; Adcock, R. J. (1878) for equal errors.
.. [2] Linnet, K. (1993). Evaluation of regression procedures for methods comparison studies.
   Clinical Chemistry 39, 424-432: standard errors by the jackknife.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import RECALLED, Method

ERROR_RATIO = Range("variance of y's errors over that of x's", 1e-4, 1e4, "", SENSIBLE)

DEMING = Method(
    "steering.meter.deming",
    "slope and offset between two meters that both err",
    "Deming (1943), Statistical Adjustment of Data; jackknife errors as in Linnet (1993), Clinical "
    "Chemistry 39, 424-432",
    RECALLED,
)
METHODS = (DEMING,)


@dataclass(frozen=True, slots=True)
class Line:
    """A line y = intercept + slope x.

    Attributes
    ----------
    slope, slope_se : float
        Slope and its standard error [-].
    intercept, intercept_se : float
        Intercept and its standard error, in the unit of y.
    count : int
        Number of pairs.
    t : float
        Student's t for a 95 % interval [-].
    """

    slope: float
    slope_se: float
    intercept: float
    intercept_se: float
    count: int
    t: float


def deming_line(x: ArrayLike, y: ArrayLike, *, error_ratio: float = 1.0) -> Line:
    """Deming regression with jackknife standard errors.

    Parameters
    ----------
    x, y : array_like
        Pairs, one unit, shape (n,), three or more.
    error_ratio : float
        Variance of y's errors over that of x's [-], 1e-4 to 1e4; 1 is orthogonal regression.

    Returns
    -------
    Line
        Slope, intercept and their standard errors.

    Raises
    ------
    Inconsistent
        Fewer than three pairs, unequal lengths, or pairs that show no slope.
    OutOfRange
        The error ratio outside its range.
    """
    from scipy.special import stdtrit

    ERROR_RATIO.check(error_ratio, "error_ratio")
    first = np.asarray(x, dtype=np.float64)
    second = np.asarray(y, dtype=np.float64)
    if first.shape != second.shape or first.size < 3:
        raise Inconsistent("a line needs three or more pairs", "x")
    count = first.size
    slope, intercept = _fit(first, second, error_ratio)
    left_out = np.array(
        [_fit(np.delete(first, k), np.delete(second, k), error_ratio) for k in range(count)]
    )
    pseudo = count * np.array((slope, intercept)) - (count - 1) * left_out
    errors = pseudo.std(axis=0, ddof=1) / sqrt(count)
    return Line(
        slope,
        float(errors[0]),
        intercept,
        float(errors[1]),
        count,
        float(stdtrit(count - 2, 0.975)),
    )


def _fit(x: FloatArray, y: FloatArray, error_ratio: float) -> tuple[float, float]:
    away_x, away_y = x - x.mean(), y - y.mean()
    sxx, syy, sxy = away_x @ away_x, away_y @ away_y, away_x @ away_y
    if sxy == 0:
        raise Inconsistent("the pairs show no slope", "x")
    half = syy - error_ratio * sxx
    slope = (half + sqrt(half * half + 4 * error_ratio * sxy * sxy)) / (2 * sxy)
    return float(slope), float(y.mean() - slope * x.mean())
