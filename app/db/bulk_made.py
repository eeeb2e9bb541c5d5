"""Many rows made of other rows, by SQLite itself: none of them passes through Python, which others can use meanwhile."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Table
from sqlalchemy.orm import Session

from app.db.bulk import AsKept, defaults_of


def makes_rows(session: Session) -> bool:
    """Whether `insert_made` can be used here; elsewhere rows are written as they are."""
    return session.get_bind().dialect.name == "sqlite"


def insert_made(session: Session, table: Table, made: Mapping[str, str], alike: Mapping[str, Any], source: str,
                given: Mapping[str, Any]) -> int:  # fmt: skip
    """Insert a row for each row of `source` (SQL, what follows FROM) and return how many: `made` are the expressions that
    differ, by column; `alike` is the same in all, as in `insert_many`; `given` are the values that the SQL names.

    sqlalchemy's errors where a rule of the table is broken.
    """
    dialect = session.get_bind().dialect
    same = {**defaults_of(table, {*made, *alike}), **alike}
    values = dict(given)
    for name, value in same.items():
        convert = table.c[name].type.dialect_impl(dialect).bind_processor(dialect)
        values[f"same_{name}"] = value if convert is None or value.__class__ is AsKept else convert(value)
    # What is nothing in all of them is nothing by itself.
    told = {name: f":same_{name}" for name in same if values[f"same_{name}"] is not None}
    columns = {**made, **told}
    names = ", ".join(f'"{name}"' for name in columns)
    text = f'INSERT INTO "{table.name}" ({names}) SELECT {", ".join(columns.values())} FROM {source}'
    return int(_run(session, text, values).rowcount)


def found_by(session: Session, text: str, given: Mapping[str, Any]) -> Sequence[tuple[Any, ...]]:
    """The rows that a statement in SQLite's own words finds; `given` are the values that it names."""
    rows: Sequence[tuple[Any, ...]] = _run(session, text, given).fetchall()
    return rows


def _run(session: Session, text: str, values: Mapping[str, Any]) -> Any:
    line = session.connection()
    driver: Any = line.connection.driver_connection
    try:
        return driver.execute(text, values)
    except sqlite3.Error:
        # Once more through SQLAlchemy, which fails in the same way and says it in its own words.
        return line.exec_driver_sql(text, dict(values))
