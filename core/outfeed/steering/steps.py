"""Has the discharge moisture stepped to another level?

A filter that takes the level for a slow wanderer believes a step by halves: the first reading past
it may be a bad sample, and so each counts as little as ever. But bad samples do not agree with each
other. Readings in a row that are off on one side of what was expected before the first of them are
kept as a `Run`; where three of them, taken together, stand further off than chance takes them, the
level is moved to their mean at once (generalised likelihood ratio of a jump, Willsky and Jones
1976, with the run's beginning as the only time at which it may have come).

References
----------
.. [1] Willsky, A. S. and Jones, H. L. (1976). A generalized likelihood ratio approach to the
   detection and estimation of jumps in linear systems. IEEE Transactions on Automatic Control 21,
   108-112 (recalled).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

from outfeed.methods import RECALLED, Method

OFF_AT_SD = 1.5
"""A reading further off than this many standard deviations begins a run, or goes on with it; chosen
on simulated seasons, no source."""

FEWEST = 3
"""Readings that make a step of a run; chosen, no source."""

ONE_MOMENT_S = 60.0
"""Readings no further apart than this are of the same grain; chosen, no source."""

LONGEST = 5
"""A run of more readings than this has been followed by the filter; chosen, no source."""

CONFIRMED_AT_SD = 3.5
"""Distance of the run's mean from which it is a step, in its standard deviations: as far as one
reading alone is doubted."""

PASSING = 4.0
"""How many times what a moving column or a doubtful inlet adds to the variance of one reading is
the variance of what a whole run may owe to it; chosen on simulated seasons without an inlet log,
where the front of a lot passes within a few readings, no source."""


STEP = Method(
    "steering.belief.step",
    "a step of the discharge moisture, from three readings in a row on one side",
    "A. S. Willsky and H. L. Jones 1976, IEEE Trans. Automatic Control 21:108-112; thresholds "
    "chosen on simulated seasons",
    RECALLED,
)
METHODS = (STEP,)


@dataclass(frozen=True, slots=True)
class Run:
    """Readings in a row that are off on one side.

    Attributes
    ----------
    readings : int
        How many, those of one moment counted once.
    off : float
        Their mean distance from what was expected before the first of them [-].
    spread : float
        SD of that expectation [-].
    followed : float
        How much of the distance the expectation has followed since [-].
    """

    readings: int
    off: float
    spread: float
    followed: float = 0.0


@dataclass(frozen=True, slots=True)
class Surprise:
    """A reading against what was expected of it.

    Attributes
    ----------
    off : float
        Reading minus expectation [-].
    variance : float
        Of the expectation [-].
    reading_variance : float
        Of the reading [-].
    usual_variance : float
        Of a reading of a still column whose inlet is known [-].
    again : bool
        Whether it is of the same moment as the one before: the same grain once more.
    """

    off: float
    variance: float
    reading_variance: float
    usual_variance: float
    again: bool = False

    @property
    def shared_variance(self) -> float:
        """What the readings of a run have in common [-]: a disturbance passes, a step stays."""
        return PASSING * max(0.0, self.reading_variance - self.usual_variance)


def run_with(run: Run | None, seen: Surprise) -> Run | None:
    """The run that one more reading makes, before anything is learned from it.

    Parameters
    ----------
    run : Run or None
        Of the readings before.
    seen : Surprise
        The reading.

    Returns
    -------
    Run or None
        None where it is no further off than readings usually are.
    """
    if run is not None and run.readings < LONGEST:
        off = seen.off + run.followed
        if off * run.off > 0 and _far(off, run.spread**2, seen):
            mean = run.off + (off - run.off) / (run.readings + 1)
            return replace(run, readings=run.readings + (not seen.again), off=mean)
    if _far(seen.off, seen.variance, seen):
        return Run(1, seen.off, sqrt(seen.variance))
    return None


def is_step(run: Run | None, seen: Surprise) -> bool:
    """Whether a run, the reading included, is a step.

    Parameters
    ----------
    run : Run or None
        From `run_with`.
    seen : Surprise
        The last of its readings.

    Returns
    -------
    bool
        True from readings of three moments on, where their mean is further off than chance.
    """
    if run is None or run.readings < FEWEST:
        return False
    doubt = run.spread**2 + seen.reading_variance / run.readings + seen.shared_variance
    return abs(run.off) > CONFIRMED_AT_SD * sqrt(doubt)


def stepped(run: Run, seen: Surprise) -> tuple[float, float]:
    """Where the expectation goes once a run is taken for a step.

    Parameters
    ----------
    run : Run
        With the reading in it.
    seen : Surprise
        The last of its readings.

    Returns
    -------
    tuple of float
        How much further the expectation moves, and its variance after that [-].
    """
    noise = seen.reading_variance / run.readings
    prior = run.spread**2 + run.off**2
    share = prior / (prior + noise)
    return share * run.off - run.followed, share * noise


def _far(off: float, variance: float, seen: Surprise) -> bool:
    return abs(off) > OFF_AT_SD * sqrt(variance + seen.reading_variance + seen.shared_variance)
