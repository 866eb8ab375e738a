"""What a fan does on a bed of grain: operating point, power, and the warmth it adds.

A fan moves less air the harder it has to push, a bed needs more pressure the more air moves; they
run where the two meet. The fan's side is a table that the caller reads off its own papers. All the
power that goes into the fan ends as heat in the air, the motor's losses too when it sits in the
stream.

.. [1] ASHRAE Handbook, HVAC Systems and Equipment, chapter Fans: air power is flow times pressure.
.. [2] McKenzie, Foster and DeForest, Fan sizing and application for bin drying/cooling of grain,
   Purdue University Extension AE-106.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outfeed.airflow import OPERATING_POINT, Bed, airflow_limit, pressure_drop
from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent, NotConverged
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.moist_air import DRY_AIR_HEAT_CAPACITY

FLOW = Range("airflow", 0.0, 1_000.0, "m3/s", SENSIBLE)
STATIC_PRESSURE = Range("static pressure", 0.0, 20_000.0, "Pa", SENSIBLE)
AREA = Range("floor area", 0.05, 10_000.0, "m2", SENSIBLE)
EFFICIENCY = Range("fan efficiency", 0.05, 0.95, "", SENSIBLE)
FANS = Range("number of fans", 1, 50, "", SENSIBLE)
AIR_DENSITY = 1.2
"""Density of standard air [kg/m3]: ASHRAE fan rating standard air, 1.204 rounded."""

POWER = Method(
    id="airflow.fan-power",
    title="Power a fan takes: flow times pressure over efficiency",
    source="Definition of fan efficiency; ASHRAE Handbook, chapter Fans",
    known=DERIVED,
)
WARMTH = Method(
    id="airflow.fan-heat",
    title="Temperature rise of air through a fan",
    source="Energy balance: all power taken ends as heat in the air",
    known=DERIVED,
    note="Motor losses count only where the motor sits in the stream.",
)
THIN_AIR = Method(
    id="airflow.air-other-than-standard",
    title="Fan and bed in air lighter or heavier than standard",
    source="Fan laws, ASHRAE Handbook, chapter Fans: pressure goes with density at the same flow; "
    "Ergun (1952) Chem. Eng. Prog. 48:89-94: part of a bed's resistance goes with viscosity, part "
    "with density; viscosity of air from Sutherland's formula, US Standard Atmosphere 1976",
    known=DERIVED,
    note="The two parts are read off the bend of the bed's own curve. The fan's table is taken to "
    "be for standard air at 20 degC.",
)
METHODS = (OPERATING_POINT, POWER, WARMTH, THIN_AIR)

_BISECTIONS = 100
_FLOW_TOLERANCE = 1e-9  # of the span of the table
_FEWEST_ROWS = 2


@dataclass(frozen=True, slots=True)
class FanTable:
    """A fan as its papers rate it: airflow at each static pressure.

    Attributes
    ----------
    pressure : tuple of float
        Static pressures [Pa].
    airflow : tuple of float
        Airflow at each [m3/s]; the higher the pressure, the less air.
    """

    pressure: tuple[float, ...]
    airflow: tuple[float, ...]

    def __post_init__(self) -> None:
        STATIC_PRESSURE.check(self.pressure, "pressure")
        FLOW.check(self.airflow, "airflow")
        if len(self.pressure) != len(self.airflow) or len(self.pressure) < _FEWEST_ROWS:
            raise Inconsistent("a fan table needs two rows or more, each complete", "fan")
        order = np.argsort(self.pressure)
        pressure, airflow = np.asarray(self.pressure)[order], np.asarray(self.airflow)[order]
        if np.any(np.diff(pressure) <= 0.0) or np.any(np.diff(airflow) >= 0.0):
            raise Inconsistent(
                "in a fan table each pressure stands once and airflow falls as pressure rises; "
                "leave out the rows of the stall region",
                "fan",
            )
        object.__setattr__(self, "pressure", tuple(pressure.tolist()))
        object.__setattr__(self, "airflow", tuple(airflow.tolist()))


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Where fan and bed agree, or why they do not.

    Attributes
    ----------
    found : bool
        Whether they meet inside the fan's table.
    verdict : str
        "meets", "bed-too-tight" (even the highest pressure of the table cannot push the least
        airflow in it), "beyond-table" (the fan moves more than the last row of its table) or
        "beyond-method" (more air per area than the resistance equation covers).
    airflow : float
        Total airflow of all fans [m3/s]; the nearest end of the table when not found.
    pressure : float
        Static pressure of the fan at that airflow [Pa].
    """

    found: bool
    verdict: str
    airflow: float
    pressure: float


def fan_pressure(table: FanTable, airflow: ArrayLike) -> FloatArray:
    """Static pressure of one fan at an airflow inside its table.

    Parameters
    ----------
    table : FanTable
        The fan.
    airflow : array_like
        Airflow of one fan [m3/s], between the ends of the table.

    Returns
    -------
    ndarray
        Pressure [Pa]; never outside the two rows beside it.

    Raises
    ------
    OutOfRange
        Airflow outside the table.

    References
    ----------
    .. [1] Fritsch and Carlson (1980), Monotone piecewise cubic interpolation.
    """
    ends = Range("airflow", table.airflow[-1], table.airflow[0], "m3/s", "the fan's table")
    flow = ends.check(airflow, "airflow")
    return np.asarray(fan_curve(table)(flow), dtype=np.float64)[()]


def operating_point(bed: Bed, area: float, table: FanTable, fans: int = 1) -> OperatingPoint:
    """Airflow and pressure at which fans side by side run on a bed.

    Parameters
    ----------
    bed : Bed
        The grain.
    area : float
        Area the air passes through [m2], 0.05 to 10,000.
    table : FanTable
        One fan.
    fans : int
        How many alike blow side by side, 1 to 50.

    Returns
    -------
    OperatingPoint
        With a verdict; nothing beyond the table is guessed.

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

    def gap(flow: float) -> float:
        return float(pressure_drop(bed, fans * flow / area)) - float(curve(flow))

    most_covered = airflow_limit(bed) * area / fans
    least, most = table.airflow[-1], min(table.airflow[0], most_covered)
    if least >= most_covered:
        return OperatingPoint(False, "beyond-method", fans * least, table.pressure[-1])
    if gap(least) > 0.0:
        return OperatingPoint(False, "bed-too-tight", fans * least, table.pressure[-1])
    if gap(most) < 0.0:
        verdict = "beyond-table" if most == table.airflow[0] else "beyond-method"
        return OperatingPoint(False, verdict, fans * most, float(curve(most)))
    low, high = least, most
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if gap(middle) <= 0.0 else (low, middle)
        if high - low <= _FLOW_TOLERANCE * (most - least):
            return OperatingPoint(True, "meets", fans * low, float(curve(low)))
    raise NotConverged("operating point of the fan", (low, high), _FLOW_TOLERANCE)


def fan_power(airflow: ArrayLike, pressure: ArrayLike, efficiency: ArrayLike) -> FloatArray:
    """Power a fan takes.

    Parameters
    ----------
    airflow : array_like
        Airflow [m3/s].
    pressure : array_like
        Static pressure [Pa].
    efficiency : array_like
        Air power over power taken [-], 0.05 to 0.95; of fan and motor together for electricity.

    Returns
    -------
    ndarray
        Power [W].

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    flow, push = FLOW.check(airflow, "airflow"), STATIC_PRESSURE.check(pressure, "pressure")
    return np.asarray(flow * push / EFFICIENCY.check(efficiency, "efficiency"))[()]


def fan_heat(
    pressure: ArrayLike, efficiency: ArrayLike, air_density: ArrayLike = AIR_DENSITY
) -> FloatArray:
    """Temperature rise of the air through a fan.

    Parameters
    ----------
    pressure : array_like
        Static pressure [Pa].
    efficiency : array_like
        Air power over the power that ends in the stream [-], 0.05 to 0.95: of fan and motor where
        the motor sits in the stream, of the fan alone where it sits outside.
    air_density : array_like
        Density of the air [kg/m3].

    Returns
    -------
    ndarray
        Rise [K].

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    push = STATIC_PRESSURE.check(pressure, "pressure")
    share = EFFICIENCY.check(efficiency, "efficiency")
    return np.asarray(push / share / (np.asarray(air_density) * DRY_AIR_HEAT_CAPACITY))[()]


def fan_curve(table: FanTable) -> Callable[[ArrayLike], FloatArray]:
    """Monotone curve through the rows of a table.

    Parameters
    ----------
    table : FanTable
        The fan.

    Returns
    -------
    callable
        From the airflow of one fan [m3/s], inside the table, to its static pressure [Pa].
    """
    from scipy.interpolate import PchipInterpolator  # slow to import

    through = PchipInterpolator(table.airflow[::-1], table.pressure[::-1])
    return lambda flow: np.asarray(through(np.asarray(flow, dtype=np.float64)))
