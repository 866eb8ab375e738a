"""Array habits shared by the modules: names for types, one shape for many, and unbroken runs."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["ArrayLike", "BoolArray", "FloatArray", "IndexArray", "as_floats", "runs_of"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IndexArray = NDArray[np.intp]


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


def runs_of(mask: BoolArray) -> tuple[IndexArray, IndexArray]:
    """First and one-past-last place of each unbroken run of true.

    Parameters
    ----------
    mask : ndarray of bool
        Shape (n,).

    Returns
    -------
    tuple of ndarray
        Starts and ends, both of shape (number of runs,).
    """
    edges = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0))
    return edges[0::2], edges[1::2]
