"""The room's calendar, written by its services and read back as everything else reads it."""

from __future__ import annotations

import random
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select

from app.db.engine import reading, transaction
from app.db.models import CalendarDay, Change, HouseRule, table_of
from app.domain.calendar import Calendar, open_days_between
from app.domain.dates import read_dates
from app.queries.calendar import calendar_in_force
from app.queries.house import calendar_now, house_now
from app.services.calendar import close_holidays, set_days, set_weekdays, unset_days
from app.services.holidays_of import public_holidays
from tests.room import LONDON, Room

DAY = timedelta(days=1)
CHRISTMAS = read_dates("24 Dec 2026 – 2 Jan 2027", 2026).days
SATURDAY = date(2026, 11, 28)
FRI, SAT, SUN = 4, 5, 6
WEEKDAYS = frozenset(range(5))


def calendar_of(room: Room) -> Calendar:
    with reading(room.database) as session:
        return calendar_now(session, house_now(session), LONDON)


def changes(room: Room, subject: str = "calendar") -> list[Any]:
    with reading(room.database) as session:
        table = table_of(Change)
        return list(session.execute(select(table).where(table.c.subject == subject).order_by(table.c.id)).mappings())


def closes(room: Room, days: Iterable[str], now: datetime | None = None) -> None:
    """Dates are closed, and more than 400 in as many goes as it takes; `now` is when the manager does it."""
    found = [date.fromisoformat(day) for day in days]
    with transaction(room.database) as session:
        for start in range(0, len(found), 400):
            set_days(session, found[start : start + 400], False, "public holiday", now or room.now)


def working_days(room: Room, first: str, last: str) -> int:
    """Open days as spreadsheets count them: both ends."""
    return open_days_between(calendar_of(room), date.fromisoformat(first), date.fromisoformat(last) + DAY)


def test_closed_dates_are_closed_and_an_opened_one_is_open(room: Room) -> None:
    with transaction(room.database) as session:
        assert set_days(session, CHRISTMAS, False, "winter closing", room.now, by=room.worker["hedda"]) == 10
        assert set_days(session, [SATURDAY, SATURDAY], True, "stocktaking", room.now) == 1
    cal = calendar_of(room)
    assert not any(map(cal.is_open, CHRISTMAS)) and cal.is_open(SATURDAY)
    assert cal.is_open(date(2026, 12, 23)) and cal.is_open(date(2027, 1, 4)) and not cal.is_open(SATURDAY + DAY)


def test_one_go_is_one_line_of_the_history_with_who_what_and_why(room: Room) -> None:
    with transaction(room.database) as session:
        set_days(session, CHRISTMAS, False, " winter closing ", room.now, by=room.worker["hedda"])
    (line,) = changes(room)
    assert (line["what"], line["old"], line["new"], line["why"]) == (
        "dates", None, "closed 24 Dec 2026 – 2 Jan 2027", "winter closing",
    )  # fmt: skip
    assert (line["changed_by"], line["changed_at"]) == (room.worker["hedda"], room.now)


def test_a_date_set_again_is_set_anew_and_the_history_says_what_it_was(room: Room) -> None:
    with transaction(room.database) as session:
        set_days(session, CHRISTMAS, False, "winter closing", room.now)
        set_days(session, CHRISTMAS[4:5], True, "a class comes", room.now)
    assert calendar_of(room).is_open(date(2026, 12, 28))
    line = changes(room)[-1]
    assert (line["old"], line["new"]) == ("closed 28 Dec 2026, winter closing", "open 28 Dec 2026")


def test_what_is_taken_back_is_as_its_weekday_says(room: Room) -> None:
    with transaction(room.database) as session:
        set_days(session, CHRISTMAS, False, "winter closing", room.now)
        set_days(session, [SATURDAY], True, "stocktaking", room.now)
        asked = [*CHRISTMAS[:2], SATURDAY, SATURDAY + DAY]
        assert unset_days(session, asked, "not after all", room.now) == 3
    cal = calendar_of(room)
    assert cal.is_open(CHRISTMAS[0]) and cal.is_open(CHRISTMAS[1]) and not cal.is_open(SATURDAY)
    assert not cal.is_open(CHRISTMAS[4])  # the rest stays closed
    assert changes(room)[-1]["old"] == "open 28 Nov 2026, stocktaking; closed 24 – 25 Dec 2026, winter closing"


def test_nothing_to_take_back_is_said(room: Room) -> None:
    with transaction(room.database) as session, pytest.raises(ValueError, match="None of these dates was set"):
        unset_days(session, CHRISTMAS, "not after all", room.now)
    assert changes(room) == []


@pytest.mark.parametrize(
    ("days", "why", "said"),
    [
        ([], "closed", "Name at least one date"),
        ([SATURDAY], " ", "Say why"),
        ([SATURDAY + DAY * number for number in range(401)], "closed", "401 days. At most 400"),
        ([date(2015, 12, 31)], "closed", "from 2016 to 2036"),
        ([date(2037, 1, 1)], "closed", "from 2016 to 2036"),
    ],
)
def test_what_cannot_be_set_is_refused_and_nothing_is_written(
    room: Room, days: list[date], why: str, said: str
) -> None:
    for deed in (
        lambda session: set_days(session, days, False, why, room.now),
        lambda session: unset_days(session, days, why, room.now),
        lambda session: close_holidays(session, dict.fromkeys(days, "a day"), why, room.now),
    ):
        with pytest.raises(ValueError, match=said), transaction(room.database) as session:
            deed(session)
    assert changes(room) == [] and not calendar_of(room).closed


def test_the_ends_of_what_can_be_set_can_be_set(room: Room) -> None:
    for first, days in ((date(2016, 1, 1), 400), (date(2036, 12, 31), 1)):
        with transaction(room.database) as session:
            assert (
                set_days(session, [first + DAY * number for number in range(days)], False, "closed", room.now) == days
            )


def test_each_holiday_is_closed_for_its_own_name_in_one_line_of_the_history(room: Room) -> None:
    named = {date(2026, 12, 25): "Christmas Day", date(2027, 1, 1): "New Year's Day"}
    with transaction(room.database) as session:
        assert close_holidays(session, named, "public holidays, Northern Ireland", room.now) == 2
    with reading(room.database) as session:
        rows = session.execute(select(table_of(CalendarDay))).mappings()
        assert {row["day"]: (row["is_open"], row["why"]) for row in rows} == {
            day: (False, name) for day, name in named.items()
        }
    (line,) = changes(room)
    assert (line["new"], line["why"]) == ("closed 25 Dec 2026, 1 Jan 2027", "public holidays, Northern Ireland")


def test_only_the_weekdays_that_differ_are_changed_each_as_a_house_rule(room: Room) -> None:
    with transaction(room.database) as session:
        assert (
            set_weekdays(session, [0, 1, 2, 3, 5], "the building opens on Saturdays", room.now, room.worker["hedda"])
            == 2
        )
    with reading(room.database) as session:
        table = table_of(HouseRule)
        set_ = {
            row["name"]: (row["value"], row["set_by"], row["reason"])
            for row in session.execute(select(table).where(table.c.version > 0)).mappings()
        }
    why = "the building opens on Saturdays"
    assert set_ == {"open_friday": (0, room.worker["hedda"], why), "open_saturday": (1, room.worker["hedda"], why)}
    assert calendar_of(room).open_weekdays == {0, 1, 2, 3, 5}


def test_weekdays_that_are_so_already_change_nothing(room: Room) -> None:
    with transaction(room.database) as session:
        assert set_weekdays(session, range(5), "as ever", room.now) == 0
    assert changes(room, "house rule") == []


@pytest.mark.parametrize(
    ("weekdays", "why", "said"),
    [
        ([], "holidays", "At least one weekday must be open"),
        ([7], "an eighth", "Monday to Sunday"),
        ([0], " ", "Say why"),
    ],
)
def test_weekdays_that_cannot_be_are_refused(room: Room, weekdays: list[int], why: str, said: str) -> None:
    with pytest.raises(ValueError, match=said), transaction(room.database) as session:
        set_weekdays(session, weekdays, why, room.now)
    assert changes(room, "house rule") == [] and calendar_of(room).open_weekdays == WEEKDAYS


# Both ends count, as in spreadsheets; each row is the weekdays that are open, the dates closed, from, to, days.
PUBLISHED = [
    (WEEKDAYS, (), "2011-01-01", "2011-01-31", 21),  # NumPy documentation, busday_count
    (WEEKDAYS, (), "2011-01-01", "2011-12-31", 260),  # the same
    ({SAT}, (), "2011-01-01", "2011-12-31", 53),  # the same
    (WEEKDAYS, (), "2008-10-01", "2009-03-01", 108),  # Microsoft, help on NETWORKDAYS
    (WEEKDAYS, ("2008-11-26",), "2008-10-01", "2009-03-01", 107),  # the same
    # Spreadsheet textbook on NETWORKDAYS: six dates, three of them on open days within the span.
    (WEEKDAYS, ("2010-12-25", "2011-01-01", "2011-01-17", "2011-02-21", "2011-05-30", "2011-07-04"),
     "2010-12-12", "2011-06-02", 121),
    # Help of a spreadsheet: Christmas and New Year of 2001.
    (WEEKDAYS, ("2001-12-24", "2001-12-25", "2001-12-26", "2001-12-31", "2002-01-01"), "2001-12-15", "2002-01-15", 17),
    # Microsoft, help on NETWORKDAYS.INTL: closed on Fridays and Saturdays, and on two dates. From memory.
    (frozenset(range(7)) - {FRI, SAT}, ("2006-01-02", "2006-01-16"), "2006-01-01", "2006-02-01", 22),
]  # fmt: skip


@pytest.mark.parametrize(("weekdays", "closed", "first", "last", "days"), PUBLISHED)
def test_published_working_days_are_those_of_the_rooms_calendar(
    room: Room, weekdays: set[int], closed: tuple[str, ...], first: str, last: str, days: int
) -> None:
    then = datetime.fromisoformat(first).replace(tzinfo=UTC)
    with transaction(room.database) as session:
        set_weekdays(session, weekdays, "as published", then)
    closes(room, closed, then)
    assert working_days(room, first, last) == days


def test_working_days_in_england_from_2020_to_2027(room: Room) -> None:
    with transaction(room.database) as session:
        for year in (2020, 2023, 2026):
            named = {each.day: each.name for each in public_holidays("GB", "ENG", year, 3)}
            close_holidays(session, named, "public holidays, England", room.now)
    found = [working_days(room, f"{year}-01-01", f"{year}-12-31") for year in range(2020, 2028)]
    # Derived: 260 to 262 weekdays less the bank holidays on them, among them 2022-06-03, 2022-09-19 and 2023-05-08.
    assert found == [254, 253, 250, 251, 254, 253, 253, 253]


def test_random_calendars_agree_with_numpy(room: Room) -> None:
    dice, first = random.Random(20261125), date(2024, 1, 1)
    for _ in range(25):
        weekdays = dice.sample(range(7), dice.randint(1, 7))
        closed = sorted({first + DAY * dice.randrange(1400) for _ in range(dice.randint(1, 120))})
        with transaction(room.database) as session:
            set_weekdays(session, weekdays, "another room", room.now)
            set_days(session, closed, False, "closed", room.now)
        cal = calendar_of(room)
        for _ in range(10):
            start, end = (first + DAY * dice.randrange(1400) for _ in range(2))
            expected = np.busday_count(start, end, weekmask=[day in weekdays for day in range(7)], holidays=closed)
            assert open_days_between(cal, start, end) == expected
        with transaction(room.database) as session:
            assert unset_days(session, closed, "the next room", room.now) == len(closed)


def test_the_calendar_of_the_pages_is_the_one_that_limits_go_by(room: Room) -> None:
    closes(room, ["2026-12-25"])
    with reading(room.database) as session:
        assert calendar_in_force(session, LONDON) == calendar_of(room)
