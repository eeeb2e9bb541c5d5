"""What is kept about one worker: everything, as a page to be printed and handed over. Others are named in
it only where a reason that was typed names them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Worker
from app.queries import kept_rows as rows
from app.queries.house import house_now, patterns_now
from app.queries.kept_elsewhere import elsewhere
from app.queries.kept_rows import KeptLine, KeptTime, Many
from app.queries.people import WorkerLine, worker_by_id


@dataclass(frozen=True, slots=True)
class Kept:
    """Everything that is kept about a worker.

    `by_month` counts their entries by month (YYYY-MM) and step, the newest month first. `elsewhere` says in which other
    rows they are named, and in how many.
    """

    worker: WorkerLine
    name_gone_at: datetime | None
    language: str | None
    keep_hours_months: int
    times: tuple[KeptTime, ...]
    sign_offs: tuple[KeptLine, ...]
    by_month: tuple[tuple[str, tuple[tuple[str, int], ...]], ...]
    entries: Many
    sightings: Many
    changes_by: Many
    changes_about: Many
    wanted: Many
    holds: Many
    elsewhere: tuple[tuple[str, int], ...]


def kept_about(session: Session, worker_id: int, zone: ZoneInfo) -> Kept | None:
    """Everything that is kept about a worker; None where there is none.

    It counts each of their entries: seconds for somebody who has worked here for many years, and asked for seldom.
    """
    worker, patterns = worker_by_id(session, worker_id), patterns_now(session)
    if worker is None:
        return None
    gone, language = session.execute(select(Worker.name_gone_at, Worker.language).where(Worker.id == worker_id)).one()
    counts = rows.entries_by_month(session, worker_id, zone)
    about = (rows.CHANGE.c.subject == "worker", rows.CHANGE.c.subject_id == worker_id)
    months = sorted({month for month, _ in counts}, reverse=True)
    by_month = tuple(
        (month, tuple(sorted((step, many) for (each, step), many in counts.items() if each == month)))
        for month in months
    )
    return Kept(
        worker, gone, language, house_now(session).keep_hours_months, rows.times(session, worker_id),
        rows.sign_offs(session, worker_id), by_month,
        Many(rows.last_entries(session, worker_id, patterns), sum(counts.values())),
        rows.sightings(session, worker_id, patterns), rows.changes(session, rows.CHANGE.c.changed_by == worker_id),
        rows.changes(session, *about), rows.wanted(session, worker_id, patterns),
        rows.holds(session, worker_id, patterns), elsewhere(session, worker_id),
    )  # fmt: skip
