"""What is asked and answered about the discharge rate."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.dryer.assume import STANDARD_AIRFLOW
from outfeed.dryer.description import (
    COLUMN_THICKNESS,
    VOLUME,
    Burner,
    DryerKind,
    Role,
)
from outfeed.dryer.metering import POINTS, RATE, SETTING
from outfeed.dryer.opening import FAN_POWER, HOLD_UP
from outfeed.fuel import EFFICIENCY
from outfeed.limits import (
    ALTITUDE,
    AMBIENT,
    DRY_BULB,
    GRAIN_TEMPERATURE,
    MOISTURE_WB,
    PLENUM,
    PRESSURE,
    RELATIVE_HUMIDITY,
)
from outfeed.settlement import TEST_WEIGHT
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, Answer, Given, GrainId, Part, Request

MOST_ZONES = 12
FuelId = Literal["propane", "natural-gas", "fuel-oil", "electricity"]
RateBasis = Literal["dry", "wet"]
Temperature = Annotated[float, Measure("temperature", DRY_BULB, example=10.0)]
Ambient = Annotated[float, Measure("temperature", AMBIENT, example=10.0)]
Humidity = Annotated[float, Measure("percent", RELATIVE_HUMIDITY, example=0.70)]
GrainHeat = Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=10.0)]
Moisture = Annotated[float, Measure("moisture", MOISTURE_WB, example=0.22)]
Plenum = Annotated[float, Measure("temperature", PLENUM, example=93.0)]
GivenRate = Annotated[float, Measure("grain-rate", RATE, example=5.5)]


class DryerZone(Given):
    """A part of the column with its own plenum. Say how much it holds by `volume` or `hold_up`."""

    name: str | None = Field(
        None, description="What you call it.", min_length=1, max_length=LONGEST_NAME,
        examples=["upper plenum"],
    )  # fmt: skip
    role: Role = Field(description="`heated`, or `cooling` with outside air.")
    volume: Annotated[float, Measure("volume", VOLUME, example=20.0)] | None = Field(
        None, description="Volume of its grain bed."
    )
    hold_up: Annotated[float, Measure("grain", HOLD_UP, example=14_000.0)] | None = Field(
        None, description="Grain it holds, weighed between inlet and target moisture."
    )
    plenum_temperature: Plenum | None = Field(
        None, description="Plenum temperature; for heated zones."
    )
    airflow: Annotated[float, Measure("airflow", STANDARD_AIRFLOW, example=12.0)] | None = Field(
        None, description="Air through it, as standard air; assumed for the kind if left out."
    )
    exhaust_temperature: Temperature | None = Field(
        None, description="Temperature measured in its exhaust, if you have one."
    )


class DryerGiven(Given):
    """The dryer."""

    kind: DryerKind = Field(description="How air meets grain.")
    zones: list[DryerZone] = Field(
        description="From the top of the column to the discharge.",
        min_length=1,
        max_length=MOST_ZONES,
    )
    burner: Burner = Field(
        "direct-fired",
        description="`direct-fired`: the flame's gases join the air; `indirect`: through a wall, "
        "or steam.",
    )
    fuel: FuelId = Field("propane", description="What is burned.")
    burner_efficiency: Annotated[float, Measure("percent", EFFICIENCY, example=0.8)] | None = Field(
        None, description="Of an indirect burner, share of the higher heating value."
    )
    fan_power: Annotated[float, Measure("electric-power", FAN_POWER, example=60_000.0)] | None = (
        Field(None, description="Electric power of fans and drives.")
    )
    column_thickness: (
        Annotated[float, Measure("thickness", COLUMN_THICKNESS, example=0.3)] | None
    ) = Field(None, description="Thickness of the grain column of a cross-flow dryer.")


class KnownRunGiven(Given):
    """One settled run of this dryer. What is left out is as in the request."""

    rate: GivenRate = Field(description="Discharge rate then, in `rate_basis`.")
    moisture: Moisture = Field(description="Moisture going in then.")
    discharge_moisture: Moisture = Field(description="Moisture coming out then.")
    grain_temperature: GrainHeat | None = Field(None, description="Grain going in then.")
    ambient_temperature: Ambient | None = Field(None, description="Outside air then.")
    ambient_relative_humidity: Humidity | None = Field(None, description="Its humidity then.")
    plenum_temperatures: list[Plenum] | None = Field(
        None,
        description="Plenum temperatures of the heated zones then, from the top.",
        max_length=MOST_ZONES,
    )


class MeteringPoint(Given):
    """A metering setting and the rate it gave."""

    setting: Annotated[float, Measure("metering-setting", SETTING, example=42.0)] = Field(
        description="Setting on the drive's own scale."
    )
    rate: GivenRate = Field(description="Rate it gave, in `rate_basis`.")


class DischargeRateRequest(Request):
    """Dryer, weather, grain and target."""

    grain: GrainId
    test_weight: Annotated[float, Measure("test-weight", TEST_WEIGHT, example=720.0)] | None = (
        Field(None, description="Test weight of the wet grain; the catalogue's if left out.")
    )
    dryer: DryerGiven = Field(description="The dryer.")
    moisture: Moisture = Field(description="Moisture of the grain going in.")
    target_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.155)] = Field(
        description="Moisture wanted at the discharge."
    )
    grain_temperature: GrainHeat | None = Field(
        None, description="Temperature of the grain going in; the outside air's if left out."
    )
    ambient_temperature: Ambient = Field(description="Temperature of the outside air.")
    ambient_relative_humidity: Humidity | None = Field(
        None, description="Relative humidity of the outside air."
    )
    pressure: Annotated[float, Measure("air-pressure", PRESSURE, example=98_000.0)] | None = Field(
        None, description="Barometric pressure at the site; give this or `altitude`."
    )
    altitude: Annotated[float, Measure("length", ALTITUDE, example=250.0)] | None = Field(
        None, description="Height above sea level; sea level if neither is given."
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
    airflow: Annotated[float, Measure("air-mass-rate", example=16.0)] = Field(
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


class DischargeRateAnswer(Answer):
    """The opening rate, or why the target cannot be reached."""

    verdict: Literal["within-reach", "nothing-to-dry", "below-equilibrium", "met-without-heat"] = (
        Field(description="Whether the target can be reached.")
    )
    method: Literal["quick-balance"] | None = Field(
        None, description="What the figures rest on; left out when there are none."
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
