"""A column of date-times read at once says the same as each of them read alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from outfeed_api import moments
from outfeed_api.moment_columns import column_seconds
from outfeed_api.moments import Timed, moment_seconds

OFFSETS = st.integers(-23 * 60 - 59, 23 * 60 + 59).map(lambda m: timezone(timedelta(minutes=m)))
FIRST, LAST = datetime.fromisoformat("1900-01-01"), datetime.fromisoformat("2999-12-31")
MOMENTS = st.datetimes(FIRST, LAST)
PLAIN = [f"2025-10-14T13:20:{second:02d}-05:00" for second in range(20)]


@given(moments=st.lists(MOMENTS, min_size=8, max_size=12), offset=OFFSETS, digits=st.integers(0, 6))
@settings(max_examples=40)
def test_a_column_is_read_as_the_standard_library_reads_each_entry(
    moments: list[datetime], offset: timezone, digits: int
) -> None:
    texts = []
    for moment in moments:
        text = moment.replace(tzinfo=offset).isoformat(timespec="microseconds")
        cut = text[:19] + (text[19 : 20 + digits] if digits else "") + text[26:]
        texts.append(cut)
    expected = [datetime.fromisoformat(text).timestamp() for text in texts]
    # A float holds four microseconds at the far ends of the calendar.
    assert column_seconds(texts) == pytest.approx(expected, rel=0.0, abs=1e-5)


@pytest.mark.parametrize("year", ["0001", "1899", "3000", "9999"])
def test_years_of_another_age_are_left_to_the_single_reader_which_refuses_them(year) -> None:
    text = f"{year}-10-14T13:20:00-05:00"
    assert column_seconds([text] * 10) is None
    with pytest.raises(ValidationError, match="1900 to 2999"):
        Timed(times=[text] * 2, elapsed=None)


def test_a_column_in_universal_time_is_read() -> None:
    start = datetime(2024, 2, 28, 23, 59, 50, tzinfo=UTC)
    moments = [start + timedelta(seconds=5 * k) for k in range(30)]
    texts = [f"{moment:%Y-%m-%dT%H:%M:%SZ}" for moment in moments]
    assert column_seconds(texts) == [moment.timestamp() for moment in moments]


ODD = [
    "2025-02-29T13:20:00-05:00",
    "2025-13-01T13:20:00-05:00",
    "2025-10-14T24:20:00-05:00",
    "2025-10-14T13:60:00-05:00",
    "2025-10-14T13:20:61-05:00",
    "2025-10-14T13:20:00-24:00",
    "2025-10-14T13:20:00_05:00",
    "2025-10-14T13:20:00.05:00",
    "2025-10-1aT13:20:00-05:00",
    "2025-10-14X13:20:00-05:00",
    "2025-10-14T13:20:00",
    "2025-10-14T13:20:00,5-05:00",
    "0000-10-14T13:20:00-05:00",
    "２025-10-14T13:20:00-05:00",
    "",
]


@pytest.mark.parametrize("odd", ODD)
def test_an_odd_entry_is_refused_at_its_own_place(odd: str) -> None:
    texts = [*PLAIN[:11], odd, *PLAIN[12:]]
    assert column_seconds(texts) is None
    with pytest.raises(ValidationError) as refused:
        Timed.model_validate({"times": texts})
    assert [error["loc"] for error in refused.value.errors()] == [("times", 11)]


@pytest.mark.parametrize("odd", [7, None, 1.5, True])
def test_what_is_no_text_is_refused_at_its_own_place(odd: object) -> None:
    with pytest.raises(ValidationError) as refused:
        Timed.model_validate({"times": [*PLAIN, odd]})
    assert refused.value.errors()[0]["loc"] == ("times", len(PLAIN))


@pytest.mark.parametrize(
    "accepted", ["2025-10-14t13:20:00z", "2025-10-14 13:20:00Z", "2016-12-31T23:59:60Z"]
)
def test_other_ways_of_writing_are_still_accepted(accepted: str) -> None:
    read = Timed.model_validate({"times": [*PLAIN, accepted]})
    assert read.seconds[-1] == moment_seconds(accepted)
    assert read.seconds[:20] == column_seconds(PLAIN)


def test_a_column_is_read_once_however_often_it_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    reads = []

    def counting(texts: Any) -> list[float] | None:
        reads.append(len(texts))
        return column_seconds(texts)

    monkeypatch.setattr(moments, "column_seconds", counting)
    read = Timed.model_validate({"times": PLAIN})
    assert read.seconds == read.model_copy().seconds == column_seconds(PLAIN)
    assert reads == [len(PLAIN)]


def test_too_many_times_are_refused() -> None:
    with pytest.raises(ValidationError) as refused:
        Timed.model_validate({"times": PLAIN * 501})
    assert refused.value.errors()[0]["type"] == "too_long"
