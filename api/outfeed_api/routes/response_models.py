"""What is asked and answered about the column response."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.dryer.transient import HORIZON
from outfeed.limits import SENSIBLE, Range
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, Given, Part
from outfeed_api.routes.air_hours import HourlyAir, MoistureSwing, Stamp, TemperatureSwing
from outfeed_api.routes.column_models import MOST_ROWS, Degrees, GrainMoisture
from outfeed_api.routes.dryer_models import (
    MOST_ZONES,
    Ambient,
    ColumnRequest,
    GivenRate,
    GrainHeat,
    Humidity,
    Moisture,
    Plenum,
)

HOLD = Range("first-fill hold", 0.0, 12.0 * 3600.0, "s", SENSIBLE)
BAND = Range("distance from the target that counts as on target", 0.001, 0.05, "", SENSIBLE)
DURATION = Range("time to follow", HORIZON.low, 3.0 * 86_400.0, "s", SENSIBLE)
USUAL_BAND = 0.005
"""Half a point either side of the target: common practice, no source."""
Verdict = Literal["followed", "out-of-reach", "nothing-to-dry", "not-converged"]


class StepGiven(Given):
    """What is changed; give at least one. What is left out stays as it is."""

    rate: GivenRate | None = Field(None, description="Discharge rate from now on, in `rate_basis`.")
    plenum_temperatures: list[Plenum] | None = Field(
        None,
        description="Plenum temperatures of the heated zones from now on, from the top.",
        min_length=1,
        max_length=MOST_ZONES,
    )
    moisture: Moisture | None = Field(None, description="Moisture of the grain going in.")
    grain_temperature: GrainHeat | None = Field(
        None, description="Temperature of the grain going in."
    )
    ambient_temperature: Ambient | None = Field(
        None,
        description="Temperature of the outside air; the grain's too, unless `grain_temperature` "
        "is given here or for the dryer.",
    )
    ambient_relative_humidity: Humidity | None = Field(
        None, description="Relative humidity of the outside air."
    )


class ColumnResponseRequest(ColumnRequest):
    """A dryer that runs settled, or that is filled for the first time, and what is done to it."""

    hourly: HourlyAir | None = Field(
        None,
        description="Outside air over time, in place of one state: it drives the column, straight "
        "between its times; the last air stays. The trace starts at its first time, from a column "
        "settled in that air; without `rate` at the rate that meets the target in it.",
    )
    start: Literal["settled", "first-fill"] = Field(
        "settled",
        description="`settled`: the dryer has run as described; `first-fill`: it is full of wet "
        "grain as fed, and the burners are just up.",
    )
    step: StepGiven | None = Field(
        None,
        description="What is changed; for a `settled` start. With `hourly` the weather alone may "
        "be the change.",
    )
    hold: Annotated[float, Measure("minutes", HOLD, example=2700.0)] | None = Field(
        None,
        description="For a first fill: how long the grain is held before the discharge starts; "
        "sought if left out.",
    )
    band: Annotated[float, Measure("points", BAND, example=0.005)] | None = Field(
        None, description="Distance from the target that still counts as on target; half a point."
    )
    duration: Annotated[float, Measure("hours", DURATION, example=18_000.0)] | None = Field(
        None,
        description="How long to follow; two and a half transits if left out, with `hourly` as "
        "long as the series, at most three days.",
    )


class Trace(Part):
    """What leaves, over time."""

    elapsed: list[Annotated[float, Measure("minutes", example=1200.0)]] = Field(
        description="Time since the change, or since the column was full.", max_length=MOST_ROWS
    )
    times: list[Stamp] | None = Field(
        None, description="The same as date-times, where `hourly` has such.", max_length=MOST_ROWS
    )
    ambient_temperature: list[Degrees] | None = Field(
        None, description="Outside air, where `hourly` drives the column.", max_length=MOST_ROWS
    )
    moisture: list[GrainMoisture] = Field(
        description="Grain at the discharge.", max_length=MOST_ROWS
    )
    temperature: list[Degrees] = Field(description="Grain at the discharge.", max_length=MOST_ROWS)
    column_temperature: list[Degrees] | None = Field(
        None, description="Mean of the column sensors.", max_length=MOST_ROWS
    )
    hottest_kernel: list[Degrees] = Field(
        description="Hottest grain in the column.", max_length=MOST_ROWS
    )
    discharged: list[Annotated[float, Measure("grain", example=8000.0)]] = Field(
        description="Grain that has left, counted at the target.", max_length=MOST_ROWS
    )


class OffTargetGrain(Part):
    """Grain that leaves off target."""

    wet: Annotated[float, Measure("grain", example=9000.0)] = Field(
        description="Grain above the band, counted at the target."
    )
    wet_by: Annotated[float, Measure("points", example=0.02)] = Field(
        description="How far above the target it is on average."
    )
    dry: Annotated[float, Measure("grain", example=0.0)] = Field(
        description="Grain below the band, counted at the target."
    )
    dry_by: Annotated[float, Measure("points", example=0.01)] = Field(
        description="How far below the target it is on average."
    )
    until: Annotated[float, Measure("minutes", example=6600.0)] = Field(
        description="When the last of it has left."
    )
    hottest_kernel: Degrees = Field(description="Hottest grain on the way.")


class MoistureMove(Part):
    """How the discharge moisture moves."""

    before: GrainMoisture = Field(description="Before.")
    after: GrainMoisture = Field(description="At the end of the trace.")
    dead_time: Annotated[float, Measure("minutes", example=300.0)] | None = Field(
        None, description="Until 5 % of the way; left out when nothing moves."
    )
    settling_time: Annotated[float, Measure("minutes", example=6900.0)] = Field(
        description="Until it stays within 5 % of the way of its end."
    )


class TemperatureMove(Part):
    """How the column temperature moves."""

    before: Degrees = Field(description="Before.")
    after: Degrees = Field(description="At the end of the trace.")
    dead_time: Annotated[float, Measure("minutes", example=1200.0)] | None = Field(
        None, description="Until 5 % of the way; left out when nothing moves."
    )
    settling_time: Annotated[float, Measure("minutes", example=6000.0)] = Field(
        description="Until it stays within 5 % of the way of its end."
    )


class ResponseSwings(Part):
    """How far the weather takes the column, settings held."""

    moisture: MoistureSwing = Field(description="Grain at the discharge.")
    temperature: TemperatureSwing = Field(description="Grain at the discharge.")
    column_temperature: TemperatureSwing | None = Field(
        None, description="Mean of the column sensors."
    )


class ColumnResponseAnswer(Answer):
    """What leaves, when, and how far off."""

    verdict: Verdict = Field(
        description="Whether the figures stand; without `followed` there are none."
    )
    target: GrainMoisture | None = Field(
        None, description="What on target is counted from: yours, else the moisture before."
    )
    rate: Annotated[float, Measure("grain-rate", example=6.0)] | None = Field(
        None, description="Dry grain leaving after the change, counted at the target."
    )
    transit_time: Annotated[float, Measure("hours", example=6900.0)] | None = Field(
        None, description="From top to discharge after the change."
    )
    moisture: MoistureMove | None = Field(
        None, description="How the discharge moisture moves; left out with `hourly`."
    )
    column: TemperatureMove | None = Field(
        None,
        description="How the column temperature moves; left out without sensors and with `hourly`.",
    )
    off_target: OffTargetGrain | None = Field(
        None, description="Off-target grain of the whole trace."
    )
    in_column: OffTargetGrain | None = Field(
        None, description="Off-target part of the grain that is in the column at the start."
    )
    without_hold: OffTargetGrain | None = Field(
        None, description="First fill: the same grain if it is not held."
    )
    hold: Annotated[float, Measure("minutes", example=2700.0)] | None = Field(
        None, description="First fill: the hold that the trace shows."
    )
    rate_for_target: Annotated[float, Measure("grain-rate", example=5.6)] | None = Field(
        None,
        description="Dry grain leaving at which it would settle at the target again; with `hourly` "
        "in the air at its end.",
    )
    over_hours: ResponseSwings | None = Field(
        None, description="With `hourly`: how far the weather takes the column, and when."
    )
    trace: Trace | None = Field(None, description="What leaves, over time.")
