"""Settlement: a statement for every load, to the cent and to the pound or kilogram."""

from __future__ import annotations

import csv
import io
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field

from outfeed import OutfeedError
from outfeed.apportion import LARGEST_REMAINDER, parts_of
from outfeed.limits import MOISTURE_WB
from outfeed.methods import use
from outfeed.moisture import HANDLING_LOSS, WATER_SHRINK, water_shrink
from outfeed.settlement import (
    DAMAGE,
    DISCOUNT_PER_WEIGHT,
    DISCOUNT_SHARE,
    FOREIGN_MATERIAL,
    LOAD_WEIGHT,
    MONEY_STEP,
    SHARE,
    STATEMENT,
    TEST_WEIGHT,
    WEIGHT_STEP,
    DiscountRow,
    Factor,
    Ledger,
    Lines,
    Load,
    Schedule,
    Statement,
    Terms,
    compare_buyers,
    settle_loads,
)
from outfeed.shrink import (
    DRYING_CHARGE,
    FLAT_FACTOR,
    PRICE,
    PRICE_DISCOUNT,
    READING_STEP,
    SHRINK_FACTOR,
    BuyerRule,
)
from outfeed_api.measures import Measure
from outfeed_api.models import (
    LONGEST_NAME,
    LONGEST_TEXT,
    Answer,
    Assumed,
    AssumedQuantity,
    Given,
    GrainId,
    Part,
    Request,
    cautions,
    methods_used,
)
from outfeed_api.problems import field_error, join_pointer
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.rows import RefusedRow, RowsOf, fault_of, read_row, refused
from outfeed_api.units import POUND, say

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])

MOST_LOADS = 10_000
MOST_BUYERS = 20
MOST_OWNERS = 20
MOST_ROWS = 100

SAME_SHRINK = 0.005  # relative; closer than this the shrink and the water are called the same

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


def _csv(_request: Any, answer: SettlementAnswer) -> bytes:
    """The statements as CSV: one row a load and one a load and owner."""
    lines = list(StatementLines.model_fields)
    columns = ["load", "buyer", "owner", "moisture_read", "points_above_base", *lines, "error"]
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, columns, restval="", extrasaction="ignore")
    writer.writeheader()
    for entry in answer.statements:
        if isinstance(entry, RefusedRow):
            fault = entry.errors[0]
            writer.writerow(
                {"load": f"row {entry.row}", "error": f"{fault.pointer} {fault.detail}"}
            )
            continue
        plain = entry.model_dump(exclude_none=True)
        writer.writerow(plain)
        for owner in plain.get("owners", []):
            writer.writerow(owner | {"load": entry.load, "buyer": entry.buyer})
    return buffer.getvalue().encode()


@router.post(
    "/settlement",
    summary="Statements for loads of grain",
    operation_id="settlement",
    response_model_exclude_none=True,
)
@computes(heavy=True, writes={"text/csv": _csv})
def settlement(request: SettlementRequest) -> SettlementAnswer:
    """What each buyer pays for each load and what each owner gets of it.

    Every line is a whole number of pounds or kilograms and of cents, so each statement adds up
    down the page and across its owners. A load that cannot be settled is refused in its place; the
    totals say how many loads they cover. `Accept: text/csv` gives the statements as a table.
    """
    terms = [buyer.terms() for buyer in request.buyers]
    names = [entry.name for entry in terms]
    step = request.weight_step or (POUND if request.units == "us" else 1.0)
    coin = request.money_step or 0.01
    owners = _owners(request.owners)
    parsed = [_load(row, index, request, names, owners) for index, row in enumerate(request.loads)]
    good = [entry for entry in parsed if isinstance(entry, Load)]
    ledger = settle_loads(good, terms, weight_step=step, money_step=coin)
    bases = {entry.name: entry.rule.base_moisture_wb for entry in terms}
    settled = iter(zip(ledger.statements, good, strict=True))
    statements = [
        entry if isinstance(entry, RefusedRow) else _statement(*next(settled), ledger, bases)
        for entry in parsed
    ]
    rivals = compare_buyers(good, terms, weight_step=step, money_step=coin)
    ranked = sorted(rivals.items(), key=lambda item: -item[1].payable) if len(terms) > 1 else []
    total = _lines(ledger.total, ledger)
    return SettlementAnswer(
        decision=_decision(request, ledger, ranked, len(parsed) - len(good)),
        units=request.units,
        payable=total["payable"],
        loads_settled=len(good),
        loads_refused=len(parsed) - len(good),
        statements=statements,
        totals=StatementLines(**total),
        by_buyer=[BuyerLines(buyer=n, **_lines(v, ledger)) for n, v in ledger.by_buyer.items()],
        by_owner=[OwnerLines(owner=n, **_lines(v, ledger)) for n, v in ledger.by_owner.items()]
        or None,
        every_buyer=[BuyerLines(buyer=n, **_lines(v, ledger)) for n, v in ranked] or None,
        assumed=_assumed(request, step, coin),
        methods=methods_used(
            use(STATEMENT), use(LARGEST_REMAINDER), use(WATER_SHRINK), *_factors(terms)
        ),
        notes=_notes(ledger, statements),
        cautions=cautions(),
    )


def _owners(given: list[Owner]) -> tuple[tuple[str, float], ...]:
    pairs = tuple((owner.name, owner.share) for owner in given)
    if pairs:
        parts_of([share for _, share in pairs])
    return pairs


def _load(
    row: Any,
    index: int,
    request: SettlementRequest,
    buyers: list[str],
    owners: tuple[tuple[str, float], ...],
) -> Load | RefusedRow:
    """The library's load, or why there is none."""
    pointer = join_pointer("loads", index)
    si, faults = read_row(row, LoadRow, request, pointer)
    if si is None:
        return refused(index, faults)
    if si.buyer is None and len(buyers) > 1:
        return refused(index, [field_error(pointer, "say which buyer took the load")])
    if si.buyer is not None and si.buyer not in buyers:
        detail = "there is no buyer of this name in the request"
        return refused(index, [field_error(f"{pointer}/buyer", detail)])
    try:
        return Load(
            id=si.id,
            weight=si.weight,
            moisture_wb=si.moisture,
            buyer=si.buyer or "",
            test_weight=si.test_weight,
            damage=si.damage,
            foreign_material=si.foreign_material,
            owners=_owners(si.owners) if si.owners is not None else owners,
        )
    except OutfeedError as error:
        return refused(index, [fault_of(error, pointer)])


def _lines(lines: Lines, ledger: Ledger) -> dict[str, float]:
    weights = ("gross", "moisture_shrink", "fixed_shrink", "net")
    coins = 1.0 / ledger.money_step
    whole = round(coins) if abs(coins - round(coins)) < 1e-9 * coins else None
    return {
        name: getattr(lines, name) * ledger.weight_step
        if name in weights
        else (getattr(lines, name) / whole if whole else getattr(lines, name) * ledger.money_step)
        for name in StatementLines.model_fields
    }


def _statement(
    settled: Statement, load: Load, ledger: Ledger, bases: dict[str, float]
) -> LoadStatement:
    base = bases[settled.buyer]
    water = max(float(water_shrink(load.moisture_wb, base)), 0.0) * load.weight
    lines = _lines(settled.lines, ledger)
    return LoadStatement(
        load=settled.load,
        buyer=settled.buyer,
        moisture_read=settled.moisture_read,
        points_above_base=settled.excess,
        net_grain=lines["net"],
        water=water,
        dry_matter=settled.dry_matter,
        owners=[OwnerLines(owner=name, **_lines(part, ledger)) for name, part in settled.owners]
        or None,
        not_read=list(settled.unread) or None,
        **lines,
    )


def _decision(
    request: SettlementRequest,
    ledger: Ledger,
    ranked: list[tuple[str, Lines]],
    refused: int,
) -> str:
    def money(amount: int) -> str:
        return f"{amount * ledger.money_step:,.2f}"

    net = ledger.total.net * ledger.weight_step
    kg = request.kg_per_bushel
    count = len(ledger.statements)
    grain = say(net, "grain", request.units, bushel_weight=kg, decimals=2)
    loads = "1 load is" if count == 1 else f"{count:,} loads are"
    text = f"{loads} paid {money(ledger.total.payable)} for {grain} net."
    if len(ranked) > 1 and count:
        (best, most), (second, less) = ranked[:2]
        more = money(most.payable - less.payable)
        text += f" All sold to {best} would bring {money(most.payable)}, {more} more than {second}."
    if refused:
        text += f" {refused:,} could not be settled; see the rows."
    return text[:LONGEST_TEXT]


def _notes(ledger: Ledger, statements: list[LoadStatement | RefusedRow]) -> list[str]:
    settled = [entry for entry in statements if isinstance(entry, LoadStatement)]
    taken = sum(entry.moisture_shrink + entry.fixed_shrink for entry in settled)
    water = sum(entry.water for entry in settled)
    notes = []
    if taken > 0.0 and water > 0.0:
        notes.append(_shrink_note((taken - water) / water))
    unread = sorted({name for entry in settled for name in entry.not_read or []})
    if unread:
        notes.append(
            f"Some loads have no reading of {', '.join(unread)}; the buyer's schedule for it was "
            "not applied to them."
        )
    if any(entry.payable < 0.0 for entry in settled):
        notes.append("Charges exceed the value of at least one load.")
    if ledger.by_owner:
        notes.append("Odd cents and pounds go to the owner owed most, carried from load to load.")
    return notes


def _shrink_note(beyond: float) -> str:
    """How the shrink taken compares with the water that drying would take."""
    truth = "drying to the base moisture would remove as water"
    if abs(beyond) < SAME_SHRINK:
        return f"The shrink taken is what {truth}."
    word = "more" if beyond > 0.0 else "less"
    return f"The shrink taken is {abs(beyond) * 100.0:.0f} % {word} than {truth}."


def _factors(terms: list[Terms]) -> list[Any]:
    factors = [entry.rule.factor for entry in terms if entry.shrink_kind == "factor"]
    limit = FLAT_FACTOR.valid[0].quantity.replace(" ", "_")
    return [use(FLAT_FACTOR, **{limit: factors})] if factors else []


def _assumed(request: SettlementRequest, step: float, coin: float) -> list[Assumed]:
    ticket = "statements are usually written so"
    entries: list[Assumed] = []
    if request.weight_step is None:
        entries.append(
            AssumedQuantity(
                input="weight_step", quantity="mass", value=step, why=ticket,
                source="common practice, no source",
            )
        )  # fmt: skip
    if request.money_step is None:
        entries.append(
            AssumedQuantity(
                input="money_step", quantity="money", value=coin, why=ticket,
                source="common practice, no source",
            )
        )  # fmt: skip
    return entries
