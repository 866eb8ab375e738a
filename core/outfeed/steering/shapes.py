"""Which plain shape a trace has: a line, a return to a level, or a push away from one.

A swing that dies away, a slow return and a push look alike on a short trace. Each shape is fitted
to the same readings by linear least squares over a small grid of its one or two times, and what
each explains stands side by side, so that the judgement can weigh them against the swing's fit.
The push is the answer of two equal lags to a load that is taken away by the controller,
s exp(1 - s) with s the time since the push over its time to the peak, or a step that stays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.steering.noise import BinnedTrace

RETURN_TIMES = np.geomspace(1.0 / 40.0, 2.0, 12)  # over the length of the trace
PUSH_STARTS = np.linspace(0.08, 0.96, 23)
PUSH_TIMES = np.array([0.01, 0.02, 0.04, 0.08, 0.15, 0.3])
FEWEST = 8
DIGITS = 3  # of the relative times: traces of one sampling share their grids


@dataclass(frozen=True, slots=True)
class Shapes:
    """What each plain shape explains.

    Attributes
    ----------
    line, back, push : float
        Share of the variance about the mean that a straight line, an exponential return to a
        level, and a push away from a level explain [-].
    back_size, back_left : float
        Distance from the level of the return at the first and at the last reading [K].
    back_level : float
        The level it returns to [K].
    push_peak, push_left : float
        Largest distance after the push, and the distance at the last reading [K].
    push_level : float
        Level before the push [K].
    push_since : float
        Time from the push to the last reading, over the length of the trace [-].
    """

    line: float
    back: float
    push: float
    back_size: float
    back_left: float
    back_level: float
    push_peak: float
    push_left: float
    push_level: float
    push_since: float


def fit_shapes(trace: BinnedTrace) -> Shapes | None:
    """Fit a line, a return and a push.

    Parameters
    ----------
    trace : BinnedTrace
        Error over equal stretches of time [K].

    Returns
    -------
    Shapes or None
        None with fewer than eight stretches.
    """
    n = trace.times.size
    if n < FEWEST:
        return None
    time = (trace.times - trace.times[0]) / (trace.times[-1] - trace.times[0])
    centred = trace.values - np.mean(trace.values)
    power = max(float(centred @ centred), 1e-12)
    line = time - np.mean(time)
    back, push = _grids(np.round(time, DIGITS).tobytes())
    explained_back, b_scale, b_at = _best(back, centred)
    explained_push, p_scale, p_at = _best(push, centred)
    mean = float(np.mean(trace.values))
    shape, bump = back[b_at], push[p_at]
    b_level, p_level = mean - b_scale * shape.mean(), mean - p_scale * bump.mean()
    return Shapes(
        line=float(line @ centred) ** 2 / float(line @ line) / power,
        back=explained_back / power,
        push=explained_push / power,
        back_size=float(b_scale * shape[0]),
        back_left=float(b_scale * shape[-1]),
        back_level=float(b_level),
        push_peak=float(p_scale * bump.max()),
        push_left=float(p_scale * bump[-1]),
        push_level=float(p_level),
        push_since=1.0 - float(PUSH_STARTS[p_at % PUSH_STARTS.size]),
    )


def _best(shapes: FloatArray, centred: FloatArray) -> tuple[float, float, int]:
    """Sum of squares explained by the best shape beside a level, its size and its row."""
    n = centred.size
    own = np.einsum("ij,ij->i", shapes, shapes) - shapes.sum(axis=1) ** 2 / n
    along = shapes @ centred
    safe = own > 1e-6 * n
    gained = np.where(safe, along**2 / np.where(safe, own, 1.0), 0.0)
    best = int(np.argmax(gained))
    return float(gained[best]), float(along[best] / max(own[best], 1e-9)), best


@lru_cache(maxsize=16)
def _grids(time_bytes: bytes) -> tuple[FloatArray, FloatArray]:
    """Every return and every push at these relative times, one a row."""
    time = np.frombuffer(time_bytes)
    back = np.exp(-time / RETURN_TIMES[:, None])
    since = np.maximum(time - PUSH_STARTS[:, None], 0.0)
    bumps = [since / t * np.exp(1.0 - since / t) for t in PUSH_TIMES]
    steps = [1.0 - np.exp(-since / t) for t in PUSH_TIMES[:3]]
    return back, np.concatenate(bumps + steps)


def gained_likelihood(explained: float, worth: float) -> float:
    """Logarithm of the likelihood that a shape gains over a level.

    Parameters
    ----------
    explained : float
        Share of the variance it explains, below one [-].
    worth : float
        Independent readings of the trace [-].

    Returns
    -------
    float
        The gain [-].
    """
    return -0.5 * worth * math.log(max(1.0 - explained, 1e-6))
