"""Thin-layer kinetics against values of the printed equations, worked by hand elsewhere."""

import numpy as np
import pytest

from outfeed import thin_layer
from outfeed.thin_layer import DIFFUSION, LI_MOREY, MISRA_BROOKER, THOMPSON, WANG_SINGH

HOUR = 3600.0

# degF, moisture ratio, hours: Thompson, Peart & Foster 1968, equation evaluated independently
THOMPSON_HOURS = [
    (220.0, 0.75, 0.2516),
    (220.0, 0.50, 0.6904),
    (200.0, 0.30, 1.9075),
    (180.0, 0.30, 2.8115),
    (160.0, 0.50, 1.7932),
    (140.0, 0.75, 0.6871),
    (140.0, 0.50, 2.8372),
    (140.0, 0.30, 7.5141),
]

# law, degC, relative humidity, first moisture d.b., minutes, moisture ratio
PAGE_RATIOS = [
    (LI_MOREY, 71.0, 0.3, 0.25, 45.0, 0.44383),
    (LI_MOREY, 80.0, 0.3, 0.333, 30.0, 0.38133),
    (LI_MOREY, 93.0, 0.3, 0.28, 20.0, 0.34666),
    (WANG_SINGH, 50.0, 0.3, 0.30, 30.0, 0.73529),
    (WANG_SINGH, 40.0, 0.4, 0.30, 120.0, 0.4834),
]

# law, degC, relative humidity, hours to half the moisture ratio from 33 % d.b., printed digits
HALF_TIMES = [
    (THOMPSON, 71.0, 0.05, 1.8, 0.05),
    (LI_MOREY, 71.0, 0.05, 0.53, 0.01),
    (THOMPSON, 93.0, 0.05, 0.90, 0.02),
    (LI_MOREY, 93.0, 0.05, 0.20, 0.01),
]


@pytest.mark.parametrize("fahrenheit, ratio, hours", THOMPSON_HOURS)
def test_thompson_time_matches_the_printed_equation_within_one_percent(fahrenheit, ratio, hours):
    time = thin_layer.equivalent_time(THOMPSON, ratio, (fahrenheit - 32.0) / 1.8)
    assert time / HOUR == pytest.approx(hours, rel=0.01)


@pytest.mark.parametrize("method, temperature, humidity, first, minutes, ratio", PAGE_RATIOS)
def test_page_ratio_matches_the_printed_equation_within_one_percent(
    method, temperature, humidity, first, minutes, ratio
):
    got = thin_layer.moisture_ratio(
        method,
        60.0 * minutes,
        temperature,
        initial_moisture_db=first,
        relative_humidity=humidity,
    )
    assert got == pytest.approx(ratio, rel=0.01)


@pytest.mark.parametrize("method, temperature, humidity, hours, tolerance", HALF_TIMES)
def test_half_times_disagree_between_laws_as_the_literature_shows(
    method, temperature, humidity, hours, tolerance
):
    time = thin_layer.equivalent_time(
        method, 0.5, temperature, initial_moisture_db=0.33, relative_humidity=humidity
    )
    assert time / HOUR == pytest.approx(hours, abs=tolerance)


def test_diffusion_takes_rankine_and_gives_about_045_per_hour_at_60_degc():
    # 0.54 exp(-5023 / 599.67) per second, Henderson & Pabis 1961
    kappa = thin_layer.drying_constant(
        DIFFUSION,
        60.0,
        moisture_db=0.25,
        equilibrium_moisture_db=0.05,
        initial_moisture_db=0.3,
    )
    assert kappa * HOUR == pytest.approx(0.54 * np.exp(-5023.0 / 599.67) * HOUR, rel=1e-9)
    assert 0.3 < kappa * HOUR < 0.6


def test_misra_brooker_constants_are_those_of_the_printed_page_law():
    # k = exp(-7.1735 + 1.2793 ln(F) + 0.1378 v), n = 0.0811 ln(RH %) + 0.0078 M0 %, at 0.3 m/s
    k = np.exp(-7.1735 + 1.2793 * np.log(122.0) + 0.1378 * 0.3)
    n = 0.0811 * np.log(20.0) + 0.0078 * 30.0
    ratio = thin_layer.moisture_ratio(
        MISRA_BROOKER, 2.0 * HOUR, 50.0, initial_moisture_db=0.30, relative_humidity=0.20
    )
    assert ratio == pytest.approx(np.exp(-k * 2.0**n), rel=1e-9)
