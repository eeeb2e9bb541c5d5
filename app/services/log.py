"""Reading a subject's own log inside a write: the entries that stand, in the order in which they happened."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Entry, EntryWorker, table_of
from app.db.standing import STANDS
from app.domain.sheet import LogEntry, Place
from app.domain.stages import Stage, Step

ENTRY = table_of(Entry)
_STANDING = select(ENTRY).where(ENTRY.c.step != Step.CORRECT, STANDS).order_by(ENTRY.c.happened_at, ENTRY.c.id)


def standing_rows(session: Session, kind: str, subject_id: int) -> list[Any]:
    """The rows of a subject's entries that nobody has corrected, in the order in which they happened."""
    mine = _STANDING.where(ENTRY.c.subject_kind == kind, ENTRY.c.subject_id == subject_id)
    return list(session.execute(mine))


def standing_entries(session: Session, sheet_id: int) -> list[LogEntry]:
    """The standing entries of one sheet, as the fold reads them."""
    return [log_entry(row) for row in standing_rows(session, "sheet", sheet_id)]


def log_entry(row: Any) -> LogEntry:
    """One row of the log, as the fold reads it."""
    place = Place(row.to_cabinet_id, row.to_shelf_id, row.to_bundle_id, row.to_table_id, row.to_stack_id, row.to_layer)
    facts = row.facts
    return LogEntry(
        row.id, row.happened_at, Step(row.step), Stage(row.to_stage) if row.to_stage else None, place,
        facts.get("sets", {}), tuple(facts.get("holds", ())), tuple(facts.get("lifts", ())),
    )  # fmt: skip


def workers_of(session: Session, entry_id: int) -> list[int]:
    """The workers who did what an entry says, without those who stood beside."""
    found = select(EntryWorker.worker_id).where(EntryWorker.entry_id == entry_id, EntryWorker.role == "did")
    return list(session.execute(found.order_by(EntryWorker.worker_id)).scalars())
