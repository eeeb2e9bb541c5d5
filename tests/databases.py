"""Where the tests' rooms come from: one that was migrated once, and copied for each that a test asks for.

They lie in files of their own, or, where BLOTTER_TEST_DATABASE_URL names a server of PostgreSQL, in databases of their own there
(`python -m tests.postgres -- python -m pytest` starts one for as long as that takes). A test that is about the file itself is
marked `sqlite_only`, with the reason.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any
from unittest.mock import patch

from sqlalchemy import Connection, select, text
from sqlalchemy.orm import Session

from app.db.engine import Database, open_database, sqlite_url
from app.db.models import Base
from tests.made_once import share_statements

SERVER = os.environ.get("BLOTTER_TEST_DATABASE_URL", "")


def address(database: Database) -> str:
    """The address of a room's database, as a configuration names it."""
    return database.engine.url.render_as_string(hide_password=False)


@contextmanager
def found_by_programs(database: Database) -> Iterator[None]:
    """Meanwhile a command finds this room wherever it is; in a file it is found by its folder."""
    if database.is_sqlite:
        yield
        return
    with patch.dict(os.environ, {"BLOTTER_DATABASE_URL": address(database)}):
        yield


def as_in_a_file(database: Database, table: str, *names: str) -> list[tuple[Any, ...]]:
    """The rows of a table by its key, by these columns or all: moments and JSON as the texts that they are in a file."""
    found = Base.metadata.tables[table]
    columns = [found.c[name] for name in names] or list(found.columns)
    with database.engine.connect() as connection:
        rows = connection.execute(select(*columns).order_by(*found.primary_key.columns))
        return [tuple(_text_of(value) for value in row) for row in rows]


def _text_of(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M:%S.%f")
    return json.dumps(value) if isinstance(value, dict | list) else value


def number_anew(session: Session) -> None:
    """Let new rows be numbered after those that are there: PostgreSQL takes no number back that it gave to what was undone."""
    if session.get_bind().dialect.name == "sqlite":
        return
    for table in Base.metadata.sorted_tables:
        if "id" in table.columns:
            last = f'(SELECT COALESCE(MAX(id), 0) + 1 FROM "{table.name}")'
            session.execute(text(f"SELECT setval(pg_get_serial_sequence('\"{table.name}\"', 'id'), {last}, false)"))


def guards(database: Database) -> dict[str, str]:
    """The guards of the log, each with all that it is."""
    with database.engine.connect() as connection:
        if database.is_sqlite:
            rows = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
        else:
            rows = connection.execute(
                text("SELECT tgname, pg_get_triggerdef(oid) || tgenabled::text FROM pg_trigger WHERE NOT tgisinternal")
            )
        return {name: words for name, words in rows}


def unguard(database: Database, *names: str) -> None:
    """Take guards off, these or all, as somebody who owns the database could."""
    with database.engine.begin() as connection:
        for name in names or guards(database):
            on = "" if database.is_sqlite else f" ON {name.removeprefix('guard_').removesuffix('_truncate')}"
            connection.exec_driver_sql(f"DROP TRIGGER {name}{on}")


@contextmanager
def lawless(database: Database) -> Iterator[Connection]:
    """A line on which no key is looked after, as somebody who owns the database could have it."""
    off, on = ("PRAGMA foreign_keys = OFF", "PRAGMA foreign_keys = ON") if database.is_sqlite else (
        "SET session_replication_role = replica", "SET session_replication_role = origin")  # fmt: skip
    with database.engine.connect() as connection:
        # Not in a transaction: there SQLite would not hear it.
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql(off)
        yield connection
        connection.exec_driver_sql(on)
        connection.exec_driver_sql("BEGIN")


class Rooms:
    """Empty rooms in files: `migrated` is the one that the others are copies of."""

    def __init__(self, migrated: Path) -> None:
        self.migrated = migrated
        self.opened: list[Database] = []

    def url(self, path: Path) -> str:
        """The address of another empty room; where rooms are files, `path` is its file."""
        shutil.copy(self.migrated, path)
        return sqlite_url(path)

    def open(self, path: Path) -> Database:
        """Another empty room, open; whoever asks closes its engine."""
        self.opened.append(open_database(self.url(path)))
        share_statements(self.opened[-1])
        return self.opened[-1]

    def close_since(self, many: int) -> None:
        """Close all that were opened after so many were."""
        while len(self.opened) > many:
            database = self.opened.pop()
            database.engine.dispose()
            self.drop(database)

    def drop(self, database: Database) -> None:
        """Throw a room away that nobody needs any more; a file goes with its folder."""

    def empty_url(self, path: Path) -> str:
        """The address of a database without a table."""
        return sqlite_url(path)

    def close(self) -> None:
        """Throw away what is left of all of them."""
