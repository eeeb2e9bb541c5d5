"""Dates as people type them: what is read, what is refused in a sentence, and how days are said."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.dates import MOST_DAYS, Span, days_words, read_dates, span_words, spans
from app.domain.words import date_said

DAY = timedelta(days=1)
some_dates = st.dates(date(1990, 1, 1), date(2060, 12, 31))


def ends(text: str, year: int = 2026) -> list[tuple[str, str]]:
    """The runs of days that were read, and nothing that could not be."""
    typed = read_dates(text, year)
    assert typed.wrong == ()
    return [(span.first.isoformat(), span.last.isoformat()) for span in spans(typed.days)]


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("2026-12-24", "2026-12-24", "2026-12-24"),  # ISO 8601
        ("2026-12-24 to 2027-01-02", "2026-12-24", "2027-01-02"),
        ("2026-12-24 – 2027-01-02", "2026-12-24", "2027-01-02"),
        ("2026-12-24–2027-01-02", "2026-12-24", "2027-01-02"),
        ("2026-12-24 - 2027-01-02", "2026-12-24", "2027-01-02"),
        ("24 Dec 2026 – 2 Jan 2027", "2026-12-24", "2027-01-02"),
        ("24 Dec 2026-2 Jan 2027", "2026-12-24", "2027-01-02"),
        ("24 December 2026 until 2 January 2027", "2026-12-24", "2027-01-02"),
        ("24th dec. 2026 TO 2nd JAN 2027", "2026-12-24", "2027-01-02"),
        ("24 Dec 2026 to 2027-01-02", "2026-12-24", "2027-01-02"),
        ("24 Dec", "2026-12-24", "2026-12-24"),
        ("24 Dec – 2 Jan", "2026-12-24", "2027-01-02"),
        ("24 Dec – 2 Jan 2027", "2026-12-24", "2027-01-02"),
        ("24 Dec 2026 – 2 Jan", "2026-12-24", "2027-01-02"),
        ("3 Aug – 14 Aug 2027", "2027-08-03", "2027-08-14"),
        ("24 – 28 Dec 2026", "2026-12-24", "2026-12-28"),
        ("24-28 Dec", "2026-12-24", "2026-12-28"),
        ("5 Sept 2026", "2026-09-05", "2026-09-05"),
        ("Thursday 24 Dec 2026 – Sat 2 Jan 2027", "2026-12-24", "2027-01-02"),
        ("29 Feb 2028", "2028-02-29", "2028-02-29"),
    ],
)
def test_a_date_or_a_range_is_read(text: str, first: str, last: str) -> None:
    assert ends(text) == [(first, last)]


def test_a_date_without_a_year_is_of_the_year_that_is_looked_at() -> None:
    assert ends("1 May", 2026) == [("2026-05-01", "2026-05-01")]
    assert ends("1 May", 2027) == [("2027-05-01", "2027-05-01")]


def test_lines_and_commas_part_dates_and_a_day_twice_is_one() -> None:
    text = "3 Apr, 6 Apr 2026\n\n  2026-05-25 ; 4 – 6 Apr\r\n"
    assert ends(text) == [("2026-04-03", "2026-04-06"), ("2026-05-25", "2026-05-25")]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("24.12.2026", "cannot be read as a date in one way only. Write it like 24 Dec 2026"),
        ("12/11/2026", "cannot be read as a date in one way only"),
        ("Dec 24 2026", "cannot be read as a date in one way only"),
        ("24 Dec 26", "cannot be read as a date in one way only"),
        ("2026-12-24T09:00", "cannot be read as a date in one way only"),
        ("24 Dec –", "cannot be read as a date in one way only"),
        ("٢٤ Dec 2026", "cannot be read as a date in one way only"),
        ("24", "that has no month"),
        ("24 – 28", "that has no month"),
        ("24 Dek 2026", "there is no month called Dek"),
        ("2026-13-01", "there is no month 13"),
        ("31 Feb 2026", "there is no 31 Feb 2026."),
        ("29 Feb", "there is no 29 Feb 2026."),
        ("1 Jan 0000", "there is no 1 Jan 0."),
        ("Someday 24 Dec 2026", "there is no weekday called Someday"),
        ("Friday 24 Dec 2026", "24 Dec 2026 is a Thursday, not a Friday."),
        ("1 May – 2 May – 3 May", "more than two ends"),
        ("2 Jan 2027 – 24 Dec 2026", "it ends on 24 Dec 2026, before it begins on 2 Jan 2027."),
        ("28 – 24 Dec 2026", "it ends on 24 Dec 2026, before it begins on 28 Dec 2026."),
        ("28 – 24 Dec", "it ends on 24 Dec 2026, before it begins on 28 Dec 2026."),
        ("24 Dec – 20 Dec", "Write both years."),
    ],
)
def test_what_can_be_read_in_two_ways_or_none_is_refused_with_its_line(text: str, said: str) -> None:
    typed = read_dates(f"1 May\n{text}", 2026)
    assert typed.days == (date(2026, 5, 1),)  # what can be read is read all the same
    assert len(typed.wrong) == 1 and typed.wrong[0].startswith(f"Line 2, “{text}”: ") and said in typed.wrong[0]


def test_every_wrong_line_is_named_at_once() -> None:
    wrong = read_dates("soon\n1 May\nlater", 2026).wrong
    assert [each.split(",")[0] for each in wrong] == ["Line 1", "Line 3"]


@pytest.mark.parametrize("text", ["", " \n ", ", ;\n"])
def test_no_date_at_all_is_said(text: str) -> None:
    assert read_dates(text, 2026).days == () and "There is no date in it." in read_dates(text, 2026).wrong[0]


def test_at_most_400_days_are_read_in_one_go() -> None:
    assert MOST_DAYS == 400
    first = date(2026, 1, 1)
    for days, read in ((400, 400), (401, 0)):
        text = f"{first} to {first + DAY * (days - 1)}"
        assert len(read_dates(text, 2026).days) == read, days
    # A slip in the century is told without counting it out day by day.
    assert "That is 3,652,059 days. At most 400" in read_dates("0001-01-01 to 9999-12-31", 2026).wrong[0]


@given(st.frozensets(some_dates, max_size=60))
def test_runs_have_no_gap_inside_and_one_between_and_lose_no_day(days: frozenset[date]) -> None:
    found = spans(days)
    assert [day for span in found for day in span.days()] == sorted(days)
    assert all(after.first - before.last > DAY for before, after in zip(found, found[1:], strict=False))


@given(some_dates, st.integers(0, MOST_DAYS - 1), st.integers(1990, 2060))
def test_a_span_that_was_said_is_read_back_whatever_year_is_looked_at(first: date, more: int, year: int) -> None:
    span = Span(first, first + DAY * more)
    assert read_dates(span_words(span), year).days == span.days()


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ([], ""),
        ([date(2026, 12, 24)], "24 Dec 2026"),
        ([date(2026, 12, day) for day in (24, 25, 26)], "24 – 26 Dec 2026"),
        ([date(2026, 5, 31), date(2026, 6, 1)], "31 May – 1 Jun 2026"),
        ([date(2026, 12, 31), date(2027, 1, 1)], "31 Dec 2026 – 1 Jan 2027"),
        ([date(2026, 1, 1), date(2026, 5, 4), date(2026, 5, 25)], "1 Jan 2026, 4 May 2026, 25 May 2026"),
        ([date(2026, month, 1) for month in (1, 3, 5, 7)], "4 days from 1 Jan 2026 to 1 Jul 2026"),
    ],
)
def test_days_are_said_in_runs(days: list[date], said: str) -> None:
    assert days_words(days) == said


def test_a_day_is_said_with_its_year() -> None:
    assert date_said(date(2027, 1, 2)) == "2 Jan 2027"
