"""Meter check: its request and its answer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB
from outfeed.steering import meter, meter_corrections, meter_doubt, meter_pairing, meter_plan
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, Given, GrainId, Part, Request

MOST_READINGS = 100
MOST_SAMPLES = 200
MOST_CHECKS = 500
MOST_KNOTS = 50

Moisture = Annotated[float, Measure("moisture", MOISTURE_WB, example=0.155)]


class SamplePart(Given):
    """One sample of grain, read on both meters."""

    reference: list[Moisture] = Field(
        description="Readings on the reference meter.", min_length=1, max_length=MOST_READINGS
    )
    meter: list[Moisture] = Field(
        description="What the dryer's meter showed for the same grain, a transit's shift allowed.",
        min_length=1,
        max_length=MOST_READINGS,
    )


class ReboundPart(Given):
    """One sample read hot, sealed, and read again."""

    hot: list[Moisture] = Field(
        description="Readings of the hot grain.", min_length=1, max_length=MOST_READINGS
    )
    rested: list[Moisture] = Field(
        description="Readings of the same grain after it rested sealed.",
        min_length=1,
        max_length=MOST_READINGS,
    )
    sealed: Annotated[float, Measure("hours", meter_corrections.SEALED, example=43_200.0)] = Field(
        description="How long it was sealed."
    )


class CurvePart(Given):
    """The dryer meter's own correction for grain temperature."""

    temperatures: list[
        Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=20.0)]
    ] = Field(description="Grain temperatures, ascending.", min_length=2, max_length=MOST_KNOTS)
    corrections: list[Annotated[float, Measure("points", meter.OFFSET, example=0.004)]] = Field(
        description="What to add to a reading at each of them.",
        min_length=2,
        max_length=MOST_KNOTS,
    )
    grain_temperature: Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=27.0)] = (
        Field(description="Grain temperature now.")
    )


class MeterCheckRequest(Request):
    """Readings of one or more samples on both meters."""

    grain: GrainId = "corn-yellow-dent"
    samples: list[SamplePart] = Field(
        description="The samples of this check.", min_length=1, max_length=MOST_SAMPLES
    )
    reference: Literal["buyer", "oven", "licensed", "other"] = Field(
        "buyer",
        description="What the reference is: the meter you are paid by, an oven, a licensed meter "
        "that stands for the truth, or another with its own `reference_uncertainty`.",
    )
    reference_uncertainty: (
        Annotated[float, Measure("points", meter.UNCERTAINTY, example=0.002)] | None
    ) = Field(None, description="Standard uncertainty of the reference itself.")
    resolution: Annotated[float, Measure("points", meter.RESOLUTION, example=0.001)] | None = Field(
        None, description="Smallest step of the reference's display; 0.1 if left out."
    )
    tolerance: Annotated[float, Measure("points", meter_doubt.GOAL, example=0.002)] | None = Field(
        None, description="Half-width you would be content with; 0.2 if left out."
    )
    present_offset: Annotated[float, Measure("points", meter.OFFSET, example=0.004)] | None = Field(
        None,
        description="Offset that is set in the dryer's meter, so that its readings hold it; 0 if "
        "left out. Told, it lets `earlier_offsets` count beside this check, so that the offset "
        "does not follow the noise of each.",
    )
    earlier_offsets: (
        list[Annotated[float, Measure("points", meter.OFFSET, example=0.002)]] | None
    ) = Field(
        None,
        description="`whole_offset` of earlier checks, oldest first: what was found, with what was "
        "set in the meter then, so that setting an offset is not taken for a drift.",
        max_length=MOST_CHECKS,
    )
    earlier_sd: Annotated[float, Measure("points", meter.SPREAD, example=0.0015)] | None = Field(
        None,
        description="Standard deviation of repeated readings, pooled over earlier checks; "
        "with `earlier_readings`.",
    )
    earlier_readings: int | None = Field(
        None, description="Readings behind `earlier_sd`, less one a sample.", ge=1, le=100_000
    )
    rebound: ReboundPart | None = Field(None, description="A hot-grain rebound check.")
    temperature_curve: CurvePart | None = Field(
        None, description="The meter's correction for grain temperature, where it has a curve."
    )


class DoubtPart(Part):
    """Standard uncertainty of the offset, in parts."""

    repeatability: Annotated[float, Measure("points")] = Field(
        description="From repeated readings; more readings average it out."
    )
    sampling: Annotated[float, Measure("points")] = Field(
        description="From sample to sample, as published and as seen here together; only more "
        "samples average it out."
    )
    bias: Annotated[float, Measure("points")] = Field(
        description="Of the reference; nothing averages it out."
    )
    total: Annotated[float, Measure("points")] = Field(
        description="Root of the sum of squares, `meter_uncertainty` of setpoint advice."
    )


class DroppedPart(Part):
    """A reading left out as an outlier."""

    sample: int = Field(description="Position of the sample, from 0.")
    of: meter.Side = Field(description="Which meter gave the reading.")
    reading: int = Field(description="Position of the reading on that meter, from 0.")
    value: Annotated[float, Measure("moisture")] = Field(description="The reading.")
    test: str = Field(description="Id of the test that named it.", max_length=100)
    statistic: Annotated[float, Measure("ratio")] = Field(description="The test's statistic.")
    critical: Annotated[float, Measure("ratio")] = Field(description="Its critical value.")


class ReboundFound(Part):
    """What hot grain hides."""

    correction: Annotated[float, Measure("points")] = Field(
        description="To be added to readings of grain as hot, where it exceeds `uncertainty`."
    )
    uncertainty: Annotated[float, Measure("points")] = Field(
        description="Its standard uncertainty, from the repeatability of the readings."
    )
    rested_enough: bool = Field(description="Whether it was sealed for twelve hours or more.")


class DriftPart(Part):
    """Whether the offset drifts from check to check."""

    drifting: bool = Field(description="Whether a chart signals at this check.")
    usual_offset: Annotated[float, Measure("points")] = Field(
        description="Mean of the offsets before this check."
    )
    average: Annotated[float, Measure("ratio")] = Field(
        description="Moving average, in standard deviations, each offset against those before it."
    )
    average_limit: Annotated[float, Measure("ratio")] = Field(description="Where it signals.")
    sum: Annotated[float, Measure("ratio")] = Field(
        description="Cumulative sum of the same, in standard deviations."
    )
    sum_limit: Annotated[float, Measure("ratio")] = Field(description="Where it signals.")


class PooledPart(Part):
    """What this check and those before it say together, older ones counting less."""

    offset: Annotated[float, Measure("points")] = Field(
        description="Reference minus meter as it is set now."
    )
    half_width: Annotated[float, Measure("points")] = Field(
        description="Half-width of its 95 % interval."
    )
    uncertainty: Annotated[float, Measure("points")] = Field(
        description="Its standard uncertainty, `meter_uncertainty` of setpoint advice."
    )
    checks: int = Field(description="Earlier checks in it.")
    scatter: Annotated[float, Measure("points")] = Field(
        description="Standard deviation of the earlier checks, older ones counting less."
    )
    left_out: int | None = Field(
        None,
        description="Position in `earlier_offsets`, from 0, of the one that is unlike the others "
        "and this check, and does not count.",
    )


class PlanPart(Part):
    """A way to a half-width, with the spreads as this check found them."""

    half_width: Annotated[float, Measure("points")] = Field(
        description="Half-width of the 95 % interval that it brings."
    )
    readings: int = Field(description="Readings of each sample on the reference.")
    samples: int = Field(description="Samples in all, those of this check included.")


class LinePart(Part):
    """Slope and offset over several moisture levels: reference = intercept + slope x meter."""

    slope: Annotated[float, Measure("ratio")] = Field(description="Slope.")
    slope_low: Annotated[float, Measure("ratio")] = Field(
        description="Lower end of its 95 % interval."
    )
    slope_high: Annotated[float, Measure("ratio")] = Field(
        description="Upper end of its 95 % interval."
    )
    intercept: Annotated[float, Measure("points")] = Field(description="Intercept.")
    intercept_half_width: Annotated[float, Measure("points")] = Field(
        description="Half-width of its 95 % interval."
    )
    slope_matters: bool = Field(
        description="Whether the interval of the slope leaves out 1, and one offset for all would "
        "be off by a step of the reference's display at the driest and the wettest sample."
    )


class MeterCheckAnswer(Answer):
    """The offset, its doubt, and whether to apply it."""

    verdict: Literal["apply", "apply-shrunken", "leave", "use-line"] = Field(
        description="Whether the offset may be applied; `use-line` where one offset does not fit "
        "all moistures."
    )
    pairing: meter_pairing.Pairing = Field(
        description="Whether the readings can be of the same grain: `doubted` for an offset larger "
        "than a meter's usually is, one sample unlike the others or readings of one sample far "
        "apart, `broken` when the reference falls as the meter rises or one of them stands still."
    )
    pairing_reason: meter_pairing.Reason | None = Field(None, description="Why they do not fit.")
    advised_offset: Annotated[float, Measure("points")] = Field(
        description="To be added to the dryer meter's readings as they are now; 0 when refused, "
        "when the line is to be used, and of a `doubted` pairing until a second check agrees."
    )
    offset: Annotated[float, Measure("points")] = Field(description="Reference minus meter.")
    whole_offset: Annotated[float, Measure("points")] = Field(
        description="The same against the meter with no offset set in it; to be passed back in "
        "`earlier_offsets`."
    )
    half_width: Annotated[float, Measure("points")] = Field(
        description="Half-width of its 95 % interval, every part of the doubt included. The spread "
        "between samples is that of a published study and that of these samples together, few "
        "samples leaning on the study; a site's own spread is taken to be within a factor of about "
        "1.4 of the study's."
    )
    doubt: DoubtPart = Field(description="Its standard uncertainty, in parts.")
    readings: int = Field(description="Reference readings used.")
    samples: int = Field(description="Samples used.")
    reading_sd: Annotated[float, Measure("points")] | None = Field(
        None, description="Standard deviation of the readings about their sample's mean."
    )
    t_half_width: Annotated[float, Measure("points")] | None = Field(
        None, description="Half-width of the 95 % t interval from the repeated readings alone."
    )
    dropped: list[DroppedPart] = Field(
        description="Readings left out as outliers, one a sample at most.",
        max_length=MOST_SAMPLES,
    )
    more_readings: int | None = Field(
        None, description="Further readings of these samples that would halve the doubt, if any."
    )
    more_samples: int | None = Field(
        None, description="Further samples, read as often, that would halve the doubt, if any."
    )
    plan: list[PlanPart] = Field(
        description="Samples in all, by the readings of each, that bring the half-width of a check "
        "by itself to `tolerance` and to half of it; without those where a thousand would not, "
        "and empty where the samples have to be taken otherwise or a line is to be used.",
        max_length=2 * len(meter_plan.READINGS),
    )
    readings_for_tolerance: int | None = Field(
        None, description="Readings of one sample for `tolerance` on that sample alone."
    )
    reference_tolerance: Annotated[float, Measure("points")] = Field(
        description="What a licensed reference may be off at this moisture."
    )
    rebound: ReboundFound | None = Field(None, description="What the rebound check showed.")
    temperature_correction: Annotated[float, Measure("points")] | None = Field(
        None, description="To be added for grain temperature, from the meter's curve."
    )
    drift: DriftPart | None = Field(
        None,
        description="Charts over this and earlier checks, six or more in all, of `whole_offset`.",
    )
    pooled: PooledPart | None = Field(
        None,
        description="Together with `earlier_offsets`, where `present_offset` was told; verdict and "
        "advised offset then rest on it. Left out where the meter has moved since.",
    )
    line: LinePart | None = Field(
        None, description="Slope and offset, for five or more samples over four or more points."
    )
