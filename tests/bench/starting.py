"""How long the program takes to its first answer, and how much memory it takes, beside bare imports of what it stands on."""

from __future__ import annotations

import re
import shutil
import socket
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from time import perf_counter, sleep

from app.config import HOME
from tests.bench.asking import HOST, Request
from tests.bench.data import Collection
from tests.bench.load import Line
from tests.bench.rounds import Round, shuffled

HEALTH = Request("GET", "/api/health")
BARE = "import flask, sqlalchemy, sqlalchemy.orm, waitress"


def start_round(collection: Collection, folder: Path) -> Round:
    """From the command to the first answer of a room that is there already, and the bare imports: seconds."""
    home = folder / "home"
    home.mkdir(exist_ok=True)
    if not (home / "blotter.sqlite3").exists():
        shutil.copy(collection.path, home / "blotter.sqlite3")
    return {
        name: {"start": lambda: _start(home), "imports": _imports}[name]() for name in shuffled(["start", "imports"])
    }


def own_memory(pid: int) -> float:
    """The memory that a process has to itself, in MB: not the pages of files that it shares with the system's cache."""
    said = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"RssAnon:\s+(\d+) kB", said)
    return int(found.group(1)) / 1024 if found else 0.0


def bare_memory() -> float:
    """The memory of a process that has only imported what the program stands on."""
    code = f"{BARE}; print(flush=True); input()"
    with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as running:
        assert running.stdout is not None
        running.stdout.readline()
        found = own_memory(running.pid)
        running.communicate(b"\n")
    return found


def _imports() -> float:
    begin = perf_counter()
    subprocess.run([sys.executable, "-c", BARE], check=True)
    return perf_counter() - begin


def _start(home: Path) -> float:
    with closing(socket.socket()) as free:
        free.bind((HOST, 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "app", "serve", "--data", str(home), "--port", str(port)]
    begin = perf_counter()
    running = subprocess.Popen(command, cwd=HOME, stdout=subprocess.DEVNULL)
    try:
        _first_answer(port, running)
        return perf_counter() - begin
    finally:
        running.terminate()
        running.wait(timeout=20)


def _first_answer(port: int, running: subprocess.Popen[bytes]) -> None:
    while running.poll() is None:
        try:
            with closing(Line(port)) as line:
                if line.ask(HEALTH)[0] != 200:
                    raise AssertionError("The server is not well.")
                return
        except OSError:
            sleep(0.005)
    raise AssertionError("The server did not start.")
