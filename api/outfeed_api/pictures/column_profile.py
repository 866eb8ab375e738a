"""The column at a glance: depth runs down, zones are shaded."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from outfeed_api.pictures import canvas
from outfeed_api.pictures.time_axis import time_axis
from outfeed_api.units import QUANTITIES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEAST_SPAN = 1.2  # points of moisture over the hours, so that little looks little
LONGEST_LABEL = 18  # characters of a zone's name
NAMES = 0.42  # of the span of moisture, left free for the names of the zones


def column_profile_picture(request: Any, answer: Any, media_type: str) -> bytes:
    """Draw a column profile.

    Parameters
    ----------
    request : ColumnProfileRequest
        In SI.
    answer : ColumnProfileAnswer
        As displayed.
    media_type : str
        SVG or PNG.

    Returns
    -------
    bytes
        The picture; the decision alone where there are no figures.
    """
    if answer.figures is None:
        return canvas.alone("Column profile", answer.decision, media_type)
    layout = [["moisture", "temperature", "exhaust"], ["words"] * 3]
    heights: tuple[float, ...] = (2.1, 0.8)
    if answer.by_hour is not None:
        layout, heights = [*layout, ["hours"] * 3], (2.1, 0.8, 0.9)
    page = canvas.sheet(
        "Column profile", answer.decision, layout, heights=heights, widths=(1.0, 1.5, 0.9)
    )
    if answer.by_hour is not None:
        _hours(page.axes["hours"], request, answer)
    _moisture(page.axes["moisture"], request, answer)
    _temperature(page.axes["temperature"], answer)
    _exhaust(page.axes["exhaust"], answer)
    canvas.words(page.axes["words"], _figures(answer), title="In figures", right=0.8)
    return canvas.render(page, media_type)


def _moisture(axes: Axes, request: Any, answer: Any) -> None:
    grain = answer.grain
    _zones(axes, answer, names=True)
    axes.plot(grain.moisture, grain.depth, color=canvas.BLUE, linewidth=canvas.LINE)
    target = request.target_moisture
    if target is not None:
        axes.axvline(target * 100.0, color=canvas.GREEN, linewidth=canvas.THIN, linestyle="--")
        _tell(axes, target * 100.0, grain.depth[0], "target", "under", canvas.GREEN)
    span = max(grain.moisture) - min(grain.moisture)
    axes.set_xlim(min(grain.moisture) - NAMES * span - 0.1, max(grain.moisture) + 0.12 * span + 0.1)
    _tell(axes, grain.moisture[0], grain.depth[0], f"{grain.moisture[0]:.1f} % in", "bottom")
    _tell(axes, grain.moisture[-1], grain.depth[-1], f"{grain.moisture[-1]:.1f} % out", "top")
    unit = QUANTITIES["length"].unit(answer.units).label
    canvas.frame(axes, "Grain moisture", "% wet basis", x_label="%")
    axes.set_ylabel(f"Depth below the top, {unit}", fontsize=canvas.BODY, color=canvas.INK)


def _hours(axes: Axes, request: Any, answer: Any) -> None:
    """Moisture at the discharge in the air of each hour; the hour that is shown is marked."""
    seconds = request.hourly.seconds
    moisture = [math.nan if value is None else value for value in answer.by_hour.moisture]
    axes.plot(seconds, moisture, color=canvas.BLUE, linewidth=canvas.LINE)
    if request.target_moisture is not None:
        canvas.level(axes, request.target_moisture * 100.0, "target", canvas.GREEN)
    known = [value for value in moisture if not math.isnan(value)]
    row = moisture.index(max(known))
    seen = known if request.target_moisture is None else [*known, request.target_moisture * 100.0]
    axes.plot([seconds[row]], [moisture[row]], "o", color=canvas.RUST, markersize=8)
    room = max(0.15 * (max(seen) - min(seen)), 0.5 * (LEAST_SPAN - max(seen) + min(seen)))
    canvas.frame(
        axes, "Moisture at the discharge, were each hour's air to last", "%",
        low=min(seen) - room, high=max(seen) + room,
    )  # fmt: skip
    canvas.aside(axes, "dot: the wettest hour, shown above", canvas.RUST)
    time_axis(
        axes, seconds[0], max(seconds[-1], seconds[0] + 3600.0),
        dates=request.hourly.form == "times", offset=request.hourly.offset,
    )  # fmt: skip


def _temperature(axes: Axes, answer: Any) -> None:
    grain, air = answer.grain, answer.air
    unit = QUANTITIES["temperature"].unit(answer.units).label
    _zones(axes, answer)
    _stepped(axes, air.depth, air.temperature_in, air.zone, canvas.RUST, "-")
    axes.plot(air.temperature_out, air.depth, color=canvas.SKY, linewidth=6.0, alpha=0.6)
    axes.plot(grain.temperature, grain.depth, color=canvas.INK, linewidth=canvas.LINE)
    limits = [check for check in answer.limits or () if check.of == "drying air"]
    for check in limits:
        if check.most_permissive is not None:
            _limit(axes, air, check)
    reads = answer.figures.sensors
    places = _sensor_depths(answer)
    axes.plot(
        [sensor.temperature for sensor in reads], places, "o", color=canvas.PURPLE, markersize=8
    )
    for sensor, depth in zip(reads, places, strict=True):
        _tell(axes, sensor.temperature, depth, f"sensor {sensor.temperature:.0f}", "beside")
    canvas.key(
        axes,
        [("grain", canvas.INK), ("air in", canvas.RUST), ("air out", canvas.SKY)]
        + ([("highest published limit", canvas.GREY)] if limits else []),
    )
    canvas.frame(axes, "Temperature", unit, x_label=unit)
    axes.tick_params(labelleft=False)


def _exhaust(axes: Axes, answer: Any) -> None:
    air = answer.air
    _zones(axes, answer)
    axes.plot(air.relative_humidity_out, air.depth, color=canvas.SKY, linewidth=canvas.LINE)
    axes.set_xlim(0.0, 105.0)
    axes.axvline(100.0, color=canvas.GREY, linewidth=canvas.THIN, linestyle=(0, (5, 3)))
    canvas.frame(axes, "Humidity of the air out", "%", x_label="% relative humidity")
    axes.tick_params(labelleft=False)


def _bounds(answer: Any) -> list[tuple[str, float, float]]:
    """Name, top and bottom of every zone that has a layer."""
    air, bounds, top = answer.air, [], answer.grain.depth[0]
    for index, name in enumerate(air.zone):
        last = index == len(air.zone) - 1
        if last or air.zone[index + 1] != name:
            bottom = (
                answer.grain.depth[-1] if last else 0.5 * (air.depth[index] + air.depth[index + 1])
            )
            bounds.append((name, top, bottom))
            top = bottom
    return bounds


def _zones(axes: Axes, answer: Any, *, names: bool = False) -> None:
    roles = {zone.name: zone.role for zone in answer.figures.zones}
    for name, top, bottom in _bounds(answer):
        shade = canvas.HEATED if roles[name] == "heated" else canvas.COOLED
        axes.axhspan(top, bottom, color=shade, linewidth=0.0, zorder=0.2)
        axes.axhline(bottom, color=canvas.PAPER, linewidth=2.5, zorder=0.3)
        if names:
            axes.annotate(
                _short(name), (0.02, 0.5 * (top + bottom)), xycoords=("axes fraction", "data"),
                fontsize=canvas.SMALL, color=canvas.GREY, va="center", ha="left",
            )  # fmt: skip
    axes.set_ylim(answer.grain.depth[-1], answer.grain.depth[0])
    axes.grid(visible=True, axis="x", color=canvas.PALE, linewidth=1.0)
    axes.grid(visible=False, axis="y")


def _short(name: str) -> str:
    """As much of a zone's name as there is room for; a longer one pushes the panels apart."""
    return name if len(name) <= LONGEST_LABEL else f"{name[: LONGEST_LABEL - 3].rstrip()}..."


def _stepped(
    axes: Axes, depth: list[float], values: list[float], zones: list[str], color: str, dash: str
) -> None:
    """A line that breaks where the zone changes."""
    start = 0
    for index in range(1, len(zones) + 1):
        if index == len(zones) or zones[index] != zones[start]:
            axes.plot(
                values[start:index], depth[start:index], color=color, linewidth=canvas.LINE,
                linestyle=dash,
            )  # fmt: skip
            start = index


def _limit(axes: Axes, air: Any, check: Any) -> None:
    rows = [depth for depth, zone in zip(air.depth, air.zone, strict=True) if zone == check.zone]
    if rows:
        axes.plot(
            [check.most_permissive] * 2, [rows[0], rows[-1]], color=canvas.GREY,
            linewidth=canvas.THIN, linestyle=(0, (4, 3)),
        )  # fmt: skip


def _sensor_depths(answer: Any) -> list[float]:
    places = {name: (top, bottom) for name, top, bottom in _bounds(answer)}
    found = []
    for sensor in answer.figures.sensors:
        top, bottom = places[sensor.zone]
        found.append(top + sensor.position * (bottom - top))
    return found


def _tell(axes: Axes, x: float, y: float, text: str, side: str, color: str = canvas.INK) -> None:
    offset, align = {
        "under": ((4, -5), ("left", "top")),
        "bottom": ((-6, -12), ("right", "top")),
        "top": ((8, 10), ("left", "bottom")),
        "beside": ((9, 0), ("left", "center")),
    }[side]
    axes.annotate(
        text, (x, y), xytext=offset, textcoords="offset points", fontsize=canvas.SMALL,
        color=canvas.legible(color), fontweight="bold", ha=align[0], va=align[1],
    )  # fmt: skip


def _figures(answer: Any) -> list[tuple[str, str]]:
    units, figures = answer.units, answer.figures

    def shown(quantity: str, band: Any, digits: int) -> str:
        label = QUANTITIES[quantity].unit(units).label.removesuffix(" wet basis")
        text = f"{band.value:,.{digits}f} {label}"
        if band.low == band.high:
            return text
        return f"{text}   ({band.low:,.{digits}f} to {band.high:,.{digits}f})"

    small = 0 if units == "us" else 1
    lines = [
        ("Dry grain out", shown("grain-rate", figures.discharge_rate, small)),
        ("Moisture at the discharge", shown("moisture", figures.moisture, 1)),
    ]
    if figures.column_temperature is not None:
        lines.append(("Column sensors", shown("temperature", figures.column_temperature, 0)))
    lines += [
        ("Hottest kernel", shown("temperature", figures.hottest_kernel, 0)),
        ("Transit", shown("hours", figures.transit_time, 1)),
    ]
    if figures.heat_per_water is not None:
        digits = 0 if small == 0 else 2
        lines.append(("Heat per water", shown("specific-energy", figures.heat_per_water, digits)))
    return lines
