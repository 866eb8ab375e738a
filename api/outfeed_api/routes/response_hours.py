"""A column driven by the weather: its first hour, its course, and what to say of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from outfeed import Inconsistent
from outfeed.dryer.transient import HORIZON, Change, Response, air_changes
from outfeed_api.models import LONGEST_TEXT
from outfeed_api.routes.air_hours import AirHours
from outfeed_api.routes.air_words import GRAIN_FOLLOWS
from outfeed_api.routes.column_setup import Column, at_hour
from outfeed_api.routes.dryer_input import refuse_cold_plenums
from outfeed_api.routes.dryer_words import about_rate
from outfeed_api.routes.response_models import DURATION, ColumnResponseRequest, OffTargetGrain
from outfeed_api.routes.response_words import grain_words
from outfeed_api.units import say
from outfeed_api.wording import lasting

HOLD_IN_FIRST_AIR = (
    "The hold was sought in the air of the first hour; the traces run in the air as it moves."
)

GRAIN_KEEPS = (
    "Grain is taken to come in at the one temperature given: grain that cools with the weather "
    "leaves wetter than that, grain that warms drier."
)


def at_first_hour(request: ColumnResponseRequest, column: Column) -> Column:
    """The column in the air of the first hour; unchanged where one state of the air was given.

    Parameters
    ----------
    request : ColumnResponseRequest
        In SI.
    column : Column
        In the mean air.

    Returns
    -------
    Column
        The same machine and formulas; a step in the grain's temperature keeps it from then on.

    Raises
    ------
    Inconsistent
        A series of one entry.
    ProblemError
        Air that gets warmer than a heated plenum.
    """
    machine, hours = column.machine, column.machine.hours
    if hours is None:
        return column
    if hours.count == 1:
        raise Inconsistent("air that drives a column takes two hours or more", "hourly")
    refuse_cold_plenums(
        request, machine.dryer.plenum_temperatures, float(np.max(hours.temperature))
    )
    first = at_hour(column, hours, 0, "that of the first hour")
    if request.step is None or request.step.grain_temperature is None:
        return first
    told = replace(hours, grain_follows=False)
    return replace(first, machine=replace(first.machine, hours=told))


def span(hours: AirHours) -> float:
    """How long the series is, as long as a trace may be at least [s]."""
    return max(float(hours.seconds[-1] - hours.seconds[0]), HORIZON.low)


def weather_of(hours: AirHours | None) -> list[Change]:
    """The course of the air as changes; none where one state of the air was given."""
    if hours is None:
        return []
    return air_changes(
        hours.seconds,
        hours.temperature,
        hours.relative_humidity,
        grain_follows=hours.grain_follows,
    )


def at_the_end(change: Change, run: Response, hours: AirHours) -> Change:
    """The change together with the air at the end of the trace."""
    end = float(run.time[-1] + hours.seconds[0])
    damp = hours.relative_humidity
    warm = float(np.interp(end, hours.seconds, hours.temperature))
    return replace(
        change,
        temperature=warm if hours.grain_follows else change.temperature,
        ambient_temperature=warm,
        ambient_relative_humidity=None
        if damp is None
        else float(np.interp(end, hours.seconds, damp)),
    )


def weather_decision(
    request: ColumnResponseRequest,
    hours: AirHours,
    run: Response,
    off: OffTargetGrain,
    target: float,
    rate: float,
    again: float | None,
) -> str:
    """What the weather does to a column whose settings are held.

    Parameters
    ----------
    request : ColumnResponseRequest
        In SI.
    hours : AirHours
        The series.
    run : Response
        The traces.
    off : OffTargetGrain
        Grain that leaves off target.
    target : float
        Moisture wanted [-].
    rate : float
        Dry matter rate held [kg/s].
    again : float or None
        Dry matter rate that settles at the target in the last air [kg/s].

    Returns
    -------
    str
        Two or three sentences.
    """
    moisture, start = run.outlet_moisture_wb, hours.seconds[0]
    ends = [
        f"{moisture[row] * 100:.1f} % ({hours.clock.say(float(run.time[row] + start))})"
        for row in (int(np.argmin(moisture)), int(np.argmax(moisture)))
    ]
    held = about_rate(request, rate / (1.0 - target))
    text = (
        f"Held at {held} for {lasting(float(run.time[-1]))}, the discharge runs from {ends[0]} "
        f"to {ends[1]}."
    )
    if off.wet == 0.0 and off.dry == 0.0:
        return f"{text} None of it is off target ({target * 100:.1f} %): hold the rate."
    parts = []
    for mass, by, side in ((off.wet, off.wet_by, "wet"), (off.dry, off.dry_by, "dry")):
        if mass > 0.0:
            parts.append(f"{grain_words(request, mass)} too {side}, by {by * 100:.1f} points")
    text += f" Against {target * 100:.1f} % there leave {' and '.join(parts)}."
    if again is not None:
        percent = (again / rate - 1.0) * 100.0
        text += (
            f" In the air at the end about {about_rate(request, again / (1.0 - target))} "
            f"({percent:+.0f} %) would settle on target."
        )
    return text[:LONGEST_TEXT]


def weather_notes(request: ColumnResponseRequest, hours: AirHours, run: Response) -> list[str]:
    """Plain sentences on a column driven by the weather.

    Parameters
    ----------
    request : ColumnResponseRequest
        In SI.
    hours : AirHours
        The series.
    run : Response
        The traces.

    Returns
    -------
    list of str
        In order of importance.
    """
    grain = GRAIN_FOLLOWS if hours.grain_follows else GRAIN_KEEPS
    notes = [f"Plenums are taken to be held by their burners. {grain}"]
    if request.rate is None:
        notes.append("The rate held is the one that meets the target in the first hour's air.")
    column = run.column_temperature
    if column is not None:
        low, high = (
            say(float(pick(column)), "temperature", request.units, decimals=0)
            for pick in (np.min, np.max)
        )
        notes.append(f"The column sensors go from {low} to {high} meanwhile.")
    if span(hours) > DURATION.high and request.duration is None:
        notes.append("The series is longer than three days; the first three were followed.")
    return notes
