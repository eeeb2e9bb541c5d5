"""A station's screen: who works there, what was scanned last, what to fetch next, and what the room did today."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from app.db.models import (
    Adhesive,
    Attendance,
    Bundle,
    Cabinet,
    Consignment,
    Shelf,
    Stack,
    Station,
    TallyDay,
    Worker,
    table_of,
)
from app.db.prepared import prepared
from app.domain.calendar import local_day
from app.domain.language import say
from app.domain.stages import STEP_WORDS, Step
from app.queries.attendance import began_words
from app.queries.checks import CheckHere, check_here
from app.queries.fetching import FetchLine as FetchLine
from app.queries.fetching import fetch_next as fetch_next
from app.queries.house import house_now
from app.queries.last_scans import LastScan, last_scans, newest_scan
from app.queries.people import steps_words
from app.queries.reminders import Reminder, reminders_for

STATION = table_of(Station)
_STATION = prepared(
    select(
        STATION, Adhesive.name.label("adhesive"), Cabinet.name.label("cabinet"), Shelf.name.label("shelf"),
        Stack.name.label("stack"), Bundle.name.label("bundle"), Consignment.name.label("consignment"),
    )
    .outerjoin(Adhesive, Adhesive.id == STATION.c.adhesive_id)
    .outerjoin(Cabinet, Cabinet.id == STATION.c.cabinet_id)
    .outerjoin(Shelf, Shelf.id == STATION.c.shelf_id)
    .outerjoin(Stack, Stack.id == STATION.c.stack_id)
    .outerjoin(Bundle, Bundle.id == STATION.c.bundle_id)
    .outerjoin(Consignment, Consignment.id == STATION.c.consignment_id)
    .where(STATION.c.id == bindparam("station"), STATION.c.closed_at.is_(None))
)  # fmt: skip
_HERE = prepared(
    select(
        Worker.id,
        Worker.number,
        Worker.name,
        Attendance.signed_in_at,
        Attendance.beside_id,
        Attendance.how,
        Worker.language,
    )
    .join(Attendance, Attendance.worker_id == Worker.id)
    .where(Attendance.station_id == bindparam("station"), Attendance.signed_out_at.is_(None))
    .order_by(Attendance.id)
)
_TODAY = prepared(
    select(TallyDay.step, func.sum(TallyDay.credit_60))
    .where(TallyDay.day == bindparam("day"), TallyDay.step.in_(bindparam("steps", expanding=True)))
    .group_by(TallyDay.step)
)
# What the room is told of its own day, in the order of the work.
TOLD_TODAY = (Step.TAKE_IN, Step.PASS_AS_DRY, Step.MOUNT, Step.TAKE_OUT, Step.FILE)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """Somebody signed in at a station; `began` says how, `beside` names the one they learn from."""

    worker_id: int
    number: str
    name: str
    since: datetime
    beside: str
    teaches: bool
    began: str
    language: str | None


@dataclass(frozen=True, slots=True)
class TodayCount:
    """How many sheets the room took a step with today."""

    step: str
    words: str
    count: int


@dataclass(frozen=True, slots=True)
class StationView:
    """A station as its screen shows it. `place`, `stack` and `bundle` are what it has in hand for the next scan."""

    station_id: int
    slug: str
    name: str
    code: str
    is_practice: bool
    steps: tuple[str, ...]
    steps_words: str
    workers: tuple[SignedIn, ...]
    reminders: tuple[Reminder, ...]
    last: tuple[LastScan, ...]
    today: tuple[TodayCount, ...]
    adhesive: str
    bulk: str
    method: str
    place: str
    stack: str
    bundle: str
    consignment: str
    in_round: bool
    asks: str
    check: CheckHere | None = None


@dataclass(frozen=True, slots=True)
class AnsweredView:
    """What changes on a station's screen with each answer."""

    workers: tuple[SignedIn, ...]
    last: tuple[LastScan, ...]


@dataclass(frozen=True, slots=True)
class SideView:
    """What stands at the side of a station's screen, by itself."""

    fetch: tuple[FetchLine, ...]
    today: tuple[TodayCount, ...]
    last: tuple[LastScan, ...]
    reminders: tuple[Reminder, ...]


@dataclass(frozen=True, slots=True)
class WorkerChoice:
    """Somebody who may sign in by name."""

    worker_id: int
    number: str
    name: str


def station_view(
    session: Session, station_id: int, now: datetime, zone: ZoneInfo, by: tuple[int, ...] = ()
) -> StationView | None:
    """One station in use; `by` are the workers whose scans may be undone there, as a rule those signed in. None for a
    station that is not, or no longer, in use.
    """
    row = session.execute(_STATION, {"station": station_id}).one_or_none()
    if row is None:
        return None
    here = _workers(session, station_id)
    steps = tuple(row.steps)
    undoers = by or tuple(worker.worker_id for worker in here)
    return StationView(
        row.id, row.slug, row.name, row.code, row.is_practice, steps, steps_words(steps), here,
        reminders_for([Step(step) for step in steps]), last_scans(session, station_id, now, zone, undoers),
        _today(session, now, zone), row.adhesive or "", row.bulk or "", row.method or "", _place(row), row.stack or "",
        row.bundle or "", row.consignment or "", row.in_round, _asks(row.pending),
        check_here(session, station_id) if row.check_id else None,
    )  # fmt: skip


def answered_view(session: Session, station_id: int, now: datetime, zone: ZoneInfo) -> AnsweredView:
    """What changes on a station's screen with an answer: who works there, and the scan that was answered."""
    return AnsweredView(_workers(session, station_id), newest_scan(session, station_id, now, zone))


def side_view(
    session: Session, station_id: int, now: datetime, zone: ZoneInfo, by: tuple[int, ...] = ()
) -> SideView | None:
    """What to fetch next, what the room did today and the last scans; fetching only where sheets are taken up."""
    view = station_view(session, station_id, now, zone, by)
    if view is None:
        return None
    fetch = fetch_next(session, station_id, now, house_now(session))
    return SideView(fetch, view.today, view.last, view.reminders)


def workers_to_choose(session: Session) -> tuple[WorkerChoice, ...]:
    """Everybody who works here and has not left, by name; readers handle no sheets."""
    found = select(Worker.id, Worker.number, Worker.name, Worker.rights).where(Worker.retired_at.is_(None))
    rows = session.execute(found.order_by(Worker.name, Worker.id))
    return tuple(WorkerChoice(row.id, row.number, row.name) for row in rows if row.rights.split() != ["reader"])


def _workers(session: Session, station_id: int) -> tuple[SignedIn, ...]:
    rows = session.execute(_HERE, {"station": station_id}).all()
    teachers = {row.beside_id for row in rows if row.beside_id}
    names = {row.id: row.name for row in rows}
    here = [
        SignedIn(row.id, row.number, row.name, row.signed_in_at, names.get(row.beside_id, ""), row.id in teachers,
                 began_words(row.how), row.language)
        for row in rows
    ]  # fmt: skip
    return tuple(sorted(here, key=lambda worker: worker.teaches))


def _today(session: Session, now: datetime, zone: ZoneInfo) -> tuple[TodayCount, ...]:
    asked = {"day": local_day(now, zone), "steps": [step.value for step in TOLD_TODAY]}
    counts = {step: credit // 60 for step, credit in session.execute(_TODAY, asked)}
    return tuple(
        TodayCount(step.value, say(STEP_WORDS[step][1]), counts[step.value])
        for step in TOLD_TODAY
        if counts.get(step.value)
    )


def _place(row: Any) -> str:
    return say("{cabinet}, shelf {shelf}", cabinet=row.cabinet, shelf=row.shelf) if row.shelf else row.cabinet or ""


def _asks(pending: dict[str, Any] | None) -> str:
    step = (pending or {}).get("step") or (pending or {}).get("next_step")
    return STEP_WORDS[Step(step)][0] if step in list(Step) else ""
