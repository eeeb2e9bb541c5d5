"""What is secret stays so: in files, in what the program writes on its window and in its logs, and on the network."""

from __future__ import annotations

import json
import logging
import os
import re
import socket
import stat
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from app import create_app
from app.config import LOOPBACK_NAMES, Config, load_config
from app.db.engine import transaction
from app.db.models import Base
from app.services import people
from app.services.people import enrol_station, make_token, set_password, set_pin
from app.services.room import set_house_rule
from app.web.security import STATION_COOKIE
from tests.databases import as_in_a_file
from tests.room import LONDON, Room
from tests.test_cli import _said_by, served
from tests.web.conftest import token

posix = pytest.mark.skipif(os.name != "posix", reason="modes of files are those of POSIX")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


# -- files ------------------------------------------------------------------------------------------------------
@posix
@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_a_new_room_s_folder_and_key_are_its_owner_s_alone(tmp_path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        (tmp_path / "made by hand").mkdir(mode=0o755)
        for folder in (tmp_path / "deep" / "room", tmp_path / "made by hand"):
            key = load_config(folder).secret_key
            assert mode(folder) == 0o700 and mode(folder / "secret-key") == 0o600
            # 256 bits, and the same at the next start.
            assert re.fullmatch("[0-9a-f]{64}", key) and load_config(folder).secret_key == key
            assert [path.name for path in folder.iterdir()] == ["secret-key"]
    finally:
        os.umask(before)


@posix
def test_a_key_that_came_back_from_a_copy_open_to_all_is_closed_and_an_empty_one_made_anew(tmp_path: Path) -> None:
    key = load_config(tmp_path).secret_key
    (tmp_path / "secret-key").chmod(0o644)
    assert load_config(tmp_path).secret_key == key and mode(tmp_path / "secret-key") == 0o600
    (tmp_path / "secret-key").write_text("")
    assert re.fullmatch("[0-9a-f]{64}", load_config(tmp_path).secret_key)


@posix
def test_a_folder_that_holds_something_already_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("moss")
    tmp_path.chmod(0o750)
    load_config(tmp_path)
    assert mode(tmp_path) == 0o750 and mode(tmp_path / "secret-key") == 0o600


@posix
def test_everything_that_a_served_room_writes_is_its_owner_s_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "room"
    before = os.umask(0o000)
    try:
        folder.mkdir(mode=0o755)
        (folder / "notes.txt").write_text("so that the folder is left as it is")
        with served("serve", "--data", str(folder), "--port", "0", until="code:") as room:
            room.get("/api/health")
            _said_by(capsys, "backup", "--data", str(folder))
            files = [path for path in folder.rglob("*") if path.name != "notes.txt"]
            names = {path.name for path in files}
            assert {"blotter.sqlite3", "blotter.sqlite3-wal", "secret-key", "backups"} <= names
            assert not [path for path in files if mode(path) & 0o077], {path.name: oct(mode(path)) for path in files}
    finally:
        os.umask(before)


# -- logs -------------------------------------------------------------------------------------------------------
class Fell(Exception):
    """The fault of these tests."""


def test_no_secret_is_in_any_log_whatever_goes_wrong(
    room: Room,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    caplog.set_level(logging.DEBUG)
    app = create_app(Config(tmp_path, "", LONDON, "signs-the-cookies"), clock=lambda: room.now, database=room.database)
    secrets = {"password": "correct-horse-paste", "wrong password": "wrong-battery-paste", "pin": "80417", "wrong pin": "91528",
               "key": "signs-the-cookies", "badge": room.code("badge", "olwen")}  # fmt: skip
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], secrets["password"], room.now)
        set_pin(session, room.worker["piet"], secrets["pin"], room.now, by=None)
        set_house_rule(session, "pin_at_stations", 1, "a shared room", room.now)
        secrets["token"] = make_token(session, "read", "a script", room.now)
        secrets["station"] = enrol_station(session, room.station["table-1"], room.worker["hedda"], room.now)
    browser, station = app.test_client(), app.test_client()
    station.set_cookie(STATION_COOKIE, secrets["station"])
    secrets["form"] = token(browser)

    def everything() -> list[int]:
        name, form = "Hedda Brackwater", {"csrf_token": token(browser)}
        at = {"csrf_token": token(station, "/station")}
        answers = [
            browser.post("/sign-in", data={**form, "name": name, "password": secrets["wrong password"]}),
            browser.post("/sign-in", data={**form, "name": name, "password": secrets["password"]}),
            station.post("/station/sign-in", data={**at, "worker": room.worker["piet"], "pin": secrets["wrong pin"]}),
            station.post("/station/sign-in", data={**at, "worker": room.worker["piet"], "pin": secrets["pin"]}),
            station.post("/station/scan", data={**at, "code": secrets["badge"]}),
            browser.get("/api/sheets", headers={"Authorization": f"Bearer {secrets['token']}"}),
            browser.get("/api/sheets", headers={"Authorization": f"Bearer {secrets['token']}x"}),
        ]
        cookie = browser.get_cookie("blotter")
        secrets["cookie"] = cookie.value if cookie else "no cookie"
        browser.get("/sign-out-not-there")
        return [answer.status_code for answer in answers]

    assert set(everything()) == {200, 302, 401, 422}
    # And again, while the program falls over at every step.
    app.config["PROPAGATE_EXCEPTIONS"] = False

    def falls(*_: object, **__: object) -> None:
        raise Fell("here")

    for where in (
        "app.web.proving.note_try",
        "app.web.stations.once",
        "app.web.stations.scan_once",
        "app.web.api_door.holder_of",
    ):
        monkeypatch.setattr(where, falls)
    browser.post("/sign-out", data={"csrf_token": token(browser)})
    assert set(everything()) == {500}
    out, wrong = capfd.readouterr()
    written = "\n".join([out, wrong, caplog.text, *(str(record.__dict__) for record in caplog.records)])
    assert "Fell" in written
    assert not [what for what, secret in secrets.items() if secret in written]


def test_what_the_database_refuses_is_told_without_its_values(room: Room) -> None:
    badge = room.code("badge", "olwen")
    with pytest.raises(IntegrityError) as refused, transaction(room.database) as session:
        people.add_worker(session, "Tamsin Orrell", ("volunteer",), room.now)
        session.execute(text("UPDATE worker SET badge_code = :badge"), {"badge": badge})
    assert badge not in str(refused.value) and "badge_code" in str(refused.value)


def test_no_secret_lies_in_the_database_as_it_was_typed(room: Room, tmp_path: Path) -> None:
    app = create_app(Config(tmp_path, "", LONDON, "k" * 40), clock=lambda: room.now, database=room.database)
    secrets = ["correct-horse-paste", "80417x", "another-wrong-one"]
    with transaction(room.database) as session:
        set_password(session, room.worker["hedda"], secrets[0], room.now)
        set_pin(session, room.worker["piet"], "80417", room.now, by=None)
        set_house_rule(session, "pin_at_stations", 1, "a shared room", room.now)
        secrets += [make_token(session, "read", "a script", room.now)]
        secrets += [enrol_station(session, room.station["table-1"], room.worker["hedda"], room.now)]
    station, browser = app.test_client(), app.test_client()
    station.set_cookie(STATION_COOKIE, secrets[-1])
    at = {"csrf_token": token(station, "/station")}
    # A password typed into the scan field, and a PIN: neither is kept by what it says.
    station.post("/station/scan", data={**at, "code": secrets[0]})
    station.post("/station/sign-in", data={**at, "worker": room.worker["piet"], "pin": "80417"})
    browser.post("/sign-in", data={"csrf_token": token(browser), "name": "Hedda Brackwater", "password": secrets[2]})
    kept = "\n".join(str(row) for table in Base.metadata.tables for row in as_in_a_file(room.database, table))
    assert not [secret for secret in secrets if secret in kept]
    # Argon2id by its own mark (RFC 9106; the PHC string format).
    assert re.search(r"\$argon2id\$", kept) and not re.search(r"\b80417\b", kept)


# -- the network ------------------------------------------------------------------------------------------------
def test_a_served_room_stands_open_to_this_machine_only_and_answers_to_its_own_names(
    room: Room, tmp_path: Path
) -> None:
    with served("serve", "--data", str(tmp_path), "--port", "0") as here:
        port = int(here.address.rsplit(":", 1)[1])
        assert here.address == f"http://127.0.0.1:{port}"
        assert not [line for line in here.said if "It listens" in line]
        for host, status in ((f"localhost:{port}", 200), ("evil.example", 400), (f"evil.example:{port}", 400)):
            assert _asked(port, host) == status, host
        assert json.loads(here.get("/api/health")) == {"ok": True}
        # Whatever else this machine is called, nobody answers there.
        for address in _other_addresses():
            with pytest.raises(OSError):
                socket.create_connection((address, port), timeout=2).close()


def test_over_the_network_only_what_was_asked_for_and_it_is_said(room: Room, tmp_path: Path) -> None:
    config = load_config(tmp_path)
    assert config.at("127.0.0.1", is_safe=False).trusted_hosts == LOOPBACK_NAMES
    assert config.at("::1", is_safe=True) == config.at("localhost", is_safe=True)
    assert config.at("0.0.0.0", is_safe=False).trusted_hosts == ()
    assert not config.secure_cookies and config.at("0.0.0.0", is_safe=True).secure_cookies


def _asked(port: int, host: str) -> int:
    with socket.create_connection(("127.0.0.1", port), timeout=20) as door:
        door.sendall(f"GET /api/health HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
        return int(door.makefile("rb").readline().split()[1])


def _other_addresses() -> set[str]:
    try:
        found = {str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    except OSError:
        return set()
    return {address for address in found if not address.startswith("127.")}
