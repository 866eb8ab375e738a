"""What the season-plan route reads and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from outfeed.ability import FEED_RATE, SPECIFIC_ENERGY_GIVEN
from outfeed.dryer.description import DryerKind
from outfeed.dryer.task import INLET_MOISTURE
from outfeed.limits import (
    ALTITUDE,
    AMBIENT,
    PLENUM,
    RELATIVE_HUMIDITY,
    SENSIBLE,
    Range,
)
from outfeed.queue import HOLDING, LOT_MOISTURE, LOT_WEIGHT
from outfeed.review import FUEL_PRICE
from outfeed.season import FINAL_MOISTURE, Plan
from outfeed.season_help import Alternative
from outfeed.weather import SWING
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
from outfeed_api.moments import MOST_TIMES, Elapsed, Moment, Timed
from outfeed_api.routes.dryer_models import DryerGiven, Fitted

MOST_HOURS = 5_000
MOST_LOTS = MOST_TIMES
HOUR_OF_DAY = Range("hour of the day", 0.0, 86_400.0, "s", SENSIBLE)
HOURS_A_DAY = Range("hours a day", 0.0, 86_400.0, "s", "definition")
DRYDOWN = Range("moisture lost in the field", -0.02 / 86_400, 0.03 / 86_400, "1/s", SENSIBLE)
DAYS = Range("length of the plan", 86_400.0, 200 * 86_400.0, "s", SENSIBLE)
MONTH = Range("month", 1.0, 12.0, "", "definition")
CROP = Range("crop", 100.0, 1e10, "kg", SENSIBLE)
COMBINE = Range("combine rate", 0.01, 200.0, "kg/s", SENSIBLE)
TANK_VOLUME = Range("fuel tank", 0.1, 10_000.0, "m3", SENSIBLE)
PRICE_OF_LIQUID = Range("price of liquid fuel", 0.0, 1e5, "money/m3", SENSIBLE)

Temperature = Annotated[float, Measure("temperature", AMBIENT, example=10.0)]
Humidity = Annotated[float, Measure("percent", RELATIVE_HUMIDITY, example=0.7)]
FieldMoisture = Annotated[float, Measure("moisture", LOT_MOISTURE, example=0.24)]
Rate = Annotated[float, Measure("grain-rate", FEED_RATE, example=7.0)]
CoolingId = Literal["cool-in-dryer", "cool-in-storage", "steep-then-cool"]


class Hourly(Timed):
    """Weather at rising times, an hour apart or so; straight lines between."""

    temperature: list[Temperature] = Field(
        description="Outside air at each time.", max_length=MOST_TIMES
    )
    relative_humidity: list[Humidity] = Field(
        description="Its humidity at each time.", max_length=MOST_TIMES
    )


class MonthGiven(Given):
    """Normals of a month."""

    month: Annotated[int, Measure("count", MONTH, example=10)] = Field(
        description="Month, 1 to 12."
    )
    temperature: Temperature = Field(description="Mean outside air.")
    relative_humidity: Humidity = Field(description="Humidity at that mean.")
    swing: Annotated[float, Measure("temperature-difference", SWING, example=11.0)] | None = Field(
        None, description="Daily maximum less minimum; none if left out."
    )


class Monthly(Given):
    """Weather from monthly normals, over a stretch of days."""

    start: Moment = Field(description="When the plan begins; its offset gives the local hours.")
    days: Annotated[float, Measure("days", DAYS, example=60 * 86_400.0)] = Field(
        description="How long the plan is."
    )
    months: list[MonthGiven] = Field(
        description="Normals of every month it runs into.", min_length=1, max_length=12
    )


class HarvestGiven(Given):
    """A harvest by the clock: the combine goes each day until the crop is in."""

    start: Moment | None = Field(
        None, description="First day of harvest, a date-time; the plan's beginning if left out."
    )
    start_elapsed: Elapsed | None = Field(
        None, description="The same in minutes, where the weather is in `elapsed`."
    )
    crop: Annotated[float, Measure("grain", CROP, example=1.5e6)] = Field(
        description="Grain in the field, as it will weigh at the final moisture."
    )
    rate: Annotated[float, Measure("grain-rate", COMBINE, example=12.0)] = Field(
        description="Wet grain an hour when the combine goes."
    )
    first_hour: Annotated[float, Measure("hours", HOUR_OF_DAY, example=36_000.0)] = Field(
        description="Hour of the day it starts; on the `elapsed` clock days begin at minute 0."
    )
    hours_per_day: Annotated[float, Measure("hours", HOURS_A_DAY, example=36_000.0)] = Field(
        description="Hours it goes each day."
    )
    moisture: FieldMoisture = Field(description="Field moisture at the start of the harvest.")
    drydown: Annotated[float, Measure("points-per-day", DRYDOWN, example=5e-8)] = Field(
        description="Points of moisture lost in the field each day."
    )
    lowest_moisture: FieldMoisture | None = Field(
        None,
        description="Moisture at which the field stops drying; the final one, though not below 5 "
        "percent, if left out.",
    )


class LotColumns(Timed):
    """Lots as columns of one length, in order of time; the times are when each is ready."""

    weight: list[Annotated[float, Measure("grain", LOT_WEIGHT, example=20_000.0)]] = Field(
        description="Wet weight of each lot.", max_length=MOST_LOTS
    )
    moisture: list[FieldMoisture] = Field(description="Moisture of each lot.", max_length=MOST_LOTS)


FITTED_WITH_DRYER = (
    "What `POST /v1/dryer-fit` found for this dryer, beside `dryer`: rate and fuel then come from "
    "its column in place of the quick balance."
)


class KnownRateGiven(Given):
    """A rate this dryer was seen to hold."""

    rate: Rate = Field(description="Rate, counted as `rate_basis` says.")
    rate_basis: Literal["wet", "dry"] = Field(
        "wet", description="Whether the rate counts `wet` grain going in or `dry` grain leaving."
    )
    moisture: Annotated[float, Measure("moisture", INLET_MOISTURE, example=0.2)] = Field(
        description="Moisture going in then."
    )
    discharge_moisture: Annotated[float, Measure("moisture", FINAL_MOISTURE, example=0.15)] = Field(
        description="Moisture coming out then."
    )
    ambient_temperature: Temperature = Field(description="Outside air then.")
    plenum_temperature: Annotated[float, Measure("temperature", PLENUM, example=93.0)] | None = (
        Field(None, description="Plenum temperature then and now, in the mean of the plenums.")
    )
    kind: DryerKind | None = Field(
        None, description="Kind of dryer, for its published energy; that of `dryer`, where given."
    )
    energy_per_water: (
        Annotated[float, Measure("specific-energy", SPECIFIC_ENERGY_GIVEN, example=4.6e6)] | None
    ) = Field(
        None,
        description="Fuel per water removed then, higher heating value; sets the level of fuel.",
    )


class SeasonPlanRequest(Request):
    """Harvest or lots, wet holding, dryer, weather."""

    grain: GrainId
    hourly: Hourly | None = Field(None, description="Weather by the hour; give this or `monthly`.")
    monthly: Monthly | None = Field(None, description="Weather by the month.")
    altitude: Annotated[float, Measure("length", ALTITUDE, example=250.0)] | None = Field(
        None, description="Height above sea level; sea level if left out."
    )
    harvest: HarvestGiven | None = Field(None, description="A harvest; give this or `lots`.")
    lots: LotColumns | None = Field(None, description="Lots with times of their own.")
    wet_holding: Annotated[float, Measure("grain", HOLDING, example=200_000.0)] = Field(
        description="Wet grain that holding before the dryer takes."
    )
    holding_temperature: Temperature | None = Field(
        None, description="Temperature of wet grain in holding; the outside air's if left out."
    )
    known_rate: KnownRateGiven | None = Field(
        None,
        description="A rate seen; give this, or `dryer`, or both: it then sets the level, and the "
        "dryer how the rate changes.",
    )
    dryer: DryerGiven | None = Field(None, description="The dryer described.")
    fitted: Fitted | None = Field(None, description=FITTED_WITH_DRYER)
    final_moisture: Annotated[float, Measure("moisture", FINAL_MOISTURE, example=0.15)] = Field(
        description="Moisture wanted after cooling."
    )
    cooling: CoolingId = Field("cool-in-dryer", description="How dried grain is cooled.")
    dryer_first_hour: Annotated[float, Measure("hours", HOUR_OF_DAY, example=21_600.0)] | None = (
        Field(None, description="Hour of the day the dryer starts; midnight if left out.")
    )
    dryer_hours_per_day: (
        Annotated[float, Measure("hours", HOURS_A_DAY, example=86_400.0)] | None
    ) = Field(None, description="Hours the dryer may run each day; all of them if left out.")
    fuel: Literal["propane", "natural-gas", "fuel-oil"] = Field(
        "propane", description="What is burned; that of `dryer` if left out, else propane."
    )
    price_of_liquid: (
        Annotated[float, Measure("price-of-liquid", PRICE_OF_LIQUID, example=500.0)] | None
    ) = Field(None, description="Price of propane or fuel oil.")
    price_of_heat: Annotated[float, Measure("price-of-heat", FUEL_PRICE, example=2e-8)] | None = (
        Field(None, description="Price of the fuel by heat, higher heating value.")
    )
    tank: Annotated[float, Measure("liquid", TANK_VOLUME, example=7.5)] | None = Field(
        None, description="Water capacity of the fuel tank; it is taken to be full at the start."
    )
    alternatives: bool = Field(
        True, description="Whether to run the season again to find what would help."
    )

    _plan: Plan | None = PrivateAttr(None)
    _others: tuple[Alternative, ...] = PrivateAttr(())


Stamp = Annotated[str, Field(max_length=LONGEST_NAME)]
Minutes = Annotated[float, Measure("minutes", example=86_400.0)]
Grain = Annotated[float, Measure("grain", example=200_000.0)]
Share = Annotated[float, Measure("percent", example=0.12)]
Hours = Annotated[float, Measure("hours", example=7_200.0)]
Money = Annotated[float, Measure("money", example=1_200.0)]
Liquid = Annotated[float, Measure("liquid", example=3.0)]
Heat = Annotated[float, Measure("energy", example=8e10)]


DRIED = (
    "Grain dried, as it weighs at the discharge: at the discharge moisture, or as it came where it "
    "came drier."
)


class WeekPlan(Part):
    """One week of the season."""

    start: Stamp | None = Field(None, description="Date-time it begins.")
    start_elapsed: Minutes | None = Field(None, description="Minute it begins.")
    came_in: Grain = Field(description="Wet grain brought in.")
    dried: Grain = Field(description=DRIED)
    water: Annotated[float, Measure("mass", example=20_000.0)] = Field(description="Water removed.")
    dryer_hours: Hours = Field(description="Hours the dryer works.")
    waited: Hours = Field(description="Hours of harvest lost, or lot-hours at the pit.")
    peak_holding: Grain = Field(description="Most wet grain in holding.")
    heat: Heat = Field(description="Fuel as heat, higher heating value.")
    liquid: Liquid | None = Field(None, description="Liquid fuel.")
    gas: Annotated[float, Measure("volume", example=2_000.0)] | None = Field(
        None, description="Natural gas."
    )
    fuel_money: Money | None = Field(None, description="Money for fuel.")


class RefillPlan(Part):
    """A delivery of fuel."""

    at: Stamp | None = Field(None, description="When the tank is down to the reserve.")
    at_elapsed: Minutes | None = Field(None, description="The same in minutes.")
    liquid: Liquid = Field(description="What fills it up again.")


class LotPlans(Part):
    """The lots as columns of one length; null where a lot is not in or not dry by the end."""

    moisture: list[Annotated[float, Measure("moisture", example=0.24)]] = Field(
        description="Moisture.", max_length=MOST_LOTS
    )
    weight: list[Grain] = Field(description="Wet weight brought in.", max_length=MOST_LOTS)
    comes_in: list[Stamp | None] | None = Field(
        None, description="When it begins to come in.", max_length=MOST_LOTS
    )
    comes_in_elapsed: list[Minutes | None] | None = Field(
        None, description="The same in minutes.", max_length=MOST_LOTS
    )
    dry: list[Stamp | None] | None = Field(
        None, description="When the dryer has taken all of it.", max_length=MOST_LOTS
    )
    dry_elapsed: list[Minutes | None] | None = Field(
        None, description="The same in minutes.", max_length=MOST_LOTS
    )
    life_used: list[Share] | None = Field(
        None, description="Share of its storage life used up by then.", max_length=MOST_LOTS
    )


class AlternativePlan(Part):
    """The season with one thing changed."""

    change: Literal[
        "bigger-wet-holding", "start-earlier", "higher-plenum", "cool-in-bin", "longer-hours"
    ] = Field(description="What was changed.")
    what: str = Field(description="What that means, in a sentence.", max_length=LONGEST_TEXT)
    computed: bool = Field(description="Whether it could be computed.")
    waited: Hours | None = Field(None, description="Hours of waiting then.")
    finished: Stamp | None = Field(None, description="When the last lot is dry then.")
    finished_elapsed: Minutes | None = Field(None, description="The same in minutes.")
    worst_life_used: Share | None = Field(None, description="Worst share of storage life then.")
    heat: Heat | None = Field(None, description="Fuel then, as heat.")


class SeasonPlanAnswer(Answer):
    """What happens."""

    keeps_up: bool = Field(
        description="Whether nothing had to wait and everything is dry at the end."
    )
    finished: Stamp | None = Field(
        None, description="When the last lot is dry; absent when the plan ends before."
    )
    finished_elapsed: Minutes | None = Field(None, description="The same in minutes.")
    waited: Hours = Field(
        description="Hours of harvest lost for want of room, or lot-hours at the pit."
    )
    left_in_field: Grain = Field(
        description="Grain not brought in by the end, as it would weigh at the final moisture."
    )
    peak_holding: Grain = Field(description="Most wet grain in holding at once.")
    peak_holding_share: Annotated[float, Measure("percent", example=0.9)] | None = Field(
        None, description="That over what holding takes."
    )
    worst_life_used: Share | None = Field(
        None, description="Largest share of a lot's storage life used up before drying."
    )
    life_source: str | None = Field(
        None, description="Method id of the storage life.", max_length=LONGEST_NAME
    )
    discharge_moisture: Annotated[float, Measure("moisture", example=0.158)] = Field(
        description="Moisture to leave the dryer with; cooling does the rest."
    )
    dried: Grain = Field(description=DRIED)
    water: Annotated[float, Measure("mass", example=150_000.0)] = Field(
        description="Water removed in the dryer."
    )
    dryer_hours: Hours = Field(description="Hours the dryer works.")
    heat: Heat = Field(description="Fuel as heat, higher heating value.")
    heat_low: Heat = Field(
        description="Lower end of its 90 % band: of published energies, narrower where "
        "`known_rate` states its fuel or the dryer was fitted."
    )
    heat_high: Heat = Field(
        description="Upper end of its band; fuel use lies nearer to it where a fit alone tells it."
    )
    liquid: Liquid | None = Field(None, description="Liquid fuel.")
    gas: Annotated[float, Measure("volume", example=20_000.0)] | None = Field(
        None, description="Natural gas."
    )
    fuel_money: Money | None = Field(None, description="Money for fuel.")
    weeks: list[WeekPlan] = Field(description="Week by week.", max_length=60)
    refills: list[RefillPlan] | None = Field(
        None, description="Deliveries of fuel, each when the tank is down to a quarter.",
        max_length=MOST_ENTRIES,
    )  # fmt: skip
    refills_needed: Annotated[int, Measure("count", example=4)] | None = Field(
        None, description="How many; the list shows at most 200."
    )
    lots: LotPlans = Field(description="Lot by lot; a harvest makes a lot each hour.")
    alternatives: list[AlternativePlan] = Field(
        description="The season run again with one thing changed.", max_length=10
    )
    helps_most: str | None = Field(
        None, description="The change that helps most, when one is needed.", max_length=LONGEST_NAME
    )
