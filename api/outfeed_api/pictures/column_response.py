"""What leaves over time: moisture with its target, column and discharge temperature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from outfeed_api.pictures import canvas
from outfeed_api.pictures.time_axis import time_axis
from outfeed_api.units import QUANTITIES

HALF_POINT = 0.5  # percent
HOUR = 60.0  # min


def column_response_picture(request: Any, answer: Any, media_type: str) -> bytes:
    """Draw a column response.

    Parameters
    ----------
    request : ColumnResponseRequest
        In SI.
    answer : ColumnResponseAnswer
        As displayed.
    media_type : str
        SVG or PNG.

    Returns
    -------
    bytes
        The picture; the decision alone where there is no trace.
    """
    change = "After the change" if request.step is not None else "Through the weather"
    title = "First fill" if request.start == "first-fill" else change
    if answer.trace is None:
        return canvas.alone(title, answer.decision, media_type)
    layout, heights = [["moisture"], ["temperature"]], [1.5, 1.1]
    driven = answer.trace.ambient_temperature is not None
    if driven:
        layout, heights = [*layout, ["air"]], [1.4, 1.0, 0.6]
    page = canvas.sheet(title, answer.decision, layout, heights=heights)
    across = _Across(request.hourly.seconds[0], 60.0) if driven else _Across(0.0, 1.0 / HOUR)
    _moisture(page.axes["moisture"], request, answer, across)
    _temperature(page.axes["temperature"], answer, across)
    if driven:
        _air(page.axes["air"], answer, across)
    for axes in page.axes.values():
        _marks(axes, answer, across)
    if driven:
        _clock(page, request, answer)
    return canvas.render(page, media_type)


@dataclass(frozen=True, slots=True)
class _Across:
    """What runs from left to right: seconds of the caller's clock, or hours since the change."""

    origin: float
    a_minute: float

    def __call__(self, minutes: float) -> float:
        return self.origin + self.a_minute * minutes

    def trace(self, answer: Any) -> list[float]:
        return [self(minutes) for minutes in answer.trace.elapsed]


def _clock(page: canvas.Sheet, request: Any, answer: Any) -> None:
    """The time of day below all panels, where the weather drives the column."""
    for name, axes in page.axes.items():
        start, end = axes.get_xlim()
        time_axis(
            axes, start, end, dates=answer.trace.times is not None,
            offset=request.hourly.offset, labels=name == "air",
        )  # fmt: skip


def _moisture(axes: Any, request: Any, answer: Any, across: _Across) -> None:
    times, moisture = across.trace(answer), answer.trace.moisture
    half = (request.band * 100.0) if request.band else HALF_POINT
    low, high = answer.target - half, answer.target + half
    axes.axhspan(low, high, color=canvas.GREEN, alpha=canvas.BAND, linewidth=0.0)
    held = across(answer.hold or 0.0)
    flowing = [(t, m) for t, m in zip(times, moisture, strict=True) if t >= held]
    axes.plot(*zip(*flowing, strict=True), color=canvas.BLUE, linewidth=canvas.LINE)
    x, y = [t for t, _ in flowing], [m for _, m in flowing]
    axes.fill_between(x, y, high, where=[m > high for m in y], color=canvas.RUST,
                      alpha=0.25, linewidth=0.0, interpolate=True)  # fmt: skip
    axes.fill_between(x, y, low, where=[m < low for m in y], color=canvas.ORANGE,
                      alpha=0.30, linewidth=0.0, interpolate=True)  # fmt: skip
    canvas.aside(axes, _off_words(answer), canvas.INK)
    canvas.frame(axes, "Moisture at the discharge, on target in green", "%")


def _off_words(answer: Any) -> str:
    unit = QUANTITIES["grain"].unit(answer.units).label
    off, digits = answer.off_target, 0 if answer.units == "us" else 1
    lines = []
    if off.wet > 0.0:
        lines.append(f"{off.wet:,.{digits}f} {unit} too wet, by {off.wet_by:.1f} points")
    if off.dry > 0.0:
        lines.append(f"{off.dry:,.{digits}f} {unit} too dry, by {off.dry_by:.1f} points")
    return "; ".join(lines) or "all on target"


def _temperature(axes: Any, answer: Any, across: _Across) -> None:
    times, trace = across.trace(answer), answer.trace
    unit = QUANTITIES["temperature"].unit(answer.units).label
    axes.plot(times, trace.temperature, color=canvas.SKY, linewidth=canvas.LINE)
    canvas.end_label(axes, times[-1], trace.temperature[-1], "at the discharge", canvas.SKY)
    axes.plot(times, trace.hottest_kernel, color=canvas.GREY, linewidth=canvas.THIN)
    canvas.end_label(axes, times[-1], trace.hottest_kernel[-1], "hottest kernel", canvas.GREY)
    if trace.column_temperature is not None:
        axes.plot(times, trace.column_temperature, color=canvas.PURPLE, linewidth=canvas.LINE)
        canvas.end_label(
            axes, times[-1], trace.column_temperature[-1], "column sensors", canvas.PURPLE,
            above=False,
        )  # fmt: skip
    below = "hours" if trace.ambient_temperature is None else ""
    canvas.frame(axes, "Grain temperature", unit, x_label=below)


def _air(axes: Any, answer: Any, across: _Across) -> None:
    """The outside air that drives the column."""
    air = answer.trace.ambient_temperature
    axes.plot(across.trace(answer), air, color=canvas.GREY, linewidth=canvas.LINE)
    canvas.frame(axes, "Outside air", QUANTITIES["temperature"].unit(answer.units).label)


def _marks(axes: Any, answer: Any, across: _Across) -> None:
    """One transit, and the end of the hold."""
    held = answer.hold or 0.0
    start, end = across(held), across(held + HOUR * answer.transit_time)
    axes.set_xlim(across(0.0), max(across(answer.trace.elapsed[-1]), end))
    if held > 0.0:
        axes.axvspan(across(0.0), start, color=canvas.GREY, alpha=0.15, linewidth=0.0)
        _name(axes, 0.5 * (across(0.0) + start), "held", "center")
    axes.axvline(end, color=canvas.GREY, linewidth=canvas.THIN, linestyle=(0, (5, 3)))
    _name(axes, end, "one transit", "left")


def _name(axes: Any, x: float, text: str, side: str) -> None:
    """What a mark is called, above its foot; paler ground keeps it apart from a line."""
    axes.annotate(
        text, (x, 0.04), xycoords=("data", "axes fraction"), xytext=(4 * (side == "left"), 0),
        textcoords="offset points", ha=side, fontsize=canvas.SMALL,
        color=canvas.legible(canvas.GREY), bbox=canvas.HALO,
    )  # fmt: skip
