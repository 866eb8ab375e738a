"""A settled column as parts of an answer, still in SI."""

from __future__ import annotations

from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.assume import assumed_burner_efficiency
from outfeed.dryer.burner import fuel_heat
from outfeed.dryer.description import Dryer
from outfeed.dryer.doubt_bands import Banded
from outfeed.dryer.estimate import Estimate
from outfeed.dryer.heat_check import LevelCheck, OnePass
from outfeed.dryer.profile import ColumnProfile
from outfeed.dryer.sensitivity import Sensitivity
from outfeed.grains import TemperatureLimit
from outfeed.moist_air import relative_humidity
from outfeed_api.models import LONGEST_TEXT
from outfeed_api.routes.column_models import (
    MOST_ROWS,
    AirProfile,
    Conservation,
    Effect,
    GrainProfile,
    HeatCheck,
    HumidityBand,
    MoistureBand,
    SensorReading,
    TemperatureBand,
    ZoneColumn,
)
from outfeed_api.routes.dryer_models import DryerGiven, DryerRequest
from outfeed_api.routes.grain_entry import limit_sentence
from outfeed_api.units import UnitSystem, say

TEN_F = 50.0 / 9.0
STEPS = {
    "rate": 0.05,
    "plenums": TEN_F,
    "inlet-moisture": 0.01,
    "inlet-temperature": TEN_F,
    "ambient-temperature": TEN_F,
    "rate-factor": 0.10,
}
"""Changes that the sensitivities are told for, SI."""


def ends(estimate: Estimate) -> dict[str, float]:
    """Value, low and high of an estimate, for the parts that show a band."""
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high}


def moisture_band(estimate: Estimate) -> MoistureBand:
    """A moisture with its band."""
    return MoistureBand(**ends(estimate))


def temperature_band(estimate: Estimate) -> TemperatureBand:
    """A temperature with its band."""
    return TemperatureBand(**ends(estimate))


def burner_efficiency(given: DryerGiven) -> float:
    """Share of the fuel's heat that the air gets."""
    if given.burner == "direct-fired" or given.fuel == "electricity":
        return 1.0
    return given.burner_efficiency or assumed_burner_efficiency().value


def zone_columns(found: Banded, dryer: Dryer, given: DryerGiven) -> list[ZoneColumn]:
    """Every zone of a settled column.

    Parameters
    ----------
    found : Banded
        The column.
    dryer : Dryer
        As described.
    given : DryerGiven
        As asked.

    Returns
    -------
    list of ZoneColumn
        From the top.
    """
    profile, efficiency = found.profile, burner_efficiency(given)
    water, heat = float(profile.water), float(profile.heat)
    zones = []
    for index, (zone, result) in enumerate(zip(dryer.zones, profile.zones, strict=True)):
        first = int(np.flatnonzero(np.asarray(profile.segment_zone) == index)[0])
        plenum = zone.plenum_temperature
        zones.append(
            ZoneColumn(
                name=zone.name,
                role=zone.role,
                air_temperature=float(profile.air_in_temperature[first])
                if plenum is None
                else plenum,
                air_mass_rate=float(result.airflow),
                moisture=float(result.moisture_wb),
                grain_temperature=float(result.grain_temperature),
                hottest_kernel=float(result.hottest_kernel),
                exhaust_temperature=temperature_band(found.exhaust_temperature[index]),
                exhaust_relative_humidity=HumidityBand(
                    **ends(found.exhaust_relative_humidity[index])
                ),
                exhaust_humidity_ratio=float(result.exhaust_humidity_ratio),
                water_removed=float(result.water),
                heat=float(result.heat),
                fuel_heat=float(fuel_heat(zone, result.heat, efficiency)),
                water_share=float(result.water) / water if water > 0.0 else 0.0,
                heat_share=float(result.heat) / heat if heat > 0.0 else 0.0,
            )
        )
    return zones


def total_fuel(zones: list[ZoneColumn]) -> float:
    """Fuel of all zones [W]."""
    return sum(zone.fuel_heat for zone in zones)


def sensor_readings(profile: ColumnProfile, dryer: Dryer) -> list[SensorReading]:
    """What each column sensor should read."""
    places = [(zone.name, place) for zone in dryer.zones for place in zone.sensors]
    return [
        SensorReading(zone=name, position=place, temperature=float(value))
        for (name, place), value in zip(places, profile.sensor_temperature, strict=True)
    ]


def _thinned(count: int, most: int) -> Any:
    if count <= most:
        return np.arange(count)
    return np.unique(np.round(np.linspace(0, count - 1, most)).astype(int))


def grain_profile(profile: ColumnProfile) -> GrainProfile:
    """Grain down the column."""
    rows = _thinned(profile.depth.size, MOST_ROWS + 1)
    moisture = profile.moisture_db[rows] / (1.0 + profile.moisture_db[rows])
    return GrainProfile(
        depth=_list(profile.depth[rows]),
        moisture=_list(moisture),
        temperature=_list(profile.grain_temperature[rows]),
    )


def air_profile(profile: ColumnProfile, dryer: Dryer, pressure: float) -> AirProfile:
    """Air before and after each layer."""
    rows = _thinned(profile.hottest.size, MOST_ROWS)
    middle = 0.5 * (profile.depth[:-1] + profile.depth[1:])
    T, W = profile.air_out_temperature[rows], profile.air_out_humidity[rows]
    return AirProfile(
        zone=[dryer.zones[int(index)].name for index in np.asarray(profile.segment_zone)[rows]],
        depth=_list(middle[rows]),
        temperature_in=_list(profile.air_in_temperature[rows]),
        temperature_out=_list(T),
        humidity_ratio_in=_list(profile.air_in_humidity[rows]),
        humidity_ratio_out=_list(W),
        relative_humidity_out=_list(np.asarray(relative_humidity(T, W, pressure))),
        hottest_kernel=_list(profile.hottest[rows]),
    )


def _list(values: FloatArray) -> list[float]:
    return [float(value) for value in values]


def conservation(profile: ColumnProfile) -> Conservation:
    """How well the column closes."""
    return Conservation(
        water_residual=float(profile.water_residual),
        heat_residual=float(profile.heat_residual),
        solver_error=float(profile.error),
    )


def effects(found: tuple[Sensitivity, ...], units: UnitSystem) -> list[Effect]:
    """Sensitivities for changes that a person would make.

    Parameters
    ----------
    found : tuple of Sensitivity
        Per unit of each change.
    units : {"us", "metric"}
        The reader's.

    Returns
    -------
    list of Effect
        In the same order.
    """
    result = []
    for item in found:
        step = STEPS["plenums" if item.handle.startswith("plenum") else item.handle]
        column = item.column_temperature
        result.append(
            Effect(
                change=_change_words(item.handle, step, units),
                handle=item.handle,
                outlet_moisture=item.outlet_moisture * step,
                outlet_temperature=item.outlet_temperature * step,
                hottest_kernel=item.hottest_kernel * step,
                column_temperature=None if column is None else column * step,
            )
        )
    return result


def _change_words(handle: str, step: float, units: UnitSystem) -> str:
    if handle in {"rate", "rate-factor"}:
        what = "discharge rate" if handle == "rate" else "drying speed of the grain"
        return f"{step * 100:.0f} % more {what}" if handle == "rate" else f"{what} 10 % higher"
    if handle == "inlet-moisture":
        return "grain one point wetter at the inlet"
    degrees = say(step, "temperature-difference", units, decimals=1).replace(".0 ", " ")
    what = {
        "plenums": "all plenums",
        "inlet-temperature": "grain at the inlet",
        "ambient-temperature": "outside air, at the same relative humidity,",
    }.get(handle, f"plenum of {handle.partition(':')[2]}")
    return f"{what} {degrees} warmer"


def heat_checks(checks: tuple[LevelCheck, ...], units: UnitSystem) -> list[HeatCheck]:
    """Levels against the published limits; grain without a limit is left out.

    Parameters
    ----------
    checks : tuple of LevelCheck
        From the library.
    units : {"us", "metric"}
        The reader's.

    Returns
    -------
    list of HeatCheck
        For the answer.
    """
    return [
        HeatCheck(
            zone=check.zone,
            of="grain" if check.of == "grain" else "drying air",
            temperature=check.temperature,
            moisture=check.moisture_wb,
            verdict=check.verdict,
            strictest=min((row.low for row in check.rows), default=None),
            most_permissive=max((row.high for row in check.rows), default=None),
            passed=[limit_with_source(row, units, check.one_pass) for row in check.passed],
        )
        for check in checks
        if check.rows or check.of != "grain"
    ]


def limit_with_source(row: TemperatureLimit, units: UnitSystem, done: OnePass) -> str:
    """A published limit in a sentence, with what becomes of its conditions, and its source."""
    return f"{limit_sentence(row, units)}{_conditions_kept(row, done)} Source: {row.source}."


def _conditions_kept(row: TemperatureLimit, done: OnePass) -> str:
    """Whether the conditions of a limit that the moistures tell of hold; empty without any."""
    points, heat = done.keeps_points(row), done.keeps_heat(row)
    text = ""
    if points is not None:
        taken = (done.inlet_wb - done.outlet_wb) * 100.0
        kept = "as allowed" if points else "more than allowed"
        text += f" Here {taken:.1f} points are removed in the pass, {kept}."
    if heat is not None:
        kept = "no further than allowed" if heat else "further than allowed"
        text += f" Here heated air dries it to {done.heated_wb * 100:.1f} %, {kept}."
    return text


def limit_notes(checks: tuple[LevelCheck, ...], units: UnitSystem) -> list[str]:
    """A sentence for each published limit that levels pass.

    Parameters
    ----------
    checks : tuple of LevelCheck
        From the library.
    units : {"us", "metric"}
        The reader's.

    Returns
    -------
    list of str
        The gravest first.
    """
    passing = [check for check in checks if check.passed]
    together: dict[tuple[bool, str], list[LevelCheck]] = {}
    for check in sorted(passing, key=lambda item: item.verdict != "above-all"):
        every = check.verdict == "above-all"
        named = (max if every else min)(check.passed, key=lambda row: row.high)
        together.setdefault((every, limit_with_source(named, units, check.one_pass)), []).append(
            check
        )
    return [
        f"{'; '.join(_hot(check, units) for check in levels)}: above "
        f"{'every' if every else 'a'} published limit. {limit}"[:LONGEST_TEXT]
        for (every, limit), levels in together.items()
    ]


def _hot(check: LevelCheck, units: UnitSystem) -> str:
    what = "plenum" if check.of == "drying air" else "hottest kernel"
    shown = say(check.temperature, "temperature", units, decimals=0)
    return f"{check.zone}, {what} at {shown} on grain of {check.moisture_wb * 100:.1f} %"


def burner_assumed(request: DryerRequest) -> bool:
    """Whether the efficiency of an indirect heater had to be filled in."""
    given = request.dryer
    indirect = given.burner == "indirect" and given.fuel != "electricity"
    return indirect and given.burner_efficiency is None
