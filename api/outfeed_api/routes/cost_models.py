"""What the drying-cost route reads and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.cost import (
    BURNER_EFFICIENCY,
    ELECTRICITY_PRICE,
    ELECTRICITY_USE,
    HEAT_PER_WATER,
    LABOUR,
    OWN_HEAT_PER_MASS,
    RATE,
)
from outfeed.cost_lost import TIME, WAITING_COST
from outfeed.fuel import FUEL_PRICE
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.moisture import HANDLING_LOSS, WEIGHT
from outfeed.shrink import PRICE
from outfeed_api.measures import Measure
from outfeed_api.models import (
    LONGEST_NAME,
    LONGEST_TEXT,
    Answer,
    Given,
    GrainId,
    Part,
    Request,
)
from outfeed_api.routes.settlement_models import Buyer

MOST_LOTS = 10_000
HEAT_PRICE = Range("price of fuel heat", 0.0, 1e-3, "money/J", SENSIBLE)
FUEL_PER_POINT = Range("fuel per grain and point", 0.0, 0.01, "m3/kg per moisture", SENSIBLE)

Grain = Annotated[float, Measure("grain", WEIGHT, example=250_000.0)]
Wet = Annotated[float, Measure("moisture", MOISTURE_WB, example=0.2)]
Dry = Annotated[float, Measure("moisture", MOISTURE_WB, example=0.15)]
Money = Annotated[float, Measure("money")]


class FuelUsed(Given):
    """What burns and what it costs; the price in one of the four ways, or none."""

    kind: Literal["propane", "natural-gas", "fuel-oil", "biomass"] = Field(
        description="Propane and fuel oil are sold by volume of liquid, natural gas by volume or "
        "by heat, biomass by mass."
    )
    price_of_liquid: (
        Annotated[float, Measure("price-of-liquid", FUEL_PRICE, example=500.0)] | None
    ) = Field(None, description="Price of propane or fuel oil.")
    price_of_gas: Annotated[float, Measure("price-of-gas", FUEL_PRICE, example=0.3)] | None = Field(
        None, description="Price of natural gas by volume."
    )
    price_of_heat: Annotated[float, Measure("price-of-heat", HEAT_PRICE, example=9e-9)] | None = (
        Field(
            None,
            description="Price of any fuel by heat, higher heating value; of biomass by the value "
            "that `heating_value` names.",
        )
    )
    price_of_mass: Annotated[float, Measure("price-of-mass", FUEL_PRICE, example=0.12)] | None = (
        Field(None, description="Price of biomass.")
    )
    heat_content: (
        Annotated[float, Measure("specific-energy", OWN_HEAT_PER_MASS, example=15e6)] | None
    ) = Field(None, description="Heat content of biomass as fired.")
    heating_value: Literal["higher", "lower"] | None = Field(
        None,
        description="Which heating value `heat_content` is; the burner efficiency counts over the "
        "same.",
    )
    biomass: Literal["wood", "crop-residue"] | None = Field(
        None, description="Kind of biomass, for its biogenic carbon dioxide."
    )
    burner_efficiency: (
        Annotated[float, Measure("percent", BURNER_EFFICIENCY, example=0.8)] | None
    ) = Field(
        None,
        description="Heat that reaches the drying air over heat of the fuel; 100 % when left out, "
        "as for a direct flame whose losses the dryer's own figure holds. Of biomass over the "
        "value that `heating_value` names; the propane of a rule brings 92 % of its higher one.",
    )

    @property
    def prices(self) -> list[str]:
        """Names of the prices given."""
        every = ("price_of_liquid", "price_of_gas", "price_of_heat", "price_of_mass")
        return [name for name in every if getattr(self, name) is not None]


class Lot(Given):
    """One lot of wet grain."""

    quantity: Grain = Field(description="Wet grain.")
    initial_moisture: Wet = Field(description="Moisture of the wet grain.")
    final_moisture: Dry = Field(description="Moisture it is dried to.")


class DownTime(Given):
    """Time in which the dryer stands."""

    hours: Annotated[float, Measure("hours", TIME, example=3_600.0)] = Field(
        description="How long it stands."
    )
    waiting: Annotated[float, Measure("money-rate", WAITING_COST, example=0.05)] | None = Field(
        None, description="Combine, trucks and people that wait meanwhile."
    )


class DryingCostRequest(Request):
    """Grain to dry, what the dryer takes and what things cost."""

    grain: GrainId
    lots: list[Lot] = Field(
        description="One lot, or the lots of a season.", min_length=1, max_length=MOST_LOTS
    )
    market_moisture: Dry | None = Field(
        None,
        description="Moisture up to which the full weight is paid; the buyer's base or the grain's "
        "usual one when left out.",
    )
    fuel: FuelUsed = Field(description="What burns.")
    heat_per_water: (
        Annotated[float, Measure("specific-energy", HEAT_PER_WATER, example=4.4e6)] | None
    ) = Field(
        None,
        description="Fuel heat per water evaporated, from your own records; higher heating value, "
        "for biomass the one that `heating_value` names.",
    )
    propane_per_point: (
        Annotated[float, Measure("liquid-per-point", FUEL_PER_POINT, example=2.7e-4)] | None
    ) = Field(
        None,
        description="Fuel as propane for each quantity of wet grain and point of moisture: the "
        "extension rule. Taken as the Iowa average when neither is given.",
    )
    electricity_use: (
        Annotated[float, Measure("electricity-per-grain", ELECTRICITY_USE, example=14_000.0)] | None
    ) = Field(None, description="Electricity per wet grain.")
    price_of_electricity: (
        Annotated[float, Measure("price-of-electricity", ELECTRICITY_PRICE, example=3.3e-8)] | None
    ) = Field(None, description="Price of electricity.")
    rate: Annotated[float, Measure("grain-rate", RATE, example=7.0)] | None = Field(
        None, description="Wet grain dried per hour, for time, labour and down time."
    )
    labour: Annotated[float, Measure("money-rate", LABOUR, example=0.006)] | None = Field(
        None, description="Cost of the people at the dryer while it runs."
    )
    price: Annotated[float, Measure("price-of-grain", PRICE, example=0.17)] | None = Field(
        None, description="Price of grain at the market moisture."
    )
    handling_loss: Annotated[float, Measure("percent", HANDLING_LOSS, example=0.005)] | None = (
        Field(None, description="Share of the wet weight lost in handling; 0.5 % when left out.")
    )
    buyer: Buyer | None = Field(
        None, description="A buyer's terms for wet grain: dry it or sell it wet?"
    )
    down_time: DownTime | None = Field(None, description="What does it cost if the dryer stands?")


class CarbonDioxide(Part):
    """Carbon dioxide from the fuel by one published factor."""

    mass: Annotated[float, Measure("mass")] = Field(description="Carbon dioxide.")
    biogenic: bool = Field(description="Whether it comes from biomass and is counted apart.")
    source: str = Field(description="Citation of the factor.", max_length=LONGEST_TEXT)
    known: str = Field(description="How the factor is known.", max_length=LONGEST_NAME)


class Costs(Part):
    """Money by cause; `total` is the sum of the five."""

    fuel: Money = Field(description="Fuel.")
    electricity: Money = Field(description="Electricity.")
    labour: Money = Field(description="Labour.")
    handling: Money = Field(description="Grain lost in handling.")
    over_drying: Money = Field(description="Weight dried away below the market moisture.")
    total: Money = Field(description="Sum of the five.")


class LotCost(Part):
    """One lot."""

    costs: Costs = Field(description="What it costs.")
    dried_grain: Annotated[float, Measure("grain")] = Field(
        description="Grain left, by its weight after drying."
    )
    water_removed: Annotated[float, Measure("mass")] = Field(description="Water evaporated.")
    per_grain: Annotated[float, Measure("price-of-grain")] | None = Field(
        None, description="Total cost per wet grain."
    )


class FuelQuantity(Part):
    """Fuel burned, as it is sold; one of the three."""

    liquid: Annotated[float, Measure("liquid")] | None = Field(None, description="Of liquid.")
    gas: Annotated[float, Measure("volume")] | None = Field(None, description="Of gas.")
    mass: Annotated[float, Measure("mass")] | None = Field(None, description="Of biomass.")
    heat: Annotated[float, Measure("energy")] = Field(description="Its heat.")


class WetOrDry(Part):
    """Wet sale against drying and selling dry."""

    better: Literal["dry", "sell-wet"] = Field(description="What brings more money.")
    wet_sale: Money = Field(description="What the buyer pays for all lots wet.")
    dry_sale: Money = Field(description="What the buyer pays for them dried.")
    cash_cost: Money = Field(description="Fuel, electricity and labour of drying.")
    gain: Money = Field(description="What drying brings over selling wet.")
    break_even_per_grain: Annotated[float, Measure("price-of-grain")] = Field(
        description="Cash cost per wet grain at which both bring the same."
    )
    break_even_fuel_price: Annotated[float, Measure("price-of-heat")] | None = Field(
        None, description="Price of fuel heat at which both bring the same."
    )


class DryingCostAnswer(Answer):
    """What drying costs and whether it pays."""

    grain: str = Field(description="Id of the grain.", max_length=LONGEST_NAME)
    costs: Costs = Field(description="All lots.")
    costs_low: Money | None = Field(
        None, description="Total at the lowest published rate of fuel, when it was assumed."
    )
    costs_high: Money | None = Field(None, description="The same at the highest.")
    per_grain: Annotated[float, Measure("price-of-grain")] = Field(
        description="Total per wet grain."
    )
    per_point: Annotated[float, Measure("drying-charge")] = Field(
        description="Total per wet grain and point removed."
    )
    per_hour: Annotated[float, Measure("money-rate")] | None = Field(
        None, description="Total per hour that the dryer runs."
    )
    hours: Annotated[float, Measure("hours")] | None = Field(
        None, description="Time the dryer runs."
    )
    wet_grain: Annotated[float, Measure("grain")] = Field(description="Wet grain.")
    dried_grain: Annotated[float, Measure("grain")] = Field(description="Grain left.")
    water_removed: Annotated[float, Measure("mass")] = Field(description="Water evaporated.")
    water_value: Money | None = Field(
        None,
        description="What that water weighs at the price of grain. A buyer takes it from wet grain "
        "too, so it is not in the total.",
    )
    fuel_burned: FuelQuantity = Field(description="Fuel.")
    heat_per_water: Annotated[float, Measure("specific-energy")] = Field(
        description="Fuel heat per water evaporated."
    )
    electricity: Annotated[float, Measure("electric-energy")] = Field(description="Electricity.")
    carbon_dioxide: list[CarbonDioxide] = Field(
        description="Carbon dioxide from the fuel, factor by factor.", max_length=10
    )
    over_dried_point: Annotated[float, Measure("drying-charge")] | None = Field(
        None,
        description="What drying a point below the market moisture costs for each grain: weight "
        "and fuel.",
    )
    break_even_field_loss: Annotated[float, Measure("percent")] | None = Field(
        None,
        description="Share of the crop that waiting in the field may lose before drying is the "
        "cheaper way.",
    )
    wet_or_dry: WetOrDry | None = Field(None, description="Dry it or sell it wet.")
    down_time: Money | None = Field(None, description="What the stand costs.")
    lots: list[LotCost] = Field(description="Lot by lot, in their order.", max_length=MOST_LOTS)
