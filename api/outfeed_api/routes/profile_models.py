"""What is asked and answered about the column profile."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed_api.measures import Measure
from outfeed_api.models import Answer, Part
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
from outfeed_api.routes.dryer_models import MOST_SENSORS, MOST_ZONES, ColumnRequest


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
    heat_per_water: EnergyBand | None = Field(
        None,
        description="Heat over water removed; left out where the grain loses none. Walls and "
        "losses are left out: it reads low.",
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
