"""The state machine for longer: python -m tests.machine --histories 300 --deeds 200, every time other histories."""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from pathlib import Path

from argon2 import PasswordHasher
from hypothesis import Phase

from app.db.engine import sqlite_url
from app.db.upgrade import upgrade
from app.services import people
from tests.databases import Rooms
from tests.machine.machine import work
from tests.machine.plain import work_plainly


def main() -> None:
    """Work as long as asked for, and say what was done; the traceback of the first difference otherwise."""
    parser = argparse.ArgumentParser(prog="python -m tests.machine", description=__doc__)
    parser.add_argument("--histories", type=int, default=300, help="rooms that are worked in (300)")
    parser.add_argument("--deeds", type=int, default=200, help="turns in each of them (200)")
    parser.add_argument(
        "--no-shrink", action="store_true", help="tell of a difference as it was found, not of the shortest like it"
    )
    parser.add_argument(
        "--plain", action="store_true", help="drawn by plain chance, without hypothesis: more of what is rare"
    )
    parser.add_argument("--seed", type=int, default=time.time_ns() % 10**9, help="of plain chance (another every time)")
    asked = parser.parse_args()
    os.environ["BLOTTER_ZONE"] = "Europe/London"
    people._hasher = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    begun = time.monotonic()
    phases = (Phase.generate,) if asked.no_shrink else (Phase.generate, Phase.shrink)
    with tempfile.TemporaryDirectory(prefix="blotter-machine-") as name:
        upgrade(sqlite_url(Path(name) / "empty.sqlite3"))
        rooms = Rooms(Path(name) / "empty.sqlite3")
        if asked.plain:
            said = work_plainly(rooms, Path(name), asked.histories, asked.deeds, asked.seed)
        else:
            said = work(
                rooms, Path(name), asked.histories, asked.deeds, phases=phases, derandomize=False, database=None
            )
    print(f"{said}; {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
