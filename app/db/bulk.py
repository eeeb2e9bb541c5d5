"""Many rows at once: on SQLite's driver itself, with what is alike in all of them converted once."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from sqlalchemy import Table, func, insert, select
from sqlalchemy.orm import Session

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
    same = {**_defaults(table, {*columns, *alike}), **alike}
    driver = session.connection().connection.driver_connection
    if not isinstance(driver, sqlite3.Connection):
        session.execute(insert(table), _named(columns, rows, same))
        return
    try:
        driver.executemany(*_plain(session, table, columns, rows, same))
    except sqlite3.Error:
        # Once more through SQLAlchemy, which fails in the same way and says it in its own words.
        session.execute(insert(table), _named(columns, rows, same))


def insert_numbered(
    session: Session, table: Table, columns: Sequence[str], rows: Rows, alike: Mapping[str, Any]
) -> list[int]:
    """Insert rows as `insert_many` does and return their ids, in the order of the rows. Only this transaction writes there."""
    if session.get_bind().dialect.name == "sqlite":
        # SQLite has one writer, so nobody takes these ids meanwhile.
        first = (session.execute(select(func.max(table.c.id))).scalar() or 0) + 1
        ids = list(range(first, first + len(rows)))
        numbered = [(row_id, *row) for row_id, row in zip(ids, rows, strict=True)]
        insert_many(session, table, ("id", *columns), numbered, alike)
        return ids
    same = {**_defaults(table, {*columns, *alike}), **alike}
    made = insert(table).returning(table.c.id, sort_by_parameter_order=True)
    return list(session.execute(made, _named(columns, rows, same)).scalars())


def as_things(values: Mapping[str, Any]) -> dict[str, Any]:
    """The same values, with what is AsKept as the thing that its text tells of."""
    return {name: _thing(value) for name, value in values.items()}


def _named(columns: Sequence[str], rows: Rows, same: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {name: _thing(value) for name, value in zip(columns, row, strict=True)} | dict(same) for row in rows
    ]  # fmt: skip


def _plain(
    session: Session, table: Table, columns: Sequence[str], rows: Rows, same: Mapping[str, Any]
) -> tuple[str, Rows]:
    """The statement and its values as SQLite's driver takes them."""
    dialect = session.get_bind().dialect
    converts = [table.c[name].type.dialect_impl(dialect).bind_processor(dialect) for name in (*columns, *same)]
    fixed = tuple(_as_kept(each, value) for each, value in zip(converts[len(columns) :], same.values(), strict=True))
    places = [(place, each) for place, each in enumerate(converts[: len(columns)]) if each is not None]
    names = ", ".join(f'"{name}"' for name in (*columns, *same))
    marks = ", ".join("?" * (len(columns) + len(same)))
    text = f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})'
    return text, [_converted(row, places) + fixed for row in rows]


def _defaults(table: Table, named: set[str]) -> dict[str, Any]:
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
