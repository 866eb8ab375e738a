"""Run review: what a dryer's log says afterwards."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field, PrivateAttr, ValidationError

from outfeed import Inconsistent
from outfeed.arrays import FloatArray
from outfeed.dryer.description import DryerKind
from outfeed.fuel import EIA_HEAT, load_fuel
from outfeed.limits import MOISTURE_WB, PLENUM, SENSIBLE, Range
from outfeed.methods import MethodUse, use
from outfeed.moisture import OVER_DRYING
from outfeed.review import DRIFT, ENERGY, FUEL_PRICE, STREAM, Drift, Energy, Review, Stream, review
from outfeed.runlog import (
    HOLD_UP,
    LOGGED_HEAT,
    LOGGED_MOISTURE,
    LOGGED_RATE,
    LOGGED_TEMPERATURE,
    RunLog,
)
from outfeed.settled_pairs import COLUMN_LINE, SETTLED, InletGroup
from outfeed.shrink import PRICE
from outfeed.spells import SUSPICION
from outfeed.steering.lag import LAG_SHARE_OF_TRANSIT
from outfeed_api.measures import Measure
from outfeed_api.models import (
    LONGEST_NAME,
    LONGEST_TEXT,
    MOST_ENTRIES,
    Answer,
    Assumed,
    AssumedQuantity,
    GrainId,
    Part,
    Request,
    cautions,
    methods_used,
    out_of_range,
)
from outfeed_api.moments import Clock, Elapsed, Moment, Timed, moment_seconds
from outfeed_api.pictures import canvas
from outfeed_api.problems import OUT_OF_RANGE, ProblemError
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.tables import Table, read_table
from outfeed_api.units import UnitSystem, say
from outfeed_api.validation import invalid
from outfeed_api.wording import spell_words

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])

MOST_ROWS = 100_000
MOST_SENSORS = 12
FUEL_FLOW = Range("fuel flow", 0.0, 10.0, "m3/s", SENSIBLE)
HEAT_USED = Range("fuel burned", 0.0, 1e15, "J", SENSIBLE)

Rate = Annotated[float, Measure("grain-rate", LOGGED_RATE, example=5.5)]
Moisture = Annotated[float, Measure("moisture", LOGGED_MOISTURE, example=0.155)]
Temperature = Annotated[float, Measure("temperature", LOGGED_TEMPERATURE, example=38.0)]
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
    plenum_setpoint: list[Temperature | None] | None = Field(
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
        f"column_temperature_{k}": Measure("temperature", LOGGED_TEMPERATURE)
        for k in range(1, MOST_SENSORS + 1)
    },
    "plenum": Measure("temperature", LOGGED_TEMPERATURE),
    "plenum_setpoint": Measure("temperature", LOGGED_TEMPERATURE),
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
    """What drying below the market moisture cost."""

    grain: Grain = Field(description="Grain that left below the market moisture.")
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
        "stopped-with-heat", "impossible-reading", "wetter-than-inlet", "frozen-sensor",
        "plenum-off-setpoint", "gap",
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
    moisture: MoistureReview | None = Field(None, description="The discharged grain.")
    energy: EnergyReview | None = Field(None, description="Fuel against water.")
    over_drying: OverDryingReview | None = Field(None, description="Drying below the market.")
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


def _from_csv(body: bytes, query: Mapping[str, str]) -> RunReviewRequest:
    """A request from a CSV log; everything but the log stands in the query."""
    table = read_table(body, tuple(CSV_COLUMNS))
    if "rate" not in table.columns:
        raise ProblemError(OUT_OF_RANGE, "the log needs a column `rate`")
    stub = {"elapsed": [0.0, 1.0], "rate": [0.0, 0.0]}
    try:
        request = RunReviewRequest.model_validate(dict(query) | {"log": stub}, strict=False)
    except ValidationError as error:
        raise invalid(error.errors(include_url=False, include_input=False)) from None
    request._table = table
    return request


def _draw(request: RunReviewRequest, answer: RunReviewAnswer, media_type: str) -> bytes:
    from outfeed_api.pictures.run_review import run_review_picture

    if request._review is None:
        raise ValueError("a picture needs the review it shows")
    return run_review_picture(request._review, answer, _clock(request), request.target, media_type)


@router.post(
    "/run-review",
    summary="What a dryer's log says afterwards",
    operation_id="run_review",
    response_model_exclude_none=True,
)
@computes(heavy=True, reads={"text/csv": _from_csv}, writes=canvas.writers(_draw))
def run_review(request: RunReviewRequest) -> RunReviewAnswer:
    """Moisture, energy, money, starting points for next year, the meter, and what to look at.

    As CSV the log has a header; its first column is `time` (date-times with an offset) or
    `elapsed` (minutes), the others are named as here, column temperatures
    `column_temperature_1` to `column_temperature_12`; everything else stands in the query, and an
    empty cell is a reading that was not taken. Pictures: `Accept: image/svg+xml` or `image/png`.
    """
    result = review(
        _log(request),
        target_wb=request.target,
        hold_up=request.hold_up,
        market_wb=request.market_moisture,
        kind=request.dryer_kind,
        grain_price=request.grain_price or 0.0,
        heat_price=request.heat_price or 0.0,
        heat_used=request.heat_used,
    )
    request._review = result
    clock = _clock(request)
    run = result.run
    over = result.over_dried
    return RunReviewAnswer(
        decision=_decision(request, result),
        units=request.units,
        grain=float(run.grain.sum()),
        hours=float(run.seconds.sum()),
        running_hours=float(run.seconds[run.running].sum()),
        moisture=None if result.stream is None else _moisture(result.stream),
        energy=None if result.energy is None else _energy(result.energy),
        over_drying=None
        if over is None
        else OverDryingReview(
            grain=over.grain,
            weight_given_away=over.weight_given_away,
            money=None if request.grain_price is None else over.money,
            fuel_money=None
            if request.heat_price is None or result.energy is None
            else over.fuel_money,
        ),
        starts=[_start(group) for group in result.groups],
        column_response=None
        if result.line is None
        else ColumnResponse(
            per_degree=result.line.sensitivity,
            per_degree_doubt=result.line.sensitivity_sd,
            per_inlet_point=result.line.inlet_effect,
            per_inlet_point_doubt=result.line.inlet_effect_sd,
        ),
        meter=[_meter(drift) for drift in result.drifts],
        spells=[
            SpellReview(
                kind=spell.kind,
                column=spell.channel,
                start=clock.stamp(spell.start_s),
                start_elapsed=clock.minute(spell.start_s),
                hours=spell.seconds,
                what=spell_words(spell, request.units, clock),
            )
            for spell in result.spells[:MOST_ENTRIES]
        ],
        spells_found=len(result.spells),
        assumed=_assumed(request, result),
        methods=methods_used(*_methods(request, result)),
        notes=_notes(request, result),
        cautions=cautions(*_cautions(result)),
    )


def _clock(request: RunReviewRequest) -> Clock:
    table = request._table
    if table is None:
        return Clock.of(request.log)
    if table.form == "elapsed" or table.last is None:
        return Clock("elapsed", None, float(table.seconds[-1]))
    written = Timed(times=[table.last])
    return Clock("times", written.offset, moment_seconds(table.last))


def _log(request: RunReviewRequest) -> RunLog:
    if request._table is not None:
        columns = _si_columns(request._table, request.units, request.kg_per_bushel)
        seconds = request._table.seconds
    else:
        given = request.log
        seconds = np.array(given.seconds)
        names = set(CSV_COLUMNS) & set(type(given).model_fields)
        columns = {
            name: _array(values)
            for name in names
            if (values := getattr(given, name, None)) is not None
        }
        columns |= {
            f"column_temperature_{k}": _array(sensor)
            for k, sensor in enumerate(given.column_temperatures, start=1)
        }
    sensors = tuple(
        columns[name] for name in CSV_COLUMNS if name.startswith("column_") and name in columns
    )
    setpoint = columns.get("plenum_setpoint")
    if setpoint is None and request.plenum_setpoint is not None:
        setpoint = np.full(seconds.shape, request.plenum_setpoint)
    return RunLog(
        times_s=seconds,
        rate=columns["rate"],
        moisture_in=columns.get("moisture_in"),
        moisture_out=columns.get("moisture_out"),
        columns=sensors,
        plenum=columns.get("plenum"),
        plenum_setpoint=setpoint,
        heat=_heat(columns, request.fuel),
        reference=columns.get("reference"),
    )


def _array(values: list[float | None]) -> FloatArray:
    return np.array(values, dtype=np.float64)


def _si_columns(table: Table, units: UnitSystem, kg: float) -> dict[str, FloatArray]:
    """The columns of a CSV log in SI, refused where no sensor could give them."""
    columns = {}
    for name, values in table.columns.items():
        measure = CSV_COLUMNS[name]
        unit = measure.of.unit(units)
        si = values * unit.scale(kg) + unit.offset
        limits = measure.limits
        bad = (
            np.zeros(0)
            if limits is None
            else np.flatnonzero((si < limits.low) | (si > limits.high))
        )
        if bad.size:
            row = int(bad[0])
            fault = out_of_range(f"/log/{name}/{row}", float(values[row]), measure, units, kg)
            raise ProblemError(OUT_OF_RANGE, f"row {row + 2}: {fault.detail}", [fault])
        columns[name] = si
    return columns


def _heat(columns: dict[str, FloatArray], fuel: str | None) -> FloatArray | None:
    """Heat of whatever the log says of fuel."""
    given = [name for name in ("heat", "fuel_liquid", "fuel_gas") if name in columns]
    if len(given) > 1:
        raise Inconsistent(f"the log states fuel {len(given)} times: {', '.join(given)}", "log")
    if not given or given == ["heat"]:
        return columns.get("heat")
    if fuel is None:
        raise Inconsistent(f"{given[0]} needs `fuel`, to know the heat of it", "fuel")
    if (fuel == "natural-gas") != (given == ["fuel_gas"]):
        raise Inconsistent(f"{given[0]} is not how {fuel} is metered", "fuel")
    return columns[given[0]] * load_fuel(fuel).heat_content


def _moisture(stream: Stream) -> MoistureReview:
    return MoistureReview(
        mean=stream.mean_wb,
        spread=stream.sd,
        low=stream.low_wb,
        high=stream.high_wb,
        on_target=stream.on_target_share,
        too_wet=stream.too_wet_share,
        too_dry=stream.too_dry_share,
        time_on_target=stream.on_target_time_share,
        grain_read=stream.read_share,
    )


def _energy(energy: Energy) -> EnergyReview:
    known = energy.published
    return EnergyReview(
        heat=energy.heat,
        water=energy.water,
        points=energy.points,
        per_water=energy.per_water,
        low=energy.low,
        high=energy.high,
        grain_covered=energy.covered_share,
        published_low=None if known is None else known.low,
        published_high=None if known is None else known.high,
        published_source=None if known is None else known.source,
        verdict=energy.verdict,
    )


def _start(group: InletGroup) -> StartingPoint:
    return StartingPoint(
        inlet_moisture=group.inlet_wb,
        settled_transits=group.pairs,
        rate=group.rate,
        column_temperature=group.column,
        moisture=group.outlet_wb,
        spread=group.outlet_sd,
        setpoint=group.start_setpoint,
        setpoint_low=group.setpoint_low,
        setpoint_high=group.setpoint_high,
    )


def _meter(drift: Drift) -> MeterReview:
    samples = drift.basis == "samples"
    day = 86400.0
    return MeterReview(
        basis=drift.basis,
        count=drift.count,
        offset=drift.offset if samples else None,
        offset_low=drift.offset_low if samples and drift.count > 1 else None,
        offset_high=drift.offset_high if samples and drift.count > 1 else None,
        per_day=drift.per_day / day,
        per_day_low=drift.per_day_low / day,
        per_day_high=drift.per_day_high / day,
        verdict=drift.verdict,
    )


def _decision(request: RunReviewRequest, result: Review) -> str:
    words = []
    stream, energy = result.stream, result.energy
    if stream is not None:
        words.append(
            f"The grain left at {stream.mean_wb * 100:.1f} % on average; "
            f"{stream.on_target_share * 100:.0f} % of it within half a point of "
            f"{request.target * 100:.1f} %."
        )
    else:
        words.append("The log has no discharge moisture; only its suspicious spells were judged.")
    if energy is not None:
        words.append(_energy_words(request, energy))
    stops = sum(spell.kind == "stopped-with-heat" for spell in result.spells)
    if stops:
        words.append(f"Look first at {stops} stop{'s' * (stops > 1)} with the heat on.")
    elif result.spells:
        count = len(result.spells)
        words.append(
            f"{count} stretch{'es' * (count > 1)} of the log deserve{'s' * (count == 1)} a look."
        )
    return " ".join(words)


def _energy_words(request: RunReviewRequest, energy: Energy) -> str:
    spent = say(energy.per_water, "specific-energy", request.units, decimals=_digits(request))
    text = f"It took {spent} of water"
    compared = {
        "inside": f", inside the published range for {request.dryer_kind} dryers",
        "above": f", above the published range for {request.dryer_kind} dryers",
        "below": f", below the published range for {request.dryer_kind} dryers: check fuel and "
        "moistures",
        "overlaps": f", outside the published range for {request.dryer_kind} dryers, though not "
        "by more than the moistures are in doubt",
    }
    return text + compared.get(energy.verdict, "") + "."


def _digits(request: RunReviewRequest) -> int:
    return 0 if request.units == "us" else 2


def _notes(request: RunReviewRequest, result: Review) -> list[str]:
    notes = []
    over = result.over_dried
    if over is not None and over.weight_given_away > 0.0:
        given = say(over.weight_given_away, "mass", request.units, decimals=0)
        cost = f", worth {over.money:,.0f}" if request.grain_price else ""
        notes.append(f"Drying below the market moisture gave away {given} of saleable water{cost}.")
    if result.groups:
        notes.append(
            f"{result.pairs.outlet_wb.size} of {result.pairs.blocks} transits were settled; "
            "`starts` lists their column temperatures by inlet moisture for next year's start."
        )
    elif result.pairs.blocks:
        notes.append("No transit was settled, so the log gives no starting points.")
    for drift in result.drifts:
        if drift.verdict == "drifts":
            per_week = drift.per_day * 7.0 * 100.0
            against = "the reference samples" if drift.basis == "samples" else "the column"
            notes.append(
                f"Against {against} the discharge meter drifts by {per_week:+.2f} points a week."
            )
    if result.energy is not None and result.energy.covered_share < 0.9:
        notes.append("Water rests on part of the grain; the rest is taken to be like it.")
    return notes


def _cautions(result: Review) -> list[str]:
    codes = []
    if any(spell.kind == "stopped-with-heat" for spell in result.spells):
        codes.append("fire-column")
    stream = result.stream
    if stream is not None and stream.too_wet_share > 0.1:
        codes.append("under-drying")
    if stream is not None and stream.too_dry_share > 0.1:
        codes.append("over-drying")
    if any(drift.verdict == "drifts" for drift in result.drifts):
        codes.append("meter-uncertain")
    return codes


def _methods(request: RunReviewRequest, result: Review) -> list[MethodUse]:
    used = []
    if result.stream is not None:
        used += [use(STREAM), use(OVER_DRYING)]
    if result.energy is not None:
        used.append(use(ENERGY))
    if request.fuel is not None:
        used.append(use(EIA_HEAT))
    if result.groups:
        used += [use(SETTLED), use(COLUMN_LINE)]
    if result.drifts:
        used.append(use(DRIFT))
    return [*used, use(SUSPICION)]


def _assumed(request: RunReviewRequest, result: Review) -> list[Assumed]:
    entries: list[Assumed] = []
    if request.market_moisture is None:
        entries.append(
            AssumedQuantity(
                input="market_moisture", quantity="moisture", value=request.target,
                why="No market moisture was given; over-drying is counted from the target.",
                source="the request's target",
            )
        )  # fmt: skip
    if result.groups:
        entries.append(
            AssumedQuantity(
                input="share of the grain below the column sensors", quantity="percent",
                value=LAG_SHARE_OF_TRANSIT, low=LAG_SHARE_OF_TRANSIT, high=1.0,
                why="Discharge moisture belongs to the column temperature its grain felt.",
                source="common practice, no source: half a transit to a transit",
            )
        )  # fmt: skip
    return entries
