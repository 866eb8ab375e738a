"""What the equilibrium-moisture route reads and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.isotherm_choice import OWN_CONSTANT
from outfeed.limits import MOISTURE_WB, Range
from outfeed.sorption import HUMIDITY, TEMPERATURE
from outfeed_api.measures import Measure
from outfeed_api.models import (
    LONGEST_NAME,
    LONGEST_TEXT,
    MOST_ENTRIES,
    Answer,
    Given,
    GrainId,
    Part,
    Request,
)
from outfeed_api.rows import RefusedRow

MOST_ROWS = 100_000
MOST_STEPS = 100
READING = Range("reading", -1e6, 1e6, "", "any number; each row is judged by itself")

Warm = Annotated[float, Measure("temperature", TEMPERATURE, example=25.0)]
Humid = Annotated[float, Measure("percent", HUMIDITY, example=0.65)]
Moisture = Annotated[float, Measure("moisture", MOISTURE_WB, example=0.15)]
Constant = Annotated[float, Measure("equation-constant", OWN_CONSTANT, example=1.8634)]
Form = Literal[
    "henderson-modified", "chung-pfost-modified", "halsey-modified", "oswin-modified", "gab"
]


class OwnIsotherm(Given):
    """An isotherm with your own constants: T in degC, RH as a fraction, M in percent dry basis."""

    form: Form = Field(
        description="`henderson-modified` M = [-ln(1-RH)/(a(T+c))]^(1/b); `chung-pfost-modified` "
        "M = -ln(-(T+c) ln RH/a)/b; `halsey-modified` M = [-exp(a+bT)/ln RH]^(1/c); "
        "`oswin-modified` M = (a+bT)[RH/(1-RH)]^(1/c); `gab` M = abc RH/[(1-b RH)(1-b RH+bc RH)]."
    )
    a: Constant = Field(description="Constant a.")
    b: Constant = Field(description="Constant b.")
    c: Constant = Field(description="Constant c.")


class GrainTable(Given):
    """A table of equilibrium moisture."""

    temperatures: list[Warm] = Field(
        description="Temperatures, one a row.", min_length=1, max_length=MOST_STEPS
    )
    relative_humidities: list[Humid] = Field(
        description="Relative humidities, one a column.", min_length=1, max_length=MOST_STEPS
    )


class GrainColumns(Given):
    """Readings of many moments; null where one is missing."""

    temperature: list[Annotated[float, Measure("temperature", READING, example=25.0)] | None] = (
        Field(description="Temperatures.", min_length=1, max_length=MOST_ROWS)
    )
    relative_humidity: (
        list[Annotated[float, Measure("percent", READING, example=0.65)] | None] | None
    ) = Field(None, description="Relative humidities, for air to grain.", max_length=MOST_ROWS)
    moisture: list[Annotated[float, Measure("moisture", READING, example=0.15)] | None] | None = (
        Field(None, description="Moistures, for grain to air.", max_length=MOST_ROWS)
    )


class EquilibriumRequest(Request):
    """Air to grain, grain to air, a table, or columns of readings."""

    grain: GrainId
    isotherm: str | None = Field(
        None,
        description="Method id of the constant set, such as `emc.henderson-modified.d245-4`; the "
        "grain's default when left out. The answer lists those published for the grain.",
        max_length=LONGEST_NAME,
        examples=["emc.henderson-modified.d245-4"],
    )
    own_isotherm: OwnIsotherm | None = Field(
        None, description="Your own constants instead of a published set."
    )
    temperature: Warm | None = Field(None, description="Temperature of grain and air.")
    relative_humidity: Humid | None = Field(
        None, description="Relative humidity of the air: what moisture does grain tend to?"
    )
    moisture: Moisture | None = Field(
        None, description="Moisture of the grain: what air is in balance with it?"
    )
    table: GrainTable | None = Field(
        None, description="A table of moisture over temperature and humidity."
    )
    columns: GrainColumns | None = Field(None, description="Many readings instead of one.")


class MoistureSpread(Part):
    """Spread of moisture across the published sets."""

    low: Annotated[float, Measure("moisture")] = Field(description="Lowest.")
    high: Annotated[float, Measure("moisture")] = Field(description="Highest.")
    sets: Annotated[int, Measure("count")] = Field(description="Sets that have a value here.")


class HumiditySpread(Part):
    """Spread of relative humidity across the published sets."""

    low: Annotated[float, Measure("percent")] = Field(description="Lowest.")
    high: Annotated[float, Measure("percent")] = Field(description="Highest.")
    sets: Annotated[int, Measure("count")] = Field(description="Sets that have a value here.")


class GrainMoisture(Part):
    """Moisture that grain tends to in this air."""

    moisture: Annotated[float, Measure("moisture")] = Field(description="Equilibrium moisture.")
    moisture_dry_basis: Annotated[float, Measure("moisture-dry-basis")] = Field(
        description="The same, dry basis."
    )
    band: MoistureSpread | None = Field(None, description="Spread across published sets.")


class GrainAirState(Part):
    """Air in balance with the grain."""

    relative_humidity: Annotated[float, Measure("percent")] = Field(
        description="Equilibrium relative humidity."
    )
    dew_point: Annotated[float, Measure("temperature")] = Field(
        description="Dew point of that air; the frost point below freezing."
    )
    vapour_pressure: Annotated[float, Measure("air-pressure")] = Field(
        description="Its vapour pressure."
    )
    band: HumiditySpread | None = Field(None, description="Spread across published sets.")


class SorptionHeat(Part):
    """Heat to evaporate water from the grain at this moisture."""

    total: Annotated[float, Measure("specific-energy")] = Field(
        description="Heat per water evaporated: latent heat and binding."
    )
    binding: Annotated[float, Measure("specific-energy")] = Field(
        description="The part above free water."
    )


class BySet(Part):
    """What one constant set says."""

    isotherm: str = Field(description="Method id.", max_length=LONGEST_NAME)
    moisture: Annotated[float, Measure("moisture")] | None = Field(
        None, description="Equilibrium moisture, for air to grain."
    )
    relative_humidity: Annotated[float, Measure("percent")] | None = Field(
        None, description="Equilibrium relative humidity, for grain to air."
    )
    no_value: str | None = Field(
        None, description="Why this set has no value here.", max_length=LONGEST_TEXT
    )


class MoistureTable(Part):
    """Equilibrium moisture, one row a temperature and one column a relative humidity."""

    temperatures: list[Annotated[float, Measure("temperature")]] = Field(
        description="Temperatures.", max_length=MOST_STEPS
    )
    relative_humidities: list[Annotated[float, Measure("percent")]] = Field(
        description="Relative humidities.", max_length=MOST_STEPS
    )
    moisture: Annotated[
        list[
            Annotated[
                list[Annotated[float, Measure("moisture")] | None], Field(max_length=MOST_STEPS)
            ]
        ],
        Field(max_length=MOST_STEPS),
    ] = Field(description="Moistures; null where the equation has no value.")
    extrapolated: Annotated[
        list[Annotated[list[bool], Field(max_length=MOST_STEPS)]], Field(max_length=MOST_STEPS)
    ] = Field(description="Whether the value lies outside the fitted range.")


class ColumnsOut(Part):
    """Results of many rows; null where a row was refused."""

    moisture: list[Annotated[float, Measure("moisture")] | None] | None = Field(
        None, description="Equilibrium moistures.", max_length=MOST_ROWS
    )
    moisture_low: list[Annotated[float, Measure("moisture")] | None] | None = Field(
        None, description="Lowest of the published sets.", max_length=MOST_ROWS
    )
    moisture_high: list[Annotated[float, Measure("moisture")] | None] | None = Field(
        None, description="Highest of the published sets.", max_length=MOST_ROWS
    )
    relative_humidity: list[Annotated[float, Measure("percent")] | None] | None = Field(
        None, description="Equilibrium relative humidities.", max_length=MOST_ROWS
    )
    dew_point: list[Annotated[float, Measure("temperature")] | None] | None = Field(
        None, description="Dew points of the air over the grain.", max_length=MOST_ROWS
    )
    vapour_pressure: list[Annotated[float, Measure("air-pressure")] | None] | None = Field(
        None, description="Vapour pressures over the grain.", max_length=MOST_ROWS
    )
    extrapolated: list[bool | None] = Field(
        description="Whether the value lies outside the fitted range.", max_length=MOST_ROWS
    )


class EquilibriumAnswer(Answer):
    """Grain and air in balance."""

    grain: str = Field(description="Id of the grain.", max_length=LONGEST_NAME)
    isotherm: str = Field(description="Method id of the set used.", max_length=LONGEST_NAME)
    grain_moisture: GrainMoisture | None = Field(None, description="Air to grain.")
    grain_air: GrainAirState | None = Field(None, description="Grain to air.")
    heat: SorptionHeat | None = Field(
        None, description="Heat of evaporation, from the same isotherm; not for bone-dry grain."
    )
    extrapolated: bool | None = Field(
        None, description="Whether the air lies outside the range the constants were fitted in."
    )
    by_set: list[BySet] | None = Field(
        None, description="What each set published for the grain says.", max_length=MOST_ENTRIES
    )
    table: MoistureTable | None = Field(None, description="The table.")
    rows_answered: Annotated[int, Measure("count")] | None = Field(
        None, description="Rows of `columns` that were answered."
    )
    columns: ColumnsOut | None = Field(None, description="Results of the rows, in their order.")
    refused: list[RefusedRow] | None = Field(
        None, description="Rows that could not be answered.", max_length=MOST_ROWS
    )
