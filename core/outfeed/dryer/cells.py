"""Air passing a small cell of grain: the step that every flow pattern is built from.

Within a cell the grain's temperature runs straight from one face to the other and its moisture is
the mean of its faces. Air temperature then has an exact exponential solution; humidity takes an
exponential Rosenbrock step (exact for a rate linear in humidity, second order otherwise), and
where the air would pass saturation it relaxes exactly towards the fog line instead. The caller
takes the grain's change from the air's own change of water and enthalpy, so that both close to
rounding whatever the size of the cell.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from outfeed.dryer.closures import (
    BARKER_LAW,
    DAMPEST_AIR,
    DRIEST_AIR,
    DRY_AIR_HEAT,
    FILM_HEAT,
    GAS_RATIO,
    KERNEL_RADIUS,
    LATENT_HEAT_AT_ZERO,
    LEAST_DRY_PRESSURE,
    SPECIFIC_SURFACE,
    VAPOUR_HEAT,
    Closures,
)
from outfeed.dryer.vapour import saturation_of

SECONDS_PER_HOUR = 3600.0
NUDGE = 1e-8
"""Keeps a divisor off zero where a rate does not depend on humidity; far below any tolerance."""

VANISHING = 1e-300
"""Keeps a quotient finite where nothing changes."""

NEAR_FOG = 0.9
"""Part of saturation from which fog is looked for."""
LEAST_LEFT = 0.02
"""Part of the air's vapour that a cell leaves in it however dry the grain: a step cannot take it
below nothing."""

FRESH_TEMPERATURE, FRESH_HUMIDITY = 15.0, 0.8
"""State of grain and air at which the transfer units of a cell are told [degC, -]: grain that began
to dry, air that soon carries what it can. Chosen, no source."""

Cell = Callable[..., tuple[Any, Any]]


def air_enthalpy(temperature: Any, humidity: Any) -> Any:
    """Enthalpy of moist air, above dry air and liquid water at 0 degC.

    Parameters
    ----------
    temperature : float or ndarray
        Dry bulb [degC].
    humidity : float or ndarray
        Humidity ratio [kg/kg].

    Returns
    -------
    float or ndarray
        Enthalpy [J/kg dry air].
    """
    return DRY_AIR_HEAT * temperature + humidity * (LATENT_HEAT_AT_ZERO + VAPOUR_HEAT * temperature)


def transfer_coefficient(flux: Any, temperature: Any, factor: Any = 1.0) -> Any:
    """Volumetric heat transfer between air and kernels.

    Parameters
    ----------
    flux : float or ndarray
        Dry air per bed area [kg/(s m2)].
    temperature : float or ndarray
        Air temperature [degC].
    factor : float or ndarray
        Multiplier [-].

    Returns
    -------
    float or ndarray
        h_a [W/(m3 K)].

    References
    ----------
    .. [1] Barker (1965) as used by Bakker-Arkema et al. (1974): SI outside, kJ and h inside.
    """
    G = flux * SECONDS_PER_HOUR
    film = FILM_HEAT[0] + FILM_HEAT[1] * temperature
    lift = (2.0 * KERNEL_RADIUS * G / film) ** -BARKER_LAW[1]
    per_hour = BARKER_LAW[0] * 1e-3 * DRY_AIR_HEAT * G * lift  # kJ/(h m2 K)
    return factor * per_hour / SECONDS_PER_HOUR * 1e3 * SPECIFIC_SURFACE


def vapour_units(
    formulas: Closures, moisture: float, reach: float, rate: float, pressure: float
) -> float:
    """Transfer units of vapour between air and fresh kernels in a cell.

    Parameters
    ----------
    formulas : Closures
        The model's formulas, for floats.
    moisture : float
        Of the grain, as it is and as it was at first, dry basis [-].
    reach : float
        Bed per air flux [m3 s/kg].
    rate : float
        Dry matter per bed volume times the rate factor [kg/m3].
    pressure : float
        Barometric pressure [Pa].

    Returns
    -------
    float
        Units [-] at `FRESH_TEMPERATURE` and `FRESH_HUMIDITY`: how many times over the cell could
        bring the air to the humidity that its kernels hold.
    """
    theta, phi = FRESH_TEMPERATURE, FRESH_HUMIDITY
    slope = formulas.sorption(phi, theta)[1]
    p_sat = saturation_of(formulas.number)(theta)
    W = GAS_RATIO * phi * p_sat / (pressure - phi * p_sat)
    # phi = p W / (GAS_RATIO + W) / p_sat, differentiated
    per_humidity = pressure * GAS_RATIO / ((GAS_RATIO + W) ** 2 * p_sat)
    # an equilibrium of nothing, so that a kernel at its first moisture counts as fresh
    kappa = formulas.kappa(theta, phi, moisture, 0.0, moisture)
    return float(rate * kappa * reach * slope * per_humidity)


def cell_of(formulas: Closures) -> Cell:
    """The cell step for one model and one kind of number.

    Parameters
    ----------
    formulas : Closures
        The model's formulas.

    Returns
    -------
    callable
        ``cell(T, W, met, left, M, M_first, reach, transfer, rate, pressure) -> (T, W)``: air
        [degC, kg/kg] before and after a cell whose grain is at `met` [degC] where the air enters
        and at `left` where it leaves, with mean moisture M and first moisture M_first (dry
        basis); `reach` is bed per air flux [m3 s/kg], `transfer` h_a [W/(m3 K)], `rate` dry
        matter per bed volume times the rate factor [kg/m3], `pressure` [Pa].
    """
    number = formulas.number
    exp, larger, smaller, some = number.exp, number.larger, number.smaller, number.any
    sorption, kappa, saturation = formulas.sorption, formulas.kappa, saturation_of(number)

    def cell(
        T: Any, W: Any, met: Any, left: Any, M: Any, M_first: Any,
        reach: Any, transfer: Any, rate: Any, pressure: Any,
    ) -> tuple[Any, Any]:  # fmt: skip
        theta = 0.5 * (met + left)
        p_sat = saturation(theta)
        whole = GAS_RATIO + W
        per_humidity = pressure / (whole * p_sat)
        phi = smaller(larger(W * per_humidity, DRIEST_AIR), DAMPEST_AIR)
        Me, slope = sorption(phi, theta)
        k = rate * kappa(theta, phi, M, Me, M_first) * reach
        pull = k * slope * per_humidity * (GAS_RATIO / whole) + NUDGE
        gain = k * (M - Me)
        W_out = W + gain * (1.0 - exp(-pull)) / pull
        # Third order: what the rate at the end departs from the line that the step assumed.
        phi_out = pressure * W_out / ((GAS_RATIO + W_out) * p_sat)
        Me_out, _ = sorption(smaller(larger(phi_out, DRIEST_AIR), DAMPEST_AIR), theta)
        W_out = W_out + (k * (Me - Me_out) + pull * (W_out - W)) / (3.0 + 0.75 * pull)
        W_out = larger(W_out, LEAST_LEFT * W)
        W_sat = GAS_RATIO * p_sat / larger(pressure - p_sat, LEAST_DRY_PRESSURE * pressure)
        if some(larger(W, W_out) > NEAR_FOG * W_sat):
            fog_gain = k * (M - sorption(larger(DAMPEST_AIR, phi), theta)[0])
            W_out = fog(W, W_out, W_sat, gain, fog_gain, transfer * reach / DRY_AIR_HEAT)
        capacity = DRY_AIR_HEAT + VAPOUR_HEAT * 0.5 * (W + W_out)
        nu = (transfer * reach + VAPOUR_HEAT * (W_out - W)) / capacity
        fade = exp(-nu)
        return left + (T - met) * fade - (left - met) * (1.0 - fade) / nu, W_out

    def fog(W: Any, W_clear: Any, W_sat: Any, gain: Any, fog_gain: Any, units: Any) -> Any:
        # Continuous in every argument, or no iteration over cells would settle. The air meets
        # saturation after the share `s` of the cell if the kernel still dries there; beyond it
        # the vapour above saturation relaxes to what drying keeps up.
        drying = larger(fog_gain, 0.0)
        climb = (larger(gain, 0.0) * drying) ** 0.5
        s = smaller(larger(W_sat - W, 0.0) / larger(climb, VANISHING), 1.0)
        fade = exp(-units * (1.0 - s))
        left = larger(W - W_sat, 0.0) * fade
        wet = smaller(W, W_sat) + s * climb + left + drying / units * (1.0 - fade)
        wet = larger(smaller(W_clear, W_sat), wet)
        dry = smaller(W_clear, W_sat + left)
        return dry + (fog_gain > 0.0) * (wet - dry)

    return cell
