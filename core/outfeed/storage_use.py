"""Storage life used up by one stay after another, and what is left of it.

Life is additive: each stay uses up its time over the life at its conditions [1]_. Each source is
added up by itself; where a chart only says "at least", the share used is an upper bound.

.. [1] McNeill, University of Kentucky Extension, Storing late season corn and beans; Hellevang,
   North Dakota State University Extension.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray, as_floats
from outfeed.errors import NotPublished
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import READ, Method
from outfeed.storage_charts import DAY, Chart, chart_life
from outfeed.storage_life import (
    FORMULA,
    GRADE_LOSS,
    USUAL_DAMAGE,
    dry_matter_loss,
    equivalent_life,
    stretch,
)

STAY = Range("duration", 0.0, 5.0 * 365.25 * DAY, "s", SENSIBLE)
SHARE = Range("share of the storage life", 0.0, 1.0, "", "definition")

ADDED_UP = Method(
    id="storage-life.additive",
    title="Storage life used up by one stay after another",
    source="McNeill, University of Kentucky Extension, Storing late season corn and beans; "
    "Hellevang, North Dakota State University Extension",
    known=READ,
)
METHODS = (ADDED_UP,)


@dataclass(frozen=True, slots=True, eq=False)
class LifeUsed:
    """Storage life used up by stays one after another, by one source.

    Attributes
    ----------
    source : str
        Method id of the formula or chart.
    life : ndarray
        Allowable time at the conditions of each stay [s].
    at_least : ndarray of bool
        Where the chart gives only a lower bound of it.
    used : ndarray
        Share of the life used up after each stay [-]; above one when it is over.
    at_most : bool
        Whether `used` is an upper bound, since some life was a lower one.
    loss : ndarray or None
        Dry matter lost after each stay [-]; the formula only.
    """

    source: str
    life: FloatArray
    at_least: BoolArray
    used: FloatArray
    at_most: bool
    loss: FloatArray | None


def used_by_formula(
    duration: ArrayLike,
    temperature: ArrayLike,
    moisture_wb: ArrayLike,
    *,
    damage: float | None = USUAL_DAMAGE,
    permissible_loss: float = GRADE_LOSS,
    further: float = 1.0,
) -> LifeUsed:
    """Life of shelled corn used up over stays, by the formula.

    Parameters
    ----------
    duration : array_like
        Of each stay [s], in order of time.
    temperature, moisture_wb : array_like
        Of the grain during each stay [degC], [-].
    damage, permissible_loss, further : float
        As for `formula_life`.

    Returns
    -------
    LifeUsed
        Running totals.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    stays, warm, wet = as_floats(STAY.check(duration, "duration"), temperature, moisture_wb)
    factor = np.asarray(stretch(warm, wet, damage, further))
    equivalent = np.cumsum(stays / factor)
    whole = float(equivalent_life(permissible_loss))
    return LifeUsed(
        source=FORMULA.id,
        life=factor * whole,
        at_least=np.zeros(stays.shape, dtype=np.bool_),
        used=equivalent / whole,
        at_most=False,
        loss=np.asarray(dry_matter_loss(equivalent)),
    )


def used_by_chart(
    chart: Chart, duration: ArrayLike, temperature: ArrayLike, moisture_wb: ArrayLike
) -> LifeUsed:
    """Life used up over stays, by one chart.

    Parameters
    ----------
    chart : Chart
        One of `outfeed.storage_charts.charts_of`.
    duration : array_like
        Of each stay [s], in order of time.
    temperature, moisture_wb : array_like
        Of the grain during each stay [degC], [-].

    Returns
    -------
    LifeUsed
        Running totals; upper bounds where the chart says "at least".

    Raises
    ------
    NotPublished
        A stay that the chart does not cover.
    OutOfRange
        A value outside its range.
    """
    stays, warm, wet = as_floats(STAY.check(duration, "duration"), temperature, moisture_wb)
    read = chart_life(chart, warm, wet)
    life = np.asarray(read.life)
    if not np.all(read.readable):
        raise NotPublished("storage life at one of the stays", chart.id, name="history")
    return LifeUsed(
        source=chart.id,
        life=life,
        at_least=np.asarray(read.at_least),
        used=np.cumsum(stays / life),
        at_most=bool(np.any(read.at_least)),
        loss=None,
    )


def life_left(used: ArrayLike, life: ArrayLike) -> FloatArray:
    """Time left at new conditions after a share of the life is gone.

    Parameters
    ----------
    used : array_like
        Share used up [-], zero or more.
    life : array_like
        Whole life at the new conditions [s].

    Returns
    -------
    ndarray
        Time [s]; zero when the life is over.
    """
    return np.asarray(np.maximum(1.0 - np.asarray(used), 0.0) * np.asarray(life))[()]
