"""Does a swing of a controlled temperature come from outside the loop?

A burner that cycles, feed that comes in batches or a fan can keep a column swinging at any gain. By
the temperature alone such a swing looks like one of the loop's own that neither grows nor dies, and
in the phase between output and temperature as well: there the controller speaks, in either case.
Three things tell them apart.

- What a swing of the loop's own is made of: all of it comes through the plant from the output. So
  the output's swing times the plant is the temperature's swing, whatever the controller is and
  whether or not its output runs into limits. Where a load swings, the output makes but a part.
- What a cut does: as the decay ratio of a linear loop falls steeply with its gain, no swing of its
  own keeps on through a cut to three fifths unless the output is held by its limits.
- An output that does not move makes no swing.

References
----------
.. [1] Thornhill, N. F. and Hagglund, T. (1997). Detection and diagnosis of oscillation in control
   loops. Control Engineering Practice 5, 1343-1354: a swing that a change of tuning does not change
   comes from elsewhere; recalled.
.. [2] Astrom, K. J. and Hagglund, T. (1984). Automatic tuning of simple regulators with
   specifications on phase and amplitude margins. Automatica 20, 645-651: the ratio of the swings of
   temperature and output is the plant at that period, where the loop alone makes them; recalled.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from outfeed.methods import RECALLED, Method
from outfeed.steering.trend import Trend
from outfeed.steering.tuning import Plant

Sign = Literal["output-stood", "small-part", "outlived-cut", "outlived-cuts"]

CUT = 0.6
"""A cut to this or less ends a swing of a linear loop: one that neither grew nor died at it had a
decay ratio above 2.2 before, by the rule of `outfeed.steering.tuning`. Chosen, no source."""

SHRUNK, GROWN = 0.6, 1.3
"""Half swing over that before a cut within which it counts as the same [-]. A load of a period near
the loop's own swings the column by 1 / (1 - g) of what it would alone: from 0.42 of the ultimate
gain to 0.18 and 0.07 it falls to 0.70 and 0.62. Chosen, no source."""

SMALL_PART = 0.5
"""Part of a swing that the output must make where it is the loop's own [-]. With gain, dead time
and lag of the plant known to a factor of 1.4, one in a hundred and fifty simulated swings of a
loop's own seemed to have less, and seven in ten swings from a load did; chosen from these."""

DOUBTED = 0.1
"""Size of that part below which, and above the inverse of which, the scale of the plant is doubted,
and below minus which its sign [-]; chosen, no source."""

MOST_CHANGED = 30.0
"""Powers of e by which a swing may have changed within the dead time [-]; past that nothing can be
told of the output that made it. As of the waves that `outfeed.steering.oscillation` draws; chosen,
no source."""

METHODS = (
    Method(
        "steering.gain.outside",
        "Whether a swing comes from outside the loop",
        "Thornhill and Hagglund (1997), Control Eng. Practice 5, 1343-1354; plant from the swings "
        "of output and temperature, Astrom and Hagglund (1984), Automatica 20, 645-651",
        RECALLED,
        note="Told by the output and a known plant, by a cut that it outlives, or not at all.",
    ),
)


@dataclass(frozen=True, slots=True)
class GainStep:
    """One earlier change of the gain.

    Attributes
    ----------
    time : float
        When, on the clock of the traces [s].
    multiplier : float
        New gain over old [-].
    amplitude : float or None
        Half swing seen before it [K]; None when there was none.
    """

    time: float
    multiplier: float
    amplitude: float | None = None


def from_outside(
    trend: Trend, history: Sequence[GainStep], plant: Plant | None = None
) -> Sign | None:
    """What shows that a swing is not the loop's own.

    Parameters
    ----------
    trend : Trend
        Of a trace that begins after the last change.
    history : sequence of GainStep
        Earlier changes, oldest first.
    plant : Plant, optional
        How the temperature answers the output, its gain with its sign and on the scale on which
        the output was told.

    Returns
    -------
    str or None
        "output-stood", "small-part", "outlived-cut" or "outlived-cuts"; None where it may be the
        loop's own.
    """
    moved = trend.driven
    if moved is not None and moved.still:
        return "output-stood"
    if trend.verdict == "growing":  # is cut however often it was
        return None
    part = part_made(trend, plant) if plant is not None and trend.swings else None
    if part is not None and part < SMALL_PART:
        return "small-part"
    free = moved is not None and moved.free is True
    if free and outlived_a_cut(trend, history) and _as_large(trend, history[-1], SHRUNK):
        return "outlived-cut"
    return "outlived-cuts" if _unmoved_by_two(trend, history) else None


def part_made(trend: Trend, plant: Plant) -> float | None:
    """Which part of the swing of a temperature its controller's output makes.

    Parameters
    ----------
    trend : Trend
        The trend.
    plant : Plant
        How the temperature answers the output, as in `from_outside`.

    Returns
    -------
    float or None
        One for a swing of the loop's own, less where a load adds to it [-]; None where no output
        was told or no swing shows, where sign or scale of the plant cannot be right, or where the
        swing grows or dies too fast for its dead time.
    """
    if trend.driven is None or trend.period is None or trend.decay_ratio is None:
        return None
    speed = complex(math.log(trend.decay_ratio), 2.0 * math.pi) / trend.period
    if abs(speed.real) * plant.dead_time > MOST_CHANGED:
        return None
    answer = plant.gain * cmath.exp(-speed * plant.dead_time) / (1.0 + speed * plant.lag)
    made = answer * trend.driven.per_kelvin
    scaled = DOUBTED <= abs(made) <= 1.0 / DOUBTED
    return made.real if scaled and made.real >= -DOUBTED else None


def outlived_a_cut(trend: Trend, history: Sequence[GainStep]) -> bool:
    """Whether a swing keeps on though the gain was cut so far that one of the loop's own would end.

    That of a loop whose output runs into its limits keeps on as well, and is none where it is told
    to.

    Parameters
    ----------
    trend : Trend
        Of a trace that begins after the last change.
    history : sequence of GainStep
        Earlier changes, oldest first.

    Returns
    -------
    bool
        Never of one that grows.
    """
    held = trend.driven is not None and trend.driven.free is False
    cut = bool(history) and history[-1].multiplier <= CUT
    return cut and not held and trend.verdict == "cycling"


def _unmoved_by_two(trend: Trend, history: Sequence[GainStep]) -> bool:
    """Whether two cuts in a row left the swing about as it was."""
    if len(history) < 2:
        return False
    first, second = history[-2:]
    if first.multiplier >= 1.0 or second.multiplier >= 1.0:
        return False
    if trend.verdict == "cycling" and first.multiplier * second.multiplier <= CUT:
        before = second if second.amplitude else first
        return _as_large(trend, before, SHRUNK)
    return _as_large(trend, first, 1.0 / GROWN)


def _as_large(trend: Trend, before: GainStep, least: float) -> bool:
    """Whether a swing is about as large as it was before a change."""
    if not before.amplitude or trend.amplitude is None:
        return False
    return least < trend.amplitude / before.amplitude < GROWN
