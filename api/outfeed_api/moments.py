"""Times in requests and answers: date-times with an offset, or minutes of the caller's own clock.

A series carries either `times` or `elapsed`; all series of one request use the same form, and
the answer speaks in that form. Inside, both are seconds: since 1970 for date-times, since the
caller's own origin for elapsed minutes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    Field,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from outfeed import Inconsistent
from outfeed.limits import SENSIBLE, Range
from outfeed_api.measures import Measure
from outfeed_api.models import Given
from outfeed_api.moment_columns import FIRST_YEAR, LAST_YEAR, column_seconds

CLOCKS_APART_S = 3600.0  # a last reading of one series may be later than all others; chosen
MOST_TIMES = 10_000  # entries of one series: 12 hours by the five seconds, with room
LONGEST_MOMENT = 40  # characters of a date-time
ELAPSED = Range("elapsed time", -30 * 86400.0, 400 * 86400.0, "s", SENSIBLE)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

TIED_S = 1e-3  # between readings of one moment, so that they keep their order

ONE_FORM = "give all times of a request in one form"
OTHER_AGE = f"must lie in the years {FIRST_YEAR} to {LAST_YEAR}"

_RFC3339 = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)", re.ASCII
)

Form = Literal["times", "elapsed"]


def _read(text: str) -> datetime:
    """A date-time with its offset; leap seconds count as the second before."""
    if not _RFC3339.fullmatch(text):
        raise PydanticCustomError("moment", "must be an RFC 3339 date-time with an offset")
    if not FIRST_YEAR <= int(text[:4]) <= LAST_YEAR:
        raise PydanticCustomError("moment", OTHER_AGE)
    plain = text.upper().replace(" ", "T")
    if plain[17:19] == "60":
        plain = f"{plain[:17]}59{plain[19:]}"
    try:
        return datetime.fromisoformat(plain)
    except ValueError:
        raise PydanticCustomError("moment", "there is no such date or time") from None


def _check(text: str) -> str:
    _read(text)
    return text


Moment = Annotated[
    str,
    AfterValidator(_check),
    Field(
        max_length=LONGEST_MOMENT,
        description="RFC 3339 date-time with an offset.",
        examples=["2025-10-14T13:20:00-05:00"],
        json_schema_extra={"format": "date-time"},
    ),
]


class ReadMoments(list[str]):
    """Date-times with the seconds they were read as, so that a long column is read once."""

    def __init__(self, texts: list[str], seconds: list[float]) -> None:
        super().__init__(texts)
        self.seconds = seconds


def _at_once(given: object, one_by_one: ValidatorFunctionWrapHandler) -> ReadMoments:
    """A plain column of date-times is read at once; anything else entry by entry."""
    if isinstance(given, list) and len(given) <= MOST_TIMES:
        seconds = column_seconds(given)
        if seconds is not None:
            return ReadMoments(given, seconds)
    checked: list[str] = one_by_one(given)
    return ReadMoments(checked, [moment_seconds(text) for text in checked])


Moments = Annotated[list[Moment], WrapValidator(_at_once)]

Elapsed = Annotated[float, Measure("minutes", ELAPSED, example=7200.0)]


class Timed(Given):
    """The times of a series, in one of two forms."""

    times: Moments | None = Field(
        None,
        description="Times as RFC 3339 date-times with an offset; give these or `elapsed`.",
        max_length=MOST_TIMES,
    )
    elapsed: list[Elapsed] | None = Field(
        None,
        description="Times in minutes since an origin of your own, the same for every series of "
        "the request; give these or `times`.",
        max_length=MOST_TIMES,
    )

    @model_validator(mode="after")
    def _one_form(self) -> Timed:
        given = [
            name
            for name in ("times", "elapsed")
            if name in self.model_fields_set and getattr(self, name) is not None
        ]
        if len(given) != 1 and not ({"times", "elapsed"} & self.model_fields_set - set(given)):
            raise PydanticCustomError("one_form", "give either `times` or `elapsed`")
        return self

    @property
    def form(self) -> Form:
        """Which form the times have."""
        return "times" if self.times is not None else "elapsed"

    @property
    def seconds(self) -> list[float]:
        """The times in seconds; of a series that is already in SI."""
        if isinstance(self.times, ReadMoments):
            return list(self.times.seconds)
        if self.times is not None:  # built in code, not read from a body
            return [moment_seconds(text) for text in self.times]
        return list(self.elapsed or [])

    @property
    def offset(self) -> timezone | None:
        """The offset of the last date-time."""
        if not self.times:
            return None
        return timezone(_read(self.times[-1]).utcoffset() or timedelta())


@dataclass(frozen=True, slots=True)
class Clock:
    """How the answer speaks of times.

    Attributes
    ----------
    form : str
        "times" or "elapsed".
    offset : timezone or None
        Offset of the date-times in the answer.
    now_s : float
        The time of the request on this clock [s].
    """

    form: Form
    offset: timezone | None
    now_s: float

    @classmethod
    def of(
        cls,
        *series: Timed | None,
        now: str | None = None,
        now_elapsed: float | None = None,
    ) -> Clock:
        """The clock of a request.

        Parameters
        ----------
        *series : Timed or None
            The series of the request, in SI; the last time of any of them is now, unless given.
        now : str, optional
            The time of asking, a date-time.
        now_elapsed : float, optional
            The time of asking [s] on the caller's clock.

        Returns
        -------
        Clock
            The clock.

        Raises
        ------
        Inconsistent
            Series in different forms, a time of asking in another form than the series, or one
            before their end.
        """
        known = [one for one in series if one is not None]
        forms = {one.form for one in known}
        forms |= {"times"} if now is not None else set()
        forms |= {"elapsed"} if now_elapsed is not None else set()
        if len(forms) != 1:
            raise Inconsistent(ONE_FORM, "now")
        form: Form = "times" if "times" in forms else "elapsed"
        latest = max((max(seconds) for one in known if (seconds := one.seconds)), default=None)
        if now is not None:
            read = _read(now)
            offset: timezone | None = timezone(read.utcoffset() or timedelta())
            asked: float | None = (read - EPOCH).total_seconds()
        else:
            offset = next((one.offset for one in known if one.offset is not None), None)
            asked = now_elapsed
        name = "now" if now_elapsed is None else "now_elapsed"
        if asked is None and latest is None:
            raise Inconsistent("give at least one time", name)
        if asked is not None and latest is not None and asked < latest:
            raise Inconsistent(f"{name} lies before the last of the readings", name)
        return cls(form, offset, asked if asked is not None else latest or 0.0)

    def time_of(self, at: str | None, at_elapsed: float | None, name: str) -> float | None:
        """A time that a request tells as a date-time or in minutes of the caller's own.

        Parameters
        ----------
        at : str or None
            As a date-time.
        at_elapsed : float or None
            On the caller's own clock [s].
        name : str
            Name of the request's field, for the error.

        Returns
        -------
        float or None
            Time [s]; None where neither is given.

        Raises
        ------
        Inconsistent
            A time in the other form.
        """
        if at is not None:
            in_one_form(self.form, "times", name)
        if at_elapsed is not None:
            in_one_form(self.form, "elapsed", name)
        return at_elapsed if at is None else moment_seconds(at)

    def kept(self, at: str | None, at_elapsed: float | None, name: str) -> float:
        """The time of what an earlier answer gave to be kept and passed back.

        Parameters
        ----------
        at : str or None
            As a date-time.
        at_elapsed : float or None
            On the caller's own clock [s].
        name : str
            Name of the request's field, for the error.

        Returns
        -------
        float
            Time [s].

        Raises
        ------
        Inconsistent
            A time in the other form, or more than `CLOCKS_APART_S` after the time of asking.
        """
        kept_s = at_elapsed if at is None else moment_seconds(at)
        if kept_s is None or (at is None) != (self.form == "elapsed"):
            raise Inconsistent(f"the time of `{name}` must have the form of the other times", name)
        if kept_s > self.now_s + CLOCKS_APART_S:
            raise Inconsistent(
                f"the time of `{name}` lies after the time of asking, so that nothing would be new "
                "to it: let one clock run through all requests",
                name,
            )
        return kept_s

    def stamp(self, time_s: float) -> str | None:
        """A time as a date-time to the second; None on the caller's own clock."""
        if self.form == "elapsed":
            return None
        return self._local(time_s).isoformat(timespec="seconds")

    def exact(self, time_s: float) -> str:
        """A time as a date-time to the microsecond, to be passed back."""
        return (EPOCH + timedelta(seconds=time_s)).astimezone(self.offset or UTC).isoformat()

    def minute(self, time_s: float) -> float | None:
        """A time on the caller's own clock [s], to be shown as minutes; None for date-times."""
        return time_s if self.form == "elapsed" else None

    def say(self, time_s: float) -> str:
        """A time as a person would say it: "14:20", "09:10 on 15 October", "minute 340"."""
        if self.form == "elapsed":
            return f"minute {round(time_s / 60.0)}"
        local, now = self._local(time_s), self._local(self.now_s)
        clock = f"{local:%H:%M}"
        return clock if local.date() == now.date() else f"{clock} on {local.day} {local:%B}"

    def _local(self, time_s: float) -> datetime:
        return (EPOCH + timedelta(seconds=round(time_s))).astimezone(self.offset or UTC)


def in_one_form(form: Form, other: Form, name: str) -> None:
    """Refuse times of one request that come in two forms.

    Parameters
    ----------
    form, other : str
        Form of two of its series or times.
    name : str
        Name of the field of the other, for the error.

    Raises
    ------
    Inconsistent
        Forms that differ.
    """
    if form != other:
        raise Inconsistent(ONE_FORM, name)


def moment_seconds(text: str) -> float:
    """Seconds since 1970 of a date-time that was already checked."""
    try:
        return datetime.fromisoformat(text).timestamp()
    except ValueError:  # a leap second, or small letters
        return (_read(text) - EPOCH).total_seconds()


def in_order(series: Timed, values: Sequence[object], pointer: str) -> list[float]:
    """The seconds of a series whose times must ascend and number as its values.

    Parameters
    ----------
    series : Timed
        In SI.
    values : sequence
        What belongs to each time.
    pointer : str
        Name of the request's field, for the error.

    Returns
    -------
    list of float
        The times [s].

    Raises
    ------
    Inconsistent
        Unequal lengths, or times that do not ascend.
    """
    seconds = _as_many(series, values, pointer)
    if any(later <= earlier for earlier, later in pairwise(seconds)):
        raise Inconsistent(f"{pointer}: the times do not ascend", pointer)
    return seconds


def repeated_in_order(series: Timed, values: Sequence[object], pointer: str) -> list[float]:
    """The same of readings, of which several may be of one moment.

    Parameters
    ----------
    series : Timed
        In SI.
    values : sequence
        What belongs to each time.
    pointer : str
        Name of the request's field, for the error.

    Returns
    -------
    list of float
        The times [s], strictly ascending: of one moment the last keeps its time, and those before
        it stand a millisecond apart.

    Raises
    ------
    Inconsistent
        Unequal lengths, or times that fall.
    """
    seconds = _as_many(series, values, pointer)
    if any(later < earlier for earlier, later in pairwise(seconds)):
        raise Inconsistent(f"{pointer}: the times do not ascend", pointer)
    for at in range(len(seconds) - 2, -1, -1):
        seconds[at] = min(seconds[at], seconds[at + 1] - TIED_S)
    return seconds


def _as_many(series: Timed, values: Sequence[object], pointer: str) -> list[float]:
    seconds = series.seconds
    if len(seconds) != len(values):
        raise Inconsistent(
            f"{pointer}: {len(seconds)} times do not fit {len(values)} values", pointer
        )
    return seconds
