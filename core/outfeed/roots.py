"""One root per element: Newton's method kept inside a bracket.

Newton's step is taken while it stays between the ends known to hold the root,
bisection otherwise, so every element converges and the number of iterations is
bounded (Press et al., *Numerical Recipes*, section 9.4, in array form).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.errors import NotConverged
from outfeed.interrupt import may_stop

__all__ = ["bracketed_newton"]

MAX_ITERATIONS = 80
"""Enough for bisection alone to shrink a bracket of 1,000 to 1e-21."""

ValueAndSlope = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


def bracketed_newton(
    function: ValueAndSlope,
    low: ArrayLike,
    high: ArrayLike,
    *,
    tolerance: float,
    what: str,
    start: ArrayLike | None = None,
) -> FloatArray:
    """Root of an increasing function, element by element.

    Parameters
    ----------
    function : callable
        Takes x and returns value and slope, both of x's shape; increasing in x.
    low, high : array_like
        Ends of the bracket: the value is not positive at `low`, not negative at `high`.
    tolerance : float
        Largest last step accepted, in the unit of x.
    what : str
        What is solved for, in words, for the error.
    start : array_like, optional
        First guess; the middle of the bracket when left out.

    Returns
    -------
    ndarray
        The root, of the broadcast shape of the ends.

    Raises
    ------
    NotConverged
        After 80 iterations, with the widest bracket left.
    """
    low, high = as_floats(low, high)
    first = 0.5 * (low + high) if start is None else np.clip(start, low, high)
    if first.ndim == 0:
        return _single(function, low[()], high[()], first[()], tolerance, what)
    return _many(function, low, high, np.asarray(first), tolerance, what)


def _many(
    function: ValueAndSlope,
    low: FloatArray,
    high: FloatArray,
    x: FloatArray,
    tolerance: float,
    what: str,
) -> FloatArray:
    for _ in range(MAX_ITERATIONS):
        may_stop()
        value, slope = function(x)
        low = np.where(value <= 0.0, x, low)
        high = np.where(value >= 0.0, x, high)
        newton = x - value / np.where(slope > 0.0, slope, 1.0)
        usable = (slope > 0.0) & (newton >= low - tolerance) & (newton <= high + tolerance)
        moved = np.where(usable, np.clip(newton, low, high), 0.5 * (low + high))
        step = np.abs(moved - x)
        x = moved
        if not np.any(step > tolerance):
            return x
    widest = int(np.argmax(high - low))
    raise NotConverged(what, (float(low.flat[widest]), float(high.flat[widest])), tolerance)


def _single(
    function: ValueAndSlope, low: Any, high: Any, x: Any, tolerance: float, what: str
) -> FloatArray:
    """The same for one element, without the overhead of arrays."""
    for _ in range(MAX_ITERATIONS):
        value, slope = function(x)
        low = x if value <= 0.0 else low
        high = x if value >= 0.0 else high
        moved = 0.5 * (low + high)
        if slope > 0.0:
            newton = x - value / slope
            if low - tolerance <= newton <= high + tolerance:
                moved = min(max(newton, low), high)
        step, x = abs(moved - x), moved
        if step <= tolerance:
            return np.asarray(x)
    raise NotConverged(what, (float(low), float(high)), tolerance)
