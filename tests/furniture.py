"""What a room of the tests is furnished with: written down once, and copied into each other that is to be the same.

To furnish one by the verbs of the room takes more than a hundred statements, and every other test begins with it.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Callable
from typing import Any

from app.db.engine import Database, transaction
from app.db.models import Base
from app.db.postgres import driver_of

# A row for each that was furnished: what was copied out of it, and what its builder knows of it.
_WRITTEN: dict[tuple[object, ...], tuple[Any, Any]] = {}
_ASKED: Counter[tuple[object, ...]] = Counter()
# Keys are looked after where they are made; of the tables, some name each other.
UNBOUND, LINKED = "SET LOCAL session_replication_role = replica", "PRAGMA defer_foreign_keys = ON"
NUMBERED = "SELECT format('SELECT setval(%L, %s)', schemaname || '.' || quote_ident(sequencename), last_value)"


def furnished(database: Database, how: tuple[object, ...], furnish: Callable[[], Any]) -> Any:
    """Furnish an empty room in this way, or copy one that was; gives what `furnish` gave."""
    key = (database.is_sqlite, *how)
    if key in _WRITTEN:
        rows, known = _WRITTEN[key]
        with transaction(database) as session:
            line = _line(session)
            (_into_file if database.is_sqlite else _to_server)(line, rows)
        return known
    _ASKED[key] += 1
    # Many a room is the only one of its kind; and in some, there is something already.
    is_to_be_kept = _ASKED[key] > 1 and not _written_down(database)[0]
    known = furnish()
    if is_to_be_kept:
        _WRITTEN[key] = _written_down(database), known
    return known


def _written_down(database: Database) -> tuple[list[tuple[str, Any]], str]:
    """What each table that has rows is filled with, and how the next ones are numbered."""
    with transaction(database) as session:
        return _of_file(_line(session)) if database.is_sqlite else _of_server(_line(session))


def _line(session: Any) -> Any:
    line = session.connection()
    return line.connection.driver_connection if line.dialect.name == "sqlite" else driver_of(line)


def _of_file(line: sqlite3.Connection) -> tuple[list[tuple[str, Any]], str]:
    written: list[tuple[str, Any]] = []
    for table in Base.metadata.sorted_tables:
        names = [column.name for column in table.columns if column.computed is None]
        rows = line.execute(f'SELECT {", ".join(names)} FROM "{table.name}"').fetchall()
        marks = ", ".join("?" * len(names))
        written += [(f'INSERT INTO "{table.name}" ({", ".join(names)}) VALUES ({marks})', rows)] if rows else []
    # A file numbers the next after the last by itself.
    return written, ""


def _into_file(line: sqlite3.Connection, written: tuple[list[tuple[str, Any]], str]) -> None:
    line.execute(LINKED)
    for words, rows in written[0]:
        line.executemany(words, rows)


def _of_server(line: Any) -> tuple[list[tuple[str, Any]], str]:
    written: list[tuple[str, Any]] = []
    for table in Base.metadata.sorted_tables:
        with line.cursor().copy(f'COPY "{table.name}" TO STDOUT') as copied:
            rows = b"".join(bytes(part) for part in copied)
        written += [(f'COPY "{table.name}" FROM STDIN', rows)] if rows else []
    numbers = line.execute(f"{NUMBERED} FROM pg_sequences WHERE last_value IS NOT NULL").fetchall()
    return written, ";".join(words for (words,) in numbers)


def _to_server(line: Any, written: tuple[list[tuple[str, Any]], str]) -> None:
    line.execute(UNBOUND)
    for words, rows in written[0]:
        with line.cursor().copy(words) as copying:
            copying.write(rows)
    line.execute(written[1])
