"""What setpoint advice is asked with and what it answers."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field

from outfeed.dryer.inverse import TARGET_MOISTURE
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB
from outfeed.steering import belief as believing
from outfeed.steering import lag as lagging
from outfeed.steering import money
from outfeed.steering import setpoint as deciding
from outfeed.steering.clean import SENT_READING
from outfeed.steering.inlet import INLET_SD
from outfeed.steering.lag_doubt import LAG_UNCERTAINTY
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, GrainId, Part, Request, named
from outfeed_api.moments import MOST_TIMES, Elapsed, Moment, Timed
from outfeed_api.routes.air_hours import HourlyAir
from outfeed_api.routes.dryer_models import Ambient, DryerGiven, Fitted, GrainHeat, Humidity
from outfeed_api.routes.setpoint_kept import BeliefPart, DuePart
from outfeed_api.routes.setpoint_plan_models import (
    MOST_CHANGES,
    MOST_MOVES,
    EffectPart,
    KnownChangePart,
    ScheduledPart,
)
from outfeed_api.routes.trend_models import Verdict

INLETS_IN_TABLE = 9
MOST_PAIRS = 500
PAIRS_SHOWN = 50

EndUse = Literal[
    "seed", "malting", "food", "milling", "wet-milling", "commercial", "non-food", "feed"
]
REASONS = (
    "error",
    "known-change",
    "bounded",
    "grain-limit",
    "at-grain-limit",
    "inside-threshold",
    "too-small-to-set",
    "recent-move",
    "no-reading-since-move",
    "no-readings",
    "single-reading",
    "readings-disagree",
    "stale",
    "grain-stood",
    "one-value",
    "column-away",
    "trend-unsure",
    *(f"trend-{word}" for word in get_args(Verdict) if word != "level"),
    "collapsed",
    "far-below",
    "column-not-read",
    "discharge-stopped",
    "fire-caution",
)


class ColumnSeries(Timed):
    """Column temperatures with their times."""

    temperatures: list[
        Annotated[float, Measure("temperature", SENT_READING, example=37.0)] | None
    ] = Field(
        description="Temperatures as they were shown, one for every time; null where the sensor "
        "gave none. What no sensor in a dryer can show is counted and left out.",
        max_length=MOST_TIMES,
    )


class DischargeSeries(Timed):
    """Moistures at the discharge with their times."""

    moistures: list[Annotated[float, Measure("moisture", MOISTURE_WB, example=0.158)]] = Field(
        description="Discharge moistures as the meter showed them, times ascending; several may "
        "be of one moment.",
        max_length=MOST_PAIRS,
    )


class InletSeries(Timed):
    """Moistures of the grain as it entered, with their times."""

    moistures: list[Annotated[float, Measure("moisture", MOISTURE_WB, example=0.22)]] = Field(
        description="Inlet moistures, times ascending; each holds until the next. Several readings "
        "of one lot, of one moment too, are worth more than one.",
        max_length=MOST_PAIRS,
    )


class RateSeries(Timed):
    """Discharge rates with the times from which they held."""

    rates: list[Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=5.5)]] = (
        Field(
            description="Discharge rates, each holding until the next; zero is stopped.",
            max_length=MOST_TIMES,
        )
    )


class SetpointAdviceRequest(Request):
    """What the operator sees."""

    grain: GrainId = "corn-yellow-dent"
    target: Annotated[float, Measure("moisture", TARGET_MOISTURE, example=0.155)] = Field(
        description="Moisture wanted at the discharge."
    )
    setpoint: Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=37.0)] = Field(
        description="Present column setpoint."
    )
    column: ColumnSeries = Field(
        description="Column temperatures of the last hours; two hours or more are worth having."
    )
    discharge: DischargeSeries = Field(description="Moistures measured at the discharge.")
    inlet: InletSeries | None = Field(
        None, description="Moistures of the grain as it entered; makes the advice better."
    )
    inlet_uncertainty: Annotated[float, Measure("points", INLET_SD, example=0.005)] | None = Field(
        None,
        description="Standard deviation of one reading in `inlet`; 0 takes each as exact. If left "
        "out, what a published study found for one meter reading, 0.6 point at 21 %.",
    )
    rates: RateSeries | None = Field(None, description="Log of discharge rates.")
    discharge_rate: (
        Annotated[float, Measure("grain-rate", lagging.DISCHARGE_RATE, example=5.5)] | None
    ) = Field(None, description="Present discharge rate, where there is no log. Zero is stopped.")
    held_below_sensors: (
        Annotated[float, Measure("grain", lagging.HELD_GRAIN, example=6_000.0)] | None
    ) = Field(
        None,
        description="Grain held between the column sensors and the sampling point. With the rates "
        "it gives the lag; left out, and with no `lag` or `transit` told, a `dryer` described with "
        "its sensors gives it.",
    )
    held_above_sensors: (
        Annotated[float, Measure("grain", lagging.HELD_GRAIN, example=6_000.0)] | None
    ) = Field(
        None,
        description="Grain held between the top of the column and its sensors; by `transit`, or as "
        "much as below them, if left out. Needs `held_below_sensors`.",
    )
    lag: Annotated[float, Measure("minutes", lagging.LAG, example=3600.0)] | None = Field(
        None, description="Time grain needs from the column sensors to the sampling point."
    )
    lag_uncertainty: Annotated[float, Measure("percent", LAG_UNCERTAINTY, example=0.1)] | None = (
        Field(
            None,
            description="Standard deviation of the lag, however it was told, as a share of it; "
            "about 10 where you timed it. It counts in the stated `chance` alone. 60 if left out.",
        )
    )
    transit: Annotated[float, Measure("hours", lagging.TRANSIT, example=7200.0)] | None = Field(
        None,
        description="Time a kernel needs from the top of the column to the discharge. Beside "
        "`held_below_sensors` and `rates` it is taken to be that of the mean rate told; "
        "`held_above_sensors` says the same and holds at any rate.",
    )
    last_move: Moment | None = Field(None, description="When the setpoint was last moved.")
    last_move_elapsed: Elapsed | None = Field(
        None, description="When the setpoint was last moved, on your own clock."
    )
    earlier_setpoint: (
        Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=39.0)] | None
    ) = Field(
        None,
        description="Column setpoint before the last move: a column that has not yet followed a "
        "lower one is no sign of fire. Needs `last_move` or `last_move_elapsed`.",
    )
    now: Moment | None = Field(
        None, description="Time of asking; the last time of any series when left out."
    )
    now_elapsed: Elapsed | None = Field(None, description="Time of asking, on your own clock.")
    exhaust: ColumnSeries | None = Field(
        None,
        description="Exhaust temperatures of the last hours, watched for fire: a climb while the "
        "discharge stands still, more than any drying air may have, or, while grain moves, 8 degC "
        "(14 degF) in half an hour above the highest level before. The last is judged only after "
        "an hour of steady running, for a dryer being lit climbs as steeply; it takes a log in "
        "`rates`, or three hours of readings.",
    )
    sensitivity: (
        Annotated[float, Measure("points-per-temperature", believing.SENSITIVITY, example=-0.0099)]
        | None
    ) = Field(None, description="Change of discharge moisture per degree of column temperature.")
    sensitivity_uncertainty: (
        Annotated[
            float, Measure("points-per-temperature", believing.SENSITIVITY_SD, example=0.0036)
        ]
        | None
    ) = Field(None, description="Standard deviation of `sensitivity`.")
    meter_offset: Annotated[float, Measure("points", deciding.METER_OFFSET, example=0.002)] = Field(
        0.0, description="To be added to the readings, from a meter check."
    )
    meter_uncertainty: (
        Annotated[float, Measure("points", deciding.METER_SD, example=0.0025)] | None
    ) = Field(None, description="Standard uncertainty of the meter's offset.")
    max_step: (
        Annotated[float, Measure("temperature-difference", deciding.STEP, example=5 / 3)] | None
    ) = Field(
        None,
        description="Largest step of the setpoint at one time; 3 degF when left out. What is known "
        "to change beyond it follows 20 minutes later at the soonest. Down to the grain's limit, "
        "or back from a `setpoint_bridge`, a step may go further.",
    )
    resolution: (
        Annotated[float, Measure("temperature-difference", deciding.RESOLUTION, example=5 / 9)]
        | None
    ) = Field(
        None, description="Smallest step the panel accepts; 1 degF or 0.5 degC when left out."
    )
    highest_column_temperature: (
        Annotated[float, Measure("temperature", GRAIN_TEMPERATURE, example=48.0)] | None
    ) = Field(None, description="Hottest the grain in the column may be held.")
    end_use: EndUse | None = Field(
        None, description="Use of the grain; brings its strictest published temperature limit."
    )
    grain_price: Annotated[float, Measure("price-of-grain", money.PRICE, example=0.16)] | None = (
        Field(None, description="Price of the grain at the target moisture.")
    )
    fuel_cost: Annotated[float, Measure("price-of-grain", money.PRICE, example=0.0016)] | None = (
        Field(None, description="Fuel and power to take out one point of moisture.")
    )
    wet_discount: Annotated[float, Measure("price-of-grain", money.PRICE, example=0.004)] | None = (
        Field(
            None,
            description="What each point above the target costs: 0 where nothing is taken for it; "
            "left out, it is not known, and the two sides are taken to cost the same.",
        )
    )
    wet_to_dry: Annotated[float, Measure("ratio", money.COST_RATIO, example=1.0)] | None = Field(
        None,
        description="Cost of a point too wet over that of a point too dry; from the prices, or 1.",
    )
    dryer: DryerGiven | None = Field(
        None,
        description="The dryer, as for `POST /v1/discharge-rate`. The column model then says what "
        "a degree and wetter grain mean in this dryer, in place of a general value; it takes the "
        "outside air and `inlet` as well. Where its sensors sit says what share of `transit` is "
        "lag.",
    )
    ambient_temperature: Ambient | None = Field(
        None, description="Temperature of the outside air; this or `hourly` is needed with `dryer`."
    )
    ambient_relative_humidity: Humidity | None = Field(
        None, description="Relative humidity of the outside air, used with `dryer`."
    )
    hourly: HourlyAir | None = Field(
        None,
        description="Outside air hour by hour, in place of one state: that of the time of asking "
        "is read from it, straight between the hours.",
    )
    grain_temperature: GrainHeat | None = Field(
        None, description="Temperature of the grain, used with `dryer`; the air's if left out."
    )
    fitted: Fitted | None = Field(
        None, description="What `POST /v1/dryer-fit` found for this dryer, used with `dryer`."
    )
    known_changes: list[KnownChangePart] | None = Field(
        None,
        description="What is known to change: a wetter lot entering now, a cold front at 18:00. "
        "Tell it with `at` as long as the answer names it, with `last_move` and the `due` of the "
        "previous answer; without `due`, what was due by `last_move` counts as set. A lot that "
        "`inlet` shows above the sensors need not be told.",
        max_length=MOST_CHANGES,
    )
    due: DuePart | None = Field(None, description="`due` of the previous answer.")
    belief: BeliefPart | None = Field(None, description="`belief` of the previous answer.")


class TrendPart(Part):
    """Trend of the column temperature since the last move."""

    verdict: Verdict = Field(description="One word for the trend.")
    slope: Annotated[float, Measure("temperature-rate")] = Field(description="Slope.")
    slope_low: Annotated[float, Measure("temperature-rate")] = Field(
        description="Lower end of its 95 % interval."
    )
    slope_high: Annotated[float, Measure("temperature-rate")] = Field(
        description="Upper end of its 95 % interval."
    )
    offset: Annotated[float, Measure("temperature-difference")] = Field(
        description="Mean of the column minus the setpoint."
    )
    crossings_per_two_hours: Annotated[float, Measure("count")] = Field(
        description="How often the column crosses the setpoint in two hours."
    )


class PairPart(Part):
    """A discharge reading with the column temperature it belongs to."""

    at: str | None = Field(None, description="Time of the reading.", max_length=40)
    at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="Time of the reading, on your own clock."
    )
    moisture: Annotated[float, Measure("moisture")] = Field(description="The reading.")
    lag: Annotated[float, Measure("minutes")] = Field(
        description="How long before the reading that grain passed the column sensors."
    )
    column_temperature: Annotated[float, Measure("temperature")] | None = Field(
        None, description="Mean column temperature then; left out where the record has none."
    )
    doubted: bool = Field(description="Whether the reading was too far off to be believed.")


class InletRow(Part):
    """The setpoint that belongs to one inlet moisture."""

    inlet: Annotated[float, Measure("moisture")] = Field(description="Inlet moisture.")
    setpoint: Annotated[float, Measure("temperature")] = Field(
        description="Column setpoint that should give the aim."
    )
    uncertainty: Annotated[float, Measure("temperature-difference")] = Field(
        description="Standard deviation of that setpoint."
    )
    above_limit: bool = Field(description="Whether it lies above the grain's temperature limit.")


class PriorPart(Part):
    """What was thought of the dryer before its readings; what they taught is in `belief`."""

    origin: Literal["general", "dryer", "stated"] = Field(
        description="`general`: one value for all dryers; `dryer`: the column model of the dryer "
        "described; `stated`: your own `sensitivity`."
    )
    sensitivity: Annotated[float, Measure("points-per-temperature")] = Field(
        description="Change of discharge moisture per degree of column temperature, by rate."
    )
    sensitivity_sd: Annotated[float, Measure("points-per-temperature")] = Field(
        description="Standard deviation of `sensitivity`."
    )
    inlet_effect: Annotated[float, Measure("ratio")] = Field(
        description="Points at the discharge per point at the inlet, column temperature held."
    )
    inlet_effect_sd: Annotated[float, Measure("ratio")] = Field(
        description="Standard deviation of `inlet_effect`, that of `sensitivity` included."
    )


class SetpointAdviceAnswer(Answer):
    """What to do with the setpoint, and why."""

    advice: Literal["hold", "move", "wait", "fire-caution"] = Field(
        description="`wait` means that it cannot be judged yet."
    )
    setpoint: Annotated[float, Measure("temperature")] = Field(description="Setpoint to run.")
    step: Annotated[float, Measure("temperature-difference")] = Field(
        description="Change of the setpoint; 0 unless `advice` is `move`."
    )
    look_at: str | None = Field(None, description="When to look again.", max_length=40)
    look_at_elapsed: Annotated[float, Measure("minutes")] | None = Field(
        None, description="When to look again, on your own clock."
    )
    look_in: Annotated[float, Measure("minutes")] = Field(description="Time until then.")
    expected_moisture: Annotated[float, Measure("moisture")] | None = Field(
        None, description="Discharge moisture the present setpoint will give, offset applied."
    )
    expected_uncertainty: Annotated[float, Measure("points")] | None = Field(
        None, description="Its standard deviation, the meter's own uncertainty left out."
    )
    expected_after: Annotated[float, Measure("moisture")] | None = Field(
        None, description="Discharge moisture the advised setpoint will give."
    )
    aim: Annotated[float, Measure("moisture")] = Field(
        description="Moisture aimed at; beside the target when wet and dry cost unequally."
    )
    error: Annotated[float, Measure("points")] | None = Field(
        None, description="Expected moisture minus aim."
    )
    threshold: Annotated[float, Measure("points")] | None = Field(
        None, description="Error that is left alone."
    )
    chance: Annotated[float, Measure("probability")] | None = Field(
        None,
        description="Chance that the error has this sign, doubt about meter and lag included; "
        "lower while a lot still passes that is unlike the one the advice is for, and by readings "
        "that were doubted and say otherwise.",
    )
    money_rate: Annotated[float, Measure("money-rate")] | None = Field(
        None, description="What the present error costs, where prices were given."
    )
    raise_if_reading_above: Annotated[float, Measure("moisture")] | None = Field(
        None, description="A reading above this at the next look would bring a higher setpoint."
    )
    lower_if_reading_below: Annotated[float, Measure("moisture")] | None = Field(
        None, description="A reading below this at the next look would bring a lower setpoint."
    )
    reasons: list[Annotated[str, Field(max_length=60)]] = Field(
        description=f"Why, as stable codes, each {named(REASONS)}.", max_length=20
    )
    trend: TrendPart | None = Field(None, description="Trend of the column temperature.")
    transit: Annotated[float, Measure("hours")] | None = Field(
        None, description="Transit time used; left out while the discharge stands still."
    )
    matched: list[PairPart] = Field(
        description="The readings with what they belong to, the latest 50.", max_length=PAIRS_SHOWN
    )
    setpoints_by_inlet: list[InletRow] = Field(
        default_factory=list,
        description="Setpoint that belongs to each inlet moisture, where one was given.",
        max_length=INLETS_IN_TABLE,
    )
    schedule: list[ScheduledPart] = Field(
        default_factory=list,
        description="Moves that answer the known changes and a lot that `inlet` shows above the "
        "sensors, in order of time, and what `max_step` "
        f"holds back of the present `step`; the first {MOST_MOVES}.",
        max_length=MOST_MOVES,
    )
    effects: list[EffectPart] = Field(
        default_factory=list,
        description="What each known change does, and a lot above the sensors that `inlet` shows "
        "and nobody told, in order of time; one that readings show already is left out.",
        max_length=MOST_CHANGES + 1,
    )
    due: DuePart | None = Field(
        None,
        description="What has been set for the changes on their way; pass it back next time.",
    )
    prior: PriorPart | None = Field(
        None, description="What was thought of the dryer before its readings."
    )
    belief: BeliefPart | None = Field(
        None, description="What is known now; pass it back next time."
    )
