"""Sell the grain wet by a buyer's discount schedule, or dry it and sell it dry?

A schedule is the buyer's own list: from which moisture on, so much money off, such a share off the
price, such a shrink. The caller gives its rows; nothing between or beyond them is guessed, and
grain above the last row is marked so.

.. [1] TeBockhorst and Shouse, Iowa State University Extension: 1000 wet bushels at 20.5 %, 2 % of
   the price off for each point above 15 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, as_floats
from outfeed.errors import Inconsistent
from outfeed.limits import MOISTURE_WB, Range
from outfeed.moisture import WEIGHT
from outfeed.shrink import PRICE

SHARE_OFF = Range("share off the price", 0.0, 1.0, "", "definition")
SHRINK_TAKEN = Range("shrink taken", 0.0, 1.0, "", "definition")

IndexArray = NDArray[np.intp]

_SAME_MOISTURE = 1e-9


@dataclass(frozen=True, slots=True)
class DiscountRow:
    """What a buyer takes from a moisture on, until the next row.

    Attributes
    ----------
    moisture_from : float
        Moisture from which the row holds, wet basis [-].
    money_off : float
        Money off the price of each kg paid.
    share_off : float
        Share off the price [-].
    shrink : float
        Share of the wet weight not paid [-].
    """

    moisture_from: float
    money_off: float = 0.0
    share_off: float = 0.0
    shrink: float = 0.0

    def __post_init__(self) -> None:
        MOISTURE_WB.check(self.moisture_from, "moisture_from")
        PRICE.check(self.money_off, "money_off")
        SHARE_OFF.check(self.share_off, "share_off")
        SHRINK_TAKEN.check(self.shrink, "shrink")


@dataclass(frozen=True, slots=True, eq=False)
class WetSale:
    """What a schedule pays.

    Attributes
    ----------
    paid : ndarray
        Money for the load; zero where it is refused, never negative.
    paid_weight : ndarray
        Weight paid for [kg].
    price : ndarray
        Price after discounts [money/kg].
    row : ndarray of int
        Index of the row used; -1 for grain below the first.
    last_row : ndarray of bool
        Whether the last row was used, which may not have been made for grain so wet.
    refused : ndarray of bool
        Whether the buyer does not take grain so wet.
    """

    paid: FloatArray
    paid_weight: FloatArray
    price: FloatArray
    row: IndexArray
    last_row: BoolArray
    refused: BoolArray


def sell_wet(
    rows: tuple[DiscountRow, ...],
    wet_weight: ArrayLike,
    moisture_wb: ArrayLike,
    price: ArrayLike,
    refuse_above: float | None = None,
) -> WetSale:
    """What a buyer pays for wet grain by a schedule.

    Parameters
    ----------
    rows : tuple of DiscountRow
        In any order, each moisture once.
    wet_weight : array_like
        Weight delivered [kg].
    moisture_wb : array_like
        Its moisture, wet basis [-].
    price : array_like
        Price of dry grain [money/kg].
    refuse_above : float, optional
        Moisture above which the buyer takes none [-].

    Returns
    -------
    WetSale
        Arrays of the broadcast shape.

    Raises
    ------
    Inconsistent
        No rows, or two for one moisture.
    OutOfRange
        A value outside its range.
    """
    ordered = sorted(rows, key=lambda row: row.moisture_from)
    starts = np.asarray([row.moisture_from for row in ordered])
    if not ordered or np.any(np.diff(starts) <= _SAME_MOISTURE):
        raise Inconsistent("a schedule needs rows, each with a moisture of its own", "schedule")
    weight, wet, full = as_floats(
        WEIGHT.check(wet_weight, "wet_weight"),
        MOISTURE_WB.check(moisture_wb, "moisture_wb"),
        PRICE.check(price, "price"),
    )
    index = np.asarray(np.searchsorted(starts, wet + _SAME_MOISTURE, side="right") - 1)
    taken = _column(ordered, "shrink", index)
    off = _column(ordered, "money_off", index) + full * _column(ordered, "share_off", index)
    each = np.maximum(full - off, 0.0)
    highest = MOISTURE_WB.high if refuse_above is None else refuse_above
    refused = wet > highest + _SAME_MOISTURE
    paid_weight = np.where(refused, 0.0, weight * (1.0 - taken))
    return WetSale(
        paid=(paid_weight * each)[()],
        paid_weight=paid_weight[()],
        price=each[()],
        row=index[()],
        last_row=(index == len(ordered) - 1)[()],
        refused=refused[()],
    )


def _column(rows: list[DiscountRow], name: str, index: IndexArray) -> FloatArray:
    """A column of the rows by index; the zero in front serves index -1."""
    values = np.asarray([0.0, *(getattr(row, name) for row in rows)], dtype=np.float64)
    return np.asarray(values[index + 1])
