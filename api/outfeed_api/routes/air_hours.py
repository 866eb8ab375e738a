"""Outside air hour by hour: the part of a request that every endpoint on a dryer shares, and how
its answer tells the hours."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Any, Self

import numpy as np
from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from outfeed import Inconsistent
from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.description import Conditions, Feed
from outfeed.limits import AMBIENT, RELATIVE_HUMIDITY
from outfeed_api.measures import Measure
from outfeed_api.models import FIELD_AT_FAULT, LONGEST_NAME, Part
from outfeed_api.moments import Clock, Elapsed, Moment, Timed, in_order

MOST_HOURS = 1_000  # six weeks by the hour

Stamp = Annotated[str, Field(max_length=LONGEST_NAME)]
Minutes = Annotated[float, Measure("minutes", example=7200.0)]
AirTemperature = Annotated[float, Measure("temperature", AMBIENT, example=10.0)]
AirHumidity = Annotated[float, Measure("percent", RELATIVE_HUMIDITY, example=0.70)]


class HourlyAir(Timed):
    """Outside air at rising times, an hour apart or so; a record or a forecast."""

    times: list[Moment] | None = Field(
        None,
        description="Times as RFC 3339 date-times with an offset; give these or `elapsed`.",
        max_length=MOST_HOURS,
    )
    elapsed: list[Elapsed] | None = Field(
        None,
        description="Times in minutes since an origin of your own; give these or `times`.",
        max_length=MOST_HOURS,
    )
    temperature: list[AirTemperature] = Field(
        description="Outside air at each time.", min_length=1, max_length=MOST_HOURS
    )
    relative_humidity: list[AirHumidity] | None = Field(
        None,
        description="Its humidity at each time; one humidity for all if left out.",
        max_length=MOST_HOURS,
    )


HOURLY = Field(
    None,
    description="Outside air hour by hour, in place of one state: the figures are then for the "
    "mean of the hours, and the answer tells each hour beside it.",
)


class AirRequest(Part):
    """Mixed into a request that needs the outside air: one state of it, or its hours."""

    @model_validator(mode="after")
    def _some_air(self) -> Self:
        if not {"hourly", "ambient_temperature"} & self.model_fields_set:
            words = "give the outside air: `ambient_temperature`, or `hourly` for a series"
            context = {"field": "ambient_temperature", "words": words}
            raise PydanticCustomError(FIELD_AT_FAULT, "{words}", context)
        return self


class HourAir(Part):
    """The hours as columns of one length; null where an hour has no answer."""

    times: list[Stamp] | None = Field(
        None, description="The hours as date-times.", max_length=MOST_HOURS
    )
    elapsed: list[Minutes] | None = Field(
        None, description="The hours in minutes.", max_length=MOST_HOURS
    )
    ambient_temperature: list[Annotated[float, Measure("temperature", example=10.0)]] = Field(
        description="Outside air.", max_length=MOST_HOURS
    )


class HourColumns(HourAir):
    """The hours with the humidity of their air, given or assumed."""

    ambient_relative_humidity: list[Annotated[float, Measure("percent", example=0.7)]] = Field(
        description="Its humidity.", max_length=MOST_HOURS
    )


class Swing(Part):
    """When a figure is lowest and highest over the hours."""

    lowest_at: Stamp | None = Field(None, description="When, as a date-time.")
    lowest_at_elapsed: Minutes | None = Field(None, description="When, in minutes.")
    highest_at: Stamp | None = Field(None, description="When, as a date-time.")
    highest_at_elapsed: Minutes | None = Field(None, description="When, in minutes.")


class RateSwing(Swing):
    """How a rate swings over the hours."""

    lowest: Annotated[float, Measure("grain-rate", example=5.1)] = Field(description="Lowest.")
    highest: Annotated[float, Measure("grain-rate", example=5.8)] = Field(description="Highest.")


class MoistureSwing(Swing):
    """How a moisture swings over the hours."""

    lowest: Annotated[float, Measure("moisture", example=0.152)] = Field(description="Driest.")
    highest: Annotated[float, Measure("moisture", example=0.158)] = Field(description="Wettest.")


class TemperatureSwing(Swing):
    """How a temperature swings over the hours."""

    lowest: Annotated[float, Measure("temperature", example=36.0)] = Field(description="Coldest.")
    highest: Annotated[float, Measure("temperature", example=41.0)] = Field(description="Hottest.")


class HeatSwing(Swing):
    """How the fuel burned swings over the hours."""

    lowest: Annotated[float, Measure("heat-rate", example=1.8e6)] = Field(description="Lowest.")
    highest: Annotated[float, Measure("heat-rate", example=2.3e6)] = Field(description="Highest.")


@dataclass(frozen=True, slots=True, eq=False)
class AirHours:
    """The hours of a request, SI.

    Attributes
    ----------
    seconds : ndarray
        When [s], on the clock's scale.
    temperature : ndarray
        Outside air [degC].
    relative_humidity : ndarray or None
        [-]; None where one humidity holds for all.
    clock : Clock
        How times are spoken of.
    grain_follows : bool
        Whether grain comes in as warm as the air of its hour, since nobody told its temperature.
    """

    seconds: FloatArray
    temperature: FloatArray
    relative_humidity: FloatArray | None
    clock: Clock
    grain_follows: bool = False

    @property
    def count(self) -> int:
        """How many there are."""
        return self.seconds.size

    @property
    def mean_temperature(self) -> float:
        """Mean of the outside air [degC]."""
        return float(np.mean(self.temperature))

    @property
    def mean_humidity(self) -> float | None:
        """Mean of its relative humidity [-]; None where the series tells none."""
        return None if self.relative_humidity is None else float(np.mean(self.relative_humidity))

    def conditions(self, mean: Conditions) -> Conditions:
        """The weather of each hour; humidity and pressure of the mean where the series has none."""
        own = self.relative_humidity
        humidity = mean.ambient_relative_humidity if own is None else own
        return replace(
            mean,
            ambient_temperature=self.temperature,
            ambient_relative_humidity=np.array(np.broadcast_to(humidity, self.temperature.shape)),
        )

    def feed(self, mean: Feed) -> Feed:
        """The grain of each hour; that of the mean where its temperature was given."""
        return replace(mean, temperature=self.temperature) if self.grain_follows else mean

    def air_columns(self) -> dict[str, Any]:
        """What `HourAir` tells of the hours themselves."""
        stamps = [self.clock.stamp(at) for at in self.seconds]
        return {
            "times": [stamp for stamp in stamps if stamp is not None] or None,
            "elapsed": self.seconds.tolist() if self.clock.form == "elapsed" else None,
            "ambient_temperature": self.temperature.tolist(),
        }

    def columns(self, mean_humidity: float) -> dict[str, Any]:
        """What `HourColumns` tells of the hours themselves."""
        own = self.relative_humidity
        damp = [mean_humidity] * self.count if own is None else own.tolist()
        return self.air_columns() | {"ambient_relative_humidity": damp}

    def swing(self, values: FloatArray, known: BoolArray) -> dict[str, Any]:
        """What a `Swing` tells of a column, of which the known rows count; one at least."""
        low, high = extremes(values, known)
        found: dict[str, Any] = {"lowest": float(values[low]), "highest": float(values[high])}
        for name, row in (("lowest", low), ("highest", high)):
            at = float(self.seconds[row])
            found |= {
                f"{name}_at": self.clock.stamp(at),
                f"{name}_at_elapsed": self.clock.minute(at),
            }
        return found

    def say(self, row: int) -> str:
        """When an hour is, in words."""
        return self.clock.say(float(self.seconds[row]))


def air_hours(request: Any) -> AirHours | None:
    """The hours of a request in SI.

    Parameters
    ----------
    request : Request
        With `hourly`.

    Returns
    -------
    AirHours or None
        None where one state of the air was given.

    Raises
    ------
    Inconsistent
        Columns of unequal length, times that do not ascend, or air that is told twice.
    """
    given: HourlyAir | None = request.hourly
    if given is None:
        return None
    if request.ambient_temperature is not None:
        raise Inconsistent("give one state of the air or `hourly`, not both", "hourly")
    single = getattr(request, "ambient_relative_humidity", None)
    if given.relative_humidity is not None and single is not None:
        raise Inconsistent(
            "`hourly` tells the humidity already; leave this out", "ambient_relative_humidity"
        )
    seconds = in_order(given, given.temperature, "hourly")
    if not seconds:
        raise Inconsistent("give at least one hour", "hourly")
    damp = given.relative_humidity
    if damp is not None:
        in_order(given, damp, "hourly")
    return AirHours(
        np.array(seconds),
        np.array(given.temperature),
        None if damp is None else np.array(damp),
        Clock(given.form, given.offset, seconds[0]),
        grain_follows=getattr(request, "grain_temperature", None) is None,
    )


def known_or_null(values: FloatArray, known: BoolArray) -> list[float | None]:
    """A column for an answer, null where an hour has no answer."""
    return [float(value) if good else None for value, good in zip(values, known, strict=True)]


def extremes(values: FloatArray, known: BoolArray) -> tuple[int, int]:
    """Rows of the lowest and the highest known value."""
    rows = np.flatnonzero(known)
    return int(rows[np.argmin(values[rows])]), int(rows[np.argmax(values[rows])])
