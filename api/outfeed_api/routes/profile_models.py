"""What is asked and answered about the column profile."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed_api.measures import Measure
from outfeed_api.models import Answer, Part
from outfeed_api.routes.air_hours import (
    MOST_HOURS,
    HeatSwing,
    HourColumns,
    HourlyAir,
    Minutes,
    MoistureSwing,
    Stamp,
    TemperatureSwing,
)
from outfeed_api.routes.column_models import (
    AirProfile,
    Conservation,
    Degrees,
    Effect,
    EndUse,
    GrainMoisture,
    GrainProfile,
    HeatCheck,
    MoistureBand,
    SensorReading,
    Share,
    TemperatureBand,
    ZoneColumn,
)
from outfeed_api.routes.discharge_models import EnergyBand, HoursBand, RateBand, WaterBand
from outfeed_api.routes.dryer_models import MOST_SENSORS, MOST_ZONES, ColumnRequest


class ColumnProfileRequest(ColumnRequest):
    """A dryer, its grain and weather, and the rate it runs at or the target it is to meet."""

    hourly: HourlyAir | None = Field(
        None,
        description="Outside air hour by hour, in place of one state: the profile is then that of "
        "the wettest hour at the discharge, at your rate or at the one that meets the target in "
        "the mean of the hours, and every hour is told beside it.",
    )
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
    heat_per_water: EnergyBand | None = Field(
        None,
        description="`heat` over water removed, not fuel, of which a burner takes more; left out "
        "where the grain loses none. Walls and losses are left out: it reads low.",
    )
    zones: list[ZoneColumn] = Field(
        description="From the top to the discharge.", max_length=MOST_ZONES
    )


class ShownHour(Part):
    """The hour that the figures and the profile are for."""

    at: Stamp | None = Field(None, description="When, as a date-time.")
    at_elapsed: Minutes | None = Field(None, description="When, in minutes.")
    ambient_temperature: Degrees = Field(description="Outside air then.")
    ambient_relative_humidity: Share = Field(description="Its humidity then.")


class ProfileHours(HourColumns):
    """What leaves in each hour of `hourly`, at the rate held and as if its air lasted."""

    moisture: list[GrainMoisture | None] = Field(
        description="Grain at the discharge.", max_length=MOST_HOURS
    )
    temperature: list[Degrees | None] = Field(
        description="Grain at the discharge.", max_length=MOST_HOURS
    )
    column_temperature: list[Degrees | None] | None = Field(
        None, description="Mean of the column sensors.", max_length=MOST_HOURS
    )
    hottest_kernel: list[Degrees | None] = Field(
        description="Hottest grain in the column.", max_length=MOST_HOURS
    )
    water_removed: list[Annotated[float, Measure("mass-rate", example=0.42)] | None] = Field(
        description="Water from the grain.", max_length=MOST_HOURS
    )
    fuel_heat: list[Annotated[float, Measure("heat-rate", example=2.0e6)] | None] = Field(
        description="Fuel burned, higher heating value.", max_length=MOST_HOURS
    )


class ProfileSwings(Part):
    """How the column swings over the hours, at the rate held."""

    moisture: MoistureSwing = Field(description="Grain at the discharge.")
    temperature: TemperatureSwing = Field(description="Grain at the discharge.")
    column_temperature: TemperatureSwing | None = Field(
        None, description="Mean of the column sensors."
    )
    hottest_kernel: TemperatureSwing = Field(description="Hottest grain in the column.")
    fuel_heat: HeatSwing = Field(description="Fuel burned, higher heating value.")
    hours: Annotated[int, Measure("count", example=48)] = Field(description="How many hours.")
    hours_without: Annotated[int, Measure("count", example=0)] = Field(
        description="How many of them have no settled column."
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
    shown_hour: ShownHour | None = Field(
        None, description="With `hourly`: the wettest hour, which figures and profile are for."
    )
    over_hours: ProfileSwings | None = Field(
        None, description="With `hourly`: how the column swings over the hours."
    )
    by_hour: ProfileHours | None = Field(None, description="The hours of `hourly`.")
