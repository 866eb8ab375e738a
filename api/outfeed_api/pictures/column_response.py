"""What leaves over time: moisture with its target, column and discharge temperature."""

from __future__ import annotations

from typing import Any

from outfeed_api.pictures import canvas
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
        page = canvas.sheet(title, answer.decision, [["words"]], heights=(0.2,))
        page.axes["words"].set_axis_off()
        return canvas.render(page, media_type)
    layout, heights = [["moisture"], ["temperature"]], [1.5, 1.1]
    driven = answer.trace.ambient_temperature is not None
    if driven:
        layout, heights = [*layout, ["air"]], [1.4, 1.0, 0.6]
    page = canvas.sheet(title, answer.decision, layout, heights=heights)
    _moisture(page.axes["moisture"], request, answer)
    _temperature(page.axes["temperature"], answer)
    if driven:
        _air(page.axes["air"], answer)
    for axes in page.axes.values():
        _marks(axes, answer)
    return canvas.render(page, media_type)


def _hours(answer: Any) -> list[float]:
    return [minutes / HOUR for minutes in answer.trace.elapsed]


def _moisture(axes: Any, request: Any, answer: Any) -> None:
    hours, moisture = _hours(answer), answer.trace.moisture
    half = (request.band * 100.0) if request.band else HALF_POINT
    low, high = answer.target - half, answer.target + half
    axes.axhspan(low, high, color=canvas.GREEN, alpha=canvas.BAND, linewidth=0.0)
    held = answer.hold / HOUR if answer.hold else 0.0
    flowing = [(h, m) for h, m in zip(hours, moisture, strict=True) if h >= held]
    axes.plot(*zip(*flowing, strict=True), color=canvas.BLUE, linewidth=canvas.LINE)
    x, y = [h for h, _ in flowing], [m for _, m in flowing]
    axes.fill_between(x, y, high, where=[m > high for m in y], color=canvas.RUST,
                      alpha=0.25, linewidth=0.0, interpolate=True)  # fmt: skip
    axes.fill_between(x, y, low, where=[m < low for m in y], color=canvas.ORANGE,
                      alpha=0.30, linewidth=0.0, interpolate=True)  # fmt: skip
    canvas.note(axes, 0.99, 0.98, _off_words(answer), canvas.INK)
    canvas.frame(axes, "Moisture at the discharge, on target in green", "%")


def _off_words(answer: Any) -> str:
    unit = QUANTITIES["grain"].unit(answer.units).label
    off, digits = answer.off_target, 0 if answer.units == "us" else 1
    lines = []
    if off.wet > 0.0:
        lines.append(f"{off.wet:,.{digits}f} {unit} too wet, by {off.wet_by:.1f} points")
    if off.dry > 0.0:
        lines.append(f"{off.dry:,.{digits}f} {unit} too dry, by {off.dry_by:.1f} points")
    return "\n".join(lines) or "all on target"


def _temperature(axes: Any, answer: Any) -> None:
    hours, trace = _hours(answer), answer.trace
    unit = QUANTITIES["temperature"].unit(answer.units).label
    axes.plot(hours, trace.temperature, color=canvas.SKY, linewidth=canvas.LINE)
    canvas.end_label(axes, hours[-1], trace.temperature[-1], "at the discharge", canvas.SKY)
    axes.plot(hours, trace.hottest_kernel, color=canvas.GREY, linewidth=canvas.THIN)
    canvas.end_label(axes, hours[-1], trace.hottest_kernel[-1], "hottest kernel", canvas.GREY)
    if trace.column_temperature is not None:
        axes.plot(hours, trace.column_temperature, color=canvas.PURPLE, linewidth=canvas.LINE)
        canvas.end_label(
            axes, hours[-1], trace.column_temperature[-1], "column sensors", canvas.PURPLE,
            above=False,
        )  # fmt: skip
    below = "hours" if trace.ambient_temperature is None else ""
    canvas.frame(axes, "Grain temperature", unit, x_label=below)


def _air(axes: Any, answer: Any) -> None:
    """The outside air that drives the column."""
    trace = answer.trace
    axes.plot(_hours(answer), trace.ambient_temperature, color=canvas.GREY, linewidth=canvas.LINE)
    since = f"hours from {trace.times[0][:16].replace('T', ' ')}" if trace.times else "hours"
    unit = QUANTITIES["temperature"].unit(answer.units).label
    canvas.frame(axes, "Outside air", unit, x_label=since)


def _marks(axes: Any, answer: Any) -> None:
    """One transit, and the end of the hold."""
    start = answer.hold / HOUR if answer.hold else 0.0
    end = start + answer.transit_time
    axes.set_xlim(0.0, max(answer.trace.elapsed[-1] / HOUR, end))
    if start > 0.0:
        axes.axvspan(0.0, start, color=canvas.GREY, alpha=0.15, linewidth=0.0)
        axes.annotate(
            "held", (0.5 * start, 0.04), xycoords=("data", "axes fraction"), ha="center",
            fontsize=canvas.SMALL, color=canvas.GREY,
        )  # fmt: skip
    axes.axvline(end, color=canvas.GREY, linewidth=canvas.THIN, linestyle=(0, (5, 3)))
    axes.annotate(
        "one transit", (end, 0.04), xycoords=("data", "axes fraction"), xytext=(4, 0),
        textcoords="offset points", fontsize=canvas.SMALL, color=canvas.GREY,
    )  # fmt: skip
