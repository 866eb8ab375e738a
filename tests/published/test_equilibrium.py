"""Equilibrium moisture and heat of sorption against published tables.

Each published row names, in `MET_BY`, the constant set that its table was made with: the rows of
the encyclopedia's table follow the D245.5 set that is closest to the grain's data; the extension
tables of North Dakota and Kentucky follow the mean of two D245.4 equations for corn, barley and
soybean (Kentucky's soybean follows the Halsey set). What cannot be met:

* sunflower, confectionery: no constants of its own are published; the oil type's set gives 7.3 %
  where the table has 9.9 %.
* corn at 35 F and at 7 F from an extension example whose bulletin is not recorded: they agree
  with different sets (D245.5 and D245.4 Chung-Pfost), and 7 F lies far outside the fitted range;
  the default set reads 0.6 point above both. They are checked against the set that is closest.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from outfeed.grains import load_grain
from outfeed.isotherm_spread import moisture_band
from outfeed.sorption import (
    choose_isotherm,
    equilibrium_moisture,
    isosteric_heat,
    net_isosteric_heat,
)

TABLE = (Path(__file__).parent / "equilibrium.csv").read_text(encoding="utf-8")
ROWS = list(csv.DictReader(TABLE.splitlines()))

ENCYCLOPEDIA = "encyclopedia EMC table"
NORTH_DAKOTA = "NDSU Hellevang 2010"
MEAN = "emc.extension-mean.d245-4"

# (grain, beginning of the source) to the method that its table was made with.
MET_BY = {
    ("corn-yellow-dent", ENCYCLOPEDIA): "emc.henderson-modified.d245-5",
    ("soybean", ENCYCLOPEDIA): "emc.halsey-modified.d245-5",
    ("sorghum", ENCYCLOPEDIA): "emc.chung-pfost-modified.d245-5",
    ("rough-rice-long", ENCYCLOPEDIA): "emc.henderson-modified.d245-5",
    ("wheat-durum", ENCYCLOPEDIA): "emc.oswin-modified.d245-5",
    ("corn-yellow-dent", NORTH_DAKOTA): MEAN,
    ("soybean", NORTH_DAKOTA): MEAN,
    ("barley", NORTH_DAKOTA): MEAN,
    ("sunflower-oil", NORTH_DAKOTA): "emc.henderson-modified.d245-5",
    ("corn-yellow-dent", "U Kentucky"): MEAN,
    ("soybean", "U Kentucky"): "emc.halsey-modified.d245-5",
    ("wheat-soft", "U Kentucky"): "emc.henderson-modified.d245-4",
}
# Rows without a recorded bulletin, by temperature [degC].
UNRECORDED = {
    "1.6667": "emc.chung-pfost-modified.d245-5",
    "-13.8889": "emc.chung-pfost-modified.d245-4",
}
NO_CONSTANTS = {"sunflower-confectionery"}


def method_of(row: dict[str, str]) -> str:
    if row["source"].startswith("extension example"):
        return UNRECORDED[row["temperature"]]
    return next(
        method
        for (grain, source), method in MET_BY.items()
        if grain == row["grain"] and row["source"].startswith(source)
    )


def label(row: dict[str, str]) -> str:
    return f"{row['source']}: {row['grain']} at {row['temperature']} {row['relative_humidity']}"


ANSWERED = [row for row in ROWS if row["grain"] not in NO_CONSTANTS]


def percent_wb(moisture_db: float) -> float:
    return 100.0 * moisture_db / (1.0 + moisture_db)


def test_only_the_confectionery_sunflower_row_is_left_out() -> None:
    assert len(ROWS) == 45
    assert len(ANSWERED) == 44
    assert not load_grain("sunflower-confectionery").isotherms


@pytest.mark.parametrize("row", ANSWERED, ids=label)
def test_a_published_equilibrium_moisture_is_met(row: dict[str, str]) -> None:
    isotherm = choose_isotherm(load_grain(row["grain"]), method_of(row))
    found = equilibrium_moisture(
        isotherm, float(row["temperature"]), float(row["relative_humidity"])
    )
    assert percent_wb(float(found)) == pytest.approx(
        float(row["moisture_wb_percent"]), abs=float(row["tolerance"])
    )


def test_corn_sets_spread_as_published() -> None:
    """Within the editions, corn at 80 F and 65 % runs from 12.6 to 13.7 % wet basis."""
    band = moisture_band(load_grain("corn-yellow-dent").isotherms, 80.0 / 1.8 - 32.0 / 1.8, 0.65)
    assert percent_wb(float(band.low)) == pytest.approx(12.6, abs=0.06)
    assert percent_wb(float(band.high)) == pytest.approx(13.7, abs=0.06)


# --- Heat of sorption -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "method", ["emc.henderson-modified.d245-4", "emc.chung-pfost-modified.d245-4", MEAN]
)
def test_the_heat_of_vaporisation_of_corn_is_as_measured(method: str) -> None:
    """Rodriguez-Arias, Hall & Bakker-Arkema 1963: 700 cal/g at 8 % d.b., 86-122 F; within 10 %."""
    isotherm = choose_isotherm(load_grain("corn-yellow-dent"), method)
    middle = (86.0 + 122.0) / 2.0
    heat = float(isosteric_heat(isotherm, (middle - 32.0) / 1.8, 0.08)) / 4184.0
    assert heat == pytest.approx(700.0, abs=70.0)


@pytest.mark.parametrize(
    "grain, temperature, a, b",
    [("corn-yellow-dent", 36.3, 1.2925, 16.961), ("rough-rice-long", 37.0, 2.0692, 21.739)],
    ids=["Brooker 1992: corn", "Brooker 1992: rough rice"],
)
def test_published_exponential_heats_are_clausius_clapeyron_on_the_same_constants(
    grain: str, temperature: float, a: float, b: float
) -> None:
    """(2502.2 - 2.39 T) a exp(-b M), M dry basis as a fraction; printed digits of a and b."""
    isotherm = choose_isotherm(load_grain(grain), "emc.chung-pfost-modified.d245-4")
    moisture = np.array([0.08, 0.14, 0.20, 0.28])
    published = 1e3 * (2502.2 - 2.39 * temperature) * a * np.exp(-b * moisture)
    found = net_isosteric_heat(isotherm, temperature, moisture)
    assert found == pytest.approx(published, rel=0.006)
