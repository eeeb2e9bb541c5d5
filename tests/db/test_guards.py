"""The log cannot be changed: not by any statement, on any connection, whatever the migrations have done to its tables."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DatabaseError

from app.db.engine import Database, open_database, transaction
from app.db.models import Base, Heartbeat
from app.db.upgrade import newest_revision, revision_of
from tests.databases import SERVER, Rooms, address
from tests.databases import guards as guards_of
from tests.room import Room

TRIED_IN_A_FILE = [
    "UPDATE entry SET reason = 'changed' WHERE id = 1",
    "UPDATE OR REPLACE entry SET id = 2 WHERE id = 1",
    "DELETE FROM entry WHERE id = 1",
    "DELETE FROM entry",
    "INSERT OR REPLACE INTO entry SELECT * FROM entry WHERE id = 1",
    "REPLACE INTO entry SELECT * FROM entry WHERE id = 1",
    "INSERT INTO entry SELECT * FROM entry WHERE id = 1 ON CONFLICT (id) DO UPDATE SET reason = 'changed'",
    "UPDATE entry_worker SET worker_id = 1",
    "DELETE FROM entry_worker",
    "REPLACE INTO entry_worker SELECT * FROM entry_worker LIMIT 1",
    "UPDATE scan SET answer = '{}'",
    "DELETE FROM scan",
    "REPLACE INTO scan SELECT * FROM scan LIMIT 1",
    "INSERT OR REPLACE INTO scan (scan_id, fingerprint, answer, received_at) SELECT scan_id, 'x', '{}', received_at FROM scan LIMIT 1",
]
TRIED_ON_A_SERVER = [
    "UPDATE entry SET reason = 'changed' WHERE id = 1",
    "DELETE FROM entry WHERE id = 1",
    "DELETE FROM entry",
    "TRUNCATE entry CASCADE",
    "INSERT INTO entry SELECT * FROM entry WHERE id = 1 ON CONFLICT (id) DO UPDATE SET reason = 'changed'",
    "MERGE INTO entry USING (SELECT 1 AS id) AS one ON entry.id = one.id WHEN MATCHED THEN UPDATE SET reason = 'changed'",
    "WITH gone AS (DELETE FROM entry_worker RETURNING entry_id) SELECT * FROM gone",
    "UPDATE entry_worker SET worker_id = 1",
    "DELETE FROM entry_worker",
    "TRUNCATE entry_worker",
    "UPDATE scan SET answer = '{}'",
    "DELETE FROM scan",
    "TRUNCATE scan CASCADE",
]
TRIED = TRIED_ON_A_SERVER if SERVER else TRIED_IN_A_FILE
# The tables of what happened: no row of theirs is ever changed or taken away.
GUARDED = (
    "entry",
    "entry_worker",
    "scan",
    "check_expected",
    "check_seen",
    "hand_over",
    "handed_sheet",
    "supply_entry",
    "lot_opening",
)


@pytest.fixture
def worked(room: Room) -> Database:
    """A room in which something has been scanned."""
    room.sheet_in("P1")
    return room.database


@pytest.mark.parametrize("statement", TRIED)
def test_nothing_changes_or_deletes_a_line_of_the_log(worked: Database, statement: str) -> None:
    before = _whole_log(worked)
    with pytest.raises(DatabaseError, match="the log is never changed"), worked.engine.begin() as connection:
        connection.execute(text(statement))
    assert _whole_log(worked) == before


@pytest.mark.sqlite_only("whoever connects to a server is under its guards; a file can be opened without our settings")
@pytest.mark.parametrize("statement", TRIED)
def test_a_program_that_is_not_ours_is_refused_too(worked: Database, statement: str, tmp_path: Path) -> None:
    # Without our settings a REPLACE deletes without firing delete triggers; the guard on insert still refuses it.
    outside = sqlite3.connect(str(worked.engine.url.database))
    with pytest.raises(sqlite3.DatabaseError, match="the log is never changed"):
        outside.execute(statement)
    outside.close()


def test_a_correction_of_one_entry_is_written_once(worked: Database) -> None:
    columns = "subject_kind, subject_id, step, happened_at, recorded_at, is_late, after_the_fact, time_from, facts"
    statement = text(
        f"INSERT INTO entry ({columns}, corrects) SELECT {columns}, 1 FROM entry WHERE id = 1"  # noqa: S608
    )
    with worked.engine.begin() as connection:
        connection.execute(statement)
    refused = "the log is never changed" if worked.is_sqlite else "ix_entry_corrects"
    with pytest.raises(DatabaseError, match=refused), worked.engine.begin() as connection:
        connection.execute(statement)


@pytest.mark.sqlite_only("they are SQLite's own settings")
def test_every_connection_of_the_pool_is_set_for_keeping(rooms: Rooms, tmp_path: Path) -> None:
    database = open_database(rooms.url(tmp_path / "kept.sqlite3"))
    wanted = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "recursive_triggers": 1}
    held = [database.engine.connect() for _ in range(12)]
    for connection in held:
        found = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in wanted}
        assert found == wanted
    for connection in held:
        connection.close()
    database.engine.dispose()


def test_the_tables_are_what_the_migrations_make(database: Database) -> None:
    # By itself, as Alembic would look at it.
    plain = create_engine(database.engine.url)
    with plain.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []
    plain.dispose()
    deeds = ("_update", "_delete", "_replace") if database.is_sqlite else ("", "_truncate")
    assert sorted(guards_of(database)) == sorted(f"guard_{table}{deed}" for table in GUARDED for deed in deeds)


def test_a_database_says_which_revision_it_has(database: Database, rooms: Rooms, tmp_path: Path) -> None:
    assert revision_of(address(database)) == newest_revision()
    assert revision_of(rooms.empty_url(tmp_path / "empty.sqlite3")) is None


def test_a_naive_time_is_refused_by_the_column(room: Room) -> None:
    with pytest.raises(Exception, match="has no time zone"), transaction(room.database) as session:
        session.add(Heartbeat(beat_at=datetime(2026, 11, 25, 9)))
        session.flush()


def _whole_log(database: Database) -> list[tuple[object, ...]]:
    with database.engine.connect() as connection:
        rows: list[tuple[object, ...]] = []
        for table in GUARDED:
            rows += [tuple(row) for row in connection.execute(text(f"SELECT * FROM {table}"))]  # noqa: S608
        return rows
