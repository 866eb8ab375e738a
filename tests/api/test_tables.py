"""CSV logs: the fast reader and the careful one agree, and neither lets nonsense through."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed_api import tables
from outfeed_api.problems import ProblemError
from outfeed_api.tables import read_table

cells = st.one_of(st.none(), st.floats(-1e6, 1e6).map(lambda value: round(value, 3)))
rows = st.lists(st.tuples(cells, cells), min_size=2, max_size=30)
offsets = st.sampled_from(["Z", "+02:00", "-05:30"])


def text(cell):
    return "" if cell is None else repr(cell)


@given(rows, offsets)
def test_what_is_written_is_read(table, offset):
    lines = [
        f"2026-10-01T00:{k:02d}:00{offset},{text(a)},{text(b)}" for k, (a, b) in enumerate(table)
    ]
    read = read_table("\n".join(["time,rate,plenum", *lines]).encode(), ["rate", "plenum"])
    assert np.diff(read.seconds) == pytest.approx(60.0)
    for name, column in (("rate", 0), ("plenum", 1)):
        for got, row in zip(read.columns[name].tolist(), table, strict=True):
            assert math.isnan(got) if row[column] is None else got == row[column]


@given(rows)
def test_quotes_force_the_careful_way_and_change_nothing(table):
    plain = [f"{k},{text(a)},{text(b)}" for k, (a, b) in enumerate(table)]
    quoted = [f'"{k}","{text(a)}","{text(b)}"' for k, (a, b) in enumerate(table)]
    head = "elapsed,rate,plenum"
    fast, careful = (
        read_table("\n".join([head, *lines]).encode(), ["rate", "plenum"])
        for lines in (plain, quoted)
    )
    assert fast.seconds.tolist() == careful.seconds.tolist()
    for name in ("rate", "plenum"):
        assert np.array_equal(fast.columns[name], careful.columns[name], equal_nan=True)


numbers = st.from_regex(r"\A-?[0-9]{0,9}(\.[0-9]{0,9})?\Z")


@given(st.lists(st.tuples(numbers, numbers), min_size=2, max_size=20))
def test_every_way_to_write_a_number_is_read_as_the_nearest_double(table):
    """Against the language's own reading; a sign or a point alone is refused."""
    lines = [f"{k},{a},{b}" for k, (a, b) in enumerate(table)]
    body = "\n".join(["elapsed,rate,plenum", *lines]).encode()
    written = [cell for row in table for cell in row]
    if any(cell and not cell.strip("-.") for cell in written):
        with pytest.raises(ProblemError, match="not a number"):
            read_table(body, ["rate", "plenum"])
        return
    read = read_table(body, ["rate", "plenum"])
    got = np.column_stack([read.columns["rate"], read.columns["plenum"]]).ravel()
    expected = [float(cell) if cell else math.nan for cell in written]
    assert np.array_equal(got, expected, equal_nan=True)


@pytest.mark.parametrize(
    "body, words",
    [
        ("elapsed,rate\n0,1\n,2\n", "row 3, column elapsed: the time is missing"),
        ("elapsed,rate\n0,1\n1,2\n,\n", "row 4, column elapsed: the time is missing"),
        ("elapsed,rate\n0,1\n1,\u0661\n", "row 3, column rate: not a number"),
        ("elapsed,rate\n0,1\r2\n1,2\n", "row 3 has 1 cell, the header 2"),
        ("time,rate\n2025-02-28T00:00:00Z,1\n2025-02-29T00:00:00Z,2\n", "there is no such date"),
    ],
)  # fmt: skip
def test_a_cell_that_cannot_be_read_is_named_with_its_row(body, words):
    with pytest.raises(ProblemError, match=re.escape(words)):
        read_table(body.encode(), ["rate"])


def test_line_ends_of_any_kind_are_read():
    read = read_table(b"elapsed,rate\r0,1\r1,2\r", ["rate"])
    assert read.columns["rate"].tolist() == [1.0, 2.0]


moments = st.datetimes(
    min_value=datetime(1900, 1, 1),  # noqa: DTZ001 - the strategy adds the zone
    max_value=datetime(2999, 12, 31),  # noqa: DTZ001
    timezones=st.sampled_from([UTC, timezone(timedelta(hours=-5.5))]),
)


@given(st.lists(moments, min_size=2, max_size=20), st.sampled_from(["T", "t", " "]))
def test_every_date_time_is_read_as_the_calendar_has_it(written, between):
    lines = [f"{moment.isoformat(between)},1" for moment in written]
    read = read_table("\n".join(["time,rate", *lines]).encode(), ["rate"])
    expected = [(moment - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() for moment in written]
    assert read.seconds.tolist() == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(
    "line",
    ['"2026-10-01T00:00:01Z",1,2', "2026-10-01T00:00:01Z , 1, 2", '"2026-10-01T00:00:01Z","1",2'],
)
def test_quotes_and_spaces_around_whole_cells_are_read_at_once(line, monkeypatch):
    monkeypatch.setattr(tables, "_careful", None)
    body = f"time,rate,plenum\n2026-10-01T00:00:00Z,1,2\n{line}\n".encode()
    assert read_table(body, ["rate", "plenum"]).columns["plenum"].tolist() == [2.0, 2.0]


@pytest.mark.parametrize("row", ['"1,2"', '1,"2', '1,"2"3', '1,2""', '"1","2","3"', "1, 2 3"])
def test_quotes_and_spaces_elsewhere_are_refused_with_their_place(row):
    with pytest.raises(ProblemError, match=r"row 3|rows from 2"):
        read_table(f"elapsed,rate\n0,1\n{row}\n".encode(), ["rate"])


@pytest.mark.parametrize(
    "head, words", [("elapsed;rate", "separated by ';'"), ("elapsed\trate", "separated by tabs")]
)
def test_another_separator_is_named(head, words):
    with pytest.raises(ProblemError, match=words):
        read_table(f"{head}\n0;1,5\n1;2,5\n".encode(), ["rate"])


def test_a_quote_that_is_never_closed_is_named():
    with pytest.raises(ProblemError, match="a quote is opened and never closed"):
        read_table(b'elapsed,rate\n0,1\n1,"2\n2,3\n', ["rate"])


def test_more_than_a_million_rows_are_refused():
    with pytest.raises(ProblemError, match="more than 1,000,000 rows"):
        read_table(b"elapsed,rate\n" + b"0,1\n" * 1_000_001, ["rate"])


def test_offsets_and_fractions_count():
    body = b"time,rate\n2026-10-01T00:00:00.5Z,1\n2026-10-01T02:00:01+02:00,2\n"
    read = read_table(body, ["rate"])
    assert float(read.seconds[1] - read.seconds[0]) == 0.5
    assert (read.first, read.last) == ("2026-10-01T00:00:00.5Z", "2026-10-01T02:00:01+02:00")


def test_windows_line_ends_and_a_byte_order_mark_are_read():
    read = read_table(b"\xef\xbb\xbfelapsed,rate\r\n0,1\r\n1,2\r\n", ["rate"])
    assert read.columns["rate"].tolist() == [1.0, 2.0]


@pytest.mark.parametrize(
    "row",
    [
        b"2026-13-01T00:00:00Z,1", b"2026-10-01T24:00:00Z,1", b"2026-10-01T00:61:00Z,1",
        b"2026-10-01T00:00:00,1", b"2026-10-01T00:00:00+25:00,1", b"2026-1-01T00:00:00Z,1",
        b"2026-10-01T00:00:00Z,true", b"2026-10-01T00:00:00Z,1_0", b"2026-10-01T00:00:00Z,1e999",
        b"2026-10-01T00:00:00Z,[1]", b"2026-10-01T00:00:00Z,1,2", b",1",
    ],
)  # fmt: skip
def test_rows_that_make_no_sense_are_refused_with_their_number(row):
    body = b"time,rate\n2026-10-01T00:00:00Z,1\n" + row + b"\n"
    with pytest.raises(ProblemError, match="row 3"):
        read_table(body, ["rate"])


def test_a_fault_far_down_is_found_in_its_row():
    lines = [f"{k},1.5" for k in range(200_000)]
    lines[150_000] = "150000,oops"
    with pytest.raises(ProblemError, match="row 150002, column rate"):
        read_table(("elapsed,rate\n" + "\n".join(lines)).encode(), ["rate"])
