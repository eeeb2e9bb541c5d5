"""The bench: python -m tests.bench builds the data, measures group by group, and prints one table of ratios."""

from __future__ import annotations

import argparse
import compileall
import os
import platform
import shutil
import sqlite3
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy

from app.config import HOME
from tests.bench.data import build
from tests.bench.groups import GROUPS, Bench
from tests.bench.rounds import Line

# Sheets, rounds, seconds of a paced load, requests of a load.
Plan = tuple[tuple[int, ...], int, float, int]
QUICK: Plan = ((1_000, 10_000), 1, 1.0, 100)
WHOLE: Plan = ((1_000, 1_000_000), 7, 20.0, 1_000)


def main() -> int:
    """Run what is asked for; 0 whether goals are reached or not: the machine decides too much of that."""
    asked = _parser().parse_args()
    sheets, rounds, seconds, requests = QUICK if asked.small else WHOLE
    sizes = sorted(asked.sheets or sheets)
    begin, now = time.monotonic(), datetime.now(UTC)
    _as_installed()
    with tempfile.TemporaryDirectory(prefix="blotter-bench-", dir=asked.folder) as name:
        folder = Path(name)
        small, large = (
            build(folder / f"{size}-{place}.sqlite3", size, now) for place, size in enumerate((sizes[0], sizes[-1]))
        )
        print(_machine(now, sizes, large.path.stat().st_size), flush=True)
        for group in asked.only or GROUPS:
            mine = folder / group
            mine.mkdir()
            bench = Bench(small, large, mine, asked.rounds or rounds, seconds, requests, now)
            for line in GROUPS[group](bench):
                print(_row(line), flush=True)
            # A group's copies are as large as the collection.
            shutil.rmtree(mine)
    print(f"{time.monotonic() - begin:.0f} s in all.")
    return 0


def _as_installed() -> None:
    """Compile the program, as its first start does where people use it; all that is started here finds it so."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    compileall.compile_dir(HOME / "app", quiet=1)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument(
        "--sheets",
        type=lambda text: [int(each) for each in text.split(",")],
        help="smallest and largest collection: 1000,100000",
    )
    parser.add_argument(
        "--small", action="store_true", help="10,000 sheets and few rounds: only to show that the bench runs"
    )
    parser.add_argument("--rounds", type=int, help="rounds for each line (7)")
    parser.add_argument("--only", action="append", choices=list(GROUPS), help="one group; may be given several times")
    parser.add_argument("--folder", type=Path, help="where the data is built; on the disk that is to be measured")
    return parser


def _machine(now: datetime, sizes: list[int], size: int) -> str:
    versions = (
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, SQLAlchemy {sqlalchemy.__version__}"
    )
    busy = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "?"
    machine = f"{platform.machine()}, {os.cpu_count()} cores, load {busy} at the start, {versions}"
    return (
        f"{now:%Y-%m-%d %H:%M} UTC, {machine}\n{sizes[-1]:,} sheets, {10 * sizes[-1]:,} entries, {size / 1e6:.0f} MB\n"
        f"{'':7} {'median':>7}  {'range':13} {'goal (stretch)':15} what"
    )


def _row(line: Line) -> str:
    reach = f"{min(line.ratios):.2f}–{max(line.ratios):.2f}"
    return f"{line.verdict:7} {line.median:7.2f}  {reach:13} {line.goal:15} {line.what}" + (
        f"   [{line.note}]" if line.note else ""
    )


if __name__ == "__main__":
    sys.exit(main())
