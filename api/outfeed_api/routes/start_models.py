"""What is asked and answered about a start."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.dryer.description import Role
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB, SENSIBLE, Range
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, MOST_ENTRIES, Answer, Part
from outfeed_api.routes.air_hours import (
    MOST_HOURS,
    HeatSwing,
    HourColumns,
    Minutes,
    MoistureSwing,
    RateSwing,
    Stamp,
    TemperatureSwing,
)
from outfeed_api.routes.column_models import (
    Degrees,
    EndUse,
    GrainMoisture,
    GrainProfile,
    HumidityBand,
    TemperatureBand,
)
from outfeed_api.routes.discharge_models import (
    EnergyBand,
    HoursBand,
    MeteringFigures,
    RateBand,
)
from outfeed_api.routes.dryer_models import (
    MOST_ZONES,
    DryerRequest,
    FuelId,
    GivenRate,
    MeteringPoint,
    RateBasis,
)

FINAL = Range("temperature of stored grain", -40.0, 60.0, "degC", SENSIBLE)
CoolingWay = Literal["steep-then-cool", "cool-in-storage", "cool-in-dryer"]


class StartPlanRequest(DryerRequest):
    """A dryer about to start. Plenum temperatures may be left out: the plan sets them.

    One that is given is a wish, kept as far as the limits allow.
    """

    target_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.155)] = Field(
        description="Moisture wanted in the end, after any later cooling."
    )
    end_use: EndUse | None = Field(
        None, description="What the grain is for; decides which temperature limits speak."
    )
    limit_source: str | None = Field(
        None,
        description="Key of the source whose limits to follow, as in `source_key` of "
        "`GET /v1/grains/{grain}/temperature-limits`. Damage that anyone saw in grain for "
        "this use caps the plenum even so, and a limit that lets heated air dry only so far gives "
        "way where the plan dries further.",
        max_length=LONGEST_NAME,
        examples=["ndsu-dryer-limits"],
    )
    jurisdiction: str | None = Field(
        None,
        description="Country whose limits to follow, as the catalogue spells it; damage seen "
        "elsewhere caps the plenum even so.",
        max_length=LONGEST_NAME,
        examples=["United States", "Canada"],
    )
    kernel_limit: (
        Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=60.0)] | None
    ) = Field(None, description="Temperature that no kernel may pass, of your own.")
    cooling: CoolingWay | None = Field(
        None, description="How the grain is cooled after the dryer; none counted if left out."
    )
    final_temperature: Annotated[float, Measure("temperature", FINAL, example=10.0)] | None = Field(
        None, description="Grain after that cooling; the outside air's if left out."
    )
    fill_rate: GivenRate | None = Field(
        None, description="Rate at which wet grain can be filled in."
    )
    rate_basis: RateBasis = Field(
        "dry", description="What the metering points count: `dry` grain leaving or `wet` going in."
    )
    metering_points: list[MeteringPoint] | None = Field(
        None,
        description="Settings of the metering drive with the rates they gave.",
        min_length=1,
        max_length=200,
    )


class PlannedLevel(Part):
    """One heated level of the plan."""

    zone: str = Field(description="The zone.", max_length=LONGEST_NAME)
    plenum_temperature: Degrees = Field(description="What to set.")
    moisture: GrainMoisture = Field(description="Grain that enters the level.")
    ceiling: Degrees | None = Field(None, description="What the ruling limit allows here.")
    ruling: str | None = Field(
        None, description="The limit that ruled, with its source.", max_length=LONGEST_TEXT
    )
    others: list[Annotated[str, Field(max_length=LONGEST_TEXT)]] = Field(
        description="What other sources say.", max_length=MOST_ENTRIES
    )
    lowered: bool = Field(description="Whether your own wish was above the limit.")
    exhaust_temperature: TemperatureBand = Field(description="Expected exhaust.")
    exhaust_relative_humidity: HumidityBand = Field(description="Expected exhaust.")


class FirstFill(Part):
    """What the first, still wet, filling of the column does."""

    weight: Annotated[float, Measure("grain", example=60_000.0)] = Field(
        description="Wet grain that fills the column, at its inlet moisture."
    )
    fill_time: Annotated[float, Measure("minutes", example=3600.0)] | None = Field(
        None, description="Time to fill it at your filling rate."
    )
    wet: Annotated[float, Measure("grain", example=50_000.0)] | None = Field(
        None,
        description="What leaves wet if the discharge starts with the burners; left out where the "
        "model cannot tell.",
    )
    wet_by: Annotated[float, Measure("points", example=0.04)] | None = Field(
        None, description="How far above the target it is on average; left out with `wet`."
    )
    hold: Annotated[float, Measure("minutes", example=3900.0)] | None = Field(
        None, description="Hold that brings its mean to the target, where one does."
    )
    held_kernel: Degrees | None = Field(None, description="Hottest kernel in that hold.")
    advice: Literal["no-hold-needed", "hold-if-the-manual-allows", "divert"] = Field(
        description="`divert`: send the wet grain back, or keep it apart."
    )


class Expiry(Part):
    """What would make the plan stop being valid."""

    change: str = Field(description="The change.", max_length=LONGEST_TEXT)
    effect: str = Field(description="What it would do.", max_length=LONGEST_TEXT)
    at: Stamp | None = Field(
        None, description="With `hourly`: when it first happens, as a date-time."
    )
    at_elapsed: Minutes | None = Field(
        None, description="With `hourly`: when it first happens, in minutes."
    )


class PlanFuel(Part):
    """What the burners take at the planned rate, higher heating value."""

    fuel: FuelId = Field(description="What is burned.")
    heat: Annotated[float, Measure("heat-rate", example=2e6)] = Field(description="Heat an hour.")
    liquid: Annotated[float, Measure("liquid-rate", example=8e-5)] | None = Field(
        None, description="Liquid fuel an hour."
    )
    gas: Annotated[float, Measure("gas-rate", example=0.05)] | None = Field(
        None, description="Gas an hour."
    )
    heat_per_water: EnergyBand = Field(
        description="Fuel heat over water removed. Walls and losses are left out: it reads low."
    )


class PlanFigures(Part):
    """The plan in figures."""

    levels: list[PlannedLevel] = Field(
        description="Heated levels from the top.", max_length=MOST_ZONES
    )
    discharge_rate: RateBand = Field(description="Opening rate, dry grain leaving.")
    intake_rate: RateBand = Field(description="The same as wet grain going in.")
    metering: MeteringFigures | None = Field(None, description="The setting to dial.")
    aim: GrainMoisture = Field(description="Moisture to aim for at the discharge.")
    cooling_credit: Annotated[float, Measure("points", example=0.005)] | None = Field(
        None, description="What the later cooling takes off."
    )
    passes: list[GrainMoisture] | None = Field(
        None,
        description="Moisture to reach in each pass, where the limit that ruled allows only so "
        "many points a pass; the plan is for the first.",
        max_length=MOST_ENTRIES,
    )
    transit_time: HoursBand = Field(description="From top to discharge.")
    settling_wait: HoursBand = Field(description="How long to wait before judging a change.")
    column_temperature: TemperatureBand = Field(
        description="What the column sensors should read once settled."
    )
    discharge_temperature: TemperatureBand = Field(description="Grain at the discharge.")
    hottest_kernel: TemperatureBand = Field(description="Hottest grain in the column.")
    fuel: PlanFuel = Field(description="What the burners take.")
    first_fill: FirstFill = Field(description="What the first filling does.")


class PlannedZone(Part):
    """Where a zone lies in the column."""

    zone: str = Field(description="The zone.", max_length=LONGEST_NAME)
    role: Role = Field(description="`heated` or `cooling`.")
    top: Annotated[float, Measure("length", example=0.0)] = Field(
        description="Where it begins, below the top of the bed."
    )
    bottom: Annotated[float, Measure("length", example=3.2)] = Field(description="Where it ends.")
    air_temperature: Degrees = Field(description="Air entering the grain.")


class PlannedColumn(Part):
    """What to expect down the column once settled, at best values."""

    zones: list[PlannedZone] = Field(
        description="From the top to the discharge.", max_length=MOST_ZONES
    )
    grain: GrainProfile = Field(description="Grain down the column.")


class PlanHours(HourColumns):
    """The plan in each hour of `hourly`, plenums as planned and as if its air lasted."""

    discharge_rate: list[Annotated[float, Measure("grain-rate", example=5.4)] | None] = Field(
        description="Dry grain leaving that would keep the aim.", max_length=MOST_HOURS
    )
    moisture: list[GrainMoisture | None] = Field(
        description="Grain at the discharge at the planned rate, held.", max_length=MOST_HOURS
    )
    column_temperature: list[Degrees | None] = Field(
        description="Mean of the column sensors at the planned rate, held.", max_length=MOST_HOURS
    )
    hottest_kernel: list[Degrees | None] = Field(
        description="Hottest grain at the planned rate, held.", max_length=MOST_HOURS
    )
    fuel_heat: list[Annotated[float, Measure("heat-rate", example=2.0e6)] | None] = Field(
        description="Fuel burned, higher heating value.", max_length=MOST_HOURS
    )
    within_plan: list[bool] = Field(
        description="Whether the air stays near enough to the plan's.", max_length=MOST_HOURS
    )


class PlanSwings(Part):
    """How the plan swings over the hours."""

    discharge_rate: RateSwing | None = Field(None, description="Rate that would keep the aim.")
    moisture: MoistureSwing = Field(description="At the discharge, planned rate held.")
    column_temperature: TemperatureSwing = Field(
        description="Mean of the column sensors, planned rate held."
    )
    hottest_kernel: TemperatureSwing = Field(description="Hottest grain, planned rate held.")
    fuel_heat: HeatSwing = Field(description="Fuel burned, higher heating value.")
    hours: Annotated[int, Measure("count", example=48)] = Field(description="How many hours.")
    hours_beyond: Annotated[int, Measure("count", example=9)] = Field(
        description="How many have air too far from the plan's: ask again for them."
    )


class StartPlanAnswer(Answer):
    """The start plan, or why there is none."""

    verdict: Literal["planned", "out-of-reach", "nothing-to-dry", "not-converged"] = Field(
        description="Whether the plan stands; without `planned` there is none."
    )
    figures: PlanFigures | None = Field(None, description="The plan in figures.")
    steps: list[Annotated[str, Field(max_length=LONGEST_TEXT)]] = Field(
        default_factory=list, description="Check list, in order.", max_length=30
    )
    valid_until: list[Expiry] = Field(
        default_factory=list,
        description="What would make the plan stop being valid.",
        max_length=20,
    )
    column: PlannedColumn | None = Field(None, description="What to expect down the column.")
    over_hours: PlanSwings | None = Field(
        None, description="With `hourly`: how the plan swings over the hours."
    )
    by_hour: PlanHours | None = Field(None, description="The hours of `hourly`.")
