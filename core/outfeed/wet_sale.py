"""Sell the grain wet by the buyer's terms, or dry it and sell it dry?

Both sales go by the same buyer's terms: shrink, discounts and charges of the wet sale, full price
of the dry one. What drying costs in cash stands against the difference; grain lost in handling and
weight dried away already show in the lower weight of the dry sale and are not counted twice.

.. [1] TeBockhorst and Shouse, Iowa State University Extension: 1000 wet bushels at 20.5 %, 2 % of
   the price off for each point above 15 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.cost import DryingCost
from outfeed.errors import Inconsistent
from outfeed.limits import MOISTURE_WB
from outfeed.moisture import WEIGHT
from outfeed.settlement import MONEY_STEP, WEIGHT_STEP, Load, Terms, settle_loads

_REFERENCE = 10_000_000.0  # kg; settled in the finest steps and scaled, so that no cent is rounded


@dataclass(frozen=True, slots=True, eq=False)
class SaleChoice:
    """Wet sale against drying and selling dry, lot by lot.

    Attributes
    ----------
    wet : ndarray
        Money for the wet grain; below zero where charges exceed its value.
    dry : ndarray
        Money for the dried grain.
    cash_cost : ndarray
        Fuel, electricity and labour of drying [money].
    gain : ndarray
        What drying brings over selling wet [money]: dry less cash cost less wet.
    break_even_cost : ndarray
        Cash cost at which both are worth the same [money].
    break_even_fuel : float or None
        Price of fuel at which all lots together are worth the same both ways [money per unit
        sold]; None when no fuel is burned or even free fuel would not pay.
    """

    wet: FloatArray
    dry: FloatArray
    cash_cost: FloatArray
    gain: FloatArray
    break_even_cost: FloatArray
    break_even_fuel: float | None


def sale_value(terms: Terms, weight: ArrayLike, moisture_wb: ArrayLike) -> FloatArray:
    """What a buyer pays for lots of grain, before rounding to cents.

    Parameters
    ----------
    terms : Terms
        The buyer's terms.
    weight : array_like
        Weight delivered [kg].
    moisture_wb : array_like
        Its moisture, wet basis [-].

    Returns
    -------
    ndarray
        Money, broadcast shape; below zero where charges exceed the value.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    loads, wet = as_floats(
        WEIGHT.check(weight, "weight"), MOISTURE_WB.check(moisture_wb, "moisture_wb")
    )
    moistures, where = np.unique(wet, return_inverse=True)
    tickets = [Load(id="lot", weight=_REFERENCE, moisture_wb=float(m)) for m in moistures]
    ledger = settle_loads(tickets, [terms], weight_step=WEIGHT_STEP.low, money_step=MONEY_STEP.low)
    paid = np.asarray([one.lines.payable for one in ledger.statements], dtype=np.float64)
    each = paid * ledger.money_step / _REFERENCE
    return np.asarray(each[where.reshape(wet.shape)] * loads)[()]


def dry_or_sell_wet(
    terms: Terms,
    cost: DryingCost,
    initial_moisture_wb: ArrayLike,
    final_moisture_wb: ArrayLike,
) -> SaleChoice:
    """Compare selling wet with drying first.

    Parameters
    ----------
    terms : Terms
        The buyer's terms.
    cost : DryingCost
        Of the lots.
    initial_moisture_wb, final_moisture_wb : array_like
        Moistures before and after drying, wet basis [-], as the cost was computed for.

    Returns
    -------
    SaleChoice
        With the break-evens.

    Raises
    ------
    OutOfRange
        A value outside its range.
    Inconsistent
        A lot of no weight.
    """
    if np.any(np.asarray(cost.wet_weight) <= 0.0):
        raise Inconsistent("a lot of no weight has no better way", "wet_weight")
    wet = np.asarray(sale_value(terms, cost.wet_weight, initial_moisture_wb))
    dry = np.asarray(sale_value(terms, cost.final_weight, final_moisture_wb))
    others = np.asarray(cost.electricity + cost.labour)
    cash, quantity = others + cost.fuel, float(np.sum(cost.fuel_quantity))
    spare = float(np.sum(dry - wet - others))
    return SaleChoice(
        wet=wet[()],
        dry=dry[()],
        cash_cost=cash[()],
        gain=(dry - cash - wet)[()],
        break_even_cost=(dry - wet)[()],
        break_even_fuel=spare / quantity if quantity > 0.0 and spare >= 0.0 else None,
    )
