"""What SQLite says it will do for the statements of one reading."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session

from app.db.engine import Database, reading
from app.db.prepared import Lean

Statement = tuple[str, Any]


@contextmanager
def statements_of(database: Database) -> Iterator[list[Statement]]:
    """Every statement that is sent meanwhile, with its values; prepared ones, too, which go by SQLAlchemy for once."""
    sent: list[Statement] = []

    def note(_connection: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        sent.append((statement, parameters))

    event.listen(database.engine, "before_cursor_execute", note)
    ready, Lean._ready = Lean._ready, lambda *_: None  # type: ignore[method-assign, assignment]
    try:
        yield sent
    finally:
        Lean._ready = ready  # type: ignore[method-assign]
        event.remove(database.engine, "before_cursor_execute", note)


def plans_of(database: Database, read: Callable[[Session], object]) -> list[str]:
    """The lines of the query plans of everything that this reading asks; of PostgreSQL nothing is asked."""
    if not database.is_sqlite:
        pytest.skip("the plans of SQLite: PostgreSQL chooses by what it counted, so a small room tells nothing")
    with statements_of(database) as sent, reading(database) as session:
        read(session)
    lines = []
    with database.engine.connect() as connection:
        for statement, parameters in sent:
            found = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
            lines += [str(row[3]) for row in found]
    return lines


def full_scans(lines: list[str], *tables: str) -> list[str]:
    """The lines that go through one of these tables from end to end, or as good as that."""
    return [line for line in lines if _scans(line, tables) or any(line.endswith(way) for way in AS_GOOD_AS_ALL)]


def _scans(line: str, tables: tuple[str, ...]) -> bool:
    return line.startswith("SCAN ") and line.split()[1] in tables and not any(index in line for index in OF_THE_QUEUE)


# Indexes that hold only what waits or lies somewhere now.
OF_THE_QUEUE = (
    "ix_sheet_queue",
    "ix_sheet_oldest",
    "ix_sheet_stack",
    "ix_sheet_table",
    "ix_sheet_bundle",
    "ix_layer_stack_lying",
)
# Searches that find nearly everything: all entries of sheets, all that ever lay in a stack.
AS_GOOD_AS_ALL = ("ix_entry_subject (subject_kind=?)", "sqlite_autoindex_layer_1 (stack_id=?)")
