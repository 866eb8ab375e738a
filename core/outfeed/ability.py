"""How much grain a dryer takes in any hour: a table over hours of weather and inlet moistures.

A dryer that is described is run through the quick balance on a grid of weather and moisture; one
that was fitted to its own runs takes its rate from the fitted column, see
`outfeed.column_capacity`. A dryer that is only known by one rate is scaled from it: by the same
balance of a single plenum where its temperature is known, else by the water to remove alone,
whatever the weather.

Weather matters less than one thinks while plenums hold their temperature: cold grain takes more
heat, but cold air is drier, and the two nearly cancel; it is the burner that pays.

Grain is counted as dry matter, which drying leaves alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.column_capacity import ColumnCapacity, column_capacity
from outfeed.dryer.assume import SPECIFIC_ENERGY, assumed_column_thickness
from outfeed.dryer.balance import EFFECTIVENESS, Balance, Exhaust, balance
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Conditions, Dryer, DryerKind, Feed, Zone
from outfeed.dryer.task import INLET_MOISTURE
from outfeed.errors import Inconsistent
from outfeed.grains import Grain
from outfeed.limits import AMBIENT, MOISTURE_WB, PLENUM, SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.moisture import dry_basis
from outfeed.season_balance import balance_over
from outfeed.weather import Weather
from outfeed.weather_grid import grid_over

FEED_RATE = Range("feed rate of the dryer", 1e-3, 200.0, "kg/s", SENSIBLE)
SPECIFIC_ENERGY_GIVEN = Range("fuel per water removed", 1.5e6, 2e7, "J/kg", SENSIBLE)
CAPACITY_FACTOR = Range("known rate over computed rate", 0.2, 3.0, "", SENSIBLE)

FEWEST_POINTS = 0.01
"""A dryer is not taken to run faster than when it removes this [-]; chosen, no source."""
USUAL_KIND: DryerKind = "mixed-flow"
"""Kind of a dryer known by a rate alone, where nobody said; chosen, no source."""
USUAL_HUMIDITY = 0.70
"""Outside air of a known run whose humidity nobody wrote down: common practice, no source."""
FASTEST_TRANSIT = 900.0
"""Grain is not taken to pass a described dryer faster than this [s]; chosen, no source."""
WEATHER_STEPS, HUMIDITY_STEPS, MOISTURE_STEPS = 6, 3, 9
"""Grid of the quick balance; linear between its points."""

SCALED_RATE = Method(
    id="season.rate-scaled",
    title="A dryer's rate at one condition scaled to other moistures and weather",
    source="The same water an hour, common practice; with a known plenum the heat and mass balance "
    "of one zone, as in Brooker, Bakker-Arkema and Hall, 1992",
    known=DERIVED,
    note="Realistic capacity is 70 to 80 % of a rated one: Maier and Bakker-Arkema (2002), quoted "
    "by Extension; state a rate you have seen.",
)
DESCRIBED = Method(
    id="season.rate-balanced",
    title="A described dryer's rate from the quick balance on a grid of weather and moisture",
    source="Heat and mass balance as in Brooker, Bakker-Arkema and Hall, 1992; linear "
    "interpolation",
    known=DERIVED,
)
METHODS = (SCALED_RATE, DESCRIBED)


@dataclass(frozen=True, slots=True)
class KnownRate:
    """A dryer known by one rate.

    Attributes
    ----------
    feed_rate : float
        Wet grain taken in [kg/s].
    inlet_wb, outlet_wb : float
        Moistures of that run [-].
    ambient : float
        Outside air then [degC].
    plenum : float, optional
        Plenum temperature in that run [degC]; absent, weather changes nothing.
    kind : str, optional
        Kind of dryer, for its published energy.
    specific_energy : float, optional
        Fuel per water removed in that run [J/kg, higher heating value].
    raised : float
        How much hotter the plenum is to be than in that run [K].
    """

    feed_rate: float
    inlet_wb: float
    outlet_wb: float
    ambient: float
    plenum: float | None = None
    kind: DryerKind | None = None
    specific_energy: float | None = None
    raised: float = 0.0

    def __post_init__(self) -> None:
        FEED_RATE.check(self.feed_rate, "feed_rate")
        MOISTURE_WB.check(self.inlet_wb, "inlet_wb")
        MOISTURE_WB.check(self.outlet_wb, "outlet_wb")
        AMBIENT.check(self.ambient, "ambient")
        if self.outlet_wb >= self.inlet_wb:
            raise Inconsistent("the known run must dry the grain", "outlet_wb", "inlet_wb")
        if self.plenum is not None and PLENUM.check(self.plenum, "plenum") <= self.ambient:
            raise Inconsistent("the plenum must be warmer than the outside air", "plenum")
        if self.specific_energy is not None:
            SPECIFIC_ENERGY_GIVEN.check(self.specific_energy, "specific_energy")

    @property
    def fuel_per_water(self) -> float:
        """Given, else published for the kind, else for a mixed-flow dryer [J/kg]."""
        return self.specific_energy or SPECIFIC_ENERGY[self.kind or USUAL_KIND].value

    def hotter(self, by: float) -> KnownRate:
        """The same dryer with its plenum raised.

        Parameters
        ----------
        by : float
            Rise [K].

        Returns
        -------
        KnownRate
            A new entry.

        Raises
        ------
        Inconsistent
            The plenum temperature is not known.
        """
        if self.plenum is None:
            raise Inconsistent("a hotter plenum needs the plenum temperature", "plenum")
        PLENUM.check(self.plenum + self.raised + by, "plenum")
        return replace(self, raised=self.raised + by)


@dataclass(frozen=True, slots=True)
class DescribedDryer:
    """A dryer as described, with what a fit and a known run say of its capacity.

    Attributes
    ----------
    dryer : Dryer
        Kind, zones, air.
    capacity : float
        Multiplier on the computed rate [-]; 1 as computed.
    burner_efficiency : float
        Share of the higher heating value that an indirect heater gives to the air [-].
    column : ColumnCapacity, optional
        The fitted column's rate over the balance's; absent, the balance's stands.
    fuel : float
        Multiplier on the computed fuel per water [-]; 1 as computed.
    """

    dryer: Dryer
    capacity: float = 1.0
    burner_efficiency: float = 1.0
    column: ColumnCapacity | None = None
    fuel: float = 1.0

    def hotter(self, by: float) -> DescribedDryer:
        """The same dryer with every heated plenum raised.

        Parameters
        ----------
        by : float
            Rise [K].

        Returns
        -------
        DescribedDryer
            A new description.
        """
        raised = tuple(None if t is None else t + by for t in self.dryer.plenum_temperatures)
        return replace(self, dryer=self.dryer.with_plenums(raised))


Machine = KnownRate | DescribedDryer


@dataclass(frozen=True, slots=True, eq=False)
class Ability:
    """What the dryer does in each hour with each inlet moisture.

    Attributes
    ----------
    moistures_wb : ndarray
        Inlet moistures, evenly spaced, wet basis [-], shape (k,).
    rate : ndarray
        Dry matter taken in [kg/s], shape (hours, k).
    heat : ndarray
        Fuel per dry matter, higher heating value [J/kg], shape (hours, k).
    """

    moistures_wb: FloatArray
    rate: FloatArray
    heat: FloatArray


def ability_of(
    machine: Machine, weather: Weather, grain: Grain, target_wb: float, wettest_wb: float
) -> Ability:
    """The table of a machine.

    Parameters
    ----------
    machine : KnownRate or DescribedDryer
        The dryer.
    weather : Weather
        Hour by hour.
    grain : Grain
        From the catalogue.
    target_wb : float
        Moisture at the discharge, wet basis [-].
    wettest_wb : float
        Wettest grain to come [-].

    Returns
    -------
    Ability
        From the target plus `FEWEST_POINTS` to the wettest grain.

    Raises
    ------
    OutOfRange, Inconsistent, NotPublished
        Inputs that the scaling or the balance cannot work with.
    """
    moistures = np.linspace(*_moistures(target_wb, wettest_wb), MOISTURE_STEPS)
    if isinstance(machine, DescribedDryer):
        return _balanced(machine, weather, grain, target_wb, moistures)
    if machine.plenum is None:
        return _by_water(machine, weather, target_wb, moistures)
    return _by_one_plenum(machine, machine.plenum, weather, grain, target_wb, moistures)


def _moistures(target_wb: float, wettest_wb: float) -> tuple[float, float]:
    """Driest and wettest grain of a table, so far apart that it has steps."""
    driest = target_wb + FEWEST_POINTS
    return driest, max(wettest_wb, driest + FEWEST_POINTS)


def _by_water(
    machine: KnownRate, weather: Weather, target_wb: float, moistures: FloatArray
) -> Ability:
    """The known rate at the same water an hour, whatever the weather."""
    own = float(dry_basis(machine.inlet_wb) - dry_basis(machine.outlet_wb))
    water = dry_basis(moistures) - dry_basis(target_wb)
    dry_rate = machine.feed_rate * (1.0 - machine.inlet_wb)
    every = np.ones((weather.hours, 1))
    return Ability(
        moistures, every * dry_rate * own / water, every * machine.fuel_per_water * water
    )


def _by_one_plenum(
    machine: KnownRate,
    plenum: float,
    weather: Weather,
    grain: Grain,
    target_wb: float,
    moistures: FloatArray,
) -> Ability:
    """The known rate times what the balance of one plenum changes; rate and fuel are relative."""
    if float(weather.temperature.max()) >= plenum:
        raise Inconsistent("the outside air gets as warm as the plenum", "plenum")
    one = _one_plenum(machine.kind or USUAL_KIND, plenum)
    then = _run_of(DescribedDryer(one), machine, grain, weather.pressure)
    now = DescribedDryer(one.with_plenums((plenum + machine.raised,)))
    table = _balanced(now, weather, grain, target_wb, moistures)
    dry_rate = machine.feed_rate * (1.0 - machine.inlet_wb)
    fuel = machine.fuel_per_water / float(then.specific_energy[0])
    return Ability(
        moistures, table.rate * dry_rate / float(then.dry_matter_rate[0]), table.heat * fuel
    )


def _one_plenum(kind: DryerKind, plenum: float) -> Dryer:
    """A cubic metre of bed under one plenum; its size and air cancel."""
    zone = Zone("all", "heated", volume=1.0, plenum_temperature=plenum, airflow_per_volume=1.0)
    thickness = assumed_column_thickness().value if kind == "cross-flow" else None
    return Dryer(kind=kind, zones=(zone,), column_thickness=thickness)


def _run_of(described: DescribedDryer, known: KnownRate, grain: Grain, pressure: float) -> Balance:
    """The balance of a known run, refused where it says nothing of the heated zones."""
    dryer = described.dryer
    result = balance(
        dryer,
        Conditions(known.ambient, USUAL_HUMIDITY, pressure),
        Feed(known.inlet_wb, known.ambient, grain.id),
        known.outlet_wb,
        Exhaust(EFFECTIVENESS[dryer.kind][0], burner_efficiency=described.burner_efficiency),
    )
    if bool(result.met_without_heat[0]):
        raise Inconsistent("the known run removes too little water to go by", "known_rate")
    return result


def _balanced(
    machine: DescribedDryer,
    weather: Weather,
    grain: Grain,
    target_wb: float,
    moistures: FloatArray,
) -> Ability:
    """The quick balance on a grid, linear between; the fitted column's ratio upon it."""
    grid = grid_over(weather, WEATHER_STEPS, HUMIDITY_STEPS)
    result = balance_over(
        machine.dryer,
        weather,
        grid.nodes(moistures),
        grain.id,
        target_wb,
        burner_efficiency=machine.burner_efficiency,
    )
    hours = weather.temperature, weather.relative_humidity
    burned = machine.fuel * result.fuel_heat / result.dry_matter_rate
    # time per dry matter is nearly straight in moisture and weather, and zero where no heat is due
    seconds = grid.between(grid.table(1.0 / result.dry_matter_rate), *hours) / machine.capacity
    fuel = grid.between(grid.table(burned), *hours)
    if machine.column is not None:
        ratio = machine.column.at(*hours, moistures)
        seconds, fuel = seconds / ratio, fuel * machine.column.fuel / ratio
    shortest = FASTEST_TRANSIT / machine.dryer.hold_up_dry_matter
    return Ability(moistures, 1.0 / np.maximum(seconds, shortest), fuel)


def by_column(
    described: DescribedDryer,
    model: ColumnModel,
    weather: Weather,
    target_wb: float,
    wettest_wb: float,
) -> DescribedDryer:
    """A described dryer whose rate comes from its fitted column.

    Parameters
    ----------
    described : DescribedDryer
        The description.
    model : ColumnModel
        The fitted formulas.
    weather : Weather
        Hour by hour.
    target_wb : float
        Moisture at the discharge, wet basis [-].
    wettest_wb : float
        Wettest grain to come [-].

    Returns
    -------
    DescribedDryer
        With `column`; None there where the column gave no usable answer.

    Raises
    ------
    OutOfRange, Inconsistent, NotPublished
        Inputs that the column cannot work with.
    """
    driest, wettest = _moistures(target_wb, wettest_wb)
    driest = max(driest, INLET_MOISTURE.low)
    column = column_capacity(described.dryer, model, weather, target_wb, driest, wettest)
    return replace(described, column=column)


def anchored(
    described: DescribedDryer, known: KnownRate, grain: Grain, pressure: float
) -> DescribedDryer:
    """A described dryer whose rate meets a known run.

    Parameters
    ----------
    described : DescribedDryer
        The description, with its fitted column where there is one: the run then says how fast the
        dryer is, and the column how that changes.
    known : KnownRate
        A run of the same dryer; its plenum, when given, takes the place of the described ones.
    grain : Grain
        From the catalogue.
    pressure : float
        Barometric pressure where the dryer stands [Pa].

    Returns
    -------
    DescribedDryer
        With `capacity`, and `fuel` where the run states its fuel, so that balance or column give
        the known run.

    Raises
    ------
    Inconsistent
        A known rate further from the description than a capacity factor may be, or a run that
        removes too little water to go by.
    """
    then = described
    if known.plenum is not None:
        heated = (None if t is None else known.plenum for t in described.dryer.plenum_temperatures)
        then = replace(described, dryer=described.dryer.with_plenums(tuple(heated)))
    result = _run_of(then, known, grain, pressure)
    ratio, fuel = 1.0, 1.0
    if described.column is not None:
        ratio = float(described.column.at(known.ambient, USUAL_HUMIDITY, known.inlet_wb)[0, 0])
        fuel = described.column.fuel / ratio
    factor = known.feed_rate * (1.0 - known.inlet_wb) / (float(result.dry_matter_rate[0]) * ratio)
    burned = 1.0
    if known.specific_energy is not None:
        burned = known.specific_energy / (float(result.specific_energy[0]) * fuel)
    if not CAPACITY_FACTOR.contains(factor):
        raise Inconsistent(
            f"the known rate is {factor:.2g} times what the described dryer is computed to do, and "
            f"{CAPACITY_FACTOR.low:g} to {CAPACITY_FACTOR.high:g} times is believed: check the "
            "rate, its moistures, airflow and hold-up",
            "known_rate",
        )
    return replace(described, capacity=factor, fuel=burned)
