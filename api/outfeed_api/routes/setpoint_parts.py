"""Parts of the answer of setpoint advice."""

from __future__ import annotations

from typing import Any, cast

from outfeed.steering import belief as believing
from outfeed.steering import setpoint
from outfeed.steering.pairs import Pairs
from outfeed.steering.spread import spread_of
from outfeed.steering.trend import Trend
from outfeed_api.moments import Clock
from outfeed_api.routes.setpoint_kept import BeliefPart, RunPart
from outfeed_api.routes.setpoint_models import (
    INLETS_IN_TABLE,
    PAIRS_SHOWN,
    InletRow,
    PairPart,
    SetpointAdviceRequest,
    TrendPart,
)
from outfeed_api.routes.trend_models import Verdict
from outfeed_api.units import UnitSystem


def table_of(
    request: SetpointAdviceRequest,
    belief: believing.Belief | None,
    situation: setpoint.Situation,
) -> list[InletRow]:
    """Setpoints against inlet moisture; empty where no inlet moisture is known."""
    if belief is None or situation.inlet_wb is None or belief.reference_inlet_wb <= 0:
        return []
    middle = round(situation.inlet_wb * 100.0)
    points = range(middle - INLETS_IN_TABLE // 2, middle + INLETS_IN_TABLE // 2 + 1)
    inlets = tuple(p / 100.0 for p in points if request.target * 100.0 < p <= 45)
    return [
        InletRow(
            inlet=inlet,
            setpoint=value,
            uncertainty=spread,
            above_limit=situation.highest is not None and value > situation.highest,
        )
        for inlet, (value, spread) in zip(
            inlets, setpoint.setpoint_table(belief, situation, inlets), strict=True
        )
    ]


def trend_part(trend: Trend | None) -> TrendPart | None:
    """The trend, for the answer."""
    if trend is None:
        return None
    return TrendPart(
        verdict=cast("Verdict", trend.verdict),
        slope=trend.slope / 3600.0,
        slope_low=trend.slope_low / 3600.0,
        slope_high=trend.slope_high / 3600.0,
        offset=trend.offset,
        crossings_per_two_hours=trend.crossings_per_two_hours,
    )


def matched_of(clock: Clock, pairs: Pairs, doubted: tuple[int, ...]) -> list[PairPart]:
    """The latest readings with what they belong to."""
    return [
        PairPart(
            at=clock.stamp(float(pairs.times_s[k])),
            at_elapsed=clock.minute(float(pairs.times_s[k])),
            moisture=float(pairs.moistures_wb[k]),
            lag=float(pairs.times_s[k] - pairs.passage_s[k]),
            column_temperature=float(pairs.temperatures[k]) if pairs.found[k] else None,
            doubted=k in doubted,
        )
        for k in range(max(0, pairs.times_s.size - PAIRS_SHOWN), pairs.times_s.size)
    ]


def belief_part(clock: Clock, belief: believing.Belief, units: UnitSystem) -> BeliefPart:
    """What is known, for the caller to keep: within what is taken back, whatever was learned."""
    (level, slope, inlet), correlations = spread_of(belief)
    elapsed = clock.minute(belief.at_s)
    at = {"at_elapsed": elapsed} if elapsed is not None else {"at": clock.exact(belief.at_s)}
    transit = belief.reference_transit_s
    more: dict[str, Any] = {"reference_transit": transit} if transit > 0 else {}
    if belief.grain:
        more["grain"] = belief.grain
    if belief.run is not None:
        run = belief.run
        more["run"] = RunPart(
            readings=run.readings,
            off=believing.DOUBT.nearest(run.off),
            spread=believing.LEVEL_SD.nearest(run.spread),
            followed=believing.DOUBT.nearest(run.followed),
        )
    return BeliefPart(
        units=units,
        reference_temperature=belief.reference_temperature,
        reference_inlet=belief.reference_inlet_wb,
        level=believing.LEVEL.nearest(belief.level),
        level_sd=believing.LEVEL_SD.nearest(level),
        sensitivity=believing.SENSITIVITY.nearest(belief.sensitivity),
        sensitivity_sd=believing.SENSITIVITY_SD.nearest(slope),
        sensitivity_prior=belief.prior_sensitivity,
        inlet_effect=believing.INLET_EFFECT.nearest(belief.inlet_effect),
        inlet_effect_sd=believing.INLET_EFFECT_SD.nearest(inlet),
        correlations=[believing.CORRELATION.nearest(one) for one in correlations],
        readings=belief.readings,
        last_doubt=believing.DOUBT.nearest(belief.last_doubt),
        **more,
        **at,
    )
