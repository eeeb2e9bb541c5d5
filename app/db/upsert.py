"""Adding to a sum that may or may not be there yet: the one statement that SQLite and PostgreSQL spell apart."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Table
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.dialects.sqlite.dml import Insert as SqliteInsert

from app.db.prepared import prepared

INSERTS: dict[str, Any] = {"sqlite": sqlite.insert, "postgresql": postgresql.insert}
_kept: dict[tuple[str, str, tuple[str, ...], bool], SqliteInsert] = {}


def adding(dialect: str, table: Table, sums: tuple[str, ...]) -> Any:
    """An insert that adds to these columns where the row is already there."""
    return _statement(dialect, table, sums, adds=True)


def replacing(dialect: str, table: Table, columns: tuple[str, ...]) -> Any:
    """An insert that writes these columns anew where the row is already there."""
    return _statement(dialect, table, columns, adds=False)


def _statement(dialect: str, table: Table, columns: tuple[str, ...], *, adds: bool) -> Any:
    key = (dialect, table.name, columns, adds)
    if key not in _kept:
        insert = INSERTS[dialect](table)
        new = {name: (table.c[name] + insert.excluded[name]) if adds else insert.excluded[name] for name in columns}
        _kept[key] = prepared(insert.on_conflict_do_update(index_elements=list(table.primary_key.columns), set_=new))
    return _kept[key]
