"""Work that nobody waits for any more ends itself, in every loop that may be long."""

from __future__ import annotations

import numpy as np
import pytest

from column_dryers import tower
from outfeed.ability import KnownRate
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Feed
from outfeed.errors import OutfeedError
from outfeed.grains import load_grain
from outfeed.interrupt import Interrupted, interruptible, may_stop
from outfeed.queue import Lots
from outfeed.roots import bracketed_newton
from outfeed.season import Season, plan_season
from outfeed.settlement import Load, Terms, compare_buyers, settle_loads
from outfeed.shrink import BuyerRule
from outfeed.weather import Weather

LOADS = [Load("1", 20_000.0, 0.18)]
TERMS = [Terms(BuyerRule(0.15, 1.4, name="mill"), 0.17)]


def season():
    hours = 48
    return Season(
        grain=load_grain("corn-yellow-dent"),
        weather=Weather(0.0, np.full(hours, 10.0), np.full(hours, 0.7)),
        supply=Lots(np.array([0.0]), np.array([2_500.0]), np.array([0.2])),
        machine=KnownRate(5.0, 0.20, 0.15, 10.0, plenum=93.0, kind="mixed-flow"),
        run_share=np.ones(hours),
        holding=150_000.0,
        final_wb=0.15,
    )


@pytest.mark.parametrize(
    "work",
    [
        lambda: solve_column(tower(), Conditions(10.0, 0.7), Feed(0.22, 10.0), 1.06),
        lambda: plan_season(season()),
        lambda: settle_loads(LOADS, TERMS),
        lambda: compare_buyers(LOADS, TERMS),
        lambda: bracketed_newton(
            lambda x: (x - 1.0, np.ones_like(x)), [0.0, 0.0], 2.0, tolerance=1e-9, what="x"
        ),
    ],
    ids=["column", "season", "settlement", "buyers", "roots"],
)
def test_what_is_no_longer_wanted_ends_between_two_steps(work):
    work()
    with pytest.raises(Interrupted), interruptible(lambda: False):
        work()
    work()


def test_an_interruption_is_no_refusal_and_stays_in_its_block():
    assert not issubclass(Interrupted, OutfeedError)
    with interruptible(lambda: True):
        may_stop()
    may_stop()
