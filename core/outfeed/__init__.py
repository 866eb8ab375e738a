"""Outfeed: answers for a person who runs a continuous-flow grain dryer.

The library is pure: functions of their arguments, SI units inside, no I/O but
the packaged grain catalogue. Import the topic you need::

    from outfeed import moist_air, sorption
    from outfeed.grains import load_grain

Nothing is imported here but the errors, so that ``import outfeed`` is cheap.
"""

from outfeed.errors import (
    Inconsistent,
    NotConverged,
    NotPublished,
    OutfeedError,
    OutOfRange,
    UnknownName,
)

__version__ = "0.1.0"

__all__ = [
    "Inconsistent",
    "NotConverged",
    "NotPublished",
    "OutOfRange",
    "OutfeedError",
    "UnknownName",
    "__version__",
]
