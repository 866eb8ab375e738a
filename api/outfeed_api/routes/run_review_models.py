"""What the run-review route reads and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from outfeed.dryer.description import DryerKind
from outfeed.limits import MOISTURE_WB, PLENUM, SENSIBLE, Range
from outfeed.review import FUEL_PRICE, Review
from outfeed.runlog import (
    HOLD_UP,
    LOGGED_HEAT,
    LOGGED_MOISTURE,
    LOGGED_RATE,
    LOGGED_SETPOINT,
)
from outfeed.shrink import PRICE
from outfeed.steering.clean import SENT_READING
from outfeed_api.measures import Measure
from outfeed_api.models import (
    LONGEST_NAME,
    LONGEST_TEXT,
    MOST_ENTRIES,
    Answer,
    GrainId,
    Part,
    Request,
)
from outfeed_api.moments import Elapsed, Moment, Timed
from outfeed_api.tables import Table

MOST_ROWS = 100_000
MOST_SENSORS = 12
FUEL_FLOW = Range("fuel flow", 0.0, 10.0, "m3/s", SENSIBLE)
HEAT_USED = Range("fuel burned", 0.0, 1e15, "J", SENSIBLE)
Rate = Annotated[float, Measure("grain-rate", LOGGED_RATE, example=5.5)]
Moisture = Annotated[float, Measure("moisture", LOGGED_MOISTURE, example=0.155)]
Temperature = Annotated[float, Measure("temperature", SENT_READING, example=38.0)]
Setpoint = Annotated[float, Measure("temperature", LOGGED_SETPOINT, example=93.0)]
Liquid = Annotated[float, Measure("liquid-rate", FUEL_FLOW, example=6e-5)]
Gas = Annotated[float, Measure("gas-rate", FUEL_FLOW, example=0.05)]
Heat = Annotated[float, Measure("heat-rate", LOGGED_HEAT, example=1.5e6)]


class LogColumns(Timed):
    """A log as columns of one length; a reading that was not taken is null."""

    times: list[Moment] | None = Field(
        None,
        description="Times as RFC 3339 date-times with an offset; give these or `elapsed`.",
        max_length=MOST_ROWS,
    )
    elapsed: list[Elapsed] | None = Field(
        None,
        description="Minutes since an origin of your own; give these or `times`.",
        max_length=MOST_ROWS,
    )
    rate: list[Rate | None] = Field(description="Grain leaving.", max_length=MOST_ROWS)
    moisture_in: list[Moisture | None] | None = Field(
        None, description="Moisture of the grain entering.", max_length=MOST_ROWS
    )
    moisture_out: list[Moisture | None] | None = Field(
        None, description="Moisture of the grain leaving.", max_length=MOST_ROWS
    )
    column_temperatures: list[Annotated[list[Temperature | None], Field(max_length=MOST_ROWS)]] = (
        Field(
            default_factory=list,
            description="Temperatures in the grain column, one list a sensor.",
            max_length=MOST_SENSORS,
        )
    )
    plenum: list[Temperature | None] | None = Field(
        None, description="Plenum temperature.", max_length=MOST_ROWS
    )
    plenum_setpoint: list[Setpoint | None] | None = Field(
        None, description="Plenum setpoint, where it changed.", max_length=MOST_ROWS
    )
    fuel_liquid: list[Liquid | None] | None = Field(
        None, description="Fuel flow of a liquid fuel.", max_length=MOST_ROWS
    )
    fuel_gas: list[Gas | None] | None = Field(
        None, description="Fuel flow of a gas.", max_length=MOST_ROWS
    )
    heat: list[Heat | None] | None = Field(
        None,
        description="Fuel burned as heat, higher heating value, instead of a flow.",
        max_length=MOST_ROWS,
    )
    reference: list[Moisture | None] | None = Field(
        None,
        description="Discharge moisture of samples checked on a reference meter or oven; null "
        "where there was none.",
        max_length=MOST_ROWS,
    )


CSV_COLUMNS: dict[str, Measure] = {
    "rate": Measure("grain-rate", LOGGED_RATE),
    "moisture_in": Measure("moisture", LOGGED_MOISTURE),
    "moisture_out": Measure("moisture", LOGGED_MOISTURE),
    **{
        f"column_temperature_{k}": Measure("temperature", SENT_READING)
        for k in range(1, MOST_SENSORS + 1)
    },
    "plenum": Measure("temperature", SENT_READING),
    "plenum_setpoint": Measure("temperature", LOGGED_SETPOINT),
    "fuel_liquid": Measure("liquid-rate", FUEL_FLOW),
    "fuel_gas": Measure("gas-rate", FUEL_FLOW),
    "heat": Measure("heat-rate", LOGGED_HEAT),
    "reference": Measure("moisture", LOGGED_MOISTURE),
}


class RunReviewRequest(Request):
    """A log and what it is judged by."""

    grain: GrainId
    log: LogColumns = Field(description="The log.")
    target: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.155)] = Field(
        description="Discharge moisture wanted."
    )
    hold_up: Annotated[float, Measure("grain", HOLD_UP, example=20_000.0)] = Field(
        description="Grain held in the dryer."
    )
    market_moisture: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.155)] | None = (
        Field(
            None,
            description="Moisture up to which the full weight is paid; the target if left out.",
        )
    )
    dryer_kind: DryerKind | None = Field(
        None, description="Kind of dryer, to hold its energy against published ranges."
    )
    plenum_setpoint: Annotated[float, Measure("temperature", PLENUM, example=93.0)] | None = Field(
        None, description="Plenum setpoint throughout, where the log has no column of it."
    )
    fuel: Literal["propane", "fuel-oil", "natural-gas"] | None = Field(
        None, description="What the fuel flow is a flow of."
    )
    heat_used: Annotated[float, Measure("energy", HEAT_USED, example=5e11)] | None = Field(
        None, description="Fuel burned over the whole log, where the log has no column of it."
    )
    grain_price: Annotated[float, Measure("price-of-grain", PRICE, example=0.17)] | None = Field(
        None, description="Price of grain."
    )
    heat_price: Annotated[float, Measure("price-of-heat", FUEL_PRICE, example=2e-8)] | None = Field(
        None, description="Price of fuel for its higher heating value."
    )

    _table: Table | None = PrivateAttr(None)
    _review: Review | None = PrivateAttr(None)


Points = Annotated[float, Measure("points", example=0.004)]
Share = Annotated[float, Measure("percent", example=0.75)]
Wet = Annotated[float, Measure("moisture", example=0.155)]
Grain = Annotated[float, Measure("grain", example=500_000.0)]
Degrees = Annotated[float, Measure("temperature", example=38.0)]


class MoistureReview(Part):
    """The discharged grain."""

    mean: Wet = Field(description="Mean over the grain that left: the moisture of the pile.")
    spread: Points = Field(description="Standard deviation over the grain.")
    low: Wet = Field(description="5th percentile of the readings.")
    high: Wet = Field(description="95th percentile of the readings.")
    on_target: Share = Field(description="Grain within half a point of the target.")
    too_wet: Share = Field(description="Grain above that.")
    too_dry: Share = Field(description="Grain below that.")
    time_on_target: Share = Field(description="Running time within half a point of the target.")
    grain_read: Share = Field(description="Grain whose moisture was read.")


class EnergyReview(Part):
    """Fuel against water."""

    heat: Annotated[float, Measure("energy", example=5e11)] = Field(
        description="Fuel burned, higher heating value."
    )
    water: Annotated[float, Measure("mass", example=40_000.0)] = Field(description="Water removed.")
    points: Points = Field(description="Mean points removed.")
    per_water: Annotated[float, Measure("specific-energy", example=4.5e6)] = Field(
        description="Fuel per water removed."
    )
    low: Annotated[float, Measure("specific-energy", example=4.1e6)] = Field(
        description="Lower end of its 90 % band, from the doubt about both moistures."
    )
    high: Annotated[float, Measure("specific-energy", example=5.0e6)] = Field(
        description="Upper end of its 90 % band."
    )
    grain_covered: Share = Field(description="Grain with both moistures known.")
    heat_read: Share = Field(
        description="Time with a reading of fuel or heat; the rest is taken to be like it."
    )
    published_low: Annotated[float, Measure("specific-energy", example=3.7e6)] | None = Field(
        None, description="Lower end of the published range for the kind of dryer."
    )
    published_high: Annotated[float, Measure("specific-energy", example=5.2e6)] | None = Field(
        None, description="Upper end of the published range."
    )
    published_source: str | None = Field(
        None, description="Where the range comes from.", max_length=LONGEST_TEXT
    )
    verdict: Literal["below", "inside", "above", "overlaps", "unknown"] = Field(
        description="Against the published range; `overlaps` when the band does not decide."
    )


class OverDryingReview(Part):
    """What drying below the market moisture cost; grain that came drier counts from its own."""

    grain: Grain = Field(
        description="Grain that left drier than it came and below the market moisture."
    )
    weight_given_away: Annotated[float, Measure("mass", example=3_000.0)] = Field(
        description="Water that could have been sold as grain."
    )
    money: Annotated[float, Measure("money", example=510.0)] | None = Field(
        None, description="That weight at the price of grain."
    )
    fuel_money: Annotated[float, Measure("money", example=130.0)] | None = Field(
        None, description="Fuel that evaporated it."
    )


class StartingPoint(Part):
    """Where to start with grain of about one inlet moisture."""

    inlet_moisture: Wet = Field(description="Mean inlet moisture of the settled transits.")
    settled_transits: Annotated[int, Measure("count", example=6)] = Field(
        description="Settled transits it rests on."
    )
    rate: Annotated[float, Measure("grain-rate", example=5.5)] = Field(
        description="Mean discharge rate."
    )
    column_temperature: Degrees = Field(description="Mean column temperature its grain felt.")
    moisture: Wet = Field(description="Mean discharge moisture.")
    spread: Points = Field(description="Standard deviation between transits.")
    setpoint: Degrees = Field(description="Column setpoint to start with for the target.")
    setpoint_low: Degrees = Field(description="Lower end of its 90 % band.")
    setpoint_high: Degrees = Field(description="Upper end of its 90 % band.")


class ColumnResponse(Part):
    """How discharge moisture followed the column temperature."""

    per_degree: Annotated[float, Measure("points-per-temperature", example=-0.01)] = Field(
        description="Points of moisture per degree of column temperature."
    )
    per_degree_doubt: Annotated[float, Measure("points-per-temperature", example=0.002)] = Field(
        description="Its standard deviation."
    )
    per_inlet_point: Annotated[float, Measure("ratio", example=-0.3)] = Field(
        description="Points at the discharge per point at the inlet, at one column temperature."
    )
    per_inlet_point_doubt: Annotated[float, Measure("ratio", example=0.1)] = Field(
        description="Its standard deviation."
    )


class MeterReview(Part):
    """Whether the discharge meter wanders."""

    basis: Literal["samples", "column"] = Field(
        description="`samples`: against the reference samples; `column`: against what column "
        "temperature and inlet moisture say, where a change of the dryer looks the same."
    )
    count: Annotated[int, Measure("count", example=12)] = Field(description="Samples or transits.")
    offset: Points | None = Field(None, description="Mean of reference less meter.")
    offset_low: Points | None = Field(None, description="Lower end of its 90 % interval.")
    offset_high: Points | None = Field(None, description="Upper end of its 90 % interval.")
    per_day: Annotated[float, Measure("points-per-day", example=1e-8)] = Field(
        description="How the meter's excess grows."
    )
    per_day_low: Annotated[float, Measure("points-per-day", example=0.0)] = Field(
        description="Lower end of its 90 % interval."
    )
    per_day_high: Annotated[float, Measure("points-per-day", example=2e-8)] = Field(
        description="Upper end of its 90 % interval."
    )
    verdict: Literal["drifts", "no-evidence", "too-few"] = Field(
        description="`drifts` only where chance alone would show this slope in one log of 100."
    )


class SpellReview(Part):
    """One stretch that deserves a look."""

    kind: Literal[
        "hot-column", "stopped-and-climbing", "stopped-with-heat", "impossible-reading",
        "wetter-than-inlet", "frozen-sensor", "plenum-off-setpoint", "gap",
    ] = Field(description="What kind.")  # fmt: skip
    column: str = Field(description="Column of the log.", max_length=LONGEST_NAME)
    start: str | None = Field(None, description="Date-time it began.", max_length=LONGEST_NAME)
    start_elapsed: Annotated[float, Measure("minutes", example=7200.0)] | None = Field(
        None, description="Minute it began, on the log's own clock."
    )
    hours: Annotated[float, Measure("hours", example=3600.0)] = Field(description="How long.")
    what: str = Field(description="What it was, in a sentence.", max_length=LONGEST_TEXT)


class RunReviewAnswer(Answer):
    """What the log says."""

    grain: Grain = Field(description="Grain discharged.")
    hours: Annotated[float, Measure("hours", example=720_000.0)] = Field(
        description="Time in the log."
    )
    running_hours: Annotated[float, Measure("hours", example=700_000.0)] = Field(
        description="Time in which grain left."
    )
    moisture: MoistureReview | None = Field(
        None, description="The discharged grain; left out where none left or was read."
    )
    energy: EnergyReview | None = Field(
        None, description="Fuel against water; left out where no grain left."
    )
    over_drying: OverDryingReview | None = Field(
        None, description="Drying below the market; left out where no grain left or was read."
    )
    starts: list[StartingPoint] = Field(
        description="Settled transits by inlet moisture, ready for next year's start.",
        max_length=100,
    )
    column_response: ColumnResponse | None = Field(
        None, description="Learned from the settled transits; leans on a prior where they are few."
    )
    meter: list[MeterReview] = Field(description="Drift of the discharge meter.", max_length=2)
    spells: list[SpellReview] = Field(
        description="Stretches that deserve a look, the gravest kind first.",
        max_length=MOST_ENTRIES,
    )
    spells_found: Annotated[int, Measure("count", example=3)] = Field(
        description="How many there are; the list shows at most 200."
    )
