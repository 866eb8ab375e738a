"""The column profile: what happens down a dryer at rest, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from outfeed import NotConverged
from outfeed.dryer.assume import Assumption, assumed_burner_efficiency
from outfeed.dryer.description import Dryer
from outfeed.dryer.doubt import Banded, meeting, settled
from outfeed.dryer.estimate import Estimate
from outfeed.dryer.heat_check import LevelCheck, check_levels
from outfeed.dryer.inverse import OutOfReach, sensitivities
from outfeed.dryer.reach import Reach, reach_of
from outfeed.fuel import EIA_HEAT
from outfeed.grains import load_grain
from outfeed.methods import MethodUse
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_TEXT, Answer, Assumed, Part, cautions, methods_used
from outfeed_api.pictures import canvas
from outfeed_api.pictures.column_profile import column_profile_picture
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.column_figures import (
    air_profile,
    burner_assumed,
    conservation,
    effects,
    ends,
    grain_profile,
    heat_checks,
    limit_notes,
    moisture_band,
    sensor_readings,
    temperature_band,
    total_fuel,
    zone_columns,
)
from outfeed_api.routes.column_input import (
    Formulas,
    column_methods,
    dry_matter_rate,
    expected_outlet,
    formulas_of,
)
from outfeed_api.routes.column_models import (
    AirProfile,
    Conservation,
    Effect,
    EndUse,
    GrainProfile,
    HeatCheck,
    MoistureBand,
    SensorReading,
    TemperatureBand,
    ZoneColumn,
)
from outfeed_api.routes.discharge_models import EnergyBand, HoursBand, RateBand, WaterBand
from outfeed_api.routes.dryer_input import Machine, machine_of
from outfeed_api.routes.dryer_models import MOST_SENSORS, MOST_ZONES, ColumnRequest
from outfeed_api.routes.dryer_words import (
    about_rates,
    assumed_choices,
    assumed_quantity,
    banded,
    burner_cautions,
    percents,
)
from outfeed_api.units import say

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["dryer"])

USUAL_USE: EndUse = "commercial"
TALLEST = {"mixed-flow": 40.0, "cross-flow": 25.0, "counter-flow": 6.0, "concurrent-flow": 6.0}
"""Highest bed that is followed [m]: common practice, no source."""
MOST_LAYERS = 300
FREEZING = 0.0  # degC
NEAR_TARGET = 0.005  # moisture; half a point either side counts as on target


class ColumnProfileRequest(ColumnRequest):
    """A dryer, its grain and weather, and the rate it runs at or the target it is to meet."""

    end_use: EndUse | None = Field(
        None, description="What the grain is for; decides which temperature limits speak."
    )


class ColumnFigures(Part):
    """The settled column in figures."""

    discharge_rate: RateBand = Field(description="Grain leaving; no band where you gave the rate.")
    intake_rate: RateBand = Field(description="Wet grain going in.")
    transit_time: HoursBand = Field(description="From the top of the column to the discharge.")
    moisture: MoistureBand = Field(
        description="Moisture at the discharge; no band where it is the target."
    )
    temperature: TemperatureBand = Field(description="Grain at the discharge.")
    column_temperature: TemperatureBand | None = Field(
        None, description="Mean of the column sensors; left out without sensors."
    )
    sensors: list[SensorReading] = Field(
        description="What each column sensor should read.", max_length=MOST_SENSORS * MOST_ZONES
    )
    hottest_kernel: TemperatureBand = Field(description="Hottest grain anywhere in the column.")
    hottest_zone: str = Field(description="Where it is.", max_length=100)
    water_removed: WaterBand = Field(description="Water from the grain.")
    heat: Annotated[float, Measure("heat-rate", example=1.9e6)] = Field(
        description="Heat that the outside air takes up."
    )
    fuel_heat: Annotated[float, Measure("heat-rate", example=2.0e6)] = Field(
        description="Fuel burned, higher heating value."
    )
    heat_per_water: EnergyBand = Field(
        description="Heat over water removed. Walls and losses are left out: it reads low."
    )
    zones: list[ZoneColumn] = Field(
        description="From the top to the discharge.", max_length=MOST_ZONES
    )


class ColumnProfileAnswer(Answer):
    """The settled column, or why there is none."""

    verdict: Literal["settled", "out-of-reach", "nothing-to-dry", "not-converged"] = Field(
        description="Whether the figures stand; without `settled` there are none."
    )
    figures: ColumnFigures | None = Field(None, description="The settled column in figures.")
    grain: GrainProfile | None = Field(None, description="Grain down the column.")
    air: AirProfile | None = Field(None, description="Air layer by layer.")
    limits: list[HeatCheck] | None = Field(
        None, description="Each level against the published temperature limits.",
        max_length=2 * MOST_ZONES,
    )  # fmt: skip
    sensitivities: list[Effect] | None = Field(
        None, description="What one change does once all has settled again.",
        max_length=MOST_ZONES + 10,
    )  # fmt: skip
    conservation: Conservation | None = Field(None, description="How well the column closes.")
    reach: MoistureBand | None = Field(
        None, description="Where the target is out of reach: nearest, driest and wettest."
    )


def too_tall(dryer: Dryer) -> bool:
    """Whether the bed is higher or more finely divided than is followed."""
    height = sum(dryer.heights)
    fine = dryer.kind == "mixed-flow" and height / dryer.half_pitch > MOST_LAYERS
    return height > TALLEST[dryer.kind] or fine


def bed_unknown(dryer: Dryer) -> bool:
    """Whether how deep the bed is decides, and nobody said."""
    return dryer.kind in {"counter-flow", "concurrent-flow"} and dryer.area_is_assumed


def refuse_endless(dryer: Dryer) -> None:
    """Refuse a bed so tall or so finely divided that no dryer has it.

    Parameters
    ----------
    dryer : Dryer
        As described.

    Raises
    ------
    ProblemError
        Its cross-section or half pitch cannot be meant.
    """
    height = sum(dryer.heights)
    if bed_unknown(dryer):
        detail = f"the depth of the bed decides in a {dryer.kind} dryer: give its cross-section"
        raise ProblemError(INCONSISTENT, detail, [field_error("/dryer/cross_section", detail)])
    if height > TALLEST[dryer.kind]:
        detail = (
            f"this volume over this cross-section is a bed {height:.3g} m high, and no "
            f"{dryer.kind} dryer is higher than {TALLEST[dryer.kind]:g} m"
        )
        raise ProblemError(INCONSISTENT, detail, [field_error("/dryer/cross_section", detail)])
    if dryer.kind == "mixed-flow" and height / dryer.half_pitch > MOST_LAYERS:
        detail = f"more than {MOST_LAYERS} layers of ducts: check the half pitch"
        raise ProblemError(INCONSISTENT, detail, [field_error("/dryer/half_pitch", detail)])


@dataclass(frozen=True, slots=True)
class Column:
    """A request with everything the column model needs."""

    machine: Machine
    formulas: Formulas
    assumed: tuple[Assumption, ...]


def column_of(request: ColumnRequest) -> Column:
    """Machine and formulas of a request; refuses one without rate and target."""
    machine = machine_of(request, expected_outlet(request))
    refuse_endless(machine.dryer)
    if request.dryer.fuel == "electricity":
        zones = tuple(replace(zone, burner="indirect") for zone in machine.dryer.zones)
        machine = replace(machine, dryer=replace(machine.dryer, zones=zones))
    formulas = formulas_of(request)
    return Column(machine, formulas, (*machine.assumptions, *formulas.assumptions))


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
    bands. Also as a picture, SVG or PNG.
    """
    column = column_of(request)
    early = _beyond_any_rate(request, column)
    if early is not None:
        return early
    try:
        found = _solved(request, column)
        machine, model = column.machine, column.formulas.model
        rate = found.dry_matter_rate.value
        felt = sensitivities(machine.dryer, machine.conditions, machine.feed, rate, model=model)
    except OutOfReach as error:
        return _out_of_reach(request, column, error)
    except NotConverged:
        return _not_converged(request, column)
    use = request.end_use or USUAL_USE
    checks = check_levels(
        machine.dryer, found.profile, load_grain(request.grain), request.moisture, use
    )
    pressure = float(np.asarray(machine.conditions.pressure))
    return ColumnProfileAnswer(
        decision=_decision(request, found, checks),
        units=request.units,
        verdict="settled",
        figures=_figures(request, column, found),
        grain=grain_profile(found.profile),
        air=air_profile(found.profile, machine.dryer, pressure),
        limits=heat_checks(checks, request.units),
        sensitivities=effects(felt, request.units),
        conservation=conservation(found.profile),
        assumed=assumed_of(request, column, use=request.end_use is None),
        methods=methods_used(*_methods(column, found)),
        notes=_notes(request, column, found, checks),
        cautions=cautions(*_cautions(request, found, checks)),
    )


def _beyond_any_rate(request: ColumnProfileRequest, column: Column) -> ColumnProfileAnswer | None:
    """The answer where no rate can meet the target, before any column is solved."""
    target, machine = request.target_moisture, column.machine
    if request.rate is not None or target is None:
        return None
    verdict = reach_of(machine.dryer, machine.conditions, machine.feed, target)
    if verdict.verdict == "nothing-to-dry":
        return _nothing_to_dry(request, column)
    if verdict.verdict == "below-equilibrium":
        return _below_equilibrium(request, column, verdict)
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
        heat_per_water=EnergyBand(**ends(found.heat_per_water)),
        zones=zones,
    )


def assumed_of(request: ColumnRequest, column: Column, *, use: bool) -> list[Assumed]:
    """Everything that was filled in, for the answer.

    Parameters
    ----------
    request : ColumnRequest
        In SI.
    column : Column
        With its assumptions.
    use : bool
        Whether the end use was filled in too.

    Returns
    -------
    list of Assumed
        To be converted.
    """
    items = [*column.assumed, *column.machine.also_assumed]
    if burner_assumed(request):
        items.append(assumed_burner_efficiency())
    entries = [assumed_quantity(item, column.machine.bulk_density) for item in items]
    entries += assumed_choices(request)
    if use:
        entries.append(
            Assumed(
                input="end_use",
                choice=USUAL_USE,
                why="What the grain is for was not given; temperature limits depend on it.",
                source="common practice, no source",
            )
        )
    return entries


def _methods(column: Column, found: Banded) -> list[MethodUse]:
    grain = found.profile.grain_temperature
    met = (float(np.min(grain)), float(np.max(found.profile.hottest)))
    return [*column_methods(column.formulas.model, met), MethodUse(EIA_HEAT)]


def _decision(request: ColumnProfileRequest, found: Banded, checks: tuple[LevelCheck, ...]) -> str:
    moisture = percents(found.outlet_moisture)
    grain = found.dry_matter_rate.scaled(1.0 / (1.0 - found.outlet_moisture.value))
    transit = say(found.transit_time.value, "hours", request.units, decimals=1)
    warm = banded(request, found.outlet_temperature, "temperature")
    if request.rate is None:
        text = (
            f"To leave at {moisture}, discharge about {about_rates(request, grain)} of dry grain. "
            f"It then leaves at {warm}, {transit} after it entered."
        )
    else:
        text = (
            f"At this rate the grain settles at {moisture} and {warm} at the discharge, {transit} "
            "after it entered."
        )
    if any(check.verdict == "above-all" for check in checks):
        text += " A plenum is hotter than every published limit for this grain: see the notes."
    return text[:LONGEST_TEXT]


def _notes(
    request: ColumnProfileRequest, column: Column, found: Banded, checks: tuple[LevelCheck, ...]
) -> list[str]:
    notes = [*limit_notes(checks, request.units)]
    target = request.target_moisture
    if request.rate is not None and target is not None:
        notes.append(_against_target(found.outlet_moisture, target))
    if found.column_temperature is not None:
        reads = banded(request, found.column_temperature, "temperature")
        notes.append(
            f"Your column sensors should read {reads} on average; the same reading belongs to "
            "another moisture when the grain comes in wetter or drier."
        )
    notes += shared_notes(column)
    if any(float(zone.water) < 0.0 for zone in found.profile.zones):
        notes.append("In one zone the grain gains water: cold grain gathers dew, or takes it up.")
    return notes


def shared_notes(column: Column) -> list[str]:
    """What a reader must know about any column of this model.

    Parameters
    ----------
    column : Column
        With its formulas.

    Returns
    -------
    list of str
        Plain sentences.
    """
    notes = []
    if column.formulas.fit is None:
        notes.append(
            "Nothing was fitted to this dryer: how fast its grain dries is the largest doubt. Ten "
            "settled runs given to the dryer fit narrow the bands most."
        )
    else:
        count = column.formulas.fit.runs
        notes.append(f"The drying speed rests on {count} run{'s' * (count > 1)} of this dryer.")
    if column.machine.also_assumed:
        notes.append(
            "The thickness of the grain column was assumed and no band covers it: measure it."
        )
    if float(np.asarray(column.machine.feed.temperature)) < FREEZING:
        notes.append(
            "The grain comes in below freezing. Thawing its ice takes heat that the model leaves "
            "out, so the real dryer leaves grain wetter."
        )
    notes.append(
        "Walls, losses, the flow around single ducts and the shrinking of the bed are left out: "
        "real fuel use is higher."
    )
    return notes


def _against_target(moisture: Estimate, target: float) -> str:
    away = (moisture.value - target) * 100.0
    if abs(away) < NEAR_TARGET * 100.0:
        return f"That is within half a point of the target of {target * 100:.1f} %."
    side, cure = ("wetter", "slow down") if away > 0.0 else ("drier", "speed up")
    return f"That is {abs(away):.1f} points {side} than the target of {target * 100:.1f} %: {cure}."


def _cautions(
    request: ColumnProfileRequest, found: Banded, checks: tuple[LevelCheck, ...]
) -> list[str]:
    codes = ["follow-manual", *burner_cautions(request)]
    if any(check.passed for check in checks):
        codes.insert(1, "temperature-limit")
    target = request.target_moisture
    if target is not None and found.outlet_moisture.value > target + NEAR_TARGET:
        codes.append("under-drying")
    if target is not None and found.outlet_moisture.value < target - NEAR_TARGET:
        codes.append("over-drying")
    return codes


def _bare(
    request: ColumnProfileRequest,
    column: Column,
    verdict: Literal["out-of-reach", "nothing-to-dry", "not-converged"],
    decision: str,
    reach: MoistureBand | None = None,
) -> ColumnProfileAnswer:
    return ColumnProfileAnswer(
        decision=decision,
        units=request.units,
        verdict=verdict,
        reach=reach,
        assumed=assumed_of(request, column, use=False),
        methods=methods_used(*column_methods(column.formulas.model, ())),
        cautions=cautions("follow-manual"),
    )


def _nothing_to_dry(request: ColumnProfileRequest, column: Column) -> ColumnProfileAnswer:
    text = (
        f"There is nothing to dry: the grain comes in at {request.moisture * 100:.1f} %, not above "
        "the target. Run it through without heat, or cool it in the bin."
    )
    return _bare(request, column, "nothing-to-dry", text)


def _below_equilibrium(
    request: ColumnProfileRequest, column: Column, reach: Reach
) -> ColumnProfileAnswer:
    driest, target = reach.driest_moisture_wb, request.target_moisture or 0.0
    text = (
        f"The target of {target * 100:.1f} % is out of reach at any rate: this plenum air dries "
        f"grain no further than {driest * 100:.1f} %."
    )
    if reach.plenum_needed is not None:
        needed = say(reach.plenum_needed, "temperature", request.units, decimals=0)
        text += f" It takes a plenum well above {needed}."
    band = MoistureBand(value=driest, low=driest, high=request.moisture)
    return _bare(request, column, "out-of-reach", text, band)


def _out_of_reach(
    request: ColumnProfileRequest, column: Column, error: OutOfReach
) -> ColumnProfileAnswer:
    low, high = error.allowed
    target = request.target_moisture or 0.0
    text = (
        f"The target of {target * 100:.1f} % is out of reach of the discharge rate: between a "
        f"transit of 10 minutes and one of 24 hours the grain leaves at {low * 100:.1f} to "
        f"{high * 100:.1f} %. "
        + ("Raise the plenums or the airflow." if target < low else "Lower the plenums.")
    )
    nearest = low if target < low else high
    reach = MoistureBand(value=nearest, low=low, high=high)
    return _bare(request, column, "out-of-reach", text, reach)


def _not_converged(request: ColumnProfileRequest, column: Column) -> ColumnProfileAnswer:
    text = (
        "The column model did not settle for this dryer, so there are no figures to trust. Check "
        "rate, airflow and hold-up; the discharge rate from a quick balance may still answer."
    )
    return _bare(request, column, "not-converged", text)
