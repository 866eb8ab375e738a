"""Properties that moist air has whatever the numbers, and its corners."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from outfeed import Inconsistent, NotConverged, OutOfRange, UnknownName, moist_air
from outfeed.moist_air import AirState, air_state, air_state_rows
from outfeed.roots import bracketed_newton

QUANTITIES = ("dry_bulb", "wet_bulb", "dew_point", "relative_humidity", "humidity_ratio")
FIELDS = tuple(AirState.__dataclass_fields__)
PROPANE = moist_air.fuel_named("propane")

pressures = st.floats(50_000.0, 110_000.0)
temperatures = st.floats(-40.0, 150.0)
shares = st.floats(0.005, 1.0)


def state_of(dry: float, share: float, pressure: float) -> AirState:
    """Any state that is air: `share` of the highest relative humidity that leaves 5 % of air."""
    full = float(moist_air.saturation_pressure(dry))
    humidity = share * min(1.0, 0.95 * pressure / full)
    assume(humidity * full > 2e-3)
    return air_state(pressure, dry_bulb=dry, relative_humidity=humidity)


states = st.builds(state_of, temperatures, shares, pressures)


@pytest.mark.parametrize("pair", moist_air.STATE_PAIRS, ids="+".join)
@given(state=states)
def test_every_pair_leads_back_to_the_same_state(state: AirState, pair: tuple[str, str]) -> None:
    again = air_state(state.pressure, **{name: getattr(state, name) for name in pair})
    assert float(again.dry_bulb) == pytest.approx(float(state.dry_bulb), abs=1e-6)
    assert float(again.dew_point) == pytest.approx(float(state.dew_point), abs=1e-4)
    assert float(again.humidity_ratio) == pytest.approx(
        float(state.humidity_ratio), rel=1e-6, abs=1e-10
    )
    assert float(again.enthalpy) == pytest.approx(float(state.enthalpy), rel=1e-6, abs=1e-2)
    assert float(again.wet_bulb) == pytest.approx(float(state.wet_bulb), abs=1e-5)


def test_all_pairs_but_dew_point_with_humidity_ratio_are_solvable() -> None:
    pairs = {(one, two) for i, one in enumerate(QUANTITIES) for two in QUANTITIES[i + 1 :]}
    assert len(pairs) == 10
    assert pairs - set(moist_air.STATE_PAIRS) == {("dew_point", "humidity_ratio")}
    with pytest.raises(Inconsistent, match="same thing"):
        air_state(dew_point=10.0, humidity_ratio=0.0076)


@given(state=states)
def test_dew_point_wet_bulb_and_dry_bulb_stand_in_order(state: AirState) -> None:
    assert state.dew_point <= state.wet_bulb + 1e-8
    assert state.wet_bulb <= state.dry_bulb
    assert 0.0 < state.relative_humidity <= 1.0
    assert state.vapour_pressure < state.pressure
    assert 0.0 <= state.degree_of_saturation <= 1.0 + 1e-12
    assert all(np.isfinite(getattr(state, name)) for name in FIELDS)


@given(state=states)
def test_density_volume_and_ratio_agree(state: AirState) -> None:
    assert state.density * state.specific_volume == pytest.approx(1.0 + state.humidity_ratio)
    assert moist_air.relative_humidity(
        state.dry_bulb, state.humidity_ratio, state.pressure
    ) == pytest.approx(state.relative_humidity, rel=1e-9)
    assert moist_air.temperature_from_enthalpy(
        state.enthalpy, state.humidity_ratio
    ) == pytest.approx(state.dry_bulb, abs=1e-9)


@given(dry=temperatures, low=shares, high=shares, pressure=pressures)
def test_wet_bulb_and_dew_point_rise_with_humidity(
    dry: float, low: float, high: float, pressure: float
) -> None:
    assume(high > low * 1.001)
    drier, wetter = state_of(dry, low, pressure), state_of(dry, high, pressure)
    assert drier.dew_point < wetter.dew_point
    assert drier.wet_bulb < wetter.wet_bulb


@given(cold=temperatures, warm=temperatures)
def test_saturation_pressure_rises_with_temperature_and_is_inverted(
    cold: float, warm: float
) -> None:
    assume(warm > cold + 1e-6)
    low, high = moist_air.saturation_pressure(np.array([cold, warm]))
    assert low < high
    assert moist_air.saturation_temperature(high) == pytest.approx(warm, abs=1e-8)


def test_the_saturation_curve_has_no_step_at_the_triple_point() -> None:
    below, above = moist_air.saturation_pressure(np.array([0.01 - 1e-9, 0.01]))
    assert below < above
    assert above == pytest.approx(below, rel=3e-7)
    assert moist_air.saturation_pressure_over_liquid(-10.0) > moist_air.saturation_pressure(-10.0)


def test_arrays_answer_as_scalars_do() -> None:
    rng = np.random.default_rng(7)
    dry = rng.uniform(-40.0, 150.0, 60)
    pressure = rng.uniform(50_000.0, 110_000.0, 60)
    humidity = 0.9 * np.minimum(1.0, pressure / moist_air.saturation_pressure(dry))
    together = air_state(pressure, dry_bulb=dry, relative_humidity=humidity)
    for i in range(60):
        alone = air_state(pressure[i], dry_bulb=dry[i], relative_humidity=humidity[i])
        for name in FIELDS:
            assert getattr(together, name)[i] == pytest.approx(getattr(alone, name), rel=1e-12)


def test_scalars_stay_scalars_and_shapes_broadcast() -> None:
    scalar = air_state(dry_bulb=20.0, relative_humidity=0.5)
    assert all(np.ndim(getattr(scalar, name)) == 0 for name in FIELDS)
    table = air_state(dry_bulb=np.array([[10.0], [20.0]]), relative_humidity=[0.3, 0.5, 0.7])
    assert all(getattr(table, name).shape == (2, 3) for name in FIELDS)


# --- Refusals -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "given_pair, error, name",
    [
        ({"dry_bulb": 20.0, "wet_bulb": 21.0}, Inconsistent, "wet_bulb"),
        ({"dry_bulb": 20.0, "dew_point": 20.5}, Inconsistent, "dew_point"),
        ({"wet_bulb": 20.0, "dew_point": 20.5}, Inconsistent, "dew_point"),
        ({"dry_bulb": 20.0, "humidity_ratio": 0.02}, Inconsistent, "humidity_ratio"),
        ({"wet_bulb": 10.0, "humidity_ratio": 0.02}, Inconsistent, "humidity_ratio"),
        ({"dry_bulb": 60.0, "wet_bulb": 15.0}, Inconsistent, "wet_bulb"),
        ({"dry_bulb": 20.0}, Inconsistent, "dry_bulb"),
        ({}, Inconsistent, "dry_bulb"),
        ({"dry_bulb": 20.0, "wet_bulb": 15.0, "dew_point": 10.0}, Inconsistent, "dry_bulb"),
        ({"dry_bulb": 151.0, "relative_humidity": 0.1}, OutOfRange, "dry_bulb"),
        ({"dry_bulb": -41.0, "relative_humidity": 0.1}, OutOfRange, "dry_bulb"),
        ({"dry_bulb": 20.0, "relative_humidity": 1.1}, OutOfRange, "relative_humidity"),
        ({"dry_bulb": 20.0, "relative_humidity": 0.0}, OutOfRange, "relative_humidity"),
        ({"dry_bulb": 20.0, "humidity_ratio": 0.0}, OutOfRange, "humidity_ratio"),
        ({"dry_bulb": 120.0, "relative_humidity": 0.6}, OutOfRange, "relative_humidity"),
        ({"wet_bulb": 99.9, "humidity_ratio": 0.6}, Inconsistent, "wet_bulb"),
        ({"wet_bulb": 101.0, "relative_humidity": 0.5}, OutOfRange, "wet_bulb"),
        ({"wet_bulb": 20.0, "relative_humidity": 0.0}, OutOfRange, "relative_humidity"),
        ({"dew_point": 90.0, "relative_humidity": 0.01}, Inconsistent, "dew_point"),
        ({"dew_point": 90.0, "relative_humidity": 1e-5}, Inconsistent, "dew_point"),
        ({"dry_bulb": float("nan"), "relative_humidity": 0.5}, OutOfRange, "dry_bulb"),
    ],
)
def test_what_cannot_be_is_refused_by_name(
    given_pair: dict[str, float], error: type[Exception], name: str
) -> None:
    with pytest.raises(error) as caught:
        air_state(**given_pair)
    assert caught.value.name == name  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "given_pair, reason",
    [
        ({"dry_bulb": 20.0, "wet_bulb": 21.0}, "order"),
        ({"dry_bulb": 20.0, "humidity_ratio": 0.02}, "too-wet"),
        ({"wet_bulb": 10.0, "humidity_ratio": 0.02}, "too-wet"),
        ({"dry_bulb": 60.0, "wet_bulb": 15.0}, "too-dry"),
        ({"dew_point": 90.0, "relative_humidity": 0.01}, "out-of-domain"),
    ],
)
def test_impossible_air_says_why(given_pair: dict[str, float], reason: str) -> None:
    with pytest.raises(moist_air.ImpossibleAir) as caught:
        air_state(**given_pair)
    assert caught.value.reason == reason


def test_above_the_boiling_point_relative_humidity_has_a_ceiling_below_one() -> None:
    ceiling = float(moist_air.maximum_relative_humidity(120.0, 101_325.0))
    assert 0.50 < ceiling < 0.52
    air_state(dry_bulb=120.0, relative_humidity=0.99 * ceiling)
    with pytest.raises(OutOfRange) as caught:
        air_state(dry_bulb=120.0, relative_humidity=1.001 * ceiling)
    assert caught.value.allowed[1] == pytest.approx(ceiling)
    assert float(air_state(dry_bulb=120.0, relative_humidity=0.3).degree_of_saturation) == 0.0


def test_nothing_saturates_at_the_boiling_point() -> None:
    with pytest.raises(OutOfRange) as caught:
        moist_air.saturation_humidity_ratio(105.0, 101_325.0)
    assert caught.value.allowed[1] == pytest.approx(99.97, abs=0.01)


def test_a_bad_row_answers_for_itself() -> None:
    rows = air_state_rows(dry_bulb=[20.0, 500.0, 30.0, 20.0], dew_point=[10.0, 10.0, 40.0, 12.0])
    assert rows.index.tolist() == [0, 3]
    assert isinstance(rows.errors[1], OutOfRange)
    assert isinstance(rows.errors[2], moist_air.ImpossibleAir)
    assert sorted(rows.errors) == [1, 2]
    assert rows.errors[1].index == 1  # type: ignore[attr-defined]
    alone = air_state(dry_bulb=20.0, dew_point=12.0)
    assert rows.state.wet_bulb[1] == pytest.approx(alone.wet_bulb, rel=1e-12)


def test_rows_that_are_all_bad_still_answer() -> None:
    rows = air_state_rows(dry_bulb=[900.0, 800.0], relative_humidity=[0.5, 0.5])
    assert rows.index.size == 0
    assert rows.state.enthalpy.shape == (0,)
    assert sorted(rows.errors) == [0, 1]


@pytest.mark.parametrize("low, high", [([-1.0], [2.0]), (-1.0, 2.0)])
def test_an_iteration_without_an_end_says_where_it_stands(low: object, high: object) -> None:
    with pytest.raises(NotConverged) as caught:
        bracketed_newton(lambda x: (x, 0.0 * x), low, high, tolerance=-1.0, what="a test")
    assert caught.value.what == "a test"
    assert caught.value.bracket[0] <= 0.0 <= caught.value.bracket[1]


@given(root=st.floats(0.01, 0.99), power=st.sampled_from([1.0, 3.0, 9.0]))
def test_a_bracketed_root_is_found_one_by_one_and_together(root: float, power: float) -> None:
    def excess(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return x**power - root**power, power * x ** (power - 1.0)

    alone = bracketed_newton(excess, 0.0, 1.0, tolerance=1e-10, what="a root")
    together = bracketed_newton(excess, np.zeros(3), np.ones(3), tolerance=1e-10, what="roots")
    assert float(alone) == pytest.approx(root, abs=1e-9)
    assert together == pytest.approx(np.full(3, root), abs=1e-9)


# --- Processes ------------------------------------------------------------------------------


def total(processed: moist_air.Processed) -> float:
    """Enthalpy of air and condensed water, per dry air."""
    liquid = float(processed.condensed) - float(processed.ice)
    temperature = float(processed.state.dry_bulb)
    water = liquid * float(moist_air.condensed_enthalpy(temperature, ice=False))
    frost = float(processed.ice) * float(moist_air.condensed_enthalpy(temperature, ice=True))
    return float(processed.state.enthalpy) + water + frost


@given(
    first=st.tuples(st.floats(-40.0, 90.0), shares),
    second=st.tuples(st.floats(-40.0, 90.0), shares),
    flows=st.tuples(st.floats(0.01, 10.0), st.floats(0.01, 10.0)),
    pressure=pressures,
)
@example(first=(35.0, 0.95), second=(-5.0, 0.9), flows=(1.0, 1.0), pressure=101_325.0)
@example(first=(5.0, 0.99), second=(-15.0, 0.9), flows=(1.0, 3.0), pressure=101_325.0)
@example(first=(20.0, 1.0), second=(-25.0, 1.0), flows=(1.0, 1.14), pressure=101_325.0)
def test_mixing_conserves_water_and_enthalpy(
    first: tuple[float, float],
    second: tuple[float, float],
    flows: tuple[float, float],
    pressure: float,
) -> None:
    assume(all(moist_air.saturation_pressure(dry) < 0.99 * pressure for dry, _ in (first, second)))
    one, two = state_of(*first, pressure), state_of(*second, pressure)
    mixed = moist_air.mix(one, two, *flows)
    share = flows[0] / sum(flows)
    water = share * one.humidity_ratio + (1.0 - share) * two.humidity_ratio
    energy = share * one.enthalpy + (1.0 - share) * two.enthalpy
    assert float(mixed.state.humidity_ratio + mixed.condensed) == pytest.approx(water, rel=1e-12)
    assert total(mixed) == pytest.approx(float(energy), rel=1e-9, abs=1e-3)
    assert 0.0 <= mixed.ice <= mixed.condensed
    if mixed.condensed > 1e-12:
        assert float(mixed.state.relative_humidity) == pytest.approx(1.0, abs=1e-9)


def test_warm_wet_air_that_meets_cold_air_makes_fog() -> None:
    wet = air_state(dry_bulb=35.0, relative_humidity=0.95)
    cold = air_state(dry_bulb=-5.0, relative_humidity=0.9)
    mixed = moist_air.mix(wet, cold, 1.0, 1.0)
    assert mixed.condensed > 0.001
    assert mixed.ice == 0.0
    assert float(mixed.state.dry_bulb) > 15.0 - 1.0


def test_fog_that_settles_at_freezing_is_partly_ice() -> None:
    heat = float(moist_air.enthalpy(0.0, moist_air.saturation_humidity_ratio(0.0, 101_325.0)))
    slush = moist_air.settle(heat - 300.0, 0.006, 101_325.0)
    assert float(slush.state.dry_bulb) == pytest.approx(0.0, abs=1e-8)
    assert 0.0 < slush.ice < slush.condensed
    assert total(slush) == pytest.approx(heat - 300.0, rel=1e-9)


@given(state=states, share=st.floats(0.0, 1.0))
def test_cooling_conserves_water_and_energy_and_never_oversaturates(
    state: AirState, share: float
) -> None:
    target = -40.0 + share * (float(state.dry_bulb) + 40.0)
    cooled = moist_air.cool(state, min(target, float(state.dry_bulb)))
    assert float(cooled.state.humidity_ratio + cooled.condensed) == pytest.approx(
        float(state.humidity_ratio), rel=1e-12
    )
    assert total(cooled) - float(state.enthalpy) == pytest.approx(
        float(cooled.heat), rel=1e-9, abs=1e-3
    )
    assert cooled.heat <= 1e-6
    assert (cooled.condensed > 1e-12) <= (float(cooled.state.dry_bulb) <= state.dew_point + 1e-6)


@given(state=states, share=st.floats(0.0, 1.0))
def test_heating_keeps_the_water_and_lowers_relative_humidity(
    state: AirState, share: float
) -> None:
    target = float(state.dry_bulb) + share * (150.0 - float(state.dry_bulb))
    heated = moist_air.heat(state, min(target, 150.0))
    assert heated.state.humidity_ratio == state.humidity_ratio
    assert heated.state.relative_humidity <= state.relative_humidity * (1 + 1e-12)
    assert heated.heat >= 0.0
    assert heated.condensed == 0.0


@pytest.mark.parametrize("fuel", moist_air.FUELS.values(), ids=lambda fuel: fuel.id)
@given(dry=st.floats(-40.0, 40.0), share=shares, rise=st.floats(0.0, 100.0))
def test_a_direct_fired_burner_closes_its_energy_balance(
    fuel: moist_air.Fuel, dry: float, share: float, rise: float
) -> None:
    state = state_of(dry, share, 101_325.0)
    burned = moist_air.burn(state, dry + rise, fuel, burner="direct-fired")
    water_in = burned.combustion_water * moist_air.WATER_HEAT_CAPACITY * 25.0
    assert float(burned.state.enthalpy) == pytest.approx(
        float(state.enthalpy + burned.fuel_heat + water_in), rel=1e-9, abs=1e-3
    )
    assert float(burned.state.humidity_ratio) == pytest.approx(
        float(state.humidity_ratio + burned.fuel * fuel.water), rel=1e-12
    )


def test_a_direct_fired_burner_needs_the_lower_heating_value_and_wets_the_air() -> None:
    state = air_state(dry_bulb=10.0, relative_humidity=0.7)
    direct = moist_air.burn(state, 90.0, PROPANE, burner="direct-fired")
    indirect = moist_air.burn(state, 90.0, PROPANE, burner="indirect", efficiency=1.0)
    usual = moist_air.burn(state, 90.0, PROPANE, burner="indirect")
    assert direct.fuel > indirect.fuel
    assert direct.state.dew_point > state.dew_point == indirect.state.dew_point
    assert direct.fuel / indirect.fuel == pytest.approx(
        PROPANE.higher_heating_value / PROPANE.lower_heating_value, rel=0.01
    )
    assert usual.fuel == pytest.approx(indirect.fuel / moist_air.INDIRECT_EFFICIENCY)
    assert direct.humidity_rise_per_kelvin == pytest.approx(direct.combustion_water / 80.0)
    assert indirect.combustion_water == 0.0


def test_a_fan_warms_air_by_its_power() -> None:
    state = air_state(dry_bulb=20.0, relative_humidity=0.5)
    warmed = moist_air.warm_by_fan(state, 1_000.0, 0.5)
    assert float(warmed.heat) == pytest.approx(1_000.0 * float(state.specific_volume) / 0.5)
    assert 1.5 < float(warmed.state.dry_bulb - state.dry_bulb) < 1.8


def test_processes_refuse_the_wrong_direction_and_unknown_names() -> None:
    state = air_state(dry_bulb=20.0, relative_humidity=0.5)
    thin = air_state(80_000.0, dry_bulb=20.0, relative_humidity=0.5)
    with pytest.raises(Inconsistent):
        moist_air.heat(state, 19.0)
    with pytest.raises(Inconsistent):
        moist_air.cool(state, 21.0)
    with pytest.raises(Inconsistent):
        moist_air.burn(state, 19.0, PROPANE, burner="indirect")
    with pytest.raises(Inconsistent):
        moist_air.mix(state, thin, 1.0, 1.0)
    with pytest.raises(UnknownName):
        moist_air.burn(state, 50.0, PROPANE, burner="solar")
    with pytest.raises(UnknownName):
        moist_air.fuel_named("straw")
    with pytest.raises(OutOfRange):
        moist_air.standard_pressure(6_000.0)


def test_every_public_name_is_listed_once() -> None:
    assert len(set(moist_air.__all__)) == len(moist_air.__all__)
    assert all(hasattr(moist_air, name) for name in moist_air.__all__)
    assert len({method.id for method in moist_air.METHODS}) == len(moist_air.METHODS) == 7
