"""What is changed besides sheets is written down too: who, when, what, old, new, why."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import insert
from sqlalchemy.orm import Session

from app.db.models import Change, table_of

CHANGE = table_of(Change)


def changed(session: Session, now: datetime, by: int | None, subject: str, subject_id: int | None, what: str, *,
            old: str | None = None, new: str | None = None, why: str | None = None) -> None:  # fmt: skip
    """Write down one change."""
    values = {"changed_at": now, "changed_by": by, "subject": subject, "subject_id": subject_id, "what": what, "old": old,
              "new": new, "why": why}  # fmt: skip
    session.execute(insert(CHANGE), values)
    session.info["changes the room"] = True
