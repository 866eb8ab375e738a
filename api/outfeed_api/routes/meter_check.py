"""Meter check: how far off is the dryer's moisture meter, and may the difference be applied."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
from fastapi import APIRouter

from outfeed.errors import Inconsistent
from outfeed.methods import Method, use
from outfeed.steering import (
    charts,
    deming,
    meter,
    meter_corrections,
    meter_doubt,
    meter_history,
    meter_pairing,
    meter_plan,
)
from outfeed_api.models import cautions, methods_used
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import meter_notes
from outfeed_api.routes import meter_words as words
from outfeed_api.routes.meter_models import (
    DoubtPart,
    DriftPart,
    DroppedPart,
    LinePart,
    MeterCheckAnswer,
    MeterCheckRequest,
    PlanPart,
    PooledPart,
    ReboundFound,
)
from outfeed_api.routes.meter_phrases import far_off, plannable, to_read_again

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["steering"])

FEWEST_FOR_LINE = 5
RANGE_FOR_LINE = 0.04
ROOT_3 = 3.0**0.5
ROUNDING = 1e-9


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
    to_line = line is not None and line.slope_matters and not to_read_again(found)
    shown = [float(np.mean(s.meter)) for s in kept]
    rebound, curve = _rebound(request, found.doubt.repeat_sd), _correction(request)
    tolerance = words.TOLERANCE if request.tolerance is None else request.tolerance
    allowed = meter_corrections.reference_tolerance(request.grain, moisture)
    return MeterCheckAnswer(
        decision=words.line_decision(found, line.intercept, line.slope, (min(shown), max(shown)))
        if line is not None and to_line
        else words.decision(found, tolerance, present),
        units=request.units,
        verdict="use-line" if to_line and not far_off(found) else found.verdict,
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
        plan=[PlanPart(**asdict(row)) for row in meter_plan.plan_check(found, tolerance)]
        if plannable(found) and not to_line
        else [],
        readings_for_tolerance=_for_tolerance(tolerance, found),
        reference_tolerance=allowed,
        rebound=None if rebound is None else ReboundFound(**asdict(rebound)),
        temperature_correction=curve,
        drift=drift,
        pooled=None if found.pooled is None else _pooled_part(found.pooled),
        line=line,
        assumed=meter_notes.assumed(request.reference, bias, found,
                              has_spread=request.earlier_sd is not None,
                              stated=request.reference_uncertainty is not None,
                              has_present=present is not None),
        methods=methods_used(*map(use, _methods(found, drift, line))),
        notes=meter_notes.notes(found, rebound, moisture, reference=request.reference,
                          drifting=drifting,
                          unused=present is None and bool(request.earlier_offsets),
                          slope=line.slope if line is not None and to_line else None,
                          tolerance=tolerance, curve=curve, reference_tolerance=allowed,
                          usual_sd=request.earlier_sd or meter_doubt.one_reading_sd(moisture)[0],
                          has_spread=request.earlier_sd is not None),
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
        scatter=pooled.scatter,
        left_out=None if pooled.left_out is None else pooled.left_out.index,
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
    unlike = None if found.pooled is None else found.pooled.left_out
    tests = (*(one.test for one in found.dropped), found.pairs.odd, unlike)
    return (
        meter_doubt.STUDY,
        meter_doubt.T_INTERVAL,
        meter_doubt.PARTS_INTERVAL,
        *((meter.SHRINKAGE,) if found.verdict == "apply-shrunken" else ()),
        *dict.fromkeys(test.method for test in tests if test is not None),
        *(charts.METHODS if drift is not None else ()),
        *(meter_history.METHODS if found.pooled is not None else ()),
        *(deming.METHODS if line is not None else ()),
        meter_corrections.HANDBOOK_44,
    )
