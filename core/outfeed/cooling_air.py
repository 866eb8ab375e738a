"""What air does to cooling grain: how cold it gets, how long the fan runs, how much air it takes.

Air cannot cool grain below its own wet bulb. A cooling front passes a bin in about 15 hours at one
cubic foot per minute per bushel [1]_, sooner for light grains [2]_; a bin that is filled with hot
grain needs 12 cfm for each bushel an hour [3]_.

.. [1] Hellevang, North Dakota State University Extension, Cool stored wheat and barley (2009).
.. [2] Hellevang, Keep it cool, in a sunflower growers' magazine (2003).
.. [3] Hellevang, North Dakota State University Extension, on in-storage cooling.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, as_floats
from outfeed.cooling import COOLED
from outfeed.errors import NotPublished
from outfeed.fuel import CUBIC_FOOT
from outfeed.grains import BUSHEL_VOLUME, Grain, specific_heat_of
from outfeed.limits import AMBIENT, SENSIBLE, Range
from outfeed.methods import DERIVED, READ, Method
from outfeed.moist_air import STANDARD_PRESSURE, humidity_ratio, wet_bulb

AIRFLOW_PER_VOLUME = Range("airflow per volume of grain", 1e-4, 5.0, "m3/(s m3)", SENSIBLE)
FILL_RATE = Range("filling rate", 0.0, 1_000.0, "kg/s", SENSIBLE)

CFM_PER_BUSHEL = CUBIC_FOOT / 60.0 / BUSHEL_VOLUME
"""One cubic foot per minute per bushel, as airflow per volume of grain [m3/(s m3)]."""

REACHED = Method(
    id="cooling.reached-temperature",
    title="Lowest temperature that air can cool grain to",
    source="Thermodynamics of moist air: wet bulb of the air",
    known=DERIVED,
)
FRONT = Method(
    id="cooling.front.ndsu",
    title="Fan time for a cooling front to pass a bin",
    source="Hellevang, North Dakota State University Extension (2009): hours = 15/(cfm/bu); for "
    "light grains scaled by bushel weight over 60 lb (2003)",
    known=READ,
    note="One published page prints 150 for 15; its own example takes 15.",
)
FILL_AIR = Method(
    id="cooling.fill-airflow.ndsu",
    title="Airflow that cools grain as fast as the dryer fills the bin",
    source="Hellevang, North Dakota State University Extension: 12 cfm per bu/h of filling",
    known=READ,
)
METHODS = (REACHED, FRONT, FILL_AIR)

_HOURS_TIMES_CFM = 15.0  # h cfm/bu
_RULE_BUSHEL = 60.0 * 0.45359237  # kg; the bushel the rule is made for, Hellevang (2003)
# Grains for which the sources state the rule as it is, whatever their bushel weighs.
_RULE_GRAINS = frozenset(
    {
        "corn-yellow-dent",
        "popcorn",
        "wheat-hard-red-winter",
        "wheat-hard-red-spring",
        "wheat-soft",
        "wheat-durum",
        "barley",
        "soybean",
    }
)
_FILL_CFM = 12.0
_CORN_MOISTURE = 0.155


@dataclass(frozen=True, slots=True, eq=False)
class Reached:
    """Temperature that cooling air brings grain to.

    Attributes
    ----------
    temperature : ndarray
        Of the grain [degC].
    lowest : ndarray
        Wet bulb of the air, below which it cannot cool [degC].
    limited : ndarray of bool
        Whether a wanted temperature was below that.
    """

    temperature: FloatArray
    lowest: FloatArray
    limited: BoolArray


def reached_temperature(
    ambient: ArrayLike,
    relative_humidity: ArrayLike,
    wanted: ArrayLike | None = None,
    pressure: ArrayLike = STANDARD_PRESSURE,
) -> Reached:
    """Temperature grain reaches in air: the air's own, or the wanted one down to the wet bulb.

    Parameters
    ----------
    ambient : array_like
        Temperature of the cooling air [degC], -40 to 55.
    relative_humidity : array_like
        Its relative humidity [-].
    wanted : array_like, optional
        Grain temperature wanted [degC]; that of the air when left out.
    pressure : array_like
        Barometric pressure [Pa].

    Returns
    -------
    Reached
        Arrays of the broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    air = AMBIENT.check(ambient, "ambient")
    content = humidity_ratio(air, relative_humidity, pressure)
    lowest = np.minimum(wet_bulb(air, content, pressure), air)
    aim, floor = as_floats(air if wanted is None else COOLED.check(wanted, "wanted"), lowest)
    return Reached(np.maximum(aim, floor)[()], floor[()], (aim < floor)[()])


def cooling_time(grain: Grain, airflow_per_volume: ArrayLike) -> FloatArray:
    """Fan time for a cooling front to pass through a bin, by the published rule.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    airflow_per_volume : array_like
        Airflow per volume of grain [m3/(s m3)], 0.0001 to 5; 0.0134 is 1 cfm/bu.

    Returns
    -------
    ndarray
        Time [s]: 15 h at 1 cfm/bu, less for light grains.

    Raises
    ------
    OutOfRange
        Airflow outside its range.
    NotPublished
        A grain without a bushel weight.
    """
    flow = AIRFLOW_PER_VOLUME.check(airflow_per_volume, "airflow_per_volume")
    constant = _HOURS_TIMES_CFM
    if grain.id not in _RULE_GRAINS:
        if grain.bushel_weight is None:
            raise NotPublished("bushel weight", grain.id)
        constant *= min(grain.bushel_weight.value / _RULE_BUSHEL, 1.0)
    return np.asarray(constant * 3600.0 * CFM_PER_BUSHEL / flow)[()]


def heat_ratio(grain: Grain, corn: Grain) -> float | None:
    """Heat a bushel of grain holds over that of a bushel of corn, both at market moisture.

    Parameters
    ----------
    grain, corn : Grain
        From the catalogue.

    Returns
    -------
    float or None
        Ratio [-]; None where weight, specific heat or market moisture was not published.
    """
    known = grain.bushel_weight and grain.specific_heat and grain.market_moisture
    if not known or grain.bushel_weight is None or corn.bushel_weight is None:
        return None
    own = specific_heat_of(grain).at(grain.market_moisture[0].value) * grain.bushel_weight.value
    return own / (specific_heat_of(corn).at(_CORN_MOISTURE) * corn.bushel_weight.value)


def airflow_for_fill(fill_rate: ArrayLike, kg_per_bushel: float) -> FloatArray:
    """Airflow that cools grain in the bin as fast as the dryer fills it.

    Parameters
    ----------
    fill_rate : array_like
        Grain into the bin [kg/s].
    kg_per_bushel : float
        Weight of a bushel [kg].

    Returns
    -------
    ndarray
        Airflow [m3/s]: 12 cfm for each bushel an hour.

    Raises
    ------
    OutOfRange
        A rate outside its range.
    """
    rate = FILL_RATE.check(fill_rate, "fill_rate")
    bushels_an_hour = rate / kg_per_bushel * 3600.0
    return np.asarray(_FILL_CFM * bushels_an_hour * CUBIC_FOOT / 60.0)[()]
