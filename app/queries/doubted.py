"""What was called in question and not yet looked at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Doubt, Entry, table_of
from app.domain.language import say
from app.domain.words import duration

DOUBT = table_of(Doubt)
ENTRY = table_of(Entry)


@dataclass(frozen=True, slots=True)
class DoubtLine:
    """One accepted move that is called in question: which entry, since when, and what is missing."""

    entry: int
    raised_at: datetime
    words: str


def doubts_of(session: Session, sheet_id: int) -> tuple[DoubtLine, ...]:
    """The open doubts of one sheet, oldest first; what is missing is time under weight."""
    found = (
        select(DOUBT.c.entry_id, DOUBT.c.raised_at, DOUBT.c.short_s)
        .join(ENTRY, ENTRY.c.id == DOUBT.c.entry_id)
        .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == sheet_id, DOUBT.c.settled_at.is_(None))
        .order_by(DOUBT.c.id)
    )
    return tuple(
        DoubtLine(
            row.entry_id,
            row.raised_at,
            say(
                "By what is known now it was {short_s} short of its time when it came out.",
                short_s=duration(row.short_s),
            ),
        )
        for row in session.execute(found)
    )
