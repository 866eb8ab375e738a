"""Grain whose specific heat nobody published: what stands in, and what it does to a rate."""

from __future__ import annotations

import pytest

from outfeed.dryer import assume
from outfeed.dryer.closures import grain_heat
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone
from outfeed.dryer.opening import opening_rate
from outfeed.grains import load_grain, published_specific_heats, specific_heat_of

# kJ/(kg K) at 18 % w.b., a + b M: Kazarian & Hall 1965 (corn, soft white wheat), Haswell 1954
# (oats, rough rice), Alam & Shove 1973 (soybean), Sharma & Thompson 1973 (sorghum),
# Muir & Viravanichai 1972 (hard red spring wheat).
PUBLISHED_AT_18 = (2.1058, 2.1342, 1.8656, 1.9154, 1.9844, 1.9766, 1.8242)
MEAN_AT_18 = 1.9723
"""Mean of the seven [kJ/(kg K)]; arithmetic."""

NOBODY_MEASURED = ("barley", "rapeseed", "edible-beans")


def test_each_published_specific_heat_counts_once():
    found = sorted(row.at(0.18) / 1000.0 for row in published_specific_heats())
    assert found == pytest.approx(sorted(PUBLISHED_AT_18), abs=2e-4)


@pytest.mark.parametrize("grain", NOBODY_MEASURED)
def test_the_mean_of_the_measured_grains_stands_in(grain):
    found = specific_heat_of(load_grain(grain))
    assert found.at(0.18) == pytest.approx(1000.0 * MEAN_AT_18, abs=0.2)
    assert found.measured_on


def test_a_grain_that_was_measured_keeps_its_own():
    assert specific_heat_of(load_grain("sorghum")).at(0.18) == pytest.approx(1976.6, abs=0.2)


def test_heat_capacity_per_dry_matter_counts_the_water_with_it():
    dry = grain_heat("barley")
    wet_basis, dry_basis = 0.18, 0.18 / 0.82
    per_wet = (dry.dry + dry.per_moisture * dry_basis) * (1.0 - wet_basis)
    assert per_wet == pytest.approx(1000.0 * MEAN_AT_18, abs=0.2)


def _opening(grain):
    dryer = Dryer(
        kind="mixed-flow",
        zones=(
            Zone("hot", "heated", volume=20.0, plenum_temperature=70.0, airflow=15.0),
            Zone("cool", "cooling", volume=8.0, airflow=6.0),
        ),
        dry_matter_density=540.0,
    )
    return opening_rate(dryer, Conditions(12.0, 0.7, 101_325.0), Feed(0.18, 12.0, grain), 0.135)


@pytest.mark.parametrize("grain", NOBODY_MEASURED)
def test_the_stand_in_is_listed_with_its_range(grain):
    _, opening = _opening(grain)
    assert opening is not None
    (entry,) = (item for item in opening.assumed if item.name == assume.GRAIN_HEAT)
    assert entry.value == pytest.approx(1000.0 * MEAN_AT_18, abs=0.2)
    assert entry.low == pytest.approx(1824.2, abs=0.2)
    assert entry.high == pytest.approx(2134.2, abs=0.2)


@pytest.mark.parametrize("grain", ["sorghum", "popcorn"])
def test_a_grain_with_a_heat_of_its_own_assumes_none(grain):
    _, opening = _opening(grain)
    assert opening is not None
    assert all(item.name != assume.GRAIN_HEAT for item in opening.assumed)
