"""The room's calendar as its page shows it: the months of a year day by day, and what it means for those who wait."""

from __future__ import annotations

import calendar as grids
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import CalendarDay, table_of
from app.domain.calendar import Calendar, local_day, open_days_between
from app.domain.dates import Span, span_words, spans
from app.domain.language import say, spoken
from app.queries.house import calendar_now, house_now
from app.queries.kinds import KINDS
from app.queries.stalled import cabinet_days, forgotten_ids, waiting_in
from app.queries.waiting import Judge, judge

CALENDAR_DAY = table_of(CalendarDay)
MONDAY_FIRST = grids.Calendar(firstweekday=0)
YEARS_AROUND = 10  # as far as dates can be set


@dataclass(frozen=True, slots=True)
class DayCell:
    """One day: "open" or "closed" by its weekday, or "shut" or "opened" by its date, and then why."""

    day: date
    state: str
    why: str
    is_today: bool


@dataclass(frozen=True, slots=True)
class MonthGrid:
    """One month: its weeks from Monday to Sunday, None where another month's day would stand."""

    name: str
    weeks: tuple[tuple[DayCell | None, ...], ...]
    open_days: int


@dataclass(frozen=True, slots=True)
class SetSpan:
    """Dates in a row that were closed, or opened, for the same reason."""

    span: Span
    words: str
    is_open: bool
    why: str


@dataclass(frozen=True, slots=True)
class YearView:
    """One year of the room's calendar; `set_spans` are those that touch it, whole."""

    year: int
    today: date
    open_weekdays: frozenset[int]
    months: tuple[MonthGrid, ...]
    open_days: int
    set_spans: tuple[SetSpan, ...]
    has_before: bool
    has_after: bool


@dataclass(frozen=True, slots=True)
class Effect:
    """How many sheets are stalled by one calendar and by another, at the same moment."""

    before: int
    after: int


def calendar_in_force(session: Session, zone: ZoneInfo) -> Calendar:
    """The days on which the room is open, as they stand."""
    return calendar_now(session, house_now(session), zone)


def year_view(session: Session, year: int, now: datetime, zone: ZoneInfo) -> YearView:
    """One year, day by day. ValueError for a year in which no date can be set."""
    today = local_day(now, zone)
    years = range(today.year - YEARS_AROUND, today.year + YEARS_AROUND + 1)
    if year not in years:
        raise ValueError(say("The calendar goes from {first} to {last}.", first=years[0], last=years[-1]))
    cal, why_of = calendar_in_force(session, zone), _why_of(session, year)
    months = tuple(_month(cal, why_of, year, month, today) for month in range(1, 13))
    set_spans = tuple(each for each in _set_spans(cal, why_of) if year in (each.span.first.year, each.span.last.year))
    return YearView(year, today, cal.open_weekdays, months, sum(month.open_days for month in months), set_spans,
                    year > years[0], year < years[-1])  # fmt: skip


def effect_of(session: Session, before: Calendar, now: datetime, zone: ZoneInfo) -> Effect:
    """How many sheets are stalled now by the calendar in force, and how many would be by the one `before`."""
    judged = judge(session, now, zone)
    by_before = replace(judged, calendar=before)
    return Effect(*(stalled_count(session, each) for each in (by_before, judged)))


def stalled_count(session: Session, judged: Judge) -> int:
    """How many sheets in the queue are stalled, as the board counts them."""
    own_days = cabinet_days(session)
    waiting = (found for kind in KINDS for found in waiting_in(session, judged, kind, own_days))
    return sum(found.stalled for found in waiting) + len(forgotten_ids(session, judged))


def _why_of(session: Session, year: int) -> dict[date, str]:
    """Why each date was set, of this year and its neighbours: a closure may go over the new year."""
    within = CALENDAR_DAY.c.day.between(date(year - 1, 1, 1), date(year + 1, 12, 31))
    rows = session.execute(select(CALENDAR_DAY.c.day, CALENDAR_DAY.c.why).where(within).order_by(CALENDAR_DAY.c.day))
    return {row.day: row.why for row in rows}


def _month(cal: Calendar, why_of: Mapping[date, str], year: int, month: int, today: date) -> MonthGrid:
    first = date(year, month, 1)
    following = date(year + month // 12, month % 12 + 1, 1)
    weeks = tuple(
        tuple(_cell(cal, why_of, day, today) if day.month == month else None for day in week)
        for week in MONDAY_FIRST.monthdatescalendar(year, month)
    )
    return MonthGrid(spoken().months[month - 1], weeks, open_days_between(cal, first, following))


def _cell(cal: Calendar, why_of: Mapping[date, str], day: date, today: date) -> DayCell:
    by_weekday, by_date = ("open", "opened") if cal.is_open(day) else ("closed", "shut")
    return DayCell(day, by_date if day in why_of else by_weekday, why_of.get(day, ""), day == today)


def _set_spans(cal: Calendar, why_of: Mapping[date, str]) -> list[SetSpan]:
    alike: dict[tuple[bool, str], list[date]] = {}
    for day, why in why_of.items():
        alike.setdefault((day in cal.opened, why), []).append(day)
    found = [
        SetSpan(span, span_words(span), is_open, why) for (is_open, why), days in alike.items() for span in spans(days)
    ]
    return sorted(found, key=lambda each: each.span.first)
