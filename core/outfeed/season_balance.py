"""The quick balance at the states of air and grain that a season spans.

The corners of a grid over weather may be damper than any of its hours: the warmest air at the
highest relative humidity. Where no rate is found there, the corners are asked with no more vapour
than the dampest hour holds; where that hour itself is too damp, the season is refused.
"""

from __future__ import annotations

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.dryer.balance import EFFECTIVENESS, Balance, Exhaust, balance
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.reach import reach_of
from outfeed.errors import Inconsistent, NotConverged
from outfeed.moist_air import humidity_ratio, relative_humidity
from outfeed.weather import Weather


def balance_over(
    dryer: Dryer,
    weather: Weather,
    nodes: tuple[FloatArray, FloatArray, FloatArray],
    grain: str,
    target_wb: float,
    *,
    burner_efficiency: float = 1.0,
) -> Balance:
    """The quick balance of a dryer at nodes of a grid over weather and moisture.

    Parameters
    ----------
    dryer : Dryer
        The description.
    weather : Weather
        Hour by hour.
    nodes : tuple of ndarray
        Temperature [degC], relative humidity [-] and inlet moisture, wet basis [-], of each node;
        grain comes in as warm as the air.
    grain : str
        Id of the grain.
    target_wb : float
        Moisture at the discharge, wet basis [-].
    burner_efficiency : float
        Share of the higher heating value that an indirect heater gives to the air [-].

    Returns
    -------
    Balance
        Arrays over nodes.

    Raises
    ------
    Inconsistent
        Plenum air too damp to dry grain to the target in the dampest hour, or no warmer than the
        outside air.
    NotConverged
        No rate was found, for another reason.
    OutOfRange, NotPublished
        As `balance`.
    """
    warm, damp, wet = nodes
    closing = Exhaust(EFFECTIVENESS[dryer.kind][0], burner_efficiency=burner_efficiency)
    feed = Feed(wet, warm, grain)
    try:
        return balance(dryer, Conditions(warm, damp, weather.pressure), feed, target_wb, closing)
    except NotConverged:
        most = _refuse_too_damp(dryer, weather, grain, target_wb)
        held = np.minimum(damp, relative_humidity(warm, most, weather.pressure))
        return balance(dryer, Conditions(warm, held, weather.pressure), feed, target_wb, closing)


def _refuse_too_damp(dryer: Dryer, weather: Weather, grain: str, target_wb: float) -> float:
    """Vapour of the dampest hour [kg/kg dry air], in which the target can be reached."""
    vapour = np.asarray(
        humidity_ratio(weather.temperature, weather.relative_humidity, weather.pressure)
    )
    hour = int(np.argmax(vapour))
    air = Conditions(
        float(weather.temperature[hour]), float(weather.relative_humidity[hour]), weather.pressure
    )
    feed = Feed(min(target_wb + 0.01, 0.59), float(weather.temperature[hour]), grain)
    reach = reach_of(dryer, air, feed, target_wb)
    if reach.verdict == "below-equilibrium":
        raise Inconsistent(
            f"in the dampest hour of this weather the plenum air dries grain no further than "
            f"{reach.driest_moisture_wb * 100.0:.1f} %, and {target_wb * 100.0:.1f} % is wanted: "
            "it takes hotter plenums",
            "dryer",
        )
    return float(vapour[hour])
