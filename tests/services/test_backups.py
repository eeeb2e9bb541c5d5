"""A backup counts once it was read through and audited; what is old goes, never the only whole one; and a second place is one."""

from __future__ import annotations

import errno
import json
import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, text

from app.db.copies import fits_its_sum
from app.db.engine import reading, transaction
from app.db.models import Setting
from app.domain.backups import moment_of
from app.queries.backups import backups_kept
from app.services import backup, backup_places
from app.services.backup import Backup, back_up, keep_backup, make_backup
from app.services.backup_places import MARKER, Place, name_place, place_of, state_of
from app.services.room import set_house_rule
from tests.room import LONDON, Room

pytestmark = pytest.mark.sqlite_only("a room on a server is backed up by the server's own tools")

DAY = timedelta(days=1)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """The room's folder."""
    folder = tmp_path / "data"
    folder.mkdir()
    return folder


@pytest.fixture
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder on another disk."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    really = Path.stat

    def stat(path: Path, **more: Any) -> os.stat_result:
        found = really(path, **more)
        if folder not in path.parents and path != folder:
            return found
        return os.stat_result([*found[:2], found.st_dev + 1, *found[3:10]])

    monkeypatch.setattr(Path, "stat", stat)
    return folder


def made(room: Room, data: Path, **more: Any) -> Backup:
    with reading(room.database) as session:
        found = back_up(session, data / "backups", room.now, LONDON, **more)
    with transaction(room.database) as session:
        keep_backup(session, found, room.now)
    return found


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.suffix == ".sqlite3")


def named(room: Room, where: Path | str, data: Path) -> str:
    with transaction(room.database) as session:
        return name_place(session, str(where), data, room.now, by=room.worker["hedda"])


def place(room: Room, data: Path) -> Place:
    with reading(room.database) as session:
        found = place_of(session, data)
    assert found is not None
    return found


def on_record(room: Room) -> Any:
    with reading(room.database) as session:
        return backups_kept(session)


# -- made -------------------------------------------------------------------------------------------------------
def test_a_backup_is_read_through_audited_and_bears_its_sum(room: Room, data: Path) -> None:
    room.sheet_ready()
    found = made(room, data)
    assert moment_of(found.path.name) == room.now and found.differences == 0 and found.size == found.path.stat().st_size
    assert fits_its_sum(found.path) is True and found.found == "looked through and whole"
    assert on_record(room).last_at == room.now
    assert {path.stat().st_mode & 0o077 for path in found.path.parent.iterdir()} == {0}


def test_a_backup_whose_log_and_room_differ_is_kept_and_says_so(room: Room, data: Path) -> None:
    number = room.sheet_ready()
    with room.database.engine.begin() as connection:
        connection.execute(text("UPDATE sheet SET stage = 'filed' WHERE number = :n"), {"n": number})
    found = made(room, data)
    assert found.differences >= 1 and "differ in" in found.found and found.path.exists()
    assert on_record(room).differences == found.differences
    with room.database.engine.begin() as connection:
        connection.execute(text("UPDATE sheet SET stage = 'ready-for-mounting' WHERE number = :n"), {"n": number})
    room.wait(hours=1)
    assert made(room, data).differences == 0 and on_record(room).differences == 0


def test_a_copy_that_is_not_whole_never_bears_the_name_of_a_backup(
    room: Room, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = made(room, data)
    room.wait(days=1)
    copied = backup.copy_whole

    def spoilt(source: Path, target: Path) -> None:
        copied(source, target)
        with target.open("r+b") as file:
            file.seek(4096)
            file.write(b"\xff" * 64)
        from app.db.copies import look_through

        look_through(target)

    monkeypatch.setattr(backup, "copy_whole", spoilt)
    with pytest.raises(ValueError, match="There is no backup"):
        made(room, data)
    assert names(data / "backups") == [kept.path.name]
    assert sorted(path.suffix for path in (data / "backups").iterdir()) == [".sha256", ".sqlite3"]


@pytest.mark.parametrize("where", ["copy_whole", "write_sum"])
def test_a_full_disk_leaves_the_last_backup_and_no_part_of_a_new_one(
    room: Room, data: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    kept = made(room, data)
    room.wait(days=400)

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(backup, where, full)
    with pytest.raises(ValueError, match="cannot be written: No space left"):
        made(room, data)
    assert names(data / "backups") == [kept.path.name] and fits_its_sum(kept.path)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real disk of half a megabyte, in the computer's memory; passed over where none may be mounted."""
    where = tmp_path / "small"
    where.mkdir()
    if (
        shutil.which("mount") is None
        or subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=512k", "tmpfs", str(where)], capture_output=True
        ).returncode
    ):
        pytest.skip("no disk may be mounted here (that is the administrator's)")
    yield where
    subprocess.run(["umount", str(where)], check=True)


def test_a_disk_that_is_really_full_leaves_nothing_of_a_backup(room: Room, small_disk: Path) -> None:
    for _ in range(20):
        room.sheet_ready()
    with reading(room.database) as session, pytest.raises(ValueError, match="full|No space") as refused:
        make_backup(session, small_disk / "copy.sqlite3", LONDON)
    assert list(small_disk.iterdir()) == [] and "Traceback" not in str(refused.value)


def test_a_second_place_that_is_really_full_costs_nothing_of_the_backup(
    room: Room, data: Path, small_disk: Path
) -> None:
    for _ in range(20):
        room.sheet_ready()
    # A real other disk, this one.
    assert named(room, small_disk, data) == "good"
    found = made(room, data)
    assert (found.second, found.path.exists()) == ("failed", True) and "No space left" in found.why
    assert on_record(room).state == "failed" and names(place(room, data).folder) == []
    assert not list(place(room, data).folder.glob("*.part"))


# -- kept -------------------------------------------------------------------------------------------------------
def test_what_is_no_longer_kept_goes_with_its_sum_in_both_places(room: Room, data: Path, elsewhere: Path) -> None:
    assert named(room, elsewhere, data) == "good"
    with transaction(room.database) as session:
        set_house_rule(session, "backup_keep_days", 2, "a small disk", room.now)
        set_house_rule(session, "backup_keep_weeks", 1, "a small disk", room.now)
    made_here = []
    for _ in range(5):
        made_here.append(made(room, data).path.name)
        room.wait(days=1)
    # Wednesday to Sunday: two days are Saturday and Sunday, and the last of the week is Sunday.
    for folder in (data / "backups", place(room, data).folder):
        assert names(folder) == made_here[3:]
        assert sorted(path.name for path in folder.glob("*.sha256")) == [f"{name}.sha256" for name in made_here[3:]]


def test_nothing_goes_while_there_is_no_new_one_or_it_is_asked_for_and_nothing_but_backups_ever(
    room: Room, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = made(room, data).path.name
    own = data / "backups" / "before-the-move.sqlite3"
    own.write_bytes(b"mine")
    room.wait(days=4000)
    with monkeypatch.context() as patched:
        patched.setattr(
            backup, "copy_whole", lambda *_: (_ for _ in ()).throw(sqlite3.OperationalError("disk I/O error"))
        )
        with pytest.raises(ValueError, match="disk I/O error"):
            made(room, data)
    assert names(data / "backups") == sorted([first, own.name])
    second = made(room, data, keep_all=True).path.name
    assert names(data / "backups") == sorted([first, second, own.name])
    room.wait(hours=1)
    third = made(room, data).path.name
    assert names(data / "backups") == sorted([second, third, own.name])


def test_what_was_left_over_of_a_backup_that_was_cut_short_goes_after_a_day(room: Room, data: Path) -> None:
    (data / "backups").mkdir()
    old = data / "backups" / f"{backup.backup_name(room.now - 2 * DAY)}.part"
    young = data / "backups" / f"{backup.backup_name(room.now - timedelta(hours=1))}.part"
    for path in (old, young):
        path.write_bytes(b"part")
    made(room, data)
    assert not old.exists() and young.exists()


# -- the second place -------------------------------------------------------------------------------------------
def test_every_backup_is_copied_to_the_second_place_and_read_there_again(
    room: Room, data: Path, elsewhere: Path
) -> None:
    assert named(room, f"  {elsewhere} ", data) == "good"
    found = made(room, data)
    there = place(room, data).folder / found.path.name
    assert found.second == "good" and there.read_bytes() == found.path.read_bytes() and fits_its_sum(there) is True
    assert there.parent.parent == elsewhere and there.stat().st_mode & 0o077 == 0
    kept = on_record(room)
    assert (kept.place, kept.state, kept.words) == (str(elsewhere), "good", "")


def test_a_copy_that_is_read_otherwise_than_it_was_written_is_none(
    room: Room, data: Path, elsewhere: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    named(room, elsewhere, data)

    def badly(source: Path, target: Path) -> None:
        data_ = bytearray(source.read_bytes())
        data_[100] ^= 1
        target.write_bytes(data_)

    monkeypatch.setattr(backup_places.shutil, "copyfile", badly)
    found = made(room, data)
    assert found.second == "failed" and "failing" in found.why and names(place(room, data).folder) == []
    monkeypatch.undo()


def test_the_same_disk_is_said_and_copied_to_all_the_same(room: Room, data: Path, tmp_path: Path) -> None:
    (tmp_path / "same").mkdir()
    assert named(room, tmp_path / "same", data) == "same-disk"
    found = made(room, data)
    assert found.second == "same-disk" and names(place(room, data).folder) == [found.path.name]


def test_a_disk_that_is_gone_leaves_a_folder_in_which_nothing_is_written(
    room: Room, data: Path, elsewhere: Path
) -> None:
    named(room, elsewhere, data)
    room_s = place(room, data).folder
    shutil.rmtree(room_s)
    assert state_of(place(room, data)) == "gone" and made(room, data).second == "gone"
    # What is mounted elsewhere leaves an empty folder, on the disk of the computer itself.
    room_s.mkdir()
    room.wait(hours=1)
    assert made(room, data).second == "gone" and list(room_s.iterdir()) == []
    assert on_record(room).state == "gone" and on_record(room).since == room.now - timedelta(hours=1)


def test_a_room_that_was_put_back_elsewhere_does_not_mix_its_backups_in(
    room: Room, data: Path, elsewhere: Path, tmp_path: Path
) -> None:
    named(room, elsewhere, data)
    moved = tmp_path / "moved"
    moved.mkdir()
    assert state_of(place(room, moved)) == "other"
    # Named again there, it is that room's.
    assert named(room, elsewhere, moved) == "good"
    assert state_of(place(room, moved)) == "good" and state_of(place(room, data)) == "other"
    assert json.loads((place(room, data).folder / MARKER).read_text())["of"].endswith(str(moved))


@pytest.mark.parametrize(
    ("where", "said"),
    [("backups", "whole path"), ("{data}", "own folder"), ("{data}/backups", "own folder"), ("/no/such/folder", "There is no folder"),
     ("/etc/hostname", "There is no folder"), ("/tmp/a\x07b", "whole path"), ("/proc/sys", "Nothing can be written")],
)  # fmt: skip
def test_a_place_that_is_none_is_refused_with_the_reason(room: Room, data: Path, where: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        named(room, where.format(data=data), data)
    assert on_record(room).place == ""


def test_a_place_is_given_up_by_naming_none_and_both_are_written_down(room: Room, data: Path, elsewhere: Path) -> None:
    named(room, elsewhere, data)
    assert named(room, "", data) == "none" and on_record(room).place == "" and on_record(room).state == "none"
    with room.database.engine.connect() as connection:
        rows = connection.execute(text("SELECT old, new FROM change WHERE what = 'second place' ORDER BY id")).all()
    assert rows == [(None, str(elsewhere)), (str(elsewhere), None)]
    with reading(room.database) as session:
        # The room's mark stays, so that it finds its own folder again.
        assert session.execute(select(Setting.value).where(Setting.name == "room-mark")).scalar()


def test_a_backup_of_another_kind_of_database_says_which_tools_make_it(
    room: Room, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(backup, "file_of", lambda _: None)
    with pytest.raises(ValueError, match="pg_dump"):
        made(room, data)


def test_the_copy_is_a_room_and_not_a_promise(room: Room, data: Path) -> None:
    number = room.sheet_ready()
    found = made(room, data)
    with closing(sqlite3.connect(found.path)) as connection:
        assert connection.execute("SELECT count(*) FROM sheet WHERE number = ?", (number,)).fetchone() == (1,)
