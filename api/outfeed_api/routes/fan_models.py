"""What the fan route reads and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.airflow import DEPTH, FINES, PACKING
from outfeed.cost import ELECTRICITY_PRICE
from outfeed.fan import AREA, EFFICIENCY, FANS, FLOW, STATIC_PRESSURE
from outfeed.limits import AMBIENT, PRESSURE, SENSIBLE, Range
from outfeed_api.measures import Measure
from outfeed_api.models import (
    LONGEST_NAME,
    MOST_ENTRIES,
    Answer,
    Given,
    GrainId,
    Part,
    Request,
)
from outfeed_api.routes.air_hours import MOST_HOURS, HourAir, HourlyAir, Swing

MOST_ROWS = 100
DIAMETER = Range("diameter", 0.25, 100.0, "m", SENSIBLE)
PER_GRAIN = Range("airflow per grain", 1e-7, 0.05, "m3/(s kg)", SENSIBLE)

Depth = Annotated[float, Measure("length", DEPTH, example=5.0)]
Fines = Annotated[float, Measure("percent", FINES, example=0.03)]


class FanRow(Given):
    """One row of a fan's table."""

    static_pressure: Annotated[
        float, Measure("static-pressure", STATIC_PRESSURE, example=500.0)
    ] = Field(description="Static pressure.")
    airflow: Annotated[float, Measure("airflow", FLOW, example=6.0)] = Field(
        description="Airflow of one fan at that pressure."
    )


class FanRequest(Request):
    """A bed of grain, and an airflow or a fan to push it."""

    grain: GrainId
    depth: Depth = Field(
        description="Way of the air through the grain: depth of the bin, thickness of the column."
    )
    floor_area: Annotated[float, Measure("area", AREA, example=60.0)] | None = Field(
        None,
        description="Area the air passes; this or `diameter`. Neither is needed to go between "
        "`airflow_per_grain` and `static_pressure`.",
    )
    diameter: Annotated[float, Measure("length", DIAMETER, example=9.0)] | None = Field(
        None, description="Diameter of a round bin; this or `floor_area`."
    )
    direction: Literal["vertical", "horizontal"] | None = Field(
        None,
        description="Way of the air; `horizontal` is sideways through a column, measured for corn. "
        "Taken as `vertical` when left out.",
    )
    packing: Annotated[float, Measure("ratio", PACKING, example=1.5)] | None = Field(
        None,
        description="Resistance over that of a loose fill: 1.5 in a bin, 1 in a column when left "
        "out.",
    )
    fines: Fines | None = Field(
        None, description="Fine material by weight, spread evenly; measured for corn only."
    )
    constants: Literal["main", "low-flow"] | None = Field(
        None,
        description="Pair of constants: `main`, or `low-flow` for aeration of corn and wheat. They "
        "stand 40 % apart where they meet, so nothing switches by itself.",
    )
    airflow: Annotated[float, Measure("airflow", FLOW, example=5.0)] | None = Field(
        None, description="Total airflow: what pressure does it take?"
    )
    airflow_per_grain: (
        Annotated[float, Measure("airflow-per-grain", PER_GRAIN, example=2e-5)] | None
    ) = Field(None, description="Airflow per grain in the bed: what pressure does it take?")
    static_pressure: (
        Annotated[float, Measure("static-pressure", STATIC_PRESSURE, example=750.0)] | None
    ) = Field(None, description="Pressure under the bed, as measured: how much air is that?")
    fan: list[FanRow] | None = Field(
        None,
        description="A fan's table, from its own papers: where do fan and bed meet?",
        max_length=MOST_ROWS,
    )
    fans: Annotated[int, Measure("count", FANS, example=1.0)] | None = Field(
        None, description="How many such fans blow side by side."
    )
    fan_efficiency: Annotated[float, Measure("percent", EFFICIENCY, example=0.5)] | None = Field(
        None, description="Air power over electric power, fan and motor together."
    )
    motor_efficiency: Annotated[float, Measure("percent", EFFICIENCY, example=0.85)] | None = Field(
        None, description="Of the motor alone, where it sits outside the stream of air."
    )
    ambient_temperature: Annotated[float, Measure("temperature", AMBIENT, example=10.0)] | None = (
        Field(None, description="Of the air, for its density.")
    )
    pressure: Annotated[float, Measure("air-pressure", PRESSURE, example=98_000.0)] | None = Field(
        None, description="Barometric pressure, for its density."
    )
    hourly: HourlyAir | None = Field(
        None,
        description="Outside air hour by hour, in place of `ambient_temperature`: the answer is "
        "then for the mean of the hours, and tells each hour beside it.",
    )
    price_of_electricity: (
        Annotated[float, Measure("price-of-electricity", ELECTRICITY_PRICE, example=3.3e-8)] | None
    ) = Field(None, description="To say what an hour of the fan costs.")
    depths: list[Depth] | None = Field(
        None, description="Other fillings to compare.", max_length=MOST_ROWS
    )
    dirt: list[Fines] | None = Field(
        None, description="Other shares of fines to compare.", max_length=MOST_ROWS
    )

    @property
    def has_area(self) -> bool:
        """Whether the size of the bed is known."""
        return self.floor_area is not None or self.diameter is not None


class Point(Part):
    """Air, pressure and power of one bed."""

    depth: Annotated[float, Measure("length")] = Field(description="Way through the grain.")
    fines: Annotated[float, Measure("percent")] = Field(description="Fine material.")
    verdict: Literal["asked", "meets", "bed-too-tight", "beyond-table", "beyond-method"] = Field(
        description="`asked`: airflow or pressure was given. `meets`: fan and bed agree there. "
        "`bed-too-tight`: even the highest pressure of the table does not push the least air in "
        "it. `beyond-table`: the fan moves more than its table shows. `beyond-method`: more air "
        "than the resistance equation covers."
    )
    airflow: Annotated[float, Measure("airflow")] | None = Field(
        None, description="Total airflow; the end of the table where fan and bed do not meet."
    )
    static_pressure: Annotated[float, Measure("static-pressure")] = Field(
        description="Static pressure."
    )
    airflow_per_area: Annotated[float, Measure("airflow-per-area")] = Field(
        description="Speed of the air over the whole area."
    )
    airflow_per_grain: Annotated[float, Measure("airflow-per-grain")] | None = Field(
        None, description="Airflow per grain in the bed, legal bushels."
    )
    pressure_gradient: Annotated[float, Measure("pressure-gradient")] = Field(
        description="Pressure for each length of the way."
    )
    power: Annotated[float, Measure("electric-power")] | None = Field(
        None, description="Electric power of all fans."
    )
    temperature_rise: Annotated[float, Measure("temperature-difference")] | None = Field(
        None, description="How much the fan warms the air."
    )
    cost_per_hour: Annotated[float, Measure("money-rate")] | None = Field(
        None, description="Electricity of an hour."
    )


class FanHours(HourAir):
    """The bed of the request in each hour's air."""

    airflow: list[Annotated[float, Measure("airflow", example=5.3)] | None] | None = Field(
        None, description="Total airflow.", max_length=MOST_HOURS
    )
    airflow_per_area: list[Annotated[float, Measure("airflow-per-area", example=0.1)] | None] = (
        Field(description="Speed of the air over the whole area.", max_length=MOST_HOURS)
    )
    static_pressure: list[Annotated[float, Measure("static-pressure", example=800.0)] | None] = (
        Field(description="Static pressure.", max_length=MOST_HOURS)
    )
    air_mass_rate: list[Annotated[float, Measure("air-mass-rate", example=6.6)] | None] | None = (
        Field(None, description="Total air by weight, dry.", max_length=MOST_HOURS)
    )
    power: list[Annotated[float, Measure("electric-power", example=8_600.0)] | None] | None = Field(
        None, description="Electric power of all fans.", max_length=MOST_HOURS
    )
    air_temperature: list[Annotated[float, Measure("temperature", example=11.0)] | None] | None = (
        Field(None, description="Air behind the fan, warmed by it.", max_length=MOST_HOURS)
    )
    air_relative_humidity: (
        list[Annotated[float, Measure("percent", example=0.65)] | None] | None
    ) = Field(
        None,
        description="Its humidity, where `hourly` tells that of the outside air.",
        max_length=MOST_HOURS,
    )


class AirflowSwing(Swing):
    """How an airflow per area swings over the hours."""

    lowest: Annotated[float, Measure("airflow-per-area", example=0.098)] = Field(
        description="Lowest."
    )
    highest: Annotated[float, Measure("airflow-per-area", example=0.103)] = Field(
        description="Highest."
    )


class PressureSwing(Swing):
    """How a static pressure swings over the hours."""

    lowest: Annotated[float, Measure("static-pressure", example=780.0)] = Field(
        description="Lowest."
    )
    highest: Annotated[float, Measure("static-pressure", example=860.0)] = Field(
        description="Highest."
    )


class PowerSwing(Swing):
    """How the power drawn swings over the hours."""

    lowest: Annotated[float, Measure("electric-power", example=8_300.0)] = Field(
        description="Lowest."
    )
    highest: Annotated[float, Measure("electric-power", example=9_100.0)] = Field(
        description="Highest."
    )


class FanSwings(Part):
    """How fan and bed swing over the hours."""

    airflow_per_area: AirflowSwing = Field(description="Speed of the air over the whole area.")
    static_pressure: PressureSwing = Field(description="Static pressure.")
    power: PowerSwing | None = Field(None, description="Electric power of all fans.")
    hours: Annotated[int, Measure("count", example=48)] = Field(description="How many hours.")
    hours_without: Annotated[int, Measure("count", example=0)] = Field(
        description="How many of them have no operating point."
    )


class FanAnswer(Answer):
    """What the bed takes and the fan gives."""

    grain: str = Field(description="Id of the grain.", max_length=LONGEST_NAME)
    point: Point = Field(description="The bed of the request.")
    loose: Point | None = Field(
        None, description="The same in a loose fill: the end of the band if packing was assumed."
    )
    other_constants: Point | None = Field(
        None, description="The same by the grain's other pair of constants, where they fit."
    )
    fuller: list[Point] | None = Field(
        None, description="The other fillings, in their order.", max_length=MOST_ENTRIES
    )
    dirtier: list[Point] | None = Field(
        None, description="The other shares of fines, in their order.", max_length=MOST_ENTRIES
    )
    over_hours: FanSwings | None = Field(
        None, description="With `hourly`: how fan and bed swing over the hours."
    )
    by_hour: FanHours | None = Field(None, description="The hours of `hourly`.")
