"""One page about a run: moisture and column over time, spread, starting points, figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.review import HALF_POINT, Review
from outfeed_api.moments import Clock
from outfeed_api.pictures import canvas
from outfeed_api.pictures.time_axis import time_axis
from outfeed_api.units import QUANTITIES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_POINTS = 500  # of a line; each is a mean of the rows it stands for
BIN = 0.001  # moisture; the step most meters show
WIDEST = 0.03  # moisture shown on either side of the target
FARTHEST = 3.0  # times the usual departure from the target, to which readings are shown
MARGIN = 1.1  # of that, so that no line runs along the edge
SHADED = 60  # spells shaded; more would hide the lines


def run_review_picture(
    review: Review, answer: Any, clock: Clock, target_wb: float, media_type: str
) -> bytes:
    """Draw a run review.

    Parameters
    ----------
    review : Review
        From the library.
    answer : RunReviewAnswer
        As displayed.
    clock : Clock
        How times are spoken of.
    target_wb : float
        Discharge moisture wanted [-].
    media_type : str
        SVG or PNG.

    Returns
    -------
    bytes
        The picture.
    """
    layout = [["moisture"] * 2, ["column"] * 2, ["spread", "starts"], ["words"] * 2]
    page = canvas.sheet("Run review", answer.decision, layout, heights=(1.15, 0.85, 1.05, 0.75))
    _moisture(page.axes["moisture"], review, target_wb)
    _column(page.axes["column"], review, answer.units)
    for name in ("moisture", "column"):
        _shade(page.axes[name], review)
        _time(page.axes[name], review, clock, labels=name == "column")
    _spread(page.axes["spread"], review, target_wb)
    _starts(page.axes["starts"], answer)
    canvas.words(page.axes["words"], _figures(answer), title="In figures", right=0.75)
    return canvas.render(page, media_type)


def _thin(
    review: Review, values: FloatArray, *, standing: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Times and means of consecutive rows, stops left out but where `standing`, and the unread."""
    run = review.run
    size = max(values.size // MOST_POINTS, 1)
    group = np.arange(values.size) // size
    seen = np.isfinite(values) & (run.running | standing)
    weight = np.bincount(group, weights=seen.astype(float))
    sums = np.bincount(group, weights=np.where(seen, values, 0.0))
    times = run.log.times_s[::size]
    return times, np.where(weight > 0.0, sums / np.maximum(weight, 1.0), np.nan)


def _moisture(axes: Axes, review: Review, target_wb: float) -> None:
    if review.run.log.moisture_out is None:
        canvas.empty(axes, "Discharge moisture", "no discharge moisture in the log")
        return
    times, outlet = _thin(review, review.run.log.moisture_out)
    axes.axhspan(
        (target_wb - HALF_POINT) * 100.0, (target_wb + HALF_POINT) * 100.0,
        color=canvas.GREEN, alpha=canvas.BAND, linewidth=0.0,
    )  # fmt: skip
    axes.plot(times, outlet * 100.0, color=canvas.BLUE, linewidth=canvas.THIN + 0.4)
    canvas.frame(axes, "Discharge moisture, with half a point about the target", "%")
    if np.any(np.isfinite(outlet)):
        _moisture_ends(axes, outlet * 100.0, target_wb * 100.0)


def _moisture_ends(axes: Axes, outlet: FloatArray, middle: float) -> None:
    """Show every reading, unless a few would squeeze all others flat; then say so."""
    apart = outlet - middle
    usual = max(float(np.nanpercentile(np.abs(apart), 98.0)), 1.0)
    low, high = float(np.nanmin(apart)), float(np.nanmax(apart))
    bottom, top = max(low, -FARTHEST * usual), min(high, FARTHEST * usual)
    axes.set_ylim(middle + min(bottom, -1.0) * MARGIN, middle + max(top, 1.0) * MARGIN)
    if bottom > low or top < high:
        beyond = middle + (high if top < high else low)
        canvas.note(axes, 0.02, 0.98, f"single readings reach {beyond:.0f} %")


def _column(axes: Axes, review: Review, units: Any) -> None:
    unit = QUANTITIES["temperature"].unit(units)
    if review.run.column is None:
        canvas.empty(axes, "Column temperature", "no column temperature in the log")
        return
    times, column = _thin(review, review.run.column, standing=not review.run.any_left)
    shown = (column - unit.offset) / unit.factor
    axes.plot(times, shown, color=canvas.PURPLE, linewidth=canvas.THIN + 0.4)
    canvas.frame(axes, "Column temperature", unit.label)


def _shade(axes: Axes, review: Review) -> None:
    for spell in review.spells[:SHADED]:
        axes.axvspan(
            spell.start_s, spell.end_s, color=canvas.RUST, alpha=0.25, linewidth=0.8, zorder=0.5
        )


def _time(axes: Axes, review: Review, clock: Clock, *, labels: bool) -> None:
    times = review.run.log.times_s
    dates = clock.form == "times"
    start, end = float(times[0]), float(times[-1])
    time_axis(axes, start, end, dates=dates, offset=clock.offset, labels=labels)
    if review.spells and not labels:
        canvas.aside(axes, "shaded: deserves a look", canvas.RUST)


def _spread(axes: Axes, review: Review, target_wb: float) -> None:
    outlet = review.run.log.moisture_out
    if outlet is None or review.stream is None:
        missing = "discharge moisture in the log" if review.run.any_left else "grain left"
        canvas.empty(axes, "How the grain spread", f"no {missing}")
        return
    canvas.frame(axes, "How the grain spread", "% of it", x_label="discharge moisture, %")
    read = np.isfinite(outlet) & review.run.running
    low, high = target_wb - WIDEST, target_wb + WIDEST
    shown = np.clip(outlet[read], low, high)
    if np.any(shown != outlet[read]):
        axes.set_xlabel("discharge moisture, %; the ends hold what lies beyond")
    bins = np.arange(low - BIN / 2.0, high + BIN, BIN)
    counts, edges = np.histogram(shown, bins, weights=review.run.grain[read])
    share = counts / max(counts.sum(), 1e-12) * 100.0
    middle = (edges[1:] + edges[:-1]) / 2.0
    on = np.abs(middle - target_wb) <= HALF_POINT + BIN / 10.0
    colours = [canvas.GREEN if inside else canvas.SKY for inside in on]
    axes.bar(middle * 100.0, share, width=BIN * 100.0 * 0.9, color=colours)
    axes.axvline(target_wb * 100.0, color=canvas.INK, linewidth=canvas.THIN)
    canvas.aside(axes, "green: within half a point", canvas.GREEN)


def _starts(axes: Axes, answer: Any) -> None:
    if not answer.starts:
        canvas.empty(axes, "Setpoint to start with", "no settled transit in the log")
        return
    unit = QUANTITIES["temperature"].unit(answer.units).label
    canvas.frame(axes, "Setpoint to start with", unit, x_label="inlet moisture, %")
    inlet = [start.inlet_moisture for start in answer.starts]
    value = [start.setpoint for start in answer.starts]
    below = [start.setpoint - start.setpoint_low for start in answer.starts]
    above = [start.setpoint_high - start.setpoint for start in answer.starts]
    axes.errorbar(
        inlet, value, yerr=(below, above), fmt="o", color=canvas.PURPLE, markersize=7,
        elinewidth=canvas.LINE, capsize=4,
    )  # fmt: skip
    axes.margins(x=0.12, y=0.2)
    for start in answer.starts:
        axes.annotate(
            str(start.settled_transits), (start.inlet_moisture, start.setpoint), xytext=(8, -4),
            textcoords="offset points", fontsize=canvas.SMALL, color=canvas.GREY,
        )  # fmt: skip
    canvas.aside(axes, "90 % band; settled transits")


def _figures(answer: Any) -> list[tuple[str, str]]:
    def shown(value: float, quantity: str, decimals: int = 0) -> str:
        label = QUANTITIES[quantity].unit(answer.units).label
        return f"{value:,.{decimals}f} {label}"

    lines = [("Grain discharged", shown(answer.grain, "grain"))]
    lines.append(
        (
            "Hours running, of hours in the log",
            f"{answer.running_hours:,.0f} of {answer.hours:,.0f}",
        )
    )
    if answer.moisture is not None:
        wet = answer.moisture
        lines.append(
            ("Mean moisture, standard deviation", f"{wet.mean:.2f} %, {wet.spread:.2f} points")
        )
        shares = f"{wet.on_target:.0f} %, {wet.too_wet:.0f} %, {wet.too_dry:.0f} %"
        lines.append(("Within half a point, too wet, too dry", shares))
    if answer.energy is not None:
        spent = answer.energy
        digits = 0 if answer.units == "us" else 2
        band = f"{spent.low:,.{digits}f} to {spent.high:,.{digits}f}"
        lines.append(
            (
                "Fuel per water, 90 % band",
                f"{shown(spent.per_water, 'specific-energy', digits)} ({band})",
            )
        )
    if answer.over_drying is not None:
        given = answer.over_drying
        worth = "" if given.money is None else f", worth {given.money:,.0f}"
        lines.append(("Given away by over-drying", shown(given.weight_given_away, "mass") + worth))
    return lines
