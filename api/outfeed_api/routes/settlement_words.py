"""Settlement in words."""

from __future__ import annotations

from collections import Counter

from outfeed.settlement import Ledger, Lines
from outfeed_api.models import LONGEST_TEXT, Assumed, AssumedQuantity
from outfeed_api.routes.settlement_models import LoadStatement, SettlementRequest
from outfeed_api.rows import RefusedRow
from outfeed_api.units import say

MOST_TICKETS = 5  # named in a note
MANY_TIMES = 1.0  # relative; further apart, both weights say more than a share
SAME_SHRINK = 0.005  # relative; closer than this the shrink and the water are called the same


def decision(
    request: SettlementRequest,
    ledger: Ledger,
    ranked: list[tuple[str, Lines]],
    refused: int,
) -> str:
    """What is paid, which buyer would pay most, and what could not be settled."""

    def money(amount: int) -> str:
        return f"{amount * ledger.money_step:,.2f}"

    net = ledger.total.net * ledger.weight_step
    kg = request.kg_per_bushel
    count = len(ledger.statements)
    if not count:
        return "No load could be settled; see the rows."
    grain = say(net, "grain", request.units, bushel_weight=kg, decimals=2)
    loads = "1 load is" if count == 1 else f"{count:,} loads are"
    text = f"{loads} paid {money(ledger.total.payable)} for {grain} net."
    if ledger.total.payable < 0:
        owed = money(-ledger.total.payable)
        their = "its" if count == 1 else "their"
        text = f"{loads} paid nothing for {grain} net: charges exceed {their} value by {owed}."
    if len(ranked) > 1:
        (best, most), (second, less) = ranked[:2]
        ahead = most.payable - less.payable
        than = f"{money(ahead)} more than {second}" if ahead else f"as much as {second}"
        what = "All settled, sold" if refused else "All sold"
        text += f" {what} to {best} would bring {money(most.payable)}, {than}."
    if refused:
        text += f" {refused:,} could not be settled; see the rows."
    return text[:LONGEST_TEXT]


def notes(
    request: SettlementRequest, ledger: Ledger, statements: list[LoadStatement | RefusedRow]
) -> list[str]:
    """What to know before signing."""
    settled = [entry for entry in statements if isinstance(entry, LoadStatement)]
    taken = sum(entry.moisture_shrink + entry.fixed_shrink for entry in settled)
    water = sum(entry.water for entry in settled)
    found = []
    if taken > 0.0 and water > 0.0:
        found.append(_shrink_note(request, taken, water))
    found += _for_nothing(request, settled)
    found += _twice(settled)
    unread = sorted({name for entry in settled for name in entry.not_read or []})
    if unread:
        named = " or ".join(name.replace("-", " ") for name in unread)
        found.append(
            f"Some loads have no reading of {named}; the buyer's schedule for it was not applied "
            "to them."
        )
    if any(entry.payable < 0.0 for entry in settled):
        found.append("Charges exceed the value of at least one load.")
    if ledger.by_owner:
        weights = "pounds" if request.units == "us" else "kilograms"
        found.append(
            f"Odd cents and {weights} go to the owner owed most, carried from load to load."
        )
    return found


def _for_nothing(request: SettlementRequest, settled: list[LoadStatement]) -> list[str]:
    """Buyers that were given wet loads and no term that takes anything for it."""
    wet = {entry.buyer for entry in settled if entry.points_above_base > 0.0}
    names = [one.name for one in request.buyers if one.name in wet and one.pays_for_water]
    if not names:
        return []
    text = (
        f"{' and '.join(names[:MOST_TICKETS])} paid for water as for grain: no shrink, discount or "
        "charge for moisture was given. Give `shrink_factor`, or `shrink` of `water`, if there is "
        "one."
    )
    return [text]


def _twice(settled: list[LoadStatement]) -> list[str]:
    """Tickets that more than one load bears: each is paid."""
    counts = Counter(entry.load for entry in settled)
    twice = [f"{ticket} ({count} times)" for ticket, count in counts.items() if count > 1]
    if not twice:
        return []
    more = f" and {len(twice) - MOST_TICKETS} more" * (len(twice) > MOST_TICKETS)
    names = ", ".join(twice[:MOST_TICKETS]) + more
    text = f"Each load was settled, but these tickets stand more than once: {names}."
    return [f"{text} Was a load entered twice?"]


def _shrink_note(request: SettlementRequest, taken: float, water: float) -> str:
    """How the shrink taken compares with the water that drying would take."""
    beyond = (taken - water) / water
    truth = "drying to the base moisture would remove as water"
    if abs(beyond) < SAME_SHRINK:
        return f"The shrink taken is what {truth}."
    if beyond > MANY_TIMES:
        took, holds = (say(mass, "mass", request.units, decimals=0) for mass in (taken, water))
        return (
            f"The shrink taken is {took}, where drying to the base moisture would remove {holds}."
        )
    word = "more" if beyond > 0.0 else "less"
    return f"The shrink taken is {abs(beyond) * 100.0:.0f} % {word} than {truth}."


def assumed(request: SettlementRequest, step: float, coin: float) -> list[Assumed]:
    """Every input that was filled in."""
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
