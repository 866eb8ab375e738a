"""Sentences and entries that every answer about a dryer shares."""

from __future__ import annotations

import math
from collections.abc import Iterable

from outfeed.dryer import assume
from outfeed.dryer.assume import STANDARD_AIR_DENSITY, Assumption
from outfeed.dryer.doubt_lanes import RATE_FACTOR
from outfeed.dryer.estimate import Estimate
from outfeed.dryer.heat_check import PLENUM_HOLDS, dryer_type
from outfeed.grains import TemperatureLimit, load_grain, most_permissive, temperature_limits
from outfeed.methods import COMMON_PRACTICE
from outfeed.moist_air import STANDARD_PRESSURE
from outfeed_api.cautions import GAS_FUELS
from outfeed_api.models import Assumed, AssumedQuantity, Request
from outfeed_api.routes.dryer_models import DryerRequest
from outfeed_api.units import QUANTITIES, say

THIN = 0.05
"""Share of the air that a fan's volume lacks, from which it is spoken of [-]: the width of what an
airflow is known to; chosen, no source."""

TOO_HOT = " A plenum is hotter than every published limit for this grain: see the notes."
"""Closes the decision of an answer on a dryer whose plenums pass all limits."""

QUANTITY = {
    assume.AIRFLOW: "airflow-per-grain",
    assume.AMBIENT_HUMIDITY: "percent",
    assume.GRAIN_TEMPERATURE: "temperature",
    assume.DENSITY: "density",
    assume.BURNER: "percent",
    assume.FAN_ENERGY: "specific-energy",
    assume.EFFECTIVENESS: "ratio",
    assume.DISCHARGE_GRAIN: "temperature-difference",
    assume.COOLING_EVAPORATION: "percent",
    assume.COLUMN_THICKNESS: "thickness",
    assume.GRAIN_HEAT: "heat-capacity",
    RATE_FACTOR: "ratio",
}


def assumed_quantity(item: Assumption, bulk_density: float) -> Assumed:
    """One assumption for the answer.

    Parameters
    ----------
    item : Assumption
        What was assumed, SI.
    bulk_density : float
        Wet grain in the bed [kg/m3], for the weight of a volume of grain.

    Returns
    -------
    Assumed
        To be converted.
    """
    scale = 1.0
    if item.name == assume.AIRFLOW:
        scale = 1.0 / STANDARD_AIR_DENSITY / bulk_density
    return AssumedQuantity(
        input="airflow" if item.name == assume.AIRFLOW else item.name,
        quantity=QUANTITY[item.name],
        value=item.value * scale,
        low=item.low * scale,
        high=item.high * scale,
        why=item.why,
        source=item.source,
    )


def assumed_choices(request: DryerRequest) -> list[Assumed]:
    """The choices and the pressure that a request about a dryer left to us.

    Parameters
    ----------
    request : DryerRequest
        In SI.

    Returns
    -------
    list of Assumed
        Burner, fuel and sea level, each where it was not given.
    """
    heated = any(zone.role == "heated" for zone in request.dryer.zones)
    given = request.dryer.model_fields_set
    entries = [
        Assumed(input=name, choice=choice, why=why, source=COMMON_PRACTICE)
        for name, choice, why in (
            ("burner", request.dryer.burner, "How the air is heated was not given."),
            ("fuel", request.dryer.fuel, "What is burned was not given."),
        )
        if heated and name not in given
    ]
    if request.pressure is None and request.altitude is None:
        entries.append(
            AssumedQuantity(
                input="altitude",
                quantity="length",
                value=0.0,
                why="Neither altitude nor pressure was given. Airflow counts as standard air, so "
                "thinner air changes little but how a fan's own volume is to be counted.",
                source="sea level, ASHRAE Handbook Fundamentals 2017, chapter 1",
            )
        )
    return entries


def published_limits(request: DryerRequest) -> tuple[TemperatureLimit, ...]:
    """What is published on how hot the air of this dryer may be, whatever the grain is for.

    Parameters
    ----------
    request : DryerRequest
        In SI.

    Returns
    -------
    tuple of TemperatureLimit
        For the grain as wet as it comes in.
    """
    return temperature_limits(
        load_grain(request.grain),
        dryer_type=dryer_type(request.dryer.kind),
        moisture_wb=request.moisture,
    )


def limit_cautions(request: DryerRequest, plenums: Iterable[float | None]) -> list[str]:
    """The code that goes with a plenum hotter than every published limit.

    Parameters
    ----------
    request : DryerRequest
        In SI.
    plenums : iterable of float or None
        As they will run [degC].

    Returns
    -------
    list of str
        One key of `outfeed_api.cautions`, or none.
    """
    limit = most_permissive(published_limits(request))
    hottest = max((warm for warm in plenums if warm is not None), default=-math.inf)
    passed = limit is not None and hottest > limit.high + PLENUM_HOLDS
    return ["temperature-limit"] if passed else []


def past_all_limits(request: DryerRequest, temperature: float) -> str:
    """A word on a plenum that would be needed, where nobody published that the grain bears it.

    Parameters
    ----------
    request : DryerRequest
        In SI.
    temperature : float
        Of the plenum [degC].

    Returns
    -------
    str
        A sentence after a space; empty where a limit allows it or none is published.
    """
    limit = most_permissive(published_limits(request))
    if limit is None or temperature <= limit.high:
        return ""
    return " That is hotter than every published limit for this grain: do not dry it so far."


def thin_air_notes(pressure: float) -> list[str]:
    """How a fan's own volume is to be stated where the barometer stands low.

    Parameters
    ----------
    pressure : float
        At the site [Pa].

    Returns
    -------
    list of str
        One sentence, or none where the air is about as heavy as standard air.
    """
    lacking = 1.0 - pressure / STANDARD_PRESSURE
    if lacking < THIN:
        return []
    text = (
        "Airflow counts as standard air, as at sea level. At the pressure of your site the volume "
        f"a fan moves holds {lacking * 100:.0f} % less: take that off an airflow measured there "
        "or read from a fan's table, or the real dryer is that much slower."
    )
    return [text]


def about_rate(request: Request, rate: float) -> str:
    """A rate to two digits, no finer than it is known.

    Parameters
    ----------
    request : Request
        Whose units are spoken.
    rate : float
        Grain [kg/s].

    Returns
    -------
    str
        For example "1,100 bu/h".
    """
    kg = request.kg_per_bushel
    unit = QUANTITIES["grain-rate"].unit(request.units)
    shown = unit.from_si(rate, kg)
    step = 10.0 ** max(math.floor(math.log10(shown)) - 1, -1)
    coarse = unit.to_si(round(shown / step) * step, kg)
    decimals = 0 if step >= 1.0 else 1
    return say(coarse, "grain-rate", request.units, bushel_weight=kg, decimals=decimals)


def about_rates(request: Request, rate: Estimate) -> str:
    """A rate and its band, to two digits.

    Parameters
    ----------
    request : Request
        Whose units are spoken.
    rate : Estimate
        Grain [kg/s].

    Returns
    -------
    str
        For example "1,100 bu/h (900 to 1,300)".
    """
    value, low, high = (about_rate(request, number) for number in (rate.value, rate.low, rate.high))
    return f"{value} ({low.split()[0]} to {high.split()[0]})"


def banded(request: Request, band: Estimate, quantity: str, decimals: int = 0) -> str:
    """A number with its band, in words.

    Parameters
    ----------
    request : Request
        Whose units are spoken.
    band : Estimate
        SI.
    quantity : str
        Id in `QUANTITIES`.
    decimals : int
        Decimals spoken.

    Returns
    -------
    str
        For example "101 degF (95 to 108)"; the bare value without a band.
    """
    spoken = [
        say(number, quantity, request.units, bushel_weight=request.kg_per_bushel, decimals=decimals)
        for number in (band.value, band.low, band.high)
    ]
    if spoken[1] == spoken[2]:
        return spoken[0]
    low, high = (text.split(" ")[0].removesuffix("%") for text in spoken[1:])
    return f"{spoken[0]} ({low} to {high})"


def percents(band: Estimate) -> str:
    """A moisture with its band, in words.

    Parameters
    ----------
    band : Estimate
        Wet basis [-].

    Returns
    -------
    str
        For example "15.5 % (14.8 to 16.2)".
    """
    value, low, high = (f"{number * 100:.1f}" for number in (band.value, band.low, band.high))
    return f"{value} %" if low == high else f"{value} % ({low} to {high})"


def burner_cautions(request: DryerRequest) -> list[str]:
    """Codes of the cautions that go with a running burner.

    Parameters
    ----------
    request : DryerRequest
        The dryer.

    Returns
    -------
    list of str
        For `models.cautions`.
    """
    codes = ["fire-column", "hot-surfaces", "lock-out"]
    if request.dryer.burner == "direct-fired" and request.dryer.fuel != "electricity":
        codes.append("carbon-monoxide")
    if request.dryer.fuel in GAS_FUELS:
        codes.append("gas-fuel")
    return codes
