"""The grain catalogue: what is published about each grain, and what is not.

::

    from outfeed.grains import load_grain, temperature_limits

    corn = load_grain("corn-yellow-dent")
    corn.bushel_weight.value      # kg in a legal bushel
    corn.isotherm().method        # default equilibrium-moisture equation
    corn.missing                  # what the catalogue does not know

The figures stand in ``data``, one TOML file per grain, to be read and
corrected by people who know grain.
"""

from outfeed.grains.advice import Observation, StorageLife, StorageMoisture, TemperatureLimit
from outfeed.grains.heat import published_specific_heats, specific_heat_of
from outfeed.grains.limits import most_permissive, strictest, temperature_limits
from outfeed.grains.loader import grain_ids, load_general, load_grain, load_sources
from outfeed.grains.properties import (
    AirflowSet,
    BulkDensity,
    IsothermSet,
    Kinetics,
    Known,
    KnownSpan,
    LatentHeat,
    LinearInMoisture,
    NamedKnown,
    Source,
)
from outfeed.grains.schema import General, Grain
from outfeed.grains.table import CatalogueError
from outfeed.grains.units import BUSHEL_VOLUME

__all__ = [
    "BUSHEL_VOLUME",
    "AirflowSet",
    "BulkDensity",
    "CatalogueError",
    "General",
    "Grain",
    "IsothermSet",
    "Kinetics",
    "Known",
    "KnownSpan",
    "LatentHeat",
    "LinearInMoisture",
    "NamedKnown",
    "Observation",
    "Source",
    "StorageLife",
    "StorageMoisture",
    "TemperatureLimit",
    "grain_ids",
    "load_general",
    "load_grain",
    "load_sources",
    "most_permissive",
    "published_specific_heats",
    "specific_heat_of",
    "strictest",
    "temperature_limits",
]
