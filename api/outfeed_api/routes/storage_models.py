"""What the storage-life route reads and answers."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from outfeed.limits import AMBIENT, MOISTURE_WB, Range
from outfeed.sorption import HUMIDITY
from outfeed.storage_charts import STORAGE_TEMPERATURE
from outfeed.storage_life import DAMAGE, MULTIPLIER, PERMISSIBLE_LOSS
from outfeed.storage_use import SHARE, STAY
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
from outfeed_api.moments import MOST_TIMES
from outfeed_api.routes.season_models import Hourly

MOST_STAYS = 10_000
MOST_STATES = 1_000
MONTHS = Range("months of storage", 0.0, 60.0, "months", "sensible domain of the job, no source")

Warm = Annotated[float, Measure("temperature", STORAGE_TEMPERATURE, example=15.0)]
Wet = Annotated[float, Measure("moisture", MOISTURE_WB, example=0.18)]


class Stay(Given):
    """A time at one temperature and moisture."""

    duration: Annotated[float, Measure("days", STAY, example=864_000.0)] = Field(
        description="How long."
    )
    temperature: Warm = Field(description="Temperature of the grain.")
    moisture: Wet = Field(description="Moisture of the grain.")


class State(Given):
    """One more state to look up."""

    temperature: Warm = Field(description="Temperature of the grain.")
    moisture: Wet = Field(description="Moisture of the grain.")


class StorageLifeRequest(Request):
    """Grain as it is, what it has been through and what is planned."""

    grain: GrainId
    temperature: Warm | None = Field(None, description="Temperature of the grain now.")
    moisture: Wet | None = Field(None, description="Moisture of the grain now.")
    damage: Annotated[float, Measure("percent", DAMAGE, example=0.3)] | None = Field(
        None,
        description="Mechanically damaged kernels by weight, for the formula for corn; 30 % when "
        "left out.",
    )
    permissible_loss: (
        Annotated[float, Measure("percent", PERMISSIBLE_LOSS, example=0.005)] | None
    ) = Field(
        None,
        description="Dry-matter loss allowed, for the formula; 0.5 % when left out, 0.35 % is "
        "advised for combine-shelled corn. Charts keep their own criterion.",
    )
    further_multiplier: Annotated[float, Measure("ratio", MULTIPLIER, example=1.0)] | None = Field(
        None, description="Multiplier for hybrid or preservative from your own source."
    )
    germination: bool | None = Field(
        None, description="Whether germination must be kept, as for malting or seed."
    )
    history: list[Stay] | None = Field(
        None, description="Stays so far, oldest first.", max_length=MOST_STAYS
    )
    plan: list[Stay] | None = Field(
        None, description="Stays to come, in order: a bin plan.", max_length=MOST_STAYS
    )
    holding_share: Annotated[float, Measure("percent", SHARE, example=0.1)] | None = Field(
        None, description="Share of the whole life that wet holding before the dryer may use up."
    )
    months: Annotated[float, Measure("months", MONTHS, example=8.0)] | None = Field(
        None, description="How long the dried grain is to be kept from harvest, for safe moisture."
    )
    air_temperature: Annotated[float, Measure("temperature", AMBIENT, example=5.0)] | None = Field(
        None, description="Temperature of outdoor air, for the moisture it brings grain to."
    )
    air_humidity: Annotated[float, Measure("percent", HUMIDITY, example=0.7)] | None = Field(
        None, description="Relative humidity of outdoor air."
    )
    hourly: Hourly | None = Field(
        None,
        description="Outdoor air hour by hour, for the moisture each hour would bring grain to; "
        "instead of `air_temperature` and `air_humidity`.",
    )
    states: list[State] | None = Field(
        None, description="Many states to look up.", max_length=MOST_STATES
    )


class SourceLife(Part):
    """What one source says."""

    source: str = Field(description="Method id of the formula or chart.", max_length=LONGEST_NAME)
    title: str = Field(description="What it is.", max_length=LONGEST_TEXT)
    criterion: str = Field(description="What ends the life.", max_length=LONGEST_TEXT)
    citation: str = Field(description="Where it comes from.", max_length=LONGEST_TEXT)
    life: Annotated[float, Measure("days")] | None = Field(
        None, description="Whole life of fresh grain at the state now."
    )
    at_least: bool | None = Field(
        None, description="Whether the life is only known to be at least that."
    )
    used: Annotated[float, Measure("percent")] | None = Field(
        None, description="Share of the life used up by the history."
    )
    used_at_most: bool | None = Field(
        None, description="Whether the share used is only known to be at most that."
    )
    left: Annotated[float, Measure("days")] | None = Field(
        None, description="Time left at the state now."
    )
    used_after_plan: Annotated[float, Measure("percent")] | None = Field(
        None, description="Share used up after history and plan."
    )
    after_plan_at_most: bool | None = Field(
        None, description="Whether that share is only known to be at most that."
    )
    left_after_plan: Annotated[float, Measure("days")] | None = Field(
        None,
        description="Time left after the plan at its last stay; at least that where "
        "`after_plan_at_most`.",
    )
    over_after: Annotated[float, Measure("days")] | None = Field(
        None, description="Time into the plan when the life is over, if it is."
    )
    dry_matter_lost: Annotated[float, Measure("percent")] | None = Field(
        None, description="Dry matter lost so far; the formula only."
    )
    no_value: str | None = Field(
        None, description="Why this source has no value here.", max_length=LONGEST_TEXT
    )


class StateLife(Part):
    """What the sources say of one state."""

    temperature: Annotated[float, Measure("temperature")] = Field(description="As given.")
    moisture: Annotated[float, Measure("moisture")] = Field(description="As given.")
    shortest: Annotated[float, Measure("days")] | None = Field(
        None, description="Life by the most cautious source that has a value."
    )
    longest: Annotated[float, Measure("days")] | None = Field(
        None, description="Life by the least cautious one."
    )
    at_least: bool | None = Field(
        None, description="Whether the shortest is only known to be at least that."
    )
    by: str | None = Field(
        None, description="Method id of the most cautious source.", max_length=LONGEST_NAME
    )


class SafeMoisture(Part):
    """A moisture at which one source says the grain keeps."""

    low: Annotated[float, Measure("moisture")] = Field(description="Lowest advised.")
    high: Annotated[float, Measure("moisture")] = Field(description="Highest advised.")
    duration: str = Field(description="How long, in the source's words.", max_length=LONGEST_TEXT)
    warmest: Annotated[float, Measure("temperature")] | None = Field(
        None, description="The warmest grain it holds for; left out where it holds for any."
    )
    source: str = Field(description="Citation.", max_length=LONGEST_TEXT)
    note: str | None = Field(
        None, description="What else there is to say of it.", max_length=LONGEST_TEXT
    )
    dry_enough: bool | None = Field(
        None,
        description="Whether the grain now is no wetter than that, and neither now nor in the "
        "`plan` warmer than `warmest`.",
    )


class AirMoisture(Part):
    """What outdoor air brings grain to if it blows long enough."""

    moisture: Annotated[float, Measure("moisture")] = Field(
        description="Equilibrium moisture by the grain's default isotherm; of a series the mean."
    )
    low: Annotated[float, Measure("moisture")] | None = Field(
        None, description="Lowest of all published sets."
    )
    high: Annotated[float, Measure("moisture")] | None = Field(
        None, description="Highest of all published sets."
    )
    isotherm: str = Field(description="Method id of the isotherm.", max_length=LONGEST_NAME)
    by_hour: list[Annotated[float, Measure("moisture", example=0.15)]] | None = Field(
        None, description="By the hour, at the times given.", max_length=MOST_TIMES
    )
    drying_share: Annotated[float, Measure("percent", example=0.6)] | None = Field(
        None, description="Share of the times given at which the air would dry the grain further."
    )


class StorageLifeAnswer(Answer):
    """How long the grain keeps, by each source."""

    grain: str = Field(description="Id of the grain.", max_length=LONGEST_NAME)
    by_source: list[SourceLife] | None = Field(
        None, description="Formula and charts side by side.", max_length=MOST_ENTRIES
    )
    left_shortest: Annotated[float, Measure("days")] | None = Field(
        None, description="Time left by the most cautious source."
    )
    left_longest: Annotated[float, Measure("days")] | None = Field(
        None, description="Time left by the least cautious source that gives a number."
    )
    holding_limit: Annotated[float, Measure("days")] | None = Field(
        None,
        description="Time in wet holding that uses up the share allowed, most cautious source.",
    )
    states: list[StateLife] | None = Field(
        None, description="The states asked for, in their order.", max_length=MOST_STATES
    )
    safe_moistures: list[SafeMoisture] = Field(
        description="Moistures at which it keeps, source by source.", max_length=MOST_ENTRIES
    )
    outdoor_air: AirMoisture | None = Field(
        None, description="What outdoor air brings the grain to."
    )
