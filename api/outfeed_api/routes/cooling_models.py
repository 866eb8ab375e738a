"""What the cooling route reads and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.cooling import COOLED, COOLING_MOISTURE, EFFICIENCY, HOT, STEEP_GIVEN
from outfeed.cooling_air import FILL_RATE
from outfeed.limits import AMBIENT, MOISTURE_WB, PRESSURE, RELATIVE_HUMIDITY, SENSIBLE, Range
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, Answer, Given, GrainId, Part, Request
from outfeed_api.moments import MOST_TIMES
from outfeed_api.routes.season_models import Hourly

MOST_CASES = 1_000
# from the least that bins are aired with, 1/40 cfm/bu
AIRFLOW_PER_GRAIN = Range("airflow per grain", 4e-7, 5e-3, "m3/(s kg)", SENSIBLE)

Mode = Literal["steep-then-cool", "cool-in-storage", "cool-in-dryer"]
MODE_WORDS = (
    "`steep-then-cool`: hot into a separate bin, 4 to 12 hours without air, then cooled slowly and "
    "moved; `cool-in-storage`: hot into the storage bin and cooled at once; `cool-in-dryer`: "
    "cooled in the dryer, only the rest of the heat goes in the bin."
)
Hot = Annotated[float, Measure("temperature", HOT, example=60.0)]
Cooled = Annotated[float, Measure("temperature", COOLED, example=8.0)]
Air = Annotated[float, Measure("temperature", AMBIENT, example=8.0)]
Wet = Annotated[float, Measure("moisture", COOLING_MOISTURE, example=0.17)]


class CoolingCase(Given):
    """One more lot to cool, in the way and the air of the request."""

    hot_temperature: Hot = Field(description="Grain temperature at the discharge.")
    discharge_moisture: Wet | None = Field(
        None, description="Moisture at the discharge; this or `final_moisture`."
    )
    final_moisture: Wet | None = Field(
        None, description="Moisture wanted after cooling; this or `discharge_moisture`."
    )


class CoolingRequest(Request):
    """Hot grain, the way it is cooled and the air."""

    grain: GrainId
    mode: Mode | None = Field(
        None, description=MODE_WORDS + " Taken as `cool-in-storage` when left out."
    )
    hot_temperature: Hot | None = Field(
        None, description="Grain temperature at the discharge of the dryer."
    )
    discharge_moisture: Wet | None = Field(
        None, description="Moisture at the discharge: what is left after cooling?"
    )
    final_moisture: Wet | None = Field(
        None, description="Moisture wanted after cooling: what to aim for at the discharge?"
    )
    ambient_temperature: Air | None = Field(None, description="Temperature of the cooling air.")
    relative_humidity: (
        Annotated[float, Measure("percent", RELATIVE_HUMIDITY, example=0.7)] | None
    ) = Field(None, description="Relative humidity of the cooling air.")
    hourly: Hourly | None = Field(
        None,
        description="Outside air hour by hour, instead of one state: the answer then tells each "
        "hour, and the lot by the mean of what the air reaches.",
    )
    pressure: Annotated[float, Measure("air-pressure", PRESSURE, example=98_000.0)] | None = Field(
        None, description="Barometric pressure; standard when left out."
    )
    final_temperature: Cooled | None = Field(
        None,
        description="Grain temperature after cooling; that of the air when left out. Air cannot "
        "cool grain below its wet bulb.",
    )
    efficiency: Annotated[float, Measure("percent", EFFICIENCY, example=0.6)] | None = Field(
        None,
        description="Your own measured share of the heat that evaporates moisture, instead of the "
        "published one.",
    )
    steep: Annotated[float, Measure("hours", STEEP_GIVEN, example=28_800.0)] | None = Field(
        None, description="How long hot grain rests without air before it is cooled."
    )
    wet_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.22)] | None = Field(
        None, description="Moisture into the dryer, to say how much water cooling takes over."
    )
    airflow_per_grain: (
        Annotated[float, Measure("airflow-per-grain", AIRFLOW_PER_GRAIN, example=1e-5)] | None
    ) = Field(None, description="Airflow of the cooling fan, to say how long it runs.")
    fill_rate: Annotated[float, Measure("grain-rate", FILL_RATE, example=7.0)] | None = Field(
        None, description="Hot grain into the bin, to say what airflow keeps up with it."
    )
    cases: list[CoolingCase] | None = Field(
        None, description="Many lots beside or instead of the one above.", max_length=MOST_CASES
    )


class CoolingResult(Part):
    """Moisture before and after cooling."""

    discharge_moisture: Annotated[float, Measure("moisture")] = Field(
        description="Moisture at the discharge: given, or to aim for."
    )
    final_moisture: Annotated[float, Measure("moisture")] = Field(
        description="Moisture after cooling."
    )
    final_low: Annotated[float, Measure("moisture")] = Field(
        description="The same if cooling takes the most that was published for this way."
    )
    final_high: Annotated[float, Measure("moisture")] = Field(
        description="The same if cooling takes the least that was published."
    )
    points_lost: Annotated[float, Measure("points")] = Field(
        description="Moisture lost while cooling."
    )
    points_ceiling: Annotated[float, Measure("points")] = Field(
        description="Most that could be lost if all the heat evaporated moisture."
    )
    final_temperature: Annotated[float, Measure("temperature")] = Field(
        description="Grain temperature after cooling."
    )


class WayCompared(Part):
    """The same lot cooled in one of the ways."""

    mode: Mode = Field(description="Way of cooling.")
    efficiency: Annotated[float, Measure("percent")] = Field(
        description="Share of the heat that evaporates moisture."
    )
    points_lost: Annotated[float, Measure("points")] = Field(description="Moisture lost.")
    discharge_moisture: Annotated[float, Measure("moisture")] = Field(
        description="Moisture at the discharge."
    )
    final_moisture: Annotated[float, Measure("moisture")] = Field(
        description="Moisture after cooling."
    )
    rule_low: Annotated[float, Measure("points")] | None = Field(
        None, description="Moisture lost by the published rule for corn, lowest."
    )
    rule_high: Annotated[float, Measure("points")] | None = Field(
        None, description="Moisture lost by the published rule for corn, highest."
    )
    capacity_gain_low: Annotated[float, Measure("percent")] | None = Field(
        None, description="Published gain of dryer capacity over cooling in the dryer, lowest."
    )
    capacity_gain_high: Annotated[float, Measure("percent")] | None = Field(
        None, description="The same, highest."
    )
    fuel_saved_low: Annotated[float, Measure("percent")] | None = Field(
        None, description="Published saving of fuel over cooling in the dryer, lowest."
    )
    fuel_saved_high: Annotated[float, Measure("percent")] | None = Field(
        None, description="The same, highest."
    )
    source: str = Field(description="Where the figures come from.", max_length=LONGEST_TEXT)


class CoolingAir(Part):
    """What the cooling air must do."""

    lowest_temperature: Annotated[float, Measure("temperature")] | None = Field(
        None, description="Wet bulb of the air: the coldest it can make the grain."
    )
    fan_hours: Annotated[float, Measure("hours")] | None = Field(
        None, description="Fan time for the cooling front to pass, by the published rule."
    )
    fan_hours_by_heat: Annotated[float, Measure("hours")] | None = Field(
        None, description="The same by the heat this grain holds against corn."
    )
    airflow_to_keep_up: Annotated[float, Measure("airflow")] | None = Field(
        None, description="Airflow that cools as fast as the bin fills."
    )


Stamp = Annotated[str, Field(max_length=LONGEST_NAME)]


class CoolingHours(Part):
    """What each hour's air would do; columns of one length."""

    times: list[Stamp] | None = Field(
        None, description="The hours as date-times.", max_length=MOST_TIMES
    )
    elapsed: list[Annotated[float, Measure("minutes", example=7200.0)]] | None = Field(
        None, description="The hours in minutes.", max_length=MOST_TIMES
    )
    lowest_temperature: list[Annotated[float, Measure("temperature", example=4.0)]] = Field(
        description="Wet bulb of the air.", max_length=MOST_TIMES
    )
    final_temperature: list[Annotated[float, Measure("temperature", example=8.0)]] = Field(
        description="Grain temperature that this air brings.", max_length=MOST_TIMES
    )
    discharge_moisture: list[Annotated[float, Measure("moisture", example=0.17)]] | None = Field(
        None, description="Moisture at the discharge: given, or to aim for.", max_length=MOST_TIMES
    )
    final_moisture: list[Annotated[float, Measure("moisture", example=0.15)]] | None = Field(
        None, description="Moisture after cooling.", max_length=MOST_TIMES
    )


class CoolingAnswer(Answer):
    """Moisture lost after the dryer, and what to aim for."""

    grain: str = Field(description="Id of the grain.", max_length=LONGEST_NAME)
    mode: Mode = Field(description="Way of cooling.")
    result: CoolingResult | None = Field(None, description="The lot of the request.")
    cases: list[CoolingResult] | None = Field(
        None, description="The lots of `cases`, in their order.", max_length=MOST_CASES
    )
    water_taken_over: Annotated[float, Measure("percent")] | None = Field(
        None, description="Share of all the water that cooling evaporates instead of the dryer."
    )
    by_mode: list[WayCompared] | None = Field(
        None, description="The same lot in each way of cooling.", max_length=10
    )
    air: CoolingAir | None = Field(None, description="What the cooling air must do.")
    by_hour: CoolingHours | None = Field(None, description="The hours of `hourly`.")
