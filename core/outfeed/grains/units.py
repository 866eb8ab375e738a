"""Units in which the catalogue files state figures, and what they are in SI.

The files keep the unit of the source so that a reader can hold page against
page; this table turns them into SI. The factors are exact by definition (pound
0.45359237 kg, inch 0.0254 m, US bushel 2150.42 cubic inches).
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final, NamedTuple

POUND: Final = 0.45359237
"""Avoirdupois pound [kg], exact by definition."""

BUSHEL_VOLUME: Final = 2150.42 * 0.0254**3
"""US bushel [m3], 2150.42 cubic inches, exact by definition."""


class Unit(NamedTuple):
    """A unit of the files: ``si = (value + shift) * factor``.

    Attributes
    ----------
    si : str
        SI unit of the result; empty when dimensionless.
    factor, shift : float
        Scale and zero shift.
    """

    si: str
    factor: float = 1.0
    shift: float = 0.0


UNITS: Final = MappingProxyType(
    {
        "lb/bu": Unit("kg", POUND),
        "% w.b.": Unit("", 0.01),
        "%": Unit("", 0.01),
        "fraction": Unit(""),
        "degC": Unit("degC"),
        "degF": Unit("degC", 5.0 / 9.0, -32.0),
        "kg/m3": Unit("kg/m3"),
        "specific gravity": Unit("kg/m3", 1000.0),
        "m2/m3": Unit("m2/m3"),
        "days": Unit("s", 86400.0),
        "hours": Unit("s", 3600.0),
    }
)
"""Every unit a data file may name for a single figure."""


class EquationUnit(NamedTuple):
    """Unit of a polynomial in moisture: power ``n`` is scaled by ``factor * moisture**n``.

    Attributes
    ----------
    si : str
        SI unit of the result.
    factor : float
        Scale of the result.
    moisture : float
        What a moisture of one in the file's unit is times as a fraction: 100 for percent.
    """

    si: str
    factor: float
    moisture: float


EQUATION_UNITS: Final = MappingProxyType(
    {
        "kJ/(kg K), moisture in % w.b.": EquationUnit("J/(kg K)", 1000.0, 100.0),
        "kJ/(kg K), moisture as fraction w.b.": EquationUnit("J/(kg K)", 1000.0, 1.0),
        "W/(m K), moisture in % w.b.": EquationUnit("W/(m K)", 1.0, 100.0),
        "kg/m3, moisture in % w.b.": EquationUnit("kg/m3", 1.0, 100.0),
        "kg/m3, moisture as fraction w.b.": EquationUnit("kg/m3", 1.0, 1.0),
    }
)
"""Every unit a data file may name for an equation in moisture."""


def to_si(value: float, unit: str) -> float:
    """A figure of a data file in SI.

    Parameters
    ----------
    value : float
        The figure, in `unit`.
    unit : str
        A key of `UNITS`.

    Returns
    -------
    float
        The figure in ``UNITS[unit].si``.

    Raises
    ------
    KeyError
        A unit the table does not hold.
    """
    scale = UNITS[unit]
    return (value + scale.shift) * scale.factor


def coefficients_to_si(coefficients: list[float], unit: str) -> tuple[float, ...]:
    """Coefficients of a polynomial in moisture, for SI and moisture as a fraction.

    Parameters
    ----------
    coefficients : list of float
        Constant term first, in `unit`.
    unit : str
        A key of `EQUATION_UNITS`.

    Returns
    -------
    tuple of float
        Constant term first, in ``EQUATION_UNITS[unit].si``.

    Raises
    ------
    KeyError
        A unit the table does not hold.
    """
    scale = EQUATION_UNITS[unit]
    return tuple(
        value * scale.factor * scale.moisture**power for power, value in enumerate(coefficients)
    )
