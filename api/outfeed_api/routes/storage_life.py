"""Storage life: how long grain keeps, how much of that is gone, and how dry is dry enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from fastapi import APIRouter

from outfeed import Inconsistent, OutfeedError, OutOfRange
from outfeed.arrays import BoolArray, FloatArray
from outfeed.grains import Grain, load_grain
from outfeed.isotherm_spread import moisture_band
from outfeed.methods import MethodUse, use
from outfeed.moisture import wet_basis
from outfeed.sorption import equilibrium_moisture, isotherm_method, isotherms_of
from outfeed.storage_charts import CELLS, Chart, chart_life, charts_of
from outfeed.storage_life import (
    FORMULA,
    FORMULA_MOISTURE,
    FORMULA_TEMPERATURE,
    GRADE_LOSS,
    USUAL_DAMAGE,
    has_formula,
)
from outfeed.storage_moisture import SAME_MOISTURE, STORAGE_MOISTURES, holds_at
from outfeed.storage_use import ADDED_UP, LifeUsed, life_left, used_by_chart, used_by_formula
from outfeed_api.models import cautions, methods_used
from outfeed_api.moments import in_order
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import storage_words as words
from outfeed_api.routes.season_models import Hourly
from outfeed_api.routes.storage_models import (
    AirMoisture,
    SafeMoisture,
    SourceLife,
    StateLife,
    Stay,
    StorageLifeAnswer,
    StorageLifeRequest,
)

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])

FORMULA_CRITERION = "the dry-matter loss allowed"


@dataclass(frozen=True, slots=True)
class Source:
    """The formula, or a chart, under one face."""

    chart: Chart | None
    request: StorageLifeRequest

    @property
    def id(self) -> str:
        """Method id, told apart for single cells of different sources."""
        return FORMULA.id if self.chart is None else self.chart.id

    @property
    def is_cells(self) -> bool:
        """Whether it is a handful of printed cells, not a whole chart."""
        return self.chart is not None and self.chart.method is CELLS

    @property
    def keeps_germination(self) -> bool:
        """Whether its life ends with germination."""
        return self.chart is not None and "germination" in self.chart.criterion

    def used(self, duration: object, temperature: object, moisture: object) -> LifeUsed:
        """Running share of life used up over stays."""
        stays, warm, wet = np.asarray(duration), np.asarray(temperature), np.asarray(moisture)
        if self.chart is not None:
            return used_by_chart(self.chart, stays, warm, wet)
        asked = self.request
        return used_by_formula(
            stays, warm, wet,
            damage=USUAL_DAMAGE if asked.damage is None else asked.damage,
            permissible_loss=asked.permissible_loss or GRADE_LOSS,
            further=asked.further_multiplier or 1.0,
        )  # fmt: skip

    def look_up(self, warm: FloatArray, wet: FloatArray) -> tuple[FloatArray, BoolArray]:
        """Life at many states [s], NaN where this source does not speak, and whether a bound."""
        if self.chart is not None:
            read = chart_life(self.chart, warm, wet)
            speaks = read.readable & ~(read.at_least & self.is_cells)
            return np.where(speaks, read.life, np.nan), np.asarray(read.at_least)
        good = FORMULA_TEMPERATURE.contains(warm) & FORMULA_MOISTURE.contains(wet)
        life = np.full(warm.shape, np.nan)
        life[good] = self.used(np.zeros(int(good.sum())), warm[good], wet[good]).life
        return life, np.zeros(warm.shape, dtype=np.bool_)


@router.post(
    "/storage-life",
    summary="How long grain keeps, and how much of that is used up",
    operation_id="storage_life",
    response_model_exclude_none=True,
)
@computes(heavy=True)
def storage_life(request: StorageLifeRequest) -> StorageLifeAnswer:
    """Allowable storage time by every published source, side by side.

    Give the grain's `temperature` and `moisture` now, its `history` of stays, a `plan` of stays to
    come, or many `states`. Life adds up over stays. Charts are never extended: where a chart says
    "longer", or for colder or drier grain than it shows, the answer says "at least".
    """
    grain = load_grain(request.grain)
    if (request.temperature is None) != (request.moisture is None):
        raise Inconsistent("temperature and moisture go together", "temperature", "moisture")
    if request.temperature is None and not request.states:
        raise Inconsistent("give temperature and moisture, or states", "temperature")
    if request.temperature is None and (request.history or request.plan):
        raise Inconsistent("stays need the temperature and moisture now", "temperature")
    sources = _sources(request, grain)
    rows = None if request.temperature is None else [_row(request, one) for one in sources]
    counted = _counted(request, sources, rows or [])
    safe = _safe(request, grain)
    return StorageLifeAnswer(
        decision=words.decision(request, grain, counted, safe),
        units=request.units,
        grain=grain.id,
        by_source=rows,
        left_shortest=min((row.left for row in counted if row.left is not None), default=None),
        left_longest=max((row.left for row in counted if row.left is not None), default=None),
        holding_limit=words.holding_limit(request, counted),
        states=_states(request, sources) if request.states else None,
        safe_moistures=safe,
        outdoor_air=_outdoor(request, grain),
        assumed=words.assumed(request, grain),
        methods=methods_used(*_methods(request, grain, sources)),
        notes=words.notes(request, grain, counted),
        cautions=cautions(*words.caution_codes(request, counted, rows, safe)),
    )


def _sources(request: StorageLifeRequest, grain: Grain) -> list[Source]:
    formula = [Source(None, request)] if has_formula(grain) else []
    return [*formula, *(Source(chart, request) for chart in charts_of(grain))]


def _columns(stays: list[Stay]) -> tuple[list[float], list[float], list[float]]:
    return (
        [stay.duration for stay in stays],
        [stay.temperature for stay in stays],
        [stay.moisture for stay in stays],
    )


def _row(request: StorageLifeRequest, source: Source) -> SourceLife:
    """What one source says of now, the history and the plan."""
    chart = source.chart
    blank = SourceLife(
        source=source.id,
        title=FORMULA.title if chart is None else chart.title,
        criterion=FORMULA_CRITERION if chart is None else chart.criterion,
        citation=FORMULA.source if chart is None else chart.source,
    )
    try:
        now = source.used([0.0], [request.temperature], [request.moisture])
        past = source.used(*_columns(request.history or []))
        rest = source.used(*_columns(request.plan or []))
    except OutfeedError as error:
        return blank.model_copy(update={"no_value": _why_not(error)})
    used = float(past.used[-1]) if request.history else 0.0
    life = float(now.life[0])
    lost = None if past.loss is None else (float(past.loss[-1]) if request.history else 0.0)
    after = used + rest.used if request.plan else None
    return blank.model_copy(
        update={
            "life": life,
            "at_least": bool(now.at_least[0]),
            "used": used,
            "used_at_most": past.at_most,
            "left": float(life_left(used, life)),
            "used_after_plan": None if after is None else float(after[-1]),
            "after_plan_at_most": None if after is None else past.at_most or rest.at_most,
            "left_after_plan": None
            if after is None
            else float(life_left(after[-1], rest.life[-1])),
            "over_after": None if after is None else _over(request.plan or [], used, rest),
            "dry_matter_lost": lost,
        }
    )


def _why_not(error: OutfeedError) -> str:
    if isinstance(error, OutOfRange):
        return f"the {error.quantity} lies outside what this formula covers"
    return "this chart prints nothing so warm or wet, or nothing between its single cells here"


def _over(plan: list[Stay], used: float, rest: LifeUsed) -> float | None:
    """When, into the plan, the life is over."""
    reached, gone = used, 0.0
    if used >= 1.0:
        return 0.0
    for stay, total, life in zip(plan, used + rest.used, rest.life, strict=True):
        if total > 1.0:
            return gone + (1.0 - reached) * float(life)
        reached, gone = float(total), gone + stay.duration
    return None


def _counted(
    request: StorageLifeRequest, sources: list[Source], rows: list[SourceLife]
) -> list[SourceLife]:
    """Rows that speak for the criterion asked: not mere bounds off single printed cells."""
    wanted = bool(request.germination)
    speaking = [
        (source.is_cells and bool(row.at_least), row)
        for source, row in zip(sources, rows, strict=False)
        if row.left is not None and (wanted or not source.keeps_germination)
    ]
    firm = [row for weak, row in speaking if not weak]
    return firm or [row for _, row in speaking]


def _states(request: StorageLifeRequest, sources: list[Source]) -> list[StateLife]:
    """Shortest and longest life of each state over the sources that speak for it."""
    given = request.states or []
    warm = np.asarray([state.temperature for state in given])
    wet = np.asarray([state.moisture for state in given])
    asked = [one for one in sources if request.germination or not one.keeps_germination]
    if not asked:
        return [StateLife(temperature=s.temperature, moisture=s.moisture) for s in given]
    lives, bounds = (
        np.stack(part) for part in zip(*(s.look_up(warm, wet) for s in asked), strict=True)
    )
    first, known = np.argmin(np.where(np.isnan(lives), np.inf, lives), axis=0), ~np.isnan(lives)
    found: list[StateLife] = []
    for n, state in enumerate(given):
        blank = StateLife(temperature=state.temperature, moisture=state.moisture)
        best = int(first[n])
        facts = {
            "shortest": float(lives[best, n]),
            "longest": float(lives[known[:, n], n].max()) if known[:, n].any() else None,
            "at_least": bool(bounds[best, n]),
            "by": asked[best].id,
        }
        found.append(blank.model_copy(update=facts) if known[:, n].any() else blank)
    return found


def _safe(request: StorageLifeRequest, grain: Grain) -> list[SafeMoisture]:
    wet, warm = request.moisture, words.warmest(request)
    return [
        SafeMoisture(
            low=row.low,
            high=row.high,
            duration=row.duration,
            warmest=row.warmest,
            source=row.source,
            note=row.note or None,
            dry_enough=None
            if wet is None
            else wet <= row.high + SAME_MOISTURE and holds_at(row, warm),
        )
        for row in words.shown(request, grain)
    ]


def _outdoor(request: StorageLifeRequest, grain: Grain) -> AirMoisture | None:
    air, humid = request.air_temperature, request.air_humidity
    if request.hourly is not None:
        if air is not None or humid is not None:
            raise Inconsistent("give one state of outdoor air or `hourly`, not both", "hourly")
        return _outdoor_by_hour(request.hourly, request.moisture, grain)
    if (air is None) != (humid is None):
        raise Inconsistent(
            "air_temperature and air_humidity go together", "air_temperature", "air_humidity"
        )
    if air is None or humid is None:
        return None
    isotherm = grain.isotherm()
    band = moisture_band(isotherms_of(grain), air, humid)
    return AirMoisture(
        moisture=float(wet_basis(equilibrium_moisture(isotherm, air, humid))),
        low=float(wet_basis(band.low)) if band.sets > 1 else None,
        high=float(wet_basis(band.high)) if band.sets > 1 else None,
        isotherm=isotherm.method,
    )


def _outdoor_by_hour(given: Hourly, moisture: float | None, grain: Grain) -> AirMoisture:
    """Where each hour's outdoor air would bring the grain."""
    if not given.temperature:
        raise Inconsistent("give at least one hour", "hourly")
    in_order(given, given.temperature, "hourly")
    in_order(given, given.relative_humidity, "hourly")
    isotherm = grain.isotherm()
    air, humid = np.asarray(given.temperature), np.asarray(given.relative_humidity)
    by_hour = wet_basis(equilibrium_moisture(isotherm, air, humid))
    return AirMoisture(
        moisture=float(np.mean(by_hour)),
        isotherm=isotherm.method,
        by_hour=by_hour.tolist(),
        drying_share=None if moisture is None else float(np.mean(by_hour < moisture)),
    )


def _methods(request: StorageLifeRequest, grain: Grain, sources: list[Source]) -> list[MethodUse]:
    warm, wet = request.temperature, request.moisture
    state = {} if warm is None else {"grain_temperature": warm, "moisture_wet_basis": wet}
    uses = [use(FORMULA if one.chart is None else one.chart.method, **state) for one in sources]
    if request.history or request.plan:
        uses.append(use(ADDED_UP))
    if grain.storage_moistures:
        uses.append(use(STORAGE_MOISTURES))
    if request.air_temperature is not None or request.hourly is not None:
        uses.append(use(isotherm_method(grain.isotherm())))
    return uses
