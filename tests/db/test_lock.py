"""Many use a room's database at once; whoever puts another in its place has it alone, and a lock ends with its program."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from app.config import HOME
from app.db.engine import sqlite_url
from app.db.fitness import Unfit
from app.db.lock import BEING_REPLACED, IN_USE, alone_with, in_use, is_used, tell_of_oneself, told_last

HOLDS = """
import sys
from app.db.lock import in_use
with in_use(sys.argv[1]):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_many_use_a_database_and_nobody_has_it_alone_meanwhile(tmp_path: Path) -> None:
    url = sqlite_url(tmp_path / "room.sqlite3")
    with in_use(url), in_use(url):
        assert is_used(url)
        with pytest.raises(Unfit) as refused, alone_with(url):
            pass
        assert str(refused.value) == IN_USE
    assert not is_used(url)
    with alone_with(url):
        with pytest.raises(Unfit) as refused, in_use(url):
            pass
        assert str(refused.value) == BEING_REPLACED
    with in_use(url):
        pass


def test_the_lock_of_a_program_that_was_killed_holds_nobody_up(tmp_path: Path) -> None:
    url = sqlite_url(tmp_path / "room.sqlite3")
    with subprocess.Popen(
        [sys.executable, "-c", HOLDS, url], cwd=HOME, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None and other.stdout.readline() == "held\n"
        assert is_used(url)
        other.send_signal(signal.SIGKILL)
        other.wait(30)
    with alone_with(url):
        pass


def test_what_the_server_said_of_itself_is_read_beside_the_database_and_nonsense_is_nothing(tmp_path: Path) -> None:
    url = sqlite_url(tmp_path / "room.sqlite3")
    assert told_last(url) == {} and not is_used(url)
    with in_use(url):
        tell_of_oneself(url, {"address": "http://127.0.0.1:8765/"})
    assert told_last(url) == {"address": "http://127.0.0.1:8765/"}
    for nonsense in ("", "[1]", "{"):
        (tmp_path / "room.sqlite3.lock").write_text(nonsense)
        assert told_last(url) == {}


def test_a_server_s_database_has_locks_of_its_own() -> None:
    with alone_with("postgresql://room.example/blotter"), in_use("postgresql://room.example/blotter"):
        assert not is_used("postgresql://room.example/blotter")
