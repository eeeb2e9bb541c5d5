"""Limits over closed and opened dates and over clock changes: one sheet's flag, the list and the board are one and right."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest

from app.db.engine import Database, reading, transaction
from app.domain.stages import Step
from app.queries.calendar import calendar_in_force, effect_of, stalled_count
from app.queries.waiting import judge
from app.services.calendar import set_days, set_weekdays
from tests.queries.looking import board_of, brought_dry, filed, listed, page_of, stage_of
from tests.queries.test_waiting import AT_THE_LIMIT
from tests.room import LONDON, Room

LORD_HOWE = ZoneInfo("Australia/Lord_Howe")
DAY, HOUR, SECOND, MICROSECOND = timedelta(days=1), timedelta(hours=1), timedelta(seconds=1), timedelta(microseconds=1)


@dataclass(frozen=True)
class Limited:
    """A sheet that is made to wait: what it waits for, how long by the defaults, and when its wait begins."""

    words: str
    made: Callable[[Room], str]
    hours: int | None = None
    open_days: int | None = None
    begins_after: timedelta = timedelta()


# Each default beside the builder of the same place in the other file's list.
DEFAULTS: list[tuple[int | None, int | None, timedelta]] = [
    (24, None, timedelta()),  # fresh at intake
    (None, 10, timedelta()),  # dry at intake
    (24, None, timedelta()),  # papers without heat
    (48, None, timedelta()),  # papers with heat
    (None, 60, timedelta()),  # ready for mounting
    (1, None, timedelta()),  # mounted, no weights
    (None, 2, 24 * HOUR),  # under press, once PVA has had its 24 h
    (None, 5, timedelta()),  # to inspect
    (None, 10, timedelta()),  # to mend
    (None, 5, 48 * HOUR),  # to file: passed two days later
]
LIMITED = [Limited(row[0].split(",")[0], row[1], *limit) for row, limit in zip(AT_THE_LIMIT, DEFAULTS, strict=True)]


@dataclass(frozen=True)
class Season:
    """A stretch of time in a room: where, from when, and which dates are closed or opened in it."""

    words: str
    start: datetime
    zone: ZoneInfo = LONDON
    closed: tuple[date, ...] = ()
    opened: tuple[date, ...] = ()

    def is_open(self, day: date) -> bool:
        return day in self.opened or (day.weekday() < 5 and day not in self.closed)


def utc(words: str) -> datetime:
    return datetime.fromisoformat(words).replace(tzinfo=UTC)


# The Sundays of the clock changes are opened, so that they count. Changes: nidirect.gov.uk (London, 01:00 UTC) and
# timeanddate.com (Lord Howe, half an hour, 15:00 and 15:30 UTC on the Saturday).
SEASONS = [
    Season("closed dates", utc("2026-11-25T09:00"), closed=(date(2026, 11, 26), date(2026, 11, 27), date(2026, 12, 7))),
    Season("closed on the day it began", utc("2026-11-25T09:00"), closed=(date(2026, 11, 25), date(2026, 11, 30))),
    Season("an opened Saturday", utc("2026-11-25T09:00"), opened=(date(2026, 11, 28),)),
    Season("London, spring", utc("2026-03-26T09:00"), opened=(date(2026, 3, 29),)),
    Season("London, the night of spring", utc("2026-03-29T00:30"), opened=(date(2026, 3, 29),)),
    Season("London, autumn", utc("2026-10-22T08:00"), opened=(date(2026, 10, 25),)),
    Season("London, the night of autumn", utc("2026-10-25T00:30"), opened=(date(2026, 10, 25),)),
    Season("Lord Howe, autumn", utc("2026-04-01T22:00"), LORD_HOWE, opened=(date(2026, 4, 5),)),
    Season("Lord Howe, the night of autumn", utc("2026-04-04T14:30"), LORD_HOWE, opened=(date(2026, 4, 5),)),
    Season("Lord Howe, spring", utc("2026-09-30T22:30"), LORD_HOWE, opened=(date(2026, 10, 4),)),
    Season("Lord Howe, the night of spring", utc("2026-10-03T15:00"), LORD_HOWE, opened=(date(2026, 10, 4),)),
]


def room_of(database: Database, season: Season) -> Room:
    room = Room(database, season.start, season.zone)
    with transaction(database) as session:
        for days, is_open in ((season.closed, False), (season.opened, True)):
            if days:
                set_days(session, days, is_open, "typed by the manager", season.start)
    return room


def walked(season: Season, since: datetime, days: int) -> datetime:
    """Day by day: after so many open days the clock has gone as far through the day as it had when the wait began."""

    def midnight(day: date) -> datetime:
        return datetime(day.year, day.month, day.day, tzinfo=season.zone).astimezone(UTC)

    def length(day: date) -> int:
        return (midnight(day + DAY) - midnight(day)) // MICROSECOND

    day = since.astimezone(season.zone).date()
    gone = Fraction((since - midnight(day)) // MICROSECOND, length(day)) if season.is_open(day) else Fraction(0)
    while not season.is_open(day):
        day += DAY
    for _ in range(days):
        day += DAY
        while not season.is_open(day):
            day += DAY
    return midnight(day) + int(gone * length(day)) * MICROSECOND


def agree(room: Room, number: str, now: datetime, stalled: bool) -> None:
    """All who are asked say the same of the one sheet that is there."""
    page = page_of(room, number, now)
    assert page.stalled is stalled, now
    assert [row.number for row in listed(room, now, stalled=True).rows] == ([number] if stalled else []), now
    assert [row.stalled for row in listed(room, now, stage=page.stage).rows] == [stalled], now
    assert stage_of(room, page.stage, now).stalled == int(stalled), now
    with reading(room.database) as session:
        assert stalled_count(session, judge(session, now, room.zone)) == int(stalled), now


@pytest.mark.parametrize("limited", LIMITED, ids=lambda each: each.words)
@pytest.mark.parametrize("season", SEASONS, ids=lambda each: each.words)
def test_flag_list_and_board_agree_at_the_limit_in_every_season(
    database: Database, season: Season, limited: Limited
) -> None:
    room = room_of(database, season)
    number, since = limited.made(room), season.start + limited.begins_after
    limit = since + limited.hours * HOUR if limited.hours else walked(season, since, limited.open_days or 0)
    for now, stalled in ((limit - SECOND, False), (limit, False), (limit + SECOND, True)):
        agree(room, number, now, stalled)
    assert page_of(room, number, limit).stalls_at == limit


@dataclass(frozen=True)
class Pinned:
    """A limit reckoned by hand."""

    words: str
    made: int
    start: str
    limit: str
    zone: ZoneInfo = LONDON
    closed: tuple[str, ...] = ()
    opened: tuple[str, ...] = field(default=())


FRESH, TO_INSPECT = 0, 7
BY_HAND = [
    # Half through Monday; Sunday is the fifth open day after it, and 23, 25, 24.5 or 23.5 hours long: half of that.
    Pinned("23 hours", TO_INSPECT, "2026-03-23T12:00", "2026-03-29T11:30", opened=("2026-03-29",)),
    Pinned("25 hours", TO_INSPECT, "2026-10-19T11:00", "2026-10-25T11:30", opened=("2026-10-25",)),
    Pinned("24.5 hours", TO_INSPECT, "2026-03-30T01:00", "2026-04-05T01:15", LORD_HOWE, opened=("2026-04-05",)),
    Pinned("23.5 hours", TO_INSPECT, "2026-09-28T01:30", "2026-10-04T01:15", LORD_HOWE, opened=("2026-10-04",)),
    # From Wednesday 23 December 9:00: 24 December, then 4, 5, 6 and 7 January.
    Pinned("Christmas", TO_INSPECT, "2026-12-23T09:00", "2027-01-07T09:00",
           closed=("2026-12-25", "2026-12-28", "2026-12-29", "2026-12-30", "2026-12-31", "2027-01-01")),
    # What spoils does not wait for the calendar.
    Pinned("Christmas, fresh", FRESH, "2026-12-24T09:00", "2026-12-25T09:00", closed=("2026-12-25",)),
    # From Thursday: Friday, Saturday that is opened, Monday, Tuesday, Wednesday.
    Pinned("a Saturday", TO_INSPECT, "2026-11-26T09:00", "2026-12-02T09:00", opened=("2026-11-28",)),
]  # fmt: skip


@pytest.mark.parametrize("pinned", BY_HAND, ids=lambda each: each.words)
def test_limits_are_where_they_are_reckoned_by_hand(database: Database, pinned: Pinned) -> None:
    closed, opened = (tuple(map(date.fromisoformat, days)) for days in (pinned.closed, pinned.opened))
    room = room_of(database, Season(pinned.words, utc(pinned.start), pinned.zone, closed, opened))
    number, limit = LIMITED[pinned.made].made(room), utc(pinned.limit)
    for now, stalled in ((limit - SECOND, False), (limit, False), (limit + SECOND, True)):
        agree(room, number, now, stalled)


def test_another_weekday_that_is_open_moves_the_limit(room: Room) -> None:
    number = brought_dry(room)  # Wednesday 25 November, 9:00; five open days
    with transaction(room.database) as session:
        set_weekdays(session, range(6), "open on Saturdays from now on", room.now)
    for now, stalled in ((utc("2026-12-01T09:00"), False), (utc("2026-12-01T09:00:01"), True)):
        agree(room, number, now, stalled)


def test_what_is_filed_or_withdrawn_is_never_in_the_queue(room: Room) -> None:
    away = [filed(room), room.sheet_ready(), brought_dry(room), room.sheet_mounted(), room.new_number()]
    room.scans(away[-1], "intake", step=Step.TAKE_IN, facts={"fresh": True})
    for number in away[1:]:
        room.scans(number, who="hedda", manages=True, step=Step.WITHDRAW, reason="sent in exchange")
    stays = brought_dry(room)
    room.scans(room.code("shelf", "D1/1"), "intake")
    later = room.now + 400 * DAY
    assert [row.number for row in listed(room, later, stalled=True).rows] == [stays]
    found = board_of(room, later)
    assert sum(stage.stalled for stage in found.stages) == 1 == sum(line.stalled for line in found.cabinets)
    assert [page_of(room, number, later).stalled for number in away] == [False] * len(away)
    with reading(room.database) as session:
        assert stalled_count(session, judge(session, later, room.zone)) == 1


def test_the_effect_of_a_calendar_is_counted_by_both_at_one_moment(room: Room) -> None:
    for _ in range(3):
        brought_dry(room)
    room.sheet_mounted()
    with reading(room.database) as session:
        before = calendar_in_force(session, room.zone)
    with transaction(room.database) as session:
        set_days(session, [date(2026, 11, 30)], False, "no heating", room.now)
    with reading(room.database) as session:
        wednesday = effect_of(session, before, utc("2026-12-02T10:00"), room.zone)
        thursday = effect_of(session, before, utc("2026-12-03T10:00"), room.zone)
    # On Wednesday three to inspect would be over five open days, but one day was closed; the glued one is over by the clock.
    assert (wednesday.before, wednesday.after) == (4, 1) and (thursday.before, thursday.after) == (4, 4)
