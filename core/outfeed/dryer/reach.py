"""Whether a dryer can reach a target at all, and the nearest it can get.

Grain ends, at the slowest, in equilibrium with the air of the driest plenum: no rate takes it
below. And no dryer wets grain, so a target must lie below the incoming moisture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.closures import column_isotherm
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone
from outfeed.dryer.exhaust_air import plenum_air
from outfeed.fuel import load_fuel
from outfeed.grains import IsothermSet
from outfeed.limits import MOISTURE_WB, PLENUM
from outfeed.moist_air import humidity_ratio, relative_humidity
from outfeed.sorption import equilibrium_relative_humidity

Verdict = Literal["within-reach", "nothing-to-dry", "below-equilibrium", "met-without-heat"]

_HALVINGS = 34  # of a moisture or temperature interval: far below any printed digit


@dataclass(frozen=True, slots=True)
class Reach:
    """Whether the target can be reached.

    Attributes
    ----------
    verdict : str
        "within-reach"; "nothing-to-dry" when the grain comes in at or below the target;
        "below-equilibrium" when the plenum air cannot dry grain that far; "met-without-heat" when
        warmth of the grain and cooling air alone reach the target.
    driest_moisture_wb : float
        Moisture in equilibrium with the driest plenum, wet basis [-]: the limit at a standstill.
    plenum_needed : float or None
        Lowest plenum temperature whose air could dry grain to the target [degC], where the present
        ones cannot and one below 150 degC can.
    """

    verdict: Verdict
    driest_moisture_wb: float
    plenum_needed: float | None = None


def reach_of(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    isotherm: str | None = None,
) -> Reach:
    """Verdict on a target moisture.

    Parameters
    ----------
    dryer : Dryer
        The machine.
    conditions : Conditions
        The weather, numbers.
    feed : Feed
        The grain that enters, numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    isotherm : str, optional
        Method id of the isotherm; the column's own choice when left out.

    Returns
    -------
    Reach
        The verdict.

    Raises
    ------
    OutOfRange
        A target outside its range.
    NotPublished
        The grain has no isotherm.
    """
    target = float(MOISTURE_WB.check(target_moisture_wb, "target_moisture_wb"))
    grain = column_isotherm(feed.grain, isotherm)
    heated = [zone for zone in dryer.zones if zone.heated]
    driest = min(_equilibrium(grain, zone, conditions) for zone in heated)
    driest_wb = driest / (1.0 + driest)
    if target >= float(np.asarray(feed.moisture_wb)):
        return Reach("nothing-to-dry", driest_wb)
    if target > driest_wb:
        return Reach("within-reach", driest_wb)
    needed = _plenum_needed(grain, heated[-1], conditions, target / (1.0 - target))
    return Reach("below-equilibrium", driest_wb, needed)


def _air(zone: Zone, temperature: float, conditions: Conditions) -> FloatArray:
    """Relative humidity of the plenum air at a temperature."""
    ambient = conditions.ambient_temperature
    humidity = humidity_ratio(ambient, conditions.ambient_relative_humidity, conditions.pressure)
    direct = zone.burner == "direct-fired" and zone.fuel is not None
    water = load_fuel(zone.fuel or "").combustion_water if direct else 0.0
    damp = plenum_air(temperature, ambient, humidity, water)[1]
    return np.asarray(relative_humidity(temperature, damp, conditions.pressure))


def _equilibrium(grain: IsothermSet, zone: Zone, conditions: Conditions) -> float:
    """Moisture, dry basis, whose air is as damp as the plenum's; zero if even that is damper."""
    temperature = float(zone.plenum_temperature or 0.0)
    humidity = float(_air(zone, temperature, conditions))
    low, high = 0.0, MOISTURE_WB.high / (1.0 - MOISTURE_WB.high)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if float(equilibrium_relative_humidity(grain, temperature, middle)) < humidity:
            low = middle
        else:
            high = middle
    return low


def _plenum_needed(
    grain: IsothermSet, zone: Zone, conditions: Conditions, target_db: float
) -> float | None:
    """Lowest plenum temperature whose air is drier than the grain at the target."""

    def dries(temperature: float) -> bool:
        over_grain = float(equilibrium_relative_humidity(grain, temperature, target_db))
        return over_grain > float(_air(zone, temperature, conditions))

    low, high = float(np.asarray(conditions.ambient_temperature)), PLENUM.high
    if not dries(high):
        return None
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if dries(middle):
            high = middle
        else:
            low = middle
    return high
