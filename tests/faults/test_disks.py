"""The disk is full, or may only be read: everybody is told so, nothing is lost, and it goes on when there is room again."""

from __future__ import annotations

import http.client
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import func, select

from app.config import HOME
from app.db.engine import reading
from app.db.models import Scan
from tests.faults.conftest import Place
from tests.faults.disks import fill_up, make_room, may_mount, only_read, small_disk
from tests.faults.load import Browser, Sender, staff
from tests.faults.served import Nursery, differences, furnished, opened, serving

MEGABYTES = 24


@pytest.fixture
def on_a_disk(migrated: Path, nursery: Nursery, tmp_path: Path) -> Iterator[Place]:
    """A room on a small disk of its own, up."""
    if not may_mount():
        pytest.skip("mounting a small disk is root's")
    with small_disk(tmp_path / "disk", MEGABYTES) as folder:
        keys = furnished(migrated, folder)
        with serving(folder, nursery) as served:
            served.up()
            yield Place(served, keys, folder)


def test_on_a_full_disk_everybody_is_told_and_what_was_sent_is_written_once_there_is_room(on_a_disk: Place) -> None:
    served, keys, folder = on_a_disk.served, on_a_disk.keys, on_a_disk.folder
    scanner, page, *_, lists = staff(keys, "full")
    before = _sent(served.port, scanner, 3)
    fill_up(folder)
    while (told := _one(served.port, scanner))[0] == 200:
        # What the journal has room for is still taken, and is true.
        before += 1
        assert before < 500
    assert told[0] == 503 and told[1]["status"] == 503 and told[1]["detail"] == FULL
    assert _one(served.port, page)[0] == 503 and _one(served.port, lists)[0] == 503
    assert served.get("/api/board", keys.manager)[0] == 200
    assert served.get("/api/health")[0] == 200
    make_room(folder)
    for sender in (scanner, page, lists):
        assert _one(served.port, sender)[0] == 200
    assert differences(folder) == []
    assert _scans(folder, "full-scanner") == before + 1 == len(scanner.answered)
    assert _scans(folder, "full-lists") == 1 and _scans(folder, "full-page") == 1


def test_a_room_on_a_full_disk_opens_and_tells(on_a_disk: Place) -> None:
    served, folder, scanner = on_a_disk.served, on_a_disk.folder, staff(on_a_disk.keys, "opens")[0]
    assert _sent(served.port, scanner, 2) == 2
    served.kill()
    fill_up(folder)
    served.begin()
    while served.is_running() and not served.answers():
        time.sleep(0.01)
    if served.is_running():
        assert _one(served.port, scanner)[0] in (200, 503)
    else:
        assert served.said().splitlines()[-1].startswith("The disk"), served.said()
    served.kill()
    make_room(folder)
    served.up()
    assert _sent(served.port, scanner, 2) == 2
    assert differences(folder) == [] and _scans(folder, "opens-scanner") == len(scanner.answered)


def test_a_disk_that_may_only_be_read_is_told_in_one_sentence_and_nothing_is_lost(on_a_disk: Place) -> None:
    served, folder = on_a_disk.served, on_a_disk.folder
    scanner = staff(on_a_disk.keys, "read")[0]
    assert _sent(served.port, scanner, 3) == 3
    served.kill()
    only_read(folder, so=True)
    for command in (["serve", "--port", str(served.port)], ["audit"], ["backup"]):
        done = subprocess.run(
            [sys.executable, "-m", "app", *command, "--data", str(folder)],
            cwd=HOME,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 1 and done.stderr.count("\n") == 1 and "Traceback" not in done.stderr, (
            command,
            done.stderr,
        )
    only_read(folder, so=False)
    served.up()
    assert _one(served.port, scanner)[0] == 200
    assert differences(folder) == [] and _scans(folder, "read-scanner") == 4


FULL = "The disk of the room's computer is full. Nothing was written. Try again in a moment; if it goes on, tell whoever looks after the computer."


def _one(port: int, sender: Sender) -> tuple[int, dict[str, object]]:
    """One request of a sender; what was not taken is held, and sent first the next time."""
    sender.held = sender.held or next(sender.work)
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as line:
        if isinstance(sender, Browser):
            sender._open(line)
        status, told = sender._ask(line, sender.held)
    if status == 200:
        sender.answered[sender.held.scan_id] = sender.held, told
        sender.held = None
    return status, told


def _sent(port: int, sender: Sender, count: int) -> int:
    return sum(_one(port, sender)[0] == 200 for _ in range(count))


def _scans(folder: Path, name: str) -> int:
    with opened(folder) as database, reading(database) as session:
        mine = select(func.count()).select_from(Scan).where(Scan.scan_id.startswith(f"{name}-"))
        return int(session.execute(mine).scalar_one())
