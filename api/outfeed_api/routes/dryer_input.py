"""From a request about a dryer to the machine, its weather and its grain; what was left out is
assumed here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from outfeed import Inconsistent
from outfeed.dryer.assume import (
    STANDARD_AIR_DENSITY,
    Assumption,
    assumed_airflow,
    assumed_ambient_humidity,
    assumed_column_thickness,
    assumed_density,
    assumed_grain_temperature,
)
from outfeed.dryer.description import (
    DEFAULT_HALF_PITCH,
    DRY_MATTER_DENSITY,
    Conditions,
    Dryer,
    Feed,
    Zone,
)
from outfeed.dryer.task import COLDER_PLENUM
from outfeed.grains import load_grain
from outfeed.grains.units import BUSHEL_VOLUME
from outfeed.methods import RECALLED
from outfeed.moist_air import STANDARD_PRESSURE, standard_pressure
from outfeed_api.problems import (
    INCONSISTENT,
    NOT_PUBLISHED,
    OUT_OF_RANGE,
    Allowed,
    ProblemError,
    field_error,
    join_pointer,
)
from outfeed_api.refusals import pointing_at
from outfeed_api.routes.air_hours import AirHours, air_hours
from outfeed_api.routes.dryer_models import DryerRequest, DryerZone
from outfeed_api.units import QUANTITIES, rounded, say

USUAL_REMOVAL = 0.06
"""Moisture taken off where nobody says how much, wet basis [-]: common practice, no source. It
only decides at which moisture the bed is weighed."""
DRIEST_USUAL = 0.08
"""Moisture below which grain is not taken to leave where nobody says [-]: the same."""


@dataclass(frozen=True, slots=True)
class Machine:
    """A request's dryer as the library takes it.

    Attributes
    ----------
    dryer, conditions, feed : Dryer, Conditions, Feed
        The machine, the weather and the grain.
    assumptions : tuple of Assumption
        Inputs that were assumed and widen the band.
    also_assumed : tuple of Assumption
        Inputs that were assumed and are only listed.
    bulk_density : float
        Wet grain in the bed [kg/m3].
    hours : AirHours or None
        The outside air hour by hour, of which `conditions` holds the mean.
    """

    dryer: Dryer
    conditions: Conditions
    feed: Feed
    assumptions: tuple[Assumption, ...]
    also_assumed: tuple[Assumption, ...]
    bulk_density: float
    hours: AirHours | None


def machine_of(
    request: DryerRequest,
    outlet_moisture: float | None = None,
    plenums: Sequence[float | None] | None = None,
) -> Machine:
    """A request's dryer, weather and grain as the library takes them.

    Parameters
    ----------
    request : DryerRequest
        In SI.
    outlet_moisture : float, optional
        Moisture at the discharge, wet basis [-], where it is known; the bed is weighed half way.
    plenums : sequence of float or None, optional
        Plenum temperatures zone by zone [degC] in place of the request's.

    Returns
    -------
    Machine
        With what was assumed.

    Raises
    ------
    ProblemError
        A dryer that contradicts itself, or grain without a published density.
    """
    outlet = outlet_moisture
    if outlet is None:
        lowest = min(request.moisture, DRIEST_USUAL)
        outlet = max(request.moisture - USUAL_REMOVAL, lowest)
    middle = 0.5 * (request.moisture + outlet)
    bulk, density_assumed = _bulk_density(request, middle)
    dry_density = bulk * (1.0 - middle)
    airflow = assumed_airflow(request.dryer.kind)
    assumptions: list[Assumption] = []
    if any(zone.airflow is None for zone in request.dryer.zones):
        assumptions.append(airflow)
    hours = air_hours(request)
    ambient = outside(request, hours)
    humidity = request.ambient_relative_humidity
    if hours is not None and hours.mean_humidity is not None:
        humidity = hours.mean_humidity
    if humidity is None:
        assumptions.append(assumed_ambient_humidity())
        humidity = assumed_ambient_humidity().value
    warm = request.grain_temperature
    if warm is None:
        told = None if hours is None else "that of their mean"
        assumptions.append(grain_like_air(ambient, told))
        warm = ambient
    if density_assumed is not None:
        assumptions.append(assumed_density(dry_density, density_assumed))
    thickness = request.dryer.column_thickness is None and request.dryer.kind == "cross-flow"
    dryer = _dryer(request, dry_density, middle, airflow.value, plenums)
    refuse_cold_plenums(request, dryer.plenum_temperatures, ambient)
    return Machine(
        dryer=dryer,
        conditions=Conditions(ambient, humidity, _pressure(request)),
        feed=Feed(request.moisture, warm, request.grain),
        assumptions=tuple(assumptions),
        also_assumed=(assumed_column_thickness(),) if thickness else (),
        bulk_density=bulk,
        hours=hours,
    )


def grain_like_air(ambient: float, told: str | None = None) -> Assumption:
    """Grain taken to come in as warm as the outside air.

    Parameters
    ----------
    ambient : float
        Outside air [degC].
    told : str, optional
        Of which hour of a series this air is, in words; None for one state of the air.

    Returns
    -------
    Assumption
        Value and range [degC].
    """
    item = assumed_grain_temperature(ambient)
    if told is None:
        return item
    return replace(item, why=f"{item.why.removesuffix('.')}, hour by hour; this is {told}.")


def outside(request: DryerRequest, hours: AirHours | None = None) -> float:
    """Temperature of the outside air of a request: given, or the mean of its hours [degC]."""
    series = air_hours(request) if hours is None else hours
    if series is not None:
        return series.mean_temperature
    if request.ambient_temperature is None:  # a request that was not validated
        raise Inconsistent("the outside air is not given", "ambient_temperature")
    return request.ambient_temperature


def refuse_cold_plenums(
    request: DryerRequest,
    plenums: Sequence[float | None],
    ambient: float,
    pointer: str = "/dryer/zones/{}/plenum_temperature",
) -> None:
    """Refuse a heated plenum colder than the outside air, in the caller's units.

    Parameters
    ----------
    request : DryerRequest
        In SI.
    plenums : sequence of float or None
        Zone by zone [degC].
    ambient : float
        Outside air [degC].
    pointer : str
        JSON pointer to a plenum temperature, with a place for the zone's index.

    Raises
    ------
    ProblemError
        Pointing at the first.
    """
    for index, plenum in enumerate(plenums):
        if plenum is not None and plenum < ambient - COLDER_PLENUM:
            hot, air = (
                say(value, "temperature", request.units, decimals=0) for value in (plenum, ambient)
            )
            detail = f"a heated plenum of {hot} is colder than the outside air at {air}"
            raise ProblemError(INCONSISTENT, detail, [field_error(pointer.format(index), detail)])


def zone_by_zone(
    dryer: Dryer, given: Sequence[float] | None, pointer: str
) -> tuple[float | None, ...] | None:
    """What was given for the heated zones, one place for every zone.

    Parameters
    ----------
    dryer : Dryer
        As described.
    given : sequence of float, optional
        One value a heated zone, from the top.
    pointer : str
        JSON pointer to them.

    Returns
    -------
    tuple of float or None, or None
        None for a zone that is not heated; None when nothing was given.

    Raises
    ------
    ProblemError
        Another number of values than heated zones.
    """
    if given is None:
        return None
    heated = sum(zone.heated for zone in dryer.zones)
    if len(given) != heated:
        detail = f"{len(given)} values for {heated} heated zones"
        raise ProblemError(INCONSISTENT, detail, [field_error(pointer, detail)])
    values = iter(given)
    return tuple(next(values) if zone.heated else None for zone in dryer.zones)


def refuse_rate(
    request: DryerRequest, rate: float, ends: tuple[float, float], pointer: str, why: str
) -> None:
    """Refuse a rate outside what can be followed, in the caller's units.

    Parameters
    ----------
    request : DryerRequest
        In SI.
    rate : float
        Grain [kg/s].
    ends : tuple of float
        Lowest and highest that can be followed, counted alike [kg/s].
    pointer : str
        JSON pointer to the rate.
    why : str
        Where the ends come from, in words.

    Raises
    ------
    ProblemError
        With the ends.
    """
    if ends[0] <= rate <= ends[1]:
        return
    unit, kg = QUANTITIES["grain-rate"].unit(request.units), request.kg_per_bushel
    value, low, high = (rounded(unit.from_si(x, kg), 4) for x in (rate, *ends))
    detail = f"{value:g} {unit.label} is outside {low:g} to {high:g} {unit.label}: {why}"
    allowed = Allowed(minimum=low, maximum=high, unit=unit.label)
    raise ProblemError(OUT_OF_RANGE, detail, [field_error(pointer, detail, value, allowed)])


def _pressure(request: DryerRequest) -> float:
    if request.pressure is not None and request.altitude is not None:
        detail = "give `pressure` or `altitude`, not both"
        raise ProblemError(INCONSISTENT, detail, [field_error("/altitude", detail)])
    if request.pressure is not None:
        return request.pressure
    if request.altitude is not None:
        return float(standard_pressure(request.altitude))
    return STANDARD_PRESSURE


def _bulk_density(request: DryerRequest, moisture: float) -> tuple[float, str | None]:
    """Density of the bed [kg/m3] and, when it was not given, where it comes from."""
    if request.test_weight is not None:
        return request.test_weight, None
    grain = load_grain(request.grain)
    if grain.bulk_density is not None:
        return grain.bulk_density.at(moisture), grain.bulk_density.source
    if grain.bushel_weight is not None:
        source = "legal bushel weight, " + grain.bushel_weight.source
        return grain.bushel_weight.value / BUSHEL_VOLUME, source
    detail = f"no bulk density of {request.grain} is on record ({RECALLED} or read)"
    raise ProblemError(NOT_PUBLISHED, detail, [field_error("/test_weight", detail)])


def _dryer(
    request: DryerRequest,
    density: float,
    moisture: float,
    airflow: float,
    plenums: Sequence[float | None] | None,
) -> Dryer:
    given = request.dryer
    thickness = given.column_thickness
    if thickness is None and given.kind == "cross-flow":
        thickness = assumed_column_thickness().value
    if plenums is None:
        plenums = [zone.plenum_temperature for zone in given.zones]
    zones = tuple(
        _zone(request, index, zone, density, moisture, airflow, plenum)
        for index, (zone, plenum) in enumerate(zip(given.zones, plenums, strict=True))
    )
    with pointing_at("/dryer/zones", request):
        return Dryer(
            kind=given.kind,
            zones=zones,
            cross_section=given.cross_section,
            half_pitch=DEFAULT_HALF_PITCH if given.half_pitch is None else given.half_pitch,
            column_thickness=thickness,
            dry_matter_density=float(DRY_MATTER_DENSITY.check(density, "test_weight")),
        )


def _zone(
    request: DryerRequest,
    index: int,
    zone: DryerZone,
    density: float,
    moisture: float,
    airflow: float,
    plenum: float | None,
) -> Zone:
    pointer = join_pointer("dryer", "zones", index)
    if (zone.role == "heated") == (plenum is None):
        detail = (
            "a heated zone needs its plenum temperature"
            if plenum is None
            else "a cooling zone is blown with outside air: give it no plenum temperature"
        )
        raise ProblemError(
            INCONSISTENT, detail, [field_error(f"{pointer}/plenum_temperature", detail)]
        )
    if (zone.volume is None) == (zone.hold_up is None):
        detail = "give either `volume` or `hold_up`"
        raise ProblemError(INCONSISTENT, detail, [field_error(f"{pointer}/volume", detail)])
    volume = zone.volume
    if volume is None:
        volume = (zone.hold_up or 0.0) * (1.0 - moisture) / density
    with pointing_at(pointer, request):
        return Zone(
            name=zone.name or f"zone {index + 1}",
            role=zone.role,
            volume=volume,
            plenum_temperature=plenum,
            airflow=None if zone.airflow is None else zone.airflow * STANDARD_AIR_DENSITY,
            airflow_per_volume=airflow if zone.airflow is None else None,
            burner=request.dryer.burner if zone.role == "heated" else "indirect",
            fuel=request.dryer.fuel,
            turning=zone.turning,
            air_reversed=zone.air_reversed,
            direction=zone.direction,
            sensors=tuple(sorted(zone.sensors or ())),
        )
