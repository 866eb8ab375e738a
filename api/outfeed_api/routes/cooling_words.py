"""What a cooling answer says in words."""

from __future__ import annotations

from outfeed.cooling import (
    ABOVE_AMBIENT,
    COOLED_AS_PUBLISHED,
    CREDIT,
    IN_DRYER,
    IN_DRYER_GUESS,
    STEEP,
    CoolingCredit,
    cooling_mode,
)
from outfeed.cooling_air import FILL_AIR, FRONT, REACHED, Reached
from outfeed.grains import Grain, load_grain
from outfeed.methods import MethodUse, use
from outfeed.moist_air import STANDARD_PRESSURE
from outfeed.sorption import isotherm_method
from outfeed.steering.runaway import HOTTEST_PUBLISHED
from outfeed.storage_moisture import cold_enough
from outfeed_api.models import Assumed, AssumedQuantity
from outfeed_api.routes.cooling_models import CoolingCase, CoolingRequest, CoolingResult
from outfeed_api.routes.fire_words import beyond
from outfeed_api.routes.moisture_cautions import moisture_cautions, too_wet_to_store
from outfeed_api.units import say

CORN = "corn-yellow-dent"
NOTHING_LOST = 5e-4  # moisture; less is not spoken of
COLD_ENOUGH_TO_SWEAT = 10.0  # K between hot grain and air; common practice, no source


def decision(
    request: CoolingRequest,
    mode: str,
    result: CoolingCredit | None,
    cases: list[CoolingResult] | None,
    reached: Reached | None,
    stored_at: float,
) -> str:
    """The answer in a sentence or two; of grain on fire nothing but the caution."""
    fire = _fire(request)
    if fire:
        return fire
    way = {
        "steep-then-cool": "after a steep and slow cooling",
        "cool-in-storage": "once cooled in the storage bin",
        "cool-in-dryer": "once its last heat has gone",
    }[mode]
    if result is None:
        return f"{len(cases or [])} lots answered, each as it will stand {way}."
    hot, final = (_moisture(request, x) for x in (result.hot_moisture, result.final_moisture))
    low, high = (_moisture(request, x) for x in (result.final_low, result.final_high))
    lost = say(float(result.points), "points", request.units, decimals=1)
    by = "the share for prompt cooling in a bin" if mode == IN_DRYER else "what was published"
    band = "" if low == high else f" ({low} to {high} by {by})"
    if float(result.points) < NOTHING_LOST:
        why = _why_nothing(request, mode, float(result.points))
        text = f"The grain stays at {final}: {why} cooling takes next to nothing."
    elif request.final_moisture is not None:
        text = f"Discharge at {hot}: the grain comes to {final}{band} {way}, losing {lost}."
    else:
        text = f"Discharged at {hot}, the grain comes to {final}{band} {way}, losing {lost}."
    if reached is not None and reached.limited:
        least = say(float(reached.lowest), "temperature", request.units, decimals=0)
        text += (
            f" This air cannot cool it below {least}."
            if request.hourly is None
            else f" The air of some hours cannot cool it so far; their mean limit is {least}."
        )
    return text + _too_wet(request, float(result.final_moisture), stored_at)


def _too_wet(request: CoolingRequest, moisture: float, temperature: float) -> str:
    """That grain so cooled is too wet to store; empty where it is not."""
    most = too_wet_to_store(request.grain, moisture, temperature)
    if most is None:
        return ""
    cold = cold_enough(load_grain(request.grain).storage_moistures, moisture, temperature)
    if cold is None:
        return f" No source stores it wetter than {_moisture(request, most)}: dry it further."
    degrees = say(cold, "temperature", request.units, decimals=0)
    return (
        f" No source stores it wetter than {_moisture(request, most)} unless it is at {degrees} or "
        f"colder: cool it so far, or dry it further."
    )


def hottest(request: CoolingRequest) -> float:
    """Hottest grain of a request [degC]; the coldest there can be where none is told."""
    return max(
        [request.hot_temperature or -40.0, *(case.hot_temperature for case in request.cases or [])]
    )


def _fire(request: CoolingRequest) -> str:
    """What to do first with grain hotter than any drying air; empty where there is none."""
    hot = hottest(request)
    if hot <= HOTTEST_PUBLISHED:
        return ""
    degrees = say(hot, "temperature", request.units, decimals=0)
    return (
        f"FIRE CAUTION: grain at {degrees} is {beyond(request.units)}. Look and smell for smoke "
        "and follow the emergency procedure of the dryer's manual; put none of it into a bin, to "
        "rest or to cool, before you know the cause."
    )


def _moisture(request: CoolingRequest, value: object) -> str:
    spoken = say(float(value), "moisture", request.units, decimals=1)  # type: ignore[arg-type]
    return spoken.removesuffix(" wet basis")


def assumed(request: CoolingRequest, mode: str, final: float) -> list[Assumed]:
    """What was filled in, in SI."""
    found: list[Assumed] = []
    if request.mode is None:
        found.append(
            Assumed(
                input="mode",
                choice=mode,
                why="the most common way; it credits less than a steep does",
                source="common practice, no source",
            )
        )
    if request.efficiency is None:
        way = cooling_mode(mode)
        found.append(
            AssumedQuantity(
                input="efficiency",
                quantity="percent",
                value=way.efficiency,
                low=way.efficiency_low,
                high=way.efficiency_high,
                why="no share was published for cooling in the dryer; that of prompt cooling in "
                "storage is borrowed"
                if mode == IN_DRYER
                else "published share of the heat that evaporates moisture, for corn",
                source=way.source,
            )
        )
    if request.final_temperature is None:
        found.append(
            AssumedQuantity(
                input="final_temperature",
                quantity="temperature",
                value=final,
                why="grain cools to the temperature of the air"
                if request.hourly is None
                else "grain cools to the mean temperature of the air given",
                source="common practice, no source",
            )
        )
    humid = request.relative_humidity is not None or request.hourly is not None
    if humid and request.pressure is None:
        found.append(
            AssumedQuantity(
                input="pressure",
                quantity="air-pressure",
                value=STANDARD_PRESSURE,
                why="standard air at sea level; matters little to a wet bulb",
                source="definition",
            )
        )
    return found


def methods(request: CoolingRequest, grain: Grain, mode: str, final: float) -> list[MethodUse]:
    """The methods of an answer."""
    uses = [use(CREDIT, temperature_of_cooled_grain=final)]
    if mode == IN_DRYER:
        uses.append(use(IN_DRYER_GUESS))
    if grain.isotherms:
        uses.append(use(isotherm_method(grain.isotherm())))
    one = request.ambient_temperature is not None and request.relative_humidity is not None
    if one or request.hourly is not None:
        uses.append(use(REACHED))
    if request.airflow_per_grain is not None:
        uses.append(use(FRONT))
    if request.fill_rate is not None:
        uses.append(use(FILL_AIR))
    return uses


def notes(
    request: CoolingRequest,
    grain: Grain,
    mode: str,
    case: CoolingCase | None,
    reached: Reached | None,
) -> list[str]:
    """Plain sentences to act on."""
    found: list[str] = []
    safe = hottest(request) <= HOTTEST_PUBLISHED
    if mode == "steep-then-cool" and safe:
        found.append(
            "Let the hot grain rest 4 to 12 hours without air, cool it slowly, then move it to the "
            "storage bin: the wall and roof of the cooling bin stay wet."
        )
    if mode == "cool-in-storage" and safe:
        found.append("Start the fan with the first hot grain; do not let it steep in this bin.")
    if request.steep is not None and not STEEP.contains(request.steep):
        found.append("A steep outside 4 to 12 hours is outside what was published.")
    if request.steep is not None and mode != "steep-then-cool":
        found.append("A steep counts only with `steep-then-cool`; it was left aside.")
    found += _beyond_published(request, mode)
    air = request.ambient_temperature
    above = say(ABOVE_AMBIENT, "temperature-difference", request.units, decimals=0)
    hotter = case is not None and air is not None and case.hot_temperature > air + ABOVE_AMBIENT
    if mode == IN_DRYER and hotter:
        found.append(
            f"A heat-and-cool dryer usually discharges no more than {above} above the air; this "
            "grain is hotter."
        )
    if mode != IN_DRYER and case is not None:
        found.append(
            "The comparison takes grain cooled in the dryer as leaving it no more than "
            f"{above} above its final temperature."
        )
    if reached is None and request.ambient_temperature is not None:
        found.append("Give relative_humidity too, to know how cold this air can make the grain.")
    if request.airflow_per_grain is not None:
        found.append(
            "Fan time follows airflow: measure the grain at the far side before you stop the fan."
        )
    if grain.id != CORN:
        found.append("The efficiencies were published for corn; check a cooled sample.")
    found.append("Hot grain reads falsely on a moisture meter: test a rested, cooled sample.")
    return found


def _why_nothing(request: CoolingRequest, mode: str, points: float) -> str:
    """Whether it is for want of heat, or of the share of it that the caller told."""
    told = request.efficiency
    if told is None or points * cooling_mode(mode).efficiency < NOTHING_LOST * told:
        return "it is hardly warmer than it will be, so"
    return f"by your share of {say(told, 'percent', request.units, decimals=0)} of the heat"


def _beyond_published(request: CoolingRequest, mode: str) -> list[str]:
    """That the caller's own share of the heat is more than any published for the way."""
    most = cooling_mode(mode).efficiency_high
    if request.efficiency is None or request.efficiency <= most:
        return []
    own, known = (
        say(share, "percent", request.units, decimals=0) for share in (request.efficiency, most)
    )
    text = f"Your share of {own} is above the {known} at most that was published for this way"
    return [f"{text}: check a cooled sample before grain leaves the dryer wetter by it."]


def caution_codes(
    request: CoolingRequest, grain: Grain, mode: str, final: float, left: list[float]
) -> list[str]:
    """Codes of the cautions that belong to it; `left` are the moistures after cooling."""
    hot = hottest(request)
    codes = moisture_cautions(grain.id, left, request.final_moisture, temperature=final)
    if mode != IN_DRYER and hot - final > COLD_ENOUGH_TO_SWEAT:
        codes.append("condensation")
    if hot > max((row.high for row in grain.temperature_limits), default=HOTTEST_PUBLISHED):
        codes.insert(0, "temperature-limit")
    if hot > HOTTEST_PUBLISHED:
        codes.insert(0, "fire-column")
    codes.append("meter-uncertain")
    if not COOLED_AS_PUBLISHED.contains(final):
        codes.append("extrapolated")
    return [*codes, "hot-surfaces", "entrapment"]
