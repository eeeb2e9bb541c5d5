"""How the room says moments, remaining times and ages."""

import math
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from app.domain.calendar import as_utc
from app.domain.language import ENGLISH, say, say_n, spoken

# The English names, for keys; what a person reads is said by `weekday_said` and `date_said`. Never asked of strftime, whose
# names follow the machine's locale.
WEEKDAYS = ENGLISH.weekdays

MINUTE = timedelta(minutes=1)
WEEKDAY_WITHIN_DAYS = 6  # a seventh day would bear today's name
NO_YEAR_WITHIN_DAYS = 300  # beyond it "26 Nov" begins to sound like the nearer November
DAYS_FROM_H = 72
AGE_DAYS_FROM_H = 48


def said(moment: datetime, zone: ZoneInfo, now: datetime) -> str:
    """A moment as said in the room: "14:05" today, "Thursday 14:05" within 6 days, "26 Nov 14:05", or with its year.

    In the hour that comes twice the zone's abbreviation tells which: "01:30 GMT". ValueError for naive moments.
    """
    local, today = as_utc(moment).astimezone(zone), as_utc(now).astimezone(zone).date()
    day = _day_words(local, (local.date() - today).days)
    return say("{day} {hour}", day=day, hour=_clock(local)) if day else _clock(local)


def day_said(day: date, today: date) -> str:
    """A day as said in the room: "today", "Thursday" within 6 days, "26 Nov", or with its year when it is far away."""
    away = (day - today).days
    if away == 0:
        return say("today")
    return weekday_said(day) if abs(away) <= WEEKDAY_WITHIN_DAYS else _day_words(day, away)


def dated(moment: datetime, zone: ZoneInfo, now: datetime) -> str:
    """A moment as the log says it, always with its date: "Wed 25 Nov 14:06", with its year if that is not today's.

    In the hour that comes twice the zone's abbreviation tells which. ValueError for naive moments.
    """
    local, today = as_utc(moment).astimezone(zone), as_utc(now).astimezone(zone).date()
    weekday = spoken().short_weekdays[local.weekday()]
    day = say("{weekday} {date}", weekday=weekday, date=date_said(local, with_year=local.year != today.year))
    return say("{day} {hour}", day=day, hour=_clock(local))


def weekday_said(day: date) -> str:
    """The weekday's name: "Thursday"."""
    return spoken().weekdays[day.weekday()]


def month_said(day: date) -> str:
    """The month of a day, with its year: "Nov 2026"."""
    return say("{month} {year}", month=spoken().short_months[day.month - 1], year=day.year)


def date_said(day: date, *, with_year: bool = True) -> str:
    """A day of the calendar: "26 Nov 2026", or without its year "26 Nov"."""
    month = spoken().short_months[day.month - 1]
    if with_year:
        return say("{day} {month} {year}", day=day.day, month=month, year=day.year)
    return say("{day} {month}", day=day.day, month=month)


def stopped(words: str) -> str:
    """A sentence with its stop, unless what was typed in brought its own."""
    return words if words.endswith((".", "?", "!")) else f"{words}."


def sheets_said(count: int) -> str:
    """A number of sheets: "1 sheet", "1,204 sheets"."""
    return say_n("{n:,} sheet", "{n:,} sheets", count)


def days_said(days: int) -> str:
    """A number of days: "1 day", "5 days"."""
    return say_n("{n} day", "{n} days", days)


def duration(seconds: float) -> str:
    """A remaining time, never said too short: up to the minute below 72 h ("3 h 10 min"), then up to the hour.

    From 72 h it is "3 days 4 h". Raises ValueError for a time that is negative or not a number.
    """
    if not 0 <= seconds < math.inf:
        raise ValueError(f"{seconds} s cannot remain. Give 0 or more seconds.")
    minutes = math.ceil(seconds / 60)
    if minutes < DAYS_FROM_H * 60:
        return _hours_said(minutes // 60, minutes % 60)
    hours = math.ceil(minutes / 60)
    if not hours % 24:
        return days_said(hours // 24)
    return say_n("{n} day {hours} h", "{n} days {hours} h", hours // 24, hours=hours % 24)


def age(since: datetime, now: datetime) -> str:
    """How long ago, in full minutes, full hours from 1 h, full days of 24 h from 2 days; what is yet to come: "0 min".

    Raises ValueError for naive moments.
    """
    minutes = max(0, (as_utc(now) - as_utc(since)) // MINUTE)
    hours = minutes // 60
    if not hours:
        return _hours_said(0, minutes)
    return _hours_said(hours, 0) if hours < AGE_DAYS_FROM_H else days_said(hours // 24)


def _day_words(local: date, days_away: int) -> str:
    if days_away == 0:
        return ""
    if abs(days_away) <= WEEKDAY_WITHIN_DAYS:
        return weekday_said(local)
    return date_said(local, with_year=abs(days_away) > NO_YEAR_WITHIN_DAYS)


def _clock(local: datetime) -> str:
    which = _which_hour(local)
    return f"{local:%H:%M} {which}" if which else f"{local:%H:%M}"


def _which_hour(local: datetime) -> str:
    """The zone's abbreviation where the clock shows this time twice; its offset where both are called the same."""
    other = local.replace(fold=1 - local.fold)
    if local.utcoffset() == other.utcoffset():
        return ""
    return f"{local:%Z}" if local.tzname() != other.tzname() else f"{local:%z}"


def _hours_said(hours: int, minutes: int) -> str:
    if not hours:
        return say("{minutes} min", minutes=minutes)
    return say("{hours} h {minutes} min", hours=hours, minutes=minutes) if minutes else say("{hours} h", hours=hours)
