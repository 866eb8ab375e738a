"""How likely it is that the direction away from an error of the moisture is right."""

from __future__ import annotations

from math import atan, pi, sqrt

import numpy as np

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


def _surely_positive(error: float, doubt: float) -> float:
    """Chance that an error of this SD is positive.

    What is believed of a steered dryer beforehand draws the error to zero, and the doubt with it
    (Gauss); then Student's t with three degrees of freedom, in closed form.
    """
    z = error / doubt * STEERED_SD / combined(STEERED_SD, doubt)
    x = z / TAIL_WIDTH / sqrt(3.0)
    return 0.5 + (x / (1.0 + x * x) + atan(x)) / pi
