"""What follows from a sheet's entries and is kept in rows of its own: its stays in stacks, and its holds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import bindparam, case, delete, insert, update

from app.db.models import Hold, Layer, table_of
from app.db.prepared import prepared
from app.domain.holds import OUT
from app.domain.sheet import Standing
from app.services.desk import Desk

LAYER = table_of(Layer)
HOLD = table_of(Hold)

_LAY_IN = prepared(insert(LAYER))
_TAKE_OUT = prepared(
    update(LAYER)
    .where(LAYER.c.sheet_id == bindparam("sheet"), LAYER.c.out_at.is_(None))
    # A stay whose beginning counts only from later than its end is one of no length.
    .values(
        out_at=case((LAYER.c.laid_at > bindparam("until"), LAYER.c.laid_at), else_=bindparam("until")),
        out_entry_id=bindparam("entry"),
    )
)


def follow_layers(desk: Desk, sheet_id: int, was: Standing, now: Standing, entry_id: int, begins: datetime,
                  ends: datetime) -> None:  # fmt: skip
    """Begin and end a sheet's stay in a stack as its place says; the moments are those from and until which it counts."""
    if (was.place.stack_id, was.place.layer) == (now.place.stack_id, now.place.layer):
        return
    if was.place.stack_id is not None:
        desk.session.execute(_TAKE_OUT, {"sheet": sheet_id, "until": ends, "entry": entry_id})
    if now.place.stack_id is not None:
        values = {"sheet_id": sheet_id, "stack_id": now.place.stack_id, "layer": now.place.layer,
                  "laid_at": begins, "laid_entry_id": entry_id}  # fmt: skip
        desk.session.execute(_LAY_IN, values)


def follow_holds(desk: Desk, sheet_id: int, was: Standing, now: Standing, entry_id: int, why: str,
                 facts: Mapping[str, Any]) -> None:  # fmt: skip
    """Open and close a sheet's holds as its entry says; of a sheet that goes out, its facts say with whom and until when."""
    if was.holds == now.holds:
        return
    for kind in sorted(now.holds - was.holds):
        values = {
            "sheet_id": sheet_id,
            "kind": kind,
            "put_at": now.last_at,
            "put_entry_id": entry_id,
            "why": why or None,
            **(out_columns(facts) if kind == OUT else {}),
        }
        desk.session.execute(insert(HOLD), values)
    for kind in sorted(was.holds - now.holds):
        still = (HOLD.c.sheet_id == sheet_id, HOLD.c.kind == kind, HOLD.c.lifted_at.is_(None))
        desk.session.execute(update(HOLD).where(*still).values(lifted_at=now.last_at, lifted_entry_id=entry_id))


def out_columns(facts: Mapping[str, Any]) -> dict[str, Any]:
    """With whom a sheet is that goes out, and the day on which it is due back, from the facts of its entry."""
    due = facts.get("due_on")
    return {"with_whom": facts.get("with_whom"), "due_on": date.fromisoformat(due) if due else None}


def take_back(desk: Desk, entry_ids: Sequence[int]) -> None:
    """Undo what followed from entries that no longer stand."""
    ids = list(entry_ids)
    execute = desk.session.execute
    execute(update(LAYER).where(LAYER.c.out_entry_id.in_(ids)).values(out_at=None, out_entry_id=None))
    execute(delete(LAYER).where(LAYER.c.laid_entry_id.in_(ids)))
    execute(update(HOLD).where(HOLD.c.lifted_entry_id.in_(ids)).values(lifted_at=None, lifted_entry_id=None))
    execute(delete(HOLD).where(HOLD.c.put_entry_id.in_(ids)))
