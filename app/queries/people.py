"""Who works here, which stations and keys there are, and what was changed by whom."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from app.db.models import Adhesive, Attendance, Change, Station, Token, Worker, table_of
from app.domain.language import say
from app.domain.stages import STEP_WORDS, Step

CHANGE = table_of(Change)


@dataclass(frozen=True, slots=True)
class WorkerLine:
    """A worker: rights, how they sign in, and the station where they are signed in now, if any."""

    worker_id: int
    number: str
    name: str
    rights: tuple[str, ...]
    has_badge: bool
    badge_since: datetime | None
    has_password: bool
    has_pin: bool
    added_at: datetime
    retired_at: datetime | None
    told_at: datetime | None
    station: str
    since: datetime | None


@dataclass(frozen=True, slots=True)
class TokenLine:
    """A key for scripts: what it may do, for whom, and when it was last used. The key itself is kept nowhere."""

    token_id: int
    name: str
    scope: str
    station: str
    worker: str
    made_at: datetime
    expires_at: datetime | None
    used_at: datetime | None
    revoked_at: datetime | None


@dataclass(frozen=True, slots=True)
class StationLine:
    """A station: what is done there, whether a browser is enrolled for it, and who is signed in."""

    station_id: int
    slug: str
    code: str
    name: str
    steps: tuple[str, ...]
    steps_words: str
    is_practice: bool
    enrolled_at: datetime | None
    enrolled_by: str
    closed_at: datetime | None
    seen_at: datetime | None
    workers: tuple[str, ...]
    adhesive: str
    bulk: str
    method: str


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """A change to something that is not a sheet."""

    changed_at: datetime
    by: str
    subject: str
    subject_id: int | None
    what: str
    old: str
    new: str
    why: str


def workers(session: Session) -> tuple[WorkerLine, ...]:
    """Everybody, those who have left last, by name."""
    rows = session.execute(select(Worker).order_by(Worker.retired_at.is_not(None), Worker.name, Worker.id)).scalars()
    at = _signed_in(session)
    return tuple(_worker(row, at.get(row.id)) for row in rows)


def worker_by_id(session: Session, worker_id: int) -> WorkerLine | None:
    """One worker; None when there is none with this id."""
    row = session.execute(select(Worker).where(Worker.id == worker_id)).scalar()
    return _worker(row, _signed_in(session).get(worker_id)) if row is not None else None


def tokens(session: Session) -> tuple[TokenLine, ...]:
    """Every key, those in use first, the newest of them first."""
    found = (
        select(Token, Station.name, Worker.name)
        .outerjoin(Station, Station.id == Token.station_id)
        .outerjoin(Worker, Worker.id == Token.worker_id)
        .order_by(Token.revoked_at.is_not(None), Token.id.desc())
    )
    return tuple(
        TokenLine(token.id, token.name, token.scope, station or "", worker or "", token.made_at, token.expires_at,
                  token.used_at, token.revoked_at)
        for token, station, worker in session.execute(found)
    )  # fmt: skip


def station_list(session: Session) -> tuple[StationLine, ...]:
    """Every station, those no longer in use last, in the order in which they were set up."""
    enrolled_by = aliased(Worker)
    found = (
        select(Station, enrolled_by.name, Adhesive.name)
        .outerjoin(enrolled_by, enrolled_by.id == Station.enrolled_by)
        .outerjoin(Adhesive, Adhesive.id == Station.adhesive_id)
        .order_by(Station.closed_at.is_not(None), Station.id)
    )
    here = _workers_by_station(session)
    return tuple(_station(*row, here.get(row[0].id, ())) for row in session.execute(found))


def changes(session: Session, limit: int) -> tuple[ChangeLine, ...]:
    """What was changed last, the newest first, at most so many."""
    found = select(CHANGE, Worker.name.label("by")).outerjoin(Worker, Worker.id == CHANGE.c.changed_by)
    rows = session.execute(found.order_by(CHANGE.c.id.desc()).limit(limit))
    return tuple(
        ChangeLine(
            row.changed_at,
            row.by or "",
            row.subject,
            row.subject_id,
            row.what,
            row.old or "",
            row.new or "",
            row.why or "",
        )
        for row in rows
    )


def steps_words(steps: tuple[str, ...]) -> str:
    """The steps of a station as they are said: "take up, then mount, put back"."""
    said = [say(STEP_WORDS[Step(step)][0]) for step in steps]
    return say(", then ").join(said) if len(said) < 3 else ", ".join(said)


def _signed_in(session: Session) -> dict[int, tuple[str, datetime]]:
    found = (
        select(Attendance.worker_id, Station.name, Attendance.signed_in_at)
        .join(Station, Station.id == Attendance.station_id)
        .where(Attendance.signed_out_at.is_(None))
        .order_by(Attendance.id)
    )
    return {row.worker_id: (row.name, row.signed_in_at) for row in session.execute(found)}


def _worker(row: Worker, at: tuple[str, datetime] | None) -> WorkerLine:
    station, since = at or ("", None)
    return WorkerLine(
        row.id, row.number, row.name, tuple(row.rights.split()), row.badge_code is not None, row.badge_since_at,
        row.password_hash is not None, row.pin_hash is not None, row.added_at, row.retired_at, row.told_at, station, since,
    )  # fmt: skip


def _workers_by_station(session: Session) -> dict[int, tuple[str, ...]]:
    found = (
        select(Attendance.station_id, Worker.name)
        .join(Worker, Worker.id == Attendance.worker_id)
        .where(Attendance.signed_out_at.is_(None))
        .order_by(Attendance.id)
    )
    here: dict[int, tuple[str, ...]] = {}
    for station_id, name in session.execute(found):
        here[station_id] = (*here.get(station_id, ()), name)
    return here


def _station(row: Any, enrolled_by: str | None, adhesive: str | None, here: tuple[str, ...]) -> StationLine:
    steps = tuple(row.steps)
    return StationLine(
        row.id, row.slug, row.code, row.name, steps, steps_words(steps), row.is_practice,
        row.enrolled_at, enrolled_by or "", row.closed_at, row.seen_at, here, adhesive or "", row.bulk or "",
        row.method or "",
    )  # fmt: skip
