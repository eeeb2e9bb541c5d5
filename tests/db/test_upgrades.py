"""A room as each older revision left it comes through the upgrade whole: its log untouched, everything beside it right."""

from __future__ import annotations

import gzip
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError

from app.config import Config
from app.db.engine import Database, open_database, reading, sqlite_url, transaction
from app.db.models import Base, Sheet, TallyStay, Wanted, table_of
from app.db.upgrade import newest_revision, revision_of, upgrade
from app.domain.sheet import replay
from app.queries.usual import usual
from app.services.corrections import take_back_from
from app.services.desk import Occasion, ScanRequest
from app.services.log import standing_entries
from app.services.recount import rebuild_if_asked, recounted, sums_are_old
from app.services.scanning import once
from app.serving import room_database
from tests.db.test_guards import TRIED
from tests.room import LONDON
from tests.services.days import differences

REVISIONS = sorted((Path(__file__).parent / "revisions").glob("*.sqlite3.gz"))
# The revisions whose sums an upgrade leaves empty: 0002 counts stays by cabinet.
EMPTIED = [path for path in REVISIONS if path.name < "0002"]
LOG = ("entry", "entry_worker", "scan")
# Sums are made anew, and a setting asks for that; the revision is what changes.
MADE_ANEW = ("tally_day", "tally_stay", "setting", "alembic_version")
AFTERWARDS = datetime(2026, 11, 30, 9, 0, tzinfo=UTC)
Rows = dict[str, list[tuple[Any, ...]]]


def unpacked(packed: Path, folder: Path) -> Path:
    """The room as the revision left it, in a file of its own."""
    path = folder / "blotter.sqlite3"
    path.write_bytes(gzip.decompress(packed.read_bytes()))
    return path


def rows_of(path: Path, columns: dict[str, str] | None = None) -> Rows:
    """Every row of every table, by these columns where they are named."""
    with closing(sqlite3.connect(path)) as connection:
        names = [
            name
            for (name,) in connection.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
            )
        ]
        asked = {name: (columns or {}).get(name, "*") for name in names}
        return {
            name: connection.execute(f"SELECT {what} FROM {name} ORDER BY 1").fetchall() for name, what in asked.items()
        }  # noqa: S608


def columns_of(path: Path) -> dict[str, str]:
    with closing(sqlite3.connect(path)) as connection:
        return {
            name: ", ".join(f'"{row[1]}"' for row in connection.execute(f"PRAGMA table_info({name})")) for name in LOG
        }


@pytest.fixture(params=REVISIONS, ids=lambda path: path.name.split(".")[0])
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A room that an older revision left."""
    return unpacked(request.param, tmp_path)


@pytest.fixture
def upgraded() -> Iterator[Callable[[Path], Database]]:
    """Upgrades a room and opens it, with its sums made anew."""
    opened: list[Database] = []

    def made(path: Path) -> Database:
        upgrade(sqlite_url(path))
        opened.append(open_database(sqlite_url(path)))
        with transaction(opened[-1]) as session:
            rebuild_if_asked(session, LONDON)
        return opened[-1]

    yield made
    for database in opened:
        database.engine.dispose()


def test_there_is_a_room_of_every_revision_but_this_one() -> None:
    found = [path.name.split(".")[0] for path in REVISIONS]
    versions = sorted((Path(__file__).parents[2] / "migrations" / "versions").glob("[0-9]*.py"))
    assert set(found) == {path.name.split("_")[0] for path in versions} - {newest_revision()}


def test_an_upgraded_room_is_of_the_newest_revision_and_its_tables_are_those_of_the_program(
    old: Path, upgraded: Callable[[Path], Database]
) -> None:
    assert revision_of(sqlite_url(old)) != newest_revision()
    database = upgraded(old)
    assert revision_of(sqlite_url(old)) == newest_revision()
    with database.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []


def test_no_row_is_lost_and_no_line_of_the_log_is_changed(old: Path, upgraded: Callable[[Path], Database]) -> None:
    was, columns = rows_of(old), columns_of(old)
    upgraded(old)
    now_is = rows_of(old, columns)
    assert len(was["entry"]) > 20
    assert {name: len(rows) for name, rows in was.items() if name not in MADE_ANEW} == {
        name: len(now_is[name]) for name in was if name not in MADE_ANEW
    }
    assert {name: now_is[name] for name in LOG} == {name: was[name] for name in LOG}


def test_the_audit_finds_no_difference_and_the_sums_are_those_of_a_recount(
    old: Path, upgraded: Callable[[Path], Database]
) -> None:
    database = upgraded(old)
    assert differences(database) == []
    with reading(database) as session:
        counted = recounted(session, LONDON)
        stays = session.execute(select(TallyStay)).scalars().all()
        assert {(row.week, row.stage, row.cabinet_id, row.hours): row.stays for row in stays} == counted.stays
        assert counted.stays.total() > 5 and not sums_are_old(session)


@pytest.mark.parametrize("old", EMPTIED, indirect=True)
def test_until_its_sums_are_made_anew_the_audit_misses_them(old: Path) -> None:
    upgrade(sqlite_url(old))
    database = open_database(sqlite_url(old))
    with reading(database) as session:
        assert sums_are_old(session)
    assert {each.subject_kind for each in differences(database)} == {"tally"}
    database.engine.dispose()


@pytest.mark.parametrize("statement", TRIED)
def test_the_guards_still_stand(old: Path, upgraded: Callable[[Path], Database], statement: str) -> None:
    database = upgraded(old)
    with pytest.raises(DatabaseError, match="the log is never changed"), database.engine.begin() as connection:
        connection.execute(text(statement))


def test_every_sheet_is_kept_where_its_log_says(old: Path, upgraded: Callable[[Path], Database]) -> None:
    database = upgraded(old)
    with reading(database) as session:
        kept = {row.id: row.kept_in_id for row in session.execute(select(Sheet.id, Sheet.kept_in_id))}
        lies = {sheet_id: replay(standing_entries(session, sheet_id)).kept_in_id for sheet_id in kept}
    assert kept == lies and any(kept.values())


@pytest.mark.parametrize("old", EMPTIED, indirect=True)
def test_a_room_that_is_opened_to_be_served_has_its_sums_made(
    old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    upgrade(sqlite_url(old))
    database = room_database(Config(tmp_path, sqlite_url(old), LONDON, "a key for the tests only"))
    assert "are made anew from its log" in capsys.readouterr().err
    assert differences(database) == []
    database.engine.dispose()
    # The second time there is nothing to be made.
    room_database(Config(tmp_path, sqlite_url(old), LONDON, "a key for the tests only")).engine.dispose()
    assert capsys.readouterr().err == ""


def test_what_was_written_before_the_upgrade_can_be_taken_back_after_it(
    old: Path, upgraded: Callable[[Path], Database]
) -> None:
    database = upgraded(old)
    for number, first_id in _first_moves(database).items():
        request = ScanRequest(f"back-{number}", "", worker_ids=(1,), manages=True)
        with transaction(database) as session:
            act = lambda desk, entry_id=first_id: take_back_from(desk, entry_id, "all wrong")  # noqa: E731
            answer = once(session, request, Occasion(AFTERWARDS, LONDON), act, f"back {number}")
        assert answer.kind == "done", (number, answer)
    assert differences(database) == []
    with reading(database) as session:
        assert not [row for row in session.execute(select(TallyStay)).scalars() if row.stays]


@pytest.fixture
def first(tmp_path: Path, upgraded: Callable[[Path], Database]) -> Database:
    """The room of revision 0001: seven sheets, one of them on a table, one of them wanted."""
    return upgraded(unpacked(REVISIONS[0], tmp_path))


def test_the_sheet_on_a_table_is_kept_in_the_cabinet_where_it_lay(first: Database) -> None:
    with reading(first) as session:
        found = session.execute(select(Sheet.number, Sheet.cabinet_id, Sheet.kept_in_id).order_by(Sheet.id)).all()
    # By its log: on a table since it was taken up out of M1 (2); the mounted one has left its stage, and with it M1.
    assert {number: (cabinet, kept) for number, cabinet, kept in found} == {
        "TQX000001N": (4, 4), "TQX000002L": (None, None), "TQX000003J": (2, 2), "TQX000004H": (None, 2),
        "TQX000005F": (None, None), "TQX000006D": (2, 2), "TQX000007B": (2, 2),
    }  # fmt: skip


def test_the_wish_is_carried_over_with_its_reason_and_whose_it_was(first: Database) -> None:
    with reading(first) as session:
        wishes = session.execute(select(table_of(Wanted))).mappings().all()
        number = session.execute(select(Sheet.number).where(Sheet.id == wishes[0]["sheet_id"])).scalar_one()
    assert len(wishes) == 1 and number == "TQX000003J"
    assert (wishes[0]["why"], wishes[0]["ended_at"]) == ("visit on Friday, by Ines Caldwell", None)
    assert wishes[0]["asked_at"] == datetime(2026, 11, 26, 22, tzinfo=UTC)


def test_the_sums_of_the_first_revision_are_those_of_its_log(first: Database) -> None:
    with reading(first) as session:
        rows = session.execute(select(TallyStay)).scalars().all()
        found = {each.stage.value: each for each in usual(session, AFTERWARDS - timedelta(days=3), LONDON)}
    # Worked by hand from the 27 entries: seven left intake, five of them out of M1 where the shelf in hand put them; one was
    # mounted at once, one after three hours; 31 hours under press (the weights off at 19:00, laid in at 12:00 the day before).
    assert {(row.stage, row.hours): 0 for row in rows}.keys() == {
        ("intake", 0), ("dry", 0), ("ready-for-mounting", 0), ("ready-for-mounting", 3), ("mounted", 0), ("under-press", 31)
    }  # fmt: skip
    assert sum(row.stays for row in rows if (row.stage, row.cabinet_id) == ("intake", 2)) == 5
    assert (found["ready-for-mounting"].ended, found["ready-for-mounting"].waiting) == (2, 3)


def _first_moves(database: Database) -> dict[str, int]:
    """Of each sheet that has moved since it came, the second of its entries."""
    with database.engine.connect() as connection:
        found = connection.execute(text("""SELECT number, min(entry.id) FROM entry JOIN sheet ON sheet.id = subject_id
            WHERE subject_kind = 'sheet' AND from_stage IS NOT NULL GROUP BY number"""))  # fmt: skip
        return {number: entry_id for number, entry_id in found}
