"""Many rows at once: on the driver itself, with what is alike in all of them converted once."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select, text
from sqlalchemy.orm import Session

from app.db.postgres import driver_of, in_our_words

Convert = Callable[[Any], Any]
Rows = Sequence[tuple[Any, ...]]


class AsKept(str):
    """JSON that is written as text already, as it is to be kept."""


def insert_many(session: Session, table: Table, columns: Sequence[str], rows: Rows, alike: Mapping[str, Any]) -> None:
    """Insert rows: what differs as tuples in the order of `columns`, and beside it what is the same in all.

    A column with a plain default of its own need not be named; a JSON column also takes AsKept.
    """
    if not rows:
        return
    same = {**defaults_of(table, {*columns, *alike}), **alike}
    line = session.connection()
    driver: Any = line.connection.driver_connection
    values = _values(session, table, columns, rows, same)
    if not isinstance(driver, sqlite3.Connection):
        copy_in(line, table, (*columns, *same), values)
        return
    try:
        driver.executemany(_insert(table, (*columns, *same)), values)
    except sqlite3.Error:
        # Once more through SQLAlchemy, which fails in the same way and says it in its own words.
        session.execute(insert(table), _named(columns, rows, same))


def insert_numbered(
    session: Session, table: Table, columns: Sequence[str], rows: Rows, alike: Mapping[str, Any]
) -> list[int]:
    """Insert rows as `insert_many` does and return their ids, in the order of the rows. Only this transaction writes there."""
    ids = _next_ids(session, table, len(rows))
    numbered = [(row_id, *row) for row_id, row in zip(ids, rows, strict=True)]
    insert_many(session, table, ("id", *columns), numbered, alike)
    return ids


def copy_in(line: Connection, table: Table, names: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> None:
    """Write rows into a table of PostgreSQL, as its driver takes them; SQLAlchemy's errors."""
    words = f'COPY "{table.name}" ({_quoted(names)}) FROM STDIN'
    driver = driver_of(line)
    try:
        with driver.cursor() as cursor, cursor.copy(words) as copy:
            for row in rows:
                copy.write_row(row)
    except line.dialect.loaded_dbapi.Error as error:
        raise in_our_words(line, words, error) from error


def as_things(values: Mapping[str, Any]) -> dict[str, Any]:
    """The same values, with what is AsKept as the thing that its text tells of."""
    return {name: _thing(value) for name, value in values.items()}


def _named(columns: Sequence[str], rows: Rows, same: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {name: _thing(value) for name, value in zip(columns, row, strict=True)} | dict(same) for row in rows
    ]  # fmt: skip


def _next_ids(session: Session, table: Table, many: int) -> list[int]:
    """So many ids that nobody else is given."""
    if session.get_bind().dialect.name != "sqlite":
        found = text("SELECT nextval(pg_get_serial_sequence(:name, 'id')) FROM generate_series(1, :many)")
        return list(session.execute(found, {"name": f'"{table.name}"', "many": many}).scalars())
    # SQLite has one writer, so nobody takes these ids meanwhile.
    first = (session.execute(select(func.max(table.c.id))).scalar() or 0) + 1
    return list(range(first, first + many))


def _insert(table: Table, names: Sequence[str]) -> str:
    return f'INSERT INTO "{table.name}" ({_quoted(names)}) VALUES ({", ".join("?" * len(names))})'


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _values(session: Session, table: Table, columns: Sequence[str], rows: Rows, same: Mapping[str, Any]) -> Rows:
    """The rows as the driver takes them."""
    dialect = session.get_bind().dialect
    converts = [table.c[name].type.dialect_impl(dialect).bind_processor(dialect) for name in (*columns, *same)]
    fixed = tuple(_as_kept(each, value) for each, value in zip(converts[len(columns) :], same.values(), strict=True))
    places = [(place, each) for place, each in enumerate(converts[: len(columns)]) if each is not None]
    return [_converted(row, places) + fixed for row in rows]


def defaults_of(table: Table, named: set[str]) -> dict[str, Any]:
    """What the columns of a table that are not named hold by themselves, where that is a plain value."""
    found = {}
    for column in table.columns:
        default: Any = column.default
        if column.name not in named and default is not None and default.is_scalar:
            found[column.name] = default.arg
    return found


def _thing(value: Any) -> Any:
    return json.loads(value) if isinstance(value, AsKept) else value


def _as_kept(convert: Convert | None, value: Any) -> Any:
    return value if convert is None or value.__class__ is AsKept else convert(value)


def _converted(row: tuple[Any, ...], places: Sequence[tuple[int, Convert]]) -> tuple[Any, ...]:
    if not places:
        return row
    values = list(row)
    for place, convert in places:
        if values[place].__class__ is not AsKept:
            values[place] = convert(values[place])
    return tuple(values)
