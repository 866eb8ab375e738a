"""What the column model must know about air and grain: one set of closures for every flow pattern.

A `ColumnModel` names the grain, its isotherm and kinetics and the factors that a fit may move.
`closures` turns it into plain formulas for one kind of number: Python floats when there is one
scenario, NumPy arrays when there are many. The formulas are written once for both.

Sources: Brooker D.B., Bakker-Arkema F.W. & Hall C.W. (1992) *Drying and Storage of Grains and
Oilseeds*; Bakker-Arkema F.W. et al. (1974) *Grain Dryer Simulation*, Michigan State Univ. Res. Rep.
224 (packed-bed heat transfer after Barker, heat of sorption of corn); Kazarian E.A. & Hall C.W.
(1965) Thermal properties of grain, Trans. ASAE 8:33-37; Hyland R.W. & Wexler A. (1983), ASHRAE
Trans. 89(2A):500-519.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.dryer.vapour import KELVIN, Sorption, sorption_of
from outfeed.errors import NotPublished
from outfeed.grains import IsothermSet, load_grain, specific_heat_of
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import COMMON_PRACTICE, DERIVED, RECALLED, Method
from outfeed.numbers import FLOATS, Numbers
from outfeed.rate_laws import Exponential, RateLaw
from outfeed.thin_layer import DIFFUSION, law

DRY_AIR_HEAT = 1006.0  # J/(kg K), ASHRAE Fundamentals, chapter 1
VAPOUR_HEAT = 1860.0  # J/(kg K), same
WATER_HEAT = 4186.0  # J/(kg K), same
LATENT_HEAT_AT_ZERO = 2.501e6  # J/kg, same
GAS_RATIO = 0.621945  # molar mass of water over that of dry air, same

KERNEL_RADIUS = 0.0040  # m, equivalent radius of corn, Bakker-Arkema et al. 1974
SPECIFIC_SURFACE = 784.0  # m2 per m3 of bed, corn, same
BARKER_LAW = (0.2755, 0.34)  # factor and exponent of Barker's correlation, same
FILM_HEAT = (0.06175, 0.000165)  # its viscosity term at T in degC, same

CORN_SORPTION = (4.35, 28.25)  # heat of sorption of corn, same: amplitude, decay with moisture d.b.
SORPTION_TEMPERATURE = 50.0  # degC at which the published corn relation is met exactly
FITTED_MOISTURES = (0.05, 0.20)  # dry basis, where an isotherm's own heat of sorption is taken

CORN_IDS = ("corn-yellow-dent", "popcorn")
VAPOUR_GAS_CONSTANT = 461.52  # J/(kg K), water vapour, CODATA
LEAST_SORPTION = 1e-4  # of the heat of free water: an isotherm without a heat of its own
HALVINGS = 60  # of the interval of relative humidity: to the last digit

DRIEST_AIR = 1e-7  # relative humidity below which an isotherm is not asked
DAMPEST_AIR = 0.999  # and above which: there a kernel meets liquid water, not vapour
LEAST_DRY_PRESSURE = (
    0.02  # of the total: beyond it the grain is past boiling, and nothing condenses
)

DEFAULT_RATE_FACTOR = 1.5
"""Multiplier on the default kinetics, chosen so that the common-practice band of a mixed-flow corn
dryer (column at 95-105 degF for 15-16 % at the discharge) is met."""

RATE_FACTOR = Range("rate factor", 0.02, 50.0, "", SENSIBLE)
AIRFLOW_FACTOR = Range("airflow factor", 0.2, 5.0, "", SENSIBLE)
TRANSFER_FACTOR = Range("heat transfer factor", 0.1, 10.0, "", SENSIBLE)
ACTIVATION_ENERGY = Range("activation energy", 5e3, 8e4, "J/mol", SENSIBLE)

BARKER = Method(
    "heat-transfer.packed-bed.barker",
    "Heat transfer between air and a bed of kernels",
    "Barker J.J. (1965) Ind. Eng. Chem. 57(4):43-51, as used by Bakker-Arkema et al. (1974)",
    RECALLED,
    note="0.7 to 1.3 times this moves the outlet by less than 0.003 point.",
)
SORPTION_HEAT = Method(
    "heat-of-sorption.corn",
    "Heat to remove water from corn beyond that of free water",
    "Bakker-Arkema F.W. et al. (1974) Grain Dryer Simulation, Res. Rep. 224; Thompson & Shedd",
    RECALLED,
    note="Written as a state function, so that energy closes; exact at 50 degC.",
)
SORPTION_FROM_ISOTHERM = Method(
    "heat-of-sorption.from-isotherm",
    "Heat of sorption from the grain's own isotherm",
    "Clausius-Clapeyron relation on the isotherm at 50 degC, drawn through 5 and 20 % d.b.",
    DERIVED,
)
ASSUMED_RATE = Method(
    "kinetics.rate-factor.common-practice",
    "Rate factor 1.5 on the default kinetics of corn",
    "chosen so that a column at 95-105 degF goes with 15-16 % at the discharge",
    COMMON_PRACTICE,
    note="A fit to the dryer's own runs replaces it.",
)
METHODS = (BARKER, SORPTION_HEAT, SORPTION_FROM_ISOTHERM, ASSUMED_RATE)


@dataclass(frozen=True, slots=True)
class GrainHeat:
    """Heat capacity and heat of sorption of a grain.

    Attributes
    ----------
    dry : float or array over scenarios
        Heat capacity at no moisture [J/(kg dry matter K)].
    per_moisture : float or array over scenarios
        Its rise with moisture, dry basis [J/(kg dry matter K)].
    amplitude, decay : float
        Heat of sorption relative to free water at 50 degC: ``amplitude exp(-decay M)`` [-].
    """

    dry: FloatArray | float
    per_moisture: FloatArray | float
    amplitude: float
    decay: float

    def scaled(self, factor: ArrayLike) -> GrainHeat:
        """The same grain with another heat capacity.

        Parameters
        ----------
        factor : array_like
            Multiplier on the heat capacity [-]; one number or one a scenario.

        Returns
        -------
        GrainHeat
            With arrays where the factor is one.
        """
        factor = np.asarray(factor, dtype=np.float64)[()]
        return replace(self, dry=self.dry * factor, per_moisture=self.per_moisture * factor)

    @property
    def sorption_scale(self) -> float:
        """Heat of free water at 50 degC times the amplitude [J/kg]."""
        return self.amplitude * (
            LATENT_HEAT_AT_ZERO - (WATER_HEAT - VAPOUR_HEAT) * SORPTION_TEMPERATURE
        )

    @property
    def sorption_shift(self) -> FloatArray | float:
        """Part of the heat of sorption that makes the relation exact at 50 degC [J/kg]."""
        return (self.per_moisture - WATER_HEAT) * SORPTION_TEMPERATURE


@dataclass(frozen=True, slots=True)
class ColumnModel:
    """Which formulas the column uses, and how far they are scaled.

    Attributes
    ----------
    grain : str
        Id of the grain.
    isotherm : str, optional
        Method id of the isotherm; absent for the grain's column default (modified Henderson when
        the grain has one, for its behaviour in hot dry air).
    kinetics : str, optional
        Method id of the thin-layer law, taken at the grain's temperature; absent for the
        catalogue's choice in a column.
    rate_factor : float or array over scenarios, optional
        Multiplier on the kinetics [-]; absent for `DEFAULT_RATE_FACTOR` on the corn default and
        one on any other law.
    airflow_factor : float or array over scenarios
        Multiplier on the stated airflow [-].
    transfer_factor : float
        Multiplier on the heat transfer [-].
    activation_energy : float, optional
        Replaces the activation energy of an exponential law [J/mol], at the same rate at 50 degC.
    heat : GrainHeat, optional
        Thermal properties, where the catalogue has none or the caller knows better.
    """

    grain: str = "corn-yellow-dent"
    isotherm: str | None = None
    kinetics: str | None = None
    rate_factor: Any = None
    airflow_factor: Any = 1.0
    transfer_factor: float = 1.0
    activation_energy: float | None = None
    heat: GrainHeat | None = None

    def __post_init__(self) -> None:
        if self.rate_factor is not None:
            RATE_FACTOR.check(self.rate_factor, "rate_factor")
        AIRFLOW_FACTOR.check(self.airflow_factor, "airflow_factor")
        TRANSFER_FACTOR.check(self.transfer_factor, "transfer_factor")
        if self.activation_energy is not None:
            ACTIVATION_ENERGY.check(self.activation_energy, "activation_energy")

    @property
    def law(self) -> str:
        """Method id of the kinetics in use."""
        return self.kinetics or column_kinetics(self.grain)

    @property
    def rate(self) -> Any:
        """Rate factor in use [-]."""
        if self.rate_factor is not None:
            return self.rate_factor
        return DEFAULT_RATE_FACTOR if self.law == DIFFUSION else 1.0


CORN_HEAT = GrainHeat(1465.0, 5025.0, *CORN_SORPTION)
"""Corn: Kazarian & Hall 1965 and Bakker-Arkema et al. 1974."""


@dataclass(frozen=True, slots=True)
class Closures:
    """The formulas of one model for one kind of number.

    Attributes
    ----------
    number : Numbers
        The kind of number.
    sorption : callable
        ``(phi, theta) -> (Me, dMe/dphi)``, moisture as a fraction, dry basis.
    kappa : callable
        Rate law of `outfeed.thin_layer`, before the rate factor.
    heat : GrainHeat
        Thermal properties of the grain.
    grain_enthalpy : callable
        ``(theta, M)`` to the enthalpy of grain [J/kg dry matter], zero for dry grain at 0 degC up
        to the heat of sorption.
    grain_temperature : callable
        ``(enthalpy, M)`` to the temperature [degC]: the inverse of `grain_enthalpy`.
    """

    number: Numbers
    sorption: Sorption
    kappa: RateLaw
    heat: GrainHeat
    grain_enthalpy: Callable[[Any, Any], Any]
    grain_temperature: Callable[[Any, Any], Any]

    def desorption_heat(self, temperature: Any, moisture: Any) -> Any:
        """Heat to turn grain moisture into vapour at the grain's temperature [J/kg]."""
        heat = self.heat
        above_free = heat.sorption_scale * self.number.exp(-heat.decay * moisture)
        slope = VAPOUR_HEAT - heat.per_moisture
        return LATENT_HEAT_AT_ZERO + slope * temperature + above_free + heat.sorption_shift


def _enthalpies(
    heat: GrainHeat, number: Numbers
) -> tuple[Callable[[Any, Any], Any], Callable[[Any, Any], Any]]:
    exp, decay = number.exp, -heat.decay
    dry, per_moisture, shift = heat.dry, heat.per_moisture, heat.sorption_shift
    held = heat.sorption_scale / heat.decay

    def enthalpy(theta: Any, M: Any) -> Any:
        return (dry + per_moisture * M) * theta - shift * M + held * exp(decay * M)

    def temperature(h: Any, M: Any) -> Any:
        return (h + shift * M - held * exp(decay * M)) / (dry + per_moisture * M)

    return enthalpy, temperature


def closures(model: ColumnModel, number: Numbers) -> Closures:
    """Formulas of a column model for one kind of number.

    Parameters
    ----------
    model : ColumnModel
        Which formulas.
    number : Numbers
        `outfeed.numbers.FLOATS` or `ARRAYS`.

    Returns
    -------
    Closures
        The formulas.

    Raises
    ------
    UnknownName
        An isotherm or kinetics that the grain or the library does not have.
    NotPublished
        A grain without isotherm or specific heat.
    """
    heat = model.heat or grain_heat(model.grain)
    return _closures(model.grain, model.isotherm, model.law, model.activation_energy, heat, number)


@lru_cache(maxsize=64)
def _closures(
    grain: str,
    isotherm: str | None,
    kinetics: str,
    energy: float | None,
    heat: GrainHeat,
    number: Numbers,
) -> Closures:
    chosen = law(kinetics)
    if energy is not None and isinstance(chosen, Exponential):
        chosen = chosen.with_activation_energy(energy)
    constants = column_isotherm(grain, isotherm)
    rate, sorption = chosen.rate(number), sorption_of(constants, number)
    return Closures(number, sorption, rate, heat, *_enthalpies(heat, number))


def column_isotherm(grain: str, method: str | None = None) -> IsothermSet:
    """Isotherm that the column uses for a grain.

    Parameters
    ----------
    grain : str
        Id of the grain.
    method : str, optional
        Method id; absent for the column's own choice: a modified Henderson set where there is
        one, the older constants first, else the grain's default.

    Returns
    -------
    IsothermSet
        Constants with their source.

    Raises
    ------
    UnknownName
        The grain has no such isotherm.
    NotPublished
        It has none at all.
    """
    entry = load_grain(grain)
    if method is not None:
        return entry.isotherm(method)
    henderson = sorted(item.method for item in entry.isotherms if item.form == "henderson-modified")
    return entry.isotherm(henderson[0] if henderson else None)


def column_kinetics(grain: str) -> str:
    """Thin-layer law that the column uses for a grain.

    Parameters
    ----------
    grain : str
        Id of the grain.

    Returns
    -------
    str
        Method id: the catalogue's choice in a column, else the first law published for it.

    Raises
    ------
    NotPublished
        No law is published for it; name one.
    """
    entries = load_grain(grain).kinetics
    if not entries:
        raise NotPublished("drying kinetics", grain, name="kinetics")
    chosen = [entry for entry in entries if entry.default_in_column]
    return (chosen or list(entries))[0].method


@lru_cache(maxsize=64)
def grain_heat(grain: str) -> GrainHeat:
    """Heat capacity and heat of sorption that the column uses for a grain.

    Parameters
    ----------
    grain : str
        Id of the grain.

    Returns
    -------
    GrainHeat
        Corn's published relations for corn; for others the catalogue's specific heat, or what
        stands in for it, and a heat of sorption drawn from the grain's own isotherm.

    Raises
    ------
    NotPublished
        The catalogue has no isotherm for it.
    """
    if grain in CORN_IDS:
        return CORN_HEAT
    published = specific_heat_of(load_grain(grain))
    amplitude, decay = _sorption_pair(column_isotherm(grain))
    return GrainHeat(published.a, published.a + published.b, amplitude, decay)


def _sorption_pair(constants: IsothermSet) -> tuple[float, float]:
    low, high = (isosteric_ratio(constants, moisture) for moisture in FITTED_MOISTURES)
    decay = math.log(low / high) / (FITTED_MOISTURES[1] - FITTED_MOISTURES[0])
    return low * math.exp(decay * FITTED_MOISTURES[0]), decay


def isosteric_ratio(constants: IsothermSet, moisture: float) -> float:
    """Heat of sorption over that of free water at 50 degC, from the slope of the isotherm.

    Parameters
    ----------
    constants : IsothermSet
        The isotherm.
    moisture : float
        Moisture, dry basis [-].

    Returns
    -------
    float
        ``-d(ln phi)/d(1/T) R_v / L`` [-], from the relative humidities over the grain at 45 and
        55 degC.
    """
    span = 5.0
    sorption = sorption_of(constants, FLOATS)
    cold, hot = (
        _relative_humidity(sorption, moisture, SORPTION_TEMPERATURE + shift)
        for shift in (-span, span)
    )
    inverse = [1.0 / (SORPTION_TEMPERATURE + shift + KELVIN) for shift in (-span, span)]
    slope = (math.log(hot) - math.log(cold)) / (inverse[0] - inverse[1])
    free = LATENT_HEAT_AT_ZERO - (WATER_HEAT - VAPOUR_HEAT) * SORPTION_TEMPERATURE
    return max(slope * VAPOUR_GAS_CONSTANT / free, LEAST_SORPTION)


def _relative_humidity(sorption: Sorption, moisture: float, temperature: float) -> float:
    low, high = DRIEST_AIR, DAMPEST_AIR
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if sorption(middle, temperature)[0] < moisture:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
