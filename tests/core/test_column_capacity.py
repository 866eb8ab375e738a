"""A fitted column in a season: against the column itself, where it is silent, what anchors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from outfeed import column_capacity
from outfeed.ability import DescribedDryer, KnownRate, ability_of, anchored, by_column
from outfeed.dryer.burner import fuel_heat
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone
from outfeed.dryer.inverse import FLOOR_MOISTURE, drying_scale, rate_for_moisture
from outfeed.errors import Inconsistent, NotConverged
from outfeed.grains import load_grain
from outfeed.weather import Weather

CORN = load_grain("corn-yellow-dent")
MIXED = Dryer(
    "mixed-flow",
    (
        Zone("upper", "heated", volume=15.0, plenum_temperature=98.9, airflow_per_volume=0.7,
             burner="direct-fired", fuel="propane"),
        Zone("lower", "heated", volume=15.0, plenum_temperature=85.0, airflow_per_volume=0.7,
             burner="direct-fired", fuel="propane"),
        Zone("cooler", "cooling", volume=8.0, airflow_per_volume=0.7),
    ),
    cross_section=7.0,
)  # fmt: skip
CROSS = Dryer(
    "cross-flow",
    (
        Zone("upper", "heated", volume=25.0, plenum_temperature=98.9, airflow_per_volume=1.2),
        Zone("cooler", "cooling", volume=8.0, airflow_per_volume=1.2),
    ),
    cross_section=4.0,
    column_thickness=0.3,
)
AUTUMN = Weather(0.0, np.linspace(-5.0, 25.0, 13), np.linspace(0.95, 0.45, 13))
SPEEDS = [0.5, 3.0]


def fitted(dryer, model, weather=AUTUMN, target=0.15, wettest=0.28):
    return by_column(DescribedDryer(dryer), model, weather, target, wettest)


def rate_at(machine, hour, moisture, weather=AUTUMN, target=0.15, wettest=0.28):
    table = ability_of(machine, weather, CORN, target, wettest)
    return tuple(
        np.interp(moisture, table.moistures_wb, column[hour]) for column in (table.rate, table.heat)
    )


def exact(dryer, model, hour, moisture, weather=AUTUMN, target=0.15):
    air = Conditions(weather.temperature[hour], weather.relative_humidity[hour], weather.pressure)
    feed = Feed(moisture, float(weather.temperature[hour]))
    return rate_for_moisture(dryer, air, feed, target, model=model)


@pytest.mark.parametrize("dryer", [MIXED, CROSS], ids=lambda dryer: dryer.kind)
@pytest.mark.parametrize("speed", SPEEDS)
def test_the_rate_of_an_hour_is_the_columns_own_in_that_air(dryer, speed):
    model = ColumnModel(rate_factor=speed, airflow_factor=0.9)
    machine = fitted(dryer, model)
    assert machine.column.answered == 1.0
    for hour, moisture in ((2, 0.19), (9, 0.25)):
        column = exact(dryer, model, hour, moisture)
        rate, heat = rate_at(machine, hour, moisture)
        assert rate == pytest.approx(column.dry_matter_rate, rel=0.025)
        zones = zip(dryer.zones, column.profile.zones, strict=True)
        burned = sum(float(fuel_heat(zone, result.heat)) for zone, result in zones)
        assert heat * column.dry_matter_rate == pytest.approx(burned, rel=0.025)


def test_a_fit_of_slower_grain_makes_a_slower_dryer():
    rates = [
        rate_at(fitted(MIXED, ColumnModel(rate_factor=speed)), 6, 0.22)[0] for speed in (0.8, 1.3)
    ]
    assert 1.1 < rates[1] / rates[0] < 1.3 / 0.8


def test_hotter_plenums_keep_the_columns_lead():
    model = ColumnModel(rate_factor=1.3)
    hotter = fitted(MIXED, model).hotter(11.0)
    column = exact(hotter.dryer, model, 6, 0.22)
    assert rate_at(hotter, 6, 0.22)[0] == pytest.approx(column.dry_matter_rate, rel=0.03)


def test_where_the_column_is_silent_the_balance_stands_in_at_the_same_ratio():
    # Muggy air in a lukewarm plenum: the wettest corner of the grid cannot reach the target.
    lukewarm = MIXED.with_plenums((45.0, 42.0, None))
    muggy = Weather(0.0, np.array([20.0, 38.0]), np.array([0.9, 1.0]))
    machine = fitted(lukewarm, ColumnModel(rate_factor=1.5), muggy, wettest=0.25)
    assert 0.5 < machine.column.answered < 1.0
    silent = machine.column.ratio == np.median(machine.column.ratio)
    assert silent.mean() >= 1.0 - machine.column.answered
    plain = ability_of(DescribedDryer(lukewarm), muggy, CORN, 0.15, 0.25)
    table = ability_of(machine, muggy, CORN, 0.15, 0.25)
    assert np.all(np.isfinite(table.rate))
    assert np.all(table.rate < plain.rate)


def test_a_column_that_never_reaches_the_target_is_refused_in_words():
    lukewarm = MIXED.with_plenums((45.0, 42.0, None))
    muggy = Weather(0.0, np.array([20.0, 38.0]), np.array([0.9, 1.0]))
    with pytest.raises(Inconsistent, match=r"takes a day to dry grain of .* and 12.0 % is wanted"):
        fitted(lukewarm, ColumnModel(rate_factor=1.5), muggy, 0.12, 0.25)


def test_a_column_that_does_not_settle_leaves_the_balance(monkeypatch):
    def unsettled(*_, **__):
        raise NotConverged("the column", (-1.0, 1.0), 1e-3)

    monkeypatch.setattr(column_capacity, "rate_for_moisture", unsettled)
    machine = fitted(MIXED, ColumnModel(rate_factor=1.5))
    assert machine.column is None
    assert rate_at(machine, 6, 0.22) == rate_at(DescribedDryer(MIXED), 6, 0.22)


def test_a_node_that_did_not_settle_or_meets_the_target_far_away_is_not_believed(monkeypatch):
    def troubled(dryer, air, feed, rates, **told):
        profile = solve_column(dryer, air, feed, rates, **told)
        settled, outlet = profile.converged.copy(), profile.outlet_moisture_wb.copy()
        settled[:4, 1] = False
        # on the drying scale, a straight line that meets the target at 1.8 times the rate
        scale = drying_scale(feed.moisture_db[-4:], 0.15)
        scale = scale + np.log(rates[-4:] / rates[-4:, 1:2]) - np.log(1.8)
        left = (feed.moisture_db[-4:] - FLOOR_MOISTURE) * np.exp(-np.exp(-scale))
        outlet[-4:] = (left + FLOOR_MOISTURE) / (1.0 + left + FLOOR_MOISTURE)
        return replace(profile, converged=settled, outlet_moisture_wb=outlet)

    whole = fitted(MIXED, ColumnModel(rate_factor=1.5)).column
    monkeypatch.setattr(column_capacity, "solve_column", troubled)
    part = fitted(MIXED, ColumnModel(rate_factor=1.5)).column
    assert whole.answered == 1.0
    assert part.answered == pytest.approx(1.0 - 8 / whole.ratio.size)
    filled = part.ratio != whole.ratio
    assert filled.sum() == 8
    assert np.all(part.ratio[filled] == np.median(part.ratio))


@pytest.mark.parametrize("energy, pressure", [(None, 101_325.0), (5e6, 75_000.0)])
def test_a_known_run_sets_the_level_and_the_fit_what_changes(energy, pressure):
    run = KnownRate(5.0, 0.28, 0.15, 10.0, specific_energy=energy)
    air = Weather(0.0, np.array([10.0, -5.0]), np.array([0.7, 0.9]), pressure)
    machines = [
        anchored(fitted(MIXED, ColumnModel(rate_factor=speed), air), run, CORN, pressure)
        for speed in (0.5, 2.0)
    ]
    water = 0.28 / 0.72 - 0.15 / 0.85
    for machine in machines:
        rate, heat = rate_at(machine, 0, 0.28, air)
        assert rate == pytest.approx(5.0 * 0.72, rel=0.01)
        if energy is not None:
            assert heat / water == pytest.approx(energy, rel=0.01)
    drier = [rate_at(machine, 0, 0.18, air)[0] for machine in machines]
    assert abs(drier[0] / drier[1] - 1.0) > 0.02


def test_an_indirect_heater_burns_more_fuel_for_the_same_rate():
    steam = replace(MIXED, zones=tuple(replace(zone, burner="indirect") for zone in MIXED.zones))
    whole, part = (
        rate_at(DescribedDryer(steam, burner_efficiency=share), 6, 0.22) for share in (1.0, 0.5)
    )
    assert part[0] == pytest.approx(whole[0])
    assert part[1] == pytest.approx(2.0 * whole[1])
