"""Tuning of a controller from what is known of its plant.

The rules of Skogestad [1]_ for a first-order plant with dead time, in the units of the caller's own
output; they stand beside a multiplier on the present gain, which needs no plant.

References
----------
.. [1] Skogestad, S. (2003). Simple analytic rules for model reduction and PID controller tuning.
   Journal of Process Control 13, 291-309.
"""

from __future__ import annotations

from dataclasses import dataclass

from outfeed.errors import UnknownName
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import SECOND_SOURCE, Method

PI = "pi"
INTEGRAL_ONLY = "integral-only"
CONTROLLERS = (PI, INTEGRAL_ONLY)

PLANT_GAIN = Range("size of the plant's gain", 1e-6, 1e6, "K", SENSIBLE)
DEAD_TIME = Range("dead time of the plant", 1.0, 86_400.0, "s", SENSIBLE)
LAG = Range("lag of the plant", 1.0, 172_800.0, "s", SENSIBLE)

INTERNAL_MODEL = Method(
    "steering.gain.internal-model",
    "Gain and integral time of a first-order plant with dead time",
    "Skogestad (2003), Simple analytic rules for model reduction and PID controller tuning, "
    "J. Process Control 13, 291-309",
    SECOND_SOURCE,
)
METHODS = (INTERNAL_MODEL,)


@dataclass(frozen=True, slots=True)
class Plant:
    """What is known of the plant: temperature against output.

    Attributes
    ----------
    gain : float
        Change of temperature per unit of output [K per unit]; its sign does not matter.
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
