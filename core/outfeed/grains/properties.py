"""What is measured of a grain: one figure, one range, one set of constants, with its origin.

All in SI. `source`, `known`, `note`, `printed` and `source_key` mean the same
everywhere and are explained at `Known`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

HENDERSON: Final = "henderson-modified"
CHUNG_PFOST: Final = "chung-pfost-modified"
HALSEY: Final = "halsey-modified"
OSWIN: Final = "oswin-modified"
GAB: Final = "gab"
FORMS: Final = (HENDERSON, CHUNG_PFOST, HALSEY, OSWIN, GAB)


@dataclass(frozen=True, slots=True)
class Source:
    """A published work that the catalogue draws on.

    Attributes
    ----------
    key : str
        Short name by which the data files refer to it.
    citation : str
        Full citation.
    kind : str
        "standard", "paper", "handbook", "extension", "regulation" or "authority".
    jurisdiction : str
        Country or region whose practice it speaks for; empty when general.
    """

    key: str
    citation: str
    kind: str
    jurisdiction: str = ""


@dataclass(frozen=True, slots=True)
class Known:
    """One figure with its origin.

    Attributes
    ----------
    value : float
        The figure in `unit`.
    unit : str
        SI unit; empty when dimensionless.
    source : str
        Citation.
    known : str
        How the figure is known ("read", "recalled", ...; see `outfeed.methods`).
    note : str
        What a user must know before relying on it.
    printed : str
        The figure as the data file states it, in the source's own unit.
    source_key : str
        Key of the source in the catalogue.
    """

    value: float
    unit: str
    source: str
    known: str
    note: str = ""
    printed: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class KnownSpan:
    """A published figure that may be a range; `low` equals `high` when it is not.

    Attributes
    ----------
    low, high : float
        Ends of the range, in `unit`.
    unit : str
        SI unit; empty when dimensionless.
    source, known, note, printed, source_key : str
        As for `Known`.
    """

    low: float
    high: float
    unit: str
    source: str
    known: str
    note: str = ""
    printed: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class NamedKnown:
    """A figure for grain of any kind, with what it is.

    Attributes
    ----------
    name : str
        What the figure is, in words.
    applies_to : tuple of str
        Grain ids it was measured on; empty when it is stated for any grain.
    figure : Known
        The figure.
    """

    name: str
    applies_to: tuple[str, ...]
    figure: Known


@dataclass(frozen=True, slots=True)
class IsothermSet:
    """Constants of one equilibrium-moisture equation for one grain.

    Attributes
    ----------
    method : str
        Method id, ``emc.<form>.<constant set>``.
    form : str
        One of `FORMS`.
    a, b, c : float
        Constants of the form, for temperature in degC, relative humidity as a fraction and
        moisture in percent, dry basis.
    se_rh : float or None
        Standard error of relative humidity as a fraction, where the source gives one.
    source, known, note, source_key : str
        As for `Known`.
    """

    method: str
    form: str
    a: float
    b: float
    c: float
    se_rh: float | None
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class Kinetics:
    """A drying-rate equation that was published for this grain.

    Attributes
    ----------
    method : str
        Method id of `outfeed.thin_layer`, where the equation and its range stand.
    default_from, default_to : float or None
        Air temperatures [degC] between which it is the catalogue's choice for a thin layer;
        both ``None`` when it is never the default.
    default_in_column : bool
        Whether it is the catalogue's choice inside a dryer column.
    source, known, note, source_key : str
        As for `Known`.
    """

    method: str
    default_from: float | None
    default_to: float | None
    default_in_column: bool
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class LinearInMoisture:
    """A property that follows ``a + b * moisture_wb``.

    Attributes
    ----------
    a, b : float
        Constants in `unit`, for moisture as a fraction, wet basis.
    unit : str
        SI unit: J/(kg K) of wet grain for specific heat, W/(m K) for conductivity.
    measured_on : str
        The grain that was measured, when it is a relative of this one; empty otherwise.
    source, known, note, source_key : str
        As for `Known`.
    """

    a: float
    b: float
    unit: str
    measured_on: str
    source: str
    known: str
    note: str = ""
    source_key: str = ""

    def at(self, moisture_wb: float) -> float:
        """Value at a moisture.

        Parameters
        ----------
        moisture_wb : float
            Moisture, wet basis, fraction [-].

        Returns
        -------
        float
            The property, in `unit`.
        """
        return self.a + self.b * moisture_wb


@dataclass(frozen=True, slots=True)
class BulkDensity:
    """Density of the loosely filled bed, a polynomial in moisture.

    Attributes
    ----------
    coefficients : tuple of float
        Constant term first [kg/m3], for moisture as a fraction, wet basis.
    moisture_from, moisture_to : float or None
        Moisture range of the measurements, wet basis, fraction; ``None`` when not stated.
    measured_on : str
        The grain that was measured, when it is a relative of this one; empty otherwise.
    source, known, note, source_key : str
        As for `Known`.
    """

    coefficients: tuple[float, ...]
    moisture_from: float | None
    moisture_to: float | None
    measured_on: str
    source: str
    known: str
    note: str = ""
    source_key: str = ""

    def at(self, moisture_wb: float) -> float:
        """Density at a moisture, inside or outside the measured range.

        Parameters
        ----------
        moisture_wb : float
            Moisture, wet basis, fraction [-].

        Returns
        -------
        float
            Bulk density [kg/m3 of wet grain].
        """
        return sum(c * moisture_wb**power for power, c in enumerate(self.coefficients))


@dataclass(frozen=True, slots=True)
class AirflowSet:
    """Resistance of a loosely filled bed: pressure drop per depth = a Q^2 / ln(1 + b Q).

    Attributes
    ----------
    a : float
        Constant [Pa s2/m3].
    b : float
        Constant [m2 s/m3].
    q_from, q_to : float or None
        Range of the airflow Q [m3/(s m2)]; ``None`` when the catalogue does not know it.
    name : str
        "main" or "low-flow".
    source, known, note, source_key : str
        As for `Known`.
    """

    a: float
    b: float
    q_from: float | None
    q_to: float | None
    name: str
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class LatentHeat:
    """Heat to remove water: (2502.2 - 2.39 T)(1 + a exp(-b M)) kJ/kg, T in degC, M dry basis.

    Attributes
    ----------
    a, b : float
        Constants, for moisture as a fraction, dry basis [-].
    source, known, note, source_key : str
        As for `Known`.
    """

    a: float
    b: float
    source: str
    known: str
    note: str = ""
    source_key: str = ""
