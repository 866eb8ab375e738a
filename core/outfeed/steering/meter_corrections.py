"""What a moisture reading is corrected and judged by: hot grain, cold grain, the reference itself.

Grain hot from the dryer reads otherwise than the same grain rested; a meter may carry a curve for
grain temperature; and a licensed reference meter is itself allowed a tolerance against the oven.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import RECALLED, Method
from outfeed.steering.meter_doubt import one_reading_sd

SEALED = Range("time sealed", 0.0, 7 * 86_400.0, "s", SENSIBLE)

REBOUND_HOURS = 12.0
"""Hot grain is sealed this long before the second reading; Hellevang (NDSU) 2009, read."""

WETTEST_FOR_METER = 0.25
"""Above 25 % readings are only estimates; Hellevang (NDSU) 2009, read."""

TOLERANCE = {"corn-like": (0.05, 0.008), "other": (0.04, 0.007)}
"""Air-oven tolerance of a licensed meter: share of the moisture, and least value; NIST Handbook
44, 5.56(a), table T.2.1, recalled."""

CORN_LIKE = (
    "corn-yellow-dent", "popcorn", "oats", "rough-rice-long", "rough-rice-medium",
    "rough-rice-short", "sorghum", "sunflower-oil", "sunflower-confectionery",
)  # fmt: skip
"""Grains of the wider tolerance in that table, recalled."""

HANDBOOK_44 = Method(
    "steering.meter.tolerance",
    "tolerance of a licensed reference meter",
    "NIST Handbook 44, section 5.56(a), table T.2.1",
    RECALLED,
)
METHODS = (HANDBOOK_44,)


def reference_tolerance(grain: str, moisture_wb: float) -> float:
    """Tolerance of a licensed meter against the oven.

    Parameters
    ----------
    grain : str
        Id of the grain.
    moisture_wb : float
        Moisture, wet basis [-], 0 to 0.6.

    Returns
    -------
    float
        Largest deviation allowed, to either side [-].

    Raises
    ------
    OutOfRange
        Moisture outside its range.

    Examples
    --------
    >>> reference_tolerance("corn-yellow-dent", 0.20)
    0.01
    """
    share, least = TOLERANCE["corn-like" if grain in CORN_LIKE else "other"]
    return max(share * float(MOISTURE_WB.check(moisture_wb, "moisture_wb")), least)


@dataclass(frozen=True, slots=True)
class Rebound:
    """How much moisture a reading of hot grain missed.

    Attributes
    ----------
    correction : float
        To be added to readings of grain as hot [-].
    uncertainty : float
        Its standard uncertainty, from the repeatability of the readings [-].
    rested_enough : bool
        Whether it was sealed for twelve hours or more.
    """

    correction: float
    uncertainty: float
    rested_enough: bool


def rebound(
    hot: ArrayLike, rested: ArrayLike, sealed_s: float, *, reading_sd: float | None = None
) -> Rebound:
    """Correction for hot grain: test, seal, test again.

    Parameters
    ----------
    hot, rested : array_like
        Readings of one sample hot from the dryer and after resting sealed, wet basis [-].
    sealed_s : float
        How long it was sealed [s].
    reading_sd : float, optional
        SD of repeated readings [-]; the study's at the rested moisture if left out.

    Returns
    -------
    Rebound
        The correction, its doubt, and whether the rest was long enough.

    Raises
    ------
    OutOfRange
        A moisture outside its range.
    Inconsistent
        No reading before or after.
    """
    before = np.atleast_1d(MOISTURE_WB.check(hot, "hot"))
    after = np.atleast_1d(MOISTURE_WB.check(rested, "rested"))
    if before.size == 0 or after.size == 0:
        raise Inconsistent("a rebound check needs readings before and after", "hot", "rested")
    sd = one_reading_sd(float(after.mean()))[0] if reading_sd is None else reading_sd
    return Rebound(
        float(after.mean() - before.mean()),
        sd * sqrt(1.0 / before.size + 1.0 / after.size),
        sealed_s >= REBOUND_HOURS * 3600.0,
    )


def temperature_correction(
    grain_temperature: ArrayLike, curve_temperatures: ArrayLike, curve_corrections: ArrayLike
) -> FloatArray:
    """Correction of a reading for grain temperature, from the meter's own curve.

    Parameters
    ----------
    grain_temperature : array_like
        Grain temperature at the reading [degC].
    curve_temperatures, curve_corrections : array_like
        The meter's curve: temperatures [degC], ascending, and what to add there [-], shape (n,).

    Returns
    -------
    ndarray
        What to add to the reading [-].

    Raises
    ------
    Inconsistent
        A curve of unequal lengths or out of order.
    OutOfRange
        A temperature beyond the curve: it is not extended.
    """
    wanted = GRAIN_TEMPERATURE.check(grain_temperature, "grain_temperature")
    knots = np.atleast_1d(np.asarray(curve_temperatures, dtype=np.float64))
    values = np.atleast_1d(np.asarray(curve_corrections, dtype=np.float64))
    if knots.size < 2 or knots.shape != values.shape or np.any(np.diff(knots) <= 0):
        raise Inconsistent("a curve needs two or more ascending temperatures", "curve")
    Range("grain temperature", knots[0], knots[-1], "degC", "the meter's own curve").check(
        wanted, "grain_temperature"
    )
    return np.asarray(np.interp(wanted, knots, values)[()])
