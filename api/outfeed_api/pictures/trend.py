"""A trend as a picture: the trace, its setpoint, the level band, and where it crossed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.steering.clean import (
    COLUMN_READING,
    CleanTrace,
    clean_trace,
    in_gaps,
    since_it_answers,
)
from outfeed.steering.measure import crossing_times, measure, running_mean
from outfeed.steering.noise import bin_trace
from outfeed_api.moments import Clock
from outfeed_api.pictures import canvas
from outfeed_api.pictures.time_axis import time_axis
from outfeed_api.routes.trend_models import TrendAnswer, TrendRequest, readings
from outfeed_api.units import QUANTITIES, UnitSystem
from outfeed_api.wording import lasting

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEAST_REACH = 3.0  # level bands shown on either side of the setpoint
FEWEST_FOR_CURVE = 12
LAST = 3  # last readings that are shown whatever they are: they may be a fire
EDGE = 0.05  # of the frame, left free
SHORTEST_AXIS_S = 60.0  # a single reading has no length of its own


def trend_picture(request: TrendRequest, answer: TrendAnswer, media_type: str) -> bytes:
    """Draw a trend.

    Parameters
    ----------
    request : TrendRequest
        In SI.
    answer : TrendAnswer
        As displayed.
    media_type : str
        SVG or PNG.

    Returns
    -------
    bytes
        The picture.
    """
    times, values, setpoint = _trace(request)
    layout = [["trace"] * 2, ["chances", "words"]]
    page = canvas.sheet("Trend of the column", answer.decision, layout, heights=(1.6, 0.95))
    axes = page.axes["trace"]
    _draw_trace(axes, times, values, setpoint, answer)
    clock = Clock.of(request.column)
    dates = clock.form == "times"
    last = max(request.column.seconds)  # read or not: a sensor that has stopped leaves a blank
    start, end = float(times[0]), max(last, float(times[0]) + SHORTEST_AXIS_S)
    time_axis(axes, start, end, dates=dates, offset=clock.offset)
    _draw_chances(page.axes["chances"], answer)
    canvas.words(page.axes["words"], _figures(answer), title="In figures", right=0.95)
    return canvas.render(page, media_type)


def _trace(request: TrendRequest) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Times in order, temperatures and setpoints [degC], missing readings left out."""
    column = request.column
    times, values = np.array(column.seconds), readings(column)
    given = column.setpoint if column.setpoints is None else column.setpoints
    setpoint = np.broadcast_to(np.asarray(given, dtype=np.float64), times.shape)
    order = np.argsort(times, kind="stable")
    order = order[np.isfinite(values[order])]
    return times[order], values[order], setpoint[order]


def _shown(values: FloatArray, units: UnitSystem) -> FloatArray:
    unit = QUANTITIES["temperature"].unit(units)
    return np.asarray((values - unit.offset) / unit.factor)


def _draw_trace(
    axes: Axes, times: FloatArray, values: FloatArray, setpoint: FloatArray, answer: TrendAnswer
) -> None:
    shown, target = _shown(values, answer.units), _shown(setpoint, answer.units)
    half, said = answer.limits.offset, list[str]()
    canvas.band(axes, times, target - half, target + half, canvas.GREEN, step="post")
    axes.plot(times, target, color=canvas.GREEN, linewidth=canvas.THIN, drawstyle="steps-post")
    axes.plot(*_broken(times, times, shown), color=canvas.SKY, linewidth=canvas.THIN, alpha=0.8)
    clean = clean_trace(times, values, setpoint) if times.size > 1 else None
    if clean is not None and clean.times.size >= FEWEST_FOR_CURVE and np.ptp(clean.times) > 0.0:
        bins = bin_trace(clean.times, _shown(clean.values, answer.units))
        smooth = _broken(clean.times, bins.times, running_mean(bins.values))
        axes.plot(*smooth, color=canvas.BLUE, linewidth=canvas.LINE)
        said.append("pale: as read")
    if clean is not None and answer.slope is not None and _mark_crossings(axes, clean, answer):
        said.append("rings: counted crossings")
    true = shown[COLUMN_READING.contains(values)]  # what cannot be true leaves the frame
    kept = true if clean is None else _shown(clean.values, answer.units)
    low, high = _frame(np.append(kept, true[-LAST:]), target, half)
    if np.any((true < low) | (true > high)):
        said.append("odd readings lie beyond")
    unit = QUANTITIES["temperature"].unit(answer.units).label
    canvas.frame(axes, "Temperature, setpoint and level band", unit, low=low, high=high)
    canvas.aside(axes, "; ".join(said))


def _frame(shown: FloatArray, target: FloatArray, half: float) -> tuple[float, float]:
    """Vertical limits: the band and what is shown of the trace."""
    reach = LEAST_REACH * half
    ends = [target[-1] - reach, target[-1] + reach, *(target - half), *(target + half), *shown]
    low, high = float(min(ends)), float(max(ends))
    edge = EDGE * (high - low)
    return low - edge, high + edge


def _broken(
    read: FloatArray, times: FloatArray, values: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """A line with a break wherever the readings have a gap."""
    before = np.flatnonzero(in_gaps(read))
    after = np.searchsorted(times, 0.5 * (read[before] + read[before + 1]))
    after = after[(after > 0) & (after < times.size)]
    return np.insert(times, after, times[after]), np.insert(values, after, np.nan)


def _mark_crossings(axes: Axes, clean: CleanTrace, answer: TrendAnswer) -> bool:
    """A ring where the trace crosses its setpoint, by the count in figures; whether it does."""
    measured = measure(since_it_answers(clean))
    crossed = crossing_times(measured.window, measured.noise)
    target = np.interp(crossed, clean.times, _shown(clean.setpoint, answer.units))
    axes.plot(
        crossed, target, "o", markersize=7, markerfacecolor="none",
        markeredgecolor=canvas.PURPLE, markeredgewidth=canvas.THIN, linestyle="none",
    )  # fmt: skip
    return len(crossed) > 0


def _draw_chances(axes: Axes, answer: TrendAnswer) -> None:
    """The likeliest words with their probabilities."""
    if not answer.probabilities:
        canvas.empty(axes, "How likely each word is", "too few readings to tell")
        return
    likeliest = answer.probabilities[:5]
    places = np.arange(len(likeliest))[::-1]
    colours = [canvas.BLUE if one.verdict == answer.verdict else canvas.PALE for one in likeliest]
    axes.barh(places, [100.0 * one.probability for one in likeliest], color=colours, height=0.7)
    axes.set_yticks(places, [one.verdict for one in likeliest], fontsize=canvas.BODY)
    axes.set_xlim(0.0, 100.0)
    canvas.frame(axes, "How likely each word is", "%")


def _figures(answer: TrendAnswer) -> list[tuple[str, str]]:
    difference = QUANTITIES["temperature-difference"].unit(answer.units).label
    rate = QUANTITIES["temperature-rate"].unit(answer.units).label
    if answer.slope is None:
        return [("trend", "not judged")]
    found = [
        (
            "slope",
            f"{answer.slope:z.2f} ({answer.slope_low:z.2f} to {answer.slope_high:z.2f}) {rate}",
        ),
        ("mean minus setpoint", f"{answer.offset:+z.1f} {difference}"),
        ("crossings in two hours", f"{answer.crossings_per_two_hours:.0f}"),
    ]
    if answer.period is not None and answer.half_swing is not None:
        found.append(
            (
                "swing",
                f"+-{answer.half_swing:.1f} {difference} every {lasting(60.0 * answer.period)}",
            )
        )
    if answer.decay_ratio is not None:
        found.append(("one swing over the one before", f"{answer.decay_ratio:.2f}"))
    return found
