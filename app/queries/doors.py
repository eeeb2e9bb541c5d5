"""What the doors ask: who this is, and which station this browser is."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import bindparam, exists, select
from sqlalchemy.orm import Session

from app.db.models import Attendance, Setting, Station, Worker, table_of
from app.db.prepared import prepared
from app.db.settings import SIGNED_OUT

ATTENDANCE = table_of(Attendance)
WORKER = table_of(Worker)
STATION = table_of(Station)
# Of whoever signed in last there: a station speaks one language at a time.
_SPOKEN_THERE = (
    select(WORKER.c.language)
    .join_from(ATTENDANCE, WORKER, ATTENDANCE.c.worker_id == WORKER.c.id)
    .where(ATTENDANCE.c.station_id == STATION.c.id, ATTENDANCE.c.signed_out_at.is_(None))
    .order_by(ATTENDANCE.c.signed_in_at.desc(), ATTENDANCE.c.id.desc())
    .limit(1)
    .scalar_subquery()
)
_WORKER = prepared(
    select(WORKER.c.id, WORKER.c.name, WORKER.c.rights, WORKER.c.password_changed_at, WORKER.c.language, WORKER.c.number).where(
        WORKER.c.id == bindparam("worker"), WORKER.c.retired_at.is_(None),
        ~exists().where(table_of(Setting).c.name == bindparam("signed_out")),
    )
)  # fmt: skip
_STATION = prepared(
    select(STATION.c.id, STATION.c.is_practice, _SPOKEN_THERE.label("language")).where(
        STATION.c.secret_hash == bindparam("secret"), STATION.c.closed_at.is_(None)
    )
)


@dataclass(frozen=True, slots=True)
class KnownWorker:
    """A worker as the doors know them; the mark changes with the password, so that old sessions end."""

    worker_id: int
    name: str
    rights: frozenset[str]
    password_mark: str
    language: str | None
    number: str


@dataclass(frozen=True, slots=True)
class KnownStation:
    """A station as the doors know it, whether it is set to practise, and the language of whoever works there."""

    station_id: int
    practises: bool
    language: str | None


def known_worker(session: Session, worker_id: int, browser: str = "") -> KnownWorker | None:
    """The worker with this id who has not left; None, too, in a browser (by its mark) that was signed out."""
    row = session.execute(_WORKER, {"worker": worker_id, "signed_out": f"{SIGNED_OUT}{browser}"}).one_or_none()
    if row is None:
        return None
    mark = row.password_changed_at.isoformat() if row.password_changed_at else ""
    return KnownWorker(row.id, row.name, frozenset(row.rights.split()), mark, row.language, row.number)


def station_by_secret(session: Session, secret_hash: str) -> KnownStation | None:
    """The station that a browser with this secret was enrolled for; None where there is none, or none any more."""
    row = session.execute(_STATION, {"secret": secret_hash}).one_or_none()
    return KnownStation(row.id, row.is_practice, row.language) if row is not None else None
