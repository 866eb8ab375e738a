"""Invented dryers and scenarios that the column tests share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone

ORIENTATION_PLENUMS = (98.9, 85.0, 71.1)
KINDS = ("mixed-flow", "cross-flow", "counter-flow", "concurrent-flow")
NOMINAL_RATE = {"mixed-flow": 1.06, "cross-flow": 1.06, "counter-flow": 0.8, "concurrent-flow": 0.8}


def tower(plenums=ORIENTATION_PLENUMS, layers=16, cooling=12, airflow=0.7, sensors=()):
    """Mixed-flow column of half-pitch layers of 0.2 m, one square metre across."""
    heated = tuple(
        Zone(
            f"heat {place}",
            "heated",
            height=0.2 * layers,
            plenum_temperature=float(plenum),
            airflow_per_volume=airflow,
            sensors=sensors if place == len(plenums) else (),
        )
        for place, plenum in enumerate(plenums, start=1)
    )
    cool = Zone("cool", "cooling", height=0.2 * cooling, airflow_per_volume=airflow)
    return Dryer("mixed-flow", (*heated, cool), cross_section=1.0)


def screen(plenums=(95.0, 80.0), turning="none", *, air_reversed=False):
    """Cross-flow column of 0.3 m."""
    first = Zone(
        "heat 1", "heated", height=1.2, plenum_temperature=plenums[0], airflow_per_volume=0.7
    )
    second = Zone(
        "heat 2",
        "heated",
        height=1.2,
        plenum_temperature=plenums[1],
        airflow_per_volume=0.6,
        turning=turning,
        air_reversed=air_reversed,
    )
    cool = Zone("cool", "cooling", height=0.8, airflow_per_volume=0.5)
    return Dryer("cross-flow", (first, second, cool), cross_section=1.0, column_thickness=0.3)


def deep(kind, plenums=(95.0, 80.0)):
    """Counter- or concurrent-flow dryer of two heated beds and a cooling bed."""
    heated = tuple(
        Zone(f"heat {n}", "heated", height=0.7, plenum_temperature=value, airflow_per_volume=0.4)
        for n, value in enumerate(plenums, start=1)
    )
    cool = Zone("cool", "cooling", height=0.5, airflow_per_volume=0.4)
    return Dryer(kind, (*heated, cool), cross_section=1.0)


def example(kind, plenums=(95.0, 80.0)):
    """A small dryer of a kind."""
    if kind == "mixed-flow":
        return tower(plenums, layers=6, cooling=4)
    return screen(plenums) if kind == "cross-flow" else deep(kind, plenums)


@dataclass(frozen=True)
class Scenario:
    """One point of the domain."""

    conditions: Conditions
    feed: Feed
    plenums: tuple[float, float]
    pace: float
    model: ColumnModel


def scenario(seed):
    """A scenario drawn over the whole sensible domain."""
    draw = np.random.default_rng(seed)
    ambient = draw.uniform(-30.0, 45.0)
    grain = ambient if draw.random() < 0.5 else np.clip(ambient + draw.uniform(-15, 15), -30, 45)
    hot, warm = sorted(draw.uniform(max(30.0, ambient + 1.0), 150.0, 2), reverse=True)
    return Scenario(
        Conditions(ambient, draw.uniform(0.2, 1.0)),
        Feed(draw.uniform(0.12, 0.40), float(grain)),
        (float(hot), float(warm)),
        10.0 ** draw.uniform(-1.0, 1.0),
        ColumnModel(airflow_factor=draw.uniform(0.5, 1.5)),
    )
