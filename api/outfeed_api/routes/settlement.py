"""Settlement: a statement for every load, to the cent and to the pound or kilogram."""

from __future__ import annotations

import csv
import io
from typing import Any

from fastapi import APIRouter

from outfeed import Inconsistent, OutfeedError
from outfeed.apportion import LARGEST_REMAINDER, parts_of
from outfeed.methods import use
from outfeed.moisture import WATER_SHRINK
from outfeed.settlement import (
    STATEMENT,
    Ledger,
    Lines,
    Load,
    Statement,
    Terms,
    compare_buyers,
    settle_loads,
)
from outfeed.shrink import FLAT_FACTOR
from outfeed_api.conversion import bare
from outfeed_api.models import cautions, methods_used
from outfeed_api.problems import field_error, join_pointer
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes import settlement_words as words
from outfeed_api.routes.settlement_models import (
    BuyerLines,
    LoadRow,
    LoadStatement,
    Owner,
    OwnerLines,
    SettlementAnswer,
    SettlementRequest,
    StatementLines,
)
from outfeed_api.rows import RefusedRow, fault_of, read_row, refuse_twice, refused
from outfeed_api.tables import safe_cell
from outfeed_api.units import POUND

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])


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
            load = safe_cell(entry.id or f"row {entry.row}")
            writer.writerow({"load": load, "error": f"{fault.pointer} {fault.detail}"})
            continue
        plain = entry.model_dump(exclude_none=True)
        named = {"load": safe_cell(entry.load), "buyer": safe_cell(entry.buyer)}
        writer.writerow(plain | named)
        for owner in plain.get("owners", []):
            writer.writerow(owner | named | {"owner": safe_cell(owner["owner"])})
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
    refuse_twice([buyer.name for buyer in request.buyers])
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
        decision=words.decision(request, ledger, ranked, len(parsed) - len(good)),
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
        assumed=words.assumed(request, step, coin),
        methods=methods_used(
            use(STATEMENT), use(LARGEST_REMAINDER), use(WATER_SHRINK), *_factors(terms)
        ),
        notes=words.notes(request, ledger, statements),
        cautions=cautions(),
    )


def _owners(given: list[Owner]) -> tuple[tuple[str, float], ...]:
    pairs = tuple((owner.name, owner.share) for owner in given)
    if len(dict(pairs)) < len(pairs):
        raise Inconsistent("an owner stands twice: add the shares up", "owners")
    if pairs:
        try:
            parts_of([share for _, share in pairs])
        except Inconsistent as error:
            raise Inconsistent(str(error), "owners") from error
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
        return refused(index, faults, row)
    if si.buyer is None and len(buyers) > 1:
        return refused(index, [field_error(pointer, "say which buyer took the load")], row)
    if si.buyer is not None and si.buyer not in buyers:
        detail = "there is no buyer of this name in the request"
        return refused(index, [field_error(f"{pointer}/buyer", detail)], row)
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
        return refused(index, [fault_of(error, pointer)], row)


def _lines(lines: Lines, ledger: Ledger) -> dict[str, float]:
    """The lines of the answer: weights in kilograms, money in whole cents exactly."""
    step, coin = ledger.weight_step, ledger.money_step
    coins = 1.0 / coin
    if abs(coins - round(coins)) < 1e-9 * coins:
        # an amount over a whole number is the nearest float to its cents; a product need not be
        shares = (amount / round(coins) for amount in _money_of(lines))
    else:
        shares = (amount * coin for amount in _money_of(lines))
    weights = (lines.gross, lines.moisture_shrink, lines.fixed_shrink, lines.net)
    amounts = (*(amount * step for amount in weights), *shares)
    return dict(zip(StatementLines.model_fields, amounts, strict=True))


def _money_of(lines: Lines) -> tuple[int, ...]:
    return (
        lines.value, lines.moisture_discount, lines.test_weight_discount, lines.damage_discount,
        lines.foreign_material_discount, lines.drying_charge, lines.payable,
    )  # fmt: skip


def _statement(
    settled: Statement, load: Load, ledger: Ledger, bases: dict[str, float]
) -> LoadStatement:
    base = bases[settled.buyer]
    water = _water(load, base)
    lines = _lines(settled.lines, ledger)
    return bare(
        LoadStatement,
        **lines,
        load=settled.load,
        buyer=settled.buyer,
        moisture_read=settled.moisture_read,
        points_above_base=settled.excess,
        net_grain=lines["net"],
        water=water,
        dry_matter=settled.dry_matter,
        owners=[
            bare(OwnerLines, owner=name, **_lines(part, ledger)) for name, part in settled.owners
        ]
        or None,
        not_read=list(settled.unread) or None,
    )


def _water(load: Load, base: float) -> float:
    """Water that drying to the base would take [kg], zero for drier grain; both were checked."""
    if load.moisture_wb <= base:
        return 0.0
    return load.weight * (load.moisture_wb - base) / (1.0 - base)


def _factors(terms: list[Terms]) -> list[Any]:
    factors = [entry.rule.factor for entry in terms if entry.shrink_kind == "factor"]
    limit = FLAT_FACTOR.valid[0].quantity.replace(" ", "_")
    return [use(FLAT_FACTOR, **{limit: factors})] if factors else []
