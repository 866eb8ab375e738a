"""Does the exhaust climb more steeply than in normal running while grain moves?

A fire in one column warms the exhaust long before it is hotter than any drying air. But an exhaust
climbs steeply too when a dryer is lit: only one that was level for an hour, over a column at its
setpoint and a discharge that ran, is judged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike
from outfeed.methods import COMMON_PRACTICE, Method
from outfeed.steering.clean import as_shown
from outfeed.steering.fire import STOP_UNKNOWN_S

WINDOW_S = STOP_UNKNOWN_S
FEW = 3
"""Readings that tell of an hour; chosen, no source."""

BELOW = 5.0
"""Distance below its setpoint from which a column is no longer in steady running [K]; chosen."""

REACHES_BACK_S = 3.0 * 3600.0
"""How far a record must reach back where nobody tells the rates [s]: else one that begins in a stop
takes the restart for a climb; chosen, no source."""

CALM_S = 3600.0
"""Time of steady running against which an exhaust is judged [s]; chosen, no source."""

CALM = 5.0
"""Range of an exhaust in it [K]; chosen, no source."""

STEEP = 8.0
"""Rise of an exhaust above the highest level before, within half an hour, that normal running does
not explain but for the uppermost zone alone [K]. In the transient column, mixed and cross flow
under slow and lively controllers, the exhaust of all heated zones or of the lowest rises so by
2.6 K at most after a setpoint raised by 6 degF, 3.0 K after grain 20 K warmer, 4.9 K after plenums
20 K hotter, 6.3 K after a lot 5.5 points drier; that of the uppermost alone by up to 8.9 K after
grain 20 K warmer. Of 4,870 simulated traces of controlled temperatures none passed it. `./task
bench exhaust` prints these. Chosen, no source: nothing was found published on how fast an exhaust
may climb. Detectors of fire by the rise of indoor air act at 15 degF a minute (read at second
hand), far more than what is left once the exhaust of a dryer has mixed."""

STEEP_EXHAUST = Method(
    "steering.fire.steep-exhaust",
    "exhaust temperature climbing more steeply than in normal running while grain moves",
    "chosen, no source: 8 K in half an hour above the highest level before; the column model rises "
    "by 6.3 K at most in normal running, but 8.9 K above the uppermost zone alone",
    COMMON_PRACTICE,
)
METHODS = (STEEP_EXHAUST,)


@dataclass(frozen=True, slots=True)
class Steep:
    """An exhaust that climbs steeply while grain moves, below every limit.

    Attributes
    ----------
    temperature : float
        What it reads now, the lower of the last two readings [degC].
    rise : float
        The same less the highest level of the record until half an hour before [K].
    """

    temperature: float
    rise: float

    @property
    def confirmed(self) -> bool:
        """Always seen twice: no fire was read out of one reading of an exhaust below its limits."""
        return True


def steep_exhaust(
    exhaust: tuple[ArrayLike, ArrayLike],
    column: tuple[ArrayLike, ArrayLike],
    setpoint: ArrayLike,
    stops: tuple[ArrayLike, ArrayLike] | None = None,
) -> Steep | None:
    """Whether an exhaust climbs more steeply than in normal running while grain moves.

    Parameters
    ----------
    exhaust, column : tuple of array_like
        Times [s] and readings as they were shown [degC] of each, shape (n,) and (k,), any order;
        NaN means "no reading".
    setpoint : array_like
        Setpoint of the column, one value or one per reading of it [degC].
    stops : tuple of array_like, optional
        When stops of the discharge began and were over [s]; None where no rates are told.

    Returns
    -------
    Steep or None
        None as well where the hour before the last half hour was none of steady running (the
        exhaust not read or not level, the column below its setpoint, the discharge stopped): a
        start-up or a restart climbs more steeply than most fires.
    """
    times, values, _ = as_shown(*exhaust)
    if values.size < 2:
        return None
    until = times[-1] - WINDOW_S
    since = until - CALM_S
    hour = (times > since) & (times <= until)
    read = times[hour]
    if read.size < FEW or np.ptp(read) < 0.5 * CALM_S or np.ptp(values[hour]) > CALM:
        return None
    if not _in_operation(column, setpoint, since, until):
        return None
    if stops is None and times[0] > times[-1] - REACHES_BACK_S:
        return None
    if stops is not None and np.any(np.asarray(stops[1]) > since):
        return None
    before = values[times <= until]
    level = float(values[-2:].min())
    rise = level - float(np.minimum(before[1:], before[:-1]).max())
    return Steep(level, rise) if rise >= STEEP else None


def _in_operation(
    column: tuple[ArrayLike, ArrayLike], setpoint: ArrayLike, since: float, until: float
) -> bool:
    """Whether the column stood near its setpoint or above it for an hour."""
    times, values, order = as_shown(*column)
    shape = np.atleast_1d(np.asarray(column[1])).shape
    aims = np.broadcast_to(np.asarray(setpoint, dtype=np.float64), shape)[order]
    hour = (times > since) & (times <= until)
    return bool(hour.any() and np.median(values[hour] - aims[hour]) > -BELOW)
