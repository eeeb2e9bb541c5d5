"""One day in the room: its end, the next open one, and what falls due at the last second and not at the first after."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.calendar import Calendar
from app.domain.day import (
    Contact,
    Drying,
    Kind,
    Load,
    Ready,
    contacts_left,
    date_words,
    day_of,
    first_in_order,
    loads_due,
    may_be_felt,
    papers_due,
    press_due,
)
from app.domain.day_words import closed_words, opens_words
from app.domain.house import House

LONDON = ZoneInfo("Europe/London")
WEEK = Calendar(LONDON, frozenset(range(5)))
FRIDAY = datetime(2026, 11, 27, 16, 0, tzinfo=UTC)
SECOND, HOUR, DAY = timedelta(seconds=1), timedelta(hours=1), timedelta(days=1)
HOUSE = House()


def test_on_friday_the_room_opens_again_on_monday() -> None:
    day = day_of(FRIDAY, WEEK)
    assert (day.opens_on, day.last_open) == (date(2026, 11, 30), date(2026, 11, 26))
    assert opens_words(day) == "The room opens again on Monday 30 Nov." and closed_words(day) == ""


def test_on_monday_it_was_closed_since_friday_and_opens_tomorrow() -> None:
    day = day_of(FRIDAY + 3 * DAY, WEEK)
    assert closed_words(day) == "The room was closed since Friday 27 Nov."
    assert opens_words(day) == "The room opens again tomorrow, Tuesday 1 Dec."


def test_a_date_far_away_is_said_with_its_year_and_a_near_one_is_not() -> None:
    assert date_words(date(2027, 1, 4), date(2026, 12, 24)) == "Monday 4 Jan"
    assert date_words(date(2027, 11, 1), date(2026, 11, 1)) == "Monday 1 Nov 2027"


def test_a_room_without_open_days_says_so_and_everything_falls_due() -> None:
    day = day_of(FRIDAY, Calendar(LONDON, frozenset()))
    assert opens_words(day) == "The calendar has no open day ahead." and closed_words(day) == ""
    dries = Drying("Tray 1", 3, "unheated", FRIDAY, FRIDAY)
    assert [item.name for item in papers_due([dries], HOUSE, day.opens_at)] == ["Tray 1"]


# In 2026 the clocks of Europe go back in the night to Sunday 25 October and forward in the night to Sunday 29 March
# (Directive 2000/84/EC: the last Sundays of March and October): those days have 25 and 23 hours.
@pytest.mark.parametrize(
    ("noon", "hours"), [(datetime(2026, 10, 25, 12, tzinfo=UTC), 25), (datetime(2026, 3, 29, 12, tzinfo=UTC), 23)]
)
def test_the_day_on_which_the_clocks_change_is_as_long_as_it_is(noon: datetime, hours: int) -> None:
    day = day_of(noon, WEEK)
    assert day.ends - day.begins == hours * HOUR
    assert press_due("P1", [day.ends - SECOND], day) is not None and press_due("P1", [day.ends], day) is None


def test_what_is_ready_as_the_day_ends_is_of_the_next_day() -> None:
    day = day_of(FRIDAY, WEEK)
    found = press_due("P1", [FRIDAY, FRIDAY - DAY, FRIDAY + SECOND, day.ends - SECOND, day.ends, None], day)
    assert found is not None and (found.count, found.later, found.at) == (2, 2, day.ends - SECOND)
    assert press_due("P1", [day.ends, None], day) is None


@pytest.mark.parametrize(("before", "due"), [(SECOND, True), (0 * SECOND, False), (-SECOND, False)])
def test_papers_fall_due_a_day_after_the_last_and_with_heat_two_days_after(before: timedelta, due: bool) -> None:
    until = FRIDAY + 5 * DAY
    for method, days in (("unheated", 1), (None, 1), ("heated", 2)):
        dries = Drying("Tray 1", 3, method, until - days * DAY - before, None)
        assert bool(papers_due([dries], HOUSE, until)) is due


@pytest.mark.parametrize(("before", "due"), [(SECOND, True), (0 * SECOND, False)])
def test_plants_may_be_felt_after_the_usual_days_of_their_method(before: timedelta, due: bool) -> None:
    for method, days in (("unheated", 7), (None, 7), ("heated", 3)):
        dries = Drying("Tray 1", 3, method, FRIDAY, FRIDAY - days * DAY - before)
        assert bool(may_be_felt([dries], HOUSE, FRIDAY)) is due
    assert may_be_felt([Drying("Tray 1", 3, "heated", FRIDAY - 90 * DAY, None)], HOUSE, FRIDAY) == []


def test_a_place_is_named_once_with_all_its_sheets_and_what_is_due_first() -> None:
    tray, other = Drying("Tray 1", 3, "unheated", FRIDAY, None), Drying("Tray 1", 4, "heated", FRIDAY - 2 * DAY, None)
    first = Drying("Box 9", 1, "unheated", FRIDAY - 4 * DAY, None)
    found = papers_due([tray, other, first], HOUSE, FRIDAY + 9 * DAY)
    assert [(item.name, item.count, item.at) for item in found] == [
        ("Box 9", 1, FRIDAY - 3 * DAY),
        ("Tray 1", 7, FRIDAY),
    ]


def test_a_load_is_due_out_after_its_days_in_the_cold_and_may_be_opened_a_day_after_it_came_out() -> None:
    until = FRIDAY
    told = Load("by a logger", until - 30 * DAY, until - 7 * DAY - SECOND, None, None)
    untold = Load("without one", until - 8 * DAY - SECOND, None, None, None)
    out = Load("out", until - 20 * DAY, None, until - DAY - SECOND, None)
    assert [(item.name, item.kind, item.at) for item in loads_due([told, untold, out], HOUSE, until)] == [
        ("by a logger", Kind.LOAD_OUT, until - SECOND), ("out", Kind.LOAD_OPEN, until - SECOND),
        ("without one", Kind.LOAD_OUT, until - SECOND)]  # fmt: skip
    late = Load("too short", until - 30 * DAY, until - 7 * DAY, None, None)
    warm = Load("still cold", until - 30 * DAY, None, until - DAY, None)
    opened = Load("opened", until - 30 * DAY, None, until - 9 * DAY, until - 8 * DAY)
    assert loads_due([late, warm, opened, Load("not in yet", None, None, None, None)], HOUSE, until) == []


def test_a_house_that_freezes_longer_waits_longer() -> None:
    put_in = Load("Bag 1", FRIDAY - 9 * DAY, None, None, None)
    assert loads_due([put_in], HOUSE, FRIDAY) and not loads_due([put_in], House(treat_cold_days=14), FRIDAY)


def test_a_station_keeps_scans_when_it_was_heard_later_than_it_had_none() -> None:
    day = day_of(FRIDAY, WEEK)
    contacts = [
        Contact("keeps", FRIDAY, FRIDAY - HOUR, None), Contact("never clear", FRIDAY - 3 * DAY, None, FRIDAY - 9 * DAY),
        Contact("clear", FRIDAY, FRIDAY, FRIDAY - DAY), Contact("silent", day.begins - SECOND, day.begins - SECOND, FRIDAY - 9 * DAY),
        Contact("heard as the day began", day.begins, day.begins, FRIDAY - DAY), Contact("has no browser", FRIDAY - DAY, FRIDAY - DAY, None),
        Contact("never heard of", None, None, FRIDAY - DAY), Contact("enrolled anew today", FRIDAY - DAY, FRIDAY - DAY, FRIDAY),
    ]  # fmt: skip
    assert [(item.name, item.kind) for item in contacts_left(contacts, day)] == [
        ("keeps", Kind.KEPT), ("never clear", Kind.KEPT), ("never heard of", Kind.SILENT), ("silent", Kind.SILENT)]  # fmt: skip


def test_consignments_come_in_the_rooms_order_and_held_sheets_do_not_count() -> None:
    rows = [Ready(1, "unplaced", 0, "", 5), Ready(2, "second", 2, "name-query", 3), Ready(2, "second", 2, "label-to-come", 9),
            Ready(3, "first", 1, "", 1), Ready(4, "all held", 1, "quarantine", 7), Ready(5, "later", 0, "", 5),
            Ready(2, "second", 2, "", 4)]  # fmt: skip
    assert [(item.name, item.count) for item in first_in_order(rows)] == [("first", 1), ("second", 7), ("unplaced", 5)]
