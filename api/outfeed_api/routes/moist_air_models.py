"""What the moist-air route reads and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed import moist_air
from outfeed.limits import ALTITUDE, DRY_BULB, PRESSURE, RELATIVE_HUMIDITY, Range
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, Given, Part, Request
from outfeed_api.rows import RefusedRow

MOST_READINGS = 100_000
READING = Range("reading", -1e6, 1e6, "", "any number; each row is judged by itself")


DryBulb = Annotated[float, Measure("temperature", DRY_BULB, example=20.0)]
WetBulb = Annotated[float, Measure("temperature", moist_air.WET_BULB, example=15.0)]
DewPoint = Annotated[float, Measure("temperature", moist_air.DEW_POINT, example=10.0)]
Humidity = Annotated[float, Measure("percent", RELATIVE_HUMIDITY, example=0.7)]
Ratio = Annotated[float, Measure("humidity-ratio", moist_air.HUMIDITY_RATIO, example=0.008)]
TemperatureReading = Annotated[float, Measure("temperature", READING, example=20.0)]
PercentReading = Annotated[float, Measure("percent", READING, example=0.7)]
RatioReading = Annotated[float, Measure("humidity-ratio", READING, example=0.008)]


class TwoReadings(Given):
    """Exactly two of the five fix the air, except dew point with humidity ratio."""

    dry_bulb: DryBulb | None = Field(None, description="Dry-bulb temperature.")
    wet_bulb: WetBulb | None = Field(
        None, description="Thermodynamic wet-bulb temperature; an ice bulb below freezing."
    )
    dew_point: DewPoint | None = Field(
        None, description="Dew point; the frost point below freezing."
    )
    relative_humidity: Humidity | None = Field(
        None, description="Relative humidity; over ice below freezing."
    )
    humidity_ratio: Ratio | None = Field(None, description="Water vapour per dry air.")


class SecondStream(TwoReadings):
    """Another stream of air that joins the first."""

    share: Annotated[float, Measure("percent", moist_air.MIX_SHARE, example=0.3)] = Field(
        description="Its share of the dry air of the mixture."
    )


class Fan(Given):
    """A fan that the air passes."""

    pressure_rise: Annotated[
        float, Measure("static-pressure", moist_air.FAN_PRESSURE, example=1000.0)
    ] = Field(description="Total pressure that the fan adds.")
    efficiency: Annotated[float, Measure("percent", moist_air.FAN_EFFICIENCY, example=0.55)] = (
        Field(description="Air power over shaft power, or over motor power if it sits in the air.")
    )


class Heating(Given):
    """A burner that brings the air to a temperature."""

    to: Annotated[float, Measure("temperature", DRY_BULB, example=95.0)] = Field(
        description="Temperature to reach."
    )
    burner: Literal["indirect", "direct-fired"] = Field(
        description="`direct-fired`: the combustion gas joins the air; `indirect`: it does not."
    )
    fuel: Literal["propane", "natural-gas"] = Field(description="What is burned.")
    efficiency: Annotated[float, Measure("percent", moist_air.BURNER_EFFICIENCY, example=0.8)] | (
        None
    ) = Field(None, description="Share of the fuel's higher heating value that reaches the air.")


class Cooling(Given):
    """Cooling to a temperature, as on cold grain or steel."""

    to: Annotated[float, Measure("temperature", DRY_BULB, example=5.0)] = Field(
        description="Temperature to reach; below the dew point water comes out."
    )


class Columns(Given):
    """Readings of many moments, two columns of one length; null where a reading is missing."""

    dry_bulb: list[TemperatureReading | None] | None = Field(
        None, description="Dry-bulb temperatures.", max_length=MOST_READINGS
    )
    wet_bulb: list[TemperatureReading | None] | None = Field(
        None, description="Wet-bulb temperatures.", max_length=MOST_READINGS
    )
    dew_point: list[TemperatureReading | None] | None = Field(
        None, description="Dew points.", max_length=MOST_READINGS
    )
    relative_humidity: list[PercentReading | None] | None = Field(
        None, description="Relative humidities.", max_length=MOST_READINGS
    )
    humidity_ratio: list[RatioReading | None] | None = Field(
        None, description="Humidity ratios.", max_length=MOST_READINGS
    )


class MoistAirRequest(TwoReadings, Request):
    """Two readings of one air, or `columns` of two readings for many moments."""

    pressure: Annotated[float, Measure("air-pressure", PRESSURE, example=98_000.0)] | None = Field(
        None, description="Barometric pressure at the place, not reduced to sea level."
    )
    altitude: Annotated[float, Measure("length", ALTITUDE, example=250.0)] | None = Field(
        None, description="Height above sea level, when the pressure is not known."
    )
    fan: Fan | None = Field(None, description="First, the air passes a fan.")
    mix_with: SecondStream | None = Field(None, description="Then another stream joins it.")
    heating: Heating | None = Field(None, description="Then a burner heats it.")
    cooling: Cooling | None = Field(None, description="Last, it is cooled.")
    columns: Columns | None = Field(
        None, description="Many readings instead of one; without fan, mixing, heating and cooling."
    )


class Air(Part):
    """The state of the air."""

    dry_bulb: Annotated[float, Measure("temperature")] = Field(description="Dry bulb.")
    wet_bulb: Annotated[float, Measure("temperature")] = Field(
        description="Wet bulb; an ice bulb below freezing."
    )
    dew_point: Annotated[float, Measure("temperature")] = Field(
        description="Dew point; the frost point below freezing."
    )
    relative_humidity: Annotated[float, Measure("percent")] = Field(
        description="Relative humidity; over ice below freezing."
    )
    humidity_ratio: Annotated[float, Measure("humidity-ratio")] = Field(
        description="Water vapour per dry air."
    )
    degree_of_saturation: Annotated[float, Measure("percent")] = Field(
        description="Humidity ratio over that of saturated air; 0 above the boiling point."
    )
    vapour_pressure: Annotated[float, Measure("air-pressure")] = Field(
        description="Partial pressure of the water vapour."
    )
    saturation_pressure: Annotated[float, Measure("air-pressure")] = Field(
        description="Vapour pressure at saturation at the dry bulb."
    )
    enthalpy: Annotated[float, Measure("enthalpy")] = Field(
        description="Enthalpy above dry air and liquid water at 0 degC (32 degF)."
    )
    specific_volume: Annotated[float, Measure("specific-volume")] = Field(
        description="Volume of the moist air per dry air."
    )
    density: Annotated[float, Measure("density")] = Field(description="Of the moist air.")
    pressure: Annotated[float, Measure("air-pressure")] = Field(description="Barometric pressure.")


class Passed(Part):
    """Air behind the fan."""

    air: Air = Field(description="The air behind it.")
    temperature_rise: Annotated[float, Measure("temperature-difference")] = Field(
        description="How much the fan warms the air."
    )


class Mixed(Part):
    """The mixture of two streams."""

    air: Air = Field(description="The mixture, at most saturated.")
    fog: Annotated[float, Measure("humidity-ratio")] = Field(
        description="Water that condenses in the mixture, per dry air."
    )
    ice: Annotated[float, Measure("humidity-ratio")] = Field(
        description="The part of the fog that is ice."
    )


class Heated(Part):
    """Air behind the burner."""

    air: Air = Field(description="The heated air.")
    fuel: Annotated[float, Measure("humidity-ratio")] = Field(
        description="Fuel burned, weight per weight of dry air."
    )
    fuel_heat: Annotated[float, Measure("enthalpy")] = Field(
        description="Higher heating value of that fuel."
    )
    combustion_water: Annotated[float, Measure("humidity-ratio")] = Field(
        description="Water that the burner adds to the air; 0 for an indirect burner."
    )


class Cooled(Part):
    """Air after cooling."""

    air: Air = Field(description="The cooled air, at most saturated.")
    condensed: Annotated[float, Measure("humidity-ratio")] = Field(
        description="Water that comes out, per dry air; frost below freezing."
    )
    heat_removed: Annotated[float, Measure("enthalpy")] = Field(description="Heat taken out.")


class AirColumns(Part):
    """States of many moments; null where a row was refused."""

    dry_bulb: list[Annotated[float, Measure("temperature")] | None] = Field(
        description="Dry bulbs.", max_length=MOST_READINGS
    )
    wet_bulb: list[Annotated[float, Measure("temperature")] | None] = Field(
        description="Wet bulbs.", max_length=MOST_READINGS
    )
    dew_point: list[Annotated[float, Measure("temperature")] | None] = Field(
        description="Dew points.", max_length=MOST_READINGS
    )
    relative_humidity: list[Annotated[float, Measure("percent")] | None] = Field(
        description="Relative humidities.", max_length=MOST_READINGS
    )
    humidity_ratio: list[Annotated[float, Measure("humidity-ratio")] | None] = Field(
        description="Humidity ratios.", max_length=MOST_READINGS
    )
    vapour_pressure: list[Annotated[float, Measure("air-pressure")] | None] = Field(
        description="Vapour pressures.", max_length=MOST_READINGS
    )
    enthalpy: list[Annotated[float, Measure("enthalpy")] | None] = Field(
        description="Enthalpies above 0 degC.", max_length=MOST_READINGS
    )
    specific_volume: list[Annotated[float, Measure("specific-volume")] | None] = Field(
        description="Volumes per dry air.", max_length=MOST_READINGS
    )


class MoistAirAnswer(Answer):
    """The air, what became of it, and what condensed."""

    air: Air | None = Field(None, description="The air of the two readings.")
    fan: Passed | None = Field(None, description="Behind the fan.")
    mixture: Mixed | None = Field(None, description="After mixing.")
    heated: Heated | None = Field(None, description="Behind the burner.")
    cooled: Cooled | None = Field(None, description="After cooling.")
    boiling_point: Annotated[float, Measure("temperature")] = Field(
        description="Boiling point of water at this pressure."
    )
    rows_answered: Annotated[int, Measure("count")] | None = Field(
        None, description="Rows of `columns` that were answered."
    )
    columns: AirColumns | None = Field(None, description="States of the rows, in their order.")
    refused: list[RefusedRow] | None = Field(
        None, description="Rows that could not be answered.", max_length=MOST_READINGS
    )
