"""A bounded place for long computations, so that the event loop always answers.

A few threads, a bounded queue, a deadline. A request that finds the queue full
or waits past the deadline is told to come back; one whose caller has hung up
makes room for the next. What is asked beside a running dryer has a queue of its
own: it takes milliseconds, may bring a fire caution, and never waits for a plan.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from outfeed.interrupt import interruptible
from outfeed_api.problems import BUSY, TOO_SLOW, ProblemError
from outfeed_api.settings import Settings

T = TypeVar("T")

RETRY_AFTER = {"Retry-After": "5"}  # s


class Workshop:
    """Runs long computations off the event loop, a bounded number at once."""

    def __init__(self, settings: Settings) -> None:
        waiting, deadline = settings.max_heavy_waiting, settings.heavy_deadline
        self._long = _Queue(settings.max_heavy, waiting, deadline)
        self._steering = _Queue(settings.max_steering, waiting, deadline)

    async def run(self, work: Callable[[], T], *, steering: bool = False) -> T:
        """Run `work` in a thread and wait for it.

        Parameters
        ----------
        work : callable
            The computation, already bound to its arguments.
        steering : bool
            Whether it is asked beside a running dryer and must not wait for long computations.

        Returns
        -------
        object
            What `work` returned.

        Raises
        ------
        ProblemError
            ``busy`` when the queue is full, ``too-slow`` past the deadline.
        CancelledError
            When the waiting task is cancelled; the work then stops itself or never starts.
        """
        return await (self._steering if steering else self._long).run(work)

    def close(self) -> None:
        """Let running work end and take no more."""
        self._long.close()
        self._steering.close()


class _Queue:
    """A few threads and those who wait for them."""

    def __init__(self, threads: int, waiting: int, deadline: float) -> None:
        self._threads = ThreadPoolExecutor(threads, thread_name_prefix="outfeed")
        self._most = threads + waiting
        self._deadline = deadline
        self._taken = 0

    async def run(self, work: Callable[[], T]) -> T:
        if self._taken >= self._most:
            raise ProblemError(BUSY, "too many long computations are waiting", headers=RETRY_AFTER)
        self._taken += 1
        loop = asyncio.get_running_loop()
        left = threading.Event()

        def watched() -> T:
            # A thread cannot be stopped from outside: it stops itself once nobody waits for it,
            # or what nobody waits for any more would keep others waiting.
            with interruptible(lambda: not left.is_set()):
                return work()

        future = self._threads.submit(watched)
        future.add_done_callback(lambda _: self._release(loop))  # at once if it is done already
        try:
            return await asyncio.wait_for(asyncio.wrap_future(future), self._deadline)
        except TimeoutError:
            detail = f"not finished within {self._deadline:g} s; send less, or try again later"
            raise ProblemError(TOO_SLOW, detail, headers=RETRY_AFTER) from None
        finally:
            left.set()

    def close(self) -> None:
        self._threads.shutdown(wait=False, cancel_futures=True)

    def _release(self, loop: asyncio.AbstractEventLoop) -> None:
        if not loop.is_closed():
            loop.call_soon_threadsafe(self._leave)

    def _leave(self) -> None:
        self._taken -= 1
