"""The start plan: plenum temperatures level by level, and the rate that goes with them.

Each heated level gets a ceiling from the published limits that speak for its grain, end use, kind
of dryer and the moisture of the grain that enters *it*; which of them rules stands in `ruling`.
Below its ceiling the plenums fall from the top, where the grain is wettest, to the bottom. What
enters each level follows from the column itself, so plenums and column are found together. Where
heated air then dries further than the limit that is followed lets it, that limit is set aside for
the strictest that holds, and all is found again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.heat_check import OnePass, one_pass
from outfeed.dryer.inverse import Setting, fastest_within_kernel_limit, rate_for_moisture
from outfeed.dryer.ruling import (
    Authority,
    ceiling_of,
    check_authority,
    followed_of,
    ruling_limit,
)
from outfeed.errors import NotConverged, NotPublished
from outfeed.grains import Grain, TemperatureLimit, load_grain
from outfeed.limits import PLENUM
from outfeed.methods import COMMON_PRACTICE, Method

LADDER = 25.0 / (210.0 - 50.0)
"""Fall of the plenum from one level to the next over its height above the outside air [-]: common
practice of three plenums near 210, 185 and 160 degF in autumn air near 50 degF, no source."""
LEVELS_OF_LADDER = 3
"""Levels over which that fall is spread; more levels fall in smaller steps."""
LEAST_RISE = 5.0
"""Least rise of a plenum above the outside air that is worth a burner [K]: the same."""
SAME_DEGREE = 1e-6
"""How far a temperature may pass another by the conversion of units alone [K]."""
ROUNDING = 1e-6
"""Share of a pass by which points may exceed it without another [-]."""
TENTH_OF_A_POINT = 3
"""Decimals of a moisture that are spoken of."""
ROUNDS = 6
"""Times that plenums and column are found in turn."""

START_PLAN = Method(
    "dryer.start-plan",
    "Plenum temperatures for a start, hottest where the grain is wettest",
    "Published temperature limits of the catalogue as ceilings; the fall between levels is common "
    "practice",
    COMMON_PRACTICE,
    note="Where limits conflict, the one that names the kind of dryer rules, then the one that "
    "names the end use, then the strictest, unless a source or country is asked for; one whose own "
    "condition on the moisture the plan would break gives way to the strictest that holds; damage "
    "seen in grain for the same use caps them all.",
)
METHODS = (START_PLAN,)


@dataclass(frozen=True, slots=True)
class Level:
    """One heated level of the plan.

    Attributes
    ----------
    zone : str
        Name of the zone.
    plenum_temperature : float
        Planned [degC].
    moisture_wb : float
        Grain that enters the level, wet basis [-].
    ceiling : float or None
        What the ruling limit allows here [degC]; None where none is published.
    ruling : TemperatureLimit or None
        The limit that ruled.
    others : tuple of TemperatureLimit
        The other limits that speak for the level.
    lowered : bool
        Whether the temperature wished for was above the ceiling.
    followed : TemperatureLimit or None
        The limit of the authority, also where damage seen caps the plenum below it.
    """

    zone: str
    plenum_temperature: float
    moisture_wb: float
    ceiling: float | None
    ruling: TemperatureLimit | None
    others: tuple[TemperatureLimit, ...]
    lowered: bool
    followed: TemperatureLimit | None


@dataclass(frozen=True, slots=True)
class Passes:
    """How often grain has to go through the dryer.

    Attributes
    ----------
    moistures : tuple of float
        After each pass, wet basis [-], the last the target; a single one where one is allowed.
    limit : TemperatureLimit or None
        The limit that holds for so many points a pass only; None where none does.
    """

    moistures: tuple[float, ...]
    limit: TemperatureLimit | None


@dataclass(frozen=True, slots=True, eq=False)
class PlenumPlan:
    """Plenums and the rate that meets the target with them.

    Attributes
    ----------
    dryer : Dryer
        The description at the planned plenums.
    levels : tuple of Level
        The heated levels from the top.
    setting : Setting
        Rate and column.
    kernel_limited : bool
        Whether a limit on the kernels lowered the plenums further.
    set_aside : tuple of TemperatureLimit
        Limits that are not followed since heated air dries further than they let it.
    """

    dryer: Dryer
    levels: tuple[Level, ...]
    setting: Setting
    kernel_limited: bool
    set_aside: tuple[TemperatureLimit, ...]


def plan_plenums(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    authority: Authority,
    *,
    wished: Sequence[float | None] = (),
    kernel_limit: float | None = None,
    dial: tuple[float, float] = (0.0, 1.0),
    model: ColumnModel | None = None,
    set_aside: tuple[TemperatureLimit, ...] = (),
) -> PlenumPlan:
    """Plenum temperatures and rate for a start.

    Parameters
    ----------
    dryer : Dryer
        The description; its plenum temperatures are not looked at.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    authority : Authority
        Whose limits are followed.
    wished : sequence of float or None
        Plenum temperatures wished for, zone by zone [degC]; kept as far as the limits allow.
    kernel_limit : float, optional
        Temperature that no kernel may pass [degC].
    dial : tuple of float
        Zero and step of the dial to which plenums are rounded down [degC, K].
    model : ColumnModel, optional
        Which formulas.
    set_aside : tuple of TemperatureLimit, optional
        Limits that must not be followed, since drying goes further than they let it elsewhere.

    Returns
    -------
    PlenumPlan
        Plenums, the limits behind them, the rate and its column.

    Raises
    ------
    NotPublished
        No limit is published for a level without a wish, or none whose conditions hold.
    UnknownName
        An unknown end use, source or country.
    OutOfReach
        No rate meets the target at these plenums.
    NotConverged
        The column did not settle, or plenums and column did not agree.
    """
    check_authority(load_grain(feed.grain), authority)
    inlet = float(np.asarray(feed.moisture_wb))
    while True:  # ends: every round but the last sets another limit aside for good
        plan = _plan_following(
            dryer, conditions, feed, target_moisture_wb, authority, wished, dial, model, set_aside
        )
        if kernel_limit is not None and plan.setting.profile.hottest_kernel > kernel_limit:
            plan = _within_kernels(plan, conditions, feed, target_moisture_wb, kernel_limit, model)
        broken = broken_limits(plan.levels, one_pass(plan.dryer, plan.setting.profile, inlet))
        if not broken:
            return plan
        set_aside = (*set_aside, *broken)


def _plan_following(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target: float,
    authority: Authority,
    wished: Sequence[float | None],
    dial: tuple[float, float],
    model: ColumnModel | None,
    set_aside: tuple[TemperatureLimit, ...],
) -> PlenumPlan:
    """Plenums and column found in turn, whatever heated air then makes of the conditions."""
    grain = load_grain(feed.grain)
    wishes = [*wished, *([None] * len(dryer.zones))][: len(dryer.zones)]
    moistures = _straight(dryer, float(np.asarray(feed.moisture_wb)), target)
    ambient = float(np.asarray(conditions.ambient_temperature))
    before: tuple[float | None, ...] | None = None
    for _ in range(ROUNDS):
        levels = _levels(dryer, grain, authority, moistures, wishes, ambient, dial, set_aside)
        hot = {level.zone: level.plenum_temperature for level in levels}
        plenums = tuple(hot.get(zone.name) for zone in dryer.zones)
        planned = dryer.with_plenums(plenums)
        setting = rate_for_moisture(planned, conditions, feed, target, model=model)
        if plenums == before:
            return PlenumPlan(planned, levels, setting, False, set_aside)
        before, moistures = plenums, _entering(feed, setting)
    raise NotConverged("plenums and column", (0.0, float(ROUNDS)), 0.0)


def broken_limits(levels: Sequence[Level], done: OnePass) -> tuple[TemperatureLimit, ...]:
    """Limits that a plan follows though heated air dries further than they let it.

    Parameters
    ----------
    levels : sequence of Level
        The heated levels, with the limits that ruled and were followed.
    done : OnePass
        What the plan's column makes of the grain's moisture.

    Returns
    -------
    tuple of TemperatureLimit
        Each once; empty where the conditions hold.
    """
    followed = (row for level in levels for row in (level.followed, level.ruling))
    return tuple(
        dict.fromkeys(row for row in followed if row is not None and done.keeps_heat(row) is False)
    )


def passes(levels: Sequence[Level], inlet_moisture_wb: float, target_moisture_wb: float) -> Passes:
    """Moisture after each pass, where a limit holds for so many points a pass only.

    Such a limit counts where it rules, and where it is followed but damage seen rules over the
    air. Points are counted to the tenth that is spoken of.

    Parameters
    ----------
    levels : sequence of Level
        The heated levels, with the limits that ruled and were followed.
    inlet_moisture_wb : float
        Grain at the inlet, wet basis [-].
    target_moisture_wb : float
        Moisture wanted in the end, wet basis [-].

    Returns
    -------
    Passes
        The points are shared evenly between the passes: chosen, no source.
    """
    allowed = {
        row.points_per_pass: row
        for level in levels
        for row in (level.followed, level.ruling)
        if row is not None and row.points_per_pass is not None
    }
    if not allowed:
        return Passes((target_moisture_wb,), None)
    least = min(allowed)
    whole = inlet_moisture_wb - target_moisture_wb
    count = max(math.ceil(round(whole, TENTH_OF_A_POINT) / least - ROUNDING), 1)
    shares = ((done + 1) / count for done in range(count))
    return Passes(tuple(inlet_moisture_wb - whole * share for share in shares), allowed[least])


def _straight(dryer: Dryer, inlet: float, target: float) -> list[float]:
    """Moisture that enters each zone if water left evenly over the heated volume."""
    found, done = [], 0.0
    for zone, volume in zip(dryer.zones, dryer.volumes, strict=True):
        found.append(inlet - (inlet - target) * done)
        done += volume / dryer.heated_volume if zone.heated else 0.0
    return found


def _entering(feed: Feed, setting: Setting) -> list[float]:
    leaving = [float(zone.moisture_wb) for zone in setting.profile.zones]
    return [float(np.asarray(feed.moisture_wb)), *leaving[:-1]]


def _levels(
    dryer: Dryer,
    grain: Grain,
    authority: Authority,
    moistures: Sequence[float],
    wishes: Sequence[float | None],
    ambient: float,
    dial: tuple[float, float],
    set_aside: tuple[TemperatureLimit, ...],
) -> tuple[Level, ...]:
    heated = sum(zone.heated for zone in dryer.zones)
    fall = LADDER * min(1.0, (LEVELS_OF_LADDER - 1.0) / max(heated - 1, 1))
    levels: list[Level] = []
    for zone, moisture, wish in zip(dryer.zones, moistures, wishes, strict=True):
        if not zone.heated:
            continue
        ruling, others = ruling_limit(grain, dryer, authority, moisture, set_aside)
        ceiling = None if ruling is None else ceiling_of(ruling)
        if ceiling is None and (wish is None or set_aside):
            raise NotPublished("drying-air limit for this use and dryer", grain.id)
        planned = wish
        if planned is None:
            planned = _dialled((ceiling or 0.0), len(levels) * fall, ambient, dial)
        lowered = wish is not None and ceiling is not None and wish > ceiling + SAME_DEGREE
        value = _dialled(ceiling, 0.0, ambient, dial) if lowered and ceiling else planned
        rows = others if ruling is None else (ruling, *others)
        followed = followed_of(rows, authority, set_aside)
        levels.append(Level(zone.name, value, moisture, ceiling, ruling, others, lowered, followed))
    return tuple(levels)


def _dialled(ceiling: float, share: float, ambient: float, dial: tuple[float, float]) -> float:
    zero, step = dial
    wanted = ceiling - share * max(ceiling - ambient, 0.0)
    rounded = zero + step * math.floor((wanted - zero) / step + 1e-9)
    return float(min(max(rounded, ambient + LEAST_RISE, PLENUM.low), PLENUM.high))


def _within_kernels(
    plan: PlenumPlan,
    conditions: Conditions,
    feed: Feed,
    target: float,
    kernel_limit: float,
    model: ColumnModel | None,
) -> PlenumPlan:
    levels = plan.levels
    highest = max(level.plenum_temperature for level in levels)
    setting = fastest_within_kernel_limit(
        plan.dryer, conditions, feed, target, kernel_limit, highest=highest, model=model
    )
    cooler = plan.dryer.with_plenums(setting.plenum_temperatures)
    by_name = dict(zip((zone.name for zone in cooler.zones), cooler.zones, strict=True))
    moved = tuple(
        replace(
            level,
            plenum_temperature=by_name[level.zone].plenum_temperature or level.plenum_temperature,
            moisture_wb=moisture,
        )
        for level, moisture in zip(levels, _heated_entering(cooler, feed, setting), strict=True)
    )
    return PlenumPlan(cooler, moved, setting, True, plan.set_aside)


def _heated_entering(dryer: Dryer, feed: Feed, setting: Setting) -> list[float]:
    pairs = zip(dryer.zones, _entering(feed, setting), strict=True)
    return [moisture for zone, moisture in pairs if zone.heated]
