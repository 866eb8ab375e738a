"""Properties of the isotherms: inverses, direction, agreement of heat with humidity, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed import Inconsistent, NotPublished, OutOfRange, UnknownName
from outfeed.grains import IsothermSet, grain_ids, load_grain
from outfeed.isotherm_spread import humidity_band, moisture_band
from outfeed.isotherms import FORMS
from outfeed.moist_air import VAPOUR_GAS_CONSTANT, saturation_pressure
from outfeed.sorption import (
    EXTENSION_MEAN,
    FITTED_HUMIDITY,
    METHODS,
    Isotherm,
    MeanIsotherm,
    air_over_grain,
    answerable,
    answerable_over_grain,
    choose_isotherm,
    equilibrium_moisture,
    equilibrium_relative_humidity,
    extrapolates,
    isosteric_heat,
    isotherm_method,
    isotherms_of,
    net_isosteric_heat,
    own_isotherm,
)

CORN = load_grain("corn-yellow-dent")
CHUNG_PFOST = choose_isotherm(CORN, "emc.chung-pfost-modified.d245-4")
# Invented constants in the usual range for cereal starch, so that the form without temperature is
# exercised too.
GAB = own_isotherm("gab", 7.5, 0.72, 18.0)

ALL: list[tuple[str, Isotherm]] = [
    (grain, isotherm) for grain in grain_ids() for isotherm in isotherms_of(load_grain(grain))
]
ALL.append(("own", GAB))

each_isotherm = pytest.mark.parametrize(
    "isotherm", [one for _, one in ALL], ids=[f"{grain} {one.method}" for grain, one in ALL]
)
TEMPERATURES = np.linspace(-20.0, 110.0, 14)
HUMIDITIES = np.linspace(0.05, 0.98, 32)


def grid(isotherm: Isotherm) -> tuple[np.ndarray, np.ndarray]:
    warm, humid = np.meshgrid(TEMPERATURES, HUMIDITIES, indexing="ij")
    good = answerable(isotherm, warm, humid)
    assert good.mean() > 0.9
    return warm[good], humid[good]


def test_every_form_is_exercised() -> None:
    assert {one.form for _, one in ALL if isinstance(one, IsothermSet)} == set(FORMS)
    assert sum(isinstance(one, MeanIsotherm) for _, one in ALL) == 3


@each_isotherm
def test_humidity_leads_back_to_itself(isotherm: Isotherm) -> None:
    warm, humid = grid(isotherm)
    moisture = equilibrium_moisture(isotherm, warm, humid)
    assert np.all(moisture >= 0.0)
    again = equilibrium_relative_humidity(isotherm, warm, moisture)
    assert again == pytest.approx(humid, abs=1e-11)


@each_isotherm
def test_moisture_leads_back_to_itself(isotherm: Isotherm) -> None:
    moisture = np.array([0.06, 0.10, 0.15, 0.20, 0.25])
    warm = np.array([[5.0], [25.0], [50.0]])
    humid = equilibrium_relative_humidity(isotherm, warm, moisture)
    inside = humid < 0.998
    assert inside.sum() >= 9
    again = equilibrium_moisture(
        isotherm, np.broadcast_to(warm, humid.shape)[inside], humid[inside]
    )
    assert again == pytest.approx(np.broadcast_to(moisture, humid.shape)[inside], rel=1e-9)


@each_isotherm
def test_moisture_rises_with_humidity_and_falls_with_temperature(isotherm: Isotherm) -> None:
    by_humidity = equilibrium_moisture(isotherm, 25.0, HUMIDITIES[HUMIDITIES > 0.10])
    assert np.all(np.diff(by_humidity) > 0.0)
    by_temperature = equilibrium_moisture(isotherm, np.linspace(0.0, 55.0, 12), 0.6)
    change = np.diff(by_temperature)
    assert np.all(change < 0.0) or (isotherm is GAB and np.all(change == 0.0))


@each_isotherm
def test_heat_of_sorption_is_the_slope_of_humidity_with_temperature(isotherm: Isotherm) -> None:
    warm = np.array([[-10.0], [10.0], [30.0], [55.0], [90.0]])
    moisture = np.array([0.07, 0.12, 0.18, 0.25])
    step = 1e-3
    high, low = (
        np.log(equilibrium_relative_humidity(isotherm, warm + side, moisture))
        for side in (step, -step)
    )
    expected = VAPOUR_GAS_CONSTANT * (warm + 273.15) ** 2 * (high - low) / (2.0 * step)
    heat = net_isosteric_heat(isotherm, warm, moisture)
    assert heat == pytest.approx(expected, rel=1e-5, abs=0.5)
    assert np.all(heat >= 0.0)


@each_isotherm
def test_heat_of_sorption_falls_with_moisture(isotherm: Isotherm) -> None:
    heat = net_isosteric_heat(isotherm, 40.0, np.linspace(0.05, 0.35, 20))
    assert np.all(np.diff(heat) < 0.0) or isotherm is GAB
    total = isosteric_heat(isotherm, 40.0, 0.35)
    assert total - heat[-1] == pytest.approx(2.501e6 - 2_326.0 * 40.0)


@each_isotherm
def test_arrays_answer_as_scalars_do(isotherm: Isotherm) -> None:
    warm, humid = np.array([5.0, 25.0, 45.0]), np.array([0.3, 0.6, 0.9])
    moisture = equilibrium_moisture(isotherm, warm, humid)
    for i in range(3):
        alone = equilibrium_moisture(isotherm, float(warm[i]), float(humid[i]))
        assert np.ndim(alone) == 0
        assert alone == pytest.approx(moisture[i], rel=1e-12)
        back = equilibrium_relative_humidity(isotherm, float(warm[i]), float(moisture[i]))
        assert np.ndim(back) == 0
        assert back == pytest.approx(humid[i], abs=1e-11)


@given(warm=st.floats(-40.0, 150.0), humid=st.floats(0.0, 0.999))
def test_an_isotherm_answers_with_a_moisture_or_refuses(warm: float, humid: float) -> None:
    for _, isotherm in ALL:
        if answerable(isotherm, warm, humid):
            moisture = float(equilibrium_moisture(isotherm, warm, humid))
            assert np.isfinite(moisture)
            assert moisture >= 0.0
        else:
            with pytest.raises(OutOfRange):
                equilibrium_moisture(isotherm, warm, humid)


@given(warm=st.floats(-25.0, 150.0), moisture=st.floats(0.0, 1.5))
def test_humidity_over_grain_is_always_a_fraction(warm: float, moisture: float) -> None:
    for isotherm in CORN.isotherms:
        assert 0.0 <= equilibrium_relative_humidity(isotherm, warm, moisture) <= 1.0


# --- Corners --------------------------------------------------------------------------------


def test_chung_pfost_refuses_hot_dry_air_where_it_would_go_negative() -> None:
    assert not answerable(CHUNG_PFOST, 110.0, 0.02)
    with pytest.raises(OutOfRange) as caught:
        equilibrium_moisture(CHUNG_PFOST, [50.0, 110.0], [0.5, 0.02])
    assert caught.value.name == "relative_humidity"
    assert caught.value.index == 1
    assert caught.value.method == "emc.chung-pfost-modified.d245-4"
    edge = caught.value.allowed[0]
    assert float(equilibrium_moisture(CHUNG_PFOST, 110.0, edge)) == pytest.approx(0.0, abs=1e-9)
    assert float(equilibrium_moisture(choose_isotherm(CORN), 110.0, 0.02)) > 0.0


def test_constants_refuse_a_temperature_at_which_they_lose_their_meaning() -> None:
    with pytest.raises(OutOfRange) as caught:
        equilibrium_moisture(CHUNG_PFOST, -35.0, 0.6)
    assert caught.value.name == "temperature"
    assert caught.value.allowed == (-30.205, 150.0)
    oswin = own_isotherm("oswin-modified", 12.0, -0.12, 3.0)
    with pytest.raises(OutOfRange):
        equilibrium_relative_humidity(oswin, 101.0, 0.1)


def test_saturated_air_is_refused_and_bone_dry_air_is_not() -> None:
    henderson = choose_isotherm(CORN)
    with pytest.raises(OutOfRange):
        equilibrium_moisture(henderson, 20.0, 1.0)
    for isotherm in (henderson, GAB, choose_isotherm(load_grain("soybean"))):
        assert equilibrium_moisture(isotherm, 20.0, 0.0) == 0.0
        assert equilibrium_relative_humidity(isotherm, 20.0, 0.0) == 0.0


def test_a_moisture_that_no_grain_has_is_refused() -> None:
    halsey = choose_isotherm(load_grain("soybean"))
    assert answerable(halsey, 20.0, 0.95)
    assert not answerable(halsey, 20.0, 0.995)
    with pytest.raises(OutOfRange, match="equilibrium moisture"):
        equilibrium_moisture(halsey, [20.0, 20.0], [0.5, 0.995])
    with pytest.raises(OutOfRange):
        equilibrium_moisture(CHUNG_PFOST, -30.2, 0.0)


def test_the_mean_refuses_a_moisture_below_its_reach() -> None:
    mean = choose_isotherm(CORN, EXTENSION_MEAN)
    with pytest.raises(OutOfRange) as caught:
        equilibrium_relative_humidity(mean, [20.0, 110.0], [0.14, 0.001])
    assert caught.value.name == "moisture_db"
    assert caught.value.index == 1


def test_the_mean_is_the_mean_and_is_offered_where_tables_quote_it() -> None:
    mean = choose_isotherm(CORN, EXTENSION_MEAN)
    assert isinstance(mean, MeanIsotherm)
    each = [equilibrium_moisture(part, 27.0, HUMIDITIES) for part in mean.parts]
    assert equilibrium_moisture(mean, 27.0, HUMIDITIES) == pytest.approx(np.mean(each, axis=0))
    offering = {
        g
        for g in grain_ids()
        if any(one.method == EXTENSION_MEAN for one in isotherms_of(load_grain(g)))
    }
    assert offering == {"corn-yellow-dent", "barley", "soybean"}


def test_air_over_grain_carries_its_vapour_pressure_and_dew_point() -> None:
    henderson = choose_isotherm(CORN)
    air = air_over_grain(henderson, np.array([10.0, 30.0]), 0.18)
    assert air.vapour_pressure == pytest.approx(
        air.relative_humidity * saturation_pressure(np.array([10.0, 30.0]))
    )
    assert saturation_pressure(air.dew_point) == pytest.approx(air.vapour_pressure)
    assert np.all(air.dew_point < [10.0, 30.0])
    with pytest.raises(OutOfRange) as caught:
        air_over_grain(henderson, 20.0, 0.0)
    assert caught.value.name == "moisture_db"


@given(warm=st.floats(-40.0, 150.0), moisture=st.floats(0.0, 0.4))
def test_air_over_grain_is_answered_exactly_where_it_says_so(warm: float, moisture: float) -> None:
    for _, isotherm in ALL[:6]:
        if answerable_over_grain(isotherm, warm, moisture):
            assert np.isfinite(air_over_grain(isotherm, warm, moisture).dew_point)
        else:
            with pytest.raises(OutOfRange):
                air_over_grain(isotherm, warm, moisture)


def test_heat_of_very_dry_grain_is_refused() -> None:
    with pytest.raises(OutOfRange) as caught:
        net_isosteric_heat(choose_isotherm(CORN), 20.0, 0.001)
    assert caught.value.name == "moisture_db"


@given(warm=st.floats(0.0, 55.0), humid=st.floats(0.1, 0.95))
def test_the_band_holds_every_set(warm: float, humid: float) -> None:
    band = moisture_band(CORN.isotherms, warm, humid)
    values = [float(equilibrium_moisture(one, warm, humid)) for one in CORN.isotherms]
    # numbers one by one and in arrays may differ in the last bit
    assert (band.low, band.high) == pytest.approx((min(values), max(values)), rel=1e-12)
    assert band.sets == 5
    spread = humidity_band(CORN.isotherms, warm, values[0])
    humidities = [
        float(equilibrium_relative_humidity(one, warm, values[0])) for one in CORN.isotherms
    ]
    assert (spread.low, spread.high) == pytest.approx((min(humidities), max(humidities)), rel=1e-9)
    assert spread.sets == 5
    assert spread.low <= humid + 1e-12
    assert spread.high >= humid - 1e-12


def test_the_band_leaves_out_sets_without_a_value() -> None:
    band = moisture_band(CORN.isotherms, np.array([20.0, 110.0]), np.array([0.5, 0.02]))
    assert band.sets.tolist() == [5, 3]
    with pytest.raises(OutOfRange):
        moisture_band((CHUNG_PFOST,), 110.0, 0.02)


def test_extrapolation_is_flagged_outside_the_fitted_air() -> None:
    flags = extrapolates([20.0, 56.0, -1.0, 20.0, 20.0], [0.5, 0.5, 0.5, 0.09, 0.96])
    assert flags.tolist() == [False, True, True, True, True]
    assert FITTED_HUMIDITY.low == 0.10


# --- Choice ---------------------------------------------------------------------------------


def test_a_grain_without_constants_says_so() -> None:
    with pytest.raises(NotPublished):
        choose_isotherm(load_grain("flax"))
    with pytest.raises(NotPublished):
        choose_isotherm(load_grain("flax"), EXTENSION_MEAN)


def test_an_unknown_method_lists_those_offered() -> None:
    with pytest.raises(UnknownName) as caught:
        choose_isotherm(CORN, "emc.gab.d245-4")
    assert EXTENSION_MEAN in caught.value.known
    assert len(caught.value.known) == 6


@pytest.mark.parametrize(
    "form, constants",
    [
        ("henderson-modified", (-1e-5, 2.0, 50.0)),
        ("henderson-modified", (1.86, 8033.0, 7834.0)),
        ("oswin-modified", (12.0, -0.1, 0.001)),
        ("chung-pfost-modified", (300.0, -0.2, 30.0)),
        ("halsey-modified", (3.0, -0.005, 0.0)),
        ("oswin-modified", (-12.0, 0.1, 3.0)),
        ("gab", (7.0, 1.2, 18.0)),
    ],
)
def test_constants_that_mean_nothing_are_refused(
    form: str, constants: tuple[float, float, float]
) -> None:
    with pytest.raises(Inconsistent):
        own_isotherm(form, *constants)


def test_own_constants_are_checked_for_form_and_size() -> None:
    with pytest.raises(UnknownName):
        own_isotherm("linear", 1.0, 1.0, 1.0)
    with pytest.raises(OutOfRange):
        own_isotherm("gab", 1e9, 0.7, 10.0)
    assert isotherm_method(GAB).known == "given"


def test_every_catalogued_set_has_its_method_in_the_registry_list() -> None:
    listed = {method.id for method in METHODS}
    assert {one.method for grain, one in ALL if grain != "own"} <= listed
    assert isotherm_method(CORN.isotherms[0]).known == CORN.isotherms[0].known
