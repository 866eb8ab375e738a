"""A season on paper: does the dryer keep up, and what does the wet grain suffer.

The harvest, wet holding and dryer run as a queue through the weather; each lot's stay in wet
holding uses up some of its storage life. What would help stands in `outfeed.season_help`, fuel by
week and by tank in `outfeed.season_fuel`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outfeed.ability import (
    Ability,
    DescribedDryer,
    KnownRate,
    Machine,
    ability_of,
    by_column,
)
from outfeed.arrays import FloatArray
from outfeed.cooling import IN_DRYER, cooling_mode, discharge_moisture_for
from outfeed.dryer.closures import ColumnModel
from outfeed.errors import Inconsistent
from outfeed.grains import Grain
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import COMMON_PRACTICE, DERIVED, Method
from outfeed.queue import Flow, Harvest, Lots, Supply, run_queue
from outfeed.storage_charts import chart_life, charts_of
from outfeed.storage_life import (
    FORMULA,
    FORMULA_MOISTURE,
    FORMULA_TEMPERATURE,
    formula_life,
    has_formula,
)
from outfeed.weather import HOUR, Weather

LIFE_STEPS = 12
FINAL_MOISTURE = Range("moisture after drying", 0.02, 0.40, "", SENSIBLE)
HOT_DISCHARGE = 60.0
"""Grain leaving a dryer hot, to be cooled in the bin [degC]: the middle of 50 to 70, Foster (1973)
and Brooker et al. (1992) as quoted in a thesis."""
HOT_DISCHARGE_RANGE = (50.0, 70.0)
"""Its published range [degC]."""
ABOVE_AIR = 3.0
"""Grain in a bin is cooled to this much above the mean outside air [K]; chosen, no source."""
MUCH_OF_LIFE = 0.25
"""A quarter of the storage life used before drying is worth a warning; chosen, no source."""


HOLDING_AIR = Method(
    id="season.wet-grain-at-air-temperature",
    title="Wet grain in holding is at the temperature of the outside air",
    source=COMMON_PRACTICE,
    known=COMMON_PRACTICE,
    note="True of small, aerated holding; a big still heap heats itself and spoils sooner.",
)
PLAN = Method(
    id="season.plan",
    title="Harvest, wet holding, dryer, storage life and fuel through a season",
    source="Mass and heat balances; use of storage life adds up: North Dakota State University "
    "Extension",
    known=DERIVED,
)
METHODS = (PLAN, HOLDING_AIR)


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """Everything a plan depends on.

    Attributes
    ----------
    grain : Grain
        From the catalogue.
    weather : Weather
        Hour by hour; the plan covers these hours.
    supply : Lots or Harvest
        What comes when.
    machine : KnownRate or DescribedDryer
        The dryer.
    run_share : ndarray
        Share of each hour the dryer may run [-], shape (hours,).
    holding : float
        Wet weight that wet holding takes [kg].
    final_wb : float
        Moisture wanted after cooling, wet basis [-].
    cooling : str
        Way of cooling, see `outfeed.cooling.MODES`.
    holding_temperature : float, optional
        Of wet grain [degC]; that of the outside air when left out.
    """

    grain: Grain
    weather: Weather
    supply: Supply
    machine: Machine
    run_share: FloatArray
    holding: float
    final_wb: float
    cooling: str = IN_DRYER
    holding_temperature: float | None = None

    def __post_init__(self) -> None:
        FINAL_MOISTURE.check(self.final_wb, "final_wb")
        cooling_mode(self.cooling)
        Range("share of the hour", 0.0, 1.0, "", SENSIBLE).check(self.run_share, "run_share")
        if self.run_share.shape != (self.weather.hours,):
            raise Inconsistent("the dryer's hours must cover the weather", "run_share")
        supply = self.supply
        if isinstance(supply, Harvest) and supply.offered.shape != (self.weather.hours,):
            raise Inconsistent("the harvest must cover the weather hour by hour", "harvest")

    @property
    def wettest_wb(self) -> float:
        """Wettest grain that may come [-]."""
        if isinstance(self.supply, Lots):
            return float(self.supply.moisture_wb.max())
        return float(self.supply.moisture_wb[self.supply.offered > 0.0].max())


@dataclass(frozen=True, slots=True, eq=False)
class LifeUse:
    """Share of the storage life that each lot used up in wet holding.

    Attributes
    ----------
    source : str
        Method id of formula or chart.
    used : ndarray
        By lot [-], of the lots that were dried; NaN-free, zero for lots that never came in.
    at_most : bool
        Whether the source gives bounds for some of it: true use is at most that.
    """

    source: str
    used: FloatArray
    at_most: bool


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """A season run through.

    Attributes
    ----------
    season : Season
        What it rests on.
    target_wb : float
        Moisture at the discharge [-]; above `final_wb` by the cooling credit.
    ability : Ability
        The dryer's table.
    flow : Flow
        By hour and by lot.
    life : LifeUse or None
        None where nothing is published for the grain at these states.
    """

    season: Season
    target_wb: float
    ability: Ability
    flow: Flow
    life: LifeUse | None

    @property
    def keeps_up(self) -> bool:
        """Whether no harvest was held up and everything is dry at the end."""
        return self.waited_hours == 0.0 and self.finished_s is not None

    @property
    def waited_hours(self) -> float:
        """Hours the combine, or lots at the pit, had to wait [h]."""
        return float(self.flow.refused_hours.sum())

    @property
    def peak_held(self) -> float:
        """Most wet grain in holding at once [kg]."""
        return float(self.flow.peak.max())

    @property
    def finished_s(self) -> float | None:
        """When the last lot is dry [s]; None when the hours do not suffice."""
        flow = self.flow
        if flow.left_outside > 1.0 or not flow.lot_done_s.size or np.any(np.isnan(flow.lot_done_s)):
            return None
        return float(flow.lot_done_s.max())

    @property
    def worst_life(self) -> float | None:
        """Largest share of a lot's life used up before drying [-]."""
        if self.life is None or not self.life.used.size:
            return None
        return float(self.life.used.max())

    @property
    def heat(self) -> float:
        """Fuel of the season [J, higher heating value]."""
        return float(self.flow.heat.sum())

    @property
    def water(self) -> float:
        """Water removed in the dryer [kg]."""
        return float(self.flow.water.sum())


def plan_season(season: Season) -> Plan:
    """Run a season.

    Parameters
    ----------
    season : Season
        What it rests on.

    Returns
    -------
    Plan
        What happens.

    Raises
    ------
    OutOfRange, Inconsistent, NotPublished
        Inputs that cannot be worked with.
    """
    target = discharge_target(season)
    ability = ability_of(season.machine, season.weather, season.grain, target, season.wettest_wb)
    flow = run_queue(
        season.supply, ability, season.run_share, season.holding, season.weather.start_s, target
    )
    return Plan(season, target, ability, flow, life_used(season, flow))


def fitted_season(season: Season, model: ColumnModel) -> Season:
    """The season with the rate of its described dryer taken from the dryer's fitted column.

    Parameters
    ----------
    season : Season
        With a described dryer.
    model : ColumnModel
        Its fitted formulas.

    Returns
    -------
    Season
        Whose machine has a `column`; None there where the column gave no usable answer.

    Raises
    ------
    Inconsistent
        A dryer that is not described.
    OutOfRange, NotPublished
        Inputs that the column cannot work with.
    """
    if not isinstance(season.machine, DescribedDryer):
        raise Inconsistent("a fit needs the dryer described", "fitted", "dryer")
    machine = by_column(
        season.machine, model, season.weather, discharge_target(season), season.wettest_wb
    )
    return replace(season, machine=machine)


def discharge_target(season: Season) -> float:
    """Moisture to leave the dryer with, so that cooling brings it to the final one.

    Parameters
    ----------
    season : Season
        Its way of cooling and its mean weather count.

    Returns
    -------
    float
        Wet basis [-]; the final moisture for cooling in the dryer.
    """
    if season.cooling == IN_DRYER:
        return season.final_wb
    cold = min(float(season.weather.temperature.mean()) + ABOVE_AIR, HOT_DISCHARGE)
    credit = discharge_moisture_for(
        season.grain, season.cooling, season.final_wb, HOT_DISCHARGE, cold
    )
    return float(credit.hot_moisture)


def life_used(season: Season, flow: Flow) -> LifeUse | None:
    """Share of the storage life that each lot's stay in wet holding used up.

    Parameters
    ----------
    season : Season
        Grain and weather.
    flow : Flow
        When each lot came in and left.

    Returns
    -------
    LifeUse or None
        None where no source covers the states.
    """
    if not flow.lot_moisture_wb.size:
        return None
    wet = np.linspace(
        float(flow.lot_moisture_wb.min()) - 1e-9,
        float(flow.lot_moisture_wb.max()),
        LIFE_STEPS,
    )
    warm = season.weather.temperature
    if season.holding_temperature is not None:
        warm = np.full(warm.shape, season.holding_temperature)
    found = _life_table(season.grain, warm, wet)
    if found is None:
        return None
    source, life, at_most = found
    spent = np.vstack((np.zeros(wet.size), np.cumsum(HOUR / life, axis=0)))
    end = season.weather.start_s + HOUR * season.weather.hours
    came = np.where(np.isnan(flow.lot_in_s), end, flow.lot_in_s)
    left = np.where(np.isnan(flow.lot_done_s), end, flow.lot_done_s)
    used = _at(spent, wet, flow, left, season) - _at(spent, wet, flow, came, season)
    return LifeUse(source, np.maximum(used, 0.0), at_most)


def _life_table(
    grain: Grain, warm: FloatArray, wet: FloatArray
) -> tuple[str, FloatArray, bool] | None:
    """Life by hour and moisture [s], with its source and whether it is a bound."""
    if has_formula(grain):
        # colder grain keeps longer: life at the coldest the formula covers is a lower bound
        cold = np.maximum(warm, FORMULA_TEMPERATURE.low)
        damp = np.maximum(wet, FORMULA_MOISTURE.low)
        life = formula_life(cold[:, None], damp[None, :])
        return FORMULA.id, np.asarray(life), bool(np.any(cold > warm) or np.any(damp > wet))
    for chart in charts_of(grain):
        read = chart_life(chart, warm[:, None], wet[None, :])
        if np.all(np.asarray(read.readable)):
            return chart.id, np.asarray(read.life), bool(np.any(read.at_least))
    return None


def _at(
    spent: FloatArray, wet: FloatArray, flow: Flow, times_s: FloatArray, season: Season
) -> FloatArray:
    """Life spent since the first hour by grain of each lot's moisture, at given times."""
    hour = np.clip((times_s - season.weather.start_s) / HOUR, 0.0, season.weather.hours)
    i = np.minimum(hour.astype(np.intp), season.weather.hours - 1)
    u = hour - i
    place = (flow.lot_moisture_wb - wet[0]) / (wet[1] - wet[0])
    k = np.clip(place.astype(np.intp), 0, wet.size - 2)
    v = place - k
    low = spent[i, k] * (1.0 - u) + spent[i + 1, k] * u
    high = spent[i, k + 1] * (1.0 - u) + spent[i + 1, k + 1] * u
    return np.asarray(low * (1.0 - v) + high * v)


__all__ = [
    "Ability",
    "DescribedDryer",
    "Harvest",
    "KnownRate",
    "LifeUse",
    "Lots",
    "Plan",
    "Season",
    "discharge_target",
    "fitted_season",
    "life_used",
    "plan_season",
]
