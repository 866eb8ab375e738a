"""What is asked and answered about shrink."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from outfeed.fuel import HEAT_PRICE, SPECIFIC_ENERGY
from outfeed.limits import MOISTURE_WB
from outfeed.moisture import HANDLING_LOSS, WEIGHT
from outfeed.settlement import TEST_WEIGHT
from outfeed.shrink import (
    DRYING_CHARGE,
    PRICE,
    PRICE_DISCOUNT,
    READING_STEP,
    SHRINK_FACTOR,
    BuyerRule,
)
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, Answer, Given, GrainId, Part, Request
from outfeed_api.rows import RefusedRow, RowsOf

MOST_LOADS = 100_000
MOST_BUYERS = 12

Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
Mass = Annotated[float, Measure("mass", WEIGHT, example=24_950.0)]
Moisture = Annotated[float, Measure("moisture", MOISTURE_WB, example=0.205)]


class ShrinkBuyer(Given):
    """A buyer's flat shrink and how moisture is read."""

    name: Name = Field(description="What you call the buyer.", examples=["River elevator"])
    shrink_factor: Annotated[float, Measure("percent-per-point", SHRINK_FACTOR, example=1.4)] = (
        Field(description="Percent of the wet weight taken for each point above the base.")
    )
    base_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.15)] | None = Field(
        None, description="Moisture above which shrink is taken; `final_moisture` if left out."
    )
    moisture_step: Annotated[float, Measure("points", READING_STEP, example=0.001)] | None = Field(
        None, description="Step to which moisture is read; not rounded if left out."
    )
    moisture_rounding: Literal["up", "nearest", "down"] = Field(
        "nearest", description="How a reading is rounded to the step; halves go up."
    )
    excess_step: Annotated[float, Measure("points", READING_STEP, example=0.005)] | None = Field(
        None,
        description="Step to which points above the base are counted, rounded the same way; "
        "1 with `up` charges each point or fraction of one.",
    )
    fixed_shrink: Annotated[float, Measure("percent", HANDLING_LOSS, example=0.005)] | None = Field(
        None, description="Percent of the wet weight taken from every load above the base."
    )
    price_discount: (
        Annotated[float, Measure("percent-per-point", PRICE_DISCOUNT, example=2.0)] | None
    ) = Field(None, description="Percent of the price taken for each point above the base.")
    drying_charge: (
        Annotated[float, Measure("drying-charge", DRYING_CHARGE, example=0.19)] | None
    ) = Field(None, description="Charge for each unit of wet weight and point above the base.")

    def rule(self, final_moisture: float) -> BuyerRule:
        """The library's rule."""
        base = self.base_moisture
        return BuyerRule(
            base_moisture_wb=final_moisture if base is None else base,
            factor=self.shrink_factor,
            reading_step=self.moisture_step or 0.0,
            rounding=self.moisture_rounding,
            excess_step=self.excess_step or 0.0,
            handling_loss=self.fixed_shrink or 0.0,
            price_discount=self.price_discount or 0.0,
            drying_charge=self.drying_charge or 0.0,
            name=self.name,
        )


class ShrinkLoad(Given):
    """One load as weighed and read."""

    id: Name | None = Field(None, description="Ticket.", examples=["T-101"])
    weight: Mass = Field(description="Wet weight.")
    moisture: Moisture = Field(description="Moisture of the load.")


class ShrinkColumns(Given):
    """Loads as columns of one length, the fast form for many; null stands for a missing reading.

    A load at fault is refused by itself; the limits are those of a single load.
    """

    weights: list[Annotated[float, Measure("mass", example=24_950.0)] | None] = Field(
        description="Wet weights.", min_length=1, max_length=MOST_LOADS
    )
    moistures: list[Annotated[float, Measure("moisture", example=0.205)] | None] = Field(
        description="Moistures of the loads.", min_length=1, max_length=MOST_LOADS
    )


class ShrinkRequest(Request):
    """A load, many loads, or a dry weight wanted: exactly one of `weight`, `amount`,
    `wanted_weight`, `loads` and `columns`.
    """

    grain: GrainId
    test_weight: Annotated[float, Measure("test-weight", TEST_WEIGHT, example=720.0)] | None = (
        Field(None, description="Test weight that makes a bushel; the legal weight if left out.")
    )
    weight: Mass | None = Field(None, description="Wet weight of one load.")
    amount: Annotated[float, Measure("grain", WEIGHT, example=25_000.0)] | None = Field(
        None, description="Wet amount of one load, in bushels by weight or tonnes."
    )
    wanted_weight: Mass | None = Field(
        None,
        description="Weight wanted at `final_moisture`; the answer is the wet grain it takes.",
    )
    moisture: Moisture | None = Field(
        None, description="Moisture of the wet grain; with `weight`, `amount`, `wanted_weight`."
    )
    loads: Annotated[list[Any], RowsOf(ShrinkLoad)] | None = Field(
        None,
        description="Loads as rows; each is answered or refused by itself.",
        min_length=1,
        max_length=MOST_LOADS,
    )
    columns: ShrinkColumns | None = Field(None, description="Loads as columns.")
    final_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.155)] | None = (
        Field(None, description="Moisture to bring it to; the market's if left out.")
    )
    handling_loss: Annotated[float, Measure("percent", HANDLING_LOSS, example=0.005)] | None = (
        Field(None, description="Grain lost in handling, percent of the wet weight.")
    )
    price: Annotated[float, Measure("price-of-grain", PRICE, example=0.17)] | None = Field(
        None, description="Price at the final moisture; needed for money."
    )
    buyers: list[ShrinkBuyer] = Field(
        default_factory=list,
        description="Buyers whose shrink to set beside the true figure.",
        max_length=MOST_BUYERS,
    )
    over_dried_to: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.14)] | None = Field(
        None, description="Moisture the grain is really dried to, when below `final_moisture`."
    )
    specific_energy: (
        Annotated[float, Measure("specific-energy", SPECIFIC_ENERGY, example=5.0e6)] | None
    ) = Field(None, description="Fuel per water removed, for the cost of over-drying.")
    fuel_price: Annotated[float, Measure("price-of-heat", HEAT_PRICE, example=2.0e-8)] | None = (
        Field(None, description="Price of fuel heat, for the cost of over-drying.")
    )


Weight = Annotated[float, Measure("mass", example=23_000.0)]
Grain = Annotated[float, Measure("grain", example=23_000.0)]
Percent = Annotated[float, Measure("percent", example=0.06)]
Money = Annotated[float, Measure("money", example=26.4)]


class ShrinkFigures(Part):
    """Where the weight goes: wet weight = final weight + water removed + handling lost."""

    wet_weight: Weight = Field(description="Weight before.")
    final_weight: Weight = Field(description="Weight left at the final moisture.")
    final_grain: Grain = Field(description="The same in bushels by weight or tonnes.")
    water_removed: Weight = Field(
        description="Water that leaves; below zero where drier grain would take some up."
    )
    handling_lost: Weight = Field(description="Grain lost in handling.")
    dry_matter: Weight = Field(description="Dry matter before.")
    water_shrink: Percent = Field(description="Water over the weight before.")
    total_shrink: Percent = Field(description="Water and handling loss over the weight before.")


class BuyerFigures(Part):
    """A buyer beside the true figure at the buyer's base moisture. The money adds up: gap =
    shrink gap + discount + charge = true value - paid.
    """

    buyer: str = Field(description="The buyer.", max_length=LONGEST_NAME)
    base_moisture: Annotated[float, Measure("moisture", example=0.15)] = Field(
        description="The buyer's base moisture."
    )
    paid_weight: Weight = Field(description="Weight the buyer pays for.")
    true_weight: Weight = Field(description="What the grain weighs dried to that base.")
    weight_gap: Weight = Field(
        description="True weight less paid weight; above zero when the buyer takes too much."
    )
    buyer_shrink: Percent = Field(description="What the buyer takes, of the wet weight.")
    true_shrink: Percent = Field(
        description="Water and handling loss to that base; below zero for drier grain."
    )
    true_value: Money | None = Field(None, description="True weight at the full price.")
    shrink_gap: Money | None = Field(None, description="Money between the two weights.")
    discount: Money | None = Field(None, description="Taken off the price.")
    charge: Money | None = Field(None, description="Drying charge.")
    paid: Money | None = Field(None, description="What the buyer pays.")
    gap: Money | None = Field(None, description="True value less what is paid.")


class LoadFigures(ShrinkFigures):
    """One load of many."""

    row: Annotated[int, Measure("count", example=1)] = Field(
        description="Which row, counted from 1."
    )
    id: str | None = Field(None, description="Ticket.", max_length=LONGEST_NAME)


class ShrinkColumnsAnswer(Part):
    """Results as columns in the order of the loads; null where a load was refused."""

    final_weights: list[Weight | None] = Field(
        description="Weights at the final moisture.", max_length=MOST_LOADS
    )
    water_removed: list[Weight | None] = Field(
        description="Water that leaves each load.", max_length=MOST_LOADS
    )
    total_shrinks: list[Percent | None] = Field(
        description="Water and handling loss over the wet weight.", max_length=MOST_LOADS
    )
    refused: list[RefusedRow] = Field(
        default_factory=list, description="Loads at fault.", max_length=MOST_LOADS
    )


class OverDryingFigures(Part):
    """What drying below the final moisture gives away."""

    weight_given_away: Weight = Field(description="Saleable weight lost, all of it water.")
    grain_given_away: Grain = Field(description="The same in bushels by weight or tonnes.")
    share_given_away: Percent = Field(description="Of what could have been sold.")
    value_given_away: Money | None = Field(None, description="At the price.")
    extra_heat: Annotated[float, Measure("energy", example=1.0e9)] = Field(
        description="Fuel spent to evaporate it, an estimate."
    )
    extra_fuel_cost: Money | None = Field(None, description="What that fuel costs.")


class ShrinkAnswer(Answer):
    """The true figure, the buyers beside it, and the loads."""

    final_moisture: Annotated[float, Measure("moisture", example=0.155)] = Field(
        description="Moisture the grain is brought to."
    )
    covered: Annotated[int, Measure("count", example=1)] = Field(
        description="Loads that the totals cover."
    )
    refused: Annotated[int, Measure("count", example=0)] = Field(
        description="Loads left out of the totals."
    )
    totals: ShrinkFigures = Field(description="Sum over the loads covered.")
    buyers: list[BuyerFigures] = Field(
        default_factory=list,
        description="Each buyer over the loads covered, in the order given.",
        max_length=MOST_BUYERS,
    )
    loads: list[LoadFigures | RefusedRow] | None = Field(
        None, description="One entry a row, in the order given.", max_length=MOST_LOADS
    )
    columns: ShrinkColumnsAnswer | None = Field(None, description="The loads as columns.")
    over_drying: OverDryingFigures | None = Field(
        None, description="What over-drying gives away, over the loads covered."
    )
