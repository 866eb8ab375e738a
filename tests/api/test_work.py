"""The bounded place for long computations: it answers, refuses when full, gives up in time."""

from __future__ import annotations

import asyncio
import threading

import pytest

from column_dryers import tower
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Feed
from outfeed_api.problems import BUSY, TOO_SLOW, ProblemError
from outfeed_api.settings import Settings
from outfeed_api.work import Workshop


def test_work_that_ends_at_once_gives_its_place_back_every_time():
    async def many() -> list[int]:
        workshop = Workshop(Settings(max_heavy=1, max_heavy_waiting=0))
        results = []
        for number in range(50):
            results.append(await workshop.run(lambda number=number: number))
            await asyncio.sleep(0)
        return results

    assert asyncio.run(many()) == list(range(50))


def test_a_full_queue_answers_busy_with_a_time_to_return():
    async def crowd() -> ProblemError:
        gate = threading.Event()
        workshop = Workshop(Settings(max_heavy=1, max_heavy_waiting=1))
        waiting = [asyncio.create_task(workshop.run(gate.wait)) for _ in range(2)]
        await asyncio.sleep(0.01)
        try:
            with pytest.raises(ProblemError) as caught:
                await workshop.run(lambda: None)
        finally:
            gate.set()
        assert await asyncio.gather(*waiting) == [True, True]
        return caught.value

    problem = asyncio.run(crowd())
    assert problem.kind is BUSY
    assert problem.headers["Retry-After"] == "5"


def test_work_past_its_deadline_is_given_up():
    async def slow() -> ProblemError:
        gate = threading.Event()
        workshop = Workshop(Settings(heavy_deadline=0.02))
        with pytest.raises(ProblemError) as caught:
            await workshop.run(gate.wait)
        gate.set()
        return caught.value

    assert asyncio.run(slow()).kind is TOO_SLOW


def test_an_error_in_the_work_reaches_the_caller():
    async def fail() -> None:
        await Workshop(Settings()).run(lambda: 1 / 0)

    with pytest.raises(ZeroDivisionError):
        asyncio.run(fail())


def test_the_event_loop_turns_while_long_work_runs():
    async def count() -> int:
        gate = threading.Event()
        task = asyncio.create_task(Workshop(Settings()).run(gate.wait))
        turns = 0
        for _ in range(100):
            await asyncio.sleep(0)
            turns += 1
        gate.set()
        await task
        return turns

    assert asyncio.run(count()) == 100


def endless_columns() -> None:
    while True:
        solve_column(tower(), Conditions(10.0, 0.7), Feed(0.22, 10.0), 1.06)


async def next_in(workshop: Workshop) -> int:
    """7 once the workshop takes work again, 0 if it does not."""
    for _ in range(500):
        try:
            return await workshop.run(lambda: 7)
        except ProblemError:
            await asyncio.sleep(0.01)
    return 0


def test_a_column_past_its_deadline_stops_itself_and_frees_its_place():
    async def slow_then_quick() -> int:
        workshop = Workshop(Settings(heavy_deadline=0.2, max_heavy=1, max_heavy_waiting=0))
        with pytest.raises(ProblemError) as caught:
            await workshop.run(endless_columns)
        assert caught.value.kind is TOO_SLOW
        return await next_in(workshop)

    assert asyncio.run(slow_then_quick()) == 7


def test_work_that_nobody_waits_for_any_more_makes_room():
    async def leave_then_ask() -> int:
        workshop = Workshop(Settings(heavy_deadline=20, max_heavy=1, max_heavy_waiting=0))
        waiting = asyncio.create_task(workshop.run(endless_columns))
        await asyncio.sleep(0.05)
        waiting.cancel()
        return await next_in(workshop)

    assert asyncio.run(leave_then_ask()) == 7
