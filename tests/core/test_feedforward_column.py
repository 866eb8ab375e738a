"""The schedule for a wetter lot, followed on the transient column under a column controller.

Dryer and controller are those of `./task bench bridge`. The schedule is worth having when the grain
at the discharge strays less with it than without, and a part of it is when it strays more without
that part.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import seasons
from bench_bridge import bridge_added, plain_dryer, plain_moves, schedules
from column_loop import CORN, MODEL, WEATHER, Trace, dryer, follow, loop_of, sensor_share, wetter

from outfeed.dryer.inverse import rate_for_moisture
from outfeed.steering.inlet_rate import Drying, RateSlope, rate_changes
from outfeed.steering.prior import dryer_prior

WETTER = 3.0  # points
MIDDLE_OF_ZONE = 0.5


@pytest.fixture(scope="module", params=[WETTER, -WETTER], ids=["wetter", "drier"])
def followed(request) -> tuple[Trace, Trace, Trace]:
    """With no move, with one, and with the bridge before it."""
    loop = loop_of(dryer())
    plans = schedules(loop, sensor_share(MIDDLE_OF_ZONE), request.param)
    assert [len(steps) for steps in plans] == [0, 1, 2]
    still, one, bridged = (
        follow(loop, steps=steps, grain=wetter(request.param)) for steps in plans
    )
    return still, one, bridged


def worst(trace: Trace) -> float:
    return float(np.abs(trace.away).max())


def test_following_the_schedule_keeps_a_known_lot_nearer_the_target(followed):
    still, _, bridged = followed
    assert bridged.rms < 0.97 * still.rms
    assert worst(bridged) < 0.9 * worst(still)
    assert abs(bridged.away[-1]) < 0.5 * abs(still.away[-1])


def test_low_sensors_are_worth_the_bridge(followed):
    _, one, bridged = followed
    assert bridged.rms < 0.8 * one.rms
    assert worst(bridged) < 0.85 * worst(one)


@pytest.mark.parametrize("points", [2.0, -2.0], ids=["wetter", "drier"])
def test_sensors_half_way_down_are_not_worth_a_bridge(points):
    rms = plain_dryer(0.5, seasons.GAIN)
    one = plain_moves(points, 0.5, bridged=True)
    assert len(one) == 1
    assert rms(points, one) < 0.9 * rms(points, bridge_added(one, points, 1.0))
    assert rms(points, one) < 0.9 * rms(points, [])


@pytest.mark.parametrize(
    ("before", "after", "outlet"),
    [
        (0.20, 0.24, 0.155),
        (0.22, 0.26, 0.155),
        (0.22, 0.34, 0.155),
        (0.22, 0.18, 0.14),
        (0.26, 0.20, 0.155),
        (0.18, 0.24, 0.14),
    ],
)
def test_the_rate_told_for_another_inlet_is_that_of_the_column(before, after, outlet):
    def rate(inlet: float) -> float:
        feed = replace(CORN, moisture_wb=inlet)
        return rate_for_moisture(dryer(), WEATHER, feed, outlet, model=MODEL).dry_matter_rate

    kept = rate(after) / rate(before)
    feed = replace(CORN, moisture_wb=before)
    prior = dryer_prior(dryer(), WEATHER, feed, outlet, model=MODEL)
    assert prior is not None
    (anchored,) = rate_changes([after - before], Drying(before, outlet), prior.rate_slope)
    assert anchored.within
    assert anchored.factor == pytest.approx(kept, rel=0.03)
    # the general value belongs to 22 to 15.5 %; elsewhere it is carried there
    (general,) = rate_changes([after - before], Drying(before, outlet), RateSlope())
    assert general.factor == pytest.approx(kept, rel=0.05)
