"""Ticks of a time axis: clock and date where the caller gave them, else minutes, hours or days."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

from outfeed_api.pictures import canvas

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
STEPS = (MINUTE, 5 * MINUTE, 10 * MINUTE, 30 * MINUTE, HOUR, 2 * HOUR, 3 * HOUR, 6 * HOUR,
         12 * HOUR, DAY, 2 * DAY, 7 * DAY, 14 * DAY, 28 * DAY, 56 * DAY)  # fmt: skip
MOST_TICKS = 9
NAMES = {MINUTE: "minutes", HOUR: "hours", DAY: "days"}


def time_axis(
    axes: Axes,
    start_s: float,
    end_s: float,
    *,
    dates: bool,
    offset: timezone | None = None,
    labels: bool = True,
) -> None:
    """Put ticks under a panel whose horizontal axis is in seconds.

    Parameters
    ----------
    axes : Axes
        The panel.
    start_s, end_s : float
        Its ends [s], since 1970 when `dates`, else since the caller's own origin.
    dates : bool
        Whether times are date-times.
    offset : timezone, optional
        Offset of the date-times; UTC when left out.
    labels : bool
        Whether the ticks are labelled; off for all but the lowest of panels that share time.
    """
    step = next((s for s in STEPS if (end_s - start_s) / s <= MOST_TICKS), STEPS[-1])
    zone = offset or UTC
    shift = (zone.utcoffset(None) or timedelta()).total_seconds() if dates else 0.0
    first = math.ceil((start_s + shift) / step - 1e-9) * step - shift
    count = int((end_s - first) / step + 1e-9) + 1
    ticks = [first + k * step for k in range(max(count, 1))]
    axes.set_xlim(start_s, end_s)
    axes.set_xticks(ticks)
    if not labels:
        axes.set_xticklabels([])
        return
    if dates:
        axes.set_xticklabels([_date(tick, zone, step) for tick in ticks])
        return
    whole = DAY if step >= DAY else HOUR
    unit = whole if (2.0 * step) % whole == 0.0 else MINUTE
    axes.set_xticklabels([f"{tick / unit:g}" for tick in ticks])
    axes.set_xlabel(NAMES[unit], fontsize=canvas.BODY, color=canvas.INK)


def _date(seconds: float, zone: timezone, step: float) -> str:
    moment = datetime.fromtimestamp(round(seconds), zone)
    day = f"{moment.day} {moment:%b}"
    if step >= DAY:
        return day
    clock = f"{moment:%H:%M}"
    return f"{clock}\n{day}" if moment.hour == 0 and moment.minute == 0 else clock
