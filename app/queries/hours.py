"""Hours at the stations, off the times at which workers signed in and out: each person's own, learning or teaching."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, func, or_, select
from sqlalchemy.orm import Session

from app.db.models import Attendance, HoursSum, Station, table_of
from app.domain.calendar import day_bounds
from app.domain.stages import Step

ATTENDANCE = table_of(Attendance)
STATION = table_of(Station)
SECOND = timedelta(seconds=1)
_ATTENDANCES = (
    select(ATTENDANCE.c.worker_id, ATTENDANCE.c.station_id, ATTENDANCE.c.beside_id, ATTENDANCE.c.signed_in_at,
           ATTENDANCE.c.signed_out_at)
    .where(ATTENDANCE.c.signed_in_at < bindparam("until", type_=ATTENDANCE.c.signed_in_at.type),
           or_(ATTENDANCE.c.signed_out_at.is_(None),
               ATTENDANCE.c.signed_out_at > bindparam("since", type_=ATTENDANCE.c.signed_in_at.type)))
    .order_by(ATTENDANCE.c.id)
)  # fmt: skip
_FIRST_KEPT = select(func.min(ATTENDANCE.c.signed_in_at))
_LAST_FORGOTTEN = select(func.max(table_of(HoursSum).c.month))


@dataclass(frozen=True, slots=True)
class Hours:
    """Seconds signed in: of own work, of learning beside somebody, and of teaching somebody beside oneself."""

    own_s: int = 0
    learning_s: int = 0
    teaching_s: int = 0

    @property
    def total_s(self) -> int:
        """All of them."""
        return self.own_s + self.learning_s + self.teaching_s

    def __add__(self, other: Hours) -> Hours:
        return Hours(self.own_s + other.own_s, self.learning_s + other.learning_s, self.teaching_s + other.teaching_s)


@dataclass(frozen=True, slots=True)
class Bench:
    """A station by the steps that are done there: its group of steps."""

    station_id: int
    name: str
    steps: frozenset[str]

    @property
    def at_table(self) -> bool:
        """Whether sheets are mounted there."""
        return Step.MOUNT.value in self.steps


@dataclass(frozen=True, slots=True)
class Presence:
    """One worker at one station from `since` until `until`; `beside_id` is whom they learned from there."""

    worker_id: int
    station_id: int
    beside_id: int | None
    since: datetime
    until: datetime


HoursBy = dict[tuple[int, int], Hours]


def benches(session: Session) -> dict[int, Bench]:
    """Every station, closed ones too, and one that practises: what was worked there before counts. Practice has its own room."""
    rows = session.execute(select(STATION.c.id, STATION.c.name, STATION.c.steps))
    return {row.id: Bench(row.id, row.name, frozenset(row.steps)) for row in rows}


def presences(session: Session, since: datetime, until: datetime, now: datetime) -> tuple[Presence, ...]:
    """Who was signed in where between two moments; who is signed in still is there until now."""
    rows = session.execute(_ATTENDANCES, {"since": since, "until": min(until, now)})
    found = (_clipped(row, since, min(until, now)) for row in rows)
    return tuple(each for each in found if each.until > each.since)


def hours_within(present: Sequence[Presence], since: datetime, until: datetime) -> HoursBy:
    """The hours of each worker at each station, by their ids, as far as they lie between these moments.

    A learner learns while the teacher is signed in there, too; the teacher teaches for just as long, however many learn.
    """
    here: dict[int, list[Presence]] = {}
    for each in present:
        if (found := _within(each, since, until)) is not None:
            here.setdefault(each.station_id, []).append(found)
    by: HoursBy = {}
    for mine, others in ((each, there) for there in here.values() for each in there):
        learning = _covered(mine, (each for each in others if each.worker_id == mine.beside_id))
        teaching = _covered(mine, (each for each in others if each.beside_id == mine.worker_id))
        own = (mine.until - mine.since) // SECOND - learning - teaching
        key = mine.worker_id, mine.station_id
        by[key] = by.get(key, Hours()) + Hours(max(own, 0), learning, teaching)
    return by


def kept_since(session: Session, zone: ZoneInfo) -> datetime | None:
    """The moment before which hours are no longer kept by person; None where none were given up yet.

    Where nobody's are left, it is the end of the last month of which hours were given up: since then nobody was here.
    """
    month: str | None = session.execute(_LAST_FORGOTTEN).scalar()
    if month is None:
        return None
    first: datetime | None = session.execute(_FIRST_KEPT).scalar()
    return first or day_bounds(_last_day(month), zone)[1]


def _last_day(month: str) -> date:
    year, number = (int(each) for each in month.split("-"))
    return date(year, number, monthrange(year, number)[1])


def _clipped(row: Any, since: datetime, until: datetime) -> Presence:
    ended = min(row.signed_out_at or until, until)
    return Presence(row.worker_id, row.station_id, row.beside_id, max(row.signed_in_at, since), ended)


def _within(mine: Presence, since: datetime, until: datetime) -> Presence | None:
    begins, ends = max(mine.since, since), min(mine.until, until)
    return Presence(mine.worker_id, mine.station_id, mine.beside_id, begins, ends) if begins < ends else None


def _covered(mine: Presence, others: Iterable[Presence]) -> int:
    """For how many whole seconds of this presence at least one of the others was there."""
    whole, reached = timedelta(0), mine.since
    for other in sorted(others, key=lambda each: each.since):
        begins, ends = max(other.since, reached), min(other.until, mine.until)
        if begins < ends:
            whole, reached = whole + (ends - begins), ends
    return whole // SECOND
