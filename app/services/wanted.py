"""Sheets that somebody wants done soon: asked for with a reason, and a day if there is one, until it is done or let go."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import insert, select, update
from sqlalchemy.orm import Session

from app.db.models import Sheet, Wanted, table_of
from app.services.changes import changed

SHEET = table_of(Sheet)
WANTED = table_of(Wanted)
LONGEST = 300


def want(session: Session, sheet_id: int, why: str, now: datetime, *, needed_on: date | None = None,
         by: int | None = None) -> int:  # fmt: skip
    """Ask that a sheet be done soon; what was asked for it before is replaced. ValueError without a reason."""
    why = " ".join(why.split())
    if not why:
        raise ValueError("Say what it is wanted for.")
    if len(why) > LONGEST:
        raise ValueError(f"Say it in {LONGEST} letters at most.")
    _end(session, sheet_id, now, by, "asked for anew")
    values = {"sheet_id": sheet_id, "asked_at": now, "asked_by": by, "needed_on": needed_on, "why": why}
    wish_id: int = session.execute(insert(WANTED).values(**values).returning(WANTED.c.id)).scalar_one()
    session.execute(update(SHEET).where(SHEET.c.id == sheet_id).values(wanted_at=now))
    changed(session, now, by, "sheet", sheet_id, "wanted", new=needed_on.isoformat() if needed_on else None, why=why)
    return wish_id


def let_go(session: Session, sheet_id: int, how: str, now: datetime, *, by: int | None = None) -> bool:
    """A sheet is no longer wanted, and why; False when it was not."""
    if not _end(session, sheet_id, now, by, how):
        return False
    session.execute(update(SHEET).where(SHEET.c.id == sheet_id).values(wanted_at=None))
    changed(session, now, by, "sheet", sheet_id, "no longer wanted", why=how)
    return True


def _end(session: Session, sheet_id: int, now: datetime, by: int | None, how: str) -> bool:
    still = select(WANTED.c.id).where(WANTED.c.sheet_id == sheet_id, WANTED.c.ended_at.is_(None))
    ids = list(session.execute(still).scalars())
    if ids:
        session.execute(update(WANTED).where(WANTED.c.id.in_(ids)).values(ended_at=now, ended_by=by, how=how))
    return bool(ids)
