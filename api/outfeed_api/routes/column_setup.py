"""A column to be solved: machine and formulas of a request, and what was filled in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from outfeed.dryer.assume import GRAIN_TEMPERATURE, Assumption, assumed_burner_efficiency
from outfeed.dryer.description import Dryer
from outfeed.moist_air import FREEZING_POINT
from outfeed_api.models import Assumed
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.routes.air_hours import AirHours
from outfeed_api.routes.column_figures import (
    burner_assumed,
)
from outfeed_api.routes.column_input import (
    Formulas,
    expected_outlet,
    formulas_of,
)
from outfeed_api.routes.column_models import (
    EndUse,
)
from outfeed_api.routes.dryer_input import Machine, grain_like_air, machine_of
from outfeed_api.routes.dryer_models import ColumnRequest, DryerRequest, FuelId
from outfeed_api.routes.dryer_words import (
    assumed_choices,
    assumed_quantity,
    thin_air_notes,
)
from outfeed_api.units import UnitSystem, say

USUAL_USE: EndUse = "commercial"
TALLEST = {"mixed-flow": 40.0, "cross-flow": 25.0, "counter-flow": 6.0, "concurrent-flow": 6.0}
"""Highest bed that is followed [m]: common practice, no source."""
MOST_LAYERS = 300
THAWING = "Thawing any ice in or on it takes heat that is left out here"
"""Of grain below freezing. Ice is possible, not certain: corn kernels froze at -0.5 degC above half
moisture and below -4 degC at 30 %, the driest in which freezing was seen: Woltz, Egli and TeKrony
(2005), Agronomy Journal 97:1564-1569, abstract. Frost and snow come in with grain too: common
practice, no source."""
IN_COLDEST_HOURS = " in the coldest hours"
LEFT_OUT = (
    "Walls, losses, the flow around single ducts and the shrinking of the bed are left out: "
    "real fuel use is higher."
)


def too_tall(dryer: Dryer) -> bool:
    """Whether the bed is higher or more finely divided than is followed."""
    height = sum(dryer.heights)
    fine = dryer.kind == "mixed-flow" and height / dryer.half_pitch > MOST_LAYERS
    return height > TALLEST[dryer.kind] or fine


def bed_unknown(dryer: Dryer) -> bool:
    """Whether how deep the bed is decides, and nobody said."""
    return dryer.kind in {"counter-flow", "concurrent-flow"} and dryer.area_is_assumed


def refuse_endless(dryer: Dryer, units: UnitSystem) -> None:
    """Refuse a bed so tall or so finely divided that no dryer has it.

    Parameters
    ----------
    dryer : Dryer
        As described.
    units : {"us", "metric"}
        The caller's.

    Raises
    ------
    ProblemError
        Its cross-section or half pitch cannot be meant.
    """
    height = sum(dryer.heights)
    if bed_unknown(dryer):
        detail = f"the depth of the bed decides in a {dryer.kind} dryer: give its cross-section"
        raise ProblemError(INCONSISTENT, detail, [field_error("/dryer/cross_section", detail)])
    if height > TALLEST[dryer.kind]:
        bed, most = (
            say(value, "length", units, decimals=0) for value in (height, TALLEST[dryer.kind])
        )
        detail = (
            f"this volume over this cross-section is a bed {bed} high, and no {dryer.kind} dryer "
            f"is higher than {most}"
        )
        raise ProblemError(INCONSISTENT, detail, [field_error("/dryer/cross_section", detail)])
    if dryer.kind == "mixed-flow" and height / dryer.half_pitch > MOST_LAYERS:
        detail = f"more than {MOST_LAYERS} layers of ducts: check the half pitch"
        raise ProblemError(INCONSISTENT, detail, [field_error("/dryer/half_pitch", detail)])


@dataclass(frozen=True, slots=True)
class Column:
    """A request with everything the column model needs."""

    machine: Machine
    formulas: Formulas
    assumed: tuple[Assumption, ...]


def column_of(request: ColumnRequest) -> Column:
    """Machine and formulas of a request; refuses one without rate and target."""
    machine = followed_machine(request, expected_outlet(request))
    formulas = formulas_of(request)
    return Column(machine, formulas, (*machine.assumptions, *formulas.assumptions))


def at_hour(column: Column, hours: AirHours, row: int, told: str) -> Column:
    """The column in the air of one hour, its grain as warm as that air where it follows it.

    Parameters
    ----------
    column : Column
        In the mean air.
    hours : AirHours
        The hours.
    row : int
        Which of them.
    told : str
        What that hour is, for the list of what was assumed.

    Returns
    -------
    Column
        The same machine and formulas.
    """
    machine, warm = column.machine, float(hours.temperature[row])
    humidity = np.asarray(hours.conditions(machine.conditions).ambient_relative_humidity)
    then = replace(
        machine.conditions,
        ambient_temperature=warm,
        ambient_relative_humidity=float(humidity[row]),
    )
    feed, assumed = machine.feed, column.assumed
    if hours.grain_follows:
        feed = replace(feed, temperature=warm)
        assumed = tuple(
            grain_like_air(warm, told) if item.name == GRAIN_TEMPERATURE else item
            for item in assumed
        )
    return replace(column, machine=replace(machine, conditions=then, feed=feed), assumed=assumed)


def followed_machine(
    request: DryerRequest,
    expected: float | None,
    plenums: Sequence[float | None] | None = None,
) -> Machine:
    """The machine of a request, as the column model follows it.

    Parameters
    ----------
    request : DryerRequest
        In SI.
    expected : float or None
        Moisture expected at the discharge, wet basis [-].
    plenums : sequence, optional
        Plenum temperatures zone by zone [degC] in place of the request's.

    Returns
    -------
    Machine
        Electric heaters bring no water into the air.

    Raises
    ------
    ProblemError
        A bed so tall or so finely divided that no dryer has it.
    """
    machine = machine_of(request, expected, plenums)
    refuse_endless(machine.dryer, request.units)
    return replace(machine, dryer=without_flames(machine.dryer, request.dryer.fuel))


def without_flames(dryer: Dryer, fuel: FuelId | None) -> Dryer:
    """The same dryer, its electric heaters bringing no water into the air.

    Parameters
    ----------
    dryer : Dryer
        As described.
    fuel : str or None
        What it burns.

    Returns
    -------
    Dryer
        Its burners indirect where the heat is electric.
    """
    if fuel != "electricity":
        return dryer
    return replace(dryer, zones=tuple(replace(zone, burner="indirect") for zone in dryer.zones))


def assumed_of(request: ColumnRequest, column: Column, *, use: bool) -> list[Assumed]:
    """Everything that was filled in, for the answer.

    Parameters
    ----------
    request : ColumnRequest
        In SI.
    column : Column
        With its assumptions.
    use : bool
        Whether the end use was filled in too.

    Returns
    -------
    list of Assumed
        To be converted.
    """
    items = [*column.assumed, *column.machine.also_assumed]
    if burner_assumed(request):
        items.append(assumed_burner_efficiency())
    entries = [assumed_quantity(item, column.machine.bulk_density) for item in items]
    entries += assumed_choices(request)
    if use:
        entries.append(
            Assumed(
                input="end_use",
                choice=USUAL_USE,
                why="What the grain is for was not given; temperature limits depend on it.",
                source="common practice, no source",
            )
        )
    return entries


def shared_notes(column: Column, after: float | None = None) -> list[str]:
    """What a reader must know about any column of this model.

    Parameters
    ----------
    column : Column
        With its formulas.
    after : float, optional
        Grain coming in after a change [degC].

    Returns
    -------
    list of str
        Plain sentences.
    """
    notes = []
    if column.formulas.fit is None:
        notes.append(
            "Nothing was fitted to this dryer: how fast its grain dries is the largest doubt. Ten "
            "settled runs given to the dryer fit narrow the bands most."
        )
        notes += thin_air_notes(float(np.max(column.machine.conditions.pressure)))
    else:
        count = column.formulas.fit.runs
        notes.append(f"The drying speed rests on {count} run{'s' * (count > 1)} of this dryer.")
    if column.machine.also_assumed:
        notes.append(
            "The thickness of the grain column was assumed and no band covers it: measure it."
        )
    if _coldest_grain(column.machine) < FREEZING_POINT:
        hours = column.machine.hours
        when = "" if hours is None or not hours.grain_follows else IN_COLDEST_HOURS
        notes.append(_frozen(when))
    elif after is not None and after < FREEZING_POINT:
        notes.append(_frozen(" after the change"))
    notes.append(LEFT_OUT)
    return notes


def _frozen(when: str) -> str:
    return (
        f"The grain comes in below freezing{when}. {THAWING}, so the real dryer may leave it "
        "wetter."
    )


def _coldest_grain(machine: Machine) -> float:
    """Coldest grain coming in, over the hours where it follows them [degC]."""
    grain = machine.feed if machine.hours is None else machine.hours.feed(machine.feed)
    return float(np.min(np.append(grain.temperature, machine.feed.temperature)))
