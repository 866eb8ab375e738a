"""What a state of moist air costs, scalar and by column, beside the two general libraries.

Run with ``python tests/benchmarks/bench_moist_air.py``; prints, asserts nothing about time.
"""

from __future__ import annotations

import timeit
from collections.abc import Callable

import numpy as np
import psychrolib
from CoolProp.CoolProp import HAPropsSI

from outfeed import moist_air
from outfeed.grains import load_grain
from outfeed.sorption import choose_isotherm, equilibrium_moisture, equilibrium_relative_humidity

ROWS = 100_000


def cost(call: Callable[[], object], *, per: int = 1, repeat: int = 5) -> float:
    """Best of several runs [ns per item]."""
    number = max(1, int(2e-2 / max(timeit.timeit(call, number=1), 1e-7)))
    return min(timeit.repeat(call, number=number, repeat=repeat)) / number / per * 1e9


def main() -> None:
    rng = np.random.default_rng(1)
    dry = rng.uniform(-20.0, 130.0, ROWS)
    humidity = 0.8 * np.minimum(1.0, 101_325.0 / moist_air.saturation_pressure(dry))
    ratio = moist_air.humidity_ratio(dry, humidity, 101_325.0)
    psychrolib.SetUnitSystem(psychrolib.SI)
    corn = choose_isotherm(load_grain("corn-yellow-dent"))
    mean = choose_isotherm(load_grain("corn-yellow-dent"), "emc.extension-mean.d245-4")
    warm, humid = rng.uniform(0.0, 55.0, ROWS), rng.uniform(0.2, 0.9, ROWS)
    wet = equilibrium_moisture(mean, warm, humid)
    lines: list[tuple[str, Callable[[], object], int]] = [
        ("saturation pressure, column", lambda: moist_air.saturation_pressure(dry), ROWS),
        ("dew point, column", lambda: moist_air.dew_point(ratio, 101_325.0), ROWS),
        ("wet bulb, column", lambda: moist_air.wet_bulb(dry, ratio, 101_325.0), ROWS),
        (
            "whole state, column",
            lambda: moist_air.air_state(dry_bulb=dry, relative_humidity=humidity),
            ROWS,
        ),
        (
            "whole state, scalar",
            lambda: moist_air.air_state(dry_bulb=25.0, relative_humidity=0.5),
            1,
        ),
        ("equilibrium moisture, column", lambda: equilibrium_moisture(corn, warm, humid), ROWS),
        (
            "equilibrium humidity of a mean, column",
            lambda: equilibrium_relative_humidity(mean, warm, wet),
            ROWS,
        ),
        (
            "ideal-gas library: wet bulb, scalar",
            lambda: psychrolib.GetTWetBulbFromRelHum(25.0, 0.5, 101_325.0),
            1,
        ),
        (
            "real-gas library: wet bulb, scalar",
            lambda: HAPropsSI("B", "T", 298.15, "P", 101_325.0, "R", 0.5),
            1,
        ),
    ]
    for name, call, per in lines:
        print(f"{name:45s} {cost(call, per=per):12.1f} ns")


if __name__ == "__main__":
    main()
