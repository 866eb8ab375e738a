"""The start plan at a glance: plenums and their limits by level, the grain to expect below them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from outfeed_api.pictures import canvas
from outfeed_api.pictures.time_axis import time_axis
from outfeed_api.units import QUANTITIES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TITLE = "Start plan"
NAMES = 0.30  # of the span of moisture, left free for the names of the zones
HOUR = 3600.0


def start_plan_picture(request: Any, answer: Any, media_type: str) -> bytes:
    """Draw a start plan.

    Parameters
    ----------
    request : StartPlanRequest
        In SI.
    answer : StartPlanAnswer
        As displayed.
    media_type : str
        SVG or PNG.

    Returns
    -------
    bytes
        The picture; the decision alone where there is no plan.
    """
    if answer.figures is None or answer.column is None:
        return canvas.alone(TITLE, answer.decision, media_type)
    layout, heights = [["temperature", "moisture"], ["words", "words"]], [2.1, 1.0]
    if answer.by_hour is not None:
        layout, heights = [*layout, ["hours", "hours"]], [2.1, 1.0, 0.9]
    page = canvas.sheet(TITLE, answer.decision, layout, heights=heights, widths=(1.5, 1.0))
    _temperature(page.axes["temperature"], answer)
    _moisture(page.axes["moisture"], answer)
    canvas.words(page.axes["words"], _figures(answer), title="In figures", right=0.85)
    if answer.by_hour is not None:
        _hours(page.axes["hours"], request, answer)
    return canvas.render(page, media_type)


def _temperature(axes: Axes, answer: Any) -> None:
    """Plenum and limit of every level, and the grain between them."""
    unit = QUANTITIES["temperature"].unit(answer.units).label
    levels = {level.zone: level for level in answer.figures.levels}
    grain = answer.column.grain
    _zones(axes, answer)
    for zone in answer.column.zones:
        ends, middle = [zone.top, zone.bottom], 0.5 * (zone.top + zone.bottom)
        hot = zone.air_temperature
        heated = zone.role == "heated"
        color = canvas.RUST if heated else canvas.SKY
        axes.plot([hot, hot], ends, color=color, linewidth=4.0, solid_capstyle="butt")
        _beside(axes, hot, middle, f"{hot:.0f} {unit}", color, left=heated)
        level = levels.get(zone.zone)
        if level is not None and level.ceiling is not None:
            axes.plot([level.ceiling] * 2, ends, color=canvas.GREY, linewidth=canvas.THIN,
                      linestyle=(0, (4, 3)))  # fmt: skip
    axes.plot(grain.temperature, grain.depth, color=canvas.INK, linewidth=canvas.LINE)
    out = answer.figures.discharge_temperature.value
    _beside(axes, grain.temperature[-1], grain.depth[-1], f"   {out:.0f} {unit} out", canvas.INK,
            up=True)  # fmt: skip
    canvas.key(axes, [("grain to expect", canvas.INK), ("plenum to set", canvas.RUST),
                      ("outside air", canvas.SKY), ("limit that rules", canvas.GREY)])  # fmt: skip
    low, high = axes.get_xlim()
    axes.set_xlim(low, high + 0.04 * (high - low))
    canvas.frame(axes, "Temperature", unit, x_label=unit)
    depth = QUANTITIES["length"].unit(answer.units).label
    axes.set_ylabel(f"Depth below the top, {depth}", fontsize=canvas.BODY, color=canvas.INK)


def _moisture(axes: Axes, answer: Any) -> None:
    """Grain down the column against the aim."""
    grain, aim = answer.column.grain, answer.figures.aim
    _zones(axes, answer, names=True)
    axes.plot(grain.moisture, grain.depth, color=canvas.BLUE, linewidth=canvas.LINE)
    axes.axvline(aim, color=canvas.GREEN, linewidth=canvas.THIN, linestyle="--")
    span = max(grain.moisture) - min(grain.moisture)
    axes.set_xlim(min(grain.moisture) - NAMES * span - 0.1, max(grain.moisture) + 0.12 * span + 0.1)
    top, bottom = grain.depth[0], grain.depth[-1]
    _beside(axes, aim, 0.06 * bottom + 0.94 * top, f"aim {aim:.1f}", canvas.GREEN)
    _beside(axes, grain.moisture[0], top, f"{grain.moisture[0]:.1f} % in", canvas.INK, left=True,
            down=True)  # fmt: skip
    _beside(axes, grain.moisture[-1], bottom, f"{grain.moisture[-1]:.1f} % out", canvas.INK,
            up=True)  # fmt: skip
    canvas.frame(axes, "Grain moisture to expect", "% wet basis", x_label="%")
    axes.tick_params(labelleft=False)


def _zones(axes: Axes, answer: Any, *, names: bool = False) -> None:
    zones = answer.column.zones
    for zone in zones:
        shade = canvas.HEATED if zone.role == "heated" else canvas.COOLED
        axes.axhspan(zone.top, zone.bottom, color=shade, linewidth=0.0, zorder=0.2)
        axes.axhline(zone.bottom, color=canvas.PAPER, linewidth=2.5, zorder=0.3)
        if names:
            axes.annotate(
                zone.zone, (0.02, 0.5 * (zone.top + zone.bottom)),
                xycoords=("axes fraction", "data"), fontsize=canvas.SMALL, color=canvas.GREY,
                va="center", ha="left",
            )  # fmt: skip
    axes.set_ylim(zones[-1].bottom, zones[0].top)
    axes.grid(visible=True, axis="x", color=canvas.PALE, linewidth=1.0)
    axes.grid(visible=False, axis="y")


def _beside(
    axes: Axes,
    x: float,
    y: float,
    text: str,
    color: str,
    *,
    left: bool = False,
    up: bool = False,
    down: bool = False,
) -> None:
    shift = 9 if up else -9 if down else 0
    axes.annotate(
        text, (x, y), xytext=(-8 if left else 8, shift), textcoords="offset points",
        fontsize=canvas.SMALL, color=canvas.legible(color), fontweight="bold",
        ha="right" if left else "left",
        va="bottom" if up else "top" if down else "center",
    )  # fmt: skip


def _hours(axes: Axes, request: Any, answer: Any) -> None:
    """Rate that keeps the aim in each hour; the hours beyond the plan are shaded."""
    seconds, hours = request.hourly.seconds, answer.by_hour
    rate = [math.nan if value is None else value for value in hours.discharge_rate]
    planned = answer.figures.discharge_rate
    end = max(seconds[-1], seconds[0] + HOUR)
    axes.plot(seconds, rate, color=canvas.BLUE, linewidth=canvas.LINE)
    canvas.level(axes, planned.value, "planned", canvas.GREY)
    known = [value for value in rate if not math.isnan(value)]
    low, high = min([*known, planned.value]), max([*known, planned.value])
    room = max(0.2 * (high - low), 0.04 * planned.value)
    starts = [*seconds, end]
    for index, within in enumerate(hours.within_plan):
        if not within:
            axes.axvspan(starts[index], starts[index + 1], color=canvas.ORANGE, alpha=canvas.BAND,
                         linewidth=0.0)  # fmt: skip
    unit = QUANTITIES["grain-rate"].unit(answer.units).label
    canvas.frame(axes, "Rate that keeps the aim in each hour's air", unit, low=low - room,
                 high=high + room)  # fmt: skip
    if answer.units == "us":
        canvas.plain_numbers(axes)
    canvas.aside(axes, "shaded: air too far from the plan's", canvas.ORANGE)
    time_axis(axes, seconds[0], end, dates=request.hourly.form == "times",
              offset=request.hourly.offset)  # fmt: skip


def _figures(answer: Any) -> list[tuple[str, str]]:
    units, figures = answer.units, answer.figures
    small = 0 if units == "us" else 1

    def shown(quantity: str, band: Any, digits: int) -> str:
        label = QUANTITIES[quantity].unit(units).label
        text = f"{band.value:,.{digits}f} {label}"
        return f"{text}   ({band.low:,.{digits}f} to {band.high:,.{digits}f})"

    lines = [("Opening rate, dry grain", shown("grain-rate", figures.discharge_rate, small))]
    if figures.metering is not None:
        dial = figures.metering
        lines.append(
            ("Metering setting", f"{dial.setting:.3g}   ({dial.low:.3g} to {dial.high:.3g})")
        )
    first, grain = figures.first_fill, QUANTITIES["grain"].unit(units).label
    return [
        *lines,
        ("Column sensors, settled", shown("temperature", figures.column_temperature, 0)),
        (
            f"Exhaust of {figures.levels[0].zone}",
            shown("temperature", figures.levels[0].exhaust_temperature, 0),
        ),
        ("Hottest kernel", shown("temperature", figures.hottest_kernel, 0)),
        ("Wait before judging", shown("hours", figures.settling_wait, 1)),
        (
            "First fill leaving wet",
            "not known"
            if first.wet is None
            else f"{first.wet:,.{small}f} {grain}, by {first.wet_by:.1f} points",
        ),
    ]
