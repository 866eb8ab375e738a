"""How far off is the dryer's moisture meter, and may the difference be applied?

Readings of one or more samples on a reference are compared with what the dryer's meter showed for
the same grain. The doubt of the difference has three parts that average out differently:
repeatability (with every reading), sampling (with every sample only) and bias of the reference
(never). An offset is applied when it exceeds its 95 % half-width, offered shrunken between that
and its standard uncertainty, and refused below.

No site's spread is the published one. What is assumed of it before the samples speak counts as an
estimate with few degrees of freedom, what they show is pooled with it, and Student's t of all the
parts together widens the interval for what is still not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, sqrt
from typing import Literal

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.steering import meter_corrections, meter_doubt
from outfeed.steering.meter_doubt import half_width_of, one_reading_sd, student_t
from outfeed.steering.meter_pairing import REPEATABILITY_LIMIT, SPREAD, Pairing, Pairs, pairs_of
from outfeed.steering.outliers import OutlierTest, find_outlier

Verdict = Literal["apply", "apply-shrunken", "leave"]
Side = Literal["reference", "meter"]

UNCERTAINTY = Range("standard uncertainty of moisture", 0.0, 0.05, "", SENSIBLE)
OFFSET = Range("offset of a meter", -0.1, 0.1, "", SENSIBLE)
RESOLUTION = Range("resolution of the display", 0.0, 0.01, "", SENSIBLE)

PRIOR_DEGREES = 4.0
"""Weight of the study against the caller's own spread, in degrees of freedom; chosen, no source."""

SAMPLE_DEGREES = 5.0
"""The same for the spread between samples: sites whose spread is within a factor of 1.4 of the
study's, one SD, are chosen; no source. The logarithm of a variance with so many degrees has the SD
of twice the logarithm of 1.42: the root of the trigamma function of half of them."""

USUAL_OFFSET_SD = 0.005
"""How far meters usually are off, one SD: the +-0.5 point that Hellevang (NDSU) gives as usual
accuracy; used to shrink an uncertain offset."""

ROUND_SPREAD = sqrt(12.0)
"""A step over the SD of what is rounded to it: uniform, JCGM 100:2008 F.2.2.1, recalled."""

STREAM_STEP = 0.01
"""Distance from the nearest other reading of the dryer's meter within which a stream may wander
while a sample passes [-]; chosen, no source."""

MANY_SAMPLES = 5  # with more, each is tested at 1 % so that few good readings are left out

SHRINKAGE = Method(
    "steering.meter.shrunken-offset",
    "uncertain offset drawn towards zero by its own doubt",
    "normal prior and likelihood (James and Stein 1961, recalled)",
    DERIVED,
)
MOST_MORE = 1000  # beyond this "more readings" is no advice

METHODS = (*meter_doubt.METHODS, SHRINKAGE, *meter_corrections.METHODS)


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
    repeat_degrees, sample_degrees : float
        Degrees of freedom behind these, what was assumed of them counted in [-].
    """

    repeatability: float
    sampling: float
    bias: float
    repeat_sd: float
    sample_sd: float
    repeat_degrees: float
    sample_degrees: float

    @property
    def total(self) -> float:
        """Root of the sum of squares [-]."""
        return sqrt(self.repeatability**2 + self.sampling**2 + self.bias**2)

    @property
    def random(self) -> tuple[tuple[float, float], ...]:
        """What averages out: each part and its degrees of freedom [-]."""
        return (self.repeatability, self.repeat_degrees), (self.sampling, self.sample_degrees)

    @property
    def half_width(self) -> float:
        """Half-width of the 95 % interval [-]."""
        return half_width_of([*self.random, (self.bias, inf)])


@dataclass(frozen=True, slots=True)
class Dropped:
    """A reading left out as an outlier.

    Attributes
    ----------
    sample, reading : int
        Position of the sample and of the reading on that meter.
    value : float
        The reading [-].
    test : OutlierTest
        The test that named it.
    of : str
        Which meter gave it: "reference" or "meter".
    """

    sample: int
    reading: int
    value: float
    test: OutlierTest
    of: Side = "reference"


@dataclass(frozen=True, slots=True)
class Pooled:
    """What this check and those before it say together.

    Attributes
    ----------
    offset : float
        Reference minus meter as it is set now [-].
    sd, bias : float
        Standard uncertainty without, and of, the reference's own bias [-].
    degrees : float
        Degrees of freedom behind `sd` [-].
    checks : int
        Earlier checks in it.
    scatter : float
        SD of the earlier checks, by their weights [-].
    left_out : OutlierTest or None
        The test that named the one earlier check unlike the others and this one, with its position.
    """

    offset: float
    sd: float
    bias: float
    degrees: float
    checks: int
    scatter: float
    left_out: OutlierTest | None

    @property
    def total(self) -> float:
        """Standard uncertainty [-]."""
        return sqrt(self.sd**2 + self.bias**2)

    @property
    def half_width(self) -> float:
        """Half-width of the 95 % interval [-]."""
        return half_width_of([(self.sd, self.degrees), (self.bias, inf)])


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
    dropped : tuple of Dropped
        Readings left out, one a sample at most.
    more_readings : int or None
        Further readings of the same samples that would halve the doubt; None when none could.
    more_samples : int or None
        Further samples, read as often, that would halve it; None when none could.
    pairs : Pairs
        Whether the readings can be of the same grain: none is advised of doubted pairs before a
        second check agrees, and of broken ones at all.
    pooled : Pooled or None
        What was found together with earlier checks, on which verdict and advised offset then rest.
    moved_by : float or None
        How far this check stands from those before it [-], where chance does not bring it there
        and they do not count.
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
    dropped: tuple[Dropped, ...]
    more_readings: int | None
    more_samples: int | None
    pairs: Pairs
    pooled: Pooled | None = None
    moved_by: float | None = None

    @property
    def pairing(self) -> Pairing:
        """ "fits", "doubted" or "broken"."""
        return self.pairs.pairing


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
        SD of repeated readings pooled over earlier checks [-], above 0 to 0.05; no less counts than
        rounding to the display makes.
    earlier_degrees : int
        Degrees of freedom behind it.
    resolution : float
        Smallest step of the reference's display [-]; less is no outlier, nor is what lies within
        the repeatability limit of the reference.
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
    dropped = _outliers(samples, resolution, earlier_sd)
    kept = without_dropped(samples, dropped)
    offsets = np.array([np.mean(s.reference) - np.mean(s.meter) for s in kept])
    counts = np.array([len(s.reference) for s in kept])
    residuals = np.concatenate([np.asarray(s.reference) - np.mean(s.reference) for s in kept])
    degrees = int(np.sum(counts - 1))
    own_sd = sqrt(float(residuals @ residuals) / degrees) if degrees else None
    moisture = float(np.mean(np.concatenate([s.reference for s in kept])))
    if earlier_sd is not None:
        earlier_sd = max(float(SPREAD.check(earlier_sd, "earlier_sd")), resolution / ROUND_SPREAD)
    repeat_sd, spread_degrees = _pooled(own_sd, degrees, earlier_sd, earlier_degrees, moisture)
    sample_sd = _sample_sd(offsets, counts, repeat_sd, moisture)
    offset = float(np.mean(offsets))
    doubt = Doubt(
        repeatability=repeat_sd * _mean_share(counts),
        sampling=sample_sd / sqrt(counts.size),
        bias=reference_sd,
        repeat_sd=repeat_sd,
        sample_sd=sample_sd,
        repeat_degrees=spread_degrees,
        sample_degrees=counts.size - 1 + SAMPLE_DEGREES,
    )
    half, single = doubt.half_width, int(counts.sum()) < 2
    verdict, advised = judged(offset, doubt.total, half, usual_offset, single=single)
    usual = one_reading_sd(moisture)[:2]
    pairs = pairs_of(
        np.array([np.mean(s.reference) for s in kept]),
        np.array([np.mean(s.meter) for s in kept]),
        scatter=own_sd,
        usual=(max(earlier_sd or 0.0, usual[0]), usual[1]),
    )
    if pairs.pairing != "fits":
        verdict, advised = "leave", 0.0
    more_readings, more_samples = _to_halve(counts, doubt)
    return MeterCheck(
        offset=offset,
        verdict=verdict,
        advised=advised,
        readings=int(counts.sum()),
        samples=len(kept),
        sd=own_sd,
        t_half_width=None if own_sd is None else student_t(degrees) * own_sd * _mean_share(counts),
        half_width=half,
        doubt=doubt,
        dropped=dropped,
        more_readings=more_readings,
        more_samples=more_samples,
        pairs=pairs,
    )


def without_dropped(samples: Sequence[Sample], dropped: Sequence[Dropped]) -> list[Sample]:
    """Samples without the readings that were left out.

    Parameters
    ----------
    samples : sequence of Sample
        As they were checked.
    dropped : sequence of Dropped
        What was left out of them.

    Returns
    -------
    list of Sample
        The rest, in the same order.
    """
    kept = list(samples)
    for one in dropped:
        sample = kept[one.sample]
        left: dict[str, tuple[float, ...]] = {
            one.of: tuple(v for k, v in enumerate(getattr(sample, one.of)) if k != one.reading)
        }
        kept[one.sample] = replace(sample, **left)
    return kept


def _check_samples(samples: Sequence[Sample]) -> None:
    if not samples:
        raise Inconsistent("a meter check needs a sample", "samples")
    for sample in samples:
        if not sample.reference or not sample.meter:
            raise Inconsistent("every sample needs a reading on both meters", "samples")
        MOISTURE_WB.check(sample.reference, "samples")
        MOISTURE_WB.check(sample.meter, "samples")


def _outliers(
    samples: Sequence[Sample], resolution: float, earlier_sd: float | None
) -> tuple[Dropped, ...]:
    """On either meter the reading that stands out most from its sample, if one does."""
    alpha = 0.05 if len(samples) <= MANY_SAMPLES else 0.01
    found = []
    for k, sample in enumerate(samples):
        usual = earlier_sd or one_reading_sd(float(np.median(sample.reference)))[0]
        step = max(resolution, REPEATABILITY_LIMIT * usual)
        test = find_outlier(sample.reference, alpha=alpha, resolution=step)
        if test is not None and test.outlier:
            found.append(Dropped(k, test.index, sample.reference[test.index], test))
        # the dryer's meter watches a stream, which wanders while a sample passes
        test = find_outlier(sample.meter, alpha=0.01, resolution=STREAM_STEP)
        if test is not None and test.outlier:
            found.append(Dropped(k, test.index, sample.meter[test.index], test, "meter"))
    return tuple(found)


def _pooled(
    own_sd: float | None,
    degrees: int,
    earlier_sd: float | None,
    earlier_degrees: int,
    moisture: float,
) -> tuple[float, float]:
    """SD of one reading and its degrees of freedom, with what was known before."""
    if earlier_sd is not None and earlier_degrees > 0:
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
    return sqrt((degrees * own + SAMPLE_DEGREES * prior**2) / (degrees + SAMPLE_DEGREES))


def _mean_share(counts: FloatArray) -> float:
    """Standard error of the mean of the samples' means, in SDs of one reading [-]."""
    return sqrt(float(np.sum(1.0 / counts))) / counts.size


def judged(
    offset: float, standard: float, half: float, usual: float, *, single: bool
) -> tuple[Verdict, float]:
    """Whether an offset may be applied, and how much of it.

    Parameters
    ----------
    offset, standard, half : float
        The offset, its standard uncertainty and its 95 % half-width [-].
    usual : float
        How far meters usually are off, one SD [-].
    single : bool
        Whether it rests on one reading, which applies nothing.

    Returns
    -------
    tuple
        Verdict, and offset to apply [-].
    """
    if single or abs(offset) <= standard:
        return "leave", 0.0
    if abs(offset) < half:
        return "apply-shrunken", offset * usual**2 / (usual**2 + standard**2)
    return "apply", offset


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
