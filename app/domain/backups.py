"""Backups by the clock: what one is called, when the next is due, which are kept, and how their second place stands."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from app.domain.calendar import as_utc, local_day
from app.domain.language import mark

PlaceState = Literal["good", "none", "same-disk", "gone", "other", "failed"]
_NAME = re.compile(r"blotter-(\d{8}T\d{6})Z\.sqlite3", re.ASCII)
# What is true of the room's data while its second place stands like this; nothing while all is well.
PLACE_WORDS: dict[PlaceState, str] = {
    "good": "",
    "none": mark("lie on one disk only: no second place is named"),
    "same-disk": mark("lie on one disk only: their second place is on the same disk"),
    "gone": mark("are not copied: their second place is out of reach"),
    "other": mark("are not copied: their second place belongs to another room"),
    "failed": mark("could not be copied to their second place"),
}


def backup_name(moment: datetime) -> str:
    """The name of a backup that is made at this moment, in UTC to the second; ValueError for a naive moment."""
    return f"blotter-{as_utc(moment):%Y%m%dT%H%M%SZ}.sqlite3"


def moment_of(name: str) -> datetime | None:
    """The moment in the name of a backup; None for a file that is called otherwise."""
    found = _NAME.fullmatch(name)
    try:
        return datetime.strptime(found[1], "%Y%m%dT%H%M%S").replace(tzinfo=UTC) if found else None
    except ValueError:
        return None


def moment_kept(text: str | None) -> datetime | None:
    """A moment as the room's settings keep it, in UTC; None for none, and for what is no moment."""
    try:
        return as_utc(datetime.fromisoformat(text)) if text else None
    except ValueError:
        return None


def due_since(now: datetime, hour: int, zone: ZoneInfo) -> datetime:
    """The last moment at which this hour of the day (0 to 23, in the room's zone) has passed: today's, or yesterday's."""
    day = local_day(now, zone)
    passed = _at(day, hour, zone)
    return passed if passed <= now else _at(day - timedelta(days=1), hour, zone)


def is_due(now: datetime, last: datetime | None, hour: int, zone: ZoneInfo) -> bool:
    """Whether a backup by itself is due: none was made since the hour has passed last. One dated after now is none."""
    return last is None or last > now or last < due_since(now, hour, zone)


def kept(moments: Iterable[datetime], now: datetime, days: int, weeks: int, zone: ZoneInfo) -> frozenset[datetime]:
    """Which of these backups are kept: all of the last `days` days, the last one of each of the last `weeks` weeks, and
    the newest in any case. What is dated after now is kept too: nobody knows when it was made.
    """
    made = sorted(moments)
    today = local_day(now, zone)
    found = {each for each in made if each > now or (today - local_day(each, zone)).days < days}
    # In the order of time, so that the last of a week takes the place of those before it.
    last_of = {_monday(each, zone): each for each in made if each <= now}
    found |= {each for monday, each in last_of.items() if (_monday(now, zone) - monday).days < 7 * weeks}
    return frozenset(found | set(list(last_of.values())[-1:]))


def _at(day: date, hour: int, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(hour), zone).astimezone(UTC)


def _monday(moment: datetime, zone: ZoneInfo) -> date:
    day = local_day(moment, zone)
    return day - timedelta(days=day.weekday())
