"""Shrink: what is left when grain is dried, what a buyer takes, what over-drying gives away."""

from __future__ import annotations

import math

import numpy as np
from fastapi import APIRouter

from outfeed.arrays import FloatArray
from outfeed.dryer.assume import SPECIFIC_ENERGY
from outfeed.fuel import cost_of_heat
from outfeed.grains import load_grain
from outfeed.methods import MethodUse, use
from outfeed.moisture import (
    HANDLING,
    OVER_DRYING,
    USUAL_HANDLING_LOSS,
    WATER_SHRINK,
    Shrink,
    over_drying,
    shrink,
    wet_weight_for,
)
from outfeed.shrink import FLAT_FACTOR, Settlement, settle
from outfeed_api.models import LONGEST_TEXT, Assumed, AssumedQuantity, cautions, methods_used
from outfeed_api.problems import NOT_PUBLISHED, ProblemError, field_error
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.shrink_loads import Loads, loads_of, read_csv, write_csv
from outfeed_api.routes.shrink_models import (
    BuyerFigures,
    LoadFigures,
    OverDryingFigures,
    ShrinkAnswer,
    ShrinkColumnsAnswer,
    ShrinkFigures,
    ShrinkRequest,
)
from outfeed_api.rows import RefusedRow, refuse_twice
from outfeed_api.units import QUANTITIES, say
from outfeed_api.wording import assumed_handling_loss

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["air and grain"])

USUAL_ENERGY = SPECIFIC_ENERGY["cross-flow"]
FINE_UP_TO = 1000.0  # lb or kg; weights of so light a load are said to a tenth


@router.post(
    "/shrink",
    summary="Weight left when grain is dried",
    operation_id="shrink",
    response_model_exclude_none=True,
)
@computes(reads={"text/csv": read_csv}, writes={"text/csv": write_csv})
def shrink_loads(request: ShrinkRequest) -> ShrinkAnswer:
    """Water shrink, handling loss, final weight and bushels, for one load or 100,000.

    Beside the true figure stand buyers' flat factors and the money between them. Give one load
    (`weight` or `amount`, with `moisture`), the dry weight you want (`wanted_weight`), `loads` as
    rows or `columns`. A load at fault is refused in its place; the totals say what they cover.
    CSV with a header `weight,moisture` (and `id`) may be sent as `text/csv` with `units` and
    `grain` in the query, and asked for with `Accept: text/csv`.
    """
    refuse_twice([buyer.name for buyer in request.buyers])
    final, loss = _final_moisture(request), _handling_loss(request)
    loads = loads_of(request)
    good = np.isfinite(loads.weight)
    wet, moisture = loads.weight[good], loads.moisture[good]
    if request.wanted_weight is not None:
        wet = np.atleast_1d(wet_weight_for(wet, moisture, final, loss))
    parts = shrink(wet, moisture, final, loss)
    totals = _totals(parts)
    buyers = [
        _buyer(request, settle(rule, wet, moisture, request.price or 0.0, loss), rule.name,
               rule.base_moisture_wb, totals.wet_weight)
        for rule in (entry.rule(final) for entry in request.buyers)
    ]  # fmt: skip
    lost = _over_drying(request, final, moisture, parts)
    return ShrinkAnswer(
        decision=_decision(request, final, totals, buyers, int(good.sum()), len(loads.refused)),
        units=request.units,
        final_moisture=final,
        covered=int(good.sum()),
        refused=len(loads.refused),
        totals=totals,
        buyers=buyers,
        loads=_rows(loads, parts) if request.loads is not None else None,
        columns=_columns(loads, parts) if request.columns is not None else None,
        over_drying=lost,
        assumed=_assumed(request, final),
        methods=methods_used(*_methods(request, moisture, final, loss)),
        notes=_notes(request, moisture, final, lost),
        cautions=cautions(*(["over-drying"] if lost is not None else [])),
    )


def _final_moisture(request: ShrinkRequest) -> float:
    if request.final_moisture is not None:
        return request.final_moisture
    known = load_grain(request.grain).market_moisture
    if not known:
        detail = "no market moisture of this grain is on record; give `final_moisture`"
        raise ProblemError(NOT_PUBLISHED, detail, [field_error("/final_moisture", detail)])
    return known[0].value


def _handling_loss(request: ShrinkRequest) -> float:
    return USUAL_HANDLING_LOSS if request.handling_loss is None else request.handling_loss


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0.0 else 0.0


def _sum(values: FloatArray) -> float:
    return math.fsum(np.atleast_1d(values))


def _totals(parts: Shrink) -> ShrinkFigures:
    wet, water = _sum(parts.wet_weight), _sum(parts.water_removed)
    handling, final = _sum(parts.handling_lost), _sum(parts.final_weight)
    return ShrinkFigures(
        wet_weight=wet,
        final_weight=final,
        final_grain=final,
        water_removed=water,
        handling_lost=handling,
        dry_matter=_sum(parts.dry_matter),
        water_shrink=_share(water, wet),
        total_shrink=_share(water + handling, wet),
    )


def _buyer(
    request: ShrinkRequest, settled: Settlement, name: str, base: float, wet: float
) -> BuyerFigures:
    paid, true = _sum(settled.paid_weight), _sum(settled.true_weight)
    money = {
        field: _sum(getattr(settled, field)) if request.price is not None else None
        for field in ("true_value", "shrink_gap", "discount", "charge", "paid", "gap")
    }
    return BuyerFigures(
        buyer=name,
        base_moisture=base,
        paid_weight=paid,
        true_weight=true,
        weight_gap=true - paid,
        buyer_shrink=_share(wet - paid, wet),
        true_shrink=_share(wet - true, wet),
        **money,
    )


def _rows(loads: Loads, parts: Shrink) -> list[LoadFigures | RefusedRow]:
    """One entry a row: figures, or what is wrong with it."""
    columns = zip(
        *(
            np.atleast_1d(getattr(parts, name)).tolist()
            for name in (
                "wet_weight", "final_weight", "final_weight", "water_removed", "handling_lost",
                "dry_matter", "water_shrink", "total_shrink",
            )
        ),
        strict=True,
    )  # fmt: skip
    names = tuple(ShrinkFigures.model_fields)
    return [
        loads.refused[index]
        if index in loads.refused
        else LoadFigures.model_construct(
            row=index + 1, id=ticket, **dict(zip(names, next(columns), strict=True))
        )
        for index, ticket in enumerate(loads.ids)
    ]


def _columns(loads: Loads, parts: Shrink) -> ShrinkColumnsAnswer:
    def column(values: FloatArray) -> list[float | None]:
        source = iter(np.atleast_1d(values).tolist())
        return [None if index in loads.refused else next(source) for index in range(len(loads.ids))]

    return ShrinkColumnsAnswer(
        final_weights=column(parts.final_weight),
        water_removed=column(parts.water_removed),
        total_shrinks=column(parts.total_shrink),
        refused=list(loads.refused.values()),
    )


def _over_drying(
    request: ShrinkRequest, final: float, moisture: FloatArray, parts: Shrink
) -> OverDryingFigures | None:
    """What is lost when all of it is dried further than the final moisture.

    Grain that came drier than that loses only from its own moisture on, and none below the aim.
    """
    if request.over_dried_to is None:
        return None
    aim, saleable = request.over_dried_to, np.minimum(moisture, final)
    dry_matter = np.atleast_1d(parts.final_dry_matter)
    lost = _sum(over_drying(dry_matter / (1.0 - aim), aim, saleable).weight_given_away)
    if lost <= 0.0:
        return None
    energy = request.specific_energy or USUAL_ENERGY.value
    heat = lost * energy
    price, fuel = request.price, request.fuel_price
    return OverDryingFigures(
        weight_given_away=lost,
        grain_given_away=lost,
        share_given_away=lost / _sum(dry_matter / (1.0 - saleable)),
        value_given_away=None if price is None else lost * price,
        extra_heat=heat,
        extra_fuel_cost=None if fuel is None else float(cost_of_heat(heat, fuel)),
    )


def _methods(
    request: ShrinkRequest, moisture: FloatArray, final: float, loss: float
) -> list[MethodUse]:
    uses = [use(WATER_SHRINK), use(HANDLING, handling_loss_on_farms=loss)]
    factors = [buyer.shrink_factor for buyer in request.buyers]
    if factors:
        uses.append(use(FLAT_FACTOR, flat_shrink_factor_of_corn_buyers=factors))
    if request.over_dried_to is not None:
        uses.append(use(OVER_DRYING, moisture_wet_basis=[*moisture, final]))
    return uses


def _assumed(request: ShrinkRequest, final: float) -> list[Assumed]:
    assumed: list[Assumed] = []
    if request.final_moisture is None:
        known = load_grain(request.grain).market_moisture[0]
        why = "No final moisture was given; it is the market's for this grain."
        assumed.append(
            AssumedQuantity(
                input="final_moisture", quantity="moisture", value=final, why=why,
                source=known.source,
            )
        )  # fmt: skip
    if request.handling_loss is None:
        assumed.append(assumed_handling_loss())
    if request.over_dried_to is not None and request.specific_energy is None:
        assumed.append(
            AssumedQuantity(
                input="specific_energy",
                quantity="specific-energy",
                value=USUAL_ENERGY.value,
                low=USUAL_ENERGY.low,
                high=USUAL_ENERGY.high,
                why="No fuel use per water was given, so that of a cross-flow dryer was taken.",
                source=USUAL_ENERGY.source,
            )
        )
    return assumed


def _decision(
    request: ShrinkRequest,
    final: float,
    totals: ShrinkFigures,
    buyers: list[BuyerFigures],
    covered: int,
    refused: int,
) -> str:
    if not covered:
        return "None of the loads can be answered; see what is wrong with each."
    target = say(final, "moisture", request.units, decimals=1)
    whole = totals.wet_weight
    wet, dry = (_weight(request, w, whole) for w in (whole, totals.final_weight))
    grain = say(
        totals.final_weight, "grain", request.units, bushel_weight=request.kg_per_bushel, decimals=1
    )
    if request.wanted_weight is not None:
        text = f"To get {dry} ({grain}) at {target} you need {wet} of the wet grain."
    elif covered + refused == 1 and totals.water_removed < 0.0:
        text = (
            f"{wet} is already drier than {target}: its dry matter would weigh {dry} ({grain}) "
            "there, but nothing is dried."
        )
    else:
        loads = f" in {covered:,} {'load' if covered == 1 else 'loads'}"
        of = "" if covered + refused == 1 else loads
        text = f"{wet}{of} come to {dry} ({grain}) at {target}."
    text += _parts_lost(request, totals)
    if refused:
        text += f" {refused:,} could not be answered; see the rows."
    return (text + _about_buyers(request, buyers))[:LONGEST_TEXT]


def _parts_lost(request: ShrinkRequest, totals: ShrinkFigures) -> str:
    """Water and handling apart; the loss in handling is often not the caller's own figure."""
    if totals.water_removed < 0.0 or totals.handling_lost <= 0.0:
        return ""
    water, lost = (
        _weight(request, w, totals.wet_weight) for w in (totals.water_removed, totals.handling_lost)
    )
    assumed = ", which is assumed" if request.handling_loss is None else ""
    return f" {water} of water goes and {lost} in handling{assumed}."


def _weight(request: ShrinkRequest, weight: float, whole: float) -> str:
    """A weight, to a tenth where the whole load is so light that it still matters."""
    unit = QUANTITIES["mass"].unit(request.units)
    shown = round(unit.from_si(weight, math.nan), 1)
    fine = unit.from_si(whole, math.nan) <= FINE_UP_TO and not shown.is_integer()
    return say(weight, "mass", request.units, decimals=1 if fine else 0)


def _about_buyers(request: ShrinkRequest, buyers: list[BuyerFigures]) -> str:
    """The buyer that pays most, beside the truth."""
    if not buyers:
        return ""
    best = max(buyers, key=lambda b: b.paid if b.paid is not None else b.paid_weight)
    text = f" {best.buyer} {'' if len(buyers) == 1 else 'pays most; it '}{_deed(request, best)}"
    if best.gap is None or best.paid is None:
        return text + "."
    side = "short of" if best.gap >= 0.0 else "above"
    return f"{text} and pays {best.paid:,.2f}, {abs(best.gap):,.2f} {side} its true value."


def _deed(request: ShrinkRequest, buyer: BuyerFigures) -> str:
    """What a buyer does with the weight."""
    gap = _weight(request, abs(buyer.weight_gap), buyer.paid_weight)
    if buyer.true_shrink < 0.0:
        paid = _weight(request, buyer.paid_weight, buyer.paid_weight)
        return f"weighs it in at {paid}, {gap} under its weight at the final moisture,"
    if float(gap.split(" ")[0].replace(",", "")) == 0.0:
        return "takes what the grain really loses"
    side = "more" if buyer.weight_gap >= 0.0 else "less"
    return f"takes {gap} {side} than the grain really loses"


def _notes(
    request: ShrinkRequest, moisture: FloatArray, final: float, lost: OverDryingFigures | None
) -> list[str]:
    notes = []
    drier = int(np.sum(moisture < final))
    if drier:
        loads = "1 load is" if drier == 1 else f"{drier:,} loads are"
        which = "The grain is" if moisture.size == 1 else loads
        notes.append(
            f"{which} already drier than the final moisture: nothing is dried, and the final "
            "weight is what the same dry matter would weigh there. Buyers pay no premium for it."
        )
    if lost is not None:
        share = say(lost.share_given_away, "percent", request.units, decimals=2)
        notes.append(
            f"Drying to {say(request.over_dried_to or 0.0, 'moisture', request.units)} gives away "
            f"{share} of the saleable weight, all of it water you paid to evaporate."
        )
    if request.over_dried_to is not None and lost is None:
        notes.append(
            "`over_dried_to` is not below the final moisture, or no grain was wetter: nothing is "
            "given away."
        )
    if request.buyers and request.price is None:
        notes.append("Give a price to see the money between the buyers and the true figure.")
    return notes
