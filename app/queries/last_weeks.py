"""The last ISO weeks of the room, the one that runs as the last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from app.domain.calendar import local_day, week_bounds


@dataclass(frozen=True, slots=True)
class WeekOf:
    """An ISO week of the room: its name (2026-W47), and its first and last day. `so_far` is the week that runs."""

    name: str
    first: date
    last: date
    so_far: bool


def last_weeks(now: datetime, zone: ZoneInfo, many: int) -> tuple[WeekOf, ...]:
    """The last ISO weeks of the room, the oldest first, the one that runs as the last."""
    today = local_day(now, zone)
    monday = today - timedelta(days=today.weekday())
    return tuple(_week(monday - timedelta(weeks=ago), so_far=not ago) for ago in reversed(range(many)))


def bounds_of(weeks: Sequence[WeekOf], zone: ZoneInfo) -> list[datetime]:
    """The moments at which the weeks begin, and the one at which the last ends."""
    spans = [week_bounds(*each.first.isocalendar()[:2], zone) for each in weeks]
    return [spans[0][0], *(end for _, end in spans)]


def _week(monday: date, *, so_far: bool) -> WeekOf:
    year, week, _ = monday.isocalendar()
    return WeekOf(f"{year}-W{week:02}", monday, monday + timedelta(days=6), so_far)
