"""Moist air: its properties, its state from any two of them, and what is done to it.

``properties`` gives one quantity from those that fix it, ``adiabatic`` the wet bulb, ``state``
the whole state from any two quantities; ``processes`` heats, cools and mixes, ``combustion``
burns fuel in the air.
"""

from outfeed.moist_air.adiabatic import METHODS as _WET_BULB_METHODS
from outfeed.moist_air.adiabatic import wet_bulb
from outfeed.moist_air.combustion import (
    BURNER_EFFICIENCY,
    BURNERS,
    COMBUSTION_METHODS,
    FUELS,
    INDIRECT_EFFICIENCY,
    Burned,
    Fuel,
    burn,
    fuel_named,
)
from outfeed.moist_air.pairs import ImpossibleAir
from outfeed.moist_air.processes import (
    DRY_AIR_FLOW,
    FAN_EFFICIENCY,
    FAN_PRESSURE,
    MIX_SHARE,
    PROCESS_METHODS,
    Processed,
    cool,
    heat,
    mix,
    settle,
    warm_by_fan,
)
from outfeed.moist_air.properties import (
    DRY_AIR_GAS_CONSTANT,
    DRY_AIR_HEAT_CAPACITY,
    FREEZING_POINT,
    GAS_RATIO,
    HEAT_OF_FUSION,
    HUMIDITY_RATIO,
    ICE_HEAT_CAPACITY,
    LATENT_HEAT_AT_ZERO,
    STANDARD_PRESSURE,
    VAPOUR_GAS_CONSTANT,
    VAPOUR_HEAT_CAPACITY,
    WATER_HEAT_CAPACITY,
    condensed_enthalpy,
    dew_point,
    enthalpy,
    humidity_ratio,
    humidity_ratio_from_vapour_pressure,
    latent_heat,
    maximum_relative_humidity,
    relative_humidity,
    saturation_humidity_ratio,
    specific_volume,
    standard_pressure,
    temperature_from_enthalpy,
    vapour_pressure_from_humidity_ratio,
)
from outfeed.moist_air.properties import METHODS as _PROPERTY_METHODS
from outfeed.moist_air.saturation import (
    CELSIUS_ZERO,
    SATURATION_TEMPERATURE,
    VAPOUR_PRESSURE,
    saturation_pressure,
    saturation_pressure_over_liquid,
    saturation_temperature,
)
from outfeed.moist_air.state import (
    DEW_POINT,
    STATE_PAIRS,
    WET_BULB,
    AirState,
    Rows,
    air_state,
    air_state_rows,
)

METHODS = (*_PROPERTY_METHODS, *_WET_BULB_METHODS, *PROCESS_METHODS, *COMBUSTION_METHODS)

__all__ = [
    "BURNERS", "BURNER_EFFICIENCY", "CELSIUS_ZERO", "DEW_POINT", "DRY_AIR_FLOW",
    "DRY_AIR_GAS_CONSTANT", "DRY_AIR_HEAT_CAPACITY", "FAN_EFFICIENCY", "FAN_PRESSURE",
    "FREEZING_POINT", "FUELS", "GAS_RATIO", "HEAT_OF_FUSION", "HUMIDITY_RATIO",
    "ICE_HEAT_CAPACITY", "INDIRECT_EFFICIENCY", "LATENT_HEAT_AT_ZERO", "METHODS", "MIX_SHARE",
    "SATURATION_TEMPERATURE", "STANDARD_PRESSURE", "STATE_PAIRS", "VAPOUR_GAS_CONSTANT",
    "VAPOUR_HEAT_CAPACITY", "VAPOUR_PRESSURE", "WATER_HEAT_CAPACITY", "WET_BULB", "AirState",
    "Burned", "Fuel", "ImpossibleAir", "Processed", "Rows", "air_state", "air_state_rows", "burn",
    "condensed_enthalpy", "cool", "dew_point", "enthalpy", "fuel_named", "heat",
    "humidity_ratio", "humidity_ratio_from_vapour_pressure", "latent_heat",
    "maximum_relative_humidity", "mix", "relative_humidity", "saturation_humidity_ratio",
    "saturation_pressure", "saturation_pressure_over_liquid", "saturation_temperature", "settle",
    "specific_volume", "standard_pressure", "temperature_from_enthalpy",
    "vapour_pressure_from_humidity_ratio", "warm_by_fan", "wet_bulb",
]  # fmt: skip
