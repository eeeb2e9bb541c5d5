"""The week: who did what, how the stages stood, what did not go by the book, and whether the room was as it usually is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.db.models import Entry, table_of
from app.domain.calendar import Calendar, iso_week, local_day, open_days_between, week_bounds
from app.domain.language import mark, say
from app.domain.limits_of_weeks import WEEKS, chart
from app.domain.stages import STEP_WORDS, Step
from app.domain.stays import HOUR_S
from app.queries.house import calendar_now, house_now
from app.queries.week_exceptions import changed_since, exceptions_of
from app.queries.week_lines import (
    ChangedSince,
    Exceptional,
    RoomLine,
    StageWeek,
    WorkerWeek,
)
from app.queries.week_stages import stages_of
from app.queries.week_workers import Ground, ground_of, workers_of
from app.queries.weeks_kept import Span, Weeks

ENTRY = table_of(Entry)
A_WEEK = timedelta(weeks=1)
RATED_WEEKS = 8  # the week itself and the seven before it
# The steps by which the whole room's week is held against the weeks before.
ROOM_STEPS = (
    Step.TAKE_IN, Step.PASS_AS_DRY, Step.MOUNT, Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT, Step.INSPECT, Step.FILE,
)  # fmt: skip
AT_THE_TABLES = mark("hours at the tables")
_FIRST = select(func.min(ENTRY.c.happened_at))


@dataclass(frozen=True, slots=True)
class Week:
    """One ISO week of the room, Monday to Sunday in the room's zone, as it is known at `read_at`.

    `before` and `after` are the (ISO year, week) beside it; `after` is None where that has not begun. `workers` come by
    name; none where names are not to be shown. `changed` says what changed the week after it had ended. Where hours are no
    longer kept by person (not `hours_kept`), the hours of workers say nothing, and the room has no line of hours.
    `rate_least_hours` and `first_pass_least` are the house rules below which no rate and no interval is told.
    """

    year: int
    week: int
    first_day: date
    last_day: date
    is_over: bool
    read_at: datetime
    before: tuple[int, int]
    after: tuple[int, int] | None
    workers: tuple[WorkerWeek, ...]
    stages: tuple[StageWeek, ...]
    exceptions: tuple[Exceptional, ...]
    room: tuple[RoomLine, ...]
    changed: tuple[ChangedSince, ...]
    hours_kept: bool
    rate_least_hours: int
    first_pass_least: int


def week(session: Session, year: int, week: int, now: datetime, zone: ZoneInfo, *, named: bool = True) -> Week:
    """The report of one week; entries that were taken back count nowhere in it. `named`: with workers and names.

    ValueError with a sentence for a week that is not, or that has not begun.
    """
    starts_at, ends_at = week_bounds(year, week, zone)
    if starts_at > now:
        raise ValueError(say("Week {week} of {year} has not begun yet.", week=week, year=year))
    monday, house = date.fromisocalendar(year, week, 1), house_now(session)
    known = Weeks(session)
    spans = [_span(monday - back * A_WEEK, zone) for back in range(WEEKS, -1, -1)]
    ground = ground_of(session, known, spans, now, zone, house)
    found = Week(
        year, week, monday, monday + timedelta(days=6), ends_at <= now, now,
        _iso(monday - A_WEEK), _iso(monday + A_WEEK) if ends_at <= now else None,
        workers_of(session, known, ground, RATED_WEEKS) if named else (),
        stages_of(session, known, spans[-1], now, zone),
        exceptions_of(session, known, spans[-1], named=named),
        _room(session, ground, calendar_now(session, house, zone), is_over=ends_at <= now),
        changed_since(session, known, spans[-1], named=named),
        ground.hours[-1] is not None, house.rate_least_hours, house.first_pass_least,
    )  # fmt: skip
    known.keep()
    return found


def weeks_between(session: Session, now: datetime, zone: ZoneInfo) -> tuple[tuple[int, int], tuple[int, int]]:
    """The (ISO year, week) of the first entry on record, or of now without one, and the week of now."""
    first = session.execute(_FIRST).scalar()
    return iso_week(first or now, zone), iso_week(now, zone)


def _room(session: Session, ground: Ground, calendar: Calendar, *, is_over: bool) -> tuple[RoomLine, ...]:
    """The room's week by step, and its hours at the tables where they are known, against the weeks before that can be
    compared.
    """
    first = session.execute(_FIRST).scalar()
    compared = [number for number, span in enumerate(ground.spans[:-1]) if _counts(span, first, calendar)]
    sheets = [
        _line(STEP_WORDS[step][1], step, [each.by_step.get(step, 0) for each in ground.sheets], compared, is_over=is_over)
        for step in ROOM_STEPS
    ]  # fmt: skip
    if ground.hours[-1] is None:
        return tuple(sheets)
    known = [number for number in compared if ground.hours[number] is not None]
    hours = [_at_tables_h(ground, number) for number in range(len(ground.spans))]
    return (*sheets, _line(AT_THE_TABLES, None, hours, known, is_over=is_over))


def _line(what: str, step: Step | None, values: Sequence[float], compared: Sequence[int], *, is_over: bool) -> RoomLine:
    before = tuple(values[number] for number in compared)
    return RoomLine(what, step, values[-1], before, chart(values[-1], before, is_over=is_over))


def _counts(span: Span, first: datetime | None, calendar: Calendar) -> bool:
    """Whether a week can be compared: the room was on record by its end, and had an open day in it."""
    monday = local_day(span.since, calendar.zone)
    return first is not None and first < span.until and open_days_between(calendar, monday, monday + A_WEEK) > 0


def _at_tables_h(ground: Ground, number: int) -> float:
    hours = ground.hours[number] or {}
    return sum(found.total_s for (_, station), found in hours.items() if ground.benches[station].at_table) / HOUR_S


def _span(monday: date, zone: ZoneInfo) -> Span:
    return Span(*week_bounds(*_iso(monday), zone))


def _iso(day: date) -> tuple[int, int]:
    year, week, _ = day.isocalendar()
    return year, week
