"""The quick balance: how fast a dryer may discharge, from water and energy alone.

Zone by zone, the air gives up heat from its plenum temperature to its exhaust, the grain takes
what warms it, and the rest evaporates water. What a balance cannot know is how near the exhaust
comes to equilibrium with the grain; that is one number per kind of dryer, the *air
effectiveness*: the share of the way from the plenum temperature to the temperature at which the
air, saturated adiabatically, would be in equilibrium with the grain of the zone. It is set so that
each kind of dryer meets its published specific energy under the conditions of `REFERENCE`.

Grain is taken to leave a heated zone at the zone's exhaust temperature. There are no walls and no
losses of their own: they are inside the effectiveness.

.. [1] Brooker, Bakker-Arkema and Hall, *Drying and Storage of Grains and Oilseeds*, 1992: heat and
   mass balance of a continuous-flow dryer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.dryer.assume import assumed_airflow
from outfeed.dryer.closures import column_isotherm, grain_heat
from outfeed.dryer.description import Conditions, Dryer, DryerKind, Feed, Zone
from outfeed.dryer.exhaust_air import FIRST_GUESS, plenum_air
from outfeed.dryer.march import March, Step
from outfeed.errors import Inconsistent
from outfeed.fuel import EFFICIENCY, load_fuel
from outfeed.limits import DRY_BULB, MOISTURE_WB, SENSIBLE, TRANSIT, Range
from outfeed.methods import COMMON_PRACTICE, DERIVED, Method
from outfeed.moist_air import enthalpy, humidity_ratio, relative_humidity

REFERENCE = (
    "corn from 25 to 15 %, in at 10 degC; ambient 10 degC and 70 %; one plenum at 93.3 degC "
    "(149 degC concurrent-flow, 71 degC counter-flow), direct-fired by propane; cooled in the dryer"
)
"""Conditions at which the effectiveness of each kind meets its published specific energy."""

EFFECTIVENESS: dict[DryerKind, tuple[float, float, float]] = {
    "mixed-flow": (0.912, 0.840, 1.0),
    "cross-flow": (0.760, 0.645, 0.960),
    "concurrent-flow": (0.97, 0.827, 1.0),
    "counter-flow": (0.97, 0.929, 1.0),
}
"""Air effectiveness: value, low and high, from `assume.SPECIFIC_ENERGY` at `REFERENCE` and the
airflow usual for the kind (`assume.assumed_airflow`)."""

AIR_EFFECTIVENESS = Range("air effectiveness", 0.05, 1.0, "", "1 is equilibrium with the grain")

DISCHARGED = Range(
    "discharge moisture", 0.08, 0.20, "", "grain dried to storage; chosen, no source"
)
QUICK_BALANCE = Method(
    id="dryer.quick-balance",
    title="Discharge rate from water and energy balances of each zone",
    source="Heat and mass balance as in Brooker, Bakker-Arkema and Hall, Drying and Storage of "
    "Grains and Oilseeds, 1992; exhaust condition set by published specific energies",
    known=DERIVED,
    valid=(DISCHARGED, TRANSIT),
    note="Published specific energies of one kind of dryer spread by about 12 % (standard "
    "deviation); anchored to one known run of the same dryer about 7 % remain. They are of grain "
    "dried to storage: outside a discharge moisture of 8 to 20 % or a transit of 10 minutes to 24 "
    "hours nothing was published to hold it against.",
)
EXHAUST = Method(
    id="dryer.exhaust-effectiveness",
    title="Exhaust temperature as a share of the way to equilibrium with the grain",
    source="Set to published specific energies: Iowa State University IC-492(20); Sanford, "
    "University of Wisconsin Extension; Midwest Plan Service MWPS-13",
    known=DERIVED,
    note="Reference: " + REFERENCE + ".",
)
GRAIN_AT_EXHAUST = Method(
    id="dryer.grain-at-exhaust-temperature",
    title="Grain leaves a heated zone at the temperature of its exhaust",
    source=COMMON_PRACTICE,
    known=COMMON_PRACTICE,
)
METHODS = (QUICK_BALANCE, EXHAUST, GRAIN_AT_EXHAUST)


@dataclass(frozen=True, slots=True, eq=False)
class Exhaust:
    """What closes the balance; each field a number or an array over scenarios.

    Attributes
    ----------
    effectiveness : array_like
        Air effectiveness of the heated zones at the airflow usual for the kind [-], 0.05 to 1.
    discharge_above_ambient : array_like
        Grain leaving the cooling section less the outside air [K].
    cooling_evaporation_share : array_like
        Share of the heat given up by cooling grain that evaporates water [-].
    burner_efficiency : array_like
        Share of the higher heating value that an indirect heater gives to the air [-].
    airflow_factor : array_like
        Multiplier on every airflow, where the described one may be off [-].
    scale : array_like
        Multiplier on air and grain alike, which anchors the balance to a known run [-].
    grain_heat : array_like
        Multiplier on the specific heat of the grain, where it may be off [-].
    temperatures : sequence of float or None
        Measured exhaust temperature of each zone [degC], None where it was not measured.
    """

    effectiveness: ArrayLike
    discharge_above_ambient: ArrayLike = 8.0
    cooling_evaporation_share: ArrayLike = 0.45
    burner_efficiency: ArrayLike = 1.0
    airflow_factor: ArrayLike = 1.0
    scale: ArrayLike = 1.0
    grain_heat: ArrayLike = 1.0
    temperatures: Sequence[float | None] = ()

    def __post_init__(self) -> None:
        AIR_EFFECTIVENESS.check(self.effectiveness, "effectiveness")
        EFFICIENCY.check(self.burner_efficiency, "burner_efficiency")
        Range("cooling evaporation share", 0.0, 1.0, "", SENSIBLE).check(
            self.cooling_evaporation_share, "cooling_evaporation_share"
        )


@dataclass(frozen=True, slots=True, eq=False)
class ZoneBalance:
    """One zone of the balance, arrays over scenarios.

    Attributes
    ----------
    name, role : str
        As described.
    airflow : ndarray
        Dry air [kg/s].
    air_temperature, air_humidity : ndarray
        Air entering the grain [degC], [kg/kg dry air].
    exhaust_temperature, exhaust_humidity, exhaust_relative_humidity : ndarray
        Air leaving it [degC], [kg/kg dry air], [-].
    moisture_db, grain_temperature : ndarray
        Grain leaving the zone [kg/kg dry matter], [degC].
    water_removed : ndarray
        Water from the grain [kg/s].
    fuel_heat : ndarray
        Fuel burned, higher heating value [W].
    saturated : ndarray of bool
        Whether the exhaust was held back from saturation.
    short_of_air : ndarray of bool
        Whether a cooling zone has too little air to cool the grain as far as assumed.
    """

    name: str
    role: str
    airflow: FloatArray
    air_temperature: FloatArray
    air_humidity: FloatArray
    exhaust_temperature: FloatArray
    exhaust_humidity: FloatArray
    exhaust_relative_humidity: FloatArray
    moisture_db: FloatArray
    grain_temperature: FloatArray
    water_removed: FloatArray
    fuel_heat: FloatArray
    saturated: BoolArray
    short_of_air: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """The discharge that meets a target, arrays over scenarios.

    Attributes
    ----------
    dry_matter_rate : ndarray
        Dry matter discharged [kg/s]; infinite where the target is met without any heat.
    water_removed : ndarray
        Water from the grain [kg/s].
    fuel_heat : ndarray
        Fuel burned, higher heating value [W].
    specific_energy : ndarray
        Fuel per water removed [J/kg].
    inlet_moisture_db, target_moisture_db : ndarray
        Grain moisture before and after [kg/kg dry matter].
    zones : tuple of ZoneBalance
        From the top to the discharge.
    water_residual, energy_residual : ndarray
        What is missing from water and energy, as shares of water removed and heat given up [-].
    """

    dry_matter_rate: FloatArray
    water_removed: FloatArray
    fuel_heat: FloatArray
    specific_energy: FloatArray
    inlet_moisture_db: FloatArray
    target_moisture_db: FloatArray
    zones: tuple[ZoneBalance, ...]
    water_residual: FloatArray
    energy_residual: FloatArray

    @property
    def met_without_heat(self) -> BoolArray:
        """Where grain warmth and cooling air alone already reach the target."""
        return np.asarray(np.isinf(self.dry_matter_rate))


def balance(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: ArrayLike,
    exhaust: Exhaust | None = None,
    isotherm: str | None = None,
) -> Balance:
    """Discharge rate at which a dryer takes grain to a target moisture.

    Parameters
    ----------
    dryer : Dryer
        The machine.
    conditions : Conditions
        The weather; numbers or arrays over scenarios.
    feed : Feed
        The grain that enters; numbers or arrays over scenarios.
    target_moisture_wb : array_like
        Moisture wanted at the discharge, wet basis [-], below that of the feed.
    exhaust : Exhaust, optional
        What closes the balance; the effectiveness of the dryer's kind when left out.
    isotherm : str, optional
        Method id of the isotherm; the column's own choice when left out.

    Returns
    -------
    Balance
        Arrays of the broadcast shape of all inputs, one dimension at least.

    Raises
    ------
    Inconsistent
        A target that is not below the inlet moisture, or a plenum not above the outside air.
    OutOfRange
        A value outside its range.
    NotConverged
        The discharge was not met to 1e-12 of moisture.
    """
    closing = Exhaust(EFFECTIVENESS[dryer.kind][0]) if exhaust is None else exhaust
    fuel, march = _set_out(dryer, conditions, feed, target_moisture_wb, closing, isotherm)
    slowness, steps = march.solve()
    return _result(dryer, march, fuel, slowness, steps)


def effectiveness_at(
    effectiveness: ArrayLike, airflow_per_volume: ArrayLike, usual: float
) -> FloatArray:
    """Air effectiveness at an airflow, from that at the usual one.

    Kernels give up water no faster for being blown harder, so twice the air through a bed has half
    as long a way to equilibrium: the shortfall from 1 is raised to the power of usual over given
    airflow, as in an exchanger whose transfer is fixed.

    Parameters
    ----------
    effectiveness : array_like
        At the usual airflow [-].
    airflow_per_volume : array_like
        Dry air per bed volume [kg/(s m3)].
    usual : float
        The same, usual for the kind of dryer.

    Returns
    -------
    ndarray
        Air effectiveness [-], broadcast shape.

    References
    ----------
    .. [1] University of Wisconsin Extension: cross-flow efficiency is highest at low airflow; the
       form is that of a kinetics-limited exchanger.
    """
    short = 1.0 - np.asarray(effectiveness, dtype=np.float64)
    return np.asarray(1.0 - short ** (usual / np.asarray(airflow_per_volume)))[()]


def _set_out(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: ArrayLike,
    closing: Exhaust,
    isotherm: str | None,
) -> tuple[FloatArray, March]:
    """Fuel heat of each zone [W] and the march, all inputs in one shape."""
    target_wb = MOISTURE_WB.check(target_moisture_wb, "target_moisture_wb")
    _check_target(feed, target_wb)
    (ambient, damp, pressure, inlet, warm, target, effect, above, share, burner, factor, scale) = (
        np.array(value)
        for value in np.broadcast_arrays(
            *np.atleast_1d(
                conditions.ambient_temperature,
                conditions.ambient_relative_humidity,
                conditions.pressure,
                feed.moisture_db,
                feed.temperature,
                target_wb / (1.0 - target_wb),
                closing.effectiveness,
                closing.discharge_above_ambient,
                closing.cooling_evaporation_share,
                closing.burner_efficiency,
                closing.airflow_factor,
                closing.scale,
            )
        )
    )
    humidity = np.asarray(humidity_ratio(ambient, damp, pressure))
    airflow = np.outer(dryer.airflows, factor * scale)
    entering = [_entering(zone, ambient, humidity, burner) for zone in dryer.zones]
    temperature, water, fuel = (np.array(part) for part in zip(*entering, strict=True))
    usual = assumed_airflow(dryer.kind).value
    per_volume = np.outer(dryer.airflow_per_volumes, factor)
    march = March(
        heat=grain_heat(feed.grain).scaled(closing.grain_heat),
        isotherm=column_isotherm(feed.grain, isotherm),
        heated=tuple(zone.heated for zone in dryer.zones),
        volumes=dryer.volumes,
        inlet=inlet,
        target=target,
        inlet_temperature=warm,
        discharge_temperature=ambient + above,
        pressure=pressure,
        airflow=airflow,
        air_temperature=temperature,
        air_humidity=water,
        middle=_middle_moistures(airflow * (temperature - ambient), inlet, target),
        effectiveness=np.asarray(effectiveness_at(effect, per_volume, usual)),
        measured=_measured(closing.temperatures, temperature),
        evaporation_share=np.tile(share, (len(dryer.zones), 1)),
        ambient=ambient,
        balanced=np.full_like(airflow, FIRST_GUESS),
        saturated=np.zeros(airflow.shape, dtype=np.bool_),
    )
    return fuel * airflow, march


def _result(
    dryer: Dryer, march: March, fuel: FloatArray, slowness: FloatArray, steps: list[Step]
) -> Balance:
    met = slowness <= 0.0
    rate = 1.0 / np.where(met, 1.0, slowness)
    flow = np.where(met, 0.0, rate)
    zones = tuple(
        _zone_balance(zone, index, march, steps[index], flow, fuel[index])
        for index, zone in enumerate(dryer.zones)
    )
    water = np.sum([zone.water_removed for zone in zones], axis=0)
    burned = np.sum(fuel, axis=0)
    grain = flow * (march.inlet - march.target)
    return Balance(
        dry_matter_rate=np.where(met, np.inf, rate),
        water_removed=water,
        fuel_heat=burned,
        specific_energy=np.where(met, np.inf, burned / np.where(met, 1.0, water)),
        inlet_moisture_db=march.inlet,
        target_moisture_db=march.target,
        zones=zones,
        water_residual=np.where(met, 0.0, (water - grain) / np.where(met, 1.0, grain)),
        energy_residual=np.where(met, 0.0, _energy_residual(march, zones, flow)),
    )


def _zone_balance(
    zone: Zone, index: int, march: March, step: Step, flow: FloatArray, fuel: FloatArray
) -> ZoneBalance:
    humidity = np.maximum(step.air_humidity, 0.0)
    return ZoneBalance(
        name=zone.name,
        role=zone.role,
        airflow=march.airflow[index],
        air_temperature=march.air_temperature[index],
        air_humidity=march.air_humidity[index],
        exhaust_temperature=step.air_temperature,
        exhaust_humidity=step.air_humidity,
        exhaust_relative_humidity=np.asarray(
            relative_humidity(step.air_temperature, humidity, march.pressure)
        ),
        moisture_db=step.moisture,
        grain_temperature=step.grain_temperature,
        water_removed=step.lost * flow,
        fuel_heat=fuel,
        saturated=march.saturated[index],
        short_of_air=step.short_of_air,
    )


def _energy_residual(march: March, zones: tuple[ZoneBalance, ...], flow: FloatArray) -> FloatArray:
    """Enthalpy given by the air less that taken by the grain, as a share of the air's."""
    given, scale = np.zeros_like(flow), np.zeros_like(flow)
    for zone in zones:
        before = np.asarray(enthalpy(zone.air_temperature, zone.air_humidity))
        after = np.asarray(enthalpy(zone.exhaust_temperature, zone.exhaust_humidity))
        given = given + zone.airflow * (before - after)
        scale = scale + zone.airflow * np.abs(before)
    leaving = march.grain_enthalpy(zones[-1].grain_temperature, zones[-1].moisture_db)
    entering = march.grain_enthalpy(march.inlet_temperature, march.inlet)
    return np.asarray((given - flow * (leaving - entering)) / scale)


def _check_target(feed: Feed, target_wb: FloatArray) -> None:
    if np.any(target_wb >= np.asarray(feed.moisture_wb)):
        raise Inconsistent(
            f"the target of {np.max(target_wb):.1%} is not below the incoming moisture of "
            f"{np.min(feed.moisture_wb):.1%}: there is nothing to dry",
            "target_moisture_wb",
            "moisture_wb",
        )


def _entering(
    zone: Zone, ambient: FloatArray, humidity: FloatArray, efficiency: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Temperature, humidity and fuel heat per dry air of the air entering a zone."""
    if not zone.heated or zone.plenum_temperature is None:
        return ambient, humidity, np.zeros_like(ambient)
    plenum = np.full_like(ambient, zone.plenum_temperature)
    if np.any(plenum <= ambient):
        raise Inconsistent(
            f"a plenum at {{}} is not above the outside air at {{}}, in zone {zone.name!r}",
            "plenum_temperature",
            "ambient_temperature",
            values=((zone.plenum_temperature, "degC"), (float(np.max(ambient)), "degC")),
        )
    direct = zone.burner == "direct-fired"
    water = load_fuel(zone.fuel).combustion_water if direct and zone.fuel is not None else 0.0
    heat, damp = plenum_air(plenum, ambient, humidity, water)
    return plenum, damp, heat if direct else heat / efficiency


def _middle_moistures(heat: FloatArray, inlet: FloatArray, target: FloatArray) -> FloatArray:
    """Grain moisture in the middle of each zone, if water left in proportion to heat."""
    after = np.cumsum(heat, axis=0) / np.sum(heat, axis=0)
    middle = after - 0.5 * heat / np.sum(heat, axis=0)
    return np.asarray(inlet - (inlet - target) * np.minimum(middle, 1.0))


def _measured(temperatures: Sequence[float | None], entering: FloatArray) -> FloatArray:
    """Measured exhaust temperatures, NaN where there are none."""
    result = np.full_like(entering, np.nan)
    for index, value in enumerate(temperatures):
        if value is None:
            continue
        DRY_BULB.check(value, "exhaust_temperatures")
        if np.any(value >= entering[index]):
            raise Inconsistent(
                "an exhaust of {} is not below the air that enters the zone",
                "exhaust_temperatures",
                "plenum_temperature",
                values=((value, "degC"),),
            )
        result[index] = value
    return result
