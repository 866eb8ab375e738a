"""The discharge rate through the hours of a forecast or a record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed import NotConverged
from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.balance_hours import balance_through
from outfeed.dryer.burner import fuel_heat
from outfeed.dryer.hours import held_through, needed_through
from outfeed.dryer.opening import Opening
from outfeed.fuel import load_fuel
from outfeed.moist_air import FREEZING_POINT
from outfeed_api.routes.air_hours import (
    AirHours,
    HeatSwing,
    MoistureSwing,
    RateSwing,
    extremes,
    known_or_null,
)
from outfeed_api.routes.air_words import each_hour_note, held_words, hour_band_note, rate_words
from outfeed_api.routes.column_figures import burner_efficiency
from outfeed_api.routes.column_input import formulas_of
from outfeed_api.routes.column_setup import IN_COLDEST_HOURS, THAWING
from outfeed_api.routes.discharge_column import ColumnRate
from outfeed_api.routes.discharge_input import Setup
from outfeed_api.routes.discharge_models import (
    DischargeHours,
    DischargeRateRequest,
    DischargeSwings,
)

HALF_POINT = 0.005
BELOW_FREEZING = "grain-below-freezing"


@dataclass(frozen=True, slots=True, eq=False)
class HourlyRates:
    """Every hour by the method that gave the rate, SI, shape (hours,)."""

    hours: AirHours
    target: float
    held_rate: float
    rate: FloatArray
    met: BoolArray
    moisture: FloatArray
    followed: BoolArray
    fuel: FloatArray
    water: FloatArray


def rates_by_hour(
    request: DischargeRateRequest, setup: Setup, opening: Opening, found: ColumnRate | None
) -> HourlyRates | None:
    """Every hour of a request's air, by the method that gave the rate of the mean.

    Parameters
    ----------
    request : DischargeRateRequest
        In SI.
    setup : Setup
        The dryer in the mean air.
    opening : Opening
        The rate in the mean air.
    found : ColumnRate or None
        The column model, where it gave that rate.

    Returns
    -------
    HourlyRates or None
        None without hours, or where none of them has an answer.
    """
    if setup.hours is None:
        return None
    try:
        rates = (
            _by_balance(request, setup, setup.hours, opening)
            if found is None
            else _by_column(request, setup, setup.hours, found)
        )
    except NotConverged:
        return None
    return rates if np.any(rates.met) else None


def _by_column(
    request: DischargeRateRequest, setup: Setup, hours: AirHours, found: ColumnRate
) -> HourlyRates:
    target, model = request.target_moisture, formulas_of(request).model
    where = (found.dryer, hours.conditions(setup.conditions), hours.feed(setup.feed))
    held = held_through(*where, found.banded.dry_matter_rate.value, model=model)
    needed = needed_through(*where, target, held, model=model)
    efficiency = burner_efficiency(request.dryer)
    zones = zip(found.dryer.zones, needed.zone_heat, strict=True)
    return HourlyRates(
        hours=hours,
        target=target,
        held_rate=found.banded.dry_matter_rate.value / (1.0 - target),
        rate=needed.dry_matter_rate / (1.0 - target),
        met=needed.settled,
        moisture=held.outlet_moisture_wb,
        followed=held.settled,
        fuel=np.sum([fuel_heat(zone, heat, efficiency) for zone, heat in zones], axis=0),
        water=needed.water,
    )


def _by_balance(
    request: DischargeRateRequest, setup: Setup, hours: AirHours, opening: Opening
) -> HourlyRates:
    target, rate = request.target_moisture, opening.dry_matter_rate.value
    found = balance_through(
        setup.dryer, hours.conditions(setup.conditions), hours.feed(setup.feed), target, rate,
        exhaust_temperatures=setup.exhaust_temperatures,
        burner_efficiency=request.dryer.burner_efficiency,
        anchor=opening.anchor_factor,
    )  # fmt: skip
    return HourlyRates(
        hours=hours,
        target=target,
        held_rate=rate / (1.0 - target),
        rate=found.dry_matter_rate / (1.0 - target),
        met=found.met,
        moisture=found.held_moisture_wb,
        followed=found.held,
        fuel=found.fuel_heat,
        water=found.water,
    )


def hour_columns(
    request: DischargeRateRequest, setup: Setup, found: HourlyRates | None
) -> DischargeHours | None:
    """The hours as columns."""
    if found is None:
        return None
    fuel, met = request.dryer.fuel, found.met
    volume = known_or_null(found.fuel / load_fuel(fuel).heat_content, met)
    dry = met & (found.water > 0.0)
    per_water = found.fuel / np.where(dry, found.water, 1.0)
    return DischargeHours(
        **found.hours.columns(float(np.asarray(setup.conditions.ambient_relative_humidity))),
        discharge_rate=known_or_null(found.rate, met),
        moisture=known_or_null(found.moisture, found.followed),
        specific_energy=known_or_null(per_water, dry),
        fuel_heat=known_or_null(found.fuel, met),
        liquid=volume if fuel in {"propane", "fuel-oil"} else None,
        gas=volume if fuel == "natural-gas" else None,
    )


def swings(found: HourlyRates | None) -> DischargeSwings | None:
    """What the hours make of rate, moisture and fuel."""
    if found is None:
        return None
    low, high = (found.rate[row] for row in extremes(found.rate, found.met))
    followed = bool(np.any(found.followed))
    wet = found.followed & (found.moisture > found.target + HALF_POINT)
    return DischargeSwings(
        discharge_rate=RateSwing(**found.hours.swing(found.rate, found.met)),
        rate_spread=float(high - low) / found.held_rate,
        moisture=MoistureSwing(**found.hours.swing(found.moisture, found.followed))
        if followed
        else None,
        fuel_heat=HeatSwing(**found.hours.swing(found.fuel, found.met)),
        hours=found.hours.count,
        hours_without=int(np.sum(~found.met)),
        hours_wet=int(np.sum(wet)),
    )


def with_hours(request: DischargeRateRequest, text: str, found: HourlyRates | None) -> str:
    """The decision, followed by the hours that matter."""
    if found is None or found.hours.count == 1:
        return text
    held = held_words(request, found.hours, found.moisture, found.followed, found.target)
    rates = rate_words(request, found.hours, found.rate, found.met, found.target)
    return f"{text} {held} {rates}".strip()


def hour_notes(
    request: DischargeRateRequest,
    setup: Setup,
    opening: Opening | None,
    found: HourlyRates | None,
) -> list[str]:
    """Sentences on the hours."""
    if setup.hours is None:
        return []
    if found is None or opening is None:
        return ["The hours of your series could not be answered one by one; the mean stands."]
    return [
        *each_hour_note(request, found.hours, found.fuel, found.met),
        hour_band_note(opening.dry_matter_rate, "rate"),
        *_frost_notes(found.hours, opening),
    ]


def _frost_notes(hours: AirHours, opening: Opening) -> list[str]:
    """A word on grain that comes in frozen in some hours; that of the mean has its own."""
    frozen = hours.grain_follows and float(np.min(hours.temperature)) < FREEZING_POINT
    if not frozen or BELOW_FREEZING in opening.flags:
        return []
    return [f"Grain comes in below freezing{IN_COLDEST_HOURS}. {THAWING}: the rate may be lower."]
