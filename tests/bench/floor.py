"""The floor: the rows of one scan written by hand, as fast as Python's own sqlite3 will, and a request that says hello."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from flask import Flask

from app.db.engine import PRAGMAS, Turns
from app.domain.stays import dwell_bucket_h

TABLES = ("entry", "entry_worker", "scan", "layer", "tally_day", "tally_stay", "sighting", "refusal", "hold")
ANSWER = """{"kind": "done", "word": "Taken up.", "lines": [], "next": "Open the folder. Scan it again when it is mounted.",
"sheet": {"number": "TQX0042171", "shown": "TQX 004217·1", "plant": "Quercus nigra", "family": "Salicaceae",
"detail": "Quillmoor Fells, trip 1 · C. Lindqvist 2 no. 17", "cautions": []}, "step": "take-up", "entry": 1000001,
"refusals": [], "choices": [], "ask": null, "carry": {}, "already_done": "", "share": null, "share_label": "",
"moved": [], "left": [], "status": 200}"""
PRINT = "3f0c5f3c8a5f5f0e5d5ad1d6a2d1a6c08a1b9bd0b9f4d7c8a1f2e3d4c5b6a798"


class Floor:
    """A connection of its own to a database of its own, and the least that a scan has to write there."""

    def __init__(self, path: Path) -> None:
        self.connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        self.turns = Turns()
        for pragma in PRAGMAS:
            self.connection.execute(pragma)

    def scan(self, number: str, scan_id: str, station: int) -> str:
        """Write one scan of a sheet that is ready, taken up or mounted: the same rows as the program writes."""
        run = self.connection.execute
        with self.turns:
            run("BEGIN IMMEDIATE")
            row = run(_SHEET, (number,)).fetchone()
            step = "lay-in" if row[1] == "mounted" else "take-up" if row[2] is None else "mount"
            _STEPS[step](run, row, scan_id, station)
            run("COMMIT")
        return ANSWER


def hello_app() -> Flask:
    """The smallest application: it says hello."""
    app = Flask("hello")

    @app.get("/hello")
    def hello() -> str:
        return "hello"

    return app


def grown(connection: sqlite3.Connection) -> dict[str, int]:
    """How many rows lie in each of the tables that scans write into."""
    return {name: connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in TABLES}


EMPTY_STACKS = "UPDATE layer SET out_at = laid_at WHERE out_at IS NULL"


def empty_stacks(connection: sqlite3.Connection) -> None:
    """Whatever lies in a stack is out of it: room for the next round."""
    connection.execute(EMPTY_STACKS)


Run = Callable[..., sqlite3.Cursor]


def _take_up(run: Run, row: sqlite3.Row, scan_id: str, station: int) -> None:
    now = _now()
    sheet, _, _, came, cabinet, shelf, _ = row
    entry = run(_ENTRY, ("take-up", sheet, "ready-for-mounting", "ready-for-mounting", came, cabinet, shelf, None, None, station,
                         None, None, now, now, station, scan_id, None, None, "{}")).lastrowid  # fmt: skip
    run(_TAKEN_UP, (now, station, sheet))
    _rest(run, entry, "take-up", None, scan_id, station, sheet, now, came, 0)


def _mount(run: Run, row: sqlite3.Row, scan_id: str, station: int) -> None:
    now, worker = _now(), station + 1
    sheet, _, _, came, _, _, kept_in = row
    facts = (f'{{"sets": {{"adhesive_id": 1, "bulk": "ordinary", "glued_at": "{now}", "minimum_s": null, "rule_version": null, '
             f'"without_weight": false, "outcome": null, "inspected_by": [], "mounted_by": [{worker}], '
             f'"mended_by": []}}, "kept_in": {kept_in}}}')  # fmt: skip
    entry = run(_ENTRY, ("mount", sheet, "ready-for-mounting", "mounted", came, None, None, None, None, station,
                         None, None, now, now, station, scan_id, None, None, facts)).lastrowid  # fmt: skip
    run(_MOUNTED, (now, now, now, f"[{worker}]", sheet))
    _rest(run, entry, "mount", "ready-for-mounting", scan_id, station, sheet, now, came, kept_in)


def _lay_in(run: Run, row: sqlite3.Row, scan_id: str, station: int) -> None:
    now = _now()
    sheet, _, _, came, _, _, _ = row
    stack = 1 + station % 24
    layer = run(
        "UPDATE stack SET next_layer = next_layer + 1 WHERE id = ? RETURNING next_layer - 1", (stack,)
    ).fetchone()[0]
    facts = '{"sets": {"minimum_s": 86400, "rule_version": 0}}'
    entry = run(_ENTRY, ("put-under-weight", sheet, "mounted", "under-press", came, None, None, None, None, None,
                         stack, layer, now, now, station, scan_id, 86400, 0, facts)).lastrowid  # fmt: skip
    run(_LAID_IN, (now, now, stack, layer, sheet))
    run(
        "INSERT INTO layer (sheet_id, stack_id, layer, laid_at, laid_entry_id) VALUES (?, ?, ?, ?, ?)",
        (sheet, stack, layer, now, entry),
    )
    _rest(run, entry, "put-under-weight", "mounted", scan_id, station, sheet, now, came, 0)


def _rest(run: Run, entry: int | None, step: str, left: str | None, scan_id: str, station: int, sheet: int, now: str,
          came: str, kept_in: int) -> None:  # fmt: skip
    worker = station + 1
    run(
        "INSERT INTO entry_worker (entry_id, worker_id, role, share, shares) VALUES (?, ?, 'did', 1, 1)",
        (entry, worker),
    )
    run(_DAY, (now[:10], worker, step))
    if left is not None:
        lain = datetime.fromisoformat(now) - datetime.fromisoformat(came)
        run(_STAY, (f"{datetime.now(UTC):%G-W%V}", left, kept_in, dwell_bucket_h(lain.total_seconds())))
    run(_STATION, (sheet, scan_id, now, now, now, station))
    run(_SCAN, (scan_id, PRINT, ANSWER, station, now))


def _now() -> str:
    return f"{datetime.now(UTC):%Y-%m-%d %H:%M:%S.%f}"


_STEPS = {"take-up": _take_up, "mount": _mount, "lay-in": _lay_in}
_SHEET = "SELECT id, stage, table_id, came_at, cabinet_id, shelf_id, kept_in_id FROM sheet WHERE number = ?"
_ENTRY = """INSERT INTO entry (subject_kind, step, subject_id, from_stage, to_stage, came_at, from_cabinet_id,
    from_shelf_id, from_stack_id, from_layer, to_table_id, to_stack_id, to_layer, happened_at, recorded_at, is_late, after_the_fact,
    time_from, station_id, scan_id, minimum_s, rule_version, facts)
    VALUES ('sheet', ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 0, 0, 'server', ?, ?, ?, ?, ?)"""
_TAKEN_UP = """UPDATE sheet SET last_at = ?, cabinet_id = NULL, shelf_id = NULL, table_id = ?, version = version + 1 WHERE id = ?"""
_MOUNTED = """UPDATE sheet SET stage = 'mounted', kept_in_id = NULL, came_at = ?, last_at = ?, glued_at = ?, adhesive_id = 1, minimum_s = NULL,
    rule_version = NULL, without_weight = 0, outcome = NULL, inspected_by = '[]', mounted_by = ?, mended_by = '[]',
    version = version + 1 WHERE id = ?"""
_LAID_IN = """UPDATE sheet SET stage = 'under-press', came_at = ?, last_at = ?, table_id = NULL, stack_id = ?, layer = ?,
    minimum_s = 86400, rule_version = 0, version = version + 1 WHERE id = ?"""
_DAY = """INSERT INTO tally_day VALUES (?, ?, ?, 1, 60)
    ON CONFLICT DO UPDATE SET sheets = sheets + excluded.sheets, credit_60 = credit_60 + excluded.credit_60"""
_STAY = "INSERT INTO tally_stay VALUES (?, ?, ?, ?, 1) ON CONFLICT DO UPDATE SET stays = stays + excluded.stays"
_STATION = """UPDATE station SET last_sheet_id = ?, last_code = ?, last_code_at = ?, seen_at = ?, clear_at = ?, pending = NULL
    WHERE id = ?"""
_SCAN = "INSERT INTO scan (scan_id, fingerprint, answer, station_id, received_at) VALUES (?, ?, ?, ?, ?)"
