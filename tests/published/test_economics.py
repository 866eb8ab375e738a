"""Money, energy and capacity of whole loads, runs and seasons against published figures.

The discount example prints $3,110 for 1,000 wet bushels because it rounds a discount of 38.5 cents
to 39; the exact $3,115 is held, and the printed figure within that rounding.

Not held: the throughputs of a cross-flow wheat dryer (2.2 t/h at 65.5 degC from 20 to 15 %, 0.45 to
12.5 t/h over its range; Nellist 1987, J. Agric. Eng. Res. 37:43-57). What was read of them names no
bed, no airflow and no area, so any dryer could be made to meet them.
"""

from __future__ import annotations

import numpy as np
import pytest

from outfeed.ability import DescribedDryer, KnownRate, ability_of
from outfeed.cooling import DRYERATION, PROMPT, discharge_moisture_for
from outfeed.cost import EnergyUse, Prices, drying_cost
from outfeed.dryer.assume import SPECIFIC_ENERGY
from outfeed.dryer.description import Dryer, Zone
from outfeed.fuel import load_fuel
from outfeed.grains import load_grain
from outfeed.review import review
from outfeed.runlog import RunLog
from outfeed.season import Season, discharge_target
from outfeed.settlement import CENT, POUND, Load, Terms, settle_loads
from outfeed.shrink import BuyerRule
from outfeed.weather import Weather

BTU_PER_POUND = 1055.05585262 / POUND  # J/kg
CORN_BUSHEL, SOYBEAN_BUSHEL = 56.0 * POUND, 60.0 * POUND
ISU = "Iowa State University Extension, TeBockhorst and Shouse"
NEBRASKA = "University of Nebraska-Lincoln CropWatch 2017"
OHIO = "Ohio State University AGF-502"
BRINKER = "Brinker and Johnson 2010, ASABE 1008958"
NDSU = "Hellevang, North Dakota State University"


def _id(value):
    return value if isinstance(value, str) and len(value) > 8 else ""


def settled(weight, moisture, price, **rule):
    terms = Terms(BuyerRule(name="buyer", **{"factor": 0.0} | rule), price)
    return settle_loads([Load("1", weight, moisture)], [terms]).total


def test_a_statement_pays_3115_dollars_for_wet_corn_at_2_percent_a_point():
    lines = settled(
        1000 * CORN_BUSHEL, 0.205, 3.50 / CORN_BUSHEL, base_moisture_wb=0.15, price_discount=2.0
    )
    assert lines.payable * CENT == pytest.approx(3115.0, abs=0.005)
    assert lines.payable * CENT == pytest.approx(3110.0, abs=0.005 * 1000 + 0.005), ISU


def test_a_statement_charges_264_dollars_for_drying_5_5_points_at_4_8_cents():
    lines = settled(
        1000 * CORN_BUSHEL, 0.205, 3.50 / CORN_BUSHEL, base_moisture_wb=0.15,
        drying_charge=0.048 / CORN_BUSHEL / 0.01,
    )  # fmt: skip
    assert lines.drying_charge * CENT == pytest.approx(264.0, abs=0.005), ISU


def test_a_statement_takes_the_crop_insurance_factor_of_1_2_percent_a_point():
    lines = settled(1000 * CORN_BUSHEL, 0.20, 1.0, base_moisture_wb=0.15, factor=1.2)
    assert lines.net * POUND / CORN_BUSHEL == pytest.approx(940.0, abs=0.5), "USDA practice"


@pytest.mark.parametrize(
    "moisture, pounds, source",
    [
        (0.165, 56.67, OHIO), (0.235, 61.86, OHIO), (0.245, 62.68, OHIO), (0.25, 63.09, OHIO),
        (0.255, 63.52, OHIO), (0.26, 63.95, OHIO), (0.27, 64.82, OHIO),
    ],
    ids=_id,
)  # fmt: skip
def test_true_water_shrink_turns_printed_wet_pounds_into_a_dry_bushel(moisture, pounds, source):
    terms = Terms(BuyerRule(0.155, 0.0, name="buyer"), 0.2, shrink_kind="water")
    lines = settle_loads([Load("1", 1000 * pounds * POUND, moisture)], [terms]).total
    assert lines.net / 1000 == pytest.approx(56.0, abs=0.006), source


def run_at(energy, inlet, outlet, kind=None, **kwargs):
    """Review of a steady invented run that burns a given heat per water."""
    rows = 400
    rate = 5.0
    water = rate * (1 - outlet) * (inlet / (1 - inlet) - outlet / (1 - outlet))
    log = RunLog(
        times_s=np.arange(rows) * 600.0,
        rate=np.full(rows, rate),
        moisture_in=np.full(rows, inlet),
        moisture_out=np.full(rows, outlet),
        heat=np.full(rows, water * energy),
    )
    return review(log, target_wb=outlet, hold_up=15_000.0, kind=kind, **kwargs)


@pytest.mark.parametrize(
    "btu, kilojoules, outlet, kind, verdict, source",
    [
        (1065.0, 2477.0, 0.14, "mixed-flow", "below", BRINKER),
        (1880.0, 4374.0, 0.17, "cross-flow", "inside", BRINKER),
        (2000.0, 4652.0, 0.15, "mixed-flow", "inside", "Sanford, University of Wisconsin"),
    ],
    ids=_id,
)
def test_a_measured_season_is_reviewed_as_printed(btu, kilojoules, outlet, kind, verdict, source):
    """1,065 Btu/lb is near the latent heat: the review calls it below what others published."""
    energy = run_at(btu * BTU_PER_POUND, 0.25, outlet, kind).energy
    half_a_btu = 0.5 * BTU_PER_POUND / 1000
    assert energy.per_water / 1000 == pytest.approx(kilojoules, abs=half_a_btu), source
    assert energy.verdict == verdict


def test_two_hundredths_of_a_gallon_a_point_are_2761_btu_per_pound():
    gallon, pounds_a_point = 91_500.0, 0.663
    energy = run_at(0.02 * gallon / pounds_a_point * BTU_PER_POUND, 0.205, 0.155, "cross-flow")
    assert energy.energy.per_water / BTU_PER_POUND == pytest.approx(2761.0, abs=1.0)
    assert energy.energy.verdict == "inside"


@pytest.mark.parametrize(
    "sold, percent, tolerance, source",
    [
        (0.08, 5.43, 0.005, NEBRASKA), (0.09, 4.40, 0.01, NEBRASKA), (0.10, 3.3, 0.05, NEBRASKA),
        (0.11, 2.25, 0.01, NEBRASKA), (0.12, 1.14, 0.005, NEBRASKA),
    ],
    ids=_id,
)  # fmt: skip
def test_over_dried_soybeans_give_up_the_printed_share(sold, percent, tolerance, source):
    over = run_at(5e6, 0.18, sold, market_wb=0.13).over_dried
    could_have_sold = over.grain + over.weight_given_away
    assert over.weight_given_away / could_have_sold * 100 == pytest.approx(
        percent, abs=tolerance
    ), source


def test_nine_percent_soybeans_lose_about_30_dollars_an_acre():
    over = run_at(5e6, 0.18, 0.09, market_wb=0.13, grain_price=9.0 / SOYBEAN_BUSHEL).over_dried
    share = over.weight_given_away / (over.grain + over.weight_given_away)
    assert 75.0 * share == pytest.approx(3.3, abs=0.05)  # bushels an acre
    assert 75.0 * share * 9.0 == pytest.approx(30.0, abs=0.5), NEBRASKA


def test_cooling_in_storage_takes_about_a_point_and_gains_no_more_than_40_percent():
    """The printed gain of 20 to 40 % also counts a cooling zone turned to heat; ours does not."""
    corn, air = load_grain("corn-yellow-dent"), Weather(0.0, np.full(2, 10.0), np.full(2, 0.7))
    run = KnownRate(6.0, 0.20, 0.15, 10.0, plenum=93.0, kind="mixed-flow")
    plan = Season(corn, air, _one_lot(), run, np.ones(2), 1e5, 0.15, cooling=PROMPT)
    target = discharge_target(plan)
    assert (target - 0.15) * 100 == pytest.approx(1.0, abs=0.25), NDSU
    plain, hot = (ability_of(run, air, corn, end, 0.20).rate[0, -1] for end in (0.15, target))
    assert 1.15 <= hot / plain <= 1.40, NDSU


BESIDE = "MidWest Plan Service, quoted in a farm paper: steep and cool 60 %, combination 250 %"


def corn_rate(kind, target, *, cooled):
    """Rate of an invented dryer at 210 degF, corn from 25 %; a third of its bed cools or heats.

    The bed, its airflow and that share are chosen, no source.
    """
    air = {"mixed-flow": 0.7, "cross-flow": 1.2}[kind]
    parts = (
        Zone("upper", "heated", volume=20.0, plenum_temperature=99.0, airflow_per_volume=air),
        Zone("lower", "cooling" if cooled else "heated", volume=10.0,
             plenum_temperature=None if cooled else 99.0, airflow_per_volume=air),
    )  # fmt: skip
    dryer = Dryer(kind, parts, cross_section=5.0, column_thickness=0.3)
    corn, weather = load_grain("corn-yellow-dent"), Weather(0.0, np.full(2, 10.0), np.full(2, 0.7))
    return ability_of(DescribedDryer(dryer), weather, corn, target, 0.25).rate[0, -1]


@pytest.mark.parametrize("kind", ["mixed-flow", "cross-flow"])
def test_a_dryer_that_need_not_cool_gains_throughput_about_as_printed(kind):
    """Both ways turn the cooling zone to heat; combination drying leaves the rest to natural air.

    It stops at 22 %, the wet end of what is common (20 to 22 %, recalled); the source states none,
    and at 20 % the gain is half of what it prints.
    """
    plain = corn_rate(kind, 0.155, cooled=True)
    aim = discharge_moisture_for(load_grain("corn-yellow-dent"), DRYERATION, 0.155, 60.0, 13.0)
    steep = corn_rate(kind, float(aim.hot_moisture), cooled=False) / plain - 1.0
    combination = corn_rate(kind, 0.22, cooled=False) / plain - 1.0
    assert steep == pytest.approx(0.60, abs=0.15), BESIDE
    assert combination == pytest.approx(2.50, rel=0.25), BESIDE
    assert combination > 2.5 * steep


@pytest.mark.parametrize("kind", ["mixed-flow", "cross-flow"])
def test_heated_air_drying_of_prairie_wheat_costs_20_to_30_cents_a_bushel(kind):
    """Wheat from 20 to 14.5 %; the source states neither moisture nor prices.

    Canadian money of 2019: propane 0.50 a litre, power 0.15 a kWh, one man at 25 an hour and 300
    bushels; recalled and rounded. Dryer and fans are not written off.
    """
    bushel = 60.0 * POUND
    use = EnergyUse(heat_per_water=SPECIFIC_ENERGY[kind].value, electricity_per_wet=14_000.0)
    prices = Prices(fuel=500.0, electricity=0.15 / 3.6e6, labour=25.0 / 3600.0)
    cost = drying_cost(
        1000 * bushel, 0.20, 0.145, use, load_fuel("propane"), prices, rate=300 * bushel / 3600.0
    )
    cash = float(cost.fuel + cost.electricity + cost.labour) / 1000
    assert 0.20 <= cash <= 0.30, "Alberta Farmer Express 2019"


def _one_lot():
    from outfeed.queue import Lots

    return Lots(np.array([0.0]), np.array([10_000.0]), np.array([0.20]))
