"""Changes known beforehand: how setpoint advice is told of them, and what it plans for them."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from outfeed.steering import feedforward as planning
from outfeed.steering.inlet_rate import MOISTURE_CHANGE
from outfeed.steering.moves import ChangeKind
from outfeed_api.measures import Measure
from outfeed_api.models import Given, Part
from outfeed_api.moments import Elapsed, Moment

MOST_CHANGES = 20
MOST_MOVES = 2 * MOST_CHANGES


class KnownChangePart(Given):
    """Something that is known to change."""

    kind: ChangeKind = Field(
        description="`inlet-moisture` of the grain as it enters; `plenum-temperature`, all "
        "plenums together; `ambient-temperature`, air and grain, plenums held; "
        "`grain-temperature` of the grain as it enters."
    )
    at: Moment | None = Field(None, description="When; now if left out.")
    at_elapsed: Elapsed | None = Field(None, description="When, on your own clock.")
    moisture_change: Annotated[float, Measure("points", MOISTURE_CHANGE, example=0.02)] | None = (
        Field(None, description="By how much, for inlet moisture; positive is wetter.")
    )
    temperature_change: (
        Annotated[
            float, Measure("temperature-difference", planning.TEMPERATURE_CHANGE, example=-8.0)
        ]
        | None
    ) = Field(None, description="By how much, for a temperature; positive is warmer.")


class ScheduledPart(Part):
    """A move of the setpoint that answers a known change."""

    at: str | None = Field(None, description="When to move.", max_length=40)
    at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="When to move, on your own clock."
    )
    step: Annotated[float, Measure("temperature-difference")] = Field(description="By how much.")
    setpoint: Annotated[float, Measure("temperature")] = Field(
        description="Setpoint from then on, before any other advice."
    )
    because: ChangeKind = Field(description="Kind of the change it answers.")
    chance: Annotated[float, Measure("probability")] | None = Field(
        None,
        description="Chance that the setpoint has to go that way for it; left out for "
        "temperatures, and beside a `setpoint_bridge`, which is set and taken back.",
    )


class EffectPart(Part):
    """What a known change does."""

    kind: ChangeKind = Field(description="Kind of the change.")
    setpoint_change: Annotated[float, Measure("temperature-difference")] = Field(
        description="Change of setpoint that keeps the discharge moisture, before rounding; 0 "
        "for grain that needs no drying."
    )
    setpoint_uncertainty: Annotated[float, Measure("temperature-difference")] = Field(
        description="Its standard deviation: of inlet moisture what is not known of wetter grain "
        "in this dryer, of a temperature half of the change."
    )
    chance: Annotated[float, Measure("probability")] | None = Field(
        None,
        description="Chance that the setpoint has to go that way; left out for temperatures, of "
        "which readings teach nothing.",
    )
    setpoint_bridge: Annotated[float, Measure("temperature-difference")] = Field(
        description="Change of setpoint while the change is on its way to the sensors, before "
        "rounding; it brings the rate in time and is taken back as they see the change. 0 unless "
        "the sensors lie below the middle of the dryer: less than half of `transit` is `lag`."
    )
    rate_change: Annotated[float, Measure("percent")] | None = Field(
        None,
        description="Change of the discharge rate to expect; left out where it cannot be told.",
    )
    at_sensors: str | None = Field(
        None, description="When it has reached the column sensors.", max_length=40
    )
    at_sensors_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="When it has reached the column sensors, on your own clock."
    )
    at_discharge: str | None = Field(
        None, description="When it has reached the discharge.", max_length=40
    )
    at_discharge_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="When it has reached the discharge, on your own clock."
    )
