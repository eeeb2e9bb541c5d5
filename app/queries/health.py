"""Whether the room's database answers, and what a script may ask about it."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import bindparam, select, text
from sqlalchemy.orm import Session

from app.db.fitness import LAST_BACKUP as LAST_BACKUP
from app.db.models import Attendance, Entry, Setting, table_of

_REVISION = text("SELECT version_num FROM alembic_version")
_BACKUP = select(Setting.value).where(Setting.name == LAST_BACKUP)
_ENTRY = select(Entry.id).where(table_of(Entry).c.id == bindparam("entry"))


@dataclass(frozen=True, slots=True)
class Health:
    """The revision of the schema, the kind of database, and when the last backup was made, in ISO 8601, if ever."""

    revision: str
    database: str
    last_backup: str | None


def health(session: Session) -> Health:
    """Ask the database how it is; whatever error it gives is the caller's to take as illness."""
    revision = str(session.execute(_REVISION).scalar_one())
    return Health(revision, session.get_bind().dialect.name, session.execute(_BACKUP).scalar())


def has_entry(session: Session, entry_id: int) -> bool:
    """Whether the log has an entry with this number."""
    return session.execute(_ENTRY, {"entry": entry_id}).first() is not None


def signed_in_ids(session: Session, station_id: int | None) -> tuple[int, ...]:
    """The workers who are signed in at a station; none where there is no station."""
    mine = (Attendance.station_id == station_id, Attendance.signed_out_at.is_(None))
    return tuple(session.execute(select(Attendance.worker_id).where(*mine)).scalars())
