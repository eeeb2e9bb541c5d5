"""The one exception that the log has: a name is taken out of a reason, or out of an answer that was given.

The log's guards refuse every change (migrations/guards.py). Here one of them is laid aside and put back within the same
part of the transaction: SQLite's and PostgreSQL's triggers are undone with the rest if anything fails, and until the end
no other connection sees the table without it, nor may it write.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Table, bindparam, text, update
from sqlalchemy.orm import Session

from app.db.models import Entry, LotOpening, Scan, SupplyEntry, table_of

REWORDED = {
    table_of(Entry): "reason",
    table_of(Scan): "answer",
    table_of(SupplyEntry): "why",
    table_of(LotOpening): "why",
}
_POSTGRES_GUARD = text(
    "SELECT 1 FROM pg_trigger WHERE tgrelid = to_regclass(:table) AND tgname = :name AND tgenabled <> 'D'"
)
_GUARD = text("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :table AND name = :name")


class GuardMissing(RuntimeError):
    """A guard of the log is not there, so nothing is changed: the room is to be looked at first."""


def reword(session: Session, table: Table, texts: Mapping[int, Any]) -> int:
    """Write these texts, by the ids of their rows, into the one column of a table of the log that may be reworded: the
    reason of an entry, the answer of a scan, or why something was written of a supply or a pot. Return how many rows were found.

    ValueError for another table, GuardMissing where the log was not guarded; then nothing is written.
    """
    if table not in REWORDED:
        raise ValueError(f"Nothing in {table.name} is ever reworded.")
    if not texts:
        return 0
    column = REWORDED[table]
    statement = update(table).where(table.c.id == bindparam("row")).values({column: bindparam("words")})
    with session.begin_nested():
        connection = session.connection()
        with _unguarded(connection, table.name):
            return sum(connection.execute(statement, {"row": row, "words": words}).rowcount
                       for row, words in texts.items())  # fmt: skip


@contextmanager
def _unguarded(connection: Connection, table: str) -> Iterator[None]:
    """Lay the update guard of a table aside, and put the very same back. Whatever fails, the caller undoes it all."""
    is_sqlite = connection.dialect.name == "sqlite"
    name = f"guard_{table}_update" if is_sqlite else f"guard_{table}"
    guard = connection.execute(_GUARD if is_sqlite else _POSTGRES_GUARD, {"table": table, "name": name}).scalar()
    if guard is None:
        raise GuardMissing(f"The guard of the log is missing: {name}.")
    off, on = f"DROP TRIGGER {name}", guard
    if not is_sqlite:
        off, on = (f"ALTER TABLE {table} {deed} TRIGGER {name}" for deed in ("DISABLE", "ENABLE"))
    connection.exec_driver_sql(off)
    yield
    connection.exec_driver_sql(on)
