"""Airflow resistance against a published chart and published ratios."""

from __future__ import annotations

import pytest

from outfeed.airflow import Bed, airflow_set, loose_resistance, pressure_drop, step_at_the_switch
from outfeed.fuel import CUBIC_FOOT
from outfeed.grains import BUSHEL_VOLUME, load_grain

CORN = load_grain("corn-yellow-dent")
FOOT, INCH_WATER = 0.3048, 249.08891

UNL = "University of Nebraska-Lincoln CropWatch, Dorn 2008, Table 1"
AIRFLOWS = (0.5, 0.75, 1.0, 1.25, 1.5, 2.0)  # cfm/bu
PRESSURES = {  # depth in ft: inches of water
    8: (0.2, 0.3, 0.5, 0.6, 0.8, 1.2),
    10: (0.3, 0.5, 0.8, 1.1, 1.4, 2.0),
    12: (0.5, 0.8, 1.2, 1.6, 2.1, 3.2),
    14: (0.7, 1.2, 1.7, 2.3, 3.0, 4.6),
    16: (0.9, 1.6, 2.4, 3.2, 4.2, 6.4),
    18: (1.2, 2.1, 3.1, 4.3, 5.6, 8.7),
    20: (1.6, 2.7, 4.0, 5.6, 7.3, 11.3),
}
CELLS = [
    (depth, airflow, pressure, UNL)
    for depth, row in PRESSURES.items()
    for airflow, pressure in zip(AIRFLOWS, row, strict=True)
]


def _id(row: tuple[object, ...]) -> str:
    return " ".join(str(part) for part in row)


@pytest.mark.parametrize("depth, airflow, pressure, source", CELLS, ids=map(_id, CELLS))
def test_static_pressure_of_shelled_corn(depth, airflow, pressure, source):
    """Packing 1.5; a tenth of an inch is the last printed digit."""
    bed = Bed(CORN, depth * FOOT, packing=1.5)
    flow = airflow * CUBIC_FOOT / 60.0 / BUSHEL_VOLUME * depth * FOOT
    assert pressure_drop(bed, flow) / INCH_WATER == pytest.approx(pressure, abs=0.11)


def test_the_two_pairs_of_corn_stand_forty_percent_apart_where_they_meet():
    """ASAE D272.3; a reader who switches sets in silence meets this step."""
    assert step_at_the_switch(CORN) == pytest.approx(1.4, abs=0.03)


@pytest.mark.parametrize("q, factor", [(0.05, 0.45), (0.1, 0.45), (0.2, 0.58)])
def test_sideways_corn_resists_45_to_58_percent(q, factor):
    """Kay, Bern and Hurburgh 1989: 0.58 above 6 m3/(min m2), 0.45 at and below."""
    across = Bed(CORN, 0.3, packing=1.0, direction="horizontal")
    upward = Bed(CORN, 0.3, packing=1.0)
    assert pressure_drop(across, q) / pressure_drop(upward, q) == pytest.approx(factor)


@pytest.mark.parametrize(
    "grain, a, b",
    [
        ("corn-yellow-dent", 20700, 30.4),
        ("soybean", 10200, 16.0),
        ("sorghum", 21200, 8.06),
        ("wheat-soft", 27000, 8.77),
        ("rough-rice-long", 25700, 13.2),
        ("barley", 21400, 13.2),
        ("oats", 24100, 13.9),
        ("sunflower-confectionery", 11000, 18.1),
        ("sunflower-oil", 24900, 23.7),
    ],
)
def test_resistance_is_the_printed_equation_with_the_printed_constants(grain, a, b):
    """ASAE D272.3, transcribed a second time."""
    import math

    q = 0.1
    expected = a * q * q / math.log(1.0 + b * q)
    assert loose_resistance(airflow_set(load_grain(grain)), q) == pytest.approx(expected, rel=1e-12)
