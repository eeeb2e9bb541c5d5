"""A station's screen: who works there, what was scanned last, what is in hand there, and what the room did today."""

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
    steps: tuple[str, ...]
    steps_words: str
    workers: tuple[SignedIn, ...]
    reminders: tuple[Reminder, ...]
    last: tuple[LastScan, ...]
    today: tuple[TodayCount, ...]
    adhesive: str
    bulk: str
    place: str
    stack: str
    bundle: str
    consignment: str
    in_round: bool
    check: CheckHere | None = None


@dataclass(frozen=True, slots=True)
class AnsweredView:
    """What changes on a station's screen with each answer."""

    workers: tuple[SignedIn, ...]
    last: tuple[LastScan, ...]


def station_view(session: Session, station_id: int, now: datetime, zone: ZoneInfo) -> StationView | None:
    """One station in use; None for one that is not, or no longer, in use."""
    row = session.execute(_STATION, {"station": station_id}).one_or_none()
    if row is None:
        return None
    here = signed_in_here(session, station_id)
    steps = tuple(row.steps)
    return StationView(
        row.id, row.slug, row.name, steps, steps_words(steps), here,
        reminders_for([Step(step) for step in steps]), last_scans(session, station_id, now, zone),
        _today(session, now, zone), row.adhesive or "", row.bulk or "", _place(row), row.stack or "",
        row.bundle or "", row.consignment or "", row.in_round,
        check_here(session, station_id) if row.check_id else None,
    )  # fmt: skip


def signed_in_here(session: Session, station_id: int) -> tuple[SignedIn, ...]:
    """Who works at a station now; whoever teaches stands behind those who learn."""
    rows = session.execute(_HERE, {"station": station_id}).all()
    teachers = {row.beside_id for row in rows if row.beside_id}
    names = {row.id: row.name for row in rows}
    here = [
        SignedIn(row.id, row.number, row.name, row.signed_in_at, names.get(row.beside_id, ""), row.id in teachers,
                 began_words(row.how), row.language)
        for row in rows
    ]  # fmt: skip
    return tuple(sorted(here, key=lambda worker: worker.teaches))


def answered_view(session: Session, station_id: int, now: datetime, zone: ZoneInfo) -> AnsweredView:
    """What changes on a station's screen with an answer: who works there, and the scan that was answered."""
    return AnsweredView(signed_in_here(session, station_id), newest_scan(session, station_id, now, zone))


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
