"""The column of every observed run and its derivatives, in one vectorised solve.

For each run one lane is solved as noted, one for each factor nudged, and one for each number on
the sheet that may be off: the error of a rate, an inlet moisture or a plenum becomes an error of
what the column predicts, through the derivative. The nudges are wide enough to drown the tolerance
of the solver and narrow enough for a straight line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.fit_model import Errors, Run
from outfeed.dryer.profile import ColumnProfile
from outfeed.dryer.task import DRY_MATTER_RATE, INLET_MOISTURE
from outfeed.errors import Inconsistent, NotConverged
from outfeed.limits import AMBIENT, GRAIN_TEMPERATURE, PLENUM

FACTOR_NUDGE = 0.04
"""Nudge of the logarithm of a factor, and of the rate [-]."""
MOISTURE_NUDGE = 0.004
"""Nudge of the inlet moisture, wet basis [-]."""
TEMPERATURE_NUDGE = 2.0
"""Nudge of a temperature [K]."""

MOISTURE, SENSOR, COLUMN, EXHAUST, HEAT = "moisture", "sensor", "column", "exhaust", "heat"


@dataclass(frozen=True, slots=True)
class Channel:
    """One thing that a run may have observed.

    Attributes
    ----------
    kind : str
        "moisture", "sensor", "column", "exhaust" or "heat".
    index : int
        Which sensor or which zone, from the top.
    """

    kind: str
    index: int = 0

    @property
    def thermal(self) -> bool:
        """Whether it is a temperature."""
        return self.kind in (SENSOR, COLUMN, EXHAUST)


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """All runs as arrays.

    Attributes
    ----------
    dryer : Dryer
        The description.
    runs : tuple of Run
        The runs.
    channels : tuple of Channel
        What any run observed; outlet moisture first.
    observed : ndarray
        Runs by channels: moistures [-], temperatures [degC], logarithms of heat in watts; zero
        where nothing was observed.
    seen : ndarray of bool
        Runs by channels: what was observed.
    plenums : ndarray
        Runs by zones [degC]; the ambient's in a cooling zone.
    """

    dryer: Dryer
    runs: tuple[Run, ...]
    channels: tuple[Channel, ...]
    observed: FloatArray
    seen: BoolArray
    plenums: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Slopes:
    """What the column predicts for every run, and how that moves.

    Attributes
    ----------
    predicted : ndarray
        Runs by channels, as `Sheet.observed`.
    by_factor : ndarray
        Runs by channels by two: change per unit of the logarithms of rate and airflow factor.
    by_input : ndarray
        Runs by channels by inputs: change per standard deviation of each number on the sheet.
    solved : ndarray of bool
        Whether the columns of a run settled; the other numbers of one that did not are zero.
    """

    predicted: FloatArray
    by_factor: FloatArray
    by_input: FloatArray
    solved: BoolArray


def sheet_of(dryer: Dryer, runs: Sequence[Run]) -> Sheet:
    """Runs as arrays, checked against the dryer.

    Parameters
    ----------
    dryer : Dryer
        The description.
    runs : sequence of Run
        The runs.

    Returns
    -------
    Sheet
        Arrays over runs and channels.

    Raises
    ------
    Inconsistent
        Temperatures for other zones or sensors than the description has, or a heated plenum
        colder than the ambient air.
    """
    rows = [_noted(dryer, run, place) for place, run in enumerate(runs)]
    channels = [Channel(MOISTURE)]
    for kind, count in ((SENSOR, _sensor_count(dryer)), (COLUMN, 1), (EXHAUST, len(dryer.zones))):
        wanted = (Channel(kind, index) for index in range(count))
        channels.extend(channel for channel in wanted if any(channel in row for row in rows))
    if any(Channel(HEAT) in row for row in rows):
        channels.append(Channel(HEAT))
    observed = [[row.get(channel, 0.0) for channel in channels] for row in rows]
    seen = [[channel in row for channel in channels] for row in rows]
    plenums = np.array([_plenums(dryer, run, place) for place, run in enumerate(runs)])
    return Sheet(dryer, tuple(runs), tuple(channels), np.array(observed), np.array(seen), plenums)


def _sensor_count(dryer: Dryer) -> int:
    return sum(len(zone.sensors) for zone in dryer.zones)


def _noted(dryer: Dryer, run: Run, place: int) -> dict[Channel, float]:
    sensors, zones = _sensor_count(dryer), len(dryer.zones)
    if run.sensor_temperatures and len(run.sensor_temperatures) != sensors:
        raise Inconsistent(
            f"run {place}: {len(run.sensor_temperatures)} sensor temperatures, but the "
            f"description has {sensors} sensors",
            "sensor_temperatures",
        )
    if run.exhaust_temperatures and len(run.exhaust_temperatures) != zones:
        raise Inconsistent(
            f"run {place}: {len(run.exhaust_temperatures)} exhaust temperatures for {zones} zones",
            "exhaust_temperatures",
        )
    if run.column_temperature is not None and not sensors:
        raise Inconsistent(
            f"run {place}: a column temperature needs to know where in the column it is read: "
            "give the description its sensors",
            "column_temperature",
        )
    pairs = [(Channel(MOISTURE), run.outlet_moisture_wb), (Channel(COLUMN), run.column_temperature)]
    pairs += [(Channel(SENSOR, k), value) for k, value in enumerate(run.sensor_temperatures)]
    pairs += [(Channel(EXHAUST, k), value) for k, value in enumerate(run.exhaust_temperatures)]
    pairs += [(Channel(HEAT), None if run.heat is None else float(np.log(run.heat)))]
    return {channel: float(value) for channel, value in pairs if value is not None}


def _plenums(dryer: Dryer, run: Run, place: int) -> list[float]:
    given = run.plenum_temperatures or dryer.plenum_temperatures
    if len(given) != len(dryer.zones):
        raise Inconsistent(
            f"run {place}: {len(given)} plenum temperatures for {len(dryer.zones)} zones",
            "plenum_temperatures",
        )
    values = []
    for zone, value, stated in zip(dryer.zones, given, dryer.plenum_temperatures, strict=True):
        if not zone.heated:
            if value is not None:
                raise Inconsistent(
                    f"run {place}: cooling zone {zone.name!r} has no plenum temperature",
                    "plenum_temperatures",
                )
            values.append(run.ambient_temperature)
            continue
        hot = value if value is not None else stated
        if hot is None or hot < run.ambient_temperature:
            raise Inconsistent(
                f"run {place}: the plenum of {zone.name!r} is colder than the ambient air",
                "plenum_temperatures",
                "ambient_temperature",
            )
        values.append(hot)
    return values


def slopes_at(
    sheet: Sheet,
    model: ColumnModel,
    logs: FloatArray,
    errors: Errors,
    by_input: FloatArray | None = None,
) -> Slopes:
    """Predictions and derivatives at given factors.

    Parameters
    ----------
    sheet : Sheet
        The runs.
    model : ColumnModel
        Which formulas; its factors are replaced.
    logs : ndarray
        Logarithms of the rate factor and the airflow factor; two, or two by runs.
    errors : Errors
        Errors of the numbers on the sheet.
    by_input : ndarray, optional
        Derivatives by the inputs from factors or formulas close to these, to be kept: that is
        quicker.

    Returns
    -------
    Slopes
        Runs that did not settle are marked.
    """
    lanes = _Lanes(sheet, logs, whole=by_input is None)
    try:
        values, solved = lanes.solve(model, np.arange(len(sheet.runs)))
    except NotConverged:
        # One run brought all of them down: find out which.
        parts = [_alone(lanes, model, place) for place in range(len(sheet.runs))]
        values, solved = (np.concatenate(part, axis=1) for part in zip(*parts, strict=True))
    usable = np.all(solved, axis=0)
    values = np.where(usable[None, :, None], values, 0.0)
    moved = np.moveaxis((values[1:] - values[0]) / lanes.nudges[:, :, None], 0, -1)
    given = moved[..., 2:] * lanes.spreads(errors) if by_input is None else by_input
    return Slopes(values[0], moved[..., :2], given, usable)


def _alone(lanes: _Lanes, model: ColumnModel, place: int) -> tuple[FloatArray, BoolArray]:
    try:
        return lanes.solve(model, np.array([place]))
    except NotConverged:
        shape = (lanes.count, 1, len(lanes.sheet.channels))
        return np.zeros(shape), np.zeros(shape[:2], dtype=bool)


class _Lanes:
    """Lanes by runs: as noted; rate and airflow factor; rate, inlet, ambient, each plenum."""

    def __init__(self, sheet: Sheet, logs: FloatArray, *, whole: bool) -> None:
        self.sheet = sheet
        heated = [k for k, zone in enumerate(sheet.dryer.zones) if zone.heated]
        self.count = 7 + len(heated)
        runs = len(sheet.runs)
        self.nudges = np.full((self.count - 1, runs), TEMPERATURE_NUDGE)
        self.nudges[:2] = FACTOR_NUDGE
        rates, moistures = self._noted("dry_matter_rate"), self._noted("inlet_moisture_wb")
        warmths, ambient = self._noted("inlet_temperature"), self._noted("ambient_temperature")
        self.nudges[2] = _inside(np.log(rates), FACTOR_NUDGE, np.log(DRY_MATTER_RATE.high))
        self.nudges[3] = _inside(moistures, MOISTURE_NUDGE, INLET_MOISTURE.high)
        self.nudges[4] = _inside(warmths, TEMPERATURE_NUDGE, GRAIN_TEMPERATURE.high)
        # Downward, so that no plenum is passed.
        self.nudges[5] = -_inside(-ambient, TEMPERATURE_NUDGE, -AMBIENT.low)
        self.nudges[6:] = _inside(sheet.plenums[:, heated].T, TEMPERATURE_NUDGE, PLENUM.high)
        self.factors = [self._lane(np.broadcast_to(log, runs), k) for k, log in enumerate(logs)]
        self.rates = self._lane(np.log(rates), 2)
        self.moistures = self._lane(moistures, 3)
        self.warmths = self._lane(warmths, 4)
        self.ambients = self._lane(ambient, 5)
        self.plenums: list[FloatArray | None] = [None] * len(sheet.dryer.zones)
        for place, zone in enumerate(heated):
            self.plenums[zone] = self._lane(sheet.plenums[:, zone], 6 + place)
        if not whole:
            self._keep(3)

    def _keep(self, count: int) -> None:
        self.count, self.nudges = count, self.nudges[: count - 1]
        self.factors = [lanes[:count] for lanes in self.factors]
        self.rates, self.moistures = self.rates[:count], self.moistures[:count]
        self.warmths, self.ambients = self.warmths[:count], self.ambients[:count]
        self.plenums = [None if lanes is None else lanes[:count] for lanes in self.plenums]

    def _noted(self, name: str) -> FloatArray:
        return np.array([getattr(run, name) for run in self.sheet.runs], dtype=np.float64)

    def _lane(self, values: FloatArray, which: int) -> FloatArray:
        lanes = np.tile(values, (self.count, 1))
        lanes[1 + which] += self.nudges[which]
        return lanes

    def spreads(self, errors: Errors) -> FloatArray:
        """Standard deviation of each input, in the order of the lanes."""
        thermal = [errors.temperature] * (self.count - 5)
        return np.array([errors.rate, errors.inlet_moisture, *thermal])

    def solve(self, model: ColumnModel, picked: Any) -> tuple[FloatArray, BoolArray]:
        """Channels of the picked runs, lanes by runs by channels, and what settled."""
        conditions = Conditions(
            self.ambients[:, picked],
            self._noted("ambient_relative_humidity")[picked],
            self._noted("pressure")[picked],
        )
        feed = Feed(self.moistures[:, picked], self.warmths[:, picked], model.grain)
        rate, airflow = (np.exp(lanes[:, picked]) for lanes in self.factors)
        profile = solve_column(
            self.sheet.dryer,
            conditions,
            feed,
            np.exp(self.rates[:, picked]),
            model=replace(model, rate_factor=rate, airflow_factor=airflow),
            plenum_temperatures=[
                None if lanes is None else lanes[:, picked] for lanes in self.plenums
            ],
            flag=True,
        )
        values = [_read(profile, channel) for channel in self.sheet.channels]
        return np.stack(values, axis=-1), np.asarray(profile.converged)


def _inside(values: FloatArray, nudge: float, high: float) -> FloatArray:
    """The nudge, turned round where it would leave the range."""
    return np.where(values + nudge > high, -nudge, nudge)


def _read(profile: ColumnProfile, channel: Channel) -> FloatArray:
    if channel.kind == MOISTURE:
        return profile.outlet_moisture_wb
    if channel.kind == SENSOR:
        return profile.sensor_temperature[channel.index]
    if channel.kind == EXHAUST:
        return profile.zones[channel.index].exhaust_temperature
    if channel.kind == HEAT:
        return np.log(np.maximum(profile.heat, 1.0))
    return np.asarray(profile.column_temperature)
