"""The column response in words."""

from __future__ import annotations

from outfeed.dryer.transient import (
    Response,
    Settling,
)
from outfeed.limits import SPOKEN
from outfeed_api.models import LONGEST_TEXT
from outfeed_api.routes.dryer_words import about_rate
from outfeed_api.routes.response_models import USUAL_BAND, ColumnResponseRequest, OffTargetGrain
from outfeed_api.units import say
from outfeed_api.wording import lasting

STRIPED = 0.005
"""Stripes that are worth a note [-], half a point; chosen, no source."""
GRAIN_TURNS = (
    "Grain is taken to come in as warm as the new outside air at once. Grain from a bin or a pile "
    "follows by days: give the step's `grain_temperature` where it is measured."
)


def grain_words(request: ColumnResponseRequest, mass: float) -> str:
    """A weight of grain, in words."""
    kg, digits = request.kg_per_bushel, 0 if request.units == "us" else 1
    return say(mass, "grain", request.units, bushel_weight=kg, decimals=digits)


def step_decision(
    request: ColumnResponseRequest,
    moved: Settling,
    target: float,
    rate: float,
    again: float | None,
) -> str:
    """What a change does and what to do about it."""
    way = moved.after - moved.before
    if abs(way) < SPOKEN:
        return "This change hardly moves the moisture at the discharge; leave the rate."
    side = "wetter" if way > 0.0 else "drier"
    text = (
        f"The discharge goes from {moved.before * 100:.1f} to {moved.after * 100:.1f} %: the first "
        f"{side} grain leaves after {lasting(moved.dead_time)}, all is settled after "
        f"{lasting(moved.settling_time)}."
    )
    away = moved.after - target
    if abs(away) <= (request.band or USUAL_BAND):
        return f"{text} That is on target: leave the rate, and judge no sooner."
    if again is None:
        return f"{text} No discharge rate brings it back to {target * 100:.1f} %: see the plenums."
    percent = (again / rate - 1.0) * 100.0
    grain = about_rate(request, again / (1.0 - target))
    word = "Slow to" if percent < 0.0 else "Speed up to"
    return f"{text} {word} about {grain} ({percent:+.0f} %) to settle at {target * 100:.1f} %."


def step_notes(request: ColumnResponseRequest, run: Response, moved: Settling) -> list[str]:
    """Plain sentences on a change."""
    notes = []
    if request.step is not None and request.step.moisture is not None:
        notes.append(
            "Grain that is wetter or drier at the inlet takes a whole transit to reach the "
            "discharge; a rate changed the moment it enters acts on the grain below it too."
        )
    if request.step is not None and request.step.rate is not None:
        notes.append(
            "After a change of rate the moisture ramps over a whole transit: grain near the "
            "discharge feels little of it, grain at the top all of it."
        )
    if (
        request.step is not None
        and request.step.ambient_temperature is not None
        and request.step.grain_temperature is None
        and request.grain_temperature is None
    ):
        notes.append(GRAIN_TURNS)
    if run.column_temperature is not None and abs(moved.after - moved.before) >= SPOKEN:
        shift = float(run.column_temperature[-1] - run.column_temperature[0])
        said = say(abs(shift), "temperature-difference", request.units, decimals=1)
        notes.append(f"The column temperature {'rises' if shift > 0 else 'falls'} by {said}.")
    notes.append(
        "Grain that leaves off target is best kept apart, or blended into the lot while it still "
        "flows; the warnings of the sampler come a transit after the cause."
    )
    return notes


def fill_decision(
    request: ColumnResponseRequest,
    target: float,
    unheld: OffTargetGrain,
    held: OffTargetGrain,
    hold: float | None,
) -> str:
    """What a first fill does, with and without a hold."""
    wet = grain_words(request, unheld.wet)
    first = (
        f"Started without a hold, {wet} of the first fill leave wet, {unheld.wet_by * 100:.1f} "
        f"points above {target * 100:.1f} % on average, until {lasting(unheld.until)} after the "
        "start."
    )
    if hold is None:
        return f"{first} No hold within one and a half transits brings its mean to the target."
    if hold == 0.0:
        return first if request.hold is not None else f"{first} It needs no hold."
    kernel = say(held.hottest_kernel, "temperature", request.units, decimals=0)
    second = (
        f"Held for {lasting(hold)} with the heat on, {grain_words(request, held.wet)} leave wet by "
        f"{held.wet_by * 100:.1f} points and {grain_words(request, held.dry)} over-dried by "
        f"{held.dry_by * 100:.1f}; kernels reach {kernel}."
    )
    return f"{first} {second}"[:LONGEST_TEXT]


def fill_notes(
    request: ColumnResponseRequest,
    unheld: OffTargetGrain,
    held: OffTargetGrain,
    hold: float | None,
    stripes: float,
) -> list[str]:
    """Plain sentences on a first fill."""
    apart = (
        "Send the wet part of the first fill back to wet holding, or keep it apart and dry it "
        "again; do not bin it with the rest."
    )
    notes = [apart]
    if hold:
        notes.append(
            "No hold makes a first fill even: grain near the discharge gets the hold and little "
            "more, grain near the top a whole transit on top of it. Use one only if the dryer's "
            "manual allows heat on standing grain, and never leave it unwatched."
        )
        rise = held.hottest_kernel - unheld.hottest_kernel
        said = say(rise, "temperature-difference", request.units, decimals=0)
        notes.append(f"Standing grain gets {said} hotter than flowing grain would.")
    if stripes >= STRIPED:
        points = f"{stripes * 100:.0f}"
        apart_by = f"{points} point{'s' * (points != '1')}"
        notes.append(
            "Standing grain dries hardest beside the inlet ducts. Moisture is drawn and counted as "
            "mixed over one pitch of the ducts: handfuls within it lie "
            f"{apart_by} or more to either side, so sample over several minutes. "
            "Column sensors feel the same stripes pass."
        )
    return notes


NO_FIGURES: dict[str, str] = {
    "nothing-to-dry": "There is nothing to dry: the grain comes in at or below the target.",
    "not-converged": "The column model did not settle for this dryer, so there are no figures to "
    "trust. Check rate, airflow and hold-up.",
    "out-of-reach": "This dryer does not reach the target at any rate; ask for its column profile "
    "to see what can be had.",
}
