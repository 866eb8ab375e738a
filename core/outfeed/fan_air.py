"""Fan and bed in the air of a day: what cold, warm or thin air does to the operating point.

A fan moves the same volume whatever the air weighs, at a pressure that goes with its density. A
bed resists in two ways: friction, which goes with the air's viscosity, and the turns between the
kernels, which go with its density. How much of either there is shows in the bend of the bed's own
curve: pressure rises as flow to a power between one, all friction, and two, all turns.

.. [1] ASHRAE Handbook, HVAC Systems and Equipment, chapter Fans: the fan laws.
.. [2] Ergun, S. (1952), Fluid flow through packed columns, Chemical Engineering Progress 48:89-94.
.. [3] US Standard Atmosphere 1976: Sutherland's formula for the viscosity of air.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outfeed.airflow import Bed, airflow_limit, airflow_set, loose_resistance, pressure_drop
from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.errors import NotConverged
from outfeed.fan import AREA, FANS, FanTable, fan_curve
from outfeed.limits import AMBIENT, PRESSURE
from outfeed.moist_air import CELSIUS_ZERO, STANDARD_PRESSURE, specific_volume

STANDARD_TEMPERATURE = 20.0
"""Temperature of standard air [degC]: ASHRAE fan rating."""
SUTHERLAND = 110.4  # K; US Standard Atmosphere 1976
_BISECTIONS = 60
_TOLERANCE = 1e-9  # of the span searched
_LEAST_FLOW = 1e-6  # m3/(s m2); below it a bed is all friction
_NUDGE = 1e-3  # of the flow, to read the bend of a curve


@dataclass(frozen=True, slots=True, eq=False)
class AirState:
    """Air against standard air; numbers or arrays over hours.

    Attributes
    ----------
    density, viscosity : ndarray
        Over those of dry air at 20 degC and 101,325 Pa [-].
    """

    density: FloatArray
    viscosity: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class OperatingPoints:
    """Where fan and bed agree in each state of the air.

    Attributes
    ----------
    airflow : ndarray
        Total airflow of all fans [m3/s]; the nearest end of the search when they do not meet.
    pressure : ndarray
        Static pressure at it [Pa].
    meets : ndarray of bool
        Whether they meet inside the fan's table and the method.
    too_tight : ndarray of bool
        Whether even the least flow of the table takes more than the fan has.
    """

    airflow: FloatArray
    pressure: FloatArray
    meets: BoolArray
    too_tight: BoolArray


def air_state(temperature: ArrayLike, pressure: ArrayLike = STANDARD_PRESSURE) -> AirState:
    """Density and viscosity of air against standard air.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    AirState
        As dry air: moisture changes its density by less than a percent.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    warm = AMBIENT.check(temperature, "temperature") + CELSIUS_ZERO
    standard = STANDARD_TEMPERATURE + CELSIUS_ZERO
    share = PRESSURE.check(pressure, "pressure") / STANDARD_PRESSURE
    viscosity = (warm / standard) ** 1.5 * (standard + SUTHERLAND) / (warm + SUTHERLAND)
    return AirState(np.asarray(share * standard / warm), np.asarray(viscosity))


def air_density(temperature: ArrayLike, pressure: ArrayLike = STANDARD_PRESSURE) -> FloatArray:
    """Density of dry air.

    Parameters
    ----------
    temperature : array_like
        Dry bulb [degC].
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    ndarray
        [kg/m3].
    """
    return np.asarray(1.0 / specific_volume(temperature, 0.0, pressure))[()]


def pressure_drop_in(bed: Bed, airflow: ArrayLike, air: AirState) -> FloatArray:
    """Pressure that pushes an airflow through a bed in air other than standard.

    Parameters
    ----------
    bed : Bed
        The grain.
    airflow : array_like
        Airflow per area [m3/(s m2)].
    air : AirState
        The air.

    Returns
    -------
    ndarray
        Pressure [Pa], broadcast shape; that of `pressure_drop` in standard air.

    Raises
    ------
    OutOfRange
        Airflow outside its range.
    """
    flow = np.asarray(airflow, dtype=np.float64)
    turns = _turning_share(bed, flow)
    factor = (1.0 - turns) * air.viscosity + turns * air.density
    return np.asarray(pressure_drop(bed, flow) * factor)[()]


def _turning_share(bed: Bed, flow: FloatArray) -> FloatArray:
    """Share of the resistance that goes with density: the power of the bed's curve, less one."""
    constants = airflow_set(bed.grain, bed.constants)
    high = np.maximum(flow, _LEAST_FLOW)
    low = high / (1.0 + _NUDGE)
    ratio = loose_resistance(constants, high) / loose_resistance(constants, low)
    power = np.log(ratio) / np.log1p(_NUDGE)
    return np.asarray(np.minimum(np.maximum(power - 1.0, 0.0), 1.0))


def airflow_at_in(bed: Bed, pressure: ArrayLike, air: AirState) -> tuple[FloatArray, BoolArray]:
    """Airflow that a pressure pushes through a bed in air other than standard.

    Parameters
    ----------
    bed : Bed
        The grain.
    pressure : array_like
        Pressure across it [Pa].
    air : AirState
        The air.

    Returns
    -------
    tuple of ndarray
        Airflow per area [m3/(s m2)], and where the resistance is known that far.

    Raises
    ------
    NotConverged
        The bisection reached its bound.
    """
    wanted, _ = np.broadcast_arrays(np.asarray(pressure, dtype=np.float64), air.density)
    most = airflow_limit(bed)

    def short(flow: FloatArray) -> FloatArray:
        return np.asarray(wanted - pressure_drop_in(bed, flow, air))

    known = short(np.full(wanted.shape, most)) <= 0.0
    return _last_positive(short, np.zeros(wanted.shape), most), known


def operating_points(
    bed: Bed, area: float, table: FanTable, fans: int, air: AirState
) -> OperatingPoints:
    """Where fans side by side run on a bed in each state of the air.

    Parameters
    ----------
    bed : Bed
        The grain.
    area : float
        Area the air passes through [m2], 0.05 to 10,000.
    table : FanTable
        One fan, as rated in standard air.
    fans : int
        How many alike blow side by side, 1 to 50.
    air : AirState
        The air.

    Returns
    -------
    OperatingPoints
        Nothing beyond the table is guessed.

    Raises
    ------
    OutOfRange
        A value outside its range.
    NotConverged
        The bisection reached its bound.
    """
    AREA.check(area, "area")
    FANS.check(fans, "fans")
    curve = fan_curve(table)
    shape = np.shape(air.density)
    least, most = table.airflow[-1], min(table.airflow[0], airflow_limit(bed) * area / fans)

    def spare(flow: FloatArray) -> FloatArray:
        fan = curve(flow) * air.density
        return np.asarray(fan - pressure_drop_in(bed, fans * flow / area, air))

    if least >= most:
        flow, tight = np.full(shape, least), np.zeros(shape, dtype=bool)
        return OperatingPoints(fans * flow, curve(flow) * air.density, tight, tight)
    low, high = np.full(shape, least), np.full(shape, most)
    tight, wide = spare(low) < 0.0, spare(high) > 0.0
    flow = np.where(tight, low, np.where(wide, high, _last_positive(spare, low, most)))
    return OperatingPoints(fans * flow, curve(flow) * air.density, ~(tight | wide), tight)


def _last_positive(
    falling: Callable[[FloatArray], FloatArray], low: FloatArray, most: float
) -> FloatArray:
    """Where a falling function passes zero between `low` and `most`, everywhere at once."""
    bottom, top = low.copy(), np.full(low.shape, most)
    for _ in range(_BISECTIONS):
        middle = 0.5 * (bottom + top)
        above = falling(middle) >= 0.0
        bottom, top = np.where(above, middle, bottom), np.where(above, top, middle)
        if np.all(top - bottom <= _TOLERANCE * most):
            return np.asarray(bottom)
    raise NotConverged("airflow through the bed", (float(low.min()), most), _TOLERANCE)
