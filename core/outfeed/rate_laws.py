"""Forms of thin-layer laws: the printed one, its inverse, and the rate that a column needs.

Each form gives the moisture ratio after a time, the time to a moisture ratio, and kappa in
``dM/dt = -kappa (M - Me)``, taken at the equivalent time: the time in which the printed law would
have dried the kernel from its first moisture to what it holds now. The published constants stand in
`outfeed.thin_layer`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.numbers import ARRAYS, Numbers

GAS_CONSTANT = 8.314462618
"""Molar gas constant [J/(mol K)]: CODATA 2018, exact."""
KELVIN = 273.15
HOUR = 3600.0
MINUTE = 60.0
THOMPSON_REFERENCE_MOISTURE = 0.03
"""Moisture that stands for equilibrium in Thompson's ratio [kg/kg dry matter]; his was computed
from the air, and at dryer temperatures lies near this."""
THOMPSON_LARGEST_A = -0.05
"""Cap on the first coefficient [h]: without it the law turns around above 371 degF."""
EQUIVALENT_TIME_FLOOR = 60.0
"""Least equivalent time in the rate form of a Page law [s]: with an exponent below one the printed
law starts infinitely fast."""
SLOWEST_RATIO = 1e-6
"""Moisture ratio below which a Page law has no more to say; its equivalent time is held there."""
LARGEST_RATIO = 1.0 - 1e-12
PIVOT_TEMPERATURE = 50.0
"""Temperature at which another activation energy leaves the rate as published [degC]."""

RateLaw = Callable[[Any, Any, Any, Any, Any], Any]
"""``kappa(temperature, relative_humidity, moisture, equilibrium, first_moisture)`` in 1/s."""


@dataclass(frozen=True, slots=True)
class Exponential:
    """MR = exp(-k t) with k = prefactor exp(-activation / T), T in kelvin.

    Attributes
    ----------
    prefactor : float
        Rate at infinite temperature [1/s].
    activation : float
        Activation temperature, activation energy over the gas constant [K].
    """

    prefactor: float
    activation: float

    def rate(self, number: Numbers) -> RateLaw:
        """Rate form for one kind of number."""
        exp, prefactor, activation = number.exp, self.prefactor, -self.activation

        def kappa(T: Any, phi: Any, M: Any, Me: Any, M_in: Any) -> Any:  # noqa: ARG001
            return prefactor * exp(activation / (T + KELVIN))

        return kappa

    def ratio(self, t: FloatArray, T: FloatArray, phi: FloatArray, M0: FloatArray) -> FloatArray:
        """Moisture ratio after t seconds."""
        return np.asarray(np.exp(-self.rate(ARRAYS)(T, phi, M0, M0, M0) * t))

    def time(self, r: FloatArray, T: FloatArray, phi: FloatArray, M0: FloatArray) -> FloatArray:
        """Seconds until the moisture ratio is r."""
        return np.asarray(-np.log(r) / self.rate(ARRAYS)(T, phi, M0, M0, M0))

    def with_activation_energy(self, energy: float) -> Exponential:
        """The same rate at `PIVOT_TEMPERATURE`, with another activation energy [J/mol]."""
        activation = energy / GAS_CONSTANT
        pivot = PIVOT_TEMPERATURE + KELVIN
        scale = math.exp((activation - self.activation) / pivot)
        return Exponential(self.prefactor * scale, activation)


@dataclass(frozen=True, slots=True)
class Thompson:
    """t = A ln r + B (ln r)^2, t in hours, T in degF."""

    def coefficients(self, number: Numbers) -> Callable[[Any], tuple[Any, Any]]:
        """A and B [h] at a temperature in degC."""
        exp, smaller = number.exp, number.smaller

        def at(T: Any) -> tuple[Any, Any]:
            F = 1.8 * T + 32.0
            return smaller(-1.86178 + 0.00488 * F, THOMPSON_LARGEST_A), 427.3640 * exp(-0.03301 * F)

        return at

    def rate(self, number: Numbers) -> RateLaw:
        """Rate form for one kind of number."""
        coefficients, log, larger, smaller = (
            self.coefficients(number),
            number.log,
            number.larger,
            number.smaller,
        )
        reference = THOMPSON_REFERENCE_MOISTURE

        def kappa(T: Any, phi: Any, M: Any, Me: Any, M_in: Any) -> Any:  # noqa: ARG001
            A, B = coefficients(T)
            # A kernel wetter than at the inlet counts as fresh, one drier than the reference as
            # spent: the printed law holds only between.
            r = smaller(larger((M - reference) / (M_in - reference), SLOWEST_RATIO), 1.0)
            return -1.0 / (HOUR * (A + 2.0 * B * log(r)))

        return kappa

    def ratio(self, t: FloatArray, T: FloatArray, *_: FloatArray) -> FloatArray:
        """Moisture ratio after t seconds."""
        A, B = self.coefficients(ARRAYS)(T)
        return np.asarray(np.exp((-A - np.sqrt(A * A + 4.0 * B * t / HOUR)) / (2.0 * B)))

    def time(self, r: FloatArray, T: FloatArray, *_: FloatArray) -> FloatArray:
        """Seconds until the moisture ratio is r."""
        A, B = self.coefficients(ARRAYS)(T)
        return np.asarray(HOUR * (A * np.log(r) + B * np.log(r) ** 2))


@dataclass(frozen=True, slots=True)
class Page:
    """MR = exp(-k t^n) with k and n from temperature, relative humidity and first moisture.

    Attributes
    ----------
    constants : callable
        ``(number, T, phi, M_in) -> (k, n)`` with T in degC, phi and M_in as fractions.
    unit : float
        Seconds in the law's unit of time.
    humidity : tuple of float
        Published range of relative humidity; the rate form holds the humidity at its ends.
    """

    constants: Callable[[Numbers, Any, Any, Any], tuple[Any, Any]]
    unit: float
    humidity: tuple[float, float]

    def rate(self, number: Numbers) -> RateLaw:
        """Rate form for one kind of number."""
        constants, unit, (driest, dampest) = self.constants, self.unit, self.humidity
        log, power, larger, smaller = number.log, number.power, number.larger, number.smaller
        floor = EQUIVALENT_TIME_FLOOR / unit

        def kappa(T: Any, phi: Any, M: Any, Me: Any, M_in: Any) -> Any:
            k, n = constants(number, T, smaller(larger(phi, driest), dampest), M_in)
            span = larger(M_in - Me, SLOWEST_RATIO)
            r = smaller(larger((M - Me) / span, SLOWEST_RATIO), LARGEST_RATIO)
            t = larger(power(-log(r) / k, 1.0 / n), floor)
            return k * n * power(t, n - 1.0) / unit

        return kappa

    def ratio(self, t: FloatArray, T: FloatArray, phi: FloatArray, M0: FloatArray) -> FloatArray:
        """Moisture ratio after t seconds."""
        k, n = self.constants(ARRAYS, T, phi, M0)
        return np.asarray(np.exp(-k * (t / self.unit) ** n))

    def time(self, r: FloatArray, T: FloatArray, phi: FloatArray, M0: FloatArray) -> FloatArray:
        """Seconds until the moisture ratio is r."""
        k, n = self.constants(ARRAYS, T, phi, M0)
        return np.asarray(self.unit * (-np.log(r) / k) ** (1.0 / n))
