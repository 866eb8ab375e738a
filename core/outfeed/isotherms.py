"""The five equilibrium-moisture equations: moisture, humidity, and how humidity moves.

Each form gives moisture from temperature and relative humidity, its inverse, and the two
slopes of ln(relative humidity) from which heats of sorption follow. Temperature T in degC,
relative humidity as a fraction, moisture M in percent, dry basis, as the constants are printed.
A form answers only where its equation means something; elsewhere `bounds` says where that is.

Sources
-------
.. [1] ASAE D245.4 to D245.6, Moisture relationships of plant-based agricultural products.
.. [2] Henderson 1952; Thompson, Peart & Foster 1968. Chung & Pfost 1967. Halsey 1948;
   Iglesias & Chirife 1976. Oswin 1946; Chen & Morey 1989. Van den Berg & Bruin 1981 (GAB).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray

__all__ = ["FORMS", "Constants", "Form"]

Constants = tuple[float, float, float]
Field = Callable[[Constants, FloatArray, FloatArray], FloatArray]

_TINY = 1e-300  # keeps a logarithm or a power finite where the limit is put in beside it


@dataclass(frozen=True, slots=True)
class Form:
    """One equation of sorption.

    Attributes
    ----------
    moisture : callable
        (constants, T, RH) to M [% d.b.].
    humidity : callable
        (constants, T, M) to RH [-].
    slopes : callable
        (constants, T, M) to d ln(RH)/dT at constant M [1/K] and d ln(RH)/dM at constant T
        [1/% d.b.]; both positive in every published set.
    temperatures : callable
        constants to the open interval of T [degC] in which the equation means something.
    driest : callable
        (constants, T) to the relative humidity at which M reaches 0; below it M is negative.
    """

    moisture: Field
    humidity: Field
    slopes: Callable[[Constants, FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
    temperatures: Callable[[Constants], tuple[float, float]]
    driest: Callable[[Constants, FloatArray], FloatArray]


# Modified Henderson: 1 - RH = exp(-A (T + C) M^B) -------------------------------------------


def _henderson_moisture(k: Constants, t: FloatArray, rh: FloatArray) -> FloatArray:
    a, b, c = k
    return (-np.log1p(-rh) / (a * (t + c))) ** (1.0 / b)


def _henderson_humidity(k: Constants, t: FloatArray, m: FloatArray) -> FloatArray:
    a, b, c = k
    return -np.expm1(-a * (t + c) * m**b)


def _henderson_slopes(k: Constants, t: FloatArray, m: FloatArray) -> tuple[FloatArray, FloatArray]:
    a, b, c = k
    x = a * (t + c) * m**b
    share = np.where(x > 0.0, x, 1.0) / np.expm1(np.where(x > 0.0, np.minimum(x, 700.0), 1.0))
    share = np.where(x > 0.0, share, 1.0)
    return share / (t + c), b * share / np.maximum(m, _TINY)


# Modified Chung-Pfost: ln RH = -A/(T + C) exp(-B M) -----------------------------------------


def _chung_pfost_moisture(k: Constants, t: FloatArray, rh: FloatArray) -> FloatArray:
    a, b, c = k
    return -np.log(-(t + c) * np.log(rh) / a) / b


def _chung_pfost_humidity(k: Constants, t: FloatArray, m: FloatArray) -> FloatArray:
    a, b, c = k
    return np.exp(-a / (t + c) * np.exp(-b * m))


def _chung_pfost_slopes(
    k: Constants, t: FloatArray, m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    a, b, c = k
    pull = a / (t + c) * np.exp(-b * m)
    return pull / (t + c), b * pull


# Modified Halsey: ln RH = -exp(A + B T) M^-C -------------------------------------------------


def _halsey_moisture(k: Constants, t: FloatArray, rh: FloatArray) -> FloatArray:
    a, b, c = k
    return (np.exp(a + b * t) / -np.log(np.maximum(rh, _TINY))) ** (1.0 / c) * (rh > 0.0)


def _halsey_humidity(k: Constants, t: FloatArray, m: FloatArray) -> FloatArray:
    return np.exp(-_halsey_pull(k, t, m)) * (m > 0.0)


def _halsey_slopes(k: Constants, t: FloatArray, m: FloatArray) -> tuple[FloatArray, FloatArray]:
    _, b, c = k
    pull = _halsey_pull(k, t, m)
    return -b * pull, c * pull / np.maximum(m, _TINY)


def _halsey_pull(k: Constants, t: FloatArray, m: FloatArray) -> FloatArray:
    a, b, c = k
    return np.exp(a + b * t - c * np.log(np.maximum(m, 1e-6)))


# Modified Oswin: RH/(1 - RH) = (M/(A + B T))^C -----------------------------------------------


def _oswin_moisture(k: Constants, t: FloatArray, rh: FloatArray) -> FloatArray:
    a, b, c = k
    return (a + b * t) * (rh / (1.0 - rh)) ** (1.0 / c)


def _oswin_humidity(k: Constants, t: FloatArray, m: FloatArray) -> FloatArray:
    a, b, c = k
    odds = (m / (a + b * t)) ** c
    return odds / (1.0 + odds)


def _oswin_slopes(k: Constants, t: FloatArray, m: FloatArray) -> tuple[FloatArray, FloatArray]:
    a, b, c = k
    dry = c * (1.0 - _oswin_humidity(k, t, m))
    return -b / (a + b * t) * dry, dry / np.maximum(m, _TINY)


# Guggenheim-Anderson-de Boer: no temperature in it -------------------------------------------


def _gab_moisture(k: Constants, t: FloatArray, rh: FloatArray) -> FloatArray:
    a, b, c = k
    u = b * rh
    return a * c * u / ((1.0 - u) * (1.0 - u + c * u)) + 0.0 * t


def _gab_humidity(k: Constants, t: FloatArray, m: FloatArray) -> FloatArray:
    """Positive root of (C - 1) M u^2 + (A C - M (C - 2)) u - M = 0, u = B RH."""
    a, b, c = k
    half = a * c - m * (c - 2.0)
    root = np.sqrt(half * half + 4.0 * (c - 1.0) * m * m)
    return 2.0 * m / (half + root) / b + 0.0 * t


def _gab_slopes(k: Constants, t: FloatArray, m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """From d ln M / d ln u = 1 + u/(1 - u) - (C - 1) u/(1 + (C - 1) u)."""
    _, b, c = k
    u = b * _gab_humidity(k, t, m)
    steepness = 1.0 + u / (1.0 - u) - (c - 1.0) * u / (1.0 + (c - 1.0) * u)
    return np.zeros_like(u), 1.0 / (steepness * np.maximum(m, _TINY))


def _everywhere(_: Constants) -> tuple[float, float]:
    return (-np.inf, np.inf)


def _above_minus_c(k: Constants) -> tuple[float, float]:
    return (-k[2], np.inf)


def _positive_oswin(k: Constants) -> tuple[float, float]:
    a, b, _ = k
    return (-np.inf, -a / b) if b < 0.0 else (-a / b if b > 0.0 else -np.inf, np.inf)


def _zero_humidity(_: Constants, t: FloatArray) -> FloatArray:
    return np.zeros_like(t)


def _chung_pfost_driest(k: Constants, t: FloatArray) -> FloatArray:
    a, _, c = k
    return np.maximum(np.exp(-a / (t + c)), _TINY)


FORMS: dict[str, Form] = {
    "henderson-modified": Form(
        _henderson_moisture, _henderson_humidity, _henderson_slopes, _above_minus_c, _zero_humidity
    ),
    "chung-pfost-modified": Form(
        _chung_pfost_moisture,
        _chung_pfost_humidity,
        _chung_pfost_slopes,
        _above_minus_c,
        _chung_pfost_driest,
    ),
    "halsey-modified": Form(
        _halsey_moisture, _halsey_humidity, _halsey_slopes, _everywhere, _zero_humidity
    ),
    "oswin-modified": Form(
        _oswin_moisture, _oswin_humidity, _oswin_slopes, _positive_oswin, _zero_humidity
    ),
    "gab": Form(_gab_moisture, _gab_humidity, _gab_slopes, _everywhere, _zero_humidity),
}
"""By the id that a set of constants carries."""
