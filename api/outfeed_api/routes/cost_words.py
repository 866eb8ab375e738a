"""Drying cost in words."""

from __future__ import annotations

from outfeed.cost import FLAME_SHARE, IOWA_AVERAGE, IOWA_HIGH, IOWA_LOW, RULE
from outfeed.fuel import load_fuel
from outfeed_api.cautions import GAS_FUELS
from outfeed_api.models import Assumed, AssumedQuantity
from outfeed_api.routes.cost_models import DryingCostAnswer, DryingCostRequest
from outfeed_api.units import QUANTITIES, say
from outfeed_api.wording import assumed_handling_loss, lasting

LEAST_PLAUSIBLE_HEAT = 2.4e6  # J/kg; the heat of evaporation, below it a figure is suspect

WHOLE_FROM = 10.0  # units of fuel from which decimals are left out


def decision(request: DryingCostRequest, answer: DryingCostAnswer) -> str:
    """The decision in a sentence or two; the answer is still in SI."""
    units, kg = request.units, request.kg_per_bushel
    if not request.fuel.prices:
        return (
            f"Drying takes {fuel_said(request, answer)}. No price of fuel was given, so the costs "
            "leave it out."
        )
    decimals = 3 if units == "us" else 2
    each = _per(say(answer.per_grain, "price-of-grain", units, bushel_weight=kg, decimals=decimals))
    point = _per(say(answer.per_point, "drying-charge", units, bushel_weight=kg, decimals=decimals))
    text = f"Drying costs {each} of wet grain, {point}, {_money(answer.costs.total)} in all"
    if answer.costs_low is not None and answer.costs_high is not None:
        text += (
            f" ({_money(answer.costs_low)} to {_money(answer.costs_high)} by published fuel use)"
        )
    text += f", in the currency of your prices; it takes {fuel_said(request, answer)}."
    choice = answer.wet_or_dry
    if choice is not None and choice.better == "dry":
        text += f" Dry it: that brings {_money(choice.gain)} more than selling wet."
    elif choice is not None:
        text += f" Sell it wet: that brings {_money(-choice.gain)} more than drying."
    if answer.down_time is not None and request.down_time is not None:
        stood = lasting(request.down_time.hours)
        text += f" A stand of {stood} costs {_money(answer.down_time)}."
    return text


def fuel_said(request: DryingCostRequest, answer: DryingCostAnswer) -> str:
    """The fuel burned, as it is sold; the answer is still in SI."""
    burned = answer.fuel_burned
    quantity = next(name for name in ("liquid", "gas", "mass") if getattr(burned, name) is not None)
    unit = "volume" if quantity == "gas" else quantity
    amount = getattr(burned, quantity)
    shown = QUANTITIES[unit].unit(request.units).from_si(amount, request.kg_per_bushel)
    decimals = 0 if shown >= WHOLE_FROM else 2
    name = request.fuel.kind.replace("-", " ")
    return f"{say(amount, unit, request.units, decimals=decimals)} of {name}"


def assumed(request: DryingCostRequest, market: float | None) -> list[Assumed]:
    """Every input that was filled in."""
    found: list[Assumed] = []
    if request.heat_per_water is None and request.propane_per_point is None:
        heat = load_fuel("propane").heat_content
        found.append(
            AssumedQuantity(
                input="propane_per_point",
                quantity="liquid-per-point",
                value=IOWA_AVERAGE / heat,
                low=IOWA_LOW / heat,
                high=IOWA_HIGH / heat,
                why="average of farm dryers, for corn; your own records are better",
                source=RULE.source,
            )
        )
    if request.market_moisture is None and market is not None:
        found.append(
            AssumedQuantity(
                input="market_moisture",
                quantity="moisture",
                value=market,
                why="the usual base moisture of this grain"
                if request.buyer is None
                else "the buyer pays the full weight up to the base moisture",
                source="grain catalogue" if request.buyer is None else "the buyer's terms",
            )
        )
    if request.handling_loss is None:
        found.append(assumed_handling_loss())
    if request.fuel.burner_efficiency is None:
        found.append(_assumed_efficiency(request))
    return found


def usual_efficiency(request: DryingCostRequest) -> float:
    """Heat that reaches the air over heat of the fuel where none is told: that of a direct flame.

    Figures of the fuel used hold it already. For biomass in the place of a rule's propane it is the
    whole of a lower heating value, and that of propane over a higher one.
    """
    fuel = request.fuel
    ruled = fuel.kind == "biomass" and request.heat_per_water is None
    return FLAME_SHARE if ruled and fuel.heating_value == "higher" else 1.0


def _assumed_efficiency(request: DryingCostRequest) -> AssumedQuantity:
    value = usual_efficiency(request)
    return AssumedQuantity(
        input="burner_efficiency",
        quantity="percent",
        value=value,
        why="direct flame; the figure of fuel use holds its losses"
        if value == 1.0
        else "direct flame; its water leaves as vapour, as in the rule of fuel per point",
        source="common practice, no source"
        if value == 1.0
        else "lower over higher heating value of propane",
    )


def notes(request: DryingCostRequest) -> list[str]:
    """What to know before relying on the money."""
    found = [
        "Money has no currency here: what goes in comes out.",
        "Depreciation, repairs and interest are not counted.",
    ]
    if request.fuel.kind == "biomass":
        found.append(
            f"The heat content is the {request.fuel.heating_value} heating value, as you say; "
            "burner efficiency and heat per water count over the same."
        )
    else:
        found.append("Heat contents are higher heating values, as fuel is metered and sold.")
    if request.price is None:
        found.append("Without a price of grain, handling loss and over-drying cost nothing here.")
    if request.grain != "corn-yellow-dent" and request.heat_per_water is None:
        found.append("Rules of fuel per point were made for corn.")
    if request.heat_per_water is not None and request.heat_per_water < LEAST_PLAUSIBLE_HEAT:
        found.append(
            "That heat per water is below the heat of evaporation: check whether some of the "
            "drying was done by cooling or by unheated air."
        )
    share = request.fuel.burner_efficiency
    if request.heat_per_water is not None and share is not None and share < 1.0:
        found.append(
            "The fuel is heat_per_water over the burner efficiency; where your figure is of fuel "
            "burned it holds the burner's losses: leave burner_efficiency out."
        )
    if request.down_time is not None and request.buyer is None:
        found.append("Without a buyer's terms a stand costs waiting and labour only.")
    if request.fuel.kind == "biomass" and request.fuel.heating_value == "lower":
        found.append("Published carbon factors go with the higher heating value; none is given.")
    return found


def caution_codes(request: DryingCostRequest, market: float | None) -> list[str]:
    """Codes of the cautions that apply."""
    always = [*(["gas-fuel"] * (request.fuel.kind in GAS_FUELS)), "fire-trash", "follow-manual"]
    if market is None:
        return always
    below = any(lot.final_moisture < market - 1e-9 for lot in request.lots)
    above = any(lot.final_moisture > market + 1e-9 for lot in request.lots)
    codes = ["over-drying"] if below else []
    codes += ["under-drying"] if above else []
    return codes + always


def _per(price: str) -> str:
    """A price as a person would say it: "0.259 per bu"."""
    return price.replace("money/", "per ")


def _money(value: float) -> str:
    return f"{value:,.2f}"
