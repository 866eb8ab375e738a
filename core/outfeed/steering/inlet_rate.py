"""What does wetter grain do to the discharge rate that keeps the outlet moisture?

The time grain must spend in a dryer is nearly straight in the water to remove per dry matter: a
share of it warms grain and air without drying, the rest goes with the water. One slope of the rate
against inlet moisture, known at one point, gives both shares, and the line then speaks for other
inlets. Anchored at one point of the column model it meets the model's own rates within 5 % from
half to three times the water to remove and within a sixth from a fifth to six times (mixed flow,
corn, inlets of 16.5 to 34 %, outlets of 14 to 17.5 %); the general slope within 6 % and a third.
Beyond that no rate is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.moisture import dry_basis

MOISTURE_CHANGE = Range("change of inlet moisture", -0.20, 0.20, "", SENSIBLE)

RATE_PER_MOISTURE = -13.9
"""Logarithm of the discharge rate per unit of inlet moisture that keeps the outlet, at the base
point: -14 % a point; finite differences of the column model (mixed flow, corn)."""

BASE_INLET, BASE_OUTLET = 0.22, 0.155
"""Moistures of the base point, wet basis [-]."""

WATER_SPAN = (0.2, 6.0)
"""Water to remove after a change over that before it, between which a rate is told [-]."""


@dataclass(frozen=True, slots=True)
class RateSlope:
    """How the discharge rate answers inlet moisture at one point of a dryer.

    Attributes
    ----------
    per_inlet : float
        Logarithm of the rate per unit of inlet moisture that keeps the outlet [-].
    inlet_wb, outlet_wb : float
        Moistures at which it holds, wet basis [-].
    """

    per_inlet: float = RATE_PER_MOISTURE
    inlet_wb: float = BASE_INLET
    outlet_wb: float = BASE_OUTLET


@dataclass(frozen=True, slots=True)
class Drying:
    """What the dryer takes from grain.

    Attributes
    ----------
    inlet_wb, outlet_wb : float
        Inlet moisture, and moisture kept at the discharge, wet basis [-].
    """

    inlet_wb: float
    outlet_wb: float


@dataclass(frozen=True, slots=True)
class RateChange:
    """What a change of inlet moisture does to the discharge rate.

    Attributes
    ----------
    factor : float or None
        Rate after over rate before, by the line [-]; None where the line gives none.
    within : bool
        Whether the water to remove stays within what the line speaks for.
    to_dry : bool
        Whether the grain before and after it is wetter than the outlet.
    """

    factor: float | None
    within: bool
    to_dry: bool


def water_to_remove(inlet_wb: float, outlet_wb: float) -> float:
    """Water between two moistures, over dry matter.

    Parameters
    ----------
    inlet_wb, outlet_wb : float
        Moistures, wet basis [-], 0 to 0.6.

    Returns
    -------
    float
        Water over dry matter [-]; below 0 where the inlet is the drier one.

    Raises
    ------
    OutOfRange
        A moisture outside its range.
    """
    return float(dry_basis(inlet_wb) - dry_basis(outlet_wb))


def rate_changes(
    amounts: Sequence[float], drying: Drying, slope: RateSlope | None = None
) -> list[RateChange]:
    """What changes of inlet moisture do to the discharge rate, each from where the last has led.

    Parameters
    ----------
    amounts : sequence of float
        Changes of inlet moisture in order of time, wet basis [-], -0.2 to 0.2.
    drying : Drying
        Moistures before the first.
    slope : RateSlope, optional
        How the rate answers inlet moisture; that of the base point when left out.

    Returns
    -------
    list of RateChange
        One an amount.

    Raises
    ------
    OutOfRange
        An amount or a moisture outside its range.
    """
    found = []
    before = drying.inlet_wb
    for amount in amounts:
        after = before + float(MOISTURE_CHANGE.check(amount, "amount"))
        found.append(_rate_change(before, after, drying.outlet_wb, slope or RateSlope()))
        before = after
    return found


def _rate_change(before: float, after: float, outlet: float, slope: RateSlope) -> RateChange:
    to_dry = min(before, after) > outlet
    if not to_dry or max(before, after) > MOISTURE_WB.high:
        return RateChange(None, within=False, to_dry=to_dry)
    water_before, water_after = water_to_remove(before, outlet), water_to_remove(after, outlet)
    within = WATER_SPAN[0] <= water_after / water_before <= WATER_SPAN[1]
    idle = _idle_water(slope)
    if idle is None or min(water_before, water_after) + idle <= 0.0:
        return RateChange(None, within=False, to_dry=True)
    return RateChange((water_before + idle) / (water_after + idle), within, to_dry=True)


def _idle_water(slope: RateSlope) -> float | None:
    """Water over dry matter whose removal would take as long as what happens besides drying.

    With time = a (idle + water), the logarithm of the rate falls by 1 / (idle + water) per water.
    """
    per_water = -slope.per_inlet * (1.0 - slope.inlet_wb) ** 2
    if per_water <= 0.0:
        return None
    return 1.0 / per_water - water_to_remove(slope.inlet_wb, slope.outlet_wb)
