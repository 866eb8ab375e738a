"""Run review: what a dryer's log says afterwards."""

from __future__ import annotations

from fastapi import APIRouter

from outfeed.fuel import EIA_HEAT
from outfeed.methods import MethodUse, use
from outfeed.moisture import OVER_DRYING
from outfeed.review import DRIFT, ENERGY, STREAM, Drift, Energy, Review, Stream, review
from outfeed.settled_pairs import COLUMN_LINE, SETTLED, InletGroup
from outfeed.spells import SUSPICION
from outfeed_api.models import MOST_ENTRIES, cautions, methods_used
from outfeed_api.pictures import canvas
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import run_review_words as words
from outfeed_api.routes.run_review_log import clock_of, from_csv, log_of
from outfeed_api.routes.run_review_models import (
    ColumnResponse,
    EnergyReview,
    MeterReview,
    MoistureReview,
    OverDryingReview,
    RunReviewAnswer,
    RunReviewRequest,
    SpellReview,
    StartingPoint,
)
from outfeed_api.wording import spell_words

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])


def _draw(request: RunReviewRequest, answer: RunReviewAnswer, media_type: str) -> bytes:
    from outfeed_api.pictures.run_review import run_review_picture

    if request._review is None:
        raise ValueError("a picture needs the review it shows")
    return run_review_picture(
        request._review, answer, clock_of(request), request.target, media_type
    )


@router.post(
    "/run-review",
    summary="What a dryer's log says afterwards",
    operation_id="run_review",
    response_model_exclude_none=True,
)
@computes(
    heavy=True,
    reads={"text/csv": from_csv},
    writes=canvas.writers(_draw),
    logs=frozenset({"text/csv"}),
)
def run_review(request: RunReviewRequest) -> RunReviewAnswer:
    """Moisture, energy, money, starting points for next year, the meter, and what to look at.

    As CSV the log has a header; its first column is `time` (date-times with an offset) or
    `elapsed` (minutes), the others are named as here, column temperatures
    `column_temperature_1` to `column_temperature_12`; everything else stands in the query, and an
    empty cell is a reading that was not taken. A CSV log may hold a million rows and 100 MB (the
    operator of the service can set another size), a JSON log 100,000 rows. Pictures:
    `Accept: image/svg+xml` or `image/png`.
    """
    result = review(
        log_of(request),
        target_wb=request.target,
        hold_up=request.hold_up,
        market_wb=request.market_moisture,
        kind=request.dryer_kind,
        grain_price=request.grain_price or 0.0,
        heat_price=request.heat_price or 0.0,
        heat_used=request.heat_used,
    )
    request._review = result
    clock = clock_of(request)
    run = result.run
    over = result.over_dried
    return RunReviewAnswer(
        decision=words.decision(request, result),
        units=request.units,
        grain=float(run.grain.sum()),
        hours=float(run.seconds.sum()),
        running_hours=float(run.seconds[run.running].sum()),
        moisture=None if result.stream is None else _moisture(result.stream),
        energy=None if result.energy is None else _energy(result.energy),
        over_drying=None
        if over is None
        else OverDryingReview(
            grain=over.grain,
            weight_given_away=over.weight_given_away,
            money=None if request.grain_price is None else over.money,
            fuel_money=None
            if request.heat_price is None or result.energy is None
            else over.fuel_money,
        ),
        starts=[_start(group) for group in result.groups],
        column_response=None
        if result.line is None
        else ColumnResponse(
            per_degree=result.line.sensitivity,
            per_degree_doubt=result.line.sensitivity_sd,
            per_inlet_point=result.line.inlet_effect,
            per_inlet_point_doubt=result.line.inlet_effect_sd,
        ),
        meter=[_meter(drift) for drift in result.drifts],
        spells=[
            SpellReview(
                kind=spell.kind,
                column=spell.channel,
                start=clock.stamp(spell.start_s),
                start_elapsed=clock.minute(spell.start_s),
                hours=spell.seconds,
                what=spell_words(spell, request.units, clock),
            )
            for spell in result.spells[:MOST_ENTRIES]
        ],
        spells_found=len(result.spells),
        assumed=words.assumed(request, result),
        methods=methods_used(*_methods(request, result)),
        notes=words.notes(request, result),
        cautions=cautions(*words.caution_codes(result)),
    )


def _moisture(stream: Stream) -> MoistureReview:
    return MoistureReview(
        mean=stream.mean_wb,
        spread=stream.sd,
        low=stream.low_wb,
        high=stream.high_wb,
        on_target=stream.on_target_share,
        too_wet=stream.too_wet_share,
        too_dry=stream.too_dry_share,
        time_on_target=stream.on_target_time_share,
        grain_read=stream.read_share,
    )


def _energy(energy: Energy) -> EnergyReview:
    known = energy.published
    return EnergyReview(
        heat=energy.heat,
        water=energy.water,
        points=energy.points,
        per_water=energy.per_water,
        low=energy.low,
        high=energy.high,
        grain_covered=energy.covered_share,
        heat_read=energy.heat_read_share,
        published_low=None if known is None else known.low,
        published_high=None if known is None else known.high,
        published_source=None if known is None else known.source,
        verdict=energy.verdict,
    )


def _start(group: InletGroup) -> StartingPoint:
    return StartingPoint(
        inlet_moisture=group.inlet_wb,
        settled_transits=group.pairs,
        rate=group.rate,
        column_temperature=group.column,
        moisture=group.outlet_wb,
        spread=group.outlet_sd,
        setpoint=group.start_setpoint,
        setpoint_low=group.setpoint_low,
        setpoint_high=group.setpoint_high,
    )


def _meter(drift: Drift) -> MeterReview:
    samples = drift.basis == "samples"
    day = 86400.0
    return MeterReview(
        basis=drift.basis,
        count=drift.count,
        offset=drift.offset if samples else None,
        offset_low=drift.offset_low if samples and drift.count > 1 else None,
        offset_high=drift.offset_high if samples and drift.count > 1 else None,
        per_day=drift.per_day / day,
        per_day_low=drift.per_day_low / day,
        per_day_high=drift.per_day_high / day,
        verdict=drift.verdict,
    )


def _methods(request: RunReviewRequest, result: Review) -> list[MethodUse]:
    used = []
    if result.stream is not None:
        used += [use(STREAM), use(OVER_DRYING)]
    if result.energy is not None:
        used.append(use(ENERGY))
    if request.fuel is not None:
        used.append(use(EIA_HEAT))
    if result.groups:
        used += [use(SETTLED), use(COLUMN_LINE)]
    if result.drifts:
        used.append(use(DRIFT))
    return [*used, use(SUSPICION)]
