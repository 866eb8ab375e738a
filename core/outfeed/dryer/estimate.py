"""A value with its 90 % band, as every computed figure of a dryer is handed out."""

from __future__ import annotations

from dataclasses import dataclass

NORMAL_90 = 1.645
"""Half-width of a 90 % interval in standard deviations of a normal distribution."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 90 % band.

    Attributes
    ----------
    value : float
        Best estimate.
    low, high : float
        Ends of the band.
    """

    value: float
    low: float
    high: float

    def scaled(self, factor: float) -> Estimate:
        """The same estimate in another unit or basis.

        Parameters
        ----------
        factor : float
            Multiplier, above zero [-].

        Returns
        -------
        Estimate
            Value and ends multiplied.
        """
        return Estimate(self.value * factor, self.low * factor, self.high * factor)
