"""The discharge rate in words: the decision, the notes, what was assumed."""

from __future__ import annotations

import math

from outfeed.dryer.assume import Assumption
from outfeed.dryer.heat_check import PLENUM_HOLDS
from outfeed.dryer.metering import Metering
from outfeed.dryer.opening import Opening
from outfeed.dryer.reach import Reach
from outfeed.grains import TemperatureLimit
from outfeed.grains.limits import most_permissive, strictest
from outfeed_api.models import LONGEST_TEXT, Assumed
from outfeed_api.routes.column_setup import THAWING
from outfeed_api.routes.discharge_input import Setup
from outfeed_api.routes.discharge_models import DischargeRateRequest
from outfeed_api.routes.dryer_words import (
    about_rates,
    assumed_quantity,
    past_all_limits,
    published_limits,
)
from outfeed_api.routes.metering_given import metering_notes, metering_said
from outfeed_api.units import say

NEAR_LIMIT = 0.02
"""Moisture above the plenum's equilibrium within which the balance is optimistic [-]."""

WIDE = 2.0
"""High end over low end of a band above which the answer says how to narrow it [-]."""


def assumed_entry(item: Assumption, setup: Setup) -> Assumed:
    """One assumption for the answer.

    Parameters
    ----------
    item : Assumption
        What was assumed, SI.
    setup : Setup
        For the weight of a volume of grain.

    Returns
    -------
    Assumed
        To be converted.
    """
    return assumed_quantity(item, setup.bulk_density)


def decision(
    request: DischargeRateRequest, reach: Reach, opening: Opening | None, dial: Metering | None
) -> str:
    """What to do, in a sentence or two.

    Parameters
    ----------
    request : DischargeRateRequest
        In SI.
    reach : Reach
        Whether the target can be reached.
    opening : Opening or None
        The rate.
    dial : Metering or None
        The setting.

    Returns
    -------
    str
        For someone beside the dryer.
    """
    if opening is None:
        return _out_of_reach(request, reach)
    rate = about_rates(request, opening.dry_rate)
    text = f"Open at about {rate} of dry grain"
    if dial is not None and dial.basis != "far-extrapolation":
        setting = dial.setting
        text += f", {metering_said(setting.value, setting.low, setting.high)}"
    hours = say(opening.transit_time.value, "hours", request.units, decimals=1)
    text += f": one transit takes {hours}. Make no change before it has passed."
    return text[:LONGEST_TEXT]


def _out_of_reach(request: DischargeRateRequest, reach: Reach) -> str:
    target = say(request.target_moisture, "moisture", request.units)
    inlet = say(request.moisture, "moisture", request.units)
    if reach.verdict == "nothing-to-dry":
        return (
            f"There is nothing to dry: the grain comes in at {inlet}, not above the target of "
            f"{target}. Run it through without heat, or cool it in the bin."
        )
    if reach.verdict == "met-without-heat":
        return (
            f"From {inlet} to {target} so little water leaves that the cooling section alone "
            "would do it. Run without heat and judge by samples."
        )
    driest = say(reach.driest_moisture_wb, "moisture", request.units)
    text = (
        f"The target of {target} cannot be reached at any rate: this plenum air dries grain no "
        f"further than {driest}."
    )
    if reach.plenum_needed is None:
        return text + " No plenum temperature this service knows would do it in this weather."
    needed = say(reach.plenum_needed, "temperature", request.units, decimals=0)
    text += f" It takes a plenum above {needed}, and well above it for any speed."
    return text + past_all_limits(request, reach.plenum_needed)


def notes(
    request: DischargeRateRequest,
    reach: Reach,
    opening: Opening | None,
    dial: Metering | None,
    *,
    beside: str = "",
) -> list[str]:
    """Plain sentences to act on.

    Parameters
    ----------
    request : DischargeRateRequest
        In SI.
    reach : Reach
        Whether the target can be reached.
    opening : Opening or None
        The rate.
    dial : Metering or None
        The setting.
    beside : str
        What the quick balance says beside the column model; empty where it is the method.

    Returns
    -------
    list of str
        In order of importance.
    """
    if opening is None:
        return []
    return [
        *_first_notes(request, opening, beside),
        *metering_notes(request.metering_points, dial),
        *_flag_notes(request, opening),
        *_limit_notes(request, reach),
    ]


def _first_notes(request: DischargeRateRequest, opening: Opening, beside: str) -> list[str]:
    wet = about_rates(request, opening.wet_rate)
    first = (
        f"Wet grain goes in at about {wet}. After the first transit, compare the discharge with "
        "the target and correct the rate."
    )
    if beside:
        second = beside
    elif opening.anchor_factor is None:
        second = (
            "The rate comes from water and energy alone, good to about 12 % (standard deviation); "
            "one known run of this dryer brings that to about 7 %."
        )
    else:
        second = (
            f"Anchored to your known run, which ran at {opening.anchor_factor:.2f} of what the "
            "balance alone gives for it."
        )
    found = [first, second]
    if opening.dry_rate.high > WIDE * opening.dry_rate.low:
        found.append(
            "The band is wide because much was assumed; the airflow, or one known run of this "
            "dryer, narrows it most."
        )
    return found


def _flag_notes(request: DischargeRateRequest, opening: Opening) -> list[str]:
    text = {
        "exhaust-saturated": (
            "An exhaust would be past saturation; it was held at saturation. "
            f"{_blamed_for_fog(request)}"
        ),
        "cooling-short-of-air": (
            "The cooling section has too little air to cool the grain to near the outside air; "
            "expect warm grain."
        ),
        "anchor-far-off": (
            "Your known run is more than twofold from the balance: check its rate, its basis (wet "
            "or dry), the hold-up and the airflow before you trust either."
        ),
        "grain-below-freezing": (
            f"The grain comes in below freezing. {THAWING}, so the real rate may be lower."
        ),
        "exhaust-measured": "Measured exhaust temperatures were used where you gave them.",
    }
    found = [text[flag] for flag in opening.flags]
    if any(zone.water_removed < 0.0 for zone in opening.zones):
        found.append("Cold grain gathers dew in the first zone; that slows the dryer.")
    return found


def _blamed_for_fog(request: DischargeRateRequest) -> str:
    zones = request.dryer.zones
    given = [
        words
        for words, values in (
            ("the airflow", [zone.airflow for zone in zones]),
            ("the exhaust temperature", [zone.exhaust_temperature for zone in zones]),
        )
        if any(value is not None for value in values)
    ]
    if given:
        return f"Check {' and '.join(given)} you gave."
    return "Airflow and exhaust temperature were assumed: measure either, and give it."


def _limit_notes(request: DischargeRateRequest, reach: Reach) -> list[str]:
    if request.target_moisture - reach.driest_moisture_wb < NEAR_LIMIT:
        text = (
            "The target is near the driest this plenum air allows; drying will be slower than "
            "the balance says."
        )
        return [text]
    return []


def passed_limit(request: DischargeRateRequest) -> TemperatureLimit | None:
    """The most permissive published air temperature, when the hottest plenum is above it.

    Parameters
    ----------
    request : DischargeRateRequest
        In SI.

    Returns
    -------
    TemperatureLimit or None
        None where no limit is published or none is passed.
    """
    limit = most_permissive(published_limits(request))
    passed = limit is not None and _hottest(request) > limit.high + PLENUM_HOLDS
    return limit if passed else None


def limit_notes(request: DischargeRateRequest, limit: TemperatureLimit | None) -> list[str]:
    """A sentence on the limit that the hottest plenum passes.

    Parameters
    ----------
    request : DischargeRateRequest
        In SI.
    limit : TemperatureLimit or None
        From `passed_limit`.

    Returns
    -------
    list of str
        One sentence: on the highest limit where that is passed, else on the strictest; or none.
    """
    if limit is None:
        return _stricter_note(request)
    most = say(limit.high, "temperature", request.units, decimals=0)
    return [
        f"Your hottest plenum is above the highest published drying-air limit for this grain and "
        f"kind of dryer, {most} ({limit.source})."[:LONGEST_TEXT]
    ]


def _stricter_note(request: DischargeRateRequest) -> list[str]:
    """That the hottest plenum lies above what is published for some use of the grain."""
    limits = published_limits(request)
    least, most = strictest(limits), most_permissive(limits)
    if least is None or most is None or _hottest(request) <= least.low + PLENUM_HOLDS:
        return []
    low, high, now = (
        say(value, "temperature", request.units, decimals=0)
        for value in (least.low, most.high, _hottest(request))
    )
    uses = f" ({' or '.join(least.end_uses)})" if least.end_uses else ""
    text = (
        f"Published drying-air limits for this grain and kind of dryer run from {low}{uses} to "
        f"{high}, by use and source. Your hottest plenum, {now}, lies between: look up the limit "
        "for your use in the catalogue."
    )
    return [text]


def _hottest(request: DischargeRateRequest) -> float:
    given = (zone.plenum_temperature for zone in request.dryer.zones)
    return max((warm for warm in given if warm is not None), default=-math.inf)
