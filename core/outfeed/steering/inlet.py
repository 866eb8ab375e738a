"""What grain went in, as told by readings that err.

One reading of inlet moisture is off by more than half a point, and a setpoint that follows it
follows its error. The moisture that enters wanders little within a lot and jumps between lots: so
readings are smoothed by their precision over a lot (a random walk, Kalman 1960). Whether a new lot
began between two readings is never quite known; what came before and what came after are weighed
against each other as one lot and as two, and both are kept in proportion to how likely they are
(two filters run towards each other, Fraser and Potter 1969; two hypotheses merged by their moments,
Bar-Shalom and Li 1993). So the less the readings tell, the more of the difference that lots may
have stays in the stated error.

What is left of the error is told as a difference: an error that the grain at the discharge and the
grain to come have in common has been learned as a part of the level and does no harm.

References
----------
.. [1] Fraser, D. C. and Potter, J. E. (1969). The optimum linear smoother as a combination of two
   optimum linear filters. IEEE Transactions on Automatic Control 14, 387-390 (recalled).
.. [2] Bar-Shalom, Y. and Li, X.-R. (1993). Estimation and Tracking: the generalized pseudo-Bayesian
   estimator of the first order (recalled).
.. [3] Hurburgh, Hazen and Bern (1985), see `outfeed.steering.meter_doubt`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, expm1, hypot, log

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import RECALLED, Method
from outfeed.steering.meter_doubt import one_reading_sd
from outfeed.steering.pairs import Pairs, entry_index, inlet_at

INLET_SD = Range("uncertainty of an inlet reading", 0.0, 0.03, "", SENSIBLE)
"""As far as it was tried: with readings that err by 3 points the 95 % interval of the advice still
holds 94 % of invented truths, with 4 points 91 %."""

LOT_WANDER = 0.0035
"""SD that the moisture of one lot gains in the square root of an hour, as a fraction. Chosen on
invented lots (1.2 points apart, 0.25 point within, 8 to 36 hours long, readings of 0.25 to 3 points
every half hour to two hours, compared four hours apart): there the stated error is the real one
within a fifth up to readings of 1 point, and up to 1.6 times it with readings of 3 points."""

LOTS_APART = 0.017
"""SD of the difference in moisture between one lot and the next, as a fraction: the same invented
lots, no source. Lots that readings show to stand further apart are taken as they are read."""

HOURS_TO_A_NEW_LOT = 22.0
"""Mean length of a lot, by the exponential law: that of the same lots, no source."""

LEAST_ERROR = 1e-12
"""Variance of a reading below which it is exact: a ten-thousandth of a point, chosen."""

SMOOTHED_INLET = Method(
    "steering.inlet.smoothed",
    "inlet moisture from readings with error, smoothed over a lot by their precision",
    "Kalman 1960, J. Basic Eng. 82:35-45; Fraser and Potter 1969, IEEE Trans. Automatic Control "
    "14:387-390; Bar-Shalom and Li 1993, Estimation and Tracking",
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
        How much of the error of the next entry an entry has in it [-], shape (n,); small before a
        new lot.
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
        SD of one reading [-], 0 to 0.03; below 1e-6 each reading is exact.

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
    if error < LEAST_ERROR:
        nothing = np.zeros(times.size)
        return InletLog(times, readings, nothing, nothing)
    links = [_Link.over(seconds / 3600.0) for seconds in np.diff(times).tolist()]
    level, variance = _filtered(readings.tolist(), links, error)
    after, after_variance = _filtered(readings.tolist()[::-1], links[::-1], error)
    after, after_variance = after[::-1], after_variance[::-1]
    shared = np.zeros(times.size)
    for k, link in enumerate(links):
        level[k], variance[k], shared[k] = link.joined(
            level[k], variance[k], after[k + 1], after_variance[k + 1]
        )
    # shared holds covariances so far; no entry has more of the next in it than its own error
    own, following = np.array(variance[:-1]), np.array(variance[1:])
    most = np.sqrt(own / following)
    shared[:-1] = np.clip(shared[:-1] / following, -most, most)
    return InletLog(times, np.array(level), np.array(variance), shared)


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


@dataclass(frozen=True, slots=True)
class _Link:
    """What may have happened to the moisture between two readings."""

    wandered: float
    log_odds: float
    """Of a new lot over none, before anything is read."""

    @classmethod
    def over(cls, hours: float) -> _Link:
        lots = min(max(hours / HOURS_TO_A_NEW_LOT, 1e-12), 50.0)  # beyond, never or certain
        return cls(LOT_WANDER**2 * hours, log(expm1(lots)))

    def new_lot(self, surprise: float, total: float) -> tuple[float, float]:
        """Chance of a new lot, and the variance of its difference from the one before."""
        # the further off a lot stands, in SDs, the less it is drawn to the one before
        apart = max(LOTS_APART**2, (surprise**2 - total) * surprise**2 / total)
        wide = total + apart
        likelier = 0.5 * (log(total / wide) + surprise**2 * apart / (total * wide))
        return _chance(self.log_odds + likelier), apart

    def joined(
        self, level: float, variance: float, after: float, after_variance: float
    ) -> tuple[float, float, float]:
        """Level and variance before the link once all after it is known, and the covariance."""
        surprise = after - level
        total = variance + after_variance + self.wandered
        chance, apart = self.new_lot(surprise, total)
        one, two = 1.0 / total, 1.0 / (total + apart)
        either = (1.0 - chance) * one + chance * two
        # how far the two hypotheses are from each other, on either side of the link
        moved = variance * (two - one) * surprise
        moved_after = -after_variance * (two - one) * surprise
        doubt = chance * (1.0 - chance)
        return (
            level + variance * either * surprise,
            variance * (1.0 - variance * either) + doubt * moved**2,
            variance * after_variance * either + doubt * moved * moved_after,
        )


def _chance(log_odds: float) -> float:
    return 1.0 / (1.0 + exp(-log_odds)) if log_odds > -700.0 else 0.0


def _filtered(
    readings: list[float], links: list[_Link], error: float
) -> tuple[list[float], list[float]]:
    """Level and variance after each reading."""
    level, variance = list(readings), [error] * len(readings)
    for k, link in enumerate(links):
        before = variance[k] + link.wandered
        surprise = readings[k + 1] - level[k]
        chance, apart = link.new_lot(surprise, before + error)
        same, other = before / (before + error), (before + apart) / (before + apart + error)
        gain = same + chance * (other - same)
        level[k + 1] = level[k] + gain * surprise
        moved = (other - same) * surprise
        variance[k + 1] = gain * error + chance * (1.0 - chance) * moved**2
    return level, variance
