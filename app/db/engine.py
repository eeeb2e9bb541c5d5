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
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from app.db import postgres
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
    "PRAGMA cache_size = -16384",
    "PRAGMA temp_store = MEMORY",
    "PRAGMA mmap_size = 268435456",
    # Carrying over is done beside the scans; the commit of one does it only where that is long overdue.
    "PRAGMA wal_autocheckpoint = 4000",
)
BEGIN_WRITING = "BEGIN IMMEDIATE"
# Raised where the database cannot be used now: it is held, its disk is full, or may only be read. What was begun is undone.
NotNow = OperationalError


@dataclass(eq=False, slots=True)
class _Waiter:
    """One who waits for a turn; `in_vain` is why it is not to be tried when it comes, where there is a reason."""

    turn: threading.Event = field(default_factory=threading.Event)
    in_vain: NotNow | None = None


class Turns:
    """A lock that is given first come, first served: SQLite's own waiting is unfair when stations queue."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._waiting: deque[_Waiter] = deque()
        self._taken = False

    def __enter__(self) -> None:
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            mine = _Waiter()
            self._waiting.append(mine)
        mine.turn.wait()
        if mine.in_vain is not None:
            self.__exit__()
            raise NotNow(mine.in_vain.statement, None, mine.in_vain.orig or mine.in_vain)

    def __exit__(self, *_: object) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().turn.set()
            else:
                self._taken = False

    def in_vain(self, why: NotNow) -> None:
        """Whoever waits now has waited as long as the one who could not begin: they are told the same, and do not wait anew."""
        with self._guard:
            for waiter in self._waiting:
                waiter.in_vain = why


@dataclass
class Database:
    """One room's database: the engine, and the turn that this program's writers wait for.

    `writes` changes with every transaction that this program has committed. `is_practice` is a room in which people only
    practise: it knows the practice slips and no others.
    """

    engine: Engine
    turns: Turns = field(default_factory=Turns)
    kept: dict[str, Any] = field(default_factory=dict)
    writes: int = 0
    is_practice: bool = False
    writing: Engine = field(init=False, repr=False)
    looking: Engine = field(init=False, repr=False)
    glancing: Engine = field(init=False, repr=False)

    def __post_init__(self) -> None:
        ways = (BEGIN_WRITING, "BEGIN", "BEGIN") if self.is_sqlite else postgres.BEGINNINGS
        self.writing, self.looking, self.glancing = (self.engine.execution_options(begin=way) for way in ways)

    @property
    def is_sqlite(self) -> bool:
        """Whether this is the one-file database."""
        return self.engine.dialect.name == "sqlite"

    @property
    def is_alone(self) -> bool:
        """Whether no other server process writes here: then `writes` tells of everything but other programs."""
        return self.is_sqlite


def open_database(url: str, threads: int = 8, *, is_practice: bool = False) -> Database:
    """Open the room's database; nothing is read yet. One connection is kept for each thread."""
    parsed = postgres.with_driver(url)
    # Errors name no values: among them are badges and what was typed.
    options: dict[str, Any] = {"pool_size": threads + 2, "max_overflow": 8, "hide_parameters": True}
    if parsed.get_backend_name() == "sqlite":
        options["connect_args"] = {"check_same_thread": False, "isolation_level": None}
    engine = create_engine(parsed, **options)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _settle)
        event.listen(engine, "begin", _begin)
    else:
        postgres.settle(engine)
    return Database(engine, is_practice=is_practice)


@contextmanager
def apart(database: Database) -> Iterator[Database]:
    """The same room for long work: on SQLite by a connection of its own, whose memory stays small however much passes
    through, and which leaves the tidying up to who works. Its writers stand in the same line as all others.
    """
    if not database.is_sqlite:
        yield database
        return
    mine = open_database(
        database.engine.url.render_as_string(hide_password=False), threads=1, is_practice=database.is_practice
    )
    event.listen(mine.engine, "connect", _keep_small)
    mine.turns, mine.kept = database.turns, database.kept
    try:
        yield mine
    finally:
        mine.engine.dispose()


def sqlite_url(path: Path) -> str:
    """The address of a one-file database."""
    return f"sqlite:///{path}"


@contextmanager
def transaction(database: Database) -> Iterator[Session]:
    """Write: wait one's turn, begin at once for writing, commit at the end, undo everything if anything fails."""
    with database.turns:
        try:
            with _session(database, database.writing) as session, session.begin():
                yield session
        except NotNow as error:
            if error.statement == BEGIN_WRITING:
                database.turns.in_vain(error)
            raise
        database.writes += 1


@contextmanager
def reading(database: Database) -> Iterator[Session]:
    """Read one consistent state; nothing may be written."""
    # Its end rolls back.
    with _session(database, database.looking) as session:
        yield session


@contextmanager
def glance(database: Database) -> Iterator[Session]:
    """Ask one prepared question: on a server it goes there and comes back, and nothing goes there for its end.

    Another one may be asked in the same glance, but may find another state: who asks must not hold the two together.
    RuntimeError on a server for anything else.
    """
    with _session(database, database.glancing) as session:
        yield session


def others_mark(session: Session) -> int:
    """What changes when a connection other than this one has written, in whatever program; on PostgreSQL, when anybody has
    scanned: who scans is who would wait.
    """
    line = session.connection()
    asked = "PRAGMA data_version" if line.dialect.name == "sqlite" else postgres.LAST_SCAN
    return int(line.exec_driver_sql(asked).scalar_one())


def checkpoint(database: Database) -> None:
    """Carry what was written ahead over into the database's file, as far as that disturbs nobody (SQLite only).

    For a thread of its own, every second or two: else the commit of every so many scans does it, and its station waits.
    """
    if database.is_sqlite:
        with database.engine.connect() as connection:
            # On the driver itself: SQLAlchemy would begin a transaction, and in one there is no checkpoint.
            driver: Any = connection.connection.driver_connection
            driver.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()


def _session(database: Database, engine: Engine) -> Session:
    session = Lean(engine, expire_on_commit=False, autoflush=False)
    session.info["database"] = database
    return session


def _settle(connection: Any, _record: object) -> None:
    cursor = connection.cursor()
    for pragma in PRAGMAS:
        cursor.execute(pragma)
    cursor.close()


def _keep_small(connection: Any, _record: object) -> None:
    for pragma in ("PRAGMA cache_size = -8192", "PRAGMA wal_autocheckpoint = 0"):
        connection.execute(pragma)


def _begin(connection: Any) -> None:
    words = connection.get_execution_options().get("begin", "BEGIN")
    try:
        connection.connection.driver_connection.execute(words)
    except sqlite3.OperationalError as error:
        raise OperationalError(words, None, error) from error
