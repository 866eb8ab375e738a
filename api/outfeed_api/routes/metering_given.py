"""Metering points of a request: checked before long work, a setting after it, and in words."""

from __future__ import annotations

from collections.abc import Sequence

from outfeed.dryer.estimate import Estimate
from outfeed.dryer.metering import Metering, metering_setting
from outfeed_api.models import Request
from outfeed_api.problems import join_pointer
from outfeed_api.refusals import pointing_at
from outfeed_api.routes.dryer_models import MeteringPoint
from outfeed_api.routes.own_scale import three_digits


def dialled(
    request: Request, points: Sequence[MeteringPoint] | None, rate: Estimate
) -> Metering | None:
    """Setting that gives a rate.

    Parameters
    ----------
    request : Request
        In SI.
    points : sequence of MeteringPoint or None
        Its metering points.
    rate : Estimate
        Rate wanted [kg/s], in the basis of the points.

    Returns
    -------
    Metering or None
        None without points, or with points more than twofold away.

    Raises
    ------
    ProblemError
        ``inconsistent`` at the points, where rates fall as the setting rises or two of them
        contradict each other by far.
    """
    if not points:
        return None
    with pointing_at(join_pointer("metering_points"), request):
        return metering_setting(
            rate, [point.setting for point in points], [point.rate for point in points]
        )


def refuse_falling(request: Request, points: Sequence[MeteringPoint] | None) -> None:
    """Refuse points that no rate could be read from, before anything is computed.

    Parameters
    ----------
    request : Request
        In SI.
    points : sequence of MeteringPoint or None
        Its metering points.

    Raises
    ------
    ProblemError
        As `dialled`.
    """
    if points:
        dialled(request, points, Estimate(*[points[0].rate] * 3))


def metering_said(setting: float, low: float, high: float) -> str:
    """A metering setting with its band, on the drive's own scale."""
    value, least, most = map(three_digits, (setting, low, high))
    return f"metering setting {value} ({least} to {most})"


def metering_notes(points: Sequence[MeteringPoint] | None, dial: Metering | None) -> list[str]:
    """What to know before the setting is dialled.

    Parameters
    ----------
    points : sequence of MeteringPoint or None
        Metering points of the request, in SI.
    dial : Metering or None
        The setting.

    Returns
    -------
    list of str
        Sentences; empty where the points speak for the setting.
    """
    if not points:
        return []
    if dial is None:
        text = (
            "Your metering points lie more than twofold from this rate: no setting can be read "
            "from them. Take a point nearer to it."
        )
        return [text]
    found = []
    if dial.doubted is not None:
        more, less = (f"{setting:g}" for setting in dial.doubted)
        among = f"setting {more} gave more than setting {less}"
        if more == less:
            among = f"setting {more} gave rates far apart"
        found.append(
            f"Your metering points contradict each other: {among}, by more than timed lots err. "
            f"The setting rests on their mean; time a lot at it, and take those points again."
        )
    if dial.basis == "far-extrapolation":
        found.append("The metering setting lies far beyond your points: do not rely on it.")
    if dial.basis == "near-extrapolation":
        found.append(
            "The metering setting lies a little beyond your points; check it with a timed lot."
        )
    return found
