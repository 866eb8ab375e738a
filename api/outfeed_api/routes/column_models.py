"""Parts of answers about a column: bands, zones, profiles, limits, sensitivities."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.dryer.description import Role
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, MOST_ENTRIES, Part

MOST_ROWS = 240
"""Rows of a profile or trace; longer ones are thinned evenly."""
EndUse = Literal[
    "seed", "malting", "food", "milling", "wet-milling", "commercial", "non-food", "feed"
]
Degrees = Annotated[float, Measure("temperature", example=40.0)]
Share = Annotated[float, Measure("percent", example=0.6)]
GrainMoisture = Annotated[float, Measure("moisture", example=0.17)]
Humidity = Annotated[float, Measure("humidity-ratio", example=0.02)]


class MoistureBand(Part):
    """A moisture with its 90 % band."""

    value: GrainMoisture = Field(description="Best value.")
    low: GrainMoisture = Field(description="Low end.")
    high: GrainMoisture = Field(description="High end.")


class TemperatureBand(Part):
    """A temperature with its 90 % band."""

    value: Degrees = Field(description="Best value.")
    low: Degrees = Field(description="Low end.")
    high: Degrees = Field(description="High end.")


class HumidityBand(Part):
    """A relative humidity with its 90 % band."""

    value: Share = Field(description="Best value.")
    low: Share = Field(description="Low end.")
    high: Share = Field(description="High end.")


class ZoneColumn(Part):
    """One zone of the settled column."""

    name: str = Field(description="The zone.", max_length=LONGEST_NAME)
    role: Role = Field(description="`heated` or `cooling`.")
    air_temperature: Degrees = Field(description="Air entering the grain.")
    air_mass_rate: Annotated[float, Measure("air-mass-rate", example=16.0)] = Field(
        description="Dry air through it."
    )
    moisture: GrainMoisture = Field(description="Grain leaving it.")
    grain_temperature: Degrees = Field(description="Grain leaving it.")
    hottest_kernel: Degrees = Field(description="Hottest grain inside it.")
    exhaust_temperature: TemperatureBand = Field(description="Its mixed exhaust.")
    exhaust_relative_humidity: HumidityBand = Field(description="Its mixed exhaust.")
    exhaust_humidity_ratio: Humidity = Field(description="Its mixed exhaust.")
    water_removed: Annotated[float, Measure("mass-rate", example=0.03)] = Field(
        description="Water from its grain; below zero where cold grain gathers dew."
    )
    heat: Annotated[float, Measure("heat-rate", example=7e5)] = Field(
        description="Heat that the outside air takes up to its plenum."
    )
    fuel_heat: Annotated[float, Measure("heat-rate", example=7.5e5)] = Field(
        description="Fuel burned for it, higher heating value."
    )
    water_share: Share = Field(description="Its part of the water.")
    heat_share: Share = Field(description="Its part of the heat.")


class SensorReading(Part):
    """What a column sensor should read."""

    zone: str = Field(description="Its zone.", max_length=LONGEST_NAME)
    position: Annotated[float, Measure("ratio", example=0.5)] = Field(
        description="Share of the zone's height from its top."
    )
    temperature: Degrees = Field(description="Grain there.")


class GrainProfile(Part):
    """Grain down the column, from the top to the discharge."""

    depth: list[Annotated[float, Measure("length", example=3.2)]] = Field(
        description="Below the top of the bed.", max_length=MOST_ROWS + 1
    )
    moisture: list[GrainMoisture] = Field(
        description="Moisture there, the mean across a cross-flow column.", max_length=MOST_ROWS + 1
    )
    temperature: list[Degrees] = Field(
        description="Grain temperature there.", max_length=MOST_ROWS + 1
    )


class AirProfile(Part):
    """Air before and after each layer of the bed, from the top."""

    zone: list[Annotated[str, Field(max_length=LONGEST_NAME)]] = Field(
        description="Zone of the layer.", max_length=MOST_ROWS
    )
    depth: list[Annotated[float, Measure("length", example=3.1)]] = Field(
        description="Middle of the layer below the top of the bed.", max_length=MOST_ROWS
    )
    temperature_in: list[Degrees] = Field(
        description="Air entering the layer.", max_length=MOST_ROWS
    )
    temperature_out: list[Degrees] = Field(
        description="Air leaving the layer.", max_length=MOST_ROWS
    )
    humidity_ratio_in: list[Humidity] = Field(
        description="Air entering the layer.", max_length=MOST_ROWS
    )
    humidity_ratio_out: list[Humidity] = Field(
        description="Air leaving the layer.", max_length=MOST_ROWS
    )
    relative_humidity_out: list[Share] = Field(
        description="Air leaving the layer.", max_length=MOST_ROWS
    )
    hottest_kernel: list[Degrees] = Field(
        description="Hottest grain inside the layer.", max_length=MOST_ROWS
    )


class Conservation(Part):
    """How well the column closes."""

    water_residual: Annotated[float, Measure("ratio", example=1e-12)] = Field(
        description="Water missing, over the water exchanged."
    )
    heat_residual: Annotated[float, Measure("ratio", example=1e-12)] = Field(
        description="Enthalpy missing, over the heat exchanged."
    )
    solver_error: Annotated[float, Measure("temperature-difference", example=1e-4)] = Field(
        description="Estimated error of the grain temperature."
    )


class Effect(Part):
    """What one change does once the column has settled again."""

    change: str = Field(description="The change, in words.", max_length=LONGEST_TEXT)
    handle: str = Field(
        description="`rate`, `plenums`, `plenum:<zone>`, `inlet-moisture`, `inlet-temperature`, "
        "`ambient-temperature` or `rate-factor`.",
        max_length=2 * LONGEST_NAME,
    )
    outlet_moisture: Annotated[float, Measure("points", example=0.0033)] = Field(
        description="Change of the moisture at the discharge."
    )
    outlet_temperature: Annotated[float, Measure("temperature-difference", example=0.1)] = Field(
        description="Change of the grain temperature at the discharge."
    )
    hottest_kernel: Annotated[float, Measure("temperature-difference", example=-0.5)] = Field(
        description="Change of the hottest kernel."
    )
    column_temperature: Annotated[float, Measure("temperature-difference", example=-0.3)] | None = (
        Field(None, description="Change of the column temperature; left out without sensors.")
    )


class HeatCheck(Part):
    """One level against the published temperature limits."""

    zone: str = Field(description="The zone.", max_length=LONGEST_NAME)
    of: Literal["drying air", "grain"] = Field(description="What is limited.")
    temperature: Degrees = Field(description="The plenum, or the hottest kernel of the zone.")
    moisture: GrainMoisture = Field(description="Grain that enters the zone.")
    verdict: Literal["inside", "above-some", "above-all", "none-published"] = Field(
        description="How it stands against the sources that speak for it."
    )
    strictest: Degrees | None = Field(None, description="Lowest limit.")
    most_permissive: Degrees | None = Field(None, description="Highest limit.")
    passed: list[Annotated[str, Field(max_length=LONGEST_TEXT)]] = Field(
        description="The limits that are exceeded, each with its source.", max_length=MOST_ENTRIES
    )
