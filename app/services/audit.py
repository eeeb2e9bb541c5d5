"""The audit: the whole log read again, and held against sheets, stacks and sums; every difference is named."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, func, select
from sqlalchemy.engine import RowMapping
from sqlalchemy.orm import Session

from app.db.models import Cabinet, Doubt, Entry, FreezerLoad, Hold, Layer, Sheet, Stack, WeightSpan, table_of
from app.db.standing import STANDS
from app.domain.press import Lifting, Span, spans_of, turned_at
from app.domain.sheet import Standing
from app.domain.stages import Step
from app.services.check_audit import check_differences
from app.services.custody import row_values
from app.services.differences import Ahead, Difference, InQuestion, plainly
from app.services.freezing_undone import load_differences
from app.services.press import lifting
from app.services.recount import tally_differences
from app.services.rereading import HOLD_COLUMNS, STAY_COLUMNS, Kept, PressRoom, sheet_differences

SHEET, ENTRY, LAYER = table_of(Sheet), table_of(Entry), table_of(Layer)
HOLD, DOUBT = table_of(Hold), table_of(Doubt)
STACK, SPAN = table_of(Stack), table_of(WeightSpan)
LOAD, CABINET = table_of(FreezerLoad), table_of(Cabinet)
AT_ONCE = 500
_ENTRY_COLUMNS = (
    "id", "subject_id", "step", "from_stage", "to_stage", "came_at", "happened_at", "corrects", "early_by_s", "facts",
    "from_cabinet_id", "from_shelf_id", "from_stack_id", "from_layer",
    "to_cabinet_id", "to_shelf_id", "to_bundle_id", "to_table_id", "to_stack_id", "to_layer",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class StackLog:
    """One stack: its row, its liftings that stand, and the spans that they make."""

    row: RowMapping
    liftings: Sequence[Lifting]
    spans: Sequence[Span]


def audit(session: Session, zone: ZoneInfo) -> Iterator[Difference]:
    """Read the whole log again and name every difference from what is kept beside it; a few hundred sheets at a time.

    Days and weeks of the sums are those of the room's `zone`. Moves that are in question are not differences.
    """
    spans: dict[int, Sequence[Span]] = {}
    for row in session.execute(select(STACK).order_by(STACK.c.id)).mappings().all():
        entries = list(
            session.execute(_entries().where(ENTRY.c.subject_kind == "stack", ENTRY.c.subject_id == row["id"]))
        )
        yield from _stack_chain(row, entries)
        log = _stack_log(row, entries)
        spans[row["id"]] = log.spans
        yield from _stack_differences(session, log)
    press = PressRoom(spans, _doubted(session))
    yield from _all_sheets(session, press)
    yield from _of_nothing(session)
    yield from tally_differences(session, zone)
    yield from check_differences(session)
    yield from load_differences(session)


def in_question(session: Session) -> list[InQuestion]:
    """The accepted moves that are in question and not settled, oldest first; they are no differences."""
    found = (
        select(SHEET.c.number, ENTRY.c.step, DOUBT.c.entry_id, DOUBT.c.by_entry_id, DOUBT.c.short_s, DOUBT.c.raised_at)
        .join(ENTRY, ENTRY.c.id == DOUBT.c.entry_id)
        .join(SHEET, SHEET.c.id == ENTRY.c.subject_id)
        .where(DOUBT.c.settled_at.is_(None))
        .order_by(DOUBT.c.raised_at, DOUBT.c.id)
    )
    return [InQuestion(*row) for row in session.execute(found)]


def dated_ahead(session: Session, now: datetime) -> list[Ahead]:
    """The standing entries that are dated after now, which a clock that ran ahead has left; they can be taken back."""
    found = select(ENTRY.c.id, ENTRY.c.subject_kind, ENTRY.c.subject_id, ENTRY.c.step, ENTRY.c.happened_at).where(
        ENTRY.c.happened_at > now, STANDS
    )
    return [Ahead(*row, by=row.happened_at - now) for row in session.execute(found.order_by(ENTRY.c.id))]


def _stack_log(row: RowMapping, entries: Sequence[Any]) -> StackLog:
    corrected = {entry.corrects for entry in entries}
    turns = (Step.WEIGHTS_ON, Step.WEIGHTS_OFF)
    liftings = [lifting(entry) for entry in entries if entry.step in turns and entry.id not in corrected]
    return StackLog(row, liftings, spans_of(liftings))


def _stack_chain(row: RowMapping, entries: Sequence[Any]) -> Iterator[Difference]:
    standing: set[int] = set()
    for entry in entries:
        if entry.step != Step.CORRECT:
            standing.add(entry.id)
        elif entry.corrects in standing:
            standing.remove(entry.corrects)
        else:
            what, by_row = f"entry {entry.id} corrects", f"entry {entry.corrects}"
            yield Difference("stack", row["id"], row["name"], what, "an entry that does not stand", by_row)


def _stack_differences(session: Session, log: StackLog) -> Iterator[Difference]:
    row, spans = log.row, list(log.spans)
    found = select(SPAN.c.on_at, SPAN.c.off_at).where(SPAN.c.stack_id == row["id"]).order_by(SPAN.c.on_at, SPAN.c.id)
    kept = [Span(*each) for each in session.execute(found)]
    expected: dict[str, tuple[Any, Any]] = {
        "weights on": (bool(spans) and spans[-1].off_at is None, row["weights_on"]),
        "turned at": (turned_at(log.liftings), row["turned_at"]),
        "last at": (max((each.happened_at for each in log.liftings), default=None), row["last_at"]),
    }
    for name, (by_log, by_row) in expected.items():
        if by_log != by_row:
            yield Difference("stack", row["id"], row["name"], name, plainly(by_log), plainly(by_row))
    for gone in (Counter(spans) - Counter(kept)).elements():
        yield Difference("stack", row["id"], row["name"], "weights lay on it", _span_words(gone), "nothing")
    for strange in (Counter(kept) - Counter(spans)).elements():
        yield Difference("stack", row["id"], row["name"], "weights lay on it", "nothing", _span_words(strange))
    yield from _next_layer(session, row)


def _next_layer(session: Session, row: RowMapping) -> Iterator[Difference]:
    laid = session.execute(select(func.max(LAYER.c.layer)).where(LAYER.c.stack_id == row["id"])).scalar() or 0
    if laid >= row["next_layer"]:
        yield Difference("stack", row["id"], row["name"], "next layer", f"above {laid}", str(row["next_layer"]))


def _all_sheets(session: Session, press: PressRoom) -> Iterator[Difference]:
    last_id = 0
    columns = (SHEET.c.id, SHEET.c.number, *(SHEET.c[name] for name in _FOLDED))
    while True:
        found = select(*columns).where(SHEET.c.id > last_id).order_by(SHEET.c.id).limit(AT_ONCE)
        rows = session.execute(found).mappings().all()
        if not rows:
            return
        last_id, first_id = rows[-1]["id"], rows[0]["id"]
        for kept in _kept(session, rows, first_id, last_id):
            yield from sheet_differences(kept, press)


def _kept(session: Session, rows: Sequence[RowMapping], first_id: int, last_id: int) -> Iterator[Kept]:
    of_sheets = _entries().where(ENTRY.c.subject_kind == "sheet", ENTRY.c.subject_id.between(first_id, last_id))
    entries = _by_sheet(session, of_sheets, "subject_id")
    stays = _by_sheet(session, _beside(LAYER, STAY_COLUMNS, first_id, last_id), "sheet_id")
    holds = _by_sheet(session, _beside(HOLD, HOLD_COLUMNS, first_id, last_id), "sheet_id")
    for row in rows:
        yield Kept(row, entries[row["id"]], stays[row["id"]], holds[row["id"]])


def _by_sheet(session: Session, query: Select[Any], column: str) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in session.execute(query):
        found[getattr(row, column)].append(row)
    return found


def _beside(table: Any, columns: Sequence[str], first_id: int, last_id: int) -> Select[Any]:
    wanted = (table.c.sheet_id, *(table.c[name] for name in columns))
    return select(*wanted).where(table.c.sheet_id.between(first_id, last_id)).order_by(table.c.id)


def _entries() -> Select[Any]:
    return select(*(ENTRY.c[name] for name in _ENTRY_COLUMNS)).order_by(ENTRY.c.id)


def _doubted(session: Session) -> dict[int, int]:
    found = select(DOUBT.c.entry_id, func.max(DOUBT.c.short_s)).group_by(DOUBT.c.entry_id)
    return {entry_id: short_s for entry_id, short_s in session.execute(found)}


def _of_nothing(session: Session) -> Iterator[Difference]:
    """Entries of sheets, stacks, loads and cabinets that have no row."""
    for kind, table in (("sheet", SHEET), ("stack", STACK), ("load", LOAD), ("cabinet", CABINET)):
        there = select(table.c.id).where(table.c.id == ENTRY.c.subject_id).exists()
        found = select(ENTRY.c.id, ENTRY.c.subject_id).where(ENTRY.c.subject_kind == kind, ~there).order_by(ENTRY.c.id)
        for entry_id, subject_id in session.execute(found):
            yield Difference("entry", entry_id, str(entry_id), "its subject", f"{kind} {subject_id}", "nothing")


def _span_words(span: Span) -> str:
    return f"from {plainly(span.on_at)} to {plainly(span.off_at)}"


_FOLDED = tuple(row_values(Standing()))
