"""The custody log for sheets that are new and all taken in alike: rows and entries as `custody.enter` writes them, in bulk."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Table, bindparam, func, select

from app.db.bulk import AsKept, insert_many, insert_numbered
from app.db.bulk_made import found_by, insert_made
from app.db.models import Consignment, Entry, EntryWorker, Sheet, table_of
from app.db.prepared import prepared
from app.domain.sheet import LogEntry, Standing, after
from app.domain.suspected import OLD_KINDS
from app.services import tallies
from app.services.custody import Writing, entry_values, row_values
from app.services.desk import Desk
from app.services.staged_rows import FACTS_BEGUN, ROWS, SHEET_MADE, Span
from app.services.suspected import begin_suspected

SHEET, ENTRY, ENTRY_WORKER, CONSIGNMENT = table_of(Sheet), table_of(Entry), table_of(EntryWorker), table_of(Consignment)

_year, _PLAIN_DATE = func.substr(SHEET.c.event_date, 1, 4), "[12][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]"
_YOUNGER = (func.glob(_PLAIN_DATE, SHEET.c.event_date) == 1) & (_year >= bindparam("before"))
_CAME_OLD = select(CONSIGNMENT.c.id).where(
    CONSIGNMENT.c.id == SHEET.c.consignment_id, CONSIGNMENT.c.kind.in_(tuple(OLD_KINDS))
)
_MAY_BE_SUSPECTED = prepared(
    select(SHEET.c.id).where(
        SHEET.c.id.between(bindparam("first"), bindparam("last")),
        _CAME_OLD.exists() | (SHEET.c.event_date.is_not(None) & ~_YOUNGER),
    )
)
# Columns of a new sheet that differ from row to row.
KNOWN = (
    "number",
    "plant_name_id",
    "collector_id",
    "record_number",
    "event_date",
    "locality",
    "notes",
    "kept",
    "is_sensitive",
)


def enter_new(desk: Desk, writing: Writing, consignment_id: int, rows: Sequence[tuple[Any, ...]],
              told: Sequence[str]) -> None:  # fmt: skip
    """Make the rows of sheets, each KNOWN and in order, with an entry for each that says the same but for its facts:
    `told` is the beginning of each as JSON, without its last brace.

    The writing puts no hold and lays nothing in a stack. sqlalchemy's IntegrityError for a number that is taken.
    """
    if not rows:
        return
    new = _new(desk, writing, consignment_id)
    ids = insert_numbered(desk.session, SHEET, KNOWN, rows, new.row)
    entries = [(sheet_id, AsKept(f"{begin}, {new.ends}")) for sheet_id, begin in zip(ids, told, strict=True)]
    entry_ids = insert_numbered(desk.session, ENTRY, ("subject_id", "facts"), entries, new.entry)
    desk.written.extend(entry_ids)
    _credit(desk, entry_ids)
    begin_suspected(desk, ids, {})
    _count(desk, writing, new, len(rows))


def enter_staged(desk: Desk, writing: Writing, consignment_id: int, span: Span, short: str) -> None:
    """The same for the rows of a checked file whose names the room has, on SQLite alone, which makes the rows by itself.
    `short` is short for the file.
    """
    new, given = _new(desk, writing, consignment_id), {**span.given, "short": short}
    first, entry = _next_id(desk, SHEET), _next_id(desk, ENTRY)
    begins = {**given, "first": first - span.after - 1, "entry": entry - span.after - 1}
    many = insert_made(desk.session, SHEET, {"id": ":first + r.place", **SHEET_MADE}, new.row, ROWS, begins)
    facts = {"facts": f"{FACTS_BEGUN} || ', ' || :ends"}
    numbered = {"id": ":entry + r.place", "subject_id": ":first + r.place", **facts}
    insert_made(desk.session, ENTRY, numbered, new.entry, ROWS, {**begins, "ends": new.ends})
    for worker in desk.by:
        alike = {**_did(desk), "worker_id": worker.worker_id}
        insert_made(desk.session, ENTRY_WORKER, {"entry_id": ":entry + r.place"}, alike, ROWS, begins)
    desk.written.extend(range(entry, entry + many))
    if suspected := _may_be_suspected(desk, first, many):
        begin_suspected(desk, suspected, {})
    _count(desk, writing, new, many)


@dataclass(frozen=True, slots=True)
class _New:
    """What is alike in all sheets that are taken in alike: how they stand, the rest of their rows and of their entries.

    `ends` is the end of each entry's facts as JSON.
    """

    stands: Standing
    moment: datetime
    row: dict[str, Any]
    entry: dict[str, Any]
    ends: str


def _new(desk: Desk, writing: Writing, consignment_id: int) -> _New:
    nowhere, moment = Standing(), writing.happened_at or desk.happened_at
    entry = LogEntry(0, moment, writing.step, writing.to_stage, writing.to_place, writing.sets, (), ())
    stands = after(nowhere, entry)
    row = {**row_values(stands), "consignment_id": consignment_id, "added_at": desk.now, "version": 1}
    values = entry_values(desk, 0, nowhere, writing, moment)
    alike = {name: value for name, value in values.items() if name not in ("subject_id", "facts")}
    # All but the beginnings of the entries' facts are the same text.
    return _New(stands, moment, row, alike, json.dumps(values["facts"])[1:])


def _next_id(desk: Desk, table: Table) -> int:
    """SQLite has one writer, so nobody takes these ids meanwhile."""
    return int(found_by(desk.session, f'SELECT coalesce(max(id), 0) + 1 FROM "{table.name}"', {})[0][0])


def _may_be_suspected(desk: Desk, first: int, many: int) -> Sequence[int]:
    """Of new sheets those that the rule has to look at: not those of which a plain date says that they are younger."""
    given = {"first": first, "last": first + many - 1, "before": f"{desk.house.suspected_before_year:04}"}
    return desk.session.execute(_MAY_BE_SUSPECTED, given).scalars().all()


def _count(desk: Desk, writing: Writing, new: _New, many: int) -> None:
    hands = [worker.worker_id for worker in desk.by]
    tallies.add(desk, writing.step, Standing(), new.stands, new.moment, hands, many)


def _did(desk: Desk) -> dict[str, Any]:
    return {"role": "did", "share": 1, "shares": len(desk.by)}


def _credit(desk: Desk, entry_ids: Sequence[int]) -> None:
    rows = [(entry_id, worker.worker_id) for worker in desk.by for entry_id in entry_ids]
    insert_many(desk.session, ENTRY_WORKER, ("entry_id", "worker_id"), rows, _did(desk))
