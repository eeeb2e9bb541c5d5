"""What a room holds, in numbers: one that is open, and one that may be damaged and is asked as far as it answers."""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from app.db.engine import Database, reading
from app.db.models import Entry, Sheet, table_of
from app.services.restoring import count_of

ENTRY = table_of(Entry)


@dataclass(frozen=True, slots=True)
class Holding:
    """What a room holds: its sheets, its entries, and when the last one was written, if any was."""

    sheets: int
    entries: int
    last_at: datetime | None = None


def holding(database: Database) -> Holding:
    """What a room holds that is open."""
    with reading(database) as session:
        last_at = session.execute(select(func.max(ENTRY.c.recorded_at))).scalar()
        return Holding(count_of(session, Sheet), count_of(session, Entry), last_at)


def held_now(room: Path) -> Holding | None:
    """What the room that is here holds; None where there is none, or none that can be read."""
    found = _asked(room, "SELECT (SELECT count(*) FROM sheet), (SELECT count(*) FROM entry)")
    return Holding(found[0][0], found[0][1]) if found else None


def minted_in(room: Path) -> dict[tuple[str, int], int]:
    """The last number of each pattern in the room that is here; nothing where that cannot be read."""
    return {(row[0], row[1]): row[2] for row in _asked(room, "SELECT prefix, width, minted FROM number_pattern")}


def _asked(room: Path, statement: str) -> list[Any]:
    with (
        suppress(sqlite3.Error),
        closing(sqlite3.connect(f"{room.resolve().as_uri()}?mode=ro", uri=True)) as connection,
    ):
        return connection.execute(statement).fetchall()
    return []
