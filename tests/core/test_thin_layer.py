"""Properties that every thin-layer law must have."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed import thin_layer
from outfeed.errors import OutOfRange, UnknownName
from outfeed.numbers import ARRAYS, FLOATS
from outfeed.rate_laws import EQUIVALENT_TIME_FLOOR, PIVOT_TEMPERATURE, Exponential
from outfeed.thin_layer import DIFFUSION, LAWS, METHODS, THOMPSON

temperatures = st.floats(30.0, 110.0)
laws = st.sampled_from(sorted(LAWS))


def test_every_law_has_a_method_and_every_method_a_law():
    assert {method.id for method in METHODS} == set(LAWS)


@given(laws, temperatures, st.floats(0.3, 0.65))
def test_time_is_the_inverse_of_ratio(method, temperature, humidity):
    state = {"initial_moisture_db": 0.3, "relative_humidity": humidity}
    time = thin_layer.equivalent_time(method, 0.4, temperature, **state)
    ratio = thin_layer.moisture_ratio(method, time, temperature, **state)
    assert ratio == pytest.approx(0.4, rel=1e-9)


@given(laws, temperatures, st.floats(0.35, 0.6))
def test_rate_form_is_the_slope_of_the_printed_law(method, temperature, humidity):
    first, equilibrium = 0.3, 0.03
    state = {"initial_moisture_db": first, "relative_humidity": humidity}
    time = 2.0 * EQUIVALENT_TIME_FLOOR + thin_layer.equivalent_time(
        method, 0.6, temperature, **state
    )
    step = 1e-4 * time
    before, here, after = (
        float(thin_layer.moisture_ratio(method, time + shift, temperature, **state))
        for shift in (-step, 0.0, step)
    )
    kappa = thin_layer.drying_constant(
        method,
        temperature,
        moisture_db=equilibrium + here * (first - equilibrium),
        equilibrium_moisture_db=equilibrium,
        **state,
    )
    assert kappa == pytest.approx((before - after) / (2.0 * step) / here, rel=1e-4)


@given(laws, temperatures, st.floats(0.05, 0.9), st.floats(0.04, 0.5))
def test_floats_and_arrays_give_the_same_rate(method, temperature, humidity, moisture):
    state = (temperature, humidity, moisture, 0.05, 0.4)
    plain = LAWS[method].rate(FLOATS)(*state)
    array = LAWS[method].rate(ARRAYS)(*(np.array([value]) for value in state))
    assert math.isfinite(plain)
    assert plain >= 0.0
    assert np.all(np.abs(array - plain) <= 1e-12 * abs(plain))


@given(st.sampled_from([DIFFUSION, THOMPSON]), st.floats(10.0, 100.0))
def test_corn_dries_faster_when_hotter(method, temperature):
    state = {
        "moisture_db": 0.25,
        "equilibrium_moisture_db": 0.05,
        "initial_moisture_db": 0.3,
    }
    cooler, hotter = thin_layer.drying_constant(method, [temperature, temperature + 5.0], **state)
    assert hotter > cooler


def test_another_activation_energy_keeps_the_rate_at_the_pivot():
    published = LAWS[DIFFUSION]
    assert isinstance(published, Exponential)
    steeper = published.with_activation_energy(40_000.0)
    at = PIVOT_TEMPERATURE
    rates = [law.rate(FLOATS)(at, 0.3, 0.2, 0.05, 0.3) for law in (published, steeper)]
    assert rates[0] == pytest.approx(rates[1], rel=1e-12)
    assert steeper.activation > published.activation


def test_an_unknown_law_is_named_together_with_the_known_ones():
    with pytest.raises(UnknownName, match="known: kinetics"):
        thin_layer.law("kinetics.nobody")


def test_a_moisture_ratio_of_zero_has_no_time():
    with pytest.raises(OutOfRange):
        thin_layer.equivalent_time(DIFFUSION, 0.0, 60.0)


def test_thompson_refuses_a_first_moisture_at_or_below_its_reference():
    with pytest.raises(OutOfRange, match="moisture at which drying began"):
        thin_layer.drying_constant(
            THOMPSON,
            60.0,
            moisture_db=0.02,
            equilibrium_moisture_db=0.01,
            initial_moisture_db=0.03,
        )
