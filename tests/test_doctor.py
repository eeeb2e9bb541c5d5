"""The doctor: each thing that can be wrong is made wrong, and found by name with what is to be done."""

from __future__ import annotations

import shutil
import socket
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from sqlalchemy import text

from app import doctor
from app.cli import main
from app.db.engine import transaction
from app.services.backup import backup_failed
from app.services.backup_places import name_place
from app.services.heartbeat import beat
from tests.db.test_upgrades import REVISIONS, unpacked
from tests.room import Room
from tests.test_cli import served

pytestmark = pytest.mark.sqlite_only("it looks at the file of a room")

Said = dict[str, tuple[str, str]]


def looks(
    capsys: pytest.CaptureFixture[str], folder: Path, room: Room | None = None, *more: str, **later: float
) -> tuple[int, Said]:
    """What the doctor says of each thing, at the room's moment."""
    capsys.readouterr()
    options = [] if "--port" in more else ["--port", "0"]
    with freeze_time((room.now if room else "2026-11-25T09:00") if not later else room.now + timedelta(**later)):  # type: ignore[union-attr]
        status = main(["doctor", "--data", str(folder), *options, *more])
    out, _ = capsys.readouterr()
    lines = [line for line in out.splitlines() if ": " in line]
    return status, {line[12:].split(": ")[0]: (line[:10].strip(), line.split(": ", 1)[1]) for line in lines}


@pytest.fixture
def well(
    room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Iterator[Room]:
    """A room of which all is well: backed up, and copied to another disk."""
    monkeypatch.setenv("BLOTTER_ZONE", "Europe/London")
    tmp_path.chmod(0o700)
    room.sheet_ready()
    there = tmp_path.parent / f"{tmp_path.name}-there"
    there.mkdir()
    really = Path.stat

    def stat(path: Path, **more: Any) -> Any:
        found = really(path, **more)
        if there not in path.parents:
            return found
        import os

        return os.stat_result([*found[:2], found.st_dev + 1, *found[3:10]])

    monkeypatch.setattr(Path, "stat", stat)
    with transaction(room.database) as session:
        name_place(session, str(there), tmp_path, room.now, by=None)
        beat(session, room.now)
    with freeze_time(room.now):
        assert main(["backup", "--data", str(tmp_path)]) == 0
    yield room
    shutil.rmtree(there, ignore_errors=True)


def test_of_a_room_of_which_all_is_well_everything_is_good(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, said = looks(capsys, tmp_path, well)
    assert status == 0 and {mark for mark, _ in said.values()} == {"good"}, said
    assert set(said) == {"Python", "Folder", "Disk", "Time zone", "Database", "Guards", "Journal", "Log", "Clock", "Backup", "Newest copy",
                         "Second place", "Address"}  # fmt: skip


def _sql(*statements: str) -> Any:
    def do(room: Room, folder: Path) -> None:
        with closing(sqlite3.connect(folder / "blotter.sqlite3")) as connection, connection:
            for each in statements:
                connection.execute(each)

    return do


def _damaged(room: Room, folder: Path) -> None:
    room.database.engine.dispose()
    with closing(sqlite3.connect(folder / "blotter.sqlite3")) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray((folder / "blotter.sqlite3").read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = b"\xff" * 4096
    (folder / "blotter.sqlite3").write_bytes(data)


def _failed(room: Room, folder: Path) -> None:
    with transaction(room.database) as session:
        backup_failed(session, "The disk is full.")


def _newest_spoilt(room: Room, folder: Path) -> None:
    (path,) = (folder / "backups").glob("*.sqlite3")
    path.write_bytes(path.read_bytes()[:-1])


def _place_gone(room: Room, folder: Path) -> None:
    shutil.rmtree(folder.parent / f"{folder.name}-there")


WRONG = [
    ("Folder", "look at it", "chmod 700", lambda room, folder: folder.chmod(0o755)),
    ("Database", "bad", "damaged", _damaged),
    ("Guards", "bad", "guard_entry_update", _sql("DROP TRIGGER guard_entry_update")),
    ("Log", "bad", "blotter audit", _sql("UPDATE sheet SET stage = 'filed'")),
    ("Clock", "bad", "before the last entry", _sql("DROP TRIGGER guard_entry_update", "UPDATE entry SET recorded_at = '2027-01-01 09:00:00.000000'")),
    ("Clock", "look at it", "sign of life", _sql("UPDATE heartbeat SET beat_at = '2026-10-01 09:00:00.000000'")),
    ("Backup", "bad", "The disk is full.", _failed),
    ("Backup", "look at it", "None was made yet", _sql("DELETE FROM setting WHERE name = 'last-backup-at'")),
    ("Backup", "look at it", "differed", _sql("UPDATE setting SET value = '3' WHERE name = 'last-backup-differences'")),
    ("Newest copy", "bad", "not what its checksum says", _newest_spoilt),
    ("Second place", "bad", "out of reach", _place_gone),
    ("Second place", "look at it", "one disk only", _sql("DELETE FROM setting WHERE name = 'second-place'")),
    ("Second place", "bad", "could not be copied", _sql("UPDATE setting SET value = 'failed' WHERE name = 'second-place-state'")),
]  # fmt: skip


@pytest.mark.parametrize(("what", "mark", "words", "spoil"), WRONG, ids=[f"{each[0]}: {each[2]}" for each in WRONG])
def test_what_is_wrong_is_found_and_its_remedy_named(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], what: str, mark: str, words: str, spoil: Any
) -> None:
    spoil(well, tmp_path)
    status, said = looks(capsys, tmp_path, well)
    assert said[what][0] == mark and words in said[what][1], said
    assert status == (1 if "bad" in {found for found, _ in said.values()} else 0)


def test_an_old_backup_is_bad_and_says_how_old(well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, said = looks(capsys, tmp_path, well, hours=37)
    assert status == 1 and said["Backup"] == ("bad", "The last one was made 37 h ago. Make one: blotter backup")


def test_a_disk_that_is_nearly_full(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for free, mark in ((50_000_000, "bad"), (900_000_000, "look at it"), (50_000_000_000, "good")):
        usage = shutil.disk_usage(tmp_path)
        monkeypatch.setattr(doctor.shutil, "disk_usage", lambda _, free=free, usage=usage: usage._replace(free=free))
        assert looks(capsys, tmp_path, well)[1]["Disk"][0] == mark


def test_a_folder_on_a_network_share(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    mounts = f"/dev/sda1 / ext4 rw 0 0\nnas:/rooms {tmp_path.parent} nfs4 rw 0 0\nx {tmp_path}/deeper cifs rw 0 0\n"
    really = Path.read_text
    monkeypatch.setattr(
        Path, "read_text", lambda path, **more: mounts if str(path) == "/proc/self/mounts" else really(path, **more)
    )
    status, said = looks(capsys, tmp_path, well)
    assert status == 1 and said["Folder"][0] == "bad" and "network share (nfs4)" in said["Folder"][1]


def test_a_computer_that_names_no_zone(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("BLOTTER_ZONE")
    monkeypatch.setenv("TZ", "UTC")
    assert looks(capsys, tmp_path, well)[1]["Time zone"][0] == "look at it"


def test_an_older_room_an_empty_folder_and_what_is_no_room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert looks(capsys, tmp_path)[1]["Database"] == (
        "look at it",
        "There is no room here yet. Start it with: blotter serve",
    )
    unpacked(REVISIONS[0], tmp_path)
    status, said = looks(capsys, tmp_path)
    assert status == 1 and said["Database"][1].endswith("Run: blotter upgrade")
    (tmp_path / "blotter.sqlite3").write_bytes(b"minutes of the moss group\n" * 100)
    assert "something else" in looks(capsys, tmp_path)[1]["Database"][1]


def test_the_address_of_a_room_that_is_served_is_asked_and_a_port_that_is_taken_is_named(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    well.database.engine.dispose()
    with served("serve", "--data", str(tmp_path), "--port", "0") as there:
        there.get("/api/health")
        said = looks(capsys, tmp_path, well)[1]
        assert said["Address"] == ("good", f"Blotter answers at {there.address}/; open it in a browser.")
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        status, said = looks(capsys, tmp_path, well, "--port", port)
    assert status == 1 and said["Address"][0] == "bad" and f"Port {port}" in said["Address"][1]


def test_over_the_network_names_and_https_are_asked_for(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    said = looks(capsys, tmp_path, well, "--host", "0.0.0.0")[1]
    assert said["Names"][0] == said["Network"][0] == "look at it"
    monkeypatch.setenv("BLOTTER_HOSTS", "room.example")
    assert "Names" not in looks(capsys, tmp_path, well, "--host", "0.0.0.0")[1]


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl makes the certificate of this test")
def test_a_certificate_that_runs_out_is_named_in_time(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    command = [
        "openssl",
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-subj",
        "/CN=x",
        "-days",
        "30",
        "-keyout",
        str(key),
        "-out",
        str(path),
    ]
    subprocess.run(command, check=True, capture_output=True)
    capsys.readouterr()
    from app.clock import utc_now
    from app.doctor import _certificate

    now = utc_now()
    found = [_certificate(path, now + timedelta(days=days)) for days in (0, 10, 31)]
    assert [each.mark for each in found] == ["good", "look at it", "bad"]
    for file, words in ((key, "no certificate in PEM"), (tmp_path / "not-there.pem", "cannot be read")):
        assert words in _certificate(file, now).words
    said = looks(capsys, tmp_path, well, "--tls", str(path), str(key))[1]
    assert said["Certificate"][0] == "good"


def test_of_a_room_on_a_server_it_is_said_who_backs_it_up(
    well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.doctor_room.file_of", lambda _: None)
    status, said = looks(capsys, tmp_path, well)
    assert status == 0 and said["Backup"][0] == "look at it" and "pg_dump" in said["Backup"][1]
    assert "Newest copy" not in said and "Guards" not in said


def test_the_room_is_only_looked_at(well: Room, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with well.database.engine.connect() as connection:
        before = connection.execute(text("SELECT count(*), max(id) FROM change")).one()
    looks(capsys, tmp_path, well)
    with well.database.engine.connect() as connection:
        assert connection.execute(text("SELECT count(*), max(id) FROM change")).one() == before
