"""Faults for longer: python -m tests.faults --runs 1000 --what kill; it says how many there were, and what was lost."""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import pytest

from app.db.engine import sqlite_url
from app.db.upgrade import upgrade
from tests.faults.killing import kill_often

OTHERS = {
    "copy": "test_kills.py",
    "disk": "test_disks.py",
    "lock": "test_locks.py",
    "client": "test_clients.py",
    "clock": "test_clocks.py",
}


def main() -> int:
    """Kill so often, or go through the tests of another fault so often; 1 where anything was lost or otherwise wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--runs", type=int, default=1000, help="how often (1000)")
    parser.add_argument("--what", choices=["kill", *OTHERS], default="kill", help="which fault (kill)")
    parser.add_argument("--minutes", type=float, default=1e6, help="stop after so many, however many runs that were")
    parser.add_argument(
        "--seed", type=int, default=time.time_ns(), help="where the kills fall (other places every time)"
    )
    asked = parser.parse_args()
    if asked.what != "kill":
        return _again_and_again(OTHERS[asked.what], asked.runs, asked.minutes)
    with tempfile.TemporaryDirectory(prefix="blotter-faults-") as name:
        migrated = Path(name) / "empty.sqlite3"
        upgrade(sqlite_url(migrated))
        kills = kill_often(migrated, asked.runs, asked.seed, told=True, until_s=60 * asked.minutes)
    print(f"seed {asked.seed}: {kills}")
    return 0 if kills.is_well else 1


def _again_and_again(file: str, runs: int, minutes: float) -> int:
    begun, failed, done = time.monotonic(), 0, 0
    while done < runs and time.monotonic() - begun < 60 * minutes:
        failed += pytest.main(["-q", "-p", "no:cacheprovider", str(Path(__file__).with_name(file))]) != 0
        done += 1
    print(f"{file}: gone through {done:,} times, {failed} failed; {time.monotonic() - begun:.0f} s")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
