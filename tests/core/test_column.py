"""Laws that the settled column must obey, over the whole sensible domain."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from column_dryers import (
    KINDS,
    NOMINAL_RATE,
    ORIENTATION_PLENUMS,
    example,
    scenario,
    screen,
    tower,
)
from outfeed import moist_air, sorption
from outfeed.dryer.cells import air_enthalpy, cell_of
from outfeed.dryer.closures import (
    CORN_HEAT,
    ColumnModel,
    closures,
    column_isotherm,
    grain_heat,
)
from outfeed.dryer.column import solve_column, solve_outlet
from outfeed.dryer.description import Conditions, Dryer, Feed, Zone, volume_from_weight
from outfeed.dryer.layers import Air, Grain, against, graded, kit
from outfeed.dryer.task import humidity_ratio
from outfeed.dryer.vapour import saturation_of, sorption_of
from outfeed.errors import Inconsistent, OutOfRange, UnknownName
from outfeed.grains import load_grain
from outfeed.numbers import ARRAYS, FLOATS
from outfeed.thin_layer import THOMPSON

AUTUMN = Conditions(10.0, 0.7)
WET_CORN = Feed(0.22, 10.0)
PAUSE = 5e-4  # wet basis: the changes below are worth many times what cells and tolerances are

kinds = st.sampled_from(KINDS)
seeds = st.integers(0, 10_000)


def solved(kind, case, *, pace=None, plenums=None, **changes):
    dryer = example(kind, plenums or case.plenums)
    fields = {
        "conditions": case.conditions,
        "feed": case.feed,
        "model": case.model,
    } | changes
    rate = NOMINAL_RATE[kind] * (case.pace if pace is None else pace)
    return solve_column(dryer, fields["conditions"], fields["feed"], rate, model=fields["model"])


# What must hold exactly


@given(kinds, seeds)
@settings(max_examples=15)
def test_water_and_heat_close_wherever_the_column_is_solved(kind, seed):
    profile = solved(kind, scenario(seed))
    assert profile.water_residual < 1e-9
    assert profile.heat_residual < 1e-9
    assert profile.converged


@given(seeds)
@settings(max_examples=6)
def test_one_scenario_and_many_give_the_same_answer(seed):
    case = scenario(seed)
    one = solved("mixed-flow", case)
    many = solve_column(
        example("mixed-flow", case.plenums),
        case.conditions,
        case.feed,
        np.full(3, NOMINAL_RATE["mixed-flow"] * case.pace),
        model=case.model,
    )
    assert many.outlet_moisture_wb == pytest.approx(one.outlet_moisture_wb, abs=2e-5)
    assert many.outlet_temperature == pytest.approx(one.outlet_temperature, abs=0.02)
    assert many.grain_temperature.shape == (3, one.depth.size)


@pytest.mark.parametrize("rate", [0.10, 0.11])
def test_a_slow_column_of_soybeans_alone_is_solved_as_among_others(rate):
    """With few cells its first beds have no settled state; with more they have."""
    where = tower((57.0, 33.0, 40.0)), Conditions(16.0, 0.67), Feed(0.233, 22.5, "soybean")
    among = solve_column(*where, rate * np.array([1.0, 1.03])).outlet_moisture_wb
    assert solve_outlet(*where, rate) == pytest.approx(among[0], abs=1e-4)


def test_the_same_request_gives_the_same_answer_to_the_last_digit():
    first, second = (solve_column(tower(), AUTUMN, WET_CORN, 1.06) for _ in range(2))
    assert first.outlet_moisture_wb == second.outlet_moisture_wb


def test_zones_add_up_to_the_whole():
    profile = solve_column(tower(), AUTUMN, WET_CORN, 1.06)
    assert sum(zone.water for zone in profile.zones) == pytest.approx(profile.water, rel=1e-12)
    assert sum(zone.heat for zone in profile.zones) == pytest.approx(profile.heat, rel=1e-12)
    assert profile.zones[-1].heat == pytest.approx(0.0, abs=1e-9)


# Limiting cases


@pytest.mark.parametrize("kind", KINDS)
def test_grain_in_equilibrium_with_the_air_does_not_change(kind):
    temperature, humidity = 35.0, 0.5
    isotherm = column_isotherm("corn-yellow-dent")
    M = float(sorption.equilibrium_moisture(isotherm, temperature, humidity))
    plenums = (temperature, temperature)
    profile = solve_column(
        example(kind, plenums),
        Conditions(temperature, humidity),
        Feed(M / (1.0 + M), temperature),
        NOMINAL_RATE[kind],
    )
    assert profile.moisture_db == pytest.approx(M, abs=1e-6)
    assert profile.grain_temperature == pytest.approx(temperature, abs=1e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_grain_sent_through_again_and_again_comes_to_equilibrium_with_the_air(kind):
    feed = Feed(0.10, 40.0)
    model = ColumnModel(rate_factor=6.0)
    for _ in range(7):
        profile = solve_column(
            example(kind, (40.0, 40.0)), Conditions(40.0, 0.4), feed, 0.15, model=model
        )
        feed = Feed(float(profile.outlet_moisture_wb), float(profile.outlet_temperature))
    isotherm = column_isotherm("corn-yellow-dent")
    expected = float(sorption.equilibrium_moisture(isotherm, 40.0, 0.4))
    assert profile.moisture_db[-1] == pytest.approx(expected, abs=3.5e-3)
    assert profile.outlet_temperature == pytest.approx(40.0, abs=0.5)


@given(st.floats(0.5, 12.0), st.floats(0.05, 0.95))
@settings(max_examples=20)
def test_without_water_exchange_a_bed_against_the_air_is_an_exchanger(units, capacity_ratio):
    # Effectiveness of a counter-flow exchanger, e.g. Incropera & DeWitt, chapter 11.
    tools = kit(ColumnModel(rate_factor=0.02), FLOATS)
    T, theta, M, W = 60.0, 50.0, 0.2, 1e-3
    capacity = 1006.0 + 1860.0 * W
    grain_heat_capacity = CORN_HEAT.dry + CORN_HEAT.per_moisture * M
    ratio = capacity_ratio * grain_heat_capacity / capacity
    transfer = 8000.0
    air = Air(T, W, ratio, units * capacity / transfer, transfer, 101_325.0)
    grain = Grain(theta, M, M, 1e-12)
    cells = graded(60, 1.0)
    bed = against(tools, grain, air, cells, [(0.0, 0.0)] * 60, 1e-6)
    fade = math.exp(-units * (1.0 - capacity_ratio))
    effectiveness = (1.0 - fade) / (1.0 - capacity_ratio * fade)
    assert (T - bed.T) / (T - theta) == pytest.approx(effectiveness, abs=2e-3)


def test_cold_grain_takes_water_from_warm_damp_air_at_the_top():
    profile = solve_column(
        tower((60.0, 50.0, 45.0)), Conditions(20.0, 0.95), Feed(0.18, -15.0), 2.0
    )
    assert np.max(profile.moisture_db) > profile.moisture_db[0] + 1e-3


# Laws of direction


@given(kinds, seeds, st.floats(0.1, 5.0))
@settings(max_examples=8)
def test_faster_grain_leaves_wetter(kind, seed, pace):
    case = scenario(seed)
    slow, fast = (solved(kind, case, pace=value) for value in (pace, 2.0 * pace))
    if slow.outlet_moisture_wb < case.feed.moisture_wb - 0.01:
        assert fast.outlet_moisture_wb > slow.outlet_moisture_wb - PAUSE


@given(kinds, seeds)
@settings(max_examples=8)
def test_hotter_plenums_dry_more(kind, seed):
    case = scenario(seed)
    warm = tuple(min(value, 140.0) for value in case.plenums)
    hot = tuple(value + 10.0 for value in warm)
    cooler, hotter = (solved(kind, case, plenums=plenums) for plenums in (warm, hot))
    assert hotter.outlet_moisture_wb < cooler.outlet_moisture_wb + PAUSE
    assert hotter.heat > cooler.heat


@given(kinds, seeds)
@settings(max_examples=8)
def test_more_hot_air_dries_more(kind, seed):
    case = scenario(seed)
    plenums = (100.0, 80.0)
    less, more = (
        solved(kind, case, plenums=plenums, model=ColumnModel(airflow_factor=factor))
        for factor in (0.8, 1.2)
    )
    assert more.outlet_moisture_wb < less.outlet_moisture_wb + PAUSE


@given(kinds, seeds)
@settings(max_examples=8)
def test_wetter_grain_leaves_wetter(kind, seed):
    case = scenario(seed)
    drier = Feed(min(case.feed.moisture_wb, 0.36), case.feed.temperature)
    wetter = Feed(drier.moisture_wb + 0.03, drier.temperature)
    first, second = (solved(kind, case, feed=feed) for feed in (drier, wetter))
    assert second.outlet_moisture_wb > first.outlet_moisture_wb - PAUSE


@given(kinds, seeds)
@settings(max_examples=8)
def test_colder_grain_leaves_wetter(kind, seed):
    case = scenario(seed)
    cold, warm = (
        solved(kind, case, feed=Feed(case.feed.moisture_wb, theta)) for theta in (-10.0, 20.0)
    )
    assert cold.outlet_moisture_wb > warm.outlet_moisture_wb - PAUSE


def test_combustion_water_makes_direct_firing_dry_a_little_less():
    def fired(burner):
        zone = Zone(
            "heat",
            "heated",
            height=6.0,
            plenum_temperature=95.0,
            airflow_per_volume=0.7,
            burner=burner,
            fuel="propane",
        )
        return Dryer("mixed-flow", (zone,), cross_section=1.0)

    indirect, direct = (
        solve_column(fired(burner), AUTUMN, WET_CORN, 1.0)
        for burner in ("indirect", "direct-fired")
    )
    assert direct.air_in_humidity[0] > indirect.air_in_humidity[0]
    assert 0.0 < direct.outlet_moisture_wb - indirect.outlet_moisture_wb < 0.01


def test_combustion_water_is_that_of_the_burner_in_moist_air():
    zone = Zone(
        "heat",
        "heated",
        height=6.0,
        plenum_temperature=95.0,
        airflow_per_volume=0.7,
        burner="direct-fired",
        fuel="natural-gas",
    )
    profile = solve_column(Dryer("mixed-flow", (zone,), cross_section=1.0), AUTUMN, WET_CORN, 1.0)
    state = moist_air.air_state(dry_bulb=10.0, relative_humidity=0.7)
    burned = moist_air.burn(state, 95.0, moist_air.fuel_named("natural-gas"), burner="direct-fired")
    assert profile.air_in_humidity[0] == pytest.approx(burned.state.humidity_ratio, rel=1e-6)


def test_reversing_the_air_spares_the_kernels_at_the_wall():
    straight, mixed = (
        solve_column(screen((110.0, 100.0), turning), AUTUMN, WET_CORN, 1.0)
        for turning in ("none", "mixed")
    )
    assert mixed.hottest_kernel < straight.hottest_kernel + 0.5
    assert mixed.hottest_kernel > mixed.outlet_temperature


@pytest.mark.parametrize("kind", KINDS)
def test_no_kernel_is_hotter_than_the_hottest_air(kind):
    profile = solve_column(example(kind, (110.0, 100.0)), AUTUMN, WET_CORN, 0.3)
    assert 40.0 < profile.hottest_kernel < 110.0
    assert profile.outlet_temperature < profile.hottest_kernel


# Inner formulas are those of the library


@given(st.floats(-60.0, 150.0))
def test_saturation_in_the_column_is_that_of_moist_air(temperature):
    expected = float(moist_air.saturation_pressure_over_liquid(temperature))
    assert saturation_of(FLOATS)(temperature) == pytest.approx(expected, rel=1e-12)
    assert saturation_of(ARRAYS)(np.array([temperature]))[0] == pytest.approx(expected, rel=1e-12)


@given(
    st.sampled_from(
        [
            constants
            for grain in ("corn-yellow-dent", "wheat-soft", "soybean", "sunflower-oil")
            for constants in load_grain(grain).isotherms
        ]
    ),
    st.floats(10.0, 60.0),
    st.floats(0.15, 0.9),
)
def test_isotherms_in_the_column_are_those_of_sorption(constants, temperature, humidity):
    expected = float(sorption.equilibrium_moisture(constants, temperature, humidity))
    for number, wrap in ((FLOATS, float), (ARRAYS, lambda value: np.array([value]))):
        formula = sorption_of(constants, number)
        M, slope = formula(wrap(humidity), wrap(temperature))
        above, _ = formula(wrap(humidity + 1e-6), wrap(temperature))
        below, _ = formula(wrap(humidity - 1e-6), wrap(temperature))
        assert float(np.max(M)) == pytest.approx(expected, rel=1e-9)
        assert float(np.max(slope)) == pytest.approx(float(np.max(above - below)) / 2e-6, rel=1e-5)


@given(st.floats(-30.0, 120.0), st.floats(0.01, 0.6))
def test_grain_temperature_is_the_inverse_of_its_enthalpy(theta, M):
    formulas = closures(ColumnModel(), FLOATS)
    h = formulas.grain_enthalpy(theta, M)
    assert formulas.grain_temperature(h, M) == pytest.approx(theta, abs=1e-9)


@given(st.floats(-20.0, 100.0), st.floats(0.02, 0.5))
def test_desorption_heat_is_what_the_enthalpies_leave_for_the_vapour(theta, M):
    formulas = closures(ColumnModel(), FLOATS)
    step = 1e-5
    slope = (
        formulas.grain_enthalpy(theta, M + step) - formulas.grain_enthalpy(theta, M - step)
    ) / (2.0 * step)
    vapour = float(air_enthalpy(theta, 1.0) - air_enthalpy(theta, 0.0))
    assert formulas.desorption_heat(theta, M) == pytest.approx(vapour - slope, rel=1e-5)


def test_sorption_heat_of_corn_is_the_published_relation_at_50_degc():
    # L (1 + 4.35 exp(-28.25 M)), Bakker-Arkema et al. 1974, beyond the heat of free water
    formulas = closures(ColumnModel(), FLOATS)
    free = 2.501e6 - (4186.0 - 1860.0) * 50.0
    published = free * (1.0 + 4.35 * math.exp(-28.25 * 0.15))
    assert formulas.desorption_heat(50.0, 0.15) == pytest.approx(published, rel=1e-9)


@given(st.floats(-20.0, 110.0), st.floats(1e-4, 0.08), st.floats(0.02, 0.6), st.floats(0.005, 0.5))
def test_a_cell_of_floats_and_a_cell_of_arrays_agree(theta, W, M, reach):
    values = (80.0, W, theta, theta + 1.0, M, 0.3, reach, 8000.0, 900.0, 101_325.0)
    plain = cell_of(closures(ColumnModel(), FLOATS))(*values)
    arrays = cell_of(closures(ColumnModel(), ARRAYS))(*(np.array([value]) for value in values))
    assert plain[0] == pytest.approx(arrays[0][0], abs=1e-9)
    assert plain[1] == pytest.approx(arrays[1][0], rel=1e-9)


def test_humidity_of_the_ambient_is_over_liquid_also_below_freezing():
    pressure = float(moist_air.saturation_pressure_over_liquid(-10.0))
    expected = 0.621945 * 0.8 * pressure / (101_325.0 - 0.8 * pressure)
    got = humidity_ratio(np.array([-10.0]), np.array([0.8]), np.array([101_325.0]))
    assert got[0] == pytest.approx(expected, rel=1e-9)


# Grains and kinetics


@pytest.mark.parametrize(
    "grain", ["wheat-soft", "wheat-hard-red-winter", "soybean", "rough-rice-medium", "popcorn"]
)
def test_other_grains_dry_with_their_own_formulas(grain):
    kinetics = None if load_grain(grain).kinetics else THOMPSON
    profile = solve_column(
        tower((60.0, 55.0, 50.0)),
        AUTUMN,
        Feed(0.20, 10.0, grain),
        1.0,
        model=ColumnModel(grain=grain, kinetics=kinetics),
    )
    assert profile.converged
    assert 0.05 < profile.outlet_moisture_wb < 0.20


def test_a_grain_without_published_heat_takes_the_mean_of_the_measured_or_one_given():
    # Published specific heats of cereals and oilseeds at 13 % w.b.: 1.5 to 2.1 kJ/(kg K).
    heat = grain_heat("barley")
    wet_specific_heat = (heat.dry + heat.per_moisture * 0.13 / 0.87) * 0.87
    assert 1500.0 < wet_specific_heat < 2100.0
    model = ColumnModel(grain="barley", heat=CORN_HEAT)
    profile = solve_column(tower((60.0, 55.0, 50.0)), AUTUMN, Feed(0.20, 10.0), 1.0, model=model)
    assert profile.outlet_moisture_wb < 0.20


def test_sorption_heat_of_other_grains_is_of_the_size_measurements_show():
    # Isosteric heats of cereals lie a few to thirty percent above free water at 10 % d.b.
    heat = grain_heat("wheat-hard-red-winter")
    assert 0.02 < heat.amplitude * math.exp(-heat.decay * 0.10) < 0.30


# Descriptions


def test_orientation_plenums_run_from_hot_to_cool():
    assert list(ORIENTATION_PLENUMS) == sorted(ORIENTATION_PLENUMS, reverse=True)
    assert tower().hold_up_dry_matter == pytest.approx(610.0 * 12.0)
    assert tower().heated_volume == pytest.approx(9.6)
    assert tower().cooling_volume == pytest.approx(2.4)


def test_volumes_without_heights_share_the_assumed_bed_height():
    zones = (
        Zone("heat", "heated", volume=30.0, plenum_temperature=90.0, airflow_per_volume=0.7),
        Zone("cool", "cooling", volume=10.0, airflow_per_volume=0.7),
    )
    dryer = Dryer("mixed-flow", zones)
    assert dryer.area_is_assumed
    assert sum(dryer.heights) == pytest.approx(12.0)


def test_a_bed_volume_follows_from_a_weight():
    assert volume_from_weight(1000.0, 0.15, 610.0) == pytest.approx(850.0 / 610.0)


@pytest.mark.parametrize(
    "change, name",
    [
        ({"plenum_temperature": None}, "plenum_temperature"),
        ({"role": "cooling"}, "plenum_temperature"),
        ({"airflow_per_volume": None}, "airflow"),
        ({"height": None}, "volume"),
        ({"role": "warm"}, "role"),
        ({"burner": "wood"}, "burner"),
    ],
)
def test_a_zone_that_contradicts_itself_is_refused_by_name(change, name):
    fields = {
        "name": "heat",
        "role": "heated",
        "height": 3.0,
        "plenum_temperature": 90.0,
        "airflow_per_volume": 0.7,
    }
    with pytest.raises(Inconsistent) as caught:
        Zone(**(fields | change))
    assert caught.value.name == name


def test_a_plenum_beyond_the_range_is_refused_with_the_range():
    with pytest.raises(OutOfRange, match="plenum temperature 200"):
        Zone("heat", "heated", height=3.0, plenum_temperature=200.0, airflow_per_volume=0.7)


def test_a_cross_flow_dryer_needs_its_thickness():
    zone = Zone("heat", "heated", height=3.0, plenum_temperature=90.0, airflow_per_volume=0.7)
    with pytest.raises(Inconsistent, match="thickness"):
        Dryer("cross-flow", (zone,), cross_section=1.0)


def test_a_heated_plenum_below_ambient_is_refused():
    with pytest.raises(Inconsistent, match="colder than the ambient"):
        solve_column(tower((30.0, 30.0, 30.0)), Conditions(40.0, 0.3), WET_CORN, 1.0)


def test_an_unknown_isotherm_names_the_known_ones():
    with pytest.raises(UnknownName, match="henderson"):
        solve_column(tower(), AUTUMN, WET_CORN, 1.0, model=ColumnModel(isotherm="emc.nobody"))


def test_outlet_alone_is_the_outlet_of_the_profile():
    profile = solve_column(tower(), AUTUMN, WET_CORN, 1.06)
    outlet = solve_outlet(tower(), AUTUMN, WET_CORN, 1.06)
    assert outlet == pytest.approx(profile.outlet_moisture_wb, rel=1e-12)


@pytest.mark.parametrize("kind", ["mixed-flow", "cross-flow"])
def test_an_exhaust_beyond_saturation_is_mist_at_the_same_enthalpy(kind):
    damp, soaked = Conditions(-15.0, 0.95), Feed(0.35, -15.0)
    profile = solve_column(example(kind), damp, soaked, np.geomspace(0.3, 3.0, 7))
    humidity = np.stack([zone.exhaust_relative_humidity for zone in profile.zones])
    assert np.all(humidity <= 1.0)
    assert np.any(humidity == 1.0)
    for zone in profile.zones:
        misty = zone.exhaust_relative_humidity == 1.0
        T, W = zone.exhaust_temperature[misty], zone.exhaust_humidity_ratio[misty]
        held = moist_air.saturation_humidity_ratio(T, 101325.0)
        assert np.all(held <= W * (1.0 + 1e-6))
