"""What was answered is on the disk: the log is synced once for every scan, before its answer."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from app.config import HOME
from app.db.engine import open_database
from tests.databases import Rooms

SCANS = """
import sys
from pathlib import Path
from app.db.engine import open_database, sqlite_url
from app.domain.stages import Step
from tests.room import Room
database = open_database(sqlite_url(Path(sys.argv[1])))
room = Room(database)
for _ in range(int(sys.argv[2])):
    assert room.scans(room.new_number(), "intake", step=Step.TAKE_IN).kind == "done"
database.engine.dispose()
"""
SYNC = re.compile(r"\b(fdatasync|fsync)\((\d+)\)\s+= 0")


def syncs_of(scans: int, migrated: Path, folder: Path) -> int:
    """How often the operating system was told to put the room's files on the disk while so many scans were answered."""
    path, told = folder / f"{scans}.sqlite3", folder / f"{scans}.strace"
    shutil.copy(migrated, path)
    watched = ["strace", "-f", "-e", "trace=fdatasync,fsync", "-o", str(told)]
    subprocess.run([*watched, sys.executable, "-c", SCANS, str(path), str(scans)], cwd=HOME, check=True)
    return len(SYNC.findall(told.read_text()))


@pytest.mark.skipif(
    shutil.which("strace") is None, reason="counts system calls with strace, which is not installed here"
)
def test_every_scan_is_put_on_the_disk_with_one_sync(migrated: Path, tmp_path: Path) -> None:
    # The same furnishing and the same closing in both: what is left over is the scans' own.
    assert syncs_of(30, migrated, tmp_path) - syncs_of(10, migrated, tmp_path) == 20


@pytest.mark.sqlite_only("they are SQLite's own settings")
def test_every_connection_of_the_pool_syncs_fully_and_writes_ahead(rooms: Rooms, tmp_path: Path) -> None:
    # Opened as the program opens it: other tests do not wait for the disk.
    database = open_database(rooms.url(tmp_path / "synced.sqlite3"))
    opened = [database.engine.connect() for _ in range(12)]
    found = {
        tuple(each.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in ("synchronous", "journal_mode"))
        for each in opened
    }
    for each in opened:
        each.close()
    database.engine.dispose()
    # 2 is FULL; SQLite, "Pragma statements supported by SQLite", synchronous: in WAL mode NORMAL may lose the last commits.
    assert found == {(2, "wal")}
