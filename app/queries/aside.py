"""Which lines of what needs a person are put aside for now, and by whom, until when, why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from app.db.models import PutAside, Worker, table_of
from app.domain.aside import still_hides
from app.queries.need import Need

ASIDE = table_of(PutAside)
_OPEN = (
    select(ASIDE.c.id, ASIDE.c.kind, ASIDE.c.subject, ASIDE.c.many, ASIDE.c.aside_at, ASIDE.c.until_at, ASIDE.c.why, Worker.name)
    .outerjoin(Worker, Worker.id == ASIDE.c.aside_by)
    .where(ASIDE.c.ended_at.is_(None), ASIDE.c.until_at > bindparam("now"))
    .order_by(ASIDE.c.id)
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Aside:
    """A line that somebody has seen and put aside: until when it is hidden, why, since when and by whom ("" if unknown)."""

    aside_id: int
    need: Need
    until_at: datetime
    why: str
    aside_at: datetime
    by: str


def sifted(session: Session, now: datetime, needs: Sequence[Need]) -> tuple[list[Need], list[Aside]]:
    """The lines to be shown, and those that are put aside. A line comes back by itself when its day has come, when it
    has grown to the double, and when it ended and began again.
    """
    rows = {f"{row.kind} {row.subject}": row for row in session.execute(_OPEN, {"now": now})}
    shown, aside = list[Need](), list[Aside]()
    for need in needs:
        row = _hiding(rows, need, now)
        if row is None:
            shown.append(need)
        else:
            aside.append(Aside(row.id, need, row.until_at, row.why, row.aside_at, row.name or ""))
    return shown, aside


def _hiding(rows: dict[str, Any], need: Need, now: datetime) -> Any | None:
    # What was put aside as a place stays so while the last few of it stand singly.
    row = rows.get(need.key) or rows.get(f"{need.kind} {need.within}")
    hides = row is not None and still_hides(row.many, row.aside_at, need.many, need.since, now)
    return row if hides else None
