"""Discharge rate: where to set a dryer before anything has been measured."""

from __future__ import annotations

from typing import Literal

import numpy as np
from fastapi import APIRouter

from outfeed.dryer.assume import Assumption
from outfeed.dryer.estimate import Estimate
from outfeed.dryer.metering import METERING, Metering
from outfeed.dryer.opening import Opening, ZoneState, opening_rate
from outfeed.fuel import EIA_HEAT, load_fuel
from outfeed.methods import MethodUse
from outfeed_api.cautions import GAS_FUELS
from outfeed_api.models import cautions, methods_used
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.discharge_column import (
    NOT_OF_THE_BALANCE,
    ColumnRate,
    beside,
    column_rate,
    with_column,
)
from outfeed_api.routes.discharge_hours import (
    hour_columns,
    hour_notes,
    rates_by_hour,
    swings,
    with_hours,
)
from outfeed_api.routes.discharge_input import Setup, setup_of
from outfeed_api.routes.discharge_models import (
    DischargeFigures,
    DischargeRateAnswer,
    DischargeRateRequest,
    EnergyBand,
    FuelUse,
    HeatBand,
    HoursBand,
    MeteringFigures,
    PowerBand,
    RateBand,
    WaterBand,
    ZoneFigures,
)
from outfeed_api.routes.discharge_words import (
    assumed_entry,
    decision,
    limit_notes,
    notes,
    passed_limit,
)
from outfeed_api.routes.dryer_words import TOO_HOT, assumed_choices, thin_air_notes
from outfeed_api.routes.metering_given import dialled, refuse_falling
from outfeed_api.routes.moisture_cautions import moisture_cautions

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["dryer"])


@router.post(
    "/discharge-rate",
    summary="How fast a dryer should discharge",
    operation_id="discharge_rate",
    response_model_exclude_none=True,
)
@computes(heavy=True)
def discharge_rate(request: DischargeRateRequest) -> DischargeRateAnswer:
    """The opening rate with its band, transit time, water, fuel, exhaust and metering setting.

    The column model where the description suffices, with a quick balance of water and energy
    beside it; the quick balance alone where it does not. What you leave out is assumed from
    published ranges, listed, and widens the band; a known run or a fit of the same dryer narrows
    it. When the target cannot be reached the answer says so and what can. With `hourly` in place
    of one state of the air, the rate is for its mean, and every hour is told beside it.
    """
    refuse_falling(request, request.metering_points)
    setup = setup_of(request)
    reach, opening = opening_rate(
        setup.dryer,
        setup.conditions,
        setup.feed,
        request.target_moisture,
        assumptions=setup.assumptions,
        known_run=setup.known_run,
        exhaust_temperatures=setup.exhaust_temperatures,
        burner_efficiency=request.dryer.burner_efficiency,
        fan_power=request.dryer.fan_power,
    )
    found = None if opening is None else column_rate(request, setup)
    quick = opening
    if opening is not None and found is not None:
        opening = with_column(opening, found.banded, request.moisture, found.fuel)
    dial = _metering(request, opening)
    hours = None if opening is None else rates_by_hour(request, setup, opening, found)
    limit = passed_limit(request)
    return DischargeRateAnswer(
        decision=with_hours(request, decision(request, reach, opening, dial), hours)
        + (TOO_HOT if limit is not None else ""),
        units=request.units,
        verdict=reach.verdict,
        method=_method(opening, found),
        quick_balance=None if quick is None or found is None else RateBand(**_band(quick.dry_rate)),
        figures=None if opening is None else _figures(request, opening, found),
        metering=None if dial is None else _dial(dial),
        driest_moisture=reach.driest_moisture_wb,
        plenum_needed=reach.plenum_needed,
        over_hours=swings(hours),
        by_hour=hour_columns(request, setup, hours),
        assumed=[
            *(assumed_entry(item, setup) for item in _listed(setup, opening, found)),
            *assumed_choices(request),
        ],
        methods=methods_used(*_methods(opening, dial, found)),
        notes=[
            *notes(request, reach, opening, dial, beside=beside(request, quick, found)),
            *hour_notes(request, setup, opening, hours),
            *_air_notes(request, setup, opening),
            *limit_notes(request, limit),
        ],
        cautions=cautions(*_cautions(request, opening, too_hot=limit is not None)),
    )


def _air_notes(request: DischargeRateRequest, setup: Setup, opening: Opening | None) -> list[str]:
    """Thin air, unless the dryer's own runs have told its air."""
    if opening is None or setup.known_run is not None or request.fitted is not None:
        return []
    return thin_air_notes(float(np.max(setup.conditions.pressure)))


def _method(
    opening: Opening | None, found: ColumnRate | None
) -> Literal["column-model", "quick-balance"] | None:
    if opening is None:
        return None
    return "quick-balance" if found is None else "column-model"


def _listed(setup: Setup, opening: Opening | None, found: ColumnRate | None) -> list[Assumption]:
    """What was assumed in reading the request, then what the method assumed."""
    own = [] if opening is None else list(opening.assumed)
    if found is not None:
        own = [*found.assumed, *(item for item in own if item.name in NOT_OF_THE_BALANCE)]
    return list(dict.fromkeys([*setup.assumptions, *setup.also_assumed, *own]))


def _figures(
    request: DischargeRateRequest, opening: Opening, found: ColumnRate | None
) -> DischargeFigures:
    dry = opening.dry_rate.value
    return DischargeFigures(
        discharge_rate=RateBand(**_band(opening.dry_rate)),
        intake_rate=RateBand(**_band(opening.wet_rate)),
        transit_time=HoursBand(**_band(opening.transit_time)),
        hold_up=dry * opening.transit_time.value,
        water_removed=WaterBand(**_band(opening.water_removed)),
        specific_energy=EnergyBand(**_band(opening.specific_energy)),
        fuel=_fuel(request, opening),
        electricity=PowerBand(**_band(opening.electricity)),
        electricity_per_grain=opening.electricity.value / dry,
        zones=[_zone(zone) for zone in opening.zones] if found is None else found.zones,
        anchor_factor=opening.anchor_factor,
    )


def _band(estimate: Estimate) -> dict[str, float]:
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high}


def _fuel(request: DischargeRateRequest, opening: Opening) -> FuelUse:
    fuel, heat, dry = request.dryer.fuel, opening.fuel_heat.value, opening.dry_rate.value
    volume = heat / load_fuel(fuel).heat_content
    liquid = volume if fuel in {"propane", "fuel-oil"} else None
    gas = volume if fuel == "natural-gas" else None
    return FuelUse(
        fuel=fuel,
        heat=HeatBand(**_band(opening.fuel_heat)),
        heat_per_grain=heat / dry,
        liquid=liquid,
        liquid_per_grain=None if liquid is None else liquid / dry,
        gas=gas,
        gas_per_grain=None if gas is None else gas / dry,
    )


def _zone(zone: ZoneState) -> ZoneFigures:
    return ZoneFigures(
        name=zone.name,
        role="heated" if zone.role == "heated" else "cooling",
        air_temperature=zone.air_temperature,
        air_humidity_ratio=zone.air_humidity,
        exhaust_temperature=zone.exhaust_temperature,
        exhaust_relative_humidity=zone.exhaust_relative_humidity,
        exhaust_humidity_ratio=zone.exhaust_humidity,
        moisture=zone.moisture_wb,
        grain_temperature=zone.grain_temperature,
        water_removed=zone.water_removed,
        air_mass_rate=zone.airflow,
        fuel_heat=zone.fuel_heat,
    )


def _metering(request: DischargeRateRequest, opening: Opening | None) -> Metering | None:
    if opening is None:
        return None
    rate = opening.dry_rate if request.rate_basis == "dry" else opening.wet_rate
    return dialled(request, request.metering_points, rate)


def _dial(dial: Metering) -> MeteringFigures:
    setting = dial.setting
    return MeteringFigures(
        setting=setting.value,
        low=setting.low,
        high=setting.high,
        basis=dial.basis,
        scatter=dial.spread,
    )


def _methods(
    opening: Opening | None, dial: Metering | None, found: ColumnRate | None
) -> list[MethodUse]:
    if opening is None:
        return []
    uses = [*(found.methods if found else ()), *opening.methods, MethodUse(EIA_HEAT)]
    if dial is not None:
        far = dial.basis in {"near-extrapolation", "far-extrapolation"}
        outside = (METERING.valid[0].quantity,) if far else ()
        uses.append(MethodUse(METERING, outside))
    return uses


def _cautions(
    request: DischargeRateRequest, opening: Opening | None, *, too_hot: bool
) -> list[str]:
    hot = ["temperature-limit"] if too_hot else []
    if opening is None:
        return ["follow-manual", *hot]
    codes = ["follow-manual", *hot, "fire-column", "hot-surfaces", "lock-out"]
    if request.dryer.burner == "direct-fired" and request.dryer.fuel != "electricity":
        codes.append("carbon-monoxide")
    if request.dryer.fuel in GAS_FUELS:
        codes.append("gas-fuel")
    target = request.target_moisture
    codes += moisture_cautions(request.grain, [target], target)
    if any(not use.inside_range for use in opening.methods):
        codes.append("extrapolated")
    return codes
