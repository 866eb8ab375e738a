"""How far off is the dryer's moisture meter, and may the difference be applied?

Readings of one or more samples on a reference are compared with what the dryer's meter showed for
the same grain. The doubt of the difference has three parts that average out differently:
repeatability (with every reading), sampling (with every sample only) and bias of the reference
(never). An offset is applied when it exceeds its 95 % half-width, offered shrunken between that
and its standard uncertainty, and refused below.

References
----------
.. [1] Hurburgh, C. R., Hazen, T. E. and Bern, C. J. (1985). Corn moisture measurement accuracy.
   Transactions of the ASAE 28, 634-640: 881 samples, coefficient of variation of meter against
   oven 2.5 % at 15.5 % and 4.5 % at 11 and 38 % moisture; of that variance 85 % electrical
   properties of the sample, 10 % repeat readings, 5 % oven.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import DERIVED, READ, RECALLED, Method
from outfeed.steering.outliers import OutlierTest, find_outlier

Verdict = Literal["apply", "apply-shrunken", "leave"]

UNCERTAINTY = Range("standard uncertainty of moisture", 0.0, 0.05, "", SENSIBLE)
OFFSET = Range("offset of a meter", -0.1, 0.1, "", SENSIBLE)
RESOLUTION = Range("resolution of the display", 0.0, 0.01, "", SENSIBLE)
GOAL = Range("half-width wanted", 0.0005, 0.02, "", SENSIBLE)
SEALED = Range("time sealed", 0.0, 7 * 86_400.0, "s", SENSIBLE)
SPREAD = Range("standard deviation of readings", 1e-6, 0.05, "", SENSIBLE)

CV_MOISTURE = (0.11, 0.155, 0.38)
CV_TOTAL = (0.045, 0.025, 0.045)
"""Coefficient of variation of one reading against the oven, Hurburgh et al. 1985 (read); between
the published moistures it is interpolated, beyond them held."""

SAMPLE_SHARE, REPEAT_SHARE, OVEN_SHARE = 0.85, 0.10, 0.05
"""Shares of that variance, Hurburgh et al. 1985 (read)."""

PRIOR_DEGREES = 4.0
"""Weight of the study against the caller's own spread, in degrees of freedom; chosen, no source."""

USUAL_OFFSET_SD = 0.005
"""How far meters usually are off, one SD: the +-0.5 point that Hellevang (NDSU) gives as usual
accuracy; used to shrink an uncertain offset."""

REBOUND_HOURS = 12.0
"""Hot grain is sealed this long before the second reading; Hellevang (NDSU) 2009, read."""

COLDEST_FOR_METER = 4.4
"""Below 40 degF grain temperature meters are not accurate; Hellevang (NDSU) 2009, read [degC]."""

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
SHRINKAGE = Method(
    "steering.meter.shrunken-offset",
    "uncertain offset drawn towards zero by its own doubt",
    "normal prior and likelihood (James and Stein 1961, recalled)",
    DERIVED,
)
HANDBOOK_44 = Method(
    "steering.meter.tolerance",
    "tolerance of a licensed reference meter",
    "NIST Handbook 44, section 5.56(a), table T.2.1",
    RECALLED,
)
METHODS = (STUDY, T_INTERVAL, SHRINKAGE, HANDBOOK_44)


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample of grain, read on both meters.

    Attributes
    ----------
    reference : tuple of float
        Readings on the reference, wet basis [-].
    meter : tuple of float
        Readings of the dryer's meter for the same grain, wet basis [-].
    """

    reference: tuple[float, ...]
    meter: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """Standard uncertainty of an offset, in parts.

    Attributes
    ----------
    repeatability, sampling, bias : float
        The three parts [-].
    repeat_sd, sample_sd : float
        SD of one reading and of one sample behind them [-].
    """

    repeatability: float
    sampling: float
    bias: float
    repeat_sd: float
    sample_sd: float

    @property
    def total(self) -> float:
        """Root of the sum of squares [-]."""
        return sqrt(self.repeatability**2 + self.sampling**2 + self.bias**2)


@dataclass(frozen=True, slots=True)
class Dropped:
    """A reading left out as an outlier.

    Attributes
    ----------
    sample, reading : int
        Position of the sample and of its reference reading.
    value : float
        The reading [-].
    test : OutlierTest
        The test that named it.
    """

    sample: int
    reading: int
    value: float
    test: OutlierTest


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """What a meter check showed.

    Attributes
    ----------
    offset : float
        Reference minus meter: to be added to the meter's readings [-].
    verdict : str
        "apply", "apply-shrunken" or "leave".
    advised : float
        Offset to apply [-]; 0 when refused.
    readings, samples : int
        Reference readings used, and samples.
    sd : float or None
        SD of the readings about their sample's mean [-]; None for single readings.
    t_half_width : float or None
        Half-width of the 95 % t interval from the readings alone [-]; None below two.
    half_width : float
        95 % half-width with every part of the doubt [-].
    doubt : Doubt
        Standard uncertainty in parts.
    dropped : Dropped or None
        A reading left out.
    more_readings : int or None
        Further readings of the same samples that would halve the doubt; None when none could.
    more_samples : int or None
        Further samples, read as often, that would halve it; None when none could.
    """

    offset: float
    verdict: Verdict
    advised: float
    readings: int
    samples: int
    sd: float | None
    t_half_width: float | None
    half_width: float
    doubt: Doubt
    dropped: Dropped | None
    more_readings: int | None
    more_samples: int | None


def check_meter(
    samples: Sequence[Sample],
    *,
    reference_sd: float = 0.0,
    earlier_sd: float | None = None,
    earlier_degrees: int = 0,
    resolution: float = 0.001,
    usual_offset: float = USUAL_OFFSET_SD,
) -> MeterCheck:
    """Offset of a meter with its doubt, and whether to apply it.

    Parameters
    ----------
    samples : sequence of Sample
        One or more samples with one or more readings on each meter.
    reference_sd : float
        Standard uncertainty of the reference itself [-], 0 to 0.05; it never averages out.
    earlier_sd : float, optional
        SD of repeated readings pooled over earlier checks [-], above 0 to 0.05.
    earlier_degrees : int
        Degrees of freedom behind it.
    resolution : float
        Smallest step of the reference's display [-]; less is no outlier.
    usual_offset : float
        How far meters usually are off, one SD [-]; shrinks an uncertain offset.

    Returns
    -------
    MeterCheck
        The offset, its doubt and the verdict.

    Raises
    ------
    Inconsistent
        No sample, or a sample without readings on both meters.
    OutOfRange
        A reading outside 0 to 0.6, or an uncertainty outside its range.
    """
    UNCERTAINTY.check(reference_sd, "reference_sd")
    _check_samples(samples)
    dropped = _outlier(samples, resolution)
    kept = _without(samples, dropped)
    offsets = np.array([np.mean(s.reference) - np.mean(s.meter) for s in kept])
    counts = np.array([len(s.reference) for s in kept])
    residuals = np.concatenate([np.asarray(s.reference) - np.mean(s.reference) for s in kept])
    degrees = int(np.sum(counts - 1))
    own_sd = sqrt(float(residuals @ residuals) / degrees) if degrees else None
    moisture = float(np.mean(np.concatenate([s.meter for s in kept])))
    repeat_sd, spread_degrees = _pooled(own_sd, degrees, earlier_sd, earlier_degrees, moisture)
    sample_sd = _sample_sd(offsets, counts, repeat_sd, moisture)
    offset = float(np.mean(offsets))
    doubt = _doubt(counts, repeat_sd, sample_sd, reference_sd)
    t = student_t(spread_degrees)
    half = sqrt((t * doubt.repeatability) ** 2 + (1.96 * doubt.sampling) ** 2
                + (1.96 * doubt.bias) ** 2)  # fmt: skip
    verdict, advised = _verdict(
        offset, doubt.total, half, usual_offset, single=int(counts.sum()) < 2
    )
    more_readings, more_samples = _to_halve(counts, doubt)
    return MeterCheck(
        offset=offset,
        verdict=verdict,
        advised=advised,
        readings=int(counts.sum()),
        samples=len(kept),
        sd=own_sd,
        t_half_width=t_half_width(own_sd, degrees + 1) if own_sd is not None else None,
        half_width=half,
        doubt=doubt,
        dropped=dropped,
        more_readings=more_readings,
        more_samples=more_samples,
    )


def student_t(degrees: float, *, confidence: float = 0.95) -> float:
    """Two-sided quantile of Student's t.

    Parameters
    ----------
    degrees : float
        Degrees of freedom [-], above 0.
    confidence : float
        Two-sided confidence [-].

    Returns
    -------
    float
        The quantile [-].
    """
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + confidence / 2))


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
    rested_enough : bool
        Whether it was sealed for twelve hours or more.
    """

    correction: float
    rested_enough: bool


def rebound(hot: ArrayLike, rested: ArrayLike, sealed_s: float) -> Rebound:
    """Correction for hot grain: test, seal, test again.

    Parameters
    ----------
    hot, rested : array_like
        Readings of one sample hot from the dryer and after resting sealed, wet basis [-].
    sealed_s : float
        How long it was sealed [s].

    Returns
    -------
    Rebound
        The correction and whether the rest was long enough.

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
    return Rebound(float(after.mean() - before.mean()), sealed_s >= REBOUND_HOURS * 3600.0)


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


def _check_samples(samples: Sequence[Sample]) -> None:
    if not samples:
        raise Inconsistent("a meter check needs a sample", "samples")
    for sample in samples:
        if not sample.reference or not sample.meter:
            raise Inconsistent("every sample needs a reading on both meters", "samples")
        MOISTURE_WB.check(sample.reference, "samples")
        MOISTURE_WB.check(sample.meter, "samples")


def _outlier(samples: Sequence[Sample], resolution: float) -> Dropped | None:
    """The one reading that stands out most from its sample, if any does."""
    worst: Dropped | None = None
    for k, sample in enumerate(samples):
        test = find_outlier(sample.reference, resolution=resolution)
        if test is None or not test.outlier:
            continue
        if worst is None or test.statistic / test.critical > (
            worst.test.statistic / worst.test.critical
        ):
            worst = Dropped(k, test.index, sample.reference[test.index], test)
    return worst


def _without(samples: Sequence[Sample], dropped: Dropped | None) -> list[Sample]:
    kept = list(samples)
    if dropped is not None:
        sample = kept[dropped.sample]
        readings = tuple(v for k, v in enumerate(sample.reference) if k != dropped.reading)
        kept[dropped.sample] = Sample(readings, sample.meter)
    return kept


def _pooled(
    own_sd: float | None,
    degrees: int,
    earlier_sd: float | None,
    earlier_degrees: int,
    moisture: float,
) -> tuple[float, float]:
    """SD of one reading and its degrees of freedom, with what was known before."""
    if earlier_sd is not None and earlier_degrees > 0:
        SPREAD.check(earlier_sd, "earlier_sd")
        prior, weight = earlier_sd, float(earlier_degrees)
    else:
        prior, weight = one_reading_sd(moisture)[0], PRIOR_DEGREES
    own = 0.0 if own_sd is None else own_sd
    total = degrees + weight
    return sqrt((degrees * own**2 + weight * prior**2) / total), total


def _sample_sd(offsets: FloatArray, counts: FloatArray, repeat_sd: float, moisture: float) -> float:
    """SD from sample to sample: the study's, moved by what the samples themselves show."""
    prior = one_reading_sd(moisture)[1]
    degrees = offsets.size - 1
    if degrees == 0:
        return prior
    between = float(np.var(offsets, ddof=1)) - repeat_sd**2 * float(np.mean(1.0 / counts))
    own = max(0.0, between)
    return sqrt((degrees * own + PRIOR_DEGREES * prior**2) / (degrees + PRIOR_DEGREES))


def _doubt(counts: FloatArray, repeat_sd: float, sample_sd: float, bias: float) -> Doubt:
    samples = counts.size
    repeat = repeat_sd * sqrt(float(np.sum(1.0 / counts))) / samples
    return Doubt(repeat, sample_sd / sqrt(samples), bias, repeat_sd, sample_sd)


def _verdict(
    offset: float, standard: float, half: float, usual: float, *, single: bool
) -> tuple[Verdict, float]:
    if single or abs(offset) < standard:
        return "leave", 0.0
    if abs(offset) < half:
        return "apply-shrunken", offset * usual**2 / (usual**2 + standard**2)
    return "apply", offset


MOST_MORE = 1000  # beyond this "more readings" is no advice


def _to_halve(counts: FloatArray, doubt: Doubt) -> tuple[int | None, int | None]:
    """More readings of the same samples, and more samples, that would halve the doubt."""
    goal = (doubt.total / 2) ** 2
    room = goal - doubt.sampling**2 - doubt.bias**2
    readings = None
    if room > 0:
        factor = doubt.repeatability**2 / room
        extra = int(np.ceil(counts.sum() * (factor - 1) - 1e-9))
        readings = extra if extra <= MOST_MORE else None
    samples = None
    if goal > doubt.bias**2:
        factor = (doubt.repeatability**2 + doubt.sampling**2) / (goal - doubt.bias**2)
        extra = int(np.ceil(counts.size * (factor - 1) - 1e-9))
        samples = extra if extra <= MOST_MORE else None
    return readings, samples
