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

STEEPEST_CURVE = 0.005
"""Change of a correction per kelvin beyond which a curve is not believed [1/K]: several times what
meters ask for; chosen, no source."""

CURVE_STEP = 0.001
"""Smallest step of a printed curve: common practice, no source."""

TURN = 0.005
"""Rise and fall of the corrections beyond which a curve contradicts itself, for the reading of warm
grain is off one way only [-]; chosen, no source."""

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
        A curve of unequal lengths or out of order, or one that jumps or turns back by more than a
        meter's can.
    OutOfRange
        A temperature beyond the curve: it is not extended.
    """
    wanted = GRAIN_TEMPERATURE.check(grain_temperature, "grain_temperature")
    knots = np.atleast_1d(np.asarray(curve_temperatures, dtype=np.float64))
    values = np.atleast_1d(np.asarray(curve_corrections, dtype=np.float64))
    if knots.shape != values.shape:
        raise Inconsistent(
            f"{knots.size} temperatures and {values.size} corrections of a curve do not pair up",
            "curve",
        )
    if knots.size < 2 or np.any(np.diff(knots) <= 0):
        raise Inconsistent("a curve needs two or more temperatures, in ascending order", "curve")
    _refuse_wild(knots, values)
    Range("grain temperature", knots[0], knots[-1], "degC", "the meter's own curve").check(
        wanted, "grain_temperature"
    )
    return np.asarray(np.interp(wanted, knots, values)[()])


def _refuse_wild(knots: FloatArray, values: FloatArray) -> None:
    """Refuse a curve with a slip of the pen in it, for it would be read off all the same."""
    jumps = np.abs(np.diff(values)) - STEEPEST_CURVE * np.diff(knots) - CURVE_STEP
    k = int(np.argmax(jumps))
    if jumps[k] > 0.0:
        raise Inconsistent(
            "the curve jumps from {} at {} to {} at {}; check both corrections",
            "curve",
            values=(
                (100.0 * float(values[k]), "point"),
                (float(knots[k]), "degC"),
                (100.0 * float(values[k + 1]), "point"),
                (float(knots[k + 1]), "degC"),
            ),
        )
    rise = float(np.max(values - np.minimum.accumulate(values)))
    fall = float(np.max(np.maximum.accumulate(values) - values))
    if min(rise, fall) > TURN:
        raise Inconsistent(
            "the corrections of the curve rise by {} and fall by {} as grain gets warmer; check "
            "them, for heat moves a reading one way only",
            "curve",
            values=((100.0 * rise, "point"), (100.0 * fall, "point")),
        )
