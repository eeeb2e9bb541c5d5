"""When a backup falls due by the room's clock, and which are kept: checked day by day against a plain count."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.backups import backup_name, due_since, is_due, kept, moment_of
from tests.room import LONDON, WEDNESDAY

DAY = timedelta(days=1)
NEW_YORK = ZoneInfo("America/New_York")
moments = st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1)).map(lambda each: each.replace(tzinfo=UTC))


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@given(moments)
def test_the_name_says_the_moment_to_the_second(moment: datetime) -> None:
    assert moment_of(backup_name(moment)) == moment.replace(microsecond=0)


@pytest.mark.parametrize(
    "name",
    ["blotter.sqlite3", "blotter-20261125T090000Z.sqlite3.part", "blotter-20261325T090000Z.sqlite3", "mine.sqlite3",
     "blotter-before-upgrade-0003-20261125T090000Z.sqlite3", "blotter-２0261125T090000Z.sqlite3", ""],
)  # fmt: skip
def test_what_is_called_otherwise_is_no_backup(name: str) -> None:
    assert moment_of(name) is None


@pytest.mark.parametrize(
    ("now", "since"),
    # London: winter time is UTC, summer time an hour ahead; the clocks went forward on 29 March and back on 25 October 2026.
    [("2026-11-25T16:00", "2026-11-25T16:00"), ("2026-11-25T15:59:59", "2026-11-24T16:00"), ("2026-11-26T00:00", "2026-11-25T16:00"),
     ("2026-07-01T15:00", "2026-07-01T15:00"), ("2026-07-01T14:59", "2026-06-30T15:00"),
     ("2026-03-29T15:00", "2026-03-29T15:00"), ("2026-03-29T14:59", "2026-03-28T16:00"), ("2026-10-25T15:59", "2026-10-24T15:00")],
)  # fmt: skip
def test_the_hour_is_the_room_s_own_summer_and_winter(now: str, since: str) -> None:
    assert due_since(at(now), 16, LONDON) == at(since)


@given(moments, st.integers(0, 23), st.sampled_from([LONDON, NEW_YORK]))
def test_the_hour_has_passed_within_the_last_day_and_is_shown_by_the_room_s_clock(
    now: datetime, hour: int, zone: ZoneInfo
) -> None:
    since = due_since(now, hour, zone)
    # A day has 23 to 25 hours where the clocks are changed.
    assert now - timedelta(hours=25) < since <= now
    # The hour that is left out in spring is passed when the next begins.
    assert (since.astimezone(zone).hour - hour) % 24 in (0, 1)


def test_it_is_due_once_a_day_and_at_the_start_after_the_hour_was_slept_through() -> None:
    made = at("2026-11-24T16:03")
    assert not is_due(at("2026-11-25T15:59"), made, 16, LONDON)
    assert is_due(at("2026-11-25T16:00"), made, 16, LONDON)
    assert not is_due(at("2026-11-25T23:59"), at("2026-11-25T16:01"), 16, LONDON)
    # Off from 15:00 on Friday until Monday morning.
    assert is_due(at("2026-11-30T08:00"), at("2026-11-26T16:01"), 16, LONDON)
    assert is_due(at("2026-11-25T09:00"), None, 16, LONDON)


def test_a_backup_that_is_dated_after_now_does_not_put_the_next_one_off() -> None:
    assert is_due(WEDNESDAY, WEDNESDAY + 400 * DAY, 16, LONDON)


def test_a_year_of_daily_backups_keeps_a_fortnight_and_one_a_week() -> None:
    # 25 November 2026 is a Wednesday; a backup on each of the last 400 days at 16:03.
    now = at("2026-11-25T18:00")
    daily = [at("2026-11-25T16:03") - number * DAY for number in range(400)]
    found = sorted(kept(daily, now, 14, 52, LONDON), reverse=True)
    assert found[:14] == daily[:14]
    # Then the Sundays: the last of the fortnight is Thursday 12 November, so the next Sunday is the 8th; of 52 weeks with this
    # one, three lie within the fortnight (those of the 25th, the 22nd and the 15th).
    sundays = [at("2026-11-08T16:03") - week * 7 * DAY for week in range(49)]
    assert found[14:] == sundays


def test_the_newest_is_kept_however_old_and_what_is_dated_after_now_is_never_thrown_away() -> None:
    old, older = WEDNESDAY - 3000 * DAY, WEDNESDAY - 3100 * DAY
    assert kept([older, old], WEDNESDAY, 14, 52, LONDON) == {old}
    to_come = WEDNESDAY + DAY
    assert kept([older, old, to_come], WEDNESDAY, 14, 52, LONDON) == {old, to_come}
    assert kept([], WEDNESDAY, 14, 52, LONDON) == frozenset()


@given(st.lists(moments, max_size=60, unique=True), moments, st.integers(1, 60), st.integers(1, 60))
def test_what_is_kept_today_was_kept_yesterday_and_every_young_one_is_kept(
    made: list[datetime], now: datetime, days: int, weeks: int
) -> None:
    found = kept(made, now, days, weeks, LONDON)
    assert found <= set(made) and bool(found) == bool(made)
    assert {each for each in made if timedelta(0) <= now - each < (days - 1) * DAY} <= found
    # Throwing away each day what is not kept comes to the same as throwing away once.
    assert kept(found, now, days, weeks, LONDON) == found
    assert kept(found, now + 3 * DAY, days, weeks, LONDON) == kept(made, now + 3 * DAY, days, weeks, LONDON)
