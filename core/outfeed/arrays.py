"""Array habits shared by the formula modules: names for types, and scalars that stay scalars."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["ArrayLike", "BoolArray", "FloatArray", "as_floats"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def as_floats(*values: ArrayLike) -> tuple[FloatArray, ...]:
    """Arguments as float64 arrays of one broadcast shape.

    Parameters
    ----------
    *values : array_like
        Numbers or arrays that broadcast against each other [-].

    Returns
    -------
    tuple of ndarray
        Read-only views of the common shape.

    Raises
    ------
    ValueError
        Shapes that do not broadcast.
    """
    return tuple(np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values)))
