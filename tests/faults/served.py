"""A room served by a program of its own, which can be killed, stopped in its tracks, and started again; and what is in it then."""

from __future__ import annotations

import http.client
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher

from app.clock import utc_now
from app.config import HOME
from app.db.engine import Database, open_database, reading, sqlite_url, transaction
from app.services import people
from app.services import room as furnishing
from app.services.audit import audit
from app.services.people import enrol_station, make_token
from tests.room import LONDON, Room

ZONE = "Europe/London"
FILES = ("blotter.sqlite3", "blotter.sqlite3-wal", "blotter.sqlite3-shm")


@dataclass(frozen=True, slots=True)
class Keys:
    """What opens a room: a manager's key, a station's, and the cookie of a station's browser."""

    manager: str
    station: str
    cookie: str


class Nursery:
    """Starts rooms quickly: one program has everything imported, and each room is a fork of it."""

    def __init__(self) -> None:
        environ = {**os.environ, "BLOTTER_ZONE": ZONE}
        environ.pop("BLOTTER_DATABASE_URL", None)
        self._program = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.nursery"], cwd=HOME, env=environ, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip

    def start(self, folder: Path, port: int) -> int:
        """The process that serves the room in this folder; it may not answer yet."""
        assert self._program.stdin is not None and self._program.stdout is not None
        self._program.stdin.write(f"{folder}\t{port}\n")
        self._program.stdin.flush()
        return int(self._program.stdout.readline())

    def close(self) -> None:
        """No more rooms."""
        assert self._program.stdin is not None and self._program.stdout is not None
        self._program.stdin.close()
        self._program.wait(30)
        self._program.stdout.close()


@dataclass
class Served:
    """One room on one port of this machine, up or down."""

    nursery: Nursery
    folder: Path
    port: int
    pid: int = 0

    def begin(self) -> None:
        """Start the program, and do not wait for it."""
        self.pid = self.nursery.start(self.folder, self.port)

    def up(self) -> None:
        """Start the program, and wait until it answers."""
        self.begin()
        until = time.monotonic() + 60
        while time.monotonic() < until:
            if self.answers():
                return
            if not self.is_running():
                break
            time.sleep(0.005)
        raise AssertionError(f"The room did not open: {self.said()}")

    def answers(self) -> bool:
        """Whether anybody answers at the room's door, and says that it is well."""
        with suppress(OSError, http.client.HTTPException):
            return self.get("/api/health", timeout=10)[0] == 200
        return False

    def kill(self, how: signal.Signals = signal.SIGKILL) -> None:
        """End the program, in the middle of whatever it does, and wait until it is gone."""
        if self.pid:
            with suppress(ProcessLookupError):
                os.kill(self.pid, how)
        until = time.monotonic() + 30
        while self.is_running() and time.monotonic() < until:
            time.sleep(0.002)
        assert not self.is_running()
        self.pid = 0

    def signal(self, how: signal.Signals) -> None:
        """Tell the program something that it cannot overhear."""
        os.kill(self.pid, how)

    def is_running(self) -> bool:
        """Whether the program is there; the nursery takes up what has ended at once."""
        if not self.pid:
            return False
        try:
            os.kill(self.pid, 0)
        except ProcessLookupError:
            return False
        return True

    def said(self) -> str:
        """All that the program has written in its window."""
        return (self.folder / "said").read_text() if (self.folder / "said").exists() else ""

    def get(self, path: str, key: str = "", timeout: float = 60) -> tuple[int, bytes]:
        """Ask for an address on a line of its own: the status and the body."""
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)) as line:
            line.request("GET", path, headers={"Authorization": f"Bearer {key}"} if key else {})
            response = line.getresponse()
            return response.status, response.read()

    def post(self, path: str, key: str, body: dict[str, Any], timeout: float = 60) -> tuple[int, dict[str, Any]]:
        """Send a script's request on a line of its own: the status and what was answered."""
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)) as line:
            return ask(line, path, key, body)


def ask(line: http.client.HTTPConnection, path: str, key: str, body: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    """Send a script's request on an open line: the status and what was answered, once all of it has come."""
    line.request("POST", path, json.dumps(body), {"Authorization": f"Bearer {key}", "Content-Type": "application/json"})
    response = line.getresponse()
    told: dict[str, Any] = json.loads(response.read())
    return response.status, told


def free_port() -> int:
    """A port of this machine that nobody holds."""
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@contextmanager
def serving(folder: Path, nursery: Nursery) -> Iterator[Served]:
    """A room that is down at first, and down at the end."""
    served = Served(nursery, folder, free_port())
    try:
        yield served
    finally:
        served.kill()


def furnished(migrated: Path, folder: Path, also: Callable[[Room], None] | None = None) -> Keys:
    """A room in its folder, with a consignment and keys for it, as it stands now; `also` does more in it."""
    people._hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    shutil.copy(migrated, folder / FILES[0])
    with opened(folder) as database:
        room = Room(database, utc_now())
        with transaction(database) as session:
            furnishing.add_consignment(session, "QF-26", "Quillmoor Fells 2026")
            keys = Keys(
                make_token(session, "manage", "the manager's", room.now, worker_id=room.worker["hedda"]),
                make_token(session, "scan", "the intake's", room.now, station_id=room.station["intake"]),
                enrol_station(session, room.station["intake"], room.worker["hedda"], room.now),
            )
        room.weights("off", "P1")
        if also is not None:
            also(room)
    return keys


@contextmanager
def opened(folder: Path) -> Iterator[Database]:
    """The room's database, opened beside the server."""
    database = open_database(sqlite_url(folder / FILES[0]))
    try:
        yield database
    finally:
        database.engine.dispose()


def differences(folder: Path) -> list[str]:
    """All that the audit names of the room in a folder, and what SQLite says of its file where that is not whole."""
    with opened(folder) as database, reading(database) as session:
        found = [each.sentence for each in audit(session, LONDON)]
        said = session.connection().exec_driver_sql("PRAGMA quick_check").scalar()
    return found if said == "ok" else [*found, str(said)]
