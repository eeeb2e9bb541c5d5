"""Sheets that somebody wants done soon, and what for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.db.models import Wanted, Worker, table_of

WANTED = table_of(Wanted)
_WISHES = (
    select(WANTED.c.sheet_id, WANTED.c.why, WANTED.c.needed_on, WANTED.c.asked_at, WANTED.c.asked_by, Worker.name)
    .outerjoin(Worker, Worker.id == WANTED.c.asked_by)
    .where(WANTED.c.sheet_id.in_(bindparam("sheets", expanding=True)), WANTED.c.ended_at.is_(None))
)


@dataclass(frozen=True, slots=True)
class Wish:
    """What one sheet is wanted for, by which day if one was named, and who asked when (`by` is empty if nobody knows)."""

    why: str
    needed_on: date | None
    asked_at: datetime
    by: str
    by_id: int | None

    def is_late(self, today: date) -> bool:
        """Whether the day by which it is needed has passed."""
        return self.needed_on is not None and self.needed_on < today


def wishes_of(session: Session, sheet_ids: Sequence[int]) -> dict[int, Wish]:
    """What these sheets are wanted for, by the sheet's id; those that nobody wants are not in it."""
    found = session.execute(_WISHES, {"sheets": list(sheet_ids)}) if sheet_ids else ()
    return {row.sheet_id: Wish(row.why, row.needed_on, row.asked_at, row.name or "", row.asked_by) for row in found}
