"""Charts of allowable storage time, read as their readers would: cell by cell, never past the edge.

A chart gives days by grain moisture and temperature. Between four printed cells the logarithm of
the days is interpolated straight in both directions, because life falls by a constant factor for
each degree and point. That holds over a step of a chart, not from dry grain to wet: a point costs
corn five times as much life at 17 % as at 29 %, so cells further apart than charts print them are
not read across. A cell printed as "exceeds 300 days" counts as 300, and the answer says "at
least". Grain colder or drier than the chart keeps at least as long as at its edge; for grain warmer
or wetter than the chart, or between cells its source does not print, only the bound that warmer and
wetter printed cells give is stated: no chart is extended.

The charts stand in ``storage_charts.toml`` with their sources; single cells come from the grain
catalogue.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, as_floats
from outfeed.grains import Grain, StorageLife
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import READ, Method

DAY = 86_400.0
STORAGE_TEMPERATURE = Range("grain temperature", -40.0, 50.0, "degC", SENSIBLE)

CELLS = Method(
    id="storage-life.chart.cells",
    title="Single printed cells of charts of allowable storage time",
    source="As each cell of the grain catalogue states",
    known=READ,
    note="Between neighbouring printed cells, at most 3 points and 20 degF (11 degC) apart, the "
    "logarithm of the days is interpolated; nothing is extended.",
)

_CELLS = "storage-life.cells."
_ON_THE_LINE = 1e-9  # degC or moisture within which a state lies on a printed row or column
_HALF_A_DEGREE_F = 0.5 / 1.8  # degC; columns are printed to whole degrees F, so is their edge
_A_TWENTIETH_POINT = 0.0005  # moisture; rows are printed to whole points
_WIDEST_STEP = 20.0 / 1.8  # degC; the widest step between columns that is read across
_WIDEST_ROW = 0.03  # moisture; the widest step between rows that is read across
# Both are the widest of any printed chart read here. From 15 to 35 % at 10 degC a straight line
# would give 218 days at 20 %, where the formula of the same authors gives 64.
IndexArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A chart of allowable storage time as one source prints it, for one grain.

    Attributes
    ----------
    id : str
        Method id.
    title, criterion, source, known, note : str
        What it is, what ends the life, whence, how known, what to know.
    temperatures : ndarray
        Columns, rising [degC].
    moistures : ndarray
        Rows, rising, wet basis [-], as read for this grain.
    life : ndarray
        Cells [s], moistures by temperatures; infinite where the chart only says "longer",
        NaN where it prints nothing.
    longest : float
        What "longer" is longer than [s]; zero for a chart without such cells.
    """

    id: str
    title: str
    criterion: str
    source: str
    known: str
    note: str
    temperatures: FloatArray
    moistures: FloatArray
    life: FloatArray
    longest: float

    @property
    def method(self) -> Method:
        """The chart as a method; single cells share one."""
        if self.id.startswith(_CELLS):
            return CELLS
        ranges = (
            Range(
                "grain temperature",
                float(self.temperatures[0]),
                float(self.temperatures[-1]),
                "degC",
                self.source,
            ),
            Range(
                "moisture, wet basis",
                float(self.moistures[0]),
                float(self.moistures[-1]),
                "",
                self.source,
            ),
        )
        return Method(self.id, self.title, self.source, self.known, ranges, self.note)


@dataclass(frozen=True, slots=True, eq=False)
class ChartLife:
    """Allowable storage time read from a chart.

    Attributes
    ----------
    life : ndarray
        Time [s]; the greatest lower bound the chart gives where `at_least`, zero where it
        gives none.
    at_least : ndarray of bool
        Whether `life` is a lower bound, not a reading.
    readable : ndarray of bool
        Whether the chart covers the state, or a colder or drier one than it prints.
    """

    life: FloatArray
    at_least: BoolArray
    readable: BoolArray


def charts_of(grain: Grain) -> tuple[Chart, ...]:
    """Every chart published for a grain, whole charts first, then single printed cells.

    Parameters
    ----------
    grain : Grain
        From the catalogue.

    Returns
    -------
    tuple of Chart
        One per source; empty when nobody published one.
    """
    whole = [entry for entry in _printed() if grain.id in entry["grains"]]
    repeated = {key for entry in whole for key in entry["replaces"]}
    cells: dict[str, list[StorageLife]] = {}
    for cell in grain.storage_life:
        if cell.source_key not in repeated:
            cells.setdefault(cell.source_key, []).append(cell)
    return (
        *(_whole_chart(entry, grain.id) for entry in whole),
        *(_cell_chart(key, group) for key, group in cells.items()),
    )


def chart_life(chart: Chart, temperature: ArrayLike, moisture_wb: ArrayLike) -> ChartLife:
    """Read a chart.

    Parameters
    ----------
    chart : Chart
        One of `charts_of`.
    temperature : array_like
        Of the grain [degC], -40 to 50.
    moisture_wb : array_like
        Moisture, wet basis [-], 0 to 0.60.

    Returns
    -------
    ChartLife
        Arrays of the broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside the sensible domain.
    """
    warm, wet = as_floats(
        STORAGE_TEMPERATURE.check(temperature, "temperature"),
        MOISTURE_WB.check(moisture_wb, "moisture_wb"),
    )
    life, at_least, blank = _read(chart, warm, wet)
    if np.any(blank):
        near = _read(
            chart,
            _snapped(chart.temperatures, warm, _HALF_A_DEGREE_F),
            _snapped(chart.moistures, wet, _A_TWENTIETH_POINT),
        )
        life = np.where(blank, near[0], life)
        at_least, blank = np.where(blank, near[1], at_least), blank & near[2]
    life = np.where(blank, _bound(chart, warm, wet), life)
    return ChartLife(life[()], (at_least | blank)[()], (~blank)[()])


def _read(
    chart: Chart, warm: FloatArray, wet: FloatArray
) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Life between the four cells around each state, whether a bound, whether a cell is blank."""
    column, right, cold, hot = _bracket(chart.temperatures, warm, _HALF_A_DEGREE_F)
    row, below, dry, soaked = _bracket(chart.moistures, wet, _A_TWENTIETH_POINT)
    apart = _apart(chart.temperatures, column, right, _WIDEST_STEP)
    apart = apart | _apart(chart.moistures, row, below, _WIDEST_ROW)
    next_column = np.minimum(column + 1, chart.temperatures.size - 1)
    next_row = np.minimum(row + 1, chart.moistures.size - 1)
    corners = (
        ((1 - below) * (1 - right), row, column),
        ((1 - below) * right, row, next_column),
        (below * (1 - right), next_row, column),
        (below * right, next_row, next_column),
    )
    log_life = np.zeros_like(warm)
    starred, blank = np.zeros(warm.shape, dtype=np.bool_), hot | soaked | apart
    for weight, i, j in corners:
        cell = chart.life[i, j]
        starred |= (weight > 0.0) & np.isinf(cell)
        blank = blank | ((weight > 0.0) & np.isnan(cell))
        usable = np.where(np.isfinite(cell), cell, max(chart.longest, 1.0))
        log_life = log_life + weight * np.log(usable)
    return np.exp(log_life), starred | cold | dry, blank


def _snapped(lines: FloatArray, value: FloatArray, reach: float) -> FloatArray:
    """Values within the printed digits of a line moved onto it; the others as they are."""
    nearest = lines[np.argmin(np.abs(value[..., np.newaxis] - lines), axis=-1)]
    return np.where(np.abs(value - nearest) <= reach, nearest, value)


def _bracket(
    lines: FloatArray, value: FloatArray, edge: float
) -> tuple[IndexArray, FloatArray, BoolArray, BoolArray]:
    """Index of the line before, share of the way to the next, and whether past either end."""
    spans = np.append(np.diff(lines), 1.0)
    before, after = value < lines[0] - edge, value > lines[-1] + edge
    near = value + _ON_THE_LINE
    index = np.clip(np.searchsorted(lines, near, side="right") - 1, 0, lines.size - 1)
    share = np.clip((value - lines[index]) / spans[index], 0.0, 1.0)
    last = (index == lines.size - 1) | (np.abs(value - lines[index]) <= _ON_THE_LINE)
    return index, np.where(before | last, 0.0, share), before, after


def _apart(lines: FloatArray, index: IndexArray, share: FloatArray, widest: float) -> BoolArray:
    """Whether a state lies between two lines too far apart to be read across."""
    spans = np.append(np.diff(lines), 0.0)
    return (share > 0.0) & (spans[index] > widest * (1.0 + _ON_THE_LINE))


def _bound(chart: Chart, warm: FloatArray, wet: FloatArray) -> FloatArray:
    """Longest life of any printed cell that is at least as warm and as wet; zero without one."""
    best = np.zeros_like(warm)
    for i, moisture in enumerate(chart.moistures):
        for j, temperature in enumerate(chart.temperatures):
            cell = chart.life[i, j]
            if not np.isnan(cell):
                known = cell if np.isfinite(cell) else chart.longest
                covers = (warm <= temperature + _ON_THE_LINE) & (wet <= moisture + _ON_THE_LINE)
                best = np.where(covers, np.maximum(best, known), best)
    return best


@cache
def _printed() -> tuple[dict[str, Any], ...]:
    text = (resources.files("outfeed") / "storage_charts.toml").read_text(encoding="utf-8")
    return tuple(tomllib.loads(text)["charts"])


def _whole_chart(entry: dict[str, Any], grain: str) -> Chart:
    shift = entry["grains"][grain]
    return Chart(
        id=entry["id"],
        title=entry["title"],
        criterion=entry["criterion"],
        source=entry["source"],
        known=entry["known"],
        note=entry["note"],
        temperatures=(np.asarray(entry["temperatures"], dtype=np.float64) - 32.0) / 1.8,
        moistures=(np.asarray(entry["moistures"], dtype=np.float64) - shift) / 100.0,
        life=np.asarray(entry["days"], dtype=np.float64) * DAY,
        longest=float(entry.get("longest", 0.0)) * DAY,
    )


def _cell_chart(key: str, cells: list[StorageLife]) -> Chart:
    temperatures = sorted({cell.temperature for cell in cells})
    moistures = sorted({cell.moisture_wb for cell in cells})
    life = np.full((len(moistures), len(temperatures)), np.nan)
    for cell in cells:
        life[moistures.index(cell.moisture_wb), temperatures.index(cell.temperature)] = cell.life
    notes = dict.fromkeys(cell.note for cell in cells if cell.note)
    return Chart(
        id=_CELLS + key,
        title="Printed cells of allowable storage time",
        criterion=cells[0].criterion,
        source=cells[0].source,
        known=cells[0].known,
        note=" ".join(notes),
        temperatures=np.asarray(temperatures),
        moistures=np.asarray(moistures),
        life=life,
        longest=0.0,
    )


def _methods() -> tuple[Method, ...]:
    whole = (_whole_chart(entry, next(iter(entry["grains"]))).method for entry in _printed())
    return (*whole, CELLS)


METHODS = _methods()
