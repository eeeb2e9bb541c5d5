"""How moments, remaining times and ages are said."""

import math
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.words import WEEKDAYS, age, duration, said

LONDON, LORD_HOWE, MOSCOW = ZoneInfo("Europe/London"), ZoneInfo("Australia/Lord_Howe"), ZoneInfo("Europe/Moscow")
HOUR, DAY = 3600, 86_400
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=LONDON)  # a Wednesday


@pytest.mark.parametrize(
    ("wall", "words"),
    [
        ("2026-11-25T00:00", "00:00"),
        ("2026-11-25T09:30", "09:30"),
        ("2026-11-25T23:59:59", "23:59"),
        ("2026-11-26T00:00", "Thursday 00:00"),
        ("2026-11-26T14:05", "Thursday 14:05"),
        ("2026-11-24T23:59:59", "Tuesday 23:59"),
        ("2026-12-01T14:05", "Tuesday 14:05"),  # six days on
        ("2026-12-02T00:00", "2 Dec 00:00"),
        ("2026-11-19T00:00", "Thursday 00:00"),  # six days back
        ("2026-11-18T23:59:59", "18 Nov 23:59"),
        ("2027-01-04T08:00", "4 Jan 08:00"),
        ("2027-09-21T14:05", "21 Sep 14:05"),  # 300 days on
        ("2027-09-22T14:05", "22 Sep 2027 14:05"),
        ("2026-01-29T14:05", "29 Jan 14:05"),  # 300 days back
        ("2026-01-28T14:05", "28 Jan 2026 14:05"),
        ("2024-11-26T14:05", "26 Nov 2024 14:05"),
    ],
)
def test_a_moment_is_said_as_briefly_as_it_is_clear(wall: str, words: str) -> None:
    assert said(datetime.fromisoformat(wall).replace(tzinfo=LONDON), LONDON, NOW) == words


def test_today_is_the_rooms_today_and_not_that_of_utc() -> None:
    late = datetime(2026, 7, 1, 23, 30, tzinfo=UTC)
    assert said(late, LONDON, datetime(2026, 7, 1, 12, tzinfo=UTC)) == "Thursday 00:30"
    assert said(late, LONDON, datetime(2026, 7, 2, 12, tzinfo=UTC)) == "00:30"
    assert said(late + timedelta(hours=12), LONDON, late) == "12:30"


@pytest.mark.parametrize(
    ("utc", "words"),  # 25 October 2026: 2 o'clock summer time becomes 1 o'clock (nidirect.gov.uk)
    [
        ("2026-10-24T23:59:59", "00:59"),
        ("2026-10-25T00:00:00", "01:00 BST"),
        ("2026-10-25T00:30:00", "01:30 BST"),
        ("2026-10-25T00:59:59", "01:59 BST"),
        ("2026-10-25T01:00:00", "01:00 GMT"),
        ("2026-10-25T01:30:00", "01:30 GMT"),
        ("2026-10-25T01:59:59", "01:59 GMT"),
        ("2026-10-25T02:00:00", "02:00"),
    ],
)
def test_the_hour_that_comes_twice_is_told_apart(utc: str, words: str) -> None:
    now = datetime(2026, 10, 25, 12, tzinfo=UTC)
    assert said(datetime.fromisoformat(utc).replace(tzinfo=UTC), LONDON, now) == words


def test_the_morning_the_clocks_go_forward_is_said_plainly() -> None:
    change = datetime(2026, 3, 29, 1, tzinfo=UTC)
    now = change + timedelta(days=1)
    assert said(change - timedelta(seconds=1), LONDON, now) == "Sunday 00:59"
    assert said(change, LONDON, now) == "Sunday 02:00"


@pytest.mark.parametrize(
    ("zone", "utc", "words"),
    [
        (LORD_HOWE, "2026-04-04T14:45", "Sunday 01:45 +11"),  # half an hour comes twice
        (LORD_HOWE, "2026-04-04T15:15", "Sunday 01:45 +1030"),
        (LORD_HOWE, "2026-04-04T15:30", "Sunday 02:00"),
        (MOSCOW, "2014-10-25T21:30", "Sunday 01:30 +0400"),  # both hours are called MSK: tz database
        (MOSCOW, "2014-10-25T22:30", "Sunday 01:30 +0300"),
    ],
)
def test_elsewhere_too_the_time_that_comes_twice_is_told_apart(zone: ZoneInfo, utc: str, words: str) -> None:
    moment = datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert said(moment, zone, moment + timedelta(days=2)) == words


def test_names_are_those_of_internet_mail_whatever_the_machine_speaks() -> None:
    for day in (NOW + timedelta(days=n) for n in range(-2, 366)):
        weekday, _, month, *_ = format_datetime(day).replace(",", "").split()  # RFC 5322: English on every machine
        assert said(day, LONDON, day + timedelta(days=3)).startswith(weekday)
        assert said(day, LONDON, day + timedelta(days=30)).split()[1] == month


def test_weekdays_are_written_out() -> None:
    assert [name[3:] for name in WEEKDAYS] == ["day", "sday", "nesday", "rsday", "day", "urday", "day"]


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 min"),
        (0.000001, "1 min"),
        (59, "1 min"),
        (60, "1 min"),
        (61, "2 min"),
        (3000, "50 min"),
        (HOUR - 61, "59 min"),
        (HOUR - 59, "1 h"),
        (HOUR, "1 h"),
        (HOUR + 1, "1 h 1 min"),
        (3 * HOUR + 600, "3 h 10 min"),
        (DAY - 1, "24 h"),
        (DAY, "24 h"),
        (DAY + 1, "24 h 1 min"),
        (2 * DAY, "48 h"),
        (3 * DAY - 61, "71 h 59 min"),
        (3 * DAY - 59, "3 days"),
        (3 * DAY, "3 days"),
        (3 * DAY + 1, "3 days 1 h"),
        (3 * DAY + HOUR, "3 days 1 h"),
        (3 * DAY + HOUR + 1, "3 days 2 h"),
        (4 * DAY - 1, "4 days"),
    ],
)
def test_a_remaining_time_is_never_said_too_short(seconds: float, words: str) -> None:
    assert duration(seconds) == words


@given(st.integers(0, 40 * DAY))
def test_who_comes_back_after_the_time_said_does_not_come_too_early(seconds: int) -> None:
    words = duration(seconds).split()
    unit_s = {"min": 60, "h": HOUR, "days": DAY}
    told = sum(int(number) * unit_s[unit] for number, unit in zip(words[::2], words[1::2], strict=True))
    assert seconds <= told < seconds + (HOUR + 60 if "days" in words else 60)


@pytest.mark.parametrize("seconds", [-1, -0.001, math.nan, math.inf])
def test_a_time_that_cannot_remain_is_refused(seconds: float) -> None:
    with pytest.raises(ValueError, match="cannot remain. Give 0 or more seconds"):
        duration(seconds)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (-1, "0 min"),
        (0, "0 min"),
        (59.999999, "0 min"),
        (60, "1 min"),
        (1200, "20 min"),
        (HOUR - 1, "59 min"),
        (HOUR, "1 h"),
        (HOUR + 1, "1 h"),
        (3 * HOUR, "3 h"),
        (2 * DAY - 1, "47 h"),
        (2 * DAY, "2 days"),
        (3 * DAY - 1, "2 days"),
        (6 * DAY, "6 days"),
        (400 * DAY, "400 days"),
    ],
)
def test_an_age_is_said_in_full_minutes_hours_or_days(seconds: float, words: str) -> None:
    since = datetime(2026, 11, 1, tzinfo=UTC)
    assert age(since, since + timedelta(seconds=seconds)) == words


def test_an_age_over_the_clock_change_is_what_really_passed() -> None:
    midnight, six = datetime(2026, 10, 25, 0, tzinfo=LONDON), datetime(2026, 10, 25, 6, tzinfo=LONDON)
    assert age(midnight, six) == "7 h"


def test_a_moment_without_a_zone_is_not_said() -> None:
    naive = NOW.replace(tzinfo=None)
    for moment, now in ((naive, NOW), (NOW, naive)):
        with pytest.raises(ValueError, match="has no time zone"):
            said(moment, LONDON, now)
        with pytest.raises(ValueError, match="has no time zone"):
            age(moment, now)
