"""A room moved from its file into PostgreSQL: whole, the same, audited; or nothing of it."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, inspect, select, text
from sqlalchemy.exc import DatabaseError

from app.cli import main
from app.db import moving
from app.db.engine import Database, open_database, reading, sqlite_url, transaction
from app.db.lock import in_use
from app.db.models import Base, Entry, Sheet, table_of
from app.db.postgres import with_driver
from app.db.upgrade import newest_revision, revision_of
from app.domain.stages import Step
from app.services.audit import audit
from seed_demo import fill
from tests.databases import SERVER, Rooms, guards
from tests.room import LONDON, WEDNESDAY, Room
from tests.services.days import busy_days

pytestmark = pytest.mark.skipif(not SERVER, reason="there is no server of PostgreSQL to move to")


@pytest.fixture
def home(rooms: Rooms, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A room in a file, after some busy days."""
    monkeypatch.setenv("BLOTTER_ZONE", "Europe/London")
    monkeypatch.delenv("BLOTTER_DATABASE_URL", raising=False)
    Rooms.url(rooms, tmp_path / "blotter.sqlite3")
    database = open_database(sqlite_url(tmp_path / "blotter.sqlite3"))
    busy_days(Room(database))
    database.engine.dispose()
    return tmp_path


@pytest.fixture
def empty(rooms: Rooms, tmp_path: Path) -> str:
    """The address of an empty database on the server."""
    return rooms.empty_url(tmp_path / "none")


def moves(home: Path, url: str) -> int:
    return main(["move-to", "--data", str(home), url])


def refused(capsys: pytest.CaptureFixture[str], home: Path, url: str) -> str:
    assert moves(home, url) == 1
    said = capsys.readouterr().err
    assert "Traceback" not in said
    return said


def is_empty(url: str) -> bool:
    engine = create_engine(with_driver(url))
    with engine.connect() as line:
        functions = line.execute(
            text("SELECT count(*) FROM pg_proc WHERE pronamespace = 'public'::regnamespace")
        ).scalar()
        sequences = line.execute(text("SELECT count(*) FROM pg_class WHERE relkind = 'S'")).scalar()
    found = inspect(engine).get_table_names() == [] and not functions and not sequences
    engine.dispose()
    return found


def rows_of(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table, as the program reads it."""
    with reading(database) as session:
        return {
            table.name: [tuple(row) for row in session.execute(select(table).order_by(*table.primary_key.columns))]
            for table in Base.metadata.sorted_tables
        }


def test_the_whole_room_reads_the_same_there_and_goes_on(
    home: Path, empty: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert moves(home, empty) == 0
    told = capsys.readouterr().out
    here, there = open_database(sqlite_url(home / "blotter.sqlite3")), open_database(empty)
    before, after = rows_of(here), rows_of(there)
    assert before == after and len(before["entry"]) > 50
    count = re.search(r"Moved: ([\d,]+) rows", told)
    assert count and int(count[1].replace(",", "")) == sum(len(rows) for rows in after.values())
    assert revision_of(empty) == newest_revision() and len(guards(there)) == 18
    with pytest.raises(DatabaseError, match="the log is never changed"), there.engine.begin() as line:
        line.execute(text("DELETE FROM entry"))
    # New rows are numbered after those that came.
    with reading(there) as session:
        last = max(row[0] for row in after["entry"])
        number = session.execute(select(table_of(Sheet).c.number)).scalars().first()
    monkeypatch.setenv("BLOTTER_DATABASE_URL", empty)
    room = Room.__new__(Room)
    room.__dict__.update(database=there, now=WEDNESDAY.replace(year=2027), zone=LONDON, worker={"hedda": 1})
    with transaction(there) as session:
        from app.services.desk import Occasion, ScanRequest
        from app.services.scanning import scan

        asked = ScanRequest("after-the-move", str(number), worker_ids=(1,), manages=True, reason="looked at", step=Step.PUT_HOLD,
                            facts={"hold": "name-query"})  # fmt: skip
        assert scan(session, asked, Occasion(room.now, LONDON)).kind == "done"
        assert (
            session.execute(select(table_of(Entry).c.id).order_by(table_of(Entry).c.id.desc())).scalars().first()
            == last + 1
        )
    assert main(["audit", "--data", str(home)]) == 0
    for database in (here, there):
        database.engine.dispose()


def test_the_demo_moves(rooms: Rooms, tmp_path: Path, empty: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("BLOTTER_DATABASE_URL", raising=False)
    Rooms.url(rooms, tmp_path / "blotter.sqlite3")
    here = open_database(sqlite_url(tmp_path / "blotter.sqlite3"))
    fill(here, LONDON, WEDNESDAY, small=True)
    assert moves(tmp_path, empty) == 0
    there = open_database(empty)
    assert rows_of(here) == rows_of(there)
    with reading(there) as session:
        assert list(audit(session, LONDON)) == []
    for database in (here, there):
        database.engine.dispose()


# -- nothing of it ----------------------------------------------------------------------------------------------
def test_a_database_with_anything_in_it_is_left_alone(
    home: Path, empty: str, capsys: pytest.CaptureFixture[str]
) -> None:
    engine = create_engine(with_driver(empty))
    with engine.begin() as line:
        line.execute(text("CREATE TABLE accounts (id integer)"))
    assert "There is something in that database already" in refused(capsys, home, empty)
    assert inspect(engine).get_table_names() == ["accounts"]
    engine.dispose()


def test_a_second_move_into_the_same_database_is_refused(
    home: Path, empty: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert moves(home, empty) == 0
    assert "There is something in that database already" in refused(capsys, home, empty)


def test_a_room_that_is_in_use_is_not_moved(home: Path, empty: str, capsys: pytest.CaptureFixture[str]) -> None:
    with in_use(sqlite_url(home / "blotter.sqlite3")):
        assert "Stop it first" in refused(capsys, home, empty)
    assert is_empty(empty)


def test_a_room_whose_log_does_not_agree_is_not_moved(
    home: Path, empty: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(sqlite3.connect(home / "blotter.sqlite3")) as line, line:
        line.execute("UPDATE sheet SET bulk = 'bulky' WHERE id = 1")
    said = refused(capsys, home, empty)
    assert "The log and the room differ in the copy" in said and "bulk" in said and "Nothing was copied" in said
    assert is_empty(empty)


def test_a_table_that_is_not_ours_is_not_left_behind_in_silence(
    home: Path, empty: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(sqlite3.connect(home / "blotter.sqlite3")) as line, line:
        line.execute("CREATE TABLE notes_of_somebody (id INTEGER)")
    assert "notes_of_somebody" in refused(capsys, home, empty) and is_empty(empty)


@pytest.mark.parametrize("what", ["a row", "a value"])
def test_what_arrives_otherwise_is_noticed_and_nothing_is_left(
    home: Path, empty: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    sent = moving.copy_in

    def loses(line: Any, table: Any, names: Any, rows: Any) -> None:
        if table.name == "entry" and what == "a row":
            rows = list(rows)[:-1]
        elif table.name == "entry":
            rows = [tuple("otherwise" if value == "take-in" else value for value in row) for row in rows]
        sent(line, table, names, rows)

    monkeypatch.setattr(moving, "copy_in", loses)
    assert "The table entry reads otherwise there" in refused(capsys, home, empty)
    assert is_empty(empty)


def test_cut_short_in_the_middle_it_leaves_nothing(home: Path, empty: str, monkeypatch: pytest.MonkeyPatch) -> None:
    sent = moving.copy_in

    def stops(line: Any, table: Any, *more: Any) -> None:
        if table.name == "layer":
            raise KeyboardInterrupt
        sent(line, table, *more)

    monkeypatch.setattr(moving, "copy_in", stops)
    assert moves(home, empty) == 1
    assert is_empty(empty)


def test_a_value_that_does_not_fit_is_said_in_a_sentence(
    home: Path, empty: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(sqlite3.connect(home / "blotter.sqlite3")) as line, line:
        line.execute("UPDATE sheet SET pieces = 99999999999 WHERE id = 1")
    assert "out of range" in refused(capsys, home, empty) and is_empty(empty)


@pytest.mark.parametrize(
    ("url", "said"), [("sqlite:///other.sqlite3", "into PostgreSQL only"), ("no address", "cannot be used")]
)
def test_another_place_is_refused(home: Path, capsys: pytest.CaptureFixture[str], url: str, said: str) -> None:
    assert said in refused(capsys, home, url)


def test_a_room_that_is_on_a_server_already_is_not_moved(
    home: Path, empty: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BLOTTER_DATABASE_URL", empty)
    assert "is in no file" in refused(capsys, home, empty)
