"""What a buyer's flat shrink factor pays, beside what the grain really weighs when dried.

Buyers take a fixed percentage of the wet weight for each point above a base moisture, often 1.2 to
1.5 % where water alone is 1.16 to 1.19 % [1]_, sometimes with a handling loss, a discount of the
price or a drying charge on top [2]_, and read the moisture to a coarse step. `settle` puts that
beside the true figure and says where the money between them goes.

.. [1] Karki, D., "Corn grain moisture shrinkage", South Dakota State University Extension.
.. [2] Hicks and Cloud, National Corn Handbook NCH-61; TeBockhorst and Shouse, Iowa State
   University Extension.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.errors import Inconsistent
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import READ, Method
from outfeed.moisture import HANDLING_LOSS, USUAL_HANDLING_LOSS, WEIGHT, shrink

Rounding = Literal["up", "nearest", "down"]
ROUNDINGS: tuple[Rounding, ...] = ("up", "nearest", "down")

POINT = 0.01
"""One point of moisture: one per cent of the wet weight."""

SHRINK_FACTOR = Range("shrink factor", 0.0, 5.0, "share of wet weight per moisture", SENSIBLE)
READING_STEP = Range("step of moisture readings", 0.0, 0.02, "", SENSIBLE)
PRICE_DISCOUNT = Range("price discount", 0.0, 20.0, "share of price per moisture", SENSIBLE)
PRICE = Range("price of grain", 0.0, 1e6, "money/kg", SENSIBLE)
DRYING_CHARGE = Range("drying charge", 0.0, 1e6, "money/(kg of wet grain) per moisture", SENSIBLE)

USUAL_FACTORS = Range(
    "flat shrink factor of corn buyers",
    1.2,
    1.5,
    "share of wet weight per moisture",
    "Karki, South Dakota State University Extension",
)

FLAT_FACTOR = Method(
    id="shrink.flat-factor",
    title="Buyer's flat shrink: a fixed share of the wet weight for each point above a base",
    source="Hicks and Cloud, National Corn Handbook NCH-61; Karki, South Dakota State University "
    "Extension",
    known=READ,
    valid=(USUAL_FACTORS,),
    note="A commercial rule, not physics: the buyer's own ticket decides.",
)
METHODS = (FLAT_FACTOR,)

_READING_DIGITS = 9
"""Digits kept of a reading counted in steps, so that 15.5 % read to 0.1 stays 15.5 %."""


@dataclass(frozen=True, slots=True)
class BuyerRule:
    """How a buyer turns wet weight and moisture into paid weight and money.

    Attributes
    ----------
    base_moisture_wb : float
        Moisture above which shrink is taken, wet basis [-].
    factor : float
        Shrink factor: share of the wet weight per unit of moisture [-], 1.4 for 1.4 % a point.
    reading_step : float
        Step to which moisture is read [-]; 0.005 for half a point, zero for no rounding.
    rounding : str
        "up", "nearest" (halves go up) or "down".
    excess_step : float
        Step to which the points above the base are counted [-], zero for no rounding: 0.01 with
        "up" is "each point or fraction of a point".
    handling_loss : float
        Fixed share of the wet weight taken from every load above the base [-].
    price_discount : float
        Share of the price taken off per unit of moisture above the base [-], 2.0 for 2 % a point.
    drying_charge : float
        Money per kg of wet grain per unit of moisture above the base.
    name : str
        What the user calls the buyer.
    """

    base_moisture_wb: float
    factor: float
    reading_step: float = 0.0
    rounding: Rounding = "nearest"
    excess_step: float = 0.0
    handling_loss: float = 0.0
    price_discount: float = 0.0
    drying_charge: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        MOISTURE_WB.check(self.base_moisture_wb, "base_moisture_wb")
        SHRINK_FACTOR.check(self.factor, "factor")
        READING_STEP.check(self.reading_step, "reading_step")
        READING_STEP.check(self.excess_step, "excess_step")
        HANDLING_LOSS.check(self.handling_loss, "handling_loss")
        PRICE_DISCOUNT.check(self.price_discount, "price_discount")
        DRYING_CHARGE.check(self.drying_charge, "drying_charge")
        if self.rounding not in ROUNDINGS:
            raise Inconsistent(
                f"rounding {self.rounding!r} is none of {', '.join(ROUNDINGS)}", "rounding"
            )


def read_moisture(moisture_wb: ArrayLike, step: float, rounding: Rounding) -> FloatArray:
    """A moisture as a buyer writes it down.

    Parameters
    ----------
    moisture_wb : array_like
        Moisture, wet basis [-].
    step : float
        Step of the reading [-]; zero leaves the moisture as it is.
    rounding : str
        "up", "nearest" (halves go up) or "down".

    Returns
    -------
    ndarray
        Rounded moisture [-], same shape.

    Raises
    ------
    OutOfRange
        A step outside its range.
    """
    READING_STEP.check(step, "step")
    moisture = np.asarray(moisture_wb, dtype=np.float64)
    if step == 0.0:
        return moisture[()]
    steps = np.round(moisture / step, _READING_DIGITS)
    if rounding == "up":
        return (np.ceil(steps) * step)[()]
    return (np.floor(steps + (0.5 if rounding == "nearest" else 0.0)) * step)[()]


@dataclass(frozen=True, slots=True, eq=False)
class Settlement:
    """A buyer's settlement beside the true figure, load by load.

    The money adds up: `gap` = `shrink_gap` + `discount` + `charge` = `true_value` - `paid`.

    Attributes
    ----------
    moisture_read : ndarray
        Moisture the buyer goes by, wet basis [-].
    excess : ndarray
        Moisture above the base that the buyer charges [-].
    buyer_shrink : ndarray
        Share of the wet weight the buyer takes [-]; never negative.
    paid_weight : ndarray
        Weight the buyer pays for [kg].
    true_shrink : ndarray
        True water shrink and handling loss to the base moisture [-]; negative for drier grain.
    true_weight : ndarray
        What the grain weighs at the base moisture [kg].
    weight_gap : ndarray
        True weight less paid weight [kg]; above zero when the buyer takes more than is lost.
    true_value : ndarray
        True weight at the full price [money].
    shrink_gap : ndarray
        Money between the two weights at the full price.
    discount : ndarray
        Money taken off the price of the paid weight.
    charge : ndarray
        Drying charge [money].
    paid : ndarray
        What the buyer pays in the end [money].
    gap : ndarray
        True value less what is paid [money].
    """

    moisture_read: FloatArray
    excess: FloatArray
    buyer_shrink: FloatArray
    paid_weight: FloatArray
    true_shrink: FloatArray
    true_weight: FloatArray
    weight_gap: FloatArray
    true_value: FloatArray
    shrink_gap: FloatArray
    discount: FloatArray
    charge: FloatArray
    paid: FloatArray
    gap: FloatArray


def settle(
    rule: BuyerRule,
    wet_weight: ArrayLike,
    moisture_wb: ArrayLike,
    price: ArrayLike = 0.0,
    handling_loss: ArrayLike = USUAL_HANDLING_LOSS,
) -> Settlement:
    """What a buyer pays for loads, beside what they weigh when truly dried to the base.

    Grain already drier than the base: the buyer takes nothing and adds nothing, while the true
    weight at the base moisture is higher than the weight delivered.

    Parameters
    ----------
    rule : BuyerRule
        The buyer's way.
    wet_weight : array_like
        Weight delivered [kg], zero or more.
    moisture_wb : array_like
        True moisture, wet basis [-], 0 to 0.60.
    price : array_like
        Money per kg at the base moisture, zero or more.
    handling_loss : array_like
        True handling loss over the wet weight [-], 0 to 0.05.

    Returns
    -------
    Settlement
        Arrays of the broadcast shape; scalars for scalars.

    Raises
    ------
    OutOfRange
        A value outside its range.

    References
    ----------
    .. [1] Hicks and Cloud, National Corn Handbook NCH-61.
    """
    wet, moisture, money, loss = as_floats(
        WEIGHT.check(wet_weight, "wet_weight"),
        MOISTURE_WB.check(moisture_wb, "moisture_wb"),
        PRICE.check(price, "price"),
        HANDLING_LOSS.check(handling_loss, "handling_loss"),
    )
    read = np.asarray(read_moisture(moisture, rule.reading_step, rule.rounding))
    excess = _excess(rule, read)
    taken = np.minimum(rule.factor * excess + np.where(excess > 0.0, rule.handling_loss, 0.0), 1.0)
    truth = shrink(wet, moisture, rule.base_moisture_wb, loss)
    paid_weight = wet * (1.0 - taken)
    true_value = truth.final_weight * money
    full_value = paid_weight * money
    discount = full_value * np.minimum(rule.price_discount * excess, 1.0)
    charge = wet * rule.drying_charge * excess
    paid = full_value - discount - charge
    return Settlement(
        moisture_read=read[()],
        excess=excess[()],
        buyer_shrink=taken[()],
        paid_weight=paid_weight[()],
        true_shrink=truth.total_shrink,
        true_weight=truth.final_weight,
        weight_gap=(truth.final_weight - paid_weight)[()],
        true_value=true_value[()],
        shrink_gap=(true_value - full_value)[()],
        discount=discount[()],
        charge=charge[()],
        paid=paid[()],
        gap=(true_value - paid)[()],
    )


def _excess(rule: BuyerRule, read: FloatArray) -> FloatArray:
    above = np.maximum(read - rule.base_moisture_wb, 0.0)
    return np.asarray(read_moisture(above, rule.excess_step, rule.rounding))
