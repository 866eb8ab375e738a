"""The start plan in words: the decision, the check list, what ends it."""

from __future__ import annotations

from typing import Any

from outfeed.dryer.estimate import Estimate
from outfeed.dryer.plan import Passes, PlenumPlan
from outfeed.dryer.ruling import ceiling_of
from outfeed.dryer.sensitivity import Sensitivity
from outfeed.grains import TemperatureLimit
from outfeed.limits import SPOKEN
from outfeed_api.models import LONGEST_TEXT
from outfeed_api.routes.dryer_words import about_rates, banded
from outfeed_api.routes.grain_entry import (
    country,
    limit_sentence,
    say_degrees,
    stricter_words,
)
from outfeed_api.routes.metering_given import metering_said
from outfeed_api.routes.own_scale import three_digits
from outfeed_api.routes.start_models import Expiry, PlanFigures, StartPlanRequest
from outfeed_api.units import say
from outfeed_api.wording import lasting

AMBIENT_STEP = 5.0  # K; the change of weather that ends a plan
MOISTURE_STEP = 0.01  # a point
MOST_SLOWER = -50.0  # % of rate, to which a straight line is followed; chosen, no source
FILL_UNKNOWN = (
    "How the first fill leaves could not be worked out: the column model did not settle while the "
    "column fills with heat. Plenums and rate, which are for the settled dryer, stand."
)


def _band(part: object) -> Estimate:
    return Estimate(part.value, part.low, part.high)  # type: ignore[attr-defined]


def _plenums(request: StartPlanRequest, figures: PlanFigures) -> str:
    shown = [
        f"{level.zone} {_degrees(request, level.plenum_temperature)}" for level in figures.levels
    ]
    return ", ".join(shown)


def _degrees(request: StartPlanRequest, value: float) -> str:
    return say(value, "temperature", request.units, decimals=0)


def _grain(request: StartPlanRequest, mass: float) -> str:
    return _said(request, mass, "grain")


def _rate(request: StartPlanRequest, rate: float) -> str:
    return _said(request, rate, "grain-rate")


def _said(request: StartPlanRequest, value: float, quantity: str) -> str:
    decimals = 0 if request.units == "us" else 1
    bushel = request.kg_per_bushel
    return say(value, quantity, request.units, bushel_weight=bushel, decimals=decimals)


def decision(
    request: StartPlanRequest, plan: PlenumPlan, figures: PlanFigures, stages: Passes | None
) -> str:
    """What to do, in a sentence or two.

    Parameters
    ----------
    request : StartPlanRequest
        In SI.
    plan : PlenumPlan
        From the library.
    figures : PlanFigures
        The plan, SI.
    stages : Passes or None
        All the passes; None where one is enough.

    Returns
    -------
    str
        For someone beside the dryer.
    """
    text = _in_passes(request, stages)
    text += (
        f"Set the plenums to {_plenums(request, figures)}; open at about "
        f"{about_rates(request, _band(figures.discharge_rate))} of dry grain"
    )
    dial = figures.metering
    if dial is not None and dial.basis != "far-extrapolation":
        text += f", {metering_said(dial.setting, dial.low, dial.high)}"
    text += f"; judge nothing before {lasting(figures.settling_wait.value)} have passed."
    stricter, named = _stricter(plan), request.limit_source or request.jurisdiction
    if stricter is not None and not named:
        text += f" {stricter_words(*stricter, request.units)}"
    if outruns_filling(request, figures):
        text += (
            " Wet grain comes more slowly than this plan takes it in: do not let the top of the "
            "column run empty."
        )
    return text[:LONGEST_TEXT]


def _in_passes(request: StartPlanRequest, stages: Passes | None) -> str:
    """What each pass takes off where a limit does not hold for one; empty where it does."""
    if stages is None or stages.limit is None:
        return ""
    ends = [request.moisture, *stages.moistures]
    first, *between, last = (f"{moisture * 100:.1f}" for moisture in ends)
    stops = ", on to ".join(between)
    each = (ends[0] - ends[1]) * 100.0
    most = (stages.limit.points_per_pass or 0.0) * 100.0
    return (
        f"Dry in {len(stages.moistures)} passes: no more than {most:g} points may be taken off in "
        f"one ({stages.limit.source}), and this is {(ends[0] - ends[-1]) * 100:.1f}. Take off "
        f"about {each:.1f} points in each, from {first} to {stops} and on to {last} %; this plan "
        "is for the first, ask again for each of the others. "
    )


def outruns_filling(request: StartPlanRequest, figures: PlanFigures) -> bool:
    """Whether the planned rate takes wet grain faster than it can be filled in.

    Parameters
    ----------
    request : StartPlanRequest
        In SI.
    figures : PlanFigures
        The plan, SI.

    Returns
    -------
    bool
        False where no fill rate was given.
    """
    return request.fill_rate is not None and figures.intake_rate.value > request.fill_rate


def _filling_note(request: StartPlanRequest, figures: PlanFigures, fill_rate: float) -> str:
    """What a slow filling means for the rate."""
    kept = _kept_full(figures, fill_rate)
    return (
        f"The plan takes in {_rate(request, figures.intake_rate.value)} of wet grain, more than "
        f"the {_rate(request, fill_rate)} that can be filled in. An empty top lets hot air out and "
        f"is a fire risk: fill faster, or run at no more than {_rate(request, kept)} of dry grain "
        "with cooler plenums; at these plenums grain at that rate leaves drier than the aim."
    )


def _kept_full(figures: PlanFigures, fill_rate: float) -> float:
    """Discharge rate at which the filling keeps up [kg/s]."""
    return figures.discharge_rate.value * fill_rate / figures.intake_rate.value


def steps_of(request: StartPlanRequest, figures: PlanFigures) -> list[str]:
    """The check list, in order.

    Parameters
    ----------
    request : StartPlanRequest
        In SI.
    figures : PlanFigures
        The plan, SI.

    Returns
    -------
    list of str
        One thing to do each.
    """
    fill = figures.first_fill
    weight = _grain(request, fill.weight)
    time = "" if fill.fill_time is None else f", about {lasting(fill.fill_time)}"
    inlet = f"{request.moisture * 100:.1f} %"
    return [
        "Read the dryer's manual for the start; its limits and its order come before this list.",
        (
            "Lock out, then look inside: clean out chaff and fines, free screens and ducts, close "
            "every door. Unlock only when everyone is clear."
        ),
        "See that every flame, temperature and level safeguard works. None may be bridged.",
        (
            f"Take a sample of the wet grain and check the meter against it: this plan holds for "
            f"{inlet} in."
        ),
        (
            f"Fill the column to the top: {weight} of wet grain{time}. Do not light a burner on a "
            "part-filled column."
        ),
        "Start the fans, then the burners as the manual says.",
        f"Bring the plenums up to {_plenums(request, figures)}.",
        _first_fill_step(request, figures),
        _rate_step(request, figures),
        (
            f"Wait one transit, {lasting(figures.settling_wait.value)}, by the grain that left. "
            "Make no change before; watch that grain moves in every column."
        ),
        _expect_step(request, figures),
        (
            f"Take a rested sample at the discharge and compare it with {figures.aim * 100:.1f} %. "
            "Correct the rate, not the plenums, and wait a transit again."
        ),
        (
            "Write down plenums, setting, rate, both moistures and the column temperature once "
            "settled: that run makes the next plan better."
        ),
        (
            "Stay beside the dryer. If the column warms while grain has stopped, shut off the "
            "burner, keep people clear and follow the manual."
        ),
    ]


def _first_fill_step(request: StartPlanRequest, figures: PlanFigures) -> str:
    fill = figures.first_fill
    if fill.wet is None or fill.wet_by is None:
        return (
            "Start the discharge and send the first fill back to wet holding, or keep it apart: "
            "how wet it leaves is not known."
        )
    wet = f"{_grain(request, fill.wet)} would leave wet, by {fill.wet_by * 100:.1f} points"
    if fill.advice == "no-hold-needed":
        return "Start the discharge with the burners: the first fill needs no hold."
    divert = (
        f"Start the discharge and send the first fill back to wet holding, or keep it apart: {wet}."
    )
    if fill.advice == "divert" or fill.hold is None or fill.held_kernel is None:
        return divert
    return (
        f"{divert} Only if the manual allows heat on standing grain, and with someone watching, "
        f"hold it for {lasting(fill.hold)} first; kernels would reach "
        f"{_degrees(request, fill.held_kernel)} and the fill still leaves uneven."
    )


def _rate_step(request: StartPlanRequest, figures: PlanFigures) -> str:
    rate = about_rates(request, _band(figures.discharge_rate))
    dial = figures.metering
    setting = "the discharge to"
    if dial is not None and dial.basis != "far-extrapolation":
        setting = f"the metering to {three_digits(dial.setting)},"
    step = f"Set {setting} about {rate} of dry grain; check it with a timed lot."
    if request.fill_rate is not None and outruns_filling(request, figures):
        kept = _rate(request, _kept_full(figures, request.fill_rate))
        step += f" Unless wet grain comes faster, go no higher than {kept}: keep the column full."
    return step


def _expect_step(request: StartPlanRequest, figures: PlanFigures) -> str:
    column = banded(request, _band(figures.column_temperature), "temperature")
    out = banded(request, _band(figures.discharge_temperature), "temperature")
    first = figures.levels[0]
    exhaust = banded(request, _band(first.exhaust_temperature), "temperature")
    return (
        f"Then expect the column at {column}, the grain at the discharge at {out}, the exhaust of "
        f"{first.zone} at {exhaust}. Far outside these bands, check airflow, sensors and moistures "
        "before touching the rate."
    )


def valid_until(
    request: StartPlanRequest, felt: tuple[Sensitivity, ...], air_leaves: dict[str, Any]
) -> list[Expiry]:
    """What would make the plan stop being valid, and what it would do.

    Parameters
    ----------
    request : StartPlanRequest
        In SI.
    felt : tuple of Sensitivity
        At the planned rate.
    air_leaves : dict
        When the air of a forecast first leaves the plan, as `Expiry` tells it; else empty.

    Returns
    -------
    list of Expiry
        The likeliest first.
    """
    by_handle = {item.handle: item for item in felt}
    lot = by_handle["inlet-moisture"].outlet_moisture * MOISTURE_STEP * 100.0
    weather = by_handle["ambient-temperature"].outlet_moisture * AMBIENT_STEP * 100.0
    warm = by_handle["inlet-temperature"].outlet_moisture * AMBIENT_STEP * 100.0
    step = say(AMBIENT_STEP, "temperature-difference", request.units, decimals=0)
    rate = by_handle["rate"]
    slower = -(lot / 100.0) / rate.outlet_moisture * 100.0 if rate.outlet_moisture else 0.0
    return [
        Expiry(
            change="A new lot, or the inlet moisture a point away from "
            f"{request.moisture * 100:.1f} %.",
            effect=f"One point wetter leaves {lot:+.1f} points at the discharge; it takes "
            f"{_slower(slower)}, and another column temperature.",
        ),
        Expiry(
            change=f"The outside air {step} warmer or colder.",
            effect=f"At the same relative humidity {step} warmer changes the discharge by "
            f"{weather:+.2f} points, and the grain with it by {warm:+.2f} if it comes in warmer "
            "too; fuel use changes with the plenum's rise.",
            **air_leaves,
        ),
        Expiry(
            change="Another target, end use or way of cooling.",
            effect="Limits and aim change: ask again.",
        ),
        Expiry(
            change="A plenum, fan or airflow other than described.",
            effect="The rate is nearly proportional to the heat blown in.",
        ),
        Expiry(
            change="The first settled run.",
            effect="What it shows is better than this plan; fit the dryer to it and ask again.",
        ),
    ]


def _slower(percent: float) -> str:
    """A change of rate by a straight line, which ends far before nothing is left."""
    if percent < MOST_SLOWER:
        return "far less rate, by more than this estimate covers"
    return f"about {percent:+.0f} % of rate"


def notes_of(request: StartPlanRequest, plan: PlenumPlan, figures: PlanFigures) -> list[str]:
    """Plain sentences to act on.

    Parameters
    ----------
    request : StartPlanRequest
        In SI.
    plan : PlenumPlan
        From the library.
    figures : PlanFigures
        The plan, SI.

    Returns
    -------
    list of str
        In order of importance.
    """
    notes = []
    if request.fill_rate is not None and outruns_filling(request, figures):
        notes.append(_filling_note(request, figures, request.fill_rate))
    column = banded(request, _band(figures.column_temperature), "temperature")
    aim = f"{figures.aim * 100:.1f} %"
    notes.append(f"Aim for {aim} at the discharge and expect the column at {column}.")
    top = figures.levels[0]
    if top.ruling is not None:
        notes.append(f"The limit that ruled at {top.zone}: {top.ruling}"[:LONGEST_TEXT])
    if top.ruling is not None and not _asked_for(request, plan):
        notes.append(_foreign_note(plan))
    notes += [_aside_note(request, row, figures) for row in plan.set_aside]
    stricter = _stricter(plan)
    if stricter is not None:
        notes.append(_stricter_note(request, stricter[0]))
    notes += [
        f"Your wish for {level.zone} was above its limit and was lowered to "
        f"{_degrees(request, level.plenum_temperature)}."
        for level in figures.levels
        if level.lowered
    ]
    notes += [
        f"Nobody published a limit for {level.zone} in this case; your own temperature stands. "
        "Ask the dryer's manual and the buyer."
        for level in figures.levels
        if level.ruling is None
    ]
    if figures.first_fill.wet is None:
        notes.append(FILL_UNKNOWN)
    if plan.kernel_limited:
        notes.append("Your limit on the kernels lowered every plenum below what the air may be.")
    if figures.cooling_credit is not None:
        notes.append(_cooling_note(request, figures, figures.cooling_credit))
    return notes


def _cooling_note(request: StartPlanRequest, figures: PlanFigures, credit: float) -> str:
    if credit < SPOKEN:
        return (
            "The grain leaves hardly warmer than it will be, so later cooling takes off no "
            "moisture to speak of."
        )
    return (
        f"Later cooling takes off about {credit * 100:.1f} points: aim for "
        f"{figures.aim * 100:.1f} % to end at {request.target_moisture * 100:.1f} %."
    )


def cooled_last_note(stages: Passes) -> str:
    """That a later cooling is not in the plan for the first of several passes.

    Parameters
    ----------
    stages : Passes
        All the passes.

    Returns
    -------
    str
        One sentence.
    """
    return (
        "`cooling` counts only for the last pass, which leaves the dryer at "
        f"{stages.moistures[-1] * 100:.1f} %; in this plan, for the first, it was left aside."
    )


def _asked_for(request: StartPlanRequest, plan: PlenumPlan) -> bool:
    """Whether the limit at the top is of the source and country named, if any is."""
    row = plan.levels[0].ruling
    return row is None or (
        request.limit_source in (None, row.source_key)
        and request.jurisdiction in (None, row.jurisdiction)
    )


def _foreign_note(plan: PlenumPlan) -> str:
    """Why the limit at the top is another's than the source's or country's that was named."""
    ruling = plan.levels[0].ruling
    if ruling is None or ruling.kind != "damage seen":
        return "That limit is not of the source or country you named: none of theirs holds here."
    return (
        "That limit is not of the source or country you named: damage seen in grain for this "
        "very use caps the plenum whoever's limits are followed."
    )


def _aside_note(request: StartPlanRequest, row: TemperatureLimit, figures: PlanFigures) -> str:
    """Which limit the plan would break the condition of, and what stands in for it."""
    least = (row.heated_down_to or 0.0) * 100.0
    cooled = " If the grain cools after the dryer, tell `cooling`: heated air need not dry so far."
    if request.cooling is not None or figures.passes is not None:
        cooled = ""
    later = "" if figures.passes is None else ", in this pass or a later one"
    limit = f"{limit_sentence(row, request.units)} Source: {row.source}."
    return (
        f"Not followed, since a plan by it would let heated air dry below the {least:.1f} % that "
        f"it allows{later}: {limit} The strictest limit that holds stands in for it.{cooled}"
    )[:LONGEST_TEXT]


def _stricter(plan: PlenumPlan) -> tuple[TemperatureLimit, TemperatureLimit] | None:
    """The strictest other limit that a plenum of the plan passes, and the one that ruled there."""
    passed = [
        (row, level.ruling)
        for level in plan.levels
        if level.ruling is not None
        for row in level.others
        if ceiling_of(row) < level.plenum_temperature
    ]
    return min(passed, key=lambda pair: ceiling_of(pair[0]), default=None)


def _stricter_note(request: StartPlanRequest, row: TemperatureLimit) -> str:
    place = f" in {country(row.jurisdiction)}" if row.jurisdiction else ""
    says = "saw damage at" if row.kind == "damage seen" else "allows no more than"
    return (
        f"Another source{place} {says} {say_degrees(row.low, request.units)} ({row.source}); ask "
        "whose rules bind you, and name it as `limit_source`."
    )[:LONGEST_TEXT]
