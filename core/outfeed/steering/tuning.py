"""Tuning of a controller from what is known of its plant.

The rules of Skogestad [1]_ for a first-order plant with dead time, in the units of the caller's own
output; they stand beside a multiplier on the present gain, which needs no plant. How far that gain
stands from the limit of stability is told by the decay of a swing.

References
----------
.. [1] Skogestad, S. (2003). Simple analytic rules for model reduction and PID controller tuning.
   Journal of Process Control 13, 291-309.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from outfeed.errors import UnknownName
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import DERIVED, SECOND_SOURCE, Method

PI = "pi"
INTEGRAL_ONLY = "integral-only"
CONTROLLERS = (PI, INTEGRAL_ONLY)

PLANT_GAIN = Range("size of the plant's gain", 1e-6, 1e6, "K", SENSIBLE)
DEAD_TIME = Range("dead time of the plant", 1.0, 86_400.0, "s", SENSIBLE)
LAG = Range("lag of the plant", 1.0, 172_800.0, "s", SENSIBLE)

# ln(decay ratio) = c (1 - 1/g), g the gain over the ultimate gain: fitted to exact closed-loop
# poles of one- and two-lag plants with dead time; checked in the bench.
DECAY_CONSTANT = {PI: 2.75, INTEGRAL_ONLY: 2.0}

DECAY_RATIO = Range("decay ratio of a swing", 1e-6, 1e6, "", SENSIBLE)

DECAY = Method(
    "steering.gain.decay-ratio",
    "Gain over ultimate gain from the decay ratio of a swing",
    "fitted to closed-loop poles; quarter damping after Ziegler and Nichols (1942), Trans. ASME "
    "64, 759-768",
    DERIVED,
)
INTERNAL_MODEL = Method(
    "steering.gain.internal-model",
    "Gain and integral time of a first-order plant with dead time",
    "Skogestad (2003), Simple analytic rules for model reduction and PID controller tuning, "
    "J. Process Control 13, 291-309",
    SECOND_SOURCE,
)
METHODS = (DECAY, INTERNAL_MODEL)


@dataclass(frozen=True, slots=True)
class Plant:
    """What is known of the plant: temperature against output.

    Attributes
    ----------
    gain : float
        Change of temperature per unit of output [K per unit]; its sign does not matter for tuning.
    dead_time : float
        Time before anything shows [s].
    lag : float
        Time constant after it [s].
    """

    gain: float
    dead_time: float
    lag: float


@dataclass(frozen=True, slots=True)
class PhysicalGain:
    """Tuning from the plant.

    Attributes
    ----------
    proportional : float
        Proportional gain [unit per K]; zero for an integral-only controller.
    integral : float
        Integral gain [unit per K per s].
    integral_time : float or None
        Integral time [s]; None for an integral-only controller.
    """

    proportional: float
    integral: float
    integral_time: float | None


def internal_model_gain(plant: Plant, controller: str = PI) -> PhysicalGain:
    """Tuning of Skogestad's simple rules, closed-loop time equal to the dead time.

    Parameters
    ----------
    plant : Plant
        First-order plant with dead time.
    controller : str
        "pi" or "integral-only".

    Returns
    -------
    PhysicalGain
        PI: Kc = tau / (2 K theta), Ti = min(tau, 8 theta). Integral-only: the rule for a plant of
        dead time alone, 1 / (2 K theta), with the lag counted as dead time.

    Raises
    ------
    OutOfRange
        A dead time or lag outside its range, or a plant gain of zero.

    References
    ----------
    .. [1] Skogestad, S. (2003). J. Process Control 13, 291-309.
    """
    theta = float(DEAD_TIME.check(plant.dead_time, "dead_time"))
    tau = float(LAG.check(plant.lag, "lag"))
    size = float(PLANT_GAIN.check(abs(plant.gain), "gain"))
    if known_controller(controller) == INTEGRAL_ONLY:
        return PhysicalGain(0.0, 1.0 / (2.0 * size * (theta + tau)), None)
    proportional = tau / (2.0 * size * theta)
    integral_time = min(tau, 8.0 * theta)
    return PhysicalGain(proportional, proportional / integral_time, integral_time)


def share_of_ultimate_gain(decay_ratio: float, controller: str = PI) -> float:
    """Present gain over the ultimate gain, from the decay ratio of the swing.

    Parameters
    ----------
    decay_ratio : float
        Ratio of one swing to the one before [-], 1e-6 to 1e6.
    controller : str
        "pi" or "integral-only".

    Returns
    -------
    float
        Gain over ultimate gain, at most 3 [-].

    Raises
    ------
    OutOfRange
        A decay ratio outside its range.
    UnknownName
        A controller kind that does not exist.
    """
    constant = DECAY_CONSTANT[known_controller(controller)]
    below = 1.0 - math.log(float(DECAY_RATIO.check(decay_ratio, "decay_ratio"))) / constant
    return 1.0 / max(below, 1.0 / 3.0)


def known_controller(controller: str) -> str:
    """Refuse a kind of controller that does not exist.

    Parameters
    ----------
    controller : str
        "pi" or "integral-only".

    Returns
    -------
    str
        The same.

    Raises
    ------
    UnknownName
        Another one.
    """
    if controller not in CONTROLLERS:
        raise UnknownName("controller", controller, CONTROLLERS, name="controller")
    return controller
