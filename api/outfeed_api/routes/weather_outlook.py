"""Weather outlook: what tomorrow's air does to rate, setpoint and fuel."""

from __future__ import annotations

import numpy as np
from fastapi import APIRouter

from outfeed.ability import USUAL_KIND, Machine, by_column
from outfeed.dryer.assume import SPECIFIC_ENERGY
from outfeed.fuel import EIA_HEAT, load_fuel
from outfeed.grains import load_grain
from outfeed.methods import use
from outfeed.moist_air import FREEZING_POINT, STANDARD_PRESSURE, standard_pressure
from outfeed.outlook import (
    FEWEST_TO_DRY,
    OUTLOOK,
    RATE_STEP,
    SETPOINT_STEP,
    SHORTEST_HOLD_S,
    Front,
    Move,
    Outlook,
    weather_outlook,
)
from outfeed.season_help import passes_all_limits
from outfeed.steering.feedforward import DOUBT_SHARE, FEED_FORWARD, SETPOINT_PER_KELVIN
from outfeed.weather import HOUR, Weather, hourly_from_series
from outfeed_api.models import Assumed, AssumedQuantity, cautions, methods_used
from outfeed_api.moments import Clock, in_order
from outfeed_api.pictures import canvas
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.column_input import refuse_fit_alone
from outfeed_api.routes.outlook_models import (
    LONGEST_FORECAST,
    FrontGiven,
    OutlookHours,
    OutlookMove,
    WeatherOutlookAnswer,
    WeatherOutlookRequest,
)
from outfeed_api.routes.season_dryer import (
    LIQUIDS,
    Described,
    at_its_level,
    counted_fuel,
    described_dryer,
    dryer_assumed,
    fit_notes,
    frost_notes,
    known_rate_of,
    machine_methods,
    refuse_two_kinds,
    refuse_warm_air,
)
from outfeed_api.units import say

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["season"])

FOLLOWS = (
    "Where a controller steers the rate by column temperature, move only the setpoint; the rate "
    "follows by itself."
)
PLAIN = 0.5  # change over that beyond the daily course; less hides the front; chosen, no source
ROUNDING = 1e-9  # of the fuel; less is no change
CORN = ("corn-yellow-dent", "popcorn")  # whose column the rule for the setpoint was computed with


def _draw(request: WeatherOutlookRequest, answer: WeatherOutlookAnswer, media_type: str) -> bytes:
    from outfeed_api.pictures.weather_outlook import outlook_picture

    if request._outlook is None:
        raise ValueError("a picture needs the outlook it shows")
    return outlook_picture(request._outlook, answer, _clock(request), media_type)


@router.post(
    "/weather-outlook",
    summary="Rate, setpoint and fuel through a forecast",
    operation_id="weather_outlook",
    response_model_exclude_none=True,
)
@computes(heavy=True, writes=canvas.writers(_draw))
def weather_outlook_route(request: WeatherOutlookRequest) -> WeatherOutlookAnswer:
    """When to change what, and by how much, so that the discharge moisture stays where it is.

    Plenums are taken to be held. Moves are few and small: look at the discharge moisture one
    transit after each of them. Pictures: `Accept: image/svg+xml` or `image/png`.
    """
    clock = _clock(request)
    weather = _weather(request)
    known_rate_of(
        request, request.run, "run"
    )  # a run that makes no sense is refused before its forecast
    _refuse_nearly_dry(request)
    machine, described = _machine(request, weather)
    hold = max(request.transit or 0.0, SHORTEST_HOLD_S)
    grain = load_grain(request.grain)
    result = weather_outlook(
        machine,
        weather,
        grain,
        inlet_wb=_inlet(request),
        target_wb=_target(request),
        hold_s=hold,
    )
    request._outlook = result
    heat = float(result.heat.sum()) * HOUR
    extra = heat - float(result.heat[0]) * HOUR * weather.hours
    return WeatherOutlookAnswer(
        decision=_decision(request, result, clock),
        units=request.units,
        moves=[_move(request, move, result, clock) for move in result.moves],
        front=None if result.front is None else _front(result.front, clock),
        heat=heat,
        extra_heat=0.0 if abs(extra) < ROUNDING * heat else extra,
        fuel_money=None if request.price_of_heat is None else heat * request.price_of_heat,
        hours=_hours(request, result, clock),
        assumed=_assumed(request, described, hold),
        methods=methods_used(
            use(OUTLOOK), *machine_methods(machine, described), use(FEED_FORWARD), use(EIA_HEAT)
        ),
        notes=[
            *_notes(request, result),
            *frost_notes(weather.temperature),
            *fit_notes(machine, described, "run", request.run),
        ],
        cautions=cautions(*_cautions(result, hot=passes_all_limits(grain, machine))),
    )


def _clock(request: WeatherOutlookRequest) -> Clock:
    seconds = request.forecast.seconds
    if len(seconds) < 2:
        detail = "a forecast needs two hours or more"
        raise ProblemError(INCONSISTENT, detail, [field_error("/forecast", detail)])
    return Clock(request.forecast.form, request.forecast.offset, seconds[0])


def _weather(request: WeatherOutlookRequest) -> Weather:
    given = request.forecast
    times = np.array(in_order(given, given.temperature, "forecast"))
    in_order(given, given.relative_humidity, "forecast")
    if (times[-1] - times[0]) / HOUR > LONGEST_FORECAST:
        detail = f"a forecast covers at most {LONGEST_FORECAST} hours"
        raise ProblemError(INCONSISTENT, detail, [field_error("/forecast", detail)])
    pressure = STANDARD_PRESSURE
    if request.altitude is not None:
        pressure = float(standard_pressure(request.altitude))
    return hourly_from_series(
        times, np.array(given.temperature), np.array(given.relative_humidity), pressure
    )


def _refuse_nearly_dry(request: WeatherOutlookRequest) -> None:
    """Refuse grain with too little to dry, at the field that says so."""
    inlet, target = _inlet(request), _target(request)
    if inlet >= target + FEWEST_TO_DRY:
        return
    pointer = "/run/moisture" if request.moisture is None else "/moisture"
    detail = (
        f"grain of {inlet * 100:.1f} % has less than {FEWEST_TO_DRY * 100:.0f} points to dry to "
        f"{target * 100:.1f} %: there is no rate worth planning"
    )
    raise ProblemError(INCONSISTENT, detail, [field_error(pointer, detail)])


def _inlet(request: WeatherOutlookRequest) -> float:
    return request.run.moisture if request.moisture is None else request.moisture


def _target(request: WeatherOutlookRequest) -> float:
    target = request.target_moisture
    return request.run.discharge_moisture if target is None else target


def _machine(request: WeatherOutlookRequest, weather: Weather) -> tuple[Machine, Described | None]:
    """The dryer at the level of its run, by fit or balance where it is described."""
    refuse_fit_alone(request.dryer, request.fitted)
    refuse_two_kinds(request.dryer, request.run, "run")
    if request.dryer is None:
        plenum = request.run.plenum_temperature
        refuse_warm_air(weather, [("/run/plenum_temperature", plenum)], request.units)
        return known_rate_of(request, request.run, "run"), None
    described = described_dryer(
        request.dryer,
        request.fitted,
        weather,
        units=request.units,
        grain=request.grain,
        moisture=request.run.moisture,
        target_moisture=request.run.discharge_moisture,
        altitude=request.altitude,
    )
    machine = described.machine
    if described.formulas is not None:
        model = described.formulas.model
        machine = by_column(machine, model, weather, _target(request), _inlet(request))
    level = at_its_level(
        request,
        machine,
        request.run,
        "run",
        grain=load_grain(request.grain),
        pressure=weather.pressure,
    )
    return level, described


def _as_counted(request: WeatherOutlookRequest, wet_rate: float) -> float:
    """A rate of wet grain counted as the request counts it."""
    if request.run.rate_basis == "wet":
        return wet_rate
    return wet_rate * (1.0 - _inlet(request)) / (1.0 - _target(request))


def _move(request: WeatherOutlookRequest, move: Move, result: Outlook, clock: Clock) -> OutlookMove:
    start = float(result.wet_rate[0] / result.set_rate[0])
    rate = _as_counted(request, start * move.rate_factor)
    setpoint = None if request.setpoint is None else request.setpoint + move.setpoint_shift
    return OutlookMove(
        at=clock.stamp(move.at_s),
        at_elapsed=clock.minute(move.at_s),
        rate=rate,
        rate_change=move.rate_change,
        setpoint=setpoint,
        setpoint_change=move.setpoint_change,
        what=_move_words(request, move, rate, clock),
    )


def _front(front: Front, clock: Clock) -> FrontGiven:
    return FrontGiven(
        start=clock.stamp(front.start_s),
        start_elapsed=clock.minute(front.start_s),
        before=front.before,
        after=front.after,
    )


def _move_words(request: WeatherOutlookRequest, move: Move, rate: float, clock: Clock) -> str:
    parts = []
    if abs(move.setpoint_change) > 1e-9:
        by = say(
            abs(move.setpoint_change),
            "temperature-difference",
            request.units,
            decimals=_digits(request),
        )
        word = "lower" if move.setpoint_change < 0.0 else "raise"
        text = f"{word} the column setpoint by {by}"
        if request.setpoint is not None:
            to = say(
                request.setpoint + move.setpoint_shift, "temperature", request.units,
                decimals=_digits(request),
            )  # fmt: skip
            text += f" to {to}"
        parts.append(text)
    if abs(move.rate_change) > 1e-9:
        to = _rate_said(request, rate)
        percent = round(abs(move.rate_change) * 100.0)
        word = "slower" if move.rate_change < 0.0 else "faster"
        parts.append(f"expect the discharge {percent} % {word}, about {to}")
    when = "Now" if move.at_s <= clock.now_s else f"At {clock.say(move.at_s)}"
    return f"{when} {' and '.join(parts)}."


def _digits(request: WeatherOutlookRequest) -> int:
    return 0 if request.units == "us" else 1


def _decision(request: WeatherOutlookRequest, result: Outlook, clock: Clock) -> str:
    words = [] if result.front is None else [_front_words(request, result.front, clock)]
    other = _other_start(request, result)
    if other is not None:
        words.append(other)
    if result.moves:
        first = result.moves[0]
        start = float(result.wet_rate[0] / result.set_rate[0])
        rate = _as_counted(request, start * first.rate_factor)
        words.append(_move_words(request, first, rate, clock))
        if len(result.moves) > 1:
            more = len(result.moves) - 1
            words.append(f"{more} more move{'s' * (more > 1)} follow{'s' * (more == 1)}.")
    elif other is not None:
        words.append("From there the forecast asks for no move.")
    else:
        words.append("Leave rate and setpoint; the forecast asks for no move.")
    return " ".join(words)


def _front_words(request: WeatherOutlookRequest, front: Front, clock: Clock) -> str:
    kind = "cold" if front.beyond_daily < 0.0 else "warm"
    before, after = (
        say(value, "temperature", request.units, decimals=0)
        for value in (front.before, front.after)
    )
    if (front.after - front.before) / front.beyond_daily >= PLAIN:
        return (
            f"A {kind} front takes the air from {before} to {after} within six hours from "
            f"{clock.say(front.start_s)}."
        )
    apart = say(abs(front.beyond_daily), "temperature-difference", request.units, decimals=0)
    word = "colder" if front.beyond_daily < 0.0 else "warmer"
    return (
        f"A {kind} front leaves the air at {after} at {clock.say(front.end_s)}, {apart} "
        f"{word} than by the daily course alone."
    )


def _other_start(request: WeatherOutlookRequest, result: Outlook) -> str | None:
    """That the run's rate is not that of now, in words; None where it is."""
    run = request.run.rate
    now = _as_counted(request, float(result.wet_rate[0] / result.set_rate[0]))
    if abs(now / run - 1.0) < RATE_STEP:
        return None
    was, becomes = (_rate_said(request, rate) for rate in (run, now))
    return f"In the air, with the grain and target of now, the run's {was} become about {becomes}."


def _rate_said(request: WeatherOutlookRequest, rate: float) -> str:
    return say(
        rate, "grain-rate", request.units, bushel_weight=request.kg_per_bushel,
        decimals=0 if request.units == "us" else 1,
    )  # fmt: skip


def _hours(request: WeatherOutlookRequest, result: Outlook, clock: Clock) -> OutlookHours:
    times = result.weather.starts_s.tolist()
    start = _as_counted(request, float(result.wet_rate[0] / result.set_rate[0]))
    fuel = counted_fuel(request)
    sold = (result.heat / load_fuel(fuel).heat_content).tolist()
    dates = clock.form == "times"
    return OutlookHours(
        times=[clock.stamp(value) or "" for value in times] if dates else None,
        elapsed=None if dates else times,
        temperature=result.weather.temperature.tolist(),
        needed_rate=(result.needed * start).tolist(),
        needed_rate_low=(result.low * start).tolist(),
        needed_rate_high=(result.high * start).tolist(),
        rate=(result.set_rate * start).tolist(),
        setpoint_shift=result.set_shift.tolist(),
        heat=result.heat.tolist(),
        liquid=sold if fuel in LIQUIDS else None,
        gas=sold if fuel == "natural-gas" else None,
    )


def _notes(request: WeatherOutlookRequest, result: Outlook) -> list[str]:
    ratio = float(result.heat.max() / result.heat[0])
    notes = [FOLLOWS]
    if ratio > 1.02:
        notes.append(
            f"The burner needs up to {(ratio - 1.0) * 100:.0f} % more heat than now to hold the "
            "plenums; see that burner and fuel supply can give it."
        )
    if request.units == "metric" and any(move.setpoint_change for move in result.moves):
        step = say(SETPOINT_STEP, "temperature-difference", "metric", decimals=2)
        notes.append(f"The setpoint moves in steps of {step}; set the nearest your panel takes.")
    if request.grain not in CORN and result.moves:
        notes.append(
            "How far the setpoint moves was computed for corn; for this grain the direction holds, "
            "the size is a first guess."
        )
    if request.run.plenum_temperature is None and request.dryer is None:
        notes.append(
            "Without a plenum temperature weather changes neither rate nor fuel here; give it."
        )
    return notes


def _cautions(result: Outlook, *, hot: bool) -> list[str]:
    codes = ["follow-manual", *(["temperature-limit"] if hot else [])]
    if float(result.weather.temperature.min()) < FREEZING_POINT:
        codes.append("condensation")
    return codes


def _assumed(
    request: WeatherOutlookRequest, described: Described | None, hold: float
) -> list[Assumed]:
    step = SETPOINT_PER_KELVIN["ambient-temperature"]
    entries: list[Assumed] = [
        AssumedQuantity(
            input="setpoint per degree of outside air", quantity="ratio", value=step,
            low=step * (1.0 - DOUBT_SHARE), high=step * (1.0 + DOUBT_SHARE),
            why="The setpoint that keeps the discharge moisture is a little lower in colder air.",
            source="finite difference of the column model (mixed flow, corn, 22 to 15.5 %)",
        ),
        AssumedQuantity(
            input="least time between moves", quantity="hours", value=hold,
            why="Nothing is judged before a move has passed through the column.",
            source="common practice, no source",
        ),
    ]  # fmt: skip
    run = request.run
    if request.dryer is None and run.energy_per_water is None:
        kind = run.kind or USUAL_KIND
        published = SPECIFIC_ENERGY[kind]
        entries.append(
            AssumedQuantity(
                input="run.energy_per_water", quantity="specific-energy", value=published.value,
                low=published.low, high=published.high,
                why=f"No fuel was given with the run; that of {kind} dryers is taken.",
                source=published.source,
            )
        )  # fmt: skip
    if described is not None:
        entries += dryer_assumed(described)
    return entries
