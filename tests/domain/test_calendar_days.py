"""Open days, and where each day begins and ends."""

from datetime import UTC, date, datetime, timedelta, timezone
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest

from app.domain.calendar import (
    Calendar,
    as_utc,
    day_bounds,
    iso_week,
    local_day,
    minus_open_days,
    next_open,
    open_time,
)

LONDON = ZoneInfo("Europe/London")
NEW_YORK = ZoneInfo("America/New_York")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")
WEEKDAYS = frozenset(range(5))
CHRISTMAS = frozenset({date(2026, 12, 25), date(2026, 12, 28)})
ROOM = Calendar(LONDON, WEEKDAYS, closed=CHRISTMAS, opened=frozenset({date(2026, 11, 28)}))


def hours_in(day: date, zone: ZoneInfo) -> float:
    start, end = day_bounds(day, zone)
    return (end - start) / timedelta(hours=1)


def test_the_room_is_open_on_its_weekdays_but_not_on_closed_dates() -> None:
    assert ROOM.is_open(date(2026, 11, 27))
    assert not ROOM.is_open(date(2026, 11, 29))
    assert not ROOM.is_open(date(2026, 12, 25))


def test_an_extra_open_saturday_counts_as_open() -> None:
    assert ROOM.is_open(date(2026, 11, 28))
    assert not ROOM.is_open(date(2026, 12, 5))


def test_a_date_both_closed_and_opened_is_open() -> None:
    friday = frozenset({date(2026, 12, 25)})
    assert Calendar(LONDON, WEEKDAYS, closed=friday, opened=friday).is_open(date(2026, 12, 25))


@pytest.mark.parametrize("weekday", [-1, 7])
def test_an_eighth_weekday_is_refused(weekday: int) -> None:
    with pytest.raises(ValueError, match="Weekdays are 0 .Monday. to 6 .Sunday., not"):
        Calendar(LONDON, frozenset({weekday}))


@pytest.mark.parametrize(
    ("day", "opens"),
    [
        ("2026-11-27", "2026-11-27"),
        ("2026-11-28", "2026-11-28"),
        ("2026-11-29", "2026-11-30"),
        ("2026-12-24", "2026-12-24"),
        ("2026-12-25", "2026-12-29"),
    ],
)
def test_the_next_open_day_is_the_day_itself_or_the_first_open_one_after_it(day: str, opens: str) -> None:
    assert next_open(ROOM, date.fromisoformat(day)) == date.fromisoformat(opens)


def test_the_next_open_day_is_looked_for_through_400_days() -> None:
    today = date(2026, 11, 25)
    for ahead, found in ((399, True), (400, True), (401, False)):
        opens = today + timedelta(days=ahead)
        cal = Calendar(LONDON, frozenset(), opened=frozenset({opens}))
        assert next_open(cal, today) == (opens if found else None)


def test_a_room_that_never_opens_has_no_next_open_day_even_at_the_end_of_time() -> None:
    closed = Calendar(LONDON, frozenset())
    assert next_open(closed, date(2026, 11, 25)) is None
    assert next_open(closed, date.max) is None


@pytest.mark.parametrize(
    ("utc", "day"),
    [
        ("2026-07-01T22:59:59.999999", "2026-07-01"),
        ("2026-07-01T23:00:00", "2026-07-02"),
        ("2026-12-01T23:59:59.999999", "2026-12-01"),
        ("2026-12-02T00:00:00", "2026-12-02"),
    ],
)
def test_the_local_day_changes_at_the_rooms_midnight(utc: str, day: str) -> None:
    moment = datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert local_day(moment, LONDON) == date.fromisoformat(day)
    assert local_day(moment.astimezone(timezone(timedelta(hours=-9))), LONDON) == date.fromisoformat(day)


# Days of the changes: nidirect.gov.uk, 15 U.S.C. 260a, timeanddate.com. The midnights follow from them.
@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        (LONDON, "2026-03-28", 24),
        (LONDON, "2026-03-29", 23),
        (LONDON, "2026-10-25", 25),
        (NEW_YORK, "2026-03-08", 23),
        (NEW_YORK, "2026-11-01", 25),
        (LORD_HOWE, "2026-04-05", 24.5),
        (LORD_HOWE, "2026-10-04", 23.5),
        (ZoneInfo("Pacific/Apia"), "2011-12-30", 0),  # the Friday that Samoa left out, from memory
    ],
)
def test_a_day_on_which_the_clocks_change_has_its_true_length(zone: ZoneInfo, day: str, hours: float) -> None:
    assert hours_in(date.fromisoformat(day), zone) == hours


def test_a_day_without_midnight_begins_when_the_clocks_change() -> None:
    santiago = ZoneInfo("America/Santiago")  # 00:00 became 01:00 on Sunday 8 September 2019: tz database
    start, _ = day_bounds(date(2019, 9, 8), santiago)
    assert start == datetime(2019, 9, 8, 4, tzinfo=UTC)
    assert start.astimezone(santiago).hour == 1
    assert local_day(start - timedelta(microseconds=1), santiago) == date(2019, 9, 7)


# Derived from the changes above; recomputed with the tz database and with pandas.
@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        (LONDON, "2026-03-28", 23),
        (LONDON, "2026-10-24", 25),
        (NEW_YORK, "2026-03-07", 23),
        (NEW_YORK, "2026-10-31", 25),
        (LORD_HOWE, "2026-04-04", 24.5),
        (LORD_HOWE, "2026-10-03", 23.5),
    ],
)
def test_noon_to_noon_is_counted_in_hours_that_really_passed(zone: ZoneInfo, day: str, hours: float) -> None:
    noon = datetime.fromisoformat(f"{day}T12:00").replace(tzinfo=zone)
    next_noon = noon + timedelta(days=1)
    assert next_noon - noon == timedelta(hours=24)  # the trap: two moments of one zone differ as on the wall
    assert as_utc(next_noon) - as_utc(noon) == timedelta(hours=hours)
    passed = open_time(Calendar(zone, frozenset(range(7))), noon, next_noon)
    assert passed == Fraction(1, 2) + Fraction(hours - 12) / Fraction(hours_in(next_noon.date(), zone))


@pytest.mark.parametrize(("fold", "utc_hour"), [(0, 0), (1, 1)])
def test_the_hour_that_comes_twice_is_two_hours(fold: int, utc_hour: int) -> None:
    half_past_one = datetime(2026, 10, 25, 1, 30, fold=fold, tzinfo=LONDON)  # PEP 495
    assert as_utc(half_past_one) == datetime(2026, 10, 25, utc_hour, 30, tzinfo=UTC)


def test_a_moment_without_a_zone_is_refused_in_a_sentence() -> None:
    aware = datetime(2026, 11, 25, 9, tzinfo=UTC)
    naive = aware.replace(tzinfo=None)
    for ask in (
        lambda: local_day(naive, LONDON),
        lambda: iso_week(naive, LONDON),
        lambda: open_time(ROOM, naive, aware),
        lambda: open_time(ROOM, aware, naive),
        lambda: minus_open_days(ROOM, naive, 1),
    ):
        with pytest.raises(ValueError, match="2026-11-25T09:00:00 has no time zone. Give the moment with its offset"):
            ask()
