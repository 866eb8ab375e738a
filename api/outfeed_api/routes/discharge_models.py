"""What is asked and answered about the discharge rate."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.dryer.description import Role
from outfeed.dryer.metering import POINTS
from outfeed.limits import MOISTURE_WB
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, Answer, Part
from outfeed_api.routes.air_hours import (
    MOST_HOURS,
    HeatSwing,
    HourColumns,
    MoistureSwing,
    RateSwing,
)
from outfeed_api.routes.dryer_models import (
    MOST_ZONES,
    DryerRequest,
    FuelId,
    KnownRunGiven,
    MeteringPoint,
    RateBasis,
)
from outfeed_api.routes.dryer_models import (
    DryerGiven as DryerGiven,
)


class DischargeRateRequest(DryerRequest):
    """Dryer, weather, grain and target."""

    target_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.155)] = Field(
        description="Moisture wanted at the discharge."
    )
    rate_basis: RateBasis = Field(
        "dry",
        description="What rates given in the request count: `dry` grain leaving or `wet` going in.",
    )
    known_run: KnownRunGiven | None = Field(
        None, description="A settled run of this dryer to start from."
    )
    metering_points: list[MeteringPoint] | None = Field(
        None,
        description="Settings of the metering drive with the rates they gave.",
        min_length=1,
        max_length=int(POINTS.high),
    )


class RateBand(Part):
    """A rate with its 90 % band."""

    value: Annotated[float, Measure("grain-rate", example=5.5)] = Field(description="Best value.")
    low: Annotated[float, Measure("grain-rate", example=4.6)] = Field(description="Low end.")
    high: Annotated[float, Measure("grain-rate", example=6.6)] = Field(description="High end.")


class HoursBand(Part):
    """A time with its 90 % band."""

    value: Annotated[float, Measure("hours", example=6_800.0)] = Field(description="Best value.")
    low: Annotated[float, Measure("hours", example=5_600.0)] = Field(description="Low end.")
    high: Annotated[float, Measure("hours", example=8_200.0)] = Field(description="High end.")


class WaterBand(Part):
    """Water an hour with its 90 % band."""

    value: Annotated[float, Measure("mass-rate", example=0.42)] = Field(description="Best value.")
    low: Annotated[float, Measure("mass-rate", example=0.35)] = Field(description="Low end.")
    high: Annotated[float, Measure("mass-rate", example=0.50)] = Field(description="High end.")


class HeatBand(Part):
    """Heat an hour with its 90 % band."""

    value: Annotated[float, Measure("heat-rate", example=2.0e6)] = Field(description="Best value.")
    low: Annotated[float, Measure("heat-rate", example=1.8e6)] = Field(description="Low end.")
    high: Annotated[float, Measure("heat-rate", example=2.2e6)] = Field(description="High end.")


class EnergyBand(Part):
    """Fuel energy per water removed with its 90 % band."""

    value: Annotated[float, Measure("specific-energy", example=4.7e6)] = Field(
        description="Best value."
    )
    low: Annotated[float, Measure("specific-energy", example=4.0e6)] = Field(description="Low end.")
    high: Annotated[float, Measure("specific-energy", example=5.6e6)] = Field(
        description="High end."
    )


class PowerBand(Part):
    """Electric power with its 90 % band."""

    value: Annotated[float, Measure("electric-power", example=52_000.0)] = Field(
        description="Best value."
    )
    low: Annotated[float, Measure("electric-power", example=35_000.0)] = Field(
        description="Low end."
    )
    high: Annotated[float, Measure("electric-power", example=80_000.0)] = Field(
        description="High end."
    )


class FuelUse(Part):
    """What the burner takes, higher heating value."""

    fuel: FuelId = Field(description="What is burned.")
    heat: HeatBand = Field(description="Heat an hour.")
    heat_per_grain: Annotated[float, Measure("energy-per-grain", example=3.6e5)] = Field(
        description="Heat for each unit of dry grain."
    )
    liquid: Annotated[float, Measure("liquid-rate", example=8.0e-5)] | None = Field(
        None, description="Liquid fuel an hour."
    )
    liquid_per_grain: Annotated[float, Measure("liquid-per-grain", example=1.4e-5)] | None = Field(
        None, description="Liquid fuel for each unit of dry grain."
    )
    gas: Annotated[float, Measure("gas-rate", example=0.05)] | None = Field(
        None, description="Gas an hour."
    )
    gas_per_grain: Annotated[float, Measure("gas-per-grain", example=0.009)] | None = Field(
        None, description="Gas for each unit of dry grain."
    )


class ZoneFigures(Part):
    """One zone at this rate."""

    name: str = Field(description="The zone.", max_length=LONGEST_NAME)
    role: Role = Field(description="`heated` or `cooling`.")
    air_temperature: Annotated[float, Measure("temperature", example=93.0)] = Field(
        description="Air entering the grain."
    )
    air_humidity_ratio: Annotated[float, Measure("humidity-ratio", example=0.008)] = Field(
        description="Its humidity ratio, combustion water included."
    )
    exhaust_temperature: Annotated[float, Measure("temperature", example=36.0)] = Field(
        description="Air leaving."
    )
    exhaust_relative_humidity: Annotated[float, Measure("percent", example=0.6)] = Field(
        description="Its relative humidity."
    )
    exhaust_humidity_ratio: Annotated[float, Measure("humidity-ratio", example=0.027)] = Field(
        description="Its humidity ratio."
    )
    moisture: Annotated[float, Measure("moisture", example=0.185)] = Field(
        description="Grain leaving the zone."
    )
    grain_temperature: Annotated[float, Measure("temperature", example=36.0)] = Field(
        description="Grain leaving the zone."
    )
    water_removed: Annotated[float, Measure("mass-rate", example=0.15)] = Field(
        description="Water from the grain; below zero where cold grain gathers dew."
    )
    air_mass_rate: Annotated[float, Measure("air-mass-rate", example=16.0)] = Field(
        description="Dry air through the zone."
    )
    fuel_heat: Annotated[float, Measure("heat-rate", example=1.4e6)] = Field(
        description="Fuel burned for it."
    )


class MeteringFigures(Part):
    """The setting to dial."""

    setting: Annotated[float, Measure("metering-setting", example=42.0)] = Field(
        description="On the drive's own scale."
    )
    low: Annotated[float, Measure("metering-setting", example=34.0)] = Field(description="Low end.")
    high: Annotated[float, Measure("metering-setting", example=52.0)] = Field(
        description="High end."
    )
    basis: Literal["between-points", "proportional", "near-extrapolation", "far-extrapolation"] = (
        Field(description="Where it lies against your points.")
    )
    scatter: Annotated[float, Measure("percent", example=0.05)] = Field(
        description="Spread of your points about their curve, standard deviation."
    )


class DischargeFigures(Part):
    """The rate and what goes with it."""

    discharge_rate: RateBand = Field(description="Dry grain leaving.")
    intake_rate: RateBand = Field(description="Wet grain going in.")
    transit_time: HoursBand = Field(description="From the top of the column to the discharge.")
    hold_up: Annotated[float, Measure("grain", example=45_000.0)] = Field(
        description="Grain in the column, counted at the target moisture."
    )
    water_removed: WaterBand = Field(description="Water from the grain.")
    specific_energy: EnergyBand = Field(description="Fuel per water removed.")
    fuel: FuelUse = Field(description="What the burner takes.")
    electricity: PowerBand = Field(description="What fans and drives take.")
    electricity_per_grain: Annotated[float, Measure("electricity-per-grain", example=9_000.0)] = (
        Field(description="The same for each unit of dry grain.")
    )
    zones: list[ZoneFigures] = Field(
        description="From the top to the discharge.", max_length=MOST_ZONES
    )
    anchor_factor: Annotated[float, Measure("ratio", example=0.93)] | None = Field(
        None, description="Your known run over what the balance gives for it."
    )


class DischargeHours(HourColumns):
    """Each hour of `hourly`, as if its air lasted."""

    discharge_rate: list[Annotated[float, Measure("grain-rate", example=5.4)] | None] = Field(
        description="Dry grain leaving that would keep the target; null where none would.",
        max_length=MOST_HOURS,
    )
    moisture: list[Annotated[float, Measure("moisture", example=0.157)] | None] = Field(
        description="Moisture at the discharge at the rate of the mean, held.",
        max_length=MOST_HOURS,
    )
    specific_energy: list[Annotated[float, Measure("specific-energy", example=4.9e6)] | None] = (
        Field(description="Fuel per water removed at the hour's own rate.", max_length=MOST_HOURS)
    )
    fuel_heat: list[Annotated[float, Measure("heat-rate", example=2.1e6)] | None] = Field(
        description="Fuel burned, higher heating value.", max_length=MOST_HOURS
    )
    liquid: list[Annotated[float, Measure("liquid-rate", example=8.2e-5)] | None] | None = Field(
        None, description="Liquid fuel an hour.", max_length=MOST_HOURS
    )
    gas: list[Annotated[float, Measure("gas-rate", example=0.05)] | None] | None = Field(
        None, description="Gas an hour.", max_length=MOST_HOURS
    )


class DischargeSwings(Part):
    """What the hours make of rate, moisture and fuel."""

    discharge_rate: RateSwing = Field(description="Rate that would keep the target.")
    rate_spread: Annotated[float, Measure("percent", example=0.06)] = Field(
        description="Highest less lowest of them, over the rate of the mean."
    )
    moisture: MoistureSwing | None = Field(
        None, description="Moisture at the discharge while the rate of the mean is held."
    )
    fuel_heat: HeatSwing = Field(description="Fuel burned, higher heating value.")
    hours: Annotated[int, Measure("count", example=48)] = Field(description="How many hours.")
    hours_without: Annotated[int, Measure("count", example=0)] = Field(
        description="How many of them have no rate that keeps the target."
    )
    hours_wet: Annotated[int, Measure("count", example=5)] = Field(
        description="How many leave grain more than half a point above the target, rate held."
    )


class DischargeRateAnswer(Answer):
    """The opening rate, or why the target cannot be reached."""

    verdict: Literal["within-reach", "nothing-to-dry", "below-equilibrium", "met-without-heat"] = (
        Field(description="Whether the target can be reached.")
    )
    method: Literal["column-model", "quick-balance"] | None = Field(
        None,
        description="What the figures rest on; left out when there are none. The column model when "
        "every airflow is given or the dryer was fitted, and no known run is to be met; else the "
        "quick balance.",
    )
    quick_balance: RateBand | None = Field(
        None, description="Dry grain leaving by the quick balance, beside the column model's."
    )
    figures: DischargeFigures | None = Field(
        None, description="The rate and what goes with it; left out when it is out of reach."
    )
    metering: MeteringFigures | None = Field(None, description="The setting to dial.")
    driest_moisture: Annotated[float, Measure("moisture", example=0.04)] = Field(
        description="Driest the plenum air could ever get the grain, at a standstill."
    )
    plenum_needed: Annotated[float, Measure("temperature", example=45.0)] | None = Field(
        None, description="Lowest plenum temperature whose air could dry to the target."
    )
    over_hours: DischargeSwings | None = Field(
        None, description="What the hours of `hourly` make of rate, moisture and fuel."
    )
    by_hour: DischargeHours | None = Field(
        None, description="The hours of `hourly`, each as if its air lasted."
    )
