"""What grain went in, as told by readings that err.

One reading of inlet moisture is off by more than half a point, and a setpoint that follows it
follows its error. The moisture that enters wanders little within a lot and jumps between lots: so
readings are smoothed by their precision over a lot (a random walk, Kalman 1960 forwards and Rauch,
Tung and Striebel 1965 backwards), and a reading that no wandering explains begins a new lot.

What is left of the error is told as a difference: an error that the grain at the discharge and the
grain to come have in common has been learned as a part of the level and does no harm.

References
----------
.. [1] Rauch, H. E., Tung, F. and Striebel, C. T. (1965). Maximum likelihood estimates of linear
   dynamic systems. AIAA Journal 3, 1445-1450 (recalled).
.. [2] Hurburgh, Hazen and Bern (1985), see `outfeed.steering.meter_doubt`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import RECALLED, Method
from outfeed.steering.meter_doubt import one_reading_sd
from outfeed.steering.pairs import Pairs, entry_index, inlet_at

INLET_SD = Range("uncertainty of an inlet reading", 0.0, 0.05, "", SENSIBLE)

LOT_WANDER = 0.0035
"""SD that the moisture of one lot gains in the square root of an hour, as a fraction. Chosen on
invented lots (1.2 points apart, 0.25 point within, readings of 0.25 to 0.65 point every 2 minutes
to 3 hours): there the stated error of the smoothed inlet is its real one within a tenth."""

NEW_LOT_AT_SD = 3.0
"""A reading further off than this begins a new lot; chosen on the same lots."""

SMOOTHED_INLET = Method(
    "steering.inlet.smoothed",
    "inlet moisture from readings with error, smoothed over a lot by their precision",
    "Kalman 1960, J. Basic Eng. 82:35-45; Rauch, Tung and Striebel 1965, AIAA J. 3:1445-1450",
    RECALLED,
)
METHODS = (SMOOTHED_INLET,)


@dataclass(frozen=True, slots=True)
class InletLog:
    """Inlet moistures with what is left of their readings' error.

    Attributes
    ----------
    times_s : ndarray
        Times of entry [s], ascending, shape (n,).
    moistures_wb : ndarray
        Smoothed moistures, wet basis, each holding until the next [-], shape (n,).
    variances : ndarray
        Variance of their errors [-], shape (n,).
    shared : ndarray
        How much of the error of the next entry an entry has in it [-], shape (n,); 0 before a new
        lot.
    """

    times_s: FloatArray
    moistures_wb: FloatArray
    variances: FloatArray
    shared: FloatArray

    def doubt(self, entered_s: ArrayLike, other_s: float | None) -> FloatArray:
        """SD of the error in the difference of inlet moisture between grain and other grain.

        Parameters
        ----------
        entered_s : array_like
            Times of entry [s], shape (k,).
        other_s : float or None
            When the other grain entered [s]; None where its moisture comes from elsewhere, so
            that only the error of the grain itself counts.

        Returns
        -------
        ndarray
            SD [-], shape (k,).
        """
        index = entry_index(np.atleast_1d(entered_s), self.times_s)
        if other_s is None:
            return np.asarray(np.sqrt(self.variances[index]))
        other = int(entry_index(np.array([other_s]), self.times_s)[0])
        together = self._covariance_with(other)[index]
        apart = self.variances[index] + self.variances[other] - 2.0 * together
        return np.asarray(np.sqrt(np.maximum(apart, 0.0)))

    def _covariance_with(self, other: int) -> FloatArray:
        """Covariance of each entry's error with that of one of them, shape (n,)."""
        found = np.empty(self.times_s.size)
        found[other] = self.variances[other]
        for k in range(other - 1, -1, -1):
            found[k] = self.shared[k] * found[k + 1]
        link = 1.0
        for k in range(other, self.times_s.size - 1):
            link *= self.shared[k]
            found[k + 1] = link * self.variances[k + 1]
        return found


def usual_inlet_sd(inlet_wb: float) -> float:
    """SD of one inlet reading that nobody stated: repeat readings and the sample's own properties.

    Parameters
    ----------
    inlet_wb : float
        Inlet moisture, wet basis [-], 0 to 0.6.

    Returns
    -------
    float
        SD [-]; 0.0063 at 21 %, Hurburgh et al. 1985.

    Raises
    ------
    OutOfRange
        Moisture outside its range.
    """
    repeat, sample, _ = one_reading_sd(inlet_wb)
    return hypot(repeat, sample)


def read_inlets(times_s: ArrayLike, readings_wb: ArrayLike, reading_sd: float) -> InletLog:
    """Smooth a log of inlet readings.

    Parameters
    ----------
    times_s : array_like
        Times [s], strictly ascending, shape (n,), n at least 1.
    readings_wb : array_like
        Readings, wet basis [-], 0 to 0.6, shape (n,).
    reading_sd : float
        SD of one reading [-], 0 to 0.05; 0 takes each reading as exact.

    Returns
    -------
    InletLog
        One entry a reading.

    Raises
    ------
    OutOfRange, Inconsistent
        Values outside their ranges, an empty log, times that do not ascend.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    readings = inlet_at(times, times, readings_wb)
    error = float(INLET_SD.check(reading_sd, "reading_sd")) ** 2
    if error == 0.0:
        nothing = np.zeros(times.size)
        return InletLog(times, readings, nothing, nothing)
    level, variance, expected, spread = _forwards(times, readings, error)
    shared = np.zeros(times.size)
    for k in range(times.size - 2, -1, -1):
        if spread[k + 1] == 0.0:
            continue
        shared[k] = variance[k] / spread[k + 1]
        level[k] += shared[k] * (level[k + 1] - expected[k + 1])
        variance[k] += shared[k] ** 2 * (variance[k + 1] - spread[k + 1])
    return InletLog(times, level, variance, shared)


@dataclass(frozen=True, slots=True)
class InletDoubt:
    """What the error of inlet readings adds to discharge moistures, as SDs.

    Attributes
    ----------
    learned : ndarray
        Of each reading learned from [-], shape (k,).
    coming : float
        Of the moisture expected of the grain to come [-].
    """

    learned: FloatArray
    coming: float


def inlet_doubt(
    log: InletLog,
    pairs: Pairs,
    coming_s: float,
    weight: float,
    *,
    learned_before_s: float | None = None,
) -> InletDoubt:
    """What the error of inlet readings does to what is learned and expected.

    An error that all grain has in common is learned as a part of the level; what counts is the
    error against the grain the level was learned from.

    Parameters
    ----------
    log : InletLog
        Smoothed inlet moistures.
    pairs : Pairs
        Readings to learn from.
    coming_s : float
        When the grain entered that moisture is expected of [s].
    weight : float
        Change of discharge moisture per error of inlet moisture [-].
    learned_before_s : float, optional
        When the grain entered that an earlier belief last learned from [s]; without an earlier
        belief the last of the pairs stands for it.

    Returns
    -------
    InletDoubt
        Standard deviations.
    """
    usable = np.flatnonzero(pairs.found)
    against = learned_before_s
    if against is None and usable.size:
        against = float(pairs.entered_s[usable[-1]])
    if against is not None and against < log.times_s[0]:
        against = None  # its moisture was told by a reading that is not in this log
    return InletDoubt(
        abs(weight) * log.doubt(pairs.entered_s, against),
        abs(weight) * float(log.doubt(np.array([coming_s]), against)[0]),
    )


def _forwards(
    times: FloatArray, readings: FloatArray, error: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Level and variance after each reading, and those expected before it; 0 where a lot begins."""
    level, variance = readings.copy(), np.full(times.size, error)
    expected, spread = np.zeros(times.size), np.zeros(times.size)
    for k in range(1, times.size):
        wandered = variance[k - 1] + LOT_WANDER**2 * (times[k] - times[k - 1]) / 3600.0
        surprise = readings[k] - level[k - 1]
        if abs(surprise) > NEW_LOT_AT_SD * sqrt(wandered + error):
            continue
        expected[k], spread[k] = level[k - 1], wandered
        gain = wandered / (wandered + error)
        level[k] = expected[k] + gain * surprise
        variance[k] = (1.0 - gain) * wandered
    return level, variance, expected, spread
