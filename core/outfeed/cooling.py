"""What hot grain loses after the dryer while it cools, and so what to aim for at the discharge.

The heat that grain gives up by cooling could evaporate moisture: at most 0.37 to 0.40 point for
each 10 F of corn. How much of it does depends on the way of cooling: after a steep of 4 to 12 hours
the moisture has moved to the surface and about 0.20 to 0.25 point leaves per 10 F [1]_ [2]_; cooled
at once in the storage bin about half as much, near 1 point in all [3]_. So the points lost are
efficiency times specific heat times cooling over the heat of evaporation, and the efficiency never
exceeds one.

.. [1] Hellevang, North Dakota State University Extension, Corn drying tips; Iowa State University
   Extension PM 2089K.
.. [2] University of Minnesota Extension, Dryeration and in-storage cooling for corn drying; Foster
   (1973), Dryeration and in-bin cooling and drying.
.. [3] Hellevang, North Dakota State University Extension, on temperature limits and in-storage
   cooling.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.errors import Inconsistent, NotConverged, OutOfRange, UnknownName
from outfeed.grains import Grain, specific_heat_of
from outfeed.isotherm_choice import Isotherm
from outfeed.limits import BROKEN, BROKEN_OR_FIRE, GRAIN_TEMPERATURE, MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import COMMON_PRACTICE, READ, Method
from outfeed.moist_air import latent_heat
from outfeed.sorption import isosteric_heat

HOT = Range(
    "temperature of hot grain",
    GRAIN_TEMPERATURE.low,
    GRAIN_TEMPERATURE.high,
    "degC",
    SENSIBLE,
    BROKEN_OR_FIRE,
    BROKEN,
)
COOLED = Range("temperature of cooled grain", -40.0, 60.0, "degC", SENSIBLE)
COOLING_MOISTURE = Range("moisture, wet basis", 0.03, 0.45, "", SENSIBLE)
EFFICIENCY = Range("cooling efficiency", 0.0, 1.0, "", "heat balance: no more than all the heat")
STEEP = Range("steep", 4.0 * 3600.0, 12.0 * 3600.0, "s", "Foster (1973); Iowa State PM 2089K")
STEEP_GIVEN = Range("steep", 0.0, 72.0 * 3600.0, "s", SENSIBLE)

TEN_F = 50.0 / 9.0
"""Ten degrees Fahrenheit [K]."""
ABOVE_AMBIENT = 30.0 * 5.0 / 9.0
"""How far above ambient a heat-and-cool dryer discharges at most [K]: common practice."""


@dataclass(frozen=True, slots=True)
class CoolingMode:
    """A way of cooling grain, with what was published about it.

    Attributes
    ----------
    id, title : str
        Stable name and words.
    efficiency : float
        Share of the heat given up that evaporates moisture [-].
    efficiency_low, efficiency_high : float
        Its published spread [-].
    points_per_ten_f : tuple of float
        Lowest and highest rule of thumb, moisture lost per 10 F of corn [-]; empty without one.
    capacity_gain : tuple of float
        Published gain of dryer capacity, lowest and highest [-]; empty without one.
    fuel_saved : tuple of float
        Published saving of fuel, lowest and highest [-]; empty without one.
    source : str
        Of these figures.
    """

    id: str
    title: str
    efficiency: float
    efficiency_low: float
    efficiency_high: float
    points_per_ten_f: tuple[float, ...]
    capacity_gain: tuple[float, ...]
    fuel_saved: tuple[float, ...]
    source: str


DRYERATION, PROMPT, IN_DRYER = "steep-then-cool", "cool-in-storage", "cool-in-dryer"

MODES = MappingProxyType(
    {
        mode.id: mode
        for mode in (
            CoolingMode(
                id=DRYERATION,
                title="Delayed cooling in a separate bin after a steep of 4 to 12 hours",
                efficiency=0.65,
                efficiency_low=0.53,
                efficiency_high=0.67,
                points_per_ten_f=(0.0020, 0.0025),
                capacity_gain=(0.50, 0.75),
                fuel_saved=(0.25, 0.275),
                source="Hellevang, North Dakota State University Extension, Corn drying tips; Iowa "
                "State University Extension PM 2089K; MidWest Plan Service (capacity 60 %, fuel "
                "20 to 14.5 gal/100 bu)",
            ),
            CoolingMode(
                id=PROMPT,
                title="Cooling at once in the storage bin, without a steep",
                efficiency=0.33,
                efficiency_low=0.27,
                efficiency_high=0.40,
                points_per_ten_f=(0.0012, 0.0012),
                capacity_gain=(0.20, 0.40),
                fuel_saved=(0.0, 0.30),
                source="Hellevang, North Dakota State University Extension, on in-storage cooling "
                "(about 1 point in all); Ontario Ministry of Agriculture (energy saved up to 30 %)",
            ),
            CoolingMode(
                id=IN_DRYER,
                title="Cooling inside the dryer; what is left cools in the bin",
                efficiency=0.33,
                efficiency_low=0.0,
                efficiency_high=0.40,
                points_per_ten_f=(),
                capacity_gain=(),
                fuel_saved=(),
                source="no published efficiency; that of prompt cooling in storage is borrowed",
            ),
        )
    }
)
"""Ways of cooling by id. The spreads of efficiency turn the published points per 10 F into shares
of the ceiling of corn near 16 %; that of prompt cooling is 0.10 to 0.15 point, recalled."""

COOLED_AS_PUBLISHED = Range(
    "temperature of cooled grain", 4.4, 60.0, "degC", "Iowa State University Extension PM 2089K"
)
CREDIT = Method(
    id="cooling.credit.heat-balance",
    title="Moisture that leaves with the heat of cooling grain",
    source="Heat balance with the efficiencies of Hellevang, North Dakota State University "
    "Extension, and Iowa State University Extension PM 2089K",
    known=READ,
    valid=(COOLED_AS_PUBLISHED,),
    note="Published for corn cooled to 40 degF (4 degC) or warmer; for other grains the same "
    "efficiencies are applied to their own heat capacity. The ceiling is all the heat evaporating "
    "moisture.",
)
IN_DRYER_GUESS = Method(
    id="cooling.credit.in-dryer",
    title="Efficiency of cooling inside a dryer",
    source="None; borrowed from prompt cooling in storage",
    known=COMMON_PRACTICE,
)
METHODS = (CREDIT, IN_DRYER_GUESS)

_TOLERANCE = 1e-11  # moisture, last step of the inverse
_ITERATIONS = 60


@dataclass(frozen=True, slots=True, eq=False)
class CoolingCredit:
    """Moisture before and after cooling.

    Attributes
    ----------
    hot_moisture, final_moisture : ndarray
        Moisture at the discharge and after cooling, wet basis [-].
    final_low, final_high : ndarray
        Final moisture by the published spread of efficiencies [-].
    final_floor : ndarray
        Final moisture if all the heat evaporated moisture [-], dry at least: the ceiling of the
        credit.
    points : ndarray
        Moisture lost, wet basis [-]: hot less final.
    water : ndarray
        Water lost over the weight of the hot grain [-].
    """

    hot_moisture: FloatArray
    final_moisture: FloatArray
    final_low: FloatArray
    final_high: FloatArray
    final_floor: FloatArray
    points: FloatArray
    water: FloatArray


def cooling_mode(mode: str) -> CoolingMode:
    """A way of cooling by its id.

    Parameters
    ----------
    mode : str
        A key of `MODES`.

    Returns
    -------
    CoolingMode
        What was published about it.

    Raises
    ------
    UnknownName
        No such way.
    """
    try:
        return MODES[mode]
    except KeyError:
        raise UnknownName("way of cooling", mode, tuple(MODES), name="mode") from None


def heat_to_evaporate(
    grain: Grain, temperature: ArrayLike, moisture_wb: ArrayLike, isotherm: Isotherm | None = None
) -> FloatArray:
    """Heat that takes water out of a grain; that of free water where no isotherm was published.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    temperature : array_like
        Of the grain [degC].
    moisture_wb : array_like
        Moisture, wet basis [-], 0.03 to 0.45.
    isotherm : IsothermSet or MeanIsotherm, optional
        The grain's default when left out.

    Returns
    -------
    ndarray
        Heat [J/kg water], broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    wet = COOLING_MOISTURE.check(moisture_wb, "moisture_wb")
    if isotherm is None and not grain.isotherms:
        return np.asarray(latent_heat(np.broadcast_arrays(temperature, wet)[0]))[()]
    return isosteric_heat(isotherm or grain.isotherm(), temperature, wet / (1.0 - wet))


def cooling_credit(
    grain: Grain,
    mode: str,
    hot_moisture_wb: ArrayLike,
    hot_temperature: ArrayLike,
    final_temperature: ArrayLike,
    *,
    efficiency: ArrayLike | None = None,
    isotherm: Isotherm | None = None,
) -> CoolingCredit:
    """Moisture that grain loses while it cools after the dryer.

    Specific heat is taken at the hot moisture, the heat of evaporation there and half way between
    the temperatures.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    mode : str
        A key of `MODES`.
    hot_moisture_wb : array_like
        Moisture at the discharge, wet basis [-], 0.03 to 0.45.
    hot_temperature : array_like
        Grain temperature there [degC], 0 to 120.
    final_temperature : array_like
        Grain temperature after cooling [degC], -40 to 60, not above the hot one.
    efficiency : array_like, optional
        Measured share of the heat that evaporates moisture [-], 0 to 1; the mode's when left out.
    isotherm : IsothermSet or MeanIsotherm, optional
        For the heat of evaporation; the grain's default when left out.

    Returns
    -------
    CoolingCredit
        Arrays of the broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range, or grain that holds less water than such cooling takes.
    Inconsistent
        Grain that would get warmer.
    """
    way = cooling_mode(mode)
    moisture, hot, cold = _checked(hot_moisture_wb, hot_temperature, final_temperature)
    ceiling = _ceiling(grain, moisture, hot, cold, isotherm)
    middle, low, high = _efficiencies(way, efficiency)
    water = middle * ceiling
    final, driest = _after(moisture, water), _after(moisture, high * ceiling)
    if np.any(driest < 0.0):
        _refuse_emptied(driest, moisture, high * ceiling)
    return CoolingCredit(
        hot_moisture=moisture[()],
        final_moisture=final[()],
        final_low=driest[()],
        final_high=_after(moisture, low * ceiling)[()],
        final_floor=np.maximum(_after(moisture, ceiling), 0.0)[()],
        points=(moisture - final)[()],
        water=water[()],
    )


def discharge_moisture_for(
    grain: Grain,
    mode: str,
    final_moisture_wb: ArrayLike,
    hot_temperature: ArrayLike,
    final_temperature: ArrayLike,
    *,
    efficiency: ArrayLike | None = None,
    isotherm: Isotherm | None = None,
) -> CoolingCredit:
    """Moisture to aim for at the discharge for a wanted final one: `cooling_credit` read backwards.

    Parameters
    ----------
    grain, mode, hot_temperature, final_temperature, efficiency, isotherm
        As for `cooling_credit`.
    final_moisture_wb : array_like
        Moisture wanted after cooling, wet basis [-], 0.03 to 0.40.

    Returns
    -------
    CoolingCredit
        Its `hot_moisture` is the aim.

    Raises
    ------
    OutOfRange
        A value outside its range.
    Inconsistent
        Grain that would get warmer.
    NotConverged
        The iteration reached its bound.
    """
    wanted, hot, cold = _checked(final_moisture_wb, hot_temperature, final_temperature)
    share = _efficiencies(cooling_mode(mode), efficiency)[0]
    aim = wanted
    for _ in range(_ITERATIONS):
        water = share * _ceiling(grain, aim, hot, cold, isotherm)
        step = wanted * (1.0 - water) + water - aim
        aim = aim + step
        if not np.any(np.abs(step) > _TOLERANCE):
            return cooling_credit(
                grain, mode, aim, hot, cold, efficiency=efficiency, isotherm=isotherm
            )
    raise NotConverged(
        "moisture at the discharge", (float(np.min(aim)), float(np.max(aim))), _TOLERANCE
    )


def points_by_rule(
    mode: str, hot_temperature: ArrayLike, final_temperature: ArrayLike
) -> tuple[FloatArray, FloatArray] | None:
    """Moisture lost by the published rule of thumb for corn, lowest and highest.

    Parameters
    ----------
    mode : str
        A key of `MODES`.
    hot_temperature, final_temperature : array_like
        Grain temperatures before and after [degC].

    Returns
    -------
    tuple of ndarray, or None
        Lowest and highest moisture lost, wet basis [-]; None where no rule was published.
    """
    rule = cooling_mode(mode).points_per_ten_f
    if not rule:
        return None
    tens = np.subtract(hot_temperature, final_temperature) / TEN_F
    return np.asarray(rule[0] * tens)[()], np.asarray(rule[-1] * tens)[()]


def water_share_saved(
    wet_moisture_wb: ArrayLike, hot_moisture_wb: ArrayLike, final_moisture_wb: ArrayLike
) -> FloatArray:
    """Share of the water that the dryer need not evaporate because cooling does.

    Parameters
    ----------
    wet_moisture_wb, hot_moisture_wb, final_moisture_wb : array_like
        Moisture into the dryer, at its discharge and after cooling, wet basis [-].

    Returns
    -------
    ndarray
        Share [-], broadcast shape.

    Raises
    ------
    OutOfRange
        A moisture outside its range.
    Inconsistent
        Grain that does not get drier on the way.
    """
    wet, hot, final = as_floats(
        MOISTURE_WB.check(wet_moisture_wb, "wet_moisture_wb"),
        MOISTURE_WB.check(hot_moisture_wb, "hot_moisture_wb"),
        MOISTURE_WB.check(final_moisture_wb, "final_moisture_wb"),
    )
    if np.any(wet <= final) or np.any(hot > wet) or np.any(final > hot):
        raise Inconsistent(
            "moisture must fall from the wet grain to the discharge and on to the cooled grain",
            "wet_moisture_wb",
            "hot_moisture_wb",
            "final_moisture_wb",
        )
    ratio = [part / (1.0 - part) for part in (wet, hot, final)]
    return np.asarray((ratio[1] - ratio[2]) / (ratio[0] - ratio[2]))[()]


def _checked(
    moisture: ArrayLike, hot: ArrayLike, cold: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    wet, warm, cool = as_floats(
        COOLING_MOISTURE.check(moisture, "moisture"),
        HOT.check(hot, "hot_temperature"),
        COOLED.check(cold, "final_temperature"),
    )
    if np.any(cool > warm):
        raise Inconsistent(
            "the grain would be warmer after cooling than before",
            "final_temperature",
            "hot_temperature",
        )
    return wet, warm, cool


def _ceiling(
    grain: Grain, moisture: FloatArray, hot: FloatArray, cold: FloatArray, isotherm: Isotherm | None
) -> FloatArray:
    """Water that all the heat could evaporate, over the weight of the hot grain."""
    heat = specific_heat_of(grain)
    given_up = (heat.a + heat.b * moisture) * (hot - cold)
    return given_up / heat_to_evaporate(grain, 0.5 * (hot + cold), moisture, isotherm)


def _efficiencies(
    way: CoolingMode, measured: ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    if measured is None:
        spread = (way.efficiency, way.efficiency_low, way.efficiency_high)
        middle, low, high = (np.asarray(share) for share in spread)
        return middle, low, high
    own = EFFICIENCY.check(measured, "efficiency")
    return own, own, own


def _after(moisture: FloatArray, water: FloatArray) -> FloatArray:
    """Wet-basis moisture once water over the hot weight has left."""
    return np.asarray((moisture - water) / (1.0 - water))


def _refuse_emptied(driest: FloatArray, moisture: FloatArray, water: FloatArray) -> None:
    """Refuse the first grain of which such cooling would take more water than it holds."""
    first = int(np.argmax(np.ravel(driest) < 0.0))
    hot, most = (float(np.broadcast_to(x, driest.shape).flat[first]) for x in (moisture, water))
    raise OutOfRange(
        COOLING_MOISTURE.quantity,
        hot,
        (most, COOLING_MOISTURE.high),
        name="hot_moisture_wb",
        index=first if driest.ndim else None,
        method=CREDIT.id,
        beyond="that cooling would take more water than the grain holds",
    )
