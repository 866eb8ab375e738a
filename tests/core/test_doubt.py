"""Bands of the column model: what is doubted moves them, and the right way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from column_dryers import tower
from outfeed.dryer.assume import assumed_airflow, assumed_grain_temperature
from outfeed.dryer.burner import fuel_heat
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Feed, Zone
from outfeed.dryer.doubt import assumed_rate_factor, meeting, settled
from outfeed.dryer.doubt_lanes import FitDoubt
from outfeed.dryer.heat_check import check_levels, dryer_type
from outfeed.dryer.inverse import OutOfReach, rate_for_moisture
from outfeed.errors import Inconsistent, OutOfRange
from outfeed.grains import load_grain
from outfeed.moist_air import air_state, burn, fuel_named

DRYER = tower((95.0, 80.0), layers=8, cooling=6, sensors=(0.5,))
WEATHER, WET = Conditions(10.0, 0.7), Feed(0.21, 10.0)
MODEL = ColumnModel()
RATE = 0.6


@pytest.fixture(scope="module")
def unfitted():
    return settled(DRYER, WEATHER, WET, RATE, MODEL, assumptions=(assumed_rate_factor(MODEL),))


def test_the_best_value_is_the_column_itself(unfitted):
    alone = solve_column(DRYER, WEATHER, WET, RATE)
    assert unfitted.outlet_moisture.value == pytest.approx(
        float(alone.outlet_moisture_wb), abs=2e-5
    )
    assert unfitted.column_temperature.value == pytest.approx(
        float(alone.column_temperature), abs=0.05
    )
    assert float(unfitted.profile.water_residual) < 1e-6


def test_the_ends_of_a_band_are_the_column_at_the_ends_of_the_doubt(unfitted):
    doubt = assumed_rate_factor(MODEL)
    slow = solve_column(DRYER, WEATHER, WET, RATE, model=ColumnModel(rate_factor=doubt.low))
    assert unfitted.outlet_moisture.high == pytest.approx(float(slow.outlet_moisture_wb), abs=2e-4)
    assert unfitted.column_temperature.high == pytest.approx(
        float(slow.column_temperature), abs=0.1
    )


def test_a_given_rate_has_no_band_and_a_met_target_has_none(unfitted):
    assert unfitted.dry_matter_rate.low == unfitted.dry_matter_rate.high == RATE
    met = meeting(DRYER, WEATHER, WET, 0.15, MODEL)
    assert met.outlet_moisture.low == met.outlet_moisture.high
    assert met.outlet_moisture.value == pytest.approx(0.15, abs=2e-5)


def test_the_rate_that_meets_the_target_moves_with_the_airflow():
    airflow = assumed_airflow("mixed-flow")
    dryer = replace(
        DRYER, zones=tuple(replace(z, airflow_per_volume=airflow.value) for z in DRYER.zones)
    )
    met = meeting(dryer, WEATHER, WET, 0.15, MODEL, assumptions=(airflow,))
    for end, value in (
        (met.dry_matter_rate.low, airflow.low),
        (met.dry_matter_rate.high, airflow.high),
    ):
        off = replace(dryer, zones=tuple(replace(z, airflow_per_volume=value) for z in dryer.zones))
        alone = rate_for_moisture(off, WEATHER, WET, 0.15).dry_matter_rate
        assert end == pytest.approx(alone, rel=0.03)


def test_more_doubt_never_narrows_a_band(unfitted):
    more = settled(
        DRYER, WEATHER, WET, RATE, MODEL,
        assumptions=(assumed_rate_factor(MODEL), assumed_grain_temperature(10.0)),
    )  # fmt: skip
    assert more.outlet_moisture.low <= unfitted.outlet_moisture.low + 1e-9
    assert more.outlet_moisture.high >= unfitted.outlet_moisture.high - 1e-9


def test_water_belongs_to_the_moisture_that_leaves(unfitted):
    wet = unfitted.outlet_moisture.high
    water = RATE * (0.21 / 0.79 - wet / (1.0 - wet))
    assert unfitted.water.low == pytest.approx(water, rel=1e-9)


def test_what_the_model_leaves_unexplained_stays_in_the_band_of_a_sure_fit():
    sure = settled(DRYER, WEATHER, WET, RATE, MODEL, fit=FitDoubt(30, 0.0, discrepancy=0.004))
    half = 0.5 * (sure.outlet_moisture.high - sure.outlet_moisture.low)
    assert half == pytest.approx(1.645 * 0.004, rel=0.1)


def test_factors_that_lean_on_each_other_move_together():
    def width(correlation):
        fit = FitDoubt(10, 0.1, 0.1, correlation)
        band = settled(DRYER, WEATHER, WET, RATE, MODEL, fit=fit).outlet_moisture
        return band.high - band.low

    # Faster kinetics and more air both dry: errors of opposite sign cancel, of equal sign add.
    assert width(-0.9) < width(0.0) < width(0.9)


def test_a_fit_replaces_the_doubt_in_the_rate_factor():
    doubt = (assumed_rate_factor(MODEL),)
    loose = meeting(DRYER, WEATHER, WET, 0.15, MODEL, assumptions=doubt).dry_matter_rate
    sure = meeting(
        DRYER,
        WEATHER,
        WET,
        0.15,
        MODEL,
        assumptions=doubt,
        fit=FitDoubt(20, 0.03, discrepancy=0.001),
    ).dry_matter_rate
    assert sure.high / sure.low < loose.high / loose.low
    assert sure.value == pytest.approx(loose.value, rel=1e-6)


def test_an_assumed_airflow_is_no_doubt_beside_a_factor_fitted_to_it():
    fit = FitDoubt(20, 0.03, 0.03, discrepancy=0.001)
    bare, beside = (
        settled(DRYER, WEATHER, WET, RATE, MODEL, assumptions=doubts, fit=fit).outlet_moisture
        for doubts in ((), (assumed_airflow("mixed-flow"),))
    )
    assert beside == bare


def test_a_target_no_rate_meets_is_refused():
    with pytest.raises(OutOfReach):
        meeting(DRYER, WEATHER, WET, 0.2095, MODEL)


@pytest.mark.parametrize(
    "fields", [{"runs": 0}, {"rate_spread": -0.1}, {"correlation": 1.5}, {"airflow_spread": 3.0}]
)
def test_an_impossible_fit_is_refused(fields):
    with pytest.raises(OutOfRange):
        FitDoubt(**{"runs": 5, "rate_spread": 0.1} | fields)


def test_the_fuel_of_a_flame_is_that_of_the_moist_air_library():
    zone = Zone("z", "heated", 10.0, plenum_temperature=90.0, airflow=5.0, burner="direct-fired",
                fuel="propane")  # fmt: skip
    air = air_state(101_325.0, dry_bulb=10.0, relative_humidity=0.7)
    burnt = burn(air, 90.0, fuel_named("propane"), burner="direct-fired")
    heat = 5.0 * (1006.0 + 1860.0 * float(air.humidity_ratio)) * 80.0
    assert float(fuel_heat(zone, heat)) == pytest.approx(5.0 * float(burnt.fuel_heat), rel=5e-3)


def test_an_indirect_heater_loses_what_it_loses_and_ambient_air_costs_nothing():
    zone = Zone("z", "heated", 10.0, plenum_temperature=90.0, airflow=5.0)
    assert float(fuel_heat(zone, 8e4, 0.8)) == pytest.approx(1e5)
    assert float(fuel_heat(Zone("c", "cooling", 10.0, airflow=5.0), 0.0)) == 0.0


def test_a_flame_without_fuel_is_refused():
    zone = Zone("z", "heated", 10.0, plenum_temperature=90.0, airflow=5.0, burner="direct-fired")
    with pytest.raises(Inconsistent):
        fuel_heat(zone, 1e5)


def test_limits_follow_the_moisture_of_each_level():
    grain = load_grain("wheat-hard-red-spring")
    dryer = tower((70.0, 65.0), layers=8, cooling=4)
    model = ColumnModel(grain=grain.id)
    profile = solve_column(dryer, WEATHER, Feed(0.22, 10.0, grain.id), 0.8, model=model)
    checks = check_levels(dryer, profile, grain, 0.22, "milling")
    air = [check for check in checks if check.of == "drying air"]
    # 48.9 degC damaged milling wheat above 20 %, 60 degC at 16 to 20 %: NDSU small grain drying.
    assert min(row.high for row in air[0].passed) == pytest.approx(48.9, abs=0.1)
    assert air[0].moisture_wb == 0.22
    assert air[1].moisture_wb < 0.22
    assert np.all([check.verdict == "none-published" for check in checks if check.of == "grain"])


def test_a_kind_that_no_limit_names_counts_as_continuous_flow():
    assert dryer_type("concurrent-flow") == "continuous-flow"
    assert dryer_type("mixed-flow") == "mixed-flow"
