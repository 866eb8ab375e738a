"""Sharing whole cents and kilograms so that nothing is lost and nobody is favoured.

A whole number of the smallest units is split by shares; each party gets the whole part of what is
due, and what is left goes, one unit each, to those owed most (largest remainder, in apportionment
known as Hamilton's method). What a party is owed or has been advanced is carried to the next
amount, so that over many loads nobody is off by more than a unit or so.

.. [1] Balinski, M. L. and H. P. Young, *Fair Representation*, 1982: the method of largest
   remainders; recalled.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from outfeed.errors import Inconsistent
from outfeed.methods import RECALLED, Method

PARTS = 10**9
"""Shares are counted in billionths; finer than any lease is written."""

SHARES_TOLERANCE = 1e-4
"""How far stated shares may add up from one: 33.33 % three times is meant to be everything."""

LARGEST_REMAINDER = Method(
    id="settlement.largest-remainder",
    title="Whole units split by shares, the rest to those owed most, carried from load to load",
    source="Balinski and Young, Fair Representation, 1982: Hamilton's method of largest remainders",
    known=RECALLED,
)
METHODS = (LARGEST_REMAINDER,)


def parts_of(shares: Sequence[float]) -> tuple[int, ...]:
    """Shares as whole billionths that add up exactly.

    Parameters
    ----------
    shares : sequence of float
        Share of each party [-], each from 0 to 1, adding up to 1 within 1e-4.

    Returns
    -------
    tuple of int
        In the order given; they add up to `PARTS`.

    Raises
    ------
    Inconsistent
        No shares, a share below zero, or shares that do not add up.
    """
    total = math.fsum(shares)
    if not shares or min(shares) < 0.0 or not abs(total - 1.0) <= SHARES_TOLERANCE:
        raise Inconsistent(
            f"shares must be zero or more and add up to 100 %, not {total * 100:.6g} %", "shares"
        )
    exact = [share / total * PARTS for share in shares]
    whole = [math.floor(value) for value in exact]
    by_rest = sorted(range(len(whole)), key=lambda k: (whole[k] - exact[k], k))
    for k in by_rest[: PARTS - sum(whole)]:
        whole[k] += 1
    return tuple(whole)


def split(
    amount: int, parts: Sequence[int], owed: Sequence[int] | None = None
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Split a whole amount by parts, and carry what each party is owed.

    Parameters
    ----------
    amount : int
        Smallest units to share out; may be negative.
    parts : sequence of int
        From `parts_of`.
    owed : sequence of int, optional
        What each party is owed from before, in billionths of a unit; nothing when left out.

    Returns
    -------
    tuple
        Units of each party, which add up to `amount`, and what each is owed now.
    """
    if amount == 0 and (owed is None or not any(owed)):
        return (0,) * len(parts), (0,) * len(parts)
    due = [amount * part for part in parts]
    if owed is not None:
        due = [value + debt for value, debt in zip(due, owed, strict=True)]
    whole = [value // PARTS for value in due]
    rest = [value - units * PARTS for value, units in zip(due, whole, strict=True)]
    spare = amount - sum(whole)
    order = sorted(range(len(parts)), key=lambda k: (-rest[k], k))
    _hand_out(spare, order, whole, rest)
    return tuple(whole), tuple(rest)


def _hand_out(spare: int, order: list[int], whole: list[int], rest: list[int]) -> None:
    """The spare units, one each, to those owed most; taken back from those owed least."""
    step = 1 if spare >= 0 else -1
    turn = order if spare >= 0 else order[::-1]
    for count in range(abs(spare)):
        k = turn[count % len(turn)]
        whole[k] += step
        rest[k] -= step * PARTS
