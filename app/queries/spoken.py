"""In which language somebody reads: by their badge, by their name, or by where they work now."""

from __future__ import annotations

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.db.models import Attendance, Worker, table_of
from app.db.prepared import prepared

WORKER = table_of(Worker)
ATTENDANCE = table_of(Attendance)
_BY_BADGE = prepared(select(WORKER.c.language).where(WORKER.c.badge_code == bindparam("badge")))
_BY_ID = prepared(select(WORKER.c.language).where(WORKER.c.id == bindparam("worker")))
# Of whoever signed in last there: a station speaks one language at a time.
_AT = prepared(
    select(WORKER.c.language)
    .join_from(ATTENDANCE, WORKER, ATTENDANCE.c.worker_id == WORKER.c.id)
    .where(ATTENDANCE.c.station_id == bindparam("station"), ATTENDANCE.c.signed_out_at.is_(None))
    .order_by(ATTENDANCE.c.signed_in_at.desc(), ATTENDANCE.c.id.desc())
    .limit(1)
)


def language_of_badge(session: Session, code: str) -> str | None:
    """The language that whoever carries this badge chose; None for no choice, and for nobody's badge."""
    return _only(session.execute(_BY_BADGE, {"badge": code}).scalar())


def language_of_worker(session: Session, worker_id: int) -> str | None:
    """The language that this worker chose; None for no choice."""
    return _only(session.execute(_BY_ID, {"worker": worker_id}).scalar())


def language_at(session: Session, station_id: int) -> str | None:
    """The language of whoever signed in last at this station and works there still; None for nobody, or no choice."""
    return _only(session.execute(_AT, {"station": station_id}).scalar())


def _only(found: object) -> str | None:
    return found if isinstance(found, str) else None
