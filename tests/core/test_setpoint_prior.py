"""What is thought of a dryer before its readings: the column model's word, and its doubt."""

from __future__ import annotations

import math

import pytest

from outfeed import OutOfRange
from outfeed.dryer.assume import with_sensors
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone
from outfeed.dryer.inverse import rate_for_moisture
from outfeed.steering.belief import new_belief
from outfeed.steering.prior import (
    FITTED_DOUBT,
    GENERAL,
    KINETICS_DOUBT,
    dryer_prior,
    inlet_effect_spread,
    stated_prior,
)
from outfeed.steering.spread import spread_of

TARGET = 0.155
WEATHER = Conditions(10.0, 0.70, 101_325.0)


def dryer(sensors: tuple[float, ...] = (0.5,)) -> Dryer:
    heated = [
        Zone(
            name=f"heated {place}",
            role="heated",
            volume=19.2,
            plenum_temperature=plenum,
            airflow_per_volume=0.35,
            sensors=sensors if place == 3 else (),
        )
        for place, plenum in ((1, 98.9), (2, 85.0), (3, 71.1))
    ]
    cooling = Zone(name="cooling", role="cooling", volume=14.4, airflow_per_volume=0.35)
    return Dryer(
        kind="mixed-flow",
        zones=(*heated, cooling),
        cross_section=6.0,
        half_pitch=0.2,
        dry_matter_density=610.0,
    )


def corn(moisture_wb: float) -> Feed:
    return Feed(moisture_wb, 10.0, "corn-yellow-dent")


def test_it_is_what_the_column_does_when_rate_and_inlet_move():
    rate = rate_for_moisture(dryer(), WEATHER, corn(0.22), TARGET).dry_matter_rate
    prior = dryer_prior(dryer(), WEATHER, corn(0.22), TARGET)
    assert prior is not None

    def column(change_of_rate, inlet):
        solved = solve_column(dryer(), WEATHER, corn(inlet), rate * (1.0 + change_of_rate))
        return float(solved.outlet_moisture_wb), float(solved.column_temperature)

    still, warm = column(0.0, 0.22)
    faster, colder = column(0.02, 0.22)
    wetter, wet_column = column(0.0, 0.225)
    assert prior.sensitivity == pytest.approx((faster - still) / (colder - warm), rel=0.05)
    held = (wetter - still) - prior.sensitivity * (wet_column - warm)
    assert prior.inlet_effect == pytest.approx(held / 0.005, abs=0.03)
    # a rate that holds the outlet against wetter grain
    kept, _ = column(math.expm1(0.005 * prior.rate_slope.per_inlet), 0.225)
    assert kept == pytest.approx(still, abs=3e-4)


def test_a_degree_is_worth_less_where_little_water_comes_off():
    dry, wet = (dryer_prior(dryer(), WEATHER, corn(inlet), TARGET) for inlet in (0.18, 0.22))
    assert dry is not None
    assert wet is not None
    assert 0 > dry.sensitivity > 0.6 * wet.sensitivity
    assert dry.inlet_effect > 0 > wet.inlet_effect


def test_a_rate_that_the_model_does_not_bear_out_widens_the_doubt():
    at_target = dryer_prior(dryer(), WEATHER, corn(0.26), TARGET)
    assert at_target is not None
    assert at_target.sensitivity_sd == pytest.approx(-KINETICS_DOUBT * at_target.sensitivity)
    faster = dryer_prior(dryer(), WEATHER, corn(0.26), TARGET, 3.6)
    assert faster is not None
    assert faster.sensitivity_sd > -KINETICS_DOUBT * faster.sensitivity


def test_a_fit_halves_the_doubt():
    fitted = dryer_prior(dryer(), WEATHER, corn(0.22), TARGET, fitted=True)
    assert fitted is not None
    assert fitted.sensitivity_sd == pytest.approx(-FITTED_DOUBT * fitted.sensitivity)


def test_without_sensors_the_middle_of_the_lowest_heated_zone_stands_in_and_that_is_said():
    bare = dryer(sensors=())
    seen, assumed = with_sensors(bare)
    assert assumed
    assert seen.zones[2].sensors == (0.5,)
    prior = dryer_prior(bare, WEATHER, corn(0.22), TARGET)
    assert prior is not None
    assert prior.sensors_assumed
    stated = dryer_prior(dryer(), WEATHER, corn(0.22), TARGET)
    assert stated is not None
    assert prior.sensitivity == pytest.approx(stated.sensitivity)
    assert not stated.sensors_assumed


def test_a_stated_sensitivity_takes_the_inlet_effect_along():
    flat = stated_prior(GENERAL, -0.005, None)
    assert flat.origin == "stated"
    moved = GENERAL.inlet_per_sensitivity * (-0.005 - GENERAL.sensitivity)
    assert flat.inlet_effect == pytest.approx(GENERAL.inlet_effect + moved)
    assert stated_prior(GENERAL, None, None) is GENERAL
    with pytest.raises(OutOfRange) as caught:
        stated_prior(GENERAL, 0.01, None)
    assert caught.value.name == "sensitivity"


def test_a_fresh_belief_knows_that_sensitivity_and_inlet_effect_go_together():
    prior = stated_prior(GENERAL, -0.0099, 0.0036)
    belief = new_belief(
        37.0,
        0.155,
        at_s=0.0,
        sensitivity=prior.sensitivity,
        sensitivity_sd=prior.sensitivity_sd,
        inlet_effect=prior.inlet_effect,
        inlet_effect_sd=prior.inlet_effect_sd,
        inlet_per_sensitivity=prior.inlet_per_sensitivity,
    )
    (_, slope, inlet), (_, _, together) = spread_of(belief)
    assert slope == pytest.approx(prior.sensitivity_sd)
    assert inlet == pytest.approx(inlet_effect_spread(prior))
    assert 0.5 < together < 1.0
