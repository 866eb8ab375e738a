"""The column model inside the discharge rate: when it answers, and its figures."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed import NotConverged, NotPublished
from outfeed.dryer import assume
from outfeed.dryer.assume import Assumption
from outfeed.dryer.description import Dryer
from outfeed.dryer.doubt import meeting
from outfeed.dryer.doubt_bands import Banded
from outfeed.dryer.estimate import Estimate
from outfeed.dryer.inverse import OutOfReach
from outfeed.dryer.opening import Opening
from outfeed.methods import MethodUse
from outfeed_api.routes.column_figures import total_fuel, zone_columns
from outfeed_api.routes.column_input import column_methods, formulas_of
from outfeed_api.routes.column_models import ZoneColumn
from outfeed_api.routes.column_setup import bed_unknown, too_tall, without_flames
from outfeed_api.routes.discharge_input import Setup
from outfeed_api.routes.discharge_models import DischargeRateRequest, ZoneFigures
from outfeed_api.routes.dryer_words import about_rates

NOT_OF_THE_BALANCE = (assume.BURNER, assume.FAN_ENERGY)
"""Assumptions of the quick balance that the column model needs as well."""
FAR_APART = 1.35
"""One rate over the other from which on two methods are said to disagree [-]: two standard
deviations of two balances at 12 % each."""


@dataclass(frozen=True, slots=True, eq=False)
class ColumnRate:
    """The column model's answer to a discharge rate.

    Attributes
    ----------
    dryer : Dryer
        The dryer as solved.
    banded : Banded
        Rate and column with their bands.
    zones : list of ZoneFigures
        For the answer.
    fuel : float
        Fuel burned, higher heating value [W].
    assumed : tuple of Assumption
        What its band rests on.
    methods : tuple of MethodUse
        What was used.
    """

    dryer: Dryer
    banded: Banded
    zones: list[ZoneFigures]
    fuel: float
    assumed: tuple[Assumption, ...]
    methods: tuple[MethodUse, ...]


def column_rate(request: DischargeRateRequest, setup: Setup) -> ColumnRate | None:
    """The column model's rate, where the description suffices.

    Parameters
    ----------
    request : DischargeRateRequest
        In SI.
    setup : Setup
        The dryer.

    Returns
    -------
    ColumnRate or None
        None where an airflow, the thickness of a cross-flow column or the depth of a bed that air
        runs along is missing, a known run or measured exhausts speak for the quick balance,
        nobody published the kinetics, or the column did not settle.
    """
    if not _suffices(request, setup):
        return None
    dryer = without_flames(setup.dryer, request.dryer.fuel)
    try:
        formulas = formulas_of(request)
        doubts = (*setup.assumptions, *formulas.assumptions)
        found = meeting(
            dryer, setup.conditions, setup.feed, request.target_moisture, formulas.model,
            assumptions=doubts, fit=formulas.fit,
        )  # fmt: skip
    except (NotConverged, NotPublished, OutOfReach):
        return None
    columns = zone_columns(found, dryer, request.dryer)
    grain = found.profile.grain_temperature
    met = (float(np.min(grain)), float(np.max(found.profile.hottest)))
    return ColumnRate(
        dryer=dryer,
        banded=found,
        zones=[_zone(zone, W) for zone, W in zip(columns, _plenum_humidity(found), strict=True)],
        fuel=total_fuel(columns),
        assumed=formulas.assumptions,
        methods=tuple(column_methods(formulas.model, met)),
    )


def _suffices(request: DischargeRateRequest, setup: Setup) -> bool:
    known = request.fitted is not None or all(
        zone.airflow is not None for zone in request.dryer.zones
    )
    measured = any(value is not None for value in setup.exhaust_temperatures)
    anchored = request.known_run is not None and request.fitted is None
    thickness = request.dryer.kind != "cross-flow" or request.dryer.column_thickness is not None
    quick_only = anchored or (measured and request.fitted is None)
    shaped = thickness and not bed_unknown(setup.dryer) and not too_tall(setup.dryer)
    return known and shaped and not quick_only


def _plenum_humidity(found: Banded) -> list[float]:
    zones = np.asarray(found.profile.segment_zone)
    return [
        float(found.profile.air_in_humidity[int(np.flatnonzero(zones == index)[0])])
        for index in range(len(found.profile.zones))
    ]


def _zone(zone: ZoneColumn, humidity: float) -> ZoneFigures:
    return ZoneFigures(
        name=zone.name,
        role=zone.role,
        air_temperature=zone.air_temperature,
        air_humidity_ratio=humidity,
        exhaust_temperature=zone.exhaust_temperature.value,
        exhaust_relative_humidity=zone.exhaust_relative_humidity.value,
        exhaust_humidity_ratio=zone.exhaust_humidity_ratio,
        moisture=zone.moisture,
        grain_temperature=zone.grain_temperature,
        water_removed=zone.water_removed,
        air_mass_rate=zone.air_mass_rate,
        fuel_heat=zone.fuel_heat,
    )


def with_column(quick: Opening, found: Banded, inlet_moisture_wb: float, fuel: float) -> Opening:
    """The opening rate with the column model's figures in place of the balance's.

    Parameters
    ----------
    quick : Opening
        By the quick balance; its fuel and electricity lend their relative bands.
    found : Banded
        By the column model.
    inlet_moisture_wb : float
        Moisture going in, wet basis [-].
    fuel : float
        Fuel burned in the column model, higher heating value [W].

    Returns
    -------
    Opening
        For the answer.
    """
    rate, profile = found.dry_matter_rate, found.profile
    outlet = float(profile.outlet_moisture_wb)
    burnt = quick.fuel_heat.scaled(fuel / quick.fuel_heat.value)
    per_heat = fuel / float(profile.heat)
    steady = quick.electricity.low == quick.electricity.high
    share = 1.0 if steady else found.water.value / quick.water_removed.value
    return replace(
        quick,
        dry_matter_rate=rate,
        wet_rate=rate.scaled(1.0 / (1.0 - inlet_moisture_wb)),
        dry_rate=rate.scaled(1.0 / (1.0 - outlet)),
        transit_time=found.transit_time,
        water_removed=found.water,
        fuel_heat=burnt,
        specific_energy=found.heat_per_water.scaled(per_heat),
        electricity=quick.electricity.scaled(share),
        water_residual=float(profile.water_residual),
        energy_residual=float(profile.heat_residual),
        flags=tuple(flag for flag in quick.flags if flag == "grain-below-freezing"),
        anchor_factor=None,
    )


def beside(request: DischargeRateRequest, quick: Opening | None, found: ColumnRate | None) -> str:
    """What the quick balance says beside the column model.

    Parameters
    ----------
    request : DischargeRateRequest
        In SI.
    quick : Opening or None
        By the quick balance.
    found : ColumnRate or None
        By the column model.

    Returns
    -------
    str
        One or two sentences; empty where the column model did not answer.
    """
    if quick is None or found is None:
        return ""
    outlet = float(found.banded.profile.outlet_moisture_wb)
    column: Estimate = found.banded.dry_matter_rate.scaled(1.0 / (1.0 - outlet))
    ratio = column.value / quick.dry_rate.value
    text = (
        f"The rate comes from the column model; the quick balance of water and energy gives "
        f"{about_rates(request, quick.dry_rate)}."
    )
    if not 1.0 / FAR_APART < ratio < FAR_APART:
        text += (
            " They lie far apart: check airflow, hold-up and plenums, and open at the lower one."
        )
    return text
