"""Which metering setting gives a rate, from the owner's own points.

Between points the setting is interpolated along a curve that rises with the rate; one point alone
is taken as proportional through zero, as metering rolls and augers are. Points that contradict
each other a little are pooled until the curve rises (isotonic regression), and what they scatter
widens the band; where they do so by more than timed lots err they are doubted, and by far more
refused, for a slip of the pen would be averaged in. Far beyond the points there is no answer to
stand behind: it is flagged.

.. [1] Barlow, R. E., et al., *Statistical Inference under Order Restrictions*, 1972: pooling of
   adjacent violators.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.estimate import NORMAL_90, Estimate
from outfeed.errors import Inconsistent
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import COMMON_PRACTICE, DERIVED, Method

SETTING = Range("metering setting", 1e-6, 1e6, "", SENSIBLE)
RATE = Range("discharge rate", 1e-4, 1e3, "kg/s", SENSIBLE)
POINTS = Range("number of metering points", 1, 200, "", SENSIBLE)

NEAR = Range(
    "rate over the nearest end of the owner's points",
    0.8,
    1.25,
    "",
    COMMON_PRACTICE,
)
FAR = Range("rate over the nearest end of the owner's points", 0.5, 2.0, "", COMMON_PRACTICE)

POINT_SPREAD = 0.05
"""Standard deviation of one metering point's rate, as a share: common practice, no source."""

DOUBTED = 1.25
"""Rate at a setting over the rate at one no lower, from which two points are doubted [-]: about
three standard deviations of their difference."""

REFUSED = 1.6
"""The same from which they are refused [-]; chosen, no source."""

METERING = Method(
    id="dryer.metering-from-points",
    title="Metering setting for a rate from the owner's own points",
    source="Isotonic regression (Barlow et al., Statistical Inference under Order Restrictions, "
    "1972) and linear interpolation; one point is taken as proportional",
    known=DERIVED,
    valid=(NEAR,),
    note="Holds for the grain, test weight and moisture the points were taken at.",
)
METHODS = (METERING,)

Basis = Literal["between-points", "proportional", "near-extrapolation", "far-extrapolation"]


@dataclass(frozen=True, slots=True)
class Metering:
    """The setting to dial.

    Attributes
    ----------
    setting : Estimate
        On the drive's own scale; the band holds that of the rate and the scatter of the points.
    basis : str
        "between-points", "proportional" (one point, near it), "near-extrapolation" (up to a
        quarter beyond the points) or "far-extrapolation" (do not trust it).
    spread : float
        Standard deviation of the points about the curve, as a share of the rate [-].
    doubted : tuple of float or None
        Settings of the two points that contradict each other most, the one that gave more first;
        None where no two do so beyond what timed lots err.
    """

    setting: Estimate
    basis: Basis
    spread: float
    doubted: tuple[float, float] | None = None


def metering_setting(
    rate: Estimate, settings: Sequence[float], rates: Sequence[float]
) -> Metering | None:
    """Setting that gives a rate, or None where the points lie more than twofold away.

    Parameters
    ----------
    rate : Estimate
        Rate wanted with its band [kg/s], in the basis of the points.
    settings : sequence of float
        Settings of the points, above zero.
    rates : sequence of float
        Rates that were seen at them [kg/s], above zero.

    Returns
    -------
    Metering or None
        The setting; None beyond half or twice the points' range.

    Raises
    ------
    Inconsistent
        Settings and rates of different number, rates that fall as the setting rises, or two points
        that contradict each other by far.
    OutOfRange
        A value or a number of points outside its range.

    References
    ----------
    .. [1] Barlow et al., Statistical Inference under Order Restrictions, 1972.
    """
    dial, seen = _checked(settings, rates)
    doubted = _contradiction(dial, seen)
    curve = _rising(dial, seen)
    beyond = _beyond(curve[1], rate.value)
    if not FAR.contains(beyond):
        return None
    spread = _spread(dial, seen, curve)
    return Metering(
        setting=_with_band(rate, curve, spread),
        basis=_basis(curve, beyond),
        spread=spread,
        doubted=doubted,
    )


def _checked(settings: Sequence[float], rates: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    if len(settings) != len(rates):
        raise Inconsistent(
            f"{len(settings)} metering settings and {len(rates)} rates do not pair up",
            "settings",
            "rates",
        )
    POINTS.check(len(settings), "settings")
    dial, seen = SETTING.check(list(settings), "settings"), RATE.check(list(rates), "rates")
    order = np.argsort(dial, kind="stable")
    return dial[order], seen[order]


def _contradiction(dial: FloatArray, seen: FloatArray) -> tuple[float, float] | None:
    """Settings of two points of which the lower gave more than it can have, worst of all pairs."""
    above = np.where(dial[:, None] <= dial, seen[:, None] / seen, 0.0)
    more, less = np.unravel_index(int(np.argmax(above)), above.shape)
    pair = float(dial[more]), float(dial[less])
    if above[more, less] >= REFUSED:
        other = f"setting {pair[1]:g}" if pair[0] < pair[1] else "the same setting"
        raise Inconsistent(
            f"two metering points contradict each other: {{}} at setting {pair[0]:g} and only {{}} "
            f"at {other}; check both, one is far off",
            "rates",
            "settings",
            values=((float(seen[more]), "kg/s"), (float(seen[less]), "kg/s")),
        )
    return pair if above[more, less] >= DOUBTED else None


def _rising(dial: FloatArray, seen: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points of the rising curve: equal settings averaged, adjacent violators pooled."""
    blocks: list[list[float]] = []
    for setting in np.unique(dial):
        same = seen[dial == setting]
        blocks.append([float(setting), float(np.mean(same)), float(same.size)])
        while len(blocks) > 1 and blocks[-1][1] <= blocks[-2][1]:
            last, before = blocks.pop(), blocks.pop()
            weight = last[2] + before[2]
            mean = [(last[2] * last[k] + before[2] * before[k]) / weight for k in (0, 1)]
            blocks.append([*mean, weight])
    if len(blocks) == 1 and np.unique(dial).size > 1:
        raise Inconsistent(
            "the rates do not rise with the metering setting; check the points", "rates", "settings"
        )
    curve = np.array(blocks)
    return curve[:, 0], curve[:, 1]


def _setting_at(curve: tuple[FloatArray, FloatArray], rate: float) -> float:
    """Along the curve; beyond its ends proportional to the nearest end."""
    dial, seen = curve
    if rate <= seen[0]:
        return float(dial[0] * rate / seen[0])
    if rate >= seen[-1]:
        return float(dial[-1] * rate / seen[-1])
    return float(np.interp(rate, seen, dial))


def _with_band(rate: Estimate, curve: tuple[FloatArray, FloatArray], spread: float) -> Estimate:
    scatter = NORMAL_90 * spread
    down = float(np.hypot(1.0 - rate.low / rate.value, scatter))
    up = float(np.hypot(rate.high / rate.value - 1.0, scatter))
    return Estimate(
        _setting_at(curve, rate.value),
        _setting_at(curve, rate.value * max(1.0 - down, 0.0)),
        _setting_at(curve, rate.value * (1.0 + up)),
    )


def _spread(dial: FloatArray, seen: FloatArray, curve: tuple[FloatArray, FloatArray]) -> float:
    """Scatter of the points about the curve, pooled with the spread taken for one point."""
    fitted = np.interp(dial, curve[0], curve[1])
    freedom = dial.size - curve[0].size
    squares = float(np.sum((seen / fitted - 1.0) ** 2))
    return float(np.sqrt((squares + POINT_SPREAD**2) / (freedom + 1.0)))


def _beyond(seen: FloatArray, rate: float) -> float:
    """One inside the points, else the rate over the nearest end."""
    return float(rate / np.clip(rate, seen[0], seen[-1]))


def _basis(curve: tuple[FloatArray, FloatArray], beyond: float) -> Basis:
    if not NEAR.contains(beyond):
        return "far-extrapolation"
    if curve[0].size == 1:
        return "proportional"
    return "between-points" if beyond == 1.0 else "near-extrapolation"
