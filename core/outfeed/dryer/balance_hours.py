"""The quick balance through changing air: rate, moisture and fuel of each hour, were it to last.

The same balance as the opening rate, at its best values, with one scenario a state of the air.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.dryer import assume
from outfeed.dryer.balance import EFFECTIVENESS, Balance, Exhaust, balance
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.opening import DRY_MATTER_RATE
from outfeed.errors import NotConverged

NEAR = 2e-5
"""Change of the moisture between two rounds at which a search ends, wet basis [-]."""
ROUNDS = 40
LEAST_REMOVED = 1e-3
"""Least water that a held rate is followed to, wet basis [-]: a tenth of a point."""
DRIEST = 0.02
"""Moisture below which no balance is asked, wet basis [-]: below any target."""


@dataclass(frozen=True, slots=True, eq=False)
class HourlyBalance:
    """What the quick balance says of each state of the air.

    Attributes
    ----------
    dry_matter_rate : ndarray
        Rate that meets the target [kg/s].
    met : ndarray of bool
        Whether heat is needed at all; where it is not the rate means nothing.
    fuel_heat : ndarray
        Fuel burned at that rate, higher heating value [W].
    water : ndarray
        Water removed at that rate [kg/s].
    held_moisture_wb : ndarray
        Moisture that leaves at the held rate, wet basis [-].
    held : ndarray of bool
        Whether that moisture was found; where it was not it means nothing.
    """

    dry_matter_rate: FloatArray
    met: BoolArray
    fuel_heat: FloatArray
    water: FloatArray
    held_moisture_wb: FloatArray
    held: BoolArray


def balance_through(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    held_rate: ArrayLike,
    *,
    exhaust_temperatures: Sequence[float | None] = (),
    burner_efficiency: float | None = None,
    anchor: float | None = None,
) -> HourlyBalance:
    """The quick balance of each hour.

    Parameters
    ----------
    dryer : Dryer
        The machine.
    conditions : Conditions
        Weather; one entry an hour.
    feed : Feed
        Grain at the inlet; its temperature a number or one an hour.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    held_rate : array_like
        Dry matter discharged when nobody touches the rate [kg/s].
    exhaust_temperatures : sequence of float or None
        Measured exhaust temperature of each zone [degC].
    burner_efficiency : float, optional
        Of indirect heaters [-], 0.3 to 1.
    anchor : float, optional
        Known run over the balance's rate for it [-], as in `Opening.anchor_factor`.

    Returns
    -------
    HourlyBalance
        Arrays over hours.

    Raises
    ------
    Inconsistent, OutOfRange, NotPublished, NotConverged
        As `balance`.
    """
    closing = _closing(dryer, exhaust_temperatures, burner_efficiency, anchor)
    DRY_MATTER_RATE.check(held_rate, "held_rate")
    needed = balance(dryer, conditions, feed, target_moisture_wb, closing)
    met = ~needed.met_without_heat
    moisture, held = _moisture_at(dryer, conditions, feed, held_rate, needed, closing)
    return HourlyBalance(
        dry_matter_rate=np.where(met, needed.dry_matter_rate, 1.0),
        met=met,
        fuel_heat=np.where(met, needed.fuel_heat, 0.0),
        water=np.where(met, needed.water_removed, 0.0),
        held_moisture_wb=moisture,
        held=held & met,
    )


def _closing(
    dryer: Dryer,
    exhausts: Sequence[float | None],
    burner_efficiency: float | None,
    anchor: float | None,
) -> Exhaust:
    """What closes the balance at the values of the opening rate, without their ranges."""
    indirect = any(zone.heated and zone.burner == "indirect" for zone in dryer.zones)
    burner = burner_efficiency
    if burner is None:
        burner = assume.assumed_burner_efficiency().value if indirect else 1.0
    cooled = any(not zone.heated for zone in dryer.zones)
    return Exhaust(
        effectiveness=EFFECTIVENESS[dryer.kind][0],
        discharge_above_ambient=assume.discharge_above_ambient().value if cooled else 0.0,
        cooling_evaporation_share=assume.cooling_evaporation_share().value if cooled else 0.0,
        burner_efficiency=burner,
        scale=1.0 if anchor is None else anchor,
        temperatures=tuple(exhausts),
    )


def _moisture_at(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    held_rate: ArrayLike,
    needed: Balance,
    closing: Exhaust,
) -> tuple[FloatArray, BoolArray]:
    """Moisture at which the balance gives the held rate; the water an hour hardly changes."""
    rate = np.asarray(held_rate, dtype=np.float64)
    inlet = needed.inlet_moisture_db
    removed = inlet - needed.target_moisture_db
    seen = np.where(needed.met_without_heat, rate, needed.dry_matter_rate)
    best, settled = _wet(inlet - removed), np.zeros(inlet.shape, dtype=bool)
    for _ in range(ROUNDS):
        removed = removed * seen / rate
        moisture = np.clip(_wet(inlet - removed), DRIEST, _wet(inlet) - LEAST_REMOVED)
        settled = np.abs(moisture - best) < NEAR
        best, removed = moisture, inlet - moisture / (1.0 - moisture)
        if np.all(settled):
            break
        try:
            again = balance(dryer, conditions, feed, best, closing)
        except NotConverged:
            return best, np.zeros(inlet.shape, dtype=bool)
        seen = np.where(again.met_without_heat, rate, again.dry_matter_rate)
    inside = (best > DRIEST) & (best < _wet(inlet) - LEAST_REMOVED)
    return best, np.asarray(settled & inside)


def _wet(moisture_db: FloatArray) -> FloatArray:
    return np.asarray(moisture_db / (1.0 + moisture_db))
