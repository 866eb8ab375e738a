"""A statement for each load of grain: weight, shrink, discounts, charges, owners, to the cent.

A buyer weighs and reads a load, takes shrink, pays for what is left, takes discounts and a drying
charge; owners share the rest. Everything on a statement is a whole number of the scale's smallest
weight and of the smallest coin, so each statement adds up down the page and across the owners:

    gross = moisture shrink + fixed shrink + net
    value = sum of the discounts + drying charge + payable

The buyer's moisture rules are those of `outfeed.shrink`; discounts follow the buyer's own schedule,
given as rows. Commercial terms are the caller's: none is published here as if it were a rule.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from outfeed.apportion import parts_of, split
from outfeed.errors import Inconsistent, UnknownName
from outfeed.interrupt import may_stop
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.settlement_terms import (
    FACTORS,
    TEST_WEIGHT,
    DiscountRow,
    Factor,
    Load,
    Schedule,
    Terms,
)
from outfeed.shrink import read_moisture

WEIGHT_STEP = Range("smallest weight of the scale", 1e-4, 1_000.0, "kg", SENSIBLE)
MONEY_STEP = Range("smallest coin", 1e-4, 100.0, "money", SENSIBLE)

POUND = 0.45359237
"""Kilograms per pound: exact by definition (international avoirdupois pound)."""
CENT = 0.01

_DIGITS = 6
"""Decimals of a smallest unit that count when it is rounded: halves go up, float dust does not."""

STATEMENT = Method(
    id="settlement.statement",
    title="Load statement in whole units of weight and money",
    source="Book-keeping: every line is rounded once, halves up, and sums are of rounded lines",
    known=DERIVED,
    note="The buyer's ticket and contract decide.",
)
METHODS = (STATEMENT,)


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of a statement in whole smallest units.

    `gross` = `moisture_shrink` + `fixed_shrink` + `net`; `value` = `moisture_discount` +
    `test_weight_discount` + `damage_discount` + `foreign_material_discount` + `drying_charge` +
    `payable`.

    Attributes
    ----------
    moisture_shrink, fixed_shrink, net : int
        Steps of weight.
    moisture_discount, test_weight_discount, damage_discount, foreign_material_discount : int
        Steps of money.
    drying_charge, payable : int
        Steps of money; payable is below zero where charges exceed the value.
    """

    moisture_shrink: int = 0
    fixed_shrink: int = 0
    net: int = 0
    moisture_discount: int = 0
    test_weight_discount: int = 0
    damage_discount: int = 0
    foreign_material_discount: int = 0
    drying_charge: int = 0
    payable: int = 0

    @property
    def gross(self) -> int:
        """Weight delivered [steps of weight]."""
        return self.moisture_shrink + self.fixed_shrink + self.net

    @property
    def discounts(self) -> int:
        """All discounts [steps of money]."""
        return (
            self.moisture_discount
            + self.test_weight_discount
            + self.damage_discount
            + self.foreign_material_discount
        )

    @property
    def value(self) -> int:
        """Net weight at the full price [steps of money]."""
        return self.discounts + self.drying_charge + self.payable

    def amounts(self) -> tuple[int, ...]:
        """The stored lines, in the order of the attributes."""
        return (
            self.moisture_shrink, self.fixed_shrink, self.net,
            self.moisture_discount, self.test_weight_discount, self.damage_discount,
            self.foreign_material_discount, self.drying_charge, self.payable,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Statement:
    """One load settled.

    Attributes
    ----------
    load, buyer : str
        Ticket and buyer.
    moisture_read, excess : float
        Moisture the buyer goes by and what is charged above the base [-].
    lines : Lines
        The load's lines.
    owners : tuple of (str, Lines)
        Each owner's lines; they add up to the load's, line by line.
    unread : tuple of str
        Factors with a schedule that the load has no reading for; no discount was taken.
    dry_matter : float
        In the load [kg].
    """

    load: str
    buyer: str
    moisture_read: float
    excess: float
    lines: Lines
    owners: tuple[tuple[str, Lines], ...]
    unread: tuple[str, ...]
    dry_matter: float


@dataclass(frozen=True, slots=True)
class Ledger:
    """Statements with their totals.

    Attributes
    ----------
    statements : tuple of Statement
        In the order of the loads.
    total : Lines
        Of all statements.
    by_buyer, by_owner : dict
        Totals by name, in order of appearance.
    weight_step : float
        Kilograms in a step of weight.
    money_step : float
        Money in a step.
    """

    statements: tuple[Statement, ...]
    total: Lines
    by_buyer: Mapping[str, Lines]
    by_owner: Mapping[str, Lines]
    weight_step: float
    money_step: float


def settle_loads(
    loads: Sequence[Load],
    terms: Sequence[Terms],
    *,
    weight_step: float = POUND,
    money_step: float = CENT,
) -> Ledger:
    """A statement for every load, with totals by buyer and by owner.

    Parameters
    ----------
    loads : sequence of Load
        In the order of delivery; odd cents are carried along it, owner by owner.
    terms : sequence of Terms
        The buyers' terms, by different names.
    weight_step : float
        Smallest weight the scale shows [kg]; gross weights are read to it.
    money_step : float
        Smallest coin [money].

    Returns
    -------
    Ledger
        In whole steps.

    Raises
    ------
    Inconsistent
        Terms that share a name, a load without a buyer among several, shares that do not add up.
    UnknownName
        A load sold to somebody without terms.
    OutOfRange
        A step outside its range.
    """
    WEIGHT_STEP.check(weight_step, "weight_step")
    MONEY_STEP.check(money_step, "money_step")
    known = _by_name(terms)
    carried: dict[tuple[str, ...], list[tuple[int, ...]]] = {}
    statements = []
    for load, read, excess in zip(loads, *_readings(loads, known), strict=True):
        buyer = known[load.buyer or next(iter(known))]
        lines, unread = _lines(load, buyer, read, excess, weight_step, money_step)
        owners = _share_out(lines, load, carried)
        dry = load.weight * (1.0 - load.moisture_wb)
        statements.append(Statement(load.id, buyer.name, read, excess, lines, owners, unread, dry))
    return _ledger(tuple(statements), weight_step, money_step)


def compare_buyers(
    loads: Sequence[Load],
    terms: Sequence[Terms],
    *,
    weight_step: float = POUND,
    money_step: float = CENT,
) -> dict[str, Lines]:
    """What each buyer would pay for all the loads.

    Parameters
    ----------
    loads : sequence of Load
        Whoever they name as buyer.
    terms : sequence of Terms
        The buyers' terms.
    weight_step, money_step : float
        As in `settle_loads`.

    Returns
    -------
    dict
        Totals by buyer, in the order of the terms.

    Raises
    ------
    Inconsistent, OutOfRange
        As in `settle_loads`.
    """
    known = _by_name(terms)
    result = {}
    for buyer in known.values():
        read, excess = _moistures([load.moisture_wb for load in loads], buyer)
        pairs = zip(loads, read, excess, strict=True)
        result[buyer.name] = _sum(
            [_lines(load, buyer, r, e, weight_step, money_step)[0] for load, r, e in pairs]
        )
    return result


def steps(value: float, step: float) -> int:
    """A value as a whole number of steps, halves up.

    Parameters
    ----------
    value : float
        Weight or money.
    step : float
        The smallest unit, above zero.

    Returns
    -------
    int
        Steps.
    """
    return math.floor(round(value / step, _DIGITS) + 0.5)


def _by_name(terms: Sequence[Terms]) -> dict[str, Terms]:
    known = {entry.name: entry for entry in terms}
    if not known or len(known) != len(terms):
        raise Inconsistent("give each buyer's terms once, under a name of its own", "terms")
    return known


def _readings(loads: Sequence[Load], known: Mapping[str, Terms]) -> tuple[list[float], list[float]]:
    """Moisture read and excess of each load, computed buyer by buyer."""
    read, excess = [0.0] * len(loads), [0.0] * len(loads)
    groups: dict[str, list[int]] = {}
    for index, load in enumerate(loads):
        if not load.buyer and len(known) > 1:
            raise Inconsistent(f"load {load.id!r} does not say which buyer took it", "buyer")
        name = load.buyer or next(iter(known))
        if name not in known:
            raise UnknownName("buyer", name, tuple(known), name="buyer")
        groups.setdefault(name, []).append(index)
    for name, members in groups.items():
        moistures = [loads[index].moisture_wb for index in members]
        for index, r, e in zip(members, *_moistures(moistures, known[name]), strict=True):
            read[index], excess[index] = r, e
    return read, excess


def _moistures(moistures: Sequence[float], terms: Terms) -> tuple[list[float], list[float]]:
    rule = terms.rule
    read = np.asarray(read_moisture(moistures, rule.reading_step, rule.rounding))
    above = np.round(np.maximum(read - rule.base_moisture_wb, 0.0), 12)
    excess = np.asarray(read_moisture(above, rule.excess_step, rule.rounding))
    return np.round(read, 12).tolist(), excess.tolist()


def _lines(
    load: Load, terms: Terms, read: float, excess: float, weight_step: float, money_step: float
) -> tuple[Lines, tuple[str, ...]]:
    may_stop()
    rule = terms.rule
    gross = steps(load.weight, weight_step)
    water, fixed = _shrinks(terms, gross, read, excess)
    net = gross - water - fixed
    price = terms.price * weight_step / money_step  # steps of money per step of weight
    value = steps(net * price, 1.0)
    taken, unread = _discounts(load, terms, read, net, price, weight_step / money_step)
    per_point = steps(net * price * min(rule.price_discount * excess, 1.0), 1.0)
    charge = steps(gross * rule.drying_charge * excess * weight_step / money_step, 1.0)
    moisture = taken["moisture"] + per_point
    others = taken["test-weight"] + taken["damage"] + taken["foreign-material"]
    lines = Lines(
        moisture_shrink=water,
        fixed_shrink=fixed,
        net=net,
        moisture_discount=moisture,
        test_weight_discount=taken["test-weight"],
        damage_discount=taken["damage"],
        foreign_material_discount=taken["foreign-material"],
        drying_charge=charge,
        payable=value - moisture - others - charge,
    )
    return lines, unread


def _shrinks(terms: Terms, gross: int, read: float, excess: float) -> tuple[int, int]:
    """Steps taken for moisture and as a fixed share; together never more than the load."""
    rule = terms.rule
    if excess <= 0.0:
        return 0, 0
    share = rule.factor * excess
    if terms.shrink_kind == "water":
        share = max(read - rule.base_moisture_wb, 0.0) / (1.0 - rule.base_moisture_wb)
    water = min(steps(gross * share, 1.0), gross)
    return water, min(steps(gross * rule.handling_loss, 1.0), gross - water)


def _discounts(
    load: Load, terms: Terms, read: float, net: int, price: float, per_step: float
) -> tuple[dict[Factor, int], tuple[str, ...]]:
    taken: dict[Factor, int] = dict.fromkeys(FACTORS, 0)
    unread = []
    for schedule in terms.schedules:
        reading = read if schedule.factor == "moisture" else load.reading(schedule.factor)
        if reading is None:
            unread.append(schedule.factor)
            continue
        row = schedule.row_for(reading)
        if row is not None:
            each = row.per_weight * per_step + row.price_share * price
            taken[schedule.factor] = steps(net * each, 1.0)
    return taken, tuple(unread)


def _share_out(
    lines: Lines, load: Load, carried: dict[tuple[str, ...], list[tuple[int, ...]]]
) -> tuple[tuple[str, Lines], ...]:
    """Each stored line split between the owners, so that the sums follow by themselves."""
    names = tuple(name for name, _ in load.owners)
    if not names:
        return ()
    parts = _parts(tuple(share for _, share in load.owners))
    if len(names) == 1:
        return ((names[0], lines),)
    amounts = lines.amounts()
    owed = carried.setdefault(names, [(0,) * len(names)] * len(amounts))
    columns = []
    for index, amount in enumerate(amounts):
        shares, owed[index] = split(amount, parts, owed[index])
        columns.append(shares)
    rows = zip(*columns, strict=True)
    return tuple((name, Lines(*row)) for name, row in zip(names, rows, strict=True))


@lru_cache(maxsize=256)
def _parts(shares: tuple[float, ...]) -> tuple[int, ...]:
    return parts_of(shares)


def _sum(entries: Sequence[Lines]) -> Lines:
    if not entries:
        return Lines()
    columns = zip(*(entry.amounts() for entry in entries), strict=True)
    return Lines(*(sum(column) for column in columns))


def _ledger(statements: tuple[Statement, ...], weight_step: float, money_step: float) -> Ledger:
    buyers: dict[str, list[Lines]] = {}
    owners: dict[str, list[Lines]] = {}
    for statement in statements:
        buyers.setdefault(statement.buyer, []).append(statement.lines)
        for name, lines in statement.owners:
            owners.setdefault(name, []).append(lines)
    return Ledger(
        statements=statements,
        total=_sum([statement.lines for statement in statements]),
        by_buyer={name: _sum(lines) for name, lines in buyers.items()},
        by_owner={name: _sum(lines) for name, lines in owners.items()},
        weight_step=weight_step,
        money_step=money_step,
    )


__all__ = [
    "CENT",
    "MONEY_STEP",
    "POUND",
    "STATEMENT",
    "TEST_WEIGHT",
    "WEIGHT_STEP",
    "DiscountRow",
    "Factor",
    "Ledger",
    "Lines",
    "Load",
    "Schedule",
    "Statement",
    "Terms",
    "compare_buyers",
    "settle_loads",
    "steps",
]
