"""The custody log for sheets that are new and all taken in alike: rows and entries as `custody.enter` writes them, in bulk."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from app.db.bulk import AsKept, insert_many, insert_numbered
from app.db.models import Entry, EntryWorker, Sheet, table_of
from app.domain.sheet import LogEntry, Standing, after
from app.services import tallies
from app.services.custody import Writing, entry_values, row_values
from app.services.desk import Desk
from app.services.suspected import begin_suspected

SHEET, ENTRY, ENTRY_WORKER = table_of(Sheet), table_of(Entry), table_of(EntryWorker)

# Columns of a new sheet that differ from row to row.
KNOWN = ("number", "plant_name_id", "collector_id", "record_number", "event_date", "locality", "notes", "kept")


def enter_new(desk: Desk, writing: Writing, consignment_id: int, rows: Sequence[tuple[Any, ...]],
              told: Sequence[str]) -> None:  # fmt: skip
    """Make the rows of sheets, each KNOWN and in order, with an entry for each that says the same but for its facts:
    `told` is the beginning of each as JSON, without its last brace.

    The writing puts no hold and lays nothing in a stack. sqlalchemy's IntegrityError for a number that is taken.
    """
    if not rows:
        return
    nowhere, moment = Standing(), writing.happened_at or desk.happened_at
    entry = LogEntry(0, moment, writing.step, writing.to_stage, writing.to_place, writing.sets, (), ())
    stands = after(nowhere, entry)
    row = {**row_values(stands), "consignment_id": consignment_id, "added_at": desk.now, "version": 1}
    ids = insert_numbered(desk.session, SHEET, KNOWN, rows, row)
    values = entry_values(desk, 0, nowhere, writing, moment)
    alike = {name: value for name, value in values.items() if name not in ("subject_id", "facts")}
    # All but the beginnings of the entries' facts are the same text.
    ends = json.dumps(values["facts"])[1:]
    entries = [(sheet_id, AsKept(f"{begin}, {ends}")) for sheet_id, begin in zip(ids, told, strict=True)]
    entry_ids = insert_numbered(desk.session, ENTRY, ("subject_id", "facts"), entries, alike)
    desk.written.extend(entry_ids)
    _credit(desk, entry_ids)
    begin_suspected(desk, ids, {})
    tallies.add(desk, writing.step, nowhere, stands, moment, [worker.worker_id for worker in desk.by], len(rows))


def _credit(desk: Desk, entry_ids: Sequence[int]) -> None:
    alike = {"role": "did", "share": 1, "shares": len(desk.by)}
    rows = [(entry_id, worker.worker_id) for worker in desk.by for entry_id in entry_ids]
    insert_many(desk.session, ENTRY_WORKER, ("entry_id", "worker_id"), rows, alike)
