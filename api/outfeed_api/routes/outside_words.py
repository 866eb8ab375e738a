"""A swing that may come from outside the loop, in words: what tells, and what to look for."""

from __future__ import annotations

from collections.abc import Callable

from outfeed.steering.trend import Remark
from outfeed_api.wording import lasting

LOOK = (
    "look for what keeps time with it: a burner that goes on and off or hunts, feed that comes in "
    "batches or by turns from two bins, a fan or a damper, a metering drive that sticks or has "
    "slack. A log of the plenum temperature beside the column's shows much of it"
)
STILL_A_CUT = (
    "it swings on after the last cut; but see first whether burner, feed or fan keep time with it"
)
BACK = "Once it is found and ended, start again from the gain you had before cutting."
READS_THE_SAME = (
    "A swing that burner, feed or fan keep up at about this period reads the same. If this one "
    "goes on after the cut, look there before you cut again."
)
STEADY = (
    "The output stays clear of its limits, and so the loop's own swing would keep its size at one "
    "gain only: burner, feed or fan may well be behind it. Look there before you cut."
)


def notes(remarks: tuple[Remark, ...]) -> list[str]:
    """What tells a swing from outside from one of the loop's own.

    Parameters
    ----------
    remarks : tuple of Remark
        Of the advice.

    Returns
    -------
    list of str
        Sentences; empty where there is no such remark.
    """
    return [_SAID[found.code](found.numbers) for found in remarks if found.code in _SAID]


def _stood(_numbers: tuple[float, ...]) -> str:
    return (
        "The output did not move while the temperature swung, so its controller makes no such "
        f"swing: it is held by hand, or at a limit. {_capital(LOOK)}."
    )


def _period(numbers: tuple[float, ...]) -> str:
    seen, shortest, longest = (lasting(seconds) for seconds in numbers)
    return (
        f"It swings every {seen}; a loop of this `transit` would every {shortest} to {longest}, so "
        f"see that `transit` is right. {_capital(LOOK)}."
    )


def _part(numbers: tuple[float, ...]) -> str:
    return (
        f"By `plant`, the output made about {100.0 * numbers[0]:.0f} % of the swing; one of the "
        f"loop's own is made by it alone. {_capital(LOOK)}."
    )


def _own(numbers: tuple[float, ...]) -> str:
    return (
        f"By `plant`, the output made about {100.0 * numbers[0]:.0f} % of the swing, as of one of "
        f"the loop's own."
    )


def _cut(_numbers: tuple[float, ...]) -> str:
    return (
        "The swing keeps on after a cut that ends one of the loop's own, if it was really made, "
        f"and the output stays clear of its limits. {_capital(LOOK)}. {BACK}"
    )


def _cuts(_numbers: tuple[float, ...]) -> str:
    return f"Two cuts of the gain left the swing about as it was. {_capital(LOOK)}. {BACK}"


def _doubt(_numbers: tuple[float, ...]) -> str:
    return (
        "The swing keeps on after a cut that ends one of the loop's own, unless its output runs "
        "from limit to limit. See that the cut was really made; if it was, and the output does "
        f"not, leave the gain and {LOOK}. The output with both its limits, or with `plant`, tells "
        f"the two apart."
    )


_SAID: dict[str, Callable[[tuple[float, ...]], str]] = {
    "output-stood": _stood,
    "small-part": _part,
    "other-period": _period,
    "own-part": _own,
    "outlived-cut": _cut,
    "outlived-cuts": _cuts,
    "may-be-outside": _doubt,
}


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
