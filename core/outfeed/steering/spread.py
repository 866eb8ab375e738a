"""How sure a belief is, in numbers that a person can read: standard deviations and correlations."""

from __future__ import annotations

from math import sqrt

from outfeed.errors import Inconsistent
from outfeed.steering.belief import Belief


def covariance_from(
    deviations: tuple[float, float, float], correlations: tuple[float, float, float]
) -> tuple[float, float, float, float, float, float]:
    """The covariance of a belief from standard deviations and correlations.

    Parameters
    ----------
    deviations : tuple of float
        SD of level [-], sensitivity [1/K] and inlet effect [-].
    correlations : tuple of float
        Level-sensitivity, level-inlet, sensitivity-inlet [-].

    Returns
    -------
    tuple of float
        Upper triangle by rows.

    Raises
    ------
    Inconsistent
        Correlations that no three quantities can have.
    """
    a, b, c = correlations
    # determinant of the correlation matrix; a rounding error below zero is forgiven
    if 1 + 2 * a * b * c - a * a - b * b - c * c < -1e-6:
        raise Inconsistent("no three quantities can have these correlations", "belief")
    x, y, z = deviations
    return (x * x, a * x * y, b * x * z, y * y, c * y * z, z * z)


def spread_of(belief: Belief) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Standard deviations and correlations of a belief; undoes `covariance_from`.

    Parameters
    ----------
    belief : Belief
        What is known.

    Returns
    -------
    tuple
        SD of level [-], sensitivity [1/K] and inlet effect [-]; then the correlations
        level-sensitivity, level-inlet, sensitivity-inlet [-].
    """
    xx, xy, xz, yy, yz, zz = belief.covariance
    x, y, z = sqrt(xx), sqrt(yy), sqrt(zz)
    return (x, y, z), (xy / (x * y), xz / (x * z), yz / (y * z))
