"""Which isotherm: the sets published for a grain, their quoted mean, or the caller's own.

Two editions of the standard carry different constants, and the equations inside one edition
differ too. Extension tables for corn, barley and soybean quote the mean of two equations of the
older edition, so that mean is offered under an id of its own.

Sources
-------
.. [1] ASAE D245.4 (before 1995) and D245.5/D245.6 (since), Moisture relationships of
   plant-based agricultural products.
"""

from __future__ import annotations

from dataclasses import dataclass

from outfeed.errors import Inconsistent, UnknownName
from outfeed.grains import Grain, IsothermSet
from outfeed.isotherms import FORMS
from outfeed.limits import Range
from outfeed.methods import DERIVED, RECALLED, REPRODUCED, Method

__all__ = [
    "EXTENSION_MEAN",
    "FITTED_HUMIDITY",
    "FITTED_TEMPERATURE",
    "METHODS",
    "OWN_CONSTANT",
    "Isotherm",
    "MeanIsotherm",
    "choose_isotherm",
    "isotherm_method",
    "isotherms_of",
    "own_isotherm",
]

FITTED_TEMPERATURE = Range("temperature", 0.0, 55.0, "degC", "about where they were fitted")
FITTED_HUMIDITY = Range("relative humidity", 0.10, 0.95, "", "about where they were fitted")
OWN_CONSTANT = Range("isotherm constant", -1e4, 1e4, "", "sensible domain, no source")

OWN_EXPONENT = (0.1, 20.0)
"""Least and largest exponent of one's own constants [-]: published ones run from 0.7 to 3.6;
chosen, no source. A power of thousands, or its root, is no number."""

EXTENSION_MEAN = "emc.extension-mean.d245-4"
_MEAN_PARTS = ("emc.henderson-modified.d245-4", "emc.chung-pfost-modified.d245-4")
_MEAN_GRAINS = ("corn-yellow-dent", "barley", "soybean")
_FITTED = (FITTED_TEMPERATURE, FITTED_HUMIDITY)
_OWN = "own"

_TITLES = {
    "henderson-modified": "modified Henderson equation",
    "chung-pfost-modified": "modified Chung-Pfost equation",
    "halsey-modified": "modified Halsey equation",
    "oswin-modified": "modified Oswin equation",
    "gab": "Guggenheim-Anderson-de Boer equation",
}
_EDITIONS = {"d245-4": "ASAE D245.4", "d245-5": "ASAE D245.5 and D245.6"}


def _title(form: str, constants: str) -> str:
    edition = _EDITIONS.get(constants, "the caller's own")
    return f"Equilibrium moisture by the {_TITLES[form]}, constants of {edition}"


METHODS = (
    *(
        Method(
            f"emc.{form}.{constants}",
            _title(form, constants),
            f"{_EDITIONS[constants]}, Moisture relationships of plant-based agricultural products",
            RECALLED,
            _FITTED,
            "How well the constants are known differs by grain; the catalogue says so for each.",
        )
        for form, constants in (
            ("henderson-modified", "d245-4"),
            ("chung-pfost-modified", "d245-4"),
            ("henderson-modified", "d245-5"),
            ("chung-pfost-modified", "d245-5"),
            ("halsey-modified", "d245-5"),
            ("oswin-modified", "d245-5"),
        )
    ),
    Method(
        EXTENSION_MEAN,
        "Equilibrium moisture as extension tables quote it for corn, barley and soybean",
        "mean of the modified Henderson and Chung-Pfost equations of ASAE D245.4; reproduces "
        "the tables of Hellevang 2010 (NDSU) and McNeill 2012 (University of Kentucky)",
        REPRODUCED,
        _FITTED,
        "Inherits from Chung-Pfost that it has no value in hot dry air.",
    ),
    Method(
        "sorption.clausius-clapeyron",
        "Heat of sorption from the chosen isotherm",
        "Clausius-Clapeyron relation; Brooker, Bakker-Arkema & Hall 1992, chapter 3",
        DERIVED,
        _FITTED,
        "Within about 10 % of measured heats; isotherms without temperature give none.",
    ),
)


@dataclass(frozen=True, slots=True)
class MeanIsotherm:
    """The mean moisture of several sets, as published tables quote it.

    Attributes
    ----------
    method : str
        Method id.
    parts : tuple of IsothermSet
        The sets whose moistures are averaged.
    source, known, note : str
        As for a set.
    """

    method: str
    parts: tuple[IsothermSet, ...]
    source: str
    known: str
    note: str = ""


Isotherm = IsothermSet | MeanIsotherm


def isotherms_of(grain: Grain) -> tuple[Isotherm, ...]:
    """Every isotherm offered for a grain: its published sets, and their quoted mean if any.

    Parameters
    ----------
    grain : Grain
        From the catalogue.

    Returns
    -------
    tuple
        Sets in the catalogue's order, then the mean.
    """
    by_id = {one.method: one for one in grain.isotherms}
    if grain.id not in _MEAN_GRAINS or not all(part in by_id for part in _MEAN_PARTS):
        return grain.isotherms
    mean = next(method for method in METHODS if method.id == EXTENSION_MEAN)
    parts = tuple(by_id[part] for part in _MEAN_PARTS)
    return (*grain.isotherms, MeanIsotherm(mean.id, parts, mean.source, mean.known, mean.note))


def choose_isotherm(grain: Grain, method: str | None = None) -> Isotherm:
    """The grain's isotherm by method id, or its default.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    method : str, optional
        Method id; the catalogue's default when left out.

    Returns
    -------
    IsothermSet or MeanIsotherm
        What to compute with.

    Raises
    ------
    NotPublished
        The grain has no isotherm at all.
    UnknownName
        It has none of that id.
    """
    if method is None or not grain.isotherms:
        return grain.isotherm(method)
    offered = {one.method: one for one in isotherms_of(grain)}
    if method not in offered:
        raise UnknownName("isotherm", method, tuple(offered), name="isotherm")
    return offered[method]


def own_isotherm(form: str, a: float, b: float, c: float) -> IsothermSet:
    """An isotherm with the caller's own constants.

    Parameters
    ----------
    form : str
        "henderson-modified", "chung-pfost-modified", "halsey-modified", "oswin-modified", "gab".
    a, b, c : float
        Its constants, for temperature in degC and moisture in percent, dry basis.

    Returns
    -------
    IsothermSet
        With the method id ``emc.<form>.own``.

    Raises
    ------
    UnknownName
        Another form.
    OutOfRange
        A constant beyond +-10,000.
    Inconsistent
        Constants with which moisture would not rise with relative humidity, or with an exponent
        no grain has.
    """
    if form not in FORMS:
        raise UnknownName("isotherm form", form, tuple(FORMS), name="form")
    for name, value in zip("abc", (a, b, c), strict=True):
        OWN_CONSTANT.check(value, name)
    least, most = OWN_EXPONENT
    within = f"in {least:g} to {most:g}"
    needed = {
        "henderson-modified": (a > 0.0 and least <= b <= most, f"a above 0, b {within}"),
        "chung-pfost-modified": (a > 0.0 and b > 0.0, "a and b above 0"),
        "halsey-modified": (
            least <= c <= most and abs(a) < 100.0 and abs(b) < 1.0,
            f"c {within}, a in -100 to 100 and b in -1 to 1",
        ),
        "oswin-modified": (a > 0.0 and least <= c <= most, f"a above 0, c {within}"),
        "gab": (a > 0.0 and 0.0 < b <= 1.0 and c >= 1.0, "a above 0, b in 0 to 1, c at least 1"),
    }
    good, rule = needed[form]
    if not good:
        raise Inconsistent(f"the {_TITLES[form]} needs {rule}", "a", "b", "c")
    return IsothermSet(
        f"emc.{form}.{_OWN}", form, a, b, c, None, "the caller's own constants", "given"
    )


def isotherm_method(isotherm: Isotherm) -> Method:
    """The method entry of one isotherm, with the source and standing of its constants.

    Parameters
    ----------
    isotherm : IsothermSet or MeanIsotherm
        The isotherm.

    Returns
    -------
    Method
        Its id, title, source, how it is known, and the range it was fitted in.
    """
    if isinstance(isotherm, MeanIsotherm):
        return next(method for method in METHODS if method.id == isotherm.method)
    title = _title(isotherm.form, isotherm.method.rpartition(".")[2])
    fitted = () if isotherm.method.endswith(f".{_OWN}") else _FITTED
    return Method(isotherm.method, title, isotherm.source, isotherm.known, fitted, isotherm.note)
