"""The room's days: which are open, where each begins and ends, and how much open time has passed."""

from __future__ import annotations

import math
from bisect import bisect_left
from calendar import monthrange
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from functools import cached_property
from zoneinfo import ZoneInfo

from app.domain.language import say

BEGINNING = datetime.min.replace(tzinfo=UTC)  # no moment lies before it: as a cutoff it chooses nothing
MICROSECOND = timedelta(microseconds=1)
DAY = timedelta(days=1)
DAYS_LOOKED_AHEAD = 400
YEARS = range(2, 9999)  # the years that can be converted to any zone without leaving datetime's range
FIRST, LAST = datetime(YEARS[0], 1, 1, tzinfo=UTC), datetime(YEARS[-1], 12, 31, tzinfo=UTC)


@dataclass(frozen=True)
class Calendar:
    """The days on which the room is open: its weekdays (Monday 0 to Sunday 6), less `closed`, plus `opened`.

    A date in both is open: closed dates come in lists and ranges, an extra open date is always meant.
    Raises ValueError for a weekday that is not.
    """

    zone: ZoneInfo
    open_weekdays: frozenset[int]
    closed: frozenset[date] = frozenset()
    opened: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        if not self.open_weekdays <= set(range(7)):
            raise ValueError(f"Weekdays are 0 (Monday) to 6 (Sunday), not {sorted(self.open_weekdays)}.")

    def is_open(self, day: date) -> bool:
        """Whether the room is open on this local date."""
        return day in self.opened or (self._is_usual(day) and day not in self.closed)

    def open_before(self, ordinal: int) -> int:
        """How many open days lie before the day of this proleptic ordinal (day 1 is a Monday), since day 1."""
        weeks, rest = divmod(ordinal - 1, 7)
        usual = weeks * len(self.open_weekdays) + sum(weekday < rest for weekday in self.open_weekdays)
        return usual - bisect_left(self._closures, ordinal) + bisect_left(self._extras, ordinal)

    def _is_usual(self, day: date) -> bool:
        return day.weekday() in self.open_weekdays

    @cached_property
    def _found(self) -> dict[int, date]:
        return {}

    @cached_property
    def _closures(self) -> tuple[int, ...]:
        return tuple(sorted(day.toordinal() for day in self.closed - self.opened if self._is_usual(day)))

    @cached_property
    def _extras(self) -> tuple[int, ...]:
        return tuple(sorted(day.toordinal() for day in self.opened if not self._is_usual(day)))


def as_utc(moment: datetime) -> datetime:
    """The same moment in UTC, where differences are true elapsed time.

    Two datetimes that share a ZoneInfo subtract as wall time. Raises ValueError for a naive moment.
    """
    if moment.utcoffset() is None:
        raise ValueError(f"{moment.isoformat()} has no time zone. Give the moment with its offset, best in UTC.")
    return moment.astimezone(UTC)


def local_day(moment: datetime, zone: ZoneInfo) -> date:
    """The date on the room's wall at this moment. Raises ValueError for a naive moment."""
    return as_utc(moment).astimezone(zone).date()


def local_iso(moment: datetime | None, zone: ZoneInfo) -> str:
    """A moment for a table that goes out: in ISO 8601 to the second, by the room's clock and with its offset; "" for none."""
    return moment.astimezone(zone).isoformat(timespec="seconds") if moment is not None else ""


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The UTC moments of this day's local midnight and of the next: 23, 24 or 25 hours apart, or what the zone has.

    Where the clocks go forward at midnight the day begins at the change; where midnight comes twice, at the first.
    """
    return _midnight(day, zone), _midnight(day + DAY, zone)


def next_open(cal: Calendar, day: date) -> date | None:
    """The day itself if the room is open, else the next open day; None when there is none within 400 days."""
    reach = min(DAYS_LOOKED_AHEAD, (date.max - day).days)
    days = (day + timedelta(days=ahead) for ahead in range(reach + 1))
    return next((candidate for candidate in days if cal.is_open(candidate)), None)


def open_days_between(cal: Calendar, start: date, end: date) -> int:
    """Open days from `start` up to but not including `end`; backwards it is negative, as numpy.busday_count has it."""
    first, last = start.toordinal(), end.toordinal()
    if first > last:  # numpy leaves out the end date also when counting backwards
        return cal.open_before(last + 1) - cal.open_before(first + 1)
    return cal.open_before(last) - cal.open_before(first)


def open_time(cal: Calendar, since: datetime, now: datetime) -> Fraction:
    """Open days elapsed: each open local day counts the share of it that has passed, closed days nothing.

    Exact, in days of whatever length the day has; 0 when `now` is not after `since`. ValueError for naive moments.
    """
    since, now = as_utc(since), as_utc(now)
    return _open_until(cal, now) - _open_until(cal, since) if since < now else Fraction(0)


def minus_open_days(cal: Calendar, now: datetime, days: int | Fraction) -> datetime:
    """The earliest moment from which no more than `days` open days have passed until now (UTC, to the microsecond).

    `BEGINNING` when even all time before now holds no more. ValueError for a naive moment or negative days.
    """
    target = _open_until(cal, as_utc(now)) - _not_negative(days)
    if target <= _open_until(cal, FIRST):
        return BEGINNING
    nth = math.ceil(target)
    start, length = _span(_nth_open(cal, nth), cal.zone)
    return start + math.ceil((target - nth + 1) * length) * MICROSECOND


def plus_open_days(cal: Calendar, since: datetime, days: int | Fraction) -> datetime | None:
    """The latest moment until which no more than `days` open days have passed (UTC, to the microsecond).

    None when the calendar has no open day left to exceed them. ValueError for a naive moment or negative days.
    """
    target = _open_until(cal, as_utc(since)) + _not_negative(days)
    whole = math.floor(target)
    if _open_until(cal, LAST) <= target:
        return None
    start, length = _span(_nth_open(cal, whole + 1), cal.zone)
    if not length:  # a date that the zone skipped passes in no time: the moment before it is the last
        return start - MICROSECOND
    return start + math.floor((target - whole) * length) * MICROSECOND


def months_before(moment: datetime, months: int) -> datetime:
    """The same day and time so many months earlier, or the last day of that month where it has no such day.

    ValueError for fewer than 0 months.
    """
    if months < 0:
        raise ValueError(f"{months} months cannot have passed. Give 0 or more.")
    year, month = divmod(moment.year * 12 + moment.month - 1 - months, 12)
    return moment.replace(year=year, month=month + 1, day=min(moment.day, monthrange(year, month + 1)[1]))


def iso_week(moment: datetime, zone: ZoneInfo) -> tuple[int, int]:
    """ISO year and week (ISO 8601) of the room's local date at this moment. ValueError for a naive moment."""
    year, week, _ = local_day(moment, zone).isocalendar()
    return year, week


def week_bounds(year: int, week: int, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The UTC moments at which this ISO week begins and ends in the room. ValueError for a week that is not."""
    if year not in YEARS:
        raise ValueError(
            say(
                "There is no year {year} here. Ask for a week of the years {first} to {last}.",
                year=year,
                first=YEARS[0],
                last=YEARS[-1],
            )  # fmt: skip
        )
    weeks = date(year, 12, 28).isocalendar().week  # 28 December always lies in the last week
    if not 1 <= week <= weeks:
        raise ValueError(
            say("{year} has no week {week}. Ask for a week from 1 to {weeks}.", year=year, week=week, weeks=weeks)
        )
    monday = date.fromisocalendar(year, week, 1)
    return _midnight(monday, zone), _midnight(monday + 7 * DAY, zone)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC)


def _open_until(cal: Calendar, moment: datetime) -> Fraction:
    """Open days since day 1, never falling as the moment grows; constant outside `FIRST` to `LAST`."""
    moment = min(max(moment, FIRST), LAST)
    day = _day_holding(moment, cal.zone)
    whole = cal.open_before(day.toordinal())
    if not cal.is_open(day):
        return Fraction(whole)
    start, length = _span(day, cal.zone)
    return whole + Fraction((moment - start) // MICROSECOND, length)


def _day_holding(moment: datetime, zone: ZoneInfo) -> date:
    """The day whose bounds hold the moment; the wall's date differs where a clock change passes over midnight."""
    day = local_day(moment, zone)
    start, end = day_bounds(day, zone)
    if moment < start:
        return day - DAY
    return day if moment < end else day + DAY


def _span(day: date, zone: ZoneInfo) -> tuple[datetime, int]:
    """When a day begins, and its length in microseconds."""
    start, end = day_bounds(day, zone)
    return start, (end - start) // MICROSECOND


def _nth_open(cal: Calendar, nth: int) -> date:
    """The nth open day since day 1; each is looked for once, because a board asks for the same few all day long."""
    if nth not in cal._found:
        ordinals = range(1, date.max.toordinal())
        place = bisect_left(ordinals, nth, key=lambda day: cal.open_before(day + 1))
        cal._found[nth] = date.fromordinal(ordinals[place])
    return cal._found[nth]


def _not_negative(days: int | Fraction) -> int | Fraction:
    if days < 0:
        raise ValueError(f"{days} open days cannot have passed. Give 0 or more.")
    return days
