"""The whole state of moist air from any two of its quantities.

Of dry bulb, wet bulb, dew point, relative humidity and humidity ratio any two fix the state
at a known pressure, except dew point with humidity ratio: both tell the vapour content and
neither tells the temperature. Each pair is first brought to dry bulb and vapour pressure;
everything else follows from those.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent, OutfeedError
from outfeed.limits import DRY_BULB, PRESSURE, RELATIVE_HUMIDITY
from outfeed.moist_air.adiabatic import wet_bulb as adiabatic_wet_bulb
from outfeed.moist_air.pairs import (
    DEW_POINT,
    STATE_PAIRS,
    WET_BULB,
    Refused,
    ratio_of,
    require_dry_bulb,
    require_unsaturated,
    require_vapour,
    saturation,
    within,
)
from outfeed.moist_air.properties import (
    HUMIDITY_RATIO,
    STANDARD_PRESSURE,
    enthalpy,
    specific_volume,
)
from outfeed.moist_air.saturation import saturation_temperature

__all__ = [
    "DEW_POINT",
    "STATE_PAIRS",
    "WET_BULB",
    "AirState",
    "Rows",
    "air_state",
    "air_state_rows",
]

_LIMITS = {
    "dry_bulb": DRY_BULB,
    "wet_bulb": WET_BULB,
    "dew_point": DEW_POINT,
    "relative_humidity": RELATIVE_HUMIDITY,
    "humidity_ratio": HUMIDITY_RATIO,
}


@dataclass(frozen=True, slots=True)
class AirState:
    """Moist air, all quantities of one shape.

    Attributes
    ----------
    dry_bulb, wet_bulb, dew_point : float or ndarray
        Temperatures [degC]; below 0 the wet bulb is an ice bulb and the dew point a frost point.
    relative_humidity : float or ndarray
        Fraction of saturation; over ice below 0.01 degC.
    humidity_ratio : float or ndarray
        Water vapour [kg/kg dry air].
    vapour_pressure, saturation_pressure : float or ndarray
        Partial pressure of water and its value at saturation at the dry bulb [Pa].
    enthalpy : float or ndarray
        Above dry air and liquid water at 0 degC [J/kg dry air].
    specific_volume : float or ndarray
        Of the moist air [m3/kg dry air].
    density : float or ndarray
        Of the moist air [kg/m3].
    degree_of_saturation : float or ndarray
        Humidity ratio over its value at saturation; 0 above the boiling point, where air
        of any humidity is infinitely far from saturation.
    pressure : float or ndarray
        Barometric pressure [Pa].
    """

    dry_bulb: FloatArray
    wet_bulb: FloatArray
    dew_point: FloatArray
    relative_humidity: FloatArray
    humidity_ratio: FloatArray
    vapour_pressure: FloatArray
    saturation_pressure: FloatArray
    enthalpy: FloatArray
    specific_volume: FloatArray
    density: FloatArray
    degree_of_saturation: FloatArray
    pressure: FloatArray


@dataclass(frozen=True, slots=True)
class Rows:
    """Many states of which some could not be computed.

    Attributes
    ----------
    state : AirState
        The good rows, in order; empty arrays when there is none.
    index : ndarray of int
        Where each good row stood.
    errors : dict of int to OutfeedError
        What was wrong with each other row.
    """

    state: AirState
    index: np.ndarray[tuple[int], np.dtype[np.intp]]
    errors: dict[int, OutfeedError]


def air_state(
    pressure: ArrayLike = STANDARD_PRESSURE,
    *,
    dry_bulb: ArrayLike | None = None,
    wet_bulb: ArrayLike | None = None,
    dew_point: ArrayLike | None = None,
    relative_humidity: ArrayLike | None = None,
    humidity_ratio: ArrayLike | None = None,
) -> AirState:
    """State of moist air from any two quantities and the pressure.

    Parameters
    ----------
    pressure : array_like
        Barometric pressure [Pa], 50,000 to 110,000.
    dry_bulb : array_like, optional
        Dry bulb [degC], -40 to 150.
    wet_bulb : array_like, optional
        Thermodynamic wet bulb [degC]; an ice bulb when below 0.
    dew_point : array_like, optional
        Dew point [degC], a frost point below 0.01; at least -100.
    relative_humidity : array_like, optional
        Fraction, 0 to 1, over ice below 0.01 degC.
    humidity_ratio : array_like, optional
        Water vapour [kg/kg dry air].

    Returns
    -------
    AirState
        Of the broadcast shape; scalars when all arguments are. The quantities given come back
        as given, also a wet bulb over ice where the wick could as well be wet.

    Raises
    ------
    OutOfRange
        A quantity outside its range; air without a dew point above -100 degC.
    Inconsistent
        Not exactly two quantities; dew point with humidity ratio; a dew point or wet bulb above
        the dry bulb; more vapour than saturation; less than none; a pair that belongs to air
        outside -40 to 150 degC.
    NotConverged
        Never met in the range; tolerance 1e-6 K on the last step.

    References
    ----------
    .. [1] ASHRAE Handbook 2017, chapter 1.
    """
    given = _given(dry_bulb, wet_bulb, dew_point, relative_humidity, humidity_ratio)
    arrays = np.broadcast_arrays(pressure, *given.values())
    total, first, second = (np.asarray(array, dtype=np.float64) for array in arrays)
    try:
        return _solve(total, dict(zip(given, (first, second), strict=True)))
    except Refused as refused:
        where = int(np.argmax(refused.bad))
        raise refused.build(where, where if total.ndim else None) from None


def air_state_rows(
    pressure: ArrayLike = STANDARD_PRESSURE,
    *,
    dry_bulb: ArrayLike | None = None,
    wet_bulb: ArrayLike | None = None,
    dew_point: ArrayLike | None = None,
    relative_humidity: ArrayLike | None = None,
    humidity_ratio: ArrayLike | None = None,
) -> Rows:
    """States of many rows, where a bad row answers for itself.

    Parameters
    ----------
    pressure : array_like
        Barometric pressure [Pa].
    dry_bulb, wet_bulb, dew_point : array_like, optional
        Temperatures [degC].
    relative_humidity : array_like, optional
        Fraction, 0 to 1.
    humidity_ratio : array_like, optional
        Water vapour [kg/kg dry air].

    Returns
    -------
    Rows
        States of the good rows and the error of each bad one.

    Raises
    ------
    Inconsistent
        Not exactly two quantities, or dew point with humidity ratio: no row can be answered.
    """
    given = _given(dry_bulb, wet_bulb, dew_point, relative_humidity, humidity_ratio)
    arrays = np.broadcast_arrays(np.atleast_1d(pressure), *given.values())
    columns = [np.asarray(array, dtype=np.float64) for array in arrays]
    index = np.arange(columns[0].size)
    errors: dict[int, OutfeedError] = {}
    while True:  # each refusal removes at least one row
        rows = [column[index] for column in columns]
        try:
            state = _solve(rows[0], dict(zip(given, rows[1:], strict=True)))
        except Refused as refused:
            bad = np.flatnonzero(refused.bad)
            errors.update({int(index[i]): refused.build(int(i), int(index[i])) for i in bad})
            index = index[~refused.bad]
        else:
            return Rows(state, index, dict(sorted(errors.items())))


def _given(*values: ArrayLike | None) -> dict[str, ArrayLike]:
    """The two quantities given, in the fixed order of `_LIMITS`."""
    given = {name: value for name, value in zip(_LIMITS, values, strict=True) if value is not None}
    if len(given) != 2:
        raise Inconsistent(
            f"two quantities fix the state of air, {len(given)} given; "
            f"give two of {', '.join(_LIMITS)}",
            *(given or _LIMITS),
        )
    if tuple(given) == ("dew_point", "humidity_ratio"):
        raise Inconsistent(
            "dew point and humidity ratio tell the same thing, how much vapour the air holds; "
            "give dry bulb, wet bulb or relative humidity with one of them",
            *given,
        )
    return given


def _solve(pressure: FloatArray, given: dict[str, FloatArray]) -> AirState:
    within(PRESSURE, pressure, "pressure")
    for name, value in given.items():
        within(_LIMITS[name], value, name)
    pair = tuple(given)
    dry, vapour = STATE_PAIRS[pair](*given.values(), pressure)
    if "dry_bulb" not in given:
        dry = require_dry_bulb(dry, given)
    require_vapour(vapour, pressure, pair)
    require_unsaturated(dry, vapour, pair)
    return _complete(pressure, dry, vapour, given)


def _complete(
    pressure: FloatArray, dry: FloatArray, vapour: FloatArray, given: dict[str, FloatArray]
) -> AirState:
    """Everything else from dry bulb and vapour pressure; what was given is handed back as given."""
    full = saturation(dry)
    vapour = np.minimum(vapour, full)  # rounding only: more was refused before
    ratio = given.get("humidity_ratio", ratio_of(vapour, pressure))
    volume = np.asarray(specific_volume(dry, ratio, pressure))
    dew = given.get("dew_point")
    bulb = given.get("wet_bulb")
    humidity = given.get("relative_humidity", vapour / full)
    degree = humidity * np.maximum(pressure - full, 0.0) / (pressure - vapour)
    result = AirState(
        dry_bulb=dry,
        wet_bulb=adiabatic_wet_bulb(dry, ratio, pressure) if bulb is None else bulb,
        dew_point=np.minimum(saturation_temperature(vapour), dry) if dew is None else dew,
        relative_humidity=humidity,
        humidity_ratio=ratio,
        vapour_pressure=vapour,
        saturation_pressure=full,
        enthalpy=enthalpy(dry, ratio),
        specific_volume=volume,
        density=(1.0 + ratio) / volume,
        degree_of_saturation=degree,
        pressure=pressure,
    )
    values = {f.name: np.asarray(getattr(result, f.name))[()] for f in fields(AirState)}
    return AirState(**values)
