"""What the room has to choose from: its adhesives and its open consignments."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Adhesive, table_of

ADHESIVE = table_of(Adhesive)


@dataclass(frozen=True, slots=True)
class AdhesiveLine:
    """One adhesive of the room's own list."""

    adhesive_id: int
    code: str
    name: str
    class_: str
    lot: str


def adhesives(session: Session) -> tuple[AdhesiveLine, ...]:
    """The adhesives in use, in the order in which they were added."""
    found = select(ADHESIVE).where(ADHESIVE.c.ended_at.is_(None)).order_by(ADHESIVE.c.id)
    rows = session.execute(found).mappings()
    return tuple(AdhesiveLine(row["id"], row["code"], row["name"], row["class"], row["lot"] or "") for row in rows)
