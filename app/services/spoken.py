"""In which language a worker reads."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.db.models import Worker, table_of
from app.domain.language import say
from app.services.changes import changed

WORKER = table_of(Worker)


def choose_language(session: Session, worker_id: int, code: str | None, there_are: Collection[str], now: datetime, *,
                    by: int | None) -> None:  # fmt: skip
    """Set in which language (BCP 47) a worker reads; None for the one that their browser prefers.

    ValueError for a language that the room does not speak. The same once more changes nothing.
    """
    if code is not None and code not in there_are:
        raise ValueError(say("There is no such language here. Choose one of the list."))
    before = session.execute(select(WORKER.c.language).where(WORKER.c.id == worker_id)).scalar_one()
    if before == code:
        return
    session.execute(update(WORKER).where(WORKER.c.id == worker_id).values(language=code))
    changed(session, now, by, "worker", worker_id, "language", old=before, new=code)
