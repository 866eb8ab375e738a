"""Words the catalogue's limits are sorted by, and which of them include which."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

END_USES: Final = (
    "seed",
    "malting",
    "food",
    "milling",
    "wet-milling",
    "commercial",
    "non-food",
    "feed",
)
"""End uses that published limits name."""

GERM_MUST_LIVE: Final = frozenset({"seed", "malting"})
"""Uses for which a limit that names no end use says nothing: the kernel has to germinate."""

DRYER_TYPES: Final = (
    "continuous-flow",
    "mixed-flow",
    "cross-flow",
    "recirculating-batch",
    "batch",
    "column-batch",
    "bin-batch",
    "mixing",
    "non-mixing",
)
"""Dryer types that published limits name, or that a caller may ask for."""

WIDER_USES: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "milling": ("commercial",),
        "wet-milling": ("commercial",),
        "food": ("commercial",),
        "commercial": ("non-food",),
        "feed": ("non-food",),
    }
)
"""Uses whose limits also speak for a narrower one."""

WIDER_DRYERS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "mixed-flow": ("continuous-flow", "mixing"),
        "cross-flow": ("continuous-flow", "non-mixing"),
        "column-batch": ("batch",),
        "bin-batch": ("batch",),
        "recirculating-batch": ("batch", "mixing"),
    }
)
"""Dryer types whose limits also speak for a narrower one."""
