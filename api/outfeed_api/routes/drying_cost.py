"""Drying cost: fuel, power, labour, lost grain; dry or sell wet; over-drying; down time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from fastapi import APIRouter

from outfeed import Inconsistent, NotPublished
from outfeed.carbon import carbon_factors
from outfeed.cost import (
    ADDING_UP,
    FLAME_SHARE,
    IOWA_AVERAGE,
    IOWA_HIGH,
    IOWA_LOW,
    MEASURED,
    RULE,
    SALE,
    DryingCost,
    EnergyUse,
    Prices,
    drying_cost,
    own_fuel,
)
from outfeed.cost_lost import DOWN_TIME, break_even_field_loss, down_time_cost, over_drying_cost
from outfeed.fuel import EIA_HEAT, Fuel, load_fuel
from outfeed.grains import Grain, load_grain
from outfeed.methods import MethodUse, use
from outfeed.moisture import HANDLING, OVER_DRYING, USUAL_HANDLING_LOSS, WATER_SHRINK
from outfeed.wet_sale import SaleChoice, dry_or_sell_wet
from outfeed_api.models import cautions, methods_used
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import cost_words as words
from outfeed_api.routes.cost_models import (
    CarbonDioxide,
    Costs,
    DryingCostAnswer,
    DryingCostRequest,
    FuelQuantity,
    FuelUsed,
    LotCost,
    WetOrDry,
)

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])

POINT = 0.01
PRICE_FIELDS = {
    "propane": ("price_of_liquid", "price_of_heat"),
    "fuel-oil": ("price_of_liquid", "price_of_heat"),
    "natural-gas": ("price_of_gas", "price_of_heat"),
    "biomass": ("price_of_mass", "price_of_heat"),
}


@dataclass(frozen=True, slots=True)
class Job:
    """A request brought into the library's terms."""

    request: DryingCostRequest
    fuel: Fuel
    prices: Prices
    market: float | None
    share: float

    def cost(self, energy: EnergyUse) -> DryingCost:
        """Cost of all lots at once, lot by lot."""
        asked = self.request
        loss = USUAL_HANDLING_LOSS if asked.handling_loss is None else asked.handling_loss
        return drying_cost(
            np.asarray([lot.quantity for lot in asked.lots]),
            np.asarray([lot.initial_moisture for lot in asked.lots]),
            np.asarray([lot.final_moisture for lot in asked.lots]),
            energy,
            self.fuel,
            self.prices,
            market_moisture_wb=self.market,
            burner_efficiency=self.share,
            rate=asked.rate,
            handling_loss=loss,
        )


@router.post(
    "/drying-cost",
    summary="What drying costs, and whether it pays",
    operation_id="drying_cost",
    response_model_exclude_none=True,
)
@computes(heavy=True)
def drying_cost_(request: DryingCostRequest) -> DryingCostAnswer:
    """Cost of drying by cause, per grain, point and hour, for one lot or a season of lots.

    With a `buyer`, whether to dry or sell wet; with `down_time`, what a stand costs. Heat contents
    are higher heating values; biomass brings its own, and says which.
    """
    _check(request)
    job = _job(request)
    energy = _energy(request, IOWA_AVERAGE)
    cost = job.cost(energy)
    choice = _choice(request, cost)
    band = [float(np.sum(job.cost(_energy(request, x)).total)) for x in (IOWA_LOW, IOWA_HIGH)]
    priced = bool(request.fuel.prices)
    ruled = priced and request.heat_per_water is None and request.propane_per_point is None
    wet, water = float(np.sum(cost.wet_weight)), float(np.sum(cost.water_removed))
    total, heat = float(np.sum(cost.total)), float(np.sum(cost.heat))
    hours = None if cost.time is None else float(np.sum(cost.time))
    answer = DryingCostAnswer(
        decision="",
        units=request.units,
        grain=request.grain,
        costs=_costs(cost),
        costs_low=band[0] if ruled else None,
        costs_high=band[1] if ruled else None,
        per_grain=total / wet,
        per_point=total / float(np.sum(cost.wet_weight * cost.points)),
        per_hour=None if hours is None else total / hours,
        hours=hours,
        wet_grain=wet,
        dried_grain=float(np.sum(cost.final_weight)),
        water_removed=water,
        water_value=None if request.price is None else float(np.sum(cost.water_value)),
        fuel_burned=_burned(job.fuel, float(np.sum(cost.fuel_quantity)), heat),
        heat_per_water=heat / water,
        electricity=float(np.sum(cost.electricity_used)),
        carbon_dioxide=_carbon(request.fuel, job.fuel, heat),
        over_dried_point=_over_dried(job, energy) if priced else None,
        break_even_field_loss=_field_loss(request, total / wet) if priced else None,
        wet_or_dry=_wet_or_dry(job.fuel, choice, wet),
        down_time=_down_time(request, choice, wet),
        lots=_lots(cost),
        assumed=words.assumed(request, job.market),
        methods=methods_used(*_methods(request)),
        notes=words.notes(request),
        cautions=cautions(*words.caution_codes(request, job.market)),
    )
    return answer.model_copy(update={"decision": words.decision(request, answer)})


def _check(request: DryingCostRequest) -> None:
    for index, lot in enumerate(request.lots):
        if lot.quantity <= 0.0 or lot.final_moisture >= lot.initial_moisture:
            name = "quantity" if lot.quantity <= 0.0 else "final_moisture"
            detail = (
                "a lot needs some grain"
                if lot.quantity <= 0.0
                else "the grain must end drier than it begins"
            )
            fault = field_error(f"/lots/{index}/{name}", detail)
            raise ProblemError(INCONSISTENT, detail, [fault])
    if request.heat_per_water is not None and request.propane_per_point is not None:
        raise Inconsistent(
            "give heat_per_water or propane_per_point, not both", "propane_per_point"
        )
    if request.labour is not None and request.rate is None:
        raise Inconsistent("labour by the hour needs the rate of drying", "rate", "labour")
    if (request.electricity_use is None) != (request.price_of_electricity is None):
        raise Inconsistent(
            "electricity needs its use and its price", "electricity_use", "price_of_electricity"
        )
    if request.down_time is not None and request.rate is None:
        raise Inconsistent("down time needs the rate of drying", "rate", "down_time")
    if request.buyer is not None and not request.fuel.prices:
        fitting = PRICE_FIELDS[request.fuel.kind]
        raise _fuel_fault(fitting[0], f"dry or sell wet needs a price: {' or '.join(fitting)}")


def _job(request: DryingCostRequest) -> Job:
    grain = load_grain(request.grain)
    fuel = _fuel(request.fuel)
    prices = Prices(
        fuel=_price(request.fuel, fuel),
        electricity=request.price_of_electricity or 0.0,
        labour=request.labour or 0.0,
        grain=request.price or 0.0,
    )
    share = request.fuel.burner_efficiency or words.usual_efficiency(request)
    return Job(request, fuel, prices, _market(request, grain), share)


def _market(request: DryingCostRequest, grain: Grain) -> float | None:
    """Moisture up to which the full weight is paid; None where nothing depends on it."""
    if request.market_moisture is not None:
        return request.market_moisture
    if request.buyer is not None:
        return request.buyer.base_moisture
    if grain.market_moisture:
        return float(grain.market_moisture[0].value)
    if request.price is None:
        return None
    raise NotPublished("market moisture", grain.id, name="market_moisture")


def _fuel(given: FuelUsed) -> Fuel:
    if given.kind != "biomass":
        for name in ("heat_content", "heating_value", "biomass"):
            if getattr(given, name) is not None:
                raise _fuel_fault(name, f"`{name}` goes with biomass only")
        return load_fuel(given.kind)
    if given.heat_content is None or given.heating_value is None:
        raise _fuel_fault(
            "heat_content", "biomass needs its heat_content, and heating_value says which it is"
        )
    return own_fuel(given.heat_content, "mass", "biomass")


def _price(given: FuelUsed, fuel: Fuel) -> float:
    """Money per unit as sold, from whichever price was given; none when none was."""
    named = given.prices
    if not named:
        return 0.0
    fitting = PRICE_FIELDS[given.kind]
    if len(named) != 1 or named[0] not in fitting:
        raise _fuel_fault(named[-1], f"give one price of {given.kind}: {' or '.join(fitting)}")
    price = float(getattr(given, named[0]))
    return price * fuel.heat_content if named[0] == "price_of_heat" else price


def _fuel_fault(name: str, detail: str) -> ProblemError:
    return ProblemError(INCONSISTENT, detail, [field_error(f"/fuel/{name}", detail)])


def _energy(request: DryingCostRequest, rule: float) -> EnergyUse:
    """What the fuel has to bring, own records as they are; for biomass what warms the air."""
    power = request.electricity_use or 0.0
    if request.heat_per_water is not None:
        return EnergyUse(heat_per_water=request.heat_per_water, electricity_per_wet=power)
    if request.propane_per_point is not None:
        rule = request.propane_per_point * load_fuel("propane").heat_content
    share = FLAME_SHARE if request.fuel.kind == "biomass" else 1.0
    return EnergyUse(heat_per_point=rule * share, electricity_per_wet=power)


def _costs(cost: DryingCost) -> Costs:
    names = ("fuel", "electricity", "labour", "handling", "over_drying", "total")
    return Costs(**{name: float(np.sum(getattr(cost, name))) for name in names})


def _lots(cost: DryingCost) -> list[LotCost]:
    names = ("fuel", "electricity", "labour", "handling", "over_drying", "total")
    columns = [np.broadcast_to(getattr(cost, name), cost.heat.shape).tolist() for name in names]
    rows = zip(
        *columns, cost.wet_weight.tolist(), cost.final_weight.tolist(),
        cost.water_removed.tolist(), strict=True,
    )  # fmt: skip
    return [
        LotCost(
            costs=Costs(**dict(zip(names, row[:6], strict=True))),
            dried_grain=row[7],
            water_removed=row[8],
            per_grain=row[5] / row[6],
        )
        for row in rows
    ]


def _burned(fuel: Fuel, quantity: float, heat: float) -> FuelQuantity:
    if fuel.sold_by == "mass":
        return FuelQuantity(mass=quantity, heat=heat)
    if fuel.id == "natural-gas":
        return FuelQuantity(gas=quantity, heat=heat)
    return FuelQuantity(liquid=quantity, heat=heat)


def _carbon(given: FuelUsed, fuel: Fuel, heat: float) -> list[CarbonDioxide]:
    """By each factor; for biomass told by its lower value no factor fits."""
    kind = given.biomass if given.heating_value == "higher" else None
    return [
        CarbonDioxide(
            mass=one.factor * heat,
            biogenic=one.biogenic,
            source=one.method.source,
            known=one.method.known,
        )
        for one in carbon_factors(fuel, kind)
    ]


def _over_dried(job: Job, energy: EnergyUse) -> float | None:
    """Cost of the first point below the market moisture, per kg and unit of moisture."""
    if job.request.price is None or job.market is None or job.market <= POINT:
        return None
    lost = over_drying_cost(
        1.0, job.market, job.market - POINT, energy, job.fuel, job.prices, job.share
    )
    return float(lost.total) / POINT


def _field_loss(request: DryingCostRequest, per_kg: float) -> float | None:
    if request.price is None or request.price <= 0.0:
        return None
    loss = float(break_even_field_loss(per_kg, request.price))
    return loss if loss <= 1.0 else None


def _choice(request: DryingCostRequest, cost: DryingCost) -> SaleChoice | None:
    """Wet against dry, lot by lot."""
    if request.buyer is None:
        return None
    return dry_or_sell_wet(
        request.buyer.terms(),
        cost,
        [lot.initial_moisture for lot in request.lots],
        [lot.final_moisture for lot in request.lots],
    )


def _wet_or_dry(fuel: Fuel, choice: SaleChoice | None, wet: float) -> WetOrDry | None:
    if choice is None:
        return None
    gain, price = float(np.sum(choice.gain)), choice.break_even_fuel
    return WetOrDry(
        better="dry" if gain > 0.0 else "sell-wet",
        wet_sale=float(np.sum(choice.wet)),
        dry_sale=float(np.sum(choice.dry)),
        cash_cost=float(np.sum(choice.cash_cost)),
        gain=gain,
        break_even_per_grain=float(np.sum(choice.break_even_cost)) / wet,
        break_even_fuel_price=None if price is None else price / fuel.heat_content,
    )


def _down_time(request: DryingCostRequest, choice: SaleChoice | None, wet: float) -> float | None:
    stop = request.down_time
    if stop is None:
        return None
    margin = 0.0 if choice is None else max(float(np.sum(choice.gain)) / wet, 0.0)
    return float(
        down_time_cost(
            stop.hours, request.rate or 0.0, margin, stop.waiting or 0.0, request.labour or 0.0
        )
    )


def _methods(request: DryingCostRequest) -> list[MethodUse]:
    uses = [use(ADDING_UP), use(MEASURED if request.heat_per_water is not None else RULE)]
    uses += [use(WATER_SHRINK), use(HANDLING), use(OVER_DRYING)]
    if request.fuel.kind != "biomass":
        uses.append(use(EIA_HEAT))
    kind = request.fuel.biomass if request.fuel.heating_value == "higher" else None
    uses += [use(one.method) for one in carbon_factors(_fuel(request.fuel), kind)]
    if request.buyer is not None:
        uses.append(use(SALE))
    if request.down_time is not None:
        uses.append(use(DOWN_TIME))
    return uses
