"""What drying costs, and what it is worth: fuel, power, labour, lost grain, wet or dry sale.

Energy is told in one of two ways: fuel heat per water evaporated, or fuel heat per weight and point
of moisture as extension rules do. Heat contents are higher heating values throughout; a fuel told
by its lower one keeps that, and the burner efficiency then counts over the lower value. The rules
are of propane burned in the drying air, whose water leaves as vapour: `FLAME_SHARE` of their heat
warms the air, and that is what a fuel of another kind has to bring.

Water that leaves is not a loss of money by itself, since a buyer takes it from wet grain too; its
value is shown apart. What is lost is grain in handling and weight dried away below the market
moisture.

.. [1] Iowa State University Extension IC-492(20), LP gas drying estimate; PM 3063C.
.. [2] MidWest Plan Service, energy of in-dryer cooling, dryeration and combination drying, quoted
   in the farm press.
.. [3] Hellevang, North Dakota State University; Nicolai and Dodds, South Dakota State University;
   TeBockhorst and Shouse, Iowa State University Extension: worked examples.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.errors import Inconsistent
from outfeed.fuel import BTU, FUEL_PRICE, Fuel, load_fuel
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import DERIVED, READ, Method
from outfeed.moisture import USUAL_HANDLING_LOSS, WEIGHT, over_drying, shrink
from outfeed.shrink import PRICE

HEAT_PER_WATER = Range("fuel heat per water", 0.5e6, 20e6, "J/kg", SENSIBLE)
HEAT_PER_POINT = Range("fuel heat per weight and moisture", 0.0, 50e6, "J/kg", SENSIBLE)
BURNER_EFFICIENCY = Range("burner efficiency", 0.3, 1.0, "", SENSIBLE)
ELECTRICITY_USE = Range("electricity per wet grain", 0.0, 5e5, "J/kg", SENSIBLE)
ELECTRICITY_PRICE = Range("price of electricity", 0.0, 1.0, "money/J", SENSIBLE)
LABOUR = Range("cost of labour", 0.0, 1e4, "money/s", SENSIBLE)
RATE = Range("rate of drying", 1e-4, 1_000.0, "kg/s", SENSIBLE)
OWN_HEAT_PER_MASS = Range("heat content", 1e6, 60e6, "J/kg", SENSIBLE)
OWN_HEAT_PER_VOLUME = Range("heat content", 1e6, 60e9, "J/m3", SENSIBLE)

_LB_BUSHEL_CORN = 56.0 * 0.45359237
_PROPANE = load_fuel("propane")
_GALLON_HEAT = 91_333.0 * BTU  # J/gal propane, higher heating value: U.S. EIA
_PER_GALLON_BUSHEL_POINT = _GALLON_HEAT / _LB_BUSHEL_CORN / 0.01

IOWA_AVERAGE = 0.018 * _PER_GALLON_BUSHEL_POINT
"""Average of Iowa farm dryers, 0.018 gal of propane per bushel and point, as J/kg per moisture."""
IOWA_LOW = 0.010 * _PER_GALLON_BUSHEL_POINT
"""Lowest of them, 0.010."""
IOWA_HIGH = 0.025 * _PER_GALLON_BUSHEL_POINT
"""Highest of them, 0.025."""
FLAME_SHARE = _PROPANE.lower_heat_content / _PROPANE.heat_content
"""Heat that a propane flame in the drying air gives it, over its higher heating value [-]: the
lower value over the higher, 0.92; stoichiometry, and 2365 over 2572 Btu/ft3 in Menon, Piping
Calculations Manual."""

RULE = Method(
    id="cost.fuel-per-point.iowa-2004",
    title="Fuel of farm dryers for each bushel and point of moisture",
    source="Iowa State University Extension IC-492(20): 0.018 gal of propane, 0.010 to 0.025; "
    "other rules 0.019 (PM 3063C), 0.020 (South Dakota State), 0.022 (North Dakota State)",
    known=READ,
    note="One published example, 75 gal for 1000 bu from 18 to 15 %, lies above its own range and "
    "is not used.",
)
MEASURED = Method(
    id="cost.fuel-per-water",
    title="Fuel from heat per water evaporated",
    source="Mass balance and the heat content of the fuel",
    known=DERIVED,
)
ADDING_UP = Method(
    id="cost.drying",
    title="Cost of drying: fuel, electricity, labour, handling loss, over-drying",
    source="Adding up; examples of Iowa, North Dakota and South Dakota State University Extension "
    "and MidWest Plan Service are reproduced",
    known=DERIVED,
)
SALE = Method(
    id="cost.dry-or-sell-wet",
    title="Sale of wet grain by the buyer's schedule against drying and selling dry",
    source="TeBockhorst and Shouse, Iowa State University Extension, worked example",
    known=READ,
)
METHODS = (RULE, MEASURED, ADDING_UP, SALE)


@dataclass(frozen=True, slots=True)
class EnergyUse:
    """Energy a dryer takes; exactly one of the two ways of telling its heat.

    Attributes
    ----------
    heat_per_water : float, optional
        Fuel heat per water evaporated [J/kg].
    heat_per_point : float, optional
        Fuel heat per weight of wet grain and moisture removed [J/kg per unit of moisture].
    electricity_per_wet : float
        Electricity per weight of wet grain [J/kg].
    """

    heat_per_water: float | None = None
    heat_per_point: float | None = None
    electricity_per_wet: float = 0.0

    def __post_init__(self) -> None:
        if (self.heat_per_water is None) == (self.heat_per_point is None):
            raise Inconsistent(
                "the heat is told either per water evaporated or per weight and point",
                "heat_per_water",
                "heat_per_point",
            )
        if self.heat_per_water is not None:
            HEAT_PER_WATER.check(self.heat_per_water, "heat_per_water")
        if self.heat_per_point is not None:
            HEAT_PER_POINT.check(self.heat_per_point, "heat_per_point")
        ELECTRICITY_USE.check(self.electricity_per_wet, "electricity_per_wet")

    def heat(self, weight: ArrayLike, initial: ArrayLike, final: ArrayLike) -> FloatArray:
        """Fuel heat for a weight of wet grain between two moistures.

        Parameters
        ----------
        weight : array_like
            Wet grain [kg].
        initial, final : array_like
            Moistures, wet basis [-]; nothing is burned where the final one is not lower.

        Returns
        -------
        ndarray
            Heat [J].
        """
        wet, before, after = as_floats(weight, initial, final)
        points = np.maximum(before - after, 0.0)
        if self.heat_per_water is not None:
            return np.asarray(wet * points / (1.0 - after) * self.heat_per_water)
        return np.asarray(wet * points * (self.heat_per_point or 0.0))


@dataclass(frozen=True, slots=True)
class Prices:
    """What things cost.

    Attributes
    ----------
    fuel : float
        Money per unit of the fuel as sold [per m3, kg or J].
    electricity : float
        Money per J.
    labour : float
        Money per s that the dryer runs.
    grain : float
        Money per kg of grain at the market moisture.
    """

    fuel: float
    electricity: float = 0.0
    labour: float = 0.0
    grain: float = 0.0

    def __post_init__(self) -> None:
        FUEL_PRICE.check(self.fuel, "fuel_price")
        ELECTRICITY_PRICE.check(self.electricity, "price_of_electricity")
        LABOUR.check(self.labour, "labour")
        PRICE.check(self.grain, "price")


@dataclass(frozen=True, slots=True, eq=False)
class DryingCost:
    """Where the money goes; `total` is the sum of the five costs above it.

    Attributes
    ----------
    wet_weight, final_weight : ndarray
        Grain before and after [kg].
    water_removed : ndarray
        Water evaporated [kg].
    points : ndarray
        Moisture removed, wet basis [-].
    heat : ndarray
        Fuel heat [J].
    fuel_quantity : ndarray
        Fuel as sold [m3, kg or J].
    electricity_used : ndarray
        Electricity [J].
    time : ndarray or None
        Time the dryer runs [s]; None without a rate.
    fuel, electricity, labour : ndarray
        Costs [money].
    handling : ndarray
        Value of the grain lost in handling [money].
    over_drying : ndarray
        Value of the weight dried away below the market moisture [money].
    total : ndarray
        Sum of the five [money].
    water_value : ndarray
        What the evaporated water weighs at the price of grain [money]; not in the total.
    """

    wet_weight: FloatArray
    final_weight: FloatArray
    water_removed: FloatArray
    points: FloatArray
    heat: FloatArray
    fuel_quantity: FloatArray
    electricity_used: FloatArray
    time: FloatArray | None
    fuel: FloatArray
    electricity: FloatArray
    labour: FloatArray
    handling: FloatArray
    over_drying: FloatArray
    total: FloatArray
    water_value: FloatArray


def drying_cost(
    wet_weight: ArrayLike,
    initial_moisture_wb: ArrayLike,
    final_moisture_wb: ArrayLike,
    energy: EnergyUse,
    fuel: Fuel,
    prices: Prices,
    *,
    market_moisture_wb: ArrayLike | None = None,
    burner_efficiency: ArrayLike = 1.0,
    rate: ArrayLike | None = None,
    handling_loss: ArrayLike = USUAL_HANDLING_LOSS,
) -> DryingCost:
    """What it costs to dry grain.

    Parameters
    ----------
    wet_weight : array_like
        Wet grain [kg], zero or more.
    initial_moisture_wb, final_moisture_wb : array_like
        Moistures before and after, wet basis [-].
    energy : EnergyUse
        What the dryer takes.
    fuel : Fuel
        The fuel.
    prices : Prices
        What things cost.
    market_moisture_wb : array_like, optional
        Moisture up to which the full weight is paid [-]; over-drying counts below it.
    burner_efficiency : array_like
        Heat that reaches the dryer over heat of the fuel, where `energy` does not hold it [-].
    rate : array_like, optional
        Wet grain dried [kg/s], for time and labour.
    handling_loss : array_like
        Share of the wet weight lost in handling [-].

    Returns
    -------
    DryingCost
        Arrays of the broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range.
    Inconsistent
        Labour priced without a rate, or grain that would have to take up water.
    """
    wet, before, after = as_floats(
        WEIGHT.check(wet_weight, "wet_weight"),
        MOISTURE_WB.check(initial_moisture_wb, "initial_moisture_wb"),
        MOISTURE_WB.check(final_moisture_wb, "final_moisture_wb"),
    )
    if np.any(after > before):
        raise Inconsistent(
            "drying cannot end wetter than it began", "final_moisture_wb", "initial_moisture_wb"
        )
    gone = shrink(wet, before, after, handling_loss)
    heat = energy.heat(wet, before, after) / BURNER_EFFICIENCY.check(
        burner_efficiency, "burner_efficiency"
    )
    quantity, power = heat / fuel.heat_content, wet * energy.electricity_per_wet
    time = None if rate is None else wet / RATE.check(rate, "rate")
    if time is None and prices.labour > 0.0:
        raise Inconsistent("labour by the hour needs a rate of drying", "rate", "labour")
    market = after if market_moisture_wb is None else market_moisture_wb
    # Grain that came drier than the market's moisture loses only from its own on.
    lost = over_drying(gone.final_weight, after, np.minimum(market, before)).weight_given_away
    costs = (
        quantity * prices.fuel,
        power * prices.electricity,
        (np.zeros_like(heat) if time is None else time) * prices.labour,
        gone.handling_lost * prices.grain,
        lost * prices.grain,
    )
    burned, powered, worked, handled, given = (np.asarray(cost)[()] for cost in costs)
    return DryingCost(
        wet_weight=wet[()],
        final_weight=gone.final_weight,
        water_removed=gone.water_removed,
        points=(before - after)[()],
        heat=heat[()],
        fuel_quantity=quantity[()],
        electricity_used=power[()],
        time=None if time is None else np.asarray(time)[()],
        fuel=burned,
        electricity=powered,
        labour=worked,
        handling=handled,
        over_drying=given,
        total=np.asarray(sum(costs))[()],
        water_value=np.asarray(gone.water_removed * prices.grain)[()],
    )


def heat_per_point_from(volume: float, fuel: Fuel, weight: float) -> float:
    """Fuel heat per weight and moisture from a rule in fuel per weight and point.

    Parameters
    ----------
    volume : float
        Fuel for each weight and point of moisture [m3, kg or J].
    fuel : Fuel
        The fuel.
    weight : float
        The weight the rule speaks of [kg], such as a bushel.

    Returns
    -------
    float
        Heat [J/kg per unit of moisture].
    """
    return volume * fuel.heat_content / weight / 0.01


def own_fuel(heat_content: float, sold_by: str, name: str = "own fuel") -> Fuel:
    """A fuel such as biomass, by the caller's own heat value.

    No water of combustion and no carbon dioxide are known for it; what kind of biomass it is, is
    told to `outfeed.carbon`.

    Parameters
    ----------
    heat_content : float
        Heat per unit as sold [J/kg or J/m3]; whether higher or lower is the caller's to state, and
        burner efficiency then counts over the same.
    sold_by : str
        "mass" or "volume".
    name : str
        In words.

    Returns
    -------
    Fuel
        The fuel.

    Raises
    ------
    OutOfRange
        A heat content outside 1 to 60 MJ/kg or 1 MJ/m3 to 60 GJ/m3.
    Inconsistent
        Sold by something else.
    """
    if sold_by not in {"mass", "volume"}:
        raise Inconsistent("a fuel of one's own is sold by mass or by volume", "sold_by")
    limits = OWN_HEAT_PER_MASS if sold_by == "mass" else OWN_HEAT_PER_VOLUME
    limits.check(heat_content, "heat_content")
    return Fuel(
        id="own",
        name=name,
        sold_by=sold_by,
        heat_content=heat_content,
        density=None,
        combustion_water=0.0,
        carbon_dioxide=None,
        source="given by the caller",
        known="given",
    )
