"""A way to stop a long computation from outside, without the library knowing of clocks or callers.

Whoever starts a computation may hand in a check; the loops of the library call it between steps,
and what it raises ends the computation.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_CHECK: ContextVar[Callable[[], None] | None] = ContextVar("check", default=None)


@contextmanager
def interruptible(check: Callable[[], None]) -> Iterator[None]:
    """Have computations inside the block call a check between their steps.

    Parameters
    ----------
    check : callable
        Takes nothing and returns nothing; what it raises ends the computation.

    Returns
    -------
    context manager
        Only the computations of this thread or task inside the block are watched.

    Raises
    ------
    Exception
        Whatever the check raises.
    """
    token = _CHECK.set(check)
    try:
        yield
    finally:
        _CHECK.reset(token)


def may_stop() -> None:
    """Call the check that was handed in, if any.

    Returns
    -------
    None
        Where the computation may go on.

    Raises
    ------
    Exception
        Whatever the check raises.
    """
    check = _CHECK.get()
    if check is not None:
        check()
