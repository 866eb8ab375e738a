"""The column profile through the hours of a forecast or a record: the wettest hour, and all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed import NotConverged
from outfeed.arrays import FloatArray
from outfeed.dryer.burner import fuel_heat
from outfeed.dryer.doubt import settled
from outfeed.dryer.doubt_bands import Banded
from outfeed.dryer.heat_check import LevelCheck
from outfeed.dryer.hours import HourlyColumns, held_through
from outfeed.dryer.layers import TOLERANCE
from outfeed_api.models import LONGEST_TEXT
from outfeed_api.routes.air_hours import (
    AirHours,
    HeatSwing,
    MoistureSwing,
    TemperatureSwing,
    extremes,
    known_or_null,
)
from outfeed_api.routes.air_words import each_hour_note, held_words, hour_band_note
from outfeed_api.routes.column_figures import burner_efficiency
from outfeed_api.routes.column_setup import Column, at_hour
from outfeed_api.routes.dryer_words import TOO_HOT, about_rates, banded, percents
from outfeed_api.routes.profile_models import (
    ColumnProfileRequest,
    ProfileHours,
    ProfileSwings,
    ShownHour,
)
from outfeed_api.routes.profile_words import decision
from outfeed_api.units import say


@dataclass(frozen=True, slots=True, eq=False)
class HourlyProfile:
    """All hours at one rate, and the one that is shown.

    Attributes
    ----------
    hours : AirHours
        The hours.
    held : HourlyColumns
        What leaves in each.
    fuel : ndarray
        Fuel burned in each [W].
    row : int
        The wettest hour.
    column : Column
        The request in that hour's air.
    banded : Banded
        The column then, with bands.
    mean : Banded
        The column in the mean air, which gave the rate.
    humidity : float
        Mean relative humidity [-].
    """

    hours: AirHours
    held: HourlyColumns
    fuel: FloatArray
    row: int
    column: Column
    banded: Banded
    mean: Banded
    humidity: float


def through_hours(
    request: ColumnProfileRequest, column: Column, mean: Banded
) -> HourlyProfile | None:
    """All hours of a request at the rate of its mean air.

    Parameters
    ----------
    request : ColumnProfileRequest
        In SI.
    column : Column
        In the mean air.
    mean : Banded
        The column in the mean air.

    Returns
    -------
    HourlyProfile or None
        None where one state of the air was given.

    Raises
    ------
    NotConverged
        No hour settled.
    """
    machine, formulas = column.machine, column.formulas
    hours, rate = machine.hours, mean.dry_matter_rate.value
    if hours is None:
        return None
    where = (machine.dryer, hours.conditions(machine.conditions), hours.feed(machine.feed))
    held = held_through(*where, rate, model=formulas.model)
    if not np.any(held.settled):
        raise NotConverged("the column", (-np.inf, np.inf), TOLERANCE)
    row = extremes(held.outlet_moisture_wb, held.settled)[1]
    then = at_hour(column, hours, row, "that of the hour shown")
    found = settled(
        machine.dryer, then.machine.conditions, then.machine.feed, rate, formulas.model,
        assumptions=then.assumed, fit=formulas.fit,
    )  # fmt: skip
    efficiency = burner_efficiency(request.dryer)
    zones = zip(machine.dryer.zones, held.zone_heat, strict=True)
    return HourlyProfile(
        hours=hours,
        held=held,
        fuel=np.sum([fuel_heat(zone, heat, efficiency) for zone, heat in zones], axis=0),
        row=row,
        column=then,
        banded=found,
        mean=mean,
        humidity=float(np.asarray(machine.conditions.ambient_relative_humidity)),
    )


def shown_hour(found: HourlyProfile) -> ShownHour:
    """The hour that figures and profile are for."""
    at = float(found.hours.seconds[found.row])
    then = found.column.machine.conditions
    return ShownHour(
        at=found.hours.clock.stamp(at),
        at_elapsed=found.hours.clock.minute(at),
        ambient_temperature=float(np.asarray(then.ambient_temperature)),
        ambient_relative_humidity=float(np.asarray(then.ambient_relative_humidity)),
    )


def hour_columns(found: HourlyProfile) -> ProfileHours:
    """The hours as columns."""
    held, known = found.held, found.held.settled
    sensors = held.column_temperature
    return ProfileHours(
        **found.hours.columns(found.humidity),
        moisture=known_or_null(held.outlet_moisture_wb, known),
        temperature=known_or_null(held.outlet_temperature, known),
        column_temperature=None if sensors is None else known_or_null(sensors, known),
        hottest_kernel=known_or_null(held.hottest_kernel, known),
        water_removed=known_or_null(held.water, known),
        fuel_heat=known_or_null(found.fuel, known),
    )


def swings(found: HourlyProfile) -> ProfileSwings:
    """How the column swings over the hours."""
    held, known, hours = found.held, found.held.settled, found.hours
    sensors = held.column_temperature
    return ProfileSwings(
        moisture=MoistureSwing(**hours.swing(held.outlet_moisture_wb, known)),
        temperature=TemperatureSwing(**hours.swing(held.outlet_temperature, known)),
        column_temperature=None
        if sensors is None
        else TemperatureSwing(**hours.swing(sensors, known)),
        hottest_kernel=TemperatureSwing(**hours.swing(held.hottest_kernel, known)),
        fuel_heat=HeatSwing(**hours.swing(found.fuel, known)),
        hours=hours.count,
        hours_without=int(np.sum(~known)),
    )


def hours_decision(
    request: ColumnProfileRequest, found: HourlyProfile, checks: tuple[LevelCheck, ...]
) -> str:
    """What the hours do at the discharge, and which of them is shown."""
    if found.hours.count == 1:
        return decision(request, found.mean, checks)
    target, hours = request.target_moisture, found.hours
    mean = found.mean
    about = about_rates(
        request, mean.dry_matter_rate.scaled(1.0 / (1.0 - mean.outlet_moisture.value))
    )
    text = ""
    if request.rate is None and target is not None:
        text = (
            f"To leave at {target * 100:.1f} % in the mean of the hours, discharge about {about}. "
        )
    aim = mean.outlet_moisture.value if target is None else target
    text += held_words(
        request, hours, found.held.outlet_moisture_wb, found.held.settled, aim,
        wanted="the target" if target is not None else "its mean",
    )  # fmt: skip
    air = say(float(hours.temperature[found.row]), "temperature", request.units, decimals=0)
    warm = banded(request, found.banded.outlet_temperature, "temperature")
    text += (
        f" The wettest hour, {hours.say(found.row)} with {air} outside, is the one shown: "
        f"{percents(found.banded.outlet_moisture)} and {warm} at the discharge."
    )
    if any(check.verdict == "above-all" for check in checks):
        text += TOO_HOT
    return text[:LONGEST_TEXT]


def hour_notes(request: ColumnProfileRequest, found: HourlyProfile) -> list[str]:
    """Sentences on the hours."""
    notes = each_hour_note(
        request, found.hours, found.fuel, found.held.settled, figures="The rate is"
        if request.rate is None else "",
    )  # fmt: skip
    notes.append(hour_band_note(found.banded.outlet_moisture, "moisture"))
    without = int(np.sum(~found.held.settled))
    if without:
        notes.append(
            f"{without} of {found.hours.count} hours have no settled column to trust: air warmer "
            "than a plenum, or beyond the model."
        )
    return notes
