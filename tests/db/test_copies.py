"""A copy of a room is whole or it is refused: cut short, with a wrong byte, or without a guard of its log."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy.exc import OperationalError

from app.db.copies import (
    copy_whole,
    fits_its_sum,
    look_through,
    missing_guards,
    opened_as_it_lies,
    sum_beside,
    write_sum,
)
from app.db.engine import transaction
from app.db.fitness import Unfit
from app.services.room import add_cabinet
from tests.room import Room

pytestmark = pytest.mark.sqlite_only("it copies the file of a room; a server is copied by tools of its own")


def file_of(room: Room) -> Path:
    return Path(str(room.database.engine.url.database))


def test_a_copy_holds_what_was_written_and_not_yet_carried_over_and_is_one_file(room: Room, tmp_path: Path) -> None:
    number = room.sheet_ready()
    assert (tmp_path / "blotter.sqlite3-wal").stat().st_size > 0
    copy = tmp_path / "elsewhere" / "copy.sqlite3"
    copy.parent.mkdir()
    copy_whole(file_of(room), copy)
    assert [path.name for path in copy.parent.iterdir()] == ["copy.sqlite3"] and copy.stat().st_mode & 0o077 == 0
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("SELECT count(*) FROM sheet WHERE number = ?", (number,)).fetchone() == (1,)
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_a_copy_is_opened_for_reading_only_and_nothing_is_laid_beside_it(room: Room, tmp_path: Path) -> None:
    copy = tmp_path / "elsewhere" / "copy.sqlite3"
    copy.parent.mkdir()
    copy_whole(file_of(room), copy)
    copy.parent.chmod(0o500)
    opened = opened_as_it_lies(copy)
    with pytest.raises(OperationalError, match="readonly"), transaction(opened) as session:
        add_cabinet(session, "Z9", None, room.now)
    opened.engine.dispose()
    copy.parent.chmod(0o700)
    assert [path.name for path in copy.parent.iterdir()] == ["copy.sqlite3"]


@pytest.mark.parametrize("left", [0.0, 0.3, 0.99])
def test_a_copy_that_was_cut_short_is_not_whole(room: Room, tmp_path: Path, left: float) -> None:
    copy = tmp_path / "copy.sqlite3"
    room.sheet_ready()
    copy_whole(file_of(room), copy)
    write_sum(copy, copy.name)
    data = copy.read_bytes()
    copy.write_bytes(data[: int(len(data) * left)])
    assert fits_its_sum(copy) is False
    if left:
        # An empty file is an empty database to SQLite; that it is no room is seen by its state.
        with pytest.raises((Unfit, sqlite3.DatabaseError)):
            look_through(copy)


def test_one_wrong_bit_anywhere_is_seen_by_the_sum(room: Room, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    copy_whole(file_of(room), copy)
    write_sum(copy, copy.name)
    assert fits_its_sum(copy) is True
    data = bytearray(copy.read_bytes())
    for place in (20, len(data) // 2, len(data) - 1):
        data[place] ^= 1
        copy.write_bytes(data)
        assert fits_its_sum(copy) is False, place
        data[place] ^= 1
    copy.write_bytes(data)
    assert fits_its_sum(copy) is True
    sum_beside(copy).unlink()
    assert fits_its_sum(copy) is None


def test_the_sum_is_one_that_the_usual_tool_reads(room: Room, tmp_path: Path) -> None:
    import subprocess

    tool = shutil.which("sha256sum")
    if tool is None:
        pytest.skip("sha256sum is not installed here")
    copy = tmp_path / "copy.sqlite3"
    copy_whole(file_of(room), copy)
    write_sum(copy, copy.name)
    subprocess.run([tool, "--check", "--strict", sum_beside(copy).name], cwd=tmp_path, check=True, capture_output=True)
    copy.write_bytes(copy.read_bytes() + b"x")
    assert subprocess.run([tool, "--check", sum_beside(copy).name], cwd=tmp_path, capture_output=True).returncode == 1


def test_a_row_that_points_nowhere_is_found(room: Room, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    copy_whole(file_of(room), copy)
    with closing(sqlite3.connect(copy)) as connection, connection:
        connection.execute("DELETE FROM cabinet WHERE name = 'M1'")
    with pytest.raises(Unfit, match="points nowhere"):
        look_through(copy)


def test_a_guard_that_is_gone_or_guards_nothing_is_missed_by_name(room: Room) -> None:
    assert missing_guards(file_of(room)) == []
    with closing(sqlite3.connect(file_of(room))) as connection:
        connection.execute("DROP TRIGGER guard_entry_delete")
        connection.execute("DROP TRIGGER guard_scan_update")
        connection.execute("CREATE TRIGGER guard_scan_update BEFORE UPDATE ON scan BEGIN SELECT 1; END")
    assert missing_guards(file_of(room)) == ["guard_entry_delete", "guard_scan_update"]


def test_a_copy_that_was_made_by_hand_is_read_and_nothing_is_laid_beside_it(room: Room, tmp_path: Path) -> None:
    folder = tmp_path / "read-only"
    folder.mkdir()
    # As it was copied by hand: still one that writes ahead, with nothing beside it.
    with closing(sqlite3.connect(file_of(room))) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    shutil.copy(file_of(room), folder / "copy.sqlite3")
    (folder / "copy.sqlite3").chmod(0o400)
    folder.chmod(0o500)
    copy_whole(folder / "copy.sqlite3", tmp_path / "again.sqlite3", lies_still=True)
    folder.chmod(0o700)
    assert [path.name for path in folder.iterdir()] == ["copy.sqlite3"]
    # And one with something beside it that was not carried over is read with that.
    number = room.sheet_ready()
    for ending in ("", "-wal"):
        shutil.copy(f"{file_of(room)}{ending}", tmp_path / f"live.sqlite3{ending}")
    copy_whole(tmp_path / "live.sqlite3", tmp_path / "copied.sqlite3", lies_still=True)
    with closing(sqlite3.connect(tmp_path / "copied.sqlite3")) as connection:
        assert connection.execute("SELECT count(*) FROM sheet WHERE number = ?", (number,)).fetchone() == (1,)
