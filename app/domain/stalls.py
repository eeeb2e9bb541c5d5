"""When a sheet has waited too long: one limit, offered as a question for one sheet and as a cutoff for many."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.domain.calendar import BEGINNING, Calendar, as_utc, minus_open_days, open_time, plus_open_days


@dataclass(frozen=True)
class Limit:
    """How long a sheet may wait: in `hours` of the clock, closed days included, or in the room's `open_days`.

    Raises ValueError unless exactly one of the two is given, 0 or more.
    """

    hours: int | None = None
    open_days: int | None = None

    def __post_init__(self) -> None:
        given = [number for number in (self.hours, self.open_days) if number is not None]
        if len(given) != 1:
            raise ValueError("A limit is given either in hours or in open days. Give exactly one of them.")
        if given[0] < 0:
            raise ValueError(f"A limit of {given[0]} is below nothing. Give 0 or more.")


def is_stalled(limit: Limit, since: datetime, now: datetime, cal: Calendar) -> bool:
    """Whether the time since `since` exceeds the limit; exactly at the limit it does not. ValueError if naive."""
    if limit.hours is not None:
        return as_utc(now) - as_utc(since) > timedelta(hours=limit.hours)
    return open_time(cal, since, now) > _open_days(limit)


def cutoff(limit: Limit, now: datetime, cal: Calendar) -> datetime:
    """The UTC moment such that what waits since before it, and nothing else, is stalled. ValueError if naive."""
    if limit.hours is None:
        return minus_open_days(cal, now, _open_days(limit))
    try:
        return as_utc(now) - timedelta(hours=limit.hours)
    except OverflowError:
        return BEGINNING


def stalls_at(limit: Limit, since: datetime, cal: Calendar) -> datetime | None:
    """The last UTC moment at which it is not yet stalled; None when it never will be. ValueError if naive."""
    if limit.hours is None:
        return plus_open_days(cal, since, _open_days(limit))
    try:
        return as_utc(since) + timedelta(hours=limit.hours)
    except OverflowError:
        return None


def _open_days(limit: Limit) -> int:
    return limit.open_days or 0  # None only where hours are given, and there nobody asks
