"""Meter check: how far off is the dryer's moisture meter, and may the difference be applied."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from outfeed.errors import Inconsistent
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB
from outfeed.methods import Method, use
from outfeed.steering import (
    charts,
    deming,
    meter,
    meter_corrections,
    meter_doubt,
    meter_history,
    meter_pairing,
)
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, Given, GrainId, Part, Request, cautions, methods_used
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import meter_words as words

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["steering"])

MOST_READINGS = 100
MOST_SAMPLES = 200
MOST_CHECKS = 500
MOST_KNOTS = 50
FEWEST_FOR_LINE = 5
RANGE_FOR_LINE = 0.04
ROOT_3 = 3.0**0.5
ROUNDING = 1e-9

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


@router.post(
    "/meter-check",
    summary="Whether the moisture meter is off, and by how much",
    operation_id="meter_check",
    response_model_exclude_none=True,
)
@computes()
def meter_check(request: MeterCheckRequest) -> MeterCheckAnswer:
    """Offset with its doubt in parts, and whether it may be applied.

    An offset smaller than its own uncertainty is refused; one that is uncertain is offered
    shrunken. In every sample at most one reading is left out as an outlier, with its test. Where
    one offset does not fit all moistures the line is advised; readings that cannot be of the same
    grain bring no offset.
    """
    if (request.earlier_sd is None) != (request.earlier_readings is None):
        missing = "earlier_sd" if request.earlier_sd is None else "earlier_readings"
        raise Inconsistent("give both `earlier_sd` and `earlier_readings`, or neither", missing)
    samples = [meter.Sample(tuple(s.reference), tuple(s.meter)) for s in request.samples]
    moisture = float(np.mean([np.median(s.reference) for s in samples]))  # no odd one sways it
    bias = _reference_sd(request, moisture)
    resolution = words.RESOLUTION if request.resolution is None else request.resolution
    found = meter.check_meter(
        samples,
        reference_sd=bias,
        earlier_sd=request.earlier_sd,
        earlier_degrees=request.earlier_readings or 0,
        resolution=resolution,
    )
    kept = meter.without_dropped(samples, found.dropped)
    present = request.present_offset
    whole = found.offset + (present or 0.0)
    drift, line = _drift(request, whole), _line(kept, found.pairing, resolution)
    drifting = drift is not None and drift.drifting
    if present is not None and (found.pairing == "doubted" or not drifting):
        found = meter_history.with_earlier(found, request.earlier_offsets or (), present)
    to_line = line is not None and line.slope_matters and not words.to_read_again(found)
    shown = [float(np.mean(s.meter)) for s in kept]
    rebound, curve = _rebound(request, found.doubt.repeat_sd), _correction(request)
    tolerance = words.TOLERANCE if request.tolerance is None else request.tolerance
    allowed = meter_corrections.reference_tolerance(request.grain, moisture)
    return MeterCheckAnswer(
        decision=words.line_decision(found, line.intercept, line.slope, (min(shown), max(shown)))
        if line is not None and to_line
        else words.decision(found, tolerance, present),
        units=request.units,
        verdict="use-line" if to_line and not words.far_off(found) else found.verdict,
        pairing=found.pairing,
        pairing_reason=found.pairs.reason,
        advised_offset=0.0 if to_line else found.advised,
        offset=found.offset,
        whole_offset=whole,
        half_width=found.half_width,
        doubt=_doubt_part(found.doubt),
        readings=found.readings,
        samples=found.samples,
        reading_sd=found.sd,
        t_half_width=found.t_half_width,
        dropped=[_dropped(one) for one in found.dropped],
        more_readings=found.more_readings,
        more_samples=found.more_samples,
        readings_for_tolerance=_for_tolerance(tolerance, found),
        reference_tolerance=allowed,
        rebound=None if rebound is None else ReboundFound(**asdict(rebound)),
        temperature_correction=curve,
        drift=drift,
        pooled=None if found.pooled is None else _pooled_part(found.pooled),
        line=line,
        assumed=words.assumed(request.reference, bias, found,
                              has_spread=request.earlier_sd is not None,
                              stated=request.reference_uncertainty is not None,
                              has_present=present is not None),
        methods=methods_used(*map(use, _methods(found, drift, line))),
        notes=words.notes(found, rebound, moisture, reference=request.reference,
                          drifting=drifting,
                          unused=present is None and bool(request.earlier_offsets),
                          slope=line.slope if line is not None and to_line else None,
                          tolerance=tolerance, curve=curve, reference_tolerance=allowed,
                          usual_sd=request.earlier_sd or meter_doubt.one_reading_sd(moisture)[0]),
        cautions=cautions("meter-uncertain"),
    )  # fmt: skip


def _rebound(request: MeterCheckRequest, reading_sd: float) -> meter_corrections.Rebound | None:
    back = request.rebound
    if back is None:
        return None
    return meter_corrections.rebound(back.hot, back.rested, back.sealed, reading_sd=reading_sd)


def _doubt_part(doubt: meter.Doubt) -> DoubtPart:
    return DoubtPart(
        repeatability=doubt.repeatability,
        sampling=doubt.sampling,
        bias=doubt.bias,
        total=doubt.total,
    )


def _pooled_part(pooled: meter.Pooled) -> PooledPart:
    return PooledPart(
        offset=pooled.offset,
        half_width=pooled.half_width,
        uncertainty=pooled.total,
        checks=pooled.checks,
    )


def _reference_sd(request: MeterCheckRequest, moisture: float) -> float:
    if request.reference_uncertainty is not None:
        return request.reference_uncertainty
    if request.reference == "oven":
        return meter_doubt.one_reading_sd(moisture)[2]
    if request.reference == "licensed":
        # a tolerance taken as a uniform distribution over its width
        return meter_corrections.reference_tolerance(request.grain, moisture) / ROOT_3
    if request.reference == "other":
        raise Inconsistent(
            "another reference needs its own `reference_uncertainty`", "reference_uncertainty"
        )
    return 0.0


def _for_tolerance(tolerance: float, found: meter.MeterCheck) -> int | None:
    spread = found.doubt.repeat_sd
    if (1.96 * spread / tolerance) ** 2 > 5000:
        return None
    return meter_doubt.readings_needed(spread, tolerance)


def _correction(request: MeterCheckRequest) -> float | None:
    curve = request.temperature_curve
    if curve is None:
        return None
    return float(
        meter_corrections.temperature_correction(
            curve.grain_temperature, curve.temperatures, curve.corrections
        )
    )


def _dropped(dropped: meter.Dropped) -> DroppedPart:
    return DroppedPart(
        sample=dropped.sample,
        of=dropped.of,
        reading=dropped.reading,
        value=dropped.value,
        test=dropped.test.method.id,
        statistic=dropped.test.statistic,
        critical=dropped.test.critical,
    )


def _drift(request: MeterCheckRequest, offset: float) -> DriftPart | None:
    earlier = request.earlier_offsets or []
    if len(earlier) < charts.BASE_CHECKS:
        return None
    found = charts.offset_drift([*earlier, offset])
    return DriftPart(
        drifting=found.drifting,
        usual_offset=found.centre,
        average=float(found.ewma.values[-1]),
        average_limit=found.ewma.limit,
        sum=float(found.cusum.values[-1]),
        sum_limit=found.cusum.limit,
    )


def _line(
    samples: list[meter.Sample], pairing: meter_pairing.Pairing, resolution: float
) -> LinePart | None:
    x = np.array([np.mean(s.meter) for s in samples])
    y = np.array([np.mean(s.reference) for s in samples])
    few = x.size < FEWEST_FOR_LINE or np.ptp(x) < RANGE_FOR_LINE
    if few or np.ptp(y) == 0 or pairing == "broken":
        return None
    try:
        line = deming.deming_line(x, y)
    except Inconsistent:  # no slope once a sample is left out
        return None
    if line.slope <= 0:
        return None
    half = line.t * line.slope_se
    apart = abs(line.slope - 1.0)
    ends = apart * float(np.ptp(x)) / 2.0  # what one offset for all is off by at either end
    return LinePart(
        slope=line.slope,
        slope_low=line.slope - half,
        slope_high=line.slope + half,
        intercept=line.intercept,
        intercept_half_width=line.t * line.intercept_se,
        slope_matters=apart > half + ROUNDING and ends >= resolution,
    )


def _methods(
    found: meter.MeterCheck, drift: DriftPart | None, line: LinePart | None
) -> tuple[Method, ...]:
    return (
        meter_doubt.STUDY,
        meter_doubt.T_INTERVAL,
        meter_doubt.PARTS_INTERVAL,
        *((meter.SHRINKAGE,) if found.verdict == "apply-shrunken" else ()),
        *dict.fromkeys(one.test.method for one in found.dropped),
        *(charts.METHODS if drift is not None else ()),
        *(meter_history.METHODS if found.pooled is not None else ()),
        *(deming.METHODS if line is not None else ()),
        meter_corrections.HANDBOOK_44,
    )
