"""What would help a season most: one thing changed at a time, and the season run again.

Not by rule of thumb: each change goes through the same plan as the season itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from outfeed.ability import USUAL_KIND, KnownRate, Machine
from outfeed.cooling import IN_DRYER, PROMPT
from outfeed.dryer.heat_check import PLENUM_HOLDS, dryer_type
from outfeed.errors import Inconsistent, NotConverged, NotPublished, OutOfRange
from outfeed.grains import Grain, most_permissive, temperature_limits
from outfeed.queue import LOT_MOISTURE, Lots
from outfeed.season import MUCH_OF_LIFE, Plan, Season, plan_season
from outfeed.weather import DAY, HOUR

MORE_HOLDING = 1.5
HOTTER = 20.0 / 1.8
"""Rise of the plenums tried [K]: 20 degF."""
ROUNDING = 1e-6  # K; what conversion of a limit's units leaves
EARLIER_S = 7.0 * DAY
Change = Literal[
    "bigger-wet-holding", "start-earlier", "higher-plenum", "cool-in-bin", "longer-hours"
]


@dataclass(frozen=True, slots=True, eq=False)
class Alternative:
    """The season with one thing changed.

    Attributes
    ----------
    change : str
        What was changed.
    plan : Plan or None
        The season then; None where it cannot be computed.
    why_not : str
        Why it was not computed.
    """

    change: Change
    plan: Plan | None
    why_not: str = ""


def alternatives(plan: Plan) -> tuple[Alternative, ...]:
    """The season run again with one thing changed at a time.

    Parameters
    ----------
    plan : Plan
        The season as it stands.

    Returns
    -------
    tuple of Alternative
        Each change that makes sense for it.
    """
    return tuple(_alternatives(plan.season))


def most_helpful(plan: Plan, others: tuple[Alternative, ...]) -> Alternative | None:
    """The change that helps most: against waiting first, then spoilage, then a late finish.

    Parameters
    ----------
    plan : Plan
        The season as it stands.
    others : tuple of Alternative
        From `alternatives`.

    Returns
    -------
    Alternative or None
        None when no change helps, or none is needed.
    """
    computed = [other for other in others if other.plan is not None]
    better = [other for other in computed if other.plan and _badness(other.plan) < _badness(plan)]
    if not better or (plan.keeps_up and (plan.worst_life or 0.0) < MUCH_OF_LIFE):
        return None
    return min(better, key=lambda other: _badness(other.plan) if other.plan else (9e9,) * 3)


def _alternatives(season: Season) -> Iterator[Alternative]:
    if season.holding > 0.0:
        yield _try("bigger-wet-holding", replace(season, holding=season.holding * MORE_HOLDING))
    yield _earlier(season)
    yield _hotter(season)
    if season.cooling == IN_DRYER:
        yield _try("cool-in-bin", replace(season, cooling=PROMPT))
    if np.any(season.run_share < 1.0):
        yield _try("longer-hours", replace(season, run_share=np.ones(season.run_share.shape)))


def hottest_plenum(machine: Machine) -> float | None:
    """The hottest plenum of a machine.

    Parameters
    ----------
    machine : KnownRate or DescribedDryer
        The dryer.

    Returns
    -------
    float or None
        Temperature [degC]; None where none was told.
    """
    if isinstance(machine, KnownRate):
        return None if machine.plenum is None else machine.plenum + machine.raised
    told = [t for t in machine.dryer.plenum_temperatures if t is not None]
    return max((float(t) for t in told), default=None)


def highest_published(grain: Grain, machine: Machine) -> float | None:
    """The hottest drying air that anybody published for a grain in this kind of dryer.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    machine : KnownRate or DescribedDryer
        The dryer, for its kind.

    Returns
    -------
    float or None
        Temperature [degC], for the use that bears most; None where nobody published one.
    """
    kind = machine.kind or USUAL_KIND if isinstance(machine, KnownRate) else machine.dryer.kind
    limit = most_permissive(temperature_limits(grain, dryer_type=dryer_type(kind)))
    return None if limit is None else limit.high


def passes_all_limits(grain: Grain, machine: Machine) -> bool:
    """Whether a plenum is hotter than all that is published for a grain.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    machine : KnownRate or DescribedDryer
        The dryer as it runs.

    Returns
    -------
    bool
        By more than a plenum wanders; False where no plenum was told or no limit is published.
    """
    plenum, highest = hottest_plenum(machine), highest_published(grain, machine)
    return plenum is not None and highest is not None and plenum > highest + PLENUM_HOLDS


def _hotter(season: Season) -> Alternative:
    """Hotter plenums, as far as anybody published that the grain bears them."""
    plenum = hottest_plenum(season.machine)
    highest = highest_published(season.grain, season.machine)
    if plenum is None:
        why = "the plenum temperature was not given"
    elif highest is None:
        why = "nobody published how hot the drying air may be for this grain"
    elif plenum + HOTTER > highest + ROUNDING:
        why = "so hot a plenum would be above every limit published for this grain"
    else:
        return _try("higher-plenum", season, hotter=True)
    return Alternative("higher-plenum", None, why)


def _try(change: Change, season: Season, *, hotter: bool = False) -> Alternative:
    try:
        if hotter:
            season = replace(season, machine=season.machine.hotter(HOTTER))
        return Alternative(change, plan_season(season))
    except NotConverged:
        return Alternative(change, None, "no rate was found that dries to the moisture wanted")
    except OutOfRange as error:
        return Alternative(change, None, f"{error.quantity} would lie outside what is covered")
    except (Inconsistent, NotPublished) as error:
        return Alternative(change, None, str(error))


def _earlier(season: Season) -> Alternative:
    """The harvest a week earlier, in grain as wet as it would be then."""
    supply = season.supply
    if isinstance(supply, Lots):
        why = "the lots have times of their own; give a harvest schedule to move it"
        return Alternative("start-earlier", None, why)
    shift = int(EARLIER_S / HOUR)
    first = int(np.flatnonzero(supply.offered > 0.0)[0])
    if first < shift:
        why = "the weather given does not begin a week before the harvest"
        return Alternative("start-earlier", None, why)
    offered = np.concatenate((supply.offered[shift:], np.zeros(shift)))
    if float(supply.moisture_wb[offered > 0.0].max()) > LOT_MOISTURE.high:
        why = f"a week earlier the field is wetter than {LOT_MOISTURE.high * 100:.0f} %"
        return Alternative("start-earlier", None, why)
    return _try("start-earlier", replace(season, supply=replace(supply, offered=offered)))


def _badness(plan: Plan) -> tuple[float, float, float]:
    late = plan.finished_s
    return (
        round(plan.waited_hours, 1),
        round(max((plan.worst_life or 0.0) - MUCH_OF_LIFE, 0.0), 3),
        np.inf if late is None else late,
    )
