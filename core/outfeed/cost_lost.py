"""Money lost by drying too far, by waiting in the field, and by standing still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.cost import BURNER_EFFICIENCY, LABOUR, RATE, EnergyUse, Prices
from outfeed.errors import Inconsistent
from outfeed.fuel import Fuel
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import COMMON_PRACTICE, Method
from outfeed.moisture import WEIGHT
from outfeed.shrink import PRICE

TIME = Range("time", 0.0, 365.25 * 86_400.0, "s", SENSIBLE)
WAITING_COST = Range("cost of waiting", 0.0, 1e6, "money/s", SENSIBLE)
DOWN_TIME = Method(
    id="cost.down-time",
    title="What an hour without drying costs",
    source="Adding up what the caller states",
    known=COMMON_PRACTICE,
)
METHODS = (DOWN_TIME,)


@dataclass(frozen=True, slots=True, eq=False)
class OverDryingCost:
    """What drying below the market moisture throws away.

    Attributes
    ----------
    weight : ndarray
        Saleable weight given away [kg].
    weight_value : ndarray
        At the price of grain [money].
    fuel : ndarray
        Fuel for the water that need not have left [money].
    total : ndarray
        Sum of the two [money].
    """

    weight: FloatArray
    weight_value: FloatArray
    fuel: FloatArray
    total: FloatArray


def over_drying_cost(
    market_weight: ArrayLike,
    market_moisture_wb: ArrayLike,
    final_moisture_wb: ArrayLike,
    energy: EnergyUse,
    fuel: Fuel,
    prices: Prices,
    burner_efficiency: ArrayLike = 1.0,
) -> OverDryingCost:
    """What it costs to dry grain from the market moisture on to a lower one.

    Parameters
    ----------
    market_weight : array_like
        Grain as it would weigh at the market moisture [kg].
    market_moisture_wb, final_moisture_wb : array_like
        Market and reached moisture, wet basis [-].
    energy, fuel, prices, burner_efficiency
        As for `drying_cost`.

    Returns
    -------
    OverDryingCost
        Zero where the grain is not below the market moisture.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    weight, market, final = as_floats(
        WEIGHT.check(market_weight, "market_weight"),
        MOISTURE_WB.check(market_moisture_wb, "market_moisture_wb"),
        MOISTURE_WB.check(final_moisture_wb, "final_moisture_wb"),
    )
    reached = np.minimum(market, final)
    lost = weight * (market - reached) / (1.0 - reached)
    share = BURNER_EFFICIENCY.check(burner_efficiency, "burner_efficiency")
    burned = energy.heat(weight, market, reached) / share / fuel.heat_content * prices.fuel
    value = lost * prices.grain
    return OverDryingCost(lost[()], value[()], burned[()], (value + burned)[()])


def break_even_field_loss(cost_per_weight: ArrayLike, price: ArrayLike) -> FloatArray:
    """Share of the crop that waiting in the field may lose before drying is the cheaper way.

    Parameters
    ----------
    cost_per_weight : array_like
        Cost of drying per weight of grain [money/kg].
    price : array_like
        Price of grain [money/kg], above zero.

    Returns
    -------
    ndarray
        Share [-].

    Raises
    ------
    Inconsistent
        Grain without a price.
    """
    each = PRICE.check(price, "price")
    if np.any(each <= 0.0):
        raise Inconsistent("the break-even needs a price of grain above zero", "price")
    return np.asarray(np.divide(cost_per_weight, each))[()]


def down_time_cost(
    time: ArrayLike,
    rate: ArrayLike = 1.0,
    margin: ArrayLike = 0.0,
    waiting: ArrayLike = 0.0,
    labour: ArrayLike = 0.0,
) -> FloatArray:
    """What time without drying costs.

    Parameters
    ----------
    time : array_like
        Time the dryer stands [s].
    rate : array_like
        Wet grain it would have dried [kg/s].
    margin : array_like
        What each kg of that grain loses by not being dried here [money/kg]: the gain of drying
        over the next best way.
    waiting : array_like
        Combine, trucks and people that wait [money/s].
    labour : array_like
        Labour at the dryer that is paid all the same [money/s].

    Returns
    -------
    ndarray
        Money.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    stopped = TIME.check(time, "time")
    lost = RATE.check(rate, "rate") * PRICE.check(margin, "margin")
    idle = WAITING_COST.check(waiting, "waiting") + LABOUR.check(labour, "labour")
    return np.asarray(stopped * (lost + idle))[()]
