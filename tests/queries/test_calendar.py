"""A year of the room's calendar as its page shows it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from app.db.engine import reading, transaction
from app.queries.calendar import DayCell, YearView, year_view
from app.services.calendar import set_days
from tests.room import Room

DAY = timedelta(days=1)


def seen(room: Room, year: int = 2026, now: datetime | None = None) -> YearView:
    with reading(room.database) as session:
        return year_view(session, year, now or room.now, room.zone)


def cell(view: YearView, day: date) -> DayCell:
    """The one cell of this day."""
    (found,) = [each for month in view.months for week in month.weeks for each in week if each and each.day == day]
    return found


def sets(room: Room, first: date, days: int, is_open: bool, why: str) -> None:
    with transaction(room.database) as session:
        set_days(session, [first + DAY * number for number in range(days)], is_open, why, room.now)


def test_each_day_stands_once_under_its_weekday(room: Room) -> None:
    for year in (2026, 2028):
        view = seen(room, year)
        cells = [(at, each) for month in view.months for week in month.weeks for at, each in enumerate(week) if each]
        assert [each.day for _, each in cells] == [
            date(year, 1, 1) + DAY * n for n in range(366 if year == 2028 else 365)
        ]
        assert all(at == each.day.weekday() for at, each in cells)  # Monday first
        assert all(len(week) == 7 for month in view.months for week in month.weeks)


def test_a_day_is_open_or_closed_by_its_weekday_or_by_its_date(room: Room) -> None:
    sets(room, date(2026, 12, 25), 1, False, "Christmas Day")
    sets(room, date(2026, 11, 28), 1, True, "stocktaking")
    view = seen(room)
    assert cell(view, date(2026, 12, 24)) == DayCell(date(2026, 12, 24), "open", "", False)
    assert cell(view, date(2026, 12, 26)) == DayCell(date(2026, 12, 26), "closed", "", False)
    assert cell(view, date(2026, 12, 25)) == DayCell(date(2026, 12, 25), "shut", "Christmas Day", False)
    assert cell(view, date(2026, 11, 28)) == DayCell(date(2026, 11, 28), "opened", "stocktaking", False)


def test_open_days_are_counted_by_month_and_year(room: Room) -> None:
    sets(room, date(2026, 12, 24), 10, False, "winter closing")  # six weekdays of 2026, one of 2027
    sets(room, date(2026, 11, 28), 1, True, "stocktaking")
    for year, off in ((2026, {11: -1, 12: 6}), (2027, {1: 1}), (2028, {})):
        view = seen(room, year)
        for number, month in enumerate(view.months, start=1):
            start, end = np.datetime64(f"{year}-{number:02}"), np.datetime64(f"{year}-{number:02}") + 1
            weekdays = np.busday_count(start.astype("datetime64[D]"), end.astype("datetime64[D]"))
            assert month.open_days == weekdays - off.get(number, 0), month.name
        assert view.open_days == np.busday_count(f"{year}-01-01", f"{year + 1}-01-01") - sum(off.values())


def test_dates_in_a_row_with_one_reason_are_one_line_whole_over_the_new_year(room: Room) -> None:
    sets(room, date(2026, 12, 24), 10, False, "winter closing")
    sets(room, date(2026, 12, 28), 1, False, "no heating")
    sets(room, date(2026, 5, 4), 1, False, "no heating")
    said = [("4 May 2026", "no heating"), ("24 – 27 Dec 2026", "winter closing"), ("28 Dec 2026", "no heating"),
            ("29 Dec 2026 – 2 Jan 2027", "winter closing")]  # fmt: skip
    assert [(each.words, each.why) for each in seen(room).set_spans] == said
    assert [(each.words, each.why) for each in seen(room, 2027).set_spans] == said[-1:]
    assert seen(room, 2025).set_spans == ()


def test_today_is_the_date_on_the_rooms_wall(room: Room) -> None:
    late = datetime(2026, 7, 1, 23, 30, tzinfo=UTC)  # 00:30 on 2 July in London
    view = seen(room, now=late)
    assert view.today == date(2026, 7, 2) and cell(view, view.today).is_today
    assert not cell(view, date(2026, 7, 1)).is_today


def test_ten_years_either_way_can_be_looked_at(room: Room) -> None:
    assert [(seen(room, year).has_before, seen(room, year).has_after) for year in (2016, 2026, 2036)] == [
        (False, True), (True, True), (True, False),
    ]  # fmt: skip
    for year in (2015, 2037):
        with pytest.raises(ValueError, match="from 2016 to 2036"):
            seen(room, year)
