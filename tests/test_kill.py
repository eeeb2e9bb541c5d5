"""The server is killed in the middle of the work: what was answered is there, once, and what was not is sent again."""

from __future__ import annotations

import http.client
import json
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from app.clock import utc_now
from app.config import HOME
from app.db.engine import Database, reading, transaction
from app.db.models import Entry, Scan, Sheet
from app.services.audit import audit
from app.services.people import make_token
from tests.room import LONDON, Room

SHEETS = 200
Sent = dict[str, str]


@contextmanager
def running(folder: Path) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """The room's server, as the command line starts it."""
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "app", "serve", "--data", str(folder), "--port", str(port)]
    with subprocess.Popen(command, cwd=HOME, stdout=subprocess.DEVNULL) as server:
        try:
            wait_for(port, server)
            yield server, port
        finally:
            server.kill()


def wait_for(port: int, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until and server.poll() is None:
        try:
            with closing(socket.create_connection(("127.0.0.1", port), timeout=1)):
                return
        except OSError:
            time.sleep(0.02)
    raise AssertionError("The server did not start.")


def ask(line: http.client.HTTPConnection, key: str, sent: Sent) -> dict[str, Any]:
    """Send one scan; the answer that came back whole."""
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
    line.request("POST", "/api/scans", json.dumps(sent), headers)
    response = line.getresponse()
    body: dict[str, Any] = json.loads(response.read())
    assert response.status == 200, body
    return body


def send(port: int, key: str, scans: list[Sent], answered: dict[str, dict[str, Any]]) -> None:
    """Send scans one after the other until the server is gone, and keep every answer that arrived."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    with closing(line):
        for sent in scans:
            try:
                answered[sent["scan_id"]] = ask(line, key, sent)
            except (OSError, http.client.HTTPException):
                return


def furnished(database: Database) -> tuple[str, list[Sent]]:
    """A room, a script's key for its intake, and a scan for each of two hundred new sheets."""
    room = Room(database, utc_now())
    with transaction(database) as session:
        key = make_token(session, "scan", "the intake's", room.now, station_id=room.station["intake"])
    scans = [{"scan_id": f"kept-{each}", "code": room.new_number(), "step": "take-in"} for each in range(SHEETS)]
    return key, scans


def look(database: Database) -> tuple[int, int, int, list[Any]]:
    """How many sheets, entries and scans the room has, and what the audit finds."""
    with reading(database) as session:
        taken_in = select(func.count()).select_from(Entry).where(Entry.step == "take-in")
        kept = select(func.count()).select_from(Scan).where(Scan.scan_id.startswith("kept-"))
        sheets, entries = (
            session.execute(select(func.count(Sheet.id))).scalar_one(),
            session.execute(taken_in).scalar_one(),
        )
        return sheets, entries, session.execute(kept).scalar_one(), list(audit(session, LONDON))


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is POSIX")
def test_no_answered_scan_is_lost_and_none_is_written_twice_when_the_server_is_killed(
    database: Database, tmp_path: Path
) -> None:
    key, scans = furnished(database)
    answered: dict[str, dict[str, Any]] = {}
    moment = random.Random()
    for deaths in (1, 2):
        with running(tmp_path) as (server, port):
            waiting = [sent for sent in scans if sent["scan_id"] not in answered]
            client = threading.Thread(target=send, args=(port, key, waiting, answered))
            client.start()
            # Anywhere in the work: after some answers, and at no particular point of the next scan.
            until = len(answered) + moment.randint(20, 60)
            while len(answered) < until and client.is_alive():
                time.sleep(0.001)
            time.sleep(moment.random() * 0.02)
            server.send_signal(signal.SIGKILL)
            client.join()
        sheets, entries, kept, differences = look(database)
        assert sheets == entries == kept >= len(answered) >= 20 * deaths
        # At most the one scan that was under way at each death was written and not answered.
        assert kept - len(answered) <= 1
        assert differences == []
    before = dict(answered)
    with running(tmp_path) as (_, port):
        send(port, key, scans, answered)
    assert {name: answered[name] for name in before} == before
    assert look(database) == (SHEETS, SHEETS, SHEETS, [])
