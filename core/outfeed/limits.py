"""The ranges in which Outfeed will answer, each stated once.

A `Range` is the single home of a limit: the library checks it, the service
shows it in the contract and in its error answers. Ranges that more than one
module needs stand here; a range that belongs to one method stands beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.errors import OutOfRange

_BLUR = 1e-9
"""What conversion of units leaves of an end, over the width of its range [-]."""


@dataclass(frozen=True, slots=True)
class Range:
    """A closed interval of one quantity, with the reason for its ends.

    Attributes
    ----------
    quantity : str
        What is limited, in words.
    low, high : float
        Ends of the interval, in `unit`; both are allowed values.
    unit : str
        SI unit; empty when dimensionless.
    source : str
        Where the limit comes from.
    above, below : str
        What a value above or below it may mean, where a reader must know; empty where it means
        nothing.
    """

    quantity: str
    low: float
    high: float
    unit: str
    source: str
    above: str = ""
    below: str = ""

    def contains(self, value: ArrayLike) -> BoolArray:
        """Where a value lies inside the range; NaN never does."""
        array = np.asarray(value, dtype=np.float64)
        return np.asarray((array >= self.low) & (array <= self.high))

    def touches(self, value: ArrayLike) -> BoolArray:
        """Where a value lies inside the range or at an end that conversion of units has blurred.

        For saying where a method was used, not for what may be computed: 95 % is 0.9500000000000001
        and 131 degF is 55.00000000000001 degC.
        """
        blur = _BLUR * (self.high - self.low)
        array = np.asarray(value, dtype=np.float64)
        return np.asarray((array >= self.low - blur) & (array <= self.high + blur))

    def nearest(self, value: float) -> float:
        """The value, or the end of the range that it lies beyond."""
        return min(max(value, self.low), self.high)

    def check(self, value: ArrayLike, name: str, *, method: str | None = None) -> FloatArray:
        """Return the value as a float64 array, or refuse it.

        Parameters
        ----------
        value : array_like
            The number or numbers to check, in the range's unit.
        name : str
            Name of the argument, for the error.
        method : str, optional
            Id of the method that imposes the range.

        Returns
        -------
        ndarray
            The value, float64.

        Raises
        ------
        OutOfRange
            With the first offending element.
        """
        array = np.asarray(value, dtype=np.float64)
        inside = self.contains(array)
        if not np.all(inside):
            first = int(np.argmin(inside))
            outside = float(array.reshape(-1)[first])
            raise OutOfRange(
                self.quantity,
                outside,
                (self.low, self.high),
                unit=self.unit,
                name=name,
                index=first if array.ndim else None,
                method=method,
                beyond=self.below if outside < self.low else self.above,
            )
        return array


SENSIBLE = "sensible domain of the job, no source"
BROKEN_OR_FIRE = "a broken sensor, or a fire: look at the dryer"
"""What a temperature means that is hotter than any a sensor in a dryer can show."""
BROKEN = "a broken sensor or wire: look at the sensor"
"""The same of one that is colder."""

SPOKEN = 0.0005
"""Half of the tenth of a point to which moistures are spoken of, wet basis [-]."""

DRY_BULB = Range("dry-bulb temperature", -40.0, 150.0, "degC", SENSIBLE)
AMBIENT = Range("ambient temperature", -40.0, 55.0, "degC", SENSIBLE)
PLENUM = Range("plenum temperature", 0.0, 150.0, "degC", SENSIBLE)
GRAIN_TEMPERATURE = Range("grain temperature", -40.0, 120.0, "degC", SENSIBLE)
PRESSURE = Range("barometric pressure", 50_000.0, 110_000.0, "Pa", SENSIBLE)
ALTITUDE = Range("altitude", -500.0, 5_000.0, "m", SENSIBLE)
RELATIVE_HUMIDITY = Range("relative humidity", 0.0, 1.0, "", "definition")
TRANSIT = Range("transit time", 600.0, 24.0 * 3600.0, "s", "continuous flow; chosen, no source")
MOMENT = Range("time", -1e12, 1e12, "s", "any clock; far beyond every calendar")
MOISTURE_WB = Range("moisture, wet basis", 0.0, 0.60, "", SENSIBLE)
