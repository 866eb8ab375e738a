"""A forecast turned into a schedule: air, rate, setpoint and fuel over the same hours."""

from __future__ import annotations

from typing import Any

import numpy as np

from outfeed.outlook import Outlook
from outfeed.weather import HOUR
from outfeed_api.moments import Clock
from outfeed_api.pictures import canvas
from outfeed_api.pictures.time_axis import time_axis
from outfeed_api.units import QUANTITIES

PANELS = ("air", "rate", "setpoint", "fuel")


def outlook_picture(outlook: Outlook, answer: Any, clock: Clock, media_type: str) -> bytes:
    """Draw a weather outlook.

    Parameters
    ----------
    outlook : Outlook
        From the library.
    answer : WeatherOutlookAnswer
        As displayed.
    clock : Clock
        How times are spoken of.
    media_type : str
        SVG or PNG.

    Returns
    -------
    bytes
        The picture.
    """
    page = canvas.sheet(
        "Weather outlook", answer.decision, [[name] for name in PANELS],
        heights=(0.75, 1.0, 0.7, 0.8),
    )  # fmt: skip
    times = outlook.weather.starts_s
    hours = answer.hours

    def label(quantity: str) -> str:
        return QUANTITIES[quantity].unit(answer.units).label

    air, rate, setpoint, fuel = (page.axes[name] for name in PANELS)
    air.plot(times, hours.temperature, color=canvas.GREY, linewidth=canvas.LINE)
    canvas.frame(air, "Outside air", label("temperature"))
    canvas.band(rate, times, hours.needed_rate_low, hours.needed_rate_high, canvas.SKY)
    rate.plot(times, hours.needed_rate, color=canvas.SKY, linewidth=canvas.THIN + 0.5)
    rate.step(times, hours.rate, where="post", color=canvas.BLUE, linewidth=canvas.LINE)
    canvas.frame(rate, "Discharge rate", label("grain-rate"))
    canvas.aside(rate, "dark: as scheduled; pale: what would keep the moisture, 90 % band")
    setpoint.step(
        times, hours.setpoint_shift, where="post", color=canvas.PURPLE, linewidth=canvas.LINE
    )
    canvas.frame(setpoint, "Column setpoint against now", label("temperature-difference"))
    low, high = min(*hours.setpoint_shift, -1.0), max(*hours.setpoint_shift, 1.0)
    setpoint.set_ylim(low - 0.4, high + 0.4)
    heat = np.array(hours.heat) / _scale(hours.heat)
    fuel.fill_between(times, 0.0, heat, color=canvas.ORANGE, alpha=0.5, linewidth=0.0)
    canvas.frame(fuel, "Fuel", _heat_label(hours.heat, label("heat-rate")))
    fuel.set_ylim(0.0, float(heat.max()) * 1.15)
    for move in outlook.moves:
        for name in ("rate", "setpoint"):
            page.axes[name].axvline(
                move.at_s, color=canvas.RUST, linewidth=canvas.THIN, linestyle=(0, (2, 2))
            )
    for name in PANELS:
        time_axis(
            page.axes[name], float(times[0]), float(times[-1]) + HOUR,
            dates=clock.form == "times", offset=clock.offset, labels=name == PANELS[-1],
        )  # fmt: skip
    if outlook.moves:
        canvas.aside(setpoint, "dashed: a move", canvas.RUST)
    return canvas.render(page, media_type)


def _scale(heat: list[float]) -> float:
    return 1e6 if max(heat) >= 1e6 else 1.0


def _heat_label(heat: list[float], unit: str) -> str:
    return f"million {unit}" if _scale(heat) > 1.0 else unit
