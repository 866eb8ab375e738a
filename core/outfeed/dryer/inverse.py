"""The column model turned round: what to set so that the grain leaves as wanted.

Outlet moisture rises with the discharge rate and falls with the plenum temperatures, so each
question is one bracketed root, or a plain "out of reach" with what can be reached.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.dryer.closures import LATENT_HEAT_AT_ZERO, ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.profile import ColumnProfile
from outfeed.errors import Inconsistent, NotConverged, OutOfRange
from outfeed.limits import GRAIN_TEMPERATURE, PLENUM, SENSIBLE, TRANSIT, Range

TARGET_MOISTURE = Range("target moisture, wet basis", 0.02, 0.50, "", SENSIBLE)
MOISTURE_TOLERANCE = 1e-5
"""Distance from the target moisture, wet basis, at which a search ends: a thousandth of a point."""
KERNEL_TOLERANCE = 0.05
"""Distance from a kernel limit at which a search ends [K]."""
SEARCH_STEPS = 40
MOST_LOST = 6
"""Trials of a search that may fall where the column does not settle."""
RATE_SLOPE = 1.0
"""First slope of the drying scale against the logarithm of the rate [-]."""
PLENUM_SLOPE = -9e-4
"""First slope of outlet moisture, wet basis, against a shift of all plenums [1/K]."""
FLOOR_MOISTURE = 0.02
"""Moisture d.b. below which a dryer does not get: the search runs on the logarithm above it."""
LEAST_LEFT, LEAST_DRYING = 1e-6, 1e-9
"""Floors under what is left to dry and under the drying done [-]: they keep logarithms finite."""
HEAT_SHARE = 0.5
"""Part of the air's heat that a first guess lets evaporate water: common practice, no source."""


class OutOfReach(OutOfRange):
    """No setting within the limits gives what was asked.

    Parameters
    ----------
    quantity : str
        What was asked for.
    value : float
        The target.
    reach : tuple of float
        Lowest and highest value that can be had.
    unit : str
        Unit of both.
    name : str
        Argument that asked for it.
    handle : str
        What was allowed to change, in words.
    """

    def __init__(
        self,
        quantity: str,
        value: float,
        reach: tuple[float, float],
        *,
        unit: str,
        name: str,
        handle: str,
    ) -> None:
        super().__init__(quantity, value, reach, unit=unit, name=name)
        self.handle = handle
        tail = f" {unit}" if unit else ""
        words = (
            f"{quantity} {value:.4g}{tail} is out of reach by {handle}: the lowest and highest "
            f"you can get are {reach[0]:.4g} and {reach[1]:.4g}{tail}"
        )
        self.args = (words,)


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """What to set, and the column that follows.

    Attributes
    ----------
    dry_matter_rate : float
        Dry matter through the dryer [kg/s].
    discharge_rate : float
        Grain at the discharge, at its outlet moisture [kg/s].
    plenum_temperatures : tuple of float or None
        Zone by zone [degC].
    profile : ColumnProfile
        The column at this setting.
    """

    dry_matter_rate: float
    discharge_rate: float
    plenum_temperatures: tuple[float | None, ...]
    profile: ColumnProfile


def rate_for_moisture(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    *,
    model: ColumnModel | None = None,
) -> Setting:
    """Rate at which grain leaves at a moisture.

    Parameters
    ----------
    dryer : Dryer
        The description, with its plenum temperatures.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    model : ColumnModel, optional
        Which formulas.

    Returns
    -------
    Setting
        The rate, to a thousandth of a point of moisture.

    Raises
    ------
    OutOfReach
        No transit time between 10 minutes and 24 hours gives it.
    NotConverged
        The column or the search did not settle.
    """
    target = float(TARGET_MOISTURE.check(target_moisture_wb, "target_moisture_wb"))

    tried: dict[float, ColumnProfile] = {}

    def outlet(log_rate: float) -> float:
        profile = solve_column(dryer, conditions, feed, math.exp(log_rate), model=model)
        tried[log_rate] = profile
        return float(profile.outlet_moisture_wb)

    slow, fast = (
        math.log(dryer.hold_up_dry_matter / limit) for limit in (TRANSIT.high, TRANSIT.low)
    )
    start = _first_guess(dryer, conditions, feed, target)
    log_rate = _search(
        outlet,
        target,
        (slow, fast),
        min(max(math.log(start), slow), fast),
        lambda moisture: float(drying_scale(float(feed.moisture_db), moisture)),
        RATE_SLOPE,
        handle="discharge rate",
    )
    return _setting(dryer, math.exp(log_rate), tried[log_rate])


def shift_for_moisture(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    dry_matter_rate: float,
    *,
    zone: str | None = None,
    highest: float = PLENUM.high,
    model: ColumnModel | None = None,
) -> Setting:
    """Plenum temperatures at which grain leaves at a moisture, at a given rate.

    Parameters
    ----------
    dryer : Dryer
        The description; its plenum temperatures are the point of departure.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    dry_matter_rate : float
        Dry matter through the dryer [kg/s].
    zone : str, optional
        Name of the one zone that may change; absent for one common shift of all heated zones.
    highest : float
        Plenum temperature not to be passed [degC].
    model : ColumnModel, optional
        Which formulas.

    Returns
    -------
    Setting
        The plenum temperatures.

    Raises
    ------
    OutOfReach
        No plenum between ambient and `highest` gives it.
    Inconsistent
        No such heated zone.
    NotConverged
        The column or the search did not settle.
    """
    target = float(TARGET_MOISTURE.check(target_moisture_wb, "target_moisture_wb"))
    coolest, hottest = _shift_range(dryer, conditions, zone, highest)

    tried: dict[float, ColumnProfile] = {}

    def outlet(shift: float) -> float:
        moved = shifted(dryer, shift, zone)
        profile = solve_column(moved, conditions, feed, dry_matter_rate, model=model)
        tried[shift] = profile
        return float(profile.outlet_moisture_wb)

    shift = _search(
        outlet,
        target,
        (coolest, hottest),
        min(max(0.0, coolest), hottest),
        float,
        PLENUM_SLOPE,
        handle="plenum temperature",
    )
    return _setting(shifted(dryer, shift, zone), dry_matter_rate, tried[shift])


def fastest_within_kernel_limit(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    kernel_limit: float,
    *,
    highest: float = PLENUM.high,
    model: ColumnModel | None = None,
) -> Setting:
    """Highest rate at a target moisture that keeps every kernel at or under a temperature.

    Hotter plenums allow a higher rate and make hotter kernels; one common shift of the heated
    plenums is sought at which the hottest kernel just meets the limit, the rate being the one that
    gives the target moisture.

    Parameters
    ----------
    dryer : Dryer
        The description; its plenum temperatures are the point of departure.
    conditions : Conditions
        Weather; numbers.
    feed : Feed
        Grain at the inlet; numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    kernel_limit : float
        Temperature no kernel may pass [degC].
    highest : float
        Plenum temperature not to be passed [degC].
    model : ColumnModel, optional
        Which formulas.

    Returns
    -------
    Setting
        Rate and plenum temperatures; the kernel limit or `highest` binds.

    Raises
    ------
    OutOfReach
        Even the coolest plenums that still dry to the target pass the limit.
    NotConverged
        The column or the search did not settle.
    """
    limit = float(GRAIN_TEMPERATURE.check(kernel_limit, "kernel_limit"))
    coolest, hottest = _shift_range(dryer, conditions, None, highest)

    def at(shift: float) -> Setting:
        moved = shifted(dryer, shift, None)
        return rate_for_moisture(moved, conditions, feed, target_moisture_wb, model=model)

    best = at(hottest)
    if best.profile.hottest_kernel <= limit:
        return best
    low, high = _bracket_kernel(at, (coolest, hottest), limit)
    for _ in range(SEARCH_STEPS):
        middle = 0.5 * (low[0] + high)
        trial = at(middle)
        if trial.profile.hottest_kernel <= limit:
            low = (middle, trial)
            if limit - trial.profile.hottest_kernel < KERNEL_TOLERANCE:
                break
        else:
            high = middle
    return low[1]


def _bracket_kernel(
    at: Callable[[float], Setting], ends: tuple[float, float], limit: float
) -> tuple[tuple[float, Setting], float]:
    coolest, hottest = ends
    step = 0.125 * (hottest - coolest)
    shift, above, least = hottest - step, hottest, math.inf
    while shift >= coolest - 0.5 * step:
        try:
            trial = at(max(shift, coolest))
        except OutOfReach:
            break
        least = float(trial.profile.hottest_kernel)
        if least <= limit:
            return (max(shift, coolest), trial), above
        above, shift = shift, shift - step
    raise OutOfReach(
        "kernel temperature",
        limit,
        (least, math.inf),
        unit="degC",
        name="kernel_limit",
        handle="cooler plenums",
    )


def shifted(dryer: Dryer, shift: float, zone: str | None = None) -> Dryer:
    """The same dryer with its heated plenums moved.

    Parameters
    ----------
    dryer : Dryer
        The description.
    shift : float
        Change of the plenum temperature [K].
    zone : str, optional
        The one zone that moves; absent for all heated zones.

    Returns
    -------
    Dryer
        A new description.
    """
    return dryer.with_plenums(
        tuple(
            value if value is None or (zone is not None and entry.name != zone) else value + shift
            for entry, value in zip(dryer.zones, dryer.plenum_temperatures, strict=True)
        )
    )


def _setting(dryer: Dryer, rate: float, profile: ColumnProfile) -> Setting:
    discharge = rate / (1.0 - float(profile.outlet_moisture_wb))
    return Setting(rate, discharge, dryer.plenum_temperatures, profile)


def _shift_range(
    dryer: Dryer, conditions: Conditions, zone: str | None, highest: float
) -> tuple[float, float]:
    PLENUM.check(highest, "highest")
    moving = [
        value
        for entry, value in zip(dryer.zones, dryer.plenum_temperatures, strict=True)
        if value is not None and (zone is None or entry.name == zone)
    ]
    if not moving:
        raise Inconsistent(f"no heated zone named {zone!r}", "zone")
    coolest = max(float(np.asarray(conditions.ambient_temperature)), PLENUM.low)
    return coolest - min(moving), highest - max(moving)


def _first_guess(dryer: Dryer, conditions: Conditions, feed: Feed, target: float) -> float:
    ambient = float(np.asarray(conditions.ambient_temperature))
    pairs = zip(dryer.airflows, dryer.plenum_temperatures, strict=True)
    heat = sum(1006.0 * air * (hot - ambient) for air, hot in pairs if hot is not None)
    removed = max(float(feed.moisture_db) - target / (1.0 - target), 0.005)
    return max(HEAT_SHARE * heat / (LATENT_HEAT_AT_ZERO * removed), 1e-3)


def drying_scale(inlet_db: ArrayLike, moisture_wb: ArrayLike) -> FloatArray:
    """Moisture on a scale that is close to straight against the logarithm of the rate.

    Parameters
    ----------
    inlet_db : array_like
        Moisture at the inlet, dry basis, above `FLOOR_MOISTURE`.
    moisture_wb : array_like
        Moisture at the discharge, wet basis.

    Returns
    -------
    ndarray
        Less the logarithm of the drying done, which is itself a logarithm; rises with moisture.
    """
    wet = np.asarray(moisture_wb, dtype=np.float64)
    left = np.maximum(wet / (1.0 - wet) - FLOOR_MOISTURE, LEAST_LEFT)
    drop = np.log(np.maximum((np.asarray(inlet_db) - FLOOR_MOISTURE) / left, 1.0))
    return np.asarray(-np.log(np.maximum(drop, LEAST_DRYING)))[()]


def _search(
    outlet: Callable[[float], float],
    target: float,
    ends: tuple[float, float],
    start: float,
    scale: Callable[[float], float],
    slope: float,
    *,
    handle: str,
) -> float:
    """Setting at which outlet moisture meets its target: a secant kept inside a bracket.

    `slope` is the expected slope of the scaled moisture; its sign says which way moisture runs.
    """
    low, high = ends
    tried: set[float] = set()
    x, goal = start, scale(target)
    last: tuple[float, float] | None = None
    lost = 0
    for _ in range(SEARCH_STEPS):
        try:
            value = outlet(x)
        except NotConverged:
            # Back towards what settled, or towards the end where grain and air change least.
            lost += 1
            if lost > MOST_LOST:
                raise
            x = 0.5 * (x + (last[0] if last else high if slope > 0.0 else low))
            continue
        if abs(value - target) < MOISTURE_TOLERANCE:
            return x
        low, high = (x, high) if (value < target) == (slope > 0.0) else (low, x)
        if not low < high:
            raise _unreached(outlet, target, ends, value, handle)
        tried.add(x)
        now = (x, scale(value) - goal)
        x = _next(now, last, slope, (low, high), tried)
        last = now
    raise NotConverged(handle, (low, high), MOISTURE_TOLERANCE)


def _next(
    now: tuple[float, float],
    last: tuple[float, float] | None,
    slope: float,
    bracket: tuple[float, float],
    tried: set[float],
) -> float:
    low, high = bracket
    if last is not None and (seen := (now[1] - last[1]) / (now[0] - last[0])) * slope > 0.0:
        slope = seen
    trial = now[0] - now[1] / slope
    if low < trial < high:
        return trial
    end = low if trial <= low else high
    return 0.5 * (low + high) if end in tried else end


def _unreached(
    outlet: Callable[[float], float],
    target: float,
    ends: tuple[float, float],
    value: float,
    handle: str,
) -> OutOfReach:
    values = [value]
    for end in ends:
        # Where the model does not settle at an extreme, what was reached on the way is the answer.
        with suppress(NotConverged):
            values.append(outlet(end))
    return OutOfReach(
        "target moisture, wet basis",
        target,
        (min(values), max(values)),
        unit="",
        name="target_moisture_wb",
        handle=handle,
    )
