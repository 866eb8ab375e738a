"""What the trend is asked with and what it answers; gain advice shares the trace."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from outfeed.arrays import FloatArray
from outfeed.errors import OutOfRange
from outfeed.steering import lag as lagging
from outfeed.steering.clean import COLUMN_SETPOINT, SENT_READING
from outfeed.steering.level_limits import SENSITIVITY_PER_KELVIN
from outfeed.steering.measure import USABLE
from outfeed.steering.settling import METERING
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, GrainId, Part, Request, named
from outfeed_api.moments import MOST_TIMES, Timed

MOST_REMARKS = 20
MOST_NUMBERS = 4
WORDS = 9
REMARKS = (
    "not-sure",
    "small-swing",
    "slow-creep",
    "output-at-limit",
    "output-wrong-way",
    "setpoint-changed",
    "long-gap",
    "long-trace",
    "coarse-readings",
    "one-value",
    "last-reading-apart",
    "answers-again",
    "gaps",
    "frozen",
    "sluggish",
)

Verdict = Literal[
    "level",
    "drifting",
    "calming",
    "cycling",
    "growing",
    "stuck",
    "disturbed",
    "too-short",
    "sensor-fault",
]


MEANING = (
    "The trend in a word, which claims what is true of the loop itself, noise of the readings "
    "apart. `growing`, `cycling`, `calming`: half a swing is beyond `limits.half_swing`, and each "
    "swing is more than 1.25, 0.62 to 1.25, or less than 0.62 of the one before. `disturbed`: a "
    "push in the last two hours moved the temperature by that much. `stuck`: held off the "
    "setpoint, as by an output at its end. `drifting`: slope or offset beyond its limit. `level`: "
    "all within. `too-short`: fewer than twenty minutes, less than a cycle and a half of a swing, "
    "or a slope that a trace of this length cannot settle. `sensor-fault`: the sensor has stopped, "
    "or reads what none can."
)


class OutputSeries(Timed):
    """What the controller did: discharge rates or settings of the metering drive."""

    rates: (
        list[Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=5.5)]] | None
    ) = Field(
        None,
        description="Discharge rates, one for every time; give these or `settings`.",
        max_length=MOST_TIMES,
    )
    settings: list[Annotated[float, Measure("metering-setting", METERING, example=42.0)]] | None = (
        Field(
            None,
            description="Settings of the metering drive, one for every time.",
            max_length=MOST_TIMES,
        )
    )
    lowest: Annotated[float, Measure("metering-setting", METERING, example=20.0)] | None = Field(
        None, description="Lowest setting the controller may give; only with `settings`."
    )
    highest: Annotated[float, Measure("metering-setting", METERING, example=95.0)] | None = Field(
        None, description="Highest setting the controller may give; only with `settings`."
    )
    lowest_rate: (
        Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=2.0)] | None
    ) = Field(None, description="Lowest discharge rate allowed; only with `rates`.")
    highest_rate: (
        Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=8.0)] | None
    ) = Field(None, description="Highest discharge rate allowed; only with `rates`.")


class ColumnTrace(Timed):
    """A controlled temperature with its setpoint."""

    temperatures: list[
        Annotated[float, Measure("temperature", SENT_READING, example=82.0)] | None
    ] = Field(
        description="Column temperatures, or another controlled temperature, one for every time, "
        "in any order, as they were shown; null where the sensor gave none. What no sensor in a "
        "dryer can show is counted and left out.",
        max_length=MOST_TIMES,
    )
    setpoint: Annotated[float, Measure("temperature", COLUMN_SETPOINT, example=82.0)] | None = (
        Field(None, description="Setpoint over the whole trace; give this or `setpoints`.")
    )
    setpoints: (
        list[Annotated[float, Measure("temperature", COLUMN_SETPOINT, example=82.0)]] | None
    ) = Field(
        None,
        description="Setpoint at every time; only what follows its last change is judged.",
        max_length=MOST_TIMES,
    )
    output: OutputSeries | None = Field(
        None, description="What the controller did meanwhile, for an output at its limit."
    )


class TrendRequest(Request):
    """A trace of at most seven days, judged from 20 minutes on and by its last 36 hours, and what
    counts as level."""

    grain: GrainId = "corn-yellow-dent"
    column: ColumnTrace = Field(description="The trace to judge.")
    sensitivity: (
        Annotated[float, Measure("points-per-temperature", SENSITIVITY_PER_KELVIN, example=-0.0099)]
        | None
    ) = Field(
        None,
        description="Points of outlet moisture per degree of column temperature; the limits of "
        "level follow from it. -0.55 per degF if left out.",
    )


class RemarkPart(Part):
    """Something worth knowing beside the verdict."""

    code: str = Field(
        description=f"Stable code, {named(REMARKS)}.", max_length=40, examples=["small-swing"]
    )
    text: str = Field(description="The same in words.", max_length=400)


class ChancePart(Part):
    """How likely one verdict is."""

    verdict: Verdict = Field(description="The verdict.")
    probability: Annotated[float, Measure("probability")] = Field(
        description="Its probability, calibrated on simulated control loops."
    )


class LimitsPart(Part):
    """What counts as level here."""

    slope: Annotated[float, Measure("temperature-rate")] = Field(description="Largest slope.")
    offset: Annotated[float, Measure("temperature-difference")] = Field(
        description="Largest distance of the mean from the setpoint."
    )
    half_swing: Annotated[float, Measure("temperature-difference")] = Field(
        description="Largest half swing."
    )


class CleanedPart(Part):
    """What was set aside before judging."""

    impossible: Annotated[int, Measure("count")] = Field(description="Impossible readings.")
    spikes: Annotated[int, Measure("count")] = Field(description="Single spikes.")
    gaps: Annotated[int, Measure("count")] = Field(description="Gaps.")
    gap_time: Annotated[float, Measure("minutes")] = Field(description="Time lost in gaps.")
    frozen_time: Annotated[float, Measure("minutes")] = Field(
        description="Time in which the sensor did not answer."
    )


class TrendEvidence(Part):
    """The evidence for one verdict; where nothing could be measured, it holds no numbers."""

    verdict: Verdict = Field(description=MEANING)
    slope: Annotated[float, Measure("temperature-rate")] | None = Field(
        None, description="Slope over the last two hours, any swing taken out."
    )
    slope_low: Annotated[float, Measure("temperature-rate")] | None = Field(
        None, description="Low end of its 95 % interval, autocorrelation allowed for."
    )
    slope_high: Annotated[float, Measure("temperature-rate")] | None = Field(
        None, description="High end of its 95 % interval."
    )
    offset: Annotated[float, Measure("temperature-difference")] | None = Field(
        None,
        description="Plain mean of the readings of the last two hours minus setpoint, a swing left "
        "in, single odd readings set aside, minutes read far oftener than others counted at most "
        "twice.",
    )
    crossings_per_two_hours: Annotated[float, Measure("ratio")] | None = Field(
        None, description="How often the trace crossed the setpoint, scaled to two hours."
    )
    period: Annotated[float, Measure("minutes")] | None = Field(
        None, description="Period of the swing, when there is one."
    )
    half_swing: Annotated[float, Measure("temperature-difference")] | None = Field(
        None, description="Half swing at the end of the trace."
    )
    decay_ratio: Annotated[float, Measure("ratio")] | None = Field(
        None, description="One swing over the one before; above 1 it grows."
    )
    noise: Annotated[float, Measure("temperature-difference")] | None = Field(
        None, description="Standard deviation of the noise from reading to reading."
    )
    effective_samples: Annotated[float, Measure("ratio")] | None = Field(
        None,
        description="Independent readings that the last two hours are worth, of 40 at most, by how "
        "neighbouring stretches follow each other about the slope.",
    )
    cycles_seen: Annotated[float, Measure("ratio")] | None = Field(
        None, description="Cycles in the trace."
    )
    minutes_missing: Annotated[float, Measure("minutes")] = Field(
        description="How much longer to watch before it can be judged; 0 when it can."
    )
    remarks: list[RemarkPart] = Field(
        description="What else to know, stable codes with words.", max_length=MOST_REMARKS
    )
    probabilities: list[ChancePart] = Field(
        description="Probability of each verdict, likeliest first; of a column that is read no "
        "more they are those of the readings before.",
        max_length=WORDS,
    )
    limits: LimitsPart = Field(description="What counts as level here.")
    cleaned: CleanedPart | None = Field(None, description="What was set aside before judging.")


class TrendAnswer(Answer, TrendEvidence):
    """The trend with its evidence; a caution over too few readings has a trend without numbers."""

    window_from: str | None = Field(
        None, description="Begin of the window of slope and offset.", max_length=40
    )
    window_from_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="The same on your own clock."
    )
    look_at: str | None = Field(None, description="When to look again.", max_length=40)
    look_at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="The same on your own clock."
    )


def readings(trace: ColumnTrace) -> FloatArray:
    """Temperatures with NaN where there was none [degC].

    Parameters
    ----------
    trace : ColumnTrace
        In SI.

    Returns
    -------
    ndarray
        One a time.
    """
    return np.array([np.nan if v is None else v for v in trace.temperatures], dtype=np.float64)


@contextmanager
def as_sent() -> Iterator[None]:
    """Tell between which numbers of readings a trace is judged as one request takes it.

    Raises
    ------
    OutOfRange
        What the library raises; too few readings with the most that a trace may hold here.
    """
    try:
        yield
    except OutOfRange as error:
        if error.quantity != USABLE.quantity:
            raise
        between = (USABLE.low, float(MOST_TIMES))
        raise OutOfRange(
            error.quantity, error.value, between, name=error.name, beyond=error.beyond
        ) from error
