"""A whole room carried from its file into an empty database of PostgreSQL, in one transaction there: all of it or nothing.

The schema is made by the same migrations, the rows are written as they lie in the file, every table is read back and compared,
and only then does any of it count. Whatever cuts it short leaves the database as empty as it was.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from hashlib import blake2b
from typing import Any

from sqlalchemy import JSON, Boolean, Connection, Date, Table, inspect
from sqlalchemy.orm import Session

from app.db.bulk import copy_in
from app.db.engine import Database
from app.db.fitness import Unfit
from app.db.models import Base
from app.db.models.base import Moment
from app.db.postgres import driver_of
from app.db.prepared import Lean
from app.db.upgrade import upgrade_on

Heard = Callable[[int, int], None]
Look = Callable[[Session], Iterable[str]]
Row = tuple[Any, ...]
NOT_EMPTY = "There is something in that database already. Name an empty one; nothing was copied."
OTHER_TABLES = "The room's file holds a table that is not Blotter's ({}). Nothing was copied."
NOT_THE_SAME = "The table {} reads otherwise there than here. Nothing was copied."
DIFFERS = "The log and the room differ in the copy: {} Nothing was copied."
AT_ONCE = 2000


@dataclass(frozen=True, slots=True)
class Moved:
    """What was carried over."""

    tables: int
    rows: int


def move(source: Session, target: Database, look: Look, heard: Heard = lambda done, total: None) -> Moved:
    """Carry the whole room that `source` reads over into the empty database `target`; `look` names what is wrong in the copy.

    The caller sees to it that nobody writes to the source meanwhile. Unfit where the target is not empty, where a table
    reads otherwise there, or where `look` finds anything; then, and whatever else goes wrong, nothing is left there.
    """
    tables = Base.metadata.sorted_tables
    _nothing_else(source, tables)
    with target.writing.connect() as line, line.begin():
        if inspect(line).get_table_names():
            raise Unfit(NOT_EMPTY)
        upgrade_on(line)
        for table in reversed(tables):
            # What the migrations leave behind for a room that has to make something anew.
            line.execute(table.delete())
        rows = _carry(source, line, tables, heard)
        for table in tables:
            _count_on(line, table)
        line.exec_driver_sql("SET CONSTRAINTS ALL IMMEDIATE")
        line.exec_driver_sql("ANALYZE")
        wrong = next(iter(look(_session(target, line))), None)
        if wrong is not None:
            raise Unfit(DIFFERS.format(wrong))
    return Moved(len(tables), rows)


def _session(database: Database, line: Connection) -> Session:
    session = Lean(line, expire_on_commit=False, autoflush=False)
    session.info["database"] = database
    return session


def _nothing_else(source: Session, tables: Sequence[Table]) -> None:
    known = {table.name for table in tables} | {"alembic_version"}
    others = sorted(set(inspect(source.connection()).get_table_names()) - known)
    if others:
        raise Unfit(OTHER_TABLES.format(", ".join(others)))


def _carry(source: Session, line: Connection, tables: Sequence[Table], heard: Heard) -> int:
    driver: Any = source.connection().connection.driver_connection
    total = sum(driver.execute(f'SELECT COUNT(*) FROM "{table.name}"').fetchone()[0] for table in tables)
    done = 0
    for table in tables:
        sent = _Sum()
        rows = _told(_read(driver, table), heard, done, total)
        copy_in(line, table, [column.name for column in table.columns], sent.through(rows))
        if sent.of(_read_back(line, table)) != sent.found:
            raise Unfit(NOT_THE_SAME.format(table.name))
        done += sent.rows
    return done


class _Sum:
    """How many rows went by, and a hash of them in their order."""

    def __init__(self) -> None:
        self.rows, self._hash = 0, blake2b(digest_size=16)

    @property
    def found(self) -> tuple[int, str]:
        return self.rows, self._hash.hexdigest()

    def through(self, rows: Iterable[Row]) -> Iterator[Row]:
        for row in rows:
            self.rows += 1
            self._hash.update(repr(row).encode())
            yield row

    def of(self, rows: Iterable[Row]) -> tuple[int, str]:
        """The same of other rows."""
        other = _Sum()
        for _ in other.through(rows):
            pass
        return other.found


def _told(rows: Iterable[Row], heard: Heard, done: int, total: int) -> Iterator[Row]:
    so_far = done
    for so_far, row in enumerate(rows, done + 1):
        yield row
        if so_far % AT_ONCE == 0:
            heard(so_far, total)
    heard(so_far, total)


def _names(table: Table) -> list[str]:
    return [f'"{column.name}"' for column in table.columns]


def _in_order(table: Table) -> str:
    return ", ".join(f'"{column.name}"' for column in table.primary_key.columns)


def _read(driver: Any, table: Table) -> Iterator[Row]:
    """The rows as they lie in the file, as values of the kinds that they are."""
    converts = [_of_file(column.type) for column in table.columns]
    found = driver.execute(f'SELECT {", ".join(_names(table))} FROM "{table.name}" ORDER BY {_in_order(table)}')
    for row in found:
        yield tuple(value if value is None else convert(value) for value, convert in zip(row, converts, strict=True))


def _of_file(kind: Any) -> Callable[[Any], Any]:
    for name, convert in OF_FILE.items():
        if isinstance(kind, name):
            return convert
    return _as_it_is


def _as_it_is(value: Any) -> Any:
    return value.replace("\0", "\N{REPLACEMENT CHARACTER}") if isinstance(value, str) and "\0" in value else value


# How what lies in the file is read; JSON stays the very text that it is.
OF_FILE: dict[type, Callable[[Any], Any]] = {
    Boolean: bool,
    Moment: lambda text: datetime.fromisoformat(text).replace(tzinfo=UTC),
    Date: date.fromisoformat,
}


def _read_back(line: Connection, table: Table) -> Iterator[Row]:
    names = [
        f'{name}::text' if isinstance(column.type, JSON) else name
        for name, column in zip(_names(table), table.columns, strict=True)
    ]  # fmt: skip
    with driver_of(line).cursor(name="read_back") as cursor:
        cursor.itersize = AT_ONCE
        cursor.execute(f'SELECT {", ".join(names)} FROM "{table.name}" ORDER BY {_in_order(table)}')
        for row in cursor:
            yield tuple(value.astimezone(UTC) if isinstance(value, datetime) else value for value in row)


def _count_on(line: Connection, table: Table) -> None:
    """New rows are numbered after those that came."""
    if "id" not in table.columns:
        return
    line.exec_driver_sql(
        f"SELECT setval(found.name, found.last) FROM (SELECT pg_get_serial_sequence('\"{table.name}\"', 'id') AS name,"
        f' (SELECT MAX(id) FROM "{table.name}") AS last) AS found WHERE found.name IS NOT NULL AND found.last IS NOT NULL'
    )
