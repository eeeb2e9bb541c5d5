"""The room's own order of families, as it is and as it was changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.db.models import Change, FamilyOrder, PlantName, Worker, table_of
from app.domain.filing_order import key_of

CHANGE, ORDER = table_of(Change), table_of(FamilyOrder)


@dataclass(frozen=True, slots=True)
class OrderChange:
    """One change of the order: what it was, what it is since, who and why."""

    changed_at: datetime
    by: str
    old: str
    new: str
    why: str


@dataclass(frozen=True, slots=True)
class FamilyList:
    """The families in the room's own order, those of plants here that are not in it, by name, and its history, newest first."""

    families: tuple[str, ...]
    others: tuple[str, ...]
    history: tuple[OrderChange, ...]


def families_in_order(session: Session) -> FamilyList:
    """The order of families as the room has it; no family where they go by the alphabet."""
    listed = session.execute(select(ORDER.c.family, ORDER.c.family_key).order_by(ORDER.c.place)).all()
    keys = {row.family_key for row in listed}
    here = session.execute(select(PlantName.family).where(PlantName.family.is_not(None)).distinct()).scalars()
    others = sorted({name for name in here if name and key_of(name) not in keys}, key=key_of)
    found = (
        select(CHANGE.c.changed_at, Worker.name, CHANGE.c.old, CHANGE.c.new, CHANGE.c.why)
        .outerjoin(Worker, Worker.id == CHANGE.c.changed_by)
        .where(CHANGE.c.subject == "filing", CHANGE.c.what == "order of families")
        .order_by(CHANGE.c.id.desc())
    )
    history = (
        OrderChange(at, by or "", old or "", new or "", why or "") for at, by, old, new, why in session.execute(found)
    )
    return FamilyList(tuple(row.family for row in listed), tuple(others), tuple(history))
