"""A backup of the room: a whole copy of its database beside the room, looked at before it counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import delete, insert
from sqlalchemy.orm import Session

from app.db.fitness import LAST_BACKUP, copy_aside, file_of
from app.db.models import Setting, table_of
from app.services.changes import changed

SETTING = table_of(Setting)


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy that was found whole: where it lies, and how many bytes it has."""

    path: Path
    size: int

    @property
    def said(self) -> str:
        """The copy in words."""
        return f"{self.path.name}, {self.size / 1e6:,.1f} MB"


def make_backup(session: Session, target: Path) -> Backup:
    """Copy the room's database to `target` while it is in use. Nobody waits: the copy reads what stood at its beginning.

    A copy that is cut short never bears the name of a backup. ValueError for a database that is not one file, Unfit for a
    copy that is not whole, OSError where it cannot be written.
    """
    source = file_of(session.info["database"].engine.url.render_as_string(hide_password=False))
    if source is None:
        raise ValueError("This database is backed up by its own tools (pg_dump).")
    if target.exists():
        raise ValueError(f"There is a file {target} already. Name another.")
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    part = target.with_name(f"{target.name}.part")
    part.unlink(missing_ok=True)
    try:
        part.touch(mode=0o600)
        copy_aside(source, part)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    return Backup(target, target.stat().st_size)


def backup_name(now: datetime) -> str:
    """The name of a backup made at this moment."""
    return f"blotter-{now:%Y%m%dT%H%M%SZ}.sqlite3"


def keep_backup(session: Session, backup: Backup, now: datetime, *, by: int | None = None) -> None:
    """Write down that the room was backed up at this moment."""
    session.execute(delete(SETTING).where(SETTING.c.name == LAST_BACKUP))
    session.execute(insert(SETTING).values(name=LAST_BACKUP, value=now.isoformat()))
    changed(session, now, by, "room", None, "backed up", new=backup.said)
