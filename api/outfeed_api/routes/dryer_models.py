"""What every question about a dryer describes: the machine, its grain, the weather."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from outfeed.dryer.assume import STANDARD_AIRFLOW
from outfeed.dryer.closures import AIRFLOW_FACTOR, RATE_FACTOR
from outfeed.dryer.description import (
    COLUMN_THICKNESS,
    CROSS_SECTION,
    HALF_PITCH,
    SENSOR_POSITION,
    VOLUME,
    Burner,
    Direction,
    DryerKind,
    Role,
    Turning,
)
from outfeed.dryer.doubt_lanes import CORRELATION, DISCREPANCY, RUNS, SPREAD
from outfeed.dryer.metering import RATE, SETTING
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
from outfeed_api.models import LONGEST_NAME, Given, GrainId, Request
from outfeed_api.routes.air_hours import HOURLY, AirRequest, HourlyAir

MOST_ZONES = 12
MOST_SENSORS = 24
FuelId = Literal["propane", "natural-gas", "fuel-oil", "electricity"]
RateBasis = Literal["dry", "wet"]
Temperature = Annotated[float, Measure("temperature", DRY_BULB, example=10.0)]
Ambient = Annotated[float, Measure("temperature", AMBIENT, example=10.0)]
Humidity = Annotated[float, Measure("percent", RELATIVE_HUMIDITY, example=0.70)]
GrainHeat = Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=10.0)]
Moisture = Annotated[float, Measure("moisture", MOISTURE_WB, example=0.22)]
Plenum = Annotated[float, Measure("temperature", PLENUM, example=93.0)]
SensorPlace = Annotated[float, Measure("ratio", SENSOR_POSITION, example=0.5)]
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
        None,
        description="Air through it, as standard air (1.2 kg/m3, 0.075 lb/ft3): high up less than "
        "a fan's own volume; assumed for the kind if left out.",
    )
    exhaust_temperature: Temperature | None = Field(
        None, description="Temperature measured in its exhaust, if you have one."
    )
    sensors: list[SensorPlace] | None = Field(
        None,
        description="Column sensors as shares of the zone's height from its top, 0 to 1.",
        max_length=MOST_SENSORS,
    )
    turning: Turning = Field(
        "none",
        description="Cross-flow: what happens to the grain on entering the zone; `mixed` across "
        "the column, or `inverted`: its inner and outer half change places.",
    )
    air_reversed: bool = Field(
        False, description="Cross-flow: whether the air enters on the side away from the first's."
    )
    direction: Direction | None = Field(
        None,
        description="Counter- and concurrent-flow: how the air of this zone runs against the "
        "grain, where it departs from the dryer's kind.",
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
    cross_section: Annotated[float, Measure("area", CROSS_SECTION, example=6.0)] | None = Field(
        None, description="Horizontal area of the grain bed; follows from 12 m of bed if left out."
    )
    half_pitch: Annotated[float, Measure("thickness", HALF_PITCH, example=0.2)] | None = Field(
        None,
        description="Mixed flow: bed between a row of inlet ducts and the next row of exhaust "
        "ducts.",
    )
    column_thickness: (
        Annotated[float, Measure("thickness", COLUMN_THICKNESS, example=0.3)] | None
    ) = Field(None, description="Thickness of the grain column of a cross-flow dryer.")

    @model_validator(mode="after")
    def _electricity_has_no_flame(self) -> Self:
        said = "burner" in self.model_fields_set
        if said and self.fuel == "electricity" and self.burner == "direct-fired":
            raise PydanticCustomError(
                "no_flame", "electricity has no flame to fire with: set `burner` to `indirect`"
            )
        return self


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


class Fitted(Given):
    """What a fit to this dryer's own runs found; as `POST /v1/dryer-fit` hands it out."""

    grain: GrainId
    kinetics: str = Field(
        description="Method id of the kinetics that the factors scale.",
        max_length=LONGEST_NAME,
        examples=["kinetics.diffusion.henderson-pabis-1961"],
    )
    isotherm: str = Field(
        description="Method id of the isotherm it was made with.",
        max_length=LONGEST_NAME,
        examples=["emc.henderson-modified.d245-4"],
    )
    rate_factor: Annotated[float, Measure("ratio", RATE_FACTOR, example=1.4)] = Field(
        description="Multiplier on the kinetics."
    )
    rate_spread: Annotated[float, Measure("percent", SPREAD, example=0.06)] = Field(
        description="Its relative standard deviation (of its logarithm)."
    )
    airflow_factor: Annotated[float, Measure("ratio", AIRFLOW_FACTOR, example=0.95)] = Field(
        description="Multiplier on the airflow you stated."
    )
    airflow_spread: Annotated[float, Measure("percent", SPREAD, example=0.08)] = Field(
        description="Its relative standard deviation (of its logarithm)."
    )
    correlation: Annotated[float, Measure("ratio", CORRELATION, example=-0.3)] = Field(
        description="Between the errors of the two factors."
    )
    discrepancy: Annotated[float, Measure("points", DISCREPANCY, example=0.002)] = Field(
        description="Standard deviation of the discharge moisture that the model leaves even with "
        "the right factors."
    )
    runs: Annotated[int, Measure("count", RUNS, example=10)] = Field(description="Runs behind it.")
    version: str = Field(
        description="Version of the meaning of these fields.", max_length=20, examples=["1"]
    )


class DryerRequest(AirRequest, Request):
    """A dryer with its grain and the weather."""

    grain: GrainId
    test_weight: Annotated[float, Measure("test-weight", TEST_WEIGHT, example=720.0)] | None = (
        Field(None, description="Test weight of the wet grain; the catalogue's if left out.")
    )
    dryer: DryerGiven = Field(description="The machine, zone by zone.")
    moisture: Moisture = Field(description="Moisture of the grain going in.")
    grain_temperature: GrainHeat | None = Field(
        None,
        description="Temperature of the grain going in; the outside air's if left out, hour by "
        "hour in a series.",
    )
    ambient_temperature: Ambient | None = Field(
        None, description="Temperature of the outside air; give this or `hourly`."
    )
    ambient_relative_humidity: Humidity | None = Field(
        None, description="Relative humidity of the outside air."
    )
    hourly: HourlyAir | None = HOURLY
    pressure: Annotated[float, Measure("air-pressure", PRESSURE, example=98_000.0)] | None = Field(
        None, description="Barometric pressure at the site; give this or `altitude`."
    )
    altitude: Annotated[float, Measure("length", ALTITUDE, example=250.0)] | None = Field(
        None, description="Height above sea level; sea level if neither is given."
    )
    kinetics: str | None = Field(
        None,
        description="Method id of the drying kinetics in the column, see `GET /v1/grains`; the "
        "catalogue's choice if left out.",
        max_length=LONGEST_NAME,
        examples=["kinetics.thompson-1968"],
    )
    fitted: Fitted | None = Field(
        None, description="What `POST /v1/dryer-fit` found for this dryer."
    )


class ColumnRequest(DryerRequest):
    """A dryer whose column is to be followed: at a rate, or at the rate that meets a target."""

    rate: GivenRate | None = Field(
        None, description="Discharge rate, in `rate_basis`; give this, `target_moisture` or both."
    )
    rate_basis: RateBasis = Field(
        "dry", description="What `rate` counts: `dry` grain leaving or `wet` grain going in."
    )
    target_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.155)] | None = (
        Field(
            None,
            description="Moisture wanted at the discharge; without `rate` the rate that meets it "
            "is sought.",
        )
    )
