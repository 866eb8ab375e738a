"""Saturation and sorption inside the column: the formulas of `outfeed.moist_air` and
`outfeed.sorption`, written for the inner loop.

They are evaluated a hundred thousand times an answer, without checks or masks, on plain floats or
on arrays; a test proves that they give what the checked functions give. Each isotherm also gives
its slope, which the humidity step needs.

Sources: Hyland R.W. & Wexler A. (1983) ASHRAE Trans. 89(2A):500-519 (saturation over liquid);
ASAE D245 (forms of the isotherms).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from outfeed.errors import UnknownName
from outfeed.grains import IsothermSet
from outfeed.numbers import Numbers

KELVIN = 273.15
LEAST_TERM = 1e-9
"""Floor under terms that an equation divides by or raises to a power, far outside its range [-]."""

Sorption = Callable[[Any, Any], tuple[Any, Any]]


def saturation_of(number: Numbers) -> Callable[[Any], Any]:
    """Saturation pressure over liquid water [Pa] at a temperature [degC].

    Parameters
    ----------
    number : Numbers
        Kind of number.

    Returns
    -------
    callable
        ``p_sat(temperature)``.
    """
    exp, log = number.exp, number.log

    def saturation(temperature: Any) -> Any:
        K = temperature + KELVIN
        return exp(
            -5.8002206e3 / K
            + 1.3914993
            + K * (-4.8640239e-2 + K * (4.1764768e-5 - 1.4452093e-8 * K))
            + 6.5459673 * log(K)
        )

    return saturation


def sorption_of(constants: IsothermSet, number: Numbers) -> Sorption:
    """Equilibrium moisture and its slope against relative humidity.

    Parameters
    ----------
    constants : IsothermSet
        Form and constants.
    number : Numbers
        Kind of number.

    Returns
    -------
    callable
        ``(phi, temperature) -> (Me, dMe/dphi)``: fractions, dry basis; temperature in degC.

    Raises
    ------
    UnknownName
        A form the library does not have.
    """
    try:
        form = _FORMS[constants.form]
    except KeyError:
        raise UnknownName("isotherm form", constants.form, tuple(_FORMS), name="isotherm") from None
    return form(constants, number)


def _henderson(constants: IsothermSet, number: Numbers) -> Sorption:
    log, raised, larger = number.log, number.power, number.larger
    A, power, C = constants.a, 1.0 / constants.b, constants.c

    def sorption(phi: Any, T: Any) -> tuple[Any, Any]:
        dry = 1.0 - phi
        depth = -log(dry)
        Me = 0.01 * raised(depth / (A * larger(T + C, 1.0)), power)
        return Me, power * Me / (depth * dry)

    return sorption


def _chung_pfost(constants: IsothermSet, number: Numbers) -> Sorption:
    log, larger = number.log, number.larger
    A, B, C = constants.a, constants.b, constants.c

    def sorption(phi: Any, T: Any) -> tuple[Any, Any]:
        lack = log(phi)
        # Negative in hot dry air: there the equation has left its range and nothing is held.
        Me = larger(-0.01 / B * log(larger(T + C, 1.0) * -lack / A), 0.0)
        return Me, -0.01 / (B * phi * lack)

    return sorption


def _halsey(constants: IsothermSet, number: Numbers) -> Sorption:
    exp, log, raised = number.exp, number.log, number.power
    A, B, power = constants.a, constants.b, 1.0 / constants.c

    def sorption(phi: Any, T: Any) -> tuple[Any, Any]:
        lack = -log(phi)
        Me = 0.01 * raised(exp(A + B * T) / lack, power)
        return Me, power * Me / (phi * lack)

    return sorption


def _oswin(constants: IsothermSet, number: Numbers) -> Sorption:
    larger, raised = number.larger, number.power
    A, B, power = constants.a, constants.b, 1.0 / constants.c

    def sorption(phi: Any, T: Any) -> tuple[Any, Any]:
        dry = 1.0 - phi
        Me = 0.01 * larger(A + B * T, LEAST_TERM) * raised(phi / dry, power)
        return Me, power * Me / (phi * dry)

    return sorption


def _gab(constants: IsothermSet, number: Numbers) -> Sorption:  # noqa: ARG001
    A, B, C = constants.a, constants.b, constants.c

    def sorption(phi: Any, T: Any) -> tuple[Any, Any]:  # noqa: ARG001
        dry = 1.0 - B * phi
        mono = dry + B * C * phi
        Me = 0.01 * A * B * C * phi / (dry * mono)
        return Me, Me * (1.0 / phi + B / dry - B * (C - 1.0) / mono)

    return sorption


_FORMS: dict[str, Callable[[IsothermSet, Numbers], Sorption]] = {
    "henderson-modified": _henderson,
    "chung-pfost-modified": _chung_pfost,
    "halsey-modified": _halsey,
    "oswin-modified": _oswin,
    "gab": _gab,
}
