"""Whether grain that leaves is too wet to keep or drier than anybody wants: one rule for all."""

from __future__ import annotations

import math
from collections.abc import Iterable

from outfeed.grains import load_grain
from outfeed.limits import SPOKEN
from outfeed.storage_moisture import advised_span

NEAR = 0.005
"""Half a point either side of a target counts as on it [-]: common practice, no source."""


def too_wet_to_store(grain: str, moisture: float, temperature: float | None = None) -> float | None:
    """The wettest moisture that any source advises for storing, where grain is wetter than that.

    Parameters
    ----------
    grain : str
        Id in the catalogue.
    moisture : float
        Wet basis [-].
    temperature : float, optional
        At which it is stored [degC]; without it advice for cold grain does not count.

    Returns
    -------
    float or None
        Wet basis [-]; None where the grain is as dry as that, or nobody advises any.
    """
    span = advised_span(load_grain(grain), temperature)
    return span[1] if span is not None and moisture > span[1] + SPOKEN else None


def moisture_cautions(
    grain: str,
    moistures: Iterable[float],
    target: float | None = None,
    band: float = NEAR,
    temperature: float | None = None,
) -> list[str]:
    """Codes of the cautions on the moisture of grain that leaves.

    Parameters
    ----------
    grain : str
        Id in the catalogue.
    moistures : iterable of float
        At which it leaves, wet basis [-]; one at least.
    target : float, optional
        Moisture wanted, wet basis [-]. Without one the moistures that sources advise for storing
        take its place; a target wetter than these is told in any case.
    band : float
        How far beside the target still counts as on it [-].
    temperature : float, optional
        As for `too_wet_to_store`.

    Returns
    -------
    list of str
        For `models.cautions`.
    """
    found, span = list(moistures), advised_span(load_grain(grain), temperature)
    if target is not None:
        low, high = target - band, target + band
        high = -math.inf if too_wet_to_store(grain, target, temperature) is not None else high
    elif span is not None:
        low, high = span[0] - band, span[1]
    else:
        return []
    codes = ["under-drying"] if max(found) > high + SPOKEN else []
    return [*codes, "over-drying"] if min(found) < low - SPOKEN else codes
