"""What decision and notes of the meter check share: amounts in words, what a check calls for."""

from __future__ import annotations

from math import inf

from outfeed.steering import meter, meter_doubt

TENTH = 0.00095  # from here on a correction said in tenths of a point is not nought


def points(value: float) -> str:
    """A difference of moisture in points, with two decimals."""
    return f"{value * 100:.2f} point"


def step(value: float) -> str:
    """A correction in tenths as a panel takes it, in hundredths where tenths would say nothing."""
    return f"{value * 100:.{1 if value >= TENTH else 2}f} point"


def samples_said(count: int, more: str = "") -> str:
    """A number of samples."""
    return f"{count} {more}sample{'s' if count != 1 else ''}"


def far_off(found: meter.MeterCheck) -> bool:
    """Whether the meters stand so far apart that a second check has to agree first.

    Parameters
    ----------
    found : MeterCheck
        What the check showed.

    Returns
    -------
    bool
        False where an earlier check agrees.
    """
    return found.pairing == "doubted" and found.pooled is None


def to_read_again(found: meter.MeterCheck) -> bool:
    """Whether some of the readings have to be taken again before any of them tells something.

    Parameters
    ----------
    found : MeterCheck
        What the check showed.

    Returns
    -------
    bool
        True for one sample unlike the others, or readings of one sample far apart.
    """
    return found.pairs.reason in ("odd-sample", "scattered-readings")


def plannable(found: meter.MeterCheck) -> bool:
    """Whether more samples like these would help.

    Parameters
    ----------
    found : MeterCheck
        What the check showed.

    Returns
    -------
    bool
        False where they have to be taken otherwise.
    """
    return found.pairs.reason in (None, "large-offset")


def awaits_second(found: meter.MeterCheck) -> bool:
    """Whether an offset would be advised, were it not so large."""
    large = far_off(found) and not to_read_again(found)
    return large and found.readings > 1 and abs(found.offset) > found.doubt.total


def content_with(found: meter.MeterCheck, tolerance: float) -> bool:
    """Whether the offset is as sure as one would have it [half-width, -]."""
    return found.readings > 1 and (found.pooled or found).half_width <= tolerance


def unreachable(found: meter.MeterCheck, tolerance: float) -> str:
    """Why no number of samples brings the offset within a tolerance [half-width, -]."""
    if meter_doubt.half_width_of([(found.doubt.bias, inf)]) >= tolerance:
        return "only a better reference would"
    return "a thousand read as often would not"
