"""What the weather-outlook route reads and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from outfeed.dryer.task import INLET_MOISTURE
from outfeed.limits import ALTITUDE, GRAIN_TEMPERATURE
from outfeed.outlook import Outlook
from outfeed.review import FUEL_PRICE
from outfeed.season import FINAL_MOISTURE
from outfeed.steering.lag import TRANSIT
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, Answer, GrainId, Part, Request
from outfeed_api.routes.dryer_models import DryerGiven, Fitted
from outfeed_api.routes.season_models import FITTED_WITH_DRYER, Hourly, KnownRateGiven

LONGEST_FORECAST = 500  # h

Stamp = Annotated[str, Field(max_length=LONGEST_NAME)]
Minutes = Annotated[float, Measure("minutes", example=86_400.0)]
Rate = Annotated[float, Measure("grain-rate", example=6.0)]
Setpoint = Annotated[float, Measure("temperature", example=38.0)]
Shift = Annotated[float, Measure("temperature-difference", example=-1.0)]
HeatRate = Annotated[float, Measure("heat-rate", example=2e6)]
Share = Annotated[float, Measure("percent", example=-0.04)]
Air = Annotated[float, Measure("temperature", example=4.0)]


class WeatherOutlookRequest(Request):
    """A forecast and the dryer as it runs."""

    grain: GrainId
    forecast: Hourly = Field(description="Forecast by the hour; its first time is now.")
    altitude: Annotated[float, Measure("length", ALTITUDE, example=250.0)] | None = Field(
        None, description="Height above sea level; sea level if left out."
    )
    run: KnownRateGiven = Field(description="The run now, or the last settled one.")
    dryer: DryerGiven | None = Field(
        None, description="The dryer described; its plenums then replace the run's."
    )
    fitted: Fitted | None = Field(
        None, description=FITTED_WITH_DRYER + " `run` sets the level of the rate."
    )
    moisture: Annotated[float, Measure("moisture", INLET_MOISTURE, example=0.22)] | None = Field(
        None, description="Moisture going in through the forecast; the run's if left out."
    )
    target_moisture: Annotated[float, Measure("moisture", FINAL_MOISTURE, example=0.155)] | None = (
        Field(None, description="Moisture wanted at the discharge; the run's if left out.")
    )
    setpoint: Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=38.0)] | None = (
        Field(None, description="Column setpoint now; only shifts are given if left out.")
    )
    transit: Annotated[float, Measure("hours", TRANSIT, example=7_200.0)] | None = Field(
        None, description="Time a kernel needs from the top of the column to the discharge."
    )
    fuel: Literal["propane", "natural-gas", "fuel-oil"] = Field(
        "propane", description="What is burned; that of `dryer` if left out, else propane."
    )
    price_of_heat: Annotated[float, Measure("price-of-heat", FUEL_PRICE, example=2e-8)] | None = (
        Field(None, description="Price of the fuel by heat, higher heating value.")
    )

    _outlook: Outlook | None = PrivateAttr(None)


class OutlookMove(Part):
    """A change to make."""

    at: Stamp | None = Field(None, description="When, as a date-time.")
    at_elapsed: Minutes | None = Field(None, description="When, in minutes.")
    rate: Rate = Field(description="Rate from then on, counted as in `run`.")
    rate_change: Share = Field(description="Change against the rate just before.")
    setpoint: Setpoint | None = Field(None, description="Column setpoint from then on.")
    setpoint_change: Shift = Field(description="Change against the setpoint just before.")
    what: str = Field(description="The move in a sentence.", max_length=LONGEST_TEXT)


class FrontGiven(Part):
    """The sharpest change of temperature within six hours, where night and day do not make it."""

    start: Stamp | None = Field(None, description="When it begins, as a date-time.")
    start_elapsed: Minutes | None = Field(None, description="When it begins, in minutes.")
    before: Air = Field(description="Outside air before.")
    after: Air = Field(description="Outside air at its end, six hours later at most.")


class OutlookHours(Part):
    """The hours as columns of one length."""

    times: list[Stamp] | None = Field(
        None, description="When each hour begins.", max_length=LONGEST_FORECAST + 1
    )
    elapsed: list[Minutes] | None = Field(
        None, description="The same in minutes.", max_length=LONGEST_FORECAST + 1
    )
    temperature: list[Air] = Field(description="Outside air.", max_length=LONGEST_FORECAST + 1)
    needed_rate: list[Rate] = Field(
        description="Rate that would keep the discharge moisture.", max_length=LONGEST_FORECAST + 1
    )
    needed_rate_low: list[Rate] = Field(
        description="Lower end of its 90 % band.", max_length=LONGEST_FORECAST + 1
    )
    needed_rate_high: list[Rate] = Field(
        description="Upper end of its 90 % band.", max_length=LONGEST_FORECAST + 1
    )
    rate: list[Rate] = Field(description="Rate as scheduled.", max_length=LONGEST_FORECAST + 1)
    setpoint_shift: list[Shift] = Field(
        description="Setpoint as scheduled, less the setpoint now.",
        max_length=LONGEST_FORECAST + 1,
    )
    heat: list[HeatRate] = Field(
        description="Fuel as heat, higher heating value.", max_length=LONGEST_FORECAST + 1
    )
    liquid: list[Annotated[float, Measure("liquid-rate", example=8e-5)]] | None = Field(
        None, description="Liquid fuel.", max_length=LONGEST_FORECAST + 1
    )
    gas: list[Annotated[float, Measure("gas-rate", example=0.05)]] | None = Field(
        None, description="Natural gas.", max_length=LONGEST_FORECAST + 1
    )


class WeatherOutlookAnswer(Answer):
    """The schedule."""

    moves: list[OutlookMove] = Field(
        description="When to change what, and by how much.", max_length=LONGEST_FORECAST
    )
    front: FrontGiven | None = Field(
        None,
        description="The sharpest change of temperature; left out where none is sharper than "
        "night and day make.",
    )
    heat: Annotated[float, Measure("energy", example=3e11)] = Field(
        description="Fuel over the forecast, as heat, higher heating value."
    )
    extra_heat: Annotated[float, Measure("energy", example=3e10)] = Field(
        description="Of that, what it takes more than if the air stayed as it is now."
    )
    fuel_money: Annotated[float, Measure("money", example=900.0)] | None = Field(
        None, description="Money for fuel over the forecast."
    )
    hours: OutlookHours = Field(description="Hour by hour.")
