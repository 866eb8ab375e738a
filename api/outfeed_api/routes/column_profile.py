"""The column profile: what happens down a dryer at rest, and what it costs."""

from __future__ import annotations

import numpy as np
from fastapi import APIRouter

from outfeed import NotConverged
from outfeed.dryer.doubt import meeting, settled
from outfeed.dryer.doubt_bands import Banded
from outfeed.dryer.heat_check import check_levels
from outfeed.dryer.inverse import OutOfReach
from outfeed.dryer.plan import LEAST_RISE
from outfeed.dryer.reach import reach_of
from outfeed.dryer.sensitivity import Sensitivity, sensitivities
from outfeed.fuel import EIA_HEAT
from outfeed.grains import load_grain
from outfeed.methods import MethodUse
from outfeed_api.models import cautions, methods_used
from outfeed_api.pictures import canvas
from outfeed_api.pictures.column_profile import column_profile_picture
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.column_figures import (
    air_profile,
    conservation,
    effects,
    ends,
    grain_profile,
    heat_checks,
    moisture_band,
    sensor_readings,
    temperature_band,
    total_fuel,
    zone_columns,
)
from outfeed_api.routes.column_input import (
    column_methods,
    dry_matter_rate,
)
from outfeed_api.routes.column_setup import USUAL_USE, Column, assumed_of, column_of
from outfeed_api.routes.discharge_models import EnergyBand, HoursBand, RateBand, WaterBand
from outfeed_api.routes.profile_hours import (
    HourlyProfile,
    hour_columns,
    hour_notes,
    hours_decision,
    shown_hour,
    swings,
    through_hours,
)
from outfeed_api.routes.profile_models import (
    ColumnFigures,
    ColumnProfileAnswer,
    ColumnProfileRequest,
)
from outfeed_api.routes.profile_words import (
    below_equilibrium,
    caution_codes,
    decision,
    not_converged,
    notes_of,
    nothing_to_dry,
    out_of_reach,
)

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["dryer"])


@router.post(
    "/column-profile",
    summary="What happens down the column of a dryer",
    operation_id="column_profile",
    response_model_exclude_none=True,
)
@computes(heavy=True, writes=canvas.writers(column_profile_picture))
def column_profile(request: ColumnProfileRequest) -> ColumnProfileAnswer:
    """Moisture, temperatures and humidity down the column of a settled dryer.

    Heat and moisture balances of grain and air, zone by zone. With a rate: what comes out. With a
    target alone: the rate that meets it. What you leave out is assumed, listed, and widens the
    bands. With `hourly` in place of one state of the air: the wettest hour, and how the column
    swings over them all. Also as a picture, SVG or PNG.
    """
    column = column_of(request)
    early = _beyond_any_rate(request, column)
    if early is not None:
        return early
    try:
        found = _solved(request, column)
        hourly = through_hours(request, column, found)
        if hourly is not None:
            column, found = hourly.column, hourly.banded
        machine, felt = column.machine, _felt(column, found)
    except OutOfReach as error:
        return out_of_reach(request, column, error)
    except NotConverged:
        return not_converged(request, column)
    use = request.end_use or USUAL_USE
    checks = check_levels(
        machine.dryer, found.profile, load_grain(request.grain), request.moisture, use
    )
    pressure = float(np.asarray(machine.conditions.pressure))
    return ColumnProfileAnswer(
        decision=decision(request, found, checks)
        if hourly is None
        else hours_decision(request, hourly, checks),
        units=request.units,
        verdict="settled",
        figures=_figures(request, column, found),
        grain=grain_profile(found.profile),
        air=air_profile(found.profile, machine.dryer, pressure),
        limits=heat_checks(checks, request.units),
        sensitivities=effects(felt, request.units) or None,
        conservation=conservation(found.profile),
        shown_hour=None if hourly is None else shown_hour(hourly),
        over_hours=None if hourly is None else swings(hourly),
        by_hour=None if hourly is None else hour_columns(hourly),
        assumed=assumed_of(request, column, use=request.end_use is None),
        methods=methods_used(*_methods(column, found)),
        notes=[
            *([] if hourly is None else hour_notes(request, hourly)),
            *notes_of(request, column, found, checks),
        ],
        cautions=cautions(*caution_codes(request, checks, _left(found, hourly))),
    )


def _beyond_any_rate(request: ColumnProfileRequest, column: Column) -> ColumnProfileAnswer | None:
    """The answer where no rate can meet the target, before any column is solved."""
    target, machine = request.target_moisture, column.machine
    if request.rate is not None or target is None:
        return None
    verdict = reach_of(machine.dryer, machine.conditions, machine.feed, target)
    if verdict.verdict == "nothing-to-dry":
        return nothing_to_dry(request, column)
    if verdict.verdict == "below-equilibrium":
        return below_equilibrium(request, column, verdict)
    return None


def _solved(request: ColumnProfileRequest, column: Column) -> Banded:
    machine, formulas = column.machine, column.formulas
    where = (machine.dryer, machine.conditions, machine.feed)
    if request.rate is None and request.target_moisture is not None:
        return meeting(
            *where, request.target_moisture, formulas.model,
            assumptions=column.assumed, fit=formulas.fit,
        )  # fmt: skip
    rate = dry_matter_rate(request, machine, formulas.model)
    return settled(*where, rate, formulas.model, assumptions=column.assumed, fit=formulas.fit)


def _felt(column: Column, found: Banded) -> tuple[Sensitivity, ...]:
    """Sensitivities; none where a plenum is too near the outside air to be cooled by a step."""
    machine, rate = column.machine, found.dry_matter_rate.value
    ambient = float(np.asarray(machine.conditions.ambient_temperature))
    coolest = min(hot for hot in machine.dryer.plenum_temperatures if hot is not None)
    if coolest < ambient + LEAST_RISE:
        return ()
    model = column.formulas.model
    return sensitivities(machine.dryer, machine.conditions, machine.feed, rate, model=model)


def _figures(request: ColumnProfileRequest, column: Column, found: Banded) -> ColumnFigures:
    profile, machine = found.profile, column.machine
    zones = zone_columns(found, machine.dryer, request.dryer)
    outlet = float(profile.outlet_moisture_wb)
    hottest = max(profile.zones, key=lambda zone: float(zone.hottest_kernel))
    column_band = found.column_temperature
    return ColumnFigures(
        discharge_rate=RateBand(**ends(found.dry_matter_rate.scaled(1.0 / (1.0 - outlet)))),
        intake_rate=RateBand(**ends(found.dry_matter_rate.scaled(1.0 / (1.0 - request.moisture)))),
        transit_time=HoursBand(**ends(found.transit_time)),
        moisture=moisture_band(found.outlet_moisture),
        temperature=temperature_band(found.outlet_temperature),
        column_temperature=None if column_band is None else temperature_band(column_band),
        sensors=sensor_readings(profile, machine.dryer),
        hottest_kernel=temperature_band(found.hottest_kernel),
        hottest_zone=hottest.name,
        water_removed=WaterBand(**ends(found.water)),
        heat=float(profile.heat),
        fuel_heat=total_fuel(zones),
        heat_per_water=EnergyBand(**ends(found.heat_per_water))
        if np.isfinite(found.heat_per_water.value)
        else None,
        zones=zones,
    )


def _left(found: Banded, hourly: HourlyProfile | None) -> list[float]:
    """Moisture at the discharge, of every hour that settled where there are hours [-]."""
    if hourly is None:
        return [found.outlet_moisture.value]
    return [float(wet) for wet in hourly.held.outlet_moisture_wb[hourly.held.settled]]


def _methods(column: Column, found: Banded) -> list[MethodUse]:
    grain = found.profile.grain_temperature
    met = (float(np.min(grain)), float(np.max(found.profile.hottest)))
    return [*column_methods(column.formulas.model, met), MethodUse(EIA_HEAT)]
