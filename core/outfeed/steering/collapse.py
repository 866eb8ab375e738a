"""Has a temperature fallen away from the level it had?

A column whose flame goes out turns cold within minutes, and so does the reading of a sensor that
burns off or of a broken wire. None of the three is a matter of setpoint or gain, and raising either
on such readings is wrong in all of them. `outfeed.steering.runaway` looks for the opposite; fire
goes before what is found here. The distance is chosen and has no published source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.methods import COMMON_PRACTICE, Method
from outfeed.steering.clean import COLUMN_READING
from outfeed.steering.fire import lowest_kept

FAR_BELOW = 10.0
"""Distance below the level before that is called a collapse [K]: as far as `runaway.FAR` on the
other side, near ten points of moisture at about one point a kelvin. Chosen, no source."""

BEFORE_S = 3.0 * 3600.0
"""Time over which the level before is taken [s]: longer than the two hours of a trend, so that a
fall is told until the trend itself shows nothing else. Chosen, no source."""

LEVEL_SHARE = 0.75
"""Share of the readings of that time which the level before is not below [-]: a fall is seen until
it fills three quarters of them. Chosen, no source."""

FEWEST_BEFORE = 3  # readings of which a level can be told; chosen, no source
FEW = 3  # last readings of which two must show it; chosen, no source
BACK_S = 1800.0  # a column that rose over it is on its way back
RISEN = 3.0  # by so much [K], as `runaway.CLIMBED`; chosen, no source
CLOSES_S = 2.0 * 3600.0  # a column that will be there within it is closing in; chosen, no source
TURNED = 2.0  # and no fall by so much [K], as `runaway.FALLEN`; common practice, no source
LATELY_S = 900.0  # a climb shows over it as well, at half its pace or more; chosen, no source
CLIMB_LOOK_S = 900.0
"""Until a column that climbs from far below is looked at again [s]: as long as the end of a climb
takes to show. Chosen, no source."""

COLLAPSE = Method(
    "steering.collapse.fallen-away",
    "controlled temperature far below the level it had",
    "a lost flame, a sensor that burnt off and a broken wire read alike; the distance is chosen",
    COMMON_PRACTICE,
    note="Two of the last three readings 10 K below the level before; one alone is a doubt.",
)
METHODS = (COLLAPSE,)


@dataclass(frozen=True, slots=True)
class Collapse:
    """A temperature that has fallen away from the level before.

    Attributes
    ----------
    where : str
        "column" or "exhaust".
    temperature : float
        What it reads now, the higher of the last two readings when both show it [degC].
    below : float
        How far that is below the level before, or below a lower setpoint [K].
    confirmed : bool
        Whether more than one of the last readings shows it.
    """

    reason: ClassVar[str] = "collapsed"  # as a reason for an advice

    where: str
    temperature: float
    below: float
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Low:
    """A temperature that stands far below its setpoint, wherever it stood before.

    Attributes
    ----------
    temperature : float
        Median of the last three readings [degC].
    below : float
        How far that is below the lowest setpoint of the last three hours [K].
    closing : bool
        Whether it would be there within two hours at the pace of the last half hour, and has not
        turned back.
    pace : float
        That pace [K/s].
    climbing : bool
        Whether it rises faster than the air of a day warms it, 6 K an hour, and still does: as
        after a start, and not as after a lost flame.
    turned : bool
        Whether it has fallen by 2 K from where it was within the last quarter of an hour.
    """

    reason: ClassVar[str] = "far-below"

    temperature: float
    below: float
    closing: bool
    pace: float
    climbing: bool
    turned: bool


def before_steering(fall: Collapse | None, low: Low | None) -> Collapse | Low | None:
    """What asks for a look at burner, flame and sensor before anything is steered by a column.

    Parameters
    ----------
    fall : Collapse or None
        What `collapsed` found.
    low : Low or None
        What `standing_low` found.

    Returns
    -------
    Collapse or Low or None
        A fall that more than one reading shows, else a stand far below that does not close in.
    """
    if fall is not None and fall.confirmed:
        return fall
    return None if low is None or low.closing else low


def standing_low(times_s: ArrayLike, temperatures: ArrayLike, setpoint: ArrayLike) -> Low | None:
    """Whether a temperature stands far below its setpoint, and has for half an hour.

    A fall is told by `collapsed` until the level before is forgotten; the flame may be out longer.

    Parameters
    ----------
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings as they were shown [degC], shape (n,); NaN means "no reading".
    setpoint : array_like
        Setpoint, one value or one per reading [degC]; the lowest that two readings in a row had
        within the last three hours counts, so that a column which has yet to follow a higher
        setpoint is not low.

    Returns
    -------
    Low or None
        None while it stands, or half an hour before stood, nearer than 10 K, or where fewer than
        three readings are that old.
    """
    times, values, places = _lately(times_s, temperatures)
    before = np.flatnonzero(times <= times[-1:] - BACK_S)[-FEW:]
    if before.size < FEW:
        return None
    level = lowest_kept(_aims(setpoint, places))
    now, then = float(np.median(values[-FEW:])), float(np.median(values[before]))
    if level - max(now, then) < FAR_BELOW:
        return None
    pace = _pace(times, values, before)
    lately = _pace(times, values, np.flatnonzero(times <= times[-1] - LATELY_S)[-FEW:])
    turned = _turned_back(values[times >= times[-1] - LATELY_S])
    closing = pace * CLOSES_S >= level - now and not turned
    still = lately * BACK_S >= 0.5 * RISEN and not turned
    return Low(now, level - now, closing, pace, pace * BACK_S >= RISEN and still, turned)


def _turned_back(values: FloatArray) -> bool:
    """Whether the last readings, three by three, have fallen from their highest."""
    if values.size <= FEW:
        return False
    levels = np.median(np.lib.stride_tricks.sliding_window_view(values, FEW), axis=-1)
    return bool(np.max(levels) - levels[-1] >= TURNED)


def _pace(times: FloatArray, values: FloatArray, before: NDArray[np.intp]) -> float:
    """Rise from some earlier readings to the last three [K/s]."""
    apart = float(np.median(times[-FEW:]) - np.median(times[before]))
    rise = float(np.median(values[-FEW:]) - np.median(values[before]))
    return rise / apart if apart > 0.0 else 0.0


def collapsed(
    where: str,
    times_s: ArrayLike,
    temperatures: ArrayLike,
    setpoint: ArrayLike | None = None,
    *,
    lowered: float = 0.0,
) -> Collapse | None:
    """Whether a temperature stands far below its level before at the end of its trace.

    Parameters
    ----------
    where : str
        What was measured: "column" or "exhaust".
    times_s : array_like
        Times of the readings, any order [s], shape (n,).
    temperatures : array_like
        Readings as they were shown, spikes included [degC], shape (n,); NaN means "no reading",
        and so do those hotter than any sensor can give.
    setpoint : array_like, optional
        Setpoint, one value or one per reading [degC]; the lowest that two readings in a row had
        within the last three hours counts, so that a column which follows a lower setpoint has not
        collapsed, and one wrong entry excuses nothing.
    lowered : float
        How far the setpoint was moved down meanwhile, for a temperature that has none of its own
        and falls with it [K].

    Returns
    -------
    Collapse or None
        None while it stands nearer than 10 K, is on its way back, or fewer than three readings of
        the three hours before tell a level.
    """
    times, values, lately = _lately(times_s, temperatures)
    if times.size <= FEWEST_BEFORE:
        return None
    level = float(np.quantile(values[:-1], LEVEL_SHARE)) - lowered
    if setpoint is not None:
        level = min(level, lowest_kept(_aims(setpoint, lately)))
    return _fallen(where, times, values, level)


def _lately(
    times_s: ArrayLike, temperatures: ArrayLike
) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Times and readings of the last three hours in order, and where they stood."""
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    values = np.atleast_1d(np.asarray(temperatures, dtype=np.float64))
    order = np.argsort(times, kind="stable")
    order = order[values[order] <= COLUMN_READING.high]  # an open wire is no level to fall from
    order = order[times[order] >= times[order][-1:] - BEFORE_S]
    return times[order], values[order], order


def _aims(setpoint: ArrayLike, places: NDArray[np.intp]) -> FloatArray:
    """Setpoints at some places, one value holding everywhere."""
    aims = np.asarray(setpoint, dtype=np.float64)
    return np.full(places.shape, aims.item()) if aims.size == 1 else aims[places]


def surest(column: Collapse | None, exhaust: Collapse | None) -> Collapse | None:
    """Which of two collapses to tell; two that are doubtful alone confirm each other.

    Parameters
    ----------
    column, exhaust : Collapse or None
        Of one dryer, at the same time.

    Returns
    -------
    Collapse or None
        The column's, unless only the exhaust's is sure; None where there is neither.
    """
    if column is None or exhaust is None:
        return column or exhaust
    if exhaust.confirmed and not column.confirmed:
        return exhaust
    return replace(column, confirmed=True)


def _fallen(where: str, times: FloatArray, values: FloatArray, level: float) -> Collapse | None:
    low = values[-FEW:] <= level - FAR_BELOW
    if not low[-1] or _on_its_way_back(times, values):
        return None
    now = float(np.max(values[-2:])) if low[-2] else float(values[-1])
    return Collapse(where, now, level - now, bool(np.count_nonzero(low) > 1))


def _on_its_way_back(times: FloatArray, values: FloatArray) -> bool:
    """Whether both last readings stand above what was read half an hour before."""
    before = values[times <= times[-1] - BACK_S]
    return before.size > 0 and float(np.min(values[-2:])) - float(before[-1]) >= RISEN
