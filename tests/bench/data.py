"""A collection of any size, written in bulk: every sheet with ten entries, half of the sheets (at most 50,000) in the queue.

One transaction, no journal, indexes and guards dropped before and made again after. How a sheet stands is folded from its
entries by the program itself. Scans of long ago are kept with an empty answer: their number counts here, not their words.
"""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from app.domain.sheet import LogEntry, Standing, after, replay
from app.domain.stages import Step
from app.domain.stays import dwell_bucket_h
from app.services.custody import row_values
from tests.bench.furniture import COLLECTORS, CONSIGNMENTS, PATTERN, PLANTS, STATIONS, Keys, furnish
from tests.bench.lives import READY, Run, entries_of, runs_of

LARGEST_QUEUE = 50_000
BULKY_TABLES = ("sheet", "entry", "entry_worker", "scan", "layer")
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Collection:
    """A built database: where it lies, the keys of its stations, and the numbers of the sheets ready for mounting."""

    path: Path
    keys: Keys
    ready: tuple[str, ...]
    sheets: int


def build(path: Path, sheets: int, now: datetime, queue: int | None = None) -> Collection:
    """Write a collection of this many sheets."""
    keys = furnish(path, now - timedelta(days=900))
    connection = sqlite3.connect(path, isolation_level=None)
    for pragma in ("journal_mode = OFF", "synchronous = OFF", "foreign_keys = OFF", "cache_size = -400000"):
        connection.execute(f"PRAGMA {pragma}")
    connection.execute("BEGIN")
    made_again = _bare(connection)
    ready = _fill(connection, runs_of(sheets, min(queue or LARGEST_QUEUE, sheets // 2), now))
    for statement in made_again:
        connection.execute(statement)
    connection.execute("COMMIT")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA analysis_limit = 400")
    connection.execute("PRAGMA optimize = 0x10002")
    connection.close()
    return Collection(path, keys, tuple(ready), sheets)


def _bare(connection: sqlite3.Connection) -> list[str]:
    """Drop the indexes and guards of the large tables; what makes them again."""
    marks = ", ".join("?" * len(BULKY_TABLES))
    found = connection.execute(
        f"""SELECT type, name, sql FROM sqlite_master
        WHERE type IN ('index', 'trigger') AND sql IS NOT NULL AND tbl_name IN ({marks})""",
        BULKY_TABLES,
    ).fetchall()
    for kind, name, _ in found:
        connection.execute(f"DROP {kind} {name}")
    return [sql for _, _, sql in found]


def _fill(connection: sqlite3.Connection, runs: Iterator[Run]) -> list[str]:
    """Write all runs; the numbers of the sheets that end up ready for mounting."""
    days: Counter[tuple[str, int, str]] = Counter()
    stays: Counter[tuple[str, str, int, int]] = Counter()
    ready, first = list[str](), 1
    connection.execute("CREATE TEMP TABLE run (each INTEGER PRIMARY KEY, number TEXT)")
    for serial, run in enumerate(runs):
        entries = entries_of(run, serial)
        numbers = _write_run(connection, run, entries, first, serial)
        _count(run, entries, serial, days, stays)
        if run.steps is READY:
            ready += numbers
        first += run.sheets
    connection.executemany(
        "INSERT INTO tally_day VALUES (?, ?, ?, ?, ?)", [(*key, n, n * 60) for key, n in days.items()]
    )
    connection.executemany("INSERT INTO tally_stay VALUES (?, ?, ?, ?, ?)", [(*key, n) for key, n in stays.items()])
    next_layer = (
        "UPDATE stack SET next_layer = 1 + coalesce((SELECT max(layer) FROM layer WHERE stack_id = stack.id), 0)"
    )
    connection.execute(next_layer)
    return ready


def _write_run(connection: sqlite3.Connection, run: Run, entries: list[LogEntry], first: int, serial: int) -> list[str]:
    """Write one run, all its sheets in one statement for each table and step."""
    numbers = [PATTERN.spell(sheet) for sheet in range(first, first + run.sheets)]
    connection.execute("DELETE FROM run")
    connection.executemany("INSERT INTO run VALUES (?, ?)", enumerate(numbers))
    fixed: Row = {**row_values(replay(entries)), "added_at": entries[0].happened_at, "version": len(entries),
                  "consignment_id": 1 + serial % CONSIGNMENTS, "part": 1, "is_sensitive": 0, "pieces": 1, "has_label": 1,
                  "collector_id": 1 + serial % COLLECTORS}  # fmt: skip
    sums = {"id": f"{first} + each", "number": "number", "plant_name_id": f"1 + ({serial * 7} + each) % {PLANTS}",
            "record_number": f"{serial % 300} + each", "locality": "'Quillmoor Fells, beck ' || each"}  # fmt: skip
    _insert(connection, "sheet", fixed, sums)
    _write_entries(connection, run, entries, first, serial)
    return numbers


def _write_entries(connection: sqlite3.Connection, run: Run, entries: list[LogEntry], first: int, serial: int) -> None:
    was = Standing()
    for place, entry in enumerate(entries):
        start, fixed = (first - 1) * len(entries) + place * run.sheets + 1, _entry_row(entry, was, serial)
        _insert(
            connection,
            "entry",
            fixed,
            {"id": f"{start} + each", "subject_id": f"{first} + each", "scan_id": "lower(hex(randomblob(11)))"},
        )
        mine = (fixed["station_id"], _plain(entry.happened_at), start, start + run.sheets)
        connection.execute(_SCANS, mine)
        connection.execute(_WORKERS, (_worker(serial, place), start, start + run.sheets))
        if entry.step is Step.PUT_UNDER_WEIGHT:
            lain = {"stack_id": entry.to_place.stack_id, "laid_at": entry.happened_at}
            numbers = {name: f"{first} + each" for name in ("id", "sheet_id", "layer")}
            _insert(connection, "layer", lain, {**numbers, "laid_entry_id": f"{start} + each"})
        if entry.step is Step.TAKE_OUT:
            connection.execute(_OUT, (_plain(entry.happened_at), start - first, first, first + run.sheets))
        was = after(was, entry)


def _entry_row(entry: LogEntry, was: Standing, serial: int) -> Row:
    at, came_from = entry.to_place, was.place
    facts: Row = {"sets": entry.sets} if entry.sets else {}
    if was.stage != entry.to_stage and came_from.cabinet_id is None and was.kept_in_id is not None:
        facts["kept_in"] = was.kept_in_id
    return {
        "subject_kind": "sheet", "step": entry.step.value, "from_stage": was.stage, "to_stage": entry.to_stage,
        "came_at": was.came_at, "from_cabinet_id": came_from.cabinet_id, "from_shelf_id": came_from.shelf_id,
        "from_stack_id": came_from.stack_id, "to_cabinet_id": at.cabinet_id, "to_shelf_id": at.shelf_id, "to_table_id": at.table_id,
        "to_stack_id": at.stack_id, "happened_at": entry.happened_at, "recorded_at": entry.happened_at, "is_late": 0,
        "after_the_fact": 0,
        "time_from": "server", "station_id": 1 + serial % STATIONS, "facts": json.dumps(facts),
    }  # fmt: skip


def _worker(serial: int, place: int) -> int:
    return 2 + (serial + place) % STATIONS


def _count(
    run: Run,
    entries: list[LogEntry],
    serial: int,
    days: Counter[tuple[str, int, str]],
    stays: Counter[tuple[str, str, int, int]],
) -> None:
    stood = Standing()
    for place, entry in enumerate(entries):
        days[(f"{entry.happened_at:%Y-%m-%d}", _worker(serial, place), entry.step.value)] += run.sheets
        if stood.stage is not None and stood.came_at is not None and entry.to_stage != stood.stage:
            hours = dwell_bucket_h((entry.happened_at - stood.came_at).total_seconds())
            stays[(f"{entry.happened_at:%G-W%V}", stood.stage.value, stood.kept_in_id or 0, hours)] += run.sheets
        stood = after(stood, entry)


def _insert(connection: sqlite3.Connection, table: str, fixed: Row, sums: dict[str, str]) -> None:
    """Insert a row for each sheet of the run: `fixed` values, and those that SQL works out from its place in the run."""
    names = ", ".join((*fixed, *sums))
    values = ", ".join((*"?" * len(fixed), *sums.values()))
    connection.execute(
        f"INSERT INTO {table} ({names}) SELECT {values} FROM run", [_plain(value) for value in fixed.values()]
    )


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M:%S.%f}"
    return json.dumps(value) if isinstance(value, (list, dict)) else value


_SCANS = """INSERT INTO scan (scan_id, fingerprint, answer, station_id, received_at)
    SELECT scan_id, '', '{}', ?, ? FROM entry WHERE id >= ? AND id < ?"""
_WORKERS = "INSERT INTO entry_worker SELECT id, ?, 'did', 1, 1 FROM entry WHERE id >= ? AND id < ?"
_OUT = "UPDATE layer SET out_at = ?, out_entry_id = ? + id WHERE id >= ? AND id < ?"
