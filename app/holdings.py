"""What a room holds, in numbers: one that is open, and one that may be damaged and is asked as far as it answers."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import SQLAlchemyError

from app.db.copies import opened_for_reading
from app.db.engine import Database, reading
from app.db.models import Entry, Sheet, table_of
from app.db.settings import PASSED_OVER
from app.services.backup_list import Line, lines_of
from app.services.codes_given import CODES_IN, HAND_OVERS, WORKERS, Given
from app.services.given_list import furthest
from app.services.restoring import count_of

ENTRY = table_of(Entry)
LAST_OF = {
    WORKERS: "SELECT max(CAST(substr(number, 2) AS INTEGER)) FROM worker",
    HAND_OVERS: "SELECT max(id) FROM hand_over",
}


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


def given_in(room: Path) -> Given:
    """How far the room that is here has come with its numbers and cards, as far as it can be read; nothing where it cannot."""
    found = {(row[0], row[1]): row[2] for row in _asked(room, "SELECT prefix, width, minted FROM number_pattern")}
    spans = _asked(room, f"SELECT value FROM setting WHERE name = '{PASSED_OVER}'")
    with suppress(ValueError, TypeError):
        found = furthest(
            found, {(prefix, width): last for prefix, width, _, last in json.loads(spans[0][0] if spans else "[]")}
        )
    codes = (_asked(room, f"SELECT max({each.name}) FROM {each.table.name}") for each in CODES_IN.values())
    numbers = {(of.prefix, of.width): last for of, asked in LAST_OF.items() for (last,) in _asked(room, asked) if last}
    return furthest(found, numbers, *({key: serial} for rows in codes for key, serial in map(_serial, rows) if serial))


def lines_in(room: Path) -> list[Line]:
    """What was taken away in the room that is here, by its own changes; nothing where it cannot be read, or is of older make."""
    database = opened_for_reading(room)
    try:
        with suppress(SQLAlchemyError), reading(database) as session:
            return lines_of(session)
    finally:
        database.engine.dispose()
    return []


def _serial(row: Sequence[str | None]) -> tuple[tuple[str, int], int]:
    """Of a card's code: its prefix and digits, and the serial in them; 0 for what is none."""
    match = re.fullmatch(r"([A-Z]{2})([0-9]+)[0-9A-Z]", row[0] or "")
    return ((match[1], len(match[2])), int(match[2])) if match else (("", 0), 0)


def _asked(room: Path, statement: str) -> list[Any]:
    with (
        suppress(sqlite3.Error),
        closing(sqlite3.connect(f"{room.resolve().as_uri()}?mode=ro", uri=True)) as connection,
    ):
        return connection.execute(statement).fetchall()
    return []
