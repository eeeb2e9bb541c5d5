"""Open time: what has passed of the room's open days, and the moments a number of them away."""

import time
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from app.domain.calendar import (
    BEGINNING,
    Calendar,
    local_day,
    minus_open_days,
    open_days_between,
    open_time,
    plus_open_days,
)

LONDON, LORD_HOWE = ZoneInfo("Europe/London"), ZoneInfo("Australia/Lord_Howe")
WEEKDAYS, EVERY_DAY = frozenset(range(5)), frozenset(range(7))
ROOM = Calendar(LONDON, WEEKDAYS)
DAY, HOUR, MINUTE, TICK = timedelta(days=1), timedelta(hours=1), timedelta(minutes=1), timedelta(microseconds=1)

ZONES = [
    *("Europe/London", "America/New_York", "Australia/Lord_Howe", "UTC", "Asia/Kathmandu"),
    *("America/Santiago", "America/Havana", "America/St_Johns", "Pacific/Apia", "Pacific/Kwajalein"),
]
CHANGES = [  # around the clock changes of 2026, midnight changes, an hour twice past midnight, a day left out
    *("2026-03-29T01:00Z", "2026-10-25T01:00Z", "2026-04-04T15:00Z", "2026-10-03T15:30Z"),
    *("2019-09-08T04:00Z", "2010-11-07T02:31Z", "2011-12-30T10:00Z", "1993-08-21T12:00Z"),
]
calendars = st.builds(
    Calendar,
    st.sampled_from(ZONES).map(ZoneInfo),
    st.frozensets(st.integers(0, 6)),
    st.frozensets(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=60),
    st.frozensets(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=10),
)
near_changes = st.builds(
    lambda change, minutes: datetime.fromisoformat(change) + minutes * MINUTE,
    st.sampled_from(CHANGES),
    st.integers(-4000, 4000),
)
far_and_near = st.timedeltas(0 * DAY, 58_000 * DAY).map(lambda later: datetime(1940, 1, 1, tzinfo=UTC) + later)
moments = st.one_of(near_changes, far_and_near)
amounts = st.one_of(st.integers(0, 400), st.fractions(0, 50, max_denominator=10_000))


def at(text: str, zone: ZoneInfo = LONDON) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone)


def minutes_by_day(start: datetime, end: datetime, zone: ZoneInfo) -> Counter[date]:
    """The minutes of each local date, counted one by one in UTC."""
    count = round((end - start) / MINUTE)
    return Counter((start + n * MINUTE).astimezone(zone).date() for n in range(count))


@pytest.mark.parametrize(
    ("since", "now", "days"),
    [
        ("2026-11-25T12:00", "2026-11-26T12:00", 1),
        ("2026-11-27T12:00", "2026-11-30T12:00", 1),  # Friday noon to Monday noon
        ("2026-11-27T18:00", "2026-11-29T18:00", Fraction(1, 4)),
        ("2026-11-28T00:00", "2026-11-30T00:00", 0),
        ("2026-11-28T09:00", "2026-11-30T06:00", Fraction(1, 4)),
        ("2026-11-20T00:00", "2026-11-27T00:00", 5),
        ("2026-10-23T12:00", "2026-10-26T12:00", 1),  # the longer Sunday is closed
    ],
)
def test_closed_days_count_nothing(since: str, now: str, days: int | Fraction) -> None:
    assert open_time(ROOM, at(since), at(now)) == days


def test_no_open_time_has_passed_at_the_moment_itself_or_before_it() -> None:
    since = at("2026-11-25T12:00")
    assert open_time(ROOM, since, since) == 0
    assert open_time(ROOM, since, since - DAY) == 0
    assert open_time(ROOM, since, since + TICK) == Fraction(1, 86_400_000_000)


@pytest.mark.parametrize(
    ("zone", "day", "length"),
    [
        (LONDON, "2026-03-29", 23),
        (LONDON, "2026-10-25", 25),
        (LORD_HOWE, "2026-04-05", Fraction(49, 2)),
        (LORD_HOWE, "2026-10-04", Fraction(47, 2)),
    ],
)
def test_an_open_day_is_one_open_day_however_long_it_is(zone: ZoneInfo, day: str, length: int | Fraction) -> None:
    cal, start = Calendar(zone, EVERY_DAY), at(f"{day}T00:00", zone)
    assert open_time(cal, start, start + DAY) == 1
    assert open_time(cal, start, start.astimezone(UTC) + HOUR) == 1 / Fraction(length)


@settings(deadline=None, max_examples=40)
@given(calendars, near_changes, st.integers(0, 6000), st.sampled_from([0, 1, 7]))
def test_open_time_is_what_a_count_minute_by_minute_gives(
    cal: Calendar, since: datetime, minutes: int, shift: int
) -> None:
    assume(cal.zone.key != "America/St_Johns")  # there an hour past midnight comes twice: see below
    now = since + minutes * MINUTE + shift * DAY
    passed, whole = (minutes_by_day(since - pad, now + pad, cal.zone) for pad in (0 * DAY, 3 * DAY))
    skipped = set() if cal.zone.key not in ("Pacific/Apia", "Pacific/Kwajalein") else days_left_out(cal, since, now)
    expected = sum(Fraction(passed[day], whole[day]) for day in passed if cal.is_open(day))
    assert open_time(cal, since, now) == expected + sum(map(cal.is_open, skipped))


def days_left_out(cal: Calendar, since: datetime, now: datetime) -> set[date]:
    """Dates that a zone skipped at the date line: they pass as days of the calendar."""
    first, last = local_day(since, cal.zone), local_day(now, cal.zone)
    return {day for day in (date(2011, 12, 30), date(1993, 8, 21)) if first < day < last and left_out(day, cal.zone)}


def left_out(day: date, zone: ZoneInfo) -> bool:
    noon = datetime.combine(day, datetime.min.time(), zone) + 12 * HOUR
    return local_day(noon, zone) != day


def test_a_date_that_samoa_left_out_passes_as_a_day_of_the_calendar() -> None:
    apia = ZoneInfo("Pacific/Apia")
    assert left_out(date(2011, 12, 30), apia)
    cal, thursday = Calendar(apia, WEEKDAYS), at("2011-12-29T12:00", apia)
    assert open_time(cal, thursday, at("2011-12-31T00:00", apia)) == Fraction(3, 2)
    assert plus_open_days(cal, thursday, 1) == datetime(2011, 12, 30, 10, tzinfo=UTC) - TICK


@settings(deadline=None)
@given(calendars, moments, st.lists(moments, max_size=4))
def test_open_time_never_runs_back_and_adds_up(cal: Calendar, since: datetime, others: list[datetime]) -> None:
    stops = sorted([since, *others])
    legs = [open_time(cal, a, b) for a, b in zip(stops, stops[1:], strict=False)]
    assert min(legs, default=Fraction(0)) >= 0
    assert sum(legs) == open_time(cal, stops[0], stops[-1])


def test_open_time_does_not_run_back_in_the_hour_that_comes_twice_past_midnight() -> None:
    st_johns = ZoneInfo("America/St_Johns")  # until 2011 the clocks there went back at 00:01, to the day before
    cal, start = Calendar(st_johns, EVERY_DAY), datetime(2010, 11, 7, 2, tzinfo=UTC)
    shown = [local_day(start + n * MINUTE, st_johns).day for n in range(120)]
    assert shown != sorted(shown)
    passed = [open_time(cal, start, start + n * MINUTE) for n in range(120)]
    assert passed == sorted(passed)


def test_open_time_does_not_run_back_where_the_clocks_go_forward_past_midnight() -> None:
    toronto = ZoneInfo("America/Toronto")  # on Sunday 30 March 1919 at 23:30 it became Monday 00:30: tz database
    cal, start = Calendar(toronto, WEEKDAYS), datetime(1919, 3, 31, 4, tzinfo=UTC)
    assert local_day(start + 29 * MINUTE, toronto) == date(1919, 3, 30)
    assert local_day(start + 30 * MINUTE, toronto) == date(1919, 3, 31)
    passed = [open_time(cal, start - 2 * DAY, start + n * MINUTE) for n in range(120)]
    assert passed == sorted(passed)


@settings(deadline=None)
@given(calendars, moments, amounts)
def test_the_cutoff_is_the_earliest_moment_within_the_days(cal: Calendar, now: datetime, days: int | Fraction) -> None:
    earliest = minus_open_days(cal, now, days)
    assert earliest <= now
    assert open_time(cal, earliest, now) <= days
    assert earliest == BEGINNING or open_time(cal, earliest - TICK, now) > days


@settings(deadline=None)
@given(calendars, moments, amounts)
def test_the_last_moment_is_the_latest_within_the_days(cal: Calendar, since: datetime, days: int | Fraction) -> None:
    latest = plus_open_days(cal, since, days)
    if latest is None:
        assert open_time(cal, since, datetime.max.replace(tzinfo=UTC)) <= days
        return
    assert latest >= since
    assert open_time(cal, since, latest) <= days < open_time(cal, since, latest + TICK)


def test_a_cutoff_is_rounded_up_to_the_microsecond() -> None:
    midnight = at("2026-11-26T00:00").astimezone(UTC)
    assert minus_open_days(ROOM, midnight, Fraction(1, 7)) == midnight - timedelta(microseconds=12_342_857_142)
    assert pytest.approx(12_342_857_142.857) == 86_400_000_000 / 7  # back by less, so that no more has passed


def test_a_room_that_never_opened_lets_no_open_time_pass() -> None:
    closed, now = Calendar(LONDON, frozenset()), at("2026-11-25T12:00")
    assert open_time(closed, BEGINNING, now) == 0
    assert minus_open_days(closed, now, 0) == BEGINNING
    assert plus_open_days(closed, now, 0) is None


@pytest.mark.parametrize("ask", [minus_open_days, plus_open_days])
def test_days_below_nothing_are_refused(ask: object) -> None:
    assert callable(ask)
    with pytest.raises(ValueError, match="-1 open days cannot have passed. Give 0 or more."):
        ask(ROOM, at("2026-11-25T12:00"), -1)


def test_eighty_years_are_counted_in_under_a_millisecond() -> None:
    closed = frozenset(date(1946, 1, 1) + n * 37 * DAY for n in range(800))
    cal, since, now = Calendar(LONDON, WEEKDAYS, closed), at("1946-01-03T12:00"), at("2026-01-05T12:00")
    days = sum(cal.is_open(date(1946, 1, 3) + n * DAY) for n in range(29_222))
    assert open_time(cal, since, now) == days == open_days_between(cal, since.date(), now.date())
    assert min(_seconds(cal, since, now) for _ in range(50)) < 0.001


def _seconds(cal: Calendar, since: datetime, now: datetime) -> float:
    started = time.perf_counter()
    minus_open_days(cal, now, 20_000)
    open_time(cal, since, now)
    return time.perf_counter() - started
