"""Taking in a file of sheets, beside hand-written inserts of the very same rows; its memory; and scans meanwhile."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter
from zoneinfo import ZoneInfo

from app.bringing_in import Bringer
from app.config import HOME
from app.db.engine import PRAGMAS, open_database, reading, sqlite_url, transaction
from app.domain.numbers import Pattern, mint
from app.domain.source import OnDisk
from app.queries.files import file_by_id
from app.services.desk import Occasion
from app.services.files import Sent, begin_file
from app.services.intake import digest
from app.services.room import add_consignment, add_pattern
from tests.bench.rounds import HELLO, Round
from tests.bench.starting import own_memory

ZONE = ZoneInfo("Europe/London")
PATTERN = Pattern("IMP", 8)
CODE = "BENCH"
UPLOADS = "uploads"
TABLES = ("plant_name", "collector", "near_name", "sheet", "entry", "entry_worker")
HEAD = "catalogNumber,scientificName,scientificNameAuthorship,family,recordedBy,recordNumber,eventDate,locality,habitat"
MEMORY = "import sys; from pathlib import Path; from tests.bench.imports import grown; print(grown(Path(sys.argv[1]), int(sys.argv[2])))"


def list_of(sheets: int) -> bytes:
    """A list as a parcel has it: few names, many numbers, all told."""
    lines, serial = [HEAD], 0
    for place in range(sheets):
        serial, number = mint(PATTERN, serial)
        lines.append(
            f"{number},Carex species{place % 700},L.,Cyperaceae,Collector {place % 90},{place},2024-06-18,"
            f"Quillmoor Fells {place % 400},flush {place}"
        )
    return "\n".join(lines).encode()


def import_round(room: Path, folder: Path, data: bytes) -> Round:
    """A file checked and taken in without rests, the taking in alone, and the same rows by hand: seconds."""
    mine, by_hand = folder / "mine.sqlite3", folder / "by-hand.sqlite3"
    for path in (mine, by_hand):
        _fresh(room, path)
    found = _imported(mine, data)
    found["raw"] = _by_hand(mine, by_hand)
    return {**found, HELLO: found["raw"]}


def memory_of(room: Path, folder: Path, sheets: int) -> float:
    """How many MB a process of its own grows by at most while it takes a file of so many sheets in."""
    path = folder / f"memory-{sheets}.sqlite3"
    _fresh(room, path)
    command = [sys.executable, "-c", MEMORY, str(path), str(sheets)]
    said = subprocess.run(command, cwd=HOME, check=True, capture_output=True, text=True).stdout
    return float(json.loads(said))


def grown(path: Path, sheets: int) -> float:
    """MB at the most, over what was taken when the file had been read; for a process that does nothing else."""
    bringer, own = _bringer(path), lambda: own_memory(os.getpid())
    data, highest = _on_disk(path, list_of(sheets)), [0.0]
    before = own()

    def hears(seconds: float) -> None:
        highest[0] = max(highest[0], own())

    bringer.rest = hears
    bringer.bring(Sent("list.csv", digest(data), CODE), data)
    return max(highest[0], own()) - before


def send_in(path: Path, data: bytes) -> Callable[[], int]:
    """Leave a file for the server whose database this is to take in; gives what says how many sheets of it are in."""
    uploads = path.parent / UPLOADS
    uploads.mkdir(exist_ok=True)
    (uploads / digest(data)).write_bytes(data)
    database = open_database(sqlite_url(path))
    with transaction(database) as session:
        file_id = begin_file(session, Sent("list.csv", digest(data), CODE), Occasion(datetime.now(UTC), ZONE))

    def are_in() -> int:
        with reading(database) as session:
            found = file_by_id(session, file_id)
        return found.done if found is not None else 0

    return are_in


def prepare(path: Path) -> None:
    """A room's database gets a pattern of numbers and a consignment for the list."""
    database = open_database(sqlite_url(path))
    with transaction(database) as session:
        add_pattern(session, PATTERN.prefix, PATTERN.width, datetime.now(UTC))
        add_consignment(session, CODE, "The bench's parcel", kind="gift")
    database.engine.dispose()


def _fresh(room: Path, path: Path) -> None:
    for old in path.parent.glob(path.name + "*"):
        old.unlink()
    shutil.copy(room, path)
    prepare(path)


def _bringer(path: Path) -> Bringer:
    return Bringer(open_database(sqlite_url(path)), lambda: datetime.now(UTC), ZONE, rest=lambda seconds: None)


class Timed(Bringer):
    """Knows when a file was checked and its sheets began to come in."""

    checked_at = 0.0

    def take_in(self, file_id: int) -> None:
        self.checked_at = perf_counter()
        super().take_in(file_id)


def _on_disk(path: Path, data: bytes) -> OnDisk:
    """The list as it comes: a file, which is read as it is needed."""
    found = path.with_suffix(".csv")
    found.write_bytes(data)
    return OnDisk(found)


def _imported(path: Path, written: bytes) -> dict[str, float]:
    data = _on_disk(path, written)
    begun, last = perf_counter(), [0.0]
    bringer = Timed(open_database(sqlite_url(path)), lambda: datetime.now(UTC), ZONE, rest=lambda seconds: None)
    bringer.heard = lambda done, total: last.__setitem__(0, perf_counter())
    bringer.bring(Sent("list.csv", digest(data), CODE, by=1), data)
    ended = perf_counter()
    bringer.database.engine.dispose()
    return {"whole": ended - begun, "taken in": last[0] - bringer.checked_at}


def _by_hand(theirs: Path, path: Path) -> float:
    """The seconds in which one transaction of hand-written statements writes the rows that the program wrote."""
    with closing(sqlite3.connect(theirs)) as source, closing(sqlite3.connect(path, isolation_level=None)) as mine:
        for pragma in PRAGMAS:
            mine.execute(pragma)
        found = {}
        for table in TABLES:
            column = "plant_name_id" if table == "near_name" else "entry_id" if table == "entry_worker" else "id"
            (last,) = mine.execute(f"SELECT coalesce(max({column}), 0) FROM {table}").fetchone()
            found[table] = source.execute(f"SELECT * FROM {table} WHERE {column} > ?", (last,)).fetchall()
        begun = perf_counter()
        mine.execute("BEGIN IMMEDIATE")
        for table, rows in found.items():
            if rows:
                mine.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(rows[0]))})", rows)
        mine.execute("COMMIT")
        return perf_counter() - begun
