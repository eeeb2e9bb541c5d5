"""Weeks of ISO 8601 in the room's own time zone."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.calendar import iso_week, week_bounds

LONDON = ZoneInfo("Europe/London")
NEW_YORK = ZoneInfo("America/New_York")

# Encyclopedia article "ISO week date", the table as copied alike in several public test suites.
ENCYCLOPEDIA = """
2005-01-01 2004-W53-6  2005-01-02 2004-W53-7  2005-12-31 2005-W52-6  2006-01-01 2005-W52-7  2006-01-02 2006-W01-1
2006-12-31 2006-W52-7  2007-01-01 2007-W01-1  2007-12-30 2007-W52-7  2007-12-31 2008-W01-1  2008-01-01 2008-W01-2
2008-12-28 2008-W52-7  2008-12-29 2009-W01-1  2008-12-30 2009-W01-2  2008-12-31 2009-W01-3  2009-01-01 2009-W01-4
2009-12-31 2009-W53-4  2010-01-01 2009-W53-5  2010-01-02 2009-W53-6  2010-01-03 2009-W53-7
"""
ISO_8601 = "1985-04-12 1985-W15-5"  # ISO 8601:2000(E), 5.2.3.1
AROUND_2027 = """
2026-12-28 2026-W53-1  2026-12-31 2026-W53-4  2027-01-03 2026-W53-7  2027-01-04 2027-W01-1
"""  # derived from the definition
OFFICE_PROGRAMS = [  # help pages and manuals on ISOWEEKNUM: LibreOffice, SoftMaker PlanMaker, Microsoft
    ("1995-01-01", 52),
    ("1999-01-01", 53),
    ("2020-01-01", 1),
    ("2017-01-01", 52),
    ("2012-03-09", 10),
]
LONG_YEARS = {2004, 2009, 2015, 2020, 2026, 2032, 2037, 2043, 2048, 2054, 2060, 2065}  # derived


def week_dates(*tables: str) -> list[tuple[str, str]]:
    cells = " ".join(tables).split()
    return list(zip(cells[::2], cells[1::2], strict=True))


def noon(day: str) -> datetime:
    return datetime.fromisoformat(f"{day}T12:00").replace(tzinfo=LONDON)


@pytest.mark.parametrize(("day", "week_date"), week_dates(ENCYCLOPEDIA, ISO_8601, AROUND_2027))
def test_a_day_lies_in_its_iso_week(day: str, week_date: str) -> None:
    year, week, weekday = int(week_date[:4]), int(week_date[6:8]), int(week_date[9])
    assert iso_week(noon(day), LONDON) == (year, week)
    start, end = week_bounds(year, week, LONDON)
    assert start <= noon(day) < end
    assert (noon(day).astimezone(UTC) - start) // timedelta(days=1) == weekday - 1


@pytest.mark.parametrize(("day", "week"), OFFICE_PROGRAMS)
def test_office_programs_give_the_same_week(day: str, week: int) -> None:
    assert iso_week(noon(day), LONDON)[1] == week


def test_a_week_begins_at_the_rooms_monday_midnight() -> None:
    monday = datetime(2026, 6, 15, 0, tzinfo=LONDON).astimezone(UTC)
    assert week_bounds(2026, 25, LONDON)[0] == monday
    for seconds, week in ((-1, 24), (0, 25), (1, 25)):
        assert iso_week(monday + timedelta(seconds=seconds), LONDON) == (2026, week)


def test_the_weeks_of_the_clock_changes_are_an_hour_shorter_and_longer() -> None:
    hours = [(end - start) / timedelta(hours=1) for start, end in (week_bounds(2026, n, LONDON) for n in (13, 43, 44))]
    assert hours == [167, 169, 168]


def test_the_weeks_of_a_year_follow_each_other_into_the_next() -> None:
    bounds = [week_bounds(2026, week, NEW_YORK) for week in range(1, 54)] + [week_bounds(2027, 1, NEW_YORK)]
    assert [end for _, end in bounds[:-1]] == [start for start, _ in bounds[1:]]


def test_only_long_years_have_a_week_53() -> None:
    for year in range(2000, 2071):
        if year in LONG_YEARS:
            assert iso_week(week_bounds(year, 53, LONDON)[0], LONDON) == (year, 53)
        else:
            with pytest.raises(ValueError, match=f"{year} has no week 53. Ask for a week from 1 to 52."):
                week_bounds(year, 53, LONDON)


@pytest.mark.parametrize(("year", "week"), [(2026, 0), (2026, 54), (2026, -1), (0, 1), (1, 1), (9999, 52)])
def test_a_week_that_is_not_is_refused_in_a_sentence(year: int, week: int) -> None:
    with pytest.raises(ValueError, match=r"no (week|year) .*Ask for a week"):
        week_bounds(year, week, LONDON)
