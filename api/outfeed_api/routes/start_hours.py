"""The start plan down its column, and through the hours of a forecast."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from outfeed import NotConverged
from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.burner import fuel_heat
from outfeed.dryer.doubt_bands import Banded
from outfeed.dryer.hours import HourlyColumns, held_through, needed_through
from outfeed.dryer.plan import PlenumPlan
from outfeed_api.routes.air_hours import (
    AirHours,
    HeatSwing,
    MoistureSwing,
    RateSwing,
    TemperatureSwing,
    known_or_null,
)
from outfeed_api.routes.air_words import each_hour_note, held_words, hour_band_note, rate_words
from outfeed_api.routes.column_figures import burner_efficiency, grain_profile
from outfeed_api.routes.column_setup import Column
from outfeed_api.routes.start_models import (
    PlanHours,
    PlannedColumn,
    PlannedZone,
    PlanSwings,
    StartPlanRequest,
)
from outfeed_api.routes.start_words import AMBIENT_STEP
from outfeed_api.units import say


@dataclass(frozen=True, slots=True, eq=False)
class HourlyPlan:
    """The plan in every hour, SI.

    Attributes
    ----------
    hours : AirHours
        The hours.
    aim : float
        Moisture to aim for [-].
    held : HourlyColumns
        At the planned rate.
    needed : HourlyColumns
        At the rate that keeps the aim.
    fuel : ndarray
        Fuel burned [W].
    within : ndarray of bool
        Whether the air stays near enough to the plan's.
    humidity : float
        Mean relative humidity [-].
    """

    hours: AirHours
    aim: float
    held: HourlyColumns
    needed: HourlyColumns
    fuel: FloatArray
    within: BoolArray
    humidity: float

    @property
    def rate(self) -> FloatArray:
        """Dry grain leaving that keeps the aim [kg/s]."""
        return np.asarray(self.needed.dry_matter_rate / (1.0 - self.aim))

    @property
    def column_temperature(self) -> FloatArray:
        """Mean of the sensors at the planned rate [degC]; a plan puts one in where none is told."""
        found = self.held.column_temperature
        if found is None:
            raise AssertionError("a plan has a column sensor")
        return found


def plan_by_hour(
    request: StartPlanRequest, column: Column, plan: PlenumPlan, aim: float, rate: float
) -> HourlyPlan | None:
    """The plan in every hour of a request's air.

    Parameters
    ----------
    request : StartPlanRequest
        In SI.
    column : Column
        In the mean air.
    plan : PlenumPlan
        The plenums.
    aim : float
        Moisture to aim for [-].
    rate : float
        Planned dry matter rate [kg/s].

    Returns
    -------
    HourlyPlan or None
        None where one state of the air was given.

    Raises
    ------
    NotConverged
        No hour settled.
    """
    machine, model = column.machine, column.formulas.model
    hours = machine.hours
    if hours is None:
        return None
    where = (plan.dryer, hours.conditions(machine.conditions), hours.feed(machine.feed))
    held = held_through(*where, rate, model=model)
    if not np.any(held.settled):
        raise NotConverged("the column", (-np.inf, np.inf), 0.0)
    needed = needed_through(*where, aim, held, model=model)
    zones = zip(plan.dryer.zones, held.zone_heat, strict=True)
    efficiency = burner_efficiency(request.dryer)
    return HourlyPlan(
        hours=hours,
        aim=aim,
        held=held,
        needed=needed,
        fuel=np.sum([fuel_heat(zone, heat, efficiency) for zone, heat in zones], axis=0),
        within=np.abs(hours.temperature - hours.mean_temperature) <= AMBIENT_STEP,
        humidity=float(np.asarray(machine.conditions.ambient_relative_humidity)),
    )


def planned_column(plan: PlenumPlan, found: Banded) -> PlannedColumn:
    """What to expect down the column."""
    bottoms = np.cumsum(plan.dryer.heights)
    profile, zones = found.profile, np.asarray(found.profile.segment_zone)
    air = [
        float(profile.air_in_temperature[int(np.flatnonzero(zones == index)[0])])
        if zone.plenum_temperature is None
        else zone.plenum_temperature
        for index, zone in enumerate(plan.dryer.zones)
    ]
    return PlannedColumn(
        zones=[
            PlannedZone(
                zone=zone.name,
                role=zone.role,
                top=float(bottom - height),
                bottom=float(bottom),
                air_temperature=hot,
            )
            for zone, height, bottom, hot in zip(
                plan.dryer.zones, plan.dryer.heights, bottoms, air, strict=True
            )
        ],
        grain=grain_profile(profile),
    )


def hour_columns(found: HourlyPlan) -> PlanHours:
    """The hours as columns."""
    held, known = found.held, found.held.settled
    return PlanHours(
        **found.hours.columns(found.humidity),
        discharge_rate=known_or_null(found.rate, found.needed.settled),
        moisture=known_or_null(held.outlet_moisture_wb, known),
        column_temperature=known_or_null(found.column_temperature, known),
        hottest_kernel=known_or_null(held.hottest_kernel, known),
        fuel_heat=known_or_null(found.fuel, known),
        within_plan=found.within.tolist(),
    )


def swings(found: HourlyPlan) -> PlanSwings:
    """How the plan swings over the hours."""
    held, known, hours = found.held, found.held.settled, found.hours
    met = found.needed.settled
    return PlanSwings(
        discharge_rate=RateSwing(**hours.swing(found.rate, met)) if np.any(met) else None,
        moisture=MoistureSwing(**hours.swing(held.outlet_moisture_wb, known)),
        column_temperature=TemperatureSwing(**hours.swing(found.column_temperature, known)),
        hottest_kernel=TemperatureSwing(**hours.swing(held.hottest_kernel, known)),
        fuel_heat=HeatSwing(**hours.swing(found.fuel, known)),
        hours=hours.count,
        hours_beyond=int(np.sum(~found.within)),
    )


def air_leaves(found: HourlyPlan | None) -> dict[str, Any]:
    """When the air first leaves the plan, as an `Expiry` tells it; empty where it does not."""
    if found is None or np.all(found.within):
        return {}
    at, clock = float(found.hours.seconds[int(np.argmin(found.within))]), found.hours.clock
    return {"at": clock.stamp(at), "at_elapsed": clock.minute(at)}


def _through_hours(request: StartPlanRequest, found: HourlyPlan) -> list[str]:
    """How far the plan holds through the hours; empty for one hour."""
    if found.hours.count == 1:
        return []
    held, hours = found.held, found.hours
    told = held_words(request, hours, held.outlet_moisture_wb, held.settled, found.aim,
                      wanted="the aim")  # fmt: skip
    rates = ""
    if np.any(found.needed.settled):
        rates = rate_words(request, hours, found.rate, found.needed.settled, found.aim)
    return [part for part in (told, rates, _until(request, found)) if part]


def _until(request: StartPlanRequest, found: HourlyPlan) -> str:
    """When the air first leaves the plan."""
    step = say(AMBIENT_STEP, "temperature-difference", request.units, decimals=0)
    if np.all(found.within):
        return f"No hour is more than {step} from the plan's air: it holds throughout."
    row, hours = int(np.argmin(found.within)), found.hours
    air, mean = (
        say(value, "temperature", request.units, decimals=0)
        for value in (float(hours.temperature[row]), hours.mean_temperature)
    )
    return (
        f"The plan is for {mean} outside; at {hours.say(row)} the air is {air}, more than {step} "
        "away: check the discharge then."
    )


def hour_notes(request: StartPlanRequest, found: HourlyPlan, banded: Banded) -> list[str]:
    """Sentences on the hours."""
    notes = _through_hours(request, found)
    notes += each_hour_note(
        request, found.hours, found.fuel, found.held.settled, figures="The plan is"
    )
    notes.append(hour_band_note(banded.dry_matter_rate, "rate"))
    beyond = int(np.sum(~found.within))
    if beyond:
        step = say(AMBIENT_STEP, "temperature-difference", request.units, decimals=0)
        notes.append(
            f"{beyond} of {found.hours.count} entries of the series lie more than {step} from the "
            "plan's air. Plan again for a spell that stays there."
        )
    return notes
