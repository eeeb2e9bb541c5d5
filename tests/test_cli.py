"""The command line as a person meets it: what each command does, and the one sentence with which it refuses."""

from __future__ import annotations

import http.cookiejar
import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from sqlalchemy import create_engine, text

from app.cli import COMMANDS, main
from app.db.engine import Database, reading, transaction
from app.db.upgrade import newest_revision, revision_of
from app.domain.house import House
from app.services import people
from app.services import room as furnishing
from app.services.heartbeat import beat, clock_is_strange
from tests.queries.looking import label
from tests.room import WEDNESDAY, Room

HOME = Path(__file__).resolve().parent.parent
HOUSE = House()


class Served:
    """A room that is being served by a process of its own."""

    def __init__(self, process: subprocess.Popen[str], said: list[str]) -> None:
        self.process, self.said = process, said
        found = re.search(r"https?://\S+/", "\n".join(said))
        assert found, said
        self.address = found.group().removesuffix("/")
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))

    def get(self, path: str, key: str = "") -> Any:
        headers = {"Authorization": f"Bearer {key}"} if key else {}
        with self.opener.open(urllib.request.Request(self.address + path, headers=headers), timeout=20) as answer:
            return answer.read().decode()

    def post(self, path: str, **fields: str) -> str:
        page = self.get(path)
        token = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', page)
        assert token, page
        data = urllib.parse.urlencode({**fields, "csrf_token": token.group(1)}).encode()
        with self.opener.open(self.address + path, data, timeout=20) as answer:
            return str(answer.read().decode())


@contextmanager
def served(*arguments: str, until: str = "Ctrl") -> Iterator[Served]:
    """Start a room, wait until its window says that it is open, and stop it at the end; it must stop in order."""
    command = [sys.executable, "-m", "app", *arguments]
    process = subprocess.Popen(command, cwd=HOME, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None and process.stderr is not None
    said: list[str] = []
    while not any(until in line for line in said):
        line = process.stdout.readline()
        if not line:
            pytest.fail(f"It stopped: {process.wait(10)} {said} {process.stderr.read()}")
        said.append(line.rstrip())
    try:
        yield Served(process, said)
    finally:
        process.send_signal(signal.SIGTERM)
        _, wrong = process.communicate(timeout=30)
    assert process.returncode == 0 and "Traceback" not in wrong, wrong


def runs(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    """Run a command at the moment of the tests' room; its status and what it said."""
    with freeze_time(WEDNESDAY + timedelta(hours=1), tick=True):
        status = main(argv)
    out, wrong = capsys.readouterr()
    return status, out, wrong


def refused(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    """Run a command that must be refused: status 1 and one plain sentence, or two, on standard error."""
    status, _, wrong = runs(capsys, *argv)
    assert status == 1 and wrong.endswith("\n") and "Traceback" not in wrong and wrong[0].isupper(), (status, wrong)
    return wrong


@pytest.fixture
def folder(room: Room, tmp_path: Path) -> str:
    with transaction(room.database) as session:
        furnishing.add_consignment(session, "QF-26", "Quillmoor Fells 2026")
    return str(tmp_path)


def parcel(room: Room, path: Path, *more: str) -> str:
    lines = [f"{room.new_number()},Drosera rotundifolia L.,M. Fenwick" for _ in range(3)]
    path.write_text("\n".join(["catalogNumber,scientificName,recordedBy", *lines, *more]) + "\n", encoding="utf-8")
    return str(path)


# -- use --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_every_command_has_help_and_the_room_s_folder(capsys: pytest.CaptureFixture[str], command: str) -> None:
    with pytest.raises(SystemExit) as ended:
        main([*filter(None, [command]), "--help"])
    said = capsys.readouterr().out
    assert ended.value.code == 0 and "usage: blotter" in said
    assert "--data DIR" in said or not command


def test_the_commands_are_those_that_are_written_down() -> None:
    assert set(COMMANDS) == {"demo", "serve", "upgrade", "token", "import", "export", "report", "slips", "backup", "restore", "doctor",
                             "service", "move-to", "audit"}  # fmt: skip


@pytest.mark.parametrize(
    "argv",
    [[], ["bake"], ["serve", "--port", "65536"], ["serve", "--port", "x"], ["serve", "--tls", "only-one"], ["token"],
     ["token", "--manager", "--read"], ["token", "--read", "--days", "0"], ["token", "--read", "--days", "3651"], ["import"],
     ["import", "list.csv"], ["audit", "--fast"], ["slips", "--kind", "posters", "x.html"], ["slips", "--kind", "cards"]],
    ids=" ".join,
)  # fmt: skip
def test_wrong_use_is_status_2_with_the_usage(capsys: pytest.CaptureFixture[str], argv: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(argv)
    assert ended.value.code == 2 and "usage: blotter" in capsys.readouterr().err


# -- slips ------------------------------------------------------------------------------------------------------
def test_slips_are_written_for_all_that_waits_or_for_one_consignment(
    room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, other, file = room.sheet_ready(), room.sheet_ready(), tmp_path / "slips.html"
    label(room, one, plant="Drosera anglica", consignment="Quillmoor Fells 2026", locality="the third gully")
    status, out, _ = runs(capsys, "slips", "--data", folder, "--kind", "slips", str(file))
    written = file.read_text(encoding="utf-8")
    assert status == 0 and out == f"Written to {file}.\n" and "<title>Travelling slips, A4</title>" in written
    assert "Drosera anglica" in written and "gully" not in written and written.count('class="printed-number"') == 2
    status, _, _ = runs(capsys, "slips", "--data", folder, "--kind", "slips", "--consignment", "QF-26", "--paper", "letter",
                        "--code", "128", str(file))  # fmt: skip
    written = file.read_text(encoding="utf-8")
    assert status == 0 and written.count('class="printed-number"') == 1 and "printed-as-128" in written
    assert other[3:9] not in written and not re.search(r"(src|href)=|url\((?!.data:)", written)


def test_slips_that_cannot_be_written_are_refused_and_no_file_is_left(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "slips.html"
    assert "nothing of this kind to print" in refused(capsys, "slips", "--data", folder, "--kind", "slips", str(file))
    asked = ("slips", "--data", folder, "--kind", "slips", "--consignment", "NOWHERE", str(file))
    assert "no consignment called NOWHERE" in refused(capsys, *asked)
    assert not file.exists()
    assert "cannot be written" in refused(
        capsys, "slips", "--data", folder, "--kind", "cards", str(tmp_path / "no" / "x.html")
    )


# -- a first day ------------------------------------------------------------------------------------------------
def test_an_empty_folder_is_served_gets_its_first_manager_a_key_and_its_sheets(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "room"
    with served("serve", "--data", str(folder), "--port", "0", until="code:") as room:
        code = re.search(r"type this code: ([A-Z2-9-]+)", "\n".join(room.said))
        assert code and "127.0.0.1" in room.address and "It listens" not in "\n".join(room.said)
        assert json.loads(room.get("/api/health")) == {"ok": True}
        room.post(
            "/first", code=code.group(1), name="Hedda Brackwater", password="paste-and-paper", again="paste-and-paper"
        )
        key = _said_by(capsys, "token", "--manager", "--data", str(folder)).splitlines()[-1]
        assert json.loads(room.get("/api/board", key))["stages"][0]["count"] == 0
        told = json.loads(room.get("/api/health", key))
        assert told["database"] == "sqlite" and told["clock"]["doubtful"] is False
    assert "Nothing is to be done" in _said_by(capsys, "upgrade", "--data", str(folder))
    assert "agree" in _said_by(capsys, "audit", "--data", str(folder))
    with served("serve", "--data", str(folder), "--port", "0") as room:
        assert "code:" not in "\n".join(room.said)
        assert json.loads(room.get("/api/sheets", key)) == {"sheets": [], "next": None}


def _said_by(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    status = main(argv)
    out, wrong = capsys.readouterr()
    assert status == 0, wrong
    return out


# -- keys -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("asked", "scope"),
    [
        (["--manager"], "manage"),
        (["--read"], "read"),
        (["--station", "press"], "scan"),
        (["--station", "Press"], "scan"),
    ],
)
def test_a_key_is_shown_once_and_opens_for_as_long_as_it_says(
    room: Room, folder: str, capsys: pytest.CaptureFixture[str], asked: list[str], scope: str
) -> None:
    status, out, _ = runs(capsys, "token", *asked, "--days", "2", "--name", "the barrow", "--data", folder)
    assert status == 0 and "the barrow" in out and "2 days" in out
    made, key = WEDNESDAY + timedelta(hours=1), out.splitlines()[-1]
    with reading(room.database) as session:
        holder = people.holder_of(session, key, made + timedelta(days=2, seconds=-1))
        assert holder is not None and holder.scope == scope
        assert holder.worker_id == (room.worker["hedda"] if scope == "manage" else None)
        assert holder.station_id == (room.station["press"] if scope == "scan" else None)
        assert people.holder_of(session, key, made + timedelta(days=2, minutes=1)) is None


def test_a_key_for_a_station_that_is_not_there_is_refused(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert "no station called oven" in refused(capsys, "token", "--station", "oven", "--data", folder)


def test_where_there_are_several_managers_it_is_asked_in_whose_name(
    room: Room, folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with transaction(room.database) as session:
        people.add_worker(session, "Bram Oakley", ("manager",), room.now)
    assert "W01, W06" in refused(capsys, "token", "--manager", "--data", folder)
    assert "no manager W02" in refused(capsys, "token", "--manager", "--by", "W02", "--data", folder)
    assert runs(capsys, "token", "--manager", "--by", "W06", "--data", folder)[0] == 0


# -- import -----------------------------------------------------------------------------------------------------
def test_a_list_is_first_looked_at_then_taken_in_and_twice_changes_nothing(
    room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ("import", parcel(room, tmp_path / "list.csv"), "--consignment", "QF-26", "--data", folder)
    assert runs(capsys, *command, "--dry-run")[:2] == (0, "3 new, 0 already here. Nothing is written yet.\n")
    assert _sheets(room.database) == 0
    assert runs(capsys, *command)[:2] == (0, "3 new, 0 already here.\n")
    assert runs(capsys, *command)[:2] == (0, "0 new, 3 already here.\n")
    assert _sheets(room.database) == 3


def test_every_bad_row_is_told_with_line_column_and_reason_and_nothing_is_taken_in(
    room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = parcel(room, tmp_path / "list.csv", "TQX1,Nardus stricta L.,x", f"{room.new_number()},one cell too few")
    for dry in ([], ["--dry-run"]):
        wrong = refused(capsys, "import", file, "--consignment", "QF-26", "--data", folder, *dry)
        assert re.search(r"^Line 5, catalogNumber: .+$", wrong, re.M) and re.search(
            r"^Line 6, recordedBy: .+$", wrong, re.M
        )
        assert wrong.splitlines()[-1].startswith("Nothing is imported: 0 new")
    assert _sheets(room.database) == 0


def test_a_list_that_cannot_be_read_is_refused_in_a_sentence(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for file in (tmp_path / "not-there.csv", tmp_path):
        assert "cannot be read" in refused(capsys, "import", str(file), "--consignment", "QF-26", "--data", folder)
    (tmp_path / "list.csv").write_bytes(b"\x89PNG\r\n\x1a\n\xff")
    assert "UTF-8" in refused(capsys, "import", str(tmp_path / "list.csv"), "--consignment", "QF-26", "--data", folder)
    assert "QF-99" in refused(capsys, "import", str(tmp_path / "list.csv"), "--consignment", "QF-99", "--data", folder)


def _sheets(database: Database) -> int:
    with reading(database) as session:
        return int(session.execute(text("SELECT count(*) FROM sheet")).scalar_one())


# -- audit ------------------------------------------------------------------------------------------------------
def test_the_audit_is_content_with_a_room_that_was_worked_in(
    room: Room, folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    room.weights("off", "P1")
    room.sheet_in("P1")
    assert runs(capsys, "audit", "--data", folder)[:2] == (0, "The log and the room agree.\n")


def test_the_audit_names_what_somebody_changed_behind_the_log_s_back(
    room: Room, folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    number = room.sheet_ready()
    with room.database.engine.begin() as connection:
        connection.execute(text("UPDATE sheet SET stage = 'filed' WHERE number = :number"), {"number": number})
    status, out, wrong = runs(capsys, "audit", "--data", folder)
    assert (
        status == 1
        and number in out
        and "filed" in out
        and re.match(r"The log and the room differ in \d+ place", wrong)
    )


def test_what_is_called_in_question_stands_apart_and_is_no_difference(
    room: Room, folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    room.weights("off", "P1")
    number = room.sheet_in("P1")
    room.weights("on", "P1")
    room.wait(hours=24)
    off_at = room.now - timedelta(hours=2)
    room.weights("off", "P1")
    room.wait(seconds=30)
    assert room.takes_out(number).kind == "done"
    room.wait(hours=1)
    assert room.scans(room.code("off", "P1"), "press", who="hedda", happened_at=off_at, manages=True).kind == "done"
    with freeze_time(room.now, tick=True):
        status = main(["audit", "--data", folder])
    out = capsys.readouterr().out
    assert status == 0 and "Called in question, no difference: 1." in out and number in out and "agree" in out


# -- the database -----------------------------------------------------------------------------------------------
COMMANDS_ON_A_ROOM = (
    ["audit"],
    ["token", "--read"],
    ["serve", "--port", "0"],
    ["upgrade"],
    ["import", __file__, "--consignment", "X"],
)


@pytest.mark.parametrize("argv", COMMANDS_ON_A_ROOM, ids=lambda argv: argv[0])
def test_a_newer_database_is_refused_and_left_as_it_is(
    room: Room, folder: str, capsys: pytest.CaptureFixture[str], argv: list[str]
) -> None:
    _set_revision(folder, "9999")
    assert "newer revision" in refused(capsys, *argv, "--data", folder)
    assert revision_of(str(room.database.engine.url)) == "9999"


@pytest.mark.parametrize("argv", COMMANDS_ON_A_ROOM, ids=lambda argv: argv[0])
def test_what_is_no_room_s_database_is_refused_and_left_as_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], argv: list[str]
) -> None:
    file = tmp_path / "blotter.sqlite3"
    file.write_bytes(b"minutes of the moss group\n" * 100)
    assert "something else" in refused(capsys, *argv, "--data", str(tmp_path))
    assert file.read_bytes().startswith(b"minutes")
    file.unlink()
    with closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("CREATE TABLE recipe (name TEXT)")
    assert "another program" in refused(capsys, *argv, "--data", str(tmp_path))


@pytest.mark.parametrize(
    "argv", [argv for argv in COMMANDS_ON_A_ROOM if argv[0] not in ("serve", "upgrade")], ids=lambda argv: argv[0]
)
def test_where_no_room_is_yet_it_is_said_how_to_start_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], argv: list[str]
) -> None:
    assert "blotter serve" in refused(capsys, *argv, "--data", str(tmp_path))
    assert "blotter serve" in refused(capsys, *argv, "--data", str(tmp_path / "elsewhere"))
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.sqlite_only("a room on a server is copied by the server's own tools")
def test_an_older_database_is_copied_then_migrated(
    room: Room, folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    number, older = room.sheet_ready(), newest_revision()
    program = tmp_path / "a-newer-program"
    shutil.copytree(HOME / "migrations", program / "migrations", ignore=shutil.ignore_patterns("__pycache__"))
    (program / "migrations" / "versions" / "9000_one_more.py").write_text(
        ONE_MORE.format(older=older), encoding="utf-8"
    )
    monkeypatch.setattr("app.db.upgrade.HOME", program)
    assert "Run: blotter upgrade" in refused(capsys, "audit", "--data", folder)
    assert "Run: blotter upgrade" in refused(capsys, "serve", "--port", "0", "--data", folder)
    status, out, _ = runs(capsys, "upgrade", "--data", folder)
    assert status == 0 and "Migrated to revision 9000" in out
    copies = list(tmp_path.glob(f"blotter-before-upgrade-{older}-*.sqlite3"))
    assert len(copies) == 1 and str(copies[0]) in out
    for file, revision in ((copies[0], older), (tmp_path / "blotter.sqlite3", "9000")):
        with closing(sqlite3.connect(file)) as connection:
            assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == (revision,)
            assert connection.execute("SELECT count(*) FROM sheet WHERE number = ?", (number,)).fetchone() == (1,)


def test_a_database_that_somebody_holds_is_named_after_a_short_wait(
    room: Room, folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.db.postgres.PATIENCE", "1s")
    with transaction(room.database) as session:
        session.execute(text("SELECT 1"))
        assert "Another program holds" in refused(capsys, "token", "--read", "--data", folder)


def test_a_folder_that_cannot_be_one_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("x")
    assert "cannot be used" in refused(capsys, "serve", "--port", "0", "--data", str(tmp_path / "file" / "room"))


def test_a_database_address_that_is_none_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for url in ("quillmoor", "moss://room"):
        monkeypatch.setenv("BLOTTER_DATABASE_URL", url)
        assert "cannot be used" in refused(capsys, "audit", "--data", str(tmp_path))


def test_a_zone_that_is_none_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BLOTTER_ZONE", "Quillmoor/Fells")
    assert "Europe/London" in refused(capsys, "audit", "--data", str(tmp_path))


def test_a_copy_without_its_checkout_says_how_to_install_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.config.HOME", tmp_path)
    assert "pip install -e ." in refused(capsys, "serve", "--port", "0", "--data", str(tmp_path))


# -- the doors --------------------------------------------------------------------------------------------------
def test_a_port_that_is_taken_is_refused_before_anything_is_begun(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        for command in (["serve", "--data", str(tmp_path)], ["demo", "--no-browser"]):
            assert "--port" in refused(capsys, *command, "--port", port)
    assert not (tmp_path / "blotter.sqlite3").exists()


def test_an_address_that_is_not_this_machine_s_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # 192.0.2.0/24 is kept for examples (RFC 5737), so no machine has it.
    for host in ("192.0.2.1", "no-such-host.invalid"):
        assert host in refused(capsys, "serve", "--host", host, "--port", "0", "--data", str(tmp_path))


def test_whoever_lets_the_network_in_is_told_so(folder: str) -> None:
    with served("serve", "--data", folder, "--host", "0.0.0.0", "--port", "0", until="On a network") as room:
        said = "\n".join(room.said)
        assert "whoever reaches this machine over the network" in said and "--tls CERT KEY" in said
        assert json.loads(room.get("/api/health")) == {"ok": True}


def test_a_clock_that_was_set_is_noticed_at_the_start_and_the_doubt_stays_until_somebody_speaks(
    room: Room, folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    long_ago = WEDNESDAY - timedelta(days=3650)
    with transaction(room.database) as session:
        beat(session, long_ago)
    key = _said_by(capsys, "token", "--read", "--data", folder).splitlines()[-1]
    for _ in range(2):
        with served("serve", "--data", folder, "--port", "0") as served_room:
            assert json.loads(served_room.get("/api/health", key))["clock"]["doubtful"] is True


def test_the_room_gives_a_sign_of_life_when_it_starts(room: Room, folder: str) -> None:
    with served("serve", "--data", folder, "--port", "0") as served_room:
        served_room.get("/api/health")
        for _ in range(100):
            with reading(room.database) as session:
                beats = session.execute(text("SELECT count(*) FROM heartbeat")).scalar_one()
            if beats:
                break
            time.sleep(0.1)
        assert beats == 1


@pytest.mark.parametrize(
    ("since", "strange"),
    [
        (timedelta(0), False),
        (timedelta(days=HOUSE.clock_gap_days), False),
        (timedelta(days=HOUSE.clock_gap_days, seconds=1), True),
        (timedelta(days=HOUSE.clock_gap_days, seconds=-1), False),
        (timedelta(minutes=-HOUSE.clock_ahead_min), False),
        (timedelta(minutes=-HOUSE.clock_ahead_min, seconds=-1), True),
        (timedelta(minutes=-HOUSE.clock_ahead_min, seconds=1), False),
    ],
)
def test_the_clock_is_in_doubt_when_the_last_sign_of_life_is_too_far_off_or_still_to_come(
    database: Database, since: timedelta, strange: bool
) -> None:
    with transaction(database) as session:
        assert clock_is_strange(session, WEDNESDAY, HOUSE) is False
        beat(session, WEDNESDAY - timedelta(days=200))
        beat(session, WEDNESDAY - since)
        assert clock_is_strange(session, WEDNESDAY, HOUSE) is strange


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl makes the certificate of this test")
def test_https_is_spoken_with_a_certificate_and_cookies_are_then_secure(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    certificate, key = str(tmp_path / "cert.pem"), str(tmp_path / "key.pem")
    make = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost", "-addext",
            "subjectAltName=IP:127.0.0.1", "-keyout", key, "-out", certificate]  # fmt: skip
    subprocess.run(make, check=True, capture_output=True)
    with served("serve", "--data", folder, "--port", "0", "--tls", certificate, key) as room:
        trusting = urllib.request.HTTPSHandler(context=ssl.create_default_context(cafile=certificate))
        room.opener = urllib.request.build_opener(trusting)
        assert json.loads(room.get("/api/health")) == {"ok": True}
        with room.opener.open(room.address + "/sign-in", timeout=20) as page:
            assert "Secure" in page.headers["Set-Cookie"]
        with pytest.raises(OSError):
            urllib.request.urlopen(room.address.replace("https", "http") + "/api/health", timeout=5)
    assert "do not fit together" in refused(capsys, "serve", "--data", folder, "--port", "0", "--tls", key, certificate)
    assert "No such file" in refused(capsys, "serve", "--data", folder, "--port", "0", "--tls", key + "x", key)


# -- the demo ---------------------------------------------------------------------------------------------------
def test_the_demo_fills_a_room_that_the_audit_is_content_with_and_leaves_nothing_behind(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with served("demo", "--no-browser", "--port", "0", until="The room lies in") as room:
        said = "\n".join(room.said)
        name = re.search(r"Sign in as (.+) with the password (\S+)", said)
        where = re.search(r"The room lies in (\S+)\.$", said)
        assert name and where and Path(where.group(1)).is_dir()
        page = room.post("/sign-in", name=name.group(1), password=name.group(2))
        assert name.group(1) in page
        assert "agree" in _said_by(capsys, "audit", "--data", where.group(1))
    assert not Path(where.group(1)).exists()


def test_a_demo_is_never_poured_into_a_folder_that_holds_something(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (Path(folder) / "notes.txt").write_text("somebody's")
    assert "is not empty" in refused(capsys, "demo", "--no-browser", "--port", "0", "--data", folder)


def _set_revision(folder: str, revision: str) -> None:
    engine = create_engine(os.environ.get("BLOTTER_DATABASE_URL") or f"sqlite:///{folder}/blotter.sqlite3")
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = :revision"), {"revision": revision})
    engine.dispose()


ONE_MORE = '''"""One more table, as a later program might bring it."""

import sqlalchemy as sa
from alembic import op

revision = "9000"
down_revision = "{older}"


def upgrade() -> None:
    op.create_table("one_more", sa.Column("id", sa.Integer, primary_key=True))
'''
