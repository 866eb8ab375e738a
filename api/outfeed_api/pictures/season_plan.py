"""One page about a season: wet holding, storage life, fuel, and what would help."""

from __future__ import annotations

import math
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from outfeed.season import MUCH_OF_LIFE, Plan
from outfeed.season_help import Alternative
from outfeed.weather import HOUR
from outfeed_api.moments import Clock
from outfeed_api.pictures import canvas
from outfeed_api.pictures.time_axis import time_axis
from outfeed_api.routes.season_words import CHANGES
from outfeed_api.units import QUANTITIES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_DOTS = 1_500
FEWEST_WEEKS = 4  # of width, so that a single bar stays a bar
MEASURED = {"liquid": "liquid", "gas": "volume", "heat": "energy"}  # fuel, as it is told
MOST_DATES, MOST_NUMBERS = 6, 12  # of weeks with a label
BEFORE = 0.04  # of the width, before the first lot
TAIL = 1.06  # the picture ends a little after the last grain is dry


def season_picture(
    plan: Plan,
    others: tuple[Alternative, ...],
    answer: Any,
    clock: Clock,
    bushel_weight: float,
    media_type: str,
) -> bytes:
    """Draw a season plan.

    Parameters
    ----------
    plan : Plan
        From the library.
    others : tuple of Alternative
        The season with one thing changed.
    answer : SeasonPlanAnswer
        As displayed.
    clock : Clock
        How times are spoken of.
    bushel_weight : float
        Kilograms per bushel.
    media_type : str
        SVG or PNG.

    Returns
    -------
    bytes
        The picture.
    """
    layout = [["holding"] * 2, ["life"] * 2, ["fuel", "help" if others else "fuel"]]
    page = canvas.sheet("Season plan", answer.decision, layout, heights=(1.2, 0.8, 1.05))
    end = _end(plan)
    _holding(page.axes["holding"], plan, answer, bushel_weight)
    _life(page.axes["life"], plan)
    for name in ("holding", "life"):
        dates = clock.form == "times"
        time_axis(
            page.axes[name], _start(plan), end, dates=dates, offset=clock.offset,
            labels=name == "life",
        )  # fmt: skip
    _fuel(page.axes["fuel"], answer)
    if others:
        _help(page.axes["help"], plan, others)
    return canvas.render(page, media_type)


def _start(plan: Plan) -> float:
    """A little before the first lot comes in."""
    flow = plan.flow
    if not np.any(~np.isnan(flow.lot_in_s)):
        return flow.start_s
    first = float(np.nanmin(flow.lot_in_s))
    return max(flow.start_s, first - BEFORE * (_end(plan) - first))


def _end(plan: Plan) -> float:
    flow = plan.flow
    whole = flow.start_s + HOUR * flow.held.size
    if plan.finished_s is None:
        return whole
    return min(flow.start_s + (plan.finished_s - flow.start_s) * TAIL + HOUR, whole)


def _holding(axes: Axes, plan: Plan, answer: Any, bushel_weight: float) -> None:
    unit = QUANTITIES["grain"].unit(answer.units)
    scale = 1.0 / unit.scale(bushel_weight)
    flow = plan.flow
    times = flow.start_s + HOUR * np.arange(flow.held.size + 1)
    held = np.concatenate(([0.0], flow.peak)) * scale
    axes.fill_between(times, 0.0, held, color=canvas.BLUE, alpha=0.35, linewidth=0.0)
    axes.plot(times, held, color=canvas.BLUE, linewidth=canvas.THIN)
    full = plan.season.holding * scale
    if full > 0.0:
        canvas.level(axes, full, f"holding takes {full:,.0f} {unit.label}")
    waiting = flow.refused_hours > 0.0
    for hour in np.flatnonzero(waiting):
        axes.axvspan(times[hour], times[hour + 1], color=canvas.RUST, alpha=0.25, linewidth=0.0)
    canvas.plain_numbers(axes)
    canvas.frame(axes, "Wet grain in holding", unit.label)
    axes.set_ylim(0.0, max(full, float(held.max())) * 1.15 + 1e-9)
    if waiting.any():
        canvas.aside(axes, "shaded: no room, harvest waits", canvas.RUST)


def _life(axes: Axes, plan: Plan) -> None:
    title = "Storage life used up before drying, by lot"
    if plan.life is None:
        reason = "no storage life is published for this grain at these states"
        canvas.empty(axes, title, reason)
        return
    canvas.frame(axes, title, "%")
    flow = plan.flow
    known = np.flatnonzero(~np.isnan(flow.lot_in_s) & ~np.isnan(flow.lot_done_s))
    every = max(known.size // MOST_DOTS, 1)
    shown = known[::every]
    used = plan.life.used[shown] * 100.0
    much = used >= MUCH_OF_LIFE * 100.0
    colours = [canvas.RUST if flag else canvas.PURPLE for flag in much]
    axes.scatter(flow.lot_in_s[shown], used, s=20, c=colours, linewidths=0.0)
    top = max(float(used.max()) * 1.2 if used.size else 0.0, 5.0)
    axes.set_ylim(0.0, top)
    if top > MUCH_OF_LIFE * 100.0:
        canvas.level(axes, MUCH_OF_LIFE * 100.0, "a quarter of its life", canvas.RUST)


def _fuel(axes: Axes, answer: Any) -> None:
    """Weeks from the first fuel to the last; weeks before the harvest would be empty."""
    known = [name for name in MEASURED if getattr(answer.weeks[0], name) is not None]
    kind, quantity = known[0], MEASURED[known[0]]
    unit = QUANTITIES[quantity].unit(answer.units).label
    burned = [getattr(week, kind) for week in answer.weeks]
    busy = [index for index, value in enumerate(burned) if value > 0.0] or [0]
    weeks = range(busy[0], busy[-1] + 1)
    axes.bar(weeks, [burned[index] for index in weeks], color=canvas.ORANGE, width=0.7)
    spare = max(FEWEST_WEEKS - len(weeks), 0) / 2.0
    axes.set_xlim(weeks[0] - 0.6 - spare, weeks[-1] + 0.6 + spare)
    canvas.plain_numbers(axes)
    dates = answer.weeks[0].start is not None
    shown = weeks[:: math.ceil(len(weeks) / (MOST_DATES if dates else MOST_NUMBERS))]
    axes.set_xticks(list(shown), [_week(answer.weeks[index], index) for index in shown])
    canvas.frame(axes, "Fuel by week", unit, x_label="week from" if dates else "week")
    if answer.refills_needed is not None:
        count = answer.refills_needed
        canvas.aside(axes, f"{count} tank refill{'s' * (count != 1)}")


def _week(week: Any, index: int) -> str:
    """The day a week begins, or its number on the caller's own clock."""
    if week.start is None:
        return str(index + 1)
    begins = datetime.fromisoformat(week.start)
    return f"{begins.day} {begins:%b}"


def _help(axes: Axes, plan: Plan, others: tuple[Alternative, ...]) -> None:
    computed = [(CHANGES[other.change], other.plan) for other in others if other.plan is not None]
    rows = [("as it is", plan), *computed]
    waits = plan.waited_hours > 0.05
    label, unit = ("Waiting", "h") if waits else ("Worst life used", "%")
    values = [
        entry.waited_hours if waits else (entry.worst_life or 0.0) * 100.0 for _, entry in rows
    ]
    place = np.arange(len(rows))[::-1]
    colours = [canvas.GREY] + [canvas.GREEN if v < values[0] else canvas.SKY for v in values[1:]]
    axes.barh(place, values, color=colours, height=0.62)
    axes.set_yticks(place, [name for name, _ in rows])
    axes.grid(visible=False)
    top = max(max(values), 1e-9)
    for y, value in zip(place, values, strict=True):
        text = f"{value:,.0f}" if top >= 10.0 else f"{value:.1f}"
        axes.annotate(
            text, (value, y), xytext=(5, 0), textcoords="offset points", va="center",
            fontsize=canvas.SMALL, color=canvas.INK,
        )  # fmt: skip
    axes.set_xlim(0.0, top * 1.15)
    canvas.frame(axes, label + ", one thing changed", unit)
