"""The engine: one database, writers one after the other, readers beside them."""

from __future__ import annotations

import sqlite3
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from app.db.prepared import Lean

PRAGMAS = (
    "PRAGMA journal_mode = WAL",
    # FULL: a scan that was answered is on the disk; NORMAL can lose the last ones.
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    # So that a REPLACE fires the delete guards of the log.
    "PRAGMA recursive_triggers = ON",
    # A net for outside tools only: our own writers wait their turn before they begin.
    "PRAGMA busy_timeout = 5000",
    "PRAGMA cache_size = -65536",
    "PRAGMA temp_store = MEMORY",
    "PRAGMA mmap_size = 268435456",
)


class Turns:
    """A lock that is given first come, first served: SQLite's own waiting is unfair when stations queue."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._waiting: deque[threading.Event] = deque()
        self._taken = False

    def __enter__(self) -> None:
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            mine = threading.Event()
            self._waiting.append(mine)
        mine.wait()

    def __exit__(self, *_: object) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._taken = False


@dataclass
class Database:
    """One room's database: the engine, and the turn that its writers wait for (SQLite only).

    `writes` changes with every transaction that this program has committed. `is_practice` is a room in which people only
    practise: it knows the practice slips and no others.
    """

    engine: Engine
    turns: Turns = field(default_factory=Turns)
    kept: dict[str, Any] = field(default_factory=dict)
    writes: int = 0
    is_practice: bool = False
    writing: Engine = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self.writing = self.engine.execution_options(begin_writing=True)

    @property
    def is_sqlite(self) -> bool:
        """Whether this is the one-file database."""
        return self.engine.dialect.name == "sqlite"


def open_database(url: str, threads: int = 8, *, is_practice: bool = False) -> Database:
    """Open the room's database; nothing is read yet. One connection is kept for each thread."""
    parsed = make_url(url)
    # Errors name no values: among them are badges and what was typed.
    options: dict[str, Any] = {"pool_size": threads + 2, "max_overflow": 8, "hide_parameters": True}
    if parsed.get_backend_name() == "sqlite":
        options["connect_args"] = {"check_same_thread": False, "isolation_level": None}
    engine = create_engine(parsed, **options)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _settle)
        event.listen(engine, "begin", _begin)
    return Database(engine, is_practice=is_practice)


def sqlite_url(path: Path) -> str:
    """The address of a one-file database."""
    return f"sqlite:///{path}"


@contextmanager
def transaction(database: Database) -> Iterator[Session]:
    """Write: wait one's turn, begin at once for writing, commit at the end, undo everything if anything fails."""
    if not database.is_sqlite:
        with _session(database) as session, session.begin():
            yield session
        database.writes += 1
        return
    with database.turns:
        with _session(database, writes=True) as session, session.begin():
            yield session
        database.writes += 1


@contextmanager
def reading(database: Database) -> Iterator[Session]:
    """Read one consistent state; nothing may be written."""
    # Its end rolls back.
    with _session(database) as session:
        yield session


def checkpoint(database: Database) -> None:
    """Carry what was written ahead over into the database's file, as far as that disturbs nobody (SQLite only).

    For a thread of its own, every second or two: else the commit of every so many scans does it, and its station waits.
    """
    if database.is_sqlite:
        with database.engine.connect() as connection:
            # On the driver itself: SQLAlchemy would begin a transaction, and in one there is no checkpoint.
            driver: Any = connection.connection.driver_connection
            driver.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()


def _session(database: Database, *, writes: bool = False) -> Session:
    session = Lean(database.writing if writes else database.engine, expire_on_commit=False, autoflush=False)
    session.info["database"] = database
    return session


def _settle(connection: Any, _record: object) -> None:
    cursor = connection.cursor()
    for pragma in PRAGMAS:
        cursor.execute(pragma)
    cursor.close()


def _begin(connection: Any) -> None:
    words = "BEGIN IMMEDIATE" if connection.get_execution_options().get("begin_writing", False) else "BEGIN"
    try:
        connection.connection.driver_connection.execute(words)
    except sqlite3.OperationalError as error:
        raise OperationalError(words, None, error) from error
