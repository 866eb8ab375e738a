"""What a statement rests on: a buyer's terms with the schedules of discounts, and loads as read.

Commercial terms are the caller's: none is published here as if it were a rule. The buyer's moisture
rules are those of `outfeed.shrink`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from outfeed.errors import Inconsistent
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.shrink import PRICE, BuyerRule

Factor = Literal["moisture", "test-weight", "damage", "foreign-material"]
FACTORS: tuple[Factor, ...] = ("moisture", "test-weight", "damage", "foreign-material")
ShrinkKind = Literal["factor", "water"]
SHRINK_KINDS: tuple[ShrinkKind, ...] = ("factor", "water")
LOAD_WEIGHT = Range("weight of a load", 0.1, 2e7, "kg", SENSIBLE)
TEST_WEIGHT = Range("test weight", 200.0, 1_000.0, "kg/m3", SENSIBLE)
DAMAGE = Range("damaged kernels", 0.0, 1.0, "", "definition")
FOREIGN_MATERIAL = Range("foreign material", 0.0, 1.0, "", "definition")
SHARE = Range("share of an owner", 0.0, 1.0, "", "definition")
DISCOUNT_PER_WEIGHT = Range("discount per weight", 0.0, 1e6, "money/kg", SENSIBLE)
DISCOUNT_SHARE = Range("discount as a share of the price", 0.0, 1.0, "", "definition")
BEYOND = Range("end of a schedule row", 0.0, 1_000.0, "", SENSIBLE)


@dataclass(frozen=True, slots=True)
class DiscountRow:
    """One row of a schedule: what is taken once a reading lies beyond a limit.

    Attributes
    ----------
    beyond : float
        The limit: above it for moisture, damage and foreign material [-], below it for test weight
        [kg/m3]. A reading at the limit is not beyond it.
    per_weight : float
        Money per kg of net weight.
    price_share : float
        Share of the price [-].
    """

    beyond: float
    per_weight: float = 0.0
    price_share: float = 0.0

    def __post_init__(self) -> None:
        BEYOND.check(self.beyond, "beyond")
        DISCOUNT_PER_WEIGHT.check(self.per_weight, "per_weight")
        DISCOUNT_SHARE.check(self.price_share, "price_share")


@dataclass(frozen=True, slots=True)
class Schedule:
    """A buyer's discounts by one reading; the furthest row that the reading passes applies.

    Attributes
    ----------
    factor : str
        "moisture", "test-weight", "damage" or "foreign-material".
    rows : tuple of DiscountRow
        In any order.
    """

    factor: Factor
    rows: tuple[DiscountRow, ...]

    def __post_init__(self) -> None:
        if self.factor not in FACTORS:
            raise Inconsistent(f"factor {self.factor!r} is none of {', '.join(FACTORS)}", "factor")
        limits = [row.beyond for row in self.rows]
        if len(set(limits)) != len(limits):
            raise Inconsistent(f"two rows of the {self.factor} schedule share a limit", "rows")

    def row_for(self, reading: float) -> DiscountRow | None:
        """The row that applies to a reading, None when no discount is due.

        Parameters
        ----------
        reading : float
            In the unit of the factor.

        Returns
        -------
        DiscountRow or None
            The furthest one passed.
        """
        sign = -1.0 if self.factor == "test-weight" else 1.0
        dust = 1e-9 * max(1.0, abs(reading))
        passed = [row for row in self.rows if sign * (reading - row.beyond) > dust]
        return max(passed, key=lambda row: sign * row.beyond, default=None)


@dataclass(frozen=True, slots=True)
class Terms:
    """What a buyer pays and takes.

    Attributes
    ----------
    rule : BuyerRule
        Base moisture, shrink factor, rounding of readings, fixed shrink, discount per point and
        drying charge; its `name` is the buyer's.
    price : float
        Money per kg at the base moisture.
    shrink_kind : str
        "factor": the rule's factor a point; "water": the true water shrink to the base moisture.
    schedules : tuple of Schedule
        Discounts, one a factor at most.
    """

    rule: BuyerRule
    price: float
    shrink_kind: ShrinkKind = "factor"
    schedules: tuple[Schedule, ...] = ()

    def __post_init__(self) -> None:
        PRICE.check(self.price, "price")
        if self.shrink_kind not in SHRINK_KINDS:
            raise Inconsistent(
                f"shrink {self.shrink_kind!r} is none of {', '.join(SHRINK_KINDS)}", "shrink_kind"
            )
        factors = [schedule.factor for schedule in self.schedules]
        if len(set(factors)) != len(factors):
            raise Inconsistent("one schedule a factor", "schedules")

    @property
    def name(self) -> str:
        """The buyer's name."""
        return self.rule.name


@dataclass(frozen=True, slots=True)
class Load:
    """A load as weighed and read.

    Attributes
    ----------
    id : str
        Ticket.
    weight : float
        Gross weight of wet grain [kg].
    moisture_wb : float
        Moisture, wet basis [-].
    buyer : str
        Name of the terms it is sold under; empty for the only ones.
    test_weight : float, optional
        [kg/m3].
    damage, foreign_material : float, optional
        Shares of the weight [-].
    owners : tuple of (str, float)
        Names and shares [-]; empty for one owner.
    """

    id: str
    weight: float
    moisture_wb: float
    buyer: str = ""
    test_weight: float | None = None
    damage: float | None = None
    foreign_material: float | None = None
    owners: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        LOAD_WEIGHT.check(self.weight, "weight")
        MOISTURE_WB.check(self.moisture_wb, "moisture_wb")
        for limit, value, name in (
            (TEST_WEIGHT, self.test_weight, "test_weight"),
            (DAMAGE, self.damage, "damage"),
            (FOREIGN_MATERIAL, self.foreign_material, "foreign_material"),
        ):
            if value is not None:
                limit.check(value, name)
        names = [name for name, _ in self.owners]
        if len(set(names)) != len(names):
            raise Inconsistent(f"load {self.id!r} names an owner twice", "owners")

    def reading(self, factor: Factor) -> float | None:
        """The reading of a discount factor other than moisture."""
        return {
            "test-weight": self.test_weight,
            "damage": self.damage,
            "foreign-material": self.foreign_material,
        }.get(factor)
