"""A sheet's log as it is read: every entry as a sentence, in the order of what happened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, aliased

from app.db.models import Bundle, Cabinet, Entry, EntryWorker, Shelf, Stack, Station, Worker, table_of
from app.domain.stages import Step
from app.queries.sentences import correction, sentence, taken_back
from app.queries.telling import Hands, Telling

ENTRY = table_of(Entry)
_FROM = aliased(Stack)
_ENTRIES = (
    select(
        ENTRY, Station.name.label("station"), Cabinet.name.label("cabinet"), Shelf.name.label("shelf"),
        Stack.name.label("stack"), _FROM.name.label("from_stack"), Bundle.name.label("bundle"),
    )
    .select_from(ENTRY)
    .outerjoin(Station, Station.id == ENTRY.c.station_id)
    .outerjoin(Cabinet, Cabinet.id == ENTRY.c.to_cabinet_id)
    .outerjoin(Shelf, Shelf.id == ENTRY.c.to_shelf_id)
    .outerjoin(Stack, Stack.id == ENTRY.c.to_stack_id)
    .outerjoin(_FROM, _FROM.id == ENTRY.c.from_stack_id)
    .outerjoin(Bundle, Bundle.id == ENTRY.c.to_bundle_id)
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == bindparam("sheet"))
    .order_by(ENTRY.c.happened_at, ENTRY.c.id)
)  # fmt: skip
_HANDS = (
    select(EntryWorker.entry_id, EntryWorker.role, Worker.id, Worker.name)
    .join(Worker, Worker.id == EntryWorker.worker_id)
    .join(ENTRY, ENTRY.c.id == EntryWorker.entry_id)
    .where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id == bindparam("sheet"))
    .order_by(EntryWorker.entry_id, Worker.id)
)


@dataclass(frozen=True, slots=True)
class Names:
    """Whose names may be shown: everybody's, or only those of these workers."""

    everybody: bool = True
    worker_ids: frozenset[int] = frozenset()

    def may_show(self, worker_id: int | None) -> bool:
        """Whether this worker's name may be shown."""
        return self.everybody or worker_id in self.worker_ids


@dataclass(frozen=True, slots=True)
class LogLine:
    """One entry. `taken_back` says by whom and why, if it no longer stands; `is_last` is what an undo would take back."""

    entry: int
    step: str
    happened_at: datetime
    recorded_at: datetime
    sentence: str
    who: tuple[str, ...]
    station: str
    taken_back: str
    corrects: int | None
    is_late: bool
    after_the_fact: bool
    early_by_s: int | None
    is_last: bool


def log_of(session: Session, sheet_id: int, telling: Telling, names: Names) -> tuple[LogLine, ...]:
    """Every entry of one sheet as a line, corrections among them, in the order in which they happened."""
    rows = session.execute(_ENTRIES, {"sheet": sheet_id}).all()
    hands = _hands(session, sheet_id, names)
    by_id = {row.id: row for row in rows}
    corrections = {row.corrects: row for row in rows if row.corrects is not None}
    standing = [row.id for row in rows if row.step != Step.CORRECT and row.id not in corrections]
    last = standing[-1] if standing else None
    return tuple(_line(row, by_id, corrections, hands, telling, row.id == last) for row in rows)


def _hands(session: Session, sheet_id: int, names: Names) -> dict[int, Hands]:
    did: dict[int, list[str]] = {}
    beside: dict[int, list[str]] = {}
    for entry_id, role, worker_id, name in session.execute(_HANDS, {"sheet": sheet_id}):
        if names.may_show(worker_id):
            (did if role == "did" else beside).setdefault(entry_id, []).append(name)
    return {entry: Hands(tuple(did.get(entry, ())), tuple(beside.get(entry, ()))) for entry in {*did, *beside}}


def _line(row: Any, by_id: dict[int, Any], corrections: dict[int, Any], hands: dict[int, Hands], telling: Telling,
          is_last: bool) -> LogLine:  # fmt: skip
    mine = hands.get(row.id, Hands())
    told = (
        correction(row, by_id[row.corrects], mine, telling) if row.corrects in by_id else sentence(row, mine, telling)
    )
    by = corrections.get(row.id)
    undone = taken_back(by, hands.get(by.id, Hands()), telling) if by is not None else ""
    return LogLine(
        row.id, row.step, row.happened_at, row.recorded_at, told, mine.did, row.station or "", undone, row.corrects,
        row.is_late, row.after_the_fact, row.early_by_s, is_last,
    )  # fmt: skip


def standing_lines(log: Sequence[LogLine]) -> list[LogLine]:
    """The lines of entries that nobody has taken back."""
    return [line for line in log if not line.taken_back and line.corrects is None]
