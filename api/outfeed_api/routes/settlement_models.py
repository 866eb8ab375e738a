"""What the settlement route reads and answers."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from outfeed.limits import MOISTURE_WB
from outfeed.moisture import HANDLING_LOSS
from outfeed.settlement import MONEY_STEP, WEIGHT_STEP
from outfeed.settlement_terms import (
    DAMAGE,
    DISCOUNT_PER_WEIGHT,
    DISCOUNT_SHARE,
    FOREIGN_MATERIAL,
    LOAD_WEIGHT,
    SHARE,
    TEST_WEIGHT,
    DiscountRow,
    Factor,
    Schedule,
    Terms,
)
from outfeed.shrink import (
    DRYING_CHARGE,
    PRICE,
    PRICE_DISCOUNT,
    READING_STEP,
    SHRINK_FACTOR,
    BuyerRule,
)
from outfeed_api.measures import Measure
from outfeed_api.models import (
    FIELD_AT_FAULT,
    LONGEST_NAME,
    Answer,
    Given,
    GrainId,
    Part,
    Request,
)
from outfeed_api.rows import RefusedRow, RowsOf
from outfeed_api.units import POUND

MOST_LOADS = 10_000
MOST_BUYERS = 20
MOST_OWNERS = 20
MOST_ROWS = 100
Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
Discount = Annotated[float, Measure("price-of-grain", DISCOUNT_PER_WEIGHT, example=0.0011)]
PriceShare = Annotated[float, Measure("percent", DISCOUNT_SHARE, example=0.01)]


class _Row(Given):
    discount: Discount | None = Field(None, description="Money off for each unit of net weight.")
    discount_percent: PriceShare | None = Field(None, description="Percent off the price.")

    def row(self, beyond: float) -> DiscountRow:
        """The library's row."""
        return DiscountRow(beyond, self.discount or 0.0, self.discount_percent or 0.0)


class MoistureDiscount(_Row):
    """A discount once the moisture read is above a limit."""

    above: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.18)] = Field(
        description="Applies to readings above this."
    )


class TestWeightDiscount(_Row):
    """A discount once the test weight is below a limit."""

    below: Annotated[float, Measure("test-weight", TEST_WEIGHT, example=695.0)] = Field(
        description="Applies to readings below this."
    )


class DamageDiscount(_Row):
    """A discount once damaged kernels are above a limit."""

    above: Annotated[float, Measure("percent", DAMAGE, example=0.05)] = Field(
        description="Applies to readings above this."
    )


class ForeignMaterialDiscount(_Row):
    """A discount once foreign material is above a limit."""

    above: Annotated[float, Measure("percent", FOREIGN_MATERIAL, example=0.03)] = Field(
        description="Applies to readings above this."
    )


class Buyer(Given):
    """A buyer's terms. In each schedule the furthest row that a reading passes applies."""

    name: Name = Field(description="What you call the buyer.", examples=["River elevator"])
    price: Annotated[float, Measure("price-of-grain", PRICE, example=0.17)] = Field(
        description="Price at the base moisture."
    )
    base_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.15)] = Field(
        description="Moisture above which shrink and charges begin."
    )
    shrink: Literal["factor", "water"] = Field(
        "factor",
        description="`factor`: `shrink_factor` for each point above the base; `water`: the water "
        "that drying to the base really takes.",
    )
    shrink_factor: (
        Annotated[float, Measure("percent-per-point", SHRINK_FACTOR, example=1.4)] | None
    ) = Field(None, description="Share of the gross weight taken for each point above the base.")
    fixed_shrink: Annotated[float, Measure("percent", HANDLING_LOSS, example=0.005)] | None = Field(
        None, description="Share of the gross weight taken from every load above the base."
    )
    moisture_step: Annotated[float, Measure("points", READING_STEP, example=0.001)] | None = Field(
        None, description="Step to which the buyer reads moisture; not rounded when left out."
    )
    moisture_rounding: Literal["up", "nearest", "down"] = Field(
        "nearest", description="How the reading is rounded; halves go up."
    )
    excess_step: Annotated[float, Measure("points", READING_STEP, example=0.005)] | None = Field(
        None, description="Step to which points above the base are counted, rounded the same way."
    )
    price_discount: (
        Annotated[float, Measure("percent-per-point", PRICE_DISCOUNT, example=2.0)] | None
    ) = Field(None, description="Percent of the price taken for each point above the base.")
    drying_charge: (
        Annotated[float, Measure("drying-charge", DRYING_CHARGE, example=0.19)] | None
    ) = Field(None, description="Charge for each unit of gross weight and point above the base.")
    moisture_discounts: list[MoistureDiscount] = Field(
        default_factory=list, description="Schedule by moisture read.", max_length=MOST_ROWS
    )
    test_weight_discounts: list[TestWeightDiscount] = Field(
        default_factory=list, description="Schedule by test weight.", max_length=MOST_ROWS
    )
    damage_discounts: list[DamageDiscount] = Field(
        default_factory=list, description="Schedule by damaged kernels.", max_length=MOST_ROWS
    )
    foreign_material_discounts: list[ForeignMaterialDiscount] = Field(
        default_factory=list, description="Schedule by foreign material.", max_length=MOST_ROWS
    )

    @model_validator(mode="after")
    def _one_shrink(self) -> Self:
        if self.shrink == "water" and self.shrink_factor is not None:
            words = "goes with `shrink` of `factor`; `water` takes what drying really takes"
            context = {"field": "shrink_factor", "words": words}
            raise PydanticCustomError(FIELD_AT_FAULT, "{words}", context)
        return self

    @property
    def pays_for_water(self) -> bool:
        """Whether no term takes anything for moisture, as when they were forgotten."""
        told = (
            self.shrink_factor, self.fixed_shrink, self.price_discount, self.drying_charge,
        )  # fmt: skip
        free = self.shrink == "factor" and not self.moisture_discounts
        return free and all(term is None for term in told)

    def terms(self) -> Terms:
        """The library's terms."""
        rule = BuyerRule(
            base_moisture_wb=self.base_moisture,
            factor=self.shrink_factor or 0.0,
            reading_step=self.moisture_step or 0.0,
            rounding=self.moisture_rounding,
            excess_step=self.excess_step or 0.0,
            handling_loss=self.fixed_shrink or 0.0,
            price_discount=self.price_discount or 0.0,
            drying_charge=self.drying_charge or 0.0,
            name=self.name,
        )
        rows: dict[Factor, tuple[DiscountRow, ...]] = {
            "moisture": tuple(row.row(row.above) for row in self.moisture_discounts),
            "test-weight": tuple(row.row(row.below) for row in self.test_weight_discounts),
            "damage": tuple(row.row(row.above) for row in self.damage_discounts),
            "foreign-material": tuple(
                row.row(row.above) for row in self.foreign_material_discounts
            ),
        }
        schedules = tuple(Schedule(factor, given) for factor, given in rows.items() if given)
        return Terms(rule, self.price, self.shrink, schedules)


class Owner(Given):
    """An owner of a load."""

    name: Name = Field(description="What you call the owner.", examples=["Tenant"])
    share: Annotated[float, Measure("percent", SHARE, example=0.6)] = Field(
        description="Share of the load; the shares of a load add up to 100 %."
    )


class LoadRow(Given):
    """One load, as weighed and read."""

    id: Name = Field(description="Ticket.", examples=["T-101"])
    weight: Annotated[float, Measure("mass", LOAD_WEIGHT, example=24_950.0)] = Field(
        description="Gross weight of grain delivered."
    )
    moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.178)] = Field(
        description="Moisture of the load."
    )
    buyer: Name | None = Field(
        None, description="Name of the buyer; may be left out when there is only one."
    )
    test_weight: Annotated[float, Measure("test-weight", TEST_WEIGHT, example=720.0)] | None = (
        Field(None, description="Test weight.")
    )
    damage: Annotated[float, Measure("percent", DAMAGE, example=0.02)] | None = Field(
        None, description="Damaged kernels."
    )
    foreign_material: (
        Annotated[float, Measure("percent", FOREIGN_MATERIAL, example=0.01)] | None
    ) = Field(None, description="Foreign material.")
    owners: list[Owner] | None = Field(
        None, description="Owners of this load, instead of the request's.", max_length=MOST_OWNERS
    )


class SettlementRequest(Request):
    """Loads, buyers, owners."""

    grain: GrainId
    buyers: list[Buyer] = Field(
        description="Each buyer's terms.", min_length=1, max_length=MOST_BUYERS
    )
    loads: Annotated[list[Any], RowsOf(LoadRow)] = Field(
        description="The loads, in the order of delivery; each is settled or refused by itself.",
        min_length=1,
        max_length=MOST_LOADS,
    )
    owners: list[Owner] = Field(
        default_factory=list,
        description="Owners of every load that names none of its own.",
        max_length=MOST_OWNERS,
    )
    weight_step: Annotated[float, Measure("mass", WEIGHT_STEP, example=POUND)] | None = Field(
        None, description="Smallest weight on a statement; one pound or one kilogram if left out."
    )
    money_step: Annotated[float, Measure("money", MONEY_STEP, example=0.01)] | None = Field(
        None, description="Smallest coin on a statement; 0.01 if left out."
    )


Money = Annotated[float, Measure("money-of-account", example=4212.5)]
Mass = Annotated[float, Measure("mass", example=24_000.0)]


class StatementLines(Part):
    """Lines that add up: gross = moisture shrink + fixed shrink + net; value = discounts + drying
    charge + payable.
    """

    gross: Mass = Field(description="Weight delivered.")
    moisture_shrink: Mass = Field(description="Weight taken for moisture.")
    fixed_shrink: Mass = Field(description="Weight taken as a fixed share.")
    net: Mass = Field(description="Weight paid for.")
    value: Money = Field(description="Net weight at the full price.")
    moisture_discount: Money = Field(description="Taken for moisture.")
    test_weight_discount: Money = Field(description="Taken for test weight.")
    damage_discount: Money = Field(description="Taken for damaged kernels.")
    foreign_material_discount: Money = Field(description="Taken for foreign material.")
    drying_charge: Money = Field(description="Taken for drying.")
    payable: Money = Field(description="What is paid; below zero where charges exceed the value.")


class OwnerLines(StatementLines):
    """The lines of one owner."""

    owner: str = Field(description="The owner.", max_length=LONGEST_NAME)


class BuyerLines(StatementLines):
    """The lines of one buyer."""

    buyer: str = Field(description="The buyer.", max_length=LONGEST_NAME)


class LoadStatement(StatementLines):
    """One load settled."""

    load: str = Field(description="Ticket.", max_length=LONGEST_NAME)
    buyer: str = Field(description="The buyer.", max_length=LONGEST_NAME)
    moisture_read: Annotated[float, Measure("moisture", example=0.178)] = Field(
        description="Moisture the buyer goes by."
    )
    points_above_base: Annotated[float, Measure("points", example=0.028)] = Field(
        description="Points charged."
    )
    net_grain: Annotated[float, Measure("grain", example=24_000.0)] = Field(
        description="The net weight in bushels or tonnes."
    )
    water: Annotated[float, Measure("mass", example=830.0)] = Field(
        description="Water that drying to the base would really take; zero for drier grain."
    )
    dry_matter: Mass = Field(description="Dry matter delivered.")
    owners: list[OwnerLines] | None = Field(
        None, description="Each owner's part; they add up line by line.", max_length=MOST_OWNERS
    )
    not_read: list[str] | None = Field(
        None,
        description="Schedules for which the load has no reading; nothing was taken.",
        max_length=MOST_OWNERS,
    )


class SettlementAnswer(Answer):
    """Statements and totals."""

    payable: Money = Field(description="What all settled loads are paid.")
    loads_settled: Annotated[int, Measure("count", example=3)] = Field(
        description="Loads in the totals."
    )
    loads_refused: Annotated[int, Measure("count", example=0)] = Field(
        description="Loads left out of the totals."
    )
    statements: list[LoadStatement | RefusedRow] = Field(
        description="One entry a load, in the order given.", max_length=MOST_LOADS
    )
    totals: StatementLines = Field(description="Sum of the settled loads.")
    by_buyer: list[BuyerLines] = Field(description="Totals by buyer.", max_length=MOST_BUYERS)
    by_owner: list[OwnerLines] | None = Field(
        None, description="Totals by owner, over the loads that name owners.",
        max_length=MOST_OWNERS * MOST_LOADS,
    )  # fmt: skip
    every_buyer: list[BuyerLines] | None = Field(
        None,
        description="What each buyer would pay for all settled loads, best first.",
        max_length=MOST_BUYERS,
    )
