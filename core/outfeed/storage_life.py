"""How long wet or warm grain keeps, and how much of that time is already used up.

Shelled corn breathes its own dry matter away; half a percent lost costs a grade. The dry matter
lost grows with an equivalent time, and moisture, temperature and damage stretch or shorten that
time [1]_ [2]_. Extension charts are separate, more cautious figures, for more grains: they are
read in `outfeed.storage_charts` and shown beside the formula, never blended with it.

.. [1] Steele, Saul and Hukill (1969), Deterioration of shelled corn as measured by carbon dioxide
   production, Transactions of the ASAE 12(5); Thompson (1972), Temporary storage of high-moisture
   shelled corn using continuous aeration, Transactions of the ASAE 15(2).
.. [2] Bern, Steele and Morey (2002), Shelled corn CO2 evolution and storage time for 0.5 % dry
   matter loss, Applied Engineering in Agriculture 18(6); ASABE D535.
"""

from __future__ import annotations

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.grains import Grain
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import REPRODUCED, Method
from outfeed.roots import bracketed_newton

HOUR = 3_600.0
FORMULA_GRAIN = "corn-yellow-dent"

REPRODUCED_MOISTURE = Range("moisture, wet basis", 0.15, 0.35, "", "Bern et al. (2002), table")
REPRODUCED_TEMPERATURE = Range("grain temperature", 10.0, 30.0, "degC", "Bern et al. (2002), table")
FORMULA_MOISTURE = Range(
    "moisture, wet basis", 0.12, 0.40, "", "outside it the moisture term loses its meaning"
)
FORMULA_TEMPERATURE = Range("grain temperature", -20.0, 50.0, "degC", SENSIBLE)
DAMAGE = Range("mechanical damage", 0.0, 0.60, "", SENSIBLE)
PERMISSIBLE_LOSS = Range("dry-matter loss allowed", 0.0005, 0.02, "", SENSIBLE)
MULTIPLIER = Range("further multiplier", 0.1, 10.0, "", SENSIBLE)

USUAL_DAMAGE = 0.30
"""Mechanical damage of combine-shelled corn for which the multiplier is near one: Bern et al."""
GRADE_LOSS = 0.005
"""Dry-matter loss at which corn loses a grade: Steele et al. (1969)."""
COMBINE_SHELLED_LOSS = 0.0035
"""Dry-matter loss advised for combine-shelled corn: Ng et al. (1998), Transactions of the ASAE."""

FORMULA = Method(
    id="storage-life.formula.steele-thompson-bern",
    title="Dry-matter loss of shelled corn and the time it takes",
    source="Steele, Saul and Hukill (1969); Thompson (1972); Bern, Steele and Morey (2002); "
    "ASABE D535",
    known=REPRODUCED,
    valid=(REPRODUCED_MOISTURE, REPRODUCED_TEMPERATURE),
    note="Extension charts are more cautious: this formula over the North Dakota chart runs from "
    "1.1 to 1.6. Above 60 F and up to 19 % moisture the form that matches the published table "
    "is used.",
)
METHODS = (FORMULA,)

# DML % = 0.0884 (exp(0.006 t) - 1) + 0.00102 t, t in equivalent hours; 230 h at 0.5 %.
_FAST, _RATE, _SLOW = 0.0884, 0.006, 0.00102
_GRADE_HOURS = 230.0
_HOURS_TOLERANCE = 1e-9
_MOST_HOURS = 2_000.0  # far above what 2 % takes


def moisture_multiplier(moisture_wb: ArrayLike) -> FloatArray:
    """Storage time at a moisture over that at 25 %.

    Parameters
    ----------
    moisture_wb : array_like
        Moisture, wet basis [-], 0.12 to 0.40.

    Returns
    -------
    ndarray
        Multiplier [-], same shape.

    Raises
    ------
    OutOfRange
        Moisture outside its range.

    References
    ----------
    .. [1] Steele et al. (1969); 0.103 (exp(455/M^1.53) - 0.00845 M + 1.558), M in % dry basis.
    """
    wet = FORMULA_MOISTURE.check(moisture_wb, "moisture_wb", method=FORMULA.id)
    dry = 100.0 * wet / (1.0 - wet)
    return np.asarray(0.103 * (np.exp(455.0 / dry**1.53) - 0.00845 * dry + 1.558))[()]


def temperature_multiplier(temperature: ArrayLike, moisture_wb: ArrayLike) -> FloatArray:
    """Storage time at a temperature over that at 60 F.

    Parameters
    ----------
    temperature : array_like
        Of the grain [degC], -20 to 50.
    moisture_wb : array_like
        Moisture, wet basis [-], 0.12 to 0.40.

    Returns
    -------
    ndarray
        Multiplier [-], broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range.

    References
    ----------
    .. [1] Thompson (1972), with the branches at 60 F and at 19 and 28 % moisture.
    """
    warm, wet = as_floats(
        FORMULA_TEMPERATURE.check(temperature, "temperature", method=FORMULA.id),
        FORMULA_MOISTURE.check(moisture_wb, "moisture_wb", method=FORMULA.id),
    )
    fahrenheit = warm * 1.8 + 32.0
    cool = 128.76 * np.exp(-4.86 * fahrenheit / 60.0)
    points = np.clip(100.0 * wet - 19.0, 0.0, 9.0)
    extra = points / 100.0 * np.exp(0.61 * (fahrenheit - 60.0) / 60.0)
    hot = 32.3 * np.exp(-3.48 * fahrenheit / 60.0) + extra
    return np.where(fahrenheit <= 60.0 + 1e-9, cool, hot)[()]


def damage_multiplier(damage: ArrayLike) -> FloatArray:
    """Storage time with mechanical damage over that with about 30 % of it.

    Parameters
    ----------
    damage : array_like
        Mechanically damaged kernels by weight [-], 0 to 0.60.

    Returns
    -------
    ndarray
        Multiplier [-]; 1.015 at 30 %.

    Raises
    ------
    OutOfRange
        Damage outside its range.

    References
    ----------
    .. [1] Steele et al. (1969); 2.08 exp(-0.0239 D), D in %.
    """
    return np.asarray(2.08 * np.exp(-2.39 * DAMAGE.check(damage, "damage")))[()]


def dry_matter_loss(equivalent_time: ArrayLike) -> FloatArray:
    """Dry matter lost after an equivalent time.

    Parameters
    ----------
    equivalent_time : array_like
        Time at 60 F, 25 % moisture and usual damage [s].

    Returns
    -------
    ndarray
        Loss over the dry matter at the start [-]; 1 where nothing would be left.
    """
    hours = np.minimum(np.asarray(equivalent_time, dtype=np.float64) / HOUR, _MOST_HOURS)
    lost = (_FAST * np.expm1(_RATE * hours) + _SLOW * hours) / 100.0
    return np.asarray(np.minimum(lost, 1.0))[()]


def equivalent_life(permissible_loss: ArrayLike = GRADE_LOSS) -> FloatArray:
    """Equivalent time in which a dry-matter loss is reached.

    Scaled by a third of a percent so that half a percent takes the 230 h of the sources.

    Parameters
    ----------
    permissible_loss : array_like
        Dry-matter loss allowed [-], 0.0005 to 0.02.

    Returns
    -------
    ndarray
        Time at 60 F, 25 % moisture and usual damage [s].

    Raises
    ------
    OutOfRange
        A loss outside its range.
    NotConverged
        The inverse did not close.
    """
    loss = PERMISSIBLE_LOSS.check(permissible_loss, "permissible_loss")
    return np.asarray(_hours(loss) * _GRADE_HOURS / _hours(np.asarray(GRADE_LOSS)) * HOUR)[()]


def formula_life(
    temperature: ArrayLike,
    moisture_wb: ArrayLike,
    *,
    damage: ArrayLike | None = USUAL_DAMAGE,
    permissible_loss: ArrayLike = GRADE_LOSS,
    further: ArrayLike = 1.0,
) -> FloatArray:
    """Time in which shelled corn loses the dry matter allowed, by the formula.

    Parameters
    ----------
    temperature : array_like
        Of the grain [degC], -20 to 50; reproduced against a table from 10 to 30.
    moisture_wb : array_like
        Moisture, wet basis [-], 0.12 to 0.40; reproduced from 0.15 to 0.35.
    damage : array_like, optional
        Mechanical damage by weight [-]; None leaves the multiplier out, as some charts do.
    permissible_loss : array_like
        Dry-matter loss allowed [-].
    further : array_like
        Multiplier for hybrid or preservative [-], from the caller's own source.

    Returns
    -------
    ndarray
        Time [s], broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    return np.asarray(
        equivalent_life(permissible_loss) * stretch(temperature, moisture_wb, damage, further)
    )[()]


def stretch(
    temperature: ArrayLike,
    moisture_wb: ArrayLike,
    damage: ArrayLike | None = USUAL_DAMAGE,
    further: ArrayLike = 1.0,
) -> FloatArray:
    """Real time over equivalent time at a state: the product of all multipliers.

    Parameters
    ----------
    temperature, moisture_wb, damage, further : array_like
        As for `formula_life`.

    Returns
    -------
    ndarray
        Factor [-], broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    broken = 1.0 if damage is None else damage_multiplier(damage)
    more = MULTIPLIER.check(further, "further")
    wet = moisture_multiplier(moisture_wb)
    return np.asarray(wet * temperature_multiplier(temperature, moisture_wb) * broken * more)[()]


def has_formula(grain: Grain) -> bool:
    """Whether the dry-matter formula was published for a grain.

    Parameters
    ----------
    grain : Grain
        From the catalogue.

    Returns
    -------
    bool
        True for shelled corn.
    """
    return grain.id == FORMULA_GRAIN


def _hours(loss: FloatArray) -> FloatArray:
    percent = 100.0 * loss

    def excess(hours: FloatArray) -> tuple[FloatArray, FloatArray]:
        value = _FAST * np.expm1(_RATE * hours) + _SLOW * hours - percent
        return value, _FAST * _RATE * np.exp(_RATE * hours) + _SLOW

    return bracketed_newton(
        excess,
        np.zeros_like(percent),
        _MOST_HOURS,
        tolerance=_HOURS_TOLERANCE,
        what="time to a dry-matter loss",
    )
