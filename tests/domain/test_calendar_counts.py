"""Open days counted: published examples, numpy, and a count day by day."""

from collections.abc import Iterator
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.calendar import Calendar, open_days_between

LONDON = ZoneInfo("Europe/London")
WEEKDAYS, SATURDAYS = frozenset(range(5)), frozenset({5})
DAY = timedelta(days=1)

dates = st.dates(date(1940, 1, 1), date(2110, 12, 31))
near_dates = st.dates(date(2024, 1, 1), date(2028, 12, 31))
weekdays = st.frozensets(st.integers(0, 6), min_size=1)
some_dates = st.frozensets(near_dates, max_size=40)

NORTHERN_IRELAND_2023 = [  # newspaper list of the public holidays of 2023, January 2023
    *("2023-01-02", "2023-03-17", "2023-04-07", "2023-04-10", "2023-05-01", "2023-05-08"),
    *("2023-05-29", "2023-07-12", "2023-08-28", "2023-12-25", "2023-12-26"),
]
ENGLAND_2026 = [  # from memory of the government's list
    *("2026-01-01", "2026-04-03", "2026-04-06", "2026-05-04"),
    *("2026-05-25", "2026-08-31", "2026-12-25", "2026-12-28"),
]


def closing(*days: str) -> Calendar:
    return Calendar(LONDON, WEEKDAYS, closed=frozenset(map(date.fromisoformat, days)))


def both_ends(cal: Calendar, start: str, end: str) -> int:
    """As spreadsheets count: the end date too."""
    return open_days_between(cal, date.fromisoformat(start), date.fromisoformat(end) + DAY)


def each_day(start: date, end: date) -> Iterator[date]:
    while start < end:
        yield start
        start += DAY


@pytest.mark.parametrize(
    ("open_weekdays", "start", "end", "days"),
    [  # NumPy documentation, busday_count: the end date is left out
        (WEEKDAYS, "2011-01-01", "2011-02-01", 21),
        (WEEKDAYS, "2011-01-01", "2012-01-01", 260),
        (SATURDAYS, "2011-01-01", "2012-01-01", 53),
    ],
)
def test_open_days_agree_with_the_numpy_manual(open_weekdays: frozenset[int], start: str, end: str, days: int) -> None:
    cal = Calendar(LONDON, open_weekdays)
    assert open_days_between(cal, date.fromisoformat(start), date.fromisoformat(end)) == days


@pytest.mark.parametrize(
    ("closed", "start", "end", "days"),
    [
        ([], "2008-10-01", "2009-03-01", 108),  # Microsoft, help on NETWORKDAYS
        (["2008-11-26"], "2008-10-01", "2009-03-01", 107),  # the same
        ([], "2014-01-15", "2014-06-30", 119),  # spreadsheet textbook
        ([], "2008-01-01", "2009-01-01", 263),  # documentation of a calculator
        (NORTHERN_IRELAND_2023, "2023-01-01", "2023-12-31", 260 - 11),  # eleven weekdays fewer, derived
        (ENGLAND_2026, "2026-01-01", "2026-12-31", 253),  # derived
    ],
)
def test_open_days_agree_with_published_working_days(closed: list[str], start: str, end: str, days: int) -> None:
    assert both_ends(closing(*closed), start, end) == days


def test_a_holiday_on_a_saturday_closes_no_open_day() -> None:
    assert both_ends(closing("2026-11-28"), "2026-11-23", "2026-11-29") == 5


def test_the_end_date_is_left_out_and_the_start_counts() -> None:
    cal, friday = closing(), date(2026, 11, 27)
    assert open_days_between(cal, friday, friday) == 0
    assert open_days_between(cal, friday, friday + DAY) == 1
    assert open_days_between(cal, friday, friday + 3 * DAY) == 1
    assert open_days_between(cal, friday, friday + 4 * DAY) == 2


@settings(deadline=None)
@given(dates, dates, weekdays, st.frozensets(dates, max_size=40))
def test_open_days_agree_with_numpy(start: date, end: date, on: frozenset[int], closed: frozenset[date]) -> None:
    mask = [weekday in on for weekday in range(7)]
    expected = np.busday_count(start, end, weekmask=mask, holidays=sorted(closed))
    assert open_days_between(Calendar(LONDON, on, closed=closed), start, end) == expected


@settings(deadline=None)
@given(near_dates, near_dates, st.frozensets(st.integers(0, 6)), some_dates, some_dates)
def test_open_days_are_those_counted_one_by_one(
    start: date, end: date, on: frozenset[int], closed: frozenset[date], opened: frozenset[date]
) -> None:
    cal = Calendar(LONDON, on, closed=closed, opened=opened)
    assert open_days_between(cal, start, max(start, end)) == sum(map(cal.is_open, each_day(start, end)))
