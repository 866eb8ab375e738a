"""Carbon dioxide from burning fuel, by published factors side by side.

Of the fuel itself, at the burner: no methane or nitrous oxide, no making or hauling of the fuel.
Electricity depends on the grid and has no factor here. Carbon dioxide from biomass is biogenic and
is counted apart, as the sources do.

.. [1] U.S. Energy Information Administration, Carbon Dioxide Emissions Coefficients (2016).
.. [2] U.S. Environmental Protection Agency, Emission Factors for Greenhouse Gas Inventories (2024);
   40 CFR 98, tables C-1 and NN-1.
.. [3] IPCC (2006), Guidelines for National Greenhouse Gas Inventories, volume 2, table 2.2: per net
   calorific value, so its factors go with the lower heating value.
"""

from __future__ import annotations

from dataclasses import dataclass

from outfeed.fuel import BTU, EIA_CARBON, Fuel
from outfeed.methods import READ, RECALLED, Method

_PER_MILLION_BTU = 1.0 / (1e6 * BTU)
_PER_GIGAJOULE = 1e-9

EPA = Method(
    id="fuel.carbon-dioxide.epa-2024",
    title="Carbon dioxide made per heat of fuel",
    source="U.S. Environmental Protection Agency, Emission Factors for Greenhouse Gas Inventories "
    "(2024); 40 CFR 98, tables C-1 and NN-1",
    known=READ,
    note="The factor of fuel oil No. 2 is recalled. Per higher heating value.",
)
IPCC = Method(
    id="fuel.carbon-dioxide.ipcc-2006",
    title="Carbon dioxide made per heat of fuel",
    source="IPCC (2006), Guidelines for National Greenhouse Gas Inventories, volume 2, table 2.2",
    known=RECALLED,
    note="Per net calorific value; applied to the fuel's lower heating value.",
)
METHODS = (EPA, IPCC)

_EPA = {"propane": 62.87, "natural-gas": 53.06, "fuel-oil": 73.96}  # kg/MMBtu, gross
_EPA_BIOGENIC = {"wood": 93.80, "crop-residue": 118.17}  # kg/MMBtu, gross; read
_IPCC = {"propane": 63.1, "natural-gas": 56.1, "fuel-oil": 74.1}  # kg/GJ, net

BIOMASS_KINDS = tuple(_EPA_BIOGENIC)
"""Kinds of biomass with a published factor."""


@dataclass(frozen=True, slots=True)
class CarbonFactor:
    """One published factor.

    Attributes
    ----------
    method : Method
        Source and how it is known.
    factor : float
        Carbon dioxide per higher-heating-value heat [kg/J].
    biogenic : bool
        Whether it comes from biomass and is counted apart.
    """

    method: Method
    factor: float
    biogenic: bool = False


def carbon_factors(fuel: Fuel, kind: str | None = None) -> tuple[CarbonFactor, ...]:
    """Every published factor of a fuel.

    Parameters
    ----------
    fuel : Fuel
        The fuel.
    kind : str, optional
        For biomass, one of `BIOMASS_KINDS`.

    Returns
    -------
    tuple of CarbonFactor
        Empty where none was published for the fuel itself.
    """
    found: list[CarbonFactor] = []
    if fuel.carbon_dioxide is not None:
        found.append(CarbonFactor(EIA_CARBON, fuel.carbon_dioxide))
    if fuel.id in _EPA:
        found.append(CarbonFactor(EPA, _EPA[fuel.id] * _PER_MILLION_BTU))
    if fuel.id in _IPCC:
        net_over_gross = fuel.lower_heat_content / fuel.heat_content
        found.append(CarbonFactor(IPCC, _IPCC[fuel.id] * _PER_GIGAJOULE * net_over_gross))
    if kind is not None and kind in _EPA_BIOGENIC:
        found.append(CarbonFactor(EPA, _EPA_BIOGENIC[kind] * _PER_MILLION_BTU, biogenic=True))
    return tuple(found)
