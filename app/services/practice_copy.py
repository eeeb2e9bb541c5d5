"""What a practice room is furnished with: the people, rules, cabinets, stacks and stations of the room that it is for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Table, delete, func, insert, select, update
from sqlalchemy.orm import Session

from app.db.models import (
    Adhesive,
    Bundle,
    Cabinet,
    CalendarDay,
    Change,
    HouseRule,
    NumberPattern,
    Shelf,
    SignOff,
    Stack,
    Station,
    Worker,
    table_of,
)
from app.services.practice_sheets import OWN_ID

WORKER = table_of(Worker)
RULE = table_of(HouseRule)
CHANGE = table_of(Change)
PATTERN = table_of(NumberPattern)
# Nobody types a PIN where nothing is at stake: else it could be guessed there without end.
LEFT_OUT = "pin_at_stations"


@dataclass(frozen=True, slots=True)
class Copied:
    """How the rows of one table are copied: the columns that are brought over (all where none is named; what is not named
    stands as in a new row), with what else is set, and which columns follow the room as long as the practice goes on.
    """

    table: Table
    brings: tuple[str, ...] = ()
    sets: Mapping[str, Any] = field(default_factory=dict)
    follows: tuple[str, ...] = ()


def copy_in(practice: Session, room: Session) -> None:
    """Bring over from the room what is not there yet, and what has changed of the rest.

    Passwords, PINs, the browsers of stations, and all that lies somewhere or is in somebody's hand stay behind.
    """
    for copied in COPIED:
        _copy(practice, room, copied)
    for table, mine in ALL_ANEW:
        practice.execute(delete(table).where(mine))
        rows = [dict(row) for row in room.execute(select(table)).mappings()]
        if rows:
            practice.execute(insert(table), rows)


def state_of_room(room: Session) -> str:
    """A mark of the room's people, rules and furniture: another one when any of it was changed."""
    last_rule, last_change = select(func.max(RULE.c.version)), select(func.max(CHANGE.c.id))
    found = room.execute(select(last_rule.scalar_subquery(), last_change.scalar_subquery())).one()
    return " ".join(str(each or 0) for each in found)


def _copy(practice: Session, room: Session, copied: Copied) -> None:
    table = copied.table
    there = set(practice.execute(select(table.c.id)).scalars())
    rows = [dict(row) for row in room.execute(_rows_of(table)).mappings()]
    for row in rows:
        if row["id"] in there and copied.follows:
            values = {name: row[name] for name in copied.follows}
            practice.execute(update(table).where(table.c.id == row["id"]).values(**values))
    new = [_as_new(copied, row) for row in rows if row["id"] not in there]
    if new:
        practice.execute(insert(table), new)


def _rows_of(table: Table) -> Any:
    found = select(table).order_by(table.c.id)
    return found.where(RULE.c.name != LEFT_OUT) if table is RULE else found


def _as_new(copied: Copied, row: dict[str, Any]) -> dict[str, Any]:
    brought = {name: row[name] for name in copied.brings or row} | dict(copied.sets)
    if copied.table is PATTERN:
        # Another sheet made while practising is a practice sheet too.
        brought |= {"mints": row["is_practice"], "minted": 0}
    if copied.table is WORKER:
        # What is kept about them they read where something is kept.
        brought["told_at"] = row["added_at"]
    return brought


_OF_WORKER = ("number", "name", "name_key", "rights", "badge_code", "badge_since_at", "retired_at", "name_gone_at",
              "language")  # fmt: skip
COPIED: tuple[Copied, ...] = (
    Copied(WORKER, ("id", "added_at", *_OF_WORKER), follows=_OF_WORKER),
    Copied(RULE),
    Copied(table_of(Adhesive), follows=("code", "name", "class", "ended_at")),
    Copied(table_of(Cabinet), follows=("name", "stage", "is_clean", "capacity", "limit_open_days", "walk", "note", "closed_at")),
    Copied(table_of(Shelf), follows=("name", "capacity")),
    Copied(table_of(Bundle), ("id", "code", "name", "kind", "method", "closed_at"), follows=("name", "closed_at")),
    Copied(table_of(Station), ("id", "slug", "code", "name", "steps", "adhesive_id", "bulk", "method", "uses", "closed_at"),
           {"is_practice": True}, ("name", "slug", "steps", "closed_at")),
    Copied(table_of(Stack), ("id", "name", "code_on", "code_off", "capacity", "mass_kg", "pieces", "closed_at"),
           follows=("name", "capacity", "mass_kg", "pieces", "closed_at")),
    Copied(PATTERN),
)  # fmt: skip
ALL_ANEW = (
    (table_of(CalendarDay), table_of(CalendarDay).c.day.is_not(None)),
    (table_of(SignOff), table_of(SignOff).c.worker_id < OWN_ID),
)
