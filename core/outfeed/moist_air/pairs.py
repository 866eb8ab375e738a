"""Any two quantities of moist air brought to dry bulb and vapour pressure.

One function a pair. Each refuses what cannot be: it raises `Refused` with all the elements at
fault at once, so that a caller with many rows can set those aside and go on.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.errors import Inconsistent, OutfeedError, OutOfRange
from outfeed.limits import DRY_BULB, Range
from outfeed.moist_air.properties import (
    DRY_AIR_HEAT_CAPACITY,
    FREEZING_POINT,
    GAS_RATIO,
    HUMIDITY_RATIO,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT_CAPACITY,
    condensed_enthalpy,
)
from outfeed.moist_air.saturation import (
    TEMPERATURE_TOLERANCE,
    VAPOUR_PRESSURE,
    log_saturation,
    saturation_temperature,
)
from outfeed.roots import bracketed_newton

__all__ = [
    "DEW_POINT",
    "STATE_PAIRS",
    "WET_BULB",
    "ImpossibleAir",
    "Refused",
    "ratio_of",
    "require_dry_bulb",
    "require_unsaturated",
    "require_vapour",
    "saturation",
    "within",
]

WET_BULB = Range("wet-bulb temperature", -45.0, 150.0, "degC", DRY_BULB.source)
DEW_POINT = Range("dew point", -100.0, 150.0, "degC", "range of the Hyland-Wexler equations")

_ROUNDING = (
    2e-8  # relative; what two quantities of one state written in nine digits may disagree by
)


class ImpossibleAir(Inconsistent):
    """Two quantities that no air has together.

    Parameters
    ----------
    reason : str
        "order" (a dew point or wet bulb above what it cannot exceed), "too-wet" (water would
        condense), "too-dry" (less than no vapour) or "out-of-domain" (air outside -40 to 150 degC).
    message : str
        What contradicts what, in SI.
    names : tuple of str
        The arguments that take part.
    """

    def __init__(self, reason: str, message: str, *names: str) -> None:
        self.reason = reason
        super().__init__(message, *names)


class Refused(Exception):
    """Some elements cannot be answered; `build` makes the error of one of them."""

    def __init__(self, bad: BoolArray, build: Callable[[int, int | None], OutfeedError]) -> None:
        self.bad = bad
        self.build = build
        super().__init__()


def _dry_wet(dry: FloatArray, bulb: FloatArray, pressure: FloatArray) -> tuple[FloatArray, ...]:
    _not_above(bulb, dry, "wet_bulb", "wet bulb", "dry bulb", "dry_bulb")
    _require_below_boiling(bulb, pressure)
    saturated, latent, added = _at_bulb(bulb, pressure)
    ratio = (saturated * latent - DRY_AIR_HEAT_CAPACITY * (dry - bulb)) / (
        LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * dry - added
    )
    _require(
        ratio > 0.0,
        lambda i, at: ImpossibleAir(
            "too-dry",
            f"a wet bulb of {bulb.flat[i]:g} degC at a dry bulb of {dry.flat[i]:g} degC"
            f"{_element(at)} would need air drier than dry; its wet bulb must be higher",
            "wet_bulb",
            "dry_bulb",
        ),
    )
    return dry, pressure * ratio / (GAS_RATIO + ratio)


def _dry_dew(dry: FloatArray, dew: FloatArray, _pressure: FloatArray) -> tuple[FloatArray, ...]:
    _not_above(dew, dry, "dew_point", "dew point", "dry bulb", "dry_bulb")
    return dry, saturation(dew)


def _dry_humidity(
    dry: FloatArray, humidity: FloatArray, pressure: FloatArray
) -> tuple[FloatArray, ...]:
    full = saturation(dry)
    _require(
        humidity * full < pressure,
        lambda i, at: OutOfRange(
            "relative humidity above the boiling point",
            float(humidity.flat[i]),
            (0.0, float(pressure.flat[i] / full.flat[i])),
            name="relative_humidity",
            index=at,
            method="moist-air.ideal-gas",
        ),
    )
    return dry, humidity * full


def _dry_ratio(dry: FloatArray, ratio: FloatArray, pressure: FloatArray) -> tuple[FloatArray, ...]:
    return dry, pressure * ratio / (GAS_RATIO + ratio)


def _wet_dew(bulb: FloatArray, dew: FloatArray, pressure: FloatArray) -> tuple[FloatArray, ...]:
    _not_above(dew, bulb, "dew_point", "dew point", "wet bulb", "wet_bulb")
    vapour = saturation(dew)
    require_vapour(vapour, pressure, ("dew_point",))
    return _dry_bulb_from_wet(bulb, ratio_of(vapour, pressure), pressure), vapour


def _wet_ratio(bulb: FloatArray, ratio: FloatArray, pressure: FloatArray) -> tuple[FloatArray, ...]:
    _require_below_boiling(bulb, pressure)
    vapour = pressure * ratio / (GAS_RATIO + ratio)
    limit = saturation(bulb)
    _require(
        vapour <= limit * (1.0 + _ROUNDING),
        lambda i, at: ImpossibleAir(
            "too-wet",
            f"a humidity ratio of {ratio.flat[i]:g} kg/kg{_element(at)} is more than air at its "
            f"wet bulb of {bulb.flat[i]:g} degC can hold",
            "humidity_ratio",
            "wet_bulb",
        ),
    )
    return _dry_bulb_from_wet(bulb, ratio, pressure), vapour


def _wet_humidity(
    bulb: FloatArray, humidity: FloatArray, pressure: FloatArray
) -> tuple[FloatArray, ...]:
    _require_below_boiling(bulb, pressure)
    _require_positive_humidity(humidity)
    hottest = np.minimum(_dry_bulb_from_wet(bulb, np.zeros_like(bulb), pressure), 200.0)

    def excess(dry: FloatArray) -> tuple[FloatArray, FloatArray]:
        return _humidity_excess(dry, bulb, humidity, pressure)

    dry = bracketed_newton(
        excess, bulb, hottest, tolerance=TEMPERATURE_TOLERANCE, what="dry-bulb temperature"
    )
    return dry, humidity * saturation(dry)


def _dew_humidity(
    dew: FloatArray, humidity: FloatArray, _pressure: FloatArray
) -> tuple[FloatArray, ...]:
    vapour = saturation(dew)
    return _dry_bulb_from_humidity(vapour, humidity), vapour


def _humidity_ratio_pair(
    humidity: FloatArray, ratio: FloatArray, pressure: FloatArray
) -> tuple[FloatArray, ...]:
    vapour = pressure * ratio / (GAS_RATIO + ratio)
    require_vapour(vapour, pressure, ("humidity_ratio",))
    return _dry_bulb_from_humidity(vapour, humidity), vapour


STATE_PAIRS: dict[tuple[str, ...], Callable[..., tuple[FloatArray, ...]]] = {
    ("dry_bulb", "wet_bulb"): _dry_wet,
    ("dry_bulb", "dew_point"): _dry_dew,
    ("dry_bulb", "relative_humidity"): _dry_humidity,
    ("dry_bulb", "humidity_ratio"): _dry_ratio,
    ("wet_bulb", "dew_point"): _wet_dew,
    ("wet_bulb", "relative_humidity"): _wet_humidity,
    ("wet_bulb", "humidity_ratio"): _wet_ratio,
    ("dew_point", "relative_humidity"): _dew_humidity,
    ("relative_humidity", "humidity_ratio"): _humidity_ratio_pair,
}
"""Solvable pairs; the tenth, dew point with humidity ratio, is the same information twice."""


def _at_bulb(bulb: FloatArray, pressure: FloatArray) -> tuple[FloatArray, ...]:
    """Saturation humidity ratio, heat to evaporate, and enthalpy of water at the wet bulb."""
    added = np.asarray(condensed_enthalpy(bulb, ice=bulb < FREEZING_POINT))
    latent = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * bulb - added
    return ratio_of(saturation(bulb), pressure), latent, added


def _dry_bulb_from_wet(bulb: FloatArray, ratio: FloatArray, pressure: FloatArray) -> FloatArray:
    """Dry bulb by the wet-bulb equation, which is linear in it."""
    saturated, latent, added = _at_bulb(bulb, pressure)
    heat = DRY_AIR_HEAT_CAPACITY * bulb + saturated * latent - ratio * (LATENT_HEAT_AT_ZERO - added)
    return heat / (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * ratio)


def _humidity_excess(
    dry: FloatArray, bulb: FloatArray, humidity: FloatArray, pressure: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How much more vapour the relative humidity means than the wet bulb does, at a dry bulb.

    In the wet-bulb equation multiplied out by (1 - x), x the vapour's share of the pressure.
    """
    saturated, latent, added = _at_bulb(bulb, pressure)
    log, log_slope = log_saturation(dry)
    x = humidity * np.exp(log) / pressure
    x_slope = x * log_slope
    vapour_heat = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * dry - added
    dry_part = saturated * latent - DRY_AIR_HEAT_CAPACITY * (dry - bulb)
    value = GAS_RATIO * x * vapour_heat - (1.0 - x) * dry_part
    slope = (
        GAS_RATIO * (x_slope * vapour_heat + x * VAPOUR_HEAT_CAPACITY)
        + x_slope * dry_part
        + (1.0 - x) * DRY_AIR_HEAT_CAPACITY
    )
    return value, slope


def _dry_bulb_from_humidity(vapour: FloatArray, humidity: FloatArray) -> FloatArray:
    """Dry bulb at which the vapour makes this relative humidity; 200 degC stands for hotter."""
    _require_positive_humidity(humidity)
    full = np.minimum(vapour / humidity, VAPOUR_PRESSURE.high)
    return np.asarray(saturation_temperature(full))


# Refusals ----------------------------------------------------------------------------------


def _require(good: BoolArray, build: Callable[[int, int | None], OutfeedError]) -> None:
    if not np.all(good):
        raise Refused(np.asarray(~good).reshape(-1), build)


def within(limit: Range, value: FloatArray, name: str) -> None:
    """Refuse the elements outside a range.

    Parameters
    ----------
    limit : Range
        The range.
    value : ndarray
        Any shape, in the range's unit.
    name : str
        Name of the argument.

    Raises
    ------
    OutOfRange
        With the first element outside.
    """
    _require(
        limit.contains(value),
        lambda i, at: OutOfRange(
            limit.quantity,
            float(value.flat[i]),
            (limit.low, limit.high),
            unit=limit.unit,
            name=name,
            index=at,
        ),
    )


def require_dry_bulb(dry: FloatArray, given: dict[str, FloatArray]) -> FloatArray:
    """Refuse a pair that belongs to air outside the range; return the dry bulb without rounding.

    Parameters
    ----------
    dry : ndarray
        Dry bulb found from the pair, any shape [degC].
    given : dict
        The pair by name, for the error.

    Returns
    -------
    ndarray
        The dry bulb, moved onto the end of its range where it missed it by rounding [degC].

    Raises
    ------
    ImpossibleAir
        With the first pair outside.
    """

    def build(i: int, at: int | None) -> OutfeedError:
        pair = " and ".join(
            f"a {name.replace('_', ' ')} of {value.flat[i]:.4g}" for name, value in given.items()
        )
        return ImpossibleAir(
            "out-of-domain",
            f"{pair}{_element(at)} together belong to air outside "
            f"{DRY_BULB.low:g} to {DRY_BULB.high:g} degC",
            *given,
        )

    slack = _ROUNDING * DRY_BULB.high
    _require((dry >= DRY_BULB.low - slack) & (dry <= DRY_BULB.high + slack), build)
    return np.clip(dry, DRY_BULB.low, DRY_BULB.high)


def _require_positive_humidity(humidity: FloatArray) -> None:
    _require(
        humidity > 0.0,
        lambda i, at: OutOfRange(
            "relative humidity with no dry bulb given",
            float(humidity.flat[i]),
            (1e-6, 1.0),
            name="relative_humidity",
            index=at,
        ),
    )


def require_vapour(vapour: FloatArray, pressure: FloatArray, names: tuple[str, ...]) -> None:
    """Some vapour, so that a dew point exists, and some air.

    Parameters
    ----------
    vapour : ndarray
        Vapour pressure, any shape [Pa].
    pressure : ndarray
        Barometric pressure [Pa].
    names : tuple of str
        The arguments it came from.

    Raises
    ------
    ImpossibleAir
        No vapour, or more than air of that pressure can hold.
    """
    name = next((n for n in reversed(names) if n != "dry_bulb"), names[0])
    ceiling = pressure * HUMIDITY_RATIO.high / (GAS_RATIO + HUMIDITY_RATIO.high)
    floor = VAPOUR_PRESSURE.low
    _require(
        (vapour >= floor) & (vapour <= ceiling),
        lambda i, at: OutOfRange(
            "vapour pressure",
            float(vapour.flat[i]),
            (floor, float(ceiling.flat[i])),
            unit="Pa",
            name=name,
            index=at,
            method="moist-air.ideal-gas",
        ),
    )


def require_unsaturated(dry: FloatArray, vapour: FloatArray, names: tuple[str, ...]) -> None:
    """Refuse more vapour than the air can hold at its dry bulb.

    Parameters
    ----------
    dry : ndarray
        Dry bulb, any shape [degC].
    vapour : ndarray
        Vapour pressure [Pa].
    names : tuple of str
        The arguments it came from.

    Raises
    ------
    ImpossibleAir
        With the first state past saturation.
    """
    full = saturation(dry)
    _require(
        vapour <= full * (1.0 + _ROUNDING),
        lambda i, at: ImpossibleAir(
            "too-wet",
            f"air at {dry.flat[i]:.4g} degC{_element(at)} cannot hold this much vapour: the "
            f"relative humidity would be {vapour.flat[i] / full.flat[i]:.4g}, so water "
            "condenses",
            *reversed(names),
        ),
    )


def _require_below_boiling(bulb: FloatArray, pressure: FloatArray) -> None:
    boiling = np.asarray(saturation_temperature(pressure))
    _require(
        bulb < boiling,
        lambda i, at: OutOfRange(
            "wet-bulb temperature below the boiling point",
            float(bulb.flat[i]),
            (WET_BULB.low, float(boiling.flat[i])),
            unit="degC",
            name="wet_bulb",
            index=at,
        ),
    )


def _not_above(
    lower: FloatArray, upper: FloatArray, name: str, words: str, than: str, than_name: str
) -> None:
    slack = _ROUNDING * (1.0 + np.abs(upper))
    _require(
        lower <= upper + slack,
        lambda i, at: ImpossibleAir(
            "order",
            f"a {words} of {lower.flat[i]:g} degC{_element(at)} above the {than} of "
            f"{upper.flat[i]:g} degC",
            name,
            than_name,
        ),
    )


def _element(at: int | None) -> str:
    return f" (element {at})" if at is not None else ""


def saturation(temperature: FloatArray) -> FloatArray:
    """Saturation pressure [Pa], unchecked.

    Parameters
    ----------
    temperature : ndarray
        Any shape [degC].

    Returns
    -------
    ndarray
        Pressure [Pa].
    """
    return np.asarray(np.exp(log_saturation(temperature)[0]))


def ratio_of(vapour: FloatArray, pressure: FloatArray) -> FloatArray:
    """Humidity ratio [kg/kg dry air] from vapour pressure, unchecked.

    Parameters
    ----------
    vapour : ndarray
        Vapour pressure, any shape [Pa].
    pressure : ndarray
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        Humidity ratio [kg/kg dry air].
    """
    return GAS_RATIO * vapour / (pressure - vapour)
