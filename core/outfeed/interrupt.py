"""A way to stop a long computation from outside, without the library knowing of clocks or callers.

Whoever starts a computation may hand in the question whether it is still wanted; the loops of the
library ask it between steps, and end with `Interrupted` where the answer is no.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_WANTED: ContextVar[Callable[[], bool] | None] = ContextVar("wanted", default=None)


class Interrupted(Exception):
    """A computation was stopped from outside.

    No `OutfeedError`: nothing is wrong with the inputs, and what handles a refusal must not take
    this for one.
    """


@contextmanager
def interruptible(wanted: Callable[[], bool]) -> Iterator[None]:
    """Have computations inside the block end once they are no longer wanted.

    Parameters
    ----------
    wanted : callable
        Takes nothing and returns whether to go on.

    Returns
    -------
    context manager
        Only the computations of this thread or task inside the block are watched.

    Raises
    ------
    Interrupted
        From within the block, at the next step of a loop.
    """
    token = _WANTED.set(wanted)
    try:
        yield
    finally:
        _WANTED.reset(token)


def may_stop() -> None:
    """End the computation here if it is no longer wanted.

    Returns
    -------
    None
        Where the computation may go on.

    Raises
    ------
    Interrupted
        Where it is not wanted any more.
    """
    wanted = _WANTED.get()
    if wanted is not None and not wanted():
        raise Interrupted
