"""Metering points of a request: checked before long work, and turned into a setting after it."""

from __future__ import annotations

from collections.abc import Sequence

from outfeed import Inconsistent
from outfeed.dryer.estimate import Estimate
from outfeed.dryer.metering import Metering, metering_setting
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error, join_pointer
from outfeed_api.routes.dryer_models import MeteringPoint


def dialled(points: Sequence[MeteringPoint] | None, rate: Estimate) -> Metering | None:
    """Setting that gives a rate.

    Parameters
    ----------
    points : sequence of MeteringPoint or None
        In SI.
    rate : Estimate
        Rate wanted [kg/s], in the basis of the points.

    Returns
    -------
    Metering or None
        None without points, or with points more than twofold away.

    Raises
    ------
    ProblemError
        ``inconsistent`` at the points, where rates fall as the setting rises.
    """
    if not points:
        return None
    try:
        return metering_setting(
            rate, [point.setting for point in points], [point.rate for point in points]
        )
    except Inconsistent as error:
        fault = field_error(join_pointer("metering_points"), str(error))
        raise ProblemError(INCONSISTENT, str(error), [fault]) from error


def refuse_falling(points: Sequence[MeteringPoint] | None) -> None:
    """Refuse points that no rate could be read from, before anything is computed.

    Parameters
    ----------
    points : sequence of MeteringPoint or None
        In SI.

    Raises
    ------
    ProblemError
        As `dialled`.
    """
    if points:
        dialled(points, Estimate(*[points[0].rate] * 3))
