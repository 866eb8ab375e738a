"""Grain that waits: harvest into wet holding into the dryer, hour by hour, first in, first out.

Grain is counted as dry matter. In each hour the dryer takes from the front of the queue what its
time allows, the harvest fills what room there is, and the dryer goes on. What finds no room waits
outside: the combine stops, or the trucks stand. Nothing is lost on the way, so dry matter offered =
dried + still held + not yet in.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from outfeed.ability import Ability
from outfeed.arrays import FloatArray
from outfeed.errors import Inconsistent
from outfeed.interrupt import may_stop
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.weather import HOUR

HOLDING = Range("wet holding", 0.0, 1e9, "kg", SENSIBLE)
LOT_WEIGHT = Range("weight of a lot", 1.0, 1e9, "kg", SENSIBLE)
LOT_MOISTURE = Range("harvest moisture", 0.05, 0.40, "", SENSIBLE)
SMALLEST = 1e-6
"""Less dry matter than this is rounding [kg]."""

QUEUE = Method(
    id="season.queue",
    title="Wet holding and dryer as a first-in, first-out queue in hourly steps",
    source="Mass balance",
    known=DERIVED,
    note="Within an hour the order of events is not resolved.",
)
METHODS = (QUEUE,)


@dataclass(frozen=True, slots=True, eq=False)
class Lots:
    """Grain as it is ready to be brought in, by lot in order of time.

    Attributes
    ----------
    ready_s : ndarray
        When each lot is ready [s], not falling, shape (n,).
    weight : ndarray
        Wet weight [kg], shape (n,).
    moisture_wb : ndarray
        Wet basis [-], shape (n,).
    """

    ready_s: FloatArray
    weight: FloatArray
    moisture_wb: FloatArray

    def __post_init__(self) -> None:
        LOT_WEIGHT.check(self.weight, "weight")
        LOT_MOISTURE.check(self.moisture_wb, "moisture")
        if not self.ready_s.size == self.weight.size == self.moisture_wb.size > 0:
            raise Inconsistent("each lot needs a time, a weight and a moisture", "lots")
        if np.any(np.diff(self.ready_s) < 0.0):
            raise Inconsistent("lots must stand in order of time", "lots")

    @property
    def dry_matter(self) -> FloatArray:
        """Dry matter of each lot [kg]."""
        return np.asarray(self.weight * (1.0 - self.moisture_wb))


@dataclass(frozen=True, slots=True, eq=False)
class Harvest:
    """Grain as a combine would bring it in, hour by hour, until the crop is in.

    Attributes
    ----------
    offered : ndarray
        Wet weight the combine can bring in each hour [kg], shape (hours,).
    moisture_wb : ndarray
        Field moisture in each hour [-], shape (hours,); it counts where something is offered.
    crop : float
        Dry matter in the field [kg].
    """

    offered: FloatArray
    moisture_wb: FloatArray
    crop: float

    def __post_init__(self) -> None:
        if self.offered.shape != self.moisture_wb.shape or not np.any(self.offered > 0.0):
            raise Inconsistent("the harvest needs at least one hour with a combine rate", "harvest")
        LOT_MOISTURE.check(self.moisture_wb[self.offered > 0.0], "moisture")


Supply = Lots | Harvest


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """What happened, by hour and by lot.

    Attributes
    ----------
    start_s : float
        When the first hour begins [s].
    held : ndarray
        Wet weight in holding at the end of each hour [kg], shape (hours,).
    peak : ndarray
        Highest wet weight in holding within each hour [kg].
    dried : ndarray
        Dry matter dried in each hour [kg].
    weight : ndarray
        The same as it weighs when it leaves the dryer [kg]: at the target, or as it came where it
        came drier.
    heat : ndarray
        Fuel burned in each hour [J, higher heating value].
    water : ndarray
        Water removed in each hour [kg].
    busy : ndarray
        Share of each hour the dryer worked [-].
    refused_hours : ndarray
        Combine hours, or truck hours, lost for want of room in each hour [h].
    lot_dry_matter, lot_moisture_wb : ndarray
        What came in, by lot [kg], [-].
    lot_in_s, lot_done_s : ndarray
        When a lot began to come in and was wholly taken by the dryer [s]; NaN for a lot that the
        hours did not suffice for.
    lot_heat : ndarray
        Fuel spent on each lot [J].
    left_outside : float
        Dry matter not brought in by the end [kg].
    """

    start_s: float
    held: FloatArray
    peak: FloatArray
    dried: FloatArray
    weight: FloatArray
    heat: FloatArray
    water: FloatArray
    busy: FloatArray
    refused_hours: FloatArray
    lot_dry_matter: FloatArray
    lot_moisture_wb: FloatArray
    lot_in_s: FloatArray
    lot_done_s: FloatArray
    lot_heat: FloatArray
    left_outside: float


def run_queue(
    supply: Supply,
    ability: Ability,
    run_share: FloatArray,
    holding: float,
    start_s: float,
    target_wb: float,
) -> Flow:
    """Bring the grain in and dry it.

    Parameters
    ----------
    supply : Lots or Harvest
        What is ready when.
    ability : Ability
        What the dryer does in each hour.
    run_share : ndarray
        Share of each hour the dryer may run [-], shape (hours,).
    holding : float
        Wet weight that wet holding takes [kg]; zero feeds the dryer straight.
    start_s : float
        When the first hour begins [s].
    target_wb : float
        Moisture at the discharge, wet basis [-].

    Returns
    -------
    Flow
        By hour and by lot.

    Raises
    ------
    OutOfRange
        A holding outside its range.
    """
    HOLDING.check(holding, "holding")
    book = _Book(ability, holding, start_s, target_wb)
    if isinstance(supply, Lots):
        book.bring_lots(supply, run_share)
    else:
        book.bring_harvest(supply, run_share)
    return book.flow()


class _Book:
    """The running state of the queue; plain floats, since each hour depends on the one before."""

    def __init__(self, ability: Ability, holding: float, start_s: float, target_wb: float) -> None:
        self.rate = ability.rate.tolist()
        self.cost = ability.heat.tolist()
        self.first = float(ability.moistures_wb[0])
        self.step = float(ability.moistures_wb[1] - ability.moistures_wb[0])
        self.last = ability.moistures_wb.size - 2
        self.holding = holding
        self.start_s = start_s
        self.target_db = target_wb / (1.0 - target_wb)
        self.hours = len(self.rate)
        self.waiting: deque[list[float]] = deque()  # lot, dry matter left
        self.stored = 0.0
        self.top = 0.0
        self.outside = 0.0
        self.by_hour: list[tuple[float, ...]] = []
        self.lost: list[float] = []
        self.moisture: list[float] = []
        self.dry_matter: list[float] = []
        self.came: list[float] = []
        self.done: list[float] = []
        self.lot_heat: list[float] = []

    def dry(self, hour: int, seconds: float) -> tuple[float, float, float, float, float]:
        """Work off the queue for at most `seconds`; time used, dry matter, weight, heat, water."""
        rates, costs = self.rate[hour], self.cost[hour]
        left, matter, weight, heat, water = seconds, 0.0, 0.0, 0.0, 0.0
        while self.waiting and left > 1e-9:
            entry = self.waiting[0]
            lot = int(entry[0])
            wet = self.moisture[lot]
            place = min(max((wet - self.first) / self.step, 0.0), self.last + 1.0)
            k = min(int(place), self.last)
            u = place - k
            rate = rates[k] + u * (rates[k + 1] - rates[k])
            amount = min(entry[1], rate * left)
            cost = costs[k] + u * (costs[k + 1] - costs[k])
            inlet_db = wet / (1.0 - wet)
            if inlet_db <= self.target_db:
                cost, drop = 0.0, 0.0
            else:
                drop = inlet_db - self.target_db
            left -= amount / rate
            matter += amount
            weight += amount * (1.0 + inlet_db - drop)
            heat += amount * cost
            water += amount * drop
            self.lot_heat[lot] += amount * cost
            self.stored -= amount / (1.0 - wet)
            entry[1] -= amount
            if entry[1] <= SMALLEST:
                self.waiting.popleft()
                self.done[lot] = self.start_s + hour * HOUR + seconds - left
        if not self.waiting:
            self.stored = 0.0
        return seconds - left, matter, weight, heat, water

    def new_lot(self, matter: float, moisture: float) -> int:
        """Enter a lot in the books; its number."""
        self.dry_matter.append(matter)
        self.moisture.append(moisture)
        self.came.append(math.nan)
        self.done.append(math.nan)
        self.lot_heat.append(0.0)
        return len(self.moisture) - 1

    def admit(self, lot: int, matter: float, when_s: float) -> None:
        """Put a lot at the end of the queue, whether there is room or not; see `turn_away`."""
        if math.isnan(self.came[lot]):
            self.came[lot] = when_s
        if self.waiting and int(self.waiting[-1][0]) == lot:
            self.waiting[-1][1] += matter
        else:
            self.waiting.append([lot, matter])
        self.stored += matter / (1.0 - self.moisture[lot])
        self.top = max(self.top, min(self.stored, self.holding))

    def turn_away(self) -> list[tuple[int, float]]:
        """Take back from the end of the queue what finds no room; lots and dry matter."""
        away: list[tuple[int, float]] = []
        while self.waiting and self.stored > self.holding + SMALLEST:
            lot, matter = int(self.waiting[-1][0]), self.waiting[-1][1]
            solids = 1.0 - self.moisture[lot]
            back = (self.stored - self.holding) * solids
            back = matter if back >= matter - SMALLEST else back  # no dust stays behind
            self.stored -= back / solids
            if back >= matter:
                self.waiting.pop()
            else:
                self.waiting[-1][1] -= back
            away.append((lot, back))
        return away

    def work(self, hour: int, seconds: float) -> list[tuple[int, float]]:
        """Dry for an hour, turn away what finds no room, and write the hour down."""
        may_stop()
        used, matter, weight, heat, water = self.dry(hour, seconds)
        away = self.turn_away()
        for lot, _ in away:
            if not self.waiting or int(self.waiting[-1][0]) != lot:
                # All of it that found room is dry.
                self.done[lot] = self.start_s + hour * HOUR + used
        peak = max(self.top, self.stored) if self.holding > 0.0 else 0.0  # no dust in no holding
        row = (self.stored, peak, matter, weight, heat, water, used / HOUR)
        self.by_hour.append(row)
        self.top = self.stored
        return away

    def bring_harvest(self, harvest: Harvest, run_share: FloatArray) -> None:
        """Hour by hour as the combine goes, until the crop is in; each hour is a lot."""
        self.outside = harvest.crop
        columns = (harvest.offered.tolist(), harvest.moisture_wb.tolist(), run_share.tolist())
        for hour, (weight, wet, share) in enumerate(zip(*columns, strict=True)):
            offered = min(weight * (1.0 - wet), self.outside)
            lot = -1
            if offered > SMALLEST:
                lot = self.new_lot(offered, wet)
                self.admit(lot, offered, self.start_s + hour * HOUR)
                self.outside -= offered
            away = sum(matter for _, matter in self.work(hour, share * HOUR))
            self.outside += away
            self.lost.append(away / (weight * (1.0 - wet)) if lot >= 0 else 0.0)
            if lot >= 0:
                self.shorten(lot, offered - away)

    def shorten(self, lot: int, matter: float) -> None:
        """Write down what came in of the newest lot; strike it when nothing did."""
        self.dry_matter[lot] = matter
        if matter <= SMALLEST:
            for column in (self.dry_matter, self.moisture, self.came, self.done, self.lot_heat):
                column.pop()

    def bring_lots(self, lots: Lots, run_share: FloatArray) -> None:
        """Lots as they are ready; what finds no room stands outside, in its order."""
        left = lots.dry_matter.tolist()
        for matter, moisture in zip(left, lots.moisture_wb.tolist(), strict=True):
            self.new_lot(matter, moisture)
        ready, front = lots.ready_s.tolist(), 0
        for hour, share in enumerate(run_share.tolist()):
            begin = self.start_s + hour * HOUR
            most = self.holding + max(self.rate[hour]) * HOUR / (1.0 - LOT_MOISTURE.high)
            while front < len(left) and ready[front] < begin + HOUR and self.stored < most:
                self.admit(front, left[front], max(ready[front], begin))
                left[front] = 0.0
                front += 1
            for lot, matter in self.work(hour, share * HOUR):
                left[lot] = matter
                front = lot
                if left[lot] >= self.dry_matter[lot] - SMALLEST:
                    self.came[lot] = math.nan
            standing = int(np.searchsorted(lots.ready_s, begin + HOUR, side="left")) - front
            self.lost.append(float(max(standing, 0)))
        self.outside = sum(left)
        for lot in range(front, len(left)):
            if left[lot] > SMALLEST:
                self.done[lot] = math.nan

    def flow(self) -> Flow:
        held, peak, dried, weight, heat, water, busy = (
            np.array(column) for column in zip(*self.by_hour, strict=True)
        )
        for entry in self.waiting:
            self.done[int(entry[0])] = math.nan
        done, came = np.array(self.done), np.array(self.came)
        return Flow(
            start_s=self.start_s,
            held=held,
            peak=peak,
            dried=dried,
            weight=weight,
            heat=heat,
            water=water,
            busy=busy,
            refused_hours=np.array(self.lost),
            lot_dry_matter=np.array(self.dry_matter),
            lot_moisture_wb=np.array(self.moisture),
            lot_in_s=came,
            lot_done_s=np.maximum(done, came),
            lot_heat=np.array(self.lot_heat),
            left_outside=self.outside,
        )
