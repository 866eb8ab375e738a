"""The hours that matter, in words."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.estimate import Estimate
from outfeed_api.routes.air_hours import AirHours, extremes
from outfeed_api.routes.dryer_models import DryerRequest
from outfeed_api.units import QUANTITIES, say
from outfeed_api.wording import HOUR

LITTLE_MOISTURE = 0.001  # a tenth of a point
LITTLE_RATE = 0.02  # of the rate
HALF_AN_HOUR = 0.5  # h; a series this near to one entry an hour is told in hours
ON_TARGET = 0.005  # half a point either side
GRAIN_FOLLOWS = (
    "Grain is taken to come in as warm as the air of its hour, as from the field. Grain from a bin "
    "or a pile follows by days and swings less: give `grain_temperature` where it is measured."
)
"""Heat spreads through bulk grain at about 1e-7 m2/s (recalled), so that a day's swing is down to a
third 5 cm deep: derived."""


def held_words(
    request: DryerRequest,
    hours: AirHours,
    moisture: FloatArray,
    known: BoolArray,
    target: float,
    wanted: str = "the target",
) -> str:
    """What leaves while the rate is held, and at which hours it matters.

    Parameters
    ----------
    request : DryerRequest
        Whose units are spoken.
    hours : AirHours
        The hours.
    moisture : ndarray
        At the discharge in each hour [-].
    known : ndarray of bool
        Which hours have an answer.
    target : float
        Moisture wanted [-].
    wanted : str
        What that is called.

    Returns
    -------
    str
        A sentence or two; empty where no hour has an answer.
    """
    if not np.any(known):
        return ""
    dry, wet = extremes(moisture, known)
    low, high = (f"{moisture[row] * 100:.1f} %" for row in (dry, wet))
    if moisture[wet] - moisture[dry] < LITTLE_MOISTURE:
        return f"Held through the {_span(hours)}, grain leaves at {high} in every hour."
    off = known & (np.abs(moisture - target) > ON_TARGET)
    text = (
        f"Held through the {_span(hours)}, grain leaves at {low} ({_when(request, hours, dry)}) to "
        f"{high} ({_when(request, hours, wet)})"
    )
    if not np.any(off):
        return f"{text}: hold it, no hour strays more than half a point from {wanted}."
    count = int(np.sum(off))
    few = f"{_of(hours, count)} are" if count > 1 else "one of them is"
    return f"{text}; {few} more than half a point from {wanted}."


def rate_words(
    request: DryerRequest, hours: AirHours, rate: FloatArray, met: BoolArray, target: float
) -> str:
    """Which rates would keep the target over the hours.

    Parameters
    ----------
    request : DryerRequest
        Whose units are spoken.
    hours : AirHours
        The hours.
    rate : ndarray
        Dry grain leaving that keeps the target in each hour [kg/s].
    met : ndarray of bool
        Which hours have one; at least one does.
    target : float
        Moisture wanted [-].

    Returns
    -------
    str
        A sentence or two.
    """
    slow, fast = extremes(rate, met)
    wanted = f"{target * 100:.1f} %"
    if (rate[fast] - rate[slow]) / rate[slow] < LITTLE_RATE:
        text = f"The rate that keeps {wanted} changes by less than 2 % over them."
    else:
        text = (
            f"To keep {wanted} the rate would go from {_rate(request, rate[slow])} "
            f"({_when(request, hours, slow)}) to {_rate(request, rate[fast])} "
            f"({_when(request, hours, fast)})."
        )
    without = int(np.sum(~met))
    if without:
        text += f" In {_of(hours, without)} no rate meets it."
    return text


def each_hour_note(
    request: DryerRequest,
    hours: AirHours,
    fuel: FloatArray,
    met: BoolArray,
    figures: str = "The figures are",
) -> list[str]:
    """What an hourly answer means, and what the weather costs.

    Parameters
    ----------
    request : DryerRequest
        Whose units are spoken.
    hours : AirHours
        The hours.
    fuel : ndarray
        Fuel burned in each hour [W].
    met : ndarray of bool
        Which hours have an answer.
    figures : str
        What is for the mean of the series; empty where nothing is.

    Returns
    -------
    list of str
        Two or three entries.
    """
    mean = say(hours.mean_temperature, "temperature", request.units, decimals=0)
    first = f"{figures} for the mean of your series, {mean}. " if figures else ""
    meaning = (
        f"{first}Each hour is answered as if its air "
        "lasted; the column needs a transit to follow, so its swings are smaller and later: ask "
        "for the column response to see them in time."
    )
    grain = [GRAIN_FOLLOWS] if hours.grain_follows and hours.count > 1 else []
    if not np.any(met):
        return [meaning, *grain]
    least, most = extremes(fuel, met)
    low, high = (heat_words(request, float(fuel[row])) for row in (least, most))
    cost = (
        f"With the plenums held, fuel goes from {low} ({_when(request, hours, least)}) to {high} "
        f"({_when(request, hours, most)})."
    )
    return [meaning, *grain, cost] if least != most else [meaning, *grain]


def hour_band_note(band: Estimate, quantity: Literal["rate", "moisture"]) -> str:
    """How far an hour's own figure may be off.

    What makes the mean uncertain is the dryer and the kinetics, hour after hour the same: in
    dryers tried, 8 K of weather moves the share of a rate's band by a hundredth.

    Parameters
    ----------
    band : Estimate
        Of the mean, or of the hour that is shown.
    quantity : str
        What it is of.

    Returns
    -------
    str
        A sentence.
    """
    below, above = band.value - band.low, band.high - band.value
    if quantity == "rate":
        low, high = (f"{100.0 * part / band.value:.0f} %" for part in (below, above))
    else:
        low, high = (f"{100.0 * part:.1f} points" for part in (below, above))
    return (
        f"Every hour's own {quantity} is as uncertain as that of the figures above: 90 % from "
        f"{low} below it to {high} above."
    )


def heat_words(request: DryerRequest, heat: float) -> str:
    """Fuel an hour to three digits, "13.2 million Btu/h"."""
    if request.units == "metric":
        return say(heat, "heat-rate", request.units, decimals=0)
    unit = QUANTITIES["heat-rate"].us
    return f"{unit.from_si(heat, math.nan) / 1e6:.1f} million {unit.label}"


def _span(hours: AirHours) -> str:
    """How long the series is, its last hour included where it goes by the hour."""
    length = float(hours.seconds[-1] - hours.seconds[0]) / HOUR
    return f"{hours.count if _hourly(hours) else round(max(length, 1.0)):,} hours"


def _of(hours: AirHours, count: int) -> str:
    return f"{count:,} of {hours.count:,} {'hours' if _hourly(hours) else 'entries'}"


def _hourly(hours: AirHours) -> bool:
    length = float(hours.seconds[-1] - hours.seconds[0]) / HOUR
    return abs(length + 1.0 - hours.count) < HALF_AN_HOUR


def _when(request: DryerRequest, hours: AirHours, row: int) -> str:
    air = say(float(hours.temperature[row]), "temperature", request.units, decimals=0)
    return f"{hours.say(row)}, {air}"


def _rate(request: DryerRequest, rate: float) -> str:
    """A rate to three digits: differences between hours matter here, not its band."""
    decimals = 0 if request.units == "us" else 1
    kg = request.kg_per_bushel
    return say(float(rate), "grain-rate", request.units, bushel_weight=kg, decimals=decimals)
