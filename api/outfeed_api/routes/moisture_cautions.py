"""Whether grain that leaves is too wet to keep or drier than anybody wants: one rule for all."""

from __future__ import annotations

from collections.abc import Iterable

from outfeed.grains import load_grain
from outfeed.storage_moisture import advised_span

NEAR = 0.005
"""Half a point either side of a target counts as on it [-]: common practice, no source."""


def too_wet_to_store(grain: str, moisture: float) -> float | None:
    """The wettest moisture that any source advises for storing, where grain is wetter than that.

    Parameters
    ----------
    grain : str
        Id in the catalogue.
    moisture : float
        Wet basis [-].

    Returns
    -------
    float or None
        Wet basis [-]; None where the grain is as dry as that, or nobody advises any.
    """
    span = advised_span(load_grain(grain))
    return span[1] if span is not None and moisture > span[1] + 1e-9 else None


def moisture_cautions(
    grain: str, moistures: Iterable[float], target: float | None = None
) -> list[str]:
    """Codes of the cautions on the moisture of grain that leaves.

    Parameters
    ----------
    grain : str
        Id in the catalogue.
    moistures : iterable of float
        At which it leaves, wet basis [-]; one at least.
    target : float, optional
        Moisture wanted, wet basis [-]. Grain wetter than any source stores is told in any case,
        grain drier than any source advises only where nobody wanted it so dry.

    Returns
    -------
    list of str
        For `models.cautions`.
    """
    found = list(moistures)
    driest, wettest, span = min(found), max(found), advised_span(load_grain(grain))
    lowest = target if target is not None or span is None else span[0]
    codes = []
    above = target is not None and wettest > target + NEAR
    if above or too_wet_to_store(grain, wettest) is not None:
        codes.append("under-drying")
    if lowest is not None and driest < lowest - NEAR:
        codes.append("over-drying")
    return codes
