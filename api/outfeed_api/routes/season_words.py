"""What a season plan says in words."""

from __future__ import annotations

import numpy as np

from outfeed.ability import USUAL_HUMIDITY, USUAL_KIND
from outfeed.cooling import CREDIT, IN_DRYER
from outfeed.dryer.assume import SPECIFIC_ENERGY
from outfeed.fuel import EIA_HEAT
from outfeed.grains import load_grain
from outfeed.methods import Method, use
from outfeed.queue import QUEUE, Lots
from outfeed.season import (
    ABOVE_AIR,
    HOLDING_AIR,
    HOT_DISCHARGE,
    HOT_DISCHARGE_RANGE,
    MUCH_OF_LIFE,
    PLAN,
    Plan,
)
from outfeed.season_fuel import FULL_SHARE, REFILL_SHARE
from outfeed.season_help import (
    HOTTER,
    MORE_HOLDING,
    Alternative,
    passes_all_limits,
)
from outfeed.storage_charts import charts_of
from outfeed.storage_life import FORMULA
from outfeed.weather import HOUR, MONTHLY
from outfeed_api.models import Assumed, AssumedQuantity, MethodUsed, methods_used
from outfeed_api.moments import Clock
from outfeed_api.routes.season_dryer import (
    Described,
    dryer_assumed,
    fit_notes,
    frost_notes,
    machine_methods,
)
from outfeed_api.routes.season_models import SeasonPlanRequest
from outfeed_api.units import say

COMMON = "common practice, no source"
WHOLE_HOUR = 0.05  # h of waiting that is worth a word; chosen, no source
MUCH_LEFT = 0.5  # of the waiting; where more is left, no change is praised: chosen, no source

RATED = (
    "The plan rests on `known_rate`: best is one held over days. Dryers hold about 70 to 80 % of a "
    "rated capacity (Maier and Bakker-Arkema 2002, quoted by Extension); if yours is a rated one, "
    "give that share of it."
)

CHANGES = {
    "bigger-wet-holding": "more wet holding",
    "start-earlier": "starting a week earlier",
    "higher-plenum": "a hotter plenum",
    "cool-in-bin": "cooling in the bin",
    "longer-hours": "running the dryer day and night",
}


def decision(request: SeasonPlanRequest, plan: Plan, best: Alternative | None, clock: Clock) -> str:
    """The plan in a sentence or two.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.
    plan : Plan
        The season.
    best : Alternative or None
        What helps most.
    clock : Clock
        How times are spoken of.

    Returns
    -------
    str
        For the answer's `decision`.
    """
    words = [_verdict(request, plan, clock)]
    worst = plan.worst_life
    if worst is not None and worst >= 1.0:
        words.append(
            "The worst lot would spoil while it waits: it uses up "
            f"{worst * 100:.0f} % of its storage life."
        )
    elif worst is not None and worst >= MUCH_OF_LIFE:
        words.append(
            f"The worst lot uses up {worst * 100:.0f} % of its storage life while it waits."
        )
    if best is not None and best.plan is not None:
        words.append(_help(plan, best, clock))
    return " ".join(words)


def _verdict(request: SeasonPlanRequest, plan: Plan, clock: Clock) -> str:
    peak = say(
        plan.peak_held, "grain", request.units, bushel_weight=request.kg_per_bushel, decimals=0
    )
    end = plan.finished_s
    finish = "" if end is None else f" The last grain is dry at {clock.say(end)}."
    full = f"with wet holding full at {peak}" if plan.season.holding else "with no wet holding"
    if plan.waited_hours >= WHOLE_HOUR:
        who = "Lots wait at the pit for" if isinstance(plan.season.supply, Lots) else (
            "The dryer does not keep up: the combine waits"
        )  # fmt: skip
        text = f"{who} {_hours(plan, plan.waited_hours)} in all, {full}.{finish}"
    else:
        keeps = "The dryer keeps up" if plan.keeps_up else "Nothing waits"
        text = f"{keeps}; wet holding fills to {peak} at most.{finish}"
    if end is None:
        text += " The plan ends before everything is dry."
    return text


def _help(plan: Plan, best: Alternative, clock: Clock) -> str:
    then = best.plan
    if then is None:
        return ""
    what, left = CHANGES[best.change], _hours(plan, then.waited_hours)
    if then.waited_hours <= plan.waited_hours - WHOLE_HOUR:
        if then.waited_hours > MUCH_LEFT * plan.waited_hours:
            return f"Most help: {what}, but {left} of waiting remain; one change is not enough."
        return f"Most help: {what}, which cuts the waiting to {left}."
    worst = plan.worst_life or 0.0
    if then.worst_life is not None and worst >= MUCH_OF_LIFE and then.worst_life < worst:
        return f"Most help: {what}, which brings that down to {then.worst_life * 100:.0f} %."
    if then.finished_s is None:
        return f"Most help: {what}."
    return f"Most help: {what}, by which the last grain is dry at {clock.say(then.finished_s)}."


def _hours(plan: Plan, value: float) -> str:
    """Hours of a combine, or hours of each lot that stands added up."""
    whole = f"{value:,.0f}"
    unit = "lot-hour" if isinstance(plan.season.supply, Lots) else "hour"
    return f"{whole} {unit}{'s' * (whole != '1')}"


def what_changed(request: SeasonPlanRequest, other: Alternative) -> str:
    """A change in a sentence, with why it could not be computed where it could not.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.
    other : Alternative
        The change.

    Returns
    -------
    str
        One sentence.
    """
    if other.plan is None:
        return f"Not computed: {other.why_not}."
    if other.change == "bigger-wet-holding":
        size = say(
            request.wet_holding * MORE_HOLDING, "grain", request.units,
            bushel_weight=request.kg_per_bushel, decimals=0,
        )  # fmt: skip
        return f"Wet holding half as big again: {size}."
    if other.change == "higher-plenum":
        hotter = say(HOTTER, "temperature-difference", request.units, decimals=0)
        return (
            f"Every heated plenum {hotter} hotter; only within "
            "the limits for this grain, its use and the dryer."
        )
    if other.change == "cool-in-bin":
        return (
            "Grain leaves hot and is cooled at once in the storage bin, which takes the last "
            "points; the bin needs the airflow for it."
        )
    if other.change == "start-earlier":
        return "Harvest starts seven days earlier, in grain as wet as it is then."
    return "The dryer runs day and night."


def notes(
    request: SeasonPlanRequest, plan: Plan, described: Described | None, clock: Clock
) -> list[str]:
    """Plain sentences beside the numbers.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.
    plan : Plan
        The season.
    described : Described or None
        The dryer as it was read, where it was described.
    clock : Clock
        How times are spoken of.

    Returns
    -------
    list of str
        For the answer's `notes`.
    """
    found = [_hours_worked(plan), *_dry_already(plan)]
    found += fit_notes(plan.season.machine, described, "known_rate", request.known_rate)
    found += frost_notes(plan.season.weather.temperature[slice(*_first_and_last(plan))])
    if request.known_rate is not None:
        found.append(RATED)
    if plan.life is None:
        found.append("No storage life is published for this grain at these states; none is shown.")
    elif plan.life.at_most:
        found.append(
            "The storage life used is an upper bound where grain is colder than the source."
        )
    if plan.flow.left_outside > 1.0:
        left = say(
            plan.flow.left_outside / (1.0 - request.final_moisture), "grain", request.units,
            bushel_weight=request.kg_per_bushel, decimals=0,
        )  # fmt: skip
        found.append(f"By {clock.say(plan.flow.start_s + HOUR * plan.flow.held.size)} "
                     f"{left} are not in yet.")  # fmt: skip
    if plan.season.cooling != IN_DRYER:
        found.append(
            f"Stop drying at {plan.target_wb * 100:.1f} %; cooling takes it to "
            f"{request.final_moisture * 100:.1f} %."
        )
    return found


def _dry_already(plan: Plan) -> list[str]:
    """A word on lots that need no drying."""
    wet = plan.flow.lot_moisture_wb
    dry = int(np.count_nonzero(wet <= plan.target_wb))
    if not dry:
        return []
    if isinstance(plan.season.supply, Lots):
        what = "Every lot comes" if dry == wet.size else f"{dry:,} of {wet.size:,} lots come"
    elif dry == wet.size:
        what = "All the grain of the harvest comes"
    else:
        what = f"In {dry:,} of {wet.size:,} hours of harvest grain comes"
    already = f"{what} in no wetter than {plan.target_wb * 100:.1f} %"
    return [f"{already}: it passes without heat, or need not see the dryer."]


def _first_and_last(plan: Plan) -> tuple[int, int]:
    """The hour of the first grain and the hour after the last, or the end of the plan."""
    flow = plan.flow
    end = flow.busy.size
    if plan.finished_s is not None:
        end = min(int((plan.finished_s - flow.start_s) / HOUR) + 1, end)
    begin = int(np.argmax((flow.peak > 0.0) | (flow.dried > 0.0)))
    return begin, max(end, begin + 1)


def _hours_worked(plan: Plan) -> str:
    flow = plan.flow
    begin, end = _first_and_last(plan)
    open_hours = float(plan.season.run_share[begin:end].sum())
    busy = float(flow.busy[begin:end].sum())
    return (
        f"From the first grain to the last the dryer works {busy:,.0f} of the {open_hours:,.0f} "
        "hours it may."
    )


def caution_codes(plan: Plan, others: tuple[Alternative, ...]) -> list[str]:
    """Codes of the cautions that belong to a plan.

    Parameters
    ----------
    plan : Plan
        The season.
    others : tuple of Alternative
        What was tried beside it; empty where nothing was.

    Returns
    -------
    list of str
        Keys of `outfeed_api.cautions`, most general first.
    """
    codes = ["follow-manual", "entrapment"]
    worst = plan.worst_life
    if worst is not None and worst >= MUCH_OF_LIFE:
        codes.append("under-drying")
    if passes_all_limits(plan.season.grain, plan.season.machine):
        codes.insert(1, "temperature-limit")
    if any(other.change == "higher-plenum" and other.plan is not None for other in others):
        codes.append("stress-cracks")
    if plan.season.cooling != IN_DRYER:
        codes.append("condensation")
    return codes


def methods(
    request: SeasonPlanRequest, plan: Plan, described: Described | None
) -> list[MethodUsed]:
    """The methods a plan rests on.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.
    plan : Plan
        The season.
    described : Described or None
        The dryer as it was read, where it was described.

    Returns
    -------
    list of MethodUsed
        In order of importance; the values of fuels last.
    """
    used: list[Method] = []
    if plan.life is not None:
        used += [_life_method(request.grain, plan.life.source)]
    if plan.season.holding_temperature is None:
        used.append(HOLDING_AIR)
    if plan.season.cooling != IN_DRYER:
        used.append(CREDIT)
    if request.monthly is not None:
        used.append(MONTHLY)
    return methods_used(
        use(PLAN),
        use(QUEUE),
        *machine_methods(plan.season.machine, described),
        *(use(method) for method in used),
        use(EIA_HEAT),
    )


def _life_method(grain: str, source: str) -> Method:
    if source == FORMULA.id:
        return FORMULA
    return next(chart.method for chart in charts_of(load_grain(grain)) if chart.id == source)


def assumed(request: SeasonPlanRequest, plan: Plan, described: Described | None) -> list[Assumed]:
    """What the plan had to fill in.

    Parameters
    ----------
    request : SeasonPlanRequest
        In SI.
    plan : Plan
        The season.
    described : Described or None
        The dryer as it was read, where it was described.

    Returns
    -------
    list of Assumed
        In SI, to be converted; that of the dryer first.
    """
    entries = [] if described is None else dryer_assumed(described)
    known = request.known_rate
    if known is not None and request.dryer is None and known.energy_per_water is None:
        kind = known.kind or USUAL_KIND
        published = SPECIFIC_ENERGY[kind]
        entries.append(
            AssumedQuantity(
                input="known_rate.energy_per_water", quantity="specific-energy",
                value=published.value, low=published.low, high=published.high,
                why=f"No fuel was given with the known rate; that of {kind} dryers is taken.",
                source=published.source,
            )
        )  # fmt: skip
    if known is not None and known.plenum_temperature is not None:
        entries.append(
            AssumedQuantity(
                input="humidity of the outside air in the known run", quantity="percent",
                value=USUAL_HUMIDITY, low=0.4, high=0.95,
                why="It was not asked for; it hardly matters.", source=COMMON,
            )
        )  # fmt: skip
    if plan.season.cooling != IN_DRYER:
        above = say(ABOVE_AIR, "temperature-difference", request.units, decimals=0)
        entries.append(
            AssumedQuantity(
                input="temperature of grain leaving hot", quantity="temperature",
                value=HOT_DISCHARGE, low=HOT_DISCHARGE_RANGE[0], high=HOT_DISCHARGE_RANGE[1],
                why="It decides how much moisture cooling takes; it is cooled to "
                f"{above} above the mean outside air.",
                source="Foster (1973) and Brooker et al. (1992), as quoted in a thesis",
            )
        )  # fmt: skip
    if request.tank is not None:
        for name, share in (("tank full at", FULL_SHARE), ("tank refilled at", REFILL_SHARE)):
            entries.append(
                AssumedQuantity(
                    input=name, quantity="percent", value=share,
                    why="Share of the tank's water capacity.",
                    source="NFPA 58, recalled" if share == FULL_SHARE else COMMON,
                )
            )  # fmt: skip
    return entries
