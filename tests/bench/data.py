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

from app.domain.rates import dwell_bucket_h
from app.domain.sheet import LogEntry, Place, replay
from app.domain.stages import Stage, Step
from app.services.custody import row_values
from tests.bench.furniture import (
    CABINETS, COLLECTORS, CONSIGNMENTS, PATTERN, PLANTS, SHELVES, STACKS, STATIONS, Keys, furnish,
)  # fmt: skip

RUN = 100
LARGEST_QUEUE = 50_000
BULKY_TABLES = ("sheet", "entry", "entry_worker", "scan", "layer")
Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Run:
    """Sheets that go through the room together: how many, the steps that they took, and when the last one was."""

    sheets: int
    steps: tuple[Step, ...]
    ends: datetime


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
    ready = _fill(connection, _runs(sheets, min(queue or LARGEST_QUEUE, sheets // 2), now))
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
        f"SELECT type, name, sql FROM sqlite_master WHERE type IN ('index', 'trigger') AND sql IS NOT NULL AND tbl_name IN ({marks})",
        BULKY_TABLES,
    ).fetchall()
    for kind, name, _ in found:
        connection.execute(f"DROP {kind} {name}")
    return [sql for _, _, sql in found]


def _runs(sheets: int, queue: int, now: datetime) -> Iterator[Run]:
    yield from _spread(sheets - queue, now, 730, (FILED,))
    yield from _spread(queue, now, 55, QUEUE)


def _spread(sheets: int, now: datetime, days: int, lives: tuple[tuple[Step, ...], ...]) -> Iterator[Run]:
    count = -(-sheets // RUN)
    for each in range(count):
        ends = now - timedelta(days=1 + days * (count - each) / count)
        yield Run(min(RUN, sheets - each * RUN), lives[each % len(lives)], ends)


def _fill(connection: sqlite3.Connection, runs: Iterator[Run]) -> list[str]:
    """Write all runs; the numbers of the sheets that end up ready for mounting."""
    days: Counter[tuple[str, int, str]] = Counter()
    stays: Counter[tuple[str, str, int]] = Counter()
    ready, first = list[str](), 1
    connection.execute("CREATE TEMP TABLE run (each INTEGER PRIMARY KEY, number TEXT)")
    for serial, run in enumerate(runs):
        entries = _entries(run, serial)
        numbers = _write_run(connection, run, entries, first, serial)
        _count(run, entries, serial, days, stays)
        if run.steps is READY:
            ready += numbers
        first += run.sheets
    connection.executemany("INSERT INTO tally_day VALUES (?, ?, ?, ?, ?)", [(*key, n, n * 60) for key, n in days.items()])
    connection.executemany("INSERT INTO tally_stay VALUES (?, ?, ?, ?)", [(*key, n) for key, n in stays.items()])
    next_layer = "UPDATE stack SET next_layer = 1 + coalesce((SELECT max(layer) FROM layer WHERE stack_id = stack.id), 0)"
    connection.execute(next_layer)
    return ready


def _entries(run: Run, serial: int) -> list[LogEntry]:
    """The ten entries that each sheet of a run has, without the layer in the stack."""
    gaps = [GAPS_H.get(step, 24.0) for step in run.steps]
    begin, found, stage = run.ends - timedelta(hours=sum(gaps[1:])), list[LogEntry](), None
    for place, step in enumerate(run.steps):
        happened = begin + timedelta(hours=sum(gaps[1 : place + 1]))
        stage = LANDS.get(step, stage)
        found.append(LogEntry(place, happened, step, stage, _place(step, stage, serial), _sets(step, happened)))
    return found


def _place(step: Step, stage: Stage | None, serial: int) -> Place:
    if step in (Step.TAKE_UP, Step.MOUNT):
        return Place(table_id=1 + serial % STATIONS)
    if step is Step.PUT_UNDER_WEIGHT:
        return Place(stack_id=1 + serial % STACKS)
    if stage not in CABINETS:
        return Place()
    cabinet = 1 + serial % CABINETS[stage] + sum(n for other, n in CABINETS.items() if list(Stage).index(other) < list(Stage).index(stage))
    return Place(cabinet, 1 + (cabinet - 1) * SHELVES + serial % SHELVES)


def _sets(step: Step, happened: datetime) -> Row:
    if step is Step.MOUNT:
        return {"adhesive_id": 1, "bulk": "ordinary", "glued_at": happened.isoformat(), "mounted_by": (2,)}
    if step is Step.PUT_UNDER_WEIGHT:
        return {"minimum_s": 86400, "rule_version": 0}
    return {"outcome": "passed", "inspected_by": (3,)} if step is Step.INSPECT else {}


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
    was: LogEntry | None = None
    came = entries[0].happened_at
    for place, entry in enumerate(entries):
        start, fixed = (first - 1) * len(entries) + place * run.sheets + 1, _entry_row(entry, was, came, serial)
        _insert(connection, "entry", fixed, {"id": f"{start} + each", "subject_id": f"{first} + each", "scan_id": "lower(hex(randomblob(11)))"})
        mine = (fixed["station_id"], _plain(entry.happened_at), start, start + run.sheets)
        connection.execute(_SCANS, mine)
        connection.execute(_WORKERS, (_worker(serial, place), start, start + run.sheets))
        if entry.step is Step.PUT_UNDER_WEIGHT:
            lain = {"stack_id": entry.to_place.stack_id, "laid_at": entry.happened_at}
            numbers = {name: f"{first} + each" for name in ("id", "sheet_id", "layer")}
            _insert(connection, "layer", lain, {**numbers, "laid_entry_id": f"{start} + each"})
        if entry.step is Step.TAKE_OUT:
            connection.execute(_OUT, (_plain(entry.happened_at), start - first, first, first + run.sheets))
        came = entry.happened_at if was is None or was.to_stage != entry.to_stage else came
        was = entry


def _entry_row(entry: LogEntry, was: LogEntry | None, came: datetime, serial: int) -> Row:
    at, came_from = entry.to_place, was.to_place if was else Place()
    return {
        "subject_kind": "sheet", "step": entry.step.value, "from_stage": was.to_stage if was else None, "to_stage": entry.to_stage,
        "came_at": came if was else None, "from_cabinet_id": came_from.cabinet_id, "from_shelf_id": came_from.shelf_id,
        "from_stack_id": came_from.stack_id, "to_cabinet_id": at.cabinet_id, "to_shelf_id": at.shelf_id, "to_table_id": at.table_id,
        "to_stack_id": at.stack_id, "happened_at": entry.happened_at, "recorded_at": entry.happened_at, "is_late": 0, "after_the_fact": 0,
        "time_from": "server", "station_id": 1 + serial % STATIONS, "facts": json.dumps({"sets": entry.sets} if entry.sets else {}),
    }  # fmt: skip


def _worker(serial: int, place: int) -> int:
    return 2 + (serial + place) % STATIONS


def _count(run: Run, entries: list[LogEntry], serial: int, days: Counter[tuple[str, int, str]], stays: Counter[tuple[str, str, int]]) -> None:
    came, stage = entries[0].happened_at, entries[0].to_stage
    for place, entry in enumerate(entries):
        days[(f"{entry.happened_at:%Y-%m-%d}", _worker(serial, place), entry.step.value)] += run.sheets
        if stage is not None and entry.to_stage != stage:
            hours = dwell_bucket_h((entry.happened_at - came).total_seconds())
            stays[(f"{entry.happened_at:%G-W%V}", stage.value, hours)] += run.sheets
            came, stage = entry.happened_at, entry.to_stage


def _insert(connection: sqlite3.Connection, table: str, fixed: Row, sums: dict[str, str]) -> None:
    """Insert a row for each sheet of the run: `fixed` values, and those that SQL works out from its place in the run."""
    names = ", ".join((*fixed, *sums))
    values = ", ".join((*"?" * len(fixed), *sums.values()))
    connection.execute(f"INSERT INTO {table} ({names}) SELECT {values} FROM run", [_plain(value) for value in fixed.values()])


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M:%S.%f}"
    return json.dumps(value) if isinstance(value, (list, dict)) else value


_SCANS = """INSERT INTO scan (scan_id, fingerprint, answer, station_id, received_at)
    SELECT scan_id, '', '{}', ?, ? FROM entry WHERE id >= ? AND id < ?"""
_WORKERS = "INSERT INTO entry_worker SELECT id, ?, 'did', 1, 1 FROM entry WHERE id >= ? AND id < ?"
_OUT = "UPDATE layer SET out_at = ?, out_entry_id = ? + id WHERE id >= ? AND id < ?"
_WET = (Step.TAKE_IN, Step.LAY_TO_DRY)
_GLUED = (Step.PASS_AS_DRY, Step.TAKE_UP, Step.MOUNT, Step.PUT_UNDER_WEIGHT, Step.TAKE_OUT)
FILED = (*_WET, Step.PAPERS_CHANGED, *_GLUED, Step.INSPECT, Step.FILE)
READY = (*_WET, *[Step.PAPERS_CHANGED] * 7, Step.PASS_AS_DRY)
DRY = (*_WET, *[Step.PAPERS_CHANGED] * 3, *_GLUED)
DRYING = (*_WET, *[Step.PAPERS_CHANGED] * 8)
AT_INTAKE = (Step.TAKE_IN, *[Step.SHELVE] * 9)
QUEUE = (READY, DRY, READY, AT_INTAKE, READY, READY, DRYING, READY, DRY, READY)
GAPS_H = {Step.TAKE_UP: 480.0, Step.MOUNT: 0.3, Step.PUT_UNDER_WEIGHT: 0.2, Step.TAKE_OUT: 48.0}
LANDS = {Step.TAKE_IN: Stage.INTAKE, Step.LAY_TO_DRY: Stage.DRYING, Step.PASS_AS_DRY: Stage.READY, Step.MOUNT: Stage.MOUNTED,
         Step.PUT_UNDER_WEIGHT: Stage.UNDER_PRESS, Step.TAKE_OUT: Stage.DRY, Step.FILE: Stage.FILED}  # fmt: skip
