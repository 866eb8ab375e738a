"""What still counts as level: limits of slope, offset and swing, as far as the moisture allows."""

from __future__ import annotations

from dataclasses import dataclass

from outfeed.limits import SENSIBLE, Range

# Points of moisture per kelvin of column temperature when steering by rate: -0.55 per degree F,
# the middle of what a column model gives for corn of 20 to 28 % inlet moisture.
POINTS_PER_KELVIN = -0.99
MOISTURE_SLOPE_LIMIT = 0.25  # points an hour; chosen, no source
MOISTURE_OFFSET_LIMIT = 0.5  # points; chosen, no source

SENSITIVITY = Range("size of the moisture change per kelvin", 0.05, 5.0, "points/K", SENSIBLE)
#: The same with its sign, as a fraction of the weight per kelvin: what a caller may state.
SENSITIVITY_PER_KELVIN = Range("moisture change per degree", -0.05, -0.0005, "1/K", SENSIBLE)


@dataclass(frozen=True, slots=True)
class TrendLimits:
    """How much movement of the temperature still counts as level.

    Attributes
    ----------
    slope : float
        Largest slope [K/h].
    offset : float
        Largest distance of the mean from the setpoint [K].
    swing : float
        Largest half swing [K].
    """

    slope: float
    offset: float
    swing: float

    @classmethod
    def from_sensitivity(cls, points_per_kelvin: float = POINTS_PER_KELVIN) -> TrendLimits:
        """Limits that keep the outlet moisture within half a point and a quarter point an hour.

        Parameters
        ----------
        points_per_kelvin : float
            Points of outlet moisture per kelvin of column temperature; only its size counts.

        Returns
        -------
        TrendLimits
            The limits.

        Raises
        ------
        OutOfRange
            A size outside 0.05 to 5 points per kelvin.
        """
        size = float(SENSITIVITY.check(abs(points_per_kelvin), "points_per_kelvin"))
        offset = MOISTURE_OFFSET_LIMIT / size
        return cls(MOISTURE_SLOPE_LIMIT / size, offset, offset)
