"""Numbers on a scale of the caller's own, of a drive or a controller, in sentences."""

from __future__ import annotations

import numpy as np

from outfeed_api.units import rounded

DIGITS = 3


def three_digits(value: float) -> str:
    """A number whose size nobody knows beforehand, without a power of ten.

    Parameters
    ----------
    value : float
        A finite number, in the caller's unit.

    Returns
    -------
    str
        To three significant digits: "34.5", "1250", "0.000012".
    """
    return np.format_float_positional(rounded(value, DIGITS), trim="-")
