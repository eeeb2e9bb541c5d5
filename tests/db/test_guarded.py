"""The log's one exception: a text may be reworded, and whatever happens meanwhile its guards stand afterwards."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, text
from sqlalchemy.exc import DatabaseError

from app.db import guarded
from app.db.engine import Database, transaction
from app.db.guarded import GuardMissing, reword
from app.db.models import Entry, EntryWorker, Scan, Sheet, table_of
from tests.databases import guards, unguard
from tests.db.test_guards import TRIED
from tests.room import Room

ENTRY, SCAN = table_of(Entry), table_of(Scan)


@pytest.fixture
def worked(room: Room) -> Iterator[Database]:
    """A room in which something has been scanned; after the test its log is guarded as it was before."""
    room.sheet_in("P1")
    before = guards(room.database)
    # Nine tables; PostgreSQL has one guard for both deeds of a table and one for emptying it, and no REPLACE.
    assert len(before) == (27 if room.database.is_sqlite else 18)
    yield room.database
    assert guards(room.database) == before
    refuses_everything(room.database)


def refuses_everything(database: Database) -> None:
    for statement in TRIED:
        with pytest.raises(DatabaseError, match="the log is never changed"), database.engine.begin() as connection:
            connection.execute(text(statement))


def column(database: Database, statement: str) -> list[Any]:
    with database.engine.connect() as connection:
        return list(connection.execute(text(statement)).scalars())


def log_but_for(database: Database, table: str, left_out: str) -> list[tuple[Any, ...]]:
    with database.engine.connect() as connection:
        rows = connection.execute(text(f"SELECT * FROM {table} ORDER BY 1")).mappings()  # noqa: S608
        return [tuple(value for name, value in row.items() if name != left_out) for row in rows]


def test_a_reason_is_reworded_and_nothing_else_of_the_log(worked: Database) -> None:
    before = {table: log_but_for(worked, table, "reason") for table in ("entry", "entry_worker", "scan")}
    with transaction(worked) as session:
        assert reword(session, ENTRY, {1: "W03 said so", 3: "W03’s table"}) == 2
    assert column(worked, "SELECT reason FROM entry WHERE id IN (1, 3) ORDER BY id") == ["W03 said so", "W03’s table"]
    assert {table: log_but_for(worked, table, "reason") for table in ("entry", "entry_worker", "scan")} == before


def test_an_answer_is_reworded_and_nothing_else_of_its_scan(worked: Database) -> None:
    before = log_but_for(worked, "scan", "answer")
    with transaction(worked) as session:
        assert reword(session, SCAN, {1: {"word": "Hello, W03."}}) == 1
    assert column(worked, "SELECT CAST(answer AS TEXT) FROM scan WHERE id = 1") == ['{"word": "Hello, W03."}']
    assert log_but_for(worked, "scan", "answer") == before


def test_rows_that_are_not_there_are_counted_as_none(worked: Database) -> None:
    with transaction(worked) as session:
        assert reword(session, ENTRY, {10_000: "nobody"}) == 0 and reword(session, ENTRY, {}) == 0


@pytest.mark.parametrize("table", [table_of(EntryWorker), table_of(Sheet)])
def test_no_other_table_is_ever_reworded(worked: Database, table: Any) -> None:
    with pytest.raises(ValueError, match="is ever reworded"), transaction(worked) as session:
        reword(session, table, {1: "x"})


def test_when_it_fails_in_between_nothing_is_written_and_the_guards_stand(worked: Database) -> None:
    before = column(worked, "SELECT answer FROM scan ORDER BY id")
    with pytest.raises(Exception, match="not JSON serializable"), transaction(worked) as session:
        reword(session, SCAN, {1: {"word": "first"}, 2: {"word": object()}})
    assert column(worked, "SELECT answer FROM scan ORDER BY id") == before


def test_when_whoever_asked_goes_on_after_it_failed_the_guards_stand_too(worked: Database) -> None:
    before = column(worked, "SELECT answer FROM scan ORDER BY id")
    with transaction(worked) as session:
        with pytest.raises(Exception, match="not JSON serializable"):
            reword(session, SCAN, {1: {"word": "first"}, 2: {"word": object()}})
        session.execute(text("UPDATE cabinet SET note = 'written after it failed'"))
    assert column(worked, "SELECT answer FROM scan ORDER BY id") == before
    assert set(column(worked, "SELECT note FROM cabinet")) == {"written after it failed"}


def test_when_the_transaction_fails_afterwards_the_old_text_is_back(worked: Database) -> None:
    with pytest.raises(RuntimeError, match="power"), transaction(worked) as session:
        reword(session, ENTRY, {1: "gone"})
        raise RuntimeError("the power went")
    assert column(worked, "SELECT reason FROM entry WHERE id = 1") == [None]


def test_within_the_same_transaction_the_log_is_guarded_again_at_once(worked: Database) -> None:
    with pytest.raises(DatabaseError, match="the log is never changed"), transaction(worked) as session:
        reword(session, ENTRY, {1: "reworded"})
        session.execute(text("UPDATE entry SET step = 'file' WHERE id = 1"))
    assert column(worked, "SELECT reason FROM entry WHERE id = 1") == [None]


@pytest.mark.sqlite_only("whoever looks from outside waits there until the transaction is over")
def test_meanwhile_nobody_else_sees_the_log_without_its_guard_nor_can_write(worked: Database) -> None:
    outside = sqlite3.connect(str(worked.engine.url.database), timeout=0)
    seen: list[Any] = []

    def look(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if statement.startswith("UPDATE entry"):
            seen.append(outside.execute("SELECT COUNT(*) FROM sqlite_master WHERE type = 'trigger'").fetchone()[0])
            with pytest.raises(sqlite3.OperationalError, match="locked"):
                outside.execute("UPDATE entry SET step = 'file' WHERE id = 2")

    event.listen(worked.engine, "before_cursor_execute", look)
    with transaction(worked) as session:
        reword(session, ENTRY, {1: "reworded"})
    event.remove(worked.engine, "before_cursor_execute", look)
    outside.close()
    assert seen == [27]


def test_a_log_that_is_not_guarded_is_not_touched(room: Room) -> None:
    room.sheet_ready()
    unguard(room.database, "guard_entry_update" if room.database.is_sqlite else "guard_entry")
    with pytest.raises(GuardMissing, match="guard_entry"), transaction(room.database) as session:
        reword(session, ENTRY, {1: "reworded"})
    assert column(room.database, "SELECT reason FROM entry WHERE id = 1") == [None]


def test_only_this_place_takes_a_guard_of_the_log_away() -> None:
    home = Path(guarded.__file__).resolve().parent.parent
    found = [path.name for path in home.rglob("*.py") if "TRIGGER" in path.read_text(encoding="utf-8")]
    assert found == ["guarded.py"]
