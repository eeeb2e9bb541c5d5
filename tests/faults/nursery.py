"""A program that has everything imported and starts rooms by forking: as real as one started anew, and a hundred times a minute.

It reads lines "FOLDER<tab>PORT" and answers each with the id of the new process, which runs the server as the command line does.
"""

from __future__ import annotations

import os
import signal
import sys
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

# What a served room imports only when it is needed.
import app.background
import app.cli
import app.clock
import app.logs
import app.web.assembly
import app.web.problems  # noqa: F401
from app.serving import Failed, room_config, run_room

CLOCK = "clock"


def on_a_clock_that_jumps(file: Path) -> None:
    """From now on this process has the computer's time and so many seconds more as stand in this file."""

    class Jumping(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:
            return datetime.now(tz) + timedelta(seconds=float(file.read_text() or 0))

    vars(app.clock)["datetime"] = Jumping


def serve(folder: Path, port: int) -> int:
    """Run a room in this process until it is told to stop; what it says goes into a file of its folder."""
    os.setsid()
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    said = os.open(folder / "said", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(said, 1)
    os.dup2(said, 2)
    if (folder / CLOCK).exists():
        on_a_clock_that_jumps(folder / CLOCK)
    try:
        run_room(room_config(folder), "127.0.0.1", port, None)
    except Failed as failed:
        print(failed, file=sys.stderr, flush=True)
        return 1
    except KeyboardInterrupt:
        return 0
    return 0


def main() -> None:
    """Start a room for every line, until there are no more."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        folder, port = line.rstrip("\n").split("\t")
        child = os.fork()
        if child == 0:
            sys.stdin.close()
            status = 1
            try:
                status = serve(Path(folder), int(port))
            finally:
                os._exit(status)
        print(child, flush=True)


if __name__ == "__main__":
    main()
