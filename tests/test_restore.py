"""A room is put back from a backup: proven before it takes the other's place, told what it missed, and whole at any moment."""

from __future__ import annotations

import errno
import gzip
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from sqlalchemy import select

from app import create_app, restoring
from app.cli import main
from app.config import HOME, Config
from app.db import swapping
from app.db.copies import sum_beside
from app.db.engine import Database, open_database, reading, sqlite_url, transaction
from app.db.models import NumberPattern, Token, Worker, table_of
from app.db.upgrade import newest_revision, revision_of
from app.queries.named_texts import named_texts
from app.services.backup_list import FILE_NAME, bring_list_up, read_list
from app.services.backup_places import name_place
from app.services.forgetting_names import replace_name
from app.services.people import holder_of, make_token, new_badge, retire_worker, revoke_token, set_password
from app.services.wanted import want
from tests.db.test_guarded import refuses_everything
from tests.db.test_upgrades import REVISIONS, rows_of
from tests.room import LONDON, WEDNESDAY, Room
from tests.services.days import differences
from tests.test_cli import refused, served
from tests.web.conftest import PASSWORD, sign_in, words

pytestmark = pytest.mark.sqlite_only("a room on a server is put back by the server's own tools")

LOG = ("entry", "entry_worker", "scan")
posix = pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX")


def backed_up(room: Room, folder: Path) -> Path:
    """A backup as the command makes it, at the room's moment."""
    with freeze_time(room.now):
        assert main(["backup", "--data", str(folder)]) == 0
    return max((folder / "backups").glob("*.sqlite3"))


def restores(
    capsys: pytest.CaptureFixture[str], folder: Path, backup: Path, *more: str, at: Any = None
) -> tuple[int, str, str]:
    capsys.readouterr()
    with freeze_time(at or WEDNESDAY + timedelta(days=90), tick=True):
        status = main(["restore", str(backup), "--data", str(folder), *more])
    out, wrong = capsys.readouterr()
    return status, out, wrong


def opened(folder: Path) -> Database:
    return open_database(sqlite_url(folder / "blotter.sqlite3"))


def room_again(room: Room, folder: Path) -> Room:
    """The room of this folder again, whatever database lies there by now."""
    room.database.engine.dispose()
    room.database = opened(folder)
    return room


def kept_of(folder: Path) -> list[Path]:
    return sorted(folder.glob("blotter-before-restore-*.sqlite3"))


# -- put back ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("packed", REVISIONS, ids=lambda path: path.name.split(".")[0])
def test_a_room_of_every_released_revision_is_put_back_whole_in_an_empty_folder(
    packed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup = tmp_path / "carried" / "room.sqlite3"
    backup.parent.mkdir()
    backup.write_bytes(gzip.decompress(packed.read_bytes()))
    before, was = backup.read_bytes(), rows_of(backup)
    folder = tmp_path / "new"
    status, out, wrong = restores(capsys, folder, backup, "--yes")
    assert status == 0, wrong
    sheets, entries = len(was["sheet"]), len(was["entry"])
    assert f"Put back: {sheets} sheets and {entries} entries" in out and "the audit finds no difference" in out
    room = folder / "blotter.sqlite3"
    assert revision_of(sqlite_url(room)) == newest_revision()
    assert {name: rows_of(room)[name] for name in LOG} == {name: was[name] for name in LOG}
    database = opened(folder)
    assert differences(database) == []
    refuses_everything(database)
    database.engine.dispose()
    # The backup is as it was, and nothing was laid beside it.
    assert backup.read_bytes() == before and list(backup.parent.iterdir()) == [backup]
    assert not kept_of(folder) and not list(folder.glob("*.restoring*"))


def test_the_room_as_it_was_is_kept_beside_and_the_restore_is_written_down(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = room.sheet_ready()
    backup = backed_up(room, tmp_path)
    room.wait(hours=1)
    second = room.sheet_ready()
    room.database.engine.dispose()
    status, out, _ = restores(capsys, tmp_path, backup, "--yes")
    assert status == 0
    (kept,) = kept_of(tmp_path)
    assert f"The room as it was lies in {kept}." in out
    for path, numbers in ((tmp_path / "blotter.sqlite3", {first}), (kept, {first, second})):
        with closing(sqlite3.connect(path)) as connection:
            assert {row[0] for row in connection.execute("SELECT number FROM sheet")} == numbers
    with closing(sqlite3.connect(tmp_path / "blotter.sqlite3")) as connection:
        rows = connection.execute("SELECT changed_by, old, new, why FROM change WHERE what = 'restored'").fetchall()
        entries = connection.execute("SELECT count(*) FROM entry").fetchone()[0]
        known = connection.execute("SELECT value FROM setting WHERE name = 'last-backup-at'").fetchone()
    assert rows == [(None, backup.name, str(entries), "from the console")]
    # The backup does not know of itself, but the room that was put back from it does.
    assert known == (WEDNESDAY.isoformat(),)
    assert [each.what for each in read_list(tmp_path / "backups" / FILE_NAME)][-1] == "restored"


def test_work_goes_on_in_a_room_that_was_put_back(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    number = room.sheet_ready()
    backup = backed_up(room, tmp_path)
    room.wait(hours=1)
    room.database.engine.dispose()
    assert restores(capsys, tmp_path, backup, "--yes", at=room.now)[0] == 0
    room_again(room, tmp_path)
    room.wait(hours=1)
    # Everybody is signed out; a badge that nobody took away signs in again.
    assert room.scans(number, "table-1").refusals[0]["code"] == "not-signed-in"
    assert room.scans(room.code("badge", "olwen"), "table-1").word == "Hello, Olwen."
    assert room.scans(number, "table-1").kind == "done" and differences(room.database) == []


# -- what was taken away since ----------------------------------------------------------------------------------
@pytest.fixture
def missed(room: Room, tmp_path: Path) -> tuple[Room, Path, dict[str, str]]:
    """A room with a backup, after which a badge, a key and a password were taken away, and Piet's name is gone."""
    number = room.sheet_mounted("table-2")
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], PASSWORD, room.now)
        secrets = {"key": make_token(session, "read", "the wall", room.now, days=4000), "number": number}
        want(session, room.row(number)["id"], "for Piet Lindqvist's talk", room.now, by=room.worker["ines"])
    secrets["badge"] = room.code("badge", "olwen")
    room.wait(minutes=1)
    backup = backed_up(room, tmp_path)
    room.wait(days=1)
    hedda, piet = room.worker["hedda"], room.worker["piet"]
    with transaction(room.database) as session:
        new_badge(session, room.worker["olwen"], room.now, by=hedda)
        revoke_token(session, 1, room.now, by=hedda)
        set_password(session, hedda, "quite-another-password", room.now)
        retire_worker(session, piet, room.now, by=hedda)
        replace_name(session, piet, room.now, hedda, named_texts(session, piet))
    secrets["new badge"] = room.code("badge", "olwen")
    with reading(room.database) as session:
        bring_list_up(session, tmp_path / "backups")
    room.database.engine.dispose()
    return room, backup, secrets


def test_what_was_taken_away_since_the_backup_is_taken_away_again(
    missed: tuple[Room, Path, dict[str, str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    room, backup, secrets = missed
    room.wait(hours=1)
    status, out, wrong = restores(capsys, tmp_path, backup, "--yes", at=room.now)
    assert status == 0, wrong
    assert "Taken away once more: 1 badge, 1 key, 1 worker who left, 1 name, 1 password." in out
    assert "No manager has a password any more" in out
    room_again(room, tmp_path)
    # The badge opens no door, neither the old one nor one that this room never knew.
    for badge in (secrets["badge"], secrets["new badge"]):
        assert room.scans(badge, "table-1").refusals, badge
    with reading(room.database) as session:
        assert holder_of(session, secrets["key"], room.now) is None
        hedda, piet = (
            session.execute(select(Worker).where(Worker.id == room.worker[who])).scalar_one()
            for who in ("hedda", "piet")
        )
        assert hedda.password_hash is None
        assert (piet.name, piet.badge_code, piet.retired_at is not None) == ("W03", None, True)
    # A name is gone from the sheet's log and from what was written of it, too.
    everything = "\n".join(str(rows) for rows in rows_of(tmp_path / "blotter.sqlite3").values())
    assert "Lindqvist" not in everything and "for W03's talk" in everything
    assert differences(room.database) == []
    refuses_everything(room.database)


def test_a_list_in_the_second_place_alone_is_enough_and_a_lost_one_takes_nothing(
    missed: tuple[Room, Path, dict[str, str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    room, backup, secrets = missed
    # The computer was stolen: what is left is the backup, and the list beside it.
    carried = tmp_path / "carried"
    carried.mkdir()
    for path in (backup, tmp_path / "backups" / FILE_NAME, sum_beside(backup)):
        shutil.copy(path, carried)
    assert "1 name" in restores(capsys, tmp_path / "new", carried / backup.name, "--yes", at=room.now)[1]
    (carried / FILE_NAME).unlink()
    status, out, _ = restores(capsys, tmp_path / "newer", carried / backup.name, "--yes", at=room.now)
    assert status == 0 and "Nothing had been taken away since." in out


def test_the_list_of_the_second_place_that_the_backup_names_is_read_too(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "other").mkdir()
    with transaction(room.database) as session:
        name_place(session, str(tmp_path / "other"), tmp_path / "room", room.now, by=None)
    (tmp_path / "room").mkdir()
    room.database.engine.dispose()
    (tmp_path / "blotter.sqlite3").rename(tmp_path / "room" / "blotter.sqlite3")
    room_again(room, tmp_path / "room")
    backup = backed_up(room, tmp_path / "room")
    room.wait(hours=1)
    with transaction(room.database) as session:
        new_badge(session, room.worker["olwen"], room.now, by=None)
    with reading(room.database) as session:
        assert bring_list_up(session, tmp_path / "room" / "backups") == 2
    room.database.engine.dispose()
    (tmp_path / "room" / "backups" / FILE_NAME).unlink()
    assert "1 badge" in restores(capsys, tmp_path / "room", backup, "--yes", at=room.now)[1]


def test_every_browser_is_signed_out_by_it(room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = tmp_path / "data"
    config = Config(data, "sqlite://", LONDON, "a key for the tests only")
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], PASSWORD, room.now)
    browser = create_app(config, clock=lambda: room.now, database=room.database).test_client()
    sign_in(browser, room, "hedda")
    assert browser.get("/room").status_code == 200
    cookie = browser.get_cookie("blotter")
    backup = backed_up(room, tmp_path)
    room.wait(hours=1)
    room.database.engine.dispose()
    assert restores(capsys, tmp_path, backup, "--yes", at=room.now)[0] == 0
    room_again(room, tmp_path)
    again = create_app(config, clock=lambda: room.now, database=room.database).test_client()
    assert cookie is not None
    again.set_cookie("blotter", cookie.value)
    assert again.get("/room").status_code == 302
    # With the password, which nobody changed since, she signs in anew.
    sign_in(again, room, "hedda")
    assert "from the console" in words(again.get("/room"))


def test_numbers_that_are_on_slips_by_now_are_not_given_to_other_plants(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup = backed_up(room, tmp_path)
    with transaction(room.database) as session:
        session.execute(table_of(NumberPattern).update().values(minted=250))
    room.database.engine.dispose()
    _, out, _ = restores(capsys, tmp_path, backup, "--yes")
    assert "250 sheet numbers given out since are passed over" in out
    with closing(sqlite3.connect(tmp_path / "blotter.sqlite3")) as connection:
        assert connection.execute("SELECT minted FROM number_pattern").fetchall() == [(250,)]


# -- asked ------------------------------------------------------------------------------------------------------
class Typed:
    """Somebody sits there and types."""

    def __init__(self, text: str) -> None:
        self.text = text

    def isatty(self) -> bool:
        return True

    def readline(self, *_: object) -> str:
        return f"{self.text}\n"


@pytest.mark.parametrize(("typed", "status"), [("{folder}", 0), (" {folder} ", 0), ("yes", 1), ("", 1)])
def test_it_asks_by_the_name_of_the_room_s_folder_and_says_first_what_would_be_missing(
    room: Room,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    typed: str,
    status: int,
) -> None:
    room.sheet_ready()
    backup = backed_up(room, tmp_path)
    room.wait(hours=1)
    second = room.sheet_ready()
    room.database.engine.dispose()
    monkeypatch.setattr(sys, "stdin", Typed(typed.format(folder=tmp_path.name)))
    found, out, wrong = restores(capsys, tmp_path, backup)
    assert found == status and "The backup holds 1 sheet and " in out and "The room now holds 2 sheets and " in out
    with closing(sqlite3.connect(tmp_path / "blotter.sqlite3")) as connection:
        count = connection.execute("SELECT count(*) FROM sheet WHERE number = ?", (second,)).fetchone()[0]
    assert count == status and ("Nothing was changed." in wrong) == bool(status)


def test_where_nobody_can_be_asked_nothing_is_done(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup = backed_up(room, tmp_path)
    room.database.engine.dispose()
    before = rows_of(tmp_path / "blotter.sqlite3")
    status, _, wrong = restores(capsys, tmp_path, backup)
    assert (
        status == 1 and "--yes" in wrong and rows_of(tmp_path / "blotter.sqlite3") == before and not kept_of(tmp_path)
    )


def test_while_the_room_is_served_it_is_refused_and_afterwards_it_is_not(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup = backed_up(room, tmp_path)
    room.database.engine.dispose()
    with served("serve", "--data", str(tmp_path), "--port", "0") as there:
        there.get("/api/health")
        status, _, wrong = restores(capsys, tmp_path, backup, "--yes")
        assert status == 1 and "Stop it first" in wrong
    assert restores(capsys, tmp_path, backup, "--yes")[0] == 0


# -- refused ----------------------------------------------------------------------------------------------------
def spoil(kind: str, backup: Path, tmp_path: Path) -> Path:
    """The backup as something happened to it."""
    data = bytearray(backup.read_bytes())
    if kind.startswith("cut"):
        data = data[: int(len(data) * float(kind.split()[1]))]
    elif kind.startswith("wrong"):
        data[int(len(data) * float(kind.split()[1]))] ^= 0x10
    backup.write_bytes(data)
    if kind.endswith("no sum"):
        sum_beside(backup).unlink()
    return backup


SPOILT = [
    "cut 0 no sum",
    "cut 0.4",
    "cut 0.4 no sum",
    "cut 0.98 no sum",
    "wrong 0.001",
    "wrong 0.3",
    "wrong 0.5",
    "wrong 0.9",
]


@pytest.mark.parametrize("kind", SPOILT)
def test_a_backup_that_was_cut_short_or_has_a_wrong_byte_is_refused_and_the_room_stays(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], kind: str
) -> None:
    for _ in range(3):
        room.sheet_ready()
    backup = spoil(kind, backed_up(room, tmp_path), tmp_path)
    room.wait(hours=1)
    room.sheet_ready()
    room.database.engine.dispose()
    before = rows_of(tmp_path / "blotter.sqlite3")
    status, _, wrong = restores(capsys, tmp_path, backup, "--yes")
    assert status == 1 and "othing was changed" in wrong and "Traceback" not in wrong and wrong.count("\n") == 1, wrong
    assert str(backup) in wrong
    assert rows_of(tmp_path / "blotter.sqlite3") == before
    assert not kept_of(tmp_path) and not list(tmp_path.glob("*.restoring*")) and not list(tmp_path.glob("*.swap*"))


def test_what_is_no_backup_of_a_room_is_refused(room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    backup = backed_up(room, tmp_path)
    sum_beside(backup).unlink()
    room.database.engine.dispose()
    other = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(other)) as connection, connection:
        connection.execute("CREATE TABLE recipe (name TEXT)")
    (tmp_path / "notes.txt").write_text("minutes of the moss group\n" * 400)
    newer = Path(shutil.copy(backup, tmp_path / "newer.sqlite3"))
    with closing(sqlite3.connect(newer)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    unguarded = Path(shutil.copy(backup, tmp_path / "unguarded.sqlite3"))
    with closing(sqlite3.connect(unguarded)) as connection, connection:
        connection.execute("DROP TRIGGER guard_entry_update")
    for path, said in ((other, "no backup of a room"), (tmp_path / "notes.txt", "no backup of a room"), (newer, "newer Blotter"),
                       (unguarded, "guard_entry_update"), (tmp_path / "not-there.sqlite3", "cannot be read"), (tmp_path, "cannot be read"),
                       (tmp_path / "blotter.sqlite3", "own database")):  # fmt: skip
        status, _, wrong = restores(capsys, tmp_path, path, "--yes")
        assert status == 1 and said in wrong and "Traceback" not in wrong, (path, wrong)
    assert not kept_of(tmp_path)


def test_a_backup_whose_log_and_room_differ_is_put_back_only_when_that_is_asked_for(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    number = room.sheet_ready()
    with closing(sqlite3.connect(tmp_path / "blotter.sqlite3")) as connection, connection:
        connection.execute("UPDATE sheet SET stage = 'filed' WHERE number = ?", (number,))
    backup = backed_up(room, tmp_path)
    room.database.engine.dispose()
    status, _, wrong = restores(capsys, tmp_path, backup, "--yes")
    assert status == 1 and re.search(r"differ in \d+ places?, so nothing was changed", wrong) and "--differing" in wrong
    assert not kept_of(tmp_path)
    status, out, _ = restores(capsys, tmp_path, backup, "--yes", "--differing")
    assert status == 0 and "as was asked for" in out


# -- in the middle ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("where", ["copy_whole", "upgrade", "apply_again", "end_sessions", "_proved", "put_in_place"])
def test_a_failure_at_any_point_leaves_the_room_as_it_was(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, where: str, room: Room
) -> None:
    backup = tmp_path / "old.sqlite3"
    backup.write_bytes(gzip.decompress(REVISIONS[-1].read_bytes()))
    room.sheet_ready()
    room.database.engine.dispose()
    before = rows_of(tmp_path / "blotter.sqlite3")

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(restoring, where, full)
    status, _, wrong = restores(capsys, tmp_path, backup, "--yes")
    assert status == 1 and "No space left on device. Nothing was changed." in wrong
    assert rows_of(tmp_path / "blotter.sqlite3") == before
    assert not kept_of(tmp_path) and not list(tmp_path.glob("*.restoring*"))


def test_a_disk_that_fills_up_before_the_last_step_leaves_the_room_as_it_was(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    backup = backed_up(room, tmp_path)
    room.wait(hours=1)
    room.sheet_ready()
    room.database.engine.dispose()
    before = rows_of(tmp_path / "blotter.sqlite3")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(swapping, "_write_whole", full)
    status, _, wrong = restores(capsys, tmp_path, backup, "--yes")
    assert (
        status == 1
        and "No space left on device. Nothing was changed." in wrong
        and rows_of(tmp_path / "blotter.sqlite3") == before
    )


KILLED = """
import os, signal, sys
from pathlib import Path
from app.cli import main
done = []
def watched(deed):
    def act(*args, **more):
        done.append(f"{deed.__name__} {args[0]}")
        if len(done) == int(sys.argv[1]):
            os.kill(os.getpid(), signal.SIGKILL)
        return deed(*args, **more)
    return act
os.fsync, os.replace, Path.unlink = watched(os.fsync), watched(os.replace), watched(Path.unlink)
status = main(["restore", sys.argv[3], "--yes", "--data", sys.argv[2]])
print("\\n".join(done), file=sys.stderr)
sys.exit(status)
"""


@posix
def test_killed_anywhere_in_the_middle_the_room_is_the_old_one_or_the_new_one(room: Room, tmp_path: Path) -> None:
    number = room.sheet_ready()
    backup = backed_up(room, tmp_path)
    room.wait(hours=1)
    second = room.sheet_ready()
    # Not closed in order: the last scans wait beside it.
    as_it_lies = {name: (tmp_path / name).read_bytes() for name in ("blotter.sqlite3", "blotter.sqlite3-wal")}
    room.database.engine.dispose()

    def killed_at(step: int) -> tuple[Path, int, list[str]]:
        folder = tmp_path / f"killed-{step}"
        folder.mkdir()
        for name, data in as_it_lies.items():
            (folder / name).write_bytes(data)
        command = [sys.executable, "-c", KILLED, str(step), str(folder), str(backup)]
        done = subprocess.run(command, cwd=HOME, capture_output=True, text=True)
        return folder, done.returncode, done.stderr.splitlines()

    _, status, steps = killed_at(10_000)
    assert status == 0
    # The step with which it is written down what is to be done: before it the old one stays, after it the new one comes.
    written = next(
        place for place, step in enumerate(steps, 1) if step.endswith(".swap.part") and step.startswith("replace")
    )
    # Every step of the swap itself is cut short in tests/db/test_swapping.py; here in a program that is really killed.
    for step, found in (
        (written // 2, {number, second}),
        (written, {number, second}),
        (written + 2, {number}),
        (written + 4, {number}),
    ):
        folder, status, _ = killed_at(step)
        assert status == -signal.SIGKILL
        # The next command, whichever it is, finishes what was begun; the audit is content with either.
        assert main(["audit", "--data", str(folder)]) == 0
        with closing(sqlite3.connect(folder / "blotter.sqlite3")) as connection:
            assert {row[0] for row in connection.execute("SELECT number FROM sheet")} == found, step
        assert len(kept_of(folder)) == (len(found) == 1)


def test_a_room_that_is_damaged_is_put_back_and_what_is_left_of_it_is_kept(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    number = room.sheet_ready()
    backup = backed_up(room, tmp_path)
    room.database.engine.dispose()
    path = tmp_path / "blotter.sqlite3"
    path.write_bytes(path.read_bytes()[:50_000])
    left = path.read_bytes()
    capsys.readouterr()
    assert "database is damaged" in refused(capsys, "audit", "--data", str(tmp_path))
    status, out, wrong = restores(capsys, tmp_path, backup, "--yes")
    assert status == 0, wrong
    (kept,) = kept_of(tmp_path)
    assert kept.read_bytes() == left and "1 sheet and" in out
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT number FROM sheet").fetchall() == [(number,)]


def test_people_who_practised_begin_anew(room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    backup = backed_up(room, tmp_path)
    room.database.engine.dispose()
    for ending in ("", "-wal"):
        (tmp_path / f"practice.sqlite3{ending}").write_bytes(b"Piet Lindqvist practised here")
    assert restores(capsys, tmp_path, backup, "--yes")[0] == 0
    assert not list(tmp_path.glob("practice*"))


def test_a_room_on_a_server_is_put_back_by_the_server_s_own_tools(
    room: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    backup = backed_up(room, tmp_path)
    monkeypatch.setattr(restoring, "file_of", lambda _: None)
    status, _, wrong = restores(capsys, tmp_path, backup, "--yes")
    assert status == 1 and "pg_restore" in wrong
    with reading(room.database) as session:
        assert session.execute(select(Token.id)).first() is None
