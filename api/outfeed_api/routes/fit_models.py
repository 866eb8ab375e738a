"""What is asked and answered about a fit to a dryer's own runs."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.dryer.fit_model import (
    EXHAUST,
    HEAT_ERROR,
    MOISTURE_ERROR,
    RATE_ERROR,
    RUNS,
    TEMPERATURE_ERROR,
)
from outfeed.limits import ALTITUDE, PRESSURE, SENSIBLE, Range
from outfeed.settlement import TEST_WEIGHT
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, Answer, Given, GrainId, Part, Request
from outfeed_api.routes.dryer_models import (
    MOST_ZONES,
    Ambient,
    DryerGiven,
    Fitted,
    GivenRate,
    GrainHeat,
    Humidity,
    Moisture,
    Plenum,
    RateBasis,
)

MOST_RUNS = int(RUNS.high)
LIQUID = Range("liquid fuel burned", 1e-8, 0.1, "m3/s", SENSIBLE)
GAS = Range("gas burned", 1e-6, 50.0, "m3/s", SENSIBLE)
Exhaust = Annotated[float, Measure("temperature", EXHAUST, example=38.0)]
Ratio = Annotated[float, Measure("ratio", example=1.4)]
Wet = Annotated[float, Measure("moisture", example=0.155)]


class RunGiven(Given):
    """One settled run as it was written down: nothing changed for a transit before."""

    name: str | None = Field(
        None, description="What you call it.", min_length=1, max_length=LONGEST_NAME,
        examples=["14 October, second shift"],
    )  # fmt: skip
    rate: GivenRate = Field(description="Discharge rate, in `rate_basis`.")
    moisture: Moisture = Field(description="Moisture going in.")
    discharge_moisture: Moisture = Field(description="Moisture coming out.")
    grain_temperature: GrainHeat | None = Field(
        None, description="Grain going in; the outside air's if left out."
    )
    ambient_temperature: Ambient = Field(description="Outside air.")
    ambient_relative_humidity: Humidity | None = Field(None, description="Its humidity.")
    plenum_temperatures: list[Plenum] | None = Field(
        None,
        description="Plenum temperatures of the heated zones, from the top; the dryer's if left "
        "out.",
        max_length=MOST_ZONES,
    )
    column_temperature: GrainHeat | None = Field(
        None, description="Mean of the column sensors that `dryer` describes."
    )
    exhaust_temperatures: list[Exhaust] | None = Field(
        None,
        description="Exhaust temperatures of the heated zones, from the top.",
        max_length=MOST_ZONES,
    )
    fuel_liquid: Annotated[float, Measure("liquid-rate", LIQUID, example=8e-5)] | None = Field(
        None, description="Liquid fuel burned."
    )
    fuel_gas: Annotated[float, Measure("gas-rate", GAS, example=0.05)] | None = Field(
        None, description="Gas burned."
    )


class SheetErrors(Given):
    """How far the numbers on the sheet may be off, standard deviations."""

    outlet_moisture: Annotated[float, Measure("points", MOISTURE_ERROR, example=0.003)] = Field(
        0.003, description="Of the discharge moisture; 0.3 point if left out."
    )
    inlet_moisture: Annotated[float, Measure("points", MOISTURE_ERROR, example=0.003)] = Field(
        0.003, description="Of the inlet moisture; 0.3 point if left out."
    )
    rate: Annotated[float, Measure("percent", RATE_ERROR, example=0.05)] = Field(
        0.05, description="Of the rate, relative; 5 % if left out."
    )
    temperature: Annotated[
        float, Measure("temperature-difference", TEMPERATURE_ERROR, example=1.0)
    ] = Field(1.0, description="Of any temperature; 1 degC if left out.")
    heat: Annotated[float, Measure("percent", HEAT_ERROR, example=0.10)] = Field(
        0.10,
        description="Of the heat from the fuel, relative, the same in every run; 10 % if left out.",
    )


class DryerFitRequest(Request):
    """A dryer and its settled runs."""

    grain: GrainId
    test_weight: Annotated[float, Measure("test-weight", TEST_WEIGHT, example=720.0)] | None = (
        Field(None, description="Test weight of the wet grain; the catalogue's if left out.")
    )
    dryer: DryerGiven = Field(description="The machine, zone by zone.")
    pressure: Annotated[float, Measure("air-pressure", PRESSURE, example=98_000.0)] | None = Field(
        None, description="Barometric pressure at the site; give this or `altitude`."
    )
    altitude: Annotated[float, Measure("length", ALTITUDE, example=250.0)] | None = Field(
        None, description="Height above sea level; sea level if neither is given."
    )
    kinetics: str | None = Field(
        None,
        description="Method id of the drying kinetics; the catalogue's choice if left out.",
        max_length=LONGEST_NAME,
        examples=["kinetics.thompson-1968"],
    )
    rate_basis: RateBasis = Field(
        "dry", description="What rates count: `dry` grain leaving or `wet` grain going in."
    )
    runs: list[RunGiven] = Field(
        description="1 to 50 settled runs.", min_length=1, max_length=MOST_RUNS
    )
    errors: SheetErrors | None = Field(
        None, description="How far the numbers may be off; usual ones if left out."
    )
    earlier: Fitted | None = Field(
        None, description="An earlier fit of this dryer, to other runs, to go on from."
    )


class FactorBand(Part):
    """A factor with its 90 % interval."""

    value: Ratio = Field(description="Best value.")
    low: Ratio = Field(description="Low end.")
    high: Ratio = Field(description="High end.")


class Factor(Part):
    """One factor and whether the runs told it."""

    factor: Literal["rate", "airflow"] = Field(
        description="`rate` of drying, or `airflow` against what you stated."
    )
    value: FactorBand = Field(description="With its 90 % interval.")
    identified: bool = Field(
        description="Whether the runs know at least as much of it as was believed before."
    )
    left: Ratio = Field(description="Uncertainty after the runs over that before.")
    why: str = Field(description="In one sentence.", max_length=LONGEST_TEXT)


class RunJudged(Part):
    """One run against the fit."""

    index: Annotated[int, Measure("count", example=0)] = Field(
        description="Place in the list, from zero."
    )
    name: str = Field(description="Its name.", max_length=LONGEST_NAME)
    solved: bool = Field(description="Whether its column settled; if not, it has no part.")
    suspicious: bool = Field(description="Whether something on its sheet looks wrong.")
    chance_wrong: Annotated[float, Measure("probability", example=0.04)] = Field(
        description="Chance that something on its sheet is wrong."
    )
    reason: str | None = Field(None, description="Why.", max_length=LONGEST_TEXT)
    rate_off: Ratio | None = Field(
        None, description="Factor on its rate that would make it agree with the others."
    )
    moisture: Wet = Field(description="Discharge moisture as noted.")
    predicted: Wet | None = Field(None, description="As the fit has it.")
    residual: Annotated[float, Measure("points", example=0.001)] | None = Field(
        None, description="Noted less predicted."
    )
    expected_spread: Annotated[float, Measure("points", example=0.004)] | None = Field(
        None, description="Standard deviation expected of the residual."
    )


class DryerFitAnswer(Answer):
    """What the runs say of the dryer."""

    fitted: Fitted = Field(
        description="To store and to pass on as `fitted` in every question about this dryer."
    )
    factors: list[Factor] = Field(description="Rate, then airflow.", max_length=2)
    runs: list[RunJudged] = Field(description="Run by run.", max_length=MOST_RUNS)
    suspicious: list[Annotated[int, Measure("count", example=3)]] = Field(
        description="Places of the runs that look wrong, from zero.", max_length=MOST_RUNS
    )
    moisture_rms: Annotated[float, Measure("points", example=0.0025)] = Field(
        description="Root mean square residual of the discharge moisture."
    )
    usable: bool = Field(
        description="False where the fit misses its own runs by more than 1.5 points: then the "
        "runs are wrong, most often in a unit, and `fitted` is not to be passed on."
    )
