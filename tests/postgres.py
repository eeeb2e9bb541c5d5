"""A server of PostgreSQL for as long as one command takes: `python -m tests.postgres -- python -m pytest`.

`--keeping` puts everything on the disk as a real one does, for whoever measures.

It listens on this machine only, lets everybody in, keeps nothing on the disk for certain (its data go at the end), and sorts by
the letters of a language, so that a text which is not compared by its code points is found out. The command finds its address in
BLOTTER_TEST_DATABASE_URL.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

INSTALLED = "/usr/lib/postgresql"
# It refuses to run as root, so root runs it as the user that comes with it.
USER = "postgres"
SETTINGS = """
listen_addresses = '127.0.0.1'
unix_socket_directories = ''
max_connections = 300
shared_buffers = 128MB
autovacuum = off
"""
# For tests, of which nothing is kept: it lies in memory where there is room enough for it.
QUICK = """
fsync = off
full_page_writes = off
wal_level = minimal
max_wal_senders = 0
checkpoint_timeout = 1h
"""
MEMORY, ENOUGH = Path("/dev/shm"), 2 * 1024**3


class Missing(Exception):
    """The server cannot be started; the message is one sentence."""


def programs() -> Path:
    """The folder of the server's programs; Missing where there is none."""
    found = shutil.which("initdb")
    if found:
        return Path(found).parent
    folders = [each for each in Path(INSTALLED).glob("*/bin") if (each / "initdb").exists()]
    if not folders:
        raise Missing("PostgreSQL's server is not installed. On Debian: apt-get install postgresql")
    return max(folders, key=lambda each: int(each.parent.name))


@contextmanager
def server(*, keeping: bool = False) -> Iterator[str]:
    """A server with data of its own; gives its address, and stops it at the end. Missing where it cannot be started."""
    where = programs()
    folder = Path(tempfile.mkdtemp(prefix="blotter-postgres-", dir=None if keeping else _memory()))
    somebody: dict[str, Any] = {}
    if os.name == "posix" and os.geteuid() == 0:
        somebody = {"user": USER, "group": USER, "extra_groups": [], "cwd": "/"}
        shutil.chown(folder, USER, USER)
    data = folder / "data"
    try:
        _run(where / "initdb", "-D", data, "-U", USER, "-A", "trust", "-E", "UTF8", "--no-sync", "--locale=C.UTF-8",
             "--locale-provider=icu", "--icu-locale=en", **somebody)  # fmt: skip
        port = _free_port()
        with (data / "postgresql.conf").open("a") as file:
            file.write(f"{SETTINGS}{'' if keeping else QUICK}port = {port}\n")
        _run(where / "pg_ctl", "-D", data, "-l", folder / "log", "-w", "start", **somebody)
        try:
            yield f"postgresql://{USER}@127.0.0.1:{port}/postgres"
        finally:
            _run(where / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop", **somebody)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _memory() -> Path | None:
    return MEMORY if MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > ENOUGH else None


def _run(*command: object, **somebody: Any) -> None:
    # Into no pipe: the server keeps what it was started with, and a pipe would never end.
    done = subprocess.run([str(each) for each in command], stdout=subprocess.DEVNULL, check=False, **somebody)
    if done.returncode:
        raise Missing(
            f"PostgreSQL's server cannot be started: {Path(str(command[0])).name} ended with {done.returncode}."
        )


def _free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def main(argv: Sequence[str]) -> int:
    """Run a command beside a server and return its exit status."""
    keeping = argv[:1] == ["--keeping"]
    command = list(argv[keeping:])
    command = command[1:] if command[:1] == ["--"] else command
    if not command:
        print("Say which command: python -m tests.postgres -- python -m pytest", file=sys.stderr)
        return 2
    # Told to stop, it stops the server as well.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with server(keeping=keeping) as url:
            return subprocess.run(command, env={**os.environ, "BLOTTER_TEST_DATABASE_URL": url}, check=False).returncode
    except Missing as missing:
        print(missing, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
