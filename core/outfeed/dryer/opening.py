"""The opening rate: where to set the discharge before anything has been measured.

The quick balance is evaluated at the values given, and again at both ends of everything that was
assumed; what each end moves is combined as the root of the sum of squares into a 90 % band. The
band never falls below what such a balance is good for: 12 % (standard deviation) of the rate, or 7
% when it is anchored to one known run of the same dryer. An anchor scales all airflows alike, so
that water and energy still balance, and whatever the assumptions do to both runs cancels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.dryer import assume
from outfeed.dryer.assume import Assumption
from outfeed.dryer.balance import (
    EFFECTIVENESS,
    EXHAUST,
    GRAIN_AT_EXHAUST,
    QUICK_BALANCE,
    Balance,
    Exhaust,
    ZoneBalance,
    balance,
)
from outfeed.dryer.closures import CORN_IDS, column_isotherm
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.estimate import NORMAL_90, Estimate
from outfeed.dryer.reach import Reach, reach_of
from outfeed.errors import Inconsistent
from outfeed.grains import load_grain
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB, RELATIVE_HUMIDITY, SENSIBLE, Range
from outfeed.methods import Method, MethodUse, use
from outfeed.sorption import isotherm_method

DRY_MATTER_RATE = Range("dry matter discharged", 1e-3, 500.0, "kg/s", SENSIBLE)
HOLD_UP = Range("grain held by a zone", 5.0, 2e6, "kg", SENSIBLE)
FAN_POWER = Range("electric power of fans and drives", 0.0, 5e6, "W", SENSIBLE)

BALANCE_SPREAD = 0.12
"""Standard deviation of the rate from one balance: published specific energies of cross-flow
dryers, 2,000 to 3,000 Btu/lb, taken as uniform, spread by 11.5 %."""
ANCHORED_SPREAD = 0.07
"""Standard deviation left when anchored to one run: derived, two runs with moistures known to 0.3
point each and a rate known to 5 %."""

ANCHOR_FACTOR = Range(
    "known run over the balance", 0.5, 2.0, "", "further apart, one of the two is described wrongly"
)

Flag = Literal[
    "exhaust-saturated",
    "cooling-short-of-air",
    "anchor-far-off",
    "grain-below-freezing",
    "exhaust-measured",
]


@dataclass(frozen=True, slots=True)
class KnownRun:
    """One settled run of the same dryer.

    Attributes
    ----------
    dry_matter_rate : float
        Dry matter discharged [kg/s].
    moisture_wb : float
        Moisture at the discharge, wet basis [-].
    conditions : Conditions
        The weather then.
    feed : Feed
        The grain then.
    plenum_temperatures : tuple of float or None, optional
        Plenum temperatures then [degC], one a zone; those of now when left out.
    """

    dry_matter_rate: float
    moisture_wb: float
    conditions: Conditions
    feed: Feed
    plenum_temperatures: tuple[float | None, ...] | None = None

    def __post_init__(self) -> None:
        DRY_MATTER_RATE.check(self.dry_matter_rate, "dry_matter_rate")
        MOISTURE_WB.check(self.moisture_wb, "moisture_wb")


@dataclass(frozen=True, slots=True)
class ZoneState:
    """One zone at the opening rate.

    Attributes
    ----------
    name, role : str
        As described.
    airflow : float
        Dry air [kg/s].
    air_temperature, air_humidity : float
        Air entering the grain [degC], [kg/kg dry air].
    exhaust_temperature, exhaust_humidity, exhaust_relative_humidity : float
        Air leaving [degC], [kg/kg dry air], [-].
    moisture_wb, grain_temperature : float
        Grain leaving, wet basis [-], [degC].
    water_removed : float
        Water from the grain [kg/s]; negative where cold grain gathers dew.
    fuel_heat : float
        Fuel burned, higher heating value [W].
    saturated : bool
        Whether the exhaust was held back from saturation.
    """

    name: str
    role: str
    airflow: float
    air_temperature: float
    air_humidity: float
    exhaust_temperature: float
    exhaust_humidity: float
    exhaust_relative_humidity: float
    moisture_wb: float
    grain_temperature: float
    water_removed: float
    fuel_heat: float
    saturated: bool


@dataclass(frozen=True, slots=True)
class Opening:
    """The opening rate and what goes with it.

    Attributes
    ----------
    dry_matter_rate : Estimate
        Dry matter discharged [kg/s].
    wet_rate, dry_rate : Estimate
        Grain going in at its moisture and coming out at the target [kg/s].
    transit_time : Estimate
        Hold-up over discharge, dry matter [s].
    hold_up_dry_matter : float
        Dry matter in the column [kg].
    water_removed : Estimate
        Water from the grain [kg/s].
    fuel_heat : Estimate
        Fuel burned, higher heating value [W].
    specific_energy : Estimate
        Fuel per water removed [J/kg].
    electricity : Estimate
        Fans and drives [W].
    zones : tuple of ZoneState
        From the top to the discharge.
    anchor_factor : float or None
        Known run over what the balance gives for it [-].
    assumed : tuple of Assumption
        Everything that was filled in.
    methods : tuple of MethodUse
        What was used.
    flags : tuple of str
        What a reader must know (see `Flag`).
    water_residual, energy_residual : float
        Conservation, as shares [-].
    """

    dry_matter_rate: Estimate
    wet_rate: Estimate
    dry_rate: Estimate
    transit_time: Estimate
    hold_up_dry_matter: float
    water_removed: Estimate
    fuel_heat: Estimate
    specific_energy: Estimate
    electricity: Estimate
    zones: tuple[ZoneState, ...]
    anchor_factor: float | None
    assumed: tuple[Assumption, ...]
    methods: tuple[MethodUse, ...]
    flags: tuple[Flag, ...]
    water_residual: float
    energy_residual: float


def opening_rate(
    dryer: Dryer,
    conditions: Conditions,
    feed: Feed,
    target_moisture_wb: float,
    *,
    assumptions: Sequence[Assumption] = (),
    known_run: KnownRun | None = None,
    exhaust_temperatures: Sequence[float | None] = (),
    burner_efficiency: float | None = None,
    fan_power: float | None = None,
    isotherm: str | None = None,
) -> tuple[Reach, Opening | None]:
    """Discharge rate to open with, or why the target cannot be reached.

    Parameters
    ----------
    dryer : Dryer
        The machine; an assumed airflow is put into it and listed in `assumptions`.
    conditions : Conditions
        The weather, numbers.
    feed : Feed
        The grain that enters, numbers.
    target_moisture_wb : float
        Moisture wanted at the discharge, wet basis [-].
    assumptions : sequence of Assumption
        Which of the inputs above were assumed, with their ranges.
    known_run : KnownRun, optional
        A settled run of this dryer to anchor to.
    exhaust_temperatures : sequence of float or None
        Measured exhaust temperature of each zone [degC].
    burner_efficiency : float, optional
        Of indirect heaters [-], 0.3 to 1.
    fan_power : float, optional
        Electric power of fans and drives [W].
    isotherm : str, optional
        Method id of the isotherm.

    Returns
    -------
    Reach
        Whether the target can be reached, and the nearest that can.
    Opening or None
        The rate; None where the target is out of reach.

    Raises
    ------
    Inconsistent, OutOfRange, NotPublished, NotConverged
        As `balance`.
    """
    verdict = reach_of(dryer, conditions, feed, target_moisture_wb, isotherm)
    if verdict.verdict != "within-reach":
        return verdict, None
    assumed = _everything_assumed(
        dryer, feed, assumptions, exhaust_temperatures, burner_efficiency, fan_power
    )
    scenarios = _Scenarios.of(assumed)
    closing = _closing(dryer, scenarios, exhaust_temperatures, burner_efficiency)
    factor = _anchor(dryer, known_run, closing, isotherm) if known_run is not None else None
    if factor is not None:
        closing = replace(closing, scale=factor)
    result = balance(
        dryer,
        scenarios.conditions(conditions),
        scenarios.feed(feed),
        target_moisture_wb,
        closing,
        isotherm,
    )
    if bool(result.met_without_heat[0]):
        return replace(verdict, verdict="met-without-heat"), None
    opening = _opening(dryer, feed, target_moisture_wb, result, scenarios, factor, fan_power)
    flags = _flags(result, feed, factor, exhaust_temperatures)
    methods = _methods(feed, isotherm, opening, target_moisture_wb)
    return verdict, replace(opening, flags=flags, methods=methods)


@dataclass(frozen=True, slots=True)
class _Scenarios:
    """All assumptions at their value, then each at its low and its high end."""

    assumed: tuple[Assumption, ...]

    @classmethod
    def of(cls, assumed: tuple[Assumption, ...]) -> _Scenarios:
        return cls(assumed)

    def values(self, name: str, given: float) -> FloatArray:
        """One input over all scenarios."""
        result = np.full(1 + 2 * len(self.assumed), given)
        for index, item in enumerate(self.assumed):
            if item.name == name:
                result[:] = item.value
                result[1 + 2 * index] = item.low
                result[2 + 2 * index] = item.high
                break
        return result

    def conditions(self, given: Conditions) -> Conditions:
        humidity = self.values(assume.AMBIENT_HUMIDITY, _number(given.ambient_relative_humidity))
        inside = np.clip(humidity, RELATIVE_HUMIDITY.low, RELATIVE_HUMIDITY.high)
        return replace(given, ambient_relative_humidity=inside)

    def feed(self, given: Feed) -> Feed:
        warm = self.values(assume.GRAIN_TEMPERATURE, _number(given.temperature))
        inside = np.clip(warm, GRAIN_TEMPERATURE.low, GRAIN_TEMPERATURE.high)
        return replace(given, temperature=inside)

    def estimate(self, values: FloatArray, spread: float = 0.0) -> Estimate:
        """Root of the sum of squares of what each assumption moves, not below a spread."""
        best = float(values[0])
        ends = values[1:].reshape(-1, 2) - best
        down = float(np.sqrt(np.sum(np.minimum(ends.min(axis=1), 0.0) ** 2)))
        up = float(np.sqrt(np.sum(np.maximum(ends.max(axis=1), 0.0) ** 2)))
        factor = 1.0 + NORMAL_90 * spread
        low = min(best / factor, best * best / (best + down) if best > 0.0 else best - down)
        return Estimate(best, low, max(best * factor, best + up))


def _everything_assumed(
    dryer: Dryer,
    feed: Feed,
    assumptions: Sequence[Assumption],
    exhaust_temperatures: Sequence[float | None],
    burner_efficiency: float | None,
    fan_power: float | None,
) -> tuple[Assumption, ...]:
    own: list[Assumption] = []
    measured = [*exhaust_temperatures, *([None] * len(dryer.zones))][: len(dryer.zones)]
    if any(z.heated and m is None for z, m in zip(dryer.zones, measured, strict=True)):
        own.append(_assumed_effectiveness(dryer))
    if any(not zone.heated for zone in dryer.zones):
        own += [assume.discharge_above_ambient(), assume.cooling_evaporation_share()]
    if burner_efficiency is None and any(
        zone.heated and zone.burner == "indirect" for zone in dryer.zones
    ):
        own.append(assume.assumed_burner_efficiency())
    if fan_power is None:
        own.append(assume.assumed_fan_energy())
    grain = load_grain(feed.grain)
    if grain.specific_heat is None and grain.id not in CORN_IDS:
        own.append(assume.assumed_grain_heat(grain, _number(feed.moisture_wb)))
    return (*assumptions, *own)


def _assumed_effectiveness(dryer: Dryer) -> Assumption:
    value, low, high = EFFECTIVENESS[dryer.kind]
    return Assumption(
        assume.EFFECTIVENESS,
        value,
        low,
        high,
        "",
        "How near the exhaust comes to equilibrium with the grain was not measured; it is set so "
        f"that a {dryer.kind} dryer meets its published specific energy.",
        assume.SPECIFIC_ENERGY[dryer.kind].source,
    )


def _closing(
    dryer: Dryer,
    scenarios: _Scenarios,
    exhaust_temperatures: Sequence[float | None],
    burner_efficiency: float | None,
) -> Exhaust:
    airflow = scenarios.values(assume.AIRFLOW, 1.0)
    heat = scenarios.values(assume.GRAIN_HEAT, 1.0)
    return Exhaust(
        effectiveness=scenarios.values(assume.EFFECTIVENESS, EFFECTIVENESS[dryer.kind][0]),
        discharge_above_ambient=scenarios.values(assume.DISCHARGE_GRAIN, 0.0),
        cooling_evaporation_share=scenarios.values(assume.COOLING_EVAPORATION, 0.0),
        burner_efficiency=scenarios.values(
            assume.BURNER, 1.0 if burner_efficiency is None else burner_efficiency
        ),
        airflow_factor=airflow / airflow[0],
        grain_heat=heat / heat[0],
        temperatures=tuple(exhaust_temperatures),
    )


def _anchor(dryer: Dryer, run: KnownRun, closing: Exhaust, isotherm: str | None) -> FloatArray:
    """Known rate over the balance's rate for that run, for every scenario."""
    went_in = float(np.min(run.feed.moisture_wb))
    if run.moisture_wb >= went_in:
        raise Inconsistent(
            f"the known run leaves at {run.moisture_wb:.1%} but went in at {went_in:.1%}: "
            "a run that dried nothing says nothing of the dryer",
            "known_run",
        )
    then = dryer if run.plenum_temperatures is None else dryer.with_plenums(run.plenum_temperatures)
    unmeasured = replace(closing, temperatures=())
    computed = balance(then, run.conditions, run.feed, run.moisture_wb, unmeasured, isotherm)
    if np.any(computed.met_without_heat):
        raise Inconsistent(
            "the known run removes so little water that cooling alone would do it; "
            "it says nothing about the heated zones",
            "known_run",
        )
    return run.dry_matter_rate / computed.dry_matter_rate


def _opening(
    dryer: Dryer,
    feed: Feed,
    target_wb: float,
    result: Balance,
    scenarios: _Scenarios,
    factor: FloatArray | None,
    fan_power: float | None,
) -> Opening:
    spread = BALANCE_SPREAD if factor is None else ANCHORED_SPREAD
    rate = scenarios.estimate(result.dry_matter_rate, spread)
    density = scenarios.values(assume.DENSITY, dryer.dry_matter_density)
    hold_up = scenarios.estimate(dryer.hold_up_dry_matter * density / density[0])
    drawn = (
        result.water_removed * scenarios.values(assume.FAN_ENERGY, 0.0)
        if fan_power is None
        else np.full_like(result.water_removed, fan_power)
    )
    return Opening(
        dry_matter_rate=rate,
        wet_rate=rate.scaled(1.0 / (1.0 - _number(feed.moisture_wb))),
        dry_rate=rate.scaled(1.0 / (1.0 - target_wb)),
        transit_time=_ratio(hold_up, rate),
        hold_up_dry_matter=dryer.hold_up_dry_matter,
        water_removed=scenarios.estimate(result.water_removed, spread),
        fuel_heat=scenarios.estimate(result.fuel_heat),
        specific_energy=scenarios.estimate(result.specific_energy, spread),
        electricity=scenarios.estimate(drawn, spread if fan_power is None else 0.0),
        zones=tuple(_zone_state(zone) for zone in result.zones),
        anchor_factor=None if factor is None else float(factor[0]),
        assumed=scenarios.assumed,
        methods=(),
        flags=(),
        water_residual=float(result.water_residual[0]),
        energy_residual=float(result.energy_residual[0]),
    )


def _ratio(above: Estimate, below: Estimate) -> Estimate:
    """Ratio of two estimates whose errors are independent."""
    value = above.value / below.value
    up = np.hypot(above.high / above.value - 1.0, below.value / below.low - 1.0)
    down = np.hypot(above.value / above.low - 1.0, below.high / below.value - 1.0)
    return Estimate(value, value / (1.0 + float(down)), value * (1.0 + float(up)))


def _zone_state(zone: ZoneBalance) -> ZoneState:
    moisture = float(zone.moisture_db[0])
    return ZoneState(
        name=zone.name,
        role=zone.role,
        airflow=float(zone.airflow[0]),
        air_temperature=float(zone.air_temperature[0]),
        air_humidity=float(zone.air_humidity[0]),
        exhaust_temperature=float(zone.exhaust_temperature[0]),
        exhaust_humidity=float(zone.exhaust_humidity[0]),
        exhaust_relative_humidity=float(zone.exhaust_relative_humidity[0]),
        moisture_wb=moisture / (1.0 + moisture),
        grain_temperature=float(zone.grain_temperature[0]),
        water_removed=float(zone.water_removed[0]),
        fuel_heat=float(zone.fuel_heat[0]),
        saturated=bool(zone.saturated[0]),
    )


def _flags(
    result: Balance,
    feed: Feed,
    factor: FloatArray | None,
    exhaust_temperatures: Sequence[float | None],
) -> tuple[Flag, ...]:
    flags: list[Flag] = []
    if any(bool(zone.saturated[0]) for zone in result.zones):
        flags.append("exhaust-saturated")
    if any(bool(zone.short_of_air[0]) for zone in result.zones):
        flags.append("cooling-short-of-air")
    if factor is not None and not ANCHOR_FACTOR.contains(factor[0]):
        flags.append("anchor-far-off")
    if _number(feed.temperature) < 0.0:
        flags.append("grain-below-freezing")
    if any(value is not None for value in exhaust_temperatures):
        flags.append("exhaust-measured")
    return tuple(flags)


def _methods(
    feed: Feed, isotherm: str | None, opening: Opening, target_moisture_wb: float
) -> tuple[MethodUse, ...]:
    chosen: Method = isotherm_method(column_isotherm(feed.grain, isotherm))
    temperatures = [zone.exhaust_temperature for zone in opening.zones if zone.role == "heated"]
    return (
        use(
            QUICK_BALANCE,
            discharge_moisture=target_moisture_wb,
            transit_time=opening.transit_time.value,
        ),
        MethodUse(EXHAUST),
        MethodUse(GRAIN_AT_EXHAUST),
        use(chosen, temperature=temperatures),
    )


def _number(value: ArrayLike) -> float:
    return float(np.asarray(value, dtype=np.float64).reshape(-1)[0])
