"""How likely it is that the direction of a move is right."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, erfc, pi, sqrt

import numpy as np

from outfeed.steering.belief import Belief
from outfeed.steering.money import combined
from outfeed.steering.situation import LagDoubt

TAIL_WIDTH = 0.65
"""Width of the distribution behind a stated chance, over the stated standard deviation [-]. It is
Student's t with three degrees of freedom: a lot, a front or a wrong lag makes large errors commoner
than a normal distribution has them; both chosen on simulated seasons, no source."""

STEERED_SD = 0.005
"""How far off a dryer stands that somebody steers, as an SD before anything is read [-]: where
meter or lag are doubted as much as that, a large error is as likely theirs as the dryer's. Chosen
on simulated seasons, no source."""


def chance_of_direction(error: float, doubt: float, lags: LagDoubt) -> float:
    """Chance that an error has the sign that it seems to have.

    A lag that makes the error larger adds nothing to the doubt, and one that turns it round adds
    more than an SD would: so it is the mean over the lags that may be.

    Parameters
    ----------
    error : float
        Expected moisture minus the aim, fractions of wet basis [-].
    doubt : float
        Its SD but for the lag [-], above 0.
    lags : LagDoubt
        What is expected with other transport lags.

    Returns
    -------
    float
        At least one half [-].
    """
    each = [
        _surely_positive(np.sign(error) * (error + shift), combined(doubt, guessed))
        for shift, guessed in zip(lags.shifts, lags.guessed, strict=True)
    ]
    return max(0.5, float(np.average(each, weights=lags.weights)))


@dataclass(frozen=True, slots=True)
class PerInlet:
    """What a change of inlet moisture asks of the column setpoint.

    Attributes
    ----------
    size : float
        Change of setpoint per change of inlet moisture that keeps the outlet [K].
    sd : float
        Its standard deviation [K].
    chance : float
        Chance that the setpoint has to go that way, 0.5 to 1 [-].
    """

    size: float
    sd: float
    chance: float


def setpoint_per_inlet(belief: Belief) -> PerInlet:
    """Setpoint per inlet moisture, as surely as a belief knows it.

    The setpoint makes up B points at the discharge per point at the inlet with S points per degree,
    so it is -B / S. That a hotter column leaves drier grain is sure; the way then hangs on the sign
    of B.

    Parameters
    ----------
    belief : Belief
        What is known, or thought before any reading.

    Returns
    -------
    PerInlet
        The SD by propagation to first order of both doubts and what they share; the chance of a
        normal distribution.
    """
    slope, effect = belief.sensitivity, belief.inlet_effect
    _, _, _, of_slope, shared, of_effect = belief.covariance
    size = 0.0 - effect / slope  # never -0.0
    variance = (of_effect + 2.0 * size * shared + size**2 * of_slope) / slope**2
    chance = 1.0 - 0.5 * erfc(abs(effect) / sqrt(2.0 * of_effect))
    return PerInlet(size, sqrt(max(0.0, variance)), chance)


def _surely_positive(error: float, doubt: float) -> float:
    """Chance that an error of this SD is positive.

    What is believed of a steered dryer beforehand draws the error to zero, and the doubt with it
    (Gauss); then Student's t with three degrees of freedom, in closed form.
    """
    z = error / doubt * STEERED_SD / combined(STEERED_SD, doubt)
    x = z / TAIL_WIDTH / sqrt(3.0)
    return 0.5 + (x / (1.0 + x * x) + atan(x)) / pi
