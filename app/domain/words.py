"""How the room says moments, remaining times and ages."""

import math
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from .calendar import as_utc

# Kept here and not asked of strftime, whose names follow the machine's locale.
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

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
    return " ".join(word for word in (day, f"{local:%H:%M}", _which_hour(local)) if word)


def day_said(day: date, today: date) -> str:
    """A day as said in the room: "today", "Thursday" within 6 days, "26 Nov", or with its year when it is far away."""
    away = (day - today).days
    if away == 0:
        return "today"
    return WEEKDAYS[day.weekday()] if abs(away) <= WEEKDAY_WITHIN_DAYS else _day_words(day, away)


def dated(moment: datetime, zone: ZoneInfo, now: datetime) -> str:
    """A moment as the log says it, always with its date: "Wed 25 Nov 14:06", with its year if that is not today's.

    In the hour that comes twice the zone's abbreviation tells which. ValueError for naive moments.
    """
    local, today = as_utc(moment).astimezone(zone), as_utc(now).astimezone(zone).date()
    day = f"{WEEKDAYS[local.weekday()][:3]} {local.day} {MONTHS[local.month - 1]}"
    year = "" if local.year == today.year else str(local.year)
    return " ".join(word for word in (day, year, f"{local:%H:%M}", _which_hour(local)) if word)


def duration(seconds: float) -> str:
    """A remaining time, never said too short: up to the minute below 72 h ("3 h 10 min"), then up to the hour.

    From 72 h it is "3 days 4 h". Raises ValueError for a time that is negative or not a number.
    """
    if not 0 <= seconds < math.inf:
        raise ValueError(f"{seconds} s cannot remain. Give 0 or more seconds.")
    minutes = math.ceil(seconds / 60)
    if minutes < DAYS_FROM_H * 60:
        return _two_parts(minutes // 60, "h", minutes % 60, "min")
    hours = math.ceil(minutes / 60)
    return _two_parts(hours // 24, "days", hours % 24, "h")


def age(since: datetime, now: datetime) -> str:
    """How long ago, in full minutes, full hours from 1 h, full days of 24 h from 2 days; what is yet to come: "0 min".

    Raises ValueError for naive moments.
    """
    minutes = max(0, (as_utc(now) - as_utc(since)) // MINUTE)
    hours = minutes // 60
    if not hours:
        return f"{minutes} min"
    return f"{hours} h" if hours < AGE_DAYS_FROM_H else f"{hours // 24} days"


def _day_words(local: date, days_away: int) -> str:
    if days_away == 0:
        return ""
    if abs(days_away) <= WEEKDAY_WITHIN_DAYS:
        return WEEKDAYS[local.weekday()]
    day = f"{local.day} {MONTHS[local.month - 1]}"
    return day if abs(days_away) <= NO_YEAR_WITHIN_DAYS else f"{day} {local.year}"


def _which_hour(local: datetime) -> str:
    """The zone's abbreviation where the clock shows this time twice; its offset where both are called the same."""
    other = local.replace(fold=1 - local.fold)
    if local.utcoffset() == other.utcoffset():
        return ""
    return f"{local:%Z}" if local.tzname() != other.tzname() else f"{local:%z}"


def _two_parts(large: int, large_unit: str, small: int, small_unit: str) -> str:
    if not large:
        return f"{small} {small_unit}"
    return f"{large} {large_unit} {small} {small_unit}" if small else f"{large} {large_unit}"
