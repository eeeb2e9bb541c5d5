"""Times at a station: when they end by themselves, and what is left of them once they are no longer kept by person."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from app.domain.calendar import as_utc, local_day, months_before
from app.domain.language import mark

# How a time at a station began and ended, as it is kept and as it is said.
BEGAN_WORDS = {"badge": mark("by badge"), "name": mark("by name")}
ENDED_WORDS = {
    "out": mark("signed out"),
    "elsewhere": mark("signed in elsewhere"),
    "replaced": mark("somebody else signed in"),
    "left": mark("no longer works here"),
    "idle": mark("nothing more was scanned"),
}


def idle_since(signed_in_at: datetime, seen_at: datetime | None, now: datetime, limit_min: int) -> datetime | None:
    """The end of a time at a station where nothing was scanned for longer than the limit; None while it goes on.

    It ended with the last scan there by anyone, `seen_at`, or with the sign-in where there was none since. A limit of
    0 minutes ends nothing.
    """
    last = signed_in_at if seen_at is None else max(signed_in_at, seen_at)
    return last if limit_min and now - last > timedelta(minutes=limit_min) else None


def forgotten_before(now: datetime, months: int, zone: ZoneInfo) -> datetime:
    """The moment before which hours are no longer kept by person: this day so many months ago, at its local midnight."""
    today = datetime.combine(local_day(now, zone), time.min, zone)
    return months_before(today, months).astimezone(UTC)


def seconds_by_month(start: datetime, end: datetime, zone: ZoneInfo) -> dict[str, int]:
    """The seconds of a time by month of the room, as {"2026-11": 3600}; all together they are its whole seconds.

    Nothing where it ends before it began, as it may when a clock was set back. ValueError for naive moments.
    """
    start, end = as_utc(start), as_utc(end)
    marks = [start, *_month_starts(start, end, zone), end] if start < end else [start]
    whole = [(mark - start) // timedelta(seconds=1) for mark in marks]
    months = [f"{mark.astimezone(zone):%Y-%m}" for mark in marks]
    parts = zip(months, whole, whole[1:], strict=False)
    return {month: until - since for month, since, until in parts if until > since}


def _month_starts(start: datetime, end: datetime, zone: ZoneInfo) -> Iterator[datetime]:
    first = start.astimezone(zone).date().replace(day=1)
    while True:
        first = (first + timedelta(days=32)).replace(day=1)
        moment = datetime.combine(first, time.min, zone).astimezone(UTC)
        if moment >= end:
            return
        yield moment
