"""What gain advice is asked with and what it answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from outfeed.limits import SENSIBLE, TRANSIT, Range
from outfeed.steering import gain as advising
from outfeed.steering import lag as lagging
from outfeed.steering import tuning
from outfeed.steering.level_limits import SENSITIVITY_PER_KELVIN
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, Given, GrainId, Part, Request, named
from outfeed_api.moments import Elapsed, Moment
from outfeed_api.routes.trend_models import ColumnTrace, TrendEvidence

REASONS = (
    "too-lively",
    "too-slow",
    "between-two-steps",
    "throughput",
    "no-evidence-against",
    "confirm",
    "wait",
    "output-at-limit",
    "not-the-loop",
    "one-value",
    "sensor-fault",
    "disturbed",
    "collapsed",
    "far-below",
    "column-not-read",
    "discharge-stopped",
    "fire-caution",
)
MOST_LOOKS = 6
MOST_STEPS = 20
MULTIPLIER = Range("multiplier of an earlier change", 0.05, 20.0, "", SENSIBLE)
AMPLITUDE = Range("half swing", 0.0, 100.0, "K", SENSIBLE)
PLANT_GAIN = Range("temperature change per unit of output", -1e6, 1e6, "K", SENSIBLE)


class PlantPart(Given):
    """What is known of the plant: how the temperature answers the controller's output."""

    gain: Annotated[float, Measure("temperature-difference", PLANT_GAIN, example=-0.8)] = Field(
        description="Change of temperature per unit of output, on the output's own scale: that of "
        "`output` in the traces, where it is sent, and with its sign."
    )
    dead_time: Annotated[float, Measure("minutes", tuning.DEAD_TIME, example=900.0)] = Field(
        description="Time before a change of output shows."
    )
    lag: Annotated[float, Measure("minutes", tuning.LAG, example=1800.0)] = Field(
        description="Time constant after it."
    )


class StepPart(Given):
    """An earlier change of the gain."""

    at: Moment | None = Field(None, description="When; give this or `at_elapsed`.")
    at_elapsed: Elapsed | None = Field(None, description="When, on your own clock.")
    multiplier: Annotated[float, Measure("ratio", MULTIPLIER, example=0.5)] = Field(
        description="New gain over old."
    )
    half_swing: (
        Annotated[float, Measure("temperature-difference", AMPLITUDE, example=2.0)] | None
    ) = Field(None, description="Half swing before the change, when there was one.")


class GainAdviceRequest(Request):
    """Traces at the present gain, oldest first, and what is known of the loop."""

    grain: GrainId = "corn-yellow-dent"
    traces: list[ColumnTrace] = Field(
        description="Traces at the present gain, oldest first; the last is the latest. Two looks "
        "that agree, about a period of the swing apart, are worth more than one, and those that "
        "run on are judged together where the last alone shows no whole swing. Of each only what "
        "follows the last change in `history` counts.",
        min_length=1,
        max_length=MOST_LOOKS,
    )
    present_gain: Annotated[float, Measure("ratio", advising.GAIN, example=4.0)] | None = Field(
        None, description="Present gain on the controller's own scale; 1 if left out."
    )
    controller: Literal["pi", "integral-only"] = Field(
        "pi", description="Proportional-integral, or integral action alone."
    )
    discharge_rate: (
        Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=6.0)] | None
    ) = Field(None, description="Present discharge rate.")
    right_rate: (
        Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=5.0)] | None
    ) = Field(None, description="Discharge rate at which the present gain was last right.")
    transit: Annotated[float, Measure("hours", TRANSIT, example=7200.0)] | None = Field(
        None, description="Present transit time; tells the loop's own swing from another."
    )
    plant: PlantPart | None = Field(
        None,
        description="The plant, for a physical gain; with `output` in the latest trace it tells a "
        "swing that comes from outside as well.",
    )
    history: list[StepPart] | None = Field(
        None, description="Earlier changes of the gain, oldest first.", max_length=MOST_STEPS
    )
    sensitivity: (
        Annotated[float, Measure("points-per-temperature", SENSITIVITY_PER_KELVIN, example=-0.0099)]
        | None
    ) = Field(None, description="Points of outlet moisture per degree; sets what counts as level.")


class PhysicalPart(Part):
    """Tuning from the plant, on the output's own scale."""

    proportional: Annotated[float, Measure("output-per-temperature")] = Field(
        description="Proportional gain; zero for integral action alone."
    )
    integral: Annotated[float, Measure("output-per-temperature-time")] = Field(
        description="Integral gain."
    )
    integral_time: Annotated[float, Measure("minutes")] | None = Field(
        None, description="Integral time of a proportional-integral controller."
    )


class GainAdviceAnswer(Answer):
    """A multiplier on the present gain, with its reason."""

    multiplier: Annotated[float, Measure("ratio")] = Field(
        description="On the present gain, the integral time left as it is, 0.4 to 2; 1 means leave "
        "it. Of a controller with integral action alone it is the integral gain."
    )
    integral_multiplier: Annotated[float, Measure("ratio")] = Field(
        description="On the present integral action, 0.4 to 2; other than `multiplier` where a new "
        "discharge rate asks for another integral time and the proportional gain stays."
    )
    gain: Annotated[float, Measure("ratio")] = Field(
        description="The new gain, on the controller's own scale."
    )
    reason: str = Field(
        description=f"Stable code of the reason, {named(REASONS)}.",
        max_length=40,
    )
    confirmed: bool = Field(description="Whether it was seen twice, or plainly once.")
    share_of_ultimate: Annotated[float, Measure("ratio")] | None = Field(
        None, description="Present gain over the gain at which the loop would just keep swinging."
    )
    throughput: Annotated[float, Measure("ratio")] | None = Field(
        None,
        description="Factor on the integral action that the change of rate alone asks for, where "
        "the output acts in proportion to the present rate; where it is an absolute speed, the "
        "proportional gain takes the factor too.",
    )
    physical: PhysicalPart | None = Field(None, description="Tuning from the plant.")
    look_at: str | None = Field(None, description="When to send the next trace.", max_length=40)
    look_at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="The same on your own clock."
    )
    trend: TrendEvidence | None = Field(
        None, description="The latest trend; left out where a caution rests on too few readings."
    )
