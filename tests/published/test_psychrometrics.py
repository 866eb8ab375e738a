"""Moist air against handbook tables and two general-purpose property libraries.

``psychrometrics.csv`` holds the handbook's rows and rows made once with a real-gas library. The
tolerances are the printed digits for worked examples, and elsewhere what an ideal gas may differ
by from real gas (0.1 % volume, 1 % humidity ratio and enthalpy, more near saturation, 0.15 to
0.3 K wet bulb, 0.2 K dew point). All rows are met.

Then the whole range is compared with both libraries as they are installed. Two corners matter:
hot humid air, where one library returns the dry bulb for the wet bulb; and dry air just above
freezing, where the wet bulb has two solutions and both libraries return the one over ice.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import psychrolib
import pytest
from CoolProp import CoolProp as coolprop  # noqa: N813

from outfeed import moist_air

TABLE = (Path(__file__).parent / "psychrometrics.csv").read_text(encoding="utf-8")
ROWS = list(csv.DictReader(TABLE.splitlines()))
INPUTS = ("dry_bulb", "wet_bulb", "relative_humidity")


def label(row: dict[str, str]) -> str:
    given = " ".join(f"{name}={row[name]}" for name in ("altitude", *INPUTS) if row[name])
    return f"{row['source']}: {row['quantity']} at {given} {row['pressure']}".strip()


def ours(row: dict[str, str]) -> float:
    if row["quantity"] == "standard_pressure":
        return float(moist_air.standard_pressure(float(row["altitude"])))
    if row["quantity"] == "saturation_pressure":
        return float(moist_air.saturation_pressure(float(row["dry_bulb"])))
    given = {name: float(row[name]) for name in INPUTS if row[name]}
    state = moist_air.air_state(float(row["pressure"]), **given)
    return float(getattr(state, row["quantity"]))


def test_the_table_holds_every_kind_of_row() -> None:
    kinds = [row["kind"] for row in ROWS]
    counts = {kind: kinds.count(kind) for kind in set(kinds)}
    assert counts == {"table": 11, "worked example": 5, "generated": 91}


@pytest.mark.parametrize("row", ROWS, ids=label)
def test_a_published_value_is_met(row: dict[str, str]) -> None:
    assert ours(row) == pytest.approx(float(row["value"]), abs=float(row["tolerance"]))


# --- The whole range against both libraries ------------------------------------------------

PRESSURES = (50_000.0, 80_000.0, 101_325.0, 110_000.0)
TEMPERATURES = (-40.0, -20.0, -5.0, 2.0, 10.0, 30.0, 50.0, 70.0, 90.0, 110.0, 130.0, 150.0)
SHARES = (0.02, 0.2, 0.6, 0.95)  # of the highest relative humidity that leaves a tenth of air

# Largest departure of an ideal gas from the real gas over this range: (absolute, relative).
IDEAL_GAS_MARGIN = {
    "wet_bulb": ("B", 0.15, 0.0),
    "dew_point": ("D", 0.2, 0.0),
    "humidity_ratio": ("W", 0.0, 0.013),
    "enthalpy": ("Hda", 250.0, 0.012),
    "specific_volume": ("Vda", 0.0, 0.012),
}


def grid() -> list[tuple[float, float, float]]:
    states = []
    for pressure in PRESSURES:
        for dry in TEMPERATURES:
            highest = min(1.0, 0.9 * pressure / float(moist_air.saturation_pressure(dry)))
            states += [(dry, share * highest, pressure) for share in SHARES]
    return states


def real_gas(key: str, dry: float, humidity: float, pressure: float) -> float:
    value: float = coolprop.HAPropsSI(key, "T", dry + 273.15, "P", pressure, "R", humidity)
    return value - 273.15 if key in "BD" else value


def has_two_wet_bulbs(dry: float, humidity: float, pressure: float) -> bool:
    """Whether adiabatic saturation closes both over water above 0 degC and over ice below it."""
    bulb = float(moist_air.air_state(pressure, dry_bulb=dry, relative_humidity=humidity).wet_bulb)
    return 0.0 <= bulb < 1.0 and dry > 2.0


@pytest.mark.parametrize("quantity", IDEAL_GAS_MARGIN)
def test_every_state_is_that_of_the_real_gas_within_an_ideal_gas_margin(quantity: str) -> None:
    key, absolute, relative = IDEAL_GAS_MARGIN[quantity]
    compared = 0
    for dry, humidity, pressure in grid():
        if quantity == "wet_bulb" and has_two_wet_bulbs(dry, humidity, pressure):
            continue
        state = moist_air.air_state(pressure, dry_bulb=dry, relative_humidity=humidity)
        expected = real_gas(key, dry, humidity, pressure)
        found = float(getattr(state, quantity))
        where = f"{dry} degC, {humidity:.4f}, {pressure} Pa"
        assert found == pytest.approx(expected, abs=absolute, rel=relative), where
        compared += 1
    assert compared >= 185


def test_the_ideal_gas_library_agrees_wherever_it_can_be_right() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    compared = 0
    for dry, humidity, pressure in grid():
        state = moist_air.air_state(pressure, dry_bulb=dry, relative_humidity=humidity)
        boiling = float(moist_air.saturation_temperature(pressure))
        bulb, dew = float(state.wet_bulb), float(state.dew_point)
        ratio = psychrolib.GetHumRatioFromRelHum(dry, humidity, pressure)
        assert float(state.humidity_ratio) == pytest.approx(ratio, rel=1e-4)
        assert dew == pytest.approx(psychrolib.GetTDewPointFromRelHum(dry, humidity), abs=2e-3)
        if dry < boiling - 1.0 and not has_two_wet_bulbs(dry, humidity, pressure):
            expected = psychrolib.GetTWetBulbFromRelHum(dry, humidity, pressure)
            assert bulb == pytest.approx(expected, abs=2e-3), (dry, humidity, pressure)
            compared += 1
    assert compared >= 100


@pytest.mark.parametrize(
    "dry, humidity, pressure",
    [
        (130.0, 0.10, 95_000.0),
        (115.0, 0.30, 95_000.0),
        (125.0, 0.20, 95_000.0),
        (120.0, 0.30, 101_325.0),
        (149.0, 0.04, 101_325.0),
    ],
)
def test_hot_humid_air_has_the_real_gas_wet_bulb_where_one_library_returns_the_dry_bulb(
    dry: float, humidity: float, pressure: float
) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    state = moist_air.air_state(pressure, dry_bulb=dry, relative_humidity=humidity)
    assert float(state.wet_bulb) == pytest.approx(real_gas("B", dry, humidity, pressure), abs=0.15)
    wrong = psychrolib.GetTWetBulbFromRelHum(dry, humidity, pressure)
    assert wrong - float(state.wet_bulb) > 30.0
    assert wrong == pytest.approx(dry, abs=0.01)


def test_dry_air_just_above_freezing_keeps_a_wet_bulb_over_water() -> None:
    """8.89 degC at 6.6 %: +0.40 degC over water, -0.2 degC over ice; both close the balance."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    state = moist_air.air_state(dry_bulb=8.89, relative_humidity=0.066)
    bulb = float(state.wet_bulb)
    assert bulb == pytest.approx(0.40, abs=0.01)
    saturated = psychrolib.GetHumRatioFromRelHum(bulb, 1.0, 101_325.0)
    handbook = ((2501 - 2.326 * bulb) * saturated - 1.006 * (8.89 - bulb)) / (
        2501 + 1.86 * 8.89 - 4.186 * bulb
    )
    assert float(state.humidity_ratio) == pytest.approx(handbook, abs=1e-7)
    assert psychrolib.GetTWetBulbFromRelHum(8.89, 0.066, 101_325.0) == pytest.approx(
        -0.22, abs=0.02
    )
    assert real_gas("B", 8.89, 0.066, 101_325.0) == pytest.approx(-0.25, abs=0.02)


# --- Fuel and its water ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "fuel, water, higher, lower",
    [
        # Balanced by hand: C3H8 + 5 O2 -> 3 CO2 + 4 H2O; 4 x 18.015 / 44.097.
        # Heats: NIST Chemistry WebBook, 2219.2 and 890.7 kJ/mol (recalled); lower: minus 44.0
        # kJ per mole of water.
        ("propane", 4 * 18.015 / 44.097, 2219.2 / 44.097, (2219.2 - 4 * 44.0) / 44.097),
        ("natural-gas", 2 * 18.015 / 16.043, 890.7 / 16.043, (890.7 - 2 * 44.0) / 16.043),
    ],
)
def test_combustion_water_and_heat_follow_from_the_reaction(
    fuel: str, water: float, higher: float, lower: float
) -> None:
    found = moist_air.fuel_named(fuel)
    assert found.water == pytest.approx(water, rel=2e-4)
    assert found.higher_heating_value == pytest.approx(higher * 1e6, rel=2e-4)
    assert found.lower_heating_value == pytest.approx(lower * 1e6, rel=3e-4)
    assert 1.0 + found.oxygen == pytest.approx(found.water + found.carbon_dioxide, rel=1e-12)


def test_a_gallon_of_propane_holds_the_published_heat() -> None:
    """US EIA: 91,333 Btu per gallon (higher heating value), at 4.23 lb per gallon (recalled)."""
    kilograms = 4.23 * 0.45359237
    btu = moist_air.fuel_named("propane").higher_heating_value * kilograms / 1055.056
    assert btu == pytest.approx(91_333, rel=0.01)


def test_direct_fired_heat_shows_as_lower_heating_value_in_a_real_gas() -> None:
    """Heating 15 degC air to 95 degC by propane: fuel from real-gas dry-air enthalpies alone."""
    state = moist_air.air_state(dry_bulb=15.0, relative_humidity=0.7)
    fuel = moist_air.fuel_named("propane")
    burned = moist_air.burn(state, 95.0, fuel, burner="direct-fired")
    water = float(state.humidity_ratio)
    before = coolprop.HAPropsSI("Hda", "T", 288.15, "P", 101_325.0, "W", water)
    after = coolprop.HAPropsSI("Hda", "T", 368.15, "P", 101_325.0, "W", water)
    expected = (after - before) / fuel.lower_heating_value
    assert float(burned.fuel) == pytest.approx(expected, rel=0.01)
    assert float(burned.state.humidity_ratio) == pytest.approx(
        water + expected * 4 * 18.015 / 44.097, rel=0.003
    )


def test_the_range_of_the_saturation_equations_is_the_published_one() -> None:
    ends = moist_air.saturation_pressure(np.array([-100.0, 200.0]))
    # ASHRAE Handbook 2017, chapter 1, table 3: 0.00140 Pa at -100 degC; 1554.9 kPa near 200 degC.
    assert ends == pytest.approx([0.001405, 1_554_900.0], rel=5e-4)
