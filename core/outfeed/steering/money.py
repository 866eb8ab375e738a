"""What a wrong discharge moisture costs, and where to aim because of it.

Too dry: water that could have been sold has been burned away with fuel. Too wet: a discount, or
drying again. When the two differ, the cheapest aim is not the target itself but a quantile of
what the stream will be (the newsvendor rule; Arrow, Harris and Marschak 1951, Econometrica
19:250-272, recalled).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import DERIVED, RECALLED, Method

COST_RATIO = Range("cost of a point too wet over cost of a point too dry", 0.05, 20.0, "", SENSIBLE)
EQUAL = 1.0  # ratio taken where nobody tells it
RATE = Range("discharge rate", 0.0, 200.0, "kg/s", SENSIBLE)
PRICE = Range("price per kilogram", 0.0, 100.0, "1/kg", SENSIBLE)

NEWSVENDOR = Method(
    "steering.aim.newsvendor",
    "aim beside the target when too wet and too dry cost unequally",
    "Arrow, Harris and Marschak 1951, Econometrica 19:250-272",
    RECALLED,
)
OVER_DRYING = Method(
    "steering.money.over-drying",
    "weight of water lost by drying below the target",
    "dry matter is conserved: 1 - (1 - target)/(1 - moisture); 15.5 to 14.5 % costs 1.17 %",
    DERIVED,
)
METHODS = (NEWSVENDOR, OVER_DRYING)


@dataclass(frozen=True, slots=True)
class Prices:
    """What grain, fuel and wetness cost; in any one currency. None is not known, 0 costs nothing.

    Attributes
    ----------
    grain : float or None
        Price of a kilogram of grain at the target moisture [1/kg].
    fuel_per_point : float or None
        Fuel and power to take one point of moisture from a kilogram of grain [1/kg].
    wet_per_point : float or None
        Discount or re-drying per kilogram and point above the target [1/kg].
    """

    grain: float | None = None
    fuel_per_point: float | None = None
    wet_per_point: float | None = None


def error_cost(
    moisture_wb: float, target_wb: float, discharge_rate: float, prices: Prices
) -> float | None:
    """Money a discharge moisture off the target costs in a second.

    Parameters
    ----------
    moisture_wb : float
        Discharge moisture, wet basis [-], 0 to 0.6.
    target_wb : float
        Target moisture, wet basis [-], 0 to 0.6.
    discharge_rate : float
        Grain leaving [kg/s], 0 to 200.
    prices : Prices
        Money per kilogram.

    Returns
    -------
    float or None
        Cost [1/s] in the currency of the prices; never negative. None where the prices of that
        side are not known; of grain and fuel the one that is known is counted.

    Raises
    ------
    OutOfRange
        An argument outside its range.
    """
    MOISTURE_WB.check(moisture_wb, "moisture_wb")
    MOISTURE_WB.check(target_wb, "target_wb")
    RATE.check(discharge_rate, "discharge_rate")
    points = (moisture_wb - target_wb) * 100.0
    if points >= 0:
        wet = prices.wet_per_point
        return None if wet is None else discharge_rate * points * wet
    if prices.grain is None and prices.fuel_per_point is None:
        return None
    at_target = discharge_rate * (1 - moisture_wb) / (1 - target_wb)
    water = at_target - discharge_rate
    return water * (prices.grain or 0.0) - at_target * points * (prices.fuel_per_point or 0.0)


def cost_ratio(target_wb: float, prices: Prices) -> float | None:
    """Cost of a point too wet over the cost of a point too dry.

    Parameters
    ----------
    target_wb : float
        Target moisture, wet basis [-], 0 to 0.6.
    prices : Prices
        Money per kilogram.

    Returns
    -------
    float or None
        The ratio [-], held within 0.05 to 20, its bounds where one side costs nothing; None where
        a price that would decide is not known, or neither side costs anything.
    """
    too_wet = error_cost(target_wb + 0.01, target_wb, 1.0, prices)
    too_dry = error_cost(target_wb - 0.01, target_wb, 1.0, prices)
    if too_wet is None or too_dry is None:
        return None
    if too_dry > 0:
        return min(max(too_wet / too_dry, COST_RATIO.low), COST_RATIO.high)
    free = prices.grain is not None and prices.fuel_per_point is not None
    return COST_RATIO.high if too_wet > 0 and free else None


def aim(target_wb: float, spread: float, wet_to_dry: float = EQUAL) -> float:
    """Moisture to aim at when the stream spreads about its mean.

    Parameters
    ----------
    target_wb : float
        Target moisture, wet basis [-], 0 to 0.6.
    spread : float
        SD of the discharge moisture about what is aimed at [-], 0 or more.
    wet_to_dry : float
        Cost of a point too wet over the cost of a point too dry [-], 0.05 to 20.

    Returns
    -------
    float
        Moisture to aim at, wet basis [-]: below the target when wet costs more.

    Raises
    ------
    OutOfRange
        The ratio outside its range.

    Examples
    --------
    >>> round(aim(0.155, 0.004), 4)
    0.155
    """
    from scipy.special import ndtri

    COST_RATIO.check(wet_to_dry, "wet_to_dry")
    return target_wb - spread * float(ndtri(wet_to_dry / (1.0 + wet_to_dry)))


def combined(*deviations: float) -> float:
    """Standard deviation of a sum of independent errors.

    Parameters
    ----------
    *deviations : float
        Standard deviations, one unit.

    Returns
    -------
    float
        Root of the sum of squares, same unit.
    """
    return sqrt(sum(value * value for value in deviations))
