"""What is done to moist air: heated, cooled, mixed, pushed by a fan.

Water and enthalpy are conserved exactly. Where air would hold more vapour than it can, the
surplus is condensed: as liquid above 0 degC, as ice below, as both at 0 degC. Condensed water
leaves (dew on a cold surface) or stays as fog; either way its enthalpy is counted.

Sources
-------
.. [1] ASHRAE Handbook, Fundamentals, 2017, chapter 1, typical air-conditioning processes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, as_floats
from outfeed.errors import Inconsistent
from outfeed.limits import DRY_BULB, Range
from outfeed.methods import DERIVED, Method
from outfeed.moist_air.properties import (
    DRY_AIR_HEAT_CAPACITY,
    FREEZING_POINT,
    GAS_RATIO,
    HEAT_OF_FUSION,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT_CAPACITY,
    condensed_enthalpy,
    temperature_from_enthalpy,
    vapour_pressure_from_humidity_ratio,
)
from outfeed.moist_air.saturation import (
    TEMPERATURE_TOLERANCE,
    log_saturation,
    saturation_temperature,
)
from outfeed.moist_air.state import AirState, air_state
from outfeed.roots import bracketed_newton

__all__ = [
    "DRY_AIR_FLOW",
    "FAN_EFFICIENCY",
    "FAN_PRESSURE",
    "MIX_SHARE",
    "PROCESS_METHODS",
    "Processed",
    "cool",
    "heat",
    "mix",
    "settle",
    "warm_by_fan",
]

DRY_AIR_FLOW = Range("dry-air flow", 1e-6, 1e6, "kg/s", "sensible domain of the job, no source")
MIX_SHARE = Range("share of the second stream", 0.001, 0.999, "", "sensible domain of the job")
FAN_PRESSURE = Range("fan pressure", 0.0, 10_000.0, "Pa", "sensible domain of the job, no source")
FAN_EFFICIENCY = Range("fan efficiency", 0.05, 1.0, "", "sensible domain of the job, no source")

PROCESS_METHODS = (
    Method(
        "moist-air.balance",
        "Heating, cooling and mixing of moist air, with what condenses",
        "conservation of water and enthalpy; ASHRAE Handbook, Fundamentals, 2017, chapter 1",
        DERIVED,
        (DRY_BULB,),
        "Surplus water is liquid above 0 degC and ice below, in equilibrium with the air.",
    ),
)


@dataclass(frozen=True, slots=True)
class Processed:
    """Air after a process, and what the process took or gave.

    Attributes
    ----------
    state : AirState
        The air itself, at most saturated.
    condensed : float or ndarray
        Water that is no longer vapour, liquid and ice together [kg/kg dry air].
    ice : float or ndarray
        The part of it that is ice [kg/kg dry air].
    heat : float or ndarray
        Heat added from outside [J/kg dry air]; negative when removed.
    """

    state: AirState
    condensed: FloatArray
    ice: FloatArray
    heat: FloatArray


def heat(state: AirState, temperature: ArrayLike) -> Processed:
    """Heat air without adding water, as an indirect burner, a steam coil or a heater does.

    Parameters
    ----------
    state : AirState
        The air before.
    temperature : array_like
        Dry bulb to reach [degC], at least that of `state`.

    Returns
    -------
    Processed
        The heated air; nothing condenses.

    Raises
    ------
    Inconsistent
        A temperature below that of the air.
    OutOfRange
        A temperature above 150 degC.
    """
    warm, before = as_floats(temperature, state.dry_bulb)
    _require_order(before, warm, "heat", "below")
    after = air_state(state.pressure, dry_bulb=warm, humidity_ratio=state.humidity_ratio)
    none = np.zeros(warm.shape)[()]
    return Processed(after, none, none, (after.enthalpy - state.enthalpy)[()])


def cool(state: AirState, temperature: ArrayLike) -> Processed:
    """Cool air to a temperature; below the dew point water comes out and the air stays saturated.

    Parameters
    ----------
    state : AirState
        The air before.
    temperature : array_like
        Dry bulb to reach [degC], at most that of `state`.

    Returns
    -------
    Processed
        The cooled air, the water or frost that came out at that temperature, and the heat
        (negative).

    Raises
    ------
    Inconsistent
        A temperature above that of the air.
    OutOfRange
        A temperature below -40 degC.
    """
    cold, before = as_floats(temperature, state.dry_bulb)
    _require_order(cold, before, "cool", "above")
    DRY_BULB.check(cold, "temperature")
    water = np.broadcast_to(state.humidity_ratio, cold.shape)
    kept = np.minimum(water, _saturated_ratio(cold, np.asarray(state.pressure)))
    after = _state_at(cold, kept, state.pressure)
    frozen = cold < FREEZING_POINT
    condensed = water - after.humidity_ratio
    left = after.enthalpy + condensed * condensed_enthalpy(cold, ice=frozen)
    return Processed(
        after,
        condensed[()],
        np.where(frozen, condensed, 0.0)[()],
        (left - state.enthalpy)[()],
    )


def mix(
    first: AirState, second: AirState, first_flow: ArrayLike, second_flow: ArrayLike
) -> Processed:
    """Mix two streams of one pressure; where the mixture is past saturation, fog forms.

    Parameters
    ----------
    first, second : AirState
        The streams.
    first_flow, second_flow : array_like
        Their dry-air flows [kg/s], or any common measure of dry air.

    Returns
    -------
    Processed
        The mixture, per kilogram of its dry air; `condensed` is the fog it carries.

    Raises
    ------
    Inconsistent
        Streams of different pressure.
    OutOfRange
        A flow outside 1e-6 to 1e6 kg/s.
    """
    if not np.allclose(first.pressure, second.pressure, rtol=1e-9, atol=0.0):
        raise Inconsistent("streams that mix must have one pressure", "pressure")
    one = DRY_AIR_FLOW.check(first_flow, "first_flow")
    two = DRY_AIR_FLOW.check(second_flow, "second_flow")
    share = one / (one + two)
    water = share * first.humidity_ratio + (1.0 - share) * second.humidity_ratio
    total = share * first.enthalpy + (1.0 - share) * second.enthalpy
    return settle(total, water, first.pressure)


def settle(enthalpy: ArrayLike, water: ArrayLike, pressure: ArrayLike) -> Processed:
    """Air in equilibrium with its own fog, from total enthalpy and total water.

    Parameters
    ----------
    enthalpy : array_like
        Of air, vapour and fog together, above dry air and liquid water at 0 degC [J/kg dry air].
    water : array_like
        Vapour and fog together [kg/kg dry air].
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    Processed
        The air, what is condensed in it, and no heat.

    Raises
    ------
    OutOfRange
        A temperature outside -40 to 150 degC.
    NotConverged
        Never met in the range; tolerance 1e-6 K on the last step.
    """
    content, moisture, total = as_floats(enthalpy, water, pressure)
    dry = np.asarray(temperature_from_enthalpy(content, moisture))
    dew = np.asarray(saturation_temperature(vapour_pressure_from_humidity_ratio(moisture, total)))
    fog = dry < dew
    at_zero = [
        _foggy(np.zeros_like(dry), content, moisture, total, np.full(dry.shape, ice))[0]
        for ice in (True, False)
    ]
    frozen = (at_zero[0] > 0.0) | (dew < FREEZING_POINT)
    slush = ~frozen & (at_zero[1] > 0.0)
    low = np.where(fog, np.where(frozen, dry, np.maximum(dry, FREEZING_POINT)), dry)
    high = np.where(fog, np.where(frozen, np.minimum(dew, FREEZING_POINT), dew), dry)
    high = np.where(fog & slush, FREEZING_POINT, high)
    found = bracketed_newton(
        lambda trial: _foggy(trial, content, moisture, total, frozen),
        np.minimum(low, high),
        high,
        tolerance=TEMPERATURE_TOLERANCE,
        what="temperature of foggy air",
    )
    temperature = np.where(fog, found, dry)
    kept = np.where(fog, np.minimum(moisture, _saturated_ratio(temperature, total)), moisture)
    after = _state_at(temperature, kept, total)
    condensed = moisture - after.humidity_ratio
    partly = np.clip(at_zero[1] / HEAT_OF_FUSION, 0.0, condensed)
    ice_part = np.where(frozen, condensed, np.where(slush, partly, 0.0))
    ice_part = np.where(fog, ice_part, 0.0)
    return Processed(after, condensed[()], ice_part[()], np.zeros(dry.shape)[()])


def warm_by_fan(state: AirState, fan_pressure: ArrayLike, efficiency: ArrayLike) -> Processed:
    """Air that has passed a fan: the shaft power ends up as heat in it.

    Parameters
    ----------
    state : AirState
        The air before the fan.
    fan_pressure : array_like
        Total pressure that the fan adds [Pa], 0 to 10,000.
    efficiency : array_like
        Air power over shaft power (over motor input when the motor sits in the air), 0.05 to 1.

    Returns
    -------
    Processed
        The warmer air; the barometric pressure is kept.

    References
    ----------
    .. [1] Energy balance: fan pressure times volume, over efficiency.
    """
    rise = FAN_PRESSURE.check(fan_pressure, "fan_pressure")
    share = FAN_EFFICIENCY.check(efficiency, "efficiency")
    added = rise * state.specific_volume / share
    capacity = DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * state.humidity_ratio
    return heat(state, state.dry_bulb + added / capacity)


def _foggy(
    temperature: FloatArray,
    content: FloatArray,
    water: FloatArray,
    total: FloatArray,
    frozen: BoolArray,
) -> tuple[FloatArray, FloatArray]:
    """Enthalpy of saturated air with its fog, above the one sought, and its slope.

    At and above the boiling point nothing condenses: the vapour is limited to all the water.
    """
    log, log_slope = log_saturation(temperature)
    saturation = np.minimum(np.exp(log), 0.999 * total)
    ratio = GAS_RATIO * saturation / (total - saturation)
    ratio_slope = ratio * log_slope * total / (total - saturation)
    drop = np.asarray(condensed_enthalpy(temperature, ice=frozen))
    latent = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * temperature - drop
    drop_slope = condensed_enthalpy(1.0, ice=frozen) - condensed_enthalpy(0.0, ice=frozen)
    value = DRY_AIR_HEAT_CAPACITY * temperature + ratio * latent + water * drop - content
    slope = (
        DRY_AIR_HEAT_CAPACITY
        + ratio_slope * latent
        + ratio * (VAPOUR_HEAT_CAPACITY - drop_slope)
        + water * drop_slope
    )
    return value, slope


def _saturated_ratio(temperature: FloatArray, total: FloatArray) -> FloatArray:
    """Humidity ratio at saturation, without bound at and above the boiling point."""
    saturation = np.exp(log_saturation(temperature)[0])
    room = total - saturation
    return np.where(room > 0.0, GAS_RATIO * saturation / np.where(room > 0.0, room, 1.0), np.inf)


def _state_at(temperature: FloatArray, ratio: FloatArray, pressure: ArrayLike) -> AirState:
    return air_state(pressure, dry_bulb=temperature, humidity_ratio=ratio)


def _require_order(lower: FloatArray, upper: FloatArray, verb: str, side: str) -> None:
    """Refuse to heat downward or to cool upward."""
    if np.any(lower > upper):
        raise Inconsistent(
            f"to {verb} air, the temperature to reach must not lie {side} its own", "temperature"
        )
